"""Margins along the route: levels, ground, climb to the level, gradients, light, weather minima, own minima."""

from __future__ import annotations

import math
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from ownship.flight import margins as rule
from ownship.flight.distances import TAILWIND_CHARGE
from ownship.flight.flown import Flown
from ownship.flight.judge_terrain import above_ground_m, cold_error_m, ground_on_legs, path_margins, terrain_margins
from ownship.flight.planning import usual
from ownship.flight.request import Gradient, Obstacle
from ownship.flight.route import Leg
from ownship.flight.runways import JudgedEnd, air_draws, climb_gradient_1
from ownship.flight.situation import Situation
from ownship.performance import landing as landings
from ownship.performance.model import HARD_RANGE_M, Model
from ownship.physics.atmosphere import Air
from ownship.units import from_si, to_si
from ownship.words.figures import figure
from ownship.words.verdicts import ADVICE, LIMITATION, OUTSIDE, OWN_MINIMUM, PERFORMANCE, WITHIN
from ownship.world.geodesy import along, inverse
from ownship.world.sun import is_night, next_night

FloatArray = NDArray[np.float64]
SERVICE_RATE_M_S = float(to_si(100, "ft/min"))
CORRIDOR_M = float(to_si(20, "nm"))  # obstacles farther off the route are not judged
STANDARD_GRADIENT_1 = float(to_si(200, "ft/nm"))


def highest_ground_m(s: Situation, leg: int) -> float | None:
    """The highest ground of a leg by tiles and [ground], the higher of both; None: not known."""
    return ground_on_legs(s)[leg][0]


def level_margins(s: Situation) -> list[rule.Margin]:
    """level.<leg>: the cruising-level rule on the magnetic course; and terrain.<leg> (judge_terrain)."""
    found = []
    for leg in s.legs:
        name = f"{leg.start.name} to {leg.end.name}"
        rules = s.ruleset(leg.start)
        altitude = s.request.cruise_altitude_m
        answer = None if rules is None else rules.cruising_level(
            s.day, s.request.rules, leg.magnetic_course_deg, altitude, above_ground_m(s, leg))
        source = answer.rule.cite() if answer else "cruising-level rules"
        about = rule.About(f"level.{leg.number + 1}", f"cruising level {name}", LIMITATION, source, leg.end.name)
        if answer is None:
            found.append(rule.missing(about, f"No cruising-level rules are kept for {leg.start.name} on that day."))
        elif answer.ok is None:
            found.append(rule.missing(about, f"{answer.words}; give [ground] highest."))
        else:
            legal = " or ".join(f"{from_si(x, 'ft'):,.0f} ft" for x in dict.fromkeys(answer.nearest_m))
            words = answer.words if answer.ok else f"{answer.words}; legal nearby: {legal}"
            found.append(rule.stated(about, WITHIN if answer.ok else OUTSIDE, words, figure(altitude, "ft")))
    return [*found, *terrain_margins(s)]


def climb_margins(s: Situation, flown: Flown) -> list[rule.Margin]:
    """climb.cruise: the rate of climb left at the cruising level; the rpm or power wanted must be there; ground on the way.

    terrain.climb and terrain.descent stand here because the worse calibration counts for them too.
    """
    return [*_at_the_level(s, flown), *path_margins(s, flown)]


def _at_the_level(s: Situation, flown: Flown) -> list[rule.Margin]:
    about = rule.About("climb.cruise", "rate of climb left at the cruising level", PERFORMANCE,
                       "calibrated model; 100 ft/min is the definition of the service ceiling")
    if not s.air.known:
        return [rule.missing(about, "No temperature aloft is given; add [aloft].")]
    pressure_altitude = float(np.median(s.air.pressure_altitude_m(s.request.cruise_altitude_m)))
    if pressure_altitude > HARD_RANGE_M[1]:
        return [rule.missing(about, f"Pressure altitude {from_si(pressure_altitude, 'ft'):,.0f} ft is above "
                                    f"{from_si(HARD_RANGE_M[1], 'ft'):,.0f} ft, where the model ends.")]
    draws = np.nan_to_num(flown.timeline.climb_rate_m_s, nan=-1.0)
    found = [rule.amount(about, draws, SERVICE_RATE_M_S, "ft/min", SERVICE_RATE_M_S,
                         confidence_1=s.request.factors.confidence)]
    share = flown.timeline.cruise_attainable_1
    power = rule.About("climb.power", "power for the cruise", PERFORMANCE, "calibrated model: full throttle at this level")
    if not np.isfinite(np.median(flown.timeline.cruise_power_1)):
        found.append(rule.stated(power, OUTSIDE, "Level flight at this rpm or power is not possible at this level."))
    elif flown.timeline.over_rpm_limit:
        found.append(rule.stated(power, OUTSIDE, "The propeller would turn above its limit."))
    else:
        about_share = "Full throttle may not give this at this level." if share < 0.95 else ""
        found.append(rule.stated(power, WITHIN if share >= 0.95 else "tight" if share >= 0.5 else OUTSIDE, about_share,
                                 chance=1 - share))
        found += _avoided_rpm(s, float(np.median(flown.timeline.cruise_rev_s)))
    return found


