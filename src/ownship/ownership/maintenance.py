"""What is due: items with their intervals against what was done, by calendar, air time and landings, the first of them.

Pure: entries and a day in, frozen values out. States: overdue, not known (never noted as done, or a total is missing), in
tolerance, due soon, good, finished (done once, or ended by a terminating action). A licensed person decides what is due.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, date, timedelta, tzinfo

from ownship.errors import BadInput
from ownship.ownership.airframe_totals import Totals, totals
from ownship.ownership.entries import (
    Entry,
    Expiry,
    MaintenanceDone,
    MaintenanceItem,
    of_kind,
    standing,
)
from ownship.rules.due import counted_from, next_due

OVERDUE, NOT_KNOWN, TOLERANCE, SOON, GOOD, FINISHED = "overdue", "not known", "in tolerance", "due soon", "good", "finished"
STATES = (OVERDUE, NOT_KNOWN, TOLERANCE, SOON, GOOD, FINISHED)  # the most pressing first
SEVERITY = ("block", "warn", "info")
SOON_DAYS, SOON_H, SOON_LANDINGS = 60, 10.0, 10
FROM_MEMORY = "from memory"
ROUNDING_H = 1e-6  # hours are sums of thousands of flights; this is 4 ms
_ANY_DAYS = (date(2023, 1, 31), date(2024, 1, 1), date(2024, 2, 29))  # to measure an interval and its tolerance on


@dataclass(frozen=True)
class Due:
    """One item on a day: its state, by when (date, total hours, total landings; the last word with tolerance in `until`).

    left_days, left_h, left_landings: below 0 overrun; None: not limited so, or not known (the words tell which).
    """

    name: str
    title: str
    state: str
    words: tuple[str, ...]
    item: MaintenanceItem
    last: MaintenanceDone | None = None
    day: date | None = None
    until_day: date | None = None
    hours_h: float | None = None
    until_h: float | None = None
    landings: int | None = None
    left_days: int | None = None
    left_h: float | None = None
    left_landings: int | None = None


@dataclass(frozen=True)
class OpenItem:
    """Something that stands open for a flight: what, its state, in words why, the section and how that is known."""

    name: str
    title: str
    state: str
    severity: str
    section: str
    status: str
    uses: tuple[str, ...]
    words: tuple[str, ...]
    day: date | None = None


@dataclass(frozen=True)
class Ending:
    """A document or subscription that ends: last day still good, days left (below 0: ended)."""

    what: str
    last_day: date
    left_days: int
    state: str
    uses: tuple[str, ...]
    document: str


@dataclass(frozen=True)
class _Base:
    """From where the next interval runs; None: not known."""

    day: date
    hours_h: float | None
    landings: int | None


# ---- what is refused


def refuse_tolerance(item: MaintenanceItem) -> None:
    """Refuse a tolerance longer than the interval it belongs to, or of a kind by which the item is not limited."""
    i = item.interval
    if i.tolerance_h and i.hours_h is None and item.first_due_h is None:
        raise BadInput(f"{item.name}: a tolerance of {i.tolerance_h:,.10g} h needs hours to overrun, and the item has none; leave "
                       "it out, or give the interval in hours.")
    if i.tolerance_h and i.hours_h is not None and i.tolerance_h > i.hours_h:
        raise BadInput(f"{item.name}: a tolerance of {i.tolerance_h:,.10g} h is longer than the interval of {i.hours_h:,.10g} h; "
                       "give what the rule allows beyond it.")
    if i.tolerance and not i.every and item.fixed_date is None:
        raise BadInput(f"{item.name}: a tolerance of {i.tolerance} needs a date to overrun, and the item has none; leave it out, "
                       "or give the interval by calendar.")
    if i.tolerance and i.every and any(_beyond(i.every, i.tolerance, d) for d in _ANY_DAYS):
        raise BadInput(f"{item.name}: a tolerance of {i.tolerance} is longer than the interval of {i.every}; give what the rule "
                       "allows beyond it.")


def _beyond(every: str, tolerance: str, done: date) -> bool:
    """Whether a tolerance is longer than the interval before it."""
    return next_due(done, tolerance) > next_due(done, every)


# ---- what is due


def items(entries: Iterable[Entry], aeroplane: str) -> tuple[MaintenanceItem, ...]:
    """The items that are kept, by name; of two with one name the later one counts."""
    found = {i.name.casefold(): i for _, i in of_kind(standing(entries), MaintenanceItem, aeroplane)}
    return tuple(found[name] for name in sorted(found))


def due_list(entries: Iterable[Entry], aeroplane: str, on: date, zone: tzinfo = UTC, ahead_h: float = 0.0,
             ahead_landings: int = 0) -> tuple[Due, ...]:
    """Every item kept, the most pressing first; ahead: hours and landings of the flight asked about, on top of the totals."""
    kept = standing(entries)
    now = totals(kept, aeroplane, on, zone)
    now = replace(now, hours_h=None if now.hours_h is None else now.hours_h + ahead_h,
                  landings=None if now.landings is None else now.landings + ahead_landings)
    done: dict[str, list[MaintenanceDone]] = {}
    for _, d in of_kind(kept, MaintenanceDone, aeroplane):
        if d.day <= on:
            done.setdefault(d.name.casefold(), []).append(d)
    found = [item_due(i, done.get(i.name.casefold(), []), now, on) for i in items(kept, aeroplane)]
    return tuple(sorted(found, key=lambda d: (STATES.index(d.state), _weight(d.item), d.day or date.max, d.left_h or 0.0, d.name)))


def _weight(item: MaintenanceItem) -> int:
    """Order within a state: what blocks first; a word that is none of ours with it."""
    return SEVERITY.index(item.severity) if item.severity in SEVERITY else 0


def item_due(item: MaintenanceItem, done: Iterable[MaintenanceDone], now: Totals, on: date) -> Due:
    """One item on a day: what was done up to then, the totals then.

    Calendar: the pattern's last day. Hours and landings: total when done + interval, overdue when the total is greater. The
    first of them counts. Without carry an overrun is taken off the next interval, all of it, also beyond the tolerance.
    """
    past = sorted((d for d in done if d.day <= on), key=lambda d: (d.day, d.hours_h or 0.0))
    blank = Due(item.name, item.title, FINISHED, (), item, past[-1] if past else None)
    ended = next((d for d in past if d.terminating), None)
    if ended is not None or item.terminated:
        when = f" on {ended.day}" if ended is not None else ""
        return replace(blank, words=(f"ended by the terminating action{when}{_told(item.terminated)}: falls due no more",))
    limited = bool(item.interval.every or item.interval.hours_h is not None or item.interval.landings is not None)
    if past and not limited:
        return replace(blank, words=(f"done on {past[-1].day}; once only",))
    return _judged(_limits(blank, past), now, on)


def _told(words: str) -> str:
    return f" ({words})" if words else ""


def _limits(blank: Due, past: list[MaintenanceDone]) -> Due:
    """By when: from what was done, or, where nothing was, from the first dates of the item."""
    item = blank.item
    if not past:
        return _with_tolerance(replace(blank, day=item.fixed_date, hours_h=item.first_due_h, landings=item.first_due_landings))
    base: _Base | None = None
    for d in past:
        base = _next_base(base, d, item)
    assert base is not None
    every, hours, landings = item.interval.every, item.interval.hours_h, item.interval.landings
    return _with_tolerance(replace(
        blank, day=next_due(base.day, every) if every else None,
        hours_h=None if hours is None or base.hours_h is None else base.hours_h + hours,
        landings=None if landings is None or base.landings is None else base.landings + landings))


def _next_base(base: _Base | None, d: MaintenanceDone, item: MaintenanceItem) -> _Base:
    """Where the next interval begins once d is done; the first time from the item's first dates."""
    i = item.interval
    if i.carry or d.anew:
        return _Base(d.day, d.hours_h, d.landings)
    day = (next_due(base.day, i.every) if i.every else None) if base else item.fixed_date
    hours = (None if i.hours_h is None or base.hours_h is None else base.hours_h + i.hours_h) if base else item.first_due_h
    landings = ((None if i.landings is None or base.landings is None else base.landings + i.landings)
                if base else item.first_due_landings)
    return _Base(counted_from(day, d.day, carry=False),
                 d.hours_h if d.hours_h is None or hours is None else min(d.hours_h, hours),
                 d.landings if d.landings is None or landings is None else min(d.landings, landings))


