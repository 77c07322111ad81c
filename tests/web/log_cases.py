"""What the tests of the Log's pages share: a client, a flight, how a form is sent and a refusal read."""

import html
import re

from fastapi.testclient import TestClient

from ownship.ownership.entries import Flight, standing
from ownship.questions.reading import demo_text
from ownship.questions.record import open_record
from ownship.web import access
from ownship.web.app import create_app

APP = create_app()
REG = "N0160T"
FLIGHT = {"aeroplane": REG, "date": "2026-07-11", "zone": "place", "origin": "KBOI", "destination": "KU79", "off_blocks": "15:00",
          "take_off": "15:08", "landing": "15:58", "on_blocks": "16:05", "landings": "1", "pilot": "Anne", "role": "PIC", "rules": "VFR",
          "remarks": "first <flight> & more"}
THEIRS = ("Tail;Day;From;To;Out;In;Ldg\nN0160T;31/05/2026;KBOI;KMYL;09:00;10:05;1\nN0160T;12/06/2026;KMYL;KBOI;11:00;12:05;2\n")
MEANING = ("aeroplane", "date", "origin", "destination", "off_blocks", "on_blocks", "landings_day")


def make_client(tmp_path, monkeypatch):
    """A client over an empty record of its own (a fixture, once named so)."""
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "data"))
    return TestClient(APP, base_url="http://127.0.0.1", follow_redirects=False)


def send(client, path, fields=None, **files):
    client.get("/log/import")
    return client.post(path, data={"token": client.cookies[access.COOKIE]} | (fields or {}),
                       files={k: (n, v) for k, (n, v) in files.items()} or None)


def refusal(page):
    """The sentence of a page that refuses."""
    assert page.status_code == 422, (page.status_code, page.headers.get("location"))
    found = re.search(r'class="refusal".*?</span>(.*?)</p>', page.text, re.S)
    assert found and "Traceback" not in page.text
    return html.unescape(re.sub(r" <a.*", "", found[1], flags=re.S)).strip()


def value(page, name):
    """What a field of a page holds."""
    found = re.search(rf'<input[^>]* name="{name}" value="([^"]*)"', page.text)
    return html.unescape(found[1])


def entries():
    records = open_record()
    try:
        return records.all()
    finally:
        records.close()


def flights():
    return [e for e in standing(entries()) if isinstance(e.body, Flight)]


def as_own(client):
    page = send(client, "/airframe/import", {"effective": "2019-05-01"}, record=("r.toml", demo_text("camas160.toml").encode()),
                rows=("r.csv", demo_text("camas160_rows.csv").encode()))
    assert page.status_code == 303
    return client
