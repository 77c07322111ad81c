"""`backup`, `restore`, `doctor`, `data export`, `data read` as an owner types them."""

import json
import os
import socket
import tomllib
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from made_up import flight

from ownship.cli import main
from ownship.errors import BadInput
from ownship.ownership.entries import Setting
from ownship.questions import keeping
from ownship.questions.keeping import doctor
from ownship.questions.places import write_whole
from ownship.questions.record import NAME, open_record


@pytest.fixture
def home(tmp_path, monkeypatch):
    """The owner's data folder, not made yet."""
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "home"))
    return tmp_path / "home"


@pytest.fixture
def three(home):
    """A record of three flights, one corrected."""
    records = open_record()
    records.append_many([flight(i) for i in range(3)], "N0160T")
    records.correct(2, flight(1, landings_day=2))
    records.close()
    return home


def run(capsys, *words):
    """(exit code, standard output, standard error) of `ownship WORDS`."""
    code = 0
    try:
        main([str(w) for w in words])
    except SystemExit as stop:
        code = stop.code or 0
    out = capsys.readouterr()
    return code, out.out, out.err


def told(capsys, *words):
    code, out, err = run(capsys, *words, "--json")
    assert (code, err) == (0, "")
    return json.loads(out)


def refused(capsys, *words):
    code, out, err = run(capsys, *words)
    assert (code, out) == (2, "") and err.count("\n") == 1
    return err


def test_an_empty_record_answers_and_says_what_to_do(home, capsys):
    found = told(capsys, "doctor")
    assert (found["exists"], found["entries"], found["damage"], found["last_backup"]) == (False, 0, "", None)
    assert found["advice"] == [f"There is no record in {home} yet; it is made with the first entry."]
    assert {"aerodromes", "terrain", "magnetic model ends", "rules usa", "rules canada", "rules easa"} <= {
        a["what"] for a in found["ages"]}
    assert "record: none yet" in run(capsys, "doctor")[1]
    assert "first entry" in refused(capsys, "backup", home.parent / "b.zip")
    assert told(capsys, "data", "export", home.parent / "out")["entries"] == 0
    assert not home.exists()


def test_backup_and_restore_by_command(three, tmp_path, capsys):
    saved = told(capsys, "backup", tmp_path / "b.zip")
    assert (saved["entries"], saved["path"]) == (4, str(tmp_path / "b.zip"))
    found = told(capsys, "doctor")
    assert (found["entries"], found["kinds"], found["record_schema"], found["damage"]) == (4, {"flight": 4}, 1, "")
    assert (found["last_backup"], found["last_backup_days"], found["advice"]) == (str(tmp_path / "b.zip"), 0, [])
    records = open_record()
    records.append(Setting("a", "b"))
    records.close()
    back = told(capsys, "restore", tmp_path / "b.zip")
    assert back["entries"] == 4 and Path(back["kept_as"]).exists()
    assert told(capsys, "doctor")["contents"] == found["contents"]
    assert "4 entries" in run(capsys, "backup", tmp_path / "c.zip")[1]
    (tmp_path / "letter.txt").write_text("mine")
    assert "is no backup of a record" in refused(capsys, "backup", tmp_path / "letter.txt")
    assert told(capsys, "backup", tmp_path / "letter.txt", "--replace")["entries"] == 4


def test_a_device_or_a_pipe_is_neither_read_nor_written_over(three, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)  # a socket's name is short
    with socket.socket(socket.AF_UNIX) as device:  # what is no file, and ends a wrong read at once
        device.bind("device")
        for words in (("backup", "device"), ("backup", "device", "--replace"), ("restore", "device"), ("log", "export", "device"),
                      ("log", "export", "device", "--replace")):
            assert "is a device" in refused(capsys, *words)
        with pytest.raises(BadInput, match="is a device or a pipe"):  # what every paper and chart is written by
            write_whole(Path("device"), b"")
        assert not Path("device").is_file()


