"""Weather of each place as the request gives it: reported, typed in, or taken over from another place."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from itertools import pairwise
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from ownship.errors import BadInput
from ownship.flight.planning import usual
from ownship.physics.atmosphere import Air, isa_temperature_k, pressure_altitude_m, relative_humidity_1
from ownship.physics.wind import direction_deg
from ownship.schema import Table
from ownship.units import to_si
from ownship.world.aerodromes import Aerodrome
from ownship.world.forecast import towards
from ownship.world.magnetism import variation_deg
from ownship.world.weather import (
    HIGHEST_ALOFT_WIND_KT,
    SurfaceWeather,
    WindReport,
    fb_levels,
    observed_moment,
    parse_metar,
    parse_wind,
)

if TYPE_CHECKING:
    from ownship.flight.request import FlightRequest

T = TypeVar("T")
LONGEST_GAP_S = float(to_si(6, "h"))  # between two entries further apart than this the weather is not known
METAR_ENDS_S = float(to_si(12, "h"))  # farther from its hour than this a METAR says nothing
TURNS_DEG = 90.0  # a wind that turns by more than this between two entries has no direction between them
ELEMENTS = ("wind", "temperature_k", "dew_point_k", "altimeter_pa", "visibility_m", "ceiling_m")


@dataclass(frozen=True)
class WeatherEntry:
    """Weather of one place: METAR, TAF, values typed in, the owner's values by hour, or `use` of another place's."""

    metar: str | None = None
    wind: str | None = None
    direction: str = "true"
    temperature_k: float | None = None
    dew_point_k: float | None = None
    altimeter_pa: float | None = None
    visibility_m: float | None = None
    ceiling_m: float | None = None
    use: str | None = None
    where: str = ""
    taf: str | None = None
    hours: tuple[HourEntry, ...] = ()


@dataclass(frozen=True)
class HourEntry:
    """The owner's own values for one moment (aware) at one place, and where he has them from."""

    at: datetime
    values: WeatherEntry
    source: str = ""


@dataclass(frozen=True)
class AloftLevel:
    """Wind (as typed, true) and temperature at one altitude above sea level; at: the moment, None in the plain [aloft]."""

    altitude_m: float
    wind: str
    temperature_k: float | None
    where: str = ""
    at: datetime | None = None


def moment(value: object) -> tuple[datetime, bool]:
    """A moment and whether it has no zone of its own (local to the place)."""
    try:
        read = value if isinstance(value, datetime) else datetime.fromisoformat(str(value))
    except ValueError:
        raise ValueError(f"{value!r} is not a moment; write it as 2026-07-11T15:00-06:00.") from None
    return read, read.tzinfo is None


def _zoned(value: object) -> datetime:
    """A moment that says its own zone."""
    found, local = moment(value)
    if local:
        raise ValueError(f"{found.isoformat()!r} has no zone; write -06:00 behind it.")
    return found


def read_weather(t: Table) -> WeatherEntry:
    """One [weather.X]; every refusal names the field and its line."""
    hours = sorted((_hour(x) for x in t.tables("hours")), key=lambda h: h.at)
    twice = [at for at, count in Counter(h.at for h in hours).items() if count > 1]
    if twice:
        raise t.bad("hours", f"two entries are for {twice[0].isoformat()}; keep one of them.")
    entry = replace(_values(t), metar=t.text("metar", None), taf=t.text("taf", None), hours=tuple(hours),
                    use=t.text("use").upper() if t.has("use") else None)
    if entry.use is not None and (entry.taf or entry.hours):
        raise t.bad("use", f"the weather of {entry.use} is taken over, so taf and hours of this place would not be read; "
                           "take one of the two out.")
    _finish(t)
    return entry


def _values(t: Table) -> WeatherEntry:
    """The values that may be typed for a place."""
    return WeatherEntry(
        None, t.text("wind", None), t.choice("direction", ("true", "magnetic"), "true"),
        t.quantity("temperature", "temperature", None, low="-60 C", high="60 C"),
        t.quantity("dew_point", "temperature", None, low="-80 C", high="40 C"),
        t.quantity("altimeter", "pressure", None, low="850 hPa", high="1100 hPa"),
        t.quantity("visibility", "length", None, low="0 m", high="200 km"),
        t.quantity("ceiling", "length", None, low="0 ft", high="60000 ft"), None, t.where())


