"""When the hours will be flown: a date with a band from the hours of past months, drawn again (bootstrap).

Each draw first draws the past anew, month by month with repetition, so that few months give a wide band, and then the months
to come from it. No season and no trend is assumed. The seed is handed in.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, timedelta, tzinfo

import numpy as np
from numpy.typing import NDArray

from ownship.ownership.entries import Entry, Flight, of_kind, standing
from ownship.ownership.maintenance import ROUNDING_H, Due
from ownship.rules.due import day_at, month_end, month_later
from ownship.units import from_si

LEAST_MONTHS, MOST_MONTHS, HORIZON_MONTHS, DRAWS = 6, 24, 240, 2000
METHOD = "months drawn again from those flown (bootstrap)"


@dataclass(frozen=True)
class Pace:
    """Hours by whole calendar month, the latest last, up to the month before a day; words: why there are none."""

    hours_h: tuple[float, ...]
    words: str

    @property
    def mean_h(self) -> float | None:
        """Mean hours a month; None: not known."""
        return math.fsum(self.hours_h) / len(self.hours_h) if self.hours_h else None


@dataclass(frozen=True)
class Forecast:
    """When an item will be due: the middle day, and the early and late ends (5 and 95 of 100 draws); None: beyond 20 years,
    or not known (the words tell).

    known: whether there is an answer; by: "calendar" or "hours", whichever comes first in the middle draw; "landings" where they
    are used up.
    """

    known: bool
    words: str
    early: date | None = None
    middle: date | None = None
    late: date | None = None
    by: str = ""


def pace(entries: Iterable[Entry], aeroplane: str, on: date, zone: tzinfo = UTC) -> Pace:
    """Hours of the last whole months, 24 at most, from the first flight on; months without a flight are 0.

    Air time, or flight time where none is noted. Fewer than 6 whole months: not known. The month of the first flight is left
    out, the record may begin in its middle.
    """
    flights = [(day_at(f.on_blocks, zone), f) for _, f in of_kind(standing(entries), Flight, aeroplane)]
    flights = [(day, f) for day, f in flights if day <= on]
    if not flights:
        return Pace((), "no flight is in the record")
    first, this = _index(min(day for day, _ in flights)) + 1, _index(on)
    months = range(max(first, this - MOST_MONTHS), this)
    if len(months) < LEAST_MONTHS:
        return Pace((), f"{max(len(months), 0)} whole months are in the record, and {LEAST_MONTHS} are needed")
    hours = dict.fromkeys(months, 0.0)
    for day, f in flights:
        if _index(day) in hours:
            hours[_index(day)] += float(from_si(f.flight_s if f.air_s is None else f.air_s, "h"))
    found = tuple(hours.values())
    return Pace(found, f"{math.fsum(found) / len(found):,.1f} h a month over {len(found)} months; {METHOD}")


def _index(day: date) -> int:
    return day.year * 12 + day.month - 1


def forecast(due: Due, flown: Pace, on: date, seed: int) -> Forecast:
    """The day an item will be due, by its date and by its hours, whichever first; landings are not forecast (said).

    Hours or landings that are used up are due now, whatever the pace.
    """
    if used := _used_up(due):
        now = _earlier(on, due.day)
        return Forecast(True, f"no {used} left: due before the next flight", now, now, now, used)
    beside = "; landings are not forecast" if due.landings is not None else ""
    if due.left_h is None or not flown.hours_h:
        return _by_calendar(due, flown, beside)
    days = [_day(on, d) for d in np.quantile(days_until(due.left_h, flown, on, seed), (0.05, 0.5, 0.95), method="inverted_cdf")]
    early, middle, late = (_earlier(d, due.day) for d in days)
    by = "calendar" if due.day is not None and middle == due.day else "hours"
    return Forecast(True, flown.words + beside, early, middle, late, by)


def _used_up(due: Due) -> str:
    """Which of hours and landings has nothing left; "": neither."""
    if due.left_h is not None and due.left_h <= ROUNDING_H:
        return "hours"
    return "landings" if due.left_landings is not None and due.left_landings <= 0 else ""


def _by_calendar(due: Due, flown: Pace, beside: str) -> Forecast:
    """Without hours left, or without a pace: the calendar's date, and whether hours may bring it forward."""
    by_hours = due.item.interval.hours_h is not None or due.hours_h is not None
    lacking = ("its hours are not known" if due.left_h is None else flown.words) if by_hours else ""
    if due.day is None:
        never = "never noted as done" if due.last is None and due.hours_h is None else ""
        return Forecast(False, (never or lacking or "no date and no hours to count to") + beside)
    if lacking:
        return Forecast(True, f"by calendar at the latest; by hours not known: {lacking}{beside}", None, due.day, due.day,
                        "calendar")
    return Forecast(True, "by calendar" + beside, due.day, due.day, due.day, "calendar")


def _day(on: date, days: float) -> date | None:
    return on + timedelta(days=float(days)) if math.isfinite(days) else None


def _earlier(one: date | None, other: date | None) -> date | None:
    return min((d for d in (one, other) if d is not None), default=None)


def days_until(left_h: float, flown: Pace, on: date, seed: int) -> NDArray[np.float64]:
    """Days from a day until so many hours are flown, one number a draw (shape: draws); inf beyond 20 years; 0 where none is left.

    Inside a month the hours are spread evenly; of the present month only its rest counts.
    """
    if left_h <= 0:
        return np.zeros(DRAWS)
    ends, lengths = _months(on)
    drawn = np.cumsum(drawn_hours(flown.hours_h, seed) * lengths[None, :, 1], axis=1)
    reached = (drawn >= left_h - 1e-9).argmax(axis=1)
    rows = np.arange(len(drawn))
    before = np.where(reached > 0, drawn[rows, reached - 1], 0.0)
    part = (left_h - before) / np.maximum(drawn[rows, reached] - before, 1e-12)
    days = ends[reached] - lengths[reached, 0] * (1.0 - np.clip(part, 0.0, 1.0))
    return np.where(drawn[:, -1] >= left_h - 1e-9, days, np.inf)


def drawn_hours(hours_h: tuple[float, ...], seed: int) -> NDArray[np.float64]:
    """Hours of the months to come (draws, months): the past drawn anew, then the future from that past."""
    chance = np.random.default_rng(seed)
    past = np.asarray(hours_h)[chance.integers(len(hours_h), size=(DRAWS, len(hours_h)))]
    return np.take_along_axis(past, chance.integers(len(hours_h), size=(DRAWS, HORIZON_MONTHS)), axis=1)


def _months(on: date) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """For the present month and those after: days from `on` to its end (n), and days in it with its share of a month (n, 2)."""
    ends = [month_end(month_later(on.replace(day=1), i)) for i in range(HORIZON_MONTHS)]
    rest = [(ends[0] - on).days, *(e.day for e in ends[1:])]
    shares = [rest[0] / ends[0].day, *(1.0 for _ in ends[1:])]
    return np.array([float((e - on).days) for e in ends]), np.column_stack([np.array(rest, float), np.array(shares)])
