"""What would make it fit: applied with one touch, the verdict is the promised one; undone with another."""

import html
import re
from urllib.parse import parse_qsl, urlsplit

import pytest
from fastapi.testclient import TestClient

from ownship.flight.changes import REMOVED, Change
from ownship.web.addresses import change as change_of
from ownship.web.addresses import edits_of, links
from ownship.web.app import create_app
from ownship.web.flying import ask

CLIENT = TestClient(create_app(), base_url="http://127.0.0.1")


@pytest.fixture(scope="module")
def searched():
    return CLIENT.get("/", params={"remedies": "1"}).text


def test_every_remedy_applied_gives_the_verdict_it_promises_and_can_be_undone(searched):
    ways = [html.unescape(x) for x in re.findall(r'class="apply" href="([^"]*)"', searched)]
    promised = re.findall(r'<p class="([a-z-]+)"><span class="word">', searched)
    assert ways and len(promised) == len(ways)
    before = CLIENT.get("/flight.json").json()["verdict"]
    for way, verdict in zip(ways, promised, strict=True):
        assert CLIENT.get(way.replace("/?", "/flight.json?")).json()["verdict"] == verdict.replace("-", " ") != before
        undo = re.search(r'<a href="([^"]*)">Undo the last change</a>', CLIENT.get(way).text)
        assert undo and CLIENT.get("/flight.json" + html.unescape(undo[1]).removeprefix("/")).json()["verdict"] == before


def test_the_data_hold_the_same_remedies_with_their_addresses():
    data = CLIENT.get("/flight.json", params={"remedies": "1", "load3_out": "1", "load2": "250 lb"}).json()
    assert data["remedies"] or data["remedy_words"]
    for r in data["remedies"]:
        assert r["address"] is None or CLIENT.get(r["address"].replace("/?", "/flight.json?")).json()["verdict"] == r["verdict"]


def test_changes_are_undone_one_after_the_other():
    """A level taken, then another thing: each undo leads one step back."""
    def way(words, page):
        return html.unescape(re.search(rf'<a href="([^"]*)">{words}</a>', page)[1])

    def fields(path):
        return dict(parse_qsl(urlsplit(path).query, keep_blank_values=True))

    asked = ask({"load3_out": "1"})
    first = change_of(asked, cruise_altitude="11500 ft")
    second = change_of(ask(fields(first)), power="2250 rpm")
    assert {k: v for k, v in fields(second).items() if k != "before"} == {
        "load3_out": "1", "cruise_altitude": "11500 ft", "power": "2250 rpm"}
    back = way("Undo the last change", CLIENT.get(second).text)
    assert back == first
    assert way("Undo the last change", CLIENT.get(back).text) == "/?load3_out=1"
    assert "Undo the last change" not in CLIENT.get("/?load3_out=1").text


def test_an_undo_never_leads_away():
    page = CLIENT.get("/", params={"before": "//example.org/x", "load3_out": "1"}).text
    way = re.search(r'<a href="([^"]*)">Undo the last change</a>', page)
    assert way and way[1].startswith("/") and not way[1].startswith("//")


def change(*edits):
    return Change("x", "", "", "", edits, frozenset(), 0.0)


def test_edits_become_fields_of_the_rows_that_are_shown():
    rows = (0, 1, 3, 5)  # rows 2 and 4 are left behind already
    assert edits_of((change((("loads", 2), REMOVED)), change((("fuel", "left", "add"), "1 usgal"))), rows) == {
        "load3_out": "1", "fuel_left_add": "1 usgal"}
    assert edits_of((change((("loads", 3, "station"), "rear"), (("local",), False), (("power",), "2250 rpm")),), rows) == {
        "load5_station": "rear", "power": "2250 rpm"}
    assert edits_of((change((("runway", "KBOI", "end"), "best")),), rows) == {"runway_KBOI_end": "best"}
    assert edits_of((change((("aloft", "x"), {})),), rows) is None


def test_a_remedy_the_form_cannot_hold_is_written_out_instead():
    """Two flights in one remedy have no single address."""
    from dataclasses import replace

    asked = ask({"remedies": "1"})
    first = asked.found.remedies[0]
    two = replace(first, further=({"from": "KMYL", "to": "KBOI", "departure": "2026-07-11T18:00-06:00"},))
    link = links(replace(asked, found=replace(asked.found, remedies=(two,))))[0]
    assert link.address == "" and len(link.texts) == 2 and 'to = "KBOI"' in link.texts[1]


def test_levels_and_leaving_times_stand_as_chart_and_table():
    page = CLIENT.get("/", params={"levels": "1"}).text
    data = CLIENT.get("/flight.json", params={"levels": "1"}).json()["levels"]
    assert html.escape(data["sentence"]) in page and page.count("Fly ") >= len(data["levels"]) > 3
    page = CLIENT.get("/", params={"when": "1"}).text
    data = CLIENT.get("/flight.json", params={"when": "1"}).json()["when"]
    assert html.escape(data["sentence"]) in page and len(data["times"]) == 48 and "23:30" in page
    assert not re.search(r'\sstyle="', page)
