"""A log as CSV, looked at before it is kept: what each column means, which flights are new; kept in one transaction or not."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ownship.questions.from_record import registration_of, setting
from ownship.questions.log_checks import refuse_flights
from ownship.questions.logging_flights import MAPPING, Written, meaning_of, only_pilot, opened, pilot_words

if TYPE_CHECKING:
    from ownship.ownership.entries import Entry
    from ownship.ownership.flights import Placed
    from ownship.store.records import Records

SAMPLES = 3


@dataclass(frozen=True)
class Columns:
    """The columns of a CSV: name, what it means to us ("": nobody reads it), some of its cells; the zone remembered."""

    names: tuple[str, ...]
    fields: Mapping[str, str]
    samples: Mapping[str, tuple[str, ...]]
    rows: int
    zone: str


@dataclass(frozen=True)
class Look:
    """What a CSV would bring: new flights with their lines, how many are kept already, what is to be told."""

    new: tuple[Placed, ...]
    already: int
    told: tuple[str, ...]


def columns(data: bytes, name: str, folder: Path | None = None) -> Columns:
    """What the columns of a CSV are and mean so far: our own names, and what was chosen the last time."""
    from ownship.ownership.flight_cells import FIELDS
    from ownship.ownership.flight_csv import decoded, rows_of

    header, rows = rows_of(decoded(data, name), name)
    with opened(folder) as (_, entries):
        kept = _kept_mapping(entries)
    known = kept.get("map", {})
    names = tuple(c for c in header if c)
    meant = {c: m if (m := known.get(c, c)) in FIELDS else "" for c in names}
    samples = {c: tuple(r[i] for _, r in rows[:SAMPLES] if i < len(r) and r[i].strip()) for i, c in enumerate(header) if c}
    return Columns(names, meant, samples, len(rows), kept.get("zone", ""))


def look(data: bytes, name: str, chosen: Mapping[str, str], zone: str = "", dates: str = "", aeroplane: str | None = None,
         folder: Path | None = None, other_aeroplane: bool = False) -> Look:
    """What `keep_csv` would keep; refused as that would be, and nothing is written."""
    with _read(data, name, chosen, zone, dates, aeroplane, folder, other_aeroplane) as (_, entries, found):
        refuse_flights(list(found.new), entries)
        return Look(found.new, found.already, found.told)


def keep_csv(data: bytes, name: str, chosen: Mapping[str, str], zone: str = "", dates: str = "", aeroplane: str | None = None,
             folder: Path | None = None, other_aeroplane: bool = False) -> Written:
    """Every new flight of a CSV in one transaction, or none; chosen: {their column: our field, "" for none}, remembered."""
    from ownship.store.records import New

    with _read(data, name, chosen, zone, dates, aeroplane, folder, other_aeroplane) as (records, _, found):
        items = [New(p.flight, p.aeroplane, None, f"import of {Path(name).name}") for p in found.new]
        written = records.append_many([*items, *([] if found.remember is None else [New(found.remember)])],
                                      check=lambda now: refuse_flights(list(found.new), now)) if items else ()
    numbers = tuple(e.number for e in written[:len(items)])
    return Written(numbers, _imported(name, len(found.new), found.already), found.told)


@dataclass(frozen=True)
class _Found:
    new: tuple[Placed, ...]
    already: int
    told: tuple[str, ...]
    remember: Any


@contextmanager
def _read(data: bytes, name: str, chosen: Mapping[str, str], zone: str, dates: str, aeroplane: str | None, folder: Path | None,
          other_aeroplane: bool) -> Iterator[tuple[Records, tuple[Entry, ...], _Found]]:
    """The record, open, with what a CSV says beside it."""
    from ownship.ownership.entries import Flight, of_kind
    from ownship.ownership.flight_csv import Mapped, decoded, read_log
    from ownship.ownership.registrations import of_a_file
    from ownship.questions.places_of_log import places_of_log

    with opened(folder) as (records, entries):
        kept = _kept_mapping(entries)
        meaning = meaning_of(zone or kept.get("zone", ""), dates)
        registration = registration_of(aeroplane) if aeroplane else ""
        mapped = Mapped(kept.get("map", {}) | chosen, meaning, registration, only_pilot(entries))
        log = read_log(decoded(data, name), name, mapped, places_of_log(entries))
        names, other = of_a_file(entries, [registration_of(p.aeroplane) for p in log.flights], meant=other_aeroplane)
        flights = [replace(p, aeroplane=names[registration_of(p.aeroplane)]) for p in log.flights]
        there = {(e.aeroplane, f) for e, f in of_kind(entries, Flight)}
        new = tuple(p for p in flights if (p.aeroplane, p.flight) not in there)
        again = (f"times without a zone are taken as {meaning.zone}, as last time",) if meaning.zone and not zone else ()
        told = (*_told(log), *pilot_words(log.pilot), *again, *other)
        yield records, entries, _Found(new, len(flights) - len(new), told, _to_keep(kept, dict(mapped.fields), meaning.zone))


def _kept_mapping(entries: tuple[Entry, ...]) -> dict[str, Any]:
    return setting(entries, MAPPING) or {}


def _to_keep(kept: dict[str, Any], fields: dict[str, str], zone: str) -> Any:
    """The mapping as a Setting where it is another than before; None where nothing is new."""
    from ownship.ownership.entries import Setting

    value = {"map": fields, "zone": zone}
    if value == kept or not (fields or zone):
        return None
    return Setting(MAPPING, json.dumps(value, ensure_ascii=False))


def _imported(path: str, count: int, already: int) -> str:
    there = f" {already:,} {'was' if already == 1 else 'were'} in the record already." if already else ""
    if not count:
        return f"{path}: no new flight.{there}"
    return f"{path}: {count:,} {'flight' if count == 1 else 'flights'} written.{there}"


def _told(found: Any) -> tuple[str, ...]:
    left = (f"columns that nobody reads: {', '.join(found.left_out)}",) if found.left_out else ()
    return left + tuple(f"{words} ({times:,} {'flight' if times == 1 else 'flights'})" for words, times in found.told[:20])


def csv_text(aeroplane: str | None = None, folder: Path | None = None) -> tuple[int, str]:
    """(how many flights stand, all of them as the CSV that reads back the same)."""
    from ownship.ownership.entries import Flight, of_kind
    from ownship.ownership.flight_csv import written

    with opened(folder) as (_, entries):
        flights = [(e.number, e.aeroplane, f) for e, f in of_kind(entries, Flight, aeroplane)]
    return len(flights), written(flights)
