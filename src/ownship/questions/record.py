"""Where the owner's record is kept, opened with clock and chance; a copy is kept before the first write of a day."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING
from uuid import uuid4

from ownship.errors import OwnshipError, UnreadableFile

if TYPE_CHECKING:
    from ownship.store.records import Records

NAME = "record.sqlite"
COPIES = "backups"
LAST = "last-backup.toml"  # which file the last backup is in, and when it was made


def record_folder() -> Path:
    """The folder of the record: that of the owner's data (OWNSHIP_DATA moves it); it need not exist."""
    from ownship.questions.importing import data_folder

    return data_folder()


def open_record(folder: Path | None = None) -> Records:
    """The owner's record, or that of a folder; nothing is made before the first write, and an absent one reads as empty."""
    from ownship.store.database import Database
    from ownship.store.records import Records

    where = record_folder() if folder is None else Path(folder)
    path = where / NAME
    database = Database(str(path), path.exists, lambda: _keep_old(where), lambda: refuse_lost(where))
    return Records(database, lambda: datetime.now(UTC), lambda: str(uuid4()), lambda: _prepare(where, database))


def refuse_lost(where: Path) -> None:
    """Refuse to take a record that is gone or empty for one that was never begun, where copies of it lie beside it."""
    from ownship.store.database import DamagedRecord

    copy = latest_copy(where)
    if copy is not None:
        raise DamagedRecord(f"The record {where / NAME} is gone or holds nothing, though it was kept before; put it back, or take "
                            f"its latest copy by `ownship restore {copy}`. To begin anew set OWNSHIP_DATA to another folder.")


def latest_copy(where: Path) -> Path | None:
    """The latest daily copy of a record, else the last backup that was asked for; None: the record was never copied."""
    import tomllib

    from ownship.store.backup import copy_day

    folder = where / COPIES
    days = sorted((day, p) for p in folder.iterdir() if (day := copy_day(p.name))) if folder.is_dir() else []
    if days:
        return days[-1][1]
    try:
        return Path(str(tomllib.loads((where / LAST).read_text(encoding="utf-8"))["file"]))
    except (OSError, ValueError, KeyError):
        return None


def _keep_old(where: Path) -> None:
    keep_file(where, "before-upgrade")


def keep_file(where: Path, why: str) -> Path:
    """The present record as it is, whatever its schema, kept whole beside it under a dated name."""
    from ownship.questions.places import write_whole
    from ownship.store.database import Database

    database = Database(str(where / NAME), lambda: True)
    try:
        target = where / f"record-{why}-{datetime.now(UTC):%Y%m%dT%H%M%S%fZ}.sqlite"
        write_whole(target, database.image())
        return target
    except OSError as error:
        raise UnreadableFile(f"No copy of the record can be kept in {where} ({error.strerror or error}), and nothing was changed; "
                             "make room.") from None
    finally:
        database.close()


def _prepare(where: Path, database: object) -> None:
    """Make the folder; keep the copy of the day. A copy that fails stops no entry: `ownship doctor` tells its age."""
    try:
        where.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UnreadableFile(f"The folder {where} cannot be made ({error.strerror or error}); set OWNSHIP_DATA to a folder of your "
                             "own.") from None
    if (where / NAME).exists():
        try:
            daily_copy(where)
        except (OwnshipError, OSError):
            return


def daily_copy(where: Path) -> Path | None:
    """Keep today's copy (UTC) in backups/ where there is none yet, and thin the older ones; the copy's path."""
    from ownship.questions.keeping import backup_of, thin_copies

    folder = where / COPIES
    target = folder / f"record-{datetime.now(UTC):%Y-%m-%d}.zip"
    if target.exists():
        return None
    folder.mkdir(exist_ok=True)
    backup_of(where, target)
    thin_copies(folder)
    return target
