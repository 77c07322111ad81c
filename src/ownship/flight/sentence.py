"""The verdict as a sentence, warnings gathered, sources listed."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np

from ownship.aeroplane.weighing import EmptyWeight
from ownship.flight import warnings as air_warnings
from ownship.flight.flown import Flown
from ownship.flight.judge_route import light_words
from ownship.flight.margins import Margin
from ownship.flight.places import PlaceWeather
from ownship.flight.planning import figures
from ownship.flight.runways import JudgedEnd
from ownship.flight.situation import Situation
from ownship.flight.warnings import PlaceAir, Warning
from ownship.flight.weather_sources import HOLDS_S
from ownship.performance.model import priors
from ownship.words.figures import number_text
from ownship.words.verdicts import NOT_KNOWN, OUTSIDE, TIGHT, WITHIN, Verdict
from ownship.world import magnetism
from ownship.world.weather import observed_moment


def sentence(verdict: Verdict, margins: tuple[Margin, ...]) -> str:
    """Verdict, the tightest margin with its room and kind, and how many more share the verdict."""
    if not margins:
        return "Not known: there is nothing to judge."
    first = margins[0]
    place = f" at {first.place}" if first.place and first.place not in first.name else ""
    more = sum(m.verdict == verdict for m in margins) - 1
    also = f"; {more} more {'limit is' if more == 1 else 'limits are'} {verdict.removesuffix(' limits')}" if more else ""
    if verdict == WITHIN:
        return f"Within limits; tightest is {first.name}{place}{_room(first)} ({first.kind})."
    if verdict == NOT_KNOWN:
        return f"Not known: {first.name}{place}. {first.words}{' ' if also else ''}{also.removeprefix('; ')}".strip()
    word = {OUTSIDE: "Outside limits", TIGHT: "Tight"}[verdict]
    return f"{word}: {first.name}{place}{_room(first)} ({first.kind}){also}."


def _room(m: Margin) -> str:
    if m.margin is None:
        return ""
    amount = f"{number_text(abs(m.margin.value))} {m.margin.unit}"
    if m.margin.value >= 0:
        return f", {amount} left"
    return f", {amount} {'over' if m.id.startswith(('weight', 'cg', 'station', 'group', 'imbalance')) else 'short'}"


def warnings_of(s: Situation, flown: Flown | None, runways: dict[str, JudgedEnd],
                empty: EmptyWeight | None) -> tuple[dict[str, str], ...]:
    """Every warning of the air, the weighing, the light and borrowed weather."""
    found: list[Warning] = [Warning("weighing", text, "", "airframe record") for text in (empty.warnings if empty else ())]
    for index, departing in ((0, True), (-1, False)):
        found += _place(s, index, departing)
    if s.air.known:
        level = s.request.cruise_altitude_m
        typed = s.request.freezing_level_m
        freezing = s.air.freezing_level_m() if typed is None else typed
        found += air_warnings.aloft(level, s.air.middle_temperature_k(level), freezing, s.request.rules,
                                    "cruise" in s.request.carburettor_heat, s.air.pressure_altitude_m(level))
    if flown is not None and flown.possible:
        found += [Warning("light", text) for text in light_words(s, flown)]
    found += [Warning("aloft", text, "", "[aloft] of the request") for text in s.air.notes]
    for judged in runways.values():
        if judged.wind.crosswind_m_s is None:
            found.append(Warning("wind", "No wind is reported: see the windsock.", judged.margin.place))
    seen = {(w.id, w.text, w.place): w for w in found}
    return tuple({"id": w.id, "text": w.text, "place": w.place, "source": w.source} for w in seen.values())


def _age(s: Situation, place: str, weather: PlaceWeather) -> list[Warning]:
    """A report made more than an hour before or after the moment it is used for is named: a METAR holds for its hour."""
    if weather.weather.observed is None:
        return []
    used = (weather.at or s.departure).astimezone(UTC)
    made = observed_moment(weather.weather.observed, used)
    if abs((used - made).total_seconds()) <= HOLDS_S:
        return []
    return [Warning("weather", f"The METAR is of {_moment(made)}, used for {_moment(used)}: get the report of the hour.", place,
                    "METAR")]


def _moment(at: datetime) -> str:
    return f"{at.day} {at:%b %H:%M}Z"


def _place(s: Situation, index: int, departing: bool) -> list[Warning]:
    point = s.points[index]
    typed = s.request.origin if index == 0 else s.request.destination
    weather = s.weather.get(typed)
    if weather is None:
        return []
    found = [Warning("weather", f"The weather is {weather.words}: see the place's own.", point.name)] if weather.borrowed else []
    found += _age(s, point.name, weather)
    air = weather.air(point.elevation_m)
    if air is None or weather.weather.temperature_k is None or point.elevation_m is None:
        return found
    found += air_warnings.at_place(
        PlaceAir(point.name, weather.weather.temperature_k, weather.weather.dew_point_k, point.elevation_m,
                 float(np.median(air.pressure_altitude_m))), departing=departing,
        heat_on_descent="descent" in s.request.carburettor_heat, heat_on_taxi="taxi" in s.request.carburettor_heat,
        parked_outside_s=s.request.parked_outside_s)
    found += air_warnings.cold_altimeter(s.request.cruise_altitude_m - point.elevation_m, point.elevation_m,
                                         weather.weather.temperature_k, point.name)
    return found


def sources(s: Situation, margins: tuple[Margin, ...], empty: EmptyWeight | None) -> tuple[str, ...]:
    """Every source behind the answer, once: rules, record, data, model, planning figures."""
    found = [m.source for m in margins if m.source]
    found += [step.source for m in margins for step in m.chain if step.source]
    found += [f"forecast: {f.source} ({f.licence})" for f in s.forecasts.values()]
    found.append(magnetism.SOURCE)
    if empty is not None:
        found.append(f"empty weight: {empty.source}")
    if s.calibrations is not None:
        found.append(f"performance model: blade elements tuned on NACA TR-640; priors: {priors().source}")
        labels = ", ".join(m.draws.label for m in s.calibrations.models())
        found.append(f"calibration: {labels}")
    planned = sorted({f"{d.source.text}: {d.source.status}" for n, d in figures().items() if not n.startswith("allowance")})
    found += [f"planning figure, {p}" for p in planned]
    return tuple(dict.fromkeys(found))
