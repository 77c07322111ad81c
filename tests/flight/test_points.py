"""Last points: the published closed rows come out of the walk; a walk written apart agrees; more is never later."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.flight.airmass import AirMass
from ownship.flight.points import crossing, last_points, last_points_of, place_at, spread
from ownship.flight.route import Point, build_route
from ownship.flight.tanks import BurnPhase, Segment, TankPlan
from ownship.flight.timeline import LegFigures, Part, Timeline
from ownship.physics.wind import wind_triangle
from ownship.units import from_si, to_si
from ownship.world.geodesy import direct, inverse

KT, NM, HOUR = float(to_si(1, "kt")), float(to_si(1, "nm")), 3600.0
FLOW = 1e-5
DAY = date(2026, 7, 11)
FEW = settings(max_examples=40, derandomize=True, deadline=None)


def at(name, lat, lon=0.0):
    return Point(name, lat, lon)


def north(distance_m, name="FAR"):
    """A point due north of 0, 0: the course of every piece of the way is 360 or 180, so that components stay what they are."""
    return at(name, direct(0.0, 0.0, 0.0, distance_m)[0])


def air(north_m_s=0.0, east_m_s=0.0, known=True, noise=None):
    noise = noise or (np.zeros(1), np.zeros(1))
    return AirMass(((0.0, east_m_s, north_m_s),), ((0.0, 288.15),), 101325.0, noise, np.zeros(noise[0].size), known)


def timeline(points, tas_m_s, wind, *, flows=None, taxi=0.0, approach=0.0, climb=None, descent=None):
    """A flight as `fly` lays it out: cruise on every leg; climb = (time, burn, distance) on the first, descent on the last leg."""
    legs = build_route(tuple(points), DAY)
    tas = np.broadcast_to(np.asarray(tas_m_s, dtype=float), (wind.wind_noise_m_s[0].size,))
    one = np.ones(tas.size)
    parts, figures = [Part("start and taxi", None, 600 * one, taxi * one, 0 * one)], []
    for i, leg in enumerate(legs):
        heading, ground, _ = wind_triangle(leg.course_deg, tas, *wind.wind(0.0))
        figures.append(LegFigures(leg, tas, ground, heading, 0.0, 0.0, 288.15))
        way = leg.distance_m * one
        if climb and i == 0:
            parts.append(Part("climb", 0, climb[0] * one, climb[1] * one, climb[2] * one))
            way = way - climb[2]
        if descent and i == len(legs) - 1:
            way = way - descent[2]
        flow = (flows or [FLOW] * len(legs))[i]
        parts.append(Part("cruise", i, way / ground, flow * way / ground, way))
        if descent and i == len(legs) - 1:
            parts.append(Part("descent", i, descent[0] * one, descent[1] * one, descent[2] * one))
    parts.append(Part("approach and landing", None, 360 * one, approach * one, 0 * one))
    return Timeline(tuple(parts), tuple(figures), (flows or [FLOW])[0] * one, one, one, 1.0, False, one)


def only(fuel, draws=1):
    return np.full(draws, fuel)


def tank_plan(flight, stretches, **usable):
    """A plan from (tank, from, to) in seconds after the blocks."""
    phases, clock = [], 0.0
    for p in flight.parts:
        if np.any(p.time_s > 0):
            phases.append(BurnPhase(p.phase, clock, clock + float(p.time_s[0]), p.burn_m3))
            clock += float(p.time_s[0])
    segments = tuple(Segment(t, a, min(b, clock), np.zeros(1), "") for t, a, b in stretches)
    return TankPlan(segments, (), {k: only(v, flight.parts[0].time_s.size) for k, v in usable.items()}, {}, 0.0, "", (), (),
                    tuple(phases))


# published rows
def test_et_03_ten_hours_at_100_and_100_kt_is_500_nm():
    """ET-03: worked example of a public teaching text."""
    flight = timeline([at("HOME", 0.0), north(900 * NM)], 100 * KT, air())
    found = last_points(flight, air(), 0.0, only(10 * HOUR * FLOW), only(0.0), None).no_return
    assert from_si(found.distance_m.median, "nm") == pytest.approx(500, abs=1e-6)
    assert found.time_s.median == pytest.approx(5 * HOUR, abs=1e-3)


def test_et_01_920_nm_240_out_210_home_is_429_nm_and_107_min():
    """ET-01: 920 NM, groundspeed 240 out, 210 home: 107 min, 429 NM (inputs and formula read)."""
    wind = air(15 * KT)
    ends = at("HOME", 0.0), north(920 * NM)
    flight = timeline(ends, 225 * KT, wind)
    found = last_points(flight, wind, 0.0, only(1.0), only(0.0), None, ends).equal_time[0]
    assert from_si(found.distance_m.median, "nm") == pytest.approx(429, abs=1)
    assert found.time_s.median / 60 == pytest.approx(107, abs=1)
    assert from_si(found.distance_m.median, "nm") == pytest.approx(920 * 210 / 450, abs=0.01)


# the closed formulas over their range
@FEW
@given(st.floats(2, 6), st.floats(80, 140), st.floats(-40, 40), st.floats(0, 1))
def test_with_constant_wind_and_flow_the_walk_is_the_closed_formula(hours, tas, wind_kt, reserve_h):
    wind = air(wind_kt * KT)
    out, home = tas + wind_kt, tas - wind_kt
    flight = timeline([at("HOME", 0.0), north(1200 * NM)], tas * KT, wind)
    found = last_points(flight, wind, 0.0, only((hours + reserve_h) * HOUR * FLOW), only(reserve_h * HOUR * FLOW), None).no_return
    assert found.distance_m.median == pytest.approx(hours * out * home / (out + home) * NM, rel=1e-9)
    assert found.time_s.median == pytest.approx(hours * home / (out + home) * HOUR, rel=1e-9)


@FEW
@given(st.floats(100, 900), st.floats(80, 140), st.floats(-40, 40), st.floats(-30, 30))
def test_equal_time_is_the_closed_formula_with_any_constant_wind(distance, tas, wind_kt, across):
    wind = air(wind_kt * KT, across * KT)
    ends = at("HOME", 0.0), north(distance * NM)
    flight = timeline(ends, tas * KT, wind)
    out, home = (float(wind_triangle(c, tas * KT, *wind.wind(0.0))[1][0]) for c in (0.0, 180.0))
    found = last_points(flight, wind, 0.0, only(1.0), only(0.0), None, ends).equal_time[0]
    assert found.distance_m.median == pytest.approx(distance * NM * home / (out + home), rel=1e-6)
    assert found.time_s.median == pytest.approx(found.distance_m.median / out, rel=1e-9)


# the real walk: taxi, climb, legs that turn, flows that fall, approach
TURNING = (at("HOME", 0.0), at("ALFA", 1.2, 0.4), at("BRAVO", 1.5, 1.9), at("FAR", 3.0, 1.0))
CLIMB, DESCENT = (700.0, 0.012, 30000.0), (600.0, 0.004, 36000.0)


def turning(wind):
    return timeline(TURNING, 55.0, wind, flows=[1.05e-5, 1.0e-5, 0.95e-5], taxi=0.004, approach=0.003, climb=CLIMB, descent=DESCENT)


def fuel_back_at_home(flight, wind, distance_m, aboard):
    """Fuel left after flying out to a distance, back and landing: written apart, metre by metre of the parts."""
    left, gone, home = aboard - 0.004 - 0.003, 0.0, 0.0
    for p in flight.parts:
        if p.leg is None or p.phase == "descent":
            continue
        way = min(float(p.distance_m[0]), distance_m - gone)
        if way <= 0:
            continue
        leg = flight.legs[p.leg]
        back = float(wind_triangle(leg.leg.course_deg - 180, leg.tas_m_s, *wind.wind(0.0))[1][0])
        left -= float(p.burn_m3[0]) * way / float(p.distance_m[0])
        home += way / back * [1.05e-5, 1.0e-5, 0.95e-5][p.leg]
        gone += way
    return left - home


@FEW
@given(st.floats(0.05, 0.16), st.floats(-18, 18), st.floats(-18, 18))
def test_the_fuel_of_the_point_brings_the_aeroplane_home_with_just_the_reserve(aboard, north_m_s, east_m_s):
    wind, reserve = air(north_m_s, east_m_s), 0.02
    flight = turning(wind)
    found = last_points(flight, wind, 0.0, only(aboard), only(reserve), None).no_return
    top = sum(leg.leg.distance_m for leg in flight.legs) - DESCENT[2]
    if found.distance_m is None:
        assert found.beyond
        assert fuel_back_at_home(flight, wind, top, aboard) >= reserve
    else:
        assert fuel_back_at_home(flight, wind, found.distance_m.median, aboard) == pytest.approx(reserve, abs=1e-9)
        assert found.distance_m.median <= top + 1e-6


@FEW
@given(st.floats(0.06, 0.1), st.floats(2, 18), st.floats(0, 360))
def test_wind_from_anywhere_brings_the_point_nearer_than_calm(aboard, speed, from_deg):
    """On one leg: a headwind costs more time than the tailwind saves, a crosswind slows both ways."""
    ends = at("HOME", 0.0), north(900 * NM)
    wind = air(speed * np.cos(np.radians(from_deg)), speed * np.sin(np.radians(from_deg)))
    calm = last_points(timeline(ends, 55.0, air()), air(), 0.0, only(aboard), only(0.0), None).no_return
    windy = last_points(timeline(ends, 55.0, wind), wind, 0.0, only(aboard), only(0.0), None).no_return
    assert windy.distance_m.median < calm.distance_m.median


@FEW
@given(st.floats(0.05, 0.12), st.floats(0, 0.03), st.floats(0.0005, 0.01))
def test_more_reserve_or_less_fuel_is_never_later(aboard, reserve, step):
    wind = air(6.0, -4.0)
    flight = turning(wind)

    def way(fuel, kept):
        found = last_points(flight, wind, 0.0, only(fuel), only(kept), None).no_return
        if found.distance_m is None:
            return np.inf if found.beyond else -np.inf
        return found.distance_m.median

    assert way(aboard, reserve + step) <= way(aboard, reserve)
    assert way(aboard - step, reserve) <= way(aboard, reserve)


# one tank not feeding
def test_one_tank_lost_takes_all_that_is_left_in_it():
    """6 h in the left tank, flown on; 4 h in the right: at t out, 4 h home at equal speed, so both ways are 4 h without it."""
    flight = timeline([at("HOME", 0.0), north(900 * NM)], 100 * KT, air())
    plan = tank_plan(flight, [("left", 0, 1e9)], left=6 * HOUR * FLOW, right=4 * HOUR * FLOW)
    found = last_points(flight, air(), 0.0, only(10 * HOUR * FLOW), only(0.0), plan)
    left, right = found.one_tank
    assert (left.tank, right.tank) == ("left", "right")
    assert left.distance_m.median / NM == pytest.approx(400, abs=1e-6)  # the right one holds 4 h at any moment
    assert right.distance_m.median / NM == pytest.approx(300, abs=1e-6)  # the left one holds 6 h less the time out
    assert found.worse is right


def test_a_change_of_tank_bends_the_fuel_that_remains_at_its_own_moment():
    """2 h on the left tank, then on the right: after the change the right one holds 4 h less what it gave."""
    flight = timeline([at("HOME", 0.0), north(900 * NM)], 100 * KT, air())
    plan = tank_plan(flight, [("left", 0, 600 + 2 * HOUR), ("right", 600 + 2 * HOUR, 1e9)], left=6 * HOUR * FLOW, right=4 * HOUR * FLOW)
    left, right = last_points(flight, air(), 0.0, only(10 * HOUR * FLOW), only(0.0), plan).one_tank
    assert left.distance_m.median / NM == pytest.approx(300, abs=1e-6)  # 4 - (t - 2) = t: t = 3 h
    assert right.distance_m.median / NM == pytest.approx(400, abs=1e-6)  # the left one stays at 4 h


def test_with_both_tanks_feeding_each_gives_half():
    flight = timeline([at("HOME", 0.0), north(900 * NM)], 100 * KT, air())
    plan = tank_plan(flight, [("left+right", 0, 1e9)], left=3 * HOUR * FLOW, right=3 * HOUR * FLOW)
    left, right = last_points(flight, air(), 0.0, only(6 * HOUR * FLOW), only(0.0), plan).one_tank
    assert left.distance_m.median / NM == pytest.approx(200, abs=1e-6)  # 3 - t/2 = t
    assert right.distance_m == left.distance_m


@FEW
@given(st.floats(0.02, 0.07), st.floats(0.02, 0.07), st.floats(1200, 9000), st.floats(-15, 15))
def test_a_tank_lost_is_never_later_than_none_lost(left, right, change_s, north_m_s):
    wind = air(north_m_s, 3.0)
    flight = turning(wind)
    plan = tank_plan(flight, [("left", 0, change_s), ("right", change_s, 1e9)], left=left, right=right)
    found = last_points(flight, wind, 0.0, only(left + right), only(0.005), plan)
    whole = np.inf if found.no_return.beyond else found.no_return.distance_m.median if found.no_return.distance_m else -np.inf
    for point in found.one_tank:
        if point.distance_m:
            assert point.distance_m.median <= whole + 1e-6
        elif point.beyond:
            assert found.no_return.beyond


def test_a_tank_that_cannot_be_spared_even_at_take_off_is_the_worse_and_said():
    flight = timeline([at("HOME", 0.0), north(900 * NM)], 100 * KT, air())
    plan = tank_plan(flight, [("left", 0, 1e9)], left=6 * HOUR * FLOW, right=0.2 * HOUR * FLOW)
    found = last_points(flight, air(), 0.0, only(6.2 * HOUR * FLOW), only(0.5 * HOUR * FLOW), plan)
    assert found.worse.tank == "left" and found.worse.distance_m is None and not found.worse.beyond
    assert "take-off" in found.worse.words and "left" in found.worse.words


def test_one_tank_only_has_no_such_point_and_no_plan_says_so():
    flight = timeline([at("HOME", 0.0), north(900 * NM)], 100 * KT, air())
    one = last_points(flight, air(), 0.0, only(0.3), only(0.0), tank_plan(flight, [("main", 0, 1e9)], main=0.3))
    assert one.one_tank == () and one.worse is None
    assert "no tank plan" in last_points(flight, air(), 0.0, only(0.3), only(0.0), None).worse.words


# none, and not known
def test_enough_fuel_for_the_whole_way_is_said_to_be_beyond_never_a_point():
    flight = turning(air())
    found = last_points(flight, air(), 0.0, only(1.0), only(0.0), None).no_return
    assert found.distance_m is None and found.time_s is None and found.beyond
    assert "descent" in found.words


def test_no_reserve_no_wind_or_no_flight_is_not_known():
    flight = timeline([at("HOME", 0.0), north(900 * NM)], 100 * KT, air())
    ends = at("HOME", 0.0), north(900 * NM)
    calm = last_points(flight, air(known=False), 0.0, only(0.1), only(0.0), None, ends)
    for p in (calm.no_return, calm.worse, *calm.equal_time):
        assert p.distance_m is None and not p.beyond and "[aloft]" in p.words
    assert "reserve is not known" in last_points(flight, air(), 0.0, only(0.1), None, None).no_return.words
    unflown = timeline(ends, float("nan"), air())
    found = last_points(unflown, air(), 0.0, only(0.1), only(0.0), None, ends)
    assert "cannot be flown" in found.no_return.words and "cannot be flown" in found.equal_time[0].words


def test_a_leg_that_cannot_be_flown_back_against_the_wind_ends_the_way_at_its_beginning():
    """Out with 35 m/s behind at 30 m/s: there is no way back on the second leg."""
    wind = air(35.0)
    points = at("HOME", 0.0), at("EAST", 0.0, 0.001), at("FAR", 3.0, 0.001)
    legs = build_route(points, DAY)
    tas, one = only(40.0), only(1.0)
    ground = [float(wind_triangle(x.course_deg, 40.0, *wind.wind(0.0))[1][0]) for x in legs]
    figures = tuple(LegFigures(x, only(t), only(g), one, 0.0, 0.0, 288.15) for x, t, g in zip(legs, (40.0, 30.0), ground, strict=True))
    parts = (Part("start and taxi", None, only(600.0), only(0.0), only(0.0)),
             *(Part("cruise", i, x.distance_m / only(g), FLOW * x.distance_m / only(g), only(x.distance_m))
               for i, (x, g) in enumerate(zip(legs, ground, strict=True))))
    flight = Timeline(parts, figures, only(FLOW), one, one, 1.0, False, tas)
    found = last_points(flight, wind, 0.0, only(1.0), only(0.0), None).no_return
    assert found.distance_m.median == pytest.approx(legs[0].distance_m)


# the band
def test_the_band_is_that_of_the_draws_and_the_shares_are_said():
    noise = (np.zeros(101), np.linspace(-20, 20, 101))
    wind = air(noise=noise)
    ends = at("HOME", 0.0), north(900 * NM)
    flight = timeline(ends, 55.0, wind)
    one_by_one = []
    for n in noise[1]:
        alone = air(n)
        one_by_one.append(last_points(timeline(ends, 55.0, alone), alone, 0.0, only(0.1), only(0.0), None).no_return.distance_m.median)
    found = last_points(flight, wind, 0.0, only(0.1, 101), only(0.0, 101), None).no_return
    assert (found.distance_m.low, found.distance_m.median, found.distance_m.high) == pytest.approx(tuple(sorted(one_by_one)[i] for i in (5, 50, 95)))
    mixed = last_points(flight, wind, 0.0, np.where(np.arange(101) < 3, 0.0, 0.1), only(0.001, 101), None).no_return
    assert "In 3% of the cases" in mixed.words and "take-off" in mixed.words


def test_a_point_that_only_some_draws_have_shows_its_low_end_and_no_middle():
    draws = np.linspace(0.02, 0.4, 101)
    flight = timeline([at("HOME", 0.0), north(200 * NM)], 55.0, air(noise=(np.zeros(101), np.zeros(101))))
    found = last_points(flight, air(noise=(np.zeros(101), np.zeros(101))), 0.0, draws, only(0.0, 101), None).no_return
    assert found.distance_m.low is not None and found.distance_m.median is None and found.distance_m.high is None
    assert "of the cases: Not before the descent" in found.words
    assert found.position_deg == pytest.approx(place_at(tuple(f.leg for f in flight.legs), found.distance_m.low)[1:])


def test_a_crossing_lies_on_the_straight_line_and_infinities_never_become_numbers():
    values = np.array([[0.0] * 5, [10.0] * 5, [20.0] * 5])
    balance = np.array([[4.0, -1.0, 5.0, np.nan, np.inf], [-4.0, -2.0, 4.0, 1.0, -3.0], [-9.0, -3.0, 3.0, -1.0, -4.0]])
    np.testing.assert_allclose(crossing(balance, values), [5.0, -np.inf, np.inf, np.nan, 10.0])
    found = spread(np.array([-np.inf, 1.0, np.inf]), 0.5)
    assert (found.low, found.median, found.high) == (0.5, 1.0, None)


# aerodromes on the way
def test_each_two_that_follow_each_other_have_their_point_in_the_order_of_the_way():
    ends = at("HOME", 0.0), north(400 * NM)
    near = (ends[1], at("MID", 3.0, 0.15), ends[0], at("MID", 3.0, 0.15), at("TOWN", 3.0, -0.16))
    found = last_points(timeline(ends, 55.0, air()), air(), 0.0, only(1.0), only(0.0), None, near).equal_time
    assert [p.name for p in found] == ["equal time HOME and MID", "equal time MID and FAR"]
    for p, (a, b) in zip(found, ((ends[0], near[1]), (near[1], ends[1])), strict=True):
        to_a, to_b = (inverse(*p.position_deg, x.lat_deg, x.lon_deg)[0] for x in (a, b))
        assert to_a == pytest.approx(to_b, abs=20)  # calm: equally far


def test_one_far_off_the_way_that_is_never_the_nearer_has_no_point():
    ends = at("HOME", 0.0), north(100 * NM)
    flight, both = timeline(ends, 55.0, air()), (ends[0], at("OFF", 0.5, 3.0))
    found = last_points(flight, air(), 0.0, only(1.0), only(0.0), None, both, near_m=300 * NM).equal_time
    assert last_points(flight, air(), 0.0, only(1.0), only(0.0), None, both).equal_time == ()  # not near the way
    assert found[0].distance_m is None and found[0].beyond and "HOME is still nearer" in found[0].words


def test_where_some_draws_have_passed_it_already_the_band_begins_where_the_way_passes_the_first():
    """Wind from astern pushes the point of equal time behind the first aerodrome's place on the way."""
    ends = at("HOME", 0.0), north(200 * NM)
    pair = at("OFF", 0.5, 0.45), at("NEXT", 1.0, 0.0)
    noise = (np.zeros(101), np.linspace(-30, 30, 101))
    wind = air(noise=noise)
    found = last_points(timeline(ends, 60.0, wind), wind, 0.0, only(1.0, 101), only(0.0, 101), None, pair, near_m=50 * NM).equal_time[0]
    station = inverse(0.0, 0.0, 0.5, 0.0)[0]
    assert "already nearer" in found.words
    assert found.distance_m.low == pytest.approx(station, abs=2500)
    assert found.time_s.low > 0


