"""The map and the one clock in a real browser: they move at once, ask nothing, come up again for a new answer, stand aside without scripts."""

import base64
from pathlib import Path

import pytest
from browsing import PHONE, ROOT, Server, opened, shot, sideways, violations

from ownship.units import to_si

DIST = ROOT / "src/ownship/web/static/dist"
DOT = base64.b64decode("iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg==")
STATE = """() => ({
  said: document.querySelector('#clock').getAttribute('aria-valuetext'),
  figures: [...document.querySelectorAll('.clock-now dd')].map(x => x.textContent),
  sketch: document.querySelector('svg polyline.route').closest('svg').querySelector('.now').getAttribute('transform'),
  hours: document.querySelector('svg rect.bar-used').closest('svg').querySelector('line.now').getAttribute('x1'),
  burn: document.querySelector('svg polyline.path-middle').closest('svg').querySelector('line.now').getAttribute('y1'),
  beam: document.querySelector('svg line.lever').closest('svg').querySelector('path.now').getAttribute('d'),
  map: document.querySelector('.map-mark.mark-here').style.transform})"""


def until(page, expression, seconds=20):
    """Wait until an expression holds (the policy of the pages allows no eval, which the browser's own waiting would need)."""
    for _ in range(int(seconds * 20)):
        if page.evaluate(expression):
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"never came true: {expression}")


def ready(page, url):
    page.goto(url)
    page.wait_for_selector(".map .route-line", state="attached")
    page.wait_for_selector(".map .land", state="attached")


def test_the_slider_moves_every_view_at_once_and_asks_nothing(server, page):
    ready(page, server.url)
    page.wait_for_load_state("networkidle")
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.focus("#clock")
    page.keyboard.press("Home")
    first = page.evaluate(STATE)
    for _ in range(22):
        page.keyboard.press("ArrowRight")
    there = page.evaluate(STATE)
    page.keyboard.press("End")
    last = page.evaluate(STATE)
    for key in first:
        assert first[key] != there[key] != last[key], key
    assert first["said"] == "15:00, before take-off, blocks" and last["said"].endswith("min after take-off, landing")
    assert asked == []
    rows = page.locator(".clock-moments tbody tr")
    assert last["figures"] == rows.last.locator("td").all_text_contents()[1:]


def test_at_the_landing_the_marks_stand_where_the_server_drew_the_landing(server, page):
    ready(page, server.url)
    page.focus("#clock")
    page.keyboard.press("End")
    ends = page.evaluate("""() => {
      const svg = document.querySelector('svg rect.bar-used').closest('svg');
      const edges = [...svg.querySelectorAll('rect.bar-used')].map(x => Number(x.getAttribute('x')) + Number(x.getAttribute('width')));
      return [edges, [...svg.querySelectorAll('line.now')].map(x => Number(x.getAttribute('x1')))]}""")
    assert ends[1] == pytest.approx(ends[0], abs=0.3)  # used up to the landing, for all fuel and for each tank
    route = page.locator("svg polyline.route").get_attribute("points").split()[-1]
    x, y = (float(part) for part in page.evaluate(STATE)["sketch"][len("translate("):-1].split())
    assert [x, y] == [float(part) for part in route.split(",")]


def test_a_new_answer_brings_its_own_map_and_clock(server, page):
    ready(page, server.url)
    page.focus("#clock")
    page.keyboard.press("End")
    old = page.evaluate(STATE)
    field = page.locator("[name='cruise_altitude']")
    field.evaluate("x => x.closest('details').open = true")
    field.fill("10500 ft")
    field.press("Tab")
    until(page, "document.querySelector('.clock-moments')?.textContent.includes('10,500 ft')")
    until(page, "document.querySelectorAll('.clock-now dd').length > 5 && !document.querySelector('.clock-bar').hidden")
    new = page.evaluate(STATE)
    assert new["said"] != old["said"]
    assert page.locator(".map .leaflet-map-pane").count() == 1 and page.locator(".map .route-line").count() == 1
    for drawing in ("polyline.route", "line.lever", "rect.bar-used"):
        assert page.evaluate(f"document.querySelector('svg {drawing}').closest('.wide').parentNode.querySelectorAll(':scope > .now-words').length") \
            == page.locator(".now-words").count() == 3
    page.focus("#clock")
    page.keyboard.press("Home")
    assert page.evaluate(STATE)["said"] == "15:00, before take-off, blocks"
    assert page.evaluate("document.querySelector('.map .leaflet-container').getAttribute('aria-label')").startswith("Map of the route")


def test_another_destination_is_drawn_where_it_lies(server, page):
    ready(page, server.url)
    field = page.locator("[name='alternates']")
    field.evaluate("x => x.closest('details').open = true")
    field.fill("KTWF")
    field.press("Tab")
    until(page, "document.querySelector('.map-places')?.textContent.includes('KTWF')")
    page.wait_for_selector(".map .route-line", state="attached")
    assert page.locator(".map-mark.mark-alternate").count() == 1
    assert page.locator(".map-place button", has_text="KTWF").count() == 1


