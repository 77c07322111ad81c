"""Can this aeroplane make this flight? Files and texts in, one assessment out."""

from __future__ import annotations

import tomllib
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ownship.errors import BadInput, UnreadableFile
from ownship.questions.calibrating import DRAWS, SEED
from ownship.questions.reading import DEMO, demo_text, read_text

if TYPE_CHECKING:
    import sqlite3

    from ownship.aeroplane.description import AirframeRecord
    from ownship.flight.answer import Assessment
    from ownship.flight.distances import Calibrations
    from ownship.flight.request import FlightRequest
    from ownship.flight.situation import Situation
    from ownship.world.aerodromes import Aerodrome
    from ownship.world.forecast import Forecast
    from ownship.world.terrain import Terrain


def demo_aeroplane() -> str:
    """The demo's airframe record."""
    return demo_text("camas160.toml")


def demo_flight() -> str:
    """The demo's flight request."""
    return demo_text("flight.toml")


def check(aeroplane: str, flight: str | None = None) -> Assessment:
    """Assess a flight from two files, or the demo; the flight's file alone: by the record."""
    from ownship.flight.assessment import assess

    s = situation_of(aeroplane, flight)
    return recorded(s, assess(s), aeroplane, flight)


def recorded(s: Situation, answer: Assessment, aeroplane: str | None, flight: str | None) -> Assessment:
    """An answer with the record's margins where no aeroplane's file was named, else as it is."""
    from ownship.questions.from_record import with_record

    return with_record(s, answer) if flight is None and aeroplane != DEMO else answer


def situation_of(aeroplane: str | None, flight: str | None = None, registration: str | None = None,
                 command: str = "check") -> Situation:
    """The situation of a flight from two files, or of the demo; of a flight's file alone by the record, of none its last.

    registration: which aeroplane of the record; command: the one that asks, for what a refusal says.
    """
    if registration is not None and (flight is not None or aeroplane == DEMO):
        raise BadInput("--aeroplane names one of the record, and an aeroplane's file is named too; give one of them.")
    if aeroplane == DEMO and flight is None:
        return situation(demo_aeroplane(), demo_flight(), name="demo flight")
    from ownship.questions.from_record import is_request, situation_from_record

    if aeroplane is None or flight is None:
        if aeroplane is not None and not is_request(aeroplane):
            raise BadInput(f"{aeroplane} alone is not a flight; name an aeroplane and a flight, or write `ownship {command} demo`.")
        return situation_from_record(aeroplane, registration)
    if aeroplane != DEMO and is_request(aeroplane):
        raise BadInput(f"{aeroplane} is a flight, not an aeroplane; name the aeroplane's file first, then the flight's.")
    text = demo_aeroplane() if aeroplane == DEMO else read_text(aeroplane)
    return situation(text, demo_flight() if flight == DEMO else read_text(flight),
                     None if aeroplane == DEMO else Path(aeroplane).parent, str(flight),
                     "demo" if aeroplane == DEMO else str(aeroplane))


def check_text(aeroplane_text: str, flight_text: str, folder: Path | None = None, name: str = "flight",
               aeroplane_name: str = "aeroplane") -> Assessment:
    """Assess a flight from two texts; `folder` is where the record's rows are (None: the demo's own)."""
    from ownship.flight.assessment import assess

    return assess(situation(aeroplane_text, flight_text, folder, name, aeroplane_name))


def situation(aeroplane_text: str, flight_text: str, folder: Path | None = None, name: str = "flight",
              aeroplane_name: str = "aeroplane", draws: int = DRAWS, seed: int = SEED) -> Situation:
    """Everything that `assess` needs, read from texts, the cache and the aerodrome database."""
    from ownship.flight.request import read_request
    from ownship.flight.situation import Situation
    from ownship.schema import read_toml

    record, calibrations, why = _aeroplane(aeroplane_text, folder, aeroplane_name, draws)
    request = read_request(read_toml(flight_text, name))
    _check_names(request, record)
    places, near = _places(request)
    forecasts, notes = _forecasts(request, places)
    return Situation(request, record, calibrations, why, places, near, _plain(tomllib.loads(flight_text)), seed, draws,
                     terrain=_terrain(), forecasts=forecasts, forecast_notes=notes)


def _forecasts(request: FlightRequest, places: dict[str, Aerodrome]) -> tuple[dict[str, Forecast], tuple[str, ...]]:
    """The forecasts of a request and what is missing or stale of them; neither where the network is off."""
    from ownship.questions.weather import forecasts_and_notes

    return forecasts_and_notes(request, places)


