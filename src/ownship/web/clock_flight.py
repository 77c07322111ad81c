"""The flight that the clock shows, asked for any moment: which phase, where, how high, over what ground, in what wind."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ownship.errors import OutOfRange
from ownship.flight.answer import Assessment
from ownship.flight.assessment import Aboard, aboard_of, governing_of
from ownship.flight.chance import BAND_1, middle
from ownship.flight.extras import planned
from ownship.flight.flown import Flown
from ownship.flight.judge_terrain import (
    FIRST_HALF_WIDTH_M,
    LEFT_OUT_M,
    SLICE_M,
    SPLAY_1,
    climb_path,
    cold_error_m,
    half_width_m,
    typed_ground_m,
)
from ownship.flight.situation import Situation
from ownship.flight.tanks import BurnPhase, TankPlan
from ownship.units import from_si, to_si
from ownship.words.figures import Figure, figure
from ownship.world.geodesy import direct
from ownship.world.sun import CIVIL_ZENITH_DEG, SUNSET_ZENITH_DEG
from ownship.world.terrain import highest_m

FloatArray = NDArray[np.float64]
GROUND = ("start and taxi", "approach and landing")


@dataclass(frozen=True)
class Stretch:
    """One phase on one leg of the flight shown: from when to when (s from the blocks), from where to where (m of the route)."""

    phase: str
    leg: int
    start_s: float
    end_s: float
    from_m: float
    to_m: float
    burn_m3: FloatArray

    def share(self, time_s: float) -> float:
        """How much of it is over at a moment, 0 to 1."""
        return min(max((time_s - self.start_s) / (self.end_s - self.start_s), 0.0), 1.0) if self.end_s > self.start_s else 1.0


@dataclass(frozen=True)
class Shown:
    """The flight that is shown, ready to be asked for any moment."""

    s: Situation
    a: Assessment
    aboard: Aboard
    flown: Flown
    plan: TankPlan | None
    stretches: tuple[Stretch, ...]
    climb: tuple[FloatArray, FloatArray]
    known: dict[tuple[float, float], Figure] = field(default_factory=dict)  # clearances by altitude and ground, worked out once
    winds: dict[float, tuple[Figure, Figure]] = field(default_factory=dict)  # by altitude, likewise

    @cached_property
    def phases(self) -> tuple[BurnPhase, ...]:
        """The stretches as the tank plan reads them."""
        return tuple(BurnPhase(x.phase, x.start_s, x.end_s, x.burn_m3) for x in self.stretches)

    @cached_property
    def good(self) -> NDArray[np.bool_]:
        """The draws that can be flown."""
        return np.isfinite(self.flown.timeline.total("time_s"))

    @cached_property
    def loaded_m3(self) -> tuple[float, ...]:
        """Usable fuel at each row of the loading."""
        return tuple(sum(float(to_si(v.value, v.unit, "volume")) for v in r.fuel.values()) for r in self.a.loading)

    @cached_property
    def take_off(self) -> datetime:
        """The moment of the take-off."""
        return next((r.time for r in self.a.timeline if r.moment == "take-off"), self.s.departure)

    def stretch_at(self, time_s: float) -> Stretch:
        """The stretch a moment lies in (the later one where two meet), s from the blocks."""
        return next((x for x in self.stretches if time_s < x.end_s), self.stretches[-1])


def shown(s: Situation, a: Assessment) -> Shown | None:
    """The governing flight and its tank plan once more, as `assess` flies them."""
    flights, plans, _ = planned(s)
    flown = governing_of(flights)
    if flown is None or not flown.possible:
        return None
    plan = next(p for x, p in zip(flights, plans, strict=True) if x is flown)
    return Shown(s, a, aboard_of(s), flown, plan, _stretches(flown), _climb(s, flown))


def _stretches(flown: Flown) -> tuple[Stretch, ...]:
    found, clock, way = list[Stretch](), 0.0, 0.0
    for part in flown.timeline.parts:
        if np.any(part.time_s > 0):
            end, far = clock + middle(part.time_s), way + middle(part.distance_m)
            leg = part.leg if part.leg is not None else (found[-1].leg if found else 0)
            found.append(Stretch(part.phase, leg, clock, end, way, far, part.burn_m3))
            clock, way = end, far
    return tuple(found)


def _climb(s: Situation, flown: Flown) -> tuple[FloatArray, FloatArray]:
    """Altitudes of the climb and the way to each in the middle flight; of no length where there is no climb."""
    if middle(flown.timeline.total("distance_m", ("climb",))) <= 0:
        return np.array([s.request.cruise_altitude_m]), np.zeros(1)
    if math.isfinite(flown.timeline.total("time_s")[0]):  # the middle flight is draw 0: it alone is flown again
        s, flown = replace(s, draws=1), replace(flown, model=flown.model.first, take_off_kg=flown.take_off_kg[:1])
    heights, ways = climb_path(s, flown)
    return heights, np.array(middles(ways))


def bands(f: Shown, draws: FloatArray, unit: str) -> list[Figure]:
    """(moment, draw) as figures: the middle flight, 5 and 95 % of the draws that can be flown."""
    ordered = np.sort(draws[:, f.good], axis=1)
    centre = np.array(middles(draws))
    low, high = (_quantile(ordered, share) for share in BAND_1)
    shown = (from_si(x, unit).tolist() for x in (centre, np.minimum(low, centre), np.maximum(high, centre)))
    return [Figure(c, unit, a, b) if wide else Figure(c, unit) for c, a, b, wide in zip(*shown, (high > low).tolist(), strict=True)]


def _quantile(ordered: FloatArray, share: float) -> FloatArray:
    """A quantile of each row of sorted draws, straight between neighbours, as `chance.band`."""
    at = (ordered.shape[1] - 1) * share
    i = int(at)
    low, high, part = ordered[:, i], ordered[:, min(i + 1, ordered.shape[1] - 1)], at - i
    return high - (high - low) * (1 - part) if part >= 0.5 else low + (high - low) * part


def middles(draws: FloatArray) -> list[float]:
    """`middle` of each row of (moment, draw)."""
    return [c if math.isfinite(c) else middle(row) for c, row in zip(draws[:, 0].tolist(), draws, strict=True)]


# ---- fuel
def burnt_by(f: Shown, times_s: FloatArray) -> FloatArray:
    """Burn (moment, draw) from the blocks to each moment: `burn_between` of all of them at once."""
    found = np.zeros((times_s.size, f.flown.on_board_m3.size))
    for p in f.phases:
        if p.end_s > p.start_s:
            share = np.clip((times_s - p.start_s) / (p.end_s - p.start_s), 0.0, 1.0)
            found[share > 0] += share[share > 0, None] * p.burn_m3
    return found


def tanks_by(f: Shown, times_s: FloatArray) -> dict[str, FloatArray]:
    """Usable fuel by tank (moment, draw): the plan's contents at each moment; none without a plan."""
    plan = f.plan
    if plan is None:
        return {}
    if any("+" in x.tank for x in plan.segments):
        each = [plan.contents_at(float(t)) for t in times_s]
        return {k: np.array([c[k] for c in each]) for k in plan.start_m3}
    found = {k: np.repeat(v[None, :], times_s.size, axis=0) for k, v in plan.start_m3.items()}
    for x in plan.segments:
        later = times_s > x.start_s
        ends = np.minimum(times_s[later], x.end_s)
        found[x.tank][later] -= burnt_by(f, ends) - burnt_by(f, np.array([x.start_s]))
    return found


