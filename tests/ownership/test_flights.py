"""Flights: what cannot be true is refused with its line; air time and flight time apart; the meter's ratio."""

import math
import re
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ownship.errors import BadInput
from ownship.ownership.cell_times import Meaning, Places, date_order, duration_s, number, read_date
from ownship.ownership.entries import KNOWN_BY, ROLES, Approach, Entry, Flight, InstrumentReplaced, TankContents
from ownship.ownership.flight_cells import COLUMNS, cells_of, flight_of
from ownship.ownership.flights import Placed, flaw, flaws, meter_ratio, people, refuse, student_95, totals

START = datetime(2026, 7, 11, 21, 0, tzinfo=UTC)


def flight(minutes=60, begin=START, **rest):
    return Flight(begin, begin + timedelta(minutes=minutes), "KBOI", "KU79", **rest)


def aired(minutes_air, tach, begin=START):
    return flight(minutes_air + 12, begin, take_off=begin + timedelta(minutes=6),
                  landing=begin + timedelta(minutes=6 + minutes_air), tachometer_from_h=100.0, tachometer_to_h=100.0 + tach)


def entry(number_, body, moment=START, aeroplane="N0160T"):
    return Entry(number_, str(number_), aeroplane, moment, moment, body)


# ---- published


def test_air_time_is_surface_to_surface_and_flight_time_first_movement_until_at_rest():
    """Canada, CARs 101.01 (rules.md section 1): two times, kept apart."""
    f = aired(48, 0.8)
    assert (f.flight_s, f.air_s) == (3600.0, 2880.0)
    both = totals([entry(1, f), entry(2, flight(30, START + timedelta(days=1)))])
    assert (both.flights, both.flight_s, both.air_s, both.without_air) == (2, 5400.0, 2880.0, 1)


@pytest.mark.parametrize(("degrees", "t"), [(1, 6.314), (5, 2.015), (10, 1.812), (15, 1.753), (30, 1.697), (120, 1.658)])
def test_student_points_of_the_usual_tables(degrees, t):
    """One-sided 95 % points of Student's t, any statistics table; from memory."""
    assert student_95(degrees) == pytest.approx(t, abs=0.02)


# ---- one flight


@pytest.mark.parametrize(("f", "words"), [
    (flight(-5), "is not after off blocks"),
    (flight(25 * 60), "24 h are allowed"),
    (flight(take_off=START + timedelta(minutes=30), landing=START + timedelta(minutes=20)), "is not after the take-off"),
    (flight(take_off=START - timedelta(minutes=1)), "air time cannot exceed flight time"),
    (flight(landing=START + timedelta(minutes=61)), "air time cannot exceed flight time"),
    (flight(tachometer_from_h=10.0, tachometer_to_h=9.9), "tachometer runs back"),
    (flight(hour_meter_from_h=10.0, hour_meter_to_h=14.0), "which no meter does"),
    (flight(hour_meter_from_h=-1.0), "not possible"),
    (flight(night_s=4000.0), "not within the flight time"),
    (flight(landings_night=-1), "not believable"),
    (flight(full_stop_night=2, landings_night=1), "more than the 1 landings at night"),
    (flight(role="captain"), "is not one of"),
    (flight(fuel_after=(TankContents("left", -0.001, "gauge"),)), "below 0"),
    (flight(fuel_after=(TankContents("left", 0.001, "gauge"),) * 2), "twice"),
])
def test_what_cannot_be_true_of_a_flight_is_said(f, words):
    assert words in flaw(f)


def test_a_usual_flight_has_no_flaw():
    assert flaw(aired(48, 0.8)) is None


# ---- one after the other


def test_overlapping_flights_of_one_aeroplane_are_refused_and_of_two_are_not():
    a, b = flight(60), flight(60, START + timedelta(minutes=59))
    assert "line 2: the flight from 2026-07-11 21:59Z overlaps the one of entry 4" in flaws(
        [Placed("entry 4", "A", a, False), Placed("line 2", "A", b)])[0]
    assert flaws([Placed("entry 4", "A", a, False), Placed("line 2", "B", b)]) == []
    assert flaws([Placed("entry 4", "A", a, False), Placed("line 2", "A", flight(60, START + timedelta(hours=1)))]) == []


def test_a_flight_inside_a_long_one_is_found_behind_a_short_one():
    long, short, late = flight(300), flight(10, START + timedelta(minutes=10)), flight(10, START + timedelta(minutes=100))
    found = flaws([Placed("line 2", "A", long), Placed("line 3", "A", short), Placed("line 4", "A", late)])
    assert len(found) == 2
    assert "line 4" in found[1]


