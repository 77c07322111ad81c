"""A calibration in words: how sure, what disagrees, how far from the book, what to measure next."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ownship.questions.calibrating import calibrations_of, own_file_of, record_of, rows_to_match, surrogate_of
from ownship.questions.calibration_file import Fitted

if TYPE_CHECKING:
    from pathlib import Path

    from ownship.aeroplane.description import AirframeRecord
    from ownship.calibration.estimate import Calibration
    from ownship.performance.model import Airframe, Model
    from ownship.performance.rows import Rows
    from ownship.physics.propeller import Surrogate


def explain(aeroplane: str, fitted: Fitted, rows_path: str | None = None, own_path: str | None = None,
            where: tuple[str, str] | None = None) -> dict[str, Any]:
    """Lines by heading, headings without lines left out; figures are computed afresh from the calibration.

    Without own rows the figures are told twice: as the book has them (the scatter of its rows) and for this one aeroplane,
    of which nothing is measured yet (individual: how far aeroplanes of a type lie from their book).
    """
    from ownship.calibration import diagnostics
    from ownship.calibration.estimate import draws_of, individual
    from ownship.performance.model import Model, airframe_of

    record, _, folder = record_of(aeroplane)
    airframe = airframe_of(record)
    surrogate, rows = surrogate_of(airframe), rows_to_match(record, folder, rows_path, own_path, where)
    known = fitted.own or individual(fitted.book)
    models = calibrations_of(record, folder, fitted)
    unmeasured = Model(airframe, surrogate, draws_of(individual(fitted.book)))
    if models.own is not None:
        lines = {"figures of this aeroplane": _figures(models.own)}
    else:
        book = "what its book says" if fitted.book.rows_used else "what is known of aeroplanes of its kind, no rows at all"
        lines = {book: _figures(models.book), "this one aeroplane before any measurement": _figures(unmeasured)}
    own_file = own_file_of(record, folder, rows_path, own_path, where)
    if own_file is not None:
        lines |= {"what your measurements say": _findings(own_file.reduced)} | own_file.headings()
    if models.own is not None:
        before = {f.name: f for f in diagnostics.key_figures(unmeasured)}
        lines["how far from its book"] = list(diagnostics.distance_from_book(models.book, models.own))
        lines["bands before and after your measurements"] = [
            f"{f.name}: {(before[f.name].high - before[f.name].low) / 2:,.1f} to {(f.high - f.low) / 2:,.1f} {f.unit} either way"
            for f in diagnostics.key_figures(models.own)]
        lines["with one kind of your rows left out"] = list(diagnostics.kinds_left_out(
            airframe, surrogate, rows, fitted.book)) if rows is not None else []
    for whose, part, matched in by_origin(rows, fitted):
        lines[f"the three rows of {whose} that disagree most"] = [
            _with_what_is_known(d.words) for d in diagnostics.worst(airframe, surrogate, part, matched)]
    lines["rows left out"] = [] if rows is None else list(rows.left_out)
    lines["what to measure next"] = _next(airframe, surrogate, known)
    return {heading: said for heading, said in lines.items() if said}


def to_measure_next(record: AirframeRecord, folder: Path | None) -> list[str]:
    """What would narrow the bands of this aeroplane most, three lines; none where its record has no model."""
    from ownship.calibration.estimate import individual
    from ownship.errors import MissingKey
    from ownship.performance.model import airframe_of
    from ownship.questions.calibrating import fitted_of

    try:
        airframe = airframe_of(record)
    except MissingKey:
        return []
    fitted = fitted_of(None, record, folder)
    return _next(airframe, surrogate_of(airframe), fitted.own or individual(fitted.book))


def _next(airframe: Airframe, surrogate: Surrogate, known: Calibration) -> list[str]:
    from ownship.calibration import diagnostics

    best = diagnostics.measure_next(airframe, surrogate, known)[:3]
    return [f"{n.words}: bands {n.narrowing_1:.0%} narrower on average" for n in best]


def matched_lines(data: dict[str, Any], saved: str | None) -> list[str]:
    """What each calibration of a file (to_json) was matched to, how many rows of it are the owner's, and its marks."""
    lines = []
    for key in ("book", "own"):
        if (one := data[key]) is None:
            continue
        if one["label"] == "prior":
            lines.append(f"{key}: matched to nothing: priors alone, wide bands")
            continue
        yours = one["rows"] - (data["book"]["rows"] if key == "own" else one["rows"])
        mine = f", {yours} of them yours" if key == "own" else ""
        spread = f"re-sampled, {one['effective']:.0f} effective of 2,048" if one["effective"] else "spread by Laplace"
        lines.append(f"{key}: matched to {one['rows']} rows{mine}; {spread}")
    lines.append(f"rows hash {data['hash']}, model version {data['model_version']}, seed {data['seed']}")
    return [*lines, f"written to {saved}"] if saved else lines


def _figures(model: Model) -> list[str]:
    """The key figures of a model, with their bands."""
    from ownship.calibration.diagnostics import key_figures
    from ownship.words.figures import Figure

    return [f"{f.name}: {Figure(f.value, f.unit, f.low, f.high).text()}" for f in key_figures(model)]


def _with_what_is_known(words: str) -> str:
    """The words on a row without what it does not have: a static rpm needs no weight."""
    return words.replace(", nan lb", "")


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
