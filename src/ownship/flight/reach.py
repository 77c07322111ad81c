"""Reach: how far this load, fuel and air carry in every direction, and which aerodromes lie inside.

The flight of `timeline` along one geodesic a bearing: the weight falls with the fuel, the course turns along the line.
Each phase is a table over the fuel left, made once. Arrays (bearing, draw); method and limits: docs/methods/reach.md.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ownship.errors import BadInput
from ownship.flight.airmass import AirMass
from ownship.flight.chance import middle
from ownship.flight.timeline import CLIMB_STEPS, DESCENT_STEPS, Settings, holding_flow_m3_s, power_setting
from ownship.performance import climb as climbing
from ownship.performance import cruise as cruising
from ownship.performance.model import Model, check_range
from ownship.physics.airspeed import cas_from_tas_m_s
from ownship.physics.atmosphere import Air
from ownship.physics.wind import wind_triangle
from ownship.units import from_si
from ownship.words.figures import figure
from ownship.world.aerodromes import Aerodrome
from ownship.world.geodesy import direct, inverse

FloatArray = NDArray[np.float64]
ONE_WAY, LANDED, TURNED = "one way", "there and back with a landing", "there and back without landing"
BANDS = {"low": 0.05, "median": 0.5, "high": 0.95}
LEAST_BEARINGS = 8
SHARES = np.linspace(0.0, 1.0, 4)  # fuel left over fuel on board where the phases are worked out; a cubic joins them
TO_CUBIC = np.linalg.inv(np.vander(SHARES, increasing=True))
CRUISE_STEPS, COURSE_NODES, ROUNDS = 6, 33, 12
FIRST_STEP_M, FOUND_KG, NEVER_KG, HALF_THE_EARTH_M = 10_000.0, 1e-3, 1e9, 1.9e7
ELEVATION_STEP_M = 100.0  # aerodromes are reached at their elevation to the nearest of these


@dataclass(frozen=True)
class Start:
    """Where the flight begins and with what.

    Each (draw,): dry_kg without usable fuel, usable fuel on board and required at the last landing, factor on the taxi fuel.
    contingency_1: the owner's share of the trip, which the low end covers at least.
    """

    name: str
    lat_deg: float
    lon_deg: float
    elevation_m: float
    dry_kg: FloatArray
    on_board_m3: FloatArray
    required_m3: FloatArray
    taxi_fuel_1: FloatArray
    contingency_1: float = 0.0


def _at(table: FloatArray, share: FloatArray) -> FloatArray:
    return np.asarray(table[0] + share * (table[1] + share * (table[2] + share * table[3])))


@dataclass(frozen=True)
class _Step:
    """A piece of a flight (of the cruise: one second): cubics in the share of fuel left, and the wind (from, speed)."""

    tas_m_s: FloatArray
    time_s: FloatArray
    fuel_kg: FloatArray
    wind: tuple[FloatArray, FloatArray]


@dataclass(frozen=True)
class _Way:
    """One flight along the lines, out or home: what comes before the cruise, the cruise, what comes after it."""

    home: bool
    before: list[_Step]
    cruise: _Step
    after: list[_Step]


@dataclass(frozen=True)
class _Loaded:
    """The loaded aeroplane in its air: every phase of `timeline` as steps over the fuel left."""

    model: Model
    air: AirMass
    settings: Settings
    start: Start

    @cached_property
    def full_kg(self) -> FloatArray:
        return np.maximum(self.start.on_board_m3 * self.model.airframe.fuel_density_kg_m3, 1.0)

    @cached_property
    def weights_kg(self) -> FloatArray:
        return np.asarray(self.start.dry_kg + SHARES[:, None] * self.full_kg)

    @cached_property
    def taxi_kg(self) -> FloatArray:
        return self.settings.taxi_fuel_m3 * self.start.taxi_fuel_1 * self.model.airframe.fuel_density_kg_m3

    @cached_property
    def state(self) -> cruising.Cruise:
        return power_setting(self.model, self.air_at(self.settings.cruise_altitude_m), self.weights_kg, self.settings)

    def air_at(self, altitude_m: float) -> Air:
        return Air(self.air.pressure_altitude_m(altitude_m), self.air.temperature_k(altitude_m)[None, :])

    def step(self, tas: FloatArray, time: FloatArray, fuel: FloatArray, altitude_m: float) -> _Step:
        a, b, c = (np.einsum("ij,jk->ik", TO_CUBIC, np.broadcast_to(x, self.weights_kg.shape)) for x in (tas, time, fuel))
        return _Step(a, b, c, self.air.wind(altitude_m))

    def up(self, elevation_m: float) -> list[_Step]:
        air, level = self.air, self.settings.cruise_altitude_m
        found = [self.step(self.state.tas_m_s, np.zeros(1), self.taxi_kg, level)]
        for low, high in pairwise(np.linspace(elevation_m, level, CLIMB_STEPS + 1).tolist()):
            done = climbing.climb(self.model, air.pressure_altitude_m(low), air.pressure_altitude_m(high),
                                  (air.temperature_k(low)[None, :], air.temperature_k(high)[None, :]), self.weights_kg,
                                  relative_humidity_1=air.humidity_1, carburettor_heat="climb" in self.settings.heat)
            found.append(self.step(done.mean_tas_m_s, done.time_s, done.fuel_kg, (low + high) / 2))
        return found

    def down(self, elevation_m: float) -> list[_Step]:
        """Descent at the cruise CAS to the circuit, approach and landing."""
        s, circuit = self.settings, elevation_m + self.settings.circuit_height_m
        cas = middle(cas_from_tas_m_s(self.state.tas_m_s[1], self.air_at(s.cruise_altitude_m))[0])
        found = []
        for high, low in pairwise(np.linspace(s.cruise_altitude_m, min(circuit, s.cruise_altitude_m), DESCENT_STEPS + 1).tolist()):
            state = cruising.descent(self.model, self.air_at((high + low) / 2), self.weights_kg, cas, s.descent_rate_m_s,
                                     carburettor_heat="descent" in s.heat)
            time = np.array([(high - low) / s.descent_rate_m_s])
            found.append(self.step(state.tas_m_s, time, state.fuel_kg_s * time, (high + low) / 2))
        flows = [holding_flow_m3_s(self.model, self.air, w, circuit, "approach" in s.heat) for w in self.weights_kg]
        fuel = np.array(flows) * self.model.airframe.fuel_density_kg_m3 * s.approach_s
        return [*found, self.step(self.state.tas_m_s, np.zeros(1), fuel, s.cruise_altitude_m)]

    def lines(self, trip: str, far_m: float, bearings_deg: FloatArray) -> _Lines:
        """The ways of a trip on geodesics as long as all the fuel at the least flow with the wind behind."""
        s, state, level, here = self.start, self.state, self.settings.cruise_altitude_m, self.start.elevation_m
        flow = np.nan_to_num(state.fuel_kg_s, nan=np.inf)
        longest = np.max((np.nan_to_num(state.tas_m_s) + self.air.wind(level)[1]) * self.full_kg / flow)
        at = np.linspace(0.0, np.clip(longest, 1.0, HALF_THE_EARTH_M), COURSE_NODES).tolist()
        courses = [[direct(s.lat_deg, s.lon_deg, b, d)[2] for d in at] for b in bearings_deg.tolist()]
        cruise = self.step(state.tas_m_s, np.ones(1), state.fuel_kg_s, level)
        landing, leaving = ([], []) if trip == TURNED else (self.down(far_m), self.up(far_m) if trip == LANDED else [])
        ways = [_Way(False, self.up(here), cruise, landing)]
        ways += [] if trip == ONE_WAY else [_Way(True, leaving, cruise, self.down(here))]
        return _Lines(self, tuple(ways), at[1], np.unwrap(np.array(courses), period=360.0))


@dataclass(frozen=True)
class _Lines:
    """A trip on the geodesics of some bearings; courses_deg (bearing, node) at distances step_m apart from the start."""

    loaded: _Loaded
    ways: tuple[_Way, ...]
    step_m: float
    courses_deg: FloatArray

    def share(self, burnt_kg: FloatArray) -> FloatArray:
        return np.asarray(1.0 - burnt_kg / self.loaded.full_kg)

    def ground_m_s(self, way: _Way, step: _Step, length_m: FloatArray, flown_m: FloatArray, burnt_kg: FloatArray) -> FloatArray:
        """Groundspeed after a distance flown of a way, on the course there."""
        place = np.nan_to_num(length_m - flown_m if way.home else flown_m) / self.step_m
        i = np.clip(place, 0, COURSE_NODES - 2).astype(int)
        left, right = (np.take_along_axis(self.courses_deg, i + k, axis=1) for k in (0, 1))
        course = left + (right - left) * (place - i) + 180.0 * way.home
        return wind_triangle(course, _at(step.tas_m_s, self.share(burnt_kg)), *step.wind)[1]

    def burnt(self, length_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Fuel (kg) from blocks to blocks over lines of a length, and the least distance left for a cruise (may be negative)."""
        burnt, room = np.zeros_like(length_m), np.full_like(length_m, np.inf)
        for way in self.ways:
            flown, top = np.zeros_like(length_m), length_m
            for step in way.before:
                time, ground = _at(step.time_s, self.share(burnt)), self.ground_m_s(way, step, length_m, flown, burnt)
                flown, burnt = flown + ground * time, burnt + _at(step.fuel_kg, self.share(burnt))
            for step in reversed(way.after):
                top = top - self.ground_m_s(way, step, length_m, top, burnt) * _at(step.time_s, self.share(burnt))
            room, h = np.minimum(room, top - flown), np.maximum(top - flown, 0.0) / CRUISE_STEPS
            for _ in range(CRUISE_STEPS):
                half = burnt + h / 2 * self._burn_kg_m(way, length_m, flown, burnt)
                flown, burnt = flown + h, burnt + h * self._burn_kg_m(way, length_m, flown + h / 2, half)
            for step in way.after:
                burnt = burnt + _at(step.fuel_kg, self.share(burnt))
        return burnt, room

    def _burn_kg_m(self, way: _Way, length_m: FloatArray, flown_m: FloatArray, burnt_kg: FloatArray) -> FloatArray:
        """Flow over groundspeed in the cruise."""
        flow = _at(way.cruise.fuel_kg, self.share(burnt_kg))
        return np.asarray(flow / self.ground_m_s(way, way.cruise, length_m, flown_m, burnt_kg))

    def solve(self, contingency_1: float = 0.0) -> FloatArray:
        """Length whose trip x (1 + contingency) leaves what is required: 0 if none does, NaN where it cannot be flown or found."""
        p, start = self.loaded, self.loaded.start
        most = (start.on_board_m3 - start.required_m3) * p.model.airframe.fuel_density_kg_m3
        most = (most + contingency_1 * p.taxi_kg) / (1 + contingency_1)
        a = np.maximum(-self.burnt(np.zeros((self.courses_deg.shape[0], most.size)))[1], 0.0)
        least = self.burnt(a)[0]
        over_a, b = least - most, a + FIRST_STEP_M
        for _ in range(ROUNDS):
            over_b = self.burnt(b)[0] - most
            more = np.abs(over_b) > FOUND_KG
            if not more.any():
                break
            with np.errstate(divide="ignore", invalid="ignore"):
                new = np.clip(b - over_b * (b - a) / (over_b - over_a), 0.0, HALF_THE_EARTH_M)
            a, over_a, b = np.where(more, b, a), np.where(more, over_b, over_a), np.where(more, new, b)
        return np.where(least > most, 0.0, np.where(np.abs(self.burnt(b)[0] - most) <= FOUND_KG, b, np.nan))


