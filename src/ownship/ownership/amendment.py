"""A computed amendment of weight and balance, for a licensed person: before, what went in and out, after; never a weighing."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from functools import cache

from ownship.aeroplane.description import AirframeRecord, is_figure
from ownship.aeroplane.weighing import EmptyWeight, empty_weight
from ownship.errors import BadInput
from ownship.ownership.entries import Entry
from ownship.ownership.ledger import EQUIPMENT, SAME_KG, Ledger, Line, ledger
from ownship.provenance import Source, package_toml, source_of
from ownship.schema import Table

NEGLIGIBLE, COUNTS, NOT_KNOWN, NO_THRESHOLD = "negligible", "not negligible", "not known", "no threshold"


@dataclass(frozen=True)
class AmendmentRule:
    """What a place wants; None: it gives no such threshold. Shares are of the maximum landing weight and of the MAC."""

    place: str
    section: str
    words: str
    source: Source
    weight_kg: float | None
    of_landing_max_1: float | None
    of_mac_1: float | None
    from_kg: float
    below_kg: float | None


@dataclass(frozen=True)
class Judged:
    """A place's rule against this change: negligible, not negligible, not known or no threshold, and why."""

    rule: AmendmentRule
    verdict: str
    why: str


@dataclass(frozen=True)
class Amendment:
    """The empty aeroplane before and after the items since a day; changes are after less before."""

    ledger: Ledger
    since: date
    before: EmptyWeight
    items: tuple[Line, ...]
    after: EmptyWeight
    judged: tuple[Judged, ...]

    @property
    def weight_change_kg(self) -> float:
        """Empty weight after less before."""
        return self.after.weight_kg - self.before.weight_kg

    @property
    def arm_change_m(self) -> float:
        """Empty arm after less before."""
        return self.after.arm_m - self.before.arm_m

    def useful_load_kg(self, empty: EmptyWeight) -> float | None:
        """Maximum take-off weight less an empty weight; None where the record gives none."""
        most = self.ledger.record.weights.take_off_max_kg
        return float(most) - empty.weight_kg if is_figure(most) else None  # type: ignore[arg-type]


def amendment(entries: Iterable[Entry], aeroplane: str, on: date, since: date | None = None) -> Amendment | None:
    """The amendment of a day: from the last weighing or computed paper (or a day, `since`) through every change after it.

    None where nothing was put in or taken out. BadInput where the empty weight is not known, or a weighing or paper lies
    between `since` and the day: before and after would not differ by the items.
    """
    book = ledger(entries, aeroplane, on)
    if book.empty is None:
        raise BadInput(f"{aeroplane} has no empty weight to amend. {' '.join(book.not_known)}")
    last = max(w.date for w in book.record.weighings)
    start = last if since is None else since
    if start < last:
        raise BadInput(f"A weighing or paper of {last} lies after {start}; amend from {last} on.")
    items = tuple(x for x in book.lines if x.kind == EQUIPMENT and (x.day > start or (x.day == start == last and x.after)))
    if not items:
        return None
    before = empty_weight(replace(book.record, equipment=tuple(
        c for c in book.record.equipment if c.date <= start and not (c.date == last == start and c.after_weighing))), start)
    rules = tuple(judged(r, book.record, before, book.empty) for r in amendment_rules()
                  if r.from_kg <= before.weight_kg and (r.below_kg is None or before.weight_kg < r.below_kg))
    return Amendment(book, start, before, items, book.empty, rules)


def judged(rule: AmendmentRule, record: AirframeRecord, before: EmptyWeight, after: EmptyWeight) -> Judged:
    """A rule against a change of weight and arm, both without sign; what cannot be compared is never negligible."""
    landing, chord = record.weights.landing_max_kg, record.geometry.mac_m if record.geometry else None
    weight = rule.weight_kg
    if rule.of_landing_max_1 is not None and is_figure(landing):
        weight = rule.of_landing_max_1 * float(landing)  # type: ignore[arg-type]
    arm = None if rule.of_mac_1 is None or chord is None else rule.of_mac_1 * chord
    if rule.weight_kg is None and rule.of_landing_max_1 is None and rule.of_mac_1 is None:
        return Judged(rule, NO_THRESHOLD, "every change is entered")
    by_weight, by_arm = abs(after.weight_kg - before.weight_kg), abs(after.arm_m - before.arm_m)
    over_weight = weight is not None and by_weight > weight + SAME_KG
    if over_weight or (arm is not None and by_arm >= arm):
        return Judged(rule, COUNTS, "the weight" if over_weight else "the CG")
    if weight is None or arm is None:
        lacking = " and ".join(w for w, x in (("maximum landing weight", weight), ("mean aerodynamic chord", arm)) if x is None)
        return Judged(rule, NOT_KNOWN, f"the record has no {lacking}")
    return Judged(rule, NEGLIGIBLE, "weight and CG")


@cache
def amendment_rules() -> tuple[AmendmentRule, ...]:
    """The package's rules (data/weight_amendments.toml)."""
    root = package_toml("weight_amendments.toml")
    found = tuple(_rule(t) for t in root.tables("rule"))
    root.done()
    return found


def _rule(t: Table) -> AmendmentRule:
    found = AmendmentRule(
        t.text("place"), t.text("section"), t.text("words"), source_of(t), t.quantity("weight", "mass", None),
        t.quantity("of_landing_max", "ratio", None), t.quantity("of_mac", "ratio", None), t.quantity("from", "mass", 0.0),
        t.quantity("below", "mass", None))
    t.done()
    return found
