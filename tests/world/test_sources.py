"""Asking the two weather services and reading their answers. The documents are written by hand, shape from memory."""

import json
import math
from contextlib import suppress
from datetime import UTC, date, datetime
from urllib.parse import urlsplit

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ownship.errors import BadInput, WeatherText
from ownship.physics.atmosphere import isa_temperature_k, pressure_altitude_m
from ownship.units import from_si, to_si
from ownship.world import sources
from ownship.world.sources import Answer

AT = datetime(2026, 7, 11, 12, 5, tzinfo=UTC)
DAY = date(2026, 7, 11)
BEGIN = int(datetime(2026, 7, 11, tzinfo=UTC).timestamp())
PLACE = (43.56, -116.22)
METAR = "KBOI 111153Z 31008KT 10SM CLR 16/07 A3002 RMK AO2 SLP142 T01610067"
TAF = "TAF KBOI 111120Z 1112/1212 31008KT P6SM SKC FM112000 32012G18KT P6SM FEW120"
ROW = {"icaoId": "KBOI", "receiptTime": "2026-07-11T11:55:00.000Z", "obsTime": 1783770780, "temp": 16.1, "wdir": 310,
             "rawOb": METAR}


def metars(*rows):
    return json.dumps(list(rows))


def sky(**changes):
    """A whole forecast answer of three hours in standard air with a west wind (shape from memory)."""
    hours = 3
    hourly = {"time": [BEGIN + 3600 * i for i in range(hours)], "temperature_2m": [15.0, 16.0, 17.0],
              "dew_point_2m": [5.0] * hours, "surface_pressure": [910.0, 909.5, 909.0], "wind_speed_10m": [4.0, 5.0, 6.0],
              "wind_direction_10m": [270, 280, 290], "wind_gusts_10m": [7.0, 8.0, 9.0]}
    units = {"time": "unixtime", "temperature_2m": "°C", "dew_point_2m": "°C", "surface_pressure": "hPa",
             "wind_speed_10m": "m/s", "wind_direction_10m": "°", "wind_gusts_10m": "m/s"}
    for level in sources.LEVELS_HPA:
        height = float(pressure_altitude_m(0.0, to_si(level, "hPa")))
        warm = float(from_si(isa_temperature_k(height), "C", "temperature"))
        for name, value, unit in (("temperature", warm, "°C"), ("wind_speed", 10.0, "m/s"), ("wind_direction", 270, "°"),
                                  ("geopotential_height", height, "m")):
            hourly[f"{name}_{level}hPa"] = [value] * hours
            units[f"{name}_{level}hPa"] = unit
    document = {"latitude": 43.55, "longitude": -116.2, "generationtime_ms": 0.2, "utc_offset_seconds": 0, "timezone": "GMT",
                "timezone_abbreviation": "GMT", "elevation": 870.0, "hourly_units": units, "hourly": hourly}
    for path, value in changes.items():
        target = document
        *parents, last = path.split("__")
        for key in parents:
            target = target[key]
        if value is ...:
            del target[last]
        else:
            target[last] = value
    return document


def read(document, first=DAY, last=DAY):
    text = document if isinstance(document, str) else json.dumps(document, ensure_ascii=False)
    return sources.read_forecast(text, AT, PLACE, first, last)


# -- asking ------------------------------------------------------------------------

def test_only_idents_go_out_for_reports():
    ask = sources.ask_reports("metar", ["kboi", "KSUN ", "KBOI"])
    assert urlsplit(ask.url)[:3] == ("https", "aviationweather.gov", "/api/data/metar")
    assert ask.params == (("ids", "KBOI,KSUN"), ("format", "json"))
    assert sources.ask_reports("taf", ["KBOI"]).url.endswith("/taf")


@pytest.mark.parametrize(("kind", "stations", "said"), [
    ("metar", ["KBOI&x=1"], "no weather station"), ("metar", ["43.5,-116"], "no weather station"), ("metar", [], "0 weather"),
    ("metar", ["BOI"], "no weather station"), ("metar", [f"KA{i:02d}" for i in range(21)], "21 weather"),
    ("pirep", ["KBOI"], "no kind of report")])
def test_what_is_no_question_is_refused(kind, stations, said):
    with pytest.raises(BadInput, match=said):
        sources.ask_reports(kind, stations)


