"""The flight moment by moment: taxi, climb, cruise and descent split over the legs, approach, alternate.

One function, `fly`, from a route, the air and a calibrated model to times, burns and distances for every
draw. Everything is (draw,); fuel is a volume (m3), time runs from leaving the blocks (s).
Invariant 5: the parts add up exactly to the totals, because totals are sums of the parts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ownship.errors import NotPossible
from ownship.flight.airmass import AirMass
from ownship.flight.chance import middle
from ownship.flight.planning import usual
from ownship.flight.route import Leg
from ownship.performance import climb as climbing
from ownship.performance import cruise as cruising
from ownship.performance.model import Model
from ownship.physics.airspeed import cas_from_tas_m_s
from ownship.physics.atmosphere import Air
from ownship.physics.wind import groundspeed, wind_triangle
from ownship.units import from_si

FloatArray = NDArray[np.float64]
CLIMB_STEPS = 4
DESCENT_STEPS = 3
LEAST_SHARE_1 = 0.5  # of the weight at the start: no small aeroplane carries more than the rest in fuel


@dataclass(frozen=True)
class Settings:
    """How the flight is flown: level, power, mixture, carburettor heat by phase, times on the ground and near it."""

    cruise_altitude_m: float
    power_rev_s: float | None
    power_1: float | None
    mixture: str
    heat: tuple[str, ...]
    taxi_s: float
    taxi_fuel_m3: float
    approach_s: float
    descent_rate_m_s: float
    circuit_height_m: float


@dataclass(frozen=True)
class Part:
    """One phase on one leg (leg None: on the ground or at an aerodrome); all arrays are (draw,)."""

    phase: str
    leg: int | None
    time_s: FloatArray
    burn_m3: FloatArray
    distance_m: FloatArray


@dataclass(frozen=True)
class LegFigures:
    """The cruise of one leg: medians are taken when they are shown. Directions true, (draw,)."""

    leg: Leg
    tas_m_s: FloatArray
    groundspeed_m_s: FloatArray
    heading_deg: FloatArray
    wind_from_deg: float
    wind_m_s: float
    temperature_k: float


@dataclass(frozen=True)
class Timeline:
    """A whole flight for every draw of one calibration."""

    parts: tuple[Part, ...]
    legs: tuple[LegFigures, ...]
    cruise_flow_m3_s: FloatArray
    cruise_power_1: FloatArray
    cruise_rev_s: FloatArray
    cruise_attainable_1: float
    over_rpm_limit: bool
    climb_rate_m_s: FloatArray

    def total(self, name: str, phases: tuple[str, ...] = (), legs: range | None = None) -> FloatArray:
        """Sum of `time_s`, `burn_m3` or `distance_m` over parts, of some phases and legs or of all."""
        chosen = [getattr(p, name) for p in self.parts
                  if (not phases or p.phase in phases) and (legs is None or (p.leg is not None and p.leg in legs))]
        zero = np.zeros_like(self.parts[0].time_s)
        return np.sum(chosen, axis=0) if chosen else zero

    def passed(self, leg: int, name: str) -> FloatArray:
        """`time_s` or `burn_m3` from the blocks to the end of leg `leg` (before the approach)."""
        return self.total(name, ("start and taxi",)) + self.total(name, legs=range(leg + 1))


class _Track:
    """Bookkeeping of distance left on each leg for each draw while phases are laid along the route."""

    def __init__(self, legs: tuple[Leg, ...], draws: int) -> None:
        self.left_m = [np.full(draws, leg.distance_m) for leg in legs]

    def lay(self, order: list[int], time_s: FloatArray,
            groundspeed: list[FloatArray]) -> list[tuple[FloatArray, FloatArray]]:
        """Use `time_s` up over legs in `order`; returns (time, distance) per leg number."""
        remaining = time_s.copy()
        laid = [(np.zeros_like(time_s), np.zeros_like(time_s)) for _ in self.left_m]
        for i in order:
            used = np.minimum(remaining, self.left_m[i] / groundspeed[i])
            way = np.minimum(used * groundspeed[i], self.left_m[i])
            remaining = remaining - used
            self.left_m[i] = self.left_m[i] - way
            laid[i] = (used, way)
        return laid


def fly(legs: tuple[Leg, ...], air: AirMass, model: Model, settings: Settings, ramp_weight_kg: FloatArray,
        start_m: float, end_m: float, taxi_noise: FloatArray) -> Timeline:
    """Fly the legs once for every draw of `model`.

    start_m, end_m: elevations; ramp_weight_kg (draw,); taxi_noise (draw,) standard normals.
    NaN marks what the aeroplane cannot do (no climb to the level, no level flight at this power).
    """
    density = model.airframe.fuel_density_kg_m3
    draws = ramp_weight_kg.size
    taxi = _taxi(settings, draws, taxi_noise)
    weight = ramp_weight_kg - taxi.burn_m3 * density
    up = _climb(legs, air, model, settings, weight, start_m)
    top_weight = weight - np.sum([p.burn_m3 for p in up.parts], axis=0) * density
    cruise, figures = _cruise_speeds(legs, air, model, settings, top_weight)
    track = up.track
    down = _descent(legs, air, model, settings, top_weight, end_m, track, cruise)
    level = _cruise_parts(legs, cruise, figures, track, density)
    approach = _approach(air, model, settings, top_weight, end_m, density)
    parts = (taxi, *_by_leg(up.parts, level, down), approach)
    return Timeline(parts, figures, cruise.fuel_kg_s[0] / density, cruise.power_1[0], cruise.rev_s[0],
                    cruise.attainable_1, cruise.over_limit, up.rate_m_s)


def _by_leg(*groups: list[Part]) -> list[Part]:
    """Parts in the order flown: by leg, climb before cruise before descent; empty ones left out."""
    every = [p for group in groups for p in group if np.any(~(p.time_s == 0))]
    return sorted(every, key=lambda p: (p.leg or 0, ("climb", "cruise", "descent").index(p.phase)))


def _taxi(settings: Settings, draws: int, noise: FloatArray) -> Part:
    factor = np.exp(usual("taxi_fuel_sd") * noise)
    return Part("start and taxi", None, np.full(draws, settings.taxi_s), settings.taxi_fuel_m3 * factor,
                np.zeros(draws))


def too_short(legs: tuple[Leg, ...], settings: Settings) -> NotPossible:
    """The refusal of a level that climb and descent leave no room for."""
    way = sum(leg.distance_m for leg in legs)
    return NotPossible(f"cruise_altitude: {from_si(settings.cruise_altitude_m, 'ft'):,.0f} ft is too high for a route of "
                       f"{from_si(way, 'nm'):.0f} nm: climb and descent need all of it; choose a lower level.")


def refuse_burnt_away(legs: tuple[Leg, ...], start_kg: float, end_kg: float) -> None:
    """NotPossible where the way would burn more than half of the weight at its start: that is no flight of this aeroplane."""
    if end_kg < LEAST_SHARE_1 * start_kg:
        way = from_si(sum(leg.distance_m for leg in legs), "nm")
        raise NotPossible(f"to: the {way:,.0f} nm to {legs[-1].end.name} would burn more than half of the aeroplane's weight in "
                          "fuel; choose a nearer place, or plan the way as several flights.")


def refuse_strong_wind(legs: tuple[Leg, ...], air: AirMass, model: Model, settings: Settings, weight: float,
                       start_m: float) -> None:
    """NotPossible where the given wind leaves no groundspeed on a leg, in the climb or in the cruise."""
    level = settings.cruise_altitude_m
    here = Air(air.pressure_altitude_m(level), air.middle_temperature_k(level))
    cruise = power_setting(model.middle, here, np.array([[weight]]), settings).tas_m_s[0]
    middle_m = (start_m + max(level, start_m)) / 2
    climb = climbing.climb_tas_at(model.middle, air.pressure_altitude_m(middle_m), air.middle_temperature_k(middle_m), weight)[0]
    for leg in legs:
        for what, altitude, tas in (("", level, cruise), (" in the climb", middle_m, climb)):
            from_deg, wind = air.middle_wind(altitude)
            if np.isfinite(tas[0]) and not np.isfinite(wind_triangle(leg.course_deg, tas, from_deg, wind)[1][0]):
                raise NotPossible(f"[aloft]: the wind of {from_si(wind, 'kt'):.0f} kt on the leg to {leg.end.name} is "
                                  f"stronger than the true airspeed of {from_si(float(tas[0]), 'kt'):.0f} kt{what} allows; "
                                  "choose another level, power or day.")


@dataclass(frozen=True)
class _Up:
    parts: list[Part]
    track: _Track
    rate_m_s: FloatArray


def _climb(legs: tuple[Leg, ...], air: AirMass, model: Model, settings: Settings, weight: FloatArray,
           start_m: float) -> _Up:
    """Climb from the aerodrome to the cruising level in steps, laid over the legs from the first on."""
    density = model.airframe.fuel_density_kg_m3
    heights = np.linspace(start_m, max(settings.cruise_altitude_m, start_m), CLIMB_STEPS + 1)
    track = _Track(legs, weight.size)
    temperatures = np.array([air.temperature_k(h) for h in heights])
    pressure = np.array([air.pressure_altitude_m(h) for h in heights])
    step = climbing.climb(model, pressure[:-1, None], pressure[1:, None], (temperatures[:-1], temperatures[1:]),
                          weight[None, :], relative_humidity_1=air.humidity_1, carburettor_heat="climb" in settings.heat)
    totals = {i: [np.zeros(weight.size) for _ in range(3)] for i in range(len(legs))}
    for k in range(CLIMB_STEPS):
        speeds = [_groundspeed(leg, step.mean_tas_m_s[k], air, (heights[k] + heights[k + 1]) / 2) for leg in legs]
        laid = track.lay(list(range(len(legs))), step.time_s[k], speeds)
        spent = np.sum([t for t, _ in laid], axis=0)
        with np.errstate(divide="ignore", invalid="ignore"):
            share = np.where(step.time_s[k] > 0, step.fuel_kg[k] / density / step.time_s[k], 0.0)
        for i, (time, way) in enumerate(laid):
            totals[i][0] = totals[i][0] + time
            totals[i][1] = totals[i][1] + time * share
            totals[i][2] = totals[i][2] + way
        if np.median(np.nan_to_num(step.time_s[k] - spent)) > 1.0:
            raise too_short(legs, settings)
    parts = [Part("climb", i, *totals[i]) for i in range(len(legs))]
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = (heights[-1] - heights[-2]) / step.time_s[-1]
    return _Up(parts, track, rate)


@dataclass(frozen=True)
class _Cruise:
    tas_m_s: FloatArray
    cas_m_s: FloatArray
    fuel_kg_s: FloatArray
    power_1: FloatArray
    rev_s: FloatArray
    attainable_1: float
    over_limit: bool


def _cruise_speeds(legs: tuple[Leg, ...], air: AirMass, model: Model, settings: Settings,
                   weight: FloatArray) -> tuple[_Cruise, tuple[LegFigures, ...]]:
    """Speed and flow on every leg, at the weight of its middle (one look ahead at the flow of the first pass)."""
    level = settings.cruise_altitude_m
    temperature = air.temperature_k(level)
    here = Air(air.pressure_altitude_m(level), np.broadcast_to(temperature, (len(legs), temperature.size)))
    speeds = None
    weights = np.broadcast_to(weight, (len(legs), weight.size))
    for _ in range(2):
        speeds = power_setting(model, here, weights, settings)
        time = np.array([leg.distance_m for leg in legs])[:, None] / speeds.tas_m_s
        so_far = np.cumsum(speeds.fuel_kg_s * time, axis=0)
        refuse_burnt_away(legs, middle(weight), middle(weight - so_far[-1]))
        burnt = so_far - 0.5 * speeds.fuel_kg_s * time
        weights = weight[None, :] - burnt
    assert speeds is not None
    cas = cas_from_tas_m_s(speeds.tas_m_s, here)
    cruise = _Cruise(speeds.tas_m_s, cas, speeds.fuel_kg_s, speeds.power_1, speeds.rev_s,
                     float(np.mean(speeds.attainable)), bool(np.any(speeds.over_limit)))
    (from_deg, speed), (middle_from, middle_speed) = air.wind(level), air.middle_wind(level)
    figures = []
    for i, leg in enumerate(legs):
        heading, ground, _ = wind_triangle(leg.course_deg, speeds.tas_m_s[i], from_deg, speed)
        figures.append(LegFigures(leg, speeds.tas_m_s[i], ground, heading, middle_from, middle_speed,
                                  float(np.median(temperature))))
    return cruise, tuple(figures)


def power_setting(model: Model, here: Air, weights: FloatArray, settings: Settings) -> cruising.Cruise:
    """Level flight at the rpm or the power of the request; weights (case, draw)."""
    heat = "cruise" in settings.heat
    if settings.power_rev_s is not None:
        return cruising.at_rpm(model, here, weights, settings.power_rev_s, mixture=settings.mixture,
                               carburettor_heat=heat)
    assert settings.power_1 is not None
    return cruising.at_power(model, here, weights, settings.power_1, mixture=settings.mixture, carburettor_heat=heat)


def _descent(legs: tuple[Leg, ...], air: AirMass, model: Model, settings: Settings, weight: FloatArray,
             end_m: float, track: _Track, cruise: _Cruise) -> list[Part]:
    """Descent at the cruise CAS to circuit height, laid back from the destination."""
    density = model.airframe.fuel_density_kg_m3
    bottom = min(end_m + settings.circuit_height_m, settings.cruise_altitude_m)
    heights = np.linspace(settings.cruise_altitude_m, bottom, DESCENT_STEPS + 1)
    middles = (heights[:-1] + heights[1:]) / 2
    here = Air(np.array([air.pressure_altitude_m(h) for h in middles])[:, None],
               np.array([air.temperature_k(h) for h in middles]))
    cas = _median(cruise.cas_m_s[-1])
    state = cruising.descent(model, here, weight[None, :], cas, settings.descent_rate_m_s,
                             carburettor_heat="descent" in settings.heat)
    totals = {i: [np.zeros(weight.size) for _ in range(3)] for i in range(len(legs))}
    for k in reversed(range(DESCENT_STEPS)):
        time = np.full(weight.size, (heights[k] - heights[k + 1]) / settings.descent_rate_m_s)
        speeds = [_groundspeed(leg, state.tas_m_s[k], air, float(middles[k])) for leg in legs]
        laid = track.lay(list(reversed(range(len(legs)))), time, speeds)
        for i, (t, way) in enumerate(laid):
            totals[i][0] = totals[i][0] + t
            totals[i][1] = totals[i][1] + t * state.fuel_kg_s[k] / density
            totals[i][2] = totals[i][2] + way
    return [Part("descent", i, *totals[i]) for i in range(len(legs))]


def _cruise_parts(legs: tuple[Leg, ...], cruise: _Cruise, figures: tuple[LegFigures, ...], track: _Track,
                  density: float) -> list[Part]:
    parts = []
    for i in range(len(legs)):
        way = track.left_m[i]
        time = way / figures[i].groundspeed_m_s
        parts.append(Part("cruise", i, time, time * cruise.fuel_kg_s[i] / density, way))
    return parts


def _approach(air: AirMass, model: Model, settings: Settings, weight: FloatArray, end_m: float,
              density: float) -> Part:
    height = end_m + settings.circuit_height_m
    flow = holding_flow_m3_s(model, air, weight, height, "approach" in settings.heat)
    time = np.full(weight.size, settings.approach_s)
    return Part("approach and landing", None, time, time * flow, np.zeros(weight.size))


def holding_flow_m3_s(model: Model, air: AirMass, weight: FloatArray, altitude_m: float,
                      heat: bool = False) -> FloatArray:
    """Flow (draw,) of level flight at a holding speed, rich mixture, at an altitude above sea level."""
    here = Air(air.pressure_altitude_m(altitude_m), air.temperature_k(altitude_m)[None, :])
    held = cruising.holding(model, here, weight[None, :], mixture="rich", carburettor_heat=heat)
    return np.asarray(held.fuel_kg_s[0] / model.airframe.fuel_density_kg_m3)


def to_alternate(leg: Leg, air: AirMass, model: Model, settings: Settings, weight: FloatArray, start_m: float,
                 end_m: float) -> tuple[FloatArray, FloatArray]:
    """(time_s, burn_m3) from a go-around at the destination to the alternate: climb, then level all the way."""
    density = model.airframe.fuel_density_kg_m3
    level = min(settings.cruise_altitude_m, max(start_m, end_m) + usual("alternate_height"))
    level = max(level, start_m)
    bottom, top = air.pressure_altitude_m(start_m), air.pressure_altitude_m(level)
    up = climbing.climb(model, np.array([[bottom]]), np.array([[top]]),
                        (air.temperature_k(start_m)[None, :], air.temperature_k(level)[None, :]), weight[None, :])
    here = Air(top, air.temperature_k(level)[None, :])
    level_flight = power_setting(model, here, weight[None, :], settings)
    way = np.maximum(leg.distance_m - up.time_s[0] * _groundspeed(leg, up.mean_tas_m_s[0], air, level), 0.0)
    time = way / _groundspeed(leg, level_flight.tas_m_s[0], air, level)
    return (np.asarray(up.time_s[0] + time + settings.approach_s),
            np.asarray((up.fuel_kg[0] + time * level_flight.fuel_kg_s[0]) / density + settings.approach_s
                       * holding_flow_m3_s(model, air, weight, end_m + settings.circuit_height_m)))


def missed_approach(air: AirMass, model: Model, weight: FloatArray, end_m: float) -> FloatArray:
    """Burn (m3, (draw,)) of one approach flown to the minimum and the climb of the missed approach."""
    density = model.airframe.fuel_density_kg_m3
    top = end_m + usual("missed_approach_climb")
    up = climbing.climb(model, air.pressure_altitude_m(end_m), air.pressure_altitude_m(top),
                        (air.temperature_k(end_m)[None, :], air.temperature_k(top)[None, :]), weight[None, :])
    flow = holding_flow_m3_s(model, air, weight, top)
    return np.asarray(up.fuel_kg[0] / density + usual("missed_approach_time") * flow)


def _groundspeed(leg: Leg, tas: FloatArray, air: AirMass, altitude_m: float) -> FloatArray:
    from_deg, speed = air.wind(altitude_m)
    return groundspeed(leg.course_deg, tas, from_deg, speed)


def _median(values: FloatArray) -> float:
    good = values[np.isfinite(values)]
    return float(np.median(good)) if good.size else float("nan")
