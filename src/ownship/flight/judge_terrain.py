"""The ground against the flight: the highest under the cruise of each leg, and along the climb and the descent.

Ground comes from the owner's tiles and from [ground] of the request; where both speak the higher counts, never the lower.
A void or a missing tile leaves the ground not known, unless [ground] stands in for the leg; known ground that breaks the
limit already is outside all the same.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ownship.errors import OutOfRange
from ownship.flight import margins as rule
from ownship.flight.flown import Flown
from ownship.flight.planning import usual
from ownship.flight.route import Leg, Point
from ownship.flight.situation import Situation
from ownship.flight.timeline import CLIMB_STEPS
from ownship.performance import climb as climbing
from ownship.physics.icing import cold_altimeter_error_m
from ownship.physics.wind import wind_triangle
from ownship.units import from_si, to_si
from ownship.words.verdicts import OUTSIDE, OWN_MINIMUM, PERFORMANCE, Kind
from ownship.world.geodesy import along
from ownship.world.terrain import Ground, Terrain, heights_m, highest_m, profile

FloatArray = NDArray[np.float64]
HALF_WIDTH_M, HALF_WIDTH_IFR_M = float(to_si(4, "nm")), float(to_si(5, "nm"))  # common practice, no source
LEFT_OUT_M = float(to_si(2, "nm"))  # around an aerodrome the runway, the circuit and the eye decide
SLICE_M = float(to_si(1, "nm"))
FIRST_HALF_WIDTH_M = float(to_si(0.5, "nm"))
SPLAY_1 = math.tan(math.radians(15))  # the splay that departure areas are drawn with, from memory
SAMPLE_M = 500.0
STEEPEST_1 = 0.2  # no aeroplane of this class is level sooner than a path of 1 in 5 makes it


@dataclass(frozen=True)
class LegGround:
    """The highest ground of a leg, m: `known_m` of the whole corridor, else None; `at_least_m` of what is known of it."""

    known_m: float | None
    at_least_m: float | None
    words: str
    source: str


@dataclass(frozen=True)
class _Slice:
    """A stretch of the route from `near_m` to `far_m` from the aerodrome, its highest known post (NaN: none), any gap."""

    near_m: float
    far_m: float
    highest_m: float
    incomplete: bool


# ---- the ground of the legs


def half_width_m(s: Situation) -> float:
    """Half width of the corridor: 4 nm; 5 nm under IFR without a typed minimum altitude (common practice, no source)."""
    return HALF_WIDTH_IFR_M if s.request.rules == "IFR" and s.request.minimum_altitude_m is None else HALF_WIDTH_M


def ground_on_legs(s: Situation) -> tuple[tuple[float | None, str], ...]:
    """Per leg the highest ground, m above sea level (None: not known), and in words where it comes from or what lacks."""
    found = [leg_ground(s, leg) for leg in s.legs]
    return tuple((g.known_m, g.words or g.source) for g in found)


def typed_ground_m(s: Situation, leg: int) -> float | None:
    """The highest ground typed in for a leg; None: none is."""
    ground = s.request.ground_m
    return None if ground is None or leg >= len(ground) else ground[leg]


def leg_ground(s: Situation, leg: Leg) -> LegGround:
    """The highest ground of a leg by tiles and [ground]: the higher of both; [ground] alone where the tiles have gaps."""
    typed = typed_ground_m(s, leg.number)
    if s.terrain is None:
        words = "" if typed is not None else "No tiles are imported and no [ground] highest is given for this leg."
        return LegGround(typed, typed, words, "[ground] of the request")
    tiles = _corridor(s.terrain, _ends(leg.start, leg.end), half_width_m(s))
    both = [x for x in (typed, tiles.highest_m) if x is not None]
    most = max(both, default=None)
    known = None if typed is None and tiles.incomplete else most
    source = f"{s.terrain.source}, [ground] of the request" if typed is not None else s.terrain.source
    return LegGround(known, most, " ".join(_words(s, tiles, typed)), source)


def _words(s: Situation, tiles: Ground, typed: float | None) -> Iterator[str]:
    """What the tiles say, what they lack and what [ground] says, a sentence each."""
    width = f"{from_si(half_width_m(s), 'nm'):.0f} nm either side"
    if tiles.highest_m is not None:
        yield (f"Tiles: highest {_feet(tiles.highest_m)} at {tiles.lat_deg:.3f},{tiles.lon_deg:.3f} "
               f"{', of what they hold' if tiles.incomplete else ''}, within {width}.")
    if tiles.incomplete:
        share = "Less than 1 %" if tiles.missing_1 < 0.01 else f"{tiles.missing_1:.0%}".replace("%", " %")
        yield f"{share} of the corridor ({width}) has no height in the tiles."
    if typed is not None:
        yield f"[ground] of the request: {_feet(typed)}; the higher counts."
    elif tiles.incomplete:
        yield "Import the missing tiles, or give [ground] highest."


def _feet(height_m: float) -> str:
    return f"{from_si(height_m, 'ft'):,.0f} ft"


def _ends(a: Point, b: Point) -> tuple[float, float, float, float]:
    return a.lat_deg, a.lon_deg, b.lat_deg, b.lon_deg


@lru_cache(maxsize=512)
def _corridor(terrain: Terrain, ends: tuple[float, float, float, float], half_m: float) -> Ground:
    """`highest_m`, kept, because remedies and levels ask again for the same leg; nothing is known near the poles."""
    try:
        return highest_m(terrain, *ends, half_m)
    except OutOfRange:
        return Ground(None, None, None, 1.0, incomplete=True)


def above_ground_m(s: Situation, leg: Leg) -> float | None:
    """The greatest height of the cruise above the ground on a leg, for the rules of cruising levels; None: not known.

    Over the lowest ground under the course, where the tiles have it; else over [ground] highest. The ends of the route
    where no aeroplane is level yet (a path of 1 in 5) do not count.
    """
    altitude, typed = s.request.cruise_altitude_m, typed_ground_m(s, leg.number)
    if s.terrain is not None:
        lowest = _lowest_m(s.terrain, _ends(leg.start, leg.end), leg.distance_m, *(_still_climbing_m(s, p) for p in
                                                                                   (leg.start, leg.end)))
        if lowest is not None:
            return altitude - (lowest if typed is None else min(lowest, typed))
    return None if typed is None else altitude - typed


def _still_climbing_m(s: Situation, point: Point) -> float:
    """The way from an end of the route in which the cruise cannot have begun; 0 at a turning point."""
    if point not in (s.points[0], s.points[-1]) or point.elevation_m is None:
        return 0.0
    return (s.request.cruise_altitude_m - point.elevation_m) / STEEPEST_1


@lru_cache(maxsize=512)
def _lowest_m(terrain: Terrain, ends: tuple[float, float, float, float], distance_m: float, first_m: float,
              last_m: float) -> float | None:
    """The lowest ground under a leg, sampled every 500 m; None where any of it is not known."""
    low, high = min(first_m, distance_m / 2), max(distance_m - last_m, distance_m / 2)
    ways = np.linspace(low, high, max(2, math.ceil((high - low) / SAMPLE_M) + 1))
    spots = [along(*ends, float(w)) for w in ways]
    heights = heights_m(terrain, [a for a, _ in spots], [b for _, b in spots])
    return None if np.isnan(heights).any() else float(heights.min())


# ---- the margins


def terrain_margins(s: Situation) -> list[rule.Margin]:
    """terrain.<leg>: clearance of the cruise over the highest ground of each leg, the altimeter's cold error taken off.

    Without tiles and without any [ground] there is nothing to judge: the assessment says that under "not checked".
    """
    if s.terrain is None and s.request.ground_m is None:
        return []
    found = []
    for leg in s.legs:
        ground = leg_ground(s, leg)
        about = rule.About(f"terrain.{leg.number + 1}", f"clearance over the highest ground {leg.start.name} to {leg.end.name}",
                           _kind(s), f"{ground.source}, cold-altimeter correction", leg.end.name, words=ground.words)
        if ground.at_least_m is None:
            found.append(rule.missing(about, ""))
            continue
        altitude = s.request.cruise_altitude_m
        found.append(_clearance(s, about, altitude - cold_error_m(s, altitude) - ground.at_least_m,
                                known=ground.known_m is not None))
    return found


def _kind(s: Situation) -> Kind:
    return OWN_MINIMUM if s.request.own.obstacle_clearance_m else PERFORMANCE


def _clearance(s: Situation, about: rule.About, draws: FloatArray, *, known: bool) -> rule.Margin:
    """A clearance judged; not known where ground or temperature lacks, unless what is known breaks the limit already."""
    found = rule.amount(about, draws, s.request.own.obstacle_clearance_m or 0.0, "ft", usual("allowance_clearance"),
                        confidence_1=s.request.factors.confidence)
    if found.verdict == OUTSIDE or (known and _temperature_known(s)):
        return found
    return rule.missing(about, "" if _temperature_known(s) else "No temperature is given, so the altimeter's cold error is not "
                                                                "known; add [weather] or [aloft].")


def _temperature_known(s: Situation) -> bool:
    weather = (s.weather.get(n) for n in (s.request.origin, s.request.destination))
    return (any(x.temperature_k is not None for x in s.aloft.levels)
            or any(w is not None and w.weather.temperature_k is not None for w in weather))


def cold_error_m(s: Situation, altitude_m: float) -> FloatArray:
    """How far below the altimeter's altitude the aeroplane flies in air colder than standard, (draw,), 0 or more."""
    start = s.points[0].elevation_m or 0.0
    return np.maximum(cold_altimeter_error_m(altitude_m - start, start, s.air.temperature_k(start)), 0.0)


