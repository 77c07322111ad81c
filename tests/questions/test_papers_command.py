"""`ownship check` with its papers, as typed: files whole or not at all, refusals in one sentence."""

import csv
import io
import json

import gpxpy
import pytest
from commands import run


def test_all_three_papers_beside_the_answer(capsys, tmp_path):
    places = {"--kneeboard": tmp_path / "knee.pdf", "--icao": tmp_path / "plan.txt", "--route": tmp_path / "route.gpx"}
    code, out, err = run(capsys, "check", "demo", *(str(x) for pair in places.items() for x in pair), "--paper", "half-letter", "--json")
    assert (code, err) == (0, "")
    assert places["--kneeboard"].read_bytes().startswith(b"%PDF-") and b"396 612" in places["--kneeboard"].read_bytes()
    assert json.loads(out)["sentence"] in places["--icao"].read_text(encoding="utf-8")
    assert len(gpxpy.parse(places["--route"].read_text(encoding="utf-8")).routes[0].points) == 3


@pytest.mark.parametrize("words", [("--icao", "-"), ("--icao=-",)])
def test_the_flight_plan_alone_goes_to_standard_output(capsys, words):
    code, out, err = run(capsys, "check", "demo", *words)
    assert (code, err) == (0, "") and out.startswith("DRAFT") and "(FPL-N0160T-VG" in out


def test_the_log_as_csv_and_the_route_as_geojson(capsys, tmp_path):
    log, line = tmp_path / "log.csv", tmp_path / "line.geojson"
    assert run(capsys, "check", "demo", "--route", str(log))[0] == 0
    assert len(list(csv.DictReader(io.StringIO(log.read_text(encoding="utf-8"))))) == 7
    assert run(capsys, "check", "demo", "--route", str(line))[0] == 0
    assert json.loads(line.read_text(encoding="utf-8"))["type"] == "FeatureCollection"


@pytest.mark.parametrize(("words", "said"), [
    (("--kneeboard", "knee.txt"), ".pdf"), (("--icao", "plan.pdf"), ".txt"), (("--route", "route.kml"), ".gpx"),
    (("--kneeboard", "nowhere/knee.pdf"), "does not exist"), (("--kneeboard", "knee.pdf", "--paper", "a3"), "a5 or half-letter"),
    (("--remedies", "--icao", "-"), "two questions")])
def test_refusals_are_one_sentence_and_nothing_is_written(capsys, tmp_path, monkeypatch, words, said):
    monkeypatch.chdir(tmp_path)
    code, out, err = run(capsys, "check", "demo", *words)
    assert (code, out) == (2, "") and said in err and err.count("\n") == 1 and not list(tmp_path.iterdir())


def test_where_one_paper_cannot_be_made_none_is_written(capsys, tmp_path):
    from ownship.questions.check import demo_aeroplane, demo_flight

    aeroplane, flight = tmp_path / "a.toml", tmp_path / "f.toml"
    aeroplane.write_text(demo_aeroplane().replace('icao_10a = "SG"', 'icao_10a = "R"'), encoding="utf-8")
    flight.write_text(demo_flight(), encoding="utf-8")
    knee = tmp_path / "knee.pdf"
    from ownship.provenance import package_text
    (tmp_path / "camas160_rows.csv").write_text(package_text("demo", "camas160_rows.csv"), encoding="utf-8")
    code, out, err = run(capsys, "check", str(aeroplane), str(flight), "--kneeboard", str(knee), "--icao", str(tmp_path / "p.txt"))
    assert (code, out) == (2, "") and "icao_10a" in err and not knee.exists() and not (tmp_path / "p.txt").exists()
