"""Two open weather services: what to ask them for, and how to read what they answer. Nothing is fetched here.

The fetching function is handed in. What goes out: station idents, or a position rounded to 0.01 degree and a range of
days, with the names of the quantities, which are the same for everyone. An answer is hostile until it is read.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import Any, Generic, NoReturn, Protocol, TypeVar

from ownship.errors import BadInput, WeatherText
from ownship.physics.atmosphere import pressure_altitude_m
from ownship.units import to_si
from ownship.world.forecast import Forecast, Ground, Hour, Level, towards
from ownship.world.weather import HIGHEST_ALOFT_WIND_KT, HIGHEST_SURFACE_WIND_KT

T = TypeVar("T")
T_co = TypeVar("T_co", covariant=True)

REPORTS_URL = "https://aviationweather.gov/api/data/"
FORECAST_URL = "https://api.open-meteo.com/v1/forecast"
REPORTS_SOURCE, REPORTS_LICENCE = "US Aviation Weather Center", "work of the US government, public domain"
FORECAST_SOURCE = "Open-Meteo"
FORECAST_LICENCE = "CC BY 4.0, weather data by Open-Meteo.com; the open interface is for non-commercial use"

MOST_STATIONS, MOST_DAYS, LONGEST_REPORT = 20, 8, 4000
LEVELS_HPA = (1000, 975, 950, 925, 900, 850, 800, 700, 600, 500, 400)
FARTHEST_CELL_DEG = 0.5  # the cell that answers must lie this near to what was asked
HEIGHT_SPREAD_M = 1500.0  # how far a level may lie from its height in standard air
_IDENT = re.compile(r"[A-Z][A-Z0-9]{3}")
_PRINTABLE = re.compile(r"[\x20-\x7e\n]*")
_BEGINS = {"metar": r"(?:(?:METAR|SPECI|COR)\s+)*", "taf": r"(?:(?:TAF|AMD|COR)\s+)*"}
_FIELDS = {"metar": ("rawOb", "obsTime"), "taf": ("rawTAF", "issueTime")}


@dataclass(frozen=True)
class Ask:
    """One question to a service: kind (metar, taf, forecast), what it is in words, address and parameters."""

    kind: str
    what: str
    service: str
    url: str
    params: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Answer(Generic[T_co]):
    """What came of an Ask: the value read (None: nothing usable), when it was fetched, and what is missing or stale in words."""

    value: T_co | None
    fetched_at: datetime | None
    note: str = ""


class Fetch(Protocol):
    """A function that fetches an Ask and reads its answer; it never raises for what a network or a service does."""

    def __call__(self, ask: Ask, read: Callable[[str, datetime], T]) -> Answer[T]:
        """`read` turns (text, fetched_at) into the value, or raises WeatherText."""


@dataclass(frozen=True)
class Report:
    """A METAR or TAF as it came, not yet parsed."""

    station: str
    text: str
    fetched_at: datetime
    source: str
    licence: str


@dataclass(frozen=True)
class Reports:
    """The reports that came, the stations that sent none, and what the pilot must know of it."""

    reports: tuple[Report, ...]
    missing: tuple[str, ...]
    note: str


def ask_reports(kind: str, stations: Sequence[str]) -> Ask:
    """The question for METARs or TAFs (kind "metar" or "taf") of 1 to 20 stations. BadInput for anything else."""
    if kind not in _FIELDS:
        raise BadInput(f"{kind!r} is no kind of report; ask for metar or taf.")
    idents = tuple(dict.fromkeys(s.strip().upper() for s in stations))
    for ident in idents:
        if not _IDENT.fullmatch(ident):
            raise BadInput(f"{ident!r} is no weather station; give the four characters of its ICAO ident, such as KBOI.")
    if not 1 <= len(idents) <= MOST_STATIONS:
        raise BadInput(f"{len(idents)} weather stations were asked for at once; ask for 1 to {MOST_STATIONS}.")
    return Ask(kind, f"{kind.upper()} of {', '.join(idents)}", REPORTS_SOURCE, REPORTS_URL + kind,
               (("ids", ",".join(idents)), ("format", "json")))


def reports(fetch: Fetch, kind: str, stations: Sequence[str]) -> Reports:
    """METARs or TAFs of some stations by a fetching function, unparsed; who sent none stands in `missing` and `note`."""
    ask = ask_reports(kind, stations)
    idents = tuple(dict(ask.params)["ids"].split(","))
    answer = fetch(ask, lambda text, at: read_reports(kind, idents, text, at))
    found = answer.value or ()
    missing = tuple(i for i in idents if i not in {r.station for r in found})
    notes = [answer.note] if answer.note else []
    if missing and answer.value is not None:
        notes.append(f"The {REPORTS_SOURCE} has no {kind.upper()} of {', '.join(missing)}.")
    return Reports(found, missing, " ".join(notes))


def read_reports(kind: str, stations: Sequence[str], text: str, fetched_at: datetime) -> tuple[Report, ...]:
    """Read the JSON answer for METARs or TAFs: a list of objects with icaoId and the raw text; an empty text: none.

    Refused (WeatherText): other JSON, a station nobody asked for, a text of another station or with odd characters.
    Two of one station: the later by its stamp.
    """
    where = f"The answer of the {REPORTS_SOURCE}"
    rows = _json(text, where) if text.strip() else []
    if not isinstance(rows, list):
        _refuse(where, "is not a list of reports")
    found: dict[str, tuple[Any, Report]] = {}
    for row in rows:
        station, raw, stamp = _report_of(kind, stations, row, where)
        if station in found and type(found[station][0]) is not type(stamp):
            _refuse(where, f"holds two reports of {station} that cannot be put in order")
        if station not in found or stamp > found[station][0]:
            found[station] = (stamp, Report(station, raw, fetched_at, REPORTS_SOURCE, REPORTS_LICENCE))
    return tuple(report for _, report in found.values())


def _report_of(kind: str, stations: Sequence[str], row: object, where: str) -> tuple[str, str, int | str]:
    """Station, raw text and time stamp of one row."""
    if not isinstance(row, dict):
        _refuse(where, "holds something that is no report")
    field, stamp_field = _FIELDS[kind]
    station, raw, stamp = row.get("icaoId"), row.get(field), row.get(stamp_field, "")
    if not isinstance(station, str) or station not in stations:
        _refuse(where, f"is of the station {str(station)[:8]!r}, which nobody asked for")
    if not isinstance(raw, str) or len(raw) > LONGEST_REPORT or not _PRINTABLE.fullmatch(raw):
        _refuse(where, f"has no readable {kind.upper()} of {station}")
    if not re.match(_BEGINS[kind] + re.escape(station) + r"\s", raw):
        _refuse(where, f"has a text for {station} that does not begin as a {kind.upper()} of it")
    if isinstance(stamp, bool) or not isinstance(stamp, int | str):
        _refuse(where, f"has no readable time for {station}")
    return station, raw.strip(), stamp


@dataclass(frozen=True)
class _Quantity:
    """How a quantity is asked and answered: the unit word of the answer, ours, its dimension, and believable limits (SI)."""

    answered: str
    unit: str
    dimension: str
    low: float
    high: float


def _quantities() -> dict[str, _Quantity]:
    """Every hourly quantity that is asked for, by the interface's name of it."""
    cold, hot = (float(to_si(t, "C", "temperature")) for t in (-100, 60))
    temperature = _Quantity("°C", "C", "temperature", cold, hot)
    direction = _Quantity("°", "deg", "angle", 0.0, 360.0)
    surface = _Quantity("m/s", "m/s", "speed", 0.0, float(to_si(HIGHEST_SURFACE_WIND_KT, "kt")))
    aloft = _Quantity("m/s", "m/s", "speed", 0.0, float(to_si(HIGHEST_ALOFT_WIND_KT, "kt")))
    height = _Quantity("m", "m", "length", -HEIGHT_SPREAD_M, 20000.0)
    found = {"temperature_2m": temperature, "dew_point_2m": temperature,
             "surface_pressure": _Quantity("hPa", "hPa", "pressure", float(to_si(400, "hPa")), float(to_si(1100, "hPa"))),
             "wind_speed_10m": surface, "wind_direction_10m": direction, "wind_gusts_10m": surface}
    for level in LEVELS_HPA:
        found |= {f"temperature_{level}hPa": temperature, f"wind_speed_{level}hPa": aloft,
                  f"wind_direction_{level}hPa": direction, f"geopotential_height_{level}hPa": height}
    return found