def _with_tolerance(due: Due) -> Due:
    i, day = due.item.interval, due.day
    if day is not None:
        try:
            day = max(day + timedelta(days=max(i.tolerance_days, 0)), next_due(day, i.tolerance) if i.tolerance else day)
        except OverflowError:
            raise BadInput(f"{due.name}: {i.tolerance_days} days over {day} leave the calendar; correct the item.") from None
    return replace(due, until_day=day, until_h=None if due.hours_h is None else due.hours_h + i.tolerance_h)


def _judged(due: Due, now: Totals, on: date) -> Due:
    """State and words from the limits and the totals."""
    due = replace(due, left_days=None if due.day is None else (due.day - on).days,
                  left_h=None if due.hours_h is None or now.hours_h is None else due.hours_h - now.hours_h,
                  left_landings=None if due.landings is None or now.landings is None else due.landings - now.landings)
    missing = _missing(due, now)
    found = [_state(due.left_days, SOON_DAYS, None if due.until_day is None else (due.until_day - on).days),
             _state(due.left_h, SOON_H, None if due.until_h is None or now.hours_h is None else due.until_h - now.hours_h),
             _state(due.left_landings, SOON_LANDINGS, due.left_landings)]
    if missing:
        found.append(NOT_KNOWN)
    return replace(due, state=min(found, key=STATES.index), words=(*_words(due), *missing, *_notes(due.item)))


