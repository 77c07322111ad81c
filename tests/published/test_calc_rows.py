"""Numbers printed by others against `ownship calc`, each with its document, id and the tolerance of its rounding.

PHAK: FAA-H-8083-25; W&B: FAA-H-8083-1B. "From memory" stands where the row was not read.
"""

import pytest

from ownship.questions.calc import run

# id, calculation, options, {result: (expected, tolerance)}, source
ROWS = [
    ("WB-07", "weigh", "--reading 475lb@55in --reading 1046lb@121in --reading 1040lb@121in", {"cg": (108.8, 0.05)},
     "computed from a published question"),
    ("WB-01", "weigh", "--reading 340lb@-78in --reading 1666lb@0in", {"weight": (2006, 0.5), "cg": (-13.2, 0.05)},
     "W&B ch. 10"),
    ("WB-02", "weigh", "--reading 340lb@50in --reading 1666lb@128in", {"cg": (114.8, 0.05)}, "W&B ch. 3, from memory"),
    ("WB-03", "weigh", "--reading 340lb@-153in --reading 1666lb@-75in", {"cg": (-88.2, 0.05)}, "W&B ch. 3, from memory"),
    ("WB-04", "weigh", "--reading 1151lb@7.5in --reading 67lb@229.5in", {"cg": (19.7, 0.05)}, "W&B ch. 3, from memory"),
    ("WB-17", "shift", "--weight 8000lb --cg 77in --move 100lb --from 30in --to 150in",
     {"cg": (78.5, 1e-9), "moment": (628000, 1e-6)}, "PHAK weight shift"),
    ("WB-18", "shift", "--weight 7800lb --cg 81.5in --move 65lb --from 150in --to 30in", {"cg": (80.5, 0.05)},
     "PHAK sample question"),
    ("WB-19", "add", "--weight 6680lb --cg 80in --item 140lb@150in", {"cg": (81.4, 0.05)}, "PHAK sample, from memory"),
    ("WB-20", "shift", "--weight 2450lb --cg 100in --move 100lb --from 50in --to 0in", {"cg": (100 - 2.04, 0.005)},
     "worked example in a public teaching text"),
    ("WB-21", "add", "--weight 2100lb --cg 78.3in --item 340lb@85in --item 350lb@121in --item 450lb@75in --item 80lb@150in",
     {"weight": (3320, 1e-6), "cg": (84.8, 0.05)}, "PHAK fig. 10-5; arms from memory"),
    ("WB-23", "add", "--weight 1495lb --cg 101.4in --item 380lb@64in --item 180lb@96in", {"cg": (94.01, 0.005)},
     "FAA private test bank"),
    ("WB-25", "ballast", "--weight 1876lb --cg 32.2in --target 33.0in --at 228in", {"weight": (7.7, 0.05)},
     "W&B ch. 7, partly from memory"),
    ("AT-01", "pressure-altitude", "--elevation 5883ft --altimeter 30.10inHg", {"pressure_altitude": (5718, 2)}, "PHAK"),
    ("AT-02", "density-altitude", "--pressure-altitude 5718ft --oat 70F", {"density_altitude": (7709, 2)}, "PHAK, formula"),
    ("AT-04", "pressure-altitude", "--elevation 1380ft --altimeter 28.22inHg", {"pressure_altitude": (2991, 2)},
     "FAA fig. 8; another copy keys 3,010 without interpolation (C-4)"),
    ("AS-01", "airspeed", "--cas 110kt --pressure-altitude 7000ft --oat 16C", {"tas": (126, 1)}, "slide-rule lesson"),
    ("NV-01", "runway-wind", "--runway 17 --wind 140/25", {"headwind": (22, 0.5), "crosswind": (13, 0.5001)}, "PHAK"),
    ("NV-02", "runway-wind", "--runway 18 --wind 220/30", {"headwind": (23, 0.5), "crosswind": (19, 0.5)}, "FAA fig. 37"),
    ("NV-05", "wind-triangle", "--course 090 --tas 120kt --wind 045/40", {"heading": (76, 1), "groundspeed": (88, 1)},
     "PHAK, from memory"),
    ("NV-07", "wind-triangle", "--course 045 --tas 110kt --wind 090/25",
     {"correction": (9.3, 0.5), "heading": (54, 0.5), "groundspeed": (91, 0.5)}, "public teaching text"),
    ("NV-08", "wind-triangle", "--course 270 --tas 120kt --wind 180/30",
     {"correction": (-14.5, 0.5), "heading": (255.5, 0.5), "groundspeed": (116, 0.5)}, "public teaching text"),
    ("NV-09a", "wind-triangle", "--course 180 --tas 100kt --wind 180/20", {"groundspeed": (80, 1e-9), "correction": (0, 1e-9)},
     "public teaching text"),
    ("NV-09b", "wind-triangle", "--course 360 --tas 80kt --wind 180/15", {"groundspeed": (95, 1e-9), "correction": (0, 1e-9)},
     "public teaching text"),
    ("NV-10", "wind-found", "--course 105 --heading 085 --tas 95kt --groundspeed 87kt",
     {"wind_direction": (20, 2), "wind_speed": (32, 1)}, "FAA commercial bank"),
    ("NV-11", "wind-triangle", "--course 031 --tas 115kt --wind 360/10",
     {"correction": (-3, 1), "heading": (28, 1), "groundspeed": (106, 1)}, "PHAK navigation plan; outputs from memory"),
    ("NV-12", "compass", "--compass 090 --variation 12E --deviation 8W", {"magnetic": (82, 1e-9), "true": (94, 1e-9)},
     "public teaching text"),
    ("NV-14", "compass", "--true 020 --variation 3W --deviation 5E", {"magnetic": (23, 1e-9), "compass": (18, 1e-9)},
     "public teaching text"),
    ("GE-01", "leg", "--from -41.32,174.81 --to 40.96,-5.50", {"distance": (19959679.267, 0.001)}, "GeographicLib docs"),
    ("GE-03", "leg", "--from -37.95103341666667,144.42486788888888 --to -37.652821138888886,143.92649552777777",
     {"distance": (54972.271, 0.001), "initial_course": (306.868158333, 3e-6)}, "Geoscience Australia, Vincenty"),
    ("GP-01", "tas-from-gps", "--leg 140@192 --leg 112@283 --leg 120@20",
     {"tas": (130, 0.1), "wind_direction": (315, 0.5), "wind_speed": (20.6, 0.1)}, "Gray 1998; wind computed"),
    ("ET-01", "equal-time", "--distance 920nm --out 240kt --home 210kt", {"time": (107, 1), "distance": (429, 1)},
     "inputs read, result computed"),
    ("ET-03", "no-return", "--endurance 10h --out 100kt --home 100kt", {"distance": (500, 1e-9)}, "public teaching text"),
]


