"""Equilibria of engine, propeller and airframe: rpm at full throttle, speed at rpm, rpm for a thrust, top speed.

All are solved by a fixed number of steps for every (case, draw) at once.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ownship.physics.drag import DragLaw, drag_n, minimum_drag_speed_m_s
from ownship.physics.engine import EngineLaw
from ownship.physics.propeller import MAX_J, PropellerLaw, coefficients

FloatArray = NDArray[np.float64]
Number = Any
STEPS = 8
NEAR_POINTS, NEAR_1 = (6, 8), 1e-9
LEVEL_NEAR_J, THRUST_NEAR_J = (0.65, 0.80), (0.85, 0.65)
FULL_THROTTLE_NEAR_1 = (0.85, 1.0)  # of rated: where full-throttle speeds of a fixed pitch lie
LOWEST_REV_S, HIGHEST_REV_S = 18.0, 62.0


def root(function: Callable[[FloatArray], FloatArray], low: FloatArray, high: FloatArray,
         steps: int = STEPS) -> FloatArray:
    """Root of `function` between low (positive there) and high (negative there), elementwise; NaN without a sign change.

    `steps` fixed iterations of Chandrupatla's method: inverse quadratic interpolation where the three last points bend
    gently enough, else bisection; the first point by regula falsi, the last by the chord. Measured on rpm, climb, cruise
    and top speed of the demo: 1e-9 of the root, NaN where more steps find none. Source: T. R. Chandrupatla, Advances in
    Engineering Software 28 (1997), from memory.
    """
    low, high = np.broadcast_arrays(np.asarray(low, dtype=float), np.asarray(high, dtype=float))
    y2, y1 = function(low), function(high)
    shape = np.broadcast_shapes(low.shape, y2.shape)
    x2, x1 = np.broadcast_to(low, shape), np.broadcast_to(high, shape)
    bad = ~((y2 >= 0) & (y1 <= 0))
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.clip(np.nan_to_num(y1 / (y1 - y2), nan=0.5), 0.02, 0.98)
        for _ in range(steps):
            x = x1 + share * (x2 - x1)
            y = function(x)
            same = np.sign(y) == np.sign(y1)
            x3, y3 = np.where(same, x1, x2), np.where(same, y1, y2)
            x2, y2 = np.where(same, x2, x1), np.where(same, y2, y1)
            x1, y1 = x, y
            share = _next_share((x1, x2, x3), (y1, y2, y3))
        chord = np.nan_to_num(y1 / (y1 - y2), nan=0.0)
    return np.where(bad, np.nan, x1 + chord * (x2 - x1))


def root_near(function: Callable[[FloatArray], FloatArray], low: FloatArray, high: FloatArray,
              guesses: tuple[FloatArray, FloatArray]) -> FloatArray:
    """`root` of a function that falls through it, looked for from two guesses near it; where that misses, by `root` itself.

    Inverse interpolation through every point so far (Newton's divided differences), six points, then eight: a value
    counts where it lies inside the bracket, the function falls there and the last point moved it by less than
    1e-9 of itself, so that it agrees with `root` to that and nearly always to the last digits. A function that is
    not positive at `low` must not fall through 0 above it, or its values are to be left out by the caller. Source:
    Newton's interpolation, any text on numerical analysis.
    """
    with np.errstate(all="ignore"):
        points = _Inverse(function, guesses)
        unknown = np.isnan(points.y[0])
        found = np.full(unknown.shape, np.nan)
        for count in NEAR_POINTS:
            x, falls = points.root_of(count)
            found = np.where(np.isnan(found) & falls & (x > low) & (x < high), x, found)
            if (unknown | ~np.isnan(found)).all():
                return found
    return np.where(np.isnan(found), root(function, low, high), found)


class _Inverse:
    """Points of a function, and the divided differences of its inverse: row k holds those that end at point k."""

    def __init__(self, function: Callable[[FloatArray], FloatArray], guesses: tuple[FloatArray, FloatArray]) -> None:
        self.function = function
        self.y: list[FloatArray] = []
        self.rows: list[list[FloatArray]] = []
        for x in guesses:
            self._add(x)

    def _add(self, x: FloatArray) -> None:
        y, row = self.function(x), [x]
        for j, before in enumerate(self.rows[-1] if self.rows else []):
            apart = y - self.y[-1 - j]
            row.append(np.where(apart == 0, 0.0, (row[j] - before) / apart))
        self.y.append(y)
        self.rows.append(row)

    def root_of(self, count: int) -> tuple[FloatArray, NDArray[np.bool_]]:
        """The root by `count` points, and where it is settled and the function falls."""
        while len(self.y) < count:
            self._add(self._next())
        x = self._next()
        row = self.rows[-1]
        return x, (np.abs(x - row[0]) <= NEAR_1 * np.abs(x)) & (row[1] <= 0)

    def _next(self) -> FloatArray:
        """The inverse at 0."""
        row, weight = self.rows[-1], -self.y[-1]
        x = row[0] + weight * row[1]
        for j in range(2, len(row)):
            weight = weight * -self.y[-j]
            x = x + weight * row[j]
        return np.asarray(x)


def _next_share(x: tuple[FloatArray, FloatArray, FloatArray], y: tuple[FloatArray, FloatArray, FloatArray]) -> FloatArray:
    """Where between the newest point (0) and the one across the root (1) to look next: Chandrupatla's criterion."""
    (x1, x2, x3), (y1, y2, y3) = x, y
    place, height = (x1 - x2) / (x3 - x2), (y1 - y2) / (y3 - y2)
    gentle = (height**2 < place) & ((1 - height) ** 2 < 1 - place)
    curved = y1 / (y2 - y1) * y3 / (y2 - y3) + (x3 - x1) / (x2 - x1) * y1 / (y3 - y1) * y2 / (y3 - y2)
    share = np.where(gentle & np.isfinite(curved), np.clip(curved, 1e-9, 1 - 1e-9), 0.5)
    return np.where(y1 == 0, 0.0, share)


def full_throttle_rev_s(engine: EngineLaw, propeller: PropellerLaw, factor_1: Number, density_kg_m3: Number,
                        sound_m_s: Number, airspeed_m_s: Number) -> FloatArray:
    """Propeller speed at which full-throttle power equals what the propeller absorbs: P_max(n)/n = CP* rho n^2 D^5.

    factor_1 from engine.air_factor_1; rev/s within 18 to 62, NaN outside and where J would pass 1.25. Static:
    airspeed 0.
    """
    n = _full_throttle(engine, propeller, factor_1, density_kg_m3, sound_m_s, airspeed_m_s)
    return np.where(airspeed_m_s > MAX_J * propeller.diameter_m * n, np.nan, n)


def _full_throttle(engine: EngineLaw, propeller: PropellerLaw, factor_1: Number, density_kg_m3: Number,
                   sound_m_s: Number, airspeed_m_s: Number) -> FloatArray:
    """`full_throttle_rev_s` with CP held beyond J 1.25: for brackets."""
    scale = density_kg_m3 * propeller.diameter_m**5
    rated = engine.power_factor_1 * engine.rated_power_w / engine.rated_rev_s * factor_1

    def surplus(n: FloatArray) -> FloatArray:
        _, cp = coefficients(propeller, airspeed_m_s, n, sound_m_s, thrust=False)
        x = n / engine.rated_rev_s
        return np.asarray(rated * (1 + engine.torque_slope_1 * (1 - x)) - cp * scale * n * n)

    near = tuple(np.asarray(share * engine.rated_rev_s) for share in FULL_THROTTLE_NEAR_1)
    return root_near(surplus, np.asarray(LOWEST_REV_S), np.asarray(HIGHEST_REV_S), (near[0], near[1]))


def thrust_n(propeller: PropellerLaw, airspeed_m_s: Number, rev_s: Number, density_kg_m3: Number,
             sound_m_s: Number) -> FloatArray:
    """T = CT* rho n^2 D^4, N."""
    ct, _ = coefficients(propeller, airspeed_m_s, rev_s, sound_m_s, power=False)
    return np.asarray(ct * density_kg_m3 * np.square(rev_s) * propeller.diameter_m**4)


def absorbed_power_w(propeller: PropellerLaw, airspeed_m_s: Number, rev_s: Number, density_kg_m3: Number,
                     sound_m_s: Number) -> FloatArray:
    """P = CP* rho n^3 D^5, W."""
    _, cp = coefficients(propeller, airspeed_m_s, rev_s, sound_m_s, thrust=False)
    return np.asarray(cp * density_kg_m3 * np.asarray(rev_s) ** 3 * propeller.diameter_m**5)


def level_speed_m_s(propeller: PropellerLaw, drag: DragLaw, density_kg_m3: Number, sound_m_s: Number,
                    weight_n: Number, rev_s: Number) -> FloatArray:
    """The upper speed of level flight at a propeller speed: CT* rho n^2 D^4 = D(V), V above 0.95 V_md; NaN without one."""
    slowest = 0.95 * minimum_drag_speed_m_s(drag, density_kg_m3, weight_n)
    fastest = np.maximum(1.15 * np.asarray(rev_s) * propeller.diameter_m, slowest * 1.01)

    def surplus(v: FloatArray) -> FloatArray:
        return thrust_n(propeller, v, rev_s, density_kg_m3, sound_m_s) - drag_n(drag, density_kg_m3, v, weight_n)

    near = tuple(np.asarray(rev_s) * propeller.diameter_m * j for j in LEVEL_NEAR_J)
    found = root_near(surplus, slowest, fastest, (near[0], near[1]))
    return np.where(surplus(slowest) >= 0, found, np.nan)


def rev_for_thrust_s(propeller: PropellerLaw, density_kg_m3: Number, sound_m_s: Number, airspeed_m_s: Number,
                     wanted_n: Number) -> FloatArray:
    """Propeller speed that gives a thrust at an airspeed; NaN where J would pass 1.25 or 62 rev/s not suffice."""
    low = np.maximum(np.asarray(airspeed_m_s) / (MAX_J * propeller.diameter_m) * 1.0001, 5.0)

    def lacking(n: FloatArray) -> FloatArray:
        return np.asarray(wanted_n - thrust_n(propeller, airspeed_m_s, n, density_kg_m3, sound_m_s))

    near = tuple(np.maximum(np.asarray(airspeed_m_s) / (j * propeller.diameter_m), 5.0) for j in THRUST_NEAR_J)
    return root_near(lacking, low, np.asarray(HIGHEST_REV_S), (near[0], near[1]))


def top_speed_m_s(engine: EngineLaw, propeller: PropellerLaw, drag: DragLaw, factor_1: Number, density_kg_m3: Number,
                  sound_m_s: Number, weight_n: Number) -> FloatArray:
    """Level speed at full throttle, no rpm limit: root in V with the rpm equilibrium inside; NaN without one."""
    slowest = 0.95 * minimum_drag_speed_m_s(drag, density_kg_m3, weight_n)

    def surplus(v: FloatArray) -> FloatArray:
        n = _full_throttle(engine, propeller, factor_1, density_kg_m3, sound_m_s, v)
        n = np.where(np.isnan(n), HIGHEST_REV_S, n)
        return thrust_n(propeller, v, n, density_kg_m3, sound_m_s) - drag_n(drag, density_kg_m3, v, weight_n)

    return root(surplus, slowest, np.maximum(3.0 * slowest, 90.0))
