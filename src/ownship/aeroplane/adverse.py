"""The most adverse CG of all loadings: every total weight, the load put as far forward and as far aft as its limits let it.

For a total weight the extreme moment is a small linear programme whose solution is to fill the places in the order
of their arms (fractional filling); fixed recipes miss sloping limits, a search over every weight does not.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ownship.aeroplane.description import AirframeRecord, Envelope, Limit, Station, is_figure
from ownship.aeroplane.envelope import FloatArray, arm_limits, weight_range
from ownship.aeroplane.weighing import EmptyWeight
from ownship.units import to_si

PERSON_KG = float(to_si(250, "lb"))  # the most a seat is searched to where the record gives no limit
PILOT_KG = float(to_si(120, "lb"))  # the lightest pilot: someone always sits in front
BESIDE_KG = 1e-6  # limits are read this far inside a stretch, so that a step in them counts on both sides


@dataclass(frozen=True)
class Adverse:
    """The tightest forward and aft CG over all loadings: room in arm (m, negative outside) and the weight of it (kg).

    sd_m: one sd of the room from the empty weight's own error; load: (place, kg) of that loading, pilot first; assumed:
    stations without a figure for a limit, searched to 250 lb a seat.
    """

    forward_room_m: float
    forward_weight_kg: float
    aft_room_m: float
    aft_weight_kg: float
    forward_sd_m: float = 0.0
    aft_sd_m: float = 0.0
    forward_load: tuple[tuple[str, float], ...] = ()
    aft_load: tuple[tuple[str, float], ...] = ()
    assumed: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Worst:
    """The tightest loading towards one end."""

    room_m: float
    weight_kg: float
    sd_m: float
    load: tuple[tuple[str, float], ...]


@dataclass
class _Cap:
    """Stations with a common limit, and what is left of it while they are filled."""

    stations: set[str]
    left_kg: float


def adverse_loading(record: AirframeRecord, empty: EmptyWeight, category: str = "normal", pilot_kg: float = PILOT_KG,
                    least_fuel_kg: float = 0.0) -> Adverse | None:
    """Search all stations, seat ranges, tanks and weights; None where the record has no envelope, no seat or no [fuel], and
    where the empty aeroplane, the pilot and the least fuel alone are heavier than allowed.

    The pilot sits in the first seat station, at its forward end for the forward search and at its aft end for the aft. Usable
    fuel from least_fuel_kg to full, in any split of the tanks. Groups of stations share their limit, the zero-fuel weight is a
    limit of all stations together, stations that the category wants empty stay so. Groups that cut across each other are left
    out, which only widens the search. Weights end at the envelope or the maximum take-off weight; below the envelope's lightest
    weight its limits there are used. Exact: M(W) is straight between the fillings and the envelope's corners, and room =
    M/W - limit has at most one turning point in between, at W = sqrt(-M(0)/slope). Checks: WB-14, WB-15, WB-16.
    """
    envelope, seats = record.envelope(category), [s for s in record.stations if s.kind == "seat"]
    if envelope is None or not seats or record.fuel is None:
        return None
    if empty.weight_kg + pilot_kg + least_fuel_kg > _heaviest_kg(record, envelope):
        return None
    forward, aft = (_search(record, empty, envelope, end, pilot_kg, least_fuel_kg) for end in (0, 1))
    assumed = tuple(s.id for s in _open_stations(record, category) if not is_figure(s.max_kg))
    return Adverse(forward.room_m, forward.weight_kg, aft.room_m, aft.weight_kg, forward.sd_m, aft.sd_m, forward.load, aft.load,
                   assumed)


def _open_stations(record: AirframeRecord, category: str) -> tuple[Station, ...]:
    """Stations that may hold something in a category."""
    shut = {s for c in record.categories if c.name == category for s in c.stations_empty}
    return tuple(s for s in record.stations if s.id not in shut)


def _search(record: AirframeRecord, empty: EmptyWeight, envelope: Envelope, end: int, pilot_kg: float,
            least_fuel_kg: float) -> _Worst:
    """The tightest room towards an end (0 forward, 1 aft) over every weight."""
    path = _filled(record, empty, envelope.category, end, pilot_kg, least_fuel_kg)
    start = 2 + len(record.tanks)  # the empty aeroplane, the pilot and the least fuel are always aboard
    weights = np.cumsum([kg for _, kg, _ in path])
    moments = np.cumsum([kg * arm for _, kg, arm in path])
    base, most = float(weights[start - 1]), float(weights[-1])
    top = min(most, _heaviest_kg(record, envelope))
    stops = sorted({base, top} | {float(w) for w in (*weights[start:], *(p[0] for p in envelope.points)) if base < w < top})
    worst = (math.inf, base)
    for weight, at in _candidates(envelope, stops, weights, moments, end):
        arm = float(np.interp(weight, weights, moments)) / weight
        worst = min(worst, (_sign(end) * (arm - _limit(envelope, at, end)), weight))
    room, weight = worst
    return _Worst(room, weight, _sd_m(empty, envelope, weight, room, end), _load(path[1:], weight - empty.weight_kg))


def _heaviest_kg(record: AirframeRecord, envelope: Envelope) -> float:
    """The heaviest weight of an envelope that the record lets take off."""
    return min(weight_range(envelope.points)[1], *_figures(record.weights.take_off_max_kg), math.inf)


def _sign(end: int) -> int:
    return 1 if end == 0 else -1


def _figures(limit: Limit) -> list[float]:
    return [float(limit)] if is_figure(limit) else []  # type: ignore[arg-type]


def _filled(record: AirframeRecord, empty: EmptyWeight, category: str, end: int, pilot_kg: float, least_fuel_kg: float,
            ) -> list[tuple[str, float, float]]:
    """(place, kg, arm) in the order of filling: empty aeroplane, pilot, least fuel by tank, then everything by its arm."""
    assert record.fuel is not None
    stations = _open_stations(record, category)
    first = next(s for s in record.stations if s.kind == "seat")
    tanks = sorted(record.tanks, key=lambda t: _sign(end) * t.arm_m)
    room, least, left = {t.id: t.usable_m3 * record.fuel.density_kg_m3 for t in tanks}, [], least_fuel_kg
    for t in tanks:
        put = min(left, room[t.id])
        left, room[t.id] = left - put, room[t.id] - put
        least.append((f"fuel {t.id}", put, t.arm_m))
    caps = _caps(record, stations, empty.weight_kg, first.id, pilot_kg)
    places = [(f"fuel {t.id}", room[t.id], t.arm_m, "") for t in tanks]
    places += [(s.id, _most_kg(s) - (pilot_kg if s is first else 0.0), s.arm_m[end], s.id) for s in stations]
    after = []
    for name, most, arm, station in sorted(places, key=lambda p: _sign(end) * p[2]):
        mine = [c for c in caps if station in c.stations]
        put = max(0.0, min([most, *(c.left_kg for c in mine)]))
        for c in mine:
            c.left_kg -= put
        after.append((name, put, arm))
    return [("empty", empty.weight_kg, empty.arm_m), ("pilot", pilot_kg, first.arm_m[end]), *least, *after]


def _most_kg(s: Station) -> float:
    """The most a station is searched to."""
    return float(s.max_kg) if is_figure(s.max_kg) else PERSON_KG * max(s.seats, 1)  # type: ignore[arg-type]


def _caps(record: AirframeRecord, stations: tuple[Station, ...], empty_kg: float, first: str, pilot_kg: float,
          ) -> list[_Cap]:
    """Groups, and all stations under the zero-fuel weight; nested or apart."""
    caps: list[_Cap] = []
    for g in record.station_groups:
        mine = set(g.stations)
        cut = any(mine & c.stations and not (mine <= c.stations or c.stations <= mine) for c in caps)
        if not cut:
            caps += [_Cap(mine, limit - (pilot_kg if first in mine else 0.0)) for limit in _figures(g.max_kg)]
    everywhere = {s.id for s in stations}
    return caps + [_Cap(everywhere, limit - empty_kg - pilot_kg) for limit in _figures(record.weights.zero_fuel_max_kg)]


def _candidates(envelope: Envelope, stops: list[float], weights: FloatArray, moments: FloatArray, end: int,
                ) -> Iterator[tuple[float, float]]:
    """(weight, weight at which the limit is read): both ends of every stretch and its turning point."""
    if len(stops) == 1:
        yield stops[0], stops[0]
    for low, high in pairwise(stops):
        inside = min(BESIDE_KG, (high - low) / 4)
        yield from ((low, low + inside), (high, high - inside))
        m_low, m_high = np.interp([low, high], weights, moments)
        slope = (_limit(envelope, high - inside, end) - _limit(envelope, low + inside, end)) / (high - low - 2 * inside)
        at_zero = (m_low * high - m_high * low) / (high - low)
        if envelope.straight_in == "arm" and at_zero * slope < 0 and low < (turn := math.sqrt(-at_zero / slope)) < high:
            yield turn, turn


def _limit(envelope: Envelope, weight_kg: float, end: int) -> float:
    """The forward (0) or aft (1) limit, m; outside the envelope's weights that of its nearest weight."""
    low, high = weight_range(envelope.points)
    limits = arm_limits(envelope.points, envelope.straight_in, min(max(weight_kg, low), high))
    assert limits is not None
    return limits[end]


def _sd_m(empty: EmptyWeight, envelope: Envelope, weight_kg: float, room_m: float, end: int) -> float:
    """One sd of the room from the empty aeroplane: its arm's error, its weight's pull on the CG and on a sloping limit."""
    arm = _sign(end) * room_m + _limit(envelope, weight_kg, end)
    step = 0.5
    slope = (_limit(envelope, weight_kg + step, end) - _limit(envelope, weight_kg - step, end)) / (2 * step)
    by_weight = (empty.arm_m - arm) / weight_kg - slope
    return math.hypot(empty.weight_kg / weight_kg * empty.arm_sd_m, by_weight * empty.weight_sd_kg)


def _load(path: list[tuple[str, float, float]], load_kg: float) -> tuple[tuple[str, float], ...]:
    """What is aboard of the filling at a load, one line a place."""
    found: dict[str, float] = {}
    for name, most, _ in path:
        put = min(load_kg, most)
        load_kg -= put
        if put > BESIDE_KG or name == "pilot":
            found[name] = found.get(name, 0.0) + put
    return tuple(found.items())
