"""When something falls due: date arithmetic of the rules.

Two ways of asking: the last day still good after something done, and, on the day of a flight, the earliest day
on which something done still counts. docs/methods/rules.md has the patterns with worked examples.
"""

from __future__ import annotations

import calendar
import re
from datetime import date, timedelta

from ownship.errors import BadInput

_EVERY = re.compile(r"^\s*(\d+)\s+(calendar months?|months?|days?|years?)\s*$", re.IGNORECASE)
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
    month's end; "n days": done + n. Checks: MD-01, worked examples of the rules.
    """
    match = _EVERY.match(every)
    if match is None:
        raise BadInput(f"every: {every!r} is no interval; write \"12 calendar months\", \"24 months\" or \"30 days\".")
    count, kind = int(match[1]), match[2].lower().removesuffix("s")
    if not 1 <= count <= MOST[kind]:
        raise BadInput(f"every: {every!r} is not believable; allowed is 1 to {MOST[kind]} {kind}s.")
    try:
        if kind == "day":
            return done + timedelta(days=count)
        later = month_later(done, count * 12 if kind == "year" else count)
    except (OverflowError, ValueError):
        raise BadInput(f"every: {every!r} after {done.isoformat()} leaves the calendar; use an earlier date.") from None
    return month_end(later) if kind == "calendar month" else later


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
