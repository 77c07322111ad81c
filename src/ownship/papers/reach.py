"""A reach as text, as JSON and as GeoJSON (docs/formats/reach.md)."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import timedelta
from typing import Any

import numpy as np
from rich.console import Console
from rich.table import Table
from rich.text import Text

from ownship.flight.landable import Landable, ReachAnswer
from ownship.flight.reach import BANDS, ONE_WAY
from ownship.flight.reach_map import polygon
from ownship.papers.exchange import plain
from ownship.papers.text import SHAPES
from ownship.units import from_si
from ownship.words.cautions import cautions_for
from ownship.words.figures import Figure, figure, number_text
from ownship.words.verdicts import TIGHT, WITHIN, Verdict, worst

NOT_JUDGED = "not judged"
TOPICS = ("verdict", "runway", "fuel", "model")
SENTENCES_SHOWN = 5
ENTER = "; enter it in the request or your aerodrome record."
SHORT = "Nearer than climb and descent at this level need; all of their fuel is counted."


def collection(answer: ReachAnswer) -> dict[str, Any]:
    """A GeoJSON FeatureCollection (RFC 7946): the polygons low, median and high, and a point for each aerodrome inside."""
    polygons = [polygon(answer.reach, band) for band in BANDS]
    return {"type": "FeatureCollection", "features": [*polygons, *(_point(answer, row) for row in answer.rows)]}


def _point(answer: ReachAnswer, row: Landable) -> dict[str, Any]:
    a = row.aerodrome
    return {"type": "Feature", "geometry": {"type": "Point", "coordinates": [round(a.lon_deg, 7), round(a.lat_deg, 7)]},
            "properties": _properties(answer, row)}


def _properties(answer: ReachAnswer, row: Landable) -> dict[str, Any]:
    a, c = row.aerodrome, row.candidate
    return {"ident": a.ident, "name": a.name, "course": Figure(c.course_deg, "deg").to_json(),
            "distance": figure(c.distance_m, "nm").to_json(), "time": plain(_time(row)),
            "landing_at": plain(_landing_at(answer, row)), "fuel_left": _left(row).to_json(), "certain": c.certain,
            "landable": row.landing or NOT_JUDGED, "leave_again": row.leave_again or NOT_JUDGED,
            "landing_runway": row.landing_end or None, "leave_again_runway": row.leave_end or None, "air": row.air or None,
            "why": _why(row), "data_date": a.data_date}


def to_json(answer: ReachAnswer) -> dict[str, Any]:
    """The answer of `reach --json`, schema 1."""
    found = answer.reach
    bearings = [{"course": Figure(b, "deg").to_json(), "distance": figure(m, "nm", low, high).to_json(),
                 "time": plain(figure(t, "min")), "why": why}
                for b, low, m, high, t, why in zip(found.bearings_deg.tolist(), found.low_m.tolist(), found.median_m.tolist(),
                                                   found.high_m.tolist(), found.time_s.tolist(), found.why, strict=True)]
    return {"schema": 1, "aeroplane": answer.aeroplane, "request": plain(answer.request), "trip": found.trip,
            "origin": found.start.name, "departure": plain(answer.departure), "level": figure(found.level_m, "ft").to_json(),
            "reserve": _reserve(answer).to_json(), "wind_source": found.wind_source, "sentence": sentence(answer),
            "bearings": bearings, "aerodromes": [_properties(answer, row) for row in answer.rows if row.landing is not None],
            "left_out": dict(answer.left_out), "not_flown": list(answer.not_flown), "words": list(answer.words),
            "geojson": collection(answer), "cautions": list(cautions_for(TOPICS))}


def sentence(answer: ReachAnswer) -> str:
    """The answer in a sentence."""
    found, median = answer.reach, answer.reach.median_m
    if not median.any():
        return f"No reach from {found.start.name}: {found.why[0][:1].lower()}{found.why[0][1:]}"
    near, far = int(np.argmin(median)), int(np.argmax(median))
    both = sum(_both(r) in (WITHIN, TIGHT) for r in answer.rows)
    judged = sum(r.landing is not None for r in answer.rows)
    return (f"From {found.start.name}, {found.trip}: {_distance(answer, near)} at the least, {_distance(answer, far)} at the most; "
            f"{len(answer.rows)} aerodromes inside, {judged} judged, {both} of them within limits or tight for landing and for "
            "leaving again.")


def _distance(answer: ReachAnswer, i: int) -> str:
    found = answer.reach
    band = figure(float(found.median_m[i]), "nm", float(found.low_m[i]), float(found.high_m[i]))
    return f"{band.text(0)} on {found.bearings_deg[i]:03.0f} true"


def _both(row: Landable) -> Verdict | None:
    """The worse of landing and leaving again, as a verdict; None: not judged."""
    return None if row.landing is None or row.leave_again is None else worst((row.landing, row.leave_again))


def _time(row: Landable) -> Figure | None:
    return figure(row.candidate.time_s, "min") if math.isfinite(row.candidate.time_s) else None


def _landing_at(answer: ReachAnswer, row: Landable) -> Any:
    seconds = row.candidate.time_s
    return answer.departure + timedelta(seconds=round(seconds)) if math.isfinite(seconds) else None


def _left(row: Landable) -> Figure:
    low, median, high = row.candidate.left_m3
    return figure(median, "usgal", low, high)


def _reserve(answer: ReachAnswer) -> Figure:
    low, median, high = (float(np.quantile(answer.reach.start.required_m3, q)) for q in BANDS.values())
    return figure(median, "usgal", low, high)


def _why(row: Landable) -> str:
    """Why not, in words, with what the reach itself says of the place."""
    return " ".join(x for x in (row.why, _uncertain(row), SHORT if row.candidate.short else "") if x)


def _uncertain(row: Landable) -> str:
    return "" if row.candidate.certain else "Inside the median reach only, not inside the low one."


def show_reach(answer: ReachAnswer, console: Console) -> None:
    """Print a reach: the sentence, the distances, the aerodromes that were judged, what it rests on."""
    console.print(Text(sentence(answer), style="bold"))
    console.print(Text(cautions_for(("verdict",))[0], style="italic"))
    console.print(_distances(answer))
    judged = [row for row in answer.rows if row.landing is not None]
    if judged:
        console.print(_table(answer, judged))
    for line in _lines(answer, len(judged)):
        console.print(Text(f"- {line}"))


def _distances(answer: ReachAnswer) -> Table:
    """Every 30 degrees, or every bearing where there are few."""
    found, table = answer.reach, _columns("course (true)", "distance", "time", "")
    step = max(1, round(30 * found.bearings_deg.size / 360))
    for i in range(0, found.bearings_deg.size, step):
        distance = figure(float(found.median_m[i]), "nm", float(found.low_m[i]), float(found.high_m[i]))
        time = found.time_s[i]
        table.add_row(f"{found.bearings_deg[i]:03.0f}", distance.text(0), f"{time / 60:,.0f} min" if np.isfinite(time) else "",
                      found.why[i])
    return table


def _table(answer: ReachAnswer, rows: Iterable[Landable]) -> Table:
    left = "usable fuel left, usgal" if answer.reach.trip == ONE_WAY else "usable fuel left on landing back, usgal"
    table = _columns("aerodrome", "course (true)", "distance", "landing at", left, "landing", "leaving again", "air of", "why")
    for row in rows:
        c, at = row.candidate, _landing_at(answer, row)
        table.add_row(f"{row.aerodrome.ident} {row.aerodrome.name}", f"{c.course_deg:03.0f}",
                      f"{from_si(c.distance_m, 'nm'):,.0f} nm{'*' if c.short else ''}", f"{at:%H:%M}" if at else "",
                      _left(row).text(1).replace(" usgal", ""), _verdict(row.landing, row.landing_end),
                      _verdict(row.leave_again, row.leave_end),
                      row.lender.removesuffix(" away") or "its own",
                      Text(" ".join(x for x in (row.why.replace(ENTER, "."), _uncertain(row)) if x), style="dim"))
    return table


def _verdict(verdict: Verdict | None, end: str) -> Text:
    if verdict is None:
        return Text(NOT_JUDGED)
    shape, colour = SHAPES[verdict]
    return Text(f"{shape} {verdict.removesuffix(' limits')}{f', {end}' if end else ''}", style=colour)


def _columns(*names: str) -> Table:
    table = Table(box=None, padding=(0, 1), header_style="dim")
    for name in names:
        table.add_column(name, overflow="fold")
    return table


def _lines(answer: ReachAnswer, judged: int) -> Iterable[str]:
    """What stands below the table."""
    if any(row.candidate.short for row in answer.rows[:judged]):
        yield f"* {SHORT}"
    if any(ENTER in row.why for row in answer.rows[:judged]):
        yield "What is not known of a runway: enter it in your aerodrome record, the weather in the request."
    if any(row.lender for row in answer.rows[:judged]):
        yield "Another place's air is brought there by the standard lapse: wider band, no headwind credit."
    if len(answer.rows) > judged:
        yield f"{len(answer.rows) - judged} aerodromes farther off are inside too; their runways are {NOT_JUDGED} (--geojson)."
    out = [f"{number_text(count, 0)} {why}" for why, count in answer.left_out.items() if count]
    if out:
        yield f"Left out inside the reach: {', '.join(out)}."
    yield from answer.not_flown[:SENTENCES_SHOWN]
    if len(answer.not_flown) > SENTENCES_SHOWN:
        yield f"{len(answer.not_flown) - SENTENCES_SHOWN} more were not flown to (--json)."
    if answer.rows:
        yield f"Runway data of {', '.join(sorted({row.aerodrome.data_date or 'no date' for row in answer.rows}))}."
    yield f"Left at the last landing at least: {_reserve(answer).text(1)} usable. Winds: {answer.reach.wind_source}."
    yield from answer.words
    yield from cautions_for(TOPICS)[1:]
