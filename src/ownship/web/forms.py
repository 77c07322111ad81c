"""The request as form fields, and form fields as a request again (docs/methods/screens.md).

A form stands on a base request: the demo's, or an empty one for an aeroplane of the record. The address holds what is
filled in; a name that is absent keeps the base's value, a name that is there and empty takes the value out.
"""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from ownship.aeroplane.description import AirframeRecord
from ownship.errors import BadInput
from ownship.flight.request import KNOWN_BY, SURFACE_STATES

Path = tuple[str | int, ...]
VIEW = ("aeroplane", "theme", "remedies", "levels", "when", "before")  # of the page, not of the flight
PLACE = re.compile(r"[A-Z0-9-]{2,8}|-?[0-9.]{1,10},-?[0-9.]{1,10}")
BARE = re.compile(r"[A-Za-z0-9_-]+")
MOST_LOADS, MOST_PLACES = 16, 12
LISTS = {"via": " ", "alternates": " ", "ground": ", "}
MAY = {"": (False, False), "stay": (True, False), "move": (False, True), "stay or move": (True, True)}
WEATHER = (("metar", "METAR", "KBOI 112053Z 31009KT 10SM CLR 34/06 A3002"), ("wind", "wind (true)", "110/08G14 or calm"),
           ("temperature", "temperature", "31 C"), ("dew_point", "dew point", "6 C"), ("altimeter", "altimeter", "30.02 inHg"),
           ("visibility", "visibility", "10 sm"), ("ceiling", "ceiling", "9000 ft; empty: not known"),
           ("use", "or take it from", "ident of a place near"))
LEVEL = re.compile(r"([0-9.,]+ *(?:ft|m)) +(calm|[0-9]{3}/[0-9A-Za-z]+)(?: +(.+))?")


@dataclass(frozen=True)
class Field:
    """One field: its name in the address, label, hint, choices; where its value stands in the request; kind of input; places:
    "one" or "many" aerodromes are wanted."""

    name: str
    label: str
    path: Path = ()
    hint: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    kind: str = "text"
    places: str = ""


@dataclass(frozen=True)
class Group:
    """Fields that belong together under one heading; `open`: shown at once."""

    title: str
    fields: tuple[Field, ...]
    open: bool = False
    note: str = ""


