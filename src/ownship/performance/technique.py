"""The flap of a row against that of the record's procedure: a figure flown by another technique is not the same figure."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ownship.errors import BadInput
from ownship.performance.model import Airframe
from ownship.performance.rows import Rows

ANY_FLAP = ("static_rpm", "tachometer_pct")  # standing still, or no flight at all
WITH_LAW = ("rate_of_climb_fpm",)  # the flap's drag is in the model (performance/climb.py)


def procedure_flap(kind: str, airframe: Airframe) -> str:
    """The flap of a kind's procedure: "up", "take_off" or "landing"; "" where no flap matters."""
    if kind in ANY_FLAP:
        return ""
    if kind.startswith("takeoff"):
        return airframe.take_off_flap
    return airframe.landing_flap if kind.startswith("landing") else "up"


def other_flap(rows: Rows, airframe: Airframe) -> NDArray[np.bool_]:
    """(row,): rows of a flap that is not their procedure's, where no law of the model tells one from the other.

    A blank flap is the procedure's. Of a climb every flap has its drag, so none is another technique.
    """
    usual = np.array([procedure_flap(k, airframe) for k in rows.kind.tolist()], dtype=str)
    flap = rows.texts["flap"]
    return (flap != "") & (usual != "") & (flap != usual) & ~np.isin(rows.kind, WITH_LAW)


def of_the_procedure(rows: Rows, name: str, airframe: Airframe) -> Rows:
    """The rows that a calibration may learn from; those of another flap are left out and named (Rows.left_out).

    Where all rows of a kind in a book share one flap, that is the book's own technique and they stay. BadInput where
    no row is left.
    """
    other = other_flap(rows, airframe)
    book = rows.texts["origin"] != "own"
    for kind in set(rows.kind[other & book].tolist()):
        mine = book & (rows.kind == kind)
        if len(set(rows.texts["flap"][mine].tolist())) == 1:
            other &= ~mine
    if not other.any():
        return rows
    words = _left_out(rows.where(other), name, airframe)
    if other.all():
        raise BadInput(f"{name} holds no row that the model can learn from. {' '.join(words)}")
    return replace(rows.where(~other), left_out=(*rows.left_out, *words))


def _left_out(rows: Rows, name: str, airframe: Airframe) -> tuple[str, ...]:
    """A sentence for every kind and flap."""
    found: dict[tuple[str, str], list[int]] = {}
    for kind, flap, line in zip(rows.kind.tolist(), rows.texts["flap"].tolist(), rows.line, strict=True):
        found.setdefault((kind, flap), []).append(line)
    return tuple(f"{name} line {', '.join(map(str, lines))}: {kind} with flap {flap}, where the procedure's is "
                 f"{procedure_flap(kind, airframe)}: left out, as nothing says what the flap makes of it."
                 for (kind, flap), lines in found.items())
