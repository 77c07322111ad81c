"""Fuel and oil of the Log: what is aboard by tank, kept, refused and undone; and the hand-over that carries it on."""

import pytest
from log_cases import FLIGHT, REG, as_own, entries, make_client, refusal, send, value

from ownship.web.fuel_screen import ADDED, FORMS

client = pytest.fixture(make_client)
DIP = {"aeroplane": REG, "tank": "left", "amount": "10 usgal", "known_by": "dipstick"}


def test_without_an_aeroplane_it_says_what_to_do(client):
    page = client.get("/log/fuel")
    assert page.status_code == 200 and "keep its record on the Airframe screen" in page.text and "<form method=\"post\"" not in page.text


def test_what_was_seen_is_aboard_with_band_source_and_since_when(client):
    as_own(client)
    assert send(client, "/log/fuel/seen", DIP).headers["location"].startswith(f"/log/fuel?aeroplane={REG}&kept=")
    send(client, "/log/fuel/seen", DIP | {"tank": "right", "amount": "full", "known_by": ""})
    told = client.get(f"/log/fuel.json?aeroplane={REG}").json()
    left, right = told["tanks"]
    # the demo's tanks hold 25 US gal, 24 usable: a dipstick counts total, so 10 are 9 usable
    assert (left["usable"]["value"], right["usable"]["value"]) == (pytest.approx(9.0), pytest.approx(24.0))
    page = client.get(f"/log/fuel?aeroplane={REG}").text
    assert "9.0 usgal (" in page and "known by dipstick since" in page and "Look into the tanks" in page
    assert 'aria-label="left: 9.0 usgal' in page


def test_figures_stand_in_the_units_a_person_chose(client):
    as_own(client)
    send(client, "/log/fuel/seen", DIP)
    client.cookies.set("ownship-units", "fuel-l")
    assert "34.1 l (" in client.get("/log/fuel").text  # 9 US gal of 3.785 l


@pytest.mark.parametrize(("form", "fields", "words", "wrong"), [
    ("added", {"tank": "middle", "amount": "5 usgal"}, "no tank 'middle'", "tank"),
    ("added", {"tank": "left", "amount": "500 usgal"}, "more than the left tank holds", "amount"),
    ("added", {"tank": "left", "amount": "5"}, "Amount: '5'", "amount"),
    ("added", {"tank": "left", "amount": "5 usgal", "price": "31"}, "Price", "price"),
    ("added", {"tank": "left", "amount": "5 usgal", "at": "2026-07-11T15:00"}, "has no zone", "at"),
    ("seen", {"tank": "left", "amount": "-1 usgal"}, "below 0", "amount"),
    ("seen", {"tank": "left", "amount": "99 in"}, "beyond the dipstick table", "amount"),
    ("oil", {"amount": "900 qt"}, "not believable", "amount"), ("oil", {"amount": "1 qt", "hours": "many"}, "Hours of the engine", "hours")])
def test_what_cannot_be_is_refused_beside_its_form_and_stays_typed(client, form, fields, words, wrong):
    as_own(client)
    page = send(client, f"/log/fuel/{form}", {"aeroplane": REG} | fields)
    assert words in refusal(page) and "--" not in refusal(page)
    names = {c.name for c in FORMS[form]} - {"tank", "known_by", "counts"}
    section = page.text.split(f'action="/log/fuel/{form}"')[1].split("</form>")[0]
    for name in names:
        assert f'name="{name}" value="{fields.get(name, "")}"' in section
    if wrong != "hours":
        assert f'href="#{form}-{wrong}"' in page.text
    assert len(entries()) == 1  # the record of the aeroplane alone


def test_what_was_put_in_can_be_undone_and_its_history_withdrawn(client):
    as_own(client)
    send(client, "/log/fuel/seen", DIP)
    page = send(client, "/log/fuel/added", {"aeroplane": REG, "tank": "left", "amount": "8 usgal", "price": "49.60 USD"})
    shown = client.get(page.headers["location"]).text
    assert "8 usgal into the left tank" in shown and "Undo" in shown and "49.60 USD" in shown
    send(client, "/undo", {"entry": "3", "back": "/log/fuel"})
    assert client.get("/log/fuel.json").json()["tanks"][0]["usable"]["value"] == pytest.approx(9.0)
    assert send(client, "/log/entry/2/withdraw", {"why": "wrong tank"}).status_code == 303
    assert client.get("/log/fuel.json").json()["tanks"][0]["usable"] is None


