"""The one rule of margins as a table of cases."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.flight import margins as m
from ownship.words.verdicts import ADVICE, LIMITATION, NOT_KNOWN, OUTSIDE, PERFORMANCE, TIGHT, WITHIN, worst

ABOUT = m.About("runway.take_off.X", "take-off distance", PERFORMANCE, "test")
SPREAD = np.linspace(900.0, 1100.0, 201)


@pytest.mark.parametrize(("available", "covered", "doubly", "verdict"), [
    (1299, 1300, 1500, OUTSIDE), (1300, 1300, 1500, TIGHT), (1499, 1300, 1500, TIGHT), (1500, 1300, 1500, WITHIN),
    (1000, 1300, 1300, OUTSIDE), (1300, 1300, 1300, WITHIN)])
def test_distance(available, covered, doubly, verdict):
    assert m.distance(ABOUT, available, 1000, covered, doubly, SPREAD).verdict == verdict


def test_distance_short_only_by_its_factor_says_so():
    words = m.distance(ABOUT, 1200, 1000, 1300, 1500, SPREAD).words
    assert "shorter than the book figure with its safety factor" in words
    assert m.distance(ABOUT, 900, 1000, 1300, 1500, SPREAD).words == ""


def test_distance_that_some_draws_cannot_do_counts_them_as_broken():
    draws = np.where(np.arange(100) < 25, np.nan, 800.0)
    assert m.distance(ABOUT, 1500, 800, 1100, 1200, draws).chance == pytest.approx(0.25)


@pytest.mark.parametrize(("required", "verdict"), [(905, WITHIN), (915, TIGHT), (1000, TIGHT), (1001, OUTSIDE)])
def test_amount_by_its_low_end(required, verdict):
    assert m.amount(ABOUT, SPREAD, required, "m", 60.0).verdict == verdict


def test_amount_low_end_is_taken_at_the_owners_per_cent_where_that_is_larger():
    assert m.amount(ABOUT, SPREAD, 905, "m", 60.0, least_cover=200).verdict == TIGHT


def test_amount_never_reached_is_outside():
    assert m.amount(ABOUT, np.full(9, np.nan), 1.0, "m", 60.0).verdict == OUTSIDE


@pytest.mark.parametrize(("value", "sd", "upper", "verdict"), [
    (101, 0, True, OUTSIDE), (100, 0, True, WITHIN), (99, 1, True, TIGHT), (98, 1, True, WITHIN),
    (99, 0, False, OUTSIDE), (101, 1, False, TIGHT), (102, 1, False, WITHIN)])
def test_exact_limit(value, sd, upper, verdict):
    assert m.exact(ABOUT, value, 100, sd, "kg", 5, upper=upper).verdict == verdict


def test_beyond_an_exact_limit_the_chance_is_one():
    assert m.exact(ABOUT, 101, 100, 50, "kg", 5).chance == 1.0


def test_advice_broken_is_tight_never_better_never_worse():
    advice = m.About("crosswind.X", "crosswind", ADVICE, "test")
    assert m.exact(advice, 20, 10, 0, "m/s", 5).verdict == TIGHT
    assert m.missing(advice, "No wind report.").verdict == NOT_KNOWN


def test_three_values_of_a_limit():
    limit = m.About("imbalance", "imbalance", LIMITATION, "record")
    assert m.none_published(limit).verdict == WITHIN
    assert m.missing(limit, "Not on the record.").verdict == NOT_KNOWN


def test_outside_outranks_not_known_outranks_tight():
    assert worst([WITHIN, TIGHT]) == TIGHT
    assert worst([TIGHT, NOT_KNOWN]) == NOT_KNOWN
    assert worst([NOT_KNOWN, OUTSIDE]) == OUTSIDE
    assert worst([]) == WITHIN


def test_order_is_verdict_then_chance_then_allowance():
    rows = [m.Margin(str(i), "", PERFORMANCE, v, "", chance=c, allowance_1=a) for i, (v, c, a) in enumerate(
        [(WITHIN, 0.0, 0.1), (TIGHT, 0.2, 0.5), (TIGHT, 0.4, 0.9), (OUTSIDE, 1.0, -0.1), (WITHIN, 0.0, 0.05)])]
    assert [x.id for x in m.order(rows)] == ["3", "2", "1", "4", "0"]


def test_of_two_calibrations_the_worse_counts_by_limit():
    good = m.exact(ABOUT, 90, 100, 1, "kg", 5)
    bad = m.exact(ABOUT, 101, 100, 1, "kg", 5)
    assert m.merge([good], [bad]) == (bad,)
    assert m.merge([bad], [good]) == (bad,)


@settings(max_examples=60, derandomize=True)
@given(st.floats(500, 3000), st.floats(0, 500))
def test_a_longer_runway_is_never_judged_worse(available, more):
    order = [WITHIN, TIGHT, NOT_KNOWN, OUTSIDE].index
    short = m.distance(ABOUT, available, 1000, 1330, 1500, SPREAD)
    long = m.distance(ABOUT, available + more, 1000, 1330, 1500, SPREAD)
    assert order(long.verdict) <= order(short.verdict)
    assert long.chance <= short.chance


def test_every_check_id_of_a_margin_stands_in_the_published_tests():
    """Invariant 4: an id shown beside a margin is a row that a test in tests/published really computes."""
    from pathlib import Path

    from ownship.flight.margins import CHECKS
    root = Path(__file__).parents[1]
    text = "".join(p.read_text(encoding="utf-8") for p in root.rglob("test_*.py"))
    names = {"naca-tr640": "naca_tr640", "handbook-b": "handbook_b"}
    missing = {x for ids in CHECKS.values() for x in ids if names.get(x, x) not in text}
    assert not missing
