"""Maintenance asked and written down: the record, the clock and chance meet the pure list of what is due."""

from __future__ import annotations

import re
from collections.abc import Iterable
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ownship.errors import BadInput
from ownship.ownership.airframe_totals import totals
from ownship.ownership.entries import (
    USES,
    AeroplaneRevision,
    Body,
    CompassSwing,
    Entry,
    Expiry,
    Flight,
    MaintenanceDone,
    MaintenanceItem,
    of_kind,
    standing,
)
from ownship.ownership.maintenance import (
    FINISHED,
    Due,
    Ending,
    OpenItem,
    due_list,
    endings,
    kept_any,
    open_items,
)
from ownship.papers import maintenance as paper
from ownship.questions.record import open_record

if TYPE_CHECKING:
    from collections.abc import Iterator

    from ownship.ownership.forecast import Forecast
    from ownship.store.records import Records

SEED = 20260711
EARLIEST = date(1903, 12, 17)
MONTHS_OF_FLIGHTS_DAYS = 26 * 31
SMALL: tuple[type[Body], ...] = (MaintenanceItem, MaintenanceDone, Expiry)
NAMING: tuple[type[Body], ...] = (*SMALL, AeroplaneRevision, CompassSwing)  # kinds that tell which aeroplanes there are
NO_DATE = "Nothing has a date yet, so no file was written; note what was done by `ownship maintenance done`."
EMPTY = "No maintenance is kept for {} yet. Begin with `ownship maintenance starter PLACE`, or `ownship maintenance add`."
_REGISTRATION = re.compile(r"[A-Z0-9-]{2,12}")


@dataclass(frozen=True)
class Told:
    """An answer as plain values and as lines; entries: the numbers of what was written."""

    data: dict[str, Any]
    lines: tuple[str, ...]
    entries: tuple[int, ...] = ()


class SystemZone(tzinfo):
    """The zone of this machine, with its changes of clocks: whose days a record's dates are."""

    def utcoffset(self, moment: datetime | None) -> timedelta | None:
        """Local time less UTC."""
        return None if moment is None else moment.replace(tzinfo=None).astimezone().utcoffset()

    def dst(self, moment: datetime | None) -> timedelta | None:
        """Not told apart from the rest of the offset."""
        return None

    def tzname(self, moment: datetime | None) -> str | None:
        """Its name at a moment."""
        return None if moment is None else moment.replace(tzinfo=None).astimezone().tzname()

    def fromutc(self, moment: datetime) -> datetime:
        """A UTC moment as local time."""
        return moment.replace(tzinfo=UTC).astimezone().replace(tzinfo=self)


ZONE = SystemZone()


# ---- reading


@contextmanager
def opened(folder: Path | None) -> Iterator[Records]:
    """The record, closed again at the end."""
    records = open_record(folder)
    try:
        yield records
    finally:
        records.close()


def day_of(text: str | None, option: str) -> date:
    """A day as typed, today where none is."""
    if text is None:
        return datetime.now().astimezone().date()
    try:
        found = date.fromisoformat(text.strip())
    except ValueError:
        raise BadInput(f"{option}: {text!r} is no date; write it as 2026-07-11.") from None
    if found < EARLIEST or found.year > 2200:
        raise BadInput(f"{option}: {text!r} is not believable; write a day from {EARLIEST} to the year 2200.")
    return found


def registration(text: str) -> str:
    """A registration as typed, in capitals."""
    found = text.strip().upper()
    if not _REGISTRATION.fullmatch(found):
        raise BadInput(f"--aeroplane: {text!r} is no registration; write 2 to 12 letters, digits and hyphens.")
    return found


def which_one(records: Records, named: str | None) -> str:
    """The aeroplane meant: the one named, else the only one of the record; "" where the record knows none."""
    if named is not None:
        return registration(named)
    known = _known(records)
    if len(known) > 1:
        raise BadInput(f"The record holds {', '.join(known)}; say which by --aeroplane.")
    return known[0] if known else ""


def _known(records: Records) -> list[str]:
    """The aeroplanes that records or maintenance name; where none is named that way, that of the last flight."""
    known = sorted({e.aeroplane for kind in NAMING for e in records.standing(kind) if e.aeroplane})
    if not known:
        last = records.flights(last=1)
        known = [last[0].aeroplane] if last and last[0].aeroplane else []
    return known


def aeroplanes(folder: Path | None = None) -> tuple[str, ...]:
    """The aeroplanes whose maintenance can be asked about, by registration."""
    with opened(folder) as records:
        return tuple(_known(records))


def which_to_write(records: Records, named: str | None) -> str:
    """The aeroplane meant; BadInput where the record knows none and none is named."""
    found = which_one(records, named)
    if not found:
        raise BadInput("The record knows no aeroplane yet; say which by --aeroplane REGISTRATION.")
    return found


