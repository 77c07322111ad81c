"""When to leave: each half hour of a local day judged by the ordinary `assess`, with night and light.

Method: docs/methods/levels-when.md.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import groupby
from typing import Any
from zoneinfo import ZoneInfo

from ownship.errors import BadInput, NotPossible, OutOfRange
from ownship.flight.alter import altered
from ownship.flight.answer import Assessment
from ownship.flight.assessment import assess
from ownship.flight.margins import Margin
from ownship.flight.route import Point
from ownship.flight.situation import Situation
from ownship.words.cautions import cautions_for
from ownship.words.verdicts import NOT_KNOWN, ORDER, OUTSIDE, WITHIN, Verdict
from ownship.world.sun import is_night
from ownship.world.zones import zone_at

Progress = Callable[[int, int], None]
Judge = Callable[[Situation], Assessment]
HALF_HOUR = timedelta(minutes=30)
LIGHT, NIGHT = "light", "night"
USES = {"lights": "position lights are needed", "passengers": "night recency counts for passengers"}


@dataclass(frozen=True)
class Light:
    """Light or night at a place and moment, by the place's night for fuel; "not known": none is kept. words: what else counts."""

    word: str
    words: tuple[str, ...] = ()


@dataclass(frozen=True)
class LeavingTime:
    """One departure judged. tightest: first margin of the assessment; allowance_1: its room over the customary allowance.

    allowance_1 None: that margin has no figure. air_known: of winds and temperatures aloft. landing None: the flight is not
    known or cannot be flown; landing_in_calm_air: the air is not known, so the landing is that of calm air.
    """

    departure: datetime
    verdict: Verdict
    sentence: str
    tightest: Margin | None
    allowance_1: float | None
    air_known: bool
    landing: datetime | None
    landing_in_calm_air: bool
    light_at_departure: Light
    light_at_landing: Light


@dataclass(frozen=True)
class LeavingTimes:
    """The half hours of a day in order; planned: the flight as it was typed; best None: nowhere within limits or tight."""

    day: date
    zone: str
    sentence: str
    planned: LeavingTime
    times: tuple[LeavingTime, ...]
    best: LeavingTime | None
    words: tuple[str, ...]
    cautions: tuple[str, ...]


