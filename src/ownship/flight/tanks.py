"""The tank plan: which tank feeds from when to when, and whether it is certain that the next one feeds.

Doctrine: taxi on one tank, run-up and take-off on the other; no change until a safe height, none after the descent
begins; changes over fixes or at round times; never dry; the least time left in the tank being left; the imbalance
limit; the final reserve in one tank, which outranks the imbalance limit and is said when the two collide.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import combinations, pairwise

import numpy as np
from numpy.typing import NDArray

from ownship.aeroplane.description import Selector
from ownship.flight.chance import middle
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

    @cached_property
    def curve(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Burn since the blocks (m3), middle and 95 %, at the ends of the phases (s): linear between them."""
        grid = np.array([0.0, *(p.end_s for p in self.phases)])
        sums = np.cumsum([np.zeros_like(self.phases[0].burn_m3), *(p.burn_m3 for p in self.phases)], axis=0)
        return sums[:, 0], np.quantile(sums, 0.95, axis=1), grid

    def burnt(self, start: float, end: float) -> float:
        burn, _, grid = self.curve
        return float(np.interp(end, grid, burn) - np.interp(start, grid, burn))

    def burnt_high(self, start: float, end: float) -> float:
        _, burn, grid = self.curve
        return float(np.interp(end, grid, burn) - np.interp(start, grid, burn))


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
    best: tuple[float, list[_Moment]] | None = None
    for count in range(MOST_CHANGES + 1):
        found = _best(task, taxi, first, moments if count < MOST_CHANGES else moments[:MOST_MOMENTS], count)
        if found is not None and (best is None or found[0] < best[0]):
            best = found
        if best is not None and best[0] < LANDING_TANK:
            break
    assert best is not None
    return _plan(task, taxi, first, best[1], tuple(_problems(task, taxi, first, best[1])), tuple(words))


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
    median = {k: middle(v) for k, v in task.usable.items()}
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
    """Moments at which a change may be planned: over fixes first, then times round to 15, 10 and 5 minutes."""
    first, last = window_s
    found = [_Moment(t, f"over {name}", 0) for name, t in fixes if first <= t <= last]
    for rank, step in enumerate(ROUND_TIMES_S, 1):
        for i in range(int(np.ceil(first / step)), int(last // step) + 1):
            if all(abs(m.time_s - i * step) > 60 for m in found):
                minutes = round(i * step / 60)
                found.append(_Moment(i * step, f"at {minutes // 60}:{minutes % 60:02d} after leaving the blocks", rank))
    return found


def _best(task: _Task, taxi: str, first: str, moments: list[_Moment], count: int) -> tuple[float, list[_Moment]] | None:
    """The cheapest plan with `count` changes, every combination of moments judged at once."""
    every = list(combinations(range(len(moments)), count))
    if not every:
        return None
    chosen = np.array(every, dtype=int).reshape(len(every), count)
    times = np.array([m.time_s for m in moments] or [0.0])
    ranks = np.array([m.rank for m in moments] or [0])
    cost = _costs(task, taxi, first, np.sort(times[chosen], axis=1)) + count + 0.01 * ranks[chosen].sum(axis=1)
    i = int(np.argmin(cost))
    return float(cost[i]), [moments[k] for k in chosen[i]]


def _costs(task: _Task, taxi: str, first: str, times_s: FloatArray) -> FloatArray:
    """Weighted breaches of the rules (plan,) for changes at times (plan, change); 0 keeps every rule.

    After each change the fullest other tank feeds. Low ends: 5 % of the fuel less 95 % of the burn.
    """
    names, plans = list(task.usable), np.arange(times_s.shape[0])
    burn, burn_high, grid = task.curve
    left, low = (np.tile([f(task.usable[n]) for n in names], (plans.size, 1)) for f in (middle, _low))
    begin, tank = np.full(plans.size, 0.0), np.full(plans.size, names.index(first))
    if taxi != first:
        left[:, names.index(taxi)] -= np.interp(task.take_off_s, grid, burn)
        low[:, names.index(taxi)] -= np.interp(task.take_off_s, grid, burn_high)
        begin = np.full(plans.size, task.take_off_s)
    worst, cost = left.max(axis=1) - left.min(axis=1), np.zeros(plans.size)
    for k in range(times_s.shape[1] + 1):
        is_last = k == times_s.shape[1]
        end = np.full(plans.size, grid[-1]) if is_last else times_s[:, k]
        left[plans, tank] -= np.interp(end, grid, burn) - np.interp(begin, grid, burn)
        low[plans, tank] -= np.interp(end, grid, burn_high) - np.interp(begin, grid, burn_high)
        here = low[plans, tank]
        worst = np.maximum(worst, left.max(axis=1) - left.min(axis=1))
        cost += _breach(DRY, -here) + (_breach(FLOOR, np.where(here >= 0, task.floor_m3 - here, 0.0)) if not is_last else 0.0)
        if not is_last:
            others = left.copy()
            others[plans, tank] = -np.inf
            begin, tank = end, np.argmax(others, axis=1)
    cost += _breach(RESERVE, task.reserve_m3 - low[plans, tank])
    if task.selector.landing == "fuller":
        cost += _breach(LANDING_TANK, left.max(axis=1) - left[plans, tank])
    elif task.selector.landing in names:
        cost += np.where(tank == names.index(task.selector.landing), 0.0, LANDING_TANK)
    return cost if task.imbalance_m3 is None else cost + _breach(IMBALANCE, worst - task.imbalance_m3)


def _breach(weight: float, amount_m3: FloatArray) -> FloatArray:
    """Cost of a breach: nothing within a millilitre, else the weight, more with the amount."""
    return np.where(amount_m3 > 1e-6, weight * (1 + from_si(amount_m3, "usgal") / 10), 0.0)


def _low(draws_m3: FloatArray) -> float:
    return float(np.quantile(draws_m3, 0.05))


def _sequence(task: _Task, taxi: str, first: str, chosen: list[_Moment]) -> list[tuple[str, float, float, str]]:
    """(tank, start, end, where) of a plan; after the first tank always the fullest other one."""
    times = sorted(chosen, key=lambda m: m.time_s)
    parts = [(taxi, 0.0, task.take_off_s, "start and taxi")] if taxi != first else []
    begin = parts[-1][2] if parts else 0.0
    left = {k: middle(v) for k, v in task.usable.items()}
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


def _problems(task: _Task, taxi: str, first: str, chosen: list[_Moment]) -> list[str]:
    """The breaches of one plan in words."""
    parts = _sequence(task, taxi, first, chosen)
    left, low = ({k: f(v) for k, v in task.usable.items()} for f in (middle, _low))
    problems, worst = [], _spread(left)
    for i, (tank, start, end, _) in enumerate(parts):
        left[tank] -= task.burnt(start, end)
        low[tank] -= task.burnt_high(start, end)
        worst = max(worst, _spread(left))
        in_flight = i < len(parts) - 1 and end > task.take_off_s
        if low[tank] < -1e-6:
            problems.append(f"The {tank} tank may run dry.")
        elif in_flight and task.floor_m3 - low[tank] > 1e-6:
            problems.append(f"The {tank} tank is left with less than {task.selector.floor_time_s / 60:.0f} min in it.")
    landing, wanted = parts[-1][0], task.selector.landing
    if task.reserve_m3 - low[landing] > 1e-6:
        problems.append("The final reserve does not stand in one tank at landing.")
    if wanted in left and landing != wanted:
        problems.append(f"The landing is not on the {wanted} tank.")
    if wanted == "fuller" and max(left.values()) - left[landing] > 1e-6:
        problems.append("The landing is not on the fuller tank.")
    if task.imbalance_m3 is not None and worst - task.imbalance_m3 > 1e-6:
        problems.append(f"The imbalance reaches {from_si(worst, 'usgal'):.1f} US gal, over the limit of "
                        f"{from_si(task.imbalance_m3, 'usgal'):.1f}; the reserve in one tank is chosen over it.")
    return problems


def _spread(left: dict[str, float]) -> float:
    values = sorted(left.values())
    return values[-1] - values[0]


def _plan(task: _Task, taxi: str, first: str, chosen: list[_Moment], conflicts: tuple[str, ...],
          words: tuple[str, ...]) -> TankPlan:
    parts = _sequence(task, taxi, first, chosen)
    left = {k: v.copy() for k, v in task.usable.items()}
    segments: list[Segment] = []
    changes: list[Change] = []
    worst = _spread({k: middle(v) for k, v in left.items()})
    for tank, start, end, where in parts:
        burn = _burn(task.phases, start, end)
        segments.append(Segment(tank, start, end, burn, where))
        left[tank] = left[tank] - burn
        worst = max(worst, _spread({k: middle(v) for k, v in left.items()}))
    running = {k: v.copy() for k, v in task.usable.items()}
    for before, after in pairwise(segments):
        running[before.tank] = running[before.tank] - before.burn_m3
        if before.start_s >= task.take_off_s or (before.tank == after.tank):
            changes.append(Change(len(changes) + 1, after.start_s, before.tank, after.tank, after.where,
                                  running[before.tank].copy(), running[after.tank].copy()))
    return TankPlan(tuple(segments), tuple(changes), task.usable, left, worst, parts[-1][0], conflicts, words, task.phases)
