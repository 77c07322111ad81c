"""The air at a place at a moment: the owner's hours, a forecast, what was typed or reported, a TAF; with source, age, error.

In this order, element by element: the owner's entries around the moment; the forecast; what was typed or reported for
about that moment; the TAF's prevailing weather; what was typed without a moment. Typed weather holds for one hour around
the departure it was typed for, where the request says which (`planned_departure`). What nothing covers is not known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

from ownship.flight.places import ELEMENTS, HourEntry, PlaceWeather, WeatherEntry, entry_of, joined, moved_to, placed, read_entry
from ownship.flight.planning import usual
from ownship.flight.request import FlightRequest
from ownship.units import from_si, to_si
from ownship.world.aerodromes import Aerodrome
from ownship.world.forecast import Forecast
from ownship.world.taf import Taf, parse_taf, prevailing
from ownship.world.weather import SurfaceWeather, WindReport

HOLDS_S = float(to_si(1, "h"))  # how far from its moment typed or reported weather still holds
NOTHING = SurfaceWeather(None, None, None, None, None, None, "not known")
_FALLS = ("", "wet", "snow")


@dataclass(frozen=True)
class Wanted:
    """When air is wanted. moment None: not known (an arrival without a model to estimate it).

    shift_s: how far this lies from the moment that the weather was typed for, None: the request names no such moment;
    near: whether the weather of the place was typed for about this moment (not so when leaving again days later).
    """

    moment: datetime | None
    shift_s: float | None = None
    near: bool = True

    @property
    def typed_holds(self) -> bool:
        """Whether typed weather may be used: as typed, or within an hour of the moment it was typed for."""
        return self.shift_s is None or abs(self.shift_s) <= HOLDS_S


def weather_at(request: FlightRequest, ident: str, places: dict[str, Aerodrome], day: date, wanted: Wanted,
               forecast: Forecast | None = None) -> PlaceWeather | None:
    """The weather of a place at a moment; None where the request gives none and no forecast is there.

    With typed values or a METAR alone, and no moment they were typed for, the same as `places.weather_of`. Values that no
    source covers are None. temperature_sd_k is that of the temperature's source, borrowed says it of the wind's.
    """
    found = entry_of(request, ident)
    if found is None and forecast is None:
        return None
    sources = [] if found is None else _own_hours(found, ident, places, day, wanted)
    sources += _forecast(forecast, places.get(ident), wanted)
    if found is not None:
        sources += _typed_and_taf(found, ident, places, day, wanted)
    if not sources:
        return PlaceWeather(NOTHING, usual("surface_temperature_sd"), False, _why_nothing(wanted), wanted.moment)
    return sources[0] if len(sources) == 1 else _laid_over(sources)


def _why_nothing(wanted: Wanted) -> str:
    moment = "the moment" if wanted.moment is None else f"{wanted.moment.astimezone(UTC):%d %b %H:%M}Z"
    away = "" if wanted.shift_s is None else f", {_hours_text(wanted.shift_s)} from the moment the weather was typed for"
    return f"not known: nothing covers {moment}{away}"


def _hours_text(seconds: float) -> str:
    return f"{abs(float(from_si(seconds, 'h'))):.1f} h"


def _laid_over(sources: Sequence[PlaceWeather]) -> PlaceWeather:
    """Each element from the first source that has it; what falls is the worst of all."""
    by = {name: next((s for s in sources if getattr(s.weather, name) is not None), sources[0]) for name in ELEMENTS}
    found = {name: getattr(s.weather, name) for name, s in by.items()}
    found["dew_point_k"] = _dew_k(found["temperature_k"], found["dew_point_k"])
    used = [s for s in sources if any(s is by[n] and found[n] is not None for n in ELEMENTS)] or [sources[0]]
    reported = next((s.weather for s in used if s.weather.observed is not None), NOTHING)
    weather = SurfaceWeather(**found, source="; ".join(dict.fromkeys(s.weather.source for s in used)), station=reported.station,
                             observed=reported.observed, falling=max((s.weather.falling for s in sources), key=_FALLS.index))
    warm, wind = by["temperature_k"], by["wind"]
    return PlaceWeather(weather, warm.temperature_sd_k, wind.borrowed, "; ".join(dict.fromkeys(s.words for s in used)), warm.at,
                        max((s.age_s for s in used if s.age_s is not None), default=None))


def _dew_k(temperature_k: float | None, dew_point_k: float | None) -> float | None:
    """A dew point of another source or moment than the temperature: never above it."""
    return dew_point_k if temperature_k is None or dew_point_k is None else min(temperature_k, dew_point_k)


# -- the owner's hours ------------------------------------------------------------------------------------------------
def _own_hours(found: tuple[WeatherEntry, str], ident: str, places: dict[str, Aerodrome], day: date,
               wanted: Wanted) -> list[PlaceWeather]:
    """The owner's entries joined at the moment; near an entry as good as typed, farther off as good as a forecast."""
    entry, target = found
    if not entry.hours or wanted.moment is None:
        return []
    known = [(h.at, read_entry(h.values, places.get(target), day)) for h in entry.hours]
    weather = joined(known, wanted.moment)
    if weather is None:
        return []
    off_s = min(abs((h.at - wanted.moment).total_seconds()) for h in entry.hours)
    weather = replace(weather, dew_point_k=_dew_k(weather.temperature_k, weather.dew_point_k),
                      source=_hours_source(entry.hours, wanted.moment))
    own = placed(weather, target, ident, places)
    sd = own.temperature_sd_k if off_s <= HOLDS_S else max(own.temperature_sd_k, usual("temperature_sd"))
    return [replace(own, temperature_sd_k=sd, at=wanted.moment, age_s=off_s)]


