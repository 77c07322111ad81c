"""The air at a place at a moment: the owner's hours, a forecast, what was typed or reported, a TAF; with source, age, error.

In this order, element by element: the owner's entries around the moment; what was typed or reported at the place for about
that moment; the forecast; the TAF's prevailing weather; what was typed or reported for another moment or place. Typed
weather holds for one hour around the departure it was typed for, where the request says which (`planned_departure`); a
METAR more than 12 h from the moment is not used at all. What nothing covers is not known.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING

from ownship.flight import margins as rule
from ownship.flight.distances import Operation
from ownship.flight.places import ELEMENTS, METAR_ENDS_S, PlaceWeather, WeatherEntry, entry_of, gone, noon, placed, read_entry
from ownship.flight.planning import usual
from ownship.flight.request import FlightRequest, RunwayWish
from ownship.flight.route import Point
from ownship.flight.runways import EndWind, candidates, crosswind_margins, gust_addition_m_s, wind_on
from ownship.flight.weather_sources import HOLDS_S, Wanted, dew_below_k, forecast_ground, hours_text, own_hours
from ownship.rules.ruleset import Minima
from ownship.units import from_si, to_si
from ownship.words.figures import figure
from ownship.words.verdicts import ADVICE, LIMITATION, OWN_MINIMUM, TIGHT, WITHIN
from ownship.world.aerodromes import Aerodrome, RunwayEnd
from ownship.world.forecast import Forecast
from ownship.world.taf import Period, Taf, parse_taf, prevailing
from ownship.world.trend import least_of, possible_around, trend_of, visibility_m
from ownship.world.weather import SurfaceWeather, WindReport, observed_moment

if TYPE_CHECKING:
    from ownship.flight.situation import Situation

WINDOW_S = float(to_si(30, "min"))  # an estimated moment is looked at so long before and after
NOTHING = SurfaceWeather(None, None, None, None, None, None, "not known")
_FALLS = ("", "wet", "snow")
_Found = tuple[list[rule.Margin], list[str]]


def weather_at(request: FlightRequest, ident: str, places: dict[str, Aerodrome], day: date, wanted: Wanted,
               forecast: Forecast | None = None) -> PlaceWeather | None:
    """The weather of a place at a moment; None where the request gives none and no forecast is there.

    With typed values or a METAR alone, and no moment they were typed for, the same as `places.weather_of`. Values that no
    source covers are None. temperature_sd_k is that of the temperature's source, borrowed says it of the wind's.
    """
    found = entry_of(request, ident)
    if found is None and forecast is None:
        return None
    predicted = forecast_ground(forecast, places.get(ident), wanted)
    sources = predicted
    if found is not None:
        near, later = _typed_and_taf(found, ident, places, day, wanted, split=bool(predicted))
        sources = [*own_hours(found, ident, places, day, wanted), *near, *predicted, *later]
    if not sources:
        old = "" if found is None else _too_old(found[0], day, wanted)
        return PlaceWeather(NOTHING, usual("surface_temperature_sd"), False, old or _why_nothing(wanted), wanted.moment)
    return sources[0] if len(sources) == 1 else _laid_over(sources)


def _why_nothing(wanted: Wanted) -> str:
    moment = "the moment" if wanted.moment is None else f"{wanted.moment.astimezone(UTC):%d %b %H:%M}Z"
    away = "" if wanted.shift_s is None else f", {hours_text(wanted.shift_s)} from the moment the weather was typed for"
    return f"not known: nothing covers {moment}{away}"


def _laid_over(sources: Sequence[PlaceWeather]) -> PlaceWeather:
    """Each element from the first source that has it; what falls is the worst of all."""
    by = {name: next((s for s in sources if getattr(s.weather, name) is not None), sources[0]) for name in ELEMENTS}
    found = {name: getattr(s.weather, name) for name, s in by.items()}
    found["dew_point_k"] = dew_below_k(found["temperature_k"], found["dew_point_k"])
    used = [s for s in sources if any(s is by[n] and found[n] is not None for n in ELEMENTS)] or [sources[0]]
    sky = by["ceiling_m"].weather
    reports = [sky] if found["ceiling_m"] is not None else [s.weather for s in used]  # a TAF's sky is no report of now
    reported = next((r for r in reports if r.observed is not None), NOTHING)
    weather = SurfaceWeather(**found, source="; ".join(dict.fromkeys(s.weather.source for s in used)), station=reported.station,
                             observed=reported.observed, falling=max((s.weather.falling for s in sources), key=_FALLS.index))
    warm, wind = by["temperature_k"], by["wind"]
    return PlaceWeather(weather, warm.temperature_sd_k, wind.borrowed, "; ".join(dict.fromkeys(s.words for s in used)), warm.at,
                        max((s.age_s for s in used if s.age_s is not None), default=None), wind.wind_sd_m_s)


# -- typed, reported, TAF ---------------------------------------------------------------------------------------------
def _typed_and_taf(found: tuple[WeatherEntry, str], ident: str, places: dict[str, Aerodrome], day: date, wanted: Wanted,
                   *, split: bool) -> tuple[list[PlaceWeather], list[PlaceWeather]]:
    """What was typed or reported at the place for about the moment; and the TAF, then what is only not excluded.

    split: typed values and METAR are two sources of their own, because another may lie between them.
    """
    entry, target = found
    whole = read_entry(entry, places.get(target), day)
    taf = taf_of(entry, wanted.moment or noon(day))
    parts = _parts(entry, places.get(target), day)
    if taf is None and not entry.hours and not split and wanted.typed_holds and not gone(whole, wanted.moment, day):
        parts = [whole]
    near: list[PlaceWeather] = []
    later: list[PlaceWeather] = []
    for weather in parts:
        age_s = _age_s(weather, wanted)
        close = wanted.near and wanted.typed_holds if age_s is None else age_s <= HOLDS_S
        if close or (wanted.typed_holds and not gone(weather, wanted.moment, day)):
            own = replace(placed(weather, target, ident, places), at=wanted.moment, age_s=age_s)
            (near if close and not own.borrowed else later).append(own)
    prevails = None if taf is None or wanted.moment is None else prevailing(taf, wanted.moment)
    if taf is None or prevails is None or wanted.moment is None:
        return near, later
    since_s = max((wanted.moment - taf.issued).total_seconds(), 0.0)
    own = placed(prevails, ident if target == "default" else target, ident, places)
    lent = [x for x in later if x.borrowed and (x.age_s is None or x.age_s <= HOLDS_S)]
    return near, [*lent, replace(own, at=wanted.moment, age_s=since_s), *(x for x in later if x not in lent)]


def _too_old(entry: WeatherEntry, day: date, wanted: Wanted) -> str:
    """Why a METAR gives nothing, in words; empty where it is not too old."""
    report = None if entry.metar is None else read_entry(WeatherEntry(entry.metar, where=entry.where), None, day)
    if report is None or report.observed is None or not gone(report, wanted.moment, day):
        return ""
    made = observed_moment(report.observed, wanted.moment or noon(day))
    at = "the day of the flight" if wanted.moment is None else f"{wanted.moment.astimezone(UTC):%d %b %H:%M}Z"
    return (f"not known: the METAR of {made:%d %b %H:%M}Z is more than {from_si(METAR_ENDS_S, 'h'):.0f} h from {at}; "
            "get the report or the forecast of the hour")


def taf_of(entry: WeatherEntry, reference: datetime) -> Taf | None:
    """The TAF of an entry, its days resolved near the reference moment."""
    return None if entry.taf is None else parse_taf(entry.taf, reference, f"{entry.where} taf")


def _parts(entry: WeatherEntry, place: Aerodrome | None, day: date) -> list[SurfaceWeather]:
    """The typed values and the METAR as two weathers, each with its own moment; a part that says nothing is left out."""
    typed = read_entry(replace(entry, metar=None), place, day)
    parts = [typed] if any(getattr(typed, n) is not None for n in ELEMENTS) else []
    return parts if entry.metar is None else [*parts, read_entry(WeatherEntry(entry.metar, where=entry.where), place, day)]


def _age_s(weather: SurfaceWeather, wanted: Wanted) -> float | None:
    """How far a report lies from the moment, its day in the month nearest to it; None where it is typed or no moment is known."""
    if weather.observed is None or wanted.moment is None:
        return None
    return abs((observed_moment(weather.observed, wanted.moment) - wanted.moment).total_seconds())


# -- margins ----------------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class _Use:
    """One use of a place: its key, the name in the request, the place, the moment, and in words what is done there."""

    key: str
    typed: str
    point: Point
    wanted: Wanted
    doing: str
    estimated: bool

    @property
    def lands(self) -> bool:
        """Whether the runway is landed on, not left."""
        return self.key in ("landing", "alternate")

    @property
    def id(self) -> str:
        """The end of a margin's id."""
        return f"leave_again.{self.point.name}" if self.key == "leave_again" else self.point.name


