"""Margins of fuel by time and of the tanks: landing, fixes, own minimum, feed proof, floor, imbalance."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from ownship.aeroplane.description import AirframeRecord, not_published
from ownship.flight import margins as rule
from ownship.flight.answer import FuelSummary
from ownship.flight.cards import banded
from ownship.flight.chance import middle
from ownship.flight.flown import Flown
from ownship.flight.fuel import TankState
from ownship.flight.planning import usual
from ownship.flight.situation import Situation
from ownship.flight.tanks import Change, TankPlan
from ownship.units import from_si
from ownship.words.figures import figure
from ownship.words.verdicts import LIMITATION, OUTSIDE, OWN_MINIMUM, PERFORMANCE, TIGHT

FloatArray = NDArray[np.float64]


def fuel_margins(s: Situation, flown: Flown) -> list[rule.Margin]:
    """fuel.landing, fuel.fix.<name> and own.landing_fuel of one calibration's flight."""
    end = s.points[-1].name
    about = rule.About("fuel.landing", "usable fuel at landing", LIMITATION,
                       flown.needs.reserve_words if flown.needs else "fuel rules", end, flown.landing_time)
    if flown.needs is None:
        return [rule.missing(about, flown.no_reserve)]
    if not s.air.known:
        return [rule.missing(about, "No winds and temperatures aloft are given, so the burn is not known; add [aloft].")]
    if not flown.possible:
        return [rule.stated(about, OUTSIDE, "The flight cannot be flown at this level and power at all.")]
    needs = flown.needs
    required = needs.required_at_landing_m3()
    centre = middle(required)
    available = flown.left_m3 - (required - centre)
    allowance = middle(needs.flow_m3_s) * usual("allowance_time")
    c = s.request.factors.confidence
    cover = _least_cover(s, needs.trip_m3)
    found = [rule.amount(about, available, centre, "usgal", allowance, confidence_1=c, least_cover=cover)]
    total = flown.timeline.total("burn_m3")
    for i, leg in enumerate(s.legs[:-1]):
        later = total - flown.timeline.passed(i, "burn_m3")
        least = middle(later) + centre
        moment = s.at(middle(flown.timeline.passed(i, "time_s")))
        fix = rule.About(f"fuel.fix.{leg.end.name}", f"usable fuel over {leg.end.name}", PERFORMANCE, "trip from here, "
                         "reserve, alternate and extra", leg.end.name, moment)
        found.append(rule.amount(fix, available + middle(later), least, "usgal", allowance, confidence_1=c,
                                 least_cover=cover))
    own = s.request.own.landing_fuel_s
    if own is not None:
        wanted = own * middle(flown.timeline.cruise_flow_m3_s)
        mine = rule.About("own.landing_fuel", f"usable fuel at landing, own {own / 60:.0f} min", OWN_MINIMUM,
                          "your own minima", end, flown.landing_time)
        found.append(rule.amount(mine, flown.left_m3, wanted, "usgal", allowance, confidence_1=c, least_cover=cover))
    return found


def _least_cover(s: Situation, trip: FloatArray) -> float:
    """The owner's per cent of the trip, where one is set: the low end lies at least that far down."""
    p = s.request.planning.contingency_1
    return (p if p is not None else usual("contingency")) * middle(trip)


def tank_margins(s: Situation, record: AirframeRecord, plan: TankPlan | None,
                 fuel_to_nearest: Callable[[Change], FloatArray | str]) -> list[rule.Margin]:
    """imbalance, fuel.tank.<id> and fuel.feed.<n> of the tank plan."""
    if record.selector is None:
        return [rule.missing(rule.About("imbalance", "imbalance of the tanks", LIMITATION, record.source),
                             "The record has no selector, so there is no tank plan.")]
    source = record.selector.source
    if plan is None:
        return [rule.missing(rule.About("imbalance", "imbalance of the tanks", LIMITATION, source),
                             "The burn is not known, so there is no tank plan.")]
    return [_imbalance(record, plan, source), *_floors(s, record, plan, source), *_feeds(s, plan, fuel_to_nearest)]


def _imbalance(record: AirframeRecord, plan: TankPlan, source: str) -> rule.Margin:
    about = rule.About("imbalance", "imbalance of the tanks", LIMITATION, source)
    selector = record.selector
    assert selector is not None
    shown = figure(plan.imbalance_m3, "usgal")
    if len(record.tanks) < 2 or not_published(selector.imbalance_max_m3):
        return rule.none_published(about, shown)
    assert record.fuel is not None  # without a density nothing was flown, and there is no plan
    limit = selector.imbalance_limit(record.fuel.density_kg_m3)
    if not isinstance(limit, float):
        return rule.missing(about, "The record has no imbalance limit; write it or \"none published\".", required=shown)
    return rule.exact(about, plan.imbalance_m3, limit, plan.imbalance_sd_m3, "usgal", max(limit * 0.2, 1e-6))


