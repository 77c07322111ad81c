"""Nothing acknowledged is lost: kill -9 at any instant, a full disk, two programs at once."""

import os
import random
import resource
import shutil
import signal
import string
import subprocess
import time
from pathlib import Path

import pytest
from killing import LONGEST_S, PIPE, SERVER, ended, kills, started, told_by, wrong
from made_up import flight

from ownship.errors import BadInput
from ownship.ownership.entries import Setting
from ownship.questions.keeping import backup, doctor, restore
from ownship.questions.record import open_record


def test_twenty_kills_lose_nothing_that_was_acknowledged(tmp_path):
    acknowledged, found = kills(tmp_path, 20)
    assert found == []
    assert acknowledged >= 10  # every other child was let to its first entry


def test_the_check_after_a_kill_sees_what_is_lost_halved_or_miscounted(tmp_path):
    records = open_record(tmp_path)
    one = records.append(flight(0))
    told = [(one.number, one.uid, None, False, one.body.flight_s)]
    assert wrong(tmp_path, told) == []
    assert wrong(tmp_path, [(2, "another", None, False, 60.0)])[0].startswith("acknowledged and lost")
    records.append(flight(1, remarks="batch 0 1"))
    assert wrong(tmp_path, told) == ["half a batch: batch 0 1"]
    records.close()


def restore_for_ever(folder, pipe):
    """In a child: one backup after the other in place of the record."""
    while True:
        for name in ("few", "many"):
            restore(str(Path(folder) / f"{name}.zip"), Path(folder) / "home")
            pipe.send(name)


def test_a_restore_that_is_killed_leaves_the_one_record_or_the_other_whole(tmp_path):
    wanted = {}
    for name, count in (("few", 3), ("many", 400)):
        records = open_record(tmp_path / name)
        records.append_many([flight(i) for i in range(count)])
        records.close()
        backup(str(tmp_path / f"{name}.zip"), tmp_path / name)
        wanted[doctor(tmp_path / name).contents] = count
    for i in range(8):
        child, here = started(restore_for_ever, str(tmp_path), PIPE)
        assert told_by(child, here) == "few"
        time.sleep(random.Random(i).uniform(0, 0.3))
        os.kill(child.pid, signal.SIGKILL)
        ended(child)
        here.close()
        found = doctor(tmp_path / "home")
        assert found.damage == "" and found.contents in wanted
        records = open_record(tmp_path / "home")
        assert records.flight_totals().flights == wanted[found.contents]
        with pytest.raises(BadInput, match="only added"), records.database.writing() as connection:
            connection.exec_driver_sql("DELETE FROM flights")
        records.close()


def limited(limit):
    """In a child: no file may grow beyond so many bytes (0: no such limit)."""
    if limit:
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))


def fill(folder, pipe, limit):
    """In a child: write until the disk refuses; tell what was acknowledged and what the refusal said."""
    limited(limit)
    records, told, words = open_record(Path(folder)), [], ""
    try:
        for i in range(100_000):
            long = "".join(random.Random(i).choices(string.ascii_letters, k=3000))  # what no backup packs small
            told += [(e.number, e.uid, None, False, e.body.flight_s) for e in records.append_many([flight(i), flight(i, remarks=long)])]
    except BadInput as error:
        words = str(error)
    pipe.send((told, words))


def refused_backup(folder, pipe, limit):
    """In a child: a backup beside the record, where there is no room for it; what the refusal said."""
    limited(limit)
    try:
        pipe.send(str(backup(str(Path(folder).parent / "b.zip"), Path(folder))))
    except BadInput as error:
        pipe.send(str(error))


def in_child(target, folder, limit):
    """What a child tells of its work under a limit on the size of files."""
    child, here = started(target, str(folder), PIPE, limit)
    told = told_by(child, here)
    ended(child)
    assert child.exitcode == 0
    return told


def full_and_whole(folder, told, words):
    assert len(told) >= 20 and len(told) % 2 == 0
    assert "nothing of this was written" in words and "\n" not in words
    assert wrong(folder, told) == []
    records = open_record(folder)
    assert len(records.all()) == len(told)
    records.close()


FILE_LIMIT = 1_000_000  # bytes: what a record and its write-ahead log may have
BACKUP_LIMIT = 40_000  # more than the shared index of the log (32 kB), less than a backup of what fits in that


