"""`ownship data import`: a folder of tiles and aerodrome files brought in, and what is brought in is used."""

import io
import json
import os
import zipfile
from datetime import UTC, datetime

import numpy as np
import pytest
from commands import run

from ownship.errors import UnreadableFile
from ownship.questions import check as checking
from ownship.questions.check import check, demo_aeroplane, demo_flight, situation

AIRPORTS = ("ident,type,name,latitude_deg,longitude_deg,elevation_ft,iso_country,iso_region,municipality,gps_code,iata_code,"
            "local_code,keywords\nUS-0001,small_airport,Made Up Meadow,44.5,-115.5,5000,US,US-ID,Nowhere,KXMM,,XMM,\n")


@pytest.fixture
def brought(tmp_path, monkeypatch):
    """A folder to bring from; the data folder beside it is empty."""
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "kept"))
    (tmp_path / "new").mkdir()
    return tmp_path / "new"


def put(path, data, day=(2026, 7, 11)):
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    stamp = datetime(*day, 9, tzinfo=UTC).timestamp()
    os.utime(path, (stamp, stamp))
    return path


def tile(height=700, peak=None):
    """Flat ground; `peak` = (lat, lon, metres) is one post higher."""
    posts = np.full((1201, 1201), height, dtype=">i2")
    if peak is not None:
        posts[round((np.ceil(peak[0]) - peak[0]) * 1200), round((peak[1] - np.floor(peak[1])) * 1200)] = peak[2]
    return posts.tobytes()


def one_sentence(code, out, err):
    assert (code, out) == (2, "")
    assert err.count("\n") == 1 and err.endswith(".\n") and "Traceback" not in err
    return err


# ---- the command


def test_a_line_for_every_file_and_nothing_twice(brought, capsys):
    put(brought / "N43W117.hgt", tile())
    put(brought / "N44W116.hgt", tile()[:-2])
    put(brought / "airports.csv", AIRPORTS)
    (brought / "holiday.jpg").write_bytes(b"x")
    code, out, err = run(capsys, "data", "import", str(brought))
    lines = out.splitlines()
    assert (code, err, len(lines)) == (0, "", 4)
    assert lines[0] == "taken: N43W117 of 2026-07-11: 1201 posts a side."
    assert lines[1].startswith("taken: airports.csv of 2026-07-11: 1 rows, in place of the whole file of 2022-10-11")
    assert lines[2].startswith("refused: N44W116.hgt: ") and lines[3] == "left alone: holiday.jpg"
    code, out, err = run(capsys, "data", "import", str(brought), "--json")
    again = json.loads(out)
    assert (code, err, again["taken"]) == (0, "", [])
    assert len(again["already"]) == 2 and len(again["refused"]) == 1 and again["ignored"] == ["holiday.jpg"]


def test_the_date_of_the_data_can_be_said(brought, capsys):
    put(brought / "N43W117.hgt", tile())
    assert "N43W117 of 2000-02-11" in run(capsys, "data", "import", str(brought), "--date", "2000-02-11")[1]


@pytest.mark.parametrize(("words", "said"), [
    (("--date", "11.2.2000"), "11.2.2000"), (("--date", "2026-02-30"), "2026-02-30"), (("--dates", "2000-02-11"), "--dates")])
def test_a_date_that_is_none_is_refused(brought, capsys, words, said):
    put(brought / "N43W117.hgt", tile())
    assert said in one_sentence(*run(capsys, "data", "import", str(brought), *words))
    assert not (brought.parent / "kept").exists()


def test_where_nothing_at_all_can_be_taken_it_is_bad_input(brought, capsys):
    assert "holds no" in one_sentence(*run(capsys, "data", "import", str(brought)))
    put(brought / "N43W117.hgt", b"short")
    assert "N43W117.hgt" in one_sentence(*run(capsys, "data", "import", str(brought)))
    assert "is not a folder" in one_sentence(*run(capsys, "data", "import", str(brought / "nowhere")))
    one_sentence(*run(capsys, "data", "import"))
    assert not (brought.parent / "kept").exists()


def test_a_zipped_tile_is_taken(brought, capsys):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("N43W117.hgt", tile())
    put(brought / "N43W117.hgt.zip", packed.getvalue())
    assert run(capsys, "data", "import", str(brought))[1].startswith("taken: N43W117 of 2026-07-11")


# ---- what was brought in is used


def test_aerodromes_are_those_of_the_imported_file_until_it_is_removed(brought, capsys, tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_CACHE", str(tmp_path / "cache"))
    put(brought / "airports.csv", AIRPORTS)
    run(capsys, "data", "import", str(brought))
    found = json.loads(run(capsys, "airports", "made up meadow", "--json")[1])["results"]
    assert [(x["ident"], x["source"]) for x in found] == [("US-0001", "OurAirports open data (public domain)")]
    assert found[0]["data_date"] == "2022-10-11"  # as old as its older half: the runways were not imported
    assert "No aerodrome is found" in run(capsys, "airports", "KBOI")[1]
    (tmp_path / "kept" / "aerodromes" / "airports.csv").unlink()
    assert "KBOI" in run(capsys, "airports", "KBOI")[1]
    assert "No aerodrome is found" in run(capsys, "airports", "made up meadow")[1]


def demo():
    return situation(demo_aeroplane(), demo_flight())


def test_a_flight_has_terrain_only_once_a_tile_is_there(brought, capsys):
    assert demo().terrain is None
    put(brought / "N43W117.hgt", tile())
    run(capsys, "data", "import", str(brought))
    terrain = demo().terrain
    assert terrain.tile(43, -117)[0, 0] == 700 and terrain.tile(44, -117) is None
    assert demo().terrain is terrain, "the same tiles, so that what was found is kept"
    put(brought / "N44W117.hgt", tile(900))
    run(capsys, "data", "import", str(brought))
    assert demo().terrain.tile(44, -117)[0, 0] == 900, "a tile imported later is seen"


def test_a_folder_without_tiles_is_no_terrain_and_an_unreadable_one_is_a_sentence(brought, monkeypatch):
    kept = brought.parent / "kept" / "terrain"
    kept.mkdir(parents=True)
    assert demo().terrain is None

    def denied(self, *args, **kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(type(kept), "stat", denied)
    with pytest.raises(UnreadableFile, match=r"Permission denied\.$"):
        checking._terrain()


def test_the_demo_is_judged_over_imported_tiles(brought, capsys):
    peak = (44.52, -115.68, 2900)  # near the course of the second leg; 9,514 ft, above the cruise and the typed 8,900 ft
    for south in (43, 44, 45):
        for west in (-117, -116, -115):
            put(brought / f"N{south}W{-west}.hgt", tile(peak=peak if (south, west) == (44, -116) else None))
    run(capsys, "data", "import", str(brought))
    found = {m.id: m for m in check("demo").margins}
    assert found["terrain.1"].margin.value == pytest.approx(1300.0), "the typed 8,200 ft are the higher"
    assert found["terrain.2"].margin.value == pytest.approx(-14.4, abs=0.1)
    assert found["terrain.2"].verdict == "outside limits" and "imported by the owner" in found["terrain.2"].source
    assert found["terrain.climb"].verdict != "not known" and found["terrain.descent"].verdict != "not known"
