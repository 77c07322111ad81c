"""Margins of the alternate and of the places on the way: runway at the weight left there, weather against the minima.

Only the first alternate is judged: the fuel is planned to it. Which approaches a place has is not in the open data, so the
highest of the usual minima must be met; below the lowest of them it is outside, between the two not known.
docs/methods/landing.md.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ownship.flight import margins as rule
from ownship.flight.flown import Flown
from ownship.flight.places import PlaceWeather, WeatherEntry, entry_of, joined, read_entry, weather_of
from ownship.flight.planning import usual
from ownship.flight.request import RunwayWish
from ownship.flight.route import Point, point_of
from ownship.flight.runways import choose, crosswind_margins
from ownship.flight.situation import Situation
from ownship.flight.weather_at import taf_of
from ownship.rules.ruleset import AlternateNeed, Minima, Rule
from ownship.units import from_si
from ownship.words.figures import figure
from ownship.words.verdicts import ADVICE, LIMITATION, OUTSIDE, OWN_MINIMUM, PERFORMANCE, TIGHT, WITHIN
from ownship.world.taf import prevailing
from ownship.world.weather import SurfaceWeather

FloatArray = NDArray[np.float64]
_Found = tuple[list[rule.Margin], list[str]]
FROM_MEMORY = "The figures are known from memory only, so they never make it more than tight; look them up."


def alternate_margins(s: Situation, flights: list[Flown], missing: str = "") -> _Found:
    """(margins, what is not checked) of the alternate, of flying without one, and of the places on the way.

    runway.landing.<ALT>, crosswind.<ALT>; IFR: alternate.<ALT>, or alternate.needed where none is named; VFR: minima.*.<ALT>
    and minima.visibility|cloud.<VIA>. missing: why nothing was flown.
    """
    parts = [_ifr(s) if s.request.rules == "IFR" else _vfr(s), _runway(s, flights, missing)]
    return [m for p in parts for m in p[0]], [x for p in parts for x in p[1]]


def weight_there_kg(flights: list[Flown]) -> FloatArray:
    """Weight (draw,) on landing at the alternate: the landing weight less the burn to it; of the heaviest calibration.

    Where the burn is not known the landing weight, where that is not known the take-off weight.
    """
    weights = []
    for f in flights:
        burn = 0.0 if f.needs is None else f.needs.alternate_m3 * f.model.airframe.fuel_density_kg_m3
        choices = (f.landing_kg - burn, f.landing_kg, f.take_off_kg)
        weights.append(next((w for w in choices if np.isfinite(np.median(w))), f.take_off_kg))
    return max(weights, key=lambda w: float(np.nan_to_num(np.median(w), nan=-1.0)))


def _runway(s: Situation, flights: list[Flown], missing: str) -> _Found:
    """Landing distance, crosswind and own least runway at the alternate."""
    if s.alternate is None:
        return [], []
    point, typed = s.alternate[0], s.request.alternates[0]
    id_, name = f"runway.landing.{point.name}", "landing distance at the alternate"
    about = rule.About(id_, name, PERFORMANCE, "runway data", point.name)
    if point.aerodrome is None:
        return [rule.missing(about, f"{point.name} is a position; describe its runway in [aerodromes].")], []
    if not flights:
        return [rule.missing(about, s.no_model or missing)], []
    judged = choose(id_, name, point.aerodrome, "landing", s.request.runways.get(typed, RunwayWish()), s.weather.get(typed),
                    weight_there_kg(flights), s.calibrations, s.request.factors,
                    s.chance.normals("temperature at the aerodromes"))
    if isinstance(judged, rule.Margin):
        return [judged], []
    speeds, own = s.record.speeds, s.request.own
    found = [judged.margin, *crosswind_margins(point.name, judged.wind, speeds.demonstrated_crosswind_m_s, own.crosswind_m_s,
                                               speeds.source)]
    if own.runway_m is not None and judged.end.landing_length_m is not None:
        least = rule.About(f"own.runway.{point.name}", "runway length, own minimum", OWN_MINIMUM, "your own minima", point.name)
        found.append(rule.exact(least, judged.end.landing_length_m, own.runway_m, 0.0, "ft", own.runway_m, upper=False))
    return found, []


def _ifr(s: Situation) -> _Found:
    """Weather at the alternate against the alternate minima; without an alternate, whether one is needed."""
    if s.alternate is None:
        return _without(s)
    point, typed = s.alternate[0], s.request.alternates[0]
    rules = s.ruleset(point)
    minima = () if rules is None else rules.alternate_minima(s.day)
    about = rule.About(f"alternate.{point.name}", "forecast against the IFR alternate minima", LIMITATION, "alternate minima",
                       point.name)
    if not minima:
        whose = f"the country of {point.name}" if rules is None else rules.place
        return [rule.missing(about, f"No IFR alternate minima of {whose} are kept for that day; look them up.")], []
    lowest, highest = minima[0], minima[-1]
    said = [f"Instrument approaches of {point.name} and its own published alternate minima, which prevail: not in the data. Used "
            f"is the usual figure for: {highest.rule.applies_if}."]
    none = None if rules is None else rules.in_force("alternate.ifr.no_procedure", s.day)
    if none is not None:
        said.append(f"If {point.name} has no instrument approach: {none.values['also']} ({none.cite()}).")
    ceiling, visibility = _expected(s, typed)
    below = _pair(about, typed, ceiling, visibility, lowest)
    if below.verdict == OUTSIDE:
        return [below], said
    return [_enough(about, typed, ceiling, visibility, lowest, highest)], said


def _enough(about: rule.About, typed: str, ceiling_m: float | None, visibility_m: float | None, lowest: Minima,
            highest: Minima) -> rule.Margin:
    """The weather, not below the lowest minima, against the highest."""
    judged = _pair(about, typed, ceiling_m, visibility_m, highest)
    if judged.verdict == OUTSIDE:
        asked = replace(about, source=highest.rule.cite())
        return rule.missing(asked, f"Enough for: {lowest.rule.applies_if}; not for: {highest.rule.applies_if}. Which approach you "
                                   "can fly there is not known to the data.", judged.available, judged.required)
    return _capped(judged, highest.rule)


def _without(s: Situation) -> _Found:
    """alternate.needed: an IFR flight that names no alternate."""
    end = s.points[-1]
    rules = s.ruleset(end)
    need = None if rules is None else rules.alternate_need(s.day)
    about = rule.About("alternate.needed", "IFR without an alternate", LIMITATION,
                       need.rule.cite() if need else "rules of alternates", end.name)
    if need is None:
        return [rule.missing(about, "Whether an alternate is needed is not known: no rule is kept for that day and place.")], []
    if need.always:
        return [rule.stated(about, OUTSIDE, f"An alternate is needed: {need.rule.applies_if}. Name one in alternates.")], []
    if need.ceiling_m is None or need.visibility_m is None:
        return [rule.missing(about, f"{need.also[:1].upper()}{need.also[1:]}: not judged here. Name one in alternates.")], []
    return [_not_needed(s, about, need, Minima(need.ceiling_m, need.visibility_m, need.rule))], [
        f"Whether {end.name} has an instrument approach, without which an alternate is needed ({need.rule.section}): not in the "
        "data."]


def _not_needed(s: Situation, about: rule.About, need: AlternateNeed, least: Minima) -> rule.Margin:
    """The destination's weather against that from which no alternate is needed."""
    about = replace(about, words=f"The weather of the request is taken for {from_si(need.window_s, 'min'):.0f} min before to as "
                                 "long after the arrival.")
    judged = _pair(about, s.request.destination, *_expected(s, s.request.destination), least)
    if judged.verdict == OUTSIDE:
        return replace(judged, words=f"{judged.words} An alternate is needed; name one in alternates.")
    return _capped(judged, need.rule)


