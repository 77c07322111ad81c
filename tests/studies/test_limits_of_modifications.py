"""Modifications at their limits: weights, what cannot be flown, conflicts, refusals, and the words of it all."""

import json
import math
from dataclasses import replace
from datetime import date
from functools import cache
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ownship.cli import main
from ownship.errors import OwnshipError
from ownship.papers.studies import study_lines
from ownship.performance.card import card
from ownship.performance.model import parameter_names
from ownship.physics.propeller import build_surrogate, pitch_angle_rad
from ownship.questions import studying
from ownship.questions.calibrating import calibrations_of, record_of
from ownship.questions.studying import library, modification, modify_or_why, to_json
from ownship.schema import read_toml
from ownship.studies.altering import apply, conflicts, on_record
from ownship.studies.comparison import GROUPS, claim, study
from ownship.studies.modification import read_modification
from ownship.studies.numbers import Side, field_and_climb
from ownship.studies.pairing import paired
from ownship.units import from_si, to_si

DAY = date(2026, 11, 25)
RAISED = '[approval]\ntake_off_max = "2600 lb"\n'
WEAK = '[alters]\npower = "-70 hp"\n'
LIGHT = '[alters]\nweight = "-100 lb"\narm = "84 in"\n'
TANK = '[alters.tank]\nid = "{id}"\ncapacity = "{capacity} usgal"\nunusable = "{unusable} usgal"\narm = "140 in"\n'
BOTH = pytest.mark.parametrize("name", ["demo", "handbook b"])


@cache
def aeroplane(name):
    record, _, folder = record_of("demo" if name == "demo" else "tests/published/handbook_b/aeroplane.toml")
    return record, calibrations_of(record, folder).book


def made(text, name="m", parts='["x"]'):
    return read_modification(read_toml(f'name = "{name}"\nparts = {parts}\nsource = "test"\n{text}', "m.toml"))


@cache
def result(name, *mods):
    record, model = aeroplane(name)
    return study(record, model, tuple(modification(m) if m in library() else made(m) for m in mods), DAY)


def figure(text, group, key, name="demo"):
    return result(name, text).figures[group][key]


# -- weight ------------------------------------------------------------------------------------------------------------

def test_a_raised_weight_shows_the_performance_at_it_and_at_the_weight_before():
    s = result("demo", RAISED)
    assert s.figures["useful_load"]["useful_load"].difference.value == pytest.approx(250)
    raised, before = s.figures["take_off"]["over_50ft"], s.figures["take_off"]["over_50ft.same_weight"]
    assert raised.difference.low > 200 and before.difference.value == 0
    assert raised.conditions == "2,350 lb before, 2,600 lb after" and before.conditions == "both at 2,350 lb"
    assert s.figures["climb"]["rate"].difference.high < -100 and s.figures["ceiling"]["ceiling"].difference.high < -1000
    assert any("raises the maximum take-off weight from 2,350 lb to 2,600 lb" in x for x in s.first_lines)
    assert any("2,350 lb before, 2,600 lb after" in line for line in study_lines(s, []))


def test_an_approval_may_lower_the_weight_but_not_below_the_empty_aeroplane():
    lower = result("demo", '[approval]\ntake_off_max = "2200 lb"\n')
    assert any("lowers the maximum take-off weight" in x for x in lower.first_lines)
    assert lower.figures["take_off"]["roll"].difference.value < 0
    with pytest.raises(OwnshipError, match="not above the empty aeroplane"):
        result("demo", '[approval]\ntake_off_max = "1000 lb"\n')


@BOTH
def test_a_hundred_pounds_less_with_the_same_load(name):
    """Performance model section 7: -100 lb: climb +45 to 75 ft/min, roll -7 to -13 %."""
    rate, roll = figure(LIGHT, "climb", "rate.same_load", name), figure(LIGHT, "take_off", "roll.same_load", name)
    assert 45 <= rate.difference.value <= 75
    assert -0.13 <= roll.difference.value / roll.before.value <= -0.07
    assert figure(LIGHT, "ceiling", "ceiling.same_load", name).difference.value > 0
    assert figure(LIGHT, "climb", "rate", name).difference.value == 0


def test_what_is_added_costs_the_same_load_its_climb():
    p = figure('[alters]\nweight = "100 lb"\narm = "84 in"\n', "climb", "rate.same_load")
    assert p.conditions == "2,250 lb before, 2,350 lb after" and -75 <= p.difference.value <= -45


def test_more_weight_than_the_aeroplane_can_lose_is_refused():
    half = tuple(made('[alters]\nweight = "-500 lb"\narm = "84 in"\n', f"m{i}") for i in range(3))
    for name in ("demo", "handbook b"):
        with pytest.raises(OwnshipError) as error:
            study(*aeroplane(name), half, DAY)
        assert "\n" not in str(error.value)


