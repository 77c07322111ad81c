"""Whatever stands at any key of a record is read or refused in one sentence; nothing ends in a traceback."""

import copy
import tomllib

import pytest

from ownship.aeroplane import reading
from ownship.aeroplane.reading import read_airframe
from ownship.errors import OwnshipError
from ownship.questions.check import demo_aeroplane
from ownship.schema import Table

HEAD = 'schema = 1\n[record]\nsource = "papers"\n'
TANK = HEAD + '[[tanks]]\nid = "l"\ncapacity = "20 usgal"\nunusable = "1 usgal"\narm = "90 in"\n'
STATION = '[[stations]]\nid = "a"\nkind = "seat"\narm = "85 in"\n'


@pytest.mark.parametrize(("text", "words"), [
    (TANK + 'dipstick = [["3 in", "5 usgal"], ["2 in", "9 usgal"]]\n', "line 9, [tanks.1] dipstick"),
    (TANK + 'dipstick = [["3 in", "25 usgal"]]\n', "more than the tank holds"),
    (TANK + '[[tanks]]\nid = "l"\ncapacity = "20 usgal"\nunusable = "1 usgal"\narm = "90 in"\n', "line 10, [tanks.2] id: 'l'"),
    (HEAD + STATION + STATION, "line 9, [stations.2] id: 'a' stands twice"),
    (HEAD + STATION + '[[station_groups]]\nstations = ["a", "b"]\n', "line 9, [station_groups.1] stations: the station 'b'"),
    (HEAD + STATION + '[category.utility]\nstations_empty = ["b"]\n', "line 9, [category.utility] stations_empty"),
    (HEAD + '[selector]\npositions = ["left"]\n', "line 5, [selector] positions: 'left'"),
    (HEAD + '[weights]\nramp_max = "2000 lb"\ntake_off_max = "2350 lb"\n', "line 5, [weights] ramp_max"),
    (HEAD + '[speeds]\nvno = "150 kt"\nvne = "120 kt"\n', "line 5, [speeds] vno"),
    (HEAD + '[propeller]\ndiameter = "74 in"\npitch = "58 in"\nstatic_rpm = ["2450 rpm", "2280 rpm"]\n', "static_rpm"),
    (HEAD + '[procedures]\nclimb = [["0 ft", "7 kt"]]\n', "7 kt is not believable"),
    (HEAD + '[procedures]\nclimb = [["9000 ft", "70 kt"], ["0 ft", "78 kt"]]\n', "the altitudes should rise"),
    (HEAD + '[deviation]\nmagnetic = [0, nan]\ncompass = [1, 2]\n', "nan is no heading"),
    (HEAD + '[[weighings]]\ndate = 2020-01-01\nweighed = true\nreadings = [{gross = "5 lb", tare = "9 lb", arm = "3 in"}]\n', "tare"),
    (HEAD + '[[weighings]]\ndate = 2020-01-01\nweighed = true\nreadings = [{gross = "5 lb", arm = "3 in"}]\n', "add up to 5 lb"),
    ('[category.utility]\nmanoeuvres = ["steep turns"]\n', "no source here")])
def test_a_record_that_contradicts_itself_is_refused_at_its_line(text, words):
    with pytest.raises(OwnshipError) as error:
        read_airframe(text, "A.toml")
    assert words in str(error.value) and "A.toml line" in str(error.value)


@pytest.mark.parametrize("value", ['["2100 rpm"]', '[["2100 rpm"]]', "5", "[5]", '[["2250 rpm", "2100 rpm"]]'])
def test_rpm_ranges_are_pairs_that_rise(value):
    with pytest.raises(OwnshipError, match=r"A.toml line 7, \[engine\] avoid_rpm"):
        read_airframe(HEAD + f'[engine]\npower = "160 hp"\nrpm = "2700 rpm"\navoid_rpm = {value}\n', "A.toml")


def test_every_table_may_hold_its_own_source():
    text = '[weights]\ntake_off_max = "2350 lb"\nsource = "manual"\n[category.utility]\nmanoeuvres = []\nsource = "placard"\n'
    record = read_airframe(text, "A.toml")
    assert record.weights.source == "manual" and record.categories[0].source == "placard"


ODD = (5, -3.5, float("nan"), True, "", "x", "-5 lb", "5 in", "1e9 ft", [], [1], ["a"], [["1 in"]], [["1 in", "2 in", "3 in"]],
       {}, {"a": 1}, [{"a": 1}])


def paths(value, path=()):
    pairs = value.items() if isinstance(value, dict) else enumerate(value[:1]) if isinstance(value, list) else ()
    for key, inner in pairs:
        yield (*path, key)
        yield from paths(inner, (*path, key))


def test_any_odd_value_at_any_key_is_read_or_refused_in_one_sentence(monkeypatch):
    whole = tomllib.loads(demo_aeroplane())
    whole["engine"]["avoid_rpm"] = [["2100 rpm", "2250 rpm"]]
    refused = 0
    for path in list(paths(whole)):
        for odd in ODD:
            data = copy.deepcopy(whole)
            inner = data
            for key in path[:-1]:
                inner = inner[key]
            inner[path[-1]] = odd
            monkeypatch.setattr(reading, "read_toml", lambda text, name, data=data: Table(data, name))
            try:
                read_airframe("", "A.toml")
            except OwnshipError as error:
                refused += 1
                assert "A.toml" in str(error) and "\n" not in str(error), (path, odd)
    assert refused > 1000
