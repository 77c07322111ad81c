"""Files that are sent to harm: refused in a sentence, within the memory of a small computer, and nothing is kept of them."""

import io
import re
import zipfile

import pytest
from fastapi.testclient import TestClient

from ownship.questions.keeping import doctor
from ownship.store.backup import LARGEST_BYTES
from ownship.web.app import create_app

CLIENT = TestClient(create_app(), base_url="http://127.0.0.1")
ENTITIES = b'<?xml version="1.0"?><!DOCTYPE g [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]><gpx version="1.1"><trk><name>&b;</name></trk></gpx>'
OUTSIDE = b'<!DOCTYPE g [<!ENTITY x SYSTEM "file:///etc/hostname">]><gpx version="1.1"><trk><name>&x;</name></trk></gpx>'
MEANT_FOR = (("/log/import", "log"), ("/log/track", "track"), ("/data/restore", "backup"), ("/airframe/import", "record"),
             ("/measurements/track", "track"))
HOSTILE = {"nothing": b"", "zeros": b"\0" * 5000, "picture": b"\x89PNG\r\n\x1a\n" + b"\xff" * 500, "half a quote": b'"' + b"x" * 200_000,
           "nested XML": b"<gpx>" + b"<a>" * 100_000, "nested TOML": b"a=" + b"[" * 50_000, "entities": ENTITIES, "a file of this machine": OUTSIDE,
           "UTF-16": "<gpx></gpx>".encode("utf-16"), "one line": b"a," * 500_000}


@pytest.fixture(autouse=True)
def empty(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path))


def send(path, field, name, data):
    token = re.search(r'data-token="([^"]+)"', CLIENT.get("/units").text)[1]
    return CLIENT.post(path, data={"token": token}, files={field: (name, data)}, follow_redirects=False)


def packed(**members):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name.replace("_", "."), data)
    return out.getvalue()


@pytest.mark.parametrize(("path", "field"), MEANT_FOR)
@pytest.mark.parametrize("kind", HOSTILE)
def test_a_hostile_file_is_refused_in_a_sentence_and_keeps_nothing(path, field, kind):
    answer = send(path, field, "../../x.bin", HOSTILE[kind])
    assert answer.status_code in (422, 303) and "Traceback" not in answer.text and "../" not in answer.headers.get("location", "")
    if answer.status_code == 422:
        assert re.search(r'class="refusal"[^>]*>.*?\w+.*?</p>', answer.text, re.S)
    assert doctor().entries == 0


def test_a_backup_that_unpacks_to_far_more_than_any_record_is_refused():
    made = 'program = "Ownship"\nformat = 1\nschema = 1\nmade = "2026-01-01T00:00:00+00:00"\nentries = 1\nsha256 = "00"\n'
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("manifest.toml", made)
        with archive.open("record.sqlite", "w") as file:
            for _ in range(LARGEST_BYTES // 1_000_000 + 1):
                file.write(bytes(1_000_000))
    answer = send("/data/restore", "backup", "b.zip", out.getvalue())
    assert len(out.getvalue()) < 1_000_000 and answer.status_code == 422 and "larger than" in answer.text
    assert LARGEST_BYTES <= 300_000_000, "it is unpacked in memory"


def test_members_outside_the_folder_are_no_backup(tmp_path):
    data = packed(**{"../../evil_txt": b"evil", "manifest_toml": b""})
    assert send("/data/restore", "backup", "b.zip", data).status_code == 422
    assert not list(tmp_path.parent.rglob("evil*"))
