"""What a pilot must have done lately, as data with dates: needs, the periods they last, medicals by age, the next ratings.

A need is something done (an event such as a flight review) or something flown (so many landings, so much time), each within
a period. The rules of one privilege are joined in two steps: of each part one rule must be met, and every part must be.
docs/formats/recency.md says what each key means, docs/methods/recency.md how they are judged.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cache

from ownship.errors import BadInput
from ownship.provenance import STATUSES, Source, package_toml
from ownship.rules.due import from_first_of_next_month, month_later, needed_from, next_due
from ownship.schema import Table
from ownship.units import to_si

PLACES = ("USA", "Canada", "EASA")
_FILES = {"USA": "usa.toml", "Canada": "canada.toml", "EASA": "easa.toml"}
PRIVILEGES = ("fly at all", "review", "medical", "passengers by day", "passengers by night", "IFR")
COUNTED = ("flights", "take-offs", "landings", "night take-offs", "night landings", "night full stops", "approaches", "holds",
           "tracking")
TIMED = ("time", "night time", "instrument time")
ROLES = ("PIC", "dual", "instructor", "co-pilot", "safety pilot")
HOW = ("actual", "simulated", "device")
_BEFORE = re.compile(r"^before month (\d{1,2})$")
_NEXT_FIRST = re.compile(r"^(\d{1,3}) months from the first of the next month$")


@dataclass(frozen=True)
class Need:
    """Something done or flown within a period (words of `last_day`; "" no period: at any time).

    events: any one of these; or what: one of COUNTED (amount a number) or TIMED (amount in seconds), of flights in these
    roles, of the class asked about (same_class), solo (PIC, nobody else on board), at least so far (cross_country_m, 0: any
    that is noted as cross-country), of approaches flown this way (how).
    """

    words: str
    within: str = ""
    events: tuple[str, ...] = ()
    what: str = ""
    amount: float = 1.0
    roles: tuple[str, ...] = ("PIC",)
    same_class: bool = False
    solo: bool = False
    cross_country_m: float | None = None
    how: tuple[str, ...] = ("actual", "simulated")

    @property
    def timed(self) -> bool:
        """Whether the amount is a time in seconds."""
        return self.what in TIMED


@dataclass(frozen=True)
class AgeBand:
    """How long a medical lasts for one younger than `under` (None: any age); ends_at: never past that birthday; falls_to_next:
    from the birthday `under` on the next band's period counts."""

    within: str
    under: int | None = None
    ends_at: int | None = None
    falls_to_next: bool = False


@dataclass(frozen=True)
class Medical:
    """A medical certificate: the kinds that serve (event's detail), periods by age, and whether one renewed within so many
    days before its end keeps the old date (keep_days; 0: it never does)."""

    kinds: tuple[str, ...]
    bands: tuple[AgeBand, ...]
    keep_days: int = 0


@dataclass(frozen=True)
class RecencyRule:
    """One rule: privilege and part it serves, needs (all of them) or a medical, days in force, and how it is known.

    rating: it holds for those with that rating alone; printed: the date on the paper prevails over the reckoned one; lapse:
    once lapsed for longer than this, only an event among `renews` brings the privilege back.
    """

    id: str
    privilege: str
    part: str
    section: str
    effective_from: date
    effective_to: date | None
    needs: tuple[Need, ...]
    medical: Medical | None
    source: Source
    applies_if: str = ""
    note: str = ""
    rating: str = ""
    lapse: str = ""
    renews: tuple[str, ...] = ()
    printed: bool = False

    def cite(self) -> str:
        """Section, source, how it was known."""
        return f"{self.section} ({self.source.words()})"


@dataclass(frozen=True)
class Window:
    """A time that alone counts: so many months before the end of what one of some events gave for a period."""

    events: tuple[str, ...]
    lasts: str
    months: int