@given(st.floats(-90, 90), st.floats(-180, 180))
def test_a_position_goes_out_with_two_decimals_and_days_only(lat, lon):
    ask = sources.ask_forecast(lat, lon, DAY, date(2026, 7, 12))
    sent = dict(ask.params)
    assert ask.url == "https://api.open-meteo.com/v1/forecast"
    for key, value in (("latitude", lat), ("longitude", lon)):
        assert sent[key].lstrip("-").replace(".", "", 1).isdigit() and len(sent[key].split(".")[1]) == 2
        assert sent[key] != "-0.00" and abs(float(sent[key]) - value) <= 0.005 + 1e-9
    assert (sent["start_date"], sent["end_date"]) == ("2026-07-11", "2026-07-12")
    fixed = {k: v for k, v in sent.items() if k not in ("latitude", "longitude", "start_date", "end_date")}
    elsewhere = dict(sources.ask_forecast(1, 2, DAY, DAY).params)
    assert all(elsewhere[k] == v for k, v in fixed.items())


@pytest.mark.parametrize(("lat", "lon", "first", "last"), [
    (91, 0, DAY, DAY), (0, 181, DAY, DAY), (math.nan, 0, DAY, DAY), (0, 0, date(2026, 7, 12), DAY),
    (0, 0, DAY, date(2026, 7, 19))])
def test_no_position_or_no_range_of_days_is_refused(lat, lon, first, last):
    with pytest.raises(BadInput):
        sources.ask_forecast(lat, lon, first, last)


# -- reports -----------------------------------------------------------------------

def test_a_metar_comes_through_as_text_with_its_origin():
    (report,) = sources.read_reports("metar", ("KBOI",), metars(ROW), AT)
    assert (report.station, report.text, report.fetched_at) == ("KBOI", METAR, AT)
    assert "Aviation Weather Center" in report.source and "public domain" in report.licence


def test_a_taf_comes_through_as_text():
    row = {"icaoId": "KBOI", "issueTime": "2026-07-11T11:20:00.000Z", "rawTAF": TAF}
    (report,) = sources.read_reports("taf", ("KBOI",), metars(row), AT)
    assert report.text == TAF


@pytest.mark.parametrize("raw", [METAR, "METAR " + METAR, "SPECI " + METAR, "METAR COR " + METAR])
def test_the_usual_beginnings_of_a_metar_are_let_through(raw):
    (report,) = sources.read_reports("metar", ("KBOI",), metars(ROW | {"rawOb": raw}), AT)
    assert report.text == raw


def test_of_two_reports_the_later_one_stands_whatever_their_order():
    later = ROW | {"obsTime": ROW["obsTime"] + 3600, "rawOb": METAR.replace("1153Z", "1253Z")}
    for rows in ((ROW, later), (later, ROW)):
        (report,) = sources.read_reports("metar", ("KBOI",), metars(*rows), AT)
        assert "1253Z" in report.text


@pytest.mark.parametrize("text", ["", "  \n", "[]"])
def test_no_content_is_no_report(text):
    assert sources.read_reports("metar", ("KBOI",), text, AT) == ()


@pytest.mark.parametrize(("text", "said"), [
    ("<!DOCTYPE html><html><body>Sign in to the hotel</body></html>", "is not JSON"),
    (metars(ROW)[:-20], "is not JSON"), ("null", "not a list"), ('{"status":"error"}', "not a list"), ("[1]", "no report"),
    ("[" * 100000, "is not JSON"), ("[1e5000" + "0" * 10 + ", Infinity]", "is not JSON"),
    (metars(ROW | {"icaoId": "KSUN"}), "nobody asked for"), (metars(ROW | {"icaoId": None}), "nobody asked for"),
    (metars(ROW | {"rawOb": METAR.replace("KBOI", "KSUN")}), "does not begin as a METAR"),
    (metars(ROW | {"rawOb": TAF}), "does not begin as a METAR"), (metars(ROW | {"rawOb": None}), "no readable METAR"),
    (metars(ROW | {"rawOb": METAR + "\x1b[2J"}), "no readable METAR"),
    (metars(ROW | {"rawOb": METAR + "A" * 5000}), "no readable METAR"),
    (metars(ROW | {"obsTime": [1]}), "no readable time"),
    (metars(ROW, ROW | {"obsTime": "2026"}), "cannot be put in order")])
def test_a_hostile_answer_for_reports_is_one_sentence(text, said):
    with pytest.raises(WeatherText, match=said) as refusal:
        sources.read_reports("metar", ("KBOI",), text, AT)
    assert "nothing of it is used" in str(refusal.value) and "\x1b" not in str(refusal.value)


