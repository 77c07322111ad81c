"""The demo flight end to end: the aeroplane and its weather are invented, the aerodromes are the open data's."""

import json
import tomllib
from functools import cache
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.errors import BadInput
from ownship.flight.assessment import assess
from ownship.flight.changes import Change, changes_of, costs_of
from ownship.flight.combining import combinations_of
from ownship.flight.distances import Ground, judge, judge_all
from ownship.flight.remedies import screen_of, screened
from ownship.flight.screen_load import IS_WITHIN
from ownship.papers.exchange import to_json
from ownship.performance import climb
from ownship.physics import equilibrium
from ownship.physics.atmosphere import Air, isa_temperature_k
from ownship.physics.engine import air_factor_1
from ownship.questions.check import check, check_text, demo_aeroplane, demo_flight, situation
from ownship.web.forms import write_toml

ORDER = ["within limits", "tight", "not known", "outside limits"]


def request(**change):
    data = tomllib.loads(demo_flight())
    data["departure"] = data["departure"] if isinstance(data["departure"], str) else data["departure"].isoformat()
    for key, value in change.items():
        if value is None:
            data.pop(key)
        else:
            data[key] = value
    return data


def judged(data, aeroplane=None):
    return check_text(aeroplane or demo_aeroplane(), write_toml(data))


@cache
def demo():
    return check("demo")


@cache
def situation_of_demo():
    return situation(demo_aeroplane(), demo_flight())


def margin(answer, id_):
    return next(m for m in answer.margins if m.id == id_)


def test_the_demo_does_not_fit_and_nothing_of_it_is_not_known():
    assert demo().verdict == "outside limits"
    assert demo().not_known == ()
    assert all(m.verdict != "not known" for m in demo().margins)


def test_with_two_people_and_no_gear_it_is_within_or_tight():
    data = request(loads=[x for x in request()["loads"] if x["station"] == "front"])
    answer = judged(data)
    assert answer.verdict in ("within limits", "tight")
    assert answer.not_known == ()


def test_margins_stand_tightest_first_and_the_verdict_is_the_worst():
    ranks = [ORDER.index(m.verdict) for m in demo().margins]
    assert ranks == sorted(ranks, reverse=True)
    assert demo().verdict == demo().margins[0].verdict


def test_the_sentence_names_the_tightest_and_its_kind():
    assert demo().margins[0].name in demo().sentence
    assert demo().margins[0].kind in demo().sentence


def test_every_margin_carries_a_source_and_positive_means_room_left():
    for m in demo().margins:
        assert m.source, m.id
        if m.margin and m.available and m.required:
            assert m.margin.value == pytest.approx(m.available.value - m.required.value, abs=1e-6), m.id
            if m.verdict == "outside limits":
                assert m.margin.value < 0, m.id


def test_the_same_request_gives_the_same_answer_to_the_last_digit():
    assert json.dumps(to_json(check("demo"))) == json.dumps(to_json(demo()))


def test_times_distances_and_fuels_add_up():
    s = situation(demo_aeroplane(), demo_flight())
    answer = assess(s)
    rows = answer.timeline
    assert rows[-1].distance.value == pytest.approx(sum(leg.distance.value for leg in answer.legs), abs=1e-6)
    for row in rows:
        assert row.fuel_used.value + row.fuel_left.value == pytest.approx(answer.fuel.on_board.value, abs=0.06)
        assert sum(f.value for f in row.fuel_by_tank.values()) == pytest.approx(row.fuel_left.value, abs=0.06)
    used = [row.fuel_used.value for row in rows]
    assert used == sorted(used)
    assert [row.time for row in rows] == sorted(row.time for row in rows)


def test_weight_falls_by_exactly_the_fuel_burnt():
    from ownship.flight.assessment import aboard_of, fly

    s = situation(demo_aeroplane(), demo_flight())
    for flown in fly(s, aboard_of(s)):
        density = flown.model.airframe.fuel_density_kg_m3
        burnt = flown.timeline.total("burn_m3")
        assert np.allclose(flown.ramp_kg - flown.landing_kg, burnt * density, atol=1e-9)
        parts = sum(flown.timeline.total("burn_m3", (p,)) for p in ("start and taxi", "climb", "cruise", "descent",
                                                                    "approach and landing"))
        assert np.allclose(parts, burnt, atol=1e-15)
        way = flown.timeline.total("distance_m")
        assert np.allclose(way, sum(leg.distance_m for leg in s.legs), rtol=1e-12)


