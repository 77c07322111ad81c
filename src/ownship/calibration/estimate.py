"""Calibration: the most probable parameters given rows and priors, and how sure they are.

theta in units of prior sd; residuals [(obs - pred)/sigma ; theta]; Levenberg-Marquardt with a central-difference
Jacobian whose 2P + 1 evaluations are one batched call along the draw axis; C = (J'J + 1)^-1 (Laplace).
Derivation: docs/methods/calibration.md.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ownship.calibration.measurements import predict, row_sd
from ownship.errors import BadInput
from ownship.performance.model import Airframe, Draws, KindError, Model, natural, parameter_names, priors
from ownship.performance.rows import Rows
from ownship.physics.propeller import Surrogate

FloatArray = NDArray[np.float64]
MODEL_VERSION = "1"
STEP, FARTHEST = 0.03, 4.5  # of the difference quotient, and of any parameter, in prior sd
ROUNDS, CONVERGED = 40, 1e-4
IMPOSSIBLE = 8.0  # residual, in sigma, of a row that the model cannot fly at all


@dataclass(frozen=True)
class Calibration:
    """One calibration: mean and covariance in units of prior sd, what it was made of, discrepancy by kind."""

    label: str
    mean: FloatArray
    covariance: FloatArray
    rows_used: int
    seed: int
    discrepancy: dict[str, KindError]

    def natural_mean(self) -> dict[str, float]:
        """The most probable parameters in their natural units, by name."""
        return {n: float(v) for n, v in zip(parameter_names(), natural(self.mean), strict=True)}


def model_of(airframe: Airframe, surrogate: Surrogate, standard: FloatArray) -> Model:
    """A Model whose draws are the given parameter vectors (draw, parameter), in units of prior sd; no noise."""
    return Model(airframe, surrogate, Draws(natural(np.atleast_2d(standard))))


def fit(airframe: Airframe, surrogate: Surrogate, rows: Rows | None, label: str, seed: int = 0) -> Calibration:
    """Calibrate on rows; no rows: the priors alone (label "prior")."""
    share = priors().discrepancy_share_1
    discrepancy = {k: KindError(e.relative_1 * share, e.absolute * share) for k, e in priors().row_sd.items()}
    size = len(parameter_names())
    if rows is None or not len(rows):
        return Calibration("prior", np.zeros(size), np.eye(size), 0, seed, discrepancy)
    problem = _Problem(airframe, surrogate, rows, row_sd(rows))
    mean = _levenberg_marquardt(problem, np.zeros(size))
    _, jacobian = problem.linear(mean)
    covariance = np.asarray(np.linalg.inv(jacobian.T @ jacobian + np.eye(size)), dtype=np.float64)
    return Calibration(label, mean, covariance, len(rows), seed, discrepancy)


@dataclass(frozen=True)
class _Problem:
    airframe: Airframe
    surrogate: Surrogate
    rows: Rows
    sd: FloatArray

    def residuals(self, standard: FloatArray) -> FloatArray:
        """(observed - predicted)/sigma for parameter vectors (draw, parameter): (row, draw)."""
        predicted = predict(model_of(self.airframe, self.surrogate, standard), self.rows)
        scaled = (self.rows.value[:, None] - predicted) / self.sd[:, None]
        return np.where(np.isfinite(scaled), scaled, IMPOSSIBLE)

    def linear(self, standard: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Residuals (row,) and the Jacobian of the predictions over sigma (row, parameter) at one vector."""
        steps = STEP * np.eye(standard.size)
        batch = self.residuals(np.vstack([standard, standard + steps, standard - steps]))
        plus, minus = batch[:, 1 : standard.size + 1], batch[:, standard.size + 1 :]
        return batch[:, 0], -(plus - minus) / (2 * STEP)

    def cost(self, standard: FloatArray) -> FloatArray:
        """Half the sum of squares for vectors (draw, parameter)."""
        return np.asarray(0.5 * (np.sum(self.residuals(standard) ** 2, axis=0) + np.sum(standard**2, axis=1)))


def _levenberg_marquardt(problem: _Problem, start: FloatArray) -> FloatArray:
    """Minimise the cost; four damping values are tried in one batch each round."""
    here, damping = start, 1.0
    cost = float(problem.cost(here[None])[0])
    for _ in range(ROUNDS):
        residual, jacobian = problem.linear(here)
        gradient = jacobian.T @ residual - here
        hessian = jacobian.T @ jacobian + np.eye(here.size)
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
    (and its mirror) is that vector itself, without noise: the middle flight.
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
