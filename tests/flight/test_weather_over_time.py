"""Weather over time: hours, forecast, TAF and what was typed, at the moment of each use; what no longer holds is not known.

TAF: FAA AIM figure 7-1-19 (WX-06 to WX-11), its station and days put where the flight goes; the figures are the printed ones.
"""

import tomllib
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.errors import BadInput
from ownship.flight.airmass import Column, aloft_of_forecasts
from ownship.flight.alter import altered
from ownship.flight.assessment import assess
from ownship.flight.judge_route import weather_margins
from ownship.flight.places import WeatherEntry, weather_of, wind_between
from ownship.flight.request import read_request
from ownship.flight.weather_at import NOTHING, weather_over_time_margins
from ownship.physics.atmosphere import isa_pressure_pa, isa_temperature_k
from ownship.questions.check import demo_aeroplane, demo_flight, situation
from ownship.schema import Table, read_toml
from ownship.units import from_si, to_si
from ownship.web.forms import write_toml
from ownship.words.verdicts import ORDER
from ownship.world.forecast import Forecast, Ground, Hour, Level, spread_at, towards
from ownship.world.weather import WindReport

KT = float(to_si(1, "kt"))
LEAVING = datetime(2026, 7, 11, 21, tzinfo=UTC)  # the demo's departure, 15:00-06:00
# FAA AIM figure 7-1-19, for the destination: FM at 19:30Z, TEMPO 20 to 22Z, FM 01:00Z with PROB30 04 to 07Z
AIM = ("TAF {} 111730Z 1118/1224 15005KT 5SM HZ FEW020 WS010/31022KT FM111930 30015G25KT 3SM SHRA OVC015 "
       "TEMPO 1120/1123 1/2SM +TSRA OVC008CB FM120100 27008KT 5SM SHRA BKN020 OVC040 PROB30 1204/1207 1SM -RA BR "
       "FM121015 18005KT 6SM -SHRA OVC020 BECMG 1213/1215 P6SM NSW SKC")


def data(**change):
    found = tomllib.loads(demo_flight())
    for key, value in change.items():
        if value is None:
            found.pop(key, None)
        else:
            found[key] = value
    return found


@cache
def demo():
    return situation(demo_aeroplane(), demo_flight(), draws=64)


def flight(plain, forecasts=None):
    made = altered(demo(), plain)
    return replace(made, forecasts=forecasts or {})


def with_weather(name, **entry):
    found = data()
    found["weather"] = {**found["weather"], name: entry}
    return found


def by_id(margins):
    return {m.id: m for m in margins}


def hour(at, **values):
    return {"at": at.isoformat(), **values}


# ------------------------------------------------------------------ the request


def test_hours_and_a_taf_are_read_with_their_units_and_in_order_of_time():
    text = demo_flight() + """
[[aloft_hours]]
at = "2026-07-11T18:00Z"
level = "9000 ft"
wind = "270/20"
temperature = "10 C"
[weather.KBOX]
taf = "TAF KBOX 111730Z 1118/1224 15005KT 5SM"
[[weather.KBOX.hours]]
at = 2026-07-11T16:00:00-06:00
wind = "310/12"
source = "my own guess"
[[weather.KBOX.hours]]
at = "2026-07-11T15:00-06:00"
temperature = "30 C"
"""
    request = read_request(read_toml(text, "flight.toml"))
    first, second = request.weather["KBOX"].hours
    assert (first.at, second.source) == (LEAVING, "my own guess")
    assert first.values.temperature_k == pytest.approx(303.15) and second.values.wind == "310/12"
    assert from_si(request.aloft_hours[0].altitude_m, "ft") == pytest.approx(9000)


@pytest.mark.parametrize(("lines", "said"), [
    ('[[weather.KBOI.hours]]\nwind = "310/12"', "lacks 'at'"),
    ('[[weather.KBOI.hours]]\nat = "2026-07-11T15:00"\nwind = "310/12"', "has no zone"),
    ('[[weather.KBOI.hours]]\nat = "noon"\nwind = "310/12"', "is not a moment"),
    ('[[weather.KBOI.hours]]\nat = "2026-07-11T15:00Z"', "gives no weather"),
    ('[[weather.KBOI.hours]]\nat = "2026-07-11T15:00Z"\nwinds = "310/12"', "unknown key 'winds'"),
    ('[[weather.KBOI.hours]]\nat = "2026-07-11T15:00Z"\ntemperature = "30"', "no unit"),
    ('[[weather.KBOI.hours]]\nat = "2026-07-11T15:00Z"\ntemperature = "30 C"\n[[weather.KBOI.hours]]\n'
     'at = "2026-07-11T09:00-06:00"\ntemperature = "31 C"', "keep one of them"),
    ('[[aloft_hours]]\nat = "2026-07-11T15:00Z"\nwind = "310/12"', "lacks 'level'"),
    ('[[aloft_hours]]\nlevel = "9000 ft"\nwind = "310/12"', "lacks 'at'"),
    ('[[aloft_hours]]\nat = "2026-07-11T15:00Z"\nlevel = "9000 ft"\nwind = "310/12"\n[[aloft_hours]]\n'
     'at = "2026-07-11T15:00Z"\nlevel = "9000 ft"\nwind = "320/12"', "keep one of them"),
    ('[weather.KXXX]\nuse = "KBOI"\ntaf = "TAF KBOI 111730Z 1118/1224 15005KT 5SM"', "taken over"),
])
def test_what_does_not_read_is_one_sentence(lines, said):
    with pytest.raises(BadInput, match=said) as refusal:
        read_request(read_toml(demo_flight() + "\n" + lines, "flight.toml"))
    assert "\n" not in str(refusal.value) and "flight.toml" in str(refusal.value)


