"""Every date pattern of our sheet of rules, section 1, with its worked examples; leap years, month ends, zones, clock changes."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.errors import BadInput
from ownship.ownership import entries
from ownship.rules.due import (
    counted_from,
    day_at,
    earliest_by_days,
    earliest_by_months,
    earliest_by_preceding_months,
    first_of,
    from_first_of_next_month,
    grace_then_roll,
    month_end,
    next_due,
)
from ownship.rules.starter import USES, limited, load_starter, read_items
from ownship.schema import read_toml

DAYS = st.dates(date(1990, 1, 1), date(2060, 1, 1))
PATTERNS = ("{} days", "{} months", "{} years", "{} calendar months", "{} months from the first of the next month")


@pytest.mark.parametrize(("done", "every", "due"), [
    (date(2026, 3, 5), "12 calendar months", date(2027, 3, 31)),                           # CA and US annual, sheet of rules 1
    (date(2026, 7, 12), "12 calendar months", date(2027, 7, 31)),                          # MD-01, FAA test bank
    (date(2026, 7, 12), "24 calendar months", date(2028, 7, 31)),                          # MD-04, 14 CFR 91.411, 91.413
    (date(2026, 7, 12), "30 days", date(2026, 8, 11)),                                     # MD-05, 14 CFR 91.171
    (date(2026, 3, 10), "24 months from the first of the next month", date(2028, 3, 31)),  # CA medical, 404.04
    (date(2026, 12, 10), "2 months from the first of the next month", date(2027, 2, 28)),
    (date(2026, 3, 10), "2 years from the first of the next month", date(2028, 3, 31)),
    (date(2027, 2, 10), "12 calendar months", date(2028, 2, 29)),                          # the end of a leap February
    (date(2024, 2, 29), "4 years", date(2028, 2, 29)),
    (date(2024, 2, 29), "1 year", date(2025, 2, 28)),                                      # the stricter reading
    (date(2096, 2, 29), "4 years", date(2100, 2, 28)),                                     # 2100 is no leap year
    (date(2026, 8, 31), "6 months", date(2027, 2, 28)),
    (date(2026, 1, 31), "1 calendar month", date(2026, 2, 28)),
    (date(2023, 12, 31), "60 days", date(2024, 2, 29)),
    (date(2026, 3, 15), "30 March of the next year", date(2027, 3, 30)),                   # CAR 501.03
    (date(2026, 12, 31), "30 March of the next year", date(2027, 3, 30)),
    (date(2026, 12, 31), "29 February of the next year", date(2027, 2, 28)),
])
def test_the_last_day_still_good(done, every, due):
    assert next_due(done, every) == due


def test_grace_then_roll_canada_401_05_3_1():
    check = date(2026, 3, 10)
    assert grace_then_roll(check, date(2026, 9, 30), 7, 6) is None
    assert grace_then_roll(check, date(2026, 10, 1), 7, 6) == date(2026, 4, 1)
    assert grace_then_roll(check, date(2026, 10, 15), 7, 6) == date(2026, 4, 15)
    assert next_due(check, "24 months") == date(2028, 3, 10)


def test_looking_back_from_a_flight():
    assert earliest_by_days(date(2026, 7, 11), 90) == date(2026, 4, 12)                    # ROLL_DAYS, 14 CFR 61.57(a)
    assert earliest_by_months(date(2026, 8, 31), 6) == date(2026, 3, 1)                    # ROLL_MONTHS, stricter
    assert earliest_by_months(date(2028, 2, 29), 12) == date(2027, 3, 1)                   # no 29 February 2027
    assert earliest_by_preceding_months(date(2026, 10, 15), 6) == date(2026, 4, 1)         # 14 CFR 61.57(c)


def test_whichever_first_leaves_out_what_is_not_known():
    assert first_of([date(2027, 3, 31), None, date(2026, 12, 1)]) == date(2026, 12, 1)
    assert first_of([None, None]) is None


def test_a_tolerance_without_carry_is_taken_off_the_next_interval():
    due, late, early = date(2026, 3, 31), date(2026, 4, 20), date(2026, 3, 1)
    assert next_due(counted_from(due, late, carry=False), "12 months") == date(2027, 3, 31)   # EU minimum programme, from the due date
    assert next_due(counted_from(due, late, carry=True), "12 months") == date(2027, 4, 20)
    for carry in (True, False):
        assert counted_from(due, early, carry=carry) == early
        assert counted_from(None, late, carry=carry) == late


@pytest.mark.parametrize(("moment", "zone", "day"), [
    (datetime(2026, 7, 12, 5, 59, tzinfo=UTC), "America/Boise", date(2026, 7, 11)),        # still the evening before
    (datetime(2026, 7, 12, 6, 0, tzinfo=UTC), "America/Boise", date(2026, 7, 12)),
    (datetime(2026, 3, 8, 6, 59, tzinfo=UTC), "America/Boise", date(2026, 3, 7)),          # the short night
    (datetime(2026, 3, 9, 5, 59, tzinfo=UTC), "America/Boise", date(2026, 3, 8)),
    (datetime(2026, 3, 9, 6, 0, tzinfo=UTC), "America/Boise", date(2026, 3, 9)),           # a day of 23 hours
    (datetime(2026, 11, 1, 6, 0, tzinfo=UTC), "America/Boise", date(2026, 11, 1)),
    (datetime(2026, 11, 2, 6, 59, tzinfo=UTC), "America/Boise", date(2026, 11, 1)),        # a day of 25 hours
    (datetime(2026, 11, 2, 7, 0, tzinfo=UTC), "America/Boise", date(2026, 11, 2)),
    (datetime(2026, 3, 31, 10, 30, tzinfo=UTC), "Pacific/Auckland", date(2026, 3, 31)),
    (datetime(2026, 3, 31, 11, 0, tzinfo=UTC), "Pacific/Auckland", date(2026, 4, 1)),
    (datetime(2026, 2, 28, 23, 30, tzinfo=UTC), "Europe/Berlin", date(2026, 3, 1)),
])
def test_a_last_day_ends_at_the_midnight_of_the_place(moment, zone, day):
    assert day_at(moment, ZoneInfo(zone)) == day


@pytest.mark.parametrize("every", ["12", "twelve months", "0 months", "-3 months", "12 weeks", "5000 months", "", "31 June of the next year", "1 Marz of the next year",
                                   "30 days from the first of the next month", "2 calendar months from the first of the next month"])
def test_what_is_no_interval_is_one_sentence(every):
    with pytest.raises(BadInput, match="every"):
        next_due(date(2026, 3, 5), every)


def test_a_moment_without_a_zone_is_refused():
    with pytest.raises(BadInput, match="zone"):
        day_at(datetime(2026, 3, 1, 12), UTC)


@settings(max_examples=200, derandomize=True)
@given(DAYS, st.integers(1, 90), st.integers(0, 10), st.sampled_from(PATTERNS))
def test_a_due_date_never_moves_later_when_an_interval_shortens(done, count, more, pattern):
    assert done < next_due(done, pattern.format(count)) <= next_due(done, pattern.format(count + more))


@settings(max_examples=200, derandomize=True)
@given(DAYS, st.integers(0, 400), st.integers(1, 60), st.sampled_from(PATTERNS))
def test_a_due_date_never_moves_earlier_when_something_is_done_later(done, days, count, pattern):
    assert next_due(done, pattern.format(count)) <= next_due(done + timedelta(days=days), pattern.format(count))


@settings(max_examples=150, derandomize=True)
@given(DAYS, st.integers(0, 800), st.integers(1, 12), st.integers(1, 24))
def test_practice_that_counts_lies_within_the_months_before_the_flight(done, days, k, months):
    flight = done + timedelta(days=days)
    first = grace_then_roll(done, flight, k, months)
    if first is None:
        assert flight <= (from_first_of_next_month(done, k - 1) if k > 1 else month_end(done))
    else:
        assert first == earliest_by_months(flight, months) <= flight


@settings(max_examples=100, derandomize=True)
@given(DAYS, st.integers(-400, 400), st.booleans())
def test_what_was_overrun_is_never_won(due, late, carry):
    done = due + timedelta(days=late)
    assert counted_from(due, done, carry=carry) <= done
    assert counted_from(due, done, carry=False) <= counted_from(due, done, carry=True)


@pytest.mark.parametrize("place", ["USA", "Canada", "EASA", "life"])
def test_every_item_of_a_starter_set_has_source_section_status_and_an_interval(place):
    found = load_starter(place)
    for item in found.items:
        assert item.section and item.source and item.status != "owner" and limited(item)
        assert not item.every or next_due(date(2026, 3, 5), item.every) > date(2026, 3, 5)
        assert item.source_date or item.status == "from memory"
    assert USES == entries.USES


@pytest.mark.parametrize(("place", "name", "every", "hours", "section"), [
    ("USA", "annual inspection", "12 calendar months", None, "91.409(a)"),       # MD-01
    ("USA", "100-hour inspection", "", 100.0, "91.409(b)"),                      # MD-02
    ("USA", "ELT inspection", "12 calendar months", None, "91.207(d)"),          # MD-03
    ("USA", "altimeter and static test", "24 calendar months", None, "91.411"),  # MD-04
    ("USA", "transponder test", "24 calendar months", None, "91.413"),           # MD-04
    ("USA", "VOR check", "30 days", None, "91.171"),                             # MD-05
    ("Canada", "annual inspection", "12 calendar months", None, "625.86(2)"),
    ("Canada", "fixed-pitch propeller removal", "5 years", None, "Appendix C"),
    ("Canada", "annual airworthiness report", "30 March of the next year", None, "501.03"),
    ("EASA", "annual or 100-hour inspection", "12 months", 100.0, "ML.A.302"),
    ("life", "oil change", "4 months", 50.0, "maker"),
    ("life", "engine overhaul", "12 years", 2000.0, "maker"),
    ("life", "propeller overhaul", "72 calendar months", 2000.0, "maker"),
])
def test_starter_sets_say_what_our_sheet_of_rules_says(place, name, every, hours, section):
    (found,) = [i for i in load_starter(place).items if i.name == name]
    assert (found.every, found.hours_h) == (every, hours) and section in found.section


def test_the_overrun_of_100_hours_and_of_the_minimum_programme():
    (us,) = [i for i in load_starter("usa").items if i.name == "100-hour inspection"]
    (eu,) = [i for i in load_starter("EASA").items if i.name == "annual or 100-hour inspection"]
    assert (us.tolerance_h, us.carry, us.optional) == (10.0, False, True)
    assert (eu.tolerance_h, eu.tolerance, eu.carry) == (10.0, "1 month", False)


@pytest.mark.parametrize(("text", "word"), [
    ("", "empty"), ("title = \"x\"", "no item"), ("[[item]]\nname = \"a\"", "no limit"),
    ("[[item]]\nname = \"a\"\nevery = \"12\"", "interval"), ("[[item]]\nname = \"a\"\nhours = \"50\"", "unit"),
    ("[[item]]\nname = \"a\"\nhours = \"50 kt\"", "time"), ("[[item]]\nname = \"a\"\nlandings = 0", "whole number"),
    ("[[item]]\nname = \"a\"\nevery = \"1 year\"\nuses = [\"ifr\"]", "list of"),
    ("[[item]]\nname = \"a\"\nevery = \"1 year\"\nevry = \"2 years\"", "unknown key"),
    ("[[item]]\nname = \"a\"\nevery = \"1 year\"\n[[item]]\nname = \"A\"\nevery = \"1 year\"", "two items"),
    ("[[item]]\nname = \"a\"\nevery = \"1 year\"\nfirst_due = \"soon\"", "date"),
])
def test_a_file_of_items_that_cannot_be_read_is_one_sentence(text, word):
    with pytest.raises(BadInput, match=word):
        read_items(read_toml(text, "items.toml"))


def test_no_set_for_another_place():
    with pytest.raises(BadInput, match="allowed are USA, Canada, EASA, life"):
        load_starter("Atlantis")
