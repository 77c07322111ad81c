"""What a row says and how sure it is; what the model predicts for it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ownship.performance import climb as climbing
from ownship.performance import cruise as cruising
from ownship.performance import landing as landings
from ownship.performance import takeoff as takeoffs
from ownship.performance.model import APPROACH_OVER_STALL, LIFT_OFF_OVER_STALL, Model, cases, panel_rev_s, priors
from ownship.performance.rows import NEED_RPM, VALUE_UNITS, Rows
from ownship.performance.surfaces import surface_named
from ownship.physics.airspeed import cas_from_ias_m_s, ias_from_cas_m_s
from ownship.physics.atmosphere import Air, isa_temperature_k
from ownship.units import from_si

FloatArray = NDArray[np.float64]
MANY_ROWS = 10  # beyond this many rows of a kind each counts for less: they are one table, not many measurements


def row_sd(rows: Rows) -> FloatArray:
    """One sd of every row in the unit of its kind, times max(1, sqrt(n/10)) with n rows of that kind and origin.

    The row's own; for the owner's the scatter of a point of that kind, or the row's `sd` where that is more, added as
    squares. Rows of one table, or points of one owner, place and instrument, are not independent: however many repeat
    each other they never count for more than ten.
    """
    known, out = priors(), np.empty(len(rows))
    own = rows.texts["origin"] == "own"
    for kind in set(rows.kind.tolist()):
        for is_own in (False, True):
            chosen = (rows.kind == kind) & (own == is_own)
            if not chosen.any():
                continue
            sd = known.row_sd[kind].sd(rows.value[chosen])
            if is_own:
                sd = np.hypot(sd, np.fmax(known.own_sd[kind].sd(rows.value[chosen]), rows.sd[chosen]))
            out[chosen] = sd * max(1.0, float(np.sqrt(chosen.sum() / MANY_ROWS)))
    return out


def predict(model: Model, rows: Rows, *, noise: bool = False) -> FloatArray:
    """What the model says for every row, (row, draw), in the unit of the row's kind; one vector call a kind.

    NaN where the aeroplane cannot do what the row asks.
    """
    out = np.full((len(rows), model.draws.size), np.nan)
    for kind in dict.fromkeys(rows.kind.tolist()):
        chosen = rows.kind == kind
        out[chosen] = from_si(_BY_KIND[kind](model, rows.where(chosen), kind, noise), *VALUE_UNITS[kind])
    return out


def out_of_reach(model: Model, rows: Rows) -> NDArray[np.bool_]:
    """(row, draw): rows at an rpm that full throttle does not give in their air, or that is above the placard (panel).

    A fit must not ask this, since a book prints what it prints; a prediction must.
    """
    out = np.zeros((len(rows), model.draws.size), dtype=bool)
    chosen = np.isin(rows.kind, NEED_RPM)
    if chosen.any():
        part = rows.where(chosen)
        state = cruising.at_rpm(model, _air(part), part.weight_kg, _panel_rev_s(model, part), noise=False)
        out[chosen] = ~state.attainable | state.over_limit
    return out


def _panel_rev_s(model: Model, rows: Rows) -> FloatArray:
    """What the panel shows at the rows' rpm, (row, draw)."""
    return _by_optical(model, rows, cases(rows.rev_s) / model.p["tach"], cases(rows.rev_s))


def _air(rows: Rows) -> Air:
    return Air(rows.pressure_altitude_m, rows.temperature_k)


def _speed_at_limit(model: Model, rows: Rows, column: FloatArray, usual_ias_m_s: float | None, usual_cas_m_s: float) -> FloatArray:
    """IAS (row,) that, scaled with sqrt(W) from take_off_max, gives each row its own speed, whatever the other rows say.

    A speed in the row holds at the row's weight; a blank is the record's speed, else `usual_cas_m_s`, at take_off_max.
    """
    a = model.airframe
    usual = usual_cas_m_s if usual_ias_m_s is None else float(cas_from_ias_m_s(usual_ias_m_s, a.position_error))
    scale = np.sqrt(rows.weight_kg / a.take_off_max_kg)
    given = cas_from_ias_m_s(np.nan_to_num(column, nan=30.0), a.position_error) / scale
    return ias_from_cas_m_s(np.where(np.isnan(column), usual, given), a.position_error)


def _take_off(model: Model, rows: Rows, kind: str, noise: bool) -> FloatArray:
    a = model.airframe
    wind = np.nan_to_num(rows.headwind_m_s)
    lift_off = _speed_at_limit(model, rows, rows.lift_off_ias_m_s, a.lift_off_ias_m_s, LIFT_OFF_OVER_STALL * a.vs1_m_s)
    at_50ft = _speed_at_limit(model, rows, rows.at_50ft_ias_m_s, a.at_50ft_ias_m_s, 1.2 * a.vs1_m_s)
    # of the two speeds a blank one gives way: no one slows down between lift-off and 50 ft
    at_50ft = np.where(np.isnan(rows.at_50ft_ias_m_s), np.maximum(at_50ft, lift_off), at_50ft)
    lift_off = np.where(np.isnan(rows.lift_off_ias_m_s), np.minimum(at_50ft, lift_off), lift_off)
    done = takeoffs.take_off(model, _air(rows), rows.weight_kg, headwind_m_s=wind, slope_1=np.nan_to_num(rows.slope_1),
                             friction_1=_friction(model, rows), lift_off_ias_m_s=lift_off, at_50ft_ias_m_s=at_50ft, noise=noise)
    return done.roll_m if kind == "takeoff_roll_ft" else done.over_50ft_m


