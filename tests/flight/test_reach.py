"""Reach: circles, direct integration, the timeline's own flight, turning points, order, GeoJSON, aerodromes inside."""

import json
from dataclasses import replace
from datetime import date
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st

from ownship.errors import BadInput, OutOfRange
from ownship.flight.airmass import AirMass
from ownship.flight.reach import LANDED, ONE_WAY, TURNED, Start, reach
from ownship.flight.reach_map import covers, inside, inside_all, joined, polygon, worse_of
from ownship.flight.route import Point, leg_between
from ownship.flight.timeline import Settings, fly
from ownship.performance import climb, cruise
from ownship.performance.model import Airframe, Draws, Model, natural, parameter_names
from ownship.physics.airspeed import cas_from_tas_m_s
from ownship.physics.atmosphere import SEA_LEVEL_PA, Air
from ownship.physics.wind import no_return
from ownship.questions.calibrating import surrogate_of
from ownship.units import to_si
from ownship.world.aerodromes import Aerodrome
from ownship.world.geodesy import direct, inverse

KT = float(to_si(1, "kt"))
AIRFRAME = Airframe(15.0, 9.8, False, 119312.0, 45.0, 45.0, 2, 1.88, 1.473, 1066.0, 52 * KT, 47 * KT, 719.0)
SURROGATE = surrogate_of(AIRFRAME)
RNG = np.random.default_rng(11)
ONE = Model(AIRFRAME, SURROGATE, Draws(natural(np.zeros((1, len(parameter_names()))))))
MANY = Model(AIRFRAME, SURROGATE, Draws(natural(0.4 * RNG.standard_normal((12, len(parameter_names()))))))
LEVEL = float(to_si(7500, "ft"))
HOW = Settings(LEVEL, 40.0, None, "lean", ("descent",), 600.0, float(to_si(1.1, "usgal")), 360.0, float(to_si(500, "ft/min")),
               float(to_si(1000, "ft")))
FAST = examples(max_examples=8, derandomize=True, deadline=None)


def air(*winds, draws=1, known=True):
    """Winds as (altitude m, from deg, kt); standard temperature."""
    levels = tuple((h, -v * KT * np.sin(np.radians(d)), -v * KT * np.cos(np.radians(d))) for h, d, v in winds)
    zero = np.zeros(draws)
    return AirMass(levels or ((0.0, 0.0, 0.0),), ((0.0, 288.15),), SEA_LEVEL_PA, (zero, zero), zero, known)


def start(lat=43.56, lon=-116.22, *, gallons=34.0, reserve=6.0, elevation=870.0, draws=1, dry=860.0, contingency=0.0):
    one = np.ones(draws)
    return Start("HOME", lat, lon, elevation, dry * one, float(to_si(gallons, "usgal")) * one, float(to_si(reserve, "usgal")) * one,
                 one, contingency)


def far(wind=(), trip=ONE_WAY, model=ONE, how=HOW, bearings=8, **where):
    draws = model.draws.size
    return reach(model, air(*wind, draws=draws), how, start(draws=draws, **where), trip=trip, bearings=bearings)


