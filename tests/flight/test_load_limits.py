"""Load limits that a recipe would miss: a category's own heaviest weight, spare payload by every limit, guessed baggage."""

import tomllib

import pytest

from ownship.questions.check import check_text, demo_aeroplane, demo_flight
from ownship.web.forms import write_toml


def judged(**change):
    return check_text(demo_aeroplane(), write_toml(tomllib.loads(demo_flight()) | change))


def people(*pounds):
    return [{"what": "person", "station": "front", "weight": f"{w} lb", "weighed": True} for w in pounds]


FULL = {side: {"on_board": "full", "known_by": "full"} for side in ("left", "right")}


def test_a_categorys_heaviest_weight_is_judged():
    answer = judged(category="utility", loads=people(230, 230), fuel=FULL)
    assert answer.verdict == "outside limits"
    assert not any(m.id.startswith("station") and m.verdict == "outside limits" for m in answer.margins)


def test_spare_payload_minds_every_limit():
    more = judged(loads=people(170, 170)).more
    spare = {name.split(" with")[0].removeprefix("payload at "): f.value for name, f in more.items() if name.startswith("payload")}
    assert spare["hat shelf"] == pytest.approx(25, abs=0.1)
    assert spare["baggage compartment"] <= 140.1


def test_guessed_baggage_near_its_limit_is_tight():
    bag = {"what": "bags", "station": "baggage", "weight": "139 lb", "weighed": False}
    answer = judged(loads=[*people(170), bag])
    assert next(m for m in answer.margins if m.id == "station.baggage").verdict == "tight"


def test_humid_heat_slows_the_climb():
    data = tomllib.loads(demo_flight())
    dry, humid = (check_text(demo_aeroplane(), write_toml(data | {"weather": data["weather"] | {
        "KBOI": data["weather"]["KBOI"] | {"dew_point": dew}}})) for dew in ("-5 C", "30 C"))
    assert humid.fuel.parts["climb"].value > dry.fuel.parts["climb"].value


def seats(loads):
    return {m.id: m.verdict for m in judged(loads=loads).margins if m.id.startswith("seats.") or m.id == "weight.people"}


def test_more_people_than_seats_are_outside():
    assert seats(people(176, 150)) == {"seats.front": "within limits", "seats.rear": "within limits"}
    assert seats(people(120, 110, 100))["seats.front"] == "outside limits"
    assert judged(loads=people(120, 110, 100)).verdict == "outside limits"


def test_who_counts_as_a_person_is_said_by_the_seat_or_by_the_request():
    dog = {"what": "dog", "station": "front", "weight": "40 lb"}
    assert seats([*people(176, 150), dog])["seats.front"] == "outside limits"
    assert seats([*people(176, 150), dog | {"person": False}])["seats.front"] == "within limits"
    assert seats([*people(176, 150), dog | {"weight": "0 lb"}])["seats.front"] == "within limits"
    assert seats([*people(176), dog | {"station": "baggage", "person": True}])["seats.baggage"] == "outside limits"
    assert seats([dog | {"person": False}])["weight.people"] == "not known"


def test_the_demo_has_a_seat_for_everybody():
    found = {m.id: m for m in judged().margins}
    assert [found[f"seats.{x}"].verdict for x in ("front", "rear")] == ["within limits"] * 2
    assert found["seats.rear"].words == "2 people for 2 seats."
