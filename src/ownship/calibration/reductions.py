"""The owner's own measurements reduced: rows for the calibration, findings in plain words, position error."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ownship.calibration.fuel_found import MeanFlow
from ownship.calibration.measured import (
    FuelFlow,
    LevelRun,
    Measurements,
    PositionErrorTable,
    RunwayRun,
    StaticRun,
    TimedChange,
    fpm_text,
    ft_text,
    geometric_m_s,
    glide_figures,
    kt_text,
    rpm_text,
)
from ownship.performance.rows import NUMBERS, TEXTS, VALUE_UNITS, Rows
from ownship.physics.airspeed import cas_from_ias_m_s, cas_from_tas_m_s
from ownship.physics.atmosphere import Air, isa_temperature_k
from ownship.physics.wind import tas_from_gps
from ownship.units import from_si, to_si

# Assumed errors (one sd): a leg's mean groundspeed in air that is not quite still, an IAS and a tachometer reading.
LEG_SD_M_S, IAS_SD_M_S = float(to_si(1, "kt")), float(to_si(1, "kt"))
RPM_READING_SD_REV_S = float(to_si(10, "rpm"))
WORST_TAS_SD_M_S = float(to_si(4, "kt"))  # a level run less sure than this is no row


@dataclass(frozen=True)
class Reduced:
    """What the measurements say.

    rows: for the calibration, origin "own". findings: sentences for the owner. position_error: (IAS, CAS found, sd
    of that CAS), m/s, one for every level run that noted IAS.
    """

    rows: Rows
    findings: tuple[str, ...]
    position_error: tuple[tuple[float, float, float], ...] = ()


def reduce(measurements: Measurements, position_error: PositionErrorTable | None, from_fills: MeanFlow | None = None) -> Reduced:
    """Rows (origin "own"), findings in words and position error from measurements.

    Level run: TAS and wind by least squares of |Vg - w| - TAS. Climb: geometric rate = pressure-altitude rate x T/T_isa
    at the middle, or as is where the heights are GPS ones.
    Rpm stay the panel's: its error is a parameter, which a row of tachometer_pct teaches.
    from_fills: the mean cruise flow that the fills teach (fuel_found), a row with its own sd.
    position_error: the record's table (ias, cas), m/s, used to compare. Derivation: docs/methods/measurements.md.
    """
    work = _Work(position_error, [], [], [])
    _reduce_tachometer(measurements, work)
    for run in measurements.level_runs:
        _reduce_level(run, work)
    for climb in measurements.timed_climbs:
        _reduce_climb(climb, work)
    for glide in measurements.glides:
        _reduce_glide(glide, work)
    for static in measurements.statics:
        _reduce_static(static, work)
    for what, every in (("takeoff", measurements.take_offs), ("landing", measurements.landings)):
        for one in every:
            _reduce_runway(what, one, work)
    for flow in measurements.fuel_flows:
        _reduce_flow(flow, work)
    if from_fills is not None:
        _reduce_fills(from_fills, work)
    return Reduced(_rows(work.rows), tuple(work.findings), tuple(work.position))


@dataclass
class _Work:
    table: PositionErrorTable | None
    rows: list[dict[str, Any]]
    findings: list[str]
    position: list[tuple[float, float, float]]

    def row(self, kind: str, line: int, value_si: float, **fields: Any) -> None:
        self.rows.append({"kind": kind, "line": line, "value": float(from_si(value_si, *VALUE_UNITS[kind]))} | fields)


def tachometer_ratio_1(pairs: tuple[tuple[float, float], ...]) -> tuple[float, float] | None:
    """Mean of optical over panel and its sd: scatter of the pairs and 10 rpm of reading each; None without pairs."""
    if not pairs:
        return None
    panel, optical = np.array(pairs).T
    ratio = optical / panel
    scatter = float(ratio.std(ddof=1)) if len(pairs) > 1 else 0.0
    sd = np.hypot(scatter, RPM_READING_SD_REV_S / panel.mean()) / np.sqrt(len(pairs))
    return float(ratio.mean()), float(sd)


def _reduce_tachometer(m: Measurements, work: _Work) -> None:
    """One row for all pairs, at no altitude of its own; without pairs the words that say what that leaves open."""
    panel = len(m.level_runs) + len(m.fuel_flows) + sum(not s.optical for s in m.statics)
    ratio = tachometer_ratio_1(m.tachometer)
    if ratio is not None:
        off, sd = 2400 * (ratio[0] - 1), 2400 * ratio[1]
        way = "less" if off > 0 else "more"
        work.findings.append(f"Tachometer: at 2,400 rpm the panel shows {abs(off):.0f} rpm {way} than the engine turns "
                             f"(standard deviation {sd:.0f} rpm, {len(m.tachometer)} checked); the calibration learns it.")
        work.row("tachometer_pct", 0, ratio[0], sd=100 * ratio[1],
                 pressure_altitude_m=0.0, temperature_k=float(isa_temperature_k(0.0)))
    elif panel:
        work.findings.append(f"The tachometer was not checked, and {panel} of the rpm readings are the panel's: its error is "
                             "left open; errors of 50 to 100 rpm are common; check it with an optical one.")


def level_run_found(run: LevelRun) -> tuple[float, float, float, float, float | None]:
    """TAS, its sd, wind from (deg), wind speed and rms residual of the legs (None with three: nothing is left over).

    sd = s sqrt of the TAS element of (J'J)^-1, s the larger of 1 kt and the legs' own scatter. m/s.
    """
    speed, track = np.array(run.groundspeed_m_s), np.array(run.track_deg)
    tas, wind_from, wind = tas_from_gps(speed, track)
    toward = np.radians(wind_from + 180.0)
    dx = speed * np.sin(np.radians(track)) - wind * np.sin(toward)
    dy = speed * np.cos(np.radians(track)) - wind * np.cos(toward)
    reach = np.hypot(dx, dy)
    jacobian = np.column_stack([-dx / reach, -dy / reach, -np.ones_like(reach)])
    spare = speed.size - 3
    scatter = float(np.sqrt(np.sum((reach - tas) ** 2) / spare)) if spare else None
    sd = max(LEG_SD_M_S, scatter or 0.0) * float(np.sqrt(np.linalg.inv(jacobian.T @ jacobian)[2, 2]))
    return tas, sd, wind_from, wind, scatter


def _reduce_level(run: LevelRun, work: _Work) -> None:
    tas, sd, wind_from, wind, scatter = level_run_found(run)
    left = "" if scatter is None else f", the legs agree within {kt_text(scatter)}"
    found = (f"Level run (line {run.line}): {kt_text(tas)} true airspeed (standard deviation {kt_text(sd)}) at "
             f"{rpm_text(run.rev_s)}, wind from {wind_from:.0f} degrees at {kt_text(wind)}{left}")
    if sd > WORST_TAS_SD_M_S:
        work.findings.append(f"{found}; that is too unsure, so it is not used: fly it again in smoother air on tracks "
                             "further apart.")
        return
    work.findings.append(f"{found}.")
    work.row("cruise_tas_kt", run.line, tas, pressure_altitude_m=run.pressure_altitude_m, weight_kg=run.weight_kg,
             temperature_k=run.temperature_k, rev_s=run.rev_s, mixture=run.mixture, sd=float(from_si(sd, "kt")))
    if run.ias_m_s is not None:
        cas = float(cas_from_tas_m_s(tas, Air(run.pressure_altitude_m, run.temperature_k)))
        work.position.append((run.ias_m_s, cas, float(np.hypot(sd * cas / tas, IAS_SD_M_S))))
        _say_position(run.ias_m_s, cas, work)


def _say_position(ias: float, cas: float, work: _Work) -> None:
    sd = work.position[-1][2]
    words = f"Airspeed indicator: {kt_text(ias)} indicated was {kt_text(cas)} calibrated (standard deviation {kt_text(sd)})"
    if work.table is not None:
        book = float(cas_from_ias_m_s(ias, work.table))
        verdict = "differs from" if abs(cas - book) > 2 * sd else "agrees with"
        words += f", which {verdict} the {kt_text(book)} of the record's table"
    work.findings.append(f"{words}.")


def _reduce_climb(climb: TimedChange, work: _Work) -> None:
    middle, rate = geometric_m_s(climb)
    work.row("rate_of_climb_fpm", climb.line, rate, pressure_altitude_m=middle, temperature_k=climb.temperature_k,
             weight_kg=climb.weight_kg, climb_ias_m_s=climb.ias_m_s)
    how = "corrected for the air's temperature" if climb.middle_m is None else "by GPS heights, which need no correction"
    work.findings.append(f"Timed climb (line {climb.line}): {fpm_text(rate)} at {ft_text(middle)} pressure altitude and "
                         f"{kt_text(climb.ias_m_s)} indicated, {how}.")


def _reduce_glide(glide: TimedChange, work: _Work) -> None:
    sink, ratio = glide_figures(glide, work.table)
    work.row("glide_sink_fpm", glide.line, sink, pressure_altitude_m=geometric_m_s(glide)[0], weight_kg=glide.weight_kg,
             temperature_k=glide.temperature_k, climb_ias_m_s=glide.ias_m_s, propeller=glide.propeller)
    work.findings.append(f"Glide (line {glide.line}), propeller {glide.propeller}, {kt_text(glide.ias_m_s)} indicated: sinks "
                         f"{fpm_text(sink)}, {ratio:.1f} to 1 in still air.")


def _reduce_static(static: StaticRun, work: _Work) -> None:
    how = "optical" if static.optical else "panel"
    work.row("static_rpm", static.line, static.rev_s, pressure_altitude_m=static.pressure_altitude_m,
             temperature_k=static.temperature_k, tachometer=how)
    work.findings.append(f"Static rpm (line {static.line}): {rpm_text(static.rev_s)} ({how}).")


def _reduce_flow(flow: FuelFlow, work: _Work) -> None:
    work.row("fuel_flow_usgph", flow.line, flow.flow_m3_s, pressure_altitude_m=flow.pressure_altitude_m, rev_s=flow.rev_s,
             temperature_k=flow.temperature_k, weight_kg=flow.weight_kg, mixture=flow.mixture)
    work.findings.append(f"Fuel flow (line {flow.line}): {from_si(flow.flow_m3_s, 'usgal/h'):.1f} usgal/h at "
                         f"{rpm_text(flow.rev_s)}, mixture {flow.mixture}.")


def _reduce_fills(mean: MeanFlow, work: _Work) -> None:
    c = mean.cruise
    work.row("fuel_flow_usgph", mean.line, mean.flow_m3_s, pressure_altitude_m=c.pressure_altitude_m, rev_s=c.rev_s,
             temperature_k=c.temperature_k, weight_kg=c.weight_kg, mixture=c.mixture, sd=float(from_si(mean.sd_m3_s, "usgal/h")))


def _reduce_runway(what: str, run: RunwayRun, work: _Work) -> None:
    for kind, value in ((f"{what}_roll_ft", run.roll_m), (f"{what}_50ft_ft", run.over_50ft_m)):
        if value is not None:
            work.row(kind, run.line, value, pressure_altitude_m=run.pressure_altitude_m, temperature_k=run.temperature_k,
                     weight_kg=run.weight_kg, headwind_m_s=run.headwind_m_s, surface=run.surface, flap=run.flap,
                     lift_off_ias_m_s=run.lift_off_ias_m_s, at_50ft_ias_m_s=run.at_50ft_ias_m_s,
                     approach_ias_m_s=run.approach_ias_m_s, slope_1=run.slope_1)


_SI = ("pressure_altitude_m", "temperature_k", "weight_kg", "rev_s", "headwind_m_s", "lift_off_ias_m_s",
       "at_50ft_ias_m_s", "climb_ias_m_s", "approach_ias_m_s", "slope_1", "sd", "value")
_FIELDS = dict(zip(NUMBERS, _SI, strict=True))


def _rows(found: list[dict[str, Any]]) -> Rows:
    """Rows with cells as a CSV would hold them, so that whatever is made of them can be hashed and shown."""
    arrays = {f: np.array([np.nan if r.get(f) is None else r[f] for r in found], dtype=float) for f in _SI}
    texts = {c: np.array(["own" if c == "origin" else r.get(c, "") for r in found], dtype=str) for c in TEXTS}
    printed = {c: [_cell(c, v) for v in arrays[f].tolist()] for c, f in _FIELDS.items()}
    printed |= {c: texts[c].tolist() for c in TEXTS}
    columns = (*TEXTS, *NUMBERS)
    return Rows(kind=texts.pop("kind"), **arrays, texts=texts, columns=columns,
                cells=tuple(zip(*(printed[c] for c in columns), strict=True)), line=tuple(r["line"] for r in found))


def _cell(column: str, value: float) -> str:
    unit, dimension, _, _ = NUMBERS[column]
    if np.isnan(value):
        return ""
    return f"{from_si(value, unit, dimension) if unit else value:.10g}"
