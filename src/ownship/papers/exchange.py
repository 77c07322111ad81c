"""An assessment as the JSON of formats.md; quantities are {"value","unit"[,"low","high"]}, moments ISO texts."""

from __future__ import annotations

import dataclasses
import math
from datetime import datetime
from typing import Any

from ownship.flight.answer import Assessment, Extras, LoadingRow, TankRow
from ownship.flight.margins import Margin
from ownship.words.figures import Figure


def to_json(assessment: Assessment) -> dict[str, Any]:
    """The whole answer of `check --json`, schema 1; the extras where they were worked out."""
    return {
        "schema": 1,
        "verdict": assessment.verdict,
        "sentence": assessment.sentence,
        "request": plain(assessment.request),
        "aeroplane": plain(assessment.aeroplane),
        "margins": [_margin(m) for m in assessment.margins],
        "loading": [_loading(row) for row in assessment.loading],
        "timeline": [plain(row) for row in assessment.timeline],
        "legs": [plain(leg) for leg in assessment.legs],
        "fuel": {} if assessment.fuel is None else plain(assessment.fuel),
        "tanks": [_tank(row) for row in assessment.tanks],
        "tank_words": list(assessment.tank_words),
        "runways": [plain(r) for r in assessment.runways],
        "cards": plain(assessment.cards),
        "more": plain(assessment.more),
        "warnings": [plain(w) for w in assessment.warnings],
        "not_known": list(assessment.not_known),
        "not_checked": list(assessment.not_checked),
        "sources": list(assessment.sources),
        "cautions": list(assessment.cautions),
        **_extras(assessment.extras),
    }


def plain(value: Any) -> Any:
    """Any value of an assessment as JSON types: figures, moments, records, tuples; no nan, no infinity."""
    if isinstance(value, Figure):
        return _quantity(value)
    if isinstance(value, datetime):
        return value.isoformat(timespec="seconds")
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, dict):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, tuple | list):
        return [plain(v) for v in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def _quantity(figure: Figure | None) -> dict[str, Any] | None:
    if figure is None or not math.isfinite(figure.value):
        return None
    return {k: v for k, v in figure.to_json().items() if not isinstance(v, float) or math.isfinite(v)}


def _margin(m: Margin) -> dict[str, Any]:
    return {"id": m.id, "name": m.name, "kind": m.kind, "place": m.place, "moment": plain(m.moment),
            "available": _quantity(m.available), "required": _quantity(m.required), "doubly": _quantity(m.doubly),
            "needed": _quantity(m.needed),
            "margin": _quantity(m.margin), "chance": m.chance, "verdict": m.verdict, "source": m.source,
            "words": m.words, "checks": list(m.checks),
            "chain": [{"name": s.name, "value": s.value, "source": s.source} for s in m.chain]}


def _loading(row: LoadingRow) -> dict[str, Any]:
    data = plain(row)
    return data | {"cg": data["arm_aft"]}


def _extras(extras: Extras | None) -> dict[str, Any]:
    """Last points, glide, aerodromes on the way and what they rest on; no key where they were not asked for."""
    if extras is None:
        return {}
    return {"last_points": plain(extras.last_points), "glide": plain(extras.glide), "on_the_way": plain(extras.on_the_way),
            "extras_words": list(extras.words)}


def _tank(row: TankRow) -> dict[str, Any]:
    return {"from": plain(row.start), "to": plain(row.end), "tank": row.tank, "burn": _quantity(row.burn),
            "where": row.where}