@dataclass(frozen=True)
class Goal:
    """A rating to be earned: what is counted from the record, and what must be shown in another way (also).

    window: only what was done within it counts (a rating revalidated by experience).
    """

    rating: str
    section: str
    needs: tuple[Need, ...]
    also: tuple[str, ...]
    source: Source
    note: str = ""
    window: Window | None = None


@dataclass(frozen=True)
class RecencyRules:
    """The recency rules and goals of one place, of all dates; events: the names a pilot's event may have there."""

    place: str
    rules: tuple[RecencyRule, ...]
    goals: tuple[Goal, ...]
    note: str = ""

    @property
    def events(self) -> tuple[str, ...]:
        """Names of events that some rule or goal asks for; "medical" is always one."""
        needs = [*(n for r in self.rules for n in r.needs), *(n for g in self.goals for n in g.needs)]
        named = [*(e for n in needs for e in n.events), *(e for r in self.rules for e in r.renews)]
        return tuple(dict.fromkeys(["medical", *named]))

    def in_force(self, day: date) -> tuple[RecencyRule, ...]:
        """The rules in force on a day."""
        return tuple(r for r in self.rules if r.effective_from <= day and (r.effective_to is None or day <= r.effective_to))

    def changes_after(self, day: date) -> tuple[date, ...]:
        """The first days after a day on which another text comes into force or one ends, in order."""
        firsts = {r.effective_from for r in self.rules} | {
            r.effective_to + timedelta(days=1) for r in self.rules if r.effective_to is not None}
        return tuple(sorted(d for d in firsts if d > day))


def last_day(done: date, within: str) -> date:
    """The last day on which something done still serves.

    "n days", "n months", "n years", "n calendar months" as in `rules.due.next_due`; "before month k": the day before the first
    of the kth month after; "n months from the first of the next month"; "": for ever. BadInput for other words.
    """
    if not within:
        return date.max
    if match := _BEFORE.match(within):
        return needed_from(done, int(match[1])) - timedelta(days=1)
    if match := _NEXT_FIRST.match(within):
        return from_first_of_next_month(done, int(match[1]))
    return next_due(done, within)


def birthday(born: date, age: int) -> date:
    """The day an age is reached; one born on 29 February reaches it on 28 February in other years, the stricter reading."""
    return month_later(born, age * 12)


def medical_days(medical: Medical, exam: date, born: date | None, kept: date | None = None) -> tuple[date, date]:
    """The last good day of a medical from its examination: (sure, at best); they differ where the birth date is not known.

    The age is that on the day of the examination. kept: the end of the one before, where this renewal keeps its date.
    """
    begin = kept or exam
    if born is not None:
        end = _band_end(medical, exam, born, begin)
        return end, end
    ends = [last_day(begin, b.within) for b in medical.bands]
    return min(ends), max(ends)


def _band_end(medical: Medical, exam: date, born: date, begin: date) -> date:
    index = next((i for i, b in enumerate(medical.bands) if b.under is None or exam < birthday(born, b.under)), -1)
    band = medical.bands[index]
    end = last_day(begin, band.within)
    if band.ends_at is not None:
        end = min(end, birthday(born, band.ends_at) - timedelta(days=1))
    if band.falls_to_next and band.under is not None:
        shorter = last_day(begin, medical.bands[index + 1].within)
        end = min(end, max(shorter, birthday(born, band.under) - timedelta(days=1)))
    return end


def place_of(text: str) -> str:
    """The place of rules as it is written here; BadInput for one without rules."""
    found = next((p for p in PLACES if p.lower() == text.strip().lower()), None)
    if found is None:
        raise BadInput(f"place: no recency rules are kept for {text!r}; allowed are {', '.join(PLACES)}.")
    return found


@cache
def load_recency(place: str) -> RecencyRules:
    """The recency rules of "USA", "Canada" or "EASA"; BadInput for any other place."""
    return read_recency(package_toml("rules", "recency", _FILES[place_of(place)]))