# -- what cannot be flown ----------------------------------------------------------------------------------------------

def test_what_full_throttle_cannot_give_is_no_comparison():
    s = result("demo", WEAK)
    for group, key in (("equal_rpm", "tas"), ("equal_power", "tas"), ("equal_power", "fuel"), ("range", "range")):
        p = s.figures[group][key]
        assert math.isnan(p.after.value) and math.isnan(p.difference.value) and p.missing == "cannot"
        assert math.isfinite(p.before.value)
    assert not any("would be true" in x for x in claim(s, "0 kt"))
    assert "to cannot" in next(x for x in study_lines(s, []) if "range" in x)


@BOTH
def test_equal_rpm_is_one_that_both_can_turn_and_is_named(name):
    p = figure("coarser-propeller", "equal_rpm", "tas", name)
    assert p.conditions.endswith("rpm") and math.isfinite(p.difference.value)
    assert figure("coarser-propeller", "equal_rpm", "fuel", name).conditions == p.conditions


def test_an_rpm_limit_below_the_comparison_lowers_it():
    p = figure('[alters]\nrpm_max = "2300 rpm"\n', "equal_rpm", "tas")
    assert p.conditions == "2,300 rpm" and p.difference.value == 0


@given(st.integers(0, 100))
def test_draws_that_cannot_count_as_the_worst(lost):
    """A band holds only where its worse end still flies; then it is never better than the band of those that do."""
    x = np.linspace(100.0, 200.0, 100)
    x[:lost] = np.nan
    slow, long = (paired(x, x, "m", worse=w).after for w in (-1, 1))
    if lost > 4:
        assert math.isnan(slow.value) and math.isnan(long.value)
    else:
        flown = np.percentile(x[lost:], [5, 50, 95])
        assert slow.low <= flown[0] and slow.value <= flown[1] and long.value >= flown[1] and long.high >= flown[2]


def test_a_record_without_tanks_does_not_know_its_range():
    p = figure("fairings", "range", "range", "handbook b")
    assert math.isnan(p.before.value) and p.missing == "not known"


def test_the_studys_climb_has_the_noise_of_the_model():
    """The card's band of the climb at its schedule and the study's best climb are of one width; noise was left out before."""
    _, model = aeroplane("demo")
    row = next(r for r in card(model, model.airframe.take_off_max_kg) if r.quantity == "rate of climb")
    best = figure("fairings", "climb", "rate").before
    assert best.high - best.low == pytest.approx(row.high - row.low, rel=0.1)


# -- conflicts and order -----------------------------------------------------------------------------------------------

PAIRS = [('[alters]\npower_to = "180 hp"\nrpm_max = "2600 rpm"\n', '[alters]\npower_to = "170 hp"\nrpm_max = "2800 rpm"\n',
          ("170 hp, is taken", "2,600 rpm, is taken")),
         ('[alters]\npropeller_pitch = "8 in"\n', '[alters]\npropeller_pitch = "-8 in"\n', ("both alter the propeller pitch",)),
         ('[alters]\npower_to = "170 hp"\n', '[alters]\npower = "7 hp"\n', ("both alter the power",)),
         ('[alters]\nstations_removed = ["rear"]\n', '[alters]\nstations_removed = ["rear"]\n', ("take out station 'rear'",)),
         ('[approval]\ntake_off_max = "2500 lb"\n', '[approval]\ntake_off_max = "2450 lb"\n', ("2,450 lb, is taken",))]


@pytest.mark.parametrize(("first", "second", "said"), PAIRS)
def test_conflicts_are_found_from_the_keys_and_the_order_does_not_matter(first, second, said):
    both = (made(first, "A", '["engine"]'), made(second, "B", '["cylinders"]'))
    for words in said:
        assert any(words in line for line in conflicts(both))
    assert conflicts(both) == conflicts(both[::-1])
    one, other = (study(*aeroplane("demo"), order, DAY).figures for order in (both, both[::-1]))
    assert one == other or all(  # NaN is not equal to itself
        str(one[g][k]) == str(other[g][k]) for g in one for k in one[g])


def test_three_in_any_order_alter_the_draws_alike():
    three = (modification("fairings"), modification("coarser-propeller"), made('[alters]\npower_to = "170 hp"\n[uncertainty]\n'
                                                                             'power = "3 hp"\ndrag = 0.0003\n'))
    _, model = aeroplane("demo")
    values = [apply(model, order).draws.values for order in permutations(three)]
    assert all(np.array_equal(values[0], v) for v in values)


