"""Backup, restore, daily copies: what went in comes out, and whatever is not whole is refused before anything changes."""

import hashlib
import io
import sqlite3
import zipfile
from datetime import date, timedelta
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_up import flight

from ownship.errors import BadInput, UnreadableFile
from ownship.ownership.entries import Setting
from ownship.questions import record as recording
from ownship.questions.keeping import backup, doctor, restore, thin_copies
from ownship.questions.record import COPIES, NAME, open_record
from ownship.store.backup import copy_day, kept_days

HOME = "home"


@pytest.fixture
def home(tmp_path):
    """A record of ten flights, one corrected, and its backup."""
    records = open_record(tmp_path / HOME)
    records.append_many([flight(i) for i in range(10)], "N0160T")
    records.correct(3, flight(2, landings_day=4))
    records.close()
    backup(str(tmp_path / "b.zip"), tmp_path / HOME)
    return tmp_path / HOME


def entries(folder):
    records = open_record(folder)
    try:
        return records.all()
    finally:
        records.close()


def rewritten(path, **members):
    """A backup with members changed, or left out (None)."""
    with zipfile.ZipFile(path) as archive:
        held = {n: archive.read(n) for n in archive.namelist()} | {n.replace("_", "."): d for n, d in members.items()}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in held.items():
            if data is not None:
                archive.writestr(name, data)
    return out.getvalue()


def test_a_backup_restored_elsewhere_gives_the_same_entries(home, tmp_path):
    told = restore(str(tmp_path / "b.zip"), tmp_path / "new")
    assert told.entries == 11 and told.kept_as is None
    assert entries(tmp_path / "new") == entries(home)
    records = open_record(tmp_path / "new")
    assert records.append(flight(50)).number == 12
    with pytest.raises(BadInput), records.database.writing() as connection:
        connection.exec_driver_sql("DELETE FROM entries")
    records.close()


def test_a_restore_keeps_what_was_there_under_a_dated_name(home, tmp_path):
    records = open_record(home)
    records.append(flight(50))
    later = records.all()
    told = restore(str(tmp_path / "b.zip"), home)
    assert len(records.all()) == 11  # the open program sees the restored record
    assert records.append(Setting("a", "b")).number == 12
    records.close()
    aside = tmp_path / "aside"
    aside.mkdir()
    (aside / NAME).write_bytes(Path(told.kept_as).read_bytes())
    assert entries(aside) == later


def test_a_restore_over_a_damaged_record_moves_that_one_aside(home, tmp_path):
    (home / NAME).write_bytes(b"no database" * 1000)
    told = restore(str(tmp_path / "b.zip"), home)
    assert Path(told.kept_as).read_bytes() == b"no database" * 1000
    assert len(entries(home)) == 11


def test_a_restore_whose_copy_cannot_be_kept_changes_nothing(home, tmp_path, monkeypatch):
    records = open_record(home)
    records.append(flight(50))
    records.close()

    def full(*_):
        raise UnreadableFile("No copy of the record can be kept; make room.")

    monkeypatch.setattr("ownship.questions.keeping.keep_file", full)
    with pytest.raises(UnreadableFile, match="make room"):
        restore(str(tmp_path / "b.zip"), home)
    assert len(entries(home)) == 12


def test_a_backup_is_taken_while_another_writes(home, tmp_path):
    records = open_record(home)
    with records.database.writing() as connection:
        connection.exec_driver_sql("INSERT INTO entries SELECT 99, 'x', kind, aeroplane, moment, recorded, NULL, withdrawn, source, "
                                   "note, body FROM entries WHERE number = 1")
        backup(str(tmp_path / "c.zip"), home)
    records.close()
    assert restore(str(tmp_path / "c.zip"), tmp_path / "new").entries == 11


