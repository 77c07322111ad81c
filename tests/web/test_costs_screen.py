"""Costs on the screen: the same figures as the command, the year drawn, a cost kept and undone, a planned flight shared."""

import html

import pytest
from log_cases import REG, as_own, entries, make_client, refusal, send, value

from ownship.ownership.bodies import COST_KINDS
from ownship.questions.costing import costs, flight
from ownship.web.costs_screen import COST, KINDS

client = pytest.fixture(make_client)
HANGAR = {"aeroplane": REG, "what": "hangar", "kind": "fixed", "price": "2400 USD"}
DEMO = "aeroplane=demo&cost_price=6.20 USD/usgal&cost_persons=3"


def test_nothing_kept_says_how_to_begin_and_writes_nothing(client, tmp_path):
    page = client.get("/log/costs")
    assert page.status_code == 200 and "No cost is kept yet" in page.text and "`" not in page.text and not (tmp_path / "data").exists()


def test_page_and_data_say_what_the_command_says(client):
    as_own(client)
    send(client, "/log/costs", HANGAR)
    send(client, "/log/costs", HANGAR | {"what": "engine", "kind": "reserve", "price": "30000 USD", "hours": "2000", "since_hours": "400"})
    data = client.get("/log/costs.json?hours=100&against=185 USD").json()
    assert data == costs(None, ["100"], "185 USD", None, REG).data
    page = html.unescape(client.get("/log/costs?hours=100&against=185 USD").text)
    row = data["currencies"][0]["rows"][0]
    # 2,400 a year over 100 h and 30,000 over 2,000 h: 24 + 15 an hour
    assert row["an_hour"]["amount"] == "39.00" and "39.00 USD" in page
    assert data["currencies"][0]["break_even"]["words"] in page and "engine" in page and "2,400.00 USD" in page
    assert "Plot: money by month" in page and 'role="img"' in page


def test_a_cost_is_kept_for_one_or_for_any_and_can_be_undone(client):
    as_own(client)
    page = send(client, "/log/costs", HANGAR)
    assert page.headers["location"] == f"/log/costs?aeroplane={REG}&kept=2" and "Undo" in client.get(page.headers["location"]).text
    send(client, "/log/costs", HANGAR | {"what": "club", "any": "1"})
    assert [e.aeroplane for e in entries()[1:]] == [REG, ""]
    send(client, "/undo", {"entry": "2", "back": "/log/costs"})
    assert entries()[-1].withdrawn


@pytest.mark.parametrize(("change", "words"), [
    ({"price": "2400"}, "Price"), ({"kind": "gift"}, "kind"), ({"kind": "reserve"}, "give Hours, Years or both"), ({"day": "2126-01-01"}, "Day"),
    ({"hours": "10"}, "Hours: the figures of a fixed cost do not use it"), ({"shareable": "1"}, "Charged for the flight"), ({"what": ""}, "What")])
def test_a_refusal_keeps_what_was_typed(client, change, words):
    as_own(client)
    page = send(client, "/log/costs", HANGAR | {"fund": ""} | change)
    assert words.casefold() in refusal(page).casefold() and "--" not in refusal(page)
    for c in COST:
        if not c.choices and c.kind == "text" and c.name != "hours":  # hours stands on two forms
            assert f'id="cost-{c.name}" name="{c.name}" value="{(HANGAR | change).get(c.name, "")}"' in page.text
    assert len(entries()) == 1 and set(KINDS) == set(COST_KINDS)


@pytest.mark.parametrize(("query", "words"), [("hours=many", "Hours a year"), ("against=185", "Rental rate"), ("flow=9", "Fuel flow"), ("year=1800", "Year")])
def test_a_question_that_cannot_be_asked_is_a_sentence(client, query, words):
    assert words in refusal(client.get(f"/log/costs?{query}"))
    assert client.get(f"/log/costs.json?{query}").status_code == 422


# ---- a planned flight


def test_a_planned_flight_costs_what_the_command_says_and_is_shared_by_place(client):
    data = client.get(f"/log/costs/flight.json?{DEMO}").json()
    told = flight("demo", None, "6.20 USD/usgal", persons=3).data
    assert data["currencies"] == told["currencies"] and data["fuel"] == told["fuel"]
    page = html.unescape(client.get(f"/log/costs/flight?{DEMO}").text)
    for share in data["currencies"][0]["sharing"]:
        assert share["place"] in page and share["words"] in page and share["each"]["amount"] in page
    assert value(client.get(f"/log/costs/flight?{DEMO}"), "cost_price") == "6.20 USD/usgal"


def test_the_flight_screen_s_address_is_taken_from_the_field(client):
    page = client.get("/log/costs/flight", params={"cost_address": "http://127.0.0.1:8000/?aeroplane=demo&power=2400+rpm&theme=night"})
    assert page.status_code == 303 and page.headers["location"] == "/log/costs/flight?power=2400+rpm&aeroplane=demo"
    for other in ("nonsense", "http://127.0.0.1/airframe?x=1", "//elsewhere.example", "http://[", "\\\\x"):
        assert "holds no flight" in refusal(client.get("/log/costs/flight", params={"cost_address": other}))


@pytest.mark.parametrize(("query", "words"), [
    ("aeroplane=demo", "give a price"), ("aeroplane=demo&cost_price=6.20", "Price of fuel"), (f"{DEMO}0", "People aboard"),
    ("aeroplane=demo&cost_price=6 USD/l&cost_persons=x", "People aboard"), ("aeroplane=demo&cost_price=6 USD/l&cost_fees=15", "Fees"),
    ("aeroplane=demo&power=fast&cost_price=6 USD/l", "Power"), ("aeroplane=N1&from=KBOI&cost_price=6 USD/l", "N1")])
def test_a_planned_flight_that_cannot_be_priced_is_a_sentence_and_the_flight_is_not_lost(client, query, words):
    page = client.get(f"/log/costs/flight?{query}")
    assert words in refusal(page) and '<input type="hidden" name="aeroplane"' in page.text
