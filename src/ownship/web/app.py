"""The application: three moves a page - read, ask, show. It computes nothing itself."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response
from starlette.exceptions import HTTPException

from ownship.web import api, pages
from ownship.web.flying import ask

LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
POLICY = ("default-src 'self'; script-src 'none'; style-src 'self'; object-src 'none'; base-uri 'none'; "
          "form-action 'self'; frame-ancestors 'none'")
LONGEST_QUERY = 20_000
REFUSED: dict[int | str, dict[str, Any]] = {422: {"description": "One sentence: what was given, what is allowed, what to do."}}


def create_app() -> FastAPI:
    """The application with its two faces: `/` as a page, `/flight.json` as data; what it answers to at `/openapi.json`."""
    app = FastAPI(title="Ownship", docs_url=None, redoc_url=None)
    app.middleware("http")(_guard)

    @app.get("/", response_class=HTMLResponse, openapi_extra=api.parameters(), responses=REFUSED)
    def flight(request: Request) -> HTMLResponse:
        """The request beside the answer; the address holds the whole request."""
        asked = ask(request.query_params)
        return HTMLResponse(pages.flight(asked), status_code=422 if asked.refusal else 200)

    @app.get("/flight.json", openapi_extra=api.parameters(), responses=REFUSED)
    def flight_json(request: Request) -> JSONResponse:
        """The same answer as data, schema 1 of docs/formats/assessment.md."""
        status, found = api.data(ask(request.query_params))
        return JSONResponse(found, status_code=status)

    @app.get("/style.css", include_in_schema=False)
    def style() -> Response:
        return Response(pages.style(), media_type="text/css")

    @app.exception_handler(HTTPException)
    async def missing(request: Request, error: HTTPException) -> HTMLResponse:
        return HTMLResponse(pages.missing(error.status_code), status_code=error.status_code)

    return app


async def _guard(request: Request, call_next: Any) -> Response:
    """This machine only, an address of a size one can read, and a policy under which no script runs."""
    if request.headers.get("host", "").rsplit(":", 1)[0] not in LOOPBACK:
        return Response("This page answers on 127.0.0.1 only.", status_code=400)
    if len(request.url.query) > LONGEST_QUERY:
        return Response("The request in the address is too long.", status_code=414)
    response: Response = await call_next(request)
    response.headers["Content-Security-Policy"] = POLICY
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Referrer-Policy"] = "no-referrer"
    return response
