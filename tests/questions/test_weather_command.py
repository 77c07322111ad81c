"""`weather` with a made-up transport: on, off, stale, gone, refused; nothing is asked unless the owner switched it on.

The documents are written by hand; their shape is from memory, as in test_fetching.py.
"""

import json
import tomllib
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import httpx
import pytest

from ownship.cli import main
from ownship.errors import BadInput, UnknownPlace
from ownship.flight.assessment import assess
from ownship.flight.request import read_request
from ownship.papers.weather import weather_json, weather_lines
from ownship.physics.atmosphere import isa_pressure_pa, isa_temperature_k
from ownship.questions.check import demo_aeroplane, demo_flight, situation
from ownship.questions.fetching import Network
from ownship.questions.weather import SWITCH, forecasts_and_notes, forecasts_for, network_of, weather
from ownship.schema import Table, read_toml
from ownship.units import from_si
from ownship.world.sources import LEVELS_HPA

NOW = datetime(2026, 7, 11, 19, tzinfo=UTC)
METAR = "KBOI 111853Z 31008G14KT 10SM CLR 30/07 A3002"
TAF = "TAF KBOI 111730Z 1118/1218 31010KT P6SM SKC TEMPO 1120/1122 19020G35KT 2SM TSRA OVC008CB"


def forecast_body(params):
    """Standard air with a wind of 10 m/s from 270 at every level, for the days and the place that were asked."""
    first = datetime.fromisoformat(params["start_date"]).replace(tzinfo=UTC)
    last = datetime.fromisoformat(params["end_date"]).replace(tzinfo=UTC)
    times = [int(first.timestamp()) + 3600 * i for i in range(24 * ((last - first).days + 1))]
    units, hourly = {"time": "unixtime"}, {"time": times}

    def column(name, value, unit):
        hourly[name], units[name] = [value] * len(times), unit

    column("temperature_2m", float(isa_temperature_k(800.0)) - 273.15, "°C")
    column("dew_point_2m", 1.0, "°C")
    column("surface_pressure", float(isa_pressure_pa(800.0)) / 100, "hPa")
    column("wind_speed_10m", 10.0, "m/s")
    column("wind_direction_10m", 270.0, "°")
    column("wind_gusts_10m", 13.0, "m/s")
    heights = [110.0, 323.0, 540.0, 762.0, 988.0, 1457.0, 1949.0, 3012.0, 4206.0, 5574.0, 7185.0]
    for level, height in zip(LEVELS_HPA, heights, strict=True):
        column(f"temperature_{level}hPa", float(isa_temperature_k(height)) - 273.15, "°C")
        column(f"wind_speed_{level}hPa", 10.0, "m/s")
        column(f"wind_direction_{level}hPa", 270.0, "°")
        column(f"geopotential_height_{level}hPa", height, "m")
    return {"latitude": float(params["latitude"]), "longitude": float(params["longitude"]), "elevation": 800.0,
            "utc_offset_seconds": 0, "hourly": hourly, "hourly_units": units}


class World:
    """Two services that answer, or fail with a code; a clock; what was asked."""

    def __init__(self, folder):
        self.folder, self.now, self.asked, self.code, self.metar, self.taf = folder, NOW, [], 200, METAR, TAF

    def handle(self, request):
        self.asked.append(request)
        params = dict(request.url.params)
        if self.code != 200:
            return httpx.Response(self.code)
        if request.url.path.endswith("metar"):
            return httpx.Response(200, json=[{"icaoId": params["ids"], "obsTime": 1, "rawOb": self.metar}] if self.metar else [])
        if request.url.path.endswith("taf"):
            return httpx.Response(200, json=[{"icaoId": params["ids"], "issueTime": "1", "rawTAF": self.taf}] if self.taf else [])
        return httpx.Response(200, content=json.dumps(forecast_body(params)).encode())

    def network(self, on=True):
        return Network(on, self.folder, httpx.MockTransport(self.handle), lambda: self.now, lambda s: None, lambda: 0.0)


@pytest.fixture
def world(tmp_path):
    return World(tmp_path / "weather")


def text(answer):
    return "\n".join(weather_lines(answer))


def test_metar_taf_and_forecast_of_a_place_with_age_source_and_licence(world):
    answer = weather("kboi", "2026-07-11T21:00Z", world.network())
    assert len(world.asked) == 3 and answer.notes == ()
    assert answer.metar.made == datetime(2026, 7, 11, 18, 53, tzinfo=UTC)
    assert from_si(answer.metar.weather.wind.gust_m_s, "kt") == pytest.approx(14)
    assert from_si(answer.taf.weather.wind.speed_m_s, "kt") == pytest.approx(10)
    assert [from_si(w.visibility_m, "sm") for w in answer.taf.possible] == pytest.approx([6, 2])
    assert answer.forecast.hours[0].time == answer.at and len(answer.forecast.hours) == 13
    said = text(answer)
    for words in (METAR, "7 min ago", "public domain", "CC BY 4.0", "may be: wind 190 true 20 kt, gust 35 kt", "pilot in command"):
        assert words in said


