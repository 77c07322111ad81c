"""The airframe record: what it refuses, what it leaves unknown; weighings with their oil and fuel."""

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.aeroplane.envelope import arm_limits, arm_room, crosses_itself, weight_room
from ownship.aeroplane.loading import LoadItem, at_fuel, load_of, more_weight_kg, room
from ownship.aeroplane.reading import read_airframe
from ownship.aeroplane.weighing import empty_weight, usual_errors
from ownship.errors import MissingKey, OwnshipError
from ownship.questions.check import demo_aeroplane
from ownship.units import from_si, to_si

HEAD = 'schema = 1\n[record]\nsource = "papers"\n'
DEMO = demo_aeroplane()


def record(text=DEMO):
    return read_airframe(text, "A.toml")


def lb(x):
    return float(to_si(x, "lb"))


def inch(x):
    return float(to_si(x, "in"))


def test_the_demo_record_reads_whole():
    r = record()
    assert r.identity.registration == "N0160T"
    assert from_si(r.weights.take_off_max_kg, "lb") == pytest.approx(2350)
    assert r.weights.zero_fuel_max_kg == "none published"
    assert r.tanks[0].usable_m3 == pytest.approx(float(to_si(24, "usgal")))


def test_a_record_with_weights_only_loads_and_all_else_is_unknown():
    r = record(HEAD + '[weights]\ntake_off_max = "2350 lb"\n')
    assert r.geometry is None and r.selector is None and r.tanks == () and r.weights.landing_max_kg is None


@pytest.mark.parametrize(("text", "words"), [
    (HEAD + '[weights]\ntake_off_max = "-5 lb"\n', "line 5"),
    (HEAD + '[weights]\ntake_off_max = "235000 lb"\n', "believable"),
    (HEAD + "[weights]\ntake_off_max = 2350\n", "no unit"),
    (HEAD + '[weights]\ntake_off_max = "2350 kt"\n', "not a mass"),
    (HEAD + '[weights]\ntake_of_max = "2350 lb"\n', "unknown key 'take_of_max'"),
    (HEAD + '[weight]\ntake_off_max = "2350 lb"\n', "unknown key 'weight'"),
    ('schema = 1\n[weights]\ntake_off_max = "2350 lb"\n', "source"),
    ("schema = 2\n" + HEAD[11:], "schema"),
    (HEAD + '[[envelope]]\nstraight_in = "arm"\npoints = [["1400 lb","82 in"],["2300 lb","94 in"],["1400 lb","94 in"],["2300 lb","82 in"]]\n',
     "crosses itself"),
    (HEAD + '[[envelope]]\nstraight_in = "arm"\npoints = [["1400 lb","82 in"],["2300 lb","94 in"]]\n', "at least three"),
    (HEAD + '[[envelope]]\nstraight_in = "line"\npoints = [["1400 lb","82 in"],["2300 lb","94 in"],["1400 lb","94 in"]]\n', "straight_in"),
    (HEAD + '[[tanks]]\nid = "left"\ncapacity = "20 usgal"\nunusable = "21 usgal"\narm = "90 in"\n', "unusable"),
    (HEAD + '[[equipment]]\ndate = 2020-01-01\nwhat = "radio"\nweight = "5 lb"\n', "lacks 'arm'"),
    (HEAD + '[[station_groups]]\nstations = ["attic"]\nmax = "10 lb"\n', "attic"),
    (HEAD + '[[weighings]]\ndate = "yesterday"\nweighed = true\nweight = "1400 lb"\narm = "85 in"\n', "not a date"),
    (HEAD + '[position_error]\nias = ["50 kt","60 kt"]\ncas = ["55 kt"]\n', "equal length"),
    ("", "empty"), ("= = =", "TOML")])
def test_refusals_are_one_sentence_with_the_place(text, words):
    with pytest.raises(OwnshipError) as error:
        record(text)
    assert words in str(error.value)
    assert "A.toml" in str(error.value)
    assert "\n" not in str(error.value)


WEIGHING = HEAD + """
[[weighings]]
date = 2020-01-01
weighed = {weighed}
weight = "1400 lb"
arm = "85 in"
oil = "{oil}"
fuel = "{fuel}"
{density}
[[tanks]]
id = "main"
capacity = "50 usgal"
unusable = "2 usgal"
arm = "90 in"
[fuel]
density = "6 lb/usgal"
[oil]
capacity = "8 qt"
arm = "30 in"
density = "7.5 lb/usgal"
"""


@pytest.mark.parametrize(("oil", "fuel", "density", "weight"), [
    ("full", "unusable", "", 1400), ("none", "unusable", "", 1415), ("full", "drained", "", 1412),
    ("full", "usable full", 'density = "6 lb/usgal"', 1400 - 48 * 6), ("none", "drained", "", 1427)])
def test_oil_and_fuel_states_come_to_full_oil_and_unusable_fuel(oil, fuel, density, weight):
    r = record(WEIGHING.format(weighed="true", oil=oil, fuel=fuel, density=density))
    assert from_si(empty_weight(r, date(2020, 1, 1)).weight_kg, "lb") == pytest.approx(weight, abs=0.01)


def test_missing_oil_would_put_the_cg_too_far_aft():
    with_oil, without = (empty_weight(record(WEIGHING.format(weighed="true", oil=o, fuel="unusable", density="")), date(2020, 1, 1))
                         for o in ("full", "none"))
    assert without.arm_m < with_oil.arm_m


