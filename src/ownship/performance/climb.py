"""Climb: rate, gradient, best speeds, time-fuel-distance between two levels, ceilings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ownship.performance.model import Flow, Model, Number, cases, flow_of, speed_factor, weight_n
from ownship.physics.airspeed import cas_from_ias_m_s, tas_from_cas_m_s
from ownship.physics.atmosphere import Air, isa_temperature_k
from ownship.physics.drag import drag_n
from ownship.physics.engine import air_factor_1, fuel_kg_s
from ownship.physics.equilibrium import absorbed_power_w, full_throttle_rev_s, thrust_n
from ownship.units import GRAVITY_M_S2, to_si

FloatArray = NDArray[np.float64]
ACCELERATION_PER_M = 9.6e-5  # -(1/rho) d rho/dh of the standard atmosphere near the ground, 1/m
TAKE_OFF_FLAP_SHARE = 0.25  # share of the landing flap's drag that the take-off flap has
GAUSS_NODES, GAUSS_WEIGHTS = np.polynomial.legendre.leggauss(6)
CEILING_RATE_M_S = float(to_si(100, "ft/min"))
SPEEDS, CEILING_LEVELS_M = 11, np.linspace(0.0, float(to_si(26000, "ft")), 14)
STALL_SHARE = (1.12, 2.0)


@dataclass(frozen=True)
class Climb:
    """Time (s), fuel (kg), still-air distance (m) and mean TAS of a climb, (case, draw); NaN where it cannot."""

    time_s: FloatArray
    fuel_kg: FloatArray
    distance_m: FloatArray
    mean_tas_m_s: FloatArray


@dataclass(frozen=True)
class BestSpeeds:
    """Vx and Vy (CAS, m/s), rate at Vy (m/s) and gradient at Vx, (case, draw)."""

    vx_m_s: FloatArray
    vy_m_s: FloatArray
    rate_m_s: FloatArray
    gradient_1: FloatArray


@dataclass(frozen=True)
class _State:
    rate_m_s: FloatArray
    gradient_1: FloatArray
    power_w: FloatArray
    rev_s: FloatArray


def flap_drag_1(model: Model, flap: str | None) -> FloatArray:
    """Extra CD of a flap setting: None 0, "landing" the calibrated dCD_flap, "take_off" a quarter of it."""
    share = {None: 0.0, "take_off": TAKE_OFF_FLAP_SHARE, "landing": 1.0}[flap]
    return np.asarray(share * model.p["dCD_flap"])


def _full_throttle(model: Model, flow: Flow, w: FloatArray, tas: FloatArray, carburettor_heat: bool,
                   configuration: Number = 0.0) -> _State:
    factor = air_factor_1(model.engine, flow.air, carburettor_heat)
    n = full_throttle_rev_s(model.engine, model.propeller, factor, flow.density_kg_m3, flow.sound_m_s, tas)
    thrust = thrust_n(model.propeller, tas, n, flow.density_kg_m3, flow.sound_m_s)
    gradient = (thrust - drag_n(model.drag, flow.density_kg_m3, tas, w, configuration_1=configuration)) / w
    rate = gradient * tas / (1 + tas**2 / (2 * GRAVITY_M_S2) * ACCELERATION_PER_M)
    power = absorbed_power_w(model.propeller, tas, n, flow.density_kg_m3, flow.sound_m_s)
    return _State(rate, gradient, power, n)


def rate_of_climb(model: Model, air: Air, weight_kg: Number, cas_m_s: Number, *, carburettor_heat: bool = False,
                  flap: str | None = None, noise: bool = True) -> FloatArray:
    """Rate of climb at full throttle and a calibrated airspeed: (T - D) V/W / (1 + V^2/2g x 9.6e-5), m/s.

    Negative where it cannot hold level. Checks: handbook rows; Lowry's closed forms.
    """
    flow = flow_of(air)
    tas = tas_from_cas_m_s(cases(cas_m_s), flow.air)
    rate = _full_throttle(model, flow, weight_n(weight_kg), tas, carburettor_heat, flap_drag_1(model, flap)).rate_m_s
    return model.with_noise("rate_of_climb_fpm", rate, "ft/min") if noise else rate


def climb_cas_m_s(model: Model, pressure_altitude_m: Number, weight_kg: Number) -> FloatArray:
    """The climb speed flown: the record's schedule (IAS) through the position error, as it is for every weight.

    Without a schedule 1.45 Vs1 at the weight. (case, 1) or (case, draw), m/s CAS.
    """
    schedule = model.airframe.climb_ias
    if not schedule:
        return np.asarray(1.45 * model.airframe.vs1_m_s * speed_factor(model, weight_kg))
    heights, speeds = zip(*schedule, strict=True)
    return cas_from_ias_m_s(np.interp(cases(pressure_altitude_m), heights, speeds), model.airframe.position_error)


def climb(model: Model, from_pa_m: Number, to_pa_m: Number, temperatures_k: tuple[Number, Number], weight_kg: Number, *,
          relative_humidity_1: Number = 0.0, mixture: str = "rich", carburettor_heat: bool = False,
          noise: bool = True) -> Climb:
    """Climb between two pressure altitudes at the climb speeds, full throttle, full rich unless mixture is "lean".

    6-point Gauss-Legendre in height of 1/ROC; temperature linear between its two ends (K), relative humidity the
    same all the way (0: dry). Weight falls are small within a step and are the caller's. NaN where a rate on the way
    is not positive. Checks: handbook climb rows.
    """
    low, high = cases(from_pa_m), cases(to_pa_m)
    cold, warm = cases(temperatures_k[0]), cases(temperatures_k[1])
    span = high - low
    nodes, weights = ((x / 2)[:, None, None] for x in (GAUSS_NODES + 1, GAUSS_WEIGHTS))
    h = low + nodes * span  # (node, case, draw) from here on
    flow = flow_of(Air(h, cold + nodes * (warm - cold), relative_humidity_1))
    tas = tas_from_cas_m_s(climb_cas_m_s(model, h, weight_kg), flow.air)
    state = _full_throttle(model, flow, weight_n(weight_kg), tas, carburettor_heat)
    rate = model.with_noise("rate_of_climb_fpm", state.rate_m_s, "ft/min") if noise else state.rate_m_s
    slowness = weights * span / np.where(rate > 0, rate, np.nan)
    flow_kg_s = fuel_kg_s(model.engine, state.power_w, rich=mixture == "rich", air=flow.air, carburettor_heat=carburettor_heat)
    time, fuel = slowness.sum(axis=0), (slowness * flow_kg_s).sum(axis=0)
    distance = (slowness * np.sqrt(np.maximum(tas**2 - np.nan_to_num(rate) ** 2, 0.0))).sum(axis=0)
    if noise:
        fuel = model.with_noise("fuel_flow_usgph", fuel, "kg/s")
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = np.where(time > 0, distance / time, climb_tas_at(model, low, cold, weight_kg))
    return Climb(time, fuel, distance, mean)


def climb_tas_at(model: Model, pressure_altitude_m: Number, temperature_k: Number, weight_kg: Number) -> FloatArray:
    """TAS of the climb speed at one level, m/s."""
    air = Air(cases(pressure_altitude_m), cases(temperature_k))
    return tas_from_cas_m_s(climb_cas_m_s(model, pressure_altitude_m, weight_kg), air)


def _speed_grid(model: Model, air: Air, weight_kg: Number,
                speeds: slice = slice(None)) -> tuple[FloatArray, FloatArray, FloatArray]:
    """CAS grid (speed, case, draw), rates and gradients on it; speeds: which of the 11, all unless said."""
    flow = flow_of(air)
    shares = np.linspace(*STALL_SHARE, SPEEDS)[speeds]
    stall = model.airframe.vs1_m_s * speed_factor(model, weight_kg)
    cas = shares[:, None, None] * np.broadcast_to(stall, np.broadcast_shapes(stall.shape, flow.density_kg_m3.shape))
    state = _full_throttle(model, flow, weight_n(weight_kg), tas_from_cas_m_s(cas, flow.air), False)
    return np.broadcast_to(cas, state.rate_m_s.shape), state.rate_m_s, state.gradient_1


def _peak(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Top of a parabola through the best of an equally spaced grid and its neighbours (first axis)."""
    i = np.clip(np.nanargmax(np.nan_to_num(y, nan=-np.inf), axis=0), 1, y.shape[0] - 2)[None]
    def take(v: FloatArray, k: int) -> FloatArray:
        return np.take_along_axis(v, i + k, axis=0)[0]

    left, centre, right = (take(y, k) for k in (-1, 0, 1))
    curve = left - 2 * centre + right
    with np.errstate(divide="ignore", invalid="ignore"):
        offset = np.clip(np.where(curve < 0, 0.5 * (left - right) / curve, 0.0), -1.0, 1.0)
    step = take(x, 1) - take(x, 0)
    return take(x, 0) + offset * step, centre + 0.5 * offset * (right - left) + 0.5 * offset**2 * curve


