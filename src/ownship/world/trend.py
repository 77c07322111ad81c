"""The trend behind a METAR, as a small TAF of two hours; and all that a TAF says may be around a moment.

TEMPO and BECMG with FM, TL and AT (ICAO Annex 3, appendix 3: a trend holds two hours from the observation; from memory).
NOSIG changes nothing.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from ownship.errors import WeatherText
from ownship.world.taf import _GROUPS, MOST_BECMG_AT_ONCE, Period, Taf, _period, possible_periods
from ownship.world.weather import SurfaceWeather, observed_moment

LASTS = timedelta(hours=2)
_BEGINS = re.compile(r"\s(?=(?:BECMG|TEMPO|INTER|PROB\d{2})\b)|(?<!BECMG)(?<!TEMPO)\s(?=FM\d{4,6}\b)", re.ASCII)
_TIME = re.compile(r"(FM|TL|AT)(\d{2})(\d{2})", re.ASCII)


@dataclass(frozen=True)
class Trend:
    """What a METAR's trend says may be (None: it names no change that reads), and the words of it that do not read."""

    taf: Taf | None
    unread: tuple[str, ...]


def trend_of(text: str, body: SurfaceWeather, near: datetime) -> Trend:
    """The trend of a METAR's text over its body, whose day is resolved near an aware moment."""
    if body.observed is None:
        return Trend(None, ())
    made = observed_moment(body.observed, near)
    before, _, remarks = re.sub(r"=|\bNOSIG\b", " ", " ".join(text.upper().split())).partition(" RMK ")
    groups = [" ".join(g.split()) for g in _BEGINS.split(before)[1:]]
    unread = [" ".join(g.split()) for g in re.findall(r"\b(?:BECMG|TEMPO)\b.*", remarks, re.DOTALL)]
    periods: list[Period] = []
    for i, group in enumerate(groups):
        period, lost = _change(group, made) if i < MOST_BECMG_AT_ONCE else (None, group)
        periods += [period] if period else []
        unread += [lost] if lost else []
    if not periods:
        return Trend(None, tuple(unread))
    main = Period("main", made, made + LASTS, None, body.wind, body.visibility_m, "", body.ceiling_m, body.falling, False, False,
                  None, None, ("wind", "visibility", "cloud", "weather"), body.source)
    return Trend(Taf(body.station, made, made, made + LASTS, (main, *periods), (), False, False, False, "", text), tuple(unread))


def _change(group: str, made: datetime) -> tuple[Period | None, str]:
    """One change group as a period, and what of it does not read; what reads of a group counts, whatever the rest is."""
    kind, *words = re.sub(r"(?<!\S)(\d{1,2})\s(?=\d{1,2}/\d{1,2}SM\b)", r"\1_", group).split()
    times = {m[1]: (int(m[2]), int(m[3])) for w in words if (m := _TIME.fullmatch(w))}
    rest = [w for w in words if not _TIME.fullmatch(w)]
    known = [w for w in rest if any(p.fullmatch(w) for p in _GROUPS.values())]
    lost = " ".join([kind, *(w.replace("_", " ") for w in rest if w not in known)]) if len(known) < len(rest) else ""
    try:
        start, end = _span(times, made)
        if kind not in ("TEMPO", "BECMG") or end < start:
            return None, group
        return _period(kind, (start, end), None, known, group, "metar"), lost
    except (WeatherText, ValueError):
        return None, group


def _span(times: dict[str, tuple[int, int]], made: datetime) -> tuple[datetime, datetime]:
    """From when to when; ValueError where a time is none."""
    start = _near(times.get("FM") or times.get("AT"), made) or made
    return start, _near(times.get("TL") or times.get("AT"), made) or made + LASTS


def _near(clock: tuple[int, int] | None, made: datetime) -> datetime | None:
    """The moment of an hour and minute nearest to the report; 24:00 is the end of a day."""
    if clock is None:
        return None
    hour, minute = (0, 0) if clock == (24, 0) else clock
    same = made.replace(hour=hour, minute=minute)
    return min((same + timedelta(days=n) for n in (-1, 0, 1)), key=lambda m: abs(m - made))


def possible_around(taf: Taf, at: datetime, window_s: float) -> tuple[Period, ...]:
    """All that may be at a moment and, where it is estimated, around it; empty where the TAF does not cover the moment."""
    around = timedelta(seconds=window_s)
    turns = [t for p in taf.periods for t in (p.start, p.end) if at - around < t < at + around]
    found = [p for t in (at, at - around, at + around, *turns) for p in possible_periods(taf, t)]
    return tuple(dict.fromkeys(found)) if possible_periods(taf, at) else ()


def least_of(values: Sequence[float | None]) -> float | None:
    """The least of all; None where one is not known, or there is none."""
    known = [v for v in values if v is not None]
    return min(known) if known and len(known) == len(values) else None


def visibility_m(period: Period) -> float | None:
    """The visibility of a period; "less than" (M) is below its figure."""
    if period.visibility_m is None or period.visibility_bound != "M":
        return period.visibility_m
    return math.nextafter(period.visibility_m, 0.0)
