"""The Flight screen: the same assessment as the command, an address that holds the request, refusals in a sentence."""

import html
import re
from itertools import pairwise

import pytest
from fastapi.testclient import TestClient

from ownship.papers.exchange import to_json
from ownship.questions.check import check
from ownship.web.app import create_app
from ownship.web.flying import ask

CLIENT = TestClient(create_app(), base_url="http://127.0.0.1")


@pytest.fixture(scope="module")
def page():
    return CLIENT.get("/")


def test_the_page_says_what_the_command_says(page):
    answer = check("demo")
    assert page.status_code == 200
    text = html.unescape(page.text)
    assert answer.sentence in text
    for margin in answer.margins:
        assert margin.name in text and margin.source in text
    for line in answer.not_checked:
        assert line in text


def test_json_is_the_commands_json():
    data = CLIENT.get("/flight.json").json()
    mine = to_json(check("demo"))
    assert data["margins"] == mine["margins"] and data["sentence"] == mine["sentence"] and data["request"] == mine["request"]
    assert data["last_points"] and data["glide"] and data["on_the_way"]


def test_what_is_left_behind_or_has_no_weight_changes_the_answer_alike():
    left = CLIENT.get("/flight.json", params={"load2_out": "1", "load3_out": "1"}).json()
    none = CLIENT.get("/flight.json", params={"load2": "0 lb", "load3": "0 lb"}).json()
    assert left["verdict"] in ("within limits", "tight") and none["verdict"] == left["verdict"]
    assert len(left["request"]["loads"]) == 4


def test_a_bad_field_is_one_sentence_and_the_request_is_kept():
    page = CLIENT.get("/", params={"load0": "heavy", "from": "KMYL"})
    assert page.status_code == 422
    assert "heavy" in page.text and 'value="KMYL"' in page.text and "Traceback" not in page.text
    assert "flight line" not in page.text  # a line of a text that the pilot never sees


@pytest.mark.parametrize(("query", "words"), [
    ({"lood0": "1 lb"}, "no field of this page"),
    ({"rules": "XFR"}, "</span> Flight rules: 'XFR' is not one of: VFR, IFR"),
    ({"load0_station": "wing"}, "not one of"),
    ({"load6_what": "dog"}, "no weight is given"),
    ({"load6_what": "dog", "load6": "60 lb"}, "no station is chosen"),
    ({"aloft": "9000 ft"}, "as 9000 ft 280/14 16 C"),
    ({"aeroplane": "N0XYZ"}, "no airframe record"),
    ({"aeroplane": "../../x"}, "no registration"),
    ({"departure": "tomorrow"}, "Leaving the blocks: 'tomorrow' is not a moment"),
    ({"from": ""}, "</span> From: nothing is given; add it"),
    ({"fuel_left_on_board": "90 usgal"}, "more than the left tank holds"),
])
def test_a_refusal_says_what_is_wrong_on_the_page_and_as_data(query, words):
    page, data = CLIENT.get("/", params=query), CLIENT.get("/flight.json", params=query)
    assert page.status_code == data.status_code == 422
    assert words in html.unescape(page.text) and words.removeprefix("</span> ") in data.json()["refused"]


@pytest.mark.parametrize(("query", "field"), [
    ({"load0_out": "1", "load2": "heavy"}, "load2"), ({"fuel_left_add": "much"}, "fuel_left_add"), ({"rules": "XFR"}, "rules"),
    ({"weather_KU79_temperature": "hot"}, "weather_KU79_temperature"), ({"cruise_altitude": "high"}, "cruise_altitude"), ({"to": ""}, "to"),
    ({"own_crosswind": "no"}, "own_crosswind"), ({"fuel_right_on_board": "dry"}, "fuel_right_on_board"),
])
def test_a_refusal_leads_to_its_field(query, field):
    page = CLIENT.get("/", params=query).text
    assert f'<a href="#field-{field}">Go to the field</a>' in page
    marked = re.findall(r'name="([^"]*)"[^>]*aria-invalid="true"', page)
    assert marked == [field]


def test_a_place_of_ones_own_gets_fields_for_weather_and_is_not_known_without():
    data = CLIENT.get("/flight.json", params={"to": "KSMN", "via": "", "ground": "9000 ft"}).json()
    assert data["verdict"] != "within limits" and any("KSMN" in line for line in data["not_known"])
    page = CLIENT.get("/", params={"to": "KSMN", "via": "", "ground": "9000 ft"}).text
    assert 'name="weather_KSMN_wind"' in page and 'name="runway_KSMN_end"' in page
    typed = {"to": "KSMN", "via": "", "ground": "9000 ft", "weather_KSMN_wind": "260/06", "weather_KSMN_temperature": "25 C",
             "weather_KSMN_altimeter": "30.08 inHg"}
    assert CLIENT.get("/flight.json", params=typed).json()["request"]["weather"]["KSMN"]["wind"] == "260/06"


