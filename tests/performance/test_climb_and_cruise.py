"""Climb, cruise, descent: quadrature, roots, flags, best speeds, ceilings, mixture, humidity."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.performance import climb, cruise
from ownship.performance.model import Airframe, Draws, Model, natural, parameter_names
from ownship.physics.airspeed import tas_from_cas_m_s
from ownship.physics.atmosphere import Air, isa_temperature_k, standard_air
from ownship.physics.engine import fuel_kg_s
from ownship.physics.propeller import build_surrogate, pitch_angle_rad
from ownship.units import from_si, to_si

KT, FPM = float(to_si(1, "kt")), float(to_si(1, "ft/min"))
AIRFRAME = Airframe(15.0, 9.8, False, 119312.0, 45.0, 45.0, 2, 1.88, 1.473, 1066.0, 52 * KT, 47 * KT, 719.0, None,
                    55 * KT, 62 * KT, ((0.0, 76 * KT), (3000.0, 71 * KT)), 65 * KT)
SURROGATE = build_surrogate(pitch_angle_rad(1.473, 1.88), 2)
RNG = np.random.default_rng(9)
MODEL = Model(AIRFRAME, SURROGATE, Draws(natural(np.clip(0.8 * RNG.standard_normal((12, len(parameter_names()))), -2, 2))))
PRIOR = Model(AIRFRAME, SURROGATE, Draws(natural(np.zeros((1, len(parameter_names()))))))
W = 1000.0
FAST = settings(max_examples=20, derandomize=True, deadline=None)


def test_climb_time_fuel_and_distance_are_the_sum_of_many_thin_slices():
    low, high = 300.0, 2500.0
    t = 288.0, 268.0
    done = climb.climb(MODEL, low, high, t, W)
    edges = np.linspace(0, 1, 401)
    shares = (edges[1:] + edges[:-1]) / 2
    h = low + shares * (high - low)
    air = Air(h, t[0] + shares * (t[1] - t[0]))
    cas = climb.climb_cas_m_s(MODEL, h, W)
    rate = climb.rate_of_climb(MODEL, air, W, cas)
    dt = (high - low) / 400 / rate
    tas = tas_from_cas_m_s(cas, climb.flow_of(air).air)
    power = climb._full_throttle(MODEL, climb.flow_of(air), climb.weight_n(W), tas, False).power_w
    assert done.time_s[0] == pytest.approx(dt.sum(axis=0), rel=1e-5)
    assert done.distance_m[0] == pytest.approx((dt * np.sqrt(tas**2 - rate**2)).sum(axis=0), rel=1e-5)
    fuel = (dt * fuel_kg_s(MODEL.engine, power, rich=True)).sum(axis=0)
    assert done.fuel_kg[0] == pytest.approx(fuel, rel=1e-5)
    assert done.mean_tas_m_s[0] == pytest.approx(done.distance_m[0] / done.time_s[0])


def test_lean_humid_and_heated_climbs():
    def up(**change):
        return climb.climb(MODEL, 0.0, 2000.0, (303.0, 290.0), W, **change)

    base = up()
    assert np.all(up(mixture="lean").fuel_kg < base.fuel_kg)
    assert np.array_equal(up(mixture="lean").time_s, base.time_s)
    for worse in (up(relative_humidity_1=0.9), up(carburettor_heat=True)):
        assert np.all(worse.time_s > base.time_s) and np.all(worse.distance_m > base.distance_m)


def test_a_climb_through_its_ceiling_is_no_climb():
    assert np.isnan(climb.climb(PRIOR, 0.0, 7500.0, (288.0, 240.0), 1066.0).time_s).all()


def test_no_height_takes_no_time():
    level = climb.climb(MODEL, 1000.0, 1000.0, (280.0, 280.0), W)
    assert np.all(level.time_s == 0) and np.all(level.fuel_kg == 0) and np.isfinite(level.mean_tas_m_s).all()


@FAST
@given(st.floats(0, 3000), st.floats(-25, 40), st.floats(750, 1066))
def test_best_speeds_are_the_best_of_a_fine_grid(altitude, celsius, weight):
    air = Air(altitude, celsius + 273.15)
    best = climb.best_speeds(MODEL, air, weight)
    stall = AIRFRAME.vs1_m_s * (weight / 1066) ** 0.5
    grid = np.linspace(1.12, 2.0, 441) * stall
    many = Air(np.full(441, altitude), np.full(441, celsius + 273.15))
    rates = climb.rate_of_climb(MODEL, many, weight, grid)
    assert best.rate_m_s[0] == pytest.approx(rates.max(axis=0), abs=0.01)
    assert best.vy_m_s[0] == pytest.approx(grid[rates.argmax(axis=0)], abs=1.5 * KT)
    assert np.all(best.vx_m_s <= best.vy_m_s + 0.5 * KT)


@FAST
@given(st.floats(0, 3000), st.floats(-25, 40), st.floats(750, 1020))
def test_best_rate_and_gradient_fall_with_weight_heat_and_height(altitude, celsius, weight):
    def best(a=altitude, t=celsius, w=weight, h=0.0):
        found = climb.best_speeds(MODEL, Air(a, t + 273.15, h), w)
        return np.stack([found.rate_m_s, found.gradient_1])

    base = best()
    for worse in (best(a=altitude + 150), best(t=celsius + 3), best(w=weight * 1.03), best(h=0.8)):
        assert np.all(worse <= base + 1e-9)


def test_at_the_service_ceiling_the_best_rate_is_100_ft_a_minute():
    service, absolute = climb.ceilings_m(PRIOR, W, 5.0)
    assert absolute > service
    for height, rate in ((service, 100.0), (absolute, 0.0)):
        best = climb.best_speeds(PRIOR, Air(height, isa_temperature_k(height) + 5.0), W)
        assert float(from_si(best.rate_m_s[0, 0], "ft/min")) == pytest.approx(rate, abs=5)


def test_ceilings_fall_with_weight_heat_and_humidity_and_a_brick_has_none():
    service, absolute = climb.ceilings_m(MODEL, 900.0)
    for worse in (climb.ceilings_m(MODEL, 1000.0), climb.ceilings_m(MODEL, 900.0, 15.0),
                  climb.ceilings_m(MODEL, 900.0, relative_humidity_1=1.0)):
        assert np.all(worse[0] < service) and np.all(worse[1] < absolute)
    assert np.isnan(climb.ceilings_m(PRIOR, 4000.0)[0]).all()


def test_climb_speed_follows_the_record_or_the_stall():
    assert climb.climb_cas_m_s(PRIOR, 1500.0, W)[0, 0] == pytest.approx(73.5 * KT)
    bare = replace(PRIOR, airframe=replace(AIRFRAME, climb_ias=()))
    assert climb.climb_cas_m_s(bare, 0.0, 1066.0)[0, 0] == pytest.approx(1.45 * 52 * KT)


def test_power_asked_is_power_flown():
    share = np.array([0.55, 0.65, 0.75])
    state = cruise.at_power(MODEL, standard_air(np.full(3, 1500.0)), W, share)
    assert state.power_1 == pytest.approx(np.broadcast_to(share[:, None], state.power_1.shape), abs=1e-6)
    again = cruise.at_rpm(MODEL, standard_air(np.full(3, 1500.0)), W, state.rev_s)
    assert again.tas_m_s == pytest.approx(state.tas_m_s, rel=1e-6)


@pytest.mark.parametrize("share", [0.02, 0.15, 2.5])
def test_power_too_little_for_level_flight_or_beyond_any_rpm_is_no_answer(share):
    state = cruise.at_power(MODEL, standard_air(np.array([0.0, 2000.0])), W, share)
    for x in (state.tas_m_s, state.power_1, state.fuel_kg_s, state.rev_s):
        assert np.isnan(x).all()
    assert not state.attainable.any()


def test_power_that_only_another_engine_could_give_is_flagged():
    state = cruise.at_power(PRIOR, standard_air(np.array([0.0, 4000.0])), W, 0.9)
    assert state.over_limit[0, 0] or state.attainable[0, 0]
    assert not state.attainable[1, 0]


def test_full_throttle_is_full_throttle_and_heat_costs_it():
    air = standard_air(np.array([0.0, 2500.0]))
    free = cruise.full_throttle(MODEL, air, W, rpm_capped=False)
    held = cruise.full_throttle(MODEL, air, W)
    assert free.attainable.all()
    assert np.all(held.rev_s <= 45.0 + 1e-9) and np.all(held.tas_m_s <= free.tas_m_s + 1e-3)
    hot = cruise.full_throttle(MODEL, air, W, rpm_capped=False, carburettor_heat=True)
    assert np.all(hot.tas_m_s < free.tas_m_s) and np.all(hot.rev_s < free.rev_s)
    slightly = cruise.at_rpm(MODEL, air, W, free.rev_s * 1.01)  # above full throttle: not attainable
    assert not slightly.attainable.any()


def test_descent_at_no_rate_is_level_flight_and_needs_less_power_the_steeper():
    air = standard_air(np.array([1500.0]))
    level = cruise.at_rpm(MODEL, air, W, 40.0)
    from ownship.physics.airspeed import cas_from_tas_m_s

    cas = cas_from_tas_m_s(level.tas_m_s, air)
    assert cruise.descent(MODEL, air, W, cas, 0.0).rev_s == pytest.approx(level.rev_s, rel=1e-6)
    powers = [cruise.descent(MODEL, air, W, cas, r * FPM).power_1 for r in (0.0, 300.0, 500.0, 800.0)]
    assert all(np.all(b < a) for a, b in pairwise(powers))


def test_a_descent_too_steep_for_power_burns_idle_fuel():
    dive = cruise.descent(MODEL, standard_air(np.array([1500.0])), W, 60.0, 15.0)
    idle = fuel_kg_s(MODEL.engine, 0.0)
    assert np.isfinite(dive.rev_s).all()
    assert dive.fuel_kg_s == pytest.approx(np.broadcast_to(idle, dive.fuel_kg_s.shape))


def test_holding_is_level_at_1_45_of_the_stall():
    hold = cruise.holding(MODEL, standard_air(np.array([450.0])), 900.0)
    expected = float(tas_from_cas_m_s(1.45 * 52 * KT * (900 / 1066) ** 0.5, standard_air(450.0)))
    assert hold.tas_m_s == pytest.approx(np.full(hold.tas_m_s.shape, expected))
    assert np.all(hold.fuel_kg_s < cruise.at_rpm(MODEL, standard_air(np.array([450.0])), 900.0, 42.0).fuel_kg_s)


def test_heat_may_enlarge_reach_at_a_given_rpm():
    """practice 2.2, an open handbook: warm air at 2,400 rpm costs little speed and saves fuel; never 'hotter is less'."""
    air = Air(np.full(2, 600.0), np.array([264.15, 304.15]))
    state = cruise.at_rpm(PRIOR, air, W, 40.0)
    per_kg = state.tas_m_s / state.fuel_kg_s
    assert per_kg[1, 0] > per_kg[0, 0]
    assert state.tas_m_s[1, 0] < state.tas_m_s[0, 0] + 1.0


def test_rich_mixture_and_heat_burn_more_in_cruise():
    air = standard_air(np.array([1000.0]))
    lean, rich, hot = (cruise.at_rpm(MODEL, air, W, 40.0, mixture=m, carburettor_heat=h)
                       for m, h in (("lean", False), ("rich", False), ("rich", True)))
    assert np.all(lean.fuel_kg_s < rich.fuel_kg_s) and np.all(rich.fuel_kg_s < hot.fuel_kg_s)
    assert np.array_equal(lean.tas_m_s, rich.tas_m_s)


def test_every_shape_of_input_gives_case_by_draw():
    heights = np.array([0.0, 1000.0, 2000.0])
    air = Air(heights, np.full(3, 285.0))
    for weight in (W, np.full(3, W), np.full((3, 1), W), np.full((3, 12), W)):
        assert climb.rate_of_climb(MODEL, air, weight, 38.0).shape == (3, 12)
        assert cruise.at_rpm(MODEL, air, weight, 40.0).tas_m_s.shape == (3, 12)
    assert climb.rate_of_climb(MODEL, Air(0.0, 285.0), W, 38.0).shape == (1, 12)
