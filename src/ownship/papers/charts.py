"""Four charts as SVG text: what the rows say, what measuring brought, how the engine goes, what a modification alters.

Every chart is a pure function of frozen values: the same values give the same bytes. Its title is a sentence that says
what one sees; a text alternative (aria-label of the svg) carries the figures; shapes and words, not colour alone, tell
what stands out. Nothing moves and nothing is fetched. Method: docs/methods/charts.md.
"""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import quoteattr

from ownship.calibration.diagnostics import KIND_WORDS, WORST, Disagreement, KeyFigure
from ownship.calibration.trend import BAND_Z, KINDS, PER_S, Entry, Trend
from ownship.errors import BadInput
from ownship.papers.studies import DETAILS, LABELS
from ownship.units import from_si, to_si
from ownship.words.cautions import CAUTIONS
from ownship.words.figures import Figure, number_text

if TYPE_CHECKING:
    import altair as alt

    Layered = alt.LayerChart | alt.FacetChart

INK, GREY, TEAL, SHADE, PAPER = "#1b2428", "#55636b", "#0a6a6f", "#dfe8ea", "#ffffff"
WIDTH, STRIP = 460, 20  # px: of the plot, of one line of it
TITLE_SIGNS, SUBTITLE_SIGNS = 78, 104  # signs in a line of text
SMALLEST = 0.005  # a difference under this, in its unit, would be written as nought
LINEAR_TO = 6.0  # half-widths of the band; with a row beyond, the axis is compressed
CAUTION = "Calculated by the model; no approved data. The flight manual governs."
TREND_CAUTION = "An alert asks for a mechanic's look and is no finding; the lack of one does not make an engine airworthy."
SPELT = {"usgal/h": "US gal/h", "usgal": "US gal", "nm": "NM"}
NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def agreement_chart(rows: Sequence[Disagreement], matched_to: str = "the book") -> str:
    """Reading less prediction of each row, in half-widths of the row's own 90 % band (1 = its edge), a strip a kind.

    rows: of diagnostics.worst with `most` as many as there are rows, in any order; x = sigma / 1.645, sigma that of
    measurements.row_sd: for many rows of one table wider than their scatter, so few of those lie outside. The three that
    disagree most are numbered and named; a row that cannot be flown has no place on the axis, is named and counted.
    Raises BadInput where there is no row, or one without a reading.
    """
    if not rows:
        raise BadInput("There is no row to draw an agreement chart of; give at least one measurement with its prediction.")
    if missing := [r.line for r in rows if not math.isfinite(r.value)]:
        raise BadInput(f"Line {missing[0]} has no reading to compare with its prediction; give it one or leave it out.")
    order = sorted(rows, key=lambda r: (-abs(r.sigma) if math.isfinite(r.sigma) else -math.inf, r.line))
    named = {id(r): i for i, r in enumerate(order[:WORST], 1)}
    points = [p | {"number": str(named.get(id(r), ""))} for r, p in _placed(rows) if math.isfinite(p["x"])]
    outside, lost = sum(abs(p["x"]) > 1 for p in points), len(rows) - len(points)
    title = _agreement_title(len(rows), outside, lost)
    worst = [f"{i}: {_named(r)}" for i, r in enumerate(order[:WORST], 1)]
    key = [f"Matched to {matched_to}. Open circle: inside its band; filled diamond: outside.",
           "A row's band is its error as the matching weighs it: wider where one table has many rows of a kind."]
    return _svg([_strips(rows, points)], title, [*key, *worst], (CAUTION,))


def _agreement_title(count: int, outside: int, lost: int) -> str:
    inside = count - outside - lost
    parts = [f"{f'All {count}' if inside == count else f'{inside} of {count}'} rows lie inside their own 90 % bands"]
    parts += [f"{outside} {'lies' if outside == 1 else 'lie'} outside"] if outside else []
    parts += [f"{lost} cannot be flown at all"] if lost else []
    return "; ".join(parts) + "."


