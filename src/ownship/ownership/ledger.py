"""The weight ledger: basic empty weight and arm after every weighing and change, useful load, the last real weighing.

Everything is worked out anew from the entries that stand, by `aeroplane.weighing.empty_weight`; nothing is stored. A computed
paper is an entry like a weighing that was not weighed: it never makes the last real weighing younger.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

from ownship.aeroplane.description import AirframeRecord, Equipment, is_figure
from ownship.aeroplane.description import Weighing as RecordedWeighing
from ownship.aeroplane.weighing import EmptyWeight, empty_weight, held
from ownship.errors import BadInput, MissingKey
from ownship.ownership.entries import Entry, EquipmentChange, Weighing, of_kind, standing
from ownship.ownership.revisions import as_equipment, as_weighing, bare_record, counted_once, own_record, record_on, revision_on
from ownship.schema import show
from ownship.units import parse, to_si

OIL_STATES = ("full", "undrainable", "none")
FUEL_STATES = ("unusable", "drained", "usable full")
WEIGHED, PAPER, EQUIPMENT = "weighing", "computed paper", "equipment"
SAME_KG, SAME_M = 1e-6, 1e-9
LIGHTEST_KG, HEAVIEST_KG = (float(to_si(w, "lb")) for w in (100, 20_000))  # as the airframe record allows
MOST_ITEM_KG = float(to_si(2000, "lb"))
FURTHEST_M = float(to_si(1000, "in"))
DENSITIES_KG_M3 = (parse("0.6 kg/l", "density"), parse("0.9 kg/l", "density"))


@dataclass(frozen=True)
class Line:
    """One line of the ledger, and what the empty aeroplane is after it.

    number: of the entry; None: from the aeroplane's record. kind: "weighing", "computed paper" or "equipment". weight and arm
    as entered (a removal is negative); empty: None where `words` say why it is not known. held: equipment that a later
    weighing, or one of the same day, already holds; after: equipment of the day of a weighing that came after it. found_kg: a
    weighing's weight less what the ledger had before it.
    """

    number: int | None
    day: date
    kind: str
    what: str
    weight_kg: float
    arm_m: float
    source: str
    empty: EmptyWeight | None
    words: str = ""
    held: bool = False
    found_kg: float | None = None
    found_m: float | None = None
    after: bool = False

    @property
    def moment_kg_m(self) -> float:
        """Weight times arm, as entered."""
        return self.weight_kg * self.arm_m


@dataclass(frozen=True)
class Ledger:
    """The ledger of an aeroplane on a day; what is None is not known, and `not_known` says why."""

    aeroplane: str
    on: date
    record: AirframeRecord
    lines: tuple[Line, ...]
    empty: EmptyWeight | None
    useful_load_kg: float | None
    last_real: date | None
    age_days: int | None
    warnings: tuple[str, ...]
    not_known: tuple[str, ...]


@dataclass(frozen=True)
class Moved:
    """What an entry moved: a line (or the day asked for, number None) with weight and arm before and after; None: not known."""

    number: int | None
    what: str
    day: date
    before: tuple[float, float] | None
    after: tuple[float, float] | None


# ---- reading


def ledger(entries: Iterable[Entry], aeroplane: str, on: date) -> Ledger:
    """The ledger of an aeroplane on a day, from every weighing and equipment change up to it that stands.

    Lines in order of day; on one day equipment stands before the weighing that holds it, or after it where it says so. Useful
    load: maximum take-off weight less basic empty weight. Raises NotPossible where more is taken out than the aeroplane weighs.
    """
    kept = standing(entries)
    record = _record(kept, aeroplane, on)
    lines = _lines(record, kept, aeroplane)
    empty, words = _empty(record, on)
    real = [w.date for w in record.weighings if w.weighed]
    useful, why = _useful_load(record, empty)
    return Ledger(aeroplane, on, record, lines, empty, useful, real[-1] if real else None, (on - real[-1]).days if real else None,
                  (*(empty.warnings if empty else ()), *_doubts(kept, aeroplane, on)), tuple(w for w in (words, why) if w))


def _record(kept: tuple[Entry, ...], aeroplane: str, on: date) -> AirframeRecord:
    known = revision_on(kept, aeroplane, on) is not None
    return record_on(kept, aeroplane, on) if known else bare_record(kept, aeroplane, on)


def _empty(record: AirframeRecord, on: date) -> tuple[EmptyWeight | None, str]:
    """The empty aeroplane, or why it is not known."""
    try:
        return empty_weight(record, on), ""
    except MissingKey as error:
        return None, f"Empty weight not known: {error}"


def _useful_load(record: AirframeRecord, empty: EmptyWeight | None) -> tuple[float | None, str]:
    most = record.weights.take_off_max_kg
    if empty is None:
        return None, ""
    if not is_figure(most):
        return None, "Useful load not known: the record has no maximum take-off weight in force; keep a record that has it."
    return float(most) - empty.weight_kg, ""  # type: ignore[arg-type]


def _doubts(kept: tuple[Entry, ...], aeroplane: str, on: date) -> tuple[str, ...]:
    """What the reader must know of where the lines came from."""
    own = own_record(kept, aeroplane, on)
    both = 0 if own is None else counted_once(own, kept, aeroplane)
    return (f"Of the record's own weighings and changes {both} stand in the ledger too and count once.",) if both else ()


def _lines(record: AirframeRecord, kept: tuple[Entry, ...], aeroplane: str) -> tuple[Line, ...]:
    """The record's weighings and changes in order, each with the empty aeroplane after it."""
    numbers: dict[RecordedWeighing | Equipment, int] = {
        **{as_weighing(e, w): e.number for e, w in of_kind(kept, Weighing, aeroplane)},
        **{as_equipment(e, c): e.number for e, c in of_kind(kept, EquipmentChange, aeroplane)}}
    order: list[RecordedWeighing | Equipment] = sorted(
        (*record.equipment, *record.weighings), key=lambda x: (x.date, _place(x)))
    last = max((w.date for w in record.weighings), default=date.min)
    partial, found = replace(record, weighings=(), equipment=()), list[Line]()
    for x in order:
        before = _empty(partial, x.date)[0]
        partial = _with(partial, x)
        found.append(_line(x, numbers.get(x), before, _empty(partial, x.date), last))
    return tuple(found)


