"""Recency of a pilot: the worked examples about people of our sheet of rules, the sections' own figures, and properties."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.errors import BadInput
from ownship.ownership.entries import Approach, Entry, Flight, Pilot, PilotEvent
from ownship.ownership.progress import (
    Flown,
    amount,
    facts,
    night_full_stops,
    night_landings,
    night_take_offs,
    pace,
    pilots,
    progress,
)
from ownship.ownership.recency import judge, lapsed, needed_for, not_after
from ownship.rules.recency import Need

NOW = datetime(2026, 1, 1, tzinfo=UTC)


def record(*bodies):
    return tuple(Entry(i, str(i), "N0160T", getattr(b, "off_blocks", NOW), NOW, b) for i, b in enumerate(bodies, 1))


def flight(day, hour=15, **more):
    off = datetime(day.year, day.month, day.day, hour, tzinfo=UTC)
    return Flight(off, off + timedelta(hours=1), "KBOI", "KBOI", pilot="pilot", **{"landings_day": 1} | more)


def event(name, day, **more):
    return PilotEvent("pilot", name, day, **more)


def approaches(day, count, **more):
    return flight(day, approaches=(Approach("ILS", "KBOI"),) * count, **more)


def standing(place, privilege, on, *bodies, **more):
    return next(s for s in judge(record(*bodies), "pilot", place, on, **more) if s.privilege == privilege)


# ---- worked examples about people (rules sheet, section 1)


def test_canada_instrument_check_2026_03_10_no_approaches_before_2026_10_01_then_six_from_2026_04_15():
    check = event("instrument proficiency check", date(2026, 3, 10))
    early = standing("Canada", "IFR", date(2026, 9, 30), check)
    assert (early.state, early.until) == ("current", date(2026, 9, 30))
    on = date(2026, 10, 15)
    for day, state in ((date(2026, 4, 15), "current"), (date(2026, 4, 14), "not current")):
        assert standing("Canada", "IFR", on, check, approaches(day, 6)).state == state
    five = standing("Canada", "IFR", on, check, approaches(date(2026, 5, 1), 5))
    assert five.state == "not current"
    assert "instrument approaches to the minima: 1 more (5 of 6 within 6 months)" in five.missing


def test_canada_the_check_itself_lapses_24_months_after():
    flown = [approaches(date(2028, 3, 1), 6)]
    check = event("instrument proficiency check", date(2026, 3, 10))
    assert standing("Canada", "IFR", date(2028, 3, 10), check, *flown).until == date(2028, 3, 10)
    assert standing("Canada", "IFR", date(2028, 3, 11), check, *flown).state == "not current"


def test_canada_private_medical_at_45_examined_2026_03_10_is_shown_until_2028_03_31_and_the_printed_date_prevails():
    pilot = Pilot("pilot", date(1981, 1, 5), "Canada")
    assert standing("Canada", "medical", date(2026, 5, 1), pilot, event("medical", date(2026, 3, 10), detail="3")).until == date(
        2028, 3, 31)
    printed = event("medical", date(2026, 3, 10), detail="category 3", expires=date(2028, 4, 1))
    assert standing("Canada", "medical", date(2026, 5, 1), pilot, printed).until == date(2028, 4, 1)


def test_basicmed_examined_2017_05_10_course_2017_05_20_to_2019_05_31_then_repeated_to_2021_05_10():
    exam, course = event("BasicMed exam", date(2017, 5, 10)), event("BasicMed course", date(2017, 5, 20))
    again = event("BasicMed course", date(2019, 5, 31))
    assert standing("USA", "medical", date(2018, 1, 1), exam, course).until == date(2019, 5, 31)
    assert standing("USA", "medical", date(2019, 6, 1), exam, course).state == "not current"
    assert standing("USA", "medical", date(2020, 1, 1), exam, course, again).until == date(2021, 5, 10)


# ---- the sections' own figures


def test_14_cfr_61_57_a_three_take_offs_and_landings_in_90_days():
    three = flight(date(2026, 4, 12), landings_day=3)
    assert standing("USA", "passengers by day", date(2026, 7, 11), three).state == "current"
    assert standing("USA", "passengers by day", date(2026, 7, 11), three).until == date(2026, 7, 11)
    after = standing("USA", "passengers by day", date(2026, 7, 12), three)
    assert (after.state, after.until) == ("not current", date(2026, 7, 11))
    assert after.missing == ("take-offs: 3 more (0 of 3 within 90 days); landings: 3 more (0 of 3 within 90 days)",)
    assert "61.57(a)" in after.cites[0]


def test_other_class_other_pilot_and_the_instructors_seat_do_not_count():
    day = date(2026, 7, 1)
    for other in (flight(day, landings_day=3, aeroplane_class="multi-engine land"), flight(day, landings_day=3, role="instructor"),
                  replace(flight(day, landings_day=3), pilot="partner")):
        assert standing("USA", "passengers by day", day, other).state != "current"
    assert standing("USA", "passengers by day", day, flight(day, landings_day=3, role="dual")).state == "current"
    assert standing("USA", "passengers by day", day, replace(flight(day, landings_day=3), pilot=" Pilot ")).state == "current"


def test_14_cfr_61_57_b_counts_full_stops_only_as_far_as_they_are_noted():
    day = date(2026, 7, 1)
    touch = flight(day, landings_day=0, landings_night=3, take_offs_night=3)
    assert standing("USA", "passengers by night", day, touch).missing == (
        "night landings to a full stop: 2 more (1 of 3 within 90 days)",)
    assert standing("USA", "passengers by night", day, replace(touch, full_stop_night=3)).state == "current"


def test_the_sun_only_ever_takes_away_from_night_landings_as_noted():
    one = facts(record(flight(date(2026, 7, 1), landings_day=0, landings_night=3)), "pilot", date(2026, 7, 1)).flights[0]
    expected = {None: (3, 2, 1), (True, True): (3, 3, 1), (False, True): (1, 0, 1), (True, False): (0, 1, 0), (False, False): (0, 0, 0)}
    for night, counts in expected.items():
        seen = replace(one, night=night)
        assert (night_landings(seen), night_take_offs(seen), night_full_stops(seen)) == counts


def test_canada_five_and_five_in_six_months_and_at_night_by_night():
    day = date(2026, 7, 1)
    assert standing("Canada", "passengers by day", day, flight(date(2026, 1, 1), landings_day=5)).until == day
    assert standing("Canada", "passengers by day", day, flight(date(2025, 12, 31), landings_day=5)).state == "not current"
    night = flight(day, landings_day=0, landings_night=5, take_offs_night=5)
    assert standing("Canada", "passengers by night", day, flight(day, landings_day=9)).state == "not current"
    assert standing("Canada", "passengers by night", day, night).state == "current"
    assert standing("Canada", "passengers by day", day, night).state == "current"


def test_fcl_060_b_night_needs_one_at_night_or_an_instrument_rating():
    day = date(2026, 7, 1)
    three = flight(day, landings_day=3)
    assert standing("EASA", "passengers by night", day, three).state != "current"
    assert standing("EASA", "passengers by night", day, three, event("instrument rating test", date(2026, 1, 1))).state == "current"
    assert standing("EASA", "passengers by night", day, three, event("instrument rating test", date(2025, 6, 30))).state == "not current"
    dusk = flight(day, landings_day=2, landings_night=1, take_offs_day=2, take_offs_night=1)
    assert standing("EASA", "passengers by night", day, dusk).until == date(2026, 9, 29)


def test_canada_five_years_review_and_the_way_back():
    day = date(2026, 7, 1)
    assert standing("Canada", "fly at all", day, flight(date(2021, 7, 1))).until == day
    old = flight(date(2021, 6, 30))
    assert standing("Canada", "fly at all", day, old).state == "not current"
    back = (event("flight review", date(2026, 6, 1)), event("written examination", date(2026, 5, 1)))
    assert standing("Canada", "fly at all", day, old, *back).until == date(2027, 5, 1)
    assert standing("Canada", "review", day, event("self-paced questionnaire", date(2024, 7, 1))).until == day


def test_14_cfr_61_56_to_the_end_of_the_24th_calendar_month():
    review = event("flight review", date(2024, 2, 29))
    assert standing("USA", "review", date(2026, 2, 28), review).until == date(2026, 2, 28)
    assert standing("USA", "review", date(2026, 3, 1), review).state == "not current"


def test_lapl_by_flying_for_those_who_hold_it_alone():
    day = date(2026, 7, 1)
    flown = [flight(date(2026, 5, d), landings_day=1) for d in range(1, 13)]
    refresher = event("refresher training", date(2025, 1, 1))
    assert standing("EASA", "review", day, *flown, refresher).state == "not known"
    assert standing("EASA", "review", day, Pilot("pilot", ratings=("LAPL",)), *flown, refresher).until == date(2027, 1, 1)


def test_easa_class_rating_has_the_printed_date_else_two_years():
    assert standing("EASA", "review", date(2026, 7, 1), event("class rating", date(2025, 7, 1))).until == date(2027, 7, 1)
    printed = event("class rating", date(2025, 7, 1), expires=date(2027, 9, 30))
    assert standing("EASA", "review", date(2026, 7, 1), printed).until == date(2027, 9, 30)


# ---- old and new texts


def test_canada_six_hours_of_instrument_time_until_2026_06_16_and_approaches_alone_from_2026_06_17():
    check, flown = event("instrument rating test", date(2025, 1, 10)), approaches(date(2026, 5, 1), 6)
    assert standing("Canada", "IFR", date(2026, 6, 16), check, flown).state == "not current"
    assert standing("Canada", "IFR", date(2026, 6, 17), check, flown).state == "current"
    hours = replace(flown, on_blocks=flown.off_blocks + timedelta(hours=6), simulated_s=6 * 3600.0)
    assert standing("Canada", "IFR", date(2026, 6, 16), check, hours).until == date(2026, 11, 1)


def test_canada_the_grace_of_the_old_text_ends_with_it():
    check = event("instrument rating test", date(2025, 7, 20))
    before = standing("Canada", "IFR", date(2026, 6, 1), check)
    assert (before.state, before.until) == ("current", date(2026, 6, 16))
    assert "2026-06-17" in before.note
    assert standing("Canada", "IFR", date(2026, 6, 17), check).state == "not current"


def test_canada_the_grace_of_the_old_text_is_shortened_where_the_new_still_has_some():
    found = standing("Canada", "IFR", date(2026, 6, 1), event("instrument rating test", date(2026, 3, 10)))
    assert (found.state, found.until) == ("current", date(2026, 9, 30))
    assert "2026-06-17" in found.note


def test_canada_a_medical_renewed_within_its_last_90_days_kept_its_date_until_2026_06_16_and_no_more():
    pilot, first = Pilot("pilot", date(1970, 1, 5), "Canada"), event("medical", date(2024, 6, 10), detail="3")  # to 2026-06-30
    for day, end in ((date(2026, 4, 20), date(2028, 6, 30)), (date(2026, 3, 20), date(2028, 3, 31)),
                     (date(2026, 6, 16), date(2028, 6, 30)), (date(2026, 6, 17), date(2028, 6, 30)),
                     (date(2026, 5, 31), date(2028, 6, 30))):
        assert standing("Canada", "medical", date(2026, 6, 20), pilot, first, event("medical", day, detail="3")).until == end
    second = event("medical", date(2024, 8, 10), detail="3")  # to 2026-08-31
    assert standing("Canada", "medical", date(2026, 7, 5), pilot, second, event("medical", date(2026, 6, 16), detail="3")).until == date(
        2028, 8, 31)
    assert standing("Canada", "medical", date(2026, 7, 5), pilot, second, event("medical", date(2026, 6, 17), detail="3")).until == date(
        2028, 6, 30)


# ---- 14 CFR 61.57(c) and (d)


def practice(day, **more):
    return approaches(day, 6, holds=1, tracked=True, **more)


def test_us_practice_lasts_to_the_end_of_the_sixth_calendar_month():
    found = standing("USA", "IFR", date(2026, 7, 1), event("instrument rating test", date(2025, 11, 3)), practice(date(2026, 4, 2)))
    assert (found.state, found.until) == ("current", date(2026, 10, 31))


def test_us_practice_taken_up_more_than_six_calendar_months_after_it_lapsed_needs_a_check():
    test = event("instrument rating test", date(2025, 1, 15))   # good to 2025-07-31, lapsed six calendar months: 2026-01-31
    assert standing("USA", "IFR", date(2026, 2, 5), test, practice(date(2026, 1, 31))).state == "current"
    late = standing("USA", "IFR", date(2026, 2, 5), test, practice(date(2026, 2, 1)))
    assert late.state == "not current"
    assert any("proficiency check" in m for m in late.missing)
    check = event("instrument proficiency check", date(2026, 2, 3))
    assert standing("USA", "IFR", date(2026, 2, 5), test, practice(date(2026, 2, 1)), check).until == date(2026, 8, 31)


def test_us_practice_without_any_check_recorded_is_not_known_because_it_may_have_lapsed_before():
    found = standing("USA", "IFR", date(2026, 7, 1), practice(date(2026, 6, 1)))
    assert found.state == "not known"
    assert any("not lapsed" in m for m in found.missing)


def test_approaches_in_a_device_are_not_counted():
    flown = flight(date(2026, 6, 1), approaches=(Approach("ILS", "KBOI", "device"),) * 6, holds=1, tracked=True)
    assert standing("USA", "IFR", date(2026, 7, 1), event("instrument rating test", date(2025, 10, 1)), flown).state == "not current"


# ---- what is not there


@pytest.mark.parametrize("place", ["USA", "Canada", "EASA"])
def test_nothing_recorded_is_not_known_never_current(place):
    assert {s.state for s in judge((), "pilot", place, date(2026, 7, 1))} == {"not known"}
    assert all(x.state == "not known" and x.cite for x in lapsed((), "pilot", place, ("IFR", "passengers", "night"), date(2026, 7, 1)))
    assert not_after((), "pilot", place, ("VFR",)) is None


def test_before_any_text_kept_the_answer_is_not_known():
    found = standing("USA", "review", date(1990, 1, 1), event("flight review", date(1989, 12, 1)))
    assert found.state == "not known"


def test_a_record_that_begins_within_the_period_says_so_where_it_matters():
    day = date(2026, 7, 1)
    short = standing("USA", "passengers by day", day, flight(day, landings_day=2))
    assert any("begins on 2026-07-01" in n for n in short.notes)
    assert not any("begins" in n for n in standing("USA", "passengers by day", day, flight(day, landings_day=3)).notes)
    old = flight(date(2020, 1, 1))
    assert not any("begins" in n for n in standing("USA", "passengers by day", day, old, flight(day, landings_day=2)).notes)


def test_a_medical_without_birth_date_is_sure_for_the_shorter_period_then_not_known_then_over():
    medical = event("medical", date(2026, 3, 10), detail="3")
    assert standing("USA", "medical", date(2028, 3, 31), medical).until == date(2028, 3, 31)
    assert standing("USA", "medical", date(2028, 4, 1), medical).state == "not known"
    assert standing("USA", "medical", date(2031, 4, 1), medical).state == "not current"
    assert standing("USA", "medical", date(2027, 1, 1), replace(medical, detail="")).state == "not known"
    assert standing("Canada", "medical", date(2027, 1, 1), replace(medical, detail="4")).state == "not known"


def test_entries_corrected_withdrawn_or_later_say_nothing():
    day = date(2026, 7, 1)
    good = record(flight(day, landings_day=3))
    gone = (*good, replace(good[0], number=2, corrects=1, withdrawn=True))
    assert judge(good, "pilot", "USA", day)[2].state == "current"
    assert all(s.state == "not known" for s in judge(gone, "pilot", "USA", day))
    assert judge(good, "pilot", "USA", day - timedelta(days=1))[2].state != "current"


# ---- days


def test_a_flight_around_midnight_counts_on_the_day_of_its_landing_utc_unless_a_zone_is_handed_in():
    late = replace(flight(date(2026, 4, 12), landings_day=3), off_blocks=datetime(2026, 4, 12, 23, 30, tzinfo=UTC),
                   on_blocks=datetime(2026, 4, 13, 0, 30, tzinfo=UTC))
    assert standing("USA", "passengers by day", date(2026, 7, 12), late).state == "current"

    def boise(f):
        return f.on_blocks.astimezone(ZoneInfo("America/Boise")).date()

    assert standing("USA", "passengers by day", date(2026, 7, 12), late, day_of=boise).state == "not current"


def test_the_day_is_right_in_the_night_the_clocks_change():
    def boise(f):
        return f.on_blocks.astimezone(ZoneInfo("America/Boise")).date()

    before = replace(flight(date(2026, 11, 1), landings_day=3), off_blocks=datetime(2026, 11, 1, 4, tzinfo=UTC),
                     on_blocks=datetime(2026, 11, 1, 5, 59, tzinfo=UTC))   # 23:59 of 31 October, daylight time
    assert standing("USA", "passengers by day", date(2026, 11, 2), before, day_of=boise).until == date(2027, 1, 29)
    assert standing("USA", "passengers by day", date(2026, 11, 2), before).until == date(2027, 1, 30)


@pytest.mark.parametrize(("day", "last"), [(date(2024, 2, 29), date(2024, 8, 29)), (date(2025, 8, 31), date(2026, 2, 28)),
                                           (date(2023, 8, 31), date(2024, 2, 29)), (date(2026, 10, 31), date(2027, 4, 30))])
def test_six_months_at_month_ends_and_in_leap_years(day, last):
    flown = flight(day, landings_day=5)
    assert standing("Canada", "passengers by day", last, flown).until == last
    assert standing("Canada", "passengers by day", last + timedelta(days=1), flown).state == "not current"


# ---- for the check of a flight


def test_what_a_flight_needs_by_its_uses():
    assert needed_for(("VFR",)) == ("fly at all", "review", "medical")
    assert needed_for(("night",)) == ("fly at all", "review", "medical")
    assert needed_for(("passengers", "night", "IFR"))[3:] == ("IFR", "passengers by day", "passengers by night")
    with pytest.raises(BadInput, match="allowed are VFR, night, IFR, passengers"):
        needed_for(("aerobatics",))


def test_not_after_is_the_first_of_the_last_days_and_lapsed_names_the_rest():
    pilot = Pilot("pilot", date(1970, 1, 1), "USA")
    kept = record(pilot, event("flight review", date(2026, 1, 5)), event("medical", date(2026, 2, 5), detail="3"),
                  flight(date(2026, 6, 1), landings_day=3))
    assert not_after(kept, "pilot", "USA", ("VFR",)) == date(2028, 1, 31)
    assert not_after(kept, "pilot", "USA", ("VFR", "passengers")) == date(2026, 8, 30)
    assert not_after(kept, "pilot", "USA", ("IFR",)) is None
    assert lapsed(kept, "pilot", "USA", ("passengers",), date(2026, 8, 30)) == ()
    late = lapsed(kept, "pilot", "USA", ("passengers",), date(2026, 8, 31))
    assert [x.privilege for x in late] == ["passengers by day"]
    assert late[0].words.startswith("passengers by day: not current (the last good day was 2026-08-30); missing: take-offs: 3 more")


# ---- properties

START = date(2025, 1, 1)
FLIGHTS = st.lists(st.builds(
    lambda offset, day, night, count, role, hold, hood: flight(
        START + timedelta(days=offset), role=role, landings_day=day, landings_night=night, holds=hold, tracked=bool(hold),
        simulated_s=hood * 3600.0, approaches=(Approach("ILS", "KBOI"),) * count),
    st.integers(0, 560), st.integers(0, 4), st.integers(0, 4), st.integers(0, 6), st.sampled_from(["PIC", "dual", "instructor"]),
    st.integers(0, 1), st.integers(0, 1)), min_size=1, max_size=12)
EVENTS = st.lists(st.builds(event, st.sampled_from(["instrument rating test", "instrument proficiency check", "flight review"]),
                            st.dates(date(2024, 6, 1), date(2026, 7, 14))), max_size=3)


@settings(max_examples=80, derandomize=True, deadline=None)
@given(FLIGHTS, EVENTS, st.integers(0, 11), st.sampled_from(["USA", "Canada", "EASA"]))
def test_removing_a_flight_never_makes_anything_more_current(flights, events, gone, place):
    on = START + timedelta(days=560)
    fewer = [f for i, f in enumerate(flights) if i != gone % len(flights)]
    before, after = (judge(record(*events, *x), "pilot", place, on) for x in (flights, fewer))
    for more, less in zip(before, after, strict=True):
        if less.state == "current":
            assert more.state == "current"
            assert more.until >= less.until
    for more, less in zip(progress(record(*flights), "pilot", place, on), progress(record(*fewer), "pilot", place, on), strict=True):
        assert all(a.done >= b.done for a, b in zip(more.steps, less.steps, strict=True))


@settings(max_examples=60, derandomize=True, deadline=None)
@given(FLIGHTS, EVENTS, st.sampled_from(["USA", "Canada", "EASA"]), st.integers(0, 400))
def test_current_until_the_last_day_told_and_not_the_day_after(flights, events, place, ahead):
    on = START + timedelta(days=560)
    kept = record(*events, *flights)
    for s in judge(kept, "pilot", place, on):
        if s.state == "current":
            inside = min(on + timedelta(days=ahead), s.until)
            assert next(x for x in judge(kept, "pilot", place, inside) if x.privilege == s.privilege).state == "current"
            after = next(x for x in judge(kept, "pilot", place, s.until + timedelta(days=1)) if x.privilege == s.privilege)
            assert after.state != "current"


# ---- the next rating


def test_14_cfr_61_109_night_is_counted_dual_and_full_stop():
    flown = flight(date(2026, 6, 1), role="dual", landings_day=0, landings_night=4, full_stop_night=4, night_s=3600.0)
    night = progress(record(flown), "pilot", "USA", date(2026, 7, 1))[0]
    assert [(s.done, s.left) for s in night.steps] == [(3600.0, 7200.0), (4, 6)]
    assert night.pace.likely is None
    assert any("twelve months" in n for n in night.notes)


def test_cross_country_counts_by_its_distance_and_not_where_it_is_not_noted():
    kept = record(flight(date(2026, 6, 1), cross_country_m=92_700.0), flight(date(2026, 6, 2), cross_country_m=92_500.0),
                  flight(date(2026, 6, 3)))
    usa = progress(kept, "pilot", "USA", date(2026, 7, 1))[1]
    assert usa.steps[0].done == 3600.0      # 50 NM = 92,600 m
    assert progress(kept, "pilot", "Canada", date(2026, 7, 1))[1].steps[0].done == 7200.0
    assert any("without a cross-country distance: 1" in n for n in usa.notes)


def test_an_even_pace_has_no_band_and_an_uneven_one_has():
    on = date(2026, 7, 1)
    even = pace(6.0, [2.0] * 12, on)
    assert even.early == even.likely == even.late == on + timedelta(days=92)   # 3 months of 30.4375 days, rounded up
    uneven = pace(6.0, [4.0, 0.0] * 6, on)
    assert uneven.early < uneven.likely == even.likely < uneven.late
    assert pace(6.0, [0.0] * 12, on).likely is None
    once = pace(6.0, [24.0, *[0.0] * 11], on)
    assert once.likely == even.likely and once.late is None


@settings(max_examples=100, derandomize=True)
@given(st.floats(0.5, 100), st.lists(st.floats(0, 20), min_size=12, max_size=12))
def test_the_band_holds_the_likely_day(left, months):
    found = pace(left, months, date(2026, 7, 1))
    if found.likely is not None:
        assert found.early <= found.likely
        assert found.late is None or found.late >= found.likely


def test_a_rating_held_is_said_and_names_of_pilots_are_found():
    kept = record(Pilot("pilot", ratings=("PPL", "IR")), replace(flight(date(2026, 6, 1)), pilot="Partner"), event("flight review", NOW.date()))
    assert [g.held for g in progress(kept, "pilot", "Canada", date(2026, 7, 1))] == [False, True, False]
    assert sorted(pilots(kept)) == ["Partner", "pilot"]


def test_fcl_740_a_experience_counts_in_the_twelve_months_before_the_class_rating_ends():
    rating = event("class rating", date(2024, 9, 1), expires=date(2026, 9, 30))
    early, inside = flight(date(2025, 9, 30), landings_day=12), flight(date(2025, 10, 1), landings_day=5)
    found = progress(record(rating, early, inside, event("refresher training", date(2026, 2, 1))), "pilot", "EASA", date(2026, 7, 1))[3]
    assert [(s.words, s.done) for s in found.steps] == [
        ("time in the class", 3600.0), ("time in the class as PIC", 3600.0), ("take-offs", 5), ("landings", 5),
        ("refresher training of 1 h", 1.0)]
    assert any("from 2025-10-01 to 2026-09-30" in n for n in found.notes)
    unknown = progress(record(inside), "pilot", "EASA", date(2026, 7, 1))[3]
    assert any("not recorded" in n for n in unknown.notes)


def test_a_flight_that_does_not_say_how_many_passengers_there_were_is_not_solo():
    need = Need("solo", what="time", amount=3600.0, solo=True)
    day = date(2026, 7, 1)
    for noted, counts in (({}, 0.0), ({"passengers": 1}, 0.0), ({"passengers": 0}, 3600.0), ({"passengers": 0, "crew": ("a",)}, 0.0),
                          ({"passengers": 0, "role": "dual"}, 0.0)):
        assert amount(need, Flown(day, flight(day, **noted), None), "single-engine land") == counts, noted


def test_the_way_to_a_rating_says_that_flights_without_passengers_noted_are_not_solo():
    flights = [flight(date(2026, 7, d), **more) for d, more in ((1, {}), (2, {"passengers": 0}), (3, {"passengers": 2}))]
    goals = progress(record(*flights), "pilot", "Canada", date(2026, 7, 11))
    solo = [g for g in goals if any(n.solo for n in g.goal.needs)]
    assert solo
    for g in solo:
        assert any(n.startswith("Flights that do not say how many passengers there were: 1;") for n in g.notes)
    assert not any("passengers" in n for g in goals if g not in solo for n in g.notes)
