"""The tank plan: which tank feeds from when to when, and whether it is certain that the next one feeds.

Doctrine: taxi on one tank, run-up and take-off on the other; no change until a safe height, none after the descent
begins; changes over fixes or at round times; never dry; the least time left in the tank being left; the imbalance
limit; the final reserve in one tank, which outranks the imbalance limit and is said when the two collide.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ownship.aeroplane.description import Selector
from ownship.flight.chance import middle
from ownship.flight.tank_rules import (
    TOUCH_M3,
    BurnPhase,
    Moment,
    Task,
    ground_tanks,
    low_end,
    moments_of,
    spread,
    stretches,
)
from ownship.flight.tank_search import fewest, search
from ownship.units import from_si

FloatArray = NDArray[np.float64]
__all__ = ["BurnPhase", "Change", "Segment", "TankPlan", "plan_tanks", "share_evenly"]


@dataclass(frozen=True)
class Segment:
    """One stretch on one tank; "left+right" where the selector stands on BOTH."""

    tank: str
    start_s: float
    end_s: float
    burn_m3: FloatArray
    where: str


@dataclass(frozen=True)
class Change:
    """One change in flight: from and to which tank, when, contents (draw,) of the tank being left at that moment."""

    number: int
    time_s: float
    leaving: str
    to: str
    where: str
    left_m3: FloatArray


@dataclass(frozen=True)
class TankPlan:
    """Segments in order, changes in flight, largest imbalance (m3) with its sd, contents at the end, what is to be said."""

    segments: tuple[Segment, ...]
    changes: tuple[Change, ...]
    start_m3: dict[str, FloatArray]
    end_m3: dict[str, FloatArray]
    imbalance_m3: float
    landing_tank: str
    conflicts: tuple[str, ...]
    words: tuple[str, ...]
    phases: tuple[BurnPhase, ...]
    imbalance_sd_m3: float = 0.0

    def contents_at(self, time_s: float) -> dict[str, FloatArray]:
        """Usable fuel by tank (draw,) at a moment; their sum is the start less the burn so far, exactly."""
        left = {k: v.copy() for k, v in self.start_m3.items()}
        for s in self.segments:
            if time_s > s.start_s:
                left |= share_evenly({k: left[k] for k in s.tank.split("+")},
                                     burn_between(self.phases, s.start_s, min(s.end_s, time_s)))
        return left


def plan_tanks(phases: tuple[BurnPhase, ...], selector: Selector, usable_m3: dict[str, FloatArray], *,
               window_s: tuple[float, float], fixes: tuple[tuple[str, float], ...], reserve_m3: float,
               cruise_flow_m3_s: float, density_kg_m3: float, blocks_clock_s: float | None = None) -> TankPlan:
    """The plan with the fewest changes that keeps every rule; the least bad one, with its conflicts, where none does.

    window_s: first and last moment at which a change in flight is allowed; usable_m3 (draw,) by tank at the start.
    phases[0] is the taxi if it is named so. blocks_clock_s: the clock on leaving the blocks (s after midnight), so
    that changes fall on round clock times; without it they are round from the blocks. Draw 0 is the middle flight;
    low ends are 5 % of the fuel less 95 % of the burn. Mass balance: segments' burns add up to the phases' burns.
    """
    imbalance = selector.imbalance_limit(density_kg_m3)
    task = Task(phases, selector, usable_m3, imbalance if isinstance(imbalance, float) else None,
                reserve_m3, selector.floor_time_s * cruise_flow_m3_s)
    if len(usable_m3) == 1 or set(selector.positions) == {"both"} or ("both" in selector.positions and selector.take_off == "both"):
        return _whole("+".join(usable_m3), task)
    taxi, first, words = ground_tanks(task)
    moments = moments_of(window_s, fixes, blocks_clock_s)
    chosen, kept = search(task, taxi, first, moments)
    found = [] if kept else problems(task, taxi, first, chosen, moments)
    return _plan(task, taxi, first, chosen, (*found, *_unflown(task)), (words,))


def burn_between(phases: tuple[BurnPhase, ...], start_s: float, end_s: float) -> FloatArray:
    """Burn (draw,) between two moments: each phase's burn in proportion of its time."""
    total = np.zeros_like(phases[0].burn_m3)
    for p in phases:
        span = p.end_s - p.start_s
        inside = min(end_s, p.end_s) - max(start_s, p.start_s)
        if span > 0 and inside > 0:
            total = total + p.burn_m3 * (inside / span)
    return total


def share_evenly(left_m3: dict[str, FloatArray], burn_m3: FloatArray) -> dict[str, FloatArray]:
    """Contents (draw,) after a burn drawn evenly from several tanks; an empty one gives nothing, the others the rest.

    Where all of them together hold too little, the lack is shared: below zero, so that the balance still holds.
    """
    left, rest = dict(left_m3), burn_m3
    for _ in left:
        feeding = {k: v > 0 for k, v in left.items()}
        each = rest / np.maximum(np.sum(list(feeding.values()), axis=0), 1)
        taken = {k: np.where(feeding[k], np.minimum(v, each), 0.0) for k, v in left.items()}
        left = {k: v - taken[k] for k, v in left.items()}
        rest = rest - np.sum(list(taken.values()), axis=0)
    return {k: v - rest / len(left) for k, v in left.items()}