def kept_of(records: Records, aeroplane: str, on: date) -> tuple[Entry, ...]:
    """What maintenance needs of one aeroplane: items, what was done, endings, and the flights that can count.

    Flights count from the first reading on: no later one takes back what was flown since an earlier.
    """
    small = [e for kind in SMALL for e in records.standing(kind, aeroplane=aeroplane)]
    done = [d for _, d in of_kind(small, MaintenanceDone) if d.day <= on]
    first = min((d.day for d in done if d.hours_h is not None or d.landings is not None), default=on)
    since = min(first, on - timedelta(days=MONTHS_OF_FLIGHTS_DAYS)) - timedelta(days=2)
    return standing([*small, *records.standing(Flight, aeroplane=aeroplane, since=since)])


def empty(aeroplane: str, on: date, **more: Any) -> Told:
    """The answer where nothing is kept: what to do next."""
    words = EMPTY.format(aeroplane or "any aeroplane")
    return Told({"schema": 1, "aeroplane": aeroplane or None, "on": on.isoformat(), **more, "words": [words],
                 "cautions": paper.cautions()}, (words,))


def written(aeroplane: str, sentence: str, words: Iterable[str] = (), entries: Iterable[int] = (), **more: Any) -> Told:
    """What was written, by the numbers of its entries, and what to mind."""
    data = {"schema": 1, "aeroplane": aeroplane, "sentence": sentence, "words": list(words), **more, "cautions": paper.cautions()}
    return Told(data, tuple(paper.written_lines(data)), tuple(entries))


# ---- asking


def due(aeroplane: str | None = None, on: str | None = None, folder: Path | None = None) -> Told:
    """What is due on a day, the most pressing first, with what ends."""
    day = day_of(on, "--on")
    with opened(folder) as records:
        which = which_one(records, aeroplane)
        kept = kept_of(records, which, day)
    now, found, ends = totals(kept, which, day, ZONE), due_list(kept, which, day, ZONE), endings(kept, which, day)
    if not found and not ends:
        return empty(which, day, totals=paper.totals_json(now), items=[], endings=[])
    words = [] if found else [EMPTY.format(which)]
    data = {"schema": 1, "aeroplane": which, "on": day.isoformat(), "totals": paper.totals_json(now),
            "items": [paper.due_json(d) for d in found], "endings": [paper.ending_json(e) for e in ends], "words": words,
            "cautions": paper.cautions(d.item.status for d in found)}
    return Told(data, (*paper.due_lines(found, now, ends, which, day), *words))


def uses_of(text: str | None, option: str = "--uses", none_too: bool = False) -> tuple[str, ...]:
    """Uses as typed ("IFR,night"), all of them where none are; "none" where an item may stop no flight."""
    if text is None:
        return USES
    known = {u.casefold(): u for u in USES}
    asked = [w.strip().casefold() for w in text.split(",") if w.strip()]
    if none_too and asked == ["none"]:
        return ()
    if unknown := [w for w in asked if w not in known] or ([] if asked else [text]):
        raise BadInput(f"{option}: {unknown[0]!r} is no use; allowed are {', '.join(USES)}, with commas between"
                       f"{', or none' if none_too else ''}.")
    return tuple(u for u in USES if u.casefold() in asked)


def open_for(uses: str | None = None, aeroplane: str | None = None, on: str | None = None, folder: Path | None = None) -> Told:
    """Open items for a flight of these uses."""
    day, wanted = day_of(on, "--on"), uses_of(uses)
    with opened(folder) as records:
        which = which_one(records, aeroplane)
        kept = kept_of(records, which, day)
    if not kept_any(kept, which):
        return empty(which, day, uses=list(wanted), checked=False, open=[])
    found = open_items(kept, which, day, wanted, ZONE)
    data = {"schema": 1, "aeroplane": which, "on": day.isoformat(), "uses": list(wanted), "checked": True,
            "open": [paper.open_json(o) for o in found], "words": [], "cautions": paper.cautions(o.status for o in found)}
    return Told(data, tuple(paper.open_lines(found, which, day, wanted)))


def open_before(aeroplane: str, on: date, uses: Iterable[str], folder: Path | None = None, ahead_h: float = 0.0,
                ahead_landings: int = 0) -> tuple[OpenItem, ...] | None:
    """Open items of an aeroplane for a flight, its own hours and landings on top; None: nothing is kept, so not checked."""
    with opened(folder) as records:
        kept = kept_of(records, aeroplane, on)
    return open_items(kept, aeroplane, on, uses, ZONE, ahead_h, ahead_landings) if kept_any(kept, aeroplane) else None