class Marched:
    """The same flights in small steps, each flown by the performance module at its own weight, place and course.

    One case a line, all marched together: places (lat, lon), bearings and distances are lists; weight and clock (case, 1).
    """

    def __init__(self, winds, dry, usable_m3, cases):
        self.air, self.weight = air(*winds), np.full((cases, 1), dry + usable_m3 * AIRFRAME.fuel_density_kg_m3)
        self.ramp, self.clock = self.weight.copy(), np.zeros((cases, 1))

    def sky(self, height):
        return Air(self.air.pressure_altitude_m(height), self.air.middle_temperature_k(height))

    def ground(self, tas, height, course):
        """Groundspeed by the closed form of the triangle, written out again."""
        east, north = (np.interp(height, *zip(*((w[0], w[i]) for w in self.air.winds), strict=True)) for i in (1, 2))
        along = east * np.sin(np.radians(course)) + north * np.cos(np.radians(course))
        across = east * np.cos(np.radians(course)) - north * np.sin(np.radians(course))
        return along + np.sqrt(tas**2 - across**2)

    def spend(self, seconds, fuel_kg):
        self.clock, self.weight = self.clock + seconds, self.weight - fuel_kg

    def fly(self, places, bearings, distances, bottom, end, *, up=True, down=True, steps=60):
        """One way along the geodesics; returns the places and the courses at their ends."""
        def course(x):
            ends = zip(places, bearings, np.ravel(x), strict=True)
            return np.array([[direct(*p, b, float(d))[2]] for p, b, d in ends])

        gone, how = np.zeros_like(self.weight), HOW
        if up:
            self.spend(how.taxi_s, how.taxi_fuel_m3 * AIRFRAME.fuel_density_kg_m3)
            for a, b in pairwise(np.linspace(bottom, LEVEL, 41)):
                pa = [self.air.pressure_altitude_m(x) for x in (a, b)]
                step = climb.climb(ONE, *pa, (self.sky(a).temperature_k, self.sky(b).temperature_k), self.weight)
                gone = gone + step.time_s * self.ground(step.mean_tas_m_s, (a + b) / 2, course(gone))
                self.spend(step.time_s, step.fuel_kg)
        heights = np.linspace(LEVEL, end + how.circuit_height_m, 31)
        cas = cas_from_tas_m_s(cruise.at_rpm(ONE, self.sky(LEVEL), 891.0, how.power_rev_s).tas_m_s, self.sky(LEVEL)).item()
        top = np.array(distances, dtype=float)[:, None]
        for a, b in reversed(list(pairwise(heights))) if down else ():
            tas = cruise.descent(ONE, self.sky((a + b) / 2), 900.0, cas, how.descent_rate_m_s, carburettor_heat=True).tas_m_s.item()
            top = top - (a - b) / how.descent_rate_m_s * self.ground(tas, (a + b) / 2, course(top))
        h = (top - gone) / steps
        for _ in range(steps):
            state = cruise.at_rpm(ONE, self.sky(LEVEL), self.weight - 60 / steps, how.power_rev_s)
            lasts = h / self.ground(state.tas_m_s, LEVEL, course(gone + h / 2))
            self.spend(lasts, state.fuel_kg_s * lasts)
            gone = gone + h
        for a, b in pairwise(heights) if down else ():
            state = cruise.descent(ONE, self.sky((a + b) / 2), self.weight, cas, how.descent_rate_m_s, carburettor_heat=True)
            lasts = (a - b) / how.descent_rate_m_s
            self.spend(lasts, state.fuel_kg_s * lasts)
        if down:
            sky = self.sky(end + how.circuit_height_m)
            self.spend(how.approach_s, cruise.holding(ONE, sky, self.weight, mixture="rich").fuel_kg_s * how.approach_s)
        ends = [direct(*p, b, float(d)) for p, b, d in zip(places, bearings, distances, strict=True)]
        return [(lat, lon) for lat, lon, _ in ends], [at_end for *_, at_end in ends]

    @property
    def burnt_m3(self):
        return ((self.ramp - self.weight) / AIRFRAME.fuel_density_kg_m3)[:, 0]


def marched(winds, bearings, distances, trip):
    flight = Marched(winds, 860.0, float(to_si(34, "usgal")), len(distances))
    down = trip != TURNED
    there, courses = flight.fly([(43.56, -116.22)] * len(distances), bearings, distances, 870.0, 870.0, down=down)
    if trip != ONE_WAY:
        flight.fly(there, [c + 180.0 for c in courses], distances, 870.0, 870.0, up=down)
    return flight


def test_without_wind_the_reach_is_a_circle_to_a_thousandth():
    found = far(bearings=72)
    assert np.ptp(found.median_m) <= 1e-3 * found.median_m.mean()
    ring = polygon(found, "median")["geometry"]["coordinates"][0]
    away = [inverse(43.56, -116.22, lat, lon)[0] for lon, lat in ring]
    assert away == pytest.approx([found.median_m[0]] * 73, rel=1e-3)
    assert 300_000 < found.median_m[0] < 1_500_000


