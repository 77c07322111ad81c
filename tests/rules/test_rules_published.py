"""Rules as data with dates: NV-16, FU-05, SU-07 and what a stale rule set would get wrong."""

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.errors import BadInput
from ownship.rules.due import next_due
from ownship.rules.ruleset import PLACES, load_ruleset, place_of_country
from ownship.units import to_si

DAY = date(2026, 7, 11)


def feet(x):
    return float(to_si(x, "ft"))


@pytest.mark.parametrize(("course", "altitude", "ok"), [(135, 5500, True), (175, 5500, True), (185, 4500, True),
                                                        (135, 4500, False), (185, 5500, False), (0, 3500, True),
                                                        (179.9, 7500, True), (180, 6500, True), (359, 8500, True),
                                                        (90, 5000, False)])
def test_nv_16_vfr_cruising_levels_14_cfr_91_159(course, altitude, ok):
    answer = load_ruleset("USA").cruising_level(DAY, "VFR", course, feet(altitude), feet(4000))
    assert answer.ok is ok


def test_a_level_that_obeys_needs_no_ground_and_one_that_does_not_is_not_known_without_it():
    rules = load_ruleset("USA")
    assert rules.cruising_level(DAY, "VFR", 90, feet(5500), None).ok is True
    assert rules.cruising_level(DAY, "VFR", 90, feet(6500), None).ok is None
    assert rules.cruising_level(DAY, "VFR", 90, feet(6500), feet(2900)).ok is True
    assert rules.cruising_level(DAY, "VFR", 90, feet(6500), feet(3100)).ok is False


def test_fu_05_vfr_reserve_30_min_day_45_night_14_cfr_91_151():
    rules = load_ruleset("USA")
    assert rules.fuel_reserve(DAY, "VFR", night=False).time_s == 1800
    assert rules.fuel_reserve(DAY, "VFR", night=True).time_s == 2700
    assert rules.fuel_reserve(DAY, "VFR", night=False).flow == "normal cruise"


def test_ifr_reserves_and_canadas_missed_approach():
    assert load_ruleset("Canada").fuel_reserve(DAY, "IFR", night=False).approach_and_missed
    assert not load_ruleset("USA").fuel_reserve(DAY, "IFR", night=False).approach_and_missed
    for place in PLACES:
        assert load_ruleset(place).fuel_reserve(DAY, "IFR", night=False).time_s == 2700


def test_easa_reserve_moved_to_holding_speed_on_2022_10_30_and_says_it_is_from_memory():
    rules = load_ruleset("EASA")
    assert rules.fuel_reserve(date(2022, 10, 29), "VFR", night=False).flow == "normal cruise"
    new = rules.fuel_reserve(date(2022, 10, 30), "VFR", night=False)
    assert new.flow == "holding at 1,500 ft"
    assert "from memory" in new.rule.cite()


def test_the_ten_minute_reserve_never_applies_by_itself():
    for place in PLACES:
        for rule in load_ruleset(place).rules:
            assert not rule.id.startswith("fuel") or rule.values["time"] >= 1800


def test_su_07_legal_night_is_civil_twilight_and_passenger_night_an_hour_after_sunset():
    usa = load_ruleset("USA")
    assert usa.night(DAY, "fuel").zenith_deg == 96
    passengers = usa.night(DAY, "passengers")
    assert (passengers.zenith_deg, passengers.after_s, passengers.before_s) == (90.833, 3600, 3600)


def test_no_rule_before_its_day_and_none_for_other_countries():
    assert load_ruleset("EASA").fuel_reserve(date(2010, 1, 1), "VFR", night=False) is None
    assert place_of_country("GB") is None and place_of_country("us") == "USA" and place_of_country("FR") == "EASA"


def test_every_rule_has_a_source_and_a_status():
    for place in PLACES:
        for rule in load_ruleset(place).rules:
            assert rule.source.text and rule.source.status


@settings(max_examples=100, derandomize=True)
@given(st.dates(date(1990, 1, 1), date(2060, 1, 1)), st.integers(1, 60), st.integers(0, 24),
       st.sampled_from(["calendar months", "months", "days"]))
def test_a_due_date_never_moves_later_when_the_interval_shortens(done, count, more, kind):
    short, long = next_due(done, f"{count} {kind}"), next_due(done, f"{count + more} {kind}")
    assert done <= short <= long


@pytest.mark.parametrize("every", ["", "12", "calendar months", "0 days", "12 fortnights", "1e9 days", "-3 months"])
def test_what_is_no_interval_is_one_sentence(every):
    with pytest.raises(BadInput):
        next_due(DAY, every)
