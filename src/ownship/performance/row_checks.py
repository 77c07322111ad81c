"""What a row cannot be for the aeroplane that is known: slower than its stall, or an own point no one can have flown."""

from __future__ import annotations

from dataclasses import replace
from typing import NoReturn

import numpy as np
from numpy.typing import NDArray

from ownship.errors import BadInput
from ownship.performance.model import HARD_RANGE_K, HARD_RANGE_M, Airframe
from ownship.performance.rows import Rows, read_rows
from ownship.performance.technique import of_the_procedure
from ownship.physics.airspeed import cas_from_ias_m_s
from ownship.units import from_si

FloatArray = NDArray[np.float64]
HEAVIEST_OWN_1 = 1.1  # of the maximum take-off weight: heavier than this is a typing error, not a flight
# the speeds a kind of row is flown at, by column and field
FLOWN = {"takeoff_roll_ft": (("lift_off_kias", "lift_off_ias_m_s"),),
         "takeoff_50ft_ft": (("lift_off_kias", "lift_off_ias_m_s"), ("at_50ft_kias", "at_50ft_ias_m_s")),
         "landing_roll_ft": (("approach_kias", "approach_ias_m_s"),), "landing_50ft_ft": (("approach_kias", "approach_ias_m_s"),),
         "rate_of_climb_fpm": (("climb_kias", "climb_ias_m_s"),), "glide_sink_fpm": (("climb_kias", "climb_ias_m_s"),)}
CLEAN = ("rate_of_climb_fpm", "glide_sink_fpm")


def checked(rows: Rows, name: str, airframe: Airframe) -> Rows:
    """The rows that a calibration may learn from; BadInput by line where a speed is below the stall or an own point is beyond
    belief. Rows of another flap than the procedure's are left out and named. name: of the file."""
    check_speeds(rows, name, airframe)
    check_own(rows, name, airframe)
    return of_the_procedure(rows, name, airframe)


def own_rows(text: str, name: str, airframe: Airframe) -> Rows:
    """The owner's rows of a CSV, every one of origin "own"; BadInput where there is none, or one is beyond belief."""
    rows = read_rows(text, name)
    if not len(rows):
        raise BadInput(f"{name} holds no measurement that the model can learn from: it has a header and no row; add rows.")
    return checked(replace(rows, texts=rows.texts | {"origin": np.full(len(rows), "own")}), name, airframe)


def stall_cas_m_s(rows: Rows, airframe: Airframe) -> FloatArray:
    """The stall of every row, CAS (row,): Vs sqrt(W/W_take_off_max).

    Vs1 with flap up, and in climb and glide without a flap named; else Vs0, the least that any flap allows.
    """
    flap = rows.texts["flap"]
    clean = (flap == "up") | ((flap == "") & np.isin(rows.kind, CLEAN))
    return np.where(clean, airframe.vs1_m_s, airframe.vs0_m_s) * np.sqrt(rows.weight_kg / airframe.take_off_max_kg)


def check_speeds(rows: Rows, name: str, airframe: Airframe) -> None:
    """BadInput by line where a speed of a row is below the stall at its weight."""
    stall = stall_cas_m_s(rows, airframe)
    for kind, columns in FLOWN.items():
        for column, field in columns:
            ias = getattr(rows, field)
            cas = cas_from_ias_m_s(ias, airframe.position_error)
            for i in _lines((rows.kind == kind) & (cas < stall)):
                _refuse(rows, name, i, column, f"{_kt(ias[i])} indicated is {_kt(cas[i])} calibrated, below the stall at this "
                        f"weight, {_kt(stall[i])}; correct the speed or the weight.")


def check_own(rows: Rows, name: str, airframe: Airframe) -> None:
    """BadInput by line for own rows outside the hard range of the model or far above the maximum weight."""
    own = rows.texts["origin"] == "own"
    heaviest = HEAVIEST_OWN_1 * airframe.take_off_max_kg
    at = own & (rows.kind != "service_ceiling_ft")  # whose altitude is the answer
    _check_between(rows, name, at, "pressure_altitude_ft", rows.pressure_altitude_m, HARD_RANGE_M, "ft", "length")
    _check_between(rows, name, at, "oat_c", rows.temperature_k, HARD_RANGE_K, "C", "temperature")
    for i in _lines(own & (rows.weight_kg > heaviest)):
        _refuse(rows, name, i, "weight_lb", f"{from_si(rows.weight_kg[i], 'lb'):,.0f} lb is more than 10 % above the maximum "
                f"take-off weight of {from_si(airframe.take_off_max_kg, 'lb'):,.0f} lb; correct it, or the record.")


def _check_between(rows: Rows, name: str, own: NDArray[np.bool_], column: str, values: FloatArray, limits: tuple[float, float],
                   unit: str, dimension: str) -> None:
    low, high = limits
    for i in _lines(own & ((values < low - 1e-6) | (values > high + 1e-6))):
        given, least, most = (f"{from_si(x, unit, dimension):,.0f}" for x in (values[i], low, high))
        _refuse(rows, name, i, column, f"{given} {unit} is not believable for a measurement of your own; allowed is {least} to "
                f"{most} {unit}; correct it (unit?).")


def _lines(chosen: NDArray[np.bool_]) -> list[int]:
    return [int(i) for i in np.nonzero(chosen)[0]]


def _kt(value: float) -> str:
    return f"{from_si(value, 'kt'):.0f} kt"


def _refuse(rows: Rows, name: str, i: int, column: str, words: str) -> NoReturn:
    line = rows.line[i] if rows.line else i + 1
    raise BadInput(f"{name} line {line}, {column}: {words}")
