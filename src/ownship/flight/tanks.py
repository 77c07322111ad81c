"""The tank plan: which tank feeds from when to when, and whether it is certain that the next one feeds.

Doctrine: taxi on one tank, run-up and take-off on the other; no change until a safe height, none after the descent
begins; changes over fixes or at round times; never dry; the least time left in the tank being left; the imbalance
limit; the final reserve in one tank, which outranks the imbalance limit and is said when the two collide.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np
from numpy.typing import NDArray

from ownship.aeroplane.description import Selector
from ownship.units import from_si

FloatArray = NDArray[np.float64]
ROUND_TIMES_S = (900.0, 600.0, 300.0)
MOST_CHANGES, MOST_MOMENTS = 4, 18
DRY, RESERVE, LANDING_TANK, FLOOR, IMBALANCE = 10_000.0, 1_000.0, 30.0, 300.0, 100.0


@dataclass(frozen=True)
class BurnPhase:
    """A stretch of the flight with its burn: median start and end (s from the blocks), burn (draw,)."""

    name: str
    start_s: float
    end_s: float
    burn_m3: FloatArray


@dataclass(frozen=True)
class Segment:
    """One stretch on one tank."""

    tank: str
    start_s: float
    end_s: float
    burn_m3: FloatArray
    where: str


@dataclass(frozen=True)
class Change:
    """One change: from and to which tank, when, contents (draw,) of both at that moment."""

    number: int
    time_s: float
    leaving: str
    to: str
    where: str
    left_m3: FloatArray
    taken_m3: FloatArray


@dataclass(frozen=True)
class TankPlan:
    """Segments in order, changes in flight, largest imbalance (m3), contents at the end, what is to be said."""

    segments: tuple[Segment, ...]
    changes: tuple[Change, ...]
    start_m3: dict[str, FloatArray]
    end_m3: dict[str, FloatArray]
    imbalance_m3: float
    landing_tank: str
    conflicts: tuple[str, ...]
    words: tuple[str, ...]
    phases: tuple[BurnPhase, ...]

    def contents_at(self, time_s: float) -> dict[str, FloatArray]:
        """Usable fuel by tank (draw,) at a moment; their sum is the start less the burn so far, exactly."""
        left = {k: v.copy() for k, v in self.start_m3.items()}
        for s in self.segments:
            burn = _burn(self.phases, s.start_s, min(s.end_s, time_s)) if time_s > s.start_s else 0.0
            for tank in s.tank.split("+"):
                left[tank] = left[tank] - burn / len(s.tank.split("+"))
        return left


@dataclass(frozen=True)
class _Moment:
    time_s: float
    where: str
    rank: int


@dataclass(frozen=True)
class _Task:
    phases: tuple[BurnPhase, ...]
    selector: Selector
    usable: dict[str, FloatArray]
    take_off_s: float
    imbalance_m3: float | None
    reserve_m3: float
    floor_m3: float

    def burnt(self, start: float, end: float) -> float:
        return float(np.median(_burn(self.phases, start, end)))

    def burnt_high(self, start: float, end: float) -> float:
        return float(np.quantile(_burn(self.phases, start, end), 0.95))


def plan_tanks(phases: tuple[BurnPhase, ...], selector: Selector, usable_m3: dict[str, FloatArray], *,
               window_s: tuple[float, float], fixes: tuple[tuple[str, float], ...], reserve_m3: float,
               cruise_flow_m3_s: float, density_kg_m3: float) -> TankPlan:
    """The plan with the fewest changes that keeps every rule; the least bad one, with its conflicts, where none does.

    window_s: first and last moment at which a change in flight is allowed; usable_m3 (draw,) by tank at the start.
    phases[0] is the taxi. Mass balance: segments' burns add up to the phases' burns.
    """
    imbalance = selector.imbalance_max_m3
    if selector.imbalance_max_kg is not None:
        imbalance = selector.imbalance_max_kg / density_kg_m3
    task = _Task(phases, selector, usable_m3, phases[0].end_s, imbalance if isinstance(imbalance, float) else None,
                 reserve_m3, selector.floor_time_s * cruise_flow_m3_s)
    if len(usable_m3) == 1 or ("both" in selector.positions and selector.take_off == "both"):
        return _single("+".join(usable_m3), task)
    taxi, first, words = _ground_tanks(task)
    moments = _moments(window_s, fixes)
    best: tuple[float, list[_Moment], list[str]] | None = None
    for count in range(MOST_CHANGES + 1):
        for chosen in combinations(moments, count):
            cost, problems = _cost(task, taxi, first, list(chosen))
            cost += sum(m.rank for m in chosen) * 0.01 + 1.0 * count
            if best is None or cost < best[0]:
                best = (cost, list(chosen), problems)
        if best is not None and not best[2]:
            break
    assert best is not None
    return _plan(task, taxi, first, best[1], tuple(best[2]), tuple(words))


def _burn(phases: tuple[BurnPhase, ...], start_s: float, end_s: float) -> FloatArray:
    """Burn (draw,) between two moments: each phase's burn in proportion of its time."""
    total = np.zeros_like(phases[0].burn_m3)
    for p in phases:
        span = p.end_s - p.start_s
        inside = min(end_s, p.end_s) - max(start_s, p.start_s)
        if span > 0 and inside > 0:
            total = total + p.burn_m3 * (inside / span)
    return total


