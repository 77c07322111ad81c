"""One clock through all views: the flight at some sixty moments, each with place, ground, fuel, load, wind and light.

Everything is that of the flight the timeline shows (the calibration that leaves less at landing), between its rows as
the model itself goes: time and burn in proportion within a phase of a leg, the climb along the steps of its path, the
descent at its rate. What is not known at a moment is None, with the reason in words.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

import numpy as np
from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse

from ownship.aeroplane.loading import LoadPoint, Room, at_fuel, room, taxi_allowance_kg
from ownship.flight.answer import Assessment
from ownship.flight.situation import Situation
from ownship.units import to_si
from ownship.web import api
from ownship.web.clock_flight import (
    GROUND,
    Shown,
    altitude_at,
    bands,
    burnt_by,
    clearance_at,
    light_of,
    middles,
    on_leg,
    place_of,
    position,
    shown,
    tank_at,
    tanks_by,
    wind_at,
)
from ownship.web.flying import Asked, ask
from ownship.words.figures import Figure, figure
from ownship.world.sun import zenith_deg

router = APIRouter()
MINUTE_S = 60.0
MOMENTS = 60  # about so many; every row of the timeline and every change of tank is one of them
VIEWS = ("remedies", "levels", "when", "before")


@dataclass(frozen=True)
class Moment:
    """The flight at one moment. None: not known, or none there is; `clearance_words`, `wind_words` say which.

    name: of the row of the timeline or of the change of tank, "" between them; leg: its number from 0 and the share of it
    flown, for the drawings; fuel: usable by tank; lasts: how long what is left lasts at the planned flow; arm: seats
    forward and aft, limits at that weight; outside: beyond a limit of the envelope; row: where on the path of the burn.
    """

    name: str
    phase: str
    time: datetime
    elapsed: Figure
    position: tuple[float, float]
    leg: int
    leg_share_1: float
    way: Figure
    place: str
    altitude: Figure | None
    clearance: Figure | None
    clearance_words: str
    tank: str
    fuel: dict[str, Figure]
    fuel_left: Figure
    lasts: Figure | None
    weight: Figure
    arm: tuple[Figure, Figure] | None
    limits: tuple[Figure, Figure] | None
    outside: bool
    row: float | None
    wind: tuple[Figure, Figure] | None
    wind_words: str
    sun: Figure
    light: str
    said: str

    def to_json(self) -> dict[str, Any]:
        """The moment as data: quantities as in formats.md, time in ISO."""
        def pair(two: tuple[Figure, Figure] | None, *names: str) -> dict[str, Any] | None:
            return None if two is None else {n: f.to_json() for n, f in zip(names, two, strict=True)}

        return {"moment": self.name, "phase": self.phase, "time": self.time.isoformat(), "elapsed": self.elapsed.to_json(),
                "position": [round(x, 5) for x in self.position], "leg": self.leg, "leg_share": round(self.leg_share_1, 5),
                "distance": self.way.to_json(), "place": self.place, "altitude": _json(self.altitude),
                "clearance": _json(self.clearance), "clearance_words": self.clearance_words, "tank": self.tank or None,
                "fuel": {k: f.to_json() for k, f in self.fuel.items()}, "fuel_left": self.fuel_left.to_json(),
                "lasts": _json(self.lasts), "weight": self.weight.to_json(), "arm": pair(self.arm, "forward", "aft"),
                "limits": pair(self.limits, "forward", "aft"), "outside_limits": self.outside, "burn_row": self.row,
                "wind": pair(self.wind, "from_true", "speed"), "wind_words": self.wind_words, "sun": self.sun.to_json(),
                "light": self.light, "said": self.said}


def _json(f: Figure | None) -> dict[str, Any] | None:
    return None if f is None else f.to_json()


def moments(s: Situation, a: Assessment) -> tuple[Moment, ...]:
    """The flight at about `MOMENTS` moments from the blocks to the landing; none where no flight is known.

    At the moment of a row of the timeline every figure is that row's; tanks sum to the fuel, weight falls by the burn.
    """
    f = shown(s, a) if a.timeline else None
    if f is None:
        return ()
    names = _named(f)
    times = _filled(sorted(names), s.departure.second)
    burnt, contents = burnt_by(f, np.array(times)), tanks_by(f, np.array(times))
    tanks = {k: bands(f, v, "usgal") for k, v in contents.items()}
    usable = {k: middles(v) for k, v in contents.items()}
    left = bands(f, f.flown.on_board_m3 - burnt, "usgal")
    weight = bands(f, f.flown.ramp_kg - burnt * f.aboard.density_kg_m3, "lb")
    found = []
    for i, t in enumerate(times):
        found.append(_moment(f, t, names.get(t, ""), {k: v[i] for k, v in tanks.items()}, left[i], weight[i],
                             {k: v[i] for k, v in usable.items()}))
    return tuple(found)


def _named(f: Shown) -> dict[float, str]:
    """Seconds from the blocks of every row of the timeline and every change of tank, with its name."""
    found: dict[float, str] = {}
    end = f.stretches[-1].end_s
    rows = [(min(float(to_si(r.elapsed.value, "min", "time")), end), r.moment) for r in f.a.timeline]
    changes = [(x.start_s, f"change to {x.tank}") for x in f.plan.segments[1:]] if f.plan else []
    for time, name in (*rows, *changes):
        near = next((t for t in found if abs(t - time) < 1.0), None)
        found[time if near is None else near] = name if near is None else f"{found[near]}, {name}"
    return found


def _filled(named: list[float], past_minute_s: int) -> list[float]:
    """The named moments with others evenly between them, on whole minutes of the clock where the steps are that long."""
    step = max((named[-1] - named[0]) / max(MOMENTS - len(named), 1), 1.0)
    found = [named[0]]
    for a, b in pairwise(named):
        pieces = max(1, round((b - a) / step))
        between = [a + (b - a) * k / pieces for k in range(1, pieces)]
        if step >= MINUTE_S:
            between = [round((t + past_minute_s) / MINUTE_S) * MINUTE_S - past_minute_s for t in between]
        found += [t for t in dict.fromkeys(between) if a + MINUTE_S / 3 < t < b - MINUTE_S / 3] + [b]
    return found


def _moment(f: Shown, t: float, name: str, fuel: dict[str, Figure], left: Figure, weight: Figure,
            usable: dict[str, float]) -> Moment:
    s, x = f.s, f.stretch_at(t)
    way = x.from_m + (x.to_m - x.from_m) * x.share(t)
    leg, share = on_leg(s, x.leg, way)
    at = position(s, leg, share)
    altitude = altitude_at(f, x, t, way)
    clearance, clearance_words = clearance_at(f, x, way, altitude)
    wind, wind_words = wind_at(f, x, altitude)
    point, space = _load(f, usable, on_ground=x.phase == GROUND[0])
    time, place = s.at(t), place_of(s, x, leg)
    sun = 90.0 - zenith_deg(*at, time)
    return Moment(
        name, x.phase, time, figure(t, "min"), at, leg, share, figure(way, "nm"), place,
        None if altitude is None else figure(altitude, "ft"), clearance, clearance_words,
        tank_at(f, t), fuel, left, _lasts(f, left), weight,
        None if point is None else (figure(point.arm_forward_m, "in"), figure(point.arm_aft_m, "in")),
        None if space is None or space.limits_m is None else (figure(space.limits_m[0], "in"), figure(space.limits_m[1], "in")),
        space is not None and not space.inside, _row(f, sum(usable.values())) if usable else None, wind, wind_words,
        Figure(sun, "deg"), light_of(sun), _said(f, name, time, x.phase, place))


# ---- fuel and load
def _lasts(f: Shown, left: Figure) -> Figure | None:
    """How long the fuel lasts at the flow of the answer's own endurance; bands in proportion."""
    fuel = f.a.fuel
    if fuel is None or not np.isfinite(fuel.endurance.value) or fuel.on_board.value <= 0:
        return None
    each = fuel.endurance.value / fuel.on_board.value
    return Figure(left.value * each, fuel.endurance.unit, (left.low or 0.0) * each, (left.high or 0.0) * each)


