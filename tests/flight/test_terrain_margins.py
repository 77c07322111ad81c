"""The ground in the assessment: made-up tiles under the demo's route; the higher source counts; a gap is not known."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st

from ownship.flight import judge_terrain
from ownship.flight.assessment import assess
from ownship.flight.flown import fly_once
from ownship.flight.fuel import on_board
from ownship.flight.judge_route import highest_ground_m, level_margins, route_obstacles
from ownship.flight.judge_terrain import climb_path, cold_error_m, ground_on_legs, path_margins, terrain_margins
from ownship.flight.request import OwnMinima
from ownship.questions.check import demo_aeroplane, demo_flight, situation
from ownship.units import to_si
from ownship.words.verdicts import NOT_KNOWN, ORDER, OUTSIDE, OWN_MINIMUM, PERFORMANCE, WITHIN
from ownship.world.geodesy import along, direct
from ownship.world.terrain import VOID, Terrain

NM, FT = float(to_si(1, "nm")), float(to_si(1, "ft"))
BASE_M = 700
FLAT = np.full((1201, 1201), BASE_M, dtype=">i2")
FAST = examples(max_examples=12, derandomize=True, deadline=None)


@cache
def demo():
    return situation(demo_aeroplane(), demo_flight())


@cache
def flown():
    s = demo()
    return fly_once(s, s.calibrations.models()[0], on_board(s.request, s.record, s.errors, s.chance), np.full(s.draws, 950.0))


def of(*heights, missing=()):
    """Flat ground with single posts (lat, lon, m) in it; whole tiles missing by their south-west corner."""
    tiles = {}
    for lat, lon, height in heights:
        corner = int(np.floor(lat)), int(np.floor(lon))
        posts = tiles.setdefault(corner, FLAT.copy())
        posts[round((corner[0] + 1 - lat) * 1200), round((lon - corner[1]) * 1200)] = height
    return Terrain(lambda south, west: None if (south, west) in missing else tiles.get((south, west), FLAT), "made-up tiles")


def over(terrain, s=None, **change):
    s = s or demo()
    return replace(s, terrain=terrain, request=replace(s.request, **change))


def spot(way_nm, aside_nm=0.0, *, leg=0, back=False):
    """A place so far along a leg (or back from its end), so far to the right."""
    at = demo().legs[leg]
    ends = (at.start.lat_deg, at.start.lon_deg, at.end.lat_deg, at.end.lon_deg)
    lat, lon = along(*ends, at.distance_m - way_nm * NM if back else way_nm * NM)
    return direct(lat, lon, at.course_deg + 90, aside_nm * NM)[:2]


def ids(margins):
    return {m.id: m for m in margins}


def clearance_ft(margin):
    return margin.margin.value


# ---- the cruise over each leg


def test_a_ridge_is_found_at_its_height_and_the_clearance_is_the_cruise_less_it():
    # July, 34 C: warmer than standard, so nothing is taken off for cold
    s = over(of((*spot(16, 2), 2800)), ground_m=None)
    first, second = terrain_margins(s)
    assert ground_on_legs(s)[0][0] == 2800.0 and ground_on_legs(s)[1][0] == BASE_M
    assert clearance_ft(first) == pytest.approx(9500 - 2800 / FT, abs=0.01)
    assert clearance_ft(second) == pytest.approx(9500 - BASE_M / FT, abs=0.01)
    assert (first.id, first.verdict, first.kind) == ("terrain.1", WITHIN, PERFORMANCE)
    assert "made-up tiles" in first.source and "9,186 ft" in first.words and "4 nm either side" in first.words


@pytest.mark.parametrize(("typed", "counts"), [(2000.0, 2500.0), (2500.0, 2500.0), (2600.0, 2600.0)])
def test_of_tiles_and_typed_ground_the_higher_counts(typed, counts):
    s = over(of((*spot(16), 2500)), ground_m=(typed, typed))
    assert highest_ground_m(s, 0) == counts
    assert clearance_ft(terrain_margins(s)[0]) == pytest.approx(9500 - counts / FT, abs=0.01)


def test_without_tiles_the_typed_ground_is_judged_as_ever():
    s = over(None)
    assert [clearance_ft(m) for m in terrain_margins(s)] == pytest.approx([1300.0, 600.0])
    assert [g[0] / FT for g in ground_on_legs(s)] == pytest.approx([8200.0, 8900.0])


def test_neither_tiles_nor_typed_ground_is_no_height_and_no_pass():
    s = over(None, ground_m=None)
    assert [g[0] for g in ground_on_legs(s)] == [None, None]
    assert all("No tiles" in g[1] for g in ground_on_legs(s))
    assert terrain_margins(s) == []
    assert any("Ground along the route" in text for text in assess(s).not_checked)


def test_ground_typed_for_one_leg_leaves_the_other_not_known():
    first, second = terrain_margins(over(None, ground_m=(2400.0,)))
    assert first.verdict == WITHIN
    assert second.verdict == NOT_KNOWN and second.available is None


@pytest.mark.parametrize("gap", [of((*spot(16, 2), VOID)), of(missing={(43, -117)})])
def test_a_void_or_a_missing_tile_is_not_known_and_says_what_to_do(gap):
    margin = terrain_margins(over(gap, ground_m=None))[0]
    assert margin.verdict == NOT_KNOWN
    assert "no height in the tiles" in margin.words and "give [ground] highest" in margin.words
    assert ground_on_legs(over(gap, ground_m=None))[0][0] is None


def test_in_a_gap_typed_ground_stands_in_but_never_below_what_the_tiles_hold():
    gap = of((*spot(16, 2), VOID), (*spot(20), 2500))
    assert [highest_ground_m(over(gap, ground_m=(h, h)), 0) for h in (2400.0, 2600.0)] == [2500.0, 2600.0]
    assert terrain_margins(over(gap, ground_m=(2400.0, 2400.0)))[0].verdict == WITHIN


def test_known_ground_above_the_cruise_is_outside_whatever_the_gaps_hide():
    gap = of((*spot(16, 2), VOID), (*spot(20), 3000))
    margin = terrain_margins(over(gap, ground_m=None))[0]
    assert margin.verdict == OUTSIDE and "of what they hold" in margin.words


def test_the_corridor_is_four_miles_and_five_in_instrument_flight_without_a_minimum_altitude():
    terrain = of((*spot(16, 4.5), 2500))
    assert highest_ground_m(over(terrain, ground_m=None), 0) == BASE_M
    assert highest_ground_m(over(terrain, ground_m=None, rules="IFR"), 0) == 2500.0
    assert highest_ground_m(over(terrain, ground_m=None, rules="IFR", minimum_altitude_m=2800.0), 0) == BASE_M


def test_the_own_minimum_is_required_where_there_is_one():
    terrain = of((*spot(16), 2500))
    own = OwnMinima(obstacle_clearance_m=2000 * FT)
    margin = terrain_margins(over(terrain, ground_m=None, own=own))[0]
    assert (margin.kind, margin.verdict) == (OWN_MINIMUM, OUTSIDE)
    assert clearance_ft(margin) == pytest.approx(9500 - 2500 / FT - 2000, abs=0.01)


def test_beyond_the_tiles_latitudes_the_ground_is_not_known():
    judge_terrain._corridor.cache_clear()
    assert judge_terrain._corridor(of(), (84.9, 10.0, 85.5, 10.0), 4 * NM).known_m is None


def winter(temperature_k):
    """The demo's flight with another temperature everywhere (none: nowhere)."""
    s = demo()
    weather = {k: replace(w, temperature_k=temperature_k, dew_point_k=None) for k, w in s.request.weather.items()}
    aloft = () if temperature_k is None else tuple(replace(x, temperature_k=temperature_k - 20) for x in s.request.aloft)
    return over(of((*spot(16), 2500)), ground_m=None, weather=weather, aloft=aloft)


