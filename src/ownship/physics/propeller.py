"""The fixed-pitch propeller: blade-element momentum theory, frozen into a polynomial in J, blade angle and tip Mach.

CT = T/(rho n^2 D^4), CP = P/(rho n^3 D^5), J = V/(n D). The section and planform are those of the full-scale
propeller 5868-9 of NACA TR-640; docs/methods/propeller.md derives the equations.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ownship.errors import OutOfRange

FloatArray = NDArray[np.float64]
Number = Any

# r/R, c/R, t/c of the blade 5868-9 (NACA TR-640).
PLANFORM = np.array([
    (.2, .073, 1.0), (.3, .107, .36), (.4, .139, .174), (.5, .152, .119), (.6, .146, .102), (.7, .132, .093),
    (.75, .123, .090), (.8, .113, .087), (.9, .090, .083), (.95, .077, .081), (1.0, .031, .08)])
HUB, TIP, STATIONS, BISECTIONS = 0.20, 0.995, 24, 40
MAX_J, MAX_TWIST_DEG, MIN_MACH, MAX_MACH = 1.25, 4.0, 0.5, 0.8
J_TERMS, ANGLE_TERMS, MACH_TERMS = 10, 4, 3
AT_ONCE = 2000  # values up to which a polynomial is worked out all powers at once


@dataclass(frozen=True)
class Blade:
    """Stations of one blade: r/R, c/R, t/c and quadrature weights (of r/R), each (24,)."""

    radius_1: FloatArray
    chord_1: FloatArray
    thickness_1: FloatArray
    weight_1: FloatArray


@cache
def blade() -> Blade:
    """The 24 Gauss stations on r/R 0.20 to 0.995, planform interpolated linearly."""
    nodes, weights = np.polynomial.legendre.leggauss(STATIONS)
    radius = HUB + (TIP - HUB) * (nodes + 1) / 2
    return Blade(radius, np.interp(radius, PLANFORM[:, 0], PLANFORM[:, 1]),
                 np.interp(radius, PLANFORM[:, 0], PLANFORM[:, 2]), weights * (TIP - HUB) / 2)


def constant_pitch_angle_rad(beta75_rad: Number) -> FloatArray:
    """Blade angle at every station (..., 24) of constant geometric pitch: atan(0.75 tan(beta75)/(r/R))."""
    return np.arctan(0.75 * np.tan(np.asarray(beta75_rad, dtype=float))[..., None] / blade().radius_1)


def turned_blade_angle_rad(beta75_rad: Number, built_rad: float) -> FloatArray:
    """A blade of constant pitch at `built_rad`, turned in its hub to beta75 (the TR-640 propeller)."""
    return constant_pitch_angle_rad(built_rad) + (np.asarray(beta75_rad, dtype=float) - built_rad)[..., None]


def _section(u: FloatArray, mach: FloatArray, fade: FloatArray, thickness: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Lift and drag coefficients from the unstalled lift u: stall, shank and drag rise (performance model 2.4)."""
    clmax = 1.425 * (1 - 0.25 * np.clip((mach - 0.5) / 0.3, 0.0, 1.0))
    cl = u / (1 + np.abs(u / clmax) ** 6) ** (1 / 6)
    excess = np.abs(u) - np.abs(cl)
    cd = (0.0050 * (1 + 2 * thickness + 60 * thickness**4) + 0.03 * (cl - 0.35) ** 2 + 0.12 * excess + 0.10 * excess**2
          + 0.12 * (1 - fade))
    critical = 0.772 - thickness - 0.1 * np.abs(cl)
    return cl, cd + np.minimum(20 * np.maximum(mach - critical, 0.0) ** 4, 0.10)


