"""WGS84 geodesics by pyproj: legs, points along them, distance to a line. Degrees and metres."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pyproj import Geod

from ownship.physics.wind import direction_deg

FloatArray = NDArray[np.float64]
Number = Any


@cache
def _ellipsoid() -> Any:
    return Geod(ellps="WGS84")


def inverse(lat1_deg: float, lon1_deg: float, lat2_deg: float, lon2_deg: float) -> tuple[float, float, float]:
    """Distance (m), initial and final true course (0 <= deg < 360) of the geodesic. Checks: GE-01, GE-03."""
    forward, back, distance = _ellipsoid().inv(lon1_deg, lat1_deg, lon2_deg, lat2_deg, return_back_azimuth=True)
    return float(distance), _direction(forward), _direction(back + 180.0)


def inverse_all(lat1_deg: Number, lon1_deg: Number, lat2_deg: Number,
                lon2_deg: Number) -> tuple[FloatArray, FloatArray, FloatArray]:
    """`inverse` of many pairs at once, any shapes that broadcast: to the last digit what it says of each."""
    ends = (np.array(x, dtype=float) for x in np.broadcast_arrays(lon1_deg, lat1_deg, lon2_deg, lat2_deg))
    forward, back, distance = _ellipsoid().inv(*ends, return_back_azimuth=True)
    return np.asarray(distance), direction_deg(forward), direction_deg(np.asarray(back) + 180.0)


def _direction(degrees: float) -> float:
    """`direction_deg` of one number."""
    turned = float(degrees) % 360.0
    return 0.0 if turned >= 360.0 else turned


def direct(lat_deg: float, lon_deg: float, course_deg: float, distance_m: float) -> tuple[float, float, float]:
    """Latitude, longitude and course reached from a point along an initial true course. Check: GE-02."""
    lon, lat, back = _ellipsoid().fwd(lon_deg, lat_deg, course_deg, distance_m, return_back_azimuth=True)
    return float(lat), float(lon), _direction(back + 180.0)


def along(lat1_deg: float, lon1_deg: float, lat2_deg: float, lon2_deg: float, distance_m: float) -> tuple[float, float]:
    """The point at a distance from the first end of a leg."""
    _, course, _ = inverse(lat1_deg, lon1_deg, lat2_deg, lon2_deg)
    lat, lon, _ = direct(lat1_deg, lon1_deg, course, distance_m)
    return lat, lon