@pytest.mark.parametrize(("id_", "name", "options", "expected", "source"), ROWS, ids=[r[0] for r in ROWS])
def test_row(id_, name, options, expected, source):
    results = run(name, options.split())["results"]
    for key, (value, tolerance) in expected.items():
        assert results[key]["value"] == pytest.approx(value, abs=tolerance), (id_, source)


# A2.1: US Standard Atmosphere 1976, rows printed in a textbook; tolerance 1 in the last digit.
ATMOSPHERE = [(0, 15.00, 1.0000, 1.0000, 1013.25, 661.5), (1000, 13.02, .9644, .9711, 977.2, 659.2),
              (2000, 11.04, .9298, .9428, 942.1, 656.9), (4000, 7.08, .8637, .8881, 875.1, 652.3),
              (5000, 5.09, .8320, .8617, 843.1, 650.0), (6000, 3.11, .8014, .8359, 812.0, 647.7),
              (8000, -.85, .7428, .7860, 752.6, 643.0), (10000, -4.81, .6877, .7385, 696.8, 638.3),
              (12000, -8.77, .6360, .6932, 644.4, 633.6), (14000, -12.74, .5875, .6500, 595.2, 628.8),
              (16000, -16.70, .5420, .6090, 549.2, 624.0), (18000, -20.66, .4994, .5699, 506.0, 619.2),
              (20000, -24.62, .4595, .5328, 465.6, 614.3)]


