"""Charts: the marks and words of the data given, the same bytes every time, shapes and words that need no colour."""

import hashlib
import math
import os
import re
import subprocess
import sys
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from defusedxml.ElementTree import fromstring
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.calibration.diagnostics import Disagreement, KeyFigure
from ownship.calibration.trend import Entry, trend
from ownship.errors import BadInput
from ownship.papers import charts
from ownship.papers.charts import agreement_chart, before_after_chart, difference_chart, study_differences, trend_chart
from ownship.studies.comparison import paired
from ownship.units import to_si
from ownship.words.figures import Figure

ROOT = Path(__file__).resolve().parents[2]
SVG = "{http://www.w3.org/2000/svg}"
EDGE = 1.6449  # sigma at the edge of a 90 % band, tables of the normal distribution
NAN = math.nan


def row(line, sigma, kind="takeoff_roll_ft", value=800.0, predicted=810.0):
    return Disagreement(line, kind, value, predicted, sigma, "")


ROWS = (row(2, 0.4), row(3, -1.2), row(4, 2.5, value=900.0), row(5, 0.1, "rate_of_climb_fpm", 640, 635),
        row(6, -0.7, "rate_of_climb_fpm", 610, 640), row(7, 0.9, "cruise_tas_kt", 112, 110))
BEFORE = (KeyFigure("rate of climb at 4,000 ft", "ft/min", 640, 520, 760), KeyFigure("static rpm at sea level", "rpm", 2350, 2290, 2410),
          KeyFigure("fuel at 2,450 rpm", "US gal/h", 8.2, 7.4, 9.0), KeyFigure("service ceiling", "ft", NAN, NAN, NAN))
AFTER = (KeyFigure("rate of climb at 4,000 ft", "ft/min", 590, 560, 620), KeyFigure("static rpm at sea level", "rpm", 2320, 2305, 2335),
         KeyFigure("fuel at 2,450 rpm", "US gal/h", 8.5, 7.6, 9.4), KeyFigure("service ceiling", "ft", NAN, NAN, NAN))
BOOK = {"rate of climb at 4,000 ft": 700.0, "static rpm at sea level": 2330.0}
DIFFERENCES = (("static rpm", Figure(-80, "rpm", -100, -60)), ("TAS", Figure(5.4, "kt", 4, 6.6)), ("fuel", Figure(0.2, "usgal/h", -0.1, 0.5)),
               ("useful load", Figure(0, "lb", 0, 0)), ("CG", Figure(NAN, "in")), ("price", Figure(3, "ft")))


def entries(slope=-1.5, count=12):
    return tuple(Entry(to_si(1000 + 20 * i, "h"), to_si(2350 + slope * i + (i * 5) % 7 / 4, "rpm")) for i in range(count))


@cache
def every_chart():
    return {"agreement": agreement_chart(ROWS), "before and after": before_after_chart(BEFORE, AFTER, BOOK),
            "trend": trend_chart(trend("static_rev_s", entries()), entries()), "difference": difference_chart("coarser propeller", DIFFERENCES)}


EACH = pytest.mark.parametrize("name", ["agreement", "before and after", "trend", "difference"])


def marks(svg, name):
    """The drawn elements of one named mark, panel after panel."""
    found = []
    for group in fromstring(svg).iter(f"{SVG}g"):
        if re.search(rf"role-mark {name}(_\d+)?_marks", group.get("class", "")):
            found += [e for e in group.iter() if e.tag in (f"{SVG}path", f"{SVG}line", f"{SVG}text") and e is not group]
    return found


def at(element):
    x, y = re.match(r"translate\(([^,]+),([^)]+)\)", element.get("transform")).groups()
    return float(x), float(y)


def length(line):
    return abs(float(line.get("x2", 0)))


def texts(svg):
    """Every text by itself, one of several lines as its lines and as a whole."""
    found = []
    for e in fromstring(svg).iter(f"{SVG}text"):
        lines = [line.text for line in e.iter(f"{SVG}tspan")]
        found += [*lines, " ".join(lines)] if lines else [e.text or ""]
    return found