def weather_over_time_margins(s: Situation, ends: Mapping[str, RunwayEnd] | None = None) -> tuple[list[rule.Margin], list[str]]:
    """The worst that a TAF or a METAR's trend says may be, at every use of a place; and what over time is not judged.

    Over TEMPO, PROB, INTER and both sides of a BECMG at the moment (30 min either side of an estimated one): crosswind of
    the gusts, tailwind, ceiling and visibility against the legal and the own minima, an IFR alternate against the alternate
    minima. ends: the runway ends judged for take_off, landing, leave_again; without them those that the plan's wind favours.
    The ids are those of the plan's margins, so that `margins.merge` keeps the worse. Checks: WX-06 to WX-11.
    """
    found: list[rule.Margin] = []
    words = [*s.forecast_notes, *_same_air(s)]
    for use in _uses(s):
        margins, said = _of_use(s, use, (ends or {}).get(use.key))
        found, words = found + margins, words + said
    return found, list(dict.fromkeys(words))


def _uses(s: Situation) -> list[_Use]:
    r, start, end = s.request, s.points[0], s.points[-1]
    uses = [_Use("take_off", r.origin, start, s.wanted["take_off"], "at departure", False),
            _Use("landing", r.destination, end, s.wanted["landing"], "on arrival", True),
            _Use("leave_again", r.destination, end, s.wanted["leave_again"], "leaving again", r.leave_again is None)]
    if s.alternate is not None:
        uses.append(_Use("alternate", r.alternates[0], s.alternate[0], s.wanted["alternate"], "at the alternate", True))
    return uses