def test_export_and_read_by_command(three, tmp_path, capsys, monkeypatch):
    out = told(capsys, "data", "export", tmp_path / "out")
    assert "empty one only" in refused(capsys, "data", "read", tmp_path / "out")
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "second"))
    assert told(capsys, "data", "read", tmp_path / "out")["sha256"] == out["sha256"] == told(capsys, "doctor")["contents"]


@pytest.mark.parametrize("words", [("restore", "nowhere.zip"), ("restore", "."), ("backup", "."), ("backup", "no/such/b.zip"),
                                   ("data", "read", "nowhere"), ("data", "export", "no/such/folder"), ("restore",), ("doctor", "x")])
def test_bad_input_is_one_sentence_and_changes_nothing(three, capsys, words, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    before = doctor().contents
    refused(capsys, *words)
    assert doctor().contents == before


def test_the_doctor_in_words(three, tmp_path, capsys):
    out = run(capsys, "doctor")[1]
    for words in ("4 entries", "schema 1", "sound, and every entry was read", "last backup: none noted", "flight: 4",
                  "aerodromes: 2022-10-11", "magnetic model ends: 2030-01-01", "to do: No backup was made yet"):
        assert words in out, words


def test_an_old_or_absent_backup_is_told(three, tmp_path, capsys):
    run(capsys, "backup", tmp_path / "b.zip")
    note = three / keeping.LAST
    made = datetime.now(UTC) - timedelta(days=40)
    note.write_text(f'file = "{tmp_path / "b.zip"}"\nmade = "{made.isoformat()}"\n')
    assert doctor().advice == ("The last backup is 40 days old; make a new one.",)
    (tmp_path / "b.zip").unlink()
    assert "is not there now" in doctor().advice[0]
    for text in ("made = 3", "\ufeff[", ""):
        note.write_text(text)
        assert doctor().last_backup is None and "No backup" in doctor().advice[0]
    note.write_bytes(b"\xff")
    assert doctor().last_backup is None


def test_an_entry_that_cannot_be_read_is_found(three):
    records = open_record()
    with records.database.writing() as connection:
        connection.exec_driver_sql("INSERT INTO entries SELECT 9, 'u', kind, aeroplane, moment, recorded, NULL, withdrawn, source, "
                                   "note, '{}' FROM entries WHERE number = 1")
    records.close()
    assert "Entry 9 of the record cannot be read" in doctor().damage


def test_the_age_of_data_is_that_of_the_oldest(three):
    tiles = three / "terrain"
    tiles.mkdir()
    for name, day in (("N43W116.hgt", 5), ("N44W116.hgt", 9)):
        (tiles / name).touch()
        stamp = datetime(2026, 7, day, 12, tzinfo=UTC).timestamp()
        os.utime(tiles / name, (stamp, stamp))
    age = next(a for a in doctor().ages if a.what == "terrain")
    assert (age.day, age.days) == ("2026-07-05", (datetime.now(UTC).date() - date(2026, 7, 5)).days)


def test_every_rule_file_has_its_date_and_says_how_much_of_it_was_not_read(home):
    from ownship.rules.ruleset import PLACES, load_ruleset

    ages = {a.what: a for a in doctor().ages}
    files = list((Path(keeping.__file__).parent.parent / "data" / "rules").rglob("*.toml"))
    assert sum(what.startswith("rules ") for what in ages) == len(files) >= 3
    for place in PLACES:
        memory = sum(1 for r in load_ruleset(place).rules if r.source.status == "from memory")
        assert memory > 0 and f"; {memory} from memory" in ages[f"rules {place.lower()}"].words
    assert ages["rules canada"].day == "2026-06-17"  # the consolidation that was read
    assert ages["rules usa"].day is None and "undated copy" in ages["rules usa"].words


def test_the_manifests_name_no_folder_of_this_machine(three, tmp_path, capsys):
    run(capsys, "data", "export", tmp_path / "out")
    manifest = (tmp_path / "out" / "record.toml").read_text()
    assert str(tmp_path) not in manifest and tomllib.loads(manifest)["entries"] == 4
    assert (three / NAME).exists()
