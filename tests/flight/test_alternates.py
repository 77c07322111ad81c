"""The alternate and the places on the way: rows of the rules, runway at the weight left there, weather against minima."""

import tomllib
from dataclasses import replace
from datetime import date
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.flight import assessment
from ownship.flight.judge_alternates import alternate_margins, weight_there_kg
from ownship.questions.check import check_text, demo_aeroplane, demo_flight, situation
from ownship.rules.ruleset import PLACES, load_ruleset
from ownship.units import from_si, to_si
from ownship.web.forms import write_toml
from ownship.words.verdicts import ORDER

DAY = date(2026, 7, 11)
METAR = "METAR KMYL 112053Z 20008KT 10SM CLR 27/05 A3005"


def flight(weather=None, **change):
    """The demo's request; weather: by place, laid over what stands there."""
    data = tomllib.loads(demo_flight())
    data["departure"] = str(data["departure"])
    for place, values in (weather or {}).items():
        data["weather"][place] = data["weather"].get(place, {}) | values
    return write_toml(data | change)


def judged(weather=None, **change):
    """(margins by id, what is not checked) of alternate_margins alone, nothing flown."""
    found, unchecked = alternate_margins(situation(demo_aeroplane(), flight(weather, **change)), [], "Not flown.")
    return {m.id: m for m in found}, unchecked


def ifr(place="USA", **there):
    return judged({"KMYL": there}, rules="IFR", cruise_altitude="9000 ft", place=place)


def without(place="USA", **there):
    return judged({"KU79": there}, rules="IFR", cruise_altitude="9000 ft", place=place, alternates=[])


@cache
def flown():
    s = situation(demo_aeroplane(), demo_flight())
    return s, assessment.fly(s, assessment.aboard_of(s))[0]


# rows of the rules (how each is known stands in the data and is shown)
def test_usa_no_alternate_from_2000_ft_and_3_sm_an_hour_around_the_arrival():
    need = load_ruleset("USA").alternate_need(DAY)  # 14 CFR 91.167(b), 91.169(b), second-hand
    assert not need.always and "second-hand" in need.rule.cite()
    assert (from_si(need.ceiling_m, "ft"), from_si(need.visibility_m, "sm")) == (pytest.approx(2000), pytest.approx(3))
    assert from_si(need.window_s, "min") == pytest.approx(60)


def test_canada_always_names_an_alternate_unless_authorised():
    need = load_ruleset("Canada").alternate_need(DAY)  # CAR 602.122
    assert need.always and "unless authorised" in need.rule.applies_if


def test_easa_wording_before_2022_10_30_is_kept_and_that_in_force_is_not_known():
    rules = load_ruleset("EASA")  # NCO.OP.140, wording before 2022
    assert rules.alternate_need(date(2022, 10, 30)) is None
    old = rules.alternate_need(date(2022, 10, 29))
    assert not old.always and old.ceiling_m is None and "visual" in old.also


@pytest.mark.parametrize(("place", "ceilings", "miles"), [
    ("USA", [600, 800], [2, 2]),                # 91.169(c), second-hand
    ("Canada", [400, 600, 800], [1, 2, 2]),     # 602.123 with the published table, the last from memory
    ("EASA", [], []),                           # not read
])
def test_alternate_minima_by_kind_of_approach_lowest_first(place, ceilings, miles):
    found = load_ruleset(place).alternate_minima(DAY)
    assert [round(float(from_si(m.ceiling_m, "ft"))) for m in found] == ceilings
    assert [from_si(m.visibility_m, "sm") for m in found] == pytest.approx(miles)


