"""Maintenance in a real browser: begun from nothing by keyboard, kept, undone; every page for everybody, at 320 px, without scripts."""

import re
from datetime import date

import pytest
from browsing import PHONE, WIDE, Server, opened, shot, sideways, violations
from playwright.sync_api import expect

from ownship.questions import log_events
from ownship.questions import maintaining_entries as entries
from ownship.questions.weighing_ledger import keep

REG = "N0160T"
PAGES = ("/maintenance", "/maintenance/starter?place=life", "/maintenance/keep/done", "/maintenance/keep/item?item=transponder%20test",
         "/maintenance/keep/directive", "/maintenance/keep/ending", "/maintenance/keep/withdraw", "/maintenance/electrical",
         "/maintenance/defects", "/maintenance/sale")


@pytest.fixture
def kept(server):
    """A record with every kind of thing in it."""
    folder = server.folder
    if not (folder / "record.sqlite").exists():
        keep("demo", "2019-05-01", folder=folder)
        entries.starter("USA", aeroplane=REG, folder=folder)
        entries.done(entries.done_typed("annual inspection", "2025-03-02", "3210.4", 5000, "1450 USD", by="mechanic"), REG, folder)
        entries.add([entries.typed_item("2020-01-02", "Float", entries.Limits(every="1 year", first_due="2027-01-01"), directive="2020-01-02")],
                    REG, folder=folder)
        entries.expiry("insurance", "2027-03-01", None, "policy 1", REG, folder)
        log_events.defect("left brake", "found", "soft", aeroplane=REG, folder=folder)
    return server


@pytest.mark.parametrize("theme", ["light", "night"])
def test_no_barrier_stands_in_any_page(kept, page, theme):
    for path in PAGES:
        page.goto(f"{kept.url}{path}{'&' if '?' in path else '?'}theme={theme}")
        assert violations(page) == [], path


def test_every_page_fits_a_phone(kept, browser):
    with opened(browser, viewport=PHONE) as (page, wrong):
        for path in PAGES:
            page.goto(kept.url + path)
            shot(page, f"phone {path}")
            assert sideways(page) == 0 and wrong == [], path


def test_an_item_is_noted_done_and_undone_without_scripts(kept, browser):
    with opened(browser, viewport=WIDE, java_script_enabled=False) as (page, _):
        page.goto(f"{kept.url}/maintenance")
        page.get_by_role("link", name=re.compile("Done.*Transponder")).click()
        assert page.get_by_label("What was done").input_value() == "transponder test"
        page.get_by_label("Day").fill("some day")
        page.get_by_label("By whom").fill("radio shop")
        page.get_by_role("button", name="Keep it as done").click()
        expect(page.get_by_role("alert")).to_contain_text("is no date")
        assert page.get_by_label("By whom").input_value() == "radio shop"
        page.get_by_label("Day", exact=True).fill(date.today().isoformat())
        page.get_by_role("button", name="Keep it as done").click()
        expect(page.get_by_role("status")).to_contain_text("Transponder test of")
        expect(page.get_by_role("region", name="Table: what was done")).to_contain_text("radio shop")
        page.get_by_role("button", name="Undo").click()
        expect(page.get_by_role("region", name="Table: what was done")).not_to_contain_text("radio shop")


def test_begun_from_nothing_by_keyboard_alone(browser, tmp_path_factory):
    server = Server(tmp_path_factory.mktemp("nothing"))
    server.start()
    try:
        with opened(browser) as (page, wrong):
            page.goto(f"{server.url}/maintenance")
            page.get_by_role("link", name="USA", exact=True).focus()
            page.keyboard.press("Enter")
            page.wait_for_url("**/starter**")
            page.get_by_label("Aeroplane").focus()
            page.keyboard.type("n0500t")
            page.keyboard.press("Tab")
            assert page.evaluate("document.activeElement.getAttribute('role')") == "region"  # the table, which can be scrolled by keys
            page.keyboard.press("Tab")
            page.keyboard.press("Space")  # the first item is left out
            page.keyboard.press("Enter")
            expect(page.get_by_role("status")).to_contain_text("Kept as entries")
            expect(page.get_by_role("heading", level=1)).to_have_text("N0500T: maintenance")
            assert page.get_by_role("link", name=re.compile("Done.*Annual inspection")).count() == 0
            assert page.get_by_role("link", name=re.compile("Done.*Transponder")).count() == 1 and wrong == []
    finally:
        server.stop()