def path_margins(s: Situation, flown: Flown | None) -> list[rule.Margin]:
    """terrain.climb, terrain.descent: the least clearance on the way up and down, where tiles are imported.

    Slice by slice of 1 nm the highest post against the altitude at the slice's end nearer the aerodrome, for every draw.
    The first 2 nm at the aerodrome are left out. The slices are cut square to the course, half a mile wide each side at
    the aerodrome and widening by 15 degrees up to the corridor. Climb: the timeline's own steps; descent: straight from
    the cruise down to the aerodrome's elevation, lower than the flight. [ground], the highest of a whole leg, cannot
    stand in here: a gap in the tiles is not known. A climb or descent that no tile covers at all is as without tiles:
    where [ground] is given, only the highest of its legs is judged.
    """
    return [] if s.terrain is None else [m for phase in ("climb", "descent") if (m := _path_margin(s, flown, phase))]


def _path_margin(s: Situation, flown: Flown | None, phase: str) -> rule.Margin | None:
    assert s.terrain is not None
    point = s.points[0 if phase == "climb" else -1]
    about = rule.About(f"terrain.{phase}", f"clearance over the ground in the {phase}", _kind(s),
                       f"{s.terrain.source}, timeline, cold-altimeter correction", point.name)
    if flown is None or not flown.possible:
        return rule.missing(about, f"The {phase} is not known.")
    if not s.air.known:
        return rule.missing(about, "No winds and temperatures aloft are given; add [aloft].")
    if point.elevation_m is None:
        return rule.missing(about, f"The elevation of {point.name} is not known; describe it in [aerodromes].")
    slices = list(_slices(s, phase, float(np.nanmax(flown.timeline.total("distance_m", (phase,))))))
    if not slices:
        return None  # level within 2 nm: terrain.<leg> judges all of it
    if s.request.ground_m is not None and all(math.isnan(x.highest_m) for x in slices):
        return None  # tiles of other places do not take away what [ground] is good for
    return _judge_path(s, about, slices, _path_altitudes_m(s, flown, phase, np.array([x.near_m for x in slices])))


