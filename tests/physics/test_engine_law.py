"""The engine: power with speed, height, heat and humidity, and its fuel."""

from dataclasses import replace

import numpy as np
import pytest

from ownship.physics.atmosphere import Air, standard_air
from ownship.physics.engine import EngineLaw, air_factor_1, altitude_power_ratio_1, fuel_kg_s, full_throttle_power_w
from ownship.units import from_si, to_si

HP = float(to_si(1, "hp"))
ENGINE = EngineLaw(150 * HP, 45.0)


def lb_h(power_1, **change):
    return float(from_si(fuel_kg_s(ENGINE, power_1 * 150 * HP, **change), "lb/h"))


def test_standard_sea_level_gives_rated_power_at_rated_speed():
    assert float(air_factor_1(ENGINE, standard_air(0.0))) == pytest.approx(1.0)
    assert float(full_throttle_power_w(ENGINE, 45.0, 1.0)) == pytest.approx(150 * HP)


def test_torque_slope_of_the_prior_is_the_140_hp_at_2450_of_a_150_at_2700():
    """Engineering prior, from memory."""
    assert from_si(full_throttle_power_w(ENGINE, 2450 / 60, 1.0), "hp") == pytest.approx(140, abs=1)


def test_lowrys_form_with_012_is_0136_in_ours():
    """(sigma - 0.12)/0.88 = (1 + C) sigma - C for C = 0.12/0.88 (from memory)."""
    sigma = np.linspace(0.5, 1.0, 6)
    assert altitude_power_ratio_1(sigma, 0.12 / 0.88) == pytest.approx((sigma - 0.12) / 0.88)


def test_temperature_acts_by_its_own_exponent_at_the_standard_density_of_the_height():
    hot, standard = Air(2000.0, 310.0), standard_air(2000.0)
    ratio = float(air_factor_1(ENGINE, hot) / air_factor_1(ENGINE, standard))
    assert ratio == pytest.approx((float(standard.temperature_k) / 310.0) ** 0.65)


def test_humidity_takes_the_dry_share_of_the_pressure():
    dry, humid = Air(0.0, 308.15), Air(0.0, 308.15, 0.8)
    share = float(air_factor_1(ENGINE, humid) / air_factor_1(ENGINE, dry))
    assert share == pytest.approx(1 - 0.8 * 5629 / 101325, abs=5e-4)


def test_carburettor_heat_costs_the_power_of_50_k():
    cold = air_factor_1(ENGINE, standard_air(0.0))
    hot = air_factor_1(ENGINE, standard_air(0.0), True)
    assert float(hot / cold) == pytest.approx((288.15 / 338.15) ** 0.65)


def test_fuel_at_65_per_cent_is_the_specific_consumption():
    assert lb_h(0.65) == pytest.approx(0.65 * 0.435 * 150)


def test_fuel_of_a_150_hp_engine_in_cruise():
    """Common practice, no source: about 7.5 US gal/h; at 6 lb/gal between 55 and 70 per cent power."""
    assert lb_h(0.55) / 6 < 7.5 < lb_h(0.72) / 6


def test_fuel_curve_has_slope_and_curvature_as_given():
    step = 0.01
    low, middle, high = (lb_h(0.65 + k * step) for k in (-1, 0, 1))
    assert (high - low) / (2 * step) / 150 == pytest.approx(0.37, abs=1e-6)
    assert (high - 2 * middle + low) / step**2 / 150 == pytest.approx(0.6, abs=1e-3)


def test_rich_is_richer_and_richer_still_with_heat():
    air = standard_air(0.0)
    assert lb_h(0.7, rich=True) == pytest.approx(1.15 * lb_h(0.7))
    heated = lb_h(0.7, rich=True, air=air, carburettor_heat=True)
    assert heated / lb_h(0.7, rich=True) == pytest.approx((338.15 / 288.15) ** 0.5)


def test_idle_burns_and_impossible_stays_impossible():
    assert lb_h(-0.3) == lb_h(0.10) > 0
    assert np.isnan(fuel_kg_s(ENGINE, np.array([np.nan]))).all()


def test_parameters_may_be_draws():
    many = replace(ENGINE, altitude_loss_1=np.array([0.12, 0.15]), power_factor_1=np.array([1.0, 0.95]))
    air = standard_air(np.array([[0.0], [2000.0], [4000.0]]))
    power = full_throttle_power_w(many, 42.0, air_factor_1(many, air))
    assert power.shape == (3, 2)
    assert np.all(np.diff(power, axis=0) < 0) and np.all(power[:, 1] < power[:, 0])
