"""What the steady pieces of a track say: TAS and wind from level runs on three or more headings, rates of climb.

They are proposals: rpm, OAT, weight and whether power was the same on all legs are asked of the pilot elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ownship.errors import NotPossible
from ownship.physics.wind import tas_from_gps
from ownship.units import from_si, to_si
from ownship.world.tracks import FORGET_S, Segment

_SAME_LEVEL_M = 60.0  # level segments within this share an altitude
_PAUSE_S = 600.0  # a longer pause between level segments ends a set: wind and weight have changed
_HEADING_DEG = 30.0  # tracks closer than this count as one heading
_REFUSED_M_S = 1.5  # rms misfit above which a set that cannot be cut is not proposed
_SHORTEST_CLIMB_S = 60.0  # a shorter climb is not proposed as a rate
_LEG_SD_M_S = float(to_si(1, "kt"))  # a leg's mean groundspeed in air that is not quite still, as for legs typed in
_MISFIT_M_S = 1.0  # rms misfit of a set above which its speed must have changed within


@dataclass(frozen=True)
class LevelRun:
    """Level segments on three or more headings at one altitude, and what they say about TAS and wind.

    `residual_m_s` is None for exactly three headings: they always fit, so nothing checks them.
    """

    segments: tuple[Segment, ...]
    altitude_m: float
    tas_m_s: float
    tas_sd_m_s: float
    wind_from_deg: float
    wind_speed_m_s: float
    residual_m_s: float | None


@dataclass(frozen=True)
class ClimbRate:
    """A steady climb: geometric rate with its standard error, mean altitude and gain."""

    segment: Segment
    rate_m_s: float
    rate_sd_m_s: float
    altitude_m: float
    gain_m: float


def level_runs(found: tuple[Segment, ...]) -> tuple[LevelRun, ...]:
    """Sets of level segments, consecutive in time, within 60 m of altitude, on three or more headings 30 degrees apart.

    A set whose legs do not fit one TAS and wind within 1 m/s rms is cut in time where the halves fit best (a change of
    power); what misfits by more than 1.5 m/s and cannot be cut is reduced to its longest fitting stretch or left out.
    Power must still be asked for: three legs alone always fit.
    """
    runs: list[LevelRun] = []
    for group in _level_groups([segment for segment in found if segment.kind == "steady level"]):
        runs += _fitted(group)
    return tuple(runs)


def _level_groups(level: list[Segment]) -> list[list[Segment]]:
    """Level segments grouped by altitude and without long pauses, each group in order of time."""
    groups: list[list[Segment]] = []
    for segment in level:
        for group in groups:
            height = np.average([s.altitude_m for s in group], weights=[s.duration_s for s in group])
            pause = segment.start_s - group[-1].start_s - group[-1].duration_s
            if abs(segment.altitude_m - height) <= _SAME_LEVEL_M and pause <= _PAUSE_S:
                group.append(segment)
                break
        else:
            groups.append([segment])
    return groups


def _headings(group: list[Segment]) -> int:
    """How many tracks of the group differ from each other by 30 degrees or more."""
    chosen: list[float] = []
    for segment in group:
        if all(abs((segment.track_deg - other + 180.0) % 360.0 - 180.0) >= _HEADING_DEG for other in chosen):
            chosen.append(segment.track_deg)
    return len(chosen)


def _run(group: list[Segment]) -> LevelRun | None:
    """The group as one set, None where it does not fix TAS and wind."""
    if _headings(group) < 3:
        return None
    try:
        return tas_from_runs(tuple(group))
    except NotPossible:
        return None


def _fitted(group: list[Segment]) -> list[LevelRun]:
    """The group as one set, or cut in time as long as it does not fit."""
    whole = _run(group)
    if whole is None:
        return []
    if (whole.residual_m_s or 0.0) <= _MISFIT_M_S:
        return [whole]
    halves = [(one, two, cut) for cut in range(3, len(group) - 2)
              if (one := _run(group[:cut])) is not None and (two := _run(group[cut:])) is not None]
    if halves:
        cut = min(halves, key=lambda half: _disagreement(half[0], half[1]))[2]
        return _fitted(group[:cut]) + _fitted(group[cut:])
    if (whole.residual_m_s or 0.0) <= _REFUSED_M_S:
        return [whole]
    return _longest(group)


def _longest(group: list[Segment]) -> list[LevelRun]:
    """The longest stretch of a group, checked by four or more legs, that does fit; nothing where none does."""
    for size in range(len(group) - 1, 3, -1):
        for start in range(len(group) - size + 1):
            run = _run(group[start:start + size])
            if run is not None and run.residual_m_s is not None and run.residual_m_s <= _MISFIT_M_S:
                return [run]
    return []


def _disagreement(one: LevelRun, two: LevelRun) -> float:
    """Misfit of two sets within themselves, plus the difference of their winds (m2/s2)."""
    east, north = (run_one - run_two for run_one, run_two in zip(_wind(one), _wind(two), strict=True))
    return (one.residual_m_s or 0.0) ** 2 + (two.residual_m_s or 0.0) ** 2 + east**2 + north**2


def _wind(run: LevelRun) -> tuple[float, float]:
    """Where the wind blows to, east and north."""
    angle = np.radians(run.wind_from_deg)
    return float(-run.wind_speed_m_s * np.sin(angle)), float(-run.wind_speed_m_s * np.cos(angle))


def tas_from_runs(legs: tuple[Segment, ...]) -> LevelRun:
    """TAS and wind of level segments flown at one power and altitude (physics.wind.tas_from_gps), with a standard error.

    Each leg's mean groundspeed is taken uncertain by sd sqrt(30 s / duration), at least 1 kt, or by the misfit of
    four or more legs if that is larger; carried through the fit linearly. NotPossible for fewer than three headings.
    """
    speed, track = np.array([s.groundspeed_m_s for s in legs]), np.array([s.track_deg for s in legs])
    tas, wind_from, wind = tas_from_gps(speed, track)
    east, north = -wind * np.sin(np.radians(wind_from)), -wind * np.cos(np.radians(wind_from))
    dx, dy = speed * np.sin(np.radians(track)) - east, speed * np.cos(np.radians(track)) - north
    reach = np.hypot(dx, dy)
    misfit = float(np.sqrt(np.sum((reach - tas) ** 2) / (len(legs) - 3))) if len(legs) > 3 else None
    gusts = [s.groundspeed_sd_m_s * np.sqrt(1.5 * FORGET_S / max(s.duration_s, 1.5 * FORGET_S)) for s in legs]
    spread = np.array([max(_LEG_SD_M_S, gust, misfit or 0.0) for gust in gusts])
    gain = np.linalg.pinv(np.column_stack([dx / reach, dy / reach, np.ones_like(reach)]))
    height = float(np.average([s.altitude_m for s in legs], weights=[s.duration_s for s in legs]))
    return LevelRun(legs, height, tas, float(np.sqrt(np.sum((gain[2] * spread) ** 2))), wind_from, wind, misfit)


def climb_rates(found: tuple[Segment, ...]) -> tuple[ClimbRate, ...]:
    """The steady climbs of 60 s or longer with the standard error of their rates: sd of the smoothed rate sqrt(40 s / duration)."""
    def reduced(s: Segment) -> ClimbRate:
        error = s.vertical_rate_sd_m_s * float(np.sqrt(min(1.0, 2 * FORGET_S / s.duration_s)))
        return ClimbRate(s, s.vertical_rate_m_s, max(0.05, error), s.altitude_m, s.vertical_rate_m_s * s.duration_s)

    return tuple(reduced(segment) for segment in found
                 if segment.kind == "steady climb" and segment.duration_s >= _SHORTEST_CLIMB_S)


def proposal(segment: Segment) -> str:
    """One line naming a segment for a pilot's choice: when, what, how long, how fast, which way."""
    clock = f"{int(segment.start_s // 60)}:{int(segment.start_s % 60):02d}"
    return (f"{clock} {segment.kind}, {segment.duration_s / 60:.1f} min, {from_si(segment.groundspeed_m_s, 'kt'):.0f} kt over the "
            f"ground, track {segment.track_deg:03.0f}, {from_si(segment.vertical_rate_m_s, 'ft/min'):+.0f} ft/min")
