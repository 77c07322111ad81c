"""The Cockpit's page, file, worker and record: events come in once, become a draft, and the pilot's confirmation a flight."""

import html
import json
import re
from concurrent.futures import ThreadPoolExecutor

import pytest
from cockpit_cases import BEGAN, event
from fastapi.testclient import TestClient

from ownship.errors import BadInput
from ownship.ownership.entries import CockpitFlight, Flight, of_kind, standing
from ownship.questions import cockpit_events
from ownship.questions.record import open_record
from ownship.questions.weighing_ledger import keep
from ownship.web import access, cockpit
from ownship.web.app import create_app
from ownship.web.flying import ask

FLIGHT = "0123456789abcdef"
EVENTS = [event("off blocks", 0), event("taken off", 600), event("tank", 2700, "left"), event("fix", 1871, "U88"), event("landed", 5000),
          event("on blocks", 5300)]
DRAFT = {"off_blocks": BEGAN, "take_off": BEGAN + 600_000, "landing": BEGAN + 5_000_000, "on_blocks": BEGAN + 5_300_000,
         "fuel_before": [{"tank": "left", "usable_m3": 0.0719, "known_by": "mark"}, {"tank": "right", "usable_m3": 0.0719, "known_by": "mark"}],
         "fuel_after": [{"tank": "left", "usable_m3": 0.0558, "known_by": "clock"}, {"tank": "right", "usable_m3": 0.054, "known_by": "clock"}],
         "changes": [{"tank": "right", "since": BEGAN}, {"tank": "left", "since": BEGAN + 2_700_000}], "no_feed": []}


def sent(events=EVENTS, draft=DRAFT, **more):
    return json.dumps({"flight": FLIGHT, "aeroplane": "N0160T", "origin": "KBOI", "destination": "KU79", "events": events, "draft": draft} | more)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path))
    return tmp_path


@pytest.fixture
def client():
    return TestClient(create_app(), base_url="http://127.0.0.1", follow_redirects=False)


def post(client, text):
    token = client.get("/cockpit/events").json()["token"]
    return client.post("/cockpit/events", data={"token": token, "sent": text})


def kept():
    records = open_record()
    try:
        return [b for _, b in of_kind(standing(records.all()), CockpitFlight)], [f for _, f in of_kind(standing(records.all()), Flight)]
    finally:
        records.close()


# -- the page
def test_without_scripts_the_page_is_the_plan_to_print_and_says_that_paper_is_the_master(client):
    page = client.get("/cockpit")
    text = html.unescape(page.text)
    answer = ask({}).answer
    assert page.status_code == 200 and "Paper is the master" in text and answer.sentence in text
    assert re.search(r'<section id="live"[^>]* hidden>', text) and "Without them it is the plan to print" in text
    for row in answer.timeline:
        assert row.moment in text and f"{row.time:%H:%M}" in text
    assert "no navigation" in text and "mayday fuel" in text  # cautions of practice.md section 3


def test_the_data_in_the_page_are_the_data_at_json_and_cannot_end_their_element(client):
    text = client.get("/cockpit", params={"load0_what": "</script><b>"}).text
    inside = re.search(r'<script type="application/json" id="plan">(.*?)</script>', text, re.S)[1]
    assert not re.search(r"[<>&]", inside)
    assert json.loads(inside) == client.get("/cockpit.json", params={"load0_what": "</script><b>"}).json()


def test_the_flight_is_the_same_whatever_the_order_of_its_address_and_another_for_another_flight(client):
    def of(query):
        return client.get(f"/cockpit.json?{query}").json()["flight"]

    assert of("power=2400+rpm&load0=170+lb") == of("theme=night&load0=170+lb&power=2400+rpm") != of("power=2400+rpm")


def test_from_the_flight_screen_its_flight_comes_along(client):
    def to(referer):
        return client.get("/cockpit", headers={"referer": referer}).headers.get("location")

    assert to("http://127.0.0.1/?load0=170+lb&levels=1&before=x&theme=night&via=") == "/cockpit?load0=170+lb&theme=night&via="
    assert to("http://127.0.0.1/") is None and to("http://example.org/?load0=170+lb") is None and to("http://127.0.0.1/units?a=1") is None
    assert client.get("/cockpit?load0=171+lb", headers={"referer": "http://127.0.0.1/?load0=170+lb"}).status_code == 200


