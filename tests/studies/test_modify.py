"""Modifications: signs and sizes of the published model and of common practice, pairing, combining, refusals."""

from datetime import date
from functools import cache

import numpy as np
import pytest

from ownship.errors import OwnshipError
from ownship.questions.calibrating import calibrations_of, record_of
from ownship.questions.studying import library, modification, modify, to_json
from ownship.schema import read_toml
from ownship.studies.altering import apply, on_record
from ownship.studies.comparison import claim, paired, study
from ownship.studies.modification import read_modification
from ownship.units import to_si

DAY = date(2026, 11, 25)
MPH = 1.15078


@cache
def aeroplane(name):
    path = "demo" if name == "demo" else "tests/published/handbook_b/aeroplane.toml"
    record, _, folder = record_of(path)
    return record, calibrations_of(record, folder).book


def made(text):
    return read_modification(read_toml(f'name = "m"\nparts = ["x"]\nsource = "test"\n{text}', "m.toml"))


@cache
def result(name, *mods):
    record, model = aeroplane(name)
    return study(record, model, tuple(modification(m) if m in library() else made(m) for m in mods), DAY)


def change(name, mod, group, key):
    return result(name, mod).figures[group][key].difference


BOTH = pytest.mark.parametrize("name", ["demo", "handbook b"])


@BOTH
def test_a_coarser_pitch_has_three_answers(name):
    """Performance model section 7: TAS at equal rpm +1.3 to 2.2 mph/in, at equal power within 1 mph, static 15-28 rpm/in."""
    mod = "coarser-propeller"
    assert 1.3 <= change(name, mod, "equal_rpm", "tas").value * MPH / 4 <= 2.2
    assert abs(change(name, mod, "equal_power", "tas").value * MPH) <= 1.0
    assert -28 <= change(name, mod, "static_rpm", "static_rpm").value / 4 <= -15
    assert change(name, mod, "full_throttle", "tas.lifted").value < 0.5
    assert change(name, mod, "climb", "rate").value < 0
    assert change(name, mod, "take_off", "over_50ft").value > 0 and change(name, mod, "take_off", "roll").value > 0


@BOTH
def test_a_cruise_propeller_is_worth_5_to_6_mph_only_at_equal_rpm(name):
    """Common practice, no source: 5 to 6 mph in cruise, costs climb. True at equal rpm for about 3 in, never at equal power."""
    three = 'price = "0"\n[alters]\npropeller_pitch = "3 in"\n'
    lines = claim(result(name, three), "5.5 mph")
    assert 4 <= change(name, three, "equal_rpm", "tas").value * MPH <= 7
    assert any("would be true at equal rpm" in x for x in lines)
    assert any("would not be true at equal power" in x for x in lines)


@BOTH
def test_ten_horsepower(name):
    """Section 7: +10 hp: climb +70 to 110 ft/min, full throttle +3 to 5 mph with the rpm limit lifted."""
    ten = '[alters]\npower = "10 hp"\n'
    assert 60 <= change(name, ten, "climb", "rate").value <= 120
    assert 2.5 <= change(name, ten, "full_throttle", "tas.lifted").value * MPH <= 5.5
    assert abs(change(name, ten, "equal_rpm", "tas").value) < 0.05


@BOTH
def test_from_160_to_180_hp_with_its_own_propeller(name):
    """Section 7: climb +125 to 200 ft/min, full throttle +7 to 11 mph (rpm limit lifted)."""
    assert 120 <= change(name, "engine-180hp", "climb", "rate").value <= 230
    assert 5.5 <= change(name, "engine-180hp", "full_throttle", "tas.lifted").value * MPH <= 11.5


@BOTH
def test_less_drag_and_less_weight(name):
    """Section 5: CD0 -0.0015: full throttle +2.6 +- 1.9 mph, climb +16 ft/min."""
    less = "[alters]\ndrag = -0.0015\n"
    assert 0.7 <= change(name, less, "full_throttle", "tas.lifted").value * MPH <= 4.5
    assert 5 <= change(name, less, "climb", "rate").value <= 35


def test_first_lines_say_what_an_owner_must_hear():
    lines = result("demo", "engine-180hp").first_lines
    assert lines[0].startswith("Useful load goes down by 22")
    assert any("does not raise the certificated weight" in x for x in lines)


def test_static_rpm_outside_the_approvals_band_is_said():
    text = '[alters]\npropeller_pitch = "4 in"\n[approval]\nstatic_rpm = ["2340 rpm", "2400 rpm"]\n'
    assert any("is outside the approval's band" in x for x in result("demo", text).first_lines)


