"""A year of flying as SVG text: flight time by month, and landings by day and by night.

Conventions as in papers/charts.py: a pure function of values, the same bytes every time; day and night are told apart by
panel and shade, and every figure stands in the text alternative.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ownship.errors import BadInput
from ownship.ownership.entries import Flight
from ownship.papers.charts import INK, PAPER, TEAL, WIDTH, _chart, _svg
from ownship.units import from_si
from ownship.words.figures import number_text

if TYPE_CHECKING:
    import altair as alt

    from ownship.papers.charts import Layered

HOURS_PX, LANDINGS_PX = 130, 80
CAUTION = "Months are those of off blocks in UTC; what is not in the log is not in it."


@dataclass(frozen=True)
class FlownMonth:
    """One month: flights, flight time block to block and of it by night (h), landings by day and by night."""

    month: str
    flights: int
    hours_h: float
    night_h: float
    landings_day: int
    landings_night: int


def months_of(flights: Iterable[Flight], year: int | None = None) -> tuple[FlownMonth, ...]:
    """The twelve months of a year (None: that of the last flight); empty where no flight is in it."""
    every = list(flights)
    asked = year if year is not None else max((f.off_blocks.year for f in every), default=None)
    mine = [f for f in every if f.off_blocks.year == asked]
    if not mine or asked is None:
        return ()
    return tuple(_month(f"{asked:04d}-{m:02d}", [f for f in mine if f.off_blocks.month == m]) for m in range(1, 13))


def _month(name: str, flights: Sequence[Flight]) -> FlownMonth:
    return FlownMonth(name, len(flights), float(from_si(sum(f.flight_s for f in flights), "h")),
                      float(from_si(sum(f.night_s for f in flights), "h")), sum(f.landings_day for f in flights),
                      sum(f.landings_night for f in flights))


def months_chart(months: Sequence[FlownMonth]) -> str:
    """Bars of flight time a month, the part by night on it, and landings below, by day and by night each on its own line.

    Raises BadInput where there is no month.
    """
    if not months:
        raise BadInput("There is no flight to draw; add flights first.")
    year, hours = months[0].month[:4], sum(m.hours_h for m in months)
    day, night = sum(m.landings_day for m in months), sum(m.landings_night for m in months)
    title = f"{year}: {number_text(hours)} h flown, {day:,} landings by day, {night:,} by night."
    says = ["Bars: flight time, block to block; dark, from below: by night. Under it landings, by day and by night."]
    told = [f"{m.month}: {m.flights} flights, {number_text(m.hours_h)} h, of it {number_text(m.night_h)} h by night, "
            f"{m.landings_day} landings by day and {m.landings_night} by night" for m in months if m.flights]
    panels = [_hours(months), _landings(months, "day"), _landings(months, "night")]
    return _svg(panels, title, says, (CAUTION,), [f"{'; '.join(told)}."])


def _across(months: Sequence[FlownMonth], *, shown: bool) -> alt.X:
    import altair as alt

    names = [m.month for m in months]
    axis = alt.Axis(labelAngle=0, title=None, labelExpr="slice(datum.label, 5)") if shown else None
    return alt.X("month:N", sort=names, scale=alt.Scale(domain=names), axis=axis)


def _hours(months: Sequence[FlownMonth]) -> Layered:
    import altair as alt

    x, up = _across(months, shown=False), alt.Y("high:Q", title="h")
    whole = [{"month": m.month, "low": 0.0, "high": m.hours_h} for m in months if m.hours_h]
    night = [{"month": m.month, "low": 0.0, "high": m.night_h} for m in months if m.night_h]
    return alt.layer(
        _chart(whole, "hours").mark_bar(color=TEAL, stroke=PAPER).encode(x=x, y=up, y2="low:Q"),
        _chart(night or [{"month": months[0].month, "low": 0.0, "high": 0.0}], "night").mark_bar(color=INK, stroke=PAPER).encode(
            x=x, y=up, y2="low:Q"),
    ).properties(width=WIDTH, height=HOURS_PX, title=_name("flight time by month"))


def _landings(months: Sequence[FlownMonth], when: str) -> Layered:
    import altair as alt

    values = [(m.month, m.landings_day if when == "day" else m.landings_night) for m in months]
    most = max(1, *(n for _, n in values))
    rows = [{"month": m, "low": 0, "high": n, "said": str(n)} for m, n in values if n] or [
        {"month": months[0].month, "low": 0, "high": 0, "said": ""}]
    up = alt.Y("high:Q", title=None, axis=alt.Axis(tickMinStep=1, tickCount=3), scale=alt.Scale(domain=[0, most], nice=False))
    x = _across(months, shown=when == "night")
    return alt.layer(
        _chart(rows, f"landings-{when}").mark_bar(color=TEAL if when == "day" else INK, stroke=PAPER).encode(x=x, y=up, y2="low:Q"),
        _chart(rows, f"counts-{when}").mark_text(color=INK, dy=-6).encode(x=x, y=up, text="said:N"),
    ).properties(width=WIDTH, height=LANDINGS_PX, title=_name(f"landings by {when}"))


def _name(text: str) -> alt.TitleParams:
    import altair as alt

    return alt.TitleParams(text=text, anchor="start", fontSize=11)