def _named(r: Disagreement) -> str:
    name, unit = KIND_WORDS.get(r.kind, (r.kind, ""))
    said = f"line {r.line}, {name}, reads {number_text(r.value)} {unit}".rstrip()
    if not math.isfinite(r.sigma):
        return f"{said}, which this aeroplane cannot fly: not drawn."
    return f"{said}, the rest says {number_text(r.predicted)}: {abs(r.sigma / BAND_Z):.1f} half-widths."


def _strip_names(rows: Sequence[Disagreement]) -> dict[str, str]:
    """Label of each kind's strip, with how many rows it holds, in the order of KIND_WORDS."""
    kinds, lost = [r.kind for r in rows], [r.kind for r in rows if not math.isfinite(r.sigma)]
    order = [k for k in KIND_WORDS if k in kinds] + sorted(set(kinds) - set(KIND_WORDS))
    gone = {k: f", {lost.count(k)} not drawn" if k in lost else "" for k in order}
    return {k: f"{KIND_WORDS.get(k, (k, ''))[0]} ({kinds.count(k)}{gone[k]})" for k in order}


def _placed(rows: Sequence[Disagreement]) -> Iterable[tuple[Disagreement, dict[str, Any]]]:
    """Each row with its place: x in half-widths, strip, and down the strip in the order of its line (0 to 1)."""
    for kind, strip in _strip_names(rows).items():
        mine = sorted((r for r in rows if r.kind == kind), key=lambda r: (r.line, r.sigma))
        for i, r in enumerate(mine):
            yield r, {"x": r.sigma / BAND_Z, "strip": strip, "down": (i + 0.5) / len(mine)}


