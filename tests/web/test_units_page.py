"""Units per person, mixed as people mix them: shown on pages, never in data, never in what is typed."""

import html
import re

import pytest
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st

from ownship.papers.exchange import to_json
from ownship.questions.check import check
from ownship.web import in_units
from ownship.web.app import create_app
from ownship.words.figures import Figure

MIXED = "people-kg.fuel-l.runway-m"
QUERY = {"load2_out": "1", "load3_out": "1"}


@pytest.fixture
def client():
    return TestClient(create_app(), base_url="http://127.0.0.1")


def choose(client, **units):
    token = re.search(r'name="token" value="([^"]*)"', client.get("/units").text)[1]
    return client.post("/units", data={"token": token, **units})


# Exact by definition: the international pound and foot, the US gallon of 231 in3 (NIST SP 811, appendix B.8); F to C ibid.
@pytest.mark.parametrize(("figure", "unit", "kind", "value"), [
    (Figure(100.0, "lb"), "kg", "people", 45.359237), (Figure(10.0, "usgal"), "l", "fuel", 37.85411784),
    (Figure(1000.0, "ft"), "m", "height", 304.8), (Figure(100.0, "nm"), "km", "distance", 185.2), (Figure(100.0, "kt"), "km/h", "speed", 185.2),
    (Figure(40.0, "C"), "F", "temperature", 104.0)])
def test_a_figure_stands_in_the_unit_chosen(figure, unit, kind, value):
    assert in_units.shown(figure, {kind: unit}, kind) == in_units.Shown(pytest.approx(value), unit)


def test_a_band_is_shown_in_the_same_unit_and_a_figure_is_not_converted_twice():
    once = in_units.shown(Figure(100.0, "ft", 90.0, 110.0), {"height": "m"})
    assert once.text(1) == "30.5 m (27.4 to 33.5)" and in_units.shown(once, {"height": "m"}) is once
    people = in_units.in_units({"more": {"payload at rear": Figure(100.0, "lb")}}, {"people": "lb", "aeroplane": "kg"})
    assert in_units.shown(people["more"]["payload at rear"], {"aeroplane": "kg"}).unit == "lb"


def test_people_in_kilograms_aeroplane_in_pounds_fuel_in_litres():
    answer = in_units.in_units(check("demo"), in_units.read(MIXED))
    units = {m.id: m.available.unit for m in answer.margins if m.available is not None}
    assert units["station.rear"] == "kg" and units["group.1"] == "kg" and units["weight.take_off"] == "lb"
    assert units["fuel.landing"] == "l" and units["runway.take_off.KBOI"] == "m" and units["terrain.1"] == "ft"
    assert answer.fuel.on_board.unit == "l" and answer.loading[0].weight.unit == "lb"


def test_only_the_words_of_figures_change():
    """Back in the usual units every number is the same; without a choice nothing is touched."""
    plain = check("demo")
    assert in_units.in_units(plain, {}) is plain
    there = in_units.in_units(plain, in_units.read("people-kg.aeroplane-kg.fuel-l.distance-km.runway-m.height-m.speed-km/h.temperature-F"))
    for a, b in zip(plain.margins, there.margins, strict=True):
        assert (a.id, a.verdict, a.words, a.chance, a.allowance_1) == (b.id, b.verdict, b.words, b.chance, b.allowance_1)
        if a.margin is not None:
            assert (a.margin.value > 0) == (b.margin.value > 0)


@given(st.text(max_size=60))
def test_whatever_stands_in_the_cookie_gives_units_there_are(text):
    units = in_units.read(text)
    assert all(u in in_units.BY_NAME[k].choices for k, u in units.items()) and in_units.read(in_units.written(units)) == units


def test_a_choice_is_kept_and_the_page_shows_it(client):
    kept = choose(client, people="kg", fuel="l", runway="m")
    assert kept.status_code == 200 and "Your units are kept" in kept.text and client.cookies[in_units.COOKIE].strip('"') == MIXED
    assert client.get("/units.json").json()["units"]["people"] == "kg"
    page = html.unescape(client.get("/", params=QUERY).text)
    assert re.search(r"[\d.]+ l for [\d.]+ l", page) and re.search(r"[\d.]+ kg for [\d.]+ kg", page)
    assert re.search(r"[\d,.]+ lb for [\d,.]+ lb", page) and "82 kg" in page and "76 l, full, tab" in page
    assert 'value="176 lb"' in page  # what was typed stays


def test_data_and_papers_stay_as_they_are(client):
    choose(client, people="kg", aeroplane="kg", fuel="l", height="m", runway="m", speed="km/h")
    data = client.get("/flight.json").json()
    assert data["margins"] == to_json(check("demo"))["margins"]


def test_a_level_taken_is_the_same_in_any_unit(client):
    before = set(re.findall(r"cruise_altitude=[^&\"]*", client.get("/", params={"levels": "1"}).text))
    choose(client, height="m")
    page = client.get("/", params={"levels": "1"}).text
    assert before == set(re.findall(r"cruise_altitude=[^&\"]*", page)) and re.search(r"Fly [\d,]+ m<", page)


def test_a_unit_there_is_not_is_refused_and_nothing_is_kept(client):
    refused = choose(client, people="stone")
    assert refused.status_code == 422 and "'stone' is no unit of it; choose one of: lb, kg." in html.unescape(refused.text)
    assert in_units.COOKIE not in client.cookies


def test_a_foreign_form_chooses_nothing(client):
    assert client.post("/units", data={"people": "kg"}).status_code == 403