def _place(x: RecordedWeighing | Equipment) -> int:
    """Order within a day: what a weighing holds, the weighing, what came after it."""
    return 1 if isinstance(x, RecordedWeighing) else 2 if x.after_weighing else 0


def _with(record: AirframeRecord, x: RecordedWeighing | Equipment) -> AirframeRecord:
    if isinstance(x, RecordedWeighing):
        return replace(record, weighings=(*record.weighings, x))
    return replace(record, equipment=(*record.equipment, x))


def _line(x: RecordedWeighing | Equipment, number: int | None, before: EmptyWeight | None,
          after: tuple[EmptyWeight | None, str], last: date) -> Line:
    empty, words = after
    if isinstance(x, Equipment):
        return Line(number, x.date, EQUIPMENT, x.what, x.weight_kg, x.arm_m, x.source, empty, words, held(x, last),
                    after=x.after_weighing)
    known = before is not None and empty is not None
    return Line(number, x.date, WEIGHED if x.weighed else PAPER, "weighed" if x.weighed else "computed, not weighed", x.weight_kg,
                x.arm_m, x.source, empty, words, False, empty.weight_kg - before.weight_kg if known else None,  # type: ignore[union-attr]
                empty.arm_m - before.arm_m if known else None)  # type: ignore[union-attr]


# ---- what a correction moves


def moved(before: Iterable[Entry], after: Iterable[Entry], aeroplane: str, on: date) -> tuple[Moved, ...]:
    """Lines whose empty weight or arm another state of the record moves, and the day asked for last (number None).

    A corrected entry is the same line as what corrects it; lines that only one of the two has are left out.
    """
    old, new = tuple(before), tuple(after)
    first, second = ledger(old, aeroplane, on), ledger(new, aeroplane, on)
    roots, was = _roots(new), {_key(x, _roots(old)): x for x in first.lines}
    pairs = [(was[k], x) for x in second.lines if (k := _key(x, roots)) in was]
    found = [Moved(b.number, b.what, b.day, _state(a.empty), _state(b.empty)) for a, b in pairs]
    return tuple(m for m in (*found, Moved(None, "empty weight", on, _state(first.empty), _state(second.empty)))
                 if not _same(m.before, m.after))