def test_stations_without_report_are_named_and_a_note_of_the_fetch_is_kept():
    def fetch(ask, read):
        return Answer(read(metars(ROW), AT), AT, "The METAR used is stale: fetched 20 min ago.")

    found = sources.reports(fetch, "metar", ["KBOI", "KU79"])
    assert found.missing == ("KU79",)
    assert "stale" in found.note and "no METAR of KU79" in found.note


def test_without_an_answer_every_station_is_missing_and_nobody_says_the_service_had_none():
    found = sources.reports(lambda ask, read: Answer(None, None, "It cannot be reached."), "metar", ["KBOI"])
    assert found == sources.Reports((), ("KBOI",), "It cannot be reached.")


# -- forecast ----------------------------------------------------------------------

def test_a_forecast_is_read_into_si():
    found = read(sky())
    assert (found.elevation_m, found.fetched_at, len(found.hours)) == (870.0, AT, 3)
    assert "Open-Meteo" in found.source and "CC BY 4.0" in found.licence
    ground = found.ground_at(datetime(2026, 7, 11, 1, tzinfo=UTC))
    assert ground.temperature_k == pytest.approx(289.15) and ground.pressure_pa == pytest.approx(90950.0)
    assert (ground.wind_from_deg, ground.wind_m_s) == (pytest.approx(280.0), pytest.approx(5.0))
    air = found.at(2500.0, datetime(2026, 7, 11, 0, 30, tzinfo=UTC))
    assert air.temperature_k == pytest.approx(float(isa_temperature_k(2500.0)), abs=1e-3)
    assert air.pressure_altitude_m == pytest.approx(2500.0, abs=0.1)
    assert (air.wind_from_deg, air.wind_m_s) == (pytest.approx(270.0), pytest.approx(10.0))


def test_the_forecast_is_asked_by_the_fetching_function_and_read_for_the_place_that_was_sent():
    seen = []

    def fetch(ask, reader):
        seen.append(ask)
        return Answer(reader(json.dumps(sky()), AT), AT)

    assert sources.forecast(fetch, 43.5641, -116.2209, DAY, DAY).value == read(sky())
    assert dict(seen[0].params)["latitude"] == "43.56"


def test_null_and_nan_and_a_quantity_left_out_are_not_known():
    for change in ({"hourly__temperature_850hPa": [None] * 3}, {"hourly__temperature_850hPa": ...},
                   {"hourly__temperature_850hPa": [math.nan] * 3}):
        hour = read(sky(**change)).hours[0]
        assert next(x for x in hour.levels if x.pressure_pa == pytest.approx(85000.0)).temperature_k is None
    assert all(x.pressure_pa != 85000.0 for x in read(sky(hourly__geopotential_height_850hPa=[None] * 3)).hours[0].levels)
    assert read(sky(hourly__wind_direction_10m=[None] * 3)).hours[0].ground.east_m_s is None


def test_a_null_unit_of_a_quantity_without_values_is_no_fault():
    assert read(sky(hourly__wind_gusts_10m=[None] * 3, hourly_units__wind_gusts_10m="undefined")).hours[0].ground.gust_m_s is None


def test_a_gust_below_the_wind_is_not_known():
    assert read(sky(hourly__wind_gusts_10m=[1.0, 8.0, 9.0])).hours[0].ground.gust_m_s is None


def test_fewer_hours_than_the_day_are_used_as_far_as_they_go():
    found = read(sky())
    assert found.at(2000.0, datetime(2026, 7, 11, 2, tzinfo=UTC)) is not None
    assert found.at(2000.0, datetime(2026, 7, 11, 2, 1, tzinfo=UTC)) is None


def test_a_cell_over_the_date_line_is_near():
    document = sky(latitude=0.0, longitude=179.9)
    assert sources.read_forecast(json.dumps(document), AT, (0.0, -179.9), DAY, DAY).lon_deg == 179.9


