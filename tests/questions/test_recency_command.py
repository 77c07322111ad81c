"""The command `recency`: an empty record, a record with flights, what a pilot enters, and bad input in a sentence."""

import json
from datetime import UTC, date, datetime, timedelta

import pytest
from commands import run

from ownship.ownership.entries import Flight, Pilot
from ownship.questions.recent import landing_day, night_at
from ownship.questions.record import open_record

BOISE = (43.5644, -116.2228)   # near KBOI, published to a minute


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path))
    monkeypatch.setattr("ownship.questions.places.today", lambda: date(2026, 7, 11))
    return tmp_path


def written(*bodies):
    records = open_record()
    records.append_many(bodies, "N0160T")
    records.close()


def flown(day, **more):
    off = datetime(day.year, day.month, day.day, 18, tzinfo=UTC)
    return Flight(off, off + timedelta(hours=1), "KBOI", "KBOI", pilot="pilot", **{"landings_day": 3} | more)


def asked(capsys, *words):
    code, out, err = run(capsys, "recency", *words, "--json")
    assert (code, err) == (0, "")
    return json.loads(out)


def privilege(answer, name, pilot=0, place=0):
    return next(p for p in answer["pilots"][pilot]["places"][place]["privileges"] if p["privilege"] == name)


def test_an_empty_record_answers_and_says_what_to_do(capsys, folder):
    answer = asked(capsys)
    assert answer["pilots"] == []
    assert "ownship recency event" in answer["sentence"]
    assert run(capsys, "recency")[0] == 0
    assert list(folder.iterdir()) == []


def test_entered_events_and_flights_are_judged_on_the_day_asked(capsys):
    assert run(capsys, "recency", "pilot", "pilot", "--born", "1981-01-05", "--place", "usa")[0] == 0
    assert run(capsys, "recency", "event", "Flight review", "--day", "2025-03-10")[0] == 0
    assert run(capsys, "recency", "event", "medical", "--day", "2026-03-10", "--detail", "class 3")[0] == 0
    written(flown(date(2026, 7, 1)))
    answer = asked(capsys, "--on", "2026-07-11")
    assert [p["place"] for p in answer["pilots"][0]["places"]] == ["USA"]
    assert {p["privilege"]: p["until"] for p in answer["pilots"][0]["places"][0]["privileges"]} == {
        "review": "2027-03-31", "medical": "2028-03-31", "passengers by day": "2026-09-29", "passengers by night": None, "IFR": None}
    by_day = privilege(answer, "passengers by day")
    assert by_day["state"] == "current" and by_day["ways"][0]["section"] == "14 CFR 61.57(a)" and by_day["ways"][0]["status"] == "read"
    assert privilege(asked(capsys, "--on", "2026-10-01"), "passengers by day")["missing"] == [
        "take-offs: 3 more (0 of 3 within 90 days); landings: 3 more (0 of 3 within 90 days)"]


def test_text_says_state_rule_and_caution(capsys):
    written(flown(date(2026, 7, 1)), Pilot("pilot", None, "Canada", ("night",)))
    code, out, _ = run(capsys, "recency", "--on", "2026-07-11")
    assert code == 0
    for words in ("fly at all: current until 2031-07-01", "CAR 401.05(1)(a)", "passengers by day: not current", "review: not known",
                  "next rating, night: held", "read second-hand", "A planning aid"):
        assert words in out


def test_a_pilot_not_entered_is_shown_every_place_and_flights_without_a_name_are_told(capsys):
    written(flown(date(2026, 7, 1)), flown(date(2026, 7, 2)).__class__(
        datetime(2026, 7, 3, 18, tzinfo=UTC), datetime(2026, 7, 3, 19, tzinfo=UTC), "KBOI", "KBOI", landings_day=3))
    answer = asked(capsys, "--on", "2026-07-11")
    assert [p["place"] for p in answer["pilots"][0]["places"]] == ["USA", "Canada", "EASA"]
    assert any("name no pilot: 1" in n for n in answer["pilots"][0]["notes"])
    assert [p["place"] for p in asked(capsys, "--place", "EASA", "--on", "2026-07-11")["pilots"][0]["places"]] == ["EASA"]


def test_a_licence_of_a_place_without_rules_and_flights_in_another_class_are_told(capsys):
    written(flown(date(2026, 7, 1), aeroplane_class="single-engine sea"), Pilot("pilot", None, "New Zealand"))
    answer = asked(capsys, "--on", "2026-07-11")
    assert len(answer["pilots"][0]["places"]) == 3
    notes = " ".join(answer["pilots"][0]["notes"])
    assert "No rules are kept for the place of this licence" in notes and "another class than single-engine land: 1" in notes
    assert privilege(answer, "passengers by day")["state"] == "not current"
    assert privilege(asked(capsys, "--on", "2026-07-11", "--aeroplane-class", "single-engine sea"), "passengers by day")[
        "state"] == "current"