def _roots(entries: tuple[Entry, ...]) -> dict[int, int]:
    """The first entry of every chain of corrections, by number."""
    roots: dict[int, int] = {}
    for e in sorted(entries, key=lambda e: e.number):
        roots[e.number] = roots.get(e.corrects, e.corrects) if e.corrects is not None else e.number
    return roots


def _key(line: Line, roots: dict[int, int]) -> tuple[object, ...]:
    return (roots[line.number],) if line.number is not None else (line.day, line.kind, line.what, line.weight_kg, line.arm_m)


def _state(empty: EmptyWeight | None) -> tuple[float, float] | None:
    return None if empty is None else (empty.weight_kg, empty.arm_m)


def _same(a: tuple[float, float] | None, b: tuple[float, float] | None) -> bool:
    if a is None or b is None:
        return a is b
    return abs(a[0] - b[0]) < SAME_KG and abs(a[1] - b[1]) < SAME_M


# ---- what is refused


def refuse_entry(body: Weighing | EquipmentChange, today: date) -> None:
    """Refuse an entry that cannot be true: without its arm, of no or absurd weight, of a day to come."""
    name = "The weighing" if isinstance(body, Weighing) else f"The entry {body.what!r}"
    if body.arm_m is None or not math.isfinite(body.arm_m):
        raise BadInput(f"{name} has no arm, and without it nobody knows where it moves the CG; give the arm from the datum.")
    if abs(body.arm_m) > FURTHEST_M:
        raise BadInput(f"{name} has an arm of {show(body.arm_m, 'in')}, which is not believable; allowed is -1000 to 1000 in.")
    if body.day > today:
        raise BadInput(f"{name} is of {body.day}, a day to come; enter it when it is done.")
    _refuse_weighing(body) if isinstance(body, Weighing) else _refuse_change(body)


def _refuse_weighing(w: Weighing) -> None:
    if not LIGHTEST_KG <= w.weight_kg <= HEAVIEST_KG:
        raise BadInput(f"An empty weight of {show(w.weight_kg, 'lb')} is not believable; allowed is 100 to 20,000 lb.")
    for what, state, allowed in (("oil", w.oil, OIL_STATES), ("fuel", w.fuel, FUEL_STATES)):
        if state not in allowed:
            raise BadInput(f"{what}: {state!r} is no state of a weighing; allowed are {', '.join(allowed)}.")
    if w.fuel == "usable full" and w.density_kg_m3 is None:
        raise BadInput("A weighing with full tanks needs the fuel's density that day; give it, such as 6.0 lb/usgal.")
    if w.density_kg_m3 is not None and not DENSITIES_KG_M3[0] <= w.density_kg_m3 <= DENSITIES_KG_M3[1]:
        raise BadInput(f"A fuel density of {show(w.density_kg_m3, 'kg/l')} is not believable; allowed is 0.6 to 0.9 kg/l.")


def _refuse_change(c: EquipmentChange) -> None:
    if not c.what.strip():
        raise BadInput("The change does not say what was put in or taken out; name it.")
    if c.weight_kg == 0 or not math.isfinite(c.weight_kg) or abs(c.weight_kg) > MOST_ITEM_KG:
        raise BadInput(f"The entry {c.what!r} weighs {show(c.weight_kg, 'lb')}; give a weight other than 0, up to 2,000 lb.")


def refuse_unordered(book: Ledger, body: Weighing | EquipmentChange) -> None:
    """Refuse a change on the day of a weighing, and a second weighing beside a change kept as after the first, where nobody said
    which came first: the change would count twice or not at all. book: the ledger with the new entry in it."""
    same = [x for x in book.lines if x.day == body.day]
    if isinstance(body, EquipmentChange) and any(x.kind != EQUIPMENT for x in same):
        raise BadInput(f"{body.what!r} is of {body.day}, a day on which the aeroplane was weighed or a paper signed; say "
                       "--before-weighing where that holds it already, --after-weighing where it came after.")
    later = next((x for x in same if x.kind == EQUIPMENT and x.after), None)
    if isinstance(body, Weighing) and later is not None and sum(x.kind != EQUIPMENT for x in same) > 1:
        known = "the aeroplane's record" if later.number is None else f"entry {later.number}"
        raise BadInput(f"{later.what!r} ({known}) is kept as after the weighing of {body.day}, and this is another of that day; "
                       f"where this one holds it, first say `ownship weight correct {later.number or 'NUMBER'} --before-weighing`.")