def test_only_the_approval_raises_the_weight():
    record, _ = aeroplane("demo")
    raised = on_record(record, (made('[alters]\npower = "20 hp"\n[approval]\ntake_off_max = "2450 lb"\n'),))
    assert raised.weights.take_off_max_kg == pytest.approx(float(to_si(2450, "lb")))
    assert on_record(record, (made('[alters]\npower = "20 hp"\n'),)).weights == record.weights


def test_an_empty_modification_changes_exactly_nothing():
    for values in result("demo", "[alters]\n").figures.values():
        for p in values.values():
            d = p.difference
            assert (d.value, d.low, d.high) == (0, 0, 0)


def test_the_order_does_not_matter():
    one, two = modification("fairings"), modification("coarser-propeller")
    record, model = aeroplane("demo")
    a, b = (study(record, model, pair, DAY).figures for pair in ((one, two), (two, one)))
    for group in a:
        for key in a[group]:
            assert a[group][key].difference.value == pytest.approx(b[group][key].difference.value, abs=1e-9)


def test_two_that_touch_one_part_are_named():
    record, model = aeroplane("demo")
    pair = (modification("coarser-propeller"), modification("engine-180hp"))
    with pytest.raises(OwnshipError):
        study(record, model, (*pair, pair[0], pair[0]), DAY)
    both = (modification("freer-exhaust"), made('[alters]\npower = "2 hp"\n'))
    assert not study(record, model, both, DAY).conflicts
    again = study(record, model, (modification("freer-exhaust"), modification("freer-exhaust")), DAY)
    assert "both alter the exhaust" in again.conflicts[0]


def test_the_band_of_a_paired_difference_is_narrower_than_the_unpaired_one():
    p = result("demo", "coarser-propeller").figures["climb"]["rate"]
    unpaired = np.hypot(p.before.high - p.before.low, p.after.high - p.after.low)
    assert p.difference.high - p.difference.low < unpaired


def test_paired_takes_differences_draw_by_draw():
    x = np.linspace(10, 20, 101)
    p = paired(x, x + 1, "m")
    assert (p.difference.low, p.difference.value, p.difference.high) == pytest.approx((1, 1, 1))


def test_beyond_four_degrees_of_pitch_is_refused_in_a_sentence():
    with pytest.raises(OwnshipError, match="degrees"):
        result("demo", '[alters]\npropeller_pitch = "14 in"\n')


def test_rear_seats_out_takes_the_station_and_their_weight():
    record, _ = aeroplane("demo")
    changed = on_record(record, (modification("rear-seats-out"),))
    assert changed.station("rear") is None
    assert result("demo", "rear-seats-out").figures["useful_load"]["useful_load"].difference.value == pytest.approx(34)


def test_an_extra_tank_adds_range_and_weight():
    s = result("demo", "extra-tank")
    assert s.figures["range"]["range"].difference.value > 150
    assert s.figures["useful_load"]["useful_load"].difference.value == pytest.approx(-18 - 0.5 * 6)  # and half a gallon of unusable fuel


@pytest.mark.parametrize("text", ['[alters]\nhorsepower = "3 hp"\n', "[alters]\npower = 3\n", '[alters]\nweight = "3 lb"\n',
                                  '[alters]\ntank = { id = "x" }\n', '[uncertainty]\npower = "-3 hp"\n', 'colour = "red"\n'])
def test_a_bad_modification_is_one_sentence(text):
    with pytest.raises(OwnshipError) as error:
        made(text)
    assert "m.toml" in str(error.value) and "\n" not in str(error.value)


def test_a_modification_without_a_source_is_refused():
    with pytest.raises(OwnshipError, match="source"):
        read_modification(read_toml('name = "m"\nparts = []\n', "m.toml"))


def test_unknown_names_list_the_library():
    with pytest.raises(OwnshipError, match="fairings"):
        modify("demo", ["turbo"])


def test_json_has_the_fixed_keys():
    data = to_json(modify("demo", ["fairings"]))[0]
    for key in ("useful_load", "static_rpm", "equal_rpm", "equal_power", "full_throttle", "take_off", "climb", "ceiling", "range", "cg"):
        assert {"before", "after", "difference"} <= set(data[key])
    assert {"name", "approval"} <= set(data)


def test_every_shipped_modification_reads_and_has_a_source():
    for name in library():
        assert modification(name).source


def test_apply_leaves_the_model_before_alone():
    _, model = aeroplane("demo")
    before = model.draws.values.copy()
    apply(model, (modification("engine-180hp"),))
    assert np.array_equal(before, model.draws.values)
