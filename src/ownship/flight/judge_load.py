"""Margins of the load: weights, CG along the whole burn path, stations, groups, category; what more could be carried."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from ownship.aeroplane.description import AirframeRecord, Station, is_figure, not_published
from ownship.aeroplane.loading import (
    Load,
    LoadItem,
    LoadPoint,
    Room,
    at_fuel,
    limit_kg,
    percent_mac,
    room,
    station_weights,
    taxi_allowance_kg,
)
from ownship.aeroplane.spare import more_fuel_m3, more_payload_kg
from ownship.flight import margins as rule
from ownship.flight.answer import LoadingRow
from ownship.flight.fuel import TankState
from ownship.flight.planning import usual
from ownship.flight.request import Load as Boarding
from ownship.words.figures import Figure, figure
from ownship.words.verdicts import LIMITATION, OUTSIDE, WITHIN

_Stretch = tuple[dict[str, float], dict[str, float], dict[str, float], float]
PATH_STEPS = 20
CG_ALLOWANCE = 0.1  # of the CG range: the customary allowance


@dataclass(frozen=True)
class FuelMoment:
    """A moment of the flight with its usable fuel by tank (m3, medians) and the errors of it (one sd)."""

    id: str
    name: str
    usable_m3: dict[str, float]
    sd_m3: dict[str, float]


def load_margins(record: AirframeRecord, category: str, load: Load, items: tuple[LoadItem, ...],
                 moments: tuple[FuelMoment, ...], density_kg_m3: float, confidence_1: float,
                 manoeuvres: tuple[str, ...]) -> tuple[list[rule.Margin], list[LoadingRow]]:
    """Every margin of the load, and the load at every moment."""
    found: list[rule.Margin] = []
    rows = []
    points = {m.id: [at_fuel(record, load, u, m.sd_m3, density_kg_m3) for u in _orders(record, m, moments[0])]
              for m in moments}
    found += _weight_margins(record, points, confidence_1)
    for m in moments:
        margin, worst, space = _cg_margin(record, category, m, points[m.id], confidence_1)
        found.append(margin)
        rows.append(_row(record, m, worst, space, margin))
    found.append(_path_margin(record, category, load, moments, density_kg_m3, confidence_1))
    found += _station_margins(record, items, load, confidence_1)
    found += _category_margins(record, category, items, manoeuvres)
    return found, rows


def _orders(record: AirframeRecord, moment: FuelMoment, start: FuelMoment) -> list[dict[str, float]]:
    """Fuel by tank as planned, and where tanks' arms differ as if each tank had been emptied first."""
    states = [moment.usable_m3]
    if len({t.arm_m for t in record.tanks}) > 1:
        burnt = sum(start.usable_m3.values()) - sum(moment.usable_m3.values())
        ids = [t.id for t in record.tanks]
        for order in (ids, ids[::-1]):
            left, rest = dict(start.usable_m3), burnt
            for tank in order:
                used = min(left.get(tank, 0.0), rest)
                left[tank], rest = left.get(tank, 0.0) - used, rest - used
            states.append(left)
    return states


def _weight_margins(record: AirframeRecord, points: dict[str, list[LoadPoint]], confidence_1: float) -> list[rule.Margin]:
    w = record.weights
    found = []
    for key, name, limit in (("ramp", "ramp weight", w.ramp_max_kg), ("take_off", "take-off weight", w.take_off_max_kg),
                             ("landing", "landing weight", w.landing_max_kg),
                             ("zero_fuel", "zero-fuel weight", w.zero_fuel_max_kg)):
        about = rule.About(f"weight.{key}", name, LIMITATION, w.source or record.source)
        point = points[key][0] if key in points else None
        shown = None if point is None else figure(point.weight_kg, "lb")
        if not_published(limit):
            found.append(rule.none_published(about, shown))
        elif not is_figure(limit):
            found.append(rule.missing(about, f"The record has no maximum {name}.", required=shown))
        elif point is None:
            found.append(rule.missing(about, f"The {name} is not known, because the burn is not.",
                                      figure(float(limit), "lb")))  # type: ignore[arg-type]
        else:
            number = float(limit)  # type: ignore[arg-type]
            found.append(rule.exact(about, point.weight_kg, number, point.weight_sd_kg, "lb",
                                    usual("allowance_weight") * number, confidence_1=confidence_1))
    return found


def _cg_margin(record: AirframeRecord, category: str, moment: FuelMoment, points: list[LoadPoint],
               confidence_1: float) -> tuple[rule.Margin, LoadPoint, Room | None]:
    """The CG at one moment: the worse tank order and the worse end of the seats."""
    envelope = record.envelope(category)
    source = envelope.source if envelope else record.source
    about = rule.About(f"cg.{moment.id}", f"CG at {moment.name}", LIMITATION, source)
    rooms = [(p, room(record, category, p, _taxi_kg(record, moment))) for p in points]
    if rooms[0][1] is None:
        return rule.missing(about, f"The record has no envelope for the {category} category."), points[0], None
    worst, space = min(((p, r) for p, r in rooms if r is not None), key=_tightness)
    return _judge_room(about, worst, space, confidence_1), worst, space


