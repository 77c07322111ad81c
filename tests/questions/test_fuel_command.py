"""`ownship fuel` as a pilot types it: aboard by tank, added, dipped, oil; refusals in a sentence, nothing half written."""

import json
import re
import tomllib
from datetime import UTC, date, datetime

import pytest
from commands import run

from ownship.ownership.entries import AeroplaneRevision, FuelAdded
from ownship.questions.check import demo_aeroplane, demo_flight
from ownship.questions.from_record import situation_from_record
from ownship.questions.reading import demo_text
from ownship.questions.record import open_record
from ownship.units import to_si


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path))
    return tmp_path


@pytest.fixture
def kept(folder):
    """A record that keeps the demo aeroplane."""
    records = open_record()
    records.append(AeroplaneRevision(date(2020, 1, 1), demo_aeroplane()), "N0160T", datetime(2020, 1, 1, tzinfo=UTC))
    records.close()
    return folder


def asked(capsys, *words):
    code, out, err = run(capsys, "fuel", *words, "--json")
    assert (code, err) == (0, "")
    return json.loads(out)


def count(folder):
    records = open_record(folder)
    try:
        return len(records.all())
    finally:
        records.close()


def test_an_empty_record_answers_with_what_to_do(capsys, folder):
    answer = asked(capsys)
    assert answer["total"] is None
    assert "fuel seen" in answer["sentence"]
    code, out, err = run(capsys, "fuel")
    assert (code, err) == (0, "")
    assert "Dip the tanks" in out
    assert not list(folder.iterdir())


def test_tanks_that_nobody_saw_are_not_known(capsys, kept):
    answer = asked(capsys)
    assert answer["aeroplane"] == "N0160T"
    assert [t["usable"] for t in answer["tanks"]] == [None, None]


def test_full_counts_usable_and_a_dipstick_total(capsys, kept):
    assert run(capsys, "fuel", "seen", "--tank", "left", "--amount", "full", "--at", "2026-07-10T12:00Z")[0] == 0
    assert run(capsys, "fuel", "seen", "--tank", "right", "--amount", "4.1 in", "--at", "2026-07-10T12:01Z")[0] == 0
    answer = asked(capsys, "--at", "2026-07-10T13:00Z")
    left, right = answer["tanks"]
    assert left["usable"]["value"] == pytest.approx(24)
    assert (left["known_by"], right["known_by"]) == ("full", "dipstick")
    assert right["usable"]["value"] == pytest.approx(9)  # the record's table: 4.1 in is 10 US gal in all, 1 of it unusable
    assert answer["total"]["value"] == pytest.approx(33)
    assert answer["total"]["low"] < 33 < answer["total"]["high"]
    assert answer["since"] == "2026-07-10T12:00+00:00"


def test_added_fuel_stands_on_top_and_is_told(capsys, kept):
    run(capsys, "fuel", "seen", "--tank", "left", "--amount", "10 usgal", "--known-by", "clock")
    code, out, _ = run(capsys, "fuel", "add", "--tank", "left", "--amount", "5 usgal", "--price", "31.50 USD", "--place", "kboi")
    assert code == 0
    assert "5 usgal into the left tank of N0160T" in out
    assert asked(capsys)["tanks"][0]["usable"]["value"] == pytest.approx(15)


@pytest.mark.parametrize(("words", "said"), [
    (("add", "--tank", "left", "--amount", "26 usgal"), "more than the left tank holds"),
    (("add", "--tank", "centre", "--amount", "2 usgal"), "no tank 'centre'"),
    (("add", "--tank", "left", "--amount", "0 usgal"), "not more than 0"),
    (("add", "--tank", "left", "--amount", "5"), "has no unit"),
    (("add", "--tank", "left", "--amount", "5 usgal", "--level", "brim"), "neither full nor a mark"),
    (("add", "--tank", "left", "--amount", "5 usgal", "--price", "30"), "with its currency"),
    (("add", "--tank", "left", "--amount", "5 usgal", "--at", "2026-07-10T12:00"), "has no zone"),
    (("add", "--tank", "left", "--amount", "5 usgal", "--at", "2999-07-10T12:00Z"), "lies ahead"),
    (("seen", "--tank", "left", "--amount", "25 usgal"), "more than the left tank holds"),
    (("seen", "--tank", "left", "--amount=-1 usgal"), "below 0"),
    (("add", "--tank", "left", "--amount", "-1 usgal"), "'-1 usgal' is not more than 0"),
    (("seen", "--tank", "left", "--amount", "-1 usgal"), "below 0"), (("oil", "--amount", "-1 qt"), "not believable"),
    (("add", "--tank", "left", "--amount", "5 usgal", "--price", "-3 USD"), "with its currency"),
    (("add", "--tank", "left", "--amount", "5 usgal", "--price", "30 US1"), "with its currency"),
    (("add", "--tank", "left", "--amount", "5 usgal", "--place", "KB\x1b"), "fuel place: "),
    (("seen", "--tank", "left", "--amount", "9 in"), "beyond the dipstick table"),
    (("seen", "--tank", "left", "--amount", "half"), "neither an amount, full nor a mark"),
    (("seen", "--tank", "left", "--amount", "5 usgal", "--known-by", "guess"), "is not one of"),
    (("oil", "--amount=-1 qt"), "not believable"),
    (("oil", "--amount", "1 qt", "--hours", "-1"), "is no reading"),
    (("aboard", "--aeroplane", "N 1"), "is no registration"),
])
def test_bad_input_is_a_sentence_and_writes_nothing(capsys, kept, words, said):
    code, out, err = run(capsys, "fuel", *words)
    assert (code, out) == (2, "")
    assert said in err
    assert err.count("\n") == 1
    assert count(kept) == 1


