"""Every screen in a real browser: for everybody (axe-core), at 320 px, in both themes, without scripts, by keyboard alone."""

import pytest
from browsing import PHONE, WIDE, opened, shot, sideways, violations

SCREENS = ("/",)


@pytest.mark.parametrize("theme", ["light", "night"])
@pytest.mark.parametrize("path", SCREENS)
def test_no_barrier_stands_in_any_screen(server, page, path, theme):
    page.goto(f"{server.url}{path}{'&' if '?' in path else '?'}theme={theme}")
    assert violations(page) == []


@pytest.mark.parametrize("path", SCREENS)
def test_a_screen_fits_a_phone(server, browser, path):
    with opened(browser, viewport=PHONE) as (page, wrong):
        page.goto(server.url + path)
        shot(page, f"phone {path}")
        assert sideways(page) == 0 and wrong == []


@pytest.mark.parametrize("path", SCREENS)
def test_a_screen_says_the_same_without_scripts(server, browser, path):
    with opened(browser, viewport=WIDE, java_script_enabled=False) as (page, _):
        answer = page.goto(server.url + path)
        assert answer.status == 200 and page.locator("h1").inner_text()


@pytest.mark.parametrize("path", SCREENS)
def test_nothing_is_loaded_from_another_host(server, page, path):
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(server.url + path)
    assert asked and all(url.startswith((server.url, "data:", "blob:")) for url in asked)
