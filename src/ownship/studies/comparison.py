"""One aeroplane before and after: the figures an owner compares, paired on the same draws.

A propeller has three answers, and all are shown: at equal rpm, at equal power, and at full throttle with the rpm
limit kept and lifted.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ownship.aeroplane.adverse import adverse_loading
from ownship.aeroplane.description import AirframeRecord, is_figure
from ownship.aeroplane.weighing import EmptyWeight, empty_weight
from ownship.errors import MissingKey
from ownship.performance import climb, cruise, takeoff
from ownship.performance.model import Model
from ownship.physics.atmosphere import standard_air
from ownship.studies.modification import Modification, apply, conflicts, on_record
from ownship.units import from_si, parse, to_si
from ownship.words.figures import Figure

FloatArray = NDArray[np.float64]
CRUISE_M, HIGH_M = float(to_si(5000, "ft")), float(to_si(7500, "ft"))
POWER_1, RESERVE_S, RPM_SHARE = 0.65, 45 * 60.0, 2500 / 2700


@dataclass(frozen=True)
class Paired:
    """A figure before, after and their difference, each with its band from common draws."""

    before: Figure
    after: Figure
    difference: Figure

    def to_json(self) -> dict[str, Any]:
        """The three quantities."""
        return {"before": self.before.to_json(), "after": self.after.to_json(), "difference": self.difference.to_json()}


def paired(before: FloatArray, after: FloatArray, unit: str, dimension: str | None = None) -> Paired:
    """Medians and 5-95 % bands of two (draw,) SI arrays and of their difference, draw by draw."""
    a, b = (np.asarray(from_si(x, unit, dimension), dtype=float) for x in (before, after))
    return Paired(_banded(a, unit), _banded(b, unit), _banded(b - a, unit))


def _banded(values: FloatArray, unit: str) -> Figure:
    good = values[np.isfinite(values)]
    if good.size < 0.5 * values.size:
        return Figure(float("nan"), unit)
    low, middle, high = (float(x) for x in np.percentile(good, [5, 50, 95]))
    return Figure(middle, unit, low, high)


@dataclass(frozen=True)
class Study:
    """Everything said of some modifications together: first lines, approval, and the paired figures by name."""

    name: str
    first_lines: tuple[str, ...]
    conflicts: tuple[str, ...]
    price: str
    hours: float
    approval: str
    source: str
    figures: dict[str, dict[str, Paired]]


def study(record: AirframeRecord, model: Model, modifications: tuple[Modification, ...], on: date, seed: int = 0) -> Study:
    """Before and after some modifications on a date, at the maximum take-off weight of the record before."""
    changed, altered = apply(model, modifications, seed), on_record(record, modifications, on)
    before, after = (_numbers(r, m, model, on) for r, m in ((record, model), (altered, changed)))
    units = {"useful_load": "lb", "static_rpm": "rpm", "tas": "kt", "fuel": "usgal/h", "roll": "ft", "over_50ft": "ft",
             "rate": "ft/min", "ceiling": "ft", "range": "nm", "room": "in", "empty_arm": "in"}
    figures = {group: {k: paired(v, after[group][k], units[k.split(".")[0]]) for k, v in values.items()}
               for group, values in before.items()}
    approval = "; ".join(m.approval.words for m in modifications if m.approval.words)
    return Study(" + ".join(m.name for m in modifications) or "nothing altered",
                 tuple(_first_lines(figures, altered, modifications)), tuple(conflicts(modifications)),
                 "; ".join(m.price for m in modifications), float(from_si(sum(m.hours_s for m in modifications), "h")),
                 approval, "; ".join(m.source for m in modifications), figures)


def _numbers(record: AirframeRecord, m: Model, reference: Model, on: date) -> dict[str, dict[str, FloatArray]]:
    """The figures of one aeroplane by group and name, each (draw,) in SI."""
    weight = reference.airframe.take_off_max_kg
    sea, level, high = (standard_air(np.array([h])) for h in (0.0, CRUISE_M, HIGH_M))
    rev = RPM_SHARE * reference.airframe.rev_max_rev_s
    density = m.airframe.fuel_density_kg_m3
    off = takeoff.take_off(m, sea, weight)
    equal_rpm, equal_power = cruise.at_rpm(m, level, weight, rev), cruise.at_power(m, level, weight, _share(m, reference))
    capped, lifted = (cruise.full_throttle(m, high, weight, rpm_capped=c) for c in (True, False))
    usable = sum(t.usable_m3 for t in record.tanks)
    flow = equal_power.fuel_kg_s[0] / density
    empty = _empty(record, on)
    groups = {
        "useful_load": {"useful_load": np.full(m.draws.size, _useful_load(record, empty))},
        "static_rpm": {"static_rpm": takeoff.static_rev_s(m, sea)[0]},
        "equal_rpm": {"tas": equal_rpm.tas_m_s[0], "fuel": equal_rpm.fuel_kg_s[0] / density},
        "equal_power": {"tas": equal_power.tas_m_s[0], "fuel": flow},
        "full_throttle": {"tas": capped.tas_m_s[0], "tas.lifted": lifted.tas_m_s[0], "fuel": capped.fuel_kg_s[0] / density},
        "take_off": {"over_50ft": off.over_50ft_m[0], "roll": off.roll_m[0]},
        "climb": {"rate": climb.best_speeds(m, sea, weight).rate_m_s[0]},
        "ceiling": {"ceiling": climb.ceilings_m(m, weight)[0]},
        "range": {"range": (usable / flow - RESERVE_S) * equal_power.tas_m_s[0]},
    }
    return groups | {"cg": {k: np.full(m.draws.size, v) for k, v in _cg(record, empty).items()}}


def _share(m: Model, reference: Model) -> float:
    """The same power in watts as 65 % of the aeroplane before, as a share of this one's rating."""
    return POWER_1 * reference.airframe.rated_power_w / m.airframe.rated_power_w


