"""The airframe record as form fields and form fields as its TOML again: what is not touched stays as it was written.

A field is named by its place: `weights.take_off_max`, `stations.0.max`. A text is taken as typed, with its unit; the record's own
reader judges it. An empty field takes the value out: not known. `none published` is a value.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Array

from ownship.errors import BadInput, UnreadableFile
from ownship.web.airframe_kinds import SHOW, VALUE, short_name
from ownship.web.airframe_topics import Cell, Part, Topic

Texts = Mapping[str, str]
MOST_ROWS = 40
HERE = re.compile(r"\[(?P<table>[a-z_.]+?)(?:\.(?P<row>\d+))?(?:\.[a-z_]+(?:\.\d+)?)?\] (?P<key>[a-z_0-9]+): ")
LACKS = re.compile(r"\[(?P<table>[a-z_.]+?)(?:\.(?P<row>\d+))?\] lacks '(?P<key>[a-z_0-9]+)'")


@dataclass(frozen=True)
class Field:
    """One field as a page shows it; wrong: a refusal is about it."""

    name: str
    label: str
    value: str
    cell: Cell
    wrong: bool = False

    @property
    def said(self) -> str:
        """Its value in words: that of a choice as it stands in the list."""
        return dict(self.cell.choices).get(self.value, self.value) if self.value else ""

    @property
    def id(self) -> str:
        """Its id in the page."""
        return f"field-{self.name.replace('.', '-')}"


@dataclass(frozen=True)
class Row:
    """The fields of one table; title "" where there is only one."""

    title: str
    fields: tuple[Field, ...]


@dataclass(frozen=True)
class Block:
    """A part of a form: its tables with their fields."""

    part: Part
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Applied:
    """The record with a form's fields in it; rows: form row of every (table, row of the record)."""

    toml: str
    rows: dict[tuple[str, int], int]


# ---- record to fields


def texts_of(toml: str, parts: tuple[Part, ...]) -> dict[str, str]:
    """What every field of some parts holds in a record; a field without a value is left out."""
    try:
        document, found = tomllib.loads(toml), dict[str, str]()
    except (ValueError, RecursionError) as error:
        raise UnreadableFile(f"The record cannot be read ({str(error)[:120]}).") from None
    for part in parts:
        for prefix, table in _tables(document, part):
            for cell in part.cells:
                text = _shown(table, cell)
                if text:
                    found[f"{prefix}.{cell.key}"] = text
    return found


def parsed(toml: str) -> tomlkit.TOMLDocument:
    """A TOML text that keeps its remarks and order; UnreadableFile where it cannot be read so."""
    try:
        return tomlkit.parse(toml)
    except (TOMLKitError, RecursionError, ValueError) as error:
        raise UnreadableFile(f"The record cannot be written anew with its remarks kept ({str(error)[:120]}).") from None


def _tables(document: Any, part: Part) -> list[tuple[str, Any]]:
    """(name in the form, table) of every table of a part that is there."""
    table = _at(document, part.table.split("."))
    if not part.rows:
        return [] if table is None else [(part.table, table)]
    return [(f"{part.table}.{i}", row) for i, row in enumerate(table or ())]


def _at(table: Any, path: list[str]) -> Any:
    for key in path:
        table = table.get(key) if hasattr(table, "get") else None
    return table


def _shown(table: Any, cell: Cell) -> str:
    """A cell's value as it stands in its field."""
    if cell.kind == "arms" and "arm_range" in table:
        return " to ".join(str(v) for v in table["arm_range"])
    value = _at(table, cell.key.split("."))
    return "" if value is None else SHOW.get(cell.kind, str)(value)


def blocks(parts: tuple[Part, ...], texts: Texts, wrong: str = "", spare: bool = True) -> tuple[Block, ...]:
    """The fields of some parts with what they hold; spare: empty rows after those that are filled."""
    return tuple(Block(part, tuple(_row(part, i, texts, wrong) for i in range(_count(part, texts, spare)))) for part in parts)


def _count(part: Part, texts: Texts, spare: bool) -> int:
    if not part.rows:
        return 1
    used = _last(part, texts) + 1
    return min(max(used + 1, part.spare) if spare else used, MOST_ROWS)


def _last(part: Part, texts: Texts) -> int:
    """The last row of a part in which anything is typed; -1: none. A choice that every empty row has is nothing typed."""
    return max((i for i in range(MOST_ROWS) if _filled(part, f"{part.table}.{i}", texts)), default=-1)


def _row(part: Part, i: int, texts: Texts, wrong: str) -> Row:
    fields = []
    for cell in (c for c in part.cells if not c.hidden):
        name = f"{part.table}.{i}.{cell.key}" if part.rows else f"{part.table}.{cell.key}"
        fields.append(Field(name, label_of(part, i, cell), texts.get(name, ""), cell, name == wrong))
    return Row(f"{part.one} {i + 1}" if part.rows else "", tuple(fields))


def label_of(part: Part, i: int, cell: Cell) -> str:
    """The label of a field: with its row's number where there are rows, a source with what it is of."""
    if cell.key == "source" and not part.rows and part.table != "record":
        return f"{part.title}: {cell.label[:1].lower()}{cell.label[1:]}"
    return f"{part.one} {i + 1}: {cell.label[:1].lower()}{cell.label[1:]}" if part.rows else cell.label


# ---- fields to record


def applied(toml: str, parts: tuple[Part, ...], texts: Texts) -> Applied:
    """The record with the fields of some parts in it; BadInput, by the field's label, for a text that is no value of its kind."""
    document, rows = parsed(toml), dict[tuple[str, int], int]()
    for part in parts:
        if part.rows:
            rows |= {(part.table, at): i for at, i in enumerate(_put_rows(document, part, texts))}
        else:
            _put_one(document, part, texts)
    return Applied(tomlkit.dumps(document), rows)


