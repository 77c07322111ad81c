"""The flight-plan message against a grammar written here from ICAO Doc 4444, appendices 2 and 3 (from memory; rules.md)."""

import re
from dataclasses import replace
from datetime import datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ownship.aeroplane.description import EquipmentCodes
from ownship.errors import BadInput
from ownship.flight.assessment import assess
from ownship.papers.icao_plan import icao_plan, indicator, persons, place_words
from ownship.questions.check import demo_aeroplane, demo_flight, situation, situation_of

PLACE, CLOCK = r"[A-Z]{4}", r"(?:[01]\d|2[0-3])[0-5]\d"
POSITION = r"(?:[0-8]\d[0-5]\d|9000)[NS](?:0\d\d|1[0-7]\d|180)[0-5]\d[EW]"
ELAPSED = r"\d\d[0-5]\d"
A = r"(?:N|(?:[SABCDFGHIKLOTUVWXY]|E[1-3]|J[1-7]|M[1-3]|P[1-9])+)"
B = r"(?:N|[ACEHILPSX]?(?:B[12])?(?:U[12])?(?:V[12])?)"
FREE = r"[A-Z0-9]+(?: [A-Z0-9]+)*"
MESSAGE = re.compile(
    rf"\(FPL-(?P<reg>[A-Z0-9]{{1,7}})-(?P<rules>[IV])G -ZZZZ/L-(?P<a>{A})/(?P<b>{B}) -(?P<dep>{PLACE})(?P<eobt>{CLOCK}) "
    rf"-N(?P<tas>\d{{4}})A(?P<level>\d{{3}}) (?P<route>DCT(?: {POSITION} DCT)*) -(?P<dest>{PLACE})(?P<eet>{ELAPSED})"
    rf"(?P<altn>(?: {PLACE}){{0,2}}) -(?:DEP/{FREE} )?(?:DEST/{FREE} )?DOF/(?P<dof>\d{{6}}) TYP/(?P<typ>{FREE})(?: ALTN/{FREE})?\)")
ITEM_19 = re.compile(rf"-E/(?P<e>{ELAPSED}) P/(?P<p>\d{{1,3}}|TBN)(?: A/{FREE})?")


def parsed(plan):
    found = MESSAGE.fullmatch(plan.message.replace("\n", " "))
    assert found, plan.message
    assert all(len(line) <= 69 for line in plan.message.split("\n"))
    return found


@pytest.fixture(scope="module")
def demo():
    s = situation_of("demo")
    return s, assess(s)


def test_the_demo_is_coded_item_by_item(demo):
    s, a = demo
    plan = icao_plan(s, a)
    found = parsed(plan)
    assert found["reg"] == "N0160T" and found["rules"] == "V" and (found["a"], found["b"]) == ("SG", "B1")
    assert found["dep"] == "KBOI" and found["eobt"] == "2100" and found["dof"] == "260711"  # 15:00 at UTC-6
    assert int(found["tas"]) == round(a.legs[0].tas.value) and found["level"] == "095"
    assert found["route"] == "DCT 4404N11556W DCT"  # U88 at 44.066863 N, 115.930903 W in the open data
    assert found["dest"] == "ZZZZ" and "DEST/KU79 4522N11512W" in plan.message and found["altn"] == " KMYL"
    assert found["typ"] == "CAMAS 160"


def test_the_elapsed_time_is_from_take_off_to_overhead_rounded_up(demo):
    s, a = demo
    off = next(r for r in a.timeline if r.moment == "take-off").time
    over = next(r for r in a.timeline if r.moment == "over KU79").time
    eet = parsed(icao_plan(s, a))["eet"]
    told = timedelta(hours=int(eet[:2]), minutes=int(eet[2:]))
    assert timedelta(0) <= told - (over - off) < timedelta(minutes=1)


def test_endurance_is_usable_fuel_over_planned_flow_rounded_down_and_people_are_counted(demo):
    s, a = demo
    found = ITEM_19.fullmatch(icao_plan(s, a).supplementary)
    minutes = int(found["e"][:2]) * 60 + int(found["e"][2:])
    assert 0 <= a.fuel.endurance.value - minutes < 1
    assert found["p"] == "4" and persons(s) == 4


def test_it_is_a_draft_that_carries_verdict_cautions_and_what_is_left_out(demo):
    s, a = demo
    text = icao_plan(s, a).text
    assert text.startswith("DRAFT") and "nothing has been sent" in text and a.sentence in text
    assert a.cautions[0] in text and "from memory" in text
    assert "names no transponder" in text and "designator" in text and "C/ pilot in command" in text and "EET/" in text


