"""Am I recent? The record read, days and nights reckoned at the places of the flights, one answer for each pilot and place."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ownship.errors import BadInput
from ownship.ownership.entries import Entry, Flight, Pilot, PilotEvent, of_kind, standing
from ownship.ownership.progress import DEFAULT_CLASS, DayOf, Facts, NightOf, facts, pilots, progress, rating_of, same_name, utc_day
from ownship.ownership.recency import judge
from ownship.rules.due import month_later
from ownship.rules.recency import PLACES, load_recency, place_of

if TYPE_CHECKING:
    from ownship.ownership.entries import Body

LOOK_S = 600.0
LONGEST_MONTHS = 64  # a Canadian medical of 60 months that kept a date 90 days ahead
Positions = Callable[[str], tuple[float, float] | None]
EMPTY = ("The record holds no flight and nothing of a pilot yet, so that nothing is known. Enter flights with `ownship log`, and "
         "reviews, checks and medicals with `ownship recency event`.")


def recency(pilot: str | None = None, on: str | None = None, place: str | None = None, aeroplane_class: str | None = None,
            folder: Path | None = None) -> dict[str, Any]:
    """How recent each pilot is on a day, by the rules of the place of the licence (of every place where that is not entered).

    on: ISO date, today where absent. BadInput for a day, place or pilot that is not known.
    """
    from ownship.papers.recency import CAUTION
    from ownship.questions.record import open_record

    day, places = _day(on), None if place is None else (place_of(place),)
    records = open_record(folder)
    try:
        entries = tuple(e for body in (Flight, Pilot, PilotEvent) for e in records.standing(body))
    finally:
        records.close()
    answers = [] if not entries else [
        _pilot(name, entries, day, places, aeroplane_class or DEFAULT_CLASS) for name in _names(entries, pilot)]
    said = f"Recency on {day.isoformat()}, from what the record holds." if entries else EMPTY
    return {"schema": 1, "on": day.isoformat(), "aeroplane_class": aeroplane_class or DEFAULT_CLASS, "sentence": said,
            "pilots": answers, "caution": CAUTION}


def _born(text: str) -> date:
    """A birth date: a day from 1900 on that is not ahead."""
    from ownship.questions.places import today

    try:
        found = date.fromisoformat(text.strip())
    except ValueError:
        raise BadInput(f"{text!r} is no day; write it as 1980-06-15.") from None
    if not date(1900, 1, 1) <= found <= today():
        raise BadInput(f"--born: {text!r} is no believable birth date; allowed is 1900 to today.")
    return found


def _day(text: str | None) -> date:
    from ownship.questions.places import today

    if text is None:
        return today()
    try:
        found = date.fromisoformat(text.strip())
    except ValueError:
        raise BadInput(f"{text!r} is no day; write it as 2026-07-11.") from None
    if not 1950 <= found.year <= 2150:
        raise BadInput(f"{text!r} is not believable; allowed are the years 1950 to 2150.")
    return found


def _names(entries: Iterable[Entry], asked: str | None) -> tuple[str, ...]:
    """The pilots asked about: one, or all of the record; "" where no entry names one."""
    names = pilots(entries)
    if asked is None:
        return names or ("",)
    found = next((n for n in names if same_name(n, asked)), None)
    if found is None:
        raise BadInput(f"--pilot: nobody called {asked!r} is in the record; it knows {', '.join(names) or 'no name yet'}. Enter "
                       "flights or a pilot with that name first.")
    return (found,)


def _pilot(name: str, entries: tuple[Entry, ...], on: date, places: tuple[str, ...] | None, aeroplane_class: str) -> dict[str, Any]:
    from ownship.papers.recency import place_json

    position = positions_of()
    day_of = landing_day(position)
    known = facts(entries, name, on, aeroplane_class)
    licence = None if known.pilot is None else next((p for p in PLACES if same_name(p, known.pilot.place)), "")
    wanted = places or ((licence,) if licence else PLACES)
    told = []
    for place in wanted:
        night_of = night_at(place, position)
        notes = [*_night_notes(name, entries, on, night_of), *filter(None, [load_recency(place).note])]
        told.append(place_json(place, judge(entries, name, place, on, aeroplane_class, day_of, night_of),
                               progress(entries, name, place, on, aeroplane_class, day_of), notes))
    return {"pilot": name, "born": known.pilot.born.isoformat() if known.pilot and known.pilot.born else None,
            "ratings": list(known.ratings), "notes": _notes(known, name, entries, position, licence),
            "places": told}


def _notes(known: Facts, name: str, entries: tuple[Entry, ...], position: Positions, licence: str | None) -> list[str]:
    """What must be read beside a pilot's answer: what was not counted, and why."""
    flights = [f for _, f in of_kind(entries, Flight) if same_name(f.pilot, name)]
    lost = sum(position(f.destination) is None for f in flights)
    other = sum(f.aeroplane_class != known.aeroplane_class for f in flights)
    told = {
        "A flight counts on the day of its landing, at the place of landing.": True,
        f"Flights whose place is not known: {lost}; their UTC day is taken.": lost,
        f"Flights in another class than {known.aeroplane_class}: {other}; they do not count for passengers "
        "(--aeroplane-class asks about another).": other,
        f"Flights that name no pilot: {known.unnamed}; they are not counted.": known.unnamed,
        "This pilot is not entered (birth date, ratings, place of the licence): every place is shown. Enter it with "
        "`ownship recency pilot`.": licence is None,
        "No rules are kept for the place of this licence: those of other places are shown, which do not govern it.": licence == ""}
    return [words for words, holds in told.items() if holds]


