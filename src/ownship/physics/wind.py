"""Wind and headings: the triangle, components on a runway, wind from GPS legs, the compass, turning points.

Directions in degrees, wind is where it comes from; courses and winds share one north. Speeds share one unit.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ownship.errors import NotPossible

FloatArray = NDArray[np.float64]
Number = Any


LEAST_TURN_DEG = 60.0  # tracks within less than this fix neither wind nor airspeed


def direction_deg(value: Number) -> FloatArray:
    """A direction as 0 <= x < 360: a rounding hair below north is north, not 360."""
    turned = np.mod(np.asarray(value, dtype=float), 360.0)
    return np.where(turned >= 360.0, 0.0, turned)


def wind_triangle(course_deg: Number, tas: Number, wind_from_deg: Number,
                  wind: Number) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Heading, groundspeed and correction (positive right) to hold a course; NaN where the wind is too strong.

    sin(correction) = wind sin(from - course)/TAS; GS = TAS cos(correction) - wind cos(from - course).
    Any shape; NaN also where the groundspeed would not be positive. Checks: NV-05, NV-07, NV-08, NV-09, NV-11.
    """
    correction, ground = _held(course_deg, tas, wind_from_deg, wind)
    correction_deg = np.where(np.isnan(ground), np.nan, np.degrees(correction))
    return direction_deg(course_deg + correction_deg), ground, correction_deg


def groundspeed(course_deg: Number, tas: Number, wind_from_deg: Number, wind: Number) -> FloatArray:
    """The groundspeed of `wind_triangle` alone, in half the time."""
    return _held(course_deg, tas, wind_from_deg, wind)[1]


def _held(course_deg: Number, tas: Number, wind_from_deg: Number, wind: Number) -> tuple[FloatArray, FloatArray]:
    """Correction (radians) and groundspeed on a course."""
    angle = np.radians(np.asarray(wind_from_deg, dtype=float) - np.asarray(course_deg, dtype=float))
    with np.errstate(invalid="ignore", divide="ignore"):
        sine = np.asarray(wind, dtype=float) * np.sin(angle) / np.asarray(tas, dtype=float)
        correction = np.arcsin(np.where(np.abs(sine) <= 1, sine, np.nan))
        ground = tas * np.cos(correction) - wind * np.cos(angle)
        return correction, np.where(ground > 0, ground, np.nan)


def wind_found(course_deg: float, heading_deg: float, tas: float, groundspeed: float) -> tuple[float, float]:
    """Wind (from, speed) = air vector - ground vector. Check: NV-10."""
    air, ground = np.radians(heading_deg), np.radians(course_deg)
    east = groundspeed * np.sin(ground) - tas * np.sin(air)
    north = groundspeed * np.cos(ground) - tas * np.cos(air)
    return float(direction_deg(np.degrees(np.arctan2(-east, -north)))), float(np.hypot(east, north))


def components(runway_deg: Number, wind_from_deg: Number, wind: Number) -> tuple[FloatArray, FloatArray]:
    """Headwind (negative: tailwind) and crosswind (positive from the right) on a direction. Checks: NV-01, NV-02."""
    angle = np.radians(np.asarray(wind_from_deg, dtype=float) - np.asarray(runway_deg, dtype=float))
    return np.asarray(wind * np.cos(angle)), np.asarray(wind * np.sin(angle))


def tas_from_gps(groundspeed: FloatArray, track_deg: FloatArray) -> tuple[float, float, float]:
    """TAS, wind direction and wind speed from three or more legs at steady speed: least squares of |Vg - w| - TAS.

    Gauss-Newton from the algebraic circle through the ends of the ground vectors. NotPossible for fewer than
    three legs or legs that do not fix a circle (identical or on one line). Checks: GP-01, GP-02.
    """
    speed, track = np.asarray(groundspeed, dtype=float), np.radians(np.asarray(track_deg, dtype=float))
    if speed.size < 3:
        raise NotPossible(f"{speed.size} GPS legs cannot fix wind and airspeed; fly three or more headings.")
    around = np.sort(np.mod(np.degrees(track), 360.0))
    widest = np.diff(np.append(around, around[0] + 360.0)).max()
    if 360.0 - widest < LEAST_TURN_DEG:
        raise NotPossible(f"The GPS legs lie within {360.0 - widest:.0f} degrees of track, which cannot tell wind from airspeed; "
                          "fly three clearly different headings.")
    x, y = speed * np.sin(track), speed * np.cos(track)
    scale = max(float(speed.max()), 1e-9)
    design = np.column_stack([2 * x, 2 * y, np.ones_like(x)]) / np.array([scale, scale, 1.0])
    if np.linalg.svd(design, compute_uv=False)[-1] < 1e-3:
        raise NotPossible("The GPS legs are identical or lie on one line, so that wind and airspeed cannot be told "
                          "apart; fly three clearly different headings.")
    east, north, rest = np.linalg.lstsq(design, x**2 + y**2, rcond=None)[0] / np.array([scale, scale, 1.0])
    tas = float(np.sqrt(max(rest + east**2 + north**2, 0.0)))
    for _ in range(50):
        dx, dy = x - east, y - north
        reach = np.hypot(dx, dy)
        jacobian = np.column_stack([-dx / reach, -dy / reach, -np.ones_like(reach)])
        step = np.linalg.lstsq(jacobian, -(reach - tas), rcond=None)[0]
        east, north, tas = east + step[0], north + step[1], tas + step[2]
        if np.abs(step).max() < 1e-12 * scale:
            break
    return float(tas), float(direction_deg(np.degrees(np.arctan2(-east, -north)))), float(np.hypot(east, north))


def magnetic_deg(true_deg: Number, variation_deg: Number) -> FloatArray:
    """Magnetic from true: true - variation (east positive). Checks: NV-12, NV-14."""
    return direction_deg(np.asarray(true_deg, dtype=float) - variation_deg)


def compass_from_magnetic(magnetic: Number, deviation_deg: Number) -> FloatArray:
    """Compass from magnetic: magnetic - deviation (east positive). Checks: NV-12, NV-14."""
    return direction_deg(np.asarray(magnetic, dtype=float) - deviation_deg)


def compass_by_card(magnetic: Number, card_magnetic: tuple[float, ...], card_compass: tuple[float, ...]) -> FloatArray:
    """Compass heading to steer for a magnetic heading, by the deviation card, joined linearly round the circle."""
    steer = np.asarray(card_compass, dtype=float) - np.asarray(card_magnetic, dtype=float)
    steer = (steer + 180.0) % 360.0 - 180.0
    order = np.argsort(card_magnetic)
    at = np.asarray(card_magnetic, dtype=float)[order]
    return direction_deg(magnetic + np.interp(np.mod(magnetic, 360.0), at, steer[order], period=360.0))


def no_return(endurance: float, out: float, home: float) -> tuple[float, float]:
    """Point of no return: time E H/(O + H) and distance out. Any consistent units. Check: ET-03."""
    time = endurance * home / (out + home)
    return time, time * out


def equal_time(distance: float, out: float, home: float) -> tuple[float, float]:
    """Equal-time point: distance D H/(O + H) from departure and the time to it. Check: ET-01."""
    way = distance * home / (out + home)
    return way / out, way
