"""What a pilot can really change about a flight, one change at a time, each with its words, its edit and its cost.

Seats and load by their marks (can_move, can_stay), fuel still to be added, level, power, leaning, runway, hour. Fuel
that is on board stays there. A change touches parts of the request; two that touch the same part exclude each other.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, timedelta
from itertools import combinations
from typing import Any

from ownship.aeroplane.description import Station
from ownship.flight.alter import altered
from ownship.flight.fuel import on_board
from ownship.flight.judge_route import highest_ground_m
from ownship.flight.planning import usual_costs
from ownship.flight.request import Load
from ownship.flight.screen_load import LEFT
from ownship.flight.situation import Situation
from ownship.flight.when import air_is_known, reported
from ownship.units import from_si, to_si
from ownship.world.zones import zone_at

Path = tuple[str | int, ...]
REMOVED = object()
FUEL_STEPS_USGAL = (1, 2, 3, 4, 6, 8, 12)
LEVELS_FT, LOWEST_OVER_FT = 500, 1500
POWER_STEPS_RPM, POWER_STEPS_1 = (-200, -100, 100), (-0.10, -0.05, 0.05)
NEAR_HOURS = (-1.0, -0.5, 0.5, 1.0)  # as far as the weather typed for the departure holds
HOURS = tuple(h / 2 for h in range(-24, 25) if h)


@dataclass(frozen=True)
class Change:
    """One change.

    kind: seats, move, leave, fuel, altitude, power, mixture, runway, time. before, after: in words. edits: (path in
    the request, new value or REMOVED). touches: the parts it is exclusive in. loads: (item, station index or LEFT).
    fuel_m3: usable fuel added more (+) or less (-) by tank. cost: in the coin of remedy_costs, time apart.
    profile: whether level, power, leaning, runway or hour change, so that the flight must be worked out anew.
    """

    kind: str
    words: str
    before: str
    after: str
    edits: tuple[tuple[Path, Any], ...]
    touches: frozenset[str]
    cost: float
    loads: tuple[tuple[int, int], ...] = ()
    fuel_m3: tuple[tuple[str, float], ...] = ()
    profile: str = ""


def costs_of(s: Situation) -> dict[str, float]:
    """The usual costs with those of the request's [remedies] over them."""
    return {**usual_costs(), **s.request.remedy_costs}


def edited(data: Mapping[str, Any], changes: Iterable[Change]) -> dict[str, Any]:
    """The request with changes made; what is left behind is taken out last, so that the others keep their places."""
    plain: Any = copy.deepcopy(dict(data))
    removed: list[Path] = []
    for change in changes:
        for path, value in change.edits:
            if value is REMOVED:
                removed.append(path)
            else:
                _table(plain, path)[path[-1]] = value
    for path in sorted(removed, key=lambda p: int(p[-1]), reverse=True):
        del _table(plain, path)[path[-1]]
    return dict(plain)


def _table(plain: Any, path: Path) -> Any:
    """The table that holds the last key of a path, made where it is missing."""
    for key in path[:-1]:
        plain = plain[key] if isinstance(key, int) else plain.setdefault(key, {})
    return plain


def changes_of(s: Situation) -> tuple[Change, ...]:
    """Every single change this pilot can make."""
    return (*_seats_and_load(s), *fuels_and_levels(s), *_powers(s), *_mixtures(s), *_runways(s), *_hours(s))


def fuels_and_levels(s: Situation) -> tuple[Change, ...]:
    """Those changes of a flight's fuel and of its level alone."""
    return (*_fuel(s), *_levels(s))


