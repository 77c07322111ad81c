"""What modifications do to a calibrated model and to an airframe record, and where they get in each other's way.

They alter parameters of every draw by their size plus their own uncertainty; nothing else moves, so that a difference
before and after is paired: what both share cancels. The order in which they are named never matters. Method:
docs/methods/studies.md.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable
from dataclasses import replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from ownship.aeroplane.description import AirframeRecord
from ownship.errors import BadInput
from ownship.performance.model import Airframe, Model, parameter_names
from ownship.physics.propeller import MAX_TWIST_DEG, Surrogate, build_surrogate, pitch_angle_rad
from ownship.studies.modification import Modification
from ownship.units import from_si

FloatArray = NDArray[np.float64]
Modifications = tuple[Modification, ...]
BLADE_STATION_1 = 0.75  # where the blade angle is taken, r/R
MUST_BE_POSITIVE = {"CD0": ("drag", "no drag at all"), "b65": ("fuel_at_65", "no fuel at all")}
ADDED_TO = {"pitch_m": "propeller pitch", "diameter_m": "propeller diameter"}


def in_order(modifications: Modifications) -> Modifications:
    """The same modifications in an order of their own, so that sums come out alike to the last digit."""
    return tuple(sorted(modifications, key=lambda m: (m.name, repr(m))))


def conflicts(modifications: Modifications) -> list[str]:
    """Pairs that get in each other's way, in words: by the parts they name and by the keys they alter."""
    return [line for a, b in combinations(in_order(modifications), 2) for line in _conflicts(a, b)]


def _conflicts(a: Modification, b: Modification) -> list[str]:
    both = f"{a.name} and {b.name} both"
    lines = [f"{both} alter the {x}: their sum is not what either maker flew." for x in sorted(set(a.parts) & set(b.parts))[:1]]
    if a.power_to_w is not None and b.power_to_w is not None:
        lines.append(f"{both} set the power: the lower, {from_si(min(a.power_to_w, b.power_to_w), 'hp'):.0f} hp, is taken.")
    elif (a.power_to_w is not None and b.power_w) or (b.power_to_w is not None and a.power_w):
        lines.append(f"{both} alter the power: one sets it and the other adds to that.")
    if a.rev_max_rev_s is not None and b.rev_max_rev_s is not None:
        least = from_si(min(a.rev_max_rev_s, b.rev_max_rev_s), "rpm")
        lines.append(f"{both} set the rpm limit: the lower, {least:,.0f} rpm, is taken.")
    lines += [f"{both} alter the {words}: the changes are added up." for key, words in ADDED_TO.items()
              if getattr(a, key) and getattr(b, key)]
    if gone := sorted(set(a.stations_removed) & set(b.stations_removed)):
        lines.append(f"{both} take out station {gone[0]!r}: its weight may be counted twice.")
    return lines + _approvals(a, b, both)


def _approvals(a: Modification, b: Modification, both: str) -> list[str]:
    """Two approvals that say different things of one aeroplane."""
    one, other = a.approval, b.approval
    lines = []
    if one.take_off_max_kg and other.take_off_max_kg:
        least = from_si(min(one.take_off_max_kg, other.take_off_max_kg), "lb")
        lines.append(f"{both} bring an approved take-off weight: the lower, {least:,.0f} lb, is taken.")
    if one.static_rev_s and other.static_rev_s:
        lines.append(f"{both} bring a band of static rpm: each is judged.")
    return lines


def _least(values: Iterable[float | None]) -> float | None:
    return min((v for v in values if v is not None), default=None)


def approved_weight_kg(modifications: Modifications) -> float | None:
    """The take-off weight that the approvals name, the lowest of several; None where none does."""
    return _least(m.approval.take_off_max_kg for m in modifications)


def apply(model: Model, modifications: Modifications, seed: int = 0) -> Model:
    """The model after some modifications, draw by draw, in whatever order they are named.

    Pitch and diameter turn into a blade angle at 75 % radius, at most 4 degrees from the calibrated one. Power changes
    the rated power (power_to replaces it, the lowest of several) and keeps every draw's own factor. BadInput beyond
    4 degrees, for a rated power of nothing or less, and for an uncertainty that leaves a draw without drag or fuel.
    """
    ordered = in_order(modifications)
    airframe = _airframe(model.airframe, ordered)
    turn = _turn_deg(model.airframe, airframe)
    values = model.draws.values.copy()
    for m in ordered:
        _shift(values, m, seed, airframe.rated_power_w)
    _check(values)
    values[:, parameter_names().index("dbeta")] += turn
    surrogate = _about_calibrated(model, airframe, values)
    return Model(airframe, surrogate, replace(model.draws, values=values))


def _airframe(a: Airframe, modifications: Modifications) -> Airframe:
    base_w = _least(m.power_to_w for m in modifications)
    rated = (a.rated_power_w if base_w is None else base_w) + sum(m.power_w for m in modifications)
    if rated <= 0:
        raise BadInput(f"The modifications would leave a rated power of {from_si(rated, 'hp'):.0f} hp; correct power and power_to.")
    limit = _least(m.rev_max_rev_s for m in modifications)
    diameter = a.diameter_m + sum(m.diameter_m for m in modifications)
    return replace(a, pitch_m=a.pitch_m + sum(m.pitch_m for m in modifications), diameter_m=diameter, rated_power_w=rated,
                   rev_max_rev_s=a.rev_max_rev_s if limit is None else limit)


