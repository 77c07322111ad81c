"""What is due: the MD rows, tolerance, directives, totals, what is missing, open items and the forecast of the date."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.errors import BadInput
from ownship.ownership.airframe_totals import totals
from ownship.ownership.entries import Entry, Expiry, Flight, Interval, MaintenanceDone, MaintenanceItem
from ownship.ownership.forecast import Pace, days_until, forecast, pace
from ownship.ownership.maintenance import due_list, endings, kept_any, open_items, refuse_tolerance
from ownship.questions.maintaining_entries import item_of
from ownship.rules.starter import load_starter

A = "N0160T"
DAY = date(2026, 7, 11)
ALL = ("VFR", "night", "IFR", "passengers")


def entries(*bodies):
    """Bodies as entries in this order."""
    then = datetime(2026, 1, 1, tzinfo=UTC)
    return tuple(Entry(i, f"u{i}", A, then, then, b) for i, b in enumerate(bodies, 1))


def item(name="annual", every="", hours=None, landings=None, **more):
    interval = Interval(every, hours, landings, **{k: more.pop(k) for k in ("tolerance_h", "tolerance_days", "tolerance", "carry")
                                                   if k in more})
    return MaintenanceItem(name, name, interval, **more)


def done(name, day, hours=None, landings=None, **more):
    return MaintenanceDone(name, day, hours, landings, **more)


def flight(start, hours, landings=1, air=True):
    end = start + timedelta(hours=hours)
    return Flight(start, end, "KBOI", "KBOI", *((start, end) if air else (None, None)), landings_day=landings)


def only(*bodies, on=DAY, **more):
    (found,) = due_list(entries(*bodies), A, on, **more)
    return found


def test_md_01_annual_done_12_july_is_good_to_the_end_of_july():
    bodies = item(every="12 calendar months"), done("annual", date(2025, 7, 12))
    assert only(*bodies).day == date(2026, 7, 31)
    assert only(*bodies, on=date(2026, 7, 31)).state == "due soon"
    assert only(*bodies, on=date(2026, 8, 1)).state == "overdue"


def test_md_02_the_excess_over_100_hours_counts_toward_the_next():
    hundred = item("100 h", hours=100.0, tolerance_h=10.0, carry=False)
    first, late = done("100 h", date(2026, 1, 1), 1000.0), done("100 h", date(2026, 6, 1), 1107.0)
    assert only(hundred, first, done("total time", DAY, 1107.0)).state == "in tolerance"
    assert only(hundred, first, done("total time", DAY, 1110.1)).state == "overdue"
    assert only(hundred, first, late).hours_h == 1200.0
    assert only(item("100 h", hours=100.0), first, late).hours_h == 1207.0
    assert only(hundred, first, done("100 h", date(2026, 6, 1), 1090.0)).hours_h == 1190.0


def test_eu_minimum_programme_a_month_and_ten_hours_no_carry():
    mip = item("annual", every="12 months", hours=100.0, tolerance="1 month", tolerance_h=10.0, carry=False)
    bodies = mip, done("annual", date(2025, 6, 20), 1000.0)
    assert only(*bodies, on=date(2026, 6, 21)).state == "in tolerance"
    assert only(*bodies, on=date(2026, 7, 20)).state == "in tolerance"
    assert only(*bodies, on=date(2026, 7, 21)).state == "overdue"
    assert only(*bodies, done("annual", DAY, 1050.0)).day == date(2027, 6, 20)
    assert only(*bodies, done("annual", DAY, 1050.0, anew=True)).day == date(2027, 7, 11)


@pytest.mark.parametrize(("every", "last", "day"), [
    ("12 calendar months", date(2025, 9, 3), date(2026, 9, 30)),     # MD-03, 14 CFR 91.207(d)
    ("24 calendar months", date(2025, 7, 12), date(2027, 7, 31)),    # MD-04, 14 CFR 91.411 and 91.413
    ("30 days", date(2026, 6, 15), date(2026, 7, 15)),               # MD-05, 14 CFR 91.171
])
def test_md_03_to_05(every, last, day):
    assert only(item("x", every=every), done("x", last)).day == day


def test_whichever_first_of_calendar_hours_and_landings():
    oil = item("oil", every="4 months", hours=50.0, landings=100)
    base = done("oil", date(2026, 6, 1), 1000.0, 500)
    assert only(oil, base).state == "good"
    assert only(oil, base, done("total time", DAY, 1050.1, 510)).state == "overdue"
    assert only(oil, base, done("total time", DAY, 1001.0, 601)).state == "overdue"
    assert only(oil, base, on=date(2026, 10, 2)).state == "overdue"
    assert only(oil, base, done("total time", DAY, 1045.0, 510)).state == "due soon"


def test_the_flight_asked_about_is_on_top():
    oil = item("oil", hours=50.0), done("oil", date(2026, 6, 1), 1000.0), done("total time", DAY, 1048.0)
    assert only(*oil, ahead_h=2.0).state == "due soon"
    assert only(*oil, ahead_h=2.1).state == "overdue"


def test_what_was_never_noted_is_not_known_and_never_a_pass():
    assert only(item(every="12 calendar months")).state == "not known"
    without_hours = only(item("oil", hours=50.0, every="4 months"), done("oil", date(2026, 7, 1)))
    assert without_hours.state == "not known" and "air time" in " ".join(without_hours.words)
    assert only(item("tyres", landings=300), done("tyres", date(2026, 7, 1), 1000.0)).state == "not known"
    assert only(item("oil", hours=50.0, every="4 months"), done("oil", date(2025, 7, 1))).state == "overdue"
    assert only(item("ad", first_due_h=1200.0, directive="2026-01-02")).state == "not known"


def test_a_directive_once_only_and_recurring_and_its_terminating_action():
    once = item("ad 1", directive="2026-01-02", fixed_date=date(2026, 8, 1))
    assert (only(once).state, only(once, on=date(2026, 8, 2)).state) == ("due soon", "overdue")
    assert only(once, done("ad 1", date(2026, 7, 1))).state == "finished"
    again = item("ad 2", hours=100.0, directive="2026-03-04", first_due_h=1050.0)
    assert only(again, done("total time", DAY, 1051.0)).state == "overdue"
    assert only(again, done("ad 2", date(2026, 7, 1), 1049.0)).hours_h == 1149.0
    ended = again, done("ad 2", date(2026, 7, 1), 1049.0, terminating=True), done("total time", date(2030, 1, 1), 9000.0)
    assert only(*ended, on=date(2031, 1, 1)).state == "finished"
    assert only(*ended, on=date(2026, 6, 1)).state == "not known"  # before it was done, by what was known
    assert only(item("ad 3", hours=100.0, terminated="new part fitted")).state == "finished"


def test_a_past_day_is_judged_by_what_was_done_then():
    bodies = item(every="12 calendar months"), done("annual", date(2024, 7, 12)), done("annual", date(2026, 7, 1))
    assert only(*bodies, on=date(2026, 6, 30)).state == "overdue"
    assert only(*bodies).state == "good"


def test_totals_are_the_last_reading_and_the_flights_since():
    kept = entries(done("oil", date(2026, 7, 1), 1000.0, 500), done("x", date(2026, 6, 1), 990.0),
                   flight(datetime(2026, 6, 30, 15, tzinfo=UTC), 3.0), flight(datetime(2026, 7, 1, 15, tzinfo=UTC), 1.5, 2),
                   flight(datetime(2026, 7, 2, 15, tzinfo=UTC), 2.0, 3, air=False), flight(datetime(2026, 7, 20, 15, tzinfo=UTC), 9.0))
    found = totals(kept, A, DAY)
    assert (found.hours_h, found.landings) == (pytest.approx(1003.5), 505)
    assert any("1 flights have no air time" in w for w in found.words)
    assert totals((), A, DAY).hours_h is None


def test_flights_have_the_day_of_the_place():
    kept = entries(done("oil", date(2026, 7, 2), 1000.0), flight(datetime(2026, 7, 2, 3, tzinfo=UTC), 1.0))
    assert totals(kept, A, DAY, UTC).hours_h == 1001.0
    assert totals(kept, A, DAY, ZoneInfo("America/Boise")).hours_h == 1000.0  # still the evening of the first


def test_open_items_by_use_with_section_and_how_it_is_known():
    kept = entries(item("static", every="24 calendar months", uses=("IFR",), section="14 CFR 91.411", status="read"),
                   item("annual", every="12 calendar months", section="14 CFR 91.409(a)", status="from memory"),
                   item("vor", every="30 days", uses=("IFR",), section="14 CFR 91.171"), done("vor", DAY),
                   done("static", date(2023, 1, 1)), Expiry("insurance", date(2026, 7, 10)), Expiry("charts", DAY, uses=("IFR",)))
    found = open_items(kept, A, DAY, ["VFR"])
    assert [(o.name, o.state) for o in found] == [("insurance", "overdue"), ("annual", "not known")]
    assert any("from memory" in w for w in found[1].words)
    ifr = open_items(kept, A, DAY, ("IFR",))
    assert [(o.name, o.section) for o in ifr] == [("static", "14 CFR 91.411"), ("insurance", ""), ("annual", "14 CFR 91.409(a)")]
    assert open_items(kept, "C-XXXX", DAY, ALL) == () and not kept_any(kept, "C-XXXX") and kept_any(kept, A)


def test_the_latest_ending_of_each_document_counts():
    kept = entries(Expiry("insurance", date(2026, 1, 1)), Expiry("Insurance", date(2027, 1, 1)), Expiry("beacon", date(2026, 8, 1)))
    assert [(e.what, e.left_days, e.state) for e in endings(kept, A, DAY)] == [("beacon", 21, "due soon"), ("Insurance", 174, "good")]


def test_a_corrected_entry_is_computed_anew():
    kept = [*entries(item(every="12 calendar months"), done("annual", date(2025, 7, 12)))]
    kept.append(Entry(3, "u3", A, kept[0].moment, kept[0].moment, done("annual", date(2025, 3, 2)), corrects=2))
    assert due_list(kept, A, DAY)[0].day == date(2026, 3, 31)


HISTORY = st.lists(st.tuples(st.integers(0, 900), st.floats(0, 150)), min_size=1, max_size=5)
PATTERNS = ("{} days", "{} months", "{} calendar months", "{} years")


@settings(max_examples=200, derandomize=True)
@given(HISTORY, st.integers(1, 40), st.integers(0, 5), st.floats(1, 300), st.floats(0, 50), st.sampled_from(PATTERNS), st.booleans())
def test_a_due_point_never_moves_later_when_an_interval_shortens(history, count, more, hours, longer, pattern, carry):
    day, total, works = date(2020, 1, 31), 1000.0, []
    for days, flown in history:
        day, total = day + timedelta(days=days), total + flown
        works.append(done("x", day, total))
    short = only(item("x", pattern.format(count), hours, carry=carry), *works, on=day)
    long = only(item("x", pattern.format(count + more), hours + longer, carry=carry), *works, on=day)
    assert short.day <= long.day and short.hours_h <= long.hours_h + 1e-9
    assert not (short.state == "good" and long.state == "overdue")


@settings(max_examples=60, derandomize=True)
@given(st.floats(0, 200), st.floats(0, 50), st.integers(0, 400))
def test_more_flown_and_more_days_never_helps(flown, more, days):
    order = ["good", "due soon", "in tolerance", "overdue"]
    work = item("x", "12 months", 100.0, tolerance_h=10.0, tolerance_days=5), done("x", date(2026, 1, 1), 1000.0)
    one = only(*work, done("total time", DAY, 1000.0 + flown))
    other = only(*work, done("total time", DAY, 1000.0 + flown), on=DAY + timedelta(days=days), ahead_h=more)
    assert order.index(one.state) <= order.index(other.state)


# ---- forecast


def monthly(hours, first=date(2024, 7, 1)):
    """A flight of so many hours in each month from the first on, after an opening flight the month before."""
    flights = [flight(datetime(first.year, first.month, 1, tzinfo=UTC) - timedelta(days=3), 1.0)]
    for i, h in enumerate(hours):
        month = first.month - 1 + i
        flights.append(flight(datetime(first.year + month // 12, month % 12 + 1, 10, tzinfo=UTC), h))
    return flights


def test_the_pace_is_of_whole_months_and_counts_empty_ones():
    kept = entries(*monthly([4.0, 8.0, 6.0]), flight(datetime(2026, 7, 5, tzinfo=UTC), 99.0))
    found = pace(kept, A, DAY)
    assert len(found.hours_h) == 24 and found.hours_h[:4] == (4.0, 8.0, 6.0, 0.0)
    assert found.mean_h == pytest.approx(18 / 24)
    short = pace(entries(*monthly([5.0] * 5, date(2026, 2, 1))), A, DAY)
    assert short.hours_h == () and "6 are needed" in short.words
    assert pace((), A, DAY).mean_h is None


def test_at_a_steady_pace_the_date_is_arithmetic():
    due = only(item("oil", hours=50.0), done("oil", date(2026, 6, 30), 1000.0), on=date(2026, 6, 30))
    found = forecast(due, Pace((10.0,) * 12, ""), date(2026, 6, 30), 1)
    assert (found.early, found.middle, found.late, found.by) == (date(2026, 11, 30),) * 3 + ("hours",)
    half = forecast(due, Pace((20.0,) * 12, ""), date(2026, 6, 30), 1)
    assert half.middle == date(2026, 9, 15)  # 2.5 months: July, August and half of September


def test_the_calendar_comes_first_where_it_does():
    due = only(item("oil", "4 months", 50.0), done("oil", date(2026, 6, 30), 1000.0), on=date(2026, 6, 30))
    found = forecast(due, Pace((1.0, 2.0) * 6, ""), date(2026, 6, 30), 1)
    assert (found.middle, found.late, found.by) == (date(2026, 10, 30), date(2026, 10, 30), "calendar")


def test_what_cannot_be_forecast_says_so():
    by_hours = only(item("oil", hours=50.0), done("oil", DAY, 1000.0))
    assert not forecast(by_hours, Pace((), "no flight is in the record"), DAY, 1).known
    both = only(item("oil", "4 months", 50.0), done("oil", DAY, 1000.0))
    found = forecast(both, Pace((), "no flight"), DAY, 1)
    assert found.early is None and "not known" in found.words
    never = forecast(by_hours, Pace((0.0,) * 12, ""), DAY, 1)
    assert (never.early, never.late) == (None, None)
    assert not forecast(only(item("tyres", landings=50), done("tyres", DAY, 1.0, 5)), Pace((1.0,) * 12, ""), DAY, 1).known


def test_the_band_holds_the_day_about_nine_times_in_ten():
    chance, inside, count = np.random.default_rng(5), 0, 150
    for i in range(count):
        past, future = chance.gamma(2.0, 3.0, 18), chance.gamma(2.0, 3.0, 60)
        true = np.interp(50.0, np.append(0.0, np.cumsum(future)), np.arange(61.0)) * 30.4
        early, late = np.quantile(days_until(50.0, Pace(tuple(past), ""), date(2026, 6, 30), i), (0.05, 0.95))
        inside += early - 16 <= true <= late + 16  # a flight's place inside its month is not modelled
    assert 0.85 * count <= inside <= count


@settings(max_examples=40, derandomize=True)
@given(st.lists(st.floats(0, 30), min_size=6, max_size=24), st.floats(0.1, 150), st.floats(0, 50), st.dates(date(2024, 1, 1), date(2028, 12, 31)))
def test_more_hours_left_are_never_sooner_and_the_same_seed_is_the_same_answer(hours, left, more, on):
    flown = Pace(tuple(hours), "")
    one = days_until(left, flown, on, 3)
    assert np.all(one <= days_until(left + more, flown, on, 3) + 1e-6)
    assert np.array_equal(one, days_until(left, flown, on, 3)) and np.all(one >= 0)


# ---- a reading below the hours already flown


def test_a_reading_below_what_was_flown_takes_nothing_back():
    """1,000 h noted, 60 h of air time flown since: a later reading of 1,001 h leaves 1,060 h, and what was overdue stays so."""
    oil = item("oil", hours=50.0)
    flown = [flight(datetime(2026, 2, n, 12, tzinfo=UTC), 6) for n in range(1, 11)]
    before = [oil, done("oil", date(2026, 1, 1), 1000.0, 5000), *flown]
    assert only(*before).state == "overdue"
    after = [*before, done("total time", date(2026, 6, 1), 1001.0, 5001)]
    assert only(*after).state == "overdue"
    now = totals(entries(*after), A, DAY)
    assert (now.hours_h, now.landings) == (pytest.approx(1060.0), 5010)
    assert any("below the 1,000.0 h of 2026-01-01" in w and "the higher" in w for w in now.words)
    assert any("fewer than the 5,000 of 2026-01-01" in w for w in now.words)


def test_a_reading_settles_what_was_only_block_time_and_what_was_flown_on_the_day_of_the_reading_before():
    blocks = [flight(datetime(2026, 2, n, 12, tzinfo=UTC), 6, air=False) for n in range(1, 11)]
    read = [done("total time", date(2026, 1, 1), 1000.0), *blocks, done("total time", date(2026, 6, 1), 1045.0)]
    assert totals(entries(*read), A, DAY).hours_h == pytest.approx(1045.0)
    low = [*read[:-1], done("total time", date(2026, 6, 1), 1029.0)]
    assert totals(entries(*low), A, DAY).hours_h == pytest.approx(1030.0)     # half of the blocks is the least
    same_day = [done("total time", date(2026, 2, 1), 1006.0), blocks[0], done("total time", date(2026, 6, 1), 1006.0)]
    assert totals(entries(*same_day), A, DAY).hours_h == pytest.approx(1006.0)


@given(st.lists(st.tuples(st.integers(0, 300), st.floats(0.2, 8.0)), min_size=1, max_size=12), st.floats(0, 40), st.integers(1, 300))
@settings(max_examples=60, deadline=None)
def test_no_reading_ever_makes_the_airframe_younger(flown, more, when):
    day = date(2025, 1, 1)
    flights = [flight(datetime(2025, 1, 1, 12, tzinfo=UTC) + timedelta(days=n), h) for n, h in flown]
    kept = [done("total time", day, 1000.0), *flights]
    least = 1000.0 + sum(h for n, h in flown if n > 0)
    late = [*kept, done("total time", day + timedelta(days=when), 1000.0 + more)]
    assert totals(entries(*late), A, day + timedelta(days=400)).hours_h >= least - 0.05 - 1e-6


# ---- tolerances


@pytest.mark.parametrize(("limits", "why"), [
    ({"every": "12 months", "tolerance": "24 months"}, "24 months is longer than the interval of 12 months"),
    ({"every": "30 days", "tolerance": "1 month"}, "is longer than the interval of 30 days"),
    ({"every": "12 calendar months", "tolerance": "400 days"}, "is longer than the interval"),
    ({"hours": 50.0, "tolerance_h": 60.0}, "60 h is longer than the interval of 50 h"),
    ({"hours": 50.0, "tolerance": "1 month"}, "needs a date to overrun"),
    ({"every": "12 months", "tolerance_h": 10.0}, "needs hours to overrun")])
def test_a_tolerance_beyond_its_interval_is_refused(limits, why):
    with pytest.raises(BadInput, match=why):
        refuse_tolerance(item(**limits))


def test_the_tolerances_of_the_rules_are_kept():
    """rules.md section 1 and 4: + 1 month and + 10 h on an annual and 100 h (ML.A.302)."""
    refuse_tolerance(item(every="12 months", hours=100.0, tolerance="1 month", tolerance_h=10.0))
    for place in ("USA", "Canada", "EASA", "life"):
        for text in load_starter(place).items:
            refuse_tolerance(item_of(text))


@pytest.mark.parametrize(("limits", "now", "by"), [
    ({"hours": 50.0, "every": "24 months"}, (1050.0, 5000), "hours"), ({"hours": 50.0, "every": "24 months"}, (1070.0, 5000), "hours"),
    ({"landings": 300, "every": "24 months"}, (1000.0, 5300), "landings"), ({"landings": 300}, (1000.0, 5400), "landings")])
def test_what_is_used_up_is_due_now_whatever_the_pace(limits, now, by):
    due = only(item("x", **limits), done("x", date(2026, 6, 1), 1000.0, 5000), done("total time", DAY, *now))
    for pace_ in (Pace((), "no flight"), Pace((5.0,) * 12, "5 h a month")):
        found = forecast(due, pace_, DAY, 1)
        assert (found.early, found.middle, found.late, found.by) == (DAY, DAY, DAY, by)
    late = only(item("x", **limits), done("x", date(2022, 6, 1), 1000.0, 5000), done("total time", DAY, *now))
    assert forecast(late, Pace((), "no flight"), DAY, 1).middle == (date(2024, 6, 1) if "every" in limits else DAY)
