"""Fuel and oil: what is aboard by tank now, with band and since when; fuel added, a dipstick read, oil put in."""

from __future__ import annotations

from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ownship.errors import BadInput
from ownship.questions.from_record import aboard, chosen, needed_tanks, tanks_on, total_words
from ownship.questions.log_checks import meant, other_words
from ownship.questions.log_events import MOST_OIL, moment_of, money_of
from ownship.questions.logging_flights import Written, opened

if TYPE_CHECKING:
    from ownship.aeroplane.description import Tank
    from ownship.ownership.entries import Entry
    from ownship.ownership.fuel_aboard import FuelAboard, Level, OilRate

EMPTY = ("No fuel is kept yet. Dip the tanks and write `ownship fuel seen --tank left --amount \"20 usgal\" --known-by dipstick`, "
         "or `ownship fuel add` after filling.")
UNIT = "usgal"


def now_aboard(aeroplane: str | None = None, at: str | None = None, folder: Path | None = None) -> dict[str, Any]:
    """Fuel aboard by tank and in all at a moment, how an hour of oil stands; an empty record answers with what to do."""
    from ownship.ownership.entries import FuelAdded, FuelSeen

    moment = moment_of("--at", at)
    with opened(folder) as (_, entries):
        if aeroplane is None and not any(isinstance(e.body, FuelAdded | FuelSeen) for e in entries) and not _single(entries):
            return {"schema": 1, "sentence": EMPTY, "aeroplane": None, "at": _iso(moment), "tanks": [], "total": None,
                    "since": None, "oil": None}
        registration = meant(entries, aeroplane)
        found = aboard(entries, registration, moment) if tanks_on(entries, registration, moment.date()) else None
        oil = _oil(entries, registration)
    return _answer(registration, moment, found, oil)


def _single(entries: tuple[Entry, ...]) -> bool:
    """Whether one aeroplane is meant without saying so."""
    try:
        return bool(chosen(entries, None))
    except BadInput:
        return False


def _answer(registration: str, moment: datetime, found: FuelAboard | None, oil: dict[str, Any] | None) -> dict[str, Any]:
    base = {"schema": 1, "aeroplane": registration, "at": _iso(moment), "tanks": [], "total": None, "since": None, "oil": oil}
    if found is None:
        return base | {"sentence": f"{registration}: fuel aboard is not known, as the record keeps no tanks of it; keep its "
                       "airframe record with [[tanks]] by `ownship weight keep AEROPLANE.toml`."}
    full = sum(t.full_m3 for t in found.tanks)
    tanks = [{"tank": t.tank, "usable": None if t.level is None else _figure(t.level, t.full_m3), "full_usable": _gal(t.full_m3),
              "known_by": None if t.level is None else t.level.known_by,
              "since": None if t.level is None else _iso(t.level.since), "words": t.words} for t in found.tanks]
    since = None if found.total is None else _iso(found.total.since)
    return base | {"sentence": _sentence(registration, found), "tanks": tanks, "flights_since": found.flights_since,
                   "total": None if found.total is None else _figure(found.total, full), "since": since, "words": found.words}


def _sentence(registration: str, found: FuelAboard) -> str:
    if found.total is None:
        return f"{registration}: fuel aboard is not known: {found.words}."
    words = f"; {found.words}" if found.words else ""
    since = f"{found.total.since:%Y-%m-%d %H:%M}Z"
    return f"{registration}: {total_words(found)} aboard, seen last {since}{words}. Look into the tanks."


def _figure(level: Level, full_m3: float) -> dict[str, Any]:
    from ownship.words.figures import figure

    return figure(level.usable_m3, UNIT, *level.band_m3(full_m3)).to_json()


def _gal(volume_m3: float) -> dict[str, Any]:
    from ownship.words.figures import figure

    return figure(volume_m3, UNIT).to_json()


def _iso(moment: datetime) -> str:
    return moment.isoformat(timespec="minutes")


# ---- oil


def _oil(entries: tuple[Entry, ...], registration: str) -> dict[str, Any] | None:
    from ownship.ownership.fuel_aboard import oil_per_hour

    found = oil_per_hour(entries, registration)
    return None if found is None else _oil_json(found)


def _oil_json(rate: OilRate) -> dict[str, Any]:
    from ownship.units import from_si, to_si

    def per_h(x: float | None) -> float | None:
        return None if x is None else float(from_si(x * to_si(1, "h"), "qt"))

    value = {"value": per_h(rate.rate_m3_s), "unit": "qt/h"}
    band = {} if rate.low_m3_s is None else {"low": per_h(rate.low_m3_s), "high": per_h(rate.high_m3_s)}
    return {"per_hour": value | band, "hours": float(from_si(rate.hours_s, "h")), "spans": rate.spans, "words": rate.words}


def add_oil(amount: str, hours: float | None = None, price: str | None = None, at: str | None = None,
            aeroplane: str | None = None, folder: Path | None = None, other_aeroplane: bool = False) -> Written:
    """Enter oil put in; "0 qt" at a change of oil."""
    from ownship.ownership.entries import OilAdded
    from ownship.units import parse

    volume, moment, cost = parse(amount, "volume", "--amount"), moment_of("--at", at), money_of("--price", price)
    if not 0 <= volume <= parse(MOST_OIL, "volume"):
        raise BadInput(f"--amount: {amount!r} of oil is not believable; write 0 qt (a change) to {MOST_OIL}.")
    if hours is not None and not 0 <= hours <= 100_000:
        raise BadInput(f"--hours: {hours:g} is no reading; write the engine's hours, 0 to 100,000.")
    with opened(folder) as (records, entries):
        registration = meant(entries, aeroplane)
        other = other_words(entries, registration, meant=other_aeroplane, kept_as="an entry of")
        entry = records.append(OilAdded(volume, hours, cost), registration, moment)
        rate = _oil((*entries, entry), registration)
    told = () if rate is None else (_oil_words(rate),)
    return Written((entry.number,), f"Entry {entry.number}: {amount} of oil into {registration}.", (*told, *other))