def ask_forecast(lat_deg: float, lon_deg: float, first: date, last: date) -> Ask:
    """The question for hourly air over a place: position rounded to 0.01 degree, days (UTC) first to last, at most 8."""
    if not (-90 <= lat_deg <= 90 and -180 <= lon_deg <= 180):
        raise BadInput(f"{lat_deg:g}, {lon_deg:g} is no position; latitude is -90 to 90, longitude -180 to 180.")
    if not 0 <= (last - first).days < MOST_DAYS:
        raise BadInput(f"{first} to {last} is no range of days a forecast is asked for; give 1 to {MOST_DAYS} days in order.")
    lat, lon = _place(lat_deg, lon_deg)
    return Ask("forecast", f"forecast for {lat:.2f}, {lon:.2f}", FORECAST_SOURCE, FORECAST_URL, (
        ("latitude", f"{lat:.2f}"), ("longitude", f"{lon:.2f}"), ("hourly", ",".join(_quantities())),
        ("start_date", first.isoformat()), ("end_date", last.isoformat()), ("timezone", "GMT"), ("timeformat", "unixtime"),
        ("temperature_unit", "celsius"), ("wind_speed_unit", "ms")))


def _place(lat_deg: float, lon_deg: float) -> tuple[float, float]:
    """The position as it is sent: two decimals, no minus zero."""
    return round(lat_deg, 2) + 0.0, round(lon_deg, 2) + 0.0