@dataclass(frozen=True)
class Reach:
    """How far: ground distances (bearing, draw) in metres; a draw that cannot be flown counts as 0.

    low_m, median_m, high_m (bearing,): 5, 50 and 95 %; low covers the owner's contingency too. why: for each bearing
    why low_m is 0, else "". far_elevation_m: where the far end is taken to lie.
    """

    start: Start
    trip: str
    bearings_deg: FloatArray
    distance_m: FloatArray
    low_m: FloatArray
    median_m: FloatArray
    high_m: FloatArray
    why: tuple[str, ...]
    level_m: float
    far_elevation_m: float
    wind_source: str
    notes: tuple[str, ...]
    loaded: _Loaded = field(repr=False, compare=False)


def reach(model: Model, air: AirMass, settings: Settings, start: Start, *, trip: str = ONE_WAY, bearings: int = 72,
          far_elevation_m: float | None = None, wind_source: str = "[aloft] of the request") -> Reach:
    """Ground distance on each true bearing at which the usable fuel left at the last landing is the required one.

    on board - required = taxi + climb + integral of flow/groundspeed over the cruise + descent + approach, twice where the
    trip lands and comes back without refuelling. far_elevation_m None: as high as the start. Arrays (draw,) in `start`, answers
    (bearing,) and (bearing, draw), SI. BadInput: no winds and temperatures aloft, unknown trip, fewer than 8 bearings, a
    level not above both ends. OutOfRange: beyond the model's air. Checks: still-air circle, direct integration.
    """
    far = start.elevation_m if far_elevation_m is None else far_elevation_m
    _refuse(air, settings, start, trip, bearings, far)
    loaded, angles = _Loaded(model, air, settings, start), np.linspace(0.0, 360.0, bearings, endpoint=False, dtype=np.float64)
    lines, cannot = loaded.lines(trip, far, angles), _cannot(loaded, 0.5)
    solved = lines.solve()
    distance = np.zeros_like(solved) if cannot else np.nan_to_num(solved, nan=0.0)
    low, median, high = (np.quantile(distance, q, axis=1) for q in BANDS.values())
    if start.contingency_1 > 0 and not cannot:
        low = np.minimum(low, np.median(np.nan_to_num(lines.solve(start.contingency_1), nan=0.0), axis=1))
    why = tuple("" if low[i] > 0 else cannot or _why(loaded, solved[i], median[i] > 0) for i in range(bearings))
    unsure = ("Full throttle may not give this power at this level.",) if np.mean(loaded.state.attainable) < 0.95 else ()
    return Reach(start, trip, angles, distance, low, median, high, why, settings.cruise_altitude_m, far, wind_source,
                 (*air.notes, *unsure), loaded)