def _hour(t: Table) -> HourEntry:
    entry = HourEntry(t.convert("at", _zoned), _values(t), t.text("source", ""))
    t.done()
    if entry.values == WeatherEntry(direction=entry.values.direction, where=entry.values.where):
        raise t.bad("at", "the entry of this moment gives no weather; add wind, temperature or another value, or take it out.")
    return entry


def read_aloft(t: Table) -> tuple[tuple[AloftLevel, ...], tuple[str, str] | None]:
    """The plain [aloft]: levels of one moment, and the winds-aloft text with its station."""
    fb, station = t.text("fb", None), t.text("station", None)
    t.take("source", None)
    if (fb is None) != (station is None):
        raise t.bad("fb", "a winds-aloft text needs both fb and station.")
    levels = []
    for key in t.keys():  # noqa: SIM118 - Table, not a dict
        altitude = t.convert_value(key, key, "length")
        level = t.table(key)
        assert level is not None
        levels.append(_level(level, altitude))
    t.done()
    return tuple(sorted(levels, key=lambda x: x.altitude_m)), None if fb is None else (fb, station.strip().upper())


def read_aloft_hours(tables: list[Table]) -> tuple[AloftLevel, ...]:
    """The [[aloft_hours]]: levels of several moments, in the order of level and time."""
    levels: list[AloftLevel] = []
    for t in tables:
        at = t.convert("at", _zoned)
        level = _level(t, t.quantity("level", "length", low="0 ft", high="30000 ft"), at)
        if any((x.at, x.altitude_m) == (at, level.altitude_m) for x in levels):
            raise t.bad("at", f"two entries are for this level at {at.isoformat()}; keep one of them.")
        levels.append(level)
    return tuple(sorted(levels, key=lambda x: (x.altitude_m, x.at)))


def _level(t: Table, altitude_m: float, at: datetime | None = None) -> AloftLevel:
    level = AloftLevel(altitude_m, t.text("wind"), t.quantity("temperature", "temperature", None, low="-80 C", high="60 C"),
                       t.where(), at)
    _finish(t)
    return level


def _finish(table: Table) -> None:
    table.take("source", None)
    table.done()


@dataclass(frozen=True)
class PlaceWeather:
    """Weather of one place: what was reported, its temperature error, where it is from, whether it is another place's.

    at: the moment it is for (None: as typed, no moment known); age_s: how far its source lies from that moment;
    wind_sd_m_s: error of each component of a forecast wind, 0 for one that was typed or reported.
    """

    weather: SurfaceWeather
    temperature_sd_k: float
    borrowed: bool
    words: str
    at: datetime | None = None
    age_s: float | None = None
    wind_sd_m_s: float = 0.0

    def air(self, elevation_m: float | None) -> Air | None:
        """The air on the ground; None where temperature, altimeter or elevation is missing."""
        w = self.weather
        if w.temperature_k is None or w.altimeter_pa is None or elevation_m is None:
            return None
        humidity = 0.0 if w.dew_point_k is None else float(relative_humidity_1(w.temperature_k, w.dew_point_k))
        return Air(float(pressure_altitude_m(elevation_m, w.altimeter_pa)), w.temperature_k, humidity)

    def missing(self) -> tuple[str, ...]:
        """What a runway figure needs and this weather lacks."""
        w = self.weather
        return tuple(name for name, value in (("temperature", w.temperature_k), ("altimeter", w.altimeter_pa))
                     if value is None)


def weather_of(request: FlightRequest, ident: str, places: dict[str, Aerodrome], day: date) -> PlaceWeather | None:
    """The weather of a place: its own entry, else [weather.default], else None: not known."""
    found = entry_of(request, ident)
    if found is None:
        return None
    entry, target = found
    weather = read_entry(entry, places.get(target), day)
    if gone(weather, None if request.departure_is_local else request.departure, day):
        weather = read_entry(replace(entry, metar=None), places.get(target), day)
    return placed(weather, target, ident, places)


def gone(weather: SurfaceWeather, at: datetime | None, day: date) -> bool:
    """Whether a METAR lies more than 12 h from the moment of its use; that moment not known: more than 12 h from the day."""
    if weather.observed is None:
        return False
    near = noon(day) if at is None else at
    off_s = abs((observed_moment(weather.observed, near) - near).total_seconds())
    return off_s > (2 * METAR_ENDS_S if at is None else METAR_ENDS_S)


def noon(day: date) -> datetime:
    """Noon UTC of a day: what a report's day and hour are resolved by where no moment is known."""
    return datetime(day.year, day.month, day.day, 12, tzinfo=UTC)


