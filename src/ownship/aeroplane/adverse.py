"""The most adverse CG of all loadings: every total weight, the load put as far forward and as far aft as its limits let it.

For a total weight the extreme moment is a small linear programme whose solution is to fill the places in the order
of their arms (fractional filling); fixed recipes miss sloping limits, a search over every weight does not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ownship.aeroplane.description import AirframeRecord, is_figure
from ownship.aeroplane.envelope import arm_limits, weight_range
from ownship.aeroplane.weighing import EmptyWeight
from ownship.units import to_si

PERSON_KG = float(to_si(250, "lb"))  # the most a seat is searched to where the record gives no limit
PILOT_KG = float(to_si(120, "lb"))  # the lightest pilot: someone always sits in front
STEPS = 80


@dataclass(frozen=True)
class Adverse:
    """The tightest forward and aft CG over all loadings: room in arm (m, negative outside) and the weight of it (kg)."""

    forward_room_m: float
    forward_weight_kg: float
    aft_room_m: float
    aft_weight_kg: float


def adverse_loading(record: AirframeRecord, empty: EmptyWeight, category: str = "normal",
                    pilot_kg: float = PILOT_KG) -> Adverse | None:
    """Search all stations, seat ranges, tanks and weights; None where the record has no envelope or no seat.

    The pilot sits in the first seat station, at its forward end for the forward search and at its aft end for the aft.
    """
    envelope, seats = record.envelope(category), [s for s in record.stations if s.kind == "seat"]
    if envelope is None or not seats or record.fuel is None:
        return None
    low, high = weight_range(envelope.points)
    found = {}
    for end, sign in ((0, 1), (1, -1)):
        places = _places(record, end, pilot_kg)
        base = empty.weight_kg + pilot_kg
        moment = empty.weight_kg * empty.arm_m + pilot_kg * seats[0].arm_m[end]
        most = min(high, base + sum(w for w, _ in places))
        worst = (np.inf, base)
        for weight in np.linspace(base, max(most, base), STEPS):
            arm = _extreme(base, moment, places, float(weight), sign) / weight
            limits = arm_limits(envelope.points, envelope.straight_in, float(np.clip(weight, low, high)))
            assert limits is not None
            room = arm - limits[0] if end == 0 else limits[1] - arm
            worst = min(worst, (float(room), float(weight)))
        found[end] = worst
    return Adverse(found[0][0], found[0][1], found[1][0], found[1][1])


def _places(record: AirframeRecord, end: int, pilot_kg: float) -> list[tuple[float, float]]:
    """(most weight, arm) of every station and tank besides the pilot; baggage groups share their limit."""
    assert record.fuel is not None
    places = [(t.usable_m3 * record.fuel.density_kg_m3, t.arm_m) for t in record.tanks]
    first = next(s for s in record.stations if s.kind == "seat")
    for s in record.stations:
        most = float(s.max_kg) if is_figure(s.max_kg) else PERSON_KG * max(s.seats, 1)  # type: ignore[arg-type]
        if s is first:
            most = max(most - pilot_kg, 0.0)
        for g in record.station_groups:
            if s.id in g.stations and is_figure(g.max_kg):
                most = min(most, float(g.max_kg))  # type: ignore[arg-type]
        places.append((most, s.arm_m[end]))
    return places


def _extreme(base_kg: float, moment: float, places: list[tuple[float, float]], weight_kg: float, sign: int) -> float:
    """Least (sign 1) or greatest (-1) moment at a total weight: fill the places by arm."""
    left = weight_kg - base_kg
    for most, arm in sorted(places, key=lambda p: sign * p[1]):
        put = min(left, most)
        moment, left = moment + put * arm, left - put
    return moment
