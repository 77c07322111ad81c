"""The search for a tank plan: the fewest changes that keep every rule.

Layer by layer, one more change a layer, over every moment; a partial plan is dropped at its first breach, and of plans
that stand alike (same moment, tank and contents) one is kept. Where no plan keeps every rule: the least bad one by
weighted breaches (docs/methods/tanks.md).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations
from math import comb

import numpy as np
from numpy.typing import NDArray

from ownship.flight.chance import middle
from ownship.flight.tank_rules import TOUCH_M3, Moment, Task, low_end, spread
from ownship.units import from_si

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
MOST_CHANGES, MOST_LEAST_BAD, MOST_MOMENTS, MOST_STATES = 12, 4, 18, 4000
MOST_PLANS = 20_000  # of one number of changes, looked at for the least bad one
MOST_WHEN = 150  # moments of a flight of 12 h; of a longer one those round to 10, then 15 minutes
SAME_M3 = 1e-5  # contents this close count as one
DRY, RESERVE, FLOOR, IMBALANCE, LANDING_TANK = 10_000.0, 1_000.0, 300.0, 100.0, 30.0


def search(task: Task, taxi: str, first: str, moments: list[Moment]) -> tuple[list[Moment], bool]:
    """(moments of the changes, whether every rule is kept): fewest changes, then fixes and rounder times, then earlier.

    In turn: every rule; every rule but the wished landing tank; the least bad plan with up to four changes.
    """
    moments = _coarser(moments)
    for wish in dict.fromkeys((task.selector.landing, "")):
        found = fewest(replace(task, selector=replace(task.selector, landing=wish)), taxi, first, moments)
        if found is not None:
            return found, wish == task.selector.landing
    return _least_bad(task, taxi, first, moments), False


def _coarser(moments: list[Moment]) -> list[Moment]:
    """The moments; of a long flight only fixes and the rounder times, at most MOST_WHEN, evenly spread."""
    for rank in (2, 1):
        if len(moments) > MOST_WHEN:
            moments = [m for m in moments if m.rank <= rank]
    return _spread(moments, MOST_WHEN)


def _spread(moments: list[Moment], most: int) -> list[Moment]:
    """At most so many of the moments, evenly spread."""
    return moments if len(moments) <= most else [moments[i] for i in np.linspace(0, len(moments) - 1, most).astype(int)]


@dataclass(frozen=True)
class _Partial:
    """Plans up to their last change: arrays (plan,) and (plan, tank); `chosen` (plan, change) indexes the moments."""

    chosen: IntArray
    left: FloatArray
    low: FloatArray
    tank: IntArray
    begin: FloatArray
    rank: IntArray

    def take(self, which: NDArray[np.generic]) -> _Partial:
        return _Partial(self.chosen[which], self.left[which], self.low[which], self.tank[which], self.begin[which],
                        self.rank[which])


def _start(task: Task, taxi: str, first: str) -> _Partial:
    names = list(task.usable)
    burn, high, grid = task.curve
    left, low = (np.array([[f(task.usable[n]) for n in names]]) for f in (middle, low_end))
    begin = 0.0
    if taxi != first:
        begin = task.taxi_end_s
        left[0, names.index(taxi)] -= np.interp(begin, grid, burn)
        low[0, names.index(taxi)] -= np.interp(begin, grid, high)
    return _Partial(np.zeros((1, 0), dtype=np.int64), left, low, np.array([names.index(first)]), np.array([begin]),
                    np.array([0]))


def _flown_to(task: Task, p: _Partial, end_s: FloatArray) -> _Partial:
    """The same plans when their tank has fed until end_s (plan,)."""
    burn, high, grid = task.curve
    rows = np.arange(p.tank.size)
    left, low = p.left.copy(), p.low.copy()
    left[rows, p.tank] -= np.interp(end_s, grid, burn) - np.interp(p.begin, grid, burn)
    low[rows, p.tank] -= np.interp(end_s, grid, high) - np.interp(p.begin, grid, high)
    return replace(p, left=left, low=low, begin=end_s)


def _balanced(task: Task, p: _Partial) -> NDArray[np.bool_]:
    if task.imbalance_m3 is None:
        return np.ones(p.tank.size, dtype=bool)
    return np.asarray(p.left.max(axis=1) - p.left.min(axis=1) <= task.imbalance_m3 + TOUCH_M3)


def _onwards(task: Task, p: _Partial, moments: list[Moment]) -> _Partial:
    """Every plan of p with one later change more, on the fullest other tank; those that break a rule are dropped."""
    times = np.array([m.time_s for m in moments])
    who, when = np.nonzero(times[None, :] > p.begin[:, None])
    grown = _flown_to(task, p.take(who), times[when])
    here = grown.low[np.arange(who.size), grown.tank]
    others = grown.left.copy()
    others[np.arange(who.size), grown.tank] = -np.inf
    ranks = np.array([m.rank for m in moments])[when]
    after = _Partial(np.column_stack([grown.chosen, when]), grown.left, grown.low, np.argmax(others, axis=1), grown.begin,
                     grown.rank + ranks)
    return _distinct(after.take((here >= task.floor_m3 - TOUCH_M3) & (here >= -TOUCH_M3) & _balanced(task, grown)))


def _distinct(p: _Partial) -> _Partial:
    """Of plans at the same moment on the same tank with the same contents the best ranked; at most MOST_STATES."""
    p = p.take(np.argsort(p.rank, kind="stable"))
    key = np.column_stack([p.begin, p.tank, np.round(p.left / SAME_M3)])
    _, first = np.unique(key, axis=0, return_index=True)
    return p.take(np.sort(first)[:MOST_STATES])


def _kept(task: Task, p: _Partial) -> _Partial:
    """Those plans that, without a further change, keep every rule to the end."""
    done = _flown_to(task, p, np.full(p.tank.size, task.end_s))
    rows, names, landing = np.arange(p.tank.size), list(task.usable), task.selector.landing
    here = done.low[rows, done.tank]
    good = (here >= -TOUCH_M3) & (here >= task.reserve_m3 - TOUCH_M3) & _balanced(task, done)
    if landing == "fuller":
        good &= done.left.max(axis=1) - done.left[rows, done.tank] <= TOUCH_M3
    elif landing in names:
        good &= done.tank == names.index(landing)
    return done.take(good)


def fewest(task: Task, taxi: str, first: str, moments: list[Moment]) -> list[Moment] | None:
    """The moments of the plan with the fewest changes that keeps every rule of the task, or None."""
    p = _start(task, taxi, first)
    kept_back = np.clip(np.minimum(p.low[0], task.floor_m3), 0.0, None)  # a tank left in flight keeps at least this
    bound = max(task.reserve_m3, 0.0) + kept_back.sum() - kept_back.max()
    if p.low.sum() - task.burnt_high(float(p.begin[0]), task.end_s) < bound - len(task.usable) * TOUCH_M3:
        return None
    on_ground = {k: middle(v) for k, v in task.usable.items()}
    if task.imbalance_m3 is not None and spread(on_ground) > task.imbalance_m3 + TOUCH_M3:
        return None
    if taxi != first and p.low[0, list(task.usable).index(taxi)] < -TOUCH_M3:
        return None
    p = p.take(_balanced(task, p))
    for _ in range(_most_changes(task) + 1):
        good = _kept(task, p)
        if good.tank.size:
            best = good.take(np.lexsort((*good.chosen.T[::-1], good.rank))[:1])
            return [moments[i] for i in best.chosen[0]]
        if not moments or not p.tank.size:
            return None
        p = _onwards(task, p, moments)
    return None


def _most_changes(task: Task) -> int:
    """Changes beyond which more cannot help: one a tank without an imbalance limit, else one each time it swings over."""
    if task.imbalance_m3 is None or task.imbalance_m3 <= 0:
        return len(task.usable) + 1
    swings = task.burnt_high(0.0, task.end_s) / (2 * task.imbalance_m3)
    return min(MOST_CHANGES, int(np.ceil(swings)) + len(task.usable) + 1)


def _least_bad(task: Task, taxi: str, first: str, moments: list[Moment]) -> list[Moment]:
    """The cheapest plan of up to four changes by weighted breaches; four only among the highest ranked moments.

    Of a long flight's moments only so many are tried for two and three changes as make MOST_PLANS plans.
    """
    best: tuple[float, list[Moment]] = (np.inf, [])
    for count in range(MOST_LEAST_BAD + 1):
        some = _thinned(moments, count) if count < MOST_LEAST_BAD else moments[:MOST_MOMENTS]
        every = list(combinations(range(len(some)), count))
        if not every:
            break
        chosen = np.array(every, dtype=int).reshape(len(every), count)
        times, ranks = np.array([m.time_s for m in some] or [0.0]), np.array([m.rank for m in some] or [0])
        cost = _costs(task, taxi, first, np.sort(times[chosen], axis=1)) + count + 0.01 * ranks[chosen].sum(axis=1)
        i = int(np.argmin(cost))
        if cost[i] < best[0]:
            best = (float(cost[i]), [some[k] for k in chosen[i]])
    return best[1]


def _thinned(moments: list[Moment], count: int) -> list[Moment]:
    """The moments, or on a long flight as many of them, evenly spread, as make MOST_PLANS plans of `count` changes."""
    most = len(moments)
    while comb(most, count) > MOST_PLANS:
        most -= 1
    return _spread(moments, most)


def _costs(task: Task, taxi: str, first: str, times_s: FloatArray) -> FloatArray:
    """Weighted breaches of the rules (plan,) for changes at times (plan, change); 0 keeps every rule."""
    rows = np.arange(times_s.shape[0])
    p = _start(task, taxi, first).take(np.zeros(rows.size, dtype=int))
    worst = np.maximum(spread({k: middle(v) for k, v in task.usable.items()}), p.left.max(axis=1) - p.left.min(axis=1))
    cost = np.zeros(rows.size)
    if taxi != first:
        cost += _breach(DRY, -p.low[:, list(task.usable).index(taxi)])
    for end in [*times_s.T, None]:
        p = _flown_to(task, p, np.full(rows.size, task.end_s) if end is None else end)
        here = p.low[rows, p.tank]
        worst = np.maximum(worst, p.left.max(axis=1) - p.left.min(axis=1))
        cost += _breach(DRY, -here)
        if end is not None:
            cost += np.where(here >= 0, _breach(FLOOR, task.floor_m3 - here), 0.0)
            others = p.left.copy()
            others[rows, p.tank] = -np.inf
            p = replace(p, tank=np.argmax(others, axis=1))
    cost += _breach(RESERVE, task.reserve_m3 - p.low[rows, p.tank])
    names, landing = list(task.usable), task.selector.landing
    if landing == "fuller":
        cost += _breach(LANDING_TANK, p.left.max(axis=1) - p.left[rows, p.tank])
    elif landing in names:
        cost += np.where(p.tank == names.index(landing), 0.0, LANDING_TANK)
    return cost if task.imbalance_m3 is None else cost + _breach(IMBALANCE, worst - task.imbalance_m3)


def _breach(weight: float, amount_m3: FloatArray) -> FloatArray:
    """Cost of a breach: nothing within a millilitre, else the weight, more with the amount."""
    return np.where(amount_m3 > TOUCH_M3, weight * (1 + from_si(amount_m3, "usgal") / 10), 0.0)