def _refuse(air: AirMass, settings: Settings, start: Start, trip: str, bearings: int, far_m: float) -> None:
    level, highest = (f"{from_si(x, 'ft'):,.0f} ft" for x in (settings.cruise_altitude_m, max(start.elevation_m, far_m)))
    if trip not in (ONE_WAY, LANDED, TURNED):
        raise BadInput(f"The trip {trip!r} is not known; write \"{ONE_WAY}\", \"{LANDED}\" or \"{TURNED}\".")
    if bearings < LEAST_BEARINGS:
        raise BadInput(f"{bearings} bearings are too few to draw a reach; ask for {LEAST_BEARINGS} or more.")
    if not air.known:
        raise BadInput(f"[aloft]: no wind and temperature aloft are given, so the reach at {level} is not known; enter both.")
    if settings.cruise_altitude_m <= max(start.elevation_m, far_m):
        raise BadInput(f"cruise_altitude: {level} is not above the higher end, which lies at {highest}; give a higher one.")
    for height in (start.elevation_m, far_m, settings.cruise_altitude_m):
        check_range(Air(air.pressure_altitude_m(height), air.middle_temperature_k(height)))


def _cannot(loaded: _Loaded, able_1: float) -> str:
    """Why fewer than a share of the draws can fly this level at all, judged as the assessment does; "" where they can."""
    state, level = loaded.state, f"{from_si(loaded.settings.cruise_altitude_m, 'ft'):,.0f} ft"
    climbs = np.sum([step.time_s for step in loaded.up(loaded.start.elevation_m)], axis=(0, 1))
    if np.mean(np.isfinite(climbs)) < able_1:
        return f"The aeroplane cannot climb to {level} with this load."
    if np.mean(np.isfinite(state.tas_m_s)) < able_1:
        return f"Level flight at this rpm or power is not possible at {level}."
    if np.any(state.over_limit):
        return f"The propeller would turn above its limit at {level}."
    return f"Full throttle does not give this power at {level}." if np.mean(state.attainable) < min(able_1, 0.5) else ""


