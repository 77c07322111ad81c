"""`ownship weight` as an owner types it: the ledger, what an entry moves, papers, revisions, refusals."""

import csv
import io
import json
import tomllib

import pytest
from commands import run

from ownship.aeroplane.reading import read_airframe
from ownship.questions.reading import demo_text
from ownship.questions.record import open_record

REG = "N0160T"


@pytest.fixture(autouse=True)
def _own_record(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "data"))


def told(capsys, *words):
    """The values of an answer that succeeds."""
    code, out, err = run(capsys, "weight", *words, "--json")
    assert (code, err) == (0, "")
    return json.loads(out)


def refused(capsys, *words):
    """The one sentence of a refusal; the record is as it was."""
    before = entries()
    code, out, err = run(capsys, "weight", *words)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert entries() == before
    return err


def entries():
    records = open_record()
    try:
        return records.all()
    finally:
        records.close()



def begun(capsys):
    told(capsys, "keep", "demo", "--from", "2019-01-01")
    return told(capsys, "add", "engine monitor", "--weight", "2 lb", "--arm", "50 in", "--day", "2025-03-01")


def test_an_empty_record_answers_every_question_and_says_what_to_do(capsys):
    for words in ((), ("show",), ("adverse",), ("amendment",), ("record",)):
        assert "ownship weight keep" in told(capsys, *words)["sentence"]
        code, out, _ = run(capsys, "weight", *words)
        assert code == 0
        assert "ownship weight keep" in out
    assert not entries()


def test_scales_of_wb_07_from_the_command_line(capsys):
    """Published, its answer not shown (WB-07): nose 475 lb at 55 in, mains 1,046 and 1,040 lb at 121 in: 108.8 in."""
    answer = told(capsys, "weigh", "--reading", "475lb@55in", "--reading", "1046lb@121in", "--reading", "1040lb@121in",
                  "--day", "2020-05-01", "--aeroplane", "n0160t")
    assert answer["aeroplane"] == REG
    assert answer["empty"]["weight"]["value"] == pytest.approx(2561)
    assert answer["empty"]["arm"]["value"] == pytest.approx(108.8, abs=0.05)
    assert answer["useful_load"] is None
    assert len(entries()[0].body.scales) == 3


def test_the_ledger_of_the_demo(capsys):
    """1,418 lb on the scales, -9.8 + 5.6 + 3.2 lb of equipment, 2 lb more: 1,419 lb; 2,350 lb less that: 931 lb."""
    begun(capsys)
    answer = told(capsys, "--on", "2026-01-01")
    assert answer["empty"]["weight"]["value"] == pytest.approx(1419)
    assert answer["empty"]["weight"]["low"] < 1419 < answer["empty"]["weight"]["high"]
    assert answer["useful_load"]["value"] == pytest.approx(931)
    assert answer["last_real_weighing"] == {"day": "2019-04-12", "age_days": 2456}
    assert [x["entry"] for x in answer["lines"]] == [None, None, None, None, 2]
    metric = told(capsys, "--on", "2026-01-01", "--metric")["useful_load"]
    assert metric["unit"] == "kg"
    # 931 lb, one sd 3 lb and 1 lb a year for 2,456 days: 9.72 lb, times 1.645
    assert [metric[k] for k in ("low", "value", "high")] == pytest.approx([415.04, 422.29, 429.55], abs=0.01)


def test_a_correction_says_what_moved_and_keeps_what_it_corrects(capsys):
    begun(capsys)
    told(capsys, "add", "beacon bracket", "--weight", "0.5 lb", "--arm", "170 in", "--day", "2025-06-01")
    answer = told(capsys, "correct", "2", "--weight", "3 lb", "--note", "on scales")
    assert answer["corrects"] == 2
    assert [m["entry"] for m in answer["moved"]] == [4, 3, None]
    assert all(m["after"]["weight"]["value"] - m["before"]["weight"]["value"] == pytest.approx(1) for m in answer["moved"])
    assert [(e.number, e.corrects, e.note) for e in entries()][1::2] == [(2, None, ""), (4, 2, "on scales")]


def test_a_withdrawal_says_what_moved(capsys):
    begun(capsys)
    answer = told(capsys, "correct", "2", "--withdraw", "it was never put in")
    assert answer["moved"][-1]["after"]["weight"]["value"] == pytest.approx(1417)
    assert told(capsys, "--on", "2026-01-01")["empty"]["weight"]["value"] == pytest.approx(1417)


def test_something_taken_out_forward_of_the_datum(capsys):
    begun(capsys)
    told(capsys, "add", "nose weight", "--weight", "4 lb", "--arm", "-9 in", "--day", "2025-04-01")
    told(capsys, "add", "nose weight", "--weight", "4 lb", "--arm=-9in", "--removed", "--day", "2025-05-01")
    assert told(capsys, "--on", "2026-01-01")["empty"]["weight"]["value"] == pytest.approx(1419)
    answer = told(capsys, "correct", "4", "--weight", "3 lb", "--removed")
    assert answer["empty"]["weight"]["value"] == pytest.approx(1420)


