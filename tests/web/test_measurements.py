"""The Measurements screen: every kind entered, kept, undone, taken out; the next check takes it; hostile tracks are sentences."""

import html
import re
import tomllib

import pytest
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ownship.calibration.measured import read_measurements
from ownship.questions import measuring
from ownship.questions.airframe_record import airframe
from ownship.questions.from_record import situation_from_record
from ownship.questions.reading import demo_text
from ownship.questions.weighing_ledger import keep, keep_text
from ownship.schema import read_toml
from ownship.web import access
from ownship.web import measurements_forms as forms
from ownship.web.app import create_app
from ownship.web.measurements_kinds import KINDS, kind_of

APP = create_app()
REG = "N0160T"
AIR = {"pressure_altitude": "4000 ft", "oat": "9 C", "weight": "2150 lb"}
RUNWAY = AIR | {"roll": "900 ft", "over_50ft": "1700 ft", "headwind": "5 kt", "surface": "paved dry"}
CHANGE = {"time": "200 s", "ias": "76 kt", "oat": "9 C", "weight": "2150 lb", "heights": "pressure"}
TYPED = {
    "level_run": AIR | {"rpm": "2400 rpm", "ias": "102 kt", "mixture": "lean", "legs.0.groundspeed": "118 kt", "legs.0.track": "010 deg",
                        "legs.1.groundspeed": "97 kt", "legs.1.track": "130 deg", "legs.2.groundspeed": "104 kt", "legs.2.track": "250 deg"},
    "timed_climb": CHANGE | {"from": "3000 ft", "to": "5000 ft"},
    "glide": CHANGE | {"from": "5000 ft", "to": "3000 ft", "propeller": "windmilling"},
    "static": {"rpm": "2310 rpm", "oat": "15 C", "pressure_altitude": "500 ft", "optical": "yes"},
    "tachometer": {"panel": "2400 rpm", "optical": "2370 rpm"},
    "take_off": RUNWAY | {"lift_off": "57 kt", "at_50ft": "65 kt"},
    "landing": RUNWAY | {"approach": "62 kt"},
    "fuel_flow": AIR | {"flow": "8.3 usgal/h", "rpm": "2400 rpm", "mixture": "lean"},
    "fill": {"date": "2026-05-01", "tanks.0.level": "full", "tanks.1.level": "full"},
    "engine": {"hours": "1240 h", "oil_added": "2 qt", "compressions": "72/80, 74/80", "filter": "clean", "mag_drop.left": "60 rpm",
               "static.rpm": "2330 rpm", "static.oat": "21 C", "static.pressure_altitude": "2900 ft"}}
# docs/formats/measurements.md, its example
EXAMPLE = """
[[level_run]]
date = 2024-05-17
pressure_altitude = "4000 ft"
oat = "9 C"
weight = "2150 lb"
rpm = "2400 rpm"
ias = "102 kt"
legs = [
  { groundspeed = "118 kt", track = "010 deg" },
  { groundspeed = "97 kt", track = "130 deg" },
  { groundspeed = "104 kt", track = "250 deg" },
]
[[fill]]
date = 2024-05-17
name = "Friday, there and back"
flights = [{ taxi = "9 min", climb = "14 min", cruise = "1h05m", descent = "9 min", approach = "6 min" }]
tanks = [{ tank = "left", level = "full", added = "7.9 usgal" }, { tank = "right", level = "full", added = "6.1 usgal" }]
cruise = { rpm = "2400 rpm", pressure_altitude = "6000 ft", oat = "5 C", weight = "2150 lb" }
[[engine]]
hours = "1240 h"
static = { rpm = "2330 rpm", oat = "21 C", pressure_altitude = "2900 ft" }
oil_added = "2 qt"
compressions = ["72/80", "74/80", "75/80", "70/80"]
filter = "clean"
mag_drop = { left = "60 rpm", right = "75 rpm" }
"""
TANKS = (("left", "left tank"), ("right", "right tank"))


@pytest.fixture
def client(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "data"))
    return TestClient(APP, base_url="http://127.0.0.1", follow_redirects=False)


@pytest.fixture
def own(client):
    """The demo kept as one's own."""
    keep("demo", "2019-05-01")
    return client