def forecast(fetch: Fetch, lat_deg: float, lon_deg: float, first: date, last: date) -> Answer[Forecast]:
    """The forecast over a place for days first to last (UTC) by a fetching function; None and a note where there is none."""
    ask = ask_forecast(lat_deg, lon_deg, first, last)
    return fetch(ask, lambda text, at: read_forecast(text, at, _place(lat_deg, lon_deg), first, last))


def read_forecast(text: str, fetched_at: datetime, place_deg: tuple[float, float], first: date, last: date) -> Forecast:
    """Read the JSON answer for a forecast into SI.

    Refused (WeatherText): another place (beyond 0.5 degree) or other days than asked, units other than asked, columns
    of unequal length, hours not one after the other, values that are no number, not finite or not believable. A null
    (or NaN) is a value that is not known; a quantity left out is one column of them.
    """
    where = f"The forecast of {FORECAST_SOURCE}"
    root = _json(text, where)
    if not isinstance(root, dict):
        _refuse(where, "is not a forecast")
    lat, lon, elevation = (_number(root.get(k), f"{where} ({k})") for k in ("latitude", "longitude", "elevation"))
    if lat is None or lon is None or elevation is None or not -500 <= elevation <= 9000:
        _refuse(where, "does not say where it is for, or how high the ground is there")
    apart = abs((lon - place_deg[1] + 180) % 360 - 180)
    if abs(lat - place_deg[0]) > FARTHEST_CELL_DEG or apart > FARTHEST_CELL_DEG:
        _refuse(where, f"is for {lat:.2f}, {lon:.2f}, not for the place that was asked")
    hourly, units = root.get("hourly"), root.get("hourly_units")
    if not isinstance(hourly, dict) or not isinstance(units, dict):
        _refuse(where, "holds no hours")
    times = _times(hourly.get("time"), units.get("time"), root.get("utc_offset_seconds"), first, last, where)
    columns = {name: _column(hourly, units, name, quantity, len(times), where) for name, quantity in _quantities().items()}
    hours = tuple(_hour(moment, {k: v[i] for k, v in columns.items()}, where) for i, moment in enumerate(times))
    return Forecast(lat, lon, elevation, hours, fetched_at, FORECAST_SOURCE, FORECAST_LICENCE)


