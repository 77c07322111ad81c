"""What goes into the log beside flights: replaced meters, defects, the hand-over to a partner; moments and money as typed."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ownship.errors import BadInput
from ownship.questions.from_record import aboard, tanks_on
from ownship.questions.log_checks import AHEAD, meant, other_words
from ownship.questions.logging_flights import Written, day_of, defect_json, opened

if TYPE_CHECKING:
    from ownship.ownership.entries import Entry, Money, TankContents

MOST_OIL = "20 qt"
MONEY = re.compile(r"(\d{1,9}(?:\.\d{1,4})?)\s*([A-Za-z]{3})")


def moment_of(option: str, text: str | None) -> datetime:
    """The moment of an option, UTC; now where it is not given; refused without a zone and more than a day ahead."""
    now = datetime.now(UTC)
    if text is None:
        return now
    try:
        found = datetime.fromisoformat(text.strip())
    except ValueError:
        raise BadInput(f"{option}: {text!r} is no moment; write 2026-07-11T15:00-06:00.") from None
    if found.tzinfo is None:
        raise BadInput(f"{option}: {text!r} has no zone; write 2026-07-11T15:00-06:00.")
    if not 1903 <= found.year <= 2200 or found > now + AHEAD:
        raise BadInput(f"{option}: {text!r} lies ahead, or before aeroplanes; the record keeps what has happened.")
    return found.astimezone(UTC)


def money_of(option: str, text: str | None) -> Money | None:
    """An amount in one currency: "62.50 USD"."""
    from ownship.ownership.entries import Money

    if text is None:
        return None
    match = MONEY.fullmatch(text.strip())
    if not match:
        raise BadInput(f"{option}: {text!r} is no amount with its currency; write \"62.50 USD\".")
    return Money(Decimal(match[1]), match[2].upper())


# ---- meters


def replaced(which: str, old_h: float, new_h: float = 0.0, at: str | None = None, aeroplane: str | None = None,
             folder: Path | None = None, other_aeroplane: bool = False) -> Written:
    """Enter a replaced tachometer or hour meter: the old one's last reading and the new one's first; again for the same day
    (UTC): corrected."""
    from ownship.ownership.defects import refuse_meter
    from ownship.ownership.entries import InstrumentReplaced
    from ownship.ownership.meters import refuse_replacement, replaced_on, settled_words

    refuse_meter(which)
    for name, value in (("--old", old_h), ("--new", new_h)):
        if not math.isfinite(value) or not 0 <= value <= 100_000:
            raise BadInput(f"{name}: {value:g} h is no reading; write 0 to 100,000.")
    moment, body = moment_of("--at", at), InstrumentReplaced(which, old_h, new_h)
    with opened(folder) as (records, entries):
        registration = meant(entries, aeroplane)
        old = replaced_on(entries, registration, which, moment)
        other = other_words(entries, registration, meant=other_aeroplane, kept_as="an entry of")

        def check(now: tuple[Entry, ...]) -> str | None:
            return refuse_replacement([e for e in now if old is None or e.number != old.number], registration, body, moment)

        told = [w for w in (check(entries), settled_words(entries, registration, body, moment, old)) if w]
        entry = (records.append(body, registration, moment, check=check) if old is None else
                 records.correct(old.number, body, moment, check=check))
    corrected = "" if old is None else f" It corrects entry {old.number} of the same day."
    return Written((entry.number,), f"Entry {entry.number}: the {which} of {registration} was replaced at {old_h:g} h and begins "
                   f"at {new_h:g} h.{corrected}", (*told, *other))


# ---- defects


def defect(name: str, state: str, words: str, uses: Iterable[str] = (), until: str | None = None, by: str = "",
           at: str | None = None, aeroplane: str | None = None, folder: Path | None = None,
           other_aeroplane: bool = False) -> Written:
    """Enter a step in the life of a defect: found, deferred or rectified."""
    from ownship.ownership.defects import refuse_step
    from ownship.ownership.entries import DEFECT_STATES, USES, Defect

    named, speaks = name.strip(), tuple(uses)
    if state not in DEFECT_STATES:
        raise BadInput(f"--state: {state!r} is not one of: {', '.join(DEFECT_STATES)}.")
    if not named or not words.strip():
        raise BadInput("A defect needs a short name and --words that say what is wrong or what was done.")
    if unknown := [u for u in speaks if u not in USES]:
        raise BadInput(f"--uses: {unknown[0]!r} is not one of: {', '.join(USES)}.")
    end, moment = day_of("--until", until), moment_of("--at", at)
    if end is not None and state != "deferred":
        raise BadInput("--until belongs to a deferred defect only; leave it out.")
    with opened(folder) as (records, entries):
        registration = meant(entries, aeroplane)
        step = Defect(named, state, words.strip(), speaks or _uses_before(entries, registration, named), end, by)
        other = other_words(entries, registration, meant=other_aeroplane, kept_as="an entry of")
        entry = records.append(step, registration, moment, check=lambda now: refuse_step(
            [e for e in now if e.moment <= moment], registration, step))
    return Written((entry.number,), f"Entry {entry.number}: {registration}, {named} {state}"
                   f"{f' until {end}' if end else ''}. Whether it may be flown with a licensed person decides.", other)


def _uses_before(entries: tuple[Entry, ...], registration: str, name: str) -> tuple[str, ...]:
    """The uses of the defect's step before; every use for a new one."""
    from ownship.ownership.entries import USES, Defect, of_kind

    before = [d.uses for _, d in of_kind(entries, Defect, registration) if d.name == name]
    return before[-1] if before else USES


