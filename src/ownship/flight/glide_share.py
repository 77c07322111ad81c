"""Share of the route from which an aerodrome can be glided to, by level, propeller windmilling or stopped.

Pure. Best glide straight to circuit height above the aerodrome, slice by slice of height with the wind of each slice;
everything is judged for every draw. Terrain between is not looked at.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ownship.errors import OutOfRange
from ownship.flight.airmass import AirMass, over_ground_m_s
from ownship.flight.route import Leg
from ownship.performance.landing import STOPPED_DRAG_1, WINDMILLING_DRAG_1, glide
from ownship.performance.model import Draws, Model, check_range, parameter_names
from ownship.physics.atmosphere import Air
from ownship.units import from_si, to_si
from ownship.world.aerodromes import Aerodrome
from ownship.world.geodesy import direct, inverse_all

FloatArray = NDArray[np.float64]
Propeller = Literal["windmilling", "stopped"]
PROPELLERS: tuple[Propeller, ...] = ("windmilling", "stopped")
SLICES = 4  # of height between the level and circuit height
STEP_M = float(to_si(1, "nm"))
PAIRS_AT_ONCE = 8  # arrays that stay in the processor's own memory
DRAG_ERROR_1 = 0.5 / 1.645  # sd over value: half of it is taken for the 5 and 95 % ends of the propeller's drag
ROOM_1 = 1.1
EARTH_M, SPHERE_ERROR_1 = 6371000.0, 1.01  # a sphere for what is certainly out of reach, with room for the ellipsoid
HOW_WORDS = ("Terrain between is not looked at. Straight to {circuit} ft above the aerodrome at best-glide speed, no time lost "
             "before the glide begins and no height in turns; the whole route at that level.")
NONE_WORDS = " No aerodrome is counted."
CALM_WORDS = "No winds and temperatures aloft are given, so the share is not known; add [aloft]."


@dataclass(frozen=True)
class GlideShare:
    """Share of the route's length within glide at one level: 5, 50 and 95 % over the draws, None: not known, `words` why."""

    level_m: float
    propeller: Propeller
    low_1: float | None
    median_1: float | None
    high_1: float | None
    words: str


@dataclass(frozen=True)
class GlideShares:
    """Shares by level and propeller; the aerodromes that were counted and those that could not be, with why."""

    shares: tuple[GlideShare, ...]
    counted: tuple[str, ...]
    not_counted: tuple[str, ...]


@dataclass(frozen=True)
class Places:
    """Positions (deg), each (place,), and what each stands for: length of route (m) or height of arrival (m)."""

    lat_deg: FloatArray
    lon_deg: FloatArray
    amount_m: FloatArray


def glide_share(legs: tuple[Leg, ...], levels_m: tuple[float, ...], aerodromes: tuple[Aerodrome, ...], model: Model,
                air: AirMass, weight_kg: FloatArray, drag_noise: FloatArray, circuit_height_m: float) -> GlideShares:
    """Share of the route's length from which some aerodrome can be glided to, arriving at circuit height above it.

    legs: the route; levels_m: altitudes; aerodromes: those fit to land at, within reach of the route (an elevation that is
    not known or a closed one is not counted and named); weight_kg (draw,): in the cruise; drag_noise (draw,): standard
    normals of the propeller's drag. All draws are those of `model` and `air`. Shares 0 to 1.
    """
    fields, counted, not_counted = _fields(aerodromes, circuit_height_m)
    points = sample_route(legs)
    words = HOW_WORDS.format(circuit=f"{from_si(circuit_height_m, 'ft'):,.0f}") + ("" if counted else NONE_WORDS)
    shares = tuple(_share(points, fields, level, model, air, weight_kg, drag_noise, propeller, words)
                   for level in levels_m for propeller in PROPELLERS)
    return GlideShares(shares, counted, not_counted)


def sample_route(legs: tuple[Leg, ...], step_m: float = STEP_M) -> Places:
    """Middles of equal pieces of each leg, step_m at most, with the length of each piece."""
    return Places(*_pieces(ways_of(legs), step_m))


Ways = tuple[tuple[float, float, float, float], ...]  # of each leg: where it starts (deg), its initial course (deg), its length


def ways_of(legs: tuple[Leg, ...]) -> Ways:
    """A route as plain numbers."""
    return tuple((leg.start.lat_deg, leg.start.lon_deg, leg.initial_course_deg, leg.distance_m) for leg in legs)


