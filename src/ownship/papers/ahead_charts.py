"""Two charts as SVG text: levels as small bars of time and fuel, leaving times as a curve of the tightest margin.

Conventions as in papers/charts.py: a pure function of the answer, the same bytes every time; shape and word tell the
verdict, colour alone tells nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from ownship.errors import BadInput
from ownship.flight.levels import LevelRow, Levels
from ownship.flight.when import NIGHT, LeavingTime, LeavingTimes, labels
from ownship.papers.charts import GREY, INK, PAPER, SHADE, SPELT, STRIP, TEAL, WIDTH, _chart, _svg
from ownship.words.figures import Figure, number_text
from ownship.words.verdicts import NOT_KNOWN, ORDER, OUTSIDE, TIGHT, WITHIN, Verdict

if TYPE_CHECKING:
    import altair as alt

    from ownship.papers.charts import Layered

MARKS: dict[Verdict, tuple[str, str, bool]] = {  # shape, colour, filled
    WITHIN: ("circle", TEAL, True), TIGHT: ("triangle-up", INK, True), NOT_KNOWN: ("diamond", GREY, False),
    OUTSIDE: ("square", INK, True)}
FARTHEST = 4.0  # customary allowances: room beyond is drawn at the edge, and that is said
HEIGHT, EVERY = 180, 4  # px of the curve; a label every so many half hours


def levels_chart(answer: Levels) -> str:
    """Time and usable fuel of every level as bars with their 5-95 % bands, highest level on top, the verdict in words.

    A level without figures has no bar and says so. Raises BadInput where there is no level, with the answer's own reason.
    """
    if not answer.levels:
        raise BadInput(f"There is no level to draw. {answer.sentence}")
    rows = tuple(reversed(answer.levels))
    panels = [_bars(rows, "time", "time, block to block", 0), _bars(rows, "fuel", "usable fuel used", 1)]
    told = [f"{r.altitude.text(0)}: {r.verdict}, {_told(r.time, 0)}, {_told(r.fuel, 1)}." for r in rows]
    freezing = [f"Freezing level {answer.freezing_level.text(0)}."] if answer.freezing_level else []
    return _svg(panels, answer.sentence, ["Bar: middle; line: 5 to 95 %.", *freezing, *answer.words], answer.cautions[:1], told)


def _told(f: Figure | None, digits: int) -> str:
    return "not known" if f is None else f"{number_text(f.value, digits)} {SPELT.get(f.unit, f.unit)}"


def _bars(rows: Sequence[LevelRow], key: str, title: str, digits: int) -> Layered:
    import altair as alt

    names = [r.altitude.text(0) + ("" if r.obeys else ", free") for r in rows]
    figures: list[Figure | None] = [getattr(r, key) for r in rows]
    known = [(n, f) for n, f in zip(names, figures, strict=True) if f is not None]
    bars = [{"level": n, "value": f.value, "zero": 0} for n, f in known]
    bands = [{"level": n, "low": f.low, "high": f.high} for n, f in known if f.low is not None and f.high is not None]
    said = [{"level": n, "said": f"{_told(f, digits)}, {r.verdict}"} for n, f, r in zip(names, figures, rows, strict=True)]
    top = 1.05 * max([1.0, *(v for f in figures if f is not None for v in (f.value, f.high or 0.0))])
    y = alt.Y("level:N", title=None, sort=names, scale=alt.Scale(domain=names, padding=0.3))
    unit = next((SPELT.get(f.unit, f.unit) for _, f in known), "")

    def across(field: str) -> alt.X:
        return alt.X(field, title=unit or None, scale=alt.Scale(domain=[0, top], nice=False))

    return alt.layer(
        _chart(bars, f"{key}-bars").mark_bar(color=TEAL, height=8).encode(x=across("zero:Q"), x2="value:Q", y=y),
        _chart(bands, f"{key}-bands").mark_rule(color=INK, strokeWidth=2).encode(x=across("low:Q"), x2="high:Q", y=y),
        _chart(said, f"{key}-said").mark_text(align="left", color=INK).encode(x=alt.value(WIDTH + 10), y=y, text="said:N"),
    ).properties(width=WIDTH, height=STRIP * len(rows), title=alt.TitleParams(text=title, anchor="start", fontSize=11))


def leaving_chart(answer: LeavingTimes) -> str:
    """The tightest margin over the clock, in customary allowances of its kind, night shaded; under it the verdict's lane.

    An hour whose tightest margin has no figure has no point on the curve and stands in its lane alone. Room beyond four
    allowances is drawn at the edge. Raises BadInput where there is no half hour.
    """
    if not answer.times:
        raise BadInput("There is no half hour to draw; ask for a day.")
    named = list(zip(labels(answer.times), answer.times, strict=True))
    says = ["Curve: room of the tightest margin over the customary allowance of its kind; 0: none left.",
            "Shaded: night at the departure.",
            "Lanes: circle within limits, triangle tight, open diamond not known, square outside limits."]
    beyond = sum(r.allowance_1 is not None and abs(r.allowance_1) > FARTHEST for _, r in named)
    if beyond:
        says.append(f"{beyond} half hour{'s' if beyond > 1 else ''} beyond {FARTHEST:.0f} allowances: drawn at the edge.")
    told = [f"{label}: {r.verdict}, {_tightest(r)}, {r.light_at_departure.word} at departure, {r.light_at_landing.word} at landing."
            for label, r in named]
    return _svg([_curve(named), _lanes(named)], answer.sentence, [*says, *answer.words], answer.cautions[:1], told)


def _tightest(row: LeavingTime) -> str:
    if row.tightest is None:
        return row.sentence
    room = row.tightest.margin
    return row.tightest.name + (f", {number_text(room.value)} {SPELT.get(room.unit, room.unit)} of room" if room else "")


def _clock(named: Sequence[tuple[str, LeavingTime]], *, shown: bool) -> alt.X:
    import altair as alt

    clocks = [label for label, _ in named]
    axis = alt.Axis(values=clocks[::EVERY], labelAngle=0, title="leaving, local time of the departure") if shown else None
    return alt.X("clock:N", sort=clocks, scale=alt.Scale(domain=clocks, paddingInner=0, paddingOuter=0), axis=axis)


def _curve(named: Sequence[tuple[str, LeavingTime]]) -> Layered:
    import altair as alt

    x = _clock(named, shown=False)
    points = [p for label, r in named if (p := _point(label, r))]
    room = [p["room"] for p in points]
    ends = [1.08 * min([-1.0, *room]), 1.08 * max([1.0, *room])]
    y = alt.Y("room:Q", title="room, in allowances", scale=alt.Scale(domain=ends, nice=False))
    nights = [{"clock": label} for label, r in named if r.light_at_departure.word == NIGHT]
    layers = [_chart(nights, "night").mark_rect(color=SHADE).encode(x=x),
              _chart([{"room": 0}], "none-left").mark_rule(color=GREY, strokeDash=[4, 3]).encode(y=y),
              _chart(_gapped(named), "curve").mark_line(color=INK, strokeWidth=2, invalid="break-paths-filter-domains").encode(
                  x=x, y=y)]
    for verdict in ORDER:
        mine = [p for p in points if p["verdict"] == verdict]
        layers.append(_marked(mine, f"points {verdict}", verdict).encode(x=x, y=y))
    return alt.layer(*layers).properties(width=WIDTH, height=HEIGHT)


def _point(label: str, row: LeavingTime) -> dict[str, Any] | None:
    """The place of one half hour on the curve; None where its tightest margin has no figure."""
    if row.allowance_1 is None or math.isnan(row.allowance_1):
        return None
    return {"clock": label, "room": max(-FARTHEST, min(FARTHEST, row.allowance_1)), "verdict": row.verdict}


def _gapped(named: Sequence[tuple[str, LeavingTime]]) -> list[dict[str, Any]]:
    """Every half hour, those without a figure as gaps: the curve joins only neighbours that have one."""
    return [{"clock": label, "room": point["room"] if (point := _point(label, r)) else None} for label, r in named]


def _lanes(named: Sequence[tuple[str, LeavingTime]]) -> Layered:
    import altair as alt

    x, lanes = _clock(named, shown=True), [v for v in ORDER if any(r.verdict == v for _, r in named)]
    y = alt.Y("verdict:N", title=None, sort=lanes, scale=alt.Scale(domain=lanes, padding=0.3))
    nights = [{"clock": label} for label, r in named if r.light_at_departure.word == NIGHT]
    layers = [_chart(nights, "lanes night").mark_rect(color=SHADE).encode(x=x)]
    for verdict in lanes:
        mine = [{"clock": label, "verdict": verdict} for label, r in named if r.verdict == verdict]
        layers.append(_marked(mine, f"lane {verdict}", verdict).encode(x=x, y=y))
    return alt.layer(*layers).properties(width=WIDTH, height=STRIP * len(lanes))


def _marked(rows: Sequence[dict[str, Any]], name: str, verdict: Verdict) -> alt.Chart:
    shape, colour, filled = MARKS[verdict]
    fill = colour if filled else PAPER
    return _chart(rows, name).mark_point(shape=shape, color=colour, fill=fill, size=34, opacity=1)
