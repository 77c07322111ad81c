"""Strict reading of TOML: every key named, every quantity with its unit, every refusal with its line.

A `Table` wraps one TOML table together with where it stands in the file. Each getter takes one key
away; `done()` refuses what is left by name and line. Nothing is opened here: text comes in.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Callable, Sequence
from typing import Any, TypeVar

from ownship.errors import BadInput, MissingKey, UnitError, UnknownKey, UnreadableFile
from ownship.units import from_si, parse
from ownship.words.readable import refuse_hidden_within

T = TypeVar("T")
NONE_PUBLISHED = "none published"
_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""^\s*((?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*'))*)\s*=""")


def read_toml(text: str, name: str) -> Table:
    """The root table of a TOML text called `name`; a text that does not parse, or hides a character, is one sentence."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UnreadableFile(f"{name} is not readable TOML: {error}.") from None
    except ValueError:  # Python's limit on the digits of a whole number
        raise UnreadableFile(f"{name} holds a number of thousands of digits, which is not believable; correct it.") from None
    except RecursionError:
        raise UnreadableFile(f"{name} has brackets nested in brackets too deep to be read; correct it.") from None
    if not data:
        raise UnreadableFile(f"{name} is empty; it should hold a TOML record.")
    refuse_hidden_within(data, name)
    return Table(data, name, (), _lines(text))


def _split(dotted: str) -> list[str]:
    return [part.strip().strip("\"'") for part in re.findall(r'"[^"]*"|\'[^\']*\'|[^.\s]+', dotted)]


def _lines(text: str) -> dict[tuple[str | int, ...], int]:
    """Line number of every table header and every key that begins a line."""
    found: dict[tuple[str | int, ...], int] = {}
    counts: dict[tuple[str | int, ...], int] = {}
    base: tuple[str | int, ...] = ()
    depth = 0
    for number, line in enumerate(text.splitlines(), 1):
        if depth == 0 and (header := _HEADER.match(line)):
            base = ()
            parts = _split(header[2])
            for i, part in enumerate(parts):
                base = (*base, part)
                if header[1] == "[[" and i == len(parts) - 1:
                    counts[base] = counts.get(base, -1) + 1
                if base in counts:
                    base = (*base, counts[base])
                found.setdefault(base, number)
        elif depth == 0 and (key := _KEY.match(line)):
            found.setdefault((*base, *_split(key[1])), number)
        bare = re.sub(r'"(?:\\.|[^"\\])*"|\'[^\']*\'', "", line).split("#")[0]
        depth = max(0, depth + bare.count("[") + bare.count("{") - bare.count("]") - bare.count("}"))
        if depth < 0 or _HEADER.match(line):
            depth = 0
    return found


class Table:
    """One TOML table being read: getters take keys away, `done()` refuses the rest."""

    def __init__(self, data: dict[str, Any], name: str, path: tuple[str | int, ...] = (),
                 lines: dict[tuple[str | int, ...], int] | None = None) -> None:
        """`name` is the file's name as the pilot knows it; `path` is where this table stands in it."""
        self.data, self.name, self.path = dict(data), name, path
        self._lines = lines or {}

    # -- where -----------------------------------------------------------------
    def where(self, key: str = "") -> str:
        """Text that names file, line and field: "FLIGHT.toml line 12, [fuel.left] add"."""
        path = (*self.path, key) if key else self.path
        line = None
        for length in range(len(path), 0, -1):
            line = self._lines.get(path[:length])
            if line:
                break
        table = ".".join(str(p + 1) if isinstance(p, int) else p for p in self.path)
        field = f"[{table}] {key}".strip() if table else key
        return ", ".join(p for p in (f"{self.name} line {line}" if line else self.name, field) if p)

    def bad(self, key: str, sentence: str) -> BadInput:
        """A BadInput that begins with the place of `key`."""
        return BadInput(f"{self.where(key)}: {sentence}")

    # -- taking keys -------------------------------------------------------------
    def has(self, key: str) -> bool:
        """Whether the key is there and not yet taken."""
        return key in self.data

    def keys(self) -> list[str]:
        """Keys not yet taken."""
        return list(self.data)

    def take(self, key: str, default: Any = ...) -> Any:
        """The raw value of a key; MissingKey when it is absent and no default is given."""
        if key in self.data:
            return self.data.pop(key)
        if default is ...:
            raise MissingKey(f"{self.where()} lacks {key!r}; add it.")
        return default

    def text(self, key: str, default: Any = ...) -> Any:
        """A text value (not empty)."""
        present = key in self.data
        value = self.take(key, default)
        if present and (not isinstance(value, str) or not value.strip()):
            raise self.bad(key, f"{value!r} should be a text in quotes.")
        return value.strip() if isinstance(value, str) else value

    def flag(self, key: str, default: Any = ...) -> Any:
        """true or false."""
        present = key in self.data
        value = self.take(key, default)
        if present and not isinstance(value, bool):
            raise self.bad(key, f"{value!r} should be true or false.")
        return value

    def integer(self, key: str, default: Any = ..., low: int = -10**9, high: int = 10**9) -> Any:
        """A whole number within low to high."""
        present = key in self.data
        value = self.take(key, default)
        if present and (isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high):
            raise self.bad(key, f"{value!r} should be a whole number from {low} to {high}.")
        return value

    def number(self, key: str, default: Any = ..., low: float = -math.inf, high: float = math.inf) -> Any:
        """A bare number within low to high (for things without a unit)."""
        present = key in self.data
        value = self.take(key, default)
        if not present:
            return value
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            raise self.bad(key, f"{value!r} should be a number from {low:g} to {high:g}.")
        return float(value)

    def choice(self, key: str, allowed: Sequence[str], default: Any = ...) -> Any:
        """One of a few words."""
        present = key in self.data
        value = self.take(key, default)
        if present and value not in allowed:
            raise self.bad(key, f"{value!r} is not one of: {', '.join(allowed)}.")
        return value

    def quantity(self, key: str, dimension: str, default: Any = ..., low: str | None = None,
                 high: str | None = None) -> Any:
        """A quantity with its unit, in SI; `low` and `high` (texts with units) bound what is believable."""
        present = key in self.data
        value = self.take(key, default)
        return self._quantity(value, key, dimension, low, high) if present else value

    def limit(self, key: str, dimension: str, low: str | None = None, high: str | None = None) -> Any:
        """A limit: SI number, the text "none published", or None when the key is missing (not known)."""
        if self.data.get(key) == NONE_PUBLISHED:
            return self.take(key)
        return self.quantity(key, dimension, None, low, high)

    def quantities(self, key: str, dimension: str, default: Any = ..., length: int | None = None,
                   low: str | None = None, high: str | None = None) -> Any:
        """A list of quantities of one kind as a tuple of SI numbers."""
        present = key in self.data
        value = self.take(key, default)
        if not present:
            return value
        if not isinstance(value, list) or (length is not None and len(value) != length):
            raise self.bad(key, f"{value!r} should be a list of {length or 'some'} quantities.")
        return tuple(self._quantity(v, key, dimension, low, high) for v in value)

    def pairs(self, key: str, first: str, second: str, default: Any = ...) -> Any:
        """A list of pairs of quantities: [["0 ft", "76 kt"], ...] as a tuple of SI pairs."""
        present = key in self.data
        value = self.take(key, default)
        if not present:
            return value
        if not isinstance(value, list) or not all(isinstance(v, list) and len(v) == 2 for v in value):
            raise self.bad(key, f"{value!r} should be a list of pairs.")
        return tuple((self._quantity(a, key, first, None, None), self._quantity(b, key, second, None, None))
                     for a, b in value)

    def texts(self, key: str, default: Any = ...) -> Any:
        """A list of texts as a tuple."""
        present = key in self.data
        value = self.take(key, default)
        if not present:
            return value
        if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
            raise self.bad(key, f"{value!r} should be a list of texts.")
        return tuple(value)

    def table(self, key: str, needed: bool = False) -> Table | None:
        """A sub-table, or None when absent (MissingKey when needed)."""
        value = self.take(key, ... if needed else None)
        if value is None:
            return None
        if not isinstance(value, dict):
            raise self.bad(key, f"{value!r} should be a table.")
        return Table(value, self.name, (*self.path, key), self._lines)

    def tables(self, key: str) -> list[Table]:
        """An array of tables (empty when absent)."""
        value = self.take(key, [])
        if not isinstance(value, list) or not all(isinstance(v, dict) for v in value):
            raise self.bad(key, f"should be a list of tables, [[{key}]].")
        return [Table(v, self.name, (*self.path, key, i), self._lines) for i, v in enumerate(value)]

    def done(self) -> None:
        """Refuse, by name and line, whatever nobody took."""
        if self.data:
            key = next(iter(self.data))
            raise UnknownKey(f"{self.where(key)}: unknown key {key!r}; correct its spelling or remove it.")

    def convert_value(self, key: str, value: object, dimension: str) -> float:
        """A quantity that was already taken (or stands in a list), refused at the place of `key`."""
        return self._quantity(value, key, dimension, None, None)

    def convert(self, key: str, function: Callable[[Any], T], default: Any = ...) -> T | Any:
        """Any other reading: `function` raises BadInput or ValueError with the rest of the sentence."""
        present = key in self.data
        value = self.take(key, default)
        if not present:
            return value
        try:
            return function(value)
        except (BadInput, ValueError, TypeError) as error:
            raise self.bad(key, str(error)) from None

    def _quantity(self, value: object, key: str, dimension: str, low: str | None, high: str | None) -> float:
        try:
            number = parse(value, dimension, key)
        except UnitError as error:
            raise UnitError(f"{self.where()} {error}" if not self.where(key) else
                            f"{self.where(key)}: {str(error).removeprefix(key + ': ')}") from None
        for bound, sign in ((low, 1), (high, -1)):
            if bound is not None and sign * (number - parse(bound, dimension)) < 0:
                raise self.bad(key, f"{value!r} is not believable; allowed is {low} to {high}.")
        return number


def show(value_si: float, unit: str, dimension: str | None = None) -> str:
    """A short text of an SI number in a unit, for the middle of a refusal: "1,089 lb"."""
    return f"{from_si(value_si, unit, dimension):,.6g} {unit}"
