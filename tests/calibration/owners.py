"""Synthetic owners: aeroplanes drawn from outside the model, with a handbook, noisy own rows and true figures.

Nothing of the package's physics is used. An owner has an annular actuator disc with quadratic section polars and no
swirl (the model: blade elements of another blade, with Mach), smooth ripples of 2.5 % on CT and CP, power that falls
with pressure less a back pressure (the model: density), a parabolic torque (the model: linear), drag with a Reynolds
effect and separation (the model: parabola), a Willans line with friction by rpm for fuel (the model: parabola in
power), rotation and free roll on the ground (the model: none). As flown it is a few per cent worse than its handbook.
All figures of the population are invented.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ownship.calibration.estimate import draws_of, fit
from ownship.calibration.measurements import predict
from ownship.performance.model import Airframe, Model, priors
from ownship.performance.rows import Rows, read_rows
from ownship.physics.propeller import build_surrogate, pitch_angle_rad
from ownship.units import to_si

G, GAS, LAPSE, T0, P0 = 9.80665, 287.05, 0.0065, 288.15, 101325.0
HEADER = "origin,kind,pressure_altitude_ft,oat_c,weight_lb,rpm,mixture,tachometer,value"
ROUNDING = {"takeoff_roll_ft": 5, "takeoff_50ft_ft": 5, "landing_roll_ft": 5, "landing_50ft_ft": 5,
            "rate_of_climb_fpm": 5, "power_pct": 1, "cruise_tas_kt": 1, "fuel_flow_usgph": 0.1, "static_rpm": 10}
J_GRID = np.linspace(0.0, 1.3, 53)
CHORD = ((.2, .35, .5, .7, .85, .97, 1.0), (.090, .125, .148, .135, .105, .070, .030))
STATIONS = np.linspace(0.215, 0.99, 26)


def feet(x):
    return x / to_si(1.0, "ft")


def standard_k(pa_m):
    return T0 - LAPSE * pa_m


@dataclass(frozen=True)
class Aeroplane:
    """The truth: geometry, laws and their numbers (SI)."""

    area_m2: float
    aspect: float
    mass_kg: float
    power_w: float
    rev_s: float
    diameter_m: float
    beta_rad: float
    chord: float
    lift_slope: float
    section_drag: tuple[float, float, float]
    ripple: tuple[float, float, float, float]
    cd0: float
    reynolds: float
    efficiency: float
    separation: float
    ground_effect: float
    back_pressure: float
    heat_exponent: float
    torque_curve: float
    torque_peak: float
    indicated_kg_j: float
    friction: float
    friction_growth: float
    rich: tuple[float, float]
    rolling: float
    rolling_lift: float
    rotation_s: float
    air_technique: float
    flap_drag: float
    flare_s: float
    free_roll_s: float
    braking: float
    lift_off_m_s: float
    at_50ft_m_s: float
    climb_m_s: tuple[float, float]
    approach_m_s: float
    touchdown_m_s: float
    power_factor: float = 1.0
    roll_technique: float = 1.0
    landing_technique: float = 1.0
    tachometer: float = 1.0  # engine speed over the panel's
    ct: tuple[float, ...] = ()
    cp: tuple[float, ...] = ()


def with_propeller(a):
    """The aeroplane with its CT and CP over J: thrust of every ring of the disc equals that of its blade sections."""
    x, j = STATIONS, J_GRID[:, None]
    chord = a.chord * np.interp(x, *CHORD)
    angle = np.arctan(0.75 * np.tan(a.beta_rad) / x)
    forward = j / np.pi  # everything over tip speed

    def ring(v):
        phi = np.arctan2(forward + v, x)
        lift = a.lift_slope * (angle - phi + 0.075)
        lift = 1.35 * np.tanh(lift / 1.35)
        stall = np.maximum(np.abs(angle - phi) - np.radians(4), 0.0)
        drag = a.section_drag[0] + a.section_drag[1] * (lift - 0.4) ** 2 + a.section_drag[2] * stall**2
        square = (forward + v) ** 2 + x**2
        loss = 2 / np.pi * np.arccos(np.exp(-(1 - x) / np.maximum(np.sin(np.abs(phi)), 1e-3)))
        thrust = 2 * 0.5 * square * chord * (lift * np.cos(phi) - drag * np.sin(phi))
        torque = 2 * 0.5 * square * chord * (lift * np.sin(phi) + drag * np.cos(phi)) * x
        return thrust - 4 * np.pi * x * loss * np.abs(forward + v) * v, thrust, torque

    low, high = np.broadcast_to(-0.4 * forward, (j.size, x.size)).copy(), np.full((j.size, x.size), 0.5)
    for _ in range(40):
        middle = (low + high) / 2
        up = ring(middle)[0] > 0
        low, high = np.where(up, middle, low), np.where(up, high, middle)
    _, thrust, torque = ring((low + high) / 2)
    # tip speed pi n D and R = D/2: T = rho (pi n D)^2 R^2 t, P = rho (pi n D)^3 R^2 q
    ct = np.pi**2 / 4 * np.trapezoid(thrust, x, axis=1)
    cp = np.pi**3 / 4 * np.trapezoid(torque, x, axis=1)
    t, tp, p, pp = a.ripple
    return replace(a, ct=tuple(ct * (1 + t * np.sin(5 * J_GRID + tp))), cp=tuple(cp * (1 + p * np.sin(4 * J_GRID + pp))))


def density(pa_m, t_k):
    return P0 * (1 - LAPSE * pa_m / T0) ** (G / GAS / LAPSE) / (GAS * t_k)


def full_power(a, n, pa_m, t_k):
    x = n / a.rev_s
    torque = (1 - a.torque_curve * (x - a.torque_peak) ** 2) / (1 - a.torque_curve * (1 - a.torque_peak) ** 2)
    pressure = (1 - LAPSE * pa_m / T0) ** (G / GAS / LAPSE)
    return a.power_factor * a.power_w * x * torque * (pressure * (1 + a.back_pressure) - a.back_pressure) * (T0 / t_k) ** a.heat_exponent


def bisect(f, low, high, steps=45):
    """Root of f, positive at low."""
    for _ in range(steps):
        middle = (low + high) / 2
        up = f(middle) > 0
        low, high = np.where(up, middle, low), np.where(up, high, middle)
    return (low + high) / 2


def full_rev(a, v, pa_m, t_k):
    rho = density(pa_m, t_k)
    shape = np.zeros(np.broadcast_shapes(np.shape(v), np.shape(rho)))
    return bisect(lambda n: full_power(a, n, pa_m, t_k) - np.interp(v / (n * a.diameter_m), J_GRID, a.cp) * rho * n**3 * a.diameter_m**5,
                  shape + 25.0, shape + 60.0)


def thrust(a, v, n, rho):
    return np.interp(v / (n * a.diameter_m), J_GRID, a.ct) * rho * n**2 * a.diameter_m**4


def drag(a, v, rho, weight_n, induced=1.0, extra=0.0, lift=None):
    q = 0.5 * rho * v**2 * a.area_m2
    cl = weight_n / q if lift is None else lift
    scale = (v * rho / (50.0 * 1.225)) ** -a.reynolds
    return q * (a.cd0 * scale + extra + induced * cl**2 / (np.pi * a.aspect * a.efficiency)
                + a.separation * np.maximum(cl - 0.8, 0.0) ** 2)


def tas(cas, rho):
    return cas * np.sqrt(1.225 / rho)


def take_off(a, pa_m, t_k, w):
    """(roll, over 50 ft) by small steps of speed; W in N, arrays."""
    rho, scale = density(pa_m, t_k), np.sqrt(w / (a.mass_kg * G))
    v1, v2 = tas(a.lift_off_m_s * scale, rho), tas(a.at_50ft_m_s * scale, rho)
    roll = 0.0
    for share in (np.arange(40) + 0.5) / 40:
        v = share * v1
        push = thrust(a, v, full_rev(a, v, pa_m, t_k), rho) - drag(a, v, rho, w, a.ground_effect, 0.003, a.rolling_lift)
        lift = 0.5 * rho * v**2 * a.area_m2 * a.rolling_lift
        roll = roll + v * v1 / 40 / (G * (push - a.rolling * (w - lift)) / w)
    roll = a.roll_technique * (roll + a.rotation_s * v1)
    gradient = [(thrust(a, v, full_rev(a, v, pa_m, t_k), rho) - drag(a, v, rho, w, k)) / w
                for v, k in ((v1, a.ground_effect), (v2, 1.0))]
    air = a.air_technique * ((v2**2 - v1**2) / (2 * G * (0.6 * gradient[0] + 0.4 * gradient[1])) + to_si(50, "ft") / gradient[1])
    return roll, roll + a.roll_technique * air


def landing(a, pa_m, t_k, w):
    rho, scale = density(pa_m, t_k), np.sqrt(w / (a.mass_kg * G))
    v1, v2 = tas(a.approach_m_s * scale, rho), tas(a.touchdown_m_s * scale, rho)
    steep = drag(a, v1, rho, w, extra=a.flap_drag) / w
    air = a.landing_technique * (to_si(50, "ft") / steep + a.flare_s * (v1 + v2) / 2)
    roll = a.free_roll_s * v2
    for share in (np.arange(30) + 0.5) / 30:
        v = share * v2
        lift = 0.5 * rho * v**2 * a.area_m2 * 0.2
        stop = G * (a.braking * (w - lift) + drag(a, v, rho, w, extra=a.flap_drag, lift=0.2)) / w
        roll = roll + v * v2 / 30 / stop
    roll = a.landing_technique * roll
    return roll, air + roll


def climb(a, pa_m, t_k, w):
    rho = density(pa_m, t_k)
    v = tas(a.climb_m_s[0] + (a.climb_m_s[1] - a.climb_m_s[0]) * pa_m / to_si(12000, "ft"), rho)
    push = thrust(a, v, full_rev(a, v, pa_m, t_k), rho) - drag(a, v, rho, w)
    return push * v / w / (1 + v**2 / (2 * G) * (G / GAS - LAPSE) / t_k)


def level(a, pa_m, t_k, w, n, rich):
    """(TAS, power, fuel flow kg/s) at a propeller speed."""
    rho = density(pa_m, t_k)
    slowest = np.sqrt(2 * w / (rho * a.area_m2) * np.sqrt(1 / (np.pi * a.aspect * a.efficiency * a.cd0))) * 0.97
    v = bisect(lambda v: thrust(a, v, n, rho) - drag(a, v, rho, w), slowest, slowest * 0 + 1.25 * n * a.diameter_m)
    power = np.interp(v / (n * a.diameter_m), J_GRID, a.cp) * rho * n**3 * a.diameter_m**5
    fuel = a.indicated_kg_j * (power + a.friction * a.power_w * (n / a.rev_s) ** a.friction_growth)
    return v, power, fuel * np.where(rich, a.rich[0] + a.rich[1] * (power / a.power_w - 0.65), 1.0)


def true_figures(a, rows: Rows):
    """The noise-free figures of rows, each in the unit of its kind."""
    out = np.empty(len(rows))
    for i in range(len(rows)):
        h, t, w = rows.pressure_altitude_m[i], rows.temperature_k[i], rows.weight_kg[i] * G
        kind = str(rows.kind[i])
        if kind.startswith("takeoff"):
            value = feet(take_off(a, h, t, w)[kind == "takeoff_50ft_ft"])
        elif kind.startswith("landing"):
            value = feet(landing(a, h, t, w)[kind == "landing_50ft_ft"])
        elif kind == "rate_of_climb_fpm":
            value = climb(a, h, t, w) / to_si(1.0, "ft/min")
        elif kind == "static_rpm":
            value = full_rev(a, 0.0, h, t) / to_si(1.0, "rpm") / (1.0 if rows.texts["tachometer"][i] == "optical" else a.tachometer)
        else:
            v, power, fuel = level(a, h, t, w, rows.rev_s[i] * a.tachometer, rows.texts["mixture"][i] == "rich")
            value = {"cruise_tas_kt": v / to_si(1.0, "kt"), "power_pct": 100 * power / a.power_w,
                     "fuel_flow_usgph": fuel / to_si(6.0, "lb/h")}[kind]
        out[i] = value
    return out


def drawn(rng) -> tuple[Aeroplane, Aeroplane, Airframe]:
    """(as its handbook has it, as it is flown, what its owner knows of it)."""
    u, z = rng.uniform, rng.standard_normal
    power = to_si(u(145, 180), "hp")
    mass = to_si(u(14.3, 15.8) * power / to_si(1, "hp"), "lb")
    area = mass / u(64.5, 71.5)
    aspect, diameter = u(6.7, 7.6), to_si(u(73.5, 76.5), "in")
    vs1 = np.sqrt(2 * mass * G / (1.225 * area * u(1.50, 1.65)))
    vs0 = np.sqrt(2 * mass * G / (1.225 * area * u(1.80, 2.00)))
    high = bool(rng.random() < 0.6)
    a = Aeroplane(
        area, aspect, mass, power, 45.0, diameter, 0.3, u(0.95, 1.06), u(5.5, 6.0), (u(.008, .010), u(.010, .020), u(2.4, 3.4)),
        (0.025 * z(), u(0, 6.28), 0.025 * z(), u(0, 6.28)), u(.028, .034), u(.05, .16), u(.74, .84), u(.0, .03),
        (.91 if high else .78) + 0.02 * z(), u(.03, .09), u(.45, .75), u(.7, 1.5), u(.70, .80),
        to_si(u(.365, .385), "lb/h") / to_si(1, "hp"), u(.09, .125), u(1.2, 2.2), (u(1.10, 1.20), u(.0, .25)),
        u(.022, .038), u(.25, .5), u(.0, .8), u(.97, 1.10), u(.045, .080), u(.3, 1.2), u(.3, 1.2), u(.20, .28),
        1.10 * vs1, 1.22 * vs1, (u(1.46, 1.56) * vs1, u(1.36, 1.44) * vs1), 1.3 * vs0, 1.08 * vs0)
    a = _matched(a, u(0.97, 1.03))
    flown = with_propeller(replace(
        a, power_factor=min(0.95 + 0.04 * z(), 1.02), cd0=a.cd0 * (1 + abs(0.03 + 0.04 * z())),
        indicated_kg_j=a.indicated_kg_j * (1.02 + 0.03 * z()), roll_technique=1.03 + 0.07 * z(),
        landing_technique=1.04 + 0.10 * z(), beta_rad=a.beta_rad + np.radians(0.3) * z(),
        tachometer=1.0 + 0.015 * z()))
    nominal = 0.75 * np.pi * diameter * np.tan(a.beta_rad - np.radians(0.2 + 0.5 * z()))
    known = Airframe(area, float(np.sqrt(aspect * area)), high, power, 45.0, 45.0, 2, diameter, float(nominal), mass, vs1, vs0,
                     to_si(6.0, "lb/usgal"), None, a.lift_off_m_s, a.at_50ft_m_s,
                     ((0.0, a.climb_m_s[0]), (to_si(12000, "ft"), a.climb_m_s[1])), a.approach_m_s, a.touchdown_m_s)
    return a, flown, known


def _matched(a, share):
    """The blade angle with which full throttle level at sea level turns `share` of the rated speed, as makers choose it."""
    w, n = a.mass_kg * G, share * a.rev_s

    def surplus(beta):
        b = with_propeller(replace(a, beta_rad=float(beta)))
        _, power, _ = level(b, 0.0, T0, w, n, False)
        return full_power(b, n, 0.0, T0) - power

    beta = bisect(surplus, np.asarray(np.radians(12.0)), np.asarray(np.radians(24.0)), 18)
    return with_propeller(replace(a, beta_rad=float(beta)))


def _line(origin, kind, pa_ft, oat_c, lb, rpm="", mixture="", tachometer=""):
    return f"{origin},{kind},{pa_ft:.0f},{oat_c:.1f},{lb:.0f},{rpm},{mixture},{tachometer},"


def _isa_c(pa_ft, off=0.0):
    return 15 - 0.0019812 * pa_ft + off


def _rows(lines):
    return read_rows(HEADER + "\n" + "\n".join(lines), "owner", need_value=False)


def book_lines(lb):
    """About 65 rows of a small handbook at its take-off weight."""
    both = [_line("book", f"{what}_{part}_ft", h, t, lb) for what in ("takeoff", "landing") for part in ("roll", "50ft")
            for h in (0, 3000, 6000) for t in (_isa_c(h) - 5, _isa_c(h) + 20)]
    climbs = [_line("book", "rate_of_climb_fpm", h, _isa_c(h, d), lb) for h in (0, 4000, 8000) for d in (-10, 20)]
    level_rows = [_line("book", kind, h, _isa_c(h), lb, rpm) for h in (2000, 5000, 8000) for rpm in (2250, 2400, 2550)
                  for kind in ("cruise_tas_kt", "power_pct", "fuel_flow_usgph")]
    return [*both, *climbs, *level_rows, _line("book", "static_rpm", 0, 15, lb)]


def own_lines(lb):
    """What the owner measured: twelve rows."""
    w = 0.93 * lb
    return [_line("own", "static_rpm", 800, 19, w, tachometer="optical"), _line("own", "rate_of_climb_fpm", 2500, 14, w),
            _line("own", "rate_of_climb_fpm", 6500, 5, w),
            *(_line("own", "cruise_tas_kt", 4500, 9, w, rpm) for rpm in (2250, 2400, 2550)),
            *(_line("own", "fuel_flow_usgph", 4500, 9, w, rpm) for rpm in (2300, 2450)),
            _line("own", "fuel_flow_usgph", 2500, 12, w, 2450, "rich"),
            _line("own", "takeoff_50ft_ft", 800, 19, w), _line("own", "takeoff_roll_ft", 800, 19, w),
            _line("own", "landing_50ft_ft", 800, 19, w)]


def asked_lines(lb):
    """Other conditions to be predicted."""
    out = []
    for h, t, share in ((500, 32, 1.0), (3500, -2, 0.9), (5000, 25, 0.96)):
        out += [_line("asked", k, h, t, share * lb) for k in ("takeoff_roll_ft", "takeoff_50ft_ft", "landing_roll_ft",
                                                               "landing_50ft_ft")]
    out += [_line("asked", "rate_of_climb_fpm", h, t, s * lb) for h, t, s in ((1000, 30, 1.0), (5000, 0, .9), (9000, 5, .95))]
    for h, t, s, rpm in ((3000, 20, 1.0, 2350), (7000, -5, .9, 2500), (9500, 0, .95, 2550)):
        out += [_line("asked", k, h, t, s * lb, rpm) for k in ("cruise_tas_kt", "power_pct", "fuel_flow_usgph")]
    return [*out, _line("asked", "static_rpm", 200, 32, lb), _line("asked", "static_rpm", 5000, -5, lb)]


@dataclass(frozen=True)
class Owner:
    """One owner: truth, what is known, rows with values, questions with their true answers."""

    flown: Aeroplane
    airframe: Airframe
    book: Rows
    own: Rows
    asked: Rows
    truth: np.ndarray
    handbook_truth: np.ndarray


def owner(seed: int, worn: bool = True) -> Owner:
    """The owner of a seed; not worn: flown exactly as its handbook was measured."""
    rng = np.random.default_rng([20, seed])
    new, flown, known = drawn(rng)
    flown = flown if worn else new
    lb = known.take_off_max_kg / to_si(1, "lb")
    book, own, asked = (_rows(f(lb)) for f in (book_lines, own_lines, asked_lines))
    steps = np.array([ROUNDING[str(k)] for k in book.kind])
    book = replace(book, value=np.round(true_figures(new, book) / steps) * steps)
    exact = true_figures(flown, own)
    sd = np.array([float(priors().own_sd[str(k)].sd(v)) for k, v in zip(own.kind, exact, strict=True)])
    own = replace(own, value=exact + sd * rng.standard_normal(len(own)))
    return Owner(flown, known, book, own, asked, true_figures(flown, asked), true_figures(new, asked))


def surrogate(airframe):
    """The propeller's polynomials of the model for what the owner knows of the propeller."""
    return build_surrogate(pitch_angle_rad(airframe.pitch_m, airframe.diameter_m), airframe.blades)


