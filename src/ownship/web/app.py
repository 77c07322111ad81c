"""The application: three moves a page - read, ask, show. It computes nothing itself."""

from __future__ import annotations

from functools import partial
from typing import Any

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException

from ownship.errors import OwnshipError
from ownship.web import access, api, map_data, pages, screens
from ownship.web.flying import ask

REFUSED: dict[int | str, dict[str, Any]] = {422: {"description": "One sentence: what was given, what is allowed, what to do."}}


def create_app(who: access.Access | None = None) -> FastAPI:
    """The application: each screen as a page and, at .json, as data; what it answers to at `/openapi.json`."""
    app = FastAPI(title="Ownship", docs_url=None, redoc_url=None)
    app.state.access = who or access.Access()
    app.middleware("http")(partial(access.guard, app.state.access))
    app.mount("/static", StaticFiles(packages=[("ownship.web", "static")]), name="static")
    screens.include(app)
    map_data.into(app, pages.environment())

    @app.get("/", response_class=HTMLResponse, openapi_extra=api.parameters(), responses=REFUSED)
    def flight(request: Request) -> Response:
        """The request beside the answer; the address holds the whole request."""
        asked = ask(request.query_params)
        return pages.flight(request, asked)

    @app.get("/flight.json", openapi_extra=api.parameters(), responses=REFUSED)
    def flight_json(request: Request) -> JSONResponse:
        """The same answer as data, schema 1 of docs/formats/assessment.md."""
        status, found = api.data(ask(request.query_params))
        return JSONResponse(found, status_code=status)

    @app.exception_handler(HTTPException)
    async def missing(request: Request, error: HTTPException) -> Response:
        return pages.missing(request, error.status_code, error.detail)

    @app.exception_handler(OwnshipError)
    async def refused(request: Request, error: OwnshipError) -> Response:
        return pages.refused(request, str(error))

    return app