@pytest.mark.parametrize(("words", "said"), [
    (("--on", "soon"), "'soon' is no day; write it as 2026-07-11."),
    (("--on", "0026-07-11"), "is not believable"),
    (("--pilot", "nobody"), "nobody called 'nobody' is in the record"),
    (("--place", "Australia"), "allowed are USA, Canada, EASA"),
    (("event", "juggling", "--day", "2026-01-01"), "is asked for by no rule; allowed are medical, flight review"),
    (("event", "medical", "--day", "2130-01-01"), "is after today"),
    (("event", "medical", "--day", "2026-01-02", "--expires", "2026-01-01"), "is before 2026-01-02"),
    (("event", "medical", "--day", "2026-01-02", "--expires", "2062-01-01"), "longer than anything lasts"),
    (("pilot", "pilot", "--place", "Mars"), "allowed are USA, Canada, EASA"),
    (("pilot", "pilot", "--born", "yesterday"), "is no day"),
    (("pilot", " "), "say whose it is"),
    (("pilot", "pilot", "--rating", "BANANA"), "'BANANA' is no rating; allowed are student, sport, recreational, LAPL, PPL"),
    (("pilot", "p\x1bilot"), "pilot name: "), (("event", "medical", "--day", "2026-01-01", "--detail", "3\u202e"), "detail: "),
    (("--years", "3"), "--years"),
])
def test_bad_input_is_one_sentence_and_writes_nothing(capsys, words, said):
    written(flown(date(2026, 7, 1)))
    code, out, err = run(capsys, "recency", *words)
    assert (code, out) == (2, "")
    assert said in err and err.count("\n") == 1
    records = open_record()
    assert len(records.all()) == 1
    records.close()


def test_whose_event_it_is_must_be_said_where_the_record_knows_two(capsys):
    written(flown(date(2026, 7, 1)), Pilot("partner"))
    code, _, err = run(capsys, "recency", "event", "flight review", "--day", "2026-01-01")
    assert code == 2 and "the record knows pilot, partner" in err
    assert run(capsys, "recency", "event", "flight review", "--day", "2026-01-01", "--pilot", "Partner")[0] == 0
    assert privilege(asked(capsys, "--pilot", "partner", "--on", "2026-07-11"), "review")["until"] == "2028-01-31"


def place_of_boise(ident):
    return BOISE if ident == "KBOI" else None


def test_the_night_for_passengers_begins_an_hour_after_sunset_in_the_usa_and_with_civil_twilight_in_canada():
    # Boise, 2026-07-11: sunset about 21:27, end of civil twilight about 22:00 local (03:27 and 04:00 UTC of the 12th)
    flight = Flight(datetime(2026, 7, 12, 4, tzinfo=UTC), datetime(2026, 7, 12, 5, tzinfo=UTC), "KBOI", "KBOI",
                    take_off=datetime(2026, 7, 12, 4, 10, tzinfo=UTC), landing=datetime(2026, 7, 12, 4, 40, tzinfo=UTC), landings_night=1)
    assert night_at("USA", place_of_boise)(flight) == (False, True)
    assert night_at("Canada", place_of_boise)(flight) == (True, True)
    assert night_at("USA", lambda ident: None)(flight) is None
    assert night_at("USA", place_of_boise)(flown(date(2026, 7, 1), landings_night=1)) == (False, False)  # noon, by the blocks
    dusk = Flight(datetime(2026, 7, 12, 3, tzinfo=UTC), datetime(2026, 7, 12, 5, tzinfo=UTC), "KBOI", "KBOI", landings_night=1)
    assert night_at("USA", place_of_boise)(dusk) == (True, True)  # the blocks hold some of that night: no tighter bound is known
    assert night_at("USA", place_of_boise)(flown(date(2026, 7, 1))) is None


def test_the_day_is_that_at_the_place_of_landing_else_utc():
    flight = Flight(datetime(2026, 7, 12, 3, tzinfo=UTC), datetime(2026, 7, 12, 5, tzinfo=UTC), "KBOI", "KBOI")
    assert landing_day(place_of_boise)(flight) == date(2026, 7, 11)
    assert landing_day(lambda ident: None)(flight) == date(2026, 7, 12)


def test_ratings_are_kept_as_they_are_written_here_whatever_the_case(capsys):
    assert run(capsys, "recency", "pilot", "owner", "--rating", "ppl", "--rating", "Night", "--rating", "PPL")[0] == 0
    records = open_record()
    assert records.all()[0].body.ratings == ("PPL", "night")
    records.close()
