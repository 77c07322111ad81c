"""A study of a modification in lines."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

from ownship.performance.model import HARD_RANGE_M
from ownship.units import from_si
from ownship.words.figures import signed_text

LABELS = {"useful_load": "useful load", "static_rpm": "static rpm", "equal_rpm": "at equal rpm, 5,000 ft",
          "equal_power": "at equal power, 5,000 ft", "full_throttle": "full throttle, 7,500 ft", "take_off": "take-off",
          "climb": "best rate of climb, sea level", "ceiling": "service ceiling", "range": "range at that power, 45 min left",
          "cg": "CG"}
DETAILS = {"tas": "TAS", "tas.lifted": "TAS, rpm limit lifted", "fuel": "fuel", "over_50ft": "over 50 ft", "roll": "roll",
           "room.forward": "forward room, worst loading", "room.aft": "aft room, worst loading", "empty_arm": "empty arm"}


def _beyond(group: str, p: Any) -> str:
    top = float(from_si(HARD_RANGE_M[1], "ft"))
    return f"; above {top:,.0f} ft the model is not checked" if group == "ceiling" and max(
        p.before.value, p.after.value) > top else ""


def study_lines(s: Any, claims: list[str]) -> Iterable[str]:
    """Name, what must be heard first, the paired figures, approval, price, source."""
    yield s.name.capitalize()
    for line in (*s.first_lines, *s.conflicts, *claims):
        yield f"  ! {line}"
    for group, values in s.figures.items():
        for key, p in values.items():
            label = LABELS[group] + (f", {DETAILS[key]}" if key in DETAILS else "")
            if math.isfinite(p.before.value) and math.isfinite(p.after.value):
                d, digits = p.difference, 0 if abs(p.before.value) >= 100 and p.difference.unit != "kt" else 1
                yield (f"  {label}: {p.before.text()} to {p.after.text()}, difference {signed_text(d.value, digits)} "
                       f"({signed_text(d.low, digits)} to {signed_text(d.high, digits)}){_beyond(group, p)}")
            else:
                yield f"  {label}: not known"
    yield f"  approval: {s.approval or 'none named'}"
    yield f"  price {s.price}; {s.hours:.0f} h to fit; source: {s.source}"
    yield ""
