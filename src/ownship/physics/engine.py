"""The carburetted engine: full-throttle power with altitude, temperature and humidity, and its fuel."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ownship.physics.atmosphere import Air
from ownship.units import from_si, to_si

FloatArray = NDArray[np.float64]
Number = Any
CARBURETTOR_HEAT_K = float(to_si(90.0, "F", "temperature difference"))  # rise asked of a preheater: 14 CFR 23.1093
REFERENCE_POWER_1 = 0.65
IDLE_POWER_1 = 0.10  # below this share of rated power the fuel law is not asked further down


@dataclass(frozen=True)
class EngineLaw:
    """One engine: rated power and speed, and its parameters (numbers or arrays that broadcast with the cases).

    power_factor_1 kP, torque_slope_1 a, altitude_loss_1 C, temperature_exponent_1 tx; fuel b65, slope s and
    curvature c2 in lb/hp/h, rich_1 the factor at full rich.
    """

    rated_power_w: float
    rated_rev_s: float
    power_factor_1: Number = 1.0
    torque_slope_1: Number = 0.30
    altitude_loss_1: Number = 0.138
    temperature_exponent_1: Number = 0.65
    b65_lb_hp_h: Number = 0.435
    slope_lb_hp_h: Number = 0.37
    curvature_lb_hp_h: Number = 0.6
    rich_1: Number = 1.15


def altitude_power_ratio_1(density_ratio_1: Number, altitude_loss_1: Number = 0.132) -> FloatArray:
    """Gagg and Ferrar: (1 + C) sigma - C, C = 0.132. Source: Gagg and Ferrar 1934. Check: MO-02."""
    sigma = np.asarray(density_ratio_1, dtype=float)
    return (1 + altitude_loss_1) * sigma - altitude_loss_1


def air_factor_1(engine: EngineLaw, air: Air, carburettor_heat: bool = False) -> FloatArray:
    """Share of the rated power that this air allows: [(1+C) sigma_s - C] (T_s/T)^tx (p - p_v)/p.

    sigma_s is the STANDARD density ratio at the pressure altitude; carburettor heat raises T by 50 K.
    Humidity acts through the dry-air pressure (Brooks and Garlock).
    """
    temperature = np.asarray(air.temperature_k, dtype=float) + (CARBURETTOR_HEAT_K if carburettor_heat else 0.0)
    pressure = air.pressure_pa
    dry = (pressure - air.vapour_pressure_pa) / pressure
    ratio = air.standard_temperature_k / temperature
    return np.asarray(altitude_power_ratio_1(air.standard_density_ratio_1, engine.altitude_loss_1)
                      * ratio**engine.temperature_exponent_1 * dry)


def full_throttle_power_w(engine: EngineLaw, rev_s: Number, factor_1: Number) -> FloatArray:
    """P = kP P_r x [1 + a (1 - x)] factor, x = N/N_r; factor from `air_factor_1`. W, any shape."""
    x = np.asarray(rev_s, dtype=float) / engine.rated_rev_s
    return np.asarray(engine.power_factor_1 * engine.rated_power_w * x * (1 + engine.torque_slope_1 * (1 - x)) * factor_1)


def fuel_kg_s(engine: EngineLaw, power_w: Number, *, rich: bool = False, air: Air | None = None,
              carburettor_heat: bool = False) -> FloatArray:
    """Fuel flow: P_r [0.65 b65 + s (p - 0.65) + c2/2 (p - 0.65)^2] lb/h per rated hp, x k_rich at full rich.

    p = P/P_r, not below 0.10 (idle). Carburettor heat with rich mixture enriches by sqrt((T + 50)/T): the
    carburettor meters by volume. kg/s.
    """
    p = np.maximum(np.asarray(power_w, dtype=float) / engine.rated_power_w, IDLE_POWER_1) - REFERENCE_POWER_1
    per_hp = (REFERENCE_POWER_1 * engine.b65_lb_hp_h + engine.slope_lb_hp_h * p
              + 0.5 * engine.curvature_lb_hp_h * p**2)
    flow = to_si(per_hp * from_si(engine.rated_power_w, "hp"), "lb/h")
    if rich:
        flow = flow * engine.rich_1
        if carburettor_heat and air is not None:
            flow = flow * np.sqrt(1 + CARBURETTOR_HEAT_K / np.asarray(air.temperature_k, dtype=float))
    return np.asarray(flow)
