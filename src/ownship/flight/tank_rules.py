"""What a tank plan is made of: phases of burn, moments for a change, the tanks on the ground, stretches in order."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ownship.aeroplane.description import Selector
from ownship.flight.chance import middle

FloatArray = NDArray[np.float64]
TAXI = "start and taxi"
RUN_UP_S = 240.0  # on the take-off tank before take-off: "several minutes", common practice, no source
ROUND_TIMES_S = (900.0, 600.0, 300.0)
TOUCH_M3 = 1e-6  # a breach below a millilitre is none


@dataclass(frozen=True)
class BurnPhase:
    """A stretch of the flight with its burn: median start and end (s from the blocks), burn (draw,)."""

    name: str
    start_s: float
    end_s: float
    burn_m3: FloatArray


@dataclass(frozen=True)
class Moment:
    """A moment at which a change may be planned; rank 0 is a fix, 1 to 3 a time round to 15, 10, 5 minutes."""

    time_s: float
    where: str
    rank: int


@dataclass(frozen=True)
class Stretch:
    """One tank from one moment to another."""

    tank: str
    start_s: float
    end_s: float
    where: str


@dataclass(frozen=True)
class Task:
    """What a plan is made for: burn, tanks, rules. Amounts m3, usable; imbalance None: no figure to keep."""

    phases: tuple[BurnPhase, ...]
    selector: Selector
    usable: dict[str, FloatArray]
    imbalance_m3: float | None
    reserve_m3: float
    floor_m3: float

    @cached_property
    def take_off_s(self) -> float:
        """End of the taxi phase; 0 where no taxi is planned."""
        return self.phases[0].end_s if self.phases[0].name == TAXI else 0.0

    @cached_property
    def taxi_end_s(self) -> float:
        """When the take-off tank is selected: several minutes before take-off, at the latest half-way through the taxi."""
        return max(self.take_off_s - RUN_UP_S, self.take_off_s / 2)

    @cached_property
    def end_s(self) -> float:
        """End of the last phase."""
        return self.phases[-1].end_s

    @cached_property
    def curve(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Burn since the blocks (m3), middle and 95 % of the draws that can be flown, at the ends of the phases (s)."""
        grid = np.array([0.0, *(p.end_s for p in self.phases)])
        sums = np.cumsum([np.zeros_like(self.phases[0].burn_m3), *(p.burn_m3 for p in self.phases)], axis=0)
        flown = sums[:, np.isfinite(sums[-1])]
        high = np.quantile(flown, 0.95, axis=1) if flown.size else np.full(grid.size, np.inf)
        return np.array([middle(s) for s in sums]), high, grid

    @property
    def unflown_1(self) -> float:
        """Share of the draws in which the flight cannot be flown."""
        return float(np.mean(~np.isfinite(sum(p.burn_m3 for p in self.phases))))

    def burnt(self, start_s: float, end_s: float) -> float:
        """Burn between two moments, middle flight."""
        burn, _, grid = self.curve
        return float(np.interp(end_s, grid, burn) - np.interp(start_s, grid, burn))

    def burnt_high(self, start_s: float, end_s: float) -> float:
        """Burn between two moments, 95 %."""
        _, burn, grid = self.curve
        return float(np.interp(end_s, grid, burn) - np.interp(start_s, grid, burn))


def ground_tanks(task: Task) -> tuple[str, str, str]:
    """(tank for taxi, tank for run-up and take-off, words): both are proved on the ground where both hold fuel."""
    median = {k: middle(v) for k, v in task.usable.items()}
    wanted = task.selector.take_off
    fuller = max(median, key=lambda k: (median[k], k))
    take_off = wanted if wanted in median else fuller
    others = {k: v for k, v in median.items() if k != take_off}
    other = max(others, key=lambda k: (others[k], k))
    if task.take_off_s <= 0:
        return take_off, take_off, "No taxi is planned: prove on the ground that every tank feeds."
    if others[other] < task.burnt_high(0.0, task.taxi_end_s) + task.floor_m3 * 0.5:
        return take_off, take_off, (f"The {other} tank holds too little to taxi on: it is not proved on the ground; check for "
                                    "yourself that it feeds.")
    minutes = (task.take_off_s - task.taxi_end_s) / 60
    return other, take_off, (f"Taxi on {other}; from {minutes:.0f} min before take-off, with the run-up, on {take_off}, and no "
                             "change until a safe height: both tanks are proved on the ground.")


def moments_of(window_s: tuple[float, float], fixes: tuple[tuple[str, float], ...],
               blocks_clock_s: float | None = None) -> list[Moment]:
    """Moments at which a change may be planned: over fixes first, then times round to 15, 10 and 5 minutes.

    blocks_clock_s: the clock (s after midnight) on leaving the blocks: times are then round on the clock, else
    after leaving the blocks. Only moments inside window_s.
    """
    first, last = window_s
    clock = blocks_clock_s or 0.0
    tail = " after leaving the blocks" if blocks_clock_s is None else ""
    found = [Moment(t, f"over {name}", 0) for name, t in fixes if first <= t <= last]
    for rank, step in enumerate(ROUND_TIMES_S, 1):
        for i in range(int(np.ceil((first + clock) / step)), int((last + clock) // step) + 1):
            time = i * step - clock
            if all(abs(m.time_s - time) > 60 for m in found):
                minutes = round(i * step / 60)
                hours = minutes // 60 if blocks_clock_s is None else minutes // 60 % 24
                found.append(Moment(time, f"at {hours}:{minutes % 60:02d}{tail}", rank))
    return found


def stretches(task: Task, taxi: str, first: str, chosen: list[Moment]) -> list[Stretch]:
    """A plan's stretches in order; after the first tank always the fullest other one."""
    parts = [Stretch(taxi, 0.0, task.taxi_end_s, TAXI)] if taxi != first else []
    left = {k: middle(v) for k, v in task.usable.items()}
    begin = parts[-1].end_s if parts else 0.0
    if parts:
        left[taxi] -= task.burnt(0.0, begin)
    tank, where = first, "run-up and take-off" if parts else "taxi and take-off"
    for moment in [*sorted(chosen, key=lambda m: m.time_s), None]:
        end = moment.time_s if moment else task.end_s
        parts.append(Stretch(tank, begin, end, where))
        left[tank] -= task.burnt(begin, end)
        if moment:
            tank = max((k for k in left if k != tank), key=lambda k: left[k])
            begin, where = end, moment.where
    return parts


def low_end(draws_m3: FloatArray) -> float:
    """The 5 % end of an amount of fuel."""
    return float(np.quantile(draws_m3, 0.05))


def spread(left: dict[str, float]) -> float:
    """Fullest less emptiest tank."""
    return max(left.values()) - min(left.values())
