"""The standard atmosphere of 1976 to 20 km, and air as it is: pressure altitude, temperature, humidity."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ownship.errors import OutOfRange
from ownship.units import GRAVITY_M_S2, from_si

FloatArray = NDArray[np.float64]
Number = Any  # a float or an array of floats

SEA_LEVEL_K, SEA_LEVEL_PA, LAPSE_K_M = 288.15, 101325.0, 0.0065
GAS_J_KG_K, GAMMA = 287.05287, 1.4
TROPOPAUSE_M, TROPOPAUSE_K = 11000.0, 216.65
EXPONENT = GRAVITY_M_S2 / (GAS_J_KG_K * LAPSE_K_M)
LOWEST_M, HIGHEST_M = -1000.0, 20000.0
VAPOUR_DEFICIT = 0.378  # 1 - ratio of the molar masses of water and dry air
SEA_LEVEL_DENSITY_KG_M3 = SEA_LEVEL_PA / (GAS_J_KG_K * SEA_LEVEL_K)


def _checked(pressure_altitude_m: Number) -> FloatArray:
    h = np.asarray(pressure_altitude_m, dtype=float)
    if np.any(h < LOWEST_M - 1e-6) or np.any(h > HIGHEST_M + 1e-6):
        worst = float(h.max() if np.any(h > HIGHEST_M) else h.min())
        raise OutOfRange("Pressure altitude", f"{from_si(worst, 'ft'):,.0f} ft", f"{from_si(LOWEST_M, 'ft'):,.0f} ft",
                         f"{from_si(HIGHEST_M, 'ft'):,.0f} ft")
    return h


def isa_temperature_k(pressure_altitude_m: Number) -> FloatArray:
    """Temperature of the standard atmosphere.

    T = 288.15 - 0.0065 h up to 11 km, then 216.65 K. h: pressure altitude, m, any shape, -1,000 to 20,000 m
    (OutOfRange beyond). Source: ICAO Doc 7488 / US Standard Atmosphere 1976. Check: A2.1.
    """
    return np.maximum(SEA_LEVEL_K - LAPSE_K_M * _checked(pressure_altitude_m), TROPOPAUSE_K)


def isa_pressure_pa(pressure_altitude_m: Number) -> FloatArray:
    """Pressure at a pressure altitude: p = 101325 (T/288.15)^5.2559, above 11 km exponential.

    h m, any shape, -1,000 to 20,000 m (OutOfRange beyond). Source: US Standard Atmosphere 1976. Check: A2.1.
    """
    h = _checked(pressure_altitude_m)
    lower = SEA_LEVEL_PA * (1 - LAPSE_K_M * np.minimum(h, TROPOPAUSE_M) / SEA_LEVEL_K) ** EXPONENT
    scale = GAS_J_KG_K * TROPOPAUSE_K / GRAVITY_M_S2
    return lower * np.exp(-np.maximum(h - TROPOPAUSE_M, 0.0) / scale)


def vapour_pressure_pa(temperature_k: Number, relative_humidity_1: Number) -> FloatArray:
    """Vapour pressure RH x 610.94 exp(17.625 t/(t + 243.04)), t in Celsius. Source: Alduchov and Eskridge 1996."""
    t = np.asarray(temperature_k, dtype=float) - 273.15
    return np.asarray(relative_humidity_1 * 610.94 * np.exp(17.625 * t / (t + 243.04)))


def relative_humidity_1(temperature_k: Number, dew_point_k: Number) -> FloatArray:
    """Relative humidity from temperature and dew point (0 to 1): ratio of the saturation pressures.

    Both K, any shape. A dew point above the temperature (readings are rounded) is saturated air: 1.
    """
    return np.minimum(vapour_pressure_pa(dew_point_k, 1.0) / vapour_pressure_pa(temperature_k, 1.0), 1.0)


def speed_of_sound_m_s(temperature_k: Number) -> FloatArray:
    """a = sqrt(1.4 x 287.053 T). Source: US Standard Atmosphere 1976. Check: A2.1 (661.5 kt at 15 C)."""
    return np.sqrt(GAMMA * GAS_J_KG_K * np.asarray(temperature_k, dtype=float))


@dataclass(frozen=True)
class Air:
    """Air at a place: pressure altitude (m), temperature (K) and relative humidity (0 to 1); arrays or numbers."""

    pressure_altitude_m: Number
    temperature_k: Number
    relative_humidity_1: Number = 0.0

    @property
    def pressure_pa(self) -> FloatArray:
        """Static pressure."""
        return isa_pressure_pa(self.pressure_altitude_m)

    @property
    def vapour_pressure_pa(self) -> FloatArray:
        """Partial pressure of water vapour."""
        return vapour_pressure_pa(self.temperature_k, self.relative_humidity_1)

    @property
    def density_kg_m3(self) -> FloatArray:
        """Density of the humid air: (p - 0.378 p_v) / (287.053 T)."""
        temperature = np.asarray(self.temperature_k, dtype=float)
        return (self.pressure_pa - VAPOUR_DEFICIT * self.vapour_pressure_pa) / (GAS_J_KG_K * temperature)

    @property
    def standard_temperature_k(self) -> FloatArray:
        """ISA temperature at this pressure altitude."""
        return isa_temperature_k(self.pressure_altitude_m)

    @property
    def standard_density_ratio_1(self) -> FloatArray:
        """sigma_s: density ratio of the standard atmosphere at this pressure altitude."""
        return self.pressure_pa / SEA_LEVEL_PA * SEA_LEVEL_K / self.standard_temperature_k

    @property
    def density_ratio_1(self) -> FloatArray:
        """sigma: density over that of standard air at sea level."""
        return self.density_kg_m3 / SEA_LEVEL_DENSITY_KG_M3

    @property
    def speed_of_sound_m_s(self) -> FloatArray:
        """Speed of sound."""
        return speed_of_sound_m_s(self.temperature_k)


def standard_air(pressure_altitude_m: Number) -> Air:
    """Standard air at a pressure altitude (m): ISA temperature, dry."""
    return Air(pressure_altitude_m, isa_temperature_k(pressure_altitude_m))


def pressure_altitude_m(elevation_m: Number, altimeter_pa: Number) -> FloatArray:
    """Pressure altitude of an elevation (or of an altitude read on an altimeter) at an altimeter setting.

    PA = elevation + (288.15/0.0065) [1 - (setting/101325)^(1/5.2559)], exact in the standard lapse.
    Elevation m, setting Pa. Source: definition of the altimeter setting. Checks: AT-01, AT-04.
    """
    correction = SEA_LEVEL_K / LAPSE_K_M * (1 - (np.asarray(altimeter_pa, dtype=float) / SEA_LEVEL_PA) ** (1 / EXPONENT))
    return np.asarray(elevation_m + correction)


def density_altitude_m(air: Air) -> FloatArray:
    """Altitude at which standard air has this density: (288.15/0.0065) [1 - sigma^(1/4.2559)], logarithmic above 11 km.

    Exact ISA with the humidity of `air` (0 unless given); m, any shape. Checks: AT-02, AT-05, AT-06.
    """
    sigma = air.density_ratio_1
    lower = SEA_LEVEL_K / LAPSE_K_M * (1 - sigma ** (1 / (EXPONENT - 1)))
    tropopause = (TROPOPAUSE_K / SEA_LEVEL_K) ** (EXPONENT - 1)
    upper = TROPOPAUSE_M + GAS_J_KG_K * TROPOPAUSE_K / GRAVITY_M_S2 * np.log(tropopause / sigma)
    return np.asarray(np.where(sigma >= tropopause, lower, upper))
