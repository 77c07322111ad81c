"""An aeroplane of the record on the Flight screen: chosen, empty until something is asked, judged by the record."""

import html
import re

import pytest
from fastapi.testclient import TestClient

from ownship.questions.check import demo_aeroplane
from ownship.questions.weighing_ledger import keep
from ownship.web.app import create_app

CLIENT = TestClient(create_app(), base_url="http://127.0.0.1")
FLIGHT = {"aeroplane": "N0160T", "from": "KBOI", "to": "KMYL", "departure": "2026-07-11T08:00-06:00", "cruise_altitude": "8500 ft",
          "power": "2450 rpm", "load0_what": "pilot", "load0": "176 lb", "load0_station": "front",
          "fuel_left_on_board": "tab", "fuel_left_known_by": "mark", "fuel_right_on_board": "tab", "fuel_right_known_by": "mark"}


@pytest.fixture
def kept(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path))
    keep("demo", "2026-01-01")
    return tmp_path


def test_without_a_record_the_page_says_how_to_bring_ones_own(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path))
    page = CLIENT.get("/")
    assert "ownship weight keep AEROPLANE.toml" in page.text
    assert not list(tmp_path.iterdir())  # looking makes no record


def test_an_aeroplane_of_the_record_can_be_chosen_and_begins_empty(kept):
    page = CLIENT.get("/")
    assert 'href="/?aeroplane=N0160T"' in page.text
    empty = CLIENT.get("/", params={"aeroplane": "N0160T"})
    assert empty.status_code == 200 and "No flight yet" in empty.text and "Say where from" in empty.text
    for name in ("from", "load0_what", "fuel_left_on_board", "fuel_right_add"):
        assert f'name="{name}"' in empty.text
    told = CLIENT.get("/flight.json", params={"aeroplane": "N0160T"})
    assert told.status_code == 422 and "No flight is asked for yet" in told.json()["refused"]


def test_its_flight_is_judged_by_the_record_and_what_is_not_given_is_not_known(kept):
    data = CLIENT.get("/flight.json", params=FLIGHT).json()
    assert data["request"]["aeroplane"] == "N0160T" and data["aeroplane"]["registration"] == "N0160T"
    assert data["verdict"] == "not known" and data["not_known"]  # no weather is given
    assert not any("no records are kept yet" in x for x in data["not_checked"])
    page = CLIENT.get("/", params=FLIGHT)
    assert page.status_code == 200 and '<input type="hidden" name="aeroplane" value="N0160T">' in page.text
    assert all("aeroplane=N0160T" in x for x in re.findall(r'href="(/[^"]*levels=1[^"]*)"', page.text))


def test_looking_writes_nothing_into_the_record(kept):
    before = {p.name: p.stat().st_mtime_ns for p in kept.iterdir() if p.suffix == ".sqlite"}
    CLIENT.get("/", params=FLIGHT)
    assert before and before == {p.name: p.stat().st_mtime_ns for p in kept.iterdir() if p.suffix == ".sqlite"}


def test_a_day_before_its_first_record_and_a_half_request_are_refused_in_a_sentence(kept):
    early = CLIENT.get("/", params=FLIGHT | {"departure": "2020-07-11T08:00-06:00"})
    assert early.status_code == 422 and "no airframe record in force" in html.unescape(early.text)
    half = CLIENT.get("/", params={"aeroplane": "N0160T", "from": "KBOI"})
    assert half.status_code == 422 and "to" in half.text and 'value="KBOI"' in half.text
    assert 'registration = "N0160T"' in demo_aeroplane()
