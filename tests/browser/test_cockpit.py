"""The Cockpit in a real browser: server stopped, tab killed, clock shifted, a tank that does not feed, events into the record once."""

import json
import os
import re
import threading
import time
from contextlib import suppress
from pathlib import Path
from urllib.parse import urlencode

import httpx
import pytest
import uvicorn
from browsing import ARGUMENTS, CHROMIUM, PHONE, WIDE, Server, opened, shot, sideways, violations
from playwright.sync_api import Error

FLIGHT = {"aeroplane": "N0160T", "from": "KBOI", "to": "KU79", "via": "U88", "departure": "2026-07-11T15:00-06:00", "cruise_altitude": "9500 ft",
          "power": "2450 rpm", "mixture": "lean", "rules": "VFR", "load0_what": "pilot", "load0": "176 lb", "load0_station": "front",
          "fuel_left_on_board": "tab", "fuel_left_known_by": "mark", "fuel_right_on_board": "tab", "fuel_right_known_by": "mark",
          "aloft": "6000 ft 290/08 24 C; 9000 ft 280/14 16 C; 12000 ft 275/20 8 C"}
SHIFTED = """(() => { const plain = Date.now; window.shift_ms = 0; Date.now = () => plain.call(Date) + window.shift_ms; })()"""


@pytest.fixture(scope="module")
def own(tmp_path_factory):
    """A server whose record keeps an aeroplane."""
    folder = tmp_path_factory.mktemp("own")
    before = os.environ.get("OWNSHIP_DATA")
    os.environ["OWNSHIP_DATA"] = str(folder)
    try:
        from ownship.questions.weighing_ledger import keep

        keep("demo", "2026-01-01")
    finally:
        os.environ["OWNSHIP_DATA"] = before or ""
    running = Server(folder)
    running.start()
    yield running
    running.stop()


def address(server, **more):
    return f"{server.url}/cockpit?{urlencode(FLIGHT | more)}"


def press(page, *names):
    for name in names:
        page.locator("#keys").get_by_role("button", name=name, exact=True).click()


def cell(page, name):
    return page.locator(".cell", has=page.locator("dt", has_text=name)).inner_text()


def noted(page):
    return [x.inner_text() for x in page.locator("#noted li").all()]


def kept_here(page):
    page.wait_for_selector("#kept:not(:empty)")
    return page.inner_text("#kept")


def in_record(server, page):
    flight = json.loads(page.locator("#plan").text_content())["flight"]
    return httpx.get(f"{server.url}/cockpit/events", params={"flight": flight}).json()


@pytest.mark.parametrize("theme", ["light", "night"])
def test_no_barrier_stands_in_the_flight_on_the_ground_and_in_the_air(server, page, theme):
    page.goto(f"{server.url}/cockpit?theme={theme}")
    assert violations(page) == []
    press(page, "Off blocks", "Taken off", "Left tank does not feed")
    assert page.locator("#order").inner_text().endswith("left does not feed.") and violations(page) == []


def test_a_phone_at_night_shows_all_without_sideways_scrolling_and_its_keys_are_large(server, browser):
    with opened(browser, viewport=PHONE) as (page, wrong):
        page.goto(f"{server.url}/cockpit?theme=night")
        press(page, "Off blocks", "Taken off")
        shot(page, "cockpit phone night")
        assert sideways(page) == 0 and wrong == []
        boxes = [b.bounding_box() for b in page.locator("#keys button").all()]
        assert len(boxes) >= 5 and all(b["height"] >= 60 and b["width"] >= 60 for b in boxes)
        page.get_by_role("button", name="Light", exact=True).click()
        assert page.evaluate("document.documentElement.dataset.theme") == "light"


def test_the_flight_on_the_screen_comes_along_and_what_was_noted_elsewhere_is_said(server, page):
    page.goto(f"{server.url}/?load2_out=1")
    page.get_by_role("navigation", name="Screens").get_by_role("link", name="Cockpit").click()
    page.wait_for_url("**/cockpit?load2_out=1*")
    press(page, "Off blocks")
    page.goto(f"{server.url}/cockpit?load3_out=1")
    assert noted(page) == [] and page.locator("#others a").count() == 1
    page.locator("#others a").click()
    assert "off blocks" in noted(page)[0]


def test_by_keyboard_alone_an_event_is_noted_and_undone(server, page):
    page.goto(f"{server.url}/cockpit")
    page.locator("#keys button").first.focus()
    page.keyboard.press("Enter")
    assert noted(page) and "off blocks" in noted(page)[0]
    page.locator("#keys").get_by_role("button", name="Undo: off blocks").focus()
    page.keyboard.press("Space")
    assert "(undone)" in noted(page)[0] and page.locator("#state").inner_text().startswith("not off blocks")


def test_with_scripts_off_it_is_the_plan_on_paper(server, browser):
    with opened(browser, viewport=WIDE, java_script_enabled=False) as (page, _):
        page.goto(f"{server.url}/cockpit")
        assert page.locator("#live").is_hidden() and page.get_by_text("paper is the master").first.is_visible()
        assert page.locator("table.pencil").first.is_visible()