def test_a_refused_form_stays_with_the_aeroplane_it_was_about(client):
    as_own(client)
    send(client, "/log/flight/new", FLIGHT | {"aeroplane": "C-FABC"})
    for path, fields in (("/log/fuel/oil", {"amount": "x"}), ("/log/costs", {"what": "x"}), ("/log/hand-over", {})):
        page = send(client, path, {"aeroplane": "C-FABC"} | fields)
        assert refusal(page) and value(page, "aeroplane") == "C-FABC", path


def test_oil_an_hour_is_said_when_there_are_two_entries(client):
    as_own(client)
    for hours in ("1200", "1210"):
        send(client, "/log/fuel/oil", {"aeroplane": REG, "amount": "1 qt", "hours": hours})
    page = client.get("/log/fuel").text
    assert "Oil an hour: 0.10 qt/h over 10 h" in page
    assert {c.name for c in ADDED} == {"tank", "amount", "level", "price", "place", "at"}


# ---- hand-over


def test_a_hand_over_carries_fuel_oil_keys_and_settles_by_the_meter(client):
    as_own(client)
    send(client, "/log/fuel/seen", DIP)
    first = {"aeroplane": REG, "to": "Ben", "by": "Anne", "meter": "tachometer", "reading": "1200", "oil": "6 qt", "keys": "in the box",
             "tied_down": "three ropes", "at": "2026-07-11T15:00-06:00"}
    page = send(client, "/log/hand-over", first)
    assert page.status_code == 303 and "first hand-over" in client.get(page.headers["location"]).text
    second = {"aeroplane": REG, "to": "Anne", "by": "Ben", "meter": "tachometer", "reading": "1203.5", "rate": "95.00 USD"}
    shown = client.get(send(client, "/log/hand-over", second).headers["location"]).text
    assert "332.50 USD" in shown  # 3.5 h of 95
    assert "left 9.0 usgal usable, dipstick" in shown and "not noted" in shown
    assert client.get("/log/hand-over.json").json()["before"]["to"] == "Anne"
    undone = send(client, "/undo", {"entry": "3", "back": "/log/hand-over"})
    assert undone.status_code == 422 and "counts its hours from this hand-over" in undone.text  # its money rests on the first


@pytest.mark.parametrize(("fields", "words"), [({"to": ""}, "To"), ({"to": "Ben", "reading": "x"}, "Reading"), ({"to": "Ben", "oil": "99 qt"}, "Oil"),
                                               ({"to": "Ben", "rate": "95"}, "Rate an hour")])
def test_a_hand_over_that_is_refused_keeps_what_was_typed(client, fields, words):
    as_own(client)
    page = send(client, "/log/hand-over", {"aeroplane": REG, "keys": "in the box", "meter": "tachometer"} | fields)
    assert words in refusal(page) and value(page, "keys") == "in the box"


def test_looking_at_a_hand_over_without_anything_says_what_to_do_first(client):
    assert "No aeroplane is kept yet" in client.get("/log/hand-over").text
    as_own(client)
    assert value(client.get("/log/hand-over"), "keys") == ""  # an empty field, nothing of the program's own


def test_a_fill_that_does_not_agree_is_settled_by_what_was_found(client):
    as_own(client)

    def filled(day, left, right):
        for tank, amount in (("left", left), ("right", right)):
            send(client, "/log/fuel/added", {"aeroplane": REG, "tank": tank, "amount": f"{amount} usgal", "level": "full",
                                             "at": f"2026-06-{day:02d}T17:00+00:00"})

    filled(1, 3, 3)
    for day in range(2, 6):
        send(client, "/log/flight/new", {"aeroplane": REG, "origin": "KBOI", "destination": "KBOI", "role": "PIC", "rules": "VFR",
                                         "off_blocks": f"2026-06-{day:02d}T15:00Z", "on_blocks": f"2026-06-{day:02d}T16:20Z"})
        filled(day, 6, 10 if day == 5 else 5.2)
    told = client.get("/log/fuel.json").json()["fills"]
    assert [f["name"] for f in told["fills"] if not f["agrees"]] == ["2026-06-05"]
    fields = {"aeroplane": REG, "day": "2026-06-05", "found": "lost"}
    page = send(client, "/log/fuel/settled", fields)
    assert refusal(page).startswith("Why: say how it was found out") and 'id="settled-day" name="day" value="2026-06-05"' in page.text
    page = send(client, "/log/fuel/settled", fields | {"why": "the drain was open"})
    assert "is settled as lost" in client.get(page.headers["location"]).text