# -- people and things --------------------------------------------------------------------------------------------------
def _seats_and_load(s: Situation) -> list[Change]:
    loads, stations, cost = s.request.loads, s.record.stations, costs_of(s)
    pilot, found = pilot_of(s), []
    for i, load in enumerate(loads):
        here = next(k for k, x in enumerate(stations) if x.id == load.station)
        if i == pilot or load.weight_kg <= 0:
            continue
        if load.can_move:
            found += [_move(i, load, stations, here, k, cost) for k in range(len(stations))
                      if k != here and _may_be_at(load, stations[here], stations[k])]
        if load.can_stay:
            price = cost["person_left"] if is_person(load, stations[here]) else cost["kilogram_left"] * load.weight_kg
            found.append(Change("leave", f"leave {_the(load.what)} behind", _at(stations[here]), "left behind",
                                ((("loads", i), REMOVED),), frozenset({f"load {i}"}), price, ((i, LEFT),)))
    return found + _swaps(loads, stations, cost, pilot)


def pilot_of(s: Situation) -> int | None:
    """Which load flies the aeroplane: the one called pilot, else the first person on the foremost seats; it stays where it is."""
    stations = {x.id: x for x in s.record.stations}
    seated = [i for i, x in enumerate(s.request.loads) if x.weight_kg > 0 and is_person(x, stations[x.station])]
    named = [i for i in seated if s.request.loads[i].what.strip().lower() in ("pilot", "pilot in command", "pic", "me")]
    return min(named or seated, key=lambda i: (stations[s.request.loads[i].station].arm_m[0], i), default=None)


def is_person(load: Load, station: Station) -> bool:
    """Whether a load is a person: as the request says, else by its place on a seat."""
    return station.kind == "seat" if load.person is None else load.person


def _may_be_at(load: Load, here: Station, there: Station) -> bool:
    """People sit on seats; things may lie on seats too."""
    return there.kind == "seat" or not is_person(load, here)


def _move(i: int, load: Load, stations: tuple[Station, ...], here: int, there: int, cost: dict[str, float]) -> Change:
    seat = is_person(load, stations[here])
    return Change("seats" if seat else "move", f"move {_the(load.what)} from {_at(stations[here])} to {_at(stations[there])}",
                  _at(stations[here]), _at(stations[there]), ((("loads", i, "station"), stations[there].id),),
                  frozenset({f"load {i}"}), 0.0 if seat else cost["move"], ((i, there),))


def _swaps(loads: tuple[Load, ...], stations: tuple[Station, ...], cost: dict[str, float], pilot: int | None) -> list[Change]:
    index = {x.id: k for k, x in enumerate(stations)}
    movable = [(i, x) for i, x in enumerate(loads) if x.can_move and x.weight_kg > 0 and i != pilot]
    found = []
    for (i, a), (j, b) in combinations(movable, 2):
        here, there = stations[index[a.station]], stations[index[b.station]]
        if here.id == there.id or abs(a.weight_kg - b.weight_kg) < 0.05:
            continue
        if not (_may_be_at(a, here, there) and _may_be_at(b, there, here)):
            continue
        free = is_person(a, here) and is_person(b, there)
        found.append(Change("seats" if free else "move", f"let {_the(a.what)} and {_the(b.what)} change places",
                            f"{_at(here)}, {_at(there)}", f"{_at(there)}, {_at(here)}",
                            ((("loads", i, "station"), there.id), (("loads", j, "station"), here.id)),
                            frozenset({f"load {i}", f"load {j}"}), 0.0 if free else 2 * cost["move"],
                            ((i, index[there.id]), (j, index[here.id]))))
    return found


def _the(what: str) -> str:
    return what if what.lower().startswith(("the ", "a ", "my ", "our ")) else f"the {what}"


def _at(station: Station) -> str:
    return station.name or station.id