WINDS = {"one wind": ((0.0, 270, 35),), "by height": ((0.0, 200, 5), (1500.0, 240, 20), (3000.0, 300, 45)), "calm": ()}


@pytest.mark.parametrize("trip", [ONE_WAY, TURNED, LANDED])
@pytest.mark.parametrize("winds", WINDS.values(), ids=WINDS)
def test_direct_integration_over_the_same_line_agrees_to_a_thousandth(winds, trip):
    found = far(winds, trip)
    budget = float(to_si(34 - 6, "usgal"))
    lines = [(i, k) for i in (1, 6) for k in (0.999, 1.001)]
    flight = marched(winds, [found.bearings_deg[i] for i, _ in lines], [found.median_m[i] * k for i, k in lines], trip)
    for j, i in enumerate((1, 6)):
        less, more = flight.burnt_m3[2 * j:2 * j + 2]
        assert less < budget < more
        sooner, later = flight.clock[2 * j:2 * j + 2, 0]
        assert sooner < found.time_s[i] < later


@pytest.mark.parametrize("bearing", [0, 3, 6])
def test_the_flight_of_the_timeline_to_that_place_leaves_what_is_required(bearing):
    """`fly` takes one weight and one course a leg, so that it agrees to half a per cent of the fuel only."""
    wind = ((0.0, 250, 25),)
    found = far(wind)
    s, d = found.start, found.median_m[bearing]
    lat, lon, _ = direct(s.lat_deg, s.lon_deg, found.bearings_deg[bearing], d)
    leg = leg_between(0, Point("a", s.lat_deg, s.lon_deg), Point("b", lat, lon), date(2026, 7, 11))
    ramp = s.dry_kg + s.on_board_m3 * AIRFRAME.fuel_density_kg_m3
    flown = fly((leg,), air(*wind), ONE, HOW, ramp, 870.0, 870.0, np.zeros(1))
    assert flown.total("burn_m3").item() == pytest.approx((s.on_board_m3 - s.required_m3).item(), rel=5e-3)


def test_turning_back_without_climb_is_the_point_of_no_return():
    """`no_return` is checked against a published figure as ET-03 of calc; here endurance is the fuel over the flow."""
    how = replace(HOW, cruise_altitude_m=1001.0, taxi_fuel_m3=0.0, approach_s=0.0, circuit_height_m=0.0)
    found = far(((0.0, 0, 20),), TURNED, how=how, elevation=1000.0, gallons=20.0)
    state = cruise.at_rpm(ONE, Air(1001.0, air().middle_temperature_k(1001.0)), 860 + 13 * 2.72, 40.0)
    endurance = float(to_si(14, "usgal")) * AIRFRAME.fuel_density_kg_m3 / state.fuel_kg_s.item()
    out, home = (state.tas_m_s.item() + k * 20 * KT for k in (-1, 1))
    assert found.median_m[0] == pytest.approx(no_return(endurance, out, home)[1], rel=3e-3)
    assert found.median_m[4] == pytest.approx(found.median_m[0], rel=3e-3)  # the wind from both sides on one line


@FAST
@given(st.floats(15, 38), st.floats(0.5, 6), st.sampled_from([ONE_WAY, TURNED, LANDED]), st.floats(0, 40))
def test_more_fuel_is_never_less_reach_and_more_reserve_never_more(gallons, extra, trip, wind):
    base, fuller, stricter = (far(((0.0, 230, wind),), trip, MANY, gallons=gallons + a, reserve=5 + b)
                              for a, b in ((0, 0), (extra, 0), (0, extra)))
    assert np.all(fuller.distance_m >= base.distance_m)
    assert np.all(stricter.distance_m <= base.distance_m)


def test_more_load_is_never_more_reach():
    assert np.all(far(model=MANY, dry=900.0).distance_m < far(model=MANY, dry=800.0).distance_m)


