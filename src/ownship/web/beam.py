"""The beam: the load as a lever to scale, and under it the path of the burn through the zone of support, as inline SVG."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from markupsafe import Markup, escape

from ownship.aeroplane.weighing import empty_weight
from ownship.errors import MissingKey
from ownship.flight.answer import Assessment, LoadingRow
from ownship.flight.situation import Situation
from ownship.units import parse
from ownship.web.in_units import Units, shown
from ownship.words.figures import Figure, figure, number_text

WIDTH, LEVER, LARGEST, STEP = 640.0, 150.0, 92.0, 26.0
EDGE, TICK_IN = 24.0, 20
Scale = Callable[[float], float]


@dataclass(frozen=True)
class Block:
    """One weight on the lever: number, what, weight, arm (both ends where it slides); kind: "people" for a load."""

    number: int
    what: str
    weight: Figure
    arm: tuple[Figure, Figure]
    kind: str = "aeroplane"

    @property
    def middle(self) -> float:
        """The arm where it is drawn."""
        return (self.arm[0].value + self.arm[1].value) / 2

    @property
    def arm_text(self) -> str:
        """The arm, or from where to where."""
        low, high = self.arm
        if abs(high.value - low.value) < 0.05:
            return low.text(1)
        return f"{number_text(low.value, 1)} to {high.text(1)}"


def blocks(s: Situation, a: Assessment) -> tuple[Block, ...]:
    """Everything on the lever at the ramp: the empty aeroplane, each load, each tank's usable fuel. Empty: not known."""
    try:
        empty = empty_weight(s.record, s.day, s.errors)
    except MissingKey:
        return ()
    if not a.loading:
        return ()
    stations = {x.id: x for x in s.record.stations}
    found = [("empty aeroplane", empty.weight_kg, (empty.arm_m, empty.arm_m), "aeroplane")]
    found += [(x.what, x.weight_kg, stations[x.station].arm_m, "people") for x in s.request.loads]
    density = s.record.fuel.density_kg_m3 if s.record.fuel else None
    for tank in s.record.tanks:
        volume = a.loading[0].fuel.get(tank.id)
        if volume is not None and density is not None:
            cubic = parse(f"{volume.value!r} {volume.unit}", "volume")
            found.append((f"{tank.name or tank.id}, usable fuel", cubic * density, (tank.arm_m, tank.arm_m), "aeroplane"))
    return tuple(Block(i, what, figure(kg, "lb"), (figure(low, "in"), figure(high, "in")), kind)
                 for i, (what, kg, (low, high), kind) in enumerate((x for x in found if x[1] > 0), 1))


def in_units(block: Block, units: Units) -> Block:
    """A block with its weight as a person wants it."""
    return replace(block, weight=shown(block.weight, units, block.kind))


def beam(on: tuple[Block, ...], row: LoadingRow) -> Markup:
    """The lever: every block at its arm, its area to its weight; under it the zone of support and where it balances."""
    low, high = _ends(on, row)

    def x(arm: float) -> float:
        return EDGE + (arm - low) / (high - low) * (WIDTH - 2 * EDGE)

    stacked, top = _stack(on, x)
    parts = [f'<line class="lever" x1="{x(low):.1f}" x2="{x(high):.1f}" y1="{LEVER}" y2="{LEVER}"/>', *stacked]
    forward, aft = row.limits
    allowed = "no allowed range at this weight"
    if forward is not None and aft is not None:
        allowed = f"allowed {number_text(forward.value, 1)} to {aft.text(1)}"
        parts.append(f'<rect class="zone" x="{x(forward.value):.1f}" y="{LEVER + 3}" height="20" '
                     f'width="{max(x(aft.value) - x(forward.value), 2):.1f}"/>')
    a, b = x(row.arm_forward.value), x(row.arm_aft.value)
    parts.append(f'<path class="balance" d="M{a:.1f} {LEVER + 4} H{b:.1f} L{b + 6:.1f} {LEVER + 22} H{a - 6:.1f} Z"/>')
    where = f"{number_text(row.arm_forward.value, 1)} to {row.arm_aft.text(1)}"
    parts += [_words(WIDTH / 2, LEVER + 42, f"{row.moment}: {row.weight.text(0).split(' (')[0]}, balances at {where}; {allowed}",
                     "middle"), *_ticks(low, high, x)]
    said = f"{row.moment}: {len(on)} blocks on a lever, balancing at {where}, {allowed}: {row.verdict}."
    return _svg(said, LEVER + 88, parts, top)


def _ends(on: tuple[Block, ...], row: LoadingRow) -> tuple[float, float]:
    arms = [f.value for b in on for f in b.arm] + [row.arm_forward.value, row.arm_aft.value]
    arms += [f.value for f in row.limits if f is not None]
    pad = max(0.14 * (max(arms) - min(arms)), 1.0)
    return min(arms) - pad, max(arms) + pad


