"""A new aeroplane typed in as a newcomer would, from nothing to a first verdict; then its record, weights and compass by hand."""

import re

import pytest
from browsing import PHONE, opened, shot, sideways, violations
from playwright.sync_api import expect

from ownship.questions.weighing_ledger import keep

# What the papers of an invented aeroplane say, by the label that stands on the page.
PAPERS = {
    "The aeroplane": {"Registration": "N0500T", "Type": "Camas 160", "Serial number": "C160-0050", "Year built": "1973"},
    "Its last weighing": {"Weighing 1: day": "2024-04-12", "Weighing 1: empty weight": "1418 lb", "Weighing 1: arm": "83.79 in",
                          "Weighing 1: source: which paper, page and date": "weighing report of 2024-04-12"},
    "Maximum weights and envelope": {
        "Ramp": "2358 lb", "Take-off": "2350 lb", "Landing": "2350 lb", "Zero fuel": "none published",
        "Envelope 1: corners in order round the edge, one a line": "1350 lb at 81 in\n1800 lb at 81 in\n2350 lb at 86 in\n2350 lb at 94.5 in\n"
                                                                   "1350 lb at 94.5 in"},
    "Seats and baggage": {
        "Station 1: name": "front seats", "Station 1: seats": "2", "Station 1: arm, or from - to": "82 in to 88 in",
        "Station 1: most allowed there": "none published", "Station 2: name": "baggage", "Station 2: kind": "baggage",
        "Station 2: arm, or from - to": "141 in", "Station 2: most allowed there": "140 lb"},
    "Tanks, fuel and oil": {
        "Tank 1: name": "left tank", "Tank 1: total capacity": "25 usgal", "Tank 1: unusable of it": "1 usgal", "Tank 1: arm": "92 in",
        "Tank 1: marks in the filler, usable": "tab: 17 usgal", "Tank 2: name": "right tank", "Tank 2: total capacity": "25 usgal",
        "Tank 2: unusable of it": "1 usgal", "Tank 2: arm": "92 in", "Tank 2: marks in the filler, usable": "tab: 17 usgal",
        "Positions": "left, right", "Most imbalance": "10 usgal", "Least time left in a tank when leaving it": "30 min",
        "Fuel grade": "avgas 100LL", "Fuel density": "6.0 lb/usgal"},
    "Engine, propeller and wing": {
        "Rated power": "160 hp", "at": "2700 rpm", "Diameter": "74 in", "Pitch": "58 in", "Most rpm": "2700 rpm", "Wing area": "160 ft2",
        "Span": "32 ft", "High or low": "low"},
    "Speeds": {
        "Stall, flaps up (Vs1, CAS)": "52 kt", "Stall, flaps down (Vs0, CAS)": "47 kt", "Never exceed (Vne)": "148 kt",
        "Demonstrated crosswind": "15 kt", "Take-off: lift-off (IAS)": "57 kt", "Take-off: at 50 ft (IAS)": "65 kt",
        "Approach: speed (IAS)": "62 kt"},
    "The book's performance": {
        f"Row {row}: {label}": text for row, (kind, *texts) in enumerate((
            ("takeoff_50ft_ft", "0 ft", "0 C", "1265 ft"), ("takeoff_50ft_ft", "0 ft", "30 C", "1530 ft"),
            ("takeoff_50ft_ft", "6000 ft", "0 C", "2090 ft"), ("takeoff_50ft_ft", "6000 ft", "30 C", "2650 ft"),
            ("landing_50ft_ft", "0 ft", "0 C", "1210 ft"), ("landing_50ft_ft", "0 ft", "30 C", "1290 ft"),
            ("landing_50ft_ft", "6000 ft", "0 C", "1400 ft"), ("landing_50ft_ft", "6000 ft", "30 C", "1500 ft")), 1)
        for label, text in zip(("what", "pressure altitude", "temperature", "the book says", "weight"), (kind, *texts, "2350 lb"), strict=True)}}
FLIGHT = {"from": "KBOI", "to": "KMYL", "departure": "2026-07-11T08:00-06:00", "cruise_altitude": "8500 ft", "power": "2450 rpm",
          "load0_what": "pilot", "load0": "176 lb", "load0_station": "front", "fuel_left_on_board": "tab", "fuel_left_known_by": "mark",
          "fuel_right_on_board": "tab", "fuel_right_known_by": "mark"}


@pytest.fixture
def own(server):
    """The address of an aeroplane that is kept: the demo's figures, under its own registration."""
    if not hasattr(server, "own"):
        keep("demo", "2019-05-01", folder=server.folder)
        server.own = True
    return f"{server.url}/airframe/N0160T"


def fill(page, label, text):
    field = page.get_by_label(label, exact=True)
    if field.evaluate("e => e.tagName") == "SELECT":
        field.select_option(text)
    else:
        field.fill(text)