def test_a_planned_departure_needs_its_zone():
    with pytest.raises(BadInput, match="planned_departure"):
        read_request(Table(data(planned_departure="2026-07-11T15:00"), "request"))


# ------------------------------------------------------------------ what was typed, and for when


def test_the_demo_is_judged_as_it_was_and_the_air_of_leaving_again_is_said_to_be_assumed():
    s = flight(data())
    assert s.weather["KBOI"] == s.weather_for("take_off") and s.weather_for("leave_again").weather == s.weather["KU79"].weather
    assert s.weather["KBOI"].temperature_sd_k == pytest.approx(1.0) and s.air.known
    margins, words = weather_over_time_margins(s)
    assert margins == [] and len(words) == 1 and "KU79 again" in words[0] and "assumed" in words[0]


def test_the_same_request_with_its_planned_departure_gives_the_same_margins():
    first, second = assess(flight(data())), assess(flight(data(planned_departure=data()["departure"])))
    assert [replace(m, moment=None) for m in first.margins] == [replace(m, moment=None) for m in second.margins]


@pytest.mark.parametrize(("minutes", "holds"), [(-61, False), (-60, True), (60, True), (61, False), (240, False)])
def test_typed_air_holds_for_one_hour_around_the_departure_it_was_typed_for(minutes, holds):
    departure = LEAVING + timedelta(minutes=minutes)
    s = flight(data(departure=departure.isoformat(), planned_departure=data()["departure"], leave_again=None))
    assert (s.weather["KBOI"].weather != NOTHING) is holds
    assert (s.weather_for("leave_again").weather != NOTHING) is holds
    assert s.air.known is holds


def test_air_that_no_longer_holds_makes_runways_and_fuel_not_known():
    departure = (LEAVING + timedelta(hours=3)).isoformat()
    s = flight(data(departure=departure, planned_departure=data()["departure"]))
    found = by_id(assess(s).margins)
    for id_ in ("runway.take_off.KBOI", "runway.landing.KU79", "runway.leave_again.KU79", "fuel.landing", "climb.cruise",
                "crosswind.KBOI"):
        assert found[id_].verdict == "not known", id_
    assert any("3.0 h from the moment" in w for w in weather_over_time_margins(s)[1])


def test_without_a_planned_departure_typed_air_is_taken_as_typed_at_any_hour():
    s = flight(data(departure="2026-07-11T05:00-06:00"))
    assert s.weather["KBOI"].weather.temperature_k == pytest.approx(to_si(34, "C", "temperature"))


def test_leaving_again_has_its_own_planned_moment():
    planned = data()["departure"]
    later = data(planned_departure=planned, planned_leave_again=data()["leave_again"], leave_again="2026-07-13T12:00-06:00")
    s = flight(later)
    assert s.weather_for("leave_again").weather == NOTHING and s.weather["KU79"].weather != NOTHING
    same = flight(data(planned_departure=planned, planned_leave_again=data()["leave_again"]))
    assert same.weather_for("leave_again").weather == same.weather["KU79"].weather


def test_a_metar_holds_for_an_hour_around_its_own_time():
    metar = "KBOI 111853Z 31008KT 10SM CLR 30/07 A3002"
    plain = with_weather("KBOI", metar=metar) | {"planned_departure": data()["departure"]}
    assert flight(plain).weather["KBOI"].weather.temperature_k == pytest.approx(303.15)
    near = flight(plain | {"departure": "2026-07-11T19:30Z"}).weather["KBOI"]
    assert near.weather.temperature_k == pytest.approx(303.15) and near.age_s == pytest.approx(37 * 60)
    assert flight(plain | {"departure": "2026-07-12T01:00Z"}).weather["KBOI"].weather == NOTHING


@pytest.mark.parametrize("day", ["04", "03", "31", "30", "10"])
def test_a_metar_of_another_day_is_not_known_for_the_flight(day):
    plain = with_weather("KBOI", metar=f"KBOI {day}2053Z 31008KT 10SM CLR 30/07 A3002")
    s = flight(plain)
    assert s.weather["KBOI"].weather == NOTHING and "12 h" in s.weather["KBOI"].words
    margins = by_id(assess(s).margins)
    assert margins["runway.take_off.KBOI"].verdict == "not known"
    assert any("METAR" in w and "KBOI" in w for w in weather_over_time_margins(s)[1])


@pytest.mark.parametrize(("stamp", "used", "warned"), [("112053Z", True, False), ("111953Z", True, True), ("110901Z", True, True),
                                                       ("110859Z", False, False), ("120859Z", True, True),
                                                       ("120901Z", False, False)])
def test_a_metar_is_used_up_to_twelve_hours_off_and_warned_of_from_one_on(stamp, used, warned):
    s = flight(with_weather("KBOI", metar=f"KBOI {stamp} 31008KT 10SM CLR 30/07 A3002"))
    assert (s.weather["KBOI"].weather != NOTHING) == used
    said = [w for w in assess(s).warnings if "report of the hour" in w["text"]]
    assert bool(said) == warned


