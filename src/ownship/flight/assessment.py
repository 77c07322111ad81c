"""`assess`: one situation in, one frozen assessment out. Pure; what it does not know it says."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ownship.aeroplane.loading import Load, LoadItem, at_fuel, load_of
from ownship.aeroplane.weighing import EmptyWeight, empty_weight
from ownship.errors import MissingKey
from ownship.flight import judge_alternates, judge_fuel, judge_load, judge_route
from ownship.flight import margins as rule
from ownship.flight.answer import Assessment
from ownship.flight.cards import take_off_card, today_card
from ownship.flight.chance import middle
from ownship.flight.feed import fuel_to_nearest
from ownship.flight.flown import Flown, fly_once
from ownship.flight.fuel import TankState, on_board
from ownship.flight.judge_load import FuelMoment
from ownship.flight.request import RunwayWish
from ownship.flight.rows import leg_rows, runway_rows, tank_rows, timeline_rows
from ownship.flight.runways import JudgedEnd, choose, crosswind_margins, obstacle_margins
from ownship.flight.sentence import sentence, sources, warnings_of
from ownship.flight.situation import Situation
from ownship.flight.tanks import BurnPhase, Change, TankPlan, plan_tanks
from ownship.flight.weather_at import weather_over_time_margins
from ownship.units import from_si
from ownship.words.cautions import cautions_for
from ownship.words.verdicts import NOT_KNOWN, OWN_MINIMUM, worst

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Aboard:
    """The load without fuel, the fuel by tank, and the empty weight; or why they are not known."""

    empty: EmptyWeight | None
    load: Load | None
    items: tuple[LoadItem, ...]
    tanks: tuple[TankState, ...]
    density_kg_m3: float
    missing: str


def assess(s: Situation) -> Assessment:
    """Judge a flight.

    Every calibration flies it; for each limit the worse judgement counts. The timeline, the tank plan and the fuel
    shown are those of the calibration that leaves less at landing. BadInput where the request cannot be read as a
    flight; everything else that is missing makes its margins not known.
    """
    aboard, flights = _flown(s)
    governing = governing_of(flights)
    plan = tank_plan_of(s, aboard, governing)
    moments = moments_of(s, aboard, governing, plan)
    load_margins, loading = _load(s, aboard, moments)
    flight_margins, runways, unchecked = flight_margins_of(s, aboard, flights, governing)
    found = rule.merge([*load_margins, *judge_load.people(s.record, s.request.loads)], tank_margins_of(s, plan, governing),
                       flight_margins)
    verdict = worst(m.verdict for m in found)
    return Assessment(
        verdict, sentence(verdict, found), s.request_data, _aeroplane(s, aboard), found, tuple(loading),
        timeline_rows(s, governing, plan, aboard.load, aboard.density_kg_m3) if governing else (),
        leg_rows(s, governing) if governing else (),
        judge_fuel.summary(s, governing, aboard.tanks) if governing and governing.possible else None,
        tank_rows(s, plan) if plan else (), _tank_words(plan), runway_rows(runways), _cards(s, governing, runways),
        _more(s, aboard), warnings_of(s, governing, runways, aboard.empty),
        tuple(f"{m.name}{f', {m.place}' if m.place else ''}: {m.words}" for m in found if m.verdict == NOT_KNOWN),
        (*unchecked, *_not_checked(s, runways, found)), sources(s, found, aboard.empty), _cautions(s))


def flights_of(s: Situation) -> tuple[list[Flown], list[TankPlan | None], str]:
    """Every calibration's flight with its tank plan, as `assess` flies them; none: the reason in words."""
    aboard, flights = _flown(s)
    return flights, [tank_plan_of(s, aboard, f) for f in flights], "" if flights else s.no_model or aboard.missing


def _flown(s: Situation) -> tuple[Aboard, list[Flown]]:
    """What is aboard and the flight by each calibration: worked out once for a situation, however often it is asked for."""
    if "flown" not in s.worked_out:
        aboard = aboard_of(s)
        s.worked_out["flown"] = (aboard, fly(s, aboard))
    aboard, flights = s.worked_out["flown"]
    return aboard, list(flights)


def governing_of(flights: list[Flown]) -> Flown | None:
    """The calibration's flight that leaves less at landing."""
    return min(flights, key=lambda f: float(np.nan_to_num(np.median(f.left_m3), nan=-1e9)), default=None)