def typed_in(server, page):
    """The guide from its first page to its last, every page looked at for barriers."""
    page.goto(f"{server.url}/airframe")
    page.get_by_role("link", name="Type in an aeroplane from its papers").click()
    page.get_by_role("link", name="Begin", exact=True).click()
    for number, (title, fields) in enumerate(PAPERS.items(), 1):
        expect(page.locator("h1")).to_have_text(re.compile(rf"^{number} of 9: ", re.I))
        assert title[1:] in page.locator("h1").inner_text()
        assert violations(page) == []
        for label, text in fields.items():
            fill(page, label, text)
        page.get_by_role("button", name="Keep in the draft and go on").click()
        assert page.locator("[role=alert]").count() == 0, page.locator("[role=alert]").inner_text()


def test_a_newcomer_types_in_an_aeroplane_and_gets_a_first_verdict(server, page):
    typed_in(server, page)
    expect(page.locator("h1")).to_contain_text("look it over")
    shot(page, "airframe looked over")
    expect(page.locator("#missing + *").first).to_contain_text("Nothing that a first assessment needs is missing")
    expect(page.get_by_label("The papers hold from")).to_have_value("2024-04-12")
    page.get_by_role("button", name="Keep it and plan a first flight").click()
    expect(page).to_have_url(re.compile(r"/\?aeroplane=N0500T"))
    for name, text in FLIGHT.items():
        page.evaluate("name => { const e = document.querySelector(`[name='${name}']`); const d = e && e.closest('details'); if (d) d.open = true; }", name)
        field = page.locator(f"[name={name}]")
        field.wait_for(state="attached")
        if field.evaluate("e => e.tagName") == "SELECT":
            field.select_option(text)
        else:
            field.fill(text)
    page.locator("[name=from]").press("Enter")
    expect(page.locator(".verdict").first).to_contain_text(re.compile("Not known|Within limits|Tight|Outside limits"))
    assert "N0500T" in page.content()


def test_a_number_without_its_unit_is_told_beside_its_field(server, browser):
    with opened(browser, viewport=PHONE, java_script_enabled=False) as (page, _):
        page.goto(f"{server.url}/airframe/new/limits")
        page.get_by_label("Take-off", exact=True).fill("2350")
        page.get_by_role("button", name="Keep in the draft and go on").click()
        expect(page.locator("[role=alert]")).to_contain_text("Take-off: '2350' has no unit")
        page.get_by_role("link", name="Go to the field").click()
        expect(page.get_by_label("Take-off", exact=True)).to_have_attribute("aria-invalid", "true")
        expect(page.get_by_label("Take-off", exact=True)).to_have_value("2350")


def test_a_change_of_the_record_is_kept_and_undone(own, page):
    page.goto(f"{own}/edit/weights")
    page.get_by_label("Landing", exact=True).fill("2300 lb")
    page.get_by_label("Effective from").fill("2026-02-01")
    page.get_by_role("button", name="Keep as a new revision").click()
    expect(page.locator(".kept")).to_contain_text("Kept as entry")
    expect(page.get_by_role("region", name="Table: Maximum weights")).to_contain_text("2300 lb")
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_role("region", name="Table: Maximum weights")).not_to_contain_text("2300 lb")


def test_something_put_in_moves_the_empty_aeroplane(own, page):
    page.goto(f"{own}/weights")
    form = page.locator("#add + form, section:has(#add) form").first
    form.get_by_label("What").fill("engine monitor")
    form.get_by_label("Weight", exact=True).fill("2 lb")
    form.get_by_label("Arm", exact=True).fill("50 in")
    form.get_by_label("Day", exact=True).fill("2025-03-01")
    form.get_by_role("button", name="Keep the change").click()
    expect(page.locator(".verdict")).to_contain_text("1,419.0 lb")
    assert violations(page) == []
    shot(page, "airframe weights")


def test_a_swing_gives_a_card(own, page):
    page.goto(f"{own}/compass")
    for i, read in enumerate((1, 32, 62, 91, 119, 148, 178, 209, 241, 272, 302, 331), 1):
        page.get_by_label(f"By compass {i}", exact=True).fill(str(read))
    page.get_by_role("button", name="Keep the swing").click()
    expect(page.get_by_role("region", name="Chart: deviation over the heading")).to_be_visible()
    page.get_by_role("button", name="Take this card into the record").click()
    expect(page.locator("main")).to_contain_text("Used for compass headings on every flight")
    assert violations(page) == []


def test_every_page_of_the_screen_is_for_everybody(own, server, browser):
    paths = ["", "/demo", "/demo/performance", "/N0160T", "/N0160T/weights", "/N0160T/performance", "/N0160T/compass", "/N0160T/edit/stations",
             "/new", "/new/book", "/new/look", "/aerodromes"]
    drawn = ["/N0160T", "/N0160T/weights", "/N0160T/performance", "/N0160T/compass"]  # what has colours of its own, at night too
    for theme, some in (("light", paths), ("night", drawn)):
        with opened(browser, viewport=PHONE) as (page, wrong):
            for path in some:
                page.goto(f"{server.url}/airframe{path}?theme={theme}")
                assert violations(page) == [], path
                assert sideways(page) == 0, path
            assert wrong == []
