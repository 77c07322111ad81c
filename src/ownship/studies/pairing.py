"""A figure before, after and the difference between them, draw by draw: what both sides share cancels.

A draw that cannot (NaN) counts as the worst there is. So a band holds only where its worse end still flies, which takes
95 % of the draws; else the figure is NaN, "cannot".
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ownship.units import from_si
from ownship.words.figures import Figure

FloatArray = NDArray[np.float64]
PERCENT = (5, 50, 95)


@dataclass(frozen=True)
class Paired:
    """A figure before, after and their difference, each with its band from common draws.

    conditions: what the two sides were computed at, where that is not plain; missing: the word for a side that is NaN.
    """

    before: Figure
    after: Figure
    difference: Figure
    conditions: str = ""
    missing: str = "not known"

    def to_json(self) -> dict[str, Any]:
        """The three quantities, and the conditions where there are any."""
        data: dict[str, Any] = {"before": self.before.to_json(), "after": self.after.to_json(),
                                "difference": self.difference.to_json()}
        return data | {"conditions": self.conditions} if self.conditions else data


def paired(before: FloatArray, after: FloatArray, unit: str, dimension: str | None = None, *, worse: int = -1,
           conditions: str = "", missing: str = "not known") -> Paired:
    """Medians and 5-95 % bands of two (draw,) SI arrays and of their difference, draw by draw.

    worse: -1 where less is worse (speed, climb), +1 where more is (distance, fuel): the side that NaN counts on.
    """
    a, b = (_filled(np.asarray(from_si(x, unit, dimension), dtype=float), worse) for x in (before, after))
    with np.errstate(invalid="ignore"):
        change = _filled(b - a, worse)
    figures = [_banded(x, unit) for x in (a, b, change)]
    known = all(math.isfinite(f.value) for f in figures)
    return Paired(figures[0], figures[1], figures[2] if known else Figure(math.nan, unit), conditions, missing)


def _filled(values: FloatArray, worse: int) -> FloatArray:
    return np.where(np.isnan(values), worse * np.inf, values)


def _banded(values: FloatArray, unit: str) -> Figure:
    with np.errstate(invalid="ignore"):
        low, middle, high = (float(x) for x in np.percentile(values, PERCENT))
    if not all(map(math.isfinite, (low, middle, high))):
        return Figure(math.nan, unit)
    return Figure(middle, unit, low, high)
