"""What an assessment carries beside its limits when it is asked for: last points, glide, aerodromes on the way.

Pure, and apart from `assess`, which is called thousands of times and needs none of it. Each calibration is looked at and
the worse shown. docs/methods/last-points.md.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ownship.flight.answer import Assessment, Extras, GlideRow, OnTheWayRow, PointRow
from ownship.flight.assessment import flights_of, governing_of
from ownship.flight.cards import banded
from ownship.flight.chance import middle
from ownship.flight.feed import suitable_all
from ownship.flight.flown import Flown
from ownship.flight.glide_share import GlideShare, GlideShares, Ways, farthest_1, glide_share, ways_of
from ownship.flight.points import (
    HOME_WORDS,
    NEAR_M,
    LastPoint,
    LastPoints,
    Spread,
    earliness,
    last_points_of,
    place_at,
)
from ownship.flight.route import leg_between, point_of
from ownship.flight.situation import Situation
from ownship.flight.tank_rules import TAXI
from ownship.flight.tanks import TankPlan
from ownship.physics.wind import wind_triangle
from ownship.units import from_si, to_si
from ownship.words.figures import Figure, figure
from ownship.world.aerodromes import Aerodrome
from ownship.world.geodesy import direct, inverse_all

FloatArray = NDArray[np.float64]
BEST_GLIDE_1 = 20.0  # more than any glide with any wind of these aeroplanes: what is farther is not looked at
NODE_M = float(to_si(0.25, "nm"))
DRAG = "propeller drag in the glide"
OVERHEAD_M = 100.0  # nearer than this the route passes over the aerodrome
LANDABLE_WORDS = ("Aerodromes counted: open, length and surface known, and the covered landing distance fits in calm air at the "
                  "weight there, with 2 % downhill where the slope is missing.")


@dataclass(frozen=True)
class Near:
    """An aerodrome where this aeroplane can land, how far off the route it lies and where along it the nearest point is."""

    aerodrome: Aerodrome
    off_m: float
    along_m: float


def with_extras(s: Situation, answer: Assessment) -> Assessment:
    """An assessment with its last points, glide and aerodromes on the way; the rest untouched."""
    return replace(answer, extras=extras(s))


def extras(s: Situation) -> Extras:
    """Last points, glide at the cruising level and aerodromes on the way; the reason in words where nothing is flown."""
    flights, plans, why = planned(s)
    governing = governing_of(flights)
    if governing is None or not governing.possible:
        return Extras(words=(f"Last points, glide and aerodromes on the way: not known. {why or 'The flight cannot be flown.'}",))
    level = s.request.cruise_altitude_m
    fields = landable(s, governing, level)
    close = [n for n in fields if n.off_m <= NEAR_M]
    points = tuple(point_of(n.aerodrome.ident, n.aerodrome) for n in close)
    last = [last_points_of(s, f, p, points) for f, p in zip(flights, plans, strict=True)]
    return Extras(_point_rows(s, flights, plans, last, next(k for k, f in enumerate(flights) if f is governing)),
                  _glide_rows(flights, [glide_of(s, f, (level,), fields) for f in flights]),
                  tuple(_on_the_way(s, governing, n) for n in close if n.aerodrome.ident not in _ends(s)),
                  (HOME_WORDS, LANDABLE_WORDS))


def planned(s: Situation) -> tuple[list[Flown], list[TankPlan | None], str]:
    """`flights_of`, worked out once for a situation: the extras and the clock through the views ask for the same."""
    if "planned" not in s.worked_out:
        s.worked_out["planned"] = flights_of(s)
    flights, plans, why = s.worked_out["planned"]
    return list(flights), list(plans), why


def _ends(s: Situation) -> set[str]:
    return {p.aerodrome.ident for p in (s.points[0], s.points[-1]) if p.aerodrome is not None}


# where this aeroplane can land
def landable(s: Situation, flown: Flown, level_m: float) -> tuple[Near, ...]:
    """Aerodromes within 10 nm of the route, or within any glide of it from a level, that are `suitable`, in their order.

    The weight is the take-off weight less the trip's burn in proportion to the way: never lighter than it is there.
    """
    if s.calibrations is None:
        return ()
    whole = sum(leg.distance_m for leg in s.legs)
    trip = flown.take_off_kg - flown.landing_kg
    placed = [n for n in _off_route(s, s.near) if n.aerodrome.elevation_m is not None]
    glide_1 = min(BEST_GLIDE_1, _farthest_1(s, flown, min((n.aerodrome.elevation_m or 0.0 for n in placed), default=0.0)))
    asked = [n for n in placed if n.off_m <= max(NEAR_M, _above_m(s, n.aerodrome, level_m) * glide_1 + NODE_M)]
    fits = suitable_all(s, s.calibrations, [(_once_each(n.aerodrome), flown.take_off_kg - trip * n.along_m / whole) for n in asked])
    found = [n for n, good in zip(asked, fits, strict=True) if good]
    return tuple(sorted(found, key=lambda n: (n.along_m, n.aerodrome.ident)))


def _once_each(aerodrome: Aerodrome) -> Aerodrome:
    """An aerodrome without the ends that ask the same of a landing in calm air: both ways of a runway without a slope."""
    ends = {(e.landing_length_m, e.slope_1, e.surface, e.closed, e.landing_allowed): e for e in aerodrome.ends}
    return aerodrome if len(ends) == len(aerodrome.ends) else replace(aerodrome, ends=tuple(ends.values()))


def _above_m(s: Situation, aerodrome: Aerodrome, level_m: float) -> float:
    """Height of a level over the circuit of an aerodrome, 0 at least."""
    return max(level_m - (aerodrome.elevation_m or 0.0) - s.settings.circuit_height_m, 0.0)


def _farthest_1(s: Situation, flown: Flown, lowest_m: float) -> float:
    """A bound of every glide by any of the calibrations, distance over height; the lightest weight of the flight is taken."""
    assert s.calibrations is not None
    return max(farthest_1(m, s.air, flown.landing_kg, s.chance.normals(DRAG), lowest_m) for m in s.calibrations.models())


def _off_route(s: Situation, aerodromes: Iterable[Aerodrome]) -> list[Near]:
    """How far each aerodrome lies off the route, to the nearest of nodes a quarter of a mile apart at most."""
    each = list({a.ident: a for a in aerodromes}.values())
    if not each:
        return []
    off, along = _ways_to(ways_of(s.legs), tuple((a.lat_deg, a.lon_deg) for a in each))
    return [Near(a, distance, way) for a, distance, way in zip(each, off, along, strict=True)]


@lru_cache(maxsize=16)
def _ways_to(ways: Ways, places_deg: tuple[tuple[float, float], ...]) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """How far places lie off a route and where along it the node nearest to each is (m), kept for the routes asked last."""
    whole = sum(leg[3] for leg in ways)
    along = np.linspace(0.0, whole, max(int(np.ceil(whole / NODE_M)), 1) + 1)
    nodes, places = np.array([_on_route(ways, float(d)) for d in along]), np.array(places_deg)
    nearest = np.argmax(_unit(places) @ _unit(nodes).T, axis=1)
    return tuple(inverse_all(*nodes[nearest].T, *places.T)[0].tolist()), tuple(along[nearest].tolist())


def _on_route(ways: Ways, along_m: float) -> tuple[float, float]:
    """Position (deg) at a distance along a route; its end beyond it."""
    for lat, lon, course, length in ways[:-1]:
        if along_m <= length:
            return direct(lat, lon, course, along_m)[:2]
        along_m -= length
    lat, lon, course, length = ways[-1]
    return direct(lat, lon, course, min(along_m, length))[:2]


def _unit(places_deg: FloatArray) -> FloatArray:
    """Directions (place, 3) of positions (place, 2) on a sphere: the nearest has the greatest scalar product."""
    lat, lon = np.radians(places_deg).T
    return np.stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)], axis=1)


def _on_the_way(s: Situation, flown: Flown, near: Near) -> OnTheWayRow:
    """Straight to an aerodrome from the point of the route nearest to it, level, at the cruise's airspeed and flow."""
    a = near.aerodrome
    time = fuel = None
    if s.air.known:
        leg_number, lat, lon = place_at(s.legs, near.along_m)
        seconds = np.zeros(s.draws)
        if near.off_m > OVERHEAD_M:
            leg = leg_between(0, point_of(f"{lat},{lon}", None), point_of(a.ident, a), s.day)
            figures = next(f for f in flown.timeline.legs if f.leg.number == leg_number)
            seconds = near.off_m / wind_triangle(leg.course_deg, figures.tas_m_s, *s.air.wind(s.request.cruise_altitude_m))[1]
        time, fuel = banded(seconds, "min"), banded(seconds * flown.timeline.cruise_flow_m3_s, "usgal")
    return OnTheWayRow(a.ident, a.name, figure(near.along_m, "nm"), figure(near.off_m, "nm"),
                       s.at(_clock_at(flown, near.along_m)), time, fuel)


