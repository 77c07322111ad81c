"""Bodies of entries as plain JSON and back, by their type hints: strict, and exact to the last digit.

Dates and moments are ISO text (moments UTC, six decimals, Z), decimals text, tuples lists, None null. A key nobody knows, a
value of another type, nan, inf and a moment without a zone are refused in a sentence. A key that is missing takes the
field's default, so that fields can be added.
"""

from __future__ import annotations

import json
import math
import re
import types
from collections.abc import Callable
from contextlib import suppress
from dataclasses import MISSING, dataclass, fields
from datetime import UTC, date, datetime
from decimal import Decimal, InvalidOperation
from typing import Any, Union, get_args, get_origin, get_type_hints

from ownship.errors import BadInput
from ownship.ownership.entries import BODIES, Body

MOMENT = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{6}Z")
LARGEST_INTEGER = 2**63 - 1
LARGEST_BODY = 5_000_000  # characters of JSON: an airframe record with its rows has some 100,000
KINDS: dict[str, type[Body]] = {body.KIND: body for body in BODIES}


@dataclass(frozen=True)
class Codec:
    """The two ways of one type: value to plain JSON value, and back; as_text: its plain form is always text, or null."""

    write: Callable[[Any], Any]
    read: Callable[[Any], Any]
    as_text: bool = False


