"""Glide: no wind is ratio x height, headwind takes what tailwind gives, more height never less, stopped never less."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.flight.airmass import AirMass
from ownship.flight.glide_share import GlideSlices, glide_share, glide_slices, sample_route
from ownship.flight.route import Point, build_route
from ownship.performance.landing import glide
from ownship.performance.model import Airframe, Draws, Model, natural, parameter_names
from ownship.physics.atmosphere import Air
from ownship.physics.drag import DragLaw, best_glide_ratio_1
from ownship.physics.propeller import build_surrogate, pitch_angle_rad
from ownship.units import to_si
from ownship.world.aerodromes import Aerodrome
from ownship.world.geodesy import direct, inverse

KT, NM, FT = float(to_si(1, "kt")), float(to_si(1, "nm")), float(to_si(1, "ft"))
DAY, CIRCUIT = date(2026, 7, 11), 1000 * FT
FEW = settings(max_examples=25, derandomize=True, deadline=None)
AIRFRAME = Airframe(15.0, 9.8, False, 119312.0, 45.0, 45.0, 2, 1.88, 1.473, 1066.0, 52 * KT, 47 * KT, 719.0)
SURROGATE = build_surrogate(pitch_angle_rad(1.473, 1.88), 2)
ONE = Model(AIRFRAME, SURROGATE, Draws(natural(np.zeros((1, len(parameter_names()))))))
RNG = np.random.default_rng(5)
MANY = Model(AIRFRAME, SURROGATE, Draws(natural(np.clip(RNG.standard_normal((40, len(parameter_names()))), -2, 2))))
NOISE = RNG.standard_normal(40)


def air(north_m_s=0.0, east_m_s=0.0, draws=1, sd=0.0, known=True):
    noise = (sd * RNG.standard_normal(draws), sd * RNG.standard_normal(draws))
    return AirMass(((0.0, east_m_s, north_m_s),), ((0.0, 288.15),), 101325.0, noise, np.zeros(draws), known)


def aerodrome(lat, lon=0.0, elevation_m=0.0, ident="FIELD", closed=False):
    return Aerodrome(ident, (), ident, "small_airport", closed, "XX", "", lat, lon, elevation_m, (), (), "test", "")


def legs(distance_m):
    far = direct(0.0, 0.0, 0.0, distance_m)[0]
    return build_route((Point("HOME", 0.0, 0.0), Point("FAR", far, 0.0)), DAY)


def reach(model, wind, level_m, course_deg, propeller="windmilling", noise=None, arrival_m=0.0):
    noise = np.zeros(model.draws.size) if noise is None else noise
    slices = glide_slices(model, wind, np.full(model.draws.size, 1000.0), noise, level_m, np.array([arrival_m]), propeller)
    return slices.reach_m(np.array([0]), np.array([course_deg]))[0]


def shares(route, levels, fields, model=ONE, wind=None, noise=None):
    return glide_share(route, levels, fields, model, wind or air(draws=model.draws.size), np.full(model.draws.size, 1000.0),
                       np.zeros(model.draws.size) if noise is None else noise, CIRCUIT)


# published
def test_mo_01_angle_of_the_glide_is_the_height_over_the_reach():
    """MO-01 (Lowry): CD0 0.037, e 0.72, AR 7.38 without propeller drag: 5.38 degrees down, L/D 10.6."""
    ratio = best_glide_ratio_1(DragLaw(16.165, 7.38, 0.037, 0.72, 0.9))
    assert ratio == pytest.approx(10.6, abs=0.1)
    sink = 20.0
    slices = GlideSlices(np.full((1, 4, 1), sink * ratio), np.full((1, 4, 1), 250.0 / sink), np.zeros((1, 4, 1)), np.zeros((1, 4, 1)))
    gone = slices.reach_m(np.array([0]), np.array([70.0]))[0, 0]
    assert np.degrees(np.arctan(1000.0 / gone)) == pytest.approx(5.38, abs=0.01)


# the reach
@FEW
@given(st.floats(300, 4500), st.floats(0, 0.9), st.floats(0, 360), st.sampled_from(["windmilling", "stopped"]))
def test_without_wind_the_reach_is_ratio_times_height_exactly(level, share, course, propeller):
    arrival = share * level
    found = reach(MANY, air(draws=40), level, course, propeller, arrival_m=arrival)
    ratio = glide(MANY, Air(level, 280.0), 1000.0, propeller).ratio_1[0]
    np.testing.assert_allclose(found, ratio * (level - arrival), rtol=1e-12)


@FEW
@given(st.floats(500, 4000), st.floats(0, 25), st.floats(0, 360))
def test_a_headwind_takes_what_the_same_tailwind_gives(level, speed, course):
    wind = air(speed * np.cos(np.radians(course)), speed * np.sin(np.radians(course)), draws=40)
    calm = reach(MANY, air(draws=40), level, course)
    ahead, behind = reach(MANY, wind, level, course + 180.0), reach(MANY, wind, level, course)
    np.testing.assert_allclose((ahead + behind) / 2, calm, rtol=1e-9)
    if speed > 0.1:
        assert np.all(ahead < calm) and np.all(calm < behind)


@FEW
@given(st.floats(500, 4000), st.floats(1, 25))
def test_a_crosswind_shortens_and_left_and_right_are_equal(level, speed):
    calm, left, right = (reach(ONE, air(0.0, e), level, 0.0) for e in (0.0, speed, -speed))
    assert left == pytest.approx(right, rel=1e-12)
    assert left < calm


def test_the_wind_of_every_slice_counts_not_that_of_the_level():
    level, wind = 3000.0, air()
    sheared = replace(wind, winds=((0.0, 0.0, 0.0), (3000.0, 0.0, -20.0)))
    assert reach(ONE, air(-20.0), level, 0.0) < reach(ONE, sheared, level, 0.0) < reach(ONE, wind, level, 0.0)


def test_a_wind_that_leaves_no_groundspeed_reaches_nothing():
    assert np.isnan(reach(ONE, air(-60.0), 2000.0, 0.0)).all()
    assert shares(legs(20 * NM), (2000.0,), (aerodrome(0.3),), wind=air(-60.0)).shares[0].high_1 < 0.7


@FEW
@given(st.floats(500, 4000), st.floats(-25, 25), st.floats(-2, 2))
def test_stopped_reaches_at_least_as_far_as_windmilling_with_any_drag(level, north_m_s, noise):
    z = np.full(40, noise)
    wind = air(north_m_s, draws=40)
    assert np.all(reach(MANY, wind, level, 0.0, "stopped", z) >= reach(MANY, wind, level, 0.0, "windmilling", z))


def test_the_error_of_the_propellers_drag_widens_the_reach():
    noise = np.linspace(-1.645, 1.645, 40)
    same = Model(AIRFRAME, SURROGATE, Draws(np.repeat(ONE.draws.values, 40, axis=0)))
    found = reach(same, air(draws=40), 2000.0, 0.0, noise=noise)
    assert np.all(np.diff(found) < 0)
    sure = reach(same, air(draws=40), 2000.0, 0.0, noise=np.zeros(40))
    assert found[0] > sure[0] > found[-1]


# the share
def test_pieces_of_the_route_add_up_to_its_length():
    found = sample_route(legs(20.4 * NM))
    assert found.amount_m.sum() == pytest.approx(20.4 * NM)
    assert found.amount_m.size == 21


def test_in_calm_air_the_share_is_twice_the_reach_over_the_route():
    """One aerodrome in the middle of 60 nm: within reach on both sides; the pieces are a mile long."""
    route = legs(60 * NM)
    field = aerodrome(direct(0.0, 0.0, 0.0, 30 * NM)[0], elevation_m=200.0)
    found = shares(route, (2000.0,), (field,))
    for share in found.shares:
        one = reach(ONE, air(), 2000.0, 0.0, share.propeller, arrival_m=200.0 + CIRCUIT)[0]
        assert share.median_1 == pytest.approx(2 * one / (60 * NM), abs=1.01 / 60)
        assert share.low_1 == share.median_1 == share.high_1
        assert "Terrain between is not looked at" in share.words and "1,000 ft" in share.words


def test_every_pair_is_judged_as_one_by_one_would():
    """Against a plain loop over points, aerodromes and draws."""
    route = build_route((Point("A", 43.0, -116.0), Point("B", 43.5, -115.0), Point("C", 44.2, -115.2)), DAY)
    fields = tuple(aerodrome(lat, lon, h, f"F{i}") for i, (lat, lon, h) in enumerate(
        ((43.1, -115.9, 800.0), (43.45, -115.3, 1500.0), (43.9, -115.4, 1200.0), (44.2, -115.0, 2600.0), (45.9, -110.0, 500.0))))
    wind = air(-8.0, 6.0, draws=40, sd=4.0)
    found = glide_share(route, (2800.0,), fields, MANY, wind, np.linspace(850, 1050, 40), NOISE, CIRCUIT)
    points = sample_route(route)
    for share in found.shares:
        reached = np.zeros((points.lat_deg.size, 40), dtype=bool)
        for f in fields:
            if f.elevation_m + CIRCUIT > 2800.0:
                continue
            slices = glide_slices(MANY, wind, np.linspace(850, 1050, 40), NOISE, 2800.0, np.array([f.elevation_m + CIRCUIT]), share.propeller)
            for i in range(points.lat_deg.size):
                distance, course, _ = inverse(points.lat_deg[i], points.lon_deg[i], f.lat_deg, f.lon_deg)
                reached[i] |= slices.reach_m(np.array([0]), np.array([course]))[0] >= distance
        draws = points.amount_m @ reached / points.amount_m.sum()
        assert 0.05 < np.median(draws) < 0.95
        assert (share.low_1, share.median_1, share.high_1) == pytest.approx(tuple(np.quantile(draws, [0.05, 0.5, 0.95])), abs=1e-12)
    assert found.shares[0].low_1 < found.shares[0].high_1


@FEW
@given(st.floats(-20, 20), st.floats(-20, 20), st.lists(st.tuples(st.floats(0, 1), st.floats(-0.2, 0.2), st.floats(0, 2500)), min_size=1, max_size=6))
def test_more_height_or_one_more_aerodrome_is_never_less_and_stopped_never_less_than_windmilling(north_m_s, east_m_s, places):
    fields = tuple(aerodrome(lat, lon, h, f"F{i}") for i, (lat, lon, h) in enumerate(places))
    levels = (600.0, 1500.0, 2400.0, 3300.0, 4200.0)
    wind = air(north_m_s, east_m_s)
    found = shares(legs(60 * NM), levels, fields, wind=wind).shares
    fewer = shares(legs(60 * NM), levels, fields[:-1], wind=wind).shares
    by = {p: [s.median_1 for s in found if s.propeller == p] for p in ("windmilling", "stopped")}
    assert all(x == sorted(x) for x in by.values())
    assert all(a >= b for a, b in zip(by["stopped"], by["windmilling"], strict=True))
    assert all(a.median_1 >= b.median_1 for a, b in zip(found, fewer, strict=True))


def test_wind_along_the_way_moves_the_stretch_but_in_the_mirror_gives_the_same():
    """The same aerodrome in the middle of the route, wind from ahead or from behind."""
    route = legs(60 * NM)
    field = aerodrome(direct(0.0, 0.0, 0.0, 30 * NM)[0])
    ahead, behind = (shares(route, (2500.0,), (field,), wind=air(n)).shares[0].median_1 for n in (-12.0, 12.0))
    assert ahead == pytest.approx(behind, abs=1e-9)


def test_an_aerodrome_above_the_level_less_the_circuit_is_out_of_reach_even_below_the_aeroplane():
    route = legs(10 * NM)
    field = aerodrome(direct(0.0, 0.0, 0.0, 5 * NM)[0], elevation_m=1500.0)
    low, high = (shares(route, (x,), (field,)).shares[0].median_1 for x in (1500.0 + CIRCUIT - 1.0, 1500.0 + CIRCUIT + 500.0))
    assert low == 0.0 and high > 0.3


# what is not known
def test_without_an_elevation_or_closed_it_is_not_counted_and_named():
    route = legs(10 * NM)
    found = shares(route, (2000.0,), (aerodrome(0.08, elevation_m=None, ident="NOH"), aerodrome(0.08, ident="SHUT", closed=True)))
    assert found.counted == ()
    assert found.not_counted == ("NOH is not counted: its elevation is not known.", "SHUT is not counted: it is closed.")
    assert found.shares[0].high_1 == 0.0 and "No aerodrome is counted" in found.shares[0].words


def test_without_winds_or_beyond_the_models_range_the_share_is_not_known():
    calm = shares(legs(10 * NM), (2000.0,), (aerodrome(0.08),), wind=air(known=False)).shares[0]
    assert calm.median_1 is None and "[aloft]" in calm.words
    high = shares(legs(10 * NM), (6000.0,), (aerodrome(0.08),)).shares[0]
    assert high.low_1 is high.median_1 is high.high_1 is None and "Pressure altitude" in high.words
