"""Papers that are not about one flight, as PDF: one form for all of them (docs/formats/papers.md).

Words reach the template as an input, never as source; a paper is dated by its day, not by the clock: same input, same bytes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, field
from datetime import date
from functools import cache
from importlib import resources
from json import dumps
from typing import Any

from ownship.errors import BadInput
from ownship.units import from_si, parse

SIZES: dict[str, tuple[str, str]] = {"a4": ("210 mm", "297 mm"), "letter": ("8.5 in", "11 in"), "a5": ("148 mm", "210 mm"),
                                     "half-letter": ("5.5 in", "8.5 in")}
SMALL = ("a5", "half-letter")


@dataclass(frozen=True)
class Section:
    """One part of a paper: lines of words, a table (`wide`: columns that take the room that is left), a drawing (SVG)."""

    heading: str
    lines: tuple[str, ...] = ()
    heads: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    wide: tuple[int, ...] = (0,)
    chart: str = ""


@dataclass(frozen=True)
class Sheet:
    """A paper: what it is called, of which aeroplane and day; status: a word in a frame; signed: places to sign."""

    title: str
    aeroplane: str
    day: date
    sections: tuple[Section, ...]
    subtitle: str = ""
    status: str = ""
    signed: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    foot: str = field(default="", kw_only=True)


def rows_of(found: Iterable[Sequence[Any]]) -> tuple[tuple[str, ...], ...]:
    """Cells as text; None is "not known"."""
    return tuple(tuple("not known" if x is None else str(x) for x in row) for row in found)


def size_of(name: str) -> str:
    """The name of a size of paper known here; BadInput for another."""
    if name.lower() not in SIZES:
        raise BadInput(f"The paper {name[:20]!r} is not known here; choose {', '.join(SIZES)}.")
    return name.lower()


def sheet_data(s: Sheet, size: str = "a4") -> dict[str, Any]:
    """Everything on the paper, as the template takes it."""
    width, height = (float(from_si(parse(x, "length"), "mm")) for x in SIZES[size_of(size)])
    told = asdict(s)
    return told | {"date": [s.day.year, s.day.month, s.day.day], "day": None, "dated": s.day.isoformat(), "width_mm": width,
                   "height_mm": height, "size_pt": 7.5 if size in SMALL else 9.5, "foot": s.foot or s.aeroplane}


def sheet_pdf(s: Sheet, size: str = "a4") -> bytes:
    """The paper as a PDF. size: a4, letter, a5 or half-letter; BadInput for another."""
    import typst

    words = dumps(sheet_data(s, size), ensure_ascii=False, allow_nan=False)
    return typst.compile(_template(), sys_inputs={"data": words}, ignore_system_fonts=True)


@cache
def _template() -> bytes:
    return resources.files("ownship").joinpath("papers", "typst", "sheet.typ").read_bytes()
