"""Which runway end, with which wind on it, judged: distance, crosswind, obstacles, stop point, go-around."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ownship.errors import OutOfRange
from ownship.flight import margins as rule
from ownship.flight.distances import TAILWIND_CHARGE, Calibrations, Distance, Ground, Operation, judge_all
from ownship.flight.places import PlaceWeather
from ownship.flight.planning import usual
from ownship.flight.request import Factors, RunwayWish
from ownship.performance import climb as climbing
from ownship.performance import takeoff as takeoffs
from ownship.performance.model import Model, check_range
from ownship.physics.airspeed import tas_from_cas_m_s
from ownship.physics.atmosphere import Air, isa_temperature_k
from ownship.physics.wind import components
from ownship.units import GRAVITY_M_S2, from_si
from ownship.words.figures import figure
from ownship.words.verdicts import ORDER, OUTSIDE, PERFORMANCE
from ownship.world.aerodromes import Aerodrome, RunwayEnd
from ownship.world.weather import WindReport

FloatArray = NDArray[np.float64]
REACTION_S = 3.0
LEAST_STEP_M = 30.0  # height over which a climb gradient is taken to fall evenly, at least


@dataclass(frozen=True)
class EndWind:
    """Wind on an end on its worse side: steady headwind that may be credited, gust's tailwind and crosswind (m/s).

    crosswind None: no report. `words` for the screen.
    """

    headwind_m_s: float
    tailwind_m_s: float
    crosswind_m_s: float | None
    words: str


@dataclass(frozen=True)
class JudgedEnd:
    """One end judged for one operation: its distance and the margin made of it."""

    end: RunwayEnd
    wind: EndWind
    distance: Distance
    margin: rule.Margin
    ground: Ground | None = None


def wind_on(end: RunwayEnd, wind: WindReport | None, *, borrowed: bool = False) -> EndWind:
    """Headwind from the steady wind, tail- and crosswind from the gust, on the worse side of the heading's doubt.

    VRB: all of it crosswind and all of it tailwind; no report: no credit, crosswind not known; a wind taken over
    from another place earns no headwind credit.
    """
    if wind is None:
        return EndWind(0.0, 0.0, None, "no wind report: no credit")
    gust = wind.gust_m_s or wind.speed_m_s
    if wind.variable or (wind.from_deg is None and wind.speed_m_s > 0) or (end.true_heading_deg is None and gust > 0):
        return EndWind(0.0, gust, gust, f"variable: {from_si(gust, 'kt'):.0f} kt taken as tailwind and as crosswind")
    if wind.from_deg is None or end.true_heading_deg is None:
        return EndWind(0.0, 0.0, 0.0, "calm")
    doubt = end.heading_uncertainty_deg
    headings = end.true_heading_deg + np.linspace(-doubt, doubt, 9 if doubt else 1)
    steady, _ = components(headings, wind.from_deg, wind.speed_m_s)
    along, across = components(headings, wind.from_deg, gust)
    head, tail, cross = float(steady.min()), float(-along.min()), float(np.abs(across).max())
    credit = 0.0 if borrowed else max(head, 0.0)
    tailwind = max(tail, 0.0)
    way = (f"tailwind {from_si(tailwind, 'kt'):.0f} kt" if tailwind > 0 else f"headwind {from_si(max(head, 0), 'kt'):.0f} kt"
           + (", not credited: another place's report" if borrowed and head > 0 else ""))
    return EndWind(credit if tailwind == 0 else 0.0, tailwind, cross, f"{way}, crosswind {from_si(cross, 'kt'):.0f} kt")


def gust_addition_m_s(wind: WindReport | None) -> float:
    """Half the gust factor, added to the approach speed."""
    return 0.0 if wind is None or wind.gust_m_s is None else (wind.gust_m_s - wind.speed_m_s) / 2


def candidates(aerodrome: Aerodrome, operation: Operation, wish: RunwayWish) -> list[RunwayEnd]:
    """Ends that may be used: open, at an open aerodrome, allowed this way; the wished one alone where one is wished."""
    ends = [e for e in aerodrome.ends if not e.closed and not aerodrome.closed and e.surface != "water"
            and (e.take_off_allowed if operation == "take-off" else e.landing_allowed)]
    if wish.end.lower() != "best":
        ends = [e for e in ends if e.ident == wish.end.upper()]
    return ends


def choose(id_: str, name: str, aerodrome: Aerodrome, operation: Operation, wish: RunwayWish,
           weather: PlaceWeather | None, weight_kg: FloatArray, by: Calibrations | None, factors: Factors,
           temperature_noise: FloatArray) -> JudgedEnd | rule.Margin:
    """The best end for an operation (best verdict, then most room), or a margin that says why there is none."""
    about = rule.About(id_, name, PERFORMANCE, f"runway data of {aerodrome.data_date}: check notices", aerodrome.ident)
    if by is None:
        return rule.missing(about, "There is no performance model for this aeroplane.")
    if aerodrome.closed:
        return rule.stated(about, OUTSIDE, f"{aerodrome.ident} is marked closed; it is never used.")
    ends = candidates(aerodrome, operation, wish)
    if not ends:
        if wish.end.lower() != "best" and any(e.ident == wish.end.upper() for e in aerodrome.ends):
            return rule.stated(about, OUTSIDE, f"Runway {wish.end.upper()} is closed or one-way against this {operation}.")
        if aerodrome.ends and all(e.closed for e in aerodrome.ends):
            return rule.stated(about, OUTSIDE, f"Every runway of {aerodrome.ident} is marked closed.")
        return rule.missing(about, f"No open runway {'' if wish.end.lower() == 'best' else wish.end.upper() + ' '}is known "
                            f"at {aerodrome.ident}; enter it in your aerodrome record.")
    asked = [_asked(about, e, aerodrome, operation, wish, weather, temperature_noise) for e in ends]
    distances = iter(judge_all(operation, [a.ground for a in asked if isinstance(a, _AskedEnd)], weight_kg, by, factors))
    judged = [a.judged(next(distances)) if isinstance(a, _AskedEnd) else a for a in asked]
    return min(judged, key=lambda j: (ORDER.index(j.margin.verdict),
                                      -(j.margin.allowance_1 if j.margin.allowance_1 is not None else -9.0),
                                      j.wind.tailwind_m_s, -j.wind.headwind_m_s, j.end.ident))


@dataclass(frozen=True)
class _AskedEnd:
    """An end whose distance can be asked for: what its margin is about, the wind on it, its ground, what is said of it."""

    about: rule.About
    end: RunwayEnd
    wind: EndWind
    ground: Ground
    available_m: float
    said: tuple[str, ...]

    def judged(self, found: Distance) -> JudgedEnd:
        """The end with its distance and the margin made of it."""
        words = " ".join([f"{self.wind.words[:1].upper()}{self.wind.words[1:]}.", *self.said, *found.words])
        about = replace(self.about, chain=found.chain, words=words)
        return JudgedEnd(self.end, self.wind, found, _margin(about, found, self.available_m), self.ground)


def _asked(about: rule.About, end: RunwayEnd, aerodrome: Aerodrome, operation: Operation, wish: RunwayWish,
           weather: PlaceWeather | None, temperature_noise: FloatArray) -> JudgedEnd | _AskedEnd:
    """What is asked of an end; where something is missing, the end judged as not known."""
    report = weather.weather.wind if weather else None
    wind = wind_on(end, report, borrowed=bool(weather and weather.borrowed))
    about = replace(about, name=f"{about.name} {end.ident}", source=f"{end.source}, {end.date}: check notices")
    available = end.take_off_length_m if operation == "take-off" else end.landing_length_m
    elevation = end.threshold_elevation_m if end.threshold_elevation_m is not None else aerodrome.elevation_m
    highest = max((x for x in (elevation, aerodrome.elevation_m) if x is not None), default=None)
    air = weather.air(highest) if weather else None
    why = _lacking(weather, air, available, end, aerodrome) or _out_of_range(air, end, report)
    if why or air is None or available is None or end.slope_1 is None:
        return JudgedEnd(end, wind, Distance(operation, math.nan, np.full(1, np.nan), math.nan, math.nan, math.nan, (),
                                             (), why), rule.missing(about, why))
    noise = temperature_noise * (weather.temperature_sd_k if weather else 0.0)
    add = gust_addition_m_s(report) if operation == "landing" else 0.0
    state = wish.surface_state or (weather.weather.falling if weather else "") or None
    ground = Ground(air, noise, end.slope_1, end.surface, state, wind.headwind_m_s, wind.tailwind_m_s, add)
    said = () if wish.surface_state or state is None else (f"The report has precipitation: a surface of {state} is assumed.",)
    return _AskedEnd(about, end, wind, ground, available, said)


def _out_of_range(air: Air | None, end: RunwayEnd, wind: WindReport | None) -> str:
    """Why the place is out of the model's hard range (the whole gust counts, from wherever), or empty."""
    if air is None:
        return ""
    try:
        check_range(air, end.slope_1 or 0.0, 0.0 if wind is None else max(wind.gust_m_s or 0.0, wind.speed_m_s))
    except OutOfRange as error:
        return str(error)
    return ""


