"""Last points, glide and aerodromes on the way as an assessment carries them: the same figures as asked for directly."""

import json
import tomllib
from dataclasses import replace
from datetime import datetime
from functools import cache
from io import StringIO

import numpy as np
import pytest
from rich.console import Console

from ownship.flight import extras as extra
from ownship.flight.assessment import assess, flights_of
from ownship.flight.cards import banded
from ownship.flight.chance import middle
from ownship.flight.glide_share import glide_share
from ownship.flight.points import NEAR_M, _shares, last_points_of
from ownship.flight.route import point_of
from ownship.flight.tanks import TankPlan
from ownship.papers.exchange import to_json
from ownship.papers.text import show
from ownship.performance.model import Model, parameter_names
from ownship.questions.check import demo_aeroplane, demo_flight, situation
from ownship.units import from_si, to_si
from ownship.web.forms import write_toml
from ownship.words.figures import figure
from ownship.world.geodesy import inverse

SCANT = {t: {"on_board": f"{gal} usgal", "known_by": "dipstick", "counts": "usable"} for t, gal in (("left", 7), ("right", 7))}


def made(**change):
    data = tomllib.loads(demo_flight())
    data["departure"] = str(data["departure"])
    data["loads"] = [x for x in data["loads"] if x["station"] == "front"]
    for key, value in change.items():
        if value is None:
            data.pop(key)
        else:
            data[key] = value
    return situation(demo_aeroplane(), write_toml(data))


@cache
def scant():
    """Two people and fuel for so short a flight that there is a point of no return."""
    return made(fuel=SCANT)


@cache
def answered():
    s = scant()
    return extra.with_extras(s, assess(s))


@cache
def twice():
    """The same with a second calibration of more drag, the worse one."""
    s = scant()
    book = s.calibrations.book
    values = book.draws.values.copy()
    values[:, parameter_names().index("CD0")] *= 1.08
    thirsty = Model(book.airframe, book.surrogate, replace(book.draws, values=values, label="own"))
    return replace(s, calibrations=replace(s.calibrations, own=thirsty))


def near_of(s, flown):
    found = extra.landable(s, flown, s.request.cruise_altitude_m)
    return tuple(point_of(n.aerodrome.ident, n.aerodrome) for n in found if n.off_m <= NEAR_M)


def direct(s):
    """Name -> (point, calibration's flight) for each calibration, by flight/points called directly."""
    flights, plans, _ = flights_of(s)
    found = []
    for f, plan in zip(flights, plans, strict=True):
        last = last_points_of(s, f, plan, near_of(s, flights[0]))
        found.append({p.name: (p, f, plan) for p in (last.no_return, *last.one_tank, *last.equal_time)})
    return found


# last points
def test_the_json_holds_the_very_points_of_the_calculation():
    (points,) = direct(scant())
    rows = to_json(answered())["last_points"]
    assert [r["name"] for r in rows] == list(points)
    assert rows[0]["distance"]["value"] is not None
    for row in rows:
        point, flown, _ = points[row["name"]]
        if point.distance_m is None:
            assert row["distance"] is row["moment"] is row["position"] is None and row["words"]
            continue
        got = row["distance"]
        want = [point.distance_m.median, point.distance_m.low, point.distance_m.high]
        assert [got["value"], got["low"], got["high"]] == [None if x is None else float(from_si(x, "nm")) for x in want]
        assert row["position"] == list(point.position_deg) and row["words"] == point.words
        taxi = middle(flown.timeline.total("time_s", ("start and taxi",)))
        blocks = scant().departure
        if point.time_s.median is not None:
            clock = (datetime.fromisoformat(row["moment"]) - blocks).total_seconds()
            assert clock == pytest.approx(taxi + point.time_s.median, abs=0.51)
        earliest = (datetime.fromisoformat(row["earliest"]) - blocks).total_seconds()
        assert earliest == pytest.approx(taxi + point.time_s.low, abs=0.51)


def test_a_tank_lost_is_said_and_the_earliest_is_the_worse():
    rows = [r for r in answered().extras.last_points if r.tank]
    assert {r.tank for r in rows} == {"left", "right"}
    worse = [r for r in rows if r.worst]
    assert len(worse) == 1 and worse[0].name == direct_worse().name


def direct_worse():
    flights, plans, _ = flights_of(scant())
    return last_points_of(scant(), flights[0], plans[0]).worse


def test_with_two_calibrations_the_earlier_point_is_shown_and_named():
    s = twice()
    book, thirsty = direct(s)
    rows = {r.name: r for r in extra.extras(s).last_points}
    name = "point of no return"
    assert thirsty[name][0].distance_m.median < book[name][0].distance_m.median
    assert rows[name].distance == extra.distance_of(thirsty[name][0].distance_m)
    assert rows[name].calibration == "own"


def test_the_fuel_of_a_point_is_what_the_tank_plan_leaves_and_the_same_without_a_plan():
    flights, plans, _ = flights_of(scant())
    f, plan = flights[0], plans[0]
    assert isinstance(plan, TankPlan)
    whole = middle(f.timeline.total("time_s"))
    for share in (0.0, 0.1, 0.5, 0.9, 1.0):
        with_plan, without = extra._usable(f, plan, share * whole, ""), extra._usable(f, None, share * whole, "")
        assert with_plan.value == pytest.approx(without.value, abs=1e-6)
    assert extra._usable(f, plan, whole, "").value == pytest.approx(banded(f.left_m3, "usgal").value)
    lost = [extra._usable(f, plan, whole / 2, t).value for t in ("left", "right")]
    assert sum(lost) == pytest.approx(extra._usable(f, plan, whole / 2, "").value)


