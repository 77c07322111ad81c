"""Remedies that fly another way: a stop for fuel, two trips, another aerodrome nearby. Each flight of one is assessed.

A flight that does not begin or end where the request says takes the weather of a new place over from the nearest place
whose weather is given, and the highest of the ground typed in for every leg; both are said.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from ownship.errors import BadInput, NotPossible
from ownship.flight.alter import altered
from ownship.flight.answer import Assessment
from ownship.flight.assessment import assess
from ownship.flight.changes import Change, air_by_the_hour, costs_of, edited, fuels_and_levels, pilot_of
from ownship.flight.remedies import Option, Remedy, bought_for, candidates, screen_of, screened, tightest_words
from ownship.flight.route import Point, point_of
from ownship.flight.screen_load import IS_WITHIN, LEFT
from ownship.flight.situation import Situation
from ownship.units import from_si, parse, to_si
from ownship.words.verdicts import ORDER, WITHIN, worst
from ownship.world.aerodromes import Aerodrome
from ownship.world.geodesy import inverse

ON_THE_GROUND = timedelta(minutes=45)
MOST_LEFT = 2  # changes of a load that is split over two trips
MOST_PLACES, FARTHEST_M = 3, float(to_si(40, "nm"))
LEAST_RUNWAY_M, MOST_DETOUR_1, LEAST_DETOUR_M = float(to_si(2500, "ft")), 0.25, float(to_si(20, "nm"))


@dataclass(frozen=True)
class _Flight:
    """One flight of a detour: its request, its assessment, the changes made to it and their cost."""

    data: dict[str, Any]
    after: Assessment
    changes: tuple[Change, ...]
    cost: float


def detours(s: Situation, before: Assessment, options: Sequence[Option], changes: Sequence[Change], cheaper_than: float,
            say: Callable[[str], None]) -> list[Remedy]:
    """Stops, two trips and other aerodromes that could cost less than what was found already, each confirmed; cheapest first."""
    costs, found = costs_of(s), list[Remedy]()
    if costs["stop"] < cheaper_than:
        found += _stops(s, before, say)
    if costs["second_trip"] < cheaper_than and air_by_the_hour(s):
        say("two trips")
        found += _two_trips(s, before, options, changes)
    if costs["other_place"] < cheaper_than:
        found += _other_places(s, before, say)
    return sorted(found, key=lambda r: r.cost)


# -- stops --------------------------------------------------------------------------------------------------------------
def _stops(s: Situation, before: Assessment, say: Callable[[str], None]) -> list[Remedy]:
    found = []
    for detour, place in _on_the_way(s)[:MOST_PLACES]:
        say(f"a stop at {place.ident}")
        flights = _by_way_of(s, place)
        if flights is None:
            continue
        verdict = worst(f.after.verdict for f in flights)
        extra = _minutes(f.after for f in flights) + ON_THE_GROUND.total_seconds() / 60 - _minutes([before])
        cost = costs_of(s)["stop"] + costs_of(s)["minute"] * max(extra, 0.0) + sum(f.cost for f in flights)
        there = next((c.words.replace(" more", "") for c in flights[1].changes if c.kind == "fuel"), "add nothing")
        round_ = f"{from_si(detour, 'nm'):.0f} NM round"
        stop = Change("stop", f"stop at {place.ident} ({round_}) and {there} there (check fuel is sold)", "no stop",
                      place.ident, (), frozenset({"route"}), costs_of(s)["stop"])
        onward = [c for c in flights[1].changes if c.kind != "fuel"]
        words = ", ".join(c.words for c in (*flights[0].changes, stop, *onward))
        sentence = (f"{words[:1].upper()}{words[1:]}: {verdict} on both flights, with the weather of {place.ident} "
                    f"{'as given' if place.ident in s.request.weather else 'taken over from the nearest place'}{_ground_words(s)}.")
        found.append(Remedy(sentence, (*flights[0].changes, stop, *onward), round(cost, 1), bought_for(before, flights[1].after),
                            tightest_words(flights[1].after), verdict, flights[0].data, (flights[1].data,)))
    return found


def _on_the_way(s: Situation) -> list[tuple[float, Aerodrome]]:
    """Aerodromes with a long enough open runway, by the way round they cost, least first."""
    start, end = s.points[0], s.points[-1]
    direct = _way(start, end)
    names = {p.name for p in s.points}
    found = []
    for place in s.near:
        if place.ident in names or names & set(place.codes) or not _long_enough(place):
            continue
        here = point_of(place.ident, place)
        detour = _way(start, here) + _way(here, end) - direct
        if detour <= max(MOST_DETOUR_1 * direct, LEAST_DETOUR_M) and min(_way(start, here), _way(here, end)) > LEAST_DETOUR_M / 2:
            found.append((max(detour, 0.0), place))
    return sorted(found, key=lambda x: (x[0], x[1].ident))


def _way(a: Point, b: Point) -> float:
    return inverse(a.lat_deg, a.lon_deg, b.lat_deg, b.lon_deg)[0]


def _long_enough(place: Aerodrome) -> bool:
    """Whether an open runway is long enough to be looked at, with all that a distance on it needs to be known."""
    return not place.closed and any(
        not e.closed and e.surface not in (None, "water") and e.slope_1 is not None
        and min(e.take_off_length_m or 0.0, e.landing_length_m or 0.0) >= LEAST_RUNWAY_M for e in place.ends)


def _by_way_of(s: Situation, place: Aerodrome) -> tuple[_Flight, _Flight] | None:
    first = _best(s, _to(s, place), {place.ident: place})
    if first is None or not first.after.timeline:
        return None
    arrived = first.after.timeline[-1].time
    data = _onward(s, place, first.after, arrived + ON_THE_GROUND)
    data["planned_departure"] = s.departure.isoformat()  # the weather was typed for then, not for the hour of going on
    if s.leave_again is not None:
        data["planned_leave_again"] = s.leave_again.isoformat()
    second = _best(s, data, {place.ident: place})
    return None if second is None else (first, second)


def _to(s: Situation, place: Aerodrome) -> dict[str, Any]:
    """The request as far as the stop."""
    data = _with_weather(s, place)
    data["to"], data["via"] = place.ident, [v for v, p in _vias(s) if _way(s.points[0], p) < _way(s.points[0], point_of("", place))]
    data.pop("leave_again", None)
    return _one_ground(data, len(data["via"]) + 1)


def _onward(s: Situation, place: Aerodrome, first: Assessment, departure: datetime) -> dict[str, Any]:
    """The request from the stop on, with the fuel left by the clock."""
    data = _with_weather(s, place)
    data["from"], data["departure"] = place.ident, departure.isoformat()
    data.pop("local", None)
    data["via"] = [v for v, p in _vias(s) if _way(s.points[0], p) >= _way(s.points[0], point_of("", place))]
    data["fuel"] = {tank: {"on_board": f"{max(left.value, 0.0):.4f} usgal", "known_by": "clock", "counts": "usable"}
                    for tank, left in first.timeline[-1].fuel_by_tank.items()}
    return _one_ground(data, len(data["via"]) + 1)


def _vias(s: Situation) -> list[tuple[str, Point]]:
    return list(zip(s.request.via, s.points[1:-1], strict=True))


def _with_weather(s: Situation, place: Aerodrome) -> dict[str, Any]:
    """The request with weather at a place: its own, or that of the nearest place that has some."""
    data = edited(s.request_data, ())
    given = [n for n in s.request.weather if n != "default" and s.places.get(n) is not None and s.request.weather[n].use is None]
    if place.ident not in s.request.weather and given:
        nearest = min(given, key=lambda n: _way(point_of(n, s.places[n]), point_of("", place)))
        data["weather"] = {**data.get("weather", {}), place.ident: {"use": nearest}}
    return data


def _one_ground(data: dict[str, Any], legs: int) -> dict[str, Any]:
    """The highest ground typed in, for every leg: where it lies on the new legs is not known."""
    typed = data.get("ground", {}).get("highest")
    if typed:
        highest = from_si(max(parse(str(x), "length") for x in typed), "ft")
        data["ground"] = {**data["ground"], "highest": [f"{highest:.1f} ft"] * legs}
    return data


def _ground_words(s: Situation) -> str:
    return " and the highest ground typed in taken for every new leg" if s.request.ground_m else ""


# -- two trips ----------------------------------------------------------------------------------------------------------
def _two_trips(s: Situation, before: Assessment, options: Sequence[Option], changes: Sequence[Change]) -> list[Remedy]:
    """What stays behind on the first trip comes with the second: out, back with the pilot's own load, out again."""
    staying = [o for o in options if o.verdict <= IS_WITHIN and len(o.changes) <= MOST_LEFT
               and all(changes[i].kind == "leave" for i in o.changes)]
    pilot = pilot_of(s)
    items = {i for i, x in enumerate(s.request.loads) if x.can_stay and x.weight_kg > 0 and i != pilot}
    for option in staying[:2]:
        later = {item for i in option.changes for item, station in changes[i].loads if station == LEFT}
        out = [changes[i] for i in option.changes]
        first = _judged(s, edited(s.request_data, out), {})
        if first is None or not first.timeline:
            continue
        home = _homeward(s, first, [_leave(changes, i) for i in sorted(items)])
        back = _judged(s, home, {})
        if back is None or not back.timeline:
            continue
        again = edited(s.request_data, [_leave(changes, i) for i in sorted(items - later)])
        again |= {"departure": (back.timeline[-1].time + ON_THE_GROUND).isoformat(), "planned_departure": s.departure.isoformat()}
        second = _judged(s, again, {})
        if second is None:
            continue
        minutes = 2 * ON_THE_GROUND.total_seconds() / 60 + _minutes([back, second])
        cost = costs_of(s)["second_trip"] + costs_of(s)["minute"] * minutes
        words = " and ".join(s.request.loads[i].what for i in sorted(later))
        trip = Change("two trips", f"fly twice: {words} with the second trip", "one trip", "two trips", (),
                      frozenset({"route"}), costs_of(s)["second_trip"])
        flying = " and ".join(x.what for i, x in enumerate(s.request.loads) if i not in items and x.weight_kg > 0)
        waiting = " and ".join(s.request.loads[i].what for i in sorted(items - later)) or "nothing"
        there, here = s.points[-1].name, s.points[0].name
        sentence = (f"Fly twice: {words} with the second trip; {flying} fly back between while {waiting} stays at {there}; fill up "
                    f"again at {here} to what was asked; {WITHIN} on all three flights. Coming home needs two trips as well: "
                    "leaving again was judged for each part-load.")
        return [Remedy(sentence, (trip,), round(cost, 1), bought_for(before, second), tightest_words(first), WITHIN,
                       edited(s.request_data, out), (home, again))]
    return []


