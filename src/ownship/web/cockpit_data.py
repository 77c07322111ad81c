"""What the Cockpit needs of a flight, in one value: the plan's own draws, so that the page counts on with the plan's numbers.

Fuel in m3, times in seconds from leaving the blocks, distances along the route in m. The arithmetic on it is the page's script
(frontend/cockpit_fold.ts, docs/methods/cockpit.md); at the plan's moments it gives the plan's figures.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ownship.flight.answer import Assessment, PointRow
from ownship.flight.assessment import flights_of, governing_of
from ownship.flight.chance import middle
from ownship.flight.feed import suitable
from ownship.flight.flown import Flown
from ownship.flight.planning import usual
from ownship.flight.points import place_at
from ownship.flight.route import leg_between, point_of
from ownship.flight.situation import Situation
from ownship.flight.tanks import TankPlan
from ownship.papers.exchange import to_json
from ownship.physics.wind import wind_triangle
from ownship.units import from_si, parse
from ownship.web.flying import DEMO, Asked
from ownship.web.in_units import Units, shown
from ownship.words.cautions import cautions_for
from ownship.words.figures import Figure
from ownship.world.aerodromes import Aerodrome
from ownship.world.geodesy import inverse

FloatArray = NDArray[np.float64]
TAXI = "start and taxi"
HEAT_CHECK_S = parse("15 min", "time")  # common practice, from memory
HEAT_WORDS = "Check for carburettor ice every 15 min (common practice, from memory); sooner where the air warns of it."
NODE_M = parse("3 nm", "length")  # how far apart the points are from which the way to an aerodrome is worked out
MOST_NODES, NEAREST, LOOKED_AT = 100, 4, 8
NEAR_WORDS = ("Straight from the nearest point of the route, level at the cruise's airspeed and flow, planned wind; open, length "
              "and surface known, and the covered landing distance fits in calm air at the take-off weight.")


def cockpit_data(asked: Asked, units: Units | None = None) -> dict[str, Any] | None:
    """The flight of an address for the Cockpit; None where there is no flight that can be flown (the page says so).

    units: what a person wants to read; figures stay in SI, words and the factor beside them follow.
    """
    s, a = asked.situation, asked.answer
    if s is None or a is None or not a.timeline:
        return None
    flights, plans, _ = flights_of(s)
    flown = governing_of(flights)
    if flown is None or not flown.possible:
        return None
    plan = plans[next(k for k, f in enumerate(flights) if f is flown)]
    return {"schema": 1, "flight": flight_id(asked.aeroplane, s.request_data), "demo": asked.aeroplane == DEMO,
            "aeroplane": s.record.identity.registration, "title": " - ".join(p.name for p in s.points),
            "origin": s.points[0].name, "destination": s.points[-1].name, "verdict": a.verdict, "sentence": a.sentence,
            "blocks_ms": _ms(s.departure), "offset_min": _offset_min(s.departure),
            "unit": _unit(units or {}),
            **_burn(flown, plan, s), **_needs(s, flown, a), **_way(s, flown), "legs": _legs(a, units or {}),
            "last_points": _last_points(s, a),
            "heat_s": HEAT_CHECK_S, "heat_words": HEAT_WORDS, "near_words": NEAR_WORDS,
            "warnings": [f"{w.get('place', '')}: {w['text']}".removeprefix(": ") for w in a.warnings],
            "cautions": list(cautions_for(("cockpit", "tanks", "fuel"))), "timeline": to_json(a)["timeline"]}


def flight_id(aeroplane: str, request: dict[str, Any]) -> str:
    """The same for the same aeroplane and request, whatever the order of the address: what events are kept under."""
    text = json.dumps([aeroplane, request], sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:24]


def _unit(units: Units) -> dict[str, Any]:
    """How fuel is shown: the word, and how many of it are one m3."""
    unit = units.get("fuel", "usgal")
    return {"words": unit, "per_m3": float(from_si(1.0, unit, "volume"))}


def _ms(moment: datetime) -> int:
    return round(moment.timestamp() * 1000)


def _offset_min(moment: datetime) -> int:
    offset = moment.utcoffset()
    return 0 if offset is None else round(offset.total_seconds() / 60)


def _numbers(draws: FloatArray) -> list[float | None]:
    """Draws as JSON, six figures; null: this draw cannot be flown."""
    return [float(f"{x:.6g}") if np.isfinite(x) else None for x in draws]


def _burn(flown: Flown, plan: TankPlan | None, s: Situation) -> dict[str, Any]:
    """Fuel by tank at the start, burn by phase, and the tank plan; without a plan all tanks count as one."""
    parts, clock = [], 0.0
    for part in (p for p in flown.timeline.parts if np.any(p.time_s > 0)):
        length = middle(part.time_s)
        parts.append({"phase": part.phase, "leg": part.leg, "start_s": clock, "end_s": clock + length,
                      "burn_m3": _numbers(part.burn_m3)})
        clock += length
    names = {t.id: t.name or t.id for t in s.record.tanks}
    starts = plan.start_m3 if plan is not None else {"all": flown.on_board_m3}
    return {"parts": parts, "end_s": clock, "take_off_s": middle(flown.timeline.total("time_s", (TAXI,))),
            "tanks": [{"id": k, "name": names.get(k, "all tanks"), "start_m3": _numbers(v),
                       "known_by": s.request.fuel[k].known_by if k in s.request.fuel else ""} for k, v in starts.items()],
            "segments": _segments(plan), "positions": _positions(s, plan)}


def _segments(plan: TankPlan | None) -> list[dict[str, Any]]:
    if plan is None:
        return [{"tank": "all", "start_s": 0.0, "end_s": 0.0, "where": "no tank plan"}]
    return [{"tank": x.tank, "start_s": x.start_s, "end_s": x.end_s, "where": x.where} for x in plan.segments]


def _positions(s: Situation, plan: TankPlan | None) -> list[dict[str, str]]:
    """What the selector can be changed to in flight, as the tanks that then feed."""
    if plan is None or s.record.selector is None:
        return []
    every = "+".join(t.id for t in s.record.tanks)
    return [{"words": p, "tank": every if p == "both" else p} for p in s.record.selector.positions
            if p == "both" or p in plan.start_m3]


def _needs(s: Situation, flown: Flown, a: Assessment) -> dict[str, Any]:
    """What must be left at the landing, flow for latest times, and what the plan says of both."""
    needs, flow = flown.needs, flown.timeline.cruise_flow_m3_s
    own = s.request.own.landing_fuel_s
    verdicts = {m.id: m.verdict for m in a.margins}
    known = needs is not None and s.air.known
    owner = s.request.planning.contingency_1
    cover = (owner if owner is not None else usual("contingency")) * middle(needs.trip_m3) if needs else 0.0
    return {"known": known, "flow_m3_s": middle(flow), "confidence_1": s.request.factors.confidence, "least_cover_m3": cover,
            "required_m3": _numbers(needs.required_at_landing_m3()) if needs else [],
            "reserve_m3": _numbers(needs.reserve_m3 + needs.extra_m3) if needs else [],
            "reserve_words": needs.reserve_words if needs else flown.no_reserve,
            "unknown": "" if known else flown.no_reserve or "No winds aloft are given, so no latest time is known.",
            "landing_verdict": verdicts.get("fuel.landing", "not known"),
            "own_m3": None if own is None else own * middle(flow), "own_verdict": verdicts.get("own.landing_fuel", "")}


def _way(s: Situation, flown: Flown) -> dict[str, Any]:
    """Fixes by time, legs with their headings, and the nearest landable aerodromes along the route."""
    timeline = flown.timeline
    fixes = [{"name": leg.end.name, "time_s": middle(timeline.passed(i, "time_s"))} for i, leg in enumerate(s.legs)]
    return {"fixes": fixes, "near": _near(s, flown)}


def _legs(a: Assessment, units: Units) -> list[dict[str, Any]]:
    """Each leg with its headings, whole degrees; compass null: no deviation card."""
    def degrees(f: Figure | None) -> int | None:
        return None if f is None else round(f.value) % 360 or 360

    return [{"start": g.start, "end": g.end, "compass": degrees(g.heading_compass), "magnetic": degrees(g.heading_magnetic),
             "true": degrees(g.heading_true), "distance": shown(g.distance, units).text(0),
             "groundspeed": shown(g.groundspeed, units).text(0)} for g in a.legs]


def _near(s: Situation, flown: Flown) -> list[dict[str, Any]]:
    """From points along the route: the nearest aerodromes where this aeroplane can land, by time; none without winds."""
    if s.calibrations is None or not s.air.known:
        return []
    by = s.calibrations
    fields = [a for a in {x.ident: x for x in s.near}.values() if suitable(s, by, a, flown.take_off_kg)]
    whole = sum(leg.distance_m for leg in s.legs)
    nodes = np.linspace(0.0, whole, min(max(int(np.ceil(whole / NODE_M)), 1), MOST_NODES) + 1)
    way, clock = _progress(flown)
    return [{"at_s": float(np.interp(d, way, clock)), "along_nm": float(from_si(d, "nm")),
             "fields": _from(s, flown, place_at(s.legs, float(d)), fields)} for d in nodes]


def _progress(flown: Flown) -> tuple[list[float], list[float]]:
    """Distances along the route and the seconds from the blocks then, of the middle flight."""
    way, clock = [0.0], [middle(flown.timeline.total("time_s", (TAXI,)))]
    for part in flown.timeline.parts:
        if part.leg is not None:
            way.append(way[-1] + middle(part.distance_m))
            clock.append(clock[-1] + middle(part.time_s))
    return way, clock


def _from(s: Situation, flown: Flown, at: tuple[int, float, float], fields: Sequence[Aerodrome]) -> list[dict[str, Any]]:
    number, lat, lon = at
    tas = next(f for f in flown.timeline.legs if f.leg.number == number).tas_m_s
    wind = s.air.wind(s.request.cruise_altitude_m)
    far = sorted(((inverse(lat, lon, a.lat_deg, a.lon_deg)[0], a.ident, a) for a in _closest(lat, lon, fields)),
                 key=lambda x: x[:2])
    rows = [_straight(s, flown, (lat, lon), a, off, tas, wind) for off, _, a in far[:LOOKED_AT]]
    return sorted(rows, key=lambda r: (r["time_s"][0], r["ident"]))[:NEAREST]


def _closest(lat: float, lon: float, fields: Iterable[Aerodrome]) -> list[Aerodrome]:
    """Twice as many as are looked at, on a flat map: enough for the geodesic to find the nearest among them."""
    narrow = float(np.cos(np.radians(lat)))
    return sorted(fields, key=lambda a: ((a.lat_deg - lat) ** 2 + (((a.lon_deg - lon + 180) % 360 - 180) * narrow) ** 2, a.ident)
                  )[:2 * LOOKED_AT]


def _straight(s: Situation, flown: Flown, at: tuple[float, float], a: Aerodrome, off_m: float, tas: FloatArray,
              wind: tuple[FloatArray, FloatArray]) -> dict[str, Any]:
    """One way there: distance, magnetic course, time and fuel, middle and 95 %."""
    if off_m < 100.0:
        return {"ident": a.ident, "name": a.name, "off_nm": 0.0, "course_magnetic": None, "time_s": [0.0, 0.0],
                "fuel_m3": [0.0, 0.0]}
    leg = leg_between(0, point_of(f"{at[0]},{at[1]}", None), point_of(a.ident, a), s.day)
    time = np.asarray(off_m / wind_triangle(leg.course_deg, tas, *wind)[1])
    return {"ident": a.ident, "name": a.name, "off_nm": float(from_si(off_m, "nm")),
            "course_magnetic": round(leg.magnetic_course_deg) % 360 or 360, "time_s": _two(time),
            "fuel_m3": _two(time * flown.timeline.cruise_flow_m3_s)}


def _two(draws: FloatArray) -> list[float | None]:
    """Middle and 95 % of draws; null where it cannot be flown."""
    if not np.all(np.isfinite(draws)):
        return [None, None]
    return [middle(draws), max(middle(draws), float(np.quantile(draws, 0.95)))]


def _last_points(s: Situation, a: Assessment) -> list[dict[str, Any]]:
    return [_point(s, p) for p in a.extras.last_points] if a.extras else []


def _point(s: Situation, p: PointRow) -> dict[str, Any]:
    def since(moment: datetime | None) -> float | None:
        return None if moment is None else (moment - s.departure).total_seconds()

    return {"name": p.name, "at_s": since(p.moment), "earliest_s": since(p.earliest), "words": p.words, "leg": p.leg,
            "tank": p.tank, "worst": p.worst}