def tank_at(f: Shown, t: float) -> str:
    """The tank that feeds at a moment, s from the blocks; "" where there is no plan."""
    if f.plan is None:
        return ""
    return next((x.tank for x in f.plan.segments if t < x.end_s), f.plan.segments[-1].tank)


# ---- where
def on_leg(s: Situation, leg: int, way_m: float) -> tuple[int, float]:
    """The leg and the share of it flown at a way along the route."""
    length = s.legs[leg].distance_m
    before = sum(x.distance_m for x in s.legs[:leg])
    return leg, min(max((way_m - before) / length, 0.0), 1.0) if length > 0 else 1.0


def position(s: Situation, leg: int, share_1: float) -> tuple[float, float]:
    """Latitude and longitude (deg) at a share of a leg, along the geodesic."""
    a, b = s.legs[leg].start, s.legs[leg].end
    if share_1 in (0.0, 1.0):
        return ((b if share_1 else a).lat_deg, (b if share_1 else a).lon_deg)
    return direct(a.lat_deg, a.lon_deg, s.legs[leg].initial_course_deg, share_1 * s.legs[leg].distance_m)[:2]


def place_of(s: Situation, x: Stretch, leg: int) -> str:
    """Where a stretch is flown: the aerodrome, or the two ends of the leg."""
    if x.phase == GROUND[0]:
        return s.points[0].name
    return s.points[-1].name if x.phase == GROUND[1] else f"{s.legs[leg].start.name} to {s.legs[leg].end.name}"