def _clock_at(flown: Flown, along_m: float) -> float:
    """Seconds from the blocks at a distance along the route, of the middle flight."""
    way, clock = [0.0], [middle(flown.timeline.total("time_s", (TAXI,)))]
    for part in flown.timeline.parts:
        if part.leg is not None:
            way.append(way[-1] + middle(part.distance_m))
            clock.append(clock[-1] + middle(part.time_s))
    return float(np.interp(along_m, way, clock))


# glide
def glide_of(s: Situation, flown: Flown, levels_m: tuple[float, ...], fields: tuple[Near, ...] | None = None) -> GlideShares:
    """Share of the route within glide of an aerodrome where one can land, at levels, windmilling and stopped.

    fields: `landable` from the highest of the levels (worked out where not given). The weight is that after the climb; the
    arrival circuit height above the aerodrome. Shares 0 to 1; not known without winds aloft.
    """
    fields = landable(s, flown, max(levels_m)) if fields is None else fields
    climbed = flown.timeline.total("burn_m3", ("climb",)) * flown.model.airframe.fuel_density_kg_m3
    return glide_share(s.legs, levels_m, tuple(n.aerodrome for n in fields), flown.model, s.air, flown.take_off_kg - climbed,
                       s.chance.normals(DRAG), s.settings.circuit_height_m)


