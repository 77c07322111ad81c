"""Text that shows what it says: no character that a screen or a reader obeys instead of showing it.

One place for every text taken in: commands, CSV, TOML, and whatever the record is to keep. Line ends and tabs are text.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any

from ownship.errors import BadInput

# Control characters (ESC among them, a carriage return alone too), and those that turn the direction of writing.
_HIDDEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]|\r(?!\n)")
_SHORT = {0x00: "NUL", 0x07: "BEL", 0x08: "BACKSPACE", 0x0D: "CARRIAGE RETURN ALONE", 0x1B: "ESC", 0x7F: "DELETE"}
SHOWN = 20  # characters on either side


def refuse_hidden(text: str, field: str) -> None:
    """BadInput, naming the field, where a text holds a control character or one that turns the direction of writing."""
    found = _HIDDEN.search(text)
    if found is not None:
        code, at = ord(found[0][0]), found.start()
        name = _SHORT.get(code) or unicodedata.name(found[0][0], "a control character")
        near = ascii(text[max(at - SHOWN, 0):at + SHOWN])
        raise BadInput(f"{field}: {near} holds a hidden character ({name}, U+{code:04X}), which is not shown but obeyed; type the "
                       "text anew without it.")


def refuse_hidden_within(value: Any, field: str) -> None:
    """The same for every text within a value: tables, lists and frozen dataclasses; the field named by its path."""
    for where, text in _texts(value, field):
        refuse_hidden(text, where)


def _texts(value: Any, where: str) -> Iterator[tuple[str, str]]:
    """(path, text) of every text; the names of a table are texts of the table."""
    if isinstance(value, str):
        yield where, value
    elif isinstance(value, Mapping):
        for key, inner in value.items():
            yield f"{where}, a name" if where else "a name", str(key)
            yield from _texts(inner, f"{where}.{key}" if where else str(key))
    elif isinstance(value, list | tuple):
        for inner in value:
            yield from _texts(inner, where)
    elif is_dataclass(value):
        for f in fields(value):
            yield from _texts(getattr(value, f.name), f"{where} {f.name}".strip())
