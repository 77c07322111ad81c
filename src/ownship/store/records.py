"""The record: entries added, corrected and withdrawn, never changed; read back as values.

Each call that writes is one transaction: when it returns, its entries are on the disk; when it raises, none is. What must
hold between an entry and those before it is checked within that transaction: no other program can write in between.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields
from datetime import UTC, date, datetime, time
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, exists, func, insert, select

from ownship.errors import BadInput
from ownship.ownership.entries import Body, Entry, Flight, Money, standing
from ownship.store.codec import KINDS, body_text, moment_text, read_body, read_moment, refuse_broken
from ownship.store.database import Database
from ownship.store.tables import ENTRIES, FLIGHTS
from ownship.words.readable import refuse_hidden, refuse_hidden_within

LONGEST_NOTE = 2000
CURRENCY = re.compile("[A-Z]{3}")
Check = Callable[[tuple[Entry, ...]], object]  # raises where the entries that stand do not allow what is to be written
DAY_FIELDS = ("off_blocks", "day", "effective", "dated")


@dataclass(frozen=True)
class New:
    """An entry to be written; moment None: the body's own (a flight's blocks, noon UTC of its day), else now."""

    body: Body
    aeroplane: str = ""
    moment: datetime | None = None
    source: str = "owner"
    note: str = ""


@dataclass(frozen=True)
class FlightTotals:
    """Totals of the flights that stand; air_s: of those with air time noted, `without_air` flights have none."""

    flights: int
    flight_s: float
    air_s: float
    without_air: int
    night_s: float
    landings_day: int
    landings_night: int


class Records:
    """The owner's record; now and new_uid bring clock and chance, before_write runs before every write."""

    def __init__(self, database: Database, now: Callable[[], datetime], new_uid: Callable[[], str],
                 before_write: Callable[[], None] = lambda: None) -> None:
        self.database, self._now, self._new_uid = database, now, new_uid
        self._before_write = before_write
        self._seen: tuple[tuple[int, str] | None, tuple[Entry, ...]] | None = None

    # ---- writing

    def append(self, body: Body, aeroplane: str = "", moment: datetime | None = None, source: str = "owner",
               note: str = "", check: Check | None = None) -> Entry:
        """Write one entry and give it back with its number; BadInput where a value is not allowed. check: as in `append_many`."""
        return self.append_many([New(body, aeroplane, moment, source, note)], check=check)[0]

    def append_many(self, items: Iterable[New | Body], aeroplane: str = "", source: str = "owner",
                    check: Check | None = None) -> tuple[Entry, ...]:
        """Write all of these or none, in this order; a bare body takes aeroplane and source from here.

        check: called with the entries that stand while no other program can write; where it raises nothing is written.
        """
        news = [x if isinstance(x, New) else New(x, aeroplane, None, source) for x in items]
        made = [self._made(n) for n in news]
        if not made:
            return ()
        self._check_first(check)
        self._before_write()
        with self.database.writing() as connection:
            self._checked(connection, check)
            return self._insert(connection, made)

    def _check_first(self, check: Check | None) -> None:
        """What is refused makes no file, no copy of the day, and keeps nobody from writing."""
        if check is None:
            return
        with self.database.reading() as connection:
            if connection is None:
                self._seen = (None, ())
            now = () if connection is None else self._whole(connection)
        check(standing(now))

    def _checked(self, connection: Connection, check: Check | None) -> None:
        """The check again, where another program wrote since the first."""
        if check is None:
            return
        before, now = self._seen, self._whole(connection)
        if self._seen is not before:
            check(standing(now))

    def correct(self, number: int, body: Body, moment: datetime | None = None, aeroplane: str | None = None,
                source: str = "owner", note: str = "", check: Check | None = None) -> Entry:
        """Write what replaces an entry, of the same kind; refused where that entry was corrected meanwhile. check: as in
        `append_many`.

        moment, aeroplane None: where the new body has no moment of its own, and always for the aeroplane, as before.
        """
        return self._replace(number, lambda old: self._made(
            New(body, old.aeroplane if aeroplane is None else aeroplane,
                moment or moment_of(body) or old.moment, source, note), number), check)

    def withdraw(self, number: int, note: str, source: str = "owner", check: Check | None = None) -> Entry:
        """Write that an entry no longer counts, and why; it stays readable. check: as in `append_many`."""
        if not note.strip():
            raise BadInput(f"Entry {number} is withdrawn without a reason; say why it no longer counts.")
        return self._replace(number, lambda old: self._made(
            New(old.body, old.aeroplane, old.moment, source, note), number, True), check)

    def _replace(self, number: int, make: Callable[[Entry], dict[str, Any]], check: Check | None = None) -> Entry:
        self._check_first(check)
        self._before_write()
        with self.database.writing() as connection:
            old = _target(connection, number)
            row = make(old)
            if row["kind"] != old.body.KIND:
                raise BadInput(f"Entry {number} is of kind {old.body.KIND!r} and cannot be corrected by {row['kind']!r}; withdraw "
                               "it and add another.")
            self._checked(connection, check)
            return self._insert(connection, [row])[0]

    def put_back(self, entries: Iterable[Entry]) -> int:
        """Write entries as they were, with their numbers and uids, into an empty record; their count."""
        rows = [_row(e) for e in entries]
        self._before_write()
        with self.database.writing() as connection:
            if connection.execute(select(func.count()).select_from(ENTRIES)).scalar():
                raise BadInput("The record holds entries, and an export is read into an empty one only; set OWNSHIP_DATA to a new "
                               "folder and try again.")
            _write(connection, rows)
        return len(rows)

    def _made(self, new: New, corrects: int | None = None, withdrawn: bool = False) -> dict[str, Any]:
        """The row of a new entry, all but its number."""
        body = body_text(new.body)
        if not withdrawn:  # what an older program let in can still be withdrawn
            refuse_hidden_within(new.body, new.body.KIND)
            _refuse_currencies(new.body)
        for name, value in (("aeroplane", new.aeroplane), ("source", new.source), ("note", new.note)):
            _refuse_text(name, value)
        now = self._now()
        moment = moment_text(new.moment or moment_of(new.body) or now)
        return {"uid": self._new_uid(), "kind": new.body.KIND, "aeroplane": new.aeroplane, "moment": moment,
                "recorded": moment_text(now), "corrects": corrects, "withdrawn": withdrawn, "source": new.source,
                "note": new.note, "body": body, "value": new.body}

    def _insert(self, connection: Connection, made: list[dict[str, Any]]) -> tuple[Entry, ...]:
        first = (connection.execute(select(func.max(ENTRIES.c.number))).scalar() or 0) + 1
        rows = [{"number": first + i, **row} for i, row in enumerate(made)]
        _write(connection, rows)
        return tuple(_entry(row, row["value"]) for row in rows)

    # ---- reading

    def all(self, kind: str | type[Body] | None = None, aeroplane: str | None = None, since: datetime | date | None = None,
            until: datetime | date | None = None) -> tuple[Entry, ...]:
        """Entries by number, the corrected and withdrawn ones too, for `standing` to leave out; since <= moment < until.

        kind: its name or its class; a date: midnight UTC. What was corrected to another aeroplane or out of the time asked
        for is left out, so that `standing` of the answer is what stands.
        """
        query = select(ENTRIES).where(*_asked(ENTRIES, kind, aeroplane, since, until)).order_by(ENTRIES.c.number)
        with self.database.reading() as connection:
            if connection is None:
                return ()
            if all(x is None for x in (kind, aeroplane, since, until)):
                return self._whole(connection)
            rows = connection.execute(query).mappings().all()
            corrected = {row.corrects: row.number for row in connection.execute(
                select(ENTRIES.c.corrects, ENTRIES.c.number).where(ENTRIES.c.corrects.is_not(None)))}
        kept: set[int] = set()
        for row in reversed(rows):
            if row["number"] not in corrected or corrected[row["number"]] in kept:
                kept.add(row["number"])
        return tuple(_read(row) for row in rows if row["number"] in kept)

    def _whole(self, connection: Connection) -> tuple[Entry, ...]:
        """Every entry by number, read anew only where another was written since: the record only grows, or is replaced whole."""
        last = connection.execute(select(ENTRIES.c.number, ENTRIES.c.uid).order_by(ENTRIES.c.number.desc()).limit(1)).one_or_none()
        head = None if last is None else (last[0], last[1])
        if self._seen is None or self._seen[0] != head:
            rows = connection.execute(select(ENTRIES).order_by(ENTRIES.c.number)).mappings().all()
            self._seen = (head, tuple(_read(row) for row in rows))
        return self._seen[1]

    def standing(self, kind: str | type[Body] | None = None, aeroplane: str | None = None,
                 since: datetime | date | None = None, until: datetime | date | None = None) -> tuple[Entry, ...]:
        """The entries that count, by moment."""
        return standing(self.all(kind, aeroplane, since, until))

    def entry(self, number: int) -> Entry:
        """One entry by its number; BadInput where there is none."""
        with self.database.reading() as connection:
            return _read(_by_number(connection, number))

    def flights(self, aeroplane: str | None = None, since: datetime | date | None = None, until: datetime | date | None = None,
                last: int | None = None) -> tuple[Entry, ...]:
        """Flights that stand, by moment; last: only so many, the latest."""
        if last is not None and last < 1:
            raise BadInput(f"last: {last} flights cannot be shown; ask for 1 or more.")
        inner = _standing_flights(select(ENTRIES), aeroplane, since, until).join(FLIGHTS, FLIGHTS.c.number == ENTRIES.c.number)
        query = inner.order_by(FLIGHTS.c.moment.desc(), FLIGHTS.c.number.desc()).limit(last)
        with self.database.reading() as connection:
            rows = [] if connection is None else connection.execute(query).mappings().all()
        return tuple(_read(row) for row in reversed(rows))

    def flight_totals(self, aeroplane: str | None = None, since: datetime | date | None = None,
                      until: datetime | date | None = None) -> FlightTotals:
        """Hours and landings of the flights that stand."""
        f = FLIGHTS.c
        query = _standing_flights(select(
            func.count(), func.coalesce(func.sum(f.flight_s), 0.0), func.coalesce(func.sum(f.air_s), 0.0),
            func.count() - func.count(f.air_s), func.coalesce(func.sum(f.night_s), 0.0),
            func.coalesce(func.sum(f.landings_day), 0), func.coalesce(func.sum(f.landings_night), 0)).select_from(FLIGHTS),
            aeroplane, since, until)
        with self.database.reading() as connection:
            row = (0, 0.0, 0.0, 0, 0.0, 0, 0) if connection is None else connection.execute(query).one()
        return FlightTotals(*row)

    def counts(self) -> dict[str, int]:
        """How many entries of each kind are kept, corrected ones too."""
        with self.database.reading() as connection:
            rows = [] if connection is None else connection.execute(
                select(ENTRIES.c.kind, func.count()).group_by(ENTRIES.c.kind).order_by(ENTRIES.c.kind)).all()
            return {row[0]: row[1] for row in rows}

    def close(self) -> None:
        """Close the files; the record can be used again."""
        self.database.close()


