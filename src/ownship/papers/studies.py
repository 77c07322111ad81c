"""A study of a modification in lines."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

LABELS = {"useful_load": "useful load", "static_rpm": "static rpm", "equal_rpm": "at equal rpm, 5,000 ft",
          "equal_power": "at equal power, 5,000 ft", "full_throttle": "full throttle, 7,500 ft", "take_off": "take-off",
          "climb": "best rate of climb, sea level", "ceiling": "service ceiling", "range": "range at that power, 45 min left",
          "cg": "CG"}
DETAILS = {"tas": "TAS", "tas.lifted": "TAS, rpm limit lifted", "fuel": "fuel", "over_50ft": "over 50 ft", "roll": "roll",
           "room.forward": "forward room, worst loading", "room.aft": "aft room, worst loading", "empty_arm": "empty arm"}


def study_lines(s: Any, claims: list[str]) -> Iterable[str]:
    """Name, what must be heard first, the paired figures, approval, price, source."""
    yield s.name.capitalize()
    for line in (*s.first_lines, *s.conflicts, *claims):
        yield f"  ! {line}"
    for group, values in s.figures.items():
        for key, p in values.items():
            label = LABELS[group] + (f", {DETAILS[key]}" if key in DETAILS else "")
            if math.isfinite(p.before.value) and math.isfinite(p.after.value):
                yield (f"  {label}: {p.before.text()} to {p.after.value:,.1f} {p.after.unit}, difference "
                       f"{p.difference.value:+,.1f} ({p.difference.low:+,.1f} to {p.difference.high:+,.1f})")
            else:
                yield f"  {label}: not known"
    yield f"  approval: {s.approval or 'none named'}"
    yield f"  price {s.price}; {s.hours:.0f} h to fit; source: {s.source}"
    yield ""