@lru_cache(maxsize=16)
def _pieces(ways: Ways, step_m: float) -> FloatArray:
    """(lat, lon, length) of each piece, kept for the routes asked last: a change of the load leaves the route."""
    found: list[tuple[float, float, float]] = []
    for lat, lon, course, distance_m in ways:
        pieces = int(np.ceil(distance_m / step_m))
        length = distance_m / pieces
        found += [(*direct(lat, lon, course, (i + 0.5) * length)[:2], length) for i in range(pieces)]
    table = np.array(found).T
    table.flags.writeable = False
    return table


def _fields(aerodromes: tuple[Aerodrome, ...], circuit_height_m: float) -> tuple[Places, tuple[str, ...], tuple[str, ...]]:
    """Aerodromes with their height of arrival, the idents counted, and the sentences of those that are not."""
    found, counted, not_counted = [], [], []
    for a in aerodromes:
        if a.closed or a.elevation_m is None:
            not_counted.append(f"{a.ident} is not counted: " + ("it is closed." if a.closed else "its elevation is not known."))
            continue
        found.append((a.lat_deg, a.lon_deg, a.elevation_m + circuit_height_m))
        counted.append(a.ident)
    return Places(*np.array(found).reshape(-1, 3).T), tuple(counted), tuple(not_counted)


def _share(points: Places, fields: Places, level_m: float, model: Model, air: AirMass, weight_kg: FloatArray,
           drag_noise: FloatArray, propeller: Propeller, words: str) -> GlideShare:
    """One level with one propeller state; not known without winds or beyond the model's range."""
    if not air.known:
        return GlideShare(level_m, propeller, None, None, None, CALM_WORDS)
    try:
        reached = _reached(points, fields, level_m, model, air, weight_kg, drag_noise, propeller)
    except OutOfRange as error:
        return GlideShare(level_m, propeller, None, None, None, f"Not known: {error}")
    draws = points.amount_m @ reached / points.amount_m.sum()
    low, median, high = (float(x) for x in np.quantile(draws, [0.05, 0.5, 0.95]))
    return GlideShare(level_m, propeller, low, median, high, words)


def _reached(points: Places, fields: Places, level_m: float, model: Model, air: AirMass, weight_kg: FloatArray,
             drag_noise: FloatArray, propeller: Propeller) -> NDArray[np.bool_]:
    """(point, draw): whether some aerodrome can be glided to; a way is flown only where the distance alone does not tell."""
    reached = np.zeros((points.lat_deg.size, weight_kg.size), dtype=bool)
    below = np.flatnonzero(fields.amount_m <= level_m)
    check_range(Air(air.pressure_altitude_m(level_m), air.middle_temperature_k(level_m)))
    if not below.size:
        return reached
    slices = glide_slices(model, air, weight_kg, drag_noise, level_m, fields.amount_m[below], propeller)
    away = _away(points, fields, below)
    reached[np.any(away * SPHERE_ERROR_1 <= slices.nearest_m(), axis=1)] = True
    point, place = np.nonzero((away <= slices.farthest_m() * SPHERE_ERROR_1) & ~reached[:, :1])
    distance, course = _ways(points, fields, point, below[place])
    for start in range(0, point.size, PAIRS_AT_ONCE):
        some = slice(start, start + PAIRS_AT_ONCE)
        hits = slices.reach_m(place[some], course[some]) >= distance[some, None]
        for at, hit in zip(point[some], hits, strict=True):
            reached[at] |= hit
    return reached


@dataclass(frozen=True)
class GlideSlices:
    """A glide by slice of height to each place, (place, slice, draw): horizontal airspeed, time, wind towards east and north."""

    forward_m_s: FloatArray
    time_s: FloatArray
    east_m_s: FloatArray
    north_m_s: FloatArray

    def reach_m(self, place: NDArray[np.intp], course_deg: FloatArray) -> FloatArray:
        """Distance over the ground (pair, draw) along a course (pair,) to a place (pair,): sum of groundspeed x time.

        Without wind ratio x height exactly. NaN where the wind of a slice leaves no groundspeed.
        """
        ground = over_ground_m_s(course_deg[:, None, None], self.forward_m_s[place], self.east_m_s[place], self.north_m_s[place])
        return np.asarray(np.sum(ground * self.time_s[place], axis=1))

    @cached_property
    def _wind_m_s(self) -> FloatArray:
        return np.hypot(self.east_m_s, self.north_m_s)

    def farthest_m(self) -> FloatArray:
        """A distance (place,) beyond every draw's reach: all of the wind from behind."""
        return np.asarray(np.max(np.nan_to_num(np.sum((self.forward_m_s + self._wind_m_s) * self.time_s, axis=1)), axis=1))

    def nearest_m(self) -> FloatArray:
        """A distance (place,) within every draw's reach: all of the wind ahead; -inf where some draw may not get on at all."""
        least = self.forward_m_s - self._wind_m_s
        sure = np.all(least > 0, axis=(1, 2))
        return np.where(sure, np.min(np.sum(least * self.time_s, axis=1), axis=1), -np.inf)