@pytest.mark.parametrize(("place", "altitude_ft", "visibility", "below_ft"), [
    ("USA", 9500, "3 sm", 500), ("USA", 10500, "5 sm", 1000),   # 91.155(a)
    ("Canada", 9500, "3 sm", 500),                              # CAR 602.114
    ("EASA", 9500, "5 km", 1000), ("EASA", 10500, "8 km", 1000),  # SERA.5001
])
def test_the_strictest_airspace_below_and_from_10000_ft(place, altitude_ft, visibility, below_ft):
    number, unit = visibility.split()
    sight, cloud = load_ruleset(place).strictest_visual(DAY, float(to_si(altitude_ft, "ft")))
    assert sight.visibility_m == pytest.approx(to_si(float(number), unit))
    assert from_si(cloud.cloud_below_m, "ft") == pytest.approx(below_ft)


@settings(max_examples=40, derandomize=True, deadline=None)
@given(st.sampled_from(PLACES), st.floats(0, 5000))
def test_no_airspace_at_a_level_asks_for_more_than_the_strictest(place, altitude_m):
    rules = load_ruleset(place)
    sight, cloud = rules.strictest_visual(DAY, altitude_m)
    for r in rules.rules:
        if r.id.startswith("visual.") and "special" not in r.id and "over_the_top" not in r.id \
                and r.values.get("above", 0.0) <= altitude_m:
            assert r.values["visibility"] <= sight.visibility_m
            assert r.values.get("cloud_below", 0.0) <= cloud.cloud_below_m


def test_before_the_rules_kept_nothing_of_alternates_is_known():
    for place in PLACES:
        rules, day = load_ruleset(place), date(1960, 1, 1)
        assert rules.alternate_need(day) is None and rules.alternate_minima(day) == ()
        assert rules.strictest_visual(day, 1000.0) is None


# IFR: the weather at the alternate
@pytest.mark.parametrize(("place", "ceiling", "visibility", "verdict"), [
    ("USA", "800 ft", "2 sm", "within limits"), ("USA", "590 ft", "5 sm", "outside limits"),
    ("USA", "3000 ft", "1.5 sm", "outside limits"), ("USA", "700 ft", "5 sm", "not known"),
    ("Canada", "390 ft", "5 sm", "outside limits"), ("Canada", "3000 ft", "0.5 sm", "outside limits"),
    ("Canada", "500 ft", "5 sm", "not known"), ("Canada", "3000 ft", "6 sm", "tight"),  # 800-2 is known from memory only
    ("EASA", "3000 ft", "6 sm", "not known"),
])
def test_the_forecast_against_the_alternate_minima(place, ceiling, visibility, verdict):
    margin = ifr(place, ceiling=ceiling, visibility=visibility)[0]["alternate.KMYL"]
    assert margin.verdict == verdict
    assert margin.kind == "limitation" and margin.source


def test_how_the_minima_are_known_is_shown_and_what_the_data_lack_is_said():
    usa, unchecked = ifr(ceiling="800 ft", visibility="2 sm")
    assert "second-hand" in usa["alternate.KMYL"].source
    assert any("not in the data" in x and "KMYL" in x for x in unchecked)
    assert any("basic VFR" in x for x in unchecked)
    assert "from memory" in ifr("Canada", ceiling="3000 ft", visibility="6 sm")[0]["alternate.KMYL"].source


def test_without_a_forecast_the_alternate_is_not_known_and_a_report_alone_is_no_forecast():
    assert ifr()[0]["alternate.KMYL"].verdict == "not known"
    assert ifr(ceiling="5000 ft")[0]["alternate.KMYL"].verdict == "not known"
    assert "visibility" in ifr(ceiling="5000 ft")[0]["alternate.KMYL"].name
    assert ifr(metar=METAR)[0]["alternate.KMYL"].verdict == "not known"
    typed = ifr(metar=METAR, ceiling="5000 ft", visibility="10 sm")[0]["alternate.KMYL"]
    assert typed.verdict == "within limits"


TAF = "TAF KMYL 111730Z 1118/1218 20008KT P6SM BKN020 TEMPO 1120/1124 2SM BKN005"


