"""Defects from found to rectified: what is open, for which flights, every step kept; forms to enter each."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from ownship.errors import OwnshipError
from ownship.ownership.bodies import USES
from ownship.questions import log_events, maintaining, maintaining_typed
from ownship.web.access import Posted, Sent, form
from ownship.web.maintenance_forms import (
    FOUND,
    NOTHING,
    STEP,
    Form,
    Refusal,
    begun,
    kept,
    none_of,
    own,
    refusal_of,
    safe,
    shown,
    ticked,
)
from ownship.web.maintenance_screen import REFUSED

router = APIRouter()
HERE = "/maintenance/defects"
STATES = {"found": ("■", "outside-limits"), "deferral over": ("■", "outside-limits"), "deferred": ("▲", "tight")}


@router.get("/maintenance/defects.json", responses=REFUSED)
def defects_json(request: Request, aeroplane: str = "") -> JSONResponse:
    """Open defects (docs/formats/log.md) and every step of all of them, the latest first."""
    return JSONResponse(_asked(request, own(request)))


def _asked(request: Request, plane: str) -> dict[str, Any]:
    told = log_events.defects(none_of(plane), ticked(request.query_params))
    return told | {"steps": maintaining_typed.defect_steps(plane) if plane else []}


@router.get("/maintenance/defects", responses=REFUSED)
def defects(request: Request, aeroplane: str = "", name: str = "", state: str = "") -> Response:
    """The same as a page with its forms; name and state: what the form to defer or rectify begins with."""
    return _page(request, own(request), {"step": {"name": name, "state": state}})


def _page(request: Request, plane: str, typed: Mapping[str, Mapping[str, str]], refusal: Refusal | None = None) -> Response:
    bad = refusal or Refusal()
    told = _asked(request, plane)
    texts: dict[str, Mapping[str, str]] = {"found": begun(FOUND), "step": {}, **typed}
    names = tuple((d["name"], d["name"]) for d in told["defects"])
    names = (NOTHING, *names) if names else ()
    return shown(request, "defects.html", 422 if bad.words else 200, aeroplane=plane, told=told, states=STATES, refusal=bad,
                 texts=texts, found=FOUND, step=STEP, choices={"name": names},
                 chosen=ticked(request.query_params) or USES)


@router.post("/maintenance/defects/found", openapi_extra=form("aeroplane", *(c.name for c in FOUND.cells), *FOUND.ticks),
             responses=REFUSED)
def found(request: Request, sent: Sent) -> Response:
    """Keep a defect that was found."""
    return _kept(request, sent, FOUND, "found")


@router.post("/maintenance/defects/step", openapi_extra=form("aeroplane", *(c.name for c in STEP.cells)), responses=REFUSED)
def step(request: Request, sent: Sent) -> Response:
    """Keep that a defect was deferred or rectified."""
    return _kept(request, sent, STEP, sent.text("state"))


def _kept(request: Request, sent: Posted, f: Form, state: str) -> Response:
    plane = sent.text("aeroplane")
    try:
        which_one = maintaining.registration(plane)
        told = log_events.defect(sent.text("name"), state, sent.text("words"), ticked(sent.fields), none_of(sent.text("until")),
                                 sent.text("by"), none_of(sent.text("at")), which_one, other_aeroplane=bool(sent.text("other")))
    except OwnshipError as error:
        return _page(request, safe(plane), {f.name: sent.fields}, refusal_of(error, f))
    return kept(HERE, which_one, told.numbers, (told.sentence, *told.told))
