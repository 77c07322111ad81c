"""The tank plan: doctrine, floor, imbalance, reserve in one tank, mass balance; fewest changes against a brute force
that shares no code with the planner."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.aeroplane.description import Selector
from ownship.flight.tanks import BurnPhase, burn_between, plan_tanks, share_evenly
from ownship.units import from_si, to_si

GAL = float(to_si(1, "usgal"))
FLOW = 9.0 * GAL / 3600
TAKE_OFF, SAFE = 600.0, 780.0
NONE = "none published"


def phases(cruise_min=120, draws=5, spread=0.0, taxi=True):
    factor = np.exp(spread * np.linspace(-1, 1, draws)) if spread else np.ones(draws)
    factor = np.roll(factor, -(draws // 2))  # draw 0 is the middle flight
    lengths = [("start and taxi", 600, 1.1), ("climb", 900, 2.8), ("cruise", cruise_min * 60, cruise_min * 60 * FLOW / GAL),
               ("descent", 480, 0.6), ("approach and landing", 360, 0.6)]
    found, clock = [], 0.0
    for name, time, burn in lengths[0 if taxi else 1:]:
        found.append(BurnPhase(name, clock, clock + time, burn * GAL * factor))
        clock += time
    return tuple(found)


def plan(left=24.0, right=24.0, cruise_min=120, imbalance=10.0, floor_min=30, reserve=4.5, *, spread=0.0, landing="fuller",
         take_off="fuller", clock=None, fixes=(("ALFA", 3000.0),), taxi=True, kg=None, more=None):
    p = phases(cruise_min, spread=spread, taxi=taxi)
    limit = imbalance if not isinstance(imbalance, float) else imbalance * GAL
    amounts = {"left": left, "right": right, **(more or {})}
    s = Selector(tuple(amounts), take_off, landing, limit, kg, floor_min * 60.0, 450.0, "test")
    return plan_tanks(p, s, {k: np.full(5, v * GAL) for k, v in amounts.items()}, window_s=(SAFE, p[-2].start_s), fixes=fixes,
                      reserve_m3=reserve * GAL, cruise_flow_m3_s=FLOW, density_kg_m3=719.0, blocks_clock_s=clock)


def both(left, right, cruise_min=60, limit=NONE):
    s = Selector(("left", "right", "both"), "both", "both", limit, None, 0.0, 0.0, "test")
    usable = {"left": np.full(5, left * GAL), "right": np.full(5, right * GAL)}
    return plan_tanks(phases(cruise_min), s, usable, window_s=(SAFE, 4000), fixes=(), reserve_m3=0.0, cruise_flow_m3_s=FLOW,
                      density_kg_m3=719.0)


# on the ground
def test_both_tanks_are_proved_on_the_ground():
    found = plan()
    assert found.segments[0].tank != found.segments[1].tank
    assert "both tanks are proved" in found.words[0]


def test_the_take_off_tank_feeds_for_several_minutes_before_take_off():
    """Never a change at the moment of take-off: the run-up is on the tank that takes off."""
    found = plan()
    assert TAKE_OFF - found.segments[1].start_s >= 180
    assert found.segments[1].end_s >= SAFE


def test_take_off_is_on_the_fuller_tank_or_the_one_the_record_names():
    assert plan(15.0, 24.0).segments[1].tank == "right"
    assert plan(24.0, 15.0).segments[1].tank == "left"
    assert plan(24.0, 20.0, take_off="right").segments[1].tank == "right"


def test_a_tank_too_empty_to_taxi_on_is_said_to_be_unproved():
    found = plan(1.0, 24.0, 40, NONE)
    assert found.segments[0].tank == "right" and found.segments[0].start_s == 0
    assert "not proved" in found.words[0]


def test_without_a_taxi_phase_the_climb_is_not_taken_for_it():
    found = plan(taxi=False, fixes=())
    assert found.segments[0].end_s >= SAFE
    assert "prove on the ground" in found.words[0]


# in flight
def test_no_change_near_take_off_or_after_the_descent_begins():
    found = plan(cruise_min=200)
    assert found.changes
    assert all(SAFE <= c.time_s <= found.phases[3].start_s for c in found.changes)


def test_changes_are_over_fixes_or_at_times_round_on_the_clock():
    clock = 15 * 3600 + 7 * 60.0
    found = plan(cruise_min=200, imbalance=6.0, clock=clock)
    assert found.changes
    for c in found.changes:
        assert c.where == "over ALFA" or (c.time_s + clock) % 300 == 0
    assert any(c.where.startswith("at 16:") for c in found.changes)


def test_every_change_in_flight_is_recorded_also_where_taxi_and_take_off_are_on_one_tank():
    found = plan(4.0, 24.0, 60, NONE, landing="left", floor_min=60, reserve=0.0)
    assert [s.tank for s in found.segments] == ["right", "left"]
    assert [(c.leaving, c.to) for c in found.changes] == [("right", "left")]
    assert found.changes[0].time_s == found.segments[1].start_s


def test_a_small_imbalance_limit_forces_an_early_first_change_and_more_of_them():
    tight, free = plan(cruise_min=180, imbalance=4.0), plan(cruise_min=180, imbalance=NONE)
    assert len(tight.changes) > len(free.changes)
    assert not tight.conflicts
    assert 2.8 * GAL <= tight.segments[1].burn_m3[0] <= (4.0 + 1.1) * GAL


@pytest.mark.parametrize(("limit", "cruise"), [(2.0, 150), (3.0, 240), (4.0, 270)])
def test_a_limit_that_takes_many_changes_is_kept_and_no_conflict_invented(limit, cruise):
    found = plan(30.0, 30.0, cruise, limit)
    assert not found.conflicts
    assert found.imbalance_m3 <= limit * GAL + 1e-9


def test_a_limit_in_mass_is_kept_as_volume():
    found = plan(24.0, 24.0, 180, None, kg=4.0 * GAL * 719.0)
    assert [c.time_s for c in found.changes] == [c.time_s for c in plan(24.0, 24.0, 180, 4.0).changes]
    assert found.imbalance_m3 <= 4.0 * GAL + 1e-9


# conflicts are said
def test_a_limit_broken_by_the_filling_is_a_conflict_that_names_the_filling():
    found = plan(24.0, 4.0, 60, 2.0)
    assert any("imbalance" in c and "before the engine starts" in c for c in found.conflicts)
    assert found.imbalance_m3 > 2.0 * GAL


def test_where_the_reserve_in_one_tank_breaks_the_limit_the_reserve_is_chosen_and_that_is_said():
    found = plan(14.0, 14.0, 100, 2.0, floor_min=0, reserve=6.0)
    assert any("imbalance" in c and "reserve in one tank is chosen" in c for c in found.conflicts)
    assert found.end_m3[found.landing_tank][0] >= 6.0 * GAL - 1e-6


def test_a_reserve_that_is_not_there_is_never_called_chosen():
    found = plan(12.0, 12.0, 100, 2.0, floor_min=0, reserve=4.8)
    assert any("reserve does not stand in one tank" in c for c in found.conflicts)
    assert not any("chosen" in c for c in found.conflicts)


def test_too_little_fuel_still_gives_a_plan_that_says_so_with_the_lack_as_a_negative_content():
    found = plan(8.0, 8.0, 180)
    assert any("dry" in c for c in found.conflicts)
    assert found.segments[-1].end_s == found.phases[-1].end_s
    assert min(v[0] for v in found.end_m3.values()) < 0


def test_flights_that_cannot_be_flown_in_some_draws_are_said():
    p = phases()
    holed = tuple(BurnPhase(x.name, x.start_s, x.end_s, np.where(np.arange(5) == 4, np.nan, x.burn_m3)) for x in p)
    s = Selector(("left", "right"), "fuller", "fuller", 4 * GAL, None, 1800.0, 450.0, "test")
    found = plan_tanks(holed, s, {"left": np.full(5, 24 * GAL), "right": np.full(5, 24 * GAL)}, window_s=(SAFE, p[3].start_s),
                       fixes=(), reserve_m3=4.5 * GAL, cruise_flow_m3_s=FLOW, density_kg_m3=719.0)
    assert any("20%" in c for c in found.conflicts)
    assert found.imbalance_m3 <= 4 * GAL + 1e-9


# the selector on BOTH, a single tank, several tanks
def test_with_both_there_is_one_segment_drawn_evenly():
    found = both(20.0, 20.0)
    assert [x.tank for x in found.segments] == ["left+right"]
    assert found.end_m3["left"] == pytest.approx(found.end_m3["right"])


def test_with_both_unequal_filling_is_an_imbalance_and_judged():
    assert both(24.0, 15.0).imbalance_m3 == pytest.approx(9 * GAL)
    assert any("imbalance" in c for c in both(24.0, 15.0, limit=5 * GAL).conflicts)


def test_with_both_an_empty_tank_gives_nothing_and_the_other_the_rest():
    found = both(5.0, 30.0, 120)
    assert found.end_m3["left"] == pytest.approx(0.0, abs=1e-12)
    assert found.end_m3["right"][0] == pytest.approx(found.start_m3["right"][0] - (23.1 - 5.0) * GAL)
    assert not found.conflicts


def test_one_tank_is_one_segment():
    s = Selector(("main",), "main", "main", None, None, 0.0, 0.0, "test")
    found = plan_tanks(phases(), s, {"main": np.full(5, 30 * GAL)}, window_s=(SAFE, 8000), fixes=(), reserve_m3=0.0,
                       cruise_flow_m3_s=FLOW, density_kg_m3=719.0)
    assert [x.tank for x in found.segments] == ["main"] and found.imbalance_m3 == 0.0


def test_with_equal_tanks_what_was_judged_is_what_is_planned():
    """Three equal tanks: conflicts empty only if the rules hold for the very segments shown."""
    found = plan(12.0, 12.0, 120, 9.0, floor_min=20, more={"rear": 12.0})
    assert not found.conflicts
    assert found.imbalance_m3 <= 9.0 * GAL + 1e-9
    assert all(c.left_m3[0] >= 20 * 60 * FLOW - 1e-6 for c in found.changes)


@settings(max_examples=50, derandomize=True, deadline=None)
@given(st.lists(st.floats(0, 20), min_size=1, max_size=4), st.floats(0, 60))
def test_an_even_draw_balances_and_empties_no_tank_while_another_holds_fuel(amounts, burn):
    start = {str(i): np.array([a]) for i, a in enumerate(amounts)}
    left = share_evenly(start, np.array([burn]))
    assert sum(left.values())[0] == pytest.approx(sum(amounts) - burn, abs=1e-9)
    if burn <= sum(amounts):
        assert all(v[0] >= -1e-9 for v in left.values())


AMOUNTS = st.floats(6, 24)


@settings(max_examples=60, derandomize=True, deadline=None)
@given(AMOUNTS, AMOUNTS, st.integers(20, 220), st.sampled_from([2.0, 3.0, 6.0, 10.0, NONE, None]), st.sampled_from([0.0, 0.05]))
def test_mass_balance_order_and_rules(left, right, cruise_min, imbalance, spread):
    found = plan(left, right, cruise_min, imbalance, spread=spread)
    burnt = sum(s.burn_m3 for s in found.segments)
    assert np.allclose(burnt, sum(p.burn_m3 for p in found.phases), rtol=0, atol=1e-12)
    assert np.allclose(sum(found.end_m3.values()), sum(found.start_m3.values()) - burnt, rtol=0, atol=1e-12)
    assert found.segments[0].start_s == 0 and found.segments[-1].end_s == found.phases[-1].end_s
    for a, b in zip(found.segments, found.segments[1:], strict=False):
        assert a.end_s == b.start_s and a.tank != b.tank
    for time in (0.0, 300.0, 700.0, 3100.0, found.phases[-1].end_s):
        at = found.contents_at(time)
        assert np.allclose(sum(at.values()), sum(found.start_m3.values()) - burn_between(found.phases, 0.0, time), atol=1e-12)
    assert all(SAFE <= c.time_s <= found.phases[3].start_s for c in found.changes)
    if not found.conflicts:
        assert all(np.quantile(v, 0.05) >= -1e-9 for v in found.end_m3.values())
        assert all(np.quantile(c.left_m3, 0.05) >= 1800 * FLOW - 1e-6 for c in found.changes)
        assert np.quantile(found.end_m3[found.landing_tank], 0.05) >= 4.5 * GAL - 1e-6
        for time in np.arange(0.0, found.phases[-1].end_s, 60.0):
            at = found.contents_at(float(time))
            if isinstance(imbalance, float):
                assert abs(at["left"][0] - at["right"][0]) <= imbalance * GAL + 1.1e-6


def keeps_the_rules(left, right, cruise_min, limit, changes_s, floor_min=30, reserve=4.5):
    """Written afresh in gallons and minutes, second by second in spirit: burn rates by phase, one tank at a time."""
    rates = [(0, 10, 0.11), (10, 25, 2.8 / 15), (25, 25 + cruise_min, 0.15), (25 + cruise_min, 33 + cruise_min, 0.6 / 8),
             (33 + cruise_min, 39 + cruise_min, 0.1)]

    def burn(a, b):
        return sum(r * max(0, min(b, y) - max(a, x)) for x, y, r in rates)

    tanks = [left, right]
    first = 0 if left > right else 1
    if abs(left - right) > limit + 1e-6:
        return False
    tanks[1 - first] -= burn(0, 6)
    on, clock = first, 6.0
    for end in [*sorted(t / 60 for t in changes_s), 39 + cruise_min]:
        last = end == 39 + cruise_min
        if abs(tanks[0] - tanks[1]) > limit + 1e-6:
            return False
        tanks[on] -= burn(clock, end)
        if tanks[on] < (reserve if last else floor_min * 0.15) - 1e-6 or abs(tanks[0] - tanks[1]) > limit + 1e-6:
            return False
        if last:
            return tanks[on] >= tanks[1 - on] - 1e-6
        on, clock = 1 - on, end
    raise AssertionError


@settings(max_examples=25, derandomize=True, deadline=None)
@given(st.integers(8, 24), st.integers(8, 24), st.integers(20, 100), st.sampled_from([2.5, 4.0, 6.0, 10.0, 99.0]))
def test_no_plan_with_fewer_changes_keeps_the_rules_by_a_brute_force_of_its_own(left, right, cruise, limit):
    found = plan(float(left), float(right), cruise, limit)
    mine = [c.time_s for c in found.changes]
    moments = [3000.0] * ((25 + cruise) * 60 >= 3000.0) + [t for t in np.arange(900.0, (25 + cruise) * 60 + 1, 300.0)
                                                        if abs(t - 3000.0) > 60]
    assert keeps_the_rules(left, right, cruise, limit, mine) == (not found.conflicts)
    for count in range(min(len(mine), 4) if not found.conflicts else 4):
        for chosen in combinations(moments, count):
            assert not keeps_the_rules(left, right, cruise, limit, chosen), f"{count} changes at {chosen} would do"


def test_contents_are_shown_in_gallons_without_loss():
    assert from_si(plan().start_m3["left"][0], "usgal") == pytest.approx(24.0)