def test_tank_plan_burns_add_up_to_the_trip():
    plan = sum(t.burn.value for t in demo().tanks)
    assert plan == pytest.approx(demo().timeline[-1].fuel_used.value, abs=0.1)


def test_json_has_the_keys_others_rely_on():
    data = to_json(demo())
    assert {"schema", "verdict", "sentence", "request", "aeroplane", "margins", "loading", "timeline", "fuel", "tanks", "runways",
            "cards", "warnings", "not_known", "sources", "cautions"} <= set(data)
    assert {"id", "name", "kind", "place", "moment", "available", "required", "margin", "chance", "verdict", "source", "checks",
            "chain"} <= set(data["margins"][0])
    assert {"from", "to", "tank", "burn"} <= set(data["tanks"][0])
    json.dumps(data, allow_nan=False)


@pytest.mark.parametrize("key", ["weather", "aloft"])
def test_without_weather_it_is_not_known_never_within(key):
    answer = judged(request(**{key: None}))
    assert any(m.verdict == "not known" for m in answer.margins)
    if key == "aloft":
        assert margin(answer, "fuel.landing").verdict == "not known"
    else:
        assert margin(answer, "runway.take_off.KBOI").verdict == "not known"


def test_a_wind_report_that_is_missing_gives_no_credit():
    data = request()
    with_wind = margin(judged(data), "runway.take_off.KBOI")
    data["weather"]["KBOI"].pop("wind")
    without = margin(judged(data), "runway.take_off.KBOI")
    assert without.required.value >= with_wind.required.value


def test_vrb_is_all_tailwind():
    data = request()
    data["weather"]["KU79"]["wind"] = "VRB05"
    answer = judged(data)
    assert margin(answer, "runway.landing.KU79").required.value > margin(demo(), "runway.landing.KU79").required.value


def test_a_closed_runway_is_never_used_even_when_wished():
    data = request(runway={"KBOI": {"end": "09"}})
    assert margin(judged(data), "runway.take_off.KBOI").verdict == "outside limits"


def test_an_aerodrome_without_slope_is_not_known_until_the_owners_record_says():
    data = request(to="U88", via=[], cruise_altitude="5500 ft", alternates=[])
    data["weather"]["U88"] = dict(data["weather"]["KU79"])
    data["ground"] = {"highest": ["5000 ft"]}
    answer = judged(data)
    assert margin(answer, "runway.landing.U88").verdict == "not known"
    end = {"true_heading": 105, "length": "3850 ft", "slope": "1 %", "surface": "grass"}
    data["aerodromes"] = {"U88": {"source": "walked", "date": "2026-06-01", "runways": [
        {"end": "10", **end}, {"end": "28", **end, "true_heading": 285, "slope": "-1 %"}]}}
    assert margin(judged(data), "runway.landing.U88").verdict in ("within limits", "tight")


def test_a_strip_in_no_database_can_be_described():
    data = request(to="MINE", via=[])
    data["weather"]["MINE"] = dict(data["weather"]["KU79"])
    data["ground"] = {"highest": ["8200 ft"]}
    data["aerodromes"] = {"MINE": {"name": "My strip", "position": "45.0,-115.5", "elevation": "5000 ft", "source": "survey",
                                   "runways": [{"end": "09", "true_heading": 95, "length": "3500 ft", "slope": "0 %",
                                                "surface": "grass", "obstacles": [{"distance": "5000 ft", "height": "60 ft"}]},
                                               {"end": "27", "true_heading": 275, "length": "3500 ft", "slope": "0 %",
                                                "surface": "grass", "one_way": "landing"}]}}
    answer = judged(data)
    assert margin(answer, "runway.landing.MINE").verdict in ("within limits", "tight", "outside limits")


def test_a_record_with_weights_only_loads_and_all_else_is_not_known():
    record = ('schema = 1\n[record]\nsource = "paper"\n[weights]\ntake_off_max = "2350 lb"\n[[weighings]]\ndate = 2020-01-01\n'
              'weighed = true\nweight = "1400 lb"\narm = "85 in"\n')
    data = request(loads=[], fuel={})
    answer = judged(data, record)
    assert answer.verdict in ("not known", "outside limits")
    assert not any(m.verdict == "within limits" and m.id.startswith(("runway", "fuel", "weight.take_off")) for m in answer.margins)


def test_a_reserve_that_reaches_into_night_is_a_night_reserve():
    late = judged(request(departure="2026-07-11T20:30-06:00"))
    assert "45 min (night" in late.fuel.reserve
    assert "30 min (day" in demo().fuel.reserve


