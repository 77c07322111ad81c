"""The Flight screen asked by its own script: the parts that hang on the request, the address to show, a refusal beside its field."""

import html
import re

import pytest
from fastapi.testclient import TestClient

from ownship.web.app import create_app

CLIENT = TestClient(create_app(), base_url="http://127.0.0.1")
LIVE = {"HX-Request": "true"}
PARTS = ("first", "more", "asked", "answer-state", "answer-parts")


def live(**query):
    return CLIENT.get("/", params=query, headers=LIVE)


def part(text, name):
    """The inside of a swapped part, up to the next one."""
    found = re.search(rf'<(?:div|p) id="{name}"[^>]*hx-swap-oob="outerMorph">(.*?)(?=<(?:div|p) id="[a-z-]+"[^>]*hx-swap-oob=|\Z)', text, re.S)
    return found and found[1]


def test_a_change_answers_with_the_parts_and_the_address_to_show():
    answer = live(load2_out="1", load3_out="1")
    assert answer.status_code == 200 and "<html" not in answer.text and "<script" not in answer.text
    assert all(part(answer.text, name) is not None for name in PARTS)
    assert answer.headers["hx-push-url"] == "/?load2_out=1&load3_out=1"
    assert "no-store" in answer.headers["cache-control"] and "HX-Request" in answer.headers["vary"]


def test_every_part_is_what_the_whole_page_holds():
    query = {"load2_out": "1", "cruise_altitude": "7500 ft"}
    page, parts = CLIENT.get("/", params=query).text, live(**query).text
    for name in ("first", "asked"):
        assert part(parts, name).strip().removesuffix("</div>").strip() in page
    sentence = CLIENT.get("/flight.json", params=query).json()["sentence"]
    assert html.unescape(parts).rstrip().endswith(sentence)  # what a screen reader is told
    assert sentence in html.unescape(part(parts, "first"))


def test_the_address_is_as_short_as_the_request_and_the_same_flight():
    """The form sends every field; the address holds what differs from the base."""
    whole = CLIENT.get("/").text
    sent = {m[1]: html.unescape(m[2]) for m in re.finditer(r'<input (?:id="[^"]*" )?name="([^"]*)" value="([^"]*)"', whole)} | {"power": "2250 rpm"}
    assert len(sent) > 40 and live(**sent).headers["hx-push-url"] == "/?power=2250+rpm"


@pytest.mark.parametrize(("query", "field"), [({"load0": "heavy"}, "load0"), ({"rules": "XFR"}, "rules"),
                                              ({"weather_KU79_temperature": "hot"}, "weather_KU79_temperature")])
def test_a_refusal_stands_beside_its_field_and_the_answer_before_is_marked_and_kept(query, field):
    answer = live(**query)
    assert answer.status_code == 422 and part(answer.text, "answer-parts") is None
    said = re.search(rf'id="field-{field}-wrong"><span aria-hidden="true">&#9632;</span> (.*?)</p>', answer.text)
    assert said and said[1] in part(answer.text, "first")
    assert re.search(rf'name="{field}"[^>]*aria-invalid="true" aria-describedby="field-{field}-wrong', answer.text)
    assert "does not hold for what is typed now" in part(answer.text, "answer-state")
    assert "Not read" in part(answer.text, "first") and "class=\"verdict" not in answer.text
    assert answer.headers["hx-push-url"].startswith("/?")  # the refused request can be reloaded and shared


@pytest.mark.parametrize(("query", "field", "words"), [
    ({"to": ""}, "to", "To: nothing is given; add it"), ({"load6_what": "dog"}, "load6", "dog: no weight is given"),
    ({"load6_what": "dog", "load6": "60 lb"}, "load6_station", "dog: no station is chosen"),
    ({"load6": "60 lb"}, "load6_station", "load: no station is chosen"), ({"load2": ""}, "load2", "rear left passenger: no weight is given")])
def test_what_is_not_filled_in_yet_is_no_fault_while_one_types(query, field, words):
    """The script says what is still wanted; whoever presses the button is told it is missing."""
    answer, page = live(**query), CLIENT.get("/", params=query)
    assert answer.status_code == page.status_code == 422
    first = html.unescape(part(answer.text, "first"))
    assert "Not yet a flight" in first and words in first and f'href="#field-{field}"' in first
    assert "aria-invalid" not in answer.text and part(answer.text, "answer-parts") is None
    assert "does not hold for what is typed now" in part(answer.text, "answer-state")
    assert re.search(rf'name="{field}"[^>]*aria-invalid="true"', page.text) and "Not read" in page.text


def test_an_answer_takes_the_mark_away():
    assert part(live(load0="170 lb").text, "answer-state").strip() == "</p>"


def test_what_is_shown_beside_the_answer_stays_in_the_address():
    assert live(levels="1", power="2250 rpm").headers["hx-push-url"] == "/?power=2250+rpm&levels=1"
    assert "Which level" in part(live(levels="1").text, "more")
    assert live(before="load3_out=1", cruise_altitude="11500 ft").headers["hx-push-url"].endswith("before=load3_out%3D1")


def test_back_is_answered_with_the_whole_page():
    page = CLIENT.get("/", headers=LIVE | {"HX-History-Restore-Request": "true"})
    assert page.text.lstrip().startswith("<!doctype html>")


def test_the_theme_of_the_device_can_be_chosen_again():
    client = TestClient(create_app(), base_url="http://127.0.0.1")
    assert 'data-theme="night"' in client.get("/", params={"theme": "night"}).text
    page = client.get("/", params={"load3_out": "1"}).text
    assert 'data-theme="night"' in page
    way = re.search(r'<a href="([^"]*)"[^>]*>as the device</a>', page)[1]
    assert "data-theme" not in client.get(html.unescape(way)).text and "data-theme" not in client.get("/").text


def test_two_ways_to_begin_stand_there_until_something_is_asked(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path))
    first = CLIENT.get("/").text
    assert "Two ways to begin" in first and 'href="/airframe/new"' in first
    assert "Two ways to begin" in CLIENT.get("/", params={"theme": "night"}).text
    assert "Two ways to begin" not in CLIENT.get("/", params={"load3_out": "1"}).text + live(load3_out="1").text


def test_the_ways_on_hold_the_flight():
    """Papers and the log take the request along."""
    page = html.unescape(CLIENT.get("/", params={"load3_out": "1", "before": "load0=1+lb"}).text)
    for way in ("/flight.pdf", "/flight.icao.txt", "/flight.gpx", "/flight.geojson", "/flight.json", "/log/flight/new"):
        assert f'href="{way}?load3_out=1"' in page
    assert 'href="/flight.pdf?load3_out=1&paper=half-letter"' in page
