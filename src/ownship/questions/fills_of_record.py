"""What the fills of the record teach: flights between two moments at which every tank was known, as a fuel log."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ownship.errors import BadInput, OwnshipError
from ownship.questions.from_record import chosen, needed_tanks, rows_folder, tanks_on
from ownship.questions.logging_flights import Written, opened

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ownship.aeroplane.description import Tank
    from ownship.calibration.fuel_log import Fill, FlightPhases, FuelLog, PlannedFlow, TankLevel
    from ownship.ownership.entries import Entry, Flight
    from ownship.ownership.fills import Sighting, Span
    from ownship.questions.record_margins import RecordSituation

LATEST = 120  # fills learned from: a year or two of an owner's, and what learning answers within a second or two
SETTLED = "fuel.settled"
FOUND = ("lost", "short", "right", "open")
EMPTY = ("The record holds no fill yet: flights between two moments at which every tank was known. Fill to full and write `ownship "
         "fuel add --tank left --amount \"12 usgal\" --level full` for each tank, or note the fuel before and after a flight.")
AS_CRUISE = ("Not every flight notes its phases: what is not taxi is taken as cruise, so that the flow of cruise is the mean of "
             "climb, cruise and descent.")
SETTLE = ("A fill that does not agree is settled by correcting the entry that is wrong (`log correct`, `log withdraw`), or by "
          "saying what was found: `ownship fuel settle DAY --found lost|short|right --why \"...\"`.")
PLANNED_ON = "Until then `check` by the record adds it to the burn as contingency."


def fills(aeroplane: str | None = None, folder: Path | None = None) -> dict[str, Any]:
    """The fills of an aeroplane, what they teach by phase, those that do not agree, what to plan on; nothing is written."""
    with opened(folder) as (_, entries):
        if aeroplane is None and not any(e.aeroplane for e in entries):
            return _nothing(None, EMPTY)
        registration = chosen(entries, aeroplane)
        found, left, older = _found(entries, registration)
        log, words = _learned(entries, registration, found) if found else (None, ())
        words += _void(entries, registration, found)
    waiting = [f"Flights in no fill: {left} (no moment with every tank known before and after them)."] if left else []
    if log is None:
        return _nothing(registration, f"{registration}: {EMPTY}") | {"told": waiting}
    count, doubt = len(found), [SETTLE, PLANNED_ON] if any(f.open for f in log.fills) else []
    before = [f"{older} older fills are left out: the latest {LATEST} say what it burns now."] if older else []
    return {"schema": 1, "aeroplane": registration,
            "sentence": f"{registration}: {count} {'fill' if count == 1 else 'fills'} of the record.",
            "fills": [_fill_json(s, f) for s, f in zip(found, log.fills, strict=True)], "flows": list(log.flow_words()),
            "plan": list(log.plan_words()), "told": [*words, *before, *waiting, *doubt]}


def _nothing(registration: str | None, sentence: str) -> dict[str, Any]:
    return {"schema": 1, "aeroplane": registration, "sentence": sentence, "fills": [], "flows": [], "plan": [], "told": []}


def _found(entries: tuple[Entry, ...], registration: str) -> tuple[tuple[Span, ...], int, int]:
    """(the latest fills, flights in no fill, older fills left out) of an aeroplane, by its tanks of today."""
    from ownship.ownership.fills import spans
    from ownship.questions.places import today

    found, left = spans(entries, registration, needed_tanks(entries, registration, today()), level_sd_m3)
    return found[-LATEST:], left, max(len(found) - LATEST, 0)


# ---- what was found where one does not agree


def settle(day: str, found: str, why: str, aeroplane: str | None = None, folder: Path | None = None) -> Written:
    """Keep what was found of the fill that ended on a day (or at a moment, where two did): lost, short, right; open takes it back.

    It counts as long as the fill says the same amount: entries of it corrected later open it again.
    """
    from ownship.ownership.entries import Setting

    if found not in FOUND:
        raise BadInput(f"--found: {found!r} is not one of: {', '.join(FOUND)}.")
    if not why.strip():
        raise BadInput("--why: say how it was found out, as \"the right tank was not filled to the brim\".")
    with opened(folder) as (records, entries):
        registration = chosen(entries, aeroplane)
        spans, _, _ = _found(entries, registration)
        span = _meant(spans, day, registration)
        name = f"{span.end.at:%Y-%m-%d %H:%M}Z"
        log, _ = _learned(entries, registration, spans) if spans else (None, ())
        check = None if log is None else log.fills[spans.index(span)]
        if check is not None and not check.kind and not _said(entries, registration).get(_key(span)):
            raise BadInput(f"The fill of {name} agrees with the others, so there is nothing to settle.")
        value = json.dumps({"end": _key(span), "used_m3": _used_m3(span), "found": "" if found == "open" else found})
        entry = records.append(Setting(SETTLED, value), registration, note=why.strip())
    state = "is open again" if found == "open" else f"is settled as {found}"
    return Written((entry.number,), f"Entry {entry.number}: the fill of {registration} that ended {name} {state}.")


def _meant(spans: Sequence[Span], day: str, registration: str) -> Span:
    """The fill that ended on a day or at a moment as it is typed."""
    asked = day.strip().rstrip("Zz").replace("T", " ")
    ended = [s for s in spans if asked and f"{s.end.at:%Y-%m-%d %H:%M}".startswith(asked) and len(asked) in (10, 16)]
    if len(ended) == 1:
        return ended[0]
    if ended:
        raise BadInput(f"Fills that ended on {asked}: {', '.join(f'{s.end.at:%Y-%m-%dT%H:%MZ}' for s in ended)}; name one by its "
                       "moment.")
    last = ", ".join(f"{s.end.at:%Y-%m-%d}" for s in spans[-5:])
    latest = f"the latest ended on {last}" if last else "there is none yet"
    raise BadInput(f"No fill of {registration} ended on {day!r} (UTC); {latest}.")


def _key(span: Span) -> str:
    return span.end.at.isoformat()


def _used_m3(span: Span) -> float:
    before, after = (sum(level for _, level, _ in x.levels) for x in (span.start, span.end))
    return round(before - after + sum(amount for _, amount in span.added_m3), 6)


def _said(entries: tuple[Entry, ...], registration: str) -> dict[str, tuple[float, str]]:
    """(amount it was said of, what was found) by the end of a fill: the last word on each."""
    from ownship.ownership.entries import Setting, of_kind

    kept = sorted(((e.number, s.value) for e, s in of_kind(entries, Setting, registration) if s.name == SETTLED))
    values = [json.loads(v) for _, v in kept]
    return {str(v["end"]): (float(v["used_m3"]), str(v["found"])) for v in values}


def _settled(entries: tuple[Entry, ...], registration: str, found: Sequence[Span]) -> tuple[str, ...]:
    """What was found of each fill, "" where nothing was said or the fill says another amount by now."""
    said = _said(entries, registration)
    return tuple(word if abs(amount - _used_m3(s)) < 2e-6 else "" for s in found for amount, word in [said.get(_key(s), (0.0, ""))])


def _void(entries: tuple[Entry, ...], registration: str, found: Sequence[Span]) -> tuple[str, ...]:
    """Words on fills that were settled and have other entries since."""
    said, counts = _said(entries, registration), _settled(entries, registration, found)
    return tuple(f"The fill of {s.end.at:%Y-%m-%d} was settled as {said[_key(s)][1]}; its entries were corrected since, so that "
                 "this no longer counts." for s, word in zip(found, counts, strict=True)
                 if not word and said.get(_key(s), (0.0, ""))[1])


# ---- what a flight is planned on


def on_fills(s: RecordSituation, entries: tuple[Entry, ...]) -> RecordSituation:
    """A situation whose contingency covers the worse flow of a fill that does not agree and is not settled; as it is where none
    does. What cannot be judged is said in its `fills_words`.

    contingency >= flow to plan on / planned flow of the cruise - 1, and >= flow to plan on / learned - 1.
    """
    from ownship.questions.places import today

    if not tanks_on(entries, s.registration, today()):
        return s
    try:
        found, _, _ = _found(entries, s.registration)
        if not found:
            return s
        log, planned_m3_s, _ = _learnt(*_asked(entries, s.registration, found))
    except OwnshipError as error:
        return replace(s, fills_words=f"Fills of the record were not judged: {error}")
    names = [f.name for f in log.fills if f.open]
    cruise = next(f for f in log.flows if f.phase == "cruise")
    more = min(max(cruise.plan_m3_s / planned_m3_s, cruise.plan_m3_s / cruise.mean_m3_s) - 1, 1.0)
    if not names or more <= (s.request.planning.contingency_1 or 0.0):
        return s
    planning = replace(s.request.planning, contingency_1=more)
    words = (f"Fuel: {100 * more:.0f} % is added to the burn, because the fill of {' and '.join(names)} does not agree with the "
             "others and is not settled (`ownship fuel fills`).")
    return replace(s, request=replace(s.request, planning=planning), fills_words=words)


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


def _learned(entries: tuple[Entry, ...], registration: str, found: tuple[Span, ...]) -> tuple[FuelLog, tuple[str, ...]]:
    log, _, whole = _learnt(*_asked(entries, registration, found))
    return log, () if whole else (AS_CRUISE,)


def _asked(entries: tuple[Entry, ...], registration: str, found: tuple[Span, ...]) -> tuple[Any, ...]:
    """What learning depends on: the aeroplane's record of today with its rows, the fills, what was settled."""
    from ownship.ownership.revisions import record_toml
    from ownship.questions.places import today

    day = today()
    return (record_toml(entries, registration, day), rows_folder(entries, registration, day), found,
            needed_tanks(entries, registration, day), _settled(entries, registration, found))


