"""Your data: a backup taken away and brought back, looked at first and asked twice; what is not one is refused and nothing moves."""

import io
import json
import tomllib
import zipfile
from urllib.parse import parse_qsl, urlsplit

import pytest
from log_cases import FLIGHT, entries, make_client, refusal, send

from ownship.questions.keeping import doctor

client = pytest.fixture(make_client)


def test_looking_writes_nothing_and_says_what_to_do(client, tmp_path):
    page = client.get("/data")
    assert page.status_code == 200 and "There is no record yet" in page.text and not (tmp_path / "data").exists()
    assert "no record yet" in client.get("/data/backup.zip").text and client.get("/data/backup.zip").status_code == 422


def test_the_doctor_says_the_same_as_the_command(client):
    send(client, "/log/flight/new", FLIGHT)
    page, told = client.get("/data").text, client.get("/data.json").json()
    assert told == json.loads(json.dumps(doctor().to_json()))
    assert told["contents"] in page and "sound" in page and all(a["what"] in page for a in told["ages"])


def test_a_backup_comes_back_after_it_was_looked_at_and_asked_twice(client, tmp_path):
    send(client, "/log/flight/new", FLIGHT)
    backup, before = client.get("/data/backup.zip"), entries()
    assert "attachment" in backup.headers["content-disposition"]
    send(client, "/log/entry/1/withdraw", {"why": "a mistake"})
    page = send(client, "/data/restore", backup=("b.zip", backup.content))
    assert page.status_code == 303 and len(entries()) == 2  # nothing is replaced yet
    look = client.get(page.headers["location"])
    assert "The record holds 2 entries now; those not in this backup, 1, would count no longer." in look.text
    asked = dict(parse_qsl(urlsplit(page.headers["location"]).query))
    assert "tick the box" in refusal(send(client, "/data/restore/now", asked)) and len(entries()) == 2
    done = send(client, "/data/restore/now", asked | {"sure": "1"})
    assert done.headers["location"] == "/data?restored=1" and entries() == before
    assert list((tmp_path / "data").glob("record-before-restore-*.sqlite"))  # what was there is kept
    assert client.get("/log.json").json()["totals"]["flights"] == 1  # the list is read anew


def test_a_backup_brings_a_record_where_there_is_none(client, monkeypatch, tmp_path):
    send(client, "/log/flight/new", FLIGHT)
    backup = client.get("/data/backup.zip").content
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "new"))
    page = send(client, "/data/restore", backup=("b.zip", backup))
    assert "nothing is replaced" in client.get(page.headers["location"]).text
    send(client, "/data/restore/now", dict(parse_qsl(urlsplit(page.headers["location"]).query)) | {"sure": "yes"})
    assert len(entries()) == 1


def spoilt(data, change):
    """The backup with its record changed behind its manifest's back."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            new.writestr(name, change(old.read(name)) if name.endswith(".sqlite") else old.read(name))
    return out.getvalue()


@pytest.mark.parametrize(("change", "words"), [
    (lambda d: d[:-40], "no readable backup"), (lambda d: b"", "no readable backup"), (lambda d: b"PK\x05\x06" + bytes(18), "holds no manifest"),
    (lambda d: spoilt(d, lambda x: x[:-1] + b"?"), "damaged"), (lambda d: spoilt(d, lambda x: b""), "damaged")])
def test_what_is_no_whole_backup_is_refused_before_anything(client, change, words):
    send(client, "/log/flight/new", FLIGHT)
    before, data = entries(), client.get("/data/backup.zip").content
    assert words in refusal(send(client, "/data/restore", backup=("my backup.zip", change(data))))
    assert entries() == before
    assert "No file is chosen" in refusal(send(client, "/data/restore"))


@pytest.mark.parametrize("mark", ["", "x", "0" * 64, "../record.sqlite"])
def test_what_was_not_put_aside_replaces_nothing(client, mark):
    send(client, "/log/flight/new", FLIGHT)
    assert "no longer put aside" in refusal(send(client, "/data/restore/now", {"file": mark, "sure": "1"}))
    assert "no longer put aside" in refusal(client.get("/data/restore", params={"file": mark}))
    assert len(entries()) == 1


def test_the_plain_files_hold_every_entry(client):
    send(client, "/log/flight/new", FLIGHT)
    send(client, "/log/recency/pilot", {"name": "Anne"})
    with zipfile.ZipFile(io.BytesIO(client.get("/data/export.zip").content)) as archive:
        manifest = tomllib.loads(archive.read("record.toml").decode())
        assert manifest["entries"] == 2 and set(manifest["files"]) | {"record.toml"} == set(archive.namelist())


def test_nothing_is_replaced_without_the_token_of_the_page(client):
    assert client.post("/data/restore/now", data={"file": "0" * 64, "sure": "1"}).status_code == 403
