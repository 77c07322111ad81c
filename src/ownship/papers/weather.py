"""The weather of a place as text and as JSON: reports with their age, the forecast with its error, sources and licences."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any

from ownship.flight.margins import Z_90
from ownship.units import from_si
from ownship.words.cautions import cautions_for

NONE = "none"


def weather_lines(answer: Any) -> Iterable[str]:
    """A questions.weather.WeatherAnswer in lines: METAR, TAF, forecast, the owner's own, and what is missing."""
    yield f"{answer.place.name} {answer.name}".strip() + f", for {_time(answer.at)} (asked {_time(answer.asked)})"
    for kind, told in (("METAR", answer.metar), ("TAF", answer.taf)):
        yield from _told_lines(kind, told, answer.asked)
    yield from _forecast_lines(answer.forecast, answer.asked)
    if answer.own is not None:
        yield f"Your request: {weather_text(answer.own.weather)} [{answer.own.words}; temperature within {_kelvin(answer.own)}]"
    for note in answer.notes:
        yield f"  ! {note}"
    yield from cautions_for(["verdict"])


def _told_lines(kind: str, told: Any, now: datetime) -> Iterable[str]:
    if told is None:
        yield f"{kind}: {NONE}"
        return
    made = "" if told.made is None else f"made {_time(told.made)}, {_ago(told.made, now)}; "
    yield f"{kind} ({made}fetched {_ago(told.fetched_at, now)}; {told.source}: {told.licence}):"
    yield f"  {told.text}"
    if told.weather is not None:
        yield f"  {'reads' if kind == 'METAR' else 'prevailing'}: {weather_text(told.weather)}"
    for other in told.possible[1:]:
        yield f"  may be: {weather_text(other)}"


def _forecast_lines(forecast: Any, now: datetime) -> Iterable[str]:
    if forecast is None:
        yield f"Forecast: {NONE}"
        return
    yield f"Forecast (fetched {_ago(forecast.fetched_at, now)}; {forecast.source}: {forecast.licence}), bands 5 to 95 %:"
    for h in forecast.hours:
        yield (f"  {_time(h.time)} wind {_wind_text(h.wind_from_deg, h.wind_m_s, h.gust_m_s)}, {_celsius(h.temperature_k)}"
               f"{_band(h.temperature_k, h.spread.temperature_sd_k)}, dew point {_celsius(h.dew_point_k)}, altimeter "
               f"{_inches(h.altimeter_pa)}")
    for a in forecast.aloft:
        yield (f"  {from_si(a.height_m, 'ft'):,.0f} ft at {_time(a.time)}: wind {_wind_text(a.wind_from_deg, a.wind_m_s, None)} "
               f"(each component within {Z_90 * from_si(a.spread.wind_sd_m_s, 'kt'):.0f} kt), {_celsius(a.temperature_k)}"
               f"{_band(a.temperature_k, a.spread.temperature_sd_k)}")


def weather_text(w: Any) -> str:
    """A SurfaceWeather in words; what it does not know is said to be not known."""
    wind = "not known" if w.wind is None else _report_text(w.wind)
    sky = "not known" if w.ceiling_m is None else "none" if math.isinf(w.ceiling_m) else f"{from_si(w.ceiling_m, 'ft'):,.0f} ft"
    seen = "not known" if w.visibility_m is None else f"{from_si(w.visibility_m, 'sm'):.3g} sm"
    falling = f", falling: {w.falling}" if w.falling else ""
    return (f"wind {wind}, temperature {_celsius(w.temperature_k)}, dew point {_celsius(w.dew_point_k)}, altimeter "
            f"{_inches(w.altimeter_pa)}, visibility {seen}, ceiling {sky}{falling}")


def weather_json(answer: Any) -> dict[str, Any]:
    """A questions.weather.WeatherAnswer as JSON types; quantities are {"value","unit"}, null where not known."""
    p = answer.place
    return {"schema": 1, "place": {"ident": p.name, "name": answer.name, "lat": p.lat_deg, "lon": p.lon_deg},
            "at": answer.at.isoformat(), "asked": answer.asked.isoformat(), "network": answer.network_on,
            "metar": _told_json(answer.metar, answer.asked), "taf": _told_json(answer.taf, answer.asked),
            "forecast": _forecast_json(answer.forecast, answer.asked),
            "own": None if answer.own is None else surface_json(answer.own.weather) | {
                "words": answer.own.words, "borrowed": answer.own.borrowed,
                "temperature_error": {"value": answer.own.temperature_sd_k, "unit": "K"}},
            "notes": list(answer.notes), "cautions": list(cautions_for(["verdict"]))}


def _told_json(told: Any, now: datetime) -> dict[str, Any] | None:
    if told is None:
        return None
    return {"text": told.text, "made": None if told.made is None else told.made.isoformat(),
            "age": None if told.made is None else _minutes(told.made, now), "fetched_at": told.fetched_at.isoformat(),
            "fetched_age": _minutes(told.fetched_at, now), "source": told.source, "licence": told.licence,
            "weather": None if told.weather is None else surface_json(told.weather),
            "possible": [surface_json(w) for w in told.possible]}


