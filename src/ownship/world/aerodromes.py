"""Aerodromes and runway ends as frozen values, from the open data or from the owner's own record."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Any

from ownship.errors import BadInput
from ownship.provenance import package_toml
from ownship.schema import Table
from ownship.units import to_si
from ownship.world.geodesy import inverse
from ownship.world.magnetism import variation_deg

IDENT_UNCERTAINTY_DEG = 20.0  # a runway's number is magnetic, rounded, and may be old
BELIEVED_DEG = 30.0  # variation has moved, numbers are rounded: further apart, one of the two is wrong
LONGEST_M = float(to_si(30000, "ft"))


@dataclass(frozen=True)
class RunwayObstacle:
    """An obstacle beyond the end: distance from the start of the take-off run, height above it."""

    distance_m: float
    height_m: float


@dataclass(frozen=True)
class RunwayEnd:
    """One direction of a runway: where it points, how long it is each way, its slope (up positive), its surface."""

    ident: str
    true_heading_deg: float | None
    heading_source: str
    heading_uncertainty_deg: float
    length_m: float | None
    take_off_length_m: float | None
    landing_length_m: float | None
    displaced_m: float
    threshold_elevation_m: float | None
    slope_1: float | None
    slope_source: str
    surface: str | None
    surface_text: str
    width_m: float | None
    lighted: bool
    closed: bool
    take_off_allowed: bool
    landing_allowed: bool
    obstacles: tuple[RunwayObstacle, ...]
    source: str
    date: str


@dataclass(frozen=True)
class Frequency:
    """A radio frequency of an aerodrome, MHz."""

    kind: str
    description: str
    mhz: float


@dataclass(frozen=True)
class Aerodrome:
    """One aerodrome; `ends` holds every direction of every runway."""

    ident: str
    codes: tuple[str, ...]
    name: str
    kind: str
    closed: bool
    country: str
    region: str
    lat_deg: float
    lon_deg: float
    elevation_m: float | None
    ends: tuple[RunwayEnd, ...]
    frequencies: tuple[Frequency, ...]
    source: str
    data_date: str


@cache
def _surface_words() -> tuple[tuple[str, str], ...]:
    kinds = package_toml("runway_surfaces.toml").take("kinds")
    return tuple((word, kind) for kind, words in kinds.items() for word in words)


def surface_kind(text: str) -> str | None:
    """paved, grass, gravel or water from the free text of the open data; None where it says nothing known.

    A text that names two kinds (ASPH-TURF) is not known: the worse half may be the one that is used.
    """
    parts = [p.strip() for p in text.upper().replace("/", "-").replace(" AND ", "-").split("-") if len(p.strip()) > 1]
    kinds = {kind for p in parts for word, kind in _surface_words() if p.startswith(word)}
    unknown = any(not any(p.startswith(w) for w, _ in _surface_words()) for p in parts)
    return kinds.pop() if len(kinds) == 1 and not unknown else None


def runway_ends(row: dict[str, str], aerodrome_closed: bool, lat_deg: float, lon_deg: float, day: date,
                source: str, data_date: str) -> tuple[RunwayEnd, ...]:
    """Both directions of one runway of the open data.

    Heading: published true heading, else threshold coordinates, else number x 10 with variation, +-20 degrees.
    Slope from both threshold elevations and the length, else unknown. Empty cells are unknown.
    """
    def number(key: str) -> float | None:
        try:
            value = float(row.get(key) or "nan")
        except ValueError:
            return None
        return value if math.isfinite(value) else None

    length = number("length_ft")
    length_m = float(to_si(length, "ft")) if length and 0 < to_si(length, "ft") <= LONGEST_M else None
    heights = {p: number(f"{p}_elevation_ft") for p in ("le", "he")}
    slope = None
    if length_m and heights["le"] is not None and heights["he"] is not None:
        slope = float(to_si(heights["he"] - heights["le"], "ft")) / length_m
    ends = []
    for this, other, sign in (("le", "he", 1), ("he", "le", -1)):
        ident = (row.get(f"{this}_ident") or "").strip().upper()
        if not ident:
            continue
        heading, how, uncertainty = _heading(row, number, this, other, ident, (lat_deg, lon_deg, day))
        displaced = float(to_si(number(f"{this}_displaced_threshold_ft") or 0.0, "ft"))
        here = heights[this]
        ends.append(RunwayEnd(
            ident, heading, how, uncertainty, length_m, length_m,
            None if length_m is None else max(length_m - displaced, 0.0), displaced,
            None if here is None else float(to_si(here, "ft")), None if slope is None else sign * slope,
            "threshold elevations of the open data" if slope is not None else "", surface_kind(row.get("surface") or ""),
            (row.get("surface") or "").strip(), _width(number("width_ft")), row.get("lighted") == "1",
            row.get("closed") == "1" or aerodrome_closed, True, True, (), source, data_date))
    return tuple(ends)


def _width(width_ft: float | None) -> float | None:
    return None if not width_ft else float(to_si(width_ft, "ft"))


def _heading(row: dict[str, str], number: Any, this: str, other: str, ident: str,
             place: tuple[float, float, date]) -> tuple[float | None, str, float]:
    """(heading, how known, doubt): published, else the other end's reversed, else threshold coordinates, else the number.

    A heading that disagrees with the runway's own number by more than 30 degrees is not believed.
    """
    by_number = _by_number(ident, place)
    back = number(f"{other}_heading_degT")
    found = [(number(f"{this}_heading_degT"), "published true heading"),
             (None if back is None else back + 180.0, "the other end's published true heading"),
             (_by_thresholds(number, this, other), "threshold coordinates")]
    for value, how in found:
        if value is not None and (by_number is None or _apart_deg(value, by_number) <= BELIEVED_DEG):
            return value % 360.0, how, 0.0
    if by_number is None:
        return None, "not known", IDENT_UNCERTAINTY_DEG
    doubted = ", since the published heading disagrees with it" if any(v is not None for v, _ in found) else ""
    return by_number, f"runway number and variation, 20 degrees either way{doubted}", IDENT_UNCERTAINTY_DEG


def _by_thresholds(number: Any, this: str, other: str) -> float | None:
    corners = [number(f"{p}_{c}_deg") for p in (this, other) for c in ("latitude", "longitude")]
    return inverse(*corners)[1] if all(c is not None for c in corners) and corners[:2] != corners[2:] else None


def _by_number(ident: str, place: tuple[float, float, date]) -> float | None:
    """Number x 10 plus variation; None for a name that is no number, or a day outside the magnetic model."""
    digits = "".join(c for c in ident if c.isdigit())
    if not digits or not 1 <= int(digits) <= 36:
        return None
    lat, lon, day = place
    try:
        return (int(digits) * 10 + variation_deg(lat, lon, 0.0, day)) % 360.0
    except BadInput:
        return None


def _apart_deg(a: float, b: float) -> float:
    return abs((a - b + 180.0) % 360.0 - 180.0)


def aerodrome_from_table(t: Table, ident: str, base: Aerodrome | None) -> Aerodrome:
    """The owner's aerodrome record; `base` (the open data's) fills what the record does not say.

    A record that names runways replaces all of the open data's, and shows its own source and date.
    """
    name, source = t.text("name", base.name if base else ident), t.text("source", "owner's record")
    day = str(t.take("date", ""))
    t.take("ident", None)
    position = t.text("position", None)
    if position is None and base is None:
        raise t.bad("position", f"{ident} is not in the open data, so its position is needed, as \"45.1,-115.2\".")
    lat, lon = _position(t, position) if position else (base.lat_deg, base.lon_deg)  # type: ignore[union-attr]
    elevation = t.quantity("elevation", "length", base.elevation_m if base else None, low="-1500 ft", high="15000 ft")
    tables = t.tables("runways")
    ends = tuple(_end_from_table(r, source, day) for r in tables) if tables else (base.ends if base else ())
    t.done()
    return Aerodrome(ident, base.codes if base else (ident,), name, base.kind if base else "own record", False,
                     base.country if base else "", base.region if base else "", lat, lon, elevation, ends,
                     base.frequencies if base else (), source, day or (base.data_date if base else ""))


def _position(t: Table, text: str) -> tuple[float, float]:
    try:
        lat, lon = (float(x) for x in text.split(","))
    except ValueError:
        raise t.bad("position", f"{text!r} is not a position; write \"45.1,-115.2\" (north, east positive).") from None
    if not (-90 <= lat <= 90 and -180 <= lon <= 180):
        raise t.bad("position", f"{text!r} is not on the Earth; latitude is -90 to 90, longitude -180 to 180.")
    return lat, lon


def _end_from_table(r: Table, source: str, day: str) -> RunwayEnd:
    source, day = r.text("source", source), str(r.take("date", day))
    ident = r.text("end").upper()
    if not re.fullmatch(r"\d{1,2}[LRCWGS]?|[NESW]{1,3}", ident):
        raise r.bad("end", f"{ident!r} is no runway end; write 07, 25L or a direction such as NE.")
    heading = r.convert("true_heading", _degrees, None)
    length = r.quantity("length", "length", None, low="100 ft", high="30000 ft")
    take_off = r.quantity("take_off_length", "length", length, low="100 ft", high="30000 ft")
    landing = r.quantity("landing_length", "length", length, low="100 ft", high="30000 ft")
    start, end = (r.quantity(k, "length", None) for k in ("threshold_height", "far_height"))
    slope = r.quantity("slope", "gradient", None, low="-20 %", high="20 %")
    way = length or take_off
    if slope is None and start is not None and end is not None and way:
        slope = (end - start) / way
    one_way = r.choice("one_way", ("take-off", "landing"), None)
    obstacles = tuple(_obstacle(o) for o in r.tables("obstacles"))
    made = RunwayEnd(ident, heading, "owner's record" if heading is not None else "not known",
                     0.0 if heading is not None else IDENT_UNCERTAINTY_DEG, length or take_off, take_off, landing, 0.0,
                     start, slope, f"owner's record {day}".strip() if slope is not None else "",
                     r.choice("surface", ("paved", "grass", "gravel"), None), "", r.quantity("width", "length", None),
                     r.flag("lighted", False), r.flag("closed", False), one_way != "landing", one_way != "take-off",
                     obstacles, source, day)
    r.done()
    return made


def _degrees(value: Any) -> float:
    text = str(value).lower().removesuffix("deg").strip()
    number = float(text) if re.fullmatch(r"\d{1,3}(\.\d+)?", text) else -1.0
    if not 0 <= number <= 360:
        raise ValueError(f"{value!r} is no true heading; write 0 to 360 degrees.")
    return number % 360.0


def _obstacle(o: Table) -> RunwayObstacle:
    found = RunwayObstacle(o.quantity("distance", "length", low="0 ft", high="20 nm"),
                           o.quantity("height", "length", low="0 ft", high="10000 ft"))
    o.done()
    return found
