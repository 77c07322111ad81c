"""Text in, SI out, and one sentence for what is not a quantity."""

import pytest

from ownship.errors import UnitError
from ownship.units import from_si, parse, to_si

# NIST SP 811 (2008), appendix B: exact factors.
EXACT = [("1 ft", "length", 0.3048), ("1 nm", "length", 1852.0), ("1 lb", "mass", 0.45359237),
         ("1 kt", "speed", 1852 / 3600), ("1 usgal", "volume", 3.785411784e-3), ("32 F", "temperature", 273.15),
         ("100 C", "temperature", 373.15), ("1 inHg", "pressure", 3386.389), ("1 hp", "power", 745.69987158227),
         ("1 mph", "speed", 0.44704), ("1 ft2", "area", 0.09290304)]


@pytest.mark.parametrize(("text", "dimension", "si"), EXACT)
def test_factors_of_nist_sp_811(text, dimension, si):
    assert parse(text, dimension) == pytest.approx(si, rel=1e-9)


@pytest.mark.parametrize(("text", "dimension", "seconds"), [("4h20m", "time", 15600), ("9 h", "time", 32400),
                                                            ("30 min", "time", 1800), ("1h05", "time", 3900)])
def test_clock_texts(text, dimension, seconds):
    assert parse(text, dimension) == seconds


@pytest.mark.parametrize(("text", "dimension"), [
    ("105", "speed"), ("105 lb", "speed"), ("nan kt", "speed"), ("inf kt", "speed"), ("1e999 kt", "speed"), ("", "speed"),
    ("kt", "speed"), ("1,400 lb", "mass"), (105, "speed"), (True, "speed"), (None, "speed"), ("70F", "charge"),
    ("5 5 kt", "speed")])
def test_what_is_no_quantity_is_refused_in_one_sentence(text, dimension):
    with pytest.raises(UnitError) as error:
        parse(text, dimension, "wind")
    assert str(error.value).startswith("wind:")
    assert str(error.value).endswith(".") and "\n" not in str(error.value)


def test_seventy_f_is_a_temperature():
    assert from_si(parse("70F", "temperature"), "C", "temperature") == pytest.approx(21.111, abs=1e-3)


def test_to_si_refuses_an_unknown_token():
    with pytest.raises(UnitError):
        to_si(1.0, "furlong")
