"""The log: flights added, imported, exported, corrected and withdrawn; every write is checked first and is one transaction."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ownship.errors import BadInput, UnreadableFile
from ownship.questions.from_record import registration_of
from ownship.questions.log_checks import fresh, meant, other_words, refuse_flights
from ownship.questions.reading import read_text

if TYPE_CHECKING:
    from ownship.ownership.cell_times import Meaning
    from ownship.ownership.defects import OpenDefect
    from ownship.ownership.entries import Entry, Flight
    from ownship.store.records import Records

MAPPING = "log.import"
_LAST: dict[str, tuple[tuple[str, int, str], tuple[Entry, ...]]] = {}  # which record was read last, and what stands in it
EMPTY = ("No flight is kept yet. Add one with `ownship log add --from KBOI --to KU79 --off-blocks 2026-07-11T15:00-06:00 "
         "--on-blocks 2026-07-11T16:05-06:00 --aeroplane N0160T`, or bring a CSV with `ownship log import FILE.csv`.")


@dataclass(frozen=True)
class Written:
    """What a command wrote: entry numbers, a sentence, what is to be told besides."""

    numbers: tuple[int, ...]
    sentence: str
    told: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """As plain values."""
        return {"schema": 1, **asdict(self)}


@contextmanager
def opened(folder: Path | None) -> Iterator[tuple[Records, tuple[Entry, ...]]]:
    """The record and the entries that stand; closed whatever happens."""
    from ownship.questions.record import open_record

    records = open_record(folder)
    try:
        yield records, _standing(records)
    finally:
        records.close()


def _standing(records: Records) -> tuple[Entry, ...]:
    """The entries that stand, read anew only where another was written since: the record only grows, or is replaced whole.

    Path, count and the uid of the last entry tell one record from another; the one read last is kept in memory.
    """
    from ownship.ownership.entries import standing

    count = sum(records.counts().values())
    try:
        head = (records.database.path, count, records.entry(count).uid)
    except BadInput:  # empty, or numbered with gaps
        return standing(records.all())
    last = _LAST.get("record")
    if last is None or last[0] != head:
        last = _LAST["record"] = (head, standing(records.all()))
    return last[1]


# ---- one flight


def add(cells: Mapping[str, str], aeroplane: str | None = None, zone: str = "", dates: str = "", folder: Path | None = None,
        source: str = "owner", other_aeroplane: bool = False) -> Written:
    """Add one flight from texts by field names (docs/formats/log.md); refused whole where it cannot be true.

    other_aeroplane: an aeroplane that the record does not know is meant, though its registration is near to one that it does.
    """
    with opened(folder) as (records, entries):
        registration, flight, told = _made(cells, entries, aeroplane, zone, dates)
        other = other_words(entries, registration, meant=other_aeroplane)
        entry = records.append(flight, registration, source=source,
                               check=lambda now: refuse_flights([fresh("the flight", registration, flight)], now))
        return Written((entry.number,), f"Entry {entry.number}: {_line(registration, flight)}.", (*told, *other))


def add_file(path: str, aeroplane: str | None = None, folder: Path | None = None, other_aeroplane: bool = False) -> Written:
    """Add the flight of a TOML file whose keys are the fields of the log."""
    return add(toml_cells(path), aeroplane, folder=folder, source=f"file {Path(path).name}", other_aeroplane=other_aeroplane)


def toml_cells(path: str) -> dict[str, str]:
    """The texts of a TOML file by field names; BadInput for an unknown key, with its line."""
    from ownship.ownership.flight_cells import FIELDS
    from ownship.schema import read_toml

    table = read_toml(read_text(path), path)
    table.take("schema", None)
    found = {}
    for key in table.keys():  # noqa: SIM118 - Table, not a dict
        if key not in FIELDS:
            raise table.bad(key, f"{key!r} is no field of the log; fields are: {', '.join(FIELDS)}.")
        value = table.take(key)
        found[key] = "; ".join(_plain(v) for v in value) if isinstance(value, list) else _plain(value)
    return found


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return value.isoformat() if isinstance(value, date | datetime) else str(value)


def _made(cells: Mapping[str, str], entries: tuple[Entry, ...], aeroplane: str | None, zone: str,
          dates: str) -> tuple[str, Flight, tuple[str, ...]]:
    from ownship.ownership.flight_cells import flight_of
    from ownship.questions.places_of_log import places_of_log

    pilot = only_pilot(entries) if "pilot" not in cells else ""
    whole = dict(cells) | ({"pilot": pilot} if pilot else {})
    named, flight, told = flight_of(whole, meaning_of(zone, dates), places_of_log(entries))
    return meant(entries, aeroplane or named), flight, (*told, *pilot_words(pilot))


def only_pilot(entries: Iterable[Entry]) -> str:
    """The pilot of a flight that names none: the only one the record keeps; "" where there are several or none."""
    from ownship.ownership.entries import Pilot, of_kind

    names = {p.name for _, p in of_kind(entries, Pilot)}
    return names.pop() if len(names) == 1 else ""


def pilot_words(pilot: str) -> tuple[str, ...]:
    """What is to be told where the pilot was taken from the record."""
    return (f"pilot: {pilot}, the only one of the record",) if pilot else ()


def meaning_of(zone: str, dates: str) -> Meaning:
    """How ambiguous cells are meant, as typed; BadInput for a zone or an order that does not exist."""
    from ownship.ownership.cell_times import PLACE, Meaning, zone_named
    from ownship.ownership.flight_csv import refuse_order

    refuse_order(dates)
    if zone and zone != PLACE:
        zone_named(zone)
    return Meaning(zone, dates)


def _line(aeroplane: str, f: Flight) -> str:
    from ownship.units import from_si

    return (f"{aeroplane} {f.off_blocks:%Y-%m-%d %H:%M}Z {f.origin} to {f.destination}, "
            f"{from_si(f.flight_s, 'h'):.2f} h from block to block")


# ---- corrections


def correct(number: int, cells: Mapping[str, str], why: str = "", zone: str = "", dates: str = "",
            folder: Path | None = None, other_aeroplane: bool = False) -> Written:
    """Replace fields of a flight by a new entry that corrects it; an empty text clears a field."""
    from ownship.ownership.entries import Flight
    from ownship.ownership.flight_cells import COLUMNS, cells_of, flight_of
    from ownship.questions.places_of_log import places_of_log

    with opened(folder) as (records, entries):
        old = records.entry(number)
        if all(e.number != number for e in entries):
            raise BadInput(f"Entry {number} was corrected or withdrawn already, by entry {_by(records, number)}; look at that one.")
        if not isinstance(old.body, Flight):
            raise BadInput(f"Entry {number} is of kind {old.body.KIND!r} and no flight; withdraw it and enter it anew.")
        merged = dict(zip(COLUMNS, cells_of(old.aeroplane, old.body), strict=True)) | _over(cells)
        registration, flight, told = flight_of(merged, meaning_of(zone, dates), places_of_log(entries))
        registration = meant(entries, registration_of(registration))
        told += other_words(entries, registration, meant=other_aeroplane)
        entry = records.correct(number, flight, aeroplane=registration, note=why, check=lambda now: refuse_flights(
            [fresh("the corrected flight", registration, flight)], now, number))
        return Written((entry.number,), f"Entry {entry.number} corrects entry {number}: {_line(registration, flight)}.", told)


def _by(records: Records, number: int) -> int:
    """The entry that corrects one, or withdraws it; itself where it is a withdrawal."""
    return next((e.number for e in records.all() if e.corrects == number), number)


def _over(cells: Mapping[str, str]) -> dict[str, str]:
    """What was given, and the fields that would say the same otherwise cleared."""
    from ownship.ownership.flight_cells import DURATIONS

    found = dict(cells)
    for name, field in {**DURATIONS, "cross_country": "cross_country_m"}.items():
        if name in cells:
            found[field] = ""
    if "landings" in cells:
        found |= {"landings_day": "", "landings_night": ""}
    if "flight_time" in cells and "on_blocks" not in cells:
        found["on_blocks"] = ""
    return found


def withdraw(number: int, why: str, folder: Path | None = None) -> Written:
    """Write that an entry of the record no longer counts, and why."""
    from ownship.ownership.meters import refuse_withdrawal

    def check(now: tuple[Entry, ...]) -> None:
        for old in (e for e in now if e.number == number):
            refuse_withdrawal(now, old)

    with opened(folder) as (records, _):
        entry = records.withdraw(number, why, check=check)
        return Written((entry.number,), f"Entry {number} no longer counts, as entry {entry.number} says; it stays readable.")


# ---- listing


def listed(aeroplane: str | None = None, since: str | None = None, until: str | None = None, last: int | None = None,
           folder: Path | None = None, about: str = "", skip: int = 0) -> dict[str, Any]:
    """Flights that stand with their totals, each meter's ratio to air time, and open defects; empty: words on what to do.

    about: a place, a pilot or a word of the remarks; last: only so many, the latest, or those before the `skip` latest.
    """
    from ownship.ownership.defects import open_defects
    from ownship.ownership.entries import Flight, of_kind
    from ownship.ownership.flights import METERS, meter_ratio, totals
    from ownship.questions.places import today

    registration = registration_of(aeroplane) if aeroplane else None
    begin, end = day_of("--since", since), day_of("--until", until)
    if last is not None and last < 1:
        raise BadInput(f"--last: {last} flights cannot be shown; ask for 1 or more.")
    with opened(folder) as (_, entries):
        flights = [(e, f) for e, f in of_kind(entries, Flight, registration)
                   if (begin is None or f.off_blocks.date() >= begin) and (end is None or f.off_blocks.date() <= end)
                   and _about(f, about)]
        sums = totals([e for e, _ in flights])
        upto = flights[:max(len(flights) - skip, 0)]
        shown = upto[-last:] if last else upto
        names = dict.fromkeys(e.aeroplane for e in entries if e.aeroplane and registration in (None, e.aeroplane))
        ratios = [{"aeroplane": name, **asdict(r)} for name in names for m in METERS
                  if (r := meter_ratio(entries, name, m)) is not None]
        defects = [{"aeroplane": name, **defect_json(d)} for name in names for d in open_defects(entries, name, day=today())]
    return {"schema": 1, "sentence": _summary(len(flights), len(shown)), "flights": [_flight(e, f) for e, f in shown],
            "totals": asdict(sums), "meter_ratios": ratios, "open_defects": defects}


def _about(f: Flight, words: str) -> bool:
    """Whether a flight is about a place (whole ident), a pilot or a word of the remarks; letter case does not matter."""
    asked = words.strip().casefold()
    places = (f.origin, f.destination, *f.via)
    return not asked or any(asked == p.casefold() for p in places) or any(
        asked in text.casefold() for text in (f.pilot, f.remarks, *f.crew))


def _summary(count: int, shown: int) -> str:
    if count == 0:
        return EMPTY
    less = f", the latest {shown:,} shown" if shown < count else ""
    return f"{count:,} {'flight' if count == 1 else 'flights'}{less}."


def _flight(e: Entry, f: Flight) -> dict[str, Any]:
    """A flight as plain values, its number, aeroplane and both times beside it."""
    from ownship.ownership.flight_cells import COLUMNS, cells_of

    plain = asdict(f)
    moments = dict(zip(COLUMNS, cells_of(e.aeroplane, f), strict=True))
    told = {k: (moments[k] or None) if isinstance(v, datetime) or k in ("take_off", "landing") else v for k, v in plain.items()}
    return {"number": e.number, "aeroplane": e.aeroplane, "flight_s": f.flight_s, "air_s": f.air_s, "source": e.source, **told}


def defect_json(d: OpenDefect) -> dict[str, Any]:
    """An open defect as plain values."""
    plain = asdict(d)
    return plain | {"found": d.found.isoformat(), "until": None if d.until is None else d.until.isoformat()}


def day_of(option: str, text: str | None) -> date | None:
    """A day of an option."""
    try:
        return None if text is None else date.fromisoformat(text.strip())
    except ValueError:
        raise BadInput(f"{option}: {text!r} is no date; write it as 2026-07-11.") from None


# ---- CSV


def import_csv(path: str, maps: Iterable[str] = (), zone: str = "", dates: str = "", aeroplane: str | None = None,
               folder: Path | None = None, other_aeroplane: bool = False) -> Written:
    """Every flight of a CSV in one transaction, or none: what each column means is asked once and remembered.

    A flight that the record holds already, field by field, is left out and counted.
    """
    from ownship.ownership.flight_csv import mapping_of
    from ownship.questions.log_csv import keep_csv

    chosen = mapping_of(maps)
    return keep_csv(_bytes(path), path, chosen, zone, dates, aeroplane, folder, other_aeroplane)


def _bytes(path: str) -> bytes:
    file = Path(path)
    if not file.is_file():
        raise UnreadableFile(f"{path} is no file; name a CSV.")
    try:
        return file.read_bytes()
    except OSError as error:
        raise UnreadableFile(f"{path} cannot be read: {error.strerror or error}.") from None


def export_csv(path: str, aeroplane: str | None = None, folder: Path | None = None, replace: bool = False) -> Written:
    """Every flight that stands as CSV (UTF-8), which `import_csv` reads to the same flights.

    A file that is there already and is no such log is replaced only where that is said (replace).
    """
    from ownship.questions.log_csv import csv_text
    from ownship.questions.places import write_whole
    from ownship.questions.replacing import is_log, refuse_foreign

    registration = registration_of(aeroplane) if aeroplane else None
    target = Path(path).absolute()
    if target.is_dir() or not target.parent.is_dir():
        raise BadInput(f"{path} cannot be the export: it is a folder, or lies in none; name a file in a folder that is there.")
    refuse_foreign(target, is_log, "exported log", replace=replace)
    count, text = csv_text(registration, folder)
    try:
        write_whole(target, text.encode("utf-8"))
    except OSError as error:
        raise UnreadableFile(f"{path} cannot be written ({error.strerror or error}).") from None
    return Written((), f"{count:,} {'flight is' if count == 1 else 'flights are'} in {path}.")
