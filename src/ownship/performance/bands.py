"""A band from draws of which some cannot do what is asked: they count as the worst, they are not dropped."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
LEAST_ABLE_1 = 0.95  # share of the draws that must be able, or there is no figure
NONE = (float("nan"),) * 3


def banded(draws: FloatArray, worst: float, least_able_1: float = LEAST_ABLE_1) -> tuple[float, float, float]:
    """(5 %, 50 %, 95 %) of draws (draw,) in their own unit, NaN standing for `worst` (inf or -inf).

    Three NaN where fewer than `least_able_1` of the draws are finite, or an end of the band is one that cannot.
    """
    able = np.isfinite(draws)
    if not draws.size or able.mean() < least_able_1:
        return NONE
    with np.errstate(invalid="ignore"):
        low, middle, high = (float(x) for x in np.percentile(np.where(able, draws, worst), [5, 50, 95]))
    return (low, middle, high) if np.isfinite([low, middle, high]).all() else NONE