def test_kept_flights_that_disagree_do_not_stop_a_new_one():
    kept = [Placed("entry 1", "A", flight(60), False), Placed("entry 2", "A", flight(60, START + timedelta(minutes=30)), False)]
    refuse([*kept, Placed("line 2", "A", flight(60, START + timedelta(days=3)))])


def test_a_tachometer_running_back_is_refused_unless_it_was_replaced():
    a = flight(tachometer_from_h=1500.0, tachometer_to_h=1500.9)
    b = flight(60, START + timedelta(days=2), tachometer_from_h=0.2, tachometer_to_h=1.1)
    placed = [Placed("entry 1", "A", a, False), Placed("line 2", "A", b)]
    assert "line 2: the tachometer runs back, from 1500.90 h (entry 1) to 0.20 h (line 2)" in flaws(placed)[0]
    replaced = entry(7, InstrumentReplaced("tachometer", 1500.9, 0.2), START + timedelta(days=1), "A")
    assert flaws(placed, [replaced]) == []
    other = entry(7, InstrumentReplaced("hour meter", 1500.9, 0.2), START + timedelta(days=1), "A")
    assert len(flaws(placed, [other])) == 1


def test_a_refusal_of_many_names_three_and_counts_the_rest():
    with pytest.raises(BadInput, match=r"Nothing was written.*line 4.*And 2 more"):
        refuse(Placed(f"line {i}", "A", flight(-1)) for i in range(2, 7))


# ---- the ratio


def test_the_ratio_of_a_steady_tachometer_has_no_band_and_two_flights_give_none():
    flights = [entry(i, aired(60, 1.25, START + timedelta(days=i))) for i in range(1, 5)]
    ratio = meter_ratio(flights, "N0160T", "tachometer")
    assert (ratio.ratio_1, ratio.low_1, ratio.high_1) == pytest.approx((0.8, 0.8, 0.8))
    two = meter_ratio(flights[:2], "N0160T", "tachometer")
    assert (two.ratio_1, two.low_1, two.flights) == (pytest.approx(0.8), None, 2)
    assert meter_ratio(flights, "N0160T", "hour meter") is None


def test_the_ratio_by_hand():
    """Air 0.5, 1.0, 1.5 h for 0.6, 1.0, 1.4 h: r = 1, residuals -0.1 0 0.1, se = sqrt(0.01 / 3) / 1, t = 2.920."""
    flights = [entry(i, aired(a, m, START + timedelta(days=i))) for i, (a, m) in enumerate(((30, 0.6), (60, 1.0), (90, 1.4)), 1)]
    ratio = meter_ratio(flights, "N0160T", "tachometer")
    assert ratio.ratio_1 == pytest.approx(1.0)
    assert ratio.high_1 - 1 == pytest.approx(2.920 * (0.01 / 3) ** 0.5, abs=1e-9)


# ---- cells


@pytest.mark.parametrize(("text", "value"), [("1234.5", 1234.5), ("1234,5", 1234.5), ("1,234.5", 1234.5), ("0,75", 0.75)])
def test_numbers_that_mean_one_thing(text, value):
    assert number(text, "x") == value


@pytest.mark.parametrize("text", ["1,234", "1.2.3", "nan", "inf", "12h", "", "1e999999"])
def test_numbers_that_do_not(text):
    with pytest.raises(BadInput, match="means one thing only"):
        number(text, "x")


@pytest.mark.parametrize(("text", "seconds"), [("1:20", 4800), ("1.5", 5400), ("80 min", 4800), ("0:06", 360)])
def test_durations(text, seconds):
    assert duration_s(text, "night") == pytest.approx(seconds)


def test_a_date_of_two_small_numbers_is_refused_until_its_order_is_known():
    with pytest.raises(BadInput, match="can be two days"):
        read_date("03/04/2026")
    assert read_date("03/04/2026", "dmy").month == 4
    assert read_date("03/04/2026", "mdy").month == 3
    assert read_date("2026-04-03") == read_date("3 Apr 2026") == read_date("Apr 3, 2026") == read_date("3.4.2026", "dmy")
    assert date_order(["03/04/2026", "13/04/2026"]) == "dmy"
    assert date_order(["03/04/2026"]) == ""
    with pytest.raises(BadInput, match="some rows"):
        date_order(["13/04/2026", "04/13/2026"])