def test_the_demo_leaves_nothing_in_the_record(server, page):
    page.goto(f"{server.url}/cockpit")
    press(page, "Off blocks")
    page.wait_for_timeout(800)
    assert "The demo is no flight" in page.inner_text("#record") and in_record(server, page)["events"] == []


def test_a_tank_that_does_not_feed_is_gone_from_the_plan_at_once_and_undone_at_once(server, page):
    page.goto(f"{server.url}/cockpit")
    press(page, "Off blocks", "Taken off")
    before = {n: cell(page, n) for n in ("Usable fuel now", "On the ground by", "Arrival")}
    press(page, "Left tank does not feed")
    after = {n: cell(page, n) for n in before}
    assert all(after[n] != before[n] for n in before) and "does not feed" in after["Usable fuel now"]
    assert "Stay on right" in page.inner_text("#order")
    assert page.locator("#near .word").count() >= 1
    press(page, "Undo: left tank does not feed")
    page.wait_for_timeout(100)
    assert cell(page, "On the ground by").split("\n")[:2] == before["On the ground by"].split("\n")[:2] and page.locator("#order").is_hidden()


def kill(device, page):
    """The browser's process ends at once, as with a dead battery."""
    with suppress(Error):
        device.new_cdp_session(page).send("Browser.crash")
    with suppress(Error):
        device.close()


def says(page, place, words):
    """Waits until a place of the page says what is looked for."""
    page.locator(place, has_text=re.compile(words)).wait_for()


def test_server_stopped_and_browser_killed_nothing_is_lost_and_all_comes_into_the_record_once(own, browser, tmp_path):
    """One device: the page is kept, the server stops, the browser is killed, the page opens again, goes on, and sends when it can."""
    how = {"executable_path": CHROMIUM, "args": list(ARGUMENTS), "viewport": PHONE}
    device = browser.browser_type.launch_persistent_context(tmp_path, **how)
    try:
        page = device.new_page()
        page.goto(address(own))
        assert "Kept on this device at" in kept_here(page)
        press(page, "Off blocks")
        says(page, "#record", "^1 event ")
        own.stop()
        press(page, "Taken off", "Changed to left")
        says(page, "#record", "wait for the network")
        page.reload()
        assert len(noted(page)) == 3 and "in flight" in page.inner_text("#state")
        shot(page, "cockpit with the server stopped")
        kill(device, page)
        device = browser.browser_type.launch_persistent_context(tmp_path, **how)
        page = device.new_page()
        page.goto(address(own))
        page.wait_for_selector("#noted li")
        assert [x.split(" ", 1)[1] for x in noted(page)] == ["off blocks", "taken off", "changed to left"]
        assert "Kept on this device at" in kept_here(page) and page.locator("#jump").is_hidden()
        second = device.new_page()
        second.goto(address(own))
        press(page, "Passed U88")
        says(second, "#noted", "passed U88")
        own.start()
        for tab in (page, second):
            tab.evaluate("window.dispatchEvent(new Event('online'))")
        for tab in (page, second):
            says(tab, "#record", "^[4-6] events in the record")
        kinds = [e["kind"] for e in in_record(own, page)["events"]]
        assert sorted(k for k in kinds if k != "pulse") == ["fix", "off blocks", "taken off", "tank"] and kinds.count("pulse") <= 2
        press(second, "Landed", "On blocks")
        says(second, "#record", "^[6-8] events in the record")
        second.goto(f"{own.url}/cockpit/drafts")
        assert second.locator("form[action='/cockpit/drafts']").count() == 1 and violations(second) == [] and sideways(second) == 0
        assert "clock" in second.get_by_label("Usable fuel after").input_value()
        shot(second, "cockpit draft for the log")
    finally:
        if own.process is None:
            own.start()
        with suppress(Error):
            device.close()


def test_a_second_device_takes_over_what_the_first_one_noted(own, browser):
    """A phone after the tablet's battery: events come from the record, once, and what it notes goes there too."""
    where = address(own, load0="181 lb")
    with opened(browser) as (first, _):
        first.goto(where)
        press(first, "Off blocks", "Taken off")
        says(first, "#record", "^2 events in the record")
    with opened(browser, viewport=PHONE) as (second, wrong):
        second.goto(where)
        says(second, "#noted", "taken off")
        press(second, "Changed to left")
        says(second, "#record", "^3 events in the record")
        assert second.locator("#jump").is_hidden() and "in flight" in second.inner_text("#state") and wrong == []
        assert [e["kind"] for e in in_record(own, second)["events"]] == ["off blocks", "taken off", "tank"]