def _times(values: object, unit: object, offset: object, first: date, last: date, where: str) -> list[datetime]:
    """The hours as aware UTC times: whole seconds since 1970, one hour apart, inside the days that were asked."""
    if unit != "unixtime" or isinstance(offset, bool) or offset != 0:
        _refuse(where, f"counts its hours in {str(unit)[:20]!r}, not in UTC as asked")
    if not isinstance(values, list) or not values or not all(type(x) is int for x in values):
        _refuse(where, "holds no hours that can be read")
    hour_s = to_si(1, "h")
    if any(b - a != hour_s for a, b in pairwise(values)):
        _refuse(where, "has hours that do not follow one another")
    begin = datetime(first.year, first.month, first.day, tzinfo=UTC)
    end = datetime(last.year, last.month, last.day, tzinfo=UTC) + timedelta(days=1)
    if not begin.timestamp() <= values[0] <= values[-1] <= end.timestamp():
        _refuse(where, f"is for other days than {first} to {last}")
    return [datetime.fromtimestamp(x, UTC) for x in values]


def _column(hourly: dict[str, Any], units: dict[str, Any], name: str, quantity: _Quantity, length: int,
            where: str) -> list[float | None]:
    """One quantity by hour in SI; None where it is not known."""
    values = hourly.get(name)
    if values is None:
        return [None] * length
    if not isinstance(values, list) or len(values) != length:
        _refuse(where, f"has not {length} values of {name}, one for each hour")
    numbers = [_number(x, f"{where} ({name})") for x in values]
    if units.get(name) != quantity.answered and any(x is not None for x in numbers):
        _refuse(where, f"gives {name} in {str(units.get(name))[:20]!r}, not in {quantity.answered!r} as asked")
    found = [None if x is None else float(to_si(x, quantity.unit, quantity.dimension)) for x in numbers]
    for number, value in zip(numbers, found, strict=True):
        if value is not None and not quantity.low <= value <= quantity.high:
            _refuse(where, f"gives {name} as {number:g} {quantity.answered}, which is not believable")
    return found


def _hour(moment: datetime, values: dict[str, float | None], where: str) -> Hour:
    """One hour from its values: the ground, and the levels whose height is known, lowest first."""
    east, north = _wind(values, "10m")
    gust, speed = values["wind_gusts_10m"], values["wind_speed_10m"]
    if gust is not None and speed is not None and gust < speed:
        gust = None  # a gust below the wind contradicts it: not known
    ground = Ground(values["surface_pressure"], values["temperature_2m"], values["dew_point_2m"], east, north, gust)
    levels = tuple(_level(level, values, where) for level in LEVELS_HPA if values[f"geopotential_height_{level}hPa"] is not None)
    if any(below.height_m >= above.height_m for below, above in pairwise(levels)):
        _refuse(where, f"has pressure levels that do not rise with falling pressure at {moment:%d %b %H:%M}Z")
    return Hour(moment, ground, levels)


def _level(level: int, values: dict[str, float | None], where: str) -> Level:
    height = values[f"geopotential_height_{level}hPa"]
    assert height is not None
    pressure = float(to_si(level, "hPa"))
    if abs(height - float(pressure_altitude_m(0.0, pressure))) > HEIGHT_SPREAD_M:
        _refuse(where, f"puts {level} hPa at {height:,.0f} m, which is not believable")
    return Level(height, pressure, values[f"temperature_{level}hPa"], *_wind(values, f"{level}hPa"))


def _wind(values: dict[str, float | None], suffix: str) -> tuple[float | None, float | None]:
    """Wind towards east and north; calm needs no direction; None, None where either is not known."""
    speed, direction = values[f"wind_speed_{suffix}"], values[f"wind_direction_{suffix}"]
    if speed == 0:
        return 0.0, 0.0
    return (None, None) if speed is None or direction is None else towards(direction, speed)


def _json(text: str, where: str) -> Any:
    """JSON as Python values; NaN is null, infinities are refused."""
    def constant(name: str) -> None:
        if name != "NaN":
            raise ValueError(name)

    try:
        return json.loads(text, parse_constant=constant)
    except (ValueError, RecursionError):
        _refuse(where, "is not JSON")


def _number(value: object, where: str) -> float | None:
    """A finite number, or None for null; anything else is refused."""
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e12:
        _refuse(where, "holds something that is no number")
    return float(value)


def _refuse(where: str, what: str) -> NoReturn:
    raise WeatherText(f"{where} {what}; nothing of it is used. Ask again later, or type the weather in.")