def band(svg):
    """Left and right end of the shaded band in px."""
    x, wide = re.match(r"M([-\d.e]+),[-\d.e]+h([-\d.e]+)", marks(svg, "band")[0].get("d")).groups()
    return float(x), float(x) + float(wide)


def contrast(one, other):
    """Contrast ratio of two colours by relative luminance (WCAG 2.1, from memory)."""
    def luminance(colour):
        parts = [int(colour[i:i + 2], 16) / 255 for i in (1, 3, 5)]
        return sum(w * (c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4) for w, c in zip((0.2126, 0.7152, 0.0722), parts, strict=True))
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_contrast_formula_gives_the_published_ratios():
    """Black on white 21:1; #767676 on white 4.54:1, known as the lightest grey that passes (from memory)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@EACH
def test_every_text_can_be_read_in_sunlight(name):
    root = fromstring(every_chart()[name])
    fills = {e.get("fill") for e in root.iter(f"{SVG}text")}
    assert root.find(f"{SVG}rect").get("fill") == charts.PAPER
    assert fills and all(contrast(f, charts.PAPER) >= 4.5 for f in fills)
    assert not [e for e in root.iter(f"{SVG}text") if float(e.get("opacity", 1)) < 1]


@EACH
def test_a_title_that_is_a_sentence_and_a_text_alternative(name):
    root = fromstring(every_chart()[name])
    label = root.get("aria-label")
    title = label.split(". ")[0] + "."
    assert root.get("role") == "img" and not title[0].islower() and len(title.split()) > 4
    assert title in texts(every_chart()[name])
    assert "flight manual governs" in label or "mechanic" in label


@EACH
def test_nothing_moves_nothing_is_fetched_and_charts_can_share_a_page(name):
    svg = every_chart()[name]
    tags = {e.tag.removeprefix(SVG) for e in fromstring(svg).iter()}
    assert tags <= {"svg", "g", "path", "rect", "line", "text", "tspan"}
    assert set(re.findall(r"https?://[^\s\"'<]*", svg)) <= {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}
    assert not re.search(r"href|url\(|@import|\sid=", svg)


@EACH
def test_the_axes_say_their_units(name):
    wanted = {"agreement": ["half-widths"], "before and after": ["ft/min", "rpm", "US gal/h"], "trend": ["(rpm)", "(h)"],
              "difference": ["rpm", "kt", "US gal/h", "lb", "in"]}[name]
    said = texts(every_chart()[name])
    assert all(any(w in t for t in said) for w in wanted)


def test_the_same_values_give_the_same_bytes_in_another_process_and_altair_waits_until_asked():
    """Another hash seed, a fresh interpreter: sets and dictionaries must not decide what is drawn where."""
    code = ("import sys, hashlib; import ownship.papers.charts; assert 'altair' not in sys.modules and 'vl_convert' not in sys.modules;"
            "from tests.papers.test_charts import every_chart; print(hashlib.sha256(repr(every_chart()).encode()).hexdigest())")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT,
                          env={**os.environ, "PYTHONHASHSEED": "7", "PYTHONPATH": os.pathsep.join([str(ROOT), *sys.path])})
    assert done.stdout.strip() == hashlib.sha256(repr(every_chart()).encode()).hexdigest()
    every_chart.cache_clear()
    assert done.stdout.strip() == hashlib.sha256(repr(every_chart()).encode()).hexdigest()


def test_agreement_has_a_mark_for_each_row_a_strip_for_each_kind_and_names_the_three_worst():
    svg = agreement_chart(ROWS, "the book")
    assert (len(marks(svg, "inside")), len(marks(svg, "outside"))) == (5, 1)
    said = texts(svg)
    assert {"take-off roll (3)", "rate of climb (2)", "true airspeed (1)"} <= set(said)
    assert sorted(e.text for e in marks(svg, "numbers")) == ["1", "2", "3"]
    assert any(t.startswith("1: line 4, take-off roll, reads 900 ft, the rest says 810: 1.5 half-widths") for t in said)
    assert any(t.startswith("2: line 3,") for t in said) and any(t.startswith("3: line 7, true airspeed") for t in said)
    assert "5 of 6 rows lie inside their own 90 % bands; 1 lies outside." in said


def test_agreement_draws_each_row_at_its_distance_and_the_edge_of_its_band_at_one():
    rows = (row(2, EDGE), row(3, -EDGE), row(4, 0.0), row(5, EDGE / 2))
    svg = agreement_chart(rows)
    left, right = band(svg)
    found = [at(e)[0] for name in ("inside", "outside") for e in marks(svg, name)]
    assert found == pytest.approx([right, left, (left + right) / 2, left + 0.75 * (right - left)], abs=0.01)


def test_agreement_does_not_ask_for_an_order():
    assert agreement_chart(ROWS) == agreement_chart(ROWS[::-1])


def test_a_row_that_cannot_be_flown_is_named_first_and_not_drawn():
    svg = agreement_chart((*ROWS, row(9, math.inf, "service_ceiling_ft", 30000, NAN)))
    assert len(marks(svg, "inside")) + len(marks(svg, "outside")) == len(ROWS)
    assert "service ceiling (1, 1 not drawn)" in texts(svg)
    assert any(t.startswith("1: line 9, service ceiling, reads 30,000 ft, which this aeroplane cannot fly: not drawn") for t in texts(svg))
    assert "1 cannot be flown at all." in fromstring(svg).get("aria-label")


def test_every_row_beyond_flying_still_gives_a_chart_that_says_so():
    svg = agreement_chart((row(2, math.inf, predicted=NAN),))
    assert not marks(svg, "inside") and not marks(svg, "outside")
    assert "0 of 1 rows lie inside their own 90 % bands; 1 cannot be flown at all." in texts(svg)


@settings(max_examples=15, deadline=None)
@given(sigma=st.floats(1.66, 500), sign=st.sampled_from([-1, 1]), which=st.integers(0, len(ROWS) - 1))
def test_a_row_moved_beyond_its_band_leaves_the_band_on_its_side(sigma, sign, which):
    calm = tuple(replace(r, sigma=min(r.sigma, 1.0)) for r in ROWS)
    before, after = agreement_chart(calm), agreement_chart(tuple(replace(r, sigma=sign * sigma) if i == which else r for i, r in enumerate(calm)))
    left, right = band(before)
    assert not marks(before, "outside") and all(left <= at(e)[0] <= right for e in marks(before, "inside"))
    (left, right), moved = band(after), marks(after, "outside")
    assert len(moved) == 1 and (at(moved[0])[0] > right if sign > 0 else at(moved[0])[0] < left)
    assert 0 <= at(moved[0])[0] <= charts.WIDTH
    assert len(marks(after, "inside")) == len(ROWS) - 1


def test_before_and_after_draws_what_is_known_and_says_what_is_not():
    svg = before_after_chart(BEFORE, AFTER, BOOK)
    assert (len(marks(svg, "bars")), len(marks(svg, "open")), len(marks(svg, "filled"))) == (6, 6, 2)
    said = texts(svg)
    assert said.count("not known") == 4  # the ceiling three times, the book's fuel
    assert {"640 (520 to 760)", "590 (560 to 620)", "700, outside the band after", "2,330", "8.5 (7.6 to 9.4)"} <= set(said)
    assert fromstring(svg).get("aria-label").startswith("Your measurements narrowed 2 of 4 bands, most of all rate of climb at 4,000 ft, "
                                                         "to 25 % of its width; 1 became wider; 1 not known.")


def test_a_bar_is_as_long_as_its_band():
    svg = before_after_chart(BEFORE[:1], AFTER[:1], {})
    before, after = marks(svg, "bars")
    assert length(after) / length(before) == pytest.approx(60 / 240, abs=1e-3)
    assert at(marks(svg, "open")[1])[0] == pytest.approx(at(after)[0] + length(after) / 2, abs=0.01)


def test_measurements_that_narrow_nothing_are_said_to():
    svg = before_after_chart(AFTER[:2], BEFORE[:2], BOOK)
    assert fromstring(svg).get("aria-label").startswith("Your measurements narrowed none of 2 bands; 2 became wider.")


@settings(max_examples=8, deadline=None)
@given(st.floats(-1000, 1000), st.floats(1, 200))
def test_a_book_value_beyond_the_band_stands_beyond_the_bar(value, width):
    figure = KeyFigure("x", "ft", value, value - width, value + width)
    for book, beyond in ((value + 1.2 * width, True), (value - 1.2 * width, True), (value + 0.8 * width, False)):
        svg = before_after_chart((figure,), (figure,), {"x": book})
        bar, diamond = marks(svg, "bars")[1], at(marks(svg, "filled")[0])[0]
        assert (not at(bar)[0] <= diamond <= at(bar)[0] + length(bar)) == beyond
        assert any("outside the band after" in t for t in texts(svg)) == beyond


def test_differences_stand_about_one_zero_line_by_shape_and_word():
    svg = difference_chart("coarser propeller", DIFFERENCES)
    assert [at(e)[0] for e in marks(svg, "zero")] == pytest.approx([charts.WIDTH / 2] * len(DIFFERENCES))
    filled, hollow = marks(svg, "filled"), marks(svg, "open")
    assert (len(filled), len(hollow), len(marks(svg, "bars"))) == (2, 3, 4)
    assert at(filled[0])[0] < charts.WIDTH / 2 < at(filled[1])[0]
    assert {e.get("d") for e in filled}.isdisjoint({e.get("d") for e in hollow})
    assert {"-80 (-100 to -60) less", "+5.4 (+4.0 to +6.6) more", "+0.20 (-0.10 to +0.50) not clear of zero", "no difference", "not known",
            "+3.0, band not known"} <= set(texts(svg))
    assert "Coarser propeller: 2 of 6 differences are clear of zero; 1 not known." in texts(svg)


def test_what_is_too_small_to_be_written_is_no_difference():
    """Fuel at equal power differs by rounding alone, 4e-8 US gal/h: no filled diamond for that."""
    svg = difference_chart("x", [("fuel", Figure(-4e-8, "usgal/h", -6e-8, -3e-8))])
    assert not marks(svg, "filled") and "no difference to speak of" in texts(svg)


@settings(max_examples=12, deadline=None)
@given(st.floats(0.1, 1e4), st.floats(0.01, 0.99), st.sampled_from([-1, 1]))
def test_a_band_moved_off_zero_fills_its_mark_and_moves_it(size, share, sign):
    across = Figure(0.0, "ft", -size, size)
    low, high = sorted((sign * size * (1 - share), sign * size * (1 + share)))
    svg, moved = (difference_chart("x", [("roll", f)]) for f in (across, Figure(sign * size, "ft", low, high)))
    assert marks(svg, "open") and not marks(svg, "filled")
    if max(abs(low), abs(high)) >= charts.SMALLEST:
        assert not marks(moved, "open")
        assert math.copysign(1, at(marks(moved, "filled")[0])[0] - at(marks(svg, "open")[0])[0]) == sign


def test_a_study_is_drawn_under_the_names_of_its_text():
    draws = np.random.default_rng(1).normal(50, 1, 256)
    figures = {"static_rpm": {"static_rpm": paired(draws, draws - 1, "rpm")}, "equal_rpm": {"tas": paired(draws, draws + 2, "kt")}}
    found = study_differences(figures)
    assert [label for label, _ in found] == ["static rpm", "at equal rpm, 5,000 ft, TAS"]
    assert found[0][1] == figures["static_rpm"]["static_rpm"].difference
    assert len(marks(difference_chart("x", found), "filled")) == 2


def test_a_trend_shows_its_entries_its_line_and_an_alert_by_word_and_shape():
    bad, good = (trend_chart(trend("static_rev_s", e), e) for e in (entries(-1.5), entries(0.0)))
    assert len(marks(bad, "entries")) == len(marks(good, "entries")) == 12
    assert "ALERT: falling" in texts(bad) and "no alert" in texts(good) and "ALERT: falling" not in texts(good)
    assert len(marks(bad, "end")) == len(marks(good, "end")) == 1
    assert marks(bad, "end")[0].get("d") != marks(good, "end")[0].get("d")
    assert "Static rpm in standard air is falling, by more than the scatter explains." in texts(bad)
    assert "per 100 h" in fromstring(bad).get("aria-label")


def test_the_line_of_a_trend_goes_through_entries_that_lie_on_one():
    exact = tuple(Entry(to_si(900 + 15 * i, "h"), to_si(2400 - 3 * i, "rpm") / 0.98, 0.98) for i in range(9))
    svg = trend_chart(trend("static_rev_s", exact), exact)
    line = [tuple(map(float, p.split(","))) for p in re.findall(r"[-\d.]+,[-\d.]+", marks(svg, "line")[0].get("d"))]
    points = [at(e) for e in marks(svg, "entries")]
    assert line[0] == pytest.approx(points[0], abs=0.01) and line[1] == pytest.approx(points[4], abs=0.01)
    assert line[-1] == pytest.approx(points[-1], abs=0.01) and points[0][1] < points[-1][1]


def test_the_line_ends_at_the_level_that_the_trend_tells():
    given = entries(-1.5)
    found = trend("static_rev_s", given)
    svg = trend_chart(found, given)
    (_, y0), (_, y1) = (at(marks(svg, "entries")[i]) for i in (0, 10))
    share = (found.now - given[0].value) / (given[10].value - given[0].value)
    assert at(marks(svg, "end")[0])[1] == pytest.approx(y0 + share * (y1 - y0), abs=0.02)


def test_oil_rises_in_quarts_an_hour():
    oil = tuple(Entry(to_si(100 + 20 * i, "h"), to_si(0.1 + 0.02 * i, "qt") / to_si(1, "h")) for i in range(8))
    svg = trend_chart(trend("oil_m3_s", oil), oil)
    assert {"ALERT: rising", "oil used (qt/h)", "0.10", "0.20"} <= set(texts(svg))


def test_too_few_entries_are_drawn_without_a_line():
    few = entries(count=3)
    svg = trend_chart(trend("static_rev_s", few), few)
    assert len(marks(svg, "entries")) == 3
    assert not any(e.get("d") for e in marks(svg, "line")) and not marks(svg, "end") and not marks(svg, "words")
    assert "Static rpm in standard air: too few entries to show a trend." in texts(svg)


TREND = trend("static_rev_s", entries())


@pytest.mark.parametrize(("call", "words"), [
    (lambda: agreement_chart(()), "no row"),
    (lambda: agreement_chart((row(7, NAN, value=NAN),)), "Line 7 has no reading"),
    (lambda: before_after_chart((), (), {}), "no figure"),
    (lambda: before_after_chart(BEFORE, AFTER[::-1], BOOK), "differ in name, unit or order"),
    (lambda: before_after_chart(BEFORE[:1], (replace(AFTER[0], low=700.0),), BOOK), "low end first"),
    (lambda: difference_chart("coarser propeller", ()), "coarser propeller: there is no difference"),
    (lambda: trend_chart(TREND, ()), "no entry"),
    (lambda: trend_chart(TREND, entries()[:-1]), "made of 12 entries and 11"),
    (lambda: trend_chart(TREND, (Entry(0.0, NAN), *entries()[1:])), "no finite time or value")])
def test_what_cannot_be_drawn_is_refused_in_a_sentence(call, words):
    with pytest.raises(BadInput, match=re.escape(words)) as refusal:
        call()
    assert str(refusal.value).endswith(".") and "\n" not in str(refusal.value)


@pytest.mark.parametrize("name", ['<script>alert("1")</script>', "a & b \x00\x0b", "lone \ud800", "]]>", "x" * 300, "datum.x' [0]"])
def test_no_name_breaks_the_drawing(name):
    svg = difference_chart(name, [(name, Figure(1, "kt", 0.5, 1.5))])
    assert {e.tag.removeprefix(SVG) for e in fromstring(svg).iter()} <= {"svg", "g", "path", "rect", "line", "text", "tspan"}
    assert len(marks(svg, "filled")) == 1
