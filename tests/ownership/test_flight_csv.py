"""A log as CSV: encodings, mapping, refusals with their line, and the way there and back."""

from datetime import UTC, datetime, timedelta

import pytest

from ownship.errors import BadInput
from ownship.ownership.cell_times import Meaning
from ownship.ownership.entries import Approach, Flight, TankContents
from ownship.ownership.flight_csv import Mapped, decoded, fields_of, mapping_of, read_log, rows_of, written

HEAD = "Day,Reg,From,To,Out,In,Ldg D,Note\n"
MAP = mapping_of(["Day=date", "Reg=aeroplane", "From=origin", "To=destination", "Out=off_blocks", "In=on_blocks",
                  "Ldg D=landings_day", "Note=remarks"])
ROW = "2026-07-11,n0160t,kboi,ku79,15:00,16:05,1,Café é\n"


def read(text, **rest):
    return read_log(text, "log.csv", Mapped(MAP, Meaning("America/Boise"), **rest))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_every_usual_encoding_reads_the_same(encoding):
    found = read(decoded((HEAD + ROW).encode(encoding), "log.csv")).flights
    assert [(p.where, p.aeroplane, p.flight.origin, p.flight.remarks) for p in found] == [
        ("line 2", "N0160T", "KBOI", "Café é")]
    assert found[0].flight.off_blocks == datetime(2026, 7, 11, 21, tzinfo=UTC)


@pytest.mark.parametrize("data", [b"\x81\x8d\x8f", b"PK\x03\x04\x00\x00\x01\x02\x00", b"", b"\xff\xfe\x00", b"   \n"])
def test_what_is_no_text_is_one_sentence(data):
    with pytest.raises(BadInput, match=r"log\.csv"):
        read(decoded(data, "log.csv"))


@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_semicolons_and_tabs(delimiter):
    text = (HEAD + ROW).replace(",", delimiter)
    assert read(text).flights[0].flight.destination == "KU79"


def test_a_refusal_names_three_lines_and_counts_the_rest():
    bad = ROW.replace("15:00", "25:00")
    with pytest.raises(BadInput, match=r"nothing was written.*line 3: off_blocks '25:00'.*line 5.*line 6.*And 1 more") as said:
        read(HEAD + ROW + bad + ROW + bad * 3)
    assert "line 4" not in str(said.value)


def test_lines_are_those_of_the_file_also_behind_a_quoted_line_end():
    text = HEAD + ROW.replace("Café é", '"two\nlines"') + "\n" + ROW.replace("16:05", "x")
    with pytest.raises(BadInput, match="line 5: on_blocks 'x'"):
        read(text)


@pytest.mark.parametrize(("text", "words"), [
    ("a,a\n1,2\n", "stands twice"), (HEAD, "holds no flight"), (HEAD + ROW.strip() + ",extra\n", "line 2: 9 cells and 8 columns"),
    (HEAD + '"open\n', "no readable CSV")])
def test_shapes_that_are_no_log(text, words):
    with pytest.raises(BadInput, match=words):
        read(text)


def test_more_rows_than_a_lifetime_is_a_sentence():
    with pytest.raises(BadInput, match="more than 100,000 rows"):
        rows_of("a\n" + "1\n" * 1_000_000, "log.csv")


def test_columns_that_nobody_mapped_are_told_and_lacking_ones_refused():
    fields, left_out = fields_of(["Day", "off_blocks", "on_blocks", "origin", "destination", "Hobbs", "number"], {}, "log.csv", "N1")
    assert left_out == ["Day", "Hobbs"]
    assert fields["origin"] == "origin"
    with pytest.raises(BadInput, match=r"no column is mapped to off_blocks, origin, destination, on_blocks \(or flight_time\), aer"):
        fields_of(["Day"], {}, "log.csv")
    with pytest.raises(BadInput, match="both mapped to origin"):
        fields_of(["A", "origin"], {"A": "origin"}, "log.csv")


@pytest.mark.parametrize("word", ["Day", "Day=day", "=date"])
def test_mappings_that_are_none(word):
    with pytest.raises(BadInput, match="--map"):
        mapping_of([word])


def test_one_row_settles_the_order_of_the_whole_column():
    text = HEAD + ROW.replace("2026-07-11", "03/04/2026") + ROW.replace("2026-07-11", "13/04/2026")
    found = read(text)
    assert found.dates == "dmy"
    assert found.flights[0].flight.off_blocks.month == 4
    with pytest.raises(BadInput, match="line 2: date '03/04/2026' can be two days"):
        read(HEAD + ROW.replace("2026-07-11", "03/04/2026"))


def test_night_that_is_not_known_is_told_and_counts_as_none():
    found = read(HEAD + ROW)
    assert found.told == (("night time of KBOI to KU79 is not known and counts as none", 1),)
    assert found.flights[0].flight.night_s == 0


def test_what_is_written_reads_back_the_same():
    begin = datetime(2026, 7, 11, 21, 0, 0, 5, tzinfo=UTC)
    f = Flight(begin, begin + timedelta(hours=1), "KBOI", "KU79", tachometer_from_h=1 / 3, landings_night=2, remarks='a "b",\r\nc;d',
               crew=("A; B", "C"), approaches=(Approach("ILS or LOC", "KBOI", "simulated"), Approach("a@b", "", "x")),
               fuel_before=(TankContents("left", 0.1, "flow meter"),), phases_s=(("climb", 600.5),), night_s=3599.9)
    found = read_log(written([(4, "N0160T", f), (9, "N0161T", f)]), "log.csv", Mapped({})).flights
    assert [(p.aeroplane, p.flight) for p in found] == [("N0160T", f), ("N0161T", f)]
