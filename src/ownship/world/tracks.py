"""GPX tracks: reading them safely, motion per point, and the steady pieces found by themselves.

Text in, frozen facts out; times count from the first point, so a wrong date or clock does no harm. Directions are
true. Altitudes and rates are those of the receiver: geometric, so that a climb rate equals the rate of pressure
altitude times (air temperature / standard temperature). What a track cannot know (rpm, OAT, weight, power) is asked
of the pilot elsewhere.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from typing import Literal
from xml.sax import SAXException
from xml.sax.handler import ContentHandler
from xml.sax.xmlreader import AttributesImpl

import gpxpy
import gpxpy.gpx
import numpy as np
from defusedxml import DefusedXmlException, sax
from numpy.typing import NDArray
from pyproj import Geod

from ownship.errors import BadInput, UnreadableFile

FloatArray = NDArray[np.float64]
Kind = Literal["taxi", "steady climb", "steady level", "steady descent"]

LONGEST_TEXT = 20_000_000
_DEEPEST = 50
_MOST_NAMESPACES = 50
_DECLARATION = re.compile(r"^\ufeff?\s*<\?xml[^>]*\?>")  # a text needs no encoding named
_SPIKE_M_S = 250.0  # a step faster than this is a fault of the receiver
_GAP_S = 30.0  # nothing is said across a longer silence
_TAXI_M_S = 13.0  # slower over the ground without climbing or sinking: taxi
_CLIMB_M_S = 0.9  # smoothed vertical rate at which level ends and climb or descent begins
_TURN_DEG_S = 1.0  # a faster turn is not steady
_SHORTEST_S = 30.0  # a shorter steady piece proves nothing
_CHANGE_M_S = 2.0  # a lasting change of the ground vector by this splits a segment
_ERODE_S = 6.0  # cut from both ends, where smoothing mixes neighbours
FORGET_S = 20.0  # gusts are independent about this often


@dataclass(frozen=True, eq=False)
class TrackPoints:
    """A track as recorded: seconds since its first point, degrees WGS84, altitude m above sea level or None."""

    time_s: FloatArray
    lat_deg: FloatArray
    lon_deg: FloatArray
    altitude_m: FloatArray | None


@dataclass(frozen=True, eq=False)
class Motion:
    """Groundspeed, true track and vertical rate (NaN without altitudes) at each point of a track."""

    groundspeed_m_s: FloatArray
    track_deg: FloatArray
    vertical_rate_m_s: FloatArray


@dataclass(frozen=True)
class Segment:
    """A steady piece of a track: means, scatter of the smoothed motion (sd), and the range of points it covers."""

    kind: Kind
    first: int
    last: int
    start_s: float
    duration_s: float
    altitude_m: float
    groundspeed_m_s: float
    groundspeed_sd_m_s: float
    track_deg: float
    track_sd_deg: float
    vertical_rate_m_s: float
    vertical_rate_sd_m_s: float


# ---- reading


def parse_gpx(text: str) -> TrackPoints:
    """The timed points of every track of a GPX text, in file order.

    Points without a time are left out, of points with equal times the first is kept, single points that would need
    more than 250 m/s are dropped; missing altitudes are joined linearly. Refuses in one sentence: more than 20 MB,
    a DTD or entities, XML or GPX that does not parse, no times, fewer than two points, time running back.
    """
    points = [point for track in _read(text).tracks for segment in track.segments for point in segment.points]
    if not points:
        raise BadInput("The GPX file holds no track points; record or export a track, not waypoints or a route.")
    if len(points) == 1:
        raise BadInput("The GPX track has one point, and motion needs two or more; record the whole flight.")
    timed = [point for point in points if point.time is not None]
    if len(timed) < 2:
        raise BadInput(f"Of {len(points)} track points {len(timed) or 'none'} has a time, and without times there is no "
                       "speed; export the track with its times.")
    time_s = _seconds([point.time for point in timed if point.time is not None])
    lat, lon = np.array([p.latitude for p in timed], float), np.array([p.longitude for p in timed], float)
    bad = ~((np.abs(lat) <= 90) & (np.abs(lon) <= 180))
    if bad.any():
        raise BadInput(f"Timed track point {int(np.argmax(bad)) + 1} lies at latitude {lat[bad][0]:g}, longitude {lon[bad][0]:g}, "
                       "outside -90 to 90 and -180 to 180; correct or remove it.")
    altitude = np.array([np.nan if p.elevation is None else p.elevation for p in timed], float)
    return _cleaned(time_s, lat, lon, altitude)


class _Guard(ContentHandler):
    """Refuses, while streaming, what is no GPX and nesting so deep that building a tree would overrun the stack."""

    def __init__(self) -> None:
        super().__init__()
        self.depth = 0

    def startElement(self, name: str, attrs: AttributesImpl) -> None:  # noqa: N802 (the name SAX calls)
        """One level deeper."""
        if self.depth == 0 and name.rpartition(":")[2] != "gpx":
            raise ValueError(f"its outermost element is {name[:40]!r}")
        self.depth += 1
        if self.depth > _DEEPEST:
            raise ValueError(f"its elements are nested more than {_DEEPEST} deep")

    def endElement(self, name: str) -> None:  # noqa: N802 (the name SAX calls)
        """One level up."""
        self.depth -= 1


def _read(text: str) -> gpxpy.gpx.GPX:
    """GPX of a text that first passed the hardened XML reader."""
    if len(text) > LONGEST_TEXT:
        raise BadInput(f"The GPX text is {len(text) / 1e6:.0f} MB long, and at most 20 MB are read; cut the track to one flight.")
    try:
        bare = _DECLARATION.sub("", text, count=1)
        if bare.count("xmlns") > _MOST_NAMESPACES:
            raise ValueError(f"it names more than {_MOST_NAMESPACES} namespaces")  # gpxpy's search for them is quadratic
        sax.parseString(bare.encode(), _Guard(), forbid_dtd=True)  # type: ignore[no-untyped-call]
        return gpxpy.parse(bare)
    except DefusedXmlException as error:
        raise BadInput("The GPX file declares a document type or entities, which can hide an attack and which no track needs; "
                       "export the track again.") from error
    except (SAXException, gpxpy.gpx.GPXException, ValueError, LookupError, RecursionError) as error:
        reason = " ".join(str(error).split())[:100].rstrip(".")
        raise UnreadableFile(f"The text is not a readable GPX track ({reason}); export it again as GPX 1.1.") from error


def _seconds(times: list[datetime]) -> FloatArray:
    """Seconds since the first; refuses time running back. A time without a zone is taken as UTC."""
    zoned = [time if time.tzinfo else time.replace(tzinfo=UTC) for time in times]
    seconds = np.array([(time - zoned[0]).total_seconds() for time in zoned])
    back = np.flatnonzero(np.diff(seconds) < 0)
    if back.size:
        raise BadInput(f"Time runs back by {seconds[back[0]] - seconds[back[0] + 1]:g} s at timed track point {back[0] + 2}; "
                       "split or sort the track so that time only runs forward.")
    return seconds


def _cleaned(time_s: FloatArray, lat: FloatArray, lon: FloatArray, altitude: FloatArray) -> TrackPoints:
    """Points without repeats of a time and without lone spikes; altitudes joined, None if there are none."""
    keep = np.concatenate([[True], np.diff(time_s) > 0])
    if keep.sum() > 2:
        at = np.flatnonzero(keep)
        fast = _steps(lat[at], lon[at])[0] > _SPIKE_M_S * np.diff(time_s[at])
        lone = np.concatenate([[fast[0] and not fast[1]], fast[:-1] & fast[1:], [fast[-1] and not fast[-2]]])
        keep[at[lone]] = False
    if keep.sum() < 2:
        raise BadInput("All track points but one carry the same time or cannot be true; record the whole flight.")
    time_s, altitude = time_s[keep], altitude[keep]
    known = np.isfinite(altitude)
    joined = np.interp(time_s, time_s[known], altitude[known]) if known.any() else None
    return TrackPoints(time_s - time_s[0], lat[keep], lon[keep], joined)


# ---- motion


def _steps(lat: FloatArray, lon: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Length, east and north part (m) of the geodesic from each point to the next."""
    out, _back, distance = Geod(ellps="WGS84").inv(lon[:-1], lat[:-1], lon[1:], lat[1:], return_back_azimuth=True)
    course = np.radians(np.asarray(out))
    return np.asarray(distance, float), distance * np.sin(course), distance * np.cos(course)


