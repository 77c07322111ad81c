"""The airframe record as the screens ask for it: what it says on a day, a change kept, a draft of a new one."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from ownship.errors import BadInput, MissingKey, UnreadableFile
from ownship.questions.reading import DEMO, demo_text

if TYPE_CHECKING:
    from ownship.aeroplane.description import AirframeRecord
    from ownship.ownership.entries import CompassSwing, Entry
    from ownship.performance.rows import Rows
    from ownship.questions.weighing_ledger import Told

DRAFT = "airframe-draft.json"
MOST_FIELDS, LONGEST_FIELD = 1500, 20_000
DEMO_SINCE = date(2019, 4, 12)


@dataclass(frozen=True)
class Airframe:
    """An aeroplane on a day: the revision in force (its own text, without the ledger), the record with the ledger in it, every
    revision as (entry, effective day, day written); entry None: the demo."""

    registration: str
    on: date
    toml: str
    record: AirframeRecord
    entry: int | None
    effective: date
    revisions: tuple[tuple[int, date, date], ...]
    rows_csv: str
    own_text: str
    entries: tuple[Entry, ...]

    @property
    def demo(self) -> bool:
        """Whether it is the invented demo, of which nothing can be changed."""
        return self.entry is None


def registrations() -> tuple[str, ...]:
    """The owner's aeroplanes of which a record is kept, in order of their first entry; reading makes no record."""
    from ownship.questions.from_record import kept_aeroplanes

    return kept_aeroplanes(_standing())


def _standing(aeroplane: str | None = None) -> tuple[Entry, ...]:
    from ownship.ownership.entries import standing
    from ownship.questions.record import NAME, open_record, record_folder
    from ownship.questions.weighing_ledger import KINDS

    if not (record_folder() / NAME).exists():
        return ()
    records = open_record()
    try:
        return standing(e for kind in KINDS for e in records.all(kind, aeroplane=aeroplane))
    finally:
        records.close()


def airframe(registration: str, on: str | None = None) -> Airframe:
    """An aeroplane of the record, or the demo, on a day; where none is said today, or the first day of a record that lies ahead.

    BadInput where the record keeps none of that name, or none was in force on that day.
    """
    from ownship.ownership.revisions import record_on, revision_on, revisions
    from ownship.questions.from_record import registration_of
    from ownship.questions.weighing_typed import day_of

    day = day_of(on or None, "day")
    if registration == DEMO:
        which, entries = "N0160T", _demo_entries()
    else:
        which = registration_of(registration)
        entries = _standing(which)
        if not revisions(entries, which):
            known = ", ".join(registrations()) or "none"
            raise BadInput(f"The record keeps no aeroplane {which} (kept: {known}); type it in, or bring its file.")
    first = revisions(entries, which)[0][1].effective
    day = max(day, first) if not on else day
    found = revision_on(entries, which, day)
    record = record_on(entries, which, day)  # refuses a day before the first
    assert found is not None
    listed = tuple((e.number, r.effective, e.recorded.date()) for e, r in revisions(entries, which))
    entry = None if registration == DEMO else next(e.number for e, r in revisions(entries, which) if r is found)
    return Airframe(which, day, found.toml, record, entry, found.effective, () if entry is None else listed, found.rows_csv,
                    found.own_text, entries)


@lru_cache(maxsize=1)
def _demo_entries() -> tuple[Entry, ...]:
    """The demo as if its record were kept; nothing is written."""
    from ownship.ownership.entries import AeroplaneRevision, Entry
    from ownship.questions.weighing_typed import noon

    body = AeroplaneRevision(DEMO_SINCE, demo_text("camas160.toml"), demo_text("camas160_rows.csv"))
    return (Entry(0, "demo", "N0160T", noon(DEMO_SINCE), noon(DEMO_SINCE), body, "invented"),)


def as_toml(a: Airframe) -> str:
    """The record of the day as TOML, the ledger's entries in it."""
    from ownship.ownership.revisions import record_toml

    return record_toml(a.entries, a.registration, a.on)


# ---- keeping