def surface_json(w: Any) -> dict[str, Any]:
    """A SurfaceWeather as JSON types; no_ceiling true where the report says that there is none."""
    wind = None if w.wind is None else {
        "from": None if w.wind.from_deg is None else {"value": w.wind.from_deg, "unit": "deg"}, "variable": w.wind.variable,
        "speed": _quantity(w.wind.speed_m_s, "kt"), "gust": _quantity(w.wind.gust_m_s, "kt")}
    clear = w.ceiling_m is not None and math.isinf(w.ceiling_m)
    return {"wind": wind, "temperature": _quantity(w.temperature_k, "C", "temperature"),
            "dew_point": _quantity(w.dew_point_k, "C", "temperature"), "altimeter": _quantity(w.altimeter_pa, "hPa"),
            "visibility": _quantity(w.visibility_m, "m"), "ceiling": None if clear else _quantity(w.ceiling_m, "ft"),
            "no_ceiling": clear, "falling": w.falling, "source": w.source}


def _forecast_json(forecast: Any, now: datetime) -> dict[str, Any] | None:
    if forecast is None:
        return None
    return {"source": forecast.source, "licence": forecast.licence, "fetched_at": forecast.fetched_at.isoformat(),
            "fetched_age": _minutes(forecast.fetched_at, now),
            "hours": [{"time": h.time.isoformat(), "wind": _wind_json(h), "gust": _quantity(h.gust_m_s, "kt"),
                       "temperature": _banded(h.temperature_k, h.spread.temperature_sd_k),
                       "dew_point": _quantity(h.dew_point_k, "C", "temperature"), "altimeter": _quantity(h.altimeter_pa, "hPa"),
                       "run_age": {"value": from_si(h.run_age_s, "h"), "unit": "h"}} for h in forecast.hours],
            "aloft": [{"time": a.time.isoformat(), "height": _quantity(a.height_m, "ft"), "wind": _wind_json(a),
                       "temperature": _banded(a.temperature_k, a.spread.temperature_sd_k)} for a in forecast.aloft]}


def _wind_json(air: Any) -> dict[str, Any] | None:
    if air.wind_m_s is None:
        return None
    return {"from": None if air.wind_from_deg is None else {"value": air.wind_from_deg, "unit": "deg"},
            "speed": _quantity(air.wind_m_s, "kt"), "component_error": _quantity(air.spread.wind_sd_m_s, "kt")}


def _quantity(value: float | None, unit: str, dimension: str | None = None) -> dict[str, Any] | None:
    return None if value is None else {"value": float(from_si(value, unit, dimension)), "unit": unit}


def _banded(kelvin: float | None, sd_k: float) -> dict[str, Any] | None:
    """A temperature with its band (5 and 95 %)."""
    found = _quantity(kelvin, "C", "temperature")
    return None if found is None else found | {"low": found["value"] - Z_90 * sd_k, "high": found["value"] + Z_90 * sd_k}


def _minutes(then: datetime, now: datetime) -> dict[str, Any]:
    return {"value": round((now - then).total_seconds() / 60), "unit": "min"}


def _time(moment: datetime) -> str:
    return f"{moment.astimezone(UTC):%d %b %H:%M}Z"


def _ago(then: datetime, now: datetime) -> str:
    minutes = round((now - then).total_seconds() / 60)
    hours, rest = divmod(abs(minutes), 60)
    return f"{f'{hours} h ' if hours else ''}{rest} min {'ago' if minutes >= 0 else 'ahead'}"


def _report_text(wind: Any) -> str:
    if wind.variable:
        return f"variable {from_si(wind.speed_m_s, 'kt'):.0f} kt{_gust(wind.gust_m_s)}"
    return _wind_text(wind.from_deg, wind.speed_m_s, wind.gust_m_s)


def _wind_text(from_deg: float | None, speed_m_s: float | None, gust_m_s: float | None) -> str:
    """A wind in words, true."""
    if speed_m_s is None:
        return "not known"
    if from_deg is None:
        return f"calm{_gust(gust_m_s)}"
    return f"{round(from_deg) % 360 or 360:03d} true {from_si(speed_m_s, 'kt'):.0f} kt{_gust(gust_m_s)}"


def _gust(gust_m_s: float | None) -> str:
    return "" if gust_m_s is None else f", gust {from_si(gust_m_s, 'kt'):.0f} kt"


def _celsius(kelvin: float | None) -> str:
    return "not known" if kelvin is None else f"{from_si(kelvin, 'C', 'temperature'):.0f} C"


def _band(kelvin: float | None, sd_k: float) -> str:
    if kelvin is None:
        return ""
    celsius = from_si(kelvin, "C", "temperature")
    return f" ({celsius - Z_90 * sd_k:.0f} to {celsius + Z_90 * sd_k:.0f})"


def _kelvin(own: Any) -> str:
    return f"{Z_90 * own.temperature_sd_k:.1f} K"


def _inches(pressure_pa: float | None) -> str:
    return "not known" if pressure_pa is None else f"{from_si(pressure_pa, 'inHg'):.2f} inHg"
