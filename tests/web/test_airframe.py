"""The Airframe screen: the record shown and changed by topic, its file in and out; nothing overwritten, every refusal a sentence."""

import html
import re
import tomllib

import pytest
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ownship.aeroplane.reading import read_airframe
from ownship.questions.reading import demo_text
from ownship.questions.record import open_record
from ownship.web import access
from ownship.web import airframe_forms as forms
from ownship.web.airframe_new import PAGES
from ownship.web.airframe_topics import BY_NAME, TOPICS
from ownship.web.app import create_app

APP = create_app()
DEMO, ROWS = demo_text("camas160.toml"), demo_text("camas160_rows.csv")
REG = "N0160T"
WEIGHTS = forms.texts_of(DEMO, BY_NAME["weights"].parts)


@pytest.fixture
def client(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "data"))
    return TestClient(APP, base_url="http://127.0.0.1", follow_redirects=False)


def send(client, path, fields=None, **files):
    client.get("/airframe")
    return client.post(path, data={"token": client.cookies[access.COOKIE]} | (fields or {}),
                       files={k: (f"{k}.txt", v) for k, v in files.items()} or None)


def refusal(page):
    """The sentence of a page that refuses."""
    assert page.status_code == 422, page.status_code
    found = re.search(r'class="refusal".*?</span>(.*?)<', page.text, re.S)
    assert found and "Traceback" not in page.text
    return html.unescape(found[1].strip())


def brought(client, since="2019-05-01"):
    """The demo kept as one's own."""
    page = send(client, "/airframe/import", {"effective": since}, record=DEMO.encode(), rows=ROWS.encode())
    assert page.status_code == 303, refusal(page)
    return client


def entries():
    records = open_record()
    try:
        return records.all()
    finally:
        records.close()


# ---- looking


def test_without_an_aeroplane_the_screen_says_how_to_begin_and_writes_nothing(client, tmp_path):
    page = client.get("/airframe")
    assert page.status_code == 200 and "No aeroplane of yours is kept yet" in page.text and 'href="/airframe/new"' in page.text
    assert client.get("/airframe.json").json()["aeroplanes"] == []
    assert not (tmp_path / "data").exists()


@pytest.mark.parametrize("path", ["", "/weights", "/performance", "/compass"])
def test_the_demo_is_shown_and_as_data_and_nothing_of_it_can_be_changed(client, path):
    page, data = client.get(f"/airframe/demo{path}"), client.get(f"/airframe/demo{path}.json")
    assert page.status_code == data.status_code == 200
    assert data.json()["aeroplane"] == REG
    assert "<form" not in page.text  # nothing of it can be changed


@pytest.mark.parametrize("path", ["/edit/weights", "/weights/change", "/weights/weighing", "/compass", "/performance"])
def test_what_is_sent_for_the_demo_is_refused(client, path):
    assert "invented and stays" in refusal(send(client, f"/airframe/demo{path}", {"what": "x"}))
    assert entries() == ()


def test_every_figure_of_the_record_stands_on_its_page_with_its_unit_and_source(client):
    page = html.unescape(client.get("/airframe/demo").text)
    for topic in TOPICS:
        for text in forms.texts_of(DEMO, topic.parts).values():
            assert all(line in page for line in text.splitlines()), text
    assert "invented for the demo" in page


def test_what_is_missing_is_said_to_be_not_known(client):
    short = 'schema = 1\n[record]\nsource = "papers"\n[identity]\nregistration = "N0500T"\n[weights]\ntake_off_max = "2350 lb"\n'
    send(client, "/airframe/import", {"effective": "2026-01-01"}, record=short.encode())
    page = client.get("/airframe/N0500T").text
    row = re.search(r'<th scope="row">Landing</th><td>(.*?)</td>', page)[1]
    assert "not known" in row and "empty weight not known" in page and "Tanks: none is entered" in page


@pytest.mark.parametrize(("path", "words"), [
    ("/airframe/N1", "keeps no aeroplane N1"), ("/airframe/..%2f..", "no registration"), ("/airframe/n0%20x/weights", "no registration"),
    ("/airframe/demo?on=yesterday", "is no date"), ("/airframe/demo?on=2001-01-01", "no airframe record in force"),
    (f"/airframe/{REG}/edit/wings", "no topic"), (f"/airframe/{REG}/weights?correct=1", "no entry of this ledger")])
