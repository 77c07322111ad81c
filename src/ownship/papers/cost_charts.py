"""A year's money as SVG text: the months stacked by kind, and the running total above them.

Conventions as in papers/charts.py: a pure function of the value, the same bytes every time; kinds are told apart by shade, order
and the figures of the text alternative.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from ownship.errors import BadInput
from ownship.ownership.spending import GROUPS, Year
from ownship.papers.charts import GREY, INK, PAPER, SHADE, TEAL, WIDTH, _chart, _svg

if TYPE_CHECKING:
    import altair as alt

    from ownship.papers.charts import Layered

FILLS = {"fuel": TEAL, "oil": SHADE, "maintenance": GREY, "fixed": "#a9bcc2", "variable": INK}
HEIGHT, RUNNING = 170, 110  # px of the months, of the running total
CAUTION = "As whole as the entries: what has no price noted is not in it. Reserves are set aside, not spent, and not in it."


def year_chart(years: Sequence[Year]) -> str:
    """Each currency of a year by itself: bars a month, stacked by kind, and the running total as a line.

    Raises BadInput where nothing was spent, or the values are not of one year.
    """
    if not years:
        raise BadInput("There is no spending to draw; note fuel, maintenance or costs with their prices first.")
    if len({y.year for y in years}) > 1 or len({y.currency for y in years}) < len(years):
        raise BadInput("The values to draw are not one year in different currencies; give those of one year.")
    totals = [f"{_text(y.total)} {y.currency}" for y in years]
    title = f"{years[0].year}, up to {years[0].until.isoformat()}: spent {' and, apart, '.join(totals)}."
    says = ["Bars: each month by kind, from below: " + ", ".join(GROUPS) + ". Line: running total of the year.",
            *dict.fromkeys(w for y in years for w in y.words)]
    panels = [p for y in years for p in (_months(y), _running(y))]
    return _svg(panels, title, says, (CAUTION,), [_told(y) for y in years])


def _text(amount: Decimal) -> str:
    return f"{amount:,.0f}"


def _told(y: Year) -> str:
    months = [f"{m.month}: " + (", ".join(f"{g} {_text(a)}" for g, a in zip(GROUPS, m.spent, strict=True) if a) or "nothing")
              + f", running total {_text(m.running)}" for m in y.months]
    return f"{y.currency}. " + "; ".join(months) + "."


def _names(y: Year) -> list[str]:
    return [f"{y.year:04d}-{month:02d}" for month in range(1, 13)]


def _across(y: Year, *, shown: bool) -> alt.X:
    import altair as alt

    axis = alt.Axis(labelAngle=0, title=None, labelExpr="slice(datum.label, 5)") if shown else None
    return alt.X("month:N", sort=_names(y), scale=alt.Scale(domain=_names(y)), axis=axis)


def _stacks(y: Year) -> list[dict[str, Any]]:
    """Each part of a month's bar with where it begins and ends."""
    found = []
    for m in y.months:
        low = Decimal(0)
        for group, amount in zip(GROUPS, m.spent, strict=True):
            if amount:
                found.append({"month": m.month, "kind": group, "low": float(low), "high": float(low + amount)})
            low += amount
    return found


def _months(y: Year) -> Layered:
    import altair as alt

    stacks = _stacks(y)
    kinds = list(reversed(GROUPS))  # the key reads from above, as the bars are stacked; all kinds, for panels share one scale
    colour = alt.Color("kind:N", title=None, sort=kinds, scale=alt.Scale(domain=kinds, range=[FILLS[k] for k in kinds]),
                       legend=alt.Legend(orient="right", labelColor=INK, symbolStrokeColor=INK))
    return alt.layer(
        _chart(stacks, f"months-{y.currency}").mark_bar(stroke=PAPER, strokeWidth=1).encode(
            x=_across(y, shown=False), y=alt.Y("low:Q", title=y.currency), y2="high:Q", color=colour),
    ).properties(width=WIDTH, height=HEIGHT, title=alt.TitleParams(text=f"by month, {y.currency}", anchor="start", fontSize=11))


def _running(y: Year) -> Layered:
    import altair as alt

    rows = [{"month": m.month, "running": float(m.running)} for m in y.months]
    x, up = _across(y, shown=True), alt.Y("running:Q", title=y.currency, scale=alt.Scale(zero=True))
    end = [{**rows[-1], "said": _text(y.total)}]
    name = alt.TitleParams(text=f"running total, {y.currency}", anchor="start", fontSize=11)
    points = _chart(rows, f"points-{y.currency}").mark_point(shape="circle", color=INK, fill=PAPER, size=34, opacity=1)
    return alt.layer(
        _chart(rows, f"line-{y.currency}").mark_line(color=INK, strokeWidth=2).encode(x=x, y=up),
        points.encode(x=x, y=up),
        _chart(end, f"end-{y.currency}").mark_text(color=INK, align="right", dy=-10, fontWeight="bold").encode(
            x=x, y=up, text="said:N"),
    ).properties(width=WIDTH, height=RUNNING, title=name)
