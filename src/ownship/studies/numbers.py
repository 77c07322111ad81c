"""The figures of one side of a study, each (draw,) in SI: NaN where that draw cannot, or where the record does not say."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ownship.aeroplane.adverse import adverse_loading
from ownship.aeroplane.description import AirframeRecord, is_figure
from ownship.aeroplane.weighing import EmptyWeight
from ownship.performance import climb, cruise, takeoff
from ownship.performance.cruise import Cruise
from ownship.performance.model import Airframe, Model
from ownship.physics.atmosphere import standard_air
from ownship.units import to_si

FloatArray = NDArray[np.float64]
Groups = dict[str, dict[str, FloatArray]]
CRUISE_M, HIGH_M = float(to_si(5000, "ft")), float(to_si(7500, "ft"))
POWER_1, RESERVE_S = 0.65, 45 * 60.0
SEA, LEVEL, HIGH = (standard_air(np.array([h])) for h in (0.0, CRUISE_M, HIGH_M))


@dataclass(frozen=True)
class Side:
    """One aeroplane of a study: its record, its empty weight (None: not known) and its model."""

    record: AirframeRecord
    empty: EmptyWeight | None
    model: Model


def performance(side: Side, reference: Airframe, weight_kg: float, rev_s: float) -> Groups:
    """What a weight alters: take-off, climb, ceiling at sea level, cruise at 5,000 ft, full throttle at 7,500 ft, range.

    reference: the aeroplane before, whose power the equal one is; rev_s: the equal propeller speed. A cruise that full
    throttle does not give in that air, or beyond the rpm limit, is NaN; so is a range shorter than its reserve of 45 min.
    """
    m = side.model
    with np.errstate(all="ignore"):
        share = POWER_1 * reference.rated_power_w / m.airframe.rated_power_w
        power = _possible(cruise.at_power(m, LEVEL, weight_kg, share), True)
        capped, lifted = (_possible(cruise.full_throttle(m, HIGH, weight_kg, rpm_capped=c), c) for c in (True, False))
        return field_and_climb(side, weight_kg) | {
            "equal_rpm": at_rev_s(side, weight_kg, rev_s), "equal_power": _cruising(power, m),
            "full_throttle": {"tas": capped.tas_m_s[0], "tas.lifted": lifted.tas_m_s[0], "fuel": _cruising(capped, m)["fuel"]},
            "range": {"range": _range_m(side.record, _cruising(power, m))}}


def at_rev_s(side: Side, weight_kg: float, rev_s: float) -> dict[str, FloatArray]:
    """TAS and fuel in level flight at 5,000 ft at what the panel shows."""
    with np.errstate(all="ignore"):
        return _cruising(_possible(cruise.at_rpm(side.model, LEVEL, weight_kg, rev_s), True), side.model)


def field_and_climb(side: Side, weight_kg: float) -> Groups:
    """Take-off and best climb at sea level on a standard day, and the service ceiling; noise as on the card."""
    m = side.model
    with np.errstate(all="ignore"):
        off = takeoff.take_off(m, SEA, weight_kg)
        rate = m.with_noise("rate_of_climb_fpm", climb.best_speeds(m, SEA, weight_kg).rate_m_s, "ft/min")
        return {"take_off": {"over_50ft": off.over_50ft_m[0], "roll": off.roll_m[0]}, "climb": {"rate": rate[0]},
                "ceiling": {"ceiling": climb.ceilings_m(m, weight_kg)[0]}}


def static_rev_s(side: Side) -> FloatArray:
    """Static propeller speed at sea level, rev/s."""
    with np.errstate(all="ignore"):
        return np.asarray(takeoff.static_rev_s(side.model, SEA)[0])


def papers(side: Side) -> Groups:
    """Useful load, empty arm and the tightest CG room over all loadings (what the record cannot say is left out); static rpm."""
    plain = {"useful_load": {"useful_load": _useful_load_kg(side)}, "cg": _cg(side)}
    size = side.model.draws.size
    found = {group: {k: np.full(size, v) for k, v in values.items()} for group, values in plain.items()}
    return found | {"static_rpm": {"static_rpm": static_rev_s(side)}}


def _possible(state: Cruise, capped: bool) -> Cruise:
    """The same state with NaN where full throttle does not give it, or (capped) the panel is above the rpm limit."""
    good = state.attainable & (state.fuel_kg_s > 0) & (~state.over_limit if capped else True)
    return replace(state, tas_m_s=np.where(good, state.tas_m_s, np.nan), fuel_kg_s=np.where(good, state.fuel_kg_s, np.nan))


def _cruising(state: Cruise, m: Model) -> dict[str, FloatArray]:
    return {"tas": state.tas_m_s[0], "fuel": state.fuel_kg_s[0] / m.airframe.fuel_density_kg_m3}


def _range_m(record: AirframeRecord, cruising: dict[str, FloatArray]) -> FloatArray:
    left_s = sum(t.usable_m3 for t in record.tanks) / cruising["fuel"] - RESERVE_S
    return np.where(left_s > 0, left_s * cruising["tas"], np.nan)


def _useful_load_kg(side: Side) -> float:
    most = side.record.weights.take_off_max_kg
    if side.empty is None or not is_figure(most):
        return math.nan
    return float(most) - side.empty.weight_kg  # type: ignore[arg-type]


def _cg(side: Side) -> dict[str, float]:
    if side.empty is None:
        return {}
    found = adverse_loading(side.record, side.empty)
    room = {} if found is None else {"room.forward": found.forward_room_m, "room.aft": found.aft_room_m}
    return {"empty_arm": side.empty.arm_m} | room
