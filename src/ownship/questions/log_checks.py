"""What stands between a typed flight and the record: whether it can be true beside what is kept, and whose aeroplane it is."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING

from ownship.errors import BadInput
from ownship.questions.from_record import tanks_by_day

if TYPE_CHECKING:
    from ownship.ownership.entries import Entry, Flight
    from ownship.ownership.flights import Placed

AHEAD = timedelta(hours=24)


def other_words(entries: Iterable[Entry], registration: str, *, meant: bool = False,
                kept_as: str = "a flight in") -> tuple[str, ...]:
    """What is to be told of an aeroplane the record does not know; BadInput where it is near to one it does and none is meant."""
    from ownship.ownership.registrations import other_aeroplane

    return other_aeroplane(entries, registration, meant=meant, kept_as=kept_as)


def meant(entries: Iterable[Entry], asked: str | None) -> str:
    """The aeroplane that is meant, as the record writes it: the one asked for, else the only one it knows."""
    from ownship.ownership.registrations import as_known
    from ownship.questions.from_record import chosen

    kept = tuple(entries)
    return as_known(kept, chosen(kept, asked))


def fresh(where: str, aeroplane: str, flight: Flight) -> Placed:
    """A new flight with the words that name it in a refusal."""
    from ownship.ownership.flights import Placed

    return Placed(where, aeroplane, flight)


def refuse_flights(new: list[Placed], entries: tuple[Entry, ...], without: int | None = None) -> None:
    """Refuse new flights that cannot be true, alone, beside those kept (but one), or by the tanks and seats of their aeroplane."""
    from ownship.ownership.entries import Flight, of_kind
    from ownship.ownership.flights import Placed, refuse

    touched = {p.aeroplane for p in new}
    kept = [Placed(f"entry {e.number}", e.aeroplane, f, False) for e, f in of_kind(entries, Flight)
            if e.aeroplane in touched and e.number != without]
    refuse([*kept, *new], entries)
    ahead = next((p for p in new if p.flight.on_blocks > datetime.now(UTC) + AHEAD), None)
    if ahead is not None:
        raise BadInput(f"Nothing was written. {ahead.where}: the flight ends {ahead.flight.on_blocks:%Y-%m-%d %H:%M}Z, which lies "
                       "ahead; the record keeps what has happened.")
    _refuse_two_places(new, entries, without)
    _refuse_fuel(new, entries)
    _refuse_seats(new, entries)


def _refuse_two_places(new: list[Placed], entries: tuple[Entry, ...], without: int | None) -> None:
    """One pilot in two aeroplanes at once: of one of them the aeroplane, the pilot or the time is wrong."""
    from ownship.ownership.entries import Flight, of_kind
    from ownship.ownership.flights import Placed

    by: dict[str, list[tuple[Placed, bool]]] = {_name(p.flight.pilot): [] for p in new if p.flight.pilot.strip()}
    kept = (Placed(f"entry {e.number}", e.aeroplane, f, False) for e, f in of_kind(entries, Flight) if e.number != without)
    for p, is_new in (*((k, False) for k in kept), *((n, True) for n in new)):
        if (of := by.get(_name(p.flight.pilot))) is not None:
            of.append((p, is_new))
    for of in by.values():
        of.sort(key=lambda x: x[0].flight.off_blocks)
        last = of[0]
        for this in of[1:]:
            one, other = last[0], this[0]
            if other.flight.off_blocks < one.flight.on_blocks and one.aeroplane != other.aeroplane and (last[1] or this[1]):
                mine, beside = (other, one) if this[1] else (one, other)
                raise BadInput(f"Nothing was written. {mine.where}: {mine.flight.pilot} flew {beside.aeroplane} from "
                               f"{beside.flight.off_blocks:%Y-%m-%d %H:%M}Z to {beside.flight.on_blocks:%H:%M}Z ({beside.where}), "
                               f"and cannot fly {mine.aeroplane} meanwhile; correct the pilot or the times.")
            last = max(last, this, key=lambda x: x[0].flight.on_blocks)


def _name(pilot: str) -> str:
    """A pilot's name as one compares it: letter case and spaces do not matter."""
    return " ".join(pilot.split()).casefold()


def _refuse_seats(new: list[Placed], entries: tuple[Entry, ...]) -> None:
    """More people than the aeroplane has seats, where the record of that day knows them."""
    from ownship.ownership.flights import people

    seats = {name: _seats_by_day(entries, name) for name in {p.aeroplane for p in new}}
    for p in (p for p in new if p.flight.passengers or p.flight.crew):
        have = seats[p.aeroplane](p.flight.off_blocks.date())
        if have and people(p.flight) > have:
            raise BadInput(f"Nothing was written. {p.where}: {people(p.flight)} people aboard, the pilot among them, are more than "
                           f"the {have} seats of {p.aeroplane} by its record; correct passengers or crew (a child held on a lap "
                           "belongs into the remarks).")


def _refuse_fuel(new: list[Placed], entries: tuple[Entry, ...]) -> None:
    """More fuel than the tanks hold, where the record of that day knows them."""
    from ownship.ownership.fuel_aboard import fuel_flaw

    tanks = {name: tanks_by_day(entries, name) for name in {p.aeroplane for p in new}}
    wrong = []
    for p in new:
        of_day = tanks[p.aeroplane](p.flight.off_blocks.date()) if p.flight.fuel_before or p.flight.fuel_after else ()
        why = fuel_flaw(p.flight, of_day) if of_day else None
        wrong += [f"{p.where}: {why}"] if why else []
    if wrong:
        more = f" And {len(wrong) - 3:,} more." if len(wrong) > 3 else ""
        raise BadInput(f"Nothing was written. {' '.join(wrong[:3])}{more}")


def _seats_by_day(entries: Iterable[Entry], registration: str) -> Callable[[date], int]:
    """The seats of an aeroplane on any day, by the revision in force; 0: not known."""
    from ownship.ownership.revisions import revisions

    every = [(r.effective, r.toml) for _, r in revisions(entries, registration)]

    def on(day: date) -> int:
        past = [toml for effective, toml in every if effective <= day]
        return _seats(past[-1]) if past else 0

    return on


@lru_cache(maxsize=16)
def _seats(toml: str) -> int:
    from ownship.aeroplane.reading import read_airframe

    return sum(s.seats for s in read_airframe(toml, "the record").stations if s.kind == "seat")
