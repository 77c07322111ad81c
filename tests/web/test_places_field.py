"""The choices under a field that wants an aerodrome, as a fragment and as data."""

import html
import re

from fastapi.testclient import TestClient

from ownship.web.app import create_app

CLIENT = TestClient(create_app(), base_url="http://127.0.0.1")


def test_the_fragment_and_the_data_name_the_same_places():
    query = {"q": "stanley", "near": "KBOI"}
    fragment, data = CLIENT.get("/places", params=query), CLIENT.get("/places.json", params=query).json()["places"]
    assert fragment.headers["content-type"].startswith("text/html")
    assert re.findall(r'role="option" aria-selected="false" data-ident="([^"]*)"', fragment.text) == [p["ident"] for p in data]
    assert len(data) > 2 and all(html.escape(p["name"]) in fragment.text for p in data)


def test_nothing_found_is_an_empty_list():
    assert CLIENT.get("/places", params={"q": "zzzzqq"}).text.strip() == "" and CLIENT.get("/places.json").json() == {"places": []}


def test_distances_stand_in_the_unit_chosen():
    client = TestClient(create_app(), base_url="http://127.0.0.1", cookies={"ownship-units": "distance-km"})
    assert re.search(r"<small>\d+ km</small>", client.get("/places", params={"q": "stanley", "near": "KBOI"}).text)


def test_fields_for_places_have_their_list_and_are_plain_fields_without_scripts():
    page = CLIENT.get("/").text
    for name, many in (("from", "one"), ("to", "one"), ("via", "many"), ("alternates", "many")):
        assert re.search(rf'<input id="field-{name}"[^>]*data-places="{many}"', page)
        assert f'<ul id="field-{name}-places" class="choices" role="listbox" aria-label="{name.capitalize()}: aerodromes found" hidden></ul>' in page
    assert 'role="combobox"' not in page  # the script says so once it is one
