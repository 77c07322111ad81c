"""Bad input: one sentence on stderr that names the field, exit 2, stdout empty, nothing written, no traceback."""

import contextlib
import io
import json
import tomllib

import pytest

from ownship.cli import main
from ownship.questions.check import demo_aeroplane, demo_flight
from ownship.web.forms import write_toml


def run(*words):
    out, err = io.StringIO(), io.StringIO()
    code = 0
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main(list(words))
        except SystemExit as stop:
            code = stop.code or 0
    return code, out.getvalue(), err.getvalue()


def refused(*words):
    code, out, err = run(*words)
    assert code == 2, (words, out[:200], err)
    assert out == ""
    assert err.count("\n") == 1 and "Traceback" not in err
    assert err.strip().endswith(".")
    return err


def flight(**change):
    data = tomllib.loads(demo_flight())
    for key, value in change.items():
        target = data
        *path, last = key.split("__")
        for part in path:
            target = target[int(part)] if isinstance(target, list) else target.setdefault(part, {})
        if value is None:
            del target[last]
        else:
            target[last] = value
    return write_toml(data)


@pytest.fixture
def files(tmp_path):
    def make(text, aeroplane=None):
        (tmp_path / "A.toml").write_text(aeroplane or demo_aeroplane())
        from ownship.questions.reading import demo_text

        (tmp_path / "camas160_rows.csv").write_text(demo_text("camas160_rows.csv"))
        (tmp_path / "F.toml").write_text(text)
        return str(tmp_path / "A.toml"), str(tmp_path / "F.toml")

    return make


@pytest.mark.parametrize(("change", "words"), [
    ({"from": "ZZZZ9"}, "ZZZZ9"), ({"to": "91.5,10"}, "Earth"), ({"via": ["KBOI"]}, "no length"),
    ({"cruise_altitude": "9500"}, "cruise_altitude"), ({"cruise_altitude": "9500 kt"}, "not a length"),
    ({"cruise_altitude": "95000 ft"}, "believable"), ({"power": "9000 rpm"}, "power"), ({"power": "fast"}, "power"),
    ({"power": None}, "power"), ({"departure": "2026-07-11T15:00"}, "zone"), ({"departure": "soon"}, "moment"),
    ({"departure": "2031-07-11T15:00-06:00"}, "magnetic model"), ({"departure": "1999-07-11T15:00-06:00"}, "magnetic"),
    ({"rules": "SVFR"}, "rules"), ({"category": "acrobatic"}, "category"), ({"colour": "blue"}, "unknown key 'colour'"),
    ({"loads__0__weight": "-170 lb"}, "weight"), ({"loads__0__weight": "17000 lb"}, "believable"),
    ({"loads__0__weight": "170"}, "no unit"), ({"loads__0__station": "roof"}, "roof"), ({"loads__0__wieght": "1 lb"}, "wieght"),
    ({"fuel__left__on_board": "30 usgal"}, "holds"), ({"fuel__left__add": "20 usgal"}, "holds"),
    ({"fuel__left__on_board": "brim"}, "brim"), ({"fuel__left__add": "-2 usgal"}, "add"),
    ({"fuel__middle__on_board": "3 usgal"}, "middle"), ({"fuel__left__known_by": "hope"}, "known_by"),
    ({"weather__KBOI__wind": "310/400"}, "wind"), ({"weather__KBOI__wind": "breezy"}, "wind"),
    ({"weather__KBOI__metar": "nonsense"}, "metar"), ({"weather__KBOI__temperature": "93 F F"}, "temperature"),
    ({"weather__KBOI__temperature": "200 C"}, "believable"), ({"weather__KBOI__altimeter": "3002 hPa"}, "altimeter"),
    ({"weather__KU79__use": "KXXX"}, "KXXX"), ({"weather__KU79__use": "KU79"}, "KU79"),
    ({"aloft__9000 ft__wind": "022/190"}, "stronger"), ({"aloft__9000 ft__wind": "VRB10"}, "variable"),
    ({"aloft__9000 kt": {"wind": "calm"}}, "9000 kt"), ({"aloft__fb": "FT 3000"}, "fb"),
    ({"ground__highest": "8000 ft"}, "highest"), ({"factors": {"take_off": 0.5}}, "take_off"),
    ({"runway": {"KBOI": {"surface_state": "icy"}}}, "surface_state"), ({"own": {"landing_fuel": "60 kt"}}, "landing_fuel"),
    ({"obstacles": [{"position": "here", "top": "5000 ft"}]}, "position"), ({"carburettor_heat": "descent"}, "carburettor_heat"),
    ({"ifr": {"departure_gradient": "290 ft/nm"}}, "departure_gradient"), ({"leave_again": "tomorrow"}, "leave_again"),
    ({"cruise_altitude": "11500 ft", "via": [], "to": "U88"}, "cruise_altitude"),
    ({"aerodromes": {"MINE": {"name": "x"}}, "to": "MINE", "via": []}, "position")])
def test_a_bad_request_is_refused_by_name(files, change, words):
    assert words in refused("check", *files(flight(**change)))


