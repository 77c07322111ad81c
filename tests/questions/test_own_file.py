"""An owner's measurements file by the command: reduced, fitted, told in words; refused in a sentence."""

import json
import re

from commands import run

OWN = """
schema = 1
[record]
source = "my flights of May"
[[tachometer]]
panel = "2400 rpm"
optical = "2352 rpm"
[[level_run]]
pressure_altitude = "6000 ft"
oat = "5 C"
weight = "2200 lb"
rpm = "2450 rpm"
legs = [{groundspeed = "118 kt", track = "020 deg"}, {groundspeed = "95 kt", track = "140 deg"}, {groundspeed = "101 kt", track = "260 deg"}]
[[timed_climb]]
from = "3000 ft"
to = "5000 ft"
time = "4.4 min"
ias = "76 kt"
oat = "9 C"
weight = "2250 lb"
"""


def test_measurements_are_told_in_words(capsys, tmp_path):
    (tmp_path / "own.toml").write_text(OWN)
    code, out, err = run(capsys, "calibrate", "demo", "--own", str(tmp_path / "own.toml"))
    assert code == 0, err
    for heading in ("figures of this aeroplane", "what your measurements say", "how far from its book", "what to measure next",
                    "own: matched to 487 rows, 3 of them yours"):
        assert heading in out


def test_without_own_rows_the_books_scatter_is_not_told_as_this_aeroplanes(capsys):
    code, out, _ = run(capsys, "calibrate", "demo", "--json")
    words = json.loads(out)["words"]
    assert code == 0 and "figures of this aeroplane" not in words
    book, single = words["what its book says"], words["this one aeroplane before any measurement"]

    def width(line):
        low, high = re.search(r"\(([\d,.]+) to ([\d,.]+)\)", line).groups()
        return float(high.replace(",", "")) - float(low.replace(",", ""))

    assert len(book) == len(single) > 4
    assert all(width(one) > 1.3 * width(of_book) for of_book, one in zip(book, single, strict=True))


def test_nothing_is_told_that_is_not_there(capsys, tmp_path):
    """No weight of a static run, no heading without a line."""
    static = '[[static]]\nrpm = "2380 rpm"\noat = "15 C"\npressure_altitude = "500 ft"\noptical = true\n'
    (tmp_path / "own.toml").write_text(OWN.split("[[tachometer]]", maxsplit=1)[0] + static)
    code, out, _ = run(capsys, "calibrate", "demo", "--own", str(tmp_path / "own.toml"), "--json")
    words = json.loads(out)["words"]
    assert code == 0 and "nan" not in str(words)
    assert "static rpm at 500 ft, 15 C reads" in str(words)
    assert all(words.values())


def test_too_few_legs_is_one_sentence_and_saves_nothing(capsys, tmp_path):
    (tmp_path / "own.toml").write_text(OWN.replace(', {groundspeed = "101 kt", track = "260 deg"}', ""))
    code, out, err = run(capsys, "calibrate", "demo", "--own", str(tmp_path / "own.toml"), "--save", str(tmp_path / "c.json"))
    assert code == 2 and out == "" and err.count("\n") == 1
    assert not (tmp_path / "c.json").exists()


def test_charts_are_drawn_to_a_folder_that_is_no_file(capsys, tmp_path):
    (tmp_path / "own.toml").write_text(OWN)
    code, _, err = run(capsys, "calibrate", "demo", "--own", str(tmp_path / "own.toml"), "--charts", str(tmp_path / "charts"))
    assert code == 0, err
    drawn = {p.name: p.read_text() for p in (tmp_path / "charts").iterdir()}
    assert set(drawn) == {"agreement-of-book.svg", "agreement-of-yours.svg", "before-and-after.svg"}
    assert all(svg.startswith("<svg") for svg in drawn.values())
    code, out, err = run(capsys, "study", "modify", "demo", "--modification", "fairings", "--charts", str(tmp_path / "own.toml"))
    assert code == 2 and out == "" and "is a file; name a folder" in err


def test_a_calibration_of_another_aeroplane_is_refused(capsys, tmp_path):
    (tmp_path / "own.toml").write_text(OWN)
    code, _, err = run(capsys, "calibrate", "demo", "--own", str(tmp_path / "own.toml"), "--save", str(tmp_path / "c.json"))
    assert code == 0, err
    text = (tmp_path / "c.json").read_text().replace('"aeroplane": "', '"aeroplane": "0')
    (tmp_path / "c.json").write_text(text)
    code, out, err = run(capsys, "predict", "demo", "--card", "--calibration", str(tmp_path / "c.json"))
    assert code == 2 and out == "" and "another aeroplane" in err
