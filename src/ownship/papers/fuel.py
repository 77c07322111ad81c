"""Fuel and oil aboard as lines of text: usable, with band, how known and since when."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


def fuel_lines(answer: Mapping[str, Any]) -> tuple[str, ...]:
    """What `fuel` answers, as lines: each tank, the total, oil an hour."""
    tanks = [f"{t['tank']}: {_amount(t['usable'])} of {t['full_usable']['value']:.1f} usable, {t['words']}" if t["usable"] else
             f"{t['tank']}: not known, {t['words'].removeprefix('not known: ')}" for t in answer["tanks"]]
    return (answer["sentence"], *tanks, *_oil(answer["oil"]))


def fill_lines(answer: Mapping[str, Any]) -> tuple[str, ...]:
    """What `fuel fills` answers, as lines: flows by phase, each fill, what to plan on."""
    fills = [f"{f['from'][:10]} to {f['to'][:10]}, {f['flights']} {'flight' if f['flights'] == 1 else 'flights'}: {f['words']}"
             for f in answer["fills"]]
    return (answer["sentence"], *answer["flows"], *fills, *answer["plan"], *answer["told"])


def _amount(q: Mapping[str, Any]) -> str:
    return f"{q['value']:.1f} US gal ({q['low']:.1f} to {q['high']:.1f})"


def _oil(oil: Mapping[str, Any] | None) -> tuple[str, ...]:
    if oil is None:
        return ()
    p = oil["per_hour"]
    band = f" ({p['low']:.2f} to {p['high']:.2f})" if "low" in p else ""
    return (f"oil: {p['value']:.2f} qt an hour{band} over {oil['hours']:.0f} h, {oil['words']}",)