def test_json_is_plain_and_carries_units_bands_ages_and_the_licence(world):
    found = json.loads(json.dumps(weather_json(weather("KBOI", "2026-07-11T21:00Z", world.network())), allow_nan=False))
    assert found["metar"]["age"] == {"value": 7, "unit": "min"}
    assert found["metar"]["weather"]["no_ceiling"] is True and found["metar"]["weather"]["ceiling"] is None
    assert found["taf"]["possible"][1]["ceiling"]["value"] == pytest.approx(800)
    hour = found["forecast"]["hours"][0]
    assert hour["temperature"]["low"] < hour["temperature"]["value"] < hour["temperature"]["high"]
    assert found["forecast"]["licence"].startswith("CC BY") and found["network"] is True


def test_off_nobody_is_called_and_the_answer_says_so(world, monkeypatch):
    monkeypatch.delenv(SWITCH, raising=False)
    answer = weather("KBOI", None, world.network(on=False))
    assert world.asked == [] and (answer.metar, answer.taf, answer.forecast) == (None, None, None)
    assert len(answer.notes) == 3 and all("switched off" in n and "cannot be reached" not in n for n in answer.notes)
    assert network_of(None).on is False


def test_off_what_is_kept_is_shown_with_its_age_and_called_stale(world):
    weather("KBOI", None, world.network())
    calls = len(world.asked)
    world.now = NOW + timedelta(hours=2)
    answer = weather("KBOI", None, world.network(on=False))
    assert len(world.asked) == calls and answer.metar.text == METAR
    assert any("switched off" in n and "METAR of KBOI used is stale: fetched 2 h 0 min ago" in n for n in answer.notes)
    assert any("holds for about an hour" in n for n in answer.notes)
    world.now = NOW + timedelta(hours=5)
    old = weather("KBOI", None, world.network(on=False))
    assert old.metar is None and any("too old to use" in n for n in old.notes)


def test_a_service_that_fails_leaves_an_answer_with_what_is_missing(world):
    world.code = 500
    answer = weather("KBOI", None, world.network())
    assert answer.metar is None and len(answer.notes) == 3 and all("error of its own" in n for n in answer.notes)
    assert "METAR: none" in text(answer) and "TAF: none" in text(answer)


def test_a_text_that_does_not_read_is_shown_and_not_decoded(world):
    world.metar, world.taf = "KBOI 111853Z 99908KT 10SM CLR 30/07 A3002", "TAF KBOI 111730Z 1118/1218 31010KT P6SM SKC TEMPOO 1120/1122 2SM"
    answer = weather("KBOI", None, world.network())
    assert answer.metar.weather is None and answer.taf.weather is None and answer.taf.possible == ()
    assert world.metar in text(answer) and any("TEMPOO" in n for n in answer.notes)


def test_a_taf_that_does_not_cover_the_moment_is_said(world):
    answer = weather("KBOI", "2026-07-13T21:00Z", world.network())
    assert answer.taf.weather is None and any("says nothing of 13 Jul 21:00Z" in n for n in answer.notes)


def test_places_without_a_station_and_places_that_are_none(world):
    answer = weather("U88", None, world.network())
    assert answer.metar is None and any("no ICAO ident" in n for n in answer.notes) and answer.forecast is not None
    position = weather("43.56,-116.22", None, world.network())
    assert position.forecast is not None and position.metar is None
    with pytest.raises(UnknownPlace):
        weather("NOSUCH", None, world.network())
    with pytest.raises(BadInput, match="not a moment"):
        weather("KBOI", "soon", world.network())


def test_a_moment_without_a_zone_is_local_to_the_place(world):
    assert weather("KBOI", "2026-07-11T15:00", world.network()).at == datetime(2026, 7, 11, 21, tzinfo=UTC)


@pytest.mark.parametrize(("word", "on"), [("on", True), (" ON ", True), ("off", False), ("", False)])
def test_the_switch_of_the_owner(monkeypatch, word, on):
    monkeypatch.setenv(SWITCH, word)
    assert network_of().on is on
    assert network_of(True).on is True and network_of(False).on is False


def test_another_word_at_the_switch_is_refused(monkeypatch):
    monkeypatch.setenv(SWITCH, "yes please")
    with pytest.raises(BadInput, match="neither on nor off"):
        network_of()


