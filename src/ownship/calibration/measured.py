"""The owner's own measurements as facts, and their file (docs/formats/measurements.md), read strictly."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import TypeVar

import numpy as np

from ownship.calibration.keys import DISTANCE, IAS, altitude, oat, place, read_date, rpm, speed, weight
from ownship.calibration.logged import EngineSaid, FillSaid, in_order, read_engine, read_fill
from ownship.errors import MissingSource, NotPossible
from ownship.performance.surfaces import surface_names
from ownship.physics.airspeed import cas_from_ias_m_s, tas_from_cas_m_s
from ownship.physics.atmosphere import Air, isa_temperature_k
from ownship.physics.wind import tas_from_gps
from ownship.schema import Table
from ownship.units import from_si, to_si
from ownship.words.figures import number_text

PositionErrorTable = tuple[tuple[float, ...], tuple[float, ...]]
T = TypeVar("T")

TAS_M_S = (float(to_si(30, "kt")), float(to_si(250, "kt")))
ROUNDING_M = 1e-6  # 3,000 to 3,300 ft are 300 ft, whatever the last digit says
STEEPEST_M_S, LEAST_HEIGHT_M = float(to_si(4000, "ft/min")), float(to_si(300, "ft"))
LONGEST_GLIDE_1 = 30.0
TACHOMETER_1 = (0.85, 1.15)


@dataclass(frozen=True)
class LevelRun:
    """Steady level flight on three or more tracks at one rpm and altitude."""

    line: int
    dated: date | None
    pressure_altitude_m: float
    temperature_k: float
    weight_kg: float
    rev_s: float
    ias_m_s: float | None
    mixture: str
    groundspeed_m_s: tuple[float, ...]
    track_deg: tuple[float, ...]


@dataclass(frozen=True)
class TimedChange:
    """A timed climb, or a glide (propeller "windmilling" or "stopped"), between two heights.

    Heights are pressure altitudes, or geometric ("gps"): then `middle_m` is the pressure altitude half-way.
    """

    line: int
    dated: date | None
    from_m: float
    to_m: float
    time_s: float
    ias_m_s: float
    temperature_k: float
    weight_kg: float
    propeller: str = ""
    middle_m: float | None = None


@dataclass(frozen=True)
class StaticRun:
    """Full throttle standing still; optical: read from outside, not from the panel."""

    line: int
    dated: date | None
    rev_s: float
    temperature_k: float
    pressure_altitude_m: float
    optical: bool


@dataclass(frozen=True)
class RunwayRun:
    """A measured take-off or landing: roll, distance over 50 ft, or both; slope up positive in its direction."""

    line: int
    dated: date | None
    roll_m: float | None
    over_50ft_m: float | None
    pressure_altitude_m: float
    temperature_k: float
    weight_kg: float
    headwind_m_s: float
    slope_1: float
    surface: str
    flap: str
    lift_off_ias_m_s: float | None = None
    at_50ft_ias_m_s: float | None = None
    approach_ias_m_s: float | None = None


@dataclass(frozen=True)
class FuelFlow:
    """A steady fuel flow in level flight at an rpm."""

    line: int
    dated: date | None
    flow_m3_s: float
    rev_s: float
    pressure_altitude_m: float
    temperature_k: float
    weight_kg: float
    mixture: str


@dataclass(frozen=True)
class Measurements:
    """Everything in one measurements file; tachometer: pairs (panel, optical) in rev/s."""

    source: str
    level_runs: tuple[LevelRun, ...] = ()
    timed_climbs: tuple[TimedChange, ...] = ()
    glides: tuple[TimedChange, ...] = ()
    statics: tuple[StaticRun, ...] = ()
    tachometer: tuple[tuple[float, float], ...] = ()
    take_offs: tuple[RunwayRun, ...] = ()
    landings: tuple[RunwayRun, ...] = ()
    fuel_flows: tuple[FuelFlow, ...] = ()
    fills: tuple[FillSaid, ...] = ()
    engine: tuple[EngineSaid, ...] = ()


def read_measurements(root: Table) -> Measurements:
    """Measurements from the root table of a measurements file (docs/formats/measurements.md), strictly.

    One sentence with file and line refuses: unknown keys, no [record] source, fewer than three legs or legs that
    fix no airspeed, and what is not believable.
    """
    root.integer("schema", 1, 1, 1)
    record = root.table("record")
    source = "" if record is None else record.text("source", "")
    if record is None or not source:
        raise MissingSource(f"{root.name}: no [record] source; say there who measured, with what.")
    read_date(record)
    record.done()

    def many(key: str, read: Callable[[Table], T]) -> tuple[T, ...]:
        found = []
        for table in root.tables(key):
            found.append(read(table))
            table.done()
        return tuple(found)

    measured = Measurements(
        source, many("level_run", _level_run), many("timed_climb", _timed_climb), many("glide", _glide),
        many("static", _static), many("tachometer", _tachometer), many("take_off", _take_off),
        many("landing", _landing), many("fuel_flow", _fuel_flow), many("fill", read_fill), many("engine", read_engine))
    in_order(root.name, measured.fills, measured.engine)
    root.done()
    return measured


def _level_run(t: Table) -> LevelRun:
    legs = t.tables("legs")
    if len(legs) < 3:
        raise t.bad("legs", f"{len(legs)} legs cannot fix wind and airspeed; give three or more clearly different tracks.")
    speeds, tracks = [], []
    for leg in legs:
        speeds.append(float(leg.quantity("groundspeed", "speed", low="10 kt", high="350 kt")))
        tracks.append(float(leg.quantity("track", "angle", low="0 deg", high="360 deg")))
        leg.done()
    try:
        tas, _, _ = tas_from_gps(np.array(speeds), np.array(tracks))
    except NotPossible as error:
        raise t.bad("legs", str(error)) from None
    if not TAS_M_S[0] <= tas <= TAS_M_S[1]:
        raise t.bad("legs", f"they make a true airspeed of {kt_text(tas)}, which is not believable; allowed is "
                            f"{kt_text(TAS_M_S[0])} to {kt_text(TAS_M_S[1])}; check the legs.")
    return LevelRun(*place(t), altitude(t), oat(t), weight(t), rpm(t), speed(t, "ias"),
                    t.choice("mixture", ("lean", "rich"), "lean"), tuple(speeds), tuple(tracks))


def _change(t: Table, sign: int, words: str, propeller: str = "") -> TimedChange:
    low, high = altitude(t, "from"), altitude(t, "to")
    time = float(t.quantity("time", "time", low="10 s", high="2 h"))
    if sign * (high - low) < LEAST_HEIGHT_M - ROUNDING_M:
        raise t.bad("to", f"{ft_text(low)} to {ft_text(high)} is no {words} of "
                          f"{ft_text(LEAST_HEIGHT_M)} or more; correct from and to.")
    if abs(high - low) / time > STEEPEST_M_S:
        raise t.bad("time", f"{ft_text(abs(high - low))} in {time:.0f} s is {fpm_text(abs(high - low) / time)}, which is not "
                            f"believable; allowed is up to {fpm_text(STEEPEST_M_S)}.")
    ias = float(t.quantity("ias", "speed", **IAS))
    gps = t.choice("heights", ("pressure", "gps"), "pressure") == "gps"
    return TimedChange(*place(t), low, high, time, ias, oat(t), weight(t), propeller, altitude(t) if gps else None)


def _timed_climb(t: Table) -> TimedChange:
    return _change(t, 1, "climb")


def _glide(t: Table) -> TimedChange:
    glide = _change(t, -1, "glide", t.choice("propeller", ("windmilling", "stopped")))
    if not 0 < glide_figures(glide, None)[1] < LONGEST_GLIDE_1:
        raise t.bad("time", "height, time and airspeed make no believable glide (up to 30 to 1); correct them.")
    return glide


def _static(t: Table) -> StaticRun:
    return StaticRun(*place(t), rpm(t), oat(t), altitude(t), t.flag("optical"))


def _tachometer(t: Table) -> tuple[float, float]:
    place(t)
    panel, optical = rpm(t, "panel"), rpm(t, "optical")
    if not TACHOMETER_1[0] <= optical / panel <= TACHOMETER_1[1]:
        raise t.bad("optical", f"{rpm_text(optical)} against {rpm_text(panel)} on the panel differ by more than 15 %, which "
                               "is not believable; check the number of blades set on the optical tachometer.")
    return panel, optical


def _runway_run(t: Table, lift_off: float | None = None, at_50ft: float | None = None,
                approach: float | None = None) -> RunwayRun:
    roll, over = t.quantity("roll", "length", None, **DISTANCE), t.quantity("over_50ft", "length", None, **DISTANCE)
    if roll is None and over is None:
        raise t.bad("roll", "neither roll nor over_50ft is given; give one or both.")
    if roll is not None and over is not None and over <= roll:
        raise t.bad("over_50ft", f"{ft_text(over)} is not more than the roll of {ft_text(roll)}; over_50ft includes the roll.")
    return RunwayRun(*place(t), roll, over, altitude(t), oat(t), weight(t),
                     float(t.quantity("headwind", "speed", low="-20 kt", high="40 kt")),
                     float(t.quantity("slope", "gradient", 0.0, "-8 %", "8 %")), t.choice("surface", surface_names()[1:]),
                     t.choice("flap", ("up", "take_off", "landing"), ""), lift_off, at_50ft, approach)


def _take_off(t: Table) -> RunwayRun:
    lift_off, at_50ft = speed(t, "lift_off"), speed(t, "at_50ft")
    return _runway_run(t, lift_off, at_50ft)


def _landing(t: Table) -> RunwayRun:
    return _runway_run(t, approach=speed(t, "approach"))


def _fuel_flow(t: Table) -> FuelFlow:
    flow = float(t.quantity("flow", "volume flow", low="1 usgal/h", high="60 usgal/h"))
    return FuelFlow(*place(t), flow, rpm(t), altitude(t), oat(t), weight(t), t.choice("mixture", ("lean", "rich")))


def geometric_m_s(change: TimedChange) -> tuple[float, float]:
    """Middle pressure altitude and the geometric rate there, m/s, up positive.

    Pressure-altitude rate x T/T_isa; of GPS heights the rate as it is.
    """
    if change.middle_m is not None:
        return change.middle_m, (change.to_m - change.from_m) / change.time_s
    middle = (change.from_m + change.to_m) / 2
    return middle, (change.to_m - change.from_m) / change.time_s * change.temperature_k / float(isa_temperature_k(middle))


def glide_figures(glide: TimedChange, table: PositionErrorTable | None) -> tuple[float, float]:
    """Sink (m/s, positive) and glide ratio in still air: sqrt(TAS^2 - sink^2)/sink; ratio 0 where TAS < sink."""
    middle, rate = geometric_m_s(glide)
    tas = float(tas_from_cas_m_s(cas_from_ias_m_s(glide.ias_m_s, table), Air(middle, glide.temperature_k)))
    return -rate, float(np.sqrt(max(tas**2 - rate**2, 0.0)) / -rate)


def kt_text(value: float) -> str:
    """Knots with one digit."""
    return f"{number_text(float(from_si(value, 'kt')), 1)} kt"


def ft_text(value: float) -> str:
    """Whole feet."""
    return f"{number_text(float(from_si(value, 'ft')), 0)} ft"


def fpm_text(value: float) -> str:
    """Whole feet a minute."""
    return f"{number_text(float(from_si(value, 'ft/min')), 0)} ft/min"


def rpm_text(value: float) -> str:
    """Whole rpm."""
    return f"{number_text(float(from_si(value, 'rpm')), 0)} rpm"
