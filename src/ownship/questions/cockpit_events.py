"""Events of the Cockpit into the record: each once, whatever is sent twice, in pieces or from two tabs; then the log's draft."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ownship.errors import BadInput
from ownship.questions.from_record import registration_of
from ownship.questions.logging_flights import Written, add, opened

if TYPE_CHECKING:
    from ownship.ownership.cockpit_events import CockpitEvent, CockpitFlight
    from ownship.ownership.entries import Entry
    from ownship.store.records import Records

MOST_EVENTS, LONGEST = 2000, 1_000_000
TRIES = 20
NAME = re.compile(r"[A-Za-z0-9._-]{1,64}")
MOMENTS = ("off_blocks", "take_off", "landing", "on_blocks")
AGAIN = "Load the Cockpit page again and let it send once more."
NOTHING = "Nothing of this flight is in the record yet."
MOST_MS = 253_402_300_799_000  # the year 9999
Numbered = tuple["Entry", "CockpitFlight"]


@dataclass(frozen=True)
class Kept:
    """What the record now holds of a flight: its events, the number of its entry, whether the log has it; words for the page."""

    events: tuple[CockpitEvent, ...]
    number: int | None
    confirmed: int | None
    words: str


def keep(text: str, folder: Path | None = None) -> Kept:
    """Take what a Cockpit page sends: a flight with events and draft as JSON. BadInput where it cannot be read.

    The record's events and the sent ones are joined by their ids, within one transaction against what stands then; where
    nothing is new nothing is written. A flight that the owner withdrew is not taken again.
    """
    registration, new = read_sent(text)
    for _ in range(TRIES):
        with opened(folder) as (records, _entries):
            old, withdrawn = _standing(records, new.flight)
            if withdrawn:
                return Kept((), None, None, "This flight was withdrawn in the record and is not taken again.")
            try:
                number, body = _write(records, old, registration, new)
            except BadInput:
                if _standing(records, new.flight)[0] == old:
                    raise
                continue  # another tab was quicker: join with what it wrote
            return Kept(body.events, number, body.confirmed, _words(body))
    raise BadInput(f"The record is busy with this flight. {AGAIN}")


def known(flight: str, folder: Path | None = None) -> Kept:
    """What the record holds of a flight; looking makes no record."""
    from ownship.questions.record import NAME, record_folder

    if folder is None and not (record_folder() / NAME).exists():
        return Kept((), None, None, NOTHING)
    with opened(folder) as (records, _):
        old, withdrawn = _standing(records, flight)
    if old is None:
        return Kept((), None, None, "This flight was withdrawn in the record." if withdrawn else NOTHING)
    return Kept(old[1].events, old[0].number, old[1].confirmed, _words(old[1]))


def _words(body: CockpitFlight) -> str:
    count = f"{len(body.events)} {'event' if len(body.events) == 1 else 'events'} in the record"
    return f"{count}, entered in the log as entry {body.confirmed}." if body.confirmed else f"{count}."


def _standing(records: Records, flight: str) -> tuple[Numbered | None, bool]:
    """The entry of a flight that stands, and whether the owner withdrew it."""
    from ownship.ownership.cockpit_events import CockpitFlight
    from ownship.ownership.entries import of_kind, standing

    every = records.all(CockpitFlight)
    found = [x for x in of_kind(standing(every), CockpitFlight) if x[1].flight == flight]
    gone = any(e.withdrawn and isinstance(e.body, CockpitFlight) and e.body.flight == flight for e in every)
    return (found[-1] if found else None), gone and not found


def _write(records: Records, old: Numbered | None, registration: str, new: CockpitFlight) -> tuple[int, CockpitFlight]:
    from ownship.ownership.cockpit_events import CockpitFlight, merged
    from ownship.ownership.entries import of_kind

    body = merged(None if old is None else old[1], new)
    if old is not None:
        if body == old[1]:
            return old[0].number, body
        return records.correct(old[0].number, body, note="more from the Cockpit").number, body

    def alone(now: tuple[Entry, ...]) -> None:
        if any(b.flight == new.flight for _, b in of_kind(now, CockpitFlight)):
            raise BadInput("The flight is in the record already.")

    return records.append(body, registration, source="the Cockpit", check=alone).number, body


# ---- what is sent


def read_sent(text: str) -> tuple[str, CockpitFlight]:
    """(registration, flight) of the JSON a page sends; BadInput for anything else."""
    from ownship.ownership.cockpit_events import CockpitFlight, TankSelected

    sent = _table(_json(text), "what was sent")
    draft = _table(sent.get("draft", {}), "draft")
    events = _list(sent, "events")
    if not events or len(events) > MOST_EVENTS:
        raise BadInput(f"{len(events)} events were sent, and 1 to {MOST_EVENTS:,} are taken. {AGAIN}")
    off, up, down, on = (None if draft.get(name) is None else _moment(draft[name], name) for name in MOMENTS)
    changes = tuple(TankSelected(_place(x.get("tank")), _moment(x.get("since"), "since")) for x in _list(draft, "changes"))
    found = CockpitFlight(_name(sent.get("flight"), "flight"), _each_once(tuple(_event(x) for x in events)),
                          _place(sent.get("origin")), _place(sent.get("destination")), off, up, down, on,
                          _fuel(draft, "fuel_before"), _fuel(draft, "fuel_after"), changes,
                          tuple(_place(x.get("tank")) for x in _list(draft, "no_feed")))
    return registration_of(str(sent.get("aeroplane", ""))), replace(found, counted=len(found.events))


def _json(text: str) -> Any:
    if len(text) > LONGEST:
        raise BadInput(f"What was sent has {len(text):,} characters, and {LONGEST:,} are taken; keep the flight on paper.")
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        raise BadInput(f"What was sent is no flight of the Cockpit. {AGAIN}") from None


def _table(value: Any, name: str) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise BadInput(f"{name}: {str(value)[:40]!r} is no table of values. {AGAIN}")
    return value


def _list(table: Mapping[str, Any], name: str) -> list[dict[str, Any]]:
    found = table.get(name, [])
    if not isinstance(found, list):
        raise BadInput(f"{name}: {str(found)[:40]!r} is no list. {AGAIN}")
    return [_table(x, name) for x in found]


def _event(table: dict[str, Any]) -> CockpitEvent:
    from ownship.ownership.cockpit_events import KINDS, CockpitEvent

    kind, utc = table.get("kind"), table.get("utc_ms")
    if kind not in KINDS:
        raise BadInput(f"kind: {str(kind)[:40]!r} is not one of: {', '.join(KINDS)}. {AGAIN}")
    about, undoes = (str(table.get(k) or "") for k in ("about", "undoes"))
    wall, mono, began = (_whole(table.get(k), k) for k in ("wall_ms", "mono_ms", "began_ms"))
    return CockpitEvent(_name(table.get("id"), "id"), str(kind), wall, mono, _name(table.get("run"), "run"), began,
                        about if not about else _place(about), undoes if not undoes else _name(undoes, "undoes"),
                        None if utc is None else _whole(utc, "utc_ms"))


def _each_once(events: tuple[CockpitEvent, ...]) -> tuple[CockpitEvent, ...]:
    return tuple({e.event: e for e in reversed(events)}[x] for x in dict.fromkeys(e.event for e in events))


def _whole(value: Any, name: str) -> int:
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < MOST_MS:
        raise BadInput(f"{name}: {str(value)[:40]!r} is no time in milliseconds. {AGAIN}")
    return round(value)


def _moment(value: Any, name: str) -> datetime:
    stamp = _whole(value, name)
    if stamp < 0:
        raise BadInput(f"{name}: the device says a year before 1970; correct its clock on the Cockpit page.")
    return datetime.fromtimestamp(stamp / 1000, UTC)


def _name(value: Any, name: str) -> str:
    if not isinstance(value, str) or not NAME.fullmatch(value):
        raise BadInput(f"{name}: {str(value)[:40]!r} is not allowed. {AGAIN}")
    return value


def _place(value: Any) -> str:
    """A place as the request names it (an ident, or lat,lon), or a tank, or several with + between."""
    if not isinstance(value, str) or not re.fullmatch(r"[A-Za-z0-9.,+ _-]{1,60}", value):
        raise BadInput(f"{str(value)[:40]!r} is no place or tank. {AGAIN}")
    return value


def _fuel(draft: Mapping[str, Any], name: str) -> tuple[Any, ...]:
    from ownship.ownership.entries import KNOWN_BY, TankContents

    found = []
    for row in _list(draft, name):
        value, known_by = row.get("usable_m3"), str(row.get("known_by") or "clock")
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 10.0 or known_by not in KNOWN_BY:
            raise BadInput(f"{name}: {str(row)[:60]!r} is no content of a tank. {AGAIN}")
        found.append(TankContents(_place(row.get("tank")), float(value), known_by))
    return tuple(found)


# ---- the draft into the log


def drafts(folder: Path | None = None) -> list[dict[str, Any]]:
    """Flights from the Cockpit that are not in the log yet, each with the log's fields as texts; the latest first."""
    from ownship.ownership.cockpit_events import CockpitFlight
    from ownship.ownership.entries import of_kind

    with opened(folder) as (_, entries):
        found = [x for x in of_kind(entries, CockpitFlight) if x[1].confirmed is None]
    return [{"number": e.number, "flight": b.flight, "aeroplane": e.aeroplane, "events": len(b.events), "cells": cells_of_draft(b)}
            for e, b in reversed(found)]


