"""The tank plan: doctrine, floor, imbalance, reserve in one tank, mass balance; fewest changes by brute force."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.aeroplane.description import Selector
from ownship.flight import tanks
from ownship.flight.tanks import BurnPhase, plan_tanks
from ownship.units import from_si, to_si

GAL = float(to_si(1, "usgal"))
FLOW = 9.0 * GAL / 3600


def phases(cruise_min=120, draws=5, spread=0.0):
    factor = np.exp(spread * np.linspace(-1, 1, draws))
    lengths = [("start and taxi", 600, 1.1 * GAL), ("climb", 900, 2.8 * GAL), ("cruise", cruise_min * 60, cruise_min * 60 * FLOW),
               ("descent", 480, 0.6 * GAL), ("approach and landing", 360, 0.6 * GAL)]
    found, clock = [], 0.0
    for name, time, burn in lengths:
        found.append(BurnPhase(name, clock, clock + time, burn * factor))
        clock += time
    return tuple(found)


def plan(left=24.0, right=24.0, cruise_min=120, imbalance=10.0, floor_min=30, reserve=4.5, spread=0.0, **selector):
    p = phases(cruise_min, spread=spread)
    limit = imbalance if not isinstance(imbalance, float) else imbalance * GAL
    s = Selector(("left", "right"), "fuller", selector.get("landing", "fuller"), limit, None, floor_min * 60.0, 450.0, "test")
    usable = {"left": np.full(5, left * GAL), "right": np.full(5, right * GAL)}
    window = (780.0, p[3].start_s)
    return plan_tanks(p, s, usable, window_s=window, fixes=(("ALFA", 3000.0),), reserve_m3=reserve * GAL,
                      cruise_flow_m3_s=FLOW, density_kg_m3=719.0)


def test_both_tanks_are_proved_on_the_ground():
    found = plan()
    assert found.segments[0].tank != found.segments[1].tank
    assert found.segments[0].end_s == 600
    assert "proved" in found.words[0]


def test_take_off_is_on_the_fuller_tank():
    assert plan(left=15.0, right=24.0).segments[1].tank == "right"
    assert plan(left=24.0, right=15.0).segments[1].tank == "left"


def test_no_change_near_take_off_or_after_the_descent_begins():
    found = plan(cruise_min=200)
    assert found.changes
    assert all(780 <= c.time_s <= found.phases[3].start_s for c in found.changes)


def test_a_small_imbalance_limit_forces_more_changes():
    assert len(plan(cruise_min=180, imbalance=4.0).changes) > len(plan(cruise_min=180, imbalance="none published").changes)


def test_a_limit_that_cannot_be_kept_is_a_conflict_said_and_never_hidden():
    found = plan(left=24.0, right=4.0, imbalance=2.0)
    assert any("imbalance" in c.lower() for c in found.conflicts)
    assert found.imbalance_m3 > 2.0 * GAL


def test_too_little_fuel_still_gives_a_plan_that_says_so():
    found = plan(left=8.0, right=8.0, cruise_min=180)
    assert any("dry" in c for c in found.conflicts)


def test_with_both_there_is_one_segment():
    p = phases()
    s = Selector(("left", "right", "both"), "both", "both", "none published", None, 0.0, 0.0, "test")
    found = plan_tanks(p, s, {"left": np.full(5, 20 * GAL), "right": np.full(5, 20 * GAL)}, window_s=(780, 8000), fixes=(),
                       reserve_m3=0.0, cruise_flow_m3_s=FLOW, density_kg_m3=719.0)
    assert [x.tank for x in found.segments] == ["left+right"]
    assert found.end_m3["left"] == pytest.approx(found.end_m3["right"])


AMOUNTS = st.floats(6, 24)


@settings(max_examples=60, derandomize=True, deadline=None)
@given(AMOUNTS, AMOUNTS, st.integers(20, 220), st.sampled_from([3.0, 6.0, 10.0, "none published", None]))
def test_mass_balance_and_order(left, right, cruise_min, imbalance):
    found = plan(left, right, cruise_min, imbalance, spread=0.05)
    burnt = sum(s.burn_m3 for s in found.segments)
    assert np.allclose(burnt, sum(p.burn_m3 for p in found.phases), rtol=0, atol=1e-12)
    total = sum(found.end_m3.values())
    assert np.allclose(total, sum(found.start_m3.values()) - burnt, rtol=0, atol=1e-12)
    assert found.segments[0].start_s == 0 and found.segments[-1].end_s == found.phases[-1].end_s
    for a, b in zip(found.segments, found.segments[1:], strict=False):
        assert a.end_s == b.start_s
    for time in (0.0, 700.0, 3100.0, found.phases[-1].end_s):
        at = found.contents_at(time)
        assert np.allclose(sum(at.values()), sum(found.start_m3.values()) - tanks._burn(found.phases, 0.0, time), atol=1e-12)
    if not found.conflicts:
        assert all(np.quantile(v, 0.05) >= -1e-12 for v in found.end_m3.values())
        if isinstance(imbalance, float):
            assert found.imbalance_m3 <= imbalance * GAL + 1e-9


@pytest.mark.parametrize(("left", "right", "cruise", "limit"), [(24, 24, 120, 10.0), (24, 24, 200, 6.0), (20, 15, 90, 8.0),
                                                                (24, 15, 130, "none published")])
def test_no_plan_with_fewer_changes_keeps_the_same_rules(left, right, cruise, limit):
    found = plan(float(left), float(right), cruise, limit)
    if found.conflicts:
        pytest.fail("the case should be feasible")
    p = phases(cruise)
    s = Selector(("left", "right"), "fuller", "fuller", None, None, 1800.0, 450.0, "t")
    task = tanks._Task(p, s, {"left": np.full(5, left * GAL), "right": np.full(5, right * GAL)}, 600.0,
                       None if isinstance(limit, str) else limit * GAL, 4.5 * GAL, 1800 * FLOW)
    taxi, first, _ = tanks._ground_tanks(task)
    every = [tanks._Moment(t, "", 0) for t in (3000.0, *np.arange(900.0, p[3].start_s, 300.0))]
    for count in range(len(found.changes)):
        for chosen in combinations(every, count):
            assert tanks._problems(task, taxi, first, list(chosen)), f"{count} changes would do"


def test_contents_are_shown_in_gallons_without_loss():
    assert from_si(plan().start_m3["left"][0], "usgal") == pytest.approx(24.0)
