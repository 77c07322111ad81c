"""A file that was sent, put aside between looking at it and keeping it: in the cache folder, by the hash of its bytes."""

from __future__ import annotations

import hashlib
import re
import time
from pathlib import Path

from ownship.errors import BadInput, UnreadableFile
from ownship.units import to_si

FOLDER = "sent"
MARK = re.compile(r"[0-9a-f]{64}")
GONE = "The file that was sent is no longer put aside; choose it once more."
KEPT_S = float(to_si(24, "h"))
MOST = 20  # files put aside at once; the oldest go first
LONGEST_NAME = 100


def put_aside(data: bytes) -> str:
    """Put a file's bytes aside for a day; the mark by which `put_back` finds them."""
    from ownship.questions.places import write_whole

    folder, mark = _folder(), hashlib.sha256(data).hexdigest()
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        write_whole(folder / mark, data)
        _thin(folder)
    except OSError as error:
        raise UnreadableFile(f"The file cannot be put aside in {folder} ({error.strerror or error}); make room.") from None
    return mark


def put_back(mark: str) -> bytes:
    """The bytes of a mark; BadInput where there are none (any more), or they are not those that were put aside."""
    if not MARK.fullmatch(mark):
        raise BadInput(GONE)
    try:
        data = (_folder() / mark).read_bytes()
    except OSError:
        raise BadInput(GONE) from None
    if hashlib.sha256(data).hexdigest() != mark:
        raise BadInput(GONE)
    return data


def file_name(text: str, usual: str) -> str:
    """A file's name as it was sent, without folders and signs that no line shows; only for words, never for the disk."""
    last = re.split(r"[/\\]", text)[-1]
    return "".join(c for c in last if c.isprintable()).strip()[:LONGEST_NAME] or usual


def _folder() -> Path:
    from ownship.questions.places import cache_folder

    return cache_folder() / FOLDER


def _thin(folder: Path) -> None:
    """Remove what was put aside more than a day ago, and the oldest beyond the number allowed."""
    newest = sorted((p for p in folder.iterdir() if MARK.fullmatch(p.name)), key=lambda p: p.stat().st_mtime, reverse=True)
    for i, path in enumerate(newest):
        if i >= MOST or path.stat().st_mtime < time.time() - KEPT_S:
            path.unlink(missing_ok=True)