def test_there_and_back_in_still_air_is_half_the_way_and_less_with_a_landing():
    one, turned, landed = (far((), trip, MANY) for trip in (ONE_WAY, TURNED, LANDED))
    assert turned.distance_m == pytest.approx(one.distance_m / 2, rel=1e-4)
    assert np.all(landed.distance_m < turned.distance_m)


def test_wind_only_takes_from_there_and_back_and_the_worse_way_bounds_it():
    """Each way takes its share: 1/there-and-back is 1/out + 1/home, so less than half of the better, less than the worse."""
    wind = ((0.0, 270, 30),)
    one, turned, calm = far(wind), far(wind, TURNED), far((), TURNED)
    home = np.roll(one.median_m, 4)
    assert np.all(turned.median_m < calm.median_m)
    assert np.all(turned.median_m < np.maximum(one.median_m, home) / 2)
    assert np.all(turned.median_m < np.minimum(one.median_m, home))
    assert turned.median_m == pytest.approx(1 / (1 / one.median_m + 1 / home), rel=0.02)


def test_at_the_equator_the_reach_is_the_same_on_both_sides_of_the_wind():
    found = far(((0.0, 270, 30),), lat=0.0, bearings=16).median_m
    assert found == pytest.approx(found[(8 - np.arange(16)) % 16], rel=1e-6)
    assert found[4] > found[0] > found[12]


def test_more_headwind_is_less_reach_against_it():
    against = [far(((0.0, 270, v),)).median_m[6] for v in (0, 15, 30, 60)]
    assert against == sorted(against, reverse=True)


def test_a_wind_stronger_than_the_airspeed_leaves_no_reach_and_says_so():
    found = far(((0.0, 270, 130),), bearings=36)
    assert found.median_m[27] == 0 and "wind is stronger" in found.why[27]
    assert found.median_m[9] > 0 and found.why[9] == ""
    shape = polygon(found, "low")
    assert shape["properties"]["no_reach"]["270"] == found.why[27]
    (ring,) = valid(shape)
    assert ring.count([-116.22, 43.56]) in (1, 2)  # the start is the corner of the sector, once or as the closing point


def test_too_little_fuel_a_level_too_high_and_a_power_too_great_each_have_their_reason():
    assert not far(gallons=7.5).median_m.any()
    assert "does not cover" in far(gallons=7.5).why[0]
    assert "cannot climb" in far(how=replace(HOW, cruise_altitude_m=4800.0), dry=1200.0).why[0]
    assert "above its limit" in far(how=replace(HOW, power_rev_s=46.0)).why[0]
    assert "not possible" in far(how=replace(HOW, power_rev_s=23.0)).why[0]
    assert polygon(far(gallons=7.5))["geometry"] is None
    assert polygon(far(((0.0, 270, 130),)))["geometry"] is None  # one bearing alone has no area
    assert inside(far(gallons=7.5), [place("NEAR", 43.6, -116.2)]) == ((), ())


def test_the_band_opens_with_the_draws_and_the_owners_share_lowers_the_low_end():
    found = far(model=MANY)
    assert np.all(found.low_m < found.median_m) and np.all(found.median_m < found.high_m)
    certain = far(contingency=0.2)
    assert certain.low_m == pytest.approx(far().low_m / 1.2, rel=0.02)
    assert np.array_equal(certain.median_m, far().median_m)


def area(ring):
    x, y = np.array(ring).T
    return 0.5 * np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])


def valid(feature):
    """RFC 7946: 3.1.6 closed rings of four positions or more, outside anticlockwise; 3.1.9 nothing across the antimeridian."""
    again = json.loads(json.dumps(feature))
    assert again["type"] == "Feature" and again["geometry"]["type"] in ("Polygon", "MultiPolygon")
    shape = again["geometry"]
    rings = [shape["coordinates"]] if shape["type"] == "Polygon" else shape["coordinates"]
    for (ring,) in rings:
        assert ring[0] == ring[-1] and len(ring) >= 4
        assert area(ring) > 0
        assert all(-180 <= lon <= 180 and -90 <= lat <= 90 for lon, lat in ring)
        assert all(a != b for a, b in pairwise(ring))
    return [ring for (ring,) in rings]


