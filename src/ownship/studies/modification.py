"""A modification as a data file, and its application to a calibrated model and to an airframe record.

It alters parameters of every draw by its size plus its own uncertainty; nothing else moves, so that a difference
before and after is paired: what both share cancels.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass, replace
from datetime import date
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from ownship.aeroplane.description import AirframeRecord, Equipment, Tank
from ownship.errors import BadInput, MissingSource
from ownship.performance.model import Model, parameter_names
from ownship.physics.propeller import MAX_TWIST_DEG, pitch_angle_rad
from ownship.provenance import STATUSES
from ownship.schema import Table

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Approval:
    """What the paper says: words, its own static band (rev/s) and its own maximum weight (kg), where it has them."""

    words: str = ""
    static_rev_s: tuple[float, float] | None = None
    take_off_max_kg: float | None = None


@dataclass(frozen=True)
class Modification:
    """One modification: what it alters (SI changes) and how sure that is (one sd each)."""

    name: str
    parts: tuple[str, ...]
    price: str
    hours_s: float
    source: str
    approval: Approval
    pitch_m: float = 0.0
    diameter_m: float = 0.0
    power_w: float = 0.0
    power_to_w: float | None = None
    drag_1: float = 0.0
    fuel_1: float = 0.0
    weight_kg: float = 0.0
    arm_m: float = 0.0
    rev_max_rev_s: float | None = None
    tank: Tank | None = None
    stations_removed: tuple[str, ...] = ()
    sd_angle_deg: float = 0.0
    sd_width_1: float = 0.0
    sd_thrust_1: float = 0.0
    sd_power_w: float = 0.0
    sd_drag_1: float = 0.0
    sd_fuel_1: float = 0.0


def read_modification(t: Table) -> Modification:
    """A Modification from TOML; unknown keys, wrong units and a missing source are refused by name."""
    name = t.text("name")
    source, status = t.text("source", ""), t.choice("status", STATUSES, "read")
    if not source:
        raise MissingSource(f"{t.where()}: the modification has no source; add it.")
    alters, doubt, approval = (t.table(k) or Table({}, t.name) for k in ("alters", "uncertainty", "approval"))
    heavier = alters.has("weight")
    made = Modification(
        name, t.texts("parts"), str(t.take("price", "not known")), t.quantity("hours", "time", 0.0, low="0 h", high="2000 h"),
        f"{source}, {status}",
        Approval(approval.text("words", ""), approval.quantities("static_rpm", "rotation", None, length=2),
                 approval.quantity("take_off_max", "mass", None, low="500 lb", high="20000 lb")),
        pitch_m=alters.quantity("propeller_pitch", "length", 0.0, low="-30 in", high="30 in"),
        diameter_m=alters.quantity("propeller_diameter", "length", 0.0, low="-20 in", high="20 in"),
        power_w=alters.quantity("power", "power", 0.0, low="-100 hp", high="200 hp"),
        power_to_w=alters.quantity("power_to", "power", None, low="50 hp", high="600 hp"),
        drag_1=alters.number("drag", 0.0, -0.02, 0.05),
        fuel_1=alters.quantity("fuel_at_65", "ratio", 0.0, low="-30 %", high="30 %"),
        weight_kg=alters.quantity("weight", "mass", 0.0, low="-500 lb", high="500 lb"),
        arm_m=alters.quantity("arm", "length", ... if heavier else 0.0, low="-1000 in", high="1000 in"),
        rev_max_rev_s=alters.quantity("rpm_max", "rotation", None, low="1500 rpm", high="4000 rpm"),
        tank=_tank(alters.table("tank")), stations_removed=alters.texts("stations_removed", ()),
        sd_angle_deg=doubt.quantity("blade_angle", "angle", 0.0, low="0 deg", high="4 deg"),
        sd_width_1=doubt.quantity("blade_width", "ratio", 0.0, low="0 %", high="30 %"),
        sd_thrust_1=doubt.quantity("thrust", "ratio", 0.0, low="0 %", high="30 %"),
        sd_power_w=doubt.quantity("power", "power", 0.0, low="0 hp", high="50 hp"),
        sd_drag_1=doubt.number("drag", 0.0, 0.0, 0.02),
        sd_fuel_1=doubt.quantity("fuel_at_65", "ratio", 0.0, low="0 %", high="30 %"))
    t.take("schema", 1)
    for part in (alters, doubt, approval, t):
        part.done()
    return made


def _tank(t: Table | None) -> Tank | None:
    if t is None:
        return None
    tank = Tank(t.text("id"), t.text("name", ""), t.quantity("capacity", "volume", low="1 usgal", high="200 usgal"),
                t.quantity("unusable", "volume", low="0 usgal", high="20 usgal"), t.quantity("arm", "length"))
    t.done()
    return tank


def conflicts(modifications: tuple[Modification, ...]) -> list[str]:
    """Pairs that touch the same part, in words."""
    return [f"{a.name} and {b.name} both alter the {shared[0]}: their sum is not what either maker flew."
            for a, b in combinations(modifications, 2) if (shared := sorted(set(a.parts) & set(b.parts)))]


def apply(model: Model, modifications: tuple[Modification, ...], seed: int = 0) -> Model:
    """The model after some modifications, draw by draw; the order does not matter where they touch different parts.

    Pitch and diameter turn into a blade angle at 75 % radius; BadInput beyond 4 degrees from the calibrated pitch.
    Power changes the rated power (power_to replaces it) and keeps every draw's own factor.
    """
    a = model.airframe
    pitch = a.pitch_m + sum(m.pitch_m for m in modifications)
    diameter = a.diameter_m + sum(m.diameter_m for m in modifications)
    base_w = next((m.power_to_w for m in modifications if m.power_to_w is not None), a.rated_power_w)
    rated = base_w + sum(m.power_w for m in modifications)
    limit = next((m.rev_max_rev_s for m in modifications if m.rev_max_rev_s is not None), a.rev_max_rev_s)
    turn = np.degrees(pitch_angle_rad(pitch, diameter) - pitch_angle_rad(a.pitch_m, a.diameter_m))
    if abs(turn) > MAX_TWIST_DEG:
        raise BadInput(f"The pitch would turn the blades {turn:+.1f} degrees from the calibrated ones; the model is good for "
                       f"{MAX_TWIST_DEG:.0f} degrees either way, so choose a smaller change.")
    values = model.draws.values.copy()
    for m in sorted(modifications, key=lambda m: m.name):
        _shift(values, m, seed, rated)
    column = parameter_names().index("dbeta")
    values[:, column] += turn
    if np.any(np.abs(values[:, column]) > MAX_TWIST_DEG):
        raise BadInput("The pitch change takes some of the calibrated aeroplanes beyond 4 degrees of blade angle, where the "
                       "propeller's polynomial ends; choose a smaller change.")
    airframe = replace(a, pitch_m=pitch, diameter_m=diameter, rated_power_w=rated, rev_max_rev_s=limit)
    return Model(airframe, model.surrogate, replace(model.draws, values=values))


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


def on_record(record: AirframeRecord, modifications: tuple[Modification, ...], on: date) -> AirframeRecord:
    """The airframe record after some modifications: weight and arm, tanks, stations, and a weight only the approval raises."""
    equipment = tuple(Equipment(on, m.name, m.weight_kg, m.arm_m, m.source) for m in modifications if m.weight_kg)
    tanks = tuple(m.tank for m in modifications if m.tank is not None)
    twice = {t.id for t in tanks} & {t.id for t in record.tanks}
    if twice:
        raise BadInput(f"The aeroplane already has a tank {sorted(twice)[0]!r}; give the extra one another id.")
    gone = {x for m in modifications for x in m.stations_removed}
    unknown = gone - {s.id for s in record.stations}
    if unknown:
        raise BadInput(f"The aeroplane has no station {sorted(unknown)[0]!r} to take out; its stations are: "
                       f"{', '.join(s.id for s in record.stations) or 'none'}.")
    raised = [m.approval.take_off_max_kg for m in modifications if m.approval.take_off_max_kg is not None]
    weights = replace(record.weights, take_off_max_kg=max(raised)) if raised else record.weights
    groups = tuple(replace(g, stations=tuple(x for x in g.stations if x not in gone)) for g in record.station_groups)
    return replace(record, weights=weights, equipment=(*record.equipment, *equipment), tanks=(*record.tanks, *tanks),
                   stations=tuple(s for s in record.stations if s.id not in gone), station_groups=groups)
