"""The only home of conversion factors: a small table of tokens, text <-> SI.

`parse("105 kt", "speed")` gives 54.02 (m/s); `from_si(54.02, "kt")` gives 105.0.
Every other module works in SI and names its fields by their unit. Sources of the factors:
the international foot, pound and nautical mile (1959, exact), the US gallon of 231 in3 (exact),
standard gravity 9.80665 m/s2 (exact), inch of mercury at 0 C (3386.389 Pa), hp = 550 ft lbf/s.
"""

from __future__ import annotations

import math
import re
from typing import Any

from ownship.errors import UnitError

GRAVITY_M_S2 = 9.80665
_FT, _IN, _NM, _LB = 0.3048, 0.0254, 1852.0, 0.45359237
_GAL = 231 * _IN**3
_HP = 550 * _FT * _LB * GRAVITY_M_S2

# dimension -> token -> (factor, offset): SI = value * factor + offset. The first token is the SI one.
TABLE: dict[str, dict[str, tuple[float, float]]] = {
    "length": {"m": (1, 0), "ft": (_FT, 0), "km": (1000, 0), "nm": (_NM, 0), "in": (_IN, 0),
               "cm": (0.01, 0), "mm": (0.001, 0), "sm": (5280 * _FT, 0)},
    "speed": {"m/s": (1, 0), "kt": (_NM / 3600, 0), "mph": (5280 * _FT / 3600, 0), "km/h": (1 / 3.6, 0),
              "ft/min": (_FT / 60, 0)},
    "mass": {"kg": (1, 0), "lb": (_LB, 0)},
    "volume": {"m3": (1, 0), "usgal": (_GAL, 0), "l": (0.001, 0), "qt": (_GAL / 4, 0)},
    "temperature": {"K": (1, 0), "C": (1, 273.15), "F": (5 / 9, 273.15 - 160 / 9)},
    "temperature difference": {"K": (1, 0), "C": (1, 0), "F": (5 / 9, 0)},
    "pressure": {"Pa": (1, 0), "hPa": (100, 0), "inHg": (3386.389, 0)},
    "time": {"s": (1, 0), "min": (60, 0), "h": (3600, 0), "d": (86400, 0)},
    "angle": {"deg": (1, 0)},
    "power": {"W": (1, 0), "hp": (_HP, 0), "kW": (1000, 0)},
    "area": {"m2": (1, 0), "ft2": (_FT**2, 0)},
    "rotation": {"rev/s": (1, 0), "rpm": (1 / 60, 0)},
    "density": {"kg/m3": (1, 0), "lb/usgal": (_LB / _GAL, 0), "kg/l": (1000, 0)},
    "volume flow": {"m3/s": (1, 0), "usgal/h": (_GAL / 3600, 0), "l/h": (0.001 / 3600, 0)},
    "mass flow": {"kg/s": (1, 0), "lb/h": (_LB / 3600, 0), "kg/h": (1 / 3600, 0)},
    "specific fuel consumption": {"kg/J": (1, 0), "lb/hp/h": (_LB / _HP / 3600, 0)},
    "gradient": {"1": (1, 0), "%": (0.01, 0), "ft/nm": (_FT / _NM, 0)},
    "ratio": {"1": (1, 0), "%": (0.01, 0)},
    "current": {"A": (1, 0)},
    "charge": {"As": (1, 0), "Ah": (3600, 0)},
    "moment": {"kg m": (1, 0), "lb in": (_LB * _IN, 0)},
    "field": {"nT": (1, 0)},
    "compression": {"1": (1, 0)},
    "acceleration": {"m/s2": (1, 0), "g": (GRAVITY_M_S2, 0)},
}

_UNIT_DIMENSIONS: dict[str, list[str]] = {}
for _dimension, _tokens in TABLE.items():
    for _token in _tokens:
        _UNIT_DIMENSIONS.setdefault(_token, []).append(_dimension)

_NUMBER = re.compile(r"^\s*([+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*$")
_CLOCK = re.compile(r"^\s*(\d+)\s*h\s*(\d{1,2})\s*(?:m|min)?\s*$")


def _factor(unit: str, dimension: str | None) -> tuple[float, float]:
    """Factor and offset of a token; the dimension is only needed where tokens repeat (C, K, F, 1, %)."""
    names = [dimension] if dimension else _UNIT_DIMENSIONS.get(unit, [])
    if not names or unit not in TABLE[names[0]]:
        raise UnitError(f"{unit!r} is not a unit of {dimension or 'any kind known here'}.")
    return TABLE[names[0]][unit]


def to_si(value: Any, unit: str, dimension: str | None = None) -> Any:
    """SI value of `value` (number or array) given in `unit`: value * factor + offset."""
    factor, offset = _factor(unit, dimension)
    return value * factor + offset


def from_si(value: Any, unit: str, dimension: str | None = None) -> Any:
    """Value in `unit` of an SI number or array: (value - offset) / factor."""
    factor, offset = _factor(unit, dimension)
    return (value - offset) / factor


def parse(text: object, dimension: str, field: str = "the value") -> float:
    """Read one quantity written with its unit ("105 kt", "70F", "4h20m") into SI.

    Tokens are matched without regard to case inside their own dimension. Raises UnitError with one
    sentence when the number, the unit or its kind is wrong; nan and inf are refused.
    """
    allowed, named = " ".join(TABLE[dimension]), f"{'an' if dimension[0] in 'aeiou' else 'a'} {dimension}"
    if not isinstance(text, str):
        raise UnitError(f"{field}: {text!r} has no unit; write {named} in one of: {allowed}.")
    if dimension == "time" and (clock := _CLOCK.match(text)):
        return int(clock[1]) * 3600.0 + int(clock[2]) * 60.0
    match = _NUMBER.match(text)
    if not match:
        raise UnitError(f"{field}: {text!r} is not a number with a unit; "
                        f"write {named} in one of: {allowed}.")
    number, unit = float(match[1]), match[2]
    if not math.isfinite(number):
        raise UnitError(f"{field}: {text!r} is not a finite number.")
    if not unit:
        raise UnitError(f"{field}: {text!r} has no unit; write {named} in one of: {allowed}.")
    for token, (factor, offset) in TABLE[dimension].items():
        if token.lower() == unit.lower():
            return number * factor + offset
    raise UnitError(f"{field}: {text!r} is not a {dimension}; write it in one of: {allowed}.")
