"""Ice in the carburettor, frost, and altimeters in the cold: where the air itself warns."""

from __future__ import annotations

from typing import Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from ownship.physics.atmosphere import LAPSE_K_M
from ownship.units import to_si

Number = TypeVar("Number", float, NDArray[np.float64])
Risk = Literal["none", "light", "moderate", "serious"]
ORDER: tuple[Risk, ...] = ("none", "light", "moderate", "serious")
FROST_K, FROST_SPREAD_K = float(to_si(3.0, "C", "temperature")), 3.0


def carburettor_icing(temperature_c: float, dew_point_c: float, *, low_power: bool) -> Risk:
    """Risk of carburettor ice from temperature and dew point (C), at cruise or at low (descent) power.

    Own regions drawn around the statements of the leaflets (no text gives the vertices of the published chart):
    most favourable -7 to 21 C with high humidity, possible to 38 C at 50 % humidity; the venturi cools by up to
    20 to 30 K, more with the throttle nearly closed. By temperature t and spread d = t - dew point:
    serious at low power -10 <= t <= 30, d <= 11; at cruise power -5 <= t <= 20, d <= 5; moderate at cruise power
    -10 <= t <= 30, d <= 8; light to 38 C with d <= 14. Source: FAA, UK and Canadian leaflets, from memory. Checks:
    CI-01, CI-03, CI-04.
    """
    spread = temperature_c - dew_point_c
    if (-5 <= temperature_c <= 20 and spread <= 5) or (low_power and -10 <= temperature_c <= 30 and spread <= 11):
        return "serious"
    if -10 <= temperature_c <= 30 and spread <= (14 if low_power else 8):
        return "moderate"
    if -15 <= temperature_c <= 38 and spread <= (18 if low_power else 14):
        return "light"
    return "none"


def frost_likely(temperature_k: float, dew_point_k: float | None) -> bool:
    """Whether frost is to be expected on an aeroplane that stands outside.

    temperature_k <= 276.15 K (3 C: a wing under a clear sky is a few degrees colder than the air) and dew point
    (K) within 3 K of it, or not reported. Source: common practice, no source.
    """
    return temperature_k <= FROST_K and (dew_point_k is None or temperature_k - dew_point_k <= FROST_SPREAD_K)


def cold_altimeter_error_m(height_m: float, station_elevation_m: float, station_temperature_k: Number) -> Number:
    """How much lower than shown the aeroplane is in cold air (negative in warm air), m; of the shape of the temperature.

    error = H (15 - t0)/(273 + t0 - 0.5 L (H + elevation)), H above the station, t0 its temperature brought to sea
    level, L the standard lapse. Source: ICAO Doc 8168 form. Check: 5,000 ft, -20 C, station at sea level: 705 ft.
    """
    sea_level_c = station_temperature_k - 273.15 + LAPSE_K_M * station_elevation_m
    return height_m * (15.0 - sea_level_c) / (
        273.0 + sea_level_c - 0.5 * LAPSE_K_M * (height_m + station_elevation_m))