def test_cold_takes_clearance_away_and_more_cold_more():
    # form of ICAO Doc 8168 (from memory) by hand: 6,629 ft above a station at 2,871 ft with -20 C, -14.3 C brought to sea
    # level: 6,629 x 29.3 / (258.7 - 9.4) = 779 ft
    rooms = [clearance_ft(terrain_margins(winter(k))[0]) for k in (300.0, 273.15, 253.15)]
    assert rooms[0] == pytest.approx(9500 - 2500 / FT, abs=0.01)
    assert rooms[0] > rooms[1] + 200 > rooms[2] + 400
    s = winter(253.15)
    assert float(np.median(cold_error_m(s, s.request.cruise_altitude_m))) == pytest.approx(779 * FT, abs=3)


def test_without_any_temperature_the_clearance_is_not_known():
    margin = terrain_margins(winter(None))[0]
    assert margin.verdict == NOT_KNOWN and "No temperature" in margin.words


# ---- the climb and the descent


def test_the_climb_path_is_the_timelines_and_flattens():
    s = over(of())
    heights, ways = climb_path(s, flown())
    np.testing.assert_allclose(ways[-1], flown().timeline.total("distance_m", ("climb",)))
    assert heights[0] == s.points[0].elevation_m and heights[-1] == s.request.cruise_altitude_m
    assert np.all(np.diff(ways, axis=0) > 0)
    straight = heights[0] + (heights[-1] - heights[0]) * ways / ways[-1]
    assert np.all(straight[1:-1] < heights[1:-1, None])


