"""Calibrate and predict: rows in, a calibration out, cached by hash so that `check` need not fit again."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ownship.errors import BadInput, MissingKey, OutOfRange, UnreadableFile
from ownship.questions.calibration_file import Fitted, from_json, to_json
from ownship.questions.places import cache_folder, write_whole
from ownship.questions.reading import DEMO, demo_text, read_text

if TYPE_CHECKING:
    from ownship.aeroplane.description import AirframeRecord
    from ownship.calibration.estimate import Calibration
    from ownship.flight.distances import Calibrations
    from ownship.performance.model import Airframe, Model
    from ownship.performance.rows import Rows
    from ownship.physics.propeller import Surrogate
    from ownship.questions.logs import OwnFile

DRAWS, SEED = 256, 0
BLOCK_ROWS = 16  # of a prediction: with 512 draws about as long as vectors work best, and memory stays small
LEAST_GIVEN_1 = 0.9  # share of the draws whose full throttle must give an rpm within its limit, or the row stays blank


def record_of(path: str) -> tuple[AirframeRecord, str, Path | None]:
    """The record, its text and the folder its rows are relative to; "demo" is the invented one."""
    from ownship.aeroplane.reading import read_airframe

    text = demo_text("camas160.toml") if path == DEMO else read_text(path)
    return read_airframe(text, "demo" if path == DEMO else str(path)), text, None if path == DEMO else Path(path).parent


def rows_text(record: AirframeRecord, folder: Path | None) -> tuple[str, str] | None:
    """(text, name) of the book rows that a record names; None where it names none."""
    if record.book is None or record.book.rows is None:
        return None
    name = record.book.rows
    if folder is None:
        return demo_text(name), name
    return read_text(folder / name), str(folder / name)


def surrogate_of(airframe: Airframe) -> Surrogate:
    """The propeller's polynomials, from the cache or made (about half a second)."""
    from dataclasses import replace

    import numpy as np

    from ownship.calibration.estimate import MODEL_VERSION
    from ownship.physics.propeller import Surrogate, build_surrogate, pitch_angle_rad
    from ownship.provenance import digest

    beta = pitch_angle_rad(airframe.pitch_m, airframe.diameter_m)
    path = cache_folder() / f"propeller-{digest(f'{beta!r} {airframe.blades} {MODEL_VERSION}')}.npz"
    try:
        with np.load(io.BytesIO(path.read_bytes())) as data:
            return Surrogate(beta, airframe.blades, data["ct"], data["cp"], tuple(data["rms"].tolist()))
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        pass
    made = build_surrogate(beta, airframe.blades)
    # one memory order, made or loaded: sums in another order differ in the last digits
    made = replace(made, ct=np.ascontiguousarray(made.ct), cp=np.ascontiguousarray(made.cp))
    buffer = io.BytesIO()
    np.savez(buffer, ct=made.ct, cp=made.cp, rms=np.array(made.rms))
    write_whole(path, buffer.getvalue())
    return made


def fit_both(airframe: Airframe, rows: Rows | None, seed: int = SEED) -> Fitted:
    """Book and own calibration of one aeroplane, from the cache where the same rows were fitted before."""
    from ownship.calibration import estimate
    from ownship.provenance import digest, package_text

    name = digest(repr(airframe), "" if rows is None else _said(rows),
                  str(seed), estimate.MODEL_VERSION, package_text("priors.toml"))
    path = cache_folder() / f"calibration-{name}.json"
    try:
        return from_json(json.loads(path.read_text(encoding="utf-8")), str(path))
    except (OSError, ValueError, RecursionError, UnreadableFile):
        pass
    surrogate = surrogate_of(airframe)
    own_rows = rows is not None and bool((rows.texts["origin"] == "own").any())
    book_rows = None if rows is None else rows.where(rows.texts["origin"] != "own")
    book = estimate.fit(airframe, surrogate, book_rows, "book", seed)
    own = None
    if rows is not None and own_rows:
        own = estimate.fit(airframe, surrogate, rows.where(rows.texts["origin"] == "own"), "own", seed, book)
    fitted = Fitted(book, own, name, 0 if rows is None else len(rows), digest(repr(airframe)))
    write_whole(path, json.dumps(to_json(fitted), indent=1).encode())
    return fitted