def _judge_path(s: Situation, about: rule.About, slices: list[_Slice], altitude_m: FloatArray) -> rule.Margin:
    """The least clearance of each draw over all slices; altitude_m (slice, draw)."""
    gaps = sum(x.incomplete for x in slices)
    lacks = (f"{gaps} of {len(slices)} slices of 1 nm have gaps in the tiles; import the missing tiles." if gaps else "")
    with_ground = [i for i, x in enumerate(slices) if not math.isnan(x.highest_m)]
    if not with_ground:
        return rule.missing(about, lacks)
    cold = {i: cold_error_m(s, float(np.nanmedian(altitude_m[i]))) for i in with_ground}
    room = np.array([altitude_m[i] - cold[i] - slices[i].highest_m for i in with_ground])
    at = slices[with_ground[int(np.argmin(np.nanmedian(room, axis=1)))]]
    words = (f"{'Straight down from the cruise. ' if about.id == 'terrain.descent' else ''}"
             f"Least {from_si(at.near_m, 'nm'):.0f} to {from_si(at.far_m, 'nm'):.0f} nm from {about.place}, ground "
             f"{_feet(at.highest_m)}; the {from_si(LEFT_OUT_M, 'nm'):.0f} nm at the aerodrome are left out. {lacks}").strip()
    about = rule.About(about.id, about.name, about.kind, about.source, about.place, words=words)
    return _clearance(s, about, room.min(axis=0), known=not gaps)


