"""One flight flown by one calibration: times, burns, weights and fuel needs for every draw."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from ownship.flight.chance import middle
from ownship.flight.fuel import FuelNeeds, TankState, contingency_m3, trip_m3
from ownship.flight.planning import usual
from ownship.flight.situation import Situation
from ownship.flight.timeline import (
    LEAST_SHARE_1,
    Timeline,
    fly,
    holding_flow_m3_s,
    missed_approach,
    refuse_burnt_away,
    refuse_strong_wind,
    to_alternate,
    too_short,
)
from ownship.performance.model import Model
from ownship.rules.ruleset import FuelReserve
from ownship.world.sun import is_night

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Flown:
    """One calibration's flight: timeline, needs, weights (draw,) at ramp, take-off and landing, fuel on board and left."""

    model: Model
    timeline: Timeline
    needs: FuelNeeds | None
    no_reserve: str
    on_board_m3: FloatArray
    ramp_kg: FloatArray
    take_off_kg: FloatArray
    landing_kg: FloatArray
    landing_time: datetime
    reserve_is_night: bool

    @property
    def left_m3(self) -> FloatArray:
        """Usable fuel left at landing, (draw,)."""
        return self.on_board_m3 - self.timeline.total("burn_m3")

    @property
    def possible(self) -> bool:
        """Whether the median flight can be flown at all (climb, level flight, wind)."""
        return bool(np.isfinite(np.median(self.timeline.total("time_s"))))


def fly_once(s: Situation, model: Model, tanks: tuple[TankState, ...], dry_kg: FloatArray) -> Flown:
    """Fly the request with one calibration. dry_kg (draw,): the loaded aeroplane without usable fuel.

    NotPossible where the climb and the descent leave no room on the route, or the wind is stronger than the TAS,
    or the way burns half of the weight away.
    """
    density = model.airframe.fuel_density_kg_m3
    on_board = np.sum([t.draws_m3 for t in tanks], axis=0) if tanks else np.zeros(s.draws)
    ramp = dry_kg + on_board * density
    start, end = s.points[0].elevation_m or 0.0, s.points[-1].elevation_m or 0.0
    refuse_strong_wind(s.legs, s.air, model, s.settings, middle(ramp), start)
    timeline = fly(s.legs, s.air, model, s.settings, ramp, start, end, s.chance.normals("taxi"))
    _refuse_too_short(s, timeline)
    take_off = ramp - timeline.total("burn_m3", ("start and taxi",)) * density
    landing = ramp - timeline.total("burn_m3") * density
    refuse_burnt_away(s.legs, middle(ramp), middle(landing))
    landing = np.where(landing < LEAST_SHARE_1 * ramp, np.nan, landing)
    total = timeline.total("time_s")
    centre = middle(total) if np.isfinite(np.median(total)) else 0.0
    needs, why, night = _needs(s, model, timeline, landing, s.at(centre))
    return Flown(model, timeline, needs, why, on_board, ramp, take_off, landing, s.at(centre), night)


def _refuse_too_short(s: Situation, timeline: Timeline) -> None:
    """NotPossible where climb and descent need the whole route."""
    way = sum(leg.distance_m for leg in s.legs)
    climb, descent = (middle(timeline.total("distance_m", (p,))) for p in ("climb", "descent"))
    if climb > 0 and climb + descent >= way * 0.999:
        raise too_short(s.legs, s.settings)


def _needs(s: Situation, model: Model, timeline: Timeline, landing_kg: FloatArray,
           landing: datetime) -> tuple[FuelNeeds | None, str, bool]:
    """The fuel needed, or why the reserve is not known; a reserve that reaches into night is a night reserve."""
    end = s.points[-1]
    rules = s.ruleset(end)
    if rules is None:
        return None, f"No rules are kept for the country of {end.name}; say place in the request.", False
    night_rule = rules.night(s.day, "fuel")
    day_reserve = rules.fuel_reserve(s.day, s.request.rules, night=False)
    if night_rule is None or day_reserve is None:
        return None, f"No fuel rule of {rules.place} was in force on {s.day.isoformat()}.", False
    night = any(is_night(end.lat_deg, end.lon_deg, s.at((landing - s.departure).total_seconds() + extra), night_rule.zenith_deg)
                for extra in (0.0, day_reserve.time_s))
    reserve = rules.fuel_reserve(s.day, s.request.rules, night=night)
    assert reserve is not None
    zero = np.zeros(s.draws)
    elevation = end.elevation_m or 0.0
    alternate = zero
    if s.alternate is not None:
        point, leg = s.alternate
        alternate = to_alternate(leg, s.air, model, s.settings, landing_kg, elevation, point.elevation_m or 0.0)[1]
    missed = missed_approach(s.air, model, landing_kg, elevation) if s.request.rules == "IFR" else zero
    flow = _reserve_flow(s, model, timeline, landing_kg, reserve, elevation)
    trip, p = trip_m3(timeline), s.request.planning
    owner = p.contingency_1 if p.contingency_1 is not None else usual("contingency")
    words = (f"Final reserve {reserve.time_s / 60:.0f} min ({'night' if night else 'day'}, {s.request.rules}) at "
             f"{reserve.flow}: {reserve.rule.cite()}." + (f" Also: {reserve.also}." if reserve.also else ""))
    needs = FuelNeeds(timeline.total("burn_m3", ("start and taxi",)), trip, alternate, missed, flow * reserve.time_s,
                      flow * (p.extra_s or 0.0), contingency_m3(np.nan_to_num(trip), owner, s.request.factors.confidence),
                      words, flow)
    return needs, "", night


def _reserve_flow(s: Situation, model: Model, timeline: Timeline, landing_kg: FloatArray, reserve: FuelReserve,
                  elevation_m: float) -> FloatArray:
    """Flow of the final reserve: normal cruise, or holding at 1,500 ft above the destination."""
    if reserve.flow == "normal cruise":
        return timeline.cruise_flow_m3_s
    return holding_flow_m3_s(model, s.air, landing_kg, elevation_m + usual("holding_height"))
