"""The electrical load table; its rules of thumb are named beside it, the arithmetic is here by hand."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.aeroplane.description import Electrical
from ownship.errors import BadInput
from ownship.ownership.electrical import load_table
from ownship.units import to_si

LOADS = (("radios", 6.0), ("instruments", 4.0), ("landing light", 8.0), ("lights", 5.0))
PANEL = Electrical(60.0, float(to_si(25.0, "Ah")), LOADS, "placard")


def test_steady_load_everything_on_and_time_on_the_battery():
    table = load_table(PANEL, momentary=["Landing light"], kept=["radios"])
    assert (table.steady_a, table.all_a, table.allowed_a, table.kept_a) == (15.0, 23.0, 48.0, 6.0)
    assert table.battery_s == pytest.approx(to_si(25 * 0.7 / 6, "h"))
    assert (table.steady, table.all_on) == ("within limits", "within limits")
    assert any("from memory" in w for w in table.words)


def test_everything_steady_stays_on_unless_said():
    assert load_table(PANEL).kept_a == 23.0
    assert load_table(PANEL, momentary=["landing light"]).kept_a == 15.0


@pytest.mark.parametrize(("amps", "steady", "every"), [(48.0, "within limits", "within limits"), (48.1, "outside limits", "within limits"),
                                                       (60.1, "outside limits", "outside limits")])
def test_the_limits(amps, steady, every):
    table = load_table(Electrical(60.0, 90000.0, (("heater", amps),)))
    assert (table.steady, table.all_on) == (steady, every)


def test_no_load_listed_is_not_known_and_nothing_kept_on_neither():
    empty = load_table(Electrical(60.0, 90000.0))
    assert (empty.steady, empty.all_on, empty.battery_s) == ("not known", "not known", None)
    assert "not known" in empty.words[0]
    assert load_table(PANEL, kept=[]).battery_s is None


def test_what_is_not_in_the_record_is_one_sentence():
    with pytest.raises(BadInput, match="pump"):
        load_table(PANEL, momentary=["pump"])
    with pytest.raises(BadInput, match="electrical"):
        load_table(None)


@settings(max_examples=60, derandomize=True)
@given(st.lists(st.floats(0.1, 40), min_size=1, max_size=6), st.floats(0.1, 20))
def test_another_load_never_helps(amps, more):
    loads = tuple((f"load {i}", a) for i, a in enumerate(amps))
    one, other = load_table(Electrical(60.0, 90000.0, loads)), load_table(Electrical(60.0, 90000.0, (*loads, ("more", more))))
    assert other.battery_s < one.battery_s
    assert (one.steady, other.steady) != ("outside limits", "within limits")
