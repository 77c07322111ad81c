"""Flights that can be true, alone and one after the other; air time and flight time apart; a meter's ratio to air time.

Air time is surface to surface, flight time from the first movement until at rest (Canada, 101.01; rules.md section 1).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from ownship.errors import BadInput
from ownship.ownership.entries import ROLES, Entry, Flight, InstrumentReplaced, of_kind
from ownship.units import from_si, parse

METERS = ("tachometer", "hour meter")
LONGEST_S = parse("24 h", "time")  # no aeroplane of this class flies longer between two blocks
READING_H = 0.1  # a meter is read to a tenth
FASTEST_METER_1 = 1.25  # no meter runs faster than this against the clock
ENGINE_ON_THE_GROUND_H = 1.0  # a meter may run this long beyond the blocks (run-up, waiting)
MOST_HOURS_H = 100_000.0  # no airframe of this class has more
FASTEST_M_S = parse("400 kt", "speed")  # over the ground, with a strong wind behind: none of this class is faster
MOST_IN_A_TANK_M3 = parse("1 m3", "volume")
COUNTS = {"landings_day": 500, "landings_night": 500, "take_offs_day": 500, "take_offs_night": 500, "full_stop_night": 500,
          "holds": 100, "passengers": 19}  # more than a day holds, or a small aeroplane
NORMAL_95 = 1.6448536269514722
STUDENT_95 = (6.314, 2.920, 2.353, 2.132, 2.015, 1.943, 1.895, 1.860, 1.833, 1.812)  # one-sided, 1 to 10 degrees, from memory
FEWEST = 3


@dataclass(frozen=True)
class Placed:
    """A flight with the words that name it in a refusal ("line 7", "entry 12"), its aeroplane, and whether it is new."""

    where: str
    aeroplane: str
    flight: Flight
    fresh: bool = True


@dataclass(frozen=True)
class Ratio:
    """Hours of air time per hour of a meter, with its 5 and 95 % band (None below three flights), and of how many flights."""

    meter: str
    ratio_1: float
    low_1: float | None
    high_1: float | None
    flights: int


@dataclass(frozen=True)
class Totals:
    """Sums over flights; air_s of those with take-off and landing noted, `without_air` flights have not."""

    flights: int
    flight_s: float
    air_s: float
    without_air: int
    night_s: float
    instrument_s: float
    landings_day: int
    landings_night: int


# ---- one flight


def flaw(f: Flight) -> str | None:
    """Why one flight cannot be true, as the rest of a sentence; None: it can.

    Valid: off blocks <= take-off < landing <= on blocks, at most 24 h, meters that run forward and not faster than 1.25
    times the clock, counts and distances that can be, night and instrument time within the flight time.
    """
    return _times(f) or _meters(f) or _counts(f) or _fuel(f)


def _times(f: Flight) -> str | None:
    if f.on_blocks <= f.off_blocks:
        return f"on blocks {_clock(f.on_blocks)} is not after off blocks {_clock(f.off_blocks)}; correct one of them."
    if f.flight_s > LONGEST_S:
        return f"the flight lasts {from_si(f.flight_s, 'h'):.1f} h and 24 h are allowed; correct the dates."
    if f.take_off is not None and f.landing is not None and f.landing <= f.take_off:
        return f"the landing {_clock(f.landing)} is not after the take-off {_clock(f.take_off)}; correct one of them."
    if f.take_off is not None and not f.off_blocks <= f.take_off <= f.on_blocks:
        return (f"the take-off {_clock(f.take_off)} is not between the blocks, {_clock(f.off_blocks)} and "
                f"{_clock(f.on_blocks)}; correct it: air time cannot exceed flight time.")
    if f.landing is not None and not f.off_blocks <= f.landing <= f.on_blocks:
        return (f"the landing {_clock(f.landing)} is not between the blocks, {_clock(f.off_blocks)} and {_clock(f.on_blocks)}; "
                "correct it: air time cannot exceed flight time.")
    return None


def _meters(f: Flight) -> str | None:
    most_h = float(from_si(f.flight_s, "h")) * FASTEST_METER_1 + ENGINE_ON_THE_GROUND_H
    for meter in METERS:
        start, end = readings(f, meter)
        for value in (start, end):
            if value is not None and not 0 <= value <= MOST_HOURS_H:
                return f"a {meter} of {value:g} h is not possible; write the hours it shows, 0 to {MOST_HOURS_H:,.0f}."
        if start is not None and end is not None and end < start:
            return f"the {meter} runs back, from {start:.2f} to {end:.2f} h; correct a reading."
        if start is not None and end is not None and end - start > most_h:
            return (f"the {meter} runs {end - start:.1f} h in a flight of {from_si(f.flight_s, 'h'):.1f} h, which no meter does; "
                    "correct a reading or a time.")
    return None


def _counts(f: Flight) -> str | None:
    if f.role not in ROLES:
        return f"role {f.role!r} is not one of: {', '.join(ROLES)}."
    for name, most in COUNTS.items():
        value = getattr(f, name)
        if value is not None and not 0 <= value <= most:
            return f"{name} of {value} is not believable; write 0 to {most}."
    for name in ("night_s", "instrument_s", "simulated_s"):
        value = getattr(f, name)
        if not 0 <= value <= f.flight_s + 1:
            return (f"{name.removesuffix('_s')} of {from_si(value, 'min'):.6g} min is not within the flight time of "
                    f"{from_si(f.flight_s, 'min'):.0f} min; correct one of them.")
    if f.full_stop_night is not None and f.full_stop_night > f.landings_night:
        return (f"{f.full_stop_night} full stops at night are more than the {f.landings_night} landings at night; correct one of "
                "them.")
    return _far(f)


def _far(f: Flight) -> str | None:
    """Distances and times of phases that no flight has."""
    most_m = FASTEST_M_S * f.flight_s
    if f.cross_country_m is not None and not 0 <= f.cross_country_m <= most_m:
        return (f"cross_country of {from_si(f.cross_country_m, 'nm'):.6g} nm is not believable in {from_si(f.flight_s, 'h'):.2f} h"
                f"; write how far from where it began the flight went, 0 to {from_si(most_m, 'nm'):,.0f} nm.")
    for name, seconds in f.phases_s:
        if not 0 <= seconds <= f.flight_s + 1:
            return f"phase {name[:20]!r} of {seconds:g} s is not within the flight time of {f.flight_s:.0f} s; correct it."
    return None


def _fuel(f: Flight) -> str | None:
    for name, tanks in (("before", f.fuel_before), ("after", f.fuel_after)):
        if len({t.tank for t in tanks}) != len(tanks):
            return f"fuel {name} names a tank twice; name each once."
        for t in tanks:
            if not math.isfinite(t.usable_m3) or t.usable_m3 < 0:
                return f"fuel {name} in the {t.tank} tank is below 0; write the usable fuel."
            if t.usable_m3 > MOST_IN_A_TANK_M3:
                return f"fuel {name} in the {t.tank} tank is {t.usable_m3:g} m3, more than any such tank holds; correct it."
    return None


def readings(f: Flight, meter: str) -> tuple[float | None, float | None]:
    """First and last reading of a meter on a flight, hours; None where not noted."""
    if meter == "tachometer":
        return f.tachometer_from_h, f.tachometer_to_h
    return f.hour_meter_from_h, f.hour_meter_to_h


def _clock(moment: datetime) -> str:
    return f"{moment:%Y-%m-%d %H:%M}Z"


def people(f: Flight) -> int:
    """How many are aboard by what is noted: the pilot, the crew beside the pilot, the passengers (none where not noted)."""
    pilot = f.pilot.strip().casefold()
    beside = sum(name.strip().casefold() != pilot for name in f.crew)
    return max(1 + beside if pilot else len(f.crew), 1) + (f.passengers or 0)


# ---- one flight after the other


def flaws(flights: Iterable[Placed], entries: Iterable[Entry] = ()) -> list[str]:
    """What cannot be true of new flights, alone and among the flights of the same aeroplane, a sentence each.

    flights: new ones and those that are kept (fresh False); entries: for the meters that were replaced. Among flights that
    cannot be true by themselves no order is looked at.
    """
    every, kept = list(flights), tuple(entries)
    alone = [f"{p.where}: {why}" for p in every if p.fresh and (why := flaw(p.flight))]
    if alone:
        return alone
    by: dict[str, list[Placed]] = {}
    for p in every:
        by.setdefault(p.aeroplane, []).append(p)
    return [x for name, of in by.items() for x in _in_order(sorted(of, key=lambda p: p.flight.off_blocks), _replaced(kept, name))]


def refuse(flights: Iterable[Placed], entries: Iterable[Entry] = ()) -> None:
    """Raise one BadInput for all that `flaws` finds: the first three, and how many more."""
    found = flaws(flights, entries)
    if found:
        more = f" And {len(found) - 3:,} more." if len(found) > 3 else ""
        raise BadInput(f"Nothing was written. {' '.join(found[:3])}{more}")


def _replaced(entries: Sequence[Entry], aeroplane: str) -> list[tuple[Entry, InstrumentReplaced]]:
    return list(of_kind(entries, InstrumentReplaced, aeroplane))


def _in_order(flights: list[Placed], replaced: list[tuple[Entry, InstrumentReplaced]]) -> list[str]:
    """Overlaps, by the flight that ends last so far, and meters running back, by the last flight that notes them."""
    found: list[str] = []
    before: Placed | None = None
    for p in flights:
        if before is not None and p.flight.off_blocks < before.flight.on_blocks and (p.fresh or before.fresh):
            found.append(_overlap(before, p))
        if before is None or p.flight.on_blocks > before.flight.on_blocks:
            before = p
    return [*found, *(x for m in METERS for x in _meter_in_order(flights, m, [(e, i) for e, i in replaced if i.which == m]))]


def _meter_in_order(flights: list[Placed], meter: str, replaced: list[tuple[Entry, InstrumentReplaced]]) -> list[str]:
    """A meter's readings one after the other, each replacement at its moment: before it the old meter's, after it the new one's."""
    found: list[str] = []
    last, swapped, rest = None, None, sorted(replaced, key=lambda r: r[0].moment)
    for p in (p for p in flights if any(h is not None for h in readings(p.flight, meter))):
        while rest and rest[0][0].moment <= p.flight.off_blocks:
            found += _beyond_old(last, rest[0], meter)
            last, swapped = None, rest.pop(0)
        why = (_runs_back(last, p, meter) if last else None) or (_beside_new(p, swapped, meter) if swapped else None)
        found += [why] if why else []
        last = p
    return found + (_beyond_old(last, rest[0], meter) if rest else [])


