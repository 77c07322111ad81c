"""The first page: the same assessment as the command, forms that carry the request, refusals in a sentence."""

import pytest
from fastapi.testclient import TestClient

from ownship.papers.exchange import to_json
from ownship.questions.check import check
from ownship.web.app import create_app
from ownship.web.forms import GROUPS, fields, to_toml

CLIENT = TestClient(create_app(), base_url="http://127.0.0.1")


def test_the_page_says_what_the_command_says():
    page = CLIENT.get("/")
    answer = check("demo")
    assert page.status_code == 200
    assert answer.sentence in page.text
    for margin in answer.margins:
        assert margin.name in page.text


def test_json_is_the_commands_json():
    data = CLIENT.get("/flight.json").json()
    mine = to_json(check("demo"))
    assert data["margins"] == mine["margins"] and data["sentence"] == mine["sentence"]


def test_leaving_a_passenger_behind_changes_the_answer():
    data = CLIENT.get("/flight.json", params={"load2": "0 lb", "load3": "0 lb"}).json()
    assert data["verdict"] in ("within limits", "tight")


def test_a_bad_field_is_one_sentence_and_the_request_is_kept():
    page = CLIENT.get("/", params={"load0": "heavy", "from": "KMYL"})
    assert page.status_code == 422
    assert "heavy" in page.text and 'value="KMYL"' in page.text and "Traceback" not in page.text


@pytest.mark.parametrize("value", ['"><script>alert(1)</script>', "'; --", "\\", "{{7*7}}", "\x00"])
def test_hostile_text_comes_back_as_text(value):
    page = CLIENT.get("/", params={"from": value})
    assert page.status_code == 422
    assert "<script>" not in page.text


def test_another_host_is_refused_and_policy_is_strict():
    assert CLIENT.get("/", headers={"host": "example.org"}).status_code == 400
    policy = CLIENT.get("/").headers["content-security-policy"]
    assert "script-src 'none'" in policy and "unsafe" not in policy


def test_nothing_is_loaded_from_elsewhere():
    page = CLIENT.get("/").text
    assert "http://" not in page.replace("http://www.w3.org", "") and "https://" not in page


def test_an_unknown_page_is_a_sentence():
    page = CLIENT.get("/nowhere")
    assert page.status_code == 404 and "Go to Flight" in page.text


def test_an_address_too_long_is_refused():
    assert CLIENT.get("/", params={"from": "K" * 30000}).status_code == 414


def test_every_field_has_a_label_and_the_form_round_trips():
    page = CLIENT.get("/").text
    for group in GROUPS:
        for field in group.fields:
            assert f'for="{field.name}"' in page and f'id="{field.name}"' in page
    assert "KBOI" in to_toml(fields({}))
