"""One aeroplane before and after: the figures an owner compares, paired on the same draws.

A propeller has three answers, and all are shown: at equal rpm, at equal power, and at full throttle with the rpm
limit kept and lifted. A weight has three as well: at the maximum, at the maximum before where the approval alters it,
and with the same people and things on board.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from ownship.aeroplane.description import AirframeRecord
from ownship.aeroplane.weighing import EmptyWeight, Mass, add, empty_weight
from ownship.errors import BadInput, MissingKey
from ownship.performance.model import Model
from ownship.studies.altering import Modifications, added, apply, approved_weight_kg, conflicts, in_order, on_record
from ownship.studies.notices import first_lines
from ownship.studies.numbers import Groups, Side, at_rev_s, field_and_climb, papers, performance
from ownship.studies.pairing import Paired, paired
from ownship.units import from_si, parse, to_si

FloatArray = NDArray[np.float64]
UNITS = {"useful_load": "lb", "static_rpm": "rpm", "tas": "kt", "fuel": "usgal/h", "roll": "ft", "over_50ft": "ft",
         "rate": "ft/min", "ceiling": "ft", "range": "nm", "room": "in", "empty_arm": "in"}
MORE_IS_WORSE = ("roll", "over_50ft", "fuel")
CANNOT, NO_CEILING = "cannot", "not known (under 100 ft/min at sea level, or above 26,000 ft)"
GROUPS = ("useful_load", "static_rpm", "equal_rpm", "equal_power", "full_throttle", "take_off", "climb", "ceiling", "range", "cg")
RPM_SHARE_1, STEP_REV_S, STEPS = 2500 / 2700, float(to_si(50, "rpm")), 9
LEAST_SHARE_1 = 0.5  # an aeroplane that loses more of its weight than this is no longer the one that was calibrated
COMPARISONS = {("equal_rpm", "tas"): "at equal rpm", ("equal_power", "tas"): "at equal power",
               ("full_throttle", "tas"): "at full throttle, rpm limit kept",
               ("full_throttle", "tas.lifted"): "at full throttle, rpm limit lifted"}


@dataclass(frozen=True)
class Study:
    """Everything said of some modifications together: first lines, approval, and the paired figures by name."""

    name: str
    first_lines: tuple[str, ...]
    conflicts: tuple[str, ...]
    price: str
    hours: float
    approval: str
    source: str
    figures: dict[str, dict[str, Paired]]


def study(record: AirframeRecord, model: Model, modifications: Modifications, on: date, seed: int = 0) -> Study:
    """Before and after some modifications on a date: each side at its own maximum take-off weight.

    Where the approval alters that weight the side after stands at the weight before as well (`.same_weight`); where the
    empty weight changes both sides stand once more with the same load (`.same_load`), the heavier at the maximum before.
    """
    ordered = in_order(modifications)
    before = Side(record, _empty(record, on), model)
    after = _after(before, ordered, seed)
    figures = _figures(before, after, ordered)
    lines = first_lines(before, after, ordered, figures)
    approval = "; ".join(m.approval.words for m in modifications if m.approval.words)
    return Study(" + ".join(m.name for m in modifications) or "nothing altered", tuple(lines), tuple(conflicts(ordered)),
                 "; ".join(m.price for m in modifications), float(from_si(sum(m.hours_s for m in modifications), "h")),
                 approval, "; ".join(m.source for m in modifications), figures)


def _empty(record: AirframeRecord, on: date) -> EmptyWeight | None:
    try:
        return empty_weight(record, on)
    except MissingKey:
        return None


def _after(before: Side, modifications: Modifications, seed: int) -> Side:
    """The aeroplane after: model, record, and the empty weight with what was added; the weighing itself stays as it was."""
    record = on_record(before.record, modifications)
    model = apply(before.model, modifications, seed)
    empty = before.empty
    if empty is not None:
        mass = add(Mass(empty.weight_kg, empty.weight_kg * empty.arm_m),
                   added(modifications, before.model.airframe.fuel_density_kg_m3))
        empty = replace(empty, weight_kg=mass.weight_kg, arm_m=mass.arm_m)
    return Side(record, empty, model)


def _figures(before: Side, after: Side, modifications: Modifications) -> dict[str, dict[str, Paired]]:
    """All groups in their order; the further comparisons of a weight stand beside the first as NAME.same_weight, .same_load."""
    reference = before.model.airframe
    most = reference.take_off_max_kg
    approved = approved_weight_kg(modifications)
    last = most if approved is None else approved
    _check_weights(after, last)
    rev_s = equal_rev_s((before, most), (after, last))
    at_most = performance(before, reference, most, rev_s)
    first = performance(after, reference, last, rev_s)
    found: dict[str, dict[str, Paired]] = {g: {} for g in GROUPS}
    _join(found, _pairs(papers(before), papers(after), before))
    _join(found, _pairs(at_most, first, before, "" if approved is None else _weights(most, approved)))
    if approved is not None and not math.isclose(approved, most):
        _join(found, _pairs(at_most, performance(after, reference, most, rev_s), before, _weights(most, most)), ".same_weight")
    said = f"{from_si(rev_s, 'rpm'):,.0f} rpm"
    found["equal_rpm"] = {k: replace(p, conditions="; ".join(x for x in (said, p.conditions) if x))
                          for k, p in found["equal_rpm"].items()}
    gained = sum(kg for kg, _ in added(modifications, reference.fuel_density_kg_m3))
    if gained:
        one, other = most - max(gained, 0.0), most + min(gained, 0.0)
        if min(one, other) < LEAST_SHARE_1 * most:
            raise BadInput(f"The modifications alter the empty weight by {from_si(gained, 'lb'):+,.0f} lb, more than half of the "
                           "maximum take-off weight; correct their weights.")
        same = _pairs(field_and_climb(before, one), field_and_climb(after, other), before, _weights(one, other))
        _join(found, same, ".same_load")
    return found


def equal_rev_s(one: tuple[Side, float], other: tuple[Side, float]) -> float:
    """The propeller speed of the comparison at equal rpm, rev/s: 2,500 of 2,700 rpm at 5,000 ft, or lower in steps of 50 rpm
    as long as one of the two (side, weight in kg) cannot; the first one where neither can."""
    most = RPM_SHARE_1 * one[0].model.airframe.rev_max_rev_s
    for step in range(STEPS):
        rev_s = most - step * STEP_REV_S
        first, second = (at_rev_s(side, weight_kg, rev_s)["tas"] for side, weight_kg in (one, other))
        if math.isfinite(paired(first, second, "kt").difference.value):
            return rev_s
    return most


def _check_weights(after: Side, most_kg: float) -> None:
    if after.empty is not None and most_kg <= after.empty.weight_kg:
        raise BadInput(f"The approved take-off weight of {from_si(most_kg, 'lb'):,.0f} lb is not above the empty aeroplane's "
                       f"{from_si(after.empty.weight_kg, 'lb'):,.0f} lb; correct take_off_max under [approval].")


def _weights(before_kg: float, after_kg: float) -> str:
    first, second = (f"{from_si(x, 'lb'):,.0f} lb" for x in (before_kg, after_kg))
    return f"both at {first}" if first == second else f"{first} before, {second} after"


def _pairs(before: Groups, after: Groups, side: Side, conditions: str = "") -> dict[str, dict[str, Paired]]:
    """Both sides paired; a key that only one side has is not known on the other."""
    nothing = np.full(side.model.draws.size, np.nan)
    return {group: {key: _pair(key, before[group].get(key, nothing), after[group].get(key, nothing), side, conditions)
                    for key in {**before[group], **after[group]}} for group in before}


def _pair(key: str, before: FloatArray, after: FloatArray, side: Side, conditions: str) -> Paired:
    kind = key.partition(".")[0]
    missing = {"useful_load": "not known", "room": "not known", "empty_arm": "not known", "ceiling": NO_CEILING,
               "range": CANNOT if side.record.tanks else "not known"}.get(kind, CANNOT)
    return paired(before, after, UNITS[kind], worse=1 if kind in MORE_IS_WORSE else -1, conditions=conditions, missing=missing)


def _join(found: dict[str, dict[str, Paired]], more: dict[str, dict[str, Paired]], suffix: str = "") -> None:
    for group, values in more.items():
        found[group] = found[group] | {key + suffix: p for key, p in values.items()}


def claim(study_: Study, text: str) -> list[str]:
    """At which comparison a seller's figure ("6 mph") would be true: inside the band of the paired difference."""
    wanted = float(from_si(parse(text, "speed", "--claim"), "kt"))
    return [_claimed(study_.figures[group][key], text, wanted, words) for (group, key), words in COMPARISONS.items()]


def _claimed(p: Paired, text: str, wanted: float, words: str) -> str:
    d = p.difference
    if d.low is None or d.high is None:
        side = "after" if math.isfinite(p.before.value) else "before"
        return f"{text} would not be true {words}: the aeroplane {side} {p.missing} fly so."
    said = f"{d.value:+.1f} kt ({d.low:+.1f} to {d.high:+.1f})"
    if wanted < d.low:
        return f"{text}: more than that {words}: {said}."
    return f"{text} {'would be true' if wanted <= d.high else 'would not be true'} {words}: {said}."