def test_a_limit_on_the_size_of_files_loses_nothing_acknowledged_and_a_backup_is_a_sentence(tmp_path):
    told, words = in_child(fill, tmp_path / "home", FILE_LIMIT)
    full_and_whole(tmp_path / "home", told, words)
    assert "cannot be written" in in_child(refused_backup, tmp_path / "home", BACKUP_LIMIT)
    assert not list(tmp_path.glob("*b.zip*"))
    records = open_record(tmp_path / "home")  # with room again it goes on
    assert records.append(Setting("a", "b")).number == len(told) + 1
    records.close()
    assert backup(str(tmp_path / "b.zip"), tmp_path / "home").entries == len(told) + 1


def mounted(place):
    """Whether a disk in memory of 1 MB could be mounted at a place: by root only."""
    mount = shutil.which("mount")
    return mount is not None and os.geteuid() == 0 and not subprocess.run(
        [mount, "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(place)], capture_output=True, check=False, timeout=LONGEST_S).returncode


@pytest.fixture
def small_disk(tmp_path):
    """(place, limit on files while filling, while backing up): a disk of 1 MB; where none can be mounted, files of that size."""
    place = tmp_path / "disk"
    place.mkdir()
    if not mounted(place):
        yield place, FILE_LIMIT, BACKUP_LIMIT
        return
    yield place, 0, 0
    subprocess.run(["umount", str(place)], check=True, timeout=LONGEST_S)


def test_a_full_disk_loses_nothing_acknowledged_and_a_backup_on_it_is_a_sentence(small_disk, tmp_path):
    place, filling, keeping = small_disk
    told, words = in_child(fill, place / "home", filling)
    full_and_whole(place / "home", told, words)
    assert "cannot be written" in in_child(refused_backup, place / "home", keeping)
    assert not list(place.glob("*b.zip*"))
    assert doctor(place / "home").damage == ""
    assert backup(str(tmp_path / "b.zip"), place / "home").entries == len(told)


def write_some(folder, name, pipe):
    records = open_record(Path(folder))
    told = []
    try:
        for i in range(15):
            told.append(records.append(Setting(name, str(i))).number)
            told += [e.number for e in records.append_many([Setting(name, "batch")] * 2)]
    finally:
        pipe.send(told)


def test_two_programs_that_make_the_record_at_once_lose_nothing(tmp_path):
    children = [started(write_some, str(tmp_path / "home"), name, PIPE) for name in ("a", "b")]
    told = [told_by(*c) for c in children]
    assert [len(t) for t in told] == [45, 45]
    records = open_record(tmp_path / "home")
    entries = records.all()
    records.close()
    assert sorted(told[0] + told[1]) == [e.number for e in entries] == list(range(1, 91))
    for name, numbers in zip(("a", "b"), told, strict=True):
        mine = [e for e in entries if e.body.name == name]
        assert [e.number for e in mine] == numbers
        assert [e.body.value for e in mine if e.body.value != "batch"] == [str(i) for i in range(15)]



ROUNDS = 8


def add_the_same(folder, pipe, gate):
    """In a child: the same flights as another child, each begun at the same time; which were written."""
    from ownship.questions.logging_flights import add

    told = []
    for day in range(1, ROUNDS + 1):
        gate.wait(60)
        try:
            add({"origin": "ZZ99", "destination": "ZZ99", "off_blocks": f"2026-07-{day:02d}T18:00Z", "flight_time": "1:00",
                 "tachometer_from_h": f"{day}.0", "tachometer_to_h": f"{day}.9"}, "N0160T", folder=Path(folder))
            told.append(day)
        except BadInput as error:
            assert "overlaps" in str(error), error
    pipe.send(told)


def test_two_programs_that_add_the_same_flight_at_once_write_it_once(tmp_path):
    gate = SERVER.Barrier(2)
    children = [started(add_the_same, str(tmp_path), PIPE, gate) for _ in range(2)]
    first, second = (told_by(*c) for c in children)
    assert sorted(first + second) == list(range(1, ROUNDS + 1))
    records = open_record(tmp_path)
    assert len(records.flights()) == ROUNDS
    records.close()
