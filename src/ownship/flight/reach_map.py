"""A reach as a map: polygons as GeoJSON, the worse of several, and the aerodromes inside.

What is inside is flown to on its own course, distance and elevation; nothing is looked up in a polygon.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ownship.errors import BadInput
from ownship.flight.reach import BANDS, Reach
from ownship.words.figures import figure
from ownship.world.aerodromes import Aerodrome
from ownship.world.geodesy import direct, inverse

FloatArray = NDArray[np.float64]
NEVER_KG = 1e9
ELEVATION_STEP_M = 100.0  # aerodromes are reached at their elevation to the nearest of these
Required = Callable[[str, float], FloatArray | None]


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


def joined(founds: Sequence[Reach], pick: NDArray[np.int_]) -> Reach:
    """One reach from several on the same bearings: on each bearing the one picked (bearing,); the rest is the first's."""
    rows, why = np.arange(pick.size), tuple(founds[k].why[i] for i, k in enumerate(pick.tolist()))

    def of(values: list[FloatArray]) -> FloatArray:
        return np.asarray(np.array(values)[pick, rows])

    return replace(founds[0], distance_m=of([f.distance_m for f in founds]), low_m=of([f.low_m for f in founds]),
                   median_m=of([f.median_m for f in founds]), high_m=of([f.high_m for f in founds]),
                   time_s=of([f.time_s for f in founds]), why=why)


def worse_of(founds: Sequence[Reach]) -> Reach:
    """The reach of several calibrations: on each bearing the one whose median is less; each of the bands its own least."""
    if len(founds) == 1:
        return founds[0]
    ordered = sorted(founds, key=lambda f: float(np.sum(f.median_m)))
    low, median, high = (np.array([getattr(f, f"{band}_m") for f in ordered]) for band in BANDS)
    why = tuple(ordered[k].why[i] for i, k in enumerate(np.argmin(low, axis=0).tolist()))
    return replace(joined(ordered, np.argmin(median, axis=0)), low_m=low.min(axis=0), high_m=high.min(axis=0), why=why)


def covers(found: Reach, course_deg: float, distance_m: float) -> bool:
    """Whether the median reach, joined by straight lines between its bearings, goes so far on a course."""
    angles = np.append(found.bearings_deg, found.bearings_deg[0] + 360.0)
    return distance_m <= float(np.interp(course_deg % 360.0, angles, np.append(found.median_m, found.median_m[0])))


@dataclass(frozen=True)
class Candidate:
    """An aerodrome inside: initial true course, distance, usable fuel left at the last landing (5, 50, 95 %).

    certain: inside the low reach, otherwise inside the median one. short: nearer than climb and descent at this level
    need, whose whole fuel is counted. time_s, late_s: median and 95 %, from leaving the blocks to the landing there;
    landing_kg (draw,): the weight then.
    """

    ident: str
    course_deg: float
    distance_m: float
    left_m3: tuple[float, float, float]
    certain: bool
    short: bool
    time_s: float
    late_s: float
    landing_kg: FloatArray = field(repr=False, compare=False)


@dataclass(frozen=True)
class _Far:
    """An aerodrome to be flown to: ident, initial course, distance."""

    ident: str
    course_deg: float
    distance_m: float