def test_a_place_that_is_not_there_is_a_sentence(client, path, words):
    brought(client)
    page = client.get(path)
    assert page.status_code in (404, 422) and (page.status_code == 404 or words in html.unescape(page.text))


# ---- forms


@pytest.mark.parametrize("topic", TOPICS, ids=lambda t: t.name)
def test_a_form_sent_back_as_it_was_changes_no_letter(topic):
    assert forms.applied(DEMO, topic.parts, forms.texts_of(DEMO, topic.parts)).toml == DEMO


@pytest.mark.parametrize("parts", [t.parts for t in TOPICS] + [p.parts for p in PAGES], ids=lambda p: p[0].table)
def test_every_field_of_a_page_has_a_label_of_its_own(parts):
    labels = [f.label for b in forms.blocks(parts, {}) for r in b.rows for f in r.fields]
    assert len(labels) == len(set(labels))


def test_the_record_written_anew_by_its_forms_alone_says_the_same():
    whole = 'schema = 1\n'
    for topic in TOPICS:
        whole = forms.applied(whole, topic.parts, forms.texts_of(DEMO, topic.parts)).toml
    new, old = tomllib.loads(whole), tomllib.loads(DEMO)
    del old["book"]["rows"], old["record"]["status"]  # a file of its own; no field
    del old["fuel"]["temperature_corrected"]  # false, and nothing else is taken
    read_airframe(whole, "whole")
    assert new == old


def test_a_change_is_a_new_revision_from_its_day_on_and_undone(client):
    brought(client)
    page = send(client, f"/airframe/{REG}/edit/weights",
                WEIGHTS | {"weights.take_off_max": "2300 lb", "weights.source": "placard", "base": "1", "effective": "2026-02-01"})
    assert page.headers["location"] == f"/airframe/{REG}?kept=2"
    assert len(entries()) == 2 and entries()[0].body.toml == DEMO
    assert entries()[1].body.rows_csv == ROWS
    before, after = (client.get(f"/airframe/{REG}.json?on={day}").json() for day in ("2026-01-31", "2026-02-01"))
    assert before["topics"]["weights"]["weights.take_off_max"] == "2350 lb"
    assert after["topics"]["weights"] == WEIGHTS | {"weights.take_off_max": "2300 lb", "weights.source": "placard"}
    shown = client.get(page.headers["location"])
    assert "Kept as entry 2" in shown.text
    send(client, "/undo", {"entry": "2", "back": f"/airframe/{REG}"})
    now = client.get(f"/airframe/{REG}.json").json()
    assert now["topics"]["weights"] == WEIGHTS and [r["entry"] for r in now["revisions"]] == [1]
    assert len(entries()) == 3  # the withdrawn one stays readable


def test_of_two_tabs_the_second_is_refused_and_loses_nothing(client):
    brought(client)
    form = WEIGHTS | {"base": "1", "effective": "2026-02-01"}
    assert send(client, f"/airframe/{REG}/edit/weights", form | {"weights.take_off_max": "2300 lb"}).status_code == 303
    page = send(client, f"/airframe/{REG}/edit/weights", form | {"weights.ramp_max": "2400 lb"})
    assert "this form shows that of entry 1" in refusal(page) and 'value="2400 lb"' in page.text
    assert len(entries()) == 2


