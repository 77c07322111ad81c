"""The performance card and the proposals of a track, as a pilot calls for them."""

import csv
import io

import pytest
from commands import run


def test_the_card_has_its_tables_and_says_what_it_is(capsys):
    code, out, _ = run(capsys, "predict", "demo", "--card")
    assert code == 0 and "no approved data" in out
    for heading in ("TAKE-OFF", "LANDING", "CLIMB", "CRUISE", "RPM FOR SPEED"):
        assert heading in out
    for words in ("80 KIAS level", "90 KIAS 500 ft/min down", "100 KIAS 3 degrees down", "holding"):
        assert words in out


def test_the_card_as_csv_is_consistent(capsys, tmp_path):
    path = tmp_path / "card.csv"
    assert run(capsys, "predict", "demo", "--card", "--out", str(path))[0] == 0
    rows = list(csv.DictReader(io.StringIO(path.read_text())))
    for r in rows:
        if r["value"]:
            assert float(r["low_90"]) <= float(r["value"]) <= float(r["high_90"])
    rolls = [float(r["value"]) for r in rows if r["table"] == "take-off" and r["quantity"] == "roll"]
    overs = [float(r["value"]) for r in rows if r["table"] == "take-off" and r["quantity"] == "over 50 ft"]
    assert all(a < b for a, b in zip(rolls, overs, strict=True))
    rpm = {r["conditions"]: float(r["value"]) for r in rows if r["table"] == "rpm for speed" and r["quantity"] == "rpm"}
    assert rpm["80 KIAS level, 4,000 ft"] < rpm["90 KIAS level, 4,000 ft"] < rpm["100 KIAS level, 4,000 ft"]
    assert rpm["90 KIAS 500 ft/min down, 4,000 ft"] < rpm["90 KIAS level, 4,000 ft"]


@pytest.mark.parametrize("words", [("predict", "demo"), ("predict", "demo", "--card", "--rows", "x.csv"),
                                   ("predict", "demo", "--card", "--out", "/nowhere/x.csv"), ("calibrate", "demo", "--track", "/nowhere"),
                                   ("study", "modify", "demo", "--modification", "warp-drive"),
                                   ("study", "modify", "demo", "--modification", "fairings", "--claim", "fast")])
def test_refusals(capsys, words):
    code, out, err = run(capsys, *words)
    assert code == 2 and out == "" and err.count("\n") == 1


def test_a_hostile_track_is_one_sentence(capsys, tmp_path):
    (tmp_path / "t.gpx").write_text('<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "b">]><gpx>&a;</gpx>')
    code, out, err = run(capsys, "calibrate", "demo", "--track", str(tmp_path / "t.gpx"))
    assert code == 2 and out == "" and err.count("\n") == 1


def test_study_modify_prints_useful_load_first(capsys):
    code, out, _ = run(capsys, "study", "modify", "demo", "--modification", "engine-180hp", "--claim", "6 mph")
    assert code == 0
    assert out.splitlines()[1].strip().startswith("! Useful load goes down")
    assert "would be true" in out


def test_a_prediction_beyond_the_models_range_is_blank(capsys, tmp_path):
    """Invariant 1: above 16,000 ft, below -45 C or above 50 C the model says nothing."""
    rows = tmp_path / "rows.csv"
    rows.write_bytes(b"\xef\xbb\xbfkind,pressure_altitude_ft,oat_c,weight_lb,rpm,value\n"
                     b"takeoff_roll_ft,18000,0,2200,,\ntakeoff_roll_ft,2000,-70,2200,,\ntakeoff_roll_ft,2000,15,2200,,\n")
    code, out, _ = run(capsys, "predict", "demo", "--rows", str(rows))
    found = [row["predicted"] for row in csv.DictReader(io.StringIO(out))]
    assert code == 0 and found[:2] == ["", ""] and float(found[2]) > 300
