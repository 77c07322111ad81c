"""Recency on the screen: every privilege with its state, last good day, what is missing and its rule; pilots and what they did."""

import html

import pytest
from log_cases import FLIGHT, entries, make_client, refusal, send

from ownship.questions.recent import recency
from ownship.web.recency_screen import EVENTS, RATINGS, pace

client = pytest.fixture(make_client)


def test_nothing_kept_says_how_to_begin_and_writes_nothing(client, tmp_path):
    page = client.get("/log/recency")
    assert page.status_code == 200 and "Begin with" in page.text and not (tmp_path / "data").exists()


def test_page_and_data_say_what_the_command_says(client):
    send(client, "/log/recency/pilot", {"name": "Anne", "born": "1980-06-15", "place": "USA", "rating_4": "1"})
    send(client, "/log/recency/event", {"event": "flight review", "day": "2026-03-05"})
    send(client, "/log/flight/new", FLIGHT)
    page, data = html.unescape(client.get("/log/recency?on=2026-08-01").text), client.get("/log/recency.json?on=2026-08-01").json()
    assert data == recency(on="2026-08-01")
    for place in data["pilots"][0]["places"]:
        for p in place["privileges"]:
            assert p["privilege"] in page and f"{p['state']}</span>" in page and (p["until"] or "not known") in page
            assert all(m in page for m in (*p["missing"], *p["rules"]))
        for rating in place["ratings"]:
            assert rating["held"] or all(s["words"] in page for s in rating["steps"])
    # a review of March 2026 is good to the end of the 24th calendar month (14 CFR 61.56)
    assert "2028-03-31" in page


def test_a_pilot_and_what_was_done_can_be_undone(client):
    page = send(client, "/log/recency/pilot", {"name": "Anne", "place": "Canada"})
    assert page.headers["location"] == "/log/recency?kept=1" and "Undo" in client.get(page.headers["location"]).text
    send(client, "/log/recency/event", {"event": "medical", "day": "2026-03-05", "detail": "3"})
    assert entries()[1].body.pilot == "Anne"  # the only pilot of the record
    send(client, "/undo", {"entry": "2", "back": "/log/recency"})
    assert entries()[-1].withdrawn


@pytest.mark.parametrize(("path", "fields", "words"), [
    ("event", {"event": "tea party", "day": "2026-03-05"}, "asked for by no rule"), ("event", {"event": "medical", "day": "5.3.26"}, "is no day"),
    ("event", {"event": "medical", "day": "2126-03-05"}, "Day: 2126-03-05 is after today"),
    ("event", {"event": "medical", "day": "2026-03-05", "expires": "2026-01-01"}, "Printed last day"),
    ("event", {"event": "medical", "day": "2026-03-05"}, "Pilot: say whose it is"),
    ("pilot", {"name": "Anne", "born": "1880-01-01"}, "Born"), ("pilot", {"name": ""}, "Pilot"), ("pilot", {"name": "Anne", "place": "Mars"}, "Mars")])
def test_a_refusal_keeps_what_was_typed(client, path, fields, words):
    page = send(client, f"/log/recency/{path}", fields | {"detail": "class 3", "rating_2": "1"})
    assert words in refusal(page) and entries() == ()
    section = page.text.split(f'action="/log/recency/{path}"')[1].split("</form>")[0]
    assert ('value="class 3"' if path == "event" else 'name="rating_2" value="1" checked') in section
    for name in ("day", "expires", "born"):
        assert name not in fields or fields[name] in section


@pytest.mark.parametrize(("query", "words"), [("on=yesterday", "is no day"), ("pilot=Nobody", "nobody called"), ("place=Mars", "Mars")])
def test_a_question_that_cannot_be_asked_is_a_sentence(client, query, words):
    send(client, "/log/recency/pilot", {"name": "Anne"})
    assert words in refusal(client.get(f"/log/recency?{query}"))
    assert client.get(f"/log/recency.json?{query}").status_code == 422


def test_every_event_a_rule_asks_for_and_every_rating_can_be_chosen(client):
    page = html.unescape(client.get("/log/recency").text)
    assert all(f'<option value="{e}"' in page for e in EVENTS) and all(f">{r}</label>" in page for _, r in RATINGS)
    assert "medical" in EVENTS and "flight review" in EVENTS


def test_the_pace_is_said_with_its_band():
    assert pace({"early": "2026-01-01", "likely": "2026-02-01", "late": None}) == "at the present pace about 2026-02-01 (2026-01-01 to open, 5 to 95 %)"
    assert pace({"early": None, "likely": None, "late": None}) == "not at the present pace, or not known"
