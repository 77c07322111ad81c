"""Nothing is lost: backup and restore in one file, daily copies, the whole record as plain files, and how it all stands."""

from __future__ import annotations

import re
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from ownship.errors import BadInput, OwnshipError, UnreadableFile
from ownship.questions.record import COPIES, LAST, NAME, keep_file, latest_copy, open_record, record_folder, refuse_lost

OLD_BACKUP_DAYS = 30


@dataclass(frozen=True)
class Kept:
    """What a backup, a restore, an export or a reading did: the file or folder, how many entries, their hash, a sentence."""

    path: str
    entries: int
    sha256: str
    sentence: str
    kept_as: str | None = None

    def to_json(self) -> dict[str, Any]:
        """As plain values."""
        return {"schema": 1, **asdict(self)}


@dataclass(frozen=True)
class Age:
    """Data with the day they are of (or good until, where `until`), in words and days; day None: not known."""

    what: str
    day: str | None
    days: int | None
    words: str


@dataclass(frozen=True)
class Health:
    """How the record stands: paths, schema, entries by kind, copies, the database's check, ages of data, what to do."""

    folder: str
    record: str
    exists: bool
    size_bytes: int
    schema: int | None
    entries: int
    kinds: dict[str, int]
    contents: str | None
    last_backup: str | None
    last_backup_made: str | None
    last_backup_days: int | None
    copies: tuple[str, ...]
    damage: str
    ages: tuple[Age, ...]
    advice: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """As plain values; `schema` is that of this answer, `record_schema` the record's."""
        plain = asdict(self)
        return {"schema": 1, "record_schema": plain.pop("schema"), **plain}


# ---- backup and restore


def backup(file: str, folder: Path | None = None, replace: bool = False) -> Kept:
    """Write the whole record into one file, while others read and write; refused where there is no record yet.

    A file that is there already and is no backup of a record is replaced only where that is said (replace).
    """
    from ownship.questions.replacing import is_backup, refuse_foreign

    where, target = _where(folder), Path(file).absolute()
    if target.is_dir() or not target.parent.is_dir():
        raise BadInput(f"{file} cannot be a backup: it is a folder, or lies in none; name a file in a folder that is there.")
    if target.resolve().name.startswith(NAME) and target.parent.resolve() == where.resolve():
        raise BadInput(f"{file} is the record itself; name another file.")
    if not (where / NAME).exists():
        refuse_lost(where)
        raise BadInput(f"There is no record in {where} yet, so nothing to back up; write a first entry.")
    refuse_foreign(target, is_backup, "backup of a record", replace=replace)
    kept = backup_of(where, target)
    _note_backup(where, target)
    return kept


def backup_of(where: Path, target: Path) -> Kept:
    """The record of a folder into a backup file, whole or not at all."""
    from ownship.questions.places import write_whole
    from ownship.store.backup import packed

    records = open_record(where)
    try:
        records.counts()  # refuses a record that was emptied
        manifest, data = packed(records.database, datetime.now(UTC))
        write_whole(target, data)
    except OSError as error:
        raise UnreadableFile(f"The backup {target} cannot be written ({error.strerror or error}); choose another place.") from None
    finally:
        records.close()
    return Kept(str(target), manifest.entries, manifest.sha256, f"{manifest.entries:,} entries are in {target}. Keep it on "
                "another disk than this one.")


def _note_backup(where: Path, target: Path) -> None:
    """Remember where and when; a note that cannot be kept spoils no backup."""
    import tomlkit

    from ownship.questions.places import write_whole

    try:
        told = {"file": str(target), "made": datetime.now(UTC).isoformat(timespec="seconds")}
        write_whole(where / LAST, tomlkit.dumps(told).encode())
    except (OSError, UnicodeEncodeError):
        return


def restore(file: str, folder: Path | None = None) -> Kept:
    """Put a backup in place of the record: checked first, the present record kept beside it under a dated name."""
    return restore_data(_bytes(Path(file)), file, folder)


def restore_data(data: bytes, file: str, folder: Path | None = None) -> Kept:
    """The same from the bytes of a backup; file: its name, for words."""
    from ownship.store.backup import checked, restored, unpacked
    from ownship.store.database import DamagedRecord, FutureRecord

    where = _where(folder)
    manifest, image = unpacked(data, file)
    count, kept = checked(image, file), []
    if not (where / NAME).exists():
        _place(where, image)
    else:
        records = open_record(where)
        try:
            restored(records.database, image, file, lambda: kept.append(keep_file(where, "before-restore")))
        except (DamagedRecord, FutureRecord):
            records.close()
            kept = [_aside(where)]
            _place(where, image)
        finally:
            records.close()
    name = str(kept[0]) if kept else None
    return Kept(str(where / NAME), count, manifest.sha256, f"{count:,} entries of {manifest.made[:10]} are the record now. " + (
        f"What was there is kept as {name}." if name else "There was no record before."), name)


def _place(where: Path, image: bytes) -> None:
    from ownship.questions.places import write_whole

    try:
        where.mkdir(parents=True, exist_ok=True)
        write_whole(where / NAME, image, the_record=True)
    except OSError as error:
        raise UnreadableFile(f"The record cannot be written into {where} ({error.strerror or error}); make room.") from None