def test_what_a_weighing_holds_already_is_said(capsys):
    begun(capsys)
    answer = told(capsys, "add", "shelf mat", "--weight", "1 lb", "--arm", "150 in", "--day", "2019-03-01")
    assert "holds 'shelf mat' already" in answer["notes"][0]
    assert answer["moved"] == []


def test_the_same_entry_twice_is_said(capsys):
    begun(capsys)
    answer = told(capsys, "add", "engine monitor", "--weight", "2 lb", "--arm", "50 in", "--day", "2025-03-01")
    assert "Entry 2 says the same" in answer["notes"][0]


def test_a_signed_paper_is_no_real_weighing(capsys):
    begun(capsys)
    told(capsys, "weigh", "--computed", "--weight", "1419 lb", "--arm", "84.1 in", "--day", "2025-09-01", "--by", "a licensed person")
    answer = told(capsys, "--on", "2026-01-01")
    assert answer["last_real_weighing"]["day"] == "2019-04-12"
    assert any("computed, not weighed" in w for w in answer["warnings"])
    assert told(capsys, "amendment", "--on", "2026-01-01")["items"] == []


def test_the_amendment_is_a_draft_with_room_for_a_signature(capsys, tmp_path):
    begun(capsys)
    target = tmp_path / "amendment.txt"
    code, out, _ = run(capsys, "weight", "amendment", "--on", "2026-01-01", "--out", str(target))
    assert code == 0
    assert str(target) in out
    text = target.read_text(encoding="utf-8")
    assert text.startswith("WEIGHT AND BALANCE AMENDMENT\nDRAFT, UNSIGNED")
    assert text.rstrip().endswith("DRAFT, UNSIGNED")
    for words in ("1,418.00", "-9.80", "-470.4", "1,419.00", "931.0 lb after", "Standard 571 Appendix C", "AC 43.13-1B 10-2",
                  "GM to NCO.POL.105", "Licence or certificate number   ....", "Signature                       ....", "2019-04-12"):
        assert words in text, words


def test_the_amendment_as_csv_adds_up(capsys, tmp_path):
    begun(capsys)
    told(capsys, "add", "=1+1", "--weight", "1 lb", "--arm", "60 in", "--day", "2025-04-01")
    target = tmp_path / "amendment.csv"
    assert told(capsys, "amendment", "--on", "2026-01-01", "--out", str(target))["written"] == str(target)
    rows = list(csv.DictReader(io.StringIO(target.read_text(encoding="utf-8"))))
    assert {r["status"] for r in rows} == {"DRAFT, UNSIGNED"}
    assert [r["part"] for r in rows] == ["before", "out", "in", "in", "in", "in", "after"]
    for column in ("weight_lb", "moment_lb_in"):
        assert sum(float(r[column]) for r in rows[:-1]) == pytest.approx(float(rows[-1][column]), abs=1e-4)
    assert rows[-2]["what"] == "'=1+1"


def test_an_amendment_of_nothing_writes_nothing(capsys, tmp_path):
    told(capsys, "weigh", "--weight", "1400 lb", "--arm", "85 in", "--day", "2020-05-01", "--aeroplane", REG)
    answer = told(capsys, "amendment", "--out", str(tmp_path / "a.txt"))
    assert "nothing to amend" in answer["sentence"]
    assert not (tmp_path / "a.txt").exists()


def test_adverse_loadings_of_every_category(capsys):
    begun(capsys)
    answer = told(capsys, "adverse", "--on", "2026-01-01")
    found = {c["category"]: c for c in answer["categories"]}
    assert found["normal"]["aft"]["verdict"] == "outside limits"
    assert found["normal"]["assumed"] == ["front"]
    assert {x["place"] for x in found["utility"]["aft"]["load"]} <= {"pilot", "front", "fuel left", "fuel right"}
    assert "outside limits (category normal)" in answer["sentence"]
    for place in ("baggage", "shelf"):
        assert sum(x["weight"]["value"] for x in found["normal"]["aft"]["load"] if x["place"] in ("baggage", "shelf")) <= 150.001, place


def test_adverse_loadings_are_not_known_without_envelope_or_weighing(capsys):
    told(capsys, "weigh", "--weight", "1400 lb", "--arm", "85 in", "--day", "2020-05-01", "--aeroplane", REG)
    answer = told(capsys, "adverse")
    assert answer["categories"] == []
    assert answer["sentence"].startswith("Not known")


