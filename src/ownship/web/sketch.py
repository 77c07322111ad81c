"""The route as a sketch in plain projection: legs, fixes, last points, aerodromes near; no ground is drawn."""

from __future__ import annotations

import math
from dataclasses import dataclass

from markupsafe import Markup, escape

from ownship.flight.answer import Assessment
from ownship.flight.situation import Situation
from ownship.units import from_si
from ownship.world.geodesy import inverse

WIDTH, TALLEST, SHORTEST, EDGE = 640.0, 460.0, 160.0, 60.0
LETTER, LINE = 7.0, 14.0
Box = tuple[float, float, float, float]
SCALES_NM = (1, 2, 5, 10, 20, 50, 100, 200, 500)


@dataclass(frozen=True)
class Place:
    """A thing on the sketch; kind: end, fix, alternate, near, point."""

    name: str
    kind: str
    lat_deg: float
    lon_deg: float


def places_of(s: Situation, a: Assessment) -> tuple[Place, ...]:
    """Ends and fixes, alternates, aerodromes on the way, last points that are reached."""
    last = len(s.points) - 1
    found = [Place(p.name, "end" if i in (0, last) else "fix", p.lat_deg, p.lon_deg) for i, p in enumerate(s.points)]
    named = {p.name for p in found}
    for name in s.request.alternates:
        there = s.places.get(name)
        if there is not None and there.ident not in named:
            found.append(Place(there.ident, "alternate", there.lat_deg, there.lon_deg))
    named |= {p.name for p in found}
    if a.extras is not None:
        near = {x.ident: x for x in s.near}
        found += [Place(r.ident, "near", near[r.ident].lat_deg, near[r.ident].lon_deg)
                  for r in a.extras.on_the_way if r.ident in near and r.ident not in named]
        found += [Place(str(i), "point", *r.position) for i, r in enumerate(a.extras.last_points, 1) if r.position is not None]
    return tuple(found)


def sketch(s: Situation, a: Assessment) -> Markup:
    """The route, north up, east-west shrunk by the cosine of the middle latitude; true to scale near the middle."""
    places = places_of(s, a)
    first = places[0].lon_deg
    lon = [(p.lon_deg - first + 180) % 360 - 180 for p in places]
    lat = [p.lat_deg for p in places]
    middle = (min(lat) + max(lat)) / 2
    shrink = max(math.cos(math.radians(middle)), 0.05)
    wide, tall = max((max(lon) - min(lon)) * shrink, 1e-3), max(max(lat) - min(lat), 1e-3)
    scale = min((WIDTH - 2 * EDGE) / wide, (TALLEST - 2 * EDGE) / tall)
    height = max(tall * scale + 2 * EDGE, SHORTEST)
    at = [(WIDTH / 2 + ((x - (min(lon) + max(lon)) / 2) * shrink) * scale, height / 2 - (y - middle) * scale)
          for x, y in zip(lon, lat, strict=True)]
    route = " ".join(f"{x:.1f},{y:.1f}" for x, y in at[:len(s.points)])
    said = (f"Sketch of the route {', '.join(p.name for p in s.points)}, north up. "
            "Times, courses and last points stand in the tables below.")
    parts = [f'<polyline class="route" points="{route}"/>', *(_mark(p, x, y) for p, (x, y) in zip(places, at, strict=True)),
             *_labels(places, at, height), *_scale(middle, places[0].lon_deg, scale, height)]
    return Markup(f'<svg class="drawing" viewBox="0 0 {WIDTH:.0f} {height:.0f}" role="img" aria-label="{escape(said)}">'
                  f'{"".join(parts)}</svg>')


def _mark(p: Place, x: float, y: float) -> str:
    if p.kind == "end":
        return f'<circle class="end" cx="{x:.1f}" cy="{y:.1f}" r="5"/>'
    if p.kind == "point":
        return f'<path class="point" d="M{x - 5:.1f} {y:.1f} L{x:.1f} {y - 5:.1f} L{x + 5:.1f} {y:.1f} L{x:.1f} {y + 5:.1f} Z"/>'
    if p.kind == "fix":
        return f'<path class="fix" d="M{x:.1f} {y - 6:.1f} L{x + 5:.1f} {y + 4:.1f} L{x - 5:.1f} {y + 4:.1f} Z"/>'
    return f'<circle class="{p.kind}" cx="{x:.1f}" cy="{y:.1f}" r="4"/>'


def _labels(places: tuple[Place, ...], at: list[tuple[float, float]], height: float) -> list[str]:
    """Each label right, left, above or below its mark, where it covers nothing; one that fits nowhere is left to the tables."""
    taken = [(x - 6, y - 6, x + 6, y + 6) for x, y in at]
    found = []
    for i, (p, (x, y)) in enumerate(zip(places, at, strict=True)):
        long = LETTER * len(p.name[:12])
        tries = ((x + 9, y + 4, "start"), (x - 9, y + 4, "end"), (x, y - 10, "middle"), (x, y + 20, "middle"))
        for px, py, anchor in tries:
            left = px - {"start": 0.0, "end": long, "middle": long / 2}[anchor]
            box = (left, py - LINE + 3, left + long, py + 3)
            if _free(box, taken[:i] + taken[i + 1:]) and left >= 0 and box[2] <= WIDTH and box[1] >= 0 and box[3] <= height:
                taken.append(box)
                found.append(f'<text class="{"small" if p.kind in ("near", "point") else ""}" x="{px:.1f}" y="{py:.1f}" '
                             f'text-anchor="{anchor}">{escape(p.name[:12])}</text>')
                break
    return found


def _free(box: Box, taken: list[Box]) -> bool:
    return not any(a < box[2] and box[0] < c and b < box[3] and box[1] < d for a, b, c, d in taken)


def _scale(lat_deg: float, lon_deg: float, scale: float, height: float) -> list[str]:
    """A bar of a round number of nautical miles, and north."""
    low = max(min(lat_deg, 89.0), -89.0)
    mile = scale / float(from_si(inverse(low, lon_deg, low + 1.0, lon_deg)[0], "nm"))  # px for one NM, along the meridian
    length = max((n for n in SCALES_NM if n * mile <= WIDTH / 4), default=SCALES_NM[0])
    y = height - 14
    return [f'<path class="scale" d="M12 {y - 5:.1f} V{y:.1f} H{12 + length * mile:.1f} V{y - 5:.1f}"/>',
            f'<text class="small" x="{18 + length * mile:.1f}" y="{y + 2:.1f}">{length} NM</text>',
            f'<path class="scale" d="M{WIDTH - 40:.0f} 44 V16 M{WIDTH - 45:.0f} 24 L{WIDTH - 40:.0f} 14 L{WIDTH - 35:.0f} 24"/>',
            f'<text class="small" x="{WIDTH - 40:.0f}" y="58" text-anchor="middle">true north</text>']
