"""Maintenance as it is typed, alike for command and page: an item, a directive, the fields of what is kept; and undo."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

from ownship.errors import BadInput, OwnshipError
from ownship.ownership.entries import Defect, Expiry, MaintenanceDone, MaintenanceItem, Money, of_kind
from ownship.questions.maintaining import day_of, opened
from ownship.questions.maintaining_entries import Limits, typed_item

MINE = (MaintenanceItem, MaintenanceDone, Expiry, Defect)


def own_item(name: str, title: str | None, limits: Limits, cost: str | None = None, severity: str | None = None,
             old: MaintenanceItem | None = None) -> MaintenanceItem:
    """An owner's item as typed; severity, where none is said: block where a section of the law is named, else warn.

    old: the item it corrects; where interval and section stay as they were, what is known of them stays too.
    """
    word = severity or ("block" if limits.section else "warn")
    made = typed_item(name, title, replace(limits, severity=word), cost)
    same = old is not None and (old.interval, old.section) == (made.interval, made.section)
    return replace(made, status=old.status) if same and old is not None else made


def directive_item(number: str, title: str, limits: Limits, cost: str | None = None, revision: str = "", method: str = "",
                   effective: str | None = None) -> MaintenanceItem:
    """An airworthiness directive as typed: it blocks, and has no tolerance."""
    return typed_item(number, title, replace(limits, severity="block"), cost, directive=number, revision=revision, method=method,
                      effective=None if effective is None else day_of(effective, "--effective"))


def kept_items(aeroplane: str, folder: Path | None = None) -> dict[str, MaintenanceItem]:
    """The items that stand, by name in small letters; of two with one name the later one."""
    with opened(folder) as records:
        return {i.name.casefold(): i for _, i in of_kind(records.standing(MaintenanceItem, aeroplane=aeroplane), MaintenanceItem)}


def kept_item(name: str, aeroplane: str, folder: Path | None = None) -> MaintenanceItem:
    """The item of a name that stands; BadInput where there is none."""
    found = kept_items(aeroplane, folder).get(name.strip().casefold())
    if found is None:
        raise BadInput(f"{name[:80]!r} is no item of {aeroplane}; take a name from its list.")
    return found


def texts_of(item: MaintenanceItem) -> dict[str, str]:
    """An item as it would be typed."""
    i, cost = item.interval, item.expected_cost
    found: dict[str, Any] = {
        "name": item.name, "title": item.title, "every": i.every, "hours": i.hours_h, "landings": i.landings,
        "tolerance": i.tolerance, "tolerance_hours": i.tolerance_h or None, "from_due": None if i.carry else 1,
        "first_due": item.fixed_date, "first_due_hours": item.first_due_h, "first_due_landings": item.first_due_landings,
        "section": item.section, "severity": item.severity, "note": item.note, "cost": _money(cost),
        "revision": item.revision, "method": item.method, "effective": item.effective} | {f"use_{u}": 1 for u in item.uses}
    return {k: f"{v:.10g}" if isinstance(v, float) else str(v) for k, v in found.items() if v not in (None, "")}


def _money(cost: Money | None) -> str:
    return "" if cost is None else f"{cost.amount} {cost.currency}"


def done_list(aeroplane: str, folder: Path | None = None) -> list[dict[str, Any]]:
    """What was noted as done on an aeroplane, the latest day first, as plain values."""
    with opened(folder) as records:
        found = of_kind(records.standing(MaintenanceDone, aeroplane=aeroplane), MaintenanceDone)
    return [{"entry": e.number, "name": d.name, "day": d.day.isoformat(), "hours_h": d.hours_h, "landings": d.landings, "by": d.by,
             "words": d.words, "cost": _money(d.cost) or None, "terminating": d.terminating, "anew": d.anew}
            for e, d in sorted(found, key=lambda x: (x[1].day, x[0].number), reverse=True)]


def defect_steps(aeroplane: str, folder: Path | None = None) -> list[dict[str, Any]]:
    """Every step of every defect of an aeroplane, the latest first, as plain values."""
    with opened(folder) as records:
        found = of_kind(records.standing(Defect, aeroplane=aeroplane), Defect)
    return [{"entry": e.number, "day": e.moment.date().isoformat(), "name": d.name, "state": d.state, "words": d.words,
             "uses": list(d.uses), "until": None if d.until is None else d.until.isoformat(), "by": d.by}
            for e, d in reversed(found)]


def is_kept(number: int, folder: Path | None = None) -> bool:
    """Whether an entry of maintenance of this number is the latest word on its matter: neither undone nor corrected since."""
    with opened(folder) as records:
        try:
            body = records.entry(number).body
            return isinstance(body, MINE) and all(e.corrects != number for e in records.all(type(body)))
        except OwnshipError:
            return False


def take_back(numbers: Iterable[int], folder: Path | None = None) -> None:
    """Undo entries just written, the last first: what was new is withdrawn, what was corrected or withdrawn stands again as it
    was. BadInput for an entry that is none of maintenance, or that another entry followed meanwhile."""
    with opened(folder) as records:
        for number in sorted(numbers, reverse=True):
            entry = records.entry(number)
            if not isinstance(entry.body, MINE):
                raise BadInput(f"Entry {number} is none of maintenance; undo it where it was kept.")
            if entry.corrects is None:
                records.withdraw(number, "undone on the screen")
            else:
                before = records.entry(entry.corrects)
                records.correct(number, before.body, before.moment, note="undone on the screen")
