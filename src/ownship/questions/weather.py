"""What is the weather at a place? METAR, TAF and hourly forecast, and the owner's own; the network only where he says so."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

from ownship.errors import BadInput, WeatherText
from ownship.questions.fetching import Network, age_words
from ownship.questions.places import aerodromes
from ownship.questions.reading import DEMO, demo_text, read_text
from ownship.units import to_si
from ownship.world import sources

if TYPE_CHECKING:
    import httpx

    from ownship.flight.places import PlaceWeather
    from ownship.flight.request import FlightRequest
    from ownship.flight.route import Point
    from ownship.world.aerodromes import Aerodrome
    from ownship.world.forecast import AirAt, Forecast, GroundAt
    from ownship.world.taf import Taf
    from ownship.world.weather import SurfaceWeather

SWITCH = "OWNSHIP_NETWORK"
FIRST_YEAR, LAST_YEAR = 1900, 2200  # far from the ends of the calendar, where no zone can be applied
SHOWN_HOURS = 12
SHOWN_LEVELS_FT = (3000, 6000, 9000, 12000)
LONGEST_DAYS = sources.MOST_DAYS


@dataclass(frozen=True)
class Told:
    """A METAR or TAF as it came: its text, when it was made and fetched, whose it is; weather None: it does not read."""

    text: str
    made: datetime | None
    fetched_at: datetime
    source: str
    licence: str
    weather: SurfaceWeather | None
    possible: tuple[SurfaceWeather, ...] = ()


@dataclass(frozen=True)
class PlaceForecast:
    """The forecast over a place: the ground by the hour from the moment on, the levels at the moment."""

    hours: tuple[GroundAt, ...]
    aloft: tuple[AirAt, ...]
    fetched_at: datetime
    source: str
    licence: str


@dataclass(frozen=True)
class WeatherAnswer:
    """Weather of a place for a moment, and when it was asked; None what there is none of; notes: what is missing, stale, or off."""

    place: Point
    name: str
    at: datetime
    asked: datetime
    network_on: bool
    metar: Told | None
    taf: Told | None
    forecast: PlaceForecast | None
    own: PlaceWeather | None
    notes: tuple[str, ...]


def network_of(setting: Network | bool | None = None) -> Network:
    """The network as the owner set it: given, on or off by True or False, else by OWNSHIP_NETWORK (on or off; unset: off)."""
    if isinstance(setting, Network):
        return setting
    if setting is not None:
        return Network(on=setting)
    word = os.environ.get(SWITCH, "off").strip().lower()
    if word not in ("on", "off", ""):
        raise BadInput(f"{SWITCH}: {word[:20]!r} is neither on nor off; write {SWITCH}=on to let Ownship ask for weather, or off.")
    return Network(on=word == "on")


def weather(place: str, at: str | datetime | None = None, network: Network | bool | None = None,
            request: str | FlightRequest | None = None) -> WeatherAnswer:
    """The weather of a place (ident, or "lat,lon") at a moment (None: now).

    at: a moment; without a zone it takes the place's. network: see `network_of`; off: only what is kept in the cache is
    used, and how old it is stands beside it. request: a flight request (its file, "demo", or read) whose own weather of
    the place is shown too. UnknownPlace, BadInput where place, moment or request do not read.
    """
    chosen = network_of(network)
    asking = chosen if chosen.on else _kept_only(chosen)
    now = chosen.now()
    asked = None if request is None else _read(request)
    point, aerodrome = _point(place, asked, now.date())
    moment = _moment(at, point) if at is not None else now
    metar, said = _told(asking, "metar", point, aerodrome, moment, now)
    taf, more = _told(asking, "taf", point, aerodrome, moment, now)
    forecast, note = _forecast(asking, point, moment)
    shown = None if forecast is None else _shown(forecast, moment)
    own = None if asked is None else _own(asked, place, aerodrome, moment, forecast)
    notes = [_off(x) if not chosen.on else x for x in (*said, *more, note) if x]
    return WeatherAnswer(point, aerodrome.name if aerodrome else "", moment, now, chosen.on, metar, taf, shown, own,
                         tuple(dict.fromkeys(notes)))


def _kept_only(network: Network) -> Network:
    """A network that reads the cache and calls nobody: every call fails before it leaves the computer."""
    import httpx

    def nobody(request: httpx.Request) -> httpx.Response:
        raise httpx.ConnectError("the network is switched off", request=request)

    return replace(network, on=True, transport=httpx.MockTransport(nobody), sleep=lambda _: None)


def _off(note: str) -> str:
    """A note of `_kept_only` in true words: nobody was called."""
    off = f"The network is switched off ({SWITCH}=on switches it on)."
    for service in (sources.REPORTS_SOURCE, sources.FORECAST_SOURCE):
        note = note.replace(f"The service {service} cannot be reached.", off)
    return note


def _point(place: str, asked: FlightRequest | None, day: date) -> tuple[Point, Aerodrome | None]:
    """The place as a point and, where it is one, as an aerodrome; UnknownPlace where it is neither."""
    from ownship.flight.request import ident
    from ownship.flight.route import point_of
    from ownship.world import aerodrome_database as database

    name = ident(place)
    aerodrome = None if "," in name else _aerodrome(name, asked, day) or database.need(aerodromes(), name, day)
    return point_of(name, aerodrome), aerodrome


def _aerodrome(name: str, asked: FlightRequest | None, day: date) -> Aerodrome | None:
    """An aerodrome of the open data, the request's own record over it; None: neither knows it."""
    from ownship.schema import Table
    from ownship.world import aerodrome_database as database
    from ownship.world.aerodromes import aerodrome_from_table

    found = database.find(aerodromes(), name, day)
    if asked is None or name not in asked.aerodromes:
        return found
    table = asked.aerodromes[name]
    return aerodrome_from_table(Table(table.data, table.name, table.path, table._lines), name, found)