def _turn_deg(before: Airframe, after: Airframe) -> float:
    """Blade angle at 75 % radius, after less before, in degrees; BadInput beyond 4 degrees, with the limit in inches."""
    built = pitch_angle_rad(before.pitch_m, before.diameter_m)
    turn = float(np.degrees(pitch_angle_rad(after.pitch_m, after.diameter_m) - built))
    if abs(turn) > MAX_TWIST_DEG:
        circle = BLADE_STATION_1 * np.pi * after.diameter_m
        low, high = (float(from_si(circle * np.tan(built + np.radians(d)) - before.pitch_m, "in"))
                     for d in (-MAX_TWIST_DEG, MAX_TWIST_DEG))
        raise BadInput(f"The propeller would turn its blades {turn:+.2f} degrees from the calibrated pitch; the model is good for "
                       f"{MAX_TWIST_DEG:.0f} degrees either way, at this diameter a pitch changed by {low:+.1f} to {high:+.1f} in, "
                       "so choose a smaller change.")
    return turn


def _about_calibrated(model: Model, after: Airframe, values: FloatArray) -> Surrogate:
    """The propeller's polynomials for the draws after, whose dbeta column may be moved (in place) to their new centre.

    The ones before are kept while every draw lies within their 4 degrees: what both sides share then cancels. Else they
    are made anew about the calibrated angle of the modified propeller, the median of the draws.
    """
    twist = values[:, parameter_names().index("dbeta")]
    if np.all(np.abs(twist) <= MAX_TWIST_DEG):
        return model.surrogate
    centre = float(np.median(twist))
    twist -= centre
    if np.any(np.abs(twist) > MAX_TWIST_DEG):
        raise BadInput("The blade angle is so uncertain that some of the aeroplanes it may be lie beyond "
                       f"{MAX_TWIST_DEG:.0f} degrees of the calibrated pitch; give a smaller blade_angle under [uncertainty].")
    made = build_surrogate(model.surrogate.beta75_rad + float(np.radians(centre)), after.blades)
    return replace(made, ct=np.ascontiguousarray(made.ct), cp=np.ascontiguousarray(made.cp))


def _check(values: FloatArray) -> None:
    """BadInput where a draw would fly without drag or fuel."""
    for name, (key, words) in MUST_BE_POSITIVE.items():
        lost = int(np.sum(values[:, parameter_names().index(name)] <= 0))
        if lost:
            raise BadInput(f"With this {key} and its uncertainty {lost} of {values.shape[0]} calibrated aeroplanes would have "
                           f"{words}; give a smaller {key}, under [alters] or [uncertainty].")


def _shift(values: FloatArray, m: Modification, seed: int, rated_w: float) -> None:
    """Move the parameters of every draw by a modification's own uncertainty and its drag and fuel changes, in place."""
    def column(name: str) -> FloatArray:
        return values[:, parameter_names().index(name)]

    def doubt(key: str, sd: float) -> FloatArray:
        z = np.random.default_rng([seed, zlib.crc32(f"{m.name} {key}".encode())]).standard_normal(values.shape[0])
        return np.asarray(sd * z)

    column("dbeta")[:] += doubt("angle", m.sd_angle_deg)
    column("kCP")[:] *= np.exp(doubt("width", m.sd_width_1))
    column("kCT")[:] *= np.exp(doubt("thrust", m.sd_thrust_1))
    column("kP")[:] *= np.exp(doubt("power", m.sd_power_w / rated_w))
    column("CD0")[:] += m.drag_1 + doubt("drag", m.sd_drag_1)
    column("b65")[:] *= 1 + m.fuel_1 + doubt("fuel", m.sd_fuel_1)


def added(modifications: Modifications, density_kg_m3: float) -> list[tuple[float, float]]:
    """(kg, m) that the empty aeroplane gains: what is fitted, and the unusable fuel of an extra tank."""
    items = [(m.weight_kg, m.arm_m) for m in modifications if m.weight_kg]
    return items + [(m.tank.unusable_m3 * density_kg_m3, m.tank.arm_m) for m in modifications if m.tank is not None]


def on_record(record: AirframeRecord, modifications: Modifications) -> AirframeRecord:
    """The airframe record after some modifications: tanks, stations, and a weight that only the approval alters.

    What the empty aeroplane gains is in `added`. BadInput for a tank or a station that does not fit.
    """
    tanks = tuple(m.tank for m in modifications if m.tank is not None)
    _check_tanks(record, modifications)
    gone = {x for m in modifications for x in m.stations_removed}
    unknown = gone - {s.id for s in record.stations}
    if unknown:
        raise BadInput(f"The aeroplane has no station {sorted(unknown)[0]!r} to take out; its stations are: "
                       f"{', '.join(s.id for s in record.stations) or 'none'}.")
    approved = approved_weight_kg(modifications)
    weights = record.weights if approved is None else replace(record.weights, take_off_max_kg=approved)
    groups = tuple(replace(g, stations=tuple(x for x in g.stations if x not in gone)) for g in record.station_groups)
    return replace(record, weights=weights, tanks=(*record.tanks, *tanks),
                   stations=tuple(s for s in record.stations if s.id not in gone), station_groups=groups)


def _check_tanks(record: AirframeRecord, modifications: Modifications) -> None:
    """BadInput where a tank's id stands twice, with the names of those who bring it."""
    owners = {t.id: "the aeroplane" for t in record.tanks}
    for m in modifications:
        if m.tank is not None and m.tank.id in owners:
            raise BadInput(f"{m.name} brings a tank {m.tank.id!r}, and so does {owners[m.tank.id]}; give the extra one another id.")
        if m.tank is not None:
            owners[m.tank.id] = m.name
