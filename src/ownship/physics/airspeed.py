"""Airspeeds: calibrated and true, exact compressible forms, and indicated through a position-error table."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ownship.errors import OutOfRange
from ownship.physics.atmosphere import SEA_LEVEL_K, SEA_LEVEL_PA, Air, speed_of_sound_m_s
from ownship.units import from_si

FloatArray = NDArray[np.float64]
Number = Any
SEA_LEVEL_SOUND_M_S = float(speed_of_sound_m_s(SEA_LEVEL_K))


def _impact(mach: FloatArray) -> FloatArray:
    """qc/p = (1 + M^2/5)^3.5 - 1, subsonic."""
    return np.asarray((1 + 0.2 * mach**2) ** 3.5 - 1)


def _mach(impact: FloatArray) -> FloatArray:
    return np.sqrt(5 * ((impact + 1) ** (1 / 3.5) - 1))


def _check_subsonic(what: str, speed_m_s: FloatArray, mach: FloatArray, sound_m_s: Number) -> None:
    """OutOfRange where a speed is negative or supersonic; NaN passes."""
    if np.any(speed_m_s < 0) or np.any(mach > 1):
        worst = np.nanmin(speed_m_s) if np.any(speed_m_s < 0) else np.nanmax(speed_m_s)
        raise OutOfRange(what, f"{from_si(worst, 'kt'):,.0f} kt", "0 kt",
                         f"{from_si(np.min(sound_m_s), 'kt'):,.0f} kt (the speed of sound)")


def tas_from_cas_m_s(cas_m_s: Number, air: Air) -> FloatArray:
    """True airspeed from calibrated airspeed, m/s, any shape, subsonic (OutOfRange beyond and below 0).

    qc = p0 [(1 + 0.2 (CAS/a0)^2)^3.5 - 1]; M from qc/p; TAS = M a. Source: definition of CAS
    (ISO 2533 sea-level values). Checks: AS-01, AS-02.
    """
    cas = np.asarray(cas_m_s, dtype=float)
    impact = _impact(cas / SEA_LEVEL_SOUND_M_S) * SEA_LEVEL_PA / air.pressure_pa
    mach = _mach(impact)
    _check_subsonic("Calibrated airspeed", cas, mach, SEA_LEVEL_SOUND_M_S)
    return mach * air.speed_of_sound_m_s


def cas_from_tas_m_s(tas_m_s: Number, air: Air) -> FloatArray:
    """Calibrated airspeed from true airspeed, m/s: the inverse of `tas_from_cas_m_s`, same range. Check: AS-02."""
    sound = air.speed_of_sound_m_s
    tas = np.asarray(tas_m_s, dtype=float)
    _check_subsonic("True airspeed", tas, tas / sound, sound)
    impact = _impact(tas / sound) * air.pressure_pa / SEA_LEVEL_PA
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