def _empty(record: AirframeRecord, on: date) -> EmptyWeight | None:
    try:
        return empty_weight(record, on)
    except MissingKey:
        return None


def _useful_load(record: AirframeRecord, empty: EmptyWeight | None) -> float:
    if empty is None or not is_figure(record.weights.take_off_max_kg):
        return math.nan
    return float(record.weights.take_off_max_kg) - empty.weight_kg  # type: ignore[arg-type]


def _cg(record: AirframeRecord, empty: EmptyWeight | None) -> dict[str, float]:
    """Empty arm and the tightest forward and aft room over all loadings; left out where the record cannot say."""
    if empty is None:
        return {}
    found = adverse_loading(record, empty)
    room = {} if found is None else {"room.forward": found.forward_room_m, "room.aft": found.aft_room_m}
    return {"empty_arm": empty.arm_m} | room


def _first_lines(figures: dict[str, dict[str, Paired]], altered: AirframeRecord,
                 modifications: tuple[Modification, ...]) -> list[str]:
    """What an owner must hear first: useful load going down, a static rpm outside the approval's band, no more weight."""
    lines = []
    load = figures["useful_load"]["useful_load"].difference
    if load.value < -0.05:
        lines.append(f"Useful load goes down by {-load.value:.0f} lb.")
    static = figures["static_rpm"]["static_rpm"].after
    bands = [m.approval.static_rev_s for m in modifications if m.approval.static_rev_s]
    if not bands and altered.propeller and altered.propeller.static_rev_s:
        bands = [altered.propeller.static_rev_s]
    for low, high in ((from_si(a, "rpm"), from_si(b, "rpm")) for a, b in bands):
        if static.low is not None and static.high is not None and not (low <= static.value <= high):
            lines.append(f"Static rpm {static.value:.0f} ({static.low:.0f} to {static.high:.0f}) is outside the band of "
                         f"{low:.0f} to {high:.0f}.")
    stronger = any(m.power_w > 0 or m.power_to_w for m in modifications)
    if stronger and not any(m.approval.take_off_max_kg for m in modifications):
        lines.append("More power does not raise the certificated weight.")
    return lines


def claim(study_: Study, text: str) -> list[str]:
    """At which comparison a seller's figure ("6 mph") would be true: inside the band of the paired difference."""
    wanted = float(from_si(parse(text, "speed", "--claim"), "kt"))
    names = {("equal_rpm", "tas"): "at equal rpm", ("equal_power", "tas"): "at equal power",
             ("full_throttle", "tas"): "at full throttle, rpm limit kept",
             ("full_throttle", "tas.lifted"): "at full throttle, rpm limit lifted"}
    lines = []
    for (group, key), words in names.items():
        d = study_.figures[group][key].difference
        if d.low is None or d.high is None:
            continue
        verdict = "would be true" if d.low <= wanted <= d.high else "would not be true"
        lines.append(f"{text} {verdict} {words}: {d.value:+.1f} kt ({d.low:+.1f} to {d.high:+.1f}).")
    return lines
