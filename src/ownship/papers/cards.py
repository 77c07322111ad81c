"""The performance card as text and as CSV."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable
from typing import Any

CAUTION = "Calculated by the model, matched as the title says; no approved data. The flight manual governs."


def card_lines(rows: Iterable[Any], title: str) -> Iterable[str]:
    """The card in lines, a heading a table."""
    yield title
    yield CAUTION
    table = ""
    for r in rows:
        if r.table != table:
            table = r.table
            yield ""
            yield table.upper()
        figure = "cannot" if math.isnan(r.value) else f"{r.value:,.0f} {r.unit} ({r.low:,.0f} to {r.high:,.0f})"
        if r.unit == "usgal/h" and not math.isnan(r.value):
            figure = f"{r.value:.1f} {r.unit} ({r.low:.1f} to {r.high:.1f})"
        yield f"  {r.conditions:38} {r.quantity:16} {figure}{'; ' + r.note if r.note else ''}"


def card_csv(rows: Iterable[Any]) -> str:
    """The card as CSV: table, conditions, quantity, unit, value, low_90, high_90, note; figures empty where it cannot."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["table", "conditions", "quantity", "unit", "value", "low_90", "high_90", "note"])
    for r in rows:
        figures = ["" if math.isnan(x) else f"{x:.2f}" for x in (r.value, r.low, r.high)]
        writer.writerow([r.table, r.conditions, r.quantity, r.unit, *figures, r.note])
    return out.getvalue()
