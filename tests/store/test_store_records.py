"""The record: what is appended is there, what is corrected keeps what it corrects, and nothing is ever changed."""

import threading
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_up import flight, money
from sqlalchemy import text

from ownship.errors import BadInput
from ownship.ownership.entries import Defect, Flight, FuelAdded, FuelSeen, Setting, Weighing, standing
from ownship.questions.record import open_record
from ownship.store.records import New

NOON = datetime(2026, 7, 11, 12, tzinfo=UTC)


@pytest.fixture
def records(tmp_path):
    opened = open_record(tmp_path)
    yield opened
    opened.close()


def test_nothing_is_made_before_the_first_write(tmp_path):
    records = open_record(tmp_path / "deep" / "folder")
    assert records.all() == () and records.flights() == () and records.counts() == {}
    assert records.flight_totals().flights == 0 and records.database.damage() == ""
    assert not (tmp_path / "deep").exists()
    assert records.append(Setting("a", "1")).number == 1
    records.close()


def test_what_is_appended_is_read_back_by_another_program(records, tmp_path):
    written = records.append(flight(), "N0160T", source="own log", note="from the knee-board")
    other = open_record(tmp_path)
    assert other.all() == (written,) and other.entry(1) == written
    assert (written.number, written.source, other.entry(1).note) == (1, "own log", "from the knee-board")
    other.close()


def test_the_moment_is_the_bodys_own_else_the_one_given_else_now(records):
    assert records.append(flight()).moment == flight().off_blocks
    assert records.append(Weighing(date(2026, 7, 11), True, 640.0, 2.2)).moment == NOON
    assert records.append(FuelSeen("left", 0.05, "dipstick"), moment=NOON).moment == NOON
    now = records.append(FuelSeen("left", 0.05, "dipstick"))
    assert now.moment == now.recorded


def test_a_moment_without_zone_is_refused_and_nothing_is_written(records):
    with pytest.raises(BadInput, match="zone"):
        records.append(FuelSeen("left", 0.05, "dipstick"), moment=datetime(2026, 7, 11))
    assert records.all() == ()


def test_many_are_written_whole_or_not_at_all(records):
    with pytest.raises(BadInput, match=r"flight\.landings_day"):
        records.append_many([flight(0), flight(1), flight(2, landings_day="one")])
    assert records.all() == ()
    assert [e.number for e in records.append_many([New(flight(0), "N0160T"), flight(1)], "N9")] == [1, 2]
    assert [e.aeroplane for e in records.all()] == ["N0160T", "N9"]


def test_a_correction_keeps_what_it_corrects(records):
    first = records.append(flight(), "N0160T")
    second = records.correct(1, flight(0, landings_day=2), note="two landings")
    assert second.corrects == 1 and second.aeroplane == "N0160T"
    assert records.all() == (first, second) and records.standing() == (second,)
    assert records.flight_totals().landings_day == 2


def test_a_withdrawal_says_why_and_can_itself_be_corrected(records):
    records.append(flight())
    with pytest.raises(BadInput, match="why"):
        records.withdraw(1, " ")
    records.withdraw(1, "entered twice")
    assert records.standing() == () and records.flights() == () and records.flight_totals().flights == 0
    records.correct(2, flight(), note="it was flown")
    assert [e.number for e in records.flights()] == [3]


def test_a_second_correction_of_the_same_entry_is_refused_and_names_the_first(records, tmp_path):
    records.append(flight())
    other = open_record(tmp_path)
    records.correct(1, flight(0, landings_day=2))
    for late in (lambda: other.correct(1, flight(0, landings_day=3)), lambda: other.withdraw(1, "wrong")):
        with pytest.raises(BadInput, match="corrected by entry 2 meanwhile"):
            late()
    assert len(other.all()) == 2
    other.close()


def test_a_correction_of_nothing_or_of_another_kind_is_refused(records):
    records.append(flight())
    with pytest.raises(BadInput, match="no entry 7"):
        records.correct(7, flight())
    with pytest.raises(BadInput, match="cannot be corrected by 'setting'"):
        records.correct(1, Setting("a", "b"))


@pytest.mark.parametrize("statement", ["UPDATE entries SET note = 'x'", "DELETE FROM entries", "UPDATE flights SET air_s = 0",
                                       "DELETE FROM flights"])
def test_the_database_itself_refuses_to_change_or_delete(records, statement):
    before = records.append(flight())
    with pytest.raises(BadInput, match="only added"), records.database.writing() as connection:
        connection.execute(text(statement))
    assert records.all() == (before,)