def _said(rows: Rows) -> str:
    """Everything a fit takes from rows, in full: two sets of rows that differ in meaning differ here."""
    from dataclasses import fields

    others = ("texts", "columns", "cells", "line", "left_out")
    arrays = {f.name: getattr(rows, f.name).tolist() for f in fields(rows) if f.name not in others}
    return repr((arrays, {k: v.tolist() for k, v in rows.texts.items()}))


def _book_parts(record: AirframeRecord, folder: Path | None, rows_path: str | None, where: tuple[str, str] | None) -> list[Rows]:
    """The rows of a handbook, as one part or none; a file may hold the owner's too (origin)."""
    from ownship.performance.model import airframe_of
    from ownship.performance.row_checks import checked
    from ownship.performance.rows import read_rows

    found = (read_text(rows_path), rows_path) if rows_path else rows_text(record, folder)
    parts = [] if found is None else [checked(read_rows(found[0], found[1]), found[1], airframe_of(record))]
    parts = [real_wind(p, record) for p in parts]
    if where is not None:
        column, value = where
        parts = [p.where(_column(p, column) == value) for p in parts]
        if not any(len(p) for p in parts):
            raise BadInput(f"--where {column}={value}: no row has that; check the column's values.")
    return parts


def own_path_of(record: AirframeRecord, folder: Path | None, rows_path: str | None, own_path: str | None) -> str | None:
    """The owner's file: the one named, else that of the record where it is the record's rows that are asked for."""
    if own_path is None and rows_path is None and record.book is not None and record.book.own and folder is not None:
        return str(folder / record.book.own)
    return own_path


def own_file_of(record: AirframeRecord, folder: Path | None, rows_path: str | None, own_path: str | None,
                where: tuple[str, str] | None = None) -> OwnFile | None:
    """The owner's measurements file (TOML) with its logs; None where there is none, or a CSV of rows."""
    from ownship.performance.rows import joined
    from ownship.questions.logs import own_file

    path = own_path_of(record, folder, rows_path, own_path)
    if not path or not path.endswith(".toml"):
        return None
    book = [p.where(p.texts["origin"] != "own") for p in _book_parts(record, folder, rows_path, where)]
    return own_file(record, path, joined(book) if book else None)


def rows_to_match(record: AirframeRecord, folder: Path | None, rows_path: str | None, own_path: str | None,
                  where: tuple[str, str] | None) -> Rows | None:
    """The rows an aeroplane is matched to: those of its book and the owner's, each file once; None where it has none."""
    from ownship.performance.model import airframe_of
    from ownship.performance.row_checks import checked, own_rows
    from ownship.performance.rows import joined

    parts = _book_parts(record, folder, rows_path, where)
    own_path = own_path_of(record, folder, rows_path, own_path)
    measured = own_file_of(record, folder, rows_path, own_path, where)
    if measured is not None:
        if measured.empty():
            raise BadInput(f"{own_path} holds no measurement that the model can learn from. {' '.join(measured.reduced.findings)}")
        parts += [checked(measured.reduced.rows, str(own_path), airframe_of(record))] if len(measured.reduced.rows) else []
    elif own_path:
        parts.append(own_rows(read_text(own_path), own_path, airframe_of(record)))
    return joined(parts) if parts else None


def real_wind(rows: Rows, record: AirframeRecord) -> Rows:
    """Rows with the wind that blew in the book's sense: where its rows took in 50 % of head- and 150 % of tailwind already,
    their wind counts so; the owner's own rows keep theirs."""
    from dataclasses import replace

    import numpy as np

    if record.book is None or not record.book.wind_in_rows:
        return rows
    counted = np.where(rows.headwind_m_s > 0, 0.5, 1.5) * rows.headwind_m_s
    return replace(rows, headwind_m_s=np.where(rows.texts["origin"] == "own", rows.headwind_m_s, counted))


