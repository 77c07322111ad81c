"""A meter that was replaced: its last reading and the new one's first, so that hours run on over the change."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response

from ownship.errors import BadInput, OwnshipError
from ownship.ownership.flights import METERS
from ownship.questions import log_events
from ownship.web.access import Sent, form
from ownship.web.cells import Cell
from ownship.web.log_forms import Refusal, gone_to, kept, number_of, one_aeroplane, or_none, refusal_of, sent_aeroplane, shown

router = APIRouter()
CELLS = (Cell("which", "Meter", choices=tuple((m, m) for m in METERS)), Cell("old", "Its last reading", "1234.5"),
         Cell("new", "First reading of the new one", "0; empty: 0"),
         Cell("at", "Moment", "empty: now; else 2026-07-11T15:00-06:00"))


@router.get("/log/meter")
def meter(request: Request, aeroplane: str = "") -> Response:
    """The form of a replaced meter."""
    return _page(request, Refusal())


def _page(request: Request, refusal: Refusal, which: str | None = None) -> Response:
    return shown(request, "log_meter.html", 422 if refusal.words else 200, aeroplane=which or one_aeroplane(request) or "",
                 choose=True, cells=CELLS, texts=refusal.texts("meter"), refusal=refusal)


@router.post("/log/meter", openapi_extra=form("aeroplane", *(c.name for c in CELLS), "other"))
def keep(request: Request, sent: Sent) -> Response:
    """Keep a replaced meter; again for the same day corrects it."""
    try:
        old = number_of(sent.text("old"), "Its last reading")
        if old is None:
            raise BadInput("Its last reading: nothing is given; write the hours the old meter showed.")
        written = log_events.replaced(sent.text("which"), old, number_of(sent.text("new"), "First reading of the new one") or 0.0,
                                      or_none(sent.text("at")), or_none(sent.text("aeroplane")),
                                      other_aeroplane=bool(sent.text("other")))
    except OwnshipError as error:
        return _page(request, refusal_of(error, "meter", CELLS, sent.fields), sent_aeroplane(sent.text("aeroplane")))
    if "corrects entry" in written.sentence:
        return gone_to(f"/log/entry/{written.numbers[0]}")
    return kept("/log", written.numbers[0], (written.sentence, *written.told))
