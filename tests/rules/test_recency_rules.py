"""The recency files and the periods of things done: worked examples of our sheet of rules (derived there from the sections)."""

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.errors import BadInput
from ownship.rules.due import next_due
from ownship.rules.recency import PLACES, PRIVILEGES, birthday, last_day, load_recency, medical_days, place_of, read_recency
from ownship.schema import read_toml

DAYS = st.dates(date(1990, 1, 1), date(2060, 1, 1))
RULE = """place = "Nowhere"
[[rule]]
id = "a"
privilege = "review"
section = "1"
effective_from = 2020-01-01
source = "made up"
status = "invented"
[[rule.needs]]
words = "landings"
what = "landings"
count = 3
within = "90 days"
"""


def medical(place, id_, day):
    return next(r for r in load_recency(place).in_force(day) if r.id == id_).medical


def test_canadian_instrument_check_of_2026_03_10_needs_nothing_before_2026_10_01_and_lapses_after_24_months():
    check = date(2026, 3, 10)
    assert last_day(check, "before month 7") == date(2026, 9, 30)
    assert last_day(check, "before month 13") == date(2027, 3, 31)
    assert last_day(check, "24 months") == date(2028, 3, 10)


def test_canadian_medical_at_45_examined_2026_03_10_is_good_until_2028_03_31():
    born = date(1981, 1, 5)
    assert medical_days(medical("Canada", "medical.private", date(2026, 3, 10)), date(2026, 3, 10), born) == (date(2028, 3, 31),) * 2


def test_us_medical_14_cfr_61_23_d_60_calendar_months_below_40_on_the_day_else_24():
    third = medical("USA", "medical.third", date(2026, 3, 10))
    assert medical_days(third, date(2026, 3, 10), date(1986, 3, 11))[0] == date(2031, 3, 31)
    assert medical_days(third, date(2026, 3, 10), date(1986, 3, 10))[0] == date(2028, 3, 31)


@pytest.mark.parametrize(("born", "end"), [
    (date(1990, 1, 1), date(2031, 3, 10)),    # 36: 60 months
    (date(1986, 6, 1), date(2028, 5, 31)),    # 39: ends at 42
    (date(1984, 6, 1), date(2028, 3, 10)),    # 41: 24 months
    (date(1976, 6, 1), date(2027, 5, 31)),    # 49: ends at 51
    (date(1970, 6, 1), date(2027, 3, 10)),    # 55: 12 months
])
def test_easa_class_2_med_a_045(born, end):
    assert medical_days(medical("EASA", "medical.class2", date(2026, 3, 10)), date(2026, 3, 10), born)[0] == end


def test_in_canada_the_shorter_period_is_taken_from_the_40th_birthday_on_because_the_longer_is_from_memory():
    text = medical("Canada", "medical.private", date(2026, 7, 1))
    assert medical_days(text, date(2026, 7, 1), date(1986, 9, 1))[0] == date(2028, 7, 31)   # 39, 40 soon: 24 months
    assert medical_days(text, date(2026, 7, 1), date(1988, 9, 1))[0] == date(2028, 8, 31)   # 37: until the 40th birthday
    assert medical_days(text, date(2026, 7, 1), date(1998, 9, 1))[0] == date(2031, 7, 31)   # 27: 60 months


def test_without_a_birth_date_a_medical_has_a_sure_and_a_best_end():
    assert medical_days(medical("USA", "medical.third", date(2026, 3, 10)), date(2026, 3, 10), None) == (
        date(2028, 3, 31), date(2031, 3, 31))


def test_one_born_on_29_february_reaches_an_age_on_28_february_in_other_years():
    assert birthday(date(1984, 2, 29), 42) == date(2026, 2, 28)
    assert birthday(date(1984, 2, 29), 40) == date(2024, 2, 29)


@settings(max_examples=100, derandomize=True)
@given(DAYS, DAYS, st.sampled_from(["90 days", "6 months", "6 calendar months", "5 years", "before month 7",
                                    "24 months from the first of the next month"]))
def test_something_done_later_never_ends_earlier(one, other, within):
    first, second = sorted((one, other))
    assert last_day(first, within) <= last_day(second, within)


@settings(max_examples=100, derandomize=True)
@given(DAYS, st.integers(1, 60))
def test_the_period_from_the_first_of_the_next_month_is_the_calendar_months(day, months):
    assert last_day(day, f"{months} months from the first of the next month") == next_due(day, f"{months} calendar months")


@settings(max_examples=60, derandomize=True)
@given(DAYS, st.dates(date(1940, 1, 1), date(1988, 1, 1)), st.sampled_from([("USA", "medical.third"), ("EASA", "medical.class2"),
                                                                            ("Canada", "medical.private")]))
def test_a_known_age_never_gives_less_than_the_sure_end_nor_more_than_the_best(exam, born, which):
    text = medical(*which, date(2026, 7, 1))
    end = medical_days(text, exam, born)[0]
    sure, best = medical_days(text, exam, None)
    assert end <= best
    assert end >= sure or any(b.ends_at for b in text.bands)


@pytest.mark.parametrize("place", PLACES)
def test_every_rule_says_section_and_how_it_is_known_and_the_usual_privileges_are_there(place):
    rules = load_recency(place)
    for rule in rules.rules:
        assert rule.section in rule.cite()
        assert (rule.source.status == "read") == (rule.source.status not in rule.cite())
        assert rule.source.date or rule.source.status == "from memory"
    assert {r.privilege for r in rules.in_force(date(2026, 7, 1))} >= set(PRIVILEGES) - {"fly at all"}
    assert [g.rating for g in rules.goals][:3] == ["night", "instrument", "commercial"]


def test_canada_401_05_3_1_dropped_the_six_hours_on_2026_06_17_and_404_04_8_the_old_date():
    def practice(day):
        return next(r for r in load_recency("Canada").in_force(day) if r.id == "ifr.practice")

    assert [n.what for n in practice(date(2026, 6, 16)).needs] == ["instrument time", "approaches"]
    assert [n.what for n in practice(date(2026, 6, 17)).needs] == ["approaches"]
    assert medical("Canada", "medical.private", date(2026, 6, 16)).keep_days == 90
    assert medical("Canada", "medical.private", date(2026, 6, 17)).keep_days == 0


@pytest.mark.parametrize(("old", "new", "said"), [
    ('privilege = "review"', 'privilege = "flying"', "is not one of"),
    ("2020-01-01", '"soon"', "should be a date"),
    ('within = "90 days"', 'within = "a while"', "is no interval"),
    ('what = "landings"', "", "either one of some events or an amount"),
    ("count = 3", "counts = 3", "unknown key"),
    ('source = "made up"', "", "lacks 'source'"),
    ('what = "landings"', 'what = "landings"\nroles = ["captain"]', "roles are of"),
])
def test_a_wrong_file_is_refused_in_a_sentence(old, new, said):
    with pytest.raises(BadInput, match=said):
        read_recency(read_toml(RULE.replace(old, new), "recency.toml"))


def test_two_texts_of_one_id_on_one_day_are_refused():
    second = RULE.split("\n", 1)[1]
    with pytest.raises(BadInput, match="two texts are in force"):
        read_recency(read_toml(RULE + second, "recency.toml"))


def test_a_place_without_rules_is_refused():
    assert place_of(" usa ") == "USA"
    with pytest.raises(BadInput, match="allowed are USA, Canada, EASA"):
        load_recency("Australia")
