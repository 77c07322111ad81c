"""The Cockpit: the flight of an address in the air. The page counts on by itself; here it is handed out, kept and taken back."""

from __future__ import annotations

import hashlib
import json
import re
from datetime import timedelta
from importlib.resources import files
from typing import Any
from urllib.parse import parse_qsl, urlencode, urlsplit

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, PlainTextResponse, RedirectResponse, Response
from markupsafe import Markup

from ownship.errors import OwnshipError
from ownship.web import access, in_units, pages
from ownship.web.access import Sent
from ownship.web.addresses import address
from ownship.web.cockpit_data import cockpit_data
from ownship.web.flying import Asked, ask
from ownship.web.forms import VIEW
from ownship.words.cautions import cautions_for

router = APIRouter()
KEPT_VIEW = ("aeroplane", "theme")
SCRIPTS = ("cockpit.js", "sw.js", "app.js")
FACES = re.compile(r"^@font-face.*$", re.MULTILINE)
NO_FLIGHT = "There is no flight here that can be flown yet; open the Cockpit from a flight on the Flight screen."
WORKER_MISSING = "The pages' scripts are not built on this computer; the Cockpit is paper here."
DRAFT_FIELDS = (("off_blocks", "Off blocks", "UTC, as 2026-07-11T21:00:00Z"), ("take_off", "Take-off", "UTC"),
                ("landing", "Landing", "UTC"), ("on_blocks", "On blocks", "UTC"), ("origin", "From", ""), ("destination", "To", ""),
                ("pilot", "Pilot", "empty: the only one of the record"), ("passengers", "Passengers", ""),
                ("landings", "Landings", ""),
                ("fuel_before", "Usable fuel before", "as left=19 usgal dipstick; right=17 usgal mark"),
                ("fuel_after", "Usable fuel after", "by the clock; a dipstick settles it"), ("remarks", "Remarks", ""))


@router.get("/cockpit", response_class=HTMLResponse)
def cockpit(request: Request) -> Response:
    """The flight in the air; with scripts off the plan as a table to print. From the Flight screen its flight comes along."""
    came = _flight_screen(request)
    if came:
        return RedirectResponse(f"/cockpit?{came}", status_code=303, headers={"Cache-Control": "no-store"})
    asked = ask(request.query_params)
    return pages.page(request, "cockpit.html", 422 if asked.refusal else 200, **_shown(asked, in_units.units_of(request)))


def _flight_screen(request: Request) -> str:
    """The query of the Flight screen that a bare link to the Cockpit was followed from; "" where it was none."""
    came = urlsplit(request.headers.get("referer", ""))
    if request.url.query or came.netloc != request.headers.get("host") or came.path != "/":
        return ""
    return urlencode([(k, v) for k, v in parse_qsl(came.query, keep_blank_values=True) if k in KEPT_VIEW or k not in VIEW])


@router.get("/cockpit.json")
def cockpit_json(request: Request) -> JSONResponse:
    """The same flight as data: what the page counts with."""
    asked = ask(request.query_params)
    found = cockpit_data(asked)
    return JSONResponse({"refused": asked.refusal or NO_FLIGHT} if found is None else found, 422 if found is None else 200)


@router.get("/cockpit.html-file")
def cockpit_file(request: Request) -> Response:
    """The flight as one file to save: no script, nothing loaded from anywhere."""
    asked = ask(request.query_params)
    found = cockpit_data(asked)
    if found is None:
        return pages.refused(request, asked.refusal or NO_FLIGHT)
    style = FACES.sub("", (files("ownship.web") / "static" / "style.css").read_text(encoding="utf-8"))
    words = pages.environment().get_template("cockpit_file.html").render(
        **_shown(asked, in_units.units_of(request)), style=Markup(style), theme=pages.theme_of(request))
    name = re.sub(r"[^A-Za-z0-9]+", "-", f"{found['aeroplane']} {found['title']} {asked.answer.timeline[0].time:%Y-%m-%d}"
                  if asked.answer else "flight").strip("-")
    return Response(words, media_type="text/html",
                    headers={"Content-Disposition": f'attachment; filename="{name}.html"'})


def _shown(asked: Asked, units: in_units.Units) -> dict[str, Any]:
    """What page and file show of a flight, in a person's units."""
    found = cockpit_data(asked, units)
    return {"asked": asked, "answer": in_units.in_units(asked.answer, units), "refusal": asked.refusal, "plan": found,
            "seconds": lambda s: timedelta(seconds=s), "screen": "Cockpit", "no_flight": NO_FLIGHT,
            "cautions": cautions_for(("cockpit", "verdict", "tanks", "fuel")),
            "plan_text": "" if found is None else Markup(_within_html(found)),
            "address": lambda path, **view: address(asked, path, **view)}


