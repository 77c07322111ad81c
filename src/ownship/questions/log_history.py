"""One entry of the record with its history; the latest entries of some kinds; which aeroplanes there are; a hand-over as kept."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ownship.errors import BadInput
from ownship.questions.logging_flights import opened

if TYPE_CHECKING:
    from ownship.ownership.entries import Body, Entry, HandOver


def aeroplanes(folder: Path | None = None) -> tuple[str, ...]:
    """Registrations of the record: of airframe records kept first, then of what was flown or noted otherwise."""
    from ownship.questions.from_record import kept_aeroplanes

    with opened(folder) as (_, entries):
        return tuple(dict.fromkeys([*kept_aeroplanes(entries), *(e.aeroplane for e in entries if e.aeroplane)]))


def history(number: int, folder: Path | None = None) -> dict[str, Any]:
    """Every entry of the chain an entry belongs to, oldest first: what it said, what corrected it and why; which one counts."""
    from ownship.questions.record import open_record

    records = open_record(folder)
    try:
        asked, every = records.entry(number), records.all()
    finally:
        records.close()
    chain = _chain(asked, every)
    last = chain[-1]
    return {"schema": 1, "number": number, "kind": asked.body.KIND, "counts": None if last.withdrawn else last.number,
            "entries": [entry_json(e) for e in chain]}


def _chain(asked: Entry, every: Sequence[Entry]) -> list[Entry]:
    by_number, by_old = {e.number: e for e in every}, {e.corrects: e for e in every if e.corrects is not None}
    chain = [asked]
    while chain[0].corrects is not None and chain[0].corrects in by_number:
        chain.insert(0, by_number[chain[0].corrects])
    while chain[-1].number in by_old:
        chain.append(by_old[chain[-1].number])
    return chain


def entry_json(e: Entry) -> dict[str, Any]:
    """An entry as plain values, its fields as texts a pilot reads."""
    return {"number": e.number, "aeroplane": e.aeroplane or None, "moment": e.moment.isoformat(timespec="minutes"),
            "recorded": e.recorded.isoformat(timespec="minutes"), "kind": e.body.KIND, "source": e.source, "corrects": e.corrects,
            "withdrawn": e.withdrawn, "why": e.note, "fields": fields_of(e.aeroplane, e.body)}


def fields_of(aeroplane: str, body: Body) -> dict[str, str]:
    """The fields of an entry that say something, by name."""
    from ownship.ownership.entries import Flight, OilAdded
    from ownship.ownership.flight_cells import COLUMNS, cells_of

    if isinstance(body, Flight):
        return {k: v for k, v in zip(COLUMNS, cells_of(aeroplane, body), strict=True) if v}
    unit = "qt" if isinstance(body, OilAdded) else "usgal"
    return {k: text for k, v in vars(body).items() if (text := _text(k, v, "qt" if k == "oil_m3" else unit))}


def _text(name: str, value: Any, unit: str = "usgal") -> str:
    from ownship.ownership.entries import Money, TankContents

    if value is None or value in ("", ()):
        return ""
    if isinstance(value, Money):
        return f"{value.amount:,} {value.currency}"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return "; ".join(_text(name, v) for v in value)
    if isinstance(value, TankContents):
        return f"{value.tank} {_volume(value.usable_m3, 'usgal')} usable, {value.known_by}"
    if isinstance(value, date | datetime):
        return value.isoformat()
    if name.endswith("_m3") and isinstance(value, float | Decimal):
        return _volume(float(value), unit)
    return str(value)


def _volume(value_m3: float, unit: str) -> str:
    from ownship.words.figures import figure

    return figure(value_m3, unit).text(1)


def latest(kinds: tuple[type[Body], ...], aeroplane: str | None = None, most: int = 20, folder: Path | None = None,
           skip: int = 0) -> tuple[int, list[dict[str, Any]]]:
    """(how many stand, the latest of them) of some kinds of entries, the latest first."""
    with opened(folder) as (_, entries):
        found = [e for e in entries if isinstance(e.body, kinds) and aeroplane in (None, e.aeroplane)]
    return len(found), [entry_json(e) for e in reversed(found[max(len(found) - skip - most, 0):max(len(found) - skip, 0)])]


def withdraw_several(numbers: Sequence[int], why: str, folder: Path | None = None) -> int:
    """Withdraw flights that one import kept, those that still count; how many. BadInput where one is no flight of an import."""
    from ownship.ownership.entries import Flight

    with opened(folder) as (records, entries):
        mine = [e for e in entries if e.number in set(numbers)]
        if wrong := next((e for e in mine if not isinstance(e.body, Flight) or not e.source.startswith("import of ")), None):
            raise BadInput(f"Entry {wrong.number} is no flight of an import; withdraw it by itself.")
        for e in mine:
            records.withdraw(e.number, why)
    return len(mine)


def put_back(number: int, folder: Path | None = None) -> int:
    """Undo a correction or a withdrawal: what stood before it counts again, as a new entry; its number.

    BadInput where the entry corrects nothing, where a later one stands in its place, or where what stood cannot be true now.
    """
    from ownship.ownership.entries import Flight
    from ownship.questions.log_checks import fresh, refuse_flights

    with opened(folder) as (records, entries):
        last = records.entry(number)
        if last.corrects is None:
            raise BadInput(f"Entry {number} corrects nothing; withdraw it where it is wrong.")
        old = records.entry(last.corrects)

        def check(now: tuple[Entry, ...]) -> None:
            if isinstance(old.body, Flight):
                refuse_flights([fresh("the flight", old.aeroplane, old.body)], now, number)

        if not last.withdrawn:
            return records.correct(number, old.body, old.moment, old.aeroplane, note="correction undone", check=check).number
        if any(e.body == old.body and e.aeroplane == old.aeroplane and e.moment == old.moment for e in entries):
            raise BadInput(f"What entry {number} withdrew is kept again already; look at the list.")
        return records.append(old.body, old.aeroplane, old.moment, old.source, f"entry {old.number} put back", check).number


# ---- hand-over


def before_hand_over(aeroplane: str, folder: Path | None = None) -> dict[str, Any]:
    """What a hand-over now would say by itself: fuel and how known, open defects; and the one before, if any."""
    from datetime import UTC

    from ownship.ownership.defects import flown_since, open_defects
    from ownship.ownership.entries import HandOver, of_kind
    from ownship.questions.from_record import aboard, tanks_on, total_words

    now = datetime.now(UTC)
    with opened(folder) as (_, entries):
        fuel: tuple[str, ...] = ("not known: the record keeps no tanks of this aeroplane",)
        if tanks_on(entries, aeroplane, now.date()):
            found = aboard(entries, aeroplane, now)
            fuel = (*(f"{t.tank}: {t.words}" if t.level is None else
                      f"{t.tank}: {_volume(t.level.usable_m3, 'usgal')} usable, {t.words}" for t in found.tanks),
                    f"in all: {total_words(found)}" if found.total else f"in all: not known, {found.words}")
        defects = [f"{d.name}, {d.state}: {d.words}" for d in open_defects(entries, aeroplane, day=now.date())]
        done = of_kind(entries, HandOver, aeroplane)
        flights = flown_since(entries, aeroplane, now)
    return {"fuel": list(fuel), "defects": defects, "flights": flights,
            "before": None if not done else _handed(done[-1][0], done[-1][1])}


def _handed(e: Entry, body: HandOver) -> dict[str, Any]:
    from ownship.words.figures import figure

    return {"number": e.number, "moment": e.moment.isoformat(timespec="minutes"), "to": body.to, "by": body.by or "not noted",
            "fuel": [_text("fuel", t) for t in body.fuel] or ["not known"],
            "oil": "not noted" if body.oil_m3 is None else figure(body.oil_m3, "qt").text(1),
            "tied_down": body.tied_down or "not noted", "keys": body.keys or "not noted",
            "meter": body.meter, "reading": body.meter_h,
            "owed": None if body.owed is None else f"{body.owed.amount:,} {body.owed.currency}"}


# ---- months


def months(aeroplane: str | None = None, year: int | None = None, folder: Path | None = None) -> tuple[Any, ...]:
    """Hours and landings by month of a year (UTC; the last one flown where none is asked), for the charts."""
    from ownship.ownership.entries import Flight, of_kind
    from ownship.papers.log_charts import months_of

    with opened(folder) as (_, entries):
        flights = [f for _, f in of_kind(entries, Flight, aeroplane)]
    return months_of(flights, year)
