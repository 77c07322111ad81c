"""Two charts of the airframe as SVG text: the envelope with its limits, and the deviation of the compass.

Conventions as in papers/charts.py: a pure function of frozen values, the same bytes every time; line and word tell, colour alone
tells nothing. No loading is drawn in the envelope: the path of the burn stands on the beam of a flight.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from ownship.aeroplane.description import AirframeRecord, Envelope, is_figure
from ownship.errors import BadInput
from ownship.ownership.compass import ALLOWED_DEG, DeviationCard
from ownship.papers.charts import GREY, INK, SHADE, TEAL, WIDTH, _chart, _padded, _svg
from ownship.papers.weight import Units
from ownship.units import from_si
from ownship.words.cautions import CAUTIONS
from ownship.words.figures import number_text

if TYPE_CHECKING:
    import altair as alt

    from ownship.papers.charts import Layered

HEIGHT, STEPS = 260, 12  # px; pieces of an edge that is straight in moment
DASHES = ([1, 0], [7, 4], [2, 3])  # of the categories in order
LIMITS = (("take_off_max_kg", "take-off"), ("landing_max_kg", "landing"), ("zero_fuel_max_kg", "zero fuel"))


def envelope_chart(record: AirframeRecord, units: Units) -> str:
    """The envelopes of a record, weight over arm: corners as figures, categories by line and name, maximum weights as lines.

    Raises BadInput where the record has no envelope.
    """
    if not record.envelopes:
        raise BadInput("The record has no envelope to draw; enter its corners.")
    names = ", ".join(e.category for e in record.envelopes)
    title = f"{record.identity.registration}: allowed weight and CG, {names}."
    says = [f"Category {e.category}: straight in {e.straight_in}; source: {e.source}." for e in record.envelopes]
    told = [f"Category {e.category}, corners: {_corners(e, units)}." for e in record.envelopes]
    return _svg([_envelopes(record, units)], title, says, CAUTIONS["load"], told)


def _corners(e: Envelope, units: Units) -> str:
    return "; ".join(f"{number_text(from_si(w, units.mass), 0)} {units.mass} at "
                     f"{number_text(from_si(a, units.length), units.arm_digits and 1)} {units.length}" for w, a in e.points)


def _edges(e: Envelope, units: Units) -> list[dict[str, Any]]:
    """Points along the edge, closed; an edge straight in moment is curved in arm, so it is taken in pieces."""
    found: list[dict[str, Any]] = []
    for (w1, a1), (w2, a2) in pairwise([*e.points, e.points[0]]):
        for share in np.linspace(0.0, 1.0, STEPS if e.straight_in == "moment" else 2):
            weight = w1 + share * (w2 - w1)
            arm = a1 + share * (a2 - a1) if e.straight_in == "arm" else (w1 * a1 + share * (w2 * a2 - w1 * a1)) / weight
            found.append({"weight": float(from_si(weight, units.mass)), "arm": float(from_si(arm, units.length)),
                          "order": len(found)})
    return found


def _envelopes(record: AirframeRecord, units: Units) -> Layered:
    import altair as alt

    lines = [_edges(e, units) for e in record.envelopes]
    arms, weights = ([float(p[k]) for line in lines for p in line] for k in ("arm", "weight"))
    limits = _limits(record, units)
    x = alt.X("arm:Q", title=f"arm from the datum ({units.length})", scale=alt.Scale(domain=_padded(arms), nice=False))
    y = alt.Y("weight:Q", title=f"weight ({units.mass})",
              scale=alt.Scale(domain=_padded([*weights, *(float(m["weight"]) for m in limits)]), nice=False))
    layers = [_chart(limits, "limits").mark_rule(color=GREY, strokeDash=[1, 3]).encode(y=y),
              *(_chart([m], f"limit-{i}").mark_text(align="right", dy=-6, color=INK).encode(  # side by side: they may be close
                  x=alt.value(WIDTH - 4 - 150 * i), y=y, text="said:N") for i, m in enumerate(limits))]
    for e, line, dash in zip(record.envelopes, lines, DASHES * len(lines), strict=False):
        layers += _one(e, line, dash, x, y, units)
    return alt.layer(*layers).properties(width=WIDTH, height=HEIGHT)


def _one(e: Envelope, line: list[dict[str, Any]], dash: list[int], x: alt.X, y: alt.Y, units: Units) -> list[Any]:
    import altair as alt

    corners = [{"weight": float(from_si(w, units.mass)), "arm": float(from_si(a, units.length))} for w, a in e.points]
    top = max(corners, key=lambda c: (c["weight"], c["arm"]))
    fill = [_chart(line, f"zone-{e.category}").mark_line(fill=SHADE, fillOpacity=0.5, stroke=None).encode(
        x=x, y=y, order="order:Q")] if dash == DASHES[0] else []
    return [*fill,
            _chart(line, f"edge-{e.category}").mark_line(color=TEAL, strokeWidth=2, strokeDash=dash).encode(
                x=x, y=y, order=alt.Order("order:Q")),
            _chart(corners, f"corners-{e.category}").mark_point(shape="square", color=INK, size=26, filled=True, opacity=1).encode(
                x=x, y=y),
            _chart([top | {"said": e.category}], f"name-{e.category}").mark_text(
                color=INK, fontWeight="bold", align="right", dx=-8, dy=13).encode(x=x, y=y, text="said:N")]


def _limits(record: AirframeRecord, units: Units) -> list[dict[str, Any]]:
    """The maximum weights that are figures, those of the same weight on one line."""
    found: dict[float, list[str]] = {}
    for key, words in LIMITS:
        limit = getattr(record.weights, key)
        if is_figure(limit):
            found.setdefault(float(from_si(limit, units.mass)), []).append(words)
    return [{"weight": w, "said": f"{', '.join(words)} {number_text(w, 0)} {units.mass}"} for w, words in found.items()]


def deviation_chart(card: DeviationCard, magnetic_deg: Sequence[float], compass_deg: Sequence[float], said: str) -> str:
    """Deviation over the compass heading: the readings of a swing as circles, the series matched to them as a line.

    said: which swing. East (positive): the compass shows too little.
    """
    heading = np.arange(0.0, 361.0, 5.0)
    line = [{"heading": float(h), "deviation": float(d)}
            for h, d in zip(heading, card.coefficients.deviation_deg(heading), strict=True)]
    readings = [{"heading": float(c % 360.0), "deviation": float((m - c + 180.0) % 360.0 - 180.0)}
                for m, c in zip(magnetic_deg, compass_deg, strict=True)]
    largest = max(abs(p["deviation"]) for p in line)
    title = f"The compass is off by up to {number_text(largest, 1)} degrees."
    says = [f"{said}. Circle: a reading; line: what the card is made from. Above 0: steer less than the magnetic heading.",
            f"{ALLOWED_DEG:.0f} degrees is the most that the type rules allow (from memory)."]
    told = [f"On {p['heading']:.0f} by compass {p['deviation']:+.1f} degrees." for p in readings]
    return _svg([_deviation(line, readings)], title, says, ("The dated card beside the compass is the one that counts.",), told)


def _deviation(line: list[dict[str, Any]], readings: list[dict[str, Any]]) -> Layered:
    import altair as alt

    farthest = max(2.0, *(1.2 * abs(p["deviation"]) for p in (*line, *readings)))
    x = alt.X("heading:Q", title="heading by compass (degrees)", axis=alt.Axis(values=list(range(0, 361, 30))),
              scale=alt.Scale(domain=[0, 360], nice=False))
    y = alt.Y("deviation:Q", title="deviation (degrees, east positive)", scale=alt.Scale(domain=[-farthest, farthest], nice=False))
    return alt.layer(
        _chart([{"deviation": 0}], "zero").mark_rule(color=INK).encode(y=y),
        _chart(line, "series").mark_line(color=TEAL, strokeWidth=2).encode(x=x, y=y),
        _chart(readings, "readings").mark_point(shape="circle", color=INK, size=50, opacity=1).encode(x=x, y=y),
    ).properties(width=WIDTH, height=180)