def defects(aeroplane: str | None = None, uses: Iterable[str] = (), folder: Path | None = None) -> dict[str, Any]:
    """Open defects of an aeroplane, for flights of some uses; an empty record answers too."""
    from ownship.ownership.defects import open_defects
    from ownship.ownership.entries import USES, Defect, of_kind
    from ownship.questions.places import today

    with opened(folder) as (_, entries):
        if not of_kind(entries, Defect) and aeroplane is None:
            return {"schema": 1, "sentence": "No defect is kept yet, which says nothing of the aeroplane. Enter one with `ownship "
                    "log defect NAME --state found --words \"...\"`.", "aeroplane": None, "defects": []}
        registration = meant(entries, aeroplane)
        found = open_defects(entries, registration, tuple(uses) or USES, today())
    count = f"{len(found)} open {'defect' if len(found) == 1 else 'defects'}" if found else "no open defect is in the record"
    return {"schema": 1, "sentence": f"{registration}: {count}; a licensed person decides what may be flown with.",
            "aeroplane": registration, "defects": [defect_json(d) for d in found]}


# ---- hand-over


def hand_over(to: str, by: str = "", meter: str = "tachometer", reading: float | None = None, rate: str | None = None,
              oil: str | None = None, tied_down: str = "", keys: str = "", at: str | None = None, aeroplane: str | None = None,
              folder: Path | None = None, other_aeroplane: bool = False) -> dict[str, Any]:
    """Hand the aeroplane over and give the sheet: fuel and how known, oil, open defects, tie-down, keys, what is owed."""
    from ownship.ownership.defects import flown_since, open_defects, refuse_meter, settlement
    from ownship.ownership.entries import HandOver
    from ownship.units import parse

    refuse_meter(meter)
    if not to.strip():
        raise BadInput("A hand-over needs --to: who takes the aeroplane.")
    if reading is not None and not (math.isfinite(reading) and 0 <= reading <= 100_000):
        raise BadInput(f"--reading: {reading:g} h is no reading; write 0 to 100,000.")
    moment, oil_m3, price = moment_of("--at", at), None if oil is None else parse(oil, "volume", "--oil"), money_of("--rate", rate)
    if oil_m3 is not None and not 0 <= oil_m3 <= parse(MOST_OIL, "volume"):
        raise BadInput(f"--oil: {oil!r} is not believable; write what the dipstick shows, 0 qt to {MOST_OIL}.")
    with opened(folder) as (records, entries):
        registration = meant(entries, aeroplane)
        told = other_words(entries, registration, meant=other_aeroplane, kept_as="an entry of")
        fuel, fuel_words = _fuel(entries, registration, moment)
        draft = HandOver(to.strip(), by, fuel, oil_m3, tied_down, keys, meter, reading)
        owed = settlement(entries, registration, draft, moment, price)
        body = HandOver(to.strip(), by, fuel, oil_m3, tied_down, keys, meter, reading, owed.owed)
        found = open_defects([e for e in entries if e.moment <= moment], registration, day=moment.date())

        def check(now: tuple[Entry, ...]) -> None:
            if settlement(now, registration, draft, moment, price) != owed:
                raise BadInput("Another program wrote into the record meanwhile, and nothing was written; hand over again.")

        entry = records.append(body, registration, moment, check=check)
        count = flown_since(entries, registration, moment)
    return {"schema": 1, "number": entry.number, "sentence": f"Entry {entry.number}: {registration} handed over to {to.strip()}.",
            "told": list(told),
            "aeroplane": registration, "moment": moment.isoformat(timespec="minutes"), "to": body.to, "by": by,
            "fuel": list(fuel_words), "oil": oil or "not noted", "tied_down": tied_down or "not noted", "keys": keys or "not noted",
            "defects": [f"{d.name}, {d.state}: {d.words}" for d in found], "flights": count,
            "settlement": {"meter": meter, "hours": owed.hours_h, "words": owed.words, "owed": None if owed.owed is None else {
                "amount": str(owed.owed.amount), "currency": owed.owed.currency}}}


def _fuel(entries: tuple[Entry, ...], registration: str, moment: datetime) -> tuple[tuple[TankContents, ...], tuple[str, ...]]:
    """Fuel by tank where it is known, and words for every tank; an aeroplane without tanks on record: not known."""
    from ownship.ownership.entries import KNOWN_BY, TankContents
    from ownship.units import from_si

    if not tanks_on(entries, registration, moment.date()):
        return (), ("not known: the record keeps no tanks of this aeroplane",)
    found = aboard(entries, registration, moment)
    known = tuple(TankContents(t.tank, max(t.level.usable_m3, 0.0), t.level.known_by if t.level.known_by in KNOWN_BY else "clock")
                  for t in found.tanks if t.level is not None)
    words = tuple(f"{t.tank}: {t.words}" if t.level is None else
                  f"{t.tank}: {from_si(t.level.usable_m3, 'usgal'):.1f} US gal usable, {t.words}" for t in found.tanks)
    return known, words