def _avoided_rpm(s: Situation, rev_s: float) -> list[rule.Margin]:
    """rpm.avoid: cruising inside a range of rpm that the record says to avoid is outside the limits."""
    about = rule.About("rpm.avoid", "cruise rpm against the ranges to avoid", LIMITATION,
                       s.record.engine.source if s.record.engine else "")
    for low, high in s.record.engine.avoid_rev_s if s.record.engine else ():
        if low <= rev_s <= high:
            return [rule.stated(about, OUTSIDE, f"Avoid {from_si(low, 'rpm'):,.0f} to {from_si(high, 'rpm'):,.0f} rpm in "
                                                f"continuous use; choose another rpm.", figure(rev_s, "rpm"))]
    return []


def minimum_altitude_margins(s: Situation, flown: Flown) -> list[rule.Margin]:
    """The typed minimum en-route altitude against the cruise, and the climb left there."""
    least = s.request.minimum_altitude_m
    if least is None:
        return []
    about = rule.About("level.minimum", "cruise above the minimum altitude", LIMITATION, "[ifr] of the request")
    altitude = s.request.cruise_altitude_m
    found = [rule.exact(about, altitude, least, 0.0, "ft", usual("allowance_clearance"), upper=False)]
    here = Air(s.air.pressure_altitude_m(least), s.air.temperature_k(least)[None, :])
    gradient = climb_gradient_1(flown.model, here, flown.take_off_kg, 0.0)
    climb = rule.About("climb.minimum_altitude", "climb left at the minimum altitude", PERFORMANCE, "calibrated model")
    if s.air.known:
        found.append(rule.amount(climb, gradient, 0.0, "ft/nm", usual("allowance_gradient"),
                                 confidence_1=s.request.factors.confidence))
    else:
        found.append(rule.missing(climb, "No temperature aloft is given; add [aloft]."))
    return found


def gradient_margins(s: Situation, flown: Flown) -> list[rule.Margin]:
    """gradient.departure and gradient.missed: ft/NM over the ground in the worst wind, at the top of the climb asked for.

    IFR without a typed figure: the standard 200 ft/NM (from memory) up to 1,500 ft above the aerodrome.
    """
    found = []
    for key, name, published, point, weight in (
            ("departure", "departure climb gradient", s.request.departure_gradient, s.points[0], flown.take_off_kg),
            ("missed", "missed-approach climb gradient", s.request.missed_gradient, s.points[-1], flown.landing_kg)):
        if published is None and s.request.rules != "IFR":
            continue
        wanted = published or Gradient(STANDARD_GRADIENT_1, (point.elevation_m or 0.0) + float(to_si(1500, "ft")))
        source = "[ifr] of the request" if published else "standard 200 ft/NM, from memory; type the published figure in [ifr]"
        about = rule.About(f"gradient.{key}", name, LIMITATION, source, point.name)
        if not s.air.known:
            found.append(rule.missing(about, "No winds and temperatures aloft are given; add [aloft]."))
            continue
        top = wanted.to_altitude_m
        here = Air(s.air.pressure_altitude_m(top), s.air.temperature_k(top)[None, :])
        tail = s.air.middle_wind(top)[1]
        draws = climb_gradient_1(flown.model, here, weight, 0.0, tail / TAILWIND_CHARGE)
        found.append(rule.amount(about, draws, wanted.gradient_1, "ft/nm", usual("allowance_gradient"),
                                 confidence_1=s.request.factors.confidence))
    return found


