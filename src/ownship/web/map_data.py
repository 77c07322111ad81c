"""The route for the map: line and places as GeoJSON, the places in words beside it, the reach where it is asked for."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, FastAPI, Request
from fastapi.responses import JSONResponse
from jinja2 import Environment

from ownship.errors import OwnshipError
from ownship.flight.answer import Assessment
from ownship.flight.situation import Situation
from ownship.papers.route_files import geojson
from ownship.units import to_si
from ownship.web import api, clock, tiles
from ownship.web.clock_words import table
from ownship.web.flying import Asked
from ownship.web.in_units import Units, shown
from ownship.web.sketch import places_of

router = APIRouter()
KINDS = {"end": "end of the route", "fix": "fix", "alternate": "alternate", "near": "aerodrome on the way", "point": "last point"}


@dataclass(frozen=True)
class Spot:
    """A place on the map and beside it: label on the map, kind, position (deg), name and what is said of it."""

    label: str
    kind: str
    lat_deg: float
    lon_deg: float
    name: str
    words: str


def spots(s: Situation, a: Assessment, units: Units) -> tuple[Spot, ...]:
    """The places of the sketch in their order, each with its name and what the answer says of it."""
    return tuple(Spot(p.name, p.kind, p.lat_deg, p.lon_deg, *_said(a, p.name, p.kind, units)) for p in places_of(s, a))


def _said(a: Assessment, name: str, kind: str, units: Units) -> tuple[str, str]:
    """Name and words of a place: when it is passed, how far off it lies, which last point it is."""
    if kind == "point" and a.extras is not None:
        point = a.extras.last_points[int(name) - 1]
        when = f", {point.moment:%H:%M}" if point.moment else ""
        return f"{name}: {point.name}", f"{KINDS[kind]}{when}"
    if kind == "near" and a.extras is not None:
        row = next(r for r in a.extras.on_the_way if r.ident == name)
        return f"{name}, {row.name}", f"{KINDS[kind]}, passed {row.moment:%H:%M}, {shown(row.off, units).text(1)} off the route"
    times = [r for r in a.timeline if r.place == name and (r.moment in ("take-off", "landing") or r.moment.startswith("over "))]
    return name, ", ".join([KINDS[kind], *(f"{r.moment} {r.time:%H:%M}" for r in times)])


def route_data(s: Situation, a: Assessment, places: tuple[Spot, ...]) -> dict[str, Any]:
    """The route as GeoJSON: the line of the route's own file, and a point for each place."""
    found: dict[str, Any] = json.loads(geojson(s, a))
    points = [{"type": "Feature", "geometry": {"type": "Point", "coordinates": [round(p.lon_deg, 5), round(p.lat_deg, 5)]},
               "properties": {"label": p.label, "kind": p.kind, "name": p.name, "words": p.words}} for p in places]
    return {"type": "FeatureCollection", "features": [found["features"][0], *points]}


def reach_data(s: Situation) -> dict[str, Any]:
    """How far the fuel on board reaches from the departure, low and middle, as polygons; no aerodrome is judged here.

    By every calibration, on each bearing the least. NotPossible and BadInput as `ownship reach` says them.
    """
    from ownship.flight.assessment import flights_of
    from ownship.flight.landable import reach_of
    from ownship.flight.reach import ONE_WAY
    from ownship.flight.reach_map import polygon, worse_of

    flights, _, why = flights_of(s)
    if not flights:
        return {"refused": f"The reach is not known: {why}"}
    found = worse_of([reach_of(s, f, ONE_WAY) for f in flights])
    return {"type": "FeatureCollection", "features": [polygon(found, band) for band in ("median", "low")],
            "words": ["The inner line is the low end of the band, the outer one the middle; at the level and power of the request, "
                      "with the reserve kept. Aerodromes inside are judged by `ownship reach`.", *found.notes]}


@router.get("/map.json", openapi_extra=api.parameters())
def map_json(request: Request) -> JSONResponse:
    """The route and its places as GeoJSON, the query that of the Flight screen."""
    asked = clock.bare(request)
    if asked.situation is None or asked.answer is None:
        status, found = api.data(asked)
        return JSONResponse(found, status_code=status)
    return JSONResponse(route_data(asked.situation, asked.answer, spots(asked.situation, asked.answer, {})))


@router.get("/reach.json", openapi_extra=api.parameters())
def reach_json(request: Request) -> JSONResponse:
    """How far the fuel of the request reaches, as GeoJSON, the query that of the Flight screen."""
    asked = clock.bare(request)
    if asked.situation is None or asked.answer is None:
        status, found = api.data(asked)
        return JSONResponse(found, status_code=status)
    try:
        found = reach_data(asked.situation)
    except OwnshipError as error:
        found = {"refused": str(error)}
    return JSONResponse(found, status_code=422 if "refused" in found else 200)


@dataclass(frozen=True)
class Drawn:
    """For the template: the GeoJSON, the places, the tiles or why there are none, the metres of a nautical mile."""

    data: dict[str, Any]
    spots: tuple[Spot, ...]
    tiles: tiles.Tiles | None
    refused: str
    mile_m: float


def drawn(asked: Asked, units: Units) -> Drawn | None:
    """The map of an answered address, its words in the units of this person; None where nothing was answered."""
    s, a = asked.situation, asked.answer
    if s is None or a is None:
        return None
    places = spots(s, a, units)
    return Drawn(route_data(s, a, places), places, *tiles.shown(), float(to_si(1, "nm")))


def into(app: FastAPI, templates: Environment) -> None:
    """Put map and clock into the application: their data, what `_map.html` and `_clock.html` ask for, the host of the tiles."""
    app.include_router(router)
    app.include_router(clock.router)
    app.middleware("http")(tiles.allow)
    templates.globals.update(map_of=drawn, clock_of=table)
