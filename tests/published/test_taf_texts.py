"""TAFs decoded by other people: the FAA AIM figure 7-1-19 key (WX-06 to WX-11); examples of ICAO Annex 3, from memory."""

import math
from datetime import UTC, datetime

import pytest

from ownship.units import from_si
from ownship.world.taf import parse_taf, possible, possible_periods, prevailing, prevailing_period, worst_for

# FAA AIM figure 7-1-19
AIM = ("TAF KPIT 091730Z 0918/1024 15005KT 5SM HZ FEW020 WS010/31022KT FM091930 30015G25KT 3SM SHRA OVC015 "
       "TEMPO 0920/0922 1/2SM +TSRA OVC008CB FM100100 27008KT 5SM SHRA BKN020 OVC040 PROB30 1004/1007 1SM -RA BR "
       "FM101015 18005KT 6SM -SHRA OVC020 BECMG 1013/1015 P6SM NSW SKC")
# ICAO Annex 3, appendix 5, the example of a TAF of YUDO: from memory
ANNEX = ("TAF YUDO 151800Z 1600/1618 13005MPS 9000 BKN020 BECMG 1606/1608 SCT015CB BKN020 TEMPO 1608/1612 17006G12MPS 1000 "
         "TSRA SCT010CB BKN020 FM161230 15004MPS 9999 BKN020")
REFERENCE = datetime(2026, 7, 9, 18, tzinfo=UTC)


def day(d, hour, minute=0, month=7):
    return datetime(2026, month, d, hour, minute, tzinfo=UTC)


def knots(wind):
    return wind.from_deg, from_si(wind.speed_m_s, "kt"), None if wind.gust_m_s is None else from_si(wind.gust_m_s, "kt")


@pytest.fixture
def aim():
    return parse_taf(AIM, REFERENCE)


def test_wx_06_validity_to_hour_24(aim):
    assert (aim.station, aim.issued) == ("KPIT", day(9, 17, 30))
    assert (aim.valid_from, aim.valid_to) == (day(9, 18), day(11, 0))


def test_wx_07_low_level_shear_until_the_next_fm(aim):
    shear = aim.periods[0].shear
    assert from_si(shear.height_m, "ft") == pytest.approx(1000)
    assert knots(shear.wind)[:2] == pytest.approx((310, 22))
    assert prevailing_period(aim, day(9, 19)).shear == shear
    assert prevailing_period(aim, day(9, 19, 30)).shear is None


def test_wx_08_fm_with_day_hour_and_minutes(aim):
    assert [p.start for p in aim.periods if p.kind == "FM"] == [day(9, 19, 30), day(10, 1), day(10, 10, 15)]
    assert parse_taf(AIM.replace("FM100100", "FM100000"), REFERENCE).periods[3].start == day(10, 0)
    assert knots(prevailing(aim, day(9, 19, 29)).wind)[:2] == pytest.approx((150, 5))
    assert knots(prevailing(aim, day(9, 19, 30)).wind) == pytest.approx((300, 15, 25))


def test_wx_09_prob30_and_more_than_six_miles(aim):
    chance, becoming = aim.periods[4], aim.periods[6]
    assert (chance.kind, chance.probability_1, chance.start, chance.end) == ("PROB", pytest.approx(0.3), day(10, 4), day(10, 7))
    assert from_si(chance.visibility_m, "sm") == pytest.approx(1)
    assert (from_si(becoming.visibility_m, "sm"), becoming.visibility_bound) == (pytest.approx(6), "P")
    rain = possible(aim, day(10, 5))[1]
    assert rain.falling == "wet" and knots(rain.wind)[:2] == pytest.approx((270, 8))
    assert from_si(rain.ceiling_m, "ft") == pytest.approx(2000)


def test_wx_10_ceiling_is_the_lowest_broken_or_overcast_layer(aim):
    assert aim.periods[0].ceiling_m == math.inf
    assert from_si(aim.periods[3].ceiling_m, "ft") == pytest.approx(2000)
    assert aim.periods[6].ceiling_m == math.inf


def test_wx_11_vertical_visibility_is_a_ceiling():
    fog = parse_taf(AIM.replace("3SM SHRA OVC015", "M1/4SM FG VV004"), REFERENCE).periods[1]
    assert from_si(fog.ceiling_m, "ft") == pytest.approx(400)
    assert (from_si(fog.visibility_m, "sm"), fog.visibility_bound) == (pytest.approx(0.25), "M")


def test_aim_tempo_changes_what_it_names_and_keeps_the_wind(aim):
    plan, storm = possible_periods(aim, day(9, 21))
    assert (storm.kind, storm.thunderstorm, plan.thunderstorm) == ("TEMPO", True, False)
    assert storm.wind == plan.wind
    worst = worst_for(possible(aim, day(9, 21)), 300 - 90)
    assert from_si(worst.visibility_m, "sm") == pytest.approx(0.5)
    assert from_si(worst.ceiling_m, "ft") == pytest.approx(800)
    assert from_si(worst.gust_m_s, "kt") == pytest.approx(25) == from_si(worst.crosswind_m_s, "kt")


def test_aim_becmg_holds_from_its_end_and_may_hold_before(aim):
    assert prevailing(aim, day(10, 14)).falling == "wet" and prevailing(aim, day(10, 15)).falling == ""
    assert [w.ceiling_m == math.inf for w in possible(aim, day(10, 14))] == [False, True]
    assert len(possible(aim, day(10, 15))) == 1
    assert knots(prevailing(aim, day(10, 15)).wind)[:2] == pytest.approx((180, 5))


def test_annex_3_example_in_metres_per_second_and_metres():
    """From memory: 9,000 m, broken 2,000 ft; cloud changes 06 to 08; from 12:30 10 km and 4 m/s, all else replaced."""
    taf = parse_taf(ANNEX, day(15, 18))
    assert (taf.issued, taf.valid_from, taf.valid_to) == (day(15, 18), day(16, 0), day(16, 18))
    first, storm, last = prevailing(taf, day(16, 1)), possible_periods(taf, day(16, 10))[1], prevailing(taf, day(16, 12, 30))
    assert (first.wind.from_deg, first.wind.speed_m_s, first.visibility_m) == (130, 5, 9000)
    assert (storm.wind.gust_m_s, storm.visibility_m, storm.thunderstorm, storm.falling) == (12, 1000, True, "wet")
    assert from_si(storm.ceiling_m, "ft") == pytest.approx(2000)
    assert (last.wind.from_deg, last.wind.speed_m_s, last.visibility_m, last.falling) == (150, 4, 10000, "")


def test_annex_3_cancelled_forecast():
    """From memory: TAF AMD YUDO 161500Z 1600/1618 CNL."""
    taf = parse_taf("TAF AMD YUDO 161500Z 1600/1618 CNL=", day(16, 15))
    assert taf.cancelled and taf.amended and taf.periods == ()
    assert prevailing(taf, day(16, 16)) is None and possible(taf, day(16, 16)) == ()
