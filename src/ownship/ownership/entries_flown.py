"""Entries of flying: flights, fuel and oil, meters, the hand-over to a partner."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

from ownship.ownership.bodies import Body, Money


@dataclass(frozen=True)
class Approach:
    """One instrument approach: its kind (ILS, LPV, VOR ...), place, and whether actual, simulated or in a device."""

    kind: str
    place: str
    how: str = "actual"


@dataclass(frozen=True)
class TankContents:
    """Usable fuel of a tank and how it is known."""

    tank: str
    usable_m3: float
    known_by: str


@dataclass(frozen=True)
class Flight(Body):
    """One flight. Blocks, take-off and landing UTC; meters in hours; air time is surface to surface, flight time from first
    movement until at rest; None: not noted. Night by the definition named at the place of use, in seconds of flight."""

    KIND: ClassVar[str] = "flight"
    off_blocks: datetime
    on_blocks: datetime
    origin: str
    destination: str
    take_off: datetime | None = None
    landing: datetime | None = None
    via: tuple[str, ...] = ()
    tachometer_from_h: float | None = None
    tachometer_to_h: float | None = None
    hour_meter_from_h: float | None = None
    hour_meter_to_h: float | None = None
    landings_day: int = 0
    landings_night: int = 0
    take_offs_day: int | None = None
    take_offs_night: int | None = None
    full_stop_night: int | None = None
    pilot: str = ""
    role: str = "PIC"
    crew: tuple[str, ...] = ()
    passengers: int | None = None
    rules: str = "VFR"
    night_s: float = 0.0
    instrument_s: float = 0.0
    simulated_s: float = 0.0
    approaches: tuple[Approach, ...] = ()
    holds: int = 0
    tracked: bool = False
    cross_country_m: float | None = None
    fuel_before: tuple[TankContents, ...] = ()
    fuel_after: tuple[TankContents, ...] = ()
    phases_s: tuple[tuple[str, float], ...] = ()
    aeroplane_class: str = "single-engine land"
    remarks: str = ""

    @property
    def flight_s(self) -> float:
        """Flight time: blocks to blocks."""
        return (self.on_blocks - self.off_blocks).total_seconds()

    @property
    def air_s(self) -> float | None:
        """Air time: take-off to landing; None where either is not noted."""
        if self.take_off is None or self.landing is None:
            return None
        return (self.landing - self.take_off).total_seconds()


@dataclass(frozen=True)
class FuelAdded(Body):
    """Fuel put into a tank; level: what it was filled to ("full", a mark, ""), price of all of it."""

    KIND: ClassVar[str] = "fuel"
    tank: str
    amount_m3: float
    level: str = ""
    price: Money | None = None
    place: str = ""


@dataclass(frozen=True)
class FuelSeen(Body):
    """Usable fuel in a tank as somebody saw it: dipstick, mark or full; it settles what the clock said before."""

    KIND: ClassVar[str] = "fuel seen"
    tank: str
    usable_m3: float
    known_by: str


@dataclass(frozen=True)
class OilAdded(Body):
    """Oil put in (0 at a change), the engine's hours then."""

    KIND: ClassVar[str] = "oil"
    amount_m3: float
    hours_h: float | None = None
    price: Money | None = None


@dataclass(frozen=True)
class HandOver(Body):
    """The aeroplane handed to a partner: fuel and how known, oil, tie-down, keys, the named meter, what is owed."""

    KIND: ClassVar[str] = "hand-over"
    to: str
    by: str
    fuel: tuple[TankContents, ...] = ()
    oil_m3: float | None = None
    tied_down: str = ""
    keys: str = ""
    meter: str = "tachometer"
    meter_h: float | None = None
    owed: Money | None = None


@dataclass(frozen=True)
class InstrumentReplaced(Body):
    """A meter replaced ("tachometer" or "hour meter"): its last reading and the new one's first."""

    KIND: ClassVar[str] = "instrument"
    which: str
    old_h: float
    new_h: float
