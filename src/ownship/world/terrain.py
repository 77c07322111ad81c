"""Ground heights from .hgt tiles: at points, the highest in a corridor, and along a leg.

A tile covers one degree square and is named for its south-west corner (N43W116): 1201 or 3601 posts a side (3 or 1 second
of arc), rows from north to south, metres above mean sea level, big-endian signed 16 bit, -32768 where nothing was measured.
Its border rows stand in the neighbours too. Tiles come through a function that is handed in; nothing here opens a file.
A void, a missing tile and a post that no ground on Earth can have are all "not known", and every answer says so.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pyproj import Geod

from ownship.errors import BadInput, OutOfRange
from ownship.world.geodesy import direct, inverse

FloatArray = NDArray[np.float64]
Posts = NDArray[np.int16]

SIDES = (1201, 3601)
VOID = -32768
LOWEST_POST_M, HIGHEST_POST_M = -500, 9000  # the shore of the Dead Sea is near -430 m, the highest summit 8,849 m
FARTHEST_DEG = 85.0  # no tile measured by radar reaches here, and one degree of longitude is short
WIDEST_M = 100_000.0
STEPS_M = (500.0, 20_000.0)  # shorter would be less than two meshes of a coarse tile
_PIECE_M = 10_000.0  # a leg is taken in straight pieces of this length: 2 m under the surface at the middle
_SLACK_M = 20.0  # sagitta and bulge of the longest piece
_BULGE_M = 200.0  # by this much a piece may leave the box of its ends
_DEGREE_M = (110_500.0, 111_700.0)  # shortest and longest of latitude
_ROWS = 256  # rows taken at once, so that memory stays small


@dataclass(frozen=True)
class Terrain:
    """Where tiles come from: `tile(south_deg, west_deg)` gives posts (side, side), north first, or None where there is none."""

    tile: Callable[[int, int], Posts | None]
    source: str


@dataclass(frozen=True)
class Ground:
    """The highest post of a corridor and where it stands; None where no post is known.

    `missing_1` is the share of the corridor's area without data; `incomplete` is True if any of it is.
    """

    highest_m: float | None
    lat_deg: float | None
    lon_deg: float | None
    missing_1: float
    incomplete: bool

    @property
    def known_m(self) -> float | None:
        """The highest ground if the whole corridor is known, else None: not known."""
        return None if self.incomplete else self.highest_m


@dataclass(frozen=True, eq=False)
class Profile:
    """The highest post (NaN: none known) in each slice of a corridor, between two distances from the start; arrays (slice,)."""

    from_m: FloatArray
    to_m: FloatArray
    highest_m: FloatArray
    incomplete: NDArray[np.bool_]


def tile_name(south_deg: int, west_deg: int) -> str:
    """N43W116 for the tile whose south-west corner is 43 N, 116 W."""
    ns, ew = "S" if south_deg < 0 else "N", "W" if west_deg < 0 else "E"
    return f"{ns}{abs(south_deg):02d}{ew}{abs(west_deg):03d}"


def tile_corner(name: str) -> tuple[int, int]:
    """South-west corner of a tile's name, degrees; refuses what is not the name of a degree square."""
    found = re.fullmatch(r"([NS])(\d\d)([EW])(\d\d\d)", name, re.ASCII | re.IGNORECASE)
    if found:
        south = int(found[2]) * (-1 if found[1] in "Ss" else 1)
        west = int(found[4]) * (-1 if found[3] in "Ww" else 1)
        if -90 <= south < 90 and -180 <= west < 180 and tile_name(south, west) == name.upper():
            return south, west
    raise BadInput(f"{name!r} is not the name of a tile; name it for its south-west corner, like N43W116 (S90 to N89, W180 to "
                   "E179).")


def tile_side(name: str, size_bytes: int) -> int:
    """Posts a side of a tile of that many bytes, 1201 or 3601; any other size is refused."""
    for side in SIDES:
        if size_bytes == 2 * side * side:
            return side
    allowed = " or ".join(f"{2 * side * side:,} ({side} posts a side)" for side in SIDES)
    raise BadInput(f"{name} has {size_bytes:,} bytes, and a tile has {allowed}; fetch it again.")


def check_posts(name: str, posts: Posts) -> None:
    """Refuse a tile without any height, or with heights that no ground has (as when its bytes stand the other way round)."""
    heights = posts[posts != VOID]
    if not heights.size:
        raise BadInput(f"{name} holds no height at all, only voids; fetch another version of it.")
    low, high = int(heights.min()), int(heights.max())
    if low < LOWEST_POST_M or high > HIGHEST_POST_M:
        raise BadInput(f"{name} holds heights from {low:,} m to {high:,} m, and ground lies between {LOWEST_POST_M:,} m and "
                       f"{HIGHEST_POST_M:,} m; its bytes may stand in the wrong order: fetch it again as big-endian.")


