"""The buying and selling sheet of an aeroplane: what its record says, how old it is, what it lacks, what is coming in money."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from ownship.errors import BadInput, OwnshipError
from ownship.questions import costing
from ownship.web.maintenance_forms import Refusal, in_words, none_of, own, shown
from ownship.web.maintenance_screen import MARKS, REFUSED

router = APIRouter()


def _asked(plane: str, hours: str) -> dict[str, Any]:
    return costing.sheet(none_of(hours.strip()), none_of(plane)).data


@router.get("/maintenance/sale.json", responses=REFUSED)
def sheet_json(request: Request, aeroplane: str = "", hours: str = "") -> JSONResponse:
    """The sheet of docs/formats/costs.md; hours: flown in a year, by which what hours limit falls due."""
    return JSONResponse(_asked(own(request), hours))


@router.get("/maintenance/sale", responses=REFUSED)
def sheet(request: Request, aeroplane: str = "", hours: str = "") -> Response:
    """The same as a page, to print."""
    from ownship.ownership.sale import SIGNED
    from ownship.papers.costs import money_text

    plane, told, refusal = own(request), None, Refusal()
    try:
        told = _asked(plane, hours)
    except OwnshipError as error:
        refusal = Refusal(in_words(str(error)), "hours" if hours.strip() else "", "sale")
        told = _without(plane) if hours.strip() else None
    return shown(request, "sale.html", 422 if refusal.words else 200, aeroplane=plane, told=told, hours=hours.strip(),
                 refusal=refusal, marks=MARKS, money=money_text, signed_words=SIGNED)


@router.get("/maintenance/sale.zip", response_class=Response, responses=REFUSED)
def buyers_file(request: Request, aeroplane: str = "") -> Response:
    """The aeroplane's entries for who buys it, without other people's data (docs/formats/record.md), in one zip."""
    from ownship.questions.sale_file import buyers_file as ask

    plane = own(request)
    if not plane:
        raise BadInput("The record knows no aeroplane yet, so there is nothing to hand over; type in its record first.")
    name, data = ask(plane)
    return Response(data, media_type="application/zip",
                    headers={"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"})


def _without(plane: str) -> dict[str, Any] | None:
    """The sheet by the hours of the record, where it can be had."""
    try:
        return _asked(plane, "")
    except OwnshipError:
        return None