def _unflown(task: Task) -> list[str]:
    share = task.unflown_1
    return [f"In {share:.0%} of the cases the flight cannot be flown; the tank plan leaves them out."] if share > 0 else []


def _whole(tank: str, task: Task) -> TankPlan:
    """One segment for the whole flight: one tank, or BOTH."""
    segment = Segment(tank, 0.0, task.end_s, burn_between(task.phases, 0.0, task.end_s), "whole flight")
    left = share_evenly(task.usable, segment.burn_m3)
    unequal, sd = _imbalance([task.usable, left])
    total = sum(task.usable.values()) - segment.burn_m3
    flown = total[np.isfinite(total)]
    found = [] if flown.size and low_end(flown) >= 0 else ["The fuel does not last for the flight."]
    if task.imbalance_m3 is not None and unequal - task.imbalance_m3 > TOUCH_M3:
        found.append(f"The imbalance reaches {from_si(unequal, 'usgal'):.1f} US gal, over the limit of "
                     f"{from_si(task.imbalance_m3, 'usgal'):.1f}; feeding from both does not level it for certain.")
    return TankPlan((segment,), (), task.usable, left, unequal, tank, (*found, *_unflown(task)), (), task.phases, sd)


def _imbalance(stages: list[dict[str, FloatArray]]) -> tuple[float, float]:
    """Largest spread of the tanks in the middle flight over several moments, and its sd there over the draws."""
    worst = max(stages, key=lambda left: spread({k: middle(v) for k, v in left.items()}))
    draws = np.max(list(worst.values()), axis=0) - np.min(list(worst.values()), axis=0)
    draws = draws[np.isfinite(draws)]
    return spread({k: middle(v) for k, v in worst.items()}), float(np.std(draws)) if draws.size else 0.0


def problems(task: Task, taxi: str, first: str, chosen: list[Moment], moments: list[Moment]) -> list[str]:
    """The breaches of one plan in words."""
    parts = stretches(task, taxi, first, chosen)
    left, low = ({k: f(v) for k, v in task.usable.items()} for f in (middle, low_end))
    found, worst = [], spread(left)
    for i, part in enumerate(parts):
        left[part.tank] -= task.burnt(part.start_s, part.end_s)
        low[part.tank] -= task.burnt_high(part.start_s, part.end_s)
        worst = max(worst, spread(left))
        in_flight = i < len(parts) - 1 and part.end_s > task.take_off_s
        if low[part.tank] < -TOUCH_M3:
            found.append(f"The {part.tank} tank may run dry.")
        elif in_flight and task.floor_m3 - low[part.tank] > TOUCH_M3:
            found.append(f"The {part.tank} tank is left with less than {task.selector.floor_time_s / 60:.0f} min in it.")
    landing, wanted = parts[-1].tank, task.selector.landing
    if task.reserve_m3 - low[landing] > TOUCH_M3:
        found.append("The final reserve does not stand in one tank at landing.")
    if wanted in left and landing != wanted:
        found.append(f"The landing is not on the {wanted} tank.")
    if wanted == "fuller" and max(left.values()) - left[landing] > TOUCH_M3:
        found.append("The landing is not on the fuller tank.")
    if task.imbalance_m3 is not None and worst - task.imbalance_m3 > TOUCH_M3:
        reserve_kept = task.reserve_m3 - low[landing] <= TOUCH_M3
        found.append(f"The imbalance reaches {from_si(worst, 'usgal'):.1f} US gal, over the limit of "
                     f"{from_si(task.imbalance_m3, 'usgal'):.1f}; {_why_unbalanced(task, taxi, first, moments, reserve_kept)}")
    return list(dict.fromkeys(found))


def _why_unbalanced(task: Task, taxi: str, first: str, moments: list[Moment], reserve_kept: bool) -> str:
    """What stands against the limit: the filling, the reserve in one tank, the floor, or the burn itself."""
    if spread({k: middle(v) for k, v in task.usable.items()}) > (task.imbalance_m3 or 0.0) + TOUCH_M3:
        return "it is over it before the engine starts."
    free = replace(task, selector=replace(task.selector, landing=""))
    if reserve_kept and fewest(replace(free, reserve_m3=0.0), taxi, first, moments) is not None:
        return "the reserve in one tank is chosen over it."
    if fewest(replace(free, floor_m3=0.0), taxi, first, moments) is not None:
        return "the least time left in a tank is kept instead."
    return "no plan of changes at these moments keeps it."


def _plan(task: Task, taxi: str, first: str, chosen: list[Moment], conflicts: tuple[str, ...],
          words: tuple[str, ...]) -> TankPlan:
    segments = tuple(Segment(x.tank, x.start_s, x.end_s, burn_between(task.phases, x.start_s, x.end_s), x.where)
                     for x in stretches(task, taxi, first, chosen))
    stages = [{k: v.copy() for k, v in task.usable.items()}]
    for s in segments:
        stages.append(stages[-1] | {s.tank: stages[-1][s.tank] - s.burn_m3})
    changes: list[Change] = []
    for (before, after), here in zip(pairwise(segments), stages[1:], strict=False):
        if after.start_s > task.take_off_s:
            changes.append(Change(len(changes) + 1, after.start_s, before.tank, after.tank, after.where,
                                  here[before.tank]))
    worst, sd = _imbalance(stages)
    return TankPlan(segments, tuple(changes), task.usable, stages[-1], worst, segments[-1].tank, conflicts, words,
                    task.phases, sd)