def moment_of(body: Body) -> datetime | None:
    """The moment a body itself tells: a flight's off blocks, noon UTC of its day; None where it tells none."""
    for name in DAY_FIELDS:
        found = getattr(body, name, None)
        if isinstance(found, datetime):
            return found
        if isinstance(found, date):
            return datetime.combine(found, time(12), UTC)
    return None


def _refuse_text(name: str, value: str) -> None:
    if not isinstance(value, str) or "\0" in value or len(value) > LONGEST_NOTE:
        raise BadInput(f"{name}: {str(value)[:40]!r} is not allowed; write text of up to {LONGEST_NOTE} characters.")
    refuse_broken(value, name)
    refuse_hidden(value, name)


def _refuse_currencies(body: Body) -> None:
    """A currency has three capital letters, as ISO 4217 writes them."""
    for money in (v for f in fields(body) if isinstance(v := getattr(body, f.name), Money)):
        if not CURRENCY.fullmatch(money.currency):
            raise BadInput(f"{body.KIND}: {money.currency[:20]!r} is no currency; write its three letters, as USD.")


def _write(connection: Connection, rows: list[dict[str, Any]]) -> None:
    """The rows and, for flights that are not withdrawn, what is worked out from them."""
    if not rows:
        return
    connection.execute(insert(ENTRIES), [{k: v for k, v in row.items() if k != "value"} for row in rows])
    flights = [_flight_row(row) for row in rows if isinstance(row["value"], Flight) and not row["withdrawn"]]
    if flights:
        connection.execute(insert(FLIGHTS), flights)