def _glide_rows(flights: list[Flown], found: list[GlideShares]) -> tuple[GlideRow, ...]:
    """For each level and propeller the calibration that glides over less of the route; not known before any figure."""
    rows = []
    for at in range(len(found[0].shares)):
        share, flown = min(((f.shares[at], flown) for f, flown in zip(found, flights, strict=True)), key=lambda x: _worth(x[0]))
        known = share.median_1
        shown = None if known is None else figure(known, "%", share.low_1, share.high_1, "ratio")
        rows.append(GlideRow(figure(share.level_m, "ft"), share.propeller, shown, share.words, flown.model.draws.label))
    return tuple(rows)


def _worth(share: GlideShare) -> tuple[float, float]:
    return (-1.0, -1.0) if share.median_1 is None or share.low_1 is None else (share.median_1, share.low_1)


# last points
def _point_rows(s: Situation, flights: list[Flown], plans: list[TankPlan | None], last: list[LastPoints],
                governing: int) -> tuple[PointRow, ...]:
    """No return and each tank lost by the calibration whose point comes first; equal times by the governing one."""
    every = range(len(flights))
    names = list(dict.fromkeys(p.name for found in last for p in found.one_tank))
    chosen = [min(((last[k].no_return, k) for k in every), key=lambda x: earliness(x[0]))]
    lost = [min(((p, k) for k in every for p in last[k].one_tank if p.name == n), key=lambda x: earliness(x[0])) for n in names]
    worst = min((p for p, _ in lost if not p.beyond), key=earliness, default=None)
    chosen += [*lost, *((p, governing) for p in last[governing].equal_time)]
    return tuple(replace(_row(s, flights[k], plans[k], p), worst=p is worst) for p, k in chosen)


def _row(s: Situation, flown: Flown, plan: TankPlan | None, point: LastPoint) -> PointRow:
    """One last point as it is shown."""
    label = flown.model.draws.label
    if point.distance_m is None or point.time_s is None:
        return PointRow(point.name, None, None, None, None, "", None, point.words, label, point.tank)
    taxi = middle(flown.timeline.total("time_s", (TAXI,)))
    middle_s, low_s = point.time_s.median, point.time_s.low
    moment, earliest = (None if t is None else s.at(taxi + t) for t in (middle_s, low_s))
    shown = low_s if middle_s is None else middle_s
    fuel = None if shown is None else _usable(flown, plan, taxi + shown, point.tank)
    leg = next((f"{x.start.name} to {x.end.name}" for x in s.legs if x.number == point.leg), "")
    return PointRow(point.name, moment, earliest, distance_of(point.distance_m), point.position_deg, leg, fuel, point.words,
                    label, point.tank)


def distance_of(spread: Spread) -> dict[str, object]:
    """{"value", "unit", "low", "high"} of a distance along the route in nm; null: beyond the stretch looked at."""
    value, low, high = (None if x is None else float(from_si(x, "nm")) for x in (spread.median, spread.low, spread.high))
    return {"value": value, "unit": "nm", "low": low, "high": high}


def _usable(flown: Flown, plan: TankPlan | None, clock_s: float, without: str) -> Figure:
    """Usable fuel at a moment from the blocks, that of a tank lost left out."""
    if plan is not None:
        left = plan.contents_at(clock_s)
        return banded(np.sum([v for k, v in left.items() if k != without], axis=0), "usgal")
    burnt, clock = np.zeros_like(flown.on_board_m3), 0.0
    for part in flown.timeline.parts:
        length = middle(part.time_s)
        share = (clock_s - clock) / length if length > 0 else float(clock_s >= clock)
        burnt = burnt + part.burn_m3 * min(max(share, 0.0), 1.0)
        clock += length
    return banded(flown.on_board_m3 - burnt, "usgal")