def best_speeds(model: Model, air: Air, weight_kg: Number) -> BestSpeeds:
    """Vx and Vy by a parabola through the best of 11 speeds between 1.12 and 2.0 Vs1. Check: Lowry's Vx, Vy."""
    cas, rates, gradients = _speed_grid(model, air, weight_kg)
    vy, rate = _peak(cas, rates)
    vx, gradient = _peak(cas, gradients)
    return BestSpeeds(vx, vy, rate, gradient)


def ceilings_m(model: Model, weight_kg: float, isa_deviation_k: float = 0.0, *,
               relative_humidity_1: float = 0.0, noise: bool = True) -> tuple[FloatArray, FloatArray]:
    """(service, absolute) ceiling as pressure altitudes (draw,): best rate of 100 ft/min and of nothing.

    Interpolated linearly between levels 2,000 ft apart to 26,000 ft; NaN above that, or where even sea level
    does not give the rate. The levels and speeds worth looking at are those around the middle draw's; where another
    draw's ceiling or best speed lies outside them, all are looked at, so that the answer is that of all.
    """
    air = Air(CEILING_LEVELS_M, isa_temperature_k(CEILING_LEVELS_M) + isa_deviation_k,
              np.full(CEILING_LEVELS_M.size, relative_humidity_1))
    levels, rate = _rates_about_ceilings(model, air, weight_kg)
    found = [_crossing(CEILING_LEVELS_M[levels], rate, wanted) for wanted in (CEILING_RATE_M_S, 0.0)]
    if noise:
        found = [model.with_noise("service_ceiling_ft", f[None, :], "ft")[0] for f in found]
    return found[0], found[1]


