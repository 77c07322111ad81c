"""What stands against a flight on any of its days, once, by the worst day."""

from datetime import UTC, date, datetime

from hypothesis import given
from hypothesis import strategies as st

from ownship.ownership.days import on_days
from ownship.ownership.defects import open_defects
from ownship.ownership.entries import Defect, Entry, PilotEvent
from ownship.ownership.recency import lapsed

FRIDAY, SATURDAY, SUNDAY = date(2026, 7, 10), date(2026, 7, 11), date(2026, 7, 12)
NOON = datetime(2026, 7, 1, 12, tzinfo=UTC)


def record(*bodies):
    return tuple(Entry(i, str(i), "N0160T", NOON, NOON, b) for i, b in enumerate(bodies, 1))


def test_a_deferral_that_ends_between_the_days_is_over_on_the_later_one():
    kept = record(Defect("radio", "found", "dead"), Defect("radio", "deferred", "placarded", until=SATURDAY))
    found = on_days((FRIDAY, SUNDAY), lambda day: open_defects(kept, "N0160T", day=day), lambda d: d.name, lambda d: d.over)
    assert [(day, d.over) for day, d in found] == [(SUNDAY, True)]
    same = on_days((FRIDAY, SATURDAY), lambda day: open_defects(kept, "N0160T", day=day), lambda d: d.name, lambda d: d.over)
    assert [(day, d.over) for day, d in same] == [(FRIDAY, False)]


def test_a_review_that_ends_between_the_days_is_missing_on_the_way_back():
    """14 CFR 61.56: good to the end of the 24th calendar month; the review of July 2024 to 31 July 2026."""
    kept = record(PilotEvent("pilot", "flight review", date(2024, 7, 2)))

    def ask(*days):
        found = on_days(days, lambda day: lapsed(kept, "pilot", "USA", ("VFR",), day), lambda x: x.privilege,
                        lambda x: x.state == "not current")
        return {x.privilege: (day, x.state) for day, x in found}

    assert "review" not in ask(date(2026, 7, 30), date(2026, 7, 31))
    assert ask(date(2026, 7, 31), date(2026, 8, 1))["review"] == (date(2026, 8, 1), "not current")
    assert ask(date(2026, 7, 31))["medical"] == (date(2026, 7, 31), "not known")


@given(st.lists(st.dates(), max_size=4), st.dictionaries(st.dates(), st.lists(st.tuples(st.sampled_from("abc"), st.integers(0, 3)))))
def test_nothing_found_on_any_day_is_lost_and_none_is_milder_than_on_its_worst_day(days, by_day):
    found = on_days(days, lambda day: by_day.get(day, []), lambda x: x[0], lambda x: x[1])
    every = [x for day in days for x in by_day.get(day, [])]
    assert {x[0] for _, x in found} == {x[0] for x in every} and len(found) == len({x[0] for _, x in found})
    for day, x in found:
        assert x in by_day[day] and x[1] == max(y[1] for y in every if y[0] == x[0])