@dataclass(frozen=True)
class Form:
    """A base request, what the address says, and the aeroplane whose stations and tanks the fields are about."""

    base: dict[str, Any]
    query: dict[str, str]
    record: AirframeRecord

    def text(self, name: str) -> str:
        """What a field holds: the address's text, else the base's."""
        if name in self.query:
            return self.query[name].strip()
        f = self.by_name.get(name)
        return self.base_text(f) if f else ""

    def base_text(self, f: Field) -> str:
        """What a field holds in the base request."""
        if f.name.endswith("_may"):
            load = _get(self.base, f.path[:-1]) or {}
            return next(k for k, v in MAY.items() if v == (bool(load.get("can_stay")), bool(load.get("can_move"))))
        value = _get(self.base, f.path) if f.path else None
        if f.name == "aloft":
            return "; ".join(" ".join(x for x in (level, v["wind"], v.get("temperature", "")) if x)
                             for level, v in (value or {}).items() if isinstance(v, dict))
        if isinstance(value, list):
            return LISTS.get(f.name, " ").join(str(v) for v in value)
        return "" if value is None or isinstance(value, bool) else str(value)

    @cached_property
    def by_name(self) -> dict[str, Field]:
        """Every field by its name."""
        return {f.name: f for group in self.groups for f in group.fields}

    @cached_property
    def groups(self) -> tuple[Group, ...]:
        """The form, laid out."""
        return (_flight(), self._loads(), self._fuel(), *self._weather(), self._runways())

    def _loads(self) -> Group:
        stations = (("", "choose"), *((s.id, s.name or s.id) for s in self.record.stations))
        may = tuple((k, k or "neither stay nor move") for k in MAY)
        found: list[Field] = []
        for i in range(self.rows):
            what = self._typed(f"load{i}_what", ("loads", i, "what")) or f"load {i + 1}"
            at, name = ("loads", i), f"load{i}"
            found += [Field(f"{name}_what", f"Load {i + 1}: who or what", (*at, "what"), kind="first"),
                      Field(name, f"{what}: weight", (*at, "weight"), "180 lb"),
                      Field(f"{name}_station", f"{what}: station", (*at, "station"), choices=stations),
                      Field(f"{name}_may", f"{what}: may", (*at, "may"), choices=may),
                      Field(f"{name}_out", f"{what}: leave behind", kind="tick")]
        return Group("Load", tuple(found), open=True)

    @cached_property
    def rows(self) -> int:
        """How many loads the form shows: those there are, and an empty one."""
        typed = [int(m[1]) + 1 for k, v in self.query.items() if v.strip() and (m := re.fullmatch(r"load(\d{1,2})(?:_what)?", k))]
        return min(max(len(self.base.get("loads", [])), *typed, 0) + 1, MOST_LOADS)

    def _fuel(self) -> Group:
        found: list[Field] = []
        known = (("", "not said"), *((k, k) for k in KNOWN_BY))
        for t in self.record.tanks:
            name = t.name or f"{t.id} tank"
            marks = "".join(f", {m.name}" for m in t.marks)
            found += [Field(f"fuel_{t.id}_on_board", f"{name}: usable on board", ("fuel", t.id, "on_board"),
                            f"20 usgal, full{marks}", kind="first"),
                      Field(f"fuel_{t.id}_known_by", f"{name}: known by", ("fuel", t.id, "known_by"), choices=known),
                      Field(f"fuel_{t.id}_add", f"{name}: to add", ("fuel", t.id, "add"), "5 usgal")]
        note = "Usable fuel; a dipstick and \"full\" read total. Gauges are not trusted."
        return Group("Fuel", tuple(found), open=True, note=note)

    def _weather(self) -> tuple[Group, ...]:
        found = []
        for place in self.places:
            fields = tuple(Field(f"weather_{place}_{key}", f"{place}: {label}", ("weather", place, key), hint,
                                 kind="wide" if key == "metar" else "text")
                           for key, label, hint in WEATHER)
            found.append(Group(f"Weather at {place}", fields, note="" if any(self._typed(f.name, f.path) for f in fields) else
                               "Nothing is entered: its weather is not known."))
        aloft = Field("aloft", "Winds aloft (true), by level", ("aloft",), "6000 ft 290/08 24 C; 9000 ft 280/14 16 C", kind="wide")
        return (*found, Group("Winds aloft", (aloft,)))

    @cached_property
    def places(self) -> tuple[str, ...]:
        """Places with weather fields: the route's ends, its alternates, and those that have weather already."""
        named = [self._typed(k, (k,)) for k in ("from", "to")] + self._typed("alternates", ("alternates",)).split()
        typed = [m[1] for k, v in self.query.items() if v.strip() and (m := re.fullmatch(r"weather_([^_]+)_[a-z_]+", k))]
        every = (p.strip().upper() for p in (*named, *self.base.get("weather", {}), *typed))
        return tuple(dict.fromkeys(p for p in every if PLACE.fullmatch(p)))[:MOST_PLACES]

    def _runways(self) -> Group:
        found: list[Field] = []
        states = (("", "as the data say, dry"), *((s, s) for s in SURFACE_STATES))
        for place in dict.fromkeys(self._typed(k, (k,)).upper() for k in ("from", "to")):
            if PLACE.fullmatch(place):
                found += [Field(f"runway_{place}_end", f"{place}: runway end", ("runway", place, "end"), "best, or 10R"),
                          Field(f"runway_{place}_surface", f"{place}: surface today", ("runway", place, "surface_state"),
                                choices=states)]
        own = (Field("own_landing_fuel", "Own minimum: fuel at landing", ("own", "landing_fuel"), "60 min"),
               Field("own_crosswind", "Own minimum: crosswind", ("own", "crosswind"), "12 kt"))
        return Group("Runways and own minima", (*found, *own))

    def _typed(self, name: str, path: Path) -> str:
        value = self.query[name].strip() if name in self.query else _get(self.base, path)
        return " ".join(value) if isinstance(value, list) else "" if value is None else str(value)


def _flight() -> Group:
    return Group("Flight", (
        Field("from", "From", ("from",), "ident or lat,lon", places="one"),
        Field("to", "To", ("to",), "ident or lat,lon", places="one"),
        Field("via", "Via", ("via",), "idents, blanks between", places="many"),
        Field("alternates", "Alternates", ("alternates",), "idents, blanks between", places="many"),
        Field("departure", "Leaving the blocks", ("departure",), "2026-07-11T15:00-06:00", kind="wide"),
        Field("leave_again", "Leaving the destination again", ("leave_again",), "empty: one hour after arrival", kind="wide"),
        Field("rules", "Flight rules", ("rules",), choices=(("VFR", "VFR"), ("IFR", "IFR"))),
        Field("cruise_altitude", "Cruise altitude", ("cruise_altitude",), "9500 ft"),
        Field("power", "Power", ("power",), "2450 rpm or 65 %"),
        Field("mixture", "Mixture in cruise", ("mixture",), choices=(("lean", "lean"), ("rich", "rich"))),
        Field("ground", "Highest ground by leg", ("ground", "highest"), "8200 ft, 8900 ft", kind="wide"),
        Field("planned_departure", "Planned departure", ("planned_departure",), kind="hidden"),
        Field("planned_leave_again", "Planned leaving again", ("planned_leave_again",), kind="hidden")), open=True)


def form_of(query: Mapping[str, str], base: dict[str, Any], record: AirframeRecord) -> Form:
    """The form of an address; BadInput for a name that is no field of it."""
    form = Form(base, {k: v for k, v in query.items() if k not in VIEW}, record)
    for name in form.query:
        if name not in form.by_name and not re.fullmatch(r"(load\d{1,2}|weather_[^_]+|runway_[^_]+)(_[a-z_]+)?", name):
            raise BadInput(f"{name[:60]!r} in the address is no field of this page; take it out, or begin again from the form.")
    return form