def test_a_metar_of_another_day_says_nothing_of_a_place_on_the_way():
    for stamp, used in (("111953Z", True), ("042053Z", False), ("110053Z", False)):
        s = flight(with_weather("U88", metar=f"KBOI {stamp} 31008KT 10SM OVC030 30/07 A3002"))
        assert (weather_of(s.request, "U88", s.places, s.day).weather.wind is not None) == used


def test_values_typed_beside_an_old_metar_stay():
    s = flight(with_weather("KBOI", metar="KBOI 042053Z 31008KT 10SM CLR 30/07 A3002", temperature="33 C"))
    w = s.weather["KBOI"].weather
    assert w.temperature_k == pytest.approx(to_si(33, "C", "temperature")) and w.wind is None and w.altimeter_pa is None


def test_leaving_again_days_later_does_not_take_the_metar_of_the_arrival():
    s = flight(with_weather("KU79", metar="KU79 112153Z 31008KT 10SM CLR 25/07 A3002"))
    assert s.weather["KU79"].weather != NOTHING and s.weather_for("leave_again").weather == NOTHING


def test_at_the_turn_of_a_month_a_fresh_metar_is_not_warned_of_and_an_old_one_by_its_day():
    late = data(departure="2026-08-01T00:00Z", leave_again="2026-08-03T08:00-06:00")
    for stamp, warned in (("312353Z", False), ("312153Z", True)):
        late["weather"] = {**late["weather"], "KBOI": {"metar": f"KBOI {stamp} 31008KT 10SM CLR 30/07 A3002"}}
        said = [w["text"] for w in assess(flight(late)).warnings if "report of the hour" in w["text"]]
        assert bool(said) == warned
    assert "31 Jul 21:53Z" in said[0] and "1 Aug 00:00Z" in said[0]


# ------------------------------------------------------------------ the owner's hours


def hourly(*entries, name="KBOI"):
    return with_weather(name, hours=list(entries)) | {"planned_departure": "2026-07-11T08:00-06:00"}


def test_between_two_entries_figures_are_joined_and_the_lower_sky_counts():
    early = hour(LEAVING - timedelta(hours=1), temperature="30 C", altimeter="30.00 inHg", wind="300/10", ceiling="9000 ft",
                 visibility="10 sm")
    late = hour(LEAVING + timedelta(hours=3), temperature="34 C", altimeter="29.80 inHg", wind="300/20G28", ceiling="3000 ft",
                visibility="4 sm")
    found = flight(hourly(early, late)).weather["KBOI"]
    w = found.weather
    assert from_si(w.temperature_k, "C", "temperature") == pytest.approx(31.0)
    assert from_si(w.altimeter_pa, "inHg") == pytest.approx(29.95)
    assert (w.wind.from_deg, w.wind.speed_m_s / KT, w.wind.gust_m_s / KT) == pytest.approx((300.0, 12.5, 28.0))
    assert from_si(w.ceiling_m, "ft") == pytest.approx(3000) and from_si(w.visibility_m, "sm") == pytest.approx(4)
    assert found.age_s == 3600 and found.temperature_sd_k == pytest.approx(1.0) and "20:00Z" in w.source


def test_far_from_an_entry_the_temperature_is_as_good_as_a_forecast():
    found = flight(hourly(hour(LEAVING - timedelta(hours=2), temperature="30 C"),
                          hour(LEAVING + timedelta(hours=2), temperature="30 C"))).weather["KBOI"]
    assert found.temperature_sd_k == pytest.approx(2.5)


@pytest.mark.parametrize("hours", [(1, 2), (-3, -1), (-4, 3)])
def test_nothing_is_known_outside_the_entries_or_in_a_gap_of_more_than_six_hours(hours):
    entries = [hour(LEAVING + timedelta(hours=h), temperature="30 C", altimeter="30 inHg") for h in hours]
    assert flight(hourly(*entries)).weather["KBOI"].weather == NOTHING


def test_each_use_has_the_air_of_its_own_moment():
    entries = [hour(LEAVING + timedelta(hours=h), temperature=f"{20 + h} C", altimeter="30 inHg", wind="calm")
               for h in range(6)]
    plain = hourly(*entries, name="KU79")
    plain.pop("leave_again")
    s = flight(plain)
    hours = (s.arrival - s.departure) / timedelta(hours=1)
    assert 0.7 < hours < 3
    assert from_si(s.weather["KU79"].weather.temperature_k, "C", "temperature") == pytest.approx(20 + hours)
    assert from_si(s.weather_for("leave_again").weather.temperature_k, "C", "temperature") == pytest.approx(21 + hours)


def test_the_arrival_is_estimated_to_within_a_quarter_of_an_hour_of_the_flight():
    s = flight(hourly(hour(LEAVING, temperature="34 C", altimeter="30.02 inHg", wind="310/09G15")))
    moment = by_id(assess(s).margins)["runway.landing.KU79"].moment
    assert abs(s.arrival - moment) < timedelta(minutes=15)


def test_the_crosswind_of_leaving_again_is_judged_where_its_air_is_another():
    entries = [hour(LEAVING + timedelta(hours=h), temperature="20 C", altimeter="30 inHg", wind=wind)
               for h, wind in enumerate(("260/06", "260/06", "260/06", "VRB30", "VRB30"))]
    found = by_id(weather_over_time_margins(flight(hourly(*entries, name="KU79") | {"leave_again": "2026-07-12T00:00Z"}))[0])
    assert found["own.crosswind.leave_again.KU79"].verdict == "outside limits"


