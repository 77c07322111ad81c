"""A modification as a data file: what it alters, how sure that is, what it costs and what its approval says.

Format: docs/formats/modification.md. What it does to model and record: altering.py.
"""

from __future__ import annotations

import math
import unicodedata
from dataclasses import dataclass

from ownship.aeroplane.description import Tank
from ownship.errors import MissingSource
from ownship.provenance import STATUSES
from ownship.schema import Table, show


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
    """A Modification from TOML; unknown keys, wrong units, control characters and a missing source are refused by name."""
    name = _line(t, "name")
    source, status = _line(t, "source", ""), t.choice("status", STATUSES, "read")
    if not source:
        raise MissingSource(f"{t.where()}: the modification has no source; add it.")
    alters, doubt, approval = (t.table(k) or Table({}, t.name) for k in ("alters", "uncertainty", "approval"))
    heavier = alters.has("weight")
    made = Modification(
        name, _parts(t), _price(t), t.quantity("hours", "time", 0.0, low="0 h", high="2000 h"),
        f"{source}, {status}",
        Approval(_line(approval, "words", ""), _band(approval),
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
    tank = Tank(_line(t, "id"), _line(t, "name", ""), t.quantity("capacity", "volume", low="1 usgal", high="200 usgal"),
                t.quantity("unusable", "volume", low="0 usgal", high="20 usgal"), t.quantity("arm", "length"))
    if tank.unusable_m3 > tank.capacity_m3:
        raise t.bad("unusable", f"{show(tank.unusable_m3, 'usgal')} is more than the {show(tank.capacity_m3, 'usgal')} the tank "
                    "holds; correct one of the two.")
    t.done()
    return tank


def _line(t: Table, key: str, default: object = ...) -> str:
    """A text of one line, free of control characters."""
    return _plain(t, key, t.text(key, default))


def _plain(t: Table, key: str, text: str) -> str:
    if any(unicodedata.category(c) in ("Cc", "Cf", "Cs", "Zl", "Zp") for c in text):
        raise t.bad(key, f"{text!r} holds a control character or a line break; write it on one line without.")
    return text


def _parts(t: Table) -> tuple[str, ...]:
    return tuple(_plain(t, "parts", x) for x in t.texts("parts"))


def _price(t: Table) -> str:
    """The price as written: a text, or a bare number that is not negative."""
    value = t.take("price", "not known")
    if isinstance(value, str) and value.strip():
        return _plain(t, "price", value.strip())
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value < math.inf:
        raise t.bad("price", f"{value!r} should be a text with its currency, like \"500 USD\".")
    return str(value)


def _band(t: Table) -> tuple[float, float] | None:
    """The approval's band of static rpm, lowest first."""
    band: tuple[float, float] | None = t.quantities("static_rpm", "rotation", None, length=2, low="1000 rpm", high="4000 rpm")
    if band is not None and band[0] >= band[1]:
        raise t.bad("static_rpm", f"the band runs from {show(band[0], 'rpm')} to {show(band[1], 'rpm')}; write the lower figure "
                    "first.")
    return band
