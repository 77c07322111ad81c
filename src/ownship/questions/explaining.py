"""A calibration in words: how sure, what disagrees, how far from the book, what to measure next."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ownship.questions.calibrating import Fitted, _rows_of, calibrations_of, measured, record_of, surrogate_of

if TYPE_CHECKING:
    from ownship.calibration.estimate import Calibration
    from ownship.performance.rows import Rows


def explain(aeroplane: str, fitted: Fitted, rows_path: str | None = None, own_path: str | None = None,
            where: tuple[str, str] | None = None) -> dict[str, Any]:
    """Lines by heading; figures are computed afresh from the calibration."""
    from ownship.calibration import diagnostics
    from ownship.calibration.estimate import draws_of, individual
    from ownship.performance.model import Model, airframe_of

    record, _, folder = record_of(aeroplane)
    airframe = airframe_of(record)
    surrogate, rows = surrogate_of(airframe), _rows_of(record, folder, rows_path, own_path, where)
    known = fitted.own or individual(fitted.book)
    models = calibrations_of(record, folder, fitted)
    latest = models.own or models.book
    lines = {"figures of this aeroplane": [f"{f.name}: {f.value:,.1f} {f.unit} ({f.low:,.1f} to {f.high:,.1f})"
                                           for f in diagnostics.key_figures(latest)]}
    if own_path and own_path.endswith(".toml"):
        lines["what your measurements say"] = _findings(measured(record, own_path))
    if models.own is not None:
        unmeasured = Model(airframe, surrogate, draws_of(individual(fitted.book)))
        before = {f.name: f for f in diagnostics.key_figures(unmeasured)}
        lines["how far from its book"] = list(diagnostics.distance_from_book(models.book, models.own))
        lines["bands before and after your measurements"] = [
            f"{f.name}: {(before[f.name].high - before[f.name].low) / 2:,.1f} to {(f.high - f.low) / 2:,.1f} {f.unit} either way"
            for f in diagnostics.key_figures(models.own)]
        lines["with one kind of your rows left out"] = list(diagnostics.kinds_left_out(
            airframe, surrogate, rows, fitted.book)) if rows is not None else []
    for whose, part, matched in by_origin(rows, fitted):
        lines[f"the three rows of {whose} that disagree most"] = [
            d.words for d in diagnostics.worst(airframe, surrogate, part, matched)]
    best = diagnostics.measure_next(airframe, surrogate, known)[:3]
    lines["what to measure next"] = [f"{n.words}: bands {n.narrowing_1:.0%} narrower on average" for n in best]
    return lines


def by_origin(rows: Rows | None, fitted: Fitted) -> list[tuple[str, Rows, Calibration]]:
    """(whose, rows, the calibration matched to them) for the book's rows and for the owner's, where there are any."""
    if rows is None:
        return []
    own = rows.texts["origin"] == "own"
    parts = [("the book", rows.where(~own), fitted.book)]
    if fitted.own is not None:
        parts.insert(0, ("yours", rows.where(own), fitted.own))
    return [p for p in parts if len(p[1])]


def _findings(reduced: Any) -> list[str]:
    """Findings, the tachometer's ratio and the position error found, in lines."""
    from ownship.units import from_si

    lines = list(reduced.findings)
    for ias, cas, sd in reduced.position_error:
        lines.append(f"position error: {from_si(ias, 'kt'):.0f} KIAS is {from_si(cas, 'kt'):.1f} KCAS "
                     f"(one sd {from_si(sd, 'kt'):.1f})")
    return lines