def path(terrain, **change):
    return ids(path_margins(over(terrain, **change), flown()))


def test_without_tiles_there_is_no_margin_of_the_climb():
    assert path_margins(over(None), flown()) == []


def test_a_ridge_across_the_climb_counts_at_the_altitude_of_the_climb_there():
    free = path(of())
    ridge = path(of((*spot(6), 1500)))
    assert free["terrain.climb"].verdict == WITHIN
    heights, ways = climb_path(demo(), flown())
    low = np.median([np.interp(5 * NM, ways[:, i], heights) for i in range(ways.shape[1])])
    high = np.median([np.interp(6 * NM, ways[:, i], heights) for i in range(ways.shape[1])])
    assert (low - 1500) / FT - 1 < clearance_ft(ridge["terrain.climb"]) < (high - 1500) / FT + 1
    assert ridge["terrain.climb"].verdict == (WITHIN if low > 1500 else OUTSIDE)
    assert path(of((*spot(6), 2400)))["terrain.climb"].verdict == OUTSIDE
    assert clearance_ft(ridge["terrain.descent"]) == clearance_ft(free["terrain.descent"])


def test_the_descent_is_judged_back_from_the_destination():
    # KU79 lies at 5,765 ft: a straight descent is 1,500 ft over it some 5 nm out
    ridge = path(of((*spot(5, leg=1, back=True), 2600)))
    assert ridge["terrain.descent"].verdict == OUTSIDE
    assert "KU79" in ridge["terrain.descent"].words and "left out" in ridge["terrain.descent"].words
    assert ridge["terrain.climb"].verdict == WITHIN


def test_the_climb_is_followed_round_a_turning_point():
    turn = spot(8.0, 6.0)  # 10 nm out, to the right of the straight course
    s = over(of(), ground_m=None, via=(f"{turn[0]:.4f},{turn[1]:.4f}",))
    made = fly_once(s, s.calibrations.models()[0], on_board(s.request, s.record, s.errors, s.chance), np.full(s.draws, 950.0))
    first, second = s.legs
    on_second = along(second.start.lat_deg, second.start.lon_deg, second.end.lat_deg, second.end.lon_deg, 4 * NM)
    ridge = ids(path_margins(replace(s, terrain=of((*on_second, 2700))), made))["terrain.climb"]
    out = (first.distance_m + 4 * NM) / NM
    assert ridge.verdict == OUTSIDE
    assert out - 1.1 < float(ridge.words.split("Least ")[1].split(" ")[0]) < out + 0.6
    beside = ids(path_margins(replace(s, terrain=of((*spot(14), 2700))), made))["terrain.climb"]  # 5 nm off: not flown
    assert beside.verdict == WITHIN


def test_the_first_two_miles_are_left_out_and_the_stretch_widens():
    free = clearance_ft(path(of())["terrain.climb"])
    for way, aside in ((1.5, 0.0), (3.0, 2.5), (8.0, 3.5)):
        assert clearance_ft(path(of((*spot(way, aside), 2700)))["terrain.climb"]) == free
    assert path(of((*spot(14.0, 3.5), 2700)))["terrain.climb"].verdict == OUTSIDE