def blade_element(advance_ratio: Number, blade_angle_rad: FloatArray, tip_mach: Number,
                  blades: int) -> tuple[FloatArray, FloatArray]:
    """(CT, CP) by blade-element momentum theory; static (J = 0) included.

    At each station the inflow angle phi solves xi (sin phi - k1) = J/pi (cos phi + k2), k1 = s cn/(4 F sin phi),
    k2 = s ct/(4 F sin phi), s = B c/(2 pi r), by 40 bisections; F is Prandtl's tip and hub loss.
    advance_ratio, tip_mach: shape S; blade_angle_rad: S + (24,) or broadcast. Valid J 0 to 1.25, tip Mach to 0.8.
    Source: momentum and blade-element theory; section fitted on NACA TR-640. Checks: tests of naca_tr640.
    """
    b = blade()
    xi, thickness = b.radius_1, np.minimum(b.thickness_1, 1.0)
    ratio = np.asarray(advance_ratio, dtype=float)[..., None] / np.pi
    mach_tip = np.asarray(tip_mach, dtype=float)[..., None]
    zero_lift = np.radians(-48.1) * np.minimum(thickness, 0.14)
    fade = np.clip((0.35 - thickness) / 0.15, 0.0, 1.0)
    solidity = blades * b.chord_1 / (2 * np.pi * xi)

    def state(phi: FloatArray) -> tuple[FloatArray, ...]:
        sine, cosine = np.sin(phi), np.cos(phi)
        loss = (2 / np.pi) ** 2 * np.arccos(np.exp(-blades / 2 * (1 - xi) / (xi * sine))) * np.arccos(
            np.exp(-blades / 2 * (xi - HUB) / (HUB * sine)))
        loss = np.maximum(loss, 1e-6)
        speed = xi / np.maximum(cosine, 1e-3)
        mach = np.minimum(mach_tip * np.broadcast_to(speed, phi.shape), 0.8)
        u = 5.73 / np.sqrt(1 - mach**2) * (blade_angle_rad - phi - zero_lift) * fade
        cl, cd = _section(u, np.minimum(mach_tip * speed, 1.2), fade, thickness)
        normal, tangent = cl * cosine - cd * sine, cl * sine + cd * cosine
        k1, k2 = solidity * normal / (4 * loss * sine), solidity * tangent / (4 * loss * sine)
        return xi * (sine - k1) - ratio * (cosine + k2), normal, tangent, cosine + k2

    inflow = np.arctan2(ratio, xi)
    shape = np.broadcast_shapes(inflow.shape, blade_angle_rad.shape, mach_tip.shape)
    low = np.maximum(np.maximum(inflow - np.radians(15), blade_angle_rad - np.radians(25)), np.radians(0.05))
    high = np.minimum(inflow + np.radians(35), blade_angle_rad + np.radians(10))
    low = np.broadcast_to(low, shape).copy()
    high = np.maximum(np.broadcast_to(high, shape), low + np.radians(0.1))
    for _ in range(BISECTIONS):
        middle = (low + high) / 2
        up = state(middle)[0] > 0
        high = np.where(up, middle, high)
        low = np.where(up, low, middle)
    _, normal, tangent, turned = state((low + high) / 2)
    relative = (xi / turned) ** 2
    share = np.pi**2 / 8 * blades * b.chord_1 * relative * b.weight_1
    return np.sum(share * normal, axis=-1), np.pi * np.sum(share * tangent * xi, axis=-1)


@dataclass(frozen=True)
class Surrogate:
    """Polynomials of CT and CP for one propeller: coefficients (J 10, angle 4, Mach 3) in scaled variables."""

    beta75_rad: float
    blades: int
    ct: FloatArray
    cp: FloatArray
    rms: tuple[float, float]


def build_surrogate(beta75_rad: float, blades: int) -> Surrogate:
    """Freeze `blade_element` around one blade angle: J 0-1.25 (51), angle +-4 deg (6), tip Mach 0.5-0.8 (5).

    Least squares of J^0..9 x angle^0..3 x Mach^0..2 on the grid; about 0.5 s. rms of CT and CP are kept.
    """
    j, angle, mach = np.linspace(0, MAX_J, 51), np.linspace(-1, 1, 6), np.linspace(-1, 1, 5)
    beta = beta75_rad + np.radians(MAX_TWIST_DEG) * angle
    grid_j, grid_b, grid_m = np.meshgrid(j, beta, _mach_of(mach), indexing="ij")
    ct, cp = blade_element(grid_j, constant_pitch_angle_rad(grid_b), grid_m, blades)
    inverse = [np.linalg.pinv(np.vander(x, n, increasing=True)) for x, n in (
        (2 * j / MAX_J - 1, J_TERMS), (angle, ANGLE_TERMS), (mach, MACH_TERMS))]
    def fit(values: FloatArray) -> FloatArray:
        return np.asarray(np.einsum("ai,bj,ck,ijk->abc", *inverse, values, optimize=True))

    rows = [np.vander(x, n, increasing=True) for x, n in ((2 * j / MAX_J - 1, J_TERMS), (angle, ANGLE_TERMS),
                                                           (mach, MACH_TERMS))]
    fitted = [fit(ct), fit(cp)]
    errors = [np.einsum("ia,jb,kc,abc->ijk", *rows, f, optimize=True) - v for f, v in zip(fitted, (ct, cp), strict=True)]
    rms = (float(np.sqrt(np.mean(errors[0] ** 2))), float(np.sqrt(np.mean(errors[1] ** 2))))
    return Surrogate(beta75_rad, blades, fitted[0], fitted[1], rms)


def _mach_of(scaled: FloatArray) -> FloatArray:
    return (MIN_MACH + MAX_MACH) / 2 + (MAX_MACH - MIN_MACH) / 2 * scaled


