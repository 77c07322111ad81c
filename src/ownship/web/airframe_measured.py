"""What was measured or matched of one aeroplane: its performance beside the book's rows, and its compass."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import tomlkit
from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response
from markupsafe import Markup

from ownship.errors import BadInput, OwnshipError
from ownship.questions.airframe_record import Airframe, airframe, keep, last_swing, now_day
from ownship.questions.beside_book import BesideBook, BookRow, beside_book
from ownship.web import airframe_forms as forms
from ownship.web import undo
from ownship.web.access import Sent, form
from ownship.web.airframe import at, changeable, chart, places, shown, text_of
from ownship.web.airframe_new import ROWS_NAME
from ownship.web.book_rows_form import ROWS, csv_of

if TYPE_CHECKING:
    from ownship.ownership.compass import DeviationCard

router = APIRouter()
HEADINGS = tuple(range(0, 360, 30))
COEFFICIENTS = {
    "A": "the same on every heading: the compass or its lubber line sits turned, or the swing's own headings were off",
    "B": "largest on east and west: magnetism along the fuselage; the east-west screw of the compass moves it",
    "C": "largest on north and south: magnetism across the fuselage; the north-south screw of the compass moves it",
    "D": "largest on north-east, south-east, south-west and north-west: iron that the earth's field magnetises, lying fore and aft "
         "or across",
    "E": "largest on north, east, south and west, changing sign from one to the next: such iron lying askew"}


# ---- performance beside the book's rows


@router.get("/airframe/{registration}/performance.json")
def performance_json(registration: str, on: str = "") -> JSONResponse:
    """The book's rows beside the model as data."""
    a = airframe(registration, on)
    b = beside_book(a)
    return JSONResponse({"schema": 1, "aeroplane": a.registration, "matched_to": b.matched_to or None, "not_known": b.why or None,
                         "rows": [_row_json(r) for r in b.rows]})


def _row_json(r: BookRow) -> dict[str, Any]:
    model = None if r.predicted is None else {"value": r.predicted, "unit": r.unit, "low": r.low, "high": r.high}
    return {"kind": r.kind, "conditions": r.conditions, "book": {"value": r.book, "unit": r.unit}, "model": model,
            "inside": r.inside}


@router.get("/airframe/{registration}/performance")
def performance(request: Request, registration: str, on: str = "") -> Response:
    """The book's rows, what the model matched to them says of each, and how well the two agree."""
    return _performance(request, airframe(registration, on))


def _performance(request: Request, a: Airframe, typed: Mapping[str, str] | None = None, refusal: str = "", wrong: str = "",
                 effective: str = "") -> Response:
    b = beside_book(a)
    fields = dict(typed or {"csv": a.rows_csv if a.record.book and a.record.book.rows else ""})
    return shown(request, "airframe_performance.html", 422 if refusal else 200, a=a, here=at(a), places=places(a), b=b,
                 kinds=_by_kind(b), chart=chart(b.chart) if b.chart else None, refusal=refusal, wrong=wrong,
                 blocks=forms.blocks((ROWS,), fields, wrong), csv=fields.get("csv", ""), effective=effective or now_day())


def _by_kind(b: BesideBook) -> list[tuple[str, str, list[BookRow]]]:
    """(kind, how many of its rows lie inside their band, rows), in the order of the book."""
    found = []
    for kind in dict.fromkeys(r.kind for r in b.rows):
        rows = [r for r in b.rows if r.kind == kind]
        known = [r for r in rows if r.inside is not None]
        said = f"{sum(bool(r.inside) for r in known)} of {len(known)} rows inside the band"
        more = f", {len(rows) - len(known)} without a figure of the model" if len(known) < len(rows) else ""
        found.append((kind, said + more, rows))
    return found


@router.post("/airframe/{registration}/performance", openapi_extra=form("csv", "effective", file="rows"))
def keep_rows(request: Request, registration: str, sent: Sent) -> Response:
    """Keep the book's rows with the record, as a new revision: those of a file, or the text, with the typed rows added."""
    a = changeable(registration)
    try:
        before = text_of(sent.files["rows"], "The file of rows") if "rows" in sent.files else _lines(sent.text("csv"))
        rows = csv_of(sent.fields, before)
        if not rows.strip():
            raise BadInput("No row is given; type one, or choose a file.")
        told = keep(_with_rows(a.toml), sent.text("effective"), a.registration, rows, a.own_text, a.entry).data
    except OwnshipError as error:
        words, wrong = forms.explained(str(error), (ROWS,))
        return _performance(request, a, sent.fields, words, wrong, sent.text("effective"))
    return undo.back_to(f"{at(a)}/performance", told["entry"])


def _lines(text: str) -> str:
    return text.replace("\r\n", "\n")


def _with_rows(toml: str) -> str:
    """The record with its book naming the rows that are kept with it."""
    document = forms.parsed(toml)
    if "book" not in document:
        document["book"] = tomlkit.table()
    book: Any = document["book"]
    if "rows" not in book:
        book["rows"] = ROWS_NAME
    return tomlkit.dumps(document)


