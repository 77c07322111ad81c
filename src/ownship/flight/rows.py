"""Timeline, legs, tanks and runways as rows to be shown."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ownship.aeroplane.loading import Load, at_fuel
from ownship.flight.answer import LegRow, TankRow, TimelineRow
from ownship.flight.cards import banded
from ownship.flight.chance import middle
from ownship.flight.flown import Flown
from ownship.flight.runways import JudgedEnd
from ownship.flight.situation import Situation
from ownship.flight.tanks import TankPlan
from ownship.physics.wind import compass_by_card
from ownship.words.figures import Figure, figure

FloatArray = NDArray[np.float64]


def timeline_rows(s: Situation, flown: Flown, plan: TankPlan | None, load: Load | None,
                  density_kg_m3: float) -> tuple[TimelineRow, ...]:
    """Every moment from the blocks to the landing."""
    if not flown.possible:
        return ()
    timeline, total = flown.timeline, flown.timeline.total("burn_m3")
    zero = np.zeros_like(total)
    taxi = [timeline.total(n, ("start and taxi",)) for n in ("time_s", "burn_m3")]
    moments: list[tuple[str, str, FloatArray, FloatArray, FloatArray, float | None]] = [
        ("blocks", s.points[0].name, zero, zero, zero, s.points[0].elevation_m),
        ("take-off", s.points[0].name, taxi[0], taxi[1], zero, s.points[0].elevation_m)]
    climbed = [timeline.total(n, ("climb",)) for n in ("time_s", "burn_m3", "distance_m")]
    down = [timeline.total(n, ("descent",)) for n in ("time_s", "burn_m3", "distance_m")]
    level = s.request.cruise_altitude_m
    moments.append(("top of climb", "", taxi[0] + climbed[0], taxi[1] + climbed[1], climbed[2], level))
    way = zero
    for leg in s.legs[:-1]:
        way = way + leg.distance_m
        moments.append((f"over {leg.end.name}", leg.end.name, timeline.passed(leg.number, "time_s"),
                        timeline.passed(leg.number, "burn_m3"), way, level))
    end_time, end_burn = (timeline.passed(len(s.legs) - 1, n) for n in ("time_s", "burn_m3"))
    length = zero + sum(leg.distance_m for leg in s.legs)
    moments += [("top of descent", "", end_time - down[0], end_burn - down[1], length - down[2], level),
                (f"over {s.points[-1].name}", s.points[-1].name, end_time, end_burn, length,
                 (s.points[-1].elevation_m or 0.0) + s.settings.circuit_height_m),
                ("landing", s.points[-1].name, timeline.total("time_s"), total, length, s.points[-1].elevation_m)]
    ordered = sorted(moments, key=lambda m: middle(m[2]))
    return tuple(_moment(s, flown, plan, load, density_kg_m3, m) for m in ordered)


def _moment(s: Situation, flown: Flown, plan: TankPlan | None, load: Load | None, density_kg_m3: float,
            m: tuple[str, str, FloatArray, FloatArray, FloatArray, float | None]) -> TimelineRow:
    name, place, time, burn, way, altitude = m
    left = flown.on_board_m3 - burn
    centre = middle(time)
    contents = plan.contents_at(centre) if plan else {}
    usable = {k: middle(v) for k, v in contents.items()}
    arm = at_fuel(s.record, load, usable, {}, density_kg_m3).arm_aft_m if load and usable else None
    minimum, latest = None, None
    if flown.needs is not None and s.air.known:
        later = flown.timeline.total("burn_m3") - burn
        need = later + flown.needs.required_at_landing_m3()
        minimum = figure(middle(need), "usgal")
        spare_s = _low_end(left - need, 1 - s.request.factors.confidence) / middle(flown.timeline.cruise_flow_m3_s)
        latest = s.at(centre) + timedelta(seconds=round(spare_s)) if np.isfinite(spare_s) else None
    return TimelineRow(name, place, s.at(centre), banded(time, "min"), banded(way, "nm"),
                       None if altitude is None else figure(altitude, "ft"), banded(burn, "usgal"), banded(left, "usgal"),
                       {k: figure(v, "usgal") for k, v in usable.items()},
                       banded(flown.ramp_kg - burn * density_kg_m3, "lb"), None if arm is None else figure(arm, "in"),
                       minimum, latest)


def _low_end(draws: FloatArray, share_1: float) -> float:
    """The low end of an amount (draw,); a draw that is not flown is worse than any that is."""
    good = np.isfinite(draws)
    if good.all():
        return float(np.quantile(draws, share_1))
    return float(np.quantile(np.where(good, draws, -np.inf), share_1, method="lower"))


def leg_rows(s: Situation, flown: Flown) -> tuple[LegRow, ...]:
    """Courses, headings, speeds, times and fuel by leg."""
    if not flown.possible:
        return ()
    rows = []
    for f in flown.timeline.legs:
        leg = f.leg
        heading = _mean_direction(f.heading_deg)
        magnetic = (heading - leg.variation_deg) % 360.0
        card = s.record.deviation
        compass = None if card is None else float(compass_by_card(magnetic, card.magnetic_deg, card.compass_deg))
        here = range(leg.number, leg.number + 1)
        phases = {}
        for phase in ("climb", "cruise", "descent"):
            time = flown.timeline.total("time_s", (phase,), here)
            if np.median(time) > 0:
                phases[phase] = {"time": banded(time, "min"),
                                 "fuel": banded(flown.timeline.total("burn_m3", (phase,), here), "usgal"),
                                 "distance": banded(flown.timeline.total("distance_m", (phase,), here), "nm")}
        rows.append(LegRow(
            leg.start.name, leg.end.name, figure(leg.distance_m, "nm"), Figure(leg.course_deg, "deg"),
            Figure(leg.magnetic_course_deg, "deg"), Figure(leg.variation_deg, "deg"), Figure(heading, "deg"),
            Figure(magnetic, "deg"), None if compass is None else Figure(compass, "deg"),
            figure(s.request.cruise_altitude_m, "ft"), Figure(f.wind_from_deg, "deg"), figure(f.wind_m_s, "kt"),
            figure(f.temperature_k, "C", dimension="temperature"), banded(f.tas_m_s, "kt"), banded(f.groundspeed_m_s, "kt"),
            banded(flown.timeline.total("time_s", legs=here), "min"),
            banded(flown.timeline.total("burn_m3", legs=here), "usgal"), phases))
    return tuple(rows)


def _mean_direction(degrees: FloatArray) -> float:
    radians = np.radians(degrees[np.isfinite(degrees)])
    return float(np.degrees(np.arctan2(np.sin(radians).mean(), np.cos(radians).mean())) % 360.0)


def tank_rows(s: Situation, plan: TankPlan) -> tuple[TankRow, ...]:
    """The tank plan by the clock."""
    return tuple(TankRow(x.tank, s.at(x.start_s), s.at(x.end_s), banded(x.burn_m3, "usgal"), x.where) for x in plan.segments)


def runway_rows(runways: dict[str, JudgedEnd]) -> tuple[dict[str, Any], ...]:
    """Each runway with its wind and its chain, number by number."""
    words = {"take_off": "Take-off", "landing": "Landing", "leave_again": "Leaving again"}
    rows = []
    for key, judged in runways.items():
        end, m = judged.end, judged.margin
        rows.append({
            "id": m.id, "title": f"{words[key]} at {m.place}, runway {end.ident}: {m.verdict}", "end": end.ident,
            "operation": key, "true_heading": None if end.true_heading_deg is None else Figure(end.true_heading_deg, "deg"),
            "heading_source": end.heading_source, "wind": judged.wind.words, "surface": end.surface,
            "surface_text": end.surface_text,
            "slope": None if end.slope_1 is None else Figure(end.slope_1 * 100, "%"), "slope_source": end.slope_source,
            "available": m.available, "unfactored": figure(judged.distance.median_m, "ft"),
            "ground_roll": figure(judged.distance.roll_m, "ft"), "covered": m.required, "doubly": m.doubly,
            "chain": judged.distance.chain, "words": list(judged.distance.words), "verdict": m.verdict,
            "source": f"{end.source}, {end.date}"})
    return tuple(rows)
