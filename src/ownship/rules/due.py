"""When something falls due: date arithmetic of the rules, the last day that is still good."""

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
