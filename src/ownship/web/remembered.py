"""What a page asks for again and again, kept as frozen values: the record as it stands, its airframes, the last assessments."""

from __future__ import annotations

import gc
from collections import deque
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ownship.aeroplane.description import AirframeRecord
    from ownship.flight.answer import Assessment
    from ownship.flight.situation import Situation

LAST = 12
Stamp = tuple[tuple[str, int, int, int, bytes], ...]
_assessed: deque[tuple[Situation, Assessment]] = deque(maxlen=LAST)


def stamp() -> Stamp:
    """What changes with every change of the owner's record: its files, their size and time, and the heads that count changes."""
    from ownship.questions.record import NAME, record_folder

    return tuple(_seen(record_folder() / f"{NAME}{ending}") for ending in ("", "-wal", "-shm"))


def _seen(path: Path) -> tuple[str, int, int, int, bytes]:
    try:
        status = path.stat()
        with path.open("rb") as file:
            return str(path), status.st_mtime_ns, status.st_size, status.st_ino, file.read(100)
    except OSError:
        return str(path), 0, -1, 0, b""


def assessed(s: Situation) -> Assessment:
    """The assessment of a situation with its extras, by `assess` alone; the last ones are kept, because page, data and papers
    ask for the same."""
    from ownship.flight.assessment import assess
    from ownship.flight.extras import with_extras

    for known, answer in tuple(_assessed):
        if known.calibrations is s.calibrations and known == s:
            return answer
    found = with_extras(s, assess(s))
    if len(_assessed) == 1:
        _settled()
    _assessed.appendleft((s, found))
    return found


def _settled() -> None:
    """Once, at the second assessment: what is loaded by now stays, and the collector need not go through it again and again.

    A full round over it took 80 ms, in the midst of every twentieth answer.
    """
    gc.collect()
    gc.freeze()


@lru_cache(maxsize=16)
def airframe(toml: str, name: str) -> AirframeRecord:
    """An airframe record of a text."""
    from ownship.aeroplane.reading import read_airframe

    return read_airframe(toml, name)


def kept() -> tuple[str, ...]:
    """Registrations of the owner's aeroplanes; none where no record is kept."""
    return _kept(stamp())


@lru_cache(maxsize=4)
def _kept(seen: Stamp) -> tuple[str, ...]:
    from ownship.ownership.entries import standing
    from ownship.questions.from_record import kept_aeroplanes
    from ownship.questions.record import NAME, open_record, record_folder

    if not (record_folder() / NAME).exists():
        return ()
    records = open_record()
    try:
        return kept_aeroplanes(standing(records.all()))
    finally:
        records.close()


def texts(registration: str, day: date) -> tuple[str, Path]:
    """The airframe record of a day as TOML and the folder of its rows; BadInput where the record keeps none."""
    found = _texts(registration, day, stamp())
    if not found[1].exists():  # the cache folder may be emptied at any time
        _texts.cache_clear()
        found = _texts(registration, day, stamp())
    return found


@lru_cache(maxsize=16)
def _texts(registration: str, day: date, seen: Stamp) -> tuple[str, Path]:
    from ownship.ownership.entries import standing
    from ownship.ownership.revisions import record_toml
    from ownship.questions.from_record import registration_of, rows_folder
    from ownship.questions.record import open_record

    which = registration_of(registration)
    records = open_record()
    try:
        entries = standing(records.all())
        return record_toml(entries, which, day), rows_folder(entries, which, day)
    finally:
        records.close()
