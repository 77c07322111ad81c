"""A file that is there already: replaced where it is one of ours, else only where that is asked for."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from ownship.errors import BadInput, UnreadableFile


def refuse_foreign(target: Path, is_ours: Callable[[Path], bool], what: str, *, replace: bool) -> None:
    """Refuse to write over a file that is not one of ours; replace: the owner said that it may go (--replace)."""
    if target.exists() and not target.is_file():  # a device has no end that could be read
        raise BadInput(f"{target} is a device, a pipe or a folder; name a file.")
    if replace or not target.exists():
        return
    try:
        ours = is_ours(target)
    except OSError as error:
        raise UnreadableFile(f"{target} is there already and cannot be read ({error.strerror or error}); name another "
                             "file.") from None
    if not ours:
        raise BadInput(f"{target} is there already and is no {what}; name another file, or say --replace where it may go.")


def is_log(path: Path) -> bool:
    """Whether a file is a log that was exported: it begins with the line of our columns. An empty file is anybody's."""
    from ownship.ownership.flight_csv import header_line

    line = header_line().encode()
    with path.open("rb") as file:
        return file.read(len(line)) == line


def is_backup(path: Path) -> bool:
    """Whether a file is a backup of a record, whole or damaged in its record."""
    from ownship.store.backup import is_backup as ours

    with path.open("rb") as file:  # of a large file only what is needed is read
        return ours(file)