def test_more_than_fits_on_what_is_there_is_refused(capsys, kept):
    run(capsys, "fuel", "seen", "--tank", "left", "--amount", "tab")
    code, _, err = run(capsys, "fuel", "add", "--tank", "left", "--amount", "12 usgal")
    assert code == 2
    assert "on top of 17.0 US gal" in err
    assert run(capsys, "fuel", "add", "--tank", "left", "--amount", "7 usgal", "--level", "full")[0] == 0


def test_a_flight_leaves_the_total_by_the_flow_of_earlier_ones_and_the_split_not_known(capsys, kept):
    for day, burn in ((1, 8), (2, 8), (3, 8)):
        code, _, err = run(capsys, "log", "add", "--from", "KBOI", "--to", "KBOI", "--off-blocks", f"2026-07-0{day}T15:00Z",
                           "--on-blocks", f"2026-07-0{day}T16:00Z", "--fuel-before", "left=20 usgal dipstick",
                           "--fuel-before", "right=20 usgal dipstick", "--fuel-after", f"left={20 - burn} usgal dipstick",
                           "--fuel-after", "right=20 usgal dipstick")
        assert (code, err) == (0, "")
    run(capsys, "log", "add", "--from", "KBOI", "--to", "KBOI", "--off-blocks", "2026-07-04T15:00Z", "--on-blocks",
        "2026-07-04T17:00Z")
    answer = asked(capsys)
    assert answer["total"]["value"] == pytest.approx(16)
    assert [t["usable"] for t in answer["tanks"]] == [None, None]
    assert "split" in answer["sentence"]
    assert answer["flights_since"] == 1


def test_oil_an_hour_is_told_from_the_second_entry_on(capsys, kept):
    run(capsys, "fuel", "oil", "--amount", "0 qt", "--hours", "100")
    code, out, _ = run(capsys, "fuel", "oil", "--amount", "1 qt", "--hours", "110")
    assert code == 0
    assert "0.10 qt an hour over 10 h" in out
    assert asked(capsys)["oil"]["per_hour"] == pytest.approx({"value": 0.1, "unit": "qt/h"})


def filled(capsys, day, left, right):
    for tank, amount in (("left", left), ("right", right)):
        words = ("fuel", "add", "--tank", tank, "--amount", f"{amount} usgal", "--level", "full", "--at", f"2026-06-{day:02d}T17:00Z")
        assert run(capsys, *words)[0] == 0


def flown(capsys, day, *words):
    assert run(capsys, "log", "add", "--from", "KBOI", "--to", "KBOI", "--off-blocks", f"2026-06-{day:02d}T15:00Z", "--on-blocks",
               f"2026-06-{day:02d}T16:20Z", *words)[0] == 0


@pytest.fixture
def with_rows(folder):
    """A record that keeps the demo aeroplane with its book rows."""
    records = open_record()
    toml = demo_aeroplane()
    rows = demo_text(tomllib.loads(toml)["book"]["rows"])
    records.append(AeroplaneRevision(date(2020, 1, 1), toml, rows), "N0160T", datetime(2020, 1, 1, tzinfo=UTC))
    records.close()
    return folder


def test_fills_of_the_record_teach_the_flow_and_name_the_one_that_disagrees(capsys, with_rows):
    assert "holds no fill yet" in asked(capsys, "fills")["sentence"]
    filled(capsys, 1, 3, 3)
    for day in range(2, 9):
        flown(capsys, day)
        filled(capsys, day, 6, 10 if day == 5 else 5.2)
    answer = asked(capsys, "fills")
    assert len(answer["fills"]) == 7 and [f["name"] for f in answer["fills"] if not f["agrees"]] == ["2026-06-05"]
    assert all(f["used"]["value"] == pytest.approx(11.2) for f in answer["fills"] if f["agrees"])
    assert len(answer["flows"]) == 5 and any("2026-06-05 is settled" in p for p in answer["plan"])
    assert any("taken as cruise" in t for t in answer["told"]) and any("by correcting the entry" in t for t in answer["told"])
    flown(capsys, 9)
    assert any(t.startswith("Flights in no fill: 1") for t in asked(capsys, "fills")["told"])
    code, out, _ = run(capsys, "fuel", "fills")
    assert code == 0 and "Cruise:" in out