def test_a_load_may_be_added_moved_and_taken_out():
    data = CLIENT.get("/flight.json", params={"load6_what": "dog", "load6": "60 lb", "load6_station": "baggage", "load6_may": "stay",
                                              "load1_station": "rear", "load2_out": "1"}).json()
    loads = {x["what"]: x for x in data["request"]["loads"]}
    assert loads["dog"] == {"what": "dog", "weight": "60 lb", "station": "baggage", "can_stay": True}
    assert loads["front passenger"]["station"] == "rear" and "rear left passenger" not in loads


def test_the_form_submitted_as_it_stands_is_the_same_flight(page):
    """Back, reload and share: what the form sends is what it shows."""
    sent = {m[1]: html.unescape(m[2]) for m in re.finditer(r'<input (?:type="hidden" )?(?:id="[^"]*" )?name="([^"]*)" value="([^"]*)"', page.text)}
    for name, options in re.findall(r'<select id="[^"]*" name="([^"]*)">(.*?)</select>', page.text, re.S):
        chosen = re.search(r'<option value="([^"]*)" selected>', options)
        sent[name] = html.unescape(chosen[1]) if chosen else ""
    assert len(sent) > 60
    assert ask(sent).request == ask({}).request


def test_another_host_is_refused_and_policy_is_strict():
    assert CLIENT.get("/", headers={"host": "example.org"}).status_code == 400
    policy = CLIENT.get("/").headers["content-security-policy"]
    assert "default-src 'none'; script-src 'self'; style-src 'self'" in policy and "unsafe" not in policy


def test_nothing_is_loaded_from_elsewhere_and_no_style_stands_in_the_page(page):
    text = page.text.replace("http://www.w3.org", "")
    assert "http://" not in text and "https://" not in text
    assert not re.search(r'<script(?! src="/static/dist/[a-z]+\.js\?[0-9a-f]{12}" defer></script>)', text)
    assert not re.search(r'\sstyle="', text)  # the policy would drop it


def test_an_unknown_page_is_a_sentence():
    page = CLIENT.get("/nowhere")
    assert page.status_code == 404 and "There is no such page." in page.text


def test_an_address_too_long_is_refused():
    assert CLIENT.get("/", params={"from": "K" * 30000}).status_code == 414


def test_openapi_names_both_faces():
    told = CLIENT.get("/openapi.json").json()
    assert {"/", "/flight.json"} <= set(told["paths"])
    assert {"from", "remedies", "theme"} <= {p["name"] for p in told["paths"]["/flight.json"]["get"]["parameters"]}


# -- for everybody --------------------------------------------------------------------------------------------------------
def test_every_field_has_its_own_label_and_every_hint_is_there(page):
    ids = re.findall(r'\sid="([^"]*)"', page.text)
    assert len(ids) == len(set(ids))
    fields = re.findall(r'<(?:input|select)(?![^>]*type="hidden")[^>]*\sid="([^"]*)"', page.text)
    labels = re.findall(r'<label for="([^"]*)">\s*([^<]+?)\s*</label>', page.text)
    assert fields and {x for x, _ in labels} == set(fields)
    assert len({words for _, words in labels}) == len(labels)  # no two fields are called the same
    for hint in re.findall(r'aria-describedby="([^"]*)"', page.text):
        assert hint in ids


def test_headings_follow_in_order_and_landmarks_are_named(page):
    levels = [int(x) for x in re.findall(r"<h([1-6])", page.text)]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(b <= a + 1 for a, b in pairwise(levels))
    assert '<html lang="en"' in page.text and 'class="skip" href="#answer"' in page.text
    for part in re.findall(r'aria-labelledby="([^"]*)"', page.text):
        assert f'id="{part}"' in page.text
    assert re.findall(r'<svg class="(?:bar|drawing)"', page.text)
    assert all('aria-label="' in x for x in re.findall(r"<svg[^>]*>", page.text))


def test_no_verdict_is_told_by_colour_alone(page):
    for words in re.findall(r'<span class="word">.*?</span>\s*([^<]*)</span>', page.text, re.S):
        assert words.strip() in ("within limits", "tight", "not known", "outside limits", "")
    assert page.text.count("within limits") > 20
