"""Weather of each place as it may be used: reported, typed in, or taken over from another place."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from ownship.errors import BadInput
from ownship.flight.planning import usual
from ownship.flight.request import AloftLevel, FlightRequest, WeatherEntry
from ownship.physics.atmosphere import Air, isa_temperature_k, pressure_altitude_m, relative_humidity_1
from ownship.world.aerodromes import Aerodrome
from ownship.world.magnetism import variation_deg
from ownship.world.weather import (
    HIGHEST_ALOFT_WIND_KT,
    SurfaceWeather,
    WindReport,
    fb_levels,
    parse_metar,
    parse_wind,
)


@dataclass(frozen=True)
class PlaceWeather:
    """Weather of one place: what was reported, its temperature error, where it is from, whether it is another place's."""

    weather: SurfaceWeather
    temperature_sd_k: float
    borrowed: bool
    words: str

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
    own = read_entry(entry, places.get(target), day)
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
    temperature = w.temperature_k
    if temperature is not None and start and to and start.elevation_m is not None and to.elevation_m is not None:
        temperature += float(isa_temperature_k(to.elevation_m) - isa_temperature_k(start.elevation_m))
    dew = None if w.dew_point_k is None or temperature is None else min(w.dew_point_k, temperature)
    return SurfaceWeather(w.wind, temperature, dew, w.altimeter_pa, None, None, w.source, w.station, w.observed, w.falling)


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
    levels = [_typed(level) for level in request.aloft]
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


def _typed(level: AloftLevel) -> AloftReading:
    wind = parse_wind(level.wind, f"{level.where} wind", HIGHEST_ALOFT_WIND_KT)
    if wind.variable:
        raise BadInput(f"{level.where} wind: a variable wind aloft gives no direction; write calm or a direction.")
    return AloftReading(level.altitude_m, wind, level.temperature_k)