def test_a_flight_that_is_not_there_says_what_to_do(client, folder):
    bad = client.get("/cockpit", params={"load0": "heavy"})
    assert bad.status_code == 422 and "heavy" in bad.text and "To the Flight screen" in bad.text
    assert client.get("/cockpit.json", params={"load0": "heavy"}).status_code == 422
    assert client.get("/cockpit.html-file", params={"load0": "heavy"}).status_code == 422
    keep("demo", "2026-01-01")
    empty = client.get("/cockpit", params={"aeroplane": "N0160T"})
    assert empty.status_code == 200 and "open the Cockpit from a flight" in empty.text


def test_fuel_stands_in_the_units_a_person_chose(client):
    client.cookies.set("ownship-units", "fuel-l")
    page = client.get("/cockpit").text
    assert " l (" in page and json.loads(re.search(r'id="plan">(.*?)</script>', page, re.S)[1])["unit"] == {"words": "l", "per_m3": pytest.approx(1000.0)}


def test_the_file_to_save_needs_nothing_from_anywhere(client):
    saved = client.get("/cockpit.html-file")
    assert saved.headers["content-disposition"] == 'attachment; filename="N0160T-KBOI-U88-KU79-2026-07-11.html"'
    assert not re.search(r"<script|src=|<link|@font-face|url\(|https?://", saved.text) and "Paper is the master" in saved.text
    assert "18:32" in saved.text  # latest over U88, as in the plan


def test_the_worker_is_marked_by_what_is_built_and_may_keep_the_whole_site(client, monkeypatch):
    got = client.get("/sw.js")
    assert got.headers["service-worker-allowed"] == "/" and got.headers["cache-control"] == "no-cache"
    assert got.headers["content-type"].startswith("text/javascript") and re.match(r'self\.VERSION="[0-9a-f]{12}";', got.text)
    monkeypatch.setattr(cockpit.pages, "built", lambda name: "")
    assert client.get("/sw.js").status_code == 404


# -- into the record
def test_events_come_in_once_sent_twice_in_pieces_and_in_any_order(client, folder):
    for piece in (EVENTS[:2], EVENTS[:4], EVENTS[2:], EVENTS, EVENTS, EVENTS[::-1]):
        assert post(client, sent(piece)).status_code == 200
    (body,), flights = kept()
    assert sorted(e.event for e in body.events) == sorted(e["id"] for e in EVENTS) and flights == []
    assert len(client.get("/cockpit/events", params={"flight": FLIGHT}).json()["events"]) == len(EVENTS)


def test_what_is_there_already_writes_nothing(client, folder):
    post(client, sent())
    records = open_record()
    before = records.counts()
    post(client, sent())
    assert records.counts() == before
    records.close()


def test_two_tabs_at_the_same_moment_lose_nothing(folder):
    pieces = [[e] for e in EVENTS] * 2
    with ThreadPoolExecutor(6) as pool:
        list(pool.map(lambda p: cockpit_events.keep(sent(p)), pieces))
    (body,), _ = kept()
    assert sorted(e.event for e in body.events) == sorted(e["id"] for e in EVENTS)


def test_the_draft_that_rests_on_more_events_stands(folder):
    cockpit_events.keep(sent())
    cockpit_events.keep(sent(EVENTS[:1], DRAFT | {"landing": None}))
    (body,), _ = kept()
    assert body.landing is not None and body.counted == len(EVENTS)


@pytest.mark.parametrize("text", ["", "[]", "{}", "nonsense", sent([]), sent(flight="../x"), sent(aeroplane=""), sent(events=3), sent(draft=[]),
                                  sent([EVENTS[0] | {"kind": "flown"}]), sent([EVENTS[0] | {"wall_ms": "now"}]), sent([EVENTS[0] | {"mono_ms": 1e300}]),
                                  sent([EVENTS[0] | {"id": "<b>"}]), sent(draft=DRAFT | {"off_blocks": -5}), sent(origin="<b>"),
                                  sent(draft=DRAFT | {"fuel_after": [{"tank": "left", "usable_m3": "much"}]}), sent([EVENTS[0]] * 2001), "[" * 100_000])
