"""Measurements as form fields, and form fields as a table of the measurements file.

A field is named by its place: `level_run.rpm`, `level_run.legs.0.track`. A text is taken as typed, with its unit; the reader of the
file judges it, and its refusals are told by the labels of the form. An empty field is left out: not known, never nought.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from ownship.errors import BadInput
from ownship.web.airframe_forms import Block, Field, Row
from ownship.web.airframe_topics import Cell, Part

Texts = Mapping[str, str]
MOST_ROWS = 40
HERE = re.compile(r"(?:\[(?P<path>[a-z_0-9.]+)\] )?(?P<key>[a-z_0-9]+): (?P<rest>.+)", re.S)
LACKS = re.compile(r"(?:\[(?P<path>[a-z_0-9.]+)\] )?lacks '(?P<key>[a-z_0-9]+)'")


@dataclass(frozen=True)
class Rows:
    """Tables within a table, as legs of a run: `key` names them; least: how many are shown; names: (id, words) where each row is of
    something known, `named` the key that holds the id."""

    key: str
    title: str
    one: str
    cells: tuple[Cell, ...]
    least: int = 1
    note: str = ""
    names: tuple[tuple[str, str], ...] = ()
    named: str = ""


@dataclass(frozen=True)
class Kind:
    """One kind of thing to type in: plain fields in parts, then rows."""

    name: str
    title: str
    parts: tuple[Part, ...]
    rows: tuple[Rows, ...] = ()
    aim: str = ""


# ---- to fields


def blocks(kind: Kind, texts: Texts, wrong: str = "") -> tuple[Block, ...]:
    """The fields of a kind with what they hold."""
    plain = [Block(p, (_plain(kind, p, texts, wrong),)) for p in kind.parts]
    rows = [Block(Part(kind.name, r.title, r.cells, r.note),
                  tuple(_row(kind, r, i, texts, wrong) for i in range(_shown(kind, r, texts)))) for r in kind.rows]
    return (*plain[:1], *rows, *plain[1:])


def _plain(kind: Kind, part: Part, texts: Texts, wrong: str) -> Row:
    return Row("", tuple(_field(f"{kind.name}.{c.key}", c.label, c, texts, wrong) for c in part.cells))


def _field(name: str, label: str, cell: Cell, texts: Texts, wrong: str) -> Field:
    return Field(name, label, texts.get(name, ""), cell, name == wrong)


def _row(kind: Kind, rows: Rows, i: int, texts: Texts, wrong: str) -> Row:
    head = rows.names[i][1] if rows.names else f"{rows.one} {i + 1}"
    start = f"{kind.name}.{rows.key}.{i}"
    return Row(head, tuple(_field(f"{start}.{c.key}", label_of(rows, i, c), c, texts, wrong) for c in rows.cells))


def label_of(rows: Rows, i: int, cell: Cell) -> str:
    """The label of a field in a row: "Leg 2: track"."""
    return f"{rows.names[i][1] if rows.names else f'{rows.one} {i + 1}'}: {cell.label[:1].lower()}{cell.label[1:]}"


def _shown(kind: Kind, rows: Rows, texts: Texts) -> int:
    """How many rows a page shows: of named things each once, else those that are filled and one more."""
    return len(rows.names) if rows.names else min(max(_used(kind, rows, texts) + 1, rows.least), MOST_ROWS)


def _used(kind: Kind, rows: Rows, texts: Texts) -> int:
    pattern = re.compile(rf"{re.escape(kind.name)}\.{rows.key}\.(\d{{1,2}})\.")
    return max((int(m[1]) + 1 for name, text in texts.items() if text.strip() and (m := pattern.match(name))), default=0)


def texts_of(kind: Kind, table: Mapping[str, Any]) -> dict[str, str]:
    """A table's values as the texts of its form's fields."""
    return {f"{kind.name}.{key}": text for key, text in _flat(table)}


def _flat(value: Any, path: str = "") -> Iterable[tuple[str, str]]:
    inner = value.items() if isinstance(value, Mapping) else enumerate(value) if isinstance(value, list) else None
    if inner is None:
        yield path, str(value)
    else:
        for key, x in inner:
            yield from _flat(x, f"{path}.{key}" if path else str(key))


# ---- to a table


@dataclass(frozen=True)
class Typed:
    """What a form says: the table, and the form row of every (rows' key, row of the table)."""

    table: dict[str, Any]
    rows: dict[tuple[str, int], int]


def typed(kind: Kind, texts: Texts) -> Typed:
    """The table that a form's fields make; BadInput, by the field's label, for a text that is no value of its kind."""
    table: dict[str, Any] = {}
    for part in kind.parts:
        for cell in part.cells:
            _put(table, cell, cell.label, texts.get(f"{kind.name}.{cell.key}", ""))
    found: dict[tuple[str, int], int] = {}
    for rows in kind.rows:
        many: list[dict[str, Any]] = []
        for i in range(len(rows.names) or min(_used(kind, rows, texts), MOST_ROWS)):
            row: dict[str, Any] = {}
            for cell in rows.cells:
                _put(row, cell, label_of(rows, i, cell), texts.get(f"{kind.name}.{rows.key}.{i}.{cell.key}", ""))
            if row:
                found[rows.key, len(many)] = i
                many.append(({rows.named: rows.names[i][0]} if rows.names else {}) | row)
        if many:
            table[rows.key] = many
    return Typed(table, found)


def _put(table: dict[str, Any], cell: Cell, label: str, text: str) -> None:
    text = " ".join(text.split())
    if not text:
        return
    *path, key = cell.key.split(".")
    for name in path:
        table = table.setdefault(name, {})
    try:
        table[key] = VALUE.get(cell.kind, str)(text)
    except ValueError:
        raise BadInput(f"{label}: {text[:60]!r} is no {NO[cell.kind]}.") from None


VALUE: dict[str, Callable[[str], Any]] = {
    "date": date.fromisoformat, "flag": lambda text: text == "yes", "number": float,
    "words": lambda text: [w.strip() for w in text.split(",") if w.strip()],
    "pair": lambda text: [w.strip() for w in text.split(" to ")]}
NO = {"date": "date; write it as 2026-07-11", "number": "number; write one without a unit"}


# ---- refusals


def explained(words: str, kind: Kind, rows: Mapping[tuple[str, int], int], mine: int = 0) -> tuple[str, str]:
    """(sentence, name of the field it is about): a refusal of the reader by the labels of a form; "": about none of its fields.

    mine: the row, from 1, of what is typed among its kind in the file; a refusal about another row keeps its own words.
    """
    for name, label in _labels(kind):
        if words.startswith(f"{label}: "):
            return words, name
    lacks = LACKS.search(words)
    found = lacks or HERE.search(words)
    if found is None:
        return words, ""
    path = (found["path"] or "").split(".") if found["path"] else []
    if mine:
        if path[:2] != [kind.name, str(mine)]:
            return words, ""
        path = path[2:]
    rest = "nothing is given; fill it in." if lacks else found["rest"]
    return _told(kind, rows, path, found["key"], rest) or (words, "")


def _told(kind: Kind, rows: Mapping[tuple[str, int], int], path: list[str], key: str, rest: str) -> tuple[str, str] | None:
    if len(path) > 1 and path[1].isdigit():
        path = [path[0], str(rows.get((path[0], int(path[1]) - 1), int(path[1]) - 1)), *path[2:]]
    wanted = ".".join([kind.name, *path, key])
    labels = dict(_labels(kind))
    if wanted in labels:
        return f"{labels[wanted]}: {rest}", wanted
    group = next((r for r in kind.rows if r.key == key), None)
    if group is not None and group.cells:
        return f"{group.title}: {rest}", f"{kind.name}.{key}.0.{group.cells[0].key}"
    return None


def _labels(kind: Kind) -> Iterable[tuple[str, str]]:
    for part in kind.parts:
        for cell in part.cells:
            yield f"{kind.name}.{cell.key}", cell.label
    for rows in kind.rows:
        for i in range(len(rows.names) or MOST_ROWS):
            for cell in rows.cells:
                yield f"{kind.name}.{rows.key}.{i}.{cell.key}", label_of(rows, i, cell)