def _oil_words(rate: dict[str, Any]) -> str:
    p = rate["per_hour"]
    band = f" ({p['low']:.2f} to {p['high']:.2f})" if "low" in p else ""
    return f"oil: {p['value']:.2f} qt an hour{band} over {rate['hours']:.0f} h, {rate['words']}"


# ---- fuel


def add_fuel(tank: str, amount: str, level: str = "", price: str | None = None, place: str = "", at: str | None = None,
             aeroplane: str | None = None, folder: Path | None = None) -> Written:
    """Enter fuel put into a tank; level: what it was filled to ("full" or a mark); refused where it cannot fit."""
    from ownship.ownership.entries import FuelAdded
    from ownship.ownership.fuel_aboard import level_m3, refuse_more_than_holds, refuse_too_much_added, tank_of
    from ownship.units import parse

    volume, moment, cost = parse(amount, "volume", "--amount"), moment_of("--at", at), money_of("--price", price)
    if volume <= 0:
        raise BadInput(f"--amount: {amount!r} is not more than 0; write what was put in, or `ownship fuel seen` what is there.")
    with opened(folder) as (records, entries):
        registration = meant(entries, aeroplane)
        found = tank_of(needed_tanks(entries, registration, moment.date()), tank, "--tank")
        if level and level_m3(found, level) is None:
            raise BadInput(f"--level: {level!r} is neither full nor a mark of the {tank} tank{_marks(found)}.")
        refuse_more_than_holds(found, volume - found.unusable_m3, "--amount")
        entry = records.append(FuelAdded(tank, volume, level, cost, place.strip().upper()), registration, moment, check=lambda now:
                               None if level else refuse_too_much_added(aboard(now, registration, moment), found, volume))
        after = aboard((*entries, entry), registration, moment)
    filled = f", filled to {level}" if level else ""
    return Written((entry.number,), f"Entry {entry.number}: {amount} into the {tank} tank of {registration}{filled}.",
                   (f"aboard: {total_words(after)}",))


def _marks(tank: Tank) -> str:
    names = ", ".join(m.name for m in tank.marks)
    return f" (marks: {names})" if names else ", which has none"


def see_fuel(tank: str, amount: str, known_by: str = "", counts: str = "", at: str | None = None, aeroplane: str | None = None,
             folder: Path | None = None) -> Written:
    """Enter what is in a tank: an amount, "full", a mark, or a reading of its dipstick ("4.1 in")."""
    from ownship.ownership.entries import KNOWN_BY, FuelSeen
    from ownship.ownership.fuel_aboard import refuse_more_than_holds, tank_of

    if counts not in ("", "usable", "total"):
        raise BadInput(f"--counts: {counts!r} is not one of: usable, total.")
    if known_by and known_by not in KNOWN_BY:
        raise BadInput(f"--known-by: {known_by!r} is not one of: {', '.join(KNOWN_BY)}.")
    moment = moment_of("--at", at)
    with opened(folder) as (records, entries):
        registration = meant(entries, aeroplane)
        found = tank_of(needed_tanks(entries, registration, moment.date()), tank, "--tank")
        usable_m3, by = _seen(found, amount.strip(), known_by, counts)
        refuse_more_than_holds(found, usable_m3, "--amount")
        entry = records.append(FuelSeen(tank, usable_m3, by), registration, moment)
        after = aboard((*entries, entry), registration, moment)
    from ownship.units import from_si

    return Written((entry.number,), f"Entry {entry.number}: {from_si(usable_m3, UNIT):.1f} US gal usable in the {tank} tank of "
                   f"{registration}, known by {by}.", (f"aboard: {total_words(after)}",))


def _seen(tank: Tank, amount: str, known_by: str, counts: str) -> tuple[float, str]:
    """(usable, known by) of what was typed; a dipstick reads total unless said, all else usable."""
    from ownship.errors import UnitError
    from ownship.ownership.fuel_aboard import level_m3
    from ownship.units import parse

    level = level_m3(tank, amount)
    if level is not None:
        return level, known_by or ("full" if amount == "full" else "mark")
    if amount[:1] not in tuple("+-.0123456789"):
        raise BadInput(f"--amount: {amount!r} is neither an amount, full nor a mark of the {tank.id} tank{_marks(tank)}.")
    try:
        reading_m = parse(amount, "length", "--amount")
    except UnitError:
        volume, by = parse(amount, "volume", "--amount"), known_by or "gauge"
    else:
        volume, by = _dipped(tank, reading_m, amount), "dipstick"
    if volume < 0:
        raise BadInput(f"--amount: {amount!r} is below 0; an empty tank is \"0 usgal\".")
    total = counts == "total" or (counts == "" and by == "dipstick")
    return max(volume - tank.unusable_m3, 0.0) if total else volume, by


def _dipped(tank: Tank, reading_m: float, text: str) -> float:
    """Fuel of a dipstick's reading between two of its table; beyond the table it is refused."""
    rows = sorted(tank.dipstick)
    if not rows:
        raise BadInput(f"--amount: {text!r} is a dipstick's reading, and the record has no dipstick table of the {tank.id} tank; "
                       "write an amount.")
    for (a, low), (b, high) in pairwise(rows):
        if a <= reading_m <= b:
            return low + (high - low) * (reading_m - a) / (b - a)
    raise BadInput(f"--amount: {text!r} is beyond the dipstick table of the {tank.id} tank; write an amount, or what is surely "
                   "there.")
