"""Calibration: the most probable parameters given rows and priors, and how sure they are.

theta in units of prior sd; residuals [(obs - pred)/sigma ; theta]; Levenberg-Marquardt with a central-difference
Jacobian whose 2P + 1 evaluations are one batched call along the draw axis; C = (J'J + 1)^-1 (Laplace). A first pass
by least squares, a second with Student's t (5 degrees of freedom) so that a single wrong row cannot pull the rest;
then the spread is re-sampled with a normal proposal and truncated weights. Derivation: docs/methods/calibration.md.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ownship.calibration.measurements import predict, row_sd
from ownship.errors import BadInput
from ownship.performance.model import Airframe, Draws, KindError, Model, natural, parameter_names, priors
from ownship.performance.rows import Rows
from ownship.physics.propeller import Surrogate

FloatArray = NDArray[np.float64]
MODEL_VERSION = "6"
STEP, FARTHEST = 0.03, 4.5  # of the difference quotient, and of any parameter, in prior sd
ROUNDS, CONVERGED = 40, 1e-4
IMPOSSIBLE = 8.0  # residual, in sigma, of a row that the model cannot fly at all
HELD = 1e-4  # spread, in prior sd, of what a book calibration holds fixed
TAIL = 5.0  # degrees of freedom of the robust loss
PROPOSALS, LEAST_EFFECTIVE, WIDER = 2048, 200, 1.15  # the proposal is a little wider than Laplace
RESAMPLED_ROWS = 200_000  # row predictions that re-sampling may cost: with more rows than this allows, Laplace alone


@dataclass(frozen=True)
class Calibration:
    """One calibration: mean and covariance in units of prior sd, what it was made of, discrepancy by kind.

    effective: effective sample size of the re-sampling out of 2,048; None where it was too small or not done: then
    the covariance is Laplace's.
    """

    label: str
    mean: FloatArray
    covariance: FloatArray
    rows_used: int
    seed: int
    discrepancy: dict[str, KindError]
    effective: float | None = None

    def natural_mean(self) -> dict[str, float]:
        """The most probable parameters in their natural units, by name."""
        return {n: float(v) for n, v in zip(parameter_names(), natural(self.mean), strict=True)}


def model_of(airframe: Airframe, surrogate: Surrogate, standard: FloatArray) -> Model:
    """A Model whose draws are the given parameter vectors (draw, parameter), in units of prior sd; no noise."""
    return Model(airframe, surrogate, Draws(natural(np.atleast_2d(standard))))


def fit(airframe: Airframe, surrogate: Surrogate, rows: Rows | None, label: str, seed: int = 0,
        book: Calibration | None = None, resample: bool = True) -> Calibration:
    """Calibrate on rows; no rows: the priors alone (label "prior").

    book: the calibration of the handbook, from which this one aeroplane may lie as far as individuals do: its mean
    and covariance plus `individual`^2 become the prior of the owner's own rows. resample False: Laplace's spread alone,
    where only the most probable vector is wanted.
    """
    share = priors().discrepancy_share_1
    discrepancy = {k: KindError(e.relative_1 * share, e.absolute * share) for k, e in priors().row_sd.items()}
    size = len(parameter_names())
    if rows is None or not len(rows):
        return Calibration("prior", np.zeros(size), _of_a_book(), 0, seed, discrepancy)
    centre, spread = np.zeros(size), _of_a_book()
    if book is not None:
        centre, spread = book.mean, individual(book).covariance
    precision = np.asarray(np.linalg.inv(spread), dtype=np.float64)
    problem = _Problem(airframe, surrogate, rows, row_sd(rows), centre, precision)
    mean = _levenberg_marquardt(problem, centre)
    problem = replace(problem, robust=True)
    # A few own rows: least squares may end in a false valley that a mistyped row dug, so the book is a start too.
    starts = (mean,) if book is None else (mean, centre)
    ends = [_levenberg_marquardt(problem, start) for start in starts]
    mean = min(ends, key=lambda end: float(problem.cost(end[None])[0]))
    _, jacobian = problem.linear(mean)
    covariance = np.asarray(np.linalg.inv(jacobian.T @ jacobian + precision), dtype=np.float64)
    resampled, effective = _resample(problem, mean, covariance, seed) if resample else (covariance, None)
    used = len(rows) + (book.rows_used if book is not None else 0)
    return Calibration(label, mean, resampled, used, seed, discrepancy, effective)


def _resample(problem: _Problem, mean: FloatArray, covariance: FloatArray, seed: int) -> tuple[FloatArray, float | None]:
    """The covariance about the mean by importance sampling: normal proposal, weights cut at sqrt(N) times their mean.

    Returns Laplace's covariance and None where the effective sample size is under 200 of 2,048, or the rows are so
    many (over 97) that the spread is narrow and Laplace good.
    """
    if PROPOSALS * len(problem.rows) > RESAMPLED_ROWS:
        return covariance, None
    u = np.random.default_rng([seed, 1]).standard_normal((PROPOSALS // 2, mean.size))
    u = np.concatenate([u, -u])
    z = np.clip(mean + WIDER * u @ np.linalg.cholesky(covariance).T, -FARTHEST, FARTHEST)
    logs = 0.5 * np.sum(u**2, axis=1) - problem.cost(z)
    weights = np.exp(logs - logs.max())
    weights = np.minimum(weights, np.sqrt(PROPOSALS) * weights.mean())
    weights /= weights.sum()
    effective = float(1 / np.sum(weights**2))
    if effective < LEAST_EFFECTIVE:
        return covariance, None
    away = z - mean
    spread = (away * weights[:, None]).T @ away
    return np.asarray((spread + spread.T) / 2, dtype=np.float64), effective


def _of_a_book() -> FloatArray:
    """Covariance of a handbook's parameters before its rows: the priors; next to none in what it knows nothing of (own_only)."""
    return np.diag([HELD**2 if p.own_only else 1.0 for p in priors().parameters])


