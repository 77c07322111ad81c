"""What the owner's hours and a forecast say of a place at a moment, whose winds aloft are taken, and when air is wanted at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from itertools import pairwise

from ownship.flight.airmass import Aloft, Level
from ownship.flight.places import HourEntry, PlaceWeather, WeatherEntry, joined, moved_to, placed, read_entry
from ownship.flight.planning import usual
from ownship.units import from_si, to_si
from ownship.world.aerodromes import Aerodrome
from ownship.world.forecast import Forecast
from ownship.world.weather import SurfaceWeather, WindReport

HOLDS_S = float(to_si(1, "h"))  # how far from its moment typed or reported weather still holds


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


def hours_text(seconds: float) -> str:
    """A length of time in hours: "3.0 h"."""
    return f"{abs(float(from_si(seconds, 'h'))):.1f} h"


def dew_below_k(temperature_k: float | None, dew_point_k: float | None) -> float | None:
    """A dew point of another source or moment than the temperature: never above it."""
    return dew_point_k if temperature_k is None or dew_point_k is None else min(temperature_k, dew_point_k)


def own_hours(found: tuple[WeatherEntry, str], ident: str, places: dict[str, Aerodrome], day: date,
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
    weather = replace(weather, dew_point_k=dew_below_k(weather.temperature_k, weather.dew_point_k),
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


def forecast_ground(forecast: Forecast | None, place: Aerodrome | None, wanted: Wanted) -> list[PlaceWeather]:
    """The forecast's ground at the moment, its temperature brought from the cell's elevation to the place's."""
    found = None if forecast is None or wanted.moment is None else forecast.ground_at(wanted.moment)
    if found is None or forecast is None:
        return []
    temperature, dew = moved_to(found.temperature_k, found.dew_point_k, forecast.elevation_m,
                                None if place is None else place.elevation_m)
    weather = SurfaceWeather(_forecast_wind(found.wind_from_deg, found.wind_m_s, found.gust_m_s), temperature, dew,
                             found.altimeter_pa, None, None, f"forecast of {found.source}")
    words = f"forecast of {found.source}, run up to {hours_text(found.run_age_s)} old by then"
    return [PlaceWeather(weather, found.spread.temperature_sd_k, False, words, wanted.moment, found.run_age_s,
                         found.spread.wind_sd_m_s)]


def _forecast_wind(from_deg: float | None, speed_m_s: float | None, gust_m_s: float | None) -> WindReport | None:
    """A forecast wind; a gust out of a calm blows from anywhere."""
    if speed_m_s is None:
        return None
    gust = None if gust_m_s is None else max(gust_m_s, speed_m_s)
    return WindReport(from_deg, speed_m_s, gust, from_deg is None and bool(gust))


# -- aloft ------------------------------------------------------------------------------------------------------------
def aloft_from(sources: Sequence[tuple[str, Aloft]]) -> Aloft:
    """The levels aloft by the first source that has a wind, and by the first that has a temperature; each with its own error.

    sources: (what it is called, its levels) by rank, the owner's before a forecast. Where there was a choice, or the two are of
    different sources, the words say which was used. None has any: no levels.
    """
    wind = next((x for x in sources if any(_blows(level) for level in x[1].levels)), None)
    warm = next((x for x in sources if any(level.temperature_k is not None for level in x[1].levels)), None)
    said = tuple(w for x in {id(x): x for x in (wind, warm) if x is not None}.values() for w in x[1].words)
    if wind is warm:
        over = [name for name, _ in sources if wind is not None and name != wind[0]]
        used = (f"Air aloft: {wind[0]}, before {' and '.join(over)}.",) if wind is not None and over else ()
        return Aloft(()) if wind is None else replace(wind[1], words=(*said, *used), source=wind[0])
    winds = [Level(x.altitude_m, x.wind_from_deg, x.wind_m_s, None) for x in (wind[1].levels if wind else ()) if _blows(x)]
    kelvins = [Level(x.altitude_m, None, None, x.temperature_k) for x in (warm[1].levels if warm else ())
               if x.temperature_k is not None]
    source = f"winds {wind[0] if wind else 'not known'}, temperatures {warm[0] if warm else 'not known'}"
    return Aloft((*winds, *kelvins), wind[1].wind_sd_m_s if wind else None, warm[1].temperature_sd_k if warm else None,
                 (*said, f"Air aloft: {source}."), source)


def _blows(level: Level) -> bool:
    return level.wind_m_s is not None