def pitch_angle_rad(pitch_m: float, diameter_m: float) -> float:
    """Blade angle at 75 % radius of a geometric pitch: atan(p/(0.75 pi D))."""
    return float(np.arctan(pitch_m / (0.75 * np.pi * diameter_m)))


@dataclass(frozen=True)
class PropellerLaw:
    """One calibrated propeller: diameter, and polynomials collapsed over the blade angle, (10, 3, draw).

    thrust_1 kCT, power_1 kCP and tilt_1 kJ (draw,): CT* = kCT kCP [1 + kJ (J - 0.55)] CT,
    CP* = kCP [1 + kJ (J - 0.55)] CP.
    """

    diameter_m: float
    ct: FloatArray
    cp: FloatArray
    thrust_1: FloatArray
    power_1: FloatArray
    tilt_1: FloatArray


def calibrated(surrogate: Surrogate, diameter_m: float, twist_deg: FloatArray, thrust_1: FloatArray,
               power_1: FloatArray, tilt_1: FloatArray) -> PropellerLaw:
    """Collapse the polynomials over the blade angle once per parameter vector.

    twist_deg (draw,): blade angle beyond the nominal one; OutOfRange beyond +-4 degrees.
    """
    twist = np.atleast_1d(np.asarray(twist_deg, dtype=float))
    if np.any(np.abs(twist) > MAX_TWIST_DEG):
        raise OutOfRange("A blade angle", f"{float(np.abs(twist).max()):.1f} degrees from the calibrated pitch",
                         f"{-MAX_TWIST_DEG:.0f}", f"{MAX_TWIST_DEG:.0f} degrees")
    powers = np.vander(twist / MAX_TWIST_DEG, ANGLE_TERMS, increasing=True)
    collapse = [np.einsum("abc,db->acd", c, powers) for c in (surrogate.ct, surrogate.cp)]
    return PropellerLaw(diameter_m, collapse[0], collapse[1], *(np.atleast_1d(x) for x in (thrust_1, power_1, tilt_1)))


def coefficients(law: PropellerLaw, airspeed_m_s: Number, rev_s: Number, sound_m_s: Number, *,
                 thrust: bool = True, power: bool = True) -> tuple[FloatArray, FloatArray]:
    """(CT*, CP*) at airspeed, propeller speed and speed of sound; shapes broadcast to (case, draw).

    J below 0 (a tailwind at brake release) counts as 0. Below tip Mach 0.5 compressibility no longer matters and
    0.5 is used; above 0.8 (2,700 rpm in hard frost) the polynomial is held at 0.8, where blade elements would ask
    up to 8 % more power at 0.84. J beyond 1.25 is held at 1.25 so that brackets may pass it: solvers that end there
    return NaN.
    """
    j = np.clip(airspeed_m_s / (rev_s * law.diameter_m), 0.0, MAX_J)
    tip = np.pi * np.asarray(rev_s) * law.diameter_m / sound_m_s
    m = np.clip((tip - (MIN_MACH + MAX_MACH) / 2) / ((MAX_MACH - MIN_MACH) / 2), -1.0, 1.0)
    x = 2 * j / MAX_J - 1
    tilt = law.power_1 * (1 + law.tilt_1 * (j - 0.55))
    ct = _horner(law.ct, x, m) * tilt * law.thrust_1 if thrust else tilt
    cp = _horner(law.cp, x, m) * tilt if power else tilt
    return ct, cp


def _horner(c: FloatArray, x: FloatArray, m: FloatArray) -> FloatArray:
    """sum c[a, k, draw] x^a m^k by Horner in x, the three Mach terms collected first.

    Few values: the Mach terms of every power at once (numpy's calls are what costs). Many: power by power (memory is).
    """
    m2 = m * m
    if m.size > AT_ONCE:
        return _horner_of((_mach_terms(c[a, 0], c[a, 1], c[a, 2], m, m2) for a in range(J_TERMS - 1, -1, -1)), x)
    constant, linear, square = (c[:, k].reshape(J_TERMS, *(1,) * (m.ndim - 1), -1) for k in range(MACH_TERMS))
    return _horner_of(reversed(_mach_terms(constant, linear, square, m, m2)), x)


def _mach_terms(constant: FloatArray, linear: FloatArray, square: FloatArray, m: FloatArray, m2: FloatArray) -> FloatArray:
    """constant + linear m + square m^2."""
    terms = linear * m
    terms += constant
    terms += square * m2
    return np.asarray(terms)


def _horner_of(terms: Iterator[FloatArray], x: FloatArray) -> FloatArray:
    """The polynomial in x of these terms, the highest power's first."""
    total = next(terms) * x
    last = next(terms)
    for term in terms:
        total += last
        total *= x
        last = term
    total += last
    return np.asarray(total)
