"""How the record stands, as lines of text: what `doctor` found."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

NOT_KNOWN = "not known"


def doctor_lines(found: Mapping[str, Any]) -> list[str]:
    """The answer of `doctor` (its JSON) as lines, what to do last."""
    lines = [f"folder: {found['folder']}", f"record: {_record(found)}"]
    if found["exists"] or found["damage"]:
        lines += [f"database check: {found['damage'] or 'sound, and every entry was read'}", f"last backup: {_backup(found)}",
                  f"daily copies: {_copies(found['copies'])}"]
    lines += [f"  {kind}: {count:,}" for kind, count in found["kinds"].items()]
    lines += [f"{age['what']}: {_age(age)}" for age in found["ages"]]
    return [*lines, *(f"to do: {words}" for words in found["advice"])]


def _record(found: Mapping[str, Any]) -> str:
    if not found["exists"]:
        return f"{found['record']} is gone" if found["damage"] else "none yet"
    schema = NOT_KNOWN if found["record_schema"] is None else found["record_schema"]
    return f"{found['record']}, {found['size_bytes']:,} bytes, schema {schema}, {found['entries']:,} entries"


def _backup(found: Mapping[str, Any]) -> str:
    if found["last_backup"] is None:
        return "none noted"
    return f"{found['last_backup']}, made {found['last_backup_made']}, {_days(found['last_backup_days'])} ago"


def _copies(copies: list[str]) -> str:
    return f"{len(copies)}, the latest {copies[-1]}" if copies else "none yet"


def _age(age: Mapping[str, Any]) -> str:
    if age["day"] is None:
        return f"date {NOT_KNOWN}; {age['words']}"
    past = f", {_days(age['days'])} ago" if age["days"] > 0 else ""
    return f"{age['day']}{past}; {age['words']}"


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count:,} days"
