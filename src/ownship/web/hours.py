"""Fuel as hours: the tanks drawn in time at the planned flow, usable fuel only, as inline SVG."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime

from markupsafe import Markup, escape

from ownship.flight.answer import Assessment, FuelSummary
from ownship.words.figures import Figure, number_text

WIDTH, LEFT, RIGHT = 640.0, 8.0, 632.0
LANE, HALF_HOUR = 22.0, 30.0
RESERVE = "final reserve"
Scale = Callable[[float], float]


@dataclass(frozen=True)
class Hours:
    """How long each tank feeds at the planned flow, minutes; `flow` in words; marks: (name, planned, latest) from the blocks."""

    flow: str
    whole: Figure
    reserve_min: float
    tanks: tuple[tuple[str, Figure, float, float], ...]
    stretches: tuple[tuple[str, float, float], ...]
    marks: tuple[tuple[str, float, float | None], ...]
    landing_min: float
    by_min: float | None


def hours_of(a: Assessment) -> Hours | None:
    """What is drawn, from the answer's own figures; None where fuel or flow is not known."""
    fuel = a.fuel
    if fuel is None or not a.timeline or not _drawable(fuel):
        return None
    each = fuel.endurance.value / fuel.on_board.value  # minutes for each unit of fuel, at the planned flow
    start, last = a.timeline[0], a.timeline[-1]
    tanks = tuple((name, f, f.value * each, last.fuel_by_tank[name].value * each) for name, f in start.fuel_by_tank.items())
    marks = tuple((r.moment, _since(start.time, r.time) or 0.0, _since(start.time, r.latest)) for r in a.timeline)
    stretches = tuple((t.tank, _since(start.time, t.start) or 0.0, _since(start.time, t.end) or 0.0) for t in a.tanks)
    flow = f"{number_text(60 / each)} {fuel.on_board.unit}/h"
    return Hours(flow, fuel.endurance, fuel.parts[RESERVE].value * each if RESERVE in fuel.parts else 0.0, tanks, stretches, marks,
                 _since(start.time, last.time) or 0.0, _since(start.time, fuel.on_the_ground_by))


def _drawable(fuel: FuelSummary) -> bool:
    numbers = (fuel.endurance.value, fuel.on_board.value)
    return all(math.isfinite(x) and x > 0 for x in numbers) and fuel.endurance.value < 6000


def _since(start: datetime, moment: datetime | None) -> float | None:
    return None if moment is None else (moment - start).total_seconds() / 60


def duration(minutes: float) -> str:
    """Minutes as hours: "3 h 05"."""
    whole = round(minutes)
    return f"{whole // 60} h {whole % 60:02d}"


def hours(h: Hours) -> Markup:
    """By the clock: the whole fuel with reserve and latest times, the tank selected; then each tank as long as it feeds."""
    longest = max([h.whole.value, h.whole.high or 0.0, h.landing_min, *(m for _, _, m, _ in h.tanks)]) * 1.02

    def x(minutes: float) -> float:
        return LEFT + max(0.0, min(minutes, longest)) / longest * (RIGHT - LEFT)

    height = 190.0 + 44 * len(h.tanks)
    parts = [*_grid(longest, x, height), _words(LEFT, 32, f"All usable fuel, {h.whole.text(0)}, from leaving the blocks"),
             _bar("left", x(0), x(h.whole.value), 40), _bar("used", x(0), x(h.landing_min), 40),
             _bar("reserve", x(h.whole.value - h.reserve_min), x(h.whole.value), 40), *_band(h, x)]
    parts += _latest(h, x)
    parts.append(_words(LEFT, 134, "Tank selected" if h.stretches else "Tank selected: no plan"))
    for tank, a, b in h.stretches:
        parts += [_bar("stretch", x(a), x(b) - 1, 140)]
        if x(b) - x(a) > 9 * len(tank):
            parts.append(_words((x(a) + x(b)) / 2, 155, tank, "middle", "on"))
    for i, (name, volume, whole, after) in enumerate(h.tanks):
        y = 196.0 + 44 * i
        told = f"{name}: {volume.text(1)} usable, {duration(whole)}; {duration(after)} of it left at landing"
        parts += [_words(LEFT, y - 6, told), _bar("left", x(0), x(whole), y), _bar("used", x(0), x(whole - after), y)]
    said = (f"Usable fuel as time at {h.flow}: {duration(h.whole.value)} in all, {duration(h.landing_min)} to the landing, "
            f"final reserve {duration(h.reserve_min)}. " + " ".join(f"{n} {duration(m)}." for n, _, m, _ in h.tanks))
    return Markup(f'<svg class="drawing" viewBox="0 0 {WIDTH:.0f} {height:.0f}" role="img" aria-label="{escape(said)}">{_hatch()}'
                  f'{"".join(parts)}</svg>')


def _grid(longest: float, x: Scale, height: float) -> Iterable[str]:
    """A line every half hour, its length on top; every whole hour in words."""
    every = HALF_HOUR if longest <= 720 else 4 * HALF_HOUR
    for k in range(int(longest // every) + 1):
        at = x(k * every)
        yield f'<line class="grid" x1="{at:.1f}" x2="{at:.1f}" y1="16" y2="{height - 4}"/>'
        if k % 2 == 0:
            yield _words(at, 11, f"{round(k * every / 60)} h", "start" if k == 0 else "middle", "small")


def _band(h: Hours, x: Scale) -> list[str]:
    if h.whole.low is None or h.whole.high is None:
        return []
    y = 40 + LANE / 2
    return [f'<line class="whisker" x1="{x(h.whole.low):.1f}" x2="{x(h.whole.high):.1f}" y1="{y}" y2="{y}"/>']


def _latest(h: Hours, x: Scale) -> Iterable[str]:
    """The planned landing and the moment to be on the ground by, each a mark with its word."""
    marks = [("landing planned", h.landing_min, 74.0)]
    if h.by_min is not None:
        marks.append(("on the ground by, reserve kept", h.by_min, 89.0))
    for words, at, y in marks:
        px, end = x(at), x(at) > WIDTH * 0.6
        yield f'<path class="mark" d="M{px:.1f} 63 L{px + 5:.1f} 72 L{px - 5:.1f} 72 Z"/>'
        yield _words(px, y + 8, f"{words} ({duration(at)})", "end" if end else "start", "small")
    for name, _, latest in h.marks:
        if latest is not None and name.startswith("over "):
            yield f'<line class="latest" x1="{x(latest):.1f}" x2="{x(latest):.1f}" y1="36" y2="66"/>'
    named = [f"{n} {duration(t)}" for n, _, t in h.marks if t is not None and n.startswith("over ")]
    if named:
        more = " and more" if len(named) > 5 else ""
        yield _words(LEFT, 114, f"Latest times (upright lines): {', '.join(named[:5])}{more}", name="small")


def _hatch() -> str:
    return ('<defs><pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
            '<line class="hatch" x1="0" x2="0" y1="0" y2="6"/></pattern></defs>')


def _bar(name: str, a: float, b: float, y: float) -> str:
    fill = ' fill="url(#hatch)"' if name == "reserve" else ""
    return f'<rect class="bar-{name}"{fill} x="{a:.1f}" y="{y:.1f}" width="{max(b - a, 0):.1f}" height="{LANE:.0f}"/>'


def _words(x: float, y: float, text: str, anchor: str = "start", name: str = "") -> str:
    return f'<text class="{name}" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(text)}</text>'