# ---- at points


def heights_m(terrain: Terrain, lat_deg: ArrayLike, lon_deg: ArrayLike) -> FloatArray:
    """Heights of the ground, m above sea level, of the two arrays' common shape; NaN at a void or without a tile.

    Bilinear between the four posts around a point: good for drawing, and for the ground under one place. Never for
    clearance, since a summit between posts, or a post, may be higher: see `highest_m`. A post without weight is not asked.
    """
    lat, lon = (np.array(a, dtype=float) for a in np.broadcast_arrays(lat_deg, lon_deg))
    if not (np.all(np.abs(lat) <= 90) and np.all(np.abs(lon) <= 180)):
        raise BadInput("A position is outside latitude -90 to 90 or longitude -180 to 180; give degrees, north and east positive.")
    shape, lat, lon = lat.shape, lat.ravel(), lon.ravel()
    out = np.full(lat.shape, np.nan)
    for row in (np.floor(lat), np.ceil(lat) - 1):  # on a border the neighbour holds the post too
        for column in (np.floor(lon), np.ceil(lon) - 1):
            _fill(terrain, out, (lat, lon), (row.astype(int), column.astype(int)))
    return out.reshape(shape)


def _fill(terrain: Terrain, out: FloatArray, at: tuple[FloatArray, FloatArray],
          corner: tuple[NDArray[np.int_], NDArray[np.int_]]) -> None:
    """Write the heights of points still NaN, a tile at a time."""
    open_ = np.isnan(out)
    for south, west in sorted(set(zip(corner[0][open_].tolist(), corner[1][open_].tolist(), strict=True))):
        posts = _tile(terrain, south, west)
        if posts is not None:
            here = open_ & (corner[0] == south) & (corner[1] == west)
            out[here] = _bilinear(posts, south + 1 - at[0][here], at[1][here] - west)


def _bilinear(posts: Posts, down_deg: FloatArray, right_deg: FloatArray) -> FloatArray:
    """Between four posts, at degrees from the north-west corner; NaN where a post that counts is not known."""
    (i, v), (j, u) = (_place(d, posts.shape[0]) for d in (down_deg, right_deg))
    out = np.zeros(i.shape)
    for di, dj, weight in ((0, 0, (1 - v) * (1 - u)), (0, 1, (1 - v) * u), (1, 0, v * (1 - u)), (1, 1, v * u)):
        post = posts[i + di, j + dj]
        out += np.where(weight > 0, weight * np.where(_known(post), post, np.nan), 0.0)
    return out


def _place(degrees: FloatArray, side: int) -> tuple[NDArray[np.int_], FloatArray]:
    """Index of the post before, and the share of the way to the next; a point a millionth from a post is on it."""
    x = degrees * (side - 1)
    x = np.where(np.abs(x - np.round(x)) < 1e-6, np.round(x), x)
    before = np.clip(x.astype(int), 0, side - 2)
    return before, x - before


def _known(posts: Posts) -> NDArray[np.bool_]:
    return (posts >= LOWEST_POST_M) & (posts <= HIGHEST_POST_M)


def _tile(terrain: Terrain, south: int, west: int) -> Posts | None:
    """The tile of a corner whose longitude may run past the antimeridian; None also beyond the poles."""
    return terrain.tile(south, (west + 180) % 360 - 180) if -90 <= south < 90 else None


# ---- in a corridor


def highest_m(terrain: Terrain, lat1_deg: float, lon1_deg: float, lat2_deg: float, lon2_deg: float,
              half_width_m: float) -> Ground:
    """The highest post within a distance of a leg, its ends rounded; raw posts, never interpolated.

    Every post within half_width_m plus one diagonal of the tile's mesh of the WGS84 geodesic counts, so that all four
    posts around any point of the corridor do: the answer is at least `heights_m` everywhere in it. A wider corridor is
    never lower. Works across the antimeridian. Half width 0 to 100 km; a corridor beyond 85 degrees of latitude raises
    OutOfRange. Two ends alike are one place: a circle.
    """
    pieces = _pieces((lat1_deg, lon1_deg), (lat2_deg, lon2_deg), half_width_m, _PIECE_M)
    best, at, area, void_area = -math.inf, (math.nan, math.nan), 0.0, 0.0
    incomplete = False
    last = len(pieces) - 1
    for number, piece in enumerate(pieces):
        for block in _blocks(terrain, piece, half_width_m):
            here = block.aside_m <= block.reach_m
            known = here & block.known
            incomplete |= bool((here & ~block.known).any())
            one = here & ((block.along_m >= 0) | (number == 0)) & ((block.along_m < piece.length_m) | (number == last))
            area += block.area(one)
            void_area += block.area(one & ~block.known)
            if known.any():
                masked = np.where(known, block.posts, VOID)
                i, j = divmod(int(np.argmax(masked)), masked.shape[1])
                if masked[i, j] > best:
                    best, at = float(masked[i, j]), (float(block.lat_deg[i]), float(block.lon_deg[j]))
    missing = void_area / area if area else float(incomplete)
    if not math.isfinite(best):
        return Ground(None, None, None, missing, incomplete)
    return Ground(best, at[0], (at[1] + 180.0) % 360.0 - 180.0, missing, incomplete)