def test_the_owners_own_weather_of_the_place_is_shown_beside(world):
    answer = weather("KBOI", "2026-07-11T21:00Z", world.network(on=False), "demo")
    assert from_si(answer.own.weather.temperature_k, "C", "temperature") == pytest.approx(34)
    assert "Your request: wind 310 true 9 kt, gust 15 kt, temperature 34 C" in text(answer)
    assert weather_json(answer)["own"]["temperature"] == {"value": pytest.approx(34), "unit": "C"}


def test_weather_taken_over_is_brought_to_the_place_by_the_standard_lapse(world):
    plain = tomllib.loads(demo_flight())
    plain["weather"]["KU79"] = {"use": "KBOI"}
    answer = weather("KU79", "2026-07-11T21:00Z", world.network(on=False), read_request(Table(plain, "request")))
    assert answer.own.borrowed and from_si(answer.own.weather.temperature_k, "C", "temperature") < 34 - 4


# ------------------------------------------------------------------ forecasts for a flight


def request():
    return read_request(read_toml(demo_flight(), "demo"))


def test_off_no_forecast_is_asked_for_a_flight(world):
    assert forecasts_for(request(), {}, world.network(on=False)) == {} and world.asked == []


def test_every_point_of_the_flight_has_its_forecast_and_the_flight_is_judged_by_it(world):
    s = situation(demo_aeroplane(), demo_flight(), draws=64)
    found, notes = forecasts_and_notes(s.request, s.places, world.network())
    assert set(found) == {"KBOI", "U88", "KU79", "KMYL"} and notes == ()
    sent = dict(world.asked[0].url.params)
    assert (sent["start_date"], sent["end_date"]) == ("2026-07-10", "2026-07-14")
    seen = replace(s, forecasts=found)
    assert seen.weather["KBOI"].words.startswith("typed in")  # what was typed goes before
    assert seen.aloft.levels == s.aloft.levels and any("before the forecast" in n for n in seen.air.notes)
    silent = replace(seen, request=replace(s.request, weather={}, aloft=()))
    assert silent.weather["KBOI"].words.startswith("forecast of")
    from_deg, speed = silent.air.middle_wind(s.request.cruise_altitude_m)
    assert (from_deg, speed) == (pytest.approx(270.0), pytest.approx(10.0))
    assert any("one column of air" in n for n in silent.air.notes)
    assert not {m.id for m in assess(seen).margins if m.verdict == "not known"} & {"runway.take_off.KBOI", "fuel.landing"}


def test_what_does_not_come_is_said_and_the_rest_is_kept(world):
    s = situation(demo_aeroplane(), demo_flight(), draws=64)
    world.code = 503
    found, notes = forecasts_and_notes(s.request, s.places, world.network())
    assert found == {} and any("error of its own" in n for n in notes)


def checked(world, monkeypatch):
    """`check` of the demo with the network on, its calls answered by the world."""
    monkeypatch.setenv(SWITCH, "on")
    monkeypatch.setattr("ownship.questions.weather.network_of", lambda setting=None: world.network())
    return assess(situation(demo_aeroplane(), demo_flight(), draws=64))


def test_check_names_the_forecasts_source_and_licence(world, monkeypatch):
    answer = checked(world, monkeypatch)
    assert any(x.startswith("forecast: ") and "CC BY 4.0" in x for x in answer.sources)
    assert not any("cannot be reached" in x or "error of its own" in x for x in answer.not_checked)


def test_check_says_what_forecast_is_missing_or_stale(world, monkeypatch):
    world.code = 503
    lost = checked(world, monkeypatch)
    assert any("error of its own" in x for x in lost.not_checked) and not any("CC BY 4.0" in x for x in lost.sources)
    world.code = 200
    checked(world, monkeypatch)
    world.code, world.now = 503, NOW + timedelta(hours=9)
    stale = checked(world, monkeypatch)
    assert any("stale" in x and "9" in x for x in stale.not_checked) and any("CC BY 4.0" in x for x in stale.sources)


@pytest.mark.parametrize("moment", ["9999-12-31T23:59Z", "0001-01-01T00:00+14:00", "9999-12-31T23:59"])
def test_a_moment_at_an_end_of_the_calendar_is_one_sentence(moment, capsys):
    with pytest.raises(SystemExit) as stopped:
        main(["weather", "KBOI", "--at", moment])
    told = capsys.readouterr()
    assert stopped.value.code == 2 and not told.out and "is in no year that weather is known for; write 1900 to 2200." in told.err


def test_a_southern_position_is_a_place_not_an_option(capsys):
    with pytest.raises(SystemExit) as stopped:
        main(["weather", "-41.3,174.8"])
    assert stopped.value.code == 0
    assert capsys.readouterr().out.startswith("-41.3,174.8, for ")
