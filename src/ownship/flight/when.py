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
from ownship.flight.places import ELEMENTS
from ownship.flight.route import Point
from ownship.flight.situation import Situation
from ownship.words.cautions import cautions_for
from ownship.words.figures import Figure, figure
from ownship.words.verdicts import NOT_KNOWN, ORDER, OUTSIDE, WITHIN, Verdict
from ownship.world.sun import is_night
from ownship.world.weather import observed_moment, parse_metar
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
class AirFrom:
    """Whose air one part of a flight has: where, its source, and how far the source lies from the moment (a forecast's: the age
    of its run; None: as typed for that hour)."""

    where: str
    source: str
    age: Figure | None = None

    @property
    def age_h(self) -> float:
        """The age in hours, 0 where there is none."""
        return 0.0 if self.age is None else self.age.value

    def text(self) -> str:
        """ "KBOI METAR of KBOI 112053Z, up to 0.6 h off". """
        return f"{self.where} {self.source}{f', up to {self.age_h:.1f} h off' if self.age_h >= 0.05 else ''}"


@dataclass(frozen=True)
class LeavingTime:
    """One departure judged. tightest: first margin of the assessment; allowance_1: its room over the customary allowance.

    allowance_1 None: that margin has no figure. air_known: of winds and temperatures aloft. landing None: the flight is not
    known or cannot be flown; landing_in_calm_air: the air is not known, so the landing is that of calm air. air: whose
    air it is, at the departure, at the landing and aloft.
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
    air: tuple[AirFrom, ...] = ()


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
    return _row(s, a)


def _row(s: Situation, a: Assessment) -> LeavingTime:
    landing = a.timeline[-1].time if a.timeline else None
    first = a.margins[0] if a.margins else None
    return LeavingTime(s.departure, a.verdict, a.sentence, first, first.allowance_1 if first else None, s.air.known, landing,
                       landing is not None and not s.air.known, light_at(s, s.points[0], s.departure),
                       light_at(s, s.points[-1], landing), air_from(s))


def _unjudged(s: Situation, moment: datetime, verdict: Verdict, why: str, *, known: bool) -> LeavingTime:
    return LeavingTime(moment, verdict, why, None, None, known, None, False, light_at(s, s.points[0], moment),
                       light_at(s, s.points[-1], None))


def air_from(s: Situation) -> tuple[AirFrom, ...]:
    """Whose air a flight has: at the departure when it is left, at the destination on landing, and aloft."""
    found = []
    for point, use in ((s.points[0], "take_off"), (s.points[-1], "landing")):
        weather = s.weather_for(use)
        known = weather is not None and any(getattr(weather.weather, name) is not None for name in ELEMENTS)
        age = None if weather is None or not known or weather.age_s is None else figure(weather.age_s, "h")
        found.append(AirFrom(point.name, weather.weather.source if weather is not None and known else NOT_KNOWN, age))
    return (*found, AirFrom("aloft", s.aloft.source if s.air.known else NOT_KNOWN))


def air_is_known(s: Situation) -> bool:
    """Whether winds aloft and the weather of both ends are known at the moments of a flight: without them it fits at no hour."""
    return all(x.source != NOT_KNOWN for x in air_from(s))


def reported(s: Situation) -> datetime:
    """The moment of the latest METAR of a request, at most the departure; long ago where it has none. Nobody who holds that
    report can still leave before it."""
    made = [observed_moment(w.observed, s.departure) for e in s.request.weather.values() if e.metar is not None
            and (w := parse_metar(e.metar, f"{e.where} metar")).observed is not None]
    return min(max(made), s.departure) if made else datetime.min.replace(tzinfo=UTC)


def first_met(s: Situation, id_: str, judge: Judge = assess) -> tuple[LeavingTime | None, tuple[datetime, ...]]:
    """The first half hour of the local day at which a limit is met (within or tight); and those at which it is known.

    None: at none that is known. Looked at are those whose air is known, from the latest METAR on: its hour before it has
    passed; after the first that meets it none is. The row is judged as a whole: its verdict is the flight's.
    """
    zone = zone_at(s.points[0].lat_deg, s.points[0].lon_deg)
    known: list[datetime] = []
    for moment in half_hours(s.departure.astimezone(zone).date(), zone):
        try:
            one = altered(s, request_at(s, moment))
            if moment < reported(s) or not air_is_known(one):
                continue
            a = judge(one)
        except (BadInput, OutOfRange, NotPossible):
            continue
        limit = next((m for m in a.margins if m.id == id_), None)
        if limit is None or limit.verdict == NOT_KNOWN:
            continue
        known.append(moment)
        if limit.verdict != OUTSIDE:
            return _row(one, a), tuple(known)
    return None, tuple(known)


def clock_runs(moments: Sequence[datetime]) -> str:
    """Half hours of one day in words: "06:00 to 08:30 and 14:00"."""
    found: list[list[datetime]] = []
    for at in moments:
        if found and at.astimezone(UTC) - found[-1][-1].astimezone(UTC) == HALF_HOUR:
            found[-1].append(at)
        else:
            found.append([at])
    return " and ".join(f"{r[0]:%H:%M}" if len(r) == 1 else f"{r[0]:%H:%M} to {r[-1]:%H:%M}" for r in found)


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


def _air_words(rows: Sequence[LeavingTime]) -> list[str]:
    """Whose air the half hours have, run by run, with the greatest age of each source; hours without any are left out."""
    def sources(pair: tuple[str, LeavingTime]) -> tuple[tuple[str, str], ...]:
        return tuple((x.where, x.source) for x in pair[1].air)

    found = []
    for said, group in groupby(zip(labels(rows), rows, strict=True), key=sources):
        run = list(group)
        if all(source == NOT_KNOWN for _, source in said):
            continue
        oldest = (max(x[k].age_h for x in (r.air for _, r in run)) for k in range(len(said)))
        parts = [AirFrom(where, source, Figure(age, "h")).text() for (where, source), age in zip(said, oldest, strict=True)]
        span = run[0][0] if len(run) == 1 else f"{run[0][0]} to {run[-1][0]}"
        found.append(f"Air leaving {span}: {'; '.join(parts)}.")
    return found


def _words(s: Situation, rows: Sequence[LeavingTime], zone: ZoneInfo) -> tuple[str, ...]:
    """What limits the answer: hours whose air is not known, a day on which the clocks change."""
    blind, found, typed = sum(not r.air_known for r in rows), [], s.request.planned_departure or s.departure
    if blind:
        found.append(f"The air is not known at {blind} of {len(rows)} half hours: what was typed holds around the planned "
                     f"departure, {typed if typed.tzinfo is None else typed.astimezone(zone):%H:%M}, only. Light is shown there "
                     "too; its landings are those of calm air.")
    found += _air_words(rows)
    if len(rows) != 48:
        found.append(f"The clocks change on this day: it has {len(rows)} half hours.")
    return tuple(found)