def keep(toml: str, effective: str | None, registration: str = "", rows_csv: str = "", own_text: str = "",
         base: int | None = None) -> Told:
    """Keep a record's text as a revision from a day on, its rows read first; BadInput where text or rows do not read."""
    from ownship.aeroplane.reading import read_airframe
    from ownship.questions.weighing_ledger import keep_text
    from ownship.questions.weighing_typed import day_of

    day = day_of(effective or None, "Effective from")
    record = read_airframe(toml, "the record")
    _refuse_files(record, rows_csv, own_text)
    return keep_text(toml, day, registration, rows_csv, own_text, base=base)


def _refuse_files(record: AirframeRecord, rows_csv: str, own_text: str) -> None:
    """Refuse a record whose rows or own measurements are not there or do not read, or named in a folder."""
    for what, name, text in (("rows", record.book.rows, rows_csv), ("own", record.book.own, own_text)) if record.book else ():
        if name is not None and (Path(name).name != name or "\\" in name):
            raise BadInput(f"[book] {what}: {name[:60]!r} names a folder; a kept record names a file without one.")
        if name is not None and not text:
            raise BadInput(f"[book] {what}: the record names {name!r}, which is not with it; give that file too, or take the name "
                           "out.")
    if record.book is not None and record.book.rows and rows_csv:
        rows_of(record, rows_csv)


def rows_of(record: AirframeRecord, rows_csv: str, name: str = "book rows") -> Rows:
    """Book rows read and, where the record has a performance model, checked against it."""
    from ownship.performance.model import airframe_of
    from ownship.performance.row_checks import checked
    from ownship.performance.rows import read_rows

    rows = read_rows(rows_csv, name)
    try:
        plane = airframe_of(record)
    except MissingKey:
        return rows
    return checked(rows, name, plane)


def last_swing(registration: str) -> tuple[int, CompassSwing] | None:
    """The last compass swing kept of an aeroplane with the number of its entry; None where none is."""
    from ownship.ownership.entries import CompassSwing, of_kind
    from ownship.questions.record import NAME, open_record, record_folder

    if not (record_folder() / NAME).exists():
        return None
    records = open_record()
    try:
        found = of_kind(records.standing(CompassSwing, aeroplane=registration), CompassSwing)
    finally:
        records.close()
    return max(((e.number, s) for e, s in found), key=lambda x: (x[1].day, x[0]), default=None)


def blanks(record: AirframeRecord, rows_csv: str) -> dict[str, tuple[int, int]]:
    """(blank crossings, crossings) of every take-off and landing table of the book that has a blank, by its words."""
    import numpy as np

    from ownship.calibration.diagnostics import KIND_WORDS
    from ownship.performance.book import from_rows

    tables = from_rows(rows_of(record, rows_csv)).tables if rows_csv else {}
    counted = {KIND_WORDS[k][0]: (int(np.isnan(t.value).sum()), t.value.size) for k, t in tables.items()}
    return {name: found for name, found in counted.items() if found[0]}


# ---- a draft of a new one


def draft() -> dict[str, str]:
    """What was typed of a new aeroplane so far; empty where nothing was. UnreadableFile where the draft is damaged."""
    from ownship.questions.record import record_folder

    path = record_folder() / DRAFT
    if not path.is_file():
        return {}
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        found = None
    if not isinstance(found, dict) or not all(isinstance(v, str) for v in found.values()):
        raise UnreadableFile(f"The draft {path} is damaged; throw it away and begin again.")
    return found


def keep_draft(fields: Mapping[str, str]) -> None:
    """Write the draft into the data folder, whole or not at all; it is no part of the record."""
    from ownship.questions.places import write_whole
    from ownship.questions.record import record_folder

    if len(fields) > MOST_FIELDS or any(len(v) > LONGEST_FIELD for v in fields.values()):
        raise BadInput(f"The draft would hold too much; allowed are {MOST_FIELDS:,} fields of {LONGEST_FIELD:,} characters.")
    folder = record_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        write_whole(folder / DRAFT, json.dumps(dict(fields), ensure_ascii=False, indent=1).encode())
    except (OSError, UnicodeEncodeError) as error:
        raise UnreadableFile(f"The draft cannot be written into {folder} ({error}); set OWNSHIP_DATA to a folder of your own, or "
                             "make room.") from None


def forget_draft() -> None:
    """Throw the draft away."""
    from ownship.questions.record import record_folder

    (record_folder() / DRAFT).unlink(missing_ok=True)


def now_day() -> str:
    """Today (UTC) as a form's own text."""
    return datetime.now(UTC).date().isoformat()
