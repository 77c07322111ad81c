"""A track as proposals: tables that only lack what a track cannot know, one error for legs, elevations that cannot be."""

import math
import re
import tomllib
import warnings
from datetime import datetime, timedelta

import pytest
from commands import run

from ownship.calibration.measured import read_measurements
from ownship.calibration.reductions import level_run_found, reduce
from ownship.questions.tracking import PASTE, proposals
from ownship.schema import read_toml
from ownship.units import from_si, to_si

HEAD = '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
FILLED = {"ft": "4000 ft", "C": "10 C", "lb": "2200 lb", "rpm": "2450 rpm", "kt": "76 kt"}


def track(legs, wind=(3.0, 5.0), height=1200.0, wrong=None):
    """A GPX text at 1 Hz of (heading, kt, climb m/s, seconds); wrong: elevations by second."""
    lat, lon, t, points = 45.0, -116.0, 0, []
    for heading, knots, rate, seconds in legs:
        for _ in range(seconds):
            north = to_si(knots, "kt") * math.cos(math.radians(heading)) + wind[0]
            east = to_si(knots, "kt") * math.sin(math.radians(heading)) + wind[1]
            lat, lon, height, t = lat + north / 111200, lon + east / (111200 * math.cos(math.radians(lat))), height + rate, t + 1
            moment = (datetime(2026, 5, 1, 12) + timedelta(seconds=t)).isoformat()
            points.append(f'<trkpt lat="{lat:.7f}" lon="{lon:.7f}"><ele>{(wrong or {}).get(t, height)}</ele><time>{moment}Z</time></trkpt>')
    return f"{HEAD}{''.join(points)}</trkseg></trk></gpx>"


THREE = [(0, 100, 0, 120), (120, 100, 0, 120), (240, 100, 0, 120)]


@pytest.fixture
def told(tmp_path):
    def ask(text):
        (tmp_path / "t.gpx").write_text(text)
        return proposals(str(tmp_path / "t.gpx"))

    return ask


def test_three_legs_say_that_nothing_checks_them_and_err_as_legs_typed_in(told):
    found = told(track(THREE))
    (line,) = found["level runs"]
    assert "three legs: nothing checks them" in line
    assert float(re.search(r"one sd ([\d.]+)", line)[1]) == pytest.approx(0.6, abs=0.11)  # 1 kt a leg over root 3
    assert "agree within" in told(track([*THREE, (60, 100, 0, 120)]))["level runs"][0]


def test_the_tables_to_paste_read_back_as_what_was_flown(told):
    found = told(track([(0, 80, 3.0, 120), *THREE]))
    body = "\n".join(found[PASTE])
    assert 'heights = "gps"' in body and tomllib.loads(body)
    filled = re.sub(r'"\? (\w+)"', lambda m: f'"{FILLED[m[1]]}"', body)
    measured = read_measurements(read_toml('[record]\nsource = "GPS"\n' + filled, "own.toml"))
    (climb,) = measured.timed_climbs
    assert (climb.to_m - climb.from_m) / climb.time_s == pytest.approx(3.0, abs=0.05)
    assert from_si(level_run_found(measured.level_runs[0])[0], "kt") == pytest.approx(100.0, abs=0.5)
    (rate,) = [v for k, v in zip(*(getattr(reduce(measured, None).rows, f).tolist() for f in ("kind", "value")), strict=True)
               if k == "rate_of_climb_fpm"]
    assert to_si(rate, "ft/min") == pytest.approx(3.0, abs=0.05)


def test_a_climb_too_low_or_too_high_for_a_measurement_is_told_and_no_table(told):
    for legs, height in (([(0, 80, 1.1, 85)], 1200.0), ([(0, 80, 3.0, 120)], 4700.0)):
        found = told(track(legs, height=height))
        assert "by GPS height" in found["climbs"][0] and PASTE not in found


def test_tables_not_filled_in_are_refused_by_the_line(told):
    with pytest.raises(Exception, match=r"own.toml line \d+.*\? ft"):
        read_measurements(read_toml('[record]\nsource = "GPS"\n' + "\n".join(told(track(THREE))[PASTE]), "own.toml"))


@pytest.mark.parametrize("bad", ["1e300", "-501", "20001", "1e308"])
def test_elevations_that_cannot_be_are_left_out_and_counted(told, bad):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = told(track(THREE, wrong={50: bad, 51: bad, 200: bad}))
    assert found["left out"] == ["3 elevations outside -500 to 20,000 m; joined across"]
    assert {k: v for k, v in found.items() if k != "left out"} == told(track(THREE))


def test_a_track_of_nothing_but_such_elevations_is_one_sentence(capsys, tmp_path):
    (tmp_path / "t.gpx").write_text(track(THREE, height=1e300))
    code, out, err = run(capsys, "calibrate", "demo", "--track", str(tmp_path / "t.gpx"))
    assert code == 2 and out == "" and err.count("\n") == 1 and "altitudes" in err
    (tmp_path / "t.gpx").write_text(track(THREE))
    code, out, _ = run(capsys, "calibrate", "demo", "--track", str(tmp_path / "t.gpx"))
    assert code == 0 and "\n[[level_run]]\n" in out
