"""What every entry is made of: money, the body of an entry, and the words that more than one kind of entry uses."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import ClassVar

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
