"""`ownship log` as a pilot types it: added, imported, exported, corrected, withdrawn, from a track or a plan."""

import json
from datetime import UTC, date, datetime, timedelta

import pytest
from commands import run

from ownship.ownership.entries import AeroplaneRevision, Flight, Pilot, Setting
from ownship.questions.check import demo_aeroplane, demo_flight
from ownship.questions.record import open_record

FIRST = ("log", "add", "--aeroplane", "N0160T", "--from", "KBOI", "--to", "KU79", "--off-blocks", "2026-07-11T15:00-06:00",
         "--on-blocks", "2026-07-11T16:05-06:00")
CSV = ("Day,Reg,From,To,Out,In,Ldg,Who,Paper\n"
       "03/04/2026,N0160T,KBOI,KMYL,09:00,10:00,1,é owner,7\n"
       "13/04/2026,N0160T,KMYL,KBOI,21:30,22:30,1,é owner,7\n")
MAPS = tuple(x for m in ("Day=date", "Reg=aeroplane", "From=origin", "To=destination", "Out=off_blocks", "In=on_blocks",
                         "Ldg=landings", "Who=pilot") for x in ("--map", m))


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "data"))
    return tmp_path / "data"


def told(capsys, *words):
    code, out, err = run(capsys, *words, "--json")
    assert (code, err) == (0, "")
    return json.loads(out)


def refused(capsys, *words):
    code, out, err = run(capsys, *words)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    return err


def kept(kind=None):
    records = open_record()
    try:
        return records.all(kind)
    finally:
        records.close()


def flights():
    records = open_record()
    try:
        return [(e.aeroplane, e.body) for e in records.standing(Flight)]
    finally:
        records.close()


# ---- one flight


def test_an_empty_record_answers_and_makes_nothing(capsys, folder):
    for words in (("log",), ("log", "list"), ("log", "defects")):
        assert told(capsys, *words)["sentence"].startswith("No ")
        assert run(capsys, *words)[0] == 0
    assert not folder.exists()


def test_a_flight_is_added_with_air_time_and_flight_time_apart(capsys):
    told(capsys, *FIRST, "--take-off", "2026-07-11T15:08-06:00", "--landing", "2026-07-11T15:58-06:00", "--landings", "1",
         "--tachometer", "1500.0 1500.9", "--passengers", "2")
    answer = told(capsys, "log")
    flight = answer["flights"][0]
    assert (flight["flight_s"], flight["air_s"]) == (3900, 3000)
    assert (flight["landings_day"], flight["landings_night"]) == (1, 0)
    assert answer["totals"]["air_s"] == 3000
    assert answer["meter_ratios"][0]["ratio_1"] == pytest.approx(3000 / 3600 / 0.9)
    code, out, _ = run(capsys, "log")
    assert code == 0
    assert "air time, surface to surface: 0.83 h" in out


def test_a_landing_in_the_night_of_the_place_is_one_by_night(capsys):
    """Boise, 11 July 2026: sunset about 21:26 local (computed), so 23:00 is past sunset + 1 h, and 21:50 is not."""
    for day, clock, night in ((11, "23:00", 1), (12, "21:50", 0)):
        told(capsys, "log", "add", "--aeroplane", "N0160T", "--from", "KBOI", "--to", "KBOI", "--off-blocks",
             f"2026-07-{day}T20:30-06:00", "--on-blocks", f"2026-07-{day}T{clock}-06:00", "--landings", "1", "--landing",
             f"2026-07-{day}T{clock}-06:00")
        assert told(capsys, "log")["flights"][-1]["landings_night"] == night
    night = told(capsys, "log")["flights"][0]["night_s"]
    assert 3000 < night < 4200  # civil dusk about 22:00