def broken(name, data):
    """The ways a backup may not be whole, each with what the sentence says."""
    manifest = zipfile.ZipFile(io.BytesIO(data)).read("manifest.toml").decode()
    image = zipfile.ZipFile(io.BytesIO(data)).read("record.sqlite")
    path = io.BytesIO(data)
    return {
        "no zip": (b"hello", "no readable backup"), "cut": (data[:len(data) // 2], "no readable backup"), "empty": (b"", "no readable"),
        "no record": (rewritten(path, record_sqlite=None), "holds no record.sqlite"),
        "no manifest": (rewritten(path, manifest_toml=None), "holds no manifest.toml"),
        "record changed": (rewritten(path, record_sqlite=image[:-1] + b"x"), "hash"),
        "manifest not whole": (rewritten(path, manifest_toml=b"made = 1"), "manifest"),
        "manifest no TOML": (rewritten(path, manifest_toml=b"\xff"), "manifest"),
        "newer format": (rewritten(path, manifest_toml=manifest.replace("format = 1", "format = 2").encode()), "newer Ownship"),
        "newer schema": (rewritten(path, manifest_toml=manifest.replace("schema = 1", "schema = 9").encode()), "newer Ownship"),
        "hash of another": (rewritten(path, manifest_toml=manifest.replace('sha256 = "', 'sha256 = "0').encode()), "hash")}[name]


@pytest.mark.parametrize("name", ["no zip", "cut", "empty", "no record", "no manifest", "record changed", "manifest not whole",
                                  "manifest no TOML", "newer format", "newer schema", "hash of another"])
def test_a_backup_that_is_not_whole_is_refused_and_the_record_stays(home, tmp_path, name):
    data, words = broken(name, (tmp_path / "b.zip").read_bytes())
    (tmp_path / "bad.zip").write_bytes(data)
    before = entries(home)
    with pytest.raises(BadInput, match=words) as refused:
        restore(str(tmp_path / "bad.zip"), home)
    assert "\n" not in str(refused.value)
    assert entries(home) == before and not list(home.glob("record-before-restore*"))


def packed_again(path, image, manifest):
    """A backup whose hash is right for another database file."""
    told = manifest.replace(hashlib.sha256(zipfile.ZipFile(path).read("record.sqlite")).hexdigest(), hashlib.sha256(image).hexdigest())
    return rewritten(path, record_sqlite=image, manifest_toml=told.encode())


def test_a_backup_with_the_right_hash_of_a_damaged_or_foreign_or_newer_database_is_refused(home, tmp_path):
    with zipfile.ZipFile(tmp_path / "b.zip") as archive:
        image, manifest = archive.read("record.sqlite"), archive.read("manifest.toml").decode()
    assert b"schema_1" in image
    pages = bytearray(image)
    pages[4096 * 2:4096 * 4] = b"\x55" * 8192
    with sqlite3.connect(tmp_path / "foreign.sqlite") as foreign:
        foreign.execute("CREATE TABLE wings (x)")
    foreign.close()
    for other, words in ((bytes(pages), "damaged"), (image[:4096 * 3], "damaged"), (b"text" * 500, "no database"), (b"", "no database"),
                         ((tmp_path / "foreign.sqlite").read_bytes(), "no record of Ownship"),
                         (image.replace(b"schema_1", b"schema_7"), "newer Ownship")):
        (tmp_path / "bad.zip").write_bytes(packed_again(tmp_path / "b.zip", other, manifest))
        with pytest.raises(BadInput, match=words) as refused:
            restore(str(tmp_path / "bad.zip"), home)
        assert "\n" not in str(refused.value)
        assert len(entries(home)) == 11 and not list(home.glob("record-before-restore*"))


@pytest.fixture(scope="module")
def two_flights(tmp_path_factory):
    """(bytes of a backup, its entries, a folder to work in)."""
    folder = tmp_path_factory.mktemp("byte")
    records = open_record(folder / HOME)
    records.append_many([flight(0), flight(1)])
    records.close()
    backup(str(folder / "b.zip"), folder / HOME)
    return (folder / "b.zip").read_bytes(), entries(folder / HOME), folder


@settings(deadline=None, max_examples=60)
@given(share=st.floats(0, 1, exclude_max=True), flip=st.integers(1, 255))
def test_one_changed_byte_never_passes_in_silence(two_flights, share, flip):
    data, written, folder = two_flights
    held = bytearray(data)
    held[int(share * len(held))] ^= flip
    (folder / "bad.zip").write_bytes(held)
    new = Path(mkdtemp(dir=folder))
    try:
        restore(str(folder / "bad.zip"), new)
    except BadInput:
        assert not (new / NAME).exists()
    else:
        assert entries(new) == written


def test_a_backup_cannot_take_the_records_place_or_be_a_folder(home, tmp_path):
    for file in (str(home / NAME), str(tmp_path), str(tmp_path / "none" / "b.zip")):
        with pytest.raises(BadInput):
            backup(file, home)
    with pytest.raises(BadInput, match="no record"):
        backup(str(tmp_path / "c.zip"), tmp_path / "nowhere")
    assert len(entries(home)) == 11


# ---- daily copies


def test_the_first_write_of_a_day_keeps_a_copy_of_the_record_before_it(home):
    rmtree(home / COPIES)  # as on the morning of another day
    records = open_record(home)
    records.append(flight(50))
    records.append(flight(51))
    records.close()
    copies = list((home / COPIES).iterdir())
    assert len(copies) == 1 and copy_day(copies[0].name) is not None
    assert restore(str(copies[0]), home.parent / "from copy").entries == 11
    again = open_record(home)
    again.append(flight(52))
    again.close()
    assert list((home / COPIES).iterdir()) == copies


def test_a_program_left_open_keeps_the_copy_of_each_day_too(home):
    records = open_record(home)
    records.append(flight(50))
    rmtree(home / COPIES)
    records.withdraw(12, "wrong")
    records.close()
    (copy,) = (home / COPIES).iterdir()
    assert restore(str(copy), home.parent / "from copy").entries == 12


def test_a_copy_that_fails_stops_no_entry_and_the_doctor_shows_there_is_none(home, monkeypatch):
    def fails(_):
        raise OSError("no room")

    rmtree(home / COPIES)
    monkeypatch.setattr(recording, "daily_copy", fails)
    records = open_record(home)
    assert records.append(flight(50)).number == 12
    records.close()
    assert doctor(home).copies == ()


def test_seven_days_four_weeks_twelve_months_then_years():
    first = date(2016, 2, 28)
    days = [first + timedelta(days=i) for i in range(4000)]
    last = days[-1]  # 2027-02-08, a Monday
    kept = sorted(kept_days(days))
    assert set(days[-7:]) <= set(kept)
    sundays = {date(2027, 2, 7), date(2027, 1, 31), date(2027, 1, 24)}
    assert sundays <= set(kept)
    month_ends = {date(2027, 1, 31), *(date(2026, m + 1, 1) - timedelta(days=1) for m in range(3, 12)), date(2026, 12, 31)}
    assert month_ends <= set(kept)
    assert {date(y, 12, 31) for y in range(2016, 2027)} <= set(kept)
    assert len(kept) <= 7 + 4 + 12 + 12 and last in kept


@given(st.sets(st.integers(0, 3000), min_size=1, max_size=60))
def test_thinning_every_day_comes_to_the_same_as_thinning_once(numbers):
    days = [date(2016, 1, 1) + timedelta(days=n) for n in sorted(numbers)]
    held = set()
    for day in days:
        held = set(kept_days(held | {day}))
    assert held == kept_days(days)
    assert days[-1] in held and kept_days(held) == held


def test_thinning_removes_copies_only(tmp_path):
    days = [date(2020, 1, 1) + timedelta(days=i) for i in range(400)]
    for day in days:
        (tmp_path / f"record-{day}.zip").touch()
    (tmp_path / "record-of-mine.zip").touch()
    (tmp_path / "record-2020-02-31.zip").touch()
    gone = thin_copies(tmp_path)
    assert len(gone) == 400 - len(kept_days(days))
    assert {copy_day(p.name) for p in tmp_path.iterdir()} - {None} == kept_days(days)
    assert (tmp_path / "record-of-mine.zip").exists() and (tmp_path / "record-2020-02-31.zip").exists()


def test_a_backup_replaces_a_backup_and_no_other_file_unasked(home, tmp_path):
    target = tmp_path / "b.zip"
    whole = target.read_bytes()
    for ours in (whole, rewritten(target, record_sqlite=b"damaged")):
        target.write_bytes(ours)
        assert backup(str(target), home).entries == 11
    photo = io.BytesIO()
    with zipfile.ZipFile(photo, "w") as archive:
        archive.writestr("photo.jpg", b"x")
    for foreign in (b"", b"my letter", photo.getvalue(), rewritten(target, manifest_toml=b"a = 1"), whole[:200]):
        target.write_bytes(foreign)
        with pytest.raises(BadInput, match="is there already and is no backup of a record; name another file, or say --replace"):
            backup(str(target), home)
        assert target.read_bytes() == foreign
    assert backup(str(target), home, replace=True).entries == 11
    assert restore(str(target), tmp_path / "new").entries == 11