def _moment(at: str | datetime, point: Point) -> datetime:
    """A moment, aware; one without a zone is local to the place."""
    from ownship.flight.places import moment
    from ownship.world.zones import zone_at

    try:
        found, local = moment(at)
    except ValueError as error:
        raise BadInput(f"The moment {error}") from None
    if not FIRST_YEAR <= found.year <= LAST_YEAR:
        raise BadInput(f"The moment {found.isoformat()!r} is in no year that weather is known for; write {FIRST_YEAR} to "
                       f"{LAST_YEAR}.")
    return found.replace(tzinfo=zone_at(point.lat_deg, point.lon_deg)) if local else found


def _told(network: Network, kind: str, point: Point, aerodrome: Aerodrome | None, at: datetime,
          now: datetime) -> tuple[Told | None, list[str]]:
    """The METAR or TAF of the place's own station, read; a place without a four-character ident has none."""
    try:
        found = sources.reports(network.fetch, kind, (point.name,))
    except BadInput:
        return None, [f"{point.name} has no ICAO ident of four characters, so it has no {kind.upper()} of its own."]
    notes = [found.note] if found.note else []
    if not found.reports:
        return None, notes
    report = found.reports[0]
    try:
        made, weather_, possible, said = _metar(report.text, now) if kind == "metar" else _taf(report.text, at, now)
    except WeatherText as refusal:
        made, weather_, possible, said = None, None, (), [str(refusal)]
    return Told(report.text, made, report.fetched_at, report.source, report.licence, weather_, possible), notes + said


_Read = tuple[datetime | None, "SurfaceWeather | None", "tuple[SurfaceWeather, ...]", list[str]]


def _metar(text: str, now: datetime) -> _Read:
    from ownship.world.weather import parse_metar

    found = parse_metar(text)
    made = None if found.observed is None else _near(found.observed, now)
    old = made is not None and now - made > timedelta(hours=1)
    words = [f"The METAR is {age_words(now - made)} old: a report holds for about an hour."] if old and made is not None else []
    return made, found, (), words


def _near(observed: tuple[int, int, int], now: datetime) -> datetime | None:
    """The moment of a day, hour and minute that lies within a day of now; None: it does not."""
    day, hour, minute = observed
    clock = now.astimezone(UTC).replace(hour=hour, minute=minute, second=0, microsecond=0)
    return next((m for d in (0, -1, 1) if (m := clock + timedelta(days=d)).day == day), None)


def _taf(text: str, at: datetime, now: datetime) -> _Read:
    from ownship.world.taf import parse_taf, possible, prevailing

    taf = parse_taf(text, now)
    weather_ = prevailing(taf, at)
    return taf.issued, weather_, possible(taf, at), [] if weather_ else [_uncovered(taf, at)]