def test_two_that_add_power_are_no_conflict():
    assert not conflicts((made('[alters]\npower = "3 hp"\n', "A", '["a"]'), made('[alters]\npower = "2 hp"\n', "B", '["b"]')))


# -- tanks -------------------------------------------------------------------------------------------------------------

def test_unusable_fuel_weighs():
    """Basic empty weight holds the unusable fuel: 20 US gal at 6.0 lb are 120 lb of useful load."""
    s = result("demo", TANK.format(id="aux", capacity=20, unusable=20))
    assert s.figures["useful_load"]["useful_load"].difference.value == pytest.approx(-120)
    assert s.figures["cg"]["empty_arm"].difference.value > 1
    assert s.figures["range"]["range"].difference.value == 0


def test_more_unusable_than_the_tank_holds_is_refused():
    with pytest.raises(OwnshipError, match=r"m.toml.*unusable.*more than the 5 usgal"):
        made(TANK.format(id="aux", capacity=5, unusable=20))


def test_two_tanks_of_one_name_are_refused_by_the_names_of_those_who_bring_them():
    record, _ = aeroplane("demo")
    tank = TANK.format(id="aux", capacity=20, unusable=1)
    with pytest.raises(OwnshipError, match="two brings a tank 'aux', and so does one"):
        on_record(record, (made(tank, "one"), made(tank, "two")))
    with pytest.raises(OwnshipError, match="so does the aeroplane"):
        on_record(record, (made(TANK.format(id="left", capacity=20, unusable=1)),))


# -- the approval's band -----------------------------------------------------------------------------------------------

def test_a_static_band_is_judged_with_the_chance_beyond_its_edge():
    middle = result("demo", "[alters]\n").figures["static_rpm"]["static_rpm"].after
    for low, words in ((middle.value - 5, "may lie outside the approval's band"), (middle.value + 5, "is outside the approval's band")):
        lines = result("demo", f'[approval]\nstatic_rpm = ["{low:.0f} rpm", "2600 rpm"]\n').first_lines
        line = next(x for x in lines if words in x)
        chance = float(line.split("about ")[1].split(" %")[0])
        assert "lies below" in line and 30 <= chance <= 70
    wide = result("demo", '[approval]\nstatic_rpm = ["2000 rpm", "2700 rpm"]\n')
    assert not any("Static rpm" in x for x in wide.first_lines)


@pytest.mark.parametrize("text", [
    '[approval]\nstatic_rpm = ["2450 rpm", "2280 rpm"]\n', '[approval]\nstatic_rpm = ["2450 rpm", "2450 rpm"]\n',
    "price = -500\n", "price = true\n", 'price = "a\\nb"\n', '[approval]\nwords = "a\\u001b[31mb"\n',
    '[alters.tank]\nid = "a\\u0007"\ncapacity = "5 usgal"\nunusable = "1 usgal"\narm = "140 in"\n'])
def test_more_that_is_one_sentence(text):
    with pytest.raises(OwnshipError) as error:
        made(text)
    assert "m.toml" in str(error.value) and "\n" not in str(error.value) and "\x1b" not in str(error.value)


@pytest.mark.parametrize("name", ["a\\u0000b", "a\\nb", "a\\u202eb", "\\u009b"])
def test_control_characters_in_a_name_are_refused(name):
    with pytest.raises(OwnshipError, match=r"control character|hidden character"):
        made("", name)


# -- power, drag and fuel that cannot be -------------------------------------------------------------------------------

@pytest.mark.parametrize(("text", "words"), [
    ('[alters]\npower = "-100 hp"\npower_to = "50 hp"\n', "rated power of -50 hp"),
    ("[alters]\ndrag = -0.02\n[uncertainty]\ndrag = 0.02\n", "no drag at all"),
    ('[alters]\nfuel_at_65 = "-30 %"\n[uncertainty]\nfuel_at_65 = "30 %"\n', "no fuel at all")])
def test_nothing_flies_without_power_drag_or_fuel(text, words):
    with pytest.raises(OwnshipError, match=words) as error:
        result("demo", text)
    assert "\n" not in str(error.value)


@pytest.mark.parametrize("text", ['[alters]\npower_to = "50 hp"\n', '[approval]\ntake_off_max = "20000 lb"\n',
                                  '[alters]\npower = "-100 hp"\n', '[alters]\npower_to = "600 hp"\n'])
def test_the_extreme_is_answered_without_a_warning(text):
    """Warnings are errors in these tests."""
    for line in study_lines(result("demo", text), []):
        assert "nan" not in line and "inf" not in line


