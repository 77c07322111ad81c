"""A figure: a value in a stated unit with, where it has one, its band (5 and 95 %)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from ownship.units import from_si


@dataclass(frozen=True)
class Figure:
    """A number for people: `value`, `low` (5 %) and `high` (95 %) are all in `unit`."""

    value: float
    unit: str
    low: float | None = None
    high: float | None = None

    def to_json(self) -> dict[str, Any]:
        """The quantity of formats.md: {"value","unit"} and, where there is a band, "low","high"; None for what is not finite."""
        result: dict[str, Any] = {"value": _finite(self.value), "unit": self.unit}
        if self.low is not None and self.high is not None:
            result |= {"low": _finite(self.low), "high": _finite(self.high)}
        return result

    def text(self, digits: int | None = None) -> str:
        """Words: "1,230 ft (1,180 to 1,300)"; digits after the point by size unless given."""
        shown = f"{number_text(self.value, digits)} {self.unit}"
        if self.low is None or self.high is None:
            return shown
        return f"{shown} ({number_text(self.low, digits)} to {number_text(self.high, digits)})"


def figure(value_si: float, unit: str, low_si: float | None = None, high_si: float | None = None,
           dimension: str | None = None) -> Figure:
    """A Figure in `unit` from SI numbers; `dimension` where the token is ambiguous (C, %, 1)."""
    def convert(x: float | None) -> float | None:
        return None if x is None else float(from_si(x, unit, dimension))

    return Figure(float(from_si(value_si, unit, dimension)), unit, convert(low_si), convert(high_si))


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def sentence_case(text: str) -> str:
    """The text with its first letter raised; the rest, names and abbreviations, as it was."""
    return text[:1].upper() + text[1:]


def number_text(value: float, digits: int | None = None) -> str:
    """A number as a pilot writes it: thousands marked, one digit below 100, none above."""
    if not math.isfinite(value):
        return "not known"
    if digits is None:
        digits = 1 if abs(value) < 100 else 0
    return f"{round(value, digits) + 0.0:,.{digits}f}"


def signed_text(value: float, digits: int | None = None) -> str:
    """A difference as a pilot writes it: with its sign, and "0" without one where it rounds to nothing."""
    text = number_text(value, digits)
    return text if text.startswith("-") or not math.isfinite(value) or not text.strip("0.,") else f"+{text}"
