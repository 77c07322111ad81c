"""The route as files for a panel or a tablet: GPX 1.1, GeoJSON (RFC 7946), CSV of the log; docs/formats/papers.md.

Planned altitudes are above sea level, times UTC. A plan and no procedure: every file carries the verdict and the caution.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from json import dumps
from typing import Any

from ownship.errors import BadInput
from ownship.flight.answer import Assessment, LegRow, TimelineRow
from ownship.flight.situation import Situation
from ownship.units import from_si, parse, to_si
from ownship.words.cautions import cautions_for
from ownship.words.figures import Figure
from ownship.world.geodesy import along, inverse

STEP_M = float(to_si(10, "nm"))  # a straight line of a chart may leave the geodesic by some metres in between


@dataclass(frozen=True)
class RoutePoint:
    """A point of the route in order: planned altitude above sea level and moment; None where they are not known."""

    name: str
    kind: str
    lat_deg: float
    lon_deg: float
    altitude_m: float | None
    time: datetime | None


def route_points(s: Situation, a: Assessment) -> tuple[RoutePoint, ...]:
    """Departure (at take-off, on the ground), the points on the way at the cruising level, destination (overhead its circuit).

    Altitude and time are those of the timeline; where nothing could be flown the cruising level stands and times are None.
    """
    rows: dict[int, TimelineRow] = {}
    over = iter(range(1, len(s.points)))
    for row in a.timeline:
        if row.moment == "take-off":
            rows[0] = row
        elif row.moment.startswith("over "):
            rows[next(over)] = row
    kinds = ["departure", *["on the way"] * (len(s.points) - 2), "destination"]
    found = []
    for i, (p, kind) in enumerate(zip(s.points, kinds, strict=True)):
        row_here = rows.get(i)
        height = s.request.cruise_altitude_m if kind == "on the way" else p.elevation_m
        if row_here is not None and not (kind == "destination" and p.elevation_m is None):
            height = None if row_here.altitude is None else float(parse(f"{row_here.altitude.value!r} {row_here.altitude.unit}",
                                                                        "length"))
        found.append(RoutePoint(p.name, kind, p.lat_deg, p.lon_deg, height,
                                None if row_here is None else row_here.time.astimezone(UTC)))
    return tuple(found)


def said(s: Situation, a: Assessment) -> str:
    """What every file says of itself: the verdict, the caution, what its times rest on, the age of the data."""
    calm = [] if s.air.known else ["No wind along the route is given: times are for calm air."]
    data = [f"Aerodrome data of {day}." for day in dict.fromkeys(p.aerodrome.data_date for p in s.points if p.aerodrome) if day]
    return " ".join([f"Planned, not flown. {a.sentence}", cautions_for(["verdict"])[0], *calm, *data])


def gpx(s: Situation, a: Assessment) -> bytes:
    """The route as GPX 1.1 (rte, rtept with ele in metres above sea level and time in UTC), dated by the departure."""
    from gpxpy.gpx import GPX, GPXRoute, GPXRoutePoint

    points = route_points(s, a)
    file = GPX()
    file.creator, file.name = "Ownship", _title(s)
    file.description, file.time = said(s, a), s.departure.astimezone(UTC)
    route = GPXRoute(_title(s), said(s, a))
    for p in points:
        height = None if p.altitude_m is None else round(p.altitude_m, 1)
        route.points.append(GPXRoutePoint(round(p.lat_deg, 7), round(p.lon_deg, 7), height, p.time, name=p.name,
                                          comment=p.kind))
    file.routes.append(route)
    return file.to_xml(version="1.1").encode()


def geojson(s: Situation, a: Assessment) -> bytes:
    """The route as GeoJSON: the geodesic line in steps of 10 nm, cut at the antimeridian, and its points.

    Positions are longitude and latitude alone: a third number would be a height above the ellipsoid; the altitudes above
    sea level are properties, in feet.
    """
    features: list[dict[str, Any]] = [{"type": "Feature", "geometry": _line(s), "properties": {
        "name": _title(s), "verdict": a.verdict, "words": said(s, a), "departure": _moment(s.departure)}}]
    for p in route_points(s, a):
        features.append({"type": "Feature", "geometry": {"type": "Point", "coordinates": _position(p.lat_deg, p.lon_deg)},
                         "properties": {"name": p.name, "kind": p.kind, "time": None if p.time is None else _moment(p.time),
                                        "altitude_ft": None if p.altitude_m is None
                                        else round(float(from_si(p.altitude_m, "ft")), 1)}})
    return dumps({"type": "FeatureCollection", "features": features}, ensure_ascii=False, allow_nan=False).encode()


COLUMNS = ("moment", "place", "time_utc", "actual_time", "elapsed_min", "distance_nm", "altitude_ft", "fuel_left_usable_usgal",
           "actual_fuel", "minimum_fuel_usable_usgal", "latest_utc", "leg_nm", "course_true_deg", "course_magnetic_deg",
           "heading_magnetic_deg", "heading_compass_deg", "wind_from_true_deg", "wind_kt", "tas_kt", "groundspeed_kt", "leg_min",
           "leg_fuel_usgal", "note")


def log_csv(s: Situation, a: Assessment) -> bytes:
    """The log, a row a moment (RFC 4180): planned figures, blank cells for what really happened; a leg stands where it ends.

    Empty: not known, or to be written in flight. The caution is the note of the first row. BadInput where nothing was flown.
    """
    if not a.timeline:
        raise BadInput(f"The log cannot be written: the flight's times are not known. {s.no_model}".strip())
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, restval="", lineterminator="\r\n")
    writer.writeheader()
    legs = iter(a.legs)
    for i, row in enumerate(a.timeline):
        ended = next(legs, None) if row.moment.startswith("over ") else None
        cells = _moment_cells(row) | ({} if ended is None else _leg_cells(ended)) | {"note": said(s, a) if i == 0 else ""}
        if row.place == s.points[-1].name and s.points[-1].elevation_m is None:
            cells["altitude_ft"] = ""
        writer.writerow(cells)
    return out.getvalue().encode()


WRITERS: dict[str, Callable[[Situation, Assessment], bytes]] = {".gpx": gpx, ".geojson": geojson, ".csv": log_csv}


def writer_of(path: str) -> Callable[[Situation, Assessment], bytes]:
    """The writer for a file by its ending; BadInput for another ending."""
    ending = f".{path.lower().rpartition('.')[2]}"
    if ending not in WRITERS:
        raise BadInput(f"--route: {path} ends in {ending or 'nothing'}; name a file ending in {', '.join(WRITERS)}.")
    return WRITERS[ending]


def _moment_cells(r: TimelineRow) -> dict[str, str]:
    return {"moment": r.moment, "place": r.place, "time_utc": _moment(r.time), "elapsed_min": _cell(r.elapsed),
            "distance_nm": _cell(r.distance), "altitude_ft": _cell(r.altitude, 0), "fuel_left_usable_usgal": _cell(r.fuel_left),
            "minimum_fuel_usable_usgal": _cell(r.minimum_fuel), "latest_utc": "" if r.latest is None else _moment(r.latest)}


def _leg_cells(leg: LegRow) -> dict[str, str]:
    return {"leg_nm": _cell(leg.distance), "course_true_deg": _cell(leg.course_true, 0),
            "course_magnetic_deg": _cell(leg.course_magnetic, 0), "heading_magnetic_deg": _cell(leg.heading_magnetic, 0),
            "heading_compass_deg": _cell(leg.heading_compass, 0), "wind_from_true_deg": _cell(leg.wind_from, 0),
            "wind_kt": _cell(leg.wind_speed, 0), "tas_kt": _cell(leg.tas, 0), "groundspeed_kt": _cell(leg.groundspeed, 0),
            "leg_min": _cell(leg.time), "leg_fuel_usgal": _cell(leg.fuel)}


def _cell(figure: Figure | None, digits: int = 1) -> str:
    """A number without its unit (the column has it); empty where it is not known; 360 is written 0."""
    if figure is None or figure.to_json()["value"] is None:
        return ""
    shown = f"{figure.value:.{digits}f}"
    return "0" if figure.unit == "deg" and shown == "360" else shown


def _line(s: Situation) -> dict[str, Any]:
    lines: list[list[list[float]]] = [[]]
    for i, (a, b) in enumerate(pairwise(s.points)):
        distance = inverse(a.lat_deg, a.lon_deg, b.lat_deg, b.lon_deg)[0]
        steps = max(1, round(distance / STEP_M))
        for k in range(0 if i == 0 else 1, steps + 1):
            here = along(a.lat_deg, a.lon_deg, b.lat_deg, b.lon_deg, distance * k / steps) if 0 < k < steps else \
                ((a if k == 0 else b).lat_deg, (a if k == 0 else b).lon_deg)
            _append(lines, _position(*here))
    return {"type": "LineString", "coordinates": lines[0]} if len(lines) == 1 else \
        {"type": "MultiLineString", "coordinates": [x for x in lines if len(x) > 1]}


def _append(lines: list[list[list[float]]], here: list[float]) -> None:
    """Add a position; where the line passes longitude 180 it is cut there (RFC 7946, 3.1.9), the latitude in proportion."""
    if lines[-1] and abs(here[0] - lines[-1][-1][0]) > 180:
        lon, lat = lines[-1][-1]
        side = 180.0 if lon > 0 else -180.0
        gone, whole = abs(side - lon), 360 - abs(here[0] - lon)
        cut = round(lat + (here[1] - lat) * (gone / whole if whole else 0.0), 7)
        lines[-1].append([side, cut])
        lines.append([[-side, cut]])
    lines[-1].append(here)


def _position(lat_deg: float, lon_deg: float) -> list[float]:
    return [round((lon_deg + 180.0) % 360.0 - 180.0 if abs(lon_deg) > 180 else lon_deg, 7), round(lat_deg, 7)]


def _moment(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def _title(s: Situation) -> str:
    return f"{s.points[0].name} to {s.points[-1].name}, {s.departure.astimezone(UTC):%Y-%m-%d}"