def test_the_line_is_named(files):
    text = demo_flight().replace('add = "2 usgal"', 'add = "2 gallons"', 1)
    line = text.splitlines().index('add = "2 gallons"') + 1
    assert f"line {line}" in refused("check", *files(text))


@pytest.mark.parametrize("words", [
    ("check",), ("check", "demo", "/dev/null"), ("check", "/dev/null", "demo"), ("check", "/nowhere.toml", "demo"), ("check", "/", "demo"),
    ("check", "demo", "x", "y"), ("chekc", "demo"), ("check", "demo", "--jsno"), ("calibrate", "/dev/null"), ("predict", "demo"),
    ("predict", "demo", "--rows", "/dev/null"), ("predict", "demo", "--rows", "/nowhere.csv"), ("calibrate", "demo", "--where", "split"),
    ("calibrate", "demo", "--where", "split=NONE"), ("calibrate", "demo", "--where", "colour=blue"),
    ("calibrate", "demo", "--save", "/nowhere/at/all.json"), ("calibrate", "demo", "--save", "/"),
    ("predict", "demo", "--card", "--out", "/"), ("airports",), ("serve", "--port", "99999"), ("serve", "--port", "http")])
def test_bad_words_on_the_command_line(words):
    refused(*words)


def test_bytes_that_are_no_text(tmp_path):
    (tmp_path / "x.toml").write_bytes(b"\xff\xfe\x00schema")
    assert "UTF-8" in refused("check", str(tmp_path / "x.toml"), "demo")


def test_a_huge_file_is_refused_without_being_read(tmp_path):
    with (tmp_path / "x.toml").open("wb") as file:
        file.truncate(200_000_000)
    assert "larger" in refused("check", str(tmp_path / "x.toml"), "demo")


@pytest.mark.parametrize(("rows", "words"), [
    ("", "empty"), ("a,b\n1,2\n", "unknown column 'a'"), ("kind,value\ntakeoff_roll_ft,1\n", "missing"),
    ("kind,pressure_altitude_ft,oat_c,weight_lb,value\ntakeoff_roll_ft,0,15,2300,abc\n", "line 2, value"),
    ("kind,pressure_altitude_ft,oat_c,weight_lb,value\ntakeoff_run,0,15,2300,800\n", "line 2, kind"),
    ("kind,pressure_altitude_ft,oat_c,weight_lb,value\ntakeoff_roll_ft,0,15,-5,800\n", "weight_lb"),
    ("kind,pressure_altitude_ft,oat_c,weight_lb,value\ntakeoff_roll_ft,0,15,2300\n", "line 2"),
    ("kind,pressure_altitude_ft,oat_c,weight_lb,value\ntakeoff_roll_ft,0,nan,2300,800\n", "oat_c"),
    ("kind,kind,pressure_altitude_ft,oat_c,weight_lb,value\n", "twice")])
def test_bad_rows(tmp_path, rows, words):
    (tmp_path / "r.csv").write_text(rows)
    assert words in refused("calibrate", "demo", "--rows", str(tmp_path / "r.csv"), "--save", str(tmp_path / "c.json"))
    assert not (tmp_path / "c.json").exists()


@pytest.mark.parametrize("text", ["", "{}", "[]", '{"schema": 1}', "not json", '{"schema": 1, "model_version": "0"}'])
def test_a_file_that_is_no_calibration(tmp_path, text):
    (tmp_path / "c.json").write_text(text)
    rows = tmp_path / "r.csv"
    rows.write_text("kind,pressure_altitude_ft,oat_c,weight_lb,value\nstatic_rpm,0,15,2300,2350\n")
    refused("predict", "demo", "--calibration", str(tmp_path / "c.json"), "--rows", str(rows), "--out", str(tmp_path / "o.csv"))
    assert not (tmp_path / "o.csv").exists()