def entry_of(request: FlightRequest, ident: str) -> tuple[WeatherEntry, str] | None:
    """The entry a place's weather comes from, after `use`, and the name it stands under; None: there is none."""
    entry = request.weather.get(ident) or request.weather.get("default")
    if entry is None:
        return None
    seen = {ident}
    target = ident if ident in request.weather else "default"
    while entry.use is not None:
        target = entry.use
        if target in seen or target not in request.weather:
            raise BadInput(f"{entry.where} use: {target!r} has no weather of its own to take over; give it one.")
        seen.add(target)
        entry = request.weather[target]
    return entry, target


def placed(own: SurfaceWeather, target: str, ident: str, places: dict[str, Aerodrome]) -> PlaceWeather:
    """Weather that stands under one name as that of a place: its own, or moved by the standard lapse and borrowed."""
    place = places.get(target)
    if own.station and place is not None and own.station not in place.codes:
        moved = _moved(own, places.get(own.station), place)
        return PlaceWeather(moved, usual("borrowed_temperature_sd"), True,
                            f"a report of {own.station}, not of {target} ({own.source})")
    if target in (ident, "default"):
        sd = usual("surface_temperature_sd") if target == ident else usual("borrowed_temperature_sd")
        return PlaceWeather(own, sd, False, own.source)
    return PlaceWeather(_moved(own, places.get(target), places.get(ident)), usual("borrowed_temperature_sd"), True,
                        f"taken over from {target} by the standard lapse ({own.source})")


def _moved(w: SurfaceWeather, start: Aerodrome | None, to: Aerodrome | None) -> SurfaceWeather:
    """Another place's weather by the standard lapse; altimeter kept; cloud and visibility are not carried over."""
    heights = (x.elevation_m if x else None for x in (start, to))
    temperature, dew = moved_to(w.temperature_k, w.dew_point_k, *heights)
    return SurfaceWeather(w.wind, temperature, dew, w.altimeter_pa, None, None, w.source, w.station, w.observed, w.falling)


def moved_to(temperature_k: float | None, dew_point_k: float | None, start_m: float | None,
             end_m: float | None) -> tuple[float | None, float | None]:
    """Temperature and dew point brought from one elevation to another by the standard lapse; the dew point never above."""
    if temperature_k is not None and start_m is not None and end_m is not None:
        temperature_k += float(isa_temperature_k(end_m) - isa_temperature_k(start_m))
    dew = None if dew_point_k is None or temperature_k is None else min(dew_point_k, temperature_k)
    return temperature_k, dew


def read_entry(entry: WeatherEntry, aerodrome: Aerodrome | None, day: date) -> SurfaceWeather:
    """One [weather] table: a METAR, with typed values over it; a magnetic wind becomes true by the variation."""
    base = (parse_metar(entry.metar, f"{entry.where} metar") if entry.metar
            else SurfaceWeather(None, None, None, None, None, None, "typed in"))
    wind = base.wind
    if entry.wind is not None:
        wind = parse_wind(entry.wind, f"{entry.where} wind")
        if entry.direction == "magnetic" and wind.from_deg is not None:
            if aerodrome is None:
                raise BadInput(f"{entry.where} direction: a magnetic wind needs a place with a known position; write it true.")
            turned = (wind.from_deg + variation_deg(aerodrome.lat_deg, aerodrome.lon_deg, 0.0, day)) % 360.0
            wind = WindReport(turned, wind.speed_m_s, wind.gust_m_s, wind.variable)
    temperature = entry.temperature_k if entry.temperature_k is not None else base.temperature_k
    dew = entry.dew_point_k if entry.dew_point_k is not None else base.dew_point_k
    if dew is not None and temperature is not None and dew > temperature + 0.6:
        raise BadInput(f"{entry.where} dew_point: the dew point is above the temperature; correct one of the two.")
    return SurfaceWeather(wind, temperature, dew,
                          entry.altimeter_pa if entry.altimeter_pa is not None else base.altimeter_pa,
                          entry.visibility_m if entry.visibility_m is not None else base.visibility_m,
                          entry.ceiling_m if entry.ceiling_m is not None else base.ceiling_m,
                          base.source if entry.metar else "typed in by the pilot", base.station, base.observed, base.falling)


@dataclass(frozen=True)
class AloftReading:
    """One decoded level aloft."""

    altitude_m: float
    wind: WindReport | None
    temperature_k: float | None


