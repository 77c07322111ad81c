"""The guide from the papers to a first assessment: page by page, a draft in between, what is left out is not known."""

import html
import json
import re

import pytest
from fastapi.testclient import TestClient

from ownship.aeroplane.reading import read_airframe
from ownship.questions.airframe_record import DRAFT
from ownship.questions.reading import demo_text
from ownship.questions.record import open_record
from ownship.web import access, airframe_new
from ownship.web import airframe_forms as forms
from ownship.web.app import create_app
from ownship.web.book_rows_form import csv_of

APP = create_app()
DEMO = demo_text("camas160.toml")
BOOK = (("takeoff_50ft_ft", "0 ft", "0 C", "1265 ft"), ("takeoff_50ft_ft", "0 ft", "30 C", "1530 ft"),
        ("takeoff_50ft_ft", "6000 ft", "0 C", "2090 ft"), ("takeoff_50ft_ft", "6000 ft", "30 C", "2650 ft"),
        ("landing_50ft_ft", "0 ft", "0 C", "1210 ft"), ("landing_50ft_ft", "0 ft", "30 C", "1290 ft"),
        ("landing_50ft_ft", "6000 ft", "0 C", "1400 ft"), ("landing_50ft_ft", "6000 ft", "30 C", "1500 ft"),
        ("rate_of_climb_fpm", "0 ft", "15 C", "770 ft/min"))
FLIGHT = {"aeroplane": "N0500T", "from": "KBOI", "to": "KMYL", "departure": "2026-07-11T08:00-06:00", "cruise_altitude": "8500 ft",
          "power": "2450 rpm", "load0_what": "pilot", "load0": "176 lb", "load0_station": "front",
          "fuel_left_on_board": "tab", "fuel_left_known_by": "mark", "fuel_right_on_board": "tab", "fuel_right_known_by": "mark"}


@pytest.fixture
def client(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "data"))
    return TestClient(APP, base_url="http://127.0.0.1", follow_redirects=False)


def send(client, path, fields=None):
    client.get("/airframe")
    return client.post(f"/airframe/new/{path}", data={"token": client.cookies[access.COOKIE]} | (fields or {}))


def refusal(page):
    assert page.status_code == 422
    found = re.search(r'class="refusal".*?</span>(.*?)<', page.text, re.S)
    assert found and "Traceback" not in page.text
    return html.unescape(found[1].strip())


def texts_of(page):
    """The demo's figures as somebody would type them on a page of the guide; short names are not asked for."""
    found = {k: v for part in page.parts if part.table != "rows" for k, v in forms.texts_of(DEMO, (part,)).items() if not k.endswith(".id")}
    if page.name == "aeroplane":
        found["identity.registration"] = "n0500t"
    if page.name == "book":
        found |= {f"rows.{i}.{key}": text for i, (kind, altitude, temperature, value) in enumerate(BOOK)
                  for key, text in (("kind", kind), ("altitude", altitude), ("temperature", temperature), ("weight", "2350 lb"), ("value", value))}
    return found


def typed(client):
    for page in airframe_new.PAGES:
        assert send(client, page.name, texts_of(page)).status_code == 303, page.name


def test_from_the_papers_to_a_first_verdict(client, tmp_path):
    begin = client.get("/airframe/new")
    assert "weighing report" in begin.text and 'href="/airframe/new/aeroplane"' in begin.text
    where = "/airframe/new/aeroplane"
    for page in airframe_new.PAGES:
        shown = html.unescape(client.get(where).text)
        assert all(what in shown and paper in shown for what, paper in page.papers)
        answer = send(client, page.name, texts_of(page))
        where = answer.headers["location"]
    assert where == "/airframe/new/look"
    look = client.get(where).text
    assert "Nothing that a first assessment needs is missing" in look
    assert not (tmp_path / "data" / "record.sqlite").exists()  # a draft is no record
    kept = send(client, "keep", {"effective": "2026-01-01"})
    assert kept.headers["location"] == "/?aeroplane=N0500T"
    assert client.get(kept.headers["location"]).status_code == 200
    assert not (tmp_path / "data" / DRAFT).exists()
    told = client.get("/flight.json", params=FLIGHT).json()
    assert told["aeroplane"]["registration"] == "N0500T" and told["verdict"] == "not known"  # no weather is given
    known = {m["id"]: m["verdict"] for m in told["margins"]}
    assert known["weight.take_off"] == "within limits"


def test_what_the_guide_keeps_says_what_its_papers_said(client):
    typed(client)
    send(client, "keep", {"effective": "2026-01-01"})
    records = open_record()
    try:
        body = records.all()[0].body
    finally:
        records.close()
    made, demo = read_airframe(body.toml, "made"), read_airframe(DEMO, "demo")
    for name in ("weights", "envelopes", "stations", "tanks", "engine", "propeller", "position_error"):
        new, old = (re.sub(r"source='[^']*'", "", repr(getattr(x, name))) for x in (made, demo))
        assert new.replace("'hat-shelf'", "'shelf'") == old, name  # a short name is made of the name
    assert body.rows_csv.count("\n") == len(BOOK) + 1
    assert made.source.startswith("the aeroplane's papers") or "invented" in made.source