def profile(terrain: Terrain, lat1_deg: float, lon1_deg: float, lat2_deg: float, lon2_deg: float, half_width_m: float,
            step_m: float) -> Profile:
    """The highest post in each of the equal slices, at most step_m long, that a leg's corridor is cut into.

    Slices are cut square across the leg, also at its ends: the ground around a turning point, outside both legs, is in
    `highest_m` only. Ranges as there; step_m 500 m to 20 km, else OutOfRange. Two ends alike: one slice, a line across.
    """
    if not STEPS_M[0] <= step_m <= STEPS_M[1]:
        raise OutOfRange("Step of a terrain profile", f"{step_m:g} m", f"{STEPS_M[0]:g} m", f"{STEPS_M[1]:g} m")
    pieces = _pieces((lat1_deg, lon1_deg), (lat2_deg, lon2_deg), half_width_m, max(step_m, _PIECE_M))
    slices = max(1, math.ceil(pieces[0].length_m / step_m))
    top, incomplete = np.full((len(pieces), slices), -np.inf), np.zeros((len(pieces), slices), dtype=bool)
    for number, piece in enumerate(pieces):
        for block in _blocks(terrain, piece, half_width_m):
            _cut(block, piece.length_m, half_width_m, top[number], incomplete[number])
    top[np.isneginf(top)] = np.nan
    edges = inverse(lat1_deg, lon1_deg, lat2_deg, lon2_deg)[0] * np.arange(top.size + 1) / top.size
    return Profile(edges[:-1], edges[1:], top.ravel(), incomplete.ravel())


def _cut(block: _Block, length_m: float, half_width_m: float, top: FloatArray, incomplete: NDArray[np.bool_]) -> None:
    """Enter a block's posts into the slices of its piece; one within a mesh of a cut belongs to both sides."""
    mesh = block.reach_m - half_width_m
    here = (block.aside_m <= block.reach_m) & (block.along_m >= -mesh) & (block.along_m <= length_m + mesh)
    along, posts, known = block.along_m[here], block.posts[here].astype(float), block.known[here]
    for side in (-mesh, mesh):
        share = (along + side) / length_m if length_m else np.zeros(along.shape)
        at = np.clip(np.floor(share * top.size).astype(int), 0, top.size - 1)
        np.maximum.at(top, at[known], posts[known])
        np.logical_or.at(incomplete, at[~known], True)


@dataclass(frozen=True)
class _Piece:
    """A short piece of a leg: its ends in degrees (longitudes running on) and in space, m from the Earth's centre."""

    ends_deg: tuple[tuple[float, float], tuple[float, float]]
    start_m: FloatArray
    unit: FloatArray
    length_m: float


@dataclass(frozen=True, eq=False)
class _Block:
    """Some posts near a piece: heights, which are known, metres aside (to the piece, with its ends) and along it."""

    posts: Posts
    known: NDArray[np.bool_]
    lat_deg: FloatArray
    lon_deg: FloatArray
    aside_m: FloatArray
    along_m: FloatArray
    mesh_deg: float
    reach_m: float

    def area(self, which: NDArray[np.bool_]) -> float:
        """Area of the chosen posts' meshes, square degrees at the equator."""
        return float(which.sum(axis=1) @ np.cos(np.radians(self.lat_deg))) * self.mesh_deg**2


@cache
def _ellipsoid() -> tuple[float, float]:
    """Semi-major axis (m) and eccentricity squared of WGS84."""
    geod = Geod(ellps="WGS84")
    return float(geod.a), float(geod.es)


