"""The electrical load table: amps by item against the alternator, and the time on the battery without it.

Rules of thumb, each with its source: a steady load of at most 80 % of the alternator (AC 43.13-1B, chapter 11, from memory),
70 % of the battery's rating to count on (trade practice, no source). A load analysis is a licensed person's paper.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from ownship.aeroplane.description import Electrical
from ownship.errors import BadInput
from ownship.words.verdicts import NOT_KNOWN, OUTSIDE, WITHIN, Verdict

SHARE_1, BATTERY_1 = 0.8, 0.7
SHARE_SOURCE = "80 % of the alternator: AC 43.13-1B chapter 11, from memory"
BATTERY_SOURCE = "70 % of the battery's rating: trade practice, no source"


@dataclass(frozen=True)
class LoadLine:
    """One item of the table: how many amps, steady or only for moments, and whether it stays on without the alternator."""

    what: str
    current_a: float
    steady: bool
    kept: bool


@dataclass(frozen=True)
class LoadTable:
    """Steady load against 80 % of the alternator, all of it against the whole, time on the battery with what is kept on.

    battery_s None: nothing is said to stay on, so not known. The lists are only as whole as the record.
    """

    lines: tuple[LoadLine, ...]
    alternator_a: float
    steady_a: float
    allowed_a: float
    all_a: float
    kept_a: float
    battery_s: float | None
    steady: Verdict
    all_on: Verdict
    words: tuple[str, ...]
    source: str


def load_table(electrical: Electrical | None, momentary: Iterable[str] = (), kept: Iterable[str] | None = None) -> LoadTable:
    """The table of an airframe record.

    momentary: items on only for moments (flaps, landing light), left out of the steady load; kept: what stays on without the
    alternator, None: every steady item. battery_s = 0.7 C / I. BadInput: no [electrical] in the record, an item that is not
    in it.
    """
    if electrical is None:
        raise BadInput("electrical: the airframe record has no [electrical]; write alternator, battery and loads.")
    names = {what.casefold() for what, _ in electrical.loads}
    short = _known(momentary, names, "momentary")
    stays = None if kept is None else _known(kept, names, "kept")
    lines = tuple(LoadLine(what, amps, what.casefold() not in short,
                           what.casefold() not in short if stays is None else what.casefold() in stays)
                  for what, amps in electrical.loads)
    steady, every, left = (math.fsum(x.current_a for x in lines if take(x))
                           for take in (lambda x: x.steady, lambda x: True, lambda x: x.kept))
    allowed = SHARE_1 * electrical.alternator_a
    return LoadTable(lines, electrical.alternator_a, steady, allowed, every, left,
                     BATTERY_1 * electrical.battery_c / left if left > 0 else None, _judge(lines, steady, allowed),
                     _judge(lines, every, electrical.alternator_a), _words(lines, left), electrical.source)


def _known(asked: Iterable[str], names: set[str], key: str) -> set[str]:
    found = {a.strip().casefold() for a in asked}
    if unknown := sorted(found - names):
        raise BadInput(f"{key}: {unknown[0]!r} is no load of the record; allowed are "
                       f"{', '.join(sorted(names)) or 'none, it lists no load'}.")
    return found


def _judge(lines: tuple[LoadLine, ...], load_a: float, limit_a: float) -> Verdict:
    if not lines:
        return NOT_KNOWN
    return WITHIN if load_a <= limit_a else OUTSIDE


def _words(lines: tuple[LoadLine, ...], left_a: float) -> tuple[str, ...]:
    words = [SHARE_SOURCE, BATTERY_SOURCE, "the list is as whole as the record; an equipment change changes it"]
    if not lines:
        words.insert(0, "the record lists no load: not known")
    elif left_a <= 0:
        words.insert(0, "nothing stays on without the alternator: the time on the battery is not known")
    return tuple(words)
