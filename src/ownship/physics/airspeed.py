"""Airspeeds: calibrated and true, exact compressible forms, and indicated through a position-error table."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ownship.physics.atmosphere import SEA_LEVEL_K, SEA_LEVEL_PA, Air, speed_of_sound_m_s

FloatArray = NDArray[np.float64]
Number = Any
SEA_LEVEL_SOUND_M_S = float(speed_of_sound_m_s(SEA_LEVEL_K))


def _impact(mach: FloatArray) -> FloatArray:
    """qc/p = (1 + M^2/5)^3.5 - 1, subsonic."""
    return np.asarray((1 + 0.2 * mach**2) ** 3.5 - 1)


def _mach(impact: FloatArray) -> FloatArray:
    return np.sqrt(5 * ((impact + 1) ** (1 / 3.5) - 1))


def tas_from_cas_m_s(cas_m_s: Number, air: Air) -> FloatArray:
    """True airspeed from calibrated airspeed, m/s, any shape, subsonic.

    qc = p0 [(1 + 0.2 (CAS/a0)^2)^3.5 - 1]; M from qc/p; TAS = M a. Source: definition of CAS
    (ISO 2533 sea-level values). Checks: AS-01, AS-02.
    """
    cas = np.asarray(cas_m_s, dtype=float)
    impact = _impact(cas / SEA_LEVEL_SOUND_M_S) * SEA_LEVEL_PA / air.pressure_pa
    return _mach(impact) * air.speed_of_sound_m_s


def cas_from_tas_m_s(tas_m_s: Number, air: Air) -> FloatArray:
    """Calibrated airspeed from true airspeed, m/s: the inverse of `tas_from_cas_m_s`. Check: AS-02."""
    tas = np.asarray(tas_m_s, dtype=float)
    impact = _impact(tas / air.speed_of_sound_m_s) * air.pressure_pa / SEA_LEVEL_PA
    return _mach(impact) * SEA_LEVEL_SOUND_M_S


def cas_from_ias_m_s(ias_m_s: Number, table: tuple[tuple[float, ...], tuple[float, ...]] | None) -> FloatArray:
    """Calibrated from indicated airspeed by a table (ias, cas), m/s; no table: no position error.

    Beyond the ends of the table the correction of its end is kept (not the slope: tables flatten near the stall).
    """
    ias = np.asarray(ias_m_s, dtype=float)
    if table is None:
        return ias
    correction = np.asarray(table[1]) - np.asarray(table[0])
    return ias + np.interp(ias, table[0], correction)


def ias_from_cas_m_s(cas_m_s: Number, table: tuple[tuple[float, ...], tuple[float, ...]] | None) -> FloatArray:
    """Indicated from calibrated airspeed: the inverse of `cas_from_ias_m_s` for a rising table."""
    cas = np.asarray(cas_m_s, dtype=float)
    if table is None:
        return cas
    correction = np.asarray(table[1]) - np.asarray(table[0])
    return cas - np.interp(cas, table[1], correction)
