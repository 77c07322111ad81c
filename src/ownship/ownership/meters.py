"""Readings of a meter one after the other: a replaced instrument against them, what rests on it, a reading at a hand-over.

A meter runs forward and at most 1.25 times as fast as the clock, with an hour for the ground; what it ran beyond the flights
of the log is told, and beyond 100 h refused. docs/methods/log.md.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from ownship.errors import BadInput
from ownship.ownership.entries import Entry, Flight, HandOver, InstrumentReplaced, of_kind
from ownship.ownership.flights import ENGINE_ON_THE_GROUND_H, FASTEST_METER_1, READING_H, readings
from ownship.units import from_si

UNEXPLAINED_H = 100.0  # more than an owner flies in a year: a slip of the pen rather than flights that were not logged


@dataclass(frozen=True)
class Shown:
    """What a meter showed: first and last reading (h) of an entry between two moments; settled: money was owed by it."""

    number: int
    begin: datetime
    end: datetime
    first_h: float
    last_h: float
    settled: bool = False


@dataclass(frozen=True)
class _Before:
    """The last thing known before a moment: since when, what the meter showed, in which entry and of what."""

    since: datetime
    shown_h: float
    number: int
    what: str


def shown(entries: Iterable[Entry], aeroplane: str, meter: str) -> tuple[Shown, ...]:
    """Every reading of a meter that stands, of flights and of hand-overs, by moment."""
    kept, found = tuple(entries), []
    for e, f in of_kind(kept, Flight, aeroplane):
        noted = [h for h in readings(f, meter) if h is not None]
        found += [Shown(e.number, f.off_blocks, f.on_blocks, noted[0], noted[-1])] if noted else []
    found += [Shown(e.number, e.moment, e.moment, h.meter_h, h.meter_h, True) for e, h in of_kind(kept, HandOver, aeroplane)
              if h.meter == meter and h.meter_h is not None]
    return tuple(sorted(found, key=lambda s: (s.begin, s.number)))


def refuse_replacement(entries: Iterable[Entry], aeroplane: str, new: InstrumentReplaced, moment: datetime) -> str:
    """Refuse a replaced instrument that the readings before and after it cannot go with; "" or what must be told of it.

    entries: those that stand, without one that this corrects. The old meter's last reading is not below any before it and not
    further on than clock and flights let it run; readings after it, up to the next one, belong to the new meter.
    """
    kept = tuple(entries)
    flight = next((e for e, f in of_kind(kept, Flight, aeroplane) if f.off_blocks < moment < f.on_blocks), None)
    if flight is not None:
        raise BadInput(f"--at: {_clock(moment)} lies within the flight of entry {flight.number}, and no {new.which} is replaced in "
                       "flight; give a moment before or after it.")
    words = _old_reading(kept, aeroplane, new, moment)
    end, after = _until(kept, aeroplane, new.which, moment)
    for s in after:
        _refuse_new_meter(s, new, moment)
    if end is not None and end.body.old_h < max([new.new_h, *(s.last_h for s in after)]) - READING_H:  # type: ignore[attr-defined]
        raise BadInput(f"--new: {new.new_h:g} h does not go with entry {end.number}, by which this {new.which} was replaced at "
                       f"{end.body.old_h:g} h; correct one of them.")  # type: ignore[attr-defined]
    return words


def _old_reading(kept: Sequence[Entry], aeroplane: str, new: InstrumentReplaced, moment: datetime) -> str:
    before = _before(kept, aeroplane, new.which, moment)
    if before is None:
        return ""
    if new.old_h < before.shown_h - READING_H:
        raise BadInput(f"--old: {new.old_h:g} h is less than the {new.which}'s last reading in the log, {before.shown_h:g} h "
                       f"(entry {before.number}); correct it.")
    ran, flown = new.old_h - before.shown_h, _flown_h(kept, aeroplane, new.which, before.since, moment)
    if ran > min(_most_h(before.since, moment), flown + UNEXPLAINED_H):
        raise BadInput(f"--old: {new.old_h:g} h is {ran:,.1f} h beyond the {new.which}'s last reading in the log, "
                       f"{before.shown_h:g} h (entry {before.number}), which neither the flights since nor the clock explain; "
                       "correct it, or enter the flights between first.")
    return f"the {new.which} ran {ran - flown:,.1f} h that no flight of the log explains" if ran > (
        flown + ENGINE_ON_THE_GROUND_H) else ""


def _refuse_new_meter(s: Shown, new: InstrumentReplaced, moment: datetime) -> None:
    """A reading after a replacement belongs to the new meter."""
    if not new.new_h - READING_H <= s.first_h or s.last_h > new.new_h + _most_h(moment, s.end):
        raise BadInput(f"--new: {new.new_h:g} h does not go with {s.first_h:g} h that entry {s.number} shows later, on "
                       f"{s.begin:%Y-%m-%d}; correct one of them, or give --at when the {new.which} was replaced.")


def settled_words(entries: Iterable[Entry], aeroplane: str, new: InstrumentReplaced, moment: datetime,
                  old: Entry | None) -> str:
    """Words where a settlement kept already was worked out without a replacement, or with what it corrects (old); "" for none."""
    kept = tuple(entries)
    settled = [s for s in shown(kept, aeroplane, new.which) if s.settled]
    later = next((s for s in settled if s.begin > moment), None)
    more = new.old_h - new.new_h - (old.body.old_h - old.body.new_h if old and isinstance(old.body, InstrumentReplaced) else 0.0)
    if later is None or abs(more) < READING_H / 10 or not any(s.begin <= moment for s in settled):
        return ""
    return (f"the settlement of entry {later.number} was worked out {'before this correction' if old else 'without it'}: by it "
            f"{abs(more):,.1f} h {'more' if more > 0 else 'fewer'} were run; settle the difference")


def refuse_withdrawal(entries: Iterable[Entry], entry: Entry) -> None:
    """Refuse to withdraw a replaced instrument or a hand-over on which flights or a settlement rest; entries: those that stand,
    it too."""
    body = entry.body
    if isinstance(body, HandOver):
        _refuse_hand_over(entries, entry)
    if not isinstance(body, InstrumentReplaced):
        return
    kept = [e for e in entries if e.number != entry.number]
    after = _until(kept, entry.aeroplane, body.which, entry.moment)[1]
    before = _before(kept, entry.aeroplane, body.which, entry.moment)
    if not after or (before is None and not any(s.settled for s in after)):
        return
    settled = next((s for s in after if s.settled), None)
    if settled is None and before is not None:
        ran = after[0].first_h - before.shown_h
        flown = _flown_h(kept, entry.aeroplane, body.which, before.since, after[0].begin)
        if -READING_H <= ran <= flown + ENGINE_ON_THE_GROUND_H:
            return
    rests = settled or after[0]
    raise BadInput(f"Entry {entry.number} cannot be withdrawn: {'the settlement' if settled else 'the flight'} of entry "
                   f"{rests.number} rests on the new {body.which} ({rests.first_h:g} h); enter the instrument again for the same "
                   "day with --at, which corrects it, or correct what rests on it first.")


def _refuse_hand_over(entries: Iterable[Entry], entry: Entry) -> None:
    """The money of the next hand-over counts its hours from this one."""
    later = next(((e, h.owed) for e, h in of_kind(entries, HandOver, entry.aeroplane) if e.moment > entry.moment), None)
    if later is None or later[1] is None:
        return
    number, owed = later[0].number, later[1]
    raise BadInput(f"Entry {entry.number} cannot be withdrawn: the settlement of entry {number} ({owed.amount:,} {owed.currency}) "
                   f"counts its hours from this hand-over; withdraw entry {number} first, and hand over again.")


def refuse_reading(entries: Iterable[Entry], aeroplane: str, meter: str, shown_h: float, moment: datetime) -> None:
    """Refuse a reading at a hand-over below what the log shows before it, above what it shows later, or faster than the clock."""
    kept = tuple(entries)
    before = _before(kept, aeroplane, meter, moment)
    if before is not None and shown_h < before.shown_h - READING_H:
        raise BadInput(f"The {meter} shows {shown_h:g} h, less than at {before.what} before ({before.shown_h:g} h, entry "
                       f"{before.number}); correct the reading or enter the replaced instrument.")
    if before is not None and shown_h > before.shown_h + _most_h(before.since, moment):
        raise BadInput(f"The {meter} shows {shown_h:g} h and showed {before.shown_h:g} h at {before.what} before (entry "
                       f"{before.number}), further than it can run in that time; correct the reading or enter the replaced "
                       "instrument.")
    later = next((s for s in _until(kept, aeroplane, meter, moment)[1] if s.first_h < shown_h - READING_H), None)
    if later is not None:
        raise BadInput(f"The {meter} shows {shown_h:g} h, more than {later.first_h:g} h in entry {later.number} after it; correct "
                       "the reading or enter the replaced instrument.")


def replaced_on(entries: Iterable[Entry], aeroplane: str, which: str, moment: datetime) -> Entry | None:
    """The replaced instrument kept for the same day (UTC), which another entry for that day corrects."""
    return next((e for e, i in of_kind(entries, InstrumentReplaced, aeroplane)
                 if i.which == which and e.moment.date() == moment.date()), None)


# ---- one after the other


def _before(kept: Sequence[Entry], aeroplane: str, meter: str, moment: datetime) -> _Before | None:
    """The last reading before a moment, or the new meter's first where it was replaced since."""
    found = [_Before(s.end, s.last_h, s.number, "the hand-over" if s.settled else "the flight")
             for s in shown(kept, aeroplane, meter) if s.end <= moment]
    found += [_Before(e.moment, i.new_h, e.number, "the replacement") for e, i in of_kind(kept, InstrumentReplaced, aeroplane)
              if i.which == meter and e.moment <= moment]
    return max(found, key=lambda b: (b.since, b.number), default=None)