def _flight_row(row: dict[str, Any]) -> dict[str, Any]:
    f: Flight = row["value"]
    return {"number": row["number"], "aeroplane": row["aeroplane"], "pilot": f.pilot, "moment": row["moment"],
            "flight_s": f.flight_s, "air_s": f.air_s, "night_s": f.night_s, "landings_day": f.landings_day,
            "landings_night": f.landings_night}


def _row(e: Entry) -> dict[str, Any]:
    return {"number": e.number, "uid": e.uid, "kind": e.body.KIND, "aeroplane": e.aeroplane, "moment": moment_text(e.moment),
            "recorded": moment_text(e.recorded), "corrects": e.corrects, "withdrawn": e.withdrawn, "source": e.source,
            "note": e.note, "body": body_text(e.body), "value": e.body}


def _read(row: Any) -> Entry:
    try:
        return _entry(row, read_body(row["kind"], row["body"]))
    except BadInput as error:
        raise BadInput(f"Entry {row['number']} of the record cannot be read: {error}") from None


def _entry(row: Any, body: Body) -> Entry:
    return Entry(row["number"], row["uid"], row["aeroplane"], read_moment(row["moment"]), read_moment(row["recorded"]), body,
                 row["source"], row["corrects"], bool(row["withdrawn"]), row["note"])


