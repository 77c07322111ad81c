"""What of a reach is of use: the reserve by place and hour, and which aerodromes inside can be landed at and left again.

Runways are judged by `runways.choose` as `assess` judges them: the landing weight at that distance, again for leaving with
the fuel that is left then, the place's own weather or the nearest report of the request moved there as `use` moves it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ownship.errors import BadInput
from ownship.flight import margins as rule
from ownship.flight.flown import Flown
from ownship.flight.places import PlaceWeather, WeatherEntry, weather_of
from ownship.flight.planning import usual
from ownship.flight.reach import ONE_WAY, Reach, Start, reach
from ownship.flight.reach_map import Candidate, Required, joined
from ownship.flight.request import RunwayWish
from ownship.flight.route import Point, point_of
from ownship.flight.runways import JudgedEnd, choose, crosswind_margins, obstacle_margins
from ownship.flight.situation import Situation
from ownship.flight.timeline import holding_flow_m3_s
from ownship.units import from_si
from ownship.words.figures import number_text
from ownship.words.verdicts import ADVICE, NOT_KNOWN, OUTSIDE, OWN_MINIMUM, PERFORMANCE, TIGHT, WITHIN, Verdict, worst
from ownship.world.aerodromes import Aerodrome
from ownship.world.geodesy import direct, inverse
from ownship.world.sun import is_night

FloatArray = NDArray[np.float64]
Lenders = tuple[tuple[str, Aerodrome], ...]
NO_HEAT = ("A take-off with carburettor heat on is not modelled; leave it off for the take-off as the manual says, or add your "
           "own margin.")


@dataclass(frozen=True)
class Reserve:
    """What must be left at a landing somewhere, at some hour: alternate, missed approach and extra of the planned flight, and
    the final reserve of the place by day or night, at the planned flight's flow.
    """

    situation: Situation
    flown: Flown

    @cached_property
    def _holding_m3_s(self) -> FloatArray:
        s, f = self.situation, self.flown
        return holding_flow_m3_s(f.model, s.air, f.landing_kg, (s.points[-1].elevation_m or 0.0) + usual("holding_height"))

    def required_m3(self, point: Point, landing_s: float) -> FloatArray | None:
        """Usable fuel (draw,) to be left at a landing so many seconds after the blocks; None: no fuel rule is known there."""
        night = self.at_night(point, landing_s)
        return None if night is None else self.amount_m3(point, night=night)

    def amount_m3(self, point: Point, *, night: bool) -> FloatArray | None:
        """The same where day or night is known already."""
        s, needs, rules = self.situation, self.flown.needs, self.situation.ruleset(point)
        final = None if rules is None else rules.fuel_reserve(s.day, s.request.rules, night=night)
        if final is None or needs is None:
            return None
        flow = self.flown.timeline.cruise_flow_m3_s if final.flow == "normal cruise" else self._holding_m3_s
        return np.asarray(flow * final.time_s + needs.alternate_m3 + needs.missed_m3 + needs.extra_m3)

    def at_night(self, point: Point, landing_s: float) -> bool | None:
        """Whether the landing or the day's reserve after it reaches legal night; None: no rule is known there."""
        s, rules = self.situation, self.situation.ruleset(point)
        night, day = (None, None) if rules is None else (rules.night(s.day, "fuel"),
                                                         rules.fuel_reserve(s.day, s.request.rules, night=False))
        if night is None or day is None:
            return None
        return any(is_night(point.lat_deg, point.lon_deg, s.at(landing_s + x), night.zenith_deg) for x in (0.0, day.time_s))

    def by_place(self, aerodromes: Sequence[Aerodrome], trip: str) -> Required:
        """The same by ident and time of the last landing, which is at home where the trip comes back."""
        points = {a.ident: point_of(a.ident, a) for a in aerodromes}
        home = self.situation.points[0]
        return lambda ident, landing_s: self.required_m3(points[ident] if trip == ONE_WAY else home, landing_s)


