"""Recency: until when each privilege is good, what is missing and by when at the present pace; pilots and what they did."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from ownship.errors import OwnshipError
from ownship.ownership.progress import KNOWN_RATINGS
from ownship.questions import log_history, recent
from ownship.questions.airframe_record import now_day
from ownship.rules.recency import PLACES, load_recency
from ownship.web.access import Sent, form
from ownship.web.cells import Cell
from ownship.web.log_forms import Refusal, in_words, kept, or_none, refusal_of, shown

router = APIRouter()
WHERE = "/log/recency"
ASKED = ("pilot", "on", "place", "aeroplane_class")
CLASSES = ("single-engine land", "single-engine sea", "multi-engine land", "multi-engine sea")
EVENTS = tuple(dict.fromkeys(e for p in PLACES for e in load_recency(p).events))
EVENT = (Cell("event", "What was done", choices=tuple((e, e) for e in EVENTS)), Cell("day", "Day", "2026-03-05"),
         Cell("pilot", "Pilot", "empty: the only one of the record"),
         Cell("detail", "Class or kind", "3, BasicMed, a rating; empty where there is none"),
         Cell("expires", "Printed last day", "2027-03-31; empty: as the rule has it"))
PILOT = (Cell("name", "Pilot"), Cell("born", "Born", "1980-06-15"),
         Cell("place", "Place of the licence", choices=tuple((p, p) for p in PLACES)))
RATINGS = tuple((f"rating_{i}", r) for i, r in enumerate(KNOWN_RATINGS))
SHAPES = {"current": "&#9679;", "not current": "&#9632;", "not known": "&#9671;"}
LOOKS = {"current": "within-limits", "not current": "outside-limits", "not known": "not-known"}


@router.get("/log/recency.json")
def recency_json(pilot: str = "", on: str = "", place: str = "", aeroplane_class: str = "") -> JSONResponse:
    """Recency as data (docs/formats/recency.md)."""
    return JSONResponse(_ask({"pilot": pilot, "on": on, "place": place, "aeroplane_class": aeroplane_class}))


def _ask(asked: dict[str, str]) -> dict[str, Any]:
    found = {k: or_none(v) for k, v in asked.items()}
    return recent.recency(found["pilot"], found["on"], found["place"], found["aeroplane_class"])


@router.get("/log/recency")
def recency(request: Request, pilot: str = "", on: str = "", place: str = "", aeroplane_class: str = "") -> Response:
    """The same as a page with its forms."""
    return _page(request, Refusal())


def _page(request: Request, refusal: Refusal) -> Response:
    from ownship.ownership.entries import Pilot, PilotEvent

    asked, bad = {k: request.query_params.get(k, "") for k in ASKED}, refusal
    try:
        told = _ask(asked)
    except OwnshipError as error:
        told, bad = _ask(dict.fromkeys(ASKED, "")), Refusal(in_words(str(error)), "asked", typed=asked)
    _, entries = log_history.latest((Pilot, PilotEvent), most=100)
    return shown(request, "recency.html", 422 if bad.words else 200, answer=told, asked=asked, refusal=bad, entries=entries,
                 event=EVENT, pilot=PILOT, ratings=RATINGS, places=PLACES, classes=CLASSES, looks=LOOKS, state_shapes=SHAPES,
                 usual={"day": now_day()}, pace=pace, needed=_needed)


def pace(told: dict[str, Any]) -> str:
    """The date at the present pace, with its band, in words."""
    if told["likely"] is None:
        return "not at the present pace, or not known"
    if told["early"] == told["likely"] == told["late"]:
        return f"at the present pace by {told['likely']}"
    return f"at the present pace about {told['likely']} ({told['early']} to {told['late'] or 'open'}, 5 to 95 %)"


def _needed(step: dict[str, Any]) -> str:
    unit = " h" if step["unit"] == "h" else ""
    return f"{step['done']:g} of {step['needed']:g}{unit}"


@router.post("/log/recency/event", openapi_extra=form(*(c.name for c in EVENT)))
def event(request: Request, sent: Sent) -> Response:
    """Keep something a pilot did."""
    try:
        told = recent.note_event(sent.text("event"), sent.text("day"), or_none(sent.text("pilot")), sent.text("detail"),
                                 or_none(sent.text("expires")))
    except OwnshipError as error:
        return _page(request, refusal_of(error, "event", EVENT, sent.fields))
    return kept(WHERE, told["entry"], (told["sentence"],))


@router.post("/log/recency/pilot", openapi_extra=form(*(c.name for c in PILOT), *(n for n, _ in RATINGS)))
def pilot(request: Request, sent: Sent) -> Response:
    """Keep a pilot: birth date, place of the licence, ratings; the last entry of a name counts."""
    held = [rating for name, rating in RATINGS if sent.text(name)]
    try:
        told = recent.note_pilot(sent.text("name"), or_none(sent.text("born")), sent.text("place") or "USA", held)
    except OwnshipError as error:
        return _page(request, refusal_of(error, "pilot", PILOT, sent.fields))
    return kept(WHERE, told["entry"], (told["sentence"],))