@dataclass(frozen=True)
class Result:
    """Of one owner: kinds, truth, 5, 50 and 95 % of the predictions, all (question,)."""

    kind: np.ndarray
    truth: np.ndarray
    low: np.ndarray
    middle: np.ndarray
    high: np.ndarray

    @property
    def covered(self):
        return (self.truth >= self.low) & (self.truth <= self.high)


def calibrated(one: Owner, made, book: Rows | None = None, own: Rows | None = None):
    """(book, own) calibrations as the package makes them: own rows with the book's calibration as prior."""
    first = fit(one.airframe, made, one.book if book is None else book, "book")
    return first, fit(one.airframe, made, one.own if own is None else own, "own", book=first)


def result(one: Owner, made, calibration, truth) -> Result:
    """The questions of an owner predicted, and a truth to compare with."""
    draws = predict(Model(one.airframe, made, draws_of(calibration, 256)), one.asked, noise=True)
    low, middle, high = np.nanpercentile(draws, [5, 50, 95], axis=1)
    return Result(one.asked.kind, truth, low, middle, high)


def results(seed: int) -> dict[str, Result]:
    """One owner looked at three ways.

    own: the proof (own calibration against the aeroplane as flown); book: book calibration against the aeroplane of
    the handbook, the error of the model's form alone; unworn: own calibration where it flies as its handbook says.
    """
    one, unworn = owner(seed), owner(seed, worn=False)
    made = surrogate(one.airframe)
    book, own = calibrated(one, made)
    same = fit(unworn.airframe, made, unworn.own, "own", book=book)
    return {"own": result(one, made, own, one.truth), "book": result(one, made, book, one.handbook_truth),
            "unworn": result(unworn, made, same, unworn.truth)}
