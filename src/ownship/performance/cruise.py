"""Level flight and descent: speed, power and fuel at rpm, at power, at full throttle; holding; descent."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ownship.performance.climb import ACCELERATION_PER_M
from ownship.performance.model import Flow, Model, Number, cases, flow_of, panel_rev_s, speed_factor, true_rev_s, weight_n
from ownship.physics.airspeed import tas_from_cas_m_s
from ownship.physics.atmosphere import Air
from ownship.physics.drag import drag_n
from ownship.physics.engine import air_factor_1, fuel_kg_s, full_throttle_power_w
from ownship.physics.equilibrium import (
    absorbed_power_w,
    full_throttle_rev_s,
    level_speed_m_s,
    rev_for_thrust_s,
    root,
    top_speed_m_s,
)
from ownship.units import GRAVITY_M_S2

FloatArray = NDArray[np.float64]
HOLDING_OVER_STALL = 1.45
LEVEL_REV_S = (22.0, 56.0)
POWER_FOUND_1 = 1e-3  # a search for a power that ends further off than this (of rated) has not found one


@dataclass(frozen=True)
class Cruise:
    """A steady state, (case, draw): TAS m/s, power over rated, fuel kg/s, rev/s as the panel shows it, flags.

    attainable: full throttle gives this power in this air; over_limit: the panel is above the placard.
    """

    tas_m_s: FloatArray
    power_1: FloatArray
    fuel_kg_s: FloatArray
    rev_s: FloatArray
    attainable: NDArray[np.bool_]
    over_limit: NDArray[np.bool_]


def _state(model: Model, flow: Flow, tas: FloatArray, rev_s: FloatArray, mixture: str, carburettor_heat: bool,
           noise: bool) -> Cruise:
    """Power, fuel and flags of a speed and a true propeller speed; the model's own discrepancy on speed, power, fuel."""
    power = absorbed_power_w(model.propeller, tas, rev_s, flow.density_kg_m3, flow.sound_m_s)
    factor = air_factor_1(model.engine, flow.air, carburettor_heat)
    most = full_throttle_power_w(model.engine, rev_s, factor)
    fuel = fuel_kg_s(model.engine, power, rich=mixture == "rich", air=flow.air, carburettor_heat=carburettor_heat)
    share = power / model.airframe.rated_power_w
    if noise:
        tas = model.with_noise("cruise_tas_kt", tas, "kt")
        fuel = model.with_noise("fuel_flow_usgph", fuel, "kg/s")
        share = model.with_noise("power_pct", share, "%", "ratio")
    shape = np.broadcast_shapes(tas.shape, fuel.shape)
    rev = np.broadcast_to(panel_rev_s(model, rev_s), shape)
    return Cruise(np.broadcast_to(tas, shape), np.broadcast_to(share, shape), fuel, rev,
                  np.broadcast_to(power <= most * 1.0005, shape), rev > model.airframe.rev_max_rev_s * 1.0005)


def at_rpm(model: Model, air: Air, weight_kg: Number, rev_s: Number, *, mixture: str = "lean",
           carburettor_heat: bool = False, noise: bool = True) -> Cruise:
    """Level flight at a panel rpm (rev/s): the upper root of thrust = drag; NaN where there is none."""
    return _level_at(model, flow_of(air), weight_kg, true_rev_s(model, rev_s), mixture, carburettor_heat, noise)


def _level_at(model: Model, flow: Flow, weight_kg: Number, n: FloatArray, mixture: str, carburettor_heat: bool,
              noise: bool) -> Cruise:
    """Level flight at a true propeller speed."""
    tas = level_speed_m_s(model.propeller, model.drag, flow.density_kg_m3, flow.sound_m_s, weight_n(weight_kg), n)
    return _state(model, flow, tas, np.broadcast_to(n, tas.shape), mixture, carburettor_heat, noise)


