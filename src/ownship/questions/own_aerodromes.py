"""The owner's own aerodrome records: kept in the record, put over the open data wherever an aerodrome is asked for."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from typing import TYPE_CHECKING

from ownship.errors import BadInput, OwnshipError
from ownship.questions.reading import read_text

if TYPE_CHECKING:
    from collections.abc import Iterable

    from ownship.ownership.entries import Entry
    from ownship.world.aerodromes import Aerodrome


def kept(entries: Iterable[Entry] | None = None) -> dict[str, Aerodrome]:
    """Own aerodromes by ident, the latest record of each; one that can no longer be read is left to the open data.

    entries: those that count; None: the owner's record, read only where there is one.
    """
    from ownship.ownership.entries import AerodromeRecord, of_kind

    if entries is None:
        from ownship.questions.record import NAME, open_record, record_folder

        if not (record_folder() / NAME).exists():
            return {}
        records = open_record()
        try:
            entries = records.standing(AerodromeRecord)
        finally:
            records.close()
    found = {}
    for _, record in of_kind(entries, AerodromeRecord):
        try:
            found[record.ident] = _read(record.toml, record.ident, record.ident)
        except OwnshipError:
            found.pop(record.ident, None)
    return found


def text_of(ident: str) -> str | None:
    """The TOML of the latest own record of an ident, as it was kept; None where none is."""
    from ownship.ownership.entries import AerodromeRecord, of_kind
    from ownship.questions.record import NAME, open_record, record_folder

    if not (record_folder() / NAME).exists():
        return None
    records = open_record()
    try:
        found = [r.toml for _, r in of_kind(records.standing(AerodromeRecord), AerodromeRecord) if r.ident == ident]
    finally:
        records.close()
    return found[-1] if found else None


def keep(path: str) -> Aerodrome:
    """Read an aerodrome record (formats.md: ident, name, position, elevation, runways, source, date) and keep it.

    BadInput where it does not read, has no ident or source, or its date lies ahead; nothing is kept then.
    """
    return keep_text(read_text(path), path)[0]


def keep_text(text: str, path: str) -> tuple[Aerodrome, int]:
    """The same of a text; path: what a refusal calls it. The aerodrome and the number of its entry."""
    from ownship.ownership.entries import AerodromeRecord
    from ownship.questions.places import today
    from ownship.questions.record import open_record
    from ownship.schema import read_toml

    table = read_toml(text, path)
    ident = str(table.take("ident", "")).strip().upper()
    if not 2 <= len(ident) <= 8 or not ident.isalnum() or not table.text("source", ""):
        raise BadInput(f"{path}: an aerodrome record needs ident (2 to 8 letters and figures) and source; write both.")
    dated = table.take("date", None)
    if not isinstance(dated, date) or isinstance(dated, datetime) or dated > today():
        raise BadInput(f"{path}: date should be the day the record was made, without quotes and not ahead, as in 2026-05-17.")
    found = _read(text, path, ident)
    records = open_record()
    try:
        entry = records.append(AerodromeRecord(ident, text, dated), moment=datetime.combine(dated, time(), UTC),
                               source=found.ends[0].source if found.ends else "owner")
    finally:
        records.close()
    return found, entry.number


def _read(text: str, name: str, ident: str) -> Aerodrome:
    from ownship.questions.places import aerodromes, today
    from ownship.schema import read_toml
    from ownship.world.aerodrome_database import find
    from ownship.world.aerodromes import aerodrome_from_table

    return aerodrome_from_table(read_toml(text, name), ident, find(aerodromes(), ident, today()))
