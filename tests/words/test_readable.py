"""Hidden characters are refused wherever text comes in, each in a sentence that can be shown."""

from dataclasses import dataclass

import pytest

from ownship.errors import BadInput
from ownship.schema import read_toml
from ownship.words.readable import refuse_hidden, refuse_hidden_within

# By name in the Unicode character database: C0 and C1 controls, delete, and the controls of bidirectional text (UAX 9).
CONTROLS = [*(chr(c) for c in (*range(32), *range(127, 160)) if c not in (9, 10, 13)),
            *"\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"]


@pytest.mark.parametrize("hidden", CONTROLS)
def test_every_control_and_every_turn_of_direction_is_refused_by_field(hidden):
    with pytest.raises(BadInput, match=rf"^remarks: .*U\+{ord(hidden):04X}") as refusal:
        refuse_hidden("a long text before it, " * 9 + hidden + "b", "remarks")
    assert str(refusal.value).isascii() and str(refusal.value).isprintable()


def test_line_ends_and_tabs_are_text_and_a_carriage_return_alone_is_not():
    for text in ("", "one\ntwo", "one\r\ntwo", "a\tb", "\u05e9\u05dc Å \U0001f6e9"):
        refuse_hidden(text, "remarks")
    with pytest.raises(BadInput, match="CARRIAGE RETURN ALONE"):
        refuse_hidden("seen\rhidden", "remarks")


@dataclass(frozen=True)
class Inner:
    name: str
    parts: tuple[str, ...] = ()


@pytest.mark.parametrize(("value", "said"), [
    (Inner("\x1b"), "^x name: "), (Inner("a", ("b", "\x1b")), "^x parts: "), ({"a": {"b": ["\x1b"]}}, "^x.a.b: "),
    ({"\x1b": 1}, "^x, a name: ")])
def test_a_text_within_a_value_is_named_by_its_path(value, said):
    with pytest.raises(BadInput, match=said):
        refuse_hidden_within(value, "x")


@pytest.mark.parametrize(("text", "said"), [
    ('[identity]\nregistration = "N0160T\\u001b[2J"', "^A.toml.identity.registration: .*ESC"),
    ('a = ["x", "y\u202e"]', "^A.toml.a: .*RIGHT-TO-LEFT OVERRIDE"), ('"b\\u200f" = 1', "^A.toml, a name: "),
    ('[[loads]]\nwho = "\\u0007"', "^A.toml.loads.who: .*BEL")])
def test_toml_with_a_hidden_character_is_refused_by_key(text, said):
    with pytest.raises(BadInput, match=said):
        read_toml(text, "A.toml")
