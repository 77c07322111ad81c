"""A record moved away or emptied beside its copies is refused, never begun anew; its latest copy brings it back."""

import pytest

from ownship.errors import OwnshipError
from ownship.ownership.entries import Setting
from ownship.papers.keeping import doctor_lines
from ownship.questions.keeping import backup, doctor, restore
from ownship.questions.record import COPIES, NAME, daily_copy, open_record


def kept(folder):
    """A record of one entry, a daily copy of it beside it."""
    write(folder, "one")
    daily_copy(folder)
    return folder


def write(folder, value):
    records = open_record(folder)
    try:
        return records.append(Setting("test", value)).number
    finally:
        records.close()


def values(folder):
    records = open_record(folder)
    try:
        return [e.body.value for e in records.all()]
    finally:
        records.close()


def moved_away(folder):
    for end in ("", "-wal", "-shm"):
        (folder / f"{NAME}{end}").unlink(missing_ok=True)


def emptied(folder):
    moved_away(folder)
    (folder / NAME).write_bytes(b"")


def without_tables(folder):
    import sqlite3

    moved_away(folder)
    with sqlite3.connect(folder / NAME) as made:
        made.executescript("CREATE TABLE x (y); DROP TABLE x;")
    made.close()


@pytest.mark.parametrize("lose", [moved_away, emptied, without_tables])
def test_a_lost_record_is_refused_with_its_latest_copy_and_comes_back(tmp_path, lose):
    lose(kept(tmp_path))
    (copy,) = (tmp_path / COPIES).iterdir()
    for ask in (lambda: values(tmp_path), lambda: write(tmp_path, "two"), lambda: backup(str(tmp_path / "b.zip"), tmp_path)):
        with pytest.raises(OwnshipError, match="gone or holds nothing") as told:
            ask()
        assert f"`ownship restore {copy}`" in str(told.value)
    found = doctor(tmp_path)
    assert "gone or holds nothing" in found.damage
    assert "not sound" in found.advice[0]
    assert "none yet" not in " ".join(doctor_lines(found.to_json()))
    restore(str(copy), tmp_path)
    assert values(tmp_path) == ["one"] and write(tmp_path, "two") == 2


def test_without_daily_copies_the_backup_that_was_asked_for_is_named(tmp_path):
    home, away = tmp_path / "home", tmp_path / "away.zip"
    write(home, "one")
    backup(str(away), home)
    moved_away(home)
    with pytest.raises(OwnshipError, match="gone or holds nothing") as told:
        values(home)
    assert f"`ownship restore {away}`" in str(told.value)


def test_a_folder_without_copies_begins_anew_also_beside_an_empty_file(tmp_path):
    (tmp_path / NAME).write_bytes(b"")
    assert values(tmp_path) == [] and write(tmp_path, "one") == 1
