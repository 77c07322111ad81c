"""Which altitude, and when to leave? Files in, every legal level or every half hour of the day out, each fully assessed."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from ownship.errors import BadInput
from ownship.questions.check import demo_aeroplane, demo_flight, situation
from ownship.questions.reading import DEMO, read_text

if TYPE_CHECKING:
    from ownship.flight.levels import Levels
    from ownship.flight.situation import Situation
    from ownship.flight.when import LeavingTimes

Progress = Callable[[int, int], None]


def altitudes(aeroplane: str, flight: str | None = None) -> Levels:
    """Every legal level of a flight from two files, or the demo."""
    from ownship.flight.levels import levels

    return levels(_situation("altitudes", aeroplane, flight), progress("levels"))


def when(aeroplane: str, flight: str | None = None) -> LeavingTimes:
    """Every half hour of the day of departure of a flight from two files, or the demo."""
    from ownship.flight.when import leaving_times

    return leaving_times(_situation("when", aeroplane, flight), progress("half hours"))


def _situation(command: str, aeroplane: str, flight: str | None) -> Situation:
    """What `check` reads for the same two names."""
    if flight is None and aeroplane != DEMO:
        raise BadInput(f"{aeroplane} alone is not a flight; name an aeroplane and a flight, or write `ownship {command} demo`.")
    own = aeroplane != DEMO
    typed = flight is not None and flight != DEMO
    return situation(read_text(aeroplane) if own else demo_aeroplane(), read_text(flight) if typed and flight else demo_flight(),
                     Path(aeroplane).parent if own else None, str(flight) if typed else "demo flight", aeroplane)


def progress(what: str) -> Progress:
    """Counts on stderr where that is a terminal, and wipes the line at the end; silent elsewhere."""
    if not sys.stderr.isatty():
        return lambda done, total: None

    def tell(done: int, total: int) -> None:
        words = f"{done} of {total} {what}"
        sys.stderr.write(f"\r{words}" if done < total else f"\r{' ' * len(words)}\r")
        sys.stderr.flush()

    return tell
