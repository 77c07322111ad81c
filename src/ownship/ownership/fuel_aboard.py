"""Fuel on board now, by tank, with band and since when; oil per hour.

The last level that somebody knew (filled to full or to a mark, dipped, noted after a flight), then what was added and what
flights burnt since. Usable fuel throughout. What nobody noted is not known, never guessed. docs/methods/log.md.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise

from ownship.aeroplane.description import Tank
from ownship.aeroplane.weighing import InputErrors
from ownship.errors import BadInput
from ownship.ownership.entries import Entry, Flight, FuelAdded, FuelSeen, OilAdded, TankContents, of_kind
from ownship.ownership.flights import FEWEST, NORMAL_95, student_95
from ownship.ownership.fuel_flow import Flow, burn_noted_m3, burn_of, flow_shown
from ownship.ownership.fuel_flow import level_sd_m3 as level_sd_m3  # noqa: PLC0414 - also read from here
from ownship.units import from_si, to_si
from ownship.words.figures import number_text

FULL = "full"
NEVER = "not every tank was seen, filled or noted yet"


@dataclass(frozen=True)
class Level:
    """An amount of usable fuel with one sd of its error, m3, and since when it rests on something somebody saw; burnt_s: flight
    time by a flow since then, over which the error of the flow itself adds up."""

    usable_m3: float
    sd_m3: float
    since: datetime
    known_by: str
    burnt_s: float = 0.0

    def band_m3(self, full_m3: float) -> tuple[float, float]:
        """5 and 95 % points, within what a tank can hold: no tank has less than nothing or more than full."""
        half = NORMAL_95 * self.sd_m3
        return max(self.usable_m3 - half, 0.0), min(self.usable_m3 + half, full_m3)


@dataclass(frozen=True)
class TankAboard:
    """One tank: its level, or None with the reason in words."""

    tank: str
    full_m3: float
    level: Level | None
    words: str


@dataclass(frozen=True)
class FuelAboard:
    """Fuel on board at a moment: each tank, the total (known also where the split is not), flights that ended since it was seen."""

    at: datetime
    tanks: tuple[TankAboard, ...]
    total: Level | None
    words: str
    flights_since: int


@dataclass(frozen=True)
class OilRate:
    """Oil used an hour: m3/s with 5 and 95 % (None below three spans), over how many hours and spans."""

    rate_m3_s: float
    low_m3_s: float | None
    high_m3_s: float | None
    hours_s: float
    spans: int
    words: str


# ---- aboard


@dataclass
class _State:
    """What is known while the entries are gone through: a level or the reason for none by tank, and the total."""

    tanks: dict[str, Tank]
    levels: dict[str, Level | str]
    total: Level | None = None
    why: str = NEVER


def fuel_aboard(entries: Iterable[Entry], aeroplane: str, tanks: Sequence[Tank], at: datetime, errors: InputErrors,
                flow: Flow | None = None) -> FuelAboard:
    """Usable fuel by tank at a moment, from entries that stand.

    A flight sets its tanks where it notes fuel after it; else it burns (`burn_of`), and with more than one tank the split is
    not known until the next level seen. flow None: `flow_shown`. BadInput for an aeroplane without tanks.
    """
    if not tanks:
        raise BadInput(f"The record of {aeroplane or 'this aeroplane'} has no [[tanks]]; add them with capacity and unusable.")
    kept = tuple(entries)
    used = flow_shown(kept, aeroplane, tanks, errors) if flow is None else flow
    none = "not seen, filled or noted yet; dip it and write `ownship fuel seen`"
    state = _State({t.id: t for t in tanks}, {t.id: none for t in tanks})
    for _, entry, step in sorted(_steps(kept, aeroplane, at), key=lambda x: (x[0], x[1].number, x[2])):
        _take(state, entry, step, errors, used)
    return _answer(state, at, [f.on_blocks for _, f in of_kind(kept, Flight, aeroplane) if f.on_blocks <= at])


def _steps(entries: Iterable[Entry], aeroplane: str, at: datetime) -> Iterable[tuple[datetime, Entry, int]]:
    """(moment, entry, step): a flight speaks twice, before (0) and after (1) it; only what is over at the moment asked."""
    for e in entries:
        if e.aeroplane != aeroplane:
            continue
        if isinstance(e.body, Flight):
            if e.body.on_blocks <= at:
                yield e.body.off_blocks, e, 0
                yield e.body.on_blocks, e, 1
        elif isinstance(e.body, FuelAdded | FuelSeen) and e.moment <= at:
            yield e.moment, e, 0


def _take(state: _State, entry: Entry, step: int, errors: InputErrors, flow: Flow) -> None:
    body = entry.body
    if isinstance(body, FuelSeen):
        _see(state, TankContents(body.tank, body.usable_m3, body.known_by), entry.moment, errors)
    elif isinstance(body, FuelAdded):
        _add(state, body, entry, errors)
    elif isinstance(body, Flight) and step == 0:
        for contents in body.fuel_before:
            _see(state, contents, body.off_blocks, errors)
    elif isinstance(body, Flight):
        _fly(state, body, entry, errors, flow)


def _see(state: _State, seen: TankContents, moment: datetime, errors: InputErrors) -> None:
    """A level somebody knew: it settles this tank, and the last unknown one by difference from the total."""
    tank = state.tanks.get(seen.tank)
    if tank is None:
        state.total, state.why = None, f"the {seen.tank} tank was noted, which the aeroplane's record does not have"
        return
    state.levels[seen.tank] = Level(seen.usable_m3, level_sd_m3(tank, seen.usable_m3, seen.known_by, errors), moment, seen.known_by)
    unknown = [k for k, v in state.levels.items() if isinstance(v, str)]
    if len(unknown) == 1 and state.total is not None:
        _by_difference(state, unknown[0])  # the total stands: a difference adds nothing to it
        return
    _sum(state)


def _by_difference(state: _State, name: str) -> None:
    assert state.total is not None
    seen = [v for v in state.levels.values() if isinstance(v, Level)]
    rest = state.total.usable_m3 - sum(v.usable_m3 for v in seen)
    sd = math.hypot(state.total.sd_m3, *(v.sd_m3 for v in seen))
    full = state.tanks[name].usable_m3
    if not -2 * sd <= rest <= full + 2 * sd:
        state.levels[name] = "not known: what was seen in the other tank does not agree with the total before; dip it"
        state.total = None
        state.why = "what was seen does not agree with what was aboard before; dip every tank"
        return
    state.levels[name] = Level(min(max(rest, 0.0), full), sd, state.total.since, "difference")


def _sum(state: _State) -> None:
    """The total of tanks that are all known; the older of their moments."""
    known = [v for v in state.levels.values() if isinstance(v, Level)]
    if len(known) == len(state.levels):
        by = known[0].known_by if len({v.known_by for v in known}) == 1 else "each tank"
        state.total = Level(sum(v.usable_m3 for v in known), math.hypot(*(v.sd_m3 for v in known)), min(v.since for v in known), by)


def _add(state: _State, added: FuelAdded, entry: Entry, errors: InputErrors) -> None:
    """Filled to full or to a mark: a level; else the amount on top of what was there."""
    tank = state.tanks.get(added.tank)
    if tank is None:
        state.total, state.why = None, f"fuel was added to the {added.tank} tank, which the aeroplane's record does not have"
        return
    level = level_m3(tank, added.level)
    before = state.levels[added.tank]
    if state.total is not None:
        state.total = _more(state.total, added.amount_m3)
    if level is not None:
        _see(state, TankContents(added.tank, level, FULL if added.level == FULL else "mark"), entry.moment, errors)
        return
    if isinstance(before, Level):
        more = _more(before, added.amount_m3)
        over = more.usable_m3 - tank.usable_m3
        if over > 0:  # more than fits: what was thought to be there was less, and at most this much is
            more = Level(tank.usable_m3, max(more.sd_m3, over), more.since, more.known_by)
        state.levels[added.tank] = more
        _sum(state)


def _more(level: Level, amount_m3: float) -> Level:
    return replace(level, usable_m3=level.usable_m3 + amount_m3)


def level_m3(tank: Tank, level: str) -> float | None:
    """Usable fuel at "full" or at a mark of the tank; None where the level is neither."""
    if level == FULL:
        return tank.usable_m3
    return next((m.usable_m3 for m in tank.marks if m.name == level), None)


def _fly(state: _State, f: Flight, entry: Entry, errors: InputErrors, flow: Flow) -> None:
    """What a flight leaves: its own notes, else the burn off the total and, with one tank, off that."""
    noted = {t.tank for t in f.fuel_after}
    if not state.tanks.keys() <= noted:
        burn = burn_of(f, list(state.tanks.values()), flow)
        _burn(state, None if burn is None else _Burn(*burn, f.flight_s, flow.mean_sd_m3_s), entry)
    for contents in f.fuel_after:
        _see(state, contents, f.on_blocks, errors)


@dataclass(frozen=True)
class _Burn:
    """What a flight burnt with its own error (m3), its time (s), and one sd of the flow that every flight shares (m3/s)."""

    burn_m3: float
    sd_m3: float
    flight_s: float
    mean_sd_m3_s: float


def _burn(state: _State, burn: _Burn | None, entry: Entry) -> None:
    if burn is None:
        why = (f"the flight of {entry.moment:%Y-%m-%d} (entry {entry.number}) does not note its fuel after, and no flow of this "
               "aeroplane is known: three flights with fuel before and after give one")
        state.levels = dict.fromkeys(state.levels, f"not known: {why}")
        state.total, state.why = None, why
        return
    if state.total is not None:
        state.total = _less(state.total, burn)
    if len(state.levels) == 1:
        (name, level), = state.levels.items()
        state.levels = {name: _less(level, burn) if isinstance(level, Level) else level}
        return
    why = (f"not known: the flight of {entry.moment:%Y-%m-%d} (entry {entry.number}) does not say which tank it burnt; dip this "
           "tank")
    state.levels = {k: why if isinstance(v, Level) else v for k, v in state.levels.items()}


def _less(level: Level, b: _Burn) -> Level:
    """Less a burn: variances of flights add, the shared error of the flow acts over all the time since: e^2 ((T + t)^2 - T^2)."""
    time = level.burnt_s + b.flight_s
    shared = b.mean_sd_m3_s**2 * (time**2 - level.burnt_s**2)
    return Level(level.usable_m3 - b.burn_m3, math.sqrt(level.sd_m3**2 + b.sd_m3**2 + shared), level.since, "clock", time)


def _answer(state: _State, at: datetime, landed: list[datetime]) -> FuelAboard:
    """The state as an answer; an amount below nothing is no amount: an entry is missing."""
    tanks = tuple(_tank(state.tanks[k], v) for k, v in state.levels.items())
    total, words = state.total, state.why
    if total is not None and total.usable_m3 < 0:
        total, words = None, "more was burnt than was aboard, so an entry of fuel is missing; dip the tanks"
        tanks = tuple(TankAboard(t.tank, t.full_m3, None, f"not known: {words}") for t in tanks)
    elif total is not None:
        split = all(t.level is not None for t in tanks)
        words = "" if split else "the split between the tanks is not known; dip them before you lean on one"
    return FuelAboard(at, tanks, total, words, sum(1 for m in landed if total is None or m > total.since))


def _tank(tank: Tank, level: Level | str) -> TankAboard:
    if isinstance(level, str):
        return TankAboard(tank.id, tank.usable_m3, None, level)
    return TankAboard(tank.id, tank.usable_m3, level, f"known by {level.known_by} since {level.since:%Y-%m-%d %H:%M}Z")


# ---- refusals


def tank_of(tanks: Iterable[Tank], name: str, where: str = "tank") -> Tank:
    """The tank of an id; BadInput names those there are."""
    every = list(tanks)
    found = next((t for t in every if t.id == name), None)
    if found is None:
        raise BadInput(f"{where}: the aeroplane has no tank {name!r}; its tanks are: "
                       f"{', '.join(t.id for t in every) or 'none on its record'}.")
    return found


def refuse_more_than_holds(tank: Tank, usable_m3: float, where: str) -> None:
    """Refuse usable fuel beyond what a tank holds."""
    if usable_m3 > tank.usable_m3 * (1 + 1e-9):
        raise BadInput(f"{where}: {_gal(usable_m3)} is more than the {tank.id} tank holds, {_gal(tank.usable_m3)} usable "
                       f"({_gal(tank.capacity_m3)} total); enter less.")


def refuse_too_much_added(aboard: FuelAboard, tank: Tank, amount_m3: float) -> None:
    """Refuse fuel added that does not fit, even on the low end of what was there."""
    refuse_more_than_holds(tank, amount_m3 - tank.unusable_m3, "added")
    level = next((t.level for t in aboard.tanks if t.tank == tank.id), None)
    if level is not None and level.band_m3(tank.usable_m3)[0] + amount_m3 > tank.usable_m3 * (1 + 1e-9):
        low = level.band_m3(tank.usable_m3)[0]
        raise BadInput(f"added: {_gal(amount_m3)} on top of {_gal(level.usable_m3)} (at least {_gal(low)}) is more than the "
                       f"{tank.id} tank holds, {_gal(tank.usable_m3)} usable; correct the amount, or write first what was "
                       "seen in the tank.")


def fuel_flaw(f: Flight, tanks: Sequence[Tank]) -> str | None:
    """Why the fuel of a flight cannot be true: an unknown tank, more than it holds, or more after than before."""
    for name, of in (("before", f.fuel_before), ("after", f.fuel_after)):
        for t in of:
            try:
                refuse_more_than_holds(tank_of(tanks, t.tank, f"fuel {name}"), t.usable_m3, f"fuel {name}")
            except BadInput as error:
                return str(error)
    burn = burn_noted_m3(f, (t.id for t in tanks))
    if burn is not None and burn < 0:
        return f"fuel after is {_gal(-burn)} more than fuel before; correct one of them, and enter fuel added by itself."
    return None


def _gal(volume_m3: float) -> str:
    return f"{number_text(float(from_si(volume_m3, 'usgal')))} US gal"


# ---- oil


def oil_per_hour(entries: Iterable[Entry], aeroplane: str) -> OilRate | None:
    """Oil added over the hours since the entry before; a change (0 added) only begins a new span.

    Hours are the engine's where both entries have them, else the flight time between. rate = sum oil / sum hours; the band
    is Student's t over the spans' own rates, weighted by hours, None below three. None where no span has hours.
    """
    kept = tuple(entries)
    added = of_kind(kept, OilAdded, aeroplane)
    spans = [(b.amount_m3, s) for (e0, a), (e1, b) in pairwise(added)
             if b.amount_m3 > 0 and (s := _between_s(kept, aeroplane, (e0, a), (e1, b))) > 0]
    if not spans:
        return None
    oil, hours, n = sum(a for a, _ in spans), sum(s for _, s in spans), len(spans)
    rate = oil / hours
    words = f"{n} {'span' if n == 1 else 'spans'} between entries of oil"
    if n < FEWEST:
        return OilRate(rate, None, None, hours, n, f"{words}; three give a band")
    half = student_95(n - 1) * math.sqrt(sum((a - rate * s) ** 2 for a, s in spans) / (n - 1) / n) / (hours / n)
    return OilRate(rate, max(rate - half, 0.0), rate + half, hours, n, words)


def _between_s(entries: tuple[Entry, ...], aeroplane: str, first: tuple[Entry, OilAdded], second: tuple[Entry, OilAdded]) -> float:
    """Hours between two entries of oil, s; negative where the engine's hours run back (another engine): no span."""
    a, b = first[1].hours_h, second[1].hours_h
    if a is not None and b is not None:
        return float(to_si(b - a, "h"))
    return sum(f.flight_s for e, f in of_kind(entries, Flight, aeroplane) if first[0].moment <= e.moment < second[0].moment)