@pytest.mark.parametrize(("altitude", "celsius", "delta", "sigma", "hpa", "sound"), ATMOSPHERE)
def test_standard_atmosphere(altitude, celsius, delta, sigma, hpa, sound):
    r = run("atmosphere", [f"--pressure-altitude={altitude}ft"])["results"]
    assert r["temperature"]["value"] == pytest.approx(celsius, abs=0.011)
    assert r["pressure_ratio"]["value"] == pytest.approx(delta, abs=1.01e-4)
    assert r["density_ratio"]["value"] == pytest.approx(sigma, abs=1.01e-4)
    assert r["pressure"]["value"] == pytest.approx(hpa, abs=0.101)
    assert r["speed_of_sound"]["value"] == pytest.approx(sound, abs=0.4)


def test_tropopause_of_the_1976_atmosphere():
    r = run("atmosphere", ["--pressure-altitude", "36089.24ft"])["results"]
    assert r["pressure"]["value"] == pytest.approx(226.321, abs=0.002)
    assert r["temperature"]["value"] == pytest.approx(216.65 - 273.15, abs=0.001)
    assert r["density_ratio"]["value"] * 1.225 == pytest.approx(0.36392, abs=2e-5)


def test_atmosphere_answers_to_65000_ft():
    r = run("atmosphere", ["--pressure-altitude", "65000ft"])["results"]
    assert r["temperature"]["value"] == pytest.approx(-56.5, abs=0.01)


@pytest.mark.parametrize(("altitude", "cold", "warm", "change", "formula"), [(3000, 30, 50, 1300, 1345),
                                                                             (5000, 25, 50, 1650, 1663)])
def test_density_altitude_change_at_05_and_06(altitude, cold, warm, change, formula):
    """AT-05, AT-06: FAA airman knowledge-test bank; the chart is read to 50 ft, the formula to 2 ft."""
    low, high = (run("density-altitude", [f"--pressure-altitude={altitude}ft", f"--oat={t}F"])["results"]
                 ["density_altitude"]["value"] for t in (cold, warm))
    assert high - low == pytest.approx(change, abs=50)
    assert high - low == pytest.approx(formula, abs=2)


# A8: official NOAA/BGS WMM2025 table (12 rows: 0.1 nT, 0.01 deg) and high-precision file (0.001 nT).
MAGNETISM = [("MG-01", "80,0", 0, "2025.0", 1.28, 83.21, 6523.2, 55178.5), ("MG-02", "0,120", 0, "2025.0", -.16, -14.93, 39677.9, 41064.3),
             ("MG-03", "-80,240", 0, "2025.0", 68.78, -72.0, 16898.1, 54698.2), ("MG-04", "80,0", 100, "2025.0", .85, 83.26, 6216.7, 52964.9),
             ("MG-05", "0,120", 100, "2025.0", -.15, -15.08, 37688.7, 39032.1),
             ("MG-06", "-80,240", 100, "2025.0", 68.21, -72.19, 15917.1, 52035.0),
             ("MG-07", "80,0", 0, "2027.5", 2.59, 83.24, 6507.5, 55253.9),
             ("MG-08", "-80,240", 0, "2027.5", 68.49, -71.92, 16908.3, 54474.2)]


@pytest.mark.parametrize(("id_", "at", "km", "year", "d", "i", "h", "f"), MAGNETISM, ids=[m[0] for m in MAGNETISM])
def test_magnetic_field(id_, at, km, year, d, i, h, f):
    r = run("variation", ["--at", at, "--height", f"{km}km", "--date", year])["results"]
    assert r["declination"]["value"] == pytest.approx(d, abs=0.01)
    assert r["inclination"]["value"] == pytest.approx(i, abs=0.01)
    assert r["horizontal"]["value"] == pytest.approx(h, abs=0.1)
    assert r["total"]["value"] == pytest.approx(f, abs=0.1)