BASE = {"origin": "KBOI", "destination": "KU79", "night_s": "0"}
BOISE = Meaning("America/Boise")


def test_times_without_a_zone_are_refused_and_a_local_time_is_that_of_the_zone():
    cells = BASE | {"date": "2026-07-11", "off_blocks": "15:00", "on_blocks": "16:00"}
    with pytest.raises(BadInput, match="has no zone"):
        flight_of(cells, Meaning())
    assert flight_of(cells, BOISE)[1].off_blocks == START


def test_clock_changes_are_refused_not_guessed():
    night = {"date": "2026-11-01", "off_blocks": "01:30", "on_blocks": "05:00"}
    with pytest.raises(BadInput, match="comes twice"):
        flight_of(BASE | night, BOISE)
    with pytest.raises(BadInput, match="does not exist"):
        flight_of(BASE | {"date": "2026-03-08", "off_blocks": "02:30", "on_blocks": "05:00"}, BOISE)
    across = flight_of(BASE | {"date": "2026-11-01", "off_blocks": "00:30", "on_blocks": "03:00"}, BOISE)[1]
    assert across.flight_s == 3.5 * 3600


def test_a_flight_over_midnight_and_a_time_that_runs_back():
    late = flight_of(BASE | {"date": "2026-07-11", "off_blocks": "23:30Z", "on_blocks": "00:20Z"}, Meaning())[1]
    assert late.flight_s == 3000
    with pytest.raises(BadInput, match="is before the moment before it"):
        flight_of(BASE | {"date": "2026-07-11", "off_blocks": "15:00Z", "on_blocks": "14:30Z"}, Meaning())


def places(night):
    return Places(lambda _: UTC, lambda _, m: night(m), lambda *_: 0.0)


def test_landings_are_split_by_the_night_of_the_place_or_asked_for():
    cells = BASE | {"off_blocks": "2026-07-11T21:00Z", "on_blocks": "2026-07-11T22:00Z", "landings": "3"}
    assert flight_of(cells, Meaning(), places(lambda _: True))[1].landings_night == 3
    assert flight_of(cells, Meaning(), places(lambda _: False))[1].landings_day == 3
    with pytest.raises(BadInput, match="the night begins or ends in this flight"):
        flight_of(cells, Meaning(), places(lambda m: m.hour == 22))
    with pytest.raises(BadInput, match="is in no data"):
        flight_of(cells, Meaning(), places(lambda _: None))


TURNS = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
TEXT = st.text(st.characters(exclude_categories=("Cs", "Cc"), exclude_characters=TURNS), max_size=12).map(str.strip)
NAME = st.from_regex(r"[A-Z0-9]{3,4}", fullmatch=True)
HOURS = st.none() | st.floats(0, 9e4)
CONTENTS = st.lists(st.builds(TankContents, TEXT.filter(bool), st.floats(0, 1), st.sampled_from(KNOWN_BY)), max_size=3).map(tuple)


@given(st.builds(
    Flight, st.datetimes(datetime(1950, 1, 1), datetime(2090, 1, 1), timezones=st.just(UTC)), st.just(START), NAME, NAME,
    take_off=st.none() | st.just(START), landing=st.none() | st.just(START + timedelta(microseconds=1)),
    via=st.lists(NAME, max_size=3).map(tuple), tachometer_from_h=HOURS, hour_meter_to_h=HOURS, landings_day=st.integers(0, 99),
    take_offs_night=st.none() | st.integers(0, 9), pilot=TEXT, role=st.sampled_from(ROLES),
    crew=st.lists(TEXT.filter(bool), max_size=3).map(tuple), rules=st.sampled_from(["VFR", "IFR"]), night_s=st.floats(0, 1e5),
    approaches=st.lists(st.builds(Approach, TEXT, TEXT, TEXT), max_size=2).map(tuple), tracked=st.booleans(),
    cross_country_m=HOURS, fuel_before=CONTENTS, fuel_after=CONTENTS,
    phases_s=st.lists(st.tuples(TEXT, st.floats(0, 1e5)), max_size=3).map(tuple), remarks=TEXT))
def test_a_flight_written_as_a_row_reads_back_the_same(f):
    f = Flight(**{**vars(f), "on_blocks": f.off_blocks + timedelta(minutes=61), "take_off": None, "landing": None})
    aeroplane, back, told = flight_of(dict(zip(COLUMNS, cells_of("N0160T", f), strict=True)), Meaning())
    assert (aeroplane, back) == ("N0160T", f)
    assert bool(told) == bool(f.night_s or f.take_offs_night)  # in no data: taken as typed, and said


