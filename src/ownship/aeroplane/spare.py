"""What more could be carried: payload with this fuel, fuel with this payload, up to the first limit met.

None where a limit that could be met is not known: what rests on it is not known either.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

from ownship.aeroplane.description import AirframeRecord, Limit, is_figure, not_published
from ownship.aeroplane.envelope import arm_limits, weight_range
from ownship.aeroplane.loading import Load, LoadItem, at_fuel, station_of, station_weights

Fuel = Mapping[str, float]
HALVINGS = 60


def more_payload_kg(record: AirframeRecord, category: str, load: Load, items: tuple[LoadItem, ...], usable_m3: Fuel,
                    density_kg_m3: float, station_id: str) -> float | None:
    """The most (kg) that could be added at a station with this fuel aboard; 0 where the load is outside as it stands.

    Ends at the first of: the station's and its groups' limits, a category that wants the station empty, ramp,
    take-off and zero-fuel weight, and the envelope at both ends of the seats from this fuel to none, in every
    order of the tanks. Take-off weight without the taxi fuel burnt: never more than what is allowed.
    """
    station = station_of(record, station_id)
    caps = [_cap(station.max_kg, station_weights(record, items)[station_id]), *_group_caps(record, items, station_id)]
    rules = next((c for c in record.categories if c.name == category), None)
    if rules is not None and station_id in rules.stations_empty:
        return 0.0
    weights = [_weight_cap(record, load, usable_m3, density_kg_m3),
               _cap(record.weights.zero_fuel_max_kg, load.weight_kg)]
    known = [c for c in (*caps, *weights) if c is not None]
    if len(known) < len(caps) + len(weights) or record.envelope(category) is None:
        return None
    states = _burn_down(record, usable_m3)

    def inside(extra: float) -> bool:
        more = replace(load, weight_kg=load.weight_kg + extra,
                       moment_forward_kg_m=load.moment_forward_kg_m + extra * station.arm_m[0],
                       moment_aft_kg_m=load.moment_aft_kg_m + extra * station.arm_m[1])
        return _inside(record, category, more, states, density_kg_m3)

    return _most(inside, min(known), _breaks(record, category, load, states, density_kg_m3))


def more_fuel_m3(record: AirframeRecord, category: str, load: Load, usable_m3: Fuel, density_kg_m3: float,
                 tank_id: str) -> float | None:
    """The most usable fuel (m3) that could be added to a tank with this payload; 0 where the load is outside already.

    Ends at the first of: a full tank, ramp and take-off weight, the envelope from that fuel to none.
    """
    tank = next(t for t in record.tanks if t.id == tank_id)
    heaviest = _weight_cap(record, load, usable_m3, density_kg_m3)
    if heaviest is None or record.envelope(category) is None:
        return None
    space = max(tank.usable_m3 - usable_m3.get(tank_id, 0.0), 0.0)

    def inside(extra_kg: float) -> bool:
        fuel = {**usable_m3, tank_id: usable_m3.get(tank_id, 0.0) + extra_kg / density_kg_m3}
        return _inside(record, category, load, _burn_down(record, fuel), density_kg_m3)

    breaks = _breaks(record, category, load, [dict(usable_m3)], density_kg_m3)
    return _most(inside, min(heaviest, space * density_kg_m3), breaks) / density_kg_m3


def _cap(limit: Limit, used_kg: float) -> float | None:
    """Room under a limit (kg): without end where none is published, None where it is not known."""
    if is_figure(limit):
        return float(limit) - used_kg  # type: ignore[arg-type]
    return math.inf if not_published(limit) else None


def _group_caps(record: AirframeRecord, items: tuple[LoadItem, ...], station_id: str) -> list[float | None]:
    weights = station_weights(record, items)
    return [_cap(g.max_kg, sum(weights[s] for s in g.stations)) for g in record.station_groups if station_id in g.stations]


def _weight_cap(record: AirframeRecord, load: Load, usable_m3: Fuel, density_kg_m3: float) -> float | None:
    """Room to ramp and take-off weight, whichever is met first; None without a known take-off weight."""
    weight = at_fuel(record, load, usable_m3, {}, density_kg_m3).weight_kg
    take_off, ramp = _cap(record.weights.take_off_max_kg, weight), _cap(record.weights.ramp_max_kg, weight)
    return None if take_off is None else min(take_off, math.inf if ramp is None else ramp)


def _burn_down(record: AirframeRecord, usable_m3: Fuel) -> list[dict[str, float]]:
    """This fuel, none, and each tank emptied before the others, as the corners of every burn between them."""
    full = {t.id: usable_m3.get(t.id, 0.0) for t in record.tanks}
    states = [full, dict.fromkeys(full, 0.0)]
    if len({t.arm_m for t in record.tanks}) > 1:
        for tank, amount in full.items():
            states += [{**full, tank: 0.0}, {**dict.fromkeys(full, 0.0), tank: amount}]
    return states


def _inside(record: AirframeRecord, category: str, load: Load, states: Iterable[Fuel], density_kg_m3: float) -> bool:
    """Whether the CG is inside at every fuel state; the lighter side of the envelope by its lightest limits."""
    envelope = record.envelope(category)
    assert envelope is not None
    low, high = weight_range(envelope.points)
    for usable in states:
        point = at_fuel(record, load, usable, {}, density_kg_m3)
        limits = arm_limits(envelope.points, envelope.straight_in, max(point.weight_kg, low))
        if point.weight_kg > high or limits is None:
            return False
        if point.arm_forward_m < limits[0] - 1e-9 or point.arm_aft_m > limits[1] + 1e-9:
            return False
    return True


def _breaks(record: AirframeRecord, category: str, load: Load, states: Iterable[Fuel], density_kg_m3: float) -> list[float]:
    """Additions (kg) at which some fuel state passes a corner of the envelope: between them every limit is one edge."""
    envelope = record.envelope(category)
    assert envelope is not None
    weights = [at_fuel(record, load, usable, {}, density_kg_m3).weight_kg for usable in states]
    return sorted(w - at for w, _ in envelope.points for at in weights if w > at)


def _most(inside: Callable[[float], bool], cap_kg: float, breaks: Iterable[float]) -> float:
    """The largest addition up to `cap_kg` that can be reached without leaving: corner by corner, then by halving."""
    if cap_kg <= 0 or not inside(0.0):
        return 0.0
    low = 0.0
    for high in (*(b for b in breaks if b < cap_kg), cap_kg):
        if math.isinf(high) or not inside(high):
            break
        low = high
    else:
        return low
    high = min(high, 2 * low + 5000.0)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if inside(middle) else (low, middle)
    return low
