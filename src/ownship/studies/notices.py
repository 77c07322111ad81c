"""What an owner must hear first of a modification: weight, useful load, and a static rpm that may miss the approval."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ownship.studies.altering import Modifications, approved_weight_kg
from ownship.studies.numbers import Side, static_rev_s
from ownship.studies.pairing import Paired
from ownship.units import from_si
from ownship.words.figures import Figure

FloatArray = NDArray[np.float64]
CHANCE_WORTH_SAYING = 0.05


def first_lines(before: Side, after: Side, modifications: Modifications, figures: dict[str, dict[str, Paired]]) -> list[str]:
    """Sentences in the order of their weight: useful load, certificated weight, static rpm against its band."""
    lines = []
    load = figures["useful_load"]["useful_load"].difference
    if load.value < -0.05:
        lines.append(f"Useful load goes down by {-load.value:.0f} lb.")
    lines += _weight_lines(before, after, modifications)
    static, draws = figures["static_rpm"]["static_rpm"].after, np.asarray(from_si(static_rev_s(after), "rpm"))
    return lines + [line for low, high, whose in _bands(after, modifications)
                    if (line := _static_line(static, draws, low, high, whose))]


def _weight_lines(before: Side, after: Side, modifications: Modifications) -> list[str]:
    most, approved = before.model.airframe.take_off_max_kg, approved_weight_kg(modifications)
    if approved is None:
        stronger = after.model.airframe.rated_power_w > before.model.airframe.rated_power_w
        return ["More power does not raise the certificated weight."] if stronger else []
    if math.isclose(approved, most):
        return []
    old, new = (f"{from_si(x, 'lb'):,.0f} lb" for x in (most, approved))
    if approved < most:
        return [f"The approval lowers the maximum take-off weight from {old} to {new}."]
    return [f"The approval raises the maximum take-off weight from {old} to {new}: the useful load at {new} goes with the "
            f"take-off, climb and ceiling at {new}. Ramp and landing weights and the CG envelope are still those of the record."]


def _bands(after: Side, modifications: Modifications) -> list[tuple[float, float, str]]:
    """(low, high, whose) of every band of static rpm in rpm: the approvals', else the record's."""
    bands = [(*m.approval.static_rev_s, "approval's") for m in modifications if m.approval.static_rev_s]
    own = after.record.propeller
    if not bands and own and own.static_rev_s:
        bands = [(*own.static_rev_s, "record's")]
    return [(float(from_si(a, "rpm")), float(from_si(b, "rpm")), whose) for a, b, whose in bands]


def _static_line(static: Figure, rpm: FloatArray, low: float, high: float, whose: str) -> str:
    """A sentence where the 90 % band of the static rpm does not lie wholly inside the band asked for; else nothing."""
    if static.low is None or static.high is None:
        return f"Static rpm is not known, so it cannot be held against the {whose} band of {low:,.0f} to {high:,.0f}."
    below, above = float(np.mean(rpm < low)), float(np.mean(rpm > high))
    sides = [f"about {100 * share:.0f} % of the chance lies {word}" for share, word in ((below, "below"), (above, "above"))
             if share > CHANCE_WORTH_SAYING]
    if not sides:
        return ""
    verb = "may lie outside" if low <= static.value <= high else "is outside"
    return (f"Static rpm {static.value:,.0f} ({static.low:,.0f} to {static.high:,.0f}) {verb} the {whose} "
            f"band of {low:,.0f} to {high:,.0f}: {' and '.join(sides)}.")
