"""Every legal level and every half hour of the day: the published rows, the ordinary answer behind each, light, clocks."""

import tomllib
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st

from ownship.errors import BadInput
from ownship.flight.assessment import assess
from ownship.flight.levels import levels
from ownship.flight.route import point_of
from ownship.flight.when import LIGHT, NIGHT, best_of, clock_runs, half_hours, labels, leaving_times, light_at, request_at, spans
from ownship.questions.check import demo_aeroplane, demo_flight, situation
from ownship.web.forms import write_toml
from ownship.words.verdicts import NOT_KNOWN, ORDER, OUTSIDE, TIGHT, WITHIN
from ownship.world.geodesy import direct
from ownship.world.magnetism import variation_deg

HOURS = ("06:00", "12:00")
BOISE = ZoneInfo("America/Boise")


def request(**change):
    """The demo's request with other keys; None takes one out."""
    data = tomllib.loads(demo_flight()) | change
    return {k: v for k, v in data.items() if v is not None}


def light_load(**change):
    return request(loads=[x for x in request()["loads"] if x["station"] == "front"], **change)


def situated(data, draws=64):
    return situation(demo_aeroplane(), write_toml(data), draws=draws)


def checked(data):
    """The ordinary answer of `check` for a request in words."""
    return assess(situated(data))


def bare(**change):
    """A request that names two positions and no more: nothing but the rules and the light can be known."""
    return {"from": "44.0,-115.0", "to": "45.0,-114.0", "place": "USA", "departure": "2026-07-11T12:00-06:00", "cruise_altitude": "5500 ft",
            "power": "2450 rpm"} | change


def feet(answer):
    return [round(r.altitude.value) for r in answer.levels]


def typed(row):
    return f"{row.altitude.value:.0f} ft"


@cache
def light_levels():
    return levels(situated(light_load()))


@cache
def demo_day():
    return leaving_times(situated(request()))


# ---- legal levels

def towards(magnetic):
    """A request whose only leg has this magnetic course at its middle."""
    here, leg = (44.0, -115.0), 100_000.0
    true = magnetic
    for _ in range(4):
        lat, lon, at_middle = direct(*here, true, leg / 2)
        true += magnetic - (at_middle - variation_deg(lat, lon, 0.0, date(2026, 7, 11)))
    lat, lon, _ = direct(*here, true, leg)
    return bare(to=f"{lat:.9f},{lon:.9f}")


@pytest.mark.parametrize(("course", "first"), [(135, 1500), (175, 1500), (185, 2500), (0.5, 1500), (359.5, 2500)])
def test_vfr_levels_by_course_as_published(course, first):
    """NV-16, 14 CFR 91.159: magnetic course 0-179 odd thousands + 500 ft, 180-359 even; the model ends at 16,000 ft."""
    found = feet(levels(situated(towards(course))))
    assert found == list(range(first, 16_001, 2000))
    assert (5500 in found, 4500 in found) == ((True, False) if course < 180 else (False, True))


@pytest.mark.parametrize(("course", "first"), [(135, 1000), (185, 2000)])
def test_ifr_levels_are_whole_thousands(course, first):
    """14 CFR 91.179 as rules.md has it: odd thousands on 0-179, even on 180-359, at any height."""
    assert feet(levels(situated(towards(course) | {"rules": "IFR"}))) == list(range(first, 16_001, 2000))


def test_near_the_ground_every_500_ft_is_free_and_marked():
    """[ground] 8,200 and 8,900 ft: 14 CFR 91.159 binds above 11,200 ft; KU79 lies at 5,765 ft, circuit height 1,000 ft more."""
    found = levels(situated(request(departure="2026-07-11T15:00-06:00")))
    assert feet(found) == [*range(7000, 11_501, 500), 13_500, 15_500]
    assert [round(r.altitude.value) for r in found.levels if not r.obeys] == [7000, 8000, 8500, 9000, 10_000, 10_500, 11_000]
    assert any("free" in w for w in found.words)


def test_without_ground_only_levels_that_obey_are_listed_and_that_is_said():
    found = levels(situated(request(ground=None)))
    assert feet(found) == [7500, 9500, 11_500, 13_500, 15_500]
    assert all(r.obeys for r in found.levels)
    assert any("ground is not known" in w for w in found.words)
    assert all(g.highest_ground is None and g.clearance is None and g.verdict == NOT_KNOWN for r in found.levels for g in r.ground)


