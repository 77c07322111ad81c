"""An assessment in the terminal: verdict first, margin bars tightest first, then plan, card, sources, cautions."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.rule import Rule
from rich.table import Table
from rich.text import Text

from ownship.flight.answer import Assessment, Extras, PointRow
from ownship.flight.margins import Margin
from ownship.units import from_si
from ownship.words.figures import Figure, number_text
from ownship.words.verdicts import NOT_KNOWN, OUTSIDE, TIGHT, WITHIN, Verdict
from ownship.world.aerodromes import Aerodrome

# Status is word + shape + colour; red and amber only for warning and caution.
SHAPES: dict[Verdict, tuple[str, str]] = {
    OUTSIDE: ("■", "bold red"), NOT_KNOWN: ("◆", "bold magenta"), TIGHT: ("▲", "yellow"), WITHIN: ("●", "cyan")}
BAR_CELLS = 21


def show(assessment: Assessment, console: Console) -> None:
    """Print a whole assessment."""
    for part in render(assessment):
        console.print(part)


def render(a: Assessment) -> Iterable[RenderableType]:
    """The parts of an assessment in reading order."""
    shape, colour = SHAPES[a.verdict]
    yield Text(f"{shape} {a.sentence}", style=colour)
    yield Text(a.cautions[0] if a.cautions else "", style="italic")
    yield from _section("Margins, tightest first", _margins(a.margins))
    if a.not_known:
        yield from _section("Not known", _list(a.not_known))
    if a.warnings:
        yield from _section("Warnings", _list(f"{w.get('place', '')}: {w['text']}".removeprefix(": ") for w in a.warnings))
    if a.timeline:
        yield from _section("Timeline (fuel is usable fuel)", _timeline(a))
    if a.legs:
        yield from _section("Legs (T true, M magnetic, C compass)", _legs(a))
    if a.loading:
        yield from _section("Load", _loading(a))
    if a.more:
        yield from _section("What more could be carried (kept inside weight and CG)",
                            _list(f"{name}: {_brief(value)}" for name, value in a.more.items()))
    if a.tanks:
        yield from _section("Tank plan", Group(_tanks(a), _list(a.tank_words)))
    if a.fuel:
        yield from _section("Fuel by time (usable)", _fuel(a))
    if a.extras:
        yield from _extras(a.extras)
    if a.runways:
        yield from _section("Runways, number by number", _runways(a))
    for name, card in a.cards.items():
        yield from _section(name.replace("_", " ").capitalize(), _card(card))
    if a.not_checked:
        yield from _section("Not checked", _list(a.not_checked))
    yield from _section("Sources", _list(a.sources))
    yield from _section("Cautions", _list(a.cautions))


def airports_table(found: list[Aerodrome]) -> Table:
    """Aerodromes in a list: codes, name, elevation, open runways; the data's date in the title."""
    table = Table(box=None, padding=(0, 1), header_style="dim", title_justify="left",
                  title=f"Open aerodrome data of {found[0].data_date}: check notices")
    for name in ("ident", "codes", "name", "elevation", "runways (true heading, length, surface)"):
        table.add_column(name, overflow="fold")
    for a in found:
        ends = [f"{e.ident} {'---' if e.true_heading_deg is None else f'{e.true_heading_deg:03.0f}'} "
                f"{_length(e.length_m)} "
                f"{e.surface or 'surface not known'}{', closed' if e.closed else ''}" for e in a.ends]
        height = "not known" if a.elevation_m is None else f"{from_si(a.elevation_m, 'ft'):,.0f} ft"
        table.add_row(a.ident + (" (closed)" if a.closed else ""), " ".join(a.codes), a.name, height, "\n".join(ends))
    return table


def _length(length_m: float | None) -> str:
    return "length not known" if length_m is None else f"{from_si(length_m, 'ft'):,.0f} ft"


def _section(title: str, body: RenderableType) -> Iterable[RenderableType]:
    yield Rule(Text(title, style="bold"), align="left", style="dim")
    yield Padding(body, (0, 0, 1, 1))


def _list(lines: Iterable[str]) -> RenderableType:
    return Group(*(Text(f"- {line}") for line in lines))


def _brief(figure: Figure | None) -> str:
    return "" if figure is None else f"{number_text(figure.value)} {figure.unit}"