def test_a_gap_under_the_climb_is_not_known_and_typed_ground_cannot_stand_in():
    gap = of((*spot(6), VOID))
    for ground in (None, (2400.0, 2400.0)):
        margins = path(gap, ground_m=ground)
        assert margins["terrain.climb"].verdict == NOT_KNOWN and "import the missing tiles" in margins["terrain.climb"].words
        assert margins["terrain.descent"].verdict == WITHIN
    assert path(of((*spot(6), VOID), (*spot(9), 3000)))["terrain.climb"].verdict == OUTSIDE


def test_tiles_of_other_places_do_not_take_away_what_typed_ground_is_good_for():
    """The issue: no tile: [ground] of the request, else not known."""
    elsewhere = Terrain(lambda south, west: None, "none")
    assert [path(elsewhere, ground_m=None)[f"terrain.{x}"].verdict for x in ("climb", "descent")] == [NOT_KNOWN, NOT_KNOWN]
    assert not {"terrain.climb", "terrain.descent"} & set(path(elsewhere, ground_m=(2400.0, 2400.0)))


def test_a_flight_that_nothing_could_fly_leaves_both_not_known():
    found = ids(route_obstacles(over(of()), None))
    assert {k: m.verdict for k, m in found.items()} == {"terrain.climb": NOT_KNOWN, "terrain.descent": NOT_KNOWN}


# ---- order


@FAST
@given(way=st.floats(2.5, 100.0), aside=st.floats(-4.0, 4.0), low=st.integers(0, 3300), more=st.integers(1, 1500))
def test_more_ground_is_never_better(way, aside, low, more):
    leg = 0 if way < 32 else 1
    place = spot(way if leg == 0 else way - 32, aside, leg=leg)
    before, after = ({**ids(terrain_margins(s)), **ids(path_margins(s, flown()))} for s in (
        over(of((*place, h)), ground_m=None) for h in (low, low + more)))
    assert before.keys() == after.keys() == {"terrain.1", "terrain.2", "terrain.climb", "terrain.descent"}
    for key, margin in after.items():
        assert clearance_ft(margin) <= clearance_ft(before[key])
        assert ORDER.index(margin.verdict) >= ORDER.index(before[key].verdict)


@FAST
@given(way=st.floats(2.5, 30.0), aside=st.floats(-4.0, 4.0))
def test_a_void_never_turns_a_margin_into_a_pass(way, aside):
    s = over(of((*spot(way, aside), VOID)), ground_m=None)
    assert terrain_margins(s)[0].verdict == NOT_KNOWN
    full = ids(path_margins(over(of()), flown()))
    for m in path_margins(s, flown()):
        assert m.verdict == NOT_KNOWN or (m.verdict, clearance_ft(m)) == (full[m.id].verdict, clearance_ft(full[m.id]))


def test_the_whole_assessment_carries_the_margins_and_their_source():
    answer = assess(over(of((*spot(6), 2400))))
    found = ids(answer.margins)
    assert found["terrain.climb"].verdict == OUTSIDE == answer.verdict
    assert {"terrain.1", "terrain.2", "terrain.climb", "terrain.descent"} <= found.keys()
    assert any("made-up tiles" in x for x in answer.sources)


# ---- the cruising level


def level(terrain, feet, ground_m=None):
    return level_margins(over(terrain, cruise_altitude_m=feet * FT, ground_m=ground_m))[0]


def test_a_level_against_the_rule_is_free_only_low_over_all_of_the_ground():
    assert level(of(), 8500).verdict == OUTSIDE
    high = Terrain(lambda south, west: np.full((1201, 1201), 2000, dtype=">i2"), "a plateau")
    assert level(high, 8500).verdict == WITHIN
    ridge = of(*((*spot(16 + k / 20), 2400) for k in range(-4, 5)))
    assert level(ridge, 8500).verdict == OUTSIDE, "a ridge close beneath does not free the level over the plain"
    assert level(of((*spot(16), VOID)), 8500).verdict == NOT_KNOWN
    assert level(of((*spot(16), VOID)), 8500, (2400.0, 2400.0)).verdict == WITHIN, "typed ground, as without tiles"
    assert level(of(), 9500).verdict == WITHIN
    assert level(Terrain(lambda south, west: None, "none"), 9500).verdict == WITHIN
