"""Entries: what an owner writes down, each a frozen value in SI with its moment and source. Never changed, only corrected.

A correction is a new entry of the same kind that names the one it corrects; a withdrawal names it and says why. What
stands is every entry that no later entry corrects. Times are aware UTC; what belongs to a day is a date.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import TypeVar

from ownship.ownership.bodies import COST_KINDS, DEFECT_STATES, KNOWN_BY, MAXIMUM_TEXT, ROLES, USES, Body, Money
from ownship.ownership.cockpit_events import CockpitFlight
from ownship.ownership.entries_flown import (
    Approach,
    Flight,
    FuelAdded,
    FuelSeen,
    HandOver,
    InstrumentReplaced,
    OilAdded,
    TankContents,
)
from ownship.ownership.entries_owned import (
    AerodromeRecord,
    AeroplaneRevision,
    Cost,
    EquipmentChange,
    Pilot,
    PilotEvent,
    Setting,
    Weighing,
)
from ownship.ownership.entries_upkeep import (
    CompassSwing,
    Defect,
    EngineReading,
    Expiry,
    Interval,
    MaintenanceDone,
    MaintenanceItem,
)

__all__ = (
    "BODIES", "COST_KINDS", "DEFECT_STATES", "KNOWN_BY", "MAXIMUM_TEXT", "ROLES", "USES", "AerodromeRecord", "AeroplaneRevision",
    "Approach", "Body", "CockpitFlight", "CompassSwing", "Cost", "Defect", "EngineReading", "Entry", "EquipmentChange", "Expiry",
    "Flight", "FuelAdded", "FuelSeen", "HandOver", "InstrumentReplaced", "Interval", "MaintenanceDone", "MaintenanceItem", "Money",
    "OilAdded", "Pilot", "PilotEvent", "Setting", "TankContents", "Weighing", "of_kind", "standing")

BODIES: tuple[type[Body], ...] = (
    AeroplaneRevision, AerodromeRecord, Weighing, EquipmentChange, Flight, FuelAdded, FuelSeen, OilAdded, Defect, HandOver,
    InstrumentReplaced, MaintenanceItem, MaintenanceDone, CompassSwing, EngineReading, PilotEvent, Pilot, Cost, Expiry, Setting,
    CockpitFlight)
B = TypeVar("B", bound=Body)


@dataclass(frozen=True)
class Entry:
    """One line of the record.

    number: in the order written; uid: the same in every export; aeroplane: registration, "" where none is meant; moment:
    when it happened; recorded: when it was written; corrects: number of the entry it replaces; withdrawn: the entry it
    names no longer counts; source: who says so; note: why it was corrected.
    """

    number: int
    uid: str
    aeroplane: str
    moment: datetime
    recorded: datetime
    body: Body
    source: str = "owner"
    corrects: int | None = None
    withdrawn: bool = False
    note: str = field(default="", compare=False)


def standing(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """The entries that count, by moment: corrected and withdrawn ones left out."""
    every = list(entries)
    replaced = {e.corrects for e in every if e.corrects is not None}
    return tuple(sorted((e for e in every if e.number not in replaced and not e.withdrawn), key=lambda e: (e.moment, e.number)))


def of_kind(entries: Iterable[Entry], body: type[B], aeroplane: str | None = None) -> tuple[tuple[Entry, B], ...]:
    """(entry, body) of one kind among entries that count, of one aeroplane or of all."""
    return tuple((e, e.body) for e in entries if isinstance(e.body, body) and (aeroplane is None or e.aeroplane == aeroplane))
