"""Two themes: contrast by the formula of WCAG 2.2 (relative luminance), red on black at night, the address before the cookie."""

import re

import pytest
from fastapi.testclient import TestClient

from ownship.web.app import create_app

CLIENT = TestClient(create_app(), base_url="http://127.0.0.1")
STYLE = CLIENT.get("/static/style.css").text
LIGHT = re.search(r"^:root \{(.*?)\}", STYLE, re.M)[1]
NIGHT = re.search(r'^:root\[data-theme="night"\] \{(.*?)\}', STYLE, re.M)[1]
DARK = re.search(r'prefers-color-scheme: dark\) \{ :root:not\(\[data-theme="light"\]\) \{(.*?)\}', STYLE)[1]
TEXTS = [("ink", "paper"), ("soft", "paper"), ("teal", "paper"), ("red", "paper"), ("amber", "paper"), ("violet", "paper"),
         ("on", "red"), ("on", "teal"), ("on", "amber"), ("ink", "shade"), ("ink", "zone"), ("soft", "shade")]


def colours(block):
    return dict(re.findall(r"--([a-z]+): (#[0-9a-f]{6})", block))


def luminance(colour):
    parts = [int(colour[i:i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(a, b):
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_formula_gives_the_published_ends():
    """WCAG 2.2: black on white is 21:1, a colour on itself 1:1."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#777777") == pytest.approx(1.0)


@pytest.mark.parametrize("block", [LIGHT, NIGHT, DARK], ids=["light", "night", "device at night"])
def test_every_text_has_contrast_of_at_least_four_and_a_half(block):
    of = colours(block)
    for a, b in TEXTS:
        assert contrast(of[a], of[b]) >= 4.5, (a, b, contrast(of[a], of[b]))
    assert contrast(of["edge"], of["paper"]) >= 3.0  # borders of fields
    assert contrast(of["bar"], of["paper"]) >= 3.0  # bars


def test_light_reads_in_sunlight():
    of = colours(LIGHT)
    assert contrast(of["ink"], of["paper"]) >= 15 and contrast(of["soft"], of["paper"]) >= 7


def test_night_is_red_on_black_and_the_same_however_it_is_chosen():
    of = colours(NIGHT)
    assert of == colours(DARK) and of["paper"] == "#000000"
    for name in ("ink", "soft", "teal", "red", "amber", "violet", "edge"):
        r, g, b = (int(of[name][i:i + 2], 16) for i in (1, 3, 5))
        assert r > 2 * max(g, b)


def test_a_theme_is_chosen_by_the_address_and_stays_with_every_way_on():
    page = CLIENT.get("/", params={"theme": "night", "load2_out": "1"})
    assert '<html lang="en" data-theme="night">' in page.text and "ownship-theme=night" in page.headers["set-cookie"]
    assert '<input type="hidden" name="theme" value="night">' in page.text
    ways = re.findall(r'href="(/[^"]*remedies=1[^"]*)"', page.text)
    assert ways and all("theme=night" in x and "load2_out=1" in x for x in ways)


def test_a_theme_there_is_not_changes_nothing():
    page = CLIENT.get("/", params={"theme": '"><b>'})
    assert page.status_code == 200 and "data-theme" not in page.text and "<b>" not in page.text
