"""Rows of a handbook as form fields and as CSV: each figure typed with its unit, written in the column's."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping

from ownship.errors import BadInput, UnitError
from ownship.performance.rows import VALUE_UNITS
from ownship.units import from_si, parse
from ownship.web.airframe_topics import Cell, Part

KINDS = (("takeoff_roll_ft", "take-off roll"), ("takeoff_50ft_ft", "take-off over 50 ft"), ("landing_roll_ft", "landing roll"),
         ("landing_50ft_ft", "landing over 50 ft"), ("rate_of_climb_fpm", "rate of climb"), ("cruise_tas_kt", "cruise: TAS"),
         ("fuel_flow_usgph", "cruise: fuel flow"), ("power_pct", "cruise: power"), ("static_rpm", "static rpm"),
         ("max_level_tas_kt", "top speed"), ("service_ceiling_ft", "service ceiling"))
COLUMNS = {"altitude": ("pressure_altitude_ft", "ft", "length"), "temperature": ("oat_c", "C", "temperature"),
           "weight": ("weight_lb", "lb", "mass"), "rpm": ("rpm", "rpm", "rotation")}
HEADER = ("kind", "pressure_altitude_ft", "oat_c", "weight_lb", "rpm", "value")
ROWS = Part("rows", "Rows of the book", (
    Cell("kind", "What", kind="choice", choices=(("", "choose"), *KINDS)), Cell("altitude", "Pressure altitude", "2000 ft"),
    Cell("temperature", "Temperature", "15 C"), Cell("weight", "Weight", "2350 lb"), Cell("rpm", "Rpm, in the cruise", "2450 rpm"),
    Cell("value", "The book says", "600 ft; 110 kt; 8.3 usgal/h")),
    "Take the rows as they are printed: calm, dry, paved, level. One row of a kind is a single figure; more make a table: "
    "then give every crossing of the altitudes, temperatures and weights you take, since one left out is a blank, and beside a "
    "blank nothing is known. Two altitudes and two temperatures are four rows. Cruise rows need their rpm.",
    rows=True, one="Row", spare=12)


def csv_of(texts: Mapping[str, str], before: str = "") -> str:
    """The typed rows as CSV after the rows that stand already; "" where there are none. BadInput by row and field."""
    typed = [row for i in range(40) if (row := _row(texts, i))]
    if not typed:
        return before
    lines = before.splitlines()
    remarks = [x for x in lines if x.startswith("#")]
    old = list(csv.DictReader(x for x in lines if x.strip() and not x.startswith("#")))
    columns = list(dict.fromkeys([*(old[0] if old else ()), *HEADER]))
    out = io.StringIO()
    writer = csv.DictWriter(out, columns, restval="", extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    writer.writerows([*old, *typed])
    return "\n".join([*remarks, out.getvalue()])


def _row(texts: Mapping[str, str], i: int) -> dict[str, str]:
    """One row in the units of its columns; empty where nothing is typed in it."""
    typed = {c.key: " ".join(texts.get(f"rows.{i}.{c.key}", "").split()) for c in ROWS.cells}
    if not any(typed.values()):
        return {}
    kind = typed["kind"]
    if kind not in VALUE_UNITS:
        raise BadInput(f"Row {i + 1}: what: nothing is chosen; say what the figure is of, or empty the row.")
    found = {"kind": kind}
    for key, (column, unit, dimension) in COLUMNS.items():
        if typed[key]:
            found[column] = _in_unit(typed[key], unit, dimension, _label(i, key))
    if not typed["value"]:
        raise BadInput(f"{_label(i, 'value')}: nothing is given; write the book's figure, or empty the row.")
    unit, dimension = VALUE_UNITS[kind]
    return found | {"value": _in_unit(typed["value"], unit, dimension, _label(i, "value"))}


def _label(i: int, key: str) -> str:
    label = next(c.label for c in ROWS.cells if c.key == key)
    return f"Row {i + 1}: {label[:1].lower()}{label[1:]}"


def _in_unit(text: str, unit: str, dimension: str, label: str) -> str:
    try:
        return f"{float(from_si(parse(text, dimension, label), unit, dimension)):.10g}"
    except UnitError as error:
        raise BadInput(str(error)) from None