def half_hours(day: date, zone: ZoneInfo) -> tuple[datetime, ...]:
    """The half hours of the clock from 00:00 to 23:30 of a local day, aware, in order of time.

    A half hour that the clocks skip is left out; one that they show twice appears twice, with its two offsets.
    """
    found: dict[datetime, datetime] = {}
    for i in range(48):
        for fold in (0, 1):
            wall = datetime.combine(day, time(i // 2, 30 * (i % 2), fold=fold), zone)
            at = wall.astimezone(UTC)
            if at.astimezone(zone).replace(tzinfo=None) == wall.replace(tzinfo=None):
                found.setdefault(at, wall)
    return tuple(found[at] for at in sorted(found))


def leaving_times(s: Situation, progress: Progress = lambda done, total: None, judge: Judge = assess) -> LeavingTimes:
    """The flight left at each half hour of its local day at the departure, and as planned.

    judge: `assess`, or what judges more (the record's recency and open items).
    leave_again moves with the departure. Typed air holds around the planned departure; at other hours it is not known
    unless the request has hourly values, a TAF or a forecast. BadInput where the flight as typed cannot be
    read; an hour that alone cannot be judged says why.
    """
    start = s.points[0]
    zone = zone_at(start.lat_deg, start.lon_deg)
    planned = _judged(s, judge)
    day = s.departure.astimezone(zone).date()
    moments = half_hours(day, zone)
    times = []
    for i, moment in enumerate(moments):
        times.append(_left_at(s, moment, judge))
        progress(i + 1, len(moments))
    rows = tuple(times)
    return LeavingTimes(day, zone.key, _sentence(rows), planned, rows, best_of(rows), _words(s, rows, zone),
                        cautions_for(["verdict", "model", *(["ifr"] if s.request.rules == "IFR" else [])]))


def request_at(s: Situation, moment: datetime) -> dict[str, Any]:
    """The request left at another moment: departure and leave_again shifted alike.

    planned_departure, where the request has none, says which departure typed air was typed for: it holds an hour either
    side of that, for leaving again by the same shift; hours, TAF and forecast have their own moments.
    """
    data = {**s.request_data, "departure": moment.isoformat(timespec="minutes")}
    if s.leave_again is not None:
        shift = moment.astimezone(UTC) - s.departure.astimezone(UTC)  # two of one zone would subtract as wall clocks
        data["leave_again"] = (s.leave_again.astimezone(UTC) + shift).astimezone(s.leave_again.tzinfo).isoformat(timespec="seconds")
    return {"planned_departure": s.departure.isoformat(), **data}


def _left_at(s: Situation, moment: datetime, judge: Judge) -> LeavingTime:
    """One half hour; what alone cannot be read or flown there says why."""
    try:
        return _judged(altered(s, request_at(s, moment)), judge)
    except (BadInput, OutOfRange) as error:
        return _unjudged(s, moment, NOT_KNOWN, str(error), known=False)


def _judged(s: Situation, judge: Judge) -> LeavingTime:
    try:
        a = judge(s)
    except NotPossible as error:
        return _unjudged(s, s.departure, OUTSIDE, str(error), known=s.air.known)
    landing = a.timeline[-1].time if a.timeline else None
    first = a.margins[0] if a.margins else None
    return LeavingTime(s.departure, a.verdict, a.sentence, first, first.allowance_1 if first else None, s.air.known, landing,
                       landing is not None and not s.air.known, light_at(s, s.points[0], s.departure),
                       light_at(s, s.points[-1], landing))


def _unjudged(s: Situation, moment: datetime, verdict: Verdict, why: str, *, known: bool) -> LeavingTime:
    return LeavingTime(moment, verdict, why, None, None, known, None, False, light_at(s, s.points[0], moment),
                       light_at(s, s.points[-1], None))


def light_at(s: Situation, point: Point, moment: datetime | None) -> Light:
    """Light or night at a point by the definitions of its rules on the day of the moment; None: a moment not known."""
    rules = s.ruleset(point)
    night = None if rules is None or moment is None else rules.night(moment.date(), "fuel")
    if rules is None or moment is None or night is None:
        return Light(NOT_KNOWN, () if moment is None else (f"No definition of night is kept for {point.name}.",))
    dark = is_night(point.lat_deg, point.lon_deg, moment, night.zenith_deg, night.after_s, night.before_s)
    also = []
    for use, words in USES.items():
        other = rules.night(moment.date(), use)
        if other and is_night(point.lat_deg, point.lon_deg, moment, other.zenith_deg, other.after_s, other.before_s):
            also.append(words)
    return Light(NIGHT if dark else LIGHT, tuple(also))


def best_of(rows: Sequence[LeavingTime]) -> LeavingTime | None:
    """The half hour within limits, else tight, with the most room in its tightest margin; the earliest of equals."""
    fit = [r for r in rows if ORDER.index(r.verdict) < ORDER.index(NOT_KNOWN)]
    return max(fit, key=lambda r: (-ORDER.index(r.verdict), _room(r)), default=None)


def _room(row: LeavingTime) -> float:
    """Room to a hundredth of an allowance: less than that is no difference."""
    return -math.inf if row.allowance_1 is None else round(row.allowance_1, 2)


def labels(rows: Sequence[LeavingTime]) -> tuple[str, ...]:
    """The clock of each departure, "01:30"; one that the day shows twice with its offset, "01:30-06:00"."""
    clocks = [f"{r.departure:%H:%M}" for r in rows]
    return tuple(clock if clocks.count(clock) == 1 else r.departure.isoformat()[11:16] + r.departure.isoformat()[-6:]
                 for clock, r in zip(clocks, rows, strict=True))


def spans(rows: Sequence[LeavingTime]) -> tuple[tuple[Verdict, str, str], ...]:
    """Runs of half hours with one verdict: verdict, first and last of them by the clock."""
    named = zip(labels(rows), (r.verdict for r in rows), strict=True)
    found = []
    for verdict, run in groupby(named, key=lambda x: x[1]):
        clocks = [clock for clock, _ in run]
        found.append((verdict, clocks[0], clocks[-1]))
    return tuple(found)


def _sentence(rows: Sequence[LeavingTime]) -> str:
    """Every verdict with its hours, best first, and the half hour with the most room."""
    runs = spans(rows)
    parts = []
    for verdict in ORDER:
        mine = [first if first == last else f"{first} to {last}" for v, first, last in runs if v == verdict]
        if mine:
            parts.append(f"{verdict} {'at every half hour' if len(runs) == 1 else ', '.join(mine)}")
    best = best_of(rows)
    differ = best is not None and len({_room(r) for r in rows if r.verdict == best.verdict}) > 1
    room = f" Most room leaving {labels(rows)[rows.index(best)]}." if best is not None and differ else ""
    nothing = " No half hour is known to be within limits." if all(r.verdict != WITHIN for r in rows) else ""
    return f"Leaving: {'; '.join(parts)}.{room}{nothing}"


def _words(s: Situation, rows: Sequence[LeavingTime], zone: ZoneInfo) -> tuple[str, ...]:
    """What limits the answer: hours whose air is not known, a day on which the clocks change."""
    blind, found, typed = sum(not r.air_known for r in rows), [], s.request.planned_departure or s.departure
    if blind:
        found.append(f"The air is not known at {blind} of {len(rows)} half hours: what was typed holds around the planned "
                     f"departure, {typed if typed.tzinfo is None else typed.astimezone(zone):%H:%M}, only. Light is shown there "
                     "too; its landings are those of calm air.")
    if len(rows) != 48:
        found.append(f"The clocks change on this day: it has {len(rows)} half hours.")
    return tuple(found)