def aloft_levels(request: FlightRequest) -> tuple[AloftReading, ...]:
    """The levels of [aloft], typed or from a winds-aloft text; light and variable counts as calm."""
    levels = [aloft_reading(level) for level in request.aloft]
    if request.aloft_fb is not None:
        text, station = request.aloft_fb
        for altitude, group in fb_levels(text, station, "[aloft] fb"):
            wind = None
            if group.light_and_variable:
                wind = WindReport(None, 0.0)
            elif group.from_deg is not None and group.speed_m_s is not None:
                wind = WindReport(group.from_deg, group.speed_m_s)
            levels.append(AloftReading(altitude, wind, group.temperature_k))
    return tuple(sorted(levels, key=lambda x: x.altitude_m))


def aloft_reading(level: AloftLevel) -> AloftReading:
    """A typed level decoded; a variable wind aloft is refused."""
    wind = parse_wind(level.wind, f"{level.where} wind", HIGHEST_ALOFT_WIND_KT)
    if wind.variable:
        raise BadInput(f"{level.where} wind: a variable wind aloft gives no direction; write calm or a direction.")
    return AloftReading(level.altitude_m, wind, level.temperature_k)


def joined(known: Sequence[tuple[datetime, SurfaceWeather]], at: datetime) -> SurfaceWeather | None:
    """Weather between entries (in order of time), element by element; None where no element is covered.

    Temperature, dew point, altimeter: linear. Ceiling and visibility: the lower of the two. Wind: see `wind_between`. An
    element is joined between the nearest entries that have it, at most 6 h apart; before the first and after the last it
    is not known.
    """
    found: dict[str, object] = {}
    for name in ELEMENTS:
        points = [(t, getattr(w, name)) for t, w in known if getattr(w, name) is not None]
        how: Callable[[Any, Any, float], Any] = wind_between if name == "wind" else _lower if name in ELEMENTS[4:] else linear
        found[name] = between(points, at, how)
    if all(v is None for v in found.values()):
        return None
    return SurfaceWeather(**found, source="entered by the pilot")  # type: ignore[arg-type]


def between(points: Sequence[tuple[datetime, T]], at: datetime, how: Callable[[T, T, float], T]) -> T | None:
    """A value between those of moments in order: that of the moment itself, else joined over at most 6 h; None outside."""
    for time, value in points:
        if time == at:
            return value
    for (start, a), (end, b) in pairwise(points):
        if start < at < end:
            return how(a, b, (at - start) / (end - start)) if (end - start).total_seconds() <= LONGEST_GAP_S else None
    return None


def linear(a: float, b: float, share: float) -> float:
    """The value a share of the way from one to the other."""
    return a + (b - a) * share


def _lower(a: float, b: float, share: float) -> float:
    return min(a, b)


def wind_between(a: WindReport, b: WindReport, share: float) -> WindReport:
    """A wind between two: by components, with the stronger gust of the two.

    Where one of them is variable, or it turns by more than 90 degrees, it is variable with the stronger speed and gust:
    a calm that the components would make between opposite winds is never believed.
    """
    gusts = [w.gust_m_s for w in (a, b) if w.gust_m_s is not None]
    if a.variable or b.variable or _turned_deg(a, b) > TURNS_DEG:
        speed = max(a.speed_m_s, b.speed_m_s)
        return WindReport(None, speed, max([*gusts, speed]) if gusts else None, True)
    east, north = (linear(x, y, share) for x, y in zip(vector(a), vector(b), strict=True))
    speed = math.hypot(east, north)
    return WindReport(direction_of(east, north), speed, max([*gusts, speed]) if gusts else None)


def _turned_deg(a: WindReport, b: WindReport) -> float:
    """The angle between two winds; 0 where one has no direction."""
    return 0.0 if a.from_deg is None or b.from_deg is None else abs((a.from_deg - b.from_deg + 180.0) % 360.0 - 180.0)


def vector(wind: WindReport) -> tuple[float, float]:
    """A wind as (towards east, towards north), m/s; without a direction calm."""
    return (0.0, 0.0) if wind.from_deg is None else towards(wind.from_deg, wind.speed_m_s)


def direction_of(east: float, north: float) -> float | None:
    """Where a wind comes from (deg true), from the vector it blows along; None when calm."""
    return float(direction_deg(np.degrees(np.arctan2(-east, -north)))) if east or north else None