def test_nobody_on_a_seat_is_to_be_notified_and_more_than_two_alternates_are_named_as_left_out(demo):
    s, a = demo
    plan = icao_plan(replace(s, request=replace(s.request, loads=(), alternates=("KMYL", "KMYL", "KMYL"))), a)
    assert ITEM_19.fullmatch(plan.supplementary)["p"] == "TBN"
    assert any("two alternates" in x for x in plan.left_out)
    parsed(plan)


def test_an_own_aerodrome_of_four_letters_is_no_location_indicator():
    text = demo_flight().replace('to = "KU79"', 'to = "MINE"').replace("KU79", "MINE")
    own = ('\n[aerodromes.MINE]\nposition = "45.37,-115.2"\nelevation = "5765 ft"\nsource = "walked"\ndate = 2026-06-01\n'
           '[[aerodromes.MINE.runways]]\nend = "25"\ntrue_heading = "265 deg"\ntake_off_length = "4100 ft"\n'
           'landing_length = "4100 ft"\nsurface = "grass"\nslope = "0 %"\n')
    s = situation(demo_aeroplane(), text + own)
    assert indicator(s.points[-1]) == "ZZZZ"
    found = icao_plan(s, assess(s))
    assert parsed(found)["dest"] == "ZZZZ" and "DEST/MINE 4522N11512W" in found.message


@pytest.mark.parametrize(("a", "b"), [("SG", "B1"), ("N", "N"), ("SDFGY", "EB2"), ("SGJ1", "S"), ("VGE3", "CU2")])
def test_codes_of_the_form_are_taken(demo, a, b):
    s, answer = demo
    record = replace(s.record, equipment_codes=EquipmentCodes(a, b, "", "test"))
    plan = icao_plan(replace(s, record=record), answer)
    assert (parsed(plan)["a"], parsed(plan)["b"]) == (a, b) and any("A/ colour" in x for x in plan.left_out)


@pytest.mark.parametrize(("a", "b"), [("SR", "C"), ("SZ", "C"), ("SS", "C"), ("NS", "C"), ("S", "AC"), ("S", ""), ("", "C"), ("S?", "C")])
def test_codes_that_cannot_stand_are_refused_in_a_sentence(demo, a, b):
    s, answer = demo
    with pytest.raises(BadInput, match=r"icao_10a|icao_10b"):
        icao_plan(replace(s, record=replace(s.record, equipment_codes=EquipmentCodes(a, b, "", "test"))), answer)


def test_what_item_7_and_9_and_15_need_is_refused_where_it_is_missing(demo):
    s, a = demo
    for record, words in ((replace(s.record, identity=replace(s.record.identity, registration="LONG-NAME9")), "item 7"),
                          (replace(s.record, weights=replace(s.record.weights, take_off_max_kg=None)), "take_off_max"),
                          (replace(s.record, weights=replace(s.record.weights, take_off_max_kg=7001.0)), "category L"),
                          (replace(s.record, identity=replace(s.record.identity, type_name="")), "type_name")):
        with pytest.raises(BadInput, match=words):
            icao_plan(replace(s, record=record), a)
    with pytest.raises(BadInput, match="speed and times"):
        icao_plan(s, replace(a, timeline=(), legs=(), fuel=None))


def test_ifr_is_said_and_the_date_is_that_of_utc(demo):
    s, a = demo
    late = datetime(2026, 7, 11, 22, 30, tzinfo=timezone(timedelta(hours=-6)))
    found = parsed(icao_plan(replace(s, request=replace(s.request, rules="IFR", departure=late)), a))
    assert found["rules"] == "I" and found["eobt"] == "0430" and found["dof"] == "260712"


@given(st.floats(-90, 90), st.floats(-180, 180))
def test_every_position_is_written_to_the_minute(lat, lon):
    text = place_words(lat, lon)
    assert re.fullmatch(POSITION, text)
    south, west = text[4] == "S", text[10] == "W"
    back = (int(text[:2]) + int(text[2:4]) / 60) * (-1 if south else 1), (int(text[5:8]) + int(text[8:10]) / 60) * (-1 if west else 1)
    assert abs(back[0] - lat) <= 0.5 / 60 + 1e-9 and abs(back[1] - lon) <= 0.5 / 60 + 1e-9