def _path(points: TrackPoints) -> tuple[FloatArray, FloatArray]:
    """East and north metres flown since the first point, always along the local true directions."""
    _, east, north = _steps(points.lat_deg, points.lon_deg)
    return np.concatenate([[0.0], np.cumsum(east)]), np.concatenate([[0.0], np.cumsum(north)])


@dataclass(frozen=True, eq=False)
class _Grid:
    """Evenly spaced motion of one stretch without long gaps, points first..last."""

    time_s: FloatArray
    step_s: float
    vx: FloatArray
    vy: FloatArray
    rate: FloatArray
    turn: FloatArray
    first: int
    last: int


def _slope(value: FloatArray, step_s: float, half_s: float) -> FloatArray:
    """Least-squares slope of evenly spaced values over +- half_s, one-sided at the ends."""
    half = max(1, round(half_s / step_s))
    offset = np.arange(-half, half + 1) * step_s
    left = 2 * value[0] - value[half:0:-1] if value.size > half else np.full(half, value[0])
    right = 2 * value[-1] - value[-2:-half - 2:-1] if value.size > half else np.full(half, value[-1])
    return np.convolve(np.concatenate([left, value, right]), -offset / (offset @ offset), mode="valid")


def _grids(points: TrackPoints) -> list[_Grid]:
    """The track cut at long gaps, each stretch on an even grid of 1 to 10 s (the usual spacing of its points)."""
    east, north = _path(points)
    altitude = points.altitude_m if points.altitude_m is not None else np.full_like(east, np.nan)
    spacing = np.diff(points.time_s)
    step = float(np.clip(np.median(spacing), 1.0, 10.0))
    cuts = np.flatnonzero(spacing > _GAP_S) + 1
    grids = []
    for first, end in pairwise([0, *cuts, points.time_s.size]):
        part = slice(int(first), int(end))
        if end - first < 3:
            continue
        time = np.arange(points.time_s[first], points.time_s[end - 1] + 1e-6, step)
        x, y, z = (np.interp(time, points.time_s[part], value[part]) for value in (east, north, altitude))
        if time.size < 3:
            continue
        vx, vy = _slope(x, step, 4.0), _slope(y, step, 4.0)
        heading = np.unwrap(np.arctan2(_mean(vx, step, 4.0), _mean(vy, step, 4.0)))
        turn = np.degrees(_slope(heading, step, 5.0))
        grids.append(_Grid(time, step, vx, vy, _slope(z, step, 15.0), turn, int(first), int(end) - 1))
    return grids