def test_legs_that_want_opposite_levels_leave_none_and_it_says_what_each_wants():
    found = levels(situated(bare(via=["44.0,-113.0"], to="44.0,-115.5")))
    assert found.levels == () and found.best is None
    assert "odd thousands" in found.sentence and "even thousands" in found.sentence and "separate flights" in found.sentence


def test_without_rules_no_level_is_called_legal():
    data = bare()
    del data["place"]
    found = levels(situated(data))
    assert found.levels == () and found.best is None and "place" in found.sentence


# ---- each level is the ordinary answer

def test_every_level_typed_into_the_request_gives_the_same_answer():
    for row in light_levels().levels:
        a = checked(light_load(cruise_altitude=typed(row)))
        assert (row.verdict, row.sentence, row.tightest) == (a.verdict, a.sentence, a.margins[0])
        assert (row.time, row.fuel, row.fuel_left) == (a.timeline[-1].elapsed, a.timeline[-1].fuel_used, a.timeline[-1].fuel_left)
        assert row.fuel_left == a.fuel.left_at_landing
        assert row.broken == sum(m.verdict == OUTSIDE for m in a.margins)
        assert [g.clearance for g in row.ground] == [next(m for m in a.margins if m.id == f"terrain.{i}").available for i in (1, 2)]


def test_no_legal_level_nearby_is_left_out_and_no_other_is_listed():
    """Typed in, a listed level breaks no level rule; one between them does, or is not known."""
    listed = feet(light_levels())
    for altitude in (*listed, 12_500, 14_500, 13_000):
        margins = {m.id: m.verdict for m in checked(light_load(cruise_altitude=f"{altitude} ft")).margins}
        assert all(margins[f"level.{i}"] == WITHIN for i in (1, 2)) == (altitude in listed), altitude


def test_the_best_is_the_quickest_of_the_best_verdict():
    best = light_levels().best
    fit = [r for r in light_levels().levels if r.verdict == min((x.verdict for x in light_levels().levels), key=ORDER.index)]
    assert best in fit and best.verdict in (WITHIN, TIGHT)
    assert best.time.value == min(r.time.value for r in fit)
    assert best.altitude.text(0) in light_levels().sentence and best.verdict in light_levels().sentence


def test_where_all_is_outside_a_level_under_the_ground_is_not_best_for_being_quick():
    found = levels(situated(request()))
    assert all(r.verdict == OUTSIDE for r in found.levels)
    assert found.levels[0].time.value < found.best.time.value  # 7,000 ft: quicker, but 1,900 ft under the ridge
    assert all(g.clearance.value > 0 for g in found.best.ground)
    assert found.sentence.startswith("Outside limits at every one of 12 legal levels")


def test_a_level_too_high_for_the_route_says_why_and_does_not_vanish():
    found = levels(situated(request(to="KMAN", via=None, alternates=None, ground=None)))
    low, *high = found.levels
    assert low.time is not None and found.best is low
    assert len(high) == 5
    for row in high:
        assert (row.verdict, row.time, row.fuel, row.tightest, row.broken) == (OUTSIDE, None, None, None, None)
        assert "too high" in row.sentence
        with pytest.raises(BadInput, match="too high"):
            checked(request(to="KMAN", via=None, alternates=None, ground=None, cruise_altitude=typed(row)))


def test_the_list_ends_where_the_climb_has_ceased_and_says_so():
    hot = {"9000 ft": {"wind": "280/14", "temperature": "45 C"}}
    found = levels(situated(request(aloft=hot, ground=None)))
    assert any("climb has ceased" in w for w in found.words)
    assert found.levels[-1].verdict == OUTSIDE
    assert next(m for m in checked(request(aloft=hot, cruise_altitude=typed(found.levels[-1]))).margins
                if m.id == "climb.cruise").available.value <= 0


def test_freezing_level_typed_or_from_the_air_or_not_known():
    given_ = levels(situated(request(ground=None, ifr={"freezing_level": "10000 ft"})))
    assert [r.above_freezing for r in given_.levels] == [False, False, True, True, True]
    assert round(given_.freezing_level.value) == 10_000
    unknown = levels(situated(request(ground=None, aloft=None)))
    assert unknown.freezing_level is None and all(r.above_freezing is None for r in unknown.levels)
    assert any("calm air" in w for w in unknown.words)
    assert all(r.verdict in (NOT_KNOWN, OUTSIDE) for r in unknown.levels)