def _night_notes(name: str, entries: tuple[Entry, ...], on: date, night_of: NightOf) -> list[str]:
    flown = [x for x in facts(entries, name, on).flights if x.flight.landings_night > 0]
    sun = sum(night_of(x.flight) is not None for x in flown)
    if not flown:
        return []
    return [f"Flights with night landings held against the sun at the place (never more than noted; one that began "
            f"before that night counts its last landing alone; without moments the blocks are the bounds): {sun}; as typed, "
            f"because places are not known: {len(flown) - sun}. Night hours are as noted."]


def positions_of() -> Positions:
    """Where an aerodrome is, by the open data or by "lat,lon"; None where that is not known. Each is looked up once."""
    found: dict[str, tuple[float, float] | None] = {}

    def position(ident: str) -> tuple[float, float] | None:
        if ident not in found:
            found[ident] = _typed(ident) or _looked_up(ident)
        return found[ident]

    return position


def _typed(ident: str) -> tuple[float, float] | None:
    try:
        lat, lon = (float(x) for x in ident.split(","))
    except ValueError:
        return None
    return (lat, lon) if abs(lat) <= 90 and abs(lon) <= 180 else None


def _looked_up(ident: str) -> tuple[float, float] | None:
    from ownship.questions.places import aerodromes, today
    from ownship.world.aerodrome_database import find

    if not ident.strip():
        return None
    aerodrome = find(aerodromes(), ident, today())
    return None if aerodrome is None else (aerodrome.lat_deg, aerodrome.lon_deg)


def landing_day(position: Positions) -> DayOf:
    """The day of a flight: that at the place of landing; UTC where the place is not known."""
    def day(flight: Flight) -> date:
        from ownship.world.zones import zone_at

        where = position(flight.destination)
        moment = flight.landing or flight.on_blocks
        return utc_day(flight) if where is None else moment.astimezone(zone_at(*where)).date()

    return day


