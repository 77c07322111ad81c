"""The weight and CG envelope: where its limits are at a weight, and how much room is left.

Edges are straight in arm or in moment, as the record says; an edge straight in moment is curved in arm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

Point = tuple[float, float]  # weight (kg), arm (m)


def crosses_itself(points: Sequence[Point]) -> bool:
    """Whether the closed polygon has two edges that cross, or touch away from a shared corner."""
    edges = list(pairwise([*points, points[0]]))
    return any(_cross(*edges[i], *edges[j]) for i in range(len(edges)) for j in range(i + 2, len(edges))
               if not (i == 0 and j == len(edges) - 1))


def _cross(a: Point, b: Point, c: Point, d: Point) -> bool:
    def side(p: Point, q: Point, r: Point) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return side(a, b, c) * side(a, b, d) <= 0 and side(c, d, a) * side(c, d, b) <= 0


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
