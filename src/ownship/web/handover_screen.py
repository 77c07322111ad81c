"""The hand-over to a partner: fuel and how known, oil, defects, tie-down, keys, what is owed; kept, and shown as a sheet."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from ownship.errors import OwnshipError
from ownship.questions import log_events, log_history
from ownship.web.access import Sent, form
from ownship.web.cells import Cell
from ownship.web.log_forms import Refusal, filled, kept, number_of, one_aeroplane, or_none, refusal_of, sent_aeroplane, shown

router = APIRouter()
WHERE = "/log/hand-over"
CELLS = (Cell("to", "To", "who takes the aeroplane"), Cell("by", "From", "who hands it over"),
         Cell("meter", "Settled by the", choices=(("tachometer", "tachometer"), ("hour meter", "hour meter"))),
         Cell("reading", "Reading", "1234.5"), Cell("rate", "Rate an hour", "95.00 USD"),
         Cell("oil", "Oil", "6.5 qt, by the dipstick"),
         Cell("tied_down", "Tied down", "three ropes, control lock in, cover on"), Cell("keys", "Keys", "in the box, both"),
         Cell("at", "Moment", "empty: now; else 2026-07-11T15:00-06:00"))


@router.get("/log/hand-over.json")
def hand_over_json(request: Request, aeroplane: str = "") -> JSONResponse:
    """What a hand-over now would say by itself, and the last one kept, as data."""
    which = one_aeroplane(request)
    return JSONResponse({"schema": 1, "aeroplane": which} | (log_history.before_hand_over(which) if which else {}))


@router.get("/log/hand-over")
def hand_over(request: Request, aeroplane: str = "") -> Response:
    """The sheet of the last hand-over and the form of the next."""
    return _page(request, Refusal())


def _page(request: Request, refusal: Refusal, which: str | None = None) -> Response:
    which = which or one_aeroplane(request)
    told: dict[str, Any] | None = log_history.before_hand_over(which) if which else None
    return shown(request, "log_hand_over.html", 422 if refusal.words else 200, aeroplane=which or "", choose=True, now=told,
                 cells=CELLS, texts=refusal.texts("hand-over"), refusal=refusal)


@router.post("/log/hand-over", openapi_extra=form("aeroplane", *(c.name for c in CELLS), "other"))
def keep(request: Request, sent: Sent) -> Response:
    """Keep a hand-over."""
    f = filled(sent.fields, CELLS)
    try:
        sheet = log_events.hand_over(f.get("to", ""), f.get("by", ""), f.get("meter", "tachometer"),
                                     number_of(f.get("reading", ""), "Reading"), f.get("rate"), f.get("oil"),
                                     f.get("tied_down", ""), f.get("keys", ""), f.get("at"), or_none(sent.text("aeroplane")),
                                     other_aeroplane=bool(sent.text("other")))
    except OwnshipError as error:
        return _page(request, refusal_of(error, "hand-over", CELLS, sent.fields), sent_aeroplane(sent.text("aeroplane")))
    return kept(WHERE, sheet["number"], (sheet["sentence"], *sheet["told"], f"settlement: {sheet['settlement']['words']}"),
                aeroplane=sheet["aeroplane"])
