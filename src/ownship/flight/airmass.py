"""The air of one flight: temperature, wind and pressure at any height, with the forecast's error as draws.

Levels are typed, entered for several moments or a forecast's, whose own error then takes the place of the planning figure.
Temperatures are joined linearly between the surface reports and the levels aloft, with the standard lapse
beyond them; winds are joined as vectors between levels, the nearest level's beyond them (said in `notes`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ownship.flight.chance import Chance
from ownship.flight.places import AloftLevel, aloft_reading, between, direction_of, linear, vector
from ownship.flight.planning import usual
from ownship.physics.atmosphere import TROPOPAUSE_M, Air, isa_temperature_k, pressure_altitude_m
from ownship.units import from_si, to_si
from ownship.world.forecast import AirAt, Forecast, towards

FloatArray = NDArray[np.float64]
FAR_FROM_A_LEVEL_M = float(to_si(3000, "ft"))
LEVEL_STEP_M = float(to_si(1000, "ft"))


@dataclass(frozen=True)
class Level:
    """Air at one altitude above sea level: wind (from, true; None unknown) and temperature (None unknown)."""

    altitude_m: float
    wind_from_deg: float | None
    wind_m_s: float | None
    temperature_k: float | None


@dataclass(frozen=True)
class AirMass:
    """The air between the aerodromes. `known` False: no levels aloft were given, the rest is a stand-in."""

    winds: tuple[tuple[float, float, float], ...]
    temperatures: tuple[tuple[float, float], ...]
    altimeter_pa: float
    wind_noise_m_s: tuple[FloatArray, FloatArray]
    temperature_noise_k: FloatArray
    known: bool
    notes: tuple[str, ...] = ()
    humidity_1: float = 0.0

    def pressure_altitude_m(self, altitude_m: float) -> float:
        """Pressure altitude of an altitude read on an altimeter set to the flight's setting."""
        return float(pressure_altitude_m(altitude_m, self.altimeter_pa))

    def middle_temperature_k(self, altitude_m: float) -> float:
        """The temperature at an altitude without its error."""
        heights, values = self._warmth
        if max(heights[0], 0.0) <= altitude_m <= min(heights[-1], TROPOPAUSE_M):  # between levels: nothing of the standard lapse
            return float(np.interp(altitude_m, heights, values))
        return float(self._middle_k(altitude_m))

    @cached_property
    def _warmth(self) -> tuple[FloatArray, FloatArray]:
        """Heights and temperatures of the levels."""
        heights, values = np.array(self.temperatures).T
        return heights, values

    @cached_property
    def _blown(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Heights of the winds, each with what it blows towards east and north."""
        heights, east, north = np.array(self.winds).T
        return heights, east, north

    def _middle_k(self, altitude_m: FloatArray | float) -> FloatArray:
        heights, values = self._warmth
        nearest = np.clip(altitude_m, heights[0], heights[-1])
        return np.asarray(np.interp(altitude_m, heights, values) + (isa_temperature_k(altitude_m) - isa_temperature_k(nearest)))

    def temperature_k(self, altitude_m: float) -> FloatArray:
        """(draw,) temperature at an altitude."""
        return self.middle_temperature_k(altitude_m) + self.temperature_noise_k

    def middle_wind(self, altitude_m: float) -> tuple[float, float]:
        """Wind (from deg true, m/s) at an altitude without its error."""
        east, north = self._vector(altitude_m)
        return _polar(np.array(east), np.array(north))[0].item(), float(np.hypot(east, north))

    def wind(self, altitude_m: float) -> tuple[FloatArray, FloatArray]:
        """(draw,) wind: direction it comes from (deg true) and speed."""
        east, north = self._vector(altitude_m)
        return _polar(east + self.wind_noise_m_s[0], north + self.wind_noise_m_s[1])

    def here(self, altitudes_m: FloatArray) -> Air:
        """The air at altitudes (height,): pressure altitude (height, 1), temperature (height, draw)."""
        pressure = np.asarray(pressure_altitude_m(altitudes_m, self.altimeter_pa))
        return Air(pressure[:, None], self._middle_k(altitudes_m)[:, None] + self.temperature_noise_k)

    def blowing(self, altitudes_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Winds at altitudes (height,) as what they blow towards east and north, each (height, draw), m/s."""
        heights, east, north = self._blown
        return (np.interp(altitudes_m, heights, east)[:, None] + self.wind_noise_m_s[0],
                np.interp(altitudes_m, heights, north)[:, None] + self.wind_noise_m_s[1])

    def freezing_level_m(self) -> float | None:
        """Lowest altitude at which the air is at 0 C and colder above; None when it is not known."""
        if not self.known:
            return None
        freezing = float(to_si(0.0, "C", "temperature"))
        heights = np.arange(self.temperatures[0][0], self.temperatures[0][0] + 8000.0, 30.0)
        values = self._middle_k(heights)
        below = np.nonzero(values <= freezing)[0]
        return float(heights[below[0]]) if below.size else None

    def _vector(self, altitude_m: float) -> tuple[float, float]:
        heights, east, north = self._blown
        return float(np.interp(altitude_m, heights, east)), float(np.interp(altitude_m, heights, north))


def _polar(east: FloatArray, north: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Direction a wind comes from and its speed, from the vector it blows along."""
    return np.mod(np.degrees(np.arctan2(-east, -north)), 360.0), np.hypot(east, north)


def over_ground_m_s(course_deg: FloatArray, tas_m_s: FloatArray, east_m_s: FloatArray, north_m_s: FloatArray) -> FloatArray:
    """Groundspeed on a true course in a wind given by components, any shapes that broadcast.

    GS = sqrt(V^2 - c^2) + a with a, c the wind along the course and across it: `physics.wind.groundspeed` without its sines.
    NaN where the wind is too strong for the course.
    """
    course = np.radians(course_deg)
    sine, cosine = np.sin(course), np.cos(course)
    across = east_m_s * cosine - north_m_s * sine
    with np.errstate(invalid="ignore"):
        found = np.sqrt(tas_m_s * tas_m_s - across * across) + (east_m_s * sine + north_m_s * cosine)
        return np.where(found > 0, found, np.nan)


def build(levels: tuple[Level, ...], surface: tuple[tuple[float, float], ...], altimeter_pa: float,
          cruise_altitude_m: float, chance: Chance, humidity_1: float = 0.0, *, wind_sd_m_s: float | None = None,
          temperature_sd_k: float | None = None, said: tuple[str, ...] = ()) -> AirMass:
    """The air of a flight from levels aloft and (elevation, temperature) of the aerodromes.

    wind_sd_m_s (each component), temperature_sd_k: the error of the levels, None: the usual planning figure; said: what
    stands in the notes beside our own.

    Where no level aloft is given the air is calm and standard and `known` is False: nothing that rests on
    it may be judged.
    """
    winds = []
    for level in sorted(levels, key=lambda x: x.altitude_m):
        if level.wind_from_deg is not None and level.wind_m_s is not None:
            towards = np.radians(level.wind_from_deg + 180.0)
            winds.append((level.altitude_m, float(level.wind_m_s * np.sin(towards)),
                          float(level.wind_m_s * np.cos(towards))))
    points = sorted([*surface, *((x.altitude_m, x.temperature_k) for x in levels if x.temperature_k is not None)])
    known = bool(winds) and any(x.temperature_k is not None for x in levels)
    notes = (*said, *_notes(winds, cruise_altitude_m))
    sd = (usual("wind_sd") if wind_sd_m_s is None else wind_sd_m_s) * float(known)
    warm_sd = usual("temperature_sd") if temperature_sd_k is None else temperature_sd_k
    return AirMass(tuple(winds) or ((0.0, 0.0, 0.0),),
                   _merged(points) or ((0.0, float(isa_temperature_k(0.0))),), altimeter_pa,
                   (sd * chance.normals("wind east"), sd * chance.normals("wind north")),
                   warm_sd * float(known) * chance.normals("temperature aloft"), known,
                   notes, humidity_1)


def _notes(winds: list[tuple[float, float, float]], cruise_altitude_m: float) -> tuple[str, ...]:
    if winds and min(abs(w[0] - cruise_altitude_m) for w in winds) > FAR_FROM_A_LEVEL_M:
        return (f"No wind aloft is given within 3,000 ft of {from_si(cruise_altitude_m, 'ft'):,.0f} ft; "
                "the nearest level's wind is used.",)
    return ()


def _merged(points: list[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    """Points with equal altitude averaged, so that interpolation has one value a height."""
    heights = sorted({h for h, _ in points})
    return tuple((h, float(np.mean([t for x, t in points if x == h]))) for h in heights)


@dataclass(frozen=True)
class Aloft:
    """Levels aloft for a flight with their error (one sd; None: the usual planning figure), what is to be said of them, and
    whose they are ("": nothing is known)."""

    levels: tuple[Level, ...]
    wind_sd_m_s: float | None = None
    temperature_sd_k: float | None = None
    words: tuple[str, ...] = ()
    source: str = ""


@dataclass(frozen=True)
class Column:
    """A forecast and the moment at which the flight passes over it."""

    forecast: Forecast
    at: datetime


def aloft_of_hours(entries: Sequence[AloftLevel], at: datetime) -> Aloft | None:
    """The owner's levels joined in time (linear, wind by components, at most 6 h apart); None where none covers the moment."""
    levels = []
    for altitude in sorted({x.altitude_m for x in entries}):
        readings = [(x.at, aloft_reading(x)) for x in entries if x.altitude_m == altitude and x.at is not None]
        wind = between([(t, vector(r.wind)) for t, r in readings if r.wind], at, _both)
        kelvin = between([(t, r.temperature_k) for t, r in readings if r.temperature_k is not None], at, linear)
        if wind is not None or kelvin is not None:
            levels.append(_level(altitude, wind, kelvin))
    return Aloft(tuple(levels)) if levels else None


def _both(a: tuple[float, float], b: tuple[float, float], share: float) -> tuple[float, float]:
    return linear(a[0], b[0], share), linear(a[1], b[1], share)


def _level(altitude_m: float, wind: tuple[float, float] | None, temperature_k: float | None) -> Level:
    """A level from a wind as (towards east, towards north)."""
    if wind is None:
        return Level(altitude_m, None, None, temperature_k)
    return Level(altitude_m, direction_of(*wind) or 0.0, math.hypot(*wind), temperature_k)


def aloft_of_forecasts(columns: Sequence[Column], cruise_altitude_m: float) -> Aloft | None:
    """The mean of the columns along the route, each at the moment the flight passes over it; None unless all know the cruise.

    Error: the worst spread of the columns by the age of their runs, and the differences between the columns on top
    (sd^2 = spread^2 + variance), because one air stands for the whole flight.
    """
    here = [c.forecast.at(cruise_altitude_m, c.at) for c in columns]
    known = [a for a in here if a is not None and a.wind_m_s is not None and a.temperature_k is not None]
    if not columns or len(known) < len(columns):
        return None
    heights = {cruise_altitude_m, *(float(h) for h in np.arange(0.0, 2 * cruise_altitude_m, LEVEL_STEP_M))}
    levels = tuple(level for h in sorted(heights) if (level := _mean(h, [c.forecast.at(h, c.at) for c in columns])) is not None)
    winds = np.array([_towards(a) for a in known])
    apart = float(np.max(np.var(winds, axis=0)))
    warm = float(np.var([a.temperature_k for a in known if a.temperature_k is not None]))
    age = max(a.run_age_s for a in known)
    said = (f"Air aloft: forecast of {known[0].source}, run up to {float(from_si(age, 'h')):.0f} h old by then; one column of "
            f"air, the mean of {len(known)}, stands for the whole flight.")
    return Aloft(levels, math.sqrt(max(a.spread.wind_sd_m_s for a in known) ** 2 + apart),
                 math.sqrt(max(a.spread.temperature_sd_k for a in known) ** 2 + warm), (said,))


def _towards(air: AirAt) -> tuple[float, float]:
    assert air.wind_m_s is not None
    return (0.0, 0.0) if air.wind_from_deg is None else towards(air.wind_from_deg, air.wind_m_s)


def _mean(height_m: float, found: Sequence[AirAt | None]) -> Level | None:
    """The mean of the columns that know this height (below the ground of one the others speak); None where none does."""
    winds = [_towards(a) for a in found if a is not None and a.wind_m_s is not None]
    kelvins = [a.temperature_k for a in found if a is not None and a.temperature_k is not None]
    if not winds and not kelvins:
        return None
    wind = (float(np.mean([w[0] for w in winds])), float(np.mean([w[1] for w in winds]))) if winds else None
    return _level(height_m, wind, float(np.mean(kelvins)) if kelvins else None)
