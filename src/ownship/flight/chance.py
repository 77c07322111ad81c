"""Standard normals by name: the same seed and name give the same draws, whatever else is drawn."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from functools import cache
from math import erfc, exp, log, pi, sqrt

import numpy as np
from numpy.typing import NDArray

BAND_1 = (0.05, 0.95)


@dataclass(frozen=True)
class Chance:
    """The seed of one assessment; `normals(name)` is a (draw,) vector of standard normals."""

    seed: int
    draws: int

    def normals(self, name: str) -> NDArray[np.float64]:
        """Stratified standard normals in an order that depends on seed and name only; draw 0 is 0, the middle flight.

        One value from each of `draws` equal slices of probability (midpoints), shuffled: mean and spread are
        those of the normal whatever the number of draws, so that medians stand still.
        """
        generator = np.random.default_rng([self.seed, zlib.crc32(name.encode())])
        mixed = generator.permutation(_slices(self.draws))
        nearest = int(np.argmin(np.abs(mixed)))
        mixed[0], mixed[nearest] = 0.0, mixed[0]
        return mixed


def middle(draws: NDArray[np.float64]) -> float:
    """The middle flight's value: draw 0, in which nothing deviates, so that sums of shown values add up exactly.

    Where draw 0 cannot be flown, the median of the others; NaN where none can.
    """
    if np.isfinite(draws[0]):
        return float(draws[0])
    good = draws[np.isfinite(draws)]
    return float(np.median(good)) if good.size * 2 > draws.size else float("nan")


def band(draws: NDArray[np.float64]) -> tuple[float, float]:
    """5 and 95 % of finite draws, (draw,): numpy's percentile, linear between neighbours, to the last digit but quicker."""
    ordered = np.sort(draws)
    found = []
    for share in BAND_1:
        at = (ordered.size - 1) * share
        i = int(at)
        low, high = float(ordered[i]), float(ordered[min(i + 1, ordered.size - 1)])
        part = at - i
        found.append(high - (high - low) * (1 - part) if part >= 0.5 else low + (high - low) * part)
    return found[0], found[1]


@cache
def _slices(size: int) -> NDArray[np.float64]:
    """Normal quantiles at the middles of `size` equal slices of probability."""
    return normal_quantiles((np.arange(size) + 0.5) / size)


def normal_quantiles(p: NDArray[np.float64]) -> NDArray[np.float64]:
    """Standard normal quantiles of probabilities in (0, 1).

    Start from Hastings' approximation (Abramowitz and Stegun 26.2.23, error < 4.5e-4), then two Newton steps
    on the complementary error function; good to 1e-12.
    """
    def one(q: float) -> float:
        tail = min(q, 1 - q)
        t = sqrt(-2 * log(tail))
        x = t - (2.515517 + t * (0.802853 + t * 0.010328)) / (1 + t * (1.432788 + t * (0.189269 + t * 0.001308)))
        for _ in range(2):
            x += (0.5 * erfc(x / sqrt(2)) - tail) / (exp(-x * x / 2) / sqrt(2 * pi))
        return -x if q < 0.5 else x

    return np.array([one(float(q)) for q in p])