def test_a_headwind_out_brings_the_equal_time_point_nearer_the_destination():
    ends = at("HOME", 0.0), north(400 * NM)
    def way(n):
        return last_points(timeline(ends, 55.0, air(n)), air(n), 0.0, only(1.0), only(0.0), None, ends).equal_time[0].distance_m.median
    assert way(-10.0) > way(0.0) > way(10.0)


# a whole flight
def test_the_demo_has_its_last_points_from_its_own_timeline_and_tank_plan():
    from ownship.flight import assessment
    from ownship.flight.route import point_of
    from ownship.questions.check import demo_aeroplane, demo_flight, situation

    s = situation(demo_aeroplane(), demo_flight())
    aboard = assessment.aboard_of(s)
    flown = assessment.fly(s, aboard)[0]
    plan = assessment.tank_plan_of(s, aboard, flown)
    near = tuple(point_of(a.ident, a) for a in s.near if a.ident in {s.points[0].name, s.points[-1].name})
    found = last_points_of(s, flown, plan, near)
    assert {p.tank for p in found.one_tank} == {t.id for t in s.record.tanks}
    assert found.worse in found.one_tank
    assert len(found.equal_time) == 1
    point = found.equal_time[0]
    total = sum(leg.distance_m for leg in s.legs)
    assert 0 < point.distance_m.low < point.distance_m.median < point.distance_m.high < total
    for p in (found.no_return, *found.one_tank):
        assert p.distance_m is not None or p.words