def test_the_sky_of_leaving_again_and_of_coming_back_is_judged_at_its_own_moment():
    entries = [hour(LEAVING + timedelta(hours=h), temperature="20 C", altimeter="30 inHg", wind="260/06", ceiling=ceiling,
                    visibility="10 sm") for h, ceiling in ((0, "9000 ft"), (2, "9000 ft"), (3, "700 ft"), (5, "700 ft"))]
    plain = hourly(*entries, name="KU79") | {"leave_again": "2026-07-12T01:00Z", "own": {"ceiling": "1500 ft"}}
    found = by_id(weather_over_time_margins(flight(plain))[0])
    assert found["own.ceiling.leave_again.KU79"].verdict == "outside limits"
    assert found["minima.ceiling.leave_again.KU79"].available.value == pytest.approx(700)
    entries = [hour(LEAVING + timedelta(hours=h), temperature="20 C", altimeter="30 inHg", wind="260/06", ceiling=ceiling,
                    visibility="10 sm") for h, ceiling in ((0, "9000 ft"), (1, "700 ft"), (5, "700 ft"))]
    back = hourly(*entries) | {"to": "KBOI", "own": {"ceiling": "1500 ft"}}
    assert by_id(weather_over_time_margins(flight(back))[0])["own.ceiling.KBOI"].verdict == "outside limits"
    assert by_id(assess(flight(back)).margins)["own.ceiling.KBOI"].verdict == "outside limits"


def test_levels_aloft_are_joined_in_time_by_components():
    def level(h, wind, celsius):
        return {"at": (LEAVING + timedelta(hours=h)).isoformat(), "level": "9500 ft", "wind": wind, "temperature": f"{celsius} C"}

    s = flight(data(aloft_hours=[level(-2, "270/20", 10), level(4, "360/20", 16)]))
    share = (timedelta(hours=2) + (s.arrival - s.departure) / 2) / timedelta(hours=6)
    from_deg, speed = s.air.middle_wind(s.request.cruise_altitude_m)
    assert speed / KT == pytest.approx(20 * np.hypot(1 - share, share), abs=0.7)
    assert 270 < from_deg < 360
    gone = flight(data(aloft_hours=[level(-9, "270/20", 10), level(-8, "270/20", 10)], departure="2026-07-11T18:00-06:00",
                       planned_departure=data()["departure"]))
    assert not gone.air.known and any("no longer hold" in n for n in gone.air.notes)


winds = st.builds(lambda d, v, g: WindReport(d, v, None if g is None else v + g), st.floats(0, 359), st.floats(0.1, 30),
                  st.none() | st.floats(0, 15))


@given(winds, winds, st.floats(0.01, 0.99))
def test_a_wind_between_two_is_never_stronger_than_both_nor_its_gust_weaker_than_either(a, b, share):
    found = wind_between(a, b, share)
    assert found.speed_m_s <= max(a.speed_m_s, b.speed_m_s) + 1e-9
    for w in (a, b):
        assert w.gust_m_s is None or found.gust_m_s >= w.gust_m_s
    assert found.gust_m_s is None or found.gust_m_s >= found.speed_m_s


def test_no_calm_is_made_of_two_opposite_winds():
    assert wind_between(WindReport(270.0, 10.0), WindReport(90.0, 10.0), 0.5) == WindReport(None, 10.0, None, True)


# ------------------------------------------------------------------ a TAF


def taf_flight(station="KBOI", name="KBOI", **change):
    entry = {"taf": AIM.format(station), "temperature": "30 C", "altimeter": "30.02 inHg"}
    return flight(with_weather(name, **entry) | {"own": {"crosswind": "12 kt", "ceiling": "1000 ft", "visibility": "3 sm"}} | change)


def test_wx_08_the_prevailing_group_is_the_plan_and_the_typed_figures_are_kept():
    w = taf_flight().weather["KBOI"].weather
    assert (w.wind.from_deg, w.wind.speed_m_s / KT, w.wind.gust_m_s / KT) == pytest.approx((300, 15, 25))
    assert from_si(w.visibility_m, "sm") == pytest.approx(3) and from_si(w.ceiling_m, "ft") == pytest.approx(1500)
    assert from_si(w.temperature_k, "C", "temperature") == pytest.approx(30) and w.falling == "wet"


def test_wx_09_wx_10_the_tempo_is_judged_and_not_the_prevailing_sky():
    found, words = weather_over_time_margins(taf_flight())
    found = by_id(found)
    assert found["minima.ceiling.KBOI"].available.value == pytest.approx(800)
    assert found["minima.visibility.KBOI"].available.value == pytest.approx(0.5)
    assert found["own.ceiling.KBOI"].verdict == found["own.visibility.KBOI"].verdict == "outside limits"
    assert found["minima.ceiling.KBOI"].verdict == "tight"  # advice broken is tight
    assert any("thunderstorms (TEMPO)" in w for w in words)


def test_outside_the_tempo_the_prevailing_sky_is_judged():
    s = taf_flight(departure="2026-07-11T23:30Z")
    found = by_id(weather_over_time_margins(s)[0])
    assert found["own.ceiling.KBOI"].available.value == pytest.approx(1500)
    assert found["own.ceiling.KBOI"].verdict == "within limits"