def _within_html(found: dict[str, Any]) -> str:
    """JSON that may stand within a page: no character in it can end the element."""
    text = json.dumps(found, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


@router.get("/sw.js")
def worker() -> Response:
    """The service worker, marked by what is built, so that a new build is a new version that takes over."""
    marks = [pages.built(name) for name in SCRIPTS]
    if not marks[1]:
        return PlainTextResponse(WORKER_MISSING, status_code=404)
    style = (files("ownship.web") / "static" / "style.css").read_bytes()
    version = hashlib.sha256("".join(marks).encode() + style).hexdigest()[:12]
    body = (files("ownship.web") / "static" / "dist" / "sw.js").read_text(encoding="utf-8")
    return Response(f'self.VERSION="{version}";\n{body}', media_type="text/javascript",
                    headers={"Cache-Control": "no-cache", "Service-Worker-Allowed": "/"})


# -- events ---------------------------------------------------------------------------------------------------------------
@router.get("/cockpit/events")
def events(request: Request, flight: str = "") -> JSONResponse:
    """What the record holds of a flight, and the token this browser must send with more."""
    from ownship.questions.cockpit_events import known

    found = _answer(known(flight[:64])) | {"token": access.token_of(request)}
    response = JSONResponse(found, headers={"Cache-Control": "no-store"})
    access.keep_token(request, response)
    return response


@router.post("/cockpit/events")
def take(sent: Sent) -> JSONResponse:
    """Take events and draft of a flight; each event counts once, whatever is sent again."""
    from ownship.questions.cockpit_events import keep

    try:
        return JSONResponse(_answer(keep(sent.text("sent"))))
    except OwnshipError as error:
        return JSONResponse({"refused": str(error)}, status_code=422)


def _answer(kept: Any) -> dict[str, Any]:
    each = [{"id": e.event, "kind": e.kind, "wall_ms": e.wall_ms, "mono_ms": e.mono_ms, "run": e.run, "began_ms": e.began_ms,
             "about": e.about, "undoes": e.undoes, "utc_ms": e.utc_ms} for e in kept.events]
    return {"schema": 1, "events": each, "number": kept.number, "confirmed": kept.confirmed, "words": kept.words}


# -- drafts into the log --------------------------------------------------------------------------------------------------
def _drafts() -> list[dict[str, Any]]:
    """Drafts of the record; none where no record is kept: looking makes none."""
    from ownship.questions.cockpit_events import drafts
    from ownship.questions.record import NAME, record_folder

    return drafts() if (record_folder() / NAME).exists() else []


@router.get("/cockpit/drafts", response_class=HTMLResponse)
def draft_page(request: Request) -> Response:
    """Flights from the Cockpit that wait to be confirmed into the log."""
    return _draft_page(request)


@router.get("/cockpit/drafts.json")
def draft_json() -> JSONResponse:
    """The same as data."""
    return JSONResponse({"schema": 1, "drafts": _drafts()})


@router.post("/cockpit/drafts")
def confirm_draft(request: Request, sent: Sent) -> Response:
    """Enter one draft into the log as the pilot leaves it; a refusal stands beside the form, everything typed kept."""
    from ownship.questions.cockpit_events import confirm

    number = sent.text("draft")
    typed = {name: sent.text(name) for name, _, _ in DRAFT_FIELDS}
    try:
        written = confirm(int(number) if number.isascii() and number.isdigit() and len(number) < 10 else 0, typed)
    except OwnshipError as error:
        return _draft_page(request, 422, refusal=str(error), typed_for=number, typed=typed)
    return RedirectResponse(f"/cockpit/drafts?entered={written.numbers[0]}", status_code=303)


def _draft_page(request: Request, status: int = 200, /, *, refusal: str = "", typed_for: str = "",
                typed: dict[str, str] | None = None) -> Response:
    entered = request.query_params.get("entered", "")
    return pages.page(request, "cockpit_drafts.html", status, drafts=_drafts(), fields=DRAFT_FIELDS, refusal=refusal,
                      typed_for=typed_for, typed=typed or {}, screen="Cockpit",
                      entered=entered if entered.isascii() and entered.isdigit() else "")