def _until(kept: Sequence[Entry], aeroplane: str, meter: str, moment: datetime) -> tuple[Entry | None, tuple[Shown, ...]]:
    """The next replacement after a moment, and the readings up to it."""
    end = next((e for e, i in of_kind(kept, InstrumentReplaced, aeroplane) if i.which == meter and e.moment > moment), None)
    return end, tuple(s for s in shown(kept, aeroplane, meter)
                      if s.begin >= moment and s.end > moment and (end is None or s.begin < end.moment))


def _flown_h(kept: Sequence[Entry], aeroplane: str, meter: str, since: datetime, until: datetime) -> float:
    """The most that a meter ran in flights between two moments that do not note it, hours."""
    flights = [f for _, f in of_kind(kept, Flight, aeroplane)
               if f.off_blocks >= since and f.on_blocks <= until and not any(h is not None for h in readings(f, meter))]
    return sum(float(from_si(f.flight_s, "h")) * FASTEST_METER_1 + ENGINE_ON_THE_GROUND_H for f in flights)


def _most_h(since: datetime, until: datetime) -> float:
    """The most that a meter can run between two moments, hours."""
    return float(from_si((until - since).total_seconds(), "h")) * FASTEST_METER_1 + ENGINE_ON_THE_GROUND_H


def _clock(moment: datetime) -> str:
    return f"{moment:%Y-%m-%d %H:%M}Z"
