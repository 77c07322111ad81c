"""Figures in the units a person chose, mixed as people mix them: weights of people in one, of the aeroplane in another.

A choice changes what stands on a page, never what is worked out, typed or given as data.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import lru_cache
from typing import Any, TypeVar

from fastapi import Request

from ownship.units import from_si, to_si
from ownship.words.figures import Figure, number_text

COOKIE = "ownship-units"
Units = Mapping[str, str]  # kind of figure -> unit; a kind that is absent stays as the answer has it
Value = TypeVar("Value")


@dataclass(frozen=True)
class Kind:
    """A kind of figure: its name, its words, the dimension, the unit answers come in, and the units there are to choose from."""

    name: str
    words: str
    dimension: str
    usual: str
    choices: tuple[str, ...]


KINDS = (
    Kind("people", "Weight of people and baggage", "mass", "lb", ("lb", "kg")),
    Kind("aeroplane", "Weight of the aeroplane", "mass", "lb", ("lb", "kg")),
    Kind("fuel", "Fuel", "volume", "usgal", ("usgal", "l")),
    Kind("distance", "Distance flown", "length", "nm", ("nm", "km", "sm")),
    Kind("runway", "Runway lengths", "length", "ft", ("ft", "m")),
    Kind("height", "Heights and altitudes", "length", "ft", ("ft", "m")),
    Kind("speed", "Speed", "speed", "kt", ("kt", "mph", "km/h")),
    Kind("temperature", "Temperature", "temperature", "C", ("C", "F")),
    Kind("pressure", "Altimeter setting", "pressure", "inHg", ("inHg", "hPa")),
)
BY_NAME = {k.name: k for k in KINDS}
BY_UNIT = {"lb": "aeroplane", "usgal": "fuel", "nm": "distance", "ft": "height", "kt": "speed", "C": "temperature",
           "inHg": "pressure"}
WORDS = {"usgal": "US gallons", "l": "litres", "lb": "pounds", "kg": "kilograms", "nm": "nautical miles", "km": "kilometres",
         "sm": "statute miles", "ft": "feet", "m": "metres", "kt": "knots", "mph": "statute miles an hour",
         "km/h": "kilometres an hour", "C": "degrees Celsius", "F": "degrees Fahrenheit", "inHg": "inches of mercury",
         "hPa": "hectopascals"}
PEOPLE = re.compile(r"margins\.(station|group|seats)\.|more\.payload")
RUNWAY = re.compile(r"margins\.runway\.|runways\.|cards\.take_off\.(?!first_minute_climb)")
HINT = re.compile(r"(?<![\w.])(\d[\d.]*) (lb|usgal|ft|C|inHg|kt)\b")


class Shown(Figure):
    """A figure in the unit it is to be shown in; it is not converted again."""


def units_of(request: Request) -> Units:
    """The units this browser's person chose; empty: as the answers have them."""
    return read(request.cookies.get(COOKIE, ""))


@lru_cache(maxsize=64)
def read(text: str) -> Units:
    """A cookie's text, "people-kg.fuel-l", as units; what is no choice is left out."""
    pairs = (part.partition("-")[::2] for part in text[:400].split("."))
    return {k: u for k, u in pairs if k in BY_NAME and u in BY_NAME[k].choices and u != BY_NAME[k].usual}


def written(units: Units) -> str:
    """Units as a cookie's text."""
    return ".".join(f"{k.name}-{units[k.name]}" for k in KINDS if units.get(k.name, k.usual) != k.usual)


def shown(figure: Figure, units: Units, kind: str = "") -> Figure:
    """A figure in the unit chosen for its kind; kind "": as its unit tells. What has no kind, or was converted, stays as it is."""
    name = kind or BY_UNIT.get(figure.unit, "")
    unit = units.get(name, "")
    if not unit or isinstance(figure, Shown) or figure.unit != BY_NAME[name].usual:
        return figure
    dimension = BY_NAME[name].dimension

    def convert(x: float) -> float:
        return float(from_si(to_si(x, figure.unit, dimension), unit, dimension))

    return Shown(convert(figure.value), unit, *(None if x is None else convert(x) for x in (figure.low, figure.high)))


def in_units(value: Value, units: Units, where: str = "") -> Value:
    """A frozen value (an assessment, levels, leaving times) with every figure in it as a person wants it; else itself."""
    return value if not units else _walked(value, units, where)


def _walked(value: Any, units: Units, where: str) -> Any:
    if isinstance(value, Figure):
        return _placed(shown(value, units, _kind(value.unit, where)))
    if isinstance(value, tuple) and not hasattr(value, "_fields"):
        return tuple(_walked(v, units, f"{where}{getattr(v, 'id', '')}.") for v in value)
    if isinstance(value, dict):
        return {k: _walked(v, units, f"{where}{k}.") for k, v in value.items()}
    if is_dataclass(value) and not isinstance(value, type):
        old = {f.name: getattr(value, f.name) for f in fields(value) if f.init}
        new = {k: _walked(v, units, f"{where}{k}.") for k, v in old.items()}
        return replace(value, **{k: v for k, v in new.items() if v is not old[k]})
    return value


def _placed(figure: Figure) -> Figure:
    """The same figure, marked: its kind was known by where it stands, and it is not judged again by its unit alone."""
    return figure if isinstance(figure, Shown) else Shown(figure.value, figure.unit, figure.low, figure.high)


def _kind(unit: str, where: str) -> str:
    if unit == "lb" and PEOPLE.match(where):
        return "people"
    if unit == "ft" and RUNWAY.match(where):
        return "runway"
    return BY_UNIT.get(unit, "")


def hint(text: str, units: Units, name: str = "") -> str:
    """A field's example in the units chosen, rounded as an example is; name: of the field."""
    if not units:
        return text

    def one(found: re.Match[str]) -> str:
        kind = "people" if name.startswith("load") else BY_UNIT[found[2]]
        figure = shown(Figure(float(found[1]), found[2]), units, kind)
        return found[0] if figure.unit == found[2] else f"{number_text(_rounded(figure.value), 0).replace(',', '')} {figure.unit}"

    return HINT.sub(one, text)


def _rounded(value: float) -> float:
    """To three figures at most above a thousand, to a whole number below."""
    return round(value, -2 if abs(value) >= 1200 else 0)