def test_a_taf_that_covers_the_arrival_is_a_forecast_and_its_worst_counts():
    plan = ifr(taf=TAF.split(" TEMPO", maxsplit=1)[0], metar=METAR)[0]["alternate.KMYL"]
    assert plan.verdict == "within limits" and plan.available.value == pytest.approx(2000)
    over = ifr(taf=TAF.replace("1118/1218", "1118/1120").split(" TEMPO")[0], metar=METAR)[0]["alternate.KMYL"]
    assert over.verdict == "not known"  # the TAF ends before the arrival, the METAR is a report
    answer = check_text(demo_aeroplane(), flight({"KMYL": {"taf": TAF}}, rules="IFR", cruise_altitude="9000 ft"))
    assert next(m for m in answer.margins if m.id == "alternate.KMYL").verdict == "outside limits"


def test_the_owners_hours_around_the_arrival_are_a_forecast_and_before_it_none():
    def hours(*clocks, **values):
        return [{"at": f"2026-07-11T{x}-06:00", "ceiling": "900 ft", "visibility": "5 sm"} | values for x in clocks]

    def verdict(entries):
        return ifr(hours=entries, metar=METAR)[0]["alternate.KMYL"].verdict

    assert verdict(hours("16:00", "18:00")) == "within limits"
    assert verdict(hours("16:00", "18:00", visibility="1 sm")) == "outside limits"
    assert verdict(hours("14:00", "15:00")) == "not known"


def test_half_a_forecast_that_breaks_the_lowest_minima_is_outside_already():
    assert ifr(visibility="0.5 sm")[0]["alternate.KMYL"].verdict == "outside limits"


@settings(max_examples=30, derandomize=True, deadline=None)
@given(st.sampled_from(["USA", "Canada"]), st.integers(1, 30), st.integers(0, 10), st.integers(1, 24), st.integers(0, 8))
def test_better_weather_at_the_alternate_is_never_a_worse_verdict(place, hundreds, higher, quarters, farther):
    def rank(ceiling, visibility):
        there = ifr(place, ceiling=f"{ceiling * 100} ft", visibility=f"{visibility / 4} sm")[0]["alternate.KMYL"]
        return ORDER.index(there.verdict)

    assert rank(hundreds + higher, quarters + farther) <= rank(hundreds, quarters)


# IFR without an alternate
@pytest.mark.parametrize(("place", "ceiling", "visibility", "verdict"), [
    ("USA", "2000 ft", "3 sm", "within limits"), ("USA", "1900 ft", "10 sm", "outside limits"),
    ("USA", "9000 ft", "2.5 sm", "outside limits"), ("Canada", "9000 ft", "10 sm", "outside limits"),
    ("EASA", "9000 ft", "10 sm", "not known"),
])
def test_ifr_without_an_alternate(place, ceiling, visibility, verdict):
    margins, unchecked = without(place, ceiling=ceiling, visibility=visibility)
    assert margins["alternate.needed"].verdict == verdict
    assert "runway.landing.KMYL" not in margins
    assert (place == "USA") == any("instrument approach" in x for x in unchecked)


def test_ifr_without_an_alternate_and_with_a_report_only_is_not_known():
    report = METAR.replace("KMYL", "KU79")
    data = tomllib.loads(flight(rules="IFR", cruise_altitude="9000 ft", alternates=[]))
    data["weather"]["KU79"] = {"metar": report}
    s = situation(demo_aeroplane(), write_toml(data))
    assert {m.id: m.verdict for m in alternate_margins(s, [])[0]} == {"alternate.needed": "not known"}


def test_vfr_asks_for_no_alternate():
    assert judged(alternates=[]) == ({}, ["VFR minima on the way at U88: ceiling and visibility are not given."])


# VFR: the alternate and the places on the way
def test_vfr_weather_of_the_alternate_against_the_minima_and_the_owners_own():
    margins, unchecked = judged({"KMYL": {"ceiling": "900 ft", "visibility": "5 sm"}}, own={"ceiling": "2000 ft"})
    assert margins["minima.ceiling.KMYL"].verdict == "tight"  # advice: whether a surface area is there is not in the data
    assert margins["minima.visibility.KMYL"].verdict == "within limits"
    assert margins["own.ceiling.KMYL"].verdict == "outside limits"
    assert not any("KMYL" in x for x in unchecked)


