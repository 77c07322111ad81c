"""One field of a form, as the forms of the record lay it out."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Cell:
    """A field of a form: name, label, example, whether it takes a whole line, its choices, "tick" for a box."""

    name: str
    label: str
    hint: str = ""
    wide: bool = False
    choices: tuple[tuple[str, str], ...] = ()
    kind: str = "text"
