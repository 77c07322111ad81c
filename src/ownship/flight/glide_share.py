"""Share of the route from which an aerodrome can be glided to, by level, propeller windmilling or stopped.

Pure. Best glide straight to circuit height above the aerodrome, slice by slice of height with the wind of each slice;
everything is judged for every draw. Terrain between is not looked at.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ownship.errors import OutOfRange
from ownship.flight.airmass import AirMass
from ownship.flight.route import Leg
from ownship.performance.landing import STOPPED_DRAG_1, WINDMILLING_DRAG_1, glide
from ownship.performance.model import Draws, Model, check_range, parameter_names
from ownship.physics.atmosphere import Air
from ownship.physics.wind import groundspeed
from ownship.units import from_si, to_si
from ownship.world.aerodromes import Aerodrome
from ownship.world.geodesy import direct, inverse

FloatArray = NDArray[np.float64]
Propeller = Literal["windmilling", "stopped"]
PROPELLERS: tuple[Propeller, ...] = ("windmilling", "stopped")
SLICES = 4  # of height between the level and circuit height
STEP_M = float(to_si(1, "nm"))
PAIRS_AT_ONCE = 256
DRAG_ERROR_1 = 0.5 / 1.645  # sd over value: half of it is taken for the 5 and 95 % ends of the propeller's drag
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
    found = []
    for leg in legs:
        pieces = int(np.ceil(leg.distance_m / step_m))
        length = leg.distance_m / pieces
        found += [(*direct(leg.start.lat_deg, leg.start.lon_deg, leg.initial_course_deg, (i + 0.5) * length)[:2], length)
                  for i in range(pieces)]
    return Places(*np.array(found).T)


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
    """(point, draw): whether some aerodrome can be glided to."""
    reached = np.zeros((points.lat_deg.size, weight_kg.size), dtype=bool)
    below = np.flatnonzero(fields.amount_m <= level_m)
    check_range(Air(air.pressure_altitude_m(level_m), air.middle_temperature_k(level_m)))
    if not below.size:
        return reached
    slices = glide_slices(model, air, weight_kg, drag_noise, level_m, fields.amount_m[below], propeller)
    point, place = _pairs(points, fields, below, slices.farthest_m())
    for start in range(0, point.size, PAIRS_AT_ONCE):
        some = slice(start, start + PAIRS_AT_ONCE)
        distance, course = _ways(points, fields, point[some], below[place[some]])
        np.logical_or.at(reached, point[some], slices.reach_m(place[some], course) >= distance[:, None])
    return reached


@dataclass(frozen=True)
class GlideSlices:
    """A glide by slice of height to each place, (place, slice, draw): horizontal airspeed, time, wind (from, speed)."""

    forward_m_s: FloatArray
    time_s: FloatArray
    wind_from_deg: FloatArray
    wind_m_s: FloatArray

    def reach_m(self, place: NDArray[np.intp], course_deg: FloatArray) -> FloatArray:
        """Distance over the ground (pair, draw) along a course (pair,) to a place (pair,): sum of groundspeed x time.

        Without wind ratio x height exactly. NaN where the wind of a slice leaves no groundspeed.
        """
        ground = groundspeed(course_deg[:, None, None], self.forward_m_s[place], self.wind_from_deg[place], self.wind_m_s[place])
        return np.asarray(np.sum(ground * self.time_s[place], axis=1))

    def farthest_m(self) -> FloatArray:
        """A distance (place,) beyond every draw's reach: all of the wind from behind."""
        return np.asarray(np.max(np.nan_to_num(np.sum((self.forward_m_s + self.wind_m_s) * self.time_s, axis=1)), axis=1))


def glide_slices(model: Model, air: AirMass, weight_kg: FloatArray, drag_noise: FloatArray, level_m: float,
                 arrival_m: FloatArray, propeller: Propeller) -> GlideSlices:
    """The glide from a level to heights of arrival (place,), in SLICES equal slices, each by its middle.

    Time = slice/rate of sink; horizontal airspeed = rate of sink x ratio. arrival_m <= level_m; the model's hard range.
    Source: `performance.landing.glide`. Check: MO-01.
    """
    thick = (level_m - arrival_m) / SLICES
    heights = (arrival_m[:, None] + (np.arange(SLICES) + 0.5) * thick[:, None]).ravel()
    here = Air(np.array([air.pressure_altitude_m(h) for h in heights])[:, None],
               np.array([air.temperature_k(h) for h in heights]))
    check_range(here)
    found = glide(_with_drag_error(model, propeller, drag_noise), here, weight_kg[None, :], propeller)
    shape = (arrival_m.size, SLICES, weight_kg.size)
    winds = [air.wind(h) for h in heights]
    return GlideSlices((found.sink_m_s * found.ratio_1).reshape(shape), thick[:, None, None] / found.sink_m_s.reshape(shape),
                       np.array([w[0] for w in winds]).reshape(shape), np.array([w[1] for w in winds]).reshape(shape))


def _with_drag_error(model: Model, propeller: Propeller, noise: FloatArray) -> Model:
    """The model with the error of the propeller's drag on its CD0; the drag itself never below nothing."""
    drag = WINDMILLING_DRAG_1 if propeller == "windmilling" else STOPPED_DRAG_1
    values = model.draws.values.copy()
    values[:, parameter_names().index("CD0")] += drag * np.maximum(DRAG_ERROR_1 * noise, -1.0)
    draws: Draws = replace(model.draws, values=values)
    return Model(model.airframe, model.surrogate, draws)


def _pairs(points: Places, fields: Places, below: NDArray[np.intp],
           farthest_m: FloatArray) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Indices of points and of the places of `below` that may be in reach of each other."""
    lat, lon = np.radians(points.lat_deg)[:, None], np.radians(points.lon_deg)[:, None]
    lat_to, lon_to = np.radians(fields.lat_deg[below]), np.radians(fields.lon_deg[below])
    half = np.sin((lat_to - lat) / 2) ** 2 + np.cos(lat) * np.cos(lat_to) * np.sin((lon_to - lon) / 2) ** 2
    away = 2 * EARTH_M * np.arcsin(np.sqrt(np.minimum(half, 1.0)))
    point, place = np.nonzero(away <= farthest_m * SPHERE_ERROR_1)
    return point, place


def _ways(points: Places, fields: Places, point: NDArray[np.intp], field: NDArray[np.intp]) -> tuple[FloatArray, FloatArray]:
    """Distance (m) and true course of the geodesic of each pair."""
    found = np.array([inverse(points.lat_deg[i], points.lon_deg[i], fields.lat_deg[j], fields.lon_deg[j])[:2]
                      for i, j in zip(point, field, strict=True)])
    return found[:, 0], found[:, 1]
