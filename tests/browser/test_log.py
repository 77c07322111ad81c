"""The Log in a real browser: a log brought from a file, a flight typed by keyboard, refusals that lose nothing, for everybody."""

import pytest
from browsing import PHONE, opened, shot, sideways, violations

from ownship.questions.reading import demo_text

SCREENS = ("/log", "/log/flight/new", "/log/import", "/log/track", "/log/fuel", "/log/recency", "/log/costs",
           "/log/costs/flight?aeroplane=demo&cost_price=6.20+USD/usgal&cost_persons=3", "/log/hand-over", "/data", "/log/entry/2",
           "/log/flight/2/correct")
THEIRS = ("Tail;Day;From;To;Out;In;Ldg;Name\nN0160T;31/05/2026;KBOI;KMYL;09:00;10:05;1;Anne\nN0160T;12/06/2026;KMYL;KBOI;11:00;12:05;2;Anne\n"
          "N0160T;13/06/2026;KBOI;KMYL;09:00;10:00;1;Anne\n")
MEANING = ("aeroplane", "date", "origin", "destination", "off_blocks", "on_blocks", "landings_day", "pilot")


def fill(page, form, **fields):
    for name, text in fields.items():
        field = page.locator(f"#{form}-{name}")
        if field.evaluate("e => e.tagName") == "SELECT":
            field.select_option(text)
        else:
            field.fill(text)


@pytest.fixture(scope="module")
def kept(server, browser, tmp_path_factory):
    """A record with the demo as one's own, some flights, fuel, a pilot, costs and a hand-over, all by the pages' own forms."""
    folder = tmp_path_factory.mktemp("files")
    (folder / "r.toml").write_text(demo_text("camas160.toml"))
    (folder / "camas160_rows.csv").write_text(demo_text("camas160_rows.csv"))
    (folder / "theirs.csv").write_text(THEIRS)
    with opened(browser) as (page, wrong):
        page.goto(f"{server.url}/airframe")
        page.locator("#file-record").set_input_files(folder / "r.toml")
        page.locator("#file-rows").set_input_files(folder / "camas160_rows.csv")
        page.locator("#effective").fill("2019-05-01")
        page.get_by_role("button", name="Read and keep it").click()
        bring(page, server, folder / "theirs.csv")
        page.get_by_role("button", name="Keep all of them").click()
        for tank in ("left", "right"):
            page.goto(f"{server.url}/log/fuel")
            fill(page, "seen", tank=tank, amount="10 usgal", known_by="dipstick")
            page.get_by_role("button", name="Keep what was seen").click()
        page.goto(f"{server.url}/log/fuel")
        fill(page, "added", tank="left", amount="8 usgal", price="49.60 USD")
        page.get_by_role("button", name="Keep the fuel put in").click()
        page.goto(f"{server.url}/log/recency")
        fill(page, "pilot", name="Anne", born="1980-06-15")
        page.locator("#rating_4").check()
        page.get_by_role("button", name="Keep the pilot").click()
        fill(page, "event", event="flight review", day="2026-03-05")
        page.get_by_role("button", name="Keep what was done").click()
        page.goto(f"{server.url}/log/costs")
        fill(page, "cost", what="hangar", kind="fixed", price="2400 USD")
        page.get_by_role("button", name="Keep the cost").click()
        fill(page, "cost", what="engine", kind="reserve", price="30000 USD", hours="2000", since_hours="400")
        page.get_by_role("button", name="Keep the cost").click()
        page.goto(f"{server.url}/log/hand-over")
        fill(page, "hand-over", to="Ben", by="Anne", reading="1200", oil="6 qt", keys="in the box")
        page.get_by_role("button", name="Keep the hand-over").click()
        assert wrong == []
    return server


def bring(page, server, file):
    """The two steps of a log from a file, up to the look at what would be kept."""
    page.goto(f"{server.url}/log/import")
    page.locator("#file-log").set_input_files(file)
    page.get_by_role("button", name="Look at its columns").click()
    for i, meaning in enumerate(MEANING):
        page.locator(f"#column{i}").select_option(meaning)
    page.locator("#zone").select_option("place")
    page.get_by_role("button", name="Look at what would be kept").click()


@pytest.mark.parametrize("theme", ["light", "night"])
@pytest.mark.parametrize("path", SCREENS)
def test_no_barrier_stands_in_any_page_of_the_log(kept, page, path, theme):
    answer = page.goto(f"{kept.url}{path}{'&' if '?' in path else '?'}theme={theme}")
    assert answer.status == 200
    shot(page, f"log {theme} {path.split('?')[0]}")
    assert violations(page) == []


@pytest.mark.parametrize("path", SCREENS)
def test_a_page_of_the_log_fits_a_phone(kept, browser, path):
    with opened(browser, viewport=PHONE) as (page, wrong):
        page.goto(kept.url + path)
        shot(page, f"log phone {path.split('?')[0]}")
        assert sideways(page) == 0 and wrong == []


def test_the_log_begins_with_what_to_do_next_and_has_no_barrier(browser, tmp_path):
    from browsing import Server

    server = Server(tmp_path)
    server.start()
    try:
        with opened(browser) as (page, wrong):
            for path in ("/log", "/log/fuel", "/log/recency", "/log/costs", "/log/hand-over", "/data"):
                page.goto(server.url + path)
                assert violations(page) == [], path
            page.goto(f"{server.url}/log")
            page.get_by_role("link", name="bring the log you have from a file").click()
            assert page.locator("h1").inner_text() == "Bring a log from a file" and wrong == []
        assert not (tmp_path / "record.sqlite").exists()  # looking wrote nothing
    finally:
        server.stop()
