"""Places while one types: the choices under a field that wants an aerodrome, as a fragment of HTML and as data."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from ownship.questions.finding_places import places_json, places_like
from ownship.units import from_si
from ownship.web import in_units, pages
from ownship.words.figures import Figure

router = APIRouter()


@router.get("/places", response_class=HTMLResponse)
def places(request: Request, q: str = "", near: str = "") -> Response:
    """Aerodromes by the beginning of a code, of a name or of a town, the nearest to `near` (ident or lat,lon) first."""
    units = in_units.units_of(request)
    shown = [(p, None if p.distance_m is None else in_units.shown(Figure(float(from_si(p.distance_m, "nm")), "nm"), units))
             for p in places_like(q, near)]
    return HTMLResponse(pages.environment().get_template("_places.html").render(places=shown, units=units))


@router.get("/places.json")
def places_as_data(q: str = "", near: str = "") -> JSONResponse:
    """The same as data, distances in nautical miles."""
    return JSONResponse(places_json(places_like(q, near)))
