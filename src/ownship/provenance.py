"""Data files of the package: loads them and refuses a number without unit and source.

A datum in a data file is a table of at least `value` (a quantity with its unit, a bare number with
unit = "1", or a text), `source` and, where it is not read in the published text, `status`:
"read", "read second-hand", "from memory", "common practice, no source" or "invented".
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from importlib import resources
from typing import Any

from ownship.errors import MissingSource
from ownship.schema import Table, read_toml

STATUSES = ("read", "read second-hand", "from memory", "common practice, no source", "invented", "computed")


@dataclass(frozen=True)
class Source:
    """Where a number comes from, how it was read, and from when it is."""

    text: str
    status: str = "read"
    date: str = ""

    def words(self) -> str:
        """One line: the source, its date and, when it was not read in the text itself, how it was known."""
        parts = [self.text, self.date, "" if self.status == "read" else self.status]
        return ", ".join(p for p in parts if p)


@dataclass(frozen=True)
class Datum:
    """A number with its birth certificate: value in SI, dimension, valid range (SI) and source."""

    value: float
    dimension: str
    source: Source
    low: float | None = None
    high: float | None = None


def package_text(*parts: str) -> str:
    """Text of a file below ownship/data."""
    return resources.files("ownship").joinpath("data", *parts).read_text(encoding="utf-8")


def package_toml(*parts: str) -> Table:
    """A TOML file below ownship/data, ready to read strictly."""
    return read_toml(package_text(*parts), "/".join(parts))


def source_of(table: Table) -> Source:
    """Take source, status and date from a table; MissingSource when there is no source."""
    text = table.text("source", "")
    if not text:
        raise MissingSource(f"{table.where()}: a number without a source does not load; add source.")
    return Source(text, table.choice("status", STATUSES, "read"), str(table.take("date", "")))


def datum(table: Table, dimension: str) -> Datum:
    """Take one datum {value, source[, status, date, low, high]} from a table and check nothing is left."""
    value: Any = table.quantity("value", dimension)
    low, high = table.quantity("low", dimension, None), table.quantity("high", dimension, None)
    found = Datum(value, dimension, source_of(table), low, high)
    table.done()
    return found


def digest(*parts: str | bytes) -> str:
    """Hash that names a set of inputs (for caches): sha256, first 16 hex digits."""
    h = hashlib.sha256()
    for part in parts:
        h.update(part.encode() if isinstance(part, str) else part)
        h.update(b"\0")
    return h.hexdigest()[:16]
