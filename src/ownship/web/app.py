"""The application: three moves a page - read, ask, show. It computes nothing itself."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response
from jinja2 import Environment, PackageLoader, select_autoescape
from starlette.exceptions import HTTPException

from ownship.errors import OwnshipError
from ownship.papers.exchange import to_json
from ownship.papers.text import SHAPES
from ownship.questions import check as asking
from ownship.web import forms
from ownship.web.bars import strip
from ownship.words.cautions import cautions_for
from ownship.words.figures import Figure, number_text

LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
POLICY = ("default-src 'self'; script-src 'none'; style-src 'self'; object-src 'none'; base-uri 'none'; "
          "form-action 'self'; frame-ancestors 'none'")
LONGEST_QUERY = 20_000


def create_app() -> FastAPI:
    """The application with its two faces: `/` as a page, `/flight.json` as data."""
    app = FastAPI(title="Ownship", docs_url=None, redoc_url=None)
    pages = Environment(loader=PackageLoader("ownship.web"), autoescape=select_autoescape(default=True))
    pages.filters["quantity"] = _quantity
    pages.filters["clock"] = lambda moment: moment.strftime("%H:%M") if moment else ""
    pages.globals.update(shapes=SHAPES, strip=strip, cautions=cautions_for(("verdict", "fuel", "load")))

    @app.middleware("http")
    async def guard(request: Request, call_next: Any) -> Response:
        host = request.headers.get("host", "").rsplit(":", 1)[0]
        if host not in LOOPBACK:
            return Response("This page answers on 127.0.0.1 only.", status_code=400)
        if len(request.url.query) > LONGEST_QUERY:
            return Response("The request in the address is too long.", status_code=414)
        response: Response = await call_next(request)
        response.headers["Content-Security-Policy"] = POLICY
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "no-referrer"
        return response

    @app.get("/", response_class=HTMLResponse)
    def flight(request: Request) -> HTMLResponse:
        """The request beside the answer; the address holds the whole request."""
        fields = forms.fields(dict(request.query_params))
        try:
            answer, refusal = asking.check_text(asking.demo_aeroplane(), forms.to_toml(fields)), None
        except OwnshipError as error:
            answer, refusal = None, str(error)
        page = pages.get_template("flight.html").render(
            fields=fields, groups=forms.GROUPS, answer=answer, refusal=refusal, query=request.url.query)
        return HTMLResponse(page, status_code=200 if answer else 422)

    @app.get("/flight.json")
    def flight_json(request: Request) -> JSONResponse:
        """The same answer as data, schema 1 of docs/formats/assessment.md."""
        try:
            answer = asking.check_text(asking.demo_aeroplane(), forms.to_toml(forms.fields(dict(request.query_params))))
        except OwnshipError as error:
            return JSONResponse({"refused": str(error)}, status_code=422)
        return JSONResponse(to_json(answer))

    @app.get("/style.css")
    def style() -> Response:
        source = pages.loader.get_source(pages, "style.css")[0] if pages.loader else ""
        return Response(source, media_type="text/css")

    @app.exception_handler(HTTPException)
    async def missing(request: Request, error: HTTPException) -> HTMLResponse:
        return HTMLResponse(pages.get_template("missing.html").render(status=error.status_code),
                            status_code=error.status_code)

    return app


def _quantity(figure: Figure | None, digits: int | None = None) -> str:
    if figure is None:
        return ""
    return f"{number_text(figure.value, digits)} {figure.unit}"