def _taxi_kg(record: AirframeRecord, moment: FuelMoment) -> float:
    return taxi_allowance_kg(record) if moment.id == "ramp" else 0.0


def _tightness(found: tuple[LoadPoint, Room]) -> tuple[float, float]:
    """Order of points, worst first: above the envelope's heaviest weight, then the least room in arm."""
    return min(found[1].weight_kg, 0.0), found[1].arm_m


def _judge_room(about: rule.About, point: LoadPoint, space: Room, confidence_1: float) -> rule.Margin:
    assert space.limits_m is not None
    if space.weight_kg < 0:
        about = replace(about, name=f"{about.name}, heaviest weight of the envelope")
        return rule.exact(about, point.weight_kg, space.top_kg, point.weight_sd_kg, "lb",
                          usual("allowance_weight") * space.top_kg, confidence_1=confidence_1)
    forward = point.arm_forward_m - space.limits_m[0] < space.limits_m[1] - point.arm_aft_m
    limit, value = (space.limits_m[0], point.arm_forward_m) if forward else (space.limits_m[1], point.arm_aft_m)
    allowance = CG_ALLOWANCE * max(space.limits_m[1] - space.limits_m[0], 1e-6)
    about = rule.About(about.id, f"{about.name}, {space.words}", about.kind, about.source, about.place, about.moment)
    return rule.exact(about, value, limit, space.sd_m, "in", allowance, upper=not forward, confidence_1=confidence_1)


def _path_margin(record: AirframeRecord, category: str, load: Load, moments: tuple[FuelMoment, ...],
                 density_kg_m3: float, confidence_1: float) -> rule.Margin:
    """The tightest CG between the moments: every stretch sampled in 20 steps, sloping limits included, as planned and
    in each order of the tanks where their arms differ."""
    envelope = record.envelope(category)
    about = rule.About("cg.path", "CG along the burn", LIMITATION, envelope.source if envelope else record.source)
    found: list[tuple[LoadPoint, Room]] = []
    for a, b, sd, taxi in _stretches(record, moments):
        for share in np.linspace(0.0, 1.0, PATH_STEPS + 1):
            fuel = {k: (1 - share) * a[k] + share * b[k] for k in a}
            point = at_fuel(record, load, fuel, sd, density_kg_m3)
            space = room(record, category, point, taxi)
            if space is not None:
                found.append((point, space))
    if not found:
        return rule.missing(about, f"The record has no envelope for the {category} category.")
    point, space = min(found, key=_tightness)
    return _judge_room(about, point, space, confidence_1)


def _stretches(record: AirframeRecord, moments: tuple[FuelMoment, ...]) -> list[_Stretch]:
    """Every straight stretch of the burn, as planned and with each tank emptied in turn: fuel before, fuel after,
    errors, and what is allowed above the envelope before take-off."""
    found: list[_Stretch] = [(a.usable_m3, b.usable_m3, a.sd_m3, _taxi_kg(record, a)) for a, b in pairwise(moments)]
    start = next((m for m in moments if m.id == "take_off"), moments[0])
    ids = [t.id for t in record.tanks]
    if len({t.arm_m for t in record.tanks}) > 1:
        for order in (ids, ids[::-1]):
            states = [dict(start.usable_m3)]
            for tank in order:
                states.append({**states[-1], tank: 0.0})
            found += [(a, b, start.sd_m3, _taxi_kg(record, start)) for a, b in pairwise(states)]
    return found


def _row(record: AirframeRecord, moment: FuelMoment, point: LoadPoint, space: Room | None,
         margin: rule.Margin) -> LoadingRow:
    band = rule.Z_90 * point.weight_sd_kg
    mac = percent_mac(record, point.arm_aft_m)
    limits = (None, None) if space is None or space.limits_m is None else tuple(figure(x, "in") for x in space.limits_m)
    return LoadingRow(moment.id, moment.name,
                      figure(point.weight_kg, "lb", point.weight_kg - band, point.weight_kg + band),
                      figure(point.arm_forward_m, "in"), figure(point.arm_aft_m, "in"), figure(point.moment_kg_m, "lb in"),
                      None if mac is None else Figure(mac, "%"), limits,  # type: ignore[arg-type]
                      None if space is None else figure(space.weight_kg, "lb"),
                      None if space is None else figure(space.arm_m, "in"), margin.verdict,
                      {k: figure(v, "usgal") for k, v in moment.usable_m3.items()})


def _station_margins(record: AirframeRecord, items: tuple[LoadItem, ...], load: Load,
                     confidence_1: float) -> list[rule.Margin]:
    weights = station_weights(record, items)
    variances = dict.fromkeys(weights, 0.0)
    for item, (variance, _) in zip(items, load.variances, strict=True):
        variances[item.station] += variance
    found = []
    for station in record.stations:
        about = rule.About(f"station.{station.id}", f"load at {station.name or station.id}", LIMITATION, station.source)
        found.append(_limit(about, weights[station.id], station.max_kg, variances[station.id] ** 0.5, confidence_1))
    for i, group in enumerate(record.station_groups, 1):
        about = rule.About(f"group.{i}", f"load at {' + '.join(group.stations)}", LIMITATION, group.source)
        found.append(_limit(about, sum(weights[s] for s in group.stations), group.max_kg,
                            sum(variances[s] for s in group.stations) ** 0.5, confidence_1))
    return found


