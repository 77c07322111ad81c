"""Rules of a place as data with dates: the one in force on the day of the flight is used, and cited."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from typing import Any

from ownship.errors import BadInput
from ownship.provenance import STATUSES, Source, package_toml
from ownship.schema import Table
from ownship.units import from_si, to_si

PLACES = ("USA", "Canada", "EASA")
_FILES = {"USA": "usa.toml", "Canada": "canada.toml", "EASA": "easa.toml"}
SEVERITIES = ("block", "warn", "info")
_QUANTITIES = {"time": "time", "zenith": "angle", "after": "time", "before": "time", "window": "time", "above": "length",
               "above_ground": "length", "offset": "length", "ceiling": "length", "visibility": "length",
               "cloud_below": "length", "cloud_above": "length", "cloud_horizontal": "length"}
_TEXTS = ("flow", "course", "also", "who")
_FLAGS = ("alternate", "approach_and_missed")
_APPROACHES = ("two_precision", "precision", "non_precision")  # of an IFR alternate, the lowest minima first
_BY_LEAVE = ("visual.special", "visual.over_the_top")  # with a clearance or a rating: never taken for granted


@dataclass(frozen=True)
class Rule:
    """One rule: id, section, first and last day in force, its values (SI, words, flags) and its source with status.

    instrument: the law it stands in; applies_if: when it applies, in words; severity: block, warn or info;
    note: what the reader must know beside it.
    """

    id: str
    section: str
    effective_from: date
    effective_to: date | None
    values: dict[str, Any]
    source: Source
    instrument: str = ""
    applies_if: str = ""
    severity: str = "block"
    note: str = ""

    def cite(self) -> str:
        """Section, source, how it was known."""
        return f"{self.section} ({self.source.words()})"


@dataclass(frozen=True)
class FuelReserve:
    """The final reserve: minutes at which flow, and what else the rule wants in the tanks (`also`: in words)."""

    time_s: float
    flow: str
    alternate: bool
    approach_and_missed: bool
    rule: Rule
    also: str = ""


@dataclass(frozen=True)
class NightDefinition:
    """Night for one use: the zenith, and how much later and earlier than its passages it begins and ends."""

    zenith_deg: float
    after_s: float
    before_s: float
    rule: Rule


@dataclass(frozen=True)
class LevelAnswer:
    """Whether a cruising level obeys the rule; ok None: the height above ground is needed and not known."""

    ok: bool | None
    words: str
    nearest_m: tuple[float, float]
    rule: Rule


@dataclass(frozen=True)
class Minima:
    """A ceiling and a visibility."""

    ceiling_m: float
    visibility_m: float
    rule: Rule


@dataclass(frozen=True)
class AlternateNeed:
    """When an IFR flight needs an alternate: always, or unless the destination has this ceiling and visibility.

    window_s: so long before and after the arrival; no figures and not always: the words of the rule (`also`) decide.
    """

    always: bool
    ceiling_m: float | None
    visibility_m: float | None
    window_s: float
    also: str
    rule: Rule


@dataclass(frozen=True)
class VisualMinima:
    """Visibility and distances from cloud of one airspace; distances None: clear of cloud is enough, or none stated."""

    visibility_m: float
    cloud_below_m: float | None
    cloud_above_m: float | None
    cloud_horizontal_m: float | None
    ceiling_m: float | None
    rule: Rule


@dataclass(frozen=True)
class Oxygen:
    """Who ("crew" or "everyone") needs oxygen above a cabin pressure altitude, after so much time there."""

    above_m: float
    after_s: float
    who: str
    rule: Rule


@dataclass(frozen=True)
class RuleSet:
    """The rules of one place, of all dates; note: how the first days in force are known."""

    place: str
    countries: tuple[str, ...]
    rules: tuple[Rule, ...]
    note: str = ""

    def in_force(self, id_: str, day: date) -> Rule | None:
        """The rule with an id on a day; None where none was in force that day."""
        found = [r for r in self.rules if r.id == id_ and r.effective_from <= day
                 and (r.effective_to is None or day <= r.effective_to)]
        return max(found, key=lambda r: r.effective_from) if found else None

    def fuel_reserve(self, day: date, flight_rules: str, *, night: bool) -> FuelReserve | None:
        """The final reserve of a VFR (day or night) or IFR flight. Check: FU-05."""
        rule = self.in_force("fuel.ifr" if flight_rules == "IFR" else f"fuel.vfr.{'night' if night else 'day'}", day)
        if rule is None:
            return None
        v = rule.values
        return FuelReserve(v["time"], v["flow"], v.get("alternate", False), v.get("approach_and_missed", False), rule,
                           v.get("also", ""))

    def night(self, day: date, use: str) -> NightDefinition | None:
        """Night for "fuel", "lights" or "passengers". Check: SU-07."""
        rule = self.in_force(f"night.{use}", day)
        if rule is None:
            return None
        v = rule.values
        return NightDefinition(v["zenith"], v.get("after", 0.0), v.get("before", 0.0), rule)

    def minima(self, day: date, id_: str) -> Minima | None:
        """Ceiling and visibility of a rule ("minima.aerodrome.vfr", "alternate.ifr.non_precision")."""
        rule = self.in_force(id_, day)
        return None if rule is None else Minima(rule.values["ceiling"], rule.values["visibility"], rule)

    def visual(self, day: date, airspace: str, *, night: bool) -> VisualMinima | None:
        """VFR weather minima of an airspace as the place names it ("G.low", "CDE.low", "uncontrolled.high", "special")."""
        rule = (self.in_force(f"visual.{airspace}.{'night' if night else 'day'}", day)
                or self.in_force(f"visual.{airspace}", day))
        if rule is None:
            return None
        v = rule.values
        return VisualMinima(v["visibility"], v.get("cloud_below"), v.get("cloud_above"), v.get("cloud_horizontal"),
                            v.get("ceiling"), rule)

    def alternate_minima(self, day: date) -> tuple[Minima, ...]:
        """The IFR alternate minima by kind of approach, the lowest first; empty: none kept for that day, so not known."""
        found = (self.minima(day, f"alternate.ifr.{kind}") for kind in _APPROACHES)
        return tuple(m for m in found if m is not None)

    def alternate_need(self, day: date) -> AlternateNeed | None:
        """When an IFR flight needs an alternate; None: no rule kept for that day, so not known."""
        always = self.in_force("alternate.ifr.always", day)
        rule = always or self.in_force("alternate.ifr.not_needed", day) or self.in_force("alternate.ifr.unless_visual", day)
        if rule is None:
            return None
        v = rule.values
        return AlternateNeed(always is not None, v.get("ceiling"), v.get("visibility"), v.get("window", 0.0), v.get("also", ""),
                             rule)

    def strictest_visual(self, day: date, altitude_m: float) -> tuple[VisualMinima, VisualMinima] | None:
        """The rules with the greatest visibility and the greatest distance below cloud that may hold at an altitude.

        Every airspace, day and night, special VFR and over-the-top left out: where the airspace is not known nothing milder
        may be counted on. altitude_m above sea level; None: none kept for that day.
        """
        ids = dict.fromkeys(r.id.removesuffix(".day").removesuffix(".night") for r in self.rules
                            if r.id.startswith("visual.") and r.id not in _BY_LEAVE and r.values.get("above", 0.0) <= altitude_m)
        found = [m for i in ids for night in (False, True)
                 if (m := self.visual(day, i.removeprefix("visual."), night=night)) is not None]
        if not found:
            return None
        return max(found, key=lambda m: m.visibility_m), max(found, key=lambda m: m.cloud_below_m or 0.0)

    def oxygen(self, day: date) -> tuple[Oxygen, ...]:
        """The oxygen rules of a day, lowest altitude first; empty: none kept for that day, so not known."""
        ids = dict.fromkeys(r.id for r in self.rules if r.id.startswith("oxygen."))
        found = (self.in_force(id_, day) for id_ in ids)
        return tuple(sorted((Oxygen(r.values["above"], r.values["after"], r.values["who"], r) for r in found if r is not None),
                            key=lambda o: o.above_m))

    def cruising_level(self, day: date, flight_rules: str, course_deg: float, altitude_m: float,
                       above_ground_m: float | None) -> LevelAnswer | None:
        """The semicircular rule: 0-179 odd thousands, 180-359 even, plus 500 ft VFR.

        A level that obeys is right whatever the ground; one that does not is only wrong more than 3,000 ft above
        the ground (VFR): without the height above ground that is not known. Check: NV-16.
        """
        rule = self.in_force(f"level.{flight_rules.lower()}", day)
        if rule is None:
            return None
        offset = round(float(from_si(rule.values["offset"], "ft")))
        altitude = round(float(from_si(altitude_m, "ft")))
        odd = course_deg % 360.0 < 180.0
        thousands, rest = divmod(altitude - offset, 1000)
        legal = rest == 0 and thousands % 2 == (1 if odd else 0)
        words = (f"{'odd' if odd else 'even'} thousands{' + 500 ft' if offset else ''} on a magnetic course of "
                 f"{int(course_deg % 360.0):03d}")
        nearest = _nearest(altitude, offset, odd, up=False), _nearest(altitude, offset, odd, up=True)
        nearest = nearest if nearest[0] > 0 else (nearest[1], nearest[1])
        ok: bool | None = legal
        if not legal and rule.values["above_ground"] > 0:
            if above_ground_m is None:
                ok, words = None, f"{words}; this level does not obey, and the height above ground is not known"
            elif above_ground_m <= rule.values["above_ground"]:
                ok, words = True, f"not above 3,000 ft over the ground, so free ({words})"
        return LevelAnswer(ok, words, nearest, rule)


def _nearest(altitude_ft: int, offset_ft: int, odd: bool, *, up: bool) -> float:
    step = 1 if up else -1
    level = altitude_ft
    while not ((level - offset_ft) % 1000 == 0 and ((level - offset_ft) // 1000) % 2 == (1 if odd else 0)):
        level += step
    return float(to_si(level, "ft"))


@cache
def load_ruleset(place: str) -> RuleSet:
    """The rules of "USA", "Canada" or "EASA"; refused without source, unit or date, and for any other place."""
    if place not in _FILES:
        raise BadInput(f"place: no rules are kept for {place!r}; allowed are {', '.join(PLACES)}.")
    return read_ruleset(package_toml("rules", _FILES[place]))


def read_ruleset(root: Table) -> RuleSet:
    """A rule file as docs/formats/rules.md describes it; one rule a day and id, or it is refused."""
    dated = root.text("source_date", "")
    ruleset = RuleSet(root.text("place"), root.texts("countries"), tuple(_rule(t, dated) for t in root.tables("rule")),
                      root.text("note", ""))
    root.done()
    for one, other in ((a, b) for i, a in enumerate(ruleset.rules) for b in ruleset.rules[i + 1:] if a.id == b.id):
        first, second = sorted((one, other), key=lambda r: r.effective_from)
        if first.effective_to is None or first.effective_to >= second.effective_from:
            raise BadInput(f"{ruleset.place} {one.id}: two rules are in force on {second.effective_from}; end the older one.")
    return ruleset


def _rule(t: Table, dated: str) -> Rule:
    id_, section, status = t.text("id"), t.text("section"), t.choice("status", STATUSES)
    first, last = t.convert("effective_from", _day, None), t.convert("effective_to", _day, None)
    if first is None or (last is not None and last < first):
        raise t.bad("effective_from", "give the first day in force, not after effective_to.")
    source = Source(t.text("source"), status, t.text("source_date", "" if status == "from memory" else dated))
    words = (t.text("instrument", ""), t.text("applies_if", ""), t.choice("severity", SEVERITIES, "block"), t.text("note", ""))
    values: dict[str, Any] = {k: t.quantity(k, d) for k, d in _QUANTITIES.items() if t.has(k)}
    values |= {k: t.text(k) for k in _TEXTS if t.has(k)} | {k: t.flag(k) for k in _FLAGS if t.has(k)}
    t.done()
    return Rule(id_, section, first, last, values, source, *words)


def _day(value: object) -> date:
    if isinstance(value, datetime) or not isinstance(value, date):
        raise ValueError(f"{value!r} should be a date, like 2022-10-30.")
    return value


def place_of_country(iso: str) -> str | None:
    """The rule place of a country by its ISO code; None where no rules are kept (say so)."""
    return next((p for p in PLACES if iso.upper() in load_ruleset(p).countries), None)
