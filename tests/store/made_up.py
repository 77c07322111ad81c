"""Bodies of every kind for hypothesis, made from the type hints of the entries; and flights as they come."""

import types
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from typing import Union, get_args, get_origin, get_type_hints

from hypothesis import strategies as st

from ownship.ownership.entries import BODIES, Flight, Money, TankContents

HIDDEN = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"  # they turn the direction of writing
SEEN = st.characters(exclude_categories=["Cs", "Cc"], exclude_characters=HIDDEN)
ODD = ["", " ", '"', ",", "a\nb", "a\r\nb", "a\tb", "=1+1", "null", "0", "KBOI", "Å \U0001f6e9", "\ufeff"]
TEXT = st.text(SEEN, max_size=30) | st.sampled_from(ODD)  # what the record takes in
ANY_TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=30) | st.sampled_from([*ODD, "a\rb", "\0", "\x1b[2J"])
ZONES = st.integers(-14 * 60, 14 * 60).map(lambda m: timezone(timedelta(minutes=m)))
SIMPLE = {
    str: TEXT, bool: st.booleans(), int: st.integers(-2**63 + 1, 2**63 - 1), float: st.floats(allow_nan=False, allow_infinity=False),
    date: st.dates(), datetime: st.datetimes(datetime(2, 1, 1), datetime(9998, 12, 31), timezones=ZONES),
    Decimal: st.decimals(allow_nan=False, allow_infinity=False)}


def of_hint(hint):
    """A strategy for a type hint of entries.py; a hint of a new sort fails here, and the codec must learn it."""
    if get_origin(hint) in (Union, types.UnionType):
        return st.none() | st.one_of(*(of_hint(a) for a in get_args(hint) if a is not type(None)))
    if get_origin(hint) is tuple:
        args = get_args(hint)
        if args[-1] is Ellipsis:
            return st.lists(of_hint(args[0]), max_size=3).map(tuple)
        return st.tuples(*(of_hint(a) for a in args))
    return of_class(hint) if is_dataclass(hint) else SIMPLE[hint]


def of_class(kind):
    """Values of a frozen dataclass, every field made."""
    hints = get_type_hints(kind)
    if kind is Money:
        return st.builds(Money, SIMPLE[Decimal], st.sampled_from(["USD", "CAD", "EUR"]))
    return st.builds(kind, **{f.name: of_hint(hints[f.name]) for f in fields(kind)})


ANY_BODY = st.sampled_from(BODIES).flatmap(of_class)


def flight(i=0, **changes):
    """The i-th flight: nine hours after the one before, 70 min blocks, 57 min in the air, one landing by day."""
    off = datetime(2016, 2, 28, 15, tzinfo=UTC) + timedelta(hours=9 * i)
    told = {"take_off": off + timedelta(minutes=8), "landing": off + timedelta(minutes=65), "landings_day": 1, "pilot": "pilot",
            "fuel_before": (TankContents("left", 0.0625, "full"), TankContents("right", 0.05, "dipstick"))}
    return Flight(off, off + timedelta(minutes=70), "KBOI", "KU79", **(told | changes))


def money(amount, currency="USD"):
    """An amount."""
    return Money(Decimal(amount), currency)
