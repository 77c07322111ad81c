"""Margin bars as inline SVG: the limit, the band on it, the median."""

from __future__ import annotations

import math

from markupsafe import Markup

from ownship.flight.margins import Margin
from ownship.papers.text import band_of

WIDTH, HEIGHT = 176.0, 22.0
LEFT, RIGHT = 1.0, 2.0  # customary allowances shown beyond the limit and inside it


def strip(m: Margin) -> Markup:
    """The bar of one margin; empty where there is no number. One third of the way along is no room left."""
    if m.margin is None or m.allowance_1 is None or not math.isfinite(m.allowance_1) or m.allowance_1 == 0:
        return Markup("")
    scale = m.margin.value / m.allowance_1

    def x(value: float) -> float:
        position = (value / scale + LEFT) / (LEFT + RIGHT)
        return 4 + max(0.0, min(1.0, position)) * (WIDTH - 8)

    band = ""
    ends = band_of(m)
    if ends[0] is not None and ends[1] is not None:
        low, high = x(ends[0]), x(ends[1])
        band = f'<rect class="band" x="{low:.1f}" y="5" width="{max(high - low, 1):.1f}" height="12"/>'
    room = f"{m.margin.text()} of room"
    return Markup(
        f'<svg class="bar" viewBox="0 0 {WIDTH:.0f} {HEIGHT:.0f}" role="img" aria-label="{room}">'
        f'<line class="axis" x1="4" x2="{WIDTH - 4:.0f}" y1="11" y2="11"/>{band}'
        f'<line class="limit" x1="{x(0):.1f}" x2="{x(0):.1f}" y1="1" y2="21"/>'
        f'<circle class="middle" cx="{x(m.margin.value):.1f}" cy="11" r="4.5"/></svg>')
