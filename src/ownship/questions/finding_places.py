"""Aerodromes for a field that is being typed: a few, by code, name or town, the nearest to where one is first."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import sqlite3

FEWEST_LETTERS, LONGEST = 2, 60
OPEN = "airport.type IN ('small_airport', 'medium_airport', 'large_airport', 'seaplane_base')"
SIZE = "CASE airport.type WHEN 'large_airport' THEN 0 WHEN 'medium_airport' THEN 1 ELSE 2 END"
COLUMNS = "airport.id, airport.ident, airport.name, airport.municipality, airport.region, airport.lat, airport.lon"
CODED = "code JOIN airport ON airport.id = code.airport"
Position = tuple[float, float]
Row = tuple[int, str, str, str, str, float, float]


@dataclass(frozen=True)
class FoundPlace:
    """An aerodrome to choose: its ident, name, town and region; distance_m: from the place asked about, None without one."""

    ident: str
    name: str
    town: str
    region: str
    distance_m: float | None
    own: bool = False


def places_like(text: str, near: str = "", most: int = 8) -> tuple[FoundPlace, ...]:
    """At most `most` open aerodromes with this code, or with names or towns that begin so; the owner's own first, then an exact
    code, then the nearest to `near` (an ident or "lat,lon"), without it the largest. Nothing for fewer than two letters."""
    words = ["".join(c for c in w if c.isalnum()) for w in text[:LONGEST].split()]
    words = [w for w in words if w]
    if sum(map(len, words)) < FEWEST_LETTERS:
        return ()
    from ownship.questions.check import open_database

    connection = open_database()
    origin = _position(connection, near)
    own = _own(text, origin)
    rows = [r for r in _rows(connection, words, text.strip().upper(), origin, most) if r[1] not in {p.ident for p in own}]
    return (*own, *(FoundPlace(r[1], r[2], r[3] or "", r[4] or "", _distance(origin, r[5], r[6])) for r in rows))[:most]


def _rows(connection: sqlite3.Connection, words: list[str], code: str, origin: Position | None, most: int) -> list[Row]:
    from ownship.world.geodesy import inverse

    query = " ".join(f'"{w}"*' for w in words)
    lat, lon = origin or (0.0, 0.0)
    shrink = math.cos(math.radians(lat)) ** 2
    apart = ("(airport.lat - ?) * (airport.lat - ?) + min(abs(airport.lon - ?), 360 - abs(airport.lon - ?)) "
             "* min(abs(airport.lon - ?), 360 - abs(airport.lon - ?)) * ?")
    order, values = (apart, (lat, lat, lon, lon, lon, lon, shrink)) if origin else (f"{SIZE}, airport.ident", ())
    exact = connection.execute(f"SELECT {COLUMNS} FROM {CODED} WHERE code.code = ? AND {OPEN} ORDER BY code.rank LIMIT 3",
                               (code,)).fetchall()
    like = connection.execute(f"SELECT {COLUMNS} FROM words JOIN airport ON airport.id = words.rowid "
                              f"WHERE words MATCH ? AND {OPEN} ORDER BY {order} LIMIT ?", (query, *values, most)).fetchall()
    if origin:
        like.sort(key=lambda r: inverse(*origin, r[5], r[6])[0])
    return list({r[0]: r for r in (*exact, *like)}.values())


def _position(connection: sqlite3.Connection, near: str) -> Position | None:
    """Where a place lies: "lat,lon", an own aerodrome or one of the data; None where none is named."""
    parts = near.split(",")
    try:
        lat, lon = (float(x) for x in parts)
        return (lat, lon) if abs(lat) <= 90 and abs(lon) <= 180 else None
    except ValueError:
        pass
    from ownship.questions.own_aerodromes import kept

    name = near.strip().upper()
    own = kept().get(name)
    if own is not None:
        return own.lat_deg, own.lon_deg
    row = connection.execute(f"SELECT lat, lon FROM {CODED} WHERE code = ? ORDER BY rank LIMIT 1", (name,)).fetchone()
    return (row[0], row[1]) if row else None


def _own(text: str, origin: Position | None) -> tuple[FoundPlace, ...]:
    from ownship.questions.own_aerodromes import kept

    sought = text.strip().lower()
    return tuple(FoundPlace(a.ident, a.name, "", a.region, _distance(origin, a.lat_deg, a.lon_deg), own=True)
                 for a in kept().values()
                 if a.ident.lower().startswith(sought) or any(w.startswith(sought) for w in a.name.lower().split()))


def _distance(origin: Position | None, lat_deg: float, lon_deg: float) -> float | None:
    from ownship.world.geodesy import inverse

    return None if origin is None else float(inverse(*origin, lat_deg, lon_deg)[0])


def places_json(found: tuple[FoundPlace, ...], unit: str = "nm") -> dict[str, Any]:
    """The answer of `/places.json`; distance null where it is not asked from anywhere."""
    from ownship.units import from_si

    return {"places": [{"ident": p.ident, "name": p.name, "town": p.town, "region": p.region, "own": p.own,
                        "distance": None if p.distance_m is None else {"value": float(from_si(p.distance_m, unit)), "unit": unit}}
                       for p in found]}