def _same_air(s: Situation) -> list[str]:
    """Leaving again in the air that was typed for the landing is said, not passed over."""
    landing, leaving = s.weather_for("landing"), s.weather_for("leave_again")
    if landing is None or leaving is None or leaving.weather == NOTHING:
        return []
    if leaving.age_s is not None and landing.weather != leaving.weather:
        return []
    return [f"Leaving {s.points[-1].name} again: the air of the arrival is assumed; give [[weather.{s.request.destination}.hours]] "
            "for that time."]


def _of_use(s: Situation, use: _Use, end: RunwayEnd | None) -> _Found:
    air = s.weather_for(use.key) if use.key != "alternate" else s.weather.get(use.typed)
    if air is not None and air.weather == NOTHING:
        return [], [f"Weather of {use.point.name} {use.doing}: {air.words}."]
    margins, said = _of_taf(s, use, end, air)
    of_trend, more = _of_trend(s, use, end, air)
    said += more
    return [*margins, *of_trend, *_crosswind_forecast(s, use, end, air), *_planned_sky(s, use, air)], said


def _of_taf(s: Situation, use: _Use, end: RunwayEnd | None, air: PlaceWeather | None) -> _Found:
    """What a TAF adds; without one, the wind of leaving again where it is another than that of the landing."""
    entry = entry_of(s.request, use.typed)
    if entry is None or entry[0].taf is None:
        return (_crosswind(s, use, end, air, []), []) if _moved_on(s, use, air) else ([], [])
    taf = taf_of(entry[0], use.wanted.moment or s.departure)
    if taf is None or use.wanted.moment is None:
        return [], [f"The TAF of {use.point.name} {use.doing}: not used, because the moment is not known."]
    may_be = possible_around(taf, use.wanted.moment, WINDOW_S if use.estimated else 0.0)
    if not may_be:
        return _crosswind(s, use, end, air, []) if _moved_on(s, use, air) else [], [
            f"The TAF of {taf.station} does not cover {use.wanted.moment.astimezone(UTC):%d %b %H:%M}Z, {use.doing}."]
    margins, said = _worst(s, use, end, air, taf, may_be)
    return margins, _old_metar(entry[0], use, s.day) + said


