"""Any number of aeroplanes, each a record in revisions: what it was on a day, with the ledger's weighings and equipment.

A revision is the airframe record as TOML from its effective day on. Weighings and equipment come from the revision in force
and from the ledger; what stands in both on the same day with the same weight and arm counts once.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from itertools import takewhile
from typing import Any, TypeVar

import tomlkit
from tomlkit.items import Array

from ownship.aeroplane.description import AirframeRecord, Equipment, Identity
from ownship.aeroplane.description import Weighing as RecordedWeighing
from ownship.aeroplane.reading import read_airframe
from ownship.errors import BadInput
from ownship.ownership.entries import AeroplaneRevision, Entry, EquipmentChange, Weighing, of_kind, standing
from ownship.provenance import digest

UNREGISTERED = "unregistered"
DIGITS = 6  # kg and m to which an entry of the ledger and one of the file are the same
T = TypeVar("T", RecordedWeighing, Equipment)


def aeroplanes(entries: Iterable[Entry]) -> tuple[str, ...]:
    """Registrations that the record knows by a revision, a weighing or an equipment change, in alphabetical order."""
    kinds = (AeroplaneRevision, Weighing, EquipmentChange)
    return tuple(sorted({e.aeroplane for e in standing(entries) if isinstance(e.body, kinds)}))


def revisions(entries: Iterable[Entry], aeroplane: str) -> tuple[tuple[Entry, AeroplaneRevision], ...]:
    """The revisions of an aeroplane that stand, by effective day; of one day the later entry is the later revision."""
    found = of_kind(standing(entries), AeroplaneRevision, aeroplane)
    return tuple(sorted(found, key=lambda f: (f[1].effective, f[0].number)))


def revision_on(entries: Iterable[Entry], aeroplane: str, day: date) -> AeroplaneRevision | None:
    """The revision in force on a day; None before the first."""
    past = list(takewhile(lambda f: f[1].effective <= day, revisions(entries, aeroplane)))
    return past[-1][1] if past else None


def record_on(entries: Iterable[Entry], aeroplane: str, day: date) -> AirframeRecord:
    """The airframe record of a day: that day's revision, with every weighing and equipment change up to the day.

    Raises BadInput, with the days that are known, where no revision was in force.
    """
    kept = standing(entries)
    own = own_record(kept, aeroplane, day)
    if own is None:
        since = [r.effective for _, r in revisions(kept, aeroplane)]
        told = f"its first is effective from {since[0]}" if since else "none is kept"
        raise BadInput(f"{aeroplane} has no airframe record in force on {day} ({told}); keep one that is effective by then.")
    return merged(own, kept, aeroplane, day)


def own_record(entries: Iterable[Entry], aeroplane: str, day: date) -> AirframeRecord | None:
    """What the revision in force on a day says by itself, without the ledger; None where none is in force."""
    found = revision_on(entries, aeroplane, day)
    return None if found is None else read_airframe(found.toml, f"record of {aeroplane} from {found.effective}")


def bare_record(entries: Iterable[Entry], aeroplane: str, day: date) -> AirframeRecord:
    """The record of an aeroplane of which only the ledger is kept: no limits, no stations, all else not known."""
    return merged(AirframeRecord(Identity(aeroplane), "the ledger alone", digest("")), standing(entries), aeroplane, day)


def merged(record: AirframeRecord, kept: Iterable[Entry], aeroplane: str, day: date) -> AirframeRecord:
    """A record with the ledger's weighings and equipment beside its own, nothing after the day."""
    entries = tuple(kept)
    scales = [as_weighing(e, w) for e, w in of_kind(entries, Weighing, aeroplane)]
    changes = [as_equipment(e, c) for e, c in of_kind(entries, EquipmentChange, aeroplane)]
    weighings = sorted([*_apart(record.weighings, scales), *scales], key=lambda w: w.date)
    equipment = sorted([*_apart(record.equipment, changes), *changes], key=lambda c: c.date)
    return replace(record, weighings=tuple(w for w in weighings if w.date <= day),
                   equipment=tuple(c for c in equipment if c.date <= day))


def counted_once(record: AirframeRecord, kept: Iterable[Entry], aeroplane: str) -> int:
    """How many weighings and changes stand in the revision and in the ledger as well."""
    both = merged(record, kept, aeroplane, date.max)
    ledger = merged(replace(record, weighings=(), equipment=()), kept, aeroplane, date.max)
    return sum(len(a) + len(b) - len(c) for a, b, c in (
        (record.weighings, ledger.weighings, both.weighings), (record.equipment, ledger.equipment, both.equipment)))


