"""Which altitude, and when to leave? Files in, every legal level or every half hour of the day out, each fully assessed."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

from ownship.questions.check import situation_by_files

if TYPE_CHECKING:
    from ownship.flight.levels import Levels
    from ownship.flight.when import LeavingTimes

Progress = Callable[[int, int], None]


def altitudes(aeroplane: str, flight: str | None = None) -> Levels:
    """Every legal level of a flight from two files, or the demo."""
    from ownship.flight.levels import levels

    return levels(situation_by_files("altitudes", aeroplane, flight), progress("levels"))


def when(aeroplane: str, flight: str | None = None) -> LeavingTimes:
    """Every half hour of the day of departure of a flight from two files, or the demo."""
    from ownship.flight.when import leaving_times

    return leaving_times(situation_by_files("when", aeroplane, flight), progress("half hours"))


def progress(what: str) -> Progress:
    """Counts on stderr where that is a terminal, and wipes the line at the end; silent elsewhere."""
    if not sys.stderr.isatty():
        return lambda done, total: None

    def tell(done: int, total: int) -> None:
        words = f"{done} of {total} {what}"
        sys.stderr.write(f"\r{words}" if done < total else f"\r{' ' * len(words)}\r")
        sys.stderr.flush()

    return tell