def test_oxygen_by_the_rule_s_own_heights():
    """14 CFR 91.211 as the data keep it (read second-hand): crew above 12,500 ft after 30 min, above 14,000; everyone above 15,000."""
    count = {round(r.altitude.value): len(r.oxygen) for r in light_levels().levels}
    assert count[11_500] == 0 and count[13_500] == 1 and count[15_500] == 3
    assert "91.211" in light_levels().levels[-1].oxygen[0]


def test_progress_counts_up_to_the_whole():
    told = []
    levels(situated(bare()), lambda done, total: told.append((done, total)))
    assert told[-1][0] == told[-1][1] and [d for d, _ in told[:-1]] == list(range(1, len(told)))


# ---- half hours of a day

@pytest.mark.parametrize(("zone", "day", "count"), [
    ("America/Boise", date(2026, 7, 11), 48),
    ("America/Boise", date(2026, 3, 8), 46),  # second Sunday of March, 02:00: Energy Policy Act of 2005, from memory
    ("America/Boise", date(2026, 11, 1), 50),  # first Sunday of November, 02:00
    ("Australia/Lord_Howe", date(2026, 4, 5), 49),  # half an hour: zone data, "lhst", from memory
    ("Australia/Lord_Howe", date(2026, 10, 4), 47),
    ("Asia/Beirut", date(2026, 3, 29), 46),  # the clocks skip midnight itself
    ("Asia/Kathmandu", date(2026, 1, 1), 48)])  # +05:45
def test_the_half_hours_of_a_day_by_the_clock(zone, day, count):
    found = half_hours(day, ZoneInfo(zone))
    assert len(found) == count
    assert {m.minute for m in found} == {0, 30} and {m.date() for m in found} == {day}


def test_a_skipped_half_hour_is_skipped_and_a_doubled_one_has_two_offsets():
    spring = [m.isoformat()[11:] for m in half_hours(date(2026, 3, 8), BOISE)]
    assert spring[3:5] == ["01:30:00-07:00", "03:00:00-06:00"]
    autumn = [m.isoformat()[11:] for m in half_hours(date(2026, 11, 1), BOISE)]
    assert autumn[2:6] == ["01:00:00-06:00", "01:30:00-06:00", "01:00:00-07:00", "01:30:00-07:00"]


@given(day=st.dates(date(1990, 1, 1), date(2036, 12, 31)),
       zone=st.sampled_from(["America/Boise", "Europe/London", "Australia/Lord_Howe", "Asia/Kathmandu", "Pacific/Auckland", "Asia/Beirut"]))
@examples(max_examples=60, derandomize=True, deadline=None)
def test_half_hours_fill_the_day_in_steps_of_half_an_hour(day, zone):
    found = [m.astimezone(UTC) for m in half_hours(day, ZoneInfo(zone))]
    assert all(b - a == timedelta(minutes=30) for a, b in pairwise(found))
    first, after = (datetime(d.year, d.month, d.day, tzinfo=ZoneInfo(zone)).astimezone(UTC) for d in (day, day + timedelta(days=1)))
    assert found[0] == first and found[-1] + timedelta(minutes=30) == after


# ---- when: each half hour is the ordinary answer

def test_the_hour_as_planned_is_the_ordinary_answer():
    a = checked(request())
    planned = next(r for r in demo_day().times if r.departure == demo_day().planned.departure)
    for row in (planned, demo_day().planned):
        assert (row.verdict, row.sentence, row.tightest, row.landing) == (a.verdict, a.sentence, a.margins[0], a.timeline[-1].time)
        assert row.air_known and not row.landing_in_calm_air


@pytest.mark.parametrize("index", [0, 11, 29, 31, 33, 47])
def test_every_half_hour_typed_into_the_request_gives_the_same_answer(index):
    row = demo_day().times[index]
    a = checked(request_at(situated(request()), row.departure))
    assert (row.verdict, row.sentence, row.tightest) == (a.verdict, a.sentence, a.margins[0])
    assert row.landing == (a.timeline[-1].time if a.timeline else None)


def test_typed_air_does_not_hold_for_other_hours():
    known = [labels([r])[0] for r in demo_day().times if r.air_known]
    assert known == ["14:00", "14:30", "15:00", "15:30", "16:00"]
    far = [r for r in leaving_times(situated(light_load())).times if not r.air_known]
    assert len(far) == 43 and all(r.verdict in (NOT_KNOWN, OUTSIDE) for r in far)
    assert any("air is not known at 43 of 48" in w for w in demo_day().words)


