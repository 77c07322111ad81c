"""Loading: weight, moment and CG at any fuel, for both ends of sliding seats, with the error of what went in."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from ownship.aeroplane.description import AirframeRecord, Station, is_figure
from ownship.aeroplane.envelope import arm_limits, limit_slopes, weight_range
from ownship.aeroplane.weighing import EmptyWeight, InputErrors
from ownship.errors import BadInput


@dataclass(frozen=True)
class LoadItem:
    """Something aboard: what, where, how heavy, weighed or guessed."""

    what: str
    station: str
    weight_kg: float
    weighed: bool


@dataclass(frozen=True)
class LoadPoint:
    """The loaded aeroplane at one fuel state: weight, arm with seats at their forward and aft ends, one-sd errors.

    `covariance_kg_m` is that of weight and arm: a heavier passenger also moves the CG.
    """

    weight_kg: float
    arm_forward_m: float
    arm_aft_m: float
    weight_sd_kg: float
    arm_sd_m: float
    covariance_kg_m: float = 0.0

    @property
    def moment_kg_m(self) -> float:
        """Moment with seats aft."""
        return self.weight_kg * self.arm_aft_m


@dataclass(frozen=True)
class Load:
    """Everything but the fuel, ready to be combined with any fuel: sums of weight, moments and variances."""

    weight_kg: float
    moment_forward_kg_m: float
    moment_aft_kg_m: float
    variances: tuple[tuple[float, float], ...]
    empty: EmptyWeight


def load_of(record: AirframeRecord, empty: EmptyWeight, items: tuple[LoadItem, ...], errors: InputErrors) -> Load:
    """Sum the empty aeroplane and the items; refuses an item at a station that the record does not have."""
    weight = empty.weight_kg
    forward = aft = empty.weight_kg * empty.arm_m
    variances = []
    for item in items:
        station = station_of(record, item.station)
        weight += item.weight_kg
        forward += item.weight_kg * station.arm_m[0]
        aft += item.weight_kg * station.arm_m[1]
        variances.append((item_sd_kg(item, station, errors) ** 2, (station.arm_m[0] + station.arm_m[1]) / 2))
    return Load(weight, forward, aft, tuple(variances), empty)


def station_of(record: AirframeRecord, id_: str) -> Station:
    """The station with an id; BadInput names those that exist."""
    station = record.station(id_)
    if station is None:
        known = ", ".join(s.id for s in record.stations) or "none"
        raise BadInput(f"[[loads]] station: the aeroplane has no station {id_!r}; its stations are: {known}.")
    return station


def item_sd_kg(item: LoadItem, station: Station, errors: InputErrors) -> float:
    """One sd of an item's weight: weighed 1 lb, a guessed person 10 lb, guessed baggage 15 %; nothing weighs exactly 0."""
    if item.weight_kg == 0:
        return 0.0
    if item.weighed:
        return errors.weighed_item_kg
    return errors.guessed_person_kg if station.kind == "seat" else errors.guessed_baggage_1 * item.weight_kg


def at_fuel(record: AirframeRecord, load: Load, usable_m3: Mapping[str, float], fuel_sd_m3: Mapping[str, float],
            density_kg_m3: float) -> LoadPoint:
    """The loaded aeroplane with usable fuel by tank (unusable fuel is in the empty weight).

    Errors by propagation: var W = sum var w; var CG = sum (var w ((arm - CG)/W)^2) + (W_empty/W sd_arm)^2;
    cov(W, CG) = sum var w (arm - CG)/W.
    """
    weight, forward, aft = load.weight_kg, load.moment_forward_kg_m, load.moment_aft_kg_m
    variances = list(load.variances)
    for tank in record.tanks:
        mass = usable_m3.get(tank.id, 0.0) * density_kg_m3
        weight, forward, aft = weight + mass, forward + mass * tank.arm_m, aft + mass * tank.arm_m
        variances.append(((fuel_sd_m3.get(tank.id, 0.0) * density_kg_m3) ** 2, tank.arm_m))
    variances.append((load.empty.weight_sd_kg**2, load.empty.arm_m))
    middle = (forward + aft) / 2 / weight
    var_arm = sum(v * ((arm - middle) / weight) ** 2 for v, arm in variances)
    var_arm += (load.empty.weight_kg / weight * load.empty.arm_sd_m) ** 2
    covariance = sum(v * (arm - middle) / weight for v, arm in variances)
    return LoadPoint(weight, forward / weight, aft / weight, sum(v for v, _ in variances) ** 0.5, var_arm**0.5, covariance)


def percent_mac(record: AirframeRecord, arm_m: float) -> float | None:
    """CG in per cent of the mean aerodynamic chord; None where the record has no MAC. Check: WB-05."""
    g = record.geometry
    if g is None or g.mac_m is None or g.lemac_m is None:
        return None
    return (arm_m - g.lemac_m) / g.mac_m * 100