def test_landing_in_the_dark_on_an_unlighted_runway_is_outside():
    assert margin(judged(request(departure="2026-07-11T22:00-06:00")), "night").verdict == "outside limits"


@pytest.mark.parametrize(("change", "id_"), [({"more": 30}, "weight.take_off"), ({"more": 30}, "runway.leave_again.KU79")])
def test_more_weight_never_improves_a_margin(change, id_):
    data = request()
    before = margin(judged(data), id_)
    data["loads"][0]["weight"] = f"{176 + change['more']} lb"
    after = margin(judged(data), id_)
    assert ORDER.index(after.verdict) >= ORDER.index(before.verdict)
    if after.margin and before.margin:
        assert after.margin.value <= before.margin.value


def test_more_headwind_aloft_never_improves_the_fuel_margin():
    data = request()
    values = []
    for knots in (0, 15, 30):
        for level in data["aloft"].values():
            level["wind"] = f"022/{knots:02d}"
        values.append(margin(judged(data), "fuel.landing").margin.value)
    assert values == sorted(values, reverse=True)


def test_canada_and_easa_judge_the_same_flight_by_their_own_rules():
    easa = judged(request(place="EASA"))
    assert "holding at 1,500 ft" in easa.fuel.reserve and "from memory" in easa.fuel.reserve
    canada = judged(request(place="Canada", rules="IFR", cruise_altitude="9000 ft"))
    assert canada.fuel.parts["missed approach"].value > 0
    assert margin(canada, "gradient.departure").source.startswith("standard")


def test_a_place_without_rules_is_not_known():
    data = request(**{"from": "EGBJ", "to": "EGBB", "via": [], "alternates": []})
    data["weather"] = {"default": data["weather"]["KBOI"]}
    data["cruise_altitude"] = "2500 ft"
    data.pop("ground")
    answer = judged(data)
    assert margin(answer, "fuel.landing").verdict == "not known"
    assert margin(answer, "level.1").verdict == "not known"


def test_utility_category_wants_its_stations_empty():
    answer = judged(request(category="utility"))
    assert margin(answer, "station.rear.utility").verdict == "outside limits"


def test_gauge_fuel_has_a_wider_band_than_a_full_tank():
    data = request(fuel={"left": {"on_board": "19 usgal", "known_by": "gauge"}, "right": {"on_board": "19 usgal",
                                                                                     "known_by": "gauge"}})
    wide = judged(data).fuel.on_board
    narrow = demo().fuel.on_board
    assert wide.high - wide.low > narrow.high - narrow.low


def test_a_tank_without_an_entry_is_not_known_and_not_empty():
    """Common practice, no source: fuel nobody wrote down is not nought."""
    data = request()
    data["fuel"] = {k: v for k, v in data["fuel"].items() if k == "left"}
    answer = judged(data)
    assert answer.verdict == "not known"
    assert margin(answer, "weight.take_off").verdict == "not known"
    assert "[fuel.right]" in margin(answer, "weight.take_off").words


def test_an_aeroplane_without_a_pilot_is_not_within():
    answer = judged(request(loads=None))
    assert margin(answer, "weight.people").verdict == "not known"
    assert not [m for m in demo().margins if m.id == "weight.people"]


def test_obstacles_are_judged_where_the_route_passes_them():
    """One hill of the same height near the departure, under the climb, and under the cruise; one a world away."""
    legs = demo_points()
    near, middle = legs
    hill = {"top": "5500 ft"}
    answer = judged(request(obstacles=[{"position": near, **hill}, {"position": middle, **hill},
                                       {"position": "10,10", "top": "29000 ft"}]))
    low, high = margin(answer, "obstacle.route.1"), margin(answer, "obstacle.route.2")
    assert low.margin.value < high.margin.value
    assert low.verdict == "outside limits"
    assert not [m for m in answer.margins if m.id == "obstacle.route.3"]
    assert any("off the route" in x for x in answer.not_checked)


def demo_points():
    """Two positions of the demo's first leg: 3 nm after the departure, and half way."""
    from ownship.world.geodesy import along
    s = situation(demo_aeroplane(), demo_flight())
    leg = s.legs[0]
    spots = [along(leg.start.lat_deg, leg.start.lon_deg, leg.end.lat_deg, leg.end.lon_deg, w)
             for w in (3 * 1852.0, leg.distance_m / 2)]
    return [f"{a:.5f},{b:.5f}" for a, b in spots]


