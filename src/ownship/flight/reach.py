"""Reach: how far this load, fuel and air carry in every direction.

The flight of `timeline` along one geodesic a bearing: the weight falls with the fuel, the course turns along the line.
Each phase is a table over the fuel left, made once. Arrays (bearing, draw); method and limits: docs/methods/reach.md.
As a map, and the aerodromes inside: reach_map.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise

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
from ownship.world.geodesy import direct

FloatArray = NDArray[np.float64]
ONE_WAY, LANDED, TURNED = "one way", "there and back with a landing", "there and back without landing"
BANDS = {"low": 0.05, "median": 0.5, "high": 0.95}
LEAST_BEARINGS = 8
SHARES = np.linspace(0.0, 1.0, 4)  # fuel left over fuel on board where the phases are worked out; a cubic joins them
TO_CUBIC = np.linalg.inv(np.vander(SHARES, increasing=True))
CRUISE_STEPS, COURSE_NODES, ROUNDS = 6, 33, 12
FIRST_STEP_M, FOUND_KG, HALF_THE_EARTH_M = 10_000.0, 1e-3, 1.9e7


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
    """A piece of a flight (of the cruise: one second): cubics in the share of fuel left, and the wind (from, speed).

    still_s: time in it that covers no distance (taxi, approach).
    """

    tas_m_s: FloatArray
    time_s: FloatArray
    fuel_kg: FloatArray
    wind: tuple[FloatArray, FloatArray]
    still_s: float = 0.0


@dataclass(frozen=True)
class _Way:
    """One flight along the lines, out or home: what comes before the cruise, the cruise, what comes after it."""

    home: bool
    before: list[_Step]
    cruise: _Step
    after: list[_Step]


@dataclass(frozen=True)
class Trip:
    """A trip over lines of a length, each (bearing, draw): fuel (kg) and time (s) from blocks to the last landing.

    out_kg, out_s: the same at the end of the first way; room_m: the least distance left for a cruise (may be negative).
    """

    burnt_kg: FloatArray
    time_s: FloatArray
    out_kg: FloatArray
    out_s: FloatArray
    room_m: FloatArray


@dataclass(frozen=True)
class _Loaded:
    """The loaded aeroplane in its air: every phase of `timeline` as steps over the fuel left."""

    model: Model
    air: AirMass
    settings: Settings
    start: Start
    kept: dict[tuple[str, float], list[_Step]] = field(default_factory=dict, repr=False, compare=False)

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

    def step(self, tas: FloatArray, time: FloatArray, fuel: FloatArray, altitude_m: float, still_s: float = 0.0) -> _Step:
        a, b, c = (np.einsum("ij,jk->ik", TO_CUBIC, np.broadcast_to(x, self.weights_kg.shape)) for x in (tas, time, fuel))
        return _Step(a, b, c, self.air.wind(altitude_m), still_s)

    def up(self, elevation_m: float) -> list[_Step]:
        """Taxi and climb, worked out once an elevation."""
        if ("up", elevation_m) not in self.kept:
            self.kept["up", elevation_m] = self._up(elevation_m)
        return self.kept["up", elevation_m]

    def down(self, elevation_m: float) -> list[_Step]:
        """Descent at the cruise CAS to the circuit, approach and landing, worked out once an elevation."""
        if ("down", elevation_m) not in self.kept:
            self.kept["down", elevation_m] = self._down(elevation_m)
        return self.kept["down", elevation_m]

    def _up(self, elevation_m: float) -> list[_Step]:
        air, level = self.air, self.settings.cruise_altitude_m
        found = [self.step(self.state.tas_m_s, np.zeros(1), self.taxi_kg, level, self.settings.taxi_s)]
        for low, high in pairwise(np.linspace(elevation_m, level, CLIMB_STEPS + 1).tolist()):
            done = climbing.climb(self.model, air.pressure_altitude_m(low), air.pressure_altitude_m(high),
                                  (air.temperature_k(low)[None, :], air.temperature_k(high)[None, :]), self.weights_kg,
                                  relative_humidity_1=air.humidity_1, carburettor_heat="climb" in self.settings.heat)
            found.append(self.step(done.mean_tas_m_s, done.time_s, done.fuel_kg, (low + high) / 2))
        return found

    def _down(self, elevation_m: float) -> list[_Step]:
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
        return [*found, self.step(self.state.tas_m_s, np.zeros(1), fuel, s.cruise_altitude_m, s.approach_s)]

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

    def trip(self, length_m: FloatArray) -> Trip:
        """The trip over lines of a length (bearing, draw)."""
        burnt, time, room, out = np.zeros_like(length_m), np.zeros_like(length_m), np.full_like(length_m, np.inf), None
        for way in self.ways:
            flown, top = np.zeros_like(length_m), length_m
            for step in way.before:
                lasts, ground = _at(step.time_s, self.share(burnt)), self.ground_m_s(way, step, length_m, flown, burnt)
                flown, time = flown + ground * lasts, time + lasts + step.still_s
                burnt = burnt + _at(step.fuel_kg, self.share(burnt))
            for step in reversed(way.after):
                top = top - self.ground_m_s(way, step, length_m, top, burnt) * _at(step.time_s, self.share(burnt))
            room, h = np.minimum(room, top - flown), np.maximum(top - flown, 0.0) / CRUISE_STEPS
            for _ in range(CRUISE_STEPS):
                half = burnt + h / 2 * self._per_m(way, length_m, flown, burnt)[0]
                burn_kg_m, time_s_m = self._per_m(way, length_m, flown + h / 2, half)
                flown, burnt, time = flown + h, burnt + h * burn_kg_m, time + h * time_s_m
            for step in way.after:
                time = time + _at(step.time_s, self.share(burnt)) + step.still_s
                burnt = burnt + _at(step.fuel_kg, self.share(burnt))
            out = out or (burnt, time)
        assert out is not None
        return Trip(burnt, time, *out, room)

    def _per_m(self, way: _Way, length_m: FloatArray, flown_m: FloatArray, burnt_kg: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Flow over groundspeed and one over groundspeed in the cruise."""
        slow = 1.0 / self.ground_m_s(way, way.cruise, length_m, flown_m, burnt_kg)
        return np.asarray(_at(way.cruise.fuel_kg, self.share(burnt_kg)) * slow), np.asarray(slow)

    def solve(self, contingency_1: float = 0.0, near_m: FloatArray | None = None) -> FloatArray:
        """Length whose trip x (1 + contingency) leaves what is required: 0 if none does, NaN where it cannot be flown or found.

        near_m: lengths to begin with.
        """
        p, start = self.loaded, self.loaded.start
        most = (start.on_board_m3 - start.required_m3) * p.model.airframe.fuel_density_kg_m3
        most = (most + contingency_1 * p.taxi_kg) / (1 + contingency_1)
        a = np.maximum(-self.trip(np.zeros((self.courses_deg.shape[0], most.size))).room_m, 0.0)
        least = self.trip(a).burnt_kg
        over_a, b = least - most, a + FIRST_STEP_M if near_m is None else np.maximum(np.nan_to_num(near_m), a + FIRST_STEP_M)
        over_b = self.trip(b).burnt_kg - most
        for _ in range(ROUNDS):
            more = np.abs(over_b) > FOUND_KG
            if not more.any():
                break
            with np.errstate(divide="ignore", invalid="ignore"):
                new = np.clip(b - over_b * (b - a) / (over_b - over_a), 0.0, HALF_THE_EARTH_M)
            a, over_a, b = np.where(more, b, a), np.where(more, over_b, over_a), np.where(more, new, b)
            over_b = self.trip(b).burnt_kg - most
        return np.where(least > most, 0.0, np.where(np.abs(over_b) <= FOUND_KG, b, np.nan))