def test_a_file_adds_the_same_flight_as_options(capsys, tmp_path):
    file = tmp_path / "flown.toml"
    file.write_text('aeroplane = "N0160T"\norigin = "KBOI"\ndestination = "KU79"\noff_blocks = 2026-07-11T15:00:00-06:00\n'
                    'on_blocks = "2026-07-11T16:05-06:00"\nlandings_day = 1\nvia = ["KMYL"]\nfuel_after = ["left=5 usgal dipstick"]\n')
    told(capsys, "log", "add", str(file))
    told(capsys, "log", "withdraw", "1", "--why", "again by options")
    told(capsys, *FIRST, "--via", "KMYL", "--fuel-after", "left=5 usgal dipstick", "--field", "landings_day=1")
    first, _, second = (e.body for e in kept())
    assert first == second
    file.write_text('origin = "KBOI"\nhobbs = 3\n')
    assert "line 2" in refused(capsys, "log", "add", str(file))


@pytest.mark.parametrize(("words", "said"), [
    (("--landing", "2026-07-11T15:05-06:00", "--take-off", "2026-07-11T15:08-06:00"), "is not after the take-off"),
    (("--take-off", "2026-07-11T14:59-06:00"), "air time cannot exceed flight time"),
    (("--tachometer", "1500.9 1500.0"), "tachometer runs back"),
    (("--tachometer", "1500.9"), "not two readings"),
    (("--tachometer", "1,500 1,501"), "means one thing only"),
    (("--field", "hobbs=3"), "is no FIELD=VALUE"),
    (("--role", "captain"), "is not one of"),
    (("--field", "landings_day=-1"), "not believable"),
    (("--fuel-after", "left=5 dipstick"), "has no unit"),
    (("--fuel-after", "5 usgal"), "is not readable"),
    (("--landings", "1", "--field", "landings_day=1"), "one count"),
    (("--field", "landings_night=3"), "there is no night at KBOI, KU79"), (("--field", "night=0:30"), "night time noted"),
    (("--field", "cross_country=1e300 m"), "not believable"), (("--passengers", "40"), "write 0 to 19"),
    (("--remarks", "a\x1b[2Jb"), "remarks: 'a\\x1b[2Jb' holds a hidden character (ESC, U+001B)"),
    (("--pilot", "own\u202er"), "pilot: 'own\\u202er' holds a hidden character (RIGHT-TO-LEFT OVERRIDE"),
    (("--tachometer", "-1 2"), "not possible"),
    (("--zone", "Mars/Base"), "is no zone"),
])
def test_bad_input_is_a_sentence_and_writes_nothing(capsys, words, said):
    assert said in refused(capsys, *FIRST, *words)
    assert kept() == ()


@pytest.mark.parametrize(("off", "on", "said"), [
    ("2999-07-11T15:00Z", "2999-07-11T16:00Z", "are allowed"), ("0001-01-01T00:00+10:00", "0001-01-01T01:00+10:00", "are allowed"),
    ("2199-07-11T15:00Z", "2199-07-11T16:00Z", "lies ahead"), ("2026-07-11T15:00Z", "2036-07-11T16:00Z", "24 h are allowed")])
def test_years_that_cannot_be(capsys, off, on, said):
    assert said in refused(capsys, *FIRST[:8], "--off-blocks", off, "--on-blocks", on)


def test_a_flight_needs_its_blocks_its_places_and_its_aeroplane(capsys):
    assert "off_blocks, and on_blocks or flight_time, are needed" in refused(capsys, *FIRST[:8])
    assert "origin is missing" in refused(capsys, "log", "add", "--to", "KU79")
    assert "knows no aeroplane yet" in refused(capsys, "log", "add", *FIRST[4:])
    told(capsys, *FIRST)
    told(capsys, "log", "add", "--from", "KU79", "--to", "KBOI", "--off-blocks", "2026-07-12T15:00-06:00", "--on-blocks",
         "2026-07-12T16:00-06:00")
    assert flights()[1][0] == "N0160T"


def test_more_fuel_than_the_tanks_hold_is_refused(capsys):
    records = open_record()
    records.append(AeroplaneRevision(date(2020, 1, 1), demo_aeroplane()), "N0160T")
    records.close()
    assert "more than the left tank holds" in refused(capsys, *FIRST, "--fuel-after", "left=25 usgal dipstick")
    assert "no tank 'centre'" in refused(capsys, *FIRST, "--fuel-after", "centre=2 usgal dipstick")