def individual(book: Calibration) -> Calibration:
    """This one aeroplane before any measurement of its own: the book's mean, its spread widened by how far individuals lie."""
    spread = book.covariance + np.diag([p.individual**2 for p in priors().parameters])
    return replace(book, label="before", covariance=spread, effective=None)


@dataclass(frozen=True)
class _Problem:
    airframe: Airframe
    surrogate: Surrogate
    rows: Rows
    sd: FloatArray
    centre: FloatArray
    precision: FloatArray
    robust: bool = False

    def residuals(self, standard: FloatArray) -> FloatArray:
        """(observed - predicted)/sigma for parameter vectors (draw, parameter): (row, draw).

        Robust: the signed square root of (v + 1) ln(1 + r^2/v), whose square is Student's t loss.
        """
        predicted = predict(model_of(self.airframe, self.surrogate, standard), self.rows)
        scaled = (self.rows.value[:, None] - predicted) / self.sd[:, None]
        scaled = np.where(np.isfinite(scaled), scaled, IMPOSSIBLE)
        if not self.robust:
            return scaled
        return np.asarray(np.sign(scaled) * np.sqrt((TAIL + 1) * np.log1p(scaled**2 / TAIL)))

    def linear(self, standard: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Residuals (row,) and the Jacobian of the predictions over sigma (row, parameter) at one vector."""
        steps = STEP * np.eye(standard.size)
        batch = self.residuals(np.vstack([standard, standard + steps, standard - steps]))
        plus, minus = batch[:, 1 : standard.size + 1], batch[:, standard.size + 1 :]
        return batch[:, 0], -(plus - minus) / (2 * STEP)

    def cost(self, standard: FloatArray) -> FloatArray:
        """Half the sum of squares for vectors (draw, parameter)."""
        away = standard - self.centre
        prior = np.einsum("dp,pq,dq->d", away, self.precision, away)
        return np.asarray(0.5 * (np.sum(self.residuals(standard) ** 2, axis=0) + prior))


def _levenberg_marquardt(problem: _Problem, start: FloatArray) -> FloatArray:
    """Minimise the cost; four damping values are tried in one batch each round."""
    here, damping = start, 1.0
    cost = float(problem.cost(here[None])[0])
    for _ in range(ROUNDS):
        residual, jacobian = problem.linear(here)
        gradient = jacobian.T @ residual - problem.precision @ (here - problem.centre)
        hessian = jacobian.T @ jacobian + problem.precision
        dampings = damping * np.array([0.01, 0.1, 1.0, 10.0, 100.0])
        steps = np.stack([np.linalg.solve(hessian + d * np.diag(np.diag(hessian)), gradient) for d in dampings])
        trials = np.clip(here + steps, -FARTHEST, FARTHEST)
        costs = problem.cost(trials)
        best = int(np.argmin(costs))
        if costs[best] >= cost:
            damping *= 100.0
            if damping > 1e8:
                break
            continue
        moved, gained = np.abs(trials[best] - here).max(), cost - float(costs[best])
        here, cost, damping = trials[best], float(costs[best]), max(dampings[best], 1e-9)
        if moved < CONVERGED or gained < 1e-7 * max(cost, 1.0):
            break
    return here


def draws_of(calibration: Calibration, size: int = 256, seed: int = 0) -> Draws:
    """Frozen draws from a calibration: mean + L u with stratified, mirrored normals, one noise vector a kind.

    The first half mirrors the second, so that the mean of the draws is the most probable vector exactly; draw 0
    is that vector itself, without noise: the middle flight (its mirror has the vector, but noise).
    """
    if size < 2 or size % 2:
        raise BadInput(f"{size} draws were asked for; an even number from 2 on is wanted.")
    generator = np.random.default_rng([calibration.seed, seed])
    half = size // 2
    u = np.stack([_normals(generator, half) for _ in range(calibration.mean.size)], axis=-1)
    u[0] = 0.0
    lower = np.linalg.cholesky(calibration.covariance + 1e-12 * np.eye(calibration.mean.size))
    z = calibration.mean + np.concatenate([u, -u]) @ lower.T
    noise = {}
    for kind in calibration.discrepancy:
        noise[kind] = _normals(generator, size)
        noise[kind][0] = 0.0
    return Draws(natural(np.clip(z, -FARTHEST, FARTHEST)), noise, calibration.discrepancy, calibration.label, seed)


def _normals(generator: np.random.Generator, size: int) -> FloatArray:
    """Stratified standard normals in random order: inverse of the normal at the middles of equal slices."""
    from statistics import NormalDist

    normal = NormalDist()
    return generator.permutation(np.array([normal.inv_cdf((i + 0.5) / size) for i in range(size)]))


def middle(calibration: Calibration) -> Draws:
    """The most probable parameters as a single draw without noise."""
    return Draws(natural(calibration.mean[None, :]), label=calibration.label)
