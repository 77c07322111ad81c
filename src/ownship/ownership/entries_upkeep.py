"""Entries of upkeep: defects, what falls due and what was done, compass swings, engine readings, things that end on a day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import ClassVar

from ownship.ownership.bodies import USES, Body, Money


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
class Expiry(Body):
    """Something that ends on a day: insurance, registration, beacon registration, data cycle."""

    KIND: ClassVar[str] = "expiry"
    what: str
    last_day: date
    uses: tuple[str, ...] = USES
    document: str = ""