def at_power(model: Model, air: Air, weight_kg: Number, power_1: Number, *, mixture: str = "lean",
             carburettor_heat: bool = False, noise: bool = True) -> Cruise:
    """Level flight at a share of rated power: outer loop on the propeller speed around `at_rpm`'s equilibrium.

    NaN where the share is less than the least that keeps it level above 0.95 V_md, or beyond 56 rev/s.
    """
    flow = flow_of(air)
    w, wanted = weight_n(weight_kg), cases(power_1) * model.airframe.rated_power_w

    def lacking(n: FloatArray) -> FloatArray:
        tas = level_speed_m_s(model.propeller, model.drag, flow.density_kg_m3, flow.sound_m_s, w, n)
        power = absorbed_power_w(model.propeller, tas, n, flow.density_kg_m3, flow.sound_m_s)
        return np.where(np.isnan(power), wanted, wanted - power)

    n = root(lacking, np.asarray(LEVEL_REV_S[0]), np.asarray(LEVEL_REV_S[1]))
    n = np.where(np.abs(lacking(n)) <= POWER_FOUND_1 * model.airframe.rated_power_w, n, np.nan)
    return _level_at(model, flow, weight_kg, n, mixture, carburettor_heat, noise)


def full_throttle(model: Model, air: Air, weight_kg: Number, *, rpm_capped: bool = True, mixture: str = "lean",
                  carburettor_heat: bool = False, noise: bool = True) -> Cruise:
    """Level flight at full throttle, held at the placard by the panel where it would go beyond (rpm_capped); NaN: not level."""
    flow = flow_of(air)
    w = weight_n(weight_kg)
    factor = air_factor_1(model.engine, flow.air, carburettor_heat)
    v = top_speed_m_s(model.engine, model.propeller, model.drag, factor, flow.density_kg_m3, flow.sound_m_s, w)
    n = full_throttle_rev_s(model.engine, model.propeller, factor, flow.density_kg_m3, flow.sound_m_s, v)
    if rpm_capped:
        n = np.minimum(n, true_rev_s(model, model.airframe.rev_max_rev_s))
        return _level_at(model, flow, weight_kg, n, mixture, carburettor_heat, noise)
    return _state(model, flow, v, n, mixture, carburettor_heat, noise)


def descent(model: Model, air: Air, weight_kg: Number, cas_m_s: Number, rate_m_s: Number, *, mixture: str = "lean",
            carburettor_heat: bool = False, noise: bool = True) -> Cruise:
    """Power for a rate of descent (positive down) at a constant CAS; rate 0 is level flight.

    T = D - W r/V (1 + V^2/2g x 9.6e-5). Where even the slowest propeller the surrogate knows (J 1.25) pulls more
    than that, the throttle is closed: the idle flow counts and rev_s is that of J 1.25.
    """
    flow = flow_of(air)
    w = weight_n(weight_kg)
    tas = tas_from_cas_m_s(cases(cas_m_s), flow.air)
    sink = cases(rate_m_s) / tas * (1 + tas**2 / (2 * GRAVITY_M_S2) * ACCELERATION_PER_M)
    wanted = drag_n(model.drag, flow.density_kg_m3, tas, w) - w * sink
    n = rev_for_thrust_s(model.propeller, flow.density_kg_m3, flow.sound_m_s, tas, wanted)
    closed = tas / (1.25 * model.airframe.diameter_m)
    n = np.where(np.isnan(n) & (wanted < 0.1 * w), closed, n)
    shape = np.broadcast_shapes(tas.shape, n.shape)
    return _state(model, flow, np.broadcast_to(tas, shape), n, mixture, carburettor_heat, noise)


def holding(model: Model, air: Air, weight_kg: Number, *, mixture: str = "lean", carburettor_heat: bool = False,
            noise: bool = True) -> Cruise:
    """Level flight at a holding speed of 1.45 Vs1 (CAS, at the weight)."""
    cas = HOLDING_OVER_STALL * model.airframe.vs1_m_s * speed_factor(model, weight_kg)
    return descent(model, air, weight_kg, cas, 0.0, mixture=mixture, carburettor_heat=carburettor_heat, noise=noise)
