"""The weight and CG envelope: where its limits are at a weight, and how much room is left.

Edges are straight in arm or in moment, as the record says; an edge straight in moment is curved in arm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Point = tuple[float, float]  # weight (kg), arm (m)
SLOPE_STEP_KG = 0.5


def crosses_itself(points: Sequence[Point]) -> bool:
    """Whether the closed polygon has two edges that cross, or touch away from a shared corner."""
    edges = list(pairwise([*points, points[0]]))
    return any(_meet(*edges[i], *edges[j]) for i in range(len(edges)) for j in range(i + 2, len(edges))
               if not (i == 0 and j == len(edges) - 1)) or any(_turns_back(*a, b[1]) for a, b in pairwise([*edges, edges[0]]))


def _side(p: Point, q: Point, r: Point) -> float:
    """Sign of r beside the line pq; 0 on it, rounding allowed for."""
    first, second = (q[0] - p[0]) * (r[1] - p[1]), (q[1] - p[1]) * (r[0] - p[0])
    return 0.0 if abs(first - second) <= 1e-9 * (abs(first) + abs(second)) else first - second


def _meet(a: Point, b: Point, c: Point, d: Point) -> bool:
    """Whether the segments ab and cd share a point; two on one line only where they overlap."""
    sides = (_side(a, b, c), _side(a, b, d), _side(c, d, a), _side(c, d, b))
    if any(sides):
        return sides[0] * sides[1] <= 0 and sides[2] * sides[3] <= 0
    return all(max(min(a[k], b[k]), min(c[k], d[k])) <= min(max(a[k], b[k]), max(c[k], d[k])) for k in (0, 1))


def _turns_back(a: Point, b: Point, c: Point) -> bool:
    """Whether the edge bc runs back along ab."""
    return _side(a, b, c) == 0 and (b[0] - a[0]) * (c[0] - b[0]) + (b[1] - a[1]) * (c[1] - b[1]) < 0


def several_ranges_at(points: Sequence[Point]) -> float | None:
    """A weight (kg) at which the polygon allows more than one range of arms; None where there is none."""
    weights = sorted({w for w, _ in points})
    for low, high in pairwise(weights):
        middle = (low + high) / 2
        if sum(min(a[0], b[0]) < middle < max(a[0], b[0]) for a, b in pairwise([*points, points[0]])) > 2:
            return middle
    return None


def arm_limits(points: Sequence[Point], straight_in: str, weight_kg: float) -> tuple[float, float] | None:
    """(forward, aft) limit of the arm (m) at a weight; None where no arm is allowed.

    Along an edge the arm is linear in weight (straight in arm) or the moment is (straight in moment).
    """
    arms = []
    for (w1, a1), (w2, a2) in pairwise([*points, points[0]]):
        if min(w1, w2) - 1e-9 <= weight_kg <= max(w1, w2) + 1e-9:
            if abs(w2 - w1) < 1e-9:
                arms += [a1, a2]
                continue
            share = (weight_kg - w1) / (w2 - w1)
            if straight_in == "arm":
                arms.append(a1 + share * (a2 - a1))
            else:
                arms.append((w1 * a1 + share * (w2 * a2 - w1 * a1)) / weight_kg)
    return (min(arms), max(arms)) if arms else None


def arm_limits_at(points: Sequence[Point], straight_in: str, weight_kg: FloatArray) -> tuple[FloatArray, FloatArray]:
    """`arm_limits` for many weights at once, each like `weight_kg`; NaN where no arm is allowed."""
    forward, aft = np.full(weight_kg.shape, np.inf), np.full(weight_kg.shape, -np.inf)
    for (w1, a1), (w2, a2) in pairwise([*points, points[0]]):
        on = (weight_kg >= min(w1, w2) - 1e-9) & (weight_kg <= max(w1, w2) + 1e-9)
        if abs(w2 - w1) < 1e-9:
            low, high = np.full(weight_kg.shape, min(a1, a2)), np.full(weight_kg.shape, max(a1, a2))
        else:
            share = (weight_kg - w1) / (w2 - w1)
            arm = a1 + share * (a2 - a1) if straight_in == "arm" else (w1 * a1 + share * (w2 * a2 - w1 * a1)) / weight_kg
            low = high = arm
        forward, aft = np.where(on, np.minimum(forward, low), forward), np.where(on, np.maximum(aft, high), aft)
    return np.where(np.isfinite(forward), forward, np.nan), np.where(np.isfinite(aft), aft, np.nan)


def limit_slopes(points: Sequence[Point], straight_in: str, weight_kg: float) -> tuple[float, float]:
    """How the (forward, aft) limit moves with weight, m/kg: the steeper of the slopes below and above."""
    here = arm_limits(points, straight_in, weight_kg)
    if here is None:
        return 0.0, 0.0
    near = [(s, arm_limits(points, straight_in, weight_kg + s)) for s in (-SLOPE_STEP_KG, SLOPE_STEP_KG)]
    forward = [(limits[0] - here[0]) / s for s, limits in near if limits is not None]
    aft = [(limits[1] - here[1]) / s for s, limits in near if limits is not None]
    return max(forward, key=abs, default=0.0), max(aft, key=abs, default=0.0)


def weight_range(points: Sequence[Point]) -> tuple[float, float]:
    """Lowest and highest weight of the envelope, kg."""
    weights = [w for w, _ in points]
    return min(weights), max(weights)


def arm_room(points: Sequence[Point], straight_in: str, weight_kg: float, arm_m: float) -> float:
    """Signed distance in arm (m) to the nearer CG limit at this weight: positive inside, -inf outside its weights."""
    limits = arm_limits(points, straight_in, weight_kg)
    if limits is None:
        return -math.inf
    return min(arm_m - limits[0], limits[1] - arm_m)


def weight_room(points: Sequence[Point], weight_kg: float) -> float:
    """Room in weight (kg) to the top of the envelope, negative beyond."""
    return weight_range(points)[1] - weight_kg