def _leave(changes: Sequence[Change], item: int) -> Change:
    return next(c for c in changes if c.kind == "leave" and c.loads == ((item, LEFT),))


def _homeward(s: Situation, first: Assessment, staying: Sequence[Change]) -> dict[str, Any]:
    """Back to the origin with what cannot stay, on the fuel left."""
    data = edited(s.request_data, staying)
    data |= {"from": s.request.destination, "to": s.request.origin, "via": list(reversed(s.request.via)),
             "departure": (first.timeline[-1].time + ON_THE_GROUND).isoformat(), "planned_departure": s.departure.isoformat()}
    for key in ("leave_again", "local", "alternates"):
        data.pop(key, None)
    if "ground" in data and "highest" in data["ground"]:
        data["ground"] = {**data["ground"], "highest": list(reversed(data["ground"]["highest"]))}
    data["fuel"] = {tank: {"on_board": f"{max(left.value, 0.0):.4f} usgal", "known_by": "clock", "counts": "usable"}
                    for tank, left in first.timeline[-1].fuel_by_tank.items()}
    return data


# -- another aerodrome ------------------------------------------------------------------------------------------------------
def _other_places(s: Situation, before: Assessment, say: Callable[[str], None]) -> list[Remedy]:
    end, found = s.points[-1], []
    names = {p.name for p in s.points}
    near = sorted((_way(end, point_of(a.ident, a)), a.ident, a) for a in s.near if a.ident not in names and _long_enough(a))
    for distance, ident, place in [x for x in near if x[0] <= FARTHEST_M][:MOST_PLACES]:
        say(f"landing at {ident}")
        data = _one_ground({**_with_weather(s, place), "to": ident}, len(s.legs))
        after = _judged(s, data, {ident: place})
        if after is None:
            continue
        cost = costs_of(s)["other_place"] + costs_of(s)["minute"] * max(_minutes([after]) - _minutes([before]), 0.0)
        words = f"land at {ident}, {from_si(distance, 'nm'):.0f} NM from {end.name}, instead"
        change = Change("destination", words, end.name, ident, ((("to",), ident),), frozenset({"route"}),
                        costs_of(s)["other_place"])
        sentence = f"{words[:1].upper()}{words[1:]}: {after.verdict}{_ground_words(s)}; look at the ground on the new leg."
        found.append(Remedy(sentence, (change,), round(cost, 1), bought_for(before, after), tightest_words(after),
                            after.verdict, data))
    return found


