"""The papers that are not about one flight: each asked of the record, laid out, and given as the bytes of a PDF."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ownship.errors import BadInput
from ownship.questions.places import today_utc

if TYPE_CHECKING:
    from ownship.aeroplane.description import AirframeRecord

DEMO = "demo"
NOTHING = "There is nothing to put on this paper: {}"


def maintenance_list(aeroplane: str | None = None, on: str | None = None, size: str = "a4", folder: Path | None = None) -> bytes:
    """What is due and what ends on a day. BadInput where no aeroplane is kept."""
    from ownship.papers.record_sheets import maintenance_sheet
    from ownship.papers.sheets import sheet_pdf
    from ownship.questions.maintaining import due

    told = due(aeroplane, on, folder).data
    if not told.get("aeroplane"):
        raise BadInput(NOTHING.format("no aeroplane is kept; keep its record first."))
    return sheet_pdf(maintenance_sheet(told), size)


def years_costs(aeroplane: str | None = None, year: int | None = None, size: str = "a4", folder: Path | None = None) -> bytes:
    """A year's costs with the year drawn."""
    from ownship.papers.record_sheets import costs_sheet
    from ownship.papers.sheets import sheet_pdf
    from ownship.questions.costing import costs, drawn_year

    told = costs(year, aeroplane=aeroplane, folder=folder).data
    return sheet_pdf(costs_sheet(told, drawn_year(year, aeroplane, folder)), size)


def amendment_draft(aeroplane: str | None = None, on: str | None = None, since: str | None = None, metric: bool = False,
                    size: str = "a4", folder: Path | None = None) -> bytes:
    """The amendment as an unsigned draft. BadInput where nothing changed since the last paper."""
    from ownship.papers.record_sheets import amendment_sheet
    from ownship.papers.sheets import sheet_pdf
    from ownship.papers.weight import units_of
    from ownship.questions.weighing_ledger import amended

    which, found = amended(aeroplane, on, since, folder)
    if found is None:
        raise BadInput(NOTHING.format(f"nothing was put in or taken out of {which or 'any aeroplane'} since its last paper."))
    return sheet_pdf(amendment_sheet(found, units_of(metric)), size)


def performance_paper(aeroplane: str = DEMO, calibration: str | None = None, size: str = "a5") -> bytes:
    """The performance card by the own calibration where there is one. aeroplane: a file, demo, or a registration of the record."""
    from ownship.papers.record_sheets import performance_sheet
    from ownship.papers.sheets import sheet_pdf
    from ownship.questions.calibrating import card_of

    record, folder = _record(aeroplane)
    title, rows = card_of(record, folder, calibration)
    return sheet_pdf(performance_sheet(rows, title, record.identity.registration, today_utc()), size)


def cards_to_fill(aeroplane: str = DEMO, size: str = "a5") -> bytes:
    """Cards to fill in while measuring, with what to measure next on top."""
    from ownship.papers.blank_cards import blank_cards
    from ownship.papers.sheets import sheet_pdf
    from ownship.questions.explaining import to_measure_next

    record, folder = _record(aeroplane)
    tanks = tuple(t.name or t.id for t in record.tanks)
    return sheet_pdf(blank_cards(record.identity.registration, tanks, today_utc(), tuple(to_measure_next(record, folder))), size)


def _record(aeroplane: str) -> tuple[AirframeRecord, Path | None]:
    """The record as of today and the folder of its rows: of a file, of the demo, or of an aeroplane that is kept."""
    from ownship.questions.airframe_record import airframe
    from ownship.questions.calibrating import record_of
    from ownship.questions.from_record import rows_folder

    if aeroplane == DEMO or aeroplane.endswith(".toml"):
        record, _, folder = record_of(aeroplane)
        return record, folder
    kept = airframe(aeroplane)
    return kept.record, rows_folder(kept.entries, kept.registration, kept.on)