def _rates_about_ceilings(model: Model, air: Air, weight_kg: float) -> tuple[slice, FloatArray]:
    """Some of the levels of `air` with best rates (level, draw) above 100 ft/min at the first and below 0 at the last; or all."""
    cas, rates, _ = _speed_grid(model.middle, air, weight_kg)
    best = _peak(cas, rates)[1][:, 0]
    high, low = np.nonzero(best >= CEILING_RATE_M_S)[0], np.nonzero(best < 0)[0]
    every = slice(0, best.size)
    if np.all(np.diff(best) < 0) and high.size and low.size:
        levels = slice(max(int(high[-1]) - 1, 0), min(int(low[0]) + 2, best.size))
        found = _best_rates(model, _some(air, levels), weight_kg, np.argmax(rates[:, levels, 0], axis=0))
        if np.all(found[0] >= CEILING_RATE_M_S) and np.all(found[-1] < 0):
            return levels, found
    return every, best_speeds(model, air, weight_kg).rate_m_s


def _some(air: Air, levels: slice) -> Air:
    return Air(air.pressure_altitude_m[levels], air.temperature_k[levels], air.relative_humidity_1[levels])


def _best_rates(model: Model, air: Air, weight_kg: float, about: NDArray[np.int_]) -> FloatArray:
    """Best rates (case, draw), looked for among the speeds around those that are best for the middle draw."""
    first, last = max(int(about.min()) - 2, 0), min(int(about.max()) + 2, SPEEDS - 1)
    cas, rates, _ = _speed_grid(model, air, weight_kg, slice(first, last + 1))
    top = np.argmax(rates, axis=0)
    if (first and np.any(top == 0)) or (last < SPEEDS - 1 and np.any(top == last - first)) or np.isnan(rates).any():
        return best_speeds(model, air, weight_kg).rate_m_s
    return _peak(cas, rates)[1]


def _crossing(levels_m: FloatArray, rate: FloatArray, wanted: float) -> FloatArray:
    """Height at which the rate (level, draw), falling with height, passes `wanted`."""
    above = rate >= wanted
    last = above.shape[0] - 1 - np.argmax(above[::-1], axis=0)
    inside = above.any(axis=0) & (last < rate.shape[0] - 1)
    i = np.minimum(last, rate.shape[0] - 2)
    columns = np.arange(rate.shape[1])
    high, low = rate[i, columns], rate[i + 1, columns]
    share = (high - wanted) / (high - low)
    return np.where(inside, levels_m[i] + share * (levels_m[i + 1] - levels_m[i]), np.nan)