def settle(capsys, *words):
    code, out, err = run(capsys, "fuel", "settle", *words)
    return out + err if code in (0, 2) else pytest.fail(err)


def test_a_check_plans_on_the_worse_flow_until_a_fill_is_settled_or_its_entries_change(capsys, with_rows, tmp_path):
    request = tmp_path / "flight.toml"
    request.write_text(demo_flight(), encoding="utf-8")
    filled(capsys, 1, 3, 3)
    for day in range(2, 9):
        flown(capsys, day)
        filled(capsys, day, 6, 10 if day == 5 else 5.2)
    situation = situation_from_record(str(request))
    assert situation.request.planning.contingency_1 > 0.2 and "2026-06-05 does not agree" in situation.fills_words
    code, out, _ = run(capsys, "check", str(request), "--json")
    assert code == 0 and any("is added to the burn" in w["text"] for w in json.loads(out)["warnings"])
    assert "--why" in settle(capsys, "2026-06-05", "--found", "lost")
    assert "not one of: lost, short, right, open" in settle(capsys, "2026-06-05", "--found", "gone", "--why", "x")
    assert "nothing to settle" in settle(capsys, "2026-06-04", "--found", "right", "--why", "x")
    assert "ended on '2026-06-30' (UTC); the latest" in settle(capsys, "2026-06-30", "--found", "right", "--why", "x")
    assert "is settled as lost" in settle(capsys, "2026-06-05", "--found", "lost", "--why", "the drain was open")
    assert situation_from_record(str(request)).request.planning.contingency_1 is None
    assert "is open again" in settle(capsys, "2026-06-05", "--found", "open", "--why", "it was shut")
    assert situation_from_record(str(request)).request.planning.contingency_1 > 0.2
    settle(capsys, "2026-06-05T17:00Z", "--found", "lost", "--why", "it was open after all")
    records = open_record()
    number = next(e.number for e in records.all() if isinstance(e.body, FuelAdded) and e.body.amount_m3 > to_si(9, "usgal"))
    records.withdraw(number, "12 and not 10")
    records.close()
    words = ("fuel", "add", "--tank", "right", "--amount", "12 usgal", "--level", "full", "--at", "2026-06-05T17:00Z")
    assert run(capsys, *words)[0] == 0
    assert any("this no longer counts" in t for t in asked(capsys, "fills")["told"])
    assert situation_from_record(str(request)).request.planning.contingency_1 > 0.2


def test_an_empty_record_has_no_fills_and_says_how_to_begin(capsys, folder):
    answer = asked(capsys, "fills")
    assert answer["aeroplane"] is None and answer["fills"] == [] and "holds no fill yet" in answer["sentence"]


def test_phases_that_every_flight_notes_are_taken_and_a_flight_s_own_notes_are_a_fill(capsys, with_rows):
    flown(capsys, 2, "--fuel-before", "left=20 usgal dipstick", "--fuel-before", "right=20 usgal dipstick", "--fuel-after",
          "left=15 usgal dipstick", "--fuel-after", "right=15 usgal dipstick", "--field", "phases_s=taxi=600; climb=600; cruise=3600")
    (fill,) = (answer := asked(capsys, "fills"))["fills"]
    assert fill["used"]["value"] == pytest.approx(10) and answer["told"] == []


def test_fuel_added_after_the_last_flight_is_what_a_check_by_the_record_plans_on(capsys, with_rows, tmp_path):
    flown(capsys, 2)  # burns nobody knows what
    request = tmp_path / "flight.toml"
    request.write_text(re.sub(r"(?ms)^\[fuel.*?(?=^\[(?!fuel))", "", demo_flight()), encoding="utf-8")
    assert situation_from_record(str(request), "N0160T").request.fuel == {}
    filled(capsys, 2, 6, 5.2)
    taken = situation_from_record(str(request), "N0160T").request.fuel
    assert {name: (t.on_board, t.known_by) for name, t in taken.items()} == {
        name: (pytest.approx(float(to_si(24, "usgal"))), "full") for name in ("left", "right")}


def test_an_aeroplane_without_tanks_on_record_is_not_known(capsys, folder):
    run(capsys, "log", "add", "--aeroplane", "N0161T", "--from", "KBOI", "--to", "KBOI", "--off-blocks", "2026-07-04T15:00Z",
        "--on-blocks", "2026-07-04T17:00Z")
    answer = asked(capsys)
    assert answer["total"] is None
    assert "keeps no tanks" in answer["sentence"]
    code, _, err = run(capsys, "fuel", "seen", "--tank", "left", "--amount", "5 usgal")
    assert code == 2
    assert "keeps no tanks" in err