@pytest.mark.parametrize(("topic", "fields", "words"), [
    ("weights", {}, "Nothing is changed"),
    ("weights", {"weights.take_off_max": "2400"}, "Take-off: '2400' has no unit"),
    ("weights", {"weights.take_off_max": "2400 lb"}, "Ramp: 2,358 lb is less than take_off_max"),
    ("weights", {"weights.landing_max": "23 kt"}, "Landing: '23 kt' is not a mass"),
    ("weights", {"weights.landing_max": "2 lb"}, "not believable"),
    ("weights", {"weights.landing_max": "2340 lb", "effective": "soon"}, "Effective from: 'soon' is no date"),
    ("weights", {"weights.landing_max": "2340 lb", "base": "7"}, "no longer stands"),
    ("stations", {"stations.4.name": "locker", "stations.4.kind": "baggage"}, "Station 5: arm, or from - to: nothing is given"),
    ("stations", {"stations.4.name": "front seats", "stations.4.arm": "80 in", "stations.4.kind": "seat"}, "stands twice"),
    ("stations", {"stations.0.seats": "two"}, "Station 1: seats: 'two' is no whole number"),
    ("stations", {"station_groups.0.stations": "baggage, wing"}, "Group 1: stations: the station 'wing' is not among"),
    ("envelope", {"envelope.0.points": "1350 lb at 81 in\n2350 lb at 86"}, "should be two quantities"),
    ("envelope", {"envelope.0.points": "1350 lb at 81 in\n2350 lb at 86 in"}, "make no envelope"),
    ("tanks", {"tanks.0.unusable": "26 usgal"}, "Tank 1: unusable of it: more is unusable than the tank holds"),
    ("tanks", {"selector.positions": "left, rear"}, "Positions: "),
    ("tanks", {"tanks.0.marks": "tab"}, "Tank 1: marks in the filler, usable: 'tab' should be"),
    ("speeds", {"speeds.vno": "150 kt"}, "vno is more than vne"),
    ("engine", {"propeller.static_rpm": "2400 rpm"}, "Static rpm allowed, from - to: '2400 rpm' should be two"),
    ("engine", {"engine.power": ""}, "Rated power: nothing is given"),
    ("procedures", {"book.notes": "headwind 9 kt"}, "Its wind notes: 'headwind 9 kt' should say of what"),
    ("equipment", {"equipment.0.date": "2021-02-30"}, "Change 1: day: '2021-02-30' is no date"),
    ("identity", {"identity.registration": "N0500T"}, "not of N0160T"),
    ("deviation", {"deviation.compass": "1, 2"}, "two lists of equal length")])
def test_a_bad_field_is_one_sentence_beside_the_form_and_everything_typed_is_kept(client, topic, fields, words):
    brought(client)
    form = forms.texts_of(DEMO, BY_NAME[topic].parts) | {"base": "1", "effective": "2026-02-01"} | fields
    page = send(client, f"/airframe/{REG}/edit/{topic}", form)
    assert words in refusal(page)
    text = html.unescape(page.text)
    assert all(line in text for typed in form.values() for line in typed.splitlines())
    assert len(entries()) == 1


def test_a_row_is_added_and_taken_out(client):
    brought(client)
    form = forms.texts_of(DEMO, BY_NAME["stations"].parts) | {"base": "1", "effective": "2026-02-01"}
    form |= {"stations.4.name": "nose locker", "stations.4.kind": "baggage", "stations.4.arm": "10 in to 20 in", "stations.4.max": "none published"}
    form |= {k: "" for k in form if k.startswith("station_groups.")}
    assert send(client, f"/airframe/{REG}/edit/stations", form).status_code == 303
    record = read_airframe(entries()[1].body.toml, "kept")
    assert [s.id for s in record.stations] == ["front", "rear", "baggage", "shelf", "nose-locker"]
    assert record.station_groups == () and record.stations[-1].max_kg == "none published"
    gone = forms.texts_of(entries()[1].body.toml, BY_NAME["stations"].parts)
    gone |= {k: "" for k in gone if k.startswith("stations.4.") and not k.endswith("kind")} | {"base": "2", "effective": "2026-02-01"}
    assert send(client, f"/airframe/{REG}/edit/stations", gone).status_code == 303
    assert len(read_airframe(entries()[2].body.toml, "kept").stations) == 4


WORDS = st.text(max_size=60) | st.sampled_from(["none published", "1 lb", "80 in", "1350 lb at 81 in; 2 in 3 in", "0", "-1", "1e9 lb",
                                                 "left: 3 usgal", "\x1b[31m", "[[x]]", '"""', "]\nregistration = 1"])


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(topic=st.sampled_from(TOPICS), data=st.data())
def test_whatever_is_typed_reads_as_its_field_or_is_refused_and_never_changes_another(topic, data):
    """Property: no text typed in a field gets out of it, whatever quotes and brackets it has."""
    from ownship.errors import OwnshipError

    before = forms.texts_of(DEMO, topic.parts)
    name = data.draw(st.sampled_from(sorted(before)))
    text = data.draw(WORDS)
    try:
        made = forms.applied(DEMO, topic.parts, before | {name: text}).toml
        read_airframe(made, "typed")
    except OwnshipError as error:
        assert str(error).strip() and forms.explained(str(error), topic.parts)[0]
        return
    old, new = tomllib.loads(DEMO), tomllib.loads(made)
    tables = {p.table.split(".")[0] for p in topic.parts}
    assert {k: v for k, v in new.items() if k not in tables} == {k: v for k, v in old.items() if k not in tables}
    after = forms.texts_of(made, topic.parts)
    others = {k for k in before if k != name and k.rsplit(".", 1)[0] != name.rsplit(".", 1)[0]}
    assert text.strip() == "" or all(after.get(k) == before[k] for k in others)


