"""The Log screen: the flights that count, by page and filter, with totals, plots, the CSV; each entry with its history."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from ownship.errors import BadInput, OwnshipError
from ownship.questions import log_history, logging_flights
from ownship.units import from_si
from ownship.web import pages
from ownship.web.access import Sent, form
from ownship.web.log_forms import (
    LABELS,
    OTHERS,
    Refusal,
    asked_aeroplane,
    field_text,
    gone_to,
    in_words,
    or_none,
    shown,
    told_of,
    whole_of,
)
from ownship.words.figures import number_text

router = APIRouter()
PAGE = 50
FILTERS = ("aeroplane", "since", "until", "about")


# ---- the list


@router.get("/log.json")
def listed_json(request: Request, aeroplane: str = "", since: str = "", until: str = "", about: str = "",
                page: str = "1") -> JSONResponse:
    """The flights of a page, totals of all that the filters leave, meters and open defects (docs/formats/log.md)."""
    return JSONResponse(_asked(request, whole_of(page, 1, 10**6)))


@router.get("/log")
def listed(request: Request, aeroplane: str = "", since: str = "", until: str = "", about: str = "", page: str = "1",
           year: str = "") -> Response:
    """The same as a page, the latest first."""
    number, refusal, status = whole_of(page, 1, 10**6), Refusal(), 200
    try:
        told = _asked(request, number)
    except OwnshipError as error:
        told, refusal, status = logging_flights.listed(last=PAGE), Refusal(in_words(str(error)), "filter"), 422
    query = {k: request.query_params.get(k, "").strip() for k in FILTERS}
    count = told["totals"]["flights"]
    corrected = whole_of(request.query_params.get("corrected", ""), 0)
    return shown(request, "log.html", status, answer=told, flights=list(reversed(told["flights"])), query=query, refusal=refusal,
                 page=number, last=-(-count // PAGE) or 1, at=lambda **more: _address(query, **more), imported=_imported(request),
                 corrected=corrected, lines=told_of(corrected),
                 years=_years(), hours_of=_hours, **_drawn(request, or_none(aeroplane), year))


def _asked(request: Request, page: int) -> dict[str, Any]:
    q = request.query_params
    return logging_flights.listed(asked_aeroplane(request), or_none(q.get("since", "")), or_none(q.get("until", "")), PAGE,
                                  about=q.get("about", ""), skip=PAGE * (max(page, 1) - 1))


def _address(query: dict[str, str], **more: str) -> str:
    text = urlencode({k: v for k, v in (query | more).items() if v})
    return f"/log?{text}" if text else "/log"


def _hours(seconds: float | None) -> str:
    """Hours with two digits; "not noted" where there are none."""
    return "not noted" if seconds is None else number_text(float(from_si(seconds, "h")), 2)


def _years() -> tuple[int, ...]:
    """Years with a flight, the latest first."""
    from ownship.ownership.entries import Flight, of_kind

    with logging_flights.opened(None) as (_, entries):
        return tuple(sorted({f.off_blocks.year for _, f in of_kind(entries, Flight)}, reverse=True))


def _drawn(request: Request, aeroplane: str | None, year: str) -> dict[str, Any]:
    """The plot of a year, for the aeroplane asked for, or all."""
    from ownship.papers.log_charts import months_chart

    try:
        months = log_history.months(asked_aeroplane(request), whole_of(year, 0) or None)
    except BadInput:
        months = ()
    return {"chart": pages.chart(months_chart(months)) if months else None, "drawn_year": months[0].month[:4] if months else "",
            "months": [m for m in months if m.flights]}


def _imported(request: Request) -> dict[str, Any] | None:
    """The flights that an import just kept, for its undo."""
    first, last = (whole_of(request.query_params.get(k, ""), 0) for k in ("first", "last"))
    return {"first": first, "last": last, "count": last - first + 1} if 0 < first <= last else None


@router.post("/log/import/undo", openapi_extra=form("first", "last"))
def undo_import(request: Request, sent: Sent) -> Response:
    """Withdraw the flights that one import kept."""
    first, last = whole_of(sent.text("first"), 0), whole_of(sent.text("last"), 0)
    if not 0 < first <= last < first + 100_000:
        raise BadInput("The import to undo is not known; withdraw its flights one by one.")
    log_history.withdraw_several(range(first, last + 1), "import undone on the screen")
    return gone_to("/log")


@router.get("/log.csv")
def csv_file(request: Request, aeroplane: str = "") -> Response:
    """Every flight that stands as CSV, which reads back to the same flights."""
    from ownship.questions.log_csv import csv_text

    which = asked_aeroplane(request)
    _, text = csv_text(which)
    return Response(text.encode(), media_type="text/csv; charset=utf-8",
                    headers={"Content-Disposition": f'attachment; filename="log{f"-{which}" if which else ""}.csv"'})


# ---- one entry


@router.get("/log/entry/{number}.json")
def entry_json(number: str) -> JSONResponse:
    """An entry with its history as data."""
    return JSONResponse(log_history.history(whole_of(number, 0)))


@router.get("/log/entry/{number}")
def entry(request: Request, number: str) -> Response:
    """An entry with its history: what it said, what corrected it and why."""
    return _entry(request, number, Refusal())


def _entry(request: Request, number: str, refusal: Refusal) -> Response:
    told = log_history.history(whole_of(number, 0))
    return shown(request, "log_entry.html", 422 if refusal.words else 200, told=told, refusal=refusal,
                 named=OTHERS | LABELS, field_text=field_text, reason=refusal.typed.get("why", ""), back=_back(told["kind"]))


def _back(kind: str) -> tuple[str, str]:
    """The page an entry belongs to: its address and name."""
    return {"fuel": ("/log/fuel", "Fuel and oil"), "fuel seen": ("/log/fuel", "Fuel and oil"), "oil": ("/log/fuel", "Fuel and oil"),
            "pilot": ("/log/recency", "Recency"), "pilot event": ("/log/recency", "Recency"), "cost": ("/log/costs", "Costs"),
            "hand-over": ("/log/hand-over", "Hand-over")}.get(kind, ("/log", "Flights"))


@router.post("/log/entry/{number}/withdraw", openapi_extra=form("why"))
def withdraw(request: Request, number: str, sent: Sent) -> Response:
    """An entry no longer counts; it stays readable, and the reason with it."""
    try:
        written = logging_flights.withdraw(whole_of(number, 0), sent.text("why"))
    except OwnshipError as error:
        return _entry(request, number, Refusal(in_words(str(error)), "withdraw", "why", sent.fields))
    return gone_to(f"/log/entry/{written.numbers[0]}")


@router.post("/log/entry/{number}/back", openapi_extra=form())
def put_back(request: Request, number: str, sent: Sent) -> Response:
    """Undo a correction or a withdrawal: what stood before counts again."""
    try:
        new = log_history.put_back(whole_of(number, 0))
    except OwnshipError as error:
        return _entry(request, number, Refusal(in_words(str(error)), "back"))
    return gone_to(f"/log/entry/{new}")


