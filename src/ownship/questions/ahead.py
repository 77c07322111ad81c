"""Which altitude, and when to leave? A flight in, every legal level or every half hour of the day out, each fully assessed.

The flight is that of two files, of the demo, or by the record: then its open items and recency count at each of them.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from ownship.questions.check import situation_of

if TYPE_CHECKING:
    from ownship.flight.levels import Levels
    from ownship.flight.when import LeavingTimes

Progress = Callable[[int, int], None]


def altitudes(aeroplane: str | None, flight: str | None = None, registration: str | None = None) -> Levels:
    """Every legal level of a flight: from two files, the demo's, or by the record."""
    from ownship.flight.levels import levels
    from ownship.questions.from_record import judge_of, record_words

    s = situation_of(aeroplane, flight, registration, "altitudes")
    found = levels(s, progress("levels"), judge_of(s))
    return replace(found, words=(*found.words, *record_words(s, judged=True)))


def when(aeroplane: str | None, flight: str | None = None, registration: str | None = None) -> LeavingTimes:
    """Every half hour of the day of departure of a flight: from two files, the demo's, or by the record."""
    from ownship.flight.when import leaving_times
    from ownship.questions.from_record import judge_of, record_words

    s = situation_of(aeroplane, flight, registration, "when")
    found = leaving_times(s, progress("half hours"), judge_of(s))
    return replace(found, words=(*found.words, *record_words(s, judged=True)))


def progress(what: str) -> Progress:
    """Counts on stderr where that is a terminal, and wipes the line at the end; silent elsewhere."""
    if not sys.stderr.isatty():
        return lambda done, total: None

    def tell(done: int, total: int) -> None:
        words = f"{done} of {total} {what}"
        sys.stderr.write(f"\r{words}" if done < total else f"\r{' ' * len(words)}\r")
        sys.stderr.flush()

    return tell