def _hours_source(hours: Sequence[HourEntry], at: datetime) -> str:
    """Which entries stand behind a moment, and where the owner has them from."""
    around = [h for h in hours if h.at == at] or [h for a, b in pairwise(hours) if a.at < at < b.at for h in (a, b)]
    said = ", ".join(dict.fromkeys(h.source for h in around if h.source))
    return f"entered by the pilot for {' and '.join(f'{h.at.astimezone(UTC):%d %b %H:%M}Z' for h in around)}" + (
        f" ({said})" if said else "")


# -- forecast, report, TAF --------------------------------------------------------------------------------------------
def _forecast(forecast: Forecast | None, place: Aerodrome | None, wanted: Wanted) -> list[PlaceWeather]:
    """The forecast's ground at the moment, its temperature brought from the cell's elevation to the place's."""
    found = None if forecast is None or wanted.moment is None else forecast.ground_at(wanted.moment)
    if found is None or forecast is None:
        return []
    temperature, dew = moved_to(found.temperature_k, found.dew_point_k, forecast.elevation_m,
                                None if place is None else place.elevation_m)
    weather = SurfaceWeather(_forecast_wind(found.wind_from_deg, found.wind_m_s, found.gust_m_s), temperature, dew,
                             found.altimeter_pa, None, None, f"forecast of {found.source}")
    words = f"forecast of {found.source}, run up to {_hours_text(found.run_age_s)} old by then"
    return [PlaceWeather(weather, found.spread.temperature_sd_k, False, words, wanted.moment, found.run_age_s)]


def _forecast_wind(from_deg: float | None, speed_m_s: float | None, gust_m_s: float | None) -> WindReport | None:
    """A forecast wind; a gust out of a calm blows from anywhere."""
    if speed_m_s is None:
        return None
    gust = None if gust_m_s is None else max(gust_m_s, speed_m_s)
    return WindReport(from_deg, speed_m_s, gust, from_deg is None and bool(gust))


def _typed_and_taf(found: tuple[WeatherEntry, str], ident: str, places: dict[str, Aerodrome], day: date,
                   wanted: Wanted) -> list[PlaceWeather]:
    """Typed and reported weather of about the moment, then the TAF, then typed weather that is only not excluded."""
    entry, target = found
    whole = read_entry(entry, places.get(target), day)
    taf = taf_of(entry, wanted.moment or datetime(day.year, day.month, day.day, 12, tzinfo=UTC))
    if taf is None and not entry.hours and wanted.typed_holds:
        return [replace(placed(whole, target, ident, places), at=wanted.moment, age_s=_age_s(whole, wanted))]
    near: list[PlaceWeather] = []
    later: list[PlaceWeather] = []
    for weather in _parts(entry, places.get(target), day):
        age_s = _age_s(weather, wanted)
        close = wanted.near and wanted.typed_holds if age_s is None else age_s <= HOLDS_S
        if close or wanted.typed_holds:
            (near if close else later).append(replace(placed(weather, target, ident, places), at=wanted.moment, age_s=age_s))
    prevails = None if taf is None or wanted.moment is None else prevailing(taf, wanted.moment)
    if taf is None or prevails is None or wanted.moment is None:
        return near + later
    since_s = max((wanted.moment - taf.issued).total_seconds(), 0.0)
    own = placed(prevails, ident if target == "default" else target, ident, places)
    return [*near, replace(own, at=wanted.moment, age_s=since_s), *later]


def taf_of(entry: WeatherEntry, reference: datetime) -> Taf | None:
    """The TAF of an entry, its days resolved near the reference moment."""
    return None if entry.taf is None else parse_taf(entry.taf, reference, f"{entry.where} taf")


def _parts(entry: WeatherEntry, place: Aerodrome | None, day: date) -> list[SurfaceWeather]:
    """The typed values and the METAR as two weathers, each with its own moment; a part that says nothing is left out."""
    typed = read_entry(replace(entry, metar=None), place, day)
    parts = [typed] if any(getattr(typed, n) is not None for n in ELEMENTS) else []
    return parts if entry.metar is None else [*parts, read_entry(WeatherEntry(entry.metar, where=entry.where), place, day)]


def _age_s(weather: SurfaceWeather, wanted: Wanted) -> float | None:
    """How far a report lies from the moment; None where it is typed, or its day is not within a day of the moment."""
    if weather.observed is None or wanted.moment is None:
        return None
    day, hour, minute = weather.observed
    for days in (-1, 0, 1):
        near = wanted.moment.astimezone(UTC) + timedelta(days=days)
        if near.day == day:
            return abs((near.replace(hour=hour, minute=minute, second=0, microsecond=0) - wanted.moment).total_seconds())
    return None


