"""What an attack on the record found: files written over it, numbers rounded, names by their letters' case."""

import pytest
from commands import run

from ownship.errors import BadInput
from ownship.questions.places import write_whole

FLIGHT = ("log", "add", "--aeroplane", "N0160T", "--from", "KBOI", "--to", "KBOI", "--off-blocks", "2026-10-01T10:00-06:00", "--on-blocks",
          "2026-10-01T11:00-06:00")


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "data"))


def test_nothing_is_written_over_the_record(capsys, tmp_path):
    assert run(capsys, *FLIGHT, "--landings", "1")[0] == 0
    before = (tmp_path / "data" / "record.sqlite").read_bytes()
    code, out, err = run(capsys, "log", "export", str(tmp_path / "data" / "record.sqlite"))
    assert code == 2 and out == "" and err.count("\n") == 1
    with pytest.raises(BadInput, match="is the record itself"):
        write_whole(tmp_path / "data" / "record.sqlite-wal", b"anything")
    assert (tmp_path / "data" / "record.sqlite").read_bytes() == before
    assert run(capsys, "doctor")[0] == 0


@pytest.mark.parametrize("words", [("log", "withdraw", "1.5", "--why", "x"), ("log", "correct", "2.9", "remarks=x"),
                                   ("log", "withdraw", "9" * 20, "--why", "x"), ("weight", "correct", "9" * 23, "--why", "x"),
                                   (*FLIGHT, "--landings", "2.6"), (*FLIGHT, "--landings=2.6")])
def test_a_half_number_is_refused_and_never_rounded(capsys, words):
    code, out, err = run(capsys, *words)
    assert code == 2 and out == "" and err.count("\n") == 1
    assert "no whole number" in err
