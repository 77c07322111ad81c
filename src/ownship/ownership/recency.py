"""Whether a pilot is recent on a day, by place and privilege: until when, what is missing, and by which text.

Each need has a last good day, which follows from the most recent flights or events that meet it; a rule is good until the
first of its needs ends, a part until the best of its rules does, a privilege until the first of its parts does. Where another
text comes into force before that, the day is judged by the text of that day. Nothing recorded: "not known", never a pass.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import takewhile

from ownship.errors import BadInput
from ownship.ownership.entries import USES, Entry, PilotEvent
from ownship.ownership.progress import (
    DEFAULT_CLASS,
    DayOf,
    Facts,
    Flown,
    NightOf,
    amount,
    facts,
    night_as_noted,
    utc_day,
)
from ownship.rules.recency import PRIVILEGES, Need, RecencyRule, RecencyRules, hours, last_day, load_recency, medical_days

CURRENT, NOT_CURRENT, NOT_KNOWN = "current", "not current", "not known"
NEEDED_BY = {"VFR": (), "night": (), "IFR": ("IFR",), "passengers": ("passengers by day",)}
ALWAYS = ("fly at all", "review", "medical")


@dataclass(frozen=True)
class Count:
    """One need as it stands: done of needed within a period (timed: seconds), good until (None: not met by any day)."""

    words: str
    done: float
    needed: float
    timed: bool
    within: str
    until: date | None
    missing: str = ""


@dataclass(frozen=True)
class Way:
    """One rule as it stands for the pilot on the day."""

    rule: RecencyRule
    state: str
    until: date | None
    counts: tuple[Count, ...]
    notes: tuple[str, ...] = ()

    @property
    def missing(self) -> tuple[str, ...]:
        """What is missing, in words."""
        return tuple(c.missing for c in self.counts if c.missing)


@dataclass(frozen=True)
class Part:
    """A part of a privilege: met by any one of its ways, the best first."""

    name: str
    ways: tuple[Way, ...]
    state: str
    until: date | None


@dataclass(frozen=True)
class Standing:
    """A privilege on a day: its state, the last day it is good (where not current: was, by that day's text; None: never or not
    known), its parts, and what a text that comes into force before then changes."""

    place: str
    privilege: str
    state: str
    until: date | None
    parts: tuple[Part, ...]
    note: str = ""

    @property
    def missing(self) -> tuple[str, ...]:
        """What is missing, a sentence a part; where one of several ways is enough they are joined by "or"."""
        return tuple(" or ".join(words) for p in self.parts if p.state != CURRENT
                     if (words := ["; ".join(w.missing) for w in p.ways if w.missing]))

    @property
    def cites(self) -> tuple[str, ...]:
        """Section, source and status of the rules that decide: where a part is not current, of every way there is."""
        return tuple(dict.fromkeys(w.rule.cite() for p in self.parts for w in (p.ways[:1] if p.state == CURRENT else p.ways)))

    @property
    def notes(self) -> tuple[str, ...]:
        """What must be read beside it: of the text, of the record, of a change of text."""
        told = [self.note, *(n for p in self.parts for w in (p.ways[:1] if p.state == CURRENT else p.ways)
                             for n in (w.rule.note, *w.notes))]
        return tuple(dict.fromkeys(n for n in told if n))


@dataclass(frozen=True)
class Lapse:
    """A privilege a flight needs and the pilot does not show: its state, the last day it was good, and the rule."""

    privilege: str
    state: str
    until: date | None
    missing: tuple[str, ...]
    cite: str

    @property
    def words(self) -> str:
        """One sentence for the flight."""
        was = f" (the last good day was {self.until.isoformat()})" if self.until is not None and self.state == NOT_CURRENT else ""
        return f"{self.privilege}: {self.state}{was}; missing: {'; '.join(self.missing) or 'no text is kept for that day'}"


# Ratings without which a privilege is not looked at, where the pilot's ratings are entered at all (rules.md section 7).
RATINGS = {("USA", "IFR"): ("IR", "instrument"), ("Canada", "IFR"): ("IR", "instrument"), ("EASA", "IFR"): ("IR", "instrument"),
           ("Canada", "passengers by night"): ("night",), ("EASA", "passengers by night"): ("night", "IR", "instrument")}


def judge(entries: Iterable[Entry], pilot: str, place: str, on: date, aeroplane_class: str = DEFAULT_CLASS,
          day_of: DayOf = utc_day, night_of: NightOf = night_as_noted) -> tuple[Standing, ...]:
    """Every privilege of a place for a pilot on a day, by the texts in force that day.

    day_of: the day a flight counts on (the UTC day of landing unless handed in); night_of: whether its take-off and landing
    fell in the place's night for passengers (the flight's own counts where it gives None). BadInput for a place without rules.
    """
    return judge_facts(facts(entries, pilot, on, aeroplane_class, day_of, night_of), load_recency(place))


def judge_facts(known: Facts, rules: RecencyRules) -> tuple[Standing, ...]:
    """Every privilege that the rules of a place know, on the day of the facts."""
    named = {r.privilege for r in rules.rules}
    return tuple(_standing(known, rules, p) for p in PRIVILEGES if p in named)


def needed_for(uses: Sequence[str]) -> tuple[str, ...]:
    """The privileges that a flight of these uses needs; BadInput for a use that is none."""
    unknown = [u for u in uses if u not in USES]
    if unknown:
        raise BadInput(f"uses: {unknown[0]!r} is no use of a flight; allowed are {', '.join(USES)}.")
    both = ("passengers by night",) if {"night", "passengers"} <= set(uses) else ()
    return (*ALWAYS, *(p for u in USES if u in uses for p in NEEDED_BY[u]), *both)


def lapsed(entries: Iterable[Entry], pilot: str, place: str, uses: Sequence[str], on: date,
           aeroplane_class: str = DEFAULT_CLASS, day_of: DayOf = utc_day, night_of: NightOf = night_as_noted) -> tuple[Lapse, ...]:
    """What a flight on a day needs and the pilot does not show: not current, or not known (nothing recorded)."""
    needed = needed_for(uses)
    return tuple(Lapse(s.privilege, s.state, s.until, s.missing, "; ".join(s.cites))
                 for s in judge(entries, pilot, place, on, aeroplane_class, day_of, night_of)
                 if s.privilege in needed and s.state != CURRENT)


def not_after(entries: Iterable[Entry], pilot: str, place: str, uses: Sequence[str], on: date | None = None,
              aeroplane_class: str = DEFAULT_CLASS, day_of: DayOf = utc_day, night_of: NightOf = night_as_noted) -> date | None:
    """The last day on which every privilege a flight needs is good, as the record stands; it may lie in the past.

    None: one of them is not known, or was never held (`lapsed` says which). on: the day whose entries and texts count;
    None: that of the latest entry.
    """
    kept, needed = tuple(entries), needed_for(uses)
    if not kept:
        return None
    day = max(e.moment for e in kept).date() + timedelta(days=1) if on is None else on
    ends = [s.until for s in judge(kept, pilot, place, day, aeroplane_class, day_of, night_of) if s.privilege in needed]
    known = [e for e in ends if e is not None]
    return min(known) if known and len(known) == len(ends) else None


def _standing(known: Facts, rules: RecencyRules, privilege: str) -> Standing:
    parts = _parts(known, rules, privilege, known.on)
    wanted = RATINGS.get((rules.place, privilege), ())
    if wanted and known.ratings and not known.holds(*wanted):
        return Standing(rules.place, privilege, NOT_KNOWN, None, (),
                        f"None of the ratings it needs is entered ({' or '.join(wanted)}); enter it where you hold it.")
    if not parts:
        return Standing(rules.place, privilege, NOT_KNOWN, None, (), f"No text is kept for that day. {rules.note}")
    state = (NOT_KNOWN if any(p.state == NOT_KNOWN for p in parts) and not any(p.state == NOT_CURRENT for p in parts) else
             CURRENT if all(p.state == CURRENT for p in parts) else NOT_CURRENT)
    until, note = _first([p.until for p in parts]), ""
    if state == CURRENT and until is not None:
        until, note = _through_changes(known, rules, privilege, until)
    return Standing(rules.place, privilege, state, None if state == NOT_KNOWN else until, parts, note)


def _through_changes(known: Facts, rules: RecencyRules, privilege: str, until: date) -> tuple[date, str]:
    """The last good day where another text comes into force before the one found; what it changes, in words."""
    for change in rules.changes_after(known.on):
        if until < change:
            break
        parts = _parts(known, rules, privilege, change)
        then = _first([p.until for p in parts]) if parts else None
        if then is None or then < change:
            return change - timedelta(days=1), f"Another text is in force from {change.isoformat()}."
        if then != until:
            return _through_changes_from(known, rules, privilege, change, then)
    return until, ""


def _through_changes_from(known: Facts, rules: RecencyRules, privilege: str, change: date, until: date) -> tuple[date, str]:
    end, _ = _through_changes(Facts(change, known.flights, known.events, known.pilot, known.unnamed, known.aeroplane_class), rules,
                              privilege, until)
    return end, f"Reckoned by the text in force from {change.isoformat()}."


def _parts(known: Facts, rules: RecencyRules, privilege: str, day: date) -> tuple[Part, ...]:
    """The parts of a privilege by the texts of a day, judged on the day of the facts."""
    ruling = [r for r in rules.in_force(day) if r.privilege == privilege and (not r.rating or known.holds(r.rating))]
    return tuple(_part(name, [way(r, rules, known) for r in ruling if r.part == name])
                 for name in dict.fromkeys(r.part for r in ruling))


def _part(name: str, ways: list[Way]) -> Part:
    order = {CURRENT: 0, NOT_CURRENT: 1, NOT_KNOWN: 2}
    ranked = sorted(ways, key=lambda w: (order[w.state], -(w.until or date.min).toordinal()))
    return Part(name, tuple(ranked), ranked[0].state, ranked[0].until)


def way(rule: RecencyRule, rules: RecencyRules, known: Facts) -> Way:
    """One rule judged for a pilot on the day of the facts."""
    if rule.medical is not None:
        return _medical_way(rule, rules, known)
    counts = tuple(_count(n, known, printed=rule.printed) for n in rule.needs)
    until = _first([c.until for c in counts])
    notes = () if until is not None and until >= known.on else _short_record(rule, known)
    if rule.lapse:
        return _lapsing(rule, known, counts, notes)
    return Way(rule, _state(until, counts, rule, known), until, counts, notes)


def _state(until: date | None, counts: Sequence[Count], rule: RecencyRule, known: Facts) -> str:
    """Current, or not; not known where what fails was never recorded at all."""
    if until is not None and until >= known.on:
        return CURRENT
    failing = [n for n, c in zip(rule.needs, counts, strict=True) if c.until is None or c.until < known.on]
    recorded = [any(e.event in n.events for e in known.events) if n.events else bool(known.flights) for n in failing]
    return NOT_CURRENT if any(recorded) else NOT_KNOWN


def _count(need: Need, known: Facts, *, printed: bool) -> Count:
    if need.events:
        return _event_count(need, known, printed)
    until = flown_until(need, known.flights, known.aeroplane_class)
    counting = takewhile(lambda f: last_day(f.day, need.within) >= known.on, reversed(known.flights))
    done = sum(amount(need, f, known.aeroplane_class) for f in counting)
    short = until is None or until < known.on
    within = f"within {need.within}" if need.within else "in all"
    left = need.amount - done
    missing = (f"{need.words}: {_amount(left, need)} more ({_amount(done, need)} of {_amount(need.amount, need)} {within})"
               if short else "")
    return Count(need.words, done, need.amount, need.timed, need.within, until, missing)


def _amount(value: float, need: Need) -> str:
    return f"{hours(value):.1f} h" if need.timed else f"{value:.0f}"


def flown_until(need: Need, flights: Sequence[Flown], aeroplane_class: str, by: date | None = None) -> date | None:
    """The last day on which enough was flown within the period: that of the flight with which the most recent reach the amount.

    flights by day; by: those of later days left out, and those no longer good on it (None: all). None: never enough.
    """
    total = 0.0
    count = len(flights) if by is None else bisect_right(flights, by, key=lambda f: f.day)
    for flown in (flights[i] for i in range(count - 1, -1, -1)):
        end = last_day(flown.day, need.within)
        if by is not None and end < by:
            return None
        total += amount(need, flown, aeroplane_class)
        if total >= need.amount - 1e-6:
            return end
    return None


def _event_count(need: Need, known: Facts, printed: bool) -> Count:
    """An event as it stands; a time of grace after one cannot be made up for, so that it is never missing."""
    ends = [(_event_end(e, need.within, printed), e) for e in known.events if e.event in need.events]
    until, last = max(ends, key=lambda x: x[0]) if ends else (None, None)
    short = until is None or until < known.on
    told = f"the last: {last.day.isoformat()}" if last is not None else "none is recorded"
    missing = f"{need.words} within {need.within} ({told})" if short and not need.within.startswith("before") else ""
    return Count(need.words, float(not short), 1, False, need.within, until, missing)


def _event_end(event: PilotEvent, within: str, printed: bool) -> date:
    """The last good day of an event: reckoned, or the one entered where it is earlier or prevails."""
    reckoned = last_day(event.day, within)
    if event.expires is None:
        return reckoned
    return event.expires if printed else min(event.expires, reckoned)


def _lapsing(rule: RecencyRule, known: Facts, counts: tuple[Count, ...], notes: tuple[str, ...]) -> Way:
    """A practice that cannot be taken up again once it was lapsed for longer than `lapse`: then only an event renews it.

    Followed from the first event on: practice on a day counts when the pilot was recent, or lapsed no longer than allowed.
    """
    within = rule.needs[0].within
    begins = sorted(e.day for e in known.events if e.event in rule.renews)
    flown = sorted({f.day for f in known.flights if any(amount(n, f, known.aeroplane_class) for n in rule.needs)})
    good: date | None = None
    until: date | None = None
    for day, event in sorted([(d, True) for d in begins] + [(d, False) for d in flown], key=lambda x: (x[0], not x[1])):
        if event:
            good = max(good or date.min, last_day(day, within))
            continue
        end = _first([flown_until(n, known.flights, known.aeroplane_class, day) for n in rule.needs])
        if end is not None and good is not None and day <= last_day(good, rule.lapse):
            good, until = max(good, end), max(until or date.min, end)
    practised = _first([c.until for c in counts])
    if until is not None and until >= known.on:
        return Way(rule, CURRENT, until, counts, notes)
    if practised is None or practised < known.on:
        return Way(rule, NOT_CURRENT if known.flights or begins else NOT_KNOWN, until or practised, counts,
                   (*notes, *_needs_event(rule, good, known.on)))
    names = ", ".join(rule.renews)
    lack = (f"a proficiency check, because the practice was taken up more than {rule.lapse} after it had lapsed" if begins else
            f"the day of one of these, to show that it was not lapsed for more than {rule.lapse} before: {names}")
    shown = Count("unbroken practice", 0, 1, False, rule.lapse, None, lack)
    return Way(rule, NOT_CURRENT if begins else NOT_KNOWN, until, (*counts, shown), notes)


def _needs_event(rule: RecencyRule, good: date | None, on: date) -> tuple[str, ...]:
    if good is None or on <= last_day(good, rule.lapse):
        return ()
    return (f"Lapsed for more than {rule.lapse} (recent until {good.isoformat()}): practice alone does not bring it back, "
            "a proficiency check does.",)


def _medical_way(rule: RecencyRule, rules: RecencyRules, known: Facts) -> Way:
    """A medical by the text in force on the day of its examination; the newest of the kinds that serve counts."""
    texts = [r for r in rules.rules if r.id == rule.id]
    words, sure, best, text = "medical certificate", None, None, rule
    exam: PilotEvent | None = None
    for event in (e for e in known.events if e.event == "medical" and _kind(e.detail) in ("", *_kinds(texts))):
        found = next((r for r in texts if r in rules.in_force(event.day)), None)
        if found is None or found.medical is None:
            continue
        kept: date | None = sure if sure is not None and 0 <= (sure - event.day).days <= found.medical.keep_days else None
        low, high = medical_days(found.medical, event.day, known.pilot.born if known.pilot else None,
                                 kept if found.medical.keep_days else None)
        printed = event.expires
        if printed is not None:
            low, high = (printed, printed) if found.printed else (min(low, printed), min(high, printed))
        sure, best, text, exam = low, high, found, event
    if exam is None or sure is None or best is None:
        lack = "a medical (none that serves is recorded, of a day for which a text is kept)"
        return Way(rule, NOT_KNOWN, None, (Count(words, 0, 1, False, "", None, lack),))
    return _medical_judged(text, known, exam, sure, best)


def _medical_judged(text: RecencyRule, known: Facts, exam: PilotEvent, sure: date, best: date) -> Way:
    day, words = exam.day.isoformat(), "medical certificate"
    if not exam.detail.strip() and best >= known.on:
        lack = f"the class or category of the medical of {day}, which is not entered"
        return Way(text, NOT_KNOWN, None, (Count(words, 0, 1, False, "", None, lack),))
    if sure >= known.on:
        return Way(text, CURRENT, sure, (Count(words, 1, 1, False, "", sure),))
    if best >= known.on:
        lack = f"the pilot's birth date: by age the medical of {day} is good until {sure.isoformat()} or {best.isoformat()}"
        return Way(text, NOT_KNOWN, None, (Count(words, 0, 1, False, "", None, lack),))
    return Way(text, NOT_CURRENT, sure, (Count(words, 0, 1, False, "", sure, f"a medical (the last: {day})"),))


def _kind(detail: str) -> str:
    """The class of a medical as the rules write it: "class 3", "Category 3" and "3" are one."""
    return detail.strip().casefold().removeprefix("class").removeprefix("category").strip().upper()


def _kinds(texts: Sequence[RecencyRule]) -> tuple[str, ...]:
    return tuple(k for r in texts if r.medical is not None for k in r.medical.kinds)


def _short_record(rule: RecencyRule, known: Facts) -> tuple[str, ...]:
    """A record that begins within the period says less than the pilot flew."""
    flown = [n for n in rule.needs if n.what and n.within]
    if not flown or not known.flights or all(last_day(known.flights[0].day, n.within) < known.on for n in flown):
        return ()
    return (f"The record begins on {known.flights[0].day.isoformat()}, within the period: earlier flights are not counted.",)


def _first(days: Sequence[date | None]) -> date | None:
    """The earliest of some last days; None where one is None."""
    known = [d for d in days if d is not None]
    return min(known) if known and len(known) == len(days) else None