def glide_slices(model: Model, air: AirMass, weight_kg: FloatArray, drag_noise: FloatArray, level_m: float,
                 arrival_m: FloatArray, propeller: Propeller) -> GlideSlices:
    """The glide from a level to heights of arrival (place,), in SLICES equal slices, each by its middle.

    Time = slice/rate of sink; horizontal airspeed = rate of sink x ratio. arrival_m <= level_m; the model's hard range.
    Source: `performance.landing.glide`. Check: MO-01.
    """
    thick = (level_m - arrival_m) / SLICES
    heights = (arrival_m[:, None] + (np.arange(SLICES) + 0.5) * thick[:, None]).ravel()
    here = air.here(heights)
    check_range(here)
    found = glide(_with_drag_error(model, propeller, drag_noise), here, weight_kg[None, :], propeller)
    shape = (arrival_m.size, SLICES, weight_kg.size)
    east, north = air.blowing(heights)
    return GlideSlices((found.sink_m_s * found.ratio_1).reshape(shape), thick[:, None, None] / found.sink_m_s.reshape(shape),
                       east.reshape(shape), north.reshape(shape))


def farthest_1(model: Model, air: AirMass, weight_kg: FloatArray, drag_noise: FloatArray, lowest_m: float) -> float:
    """More than the distance over height of every draw's glide to a place at `lowest_m` or above it, whatever the course.

    Best ratio + strongest wind of any level/least rate of sink, the propeller stopped, which drags less, in the lowest and
    so densest air; weight_kg (draw,): the lightest; ROOM_1 for air that grows denser upwards. inf: no bound is known.
    """
    found = glide(_with_drag_error(model, "stopped", drag_noise), air.here(np.array([lowest_m])), weight_kg[None, :], "stopped")
    wind = np.max(np.hypot(*air.blowing(np.array([w[0] for w in air.winds]))), axis=0)
    farthest = float(np.max(found.ratio_1 + wind / found.sink_m_s)) * ROOM_1
    return farthest if np.isfinite(farthest) else np.inf


def _with_drag_error(model: Model, propeller: Propeller, noise: FloatArray) -> Model:
    """The model with the error of the propeller's drag on its CD0; the drag itself never below nothing."""
    drag = WINDMILLING_DRAG_1 if propeller == "windmilling" else STOPPED_DRAG_1
    values = model.draws.values.copy()
    values[:, parameter_names().index("CD0")] += drag * np.maximum(DRAG_ERROR_1 * noise, -1.0)
    draws: Draws = replace(model.draws, values=values)
    return Model(model.airframe, model.surrogate, draws)


def _away(points: Places, fields: Places, below: NDArray[np.intp]) -> FloatArray:
    """Distance on a sphere (point, place) from each point to each place of `below`."""
    lat, lon = np.radians(points.lat_deg)[:, None], np.radians(points.lon_deg)[:, None]
    lat_to, lon_to = np.radians(fields.lat_deg[below]), np.radians(fields.lon_deg[below])
    half = np.sin((lat_to - lat) / 2) ** 2 + np.cos(lat) * np.cos(lat_to) * np.sin((lon_to - lon) / 2) ** 2
    return np.asarray(2 * EARTH_M * np.arcsin(np.sqrt(np.minimum(half, 1.0))))


def _ways(points: Places, fields: Places, point: NDArray[np.intp], field: NDArray[np.intp]) -> tuple[FloatArray, FloatArray]:
    """Distance (m) and true course of the geodesic of each pair."""
    return inverse_all(points.lat_deg[point], points.lon_deg[point], fields.lat_deg[field], fields.lon_deg[field])[:2]
