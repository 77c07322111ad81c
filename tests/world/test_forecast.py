"""Forecast air at a height and a time: published column, interpolation as properties, None outside, error by age."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ownship.errors import BadInput
from ownship.physics.atmosphere import isa_pressure_pa, isa_temperature_k, pressure_altitude_m
from ownship.units import from_si, to_si
from ownship.world.forecast import Forecast, Ground, Hour, Level, last_known, spread_at, towards

NOON = datetime(2026, 7, 11, 12, tzinfo=UTC)
HEIGHTS = (1457.0, 3012.0, 5574.0)


def standard_level(height_m, wind=(270.0, 10.0)):
    return Level(height_m, float(isa_pressure_pa(height_m)), float(isa_temperature_k(height_m)), *towards(*wind))


def standard_hour(time, elevation_m=800.0, wind=(270.0, 10.0), heights=HEIGHTS):
    ground = Ground(float(isa_pressure_pa(elevation_m)), float(isa_temperature_k(elevation_m)), 275.0,
                    *towards(*wind), wind[1] + 3)
    return Hour(time, ground, tuple(standard_level(h, wind) for h in heights))


def forecast(*hours, elevation_m=800.0, fetched_at=NOON):
    return Forecast(43.6, -116.2, elevation_m, tuple(hours), fetched_at, "made by hand", "none")


def two_hours(first=(270.0, 10.0), second=(270.0, 10.0), **changes):
    return forecast(standard_hour(NOON, wind=first), standard_hour(NOON + timedelta(hours=1), wind=second), **changes)


# US Standard Atmosphere 1976, table by geopotential height (from memory): m, K, Pa.
GEOPOTENTIAL = [(1000.0, 281.65, 89874.6), (2000.0, 275.15, 79495.2), (3000.0, 268.65, 70108.5)]


def test_the_pressure_between_two_levels_is_that_of_the_published_table():
    (h0, t0, p0), (h1, t1, p1), (h2, t2, p2) = GEOPOTENTIAL
    hour = Hour(NOON, Ground(None, None, None, None, None, None), (Level(h0, p0, t0, None, None), Level(h2, p2, t2, None, None)))
    found = forecast(hour, elevation_m=0.0).at(h1, NOON)
    assert found.pressure_pa == pytest.approx(p1, abs=0.5)
    assert found.temperature_k == pytest.approx(t1, abs=0.005)
    assert found.pressure_altitude_m == pytest.approx(h1, abs=0.1)
    assert found.wind_m_s is None and found.wind_from_deg is None


def test_the_error_at_12_to_24_h_is_the_customary_one():
    """8 to 10 kt vector and 2 to 3 C at 12 to 24 h: trade practice, no published source."""
    for hours in (12, 18, 24):
        found = spread_at(to_si(hours, "h"))
        assert 8.0 <= from_si(found.wind_sd_m_s, "kt") * 2**0.5 <= 10.0
        assert 2.0 <= found.temperature_sd_k <= 3.0


@given(st.floats(0, 190), st.floats(0, 190), st.booleans())
def test_the_error_grows_with_age(a, b, ground):
    young, old = (spread_at(to_si(x, "h"), ground=ground) for x in sorted((a, b)))
    assert young.wind_sd_m_s <= old.wind_sd_m_s and young.temperature_sd_k <= old.temperature_sd_k


def test_beyond_the_last_age_the_error_and_the_air_are_not_known():
    assert spread_at(to_si(193, "h")) is None and spread_at(-1.0) is None
    assert two_hours(fetched_at=NOON - timedelta(hours=180)).at(2000.0, NOON) is not None
    late = two_hours(fetched_at=NOON - timedelta(hours=182))
    assert late.at(2000.0, NOON) is None and late.ground_at(NOON) is None
    assert last_known(late) < NOON


def test_the_run_is_taken_as_11_h_old_when_fetched_and_never_younger():
    assert two_hours().at(2000.0, NOON).run_age_s == to_si(11, "h")
    assert two_hours(fetched_at=NOON + timedelta(hours=3)).at(2000.0, NOON).run_age_s == to_si(11, "h")
    assert two_hours(fetched_at=NOON - timedelta(hours=3)).at(2000.0, NOON).run_age_s == to_si(14, "h")


def test_below_the_lowest_level_the_worse_error_of_ground_and_aloft_stands():
    found, age = two_hours(), to_si(11, "h")
    assert found.at(1000.0, NOON).spread.temperature_sd_k == spread_at(age, ground=True).temperature_sd_k
    assert found.at(1000.0, NOON).spread.wind_sd_m_s == spread_at(age).wind_sd_m_s
    assert found.at(2000.0, NOON).spread == spread_at(age)
    assert found.ground_at(NOON).spread == spread_at(age, ground=True)


@given(st.floats(800.0, 5574.0), st.floats(0.0, 1.0))
def test_a_standard_column_gives_the_standard_air_back_at_every_height_and_time(height, share):
    found = two_hours().at(height, NOON + timedelta(hours=share))
    assert found.temperature_k == pytest.approx(float(isa_temperature_k(height)), abs=1e-6)
    assert found.pressure_pa == pytest.approx(float(isa_pressure_pa(height)), rel=1e-7)
    assert found.pressure_altitude_m == pytest.approx(height, abs=1e-3)
    assert found.wind_from_deg == pytest.approx(270.0) and found.wind_m_s == pytest.approx(10.0)


@given(st.floats(0, 359), st.floats(0, 40), st.floats(0, 359), st.floats(0, 40), st.floats(0, 1))
def test_wind_between_hours_never_blows_harder_than_both_and_goes_by_components(a, v, b, w, share):
    found = two_hours((a, v), (b, w)).at(2000.0, NOON + timedelta(hours=share))
    assert found.wind_m_s <= max(v, w) + 1e-9


def test_wind_is_joined_by_components_over_north_and_opposite_winds_meet_in_calm():
    half = NOON + timedelta(minutes=30)
    north = two_hours((350.0, 10.0), (10.0, 10.0)).at(2000.0, half)
    assert min(north.wind_from_deg, 360 - north.wind_from_deg) == pytest.approx(0.0, abs=1e-9)
    assert north.wind_m_s == pytest.approx(9.848, abs=1e-3)
    assert two_hours((90.0, 10.0), (270.0, 10.0)).at(2000.0, half).wind_m_s == pytest.approx(0.0, abs=1e-9)


def test_calm_has_no_direction():
    found = two_hours((0.0, 0.0), (0.0, 0.0))
    assert (found.at(2000.0, NOON).wind_from_deg, found.at(2000.0, NOON).wind_m_s) == (None, 0.0)


def test_wind_changes_linearly_with_height_between_levels():
    hour = standard_hour(NOON)
    low, high = standard_level(1000.0, (270.0, 10.0)), standard_level(2000.0, (270.0, 30.0))
    found = forecast(replace(hour, levels=(low, high))).at(1500.0, NOON)
    assert found.wind_m_s == pytest.approx(20.0)


@pytest.mark.parametrize("height", [799.9, 5574.1, -100.0, 20000.0])
def test_outside_the_levels_there_is_no_answer(height):
    assert two_hours().at(height, NOON) is None


@pytest.mark.parametrize("shift", [timedelta(seconds=-1), timedelta(hours=1, seconds=1), timedelta(days=30)])
def test_outside_the_hours_there_is_no_answer(shift):
    assert two_hours().at(2000.0, NOON + shift) is None
    assert two_hours().ground_at(NOON + shift) is None


def test_the_edges_themselves_answer():
    found = two_hours()
    for height in (800.0, *HEIGHTS):
        for moment in (NOON, NOON + timedelta(hours=1)):
            assert found.at(height, moment).pressure_pa == pytest.approx(float(isa_pressure_pa(height)))


@pytest.mark.parametrize("pressure_known", [True, False])
def test_levels_under_the_ground_are_not_air(pressure_known):
    buried = Level(300.0, float(isa_pressure_pa(300.0)), 350.0, 50.0, 50.0)
    hour = standard_hour(NOON)
    if not pressure_known:
        hour = replace(hour, ground=replace(hour.ground, pressure_pa=None))
    with_it = forecast(replace(hour, levels=(buried, *hour.levels)))
    assert with_it.at(400.0, NOON) is None
    assert with_it.at(1000.0, NOON) == forecast(hour).at(1000.0, NOON)


def test_a_level_of_more_pressure_than_the_ground_is_not_air_either():
    odd = Level(850.0, float(isa_pressure_pa(700.0)), 350.0, 50.0, 50.0)
    hour = standard_hour(NOON)
    assert forecast(replace(hour, levels=(odd, *hour.levels))).at(900.0, NOON) == forecast(hour).at(900.0, NOON)


def test_what_one_hour_lacks_is_not_known_on_its_way_there_but_known_at_the_other():
    first, second = standard_hour(NOON), standard_hour(NOON + timedelta(hours=1))
    bare = tuple(replace(x, east_m_s=None, north_m_s=None) for x in second.levels)
    found = forecast(first, replace(second, levels=bare))
    assert found.at(2000.0, NOON).wind_m_s == pytest.approx(10.0)
    between = found.at(2000.0, NOON + timedelta(minutes=1))
    assert between.wind_m_s is None and between.wind_from_deg is None
    assert between.temperature_k is not None


def test_a_missing_value_is_bridged_up_to_3000_m_and_no_further():
    hour = standard_hour(NOON, heights=(1457.0, 3012.0, 4206.0, 5574.0))
    for gone, known in ((1, True), ((1, 2), False)):
        levels = tuple(replace(x, temperature_k=None) if i in (gone if isinstance(gone, tuple) else (gone,)) else x
                       for i, x in enumerate(hour.levels))
        found = forecast(replace(hour, levels=levels)).at(2500.0, NOON)
        assert (found.temperature_k is not None) is known
        assert (found.pressure_pa is not None) is known
        assert found.wind_m_s == pytest.approx(10.0)


def test_where_nothing_is_known_there_is_no_air():
    empty = Hour(NOON, Ground(None, None, None, None, None, None), ())
    assert forecast(empty).at(2000.0, NOON) is None
    ground = forecast(empty).ground_at(NOON)
    assert (ground.temperature_k, ground.wind_m_s, ground.altimeter_pa, ground.gust_m_s) == (None,) * 4


@given(st.floats(-300.0, 3000.0), st.floats(-25.0, 25.0))
def test_the_altimeter_setting_gives_the_station_pressure_back(elevation, off_hpa):
    pressure = float(isa_pressure_pa(elevation) + to_si(off_hpa, "hPa"))
    hour = replace(standard_hour(NOON, elevation), ground=replace(standard_hour(NOON, elevation).ground, pressure_pa=pressure))
    setting = forecast(hour, elevation_m=elevation).ground_at(NOON).altimeter_pa
    assert float(isa_pressure_pa(pressure_altitude_m(elevation, setting))) == pytest.approx(pressure, rel=1e-9)


def test_ground_air_is_joined_between_hours():
    found = two_hours((270.0, 10.0), (270.0, 20.0)).ground_at(NOON + timedelta(minutes=15))
    assert found.wind_m_s == pytest.approx(12.5) and found.gust_m_s == pytest.approx(15.5)
    assert found.dew_point_k == pytest.approx(275.0)


def test_a_time_in_another_zone_is_the_same_moment_and_one_without_zone_is_refused():
    found = two_hours()
    local = NOON.astimezone(timezone(timedelta(hours=-6)))
    assert found.at(2000.0, local).temperature_k == found.at(2000.0, NOON).temperature_k
    with pytest.raises(BadInput, match="has no zone"):
        found.at(2000.0, NOON.replace(tzinfo=None))
    with pytest.raises(BadInput, match="has no zone"):
        found.ground_at(NOON.replace(tzinfo=None))