def _stack(on: tuple[Block, ...], x: Scale) -> tuple[list[str], float]:
    """The blocks, the largest first, each on top of those it would overlap; and how high they reach."""
    largest = max(b.weight.value for b in on)
    placed: list[tuple[float, float, float]] = []  # left, right, top
    parts = []
    for b in sorted(on, key=lambda b: (-b.weight.value, b.number)):
        side = max(LARGEST * (b.weight.value / largest) ** 0.5, 3.0)
        left, right = x(b.middle) - side / 2, x(b.middle) + side / 2
        floor = min((top for a, z, top in placed if a < right and left < z), default=LEVER - 1)
        placed.append((left, right + (0 if side >= 15 else 16), floor - side - 1))
        parts.append(f'<rect class="block" x="{left:.1f}" y="{floor - side:.1f}" width="{side:.1f}" height="{side:.1f}"/>')
        if b.arm[0] != b.arm[1]:
            parts.append(f'<line class="slide" x1="{x(b.arm[0].value):.1f}" x2="{x(b.arm[1].value):.1f}" y1="{floor - 2:.1f}" '
                         f'y2="{floor - 2:.1f}"/>')
        inside = side >= 15
        parts.append(_words(x(b.middle) if inside else right + 3, floor - side / 2 + 4, str(b.number),
                            "middle" if inside else "start", "number" if inside else "beside"))
    return parts, min(top for _, _, top in placed) - 6


def _ticks(low: float, high: float, x: Scale) -> list[str]:
    y, found = LEVER + 66, []
    for arm in range(int(-(-low // TICK_IN)) * TICK_IN, int(high) + 1, TICK_IN):
        found += [f'<line class="tick" x1="{x(arm):.1f}" x2="{x(arm):.1f}" y1="{y - 14}" y2="{y - 8}"/>',
                  _words(x(arm), y + 4, f"{arm} in", "middle", "small")]
    return found


def path(rows: tuple[LoadingRow, ...]) -> Markup:
    """The path of the burn, a row a moment from the ramp down to zero usable fuel: the zone of support, band and middle."""
    known = [(r, r.limits[0], r.limits[1]) for r in rows]
    arms = [f.value for r in rows for f in (r.arm_forward, r.arm_aft)]
    arms += [f.value for r in rows for f in r.limits if f is not None]
    pad = max(0.12 * (max(arms) - min(arms)), 0.2)
    low, high = min(arms) - pad, max(arms) + pad
    left, right = 8.0, 360.0

    def x(arm: float) -> float:
        return left + (arm - low) / (high - low) * (right - left)

    y = [24.0 + STEP * i for i in range(len(rows))]
    zone = [(x(f.value), x(a.value), y[i]) for i, (_, f, a) in enumerate(known) if f is not None and a is not None]
    parts = [_area("zone", zone)] if len(zone) > 1 else []
    parts += [_area("path-band", [(x(r.arm_forward.value), x(r.arm_aft.value), y[i]) for i, r in enumerate(rows)]),
              _line("path-middle", [(x((r.arm_forward.value + r.arm_aft.value) / 2), y[i]) for i, r in enumerate(rows)])]
    for i, (r, f, a) in enumerate(known):
        limits = f"{number_text(f.value, 1)} to {a.text(1)}" if f and a else "none at this weight"
        parts.append(_words(right + 12, y[i] + 4, f"{r.moment}, {r.weight.text(0).split(' (')[0]}: {limits}", "start", "small"))
    said = ("The path of the burn: " + "; ".join(f"{r.moment} {r.verdict}" for r in rows)
            + ". The zone of support is what the record allows; the band is where the front seats may stand.")
    return _svg(said, y[-1] + 22, [_words(right + 12, 10, "moment, weight: allowed arm", "start", "small"), *parts])


def _area(name: str, ends: list[tuple[float, float, float]]) -> str:
    points = [(a, y) for a, _, y in ends] + [(b, y) for _, b, y in reversed(ends)]
    return f'<polygon class="{name}" points="{" ".join(f"{px:.1f},{py:.1f}" for px, py in points)}"/>'


def _line(name: str, points: list[tuple[float, float]]) -> str:
    return f'<polyline class="{name}" points="{" ".join(f"{px:.1f},{py:.1f}" for px, py in points)}"/>'


def _words(x: float, y: float, text: str, anchor: str = "start", name: str = "") -> str:
    return f'<text class="{name}" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(text)}</text>'


def _svg(said: str, height: float, parts: list[str], top: float = 0.0) -> Markup:
    view = f"0 {top:.0f} {WIDTH:.0f} {height - top:.0f}"
    return Markup(f'<svg class="drawing" viewBox="{view}" role="img" aria-label="{escape(said)}">{"".join(parts)}</svg>')