def test_more_people_than_seats_are_refused_where_the_record_knows_the_seats(capsys):
    told(capsys, *FIRST, "--passengers", "4")  # nothing is known of the seats yet
    records = open_record()
    records.append(AeroplaneRevision(date(2020, 1, 1), demo_aeroplane()), "N0160T")
    records.close()
    again = (*FIRST[:8], "--off-blocks", "2026-07-12T15:00-06:00", "--on-blocks", "2026-07-12T16:05-06:00", "--pilot", "owner")
    assert "5 people aboard, the pilot among them, are more than the 4 seats of N0160T" in refused(capsys, *again, "--passengers", "4")
    assert "5 people aboard" in refused(capsys, *again, "--passengers", "3", "--field", "crew=another")
    told(capsys, *again, "--passengers", "3", "--field", "crew=Owner")


def test_a_mistyped_registration_is_asked_about_and_another_one_told(capsys, tmp_path):
    told(capsys, *FIRST)
    again = ("log", "add", *FIRST[4:8], "--off-blocks", "2026-07-12T15:00-06:00", "--on-blocks", "2026-07-12T16:05-06:00")
    asked = "N0161T is not an aeroplane of the record, and N0160T is; correct it, or say --other-aeroplane"
    assert asked in refused(capsys, *again, "--aeroplane", "N0161T")
    assert asked in refused(capsys, "log", "correct", "1", "aeroplane=N0161T")
    assert asked in refused(capsys, "log", "defect", "radio", "--state", "found", "--words", "dead", "--aeroplane", "N0161T")
    assert asked in refused(capsys, "log", "instrument", "tachometer", "--old", "1501.0", "--aeroplane", "N0161T")
    assert asked in refused(capsys, "log", "hand-over", "--to", "partner", "--aeroplane", "N0161T")
    assert asked in refused(capsys, "fuel", "oil", "--amount", "1 qt", "--aeroplane", "N0161T")
    path = write(tmp_path, CSV.replace("N0160T", "N0161T"))
    assert asked in refused(capsys, "log", "import", path, *MAPS, "--zone", "place")
    assert len(kept()) == 1
    told(capsys, *again[:4], "--aeroplane", "n0-160t", "--off-blocks", "2026-07-13T15:00-06:00", "--on-blocks",
         "2026-07-13T16:05-06:00", "--to", "KU79")
    assert {name for name, _ in flights()} == {"N0160T"}
    unlike = "N1234 is not an aeroplane of the record; kept as a flight in another aeroplane"
    assert told(capsys, *again, "--aeroplane", "N1234")["told"] == [unlike]
    other = told(capsys, "log", "import", path, *MAPS, "--zone", "place", "--other-aeroplane")
    assert "N0161T is not an aeroplane of the record; kept as a flight in another aeroplane" in other["told"]
    assert {name for name, _ in flights()} == {"N0160T", "N1234", "N0161T"}
    told(capsys, "log", "defect", "radio", "--state", "found", "--words", "dead", "--aeroplane", "N0161T")  # known from now on


def test_a_csv_with_hidden_characters_in_a_cell_or_in_the_name_of_a_column_is_refused(capsys, tmp_path):
    for text, said in ((CSV.replace("é owner", "own\u202er"), "pilot: "), (CSV.replace("Paper", "Pa\x1bper"), "the name of a column: ")):
        assert said in refused(capsys, "log", "import", write(tmp_path, text), *MAPS, "--zone", "place")
    assert kept() == ()


def test_night_is_taken_as_typed_where_the_place_is_in_no_data(capsys):
    words = ("log", "add", "--aeroplane", "N0160T", "--from", "ZZ99", "--to", "ZZ99", *FIRST[8:], "--field", "landings_night=3")
    assert any("landings by night as typed" in x for x in told(capsys, *words)["told"])
    assert flights()[0][1].landings_night == 3


def test_passengers_that_nobody_noted_are_not_none(capsys):
    told(capsys, *FIRST)
    told(capsys, "log", "correct", "1", "passengers=0")
    assert [e.body.passengers for e in kept()] == [None, 0]


