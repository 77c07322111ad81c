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


def test_a_privilege_without_its_rating_is_not_known(capsys):
    assert run(capsys, "recency", "pilot", "Ann", "--born", "1949-05-01", "--place", "USA", "--rating", "PPL")[0] == 0
    assert run(capsys, "recency", "event", "instrument proficiency check", "--day", "2026-11-01")[0] == 0
    _, out, _ = run(capsys, "recency", "--on", "2026-11-20", "--place", "USA")
    line = next(x for x in out.splitlines() if "IFR" in x)
    assert "not known" in line
    assert run(capsys, "recency", "pilot", "Ann", "--born", "1949-05-01", "--place", "USA", "--rating", "PPL", "--rating", "IR")[0] == 0
    _, out, _ = run(capsys, "recency", "--on", "2026-11-20", "--place", "USA")
    assert "current" in next(x for x in out.splitlines() if "IFR" in x)


def test_a_birth_date_ahead_is_refused(capsys):
    code, out, err = run(capsys, "recency", "pilot", "Ann", "--born", "2080-06-15")
    assert code == 2 and out == "" and "birth date" in err


def test_a_flight_without_landings_counts_one_for_what_falls_due(capsys):
    assert run(capsys, "maintenance", "add", "bolts", "--landings", "3", "--aeroplane", "N0160T")[0] == 0
    assert run(capsys, "maintenance", "done", "bolts", "--day", "2026-09-01", "--hours", "1000h", "--landings", "1000", "--aeroplane", "N0160T")[0] == 0
    for day in range(1, 7):
        words = [w.replace("2026-10-01", f"2026-10-{day:02d}") for w in FLIGHT]
        assert run(capsys, *words)[0] == 0
    _, out, _ = run(capsys, "maintenance", "--json")
    assert '"landings": 1006' in out
    _, out, _ = run(capsys, "maintenance")
    assert "no landing noted" in out and "overdue" in out


def test_what_the_law_wants_blocks_when_it_is_overdue(capsys):
    from datetime import date

    from ownship.ownership.maintenance import open_items
    from ownship.questions.record import open_record

    for words in (("maintenance", "add", "annual", "--every", "12 calendar months", "--section", "14 CFR 91.409(a)"),
                  ("maintenance", "add", "seat covers", "--every", "12 calendar months"),
                  ("maintenance", "done", "annual", "--day", "2020-01-01"), ("maintenance", "done", "seat covers", "--day", "2020-01-01"),
                  ("maintenance", "expiry", "insurance", "--last-day", "2020-01-01"),
                  ("maintenance", "expiry", "chart cycle", "--last-day", "2020-01-01")):
        code, _, err = run(capsys, *words, "--aeroplane", "N0160T")
        assert code == 0, err
    found = {x.name: x.severity for x in open_items(open_record().all(), "N0160T", date(2026, 11, 25), ("VFR",))}
    assert found == {"annual": "block", "seat covers": "warn", "insurance": "block", "chart cycle": "warn"}
