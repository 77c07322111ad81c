"""Engine trend: a falling static rpm alerts, a noisy flat one does not, one wrong entry turns nothing."""

from dataclasses import replace

import numpy as np
import pytest

from ownship.calibration.trend import KINDS, Entry, slope_band, trend
from ownship.errors import BadInput
from ownship.units import from_si, to_si


def logged(seed, slope_rpm=0.0, entries=20, noise_rpm=12.0, over_h=200.0):
    """Static rpm over engine time, from 2,320 rpm, falling or rising by slope_rpm per 100 h."""
    rng = np.random.default_rng(seed)
    hours = np.sort(rng.uniform(0.0, over_h, entries)) + 1500.0
    rpm = 2320.0 + slope_rpm * (hours - 1500.0) / 100.0 + noise_rpm * rng.standard_normal(entries)
    return [Entry(float(to_si(h, "h")), float(to_si(r, "rpm"))) for h, r in zip(hours, rpm, strict=True)]


def test_a_falling_static_rpm_is_alerted_and_a_noisy_flat_one_is_not():
    falling = [trend("static_rev_s", logged(s, -25.0)) for s in range(100)]
    flat = [trend("static_rev_s", logged(s)) for s in range(400)]
    rising = [trend("static_rev_s", logged(s, 25.0)) for s in range(50)]
    assert sum(t.alert for t in falling) >= 95
    assert sum(t.alert for t in flat) <= 28  # one in twenty by the band
    assert not any(t.alert for t in rising)
    assert "falling" in falling[0].words
    assert "mechanic" in falling[0].words
    assert not flat[0].alert
    assert "no trend" in flat[0].words


def test_the_true_slope_lies_in_the_band():
    found = [trend("static_rev_s", logged(s, -10.0)) for s in range(200)]
    true = to_si(-10.0, "rpm")
    assert 0.85 <= np.mean([t.low <= true <= t.high for t in found]) <= 0.97


def test_one_wrong_entry_does_not_turn_the_slope():
    good = logged(3, -25.0)
    bad = [*good[:-1], replace(good[-1], value=good[-1].value + to_si(400.0, "rpm"))]
    one, two = trend("static_rev_s", good), trend("static_rev_s", bad)
    assert two.alert
    squares = [np.polyfit([from_si(e.engine_time_s, "h") for e in x], [from_si(e.value, "rpm") for e in x], 1)[0] for x in (good, bad)]
    assert abs(from_si(two.slope - one.slope, "rpm")) < 0.2 * 100 * abs(squares[1] - squares[0])


def test_the_reduction_to_standard_air_takes_the_season_out():
    season = [0.97, 0.98, 0.99, 1.0, 1.01, 1.02, 1.03]
    entries = [Entry(to_si(20.0 * i, "h"), to_si(2300.0, "rpm") / r, r) for i, r in enumerate(season)]
    reduced, raw = trend("static_rev_s", entries), trend("static_rev_s", [replace(e, reduction_1=1.0) for e in entries])
    assert reduced.slope == pytest.approx(0.0, abs=1e-9)
    assert not reduced.alert
    assert raw.alert


@pytest.mark.parametrize(("kind", "change"), [("oil_m3_s", 1e-8), ("compression_1", -0.02), ("mag_drop_rev_s", 0.2)])
def test_each_kind_alerts_in_its_own_bad_direction_only(kind, change):
    worse = [Entry(to_si(25.0 * i, "h"), 0.9 + change * i) for i in range(8)]
    better = [Entry(to_si(25.0 * i, "h"), 0.9 - change * i) for i in range(8)]
    assert trend(kind, worse, "cylinder 3").alert
    assert "(cylinder 3)" in trend(kind, worse, "cylinder 3").words
    assert trend(kind, worse).slope == pytest.approx(4 * change)
    assert not trend(kind, better).alert


def test_values_all_alike_have_no_trend_and_slope_of_three_points_by_hand():
    flat = [Entry(to_si(50.0 * i, "h"), 0.95) for i in range(8)]
    assert trend("compression_1", flat).slope == 0.0
    assert not trend("compression_1", flat).alert
    slope, low, high = slope_band(np.array([0.0, 1.0, 3.0]), np.array([0.0, 2.0, 3.0]))
    assert (slope, low, high) == (1.0, 0.5, 2.0)  # pairs: 2, 1, 0.5


def test_oil_is_told_in_quarts_an_hour():
    per_h = to_si(0.1, "qt") / to_si(1.0, "h")
    assert "now 0.10 qt/h" in trend("oil_m3_s", [Entry(to_si(25.0 * i, "h"), per_h) for i in range(6)]).words


def test_too_few_entries_say_so_and_wrong_ones_are_refused():
    few = trend("static_rev_s", logged(0, entries=4))
    assert np.isnan(few.slope)
    assert not few.alert
    assert "too few" in few.words
    with pytest.raises(BadInput, match="is not an engine trend"):
        trend("egt", [])
    with pytest.raises(BadInput, match="no finite time or value"):
        trend("static_rev_s", [Entry(0.0, float("nan"))])
    assert set(KINDS) == {"static_rev_s", "oil_m3_s", "compression_1", "mag_drop_rev_s"}
