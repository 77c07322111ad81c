"""A fuel log with an aeroplane: levels of its tanks, flows its model plans, what the fills teach, the row they are worth.

Derivation and choices: docs/methods/fuel-log.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ownship.aeroplane.description import Tank
from ownship.aeroplane.weighing import usual_errors
from ownship.calibration.fuel_log import FILL_SD_M3, Fill, FuelLog, PlannedFlow, TankLevel, learn
from ownship.calibration.logged import CruiseSaid, FillSaid, TankSaid
from ownship.errors import BadInput
from ownship.performance import climb, cruise
from ownship.performance.model import Model
from ownship.physics.airspeed import cas_from_tas_m_s
from ownship.physics.atmosphere import Air, isa_temperature_k
from ownship.units import from_si, to_si

FloatArray = NDArray[np.float64]
# All common practice, no source: flows are planned for these where the log does not say how it was flown.
USUAL_POWER_1, USUAL_ALTITUDE_M, DESCENT_M_S = 0.65, float(to_si(6000, "ft")), float(to_si(500, "ft/min"))
UNSAID_1 = 0.10  # one sd of a flow whose power the log does not say
METER_1 = 0.03  # one sd of a meter's count, of what was used since full
LEAST_ABLE_1 = 0.5  # of the draws must be able to fly what the log says was flown
WIDEST_RPM_REV_S = float(to_si(300, "rpm"))  # cruises further apart have no mean that a row could stand for
LEAST_TAUGHT_1, WORST_SD_1 = 0.05, 0.2  # a row: the fills narrowed the variance by this share at least; its sd at most


@dataclass(frozen=True)
class MeanFlow:
    """The mean cruise flow as the fills alone have it, with one sd, at the mean of the cruises (m3/s, SI)."""

    line: int
    flow_m3_s: float
    sd_m3_s: float
    cruise: CruiseSaid


@dataclass(frozen=True)
class FuelFound:
    """What a log teaches: the log, the row it is worth (None: words only) and why or why not, in words."""

    log: FuelLog
    row: MeanFlow | None
    row_words: str


def fuel_found(said: Sequence[FillSaid], tanks: Sequence[Tank], model: Model, taxi: PlannedFlow) -> FuelFound | None:
    """What fills teach of an aeroplane; None with fewer than two, which say nothing.

    model: this one aeroplane before its own measurements, so that nothing is learned twice; taxi: the planned flow.
    """
    if len(said) < 2:
        return None
    used = mean_cruise(said[1:])
    planned = planned_flows(model, used, taxi)
    start = tuple(_level(t, tanks) for t in said[0].tanks)
    known = {t.tank for t in said[0].tanks}
    for fill in said[1:]:
        for tank in fill.tanks:
            if tank.tank not in known:
                raise BadInput(f"{tank.where}: the first fill has no level of the {tank.tank} tank; add it there.")
    log = learn(planned, start, [Fill(f.name, f.flights, tuple(_level(t, tanks) for t in f.tanks), f.settled) for f in said[1:]])
    return FuelFound(log, *_row(said, log, planned["cruise"], used))


def _level(said: TankSaid, tanks: Sequence[Tank]) -> TankLevel:
    """The level in total fuel with its error, of the record's tank."""
    tank = next((t for t in tanks if t.id == said.tank), None)
    if tank is None:
        raise BadInput(f"{said.where}: the aeroplane has no tank {said.tank!r}; its tanks are: "
                       f"{', '.join(t.id for t in tanks) or 'none on its record'}.")
    level = _total_m3(said, tank)
    if level > tank.capacity_m3 * (1 + 1e-9):
        raise BadInput(f"{said.where}: {_gal(level)} total is more than the {_gal(tank.capacity_m3)} that the tank holds; "
                       "correct it.")
    errors = usual_errors()
    sd = {"full": FILL_SD_M3, "mark": errors.fuel_mark_m3, "dipstick": errors.fuel_dipstick_m3,
          "meter": max(FILL_SD_M3, METER_1 * (tank.capacity_m3 - level)), "gauge": errors.fuel_gauge_1 * tank.capacity_m3}
    if said.added_m3 > level + 3 * sd[said.known_by]:
        raise BadInput(f"{said.where}: {_gal(said.added_m3)} added are more than the {_gal(level)} total then in the tank; "
                       "correct one.")
    return TankLevel(tank.id, level, said.added_m3, sd[said.known_by])


def _total_m3(said: TankSaid, tank: Tank) -> float:
    if said.name == "full":
        return tank.capacity_m3
    if said.name:
        mark = next((m for m in tank.marks if m.name == said.name), None)
        if mark is None:
            raise BadInput(f"{said.where}: the {tank.id} tank has no mark {said.name!r}; give \"full\", an amount with its unit, "
                           f"or one of: {', '.join(m.name for m in tank.marks) or 'none on its record'}.")
        return mark.usable_m3 + tank.unusable_m3
    if said.dipped_m is not None:
        return _dipped(said, tank)
    assert said.amount_m3 is not None
    return said.amount_m3 + (0.0 if said.total else tank.unusable_m3)


def _dipped(said: TankSaid, tank: Tank) -> float:
    """Amount of a dipstick's reading, by the tank's own table."""
    reading = said.dipped_m or 0.0
    readings, amounts = (np.array(x) for x in zip(*tank.dipstick, strict=True)) if tank.dipstick else (np.array([]),) * 2
    if not readings.size or not readings[0] - 1e-9 <= reading <= readings[-1] + 1e-9:
        raise BadInput(f"{said.where}: the record's dipstick table of the {tank.id} tank does not hold that reading; "
                       "give the amount.")
    return float(np.interp(reading, readings, amounts))