def test_the_polygon_is_geojson_and_names_level_reserve_band_and_wind_source():
    shape = polygon(far(((0.0, 270, 30),)), "low")
    (ring,) = valid(shape)
    assert len(ring) == 9
    lon, lat = zip(*ring, strict=True)
    assert min(lon) < -116.22 < max(lon) and min(lat) < 43.56 < max(lat)
    p = shape["properties"]
    assert (p["band"], p["trip"], p["origin"], p["wind_source"]) == ("low", ONE_WAY, "HOME", "[aloft] of the request")
    assert p["level"]["value"] == pytest.approx(7500) and p["reserve"]["value"] == pytest.approx(6)
    assert p["no_reach"] == {}


@pytest.mark.parametrize("lon", [179.0, -179.5, 180.0, -180.0])
def test_across_the_antimeridian_it_is_two_pieces_of_the_same_area(lon):
    whole = valid(polygon(far(lon=0.0, lat=-17.0, bearings=36)))
    parts = valid(polygon(far(lon=lon, lat=-17.0, bearings=36)))
    assert len(whole) == 1 and len(parts) == 2
    assert sum(map(area, parts)) == pytest.approx(area(whole[0]), rel=1e-3)
    assert {max(x for x, _ in ring) == 180.0 for ring in parts} == {True, False}


@pytest.mark.parametrize(("lat", "edge"), [(88.0, 90.0), (-88.0, -90.0)])
def test_round_a_pole_the_ring_is_closed_along_it(lat, edge):
    rings = valid(polygon(far(lat=lat, lon=20.0, bearings=36)))
    assert max(abs(y) for ring in rings for _, y in ring) == 90.0
    assert {y for ring in rings for _, y in ring if abs(y) == 90.0} == {edge}
    assert sum(np.ptp([x for x, _ in ring]) for ring in rings) == pytest.approx(360.0)


def place(ident, lat, lon, elevation=870.0, *, closed=False):
    return Aerodrome(ident, (ident,), ident, "small_airport", closed, "US", "US-ID", lat, lon, elevation, (), (), "invented", "2026")


def at(found, i, share, ident, elevation=870.0, metres=None):
    lat, lon, _ = direct(found.start.lat_deg, found.start.lon_deg, float(found.bearings_deg[i]),
                         metres or float(share * found.median_m[i]))
    return place(ident, lat, lon, elevation)


@pytest.mark.parametrize("trip", [ONE_WAY, TURNED, LANDED])
def test_aerodromes_inside_are_those_nearer_than_the_reach_on_their_course(trip):
    found = far(((0.0, 270, 30),), trip, MANY)
    places = [at(found, i, share, f"{i}-{share}") for i in range(8) for share in (0.5, 0.998, 1.002, 1.5)]
    certain = [at(found, i, 0, f"low{i}", metres=float(found.low_m[i] * k)) for i in range(8) for k in (0.998,)]
    unsure = [at(found, i, 0, f"unsure{i}", metres=float(found.low_m[i] * k)) for i in range(8) for k in (1.002,)]
    got, refused = inside(found, [*places, *certain, *unsure])
    by = {c.ident: c for c in got}
    assert refused == ()
    assert {x for x in by if "-" in x} == {f"{i}-{share}" for i in range(8) for share in (0.5, 0.998)}
    assert all(by[f"low{i}"].certain and not by[f"unsure{i}"].certain for i in range(8))
    assert [c.distance_m for c in got] == sorted(c.distance_m for c in got)
    for c in got:
        assert c.left_m3[0] <= c.left_m3[1] <= c.left_m3[2]
        assert c.left_m3[1] >= float(to_si(6, "usgal")) - 1e-9
        assert not c.short
    assert by["2-0.5"].course_deg == pytest.approx(90.0, abs=1e-6)