# -- judging ----------------------------------------------------------------------------------------------------------------
def _best(s: Situation, data: Mapping[str, Any], places: Mapping[str, Aerodrome]) -> _Flight | None:
    """The cheapest way of flying a request within limits, by fuel and level alone; None: there is none.

    As it is first; where the load is not within limits with any of the fuels, no flight is looked at.
    """
    as_it_is = _judged(s, data, places)
    if as_it_is is not None:
        return _Flight(dict(data), as_it_is, (), 0.0)
    try:
        here = altered(s, data, places)
        possible = fuels_and_levels(here)
        if not _load_fits(here, [c for c in possible if c.fuel_m3]):
            return None
        options = screened(screen_of(here, possible), possible, costs_of(s), at_once=2, aim=IS_WITHIN)
    except (BadInput, NotPossible):
        return None
    for option in [o for o in options if o.verdict <= IS_WITHIN][:2]:
        chosen = [possible[i] for i in option.changes]
        made = edited(data, chosen)
        after = _judged(s, made, places)
        if after is not None:
            return _Flight(made, after, tuple(chosen), option.cost)
    return None


def _load_fits(s: Situation, changes: Sequence[Change]) -> bool:
    """Whether weight and balance at the ramp and without fuel are within limits, as asked or with one of the changes."""
    screen = screen_of(s, ())
    return bool(np.any(screen.at_best(candidates(screen, changes, [(), *((i,) for i in range(len(changes)))])) <= IS_WITHIN))


def _judged(s: Situation, data: Mapping[str, Any], places: Mapping[str, Aerodrome]) -> Assessment | None:
    """The ordinary assessment of a request; None unless it is within limits."""
    try:
        here = altered(s, data, places)
        after = assess(here) if _load_fits(here, ()) else None
    except (BadInput, NotPossible):
        return None
    return after if after is not None and ORDER.index(after.verdict) <= IS_WITHIN else None


def _minutes(flights: Iterable[Assessment]) -> float:
    """Minutes from the blocks to the landing of some flights together."""
    return sum((f.timeline[-1].time - f.timeline[0].time).total_seconds() / 60 for f in flights if f.timeline)