def _capped(judged: rule.Margin, basis: Rule) -> rule.Margin:
    """A rule known only from memory never makes a margin within (invariant 2)."""
    if judged.verdict != WITHIN or basis.source.status != "from memory":
        return judged
    return replace(judged, verdict=TIGHT, inside=None, words=f"{judged.words} {FROM_MEMORY}".strip())


def _expected(s: Situation, typed: str) -> tuple[float | None, float | None]:
    """Ceiling and visibility expected on arrival; those of a METAR alone are a report, no forecast: not known."""
    weather = s.weather.get(typed)
    if weather is None:
        return None, None
    found = weather.weather
    if found.observed is None:
        return found.ceiling_m, found.visibility_m
    foreseen = _foreseen(s, typed)
    return (found.ceiling_m if any(x.ceiling_m is not None for x in foreseen) else None,
            found.visibility_m if any(x.visibility_m is not None for x in foreseen) else None)


def _foreseen(s: Situation, typed: str) -> list[SurfaceWeather | WeatherEntry]:
    """What of the request says the weather of a place for when it is reached: the owner's hours, a TAF, typed values."""
    given, wanted = entry_of(s.request, typed), s.wanted["alternate" if typed in s.request.alternates else "landing"]
    if given is None:
        return []
    entry, target = given
    found: list[SurfaceWeather | WeatherEntry | None] = [entry if wanted.typed_holds else None]
    if wanted.moment is not None:
        taf = taf_of(entry, wanted.moment)
        found.append(None if taf is None else prevailing(taf, wanted.moment))
        hours = [(h.at, read_entry(h.values, s.places.get(target), s.day)) for h in entry.hours]
        found.append(joined(hours, wanted.moment) if hours else None)
    return [x for x in found if x is not None]