def cells_of_draft(body: CockpitFlight) -> dict[str, str]:
    """The log's fields as the Cockpit knows them; "" where it does not. A tank dry by the clock is said, not written as a level."""
    noted = {name: "" if (at := getattr(body, name)) is None else f"{at:%Y-%m-%dT%H:%M:%SZ}" for name in MOMENTS}
    changes = ", ".join(f"{c.since:%H:%M}Z {c.tank}" for c in body.changes)
    dry = [t.tank for t in body.fuel_after if t.usable_m3 < 0]
    said = [f"Tanks: {changes}." if changes else "", *(f"The {t} tank did not feed." for t in body.no_feed),
            *(f"The {t} tank is empty by the clock." for t in dry)]
    return {"origin": body.origin, "destination": body.destination, **noted, "landings": "1" if body.landing else "",
            "fuel_before": _levels(body.fuel_before), "fuel_after": _levels(body.fuel_after),
            "remarks": " ".join(x for x in said if x)}


def _levels(tanks: tuple[Any, ...]) -> str:
    """Usable fuel by tank as the log reads it."""
    from ownship.units import from_si

    return "; ".join(f"{t.tank}={from_si(t.usable_m3, 'usgal'):.1f} usgal {t.known_by}" for t in tanks if t.usable_m3 >= 0)


def confirm(number: int, cells: Mapping[str, str], folder: Path | None = None) -> Written:
    """Enter a draft into the log with the fields as the pilot leaves them; refused where it is there already or cannot be true."""
    entry, body = _draft(number, folder)
    written = add({k: v for k, v in cells.items() if v.strip()}, entry.aeroplane, folder=folder, source="the Cockpit",
                  other_aeroplane=True)
    with opened(folder) as (records, _):
        old, _gone = _standing(records, body.flight)
        if old is not None:
            records.correct(old[0].number, replace(old[1], confirmed=written.numbers[0]), note="entered in the log")
    return written


def _draft(number: int, folder: Path | None) -> Numbered:
    from ownship.ownership.cockpit_events import CockpitFlight

    with opened(folder) as (records, _):
        entry = records.entry(number)
        if not isinstance(entry.body, CockpitFlight):
            raise BadInput(f"Entry {number} is no draft of the Cockpit; load the page of drafts again.")
        old, _gone = _standing(records, entry.body.flight)
    if old is None or old[1].confirmed is not None:
        raise BadInput("This flight is in the log already, or was withdrawn; look at the log.")
    return old