def body_text(body: Body) -> str:
    """A body as the JSON text that the record keeps; BadInput where a field has a value that its type does not allow."""
    if type(body) not in BODIES:
        raise BadInput(f"{type(body).__name__} is no kind of entry; allowed are {', '.join(KINDS)}.")
    text = json.dumps(codec_of(type(body)).write(body), ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    if len(text) > LARGEST_BODY:
        raise BadInput(f"{body.KIND}: the entry has {len(text):,} characters and {LARGEST_BODY:,} are allowed; shorten its texts.")
    return text


def read_body(kind: str, text: str) -> Body:
    """The body of a kind from its JSON text; BadInput for an unknown kind, unknown keys and wrong types."""
    try:
        plain = json.loads(text)
    except ValueError:
        raise BadInput(f"{kind}: {text[:40]!r} is no JSON; the entry is damaged, restore a backup.") from None
    return plain_body(kind, plain)


def plain_body(kind: str, plain: Any) -> Body:
    """The body of a kind from plain JSON values."""
    if kind not in KINDS:
        raise BadInput(f"{kind!r} is no kind of entry; allowed are {', '.join(KINDS)}. A newer program may have written it.")
    return codec_of(KINDS[kind]).read(plain)


def moment_text(moment: datetime, where: str = "moment") -> str:
    """An aware moment as UTC text of fixed width, which sorts by time: 2026-07-11T15:00:00.000000Z."""
    if not isinstance(moment, datetime) or moment.utcoffset() is None:
        raise BadInput(f"{where}: {moment!r} is no moment with a zone; give date, time and zone.")
    try:
        return moment.astimezone(UTC).replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"
    except OverflowError:
        raise BadInput(f"{where}: {moment} is not within the years 1 to 9999 in UTC.") from None


def read_moment(text: Any, where: str = "moment") -> datetime:
    """The moment of such a text."""
    if isinstance(text, str) and MOMENT.fullmatch(text):
        with suppress(ValueError):
            return datetime.fromisoformat(text)
    raise _wrong(where, text, "a moment as 2026-07-11T15:00:00.000000Z")


def codec_of(kind: type) -> Codec:
    """The codec of a frozen dataclass."""
    if kind not in _CODECS:
        _CODECS[kind] = _nested(kind, _name(kind))
    return _CODECS[kind]


def field_codecs(kind: type) -> dict[str, Codec]:
    """The codec of each field of a dataclass, by name."""
    hints = get_type_hints(kind)
    return {f.name: _codec(hints[f.name], f"{_name(kind)}.{f.name}") for f in fields(kind)}


def _name(kind: type) -> str:
    return getattr(kind, "KIND", "") or kind.__name__


_CODECS: dict[type, Codec] = {}


def _nested(kind: Any, where: str) -> Codec:
    codecs = field_codecs(kind)
    needed = {f.name for f in fields(kind) if f.default is MISSING and f.default_factory is MISSING}

    known = _defaults(kind, codecs)

    def write(value: Any) -> dict[str, Any]:
        if type(value) is not kind:
            raise _wrong(where, value, kind.__name__)
        return {name: codec.write(getattr(value, name)) for name, codec in codecs.items()}

    def read(plain: Any) -> Any:
        if not isinstance(plain, dict):
            raise _wrong(where, plain, "a table of fields")
        if not plain.keys() <= codecs.keys():
            unknown = ", ".join(repr(k) for k in sorted(plain.keys() - codecs.keys()))
            raise BadInput(f"{where}: nobody reads {unknown}; a newer program may have written it: use that one.")
        if not needed <= plain.keys():
            raise BadInput(f"{where}: {', '.join(sorted(needed - plain.keys()))} is missing; the entry is not whole.")
        return kind(**{name: known[name][1] if name in known and _same(value, known[name][0]) else codecs[name].read(value)
                       for name, value in plain.items()})

    return Codec(write, read)


def _defaults(kind: Any, codecs: dict[str, Codec]) -> dict[str, tuple[Any, Any]]:
    """(plain, value) of each field's default, so that most fields of a flight need no reading; no numbers: -0.0 equals 0.0."""
    values = {f.name: f.default for f in fields(kind) if f.default is not MISSING and not isinstance(f.default, float)}
    return {name: (codecs[name].write(value), value) for name, value in values.items()}


def _same(plain: Any, default: Any) -> bool:
    return plain == default and type(plain) is type(default)


def _codec(hint: Any, where: str) -> Codec:
    if get_origin(hint) in (Union, types.UnionType):
        (inner,) = (a for a in get_args(hint) if a is not type(None))
        return _optional(_codec(inner, where))
    if get_origin(hint) is tuple:
        return _tuple(get_args(hint), where)
    if hint in _SIMPLE:
        return _SIMPLE[hint](where)
    return _nested(hint, where)


def _optional(inner: Codec) -> Codec:
    return Codec(lambda v: None if v is None else inner.write(v), lambda p: None if p is None else inner.read(p), inner.as_text)


def _tuple(hints: tuple[Any, ...], where: str) -> Codec:
    """A tuple of any length of one type, or of fixed types."""
    any_length = len(hints) == 2 and hints[1] is Ellipsis
    inner = [_codec(h, where) for h in (hints[:1] if any_length else hints)]

    def each(values: Any, of: type) -> list[Codec]:
        if not isinstance(values, of) or not (any_length or len(values) == len(inner)):  # type: ignore[arg-type]
            raise _wrong(where, values, "a list" if any_length else f"a list of {len(inner)}")
        return inner * len(values) if any_length else inner  # type: ignore[arg-type]

    return Codec(lambda v: [c.write(x) for c, x in zip(each(v, tuple), v, strict=True)],
                 lambda p: tuple(c.read(x) for c, x in zip(each(p, list), p, strict=True)))


def _wrong(where: str, value: Any, wanted: str) -> BadInput:
    return BadInput(f"{where}: {str(value)[:60]!r} is not {wanted}; correct it and try again.")


def _text(where: str) -> Codec:
    def check(value: Any) -> str:
        if not isinstance(value, str):
            raise _wrong(where, value, "text")
        if not value.isascii():
            refuse_broken(value, where)
        return str(value)

    return Codec(check, check, True)


def refuse_broken(value: str, where: str) -> None:
    """Refuse text that no encoding can keep (halves of characters, from a file read in the wrong encoding)."""
    try:
        value.encode("utf-8")
    except UnicodeEncodeError:
        raise BadInput(f"{where}: {value[:40]!a} holds a broken character; save the text as UTF-8 and try again.") from None


def _flag(where: str) -> Codec:
    def check(value: Any) -> bool:
        if not isinstance(value, bool):
            raise _wrong(where, value, "true or false")
        return value

    return Codec(check, check)


def _integer(where: str) -> Codec:
    def check(value: Any) -> int:
        if not isinstance(value, int) or isinstance(value, bool) or abs(value) > LARGEST_INTEGER:
            raise _wrong(where, value, "a whole number")
        return int(value)

    return Codec(check, check)


def _number(where: str) -> Codec:
    def check(value: Any) -> float:
        if isinstance(value, float) and math.isfinite(value):
            return float(value)
        if not isinstance(value, int) or isinstance(value, bool) or abs(value) > LARGEST_INTEGER:
            raise _wrong(where, value, "a number")
        return float(value)

    return Codec(check, check)


def _day(where: str) -> Codec:
    def write(value: Any) -> str:
        if not isinstance(value, date) or isinstance(value, datetime):
            raise _wrong(where, value, "a date")
        return value.isoformat()

    def read(plain: Any) -> date:
        try:
            found = date.fromisoformat(plain)
            if found.isoformat() == plain:
                return found
        except (TypeError, ValueError):
            pass
        raise _wrong(where, plain, "a date as 2026-07-11")

    return Codec(write, read, True)


def _decimal(where: str) -> Codec:
    def write(value: Any) -> str:
        if not isinstance(value, Decimal) or not value.is_finite():
            raise _wrong(where, value, "a decimal number")
        return str(value)

    def read(plain: Any) -> Decimal:
        try:
            if isinstance(plain, str) and (found := Decimal(plain)).is_finite():
                return found
        except InvalidOperation:
            pass
        raise _wrong(where, plain, "a decimal number as text")

    return Codec(write, read, True)


_SIMPLE: dict[Any, Callable[[str], Codec]] = {
    str: _text, bool: _flag, int: _integer, float: _number, date: _day, Decimal: _decimal,
    datetime: lambda where: Codec(lambda v: moment_text(v, where), lambda p: read_moment(p, where), True)}