def _end(phases: tuple[BurnPhase, ...]) -> float:
    return phases[-1].end_s


def _single(tank: str, task: _Task) -> TankPlan:
    end = _end(task.phases)
    segment = Segment(tank, 0.0, end, _burn(task.phases, 0.0, end), "whole flight")
    names = tank.split("+")
    left = {k: task.usable[k] - segment.burn_m3 / len(names) for k in names}
    low = sum(float(np.quantile(v, 0.05)) for v in left.values())
    conflicts = () if low >= 0 else ("The fuel does not last for the flight.",)
    return TankPlan((segment,), (), task.usable, left, 0.0, tank, conflicts, (), task.phases)


def _ground_tanks(task: _Task) -> tuple[str, str, list[str]]:
    """(tank for taxi, tank for run-up and take-off, words): both are proved on the ground where both hold fuel."""
    median = {k: float(np.median(v)) for k, v in task.usable.items()}
    wanted = task.selector.take_off
    fuller = max(median, key=lambda k: (median[k], k))
    take_off = wanted if wanted in median else fuller
    others = {k: v for k, v in median.items() if k != take_off}
    other = max(others, key=lambda k: (others[k], k))
    taxi = task.burnt_high(0.0, task.take_off_s)
    if others[other] < taxi + task.floor_m3 * 0.5:
        return take_off, take_off, [f"The {other} tank holds too little to taxi on: it is not proved on the ground; "
                                    "check for yourself that it feeds."]
    return other, take_off, [f"Taxi on {other}, run-up and take-off on {take_off} for several minutes: both tanks are proved "
                             "on the ground."]