def to_request(form: Form) -> tuple[dict[str, Any], tuple[int, ...]]:
    """The request as plain values, and for each of its loads the row of the form; BadInput for a choice there is not."""
    request = copy.deepcopy(form.base)
    loads, rows = [], []
    for f in form.by_name.values():
        text = form.text(f.name)
        if f.choices and text not in [value for value, _ in f.choices]:
            raise BadInput(f"{f.label}: {text[:60]!r} is not one of: {', '.join(v or n for v, n in f.choices)}.")
        if f.path and f.path[0] != "loads" and f.name in form.query:
            _put(request, f.path, _value(f.name, text))
    for i in range(form.rows):
        load = _load(form, i)
        if load is not None:
            loads.append(load)
            rows.append(i)
    request["loads"] = loads
    return _emptied(request), tuple(rows)


def _load(form: Form, i: int) -> dict[str, Any] | None:
    """One load; None where the row is empty or left behind."""
    name = f"load{i}"
    what, weight = form.text(f"{name}_what"), form.text(name)
    if not (what or weight) or form.text(f"{name}_out") not in ("", "0"):
        return None
    base = form.base.get("loads", [])
    load = dict(base[i]) if i < len(base) else {}
    if not weight:
        raise BadInput(f"{what or name}: no weight is given; write one with its unit, such as 180 lb, or leave it behind.")
    load |= {"what": what or "load", "weight": weight, "station": form.text(f"{name}_station")}
    if not load["station"]:
        raise BadInput(f"{load['what']}: no station is chosen; choose where it sits or lies.")
    stay, move = MAY[form.text(f"{name}_may")]
    for key, on in (("can_stay", stay), ("can_move", move)):
        load.pop(key, None)
        if on:
            load[key] = True
    return load


def _value(name: str, text: str) -> Any:
    """A field's text as the request holds it."""
    if name in ("via", "alternates"):
        return text.split()
    if name == "ground":
        return [x.strip() for x in text.split(",") if x.strip()]
    return _aloft(text) if name == "aloft" else text


def _aloft(text: str) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for part in (x.strip() for x in text.split(";") if x.strip()):
        m = LEVEL.fullmatch(part)
        if m is None:
            raise BadInput(f"Winds aloft: {part[:60]!r} should be a level, a wind and a temperature, as 9000 ft 280/14 16 C; put ; "
                           "between levels.")
        found[m[1]] = {"wind": m[2]} | ({"temperature": m[3]} if m[3] else {})
    return found


def _get(data: Any, path: Path) -> Any:
    for key in path:
        if isinstance(key, int):
            if not isinstance(data, list) or key >= len(data):
                return None
        elif not isinstance(data, dict) or key not in data:
            return None
        data = data[key]
    return data


def _put(data: Any, path: Path, value: Any) -> None:
    for key in path[:-1]:
        data = data.setdefault(key, {})
    if value:
        data[path[-1]] = value
    else:
        data.pop(path[-1], None)


def _emptied(data: dict[str, Any]) -> dict[str, Any]:
    """Tables of a place, tank or runway in which nothing is left are taken out."""
    for name in ("weather", "fuel", "runway"):
        kept = {k: v for k, v in data.get(name, {}).items() if v}
        data.pop(name, None)
        if kept:
            data[name] = kept
    for name in ("own", "ground", "aloft"):
        if not data.get(name, True):
            del data[name]
    return data


def changed(form: Form, edits: Mapping[str, str] | None = None) -> dict[str, str]:
    """What the address must hold: every field whose text is not the base's, after edits."""
    texts = {**form.query, **(edits or {})}
    return {k: v.strip() for k, v in texts.items() if not _as_base(form, k, v.strip())}


def _as_base(form: Form, name: str, text: str) -> bool:
    f = form.by_name.get(name)
    return not text if f is None else text == form.base_text(f)


def blank(record: AirframeRecord) -> dict[str, Any]:
    """An empty request for an aeroplane of the record."""
    return {"rules": "VFR", "mixture": "lean", "category": record.identity.category or "normal"}


def write_toml(data: dict[str, Any], prefix: str = "") -> str:
    """A TOML text of nested plain values (texts, numbers, flags, lists, tables, arrays of tables)."""
    lines, below = [], []
    for key, value in data.items():
        name = key if BARE.fullmatch(key) else _text(key)
        if isinstance(value, dict):
            below.append(f"\n[{prefix}{name}]\n{write_toml(value, f'{prefix}{name}.')}")
        elif isinstance(value, list) and value and all(isinstance(v, dict) for v in value):
            below += [f"\n[[{prefix}{name}]]\n{write_toml(v, f'{prefix}{name}.')}" for v in value]
        elif value is not None:
            lines.append(f"{name} = {_toml(value)}\n")
    return "".join(lines + below)


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_text(k)} = {_toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(v) for v in value) + "]"
    if isinstance(value, str) or hasattr(value, "isoformat"):
        return _text(value if isinstance(value, str) else value.isoformat())
    return json.dumps(value)


def _text(value: str) -> str:
    """A TOML basic string: JSON's escapes, any letter as it is, and the one control character that JSON leaves."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