def _why(loaded: _Loaded, solved_m: FloatArray, partly: bool) -> str:
    """Why a bearing has no reach at all, or none at the low end of its band."""
    able, lead = (1.0 - BANDS["low"], "At the low end of the band: ") if partly else (0.5, "")
    if np.mean(np.isfinite(solved_m)) >= able:
        return f"{lead}The fuel above what must be left does not cover taxi, climb, descent and approach at this level."
    speeds = np.median(loaded.air.wind(loaded.settings.cruise_altitude_m)[1]), np.nanmedian(loaded.state.tas_m_s)
    wind, tas = (f"{from_si(float(x), 'kt'):.0f} kt" for x in speeds)
    return lead + (_cannot(loaded, able) or "The wind is stronger than the true airspeed allows on this course (at the "
                   f"level {wind} and {tas}).")


def polygon(found: Reach, band: str = "low") -> dict[str, Any]:
    """The reach of one band ("low", "median", "high") as a GeoJSON feature (RFC 7946).

    WGS84 longitude, latitude; ring closed and anticlockwise, cut at the antimeridian, led round a pole inside it.
    geometry None where the reach has no area. Between bearings the edge is a straight line of the map.
    """
    if band not in BANDS:
        raise BadInput(f"The band {band!r} is not known; write {', '.join(BANDS)}.")
    s, far, ring = found.start, getattr(found, f"{band}_m"), list[tuple[float, float]]()
    for bearing, distance in zip(found.bearings_deg[::-1].tolist(), far[::-1].tolist(), strict=True):
        lat, lon, _ = direct(s.lat_deg, s.lon_deg, bearing, distance)
        lon += 360.0 * round(((ring[-1][0] if ring else s.lon_deg) - lon) / 360.0)
        point = (round(lon, 7), round(lat, 7))
        ring += [] if point in ring[-1:] else [point]
    if len(ring) > 1 and ring[-1] == ring[0]:
        ring.pop()
    turn, (lon, lat) = 360.0 * round((ring[-1][0] - ring[0][0]) / 360.0), ring[0]
    if turn:  # once round the Earth, eastwards round the north pole: closed along the pole
        pole = float(np.copysign(90.0, turn))
        ring += [(lon + turn, lat), (lon + turn, pole), (lon, pole)]
    parts = _cut(ring) if np.count_nonzero(far) > 1 else []
    geometry = {"type": "MultiPolygon", "coordinates": [[p] for p in parts]} if len(parts) > 1 else {
        "type": "Polygon", "coordinates": parts}
    low, median, high = (float(np.quantile(s.required_m3, q)) for q in BANDS.values())
    properties = {"origin": s.name, "trip": found.trip, "band": band, "level": figure(found.level_m, "ft").to_json(),
                  "reserve": figure(median, "usgal", low, high).to_json(), "wind_source": found.wind_source,
                  "far_elevation": figure(found.far_elevation_m, "ft").to_json(), "notes": list(found.notes),
                  "no_reach": {f"{b:.0f}": w for b, w, d in zip(found.bearings_deg, found.why, far, strict=True) if d == 0}}
    return {"type": "Feature", "geometry": geometry if parts else None, "properties": properties}