def _beyond_old(last: Placed | None, swap: tuple[Entry, InstrumentReplaced], meter: str) -> list[str]:
    """Words where a new flight shows more than the meter's last reading when it was taken out afterwards."""
    if last is None or not last.fresh or _last_h(last, meter) <= swap[1].old_h + READING_H * 1.001:
        return []
    return [f"{last.where}: the {meter} shows {_last_h(last, meter):.2f} h, and by entry {swap[0].number} it was replaced on "
            f"{swap[0].moment:%Y-%m-%d} at {swap[1].old_h:.2f} h; correct one of them."]


def _beside_new(p: Placed, swap: tuple[Entry, InstrumentReplaced], meter: str) -> str | None:
    """Words where a new flight shows what the meter put in before it cannot show by then."""
    entry, body = swap
    start_h = next(x for x in readings(p.flight, meter) if x is not None)
    run_h = float(from_si((p.flight.on_blocks - entry.moment).total_seconds(), "h")) * FASTEST_METER_1 + ENGINE_ON_THE_GROUND_H
    if not p.fresh or (start_h >= body.new_h - READING_H * 1.001 and _last_h(p, meter) <= body.new_h + run_h):
        return None
    return (f"{p.where}: the {meter} shows {start_h:.2f} h, and by entry {entry.number} a new one began at {body.new_h:.2f} h on "
            f"{entry.moment:%Y-%m-%d}; correct one of them.")