def _column(rows: Rows, column: str) -> Any:
    if column == "kind":
        return rows.kind
    if column not in rows.texts:
        raise BadInput(f"--where {column}: not a text column; use one of kind, {', '.join(rows.texts)}.")
    return rows.texts[column]


def calibrate(aeroplane: str, rows_path: str | None = None, own_path: str | None = None,
              where: tuple[str, str] | None = None, seed: int = SEED) -> Fitted:
    """Fit an aeroplane on its book rows (or those named) and the owner's own; MissingKey where the record lacks data."""
    from ownship.performance.model import airframe_of

    record, _, folder = record_of(aeroplane)
    return fit_both(airframe_of(record), rows_to_match(record, folder, rows_path, own_path, where), seed)


def calibrations_of(record: AirframeRecord, folder: Path | None, fitted: Fitted | None = None, draws: int = DRAWS,
                    seed: int = SEED) -> Calibrations:
    """What `check` judges by: models of both calibrations and the book's table."""
    from ownship.calibration.estimate import draws_of
    from ownship.flight.distances import Calibrations
    from ownship.performance.book import from_rows
    from ownship.performance.model import Model, airframe_of

    airframe = airframe_of(record)
    rows = rows_to_match(record, folder, None, None, None)
    fitted = fitted or fit_both(airframe, rows, seed)
    surrogate = surrogate_of(airframe)
    book = Model(airframe, surrogate, draws_of(fitted.book, draws, seed))
    own = Model(airframe, surrogate, draws_of(fitted.own, draws, seed)) if fitted.own else None
    return Calibrations(book, own, None if rows is None else from_rows(rows), record.book.notes if record.book else ())


def models_or_why(record: AirframeRecord, folder: Path | None,
                  draws: int = DRAWS) -> tuple[Calibrations | None, str]:
    """The calibrations, or the sentence that says what the record lacks for them."""
    try:
        return calibrations_of(record, folder, draws=draws), ""
    except (MissingKey, OutOfRange) as error:
        return None, str(error)


def fitted_of(path: str | None, record: AirframeRecord, folder: Path | None) -> Fitted:
    """The calibration of a file, or the one of the record's own rows."""
    from ownship.performance.model import airframe_of
    from ownship.provenance import digest

    airframe = airframe_of(record)
    if path is None:
        return fit_both(airframe, rows_to_match(record, folder, None, None, None))
    try:
        fitted = from_json(json.loads(read_text(path)), path)
    except (ValueError, RecursionError):  # also a number of thousands of digits, brackets nested thousands deep
        raise UnreadableFile(f"{path} is not JSON that can be read; make one with `ownship calibrate`.") from None
    if fitted.aeroplane != digest(repr(airframe)):
        raise BadInput(f"{path} was made of another aeroplane, or of this one before its record changed; calibrate again.")
    return fitted


def performance_card(aeroplane: str, calibration_path: str | None = None, *, as_csv: bool = False) -> str:
    """The card at the maximum take-off weight, as text or CSV, by the own calibration where there is one."""
    from ownship.papers.cards import card_csv, card_lines

    record, _, folder = record_of(aeroplane)
    title, rows = card_of(record, folder, calibration_path)
    return card_csv(rows) if as_csv else "\n".join(card_lines(rows, title)) + "\n"


def card_of(record: AirframeRecord, folder: Path | None, calibration_path: str | None = None) -> tuple[str, tuple[Any, ...]]:
    """(title, rows) of the performance card of a record at the maximum take-off weight."""
    from ownship.performance.card import card
    from ownship.units import from_si

    fitted = fitted_of(calibration_path, record, folder)
    models = calibrations_of(record, folder, fitted)
    model = models.own or models.book
    rows = card(model, model.airframe.take_off_max_kg, record.engine.avoid_rev_s if record.engine else ())
    weight = f"{from_si(model.airframe.take_off_max_kg, 'lb'):,.0f} lb"
    title = f"{record.identity.registration} {record.identity.type_name}, {weight}, {_matched_to(fitted)}; bands 5 to 95 %"
    return title, tuple(rows)


