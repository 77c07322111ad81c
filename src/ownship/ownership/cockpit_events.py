"""What was noted in the air: the events of one flight, each once, and the draft of the flight that follows from them.

One entry a flight stands; more events come as a correction of it that holds them all (docs/methods/cockpit.md).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import ClassVar

from ownship.ownership.bodies import Body
from ownship.ownership.entries_flown import TankContents

KINDS = ("off blocks", "taken off", "tank", "fix", "no feed", "heat", "clock", "pulse", "landed", "on blocks", "undone")


@dataclass(frozen=True)
class CockpitEvent:
    """One event as the device wrote it: both its clocks in ms, the run of the page (its stopwatch begins anew with it), and the
    difference of the clocks when the run began; what it is about (tank, fix), the event it undoes, the time typed in."""

    event: str
    kind: str
    wall_ms: int
    mono_ms: int
    run: str
    began_ms: int
    about: str = ""
    undoes: str = ""
    utc_ms: int | None = None


@dataclass(frozen=True)
class TankSelected:
    """A tank and since when it was selected, UTC."""

    tank: str
    since: datetime


@dataclass(frozen=True)
class CockpitFlight(Body):
    """The events of one flight and its draft: places, moments UTC (None: not noted), usable fuel by the clock, tank changes.

    counted: events the draft rests on; confirmed: number of the flight's entry in the log, None while it is a draft.
    """

    KIND: ClassVar[str] = "cockpit"
    flight: str
    events: tuple[CockpitEvent, ...] = ()
    origin: str = ""
    destination: str = ""
    off_blocks: datetime | None = None
    take_off: datetime | None = None
    landing: datetime | None = None
    on_blocks: datetime | None = None
    fuel_before: tuple[TankContents, ...] = ()
    fuel_after: tuple[TankContents, ...] = ()
    changes: tuple[TankSelected, ...] = ()
    no_feed: tuple[str, ...] = ()
    counted: int = 0
    confirmed: int | None = None


def merged(old: CockpitFlight | None, new: CockpitFlight) -> CockpitFlight:
    """The events of both, each once, in the order they came; the draft that rests on more of them (equal: the newer).

    A confirmed flight stays so: its draft is that of the confirmation, later events are kept beside it.
    """
    if old is None:
        return new
    known = {e.event for e in old.events}
    events = (*old.events, *(e for e in new.events if e.event not in known))
    draft = old if old.confirmed is not None or new.counted < old.counted else new
    return replace(draft, events=events, confirmed=old.confirmed)