def test_a_clock_that_jumps_is_said_the_stopwatch_counts_and_it_can_be_put_right(server, browser):
    with opened(browser) as (page, wrong):
        page.add_init_script(SHIFTED)
        page.goto(f"{server.url}/cockpit")
        press(page, "Off blocks", "Taken off")
        before = page.inner_text("#utc")
        page.evaluate("window.shift_ms = 3 * 3600 * 1000 + 1000")
        page.wait_for_selector("#jump:not([hidden])")
        said = page.inner_text("#jump")
        assert "forward by 3 h 00" in said and "stopwatch" in said and "If the device slept" in said
        assert abs(_minutes(page.inner_text("#utc")) - _minutes(before)) <= 1  # the page goes on by the stopwatch
        assert "0 min" in cell(page, "Tank") or "4 min" in cell(page, "Tank")
        page.get_by_text("The device's clock is wrong").click()
        page.get_by_label("It is now (UTC)").fill("nonsense")
        page.get_by_role("button", name="The clock was wrong").click()
        assert "as 14:32" in page.inner_text("#clock-said")
        wanted = (_minutes(before) + 120) % 1440
        page.get_by_label("It is now (UTC)").fill(f"{wanted // 60:02d}:{wanted % 60:02d}")
        page.get_by_role("button", name="The clock was wrong").click()
        assert page.locator("#jump").is_hidden() and 0 <= (_minutes(page.inner_text("#utc")) - wanted) % 1440 <= 1
        shot(page, "cockpit clock put right")
        assert wrong == []


def _minutes(text):
    hours, minutes = text.split()[0].split(":")
    return int(hours) * 60 + int(minutes)


def test_without_a_secure_connection_the_page_says_it_is_not_kept(server, browser):
    with opened(browser) as (page, _):
        page.add_init_script("Object.defineProperty(window, 'isSecureContext', { value: false });")
        page.goto(f"{server.url}/cockpit")
        assert kept_here(page).startswith("Not kept: no secure connection")


def test_the_worker_never_answers_what_changes_anything_and_drops_caches_of_another_form(server, browser):
    with opened(browser) as (page, _):
        page.goto(f"{server.url}/cockpit")
        kept_here(page)
        page.reload()
        assert page.evaluate("navigator.serviceWorker.controller !== null")
        names = page.evaluate("caches.keys()")
        urls = page.evaluate("(async () => { let u = []; for (const n of await caches.keys()) u.push(...(await (await caches.open(n)).keys()).map((r) => r.method + ' ' + r.url)); return u; })()")
        assert len(names) == 2 and all(u.startswith("GET ") for u in urls)
        assert any("/cockpit" in u for u in urls) and any("cockpit.js" in u for u in urls) and any("woff2" in u for u in urls) and not any("/events" in u for u in urls)
        page.evaluate("caches.open('ownship-cockpit-pages-0')")
        page.evaluate("(async () => { const r = await navigator.serviceWorker.getRegistration(); await r.unregister(); })()")
        page.reload()
        kept_here(page)
        assert "ownship-cockpit-pages-0" not in page.evaluate("caches.keys()")


def test_a_new_version_of_the_worker_takes_over_when_no_flight_is_open_and_what_was_kept_stays(browser, monkeypatch):
    """The application of this process, its build marked anew as after an update."""
    from ownship.web import cockpit
    from ownship.web.app import create_app

    running = uvicorn.Server(uvicorn.Config(create_app(), host="127.0.0.1", port=0, log_level="error"))
    thread = threading.Thread(target=running.run, daemon=True)
    thread.start()
    while not running.started:
        time.sleep(0.05)
    url = f"http://127.0.0.1:{running.servers[0].sockets[0].getsockname()[1]}/cockpit"
    try:
        with opened(browser) as (page, wrong):
            page.goto(url)
            kept_here(page)
            first = page.get_attribute("#kept", "data-version")
            monkeypatch.setattr(cockpit, "SCRIPTS", ("cockpit.js", "sw.js"))
            page.reload()
            kept_here(page)
            assert page.get_attribute("#kept", "data-version") == first  # never in the middle of a flight
            tab, context = page, page.context
            for _ in range(20):
                tab.close()
                tab = context.new_page()
                tab.goto(url)
                kept_here(tab)
                if tab.get_attribute("#kept", "data-version") != first:
                    break
            assert first and tab.get_attribute("#kept", "data-version") not in (None, "", first) and wrong == []
            running.should_exit = True
            thread.join(10)
            tab.reload()
            assert tab.locator("#live").is_visible() and "Kept on this device at" in kept_here(tab)
    finally:
        running.should_exit = True
        thread.join(10)


def test_the_saved_file_opens_from_the_disk_alone(server, browser, tmp_path):
    with opened(browser, viewport=PHONE) as (page, wrong):
        page.goto(f"{server.url}/cockpit?theme=night")
        with page.expect_download() as found:
            page.get_by_text("Save the flight as one file").click()
        file = Path(tmp_path) / found.value.suggested_filename
        found.value.save_as(file)
        asked = []
        page.on("request", lambda r: asked.append(r.url))
        page.goto(file.as_uri())
        assert page.get_by_text("Paper is the master.", exact=True).is_visible() and all(u.startswith("file:") for u in asked)
        shot(page, "cockpit saved file")
        assert sideways(page) == 0 and violations(page) == [] and wrong == []