def test_one_pilot_does_not_fly_two_aeroplanes_at_once(capsys, tmp_path):
    told(capsys, *FIRST, "--pilot", "A. Owner")
    other = [*FIRST[:3], "N77ZZ", *FIRST[4:], "--other-aeroplane"]
    said = refused(capsys, *other, "--pilot", "a.  owner")
    assert "a. owner flew N0160T from 2026-07-11 21:00Z to 22:05Z (entry 1), and cannot fly N77ZZ meanwhile" in said
    told(capsys, *other, "--pilot", "B. Partner")
    assert "cannot fly N77ZZ meanwhile" in refused(capsys, "log", "correct", "2", "pilot=A. Owner")
    told(capsys, "log", "correct", "1", "pilot=a. owner")  # beside itself it is no other
    told(capsys, *[x.replace("T15:00", "T16:05").replace("T16:05-06:00", "T16:05-06:00") if x == FIRST[9] else
                   x.replace("T16:05", "T17:05") if x == FIRST[11] else x for x in other], "--pilot", "A. Owner")
    path = tmp_path / "two.csv"
    path.write_text(CSV + "13/04/2026,N0161T,KMYL,KBOI,22:00,22:20,1,é owner,7\n", encoding="utf-8")
    code, _, err = run(capsys, "log", "import", str(path), *MAPS, "--zone", "place", "--dates", "dmy", "--other-aeroplane")
    assert code == 2 and "line 4: é owner flew N0160T" in err and "(line 3)" in err


def test_a_replaced_tachometer_lets_the_readings_begin_again(capsys):
    told(capsys, *FIRST, "--tachometer", "1500.0 1500.9")
    again = ("log", "add", "--from", "KU79", "--to", "KBOI", "--off-blocks", "2026-07-14T15:00-06:00", "--on-blocks",
             "2026-07-14T16:00-06:00", "--tachometer", "0.1 1.0")
    assert "tachometer runs back" in refused(capsys, *again)
    assert "less than the tachometer's last reading" in refused(capsys, "log", "instrument", "tachometer", "--old", "1400", "--at",
                                                                "2026-07-13T12:00Z")
    told(capsys, "log", "instrument", "tachometer", "--old", "1501.0", "--at", "2026-07-13T12:00Z")
    told(capsys, *again)
    assert "is no meter" in refused(capsys, "log", "instrument", "clock", "--old", "1")


def test_the_only_pilot_of_the_record_flew_what_names_nobody(capsys, tmp_path):
    records = open_record()
    records.append(Pilot("owner"))
    records.close()
    assert "pilot: owner, the only one of the record" in told(capsys, *FIRST)["told"]
    told(capsys, "log", "add", "--from", "KU79", "--to", "KBOI", "--off-blocks", "2026-07-12T15:00-06:00", "--on-blocks",
         "2026-07-12T16:00-06:00", "--pilot", "partner")
    path = write(tmp_path, CSV.replace(",Who", ",x").replace(",é owner", ","))
    answer = told(capsys, "log", "import", path, *MAPS[:-2], "--zone", "place")
    assert "pilot: owner, the only one of the record" in answer["told"]
    assert sorted(f.pilot for _, f in flights()) == ["owner", "owner", "owner", "partner"]


# ---- corrections


def test_a_correction_replaces_a_field_and_keeps_the_old_entry(capsys):
    told(capsys, *FIRST)
    assert "corrects entry 1" in told(capsys, "log", "correct", "1", "landings_day=2", "remarks=two", "--why", "forgot one")["sentence"]
    assert [f.landings_day for _, f in flights()] == [2]
    assert len(kept()) == 2
    assert "corrected or withdrawn already, by entry 2" in refused(capsys, "log", "correct", "1", "landings_day=3")
    assert "air time" in refused(capsys, "log", "correct", "2", "take_off=2026-07-11T10:00Z")
    told(capsys, "log", "correct", "2", "remarks=")
    assert flights()[0][1].remarks == ""
    assert "no entry 9" in refused(capsys, "log", "correct", "9", "landings_day=3")
    assert "Nothing to correct" in refused(capsys, "log", "correct", "3")


