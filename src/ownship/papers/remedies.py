"""Remedies in lines and as JSON."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any


def remedy_lines(found: Any) -> Iterable[str]:
    """What would make it fit: each remedy with its cost, what it was bought for and what is now tightest."""
    yield ""
    yield "What would make it fit (each one judged again in full; cost in minutes as the pilot's coin):"
    if found.words:
        yield f"  {found.words}"
    for number, r in enumerate(found.remedies, 1):
        yield f"  {number}. {r.sentence}"
        yield f"     cost {r.cost:,.0f}; for {', '.join(r.bought_for) or 'nothing that was asked'}; now tightest: {r.tightest}"
        for k, flight in enumerate(r.further, 2):
            yield f"     flight {k}: {flight['from']} to {flight['to']}, leaving {flight['departure']}"
    yield f"  {found.screened:,} combinations screened, {found.assessed} assessed in full."
    yield "  A planning aid: what is left behind, moved or flown otherwise stays the pilot in command's decision."