def reach_of(s: Situation, flown: Flown, trip: str) -> Reach:
    """The reach by one calibration, each bearing with the reserve of day or night by the time of the landing at its edge.

    Where that landing needs the night's reserve, the bearing goes only so far as this leaves; never farther.
    """
    reserve, place = Reserve(s, flown), s.points[0 if trip != ONE_WAY else -1]

    def by(night: bool) -> Reach:
        required = reserve.amount_m3(place, night=night)
        if required is None:
            raise BadInput(flown.no_reserve or f"No fuel rule is known at {place.name}; say place in the request.")
        return reach(flown.model, s.air, s.settings, _start(s, flown, required), trip=trip, wind_source=wind_source(s))

    day = by(night=False)
    nights = np.array([_night_at_edge(reserve, day, i) for i in range(day.bearings_deg.size)])
    return joined((by(night=True), day), np.where(nights, 0, 1)) if nights.any() else day


def _night_at_edge(reserve: Reserve, found: Reach, i: int) -> bool:
    s, end = reserve.situation, reserve.situation.points[-1]
    if not np.isfinite(found.time_s[i]):
        return False
    if found.trip != ONE_WAY:
        return bool(reserve.at_night(s.points[0], float(found.time_s[i])))
    lat, lon, _ = direct(found.start.lat_deg, found.start.lon_deg, float(found.bearings_deg[i]), float(found.median_m[i]))
    return bool(reserve.at_night(Point("edge", lat, lon, end.aerodrome), float(found.time_s[i])))


def _start(s: Situation, flown: Flown, required_m3: FloatArray) -> Start:
    """The blocks of the planned flight; a draw whose reserve is not known cannot be flown: all its fuel is required."""
    point, owner = s.points[0], s.request.planning.contingency_1
    dry = flown.ramp_kg - flown.on_board_m3 * flown.model.airframe.fuel_density_kg_m3
    return Start(point.name, point.lat_deg, point.lon_deg, point.elevation_m or 0.0, dry, flown.on_board_m3,
                 np.where(np.isfinite(required_m3), required_m3, flown.on_board_m3),
                 np.exp(usual("taxi_fuel_sd") * s.chance.normals("taxi")), usual("contingency") if owner is None else owner)


def wind_source(s: Situation) -> str:
    """Where the winds aloft are from, in words."""
    if s.aloft.words:
        return " ".join(s.aloft.words)
    if s.request.aloft_hours:
        return "[[aloft_hours]] or [aloft] of the request"
    fb = s.request.aloft_fb
    return "[aloft] of the request" if fb is None else f"winds-aloft text of {fb[1]}, [aloft] of the request"


@dataclass(frozen=True)
class Landable:
    """An aerodrome inside: can it be landed at, and left again with the fuel left? None: not judged.

    air: what weather was taken, in words; lender: the place it is taken over from and how far off it is, "" where it is the
    place's own; why: what keeps either from being within limits, in words.
    """

    candidate: Candidate
    aerodrome: Aerodrome
    landing: Verdict | None = None
    leave_again: Verdict | None = None
    landing_end: str = ""
    leave_end: str = ""
    air: str = ""
    lender: str = ""
    why: str = ""
    margins: tuple[rule.Margin, ...] = ()


@dataclass(frozen=True)
class ReachAnswer:
    """A reach with the aerodromes inside it, nearest first, those of the first rows judged.

    reach: the worse of the calibrations on each bearing. left_out: aerodromes inside that were left out, by reason;
    not_flown: a sentence for each that could not be flown to; words: what the reach rests on.
    """

    reach: Reach
    rows: tuple[Landable, ...]
    left_out: dict[str, int]
    not_flown: tuple[str, ...]
    words: tuple[str, ...]
    aeroplane: dict[str, str]
    request: dict[str, Any]
    departure: datetime