def test_a_withdrawn_flight_no_longer_counts_and_needs_a_reason(capsys):
    told(capsys, *FIRST)
    assert "without a reason" in refused(capsys, "log", "withdraw", "1")
    told(capsys, "log", "withdraw", "1", "--why", "another aeroplane")
    assert told(capsys, "log")["flights"] == []
    assert len(kept()) == 2


# ---- CSV


def write(tmp_path, text=CSV, encoding="utf-8", name="theirs.csv"):
    path = tmp_path / name
    path.write_bytes(text.encode(encoding))
    return str(path)


def test_a_mapping_is_asked_once_and_remembered(capsys, tmp_path):
    path = write(tmp_path)
    assert "no column is mapped to off_blocks" in refused(capsys, "log", "import", path)
    assert "has no zone" in refused(capsys, "log", "import", path, *MAPS)
    assert kept() == ()
    answer = told(capsys, "log", "import", path, *MAPS, "--zone", "place")
    assert answer["sentence"].endswith("2 flights written.")
    assert "columns that nobody reads: Paper" in answer["told"]
    later = CSV.replace("/04/", "/05/")
    assert "2 flights written" in told(capsys, "log", "import", write(tmp_path, later))["sentence"]
    assert len(kept(Setting)) == 1
    assert "as last time" in told(capsys, "log", "import", path)["told"][-1]
    flown = flights()
    assert len(flown) == 4
    assert flown[0][1].off_blocks == datetime(2026, 4, 3, 15, tzinfo=UTC)  # 09:00 in Boise; day first by the other row
    assert flown[0][1].pilot == "é owner"
    assert (flown[0][1].landings_day, flown[1][1].landings_night) == (1, 1)
    assert flown[1][1].night_s == 3600


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_odd_encodings_import_the_same(capsys, tmp_path, encoding):
    told(capsys, "log", "import", write(tmp_path, encoding=encoding), *MAPS, "--zone", "place")
    assert flights()[0][1].pilot == "é owner"


def test_the_same_file_twice_writes_nothing_new(capsys, tmp_path):
    path = write(tmp_path)
    told(capsys, "log", "import", path, *MAPS, "--zone", "place")
    before = len(kept())
    assert "2 were in the record already" in told(capsys, "log", "import", path)["sentence"]
    assert len(kept()) == before


@pytest.mark.parametrize(("old", "new", "said"), [
    ("10:00,1", "08:30,1", "line 2: on blocks 08:30 is before"),
    ("13/04/2026,N0160T,KMYL,KBOI,21:30", "03/04/2026,N0160T,KMYL,KBOI,09:30", "can be two days"),
    ("13/04/2026", "13/04/26", "line 3: date '13/04/26'"),
    ("KBOI,KMYL", "KBOI,ZZ99", "the zone of ZZ99 is not known"),
    (",21:30,22:30", ",21:30,21:99", "line 3"),
])
def test_a_bad_row_is_named_and_nothing_is_written(capsys, tmp_path, old, new, said):
    path = write(tmp_path, CSV.replace(old, new))
    assert said in refused(capsys, "log", "import", path, *MAPS, "--zone", "place")
    assert kept() == ()


def test_rows_that_overlap_are_named_by_their_lines(capsys, tmp_path):
    text = CSV + "13/04/2026,N0160T,KBOI,KBOI,22:00,23:00,1,x,7\n"
    said = refused(capsys, "log", "import", write(tmp_path, text), *MAPS, "--zone", "place")
    assert "line 4: the flight from 2026-04-14 04:00Z overlaps the one of line 3" in said
    assert kept() == ()


def test_a_million_rows_are_one_sentence(capsys, tmp_path):
    path = write(tmp_path, "Day,Out\n" + "2026-01-01,10:00\n" * 1_000_000)
    assert "more than 100,000 rows" in refused(capsys, "log", "import", path)


