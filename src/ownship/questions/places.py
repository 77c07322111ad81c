"""Where things are kept, and the aerodrome database: built once, opened read-only ever after."""

from __future__ import annotations

import os
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ownship.errors import BadInput

if TYPE_CHECKING:
    from ownship.world.aerodromes import Aerodrome


def cache_folder() -> Path:
    """The folder of things that can be made again (OWNSHIP_CACHE, else the user's cache folder); made if absent."""
    from platformdirs import user_cache_path

    folder = Path(os.environ["OWNSHIP_CACHE"]) if os.environ.get("OWNSHIP_CACHE") else user_cache_path("ownship")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInput(f"The cache folder {folder} cannot be made ({error.strerror}); set OWNSHIP_CACHE to a folder of your "
                       "own.") from None
    return folder


@contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """An empty file beside `path` that takes its place when the block ends well, and is gone when it does not."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    os.close(handle)
    try:
        yield Path(name)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def write_whole(path: Path, data: bytes, *, the_record: bool = False) -> None:
    """Write a file so that it is there whole or not at all; never over the owner's record, unless that is what is put back, nor
    over a device or a pipe."""
    from ownship.questions.record import NAME, record_folder

    target = path.absolute()
    if not the_record and target.parent.resolve() == record_folder().resolve() and target.name.startswith(NAME):
        raise BadInput(f"{path} is the record itself; name another file.")
    if target.exists() and not (target.is_file() or target.is_dir()):
        raise BadInput(f"{path} is a device or a pipe, which is not written over; name a file.")
    with replacing(path) as fresh, fresh.open("wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def today() -> date:
    """The day it is."""
    return date.today()


def today_utc() -> date:
    """The day it is in UTC."""
    return datetime.now(UTC).date()


def aerodromes() -> sqlite3.Connection:
    """The aerodrome database, built in the cache folder the first time (about two seconds).

    The owner's files, where they were imported, stand in place of those that came with the program.
    """
    from ownship.questions.importing import aerodrome_tables
    from ownship.world import aerodrome_database as database

    imported = aerodrome_tables()
    path = cache_folder() / f"aerodromes-{database.key(imported)}-{database.SCHEMA_VERSION}.sqlite"
    if path.exists():
        connection = _reading(path)
        if database.usable(connection):
            return connection
        connection.close()
    with replacing(path) as new:
        fresh = sqlite3.connect(new)
        fresh.execute("PRAGMA journal_mode = OFF")
        fresh.execute("PRAGMA synchronous = OFF")
        with fresh:
            database.build(fresh, imported)
        fresh.close()
    return _reading(path)


def _reading(path: Path) -> sqlite3.Connection:
    """The file opened for reading only, whatever characters its name holds."""
    return sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, check_same_thread=False)


def bring(folder: str, day: str | None = None) -> dict[str, list[str]]:
    """Import a folder of the owner's files: taken, already there, refused (a sentence a file) and ignored (names).

    day: the date of the data (ISO), None: each file's own. BadInput where the day is none, and where no file of the
    folder was taken or is there already.
    """
    from dataclasses import asdict

    from ownship.questions.importing import import_folder

    report = import_folder(folder, data_date=None if day is None else _day("--date", day))
    if not report.taken and not report.already:
        if report.refused:
            raise BadInput(f"Nothing was imported. {' '.join(report.refused)}")
        raise BadInput(f"{folder} holds no .hgt tile and none of the four files of aerodromes; name the folder that does.")
    return {name: list(lines) for name, lines in asdict(report).items()}


def _day(option: str, text: str) -> date:
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise BadInput(f"{option}: {text!r} is no date; write it as 2026-07-11.") from None


def airports(text: str, most: int = 20) -> list[Aerodrome]:
    """Aerodromes that a search text finds."""
    from ownship.questions.own_aerodromes import kept
    from ownship.world import aerodrome_database as database

    own = {i: a for i, a in kept().items() if text.strip().upper() in (i, *a.codes) or text.strip().lower() in a.name.lower()}
    rest = [a for a in database.search(aerodromes(), text, today(), most) if a.ident not in own]
    return [*own.values(), *rest][:most]


def airports_json(found: list[Aerodrome]) -> dict[str, Any]:
    """The results of `airports --json` (formats.md)."""
    from ownship.units import from_si

    def feet(value: float | None) -> dict[str, Any] | None:
        return None if value is None else {"value": float(from_si(value, "ft")), "unit": "ft"}

    return {"results": [{
        "ident": a.ident, "codes": list(a.codes), "name": a.name, "type": a.kind, "closed": a.closed, "country": a.country,
        "position": {"lat": a.lat_deg, "lon": a.lon_deg}, "elevation": feet(a.elevation_m),
        "runways": [{"end": e.ident, "true_heading": e.true_heading_deg, "heading_source": e.heading_source,
                     "take_off_length": feet(e.take_off_length_m), "landing_length": feet(e.landing_length_m),
                     "slope": None if e.slope_1 is None else {"value": e.slope_1 * 100, "unit": "%"},
                     "surface": e.surface, "surface_text": e.surface_text, "lighted": e.lighted, "closed": e.closed}
                    for e in a.ends],
        "frequencies": [{"type": f.kind, "description": f.description, "mhz": f.mhz} for f in a.frequencies],
        "source": a.source, "data_date": a.data_date} for a in found]}