@dataclass(frozen=True)
class Reach:
    """How far: ground distances (bearing, draw) in metres; a draw that cannot be flown counts as 0.

    low_m, median_m, high_m (bearing,): 5, 50 and 95 %; low covers the owner's contingency too. why: for each bearing
    why low_m is 0, else "". far_elevation_m: where the far end is taken to lie. time_s (bearing,): from leaving the blocks to
    the last landing, at median_m; NaN where there is none.
    """

    start: Start
    trip: str
    bearings_deg: FloatArray
    distance_m: FloatArray
    low_m: FloatArray
    median_m: FloatArray
    high_m: FloatArray
    time_s: FloatArray
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
        low = np.minimum(low, np.median(np.nan_to_num(lines.solve(start.contingency_1, solved), nan=0.0), axis=1))
    why = tuple("" if low[i] > 0 else cannot or _why(loaded, solved[i], median[i] > 0) for i in range(bearings))
    unsure = ("Full throttle may not give this power at this level.",) if np.mean(loaded.state.attainable) < 0.95 else ()
    time = np.where(median > 0, np.median(np.nan_to_num(lines.trip(distance).time_s, nan=np.inf), axis=1), np.nan)
    return Reach(start, trip, angles, distance, low, median, high, time, why, settings.cruise_altitude_m, far, wind_source,
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