def test_files_that_are_none(capsys, tmp_path):
    assert "is no file" in refused(capsys, "log", "import", str(tmp_path))
    assert "is no file" in refused(capsys, "log", "import", str(tmp_path / "absent.csv"))
    assert "cannot be the export" in refused(capsys, "log", "export", str(tmp_path))


def test_an_export_imports_to_the_same_flights(capsys, tmp_path, monkeypatch):
    told(capsys, "log", "import", write(tmp_path), *MAPS, "--zone", "place")
    told(capsys, *FIRST, "--tachometer", "1500.05 1500.9", "--remarks", 'said "hello",\nleft', "--fuel-before",
         "left=10 usgal dipstick", "--fuel-before", "right=3.3 usgal gauge")
    before = flights()
    path = str(tmp_path / "all.csv")
    assert "3 flights are in" in told(capsys, "log", "export", path)["sentence"]
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "other"))
    told(capsys, "log", "import", path)
    assert flights() == before


def test_an_export_replaces_a_log_of_ours_and_no_other_file_unasked(capsys, tmp_path):
    told(capsys, *FIRST)
    path = tmp_path / "all.csv"
    for words in ((), (), ("--aeroplane", "N0160T")):
        assert "1 flight is in" in told(capsys, "log", "export", str(path), *words)["sentence"]
    for foreign in (CSV, "", "number,aeroplane\n1,2\n"):
        path.write_text(foreign)
        assert "is there already and is no exported log; name another file, or say --replace" in refused(
            capsys, "log", "export", str(path))
        assert path.read_text() == foreign
    told(capsys, "log", "export", str(path), "--replace")
    assert path.read_bytes().startswith(b"number,aeroplane,off_blocks")


# ---- tracks and plans


def track(minutes=60, start="2026-07-11T21:00:00Z", first=0):
    """A made track, a point every 10 s: a minute at rest at Boise, taxi to 10 min, south at 50 m/s and back, the same again."""
    begin, end = datetime.fromisoformat(start), minutes * 60
    points, south_m = [], 0.0
    for t in range(0, end + 1, 10):
        moment = (begin + timedelta(seconds=t)).isoformat().replace("+00:00", "Z")
        if t >= first:
            points.append(f'<trkpt lat="{43.5644 - south_m / 111_000:.6f}" lon="-116.2228"><ele>900</ele><time>{moment}</time></trkpt>')
        edge = min(t, end - 10 - t)
        speed = 0.0 if edge < 60 else 4.0 if edge < 600 else 50.0
        south_m += 10 * speed * (1 if t < end / 2 else -1)
    return ('<?xml version="1.0"?><gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1"><metadata>'
            f'<time>2020-01-01T00:00:00Z</time></metadata><trk><trkseg>{"".join(points)}</trkseg></trk></gpx>')


def test_a_track_gives_blocks_take_off_landing_and_places(capsys, tmp_path):
    path = tmp_path / "flown.gpx"
    path.write_text(track())
    answer = told(capsys, "log", "from-track", str(path), "--aeroplane", "N0160T")
    assert any("half a minute" in x for x in answer["told"])
    f = flights()[0][1]
    assert (f.origin, f.destination) == ("KBOI", "KBOI")
    assert abs((f.take_off - datetime(2026, 7, 11, 21, 10, tzinfo=UTC)).total_seconds()) <= 30
    assert abs((f.landing - datetime(2026, 7, 11, 21, 50, tzinfo=UTC)).total_seconds()) <= 30
    assert f.landings_day == 1
    assert abs((f.off_blocks - datetime(2026, 7, 11, 21, 1, tzinfo=UTC)).total_seconds()) <= 20
    assert abs((f.on_blocks - datetime(2026, 7, 11, 21, 59, tzinfo=UTC)).total_seconds()) <= 20


def test_tracks_that_hold_no_whole_flight_are_refused(capsys, tmp_path):
    path = tmp_path / "part.gpx"
    path.write_text(track(first=1200))
    assert "begins in flight" in refused(capsys, "log", "from-track", str(path), "--aeroplane", "N0160T")
    path.write_text(track(minutes=20))
    assert "holds no flight" in refused(capsys, "log", "from-track", str(path), "--aeroplane", "N0160T")
    assert kept() == ()