def _lacking(weather: PlaceWeather | None, air: Air | None, available: float | None, end: RunwayEnd,
             aerodrome: Aerodrome) -> str:
    """One sentence with everything that is missing for a distance, empty where nothing is."""
    if weather is None:
        return f"No weather is given for {aerodrome.ident}."
    missing = [*weather.missing()]
    if aerodrome.elevation_m is None and end.threshold_elevation_m is None:
        missing.append("elevation")
    if available is None:
        missing.append("runway length")
    if end.slope_1 is None:
        missing.append("runway slope")
    if not missing:
        return ""
    return f"Not known at {aerodrome.ident} {end.ident}: {', '.join(missing)}; enter it in the request or your aerodrome record."


def _margin(about: rule.About, found: Distance, available_m: float) -> rule.Margin:
    if found.missing:
        edge = found.breaks_at_edge_m
        if edge is not None and edge > available_m:
            return rule.stated(about, OUTSIDE, f"{found.missing} Even the edge row or the model breaks the limit.",
                               figure(available_m, "ft"), figure(edge, "ft"))
        return rule.missing(about, found.missing, figure(available_m, "ft"))
    if not math.isfinite(found.covered_m):
        return rule.stated(about, OUTSIDE, " ".join(found.words), figure(available_m, "ft"))
    judged = rule.distance(about, available_m, found.median_m, found.covered_m, found.doubly_m, found.draws_m)
    if judged.verdict == OUTSIDE and available_m >= found.median_m:
        return replace(judged, words=f"{about.words} {found.short_words}".strip())
    return judged