def test_a_place_at_its_own_elevation_and_a_near_one_with_the_whole_climb_counted():
    found = far()
    edge = float(found.median_m[0]) * 0.999
    low, high = at(found, 0, 0, "LOW", 870.0, edge), at(found, 0, 0, "HIGH", 1900.0, edge)
    near = at(found, 2, 0, "NEAR", 870.0, 5000.0)
    by = {c.ident: c for c in inside(found, [low, high, near])[0]}
    assert set(by) == {"LOW", "NEAR"}  # from the level to a high strip there is less descent and more cruise
    assert by["NEAR"].short


def test_of_two_calibrations_the_worse_counts_on_each_bearing_and_for_each_aerodrome():
    better, worse = far(((0.0, 270, 30),), model=MANY), far(((0.0, 270, 30),), model=MANY, dry=900.0, gallons=30.0)
    mixed = joined((better, worse), np.array([0, 1] * 4))
    assert np.array_equal(mixed.median_m, np.where(np.arange(8) % 2, worse.median_m, better.median_m))
    assert np.array_equal(worse_of((better, mixed)).median_m, mixed.median_m)
    assert np.array_equal(worse_of((better, worse)).low_m, worse.low_m)
    places = [at(better, i, share, f"{i}-{share}") for i in range(8) for share in (0.3, 0.6, 0.95)]
    both, one = inside_all([(better, None), (worse, None)], places)[0], {c.ident: c for c in inside(worse, places)[0]}
    assert {c.ident: c.left_m3 for c in both} == {k: c.left_m3 for k, c in one.items()}
    assert all(np.array_equal(c.landing_kg, one[c.ident].landing_kg) for c in both)
    assert len(both) < len(places)


def test_the_reserve_may_differ_by_place_and_is_asked_for_with_the_time_of_the_last_landing():
    found, asked = far(((0.0, 270, 30),), LANDED), {}
    places = [at(found, i, 0.9, f"P{i}") for i in range(8)]

    def required(ident, time_s):
        asked[ident] = time_s
        return None if ident == "P1" else found.start.required_m3 * (2.0 if ident == "P2" else 1.0)

    got, refused = inside(found, places, required)
    assert {c.ident for c in got} == {f"P{i}" for i in range(8)} - {"P1", "P2"}
    assert refused == ("P1 lies where no fuel rules are kept; say place in the request.",)
    assert all(0 < c.time_s < asked[c.ident] for c in got)


def test_the_edge_is_the_median_joined_between_bearings_and_round_north():
    found = far(((0.0, 270, 30),))
    for i in range(8):
        assert covers(found, found.bearings_deg[i], found.median_m[i] * 0.999)
        assert not covers(found, found.bearings_deg[i] - 360.0, found.median_m[i] * 1.001)
    middle = (found.median_m[7] + found.median_m[0]) / 2
    assert covers(found, 337.5, middle * 0.999) and not covers(found, 337.5, middle * 1.001)


def test_closed_unknown_and_too_high_aerodromes_are_named_not_counted():
    found = far()
    closed, blank, peak = (replace(at(found, 1, 0.4, x), closed=x == "SHUT") for x in ("SHUT", "BLANK", "PEAK"))
    got, refused = inside(found, [closed, replace(blank, elevation_m=None), replace(peak, elevation_m=2600.0)])
    assert got == ()
    assert refused == ("SHUT is closed.", "BLANK has no known elevation.", "PEAK lies above the level.")


def test_what_is_not_known_or_not_allowed_is_refused_in_one_sentence():
    with pytest.raises(BadInput, match="reach at 7,500 ft is not known"):
        reach(ONE, air(known=False), HOW, start())
    with pytest.raises(BadInput, match="'round' is not known"):
        far(trip="round")
    with pytest.raises(BadInput, match="too few"):
        far(bearings=4)
    with pytest.raises(BadInput, match="not above the higher end"):
        far(elevation=2500.0)
    with pytest.raises(BadInput, match="band"):
        polygon(far(), "best")
    with pytest.raises(OutOfRange):
        far(how=replace(HOW, cruise_altitude_m=6000.0))