def _gal(volume_m3: float) -> str:
    return f"{from_si(volume_m3, 'usgal'):.1f} usgal"


def mean_cruise(said: Sequence[FillSaid]) -> CruiseSaid | str:
    """The mean of the cruises weighted by their time, or why there is none (a sentence)."""
    times = np.array([sum(f.cruise_s for f in fill.flights) for fill in said])
    cruised = [(fill.cruise, t) for fill, t in zip(said, times, strict=True) if t > 0]
    known = [(c, t) for c, t in cruised if c is not None]
    if not known or len(known) < len(cruised):
        return "not every fill says how it was cruised (cruise: rpm, pressure altitude, oat, weight)"
    rpm, mixtures = [c.rev_s for c, _ in known], {c.mixture for c, _ in known}
    if len(mixtures) > 1:
        return "some cruises were lean and some rich"
    if max(rpm) - min(rpm) > WIDEST_RPM_REV_S:
        return "the cruises are more than 300 rpm apart"
    weights = np.array([t for _, t in known])

    def mean(field: str) -> float:
        return float(np.average([getattr(c, field) for c, _ in known], weights=weights))

    return CruiseSaid(mean("rev_s"), mean("pressure_altitude_m"), mean("temperature_k"), mean("weight_kg"), mixtures.pop())


def planned_flows(model: Model, used: CruiseSaid | str, taxi: PlannedFlow) -> dict[str, PlannedFlow]:
    """Mean flow by phase with one sd, over a model's draws, m3/s.

    Climb full rich from 1,000 ft to the cruise, standard air; cruise as flown, else lean at 65 % at 6,000 ft; descent at
    500 ft/min at the cruise's CAS; approach level at the holding speed, rich, at 1,500 ft. Where the log does not say the
    power (approach, descent; cruise where not said) 10 % is added to the sd, as squares.
    """
    a = model.airframe
    if isinstance(used, str):
        weight, altitude, mixture = a.take_off_max_kg, USUAL_ALTITUDE_M, "lean"
        air = Air(altitude, float(isa_temperature_k(altitude)))
        level = cruise.at_power(model, air, weight, USUAL_POWER_1, mixture=mixture)
    else:
        weight, altitude, mixture = used.weight_kg, used.pressure_altitude_m, used.mixture
        air = Air(altitude, used.temperature_k)
        level = cruise.at_rpm(model, air, weight, used.rev_s, mixture=mixture)
    able = np.isfinite(level.fuel_kg_s) & level.attainable
    if able.mean() < LEAST_ABLE_1:
        raise BadInput("The fuel log: this aeroplane's model cannot fly the cruise that the fills say; check rpm, altitude and "
                       "weight.")
    low, top = float(to_si(1000, "ft")), max(altitude, float(to_si(2000, "ft")))
    up = climb.climb(model, low, top, (float(isa_temperature_k(low)), float(isa_temperature_k(top))), weight)
    cas = float(np.nanmedian(cas_from_tas_m_s(level.tas_m_s, air)))
    middle, circuit = (Air(h, float(isa_temperature_k(h))) for h in (altitude / 2, float(to_si(1500, "ft"))))
    down = cruise.descent(model, middle, weight, cas, DESCENT_M_S)
    circling = cruise.holding(model, circuit, weight, mixture="rich")
    flows = {"climb": (up.fuel_kg / up.time_s, 0.0), "cruise": (level.fuel_kg_s, UNSAID_1 if isinstance(used, str) else 0.0),
             "descent": (down.fuel_kg_s, UNSAID_1), "approach": (circling.fuel_kg_s, UNSAID_1)}
    return {"taxi": taxi} | {p: _planned(p, f / a.fuel_density_kg_m3, more) for p, (f, more) in flows.items()}


def _planned(phase: str, draws: FloatArray, unsaid_1: float) -> PlannedFlow:
    good = draws[np.isfinite(draws)]
    if good.size < LEAST_ABLE_1 * draws.size:
        raise BadInput(f"The fuel log: this aeroplane's model cannot fly the {phase} to the cruise that the fills say; check rpm, "
                       "altitude and weight.")
    mean = float(good.mean())
    return PlannedFlow(mean, float(np.hypot(good.std(), unsaid_1 * mean)))


def _row(said: Sequence[FillSaid], log: FuelLog, planned: PlannedFlow, used: CruiseSaid | str) -> tuple[MeanFlow | None, str]:
    """What the fills alone say of the cruise flow: the learned normal divided by the planned one.

    1/sd^2 = 1/s1^2 - 1/s0^2, mean = sd^2 (m1/s1^2 - m0/s0^2): exact, as all is normal; the prior is not counted twice.
    """
    no = "The fills are told in words and are no row of the calibration: "
    if isinstance(used, str):
        return None, f"{no}{used}."
    learned = next(f for f in log.flows if f.phase == "cruise")
    before, after = planned.sd_m3_s**-2, 1 / float(log.covariance_m6_s2[2, 2])
    if after - before < LEAST_TAUGHT_1 * before:
        return None, f"{no}they teach next to nothing of the cruise yet."
    sd = (after - before) ** -0.5
    mean = (learned.mean_m3_s * after - planned.mean_m3_s * before) * sd**2
    if not 0 < sd < WORST_SD_1 * mean:
        return None, f"{no}they leave the cruise flow too unsure yet."
    line = next(f.line for f in said if f.cruise is not None)
    return MeanFlow(line, mean, sd, used), (
        f"The fills are one row of the calibration: {from_si(mean, 'usgal/h'):.1f} US gal/h in the cruise (standard deviation "
        f"{from_si(sd, 'usgal/h'):.1f}) at {from_si(used.rev_s, 'rpm'):,.0f} rpm and "
        f"{from_si(used.pressure_altitude_m, 'ft'):,.0f} ft.")