def lenders(s: Situation) -> Lenders:
    """Places of the request with weather of their own, which others may take over: those with temperature and altimeter, if any."""
    found, whole = [], []
    for name, entry in s.request.weather.items():
        place = s.places.get(name)
        weather = None if entry.use is not None or place is None else weather_of(s.request, name, s.places, s.day)
        if place is not None and weather is not None and not weather.borrowed:
            found.append((name, place))
            whole += [] if weather.missing() else [(name, place)]
    return tuple(whole or found)


def flight_there(s: Situation, name: str, aerodrome: Aerodrome, near: Lenders) -> tuple[Situation, str]:
    """The same flight with this place as its destination, and whose weather is taken over and how far off it is.

    An alternate that is this place is none for it. The place's own weather, else that of the nearest place of the request's
    as `use` takes it over.
    """
    weather, away = s.request.weather, ""
    if name not in weather and near:
        far = [inverse(aerodrome.lat_deg, aerodrome.lon_deg, p.lat_deg, p.lon_deg)[0] for _, p in near]
        lender = near[int(np.argmin(far))][0]
        weather, away = {**weather, name: WeatherEntry(use=lender)}, f"{lender}, {from_si(min(far), 'nm'):,.0f} nm away"
    others = tuple(n for n in s.request.alternates if n != name and not _is(s.places.get(n), aerodrome))
    request = replace(s.request, destination=name, via=(), alternates=others, weather=weather)
    return replace(s, request=request, places={**s.places, name: aerodrome}), away


def _is(place: Aerodrome | None, aerodrome: Aerodrome) -> bool:
    return place is not None and place.ident == aerodrome.ident


def name_in_request(s: Situation, aerodrome: Aerodrome) -> str:
    """The name that the request uses for an aerodrome, else its ident."""
    return next((n for n, p in s.places.items() if p.ident == aerodrome.ident), aerodrome.ident)


def landable(s: Situation, candidate: Candidate, aerodrome: Aerodrome, near: Lenders) -> Landable:
    """Judge landing and leaving again at one aerodrome, with the weight there at that distance.

    Landing: the worst of the runway, the owner's crosswind and runway, the demonstrated crosswind, the light. Leaving
    again: the worst of the runway and its obstacles. As `assess` for a flight there, but for what a band of the light left
    adds. Without a runway in the data, or where nothing can be worked out for it: not known, and why.
    """
    try:
        return _judged(s, candidate, aerodrome, near)
    except BadInput as error:
        return Landable(candidate, aerodrome, NOT_KNOWN, NOT_KNOWN, why=str(error))


def _judged(s: Situation, candidate: Candidate, aerodrome: Aerodrome, near: Lenders) -> Landable:
    name = name_in_request(s, aerodrome)
    there, lender = flight_there(s, name, aerodrome, near)
    weather = there.weather_for("landing")
    words = "no weather is given" if weather is None else f"{weather.words}{f'; {lender}' if lender else ''}"
    wish = s.request.runways.get(name, RunwayWish())
    landing = _chosen(s, "landing", aerodrome, wish, weather, candidate)
    best = wish if wish.end.lower() == "best" else RunwayWish("best", wish.surface_state)
    leave = _chosen(s, "leave_again", aerodrome, best, there.weather_for("leave_again"), candidate)
    first, second = [_margin(landing), *_beside_landing(s, landing, aerodrome, candidate)], [_margin(leave)]
    if isinstance(leave, JudgedEnd) and s.calibrations is not None:
        second += obstacle_margins(leave, aerodrome, s.calibrations, candidate.landing_kg,
                                   s.request.own.obstacle_clearance_m or 0.0, s.request.factors.confidence)
    why = dict.fromkeys(_why(m) for m in (*first, *second) if m.verdict != WITHIN)
    return Landable(candidate, aerodrome, _verdict(first), _verdict(second), _end(landing), _end(leave), words, lender,
                    " ".join(why), (*first, *second))


