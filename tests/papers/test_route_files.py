"""The route as files: GPX 1.1 by the order of its schema (topografix GPX 1.1, from memory), GeoJSON by RFC 7946, CSV by RFC 4180."""

import csv
import io
import json
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from itertools import pairwise
from pathlib import Path

import gpxpy
import pytest
import xmlschema
from defusedxml.ElementTree import fromstring
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.errors import BadInput
from ownship.flight.assessment import assess
from ownship.flight.route import Point
from ownship.papers.route_files import COLUMNS, geojson, gpx, log_csv, route_points, writer_of
from ownship.questions.check import demo_aeroplane, demo_flight, situation, situation_of
from ownship.units import from_si, to_si
from ownship.world.geodesy import inverse

NAMESPACE = "{http://www.topografix.com/GPX/1/1}"
SCHEMA = xmlschema.XMLSchema(str(Path(__file__).parents[1] / "published" / "gpx_1_1.xsd"))  # GPX 1.1, restated from memory


@cache
def _demo():
    s = situation_of("demo")
    return s, assess(s)


@pytest.fixture
def demo():
    return _demo()


def test_gpx_follows_the_schema_and_reads_back(demo):
    s, a = demo
    data = gpx(s, a)
    root = fromstring(data)
    assert root.tag == f"{NAMESPACE}gpx" and root.get("version") == "1.1" and root.get("creator") == "Ownship"
    SCHEMA.validate(data.decode())
    points = gpxpy.parse(data.decode()).routes[0].points
    assert [p.name for p in points] == ["KBOI", "U88", "KU79"]
    assert points[1].elevation == pytest.approx(to_si(9500, "ft"), abs=0.06)
    assert points[0].elevation == pytest.approx(to_si(2871, "ft"), abs=0.06)  # KBOI in the open data
    over = [r.time for r in a.timeline if r.moment.startswith("over ")]
    assert [p.time for p in points[1:]] == over and points[0].time == next(r.time for r in a.timeline if r.moment == "take-off")
    assert all(-90 <= p.latitude <= 90 and -180 <= p.longitude < 180 for p in points)


def test_the_schema_refuses_what_is_out_of_order_or_out_of_range(demo):
    good = gpx(*demo).decode()
    for bad in (good.replace("<rte>", "<rte><rtept lat='1' lon='1'/>"), good.replace('lat="4', 'lat="94', 1), good.replace('version="1.1"', "")):
        assert bad != good and not SCHEMA.is_valid(bad)


def test_every_file_carries_verdict_and_caution_and_is_the_same_again(demo):
    s, a = demo
    for make in (gpx, geojson, log_csv):
        text = make(s, a).decode()
        assert a.sentence in text and a.cautions[0] in text and "2022-10-11" in text
        assert make(s, a) == make(s, a)


def test_geojson_is_longitude_first_and_as_long_as_the_route(demo):
    s, a = demo
    data = json.loads(geojson(s, a))
    line, *points = data["features"]
    assert data["type"] == "FeatureCollection" and line["geometry"]["type"] == "LineString"
    way = line["geometry"]["coordinates"]
    assert way[0] == [-116.223, 43.5644] and all(len(x) == 2 for x in way)
    length = sum(inverse(p[1], p[0], q[1], q[0])[0] for p, q in pairwise(way))
    assert length == pytest.approx(sum(leg.distance_m for leg in s.legs), abs=1.0)
    assert [p["properties"]["name"] for p in points] == ["KBOI", "U88", "KU79"]
    assert points[1]["properties"]["altitude_ft"] == 9500.0 and points[1]["properties"]["time"].endswith("Z")


@settings(deadline=None)
@given(st.floats(-60, 60), st.floats(-60, 60), st.floats(170, 179.5), st.floats(-179.5, -170))
def test_a_line_over_the_antimeridian_is_cut_there(lat1, lat2, east, west):
    s = replace(_demo()[0])
    object.__setattr__(s, "points", (Point("A", lat1, east), Point("B", lat2, west)))
    answer = replace(_demo()[1], timeline=(), legs=())
    geometry = json.loads(geojson(s, answer))["features"][0]["geometry"]
    assert geometry["type"] == "MultiLineString" and len(geometry["coordinates"]) == 2
    first, second = geometry["coordinates"]
    assert first[-1][0] == 180.0 and second[0][0] == -180.0 and first[-1][1] == second[0][1]
    for part in (first, second):
        assert all(abs(p[0] - q[0]) < 20 for p, q in pairwise(part))


def test_the_csv_has_the_timeline_and_blank_cells_for_what_happened(demo):
    s, a = demo
    text = log_csv(s, a).decode()
    assert text.count("\r\n") == len(a.timeline) + 1
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert tuple(rows[0]) == COLUMNS and len(rows) == len(a.timeline)
    for row, planned in zip(rows, a.timeline, strict=True):
        assert row["actual_time"] == "" and row["actual_fuel"] == ""
        assert datetime.fromisoformat(row["time_utc"]) == planned.time.astimezone(UTC)
        assert float(row["fuel_left_usable_usgal"]) == pytest.approx(planned.fuel_left.value, abs=0.051)
        assert float(row["minimum_fuel_usable_usgal"]) == pytest.approx(planned.minimum_fuel.value, abs=0.051)
    legs = [r for r in rows if r["leg_nm"]]
    assert sum(float(r["leg_nm"]) for r in legs) == pytest.approx(from_si(sum(x.distance_m for x in s.legs), "nm"), abs=0.11)
    assert [r["place"] for r in legs] == ["U88", "KU79"]


def test_without_wind_aloft_the_files_say_calm_air_and_latest_is_blank():
    flight = demo_flight()
    cut = flight[:flight.index("[aloft]")] + flight[flight.index("[", flight.index("[aloft]") + 7):]
    s = situation(demo_aeroplane(), cut)
    a = assess(s)
    rows = list(csv.DictReader(io.StringIO(log_csv(s, a).decode(), newline="")))
    assert "calm air" in rows[0]["note"] and "calm air" in gpx(s, a).decode() and all(r["latest_utc"] == "" for r in rows)


def test_a_flight_that_cannot_be_flown_has_a_route_without_times_and_no_log(demo):
    s, a = demo
    unflown = replace(a, timeline=(), legs=(), fuel=None)
    points = route_points(s, unflown)
    assert all(p.time is None for p in points) and points[1].altitude_m == s.request.cruise_altitude_m
    assert "<rtept" in gpx(s, unflown).decode()
    with pytest.raises(BadInput, match="log cannot be written"):
        log_csv(s, unflown)


def test_an_ending_that_is_none_of_the_three_is_refused():
    assert writer_of("a/B.GPX") is gpx and writer_of("x.geojson") is geojson and writer_of("x.csv") is log_csv
    with pytest.raises(BadInput, match=r"\.gpx, \.geojson, \.csv"):
        writer_of("route.kml")
