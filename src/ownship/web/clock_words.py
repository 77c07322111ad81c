"""The clock's moments in words: the table that stands without scripts, and what a script moves the drawings by."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup, escape

from ownship.web.clock import Moment, moments, notes
from ownship.web.clock_flight import GROUND
from ownship.web.flying import Asked
from ownship.web.hours import duration
from ownship.web.in_units import Units, in_units
from ownship.words.figures import Figure, number_text

ROW, CELL = "\x1e", "\x1f"  # the record and unit separators of ASCII
WRITTEN = json.JSONEncoder(sort_keys=True)


@dataclass(frozen=True)
class Row:
    """A moment as the page shows it: one text a column of the table, and what the drawings need, in inches and minutes."""

    cells: tuple[str, ...]
    drawn: dict[str, Any]


@dataclass(frozen=True)
class Table:
    """The moments as the page shows them; without rows nothing is known."""

    heads: tuple[str, ...]
    rows: tuple[Row, ...]
    named: tuple[tuple[int, str], ...]
    words: tuple[str, ...]

    @property
    def body(self) -> Markup:
        """The rows of the table; every cell escaped, all in one go, because there are some seven hundred."""
        cells = str(escape(ROW.join(CELL.join(_plain(c) for c in row.cells) for row in self.rows))).split(ROW)
        return Markup("\n").join(Markup(_row(row.drawn, texts)) for row, texts in zip(self.rows, cells, strict=True))


def _plain(text: str) -> str:
    """A cell's text without the two characters that part cells and rows here."""
    return text.replace(ROW, " ").replace(CELL, " ")


def _row(drawn: dict[str, Any], escaped: str) -> str:
    """One row of the table; `drawn` holds names of ours and numbers only."""
    first, *others = escaped.split(CELL)
    return (f"<tr data-drawn='{WRITTEN.encode(drawn)}'><th scope=\"row\">{first}</th>"
            f"{''.join(f'<td>{cell}</td>' for cell in others)}</tr>")


def table(asked: Asked, units: Units) -> Table:
    """For the template: the moments of an answered address in words, in the units of this person."""
    if asked.situation is None or asked.answer is None:
        return Table((), (), (), ())
    found = moments(asked.situation, asked.answer)
    if not found:
        why = asked.situation.no_model or "The flight's times are not known; what is missing stands under \"Not known\" above."
        return Table((), (), (), (why,))
    tanks = tuple(found[0].fuel)
    heads = ("Time", "Where", "Altitude", "Clearance", "Tank in use", *(f"In {t}, usable" for t in tanks),
             "All usable fuel", "Weight", "CG", "Wind", "Light")
    named = tuple((i, m.name) for i, m in enumerate(found) if m.name)
    return Table(heads, tuple(Row(_cells(in_units(m, units)), _drawn(m)) for m in found), named, notes(asked.situation))


def _cells(m: Moment) -> tuple[str, ...]:
    """One text a column."""
    lasts = "" if m.lasts is None else f", {duration(m.lasts.value)} at the planned flow"
    return (f"{m.time:%H:%M}", m.said.partition(", ")[2], _text(m.altitude, 0),
            m.clearance_words if m.phase in GROUND else f"{_text(m.clearance, 0)}, {m.clearance_words}", m.tank or "not known",
            *(f.text(1) for f in m.fuel.values()), m.fuel_left.text(1) + lasts, m.weight.text(0), _cg_text(m), _wind_text(m),
            f"{m.light}, sun {abs(m.sun.value):.0f} deg {'above' if m.sun.value >= 0 else 'below'} the horizon")


def _drawn(m: Moment) -> dict[str, Any]:
    """What a mark on a drawing is placed by: position, leg, row of the path, minutes, arms in inches."""
    each = None if m.lasts is None or m.fuel_left.value <= 0 else m.lasts.value / m.fuel_left.value
    return {"at": [round(x, 5) for x in m.position], "leg": m.leg, "share": round(m.leg_share_1, 4), "row": m.row,
            "min": round(m.elapsed.value, 2),
            "tanks": [None if each is None else round(f.value * each, 1) for f in m.fuel.values()],
            "arm": None if m.arm is None else [round(f.value, 3) for f in m.arm],
            "limits": None if m.limits is None else [round(f.value, 3) for f in m.limits]}


def _text(f: Figure | None, digits: int) -> str:
    return "not known" if f is None else f.text(digits)


def _cg_text(m: Moment) -> str:
    """Both ends of the seats against the limits at that weight; said where it is outside, never that it is inside."""
    if m.arm is None:
        return "not known"
    forward, aft = m.arm
    here = aft.text(1) if forward.text(1) == aft.text(1) else f"{number_text(forward.value, 1)} to {aft.text(1)}"
    allowed = "no limits known" if m.limits is None else f"allowed {number_text(m.limits[0].value, 1)} to {m.limits[1].text(1)}"
    return f"{here}, {allowed}{', OUTSIDE LIMITS' if m.outside else ''}"


def _wind_text(m: Moment) -> str:
    if m.wind is None:
        return m.wind_words if m.phase in GROUND else f"not known, {m.wind_words}"
    words = f", {m.wind_words}" if m.wind_words else ""
    return f"from {round(m.wind[0].value) % 360:03d} true, {m.wind[1].text(0)}{words}"