def _margins(margins: Iterable[Margin]) -> Table:
    table = Table(box=None, padding=(0, 1), show_edge=False, header_style="dim")
    for name in ("", "limit", "available", "required", "room", "limit at |, band =", "kind, source"):
        table.add_column(name, overflow="fold")
    for m in margins:
        shape, colour = SHAPES[m.verdict]
        limit = Text(m.name + (f", {m.place}" if m.place else ""))
        if m.words:
            limit.append(f"\n{m.words}", style="dim")
        table.add_row(Text(f"{shape} {m.verdict.removesuffix(' limits')}", style=colour), limit, _brief(m.available),
                      _brief(m.required), _brief(m.margin), Text(bar(m), style=colour), Text(f"{m.kind}: {m.source}",
                                                                                            style="dim"))
    return table


def bar(m: Margin) -> str:
    """A margin bar: the limit at |, the median as o, its 5-95 % band as =; one third of the way is no room left.

    The axis runs from one customary allowance beyond the limit to two inside it.
    """
    if m.margin is None or m.allowance_1 is None or not math.isfinite(m.allowance_1):
        return ""
    scale = m.margin.value / m.allowance_1 if m.allowance_1 else 0.0
    def cell(value: float) -> int:
        position = (value / scale if scale else 0.0) + 1.0
        return max(0, min(BAR_CELLS - 1, round(position / 3.0 * (BAR_CELLS - 1))))

    cells = ["·"] * BAR_CELLS
    low, high = band_of(m)
    if low is not None and high is not None:
        for i in range(cell(low), cell(high) + 1):
            cells[i] = "="
    cells[cell(0.0)] = "|"
    cells[cell(m.margin.value)] = "o"
    return "".join(cells)


def band_of(m: Margin) -> tuple[float | None, float | None]:
    """The band drawn on a margin bar: 5 to 95 %; for a distance the stretch from doubly to once covered."""
    if m.margin is not None and m.doubly is not None and m.available is not None:
        return m.available.value - m.doubly.value, m.margin.value
    return (m.margin.low, m.margin.high) if m.margin is not None else (None, None)


def _clock(moment: Any) -> str:
    return moment.strftime("%H:%M") if moment else ""


def _timeline(a: Assessment) -> Table:
    table = Table(box=None, padding=(0, 1), header_style="dim")
    tanks = list(a.timeline[0].fuel_by_tank)
    for name in ("moment", "time", "after", "distance", "altitude", "fuel used", "fuel left", *tanks, "weight", "CG",
                 "minimum fuel", "latest"):
        table.add_column(name)
    for row in a.timeline:
        table.add_row(row.moment, _clock(row.time), _brief(row.elapsed), _brief(row.distance), _brief(row.altitude),
                      _brief(row.fuel_used), row.fuel_left.text(), *(_brief(row.fuel_by_tank[t]) for t in tanks),
                      _brief(row.weight), _brief(row.arm), _brief(row.minimum_fuel), _clock(row.latest))
    return table


def _legs(a: Assessment) -> Table:
    table = Table(box=None, padding=(0, 1), header_style="dim")
    for name in ("leg", "distance", "course T/M", "heading T/M/C", "level", "wind T", "OAT", "TAS", "groundspeed",
                 "time", "fuel"):
        table.add_column(name)
    for leg in a.legs:
        compass = f"{leg.heading_compass.value:03.0f}" if leg.heading_compass else "no card"
        table.add_row(f"{leg.start} to {leg.end}", _brief(leg.distance),
                      f"{leg.course_true.value:03.0f}/{leg.course_magnetic.value:03.0f}",
                      f"{leg.heading_true.value:03.0f}/{leg.heading_magnetic.value:03.0f}/{compass}",
                      _brief(leg.altitude), f"{leg.wind_from.value:03.0f}/{leg.wind_speed.value:.0f}",
                      _brief(leg.temperature), _brief(leg.tas), leg.groundspeed.text(0), leg.time.text(0),
                      leg.fuel.text(1))
    return table


def _loading(a: Assessment) -> Table:
    table = Table(box=None, padding=(0, 1), header_style="dim")
    for name in ("", "moment", "weight", "CG (seats forward to aft)", "allowed CG", "% MAC", "room in weight",
                 "room in arm"):
        table.add_column(name)
    for row in a.loading:
        shape, colour = SHAPES[row.verdict]
        arm = f"{row.arm_forward.value:.1f} to {row.arm_aft.value:.1f} {row.arm_aft.unit}"
        low, high = row.limits
        allowed = f"{low.value:.1f} to {high.value:.1f} {high.unit}" if low and high else "none at this weight"
        table.add_row(Text(shape, style=colour), row.moment, _brief(row.weight), arm, allowed, _brief(row.percent_mac),
                      _brief(row.room_weight), _brief(row.room_arm))
    return table