def test_the_map_is_moved_by_keys_and_by_the_list_of_places(server, page):
    ready(page, server.url)
    where = "document.querySelector('.map .leaflet-map-pane').style.transform"
    page.locator(".map .leaflet-container").focus()
    before = page.evaluate(where)
    page.keyboard.press("ArrowRight")
    until(page, f"{where} !== {before!r}")
    page.keyboard.press("+")
    page.locator(".map-places summary").click()
    page.locator(".map-place button", has_text="KMYL").press("Enter")
    page.wait_for_selector(".leaflet-tooltip >> text=KMYL")
    until(page, """() => { const m = document.querySelector('.map-mark.mark-alternate').getBoundingClientRect();
      const b = document.querySelector('.map .leaflet-container').getBoundingClientRect();
      return Math.abs(m.x + m.width / 2 - b.x - b.width / 2) < 3 && Math.abs(m.y + m.height / 2 - b.y - b.height / 2) < 3 }""")


def test_the_scale_bar_is_as_long_as_it_says(server, page):
    """KBOI to U88 is 32.7 nm by the assessment: the two marks stand that far apart on the bar's own scale."""
    ready(page, server.url)
    found = page.evaluate("""() => { const at = k => { const r = document.querySelectorAll('.map-mark.mark-' + k)[0].getBoundingClientRect();
        return [r.x + r.width / 2, r.y + r.height / 2] };
      const [a, b, bar] = [at('end'), at('fix'), document.querySelector('.map-scale')];
      return [Math.hypot(a[0] - b[0], a[1] - b[1]), bar.offsetWidth, parseFloat(bar.textContent)]}""")
    assert found[0] / found[1] * found[2] == pytest.approx(32.7, rel=0.04)  # the scale of the middle of the view
    assert float(page.locator(".map-view").get_attribute("data-mile")) == float(to_si(1, "nm"))


def test_the_reach_is_drawn_by_a_button_and_taken_off_again(server, page):
    ready(page, server.url)
    page.locator(".map-reach button").click()
    page.wait_for_selector(".map .reach-low", state="attached")
    assert page.locator(".map .reach-median").count() == 1
    assert "reserve kept" in page.locator(".map-reach [role=status]").inner_text()
    shot(page, "map with the reach")
    page.locator(".map-reach button").click()
    assert page.locator(".map .reach-low").count() == 0


def test_without_scripts_the_table_and_the_sketch_stand_there(server, browser):
    with opened(browser, java_script_enabled=False) as (page, _):
        page.goto(server.url)
        assert not page.locator(".clock-bar").is_visible() and not page.locator(".map").is_visible()
        assert page.locator("svg polyline.route").count() == 1
        page.locator(".clock summary").click()
        assert page.locator(".clock-moments tbody tr").count() > 40 and page.locator(".clock-moments").is_visible()


@pytest.mark.parametrize("theme", ["night"])  # by day: test_every_screen
def test_map_and_clock_are_for_everybody(server, browser, theme):
    for view in (None, PHONE):
        with opened(browser, **({"viewport": view} if view else {})) as (page, wrong):
            ready(page, f"{server.url}/?theme={theme}")
            page.locator(".map-places summary").click()
            assert violations(page) == [] and sideways(page) == 0
            box = page.locator("#clock").bounding_box()
            assert box["height"] >= 44 and page.locator(".map .leaflet-control-zoom-in").bounding_box()["height"] >= 44
            shot(page, f"map and clock {theme} {'phone' if view else 'wide'}")
            assert wrong == []


def test_the_bundle_keeps_its_size():
    assert (DIST / "map.js").stat().st_size < 250_000
    assert (DIST / "map.js").stat().st_size + (DIST / "app.js").stat().st_size < 350_000


def test_tiles_come_from_the_owners_host_and_nothing_else_from_elsewhere(browser, tmp_path, monkeypatch):
    (Path(tmp_path) / "map.toml").write_text('address = "https://tiles.example.org/{z}/{x}/{y}.png"\ncredit = "Survey <b>maps</b>"\n')
    monkeypatch.delenv("OWNSHIP_TILES", raising=False)
    running = Server(tmp_path)
    running.start()
    try:
        with opened(browser) as (page, wrong):
            asked = []
            page.on("request", lambda request: asked.append(request.url))
            page.route("https://tiles.example.org/**", lambda route: route.fulfill(body=DOT, content_type="image/png"))
            ready_with_tiles(page, running.url)
            elsewhere = [x for x in asked if not x.startswith((running.url, "data:"))]
            assert elsewhere and all(x.startswith("https://tiles.example.org/") for x in elsewhere)
            assert page.locator(".leaflet-control-attribution").inner_text() == "Survey <b>maps</b>"
            blocked = page.evaluate("fetch('https://tiles.example.org/1/1/1.png').then(() => 'came', () => 'refused')")
            assert blocked == "refused"  # images alone
            del wrong[:]
    finally:
        running.stop()


def ready_with_tiles(page, url):
    page.goto(url)
    page.wait_for_selector(".map .leaflet-tile-loaded", state="attached")