def test_a_plan_gives_places_and_fuel_and_asks_when_it_ended(capsys, tmp_path):
    records = open_record()
    records.append(AeroplaneRevision(date(2020, 1, 1), demo_aeroplane()), "N0160T")
    records.close()
    path = tmp_path / "flight.toml"
    path.write_text('aeroplane = "N0160T"\n' + demo_flight(), encoding="utf-8")
    assert "say --on-blocks" in refused(capsys, "log", "from-plan", str(path))
    told(capsys, "log", "from-plan", str(path), "--on-blocks", "2026-07-11T16:20-06:00", "--landings", "1")
    aeroplane, f = flights()[0]
    assert (aeroplane, f.origin, f.via, f.destination) == ("N0160T", "KBOI", ("U88",), "KU79")
    assert f.off_blocks == datetime(2026, 7, 11, 21, tzinfo=UTC)
    assert [(t.tank, round(t.usable_m3 / 0.00378541, 1), t.known_by) for t in f.fuel_before] == [
        ("left", 19.0, "mark"), ("right", 19.0, "mark")]


# ---- defects and hand-over


def test_a_defect_from_found_to_rectified(capsys):
    told(capsys, *FIRST)
    told(capsys, "log", "defect", "radio 2", "--state", "found", "--words", "no side tone", "--uses", "IFR")
    assert told(capsys, "log")["open_defects"][0]["name"] == "radio 2"
    assert "1 open defect" in told(capsys, "log", "defects")["sentence"]
    assert told(capsys, "log", "defects", "--uses", "VFR")["defects"] == []
    assert "open already" in refused(capsys, "log", "defect", "radio 2", "--state", "found", "--words", "x")
    told(capsys, "log", "defect", "radio 2", "--state", "deferred", "--words", "placarded", "--until", "2099-01-01")
    found = told(capsys, "log", "defects")["defects"][0]
    assert (found["state"], found["until"], found["uses"]) == ("deferred", "2099-01-01", ["IFR"])
    told(capsys, "log", "defect", "radio 2", "--state", "rectified", "--words", "new jack")
    assert told(capsys, "log", "defects")["defects"] == []


@pytest.mark.parametrize(("words", "said"), [
    (("--state", "broken", "--words", "x"), "is not one of: found"), (("--state", "found"), "needs a short name"),
    (("--state", "rectified", "--words", "x"), "no open defect"), (("--state", "found", "--words", "x", "--uses", "day"), "--uses"),
    (("--state", "found", "--words", "x", "--until", "2026-01-01"), "deferred defect only"),
    (("--state", "found", "--words", "x", "--until", "soon"), "is no date")])
def test_steps_that_are_none(capsys, words, said):
    assert said in refused(capsys, "log", "defect", "radio", *words, "--aeroplane", "N0160T")
    assert kept() == ()


def test_the_hand_over_sheet_settles_by_the_named_meter(capsys):
    told(capsys, *FIRST)
    first = told(capsys, "log", "hand-over", "--to", "partner B", "--by", "partner A", "--reading", "1500", "--at",
                 "2026-07-01T12:00Z")
    assert first["settlement"]["hours"] is None
    sheet = told(capsys, "log", "hand-over", "--to", "partner A", "--by", "partner B", "--reading", "1504.35", "--rate",
                 "95.00 USD", "--oil", "7 qt", "--keys", "in the box", "--at", "2026-07-20T12:00Z")
    assert sheet["settlement"]["owed"] == {"amount": "413.25", "currency": "USD"}
    assert (sheet["flights"], sheet["oil"], sheet["tied_down"]) == (1, "7 qt", "not noted")
    assert sheet["fuel"] == ["not known: the record keeps no tanks of this aeroplane"]
    code, out, _ = run(capsys, "log", "hand-over", "--to", "x", "--meter", "hour meter")
    assert code == 0
    assert "owed: not known" in out
    assert "less than at the hand-over before" in refused(capsys, "log", "hand-over", "--to", "x", "--reading", "3", "--at",
                                                          "2026-07-21T12:00Z")
