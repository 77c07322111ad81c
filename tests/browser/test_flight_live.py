"""The Flight screen in a real browser: a change answers in place, focus and what is typed stay, remedies by one touch, places by keyboard."""

import re

import pytest
from browsing import PHONE, opened, shot, sideways, violations
from playwright.sync_api import expect

BRIEFLY = 30_000


@pytest.fixture
def flight(server, page):
    """The demo's flight, with a mark that a page load would wipe out."""
    page.goto(server.url)
    page.evaluate("window.notLoadedAgain = true")
    return page


def same_page(page):
    return page.evaluate("window.notLoadedAgain === true")


def focused(page):
    return page.evaluate("document.activeElement.id")


def verdict(page):
    return page.locator(".verdict").inner_text()


def test_what_is_typed_answers_in_place_and_keeps_the_focus(flight):
    before = verdict(flight)
    field = flight.locator("#field-load2")
    field.focus()
    field.fill("0 lb")
    flight.wait_for_url(re.compile(r"/\?load2=0\+lb$"))
    flight.locator("#field-load3_out").check()
    flight.wait_for_url(re.compile(r"load2=0\+lb&load3_out=1$"))
    expect(flight.locator(".verdict")).not_to_have_text(before, timeout=BRIEFLY)
    assert same_page(flight) and field.input_value() == "0 lb" and focused(flight) == "field-load3_out"
    assert flight.title().startswith("Within limits") and "load3_out=1" in flight.get_by_role("link", name="PDF, A5").get_attribute("href")
    assert flight.locator("#said").inner_text().startswith("Within limits")
    assert flight.get_by_text("Two ways to begin").count() == 0
    flight.get_by_role("link", name="night", exact=True).click()
    assert flight.locator("#field-load2").input_value() == "0 lb" and "theme=night" in flight.url  # the flight as it is now


def test_a_field_left_as_it_was_asks_nothing(flight):
    asked = []
    flight.on("request", lambda r: asked.append(r.url))
    for name in ("load0", "power", "fuel_left_add"):
        flight.locator(f"#field-{name}").focus()
    flight.wait_for_timeout(1200)
    assert asked == []


def test_a_refusal_stands_beside_its_field_and_loses_nothing(flight):
    weight, note = flight.locator("#field-load0"), flight.locator("#field-load0-wrong")
    weight.focus()
    weight.fill("heavy")
    expect(note).to_contain_text("'heavy' is not a number", timeout=BRIEFLY)
    expect(flight.locator("#answer-state")).to_contain_text("does not hold for what is typed now")
    assert focused(flight) == "field-load0" and weight.input_value() == "heavy" and same_page(flight)
    assert flight.locator(".margins li").count() > 10 and flight.locator(".verdict").count() == 0
    assert violations(flight) == []
    weight.fill("170 lb")
    expect(note).to_have_count(0, timeout=BRIEFLY)
    expect(flight.locator("#answer-state")).to_be_hidden()
    assert flight.url.endswith("/?load0=170+lb")


def test_back_forward_and_reload_show_the_flight_of_the_address(server, flight):
    flight.locator("#field-load3_out").check()
    flight.wait_for_url("**load3_out=1")
    flight.locator("#field-power").fill("2250 rpm")
    flight.wait_for_url("**power=2250+rpm*")
    flight.go_back()
    expect(flight.locator("#field-power")).to_have_value("2450 rpm")
    assert flight.url.endswith("/?load3_out=1") and flight.locator("#field-load3_out").is_checked()
    flight.go_forward()
    expect(flight.locator("#field-power")).to_have_value("2250 rpm")
    flight.reload()
    assert flight.locator("#field-power").input_value() == "2250 rpm" and flight.locator("#field-load3_out").is_checked()


def test_a_remedy_is_taken_with_one_touch_and_undone_by_keyboard_alone(flight):
    before = verdict(flight)
    flight.get_by_role("link", name="What would make it fit").press("Enter")
    expect(flight.locator("#working")).to_contain_text("What would make it fit")
    expect(flight.locator("h2#remedies")).to_be_focused(timeout=60_000)
    expect(flight.locator("#working")).to_be_hidden()
    assert "remedies=1" in flight.url and violations(flight) == []
    promised = flight.locator(".remedies li > p .word").first.inner_text().split(" ", 1)[1]
    flight.locator(".apply").first.press("Enter")
    undo = flight.get_by_role("link", name="Undo the last change")
    expect(undo).to_be_visible(timeout=BRIEFLY)
    expect(flight.locator("#verdict")).to_be_focused()
    assert verdict(flight).split(" ", 1)[1].lower().startswith(promised)
    flight.keyboard.press("Tab")
    assert flight.evaluate("document.activeElement.textContent") == "Undo the last change"
    flight.keyboard.press("Enter")
    expect(undo).to_have_count(0, timeout=BRIEFLY)
    assert verdict(flight) == before and same_page(flight)