def crosswind_margins(ident: str, wind: EndWind, demonstrated: object, own_m_s: float | None,
                      source: str) -> list[rule.Margin]:
    """Crosswind against the demonstrated value (advice) and the pilot's own (own minimum)."""
    found = []
    if isinstance(demonstrated, float):
        about = rule.About(f"crosswind.{ident}", "crosswind, demonstrated", "advice", source, ident,
                           words="Demonstrated, not a limit.")
        found.append(_crosswind(about, wind, demonstrated))
    elif demonstrated is None:
        found.append(rule.missing(rule.About(f"crosswind.{ident}", "crosswind, demonstrated", "advice", "airframe record",
                                             ident), "No demonstrated crosswind is on the record."))
    if own_m_s is not None:
        about = rule.About(f"own.crosswind.{ident}", "crosswind, own minimum", "own minimum", "your own minima", ident)
        found.append(_crosswind(about, wind, own_m_s))
    return found


def _crosswind(about: rule.About, wind: EndWind, limit_m_s: float) -> rule.Margin:
    if wind.crosswind_m_s is None:
        return rule.missing(about, "No wind report.")
    return rule.exact(about, wind.crosswind_m_s, limit_m_s, 0.0, "kt", limit_m_s)


def climb_gradient_1(model: Model, air: Air, weight_kg: FloatArray, headwind_m_s: float, tailwind_m_s: float = 0.0, *,
                     flap: str | None = None) -> FloatArray:
    """Climb gradient over the ground, (draw,): rate over groundspeed, 150 % of tailwind, no headwind credit."""
    cas = climbing.climb_cas_m_s(model, air.pressure_altitude_m, weight_kg[None, :])
    rate = climbing.rate_of_climb(model, air, weight_kg[None, :], cas, flap=flap)
    ground = tas_from_cas_m_s(cas, air) - min(headwind_m_s, 0.0) + TAILWIND_CHARGE * tailwind_m_s
    return np.asarray((rate / ground)[0])


def air_draws(ground: Ground, up_m: float = 0.0) -> Air:
    """The air at the runway, or `up_m` above it by the standard lapse, with its temperature error where drawn."""
    altitude = ground.air.pressure_altitude_m
    lapse = isa_temperature_k(altitude + up_m) - isa_temperature_k(altitude)
    temperature = np.asarray(ground.air.temperature_k + lapse).reshape(1, 1) + ground.temperature_noise_k[None, :]
    return Air(altitude + up_m, temperature, ground.air.relative_humidity_1)


