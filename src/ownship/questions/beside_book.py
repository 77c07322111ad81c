"""The book's rows beside the model that is matched to them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from ownship.errors import MissingKey, OutOfRange

if TYPE_CHECKING:
    from ownship.aeroplane.description import AirframeRecord
    from ownship.performance.rows import Rows
    from ownship.questions.airframe_record import Airframe


@dataclass(frozen=True)
class BookRow:
    """A row of the book and what the model matched to it says: value and band in the row's unit; None: it gives none."""

    kind: str
    conditions: str
    unit: str
    book: float
    predicted: float | None
    low: float | None
    high: float | None

    @property
    def inside(self) -> bool | None:
        """Whether the book's figure lies in the band; None: not known."""
        return None if self.low is None or self.high is None else self.low <= self.book <= self.high


@dataclass(frozen=True)
class BesideBook:
    """The rows beside the model, the agreement chart (SVG), what it was matched to; why: where there is no such comparison."""

    rows: tuple[BookRow, ...] = ()
    chart: str = ""
    matched_to: str = ""
    why: str = ""


def beside_book(a: Airframe) -> BesideBook:
    """What the model matched to the book's rows says of each of them; `why` says what is missing for it."""
    if not a.rows_csv or a.record.book is None or a.record.book.rows is None:
        return BesideBook(why="No rows of the book's performance are kept with this record; without them take-off, landing and "
                              "climb stand on the model alone.")
    try:
        return _beside_book(a.registration, a.record, a.rows_csv)
    except (MissingKey, OutOfRange) as error:
        return BesideBook(why=str(error))


@lru_cache(maxsize=8)
def _beside_book(registration: str, record: AirframeRecord, rows_csv: str) -> BesideBook:
    from ownship.calibration import diagnostics
    from ownship.papers.charts import agreement_chart
    from ownship.performance.model import airframe_of
    from ownship.questions.airframe_record import rows_of
    from ownship.questions.calibrating import fit_both, predicted_of, real_wind, surrogate_of

    plane = airframe_of(record)
    rows = rows_of(record, rows_csv)
    book = real_wind(rows.where(rows.texts["origin"] != "own"), record)
    if not len(book):
        return BesideBook(why="The rows kept with this record hold none of the book's own; add some.")
    fitted = fit_both(plane, book)
    found = tuple(_book_row(book, i, figures) for i, figures in enumerate(predicted_of(plane, book, fitted.book)))
    every = diagnostics.worst(plane, surrogate_of(plane), book, fitted.book, most=len(book))
    return BesideBook(found, agreement_chart(every), f"{len(book)} rows of the book")


def _book_row(rows: Rows, i: int, figures: tuple[str, ...]) -> BookRow:
    from ownship.calibration.diagnostics import KIND_WORDS

    name, unit = KIND_WORDS[str(rows.kind[i])]
    predicted, low, high = (float(x) if x else None for x in figures)
    return BookRow(name, _conditions(rows, i), unit, float(rows.value[i]), predicted, low, high)


def _conditions(rows: Rows, i: int) -> str:
    """As "2,000 ft, 15 C, 2,350 lb, 2,450 rpm"; what is not given left out."""
    from ownship.units import from_si

    said: list[tuple[Any, str, str, str]] = [
        (rows.pressure_altitude_m[i], "ft", "length", "ft"), (rows.temperature_k[i], "C", "temperature", "C"),
        (rows.weight_kg[i], "lb", "mass", "lb"), (rows.rev_s[i], "rpm", "rotation", "rpm"),
        (rows.headwind_m_s[i], "kt", "speed", "kt headwind")]
    return ", ".join(f"{from_si(value, unit, dimension):,.0f} {words}" for value, unit, dimension, words in said
                     if math.isfinite(value) and not (words.endswith("headwind") and value == 0))
