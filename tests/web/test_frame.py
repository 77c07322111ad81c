"""The frame of every page: its links, its icon, its skip links."""

import re

import pytest
from fastapi.testclient import TestClient

from ownship.web.app import create_app
from ownship.web.screens import MODULES

CLIENT = TestClient(create_app(), base_url="http://127.0.0.1")


@pytest.fixture(autouse=True)
def empty(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path))


def test_every_screen_is_listed_once():
    assert len(MODULES) == len(set(MODULES))


def test_the_flight_goes_to_the_cockpit_as_it_is_asked():
    page = CLIENT.get("/", params={"load0": "90 lb", "theme": "night"}).text
    link = re.search(r'href="(/cockpit\?[^"]*)"', page)
    assert link and "load0=90+lb" in link[1] and "theme=night" in link[1]
    assert CLIENT.get(link[1].replace("&amp;", "&")).status_code == 200


def test_no_page_asks_for_an_icon_that_is_not_there():
    icon = re.search(r'<link rel="icon" href="([^"]+)"', CLIENT.get("/units").text)
    assert icon and CLIENT.get(icon[1]).headers["content-type"].startswith("image/svg")


@pytest.mark.parametrize("path", ["/", "/?from=x&load0=y", "/?aeroplane=demo&to=", "/cockpit", "/cockpit?to=", "/units", "/airframe", "/log"])
def test_every_skip_link_leads_somewhere(path):
    page = CLIENT.get(path).text
    for target in re.findall(r'class="skip" href="#([^"]+)"', page):
        assert f'id="{target}"' in page, (path, target)