def _moments(window_s: tuple[float, float], fixes: tuple[tuple[str, float], ...]) -> list[_Moment]:
    """Moments at which a change may be planned: over fixes first, then round times; at most 18."""
    first, last = window_s
    found = [_Moment(t, f"over {name}", 0) for name, t in fixes if first <= t <= last]
    for rank, step in enumerate(ROUND_TIMES_S, 1):
        start = int(np.ceil(first / step))
        for i in range(start, int(last // step) + 1):
            if all(abs(m.time_s - i * step) > 60 for m in found):
                minutes = round(i * step / 60)
                found.append(_Moment(i * step, f"at {minutes // 60}:{minutes % 60:02d} after leaving the blocks", rank))
        if len(found) >= 8:
            break
    return sorted(found, key=lambda m: (m.rank, m.time_s))[:MOST_MOMENTS]


def _sequence(task: _Task, taxi: str, first: str, chosen: list[_Moment]) -> list[tuple[str, float, float, str]]:
    """(tank, start, end, where) of a plan; after the first tank always the fullest other one."""
    times = sorted(chosen, key=lambda m: m.time_s)
    parts = [(taxi, 0.0, task.take_off_s, "start and taxi")] if taxi != first else []
    begin = parts[-1][2] if parts else 0.0
    left = {k: float(np.median(v)) for k, v in task.usable.items()}
    if parts:
        left[taxi] -= task.burnt(0.0, task.take_off_s)
    tank, where = first, "run-up and take-off"
    for moment in [*times, None]:
        end = moment.time_s if moment else _end(task.phases)
        parts.append((tank, begin, end, where))
        left[tank] -= task.burnt(begin, end)
        if moment:
            current = tank
            tank = max((k for k in left if k != current), key=lambda k: (left[k], k))
            begin, where = end, moment.where
    return parts


def _cost(task: _Task, taxi: str, first: str, chosen: list[_Moment]) -> tuple[float, list[str]]:
    """Weighted breaches of the rules by one plan, and the breaches in words."""
    parts = _sequence(task, taxi, first, chosen)
    left = {k: float(np.median(v)) for k, v in task.usable.items()}
    low = {k: float(np.quantile(v, 0.05)) for k, v in task.usable.items()}
    cost, problems = 0.0, []

    def breach(weight: float, amount: float, words: str) -> None:
        nonlocal cost
        cost += weight * (1 + from_si(amount, "usgal") / 10)
        problems.append(words)

    worst = abs(_spread(left))
    for i, (tank, start, end, _) in enumerate(parts):
        left[tank] -= task.burnt(start, end)
        low[tank] -= task.burnt_high(start, end)
        worst = max(worst, abs(_spread(left)))
        if low[tank] < 0:
            breach(DRY, -low[tank], f"The {tank} tank may run dry.")
        elif i < len(parts) - 1 and parts[i + 1][0] != tank and start >= task.take_off_s and low[tank] < task.floor_m3:
            breach(FLOOR, task.floor_m3 - low[tank], f"The {tank} tank is left with less than "
                   f"{task.selector.floor_time_s / 60:.0f} min in it.")
    landing = parts[-1][0]
    if low[landing] < task.reserve_m3:
        breach(RESERVE, task.reserve_m3 - low[landing], "The final reserve does not stand in one tank at landing.")
    wanted = task.selector.landing
    if wanted in left and landing != wanted:
        breach(LANDING_TANK, 0.0, f"The landing is not on the {wanted} tank.")
    if wanted == "fuller" and left[landing] < max(left.values()) - 1e-9:
        breach(LANDING_TANK, max(left.values()) - left[landing], "The landing is not on the fuller tank.")
    if task.imbalance_m3 is not None and worst > task.imbalance_m3 + 1e-9:
        breach(IMBALANCE, worst - task.imbalance_m3, f"The imbalance reaches {from_si(worst, 'usgal'):.1f} US gal, over the "
               f"limit of {from_si(task.imbalance_m3, 'usgal'):.1f}; the reserve in one tank is chosen over it.")
    return cost, problems


def _spread(left: dict[str, float]) -> float:
    values = sorted(left.values())
    return values[-1] - values[0]


def _plan(task: _Task, taxi: str, first: str, chosen: list[_Moment], conflicts: tuple[str, ...],
          words: tuple[str, ...]) -> TankPlan:
    parts = _sequence(task, taxi, first, chosen)
    left = {k: v.copy() for k, v in task.usable.items()}
    segments: list[Segment] = []
    changes: list[Change] = []
    worst = _spread({k: float(np.median(v)) for k, v in left.items()})
    for tank, start, end, where in parts:
        burn = _burn(task.phases, start, end)
        segments.append(Segment(tank, start, end, burn, where))
        left[tank] = left[tank] - burn
        worst = max(worst, _spread({k: float(np.median(v)) for k, v in left.items()}))
    running = {k: v.copy() for k, v in task.usable.items()}
    for before, after in pairwise(segments):
        running[before.tank] = running[before.tank] - before.burn_m3
        if before.start_s >= task.take_off_s or (before.tank == after.tank):
            changes.append(Change(len(changes) + 1, after.start_s, before.tank, after.tank, after.where,
                                  running[before.tank].copy(), running[after.tank].copy()))
    return TankPlan(tuple(segments), tuple(changes), task.usable, left, worst, parts[-1][0], conflicts, words, task.phases)