def test_what_is_not_given_at_the_alternate_and_on_the_way_is_not_checked_never_passed():
    margins, unchecked = judged()
    assert not any(x.startswith("minima.") for x in margins)
    assert any("KMYL" in x and "ceiling and visibility" in x for x in unchecked)
    assert any("U88" in x for x in unchecked)


@pytest.mark.parametrize(("ceiling", "visibility", "cloud", "sight"), [
    ("12000 ft", "10 sm", "within limits", "within limits"), ("3000 ft", "10 sm", "tight", "within limits"),
    ("12000 ft", "2 sm", "within limits", "tight"),
])
def test_a_place_on_the_way_against_the_strictest_airspace_of_the_level(ceiling, visibility, cloud, sight):
    margins, _ = judged({"U88": {"ceiling": ceiling, "visibility": visibility}})
    assert margins["minima.cloud.U88"].verdict == cloud
    assert margins["minima.visibility.U88"].verdict == sight
    assert margins["minima.cloud.U88"].kind == "advice"


def test_the_room_below_the_cloud_is_ceiling_plus_elevation_less_the_level():
    s = situation(demo_aeroplane(), flight({"U88": {"ceiling": "6000 ft", "visibility": "10 sm"}}))
    found = {m.id: m for m in alternate_margins(s, [])[0]}["minima.cloud.U88"]
    height = 6000 + float(from_si(s.places["U88"].elevation_m, "ft")) - 9500
    assert found.available.value == pytest.approx(height)
    assert found.required.value == pytest.approx(500)


# the runway
def test_the_runway_of_the_alternate_is_judged_at_the_weight_left_there():
    s, f = flown()
    there = weight_there_kg([f])
    assert np.median(there) < np.median(f.landing_kg)
    assert there == pytest.approx(f.landing_kg - f.needs.alternate_m3 * s.record.fuel.density_kg_m3)
    heavier = replace(f, landing_kg=f.landing_kg + 20.0)
    assert weight_there_kg([f, heavier]) == pytest.approx(there + 20.0)
    assert weight_there_kg([replace(f, needs=None)]) == pytest.approx(f.landing_kg)


@settings(max_examples=15, derandomize=True, deadline=None)
@given(st.floats(-150, 100), st.floats(1, 150))
def test_heavier_is_never_better_at_the_alternate(more_kg, step_kg):
    s, f = flown()

    def at(extra):
        found, _ = alternate_margins(s, [replace(f, landing_kg=f.landing_kg + extra)])
        return next(m for m in found if m.id == "runway.landing.KMYL")

    light, heavy = at(more_kg), at(more_kg + step_kg)
    if heavy.margin is not None and light.margin is not None:  # beyond the weights of the book: not known, never within
        assert heavy.margin.value <= light.margin.value
    assert ORDER.index(heavy.verdict) >= ORDER.index(light.verdict)


def test_an_alternate_without_weather_or_without_a_runway_is_not_known():
    data = tomllib.loads(flight())
    data["weather"].pop("KMYL")
    s, f = situation(demo_aeroplane(), write_toml(data)), flown()[1]
    assert {m.id: m.verdict for m in alternate_margins(s, [f])[0]}["runway.landing.KMYL"] == "not known"
    s = situation(demo_aeroplane(), flight(alternates=["44.9,-116.1"]))
    (margin,) = alternate_margins(s, [f])[0]
    assert margin.verdict == "not known" and "[aerodromes]" in margin.words


def test_the_assessment_carries_them_and_says_which_alternates_are_not_judged():
    answer = check_text(demo_aeroplane(), flight(alternates=["KMYL", "KBOI"]))
    ids = {m.id for m in answer.margins}
    assert {"runway.landing.KMYL", "crosswind.KMYL", "own.crosswind.KMYL"} <= ids
    assert any("KBOI" in x and "first only" in x for x in answer.not_checked)
    assert any("U88" in x for x in answer.not_checked)