def test_hours_of_the_owner_s_make_other_half_hours_known():
    """Entries for 06:00 and 12:00 at each place and aloft: between them the air is known, at midnight still not."""
    data = light_load(alternates=None, leave_again=None)
    data["weather"] = {k: v | {"hours": [{"at": f"2026-07-11T{t}-06:00", **{x: y for x, y in v.items() if x != "use"}} for t in HOURS]}
                       for k, v in data["weather"].items() if k != "KMYL"}
    data["aloft_hours"] = [{"at": f"2026-07-11T{t}-06:00", "level": level, **v} for t in HOURS for level, v in data["aloft"].items()]
    found = leaving_times(situated(data))
    rows = {labels([r])[0]: r for r in found.times}
    assert rows["09:00"].air_known and rows["09:00"].verdict in (WITHIN, TIGHT) and not rows["09:00"].landing_in_calm_air
    assert not rows["00:00"].air_known and rows["00:00"].verdict in (NOT_KNOWN, OUTSIDE)
    assert rows[labels([found.best])[0]].verdict == found.best.verdict != OUTSIDE


def test_a_planned_departure_of_the_request_is_kept():
    data = request_at(situated(request(planned_departure="2026-07-11T05:00-06:00")), datetime(2026, 7, 11, 14, 0, tzinfo=BOISE))
    assert data["planned_departure"].startswith("2026-07-11T05:00")
    far = leaving_times(situated(request(planned_departure="2026-07-11T05:00-06:00")))
    assert not far.planned.air_known and any("05:00" in w for w in far.words)
    assert [labels([r])[0] for r in far.times if r.air_known] == ["04:00", "04:30", "05:00", "05:30", "06:00"]


def test_leaving_again_moves_with_the_departure():
    s = situated(request())
    data = request_at(s, datetime(2026, 7, 11, 14, 0, tzinfo=BOISE))
    assert datetime.fromisoformat(data["leave_again"]) == datetime.fromisoformat("2026-07-13T07:00-06:00")
    assert datetime.fromisoformat(data["departure"]) == datetime.fromisoformat("2026-07-11T14:00-06:00")


def test_a_shift_over_a_change_of_clocks_is_one_of_real_time():
    s = situated(request(departure="2026-11-01T00:30", leave_again="2026-11-01T12:00", local=True, **{"from": "KBOI"}))
    data = request_at(s, half_hours(date(2026, 11, 1), BOISE)[5])  # 01:30 of standard time, two hours after 00:30 of summer time
    assert datetime.fromisoformat(data["leave_again"]) - datetime(2026, 11, 1, 19, tzinfo=UTC) == timedelta(hours=2)


def test_doubled_half_hours_are_told_apart_in_words():
    found = leaving_times(situated(bare(departure="2026-11-01T12:00-07:00", **{"from": "43.6,-116.2"})))
    assert labels(found.times)[1:7] == ("00:30", "01:00-06:00", "01:30-06:00", "01:00-07:00", "01:30-07:00", "02:00")
    assert any("50 half hours" in w for w in found.words)


# ---- light

def test_light_at_boise_on_the_demo_s_day():
    """Civil twilight at 43.56 N 116.22 W on 11 July 2026 from about 05:41 to 22:02 MDT (published tables, from memory: +- 3 min)."""
    rows = {labels([r])[0]: r.light_at_departure.word for r in demo_day().times}
    assert [rows[x] for x in ("05:30", "06:00", "21:30", "22:30")] == [NIGHT, LIGHT, LIGHT, NIGHT]


def test_with_nothing_known_but_light_light_is_shown():
    found = leaving_times(situated(bare()))
    assert all(r.verdict == NOT_KNOWN and r.landing is None and r.allowance_1 is None for r in found.times)
    assert found.best is None and "not known at every half hour" in found.sentence
    assert [found.times[i].light_at_departure.word for i in (0, 24)] == [NIGHT, LIGHT]
    assert all(r.light_at_landing.word == NOT_KNOWN for r in found.times)


@pytest.mark.parametrize(("day", "word"), [(date(2026, 6, 21), LIGHT), (date(2026, 12, 21), NIGHT)])
def test_polar_day_and_polar_night(day, word):
    """Longyearbyen, 78.25 N: midnight sun in June; in December the sun stays over 11 deg under the horizon, below civil twilight."""
    s = situated(bare(place="EASA", **{"from": "78.25,15.47", "to": "78.93,11.87"}))
    found = {light_at(s, s.points[0], m).word for m in half_hours(day, ZoneInfo("Arctic/Longyearbyen"))}
    assert found == {word}