def test_a_level_taken_and_undone_moves_its_field(flight):
    flight.get_by_role("link", name="Which level").click()
    expect(flight.locator("h2#levels")).to_be_focused(timeout=BRIEFLY)
    flight.get_by_role("link", name="Fly 11,500 ft").click()
    expect(flight.locator("#field-cruise_altitude")).to_have_value("11500 ft", timeout=BRIEFLY)
    flight.get_by_role("link", name="Undo the last change").click()
    expect(flight.locator("#field-cruise_altitude")).to_have_value("9500 ft", timeout=BRIEFLY)
    flight.get_by_role("link", name="When to leave").click()
    expect(flight.locator("h2#when")).to_be_focused(timeout=BRIEFLY)
    assert violations(flight) == [] and same_page(flight)


def test_a_place_is_found_by_name_and_taken_by_keyboard(flight):
    field, options = flight.locator("#field-to"), flight.locator("#field-to-places [role=option]")
    field.focus()
    field.fill("")
    field.press_sequentially("johnson cr", delay=30)
    expect(options.first).to_contain_text("3U2 Johnson Creek")
    assert field.get_attribute("aria-expanded") == "true" and violations(flight) == []
    field.press("ArrowDown")
    assert flight.evaluate("document.activeElement.getAttribute('aria-activedescendant')") == options.first.get_attribute("id")
    field.press("Enter")
    flight.wait_for_url(re.compile(r"[?&]to=3U2(&|$)"), timeout=BRIEFLY)
    assert field.input_value() == "3U2" and field.get_attribute("aria-expanded") == "false" and focused(flight) == "field-to"
    expect(flight.locator("#field-weather_3U2_wind")).to_have_count(1)  # its own fields are there at once
    via = flight.locator("#field-via")
    via.focus()
    via.press("End")
    via.press_sequentially(" stanl", delay=30)
    expect(flight.locator("#field-via-places [role=option]").first).to_be_visible()
    via.press("Escape")
    expect(flight.locator("#field-via-places")).to_be_hidden()
    assert via.input_value() == "U88 stanl"


def test_a_server_that_is_gone_is_said_and_what_is_typed_waits(server, browser):
    with opened(browser) as (page, _):
        page.goto(server.url)
        server.stop()
        try:
            page.locator("#field-load0").fill("171 lb")
            expect(page.locator("#working")).to_contain_text("What you typed is kept", timeout=BRIEFLY)
            expect(page.locator("#first .stale")).to_contain_text("does not hold for what is typed now")
        finally:
            server.start()
        page.locator("#field-load0").fill("172 lb")
        page.wait_for_url("**load0=172+lb", timeout=BRIEFLY)
        expect(page.locator("#working")).to_be_hidden()
        assert page.locator("#first .stale").count() == 0


def test_an_address_too_long_is_said_and_swaps_nothing(flight):
    field = flight.locator("#field-load0_what")
    field.fill("x" * 21_000)
    field.press("Tab")
    expect(flight.locator("#working")).to_contain_text("too long", timeout=BRIEFLY)
    expect(flight.locator("#first .stale")).to_have_count(1)
    field.fill("me")
    field.press("Tab")
    flight.wait_for_url("**load0_what=me", timeout=BRIEFLY)
    expect(flight.locator("#first .stale")).to_have_count(0)


def test_people_in_kilograms_on_a_phone(server, browser):
    with opened(browser, viewport=PHONE) as (page, wrong):
        page.goto(f"{server.url}/units")
        assert violations(page) == [] and sideways(page) == 0
        page.get_by_label("Weight of people and baggage").select_option("kg")
        page.get_by_role("button", name="Keep these units").click()
        page.get_by_role("link", name="To the Flight screen").click()
        expect(page.locator("#field-load0-hint")).to_have_text("82 kg")
        page.locator("#field-load0").fill("80 kg")
        page.wait_for_url("**load0=80+kg", timeout=BRIEFLY)
        shot(page, "people in kilograms")
        assert page.locator("#field-load0").input_value() == "80 kg" and sideways(page) == 0 and wrong == []


def test_without_scripts_every_way_is_an_address(server, browser):
    with opened(browser, java_script_enabled=False) as (page, _):
        page.goto(server.url)
        page.locator("#field-load3_out").check()
        page.get_by_role("button", name="Assess this flight").click()
        assert "load3_out=1" in page.url and page.locator(".verdict").inner_text()
        page.get_by_role("link", name="Which level").click()
        assert "levels=1" in page.url and page.locator("h2#levels").inner_text() == "Which level"
