"""Forecast air over one place as one frozen value: hours, in each the ground and the pressure levels above it.

Asked at a height and a time it joins linearly in height and in time, wind by components; outside the heights or
the hours the answer is None, never a guess. Its usual error grows with the age of the model run behind it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from itertools import pairwise
from math import hypot, log

import numpy as np

from ownship.errors import BadInput
from ownship.physics.atmosphere import isa_pressure_pa, pressure_altitude_m
from ownship.physics.wind import direction_deg
from ownship.provenance import datum, package_toml

WIDEST_GAP_M = 3000.0  # over more than this between two known levels the air between is not known
CURVES = {"wind": "speed", "temperature": "temperature difference", "surface_wind": "speed",
          "surface_temperature": "temperature difference"}
Point = tuple[float, float]


@dataclass(frozen=True)
class Level:
    """Air on one pressure level: height above the sea, pressure, temperature, wind towards east and north (None unknown)."""

    height_m: float
    pressure_pa: float
    temperature_k: float | None
    east_m_s: float | None
    north_m_s: float | None


@dataclass(frozen=True)
class Ground:
    """Air at the ground: temperature and dew point at 2 m, wind and gust at 10 m, station pressure (None unknown)."""

    pressure_pa: float | None
    temperature_k: float | None
    dew_point_k: float | None
    east_m_s: float | None
    north_m_s: float | None
    gust_m_s: float | None


@dataclass(frozen=True)
class Hour:
    """One hour (aware time): the ground and the levels, lowest first."""

    time: datetime
    ground: Ground
    levels: tuple[Level, ...]


@dataclass(frozen=True)
class Spread:
    """Usual error of a forecast, one standard deviation: wind (each component) and temperature."""

    wind_sd_m_s: float
    temperature_sd_k: float


@dataclass(frozen=True)
class AirAt:
    """Air at a height (above the sea) and time; None what is not known. Wind from deg true, None when calm.

    `run_age_s` is the age at `time` of the model run behind it, `spread` the usual error at that age.
    """

    height_m: float
    time: datetime
    temperature_k: float | None
    pressure_pa: float | None
    wind_from_deg: float | None
    wind_m_s: float | None
    spread: Spread
    run_age_s: float
    source: str

    @property
    def pressure_altitude_m(self) -> float | None:
        """Pressure altitude of the pressure: the height at which standard air has it (below 11 km)."""
        return None if self.pressure_pa is None else float(pressure_altitude_m(0.0, self.pressure_pa))


@dataclass(frozen=True)
class GroundAt:
    """Air at the ground at a time; None what is not known. Wind from deg true, None when calm."""

    time: datetime
    temperature_k: float | None
    dew_point_k: float | None
    pressure_pa: float | None
    altimeter_pa: float | None
    wind_from_deg: float | None
    wind_m_s: float | None
    gust_m_s: float | None
    spread: Spread
    run_age_s: float
    source: str


@dataclass(frozen=True)
class Forecast:
    """Forecast over one grid point: position (deg), elevation of its ground, hours in order, when fetched, source, licence."""

    lat_deg: float
    lon_deg: float
    elevation_m: float
    hours: tuple[Hour, ...]
    fetched_at: datetime
    source: str
    licence: str

    def at(self, height_m: float, time: datetime) -> AirAt | None:
        """Air at a height (m above the sea) and an aware time.

        Temperature and wind (east, north) linear in height between ground and levels and in time; pressure
        hydrostatic in height, linear in time. None below the ground, above the highest level, outside the hours,
        beyond the last age whose error is known, and over gaps of more than 3,000 m. BadInput for a time without zone.
        """
        age_s = self._run_age_s(time)
        spread = self._spread(height_m, time, age_s)
        if spread is None:
            return None
        temperature = self._joined(time, lambda hour: _linear(self._temperatures(hour), height_m))
        pressure = self._joined(time, lambda hour: self._pressure_pa(hour, height_m))
        east = self._joined(time, lambda hour: _linear(self._winds(hour, 0), height_m))
        north = self._joined(time, lambda hour: _linear(self._winds(hour, 1), height_m))
        if temperature is None and pressure is None and east is None:
            return None
        return AirAt(height_m, time, temperature, pressure, *_polar(east, north), spread, age_s, self.source)

    def ground_at(self, time: datetime) -> GroundAt | None:
        """Air at the ground at an aware time, linear between hours, wind by components; None outside the hours.

        The altimeter setting is that which makes the station pressure's altitude read the elevation.
        """
        age_s = self._run_age_s(time)
        spread = spread_at(age_s, ground=True)
        if spread is None or self._around(time) is None:
            return None

        def joined(name: str) -> float | None:
            return self._joined(time, lambda hour: getattr(hour.ground, name))

        pressure = joined("pressure_pa")
        return GroundAt(time, joined("temperature_k"), joined("dew_point_k"), pressure, self._altimeter_pa(pressure),
                        *_polar(joined("east_m_s"), joined("north_m_s")), joined("gust_m_s"), spread, age_s, self.source)

    def _run_age_s(self, time: datetime) -> float:
        """Age of the model run at a time: since it was fetched (not less than 0), and what it was old by then."""
        if time.tzinfo is None:
            raise BadInput(f"The time {time.isoformat()} has no zone; give it with one, such as 2026-07-11T15:00-06:00.")
        return max((time - self.fetched_at).total_seconds(), 0.0) + _error_curves()[0]

    def _spread(self, height_m: float, time: datetime, age_s: float) -> Spread | None:
        """The error aloft; below the lowest level the worse of that and the ground's."""
        around, aloft, ground = self._around(time), spread_at(age_s), spread_at(age_s, ground=True)
        if around is None or aloft is None or ground is None:
            return None
        if all((above := self._above(hour)) and height_m >= above[0].height_m for hour in around[:2]):
            return aloft
        return Spread(max(aloft.wind_sd_m_s, ground.wind_sd_m_s), max(aloft.temperature_sd_k, ground.temperature_sd_k))

    def _around(self, time: datetime) -> tuple[Hour, Hour, float] | None:
        """The hours before and after a time and the share of the later one; the same hour twice when it is that hour."""
        for hour in self.hours:
            if hour.time == time:
                return hour, hour, 0.0
        for before, after in pairwise(self.hours):
            if before.time < time < after.time:
                return before, after, (time - before.time) / (after.time - before.time)
        return None

    def _joined(self, time: datetime, value: Callable[[Hour], float | None]) -> float | None:
        """A value of both hours around a time, joined linearly; None where either lacks it."""
        around = self._around(time)
        if around is None:
            return None
        first, second = value(around[0]), value(around[1])
        return None if first is None or second is None else first + (second - first) * around[2]

    def _above(self, hour: Hour) -> tuple[Level, ...]:
        """Levels above the ground: higher than the elevation and of less pressure; a model's levels below are not air."""
        surface = hour.ground.pressure_pa
        return tuple(x for x in hour.levels
                     if x.height_m > self.elevation_m and (surface is None or x.pressure_pa < surface))

    def _temperatures(self, hour: Hour) -> list[Point]:
        points = [(self.elevation_m, hour.ground.temperature_k), *((x.height_m, x.temperature_k) for x in self._above(hour))]
        return [(height, value) for height, value in points if value is not None]

    def _winds(self, hour: Hour, which: int) -> list[Point]:
        """(height, towards east) or (height, towards north) where both are known."""
        points = [(self.elevation_m, (hour.ground.east_m_s, hour.ground.north_m_s)),
                  *((x.height_m, (x.east_m_s, x.north_m_s)) for x in self._above(hour))]
        return [(height, value) for height, wind in points
                if None not in wind and (value := wind[which]) is not None]

    def _pressure_pa(self, hour: Hour, height_m: float) -> float | None:
        """Pressure at a height: ln p in proportion to the integral of dh/T, T linear between two known points."""
        ground = hour.ground
        points = [(self.elevation_m, ground.temperature_k, ground.pressure_pa),
                  *((x.height_m, x.temperature_k, x.pressure_pa) for x in self._above(hour))]
        known = [(h, t, p) for h, t, p in points if t is not None and p is not None]
        temperature = _linear([(h, t) for h, t, _ in known], height_m)
        if temperature is None:
            return None
        pressures = {h: p for h, _, p in known}
        if height_m in pressures:
            return pressures[height_m]
        (h0, t0, p0), (h1, t1, p1) = next(x for x in pairwise(known) if x[0][0] < height_m < x[1][0])
        share = _thickness(h0, t0, height_m, temperature) / _thickness(h0, t0, h1, t1)
        return float(p0 * (p1 / p0) ** share)

    def _altimeter_pa(self, pressure_pa: float | None) -> float | None:
        if pressure_pa is None:
            return None
        return float(isa_pressure_pa(pressure_altitude_m(0.0, pressure_pa) - self.elevation_m))