def _friction(model: Model, rows: Rows) -> FloatArray | None:
    """Rolling friction of rows off the pavement, never less than the calibrated mu: (row, draw); None: all on pavement."""
    soft = np.array([surface_named(name).friction_1 or 0.0 for name in rows.texts["surface"].tolist()])
    return np.maximum(cases(soft), model.p["mu"]) if soft.any() else None


def _landing(model: Model, rows: Rows, kind: str, noise: bool) -> FloatArray:
    a = model.airframe
    speed = _speed_at_limit(model, rows, rows.approach_ias_m_s, a.approach_ias_m_s, APPROACH_OVER_STALL * a.vs0_m_s)
    braking = np.array([surface_named(name).landing_factor_1 or 1.0 for name in rows.texts["surface"].tolist()])
    done = landings.landing(model, _air(rows), rows.weight_kg, headwind_m_s=np.nan_to_num(rows.headwind_m_s),
                            slope_1=np.nan_to_num(rows.slope_1), braking_factor_1=braking, approach_ias_m_s=speed, noise=noise)
    return done.roll_m if kind == "landing_roll_ft" else done.over_50ft_m


def _rate(model: Model, rows: Rows, kind: str, noise: bool) -> FloatArray:
    scheduled = climbing.climb_cas_m_s(model, rows.pressure_altitude_m, rows.weight_kg)
    given = cas_from_ias_m_s(cases(np.nan_to_num(rows.climb_ias_m_s, nan=30.0)), model.airframe.position_error)
    cas = np.where(np.isnan(cases(rows.climb_ias_m_s)), scheduled, given)
    out = np.empty((len(rows), model.draws.size))
    for flap, drag in ((("", "up"), None), (("take_off",), "take_off"), (("landing",), "landing")):
        chosen = np.isin(rows.texts["flap"], flap)
        if chosen.any():
            part = rows.where(chosen)
            out[chosen] = climbing.rate_of_climb(model, _air(part), part.weight_kg, cas[chosen], flap=drag, noise=noise)
    return out


def _cruise(model: Model, rows: Rows, kind: str, noise: bool) -> FloatArray:
    rich = rows.texts["mixture"] == "rich"
    out = np.empty((len(rows), model.draws.size))
    for mixture, chosen in (("rich", rich), ("lean", ~rich)):
        if not chosen.any():
            continue
        part = rows.where(chosen)
        state = cruising.at_rpm(model, _air(part), part.weight_kg, _panel_rev_s(model, part), mixture=mixture, noise=noise)
        density = model.airframe.fuel_density_kg_m3
        out[chosen] = {"cruise_tas_kt": state.tas_m_s, "power_pct": state.power_1,
                       "fuel_flow_usgph": state.fuel_kg_s / density}[kind]
    return out


def _climb(model: Model, rows: Rows, kind: str, noise: bool) -> FloatArray:
    """From sea level to the row's altitude, standard day shifted by the row's deviation there."""
    deviation = rows.temperature_k - isa_temperature_k(rows.pressure_altitude_m)
    start = isa_temperature_k(np.zeros(len(rows))) + deviation
    done = climbing.climb(model, 0.0, rows.pressure_altitude_m, (start, rows.temperature_k), rows.weight_kg, noise=noise)
    return {"climb_time_min": done.time_s, "climb_distance_nm": done.distance_m,
            "climb_fuel_usgal": done.fuel_kg / model.airframe.fuel_density_kg_m3}[kind]


def _top(model: Model, rows: Rows, kind: str, noise: bool) -> FloatArray:
    top = cruising.full_throttle(model, _air(rows), rows.weight_kg, noise=False).tas_m_s
    return model.with_noise(kind, top, "kt") if noise else top


def _ceiling(model: Model, rows: Rows, kind: str, noise: bool) -> FloatArray:
    deviation = rows.temperature_k - isa_temperature_k(rows.pressure_altitude_m)
    return np.stack([climbing.ceilings_m(model, float(w), float(d), noise=noise)[0]
                     for w, d in zip(rows.weight_kg, deviation, strict=True)])


def _static(model: Model, rows: Rows, kind: str, noise: bool) -> FloatArray:
    true = takeoffs.static_rev_s(model, _air(rows), noise=noise)
    return _by_optical(model, rows, true, panel_rev_s(model, true))


def _by_optical(model: Model, rows: Rows, optical: FloatArray, panel: FloatArray) -> FloatArray:
    """(row, draw): `optical` where the row's rpm was read by an optical tachometer, else `panel`."""
    return np.where((rows.texts["tachometer"] == "optical")[:, None], optical, panel)


def _tachometer(model: Model, rows: Rows, kind: str, noise: bool) -> FloatArray:
    return np.broadcast_to(model.p["tach"], (len(rows), model.draws.size))


def _sink(model: Model, rows: Rows, kind: str, noise: bool) -> FloatArray:
    cas = cas_from_ias_m_s(cases(rows.climb_ias_m_s), model.airframe.position_error)
    return landings.sink_m_s(model, _air(rows), rows.weight_kg, cas, rows.texts["propeller"] == "stopped", noise=noise)


_BY_KIND = {"takeoff_roll_ft": _take_off, "takeoff_50ft_ft": _take_off, "landing_roll_ft": _landing,
            "landing_50ft_ft": _landing, "rate_of_climb_fpm": _rate, "cruise_tas_kt": _cruise, "power_pct": _cruise,
            "fuel_flow_usgph": _cruise, "climb_time_min": _climb, "climb_fuel_usgal": _climb,
            "climb_distance_nm": _climb, "max_level_tas_kt": _top, "service_ceiling_ft": _ceiling,
            "static_rpm": _static, "glide_sink_fpm": _sink, "tachometer_pct": _tachometer}
