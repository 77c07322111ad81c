"""When something falls due: date arithmetic of the rules.

Two ways of asking: the last day still good after something done, and, on the day of a flight, the earliest day
on which something done still counts. docs/methods/rules.md has the patterns with worked examples.
"""

from __future__ import annotations

import calendar
import re
from collections.abc import Iterable
from datetime import date, datetime, timedelta, tzinfo

from ownship.errors import BadInput

_EVERY = re.compile(r"^\s*(\d+)\s+(calendar months?|months?|days?|years?)(\s+from the first of the next month)?\s*$", re.IGNORECASE)
_YEARLY = re.compile(r"^\s*(\d{1,2})\s+([A-Za-z]+)\s+of the next year\s*$", re.IGNORECASE)
_MONTHS = {name.lower(): i for i, name in enumerate(calendar.month_name) if name}
MOST = {"calendar month": 1200, "month": 1200, "day": 40000, "year": 100}


def month_later(day: date, months: int) -> date:
    """The same day so many months on, clipped to the month's end (31 January + 1 month = 28 or 29 February)."""
    index = day.year * 12 + day.month - 1 + months
    year, month = divmod(index, 12)
    return date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))


def month_end(day: date) -> date:
    """The last day of a day's month."""
    return date(day.year, day.month, calendar.monthrange(day.year, day.month)[1])


def next_due(done: date, every: str) -> date:
    """The last day still good after something done on a date.

    "n calendar months": the end of the nth month after; "n months", "n years": the same day, clipped to the
    month's end; "n days": done + n; "n months from the first of the next month": as `from_first_of_next_month`;
    "30 March of the next year": that day. Checks: MD-01, worked examples of the rules.
    """
    if yearly := _YEARLY.match(every):
        return _of_next_year(done, every, int(yearly[1]), _MONTHS.get(yearly[2].lower()))
    match = _EVERY.match(every)
    if match is None:
        raise BadInput(f"every: {every!r} is no interval; write \"12 calendar months\", \"24 months\" or \"30 days\".")
    count, kind = int(match[1]), match[2].lower().removesuffix("s")
    if not 1 <= count <= MOST[kind]:
        raise BadInput(f"every: {every!r} is not believable; allowed is 1 to {MOST[kind]} {kind}s.")
    if match[3] and kind not in ("month", "year"):
        raise BadInput(f"every: {every!r} counts {kind}s from the first of the next month; write months or years there.")
    try:
        if match[3]:
            return from_first_of_next_month(done, count * 12 if kind == "year" else count)
        if kind == "day":
            return done + timedelta(days=count)
        later = month_later(done, count * 12 if kind == "year" else count)
    except (OverflowError, ValueError):
        raise BadInput(f"every: {every!r} after {done.isoformat()} leaves the calendar; use an earlier date.") from None
    return month_end(later) if kind == "calendar month" else later


def _of_next_year(done: date, every: str, day: int, month: int | None) -> date:
    """A fixed day of the year after; 29 February is 28 where there is none, the stricter reading."""
    try:
        found = date(2000, month or 0, day)
        return month_later(found, (done.year + 1 - 2000) * 12)
    except ValueError:
        raise BadInput(f"every: {every!r} names no day; write \"30 March of the next year\", not after the year 9999.") from None


def from_first_of_next_month(done: date, months: int) -> date:
    """Last day of a period of n months that begins on the first day of the month after (a medical in Canada)."""
    return month_later(month_end(done) + timedelta(days=1), months) - timedelta(days=1)


def needed_from(done: date, months: int) -> date:
    """The first day of the nth month after something done: before it nothing more is needed (IFR practice in Canada)."""
    return month_later(done, months).replace(day=1)


def earliest_by_days(flight: date, days: int) -> date:
    """The earliest day that counts on a flight's day within so many days before it."""
    return flight - timedelta(days=days)


def earliest_by_months(flight: date, months: int) -> date:
    """The earliest day that counts within so many months before a flight, to the day of the month.

    Where that day does not exist, the stricter reading: on 31 August six months back begins on 1 March, so that
    it agrees with `next_due`.
    """
    back = month_later(flight, -months)
    return back if back.day == flight.day else back + timedelta(days=1)


def earliest_by_preceding_months(flight: date, months: int) -> date:
    """The first day of the n calendar months before the month of a flight (the month itself counts too, from memory)."""
    return month_later(flight.replace(day=1), -months)


def grace_then_roll(done: date, flight: date, k: int, months: int) -> date | None:
    """The earliest day on which practice counts for a flight; None: before the first day of the kth month nothing is needed.

    GRACE_THEN_ROLL(k, n): afterwards the requirement looks n months back to the day. Check: the Canadian example of the rules.
    """
    return None if flight < needed_from(done, k) else earliest_by_months(flight, months)


def first_of(days: Iterable[date | None]) -> date | None:
    """WHICHEVER_FIRST: the earliest of several last days; None where none is known."""
    return min((d for d in days if d is not None), default=None)


def counted_from(due: date | None, done: date, *, carry: bool) -> date:
    """The day from which the next interval runs.

    TOLERANCE: with carry from when it was done; without it what was overrun is taken off, so from when it was due. Done early
    it is counted from when it was done either way, the stricter reading.
    """
    return done if carry or due is None else min(due, done)


def day_at(moment: datetime, zone: tzinfo) -> date:
    """The calendar day of an aware moment in a zone: a last day is good until the midnight of the place."""
    if moment.utcoffset() is None:
        raise BadInput(f"moment: {moment.isoformat()} has no zone; give one.")
    return moment.astimezone(zone).date()
