"""The coming 24 months of maintenance as SVG text: each item a mark at its date, with its band where hours bring it.

Conventions as in papers/charts.py: a pure function of frozen values, the same bytes every time; calendar, hours and endings are
told apart by the shape of the mark and by the word beside it. What has no date is named in words and has no mark.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from json import dumps
from typing import TYPE_CHECKING, Any, Literal

from ownship.errors import BadInput
from ownship.ownership.forecast import Forecast
from ownship.ownership.maintenance import OVERDUE, Due, Ending
from ownship.papers.charts import GREY, INK, PAPER, TEAL, WIDTH, _chart, _svg
from ownship.rules.due import month_later
from ownship.words.cautions import cautions_for

if TYPE_CHECKING:
    from ownship.papers.charts import Layered

MONTHS, LINE, LONGEST = 24, 24, 42  # of the plot; px a line; signs of a name
SHAPES = {"calendar": "square", "hours": "circle", "landings": "diamond", "ends": "triangle-up"}


@dataclass(frozen=True)
class Mark:
    """One line of the plot: its name, the day of the mark, its band (None: no such end, or beyond 20 years), by what it comes."""

    name: str
    day: date
    early: date | None
    late: date | None
    by: str
    overdue: bool


def ahead_chart(aeroplane: str, pairs: Iterable[tuple[Due, Forecast]], endings: Iterable[Ending], on: date) -> str:
    """Marks of the months ahead, the first on top; overdue stands at its day where that is in view, else at today's edge.

    Raises BadInput where nothing is given.
    """
    both, ends = list(pairs), list(endings)
    if not both and not ends:
        raise BadInput("There is no item to draw; begin with the starter set of a place.")
    last = month_later(on, MONTHS)
    every = sorted([*(m for d, f in both if (m := _of_item(d, f))), *(_of_ending(e) for e in ends)],
                   key=lambda m: (m.day, m.name))
    shown = [m for m in every if min(m.day, m.early or m.day) <= last]
    unknown = [d.title for d, f in both if f.middle is None]
    title = f"{aeroplane}, {on} to {last}: {len(shown)} {'date' if len(shown) == 1 else 'dates'} in the coming {MONTHS} months."
    says = ["Square: by calendar. Circle: by hours, line: 5 to 95 %. Diamond: landings used up. Triangle: ends.",
            *([f"Not drawn, no date is known: {', '.join(unknown)}."] if unknown else []),
            *([f"Later than that: {', '.join(m.name for m in every if m not in shown)}."] if len(every) > len(shown) else [])]
    return _drawn(tuple(shown), on, last, title, tuple(says))


@lru_cache(maxsize=16)
def _drawn(marks: tuple[Mark, ...], on: date, last: date, title: str, says: tuple[str, ...]) -> str:
    """The SVG; kept for the next look, since drawing takes far longer than working out what is due."""
    told = [f"{'; '.join(_told(m) for m in marks)}."] if marks else []
    return _svg([_panel(marks, on, last)], title, says, cautions_for(["maintenance"]), told)


def _of_item(d: Due, f: Forecast) -> Mark | None:
    if f.middle is None:
        return None
    return Mark(d.title, f.middle, f.early, f.late, f.by or "calendar", d.state == OVERDUE)


def _of_ending(e: Ending) -> Mark:
    return Mark(f"{e.what} ends", e.last_day, e.last_day, e.last_day, "ends", e.left_days < 0)


def _told(m: Mark) -> str:
    """A line in words."""
    if m.overdue:
        return f"{m.name}: {_overdue(m)}"
    band = f", {m.early or 'not known'} to {m.late or 'beyond 20 years'}" if (m.early, m.late) != (m.day, m.day) else ""
    return f"{m.name}: {m.day}{band}, {'' if m.by == 'ends' else 'by '}{m.by}".removesuffix(", ends")


def _overdue(m: Mark) -> str:
    """Since when where the calendar says it; of hours and landings the day is not known."""
    return f"overdue since {m.day}" if m.by in ("calendar", "ends") else "overdue"


def _panel(marks: Sequence[Mark], on: date, last: date) -> Layered:
    import altair as alt

    lines, end = [_line(m, i, on, last) for i, m in enumerate(marks)], (last - on).days
    names = [x["line"] for x in lines]
    quarters = [month_later(on.replace(day=1), i) for i in range(3, MONTHS + 1, 3)]
    months = {(m - on).days: f"{m:%Y-%m}" for m in quarters}
    x = alt.X("at:Q", title=None, scale=alt.Scale(domain=[0, end], nice=False), axis=alt.Axis(
        values=list(months), labelExpr=f"({dumps({str(k): v for k, v in months.items()})})[datum.value]", labelAngle=0))
    y = alt.Y("line:N", sort=names, title=None, scale=alt.Scale(domain=names), axis=alt.Axis(
        labelExpr="slice(datum.label, indexof(datum.label, '|') + 1)"))
    bands = [b for b in lines if b["high"] > b["low"]]
    layers = [_chart(lines, "lines").mark_rule(color=GREY, strokeDash=[1, 4]).encode(y=y),
              _chart(bands, "bands").mark_rule(color=TEAL, strokeWidth=6).encode(x=alt.X("low:Q", title=None), x2="high:Q", y=y)]
    for by, shape in SHAPES.items():
        rows = [r for r in lines if r["by"] == by]
        layers.append(_chart(rows, f"marks-{by}").mark_point(
            shape=shape, color=INK, fill=PAPER, size=80, opacity=1).encode(x=x, y=y))
    sides: tuple[tuple[Literal["left", "right"], int], ...] = (("left", 9), ("right", -9))
    for side, away in sides:
        rows = [r for r in lines if r["side"] == side]
        layers.append(_chart(rows, f"said-{side}").mark_text(color=INK, align=side, dx=away).encode(
            x=alt.X("words:Q", title=None), y=y, text="said:N"))
    return alt.layer(*layers).properties(width=WIDTH, height=LINE * max(len(marks), 1))


def _line(m: Mark, index: int, on: date, last: date) -> dict[str, Any]:
    """A mark in days from the left edge; what lies beyond an edge stands at it, and its words say the day."""
    end = (last - on).days

    def within(day: date | None, usual: date) -> int:
        return min(max(((day or usual) - on).days, 0), end)

    at, low, high = within(m.day, last), within(m.early, m.day), within(m.late, last)
    side = "left" if at < 0.6 * end else "right"
    name = m.name if len(m.name) <= LONGEST else f"{m.name[:LONGEST - 3].rstrip()}..."
    return {"line": f"{index}|{name}", "at": at, "low": low, "high": high, "by": m.by, "side": side,
            "words": max(at, high) if side == "left" else min(at, low),
            "said": _overdue(m) if m.overdue else f"{m.day}"}
