"""The same flight asked otherwise: read as strictly as the first time, and what is the same is not read twice."""

import pytest

from ownship.errors import BadInput
from ownship.flight import alter
from ownship.flight.alter import altered
from ownship.flight.changes import changes_of, edited, fuels_and_levels
from ownship.flight.request import read_request
from ownship.questions.check import demo_aeroplane, demo_flight, situation
from ownship.schema import Table


@pytest.fixture(scope="module")
def demo():
    return situation(demo_aeroplane(), demo_flight())


def test_weather_that_stays_the_same_is_not_read_again(demo, monkeypatch):
    read = []
    monkeypatch.setattr(alter, "read_request", lambda t: read.append(t.keys()) or read_request(t))
    again = altered(demo, {**demo.request_data, "cruise_altitude": "11500 ft"})
    assert "weather" not in read[0]
    assert again.request.weather == demo.request.weather


def test_what_is_read_anew_and_what_is_kept_make_the_same_request_as_reading_all(demo):
    data = {**demo.request_data, "cruise_altitude": "11500 ft"}
    whole, kept = read_request(Table(data, "request")), altered(demo, data).request
    names = [n for n in vars(whole) if n not in ("weather", "fuel")]  # those two say where they stand in a file
    assert [getattr(kept, n) for n in names] == [getattr(whole, n) for n in names]
    assert {k: (w.wind, w.temperature_k) for k, w in kept.weather.items()} == {
        k: (w.wind, w.temperature_k) for k, w in whole.weather.items()}


def test_other_weather_is_read_as_strictly_as_before(demo):
    data = edited(demo.request_data, ())
    data["weather"]["KU79"]["temperature"] = "hot"
    with pytest.raises(BadInput, match="'hot' is not a number"):
        altered(demo, data)
    del data["weather"]
    assert altered(demo, data).request.weather == {}


def test_the_changes_of_fuel_and_level_are_those_of_all_changes(demo):
    assert fuels_and_levels(demo) == tuple(c for c in changes_of(demo) if c.kind in ("fuel", "altitude"))