def go_around_margin(s: Situation, ident: str, judged: JudgedEnd, model: Model, weight_kg: FloatArray,
                     flap: str) -> rule.Margin:
    """go_around.<ident>: gradient at landing weight with the go-around flap and heat cold; the worst case in words."""
    about = rule.About(f"go_around.{ident}", "go-around gradient at landing weight", PERFORMANCE, "calibrated model", ident)
    if judged.ground is None:
        return rule.missing(about, "The air on the ground is not known.")
    air, weight = air_draws(judged.ground), weight_kg[None, :]
    setting = None if flap.strip().lower() in ("up", "0", "0 deg", "none") else "take_off"
    cold = landings.go_around(model, air, weight, setting)[0][0]
    worst = float(np.median(landings.go_around(model, air, weight, "landing", carburettor_heat=True)[0][0]))
    words = f"With landing flap and carburettor heat left hot: {from_si(worst, 'ft/nm'):.0f} ft/NM."
    about = rule.About(about.id, about.name, about.kind, about.source, ident, words=words)
    return rule.amount(about, cold, 0.0, "ft/nm", usual("allowance_gradient"), confidence_1=s.request.factors.confidence)


def night_margins(s: Situation, flown: Flown, landing_end: JudgedEnd | None) -> list[rule.Margin]:
    """night: minutes of light left at landing by the place's own night; an unlighted runway in the dark is outside."""
    end = s.points[-1]
    rules = s.ruleset(end)
    night = None if rules is None else rules.night(s.day, "fuel")
    about = rule.About("night", "light left at landing", ADVICE, night.rule.cite() if night else "night definitions",
                       end.name, flown.landing_time)
    if night is None:
        return [rule.missing(about, f"No definition of night is kept for {end.name}.")]
    if not flown.possible or not s.air.known:
        return [rule.missing(about, "The time of landing is not known.")]
    begins = next_night(end.lat_deg, end.lon_deg, flown.landing_time, night.zenith_deg, night.after_s, night.before_s)
    total = flown.timeline.total("time_s")
    dark = begins is not None and begins <= flown.landing_time
    unlighted = landing_end is not None and not landing_end.end.lighted
    if dark:
        words = "Landing in the night: lights, recency and a lighted runway are needed."
        if unlighted:
            about = rule.About(about.id, about.name, PERFORMANCE, about.source, about.place, about.moment)
            return [rule.stated(about, OUTSIDE, f"{words} The runway is not lighted in the data.")]
        return [rule.stated(about, "tight", words)]
    if begins is None or begins - flown.landing_time > timedelta(hours=12):
        return [rule.stated(about, WITHIN, "Daylight for more than twelve hours after landing.")]
    left = (begins - s.departure).total_seconds() - total
    kind = PERFORMANCE if unlighted else ADVICE
    about = rule.About(about.id, about.name, kind, about.source, about.place, about.moment)
    return [rule.amount(about, left, 0.0, "min", usual("allowance_time"), confidence_1=s.request.factors.confidence)]


def arrival_margins(s: Situation, flown: Flown) -> list[rule.Margin]:
    """own.latest_arrival: minutes left until the owner's latest moment on the ground."""
    latest = s.request.own.latest_arrival
    if latest is None:
        return []
    about = rule.About("own.latest_arrival", "time left until the latest arrival", OWN_MINIMUM, "your own minima",
                       s.points[-1].name, flown.landing_time)
    if not flown.possible or not s.air.known:
        return [rule.missing(about, "The time of landing is not known.")]
    left = (latest - s.departure).total_seconds() - flown.timeline.total("time_s")
    return [rule.amount(about, left, 0.0, "min", usual("allowance_time"), confidence_1=s.request.factors.confidence)]


def light_words(s: Situation, flown: Flown) -> list[str]:
    """Whether lights are needed, and whether passengers need night recency, by each place's own definition."""
    found = []
    for point, moment, what in ((s.points[0], s.departure, "departure"), (s.points[-1], flown.landing_time, "landing")):
        rules = s.ruleset(point)
        for use, words in (("lights", "position lights are needed"), ("passengers", "night recency counts for passengers")):
            night = None if rules is None else rules.night(s.day, use)
            if night and is_night(point.lat_deg, point.lon_deg, moment, night.zenith_deg, night.after_s, night.before_s):
                found.append(f"At {what} {words} ({night.rule.cite()}).")
    return found