def climb_height_m(model: Model, ground: Ground, weight_kg: FloatArray, distance_m: float, up_m: float) -> FloatArray:
    """Height gained over the ground in a distance from 50 ft on, (draw,), m; 150 % tailwind, no headwind credit.

    dh/dx = g0 + k h, k from the gradients at the runway and `up_m` above it: h = g0/k (exp(k x) - 1).
    """
    low, high = (climb_gradient_1(model, air_draws(ground, h), weight_kg, 0.0, ground.tailwind_m_s) for h in (0.0, up_m))
    k = (high - low) / up_m
    growth = np.where(np.abs(k * distance_m) < 1e-9, distance_m, np.expm1(k * distance_m) / np.where(k == 0, 1.0, k))
    return np.asarray(low * growth)


def obstacle_margins(judged: JudgedEnd, aerodrome: Aerodrome, by: Calibrations, weight_kg: FloatArray,
                     clearance_m: float, confidence_1: float) -> list[rule.Margin]:
    """Height of the climb path over each obstacle: 50 ft at the end of covered, then the gradient, 150 % tailwind."""
    found = []
    for i, obstacle in enumerate(judged.end.obstacles, 1):
        about = rule.About(f"obstacle.{i}", f"obstacle {from_si(obstacle.height_m, 'ft'):,.0f} ft high at "
                           f"{from_si(obstacle.distance_m, 'ft'):,.0f} ft", PERFORMANCE, judged.end.source, aerodrome.ident)
        if not math.isfinite(judged.distance.covered_m) or judged.ground is None:
            found.append(rule.missing(about, "The take-off distance is not known, so the climb path is not."))
            continue
        beyond_m = obstacle.distance_m - judged.distance.covered_m
        up_m = max(obstacle.height_m + clearance_m, LEAST_STEP_M)
        margins = []
        for model in by.models():
            height = np.zeros(model.draws.size) if beyond_m < 0 else (
                takeoffs.OBSTACLE_M + climb_height_m(model, judged.ground, weight_kg, beyond_m, up_m))
            margins.append(rule.amount(about, height - obstacle.height_m, clearance_m, "ft", usual("allowance_clearance"),
                                       confidence_1=confidence_1))
        found.append(rule.order(margins)[0])
    return found


def stop_point_m(model: Model, ground: Ground, weight_kg: FloatArray, run_m: float, landing_factor_1: float,
                 stretch_1: float = 1.0) -> float | None:
    """The furthest point of the roll from which it can still stop: s_acc(V) + 3 s V + V^2/(2 g (mu/f + slope)) <= run.

    V over the ground, at the worse (95 %) draws: 150 % of a tailwind, no headwind credit. stretch_1: how much longer the
    roll of the chain is than the model's. Never beyond lift-off. None where even the start is too late. There is no
    certificated accelerate-stop for this class.
    """
    size = model.draws.size
    weight = weight_kg[None, :] if weight_kg.size == size else np.full((1, size), float(np.median(weight_kg)))
    tailwind = TAILWIND_CHARGE * ground.tailwind_m_s
    distance, cas, _ = takeoffs.roll_profile(model, ground.air, weight, headwind_m_s=-tailwind, slope_1=ground.slope_1)
    distance = distance * stretch_1
    lift_off = tas_from_cas_m_s(cas[-1], Air(ground.air.pressure_altitude_m, ground.air.temperature_k)) + tailwind
    speed = np.linspace(0, 1, cas.shape[0])[:, None] * lift_off
    braking = GRAVITY_M_S2 * np.maximum(model.p["mub"] / landing_factor_1 + ground.slope_1, 0.01)
    total = distance + REACTION_S * speed + speed**2 / (2 * braking)
    worst = np.quantile(np.where(np.isnan(total), np.inf, total), 0.95, axis=1, method="inverted_cdf")
    inside = np.nonzero(worst <= run_m)[0]
    if not inside.size:
        return None
    i = int(inside[-1])
    reached = float(np.median(distance[i]))
    if i + 1 < worst.size and math.isfinite(worst[i + 1]):
        share = (run_m - worst[i]) / (worst[i + 1] - worst[i])
        reached += share * (float(np.median(distance[i + 1])) - reached)
    return float(reached)
