"""Export to plain files and back: every entry of ten generated years the same, number, uid and moment; nothing by halves."""

import csv
import io
import tomllib
from datetime import UTC, datetime

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from made_up import ANY_BODY, ANY_TEXT, SEEN, SIMPLE, flight

from ownship.errors import BadInput
from ownship.ownership.entries import FuelSeen, Setting
from ownship.questions.keeping import export, read_export
from ownship.questions.record import NAME, open_record
from ownship.store.codec import KINDS, field_codecs
from ownship.store.exchange import LEAD, entries_hash, exported, file_of, imported
from ownship.store.records import New

NOW = datetime(2026, 7, 11, 15, tzinfo=UTC)
PLAIN = st.text(SEEN, max_size=20)
YEARS = st.lists(st.tuples(ANY_BODY, st.datetimes(datetime(2016, 1, 1), datetime(2025, 12, 31), timezones=st.just(UTC)), PLAIN, PLAIN,
                           st.sampled_from(["keep", "correct", "withdraw"])), max_size=40)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(YEARS)
def test_ten_years_exported_and_read_are_the_same_entries(tmp_path_factory, years):
    folder = tmp_path_factory.mktemp("years")
    records = open_record(folder / "one")
    written = records.append_many([New(body, plane, moment, source) for body, moment, plane, source, _ in years])
    for entry, (body, _, _, note, after) in zip(written, years, strict=True):
        if after == "correct":
            records.correct(entry.number, body, note=note)
        elif after == "withdraw":
            records.withdraw(entry.number, note + "wrong")
    told = export(str(folder / "out"), folder / "one")
    again = read_export(str(folder / "out"), folder / "two")
    copy = open_record(folder / "two")
    assert copy.all() == records.all() and [e.note for e in copy.all()] == [e.note for e in records.all()]
    assert again.sha256 == told.sha256 == entries_hash(copy.all())
    assert copy.flight_totals() == records.flight_totals()
    records.close()
    copy.close()


@given(st.lists(st.tuples(ANY_TEXT, ANY_TEXT), min_size=1, max_size=5))
def test_any_text_goes_through_the_files(texts):
    from ownship.ownership.entries import Entry

    entries = tuple(Entry(i + 1, f"u{i}", "", NOW, NOW, Setting(a, b)) for i, (a, b) in enumerate(texts))
    assert imported(exported(entries, NOW)) == entries


def test_no_field_of_a_body_has_the_name_of_a_leading_column():
    assert not {name for body in KINDS.values() for name in field_codecs(body)} & set(LEAD)


def test_no_field_may_be_text_or_nothing_for_an_empty_cell_could_be_either():
    from dataclasses import fields
    from typing import get_type_hints

    assert str in SIMPLE and not [(k, f.name) for k, body in KINDS.items() for f in fields(body)
                                  if get_type_hints(body)[f.name] == str | None]


@pytest.fixture
def out(tmp_path):
    """An export of three flights and a dipstick reading."""
    records = open_record(tmp_path / "one")
    records.append_many([flight(0), flight(1), flight(2)], "N0160T")
    records.append(FuelSeen("left", 0.0625, "dipstick"))
    records.close()
    export(str(tmp_path / "out"), tmp_path / "one")
    return tmp_path / "out"


def test_the_files_are_a_csv_a_kind_and_a_manifest(out):
    assert sorted(p.name for p in out.iterdir()) == ["flight.csv", "fuel-seen.csv", "record.toml"]
    rows = list(csv.DictReader(io.StringIO((out / "flight.csv").read_bytes().decode(), newline="")))
    assert tuple(rows[0])[:len(LEAD)] == LEAD
    assert (rows[0]["entry_moment"], rows[0]["origin"], rows[0]["tachometer_from_h"]) == ("2016-02-28T15:00:00.000000Z", "KBOI", "")
    assert rows[0]["fuel_before"].startswith('[{"tank": "left", "usable_m3": 0.0625')
    manifest = tomllib.loads((out / "record.toml").read_text())
    assert (manifest["entries"], manifest["schema"], manifest["format"]) == (4, 1, 1)
    assert len({file_of(k) for k in KINDS}) == len(KINDS)