def _of_trend(s: Situation, use: _Use, end: RunwayEnd | None, air: PlaceWeather | None) -> _Found:
    """What the trend behind a METAR adds in the two hours it holds; and what of it does not read."""
    found, at = entry_of(s.request, use.typed), use.wanted.moment
    if found is None or found[0].metar is None:
        return [], []
    body = read_entry(found[0], s.places.get(found[1]), s.day)
    if gone(body, at, s.day):
        return [], []
    trend = trend_of(found[0].metar, body, at or noon(s.day))
    unread = [f"The trend of the METAR of {body.station} has what does not read and is not judged: {x[:60]}." for x in trend.unread]
    may_be = () if trend.taf is None or at is None else possible_around(trend.taf, at, WINDOW_S if use.estimated else 0.0)
    if trend.taf is None or not may_be:
        over = f"The trend of the METAR of {body.station} is not judged {use.doing}: it holds two hours, or the time is not known."
        return [], unread if trend.taf is None else [*unread, over]
    margins, said = _worst(s, use, end, air, trend.taf, may_be, "trend of the METAR")
    return margins, unread + said


def _worst(s: Situation, use: _Use, end: RunwayEnd | None, air: PlaceWeather | None, taf: Taf, may_be: Sequence[Period],
           what: str = "TAF") -> _Found:
    """The margins of all that may be: wind, and the sky where the station is the place's; of a trend what is known of it."""
    place, margins = use.point.aerodrome, _crosswind(s, use, end, air, [p.wind for p in may_be])
    said = _hazards(use, may_be, what)
    if place is not None and taf.station not in place.codes:
        return margins, [*said, f"The {what} is of {taf.station}: ceiling and visibility at {use.point.name} {use.doing} are not "
                                "judged by it."]
    every = {"ceiling": [p.ceiling_m for p in may_be], "visibility": [visibility_m(p) for p in may_be]}
    if what != "TAF":
        every = {k: list({x for x in v if x is not None}) for k, v in every.items() if set(v) != {None}}
    worst = {k: least_of(v) for k, v in every.items()}
    minima = _minima(s, use, worst, f"{what} {taf.station} {taf.issued:%d%H%M}Z, worst that may be", " that may be")
    silent = [k for k, value in worst.items() if value is None]
    unsaid = [f"The TAF does not say for all that may be at {use.point.name} {use.doing}: {', '.join(silent)}."] if silent else []
    return margins + minima, unsaid + said


def _old_metar(entry: WeatherEntry, use: _Use, day: date) -> list[str]:
    """A METAR beside the TAF that gives temperature and altimeter long before or after they are wanted."""
    age_s = None if entry.metar is None else _age_s(read_entry(WeatherEntry(entry.metar, where=entry.where), None, day), use.wanted)
    if age_s is None or not HOLDS_S < age_s <= METAR_ENDS_S:
        return []
    return [f"Temperature and altimeter of {use.point.name} {use.doing}, where nothing else gives them, are those of the METAR "
            f"{hours_text(age_s)} off."]


def _moved_on(s: Situation, use: _Use, air: PlaceWeather | None) -> bool:
    """Whether leaving again meets another air than the landing did, so that its wind is to be judged by itself."""
    landing = s.weather_for("landing")
    return use.key == "leave_again" and air is not None and landing is not None and air.weather != landing.weather