def _rings(lat_deg: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Distance from the Earth's axis and height over the equator's plane (m) of points on WGS84."""
    a, es = _ellipsoid()
    phi = np.radians(np.asarray(lat_deg, float))
    normal = a / np.sqrt(1 - es * np.sin(phi) ** 2)
    return normal * np.cos(phi), normal * (1 - es) * np.sin(phi)


def _space(lat_deg: float, lon_deg: float) -> FloatArray:
    ring, up = _rings(lat_deg)
    return np.array([ring * math.cos(math.radians(lon_deg)), ring * math.sin(math.radians(lon_deg)), up])


def _pieces(start: tuple[float, float], end: tuple[float, float], half_width_m: float, most_m: float) -> list[_Piece]:
    """The leg in equal pieces; refuses what is no position, no width, or too near a pole."""
    if not all(math.isfinite(x) and abs(x) <= most for point in (start, end) for x, most in zip(point, (90, 180), strict=True)):
        raise BadInput(f"{start[0]:g},{start[1]:g} to {end[0]:g},{end[1]:g} is not a leg on the Earth; latitude is -90 to 90, "
                       "longitude -180 to 180.")
    if not 0 <= half_width_m <= WIDEST_M:
        raise OutOfRange("Half width of a terrain corridor", f"{half_width_m:g} m", "0 m", f"{WIDEST_M:g} m")
    distance, course, _ = inverse(*start, *end)
    count = max(1, math.ceil(distance / most_m))
    points = [start, *(direct(*start, course, distance * i / count)[:2] for i in range(1, count)), end]
    farthest = max(abs(lat) for lat, _ in points) + half_width_m / _DEGREE_M[0]
    if farthest > FARTHEST_DEG:
        raise OutOfRange("Latitude of a terrain corridor", f"{farthest:.1f} deg", f"-{FARTHEST_DEG:g} deg", f"{FARTHEST_DEG:g} deg")
    return [_piece(a, b) for a, b in pairwise(points)]


def _piece(a: tuple[float, float], b: tuple[float, float]) -> _Piece:
    b = b[0], a[1] + (b[1] - a[1] + 180.0) % 360.0 - 180.0
    start = _space(*a)
    way = _space(*b) - start
    length = float(np.linalg.norm(way))
    return _Piece((a, b), start, way / length if length else way, length)


def _blocks(terrain: Terrain, piece: _Piece, half_width_m: float) -> Iterator[_Block]:
    """Posts of every tile around a piece, some rows at a time; a missing tile comes as voids."""
    pad = half_width_m + _DEGREE_M[1] * math.sqrt(2) / (SIDES[0] - 1) + _SLACK_M + _BULGE_M
    lats, lons = zip(*piece.ends_deg, strict=True)
    up = pad / _DEGREE_M[0]
    low, high = min(lats) - up, max(lats) + up
    aside = up / math.cos(math.radians(min(max(abs(low), abs(high)), 89.0)))
    left, right = min(lons) - aside, max(lons) + aside
    for south in range(math.floor(low), math.floor(high) + 1):
        for west in range(math.floor(left), math.floor(right) + 1):
            posts = _tile(terrain, south, west)
            if posts is None:
                posts = np.broadcast_to(np.int16(VOID), (SIDES[0], SIDES[0]))
            mesh = posts.shape[0] - 1
            first, end = max(math.floor((south + 1 - high) * mesh), 0), min(math.ceil((south + 1 - low) * mesh), mesh)
            columns = np.arange(max(math.floor((left - west) * mesh), 0), min(math.ceil((right - west) * mesh), mesh) + 1)
            for top in range(first, end + 1, _ROWS):
                rows = np.arange(top, min(top + _ROWS, end + 1))
                yield _block(posts, (rows, columns), (south, west), piece, half_width_m)


def _block(posts: Posts, where: tuple[NDArray[np.int_], NDArray[np.int_]], corner: tuple[int, int], piece: _Piece,
           half_width_m: float) -> _Block:
    """Distances in space, straight through: at 100 km 1 m short of those over the ground."""
    (rows, columns), mesh = where, posts.shape[0] - 1
    lat, lon = corner[0] + 1 - rows / mesh, corner[1] + columns / mesh
    ring, up = _rings(lat)
    east = np.radians(lon)

    def dot(vector: FloatArray) -> FloatArray:
        return ring[:, None] * (np.cos(east) * vector[0] + np.sin(east) * vector[1])[None, :] + (up * vector[2])[:, None]

    along = dot(piece.unit) - float(piece.start_m @ piece.unit)
    square = (ring**2 + up**2)[:, None] + float(piece.start_m @ piece.start_m) - 2 * dot(piece.start_m)
    nearest = np.clip(along, 0.0, piece.length_m)
    aside = np.sqrt(np.maximum(square - nearest * (2 * along - nearest), 0.0))
    heights = np.asarray(posts[rows[0]:rows[-1] + 1, columns[0]:columns[-1] + 1]).astype(np.int16)
    reach = half_width_m + _DEGREE_M[1] * math.sqrt(2) / mesh + _SLACK_M
    return _Block(heights, _known(heights), lat, lon, aside, along, 1 / mesh, reach)
