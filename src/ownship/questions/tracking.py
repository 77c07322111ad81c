"""A GPX track of a flight as proposals of measurements: what it shows by itself, and what it cannot know."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from ownship.questions.reading import read_text

if TYPE_CHECKING:
    from ownship.world.track_runs import ClimbRate, LevelRun
    from ownship.world.tracks import TrackPoints

ELEVATION_M = (-500.0, 20_000.0)
PASTE = "tables for your measurements file, each ? to be filled in"
NO_RUN = "none found: fly three or more headings, one minute each, at one rpm and height"
ASK = ("Fill in what a track cannot know: rpm of every leg, outside air temperature, weight, indicated airspeed, pressure "
       "altitude; keep only runs flown at one power.")


def proposals(path: str) -> dict[str, list[str]]:
    """Level runs with TAS and wind, climbs with their rate, every steady segment, and tables to paste, in lines by heading."""
    from ownship.world.tracks import LONGEST_TEXT

    return proposals_of(read_text(path, LONGEST_TEXT))


def proposals_of(text: str) -> dict[str, list[str]]:
    """The same of a GPX text."""
    from ownship.world.track_runs import climb_rates, level_runs, proposal
    from ownship.world.tracks import parse_gpx, segments

    points, dropped = _believable(parse_gpx(text))
    found = segments(points)
    runs, climbs = level_runs(found), climb_rates(found)
    told = {"level runs": [_run(r) for r in runs] or [NO_RUN],
            "climbs": [_climb(c) for c in climbs] or ["none found"],
            "steady segments": [proposal(s) for s in found] or ["none found"], "to do": [ASK]}
    if dropped:
        told["left out"] = [f"{dropped} elevations outside {ELEVATION_M[0]:,.0f} to {ELEVATION_M[1]:,.0f} m; joined across"]
    tables = [line for r in runs for line in _run_table(r)] + [line for c in climbs for line in _climb_table(c)]
    return told | ({PASTE: tables} if tables else {})


def tables_of(proposed: dict[str, list[str]]) -> list[tuple[str, dict[str, Any]]]:
    """(kind, table) of every proposal that can be a measurement, without what a track cannot know."""
    import tomllib

    found = tomllib.loads("\n".join(proposed.get(PASTE, ())))
    return [(kind, {k: v for k, v in table.items() if not str(v).startswith("?")})
            for kind, tables in found.items() for table in tables]


def _believable(points: TrackPoints) -> tuple[TrackPoints, int]:
    """The track with elevations that no aeroplane of this class reaches joined across, and how many they were."""
    import numpy as np

    if points.altitude_m is None:
        return points, 0
    good = (points.altitude_m >= ELEVATION_M[0]) & (points.altitude_m <= ELEVATION_M[1])
    joined = np.interp(points.time_s, points.time_s[good], points.altitude_m[good]) if good.any() else None
    return replace(points, altitude_m=joined), int((~good).sum())


def _run(r: LevelRun) -> str:
    from ownship.units import from_si

    checked = "three legs: nothing checks them" if r.residual_m_s is None else (
        f"the legs agree within {from_si(r.residual_m_s, 'kt'):.1f} kt")
    return (f"{len(r.segments)} legs at {from_si(r.altitude_m, 'ft'):,.0f} ft: TAS {from_si(r.tas_m_s, 'kt'):.1f} kt (one sd "
            f"{from_si(r.tas_sd_m_s, 'kt'):.1f}), wind {r.wind_from_deg:03.0f} true / {from_si(r.wind_speed_m_s, 'kt'):.0f} kt; "
            f"{checked}")


def _climb(c: ClimbRate) -> str:
    from ownship.units import from_si

    return (f"{from_si(c.rate_m_s, 'ft/min'):,.0f} ft/min (one sd {from_si(c.rate_sd_m_s, 'ft/min'):.0f}) through "
            f"{from_si(c.altitude_m, 'ft'):,.0f} ft by GPS height")


def _run_table(r: LevelRun) -> list[str]:
    """A level run as TOML; the track cannot know the pressure altitude, so the GPS height stands beside it."""
    from ownship.units import from_si

    legs = [f'  {{ groundspeed = "{from_si(s.groundspeed_m_s, "kt"):.1f} kt", track = "{s.track_deg % 360:.1f} deg" }},'
            for s in r.segments]
    return ["[[level_run]]", f'pressure_altitude = "? ft"  # GPS height {from_si(r.altitude_m, "ft"):,.0f} ft', 'oat = "? C"',
            'weight = "? lb"', 'rpm = "? rpm"', "legs = [", *legs, "]", ""]


def _climb_table(c: ClimbRate) -> list[str]:
    """A climb as TOML with GPS heights; nothing for one under 300 ft or too high: such a one is no measurement."""
    from ownship.calibration.keys import ALTITUDE
    from ownship.calibration.measured import LEAST_HEIGHT_M
    from ownship.units import from_si, parse

    if c.gain_m < LEAST_HEIGHT_M or c.altitude_m + c.gain_m / 2 > parse(ALTITUDE["high"], "length"):
        return []
    low, high = (from_si(c.altitude_m + half * c.gain_m, "ft") for half in (-0.5, 0.5))
    return ["[[timed_climb]]", 'heights = "gps"', f'from = "{low:.0f} ft"', f'to = "{high:.0f} ft"',
            f'time = "{c.segment.duration_s:.0f} s"', f'pressure_altitude = "? ft"  # half-way, GPS {(low + high) / 2:,.0f} ft',
            'ias = "? kt"', 'oat = "? C"', 'weight = "? lb"', ""]
