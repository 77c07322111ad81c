"""Air time and landings of the airframe on a day: readings noted with what was done, and the flights since."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, date, tzinfo
from itertools import accumulate

from ownship.ownership.entries import Entry, Flight, MaintenanceDone, of_kind, standing
from ownship.rules.due import day_at
from ownship.units import from_si

TOTALS = "total time"  # the name under which a reading of hours and landings is kept
AGREED_H = 0.05  # a reading is written to a tenth of an hour
LEAST_AIR_1 = 0.5  # of a flight without air time at least so much was in the air: our own choice


@dataclass(frozen=True)
class Totals:
    """Air time and landings of the airframe on a day; None: never noted. words: what they rest on."""

    hours_h: float | None
    landings: int | None
    words: tuple[str, ...] = ()


def totals(entries: Iterable[Entry], aeroplane: str, on: date, zone: tzinfo = UTC) -> Totals:
    """Air time and landings on a day: the latest reading noted with something done, plus the flights since.

    Flights of the reading's own day count as flown after it, and a flight without air time counts with its flight time:
    both the stricter. A reading below an earlier one and what was surely flown since takes nothing back: the higher counts, and
    words say so. zone: whose calendar days the flights have.
    """
    kept = standing(entries)
    done = [d for _, d in of_kind(kept, MaintenanceDone, aeroplane) if d.day <= on]
    flights = [(day_at(f.on_blocks, zone), f) for _, f in of_kind(kept, Flight, aeroplane)]
    flights = [(day, f) for day, f in flights if day <= on]
    hours, words = _hours(done, flights)
    landings, more = _landings(done, flights)
    return Totals(hours, landings, (*words, *more))


def _hours(done: list[MaintenanceDone], flights: list[tuple[date, Flight]]) -> tuple[float | None, tuple[str, ...]]:
    reads = sorted((d.day, d.hours_h) for d in done if d.hours_h is not None)
    if not reads:
        return None, ("air time of the airframe: never noted",)
    day, read = reads[-1]
    since = [f for flown, f in flights if flown >= day]
    blocks = sum(1 for f in since if f.air_s is None)
    flown_h = math.fsum(_air_h(f, 1.0) for f in since)
    words: tuple[str, ...] = (f"air time: {read:,.1f} h noted on {day}, {flown_h:,.1f} h flown on that day and since",)
    if blocks:
        words = (*words, f"{blocks} flights have no air time noted; their flight time is counted, which is more")
    least = _least(reads[:-1], flights, lambda f: _air_h(f, LEAST_AIR_1))
    if least is None or least[0] <= read + flown_h + AGREED_H:
        return read + flown_h, words
    return least[0], (*words, f"the reading of {day} is below the {least[1]:,.1f} h of {least[2]} and what was flown since: "
                      f"{least[0]:,.1f} h counts, the higher; correct the reading or the log")


def _air_h(f: Flight, of_blocks_1: float) -> float:
    """Air time of a flight, hours; where it is not noted so much of its flight time."""
    return float(from_si(f.flight_s * of_blocks_1 if f.air_s is None else f.air_s, "h"))


def _least(reads: list[tuple[date, float]], flights: list[tuple[date, Flight]],
           each: Callable[[Flight], float]) -> tuple[float, float, date] | None:
    """(total, reading, its day): the most that an earlier reading and the flights of later days come to; None: no such reading."""
    by_day = sorted((day, each(f)) for day, f in flights)
    after = list(accumulate((n for _, n in reversed(by_day)), initial=0.0))
    days = [day for day, _ in by_day]
    found = [(read + after[len(days) - bisect_right(days, day)], read, day) for day, read in reads]
    return max(found, default=None)


def _landings(done: list[MaintenanceDone], flights: list[tuple[date, Flight]]) -> tuple[int | None, tuple[str, ...]]:
    reads = sorted((d.day, d.landings) for d in done if d.landings is not None)
    if not reads:
        return None, ()
    day, read = reads[-1]
    later = [_landed(f) for flown, f in flights if flown >= day]
    since, silent = sum(later), sum(1 for flown, f in flights if flown >= day and f.landings_day + f.landings_night == 0)
    words: tuple[str, ...] = (f"landings: {read:,} noted on {day}, {since:,} on that day and since",)
    if silent:
        words = (*words, f"{silent} flights have no landing noted; one each is counted")
    least = _least([(d, float(n)) for d, n in reads[:-1]], flights, lambda f: float(_landed(f)))
    if least is None or least[0] <= read + since:
        return read + since, words
    return int(least[0]), (*words, f"the landings noted on {day} are fewer than the {least[1]:,.0f} of {least[2]} and those since: "
                           f"{least[0]:,.0f} counts, the higher; correct the reading or the log")


def _landed(f: Flight) -> int:
    """Landings of a flight; one where none is noted."""
    return max(f.landings_day + f.landings_night, 1)
