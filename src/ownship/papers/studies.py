"""A study of a modification in lines."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

from ownship.performance.model import HARD_RANGE_M
from ownship.units import from_si
from ownship.words.cautions import CAUTIONS
from ownship.words.figures import sentence_case, signed_text

LABELS = {"useful_load": "useful load", "static_rpm": "static rpm", "equal_rpm": "at equal rpm, 5,000 ft",
          "equal_power": "at equal power, 5,000 ft", "full_throttle": "full throttle, 7,500 ft", "take_off": "take-off",
          "climb": "best rate of climb, sea level", "ceiling": "service ceiling", "range": "range at that power, 45 min left",
          "cg": "CG"}
DETAILS = {"tas": "TAS", "tas.lifted": "TAS, rpm limit lifted", "fuel": "fuel", "over_50ft": "over 50 ft", "roll": "roll",
           "over_50ft.same_weight": "over 50 ft, weight as before", "roll.same_weight": "roll, weight as before",
           "tas.same_weight": "TAS, weight as before", "fuel.same_weight": "fuel, weight as before",
           "tas.lifted.same_weight": "TAS, rpm limit lifted, weight as before", "rate.same_weight": "weight as before",
           "ceiling.same_weight": "weight as before", "range.same_weight": "weight as before",
           "over_50ft.same_load": "over 50 ft, same load", "roll.same_load": "roll, same load", "rate.same_load": "same load",
           "ceiling.same_load": "same load",
           "room.forward": "forward room, worst loading", "room.aft": "aft room, worst loading", "empty_arm": "empty arm"}


def _beyond(group: str, p: Any) -> str:
    top = float(from_si(HARD_RANGE_M[1], "ft"))
    known = [f.value for f in (p.before, p.after) if math.isfinite(f.value)]
    return f"; above {top:,.0f} ft the model is not checked" if group == "ceiling" and max(known, default=0) > top else ""


def _line(group: str, key: str, p: Any) -> str:
    """One paired figure: label, conditions, both sides, the difference where both sides have one."""
    label = LABELS[group] + (f", {DETAILS[key]}" if key in DETAILS else "") + (f" ({p.conditions})" if p.conditions else "")
    sides = [f.text() if math.isfinite(f.value) else p.missing for f in (p.before, p.after)]
    if sides[0] == sides[1] == p.missing:
        return f"  {label}: {p.missing}"
    return f"  {label}: {sides[0]} to {sides[1]}, {_difference(p)}{_beyond(group, p)}"


def _difference(p: Any) -> str:
    d = p.difference
    if not math.isfinite(d.value):
        return "no difference to give"
    digits = 0 if abs(p.before.value) >= 100 and d.unit != "kt" else 1
    return f"difference {signed_text(d.value, digits)} ({signed_text(d.low, digits)} to {signed_text(d.high, digits)})"


def study_lines(s: Any, claims: list[str]) -> Iterable[str]:
    """Name, what must be heard first, the paired figures, approval, price, source."""
    yield sentence_case(s.name)
    for line in (*s.first_lines, *s.conflicts, *claims):
        yield f"  ! {line}"
    for group, values in s.figures.items():
        for key, p in values.items():
            yield _line(group, key, p)
    yield f"  approval: {s.approval or 'none named'}"
    yield f"  price {s.price}; {s.hours:.0f} h to fit; source: {s.source}"
    yield ""


def left_out_lines(left_out: Iterable[Any]) -> Iterable[str]:
    """A line for each modification of the library that does not fit, and last the caution."""
    for x in left_out:
        yield f"Left out: {x.name}. {x.why}"
    yield CAUTIONS["modifications"][0]