NOON = BASE | {"off_blocks": "2026-07-11T18:00Z", "on_blocks": "2026-07-11T19:00Z", "night_s": ""}


@pytest.mark.parametrize("typed", [{"landings_night": "3"}, {"take_offs_night": "1"}, {"night": "0:30"}, {"night_s": "60"},
                                   {"landings_night": "1", "full_stop_night": "1"}])
def test_night_is_refused_where_the_sun_makes_none_between_the_blocks(typed):
    with pytest.raises(BadInput, match=r"(by night|night time) noted, .*there is no night at KBOI, KU79; correct what was noted"):
        flight_of(NOON | typed, Meaning(), places(lambda _: False))
    _, f, told = flight_of(NOON | {"landings_day": "3"}, Meaning(), places(lambda _: False))
    assert (f.landings_day, told) == (3, ())


def test_night_is_taken_where_it_lies_at_any_place_of_the_flight_at_any_time():
    typed = NOON | {"landings_night": "3"}
    assert flight_of(typed, Meaning(), places(lambda m: m.minute == 40))[1].landings_night == 3
    far = Places(lambda _: UTC, lambda ident, m: ident == "EGPF", lambda a, b, *_: 60.0 if "EGPF" in (a, b) else 0.0)
    with pytest.raises(BadInput, match="no night at KBOI, KU79"):
        flight_of(typed, Meaning(), far)
    assert flight_of(typed | {"via": "EGPF"}, Meaning(), far)[2] == ()


def test_the_moments_that_are_noted_bound_the_night_more_closely_than_the_blocks():
    last = Places(lambda _: UTC, lambda _, m: m.minute >= 55, lambda a, b, begin, end: 300.0 if end.minute == 0 else 0.0)
    typed = NOON | {"landings_night": "1"}
    assert flight_of(typed, Meaning(), last)[1].landings_night == 1
    with pytest.raises(BadInput, match="between 2026-07-11 18:00Z and 18:50Z"):
        flight_of(typed | {"landing": "2026-07-11T18:50Z"}, Meaning(), last)


def test_where_a_place_is_not_known_night_is_taken_as_typed_and_told():
    _, f, told = flight_of(NOON | {"landings_night": "3", "night_s": "60"}, Meaning(), places(lambda _: None))
    assert (f.landings_night, f.night_s) == (3, 60)
    assert told == ("landings by night and night time as typed: not every place of KBOI, KU79 is known, so the sun there is not",)


@pytest.mark.parametrize("name", ["remarks", "pilot", "crew", "origin", "aeroplane_class", "aeroplane"])
def test_a_hidden_character_is_refused_by_its_field(name):
    with pytest.raises(BadInput, match=f"^{name}: .*ESC"):
        flight_of(NOON | {name: "a\x1b[2J"}, Meaning())


@pytest.mark.parametrize(("changes", "said"), [
    ({"cross_country_m": 1e300}, "in 1.00 h; write"), ({"cross_country_m": math.inf}, "cross_country of inf nm"),
    ({"cross_country_m": -1.0}, "not believable"), ({"passengers": 40}, "0 to 19"), ({"passengers": -1}, "0 to 19"),
    ({"holds": 101}, "0 to 100"), ({"tachometer_from_h": -1.0}, "not possible"), ({"hour_meter_to_h": 1e300}, "not possible"),
    ({"tachometer_to_h": math.nan}, "not possible"), ({"instrument_s": 1e300}, "not within the flight time"),
    ({"night_s": -1.0}, "not within the flight time"), ({"phases_s": (("climb", 1e300),)}, "phase 'climb' of 1e\\+300 s"),
    ({"phases_s": (("climb", -1.0),)}, "phase"), ({"fuel_after": (TankContents("left", 1e300, "gauge"),)}, "more than any such tank")])
def test_numbers_that_no_flight_has(changes, said):
    why = flaw(Flight(START, START + timedelta(hours=1), "KBOI", "KU79", **changes))
    assert why is not None and re.search(said, why) and len(why) < 200


def test_people_aboard_by_what_is_noted():
    def count(**noted):
        return people(Flight(START, START + timedelta(hours=1), "KBOI", "KU79", **noted))

    assert count() == 1 and count(passengers=3) == 4 and count(pilot="owner", crew=("Owner",), passengers=1) == 2
    assert count(pilot="owner", crew=("other",), passengers=1) == 3 and count(crew=("a", "b")) == 2