def _hazards(use: _Use, may_be: Sequence[Period], what: str) -> list[str]:
    """Thunder, shear and what falls for a time: said, because no margin holds them."""
    said = {f"thunderstorms ({p.kind})": None for p in may_be if p.thunderstorm}
    said |= {f"wind shear below {from_si(p.shear.height_m, 'ft'):,.0f} ft ({p.kind})": None for p in may_be if p.shear}
    said |= {f"a {p.falling} runway ({p.kind})": None for p in may_be if p.falling and p.falling != may_be[0].falling}
    return [f"The {what} has {', '.join(said)} at {use.point.name} {use.doing}: not judged."] if said else []


def _crosswind(s: Situation, use: _Use, end: RunwayEnd | None, air: PlaceWeather | None,
               winds: Sequence[WindReport | None]) -> list[rule.Margin]:
    """crosswind.<place>, own.crosswind.<place>: the strongest on the runway's end; and what goes beyond the plan's."""
    plan = None if air is None else air.weather.wind
    end = end or _favoured(s, use, plan)
    if end is None:
        return []
    planned, every = wind_on(end, plan), [wind_on(end, w) for w in (*winds, *([] if winds and plan is None else [plan]))]
    across = [w.crosswind_m_s for w in every]
    worst = None if None in across else max(x for x in across if x is not None)
    speeds = s.record.speeds
    blown = EndWind(0.0, max(w.tailwind_m_s for w in every), worst, "")
    found = crosswind_margins(use.id, blown, speeds.demonstrated_crosswind_m_s, s.request.own.crosswind_m_s, speeds.source)
    found += _beyond_plan(use, end, planned, blown, plan, winds if use.lands else ())
    return [replace(m, moment=use.wanted.moment, place=use.point.name) for m in found]


def _favoured(s: Situation, use: _Use, plan: WindReport | None) -> RunwayEnd | None:
    """The end that the plan's wind favours, the wished one where one is wished; None: no open end is known."""
    if use.point.aerodrome is None:
        return None
    wish = RunwayWish() if use.key == "leave_again" else s.request.runways.get(use.typed, RunwayWish())
    operation: Operation = "landing" if use.lands else "take-off"
    return min(candidates(use.point.aerodrome, operation, wish),
               key=lambda e: (wind_on(e, plan).tailwind_m_s, -wind_on(e, plan).headwind_m_s), default=None)


def _crosswind_forecast(s: Situation, use: _Use, end: RunwayEnd | None, air: PlaceWeather | None) -> list[rule.Margin]:
    """The crosswind of a forecast wind with its error: tight where the error crosses the limit."""
    end = end or _favoured(s, use, None if air is None else air.weather.wind)
    across = None if end is None or air is None or air.wind_sd_m_s <= 0 else wind_on(end, air.weather.wind).crosswind_m_s
    if across is None or air is None:
        return []
    speeds, found = s.record.speeds, []
    for head, what, kind, limit, source in (
            ("crosswind", "demonstrated", ADVICE, speeds.demonstrated_crosswind_m_s, speeds.source),
            ("own.crosswind", "own minimum", OWN_MINIMUM, s.request.own.crosswind_m_s, "your own minima")):
        if isinstance(limit, float):
            about = rule.About(f"{head}.{use.id}", f"crosswind of the forecast, {what}", kind, f"{source}; {air.words}",
                               use.point.name, use.wanted.moment)
            found.append(rule.exact(about, across, limit, air.wind_sd_m_s, "kt", limit, confidence_1=s.request.factors.confidence))
    return found