def _by_number(connection: Connection | None, number: int) -> Any:
    row = None if connection is None else connection.execute(
        select(ENTRIES).where(ENTRIES.c.number == number)).mappings().one_or_none()
    if row is None:
        raise BadInput(f"The record has no entry {number}; list its entries for their numbers.")
    return row


def _target(connection: Connection, number: int) -> Entry:
    """The entry to be corrected, while it is not corrected yet."""
    row = _by_number(connection, number)
    by = connection.execute(select(ENTRIES.c.number).where(ENTRIES.c.corrects == number)).scalar()
    if by is not None:
        raise BadInput(f"Entry {number} was corrected by entry {by} meanwhile, and nothing was written; look at entry {by} and "
                       "correct that one.")
    return _read(row)


def _asked(table: Any, kind: str | type[Body] | None, aeroplane: str | None, since: datetime | date | None,
           until: datetime | date | None) -> list[ColumnElement[bool]]:
    """The conditions of what was asked for."""
    name = kind if kind is None or isinstance(kind, str) else kind.KIND
    if name is not None and name not in KINDS:
        raise BadInput(f"{name!r} is no kind of entry; allowed are {', '.join(KINDS)}.")
    return [*([] if name is None else [table.c.kind == name]), *([] if aeroplane is None else [table.c.aeroplane == aeroplane]),
            *([] if since is None else [table.c.moment >= moment_text(_midnight(since))]),
            *([] if until is None else [table.c.moment < moment_text(_midnight(until))])]


def _midnight(asked: datetime | date) -> datetime:
    return asked if isinstance(asked, datetime) else datetime.combine(asked, time(), UTC)


def _standing_flights(query: Select[Any], aeroplane: str | None, since: datetime | date | None,
                      until: datetime | date | None) -> Select[Any]:
    later = ENTRIES.alias("later")
    corrected = exists(select(later.c.number).where(later.c.corrects == FLIGHTS.c.number))
    return query.where(~corrected, *_asked(FLIGHTS, None, aeroplane, since, until))
