"""Feed proof: from a tank change, the fuel to the nearest aerodrome where this aeroplane can land."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ownship.flight.chance import middle
from ownship.flight.distances import Calibrations, Ground, judge_all
from ownship.flight.flown import Flown
from ownship.flight.planning import usual
from ownship.flight.request import RunwayWish
from ownship.flight.route import leg_between, point_of
from ownship.flight.runways import candidates
from ownship.flight.situation import Situation
from ownship.flight.tanks import Change
from ownship.physics.atmosphere import Air
from ownship.physics.wind import wind_triangle
from ownship.units import from_si
from ownship.world.aerodromes import Aerodrome, RunwayEnd
from ownship.world.geodesy import direct, inverse_all

FloatArray = NDArray[np.float64]
DOWNHILL_WHERE_UNKNOWN_1 = -0.02
MOST_TRIED = 25


def position_at(s: Situation, flown: Flown, time_s: float) -> tuple[float, float]:
    """Where the median flight is at a moment after leaving the blocks."""
    taxi = middle(flown.timeline.total("time_s", ("start and taxi",)))
    gone = max(time_s - taxi, 0.0)
    for leg in s.legs:
        time = middle(flown.timeline.total("time_s", legs=range(leg.number, leg.number + 1)))
        if gone <= time or leg is s.legs[-1]:
            share = min(gone / time, 1.0) if time > 0 else 0.0
            lat, lon, _ = direct(leg.start.lat_deg, leg.start.lon_deg, leg.initial_course_deg, share * leg.distance_m)
            return lat, lon
        gone -= time
    return s.points[-1].lat_deg, s.points[-1].lon_deg


def fuel_to_nearest(s: Situation, by: Calibrations, flown: Flown, change: Change) -> FloatArray | str:
    """Fuel (m3, (draw,)) from a change to the nearest suitable aerodrome at cruise flow and wind, or why there is none.

    Suitable: open, length and surface known, and the covered landing distance fits, calm, with 2 % downhill where
    the slope is missing.
    """
    lat, lon = position_at(s, flown, change.time_s)
    weight = flown.ramp_kg - _burnt_kg(flown, change.time_s)
    away = inverse_all(lat, lon, [a.lat_deg for a in s.near], [a.lon_deg for a in s.near])[0].tolist() if s.near else []
    placed = sorted(((distance, a.ident, a) for distance, a in zip(away, s.near, strict=True)), key=lambda x: x[:2])
    for distance, _, aerodrome in placed[:MOST_TRIED]:
        if suitable(s, by, aerodrome, weight):
            here = point_of(f"{lat},{lon}", None)
            if distance < 100.0:
                return np.zeros(s.draws)
            leg = leg_between(0, here, point_of(aerodrome.ident, aerodrome), s.day)
            from_deg, wind = s.air.wind(s.request.cruise_altitude_m)
            ground = wind_triangle(leg.course_deg, flown.timeline.legs[0].tas_m_s, from_deg, wind)[1]
            return np.asarray(distance / ground * flown.timeline.cruise_flow_m3_s)
    radius = from_si(usual("feed_search_radius"), "nm")
    return f"No suitable aerodrome is known within {radius:.0f} nm of the route."


def _burnt_kg(flown: Flown, time_s: float) -> FloatArray:
    total = middle(flown.timeline.total("time_s"))
    share = min(max(time_s / total, 0.0), 1.0) if total > 0 else 0.0
    return np.asarray(flown.timeline.total("burn_m3") * share * flown.model.airframe.fuel_density_kg_m3)


def suitable(s: Situation, by: Calibrations, aerodrome: Aerodrome, weight_kg: FloatArray) -> bool:
    """Whether some open end of an aerodrome is long enough for a covered landing in calm air."""
    return suitable_all(s, by, [(aerodrome, weight_kg)])[0]


def suitable_all(s: Situation, by: Calibrations, places: Sequence[tuple[Aerodrome, FloatArray]]) -> list[bool]:
    """`suitable` of several aerodromes, each at its weight (draw,), in one go."""
    asked = [(k, end, ground) for k, (aerodrome, _) in enumerate(places) for end, ground in _ends(s, aerodrome)]
    if not asked:
        return [False] * len(places)
    found = judge_all("landing", [ground for _, _, ground in asked], np.stack([places[k][1] for k, _, _ in asked]), by,
                      s.request.factors)
    good = {k for (k, end, _), distance in zip(asked, found, strict=True)
            if not distance.missing and end.landing_length_m is not None and distance.covered_m <= end.landing_length_m}
    return [k in good for k in range(len(places))]


def _ends(s: Situation, aerodrome: Aerodrome) -> list[tuple[RunwayEnd, Ground]]:
    """The open ends of an aerodrome with length and surface known, dry, calm, with 2 % downhill where the slope is missing."""
    if aerodrome.elevation_m is None:
        return []
    air = Air(s.air.pressure_altitude_m(aerodrome.elevation_m), s.air.middle_temperature_k(aerodrome.elevation_m))
    known = [end for end in candidates(aerodrome, "landing", RunwayWish())
             if end.landing_length_m is not None and end.surface is not None]
    slopes = [DOWNHILL_WHERE_UNKNOWN_1 if end.slope_1 is None else end.slope_1 for end in known]
    return [(end, Ground(air, np.zeros(1), slope, end.surface, None, 0.0, 0.0)) for end, slope in zip(known, slopes, strict=True)]