def inside(found: Reach, aerodromes: Iterable[Aerodrome],
           required: Required | None = None) -> tuple[tuple[Candidate, ...], tuple[str, ...]]:
    """The candidates inside the median reach, nearest first, and a sentence for each aerodrome that was not looked at.

    Each is flown to at its own course, distance and elevation; whether one can land there and leave again is not judged.
    required: the usable fuel (draw,) to be left at the last landing, by ident and the time of that landing (s after the
    blocks), None: not known; absent: what the reach was made with.
    """
    groups: dict[float, list[_Far]] = {}
    s, limit, refused = found.start, float(np.max(found.median_m)), []
    for place in aerodromes:
        distance, course, _ = inverse(s.lat_deg, s.lon_deg, place.lat_deg, place.lon_deg)
        height = None if place.elevation_m is None else ELEVATION_STEP_M * round(place.elevation_m / ELEVATION_STEP_M)
        why = "is closed" if place.closed else "lies above the level" if (height or 0.0) >= found.level_m else ""
        if height is None or why:
            refused += [f"{place.ident} {why or 'has no known elevation'}."] if distance <= limit else []
        elif 1.0 < distance <= limit:
            groups.setdefault(height, []).append(_Far(place.ident, course, distance))
    every = [c for height, group in groups.items() for c in _reached(found, height, group, required)]
    refused += [f"{c} lies where no fuel rules are kept; say place in the request." for c in every if isinstance(c, str)]
    return tuple(sorted((c for c in every if isinstance(c, Candidate)), key=lambda c: c.distance_m)), tuple(refused)


def _reached(found: Reach, far_m: float, group: list[_Far], required: Required | None) -> list[Candidate | str]:
    """Candidates among places of one elevation, or an ident alone where the reserve is not known."""
    p, s, density = found.loaded, found.start, found.loaded.model.airframe.fuel_density_kg_m3
    lines = p.lines(found.trip, far_m, np.array([g.course_deg for g in group]))
    trip = lines.trip(np.repeat(np.array([g.distance_m for g in group])[:, None], s.on_board_m3.size, axis=1))
    reached: list[Candidate | str] = []
    for i, place in enumerate(group):
        burnt = trip.burnt_kg[i]
        late = float(np.quantile(np.nan_to_num(trip.out_s[i], nan=np.inf), BANDS["high"], method="inverted_cdf"))
        times = [float(np.median(np.nan_to_num(t[i], nan=np.inf))) for t in (trip.time_s, trip.out_s)]
        used = np.nan_to_num(burnt, nan=NEVER_KG) / density  # a draw that cannot be flown has nothing left
        need = s.required_m3 if required is None or not np.isfinite(times[0]) else required(place.ident, times[0])
        over = s.on_board_m3 - used - (s.required_m3 if need is None else need)
        if np.median(over) < 0:
            continue
        if need is None:
            reached.append(place.ident)
            continue
        cover = s.contingency_1 * float(np.median(used - p.taxi_kg / density))
        left = np.quantile(np.where(np.isfinite(burnt), s.on_board_m3 - used, 0.0), tuple(BANDS.values())).tolist()
        reached.append(Candidate(
            place.ident, place.course_deg, place.distance_m, tuple(left),
            bool(np.quantile(over, BANDS["low"]) >= 0 and np.median(over) >= cover), bool(np.median(trip.room_m[i]) < 0),
            times[1], late if np.isfinite(late) else times[1], s.dry_kg + s.on_board_m3 * density - trip.out_kg[i]))
    return reached


def inside_all(founds: Sequence[tuple[Reach, Required | None]],
               aerodromes: Sequence[Aerodrome]) -> tuple[tuple[Candidate, ...], tuple[str, ...]]:
    """`inside` by several calibrations: those inside by every one, with the fuel of the one that leaves least.

    The weight at the landing is the heaviest of them: for fuel the high burn is worse, for the landing the low one.
    """
    sets = [inside(found, aerodromes, required) for found, required in founds]
    by = [{c.ident: c for c in candidates} for candidates, _ in sets]
    both = [[b[ident] for b in by] for ident in by[0] if all(ident in b for b in by)]
    refused = tuple(dict.fromkeys(x for _, sentences in sets for x in sentences))
    return tuple(_worse(cs) for cs in both), refused


def _worse(several: list[Candidate]) -> Candidate:
    least = min(several, key=lambda c: c.left_m3[1])
    heaviest = max(several, key=lambda c: float(np.nan_to_num(np.median(c.landing_kg), nan=-1.0)))
    return replace(least, certain=all(c.certain for c in several), short=any(c.short for c in several),
                   late_s=max(c.late_s for c in several), landing_kg=heaviest.landing_kg)