# ---- the compass


@router.get("/airframe/{registration}/compass.json")
def compass_json(registration: str, on: str = "") -> JSONResponse:
    """The last swing with its card and coefficients, and the card of the record, as data."""
    a = airframe(registration, on)
    swing = _swing(a)
    card = None if swing is None else {"day": swing["day"], "by": swing["by"], "coefficients_deg": {
        k: v for k, _, v in swing["coefficients"]}, "card": swing["rows"], "words": list(swing["words"])}
    return JSONResponse({"schema": 1, "aeroplane": a.registration, "swing": card, "record": _record_card(a)})


@router.get("/airframe/{registration}/compass")
def compass(request: Request, registration: str, on: str = "") -> Response:
    """The deviation card of the last swing and of the record, and the form of a new swing."""
    return _compass(request, airframe(registration, on), {})


def _compass(request: Request, a: Airframe, typed: Mapping[str, str], refusal: str = "") -> Response:
    readings = [(i, typed.get(f"magnetic{i}", str(h)), typed.get(f"compass{i}", "")) for i, h in enumerate(HEADINGS)]
    return shown(request, "airframe_compass.html", 422 if refusal else 200, a=a, here=at(a), places=places(a), swing=_swing(a),
                 card=_record_card(a), readings=readings, refusal=refusal, day=typed.get("day", now_day()), by=typed.get("by", ""))


def _record_card(a: Airframe) -> dict[str, Any] | None:
    card = a.record.deviation
    return None if card is None else {"rows": [list(x) for x in zip(card.magnetic_deg, card.compass_deg, strict=True)],
                                      "source": card.source}


def _swing(a: Airframe) -> dict[str, Any] | None:
    """The last swing as the page shows it: coefficients with their words, card, chart; None where none is kept."""
    from ownship.ownership.compass import deviation_card

    found = None if a.demo else last_swing(a.registration)
    if found is None:
        return None
    number, s = found
    card = deviation_card(s.magnetic_deg, s.compass_deg)
    c = card.coefficients
    values = {"A": c.a_deg, "B": c.b_deg, "C": c.c_deg, "D": c.d_deg, "E": c.e_deg}
    said = f"Swing of {s.day}" + (f" by {s.by}" if s.by else "")
    return {"number": number, "day": s.day.isoformat(), "by": s.by, "words": card.words, "scatter": c.sd_deg,
            "coefficients": [(k, COEFFICIENTS[k], v) for k, v in values.items()],
            "rows": [list(x) for x in zip(card.magnetic_deg, card.compass_deg, strict=True)],
            "chart": _drawn(card, s.magnetic_deg, s.compass_deg, said)}


@lru_cache(maxsize=16)
def _drawn(card: DeviationCard, magnetic_deg: tuple[float, ...], compass_deg: tuple[float, ...], said: str) -> Markup:
    from ownship.papers.airframe_charts import deviation_chart

    return chart(deviation_chart(card, magnetic_deg, compass_deg, said))


@router.post("/airframe/{registration}/compass", openapi_extra=form("magnetic0", "compass0", "day", "by"))
def keep_swing(request: Request, registration: str, sent: Sent) -> Response:
    """Keep a compass swing; its card is worked out from it."""
    from ownship.questions.maintaining_entries import swing

    a = changeable(registration)
    try:
        read = [(sent.text(f"magnetic{i}"), sent.text(f"compass{i}")) for i in range(len(HEADINGS)) if sent.text(f"compass{i}")]
        if not read:
            raise BadInput("No reading is typed; write what the compass showed on 4 headings or more, better on 8 or 12.")
        swing(" ".join(m for m, _ in read), " ".join(c for _, c in read), sent.text("day"), sent.text("by"), a.registration)
    except OwnshipError as error:
        words = str(error).replace("--magnetic", "Magnetic").replace("--compass", "By compass").replace("--day", "Day")
        return _compass(request, a, sent.fields, words)
    kept = last_swing(a.registration)
    return undo.back_to(f"{at(a)}/compass", kept[0] if kept else 0)


@router.post("/airframe/{registration}/compass/take")
def take(request: Request, registration: str, sent: Sent) -> Response:
    """Put the card of the last swing into the record, as a revision from the day of the swing, or today's where that is later."""
    from ownship.ownership.compass import deviation_card

    a = changeable(registration)
    found = last_swing(a.registration)
    if found is None:
        raise BadInput("No compass swing is kept, so there is no card to take; enter one first.")
    _, s = found
    card, document = deviation_card(s.magnetic_deg, s.compass_deg), forms.parsed(a.toml)
    table = tomlkit.table()
    table.update({"magnetic": list(card.magnetic_deg), "compass": list(card.compass_deg), "source": f"compass swing of {s.day}"})
    document["deviation"] = table
    day = max(s.day, a.effective)
    told = keep(tomlkit.dumps(document), day.isoformat(), a.registration, a.rows_csv, a.own_text, a.entry).data
    return undo.back_to(f"{at(a)}/compass", told["entry"])
