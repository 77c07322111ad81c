"""Invariant 3: more is worse, per operation; and where the model refuses."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.errors import OutOfRange
from ownship.performance import climb, cruise, landing, takeoff
from ownship.performance.model import Airframe, Draws, Model, check_range, natural, parameter_names
from ownship.physics.atmosphere import Air, isa_temperature_k
from ownship.questions.calibrating import surrogate_of

KT = 1852 / 3600
AIRFRAME = Airframe(15.0, 9.8, False, 119312.0, 45.0, 45.0, 2, 1.88, 1.473, 1066.0, 52 * KT, 47 * KT, 719.0)
SURROGATE = surrogate_of(AIRFRAME)
RNG = np.random.default_rng(7)
MODEL = Model(AIRFRAME, SURROGATE, Draws(natural(0.7 * RNG.standard_normal((8, len(parameter_names()))))))
CASE = {"altitude": st.floats(0, 2400), "celsius": st.floats(-20, 40), "weight": st.floats(750, 1000)}
FAST = settings(max_examples=25, derandomize=True, deadline=None)


def air(altitude, celsius, humidity=0.0):
    return Air(altitude, celsius + 273.15, humidity)


def not_shorter(less, more):
    """Every draw of `more` is at least as long, or impossible."""
    assert np.all((more >= less - 1e-6) | np.isnan(more))


def off(altitude, celsius, weight, **change):
    return takeoff.take_off(MODEL, air(altitude, celsius), weight, **change).over_50ft_m


def down(altitude, celsius, weight, **change):
    return landing.landing(MODEL, air(altitude, celsius), weight, **change).over_50ft_m


@FAST
@given(**CASE)
def test_take_off_heavier_hotter_higher(altitude, celsius, weight):
    base = off(altitude, celsius, weight)
    not_shorter(base, off(altitude, celsius, weight * 1.05))
    not_shorter(base, off(altitude, celsius + 5, weight))
    not_shorter(base, off(altitude + 300, celsius, weight))


@FAST
@given(**CASE)
def test_take_off_softer_steeper_tailwind_heat(altitude, celsius, weight):
    not_shorter(off(altitude, celsius, weight, friction_1=0.04), off(altitude, celsius, weight, friction_1=0.10))
    not_shorter(off(altitude, celsius, weight), off(altitude, celsius, weight, slope_1=0.015))
    not_shorter(off(altitude, celsius, weight, headwind_m_s=2.0), off(altitude, celsius, weight))
    not_shorter(off(altitude, celsius, weight), off(altitude, celsius, weight, headwind_m_s=-2.0))
    not_shorter(off(altitude, celsius, weight), off(altitude, celsius, weight, carburettor_heat=True))


@FAST
@given(**CASE)
def test_landing_heavier_hotter_higher_downhill_tailwind_faster_less_braking(altitude, celsius, weight):
    base = down(altitude, celsius, weight)
    for change in ({"slope_1": -0.015}, {"headwind_m_s": -2.0}, {"approach_add_m_s": 2.0}, {"braking_factor_1": 1.35}):
        not_shorter(base, down(altitude, celsius, weight, **change))
    not_shorter(base, down(altitude, celsius, weight * 1.05))
    not_shorter(base, down(altitude, celsius + 5, weight))
    not_shorter(base, down(altitude + 300, celsius, weight))


@FAST
@given(**CASE)
def test_climb_falls_with_weight_heat_height_and_carburettor_heat(altitude, celsius, weight):
    def rate(a=altitude, t=celsius, w=weight, heat=False):
        return climb.rate_of_climb(MODEL, air(a, t), w, 40.0, carburettor_heat=heat)

    for worse in (rate(w=weight * 1.05), rate(t=celsius + 5), rate(a=altitude + 300), rate(heat=True)):
        assert np.all(worse <= rate() + 1e-9)


@settings(max_examples=6, derandomize=True, deadline=None)
@given(st.floats(800, 1000), st.floats(-15, 15))
def test_ceilings_fall_with_weight_and_heat(weight, deviation):
    def service(w, d):
        return climb.ceilings_m(MODEL, w, d)[0]

    base = service(weight, deviation)
    assert np.all(service(weight * 1.04, deviation) <= base + 1e-6)
    assert np.all(service(weight, deviation + 5) <= base + 1e-6)


@FAST
@given(**CASE)
def test_soft_ground_earns_no_credit_on_landing(altitude, celsius, weight):
    not_shorter(down(altitude, celsius, weight), down(altitude, celsius, weight, braking_factor_1=1.2))


def test_level_flight_takes_the_upper_root_and_nothing_where_there_is_none():
    state = cruise.at_rpm(MODEL, air(1500, 5), 950.0, np.array([20.0, 41.0]))
    assert np.isnan(state.tas_m_s[0]).all()
    assert np.all(state.tas_m_s[1] > 45)
    drag_speed = 0.95 * 35
    assert np.all(state.tas_m_s[1] > drag_speed)


def test_full_throttle_stops_at_the_rpm_placard():
    capped = cruise.full_throttle(MODEL, air(0, 15), 950.0)
    free = cruise.full_throttle(MODEL, air(0, 15), 950.0, rpm_capped=False)
    assert np.all(capped.rev_s <= 45.0 + 1e-9)
    assert np.all(capped.tas_m_s <= free.tas_m_s + 1e-6)


def test_power_that_full_throttle_cannot_give_is_flagged():
    high = cruise.at_rpm(MODEL, air(4500, -14), 950.0, 45.0)
    low = cruise.at_rpm(MODEL, air(0, 15), 950.0, 38.0)
    assert not high.attainable.all()
    assert low.attainable.all()


@pytest.mark.parametrize(("altitude", "celsius", "slope", "wind"), [
    (-400, 15, 0, 0), (5000, 0, 0, 0), (0, -50, 0, 0), (0, 55, 0, 0), (0, 15, 0.09, 0), (0, 15, 0, 31)])
def test_beyond_the_hard_range_it_refuses(altitude, celsius, slope, wind):
    with pytest.raises(OutOfRange):
        check_range(air(altitude, celsius), slope, wind)


def test_beyond_four_degrees_of_pitch_it_refuses():
    values = natural(np.zeros((1, len(parameter_names()))))
    values[0, parameter_names().index("dbeta")] = 4.2
    with pytest.raises(OutOfRange, match="degrees"):
        _ = Model(AIRFRAME, SURROGATE, Draws(values)).propeller


def test_one_call_of_many_cases_is_the_same_as_many_calls():
    altitudes = np.linspace(0, 2400, 7)
    together = takeoff.take_off(MODEL, Air(altitudes, np.full(7, 293.15)), 980.0).over_50ft_m
    alone = np.vstack([takeoff.take_off(MODEL, Air(h, 293.15), 980.0).over_50ft_m for h in altitudes])
    assert np.allclose(together, alone, rtol=1e-12)


def test_climb_in_one_step_is_the_sum_of_two():
    t = [float(isa_temperature_k(h)) for h in (0.0, 1200.0, 2400.0)]
    whole = climb.climb(MODEL, 0.0, 2400.0, (t[0], t[2]), 980.0)
    first, second = climb.climb(MODEL, 0.0, 1200.0, (t[0], t[1]), 980.0), climb.climb(MODEL, 1200.0, 2400.0, (t[1], t[2]), 980.0)
    assert np.allclose(whole.time_s, first.time_s + second.time_s, rtol=2e-4)
    assert np.allclose(whole.fuel_kg, first.fuel_kg + second.fuel_kg, rtol=2e-4)