def flight_margins_of(
        s: Situation, aboard: Aboard, flights: list[Flown], governing: Flown | None,
        ends: dict[str, JudgedEnd] | None = None) -> tuple[tuple[rule.Margin, ...], dict[str, JudgedEnd], tuple[str, ...]]:
    """Every limit that follows from flying at a weight (all but load and tanks), the runways, what was not checked.

    ends: the runways, where they were judged before: their margins are left out.
    """
    runways, runway_margins = _runways(s, aboard, flights) if ends is None else (ends, [])
    landing_end = runways.get("landing")
    sets = [[*judge_fuel.fuel_margins(s, f), *judge_route.climb_margins(s, f), *judge_route.minimum_altitude_margins(s, f),
             *judge_route.gradient_margins(s, f), *judge_route.night_margins(s, f, landing_end), *judge_route.arrival_margins(s, f),
             *_go_around(s, f, landing_end)] for f in flights]
    weather, unchecked = judge_route.weather_margins(s)
    alternates, unchecked_there = judge_alternates.alternate_margins(s, flights, aboard.missing)
    over_time, unchecked_then = weather_over_time_margins(s, {key: judged.end for key, judged in runways.items()})
    common = [*runway_margins, *judge_route.level_margins(s), *judge_route.route_obstacles(s, governing), *weather,
              *alternates, *_unflown(s, flights)]
    return rule.merge(common, over_time, *sets), runways, (*unchecked, *unchecked_there, *unchecked_then)


def aboard_of(s: Situation) -> Aboard:
    """What a situation has aboard, as its record and its request say."""
    record = s.record
    items = tuple(LoadItem(x.what, x.station, x.weight_kg, x.weighed) for x in s.request.loads)
    tanks = on_board(s.request, record, s.errors, s.chance)
    density = record.fuel.density_kg_m3 if record.fuel else float("nan")
    try:
        empty = empty_weight(record, s.day, s.errors)
    except MissingKey as error:
        return Aboard(None, None, items, tanks, density, str(error))
    load = load_of(record, empty, items, s.errors)
    return Aboard(empty, load, items, tanks, density, _fuel_missing(s))


def _fuel_missing(s: Situation) -> str:
    """What keeps the fuel on board, and with it every weight, from being known; empty: nothing does."""
    record, selector = s.record, s.record.selector
    if not record.tanks:
        return "The record has no [[tanks]]."
    if not record.fuel:
        return "The record has no [fuel] density."
    silent = [t.id for t in record.tanks if t.id not in s.request.fuel]
    if silent:
        return (f"No fuel is given for the {' and '.join(silent)} tank; write "
                f"{' and '.join(f'[fuel.{x}]' for x in silent)}, on_board = \"0 usgal\" where it is empty.")
    if selector is not None and "both" not in selector.positions:
        cut = [t.id for t in record.tanks if t.id not in selector.positions and s.request.fuel[t.id].on_board != 0.0]
        if cut:
            return f"No position of the selector feeds the {' and '.join(cut)} tank; its fuel is not known to be usable."
    return ""


def fly(s: Situation, aboard: Aboard) -> list[Flown]:
    """The flight by each calibration; none where model, load or fuel is not known. NotPossible where it cannot be flown."""
    if s.calibrations is None or aboard.load is None or aboard.missing:
        return []
    point = at_fuel(s.record, aboard.load, {}, {}, aboard.density_kg_m3)
    dry = point.weight_kg + point.weight_sd_kg * s.chance.normals("weight")
    return [fly_once(s, model, aboard.tanks, dry) for model in s.calibrations.models()]


def _unflown(s: Situation, flights: list[Flown]) -> list[rule.Margin]:
    """Fuel and climb as not known where nothing could be flown."""
    if flights:
        return []
    why = s.no_model or "The aeroplane's weight or tanks are not known."
    about = [rule.About("fuel.landing", "usable fuel at landing", "limitation", "fuel rules", s.points[-1].name),
             rule.About("climb.cruise", "rate of climb left at the cruising level", "performance", "calibrated model"),
             rule.About("night", "light left at landing", "advice", "night definitions", s.points[-1].name)]
    return [rule.missing(a, why) for a in about]


