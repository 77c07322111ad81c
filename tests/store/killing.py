"""A child that writes entries and acknowledges each, killed at any instant; and what must be true afterwards.

For the tests (20 kills) and for `python -m soak kill` (200). The children come from a fork server: they start at once.
"""

import multiprocessing
import os
import random
import signal
import time
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path

BATCH = 5
LONGEST_S = 120  # of any wait for a child; what is waited for takes a second or two
SERVER = multiprocessing.get_context("forkserver")
PIPE = object()  # stands for the pipe among the arguments of a child
SERVER.set_forkserver_preload(["ownship.questions.record", "ownship.questions.keeping", "ownship.store.records",
                               "ownship.ownership.entries", "alembic.command"])


def started(target, *args):
    """(child, the end of its pipe that is read): a child told where it may write; it ends with the tests at the latest."""
    here, there = SERVER.Pipe(duplex=False)
    child = SERVER.Process(target=target, args=tuple(there if a is PIPE else a for a in args), daemon=True)
    child.start()
    there.close()
    return child, here


def told_by(child, here):
    """What a child tells next; one that is silent for too long is killed, and the test fails."""
    if not here.poll(LONGEST_S):
        child.kill()
        raise AssertionError(f"a child said nothing in {LONGEST_S} s")
    return here.recv()


def ended(child):
    """Wait for a child's end; one that does not end is killed, and the test fails."""
    child.join(LONGEST_S)
    if child.is_alive():
        child.kill()
        raise AssertionError(f"a child did not end in {LONGEST_S} s")


def write_for_ever(folder, seed, pipe):
    """In the child: single flights, batches, corrections, withdrawals; each told only after the call has returned."""
    from ownship.ownership.entries import Flight
    from ownship.questions.record import open_record

    records, chance, i = open_record(Path(folder)), random.Random(seed), 0

    def flight(remark):
        off = datetime(2020, 1, 1, tzinfo=UTC) + timedelta(hours=chance.randrange(50_000))
        return Flight(off, off + timedelta(minutes=chance.randrange(10, 300)), "KBOI", "KU79", landings_day=1, remarks=remark)

    mine = []
    while True:
        i += 1
        what = chance.choice(["one", "one", "batch", "correct", "withdraw"])
        if what == "batch":
            done = records.append_many([flight(f"batch {seed} {i}") for _ in range(BATCH)])
        elif what == "one" or not mine:
            done = (records.append(flight("one")),)
        elif what == "correct":
            done = (records.correct(mine.pop(), flight("corrected")),)
        else:
            done = (records.withdraw(mine.pop(), "wrong"),)
        mine += [e.number for e in done if not e.withdrawn]
        pipe.send([(e.number, e.uid, e.corrects, e.withdrawn, e.body.flight_s) for e in done])


def killed(folder, seed, longest_s):
    """Start a child, kill it (signal 9) at a random instant; what it had acknowledged.

    Every other child is let to its first acknowledged entry before the random time begins.
    """
    child, here = started(write_for_ever, str(folder), seed, PIPE)
    if seed % 2:
        assert here.poll(LONGEST_S), "the child writes nothing"
    time.sleep(random.Random(-seed).uniform(0, longest_s))
    os.kill(child.pid, signal.SIGKILL)
    ended(child)
    told = []
    with suppress(EOFError, OSError):
        while here.poll(0):
            told += here.recv()
    here.close()
    return told


def wrong(folder, told):
    """What is not as it must be after all of `told` was acknowledged; an empty list where all is well."""
    from ownship.ownership.entries import standing
    from ownship.questions.record import open_record

    records = open_record(Path(folder))
    try:
        entries, totals, damage = records.all(), records.flight_totals(), records.database.damage()
    finally:
        records.close()
    there = {(e.number, e.uid, e.corrects, e.withdrawn, e.body.flight_s) for e in entries}
    found = [f"acknowledged and lost: {t}" for t in told if tuple(t) not in there]
    found += [f"damage: {damage}"] if damage else []
    if [e.number for e in entries] != list(range(1, len(entries) + 1)):
        found.append("numbers are not one after the other")
    batches = [e.body.remarks for e in entries if e.body.remarks.startswith("batch ") and not e.withdrawn]
    found += [f"half a batch: {b}" for b in set(batches) if batches.count(b) != BATCH]
    stands = standing(entries)
    if (totals.flights, totals.flight_s, totals.landings_day) != (
            len(stands), sum(e.body.flight_s for e in stands), sum(e.body.landings_day for e in stands)):
        found.append(f"totals {totals} are not those of the entries")
    return found


def kills(folder, count, longest_s=0.25):
    """Kill `count` children, every fourth on a new record (which is being made); (those that had acknowledged entries, what was wrong)."""
    acknowledged, found, told, home = 0, [], [], None
    for seed in range(count):
        if seed % 4 == 0:
            home, told = Path(folder) / f"record-{seed}", []
        mine = killed(home, seed, longest_s)
        told += mine
        found += [f"kill {seed}: {w}" for w in wrong(home, told)]
        acknowledged += bool(mine)
    return acknowledged, found