def test_wx_11_vertical_visibility_counts_as_a_ceiling():
    entry = {"taf": AIM.format("KBOI").replace("3SM SHRA OVC015", "M1/4SM FG VV004")}
    found = by_id(weather_over_time_margins(flight(with_weather("KBOI", **entry) | {"own": {"visibility": "0.25 sm"}}))[0])
    assert found["minima.ceiling.KBOI"].available.value == pytest.approx(400)
    assert found["own.visibility.KBOI"].verdict == "outside limits"  # less than a quarter is less


def test_both_sides_of_a_becmg_are_judged():
    text = "TAF KBOI 111730Z 1118/1218 31008KT P6SM SKC BECMG 1120/1122 1SM BR OVC005"
    found = by_id(weather_over_time_margins(flight(with_weather("KBOI", taf=text, wind="310/08")))[0])
    assert found["minima.ceiling.KBOI"].available.value == pytest.approx(500)
    turned = "TAF KBOI 111730Z 1118/1218 31008KT 1SM BR OVC005 BECMG 1120/1122 P6SM NSW SKC"
    found = by_id(weather_over_time_margins(flight(with_weather("KBOI", taf=turned, wind="310/08")))[0])
    assert found["minima.ceiling.KBOI"].available.value == pytest.approx(500)


def test_the_gusts_of_a_tempo_blow_across_and_from_behind():
    text = "TAF KBOI 111730Z 1118/1218 31008KT P6SM SKC TEMPO 1120/1122 19020G35KT"
    s = flight(with_weather("KBOI", taf=text, temperature="30 C", altimeter="30 inHg", wind="310/08"))
    found = by_id(weather_over_time_margins(s)[0])
    assert found["own.crosswind.KBOI"].verdict == "outside limits"
    assert found["own.crosswind.KBOI"].required.value > 20
    assert found["wind.KBOI"].verdict == "tight" and "tailwind may be" in found["wind.KBOI"].words
    assert "the distance is for 0 kt" in found["wind.KBOI"].words


def test_gusts_that_may_be_on_landing_are_more_than_the_distance_was_worked_out_for():
    text = "TAF KU79 111730Z 1118/1218 26006KT P6SM SKC TEMPO 1120/1123 26012G32KT"
    s = flight(with_weather("KU79", taf=text, temperature="25 C", altimeter="30 inHg", wind="260/06"))
    ends = {"landing": next(e for e in s.places["KU79"].ends if e.landing_allowed)}
    margins = by_id(weather_over_time_margins(s, ends)[0])
    assert margins["wind.KU79"].verdict == "tight"


def test_a_metar_with_a_taf_gives_the_temperature_and_its_age_is_said():
    entry = {"metar": "KMYL 111553Z 10005KT 10SM OVC002 27/07 A3002", "taf": AIM.format("KMYL").replace("OVC015", "BKN050")}
    s = flight(with_weather("KMYL", **entry))
    w = s.weather["KMYL"].weather
    assert from_si(w.temperature_k, "C", "temperature") == pytest.approx(27) and from_si(w.ceiling_m, "ft") == pytest.approx(5000)
    assert w.observed is None  # a forecast sky is no report
    assert any("are those of the METAR" in x for x in weather_over_time_margins(s)[1])


def test_a_typed_wind_of_the_hour_goes_before_the_taf_and_an_old_metar_behind_it():
    typed = flight(with_weather("KBOI", taf=AIM.format("KBOI"), wind="100/05")).weather["KBOI"].weather
    assert typed.wind.from_deg == 100.0
    old = flight(with_weather("KBOI", taf=AIM.format("KBOI"), metar="KBOI 111553Z 10005KT 10SM CLR 30/07 A3002")).weather["KBOI"]
    assert old.weather.wind.from_deg == 300.0 and old.weather.temperature_k == pytest.approx(303.15)
    fresh = flight(with_weather("KBOI", taf=AIM.format("KBOI"), metar="KBOI 112053Z 10005KT 10SM CLR 30/07 A3002")).weather["KBOI"]
    assert fresh.weather.wind.from_deg == 100.0


def test_a_taf_alone_has_no_temperature_and_no_altimeter_so_that_the_runway_is_not_known():
    found = by_id(assess(flight(with_weather("KBOI", taf=AIM.format("KBOI")))).margins)
    margin = found["runway.take_off.KBOI"]
    assert margin.verdict == "not known" and "temperature, altimeter" in margin.words


def test_the_taf_of_another_station_is_borrowed_and_its_sky_is_not_carried_over():
    s = flight(with_weather("KU79", taf=AIM.format("KMYL"), temperature="25 C", altimeter="30 inHg") | {"own": {"ceiling": "500 ft"}})
    found, words = weather_over_time_margins(s)
    assert s.weather["KU79"].borrowed and s.weather["KU79"].weather.ceiling_m is None
    assert not [m for m in found if m.id.startswith(("own.ceiling", "minima"))]
    assert any("The TAF is of KMYL" in w for w in words)


def test_a_taf_that_does_not_cover_the_moment_is_said_and_judges_nothing():
    s = taf_flight(departure="2026-07-11T10:00-06:00")
    found, words = weather_over_time_margins(s)
    assert found == [] and any("does not cover 11 Jul 16:00Z" in w for w in words)
    assert s.weather["KBOI"].weather.wind is None


