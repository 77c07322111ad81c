"""Entries: what an owner writes down, each a frozen value in SI with its moment and source. Never changed, only corrected.

A correction is a new entry of the same kind that names the one it corrects; a withdrawal names it and says why. What
stands is every entry that no later entry corrects. Times are aware UTC; what belongs to a day is a date.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import ClassVar, TypeVar

MAXIMUM_TEXT = 20_000
ROLES = ("PIC", "dual", "instructor", "co-pilot", "safety pilot", "passenger")
KNOWN_BY = ("full", "mark", "dipstick", "clock", "gauge", "flow meter")
DEFECT_STATES = ("found", "deferred", "rectified")
USES = ("VFR", "night", "IFR", "passengers")  # flights that an open item or defect speaks to
COST_KINDS = ("fixed", "hourly", "reserve", "calendar", "variable")


@dataclass(frozen=True)
class Money:
    """An amount in one currency (ISO 4217); never added to another currency."""

    amount: Decimal
    currency: str


@dataclass(frozen=True)
class Body:
    """What an entry says; `KIND` is its name in the store, in exports and in commands."""

    KIND: ClassVar[str] = ""


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
    """Something installed (weight above 0) or removed (below 0) at an arm; a move is two entries."""

    KIND: ClassVar[str] = "equipment"
    day: date
    what: str
    weight_kg: float
    arm_m: float
    by: str = ""


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
    passengers: int = 0
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
class Defect(Body):
    """A step in the life of a defect: found, deferred (with until), rectified; `name` holds the steps together."""

    KIND: ClassVar[str] = "defect"
    name: str
    state: str
    words: str
    uses: tuple[str, ...] = USES
    until: date | None = None
    by: str = ""


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


@dataclass(frozen=True)
class Interval:
    """How often: calendar by a pattern of rules.due ("12 calendar months", "24 months", "90 days"), hours, landings; first
    of them counts. Tolerances past due (tolerance: a pattern, such as "1 month"); carry: the next is counted from when it was
    done, not from when it was due."""

    every: str = ""
    hours_h: float | None = None
    landings: int | None = None
    tolerance_days: int = 0
    tolerance_h: float = 0.0
    carry: bool = True
    tolerance: str = ""


@dataclass(frozen=True)
class MaintenanceItem(Body):
    """Something that falls due. uses: the flights that may not be made when it is overdue; directive: its number, "" none.

    terminated: words of the terminating action once done; then it falls due no more. severity: block, warn or info.
    An interval that says nothing: once only. fixed_date, first_due_h, first_due_landings: by when it is due the first time,
    the latter two as totals of the airframe. note: what the reader must know beside it.
    """

    KIND: ClassVar[str] = "maintenance item"
    name: str
    title: str
    interval: Interval
    uses: tuple[str, ...] = USES
    section: str = ""
    status: str = "owner"
    severity: str = "warn"
    directive: str = ""
    revision: str = ""
    method: str = ""
    effective: date | None = None
    fixed_date: date | None = None
    expected_cost: Money | None = None
    terminated: str = ""
    first_due_h: float | None = None
    first_due_landings: int | None = None
    note: str = ""


@dataclass(frozen=True)
class MaintenanceDone(Body):
    """An item done on a day, at airframe hours (air time) and landings; terminating: it never falls due again; anew: whatever
    was overrun, the next is counted from here (a licensed person's word, after a lapse)."""

    KIND: ClassVar[str] = "maintenance done"
    name: str
    day: date
    hours_h: float | None = None
    landings: int | None = None
    by: str = ""
    words: str = ""
    cost: Money | None = None
    terminating: bool = False
    anew: bool = False


@dataclass(frozen=True)
class CompassSwing(Body):
    """A swing: magnetic headings and what the compass showed, degrees."""

    KIND: ClassVar[str] = "compass swing"
    day: date
    magnetic_deg: tuple[float, ...]
    compass_deg: tuple[float, ...]
    by: str = ""


@dataclass(frozen=True)
class EngineReading(Body):
    """What tells of the engine's health, reduced later to standard air; None: not noted."""

    KIND: ClassVar[str] = "engine"
    day: date
    hours_h: float
    static_rev_s: float | None = None
    temperature_k: float | None = None
    pressure_altitude_m: float | None = None
    compressions: tuple[float, ...] = ()
    filter_words: str = ""
    mag_drop_rev_s: float | None = None


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
class Expiry(Body):
    """Something that ends on a day: insurance, registration, beacon registration, data cycle."""

    KIND: ClassVar[str] = "expiry"
    what: str
    last_day: date
    uses: tuple[str, ...] = USES
    document: str = ""


@dataclass(frozen=True)
class Setting(Body):
    """One choice of the owner: its name and value as text."""

    KIND: ClassVar[str] = "setting"
    name: str
    value: str


BODIES: tuple[type[Body], ...] = (
    AeroplaneRevision, AerodromeRecord, Weighing, EquipmentChange, Flight, FuelAdded, FuelSeen, OilAdded, Defect, HandOver,
    InstrumentReplaced, MaintenanceItem, MaintenanceDone, CompassSwing, EngineReading, PilotEvent, Pilot, Cost, Expiry, Setting)
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