def _state(left: float | None, soon: float, until: float | None) -> str:
    if left is None or until is None:
        return GOOD
    if until < -ROUNDING_H:
        return OVERDUE
    if left < -ROUNDING_H:
        return TOLERANCE
    return SOON if left <= soon else GOOD


def _missing(due: Due, now: Totals) -> tuple[str, ...]:
    """What is not known though the item is limited by it; none of it is a pass."""
    i = due.item.interval
    if due.last is None:
        if due.day is None and due.hours_h is None and due.landings is None:
            return ("never noted as done",)
        wanted: tuple[tuple[str, bool, bool], ...] = (("air time", due.hours_h is not None, now.hours_h is None),
                                                      ("landings", due.landings is not None, now.landings is None))
    else:
        wanted = (("air time", i.hours_h is not None, due.hours_h is None), ("landings", i.landings is not None,
                                                                              due.landings is None))
    return tuple(f"the {what} not known: note them with what was done" if what == "landings" else
                 f"the {what} not known: note it with what was done" for what, limited, lacking in wanted if limited and lacking)


def _words(due: Due) -> tuple[str, ...]:
    words = []
    if due.last is not None:
        words.append(f"last done {due.last.day}" + ("" if due.last.hours_h is None else f" at {due.last.hours_h:,.1f} h"))
    if due.day is not None and due.left_days is not None:
        words.append(f"due {due.day}, {_left(due.left_days, 'days')}")
    if due.hours_h is not None:
        words.append(f"due at {due.hours_h:,.1f} h" + ("" if due.left_h is None else f", {_left(due.left_h, 'h')}"))
    if due.landings is not None:
        left = "" if due.left_landings is None else f", {_left(due.left_landings, 'landings')}"
        words.append(f"due at {due.landings:,} landings{left}")
    return tuple(words)


def _left(left: float, unit: str) -> str:
    shown = f"{abs(left):,.1f}" if unit == "h" else f"{abs(left):,.0f}"
    return f"{shown} {unit} left" if left >= -ROUNDING_H else f"{shown} {unit} over"


def _notes(item: MaintenanceItem) -> tuple[str, ...]:
    """How the interval is known, and what the reader must know."""
    known = f"the interval is known {item.status}: check it" if item.status == FROM_MEMORY else ""
    return tuple(w for w in (item.note.rstrip("."), known) if w)


# ---- before a flight


def open_items(entries: Iterable[Entry], aeroplane: str, on: date, uses: Iterable[str], zone: tzinfo = UTC,
               ahead_h: float = 0.0, ahead_landings: int = 0) -> tuple[OpenItem, ...]:
    """What stands open for a flight of these uses (VFR, night, IFR, passengers) on a day, the most pressing first.

    Overdue, in tolerance and not known, and documents that have ended. ahead: the flight's own hours and landings. Nothing
    open where no item is kept is no answer: ask `kept_any` first. Defects are another list.
    """
    kept, wanted = standing(entries), set(uses)
    found = [OpenItem(d.name, d.title, d.state, d.item.severity, d.item.section, d.item.status, d.item.uses, d.words, d.day)
             for d in due_list(kept, aeroplane, on, zone, ahead_h, ahead_landings)
             if d.state in (OVERDUE, TOLERANCE, NOT_KNOWN) and wanted & set(d.item.uses)]
    ended = [OpenItem(e.what, e.what, OVERDUE, "block" if by_law(e.what) else "warn", e.document, "owner", e.uses,
                      (f"ended on {e.last_day}, {-e.left_days} days ago",), e.last_day)
             for e in endings(kept, aeroplane, on) if e.state == OVERDUE and wanted & set(e.uses)]
    return (*(o for o in found if o.state == OVERDUE), *ended, *(o for o in found if o.state != OVERDUE))


def by_law(what: str) -> bool:
    """Whether a document of this name must be good for a flight: insurance, registration, certificate, airworthiness."""
    return any(word in what.casefold() for word in ("insurance", "registration", "certificate", "airworth"))


def kept_any(entries: Iterable[Entry], aeroplane: str) -> bool:
    """Whether any item or ending is kept; without one open items are not known."""
    kept = standing(entries)
    return bool(items(kept, aeroplane) or of_kind(kept, Expiry, aeroplane))


def endings(entries: Iterable[Entry], aeroplane: str, on: date) -> tuple[Ending, ...]:
    """Insurance, registrations, beacon, data cycles: the latest entry of each, the first to end first."""
    latest = {e.what.casefold(): e for _, e in of_kind(standing(entries), Expiry, aeroplane)}
    left = [(e, (e.last_day - on).days) for e in latest.values()]
    return tuple(sorted((Ending(e.what, e.last_day, days, _state(days, SOON_DAYS, days), e.uses, e.document) for e, days in left),
                        key=lambda e: (e.last_day, e.what)))
