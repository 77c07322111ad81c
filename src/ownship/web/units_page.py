"""Units: what each kind of figure is shown in, kept in this browser."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from ownship.errors import BadInput
from ownship.web import in_units, pages
from ownship.web.access import Sent

router = APIRouter()


@router.get("/units", response_class=HTMLResponse)
def units(request: Request) -> Response:
    """The choices, a field a kind of figure."""
    return _page(request, in_units.units_of(request), changed="changed" in request.query_params)


@router.get("/units.json")
def units_as_data(request: Request) -> JSONResponse:
    """The same as data: what is shown in which unit, and what there is to choose from."""
    chosen = in_units.units_of(request)
    return JSONResponse({"units": {k.name: chosen.get(k.name, k.usual) for k in in_units.KINDS},
                         "choices": {k.name: list(k.choices) for k in in_units.KINDS}})


@router.post("/units", response_class=HTMLResponse)
def choose(request: Request, sent: Sent) -> Response:
    """Keep the choice in this browser; a unit there is not is refused and nothing is kept."""
    try:
        chosen = {k.name: _choice(k, sent.text(k.name)) for k in in_units.KINDS}
    except BadInput as error:
        return _page(request, in_units.units_of(request), refusal=str(error))
    response = RedirectResponse("/units?changed=1", status_code=303)
    response.set_cookie(in_units.COOKIE, in_units.written(chosen), samesite="strict", httponly=True, max_age=pages.YEAR_S,
                        secure=request.url.scheme == "https")
    return response


def _choice(kind: in_units.Kind, text: str) -> str:
    if text and text not in kind.choices:
        raise BadInput(f"{kind.words}: {text[:40]!r} is no unit of it; choose one of: {', '.join(kind.choices)}.")
    return text or kind.usual


def _page(request: Request, chosen: in_units.Units, refusal: str = "", *, changed: bool = False) -> Response:
    return pages.page(request, "units.html", 422 if refusal else 200, kinds=in_units.KINDS, chosen=chosen, words=in_units.WORDS,
                      refusal=refusal, changed=changed)