def test_light_without_a_definition_of_night_is_not_known():
    data = bare()
    del data["place"]
    s = situated(data)
    assert light_at(s, s.points[0], s.departure).word == NOT_KNOWN
    assert "No definition of night" in light_at(s, point_of("1,2", None), s.departure).words[0]


# ---- best, runs

ROW = st.tuples(st.sampled_from(ORDER), st.one_of(st.none(), st.floats(-3, 3)))


@given(st.lists(ROW, min_size=1, max_size=48))
@examples(max_examples=60, derandomize=True, deadline=None)
def test_the_best_hour_is_fit_and_none_fit_has_more_room(pairs):
    rows = [replace(demo_day().times[i], verdict=v, allowance_1=a) for i, (v, a) in enumerate(pairs)]
    best, fit = best_of(rows), [r for r in rows if r.verdict in (WITHIN, TIGHT)]
    assert (best is None) == (not fit)
    if best is not None:
        same = [r for r in fit if r.verdict == best.verdict]
        assert best.verdict == WITHIN or all(r.verdict == TIGHT for r in fit)
        assert all(r.allowance_1 is None or (best.allowance_1 is not None and best.allowance_1 >= r.allowance_1 - 0.01) for r in same)


@given(st.lists(st.sampled_from(ORDER), min_size=1, max_size=48))
@examples(max_examples=60, derandomize=True, deadline=None)
def test_runs_cover_the_day_and_neighbours_differ(verdicts):
    rows = [replace(demo_day().times[i], verdict=v) for i, v in enumerate(verdicts)]
    runs, clocks = spans(rows), labels(rows)
    assert [v for v, first, last in runs for _ in range(clocks.index(last) - clocks.index(first) + 1)] == verdicts
    assert all(a[0] != b[0] for a, b in pairwise(runs))


def test_an_hour_that_alone_cannot_be_read_says_why_and_the_day_stands():
    """Typed levels aloft of a wind no aeroplane of this class can hold: the hours around the plan, as planned, cannot be flown."""
    found = leaving_times(situated(request(aloft={"9000 ft": {"wind": "000/150", "temperature": "10 C"}})))
    assert found.planned.verdict == OUTSIDE and found.planned.tightest is None and "wind" in found.planned.sentence.lower()
    assert len(found.times) == 48 and any(r.verdict == NOT_KNOWN for r in found.times)


def test_no_level_below_the_one_asked_for_is_best_over_ground_nobody_knows():
    found = levels(situated(light_load(ground=None)))
    assert found.best is None or found.best.altitude.value >= 9499
    assert any("called best" in w for w in found.words)


# ---- whose air


def test_each_half_hour_says_whose_air_it_has_and_how_far_its_source_lies_off():
    """A METAR of 21:53Z, 15:53 in Boise, made by hand: it holds an hour either side; the rest was typed for 15:00."""
    data = light_load()
    data["weather"] = {**data["weather"], "KBOI": {"metar": "KBOI 112153Z 31008KT 10SM CLR 30/07 A3002"}}
    found = leaving_times(situated(data))
    by_clock = dict(zip(labels(found.times), found.times, strict=True))
    at, again, aloft = by_clock["16:30"].air
    assert at.source == "METAR KBOI 112153Z 31008KT 10SM CLR 30/07 A3002"
    assert at.age.value == pytest.approx(37 / 60) and at.age.unit == "h"
    assert (again.source, aloft.source) == ("not known", "not known")
    assert by_clock["17:00"].air[0].source == "not known"  # 16:53 was the last
    assert by_clock["15:00"].air[1].source == "typed in by the pilot" and by_clock["15:00"].air[2].source == "[aloft] of the request"
    assert any(w.startswith("Air leaving 16:30: KBOI METAR KBOI 112153Z") and "up to 0.6 h off" in w for w in found.words)


def test_half_hours_in_words_stand_in_runs():
    day = half_hours(date(2026, 7, 11), ZoneInfo("America/Boise"))
    assert clock_runs([day[12], day[13], day[14], day[20]]) == "06:00 to 07:00 and 10:00"
    assert clock_runs(day) == "00:00 to 23:30"