def tank_plan_of(s: Situation, aboard: Aboard, flown: Flown | None) -> TankPlan | None:
    """Which tank feeds when, of one calibration's flight; None where it is not flown or the record has no selector."""
    if flown is None or not flown.possible or s.record.selector is None or not aboard.tanks or flown.needs is None:
        return None
    phases, clock = [], 0.0
    timeline = flown.timeline
    parts = [p for p in timeline.parts if np.any(p.time_s > 0)]
    for part in parts:
        length = middle(part.time_s)
        phases.append(BurnPhase(part.phase, clock, clock + length, part.burn_m3))
        clock += length
    return plan_tanks(tuple(phases), s.record.selector, {t.tank: t.draws_m3 for t in aboard.tanks},
                      window_s=_window(s, flown), fixes=_fixes(s, flown),
                      reserve_m3=middle(flown.needs.reserve_m3),
                      cruise_flow_m3_s=middle(timeline.cruise_flow_m3_s), density_kg_m3=aboard.density_kg_m3,
                      blocks_clock_s=s.departure.hour * 3600.0 + s.departure.minute * 60.0 + s.departure.second)


def _window(s: Situation, flown: Flown) -> tuple[float, float]:
    """First and last moment of a change: above no_change_below in the climb, before the descent begins."""
    selector = s.record.selector
    assert selector is not None
    taxi = middle(flown.timeline.total("time_s", ("start and taxi",)))
    climb = middle(flown.timeline.total("time_s", ("climb",)))
    height = s.request.cruise_altitude_m - (s.points[0].elevation_m or 0.0)
    down = flown.timeline.total("time_s", ("descent", "approach and landing"))
    last = middle(flown.timeline.total("time_s") - down)
    if height <= selector.no_change_below_m:
        return last, last - 1.0  # the cruise itself is too low for a change: the window is empty
    share = selector.no_change_below_m / height
    return taxi + max(share * climb, 120.0), last


def _fixes(s: Situation, flown: Flown) -> tuple[tuple[str, float], ...]:
    return tuple((leg.end.name, middle(flown.timeline.passed(leg.number, "time_s"))) for leg in s.legs[:-1])


def moments_of(s: Situation, aboard: Aboard, flown: Flown | None, plan: TankPlan | None) -> tuple[FuelMoment, ...]:
    """Ramp, take-off, every fix, landing, alternate and zero usable fuel, with fuel by tank."""
    start = {t.tank: t.usable_m3 for t in aboard.tanks}
    sd = {t.tank: t.sd_m3 for t in aboard.tanks}
    zero = FuelMoment("zero_fuel", "zero usable fuel", dict.fromkeys(start, 0.0), dict.fromkeys(start, 0.0))
    ramp = FuelMoment("ramp", "ramp", start, sd)
    if plan is None or flown is None:
        return (ramp, zero)
    taxi_s = plan.phases[0].end_s if plan.phases[0].name == "start and taxi" else 0.0
    times = [("take_off", "take-off", taxi_s), *((f"fix.{n}", n, t) for n, t in _fixes(s, flown)),
             ("landing", "landing", plan.phases[-1].end_s)]
    found = [ramp]
    for id_, name, time in times:
        contents = plan.contents_at(time)
        usable = {k: max(middle(v), 0.0) for k, v in contents.items()}
        found.append(FuelMoment(id_, name, usable, {k: float(np.std(v)) for k, v in contents.items()}))
    if flown.needs is not None and s.alternate is not None:
        left, rest = dict(found[-1].usable_m3), middle(flown.needs.alternate_m3)
        for tank in sorted(left, key=lambda k: k != plan.landing_tank):
            used = min(left[tank], rest)
            left[tank], rest = left[tank] - used, rest - used
        found.append(FuelMoment("alternate", f"alternate {s.alternate[0].name}", left, found[-1].sd_m3))
    return (*found, zero)


def _load(s: Situation, aboard: Aboard, moments: tuple[FuelMoment, ...]) -> tuple[list[rule.Margin], list[Any]]:
    if aboard.load is None or (aboard.missing and s.record.tanks):
        return judge_load.empty_missing(aboard.missing), []
    density = aboard.density_kg_m3 if s.record.fuel else 0.0
    found, rows = judge_load.load_margins(s.record, s.request.category, aboard.load, aboard.items, moments, density,
                                          s.request.factors.confidence, s.request.manoeuvres)
    if not s.record.tanks:
        known = ("zero_fuel",)
        found = [m if m.id.split(".")[-1] in known or not m.id.startswith(("weight.", "cg."))
                 else rule.missing(rule.About(m.id, m.name, m.kind, m.source), aboard.missing) for m in found]
    return found, rows