# -- fuel ---------------------------------------------------------------------------------------------------------------
def _fuel(s: Situation) -> list[Change]:
    """Less of what is still to be added, or more up to full, in whole US gallons a tank, the same in every tank filled."""
    gallon, found = float(to_si(1, "usgal")), []
    entries = {t.id: s.request.fuel[t.id] for t in s.record.tanks if t.id in s.request.fuel}
    full = {t.id: t.capacity_m3 - t.unusable_m3 for t in s.record.tanks}
    filled = {k: e.add_m3 for k, e in entries.items() if e.add_m3 > 0}
    for step in FUEL_STEPS_USGAL:
        less = {k: min(step * gallon, v) for k, v in filled.items()}
        if less and any(v >= (step - 1) * gallon + 1e-9 for v in filled.values()):
            found.append(_other_fuel(s, {k: -v for k, v in less.items()}))
    aboard = {t.tank: t.usable_m3 for t in on_board(s.request, s.record, s.errors, s.chance)}
    for step in FUEL_STEPS_USGAL:
        more = {k: step * gallon for k in entries if aboard[k] + step * gallon <= full[k] + 1e-9}
        if more and len(more) == len(entries):
            found.append(_other_fuel(s, more))
    return found


def _other_fuel(s: Situation, by_tank: dict[str, float]) -> Change:
    amounts = {k: s.request.fuel[k].add_m3 + d for k, d in by_tank.items()}
    less = next(iter(by_tank.values())) < 0
    each = {f"{from_si(abs(d), 'usgal'):.1f}" for d in by_tank.values()}
    where = " and ".join(by_tank)
    words = (f"add {' and '.join(sorted(each))} US gal {'less' if less else 'more'} "
             f"{'to each of ' if len(by_tank) > 1 else 'to '}{where}")
    def said(x: dict[str, float]) -> str:
        return ", ".join(f"{k} {from_si(v, 'usgal'):.1f} US gal" for k, v in x.items())

    edits = tuple(((("fuel", k, "add"), f"{from_si(max(v, 0.0), 'usgal'):.4f} usgal")) for k, v in amounts.items())
    return Change("fuel", words, said({k: s.request.fuel[k].add_m3 for k in by_tank}), said(amounts), edits, frozenset({"fuel"}),
                  costs_of(s)["fuel_change"], fuel_m3=tuple(by_tank.items()))


# -- how it is flown ------------------------------------------------------------------------------------------------------
def _levels(s: Situation) -> list[Change]:
    """Other cruising levels every 500 ft from 1,500 ft above both aerodromes to 12,500 ft; lower than asked only where the
    ground of every leg is known."""
    highest = max((p.elevation_m or 0.0 for p in (s.points[0], s.points[-1])), default=0.0)
    lowest = from_si(highest, "ft") + LOWEST_OVER_FT
    now = float(from_si(s.request.cruise_altitude_m, "ft"))
    found = []
    for feet in range(LEVELS_FT, 13000, LEVELS_FT):
        if feet < lowest or abs(feet - now) < 1 or (feet < now and not over_known_ground(s)):
            continue
        if not _legal(s, float(to_si(feet, "ft"))):
            continue
        found.append(_flown_otherwise(s, "altitude", f"cruise at {feet:,} ft", f"{now:,.0f} ft", f"{feet:,} ft",
                                      "cruise_altitude", f"{feet} ft"))
    return found


def over_known_ground(s: Situation) -> bool:
    """Whether the highest ground of every leg is known, from tiles or typed in."""
    return all(highest_ground_m(s, leg.number) is not None for leg in s.legs)


def _legal(s: Situation, altitude_m: float) -> bool:
    """Whether the rules allow the level on every leg whatever the ground; where no rule is kept, it is left out."""
    for leg in s.legs:
        rules, ground = s.ruleset(leg.start), highest_ground_m(s, leg.number)
        answer = None if rules is None else rules.cruising_level(s.day, s.request.rules, leg.magnetic_course_deg, altitude_m,
                                                                 None if ground is None else altitude_m - ground)
        if answer is None or not answer.ok:
            return False
    return True


