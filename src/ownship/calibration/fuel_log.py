"""What it really burns: mean flow by phase of flight, learned from fills to full or to a known level.

Unknown are the five flows, the error of every level a fill ended at (shared by the fill before and the fill after it)
and the pump's scale. All is linear and normal: one ridge regression, in which every row can be asked how far it lies
from what all the others say (leave one out, closed form). Derivation: docs/methods/fuel-log.md.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ownship.errors import BadInput, MissingKey
from ownship.units import from_si, to_si
from ownship.words.figures import figure, number_text

FloatArray = NDArray[np.float64]
PHASES = ("taxi", "climb", "cruise", "descent", "approach")
FILL_SD_M3 = float(to_si(0.3, "usgal"))  # a tank filled to full, one sd: 90 % within half a gallon (common practice, no source)
NAMED_SIGMA = 4.0  # either way
LEAK_SIGMA = 3.0  # more used than expected: the dangerous side is asked about sooner
BAND_Z = 1.6449  # 5 and 95 % of a normal
SETTLED = ("", "lost", "short", "right")
_FREE_SD_M3 = 1.0  # of a level nobody trusts: more than any tank of this class holds
_MORE = ("fuel cap and its seal (fuel drawn out in flight), a drain not shut, a leak (stains, smell), "
         "the selector (another tank fed or filled), a flight or a hold not in the log")
_LESS = "a tank not filled, the selector (another tank fed), an amount or a time misread, fuel added but not in the log"
_ACT_MORE, _ACT_LESS = "Find out before the next flight; a leak is for a mechanic.", "Dip the tanks before the next flight."


@dataclass(frozen=True)
class FlightPhases:
    """Time in each phase of one flight, in s; `name` is how the pilot knows it (date, route)."""

    name: str
    taxi_s: float = 0.0
    climb_s: float = 0.0
    cruise_s: float = 0.0
    descent_s: float = 0.0
    approach_s: float = 0.0

    def times_s(self) -> FloatArray:
        """The times in the order of PHASES, shape (5,), in s."""
        return np.array([self.taxi_s, self.climb_s, self.cruise_s, self.descent_s, self.approach_s], dtype=np.float64)


@dataclass(frozen=True)
class TankLevel:
    """A tank brought to a level: `level_m3` it then holds (full: its capacity), one sd of that, amount added to get there."""

    tank: str
    level_m3: float
    added_m3: float = 0.0
    sd_m3: float = FILL_SD_M3


@dataclass(frozen=True)
class Fill:
    """The fill after one or more flights: every tank used or filled since the last one; a tank not named was not used.

    settled: what the owner found where the fill was named: "" nothing yet, "lost" fuel was lost or misread (the amount
    stays out), "short" it was not at the level said (the level stays out), "right" nothing was wrong (taken in).
    """

    name: str
    flights: tuple[FlightPhases, ...]
    tanks: tuple[TankLevel, ...]
    settled: str = ""


@dataclass(frozen=True)
class PlannedFlow:
    """Flow the model plans for a phase and one sd of it, in m3/s: the prior."""

    mean_m3_s: float
    sd_m3_s: float


@dataclass(frozen=True)
class PhaseFlow:
    """Mean flow of a phase in m3/s: middle and 5-95 % band, and the flow to plan the next flight on."""

    phase: str
    mean_m3_s: float
    low_m3_s: float
    high_m3_s: float
    plan_m3_s: float


@dataclass(frozen=True)
class FillCheck:
    """A fill against all the others: fuel used by it, fuel expected, their distance in sigma; level distance in sigma.

    kind: "" agrees, "amount" or "level" the part that is named and not averaged in; `open` until settled.
    """

    name: str
    used_m3: float
    expected_m3: float
    sigma: float
    level_sigma: float
    kind: str
    open: bool
    words: str


@dataclass(frozen=True)
class FuelLog:
    """Flows by phase with covariance (5, 5) in (m3/s)2, a check for every fill, and words for a pilot."""

    flows: tuple[PhaseFlow, ...]
    covariance_m6_s2: FloatArray
    fills: tuple[FillCheck, ...]
    words: tuple[str, ...]

    def named(self) -> tuple[FillCheck, ...]:
        """The fills that were named and not averaged in."""
        return tuple(f for f in self.fills if f.kind)

    def mean_burn_m3(self, flight: FlightPhases) -> tuple[float, float, float]:
        """Mean burn of such a flight and its 5-95 % band, in m3."""
        times = flight.times_s()
        mean = float(times @ [f.mean_m3_s for f in self.flows])
        half = BAND_Z * float(np.sqrt(times @ self.covariance_m6_s2 @ times))
        return mean, mean - half, mean + half

    def flow_words(self) -> tuple[str, ...]:
        """The learned flow of each phase with its band."""
        return self.words[: len(PHASES)]

    def plan_words(self) -> tuple[str, ...]:
        """What to plan the next flight on, phase by phase, and why where it is more than learned."""
        flows = ", ".join(f"{f.phase} {number_text(from_si(f.plan_m3_s, 'usgal/h'), 1)}" for f in self.flows)
        waiting = [f.name for f in self.fills if f.open]
        if not waiting:
            return (f"Every fill agrees or is settled: plan the next flight on the learned flows, or the high end of their bands: "
                    f"{flows} US gal/h.",)
        cruise = next(f for f in self.flows if f.phase == "cruise")
        more = 100 * (cruise.plan_m3_s / cruise.mean_m3_s - 1)
        worse = f"{more:.0f} % more than learned" if more > 0 else "the learned flows, which are the worse"
        return (f"Until {' and '.join(waiting)} {'is' if len(waiting) == 1 else 'are'} settled, plan the next flight on {worse}: "
                f"{flows} US gal/h.",)

    def plan_burn_m3(self, flight: FlightPhases) -> float:
        """Burn of such a flight at the flows to plan on (the worse ones while a fill is not settled), in m3."""
        return float(flight.times_s() @ [f.plan_m3_s for f in self.flows])


def learn(planned: Mapping[str, PlannedFlow], start: Sequence[TankLevel], fills: Sequence[Fill], *,
          scatter_1: float = 0.02, pump_sd_1: float = 0.005, phase_correlation_1: float = 0.5) -> FuelLog:
    """Mean flow by phase from fills, given the planned flows and the levels before the first flight.

    used = sum of (level before + added - level after) over the tanks of the fill
         = sum(flow x time) - pump error x added + level error after - level error before + scatter.
    scatter_1: one sd of a flight's burn about the mean burn of its phases; pump_sd_1: of the pump's scale (both common
    practice, no source); phase_correlation_1: of the planned flows' errors between phases (the same engine).
    A fill of which the amount or the level lies more than 4 sigma from what all the others say (3 where it used more
    than expected) is named, the worst first, and left out; until it is settled the plan is the worse of the learned
    flow and the flow that fill implies.
    Raises MissingKey or BadInput on a phase without a plan, a tank without a level before, or impossible numbers.
    """
    _check(planned, start, fills, scatter_1, pump_sd_1, phase_correlation_1)
    problem = _rows(planned, start, fills, scatter_1, pump_sd_1, phase_correlation_1)
    out: dict[int, str] = {}
    for i, fill in enumerate(fills):
        if fill.settled in ("lost", "short"):
            out[i] = "amount" if fill.settled == "lost" else "level"
    while True:
        solved = _solve(problem, out)
        worst = _worst(solved, fills, out)
        if worst is None:
            break
        out[worst[0]] = worst[1]
    return _result(planned, fills, problem, solved, out)


@dataclass(frozen=True)
class _Problem:
    """Rows before whitening: design (row, unknown), observed, sd; which row is whose amount, which rows whose levels."""

    design: FloatArray
    observed: FloatArray
    sd: FloatArray
    amount_rows: tuple[int, ...]
    level_rows: tuple[tuple[int, ...], ...]


@dataclass(frozen=True)
class _Solved:
    """Unknowns, covariance, and the leave-one-out distance of amounts and levels, in sigma, with what was expected."""

    mean: FloatArray
    covariance: FloatArray
    sigma: FloatArray
    level_sigma: FloatArray


def _rows(planned: Mapping[str, PlannedFlow], start: Sequence[TankLevel], fills: Sequence[Fill], scatter_1: float,
          pump_sd_1: float, correlation_1: float) -> _Problem:
    """The regression: 5 prior rows, pump, a row for every level, a row for every fill. Flows in units of their sd."""
    mean = np.array([planned[p].mean_m3_s for p in PHASES])
    flow_sd = np.array([planned[p].sd_m3_s for p in PHASES])
    share = np.full((5, 5), correlation_1) + (1.0 - correlation_1) * np.eye(5)
    levels = [(-1, t) for t in start] + [(i, t) for i, f in enumerate(fills) for t in f.tanks]
    size = 6 + len(levels)
    design = np.zeros((size + len(fills), size))
    observed, sd = np.zeros(len(design)), np.ones(len(design))
    design[:5, :5] = np.linalg.inv(np.linalg.cholesky(share))  # whitened: the prior of flow = plan + sd x unknown
    design[range(5, size), range(5, size)] = 1.0
    sd[5] = pump_sd_1
    sd[6:size] = [t.sd_m3 for _, t in levels]
    last: dict[str, tuple[int, float]] = {}
    for column, (i, tank) in enumerate(levels, start=6):
        if i >= 0:
            row, (before, level) = size + i, last[tank.tank]
            design[row, [before, column]] += (-1.0, 1.0)
            design[row, 5] -= tank.added_m3
            observed[row] += level + tank.added_m3 - tank.level_m3
        last[tank.tank] = (column, tank.level_m3)
    for i, fill in enumerate(fills, start=size):
        times = np.array([f.times_s() for f in fill.flights])
        design[i, :5] = times.sum(axis=0) * flow_sd
        observed[i] -= times.sum(axis=0) @ mean
        sd[i] = scatter_1 * np.sqrt(((times @ mean) ** 2).sum())
    level_rows = tuple(tuple(6 + j for j, (k, _) in enumerate(levels) if k == i) for i in range(len(fills)))
    return _Problem(design, observed, sd, tuple(range(size, len(design))), level_rows)


def _solve(problem: _Problem, out: Mapping[int, str]) -> _Solved:
    """Ridge regression without the rows left out, and how far each amount and level lies from what the others say.

    With whitened rows a, residual r and leverage h = a C a', the residual of a row against a fit without it, in its
    own sigma, is r / sqrt(1 - h); of a row that was left out it is r / sqrt(1 + h).
    """
    sd = problem.sd.copy()
    kept = np.ones(len(sd), dtype=bool)
    for i, kind in out.items():
        if kind == "amount":
            kept[problem.amount_rows[i]] = False
        else:
            sd[list(problem.level_rows[i])] = _FREE_SD_M3
    rows, seen = problem.design / sd[:, None], problem.observed / sd
    covariance = np.linalg.inv(rows[kept].T @ rows[kept])
    mean = covariance @ rows[kept].T @ seen[kept]
    leverage = np.einsum("ij,jk,ik->i", rows, covariance, rows, optimize=True)
    room = np.where(kept, 1.0 - leverage, 1.0 + leverage)
    sigma = np.where(room > 1e-9, (seen - rows @ mean) / np.sqrt(np.maximum(room, 1e-9)), 0.0)
    level = np.array([max((-sigma[list(r)]).tolist(), key=abs, default=0.0) for r in problem.level_rows])
    amounts = np.asarray(sigma[list(problem.amount_rows)], dtype=np.float64)
    return _Solved(mean, np.asarray(covariance, dtype=np.float64), amounts, level)


def _worst(solved: _Solved, fills: Sequence[Fill], out: Mapping[int, str]) -> tuple[int, str] | None:
    """The fill and part that disagrees most, beyond its limit and not yet out; an amount before a level that ties."""
    found: list[tuple[float, int, str]] = []
    for i, fill in enumerate(fills):
        if i in out or fill.settled:
            continue
        amount, level = float(solved.sigma[i]), float(solved.level_sigma[i])
        if amount > LEAK_SIGMA or amount < -NAMED_SIGMA:
            found.append((abs(amount) * (1.0 + 1e-6), i, "amount"))
        if abs(level) > NAMED_SIGMA:
            found.append((abs(level), i, "level"))
    worst = max(found, default=None)
    return None if worst is None else (worst[1], worst[2])


def _result(planned: Mapping[str, PlannedFlow], fills: Sequence[Fill], problem: _Problem, solved: _Solved,
            out: Mapping[int, str]) -> FuelLog:
    flow_sd = np.array([planned[p].sd_m3_s for p in PHASES])
    mean = np.array([planned[p].mean_m3_s for p in PHASES]) + flow_sd * solved.mean[:5]
    covariance = solved.covariance[:5, :5] * np.outer(flow_sd, flow_sd)
    half = BAND_Z * np.sqrt(np.diag(covariance))
    worse, checks = 1.0, []
    times = [np.sum([f.times_s() for f in fill.flights], axis=0) for fill in fills]
    plan = np.array([planned[p].mean_m3_s for p in PHASES])
    expected = [float(t @ mean) for t in times]
    used = [float(problem.observed[r] + t @ plan) for r, t in zip(problem.amount_rows, times, strict=True)]
    for i, fill in enumerate(fills):
        kind, is_open = out.get(i, ""), i in out and not fill.settled
        if is_open:  # a level that is not as said touches the fill it ends and the one it begins
            touched = (i,) if kind == "amount" else tuple(j for j in (i, i + 1) if j < len(fills))
            worse = max(worse, *(used[j] / expected[j] for j in touched))
        checks.append(_named(fill, used[i], expected[i], float(solved.sigma[i]), float(solved.level_sigma[i]), kind, is_open))
    flows = tuple(PhaseFlow(p, *map(float, (m, m - h, m + h, m * worse)))
                  for p, m, h in zip(PHASES, mean, half, strict=True))
    return FuelLog(flows, covariance, tuple(checks), _summary(flows, checks, worse))


def _named(fill: Fill, used: float, expected: float, sigma: float, level_sigma: float, kind: str, is_open: bool) -> FillCheck:
    """The check of one fill with its sentence."""
    amount = f"{number_text(from_si(used, 'usgal'))} US gal used, {number_text(from_si(expected, 'usgal'))} expected"
    far = level_sigma if kind == "level" else sigma
    words = f"Fill {fill.name}: {amount}, {abs(sigma):.1f} sigma."
    if kind and not is_open:
        words = f"Fill {fill.name}: {amount}; left out, settled as {fill.settled}."
    elif kind == "level":
        side = "below" if level_sigma < 0 else "above"
        words = (f"Fill {fill.name} seems to have ended {side} the level said ({abs(far):.1f} sigma: the fill before and the one "
                 f"after agree without it). Not averaged in. Look for: {_LESS}.")
    elif kind:
        words = (f"Fill {fill.name}: {amount}, {abs(far):.1f} sigma {'more' if sigma > 0 else 'less'} than the others say. "
                 f"Not averaged in. Look for: {_MORE if sigma > 0 else _LESS}. "
                 f"{_ACT_MORE if sigma > 0 else _ACT_LESS}")
    return FillCheck(fill.name, used, expected, sigma, level_sigma, kind, is_open, words)


def _summary(flows: Sequence[PhaseFlow], checks: Sequence[FillCheck], worse: float) -> tuple[str, ...]:
    """Plain words: flows with bands, then what is not settled and what the plan does about it."""
    said = [f"{f.phase.capitalize()}: "
            f"{figure(f.mean_m3_s, 'usgal/h', f.low_m3_s, f.high_m3_s).text(1).replace('usgal/h', 'US gal/h')}, the mean over "
            f"{len(checks)} fill{'' if len(checks) == 1 else 's'}." for f in flows]
    unsettled = [c for c in checks if c.open]
    said += [c.words for c in unsettled]
    if unsettled:
        more = f"{100 * (worse - 1):.0f} % more than learned" if worse > 1 else "the learned flows, which are the worse"
        said.append(f"Until that is settled the next flight is planned on {more}.")
    return tuple(said)


def _check(planned: Mapping[str, PlannedFlow], start: Sequence[TankLevel], fills: Sequence[Fill], scatter_1: float,
           pump_sd_1: float, correlation_1: float) -> None:
    """Refuse what cannot be: each refusal one sentence."""
    for p in PHASES:
        if p not in planned:
            raise MissingKey(f"No planned flow for {p}; give one, with its sd, for each of {', '.join(PHASES)}.")
        if not (0 < planned[p].mean_m3_s < np.inf and 0 < planned[p].sd_m3_s < np.inf):
            raise BadInput(f"The planned flow for {p} and its sd must both be above zero.")
    if not (0 < scatter_1 < 1 and 0 < pump_sd_1 < 1 and 0 <= correlation_1 < 1):
        raise BadInput("Scatter and pump error must lie between 0 and 1, the correlation of phases from 0 to below 1.")
    known = {t.tank for t in start}
    for t in [*start, *(t for f in fills for t in f.tanks)]:
        if not (t.sd_m3 > 0 and 0 <= t.level_m3 < np.inf and 0 <= t.added_m3 < np.inf):
            raise BadInput(f"Tank {t.tank}: level and amount must be zero or more and the sd above zero.")
    for f in fills:
        if f.settled not in SETTLED:
            raise BadInput(f"Fill {f.name}: settled {f.settled!r} is not one of lost, short, right or nothing.")
        names = [t.tank for t in f.tanks]
        if not names or len(set(names)) < len(names) or not known.issuperset(names):
            raise BadInput(f"Fill {f.name}: name each tank once, and only tanks with a level before the first flight: "
                           f"{', '.join(sorted(known)) or 'none'}.")
        times = [x.times_s() for x in f.flights]
        if not times or not np.sum(times) > 0 or not np.isfinite(times).all() or (np.array(times) < 0).any():
            raise BadInput(f"Fill {f.name}: it needs at least one flight with its times, none below zero.")