def _thickness(bottom_m: float, bottom_k: float, top_m: float, top_k: float) -> float:
    """Integral of dh/T over a layer with T linear in height: depth x ln(T1/T0)/(T1 - T0), m/K."""
    if abs(top_k - bottom_k) < 1e-6:
        return (top_m - bottom_m) / bottom_k
    return (top_m - bottom_m) * log(top_k / bottom_k) / (top_k - bottom_k)


def _linear(points: Sequence[Point], height_m: float) -> float | None:
    """The value at a height on a line through points (lowest first); None outside them or over too wide a gap."""
    for height, value in points:
        if height == height_m:
            return value
    for (low, a), (high, b) in pairwise(points):
        if low < height_m < high:
            return a + (b - a) * (height_m - low) / (high - low) if high - low <= WIDEST_GAP_M else None
    return None


def _polar(east_m_s: float | None, north_m_s: float | None) -> tuple[float | None, float | None]:
    """Direction a wind comes from (None when calm) and its speed."""
    if east_m_s is None or north_m_s is None:
        return None, None
    speed = hypot(east_m_s, north_m_s)
    return (float(direction_deg(np.degrees(np.arctan2(-east_m_s, -north_m_s)))) if speed > 0 else None), speed


def towards(from_deg: float, speed_m_s: float) -> tuple[float, float]:
    """Wind as (towards east, towards north), m/s, from the direction it comes from (deg true)."""
    angle = np.radians(from_deg)
    return float(-speed_m_s * np.sin(angle)), float(-speed_m_s * np.cos(angle))


