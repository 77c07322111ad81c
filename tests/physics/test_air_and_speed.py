"""Air, airspeeds and position error: inverses, humidity, and what is refused."""

import numpy as np
import pytest

from ownship.errors import OutOfRange
from ownship.physics.airspeed import cas_from_ias_m_s, cas_from_tas_m_s, ias_from_cas_m_s, tas_from_cas_m_s
from ownship.physics.atmosphere import (
    Air,
    density_altitude_m,
    isa_pressure_pa,
    isa_temperature_k,
    relative_humidity_1,
    standard_air,
    vapour_pressure_pa,
)
from ownship.units import to_si

KT = float(to_si(1, "kt"))
TABLE = (tuple(x * KT for x in (40, 50, 60, 80, 120)), tuple(x * KT for x in (49, 55, 62, 80, 118)))


def test_density_altitude_of_standard_air_is_its_own_height_through_both_layers():
    heights = np.linspace(-1000.0, 20000.0, 43)
    assert density_altitude_m(standard_air(heights)) == pytest.approx(heights, abs=1e-6)


def test_pressure_falls_through_both_layers_without_a_step():
    around = isa_pressure_pa(np.array([10999.99, 11000.0, 11000.01]))
    slopes = np.diff(around)
    assert slopes[0] == pytest.approx(slopes[1], rel=1e-4)
    assert np.all(np.diff(isa_pressure_pa(np.linspace(-1000, 20000, 200))) < 0)


@pytest.mark.parametrize("height", [-1001.0, 20001.0])
def test_heights_beyond_the_two_layers_are_refused(height):
    for function in (isa_temperature_k, isa_pressure_pa):
        with pytest.raises(OutOfRange, match="Pressure altitude"):
            function(np.array([0.0, height]))


def test_65000_ft_is_answered():
    assert float(isa_temperature_k(to_si(65000, "ft"))) == 216.65


def test_humid_air_is_lighter_by_the_vapour_and_only_by_that():
    dry, humid = Air(0.0, 308.15), Air(0.0, 308.15, 1.0)
    lighter = 0.378 * vapour_pressure_pa(308.15, 1.0) / 101325
    assert float(humid.density_kg_m3 / dry.density_kg_m3) == pytest.approx(1 - float(lighter), rel=1e-12)
    assert 0.015 < lighter < 0.025
    assert density_altitude_m(humid) > density_altitude_m(dry)


@pytest.mark.parametrize(("celsius", "pa"), [(0, 611.2), (20, 2339), (35, 5629)])
def test_vapour_pressure_of_saturated_air(celsius, pa):
    """Steam tables, from memory: 0.6112, 2.339, 5.629 kPa."""
    assert float(vapour_pressure_pa(celsius + 273.15, 1.0)) == pytest.approx(pa, rel=3e-3)


def test_relative_humidity_undoes_the_dew_point():
    assert float(relative_humidity_1(293.15, 293.15)) == 1.0
    found = relative_humidity_1(np.array([293.15, 303.15]), 283.15)
    assert found[0] > found[1]
    wanted = float(vapour_pressure_pa(283.15, 1.0))
    assert vapour_pressure_pa(np.array([293.15, 303.15]), found) == pytest.approx(wanted)


def test_cas_and_tas_are_inverses_and_meet_at_sea_level():
    cas = np.linspace(0.0, 120.0, 25)
    air = Air(np.linspace(-300, 5000, 25), np.linspace(230, 320, 25), 0.5)
    assert cas_from_tas_m_s(tas_from_cas_m_s(cas, air), air) == pytest.approx(cas, abs=1e-9)
    assert tas_from_cas_m_s(cas, standard_air(np.zeros(25))) == pytest.approx(cas, abs=1e-9)


def test_slow_true_airspeed_is_cas_over_root_sigma():
    air = Air(3000.0, 290.0)
    assert float(tas_from_cas_m_s(10.0, air)) == pytest.approx(10 / float(np.sqrt(air.density_ratio_1)), rel=2e-4)


@pytest.mark.parametrize("speed", [-1.0, 360.0])
def test_negative_and_supersonic_speeds_are_refused(speed):
    for function in (tas_from_cas_m_s, cas_from_tas_m_s):
        with pytest.raises(OutOfRange, match="airspeed"):
            function(np.array([40.0, speed]), standard_air(0.0))


def test_a_draw_that_is_not_possible_stays_so():
    assert np.isnan(tas_from_cas_m_s(np.array([np.nan, 40.0]), standard_air(0.0))).tolist() == [True, False]


def test_position_error_table_is_met_and_undone():
    assert cas_from_ias_m_s(np.array(TABLE[0]), TABLE) == pytest.approx(np.array(TABLE[1]))
    ias = np.linspace(30, 130, 41) * KT
    assert ias_from_cas_m_s(cas_from_ias_m_s(ias, TABLE), TABLE) == pytest.approx(ias, abs=1e-9)


def test_beyond_the_table_the_correction_of_its_end_is_kept():
    assert float(cas_from_ias_m_s(30 * KT, TABLE)) == pytest.approx(39 * KT)
    assert float(cas_from_ias_m_s(140 * KT, TABLE)) == pytest.approx(138 * KT)


def test_no_table_is_no_error():
    assert float(cas_from_ias_m_s(50.0, None)) == 50.0
    assert float(ias_from_cas_m_s(50.0, None)) == 50.0