def send(client, path, fields=None, **files):
    client.get("/measurements")
    return client.post(path, data={"token": client.cookies[access.COOKIE]} | (fields or {}),
                       files={k: (f"{k}.gpx", v) for k, v in files.items()} or None)


def fields_of(kind, **more):
    return {f"{kind}.{k}": v for k, v in (TYPED[kind] | more).items()} | {"source": "owner, stopwatch"}


def enter(client, kind, **more):
    return send(client, f"/measurements/new/{kind}?aeroplane={REG}", fields_of(kind, **more))


def refusal(page):
    assert page.status_code == 422, page.status_code
    found = re.search(r'class="refusal".*?</span>(.*?)<', page.text, re.S)
    assert found and "Traceback" not in page.text
    return html.unescape(found[1].strip())


def listed():
    return [(x.kind, x.index, x.said) for x in measuring.kept(airframe(REG)).items]


# ---- looking


def test_without_measurements_the_screen_says_what_to_do_and_writes_nothing(client, tmp_path):
    page = client.get("/measurements")
    assert page.status_code == 200 and "The demo is invented" in page.text and 'href="/airframe"' in page.text
    assert not (tmp_path / "data").exists()


def test_an_own_aeroplane_without_measurements_is_told_the_cheapest_one(own):
    page = own.get("/measurements")
    assert "Nothing is measured yet" in page.text and "test-cards.pdf?aeroplane=N0160T" in page.text
    assert all(f'/measurements/new/{k.name}?aeroplane={REG}"' in page.text for k in KINDS)


def test_an_aeroplane_that_is_not_kept_is_a_sentence(client):
    page = client.get("/measurements?aeroplane=N0999X")
    assert page.status_code == 422 and "keeps no aeroplane N0999X" in page.text


def test_the_page_comes_without_waiting_for_the_matching_and_with_it_where_asked(own):
    enter(own, "static")
    page = own.get(f"/measurements?aeroplane={REG}")
    assert "Work it out now" in page.text and "narrower" not in page.text
    asked = own.get(f"/measurements?aeroplane={REG}&matched=1")
    part = own.get(f"/measurements/matched?aeroplane={REG}")
    for found in (asked.text, part.text):
        assert "What to measure next" in found and re.search(r"static rpm \(true\) at sea level.*?\d+ % narrower", found, re.S)
    assert "<html" in asked.text and "<html" not in part.text
    assert "narrower" in own.get(f"/measurements?aeroplane={REG}").text  # known by now: no waiting


def test_the_data_hold_the_bands_before_and_after(own):
    enter(own, "static")
    told = own.get(f"/measurements.json?aeroplane={REG}").json()
    static = next(f for f in told["figures"] if f["name"].startswith("static rpm"))
    assert static["after"]["high"] - static["after"]["low"] < static["before"]["high"] - static["before"]["low"]
    assert static["narrower"] > 0 and told["words"]["what to measure next"] and told["source"] == "owner, stopwatch"
    assert told["measurements"][0]["as_written"] == "rpm 2310 rpm, oat 15 C, pressure altitude 500 ft, optical yes"


# ---- keeping


@pytest.mark.parametrize("kind", TYPED)
def test_every_kind_is_entered_listed_undone_and_taken_out(own, kind):
    told = enter(own, kind)
    assert told.status_code == 303, refusal(told)
    page = own.get(told.headers["location"])
    assert [x[0] for x in listed()] == [kind] and "Kept as entry 2" in page.text and "owner, stopwatch" in page.text
    read_measurements(read_toml(airframe(REG).own_text, "own"))
    assert send(own, "/undo", {"entry": "2", "back": "/measurements"}).status_code == 303
    assert listed() == [] and airframe(REG).own_text == ""
    number = enter(own, kind).headers["location"].split("kept=")[1]
    out = send(own, f"/measurements/out?aeroplane={REG}", {"kind": kind, "index": "0", "base": number})
    assert out.status_code == 303 and listed() == []
    assert airframe(REG).record.book.own is None  # nothing is left that a check could stumble over