def changed(path, old, new):
    data = path.read_bytes()
    assert old in data
    path.write_bytes(data.replace(old, new))


def drop_manifest(out):
    (out / "record.toml").unlink()


@pytest.mark.parametrize(("spoil", "words"), [
    (drop_manifest, "holds no record.toml"), (lambda o: (o / "flight.csv").unlink(), "flight.csv is missing"),
    (lambda o: changed(o / "flight.csv", b"KBOI", b"KBOJ"), "flight.csv was changed"),
    (lambda o: changed(o / "record.toml", b"schema = 1", b"schema = 2"), "newer Ownship"),
    (lambda o: changed(o / "record.toml", b"format = 1", b"format = 2"), "newer Ownship"),
    (lambda o: changed(o / "record.toml", b"flight.csv", b"wings.csv"), "no kind of entry"),
    (lambda o: changed(o / "record.toml", b"entries = 4", b"entries = 5"), "says 5"),
    (lambda o: changed(o / "record.toml", b"entries = 4", b"entries = four"), "not whole")])
def test_an_export_that_is_not_whole_is_refused_and_nothing_is_written(out, tmp_path, spoil, words):
    spoil(out)
    with pytest.raises(BadInput, match=words) as refused:
        read_export(str(out), tmp_path / "two")
    assert "\n" not in str(refused.value) and not (tmp_path / "two" / NAME).exists()


def with_csv(text, name="setting.csv", count=1):
    import hashlib

    data = text.encode() if isinstance(text, str) else text
    return {name: data, "record.toml": (f'format = 1\nschema = 1\nentries = {count}\n[files."{name}"]\n'
                                        f'sha256 = "{hashlib.sha256(data).hexdigest()}"\n').encode()}


HEAD = ",".join((*LEAD, "name", "value")) + "\r\n"
MOMENT = "2026-07-11T15:00:00.000000Z"
ROW = f"1,u,,{MOMENT},{MOMENT},,false,owner,,a,b\r\n"


@pytest.mark.parametrize(("text", "count"), [
    ("", 1), ("a,b\r\n", 1), (HEAD + ROW + "1,u", 1), (HEAD + ROW.replace("false", "no"), 1), (HEAD + ROW.replace("1,u", "x,u"), 1),
    (HEAD + ROW.replace("15:00:00.000000Z", "25:00:00.000000Z"), 1), (HEAD + ROW + ROW, 2), (HEAD + ROW.replace(",,false", ",7,false"), 1),
    (HEAD + ROW.replace(",,false", ",1,false"), 1), (HEAD + ROW.replace("1,u", "0,u"), 1), (HEAD + '"' + ROW, 1), (b"\xff\xfe" + HEAD.encode(), 1),
    (HEAD.replace("value", "worth") + ROW, 1)])
def test_rows_that_are_no_entries_are_refused(text, count):
    assert len(imported(with_csv(HEAD + ROW))) == 1
    with pytest.raises(BadInput):
        imported(with_csv(text, count=count))


def test_an_export_is_read_into_an_empty_record_only_and_written_into_an_empty_folder_only(out, tmp_path):
    with pytest.raises(BadInput, match="empty one only"):
        read_export(str(out), tmp_path / "one")
    with pytest.raises(BadInput, match="new or an empty folder"):
        export(str(out), tmp_path / "one")
    with pytest.raises(BadInput, match="no folder"):
        read_export(str(tmp_path / "nowhere"), tmp_path / "two")
    with pytest.raises(BadInput, match="does not exist"):
        export(str(tmp_path / "no" / "out"), tmp_path / "one")


def test_an_empty_record_exports_and_reads_as_empty(tmp_path):
    assert export(str(tmp_path / "out"), tmp_path / "one").entries == 0
    assert read_export(str(tmp_path / "out"), tmp_path / "two").entries == 0
