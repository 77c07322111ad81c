"""Maintenance items as TOML: the starter sets of a place, the life items, and an owner's own file; one strict reader."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from functools import cache

from ownship.errors import BadInput
from ownship.provenance import STATUSES, package_toml
from ownship.rules.due import next_due
from ownship.schema import Table
from ownship.units import from_si

USES = ("VFR", "night", "IFR", "passengers")
SEVERITIES = ("block", "warn", "info")
OWNER = "owner"
_FILES = {"USA": "usa.toml", "Canada": "canada.toml", "EASA": "easa.toml", "life": "life.toml"}
_ANY_DAY = date(2024, 1, 1)  # to try an interval on
MOST_LANDINGS = 1_000_000


@dataclass(frozen=True)
class ItemText:
    """One item as a file says it: hours as hours of air time; source and status say how the interval is known.

    optional: in a starter set only on wish; applies_if: when it applies, in words.
    """

    name: str
    title: str
    every: str = ""
    hours_h: float | None = None
    landings: int | None = None
    tolerance: str = ""
    tolerance_h: float = 0.0
    carry: bool = True
    uses: tuple[str, ...] = USES
    section: str = ""
    source: str = ""
    source_date: str = ""
    status: str = OWNER
    severity: str = "warn"
    applies_if: str = ""
    note: str = ""
    optional: bool = False
    directive: str = ""
    revision: str = ""
    method: str = ""
    effective: date | None = None
    first_due: date | None = None
    first_due_h: float | None = None
    first_due_landings: int | None = None


@dataclass(frozen=True)
class ItemSet:
    """A file of items; note: what holds for all of them."""

    title: str
    items: tuple[ItemText, ...]
    note: str = ""


@cache
def load_starter(place: str) -> ItemSet:
    """The starter set of "USA", "Canada" or "EASA", or the life items ("life"); BadInput for another word."""
    known = {name.casefold(): file for name, file in _FILES.items()}
    if place.casefold() not in known:
        raise BadInput(f"starter: no set is kept for {place!r}; allowed are {', '.join(_FILES)}.")
    found = read_items(package_toml("rules", "maintenance", known[place.casefold()]))
    if bad := next((i for i in found.items if not i.source or not i.section or i.status == OWNER), None):
        raise BadInput(f"{place} {bad.name}: an item of a starter set needs source, section and status.")
    return found


def read_items(root: Table) -> ItemSet:
    """A file of items as docs/formats/maintenance.md describes it; two of one name, and an empty file, are refused."""
    dated = root.text("source_date", "")
    found = ItemSet(root.text("title", ""), tuple(_item(t, dated) for t in root.tables("item")), root.text("note", ""))
    root.done()
    if not found.items:
        raise BadInput(f"{root.name} holds no item; write [[item]] with name and every, hours or landings.")
    names = [i.name.casefold() for i in found.items]
    if twice := next((n for n in names if names.count(n) > 1), None):
        raise BadInput(f"{root.name}: two items are named {twice!r}; give each its own name.")
    return found


def _item(t: Table, dated: str) -> ItemText:
    name = t.text("name")
    status = t.choice("status", (*STATUSES, OWNER), OWNER)
    found = ItemText(
        name, t.text("title", name), t.convert("every", interval, ""), _hours(t, "hours", "0.1 h", "20000 h"),
        t.integer("landings", None, 1, MOST_LANDINGS), t.convert("tolerance", interval, ""),
        _hours(t, "tolerance_hours", "0 h", "200 h") or 0.0, t.flag("carry", True), t.convert("uses", _uses, USES),
        t.text("section", ""), t.text("source", ""),
        t.text("source_date", "" if status in ("from memory", OWNER) else dated), status,
        t.choice("severity", SEVERITIES, "warn"), t.text("applies_if", ""), t.text("note", ""), t.flag("optional", False),
        t.text("directive", ""), t.text("revision", ""), t.text("method", ""), t.convert("effective", _day, None),
        t.convert("first_due", _day, None), _hours(t, "first_due_hours", "0.1 h", "100000 h"),
        t.integer("first_due_landings", None, 1, MOST_LANDINGS))
    t.done()
    if not limited(found):
        raise t.bad("name", f"{name!r} has no limit; give every, hours, landings or a first_due.")
    return found


def limited(item: ItemText) -> bool:
    """Whether an item can fall due at all."""
    return bool(item.every) or any(x is not None for x in (item.hours_h, item.landings, item.first_due, item.first_due_h,
                                                           item.first_due_landings))


def interval(value: object) -> str:
    """The text of an interval that `next_due` can read."""
    if not isinstance(value, str):
        raise ValueError(f"{value!r} should be a text such as \"12 calendar months\".")
    try:
        next_due(_ANY_DAY, value)
    except BadInput as error:
        raise ValueError(str(error).removeprefix("every: ")) from None
    return value.strip()


def _hours(t: Table, key: str, low: str, high: str) -> float | None:
    found = t.quantity(key, "time", None, low, high)
    return None if found is None else round(float(from_si(found, "h")), 6)


def _uses(value: object) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(v in USES for v in value):
        raise ValueError(f"{value!r} should be a list of: {', '.join(USES)}.")
    return tuple(u for u in USES if u in value)


def _day(value: object) -> date:
    if isinstance(value, datetime) or not isinstance(value, date):
        raise ValueError(f"{value!r} should be a date, like 2026-07-11.")
    return value
