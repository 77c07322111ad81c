"""A measurement from the test card to the band it narrows, and a modification picked, in a real browser; for everybody."""

import re

import pytest
from browsing import PHONE, opened, shot, sideways, violations
from playwright.sync_api import expect

from ownship.questions.weighing_ledger import keep

SLOW_MS = 90_000  # the first matching and the first drawing on a busy machine
RUN = {"Pressure altitude": "4000 ft", "Outside air temperature": "9 C", "Weight": "2150 lb", "Rpm on the panel": "2400 rpm",
       "Leg 1: groundspeed": "118 kt", "Leg 1: track over the ground": "010 deg", "Leg 2: groundspeed": "97 kt",
       "Leg 2: track over the ground": "130 deg", "Leg 3: groundspeed": "104 kt", "Leg 3: track over the ground": "250 deg",
       "Who measured, with what": "owner, GPS receiver"}


@pytest.fixture
def own(server):
    """The address of the screen, of an aeroplane that is kept."""
    if not hasattr(server, "kept"):
        keep("demo", "2019-05-01", folder=server.folder)
        server.kept = True
    return f"{server.url}/measurements?aeroplane=N0160T"


def test_a_level_run_is_entered_told_and_undone(own, page):
    page.goto(own)
    page.get_by_role("link", name="Level run", exact=True).click()
    assert violations(page) == []
    for label, text in RUN.items():
        page.get_by_label(label, exact=True).fill(text)
    page.get_by_role("button", name="Keep the measurement").click()
    expect(page.locator(".kept")).to_contain_text("Kept as entry")
    expect(page.get_by_role("region", name="Table: bands before and after your measurements")).to_contain_text(
        re.compile(r"speed at 2,450 rpm.*narrower", re.S), timeout=SLOW_MS)
    expect(page.locator("#matched")).to_contain_text("What to measure next")
    assert violations(page) == []
    shot(page, "measurements matched")
    page.locator("#drawn").scroll_into_view_if_needed()
    expect(page.get_by_role("region", name="Chart: bands before and after")).to_be_visible(timeout=SLOW_MS)
    assert violations(page) == []
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("main")).to_contain_text("Nothing is measured yet")


def test_the_same_with_scripts_off_by_keyboard_on_a_phone(own, browser):
    with opened(browser, viewport=PHONE, java_script_enabled=False) as (page, _):
        page.goto(own.replace("?", "/new/static?"))
        for label, text in {"Rpm": "2310 rpm", "Outside air temperature": "15", "Pressure altitude": "500 ft",
                            "Who measured, with what": "owner"}.items():
            page.get_by_label(label, exact=True).fill(text)
        page.get_by_label("Read by", exact=True).select_option("yes")
        page.get_by_label("Rpm", exact=True).press("Enter")
        expect(page.locator("[role=alert]")).to_contain_text("Outside air temperature: '15' has no unit")
        page.get_by_role("link", name="Go to the field").click()
        page.get_by_label("Outside air temperature", exact=True).fill("15 C")
        page.get_by_label("Outside air temperature", exact=True).press("Enter")
        expect(page.locator(".kept")).to_contain_text("Kept as entry")
        page.get_by_role("link", name="Work it out now").click()
        expect(page.locator("#matched")).to_contain_text("narrower", timeout=SLOW_MS)
        page.get_by_role("button", name="Take out static run 1").click()
        expect(page.locator("main")).to_contain_text("Nothing is measured yet")


def test_a_modification_is_picked_and_told_useful_load_first(own, server, page):
    page.goto(f"{server.url}/modifications?aeroplane=N0160T")
    page.get_by_label(re.compile("180 hp engine")).check()
    page.get_by_label("A seller's figure for speed").fill("6 mph")
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator(".study-first li").first).to_contain_text("Useful load goes down", timeout=SLOW_MS)
    expect(page.get_by_role("region", name=re.compile("three ways to compare"))).to_contain_text("At equal power")
    page.locator("#drawn").scroll_into_view_if_needed()
    expect(page.locator("#drawn svg").first).to_be_visible(timeout=SLOW_MS)
    assert violations(page) == []
    shot(page, "modifications")
    page.reload()
    expect(page.get_by_label("A seller's figure for speed")).to_have_value("6 mph")


@pytest.mark.parametrize("theme", ["light", "night"])
def test_every_page_of_both_screens_is_for_everybody(own, server, browser, theme):
    paths = ["/measurements?aeroplane=demo", "/measurements?aeroplane=N0160T", "/measurements/new/fill?aeroplane=N0160T",
             "/measurements/new/take_off?aeroplane=N0160T", "/modifications?aeroplane=demo", "/modifications?pick=fairings", "/modifications?mod.name=x"]
    with opened(browser, viewport=PHONE) as (page, wrong):
        for path in paths:
            page.goto(f"{server.url}{path}&theme={theme}")
            assert violations(page) == [] and sideways(page) == 0, path
        assert wrong == []
