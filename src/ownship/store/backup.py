"""A backup: one zip of the record as a database file and a manifest with its hash; and which daily copies are kept."""

from __future__ import annotations

import hashlib
import io
import re
import tomllib
import zipfile
import zlib
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any, BinaryIO

import tomlkit
from sqlalchemy import func, select

from ownship.errors import UnreadableFile
from ownship.store.database import Database, opened_image, replace_all
from ownship.store.tables import ENTRIES, SCHEMA

FORMAT = 1
RECORD, MANIFEST = "record.sqlite", "manifest.toml"
LARGEST_BYTES = 300_000_000  # unpacked, in memory: 10,000 flights have some 13 MB
LARGEST_MANIFEST = 100_000
SAME_DATE = (1980, 1, 1, 0, 0, 0)
DAILY, WEEKLY, MONTHLY = 7, 4, 12


@dataclass(frozen=True)
class Manifest:
    """What a backup says of itself: when made (ISO, UTC), how many entries, their schema, the hash of the database file."""

    made: str
    entries: int
    schema: int
    sha256: str
    program: str = "Ownship"
    format: int = FORMAT


def packed(database: Database, made: datetime) -> tuple[Manifest, bytes]:
    """A backup of the record as it is at this moment, while others read and write: its manifest and the zip's bytes."""
    image = database.image()
    with opened_image(image, database.path) as copy:
        count = copy.execute(select(func.count()).select_from(ENTRIES)).scalar() or 0
    manifest = Manifest(made.isoformat(timespec="seconds"), count, SCHEMA, hashlib.sha256(image).hexdigest())
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(zipfile.ZipInfo(MANIFEST, SAME_DATE), tomlkit.dumps(asdict(manifest)))
        archive.writestr(zipfile.ZipInfo(RECORD, SAME_DATE), image, zipfile.ZIP_DEFLATED)
    return manifest, out.getvalue()


def unpacked(data: bytes, name: str) -> tuple[Manifest, bytes]:
    """Manifest and database file of a backup, checked against its hash; UnreadableFile where anything is not right."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            manifest = read_manifest(_member(archive, MANIFEST, LARGEST_MANIFEST, name), name)
            image = _member(archive, RECORD, LARGEST_BYTES, name)
    except (zipfile.BadZipFile, RuntimeError, NotImplementedError, zlib.error, EOFError, ValueError) as error:
        raise UnreadableFile(f"{name} is no readable backup ({str(error)[:80].rstrip('.')}); choose another one.") from None
    if hashlib.sha256(image).hexdigest() != manifest.sha256:
        raise UnreadableFile(f"{name} is damaged: its record does not have the hash that its manifest gives; choose another.")
    return manifest, image


def is_backup(file: BinaryIO) -> bool:
    """Whether a file is a backup, whole or damaged in its record: its manifest reads."""
    try:
        with zipfile.ZipFile(file) as archive:
            return bool(read_manifest(_member(archive, MANIFEST, LARGEST_MANIFEST, MANIFEST), MANIFEST))
    except (UnreadableFile, zipfile.BadZipFile, RuntimeError, NotImplementedError, zlib.error, EOFError, ValueError):
        return False


def _member(archive: zipfile.ZipFile, member: str, most: int, name: str) -> bytes:
    """A member's bytes, never more than allowed."""
    if member not in archive.namelist():
        raise UnreadableFile(f"{name} holds no {member}, so it is no backup of Ownship; choose another file.")
    with archive.open(member) as file:
        data = file.read(most + 1)
    if len(data) > most:
        raise UnreadableFile(f"{name}: {member} is larger than {most:,} bytes, which no record has; choose another.")
    return data


def read_manifest(data: bytes, name: str) -> Manifest:
    """A manifest from its TOML; refused where it is not whole, or a newer program wrote it."""
    try:
        found: dict[str, Any] = tomllib.loads(data.decode("utf-8"))
        format_, schema = int(found["format"]), int(found["schema"])
        if format_ <= FORMAT and schema <= SCHEMA:
            return Manifest(str(found["made"]), int(found["entries"]), schema, str(found["sha256"]), "Ownship", format_)
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, KeyError, TypeError, ValueError):
        raise UnreadableFile(f"The manifest of {name} is not whole; choose another backup.") from None
    raise UnreadableFile(f"{name} was written by a newer Ownship (format {format_}, schema {schema}; this one reads up to {FORMAT} "
                         f"and {SCHEMA}); use the newer program.")


def restored(database: Database, image: bytes, name: str, keep: Callable[[], None]) -> int:
    """Put a backup's entries in place of the record's, in one transaction; the count of entries.

    keep: called while no other can write, to put the present record aside; where it raises nothing is changed.
    """
    with opened_image(image, name) as source, database.writing() as target:
        keep()
        return replace_all(source, target)


def checked(image: bytes, name: str) -> int:
    """The count of entries of a backup's database file, after the database's own check; refused where it is damaged."""
    with opened_image(image, name) as connection:
        return connection.execute(select(func.count()).select_from(ENTRIES)).scalar() or 0


# ---- daily copies


def copy_day(name: str) -> date | None:
    """The day of a copy's file name; None for another file."""
    found = re.fullmatch(r"record-([0-9]{4}-[0-9]{2}-[0-9]{2})\.zip", name)
    try:
        return date.fromisoformat(found[1]) if found else None
    except ValueError:
        return None


def kept_days(days: Iterable[date]) -> frozenset[date]:
    """The days whose copies stay: the last 7, the last of each of the last 4 weeks and 12 months that have one, of each year."""
    every = sorted(set(days), reverse=True)
    return frozenset([*every[:DAILY], *_last_of(every, lambda d: d.isocalendar()[:2])[:WEEKLY],
                      *_last_of(every, lambda d: (d.year, d.month))[:MONTHLY], *_last_of(every, lambda d: d.year)])


def _last_of(newest_first: list[date], period: Callable[[date], Any]) -> list[date]:
    found: dict[Any, date] = {}
    for day in newest_first:
        found.setdefault(period(day), day)
    return list(found.values())
