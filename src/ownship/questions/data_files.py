"""The record as files to take away, and a backup looked at before it replaces the record."""

from __future__ import annotations

import io
import zipfile
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from ownship.errors import BadInput, OwnshipError
from ownship.questions.record import NAME, open_record, record_folder, refuse_lost

SAME_DATE = (1980, 1, 1, 0, 0, 0)


@dataclass(frozen=True)
class BackupSeen:
    """A backup beside the record it would replace: when made, entries, hash; entries of the present record (None: not known),
    and whether both hold the same."""

    made: str
    entries: int
    sha256: str
    present: int | None
    same: bool
    words: str


def backup_file(folder: Path | None = None) -> tuple[str, bytes]:
    """(name, bytes) of a backup of the record as it is now; BadInput where there is no record yet."""
    from ownship.store.backup import packed

    where, now = folder or record_folder(), datetime.now(UTC)
    if not (where / NAME).exists():
        refuse_lost(where)
        raise BadInput("There is no record yet, so nothing to back up; write a first entry.")
    records = open_record(where)
    try:
        records.counts()  # refuses a record that was emptied
        _, data = packed(records.database, now)
    finally:
        records.close()
    return f"ownship-backup-{now:%Y-%m-%dT%H%MZ}.zip", data


def export_file(folder: Path | None = None) -> tuple[str, bytes]:
    """(name, bytes) of every entry as plain CSV files and a manifest, in one zip."""
    from ownship.store.exchange import exported

    now, records = datetime.now(UTC), open_record(folder)
    try:
        files = exported(records.all(), now)
    finally:
        records.close()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in sorted(files):
            archive.writestr(zipfile.ZipInfo(name, SAME_DATE), files[name], zipfile.ZIP_DEFLATED)
    return f"ownship-export-{now:%Y-%m-%dT%H%MZ}.zip", out.getvalue()


def backup_seen(data: bytes, name: str, folder: Path | None = None) -> BackupSeen:
    """A backup's bytes checked (hash, the database's own check) and held beside the record; nothing is changed."""
    from sqlalchemy import select

    from ownship.store.backup import checked, unpacked
    from ownship.store.database import opened_image
    from ownship.store.tables import ENTRIES

    manifest, image = unpacked(data, name)
    count = checked(image, name)
    with opened_image(image, name) as connection:
        there = {(r[0], r[1]) for r in connection.execute(select(ENTRIES.c.number, ENTRIES.c.uid))}
    present = _present(folder)
    if present is None:
        return BackupSeen(manifest.made, count, manifest.sha256, None, False,
                          "What is kept now cannot be read; it is moved aside, whole, before the backup takes its place.")
    lost = len(present - there)
    words = ("There is no record now, so nothing is replaced." if not present else
             "The record holds the same entries now." if present == there else
             f"The record holds {len(present):,} entries now; those not in this backup, {lost:,}, would count no longer."
             if lost else f"The record holds {len(present):,} entries now, all of them in this backup.")
    return BackupSeen(manifest.made, count, manifest.sha256, len(present), bool(present) and present == there, words)


def _present(folder: Path | None) -> set[tuple[int, str]] | None:
    """(number, uid) of what is kept; None where that cannot be read."""
    records = open_record(folder)
    try:
        return {(e.number, e.uid) for e in records.all()}
    except OwnshipError:
        return None
    finally:
        records.close()