@pytest.mark.parametrize(("at", "km", "year", "h", "f"), [("43,93", 65, "2025.0", 24300.764692, 55626.621348),
                                                          ("-14,99", 62, "2026.0", 33448.275663, 47058.03012)])
def test_magnetic_high_precision_mg_09_mg_11(at, km, year, h, f):
    r = run("variation", ["--at", at, "--height", f"{km}km", "--date", year])["results"]
    assert r["horizontal"]["value"] == pytest.approx(h, abs=0.001)
    assert r["total"]["value"] == pytest.approx(f, abs=0.001)


def minutes(text):
    h, m, s = (int(x) for x in text.split(":"))
    return h * 60 + m + s / 60


def test_sun_su_03_usno_output():
    r = run("sun", ["--at", "38.9,-74.9", "--date", "2002-03-20", "--utc-offset", "-5"])["results"]
    printed = {"civil_dawn": "05:37:00", "sunrise": "06:04:00", "noon": "12:07:00", "sunset": "18:12:00", "civil_dusk": "18:39:00"}
    for key, text in printed.items():
        assert minutes(r[key]["value"]) == pytest.approx(minutes(text), abs=1.0)


def test_sun_su_05_nrel_tp_560_34302_table_a2_1():
    r = run("sun", ["--at", "35,0", "--date", "1994-01-02", "--utc-offset", "0"])["results"]
    assert minutes(r["sunrise"]["value"]) * 60 == pytest.approx(minutes("07:08:13") * 60, abs=3)
    assert minutes(r["sunset"]["value"]) * 60 == pytest.approx(minutes("16:59:56") * 60, abs=3)


def test_sun_su_01_usno_almanac_for_computers():
    """25 Jun 1990, 40.9N 74.3W, zenith 90 50': 05:26 at UT-4 (steps read, result computed)."""
    r = run("sun", ["--at", "40.9,-74.3", "--date", "1990-06-25", "--utc-offset", "-4"])["results"]
    assert minutes(r["sunrise"]["value"]) == pytest.approx(minutes("05:26:00"), abs=1.0)


@pytest.mark.parametrize(("group", "level", "expected"), [
    ("3127", None, {"direction": 310, "speed": 27}), ("731960", "39000ft", {"direction": 230, "speed": 119, "temperature": -60}),
    ("7799", None, {"direction": 270, "speed": 199, "or_more": True}), ("9900", None, {"light_and_variable": True}),
    ("2435+07", None, {"direction": 240, "speed": 35, "temperature": 7})])
def test_winds_aloft_wx_12_to_16(group, level, expected):
    words = ["--group", group] + (["--level", level] if level else [])
    results = {k: v["value"] for k, v in run("winds-aloft", words)["results"].items()}
    assert results == pytest.approx(expected)


@pytest.mark.parametrize(("done", "every", "last"), [
    ("2025-07-12", "12 calendar months", "2026-07-31"), ("2026-03-05", "12 calendar months", "2027-03-31"),
    ("2026-04-01", "24 months", "2028-04-01"), ("2017-05-20", "24 calendar months", "2019-05-31"),
    ("2017-05-10", "48 months", "2021-05-10"), ("2026-01-31", "1 month", "2026-02-28"), ("2024-01-31", "1 month", "2024-02-29"),
    ("2026-11-25", "30 days", "2026-12-25"), ("2026-11-25", "1 day", "2026-11-26")])
def test_due_md_01_and_worked_examples(done, every, last):
    """MD-01: FAA bank; the others worked from the rule texts (14 CFR 91.409, BasicMed, CAR 625.86)."""
    assert run("due", ["--done", done, "--every", every])["results"]["date"]["value"] == last


@pytest.mark.parametrize(("distance_nm", "knots", "hours"), [(210, 140, 1.5)])
def test_time_and_distance_fu_01(distance_nm, knots, hours):
    """FU-01, PHAK: 210 NM at 140 kt in 1:30."""
    from ownship.units import parse

    assert parse(f"{distance_nm} nm", "length") / parse(f"{knots} kt", "speed") == pytest.approx(parse(f"{hours} h", "time"))
