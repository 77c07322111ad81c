"""Fuel on board as the pilot knows it, and fuel needed by time: what to order, what is left, by when.

Usable fuel everywhere unless "total" is said. Volumes in m3, draws (draw,).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ownship.aeroplane.description import AirframeRecord, Tank
from ownship.aeroplane.weighing import InputErrors
from ownship.errors import BadInput
from ownship.flight.chance import Chance, middle
from ownship.flight.request import FlightRequest, TankFuel
from ownship.flight.timeline import Timeline
from ownship.units import from_si
from ownship.words.figures import number_text

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class TankState:
    """Usable fuel of one tank at the start: the value, its error (one sd), its draws and how it is known."""

    tank: str
    usable_m3: float
    sd_m3: float
    draws_m3: FloatArray
    words: str


def on_board(request: FlightRequest, record: AirframeRecord, errors: InputErrors,
             chance: Chance) -> tuple[TankState, ...]:
    """Usable fuel by tank after adding; refuses unknown tanks and marks and more than a tank holds."""
    known = {tank.id for tank in record.tanks}
    for name, entry in request.fuel.items():
        if name not in known:
            raise BadInput(f"{entry.where or f'[fuel.{name}]'}: the aeroplane has no tank {name!r}; "
                           f"its tanks are: {', '.join(sorted(known)) or 'none on its record'}.")
    return tuple(_tank(tank, request.fuel.get(tank.id), errors, chance) for tank in record.tanks)


def _tank(tank: Tank, entry: TankFuel | None, errors: InputErrors, chance: Chance) -> TankState:
    full = tank.capacity_m3 - tank.unusable_m3
    if entry is None:
        return TankState(tank.id, 0.0, 0.0, np.zeros(chance.draws), "none entered")
    usable = _usable(tank, entry)
    after = usable + entry.add_m3
    if after > full * (1 + 1e-9):
        raise BadInput(f"{entry.where} add: {_gal(after)} usable would be in the {tank.id} tank, "
                       f"which holds {_gal(full)} usable; enter less.")
    sd = {"full": errors.fuel_full_m3, "mark": errors.fuel_mark_m3, "dipstick": errors.fuel_dipstick_m3,
          "clock": errors.fuel_clock_1 * (full - usable),
          "gauge": errors.fuel_gauge_1 * tank.capacity_m3}[entry.known_by]
    draws = np.clip(usable + sd * chance.normals(f"fuel {tank.id}"), 0.0, full) + entry.add_m3
    words = f"{_gal(usable)} usable, known by {entry.known_by}"
    if entry.add_m3:
        words += f", {_gal(entry.add_m3)} added"
    return TankState(tank.id, after, sd, np.minimum(draws, full), words)


def _usable(tank: Tank, entry: TankFuel) -> float:
    full = tank.capacity_m3 - tank.unusable_m3
    if isinstance(entry.on_board, str):
        if entry.on_board == "full":
            return full
        for mark in tank.marks:
            if mark.name == entry.on_board:
                return mark.usable_m3
        names = ", ".join(f"\"{m.name}\"" for m in tank.marks)
        raise BadInput(f"{entry.where} on_board: the {tank.id} tank has no mark {entry.on_board!r}; "
                       f"write a quantity, \"full\"{f' or one of {names}' if names else ''}.")
    total = entry.counts == "total" or (entry.counts is None and entry.known_by == "dipstick")
    usable = entry.on_board - tank.unusable_m3 if total else entry.on_board
    if usable > full * (1 + 1e-9):
        raise BadInput(f"{entry.where} on_board: {_gal(entry.on_board)} is more than the {tank.id} tank holds, "
                       f"{_gal(tank.capacity_m3)} total and {_gal(full)} usable.")
    return max(usable, 0.0)


def _gal(volume_m3: float) -> str:
    return f"{number_text(float(from_si(volume_m3, 'usgal')))} US gal"


@dataclass(frozen=True)
class FuelNeeds:
    """What the flight needs, each (draw,) m3 of usable fuel, and the rule behind the reserve."""

    taxi_m3: FloatArray
    trip_m3: FloatArray
    alternate_m3: FloatArray
    missed_m3: FloatArray
    reserve_m3: FloatArray
    extra_m3: FloatArray
    contingency_m3: float
    reserve_words: str
    flow_m3_s: FloatArray

    def required_at_landing_m3(self) -> FloatArray:
        """Final reserve + alternate, missed approach and extra: what must be left in the tanks on landing."""
        return self.reserve_m3 + self.alternate_m3 + self.missed_m3 + self.extra_m3

    def to_order_m3(self) -> float:
        """The fuel to order: medians of every part plus the contingency."""
        parts = (self.taxi_m3, self.trip_m3, self.required_at_landing_m3())
        return sum(middle(p) for p in parts) + self.contingency_m3


def contingency_m3(trip_m3: FloatArray, owner_1: float, confidence_1: float) -> float:
    """The larger of the owner's per cent of the trip and its band: max(p x median, q_c - median)."""
    median = middle(trip_m3)
    return max(owner_1 * median, float(np.quantile(trip_m3, confidence_1)) - median)


def trip_m3(timeline: Timeline) -> FloatArray:
    """Burn from take-off to landing, (draw,)."""
    return timeline.total("burn_m3") - timeline.total("burn_m3", ("start and taxi",))
