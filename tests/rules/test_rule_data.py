"""The rule files: dates, statuses, and the figures of our sheet of rules beyond fuel, night and levels."""

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.errors import BadInput
from ownship.rules.ruleset import PLACES, load_ruleset, read_ruleset
from ownship.schema import read_toml
from ownship.units import from_si, to_si

DAY = date(2026, 7, 11)
ONE = """place = "Nowhere"
countries = []
[[rule]]
id = "fuel.vfr.day"
section = "1"
effective_from = 2020-01-01
time = "30 min"
flow = "normal cruise"
source = "made up"
status = "invented"
"""


def read(text):
    return read_ruleset(read_toml(text, "rules.toml"))


def ft(metres):
    return None if metres is None else round(float(from_si(metres, "ft")))


@pytest.mark.parametrize("place", PLACES)
def test_everything_a_flight_plan_asks_is_there_and_says_how_it_is_known(place):
    rules = load_ruleset(place)
    for flight_rules in ("VFR", "IFR"):
        assert rules.cruising_level(DAY, flight_rules, 90, 1500, None) is not None
        for night in (False, True):
            assert rules.fuel_reserve(DAY, flight_rules, night=night) is not None
    for use in ("fuel", "lights", "passengers"):
        assert rules.night(DAY, use) is not None
    assert rules.minima(DAY, "minima.aerodrome.vfr") is not None
    for rule in rules.rules:
        assert rule.section in rule.cite()
        assert rule.instrument and rule.applies_if and rule.severity
        assert (rule.source.status == "read") == (rule.source.status not in rule.cite())
        assert rule.source.date or rule.source.status == "from memory"


@settings(max_examples=60, derandomize=True)
@given(st.dates(date(1950, 1, 1), date(2060, 1, 1)), st.sampled_from(PLACES))
def test_at_most_one_rule_of_an_id_is_in_force_and_only_within_its_days(day, place):
    rules = load_ruleset(place)
    for id_ in {r.id for r in rules.rules}:
        matching = [r for r in rules.rules if r.id == id_ and r.effective_from <= day <= (r.effective_to or date.max)]
        assert len(matching) <= 1
        assert rules.in_force(id_, day) == (matching[0] if matching else None)


def test_before_the_rules_kept_nothing_is_known():
    for place in PLACES:
        rules, day = load_ruleset(place), date(1960, 1, 1)
        assert rules.fuel_reserve(day, "IFR", night=True) is None
        assert rules.night(day, "lights") is None and rules.minima(day, "minima.aerodrome.vfr") is None
        assert rules.visual(day, "special", night=False) is None and rules.oxygen(day) == ()
        assert rules.cruising_level(day, "VFR", 90, 1500, None) is None


def test_old_easa_reserve_is_at_normal_cruise_and_its_ifr_sum_holds_the_alternate():
    old = load_ruleset("EASA").fuel_reserve(date(2022, 10, 29), "IFR", night=False)
    assert (old.time_s, old.flow, old.alternate, old.rule.section) == (2700, "normal cruise", True, "NCO.OP.125")


def test_canada_602_88_5_names_what_else_must_be_in_the_tanks():
    reserve = load_ruleset("Canada").fuel_reserve(DAY, "VFR", night=False)
    assert "taxi" in reserve.also and "602.88(5)" in reserve.also
    assert load_ruleset("USA").fuel_reserve(DAY, "VFR", night=False).also == ""


@pytest.mark.parametrize(("place", "steps"), [
    ("USA", [(12500, 1800, "crew"), (14000, 0, "crew"), (15000, 0, "everyone")]),     # 14 CFR 91.211, second-hand
    ("Canada", [(10000, 1800, "crew"), (13000, 0, "everyone")]),                      # CAR 605.31
    ("EASA", [(10000, 1800, "crew"), (13000, 0, "everyone")]),                        # NCO.OP.190, from memory
])
def test_oxygen(place, steps):
    assert [(ft(o.above_m), o.after_s, o.who) for o in load_ruleset(place).oxygen(DAY)] == steps