def _put_one(document: Any, part: Part, texts: Texts) -> None:
    path = part.table.split(".")
    table, new = _at(document, path), False
    if table is None:
        table, new = tomlkit.table(), True
    _fill(table, part, 0, part.table, texts)
    left = set(table) - (set() if part.table == "record" else {"source"})  # elsewhere a source of nothing is no table
    if new and left:
        _place(document, path, table)
    elif not new and not left:
        del _at(document, path[:-1])[path[-1]]


def _place(document: Any, path: list[str], table: Any) -> None:
    for key in path[:-1]:
        if key not in document:
            document[key] = tomlkit.table(is_super_table=True)
        document = document[key]
    document[path[-1]] = table


def _put_rows(document: Any, part: Part, texts: Texts) -> list[int]:
    """Change, add and take out the rows of a part; the form row of every row that is left."""
    tables: Any = document.get(part.table)
    there, keep = 0 if tables is None else len(tables), list[int]()
    last = min(max(there, _last(part, texts) + 1), MOST_ROWS)
    gone = []
    for i in range(last):
        prefix = f"{part.table}.{i}"
        named = any(f"{prefix}.{c.key}" in texts for c in part.cells)
        if i < there and not named:  # not in this form: it stays
            keep.append(i)
        elif not _filled(part, prefix, texts):
            gone += [i] if i < there else []
        else:
            tables = _put_row(document, tables, part, i, there, texts)
            keep.append(i)
    for i in reversed(gone):
        del tables[i]
    if tables is not None and not len(tables):
        del document[part.table]
    return keep


def _filled(part: Part, prefix: str, texts: Texts) -> bool:
    return any(texts.get(f"{prefix}.{c.key}", "").strip() for c in part.cells if c.kind not in ("choice", "flag") or not c.usual)


def _put_row(document: Any, tables: Any, part: Part, i: int, there: int, texts: Texts) -> Any:
    if i < there:
        _fill(tables[i], part, i, f"{part.table}.{i}", texts)
        return tables
    row = tomlkit.inline_table() if isinstance(tables, Array) else tomlkit.table()
    _fill(row, part, i, f"{part.table}.{i}", texts)
    if tables is None:
        document[part.table] = tomlkit.aot()
        tables = document[part.table]
    assert isinstance(tables, AoT | Array)
    tables.append(row)
    return tables


def _fill(table: Any, part: Part, i: int, prefix: str, texts: Texts) -> None:
    """Put the texts of one table's fields into it; a field the form does not have, or whose text stands as it was, is left."""
    for cell in part.cells:
        text = texts.get(f"{prefix}.{cell.key}")
        if text is None and cell.kind != "id":
            continue
        text = " ".join((text or "").split()) if cell.kind != "points" else (text or "").strip()
        if not text and cell.kind == "id":
            text = short_name(texts.get(f"{prefix}.name", ""))
        if text == " ".join(_shown(table, cell).split()) or text == _shown(table, cell):
            continue
        try:
            _set(table, cell, VALUE.get(cell.kind, str)(text) if text else None)
        except BadInput as error:
            raise BadInput(f"{label_of(part, i, cell)}: {error}") from None


def _set(table: Any, cell: Cell, value: Any) -> None:
    if cell.kind == "arms":
        table.pop("arm", None)
        table.pop("arm_range", None)
        if value is not None:
            table["arm_range" if isinstance(value, list) else "arm"] = item(value)
        return
    *path, key = cell.key.split(".")
    for name in path:
        if name not in table:
            if value is None:
                return
            table[name] = tomlkit.inline_table()
        table = table[name]
    if value is None:
        table.pop(key, None)
    else:
        table[key] = item(value)


def item(value: Any) -> Any:
    """A plain value as TOML on one line: lists as arrays, tables within as inline tables."""
    if isinstance(value, dict):
        found: Any = tomlkit.inline_table()
        for key, inner in value.items():
            found[key] = item(inner)
        return found
    if isinstance(value, list):
        found = tomlkit.array()
        for inner in value:
            found.append(item(inner))
        return found
    return tomlkit.item(value)


# ---- refusals


def explained(words: str, parts: tuple[Part, ...], rows: dict[tuple[str, int], int] | None = None) -> tuple[str, str]:
    """(sentence, name of the field it is about): a refusal of the record's reader by the labels of a form; "": about none."""
    for part in parts:
        for i in range(MOST_ROWS if part.rows else 1):
            for cell in part.cells:
                if words.startswith(f"{label_of(part, i, cell)}: "):
                    return words, f"{part.table}.{i}.{cell.key}" if part.rows else f"{part.table}.{cell.key}"
    found = HERE.search(words) or LACKS.search(words)
    about = [p for p in parts if found and p.table == found["table"]]
    if found is None or not about:
        return words, ""
    part = about[0]
    at = int(found["row"]) - 1 if found["row"] else 0
    i = (rows or {}).get((part.table, at), at)
    wanted = found["key"].replace("arm_range", "arm").replace("readings", "arm" if part.table == "stations" else "readings")
    cell = next((c for c in part.cells if c.key == wanted or c.key.endswith(f".{wanted}")), part.cells[0])
    rest = "nothing is given; add it, or empty the others with it." if LACKS.search(words) else words[found.end():]
    name = f"{part.table}.{i}.{cell.key}" if part.rows else f"{part.table}.{cell.key}"
    return f"{label_of(part, i, cell)}: {rest}", name


def only(texts: Texts, topic: Topic) -> dict[str, str]:
    """The texts that belong to a topic's fields; what else was sent is left."""
    heads = tuple(f"{p.table}." for p in topic.parts)
    return {k: v for k, v in texts.items() if k.startswith(heads)}
