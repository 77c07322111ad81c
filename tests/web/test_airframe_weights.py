"""The weight ledger and the own aerodromes as forms: what the commands keep, kept from a page; refusals beside the form."""

import html
import re

import pytest
from fastapi.testclient import TestClient

from ownship.questions.reading import demo_text
from ownship.questions.record import open_record
from ownship.questions.weighing_ledger import keep
from ownship.web import access
from ownship.web.app import create_app

APP = create_app()
REG = "N0160T"
WHERE = f"/airframe/{REG}/weights"
MONITOR = {"what": "engine monitor", "weight": "2 lb", "arm": "50 in", "day": "2025-03-01", "removed": "in"}
STRIP = {"field.ident": "mine", "field.name": "Home strip", "field.position": "45.1,-115.2", "field.elevation": "5765 ft",
         "field.date": "2026-05-17", "field.source": "walked", "runways.0.end": "07", "runways.0.true_heading": "068",
         "runways.0.length": "2450 ft", "runways.0.threshold_height": "5765 ft", "runways.0.far_height": "5814 ft",
         "runways.0.surface": "grass", "runways.0.obstacles": "3000 ft 60 ft; 1 nm 250 ft"}


@pytest.fixture
def client(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "data"))
    keep("demo", "2019-05-01")
    return TestClient(APP, base_url="http://127.0.0.1", follow_redirects=False)


def send(client, path, fields):
    client.get("/airframe")
    return client.post(path, data={"token": client.cookies[access.COOKIE]} | fields)


def refusal(page):
    assert page.status_code == 422
    found = re.search(r'class="refusal".*?</span>(.*?)<', page.text, re.S)
    assert found and "Traceback" not in page.text
    return html.unescape(found[1].strip())


def entries():
    records = open_record()
    try:
        return records.all()
    finally:
        records.close()


def test_scales_of_wb_07_from_the_form(client):
    """Published, its answer not shown (WB-07): nose 475 lb at 55 in, mains 1,046 and 1,040 lb at 121 in: 2,561 lb at 108.8 in."""
    page = send(client, f"{WHERE}/weighing", {"day": "2024-06-01", "weighed": "yes", "oil": "full", "fuel": "unusable",
                                              "scales": "475lb at 55in; 1046lb at 121in; 1040lb at 121in"})
    assert page.headers["location"] == f"{WHERE}?kept=2"
    data = client.get(f"{WHERE}.json").json()
    assert data["empty"]["weight"]["value"] == pytest.approx(2561) and data["empty"]["arm"]["value"] == pytest.approx(108.8, abs=0.05)
    assert data["last_real_weighing"]["day"] == "2024-06-01"


def test_the_ledger_of_the_demo_stands_on_its_page(client):
    """1,418 lb on the scales, -9.8 + 5.6 + 3.2 lb of equipment, 2 lb more: 1,419 lb; 2,350 lb less that: 931 lb."""
    page = send(client, f"{WHERE}/change", MONITOR)
    shown = client.get(page.headers["location"]).text
    assert "basic empty weight 1,419.0 lb" in shown and "useful load 931.0 lb" in shown and "engine monitor" in shown
    assert "It moves" in shown and "Kept as entry 2" in shown
    assert re.search(r"2019-04-12, [67]\.\d years ago", shown)
    for words in ("most forward", "most aft", "amendment.txt", "Unsigned it changes nothing"):
        assert words in shown
    data = client.get(f"{WHERE}.json").json()
    assert data["adverse"]["categories"][0]["category"] == "normal"
    send(client, "/undo", {"entry": "2", "back": WHERE})
    assert client.get(f"{WHERE}.json").json()["empty"]["weight"]["value"] == pytest.approx(1417)


def test_the_amendment_is_a_draft_to_sign(client):
    send(client, f"{WHERE}/change", MONITOR)
    text = client.get(f"/airframe/{REG}/amendment.txt").text
    assert text.startswith("WEIGHT AND BALANCE AMENDMENT\nDRAFT, UNSIGNED") and "1,419.00" in text
    assert "engine monitor" in client.get(f"/airframe/{REG}/amendment.csv").text


def test_an_entry_is_corrected_and_withdrawn_and_stays_readable(client):
    send(client, f"{WHERE}/change", MONITOR)
    form = client.get(f"{WHERE}?correct=2").text
    assert 'value="engine monitor"' in form and 'value="2 lb"' in form and 'value="50.00 in"' in form
    same = MONITOR | {"entry": "2", "arm": "50.00 in", "by": ""}
    assert send(client, f"{WHERE}/correct", same | {"weight": "3 lb", "note": "on scales"}).status_code == 303
    assert entries()[-1].body.weight_kg == pytest.approx(3 * 0.45359237) and entries()[-1].body.arm_m == entries()[1].body.arm_m
    assert send(client, f"{WHERE}/correct", MONITOR | {"entry": "3", "withdraw": "never put in"}).status_code == 303
    assert client.get(f"{WHERE}.json").json()["empty"]["weight"]["value"] == pytest.approx(1417)
    assert len(entries()) == 4