@lru_cache(maxsize=8)
def _learnt(toml: str, folder: Path, found: tuple[Span, ...], tanks: tuple[Tank, ...],
            settled: tuple[str, ...]) -> tuple[FuelLog, float, bool]:
    """(the fuel log, the planned flow of the cruise in m3/s, whether every flight notes its phases)."""
    from ownship.calibration.fuel_log import PHASES, learn

    flights = [f for s in found for f in s.flights]
    whole = all(f.phases_s and {name for name, _ in f.phases_s} <= set(PHASES) for f in flights)
    start, logged = as_log(found, tanks, phases=whole)
    planned = _planned(toml, folder)
    log = learn(planned, start, [replace(f, settled=word) for f, word in zip(logged, settled, strict=True)])
    return log, planned["cruise"].mean_m3_s, whole


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


def _planned(toml: str, folder: Path) -> dict[str, PlannedFlow]:
    """The flows the model plans for this one aeroplane before any measurement of its own."""
    from ownship.aeroplane.reading import read_airframe
    from ownship.calibration.estimate import draws_of, individual
    from ownship.calibration.fuel_found import planned_flows
    from ownship.performance.model import Model, airframe_of
    from ownship.questions.calibrating import fit_both, rows_to_match, surrogate_of
    from ownship.questions.logs import taxi_flow

    record = read_airframe(toml, "the record")
    airframe = airframe_of(record)
    book = None if record.book is None else record.book.rows
    rows = rows_to_match(record, None, None if book is None else str(folder / book), None, None)
    model = Model(airframe, surrogate_of(airframe), draws_of(individual(fit_both(airframe, rows).book)))
    return planned_flows(model, "not said", taxi_flow())


def _fill_json(span: Span, fill: Any) -> dict[str, Any]:
    from ownship.words.figures import figure

    return {"name": fill.name, "from": span.start.at.isoformat(timespec="minutes"), "to": span.end.at.isoformat(timespec="minutes"),
            "flights": len(span.flights), "used": figure(fill.used_m3, "usgal").to_json(),
            "expected": figure(fill.expected_m3, "usgal").to_json(), "sigma": fill.sigma, "agrees": not fill.kind,
            "words": fill.words}