@pytest.mark.parametrize(("change", "says"), [
    ({"cruise_altitude": "2500 ft"}, "is not above"),
    ({"leave_again": "2026-07-10T16:00-06:00"}, "is not after the departure"),
    ({"ifr": {"missed_approach_gradient": ["-5 ft/nm", "7000 ft"]}}, "is not a climb")])
def test_what_no_aeroplane_can_fly_is_refused(change, says):
    with pytest.raises(BadInput, match=says):
        judged(request(**change))


def test_carburettor_heat_in_the_take_off_is_not_known():
    answer = judged(request(carburettor_heat=["take-off"]))
    assert margin(answer, "runway.take_off.KBOI").verdict == "not known"


def test_cruising_in_a_range_of_rpm_to_avoid_is_outside():
    record = demo_aeroplane().replace("[engine]\n", '[engine]\navoid_rpm = [["2300 rpm", "2600 rpm"]]\n', 1)
    assert margin(judged(request(), record), "rpm.avoid").verdict == "outside limits"


def test_the_alternates_that_are_not_judged_are_said():
    assert any("alternate" in x for x in judged(request(alternates=["KTWF", "KBOI"])).not_checked)


def test_above_the_models_range_the_climb_is_not_known():
    assert margin(judged(request(cruise_altitude="17500 ft")), "climb.cruise").verdict == "not known"


def test_reported_rain_makes_the_runway_wet_and_snow_not_known():
    """Common practice, no source: a runway under reported rain is not dry."""
    words, distances, verdicts = {}, {}, {}
    for falling in ("", "+RA ", "SN ", "VCSH "):
        weather = {"KBOI": {"metar": f"KBOI 111853Z 31009KT 5SM {falling}OVC030 12/11 A2992"}}
        answer = judged(request(weather={**request()["weather"], **weather}))
        found = margin(answer, "runway.take_off.KBOI")
        words[falling], distances[falling], verdicts[falling] = found.words, found.required, found.verdict
    assert "surface of wet is assumed" in words["+RA "]
    assert verdicts["SN "] == "not known" and distances["SN "] is None
    assert "assumed" in words[""] and "precipitation" not in words[""] and "precipitation" not in words["VCSH "]
    assert distances["+RA "].value >= distances[""].value


def test_a_local_time_that_the_clocks_skip_is_refused():
    with pytest.raises(BadInput, match="does not exist at KBOI"):
        judged(request(departure="2026-03-08T02:30", local=True))


def test_a_selector_of_both_only_needs_no_change():
    record = demo_aeroplane().replace('positions = ["left", "right"]', 'positions = ["both"]')
    assert record != demo_aeroplane()
    answer = judged(request(), record)
    assert len(answer.tanks) == 1


def test_calm_air_along_the_route_is_said():
    answer = judged(request(aloft=None))
    assert margin(answer, "fuel.landing").verdict == "not known"
    assert any("calm air" in x for x in answer.not_checked)


# -- what is worked out at once is what is worked out one by one (properties of our own; there are no published figures) -----------
def test_runway_ends_judged_together_are_judged_as_each_alone():
    s = situation_of_demo()
    noise, weight = s.chance.normals("temperature at the aerodromes"), np.full(s.draws, 950.0)
    grounds = [Ground(Air(h, t, 0.3), noise, slope, kind, state, head, tail, add)
               for h, t, slope, kind, state, head, tail, add in (
                   (870.0, 308.0, 0.0, "paved", "dry", 3.0, 0.0, 2.0), (1750.0, 300.0, 0.02, "grass", "grass wet", 0.0, 2.0, 0.0),
                   (870.0, 308.0, -0.01, "paved", "wet", 0.0, 0.0, 0.0), (9000.0, 250.0, 0.0, "paved", "dry", 0.0, 0.0, 0.0))]
    for operation in ("take-off", "landing"):
        together = judge_all(operation, grounds, weight, s.calibrations, s.request.factors)
        for ground, found in zip(grounds, together, strict=True):
            alone = judge(operation, ground, weight, s.calibrations, s.request.factors)
            assert (alone.chain, alone.words, alone.missing) == (found.chain, found.words, found.missing)
            assert found.covered_m == pytest.approx(alone.covered_m, rel=1e-12, nan_ok=True)
            assert found.roll_m == pytest.approx(alone.roll_m, rel=1e-12, nan_ok=True)
            np.testing.assert_allclose(found.draws_m, alone.draws_m, rtol=1e-12)


