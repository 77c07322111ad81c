"""The fuel flow that the flights of the log show, and how well fuel in a tank and the flow are known. docs/methods/log.md."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from ownship.aeroplane.description import Tank
from ownship.aeroplane.weighing import InputErrors
from ownship.ownership.entries import Entry, Flight, of_kind
from ownship.ownership.flights import FEWEST


@dataclass(frozen=True)
class Flow:
    """What an hour burns: mean and one sd of a single flight's flow, by phase and over the flight time; m3/s.

    mean_sd_m3_s: one sd of the mean over the flight time itself, from how the fuel before and after was known; the same in
    every flight, so it does not average out.
    """

    overall_m3_s: tuple[float, float] | None = None
    phases_m3_s: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    flights: int = 0
    mean_sd_m3_s: float = 0.0


def level_sd_m3(tank: Tank, usable_m3: float, known_by: str, errors: InputErrors) -> float:
    """One sd of a level by how it is known (practice.md 1.8): a clock's grows with what is gone from full; a flow meter is
    taken as a clock; what is unknown as a gauge."""
    gone = max(tank.usable_m3 - usable_m3, 0.0)
    by = {"full": errors.fuel_full_m3, "mark": errors.fuel_mark_m3, "dipstick": errors.fuel_dipstick_m3,
          "clock": errors.fuel_clock_1 * gone, "flow meter": errors.fuel_clock_1 * gone}
    return by.get(known_by, errors.fuel_gauge_1 * tank.capacity_m3)


def burn_noted_m3(f: Flight, tanks: Iterable[str]) -> float | None:
    """What a flight burnt by its own notes: before - after over every tank; None where one is not noted."""
    before, after = ({t.tank: t.usable_m3 for t in of} for of in (f.fuel_before, f.fuel_after))
    names = set(tanks)
    if not names or not names <= before.keys() or not names <= after.keys():
        return None
    return sum(before[n] - after[n] for n in names)


def flow_shown(entries: Iterable[Entry], aeroplane: str, tanks: Sequence[Tank], errors: InputErrors) -> Flow:
    """Mean flow over flight time and the sd of one flight's, from flights that note fuel before and after.

    mean = sum burn / sum time; sd = sqrt(sum (burn - mean t)^2 / (n - 1)) / mean t; sd of the mean = the greater of sd /
    sqrt(n) and sqrt(sum e^2) / sum time, e the error of a flight's burn by how its fuel was known. Below three flights: none.
    """
    noted = [(b, f.flight_s, _burn_sd_m3(f, tanks, errors)) for _, f in of_kind(entries, Flight, aeroplane)
             if (b := burn_noted_m3(f, (t.id for t in tanks))) is not None and b > 0 and f.flight_s > 0]
    if len(noted) < FEWEST:
        return Flow(None, {}, len(noted))
    time = sum(t for _, t, _ in noted)
    mean = sum(b for b, _, _ in noted) / time
    sd = math.sqrt(sum((b - mean * t) ** 2 for b, t, _ in noted) / (len(noted) - 1)) / (time / len(noted))
    return Flow((mean, sd), {}, len(noted), max(sd / math.sqrt(len(noted)), math.hypot(*(e for _, _, e in noted)) / time))


def _burn_sd_m3(f: Flight, tanks: Sequence[Tank], errors: InputErrors) -> float:
    """One sd of a burn that a flight notes: the errors of every tank before and after."""
    by = {t.id: t for t in tanks}
    return math.hypot(*(level_sd_m3(by[c.tank], c.usable_m3, c.known_by, errors) for c in (*f.fuel_before, *f.fuel_after)
                        if c.tank in by))


def burn_of(f: Flight, tanks: Sequence[Tank], flow: Flow | None) -> tuple[float, float] | None:
    """(burn, sd) of a flight in m3: by its phases where each has a flow, else by the flow over its flight time; None: none."""
    if flow is None:
        return None
    if f.phases_s and all(name in flow.phases_m3_s for name, _ in f.phases_s):
        parts = [(s * flow.phases_m3_s[name][0], s * flow.phases_m3_s[name][1]) for name, s in f.phases_s]
        return sum(p[0] for p in parts), sum(p[1] for p in parts)  # errors of phases go together: a rich engine is rich in all
    if flow.overall_m3_s is None:
        return None
    return f.flight_s * flow.overall_m3_s[0], f.flight_s * flow.overall_m3_s[1]