def _matched_to(fitted: Fitted) -> str:
    """What a calibration was matched to, in words; rows of a book only where there are any."""
    if fitted.book.label == "prior":
        return "matched to your flights, no book rows" if fitted.own else "matched to nothing: priors alone"
    return "matched to the book and your flights" if fitted.own else "matched to the book"


def predict(aeroplane: str, rows_path: str, calibration_path: str | None = None) -> str:
    """The rows as CSV with predicted, low_90 and high_90 appended, by the own calibration where there is one.

    All three stay blank where the row lies outside the hard range of the model (invariant 1), where its flap is not the
    procedure's and no law of the model knows what it does, where full throttle does
    not give its rpm or its rpm is above the limit (the most probable aeroplane or more than 10 % of the draws), and
    where more than 5 % of the draws cannot do it.
    """
    from ownship.performance.model import airframe_of
    from ownship.performance.row_checks import check_speeds
    from ownship.performance.rows import read_rows

    record, _, folder = record_of(aeroplane)
    airframe = airframe_of(record)
    fitted = fitted_of(calibration_path, record, folder)
    rows = read_rows(read_text(rows_path), rows_path, need_value=False)
    check_speeds(rows, rows_path, airframe)
    figures = predicted_of(airframe, real_wind(rows, record), fitted.own or fitted.book)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([*rows.columns, "predicted", "low_90", "high_90"])
    writer.writerows([*cells, *found] for cells, found in zip(rows.cells, figures, strict=True))
    return out.getvalue()


def predicted_of(airframe: Airframe, rows: Rows, calibration: Calibration) -> list[tuple[str, ...]]:
    """(predicted, low_90, high_90) of every row as text, as `predict` writes them; rows: their wind as it blew."""
    from ownship.calibration.estimate import draws_of, middle
    from ownship.performance.model import Model

    surrogate = surrogate_of(airframe)
    models = (Model(airframe, surrogate, middle(calibration)), Model(airframe, surrogate, draws_of(calibration, 512, SEED)))
    return [f for start in range(0, len(rows), BLOCK_ROWS) for f in _predicted(*models, rows.block(start, start + BLOCK_ROWS))]


def _predicted(best: Model, all_draws: Model, rows: Rows) -> list[tuple[str, ...]]:
    """(predicted, low_90, high_90) of every row as text; three blanks where there is no answer."""
    import numpy as np

    from ownship.calibration.measurements import out_of_reach
    from ownship.calibration.measurements import predict as predict_rows
    from ownship.performance.bands import LEAST_ABLE_1, banded
    from ownship.performance.model import beyond_range
    from ownship.performance.rows import NEED_RPM, WORSE_IS_LESS
    from ownship.performance.technique import other_flap

    values, draws = predict_rows(best, rows)[:, 0], predict_rows(all_draws, rows, noise=True)
    beyond = beyond_range(rows.pressure_altitude_m, rows.temperature_k) & (rows.kind != "service_ceiling_ft")
    cannot = out_of_reach(all_draws, rows)
    beyond |= other_flap(rows, best.airframe)
    blank = beyond | out_of_reach(best, rows)[:, 0] | (cannot.mean(axis=1) > 1 - LEAST_GIVEN_1)
    found = []
    for kind, value, line, without, none in zip(rows.kind.tolist(), values, draws, cannot, blank, strict=True):
        # an rpm that a few draws cannot give: the band of those that can; a distance that a few cannot fly: no upper end
        able = line[~without & np.isfinite(line)] if kind in NEED_RPM else line
        band = banded(able, -np.inf if kind in WORSE_IS_LESS else np.inf, LEAST_ABLE_1)
        figures = (float(value), band[0], band[2])
        found.append(("",) * 3 if none or not np.isfinite(figures).all() else tuple(f"{x:.4f}" for x in figures))
    return found