def read_recency(root: Table) -> RecencyRules:
    """A recency file as docs/formats/recency.md describes it; two texts of one id on one day are refused."""
    dated = root.text("source_date", "")
    found = RecencyRules(root.text("place"), tuple(_rule(t, dated) for t in root.tables("rule")),
                         tuple(_goal(t, dated) for t in root.tables("goal")), root.text("note", ""))
    root.done()
    for rule in found.rules:
        if any(r.id == rule.id and r is not rule for r in found.in_force(rule.effective_from)):
            raise BadInput(f"{found.place} {rule.id}: two texts are in force on {rule.effective_from}; end the older one.")
    return found


def _rule(t: Table, dated: str) -> RecencyRule:
    first, last = t.convert("effective_from", _day, None), t.convert("effective_to", _day, None)
    if first is None or (last is not None and last < first):
        raise t.bad("effective_from", "give the first day in force, not after effective_to.")
    needs, medical = tuple(_need(n) for n in t.tables("needs")), t.table("medical")
    if (not needs) == (medical is None):
        raise t.bad("needs", "give either needs or a medical.")
    rule = RecencyRule(t.text("id"), t.choice("privilege", PRIVILEGES), t.text("part", ""), t.text("section"), first, last, needs,
                       None if medical is None else _medical(medical), _source(t, dated), t.text("applies_if", ""),
                       t.text("note", ""), t.text("rating", ""), t.convert("lapse", _within, ""), t.texts("renews", ()),
                       t.flag("printed", False))
    t.done()
    return rule


def _goal(t: Table, dated: str) -> Goal:
    window = t.table("window")
    goal = Goal(t.text("rating"), t.text("section"), tuple(_need(n) for n in t.tables("needs")), t.texts("also", ()),
                _source(t, dated), t.text("note", ""), None if window is None else _window(window))
    t.done()
    return goal


def _window(t: Table) -> Window:
    window = Window(t.texts("events"), t.convert("lasts", _within), t.integer("months", low=1, high=120))
    t.done()
    return window


def _source(t: Table, dated: str) -> Source:
    status = t.choice("status", STATUSES)
    return Source(t.text("source"), status, t.text("source_date", "" if status == "from memory" else dated))


def _need(t: Table) -> Need:
    words, within, events = t.text("words"), t.convert("within", _within, ""), t.texts("events", ())
    what = t.choice("what", (*COUNTED, *TIMED), "")
    if bool(events) == bool(what):
        raise t.bad("what", "a need is either one of some events or an amount of something flown; give one of them.")
    amount = t.quantity("time", "time") if what in TIMED else float(t.integer("count", 1, 1, 1000))
    roles, how = t.texts("roles", ("PIC",)), t.texts("how", ("actual", "simulated"))
    if not set(roles) <= set(ROLES) or not set(how) <= set(HOW):
        raise t.bad("roles", f"roles are of {', '.join(ROLES)}, how of {', '.join(HOW)}.")
    need = Need(words, within, events, what, amount, roles, t.flag("same_class", False), t.flag("solo", False),
                t.quantity("cross_country", "length", None), how)
    t.done()
    return need


def _medical(t: Table) -> Medical:
    bands = tuple(_band(b) for b in t.tables("ages"))
    if not bands or bands[-1].under is not None or bands[-1].falls_to_next:
        raise t.bad("ages", "give the periods by age, the last one for any age.")
    medical = Medical(t.texts("kinds"), bands, t.integer("keep_days", 0, 0, 366))
    t.done()
    return medical


def _band(t: Table) -> AgeBand:
    band = AgeBand(t.convert("within", _within), t.integer("under", None, 1, 120), t.integer("ends_at", None, 1, 120),
                   t.flag("falls_to_next", False))
    t.done()
    return band


def _within(text: object) -> str:
    last_day(date(2020, 1, 31), str(text))
    return str(text)


def _day(value: object) -> date:
    if isinstance(value, datetime) or not isinstance(value, date):
        raise ValueError(f"{value!r} should be a date, like 2022-10-30.")
    return value


def hours(seconds: float) -> float:
    """Seconds in hours, for words."""
    return seconds / float(to_si(1.0, "h"))