def test_what_is_no_flight_is_refused_in_a_sentence_and_nothing_is_written(client, folder, text):
    answer = post(client, text)
    assert answer.status_code == 422 and answer.json()["refused"].endswith(".")
    assert kept() == ([], [])


def test_events_without_the_token_are_refused(client, folder):
    client.get("/cockpit/events")
    assert client.post("/cockpit/events", data={"token": "x", "sent": sent()}).status_code == 403


def test_what_the_owner_withdrew_does_not_come_back(client, folder):
    number = post(client, sent()).json()["number"]
    records = open_record()
    records.withdraw(number, "a trial")
    records.close()
    assert "withdrawn" in post(client, sent()).json()["words"]
    assert kept() == ([], [])


# -- into the log
def test_a_draft_becomes_a_flight_once_the_pilot_confirms_it(client, folder):
    keep("demo", "2026-01-01")
    number = post(client, sent()).json()["number"]
    page = client.get("/cockpit/drafts")
    assert page.status_code == 200 and "left=14.7 usgal clock" in page.text and "2026-07-11T21:00:00Z" in page.text
    cells = client.get("/cockpit/drafts.json").json()["drafts"][0]["cells"]
    form = {"token": client.cookies[access.COOKIE], "draft": str(number), **cells}
    done = client.post("/cockpit/drafts", data=form)
    if done.status_code == 422:  # the flight lies ahead of the clock of this machine
        assert "lies ahead" in done.text
        return
    assert done.status_code == 303
    (body,), (flight,) = kept()
    assert body.confirmed and flight.landings_day == 1 and flight.origin == "KBOI" and {t.tank: t.known_by for t in flight.fuel_after} == {"left": "clock", "right": "clock"}
    assert "21:45Z left" in flight.remarks
    assert client.get("/cockpit/drafts.json").json()["drafts"] == []
    again = client.post("/cockpit/drafts", data=form)
    assert again.status_code == 422 and "in the log already" in again.text
    post(client, sent([*EVENTS, event("heat", 900)]))  # a tab opened late: the event is kept, no second flight
    (body,), flights = kept()
    assert len(body.events) == len(EVENTS) + 1 and len(flights) == 1 and body.confirmed


def test_a_refused_draft_keeps_everything_typed(client, folder):
    keep("demo", "2026-01-01")
    number = post(client, sent()).json()["number"]
    form = {"token": client.cookies[access.COOKIE], "draft": str(number), "origin": "KBOI", "destination": "KU79", "off_blocks": "soon", "remarks": "as typed"}
    page = client.post("/cockpit/drafts", data=form)
    assert page.status_code == 422 and 'value="soon"' in page.text and 'value="as typed"' in page.text and 'role="alert"' in page.text
    assert kept()[1] == []


@pytest.mark.parametrize("number", ["", "0", "abc", "99999999999", "1"])
def test_no_draft_is_no_flight(client, folder, number):
    keep("demo", "2026-01-01")
    client.get("/cockpit/drafts")
    page = client.post("/cockpit/drafts", data={"token": client.cookies[access.COOKIE], "draft": number, "origin": "KBOI"})
    assert page.status_code == 422 and 'role="alert"' in page.text


def test_a_tank_dry_by_the_clock_is_said_and_not_written_as_a_level():
    _, body = cockpit_events.read_sent(sent(draft=DRAFT | {"fuel_after": [{"tank": "left", "usable_m3": -0.001, "known_by": "clock"}], "no_feed": [{"tank": "right"}]}))
    cells = cockpit_events.cells_of_draft(body)
    assert cells["fuel_after"] == "" and "left tank is empty by the clock" in cells["remarks"] and "right tank did not feed" in cells["remarks"]


def test_looking_at_drafts_makes_no_record(client, folder):
    assert "None is waiting" in client.get("/cockpit/drafts").text
    assert client.get("/cockpit/events", params={"flight": FLIGHT}).json()["events"] == []
    assert not list(folder.iterdir())


def test_an_event_of_the_year_ten_thousand_is_refused():
    with pytest.raises(BadInput, match="milliseconds"):
        cockpit_events.read_sent(sent([EVENTS[0] | {"utc_ms": 10**15}]))