def _powers(s: Situation) -> list[Change]:
    r = s.request
    if r.power_rev_s is not None:
        now = float(from_si(r.power_rev_s, "rpm"))
        return [_flown_otherwise(s, "power", f"cruise at {now + d:,.0f} rpm", f"{now:,.0f} rpm", f"{now + d:,.0f} rpm", "power",
                                 f"{now + d:.0f} rpm") for d in POWER_STEPS_RPM if 1500 <= now + d <= 3500]
    assert r.power_1 is not None
    now = 100 * r.power_1
    wanted = [now + 100 * d for d in POWER_STEPS_1 if 40 <= now + 100 * d <= 80]
    return [_flown_otherwise(s, "power", f"cruise at {x:.0f} % power", f"{now:.0f} %", f"{x:.0f} %", "power", f"{x:.0f} %")
            for x in wanted]


def _mixtures(s: Situation) -> list[Change]:
    if s.request.mixture == "lean":
        return []
    return [_flown_otherwise(s, "mixture", "lean the mixture in the cruise", "rich", "lean", "mixture", "lean")]


def _flown_otherwise(s: Situation, kind: str, words: str, before: str, after: str, key: str, value: str) -> Change:
    return Change(kind, words, before, after, (((key,), value),), frozenset({kind}), costs_of(s)["level_change"],
                  profile=f"{key} {value}")


# -- runway and hour --------------------------------------------------------------------------------------------------------
def _runways(s: Situation) -> list[Change]:
    """Where the request names an end: the best one instead."""
    found = []
    for name, wish in s.request.runways.items():
        if wish.end.lower() != "best" and name in (s.request.origin, s.request.destination):
            found.append(Change("runway", f"use another runway of {name} than {wish.end.upper()}", wish.end.upper(), "the best",
                                ((("runway", name, "end"), "best"),), frozenset({f"runway {name}"}), costs_of(s)["runway_change"],
                                profile=f"runway {name}"))
    return found


def edited_by(s: Situation, edits: Iterable[tuple[Path, Any]]) -> dict[str, Any]:
    """The request with keys at its top replaced."""
    return {**s.request_data, **{str(path[0]): value for path, value in edits}}


def air_by_the_hour(s: Situation) -> bool:
    """Whether the owner's entries, a METAR of its hour, a TAF or a forecast say what the air is at other hours."""
    return bool(s.forecasts or s.request.aloft_hours) or any(w.hours or w.taf or w.metar for w in s.request.weather.values())


def _hours(s: Situation) -> list[Change]:
    """Half hours earlier or later on the same day of the place: up to an hour, as far as the weather typed for the departure
    holds; further where the owner's entries, a METAR, a TAF or a forecast say what the air is then."""
    zone = zone_at(s.points[0].lat_deg, s.points[0].lon_deg)
    planned, now = (s.request.planned_departure or s.departure), s.departure.astimezone(zone)
    found = []
    for hours in HOURS if air_by_the_hour(s) else NEAR_HOURS:
        moment = (s.departure.astimezone(UTC) + timedelta(hours=hours)).astimezone(zone)
        if moment.date() != now.date():
            continue
        edits: tuple[tuple[Path, Any], ...] = (
            (("departure",), moment.isoformat()), (("local",), False), (("planned_departure",), planned.isoformat()))
        if s.leave_again is not None:  # it stays where it is, and so does the hour its weather was typed for
            edits += ((("planned_leave_again",), (s.request.planned_leave_again or s.leave_again).isoformat()),)
        if moment < reported(s) or (abs(hours) > NEAR_HOURS[-1] and not air_is_known(altered(s, edited_by(s, edits)))):
            continue
        word = f"{abs(hours):g} h {'earlier' if hours < 0 else 'later'}"
        found.append(Change("time", f"leave {word}, at {moment:%H:%M} local", f"{now:%H:%M}", f"{moment:%H:%M}", edits,
                            frozenset({"time"}), costs_of(s)["hour_shifted"] * abs(hours), profile=f"hour {hours}"))
    return found
