"""Worked examples of the date patterns (derived in our sheet of rules from the sections named), and MD-01."""

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.errors import BadInput
from ownship.rules.due import (
    earliest_by_days,
    earliest_by_months,
    earliest_by_preceding_months,
    from_first_of_next_month,
    needed_from,
    next_due,
)

DAYS = st.dates(date(1990, 1, 1), date(2060, 1, 1))


@pytest.mark.parametrize(("done", "every", "due"), [
    (date(2026, 7, 12), "12 calendar months", date(2027, 7, 31)),   # MD-01, FAA test bank
    (date(2026, 3, 5), "12 calendar months", date(2027, 3, 31)),    # CA annual, US annual
    (date(2026, 3, 10), "24 months", date(2028, 3, 10)),            # CA instrument check lapses
    (date(2017, 5, 10), "48 months", date(2021, 5, 10)),            # BasicMed examination, to the day
    (date(2017, 5, 20), "24 calendar months", date(2019, 5, 31)),   # BasicMed course
    (date(2026, 3, 5), "1 calendar month", date(2026, 4, 30)),      # singular
    (date(2026, 1, 31), "1 month", date(2026, 2, 28)),              # clipped to the month's end
    (date(2024, 2, 29), "12 months", date(2025, 2, 28)),
    (date(2024, 2, 29), "1 year", date(2025, 2, 28)),
    (date(2026, 12, 31), "2 calendar months", date(2027, 2, 28)),
    (date(2026, 6, 15), "30 days", date(2026, 7, 15)),              # MD-05, 14 CFR 91.171
    (date(2026, 6, 15), "1 day", date(2026, 6, 16)),
])
def test_last_day_still_good(done, every, due):
    assert next_due(done, every) == due


def test_basicmed_is_good_to_the_earlier_of_examination_and_course():
    exam = date(2017, 5, 10)
    assert min(next_due(exam, "48 months"), next_due(date(2017, 5, 20), "24 calendar months")) == date(2019, 5, 31)
    assert min(next_due(exam, "48 months"), next_due(date(2019, 5, 31), "24 calendar months")) == date(2021, 5, 10)


def test_canadian_instrument_check_then_six_months_of_practice():
    assert needed_from(date(2026, 3, 10), 7) == date(2026, 10, 1)
    assert earliest_by_months(date(2026, 10, 15), 6) == date(2026, 4, 15)


def test_canadian_medical_runs_from_the_first_of_the_next_month():
    assert from_first_of_next_month(date(2026, 3, 10), 24) == date(2028, 3, 31)
    assert from_first_of_next_month(date(2026, 12, 31), 2) == date(2027, 2, 28)


def test_recency_windows_14_cfr_61_57():
    assert earliest_by_days(date(2026, 7, 11), 90) == date(2026, 4, 12)
    assert earliest_by_preceding_months(date(2026, 10, 15), 6) == date(2026, 4, 1)


def test_where_the_day_does_not_exist_the_stricter_reading_holds():
    assert earliest_by_months(date(2026, 8, 31), 6) == date(2026, 3, 1)
    assert earliest_by_months(date(2024, 8, 30), 6) == date(2024, 3, 1)


@settings(max_examples=150, derandomize=True)
@given(DAYS, st.integers(1, 60))
def test_looking_back_and_looking_forward_agree(flight, months):
    first = earliest_by_months(flight, months)
    assert next_due(first, f"{months} months") >= flight
    assert next_due(first - timedelta(days=1), f"{months} months") < flight


@settings(max_examples=100, derandomize=True)
@given(DAYS, st.integers(1, 60))
def test_calendar_months_are_the_most_generous_and_never_by_a_month(done, months):
    to_the_day, to_the_end = next_due(done, f"{months} months"), next_due(done, f"{months} calendar months")
    assert timedelta(0) <= to_the_end - to_the_day < timedelta(days=31)
    assert from_first_of_next_month(done, months) == to_the_end
    assert (to_the_end + timedelta(days=1)).day == 1


@settings(max_examples=100, derandomize=True)
@given(DAYS, st.integers(1, 60), st.integers(0, 24))
def test_a_longer_window_never_begins_later(flight, count, more):
    for window in (earliest_by_days, earliest_by_months, earliest_by_preceding_months):
        assert window(flight, count + more) <= window(flight, count) <= flight


def test_the_end_of_the_calendar_is_one_sentence():
    with pytest.raises(BadInput, match="calendar"):
        next_due(date(9990, 1, 1), "1200 months")
    with pytest.raises(BadInput):
        next_due(date(9999, 12, 31), "1 day")