def _beyond_plan(use: _Use, end: RunwayEnd, planned: EndWind, blown: EndWind, plan: WindReport | None,
                 winds: Sequence[WindReport | None]) -> list[rule.Margin]:
    """wind.<place>: more tailwind, or for a landing more gust, than the distance was worked out for, is tight."""
    about = rule.About(f"wind.{use.id}", f"wind that may be on {end.ident}", ADVICE, "TAF or trend", use.point.name)
    added, least = max((gust_addition_m_s(w) for w in winds), default=0.0), gust_addition_m_s(plan)
    for what, asked, may_be in (("tailwind", planned.tailwind_m_s, blown.tailwind_m_s),
                                ("added to the approach speed for gusts", least, added)):
        if may_be > asked:
            return [rule.stated(about, TIGHT, f"{from_si(may_be, 'kt'):.0f} kt {what} may be on {end.ident} {use.doing}; the "
                                f"distance is for {from_si(asked, 'kt'):.0f} kt.", figure(asked, "kt"), figure(may_be, "kt"))]
    return []


def _planned_sky(s: Situation, use: _Use, air: PlaceWeather | None) -> list[rule.Margin]:
    """The plan's ceiling and visibility where nobody else judges them: leaving again, and back where the flight began."""
    if air is None or not (_moved_on(s, use, air) or (use.key == "landing" and s.points[0].name == s.points[-1].name)):
        return []
    values = {"ceiling": air.weather.ceiling_m, "visibility": air.weather.visibility_m}
    return _minima(s, use, {k: v for k, v in values.items() if v is not None}, air.weather.source)


def _minima(s: Situation, use: _Use, worst: Mapping[str, float | None], source: str, which: str = "") -> list[rule.Margin]:
    """Ceiling and visibility against the VFR, own and IFR alternate minima; an own minimum without its figure: not known."""
    rules, own, found = s.ruleset(use.point), s.request.own, []
    legal = None if rules is None or s.request.rules != "VFR" else rules.minima(s.day, "minima.aerodrome.vfr")
    for what, unit, least in (("ceiling", "ft", own.ceiling_m), ("visibility", "sm", own.visibility_m)):
        if what not in worst:
            continue
        value, name = worst[what], f"{what}{which}"
        about = rule.About(f"own.{what}.{use.id}", f"{name}, own minimum", OWN_MINIMUM, source, use.point.name, use.wanted.moment)
        if least is not None:
            found.append(rule.missing(about, "The TAF does not say it.") if value is None else at_least(about, value, least, unit))
        if value is not None and legal is not None:
            about = replace(about, id=f"minima.{what}.{use.id}", name=f"{name}, VFR in a control zone or surface area",
                            kind=ADVICE, source=f"{source}; {legal.rule.cite()}")
            found.append(at_least(about, value, getattr(legal, f"{what}_m"), unit))
    if use.key == "alternate" and s.request.rules == "IFR" and rules is not None:
        found += _ifr_alternate(use, worst, rules.alternate_minima(s.day), source)
    return found


def _ifr_alternate(use: _Use, worst: Mapping[str, float | None], minima: Sequence[Minima], source: str) -> list[rule.Margin]:
    """alternate.<place>: below the lowest alternate minima outside, below the highest not known; from memory never within."""
    found = []
    for what, unit in (("ceiling", "ft"), ("visibility", "sm")):
        for m in minima[-1:]:
            about = rule.About(f"alternate.{use.point.name}", f"{what} that may be, against the IFR alternate minima", LIMITATION,
                               f"{source}; {m.rule.cite()}", use.point.name, use.wanted.moment)
            value, low, high = worst.get(what), getattr(minima[0], f"{what}_m"), getattr(m, f"{what}_m")
            if value is None or low <= value < high:
                found.append(rule.missing(about, "Whether it is enough depends on the approach, or the TAF does not say it."))
                continue
            judged = at_least(about, value, low if value < low else high, unit)
            memory = judged.verdict == WITHIN and m.rule.source.status == "from memory"
            found.append(replace(judged, verdict=TIGHT, inside=None) if memory else judged)
    return list(rule.merge(found))


def at_least(about: rule.About, value: float, least: float, unit: str) -> rule.Margin:
    """A ceiling or a visibility against its minimum; no ceiling at all is within."""
    if math.isinf(value):
        return rule.stated(about, WITHIN, "No ceiling forecast.", None, figure(least, unit))
    return rule.exact(about, value, least, 0.0, unit, max(least * 0.2, 1.0), upper=False)
