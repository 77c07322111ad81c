"""A flight as a row of texts and back: the columns of the log (docs/formats/log.md), exact both ways.

What the log writes, in UTC and SI, reads back to the same flight. What others wrote reads where it has one meaning only: a
time needs its zone, a date of two small numbers its order, a comma in a number three digits or a decision.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import fields
from datetime import UTC, datetime, timedelta
from typing import Any

from ownship.errors import BadInput
from ownship.ownership.cell_times import MOMENTS, NOWHERE, Meaning, Places, duration_s, moments, number, whole
from ownship.ownership.entries import KNOWN_BY, ROLES, Approach, Flight, TankContents
from ownship.ownership.flights import LONGEST_S
from ownship.units import parse
from ownship.words.readable import refuse_hidden

HOURS = ("tachometer_from_h", "tachometer_to_h", "hour_meter_from_h", "hour_meter_to_h")
WHOLE = ("landings_day", "landings_night", "take_offs_day", "take_offs_night", "full_stop_night", "passengers", "holds")
TEXTS = ("pilot", "role", "rules", "aeroplane_class", "remarks")
DURATIONS = {"night": "night_s", "instrument": "instrument_s", "simulated": "simulated_s"}
COLUMNS = ("aeroplane", *(f.name for f in fields(Flight)))
NIGHT = {"landings_night": "landings by night", "take_offs_night": "take-offs by night", "full_stop_night": "full stops by night",
         "night_s": "night time"}
LOOK_S = parse("20 min", "time")
READ_ONLY = ("date", "flight_time", "landings", "cross_country", *DURATIONS)  # for logs of others: never written
FIELDS = (*COLUMNS, *READ_ONLY)
_CONTENTS = re.compile(rf"(.+?)\s*=\s*(.+?)\s+({'|'.join(KNOWN_BY)})")


# ---- writing


def cells_of(aeroplane: str, f: Flight) -> list[str]:
    """The row of a flight in the order of COLUMNS: moments UTC, SI, "" where not noted."""
    return [aeroplane, *(_cell(name, getattr(f, name)) for name in COLUMNS[1:])]


def _cell(name: str, value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, bool):
        return "true" if value else "false"
    if not isinstance(value, tuple):
        return str(value) if isinstance(value, str | int) else repr(float(value))
    return _list_cell(name, value)


def _list_cell(name: str, value: tuple[Any, ...]) -> str:
    """A list as a pilot writes it where that reads back the same, else as JSON."""
    readable = "; ".join(_part(name, v) for v in value)
    try:
        if _list(name, readable) == value:
            return readable
    except (BadInput, ValueError):
        pass
    return json.dumps([list(vars(v).values()) if isinstance(v, Approach | TankContents) else v for v in value], ensure_ascii=False)


def _part(name: str, value: Any) -> str:
    if isinstance(value, Approach):
        return f"{value.kind}@{value.place} {value.how}"
    if isinstance(value, TankContents):
        return f"{value.tank}={value.usable_m3!r} m3 {value.known_by}"
    return f"{value[0]}={value[1]!r}" if name == "phases_s" else str(value)


# ---- reading


def flight_of(cells: Mapping[str, str], meaning: Meaning, places: Places = NOWHERE) -> tuple[str, Flight, tuple[str, ...]]:
    """(aeroplane, flight, what is to be told) of one row by field names; empty cells are left out. ValueError or BadInput
    with the rest of a sentence.

    landings: all in one count, split by day and night of the destination at take-off and landing; night: worked out from the
    places where it is not given; night that is typed is refused where the sun makes none between the blocks.
    """
    for name, text in cells.items():
        refuse_hidden(text, name)
    given = {k: v for k, v in cells.items() if v.strip()}
    for name in ("origin", "destination"):
        if name not in given:
            raise BadInput(f"{name} is missing; add it.")
    found: dict[str, Any] = moments(given, meaning, places)
    for name, text in given.items():
        if name not in (*MOMENTS, "aeroplane", "date", "flight_time", "landings"):
            field, value = _field(name, text)
            if field in found:
                raise BadInput(f"{field} is given twice; give it once.")
            found[field] = value
    typed = tuple(words for name, words in NIGHT.items() if found.get(name))
    told = _landings(given, found, places) + _night(found, places) + _night_typed(typed, found, places)
    return given.get("aeroplane", "").strip(), Flight(**found), told


def _field(name: str, text: str) -> tuple[str, Any]:
    """(field, value) of a cell that means the same whatever the others say."""
    if name in ("origin", "destination"):
        return name, text.strip().upper()
    if name in TEXTS:
        return name, _word(name, text)
    if name in HOURS or name in ("night_s", "instrument_s", "simulated_s", "cross_country_m"):
        return name, number(text, name)
    if name in WHOLE:
        return name, whole(text, name)
    if name in DURATIONS:
        return DURATIONS[name], duration_s(text, name)
    if name == "cross_country":
        return "cross_country_m", parse(text, "length", name)
    if name == "tracked":
        return name, _flag(text)
    return name, _list(name, text)


def _word(name: str, text: str) -> str:
    if name == "role":
        found = next((r for r in ROLES if r.lower() == text.strip().lower()), None)
        if found is None:
            raise BadInput(f"role {text!r} is not one of: {', '.join(ROLES)}.")
        return found
    if name == "rules":
        if text.strip().upper() not in ("VFR", "IFR"):
            raise BadInput(f"rules {text!r} should be VFR or IFR.")
        return text.strip().upper()
    return text


def _flag(text: str) -> bool:
    if text.strip().lower() not in ("true", "false", "yes", "no"):
        raise BadInput(f"tracked {text!r} should be true or false.")
    return text.strip().lower() in ("true", "yes")


def _list(name: str, text: str) -> tuple[Any, ...]:
    """A list cell: JSON, or parts between semicolons (via: spaces too)."""
    if text.startswith("["):
        return tuple(_from_json(name, x) for x in _json(name, text))
    parts = re.split(r"[;,\s]+" if name == "via" else r";\s*", text.strip())
    return tuple(_read_part(name, p.strip()) for p in parts if p.strip())


def _json(name: str, text: str) -> list[Any]:
    try:
        found = json.loads(text)
    except (ValueError, RecursionError):
        raise BadInput(f"{name} {text[:40]!r} is neither a list of parts with semicolons nor JSON; correct it.") from None
    return found if isinstance(found, list) else [found]


def _from_json(name: str, value: Any) -> Any:
    try:
        if name == "approaches":
            return Approach(*(str(v) for v in value))
        if name in ("fuel_before", "fuel_after"):
            return TankContents(str(value[0]), float(value[1]), str(value[2]))
        return (str(value[0]), float(value[1])) if name == "phases_s" else str(value)
    except (TypeError, ValueError, IndexError, KeyError):
        raise BadInput(f"{name}: {str(value)[:40]!r} is not a part of this list; correct it.") from None


def _read_part(name: str, part: str) -> Any:
    if name == "approaches":
        match = re.fullmatch(r"(.+?)@(\S+)(?:\s+(.+))?", part)
        if not match:
            raise BadInput(f"approach {part!r} is not readable; write \"ILS@KBOI actual\".")
        return Approach(match[1].strip(), match[2], match[3] or "actual")
    if name in ("fuel_before", "fuel_after"):
        match = _CONTENTS.fullmatch(part)
        if not match:
            raise BadInput(f"{name} {part!r} is not readable; write \"left=20 usgal dipstick\" (known by: {', '.join(KNOWN_BY)}).")
        return TankContents(match[1], parse(match[2], "volume", name), match[3])
    if name == "phases_s":
        phase, equals, seconds = part.rpartition("=")
        if not equals:
            raise BadInput(f"{name} {part!r} is not readable; write \"climb=600\".")
        return phase.strip(), number(seconds, name)
    return part.upper() if name == "via" else part


# ---- what follows from the place


def _landings(given: Mapping[str, str], found: dict[str, Any], places: Places) -> tuple[str, ...]:
    """One count of landings split by the place's night at landing and, for several, at take-off too."""
    if "landings" not in given:
        return ()
    if "landings_day" in found or "landings_night" in found:
        raise BadInput("landings is given beside landings_day or landings_night; give one count, or both apart.")
    count, place = whole(given["landings"], "landings"), found["destination"]
    moments = [found.get("landing") or found["on_blocks"]]
    if count > 1:
        moments.append(found.get("take_off") or found["off_blocks"])
    nights = {places.night_landing(place, m) for m in moments}
    if nights == {True}:
        found["landings_night"] = count
    elif nights == {False}:
        found["landings_day"] = count
    else:
        why = f"{place} is in no data" if None in nights else "the night begins or ends in this flight"
        raise BadInput(f"landings {count}: by day or by night is not known, as {why}; give landings_day and landings_night.")
    return ()


