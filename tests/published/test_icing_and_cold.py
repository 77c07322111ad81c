"""Carburettor icing: interior points that leaflets state (FAA, UK, Canada); the cold altimeter's printed value."""

import pytest

from ownship.physics.atmosphere import relative_humidity_1
from ownship.physics.icing import ORDER, carburettor_icing, cold_altimeter_error_m
from ownship.units import from_si, to_si


def celsius(f):
    return float(from_si(to_si(f, "F", "temperature"), "C", "temperature"))


@pytest.mark.parametrize("fahrenheit", [25, 40, 55, 68])
def test_ci_01_most_favourable_20_to_70_f_with_high_humidity(fahrenheit):
    t = celsius(fahrenheit)
    assert ORDER.index(carburettor_icing(t, t - 1, low_power=True)) >= ORDER.index("serious")


def test_ci_03_possible_at_100_f_and_half_humidity():
    """Government safety alert: possible even at 100 F with RH >= 50 % (dew point about 26 C)."""
    assert carburettor_icing(celsius(100), 25.5, low_power=True) != "none"


@pytest.mark.parametrize(("fahrenheit", "humidity", "dew_c"), [(52, 0.65, 4.8), (60, 0.65, 9.0), (68, 0.65, 13.2)])
def test_ci_03_severe_at_50_to_70_f_above_60_per_cent_humidity(fahrenheit, humidity, dew_c):
    """Government safety alert; interior points at 65 %, their dew points checked against our own humidity."""
    t = celsius(fahrenheit)
    assert float(relative_humidity_1(t + 273.15, dew_c + 273.15)) == pytest.approx(humidity, abs=0.01)
    assert carburettor_icing(t, dew_c, low_power=True) == "serious"


def test_ci_04_canadian_chart_point():
    assert carburettor_icing(26, 19, low_power=False) == "moderate"
    assert carburettor_icing(26, 19, low_power=True) == "serious"


def test_dry_cold_air_warns_of_nothing():
    assert carburettor_icing(10, -20, low_power=True) == "none"


def test_low_power_is_never_safer_than_cruise():
    for t in range(-25, 45):
        for spread in range(25):
            cruise, low = (ORDER.index(carburettor_icing(t, t - spread, low_power=p)) for p in (False, True))
            assert low >= cruise


def test_cold_altimeter_705_ft():
    """5,000 ft above a sea-level station at -20 C: 705 ft lower than shown (formula as in ICAO Doc 8168)."""
    error = cold_altimeter_error_m(float(to_si(5000, "ft")), 0.0, float(to_si(-20, "C", "temperature")))
    assert from_si(error, "ft") == pytest.approx(705, abs=1)


def test_standard_air_has_no_altimeter_error():
    assert cold_altimeter_error_m(1500.0, 0.0, 288.15) == pytest.approx(0.0, abs=0.1)
