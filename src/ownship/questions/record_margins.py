"""Defects, open items and recency of the record as margins of one flight: never passed in silence, a person decides."""

from __future__ import annotations

import re
from dataclasses import dataclass, fields, replace

from ownship.errors import BadInput
from ownship.flight import margins as rule
from ownship.flight.changes import is_person
from ownship.flight.situation import Situation
from ownship.ownership.defects import OpenDefect, open_defects
from ownship.ownership.entries import Defect, Entry, Pilot, of_kind
from ownship.ownership.maintenance import NOT_KNOWN as ITEM_NOT_KNOWN
from ownship.ownership.maintenance import OVERDUE, OpenItem, kept_any, open_items
from ownship.ownership.progress import DEFAULT_CLASS, same_name
from ownship.ownership.recency import NOT_KNOWN as RECENCY_NOT_KNOWN
from ownship.ownership.recency import Lapse, lapsed
from ownship.questions.recent import landing_day, night_at, positions_of
from ownship.units import from_si
from ownship.words.verdicts import ADVICE, LIMITATION, OUTSIDE, TIGHT
from ownship.world.sun import SUNSET_ZENITH_DEG, is_night
from ownship.world.zones import zone_at


@dataclass(frozen=True)
class RecordSituation(Situation):
    """A situation by the record: the aeroplane it is kept under, and the pilot the request names ("": none)."""

    registration: str = ""
    pilot: str = ""


def by_record(s: Situation, registration: str, pilot: str) -> RecordSituation:
    """A situation with whose record it is."""
    return RecordSituation(**{f.name: getattr(s, f.name) for f in fields(s)}, registration=registration, pilot=pilot)


Found = tuple[list[rule.Margin], list[str]]
RECORD = "the owner's record"
DECIDE = "a licensed person decides"


def margins_of(s: RecordSituation, entries: tuple[Entry, ...]) -> tuple[list[rule.Margin], tuple[str, ...]]:
    """(margins, what is not checked) of a flight by the entries that stand; no two margins share an id."""
    uses = uses_of(s)
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
    first, last = s.points[0], s.points[-1]
    return (is_night(first.lat_deg, first.lon_deg, s.departure, SUNSET_ZENITH_DEG) or s.arrival is None
            or is_night(last.lat_deg, last.lon_deg, s.arrival, SUNSET_ZENITH_DEG))


def _id(kind: str, name: str) -> str:
    return f"record.{kind}.{re.sub(r'[^a-z0-9]+', '-', name.lower()).strip('-') or 'unnamed'}"


# ---- defects


def _defects(s: RecordSituation, entries: tuple[Entry, ...], uses: tuple[str, ...]) -> Found:
    if not of_kind(entries, Defect, s.registration):
        return [], [f"Open defects: none was ever entered for {s.registration}, which says nothing of the aeroplane."]
    return [_defect(d) for d in open_defects(entries, s.registration, uses, s.day)], []


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


def _items(s: RecordSituation, entries: tuple[Entry, ...], uses: tuple[str, ...]) -> Found:
    if not kept_any(entries, s.registration):
        return [], [f"Maintenance and documents: no item of {s.registration} is kept in the record."]
    hours = 0.0 if s.arrival is None else float(from_si((s.arrival - s.departure).total_seconds(), "h"))
    zone = zone_at(s.points[0].lat_deg, s.points[0].lon_deg)
    return [_item(x) for x in open_items(entries, s.registration, s.day, uses, zone, hours, 1)], []


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


def _recency(s: RecordSituation, entries: tuple[Entry, ...], uses: tuple[str, ...]) -> Found:
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
        found = lapsed(entries, name, place, uses, s.day, DEFAULT_CLASS, landing_day(position), night_at(place, position))
    except BadInput as error:
        return [], [f"Recency of {name}: {error}"]
    return [_lapse(x, name) for x in found], []


def _lapse(x: Lapse, pilot: str) -> rule.Margin:
    about = rule.About(_id("recency", x.privilege), f"recency, {x.privilege}", LIMITATION, x.cite or "recency rules",
                       words=f"{pilot}:")
    if x.state == RECENCY_NOT_KNOWN:
        return rule.missing(about, f"{x.words}.")
    return rule.stated(about, OUTSIDE, f"{x.words}.")