def test_enough_fuel_is_said_to_be_enough_and_no_point_is_called_the_worse():
    s = made()
    rows = extra.extras(s).last_points
    assert rows[0].distance is None and "Not before the descent" in rows[0].words
    assert not any(r.worst for r in rows)


def test_a_share_that_rounds_to_nothing_is_not_called_nothing():
    distance = np.full(256, 1000.0)
    distance[0] = np.inf
    assert _shares(distance, "Never.", "Beyond.") == "In under 1% of the cases: Beyond."


# glide
def test_the_glide_is_that_of_the_share_called_directly():
    s = scant()
    flights, _, _ = flights_of(s)
    f, level = flights[0], s.request.cruise_altitude_m
    fields = tuple(n.aerodrome for n in extra.landable(s, f, level))
    weight = f.take_off_kg - f.timeline.total("burn_m3", ("climb",)) * s.record.fuel.density_kg_m3
    found = glide_share(s.legs, (level,), fields, f.model, s.air, weight, s.chance.normals("propeller drag in the glide"),
                        s.settings.circuit_height_m)
    rows = to_json(answered())["glide"]
    assert [r["propeller"] for r in rows] == ["windmilling", "stopped"]
    for row, share in zip(rows, found.shares, strict=True):
        want = figure(share.median_1, "%", share.low_1, share.high_1, "ratio")
        assert row["share"] == {"value": want.value, "unit": "%", "low": want.low, "high": want.high}


def test_from_higher_no_less_of_the_route_is_within_glide():
    s = scant()
    f = flights_of(s)[0][0]
    levels = tuple(float(to_si(x, "ft")) for x in (7500, 9500, 11500))
    for propeller in ("windmilling", "stopped"):
        shares = [x.median_1 for x in extra.glide_of(s, f, levels).shares if x.propeller == propeller]
        assert shares == sorted(shares) and shares[0] < shares[-1]


# aerodromes on the way
def test_aerodromes_on_the_way_are_near_in_order_and_neither_of_the_ends():
    rows = answered().extras.on_the_way
    assert [r.distance.value for r in rows] == sorted(r.distance.value for r in rows)
    assert all(r.off.value <= from_si(NEAR_M, "nm") for r in rows)
    assert "U88" in {r.ident for r in rows} and not {"KBOI", "KU79"} & {r.ident for r in rows}
    assert [r.moment for r in rows] == sorted(r.moment for r in rows)


def test_the_distance_off_the_route_is_the_least_of_a_fine_walk_along_it():
    s = scant()
    spots = [extra.place_at(s.legs, d)[1:] for d in np.linspace(0, sum(x.distance_m for x in s.legs), 1500)]
    for near in extra._off_route(s, s.near)[:12]:
        a = near.aerodrome
        least = min(inverse(lat, lon, a.lat_deg, a.lon_deg)[0] for lat, lon in spots)
        assert near.off_m == pytest.approx(least, abs=extra.NODE_M / 2)


def test_time_and_fuel_there_are_distance_over_groundspeed_and_flow():
    s = made(aloft={"3000 ft": {"wind": "calm", "temperature": "10 C"}, "12000 ft": {"wind": "calm", "temperature": "0 C"}})
    f = flights_of(s)[0][0]
    row = next(r for r in extra.extras(s).on_the_way if r.off.value > 0.3)
    seconds = to_si(row.off.value, "nm") / middle(f.timeline.legs[-1].tas_m_s)
    assert row.time.value == pytest.approx(seconds / 60, rel=1e-3)
    assert to_si(row.fuel.value, "usgal") == pytest.approx(seconds * middle(f.timeline.cruise_flow_m3_s), rel=1e-3)


def test_the_aerodromes_take_no_heavier_aeroplane_than_a_lighter_one():
    s = scant()
    f = flights_of(s)[0][0]
    heavy = replace(f, take_off_kg=f.take_off_kg * 1.2, landing_kg=f.landing_kg * 1.2)
    light, loaded = ({n.aerodrome.ident for n in extra.landable(s, x, 2900.0)} for x in (f, heavy))
    assert loaded <= light and loaded != light


# what is not known, and the papers
def test_without_winds_aloft_nothing_of_it_is_a_figure():
    s = made(aloft=None)
    found = extra.extras(s)
    assert all(r.distance is None and "aloft" in r.words for r in found.last_points)
    assert all(r.share is None and "aloft" in r.words for r in found.glide)
    assert all(r.time is None and r.fuel is None for r in found.on_the_way)


def test_a_flight_that_is_not_flown_has_the_reason_and_nothing_else():
    s = made(fuel={"left": SCANT["left"]})
    found = extra.extras(s)
    assert found.last_points == found.glide == found.on_the_way == ()
    assert "right tank" in found.words[0]


def test_the_rest_of_the_answer_is_untouched_and_without_extras_there_are_no_such_keys():
    plain, whole = assess(scant()), answered()
    assert plain.extras is None and replace(whole, extras=None) == plain
    bare, full = to_json(plain), to_json(whole)
    assert set(full) - set(bare) == {"last_points", "glide", "on_the_way", "extras_words"}
    assert json.loads(json.dumps(full, allow_nan=False)) == full


def test_the_text_shows_them_where_they_are():
    def printed(answer):
        console = Console(width=200, record=True, file=StringIO())
        show(answer, console)
        return console.export_text()

    text = printed(answered())
    for word in ("Last points", "point of no return", "Within glide", "windmilling", "can land", "(the worse)"):
        assert word in text
    assert "Last points" not in printed(replace(answered(), extras=None))