def test_the_alternate_is_judged_by_the_worst_of_its_taf():
    entry = {"taf": AIM.format("KMYL"), "temperature": "27 C", "altimeter": "30.05 inHg"}
    found = by_id(weather_over_time_margins(flight(with_weather("KMYL", **entry)))[0])
    assert found["minima.ceiling.KMYL"].available.value == pytest.approx(800)
    ifr = by_id(weather_over_time_margins(flight(with_weather("KMYL", **entry) | {"rules": "IFR"}))[0])
    assert ifr["alternate.KMYL"].verdict == "outside limits"


def test_a_taf_of_no_use_to_the_plan_still_makes_no_margin_better():
    plain, taf = data(), with_weather("KBOI", **data()["weather"]["KBOI"], taf=AIM.format("KBOI"))
    before, after = (by_id(weather_margins(flight(x))[0]) for x in (plain, taf))
    for id_, m in before.items():
        assert ORDER.index(after[id_].verdict) >= ORDER.index(m.verdict)


# ------------------------------------------------------------------ the trend behind a METAR


def trended(trend, **change):
    """The demo with a METAR of the hour at the departure, a trend behind it (made by hand), and an own minimum ceiling."""
    metar = f"KBOI 112053Z 31008KT 10SM CLR 30/07 A3002 {trend}".strip()
    return flight(with_weather("KBOI", metar=metar) | {"own": {"ceiling": "2000 ft", "visibility": "3 sm"}} | change)


def test_a_tempo_behind_a_metar_is_judged_as_what_may_be():
    found, words = weather_over_time_margins(trended("TEMPO 19020G35KT 1/2SM +TSRA OVC008CB"))
    margins = by_id(found)
    assert margins["own.ceiling.KBOI"].required.value == 2000 and margins["own.ceiling.KBOI"].available.value == 800
    assert margins["own.visibility.KBOI"].verdict == "outside limits" and margins["crosswind.KBOI"].verdict != "within limits"
    assert "trend of the METAR" in margins["own.ceiling.KBOI"].source
    assert any("trend of the METAR has thunderstorms" in w for w in words)
    assert assess(trended("TEMPO 19020G35KT 1/2SM +TSRA OVC008CB")).verdict == "outside limits"


def test_nosig_and_no_trend_change_nothing():
    plain, nosig = (weather_over_time_margins(trended(x)) for x in ("", "NOSIG"))
    assert plain == nosig and not [m for m in plain[0] if m.place == "KBOI"]


@pytest.mark.parametrize(("trend", "judged"), [("TEMPO FM2230 TL2300 OVC008", False), ("TEMPO TL2130 OVC008", True), ("BECMG OVC008", True),
                                               ("BECMG AT2200 OVC008", False), ("BECMG FM2055 TL2058 OVC008", True),
                                               ("TEMPO FM2050 BKN008", True)])
def test_the_times_of_a_trend_are_minded(trend, judged):
    margins = by_id(weather_over_time_margins(trended(trend))[0])
    assert (margins["own.ceiling.KBOI"].verdict == "outside limits") == judged


@pytest.mark.parametrize(("trend", "said", "judged"), [("TEMPO OVC008 RUBBISH", "TEMPO RUBBISH", True), ("TEMPO RUBBISH", "TEMPO RUBBISH", False),
                                                       ("RMK AO2 TEMPO OVC008", "TEMPO OVC008", False),
                                                       ("BECMG FM2059 TL2055 OVC008", "TL2055", False), ("PROB30 OVC008", "PROB30", False)])
def test_what_of_a_trend_does_not_read_is_named(trend, said, judged):
    found, words = weather_over_time_margins(trended(trend))
    assert any(said in w and "does not read" in w for w in words)
    assert ("own.ceiling.KBOI" in by_id(found)) == judged


def test_a_trend_ends_two_hours_after_the_observation_and_is_said_then():
    found, words = weather_over_time_margins(trended("TEMPO OVC008", departure="2026-07-11T22:54Z"))
    assert "own.ceiling.KBOI" not in by_id(found) and any("not judged at departure" in w for w in words)
    found, words = weather_over_time_margins(trended("TEMPO OVC008", departure="2026-07-11T22:52Z"))
    assert by_id(found)["own.ceiling.KBOI"].verdict == "outside limits"


@given(st.sampled_from(["TEMPO", "BECMG"]), st.sampled_from(["BKN050", "OVC002", "2SM", "35015G30KT", "9999 SCT010", "SKC", "-RA"]))
@settings(max_examples=14, deadline=None)
def test_a_trend_never_makes_the_verdict_better(kind, change):
    before, after = (assess(trended(x)) for x in ("", f"{kind} {change}"))
    assert ORDER.index(after.verdict) >= ORDER.index(before.verdict)
    known = by_id(after.margins)
    assert all(ORDER.index(known[m.id].verdict) >= ORDER.index(m.verdict) for m in before.margins if m.id in known)


# ------------------------------------------------------------------ a forecast