def _mean(value: FloatArray, step_s: float, half_s: float) -> FloatArray:
    """Running mean over +- half_s."""
    half = max(1, round(half_s / step_s))
    return np.convolve(np.pad(value, half, mode="edge"), np.full(2 * half + 1, 1 / (2 * half + 1)), mode="valid")


def motion(points: TrackPoints) -> Motion:
    """Groundspeed, true track and vertical rate at each point: least-squares slopes over +-4 s (+-15 s vertically).

    NaN next to silences of more than 30 s where too few points remain. The track of an aeroplane that stands is noise.
    """
    vx, vy, rate = (np.full(points.time_s.size, np.nan) for _ in range(3))
    for grid in _grids(points):
        part = slice(grid.first, grid.last + 1)
        for target, value in ((vx, grid.vx), (vy, grid.vy), (rate, grid.rate)):
            target[part] = np.interp(points.time_s[part], grid.time_s, value)
    return Motion(np.hypot(vx, vy), np.mod(np.degrees(np.arctan2(vx, vy)), 360.0), rate)


# ---- segments


def segments(points: TrackPoints) -> tuple[Segment, ...]:
    """Taxi, steady climbs, level pieces and descents in order of time; turns, changes of speed and gaps lie between.

    Steady: straight, of one vertical sense, the ground vector without lasting change, 30 s or longer. BadInput without
    altitudes. Speeds and rates are least-squares slopes of the recorded positions over the whole piece.
    """
    if points.altitude_m is None:
        raise BadInput("The track has no altitudes, so that climb and level flight cannot be told apart; export it with "
                       "elevations.")
    east, north = _path(points)
    seen = motion(points)
    found = []
    for grid in _grids(points):
        for label, start, stop in _pieces(grid):
            low = max(grid.first, int(np.searchsorted(points.time_s, grid.time_s[start] - 1e-6)))
            high = min(grid.last, int(np.searchsorted(points.time_s, grid.time_s[stop - 1] + 1e-6)) - 1)
            if high - low >= 2 and points.time_s[high] - points.time_s[low] >= 0.8 * _SHORTEST_S:
                found.append(_segment(points, seen, (east, north), label, low, high))
    return tuple(sorted(found, key=lambda segment: segment.start_s))


def _pieces(grid: _Grid) -> list[tuple[int, int, int]]:
    """(label, start, stop) of the steady pieces of a grid; labels 1 taxi, 2 in flight."""
    speed = np.hypot(_mean(grid.vx, grid.step_s, 4.0), _mean(grid.vy, grid.step_s, 4.0))
    sense = np.where(np.abs(grid.rate) < _CLIMB_M_S, 3, np.where(grid.rate > 0, 2, 4))
    straight = (np.abs(grid.turn) < _TURN_DEG_S) & (speed >= _TAXI_M_S)
    label = np.where((speed < _TAXI_M_S) & (sense == 3), 1, np.where(straight, sense, 0))
    pieces = []
    for name, start, stop in _runs(_closed(label, round(10.0 / grid.step_s))):
        if name == 1:
            pieces.append((1, start, stop))
        elif name:
            margin = round(_ERODE_S / grid.step_s)
            for low, high in _split(grid, start + margin, stop - margin):
                pieces.append((2, *_trim(grid, low, high)))
    return [piece for piece in pieces if (piece[2] - piece[1]) * grid.step_s >= _SHORTEST_S]