def _limit(about: rule.About, weight_kg: float, limit: object, sd_kg: float, confidence_1: float) -> rule.Margin:
    shown = figure(weight_kg, "lb")
    if not_published(limit):  # type: ignore[arg-type]
        return rule.none_published(about, shown)
    number = limit_kg(limit)
    if number is None:
        if weight_kg == 0:
            return rule.stated(about, WITHIN, "Empty.", None, shown)
        return rule.missing(about, "The record has no limit for it.", required=shown)
    return rule.exact(about, weight_kg, number, sd_kg, "lb", max(usual("allowance_weight") * number, 0.5),
                      confidence_1=confidence_1)


def _category_margins(record: AirframeRecord, category: str, items: tuple[LoadItem, ...],
                      manoeuvres: tuple[str, ...]) -> list[rule.Margin]:
    """Stations that a category wants empty, and manoeuvres that it allows."""
    found = []
    rules = next((c for c in record.categories if c.name == category), None)
    weights = station_weights(record, items)
    for station in rules.stations_empty if rules else ():
        about = rule.About(f"station.{station}.{category}", f"{station} empty in the {category} category", LIMITATION,
                           rules.source if rules else record.source)
        found.append(rule.exact(about, weights[station], 0.0, 0.0, "lb", 1.0))
    for manoeuvre in manoeuvres:
        about = rule.About(f"manoeuvre.{manoeuvre}", f"{manoeuvre} in the {category} category", LIMITATION, record.source)
        if rules is None:
            found.append(rule.missing(about, f"The record does not say what the {category} category allows."))
        else:
            allowed = manoeuvre in rules.manoeuvres
            found.append(rule.stated(about, WITHIN if allowed else OUTSIDE, "" if allowed else
                                     f"Not among the manoeuvres of the {category} category."))
    return found


def more(record: AirframeRecord, category: str, load: Load, items: tuple[LoadItem, ...], tanks: tuple[TankState, ...],
         density_kg_m3: float) -> dict[str, Figure]:
    """What more could be carried: payload with this fuel by station, fuel with this payload by tank; what rests on
    a limit that is not known is left out."""
    usable = {t.tank: t.usable_m3 for t in tanks}
    found = {}
    for station in record.stations:
        extra = more_payload_kg(record, category, load, items, usable, density_kg_m3, station.id)
        if extra is not None:
            found[f"payload at {station.name or station.id} with this fuel"] = figure(extra, "lb")
    for tank in record.tanks:
        volume = more_fuel_m3(record, category, load, usable, density_kg_m3, tank.id)
        if volume is not None:
            found[f"fuel in {tank.name or tank.id} with this payload"] = figure(volume, "usgal")
    return found


def people(record: AirframeRecord, loads: Sequence[Boarding]) -> list[rule.Margin]:
    """The people of each station against its seats; not known where nobody sits on any seat.

    seats.<station>: a load on a seat is a person unless it says `person = false`, one elsewhere where it says
    `person = true`; loads of 0 lb do not count. An aeroplane without its pilot was weighed: not known.
    """
    boarded = [x for x in loads if x.weight_kg > 0 and _is_person(record, x)]
    found = [_seated(station, sum(x.station == station.id for x in boarded)) for station in record.stations
             if station.kind == "seat" or any(x.station == station.id for x in boarded)]
    seats = {s.id for s in record.stations if s.seats}
    if not seats or any(x.station in seats for x in boarded):
        return found
    about = rule.About("weight.people", "the pilot's weight", LIMITATION, "[[loads]] of the request")
    return [*found, rule.missing(about, "No load is given on any seat; add the people aboard to [[loads]].")]


def _is_person(record: AirframeRecord, load: Boarding) -> bool:
    if load.person is not None:
        return load.person
    return any(s.id == load.station and s.kind == "seat" for s in record.stations)


def _seated(station: Station, aboard: int) -> rule.Margin:
    about = rule.About(f"seats.{station.id}", f"people at {station.name or station.id}", LIMITATION, station.source)
    said = f"{aboard} {'person' if aboard == 1 else 'people'} for {station.seats} {'seat' if station.seats == 1 else 'seats'}"
    if aboard <= station.seats:
        return rule.stated(about, WITHIN, f"{said}.")
    return rule.stated(about, OUTSIDE, f"{said}; leave somebody, or write person = false in [[loads]] for what is no person.")


def empty_missing(why: str) -> list[rule.Margin]:
    """Margins of an aeroplane whose weight is not known."""
    return [rule.missing(rule.About(f"weight.{k}", f"{k.replace('_', ' ')} weight", LIMITATION, "airframe record"), why)
            for k in ("ramp", "take_off", "landing", "zero_fuel")]