def test_what_a_check_refuses_makes_no_file(tmp_path):
    def never(entries):
        raise BadInput("no")

    records = open_record(tmp_path / "new")
    for late in (lambda: records.append(flight(0), check=never), lambda: records.correct(1, flight(0), check=never)):
        with pytest.raises(BadInput, match="no"):
            late()
    assert not (tmp_path / "new").exists()
    records.close()


def test_the_check_runs_again_where_another_program_wrote_between_check_and_write(tmp_path):
    asked, other = [], open_record(tmp_path)

    def check(entries):
        asked.append(len(entries))
        if len(asked) == 1:
            other.append(flight(0))

    records = open_record(tmp_path)
    records.append(flight(1), check=check)
    assert asked == [0, 1]
    records.append(flight(2), check=check)
    assert asked == [0, 1, 2]
    records.close()
    other.close()


def test_what_is_checked_is_checked_while_no_other_program_can_write(records, tmp_path):
    """The other program writes after this one has read and before it writes: the check sees it, and nothing is written."""
    other = open_record(tmp_path)
    assert records.standing() == other.standing() == ()

    def alone(entries):
        if entries:
            raise BadInput("another flight is there")

    other.append(flight(0), check=alone)
    for late in (lambda: records.append(flight(1), check=alone), lambda: records.append_many([flight(1), flight(2)], check=alone),
                 lambda: records.correct(1, flight(1), check=alone), lambda: records.withdraw(1, "wrong", check=alone)):
        with pytest.raises(BadInput, match="another flight"):
            late()
    assert len(records.all()) == len(other.all()) == 1
    records.append_many([flight(1), flight(2)], check=lambda entries: None)
    assert [len(r.all()) for r in (records, other)] == [3, 3]
    other.close()


@pytest.mark.parametrize(("body", "said"), [
    (flight(0, remarks="a\x1b[2Jb"), "flight remarks: .*ESC, U\\+001B"), (flight(0, pilot="own\u202er"), "flight pilot: .*U\\+202E"),
    (flight(0, crew=("a", "b\rc")), "flight crew: .*CARRIAGE RETURN ALONE"), (Setting("a\x9b", "b"), "setting name: "),
    (FuelAdded("left", 0.01, place="\u2066KBOI"), "fuel place: .*LEFT-TO-RIGHT ISOLATE"),
    (FuelAdded("left", 0.01, price=money("3", "US1")), "'US1' is no currency"),
    (FuelAdded("left", 0.01, price=money("3", "usd")), "'usd' is no currency")])
def test_hidden_characters_and_currencies_that_are_none_are_refused_by_field(records, body, said):
    with pytest.raises(BadInput, match=said) as refusal:
        records.append(body)
    assert str(refusal.value).isascii() and str(refusal.value).isprintable()
    assert records.all() == ()


def test_line_ends_tabs_and_other_alphabets_are_text(records):
    for remark in ("one\ntwo\r\nthree\tfour", "Å \U0001f6e9 \u05e9\u05dc\u05d5\u05dd"):
        assert records.append(flight(0, remarks=remark)).body.remarks == remark


def test_what_an_older_program_let_in_is_read_and_can_be_withdrawn(records, tmp_path):
    old = records.append(flight())
    other = open_record(tmp_path / "other")
    other.put_back([replace(old, body=flight(0, remarks="\x1b"))])
    assert other.entry(1).body.remarks == "\x1b"
    other.withdraw(1, "a hidden character")
    assert other.standing() == ()
    other.close()


@pytest.mark.parametrize("words", [{"aeroplane": "N\0"}, {"source": "\ud800"}, {"note": "x" * 2001}])
def test_texts_that_cannot_be_kept_are_refused(records, words):
    with pytest.raises(BadInput, match=next(iter(words))):
        records.append(flight(), **words)
    assert records.all() == ()


def test_kinds_are_asked_for_by_name_or_class_and_unknown_ones_refused(records):
    records.append_many([flight(), Setting("a", "b")])
    assert records.all("flight") == records.all(Flight) == records.all()[:1]
    with pytest.raises(BadInput, match="no kind"):
        records.all("wings")
    with pytest.raises(BadInput, match="1 or more"):
        records.flights(last=0)