def test_nothing_must_be_known_but_the_registration(client):
    assert "nothing is given" in refusal(send(client, "keep", {"effective": "2026-01-01"}))
    for page in airframe_new.PAGES:
        fields = {"identity.registration": "N0500T"} if page.name == "aeroplane" else {}
        assert send(client, page.name, fields).status_code == 303
    missing = client.get("/airframe/new.json").json()["not_known"]
    told = " ".join(m["what"] for m in missing)
    for words in ("no weighing", "no maximum take-off weight", "no envelope", "no seat", "no tank", "no selector", "no rows of the book"):
        assert words in told
    assert send(client, "keep", {"effective": "2026-01-01"}).status_code == 303
    page = client.get("/airframe/N0500T").text
    assert "empty weight not known" in page


def test_the_draft_waits_and_is_resumed_where_it_was_left(client, tmp_path):
    first, second = airframe_new.PAGES[:2]
    send(client, first.name, texts_of(first))
    later = send(client, second.name, texts_of(second) | {"way": "later"})
    assert later.headers["location"] == "/airframe"
    again = TestClient(APP, base_url="http://127.0.0.1")  # another browser, another day
    begin = again.get("/airframe/new")
    assert "draft of n0500t" in begin.text and 'href="/airframe/new/limits">Go on' in begin.text
    assert "412 lb" in again.get("/airframe/new/weighing").text
    assert json.loads((tmp_path / "data" / DRAFT).read_text())["identity.registration"] == "n0500t"
    assert send(client, "forget").status_code == 303
    assert "n0500t" not in client.get("/airframe/new/aeroplane").text


@pytest.mark.parametrize(("page", "fields", "words"), [
    ("aeroplane", {"identity.registration": "N 1"}, "no registration"),
    ("aeroplane", {"identity.year": "nineteen"}, "Year built: 'nineteen' is no whole number"),
    ("weighing", {"weighings.0.date": "2020-01-01", "weighings.0.weighed": "yes"}, "Weighing 1: empty weight: nothing is given"),
    ("weighing", {"weighings.0.date": "2020-01-01", "weighings.0.readings": "508 lb"}, "should be gross - tare at arm"),
    ("limits", {"weights.take_off_max": "2350"}, "Take-off: '2350' has no unit"),
    ("stations", {"stations.0.name": "front seats"}, "Station 1: arm, or from - to: nothing is given"),
    ("fuel", {"fuel.density": "60 lb/usgal"}, "Fuel density: "),
    ("engine", {"engine.power": "160 hp"}, "at: nothing is given"),
    ("speeds", {"position_error.ias": "45 kt"}, "is CAS: nothing is given"),
    ("book", {"rows.0.altitude": "0 ft"}, "Row 1: what: nothing is chosen"),
    ("book", {"rows.0.kind": "cruise_tas_kt", "rows.0.altitude": "0 ft", "rows.0.temperature": "15 C", "rows.0.weight": "2350 lb",
              "rows.0.value": "110 kt"}, "rpm")])
def test_a_page_that_does_not_read_says_so_beside_its_field_and_keeps_what_was_typed(client, page, fields, words):
    shown = send(client, page, fields)
    assert words in refusal(shown)
    assert all(html.escape(v) in shown.text for v in fields.values())
    again = client.get(f"/airframe/new/{page}").text
    assert all(html.escape(v) in again for v in fields.values())  # it is in the draft, and the end refuses it
    look = client.get("/airframe/new/look").text
    assert "To be corrected first" in look and f'href="/airframe/new/{page}"' in look
    assert send(client, "keep", {"effective": "2026-01-01"}).status_code == 422


def test_blank_crossings_of_a_table_are_told(client):
    typed(client)
    page = airframe_new.BY_NAME["book"]
    send(client, "book", {k: v for k, v in texts_of(page).items() if not k.startswith("rows.3.")})
    assert "take-off over 50 ft: 1 of 4 crossings of its table are blank" in client.get("/airframe/new/look").text


def test_an_aeroplane_that_is_kept_already_is_not_begun_again(client):
    typed(client)
    send(client, "keep", {"effective": "2026-01-01"})
    assert "N0500T is kept already" in refusal(send(client, "aeroplane", {"identity.registration": "N0500T"}))


def test_a_damaged_draft_is_a_sentence_and_can_be_thrown_away(client, tmp_path):
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / DRAFT).write_text("[1", encoding="utf-8")
    assert "is damaged" in refusal(client.get("/airframe/new"))
    assert "is damaged" in refusal(send(client, "fuel", {"fuel.grade": "x"}))
    assert (tmp_path / "data" / DRAFT).read_text() == "[1"
    send(client, "forget")
    assert client.get("/airframe/new").status_code == 200


def test_a_draft_too_large_is_refused(client, tmp_path):
    assert "would hold too much" in refusal(send(client, "fuel", {"fuel.grade": "x" * 20_001}))
    assert not (tmp_path / "data" / DRAFT).exists()


def test_rows_are_added_to_those_that_stand_with_their_remarks():
    before = "# a remark\nkind,pressure_altitude_ft,oat_c,weight_lb,flap,value\ntakeoff_roll_ft,0,15,2350,up,600\n"
    made = csv_of({"rows.0.kind": "fuel_flow_usgph", "rows.0.altitude": "6000 ft", "rows.0.temperature": "3 C", "rows.0.weight": "2350 lb",
                   "rows.0.rpm": "2450 rpm", "rows.0.value": "30 l/h"}, before)
    lines = made.strip().splitlines()
    assert lines[0] == "# a remark" and lines[1] == "kind,pressure_altitude_ft,oat_c,weight_lb,flap,value,rpm"
    assert lines[2] == "takeoff_roll_ft,0,15,2350,up,600," and lines[3].startswith("fuel_flow_usgph,6000,3,2350,,7.92")
