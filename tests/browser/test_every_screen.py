"""Every screen in a real browser: for everybody (axe-core), at 320 px, in both themes, without scripts.

Over an empty record and over one that keeps the demo as one's own aeroplane.
"""

import pytest
from browsing import PHONE, WIDE, Server, opened, shot, sideways, violations

from ownship.questions.weighing_ledger import keep
from ownship.web.pages import SCREENS as NAMED

EMPTY = ("/", "/cockpit", "/cockpit/drafts", "/airframe", "/airframe/new", "/airframe/demo", "/airframe/aerodromes", "/measurements",
         "/modifications", "/maintenance", "/maintenance/starter", "/maintenance/electrical", "/maintenance/defects",
         "/maintenance/sale", "/log", "/log/flight/new", "/log/import", "/log/track", "/log/fuel", "/log/recency", "/log/costs",
         "/log/costs/flight", "/log/hand-over", "/data", "/units")
OWN = ("/?aeroplane=N0160T", "/cockpit?aeroplane=N0160T", "/airframe", "/airframe/N0160T", "/measurements", "/measurements/new/level_run",
       "/modifications?pick=lighter-battery", "/maintenance", "/log", "/log/entry/1", "/log/fuel", "/data")
SCREENS = [*(("empty", path) for path in EMPTY), *(("own", path) for path in OWN)]
SMALLEST_PX, TWO_LINES_PX = 23.5, 75  # 24 px, less what a browser rounds; the screens in the head of a page
SMALL = """smallest => [...document.querySelectorAll('a, button, input, select, textarea, summary')].filter(e => {
  const {width, height} = e.getBoundingClientRect();
  const within_text = e.tagName === 'A' && getComputedStyle(e).display === 'inline' && e.closest('p, li, td, small, dd');
  return width && height && !e.closest('.skip') && !within_text && (width < smallest || height < smallest);
}).map(e => e.outerHTML.slice(0, 120))"""


@pytest.fixture(scope="module")
def servers(server, tmp_path_factory):
    """A server over nothing, and one whose record keeps the demo as one's own."""
    own = Server(tmp_path_factory.mktemp("own"))
    keep("demo", "2019-05-01", folder=own.folder)
    own.start()
    yield {"empty": server.url, "own": own.url}
    own.stop()


@pytest.mark.parametrize(("record", "path"), SCREENS)
def test_a_screen_is_for_everybody(servers, page, record, path):
    """No barrier in either theme, targets large enough, no sideways scrolling on a phone, nothing of another host's."""
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    assert page.goto(servers[record] + path).status == 200
    for theme in ("light", "night"):
        page.evaluate("theme => { document.documentElement.dataset.theme = theme; }", theme)
        assert violations(page) == [], theme
    assert page.evaluate(SMALL, SMALLEST_PX) == []
    page.set_viewport_size(PHONE)
    shot(page, f"phone {record} {path}")
    assert sideways(page) == 0
    assert page.locator("nav.screens").bounding_box()["height"] < TWO_LINES_PX
    assert asked and all(url.startswith((servers[record], "data:", "blob:")) for url in asked)


@pytest.mark.parametrize(("name", "path"), NAMED)
def test_a_screen_says_the_same_without_scripts(servers, browser, name, path):
    with opened(browser, viewport=WIDE, java_script_enabled=False) as (page, _):
        answer = page.goto(servers["empty"] + path)
        assert answer.status == 200 and page.locator("h1").inner_text()
        assert page.locator("nav.screens a[aria-current]").inner_text() == name