def _floors(s: Situation, record: AirframeRecord, plan: TankPlan, source: str) -> list[rule.Margin]:
    """Usable fuel in each tank when it is left in flight, or at landing, against the floor or nothing."""
    selector = record.selector
    assert selector is not None
    flow = _flow(plan)
    floor = selector.floor_time_s * flow
    allowance = flow * usual("allowance_time")
    found = []
    for tank in record.tanks:
        leaving = [c for c in plan.changes if c.leaving == tank.id]
        least = floor if leaving and tank.id != plan.landing_tank else 0.0
        draws = leaving[-1].left_m3 if leaving and tank.id != plan.landing_tank else plan.end_m3[tank.id]
        if middle(plan.start_m3[tank.id]) == 0.0 and tank.id not in {x.tank for x in plan.segments}:
            continue
        when = "when it is left" if leaving and tank.id != plan.landing_tank else "at landing"
        about = rule.About(f"fuel.tank.{tank.id}", f"usable fuel in {tank.name or tank.id} {when}", PERFORMANCE, source)
        found.append(rule.amount(about, draws, least, "usgal", allowance,
                                 confidence_1=s.request.factors.confidence))
    return found


def _flow(plan: TankPlan) -> float:
    """Mean flow of the flight, m3/s, median."""
    flying = plan.phases[1:]
    time = sum(p.end_s - p.start_s for p in flying)
    return sum(middle(p.burn_m3) for p in flying) / max(time, 1.0)


def _feeds(s: Situation, plan: TankPlan, fuel_to_nearest: Callable[[Change], FloatArray | str]) -> list[rule.Margin]:
    """At every change: fuel in the tank being left must reach the nearest suitable aerodrome if the next does not feed."""
    found = []
    for change in plan.changes:
        about = rule.About(f"fuel.feed.{change.number}", f"change {change.leaving} to {change.to} {change.where}: if "
                           f"{change.to} does not feed", PERFORMANCE, "nearest suitable aerodrome of the open data",
                           moment=s.at(change.time_s))
        needed = fuel_to_nearest(change)
        if isinstance(needed, str):
            found.append(rule.missing(about, needed))
            continue
        centre = middle(needed)
        found.append(rule.amount(about, change.left_m3 - (needed - centre), centre, "usgal",
                                 _flow(plan) * usual("allowance_time"), confidence_1=s.request.factors.confidence))
    return found


def conflict_margin(plan: TankPlan, source: str) -> list[rule.Margin]:
    """Conflicts of the plan that no number above shows, as tight: they are said, never hidden."""
    rest = [c for c in plan.conflicts if "imbalance" not in c.lower() and "less than" not in c and "dry" not in c]
    if not rest:
        return []
    about = rule.About("tanks.plan", "tank plan", PERFORMANCE, source, words=" ".join(rest))
    return [rule.stated(about, TIGHT, chance=0.0)]


def summary(s: Situation, flown: Flown, tanks: tuple[TankState, ...]) -> FuelSummary:
    """Fuel by part of the flight, to order, on board, left, endurance, and the latest time on the ground."""
    timeline, needs = flown.timeline, flown.needs
    parts = {phase: banded(timeline.total("burn_m3", (phase,)), "usgal")
             for phase in ("start and taxi", "climb", "cruise", "descent", "approach and landing")}
    words: list[str] = []
    order, ground_by, reserve = figure(float("nan"), "usgal"), None, flown.no_reserve
    if needs is not None:
        parts |= {"contingency": figure(needs.contingency_m3, "usgal"), "alternate": banded(needs.alternate_m3, "usgal"),
                  "missed approach": banded(needs.missed_m3, "usgal"), "final reserve": banded(needs.reserve_m3, "usgal"),
                  "extra": banded(needs.extra_m3, "usgal")}
        order, reserve = figure(needs.to_order_m3(), "usgal"), needs.reserve_words
        short = needs.to_order_m3() - middle(flown.on_board_m3)
        if short > 0:
            words.append(f"The fuel to order is {from_si(short, 'usgal'):.1f} US gal more than is on board.")
        ground_by = on_the_ground_by(s, flown)
    if flown.reserve_is_night:
        words.append("The reserve reaches into night: the night reserve is planned.")
    endurance = flown.on_board_m3 / timeline.cruise_flow_m3_s
    return FuelSummary(parts, order, banded(flown.on_board_m3, "usgal"), {t.tank: t.words for t in tanks},
                       banded(flown.left_m3, "usgal"), banded(endurance, "min"), ground_by, reserve, tuple(words))


def on_the_ground_by(s: Situation, flown: Flown) -> datetime | None:
    """The clock time by which the wheels must be on the ground with the reserve still aboard (low end of the fuel)."""
    if flown.needs is None or not flown.possible:
        return None
    spare = float(np.quantile(flown.left_m3 - flown.needs.reserve_m3 - flown.needs.extra_m3,
                              1 - s.request.factors.confidence))
    flow = middle(flown.timeline.cruise_flow_m3_s)
    return s.at((flown.landing_time - s.departure).total_seconds() + spare / flow)