@cache
def _error_curves() -> tuple[float, dict[str, tuple[Point, ...]]]:
    """Age of a run when fetched (s) and the error curves ((age s, sd), ...) of data/forecast_error.toml."""
    root = package_toml("forecast_error.toml")
    first = root.table("run_age", needed=True)
    assert first is not None
    age_s = datum(first, "time").value
    curves = {name: tuple((row.quantity("age", "time"), datum(row, dimension).value) for row in root.tables(name))
              for name, dimension in CURVES.items()}
    root.done()
    return age_s, curves


def spread_at(run_age_s: float, *, ground: bool = False) -> Spread | None:
    """Usual error of a forecast by the age of its model run (s), linear between the rows of the data file.

    One standard deviation of each wind component (m/s) and of temperature (K), aloft or at the ground. None for an
    age below 0 or beyond the last row (192 h). Source: data/forecast_error.toml (common practice, no published source).
    """
    wind, temperature = (_on_curve(("surface_" if ground else "") + name, run_age_s) for name in ("wind", "temperature"))
    return None if wind is None or temperature is None else Spread(wind, temperature)


def _on_curve(name: str, age_s: float) -> float | None:
    ages, values = zip(*_error_curves()[1][name], strict=True)
    return float(np.interp(age_s, ages, values)) if ages[0] <= age_s <= ages[-1] else None


def last_known(forecast: Forecast) -> datetime:
    """The last moment this forecast answers for: its last hour, or the last age whose error is known."""
    age_s, curves = _error_curves()
    longest = min(curve[-1][0] for curve in curves.values()) - age_s
    return min(forecast.hours[-1].time, forecast.fetched_at + timedelta(seconds=longest))