def weather_margins(s: Situation) -> tuple[list[rule.Margin], list[str]]:
    """Weather minima of the place and own ceiling and visibility; what is not checked for want of a report."""
    found: list[rule.Margin] = []
    unchecked: list[str] = []
    for point in (s.points[0], s.points[-1]):
        weather = s.weather.get(point.name)
        rules = s.ruleset(point)
        limit = None if rules is None else rules.minima(s.day, "minima.aerodrome.vfr")
        ceiling = weather.weather.ceiling_m if weather else None
        visibility = weather.weather.visibility_m if weather else None
        if ceiling is None or visibility is None:
            unchecked.append(f"Weather minima at {point.name}: ceiling and visibility are not given.")
        elif s.request.rules == "VFR" and limit is not None:
            for key, value, legal, unit in (("ceiling", ceiling, limit.ceiling_m, "ft"),
                                            ("visibility", visibility, limit.visibility_m, "sm")):
                about = rule.About(f"minima.{key}.{point.name}", f"{key} for VFR in a control zone or surface area", ADVICE,
                                   limit.rule.cite(), point.name)
                found.append(_at_least(about, value, legal, unit))
        for key, reported, own, unit in (("ceiling", ceiling, s.request.own.ceiling_m, "ft"),
                                         ("visibility", visibility, s.request.own.visibility_m, "sm")):
            if own is not None:
                about = rule.About(f"own.{key}.{point.name}", f"{key}, own minimum", OWN_MINIMUM, "your own minima",
                                   point.name)
                found.append(rule.missing(about, "Not reported.") if reported is None else
                             _at_least(about, reported, own, unit))
    return found, unchecked


def _at_least(about: rule.About, value: float, least: float, unit: str) -> rule.Margin:
    if math.isinf(value):
        return rule.stated(about, WITHIN, "No ceiling reported.", None, figure(least, unit))
    return rule.exact(about, value, least, 0.0, unit, max(least * 0.2, 1.0), upper=False)


def route_obstacles(s: Situation, flown: Flown | None) -> list[rule.Margin]:
    """Obstacles within 20 nm of the route against the altitude flown where the route passes them.

    In the climb and the descent the altitude is that of a straight path over the ground between the aerodrome's
    elevation and the cruise; where the flight is
    not known the margin is not known. The altimeter's cold error is taken off. A flight that no calibration could fly
    leaves terrain.climb and terrain.descent not known as well.
    """
    found = path_margins(s, None) if flown is None else []
    for i, obstacle in enumerate(s.request.obstacles, 1):
        distance, ahead, behind = _off_route_m(s, obstacle)
        if distance > CORRIDOR_M:
            continue
        about = rule.About(f"obstacle.route.{i}", f"{obstacle.name}, {from_si(distance, 'nm'):.1f} nm off the route",
                           PERFORMANCE, "[[obstacles]] of the request, cold-altimeter correction")
        if flown is None or not flown.possible:
            found.append(rule.missing(about, "The altitude where the route passes it is not known, because the climb is not."))
            continue
        altitude = _altitude_at_m(s, flown, ahead, behind)
        draws = altitude - cold_error_m(s, float(np.median(altitude))) - obstacle.top_m
        found.append(rule.amount(about, draws, s.request.own.obstacle_clearance_m or 0.0, "ft", usual("allowance_clearance"),
                                 confidence_1=s.request.factors.confidence))
    return found


def _altitude_at_m(s: Situation, flown: Flown, flown_m: float, left_m: float) -> FloatArray:
    """Altitude after `flown_m` of the route with `left_m` to go, (draw,): straight climb, cruise, straight descent."""
    cruise, altitude = s.request.cruise_altitude_m, np.full(s.draws, s.request.cruise_altitude_m)
    for phase, way, point in (("climb", flown_m, s.points[0]), ("descent", left_m, s.points[-1])):
        length = np.maximum(flown.timeline.total("distance_m", (phase,)), 1.0)
        low = point.elevation_m or 0.0
        altitude = np.minimum(altitude, low + (cruise - low) * np.minimum(way / length, 1.0))
    return altitude


def _off_route_m(s: Situation, obstacle: Obstacle) -> tuple[float, float, float]:
    """Least distance of an obstacle from the route, and the way along the route to that spot and from it to the end."""
    whole = sum(leg.distance_m for leg in s.legs)
    before, best = 0.0, (math.inf, 0.0)
    for leg in s.legs:
        off, way = _off_leg_m(leg, obstacle.lat_deg, obstacle.lon_deg)
        best = min(best, (off, before + way))
        before += leg.distance_m
    return best[0], best[1], whole - best[1]


def _off_leg_m(leg: Leg, lat: float, lon: float) -> tuple[float, float]:
    """Least distance of a position from a leg, sampled at 65 points, and how far along the leg it lies."""
    ways = [float(w) for w in np.linspace(0.0, leg.distance_m, 65)]
    spots = [along(leg.start.lat_deg, leg.start.lon_deg, leg.end.lat_deg, leg.end.lon_deg, w) for w in ways]
    return min((inverse(lat, lon, a, b)[0], w) for (a, b), w in zip(spots, ways, strict=True))
