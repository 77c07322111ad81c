"""What the fills of the record teach: flights between two moments at which every tank was known, as a fuel log."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from ownship.questions.from_record import chosen, needed_tanks, rows_folder
from ownship.questions.logging_flights import opened
from ownship.questions.logs import NOT_BY_ITSELF

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ownship.aeroplane.description import Tank
    from ownship.calibration.fuel_log import Fill, FlightPhases, FuelLog, PlannedFlow, TankLevel
    from ownship.ownership.entries import Entry, Flight
    from ownship.ownership.fills import Sighting, Span

EMPTY = ("The record holds no fill yet: flights between two moments at which every tank was known. Fill to full and write `ownship "
         "fuel add --tank left --amount \"12 usgal\" --level full` for each tank, or note the fuel before and after a flight.")
AS_CRUISE = ("Not every flight notes its phases: what is not taxi is taken as cruise, so that the flow of cruise is the mean of "
             "climb, cruise and descent.")
SETTLE = "A fill that does not agree is settled by correcting the entry that is wrong (`log correct`, `log withdraw`)."


def fills(aeroplane: str | None = None, folder: Path | None = None) -> dict[str, Any]:
    """The fills of an aeroplane, what they teach by phase, those that do not agree, what to plan on; nothing is written."""
    from ownship.ownership.fills import spans
    from ownship.questions.places import today

    with opened(folder) as (_, entries):
        registration = chosen(entries, aeroplane)
        day = today()
        tanks = needed_tanks(entries, registration, day)
        found, left = spans(entries, registration, tanks, level_sd_m3)
        log, words = _learned(entries, registration, tanks, found) if found else (None, ())
    base = {"schema": 1, "aeroplane": registration, "fills": [], "flows": [], "plan": [], "told": []}
    waiting = [f"Flights in no fill: {left} (no moment with every tank known before and after them)."] if left else []
    if log is None:
        return base | {"sentence": f"{registration}: {EMPTY}", "told": waiting}
    count, doubt = len(found), [SETTLE, NOT_BY_ITSELF] if any(f.open for f in log.fills) else []
    return base | {"sentence": f"{registration}: {count} {'fill' if count == 1 else 'fills'} of the record.",
                   "fills": [_fill_json(s, f) for s, f in zip(found, log.fills, strict=True)], "flows": list(log.flow_words()),
                   "plan": list(log.plan_words()), "told": [*words, *waiting, *doubt]}


def level_sd_m3(tank: Tank, usable_m3: float, known_by: str) -> float:
    """One sd of a level in the fuel log: full 0.3 US gal, else as fuel aboard has it (docs/methods/fuel-log.md)."""
    from ownship.aeroplane.weighing import usual_errors
    from ownship.calibration.fuel_found import METER_1
    from ownship.calibration.fuel_log import FILL_SD_M3
    from ownship.ownership.fuel_aboard import level_sd_m3 as aboard_sd_m3

    if known_by == "full":
        return FILL_SD_M3
    if known_by == "flow meter":
        return max(FILL_SD_M3, METER_1 * (tank.usable_m3 - usable_m3))
    return aboard_sd_m3(tank, usable_m3, known_by, usual_errors())


def _learned(entries: tuple[Entry, ...], registration: str, tanks: Sequence[Tank],
             found: Sequence[Span]) -> tuple[FuelLog, tuple[str, ...]]:
    from ownship.calibration.fuel_log import PHASES, learn

    flights = [f for s in found for f in s.flights]
    whole = all(f.phases_s and {name for name, _ in f.phases_s} <= set(PHASES) for f in flights)
    start, logged = as_log(found, tanks, phases=whole)
    return learn(_planned(entries, registration), start, logged), () if whole else (AS_CRUISE,)


def as_log(found: Sequence[Span], tanks: Sequence[Tank], *, phases: bool) -> tuple[tuple[TankLevel, ...], tuple[Fill, ...]]:
    """(levels before, fills) for the fuel log, in total fuel; phases: every flight notes its phases.

    A span that begins at another sighting than the one before ended at begins a chain of its own, under names of its own:
    the errors of two sightings are two.
    """
    from ownship.calibration.fuel_log import Fill, TankLevel

    start: list[TankLevel] = []
    logged: list[Fill] = []
    chain, last = 0, None
    for span in found:
        if span.start is not last:
            chain += 1
            start += _levels(span.start, tanks, chain)
        added = {f"{name} {chain}": amount for name, amount in span.added_m3}
        levels = tuple(TankLevel(x.tank, x.level_m3, added[x.tank], x.sd_m3) for x in _levels(span.end, tanks, chain))
        logged.append(Fill(f"{span.end.at:%Y-%m-%d}", tuple(_phases(f, noted=phases) for f in span.flights), levels))
        last = span.end
    return tuple(start), tuple(logged)


def _levels(sighting: Sighting, tanks: Sequence[Tank], chain: int) -> list[TankLevel]:
    from ownship.calibration.fuel_log import TankLevel

    unusable = {t.id: t.unusable_m3 for t in tanks}
    return [TankLevel(f"{name} {chain}", usable + unusable[name], 0.0, sd) for name, usable, sd in sighting.levels]


def _phases(f: Flight, *, noted: bool) -> FlightPhases:
    """Times of the phases: as noted, else taxi (blocks less air time, or the usual one) and all else as cruise."""
    from ownship.calibration.fuel_log import FlightPhases
    from ownship.flight.planning import usual

    name = f"{f.off_blocks:%Y-%m-%d} {f.origin} to {f.destination}"
    if noted:
        times = {f"{phase}_s": sum(s for n, s in f.phases_s if n == phase) for phase, _ in f.phases_s}
        return FlightPhases(name, **times)
    taxi = min(usual("taxi_time"), f.flight_s) if f.air_s is None else f.flight_s - f.air_s
    return FlightPhases(name, taxi_s=taxi, cruise_s=f.flight_s - taxi)


def _planned(entries: tuple[Entry, ...], registration: str) -> dict[str, PlannedFlow]:
    """The flows the model plans for this one aeroplane before any measurement of its own."""
    from ownship.calibration.estimate import draws_of, individual
    from ownship.calibration.fuel_found import planned_flows
    from ownship.ownership.revisions import record_on
    from ownship.performance.model import Model, airframe_of
    from ownship.questions.calibrating import fit_both, rows_to_match, surrogate_of
    from ownship.questions.logs import taxi_flow
    from ownship.questions.places import today

    record = record_on(entries, registration, today())
    airframe = airframe_of(record)
    book = None if record.book is None else record.book.rows
    folder = rows_folder(entries, registration, today())
    rows = rows_to_match(record, None, None if book is None else str(folder / book), None, None)
    model = Model(airframe, surrogate_of(airframe), draws_of(individual(fit_both(airframe, rows).book)))
    return planned_flows(model, "not said", taxi_flow())


def _fill_json(span: Span, fill: Any) -> dict[str, Any]:
    from ownship.words.figures import figure

    return {"name": fill.name, "from": span.start.at.isoformat(timespec="minutes"), "to": span.end.at.isoformat(timespec="minutes"),
            "flights": len(span.flights), "used": figure(fill.used_m3, "usgal").to_json(),
            "expected": figure(fill.expected_m3, "usgal").to_json(), "sigma": fill.sigma, "agrees": not fill.kind,
            "words": fill.words}