def night_at(place: str, position: Positions) -> NightOf:
    """Whether take-off and landing can have been in a place's night for passengers; None where place or definition is not
    known, or nothing was done by night. A moment that is not noted can be any between the blocks: they are the outer bounds."""
    from ownship.rules.ruleset import load_ruleset
    from ownship.world.sun import is_night

    def night(flight: Flight) -> tuple[bool, bool] | None:
        if not (flight.landings_night or flight.take_offs_night):
            return None
        origin, destination = position(flight.origin), position(flight.destination)
        rule = load_ruleset(place).night((flight.landing or flight.on_blocks).astimezone(UTC).date(), "passengers")
        if origin is None or destination is None or rule is None:
            return None
        take_offs, landings = moments_between(flight)
        take_off, landing = (any(is_night(*where, m, rule.zenith_deg, rule.after_s, rule.before_s) for m in moments)
                             for where, moments in ((origin, take_offs), (destination, landings)))
        return take_off, landing

    return night


def moments_between(flight: Flight) -> tuple[tuple[datetime, ...], tuple[datetime, ...]]:
    """(moments at which the first take-off can have been, the same of the last landing): the one noted, else from ten to ten
    minutes between what bounds it."""
    first, last = flight.take_off or flight.off_blocks, flight.landing or flight.on_blocks
    count = int((last - first).total_seconds() // LOOK_S)
    every = (*(first + timedelta(seconds=i * LOOK_S) for i in range(count + 1)), last)
    return every if flight.take_off is None else (first,), every if flight.landing is None else (last,)


# ---- what a pilot enters


def note_event(event: str, day: str, pilot: str | None = None, detail: str = "", expires: str | None = None,
               folder: Path | None = None) -> dict[str, Any]:
    """Write something a pilot did (a flight review, a check, a medical) into the record.

    BadInput for a name no rule asks for, a day after today, an end before the day, or a pilot who is not told.
    """
    from ownship.questions.places import today

    names = tuple(dict.fromkeys(e for p in PLACES for e in load_recency(p).events))
    found = next((n for n in names if same_name(n, event)), None)
    if found is None:
        raise BadInput(f"{event!r} is asked for by no rule; allowed are {', '.join(names)}.")
    done, end = _day(day), None if expires is None else _day(expires)
    if done > today():
        raise BadInput(f"--day: {day} is after today; enter it when it is done.")
    if end is not None and end < done:
        raise BadInput(f"--expires: {expires} is before {day}; correct one of them.")
    if end is not None and end > month_later(done, LONGEST_MONTHS):
        raise BadInput(f"--expires: {expires} is more than {LONGEST_MONTHS} months after {day}, longer than anything lasts; read "
                       "it again on the paper.")
    return _write(lambda name: PilotEvent(name, found, done, detail.strip(), end), pilot, folder, f"{found} of {done.isoformat()}")


def note_pilot(name: str, born: str | None = None, place: str = "USA", ratings: Iterable[str] = (),
               folder: Path | None = None) -> dict[str, Any]:
    """Write a pilot into the record: birth date, place of the licence, ratings; the last entry of a name counts."""
    birth = None if born is None else _born(born)
    where, held = place_of(place), tuple(dict.fromkeys(rating_of(r) for r in ratings if r.strip()))
    return _write(lambda n: Pilot(n, birth, where, held), name, folder, f"pilot, licence of {where}")


def _write(make: Callable[[str], Body], pilot: str | None, folder: Path | None, what: str) -> dict[str, Any]:
    from ownship.questions.record import open_record

    records = open_record(folder)
    try:
        names = pilots(standing(records.all(Flight) + records.all(Pilot) + records.all(PilotEvent)))
        name = " ".join((pilot if pilot is not None else names[0] if len(names) == 1 else "").split())
        if not name:
            raise BadInput(f"--pilot: say whose it is; the record knows {', '.join(names) or 'no name yet'}.")
        name = next((n for n in names if same_name(n, name)), name)
        entry = records.append(make(name))
    finally:
        records.close()
    return {"schema": 1, "entry": entry.number, "pilot": name, "sentence": f"Entry {entry.number}: {what}, for {name}."}
