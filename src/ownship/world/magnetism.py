"""Magnetic variation by the World Magnetic Model 2025 (2025.0 to 2030.0), through pygeomag."""

from __future__ import annotations

from calendar import isleap
from dataclasses import dataclass
from datetime import date
from functools import cache, lru_cache
from typing import Any

from ownship.errors import BadInput

FIRST_YEAR, LAST_YEAR = 2025.0, 2030.0
SOURCE = "World Magnetic Model 2025, valid 2025.0 to 2030.0"


@dataclass(frozen=True)
class Field:
    """The Earth's field: declination (east positive) and inclination (down positive) in deg; nT."""

    declination_deg: float
    inclination_deg: float
    horizontal_nt: float
    total_nt: float


@cache
def _model() -> Any:
    from pygeomag.geomag import GeoMag

    return GeoMag(coefficients_file="wmm/WMM_2025.COF")


def decimal_year(day: date) -> float:
    """Year + (day of the year - 1)/days in the year."""
    return day.year + (day - date(day.year, 1, 1)).days / (366 if isleap(day.year) else 365)


def field_at(lat_deg: float, lon_deg: float, height_m: float, year: float) -> Field:
    """The field at a geodetic position, height above the ellipsoid and decimal year; refused outside 2025-2030.

    Source: NOAA/BGS WMM2025. Checks: MG-01 to MG-11.
    """
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise BadInput(f"The date {year:.2f} is outside the magnetic model, which is good for {FIRST_YEAR:.1f} to "
                       f"{LAST_YEAR:.1f}; use a date in it or a newer Ownship.")
    r = _model().calculate(glat=lat_deg, glon=(lon_deg + 180.0) % 360.0 - 180.0, alt=height_m / 1000.0, time=year)
    return Field(float(r.d), float(r.i), float(r.h), float(r.f))


@lru_cache(maxsize=1024)
def variation_deg(lat_deg: float, lon_deg: float, height_m: float, day: date) -> float:
    """Variation on a day, east positive; kept, because every runway end of an aerodrome asks for the same."""
    return field_at(lat_deg, lon_deg, height_m, decimal_year(day)).declination_deg
