"""Papers and files from the flight's own address: the right kind, the right name, the same flight."""

import io
import json

import gpxpy
import pytest
from fastapi.testclient import TestClient
from pypdf import PdfReader

from ownship.web.app import create_app

CLIENT = TestClient(create_app(), base_url="http://127.0.0.1")
NAME = "N0160T-KBOI-KU79-2026-07-11"
A5_MM, HALF_LETTER_MM = (148.0, 210.0), (139.7, 215.9)  # ISO 216; half of 8.5 by 11 in


def millimetres(page):
    return tuple(float(x) / 72 * 25.4 for x in (page.mediabox.width, page.mediabox.height))


@pytest.mark.parametrize(("query", "size"), [({}, A5_MM), ({"paper": "half-letter"}, HALF_LETTER_MM)])
def test_the_paper_for_the_knee_comes_in_its_size(query, size):
    answer = CLIENT.get("/flight.pdf", params=query)
    assert answer.status_code == 200 and answer.headers["content-type"] == "application/pdf"
    assert f'filename="{NAME}.pdf"' in answer.headers["content-disposition"]
    pages = PdfReader(io.BytesIO(answer.content)).pages
    assert len(pages) == 2 and millimetres(pages[0]) == pytest.approx(size, abs=0.2)


def test_the_paper_is_of_the_flight_of_its_address():
    query = {"load2_out": "1", "load3_out": "1"}
    words = " ".join(" ".join(p.extract_text() for p in PdfReader(io.BytesIO(CLIENT.get("/flight.pdf", params=query).content)).pages).split())
    assert CLIENT.get("/flight.json", params=query).json()["sentence"][:40] in words
    assert CLIENT.get("/flight.pdf", params=query).content == CLIENT.get("/flight.pdf", params=query).content


def test_route_and_flight_plan_come_as_what_they_are():
    gpx = CLIENT.get("/flight.gpx")
    assert gpx.headers["content-type"] == "application/gpx+xml" and f'filename="{NAME}.gpx"' in gpx.headers["content-disposition"]
    assert [p.name for p in gpxpy.parse(gpx.text).routes[0].points] == ["KBOI", "U88", "KU79"]
    geo = CLIENT.get("/flight.geojson")
    assert geo.headers["content-type"] == "application/geo+json" and json.loads(geo.text)["type"] == "FeatureCollection"
    plan = CLIENT.get("/flight.icao.txt")
    assert plan.headers["content-type"].startswith("text/plain") and "(FPL-N0160T-VG" in plan.text


@pytest.mark.parametrize("ending", ["pdf", "icao.txt", "gpx", "geojson"])
@pytest.mark.parametrize(("query", "words"), [({"load0": "heavy"}, "'heavy' is not a number"), ({"lood": "1"}, "no field of this page"),
                                              ({"aeroplane": "N0XYZ"}, "no airframe record")])
def test_a_flight_that_cannot_be_read_has_no_paper_but_a_sentence(ending, query, words):
    answer = CLIENT.get(f"/flight.{ending}", params=query)
    assert answer.status_code == 422 and words in answer.text and answer.headers["content-type"].startswith("text/plain")


def test_a_sheet_there_is_not_is_refused():
    answer = CLIENT.get("/flight.pdf", params={"paper": "a3"})
    assert answer.status_code == 422 and answer.text.startswith("paper: 'a3' is no sheet")


def test_a_place_with_a_strange_name_makes_no_strange_file_name():
    answer = CLIENT.get("/flight.gpx", params={"to": "45.4,-115.2", "via": "", "ground": "9000 ft", "alternates": ""})
    assert answer.status_code == 200
    assert answer.headers["content-disposition"] == 'attachment; filename="N0160T-KBOI-45.4-115.2-2026-07-11.gpx"'
