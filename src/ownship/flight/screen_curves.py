"""A margin over the weight: its rooms at a few weights, the parabola through them, and how another way of flying moves it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ownship.flight import margins as rule
from ownship.flight.screen_load import IS_NOT_KNOWN, IS_OUTSIDE, IS_TIGHT, IS_WITHIN
from ownship.words.verdicts import ADVICE, ORDER

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int_]
NODES = 3
EASE_1 = 0.01  # of what a room spans over the nodes: more than the parabola is off by between them


@dataclass(frozen=True)
class Curve:
    """One margin at the nodes: room until outside and until no longer within (NaN where no number decides), verdicts."""

    outside: FloatArray
    inside: FloatArray
    verdict: IntArray
    advice: bool

    @cached_property
    def in_numbers(self) -> bool:
        """Whether numbers decide at every node."""
        return bool(np.isfinite(self.outside).all() and np.isfinite(self.inside).all())


def judged_at(curves: Sequence[Curve], which: IntArray, share: FloatArray, shift: FloatArray, ease_1: float = 0.0) -> IntArray:
    """Verdict index at places between the nodes (0 to NODES - 1), the rooms moved by `shift`; which: each one's curve.

    ease_1: this share of what the room spans over the nodes is let pass, for what the parabola may be off by.
    """
    outside, inside, verdict, advice = (np.array([getattr(c, name) for c in curves])
                                        for name in ("outside", "inside", "verdict", "advice"))
    low, high = (np.clip(f(share).astype(int), 0, NODES - 1) for f in (np.floor, np.ceil))
    stated = np.maximum(verdict[which, low], verdict[which, high])
    out, inn = (parabola(x[which].T, share) + shift + ease_1 * np.ptp(x, axis=1)[which] for x in (outside, inside))
    measured = np.where(out < 0, np.where(advice, IS_TIGHT, IS_OUTSIDE)[which], np.where(inn >= 0, IS_WITHIN, IS_TIGHT))
    return np.where((np.isnan(outside).any(axis=1) | np.isnan(inside).any(axis=1))[which], stated, measured)


def parabola(values: FloatArray, x: FloatArray) -> FloatArray:
    """Through values at 0, 1, 2."""
    a, b, c = values
    return np.asarray(a * (x - 1) * (x - 2) / 2 - b * x * (x - 2) + c * x * (x - 1) / 2)


@dataclass(frozen=True)
class Profile:
    """One way of flying: margins as curves over the ramp weight, how burn to landing and time differ from the flight as asked."""

    curves: dict[str, Curve]
    burn_m3: float = 0.0
    time_s: float = 0.0
    why: str = ""


def share_of(nodes: FloatArray, value: FloatArray) -> FloatArray:
    """Where a weight lies between equally spaced nodes: 0 at the first, 1 at the second."""
    return np.asarray((value - nodes[0]) / max(float(nodes[-1] - nodes[0]) / (len(nodes) - 1), 1e-9))


def together(base: dict[str, Curve], parts: Sequence[Profile]) -> Profile:
    """Several changes of a flight at once, to first order: every limit moves by the sum of what each does to it.

    A limit without numbers takes the verdict of the one change that alters it, the worse where several do.
    """
    why = next((p.why for p in parts if p.why), "")
    curves: dict[str, Curve] = {}
    for id_ in dict.fromkeys(i for p in parts for i in p.curves):
        found = [p.curves[id_] for p in parts if id_ in p.curves]
        was = base.get(id_)
        if was is not None and all(c.in_numbers for c in (was, *found)):
            curves[id_] = Curve(was.outside + sum(c.outside - was.outside for c in found),
                                 was.inside + sum(c.inside - was.inside for c in found), was.verdict, was.advice)
            continue
        altered = [c for c in found if was is None or not np.array_equal(c.verdict, was.verdict)] or found
        curves[id_] = max(altered, key=lambda c: int(c.verdict.max()))
    return Profile(curves, sum(p.burn_m3 for p in parts), sum(p.time_s for p in parts), why)


def moved(curve: Curve | None, before: rule.Margin | None, now: rule.Margin) -> Curve:
    """A curve of the flight as asked moved to what the limit is now; without numbers on both sides: the verdict now."""
    new = curve_of([now] * NODES)
    if curve is None or before is None or not np.isfinite(curve.outside).all() or not np.isfinite(new.outside).all():
        return new
    old = curve_of([before] * NODES)
    if not np.isfinite(old.outside).all():
        return new
    return Curve(curve.outside + new.outside - old.outside, curve.inside + new.inside - old.inside, new.verdict, new.advice)


def curve_of(found: Sequence[rule.Margin | None]) -> Curve:
    """A margin at every node; where a node lacks it, it is not known there."""
    def number(m: rule.Margin | None, which: str) -> float:
        value = None if m is None else m.inside if which == "inside" else None if m.margin is None else m.margin.value
        return float("nan") if value is None or m is None or m.inside is None else float(value)

    return Curve(np.array([number(m, "outside") for m in found]), np.array([number(m, "inside") for m in found]),
                  np.array([IS_NOT_KNOWN if m is None else ORDER.index(m.verdict) for m in found]),
                  any(m is not None and m.kind == ADVICE for m in found))