def forecast(name: str | None = None, aeroplane: str | None = None, on: str | None = None, folder: Path | None = None) -> Told:
    """When the items, or one of them, will be due, by calendar and by the hours flown."""
    from ownship.ownership.forecast import forecast as ask
    from ownship.ownership.forecast import pace

    day = day_of(on, "--on")
    with opened(folder) as records:
        which = which_one(records, aeroplane)
        kept = kept_of(records, which, day)
    found = [d for d in due_list(kept, which, day, ZONE) if d.state != FINISHED]
    if not found:
        return empty(which, day, pace_h_a_month=None, items=[])
    if name is not None:
        found = [d for d in found if d.name.casefold() == name.strip().casefold()] or [no_item(name, kept, which)]
    flown = pace(kept, which, day, ZONE)
    pairs = [(d, ask(d, flown, day, SEED)) for d in found]
    data = {"schema": 1, "aeroplane": which, "on": day.isoformat(), "pace_h_a_month": flown.mean_h,
            "items": [paper.forecast_json(d, f) for d, f in pairs], "words": [flown.words], "cautions": paper.cautions()}
    return Told(data, tuple(paper.forecast_lines(pairs, flown.words)))


def no_item(name: str, kept: Iterable[Entry], aeroplane: str) -> Any:
    """Refuse a name that no item has."""
    names = sorted({i.name for _, i in of_kind(kept, MaintenanceItem, aeroplane)})
    raise BadInput(f"{name!r} is no item of {aeroplane}; kept are {', '.join(names) or 'none: add it first'}.")


def calendar(path: str, aeroplane: str | None = None, on: str | None = None, folder: Path | None = None) -> Told:
    """Due dates, forecast dates and endings into a calendar file; none where nothing has a date."""
    from ownship.questions.places import write_whole

    target = Path(path).absolute()
    if target.is_dir() or not target.parent.is_dir():
        raise BadInput(f"{path} cannot be written: it is a folder, or lies in none; name a file in a folder that is there.")
    which, count, data = calendar_of(aeroplane, on, folder)
    if not count:
        return Told({"schema": 1, "aeroplane": which or None, "file": None, "events": 0, "words": [NO_DATE]}, (NO_DATE,))
    _write(target, data, write_whole)
    return written(which, f"{count} dates are in {path}.", file=str(target), events=count)


def calendar_of(aeroplane: str | None = None, on: str | None = None, folder: Path | None = None) -> tuple[str, int, bytes]:
    """(aeroplane, how many dates, the calendar file); no bytes where nothing has a date."""
    from ownship.papers.calendar_file import Event, calendar_file
    from ownship.provenance import digest

    which, _, pairs, ends = _ahead(aeroplane, on, folder)
    events = []
    for d, found in pairs:
        if found.middle is None:
            continue
        sure = found.early == found.middle == found.late
        band = (found.words,) if sure or found.by == "calendar" else (
            f"by hours: {found.early or 'not known'} to {found.late or 'not known'}",)
        words = "; ".join(w for w in (*d.words, *band, d.item.section) if w)
        events.append(Event(f"{digest(which, 'item', d.name.casefold())}@ownship", found.middle,
                            f"{which}: {d.title}{_how_sure(found.by, sure=sure)}", words, sure))
    events += [Event(f"{digest(which, 'ending', e.what.casefold())}@ownship", e.last_day, f"{which}: {e.what} ends", e.document)
               for e in ends]
    return which, len(events), calendar_file(events, datetime.now(UTC), f"{which} maintenance") if events else b""


def drawn_ahead(aeroplane: str | None = None, on: str | None = None, folder: Path | None = None) -> str | None:
    """The coming 24 months drawn (SVG); None where nothing is kept that falls due or ends."""
    from ownship.papers.maintenance_charts import ahead_chart

    which, day, pairs, ends = _ahead(aeroplane, on, folder)
    return ahead_chart(which, pairs, ends, day) if pairs or ends else None


def _ahead(aeroplane: str | None, on: str | None, folder: Path | None,
           ) -> tuple[str, date, list[tuple[Due, Forecast]], tuple[Ending, ...]]:
    """Every item that can still fall due with its forecast, and what ends."""
    from ownship.ownership.forecast import forecast as ask
    from ownship.ownership.forecast import pace

    day = day_of(on, "--on")
    with opened(folder) as records:
        which = which_one(records, aeroplane)
        kept = kept_of(records, which, day)
    flown = pace(kept, which, day, ZONE)
    pairs = [(d, ask(d, flown, day, SEED)) for d in due_list(kept, which, day, ZONE) if d.state != FINISHED]
    return which, day, pairs, endings(kept, which, day)


def _how_sure(by: str, *, sure: bool) -> str:
    """What stands behind the name of an item in a calendar."""
    return "" if sure else ", at the latest" if by == "calendar" else ", about"


def _write(target: Path, data: bytes, write_whole: Any) -> None:
    try:
        write_whole(target, data)
    except OSError as error:
        raise BadInput(f"{target} cannot be written ({error.strerror or error}); choose another place.") from None