@lru_cache(maxsize=8)
def _aeroplane(text: str, folder: Path | None, name: str, draws: int) -> tuple[AirframeRecord, Calibrations | None, str]:
    """Record and models of one aeroplane; kept, because a page asks for the same one again and again."""
    from ownship.aeroplane.reading import read_airframe
    from ownship.questions.calibrating import models_or_why

    record = read_airframe(text, name)
    calibrations, why = models_or_why(record, folder, draws)
    return record, calibrations, why


def _terrain() -> Terrain | None:
    """The owner's tiles; None where none were ever imported. Read again once the folder has changed."""
    from ownship.questions.importing import data_folder

    folder = data_folder()
    try:
        changed = (folder / "terrain").stat().st_mtime_ns
    except (FileNotFoundError, NotADirectoryError):
        return None
    except OSError as error:
        raise UnreadableFile(f"{folder / 'terrain'} cannot be read: {error.strerror or error}.") from None
    return _tiles(folder, changed)


@lru_cache(maxsize=1)
def _tiles(folder: Path, changed: int) -> Terrain | None:
    """One Terrain as long as the folder stays as it is, so that what was found on a leg is kept."""
    from ownship.questions.importing import terrain

    return terrain(folder) if any((folder / "terrain").glob("*.hgt")) else None


def _check_names(request: FlightRequest, record: AirframeRecord) -> None:
    """Refuse stations and categories that the record does not have."""
    from ownship.aeroplane.loading import station_of

    for load in request.loads:
        station_of(record, load.station)
    known = {e.category for e in record.envelopes} | {c.name for c in record.categories}
    if known and request.category not in known:
        raise BadInput(f"category: {request.category!r} is not on the aeroplane's record; it has {', '.join(sorted(known))}.")


def _places(request: FlightRequest) -> tuple[dict[str, Aerodrome], tuple[Aerodrome, ...]]:
    """The aerodromes named in the request (own records over open data) and those near the route."""
    from ownship.questions.own_aerodromes import kept

    connection = open_database()
    names = dict.fromkeys((request.origin, *request.via, request.destination, *request.alternates, *request.weather))
    places, own = {}, kept()
    for name in names:
        needed = name not in request.weather or name in (request.origin, *request.via, request.destination,
                                                         *request.alternates)
        found = own.get(name) if name not in request.aerodromes else None
        found = found or aerodrome_of(name, request, connection, needed=needed)
        if found is not None:
            places[name] = found
    return places, _near(request, places, connection)


@lru_cache(maxsize=1)
def open_database() -> sqlite3.Connection:
    """The aerodrome database, opened once."""
    from ownship.questions.places import aerodromes

    return aerodromes()


def aerodrome_of(name: str, request: FlightRequest, connection: sqlite3.Connection, *, needed: bool) -> Aerodrome | None:
    """An aerodrome by the name a request uses: its own record over the open data; None for a position or "default".

    needed: a name that neither knows is refused (UnknownPlace), else None.
    """
    from ownship.schema import Table
    from ownship.world import aerodrome_database as database
    from ownship.world.aerodromes import aerodrome_from_table

    day = request.departure.date()
    if name == "default":
        return None
    if name in request.aerodromes:
        table = request.aerodromes[name]
        fresh = Table(table.data, table.name, table.path, table._lines)
        return aerodrome_from_table(fresh, name, database.find(connection, name, day))
    if "," in name:
        return None
    return database.need(connection, name, day) if needed else database.find(connection, name, day)


def _near(request: FlightRequest, places: dict[str, Aerodrome], connection: sqlite3.Connection) -> tuple[Aerodrome, ...]:
    """Aerodromes within the search radius of points along the route, for feed proof."""
    from ownship.flight.planning import usual
    from ownship.flight.route import point_of
    from ownship.world import aerodrome_database as database
    from ownship.world.geodesy import along, inverse

    day, radius = request.departure.date(), usual("feed_search_radius")
    points = [point_of(n, places.get(n)) for n in (request.origin, *request.via, request.destination)]
    found: dict[str, Aerodrome] = {}
    for a, b in pairwise(points):
        distance = inverse(a.lat_deg, a.lon_deg, b.lat_deg, b.lon_deg)[0]
        steps = max(1, round(distance / radius))
        for i in range(steps + 1):
            lat, lon = along(a.lat_deg, a.lon_deg, b.lat_deg, b.lon_deg, distance * i / steps)
            for aerodrome in database.near(connection, lat, lon, radius / 2, day):
                found.setdefault(aerodrome.ident, aerodrome)
    found |= {p.ident: p for p in places.values()}
    return tuple(found.values())


def _plain(value: Any) -> Any:
    """A parsed TOML value as JSON types."""
    if isinstance(value, dict):
        return {k: _plain(v) for k, v in value.items()}
    if isinstance(value, list):
        return [_plain(v) for v in value]
    return value.isoformat() if hasattr(value, "isoformat") else value