def _cut(ring: list[tuple[float, float]]) -> list[list[list[float]]]:
    """The ring in closed pieces between -180 and 180 degrees."""
    first, last = (int((edge(x for x, _ in ring) + 180.0) // 360.0) for edge in (min, max))
    pieces = [_beside(_beside([(x - 360.0 * k, y) for x, y in ring], -180.0), 180.0) for k in range(first, last + 1)]
    return [[[round(x, 7), round(y, 7)] for x, y in (*p, p[0])] for p in pieces if len(p) > 2 and np.ptp([x for x, _ in p]) > 0]


def _beside(ring: list[tuple[float, float]], edge: float) -> list[tuple[float, float]]:
    """What of a ring lies on this side of the meridian `edge`, with points where it is crossed."""
    found: list[tuple[float, float]] = []
    for (x0, y0), (x1, y1) in zip((ring[-1:] + ring), ring, strict=False):
        if (x0 - edge) * (x1 - edge) < 0:
            found.append((edge, y0 + (y1 - y0) * (edge - x0) / (x1 - x0)))
        if x1 * edge <= edge * edge:
            found.append((x1, y1))
    return found


@dataclass(frozen=True)
class Candidate:
    """An aerodrome inside: initial true course, distance, usable fuel left at the last landing (5, 50, 95 %).

    certain: inside the low reach, otherwise inside the median one. short: nearer than climb and descent at this level
    need, whose whole fuel is counted.
    """

    ident: str
    course_deg: float
    distance_m: float
    left_m3: tuple[float, float, float]
    certain: bool
    short: bool


def inside(found: Reach, aerodromes: Iterable[Aerodrome]) -> tuple[tuple[Candidate, ...], tuple[str, ...]]:
    """The candidates inside the median reach, nearest first, and a sentence for each aerodrome that was not looked at.

    Each is flown to at its own course, distance and elevation; whether one can land there and leave again is not judged.
    """
    groups: dict[float, list[tuple[str, float, float]]] = {}
    s, limit, refused = found.start, float(np.max(found.median_m)), []
    for place in aerodromes:
        distance, course, _ = inverse(s.lat_deg, s.lon_deg, place.lat_deg, place.lon_deg)
        height = None if place.elevation_m is None else ELEVATION_STEP_M * round(place.elevation_m / ELEVATION_STEP_M)
        why = "is closed" if place.closed else "lies above the level" if (height or 0.0) >= found.level_m else ""
        if height is None or why:
            refused += [f"{place.ident} {why or 'has no known elevation'}."] if distance <= limit else []
        elif 1.0 < distance <= limit:
            groups.setdefault(height, []).append((place.ident, course, distance))
    every = [c for height, group in groups.items() for c in _reached(found, height, group)]
    return tuple(sorted(every, key=lambda c: c.distance_m)), tuple(refused)


def _reached(found: Reach, far_m: float, group: list[tuple[str, float, float]]) -> list[Candidate]:
    """The candidates among (ident, course, distance) of one elevation; a draw that cannot be flown has nothing left."""
    p, s = found.loaded, found.start
    _, courses, distances = zip(*group, strict=True)
    lines = p.lines(found.trip, far_m, np.array(courses))
    burnt, room = lines.burnt(np.repeat(np.array(distances)[:, None], s.on_board_m3.size, axis=1))
    used = np.nan_to_num(burnt, nan=NEVER_KG) / p.model.airframe.fuel_density_kg_m3
    over = s.on_board_m3 - used - s.required_m3
    cover = s.contingency_1 * np.median(used - p.taxi_kg / p.model.airframe.fuel_density_kg_m3, axis=1)
    certain = (np.quantile(over, BANDS["low"], axis=1) >= 0) & (np.median(over, axis=1) >= cover)
    left_m3 = np.quantile(np.where(np.isfinite(burnt), s.on_board_m3 - used, 0.0), tuple(BANDS.values()), axis=1).T.tolist()
    return [Candidate(*place, tuple(left_m3[i]), bool(certain[i]), bool(np.median(room[i]) < 0))
            for i, place in enumerate(group) if np.median(over[i]) >= 0]