def _aside(where: Path) -> Path:
    """Move a record that cannot be opened aside, with the files that belong to it."""
    stem = f"record-before-restore-{datetime.now(UTC):%Y%m%dT%H%M%S%fZ}.sqlite"
    try:
        for end in ("-wal", "-shm", ""):
            if (where / f"{NAME}{end}").exists():
                (where / f"{NAME}{end}").replace(where / f"{stem}{end}")
    except OSError as error:
        raise UnreadableFile(f"{where / NAME} cannot be moved aside ({error.strerror or error}).") from None
    return where / stem


def thin_copies(folder: Path) -> tuple[Path, ...]:
    """Remove the daily copies that age has thinned out; the paths removed."""
    from ownship.store.backup import copy_day, kept_days

    days = {day: path for path in folder.iterdir() if (day := copy_day(path.name)) is not None}
    gone = tuple(days[day] for day in sorted(days.keys() - kept_days(days)))
    for path in gone:
        path.unlink(missing_ok=True)
    return gone


# ---- plain files


def export(folder: str, where: Path | None = None) -> Kept:
    """Write every entry into a new or empty folder: a CSV per kind and record.toml, which is written last."""
    from ownship.questions.places import write_whole
    from ownship.store.exchange import MANIFEST, entries_hash, exported

    target = Path(folder).absolute()
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise BadInput(f"{folder} is a file, or a folder that holds something; name a new or an empty folder.")
    if not target.parent.is_dir():
        raise BadInput(f"The folder of {folder} does not exist; make it or choose another.")
    entries = _every(where)
    files = exported(entries, datetime.now(UTC))
    try:
        target.mkdir(exist_ok=True)
        for name in sorted(files, key=lambda n: (n == MANIFEST, n)):
            write_whole(target / name, files[name])
    except OSError as error:
        raise UnreadableFile(f"{folder} cannot be written ({error.strerror or error}); without {MANIFEST} it is no export: remove "
                             "it, make room and export again.") from None
    return Kept(str(target), len(entries), entries_hash(entries), f"{len(entries):,} entries are in {target}, in {len(files) - 1} "
                "CSV files." if entries else f"The record is empty, and so is the export in {target}.")


def read_export(folder: str, where: Path | None = None) -> Kept:
    """Read an export into an empty record: the same numbers, uids and moments, all of it or nothing."""
    from ownship.store.exchange import entries_hash, imported

    source, home = Path(folder), _where(where)
    if not source.is_dir():
        raise BadInput(f"{folder} is no folder; name the folder of an export.")
    entries = imported({p.name: _bytes(p) for p in sorted(source.iterdir()) if p.suffix in (".csv", ".toml") and p.is_file()})
    records = open_record(home)
    try:
        count = records.put_back(entries)
    finally:
        records.close()
    return Kept(str(home / NAME), count, entries_hash(entries), f"{count:,} entries are in the record, numbered as they were.")


def _every(where: Path | None) -> tuple[Any, ...]:
    records = open_record(where)
    try:
        return records.all()
    finally:
        records.close()


def _bytes(path: Path) -> bytes:
    try:
        if path.exists() and not (path.is_file() or path.is_dir()):  # a device has no end
            raise UnreadableFile(f"{path} is a device or a pipe; name a file.")
        return path.read_bytes()
    except OSError as error:
        raise UnreadableFile(f"{path} cannot be read: {error.strerror or error}.") from None


def _where(folder: Path | None) -> Path:
    return record_folder() if folder is None else Path(folder)


# ---- how it stands


def doctor(folder: Path | None = None) -> Health:
    """Paths, schema, entries, last backup, the database's own check, the ages of all data.

    It writes nothing, but that an older schema is upgraded as by any opening.
    """
    where = _where(folder)
    path = where / NAME
    there = path.exists() or latest_copy(where) is not None
    damage, kinds, contents, schema = _examined(where) if there else ("", {}, None, None)
    name, made = _last_backup(where)
    days = None if made is None else max((datetime.now(UTC) - made).days, 0)
    copies = _copies(where)
    found = Health(str(where), str(path), path.exists(), _size(path), schema, sum(kinds.values()), kinds, contents, name,
                   None if made is None else made.isoformat(timespec="seconds"), days, copies, damage, data_ages(where), ())
    return Health(**{**{f: getattr(found, f) for f in found.__dataclass_fields__}, "advice": _advice(found)})


def _examined(where: Path) -> tuple[str, dict[str, int], str | None, int | None]:
    """(damage in words, entries by kind, hash of the contents, schema); every entry is read."""
    from ownship.store.exchange import entries_hash
    from ownship.store.tables import SCHEMA

    records = open_record(where)
    try:
        damage, kinds = records.database.damage(), records.counts()
        return damage, kinds, entries_hash(records.all()), SCHEMA
    except OwnshipError as error:
        return " ".join(str(error).split()), {}, None, None
    finally:
        records.close()


