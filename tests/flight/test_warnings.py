"""Warnings stand where the air says so, and only there."""

import pytest

from ownship.flight.warnings import PlaceAir, aloft, at_place, carburettor_ice, cold_altimeter
from ownship.units import to_si


def k(celsius):
    return None if celsius is None else float(to_si(celsius, "C", "temperature"))


def ft(feet):
    return float(to_si(feet, "ft"))


def place(t, dew, *, departing=True, parked=36_000.0, pressure_altitude=1000, heat=True, taxi=False):
    air = PlaceAir("KXYZ", k(t), k(dew), ft(500), ft(pressure_altitude))
    return {w.id: w for w in at_place(air, departing=departing, heat_on_descent=heat, parked_outside_s=parked,
                                      heat_on_taxi=taxi)}


def cruise(t=10, freezing=12000, rules="VFR", level=6500, dew=None, heat=False):
    found = aloft(ft(level), k(t), None if freezing is None else ft(freezing), rules, heat, ft(level), k(dew))
    return {w.id: w for w in found}


def test_a_dry_warm_day_warns_of_nothing():
    assert not place(34, 6)
    assert not cruise()


def test_every_warning_has_a_text_a_source_and_one_place():
    for w in (*place(-15, -16, pressure_altitude=5000).values(), *cruise(-5, 3000, "IFR", 11000).values()):
        assert w.text.endswith(".") and w.source


@pytest.mark.parametrize(("departing", "phase"), [(True, "taxiing"), (False, "descent")])
def test_carburettor_ice_names_the_phase_the_risk_and_the_first_sign(departing, phase):
    text = place(15, 13, departing=departing)["carburettor_ice"].text
    assert text.startswith("Serious") and phase in text and "loss of rpm" in text


def test_carburettor_ice_says_whether_heat_is_planned():
    assert "Heat is planned" in place(15, 13, departing=False, heat=True)["carburettor_ice"].text
    assert "No heat is planned" in place(15, 13, departing=False, heat=False)["carburettor_ice"].text
    assert "Heat is planned" in place(15, 13, taxi=True)["carburettor_ice"].text


def test_a_missing_dew_point_is_said_and_never_taken_as_dry():
    assert "not judged" in place(15, None)["carburettor_ice"].text
    assert not carburettor_ice("in the cruise", k(-30), None, low_power=False, heat_on=False)


def test_in_cloud_under_ifr_the_dew_point_is_the_temperature():
    assert "in cloud" in cruise(5, rules="IFR")["carburettor_ice"].text
    assert "carburettor_ice" not in cruise(5, rules="VFR")
    assert "carburettor_ice" in cruise(5, rules="VFR", dew=4)
    assert "carburettor_ice" not in cruise(5, rules="VFR", dew=-20)


def test_cruise_power_warns_less_than_low_power():
    assert "carburettor_ice" not in cruise(25, dew=14)
    assert "carburettor_ice" in place(25, 14)


def test_frost_only_for_an_aeroplane_parked_outside_before_departure():
    assert "frost" in place(1, 0)
    assert "frost" not in place(1, 0, parked=0.0)
    assert "frost" not in place(1, 0, departing=False)
    assert "frost" in place(1, None)


def test_preheat_below_minus_12_and_for_some_makers_below_minus_6():
    assert "preheat" not in place(-5, -20)
    assert place(-8, -20)["preheat"].text.startswith("Some engine makers")
    assert place(-13, -20)["preheat"].text.startswith("Pre-heat")


def test_carbon_monoxide_where_the_heater_will_be_on():
    assert "carbon_monoxide" in place(4, -10)
    assert "carbon_monoxide" not in place(6, -10)
    assert "carbon_monoxide" in cruise(0)
    assert "carbon_monoxide" not in cruise(10)


def test_the_freezing_level_is_set_against_the_cruise_altitude():
    assert "freezing_level" in cruise(level=6500, freezing=6000)
    assert "freezing_level" not in cruise(level=6500, freezing=7000)
    assert "freezing_level" not in cruise(freezing=None)
    assert "no approval" in cruise(level=6500, freezing=6000, rules="IFR")["freezing_level"].text


def test_a_freezing_level_at_sea_level_is_a_level():
    assert "freezing_level" in cruise(-5, freezing=0)


def test_cold_altimeter_from_100_ft_on():
    warned = cold_altimeter(ft(5000), 0.0, k(-20), "KXYZ")
    assert "ft lower" in warned[0].text and "5,000 ft" in warned[0].text
    assert not cold_altimeter(ft(5000), 0.0, k(15), "KXYZ")
    assert not cold_altimeter(ft(500), 0.0, k(-20), "KXYZ")
    assert not cold_altimeter(0.0, 0.0, k(-40), "KXYZ")


def test_mixture_above_3000_ft_and_oxygen_above_10000():
    assert "mixture" in place(20, -5, pressure_altitude=3500)
    assert "mixture" not in place(20, -5, pressure_altitude=2500)
    assert "oxygen" in cruise(level=10500) and "oxygen" not in cruise(level=9500)
