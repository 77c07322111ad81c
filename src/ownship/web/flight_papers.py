"""Papers and files of one flight, from the flight's own address: the same query, another ending."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request
from fastapi.responses import PlainTextResponse, Response

from ownship.errors import OwnshipError
from ownship.web.api import NOTHING_ASKED, parameters
from ownship.web.flying import ask

if TYPE_CHECKING:
    from ownship.flight.answer import Assessment
    from ownship.flight.situation import Situation

router = APIRouter()
LEFT_OUT = ("paper", "remedies", "levels", "when", "theme", "before")  # of the query: what a paper does not wait for
TOLD: dict[str, Any] = {"openapi_extra": parameters(LEFT_OUT), "response_class": Response,
                        "responses": {422: {"description": "One sentence: what was given, what is allowed, what to do."}}}
PAPER = "paper"  # of the query
SHEET = {"name": PAPER, "in": "query", "required": False, "description": "a5 or half-letter", "schema": {"type": "string"}}


@router.get("/flight.pdf", **TOLD | {"openapi_extra": {"parameters": [*parameters(LEFT_OUT)["parameters"], SHEET]}})
def kneeboard(request: Request) -> Response:
    """Two pages for the knee; paper=a5 or half-letter."""
    from ownship.papers.kneeboard import kneeboard_pdf, sheet_of

    def make(s: Situation, a: Assessment) -> bytes:
        return kneeboard_pdf(s, a, sheet_of(request.query_params.get(PAPER, "a5")))

    return _made(request, make, "pdf", "application/pdf")


@router.get("/flight.icao.txt", **TOLD)
def flight_plan(request: Request) -> Response:
    """A draft of the ICAO flight plan message; it is never sent."""
    from ownship.papers.icao_plan import icao_plan

    return _made(request, lambda s, a: icao_plan(s, a).text.encode(), "icao.txt", "text/plain; charset=utf-8")


@router.get("/flight.gpx", **TOLD)
def gpx(request: Request) -> Response:
    """The route as GPX 1.1."""
    return _route(request, "gpx", "application/gpx+xml")


@router.get("/flight.geojson", **TOLD)
def geojson(request: Request) -> Response:
    """The route as GeoJSON (RFC 7946)."""
    return _route(request, "geojson", "application/geo+json")


def _route(request: Request, ending: str, media_type: str) -> Response:
    from ownship.papers.route_files import writer_of

    return _made(request, writer_of(f"flight.{ending}"), ending, media_type)


def _made(request: Request, make: Callable[[Situation, Assessment], bytes], ending: str, media_type: str) -> Response:
    """The file, named by aeroplane and ends; where there is none to make, the sentence that says why."""
    asked = ask({k: v for k, v in request.query_params.items() if k not in LEFT_OUT})
    s, a = asked.situation, asked.answer
    if s is None or a is None:
        return PlainTextResponse(asked.refusal or NOTHING_ASKED, status_code=422)
    try:
        data = make(s, a)
    except OwnshipError as error:
        return PlainTextResponse(str(error).removeprefix("--"), status_code=422)
    words = (s.record.identity.registration, s.points[0].name, s.points[-1].name, s.departure.date().isoformat())
    name = "-".join("".join(c for c in w if c.isascii() and (c.isalnum() or c in "-.")) or "x" for w in words)
    shown = "inline" if ending in ("pdf", "icao.txt") else "attachment"
    return Response(data, media_type=media_type, headers={"Content-Disposition": f'{shown}; filename="{name}.{ending}"'})
