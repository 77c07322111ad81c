"""The card counts what cannot fly as the worst and says what speaks against a figure (invented aeroplane, priors alone)."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from ownship.calibration.estimate import draws_of, fit
from ownship.papers.cards import card_csv, card_lines
from ownship.performance.bands import banded
from ownship.performance.card import card
from ownship.performance.model import Draws, Model, airframe_of, parameter_names
from ownship.questions.calibrating import record_of, surrogate_of
from ownship.units import to_si


@cache
def model(power_hp=160, rpm_max=2700):
    airframe = airframe_of(record_of("demo")[0])
    airframe = replace(airframe, rated_power_w=float(to_si(power_hp, "hp")), rev_max_rev_s=float(to_si(rpm_max, "rpm")))
    surrogate = surrogate_of(airframe)
    return Model(airframe, surrogate, draws_of(fit(airframe, surrogate, None, "book"), 128))


def rows(table, quantity, made=None, avoid=()):
    made = made or model()
    return [r for r in card(made, made.airframe.take_off_max_kg, avoid) if r.table == table and r.quantity == quantity]


def test_a_draw_that_cannot_counts_as_the_worst():
    draws = np.arange(100.0)
    draws[90:94] = np.nan
    low, middle, high = banded(draws, np.inf)
    assert high == pytest.approx(98.05) and middle == pytest.approx(49.5)
    assert banded(-draws, -np.inf) == pytest.approx((-high, -middle, -low))
    draws[:4] = np.nan
    assert np.isnan(banded(draws, np.inf)).all()
    assert np.isnan(banded(np.array([]), np.inf)).all()


def test_an_aeroplane_whose_draws_partly_cannot_take_off_gets_no_figure():
    """85 hp in a 160 hp airframe: dropping the draws that cannot made distances to 143,464 ft look like a median of 13,573."""
    weak, strong = rows("take-off", "over 50 ft", model(85)), rows("take-off", "over 50 ft")
    assert np.isnan(weak[-1].value) and np.isfinite(strong[-1].value)
    assert all(np.isfinite(r.value) == np.isfinite(r.high) for r in weak)
    assert all(r.high < 20 * r.value for r in weak if np.isfinite(r.value))


def test_rpm_inside_a_range_to_avoid_is_marked_in_every_table():
    avoid = ((float(to_si(2150, "rpm")), float(to_si(2250, "rpm"))),)
    marked = [r for r in card(model(), model().airframe.take_off_max_kg, avoid) if "avoid 2,150 to 2,250 rpm" in r.note]
    assert {r.table for r in marked} == {"cruise", "rpm for speed"}
    assert all(" 2200 rpm" in r.conditions for r in marked if r.table == "cruise")
    for r in marked:
        if r.table == "rpm for speed" and r.quantity == "rpm":
            assert r.low <= 2250 and r.high >= 2150
    assert not any("avoid" in r.note for r in card(model(), model().airframe.take_off_max_kg))


def test_rpm_that_full_throttle_does_not_give_or_above_the_limit_is_marked():
    weak = rows("rpm for speed", "rpm", model(85))
    assert "full throttle does not give it" in next(r.note for r in weak if r.conditions.startswith("100 KIAS level"))
    low = rows("rpm for speed", "rpm", model(160, 2300))
    assert "above the limit of 2,300 rpm" in next(r.note for r in low if r.conditions.startswith("100 KIAS level"))
    assert not any(r.note for r in rows("rpm for speed", "rpm"))
    above = [r for r in rows("cruise", "TAS", model(160, 2300)) if " 2400 rpm" in r.conditions]
    assert above and all(np.isnan(r.value) and "above the limit" in r.note for r in above)


def test_the_note_stands_in_text_and_csv():
    found = rows("rpm for speed", "rpm", model(160, 2300))
    assert any(line.endswith("; above the limit of 2,300 rpm") for line in card_lines(found, "t"))
    head, *lines = card_csv(found).splitlines()
    assert head.endswith(",note") and any("above the limit" in line for line in lines)


def test_rpm_is_by_the_panel_where_the_tachometer_may_be_wrong():
    one = model()
    values = one.draws.values.copy()
    values[:, parameter_names().index("tach")] = 0.97
    assert not any("panel" in r.quantity for r in rows("rpm for speed", "rpm"))
    values[:, parameter_names().index("tach")] = 0.97 + 0.002 * np.sin(np.arange(one.draws.size))
    known = Model(one.airframe, one.surrogate, Draws(values))
    found = [r for r in card(known, one.airframe.take_off_max_kg) if "rpm for speed" in r.table and r.unit == "rpm"]
    assert found and all(r.quantity == "rpm by the panel" for r in found)