def _runs(label: NDArray[np.int64]) -> list[tuple[int, int, int]]:
    """(label, start, stop) of stretches of equal labels."""
    edges = [0, *(np.flatnonzero(np.diff(label)) + 1).tolist(), label.size]
    return [(int(label[low]), low, high) for low, high in pairwise(edges)]


def _closed(label: NDArray[np.int64], longest: int) -> NDArray[np.int64]:
    """Labels with interruptions of at most `longest` samples between equal neighbours filled."""
    runs, out = _runs(label), label.copy()
    for before, gap, after in zip(runs[:-2], runs[1:-1], runs[2:], strict=True):
        if before[0] == after[0] and gap[2] - gap[1] <= longest:
            out[gap[1]:gap[2]] = before[0]
    return out


def _split(grid: _Grid, low: int, high: int) -> list[tuple[int, int]]:
    """The piece cut where ground vector or vertical rate (counted double) change for good, most explaining cut first."""
    side = max(2, round(FORGET_S / grid.step_s))
    pending, done = [(low, high)], []
    while pending:
        start, stop = pending.pop()
        size = stop - start
        if size < 2 * side + 1:
            done.append((start, stop))
            continue
        value = np.stack([grid.vx[start:stop], grid.vy[start:stop], 2 * grid.rate[start:stop]])
        total = np.cumsum(value, axis=1)
        count = np.arange(side, size - side)
        change = np.linalg.norm((total[:, -1:] - total[:, count - 1]) / (size - count) - total[:, count - 1] / count, axis=0)
        gain = change * np.sqrt(count * (size - count) / size)
        best = int(np.argmax(gain))
        cut = int(count[best])
        scatter = float(np.hypot(np.std(value[:, :cut], axis=1).max(), np.std(value[:, cut:], axis=1).max()))
        seconds = min(cut, size - cut) * grid.step_s
        if change[best] > max(_CHANGE_M_S * max(1.0, np.sqrt(60.0 / seconds)), 2.5 * scatter * np.sqrt(FORGET_S / seconds)):
            pending += [(start, start + cut), (start + cut, stop)]
        else:
            done.append((start, stop))
    return sorted(done)


def _trim(grid: _Grid, low: int, high: int) -> tuple[int, int]:
    """The piece without ends that still differ from its settled middle half in ground vector or vertical rate."""
    if high - low < 8:
        return low, high
    quarter = (high - low) // 4
    good = np.ones(high - low, dtype=bool)
    for value, floor in ((grid.vx, 0.8), (grid.vy, 0.8), (grid.rate, 0.4)):
        smooth = _mean(value, grid.step_s, 8.0)[low:high]
        middle = smooth[quarter:-quarter]
        centre = float(np.median(middle))
        good &= np.abs(smooth - centre) <= max(floor, 3.0 * float(np.median(np.abs(middle - centre))))
    kept = np.flatnonzero(good)
    return (low + int(kept[0]), low + int(kept[-1]) + 1) if kept.size else (low, low)


def _rate(time_s: FloatArray, value: FloatArray) -> float:
    """Least-squares slope."""
    centred = time_s - time_s.mean()
    return float(centred @ (value - value.mean()) / (centred @ centred))


def _segment(points: TrackPoints, seen: Motion, path: tuple[FloatArray, FloatArray], label: int, low: int, high: int) -> Segment:
    """The facts of points low..high."""
    part = slice(low, high + 1)
    time, altitude = points.time_s[part], np.asarray(points.altitude_m)[part]
    vx, vy, rate = _rate(time, path[0][part]), _rate(time, path[1][part]), _rate(time, altitude)
    track = float(np.mod(np.degrees(np.arctan2(vx, vy)), 360.0))
    aside = (seen.track_deg[part] - track + 180.0) % 360.0 - 180.0
    limit = min(_CLIMB_M_S, 0.3 + 20.0 / float(time[-1] - time[0]))  # a short piece tells less of its mean rate
    flown: Kind = "steady level" if abs(rate) <= limit else "steady climb" if rate > 0 else "steady descent"
    return Segment("taxi" if label == 1 else flown, low, high, float(time[0]), float(time[-1] - time[0]), float(altitude.mean()),
                   float(np.hypot(vx, vy)), float(np.std(seen.groundspeed_m_s[part])), track, float(np.sqrt(np.mean(aside**2))),
                   rate, float(np.std(seen.vertical_rate_m_s[part])))