def _load(f: Shown, usable: dict[str, float], *, on_ground: bool) -> tuple[LoadPoint | None, Room | None]:
    load, record = f.aboard.load, f.s.record
    if load is None or not usable:
        return None, None
    point = at_fuel(record, load, usable, {}, f.aboard.density_kg_m3)
    return point, room(record, f.s.request.category, point, taxi_allowance_kg(record) if on_ground else 0.0)


def _row(f: Shown, usable_m3: float) -> float | None:
    """Where on the path of the burn: the rows of the loading counted from 0, between them by the fuel left."""
    if len(f.loaded_m3) < 2:
        return None
    return round(float(np.interp(-usable_m3, [-x for x in f.loaded_m3], range(len(f.loaded_m3)))), 4)


# ---- in words
def _said(f: Shown, name: str, time: datetime, phase: str, place: str) -> str:
    """What the slider says: "15:31, 21 min after take-off, over U88"."""
    off = f.take_off
    since = (time.replace(second=0) - off.replace(second=0)) // timedelta(minutes=1)
    when = "take-off" if name == "take-off" else f"{since} min after take-off" if time > off else "before take-off"
    known = "" if name == "take-off" else name
    where = f"{phase}, {place}" if phase in GROUND else f"{phase} on the leg {place}"
    return ", ".join(x for x in (f"{time:%H:%M}", when, known or where) if x)


# ---- as data
def notes(s: Situation) -> tuple[str, ...]:
    """What the moments rest on."""
    calm = () if s.air.known else ("No winds aloft are given: times and places are for calm, standard air.",)
    return (*calm, "The flight of the timeline, of the calibration that leaves less at landing; all fuel usable, tanks as planned, "
                   "CG with the seats forward and aft. The sun's altitude is that of its centre; what the law calls night stands "
                   "among the margins.")


def data(asked: Asked) -> tuple[int, dict[str, Any]]:
    """(status, data) of `/clock.json`; the sentence of refusal where nothing was answered."""
    if asked.answer is None or asked.situation is None:
        return api.data(asked)
    found = moments(asked.situation, asked.answer)
    words = notes(asked.situation) if found else (f"Not known: {asked.situation.no_model or 'nothing could be flown.'}",)
    return 200, {"schema": 1, "sentence": asked.answer.sentence, "moments": [m.to_json() for m in found], "words": list(words)}


def bare(request: Request) -> Asked:
    """The flight of an address without what else was asked for."""
    return ask({k: v for k, v in request.query_params.items() if k not in VIEWS})


@router.get("/clock.json", openapi_extra=api.parameters())
def clock_json(request: Request) -> JSONResponse:
    """The flight at some sixty moments, the query that of the Flight screen."""
    status, found = data(bare(request))
    return JSONResponse(found, status_code=status)