# ---- files


def test_a_file_comes_back_as_it_was_brought(client):
    brought(client)
    file = client.get(f"/airframe/{REG}.toml?on=2020-01-01")
    assert file.headers["content-disposition"] == f'attachment; filename="{REG}.toml"'
    assert tomllib.loads(file.text)["weights"] == tomllib.loads(DEMO)["weights"]
    assert client.get(f"/airframe/{REG}/rows.csv").text == ROWS


@pytest.mark.parametrize(("files", "words"), [
    ({}, "No file of a record is chosen"),
    ({"record": b"\xff\xfe\x00"}, "no text in UTF-8"),
    ({"record": b"x" * 1_000_001}, "more than 1,000 kB"),
    ({"record": b""}, "is empty"),
    ({"record": b"a = " + b"[" * 5000}, "nested"),
    ({"record": b"schema = 1\nx = " + b"9" * 5000}, "digits"),
    ({"record": b"schema = 2"}, "schema"),
    ({"record": b"schema = 1\n[identity]\nregistration = \"N0500T\""}, "no source here"),
    ({"record": b"schema = 1\n[record]\nsource = \"x\""}, "names no aeroplane"),
    ({"record": "schema = 1\n[record]\nsource = \"x\u202ey\"\n[identity]\nregistration = \"N0500T\"".encode()}, "hidden character"),
    ({"record": b"schema = 1\n[record]\nsource = \"x\"\n[identity]\nregistration = \"../../N\""}, "no registration"),
    ({"record": b"<script>alert(1)</script>"}, "not readable TOML"),
    ({"record": DEMO.encode()}, "names 'camas160_rows.csv', which is not with it"),
    ({"record": DEMO.encode(), "rows": b"nonsense\n1\n"}, "unknown column"),
    ({"record": DEMO.replace("camas160_rows.csv", "../rows.csv").encode(), "rows": ROWS.encode()}, "names a folder"),
    ({"record": DEMO.split("[book]", maxsplit=1)[0].encode(), "rows": ROWS.encode()}, "does not name")])
def test_a_hostile_file_is_one_sentence_and_nothing_is_written(client, files, words):
    page = send(client, "/airframe/import", {"effective": "2026-01-01"}, **files)
    assert words in refusal(page) and "<script>alert" not in page.text
    assert entries() == ()


def test_the_name_of_a_file_is_not_used(client, tmp_path):
    client.get("/airframe")
    client.post("/airframe/import", data={"token": client.cookies[access.COOKIE], "effective": "2026-01-01"},
                files={"record": ("../../../evil.toml", b"schema = 1")})
    assert not list(tmp_path.rglob("*evil*"))


def test_bringing_an_aeroplane_again_is_a_revision_beside_the_first(client):
    brought(brought(client), "2026-03-01")
    assert [r["effective"] for r in client.get(f"/airframe/{REG}.json").json()["revisions"]] == ["2019-05-01", "2026-03-01"]


def test_a_record_that_lies_ahead_is_shown_from_its_day_and_can_be_changed(client):
    brought(client, "2149-01-01")
    page = client.get(f"/airframe/{REG}")
    assert page.status_code == 200 and "effective from 2149-01-01" in page.text
    change = WEIGHTS | {"weights.landing_max": "2300 lb", "base": "1", "effective": "2149-01-01"}
    assert send(client, f"/airframe/{REG}/edit/weights", change).status_code == 303
    assert client.get("/airframe.json").json()["aeroplanes"][0]["effective"] == "2149-01-01"


# ---- performance and compass