def test_a_record_kept_comes_back_as_toml_with_the_ledger_in_it(capsys, tmp_path):
    begun(capsys)
    target = tmp_path / "out.toml"
    answer = told(capsys, "record", "--on", "2025-12-31", "--out", str(target))
    back = read_airframe(target.read_text(encoding="utf-8"), "back")
    assert back.equipment[-1].what == "engine monitor"
    assert len(back.equipment) == 4
    assert answer["revisions"] == [{"entry": 1, "effective": "2019-01-01"}]
    assert tomllib.loads(told(capsys, "record", "--on", "2020-01-01")["toml"]).get("equipment") is None


def test_rows_and_own_measurements_are_kept_with_the_record(capsys, tmp_path):
    (tmp_path / "books").mkdir()
    (tmp_path / "books" / "rows.csv").write_text("kind\n", encoding="utf-8")
    text = demo_text("camas160.toml").replace('rows = "camas160_rows.csv"', 'rows = "books/rows.csv"')
    (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    told(capsys, "keep", str(tmp_path / "mine.toml"), "--from", "2019-01-01")
    kept = entries()[0].body
    assert kept.rows_csv == "kind\n"
    assert read_airframe(kept.toml, "kept").book.rows == "rows.csv"
    (tmp_path / "books" / "rows.csv").unlink()
    assert "does not exist" in refused(capsys, "keep", str(tmp_path / "mine.toml"))


def test_two_aeroplanes_are_asked_for_by_name(capsys):
    begun(capsys)
    told(capsys, "weigh", "--weight", "1500 lb", "--arm", "80 in", "--day", "2024-01-01", "--aeroplane", "C-0XYZ")
    assert "say which by --aeroplane" in refused(capsys, "show")
    assert told(capsys, "--aeroplane", "c-0xyz")["empty"]["weight"]["value"] == pytest.approx(1500)
    assert told(capsys, "record", "--aeroplane", REG)["aeroplanes"] == ["C-0XYZ", REG]


@pytest.mark.parametrize(("words", "sentence"), [
    (("add", "radio", "--weight", "5 lb"), "is without its arm"),
    (("add", "radio", "--arm", "5 in"), "is without its weight"),
    (("add", "radio", "--weight", "5", "--arm", "5 in"), "has no unit"),
    (("add", "radio", "--weight", "5 lb", "--arm", "5 kt"), "is not a length"),
    (("add", "radio", "--weight", "nan lb", "--arm", "5 in"), "not a number"),
    (("add", "radio", "--weight", "0 lb", "--arm", "5 in"), "other than 0"),
    (("add", " ", "--weight", "5 lb", "--arm", "5 in"), "does not say what"),
    (("add", "radio", "--weight", "5 lb", "--arm", "5 in", "--day", "2025-02-30"), "is no date"),
    (("add", "radio", "--weight", "5 lb", "--arm", "5 in", "--day", "2149-01-01"), "a day to come"),
    (("add", "radio", "--weight", "-5 lb", "--arm", "5 in", "--removed"), "says so too"),
    (("add", "all", "--weight", "1900 lb", "--arm", "5 in", "--removed", "--day", "2025-02-01"), "More is taken away"),
    (("add", "nearly all", "--weight", "1400 lb", "--arm", "84 in", "--removed", "--day", "2025-02-01"), "not believable"),
    (("correct", "2", "--what", " "), "does not say what"),
    (("add", "radio", "--weight", "5 lb", "--arm", "5 in", "--aeroplane", "N0 1"), "is no registration"),
    (("weigh", "--weight", "1400 lb"), "without its arm"),
    (("weigh", "--reading", "475lb"), "without its arm"),
    (("weigh", "--reading", "475lb@55in", "--weight", "1400 lb"), "leave out one"),
    (("weigh", "--reading", "4lb-475lb@55in"), "tare"),
    (("weigh", "--weight", "1400 lb", "--arm", "85 in", "--oil", "some"), "no state of a weighing"),
    (("weigh", "--weight", "1400 lb", "--arm", "85 in", "--fuel", "usable full"), "density"),
    (("correct", "1", "--weight", "5 lb"), "no line of the weight ledger"),
    (("correct", "9", "--weight", "5 lb"), "no entry 9"),
    (("correct", "2"), "says nothing"),
    (("correct", "2", "--withdraw", " "), "without a reason"),
    (("correct", "2", "--withdraw", "x", "--arm", "5 in"), "leave out one"),
    (("correct", "2", "--oil", "none"), "of a weighing"),
    (("correct", "2", "--day", "2149-01-01"), "a day to come"),
    (("show", "--on", "yesterday"), "is no date"),
    (("adverse", "--pilot", "9 lb"), "not believable"),
    (("amendment", "--since", "2018-01-01"), "amend from"),
    (("amendment", "--out", "no-such-folder-here/a.txt"), "name a file in a folder"),
    (("record", "--on", "2018-01-01"), "no airframe record in force"),
    (("keep", "no-such-file.toml"), "does not exist"),
    (("keep", "demo", "--aeroplane", "N1"), "not of N1")])
def test_bad_input_is_one_sentence_and_nothing_is_written(capsys, words, sentence):
    begun(capsys)
    assert sentence in refused(capsys, *words)


def test_a_correction_corrected_already_is_refused(capsys):
    begun(capsys)
    told(capsys, "correct", "2", "--weight", "3 lb")
    assert "look at entry 3" in refused(capsys, "correct", "2", "--weight", "4 lb")


def test_a_weighing_without_oil_needs_the_records_oil(capsys):
    assert "no [oil]" in refused(capsys, "weigh", "--weight", "1400 lb", "--arm", "85 in", "--oil", "none", "--aeroplane", REG)
    told(capsys, "keep", "demo", "--from", "2019-01-01")
    answer = told(capsys, "weigh", "--weight", "1400 lb", "--arm", "85 in", "--oil", "none")
    assert answer["empty"]["weight"]["value"] > 1410


# ---- the day of a weighing


def test_on_the_day_of_a_weighing_it_must_be_said_which_came_first(capsys):
    told(capsys, "weigh", "--weight", "1400 lb", "--arm", "84 in", "--day", "2026-03-01", "--aeroplane", REG)
    radio = ("add", "radio", "--weight", "10 lb", "--arm", "60 in", "--day", "2026-03-01")
    assert "say --before-weighing where that holds it already, --after-weighing" in refused(capsys, *radio)
    assert "leave out one" in refused(capsys, *radio, "--after-weighing", "--before-weighing")
    assert told(capsys, *radio, "--after-weighing")["empty"]["weight"]["value"] == pytest.approx(1410)
    assert "another of that day" in refused(capsys, "weigh", "--computed", "--weight", "1410 lb", "--arm", "83.8 in", "--day",
                                            "2026-03-01")
    assert told(capsys, "correct", "2", "--before-weighing")["empty"]["weight"]["value"] == pytest.approx(1400)
    line = told(capsys)["lines"][0]
    assert (line["what"], line["held_by_a_weighing"], line["after_the_weighing"]) == ("radio", True, False)
    told(capsys, "weigh", "--computed", "--weight", "1410 lb", "--arm", "83.8 in", "--day", "2026-03-01")


def test_a_weighing_entered_after_the_changes_of_its_day_says_that_it_holds_them(capsys):
    told(capsys, "weigh", "--weight", "1400 lb", "--arm", "84 in", "--day", "2026-03-01", "--aeroplane", REG)
    told(capsys, "add", "radio", "--weight", "10 lb", "--arm", "60 in", "--day", "2026-03-09")
    found = told(capsys, "weigh", "--weight", "1411 lb", "--arm", "83.9 in", "--day", "2026-03-09")
    assert "taken to hold 'radio' of the same day (entry 2)" in found["notes"][0]
    assert found["empty"]["weight"]["value"] == pytest.approx(1411)
    assert told(capsys, "correct", "2", "--after-weighing")["empty"]["weight"]["value"] == pytest.approx(1421)
    told(capsys, "add", "clock", "--weight", "1 lb", "--arm", "60 in", "--day", "2026-03-10")
    assert "say --before-weighing" in refused(capsys, "correct", "5", "--day", "2026-03-09")


def test_a_record_written_out_can_be_kept_again_with_its_rows(capsys, tmp_path):
    begun(capsys)
    before = told(capsys)
    out = tmp_path / "out"
    out.mkdir()
    written = told(capsys, "record", "--out", str(out / "aeroplane.toml"))
    assert [p.rsplit("/", 1)[1] for p in written["written_beside"]] == ["camas160_rows.csv"]
    told(capsys, "keep", str(out / "aeroplane.toml"), "--from", "2025-06-01")
    after = told(capsys)
    assert (after["empty"]["weight"], after["empty"]["arm"]) == (before["empty"]["weight"], before["empty"]["arm"])
    (out / "camas160_rows.csv").write_text("mine")
    assert "holds something else than the rows" in refused(capsys, "record", "--out", str(out / "aeroplane.toml"))
    assert (out / "camas160_rows.csv").read_text() == "mine"


def test_a_change_moved_to_another_day_is_no_longer_after_a_weighing(capsys):
    told(capsys, "weigh", "--weight", "1400 lb", "--arm", "84 in", "--day", "2026-03-01", "--aeroplane", REG)
    told(capsys, "add", "radio", "--weight", "10 lb", "--arm", "60 in", "--day", "2026-03-01", "--after-weighing")
    told(capsys, "correct", "2", "--day", "2026-04-01")
    assert [line["after_the_weighing"] for line in told(capsys)["lines"]] == [False, False]
