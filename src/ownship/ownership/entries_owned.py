"""Entries of what is owned: the aeroplane and its weights, aerodromes, pilots and what they did, costs, choices."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import ClassVar

from ownship.ownership.bodies import Body, Money


@dataclass(frozen=True)
class AeroplaneRevision(Body):
    """The airframe record from a day on, as its TOML text (docs/formats/airframe.md), and the rows it names."""

    KIND: ClassVar[str] = "aeroplane"
    effective: date
    toml: str
    rows_csv: str = ""
    own_text: str = ""


@dataclass(frozen=True)
class AerodromeRecord(Body):
    """An aerodrome of the owner's (formats.md), as the TOML of its table; overrides the open data."""

    KIND: ClassVar[str] = "aerodrome"
    ident: str
    toml: str
    dated: date


@dataclass(frozen=True)
class Weighing(Body):
    """A weighing (weighed) or a computed amendment: basic empty weight and arm, and how it was done.

    density_kg_m3: of the fuel where the tanks were full; scales: what they showed, (gross kg, tare kg, arm m) each.
    """

    KIND: ClassVar[str] = "weighing"
    day: date
    weighed: bool
    weight_kg: float
    arm_m: float
    oil: str = "full"
    fuel: str = "unusable"
    by: str = ""
    density_kg_m3: float | None = None
    scales: tuple[tuple[float, float, float], ...] = ()


@dataclass(frozen=True)
class EquipmentChange(Body):
    """Something installed (weight above 0) or removed (below 0) at an arm; a move is two entries. after_weighing: done on the
    day of a weighing and after it; else a weighing of that day holds it."""

    KIND: ClassVar[str] = "equipment"
    day: date
    what: str
    weight_kg: float
    arm_m: float
    by: str = ""
    after_weighing: bool = False


@dataclass(frozen=True)
class PilotEvent(Body):
    """What a pilot did that keeps a privilege: medical, flight review, instrument check, proficiency check, course ...

    event: one of the names of data/rules/<place>/recency; detail: class or kind ("3", "BasicMed", "class rating").
    """

    KIND: ClassVar[str] = "pilot event"
    pilot: str
    event: str
    day: date
    detail: str = ""
    expires: date | None = None


@dataclass(frozen=True)
class Pilot(Body):
    """A pilot: birth date where medicals depend on it, ratings by name ("PPL", "IR", "night"), place of the licence."""

    KIND: ClassVar[str] = "pilot"
    name: str
    born: date | None = None
    place: str = "USA"
    ratings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Cost(Body):
    """A cost of owning: kind fixed (per year), hourly, reserve (amount over hours and years), calendar (every so many
    years) or variable (as it happened). shareable: fuel, oil, fees charged for the flight. since_h, since_day: hours run (on
    the day of the entry) and first day of the life that a reserve or calendar item is for; fund: what is put by for it."""

    KIND: ClassVar[str] = "cost"
    what: str
    kind: str
    price: Money
    per_years: float | None = None
    per_hours_h: float | None = None
    since_h: float | None = None
    shareable: bool = False
    since_day: date | None = None
    fund: Money | None = None


@dataclass(frozen=True)
class Setting(Body):
    """One choice of the owner: its name and value as text."""

    KIND: ClassVar[str] = "setting"
    name: str
    value: str
