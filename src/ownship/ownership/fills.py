"""Fills of the fuel log from what is kept: flights between two moments at which every tank was known, and fuel added between.

A moment is known where every tank was filled to full or a mark, dipped, or noted with a flight, after the last flight. Levels
by the clock are left out: the clock's flow is what the log is to find. docs/methods/fuel-log.md.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from ownship.aeroplane.description import Tank
from ownship.ownership.entries import Entry, Flight, FuelAdded, FuelSeen, TankContents
from ownship.ownership.fuel_aboard import level_m3

CIRCULAR = ("clock",)
ROSE_SD = 2.0  # a level this much above what was there and added: fuel came in that nobody noted
SdOf = Callable[[Tank, float, str], float]


@dataclass(frozen=True)
class Sighting:
    """Every tank known at once: usable m3 and one sd by tank, with what was added since the last flight; whole: all of it was
    noted."""

    at: datetime
    levels: tuple[tuple[str, float, float], ...]
    added_m3: tuple[tuple[str, float], ...]
    whole: bool

    @property
    def sd_m3(self) -> float:
        """One sd of the sum."""
        return math.hypot(*(sd for _, _, sd in self.levels))


@dataclass(frozen=True)
class Span:
    """Flights from one sighting to another and what was added to each tank between, m3."""

    start: Sighting
    end: Sighting
    flights: tuple[Flight, ...]
    added_m3: tuple[tuple[str, float], ...]


@dataclass
class _Walk:
    """What is known while the entries are gone through."""

    tanks: dict[str, Tank]
    sd_of: SdOf
    levels: dict[str, tuple[float, float] | None]
    added: dict[str, float]
    whole: bool = True
    seen: list[Sighting] = field(default_factory=list)


def spans(entries: Iterable[Entry], aeroplane: str, tanks: Sequence[Tank], sd_of: SdOf) -> tuple[tuple[Span, ...], int]:
    """(spans in order of time, flights that are in none) of an aeroplane's entries that stand.

    sd_of: one sd of a level (tank, usable m3, how known). Between two flights the surest sighting begins the next span, and
    the surest with all fuel noted ends the one before, of equals the first: full to full where the tanks were filled. Two spans
    meet where both are the same sighting.
    """
    by_id = {t.id: t for t in tanks}
    found: list[Span] = []
    flights: list[Flight] = []
    total: dict[str, float] = dict.fromkeys(by_id, 0.0)
    start: Sighting | None = None
    count = 0
    for pause, flight in _pauses(entries, aeroplane, by_id, sd_of):
        whole = (x for x in pause.seen if x.whole)  # of equals the first: nobody has added anything unnoted by then
        end = min(whole, key=lambda x: x.sd_m3, default=None)
        if start is not None and flights and end is not None:
            more = dict(end.added_m3)
            found.append(Span(start, end, tuple(flights), tuple((k, total[k] + more[k]) for k in total)))
        begin = min(reversed(pause.seen), key=lambda x: x.sd_m3, default=None)
        if begin is not None or not pause.whole:
            start, flights, total = begin, [], dict.fromkeys(by_id, 0.0)
            after = {} if begin is None else dict(begin.added_m3)
        else:
            after = {}
        total = {k: total[k] + pause.added[k] - after.get(k, 0.0) for k in total}
        if flight is not None:
            flights.append(flight)
            count += 1
    return tuple(found), count - sum(len(s.flights) for s in found)


def _pauses(entries: Iterable[Entry], aeroplane: str, tanks: dict[str, Tank], sd_of: SdOf) -> Iterable[tuple[_Walk, Flight | None]]:
    """What was seen and added between two flights, and the flight that ends it (None: the last)."""
    walk = _fresh(tanks, sd_of)
    for _, entry, step in sorted(_steps(entries, aeroplane), key=lambda x: (x[0], x[1].number, x[2])):
        body = entry.body
        if isinstance(body, Flight) and step == 0:
            for contents in body.fuel_before:
                _see(walk, contents, body.off_blocks)
            yield walk, body
            walk = _fresh(tanks, sd_of)
        elif isinstance(body, Flight):
            for contents in body.fuel_after:
                _see(walk, contents, body.on_blocks, first=True)
        elif isinstance(body, FuelSeen):
            _see(walk, TankContents(body.tank, body.usable_m3, body.known_by), entry.moment)
        elif isinstance(body, FuelAdded):
            _add(walk, body, entry.moment)
    yield walk, None


def _steps(entries: Iterable[Entry], aeroplane: str) -> Iterable[tuple[datetime, Entry, int]]:
    for e in entries:
        if e.aeroplane == aeroplane and isinstance(e.body, Flight):
            yield e.body.off_blocks, e, 0
            yield e.body.on_blocks, e, 1
        elif e.aeroplane == aeroplane and isinstance(e.body, FuelAdded | FuelSeen):
            yield e.moment, e, 0


def _fresh(tanks: dict[str, Tank], sd_of: SdOf) -> _Walk:
    return _Walk(tanks, sd_of, dict.fromkeys(tanks), dict.fromkeys(tanks, 0.0))


def _see(walk: _Walk, seen: TankContents, moment: datetime, *, first: bool = False) -> None:
    """A level that somebody knew; full without fuel noted, or more than was there and added, is fuel that nobody noted."""
    tank = walk.tanks.get(seen.tank)
    if tank is None or seen.known_by in CIRCULAR:
        return
    before, sd = walk.levels[seen.tank], walk.sd_of(tank, seen.usable_m3, seen.known_by)
    if before is None:
        walk.whole &= first or seen.known_by != "full" or walk.added[seen.tank] > 0
    else:
        walk.whole &= seen.usable_m3 - before[0] <= ROSE_SD * math.hypot(sd, before[1])
    walk.levels[seen.tank] = (seen.usable_m3, sd)
    _note(walk, moment)


def _add(walk: _Walk, added: FuelAdded, moment: datetime) -> None:
    tank = walk.tanks.get(added.tank)
    if tank is None:
        walk.whole = False
        return
    walk.added[tank.id] += added.amount_m3
    level, before = level_m3(tank, added.level), walk.levels[tank.id]
    if level is not None:
        walk.levels[tank.id] = (level, walk.sd_of(tank, level, "full" if added.level == "full" else "mark"))
    elif before is not None:
        walk.levels[tank.id] = (before[0] + added.amount_m3, before[1])
    _note(walk, moment)


def _note(walk: _Walk, moment: datetime) -> None:
    """The sighting of now, where every tank is known."""
    known = [(name, *level) for name, level in walk.levels.items() if level is not None]
    if len(known) == len(walk.levels):
        walk.seen.append(Sighting(moment, tuple(known), tuple(walk.added.items()), walk.whole))