CALC = [("airspeed", "--cas", "nan", "--pressure-altitude", "0ft", "--oat", "15C"), ("airspeed", "--cas", "110", "--pressure-altitude",
        "0ft", "--oat", "15C"), ("airspeed", "--cas", "110kg", "--pressure-altitude", "0ft", "--oat", "15C"),
        ("airspeed", "--cas", "inf kt", "--pressure-altitude", "0ft", "--oat", "15C"), ("airspeed",), ("nothing",),
        ("atmosphere", "--pressure-altitude", "70000ft"), ("atmosphere", "--altitude", "0ft"), ("atmosphere", "0ft"),
        ("atmosphere", "--pressure-altitude"), ("atmosphere", "--pressure-altitude", "0ft", "--pressure-altitude", "1ft"),
        ("wind-triangle", "--course", "090", "--tas", "20kt", "--wind", "045/40"), ("wind-triangle", "--course", "400", "--tas", "90kt",
        "--wind", "045/40"), ("wind-triangle", "--course", "090", "--tas", "90kt", "--wind", "strong"),
        ("runway-wind", "--runway", "37", "--wind", "140/25"), ("compass", "--true", "020", "--variation", "3"),
        ("compass", "--true", "020", "--compass", "020", "--variation", "3W"), ("leg", "--from", "91,0", "--to", "0,0"),
        ("leg", "--from", "x", "--to", "0,0"), ("variation", "--at", "0,0", "--date", "2031.0"), ("variation", "--at", "0,0", "--date",
        "2024-12-31"), ("variation", "--at", "0,0", "--date", "soon"), ("sun", "--at", "0,0", "--date", "2026-13-01", "--utc-offset", "0"),
        ("tas-from-gps", "--leg", "100@0", "--leg", "100@0", "--leg", "100@0"), ("tas-from-gps", "--leg", "100@0", "--leg", "90@180"),
        ("tas-from-gps", "--leg", "fast"), ("weigh",), ("weigh", "--reading", "340lb"), ("weigh", "--reading", "2lb-340lb@55in"),
        ("shift", "--weight", "100lb", "--cg", "10in", "--move", "200lb", "--from", "0in", "--to", "9in"),
        ("add", "--weight", "100lb", "--cg", "10in", "--item", "-200lb@5in"), ("ballast", "--weight", "1876lb", "--cg", "32.2in",
        "--target", "33.0in", "--at", "33.0in"), ("ballast", "--weight", "1876lb", "--cg", "34in", "--target", "33.0in", "--at", "228in"),
        ("winds-aloft", "241522", "--level", "9000ft"), ("winds-aloft", "241522"), ("winds-aloft", "4030"), ("winds-aloft", "x"),
        ("due", "--done", "2026-02-30", "--every", "12 months"), ("due", "--done", "2026-02-03", "--every", "12 moons"),
        ("no-return", "--endurance", "5h", "--out", "0kt", "--home", "95kt"), ("equal-time", "--distance", "-5nm", "--out", "90kt",
        "--home", "95kt"), ("density-altitude", "--oat", "15C"), ("pressure-altitude", "--elevation", "0ft", "--altimeter", "29.92")]


@pytest.mark.parametrize("words", CALC, ids=[" ".join(c) for c in CALC])
def test_bad_calculations(words):
    refused("calc", *words)


def test_calc_answers_in_the_fixed_shape():
    code, out, _ = run("calc", "winds-aloft", "731960", "--level", "39000ft", "--json")
    data = json.loads(out)
    assert code == 0
    assert data["results"]["speed"] == {"value": 119.0, "unit": "kt"} and data["source"]


@pytest.mark.parametrize("words", [("--at", "-80,240", "--height", "0km", "--date", "2027.5"), ("--at=-80,240", "--date=2027.5")])
def test_calc_takes_values_that_begin_with_a_minus(words):
    code, out, _ = run("calc", "variation", *words, "--json")
    assert code == 0 and json.loads(out)["results"]["declination"]["value"] == pytest.approx(68.49, abs=0.01)


def test_airports_json_has_the_fixed_keys():
    code, out, _ = run("airports", "U79", "--json")
    first = json.loads(out)["results"][0]
    assert code == 0
    assert {"ident", "codes", "name", "position", "elevation", "runways", "data_date"} <= set(first)
    assert first["ident"] == "KU79" and "U79" in first["codes"]


@pytest.mark.parametrize("text", ["'; DROP TABLE airport; --", '"', "*", "NEAR(", "   x   ", "é", "a" * 500])
def test_odd_searches_answer(text):
    code, _, _ = run("airports", text, "--json")
    assert code == 0


def test_calibrate_and_predict_round_trip(tmp_path):
    saved, out = tmp_path / "c.json", tmp_path / "o.csv"
    rows = tmp_path / "r.csv"
    rows.write_text("kind,pressure_altitude_ft,oat_c,weight_lb,rpm,value,notes\nstatic_rpm,0,15,2350,,2360,mine\n"
                    "cruise_tas_kt,8000,-1,2350,2500,114,\nrate_of_climb_fpm,16000,60,2350,,1,\n")
    assert run("calibrate", "demo", "--save", str(saved))[0] == 0
    data = json.loads(saved.read_text())
    assert {"seed", "hash", "model_version", "parameters", "book", "own", "discrepancy"} <= set(data) and data["own"] is None
    assert run("predict", "demo", "--calibration", str(saved), "--rows", str(rows), "--out", str(out))[0] == 0
    lines = out.read_text().splitlines()
    assert lines[0].endswith("notes,predicted,low_90,high_90")
    low, best, high = (float(lines[1].split(",")[i]) for i in (-2, -3, -1))
    assert low < best < high and best == pytest.approx(2360, abs=60)


def test_an_own_file_makes_an_own_calibration(tmp_path):
    own = tmp_path / "own.csv"
    own.write_text("kind,pressure_altitude_ft,oat_c,weight_lb,rpm,value\nrate_of_climb_fpm,4000,10,2350,,480\n"
                   "rate_of_climb_fpm,8000,5,2350,,260\nstatic_rpm,2000,20,2350,,2290\n")
    code, out, _ = run("calibrate", "demo", "--own", str(own), "--json")
    data = json.loads(out)
    assert code == 0 and data["own"]["rows"] == data["book"]["rows"] + 3
    assert data["own"]["natural_mean"]["kP"] < data["book"]["natural_mean"]["kP"]