@pytest.mark.parametrize(("form", "fields", "words"), [
    ("change", {"weight": "2"}, "Weight: '2' has no unit"), ("change", {"arm": ""}, "without its arm; give Weight and Arm"),
    ("change", {"what": " "}, "does not say what"), ("change", {"day": "2149-01-01"}, "a day to come"),
    ("change", {"day": "2019-04-12"}, "say \"before the weighing\" where that holds it already, \"after the weighing\""),
    ("change", {"weight": "1900 lb", "removed": "out"}, "More is taken away"),
    ("change", {"what": "\x1b[31mred"}, "hidden character"),
    ("weighing", {"scales": "475lb"}, "Scales: '475lb' is without its arm"), ("weighing", {"weight": "1400 lb"}, "without its arm"),
    ("weighing", {"weight": "1400 lb", "arm": "85 in", "fuel": "usable full"}, "needs the fuel's density"),
    ("weighing", {"weight": "1400 lb", "arm": "85 in", "oil": "some"}, "no state of a weighing"),
    ("correct", {"entry": "1"}, "no entry of this ledger"), ("correct", {"entry": "2"}, "says nothing")])
def test_a_bad_entry_is_one_sentence_beside_its_form_and_nothing_is_written(client, form, fields, words):
    send(client, f"{WHERE}/change", MONITOR)
    base = {"change": MONITOR, "weighing": {"day": "2024-06-01"}, "correct": MONITOR | {"arm": "50.00 in", "by": ""}}[form]
    page = send(client, f"{WHERE}/{form}", base | fields)
    assert words in refusal(page) and "--" not in refusal(page)
    assert len(entries()) == 2


def test_an_own_strip_is_kept_shown_and_put_over_the_open_data(client):
    page = send(client, "/airframe/aerodromes", STRIP)
    assert page.headers["location"] == "/airframe/aerodromes?kept=2"
    shown = client.get(page.headers["location"]).text
    assert "MINE, Home strip" in shown and "+2.0 %" in shown and "068 true" in shown and "2,450 ft" in shown
    found = client.get("/airframe/aerodromes.json").json()["results"][0]
    assert found["ident"] == "MINE" and found["runways"][0]["slope"]["value"] == pytest.approx(2.0)
    form = html.unescape(client.get("/airframe/aerodromes?ident=mine").text)
    assert all(v in form for k, v in STRIP.items() if k != "field.ident")
    send(client, "/undo", {"entry": "2", "back": "/airframe/aerodromes"})
    assert client.get("/airframe/aerodromes.json").json()["results"] == []


@pytest.mark.parametrize(("fields", "words"), [
    ({"field.ident": ""}, "needs ident"), ({"field.source": ""}, "source; write both"), ({"field.date": "2149-01-01"}, "not ahead"),
    ({"field.position": ""}, "position is needed"), ({"field.position": "north"}, "is not a position"),
    ({"runways.0.length": "2450"}, "Direction 1: usable length: '2450' has no unit"),
    ({"runways.0.end": "east"}, "Direction 1: direction: 'EAST' is no runway end"),
    ({"runways.0.true_heading": "400"}, "Direction 1: true heading: "), ({"runways.0.obstacles": "tree"}, "should be two quantities"),
    ({"runways.3.length": "1000 ft"}, "Direction 4: direction: nothing is given")])
def test_a_bad_aerodrome_is_one_sentence_and_what_was_typed_is_kept(client, fields, words):
    page = send(client, "/airframe/aerodromes", STRIP | fields)
    assert words in refusal(page) and all(html.escape(v) in page.text for v in (STRIP | fields).values())
    assert len(entries()) == 1


def test_no_aerodrome_yet_says_what_to_do(client):
    assert "None is kept yet" in client.get("/airframe/aerodromes").text


def test_an_envelope_straight_in_moment_is_drawn_curved_in_arm():
    """Half-way along an edge in moment (1,000 lb at 80 in to 2,000 lb at 90 in) the arm at 1,500 lb is 130,000/1,500 = 86.67 in, not 85."""
    from ownship.aeroplane.description import Envelope
    from ownship.papers.airframe_charts import _edges
    from ownship.papers.weight import INCH_POUND
    from ownship.units import to_si

    corners = tuple((float(to_si(w, "lb")), float(to_si(a, "in"))) for w, a in ((1000, 80), (2000, 90), (1000, 95)))
    line = _edges(Envelope("normal", "moment", corners, ""), INCH_POUND)
    middle = min(line[:12], key=lambda p: abs(p["weight"] - 1500))
    assert middle["arm"] == pytest.approx((middle["weight"] - 1000) / 1000 * (180_000 - 80_000) / middle["weight"] + 80_000 / middle["weight"])
    assert middle["arm"] > 80 + 10 * (middle["weight"] - 1000) / 1000


def test_the_envelope_chart_tells_its_corners_and_has_no_loading_in_it():
    from ownship.aeroplane.reading import read_airframe
    from ownship.papers.airframe_charts import envelope_chart
    from ownship.papers.weight import INCH_POUND

    record = read_airframe(demo_text("camas160.toml"), "demo")
    svg = envelope_chart(record, INCH_POUND)
    assert svg == envelope_chart(record, INCH_POUND)
    for words in ("2,350 lb at 86.0 in", "1,950 lb at 88.0 in", "take-off, landing 2,350 lb", "utility"):
        assert words in svg


def test_a_person_who_weighs_in_kilograms_sees_kilograms_and_millimetres(client):
    """1,417 lb is 642.7 kg; 84.14 in is 2,137 mm. The data keep their units."""
    client.cookies.set("ownship-units", "aeroplane-kg")
    page = client.get(WHERE).text
    assert "basic empty weight 642.7 kg at 2,137 mm" in page and "642.7 kg" in client.get("/airframe").text
    assert "weight (kg)" in client.get(f"/airframe/{REG}").text
    assert client.get(f"{WHERE}.json").json()["empty"]["weight"]["unit"] == "lb"