def _pair(about: rule.About, typed: str, ceiling_m: float | None, visibility_m: float | None, least: Minima) -> rule.Margin:
    """The worse of ceiling and visibility against minima; one that is missing is not known."""
    about = replace(about, source=least.rule.cite())
    found = []
    for what, value, limit, unit in (("ceiling", ceiling_m, least.ceiling_m, "ft"),
                                     ("visibility", visibility_m, least.visibility_m, "sm")):
        named = replace(about, name=f"{about.name}, {what}")
        found.append(_at_least(named, value, limit, unit) if value is not None else rule.missing(
            named, f"No forecast {what} is given; a report alone is none. Write {what} in [weather.{typed}] as forecast for the "
                   "arrival.", None, figure(limit, unit)))
    return rule.worse(*found)


def _at_least(about: rule.About, value: float, least: float, unit: str) -> rule.Margin:
    if math.isinf(value):
        return rule.stated(about, WITHIN, "No ceiling reported.", None, figure(least, unit))
    return rule.exact(about, value, least, 0.0, unit, max(least * 0.2, 1.0), upper=False)


def _vfr(s: Situation) -> _Found:
    """Weather of the alternate against the minima of an aerodrome, of places on the way against those of the airspace."""
    found, unchecked = _vfr_alternate(s)
    silent = [name for name in s.request.via if name not in s.request.weather]
    if silent:
        unchecked.append(f"VFR minima on the way at {', '.join(silent)}: ceiling and visibility are not given.")
    for name in s.request.via:
        if name not in silent:
            margins, not_judged = _passed(s, point_of(name, s.places.get(name)),
                                          weather_of(s.request, name, s.places, s.day))
            found, unchecked = found + margins, unchecked + not_judged
    return found, unchecked


def _vfr_alternate(s: Situation) -> _Found:
    if s.alternate is None:
        return [], []
    point, weather = s.alternate[0], s.weather.get(s.request.alternates[0])
    rules = s.ruleset(point)
    legal = None if rules is None else rules.minima(s.day, "minima.aerodrome.vfr")
    own, found, silent = s.request.own, [], []
    for what, unit in (("ceiling", "ft"), ("visibility", "sm")):
        value = getattr(weather.weather, f"{what}_m") if weather else None
        if value is None:
            silent.append(what)
            continue
        report = "" if weather is None or weather.weather.observed is None else "The report of now, not a forecast."
        if legal is not None:
            about = rule.About(f"minima.{what}.{point.name}", f"{what} for VFR in a control zone or surface area", ADVICE,
                               legal.rule.cite(), point.name, words=report)
            found.append(_at_least(about, value, getattr(legal, f"{what}_m"), unit))
        if (least := getattr(own, f"{what}_m")) is not None:
            about = rule.About(f"own.{what}.{point.name}", f"{what}, own minimum", OWN_MINIMUM, "your own minima", point.name,
                               words=report)
            found.append(_at_least(about, value, least, unit))
    words = f"Weather minima at the alternate {point.name}: {' and '.join(silent)} {'are' if len(silent) > 1 else 'is'} not given."
    return found, [words] if silent else []


def _passed(s: Situation, point: Point, weather: PlaceWeather | None) -> _Found:
    """minima.visibility|cloud.<VIA>: a place on the way against the strictest VFR minima of any airspace at the level."""
    rules, level = s.ruleset(point), s.request.cruise_altitude_m
    strict = None if rules is None else rules.strictest_visual(s.day, level)
    if strict is None:
        return [], [f"VFR minima on the way at {point.name}: no rules are kept for that place and day."]
    found, silent = [], []
    for what, value, least, basis, unit in (
            ("visibility", weather.weather.visibility_m if weather else None, strict[0].visibility_m, strict[0].rule, "sm"),
            ("cloud", _below_cloud_m(weather, point, level), strict[1].cloud_below_m or 0.0, strict[1].rule, "ft")):
        name = "visibility for VFR on the way" if what == "visibility" else "cruising level below the ceiling, for VFR"
        about = rule.About(f"minima.{what}.{point.name}", f"{name}, strictest airspace", ADVICE, basis.cite(), point.name)
        if value is None:
            silent.append(what)
        elif math.isinf(value):
            found.append(rule.stated(about, WITHIN, "No ceiling reported.", None, figure(least, unit)))
        else:
            allowance = usual("allowance_clearance") if what == "cloud" else least * 0.2
            found.append(rule.exact(about, value, least, 0.0, unit, allowance, upper=False))
    return found, [f"VFR minima on the way at {point.name}: {' and '.join(silent)} not known."] if silent else []


def _below_cloud_m(weather: PlaceWeather | None, point: Point, level_m: float) -> float | None:
    """How far a level lies below the ceiling over a place; negative above it; None: not known."""
    if weather is None or weather.weather.ceiling_m is None or point.elevation_m is None:
        return None
    return weather.weather.ceiling_m + point.elevation_m - level_m
