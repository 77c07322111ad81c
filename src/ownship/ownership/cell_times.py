"""Cells of the log that tell times, dates and numbers: read only where they mean one thing."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Any
from zoneinfo import ZoneInfo

from ownship.errors import BadInput
from ownship.units import parse, to_si

PLACE = "place"  # a zone: that of the aerodrome where the time was read
DATE_ORDERS = ("dmy", "mdy")
HALF_DAY_S = parse("12 h", "time")
YEARS = (1903, 2200)
MOMENTS = ("off_blocks", "take_off", "landing", "on_blocks")
_MONTHS = dict(zip(("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"), range(1, 13), strict=True))
_ISO = re.compile(r"(\d{4})[-/](\d{1,2})[-/](\d{1,2})")
_NUMBERS = re.compile(r"(\d{1,2})[./-](\d{1,2})[./-](\d{4})")
_TIME = re.compile(r"([01]?\d|2[0-3]):?([0-5]\d)(?::([0-5]\d))?")
_DURATION = re.compile(r"(\d{1,3}):([0-5]\d)")


@dataclass(frozen=True)
class Places:
    """What only the world knows, handed in: the zone of an ident, whether a landing there then was at night (recency), and
    the seconds of night (log) between two places; each None where the place is not known."""

    zone: Callable[[str], tzinfo | None]
    night_landing: Callable[[str, datetime], bool | None]
    night_s: Callable[[str, str, datetime, datetime], float | None]


@dataclass(frozen=True)
class Meaning:
    """How ambiguous cells are meant: the zone of times without one (an IANA name, "place", "" none), the order of dates."""

    zone: str = ""
    dates: str = ""


NOWHERE = Places(lambda _: None, lambda _, __: None, lambda *_: None)


# ---- numbers


def number(text: str, name: str) -> float:
    """A number with a point, or a comma that can mean only one thing ("1234,5"; "1,234.5"); "1,234" is refused."""
    bare = text.strip()
    if re.fullmatch(r"\d{1,3}(,\d{3})+\.\d+", bare):
        bare = bare.replace(",", "")
    elif re.fullmatch(r"\d+,(\d{1,2}|\d{4,})", bare):
        bare = bare.replace(",", ".")
    if not re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?", bare):
        raise BadInput(f"{name} {text!r} is not a number that means one thing only; write 1234.5.")
    return float(bare)


def whole(text: str, name: str) -> int:
    """A whole number."""
    if not re.fullmatch(r"[+-]?\d{1,9}(\.0+)?", text.strip()):
        raise BadInput(f"{name} {text!r} is not a whole number; write 2.")
    return int(float(text))


def duration_s(text: str, name: str) -> float:
    """Seconds of "1:20", of "80 min" or of hours with a decimal ("1.3")."""
    if match := _DURATION.fullmatch(text.strip()):
        return float(to_si(int(match[1]), "h")) + float(to_si(int(match[2]), "min"))
    if re.search("[A-Za-z]", text):
        return parse(text, "time", name)
    return float(to_si(number(text, name), "h"))


# ---- moments


def moments(given: Mapping[str, str], meaning: Meaning, places: Places) -> dict[str, Any]:
    """The four moments, each after the one before where only a time is given."""
    if "off_blocks" not in given or not ("on_blocks" in given or "flight_time" in given):
        raise BadInput("off_blocks, and on_blocks or flight_time, are needed; a log without times of the blocks cannot be taken.")
    day = read_date(given["date"], meaning.dates) if "date" in given else None
    found: dict[str, Any] = {}
    earliest: datetime | None = None
    for name in MOMENTS:
        if name in given:
            zone = given["origin" if name in ("off_blocks", "take_off") else "destination"].strip().upper()
            found[name] = earliest = _moment(name, given[name], day, earliest, zone, meaning, places)
    if "on_blocks" not in found:
        found["on_blocks"] = found["off_blocks"] + timedelta(seconds=duration_s(given["flight_time"], "flight_time"))
    elif "flight_time" in given:
        _agree(found, duration_s(given["flight_time"], "flight_time"))
    return found


def _agree(found: Mapping[str, Any], flight_s: float) -> None:
    """Refuse a flight time that is not what the blocks say, to six minutes (a tenth of an hour)."""
    blocks_s = (found["on_blocks"] - found["off_blocks"]).total_seconds()
    if abs(blocks_s - flight_s) > parse("6 min", "time") + 1:
        raise BadInput(f"the blocks are {timedelta(seconds=blocks_s)} apart and the flight time is {timedelta(seconds=flight_s)}; "
                       "correct one of them.")


def _moment(name: str, text: str, day: date | None, earliest: datetime | None, ident: str, meaning: Meaning,
            places: Places) -> datetime:
    """A moment in UTC from its text, or from a time and the day, the first after the moment before."""
    bare = text.strip()
    if match := _TIME.fullmatch(bare.removesuffix("Z")):
        clock = time(int(match[1]), int(match[2]), int(match[3] or 0))
        zone = UTC if bare.endswith("Z") else _zone(name, bare, ident, meaning, places)
        return _on_day(name, clock, day, earliest, zone)
    moment = _dated(name, bare, meaning)
    return moment.astimezone(UTC) if moment.tzinfo else _local(name, moment, _zone(name, bare, ident, meaning, places))


def _on_day(name: str, clock: time, day: date | None, earliest: datetime | None, zone: tzinfo) -> datetime:
    if earliest is None:
        if day is None:
            raise BadInput(f"{name} is a time without its day; map the date, or write 2026-07-11T15:00.")
        return _local(name, datetime.combine(day, clock), zone)
    found = _local(name, datetime.combine(earliest.astimezone(zone).date(), clock), zone)
    if found < earliest:
        next_day = earliest.astimezone(zone).date() + timedelta(days=1)
        found = _local(name, datetime.combine(next_day, clock), zone)
        if (found - earliest).total_seconds() > HALF_DAY_S:
            raise BadInput(f"{name.replace('_', ' ')} {clock:%H:%M} is before the moment before it, "
                           f"{earliest.astimezone(zone):%H:%M}; correct one of them, or write date and time.")
    return found


def _local(name: str, moment: datetime, zone: tzinfo) -> datetime:
    """A local time in UTC; refused where the clocks skip it or show it twice."""
    first, second = (moment.replace(tzinfo=zone, fold=f) for f in (0, 1))
    if first.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != moment:
        raise BadInput(f"{name}: {moment:%Y-%m-%d %H:%M} does not exist there, the clocks go forward; write it with its offset, "
                       "as 03:30-06:00 behind the date.")
    if first.utcoffset() != second.utcoffset():
        raise BadInput(f"{name}: {moment:%Y-%m-%d %H:%M} comes twice there, the clocks go back; write date and time with the "
                       "offset, as 2026-11-01T01:30-06:00.")
    return first.astimezone(UTC)


def _zone(name: str, text: str, ident: str, meaning: Meaning, places: Places) -> tzinfo:
    if meaning.zone == PLACE:
        found = places.zone(ident)
        if found is None:
            raise BadInput(f"{name} {text!r}: the zone of {ident} is not known, as it is in no data; write the time with its zone.")
        return found
    if not meaning.zone:
        raise BadInput(f"{name} {text!r} has no zone; say --zone UTC, --zone place (the aerodrome's) or a zone as America/Boise.")
    return zone_named(meaning.zone)


def zone_named(name: str) -> tzinfo:
    """The zone of a name; BadInput for one that does not exist."""
    if name.upper() in ("UTC", "Z", "GMT"):
        return UTC
    try:
        return ZoneInfo(name)
    except (ValueError, OSError, LookupError):
        raise BadInput(f"--zone: {name!r} is no zone; say UTC, place, or one as America/Boise.") from None


def _dated(name: str, text: str, meaning: Meaning) -> datetime:
    """Date and time of one text; naive where it says no zone."""
    try:
        found = datetime.fromisoformat(text) if len(text) > 10 else _missing_time(name, text)
    except ValueError:
        pass
    else:
        _refuse_year(found.year, text)
        return found
    head, _, tail = text.rpartition(" ")
    if head and (match := _TIME.fullmatch(tail)):
        return datetime.combine(read_date(head, meaning.dates), time(int(match[1]), int(match[2]), int(match[3] or 0)))
    raise BadInput(f"{name} {text!r} is no moment; write 2026-07-11T15:00-06:00, or a time where the date has its own column.")


def _refuse_year(year: int, text: str) -> None:
    if not YEARS[0] <= year <= YEARS[1]:
        raise BadInput(f"{text!r} is of the year {year}, and {YEARS[0]} to {YEARS[1]} are allowed; correct it.")


def _missing_time(name: str, text: str) -> datetime:
    raise BadInput(f"{name} {text!r} has no time of the day; write 2026-07-11T15:00-06:00.")


def read_date(text: str, order: str = "") -> date:
    """A date: 2026-07-11, 11 Jul 2026, Jul 11, 2026; 11/07/2026 only where the order is known (dmy, mdy)."""
    found = _any_date(text, order)
    _refuse_year(found.year, text)
    return found


def _any_date(text: str, order: str) -> date:
    bare = text.strip()
    try:
        if match := _ISO.fullmatch(bare):
            return date(int(match[1]), int(match[2]), int(match[3]))
        if match := _NUMBERS.fullmatch(bare):
            return _ordered(int(match[1]), int(match[2]), int(match[3]), order, text)
        words = re.split(r"[\s,.-]+", bare)
        if len(words) == 3:
            first = 1 if words[0][:3].lower() in _MONTHS else 0
            return date(int(words[2]), _MONTHS[words[1 - first][:3].lower()], int(words[first]))
    except (ValueError, KeyError):
        pass
    raise BadInput(f"date {text!r} is no date that means one day only; write 2026-07-11.")


def _ordered(a: int, b: int, year: int, order: str, text: str) -> date:
    if order == "":
        if a > 12 or a == b:
            order = "dmy"
        elif b > 12:
            order = "mdy"
        else:
            raise BadInput(f"date {text!r} can be two days; say --dates dmy (day first) or --dates mdy (month first).")
    return date(year, b, a) if order == "dmy" else date(year, a, b)


def date_order(texts: list[str]) -> str:
    """The one order that a column of dates allows: "dmy", "mdy" or "" where both do; BadInput where none does."""
    pairs = [(int(m[1]), int(m[2])) for t in texts if (m := _NUMBERS.match(t.strip()))]
    day_first, month_first = any(a > 12 for a, _ in pairs), any(b > 12 for _, b in pairs)
    if day_first and month_first:
        raise BadInput("The dates have the day first in some rows and the month first in others; write them as 2026-07-11.")
    return "dmy" if day_first else "mdy" if month_first else ""