@pytest.mark.parametrize(("place", "airspace", "night", "visibility", "cloud"), [
    ("USA", "B", False, "3 sm", (None, None, None)),                                  # 14 CFR 91.155
    ("USA", "CDE.low", True, "3 sm", (500, 1000, 2000)),
    ("USA", "G.low", False, "1 sm", (None, None, None)),
    ("USA", "G.low", True, "3 sm", (500, 1000, 2000)),
    ("USA", "G.high", True, "5 sm", (1000, 1000, 5280)),
    ("Canada", "uncontrolled.high", False, "1 sm", (500, 500, 2000)),                 # CAR 602.115, miles from memory
    ("Canada", "uncontrolled.high", True, "3 sm", (500, 500, 2000)),
    ("Canada", "over_the_top", False, "5 sm", (1000, 1000, None)),                    # CAR 602.116
    ("EASA", "middle", False, "5 km", (1000, 1000, 4921)),                            # SERA.5001
    ("EASA", "low.FG", False, "5 km", (None, None, None)),
])
def test_visual_minima(place, airspace, night, visibility, cloud):
    number, unit = visibility.split()
    found = load_ruleset(place).visual(DAY, airspace, night=night)
    assert found.visibility_m == pytest.approx(to_si(float(number), unit))
    assert (ft(found.cloud_below_m), ft(found.cloud_above_m), ft(found.cloud_horizontal_m)) == cloud


def test_an_airspace_nobody_wrote_down_is_not_known():
    assert load_ruleset("USA").visual(DAY, "Q", night=False) is None


@pytest.mark.parametrize(("place", "id_", "ceiling", "miles"), [
    ("USA", "alternate.ifr.precision", 600, 2), ("USA", "alternate.ifr.non_precision", 800, 2),   # 91.169(c), second-hand
    ("USA", "alternate.ifr.not_needed", 2000, 3),                                                 # 91.167(b), second-hand
    ("Canada", "alternate.ifr.two_precision", 400, 1), ("Canada", "alternate.ifr.precision", 600, 2),
    ("Canada", "alternate.ifr.non_precision", 800, 2),                                            # from memory
])
def test_alternate_minima(place, id_, ceiling, miles):
    found = load_ruleset(place).minima(DAY, id_)
    assert (ft(found.ceiling_m), found.visibility_m) == (ceiling, pytest.approx(to_si(miles, "sm")))


def test_alternate_minima_of_easa_were_not_read_and_are_not_known():
    assert load_ruleset("EASA").minima(DAY, "alternate.ifr.non_precision") is None


@settings(max_examples=80, derandomize=True)
@given(st.floats(0, 359.999), st.integers(500, 17500), st.sampled_from(["VFR", "IFR"]), st.sampled_from(PLACES))
def test_the_nearest_levels_offered_obey_the_rule_themselves(course, feet, flight_rules, place):
    rules = load_ruleset(place)
    answer = rules.cruising_level(DAY, flight_rules, course, float(to_si(feet, "ft")), float(to_si(9000, "ft")))
    low, high = answer.nearest_m
    assert low > 0 and ft(low) <= max(feet, ft(high)) and ft(high) >= feet
    for level in (low, high):
        assert rules.cruising_level(DAY, flight_rules, course, level, None).ok is True


def test_the_course_in_the_words_is_on_the_side_it_was_judged():
    words = load_ruleset("USA").cruising_level(DAY, "VFR", 179.9, float(to_si(5500, "ft")), None).words
    assert "odd" in words and "179" in words


def test_a_place_without_rules_is_one_sentence():
    with pytest.raises(BadInput, match="no rules are kept for 'Mars'"):
        load_ruleset("Mars")


@pytest.mark.parametrize(("old", "new"), [
    ('source = "made up"\n', ""), ("effective_from = 2020-01-01\n", ""), ("2020-01-01", '"soon"'),
    ("2020-01-01", "2020-01-01T00:00:00"), ("2020-01-01", "2020-01-01\neffective_to = 2019-12-31"),
    ('"30 min"', '"30"'), ('"30 min"', '"30 ft"'), ('status = "invented"', 'status = "sure"'),
    ("section", "sectoin"), ('flow = "normal cruise"', 'flow = "normal cruise"\nseverity = "ignore"')])
def test_a_rule_without_source_unit_or_date_does_not_load(old, new):
    assert read(ONE).rules[0].values["time"] == 1800
    with pytest.raises(BadInput):
        read(ONE.replace(old, new))


def test_two_rules_of_one_id_on_one_day_do_not_load():
    second = ONE.split("countries = []\n")[1]
    with pytest.raises(BadInput, match="two rules are in force on 2021-06-01"):
        read(ONE + second.replace("2020-01-01", "2021-06-01"))
    one_day_too_long = ONE.replace("2020-01-01", "2020-01-01\neffective_to = 2021-06-01")
    with pytest.raises(BadInput, match="two rules are in force on 2021-06-01"):
        read(one_day_too_long + second.replace("2020-01-01", "2021-06-01"))
    ended = ONE.replace("2020-01-01", "2020-01-01\neffective_to = 2021-05-31")
    assert len(read(ended + second.replace("2020-01-01", "2021-06-01")).rules) == 2