def test_the_next_check_of_the_aeroplane_takes_a_measurement_and_undo_gives_it_back(own, tmp_path):
    flight = tmp_path / "flight.toml"
    flight.write_text(demo_text("flight.toml"), encoding="utf-8")
    assert situation_from_record(str(flight), REG).calibrations.own is None
    number = enter(own, "static").headers["location"].split("kept=")[1]
    assert situation_from_record(str(flight), REG).calibrations.own is not None
    send(own, "/undo", {"entry": number, "back": "/measurements"})
    assert situation_from_record(str(flight), REG).calibrations.own is None


def test_a_later_change_of_the_record_keeps_the_measurements(own):
    enter(own, "static")
    a = airframe(REG)
    keep_text(a.toml.replace('"none published"', '"none published"'), a.effective, REG, a.rows_csv, a.own_text)
    assert [x[0] for x in listed()] == ["static"]


def test_who_measured_is_asked_once(own):
    assert refusal(send(own, f"/measurements/new/static?aeroplane={REG}", fields_of("static") | {"source": " "})).startswith("Who measured")
    enter(own, "static")
    assert "Who measured" not in own.get(f"/measurements/new/glide?aeroplane={REG}").text
    assert send(own, f"/measurements/new/glide?aeroplane={REG}", fields_of("glide") | {"source": ""}).status_code == 303


@settings(max_examples=3, deadline=None, suppress_health_check=list(HealthCheck))
@given(days=st.lists(st.integers(2, 28), min_size=2, max_size=4, unique=True))
def test_fills_typed_in_any_order_run_forward(tmp_path_factory, days):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("OWNSHIP_DATA", str(tmp_path_factory.mktemp("data")))
        keep("demo", "2019-05-01")
        client = TestClient(APP, base_url="http://127.0.0.1", follow_redirects=False)
        assert enter(client, "fill").status_code == 303
        for day in days:
            told = enter(client, "fill", date=f"2026-05-{day:02d}", **{"flights.0.cruise": "1h05m", "tanks.0.added": "7.9 usgal"})
            assert told.status_code == 303, refusal(told)
        dates = [x["date"] for x in tomllib.loads(airframe(REG).own_text)["fill"]]
        assert dates == sorted(dates) and len(dates) == len(days) + 1


def test_remarks_of_a_file_that_was_brought_stay(own):
    a = airframe(REG)
    text = '# my notes\n[record]\nsource = "me"\n\n[[tachometer]]\npanel = "2400 rpm" # calm\noptical = "2370 rpm"\n'
    toml = a.toml.replace("[book]\n", '[book]\nown = "mine.toml"\n')
    keep_text(toml, a.effective, REG, a.rows_csv, text)
    assert enter(own, "static").status_code == 303
    assert "# my notes" in airframe(REG).own_text and "# calm" in airframe(REG).own_text and airframe(REG).record.book.own == "mine.toml"


def test_measurements_kept_as_rows_are_said_and_stay_as_they_are(own):
    a = airframe(REG)
    rows = "kind,pressure_altitude_ft,oat_c,value,tachometer,origin\nstatic_rpm,500,15,2310,optical,own\n"
    keep_text(a.toml.replace("[book]\n", '[book]\nown = "mine.csv"\n'), a.effective, REG, a.rows_csv, rows)
    page = own.get(f"/measurements?aeroplane={REG}")
    assert "rows of mine.csv" in page.text and "Enter a measurement" not in page.text
    assert "rows of mine.csv" in refusal(enter(own, "static")) and airframe(REG).own_text == rows


def test_a_file_of_inline_tables_takes_one_more(own):
    a = airframe(REG)
    text = 'static = [{ rpm = "2310 rpm", oat = "15 C", pressure_altitude = "500 ft", optical = true }]\n[record]\nsource = "me"\n'
    keep_text(a.toml.replace("[book]\n", '[book]\nown = "mine.toml"\n'), a.effective, REG, a.rows_csv, text)
    told = enter(own, "static")
    assert told.status_code == 303, refusal(told)
    number = told.headers["location"].split("kept=")[1]
    assert len(listed()) == 2
    assert send(own, f"/measurements/out?aeroplane={REG}", {"kind": "static", "index": "0", "base": number}).status_code == 303
    assert len(listed()) == 1


