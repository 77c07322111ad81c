"""The Log in a real browser: a log brought from a file, a flight typed by keyboard, refusals that lose nothing, for everybody."""

import pytest
from browsing import PHONE, opened, shot, sideways, violations

from ownship.questions.reading import demo_text

SCREENS = ("/log", "/log/flight/new", "/log/import", "/log/track", "/log/meter", "/log/fuel", "/log/recency", "/log/costs",
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


def test_a_flight_typed_without_scripts_is_refused_kept_corrected_and_put_back(kept, browser):
    with opened(browser, java_script_enabled=False) as (page, _):
        page.goto(f"{kept.url}/log/flight/new")
        fill(page, "flight", date="2026-07-04", origin="KBOI", destination="KBOI", off_blocks="noon", on_blocks="13:10", landings="3", remarks="circuits")
        page.get_by_role("button", name="Keep the flight").click()
        assert "Off blocks 'noon'" in page.get_by_role("alert").inner_text()
        assert page.locator("#flight-remarks").input_value() == "circuits"  # nothing typed is lost
        page.locator("#flight-off_blocks").fill("12:00")
        page.get_by_role("button", name="Keep the flight").click()
        assert "Kept as entry" in page.get_by_role("status").inner_text()
        row = page.get_by_role("row").filter(has_text="circuits")
        row.get_by_role("link", name="Correct entry").click()
        fill(page, "flight", remarks="circuits, windy")
        page.get_by_role("button", name="Keep the correction").click()
        page.get_by_role("button", name="Undo the correction").click()
        assert "(was circuits, windy)" in page.locator("main").inner_text()
        page.goto(f"{kept.url}/log")
        assert page.get_by_role("row").filter(has_text="circuits").count() == 1


def test_a_flight_is_added_by_keyboard_alone(kept, page):
    page.goto(f"{kept.url}/log")
    page.get_by_role("link", name="Add a flight").focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/log/flight/new*")
    typed = {"flight-origin": "KBOI", "flight-destination": "KMYL", "flight-date": "2026-07-05", "flight-off_blocks": "09:00",
             "flight-on_blocks": "10:05", "flight-landings": "1", "flight-remarks": "by keyboard"}
    for _ in range(80):
        page.keyboard.press("Tab")
        here = page.evaluate("document.activeElement.id || document.activeElement.textContent")
        if here in typed:
            page.keyboard.press("Control+A")
            page.keyboard.type(typed.pop(here))
        if here.strip() == "Keep the flight":
            break
    assert typed == {}
    page.keyboard.press("Enter")
    page.wait_for_url("**/log?kept=*")
    assert page.get_by_role("row").filter(has_text="by keyboard").count() == 1


def test_a_file_whose_columns_cannot_be_told_keeps_every_choice(kept, page, tmp_path):
    (tmp_path / "theirs.csv").write_text(THEIRS.replace("2026", "2027").replace("12/06/2027", "06/06/2027"))
    bring(page, kept, tmp_path / "theirs.csv")
    shot(page, "log import looked at")
    assert page.locator("#column3").input_value() == "destination" and page.locator("#zone").input_value() == "place"
    assert violations(page) == []


def test_a_backup_is_taken_away_looked_at_and_brought_back(kept, page, tmp_path):
    page.goto(f"{kept.url}/data")
    with page.expect_download() as taken:
        page.get_by_role("link", name="A backup", exact=True).click()
    taken.value.save_as(tmp_path / "backup.zip")
    page.locator("#backup").set_input_files(tmp_path / "backup.zip")
    page.get_by_role("button", name="Check it").click()
    assert "holds the same entries now" in page.locator("main").inner_text() and violations(page) == []
    shot(page, "data restore")
    page.get_by_role("button", name="Put it in the record's place").click()
    assert "tick the box" in page.get_by_role("alert").inner_text()
    page.locator("#sure-sure").check()
    page.get_by_role("button", name="Put it in the record's place").click()
    assert "The backup is the record now" in page.get_by_role("status").inner_text()
