"""TOML is read strictly: each refusal names file, line and field."""

import pytest

from ownship.errors import BadInput, MissingKey, UnitError, UnknownKey, UnreadableFile
from ownship.schema import read_toml

TEXT = """schema = 1
[weights]
take_off_max = "2350 lb"
landing_max = "none published"
[[stations]]
id = "front"
[[stations]]
id = "rear"
arm = "5 kt"
[fuel.left]
add = 3
"""


def root():
    return read_toml(TEXT, "A.toml")


def test_unknown_key_is_named_with_file_and_line():
    table = root()
    table.integer("schema")
    table.table("weights")
    table.tables("stations")
    with pytest.raises(UnknownKey, match=r"A\.toml line 10.*unknown key 'fuel'"):
        table.done()


def test_wrong_kind_of_unit_names_the_second_station_and_its_line():
    with pytest.raises(UnitError, match=r"A\.toml line 9, \[stations\.2\] arm: '5 kt' is not a length"):
        root().tables("stations")[1].quantity("arm", "length")


def test_number_without_unit_is_refused():
    with pytest.raises(UnitError, match=r"line 11, \[fuel\.left\] add: 3 has no unit"):
        root().table("fuel").table("left").quantity("add", "volume")


def test_three_kinds_of_limit():
    weights = root().table("weights")
    assert weights.limit("landing_max", "mass") == "none published"
    assert weights.limit("ramp_max", "mass") is None
    assert weights.limit("take_off_max", "mass") == pytest.approx(1065.9, abs=0.1)


def test_absurd_quantity_is_refused_with_the_allowed_range():
    with pytest.raises(BadInput, match=r"line 3.*not believable; allowed is 0 lb to 1000 lb"):
        root().table("weights").quantity("take_off_max", "mass", low="0 lb", high="1000 lb")


def test_missing_key_is_named():
    with pytest.raises(MissingKey, match="lacks 'nose'"):
        root().text("nose")


@pytest.mark.parametrize("text", ["", "a = ", "\0", "[a", "a = " + "1" * 5000, "a = " + "[" * 3000, "a = " + "{a = " * 3000])
def test_no_toml_is_one_sentence(text):
    with pytest.raises(UnreadableFile) as error:
        read_toml(text, "x.toml")
    assert "\n" not in str(error.value)