@pytest.mark.parametrize("text", ["level_run = 5\n", "[record]\nsource = 7\n", "x", "[record]\n", "record = []\n", "a = " + "[" * 2000])
def test_a_file_brought_that_does_not_read_is_said_and_nothing_fails(own, text):
    a = airframe(REG)
    keep_text(a.toml.replace("[book]\n", '[book]\nown = "mine.toml"\n'), a.effective, REG, a.rows_csv, text)
    for path in ("/measurements", "/measurements?matched=1&drawn=1", "/measurements/new/static", "/measurements/matched", "/measurements/drawn"):
        page = own.get(path)
        assert page.status_code == 200 and "/record-" not in page.text, path
    assert "are refused" in own.get("/measurements").text and "are refused" in refusal(enter(own, "static"))
    assert own.get("/measurements.json").json()["not_known"]
    page = own.get("/modifications?pick=fairings")
    assert page.status_code == 422 and "mine.toml" in page.text and "/record-" not in page.text


def test_an_aeroplane_of_which_only_weights_are_kept_keeps_measurements_and_says_what_is_missing(client):
    text = '[record]\nsource = "papers"\n[identity]\nregistration = "N0500T"\n'
    keep_text(text, airframe("demo").effective, "N0500T")
    told = send(client, "/measurements/new/static?aeroplane=N0500T", fields_of("static"))
    assert told.status_code == 303, refusal(told)
    page = client.get("/measurements?aeroplane=N0500T&matched=1")
    assert "Not known: " in page.text and 'href="/airframe/N0500T"' in page.text and "static run 1" in page.text


# ---- refusing


def test_a_refusal_names_its_field_keeps_what_was_typed_and_keeps_nothing(own):
    page = enter(own, "level_run", **{"legs.2.track": "250", "note": "rough air"})
    assert refusal(page) == "Leg 3: track over the ground: '250' has no unit; write an angle in one of: deg."
    assert 'href="#field-level_run-legs-2-track"' in page.text and 'value="rough air"' in page.text and 'value="250"' in page.text
    assert listed() == []


@pytest.mark.parametrize(("kind", "field", "text", "words"), [
    ("static", "rpm", "2310", "Rpm: '2310' has no unit"), ("static", "oat", "", "Outside air temperature: nothing is given"),
    ("static", "date", "17 May", "Day: '17 May' is no date"), ("tachometer", "optical", "1200 rpm", "The optical one shows: "),
    ("timed_climb", "to", "3100 ft", "To: 3,000 ft to 3,100 ft is no climb"), ("take_off", "over_50ft", "800 ft", "Over 50 ft, the roll in it: "),
    ("fill", "tanks.0.level", "half", "left tank: level after filling: 'half' is no mark"), ("engine", "compressions", "80/72", "Compressions, cylinder 1 first: "),
    ("level_run", "legs.1.groundspeed", "", "Leg 2: groundspeed: nothing is given"), ("glide", "time", "1 h", "Time between them: ")])
def test_what_is_not_believable_is_told_by_its_label(own, kind, field, text, words):
    assert words in refusal(enter(own, kind, **{field: text})) and listed() == []


def test_an_empty_form_keeps_nothing(own):
    page = send(own, f"/measurements/new/static?aeroplane={REG}", {"static.date": "2026-05-17", "source": "me"})
    assert "Nothing is filled in" in refusal(page)


def test_a_page_that_is_too_old_takes_nothing_out(own):
    first = enter(own, "static").headers["location"].split("kept=")[1]
    enter(own, "tachometer")
    page = send(own, f"/measurements/out?aeroplane={REG}", {"kind": "static", "index": "0", "base": first})
    assert "load it again" in refusal(page) and len(listed()) == 2


@pytest.mark.parametrize("sent", [{}, {"kind": "static", "index": "9", "base": "2"}, {"kind": "../x", "index": "-1", "base": "x"}])
def test_what_is_not_there_cannot_be_taken_out(own, sent):
    enter(own, "static")
    assert "load it again" in refusal(send(own, f"/measurements/out?aeroplane={REG}", sent)) and len(listed()) == 1


def test_the_demo_takes_no_measurement(client):
    assert "invented" in refusal(send(client, "/measurements/new/static?aeroplane=demo", fields_of("static")))
    assert client.get("/measurements/new/nothing").status_code == 422