def test_the_books_rows_stand_beside_the_model_with_their_bands(client):
    rows = client.get("/airframe/demo/performance.json").json()["rows"]
    assert len(rows) == len([x for x in ROWS.splitlines() if x and not x.startswith(("#", "kind"))])
    assert all(r["model"] is None or r["model"]["low"] <= r["model"]["value"] <= r["model"]["high"] for r in rows)
    first = rows[0]
    assert first["book"] == {"value": 600.0, "unit": "ft"} and "2,350 lb" in first["conditions"]
    page = client.get("/airframe/demo/performance").text
    assert 'role="img"' in page and "Row by row" in page and "graphics-symbol" not in page


def test_a_record_without_rows_says_what_that_leaves_open(client):
    send(client, "/airframe/import", {"effective": "2026-01-01"}, record=DEMO.split("[book]", maxsplit=1)[0].encode())
    page = client.get(f"/airframe/{REG}/performance")
    assert "No rows of the book" in page.text and client.get(f"/airframe/{REG}/performance.json").json()["rows"] == []


def test_rows_typed_in_metres_and_fahrenheit_are_kept_in_the_columns_units(client):
    send(client, "/airframe/import", {"effective": "2026-01-01"}, record=DEMO.split("[book]", maxsplit=1)[0].encode())
    row = {"rows.0.kind": "takeoff_roll_ft", "rows.0.altitude": "1000 m", "rows.0.temperature": "59 F", "rows.0.weight": "1000 kg",
           "rows.0.value": "200 m", "effective": "2026-01-02"}
    assert send(client, f"/airframe/{REG}/performance", row).status_code == 303
    kept = entries()[1].body
    header, cells = kept.rows_csv.splitlines()
    found = dict(zip(header.split(","), cells.split(","), strict=True))
    assert float(found["pressure_altitude_ft"]) == pytest.approx(3280.84) and float(found["oat_c"]) == pytest.approx(15)
    assert float(found["weight_lb"]) == pytest.approx(2204.62, abs=0.01) and float(found["value"]) == pytest.approx(656.168)
    assert read_airframe(kept.toml, "kept").book.rows == "rows.csv"
    bad = send(client, f"/airframe/{REG}/performance", row | {"rows.0.value": "200", "csv": kept.rows_csv})
    assert "Row 1: the book says: '200' has no unit" in refusal(bad) and kept.rows_csv.splitlines()[1] in html.unescape(bad.text)


SWING = {f"magnetic{i}": str(45 * i) for i in range(8)} | {f"compass{i}": str(45 * i - d) for i, d in enumerate((2, 3, 4, 3, 2, 1, 0, 1)) if i} | {
    "compass0": "358", "day": "2026-05-01"}


def test_a_swing_gives_card_coefficients_with_their_words_and_goes_into_the_record(client):
    """Eight headings, deviations 2 3 4 3 2 1 0 1: A = mean 2, C near (N - S)/2 = 0, by the textbook's rules; and B by its least
    squares on eight headings: sum of deviation x sin of the heading over 4 = (4 + 0.7071 (3 + 3 - 1 - 1) - 0)/4 = 1.71 (from memory)."""
    brought(client)
    page = send(client, f"/airframe/{REG}/compass", SWING)
    assert page.headers["location"] == f"/airframe/{REG}/compass?kept=2"
    data = client.get(f"/airframe/{REG}/compass.json").json()
    found = data["swing"]["coefficients_deg"]
    assert [found[k] for k in "ABC"] == pytest.approx([2.0, 1.71, 0.0], abs=0.1)
    text = client.get(f"/airframe/{REG}/compass").text
    assert "the east-west screw of the compass moves it" in text and 'role="img"' in text
    assert send(client, f"/airframe/{REG}/compass/take").status_code == 303
    card = read_airframe(entries()[-1].body.toml, "kept").deviation
    assert card.source == "compass swing of 2026-05-01" and list(card.compass_deg) == [s for _, s in data["swing"]["card"]]


@pytest.mark.parametrize(("fields", "words"), [
    ({}, "No reading is typed"), ({"magnetic0": "0", "compass0": "east", "day": "2026-05-01"}, "should be headings"),
    (SWING | {"compass3": "335"}, "misread"), (SWING | {"day": "x"}, "Day: 'x' is no date")])
def test_a_bad_swing_is_one_sentence_and_its_readings_are_kept(client, fields, words):
    brought(client)
    page = send(client, f"/airframe/{REG}/compass", fields)
    assert words in refusal(page) and all(f'value="{v}"' in page.text for v in fields.values())
    assert len(entries()) == 1
