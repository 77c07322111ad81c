"""The standard atmosphere and airspeed figures printed by others, against the functions of physics themselves."""

import numpy as np
import pytest

from ownship.performance.model import Airframe, Draws, Model, natural, parameter_names, speed_factor
from ownship.physics.airspeed import cas_from_tas_m_s, tas_from_cas_m_s
from ownship.physics.atmosphere import (
    SEA_LEVEL_DENSITY_KG_M3,
    Air,
    density_altitude_m,
    isa_pressure_pa,
    pressure_altitude_m,
    standard_air,
)
from ownship.physics.propeller import build_surrogate
from ownship.units import from_si, to_si

# A2.1, US Standard Atmosphere 1976: ft, C, F, delta, sigma, sqrt(sigma), hPa, inHg, a kt. Rows to 10,000 and 20,000 ft
# printed in a textbook and re-computed, 12,000 to 18,000 computed; tolerance 1 in the last digit.
TABLE = [
    (0, 15.00, 59.00, 1.0000, 1.0000, 1.0000, 1013.25, 29.92, 661.5),
    (1000, 13.02, 55.43, 0.9644, 0.9711, 0.9854, 977.2, 28.86, 659.2),
    (2000, 11.04, 51.87, 0.9298, 0.9428, 0.9710, 942.1, 27.82, 656.9),
    (4000, 7.08, 44.74, 0.8637, 0.8881, 0.9424, 875.1, 25.84, 652.3),
    (5000, 5.09, 41.17, 0.8320, 0.8617, 0.9283, 843.1, 24.90, 650.0),
    (6000, 3.11, 37.60, 0.8014, 0.8359, 0.9143, 812.0, 23.98, 647.7),
    (8000, -0.85, 30.47, 0.7428, 0.7860, 0.8866, 752.6, 22.22, 643.0),
    (10000, -4.81, 23.34, 0.6877, 0.7385, 0.8593, 696.8, 20.58, 638.3),
    (12000, -8.77, 16.21, 0.6360, 0.6932, 0.8326, 644.4, 19.03, 633.6),
    (14000, -12.74, 9.07, 0.5875, 0.6500, 0.8062, 595.2, 17.58, 628.8),
    (16000, -16.70, 1.94, 0.5420, 0.6090, 0.7804, 549.2, 16.22, 624.0),
    (18000, -20.66, -5.19, 0.4994, 0.5699, 0.7549, 506.0, 14.94, 619.2),
    (20000, -24.62, -12.32, 0.4595, 0.5328, 0.7299, 465.6, 13.75, 614.3)]


@pytest.mark.parametrize("row", TABLE, ids=[f"{r[0]} ft" for r in TABLE])
def test_a2_1_standard_atmosphere(row):
    altitude, celsius, fahrenheit, delta, sigma, root_sigma, hpa, inhg, sound = row
    air = standard_air(to_si(altitude, "ft"))
    assert from_si(air.temperature_k, "C", "temperature") == pytest.approx(celsius, abs=0.0101)
    assert from_si(air.temperature_k, "F", "temperature") == pytest.approx(fahrenheit, abs=0.0101)
    assert float(air.pressure_pa) / 101325 == pytest.approx(delta, abs=1.01e-4)
    assert float(air.density_ratio_1) == pytest.approx(sigma, abs=1.01e-4)
    assert float(air.standard_density_ratio_1) == pytest.approx(sigma, abs=1.01e-4)
    assert float(np.sqrt(air.density_ratio_1)) == pytest.approx(root_sigma, abs=1.01e-4)
    assert float(air.pressure_pa) / 100 == pytest.approx(hpa, abs=0.101)
    assert from_si(air.pressure_pa, "inHg") == pytest.approx(inhg, abs=0.0101)
    assert from_si(air.speed_of_sound_m_s, "kt") == pytest.approx(sound, abs=0.4)