def _strips(rows: Sequence[Disagreement], points: list[dict[str, Any]]) -> Layered:
    import altair as alt

    names = list(_strip_names(rows).values())
    x = _agreement_axis(max([2.0, *(1.1 * abs(p["x"]) for p in points)]))
    y = alt.Y("strip:N", title=None, sort=names, scale=alt.Scale(domain=names, padding=0.3))
    down = alt.YOffset("down:Q", scale=alt.Scale(domain=[0, 1]))
    inside, outside = ([p for p in points if (abs(p["x"]) > 1) == beyond] for beyond in (False, True))
    step = min(60, STRIP + max(len(points) // len(names), 4))
    return alt.layer(
        _chart([{"x": -1, "to": 1}], "band").mark_rect(color=SHADE).encode(x=x, x2="to:Q"),
        _chart([{"x": 0}], "zero").mark_rule(color=INK).encode(x=x),
        _chart(inside, "inside").mark_point(shape="circle", color=GREY, size=28, opacity=1).encode(x=x, y=y, yOffset=down),
        _chart(outside, "outside").mark_point(shape="diamond", color=TEAL, size=44, opacity=1, filled=True).encode(
            x=x, y=y, yOffset=down),
        _chart([p for p in points if p["number"]], "numbers").mark_text(dx=9, color=INK, fontWeight="bold").encode(
            x=x, y=y, yOffset=down, text="number:N"),
    ).properties(width=WIDTH, height=step * len(names))


def _agreement_axis(farthest: float) -> alt.X:
    """Linear; beyond LINEAR_TO compressed (logarithmic outside the band), and said so."""
    import altair as alt

    title = "reading less prediction, in half-widths of the row's own 90 % band (1 = its edge)"
    if farthest <= LINEAR_TO:
        return alt.X("x:Q", title=title, scale=alt.Scale(domain=[-farthest, farthest], nice=False))
    ticks = [t for n in range(int(math.log10(farthest)) + 1) for t in (10.0**n, 3 * 10.0**n) if t <= farthest]
    axis = alt.Axis(values=[-t for t in ticks] + [0.0, *ticks], format="~g")
    return alt.X("x:Q", title=f"{title}; compressed outside", axis=axis,
                 scale=alt.Scale(type="symlog", constant=1, domain=[-farthest, farthest], nice=False))


@dataclass(frozen=True)
class _Line:
    """One line of a panel: label, value with band in the panel's unit (NaN: none), what is written beside it, shape."""

    label: str
    value: float
    low: float
    high: float
    said: str
    strong: bool = False

    def numbers(self) -> list[float]:
        return [v for v in (self.value, self.low, self.high) if math.isfinite(v)]


def before_after_chart(before: Sequence[KeyFigure], after: Sequence[KeyFigure], book: Mapping[str, float]) -> str:
    """The 90 % bands of some figures before and after the owner's measurements, beside the book value, a panel a figure.

    before, after: of diagnostics.key_figures (before: of estimate.individual, this one aeroplane unmeasured), the same
    names and units in the same order; book: the handbook's value by name in that unit; a figure it
    lacks, or a value that is NaN, reads "not known". Raises BadInput where there is no figure, or the two do not belong
    together.
    """
    if not before or not after:
        raise BadInput("There is no figure to draw before and after of; give the same key figures of both calibrations.")
    if [(f.name, f.unit) for f in before] != [(f.name, f.unit) for f in after]:
        raise BadInput("The figures before and after differ in name, unit or order; give the same ones of both calibrations.")
    panels, told = [], []
    for b, a in zip(before, after, strict=True):
        lines = _before_after_lines(b, a, book.get(b.name, math.nan))
        panels.append(_panel(lines, b.unit, _padded([v for line in lines for v in line.numbers()]), b.name))
        told.append(f"{b.name} ({b.unit}): " + "; ".join(f"{line.label} {line.said}" for line in lines) + ".")
    says = ["Before and after your measurements. Bar: 5 to 95 %; open circle: middle; filled diamond: the book value."]
    return _svg(panels, _narrowing(before, after), says, (CAUTION,), told)


def _before_after_lines(before: KeyFigure, after: KeyFigure, book: float) -> list[_Line]:
    lines = [_banded(label, Figure(f.value, f.unit, f.low, f.high)) for label, f in (("before", before), ("after", after))]
    beyond = after.low <= after.high and not after.low <= book <= after.high and math.isfinite(book)
    said = number_text(book) + (", outside the band after" if beyond else "")
    return [*lines, _Line("book", book, math.nan, math.nan, said, strong=True)]


def _banded(label: str, f: Figure) -> _Line:
    """A figure as a line; one without a finite value is not known, and gets no mark."""
    low, high = (math.nan if v is None else v for v in (f.low, f.high))
    if not math.isfinite(low + high):
        low = high = math.nan
    if low > high:
        raise BadInput(f"{label}: the band runs from {low:g} down to {high:g}; give the low end first.")
    if not math.isfinite(f.value):
        return _Line(label, math.nan, math.nan, math.nan, "not known")
    band = f" ({number_text(low)} to {number_text(high)})" if math.isfinite(low + high) else ", band not known"
    return _Line(label, f.value, low, high, number_text(f.value) + band)


def _narrowing(before: Sequence[KeyFigure], after: Sequence[KeyFigure]) -> str:
    """What measuring did to the bands, in a sentence: how many narrower, which most, how many wider or not known."""
    share = {b.name: (a.high - a.low) / (b.high - b.low) for b, a in zip(before, after, strict=True)
             if b.high > b.low and math.isfinite(a.high - a.low + b.high - b.low)}
    narrower, wider = [n for n, s in share.items() if s < 1], sum(s > 1 for s in share.values())
    parts = [f"Your measurements narrowed {len(narrower) or 'none'} of {len(before)} bands"]
    if narrower:
        most = min(narrower, key=share.__getitem__)
        parts[0] += f", {'most of all ' if len(narrower) > 1 else ''}{most}, to {share[most]:.0%} of its width".replace("%", " %")
    parts += [f"{wider} became wider"] if wider else []
    parts += [f"{len(before) - len(share)} not known"] if len(share) < len(before) else []
    return "; ".join(parts) + "."


def difference_chart(name: str, differences: Sequence[tuple[str, Figure]]) -> str:
    """What a modification alters: after less before of each figure with its band, about a zero line in the middle.

    name: the modification; differences: (label, paired difference), as `study_differences` gives them. A band that
    excludes zero: filled diamond, "more" or "less". A band that holds zero, none, or a difference too small to be written
    (under 0.005): open circle. Not finite: "not known", no mark. Raises BadInput where there is no difference.
    """
    if not differences:
        raise BadInput(f"{name}: there is no difference to draw; give at least one figure before and after.")
    lines = [(_difference(label, f), SPELT.get(f.unit, f.unit)) for label, f in differences]
    clear, lost = sum(line.strong for line, _ in lines), sum(not line.numbers() for line, _ in lines)
    title = f"{name}: {clear or 'none'} of {len(lines)} differences {'is' if clear == 1 else 'are'} clear of zero"
    title += f"; {lost} not known." if lost else "."
    panels = [_panel([line], unit, _about_zero(line), zero=True) for line, unit in lines]
    told = [f"{line.label} ({unit}): {line.said}." for line, unit in lines]
    says = ["After less before, on the same draws. Bar: 5 to 95 %; filled diamond: clear of zero; open circle: not, or no band."]
    return _svg(panels, _sentence(title), says, (CAUTIONS["modifications"][0], CAUTION), told)


def study_differences(figures: Mapping[str, Mapping[str, Any]]) -> tuple[tuple[str, Figure], ...]:
    """(label, difference) of every paired figure of a study (Study.figures), labelled as the study's text labels them."""
    return tuple((LABELS[group] + (f", {DETAILS[key]}" if key in DETAILS else ""), p.difference)
                 for group, values in figures.items() for key, p in values.items())


def _difference(label: str, f: Figure) -> _Line:
    line = _banded(label, f)
    if not line.numbers():
        return line
    sure, size = line.low > 0 or line.high < 0, max(abs(v) for v in line.numbers())
    if size < SMALLEST and math.isfinite(line.low):
        return _Line(label, line.value, line.low, line.high, "no difference" if size == 0 else "no difference to speak of")
    value, *band = (f"{v:+,.{2 if size < 1 else 1 if size < 100 else 0}f}" for v in line.numbers())
    if not band:
        return _Line(label, line.value, math.nan, math.nan, f"{value}, band not known")
    word = "not clear of zero" if not sure else "more" if line.value > 0 else "less"
    return _Line(label, line.value, line.low, line.high, f"{value} ({' to '.join(band)}) {word}", sure)


def trend_chart(found: Trend, entries: Sequence[Entry]) -> str:
    """An engine trend: entries in standard air over engine time, median line, band of its slope, alert by word and shape.

    found: of trend.trend on the same entries; the line has its slope and as many entries above as below; the band is that
    of the slope, turned about the line's point at the median time, so it has no width there. With too few entries: the
    points alone. Raises BadInput where there is no entry, or `found` was not made of as many.
    """
    if not entries:
        raise BadInput("There is no entry to draw an engine trend of; log at least one.")
    if found.kind not in KINDS or found.entries != len(entries):
        raise BadInput(f"This trend ({found.kind}) was made of {found.entries} entries and {len(entries)} are given; "
                       "give the entries that it was made of.")
    points = [{"h": float(from_si(e.engine_time_s, "h")), "y": _in_unit(found.kind, e.value * e.reduction_1)} for e in entries]
    if not all(math.isfinite(p["h"] + p["y"]) for p in points):
        raise BadInput("An entry has no finite time or value; correct it.")
    wedge = ["Wedge: slopes from 5 to 95 %, turned about the middle of the entries."] if math.isfinite(found.slope) else []
    return _svg([_trend_layers(found, entries, points)], _trend_title(found), [found.words, *wedge], (TREND_CAUTION,))


def _trend_title(found: Trend) -> str:
    name = _sentence(KINDS[found.kind].name + (f" ({found.label})" if found.label else ""))
    if not math.isfinite(found.slope):
        return f"{name}: too few entries to show a trend."
    if not found.alert:
        return f"{name} shows no trend to the bad that stands out of the scatter."
    return f"{name} is {_way(found.kind)}, by more than the scatter explains."


def _way(kind: str) -> str:
    """The bad direction of a kind, in a word."""
    return "falling" if KINDS[kind].bad < 0 else "rising"


def _in_unit(kind: str, value: float) -> float:
    """SI in the unit of the kind; oil is a flow, told as the volume of an hour."""
    unit = KINDS[kind].unit
    return float(from_si(value * to_si(1, "h"), "qt") if unit == "qt/h" else from_si(value, unit, KINDS[kind].dimension))


def _trend_lines(found: Trend, entries: Sequence[Entry]) -> list[dict[str, float]]:
    """Median line and band of the slope at the first, the median and the last engine time."""
    times = [e.engine_time_s for e in entries]
    middle = median(times)
    pivot = median(e.value * e.reduction_1 - found.slope / PER_S * (e.engine_time_s - middle) for e in entries)
    lines = []
    for t in (min(times), middle, max(times)):
        y, low, high = (_in_unit(found.kind, pivot + s / PER_S * (t - middle)) for s in (found.slope, found.low, found.high))
        lines.append({"h": float(from_si(t, "h")), "y": y, "low": min(low, high), "high": max(low, high)})
    return lines


def _trend_layers(found: Trend, entries: Sequence[Entry], points: list[dict[str, float]]) -> Layered:
    import altair as alt

    kind = KINDS[found.kind]
    lines = _trend_lines(found, entries) if math.isfinite(found.slope) else []
    heights = [p["y"] for p in points] + [line[k] for line in lines for k in ("low", "high")]
    x = alt.X("h:Q", title="engine time (h)", axis=alt.Axis(tickCount=6),
              scale=alt.Scale(domain=_padded([p["h"] for p in points]), nice=False))

    def up(field: str) -> alt.Y:
        return alt.Y(f"{field}:Q", title=f"{kind.name} ({kind.unit})", scale=alt.Scale(domain=_padded(heights), nice=False))

    word = f"ALERT: {_way(found.kind)}" if found.alert else "no alert"
    shape = ("triangle-down" if kind.bad < 0 else "triangle-up") if found.alert else "circle"
    end = [{**lines[-1], "word": word}] if lines else []
    return alt.layer(
        _chart(lines, "wedge").mark_area(color=SHADE, opacity=1).encode(x=x, y=up("low"), y2="high:Q"),
        _chart(lines, "line").mark_line(color=TEAL, strokeWidth=2).encode(x=x, y=up("y")),
        _chart(points, "entries").mark_point(shape="circle", color=GREY, size=36, opacity=1).encode(x=x, y=up("y")),
        _chart(end, "end").mark_point(shape=shape, color=INK, size=150, opacity=1, filled=found.alert).encode(x=x, y=up("y")),
        _chart(end, "words").mark_text(color=INK, align="left", dx=14, fontWeight="bold").encode(x=x, y=up("y"), text="word:N"),
    ).properties(width=WIDTH, height=220)


def _panel(lines: Sequence[_Line], unit: str, domain: list[float], title: str = "", zero: bool = False) -> Layered:
    """Some lines over one axis in a unit: bars, marks and, right of the plot, the figures in words."""
    import altair as alt

    labels = [line.label for line in lines]
    rows: list[dict[str, Any]] = [{"label": li.label, "value": li.value, "low": li.low, "high": li.high} for li in lines]
    ticks: dict[str, Any] = {"tickCount": 5} if any(line.numbers() for line in lines) else {"values": []}  # no empty scale
    y = alt.Y("label:N", title=None, sort=labels, scale=alt.Scale(domain=labels), axis=alt.Axis(ticks=False, domain=False))
    axis = alt.Axis(titleAlign="left", titleX=WIDTH + 10, titleY=5, titleBaseline="top", **ticks)

    def across(field: str) -> alt.X:
        return alt.X(f"{field}:Q", title=unit, axis=axis, scale=alt.Scale(domain=domain, nice=False, zero=False))

    known = [(row, line.strong) for row, line in zip(rows, lines, strict=True) if math.isfinite(line.value)]
    bars = [row for row, _ in known if math.isfinite(row["low"])]
    weak, strong = ([row for row, filled in known if filled == wanted] for wanted in (False, True))
    said = [{"label": line.label, "said": line.said} for line in lines]
    return alt.layer(
        _chart([{"zero": 0}] if zero else [], "zero").mark_rule(color=INK).encode(x=across("zero")),
        _chart(bars, "bars").mark_rule(color=GREY, strokeWidth=3).encode(x=across("low"), x2="high:Q", y=y),
        _chart(weak, "open").mark_point(shape="circle", color=INK, fill=PAPER, size=48, opacity=1).encode(x=across("value"), y=y),
        _chart(strong, "filled").mark_point(shape="diamond", color=TEAL, filled=True, size=70, opacity=1).encode(
            x=across("value"), y=y),
        _chart(said, "said").mark_text(align="left", color=INK).encode(x=alt.value(WIDTH + 10), y=y, text="said:N"),
    ).properties(width=WIDTH, height=STRIP * len(lines), title=alt.TitleParams(text=title, anchor="start", fontSize=11))


def _about_zero(line: _Line) -> list[float]:
    """A domain with zero in the middle, so that the zero lines of all panels stand under each other."""
    farthest = max((abs(v) for v in line.numbers()), default=0.0)
    farthest = 1.15 * farthest if farthest >= SMALLEST else 1.0
    return [-farthest, farthest]


def _padded(values: Sequence[float], share: float = 0.12) -> list[float]:
    """The range of some values with room on both sides; [0, 1] where there is none."""
    if not values:
        return [0.0, 1.0]
    room = share * (max(values) - min(values)) or max(1.0, 0.05 * abs(values[0]))
    return [min(values) - room, max(values) + room]


def _chart(rows: Sequence[Mapping[str, Any]], name: str) -> alt.Chart:
    import altair as alt

    return alt.Chart(alt.InlineData(values=[dict(r) for r in rows]), name=name)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _lines(texts: Iterable[str], signs: int) -> list[str]:
    return [line for text in texts for line in textwrap.wrap(text, signs)]


def _svg(panels: Sequence[Layered], title: str, says: Sequence[str], cautions: Sequence[str], told: Sequence[str] = ()) -> str:
    """The panels under each other as SVG: title and words above them, all of them and `told` in its text alternative."""
    import altair as alt
    import vl_convert

    heading = alt.TitleParams(text=_lines([title], TITLE_SIGNS), subtitle=_lines([*says, *cautions], SUBTITLE_SIGNS),
                              anchor="start", frame="bounds", fontSize=14, subtitleFontSize=11, color=INK, subtitleColor=INK,
                              offset=12)
    spec = alt.vconcat(*panels, spacing=8).properties(title=heading, background=PAPER, padding=12).configure(
        aria=False, font="sans-serif").configure_view(stroke=None).configure_title(color=INK).configure_axis(
        labelColor=INK, titleColor=INK, gridColor=SHADE, domainColor=GREY, tickColor=GREY, labelLimit=0, titleFontWeight="normal")
    version = ".".join(alt.SCHEMA_VERSION.split(".")[:2]).removeprefix("v")
    svg = vl_convert.vegalite_to_svg(_drawable(spec.to_dict()), vl_version=version, allowed_base_urls=[])
    label = quoteattr(_drawable(" ".join([title, *says, *told, *cautions])))
    return str(svg.replace("<svg ", f'<svg role="img" aria-label={label} ', 1))


def _drawable(value: Any) -> Any:
    """The same without signs that XML cannot hold: the drawing library ends the process on some of them."""
    if isinstance(value, str):
        return NOT_XML.sub("", value)
    if isinstance(value, dict):
        return {k: _drawable(v) for k, v in value.items()}
    return [_drawable(v) for v in value] if isinstance(value, list) else value
