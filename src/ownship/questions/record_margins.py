"""Defects, open items and recency of the record as margins of one flight: never passed in silence, a person decides."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields, replace
from datetime import date, datetime
from typing import TypeVar

from ownship.errors import BadInput
from ownship.flight import margins as rule
from ownship.flight.changes import is_person
from ownship.flight.route import Point
from ownship.flight.situation import Situation
from ownship.ownership.days import on_days
from ownship.ownership.defects import OpenDefect, open_defects
from ownship.ownership.entries import USES, Defect, Entry, Pilot, of_kind
from ownship.ownership.maintenance import NOT_KNOWN as ITEM_NOT_KNOWN
from ownship.ownership.maintenance import OVERDUE, OpenItem, kept_any, open_items
from ownship.ownership.progress import DEFAULT_CLASS, same_name
from ownship.ownership.recency import NOT_KNOWN as RECENCY_NOT_KNOWN
from ownship.ownership.recency import Lapse, lapsed
from ownship.questions.recent import landing_day, night_at, positions_of
from ownship.units import from_si
from ownship.words.verdicts import ADVICE, LIMITATION, ORDER, OUTSIDE, TIGHT
from ownship.world.sun import SUNSET_ZENITH_DEG, is_night
from ownship.world.zones import zone_at


@dataclass(frozen=True)
class RecordSituation(Situation):
    """A situation by the record: the aeroplane it is kept under, the pilot the request names ("": none), and what its fills
    change or do not say ("": nothing)."""

    registration: str = ""
    pilot: str = ""
    fills_words: str = ""


def by_record(s: Situation, registration: str, pilot: str) -> RecordSituation:
    """A situation with whose record it is."""
    return RecordSituation(**{f.name: getattr(s, f.name) for f in fields(s)}, registration=registration, pilot=pilot)


T = TypeVar("T")
Found = tuple[list[rule.Margin], list[str]]
RECORD = "the owner's record"
DECIDE = "a licensed person decides"


def margins_of(s: RecordSituation, entries: tuple[Entry, ...]) -> tuple[list[rule.Margin], tuple[str, ...]]:
    """(margins, what is not checked) of a flight by the entries that stand, on the day it leaves and on that of leaving again,
    the worse of both; no two margins share an id."""
    uses = uses_by_day(s)
    found, unchecked = _defects(s, entries, uses)
    for more, also in (_items(s, entries, uses), _recency(s, entries, uses)):
        found, unchecked = found + more, unchecked + also
    ids = [m.id for m in found]
    apart = [replace(m, id=f"{m.id}-{n}") if (n := ids[:i].count(m.id) + 1) > 1 else m for i, m in enumerate(found)]
    return apart, tuple(unchecked)


def uses_of(s: Situation) -> tuple[str, ...]:
    """What kind of flight it is: VFR always, IFR, passengers (more than one person aboard), night (sun below the
    horizon at departure or estimated landing; a landing time that is not known counts as night)."""
    stations = {x.id: x for x in s.record.stations}
    people = sum(1 for load in s.request.loads if load.weight_kg > 0 and is_person(load, stations[load.station]))
    found = ["VFR", *(["night"] if _by_night(s) else []), *(["IFR"] if s.request.rules == "IFR" else []),
             *(["passengers"] if people > 1 else [])]
    return tuple(found)


def _by_night(s: Situation) -> bool:
    return s.arrival is None or _dark(s.points[0], s.departure) or _dark(s.points[-1], s.arrival)


def _dark(place: Point, moment: datetime) -> bool:
    return is_night(place.lat_deg, place.lon_deg, moment, SUNSET_ZENITH_DEG)


def uses_by_day(s: Situation) -> dict[date, tuple[str, ...]]:
    """What kind of flight it is on the day it leaves and, where the request says when, on that of leaving again: the same, by
    night where the sun is down then, or where it has been flown back in the time of the way out (not known: by night)."""
    found = {s.day: uses_of(s)}
    again = s.leave_again
    if again is None:
        return found
    dark = s.arrival is None or _dark(s.points[-1], again) or _dark(s.points[0], again + (s.arrival - s.departure))
    later = {u for u in found[s.day] if u != "night"} | ({"night"} if dark else set()) | set(found.get(again.date(), ()))
    return found | {again.date(): tuple(u for u in USES if u in later)}


def _worst(s: Situation, uses: dict[date, tuple[str, ...]], ask: Callable[[date], Iterable[T]], name: Callable[[T], str],
           badness: Callable[[T], float], margin: Callable[[T], rule.Margin]) -> list[rule.Margin]:
    """The margin of each thing that is found on any of the days; one that is worse on leaving again says so."""
    return [m if day == s.day else replace(m, words=f"{m.words} So on {day}, when you leave again.")
            for day, x in on_days(uses, ask, name, badness) for m in (margin(x),)]


def _id(kind: str, name: str) -> str:
    return f"record.{kind}.{re.sub(r'[^a-z0-9]+', '-', name.lower()).strip('-') or 'unnamed'}"


# ---- defects


def _defects(s: RecordSituation, entries: tuple[Entry, ...], uses: dict[date, tuple[str, ...]]) -> Found:
    if not of_kind(entries, Defect, s.registration):
        return [], [f"Open defects: none was ever entered for {s.registration}, which says nothing of the aeroplane."]
    return _worst(s, uses, lambda day: open_defects(entries, s.registration, uses[day], day), lambda d: d.name,
                  lambda d: d.over + (not d.decided), _defect), []


def _defect(d: OpenDefect) -> rule.Margin:
    """Deferred: advice, tight; its deferral over: outside; found and decided by nobody: not known."""
    about = rule.About(_id("defect", d.name), f"defect, {d.name}", ADVICE if d.decided else LIMITATION,
                       f"{RECORD}, found {d.found}", words=f"{d.words.rstrip('.')}.")
    if d.decided:
        until = f" until {d.until}" if d.until else ""
        return rule.stated(about, TIGHT, f"Deferred{until}{f' by {d.by}' if d.by else ''}.")
    if d.over:
        return rule.stated(about, OUTSIDE, f"Its deferral ended on {d.until}; {DECIDE}.")
    return rule.missing(about, f"Found and neither deferred nor rectified; {DECIDE}.")


# ---- open items


def _items(s: RecordSituation, entries: tuple[Entry, ...], uses: dict[date, tuple[str, ...]]) -> Found:
    if not kept_any(entries, s.registration):
        return [], [f"Maintenance and documents: no item of {s.registration} is kept in the record."]
    hours = 0.0 if s.arrival is None else float(from_si((s.arrival - s.departure).total_seconds(), "h"))
    zone = zone_at(s.points[0].lat_deg, s.points[0].lon_deg)
    legs = {day: i for i, day in enumerate(sorted(uses), 1)}  # the way back is flown after the way out, in about its time
    return _worst(s, uses, lambda day: open_items(entries, s.registration, day, uses[day], zone, legs[day] * hours, legs[day]),
                  lambda x: repr((x.name, x.title, x.section)), lambda x: ORDER.index(_item(x).verdict), _item), []


def _item(x: OpenItem) -> rule.Margin:
    """By severity: what blocks is a limitation (overdue outside, not known not known, in tolerance tight), all else advice."""
    source = "; ".join(w for w in (RECORD, x.section, x.status if x.status != "owner" else "") if w)
    blocks = x.severity == "block"
    about = rule.About(_id("maintenance", x.name), x.title or x.name, LIMITATION if blocks else ADVICE, source)
    words = f"{'; '.join(x.words)}; {DECIDE}." if x.words else f"{x.state}; {DECIDE}."
    if blocks and x.state == ITEM_NOT_KNOWN:
        return rule.missing(about, words)
    return rule.stated(about, OUTSIDE if blocks and x.state == OVERDUE else TIGHT, f"Open item, {x.state}: {words}")


# ---- recency


def _recency(s: RecordSituation, entries: tuple[Entry, ...], uses: dict[date, tuple[str, ...]]) -> Found:
    """Of the pilot asked for, else of the only one kept, by the place of the licence."""
    pilots = {p.name: p for _, p in of_kind(entries, Pilot)}
    if not pilots:
        return [], ["Recency: no pilot is kept in the record."]
    asked = s.pilot or (next(iter(pilots)) if len(pilots) == 1 else "")
    name = next((n for n in pilots if same_name(n, asked)), asked)
    if name not in pilots:
        which = f"{s.pilot!r} is not among them" if s.pilot else "the request names none"
        return [], [f"Recency: the record keeps the pilots {', '.join(pilots)} and {which}; write pilot = \"...\" at the top of "
                    "the request."]
    place, position = pilots[name].place, positions_of()
    try:
        return _worst(s, uses, lambda day: lapsed(entries, name, place, uses[day], day, DEFAULT_CLASS, landing_day(position),
                                                  night_at(place, position)),
                      lambda x: x.privilege, lambda x: x.state != RECENCY_NOT_KNOWN, lambda x: _lapse(x, name)), []
    except BadInput as error:
        return [], [f"Recency of {name}: {error}"]


def _lapse(x: Lapse, pilot: str) -> rule.Margin:
    about = rule.About(_id("recency", x.privilege), f"recency, {x.privilege}", LIMITATION, x.cite or "recency rules",
                       words=f"{pilot}:")
    if x.state == RECENCY_NOT_KNOWN:
        return rule.missing(about, f"{x.words}.")
    return rule.stated(about, OUTSIDE, f"{x.words}.")