# ---- the path


def _slices(s: Situation, phase: str, farthest_m: float) -> Iterator[_Slice]:
    """The slices of the climb from the start, or of the descent from the end, out to the farthest draw."""
    assert s.terrain is not None
    before, widest = 0.0, half_width_m(s)
    for leg in s.legs if phase == "climb" else reversed(s.legs):
        a, b = (leg.start, leg.end) if phase == "climb" else (leg.end, leg.start)
        near, last = max(LEFT_OUT_M - before, 0.0), min(farthest_m - before, leg.distance_m)
        while near < last:
            far = min(near + SLICE_M, leg.distance_m)
            half = min(FIRST_HALF_WIDTH_M + SPLAY_1 * (before + far), widest)
            yield _Slice(before + near, before + far, *_highest_of(s.terrain, _ends(a, b), (near, far), half))
            near = far
        before += leg.distance_m


@lru_cache(maxsize=4096)
def _highest_of(terrain: Terrain, ends: tuple[float, float, float, float], cut_m: tuple[float, float],
                half_m: float) -> tuple[float, bool]:
    """(highest known post, whether any is not known) of a slice of a leg, cut square; kept like `_corridor`."""
    a, b = (along(*ends, w) for w in cut_m)
    try:
        found = profile(terrain, *a, *b, half_m, 2 * SLICE_M)
    except OutOfRange:
        return math.nan, True
    return float(found.highest_m[0]), bool(found.incomplete[0])


def _path_altitudes_m(s: Situation, flown: Flown, phase: str, way_m: FloatArray) -> FloatArray:
    """Altitude at distances from the aerodrome, (way, draw); NaN for a draw that cannot fly it."""
    if phase == "climb":
        heights, ways = climb_path(s, flown)
    else:
        down = flown.timeline.total("distance_m", ("descent",))
        heights = np.array([s.points[-1].elevation_m or 0.0, s.request.cruise_altitude_m])
        ways = np.array([np.zeros_like(down), down])
    span = np.maximum(np.diff(ways, axis=0), 1e-6)
    share = np.clip((way_m[:, None, None] - ways[None, :-1]) / span[None], 0.0, 1.0)
    return np.asarray(heights[0] + np.sum(share * np.diff(heights)[None, :, None], axis=1))


def climb_path(s: Situation, flown: Flown) -> tuple[FloatArray, FloatArray]:
    """Altitudes (step,) of the climb and the way over the ground from the aerodrome to each, (step, draw), m.

    The steps of the timeline again, each with the wind on the leg it begins on; scaled so that the whole way is the
    timeline's. Between the steps the path is straight, which is below a climb that grows flatter.
    """
    start, level, air = s.points[0].elevation_m or 0.0, s.request.cruise_altitude_m, s.air
    heights = np.linspace(start, level, CLIMB_STEPS + 1)
    pressure = np.array([air.pressure_altitude_m(h) for h in heights])
    temperature = np.array([air.temperature_k(h) for h in heights])
    step = climbing.climb(flown.model, pressure[:-1, None], pressure[1:, None], (temperature[:-1], temperature[1:]),
                          flown.take_off_kg[None, :], relative_humidity_1=air.humidity_1,
                          carburettor_heat="climb" in s.settings.heat)
    turns = np.cumsum([leg.distance_m for leg in s.legs])[:-1]
    ways = [np.zeros(flown.take_off_kg.size)]
    for k, middle in enumerate((heights[:-1] + heights[1:]) / 2):
        speeds = np.array([wind_triangle(leg.course_deg, step.mean_tas_m_s[k], *air.wind(middle))[1] for leg in s.legs])
        ways.append(ways[-1] + step.time_s[k] * speeds[np.searchsorted(turns, ways[-1]), np.arange(ways[-1].size)])
    whole = flown.timeline.total("distance_m", ("climb",))
    return heights, np.array(ways) * (whole / ways[-1])