def _runways(s: Situation, aboard: Aboard, flights: list[Flown]) -> tuple[dict[str, JudgedEnd], list[rule.Margin]]:
    """Take-off, landing and leaving again, each with the heaviest of the calibrations' weights."""
    ends: dict[str, JudgedEnd] = {}
    found: list[rule.Margin] = []
    noise = s.chance.normals("temperature at the aerodromes")
    for key, operation, index in (("take_off", "take-off", 0), ("landing", "landing", -1), ("leave_again", "take-off", -1)):
        point = s.points[index]
        id_, name = f"runway.{key}.{point.name}", {"take_off": "take-off distance", "landing": "landing distance",
                                                   "leave_again": "leaving again, take-off distance"}[key]
        about = rule.About(id_, name, "performance", "runway data", point.name)
        if point.aerodrome is None:
            found.append(rule.missing(about, f"{point.name} is a position; describe its runway in [aerodromes]."))
            continue
        if not flights:
            found.append(rule.missing(about, s.no_model or aboard.missing))
            continue
        if key != "landing" and "take-off" in s.request.carburettor_heat:
            found.append(rule.missing(about, "A take-off with carburettor heat on is not modelled; leave it off for the "
                                             "take-off as the manual says, or add your own margin."))
            continue
        weights = [f.take_off_kg if key == "take_off" else f.landing_kg for f in flights]
        weight = max(weights, key=lambda w: float(np.nan_to_num(np.median(w), nan=-1.0)))
        if not np.isfinite(np.median(weight)):
            weight = flights[0].take_off_kg
        typed = s.request.origin if index == 0 else s.request.destination
        wish = s.request.runways.get(typed, RunwayWish())
        if key == "leave_again" and wish.end.lower() != "best":
            wish = RunwayWish("best", wish.surface_state)
        judged = choose(id_, name, point.aerodrome, operation, wish, s.weather_for(key), weight,  # type: ignore[arg-type]
                        s.calibrations, s.request.factors, noise)
        if isinstance(judged, rule.Margin):
            found.append(judged)
            continue
        judged = replace(judged, margin=replace(judged.margin, moment=_moment_of(s, key, flights[0])))
        ends[key] = judged
        found.append(judged.margin)
        found += _beside(s, key, judged, point.name, weight)
    return ends, found


def _moment_of(s: Situation, key: str, flown: Flown) -> datetime:
    """When a runway is used; leaving again without a given moment: one hour after landing."""
    if key == "take_off":
        return s.at(middle(flown.timeline.total("time_s", ("start and taxi",))))
    if key == "landing":
        return flown.landing_time
    return s.leave_again or flown.landing_time + timedelta(hours=1)


def _beside(s: Situation, key: str, judged: JudgedEnd, name: str, weight: FloatArray) -> list[rule.Margin]:
    """What goes with a runway: crosswind, obstacles, the owner's least runway."""
    found: list[rule.Margin] = []
    if key != "leave_again":
        speeds = s.record.speeds
        found += crosswind_margins(name, judged.wind, speeds.demonstrated_crosswind_m_s, s.request.own.crosswind_m_s,
                                   speeds.source)
        available = judged.end.take_off_length_m if key == "take_off" else judged.end.landing_length_m
        if s.request.own.runway_m is not None and available is not None:
            about = rule.About(f"own.runway.{name}", "runway length, own minimum", OWN_MINIMUM, "your own minima", name)
            found.append(rule.exact(about, available, s.request.own.runway_m, 0.0, "ft", s.request.own.runway_m, upper=False))
    if key != "landing" and s.calibrations is not None and judged.end.obstacles:
        place = s.points[0 if key == "take_off" else -1].aerodrome
        assert place is not None
        over = obstacle_margins(judged, place, s.calibrations, weight, s.request.own.obstacle_clearance_m or 0.0,
                                s.request.factors.confidence)
        found += over if key == "take_off" else [replace(m, id=m.id.replace("obstacle.", "obstacle.leave_again.")) for m in over]
    return found


