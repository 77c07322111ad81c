"""Aerodrome records of the owner: kept, put over the open data, shown with source and date; refused in a sentence."""

import json

import pytest
from commands import run

STRIP = """
ident = "CAMAS1"
name = "Camas home strip"
position = "43.60,-116.20"
elevation = "2900 ft"
source = "paced by the owner"
date = 2026-05-17
[[runways]]
end = "10"
true_heading = "105 deg"
take_off_length = "2100 ft"
landing_length = "2000 ft"
slope = "1 %"
surface = "grass"
"""


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "data"))


def test_a_strip_in_no_database_is_kept_found_and_flown_from(capsys, tmp_path):
    (tmp_path / "strip.toml").write_text(STRIP)
    code, out, err = run(capsys, "data", "aerodrome", str(tmp_path / "strip.toml"), "--json")
    assert code == 0, err
    assert json.loads(out)["results"][0]["ident"] == "CAMAS1"
    code, out, _ = run(capsys, "airports", "camas home", "--json")
    assert json.loads(out)["results"][0]["name"] == "Camas home strip"
    from ownship.questions.check import demo_flight

    flight = demo_flight().replace('from = "KBOI"', 'from = "CAMAS1"').replace("[weather.KBOI]", "[weather.CAMAS1]")
    (tmp_path / "flight.toml").write_text(flight)
    code, out, err = run(capsys, "check", "demo", str(tmp_path / "flight.toml"), "--json")
    assert code == 0, err
    margin = next(m for m in json.loads(out)["margins"] if m["id"] == "runway.take_off.CAMAS1")
    assert "paced by the owner" in margin["source"] and "2026-05-17" in margin["source"]
    assert margin["available"]["value"] == pytest.approx(2100)


def test_the_latest_record_of_an_aerodrome_goes_before_the_open_data(capsys, tmp_path):
    for length in ("1500 ft", "1400 ft"):
        (tmp_path / "b.toml").write_text(STRIP.replace("CAMAS1", "KBOI").replace("2100 ft", length))
        assert run(capsys, "data", "aerodrome", str(tmp_path / "b.toml"))[0] == 0
    code, out, err = run(capsys, "check", "demo", "--json")
    assert code == 0, err
    margin = next(m for m in json.loads(out)["margins"] if m["id"] == "runway.take_off.KBOI")
    assert margin["available"]["value"] == pytest.approx(1400)


@pytest.mark.parametrize(("change", "words"), [
    (("ident = \"CAMAS1\"\n", ""), "needs ident"), (("source = \"paced by the owner\"\n", ""), "needs ident"),
    (("date = 2026-05-17", "date = 2126-05-17"), "not ahead"), (("slope = \"1 %\"", "slope = \"40 %\""), "slope"),
    (("surface", "surfaces"), "surfaces")])
def test_what_does_not_read_is_one_sentence_and_nothing_is_kept(capsys, tmp_path, change, words):
    (tmp_path / "strip.toml").write_text(STRIP.replace(*change))
    code, out, err = run(capsys, "data", "aerodrome", str(tmp_path / "strip.toml"))
    assert code == 2 and out == "" and err.count("\n") == 1
    assert words in err
    assert not (tmp_path / "data" / "record.sqlite").exists()