def test_computed_and_old_weighings_have_wider_errors_and_say_so():
    new = empty_weight(record(WEIGHING.format(weighed="true", oil="full", fuel="unusable", density="")), date(2020, 6, 1))
    computed = empty_weight(record(WEIGHING.format(weighed="false", oil="full", fuel="unusable", density="")), date(2020, 6, 1))
    old = empty_weight(record(WEIGHING.format(weighed="true", oil="full", fuel="unusable", density="")), date(2031, 6, 1))
    assert computed.weight_sd_kg > new.weight_sd_kg and old.weight_sd_kg > new.weight_sd_kg
    assert not new.warnings and "computed" in computed.warnings[0] and "ten years" in old.warnings[0]


def test_no_weighing_before_the_day_is_said():
    with pytest.raises(MissingKey, match="no weighing on or before 2019-01-01"):
        empty_weight(record(WEIGHING.format(weighed="true", oil="full", fuel="unusable", density="")), date(2019, 1, 1))


def test_equipment_counts_from_its_day_on():
    before, after = (empty_weight(record(), date(*d)) for d in ((2021, 9, 2), (2021, 9, 3)))
    assert from_si(after.weight_kg - before.weight_kg, "lb") == pytest.approx(-4.2, abs=1e-6)


SLOPING = tuple((lb(w), inch(a)) for w, a in ((1400, 82), (1950, 82), (2300, 86.5), (2300, 93), (1400, 93)))


def test_a_line_straight_in_moment_differs_from_one_straight_in_arm_by_tenths_of_an_inch():
    middle = lb(2125)
    by_arm, by_moment = (arm_limits(SLOPING, s, middle)[0] for s in ("arm", "moment"))
    assert 0.05 < abs(from_si(by_arm - by_moment, "in")) < 0.3
    assert arm_limits(SLOPING, "arm", lb(1950)) == pytest.approx(arm_limits(SLOPING, "moment", lb(1950)))


@settings(max_examples=80, derandomize=True)
@given(st.floats(1380, 2320), st.floats(80, 96))
def test_room_is_positive_just_inside_the_polygon(weight, arm):
    inside = 1400 <= weight <= 2300 and (82 if weight <= 1950 else 82 + (weight - 1950) / 350 * 4.5) <= arm <= 93
    found = arm_room(SLOPING, "arm", lb(weight), inch(arm)) >= 0 and weight_room(SLOPING, lb(weight)) >= 0
    assert found == inside


def test_bow_ties_cross_and_convex_ones_do_not():
    assert crosses_itself([(0, 0), (1, 1), (1, 0), (0, 1)])
    assert not crosses_itself(SLOPING)


@settings(max_examples=40, derandomize=True)
@given(st.floats(0, 250), st.floats(0, 120), st.floats(0, 24), st.floats(0, 24))
def test_moments_add_and_the_cg_stays_between_its_parts(front, bag, left, right):
    r = record()
    items = (LoadItem("p", "front", lb(front), True), LoadItem("b", "baggage", lb(bag), False))
    load = load_of(r, empty_weight(r, date(2026, 7, 11)), items, usual_errors())
    usable = {"left": float(to_si(left, "usgal")), "right": float(to_si(right, "usgal"))}
    point = at_fuel(r, load, usable, {}, r.fuel.density_kg_m3)
    moments = load.moment_aft_kg_m + sum(v * r.fuel.density_kg_m3 * inch(92) for v in usable.values())
    assert point.weight_kg * point.arm_aft_m == pytest.approx(moments)
    arms = [load.empty.arm_m, inch(82), inch(88), inch(141), inch(92)]
    assert min(arms) <= point.arm_forward_m <= point.arm_aft_m <= max(arms)


def test_moving_a_load_aft_moves_the_cg_aft():
    r = record()
    empty = empty_weight(r, date(2026, 7, 11))
    points = [at_fuel(r, load_of(r, empty, (LoadItem("b", s, lb(20), True),), usual_errors()), {}, {}, 719.0).arm_aft_m
              for s in ("front", "rear", "baggage", "shelf")]
    assert points == sorted(points)


def test_seats_are_checked_at_both_ends_of_their_range():
    r = record()
    load = load_of(r, empty_weight(r, date(2026, 7, 11)), (LoadItem("p", "front", lb(340), True),), usual_errors())
    point = at_fuel(r, load, {}, {}, 719.0)
    assert point.arm_aft_m - point.arm_forward_m == pytest.approx(lb(340) * inch(6) / point.weight_kg)


def test_what_more_could_be_carried_ends_exactly_at_a_limit():
    r = record()
    load = load_of(r, empty_weight(r, date(2026, 7, 11)), (LoadItem("p", "front", lb(340), True),), usual_errors())
    usable = {"left": float(to_si(10, "usgal")), "right": float(to_si(10, "usgal"))}
    limit = r.weights.take_off_max_kg
    extra = more_weight_kg(r, "normal", load, usable, r.fuel.density_kg_m3, inch(118), limit)
    heavier = load_of(r, load.empty, (LoadItem("p", "front", lb(340), True), LoadItem("x", "rear", extra, True)), usual_errors())
    point = at_fuel(r, heavier, usable, {}, r.fuel.density_kg_m3)
    space = room(r, "normal", point)
    assert min(limit - point.weight_kg, space.arm_m * 100) == pytest.approx(0.0, abs=0.01)