def _go_around(s: Situation, flown: Flown, landing_end: JudgedEnd | None) -> list[rule.Margin]:
    if landing_end is None:
        return []
    flap = s.record.procedures.go_around_flap if s.record.procedures else ""
    weight = flown.landing_kg if np.isfinite(np.median(flown.landing_kg)) else flown.take_off_kg
    return [judge_route.go_around_margin(s, s.points[-1].name, landing_end, flown.model, weight, flap)]


def tank_margins_of(s: Situation, plan: TankPlan | None, flown: Flown | None) -> list[rule.Margin]:
    """Floor, feed proof and imbalance of a tank plan, as margins; without a plan as not known."""
    nearest: Callable[[Change], FloatArray | str] = lambda change: "The burn is not known."  # noqa: E731
    if flown is not None and s.calibrations is not None:
        by, f = s.calibrations, flown
        nearest = lambda change: fuel_to_nearest(s, by, f, change)  # noqa: E731
    found = judge_fuel.tank_margins(s, s.record, plan, nearest)
    return found + (judge_fuel.conflict_margin(plan, s.record.source) if plan else [])


def _tank_words(plan: TankPlan | None) -> tuple[str, ...]:
    return (*plan.words, *plan.conflicts) if plan else ()


def _cards(s: Situation, flown: Flown | None, runways: dict[str, JudgedEnd]) -> dict[str, Any]:
    judged = runways.get("take_off")
    if flown is None or judged is None or judged.ground is None or judged.end.take_off_length_m is None:
        return {}
    return {"take_off": take_off_card(flown.model, judged, flown.take_off_kg, s.record.propeller,
                                      judged.end.take_off_length_m),
            "this_aeroplane_today": today_card(flown.model, judged.ground.air, flown.take_off_kg)}


def _more(s: Situation, aboard: Aboard) -> dict[str, Any]:
    if aboard.load is None or not s.record.fuel or not s.record.tanks:
        return {}
    return judge_load.more(s.record, s.request.category, aboard.load, aboard.items, aboard.tanks,
                           aboard.density_kg_m3)


def _not_checked(s: Situation, runways: dict[str, JudgedEnd], margins: tuple[rule.Margin, ...]) -> list[str]:
    """What stands unjudged because nobody entered it."""
    judged = {m.id for m in margins}
    found = ["Recency, open defects and maintenance: no records are kept yet.",
             "Speeds of the record (Vno, Vne) against the cruise: not judged yet."]
    for key, words in (("take_off", "the take-off runway"), ("leave_again", "the runway you leave again from")):
        if key in runways and not runways[key].end.obstacles:
            found.append(f"Obstacles beyond {words}: none are entered.")
    if len(s.request.alternates) > 1:
        found.append(f"The alternates after the first ({', '.join(s.request.alternates[1:])}): fuel, runway and weather are "
                     "judged for the first only.")
    far = [o.name for i, o in enumerate(s.request.obstacles, 1) if f"obstacle.route.{i}" not in judged]
    if far:
        found.append(f"Obstacles more than {from_si(judge_route.CORRIDOR_M, 'nm'):.0f} nm off the route: {', '.join(far)}.")
    if not s.air.known:
        found.append("Wind along the route: none is given, so the times and the burn of the timeline are for calm air.")
    if s.request.ground_m is None and s.terrain is None:
        found.append("Ground along the route: no tiles are imported and none is entered in [ground].")
    bare = [x for x in ("climb", "descent") if s.terrain is not None and s.request.ground_m is not None
            and f"terrain.{x}" not in judged]
    if bare:
        found.append(f"The ground under the {' and the '.join(bare)}, apart from the highest of a whole leg.")
    return found


def _aeroplane(s: Situation, aboard: Aboard) -> dict[str, Any]:
    i = s.record.identity
    data: dict[str, Any] = {"registration": i.registration, "type_name": i.type_name, "category": s.request.category}
    if aboard.empty is not None:
        data |= {"empty_weight": f"{from_si(aboard.empty.weight_kg, 'lb'):,.1f} lb at "
                                 f"{from_si(aboard.empty.arm_m, 'in'):.2f} in", "weighing": aboard.empty.source}
    if s.calibrations is not None:
        data["calibrations"] = [m.draws.label for m in s.calibrations.models()]
    return data


def _cautions(s: Situation) -> tuple[str, ...]:
    topics = ["verdict", "runway", "fuel", "tanks", "load", "model", "heading"]
    return cautions_for([*topics, "ifr"] if s.request.rules == "IFR" else topics)