SPOILT = {
    "hotel page": ("<html>Sign in</html>", "is not JSON"), "empty": ("", "is not JSON"), "truncated": (json.dumps(sky())[:900], "is not JSON"),
    "a list": ("[]", "is not a forecast"), "their error": ('{"error":true,"reason":"x"}', "does not say where"),
    "no elevation": (sky(elevation=...), "does not say where"), "no height": (sky(elevation=99999), "does not say where"),
    "text elevation": (sky(elevation="870"), "is no number"), "another place": (sky(latitude=44.5), "not for the place"),
    "another longitude": (sky(longitude=116.2), "not for the place"), "no hours": (sky(hourly=...), "holds no hours"),
    "empty hours": (sky(hourly__time=[]), "no hours"), "hours as list": (sky(hourly=[1]), "holds no hours"),
    "local time": (sky(utc_offset_seconds=-21600), "not in UTC"), "no offset": (sky(utc_offset_seconds=...), "not in UTC"),
    "false offset": (sky(utc_offset_seconds=False), "not in UTC"),
    "iso times": (sky(hourly_units__time="iso8601"), "not in UTC"),
    "text times": (sky(hourly__time=["a", "b", "c"]), "can be read"), "true times": (sky(hourly__time=[True, 1, 2]), "can be read"),
    "time standing": (sky(hourly__time=[BEGIN] * 3), "follow one another"),
    "time falling": (sky(hourly__time=[BEGIN + 7200, BEGIN + 3600, BEGIN]), "follow one another"),
    "a gap": (sky(hourly__time=[BEGIN, BEGIN + 3600, BEGIN + 10800]), "follow one another"),
    "another day": (sky(hourly__time=[BEGIN - 86400 + 3600 * i for i in range(3)]), "other days"),
    "huge times": (sky(hourly__time=[10**30, 10**30 + 3600, 10**30 + 7200]), "other days"),
    "short column": (sky(hourly__temperature_2m=[15.0]), "has not 3 values"),
    "long column": (sky(hourly__wind_speed_850hPa=[1.0] * 4), "has not 3 values"),
    "no column": (sky(hourly__temperature_2m=15.0), "has not 3 values"),
    "fahrenheit": (sky(hourly_units__temperature_2m="°F"), "not in '°C'"), "knots": (sky(hourly_units__wind_speed_700hPa="kn"), "not in 'm/s'"),
    "km/h": (sky(hourly_units__wind_speed_10m="km/h"), "not in 'm/s'"), "no unit": (sky(hourly_units__surface_pressure=...), "not in 'hPa'"),
    "words": (sky(hourly__temperature_2m=["warm", 1, 2]), "is no number"), "truth": (sky(hourly__temperature_2m=[True, 1, 2]), "is no number"),
    "a list inside": (sky(hourly__temperature_2m=[[1], 1, 2]), "is no number"), "infinite": (sky(hourly__temperature_2m=[math.inf, 1, 2]), "is not JSON"),
    "too large a number": (json.dumps(sky()).replace("15.0", "1e999"), "is no number"),
    "hot": (sky(hourly__temperature_2m=[288.0, 288.0, 288.0]), "not believable"), "storm": (sky(hourly__wind_speed_10m=[99.0, 1, 2]), "not believable"),
    "negative wind": (sky(hourly__wind_speed_500hPa=[-1.0, 1, 2]), "not believable"), "direction": (sky(hourly__wind_direction_10m=[361, 1, 2]), "not believable"),
    "pressure in pascal": (sky(hourly__surface_pressure=[91000.0] * 3), "not believable"),
    "level in feet": (sky(hourly__geopotential_height_700hPa=[9882.0] * 3), "not believable"),
    "levels upside down": (sky(hourly__geopotential_height_900hPa=[700.0] * 3, hourly__geopotential_height_925hPa=[800.0] * 3), "do not rise"),
}


@pytest.mark.parametrize("name", SPOILT)
def test_a_hostile_forecast_is_one_sentence(name):
    document, said = SPOILT[name]
    with pytest.raises(WeatherText, match=said) as refusal:
        read(document)
    assert "nothing of it is used" in str(refusal.value) and len(str(refusal.value)) < 300


@given(st.recursive(st.none() | st.booleans() | st.floats() | st.text(max_size=5), lambda x: st.lists(x, max_size=3)
                    | st.dictionaries(st.sampled_from(["hourly", "time", "latitude", "icaoId", "rawOb", "elevation"]), x), max_leaves=12))
def test_any_json_is_read_or_refused_and_never_breaks(document):
    text = json.dumps(document)
    with pytest.raises(WeatherText):
        read(text)
    with suppress(WeatherText):
        assert sources.read_reports("metar", ("KBOI",), text, AT) == ()


@given(st.sampled_from(sorted(sky()["hourly"])), st.lists(st.none() | st.floats() | st.text(max_size=3), min_size=3, max_size=3))
def test_any_column_is_read_or_refused_and_never_breaks(name, values):
    try:
        found = read(sky(**{f"hourly__{name}": values}))
    except WeatherText:
        return
    assert len(found.hours) == 3