# -- the propeller's four degrees --------------------------------------------------------------------------------------

@pytest.mark.parametrize("inches", [8, 12, -8, -11])
def test_the_four_degrees_count_from_the_calibrated_pitch(inches):
    p = figure(f'[alters]\npropeller_pitch = "{inches} in"\n', "static_rpm", "static_rpm")
    assert -28 <= p.difference.value / inches <= -15


def test_beyond_four_degrees_the_limit_is_named_in_inches():
    _, model = aeroplane("demo")
    a = model.airframe
    circle = 0.75 * math.pi * a.diameter_m
    most = float(from_si(circle * math.tan(pitch_angle_rad(a.pitch_m, a.diameter_m) + math.radians(4)) - a.pitch_m, "in"))
    assert 12 < most < 15
    with pytest.raises(OwnshipError, match=f"-13.2 to \\+{most:.1f} in"):
        result("demo", '[alters]\npropeller_pitch = "14 in"\n')
    assert apply(model, (made(f'[alters]\npropeller_pitch = "{most - 0.01:.2f} in"\n'),))


def test_the_polynomials_about_the_new_angle_agree_with_the_shared_ones():
    """The same propeller from both: static and climb within what the surrogate's rms of 2e-4 is worth."""
    record, model = aeroplane("demo")
    shared = apply(model, (modification("coarser-propeller"),))
    assert shared.surrogate is model.surrogate
    column = parameter_names().index("dbeta")
    values = shared.draws.values.copy()
    centre = float(np.median(values[:, column]))
    values[:, column] -= centre
    anew = replace(shared, surrogate=build_surrogate(model.surrogate.beta75_rad + math.radians(centre), 2),
                   draws=replace(shared.draws, values=values))
    most = model.airframe.take_off_max_kg
    one, other = (field_and_climb(Side(record, None, m), most) for m in (shared, anew))
    assert np.max(np.abs(one["climb"]["rate"] - other["climb"]["rate"])) < float(to_si(2, "ft/min"))
    assert np.allclose(one["take_off"]["over_50ft"], other["take_off"]["over_50ft"], rtol=2e-3)


def test_a_blade_angle_nobody_knows_is_refused():
    with pytest.raises(OwnshipError, match="blade angle is so uncertain"):
        result("demo", '[uncertainty]\nblade_angle = "4 deg"\n')


# -- what is missing, and the words ------------------------------------------------------------------------------------

def test_all_stations_out_leaves_the_room_not_known():
    s = result("demo", '[alters]\nstations_removed = ["front", "rear", "baggage", "shelf"]\n')
    room = s.figures["cg"]["room.forward"]
    assert math.isfinite(room.before.value) and math.isnan(room.after.value) and room.missing == "not known"
    assert any("forward room" in line and "to not known" in line for line in study_lines(s, []))


def test_json_has_no_nan():
    data = to_json([result("demo", WEAK), result("handbook b", "fairings")])
    text = json.dumps(data, allow_nan=False)
    assert data[0]["equal_power"]["after"]["value"] is None
    assert data[1]["useful_load"]["before"] == {"value": None, "unit": "lb"} and data[1]["cg"] is None and "NaN" not in text


def test_what_of_the_library_does_not_fit_is_said(capsys):
    path = "tests/published/handbook_b/aeroplane.toml"
    studies, left_out = modify_or_why(path, [])
    assert len(studies) + len(left_out) == len(library())
    assert [x.name for x in left_out] == ["rear seats out"] and "no station 'rear'" in left_out[0].why
    last = to_json(studies, left_out)[-1]
    assert last["name"] == "rear seats out" and "rear" in last["left_out"] and all(last[g] is None for g in GROUPS)
    with pytest.raises(SystemExit) as leaving:
        main(["study", "modify", path])
    assert not leaving.value.code
    assert "Left out: rear seats out. The aeroplane has no station 'rear'" in capsys.readouterr().out
    with pytest.raises(OwnshipError, match="rear"):
        modify_or_why(path, ["rear-seats-out"])


def test_the_first_letter_alone_is_raised():
    record, model = aeroplane("demo")
    s = study(record, model, (made("", "a STOL kit"), made("", "B")), DAY)
    assert next(iter(study_lines(s, []))) == "A STOL kit + B"


@BOTH
def test_less_than_what_comes_is_more_than_that(name):
    lines = claim(result(name, "coarser-propeller"), "2 mph")
    assert any(x.startswith("2 mph: more than that at equal rpm: +") for x in lines)
    assert any("2 mph would not be true at equal power" in x for x in lines)


def test_the_library_of_the_demo_leaves_nothing_out():
    assert studying.modify_or_why("demo", [])[1] == []