def column(hours=range(-3, 7), wind=(270.0, 10.0), fetched_h=-3, elevation_m=800.0, warmer_k=0.0):
    def level(height, pressure_m):
        return Level(height, float(isa_pressure_pa(pressure_m)), float(isa_temperature_k(height)) + warmer_k, *towards(*wind))

    made = []
    for h in hours:
        ground = Ground(float(isa_pressure_pa(elevation_m)), float(isa_temperature_k(elevation_m)) + warmer_k, 275.0, *towards(*wind),
                        wind[1] + 3)
        made.append(Hour(LEAVING + timedelta(hours=h), ground, tuple(level(x, x) for x in (1500.0, 3000.0, 4500.0, 6000.0))))
    return Forecast(43.6, -116.2, elevation_m, tuple(made), LEAVING + timedelta(hours=fetched_h), "made by hand", "none")


METAR = "KBOI {} 31008KT 10SM CLR 30/07 A3002"  # made by hand for the tests


@pytest.mark.parametrize(("metar", "source", "celsius"), [("112053Z", "METAR", 30.0), ("112147Z", "METAR", 30.0),
                                                          ("111853Z", "forecast", None), ("042053Z", "forecast", None)])
def test_a_fresh_metar_goes_before_the_forecast_and_an_older_one_behind_it(metar, source, celsius):
    s = flight(with_weather("KBOI", metar=METAR.format(metar)), {"KBOI": column()})
    found, ground = s.weather["KBOI"], float(isa_temperature_k(s.places["KBOI"].elevation_m))
    expected = ground if celsius is None else to_si(celsius, "C", "temperature")
    assert found.weather.temperature_k == pytest.approx(float(expected), abs=0.01) and source in found.words


def test_what_was_typed_goes_before_the_forecast_and_behind_the_owners_hours():
    made = {"KBOI": column()}
    s = flight(data(), made)
    assert s.weather["KBOI"].weather.temperature_k == pytest.approx(to_si(34, "C", "temperature"))
    wind_only = flight(with_weather("KBOI", wind="100/05"), made)
    ground = float(isa_temperature_k(wind_only.places["KBOI"].elevation_m))
    assert wind_only.weather["KBOI"].weather.wind.from_deg == 100.0  # the forecast fills what was not typed
    assert wind_only.weather["KBOI"].weather.temperature_k == pytest.approx(ground, abs=0.01)
    gone = flight(data(planned_departure="2026-07-11T12:00-06:00"), made).weather["KBOI"]
    assert gone.weather.temperature_k == pytest.approx(ground, abs=0.01)  # typed for three hours before
    own = flight(hourly(hour(LEAVING, temperature="31 C")), made).weather["KBOI"]
    assert own.weather.temperature_k == pytest.approx(to_si(31, "C", "temperature"))


@pytest.mark.parametrize("fetched_h", [-3, -30, -60, -120])
def test_the_error_of_the_forecast_takes_the_place_of_the_planning_figure(fetched_h):
    s = flight(data(weather=None, aloft=None), {"KBOI": column(fetched_h=fetched_h), "KU79": column(fetched_h=fetched_h)})
    age = s.weather["KBOI"].age_s
    assert age >= -fetched_h * 3600
    assert s.weather["KBOI"].temperature_sd_k == pytest.approx(spread_at(age, ground=True).temperature_sd_k)
    assert np.std(s.air.wind_noise_m_s[0]) == pytest.approx(s.aloft.wind_sd_m_s, rel=0.02)


def test_a_forecast_crosswind_is_tight_where_its_error_crosses_the_limit():
    own = {"crosswind": f"{30} kt"}
    bands = []
    for fetched_h in (-3, -120):
        made = {n: column(fetched_h=fetched_h, wind=(190.0, 9.0)) for n in ("KBOI", "KU79")}
        m = by_id(weather_over_time_margins(flight(data(own=own, weather=None), made))[0])["own.crosswind.KBOI"]
        bands.append(m.required.high - m.required.low)
        across = m.required.value
    assert bands[0] < bands[1]
    near = by_id(weather_over_time_margins(flight(data(own={"crosswind": f"{across + 1:.1f} kt"}, weather=None), made))[0])
    assert near["own.crosswind.KBOI"].verdict == "tight"


def test_leaving_again_beyond_the_forecast_is_said_to_be_in_the_air_typed_for_the_arrival():
    s = flight(data(), {n: column() for n in ("KBOI", "KU79")})
    assert s.weather_for("leave_again").weather.temperature_k == pytest.approx(to_si(25, "C", "temperature"))
    assert any("KU79 again: the air of the arrival is assumed" in w for w in weather_over_time_margins(s)[1])


def test_an_older_forecast_has_a_wider_band():
    spreads = []
    for fetched_h in (-3, -30, -60, -120):
        s = flight(data(aloft=None), {"KBOI": column(fetched_h=fetched_h), "KU79": column(fetched_h=fetched_h)})
        margin = by_id(assess(s).margins)["fuel.landing"]
        spreads.append((np.std(s.air.temperature_noise_k), np.std(s.air.wind_noise_m_s[0]),
                        margin.available.high - margin.available.low))
    for first, second in pairwise(spreads):
        assert all(a < b for a, b in zip(first, second, strict=True))


def test_a_forecast_over_one_end_alone_is_not_the_air_of_the_route():
    s = flight(data(), {"KBOI": column(wind=(90.0, 30.0))})
    assert s.aloft.wind_sd_m_s is None and len(s.aloft.levels) == 3
    s = flight(data(planned_departure="2026-07-11T08:00-06:00"), {"KBOI": column()})
    assert not s.air.known


