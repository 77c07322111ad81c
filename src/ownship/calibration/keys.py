"""Keys that many tables of a measurements file share, each with what is believable."""

from __future__ import annotations

import re
from datetime import date

from ownship.schema import Table

# Altitudes and temperatures are the hard range of the model.
ALTITUDE = {"low": "-1000 ft", "high": "16000 ft"}
AIR_TEMPERATURE = {"low": "-45 C", "high": "50 C"}
WEIGHT = {"low": "500 lb", "high": "12500 lb"}
IAS, DISTANCE, RPM = {"low": "25 kt", "high": "250 kt"}, {"low": "50 ft", "high": "20000 ft"}, ("500 rpm", "4000 rpm")


def read_date(table: Table) -> date | None:
    """The date of a measurement, where it has one."""
    day = table.take("date", None)
    if day is not None and type(day) is not date:  # a moment is a date too, to Python
        raise table.bad("date", f"{day!r} should be a date without quotes, as in 2024-05-17.")
    return day if isinstance(day, date) else None


def line_of(table: Table) -> int:
    """The line of the file that a table begins on; 0 where that is not known."""
    found = re.search(r" line (\d+)", table.where())
    return int(found[1]) if found else 0


def place(table: Table) -> tuple[int, date | None]:
    """Line and date of a measurement; its note is for the owner alone."""
    table.text("note", None)
    return line_of(table), read_date(table)


def altitude(t: Table, key: str = "pressure_altitude") -> float:
    """A pressure altitude, m."""
    return float(t.quantity(key, "length", **ALTITUDE))


def oat(t: Table) -> float:
    """The outside air temperature, K."""
    return float(t.quantity("oat", "temperature", **AIR_TEMPERATURE))


def weight(t: Table) -> float:
    """The weight, kg."""
    return float(t.quantity("weight", "mass", **WEIGHT))


def rpm(t: Table, key: str = "rpm") -> float:
    """An engine speed, rev/s."""
    return float(t.quantity(key, "rotation", low=RPM[0], high=RPM[1]))


def speed(t: Table, key: str) -> float | None:
    """An indicated airspeed, m/s, where it is given."""
    found = t.quantity(key, "speed", None, **IAS)
    return None if found is None else float(found)