def _apart(own: tuple[T, ...], ledger: list[T]) -> list[T]:
    """What stands in the record and not in the ledger, matched one for one."""
    left = [_mark(x) for x in ledger]
    found = []
    for x in own:
        if _mark(x) in left:
            left.remove(_mark(x))
        else:
            found.append(x)
    return found


def _mark(x: RecordedWeighing | Equipment) -> tuple[Any, ...]:
    return x.date, round(x.weight_kg, DIGITS), round(x.arm_m, DIGITS)


def as_weighing(e: Entry, w: Weighing) -> RecordedWeighing:
    """An entry as the airframe record has it; its source names the entry."""
    return RecordedWeighing(w.day, w.weighed, w.weight_kg, w.arm_m, w.oil, w.fuel, w.density_kg_m3, _source(e, w.by))


def as_equipment(e: Entry, c: EquipmentChange) -> Equipment:
    """An entry as the airframe record has it; its source names the entry."""
    return Equipment(c.day, c.what, c.weight_kg, c.arm_m, _source(e, c.by), c.after_weighing)


def _source(e: Entry, by: str) -> str:
    return ", ".join(p for p in (e.source, by, f"entry {e.number}") if p)


# ---- TOML in and out


def read_revision(toml: str, effective: date, aeroplane: str, rows_csv: str = "", own_text: str = "",
                  ) -> tuple[AeroplaneRevision, AirframeRecord]:
    """A revision from a TOML text, and what it says; BadInput where the text is no record or is another aeroplane's.

    aeroplane "": the one that the text names.
    """
    record = read_airframe(toml, f"record of {aeroplane or 'the aeroplane'}")
    named = record.identity.registration
    if named == UNREGISTERED:
        raise BadInput("The record names no aeroplane; add [identity] registration to it.")
    if aeroplane and named != aeroplane:
        raise BadInput(f"The record is of {named}, not of {aeroplane}; name the aeroplane that it is of, or correct "
                       "[identity] registration.")
    return AeroplaneRevision(effective, toml, rows_csv, own_text), record


def record_toml(entries: Iterable[Entry], aeroplane: str, day: date) -> str:
    """The record of a day as TOML that reads back as `record_on` gave it, sources aside: the revision's own text, comments and
    all, the ledger's entries added to [[weighings]] and [[equipment]], what came after the day left out."""
    kept = standing(entries)
    record_on(kept, aeroplane, day)
    found, own = revision_on(kept, aeroplane, day), own_record(kept, aeroplane, day)
    assert found is not None
    assert own is not None
    ledger = merged(replace(own, weighings=(), equipment=()), kept, aeroplane, day)
    document = tomlkit.parse(found.toml)
    _write(document, "weighings", [_weighing_table(w) for w in _apart(ledger.weighings, list(own.weighings))], day)
    _write(document, "equipment", [_change_table(c) for c in _apart(ledger.equipment, list(own.equipment))], day)
    return tomlkit.dumps(document)


def _write(document: tomlkit.TOMLDocument, key: str, new: list[dict[str, Any]], day: date) -> None:
    """Take out of an array of tables what is after the day, and add the new ones."""
    tables: Any = document.get(key)
    if tables is not None:
        for i in reversed([i for i, t in enumerate(tables) if _day(t["date"]) > day]):
            del tables[i]
        if not len(tables):
            del document[key]
            tables = None
    if tables is None and new:
        document[key] = tables = tomlkit.aot()
    for plain in new:
        table = tomlkit.inline_table() if isinstance(tables, Array) else tomlkit.table()
        table.update(plain)
        tables.append(table)


def _day(value: Any) -> date:
    return date.fromisoformat(str(value)[:10])


def _weighing_table(w: RecordedWeighing) -> dict[str, Any]:
    told = {"date": w.date, "weighed": w.weighed, "weight": f"{w.weight_kg!r} kg", "arm": f"{w.arm_m!r} m", "oil": w.oil,
            "fuel": w.fuel, "source": w.source}
    return told if w.density_kg_m3 is None else told | {"density": f"{w.density_kg_m3!r} kg/m3"}


def _change_table(c: Equipment) -> dict[str, Any]:
    told = {"date": c.date, "what": c.what, "weight": f"{c.weight_kg!r} kg", "arm": f"{c.arm_m!r} m", "source": c.source}
    return told | {"after_weighing": True} if c.after_weighing else told