def test_a_correction_that_moves_an_entry_out_of_the_time_asked_for_takes_it_out(records):
    records.append(flight(0))
    moved = flight(1000)
    records.correct(1, moved)
    day = flight(0).off_blocks.date()
    assert records.all(since=day, until=day + timedelta(days=1)) == ()
    assert [e.body for e in records.standing(since=moved.off_blocks)] == [moved]


def test_flights_are_the_latest_in_their_order_and_totals_are_theirs(records):
    records.append_many([flight(i) for i in (3, 1, 2, 0)], "N0160T")
    records.append(flight(9, take_off=None, landing=None, night_s=600.0), "N9")
    assert [e.body for e in records.flights(last=2)] == [flight(3), flight(9, take_off=None, landing=None, night_s=600.0)]
    assert [e.body for e in records.flights("N0160T", until=flight(2).off_blocks)] == [flight(0), flight(1)]
    totals = records.flight_totals()
    assert (totals.flights, totals.flight_s, totals.air_s, totals.without_air) == (5, 5 * 4200.0, 4 * 3420.0, 1)
    assert (totals.night_s, totals.landings_day, totals.landings_night) == (600.0, 5, 0)


OPERATIONS = st.lists(st.tuples(st.sampled_from(["add", "correct", "withdraw"]), st.integers(0, 30), st.integers(0, 8),
                                st.sampled_from(["N1", "N2"])), min_size=1, max_size=12)


@settings(max_examples=25, deadline=None)
@given(operations=OPERATIONS, since=st.integers(0, 30), length=st.integers(1, 30), aeroplane=st.sampled_from([None, "N1", "N2"]))
def test_what_stands_of_any_question_is_what_stands_of_the_whole(tmp_path_factory, operations, since, length, aeroplane):
    records = open_record(tmp_path_factory.mktemp("record"))
    for what, place, landings, registration in operations:
        free = [e.number for e in records.all() if e.number not in {x.corrects for x in records.all()}]
        body = flight(place, landings_day=landings)
        if what == "add" or not free:
            records.append(body, registration)
        elif what == "correct":
            records.correct(free[place % len(free)], body, aeroplane=registration)
        else:
            records.withdraw(free[place % len(free)], "wrong")
    start, end = flight(since).off_blocks, flight(since + length).off_blocks
    wanted = tuple(e for e in standing(records.all()) if start <= e.moment < end and aeroplane in (None, e.aeroplane))
    assert records.standing(aeroplane=aeroplane, since=start, until=end) == wanted
    assert records.flights(aeroplane, start, end) == wanted
    totals = records.flight_totals(aeroplane, start, end)
    assert (totals.flights, totals.landings_day) == (len(wanted), sum(e.body.landings_day for e in wanted))
    records.close()


def test_two_writers_at_once_lose_nothing_and_one_correction_wins(tmp_path):
    start = threading.Barrier(2, timeout=60)  # one that fails before it must not leave the other waiting for ever
    won, refused, failed = [], [], []

    def write(name):
        records = open_record(tmp_path)
        try:
            start.wait()
            for i in range(20):
                records.append(Setting(name, str(i)))
            start.wait()
            try:
                won.append(records.correct(1, Setting(name, "corrected")).number)
            except BadInput as error:
                refused.append(str(error))
        except BaseException as error:
            failed.append(error)
        finally:
            records.close()

    threads = [threading.Thread(target=write, args=(n,), daemon=True) for n in ("a", "b")]
    for t in threads:
        t.start()
    for t in threads:
        t.join(180)
    assert not any(t.is_alive() for t in threads), "a writer waits for ever"
    assert failed == [] and len(won) == 1 and len(refused) == 1 and "meanwhile" in refused[0]
    entries = open_record(tmp_path).all()
    assert [e.number for e in entries] == list(range(1, 42)) and len({e.uid for e in entries}) == 41
    for name in ("a", "b"):
        assert [e.body.value for e in entries if e.body.name == name and e.corrects is None] == [str(i) for i in range(20)]


def test_a_record_in_use_for_too_long_is_a_sentence_and_the_other_write_stays(tmp_path, monkeypatch):
    monkeypatch.setattr("ownship.store.database.BUSY_S", 0)
    one, other = open_record(tmp_path), open_record(tmp_path)
    one.append(Setting("a", "1"))
    with one.database.writing(), pytest.raises(BadInput, match="in use by another program"):
        other.append(Setting("a", "2"))
    assert other.append(Defect("tyre", "found", "worn")).number == 2
    one.close()
    other.close()