def _last_h(p: Placed, meter: str) -> float:
    return next(x for x in reversed(readings(p.flight, meter)) if x is not None)


def _overlap(a: Placed, b: Placed) -> str:
    first, second = (a, b) if b.fresh else (b, a)
    return (f"{second.where}: the flight from {_clock(second.flight.off_blocks)} overlaps the one of {first.where}, "
            f"{_clock(first.flight.off_blocks)} to {_clock(first.flight.on_blocks)}, of "
            f"{second.aeroplane or 'the same aeroplane'}; correct one of them.")


def _runs_back(a: Placed, b: Placed, meter: str) -> str | None:
    """Words where the later flight begins below the reading of the earlier one and no replacement lies between."""
    before, after = _last_h(a, meter), next(x for x in readings(b.flight, meter) if x is not None)
    if after >= before - READING_H * 1.001 or not (a.fresh or b.fresh):
        return None
    named, other = (b, a) if b.fresh else (a, b)
    return (f"{named.where}: the {meter} runs back, from {before:.2f} h ({a.where}) to {after:.2f} h ({b.where}); correct a "
            f"reading beside {other.where}, or enter the replaced instrument first, at a moment between the two flights.")


# ---- what follows


def totals(entries: Iterable[Entry], aeroplane: str | None = None) -> Totals:
    """Sums over the flights among entries that stand; air time and flight time apart."""
    flights = [f for _, f in of_kind(entries, Flight, aeroplane)]
    air = [f.air_s for f in flights if f.air_s is not None]
    return Totals(len(flights), sum(f.flight_s for f in flights), sum(air), len(flights) - len(air),
                  sum(f.night_s for f in flights), sum(f.instrument_s for f in flights),
                  sum(f.landings_day for f in flights), sum(f.landings_night for f in flights))