@pytest.mark.parametrize(("weight", "deviation"), [(800.0, -20.0), (1000.0, 0.0), (1000.0, 25.0), (1250.0, 35.0), (2600.0, 30.0)])
def test_ceilings_looked_for_where_they_lie_are_those_of_every_level(weight, deviation):
    model = situation_of_demo().calibrations.book
    levels = climb.CEILING_LEVELS_M
    rate = climb.best_speeds(model, Air(levels, isa_temperature_k(levels) + deviation), weight).rate_m_s
    for found, wanted in zip(climb.ceilings_m(model, weight, deviation, noise=False), (climb.CEILING_RATE_M_S, 0.0), strict=True):
        for draw in range(0, rate.shape[1], 5):
            above = np.nonzero(rate[:, draw] >= wanted)[0]
            if not above.size or above[-1] == levels.size - 1:
                assert np.isnan(found[draw])
                continue
            i = above[-1]
            share = (rate[i, draw] - wanted) / (rate[i, draw] - rate[i + 1, draw])
            assert found[draw] == pytest.approx(levels[i] + share * (levels[i + 1] - levels[i]), rel=1e-12)


@given(seed=st.integers(0, 10_000))
@settings(max_examples=25, deadline=None)
def test_an_equilibrium_looked_for_nearby_is_the_one_in_the_bracket(seed):
    model, rng = situation_of_demo().calibrations.book, np.random.default_rng(seed)
    height = rng.uniform(-300, 5000, (6, 1))
    air = Air(height, isa_temperature_k(height) + rng.uniform(-30, 30, (6, 1)), rng.uniform(0, 1, (6, 1)))
    density, sound = air.density_kg_m3, air.speed_of_sound_m_s
    speed, weight, rev = rng.uniform(0, 90, (6, 1)), rng.uniform(6000, 13000, (6, 1)), rng.uniform(25, 50, (6, 1))
    asked = (lambda: equilibrium.full_throttle_rev_s(model.engine, model.propeller, air_factor_1(model.engine, air), density, sound, speed),
             lambda: equilibrium.level_speed_m_s(model.propeller, model.drag, density, sound, weight, rev),
             lambda: equilibrium.rev_for_thrust_s(model.propeller, density, sound, speed, 0.1 * weight))
    with np.errstate(all="ignore"), pytest.MonkeyPatch.context() as patched:
        near = [f() for f in asked]
        patched.setattr(equilibrium, "root_near", lambda function, low, high, guesses: equilibrium.root(function, low, high, steps=40))
        bracketed = [f() for f in asked]
    for a, b in zip(near, bracketed, strict=True):
        assert np.array_equal(np.isnan(a), np.isnan(b))
        np.testing.assert_allclose(a, b, rtol=1e-8)


@given(st.lists(st.sets(st.sampled_from("abcdefg"), min_size=1, max_size=3), max_size=9), st.integers(1, 4))
def test_sets_of_changes_are_all_that_touch_different_parts(touches, at_once):
    changes = [Change("leave", "", "", "", (), frozenset(t), 0.0) for t in touches]
    every = [c for size in range(1, at_once + 1) for c in combinations(range(len(changes)), size)
             if len(set().union(*(touches[i] for i in c))) == sum(len(touches[i]) for i in c)]
    assert combinations_of(changes, at_once) == every


def test_a_search_with_an_aim_finds_every_set_that_reaches_it_and_none_is_called_worse_than_it_is():
    """What stands in the way already is not flown; what is within limits is the same as when everything is flown."""
    data = request(cruise_altitude="7500 ft")
    data["loads"] = [x | ({"weight": "120 lb"} if x["station"] == "rear" else {}) for x in data["loads"]]
    s = situation(demo_aeroplane(), write_toml(data))
    changes, costs = changes_of(s), costs_of(s)
    full = {o.changes: o for o in screened(screen_of(s, changes), changes, costs, at_once=3)}
    quick = {o.changes: o for o in screened(screen_of(s, changes), changes, costs, at_once=3, aim=IS_WITHIN)}
    within = {c: o.cost for c, o in full.items() if o.verdict == IS_WITHIN}
    assert {c: o.cost for c, o in quick.items() if o.verdict == IS_WITHIN} == within
    assert any(changes[i].profile for c in within for i in c)
    assert full.keys() == quick.keys()
    assert all(quick[c].verdict <= o.verdict for c, o in full.items())
    assert any(quick[c].verdict < o.verdict for c, o in full.items())
