"""Landing, glide and go-around."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ownship.performance.climb import flap_drag_1, rate_of_climb
from ownship.performance.model import (
    APPROACH_OVER_STALL,
    TOUCHDOWN_OVER_STALL,
    Model,
    Number,
    cases,
    flow_of,
    speed_factor,
    weight_n,
)
from ownship.performance.takeoff import OBSTACLE_M
from ownship.physics.airspeed import cas_from_ias_m_s, cas_from_tas_m_s, tas_from_cas_m_s
from ownship.physics.atmosphere import Air
from ownship.physics.drag import best_glide_ratio_1, drag_n, glide_speed_m_s
from ownship.units import GRAVITY_M_S2

FloatArray = NDArray[np.float64]
WINDMILLING_DRAG_1 = 0.010  # dCD of the windmilling propeller at idle, +- 0.005; stopped it is about half of that
STOPPED_DRAG_1 = 0.005


@dataclass(frozen=True)
class Landing:
    """Distances (m) and speeds of a landing, (case, draw)."""

    roll_m: FloatArray
    over_50ft_m: FloatArray
    approach_cas_m_s: FloatArray
    touchdown_tas_m_s: FloatArray


@dataclass(frozen=True)
class Glide:
    """Best glide: CAS m/s, lift over drag, rate of sink m/s."""

    cas_m_s: FloatArray
    ratio_1: FloatArray
    sink_m_s: FloatArray


def approach_cas_m_s(model: Model, weight_kg: Number, approach_ias_m_s: Number = None,
                     speeds_at_kg: Number = None) -> FloatArray:
    """Approach CAS: the record's IAS through the position error (else 1.3 Vs0), scaled with sqrt(W)."""
    a = model.airframe
    given = approach_ias_m_s if approach_ias_m_s is not None else a.approach_ias_m_s
    if given is None:
        return np.asarray(APPROACH_OVER_STALL * a.vs0_m_s * speed_factor(model, weight_kg))
    scale = np.sqrt(cases(weight_kg) / cases(a.take_off_max_kg if speeds_at_kg is None else speeds_at_kg))
    return np.asarray(cas_from_ias_m_s(cases(given), a.position_error) * scale)


def landing(model: Model, air: Air, weight_kg: Number, *, headwind_m_s: Number = 0.0, slope_1: Number = 0.0,
            braking_factor_1: Number = 1.0, approach_ias_m_s: Number = None, approach_add_m_s: Number = 0.0,
            speeds_at_kg: Number = None, noise: bool = True) -> Landing:
    """Distance over 50 ft and roll.

    s_air = kL [(Vapp^2 - VTD^2)/2g + 50 ft]/(D/W at the mean speed, flaps) (1 - Vw/Vm);
    s_g = (VTD - Vw)^2/(2 g (mub/f + slope)). slope positive uphill in the landing direction; f the braking factor of
    the surface (1 dry paved); rolling drag of soft ground earns no credit. An addition to the approach speed is
    carried to the touchdown. A wind beyond the airspeed leaves 0, never less; NaN where it cannot be stopped.
    VTD 1.08 Vs0 unless the record says. Source: Newton. Checks: PF-16, PF-17.
    """
    flow, a = flow_of(air), model.airframe
    w = weight_n(weight_kg)
    v_app_cas = approach_cas_m_s(model, weight_kg, approach_ias_m_s, speeds_at_kg) + cases(approach_add_m_s)
    down = a.touchdown_cas_m_s or TOUCHDOWN_OVER_STALL * a.vs0_m_s
    v_down_cas = down * speed_factor(model, weight_kg) + cases(approach_add_m_s)
    v_app, v_down = tas_from_cas_m_s(v_app_cas, flow.air), tas_from_cas_m_s(np.minimum(v_down_cas, v_app_cas), flow.air)
    wind, mean = cases(headwind_m_s), (v_app + v_down) / 2
    steepness = drag_n(model.drag, flow.density_kg_m3, mean, w, configuration_1=flap_drag_1(model, "landing")) / w
    air_part = model.p["kL"] * ((v_app**2 - v_down**2) / (2 * GRAVITY_M_S2) + OBSTACLE_M) / steepness * np.maximum(
        1 - wind / mean, 0.0)
    braking = model.p["mub"] / cases(braking_factor_1) + cases(slope_1)
    roll = np.maximum(v_down - wind, 0.0) ** 2 / (2 * GRAVITY_M_S2 * np.where(braking > 0, braking, np.nan))
    over = air_part + roll
    if noise:
        over, roll = (model.with_noise("landing_50ft_ft", over, "ft"), model.with_noise("landing_roll_ft", roll, "ft"))
    return Landing(roll, over, *np.broadcast_arrays(v_app_cas, v_down))


def glide(model: Model, air: Air, weight_kg: Number,
          propeller: Literal["windmilling", "stopped"] = "windmilling") -> Glide:
    """Best glide with the propeller windmilling or stopped: V_md and 1/(2 sqrt(k CD0)) with its extra drag.

    Check: MO-01 (no propeller drag).
    """
    flow = flow_of(air)
    extra = WINDMILLING_DRAG_1 if propeller == "windmilling" else STOPPED_DRAG_1
    tas = glide_speed_m_s(model.drag, flow.density_kg_m3, weight_n(weight_kg), extra)
    ratio = np.broadcast_to(best_glide_ratio_1(model.drag, extra), tas.shape)
    return Glide(cas_from_tas_m_s(tas, flow.air), ratio, tas / np.sqrt(1 + ratio**2))


def sink_m_s(model: Model, air: Air, weight_kg: Number, cas_m_s: Number, stopped: Number = False, *,
             noise: bool = True) -> FloatArray:
    """Geometric rate of sink without power at a CAS, (case, draw): D V/W with the propeller's own drag."""
    flow, w = flow_of(air), weight_n(weight_kg)
    tas = tas_from_cas_m_s(cases(cas_m_s), flow.air)
    extra = np.where(cases(stopped) > 0, STOPPED_DRAG_1, WINDMILLING_DRAG_1)
    sink = drag_n(model.drag, flow.density_kg_m3, tas, w, configuration_1=extra) * tas / w
    return model.with_noise("glide_sink_fpm", sink, "ft/min") if noise else np.asarray(sink)


def go_around(model: Model, air: Air, weight_kg: Number, flap: str | None = "landing", *,
              carburettor_heat: bool = False) -> tuple[FloatArray, FloatArray]:
    """(gradient, rate m/s) at full throttle and approach speed with a flap setting, heat cold or left hot."""
    flow = flow_of(air)
    cas = approach_cas_m_s(model, weight_kg)
    rate = rate_of_climb(model, air, weight_kg, cas, carburettor_heat=carburettor_heat, flap=flap)
    return rate / tas_from_cas_m_s(cas, flow.air), rate