def altitude_at(f: Shown, x: Stretch, t: float, way_m: float) -> float | None:
    """Altitude above sea level at a moment; None where the elevation it starts or ends at is not known."""
    start, end, level = f.s.points[0].elevation_m, f.s.points[-1].elevation_m, f.s.request.cruise_altitude_m
    if x.phase == GROUND[0] or x.phase == "cruise":
        return start if x.phase == GROUND[0] else level
    if x.phase == "climb":
        return None if start is None else float(np.interp(way_m, f.climb[1], f.climb[0]))
    if end is None:
        return None
    bottom = min(end + f.s.settings.circuit_height_m, level)
    if x.phase == GROUND[1]:
        return bottom + (end - bottom) * x.share(t)
    down = [p for p in f.stretches if p.phase == "descent"]
    return level + (bottom - level) * (t - down[0].start_s) / max(down[-1].end_s - down[0].start_s, 1.0)


# ---- the ground, the wind, the light
def clearance_at(f: Shown, x: Stretch, way_m: float, altitude_m: float | None) -> tuple[Figure | None, str]:
    """Clearance over the highest ground there, the altimeter's cold error taken off, and what it is measured over."""
    whole = f.stretches[-1].to_m
    if x.phase in GROUND:
        return None, "on the ground or in the circuit"
    if min(way_m, whole - way_m) < LEFT_OUT_M:
        return None, "near the aerodrome"
    if altitude_m is None or not f.s.air.known:
        return None, "no altitude" if altitude_m is None else "no winds and temperatures aloft are given"
    ground, words = _ground(f, x, way_m, whole)
    if ground is None:
        return None, words
    key = (altitude_m, ground)
    if key not in f.known:
        f.known[key] = bands(f, (altitude_m - cold_error_m(f.s, altitude_m) - ground)[None, :], "ft")[0]
    return f.known[key], words


def _ground(f: Shown, x: Stretch, way_m: float, whole_m: float) -> tuple[float | None, str]:
    """The highest ground about a place of the route, m: tiles within the corridor, [ground] of the leg in the cruise."""
    s, typed = f.s, typed_ground_m(f.s, x.leg) if x.phase == "cruise" else None
    if s.terrain is None:
        if typed is not None:
            return typed, "over the highest ground of the leg, as given in the request"
        return None, ("no ground is given" if x.phase == "cruise" or s.request.ground_m is None
                      else f"only the highest ground of the leg is given, not that under the {x.phase}")
    half = min(FIRST_HALF_WIDTH_M + SPLAY_1 * min(way_m, whole_m - way_m), half_width_m(s))
    ends = [position(s, *_of_route(s, w)) for w in (max(way_m - SLICE_M, 0.0), min(way_m + SLICE_M, whole_m))]
    try:
        found = highest_m(s.terrain, *ends[0], *ends[1], half)
    except OutOfRange:
        return None, "the ground is not known so near a pole"
    if found.incomplete or found.highest_m is None:
        return None, "the tiles have a gap here"
    if typed is not None and typed > found.highest_m:
        return typed, "over the highest ground of the leg, as given in the request"
    return found.highest_m, "over the highest ground near by, by the tiles"


def _of_route(s: Situation, way_m: float) -> tuple[int, float]:
    before = 0.0
    for leg in s.legs:
        if way_m <= before + leg.distance_m:
            return leg.number, (way_m - before) / leg.distance_m
        before += leg.distance_m
    return len(s.legs) - 1, 1.0


def wind_at(f: Shown, x: Stretch, altitude_m: float | None) -> tuple[tuple[Figure, Figure] | None, str]:
    """The wind there, from where (true) and how strong; on the ground that of the runway in words."""
    if x.phase in GROUND:
        use = "take_off" if x.phase == GROUND[0] else "landing"
        row = next((r for r in f.a.runways if r["operation"] == use), None)
        return None, f"runway {row['end']}: {row['wind']}" if row else "no runway is judged"
    if altitude_m is None or not f.s.air.known:
        return None, "no winds aloft are given"
    if altitude_m not in f.winds:
        from_deg, speed = f.s.air.middle_wind(altitude_m)
        f.winds[altitude_m] = Figure(from_deg % 360.0, "deg"), figure(speed, "kt")
    heights = [w[0] for w in f.s.air.winds]
    words = ("of the lowest level given" if altitude_m < heights[0] - 1.0 else
             "of the highest level given" if altitude_m > heights[-1] + 1.0 else "")
    return f.winds[altitude_m], words


def light_of(sun_deg: float) -> str:
    """Day, civil twilight or night by the altitude of the sun's centre, as the tables draw them (elevation 0)."""
    if 90.0 - sun_deg < SUNSET_ZENITH_DEG:
        return "day"
    return "civil twilight" if 90.0 - sun_deg < CIVIL_ZENITH_DEG else "night"