def both_ends(**more):
    return {n: column(wind=(90.0, 30.0), **more) for n in ("KBOI", "KU79")}


def test_aloft_what_the_owner_typed_goes_before_the_forecast_for_its_hours_and_is_said():
    """As at the ground: [aloft] holds an hour around the departure it was typed for; beyond, the forecast counts."""
    typed, both = flight(data()), flight(data(), both_ends())
    assert both.aloft.levels == typed.aloft.levels and both.aloft.wind_sd_m_s is None
    assert "Air aloft: [aloft] of the request, before the forecast." in both.aloft.words
    assert typed.aloft.words == ()
    near = flight(data(planned_departure="2026-07-11T14:00-06:00"), both_ends())
    assert near.aloft.levels == typed.aloft.levels
    later = flight(data(planned_departure="2026-07-11T13:30-06:00"), both_ends())
    assert later.aloft.wind_sd_m_s is not None and any("forecast of made by hand" in w for w in later.aloft.words)
    hours = flight(data(aloft_hours=[{"level": "9000 ft", "at": LEAVING.isoformat(), "wind": "180/20", "temperature": "12 C"},
                                     {"level": "9000 ft", "at": (LEAVING + timedelta(hours=2)).isoformat(), "wind": "180/20",
                                      "temperature": "12 C"}]), both_ends())
    assert [x.wind_from_deg for x in hours.aloft.levels] == pytest.approx([180.0])
    assert "Air aloft: the owner's [[aloft_hours]], before [aloft] of the request and the forecast." in hours.aloft.words


def test_aloft_what_was_not_typed_is_the_forecast_s_with_its_own_error():
    s = flight(data(aloft={"9000 ft": {"wind": "280/14"}}), both_ends())
    assert s.air.known and s.aloft.wind_sd_m_s is None and s.aloft.temperature_sd_k is not None
    assert s.air.middle_wind(3000.0)[0] == pytest.approx(280.0)
    assert "Air aloft: winds [aloft] of the request, temperatures the forecast." in s.aloft.words
    assert not flight(data(aloft={"9000 ft": {"wind": "280/14"}})).air.known


def test_columns_that_differ_widen_the_error():
    at = LEAVING
    same, other = (aloft_of_forecasts([Column(column(), at), Column(column(wind=w), at)], 3000.0)
                   for w in ((270.0, 10.0), (90.0, 10.0)))
    assert other.wind_sd_m_s == pytest.approx(np.hypot(same.wind_sd_m_s, 10.0))
    level = next(x for x in other.levels if x.altitude_m == 3000.0)
    assert level.wind_m_s == pytest.approx(0.0, abs=1e-9)


def test_outside_its_hours_a_forecast_is_not_used():
    s = flight(data(planned_departure="2026-07-11T08:00-06:00"), {"KBOI": column(hours=range(-9, -3)), "KU79": column(hours=range(-9, -3))})
    assert s.weather["KBOI"].weather == NOTHING and not s.air.known


def test_a_forecast_or_an_entry_may_turn_not_known_into_an_answer():
    departure = "2026-07-11T18:00-06:00"
    moved = data(departure=departure, planned_departure=data()["departure"], leave_again=None)
    blind = assess(flight(moved))
    seen = assess(flight(moved, {n: column() for n in ("KBOI", "KU79")}))
    assert blind.verdict in ("not known", "outside limits")
    assert by_id(blind.margins)["runway.take_off.KBOI"].verdict == "not known"
    assert by_id(seen.margins)["runway.take_off.KBOI"].verdict != "not known"


# ------------------------------------------------------------------ never optimistic


@cache
def light():
    plain = data(loads=[x for x in data()["loads"] if x["station"] == "front"], planned_departure=data()["departure"])
    return plain, assess(flight(plain)).verdict


@settings(max_examples=12, deadline=None)
@given(st.sampled_from(["KBOI", "KU79"]), st.sampled_from(["wind", "temperature", "altimeter", None]))
def test_removing_a_weather_fact_never_gives_a_passing_verdict(name, key):
    plain, before = light()
    assert before in ("within limits", "tight")
    entry = {k: v for k, v in plain["weather"][name].items() if k != key} if key else {}
    weather = {**plain["weather"], name: entry}
    if key is None:
        weather.pop(name)
    assert assess(flight({**plain, "weather": weather})).verdict in ("not known", "outside limits")


@settings(max_examples=8, deadline=None)
@given(st.sets(st.sampled_from(["temperature", "altimeter", "wind"]), min_size=1), st.sampled_from([0, 1, 2]))
def test_an_element_that_no_entry_gives_is_not_known(keys, gap):
    full = {"temperature": "30 C", "altimeter": "30 inHg", "wind": "310/10"}
    entries = [hour(LEAVING + timedelta(hours=h), **{k: v for k, v in full.items() if k not in keys})
               if len(keys) < 3 else hour(LEAVING + timedelta(hours=h), dew_point="1 C") for h in (-gap, gap + 1)]
    w = flight(hourly(*entries)).weather["KBOI"].weather
    for key, value in (("temperature", w.temperature_k), ("altimeter", w.altimeter_pa), ("wind", w.wind)):
        assert (value is None) is (key in keys)


def test_the_plain_entry_of_the_request_is_unchanged():
    assert WeatherEntry().hours == () and WeatherEntry().taf is None
    assert write_toml(data())