def _uncovered(taf: Taf, at: datetime) -> str:
    if taf.cancelled:
        return f"The TAF of {taf.station} is cancelled: nothing is known from it."
    return (f"The TAF of {taf.station} is good from {taf.valid_from:%d %b %H:%M}Z to {taf.valid_to:%d %b %H:%M}Z: it says nothing "
            f"of {at.astimezone(UTC):%d %b %H:%M}Z.")


def _forecast(network: Network, point: Point, at: datetime) -> tuple[Forecast | None, str]:
    first = at.astimezone(UTC).date()
    answer = sources.forecast(network.fetch, point.lat_deg, point.lon_deg, first, first + timedelta(days=1))
    return answer.value, answer.note


def _shown(forecast: Forecast, at: datetime) -> PlaceForecast:
    """The next twelve hours at the ground and the levels aloft at the moment, as far as the forecast knows them."""
    hours = [forecast.ground_at(at + timedelta(hours=h)) for h in range(SHOWN_HOURS + 1)]
    aloft = [forecast.at(float(to_si(level, "ft")), at) for level in SHOWN_LEVELS_FT]
    return PlaceForecast(tuple(h for h in hours if h is not None), tuple(a for a in aloft if a is not None), forecast.fetched_at,
                         forecast.source, forecast.licence)


def _read(request: str | FlightRequest) -> FlightRequest:
    """A flight request from a file, the demo's, or one that is read already."""
    from ownship.flight.request import read_request
    from ownship.schema import read_toml

    if not isinstance(request, str):
        return request
    return read_request(read_toml(demo_text("flight.toml") if request == DEMO else read_text(request), request))


def _own(request: FlightRequest, place: str, aerodrome: Aerodrome | None, at: datetime,
         forecast: Forecast | None) -> PlaceWeather | None:
    """What the request says of the place at the moment: its hours, the forecast, its typed weather as typed."""
    from ownship.flight.request import ident
    from ownship.flight.weather_at import weather_at
    from ownship.flight.weather_sources import Wanted

    names = {ident(place), *(aerodrome.codes if aerodrome else ())}
    name = next((n for n in request.weather if n in names), ident(place))
    known = {n: _aerodrome(n, request, at.date()) for n in request.weather if n != "default"} | {name: aerodrome}
    places = {n: a for n, a in known.items() if a is not None}
    return weather_at(request, name, places, at.date(), Wanted(at), forecast)


def forecasts_for(request: FlightRequest, places: Mapping[str, Aerodrome],
                  network: Network | bool | None = None) -> dict[str, Forecast]:
    """The forecasts over every point of a request, by the name used there; empty where the network is off."""
    return forecasts_and_notes(request, places, network)[0]


def forecasts_and_notes(request: FlightRequest, places: Mapping[str, Aerodrome],
                        network: Network | bool | None = None) -> tuple[dict[str, Forecast], tuple[str, ...]]:
    """`forecasts_for` and what is missing or stale of them in words.

    From the day before the departure to the day after it, or after leaving again (UTC, at most 8 days). A place without
    a position that is known is left out.
    """
    chosen = network_of(network)
    if not chosen.on:
        return {}, ()
    first, last = _days(request)
    found: dict[str, Forecast] = {}
    notes: list[str] = []
    for name, (lat, lon) in _positions(request, places):
        answer = sources.forecast(chosen.fetch, lat, lon, first, last)
        notes += [answer.note] if answer.note else []
        if answer.value is not None:
            found[name] = answer.value
    return found, tuple(dict.fromkeys(notes))


def _days(request: FlightRequest) -> tuple[date, date]:
    """The days (UTC) that a flight may touch, whatever its zone."""
    first = request.departure.date() - timedelta(days=1)
    end = max(request.departure.date(), (request.leave_again or request.departure).date()) + timedelta(days=1)
    return first, min(end, first + timedelta(days=LONGEST_DAYS - 1))


def _positions(request: FlightRequest, places: Mapping[str, Aerodrome]) -> Iterable[tuple[str, tuple[float, float]]]:
    from ownship.flight.route import point_of

    for name in dict.fromkeys((request.origin, *request.via, request.destination, *request.alternates)):
        point = point_of(name, places.get(name))
        yield name, (point.lat_deg, point.lon_deg)