@dataclass(frozen=True)
class Room:
    """Room to the envelope at a point: limits of the arm, room in arm (worse seat end) and in weight, words.

    `sd_m` is the error (one sd) of the room in arm: where the nearer limit slopes, the error of the weight moves
    the limit too. `weight_kg` negative: above the envelope's heaviest weight, outside whatever the arm; the arm's
    limits are then those of that weight. `lighter`: below its lightest weight, whose limits are used.
    """

    limits_m: tuple[float, float] | None
    arm_m: float
    weight_kg: float
    words: str
    sd_m: float = 0.0
    top_kg: float = math.inf
    lighter: bool = False

    @property
    def inside(self) -> bool:
        """Whether the point is inside the envelope, in weight and in arm, the lighter side counted by its own limits."""
        return self.arm_m >= 0 and self.weight_kg >= 0


def taxi_allowance_kg(record: AirframeRecord) -> float:
    """What ramp weight may be above take-off weight (kg): an envelope ends at take-off weight; 0 unless both are known."""
    ramp, take_off = limit_kg(record.weights.ramp_max_kg), limit_kg(record.weights.take_off_max_kg)
    return 0.0 if ramp is None or take_off is None else max(ramp - take_off, 0.0)


def room(record: AirframeRecord, category: str, point: LoadPoint, taxi_kg: float = 0.0) -> Room | None:
    """Room to the category's envelope, None where the record has none. Negative: outside.

    `taxi_kg`: allowed above the envelope's heaviest weight, on the ground before take-off only (`taxi_allowance_kg`).
    var(room) = var CG + slope^2 var W - 2 slope cov(W, CG), slope that of the nearer limit in m/kg.
    """
    envelope = record.envelope(category)
    if envelope is None:
        return None
    low, high = weight_range(envelope.points)
    at = min(max(point.weight_kg, low), high)
    limits = arm_limits(envelope.points, envelope.straight_in, at)
    assert limits is not None
    forward, aft = point.arm_forward_m - limits[0], limits[1] - point.arm_aft_m
    words = "forward limit" if forward < aft else "aft limit"
    slope = limit_slopes(envelope.points, envelope.straight_in, at)[0 if forward < aft else 1] if at == point.weight_kg else 0.0
    variance = point.arm_sd_m**2 + (slope * point.weight_sd_kg) ** 2 - 2 * slope * point.covariance_kg_m
    if point.weight_kg < low:
        words = f"below the lightest weight of the envelope, limits of that weight used, {words}"
    top = high + taxi_kg
    if point.weight_kg > top:
        words = f"above the heaviest weight of the envelope, limits of that weight used, {words}"
    return Room(limits, min(forward, aft), top - point.weight_kg, words, max(variance, 0.0) ** 0.5, top,
                point.weight_kg < low)


def more_weight_kg(record: AirframeRecord, category: str, load: Load, usable_m3: Mapping[str, float],
                   density_kg_m3: float, at_m: float, limit_kg: float, cap_kg: float = 1000.0) -> float:
    """What could still be put at an arm: the largest w (kg, within `cap_kg`) inside envelope and weight limit.

    By bisection; 0 where the aeroplane is outside as it stands. Used for payload and for fuel alike.
    """
    base = at_fuel(record, load, usable_m3, {}, density_kg_m3)

    def inside(extra: float) -> bool:
        weight = base.weight_kg + extra
        point = LoadPoint(weight, (base.weight_kg * base.arm_forward_m + extra * at_m) / weight,
                          (base.weight_kg * base.arm_aft_m + extra * at_m) / weight, 0.0, 0.0)
        found = room(record, category, point)
        return weight <= limit_kg and (found is None or (found.arm_m >= 0 and found.weight_kg >= 0))

    if not inside(0.0):
        return 0.0
    low, high = 0.0, cap_kg
    if inside(high):
        return high
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if inside(middle) else (low, middle)
    return low


def station_weights(record: AirframeRecord, items: tuple[LoadItem, ...]) -> dict[str, float]:
    """Weight at every station, kg."""
    return {s.id: sum(i.weight_kg for i in items if i.station == s.id) for s in record.stations}


def station_sds_kg(record: AirframeRecord, items: tuple[LoadItem, ...], errors: InputErrors) -> dict[str, float]:
    """Error (one sd) of the weight at every station, kg: items are weighed or guessed one by one."""
    return {s.id: sum(item_sd_kg(i, s, errors) ** 2 for i in items if i.station == s.id) ** 0.5 for s in record.stations}


def limit_kg(value: object) -> float | None:
    """A limit as a number where it is one."""
    return float(value) if is_figure(value) else None  # type: ignore[arg-type]
