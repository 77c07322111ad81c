"""Rows of a handbook or of the owner's own measurements: one CSV, one row a figure, each with its technique."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ownship.errors import BadInput, UnknownKey, UnreadableFile
from ownship.performance.model import KINDS
from ownship.performance.surfaces import surface_names
from ownship.units import to_si

FloatArray = NDArray[np.float64]

# column -> (unit, dimension, lowest and highest believable value in that unit)
NUMBERS: dict[str, tuple[str, str, float, float]] = {
    "pressure_altitude_ft": ("ft", "length", -2000, 30000), "oat_c": ("C", "temperature", -80, 70),
    "weight_lb": ("lb", "mass", 100, 20000), "rpm": ("rpm", "rotation", 500, 5000),
    "headwind_kt": ("kt", "speed", -60, 60), "lift_off_kias": ("kt", "speed", 20, 200),
    "at_50ft_kias": ("kt", "speed", 20, 200), "climb_kias": ("kt", "speed", 20, 250),
    "approach_kias": ("kt", "speed", 20, 200), "slope_pct": ("%", "ratio", -8, 8),
    "sd": ("", "", 0, 1e5), "value": ("", "", -1e6, 1e6)}
TEXTS = ("split", "spec", "origin", "kind", "flap", "mixture", "surface", "tachometer", "propeller", "notes")
# what a text column may hold, where that is fixed; a misspelt "Own" must not pass as a row of the book
CHOICES = {"origin": ("", "book", "own"), "mixture": ("", "lean", "rich"), "surface": surface_names(),
           "flap": ("", "up", "take_off", "landing"),
           "tachometer": ("", "panel", "optical"), "propeller": ("", "windmilling", "stopped")}
NEED_RPM = ("power_pct", "cruise_tas_kt", "fuel_flow_usgph")
WORSE_IS_LESS = ("rate_of_climb_fpm", "cruise_tas_kt", "max_level_tas_kt", "service_ceiling_ft", "static_rpm")
MAY_BE_NEGATIVE = ("rate_of_climb_fpm",)
MAY_BE_ZERO = ("climb_time_min", "climb_fuel_usgal", "climb_distance_nm", *MAY_BE_NEGATIVE)
NEEDED = ("kind", "pressure_altitude_ft", "oat_c", "weight_lb", "value")
NOT_NEEDED = (("static_rpm", "weight_lb"), ("tachometer_pct", "weight_lb"))
# unit and dimension of the value by kind
VALUE_UNITS: dict[str, tuple[str, str]] = {
    "takeoff_roll_ft": ("ft", "length"), "takeoff_50ft_ft": ("ft", "length"), "rate_of_climb_fpm": ("ft/min", "speed"),
    "power_pct": ("%", "ratio"), "cruise_tas_kt": ("kt", "speed"), "fuel_flow_usgph": ("usgal/h", "volume flow"),
    "climb_time_min": ("min", "time"), "climb_fuel_usgal": ("usgal", "volume"), "climb_distance_nm": ("nm", "length"),
    "landing_roll_ft": ("ft", "length"), "landing_50ft_ft": ("ft", "length"), "max_level_tas_kt": ("kt", "speed"),
    "service_ceiling_ft": ("ft", "length"), "static_rpm": ("rpm", "rotation"),
    "glide_sink_fpm": ("ft/min", "speed"), "tachometer_pct": ("%", "ratio")}


@dataclass(frozen=True)
class Rows:
    """Rows as arrays of equal length: SI numbers (NaN = not given), texts, and the cells as they were read.

    left_out: sentences on rows of the same files that are not among these.
    """

    kind: NDArray[np.str_]
    pressure_altitude_m: FloatArray
    temperature_k: FloatArray
    weight_kg: FloatArray
    rev_s: FloatArray
    headwind_m_s: FloatArray
    lift_off_ias_m_s: FloatArray
    at_50ft_ias_m_s: FloatArray
    climb_ias_m_s: FloatArray
    approach_ias_m_s: FloatArray
    slope_1: FloatArray
    sd: FloatArray
    value: FloatArray
    texts: dict[str, NDArray[np.str_]]
    columns: tuple[str, ...] = ()
    cells: tuple[tuple[str, ...], ...] = ()
    line: tuple[int, ...] = ()
    left_out: Any = ()  # tuple[str, ...]; Any since arrays are handed in by name

    def __len__(self) -> int:
        return int(self.kind.size)

    def where(self, chosen: NDArray[np.bool_]) -> Rows:
        """The rows for which `chosen` is true."""
        arrays = {name: getattr(self, name)[chosen] for name in _ARRAYS}
        index = np.nonzero(chosen)[0]
        return replace(self, **arrays, texts={k: v[chosen] for k, v in self.texts.items()},
                       cells=tuple(self.cells[i] for i in index), line=tuple(self.line[i] for i in index))

    def block(self, start: int, end: int) -> Rows:
        """The rows from number `start` up to, not including, `end`."""
        number = np.arange(len(self))
        return self.where((number >= start) & (number < end))

    def value_si(self) -> FloatArray:
        """Values in SI, each by the unit of its kind."""
        out = np.array(self.value, dtype=float)
        for kind in set(self.kind.tolist()):
            unit, dimension = VALUE_UNITS[kind]
            chosen = self.kind == kind
            out[chosen] = to_si(out[chosen], unit, dimension)
        return out


_ARRAYS = ("kind", "pressure_altitude_m", "temperature_k", "weight_kg", "rev_s", "headwind_m_s", "lift_off_ias_m_s",
           "at_50ft_ias_m_s", "climb_ias_m_s", "approach_ias_m_s", "slope_1", "sd", "value")
_FIELD = {"pressure_altitude_ft": "pressure_altitude_m", "oat_c": "temperature_k", "weight_lb": "weight_kg",
          "rpm": "rev_s", "headwind_kt": "headwind_m_s", "lift_off_kias": "lift_off_ias_m_s",
          "at_50ft_kias": "at_50ft_ias_m_s", "climb_kias": "climb_ias_m_s", "approach_kias": "approach_ias_m_s",
          "slope_pct": "slope_1", "sd": "sd", "value": "value"}


def read_rows(text: str, name: str, *, need_value: bool = True) -> Rows:
    """Rows from a CSV text called `name`; lines that begin with # are remarks.

    Unknown columns and kinds, missing columns and cells that are no believable number are refused by line and
    column. Without `need_value` the value column may be missing or empty (rows to be predicted).
    """
    lines = [(i, line) for i, line in enumerate(text.splitlines(), 1) if line.strip() and not line.startswith("#")]
    if not lines:
        raise UnreadableFile(f"{name} is empty; it should hold rows with a header line.")
    try:
        table = list(csv.reader(io.StringIO("\n".join(line for _, line in lines)), strict=True))
    except csv.Error as error:
        raise UnreadableFile(f"{name} is not a readable CSV: {error}.") from None
    header = tuple(cell.strip() for cell in table[0])
    _check_header(header, name, need_value)
    numbers = [i for i, _ in lines[1:]]
    if len(numbers) != len(table) - 1:
        raise UnreadableFile(f"{name}: a quoted cell runs over a line end; write every row on one line.")
    columns: dict[str, list[float]] = {c: [] for c in NUMBERS}
    texts: dict[str, list[str]] = {c: [] for c in TEXTS}
    for number, cells in zip(numbers, table[1:], strict=True):
        _read_row(name, number, header, cells, columns, texts, need_value)
    arrays = {_FIELD[c]: _si(c, columns[c]) for c in NUMBERS}
    return Rows(kind=np.array(texts["kind"], dtype=str), **arrays,
                texts={c: np.array(texts[c], dtype=str) for c in TEXTS if c != "kind"}, columns=header,
                cells=tuple(tuple(c) for c in table[1:]), line=tuple(numbers))


def _si(column: str, values: list[float]) -> FloatArray:
    unit, dimension, _, _ = NUMBERS[column]
    array = np.array(values, dtype=float)
    return array if not unit else np.asarray(to_si(array, unit, dimension))


def _check_header(header: tuple[str, ...], name: str, need_value: bool) -> None:
    for column in header:
        if column not in NUMBERS and column not in TEXTS:
            raise UnknownKey(f"{name} line 1: unknown column {column!r}; known are {', '.join([*TEXTS, *NUMBERS])}.")
    for column in NEEDED:
        if column not in header and (need_value or column != "value"):
            raise BadInput(f"{name} line 1: the column {column!r} is missing; add it.")
    if len(set(header)) != len(header):
        raise BadInput(f"{name} line 1: a column stands twice; name every column once.")


def _read_row(name: str, line: int, header: tuple[str, ...], cells: list[str], columns: dict[str, list[float]],
              texts: dict[str, list[str]], need_value: bool) -> None:
    if len(cells) != len(header):
        raise BadInput(f"{name} line {line}: {len(cells)} cells under {len(header)} columns; correct the row.")
    row = dict(zip(header, (c.strip() for c in cells), strict=True))
    if row["kind"] not in KINDS:
        raise BadInput(f"{name} line {line}, kind: {row['kind']!r} is not one of: {', '.join(KINDS)}.")
    for column, (_, _, low, high) in NUMBERS.items():
        cell = row.get(column, "")
        needed = column in NEEDED and (need_value or column != "value") and (row["kind"], column) not in NOT_NEEDED
        if not cell and not needed:
            columns[column].append(math.nan)
            continue
        columns[column].append(_number(cell, name, line, column, low, high))
    for column in TEXTS:
        cell, allowed = row.get(column, ""), CHOICES.get(column)
        if allowed is not None and cell not in allowed and (need_value or column != "origin"):  # asked rows are no one's
            raise BadInput(f"{name} line {line}, {column}: {cell!r} is not one of: {', '.join(x or 'blank' for x in allowed)}.")
        texts[column].append(cell)
    where = f"{name} line {line}"
    _check_kind(row["kind"], columns["rpm"][-1], columns["climb_kias"][-1], columns["value"][-1], where)
    if columns["at_50ft_kias"][-1] < columns["lift_off_kias"][-1]:
        raise BadInput(f"{where}, at_50ft_kias: {row['at_50ft_kias']} is below lift_off_kias, {row['lift_off_kias']}; correct one.")


def _check_kind(kind: str, rpm: float, ias: float, value: float, where: str) -> None:
    """What a kind of figure needs: an rpm in cruise, a value above zero where only that is believable."""
    if kind == "glide_sink_fpm" and math.isnan(ias):
        raise BadInput(f"{where}, climb_kias: a {kind} row needs its indicated airspeed; add it.")
    if kind in NEED_RPM and math.isnan(rpm):
        raise BadInput(f"{where}, rpm: a {kind} row needs its rpm; add it.")
    if (value < 0 and kind not in MAY_BE_NEGATIVE) or (value == 0 and kind not in MAY_BE_ZERO):
        raise BadInput(f"{where}, value: {value:g} is not believable for {kind}; it must be above zero.")


def _number(cell: str, name: str, line: int, column: str, low: float, high: float) -> float:
    try:
        value = float("" if "_" in cell else cell)
    except ValueError:
        raise BadInput(f"{name} line {line}, {column}: {cell!r} is not a number.") from None
    if not low <= value <= high:
        raise BadInput(f"{name} line {line}, {column}: {cell} is not believable; allowed is {low:g} to {high:g}.")
    return value


def joined(parts: Iterable[Rows]) -> Rows:
    """Rows of several files as one."""
    every = list(parts)
    arrays = {name: np.concatenate([getattr(r, name) for r in every]) for name in _ARRAYS}
    texts = {k: np.concatenate([r.texts[k] for r in every]) for k in every[0].texts}
    return Rows(**arrays, texts=texts, columns=every[0].columns, cells=sum((r.cells for r in every), ()),
                line=sum((r.line for r in every), ()), left_out=tuple(dict.fromkeys(w for r in every for w in r.left_out)))
