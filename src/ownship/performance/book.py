"""The book's tables as the book prints them: linear between its rows, and plain words beyond them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import product
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ownship.performance.rows import Rows
from ownship.performance.surfaces import PAVED_DRY
from ownship.physics.atmosphere import Air
from ownship.units import from_si

FloatArray = NDArray[np.float64]
Status = Literal["inside", "better side", "lighter", "beyond"]
TABLED = ("takeoff_roll_ft", "takeoff_50ft_ft", "landing_roll_ft", "landing_50ft_ft")


@dataclass(frozen=True)
class BookFigure:
    """One figure of the book in SI, or why there is none.

    status: "inside"; "better side" (colder or lower than the table: its edge row, no further credit); "lighter" than
    the lightest row (its figure; the model's weight effect from `reference_weight_kg` may be credited); "beyond"
    (hotter, higher, heavier, or a blank cell: value None, `edge_value` is the nearest row's).
    """

    value: float | None
    status: Status
    edge_value: float | None
    reference_weight_kg: float
    words: str


@dataclass(frozen=True)
class _Table:
    altitude_m: FloatArray
    temperature_k: FloatArray
    weight_kg: FloatArray
    value: FloatArray


@dataclass(frozen=True)
class BookTable:
    """Take-off and landing tables of one handbook, by kind."""

    tables: dict[str, _Table]

    def has(self, kind: str) -> bool:
        """Whether the book prints more than a single row of this kind."""
        return kind in self.tables

    def at_least(self, kind: str, air: Air) -> Air:
        """The air, no lower and no colder than the table's first rows: what credits no more than the table does."""
        t = self.tables[kind]
        return replace(air, pressure_altitude_m=np.maximum(air.pressure_altitude_m, t.altitude_m[0]),
                       temperature_k=np.maximum(air.temperature_k, t.temperature_k[0]))

    def lookup(self, kind: str, pressure_altitude_m: float, temperature_k: float, weight_kg: float) -> BookFigure:
        """The table's figure, linear in pressure altitude, temperature and weight. Checks: PF-01, PF-09."""
        t = self.tables[kind]
        asked = (pressure_altitude_m, temperature_k, weight_kg)
        if not all(math.isfinite(x) for x in asked):
            return BookFigure(None, "beyond", None, math.nan, "not known: pressure altitude, temperature or weight is not a number")
        beyond, notes, point = [], [], []
        for name, axis, value, unit, dimension in zip(
                ("pressure altitude", "temperature", "weight"), (t.altitude_m, t.temperature_k, t.weight_kg), asked,
                ("ft", "C", "lb"), ("length", "temperature", "mass"), strict=True):
            low, high = float(axis[0]), float(axis[-1])
            tolerance = 1e-6 * max(abs(high), 1.0)
            if value > high + tolerance:
                beyond.append(f"{name} {from_si(value, unit, dimension):,.0f} {unit} is beyond the table's "
                              f"{from_si(high, unit, dimension):,.0f} {unit}")
            elif value < low - tolerance:
                notes.append(name)
            point.append(min(max(value, low), high))
        value_at, blank = _interpolate(t, point)
        if blank:
            beyond.append("the table is blank there")
        if beyond:
            return BookFigure(None, "beyond", None if math.isnan(value_at) else value_at, point[2],
                              "beyond the handbook's table: " + "; ".join(beyond))
        if "weight" in notes:
            return BookFigure(value_at, "lighter", value_at, point[2],
                              f"lighter than the table's lightest row, {from_si(point[2], 'lb'):,.0f} lb")
        if notes:
            return BookFigure(value_at, "better side", value_at, point[2],
                              f"{' and '.join(notes)} below the table: its edge row, no further credit")
        return BookFigure(value_at, "inside", value_at, point[2], "the table, interpolated")


def from_rows(rows: Rows) -> BookTable:
    """The tables in a set of book rows (origin book, no wind or the table's calm rows).

    A kind with only one row is a specification page, not a table. Rows with a headwind or slope other than 0 and rows of
    other surfaces are left out; of rows that differ in technique only, the longest counts.
    """
    values = rows.value_si()
    calm = np.isnan(rows.headwind_m_s) | (np.abs(rows.headwind_m_s) < 1e-9)
    paved = np.isin(rows.texts["surface"], PAVED_DRY) & (np.nan_to_num(rows.slope_1) == 0.0)
    book = (rows.texts["origin"] != "own") & calm & paved
    tables = {}
    for kind in TABLED:
        chosen = book & (rows.kind == kind)
        if np.count_nonzero(chosen) > 1:
            tables[kind] = _grid(rows.pressure_altitude_m[chosen], rows.temperature_k[chosen], rows.weight_kg[chosen],
                                 values[chosen])
    return BookTable(tables)


def _grid(altitude: FloatArray, temperature: FloatArray, weight: FloatArray, value: FloatArray) -> _Table:
    axes = [np.unique(np.round(x, 6)) for x in (altitude, temperature, weight)]
    cells = np.full([a.size for a in axes], np.nan)
    i, j, k = (np.searchsorted(a, np.round(x, 6)) for a, x in zip(axes, (altitude, temperature, weight), strict=True))
    np.fmax.at(cells, (i, j, k), value)
    return _Table(axes[0], axes[1], axes[2], cells)


def _interpolate(t: _Table, point: list[float]) -> tuple[float, bool]:
    """Value at a point within the axes; (nearest worse known value, True) where a needed corner is blank."""
    places = []
    for axis, value in zip((t.altitude_m, t.temperature_k, t.weight_kg), point, strict=True):
        i = int(np.clip(np.searchsorted(axis, value, side="right") - 1, 0, max(axis.size - 2, 0)))
        span = axis[i + 1] - axis[i] if axis.size > 1 else 1.0
        share = float((value - axis[i]) / span) if axis.size > 1 else 0.0
        places.append((i, min(i + 1, axis.size - 1), share))
    total, blank = 0.0, False
    for corner in product((0, 1), repeat=3):
        weight = float(np.prod([p[2] if c else 1 - p[2] for c, p in zip(corner, places, strict=True)]))
        if weight < 1e-12:
            continue
        i, j, k = (int(p[c]) for c, p in zip(corner, places, strict=True))
        value = float(t.value[i, j, k])
        if math.isnan(value):
            blank = True
        total += weight * value
    if not blank:
        return total, False
    lower = t.value[: places[0][1] + 1, : places[1][1] + 1, : places[2][1] + 1]
    return (float(np.nanmax(lower)) if np.any(~np.isnan(lower)) else math.nan), True
