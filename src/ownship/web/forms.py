"""The demo's request as form fields, and form fields as a request again."""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass
from typing import Any

from ownship.errors import BadInput
from ownship.questions import check as asking


@dataclass(frozen=True)
class Field:
    """One field: its name in the address, its label, a hint, and where its value stands in the request."""

    name: str
    label: str
    path: tuple[str | int, ...]
    hint: str = ""
    choices: tuple[str, ...] = ()


@dataclass(frozen=True)
class Group:
    """Fields that belong together under one heading."""

    title: str
    fields: tuple[Field, ...]


def _demo() -> dict[str, Any]:
    return tomllib.loads(asking.demo_flight())


def _groups(demo: dict[str, Any]) -> tuple[Group, ...]:
    """The form, laid out from the demo's own request so that every part of it can be changed."""
    flight = (Field("from", "From", ("from",), "ident or lat,lon"), Field("to", "To", ("to",), "ident or lat,lon"),
              Field("via", "Via", ("via",), "idents, with blanks between"),
              Field("alternates", "Alternates", ("alternates",), "idents, with blanks between"),
              Field("departure", "Leaving the blocks", ("departure",), "2026-07-11T15:00-06:00"),
              Field("rules", "Flight rules", ("rules",), choices=("VFR", "IFR")),
              Field("cruise_altitude", "Cruise altitude", ("cruise_altitude",), "9500 ft"),
              Field("power", "Power", ("power",), "2450 rpm or 65 %"),
              Field("mixture", "Mixture in cruise", ("mixture",), choices=("lean", "rich")))
    loads = tuple(Field(f"load{i}", f"{load['what'].capitalize()} ({load['station']})", ("loads", i, "weight"),
                        "180 lb; 0 lb = stays here") for i, load in enumerate(demo.get("loads", [])))
    amounts = (("on_board", "on board (usable)", "20 usgal, full or a mark"), ("add", "to add", "5 usgal"))
    fuel = tuple(Field(f"fuel_{tank}_{key}", f"{tank.capitalize()} tank, {words}", ("fuel", tank, key), hint)
                 for tank in demo.get("fuel", {}) for key, words, hint in amounts)
    weather = tuple(Field(f"weather_{place}_{key}", f"{place}, {words}", ("weather", place, key), hint)
                    for place in demo.get("weather", {})
                    for key, words, hint in (("wind", "wind (true)", "110/08G14"), ("temperature", "temperature", "31 C"),
                                             ("altimeter", "altimeter", "30.02 inHg"))
                    if "use" not in demo["weather"][place] and "metar" not in demo["weather"][place])
    return (Group("Flight", flight), Group("Load", loads), Group("Fuel", fuel), Group("Weather", weather))


GROUPS = _groups(_demo())


def fields(query: dict[str, str]) -> dict[str, str]:
    """Every field's text: from the address where it is there, else the demo's own. Unknown names are refused."""
    known = {f.name for group in GROUPS for f in group.fields}
    demo = _demo()
    values = {f.name: _text(_get(demo, f.path)) for group in GROUPS for f in group.fields}
    for name, value in query.items():
        if name in known:
            values[name] = value.strip()
    return values


def to_toml(values: dict[str, str]) -> str:
    """The demo's request with the fields put in, as the TOML text that `check` reads."""
    request = _demo()
    for group in GROUPS:
        for f in group.fields:
            text = values[f.name]
            if f.choices and text not in f.choices:
                raise BadInput(f"{f.label}: {text!r} is not one of: {', '.join(f.choices)}.")
            _put(request, f.path, text.split() if f.name in ("via", "alternates") else text)
    return write_toml(request)


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, list):
        return " ".join(str(v) for v in value)
    return value.isoformat() if hasattr(value, "isoformat") else str(value)


def _get(data: Any, path: tuple[str | int, ...]) -> Any:
    for key in path:
        if isinstance(key, str) and key not in data:
            return None
        data = data[key]
    return data


def _put(data: Any, path: tuple[str | int, ...], value: Any) -> None:
    for key in path[:-1]:
        data = data[key]
    last = path[-1]
    if not value:
        if isinstance(data, dict):
            data.pop(last, None)
        return
    data[last] = value


def write_toml(data: dict[str, Any], prefix: str = "") -> str:
    """A TOML text of nested plain values (texts, numbers, flags, lists, tables, arrays of tables)."""
    lines, below = [], []
    for key, value in data.items():
        name = json.dumps(key)
        if isinstance(value, dict):
            below.append(f"\n[{prefix}{name}]\n{write_toml(value, f'{prefix}{name}.')}")
        elif isinstance(value, list) and value and all(isinstance(v, dict) for v in value):
            below += [f"\n[[{prefix}{name}]]\n{write_toml(v, f'{prefix}{name}.')}" for v in value]
        else:
            lines.append(f"{name} = {_value(value)}\n")
    return "".join(lines + below)


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {_value(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    if hasattr(value, "isoformat"):
        return json.dumps(value.isoformat())
    return json.dumps(value)
