"""Take-off: ground roll and distance over 50 ft, speed along the roll, static rpm."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ownship.performance.model import LIFT_OFF_OVER_STALL, Flow, Model, Number, cases, flow_of, speed_factor, weight_n
from ownship.physics.airspeed import cas_from_ias_m_s, tas_from_cas_m_s
from ownship.physics.atmosphere import Air
from ownship.physics.drag import FREE_AIR, drag_n
from ownship.physics.engine import air_factor_1
from ownship.physics.equilibrium import full_throttle_rev_s, thrust_n
from ownship.units import GRAVITY_M_S2, to_si

FloatArray = NDArray[np.float64]
OBSTACLE_M = float(to_si(50, "ft"))
GROUND_LIFT_COEFFICIENT = 0.4
# 6-point Lobatto on 0 to 1: as exact as 5-point Gauss, and looks at both ends, where the acceleration is least.
ROLL_NODES = (1 + np.array([-1.0, -0.765055323929465, -0.285231516480645, 0.285231516480645, 0.765055323929465, 1.0])) / 2
ROLL_WEIGHTS = np.array([1 / 15, 0.378474956297847, 0.554858377035486, 0.554858377035486, 0.378474956297847, 1 / 15]) / 2


@dataclass(frozen=True)
class TakeOff:
    """Distances (m) and speeds (m/s) of a take-off, (case, draw); NaN where it does not accelerate or climb."""

    roll_m: FloatArray
    over_50ft_m: FloatArray
    lift_off_cas_m_s: FloatArray
    at_50ft_cas_m_s: FloatArray
    lift_off_tas_m_s: FloatArray
    gradient_1: FloatArray


def static_rev_s(model: Model, air: Air, *, carburettor_heat: bool = False, noise: bool = True) -> FloatArray:
    """True static propeller speed at full throttle, (case, draw) rev/s."""
    flow = flow_of(air)
    n = full_throttle_rev_s(model.engine, model.propeller, air_factor_1(model.engine, flow.air, carburettor_heat),
                            flow.density_kg_m3, flow.sound_m_s, 0.0)
    return model.with_noise("static_rpm", n, "rpm") if noise else n


def lift_off_speeds_m_s(model: Model, weight_kg: Number, lift_off_ias_m_s: Number = None, at_50ft_ias_m_s: Number = None,
                        speeds_at_kg: Number = None) -> tuple[FloatArray, FloatArray]:
    """CAS at lift-off and at 50 ft, (case, draw).

    A given IAS (the record's unless said) holds at `speeds_at_kg` (take_off_max) and scales in CAS with sqrt(W);
    without one 1.10 Vs1 and 1.2 Vs1. kLO multiplies the lift-off speed only.
    """
    a = model.airframe
    scale = np.sqrt(cases(weight_kg) / cases(a.take_off_max_kg if speeds_at_kg is None else speeds_at_kg))
    lift_off = lift_off_ias_m_s if lift_off_ias_m_s is not None else a.lift_off_ias_m_s
    at_50ft = at_50ft_ias_m_s if at_50ft_ias_m_s is not None else a.at_50ft_ias_m_s
    stall = a.vs1_m_s * speed_factor(model, weight_kg)
    first = stall * LIFT_OFF_OVER_STALL if lift_off is None else cas_from_ias_m_s(cases(lift_off), a.position_error) * scale
    second = stall * 1.2 if at_50ft is None else cas_from_ias_m_s(cases(at_50ft), a.position_error) * scale
    return np.asarray(first * model.p["kLO"]), np.asarray(np.broadcast_to(second, np.broadcast_shapes(
        second.shape, (1, model.draws.size))))


def take_off(model: Model, air: Air, weight_kg: Number, *, headwind_m_s: Number = 0.0, slope_1: Number = 0.0,
             friction_1: Number = None, lift_off_ias_m_s: Number = None, at_50ft_ias_m_s: Number = None,
             speeds_at_kg: Number = None, carburettor_heat: bool = False, noise: bool = True) -> TakeOff:
    """Roll and distance over 50 ft at full throttle.

    s_g = kG Int Vg dVg / a, a = g [T - D - mu (W - L) - W slope]/W over the groundspeed (6-point Lobatto);
    s_air = kA [(V50^2 - VLO^2)/2g + 50 ft]/gamma x (1 - Vw/Vm), gamma = (T - D)/W at the mean speed with half the
    ground effect. headwind m/s (negative tail), slope up positive, friction None: the calibrated mu. A wind beyond
    the airspeed leaves 0, never less. NaN where it does not accelerate to lift-off or does not climb.
    Source: Newton; ground effect from McCormick (from memory). Checks: PF-14, PF-15, handbook rows.
    """
    flow = flow_of(air)
    factor = air_factor_1(model.engine, flow.air, carburettor_heat)
    w = weight_n(weight_kg)
    first, second = lift_off_speeds_m_s(model, weight_kg, lift_off_ias_m_s, at_50ft_ias_m_s, speeds_at_kg)
    v_lift, v_50 = tas_from_cas_m_s(first, flow.air), tas_from_cas_m_s(second, flow.air)
    wind = cases(headwind_m_s)
    roll = model.p["kG"] * _roll(model, flow, factor, w, v_lift, wind, cases(slope_1), friction_1)
    mean = (v_lift + v_50) / 2
    gamma = _surplus_gradient(model, flow, factor, w, mean)
    height = (v_50**2 - v_lift**2) / (2 * GRAVITY_M_S2) + OBSTACLE_M
    airborne = model.p["kA"] * np.maximum(height, 0.0) / gamma * np.maximum(1 - wind / mean, 0.0)
    over = roll + airborne
    if noise:
        over = model.with_noise("takeoff_50ft_ft", over, "ft")
        roll = model.with_noise("takeoff_roll_ft", roll, "ft")
    return TakeOff(roll, over, *np.broadcast_arrays(first, second, v_lift, gamma))


def _surplus_gradient(model: Model, flow: Flow, factor: FloatArray, w: FloatArray, speed: FloatArray) -> FloatArray:
    """(T - D)/W at a true airspeed with half the ground effect; NaN where it is not positive."""
    n = full_throttle_rev_s(model.engine, model.propeller, factor, flow.density_kg_m3, flow.sound_m_s, speed)
    thrust = thrust_n(model.propeller, speed, n, flow.density_kg_m3, flow.sound_m_s)
    effect = (model.drag.ground_effect_1 + FREE_AIR) / 2
    gamma = (thrust - drag_n(model.drag, flow.density_kg_m3, speed, w, ground_effect_1=effect)) / w
    return np.where(gamma > 0, gamma, np.nan)


def _acceleration(model: Model, flow: Flow, factor: FloatArray, w: FloatArray, speed: FloatArray, slope: FloatArray,
                  friction_1: Number) -> FloatArray:
    """Acceleration on the roll, m/s2, at a true airspeed (0 or more); NaN where it is not positive."""
    friction = model.p["mu"] if friction_1 is None else cases(friction_1)
    n = full_throttle_rev_s(model.engine, model.propeller, factor, flow.density_kg_m3, flow.sound_m_s, speed)
    thrust = thrust_n(model.propeller, speed, n, flow.density_kg_m3, flow.sound_m_s)
    q_area = 0.5 * flow.density_kg_m3 * speed**2 * model.drag.wing_area_m2
    lift = GROUND_LIFT_COEFFICIENT * q_area
    polar = model.drag.cd0_1 + model.drag.ground_effect_1 * model.drag.induced_1 * GROUND_LIFT_COEFFICIENT**2
    force = thrust - q_area * polar - friction * np.maximum(w - lift, 0.0) - w * slope
    a = GRAVITY_M_S2 * force / w
    return np.where(a > 0, a, np.nan)


def _roll(model: Model, flow: Flow, factor: FloatArray, w: FloatArray, v_lift: FloatArray, wind: FloatArray,
          slope: FloatArray, friction_1: Number) -> FloatArray:
    """Ground distance to lift-off: Int Vg dVg / a by Lobatto in groundspeed, 0 to V_LO - wind."""
    end = np.maximum(v_lift - wind, 0.0)
    nodes, weights = ROLL_NODES[:, None, None], ROLL_WEIGHTS[:, None, None]
    ground = nodes * end
    a = _acceleration(model, flow, factor, w, np.clip(ground + wind, 0.0, v_lift), slope, friction_1)
    return np.sum(weights * end * ground / a, axis=0)


def roll_profile(model: Model, air: Air, weight_kg: Number, *, headwind_m_s: Number = 0.0, slope_1: Number = 0.0,
                 friction_1: Number = None, carburettor_heat: bool = False,
                 steps: int = 16) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The roll of one case in `steps` equal slices of groundspeed: (distance_m, cas_m_s, time_s), each (steps + 1, draw).

    For the take-off card and the stop point; kG scales distances. Ends at lift-off; NaN from where it stops
    accelerating. One weight, air and wind; draws may differ.
    """
    flow = flow_of(air)
    factor = air_factor_1(model.engine, flow.air, carburettor_heat)
    w = weight_n(weight_kg)
    first, _ = lift_off_speeds_m_s(model, weight_kg)
    v_lift, wind = tas_from_cas_m_s(first, flow.air), cases(headwind_m_s)
    end = np.maximum(v_lift - wind, 0.0)
    fractions = ((np.arange(steps) + 0.5) / steps)[:, None]
    ground = fractions * end
    a = _acceleration(model, flow, factor, w, np.maximum(ground + wind, 0.0), cases(slope_1), friction_1)
    pieces = model.p["kG"] * ground * (end / steps) / a
    edges = np.linspace(0, 1, steps + 1)[:, None] * end
    ratio = first / v_lift
    zero = np.zeros((1, pieces.shape[1]))
    distance = np.concatenate([zero, np.cumsum(pieces, axis=0)])
    time = np.concatenate([zero, np.cumsum(end / steps / a, axis=0)])
    return distance, np.maximum(edges + wind, 0.0) * ratio, time