def test_a2_1_tropopause():
    """US Standard Atmosphere 1976: 36,089 ft, 22,632.1 Pa, 216.65 K, 0.36392 kg/m3."""
    air = standard_air(11000.0)
    assert float(air.pressure_pa) == pytest.approx(22632.1, abs=0.1)
    assert float(air.temperature_k) == pytest.approx(216.65)
    assert float(air.density_kg_m3) == pytest.approx(0.36392, abs=1e-5)
    assert pytest.approx(1.225, abs=1e-5) == SEA_LEVEL_DENSITY_KG_M3


@pytest.mark.parametrize(("id_", "elevation", "altimeter", "expected"), [
    ("AT-01, PHAK sample 1", 5883, 30.10, 5718), ("AT-04, FAA fig. 8; another copy of it keys 3,010", 1380, 28.22, 2991)])
def test_pressure_altitude(id_, elevation, altimeter, expected):
    found = pressure_altitude_m(to_si(elevation, "ft"), to_si(altimeter, "inHg"))
    assert from_si(found, "ft") == pytest.approx(expected, abs=2), id_


def test_pressure_altitude_of_a_setting_is_where_the_atmosphere_has_that_pressure():
    """The correction alone is the altitude whose standard pressure is the setting (definition)."""
    setting = np.linspace(90000.0, 105000.0, 7)
    assert isa_pressure_pa(pressure_altitude_m(0.0, setting)) == pytest.approx(setting, rel=1e-12)


def _density_altitude_ft(pressure_altitude_ft, fahrenheit):
    air = Air(to_si(pressure_altitude_ft, "ft"), to_si(fahrenheit, "F", "temperature"))
    return float(from_si(density_altitude_m(air), "ft"))


def test_at_02_density_altitude():
    """PHAK sample 1 reads 7,700 off a chart; the formula gives 7,709."""
    assert _density_altitude_ft(5718, 70) == pytest.approx(7700, abs=50)
    assert _density_altitude_ft(5718, 70) == pytest.approx(7709, abs=2)


@pytest.mark.parametrize(("id_", "altitude", "cold", "warm", "chart", "formula"), [
    ("AT-05", 3000, 30, 50, 1300, 1345), ("AT-06", 5000, 25, 50, 1650, 1663)])
def test_density_altitude_change(id_, altitude, cold, warm, chart, formula):
    """FAA airman knowledge-test bank (public answers): read off the chart to 50 ft."""
    change = _density_altitude_ft(altitude, warm) - _density_altitude_ft(altitude, cold)
    assert change == pytest.approx(chart, abs=50), id_
    assert change == pytest.approx(formula, abs=2), id_


def test_as_01_true_airspeed():
    """Slide-rule lesson: CAS 110, 7,000 ft, 16 C: 126; the full formula 125.3."""
    air = Air(to_si(7000, "ft"), to_si(16, "C", "temperature"))
    tas = float(from_si(tas_from_cas_m_s(to_si(110, "kt"), air), "kt"))
    assert tas == pytest.approx(126, abs=1)
    assert tas == pytest.approx(125.3, abs=0.1)


def test_as_02_calibrated_airspeed():
    """MathWorks reference page: TAS 25.7222 m/s, a 336.4 m/s, p 89,874.6 Pa: CAS 24.5077 m/s."""
    air = Air(pressure_altitude_m(0.0, 89874.6), 336.4**2 / (1.4 * 287.05287))
    assert float(air.pressure_pa) == pytest.approx(89874.6)
    assert float(cas_from_tas_m_s(25.7222, air)) == pytest.approx(24.5077, abs=1e-4)


@pytest.mark.parametrize(("load_factor", "expected"), [(2.0, 1.41), (4.0, 2.0)])
def test_as_04_stall_speed_factor(load_factor, expected):
    """PHAK aerodynamics: 60 degrees of bank (2 g) and 4 g. The lift asked for scales speeds as weight does."""
    airframe = Airframe(15.0, 10.0, False, 119312.0, 45.0, 45.0, 2, 1.88, 1.47, 1000.0, 26.0, 23.0, 719.0)
    model = Model(airframe, build_surrogate(0.3, 2), Draws(natural(np.zeros((1, len(parameter_names()))))))
    assert float(speed_factor(model, load_factor * 1000.0)[0, 0]) == pytest.approx(expected, abs=0.01)