def meter_ratio(entries: Iterable[Entry], aeroplane: str, meter: str) -> Ratio | None:
    """Air time by a meter: r = sum a / sum m over flights with both, se = sqrt(sum (a - r m)^2 / (n - 1) / n) / mean m.

    a air hours, m hours of the meter; the band is r +- t se with Student's t (n - 1 degrees), None below three flights: the
    ratio of this aeroplane's own flying. None where no flight has both.
    """
    pairs = []
    for _, f in of_kind(entries, Flight, aeroplane):
        start, end = readings(f, meter)
        if f.air_s is not None and start is not None and end is not None and end > start:
            pairs.append((float(from_si(f.air_s, "h")), end - start))
    if not pairs:
        return None
    n, shown = len(pairs), sum(m for _, m in pairs)
    ratio = sum(a for a, _ in pairs) / shown
    if n < FEWEST:
        return Ratio(meter, ratio, None, None, n)
    half = student_95(n - 1) * math.sqrt(sum((a - ratio * m) ** 2 for a, m in pairs) / (n - 1) / n) / (shown / n)
    return Ratio(meter, ratio, ratio - half, ratio + half, n)


def student_95(degrees: int) -> float:
    """The one-sided 95 % point of Student's t; above ten degrees z + (z^3 + z) / 4 nu, good to 0.02."""
    if degrees < 1:
        raise BadInput(f"A band needs two or more values, and there are {degrees + 1}; note more.")
    if degrees <= len(STUDENT_95):
        return STUDENT_95[degrees - 1]
    return NORMAL_95 + (NORMAL_95**3 + NORMAL_95) / (4 * degrees)