def _night(found: dict[str, Any], places: Places) -> tuple[str, ...]:
    """Night time from the places where none is given; told where it is not known and counts as none."""
    length_s = (found["on_blocks"] - found["off_blocks"]).total_seconds()
    if "night_s" in found or not 0 < length_s <= LONGEST_S:  # what lasts longer is refused by itself
        return ()
    night = places.night_s(found["origin"], found["destination"], found["off_blocks"], found["on_blocks"])
    if night is None:
        return (f"night time of {found['origin']} to {found['destination']} is not known and counts as none",)
    found["night_s"] = min(night, length_s)
    return ()


def _night_typed(typed: tuple[str, ...], found: dict[str, Any], places: Places) -> tuple[str, ...]:
    """Refuse night that is typed where none lies between take-off and landing (else the blocks) at any place of the flight;
    where a place is not known it is taken as typed, and told."""
    begin, end = found.get("take_off") or found["off_blocks"], found.get("landing") or found["on_blocks"]
    if not typed or not 0 < (end - begin).total_seconds() <= LONGEST_S:  # such a flight is refused by itself
        return ()
    dark = _darkness(found, begin, end, places)
    if True in dark:
        return ()
    stops = ", ".join(dict.fromkeys((found["origin"], *found.get("via", ()), found["destination"])))
    if None in dark:
        return (f"{' and '.join(typed)} as typed: not every place of {stops} is known, so the sun there is not",)
    raise BadInput(f"{' and '.join(typed)} noted, and between {begin:%Y-%m-%d %H:%M}Z and {end:%H:%M}Z there is no night at {stops}"
                   "; correct what was noted, or the moments.")


def _darkness(found: dict[str, Any], begin: datetime, end: datetime, places: Places) -> set[bool | None]:
    """Whether it was night, for the log or for landings, on the way and at each place at any time; None: not known there."""
    stops = tuple(dict.fromkeys((found["origin"], *found.get("via", ()), found["destination"])))
    legs = ((found["origin"], found["destination"]), *((p, p) for p in stops))
    logged = {None if (s := places.night_s(a, b, begin, end)) is None else s > 0 for a, b in legs}
    count = int((end - begin).total_seconds() // LOOK_S)
    looks = (*(begin + timedelta(seconds=i * LOOK_S) for i in range(count + 1)), end)
    return logged | {places.night_landing(p, moment) for p in stops for moment in looks}
