"""Buying and selling: one sheet from a record, and the record without other people's data.

Every figure that is not kept is not known, and says so; nothing is a finding of airworthiness.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from datetime import date, timedelta
from typing import Any

from ownship.aeroplane.description import AirframeRecord
from ownship.ownership.costs import DAYS_A_YEAR, Accrued, accrued, sums
from ownship.ownership.entries import (
    AerodromeRecord,
    Defect,
    Entry,
    Flight,
    HandOver,
    InstrumentReplaced,
    Money,
    Pilot,
    PilotEvent,
    Setting,
    of_kind,
    standing,
)
from ownship.ownership.ledger import ledger
from ownship.ownership.maintenance import FINISHED, NOT_KNOWN, OVERDUE, TOLERANCE, Due, due_list
from ownship.rules.due import month_later, next_due
from ownship.units import from_si

AHEAD_MONTHS = 24
READING_H = 0.1  # a meter is read to a tenth
MOST_TIMES = 1000
TACHOMETER = "tachometer"
LEFT_OUT = (Pilot, PilotEvent, Setting, AerodromeRecord)
FILES = ("toml", "rows_csv", "own_text")  # fields that hold a file, whose keys must stay as they are
SIGNED = "Who signed for work stays named, but for pilots and partners: it belongs to the aeroplane's records."
NO_PACE = "when is not known without hours a year: counted once"


# ---- gaps in the log


@dataclass(frozen=True)
class Gap:
    """A span between two flights that the log does not explain: tachometer hours missing (below 0: it ran back)."""

    after: date
    before: date
    from_h: float
    to_h: float
    missing_h: float


@dataclass(frozen=True)
class LogSpans:
    """Gaps of the log, flights with both tachometer readings, and those without; with no reading nothing is known."""

    gaps: tuple[Gap, ...]
    read: int
    unread: int

    @property
    def known(self) -> bool:
        """Whether any two flights can be compared."""
        return self.read > 1


def log_spans(entries: Iterable[Entry], aeroplane: str) -> LogSpans:
    """Where the tachometer moved between two flights: next reading from - last reading to, a replaced instrument counted.

    Flights without readings in between explain as much as their flight time. More than a tenth of an hour is a gap.
    """
    kept = standing(entries)
    flights = sorted((f for _, f in of_kind(kept, Flight, aeroplane)), key=lambda f: f.off_blocks)
    replaced = [(e, i) for e, i in of_kind(kept, InstrumentReplaced, aeroplane) if i.which == TACHOMETER]
    gaps, last, between, read = [], None, 0.0, 0
    for f in flights:
        if f.tachometer_from_h is None or f.tachometer_to_h is None:
            between += float(from_si(f.flight_s, "h"))
            continue
        read += 1
        if last is not None:
            gap = _gap(last, f, [i for e, i in replaced if last.off_blocks < e.moment <= f.off_blocks], between)
            gaps += [] if gap is None else [gap]
        last, between = f, 0.0
    return LogSpans(tuple(gaps), read, len(flights) - read)


def _gap(last: Flight, now: Flight, replaced: Sequence[InstrumentReplaced], between_h: float) -> Gap | None:
    assert last.tachometer_to_h is not None and now.tachometer_from_h is not None
    missing, reading = 0.0, last.tachometer_to_h
    for i in replaced:
        missing, reading = missing + i.old_h - reading, i.new_h
    missing += now.tachometer_from_h - reading
    if missing > 0:
        missing = max(missing - between_h, 0.0)
    if abs(missing) <= READING_H + 1e-9:
        return None
    return Gap(last.on_blocks.date(), now.off_blocks.date(), last.tachometer_to_h, now.tachometer_from_h, missing)


# ---- what is coming


@dataclass(frozen=True)
class Liability:
    """Something that falls due within the months ahead: first when, how often, each for how much (None: no price noted).

    first None: not known when, and counted once. words: how that is known, or what is not.
    """

    what: str
    first: date | None
    times: int
    each: Money | None
    words: str
    directive: str = ""

    @property
    def total(self) -> Money | None:
        """Price of all times."""
        return None if self.each is None else Money(self.each.amount * self.times, self.each.currency)


def liabilities(due: Iterable[Due], reserves: Iterable[Accrued], on: date, yearly_h: float | None) -> tuple[Liability, ...]:
    """What falls due in the next 24 months, first things first: maintenance items, and lives that end (their whole cost).

    Hours fall due at the hours a year; without them what only hours bring within these months is counted once, and that is
    said. What is overdue, or never noted as done, counts as due now. A life named as an item is, counts once, as the item.
    """
    listed = list(due)
    names = {n.casefold() for d in listed for n in (d.name, d.title)}
    found = [_coming(d, on, yearly_h) for d in listed if d.state != FINISHED]
    found += [_ending(a, on, yearly_h) for a in reserves if a.what.casefold() not in names]
    return tuple(sorted((x for x in found if x is not None), key=lambda x: (x.first or on, x.what)))


def _coming(d: Due, on: date, yearly_h: float | None) -> Liability | None:
    end, item = month_later(on, AHEAD_MONTHS), d.item
    each, paid = _price(d)
    words = "; ".join(w for w in (_not_forecast(d, yearly_h), paid) if w)
    if d.state == NOT_KNOWN and d.last is None and d.day is None and d.hours_h is None:
        return Liability(d.title, None, 1, each, "never noted as done: counted once", item.directive)
    day = on if d.state in (OVERDUE, TOLERANCE) else _first(d.day, d.left_h, on, yearly_h)
    first, times = day, 0
    while day is not None and day <= end and times < MOST_TIMES:
        times += 1
        day = _next(d, max(day, on), yearly_h)
    if times == 0 and d.state == NOT_KNOWN:
        return Liability(d.title, None, 1, each, "; ".join((*d.words, *([paid] if paid else []))), item.directive)
    if times == 0 and d.left_h is not None and not yearly_h:
        return Liability(d.title, None, 1, each, "; ".join(w for w in (NO_PACE, paid) if w), item.directive)
    if times == 0 and d.landings is not None:
        return Liability(d.title, None, 1, each, f"{words}: counted once", item.directive)
    return Liability(d.title, first, times, each, words, item.directive) if times else None


def _price(d: Due) -> tuple[Money | None, str]:
    """What it costs each time: as expected, else as last paid, which is said."""
    if d.item.expected_cost is not None or d.last is None or d.last.cost is None:
        return d.item.expected_cost, ""
    return d.last.cost, f"as paid on {d.last.day}"


def _first(day: date | None, left_h: float | None, on: date, yearly_h: float | None) -> date | None:
    by_hours = _after(on, left_h, yearly_h)
    return min((x for x in (day, by_hours) if x is not None), default=None)


def _after(on: date, hours_h: float | None, yearly_h: float | None) -> date | None:
    """The day on which so many hours will be flown; None where they or the pace are not known, or it is far off."""
    if hours_h is None or not yearly_h:
        return None
    days = hours_h / yearly_h * DAYS_A_YEAR
    return on + timedelta(days=max(days, 0.0)) if days < 100 * DAYS_A_YEAR else None


def _next(d: Due, done: date, yearly_h: float | None) -> date | None:
    """When it falls due again, done on a day; None: once only, or nothing to count by."""
    every, hours = d.item.interval.every, d.item.interval.hours_h
    again = _first(next_due(done, every) if every else None, hours, done, yearly_h)
    return None if again is None else max(again, done + timedelta(days=1))


def _not_forecast(d: Due, yearly_h: float | None) -> str:
    lacking = ["by hours not known: no hours are kept"] if d.item.interval.hours_h is not None and not yearly_h else []
    lacking += ["landings are not forecast"] if d.item.interval.landings is not None else []
    return "; ".join([d.state, *lacking])


def _ending(a: Accrued, on: date, yearly_h: float | None) -> Liability | None:
    """The end of a life: first of its hours and years; since when not known: counted once."""
    price = Money(a.cost, a.currency)
    if a.share_1 is None:
        return Liability(a.what, None, 1, price, "since when it has run is not known: counted once")
    day = _first(None if a.age_years is None or a.life_years is None else
                 on + timedelta(days=(a.life_years - a.age_years) * DAYS_A_YEAR),
                 None if a.run_h is None or a.life_h is None else a.life_h - a.run_h, on, yearly_h)
    if day is not None and day <= month_later(on, AHEAD_MONTHS):
        return Liability(a.what, max(day, on), 1, price, a.words or "end of its life, the whole cost")
    if "not known" in a.words:
        return Liability(a.what, None, 1, price, f"{a.words}: counted once")
    return Liability(a.what, None, 1, price, NO_PACE) if a.life_h is not None and not yearly_h else None


# ---- the sheet


@dataclass(frozen=True)
class Age:
    """How old something is: since when, in years, and hours run where they are kept; None: not known."""

    what: str
    since: date | None
    years: float | None
    run_h: float | None
    words: str


@dataclass(frozen=True)
class Sheet:
    """One aeroplane on a day, for who buys or sells it; None is not known, and `not_known` says why.

    useful_load_kg: maximum take-off weight less basic empty weight; full_tanks_kg: what of it is left with full tanks.
    owed: accrued liability; coming: of the next 24 months, with the sum of each currency and how many have no price.
    """

    aeroplane: str
    on: date
    useful_load_kg: float | None
    full_tanks_kg: float | None
    weighed_on: date | None
    weighed_days: int | None
    spans: LogSpans
    directives: tuple[Due, ...]
    ages: tuple[Age, ...]
    owed: tuple[Accrued, ...]
    coming: tuple[Liability, ...]
    sums: tuple[Money, ...]
    unpriced: int
    yearly_h: float | None
    items: int
    warnings: tuple[str, ...]
    not_known: tuple[str, ...]


def sheet(entries: Iterable[Entry], aeroplane: str, on: date, yearly_h: float | None) -> Sheet:
    """The buying and selling sheet from the entries of an aeroplane; yearly_h: hours a year by which what hours limit falls due."""
    kept = tuple(e for e in standing(entries) if e.moment.date() <= on)
    weights = ledger(kept, aeroplane, on)
    due, reserves, spans = due_list(kept, aeroplane, on), accrued(kept, aeroplane, on, yearly_h), log_spans(kept, aeroplane)
    coming = liabilities(due, reserves, on, yearly_h)
    full, why = full_tanks_kg(weights.record, weights.useful_load_kg)
    totals = sums(x.total for x in coming if x.total is not None)
    return Sheet(aeroplane, on, weights.useful_load_kg, full, weights.last_real, weights.age_days, spans,
                 tuple(d for d in due if d.item.directive and d.state != FINISHED), _ages(due, reserves, on), reserves, coming,
                 totals, sum(x.each is None for x in coming), yearly_h, len(due), weights.warnings,
                 (*weights.not_known, *why, *_lacking(spans, due, yearly_h)))


def full_tanks_kg(record: AirframeRecord, useful_load_kg: float | None) -> tuple[float | None, tuple[str, ...]]:
    """Useful load less usable fuel x density with every tank full; below 0 the tanks may not be filled."""
    if useful_load_kg is None:
        return None, ()
    if not record.tanks or record.fuel is None:
        return None, ("Load with full tanks not known: the record has no [[tanks]] or no [fuel]; keep a record that has them.",)
    return useful_load_kg - sum(t.usable_m3 for t in record.tanks) * record.fuel.density_kg_m3, ()


def _lacking(spans: LogSpans, due: Sequence[Due], yearly_h: float | None) -> tuple[str, ...]:
    found = [] if spans.known else ["Missing spans of the log not known: fewer than two flights have tachometer readings."]
    found += [] if due else ["Directives and what falls due not known: no maintenance item is kept."]
    found += [] if any(d.item.directive for d in due) or not due else ["Directives not known: none is kept among the items."]
    found += [] if yearly_h else ["No hours of the last 12 months are kept: when hours fall due is not known; say hours a year."]
    return tuple(found)


def _ages(due: Iterable[Due], reserves: Iterable[Accrued], on: date) -> tuple[Age, ...]:
    """Age of every life, and of whatever a calendar interval limits since it was last done."""
    lives = [Age(a.what, None if a.age_years is None else on - timedelta(days=round(a.age_years * DAYS_A_YEAR)), a.age_years,
                 a.run_h, a.words) for a in reserves]
    done = [Age(d.title, None if d.last is None else d.last.day,
                None if d.last is None else (on - d.last.day).days / DAYS_A_YEAR, None, f"{d.state}, every {d.item.interval.every}")
            for d in due if d.item.interval.every and d.state != FINISHED]
    return (*lives, *sorted(done, key=lambda a: (-(a.years or 0.0), a.what)))


# ---- without other people's data


def without_others(entries: Iterable[Entry], others: Iterable[Entry] = ()) -> tuple[Entry, ...]:
    """The entries of one aeroplane for who buys it: persons become "person 1", "person 2", and are so called in every text.

    Pilots and what they did, settings, aerodromes, who found a defect and what a partner owed are left out; those who signed for
    work stay, unless they are pilots or partners. entries: every entry of the aeroplane, corrected ones too, closed under
    corrections; others: the rest of the record, for the names in it.
    """
    every = tuple(entries)
    persons = _persons((*every, *others))
    kept = [e for e in every if not isinstance(e.body, LEFT_OUT)]
    numbers = {e.number for e in kept}
    return tuple(replace(e, corrects=e.corrects if e.corrects in numbers else None, source=_told(e.source, persons),
                         note=_told(e.note, persons), body=_plain(_own_fields(e.body, persons), persons)) for e in kept)


def _persons(entries: Iterable[Entry]) -> dict[str, str]:
    """Each person named as pilot, crew or partner, with the word that stands for him."""
    names: dict[str, str] = {}
    for e in entries:
        b = e.body
        found = ((b.pilot, *b.crew) if isinstance(b, Flight) else (b.to, b.by) if isinstance(b, HandOver) else
                 (b.name,) if isinstance(b, Pilot) else (b.pilot,) if isinstance(b, PilotEvent) else ())
        for name in found:
            if name.strip():
                names.setdefault(name.strip(), f"person {len(names) + 1}")
    return names


def _own_fields(body: Any, persons: Mapping[str, str]) -> Any:
    if isinstance(body, Flight):
        return replace(body, pilot=persons.get(body.pilot.strip(), ""), crew=tuple(persons.get(n.strip(), "") for n in body.crew))
    if isinstance(body, Defect) and body.state != "rectified":
        return replace(body, by=persons.get(body.by.strip(), ""))
    if isinstance(body, HandOver):
        return replace(body, to=persons.get(body.to.strip(), ""), by=persons.get(body.by.strip(), ""), owed=None)
    return body


def _plain(value: Any, persons: Mapping[str, str], *, exact: bool = False) -> Any:
    """The same value with the persons' names replaced in every text; exact: only as they are written (in a file's text)."""
    if isinstance(value, str):
        return _told(value, persons, exact=exact)
    if isinstance(value, tuple):
        return tuple(_plain(v, persons, exact=exact) for v in value)
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{f.name: _plain(getattr(value, f.name), persons, exact=f.name in FILES) for f in fields(value)})
    return value


def _told(text: str, persons: Mapping[str, str], *, exact: bool = False) -> str:
    """A text without the names: whole ones first, then their parts of three letters and more, large or small letters alike.

    A name in small letters alone ("me", "pilot") is too common a word to look for. Rather a word too many than a name left.
    """
    parts = {part: said for name, said in persons.items() for part in re.split(r"[\s.]+", name) if len(part) > 2}
    for name, said in [*sorted(persons.items(), key=lambda p: -len(p[0])), *sorted(parts.items(), key=lambda p: -len(p[0]))]:
        if name != name.lower() and name.casefold() in text.casefold():
            text = re.sub(rf"(?<!\w){re.escape(name)}(?!\w)", said, text, flags=0 if exact else re.IGNORECASE)
    return text
