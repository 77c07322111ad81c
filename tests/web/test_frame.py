"""The frame of every page: its links, its icon, its skip links."""

import re

import pytest
from fastapi.testclient import TestClient

from ownship.web.app import create_app
from ownship.web.pages import environment
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


@pytest.mark.parametrize(("path", "said"), [("/maintenance", "a licensed person decides what is due"), ("/", "Say minimum fuel"),
                                            ("/log/recency", "from memory was not read"), ("/airframe", "tie everything down")])
def test_each_foot_says_what_the_screen_is_about(path, said):
    foot = CLIENT.get(path).text.partition("<footer>")[2]
    assert "the pilot in command decides" in foot and said in foot


# -- undo
def form_token(path):
    return re.search(r'data-token="([^"]+)"', CLIENT.get(path).text)[1]


def keep_demo(folder):
    from ownship.questions.weighing_ledger import keep

    keep("demo", "2019-05-01", folder=folder)


def test_undo_leads_back_to_the_page_as_it_was_asked(tmp_path):
    keep_demo(tmp_path)
    page = CLIENT.get("/airframe", params={"aeroplane": "N0160T", "kept": "1"})
    back = re.search(r'name="back" value="([^"]+)"', page.text)[1]
    assert back == "/airframe?aeroplane=N0160T" and page.headers["cache-control"] == "no-store"
    answer = CLIENT.post("/undo", data={"token": form_token("/airframe"), "entry": "1", "back": back}, follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, back)


def test_what_was_undone_is_told_no_more_and_is_not_undone_twice(tmp_path):
    keep_demo(tmp_path)
    sent = {"token": form_token("/airframe"), "entry": "1", "back": "/airframe"}
    assert "Kept as entry 1" in CLIENT.get("/airframe?kept=1").text
    assert CLIENT.post("/undo", data=sent, follow_redirects=False).status_code == 303
    assert "Kept as entry 1" not in CLIENT.get("/airframe?kept=1").text
    again = CLIENT.post("/undo", data=sent)
    assert again.status_code == 422 and "Nothing was changed" in again.text and "Entry 1 was corrected by entry 2" in again.text


@pytest.mark.parametrize("back", ["//evil.example", "/\\evil.example", "https://evil.example", "\r\n/x", "javascript:alert(1)"])
def test_undo_never_leads_away(tmp_path, back):
    keep_demo(tmp_path)
    sent = {"token": form_token("/airframe"), "entry": "1", "back": back}
    assert CLIENT.post("/undo", data=sent, follow_redirects=False).headers["location"].split("//")[0] in ("/", "/x")


def test_maintenance_too_tells_of_nothing_undone(tmp_path):
    keep_demo(tmp_path)
    token, here = form_token("/airframe"), "/maintenance?aeroplane=N0160T"
    sent = {"token": token, "aeroplane": "N0160T", "place": "USA", "item0": "1", "item3": "1"}
    kept = CLIENT.post("/maintenance/starter", data=sent, follow_redirects=False).headers["location"]
    assert "Undo" in CLIENT.get(kept).text
    CLIENT.post("/maintenance/undo", data={"token": token, "entries": kept.split("kept=")[1], "back": here})
    assert "Undo" not in CLIENT.get(kept).text


# -- nothing more certain than we are
@pytest.mark.parametrize(("chance", "said"), [(0.0, "0 %"), (1e-9, "under 1 %"), (0.009, "under 1 %"), (0.01, "1 %"), (0.5, "50 %"),
                                              (0.996, "over 99 %"), (1.0, "100 %")])
def test_a_chance_is_never_rounded_to_a_certainty(chance, said):
    assert environment().filters["chance"](chance) == said


def test_a_margin_of_whole_people_shows_what_it_counts():
    page = CLIENT.get("/").text
    assert re.search(r'people at rear seats</span>\s*<span class="figures">2 people for 2 seats</span>', page)


@pytest.mark.parametrize("query", [{}, {"load0": "90 lb"}])
def test_what_a_flight_costs_is_asked_from_the_flight(query):
    link = re.search(r'href="(/log/costs/flight\?[^"]*)"', CLIENT.get("/", params=query).text)[1].replace("&amp;", "&")
    assert CLIENT.get(link).status_code == 422  # no price is kept yet: it asks for one
    answer = CLIENT.get(f"{link}&cost_price=6.20+USD%2Fusgal&cost_persons=4")
    assert answer.status_code == 200 and "USD" in answer.text


def test_the_guide_names_what_a_model_lacks_as_a_pilot_does():
    token = form_token("/airframe/new")
    CLIENT.post("/airframe/new/aeroplane", data={"token": token, "identity.registration": "N0500T", "identity.type": "Camas 160"})
    page = CLIENT.get("/airframe/new/look").text
    assert "no wing area" in page and not re.search(r"\[[a-z]+\] \w+_\w+", page)


# -- size
@pytest.mark.parametrize("headers", [{"transfer-encoding": "chunked"}, {"transfer-encoding": "chunked", "content-length": "5"}])
def test_what_is_sent_in_chunks_is_refused_whatever_length_it_says(headers):
    answer = CLIENT.post("/units", content=b"x=1&y", headers=headers | {"content-type": "application/x-www-form-urlencoded"})
    assert answer.status_code == 411 and "send it with its length" in answer.text


# -- missing is not nothing
def test_air_time_that_nobody_noted_is_not_known_and_not_nought(tmp_path):
    keep_demo(tmp_path)
    token = form_token("/log/import")
    names = ("aeroplane", "date", "origin", "destination", "off_blocks", "on_blocks", "take_off", "landing", "landings_day", "pilot")
    for i, times in enumerate((",,", "09:10,09:55,")):
        log = ",".join(names) + f"\nN0160T,2026-05-1{i},KBOI,KMYL,09:00,10:05,{times}1,Anne\n"
        there = CLIENT.post("/log/import", data={"token": token}, files={"log": ("log.csv", log.encode())}, follow_redirects=False)
        file = re.search(r"file=([0-9a-f]+)", there.headers["location"])[1]
        sent = {"token": token, "file": file, "name": "log.csv", "zone": "UTC"} | {f"column{k}": n for k, n in enumerate(names)}
        assert CLIENT.post("/log/import/keep", data=sent, follow_redirects=False).status_code == 303
        page = " ".join(re.sub(r"<[^>]+>", " ", CLIENT.get("/log").text).split())
        assert ("surface to surface not known (1 without", "surface to surface at least 0.75 h (1 without")[i] in page