def _chosen(s: Situation, key: str, aerodrome: Aerodrome, wish: RunwayWish, weather: PlaceWeather | None,
            candidate: Candidate) -> JudgedEnd | rule.Margin:
    id_, name = f"runway.{key}.{aerodrome.ident}", "landing distance" if key == "landing" else "leaving again, take-off distance"
    if key != "landing" and "take-off" in s.request.carburettor_heat:
        return rule.missing(rule.About(id_, name, PERFORMANCE, "runway data", aerodrome.ident), NO_HEAT)
    return choose(id_, name, aerodrome, "landing" if key == "landing" else "take-off", wish, weather, candidate.landing_kg,
                  s.calibrations, s.request.factors, s.chance.normals("temperature at the aerodromes"))


def _beside_landing(s: Situation, landing: JudgedEnd | rule.Margin, aerodrome: Aerodrome,
                    candidate: Candidate) -> list[rule.Margin]:
    """Crosswind and the owner's runway on the end chosen, and the light there."""
    if not isinstance(landing, JudgedEnd):
        return []
    speeds, own, ident = s.record.speeds, s.request.own, aerodrome.ident
    found = crosswind_margins(ident, landing.wind, speeds.demonstrated_crosswind_m_s, own.crosswind_m_s, speeds.source)
    available = landing.end.landing_length_m
    if own.runway_m is not None and available is not None:
        about = rule.About(f"own.runway.{ident}", "runway length, own minimum", OWN_MINIMUM, "your own minima", ident)
        found.append(rule.exact(about, available, own.runway_m, 0.0, "ft", own.runway_m, upper=False))
    return found + _light(s, landing, aerodrome, candidate)


def _light(s: Situation, landing: JudgedEnd, aerodrome: Aerodrome, candidate: Candidate) -> list[rule.Margin]:
    """Dark at the landing: outside limits where the runway is not lighted in the data, else tight; perhaps dark: tight."""
    point = point_of(aerodrome.ident, aerodrome)
    rules = s.ruleset(point)
    night = None if rules is None else rules.night(s.day, "fuel")
    about = rule.About("night", "light left at landing", PERFORMANCE, night.rule.cite() if night else "night definitions",
                       aerodrome.ident)
    if night is None:
        return [rule.missing(about, f"No definition of night is kept for {aerodrome.ident}.")]
    dark, later = (is_night(point.lat_deg, point.lon_deg, s.at(t), night.zenith_deg, night.after_s, night.before_s)
                   for t in (candidate.time_s, candidate.late_s))
    if dark and not landing.end.lighted:
        return [rule.stated(about, OUTSIDE, "The landing is in the night, and the runway is not lighted in the data.")]
    return [rule.stated(about, TIGHT, "The landing is in the night." if dark else "The landing may be in the night.")
            ] if dark or later else []


def _margin(judged: JudgedEnd | rule.Margin) -> rule.Margin:
    return judged.margin if isinstance(judged, JudgedEnd) else judged


def _end(judged: JudgedEnd | rule.Margin) -> str:
    return judged.end.ident if isinstance(judged, JudgedEnd) else ""


def _verdict(margins: list[rule.Margin]) -> Verdict:
    """The worst; a demonstrated crosswind that is not on the record or not reported is said and does not decide."""
    return worst(m.verdict for m in margins if m.kind != ADVICE or m.verdict != NOT_KNOWN)


def _why(m: rule.Margin) -> str:
    """One margin that is not within limits, in words."""
    head = f"{m.name[:1].upper()}{m.name[1:]}"
    if m.verdict == NOT_KNOWN or m.available is None or m.required is None:
        return m.words if m.words.startswith(("No", "There", "Not")) else f"{head}: {m.words}"
    asked = m.doubly if m.verdict == TIGHT and m.doubly is not None else m.required
    kind = "comfortable from" if m.doubly is not None and m.verdict == TIGHT else "needed" if m.doubly is not None else "against"
    return f"{head}: {number_text(m.available.value)} {m.available.unit}, {kind} {number_text(asked.value)} {asked.unit}."
