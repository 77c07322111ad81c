"""The take-off card: what to see on the roll, and when to stop."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ownship.aeroplane.description import Propeller
from ownship.flight.chance import band, middle
from ownship.flight.distances import HEADWIND_CREDIT, TAILWIND_CHARGE
from ownship.flight.runways import JudgedEnd, air_draws, climb_gradient_1, stop_point_m
from ownship.performance import climb as climbing
from ownship.performance import landing as landings
from ownship.performance import takeoff as takeoffs
from ownship.performance.model import HARD_RANGE_M, Model, panel_rev_s
from ownship.performance.surfaces import surface_of
from ownship.physics.airspeed import ias_from_cas_m_s
from ownship.physics.atmosphere import Air, density_altitude_m
from ownship.physics.conditions import Surface
from ownship.units import from_si, to_si
from ownship.words.cautions import cautions_for
from ownship.words.figures import Figure, figure

FloatArray = NDArray[np.float64]
MARK_STEP_M = float(to_si(100, "ft"))
FIRST_MINUTE_S = 60.0


def banded(draws: FloatArray, unit: str, dimension: str | None = None) -> Figure:
    """The middle flight's value and the 5-95 % band of (draw,) SI values as a Figure."""
    good = draws[np.isfinite(draws)]
    if not good.size:
        return Figure(math.nan, unit)
    value, (low, high) = middle(draws), band(good)
    return figure(value, unit, min(low, value), max(high, value), dimension)


def ceiling(draws_m: FloatArray) -> Figure | str:
    """A ceiling with its band, (draw,) pressure altitudes; where it, or its upper end, lies above the 16,000 ft to which the model
    goes, words that say so in place of the figure beyond."""
    found, top = banded(draws_m, "ft"), float(from_si(HARD_RANGE_M[1], "ft"))
    beyond = f"above {top:,.0f} ft: beyond the model"
    if found.value > top:
        return beyond
    if found.high is not None and found.low is not None and found.high > top:
        return f"{found.value:,.0f} ft ({found.low:,.0f} ft to {beyond})"
    return found


def take_off_card(model: Model, judged: JudgedEnd, weight_kg: FloatArray, propeller: Propeller | None,
                  run_m: float) -> dict[str, Any]:
    """Static rpm with band and the least acceptable; distance and IAS at a marked point; lift-off; first minute; stop point.

    Least acceptable: the lower end of the band in this air, or the certificated band's low end where it is higher.
    The marked point is half of the expected roll, to the next 100 ft, with the IAS there. Common practice, no source.
    """
    ground = judged.ground
    assert ground is not None
    air = air_draws(ground)
    static = panel_rev_s(model, takeoffs.static_rev_s(model, air))[0]
    good = static[np.isfinite(static)]
    if not good.size:
        return {}
    least = float(np.percentile(good, 5))
    if propeller is not None and propeller.static_rev_s is not None:
        least = max(least, float(propeller.static_rev_s[0] / np.median(model.p["tach"])))
    card: dict[str, Any] = {
        "runway": f"{judged.end.ident}, {from_si(run_m, 'ft'):,.0f} ft available",
        "static_rpm": banded(static, "rpm"), "least_static_rpm": figure(least, "rpm")}
    wind = HEADWIND_CREDIT * ground.headwind_m_s - TAILWIND_CHARGE * ground.tailwind_m_s
    distance, roll_cas, _ = takeoffs.roll_profile(model, ground.air, weight_kg[None, :], headwind_m_s=wind, slope_1=ground.slope_1)
    stretch = _stretch_1(judged.distance.roll_m, float(np.median(distance[-1])))
    if stretch is not None:
        card |= _marks(model, judged.distance.roll_m, np.median(distance, axis=1) * stretch, np.median(roll_cas, axis=1))
    gradient = climb_gradient_1(model, air, weight_kg, 0.0, judged.wind.tailwind_m_s)
    weight = weight_kg[None, :]
    cas = climbing.climb_cas_m_s(model, ground.air.pressure_altitude_m, weight)
    rate = climbing.rate_of_climb(model, air, weight, cas)[0]
    card["first_minute_climb"] = banded(rate * FIRST_MINUTE_S, "ft")
    card["climb_ias"] = figure(float(np.median(ias_from_cas_m_s(cas, model.airframe.position_error))), "kt")
    card["climb_gradient"] = banded(gradient, "ft/nm")
    surface = surface_of(ground.surface_kind, ground.surface_state)
    factor = (surface.landing_factor_1 or 1.0) if isinstance(surface, Surface) else 1.0
    stop = stop_point_m(model, ground, weight_kg, run_m, factor, stretch_1=1.0 if stretch is None else stretch)
    card["stop_point"] = (figure(stop, "ft") if stop is not None
                          else "none: it cannot be stopped on this run once rolling")
    card["cautions"] = cautions_for(("card", "runway"))
    return card


def _stretch_1(chain_roll_m: float, model_roll_m: float) -> float | None:
    """How much longer the roll of the chain is than the model's own; None where one of them is not known."""
    known = math.isfinite(chain_roll_m) and math.isfinite(model_roll_m) and model_roll_m > 0
    return chain_roll_m / model_roll_m if known else None


def _marks(model: Model, roll_m: float, reached_m: FloatArray, cas_m_s: FloatArray) -> dict[str, Any]:
    """Lift-off and the marked point: distances as the chain has them, IAS by the model's roll (both along the roll)."""
    mark = max(math.ceil(0.5 * roll_m / MARK_STEP_M), 1) * MARK_STEP_M
    at_mark = float(np.interp(mark, reached_m, cas_m_s))
    ias = ias_from_cas_m_s(np.array([at_mark, float(cas_m_s[-1])]), model.airframe.position_error)
    return {"marked_point": figure(mark, "ft"), "ias_at_marked_point": figure(float(ias[0]), "kt"),
            "lift_off_distance": figure(roll_m, "ft"), "lift_off_ias": figure(float(ias[1]), "kt"),
            "cross_check": "71 % of lift-off speed at half the run available is only a cross-check for a level, even "
                           "runway; it says nothing of obstacles."}


def today_card(model: Model, air: Air, weight_kg: FloatArray) -> dict[str, Any]:
    """Density altitude, Vx, Vy, ceilings and glide at take-off weight in the air of the departure (IAS, pressure altitude)."""
    weight = weight_kg[None, :]
    best = climbing.best_speeds(model, air, weight)
    deviation = float(np.median(air.temperature_k - air.standard_temperature_k))
    service, absolute = climbing.ceilings_m(model, middle(weight_kg), deviation)
    glide = landings.glide(model, air, weight)
    table = model.airframe.position_error
    return {"density_altitude": figure(float(density_altitude_m(air)), "ft"),
            "vx_ias": banded(ias_from_cas_m_s(best.vx_m_s[0], table), "kt"),
            "vy_ias": banded(ias_from_cas_m_s(best.vy_m_s[0], table), "kt"),
            "best_rate_of_climb": banded(best.rate_m_s[0], "ft/min"),
            "service_ceiling": ceiling(service), "absolute_ceiling": ceiling(absolute),
            "best_glide_ias": banded(ias_from_cas_m_s(glide.cas_m_s[0], table), "kt"),
            "glide_ratio_windmilling": banded(glide.ratio_1[0], "1", "ratio")}