def _tanks(a: Assessment) -> Table:
    table = Table(box=None, padding=(0, 1), header_style="dim")
    for name in ("tank", "from", "to", "burn", "where"):
        table.add_column(name)
    for row in a.tanks:
        table.add_row(row.tank, _clock(row.start), _clock(row.end), row.burn.text(1), row.where)
    return table


def _fuel(a: Assessment) -> RenderableType:
    fuel = a.fuel
    assert fuel is not None
    table = Table(box=None, padding=(0, 1), show_header=False)
    for name, figure in fuel.parts.items():
        table.add_row(name, figure.text(1))
    table.add_row(Text("to order", style="bold"), fuel.to_order.text(1))
    table.add_row(Text("on board", style="bold"), fuel.on_board.text(1))
    table.add_row("left at landing", fuel.left_at_landing.text(1))
    table.add_row("endurance", fuel.endurance.text(0))
    if fuel.on_the_ground_by:
        table.add_row("on the ground with the reserve by", _clock(fuel.on_the_ground_by))
    known = [f"{tank}: {words}" for tank, words in fuel.how_known.items()]
    return Group(table, _list([*known, fuel.reserve, *fuel.words]))


def _extras(e: Extras) -> Iterable[RenderableType]:
    """Last points, glide and aerodromes on the way, each where there is any."""
    if e.last_points:
        yield from _section("Last points (fuel that still feeds, usable)", _last_points(e))
    if e.glide:
        yield from _section("Within glide of an aerodrome", _list(_glide_lines(e)))
    if e.on_the_way:
        yield from _section("Aerodromes near the route where this aeroplane can land", _on_the_way(e))
    if e.words:
        yield from _section("What these rest on", _list(e.words))


def _last_points(e: Extras) -> RenderableType:
    table = Table(box=None, padding=(0, 1), header_style="dim")
    for name in ("point", "time", "earliest", "from departure", "position", "fuel"):
        table.add_column(name, overflow="fold")
    for p in e.last_points:
        where = "" if p.position is None else f"{_position(*p.position)}, {p.leg}"
        table.add_row(p.name + (" (the worse)" if p.worst else ""), _clock(p.moment), _clock(p.earliest), _span(p), where,
                      _brief(p.fuel))
    return Group(table, _list(f"{p.name}: {p.words}" for p in e.last_points if p.words))


def _span(p: PointRow) -> str:
    """A distance with its band; an end without figure lies beyond the stretch looked at."""
    if p.distance is None:
        return "see below"
    value, low, high = ("beyond" if p.distance[k] is None else number_text(p.distance[k]) for k in ("value", "low", "high"))
    return f"{value} {p.distance['unit']} ({low} to {high})"


def _position(lat_deg: float, lon_deg: float) -> str:
    return f"{abs(lat_deg):.3f} {'N' if lat_deg >= 0 else 'S'} {abs(lon_deg):.3f} {'E' if lon_deg >= 0 else 'W'}"


def _glide_lines(e: Extras) -> Iterable[str]:
    for g in e.glide:
        share = "not known" if g.share is None else f"{g.share.text(0)} of the route"
        yield f"{g.level.text(0)}, propeller {g.propeller}: {share}"
    yield from dict.fromkeys(g.words for g in e.glide)


def _on_the_way(e: Extras) -> Table:
    table = Table(box=None, padding=(0, 1), header_style="dim")
    for name in ("aerodrome", "abeam at", "along the route", "off it", "time there", "fuel there"):
        table.add_column(name, overflow="fold")
    for w in e.on_the_way:
        time, fuel = ("not known" if x is None else x.text() for x in (w.time, w.fuel))
        table.add_row(f"{w.ident} {w.name}", _clock(w.moment), _brief(w.distance), _brief(w.off), time, fuel)
    return table


def _runways(a: Assessment) -> RenderableType:
    parts: list[RenderableType] = []
    for runway in a.runways:
        parts.append(Text(str(runway.get("title", runway.get("id", ""))), style="bold"))
        for step in runway.get("chain", ()):
            source = f"  [{step.source}]" if step.source else ""
            parts.append(Text(f"   {step.name}: {step.value}{source}"))
    return Group(*parts)


def _card(card: Any) -> RenderableType:
    table = Table(box=None, padding=(0, 1), show_header=False)
    for name, value in card.items():
        if isinstance(value, Figure):
            table.add_row(name.replace("_", " "), value.text())
        elif isinstance(value, list | tuple):
            for line in value:
                table.add_row(name.replace("_", " "), str(line))
        else:
            table.add_row(name.replace("_", " "), str(value))
    return table
