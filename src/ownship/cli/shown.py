"""What the commands share: where files go, how lines and values are shown, progress."""

from __future__ import annotations

import sys
from json import dumps
from pathlib import Path
from typing import Any

from ownship.errors import BadInput


def progress(words: str) -> None:
    """A line of progress on a terminal's standard error; silent elsewhere."""
    if sys.stderr.isatty():
        print(f"\r{words:60}", end="", file=sys.stderr, flush=True)


def target_of(option: str, path: str | None) -> Path | None:
    """Where a file is to be written; refused before any work where that is a folder or its folder does not exist."""
    found = _placed(option, path)
    if found is not None and found.is_dir():
        raise BadInput(f"{option}: {path} is a folder; name a file in it.")
    return found


def pdf_of(option: str, path: str) -> Path:
    """Where a PDF is to be written; BadInput for another ending."""
    found = target_of(option, path)
    if found is None or found.suffix.lower() != ".pdf":
        raise BadInput(f"{option}: {path} does not end in .pdf; name a file that does.")
    return found


def _placed(option: str, path: str | None) -> Path | None:
    """A path whose parent exists."""
    if path is not None and not Path(path).absolute().parent.is_dir():
        raise BadInput(f"{option}: the folder of {path} does not exist; make it or choose another.")
    return None if path is None else Path(path).absolute()


def folder_of(option: str, path: str | None) -> Path | None:
    """A folder to write into, made with the first file; refused before any work where its parent does not exist."""
    found = _placed(option, path)
    if found is not None and found.exists() and not found.is_dir():
        raise BadInput(f"{option}: {path} is a file; name a folder.")
    return found


def told(data: dict[str, Any], lines: tuple[str, ...], json: bool) -> None:
    """Print an answer, as values or as lines."""
    print(dumps(data, ensure_ascii=False) if json else "\n".join(lines))


def console() -> Any:
    """A console as wide as the terminal, 160 columns where there is none."""
    from rich.console import Console

    return Console(width=None if sys.stdout.isatty() else 160, highlight=False)