def _size(path: Path) -> int:
    return sum(p.stat().st_size for p in (path, path.with_name(f"{path.name}-wal")) if p.exists())


def _copies(where: Path) -> tuple[str, ...]:
    from ownship.store.backup import copy_day

    folder = where / COPIES
    return tuple(sorted(p.name for p in folder.iterdir() if copy_day(p.name))) if folder.is_dir() else ()


def _last_backup(where: Path) -> tuple[str | None, datetime | None]:
    """The last backup that was asked for, and when; (None, None): none, or not known."""
    import tomllib

    try:
        told = tomllib.loads((where / LAST).read_text(encoding="utf-8"))
        made = datetime.fromisoformat(str(told["made"]))
        return str(told["file"]), made if made.tzinfo else made.replace(tzinfo=UTC)
    except (OSError, ValueError, KeyError):
        return None, None


def data_ages(where: Path) -> tuple[Age, ...]:
    """How old the data are that answers stand on: aerodromes, terrain, magnetic model, each file of rules."""
    return (_aerodrome_age(), _terrain_age(where), _magnetic_age(), *_rule_ages())


def _aged(what: str, day: date | None, words: str) -> Age:
    days = None if day is None else (datetime.now(UTC).date() - day).days
    return Age(what, None if day is None else day.isoformat(), days, words)


def _aerodrome_age() -> Age:
    from ownship.questions.importing import aerodrome_tables
    from ownship.world.aerodrome_database import DATA_DATE

    try:
        own = aerodrome_tables()
    except OwnshipError as error:
        return _aged("aerodromes", None, f"not known: {error}")
    dates = [own[t].data_date if t in own else DATA_DATE for t in ("airports", "runways")]
    return _aged("aerodromes", date.fromisoformat(min(dates)), "open data as old as this: check notices for closures and "
                 "displaced thresholds")


def _terrain_age(where: Path) -> Age:
    tiles = list((where / "terrain").glob("*.hgt"))
    if not tiles:
        return Age("terrain", None, None, "no tiles; the ground is known from [ground] of a request only")
    oldest = min(datetime.fromtimestamp(t.stat().st_mtime, UTC).date() for t in tiles)
    return _aged("terrain", oldest, f"{len(tiles)} tiles, the oldest of this day")


def _magnetic_age() -> Age:
    from ownship.world.magnetism import LAST_YEAR, SOURCE

    last = date(int(LAST_YEAR), 1, 1)
    left = (last - datetime.now(UTC).date()).days
    return Age("magnetic model ends", last.isoformat(), -left, f"{SOURCE}: " + (
        f"good for {left:,} days more" if left > 0 else "ended; variation after it is refused, and a newer Ownship is needed"))


def _rule_ages() -> list[Age]:
    from importlib import resources

    root = resources.files("ownship").joinpath("data", "rules")
    return [_rule_age(name, text) for name, text in sorted(_toml_texts(root, ""))]


def _toml_texts(folder: Any, before: str) -> list[tuple[str, str]]:
    """(name with the folders before it, text) of every rule file of the package."""
    found = []
    for item in folder.iterdir():
        if item.is_dir():
            found += _toml_texts(item, f"{before}{item.name} ")
        elif item.name.endswith(".toml"):
            found.append((before + item.name.removesuffix(".toml"), item.read_text(encoding="utf-8")))
    return found


def _rule_age(name: str, text: str) -> Age:
    """The oldest date of the texts behind a rule file, and how many of its rules were not read in them."""
    import tomllib

    plain = tomllib.loads(text)
    told, statuses = sorted(set(_values(plain, "source_date"))), _values(plain, "status")
    days = sorted(found[0] for t in told if (found := re.search(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", t)))
    counts = ", ".join(f"{statuses.count(s)} {s}" for s in ("from memory", "read second-hand") if s in statuses)
    return _aged(f"rules {name}", date.fromisoformat(days[0]) if days else None,
                 "; ".join(x for x in (*(t for t in told if t not in days), counts, "read the law in force") if x))


def _values(plain: Any, key: str) -> list[str]:
    """Every text of a key, wherever it stands."""
    if isinstance(plain, list):
        return [v for item in plain for v in _values(item, key)]
    if not isinstance(plain, dict):
        return []
    own = [str(plain[key])] if key in plain and not isinstance(plain[key], dict | list) else []
    return own + [v for value in plain.values() for v in _values(value, key)]


def _advice(h: Health) -> tuple[str, ...]:
    """What to do next, the gravest first."""
    if not h.exists and not h.damage:
        return (f"There is no record in {h.folder} yet; it is made with the first entry.",)
    told = [f"The record is not sound: {h.damage} Copies are in {Path(h.folder) / COPIES}."] if h.damage else []
    if h.last_backup is None or h.last_backup_days is None:
        told.append("No backup was made yet; say `ownship backup FILE` with a file on another disk.")
    elif not Path(h.last_backup).exists():
        told.append(f"The last backup, {h.last_backup}, is not there now; make a new one, or bring its disk back.")
    elif h.last_backup_days > OLD_BACKUP_DAYS:
        told.append(f"The last backup is {h.last_backup_days} days old; make a new one.")
    return tuple(told)