def test_a_form_of_another_page_is_refused(own):
    answer = own.post(f"/measurements/new/static?aeroplane={REG}", data=fields_of("static") | {"token": "x" * 43})
    assert answer.status_code == 403 and listed() == []


# ---- a track


TRACK = """<?xml version="1.0"?><gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{}</trkseg></trk></gpx>"""


def climb_track():
    """A straight climb of 500 ft/min (2.54 m/s) at 40 m/s for 10 min, a point each 5 s."""
    points = (f'<trkpt lat="{43 + i * 200 / 111_200:.6f}" lon="-116"><ele>{900 + i * 12.7:.1f}</ele><time>2026-05-17T15:{i // 12:02d}:{i % 12 * 5:02d}Z</time>'
              "</trkpt>" for i in range(120))
    return TRACK.format("".join(points)).encode()


def test_a_climb_in_a_track_becomes_a_form_to_be_filled_up_and_nothing_is_kept(own):
    page = send(own, f"/measurements/track?aeroplane={REG}", track=climb_track())
    assert page.status_code == 200 and "500 ft/min" in page.text
    link = html.unescape(re.search(r'href="(/measurements/new/timed_climb\?[^"]+)"', page.text)[1])
    form = own.get(link)
    assert 'name="timed_climb.ias" value=""' in form.text and re.search(r'name="timed_climb.from" value="\d+ ft"', form.text)
    assert '<option value="gps" selected>' in form.text and listed() == []


def test_a_track_without_a_measurement_says_how_to_fly_one(own):
    page = send(own, f"/measurements/track?aeroplane={REG}", track=TRACK.format("".join(
        f'<trkpt lat="43.{i:02d}" lon="-116"><ele>900</ele><time>2026-05-17T15:00:{20 * i:02d}Z</time></trkpt>' for i in range(3))).encode())
    assert page.status_code == 200 and "fly three or more headings" in page.text


@pytest.mark.parametrize("data", [
    b"", b"\x00" * 100, b"\xff\xfe\x00", b"<gpx", b"<gpx/>", b"{}", b"PK\x03\x04", b"<a>" * 5000, TRACK.format("").encode(),
    b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;">]><gpx>&b;</gpx>',
    b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]><gpx>&a;</gpx>',
    TRACK.format('<trkpt lat="1e9" lon="nan"><time>2026</time></trkpt>' * 3).encode()])
def test_a_hostile_track_is_one_sentence(own, data):
    words = refusal(send(own, f"/measurements/track?aeroplane={REG}", track=data))
    assert words.endswith(".") and "root:" not in words


def test_no_track_is_a_sentence(own):
    assert "No track is chosen" in refusal(send(own, f"/measurements/track?aeroplane={REG}"))


# ---- forms


@pytest.mark.parametrize("kind", ["level_run", "fill", "engine"])
def test_the_example_of_the_documents_goes_through_its_form_unchanged(kind):
    table = tomllib.loads(EXAMPLE)[kind][0]
    what = kind_of(kind, TANKS)
    texts = forms.texts_of(what, {k: v for k, v in table.items() if k != "compressions"})
    texts |= {"engine.compressions": ", ".join(table["compressions"])} if "compressions" in table else {}
    assert forms.typed(what, texts).table == table


WORDS = st.text("abc 0123456789.\"'\\", min_size=1, max_size=12).map(lambda t: " ".join(t.split())).filter(bool)


@settings(max_examples=60, deadline=None)
@given(data=st.data(), kind=st.sampled_from(KINDS))
def test_what_is_typed_is_what_the_file_says(data, kind):
    """Any texts in any fields come back from the file's text as they were typed, rows closed up in their order."""
    what = kind_of(kind.name, TANKS)
    cells = [f"{kind.name}.{c.key}" for p in what.parts for c in p.cells if c.kind == "text"]
    cells += [f"{kind.name}.{r.key}.{i}.{c.key}" for r in what.rows for i in range(2) for c in r.cells if c.kind == "text"]
    texts = data.draw(st.dictionaries(st.sampled_from(cells), WORDS, max_size=6))
    table = forms.typed(what, texts).table
    flat = sorted(v for k, v in forms.texts_of(what, table).items() if not k.endswith(".tank"))
    assert flat == sorted(texts.values())
