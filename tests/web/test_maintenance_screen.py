"""Maintenance, defects, loads and the selling sheet as pages: what the commands keep, kept from a page; refusals beside the form."""

import html
import io
import json
import re
import zipfile
from datetime import UTC, date, datetime, timedelta

import pytest
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ownship.ownership.entries import Flight, MaintenanceItem
from ownship.papers.maintenance_charts import ahead_chart
from ownship.questions import costing, log_events, maintaining
from ownship.questions import maintaining_entries as entries
from ownship.questions.maintaining_typed import texts_of
from ownship.questions.record import open_record
from ownship.questions.weighing_ledger import keep
from ownship.web import access
from ownship.web.app import create_app
from ownship.web.maintenance_forms import DIRECTIVE, FORMS, ITEM, in_words, numbers_of

APP = create_app()
REG, HERE, KEEP = "N0160T", "/maintenance", "/maintenance/keep"
USES = {f"use_{u}": "1" for u in ("VFR", "night", "IFR", "passengers")}
ANNUAL = {"name": "annual inspection", "day": "2026-03-02", "hours": "3210.4", "landings": "5000", "by": "mechanic", "cost": "1450 USD"}


@pytest.fixture
def client(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "data"))
    return TestClient(APP, base_url="http://127.0.0.1", follow_redirects=False)


@pytest.fixture
def begun(client):
    """The items of the USA kept for the demo's record, an annual done."""
    keep("demo", "2019-05-01")
    entries.starter("USA", aeroplane=REG)
    entries.done(entries.done_typed("annual inspection", "2026-03-02", "3210.4", 5000, None, by="mechanic"), REG)
    return client


def send(client, path, fields):
    client.get(HERE)
    return client.post(path, data={"token": client.cookies[access.COOKIE], "aeroplane": REG} | fields)


def refusal(page):
    assert page.status_code == 422, page.headers
    found = re.search(r'class="refusal".*?</span>(.*?)<', page.text, re.S)
    assert found and "Traceback" not in page.text and "--" not in found[1]
    return html.unescape(found[1].strip())


def field(page, form, name):
    found = re.search(rf'<input id="{form}-{name}" name="{name}" value="([^"]*)"', page.text)
    return html.unescape(found[1]) if found else None


def item(client, name, on=""):
    return next(i for i in client.get(f"{HERE}.json?aeroplane={REG}&on={on}").json()["items"] if i["name"] == name)


def counts():
    records = open_record()
    try:
        return records.counts()
    finally:
        records.close()


# ---- beginning


def test_an_empty_record_says_what_to_do_next_on_every_page_and_writes_nothing(client, tmp_path):
    for path, words in (("", "Look through the starter set"), ("/starter", "Keep what is ticked"), ("/electrical", "those of the demo"),
                        ("/defects", "No defect was ever entered"), ("/sale", "type it in from its papers"), *((f"/keep/{f}", "registration") for f in FORMS)):
        page = client.get(HERE + path)
        assert page.status_code == 200 and words in page.text, path
    assert not (tmp_path / "data").exists()


def test_a_starter_set_is_looked_at_chosen_from_kept_and_undone_as_one(client):
    page = client.get(f"{HERE}/starter?place=USA")
    assert page.text.count('type="checkbox"') == 7 and page.text.count('value="1" checked') == 6  # the 100-hour inspection only on wish
    assert "14 CFR 91.409(a)" in page.text and "from memory: check it" in page.text
    answer = send(client, f"{HERE}/starter", {"place": "USA", "item0": "1", "item3": "1"})
    assert answer.headers["location"] == f"{HERE}?aeroplane={REG}&kept=1-2"
    shown = client.get(answer.headers["location"]).text
    assert "Kept as entries 1 to 2" in shown and "2 items of the set" in shown and "Undo" in shown
    assert [i["name"] for i in client.get(f"{HERE}.json").json()["items"]] == ["annual inspection", "transponder test"]
    assert client.get(f"{HERE}/starter?aeroplane={REG}").text.count("kept already") == 2
    back = send(client, f"{HERE}/undo", {"entries": "1-2", "back": f"{HERE}?aeroplane={REG}"})
    assert back.status_code == 303 and client.get(f"{HERE}.json").json()["items"] == []


def test_a_starter_set_without_a_tick_or_an_aeroplane_keeps_what_was_ticked(client):
    page = send(client, f"{HERE}/starter", {"place": "USA"})
    assert "No item is ticked" in refusal(page) and 'value="1" checked' not in page.text
    page = send(client, f"{HERE}/starter", {"place": "life", "aeroplane": "?", "item2": "1"})
    assert "registration" in refusal(page) and page.text.count('value="1" checked') == 1 and field(page, "starter", "aeroplane") == "?"
    assert counts() == {}


# ---- what is due


def test_the_annual_of_md_01_is_due_to_the_end_of_the_twelfth_month(begun):
    """Published (MD-01): 12 calendar months from 2026-07-12 end on 2027-07-31, as in tests/questions/test_maintenance_command.py."""
    answer = send(begun, f"{KEEP}/done", ANNUAL | {"day": date.today().isoformat()})
    assert answer.status_code == 303
    found = item(begun, "annual inspection")
    done = date.today()
    end = date(done.year + 1 + (done.month == 12), done.month % 12 + 1, 1) - timedelta(days=1)
    assert (found["due"], found["state"]) == (end.isoformat(), "good")
    page = begun.get(HERE).text
    assert f"due {end}" in page and "by calendar" in page and "3,210.4 h" in page and "never noted as done" in page


def test_open_items_are_told_by_the_flight_with_their_sections(begun):
    every = begun.get(f"{HERE}?aeroplane={REG}&on=2026-04-01").text
    assert "VOR check" in every and "14 CFR 91.171" in every and "A licensed person and the pilot in command decide" in every
    day = begun.get(f"{HERE}.json?on=2026-04-01&use_VFR=1").json()["open"]
    assert day["uses"] == ["VFR"] and "VOR check" not in [o["title"] for o in day["open"]]
    assert {o["state"] for o in day["open"]} == {"not known"} and all(o["section"] for o in day["open"])
    later = begun.get(f"{HERE}.json?on=2027-04-01&use_VFR=1").json()["open"]["open"]
    assert [o["state"] for o in later if o["name"] == "annual inspection"] == ["overdue"]


def test_a_tolerance_stands_beside_the_date_and_is_not_the_date(begun):
    send(begun, f"{KEEP}/item", {"name": "oil", "hours": "50", "tolerance_hours": "5"} | USES)
    send(begun, f"{KEEP}/done", {"name": "oil", "day": "2026-03-02", "hours": "3210.4"})
    assert (item(begun, "oil")["due_h"], item(begun, "oil")["due_h_with_tolerance"]) == (3260.4, 3265.4)
    assert "with tolerance to 3,265.4 h" in begun.get(HERE).text


def test_hours_flown_give_a_date_with_a_band_and_a_plot(begun):
    send(begun, f"{KEEP}/item", {"name": "plugs", "hours": "60"} | USES)
    send(begun, f"{KEEP}/done", {"name": "plugs", "day": "2026-03-02", "hours": "3210.4"})
    fly(40)
    found = next(x for x in begun.get(f"{HERE}.json").json()["forecast"]["items"] if x["name"] == "plugs")
    assert found["by"] == "hours" and found["early"] < found["middle"] < found["late"]
    page = begun.get(HERE).text
    assert f"about {found['middle']} ({found['early']} to {found['late']}), by hours" in page
    assert page.count('role="img"') == 1 and f"plugs: {found['middle']}, {found['early']} to {found['late']}, by hours" in page


def fly(count):
    """Flights of 40 to 129 minutes, every ten days up to now."""
    now = datetime.now(UTC).replace(microsecond=0)
    flights = []
    for n in range(count):
        start = now - timedelta(days=10 * (count - n), hours=3)
        end = start + timedelta(minutes=40 + 37 * n % 90)
        flights.append(Flight(start, end, "KBOI", "KBOI", start, end, landings_day=1))
    records = open_record()
    records.append_many(flights, aeroplane=REG)
    records.close()


# ---- the plot


def test_the_plot_is_the_same_bytes_and_names_what_has_no_date(begun):
    entries.expiry("insurance", "2026-06-01", None, "", REG)
    one, two = (maintaining.drawn_ahead(REG, "2026-07-01") for _ in range(2))
    assert one == two and one is not None
    words = html.unescape(re.search(r'aria-label="([^"]*)"', one)[1])
    assert "Annual inspection: 2027-03-31, by calendar" in words and "insurance ends: overdue since 2026-06-01" in words
    assert "Not drawn, no date is known" in words and "VOR check" in words.split("Not drawn")[1]
    assert "licensed person" in words


def test_the_plot_of_nothing_is_refused_and_what_lies_later_is_named(begun):
    with pytest.raises(Exception, match="starter set"):
        ahead_chart(REG, [], [], date(2026, 7, 1))
    send(begun, f"{KEEP}/item", {"name": "belts", "every": "10 years"} | USES)
    send(begun, f"{KEEP}/done", {"name": "belts", "day": "2026-03-02"})
    drawn = maintaining.drawn_ahead(REG, "2026-07-01")
    assert drawn is not None and "Later than that: belts" in drawn


# ---- keeping


def test_an_item_is_corrected_with_its_status_and_undone_to_what_it_was(begun):
    page = begun.get(f"{KEEP}/item?aeroplane={REG}&item=transponder%20test")
    assert field(page, "item", "every") == "24 calendar months" and "Correct transponder test" in page.text
    records = open_record()
    old = next(e.body for e in records.standing(MaintenanceItem) if e.body.name == "transponder test")
    records.close()
    answer = send(begun, f"{KEEP}/item", texts_of(old) | {"replace": old.name, "cost": "200 USD"})
    shown = begun.get(answer.headers["location"])
    assert "It changes expected cost: none to 200 USD" in shown.text and "status" not in shown.text.split("It changes")[1][:80]
    assert item(begun, "transponder test")["expected_cost"] == {"amount": "200", "currency": "USD"}
    assert item(begun, "transponder test")["status"] == old.status
    send(begun, f"{HERE}/undo", {"entries": re.search(r"kept=(\d+)", answer.headers["location"])[1], "back": HERE})
    assert item(begun, "transponder test")["expected_cost"] is None


def test_another_interval_is_the_owners_own(begun):
    send(begun, f"{KEEP}/item", {"replace": "transponder test", "name": "transponder test", "every": "12 calendar months"} | USES)
    assert (item(begun, "transponder test")["every"], item(begun, "transponder test")["status"]) == ("12 calendar months", "owner")


def test_a_correction_keeps_its_name_for_what_was_done_is_kept_under_it(begun):
    before = counts()
    page = send(begun, f"{KEEP}/item", {"replace": "annual inspection", "name": "yearly", "every": "1 year"} | USES)
    assert "another item" in refusal(page) and field(page, "item", "every") == "1 year" and counts() == before


def test_a_directive_recurs_until_its_terminating_action(begun):
    send(begun, f"{KEEP}/directive", {"name": "2020-01-02", "title": "Float", "revision": "R1", "method": "look at it", "hours": "100",
                                      "first_due_hours": "3300", "effective": "2020-02-01"} | USES)
    page = begun.get(HERE).text
    assert "2020-01-02, revision R1" in page and "look at it" in page and "effective 2020-02-01" in page
    assert item(begun, "2020-01-02")["severity"] == "block"
    answer = send(begun, f"{KEEP}/done", {"name": "2020-01-02", "day": "2026-03-03", "terminating": "1"})
    assert item(begun, "2020-01-02")["state"] == "finished" and "ended by the terminating action on 2026-03-03" in begun.get(HERE).text
    number = re.search(r"kept=(\d+)", answer.headers["location"])[1]
    send(begun, f"{HERE}/undo", {"entries": number, "back": HERE})
    assert item(begun, "2020-01-02")["state"] != "finished"


def test_an_ending_is_renewed_and_withdrawn_and_the_withdrawal_undone(begun):
    send(begun, f"{KEEP}/ending", {"what": "insurance", "last_day": "2026-01-31", "document": "policy 1"} | USES)
    assert "ended" in begun.get(HERE).text
    send(begun, f"{KEEP}/ending", {"what": "insurance", "last_day": "2199-01-31"} | USES)
    assert [e["last_day"] for e in begun.get(f"{HERE}.json").json()["endings"]] == ["2199-01-31"]
    answer = send(begun, f"{KEEP}/withdraw", {"name": "insurance", "why": "entered twice"})
    assert "stands again" in begun.get(answer.headers["location"]).text
    assert [e["last_day"] for e in begun.get(f"{HERE}.json").json()["endings"]] == ["2026-01-31"]
    send(begun, f"{HERE}/undo", {"entries": answer.headers["location"].split("kept=")[1], "back": HERE})
    assert [e["last_day"] for e in begun.get(f"{HERE}.json").json()["endings"]] == ["2199-01-31"]


def test_what_was_done_is_listed_and_can_be_withdrawn_by_its_day(begun):
    page = begun.get(HERE).text
    assert "item=annual%20inspection&amp;day=2026-03-02" in page
    send(begun, f"{KEEP}/withdraw", {"name": "annual inspection", "day": "2026-03-02", "why": "another aeroplane's"})
    found = begun.get(f"{HERE}.json").json()
    assert found["done"] == [] and "Nothing is noted as done" in begun.get(HERE).text
    assert {i["state"] for i in found["items"]} == {"not known"}


@pytest.mark.parametrize(("form", "fields", "words"), [
    ("done", {"name": "annual inspection", "day": "12 July"}, "Day: '12 July' is no date"),
    ("done", {"name": "annual inspection", "day": "2199-01-01"}, "still to come"),
    ("done", {"name": "annual inspection", "day": "2026-04-01", "hours": "3000"}, "Hours: 3,000 on"),
    ("done", {"name": "annual inspection", "landings": "many"}, "Landings: 'many' is no count"),
    ("done", {"name": "annual inspection", "cost": "5"}, "Cost: '5' is no amount"), ("done", {"name": "wings"}, "no item"),
    ("item", {"name": "x"}, "no limit"), ("item", {"name": "x", "every": "12"}, "By calendar:"),
    ("item", {"name": "x", "hours": "3 kt"}, "Hours:"), ("item", {"name": "annual inspection", "every": "1 year"}, "is kept"),
    ("item", {"name": "x", "every": "1 year", "tolerance": "2 years"}, "longer than"),
    ("directive", {"name": "1", "title": "x", "first_due_landings": "-3"}, "First due at landings:"),
    ("ending", {"what": "insurance"}, "Last good day:"), ("ending", {"what": "insurance", "last_day": "soon"}, "Last good day:"),
    ("done", {"by": "me"}, "What was done: nothing is chosen"), ("withdraw", {"why": "y"}, "What: nothing is chosen"),
    ("withdraw", {"name": "annual inspection"}, "Why:"), ("withdraw", {"name": "x", "why": "y"}, "no item"),
])
def test_a_refusal_stands_beside_its_form_and_nothing_typed_is_lost(begun, form, fields, words):
    before = counts()
    page = send(begun, f"{KEEP}/{form}", fields)
    assert words in refusal(page) and counts() == before
    for name, text in fields.items():
        assert html.escape(text) in page.text, name


def test_a_form_asks_which_aeroplane_where_none_is_known(client):
    page = send(client, f"{KEEP}/item", {"name": "oil", "hours": "50", "aeroplane": ""})
    assert "registration" in refusal(page) and field(page, "item", "aeroplane") == ""
    answer = send(client, f"{KEEP}/item", {"name": "oil", "hours": "50", "aeroplane": "n0500t"})
    assert answer.headers["location"] == f"{HERE}?aeroplane=N0500T&kept=1"


def test_without_the_browsers_token_nothing_is_kept(begun):
    before = counts()
    for path in (f"{KEEP}/done", f"{HERE}/starter", f"{HERE}/undo", f"{HERE}/defects/found", f"{HERE}/defects/step"):
        assert begun.post(path, data=ANNUAL | {"aeroplane": REG, "token": "x" * 43}).status_code == 403
    assert counts() == before


def test_undo_takes_only_entries_of_maintenance_and_leads_only_home(begun):
    before = counts()
    assert "none of maintenance" in send(begun, f"{HERE}/undo", {"entries": "1", "back": HERE}).text  # the airframe record
    for bad in ("", "0", "1-999999", "x", "3-2", "1-2-3"):
        assert send(begun, f"{HERE}/undo", {"entries": bad, "back": HERE}).status_code == 422
    assert counts() == before
    assert send(begun, f"{HERE}/undo", {"entries": "8", "back": "//elsewhere.example"}).headers["location"] == HERE
    assert "Kept as" not in begun.get(f"{HERE}?kept=1").text and "Kept as" not in begun.get(f"{HERE}?kept=999").text


def test_there_are_no_other_forms_and_the_demo_keeps_none(begun):
    assert begun.get(f"{KEEP}/wings").status_code == 404
    assert "invented" in begun.get(f"{HERE}?aeroplane=demo").text


def test_a_day_that_is_none_is_refused_beside_its_field(begun):
    page = begun.get(f"{HERE}?on=soon")
    assert "On day: 'soon' is no date" in refusal(page) and 'name="on" value="soon"' in page.text


def test_two_aeroplanes_are_chosen_between(begun):
    entries.starter("Canada", aeroplane="C-FXYZ")
    page = begun.get(HERE).text
    assert "C-FXYZ: maintenance" in page and f"{HERE}?aeroplane={REG}" in page


# ---- files


def test_the_calendar_file_holds_a_date_of_each_and_none_is_refused(client, begun):
    entries.expiry("insurance", "2027-03-01", None, "policy 1", REG)
    answer = begun.get(f"{HERE}.ics")
    assert answer.headers["content-type"].startswith("text/calendar") and answer.text.startswith("BEGIN:VCALENDAR")
    assert "20270331" in answer.text and "20270301" in answer.text and answer.text.count("BEGIN:VEVENT") == 2
    assert "Nothing has a date yet" in begun.get(f"{HERE}.ics?aeroplane=C-FXYZ").text
    assert begun.get(f"/papers/maintenance-list.pdf?aeroplane={REG}").content[:5] == b"%PDF-"


# ---- defects


def test_a_defect_from_found_to_rectified(begun):
    answer = send(begun, f"{HERE}/defects/found", {"name": "left brake", "words": "soft", "use_night": "1"})
    assert "licensed person decides" in begun.get(answer.headers["location"]).text
    assert begun.get(f"{HERE}/defects.json?use_VFR=1").json()["defects"] == []
    send(begun, f"{HERE}/defects/step", {"name": "left brake", "state": "deferred", "words": "bled", "until": "2020-01-01"})
    assert "deferral over" in begun.get(f"{HERE}/defects").text
    last = send(begun, f"{HERE}/defects/step", {"name": "left brake", "state": "rectified", "words": "new seal", "by": "mechanic"})
    found = begun.get(f"{HERE}/defects.json").json()
    assert found["defects"] == [] and [s["state"] for s in found["steps"]] == ["rectified", "deferred", "found"]
    send(begun, f"{HERE}/undo", {"entries": last.headers["location"].split("kept=")[1], "back": f"{HERE}/defects"})
    assert [d["state"] for d in begun.get(f"{HERE}/defects.json").json()["defects"]] == ["deferred"]


@pytest.mark.parametrize(("where", "fields", "words"), [
    ("found", {"name": "brake", "words": ""}, "short name"), ("found", {"name": "x", "words": "y", "at": "noon"}, "Moment:"),
    ("step", {"name": "wings", "state": "rectified", "words": "y"}, "no open defect"), ("step", {"name": "x", "state": "flown", "words": "y"}, "State:"),
    ("step", {"name": "x", "state": "rectified", "words": "y", "until": "2026-01-01"}, "Deferred until"),
])
def test_a_step_that_cannot_be_is_refused_with_everything_typed(begun, where, fields, words):
    page = send(begun, f"{HERE}/defects/{where}", fields)
    assert words in refusal(page) and all(html.escape(t) in page.text for t in fields.values())
    assert "defect" not in counts()


# ---- loads and the sheet


def test_the_demos_loads_against_its_alternator(begun):
    """Its record: 6 + 4 + 8 + 5 A, a 60 A alternator and a 25 Ah battery; 80 % of it is 48 A; 0.7 x 25 Ah / 15 A = 1.17 h."""
    told = begun.get(f"{HERE}/electrical.json?aeroplane={REG}&moments2=1").json()["table"]
    assert (told["steady_a"], told["steady_allowed_a"], told["all_on_a"]) == (15.0, 48.0, 23.0)
    assert told["battery_h"] == pytest.approx(0.7 * 25 / 15, abs=1e-4)
    page = begun.get(f"{HERE}/electrical?aeroplane={REG}&moments2=1&stays0=1")
    assert page.text.count('value="1" checked') == 2 and "175 min" in page.text  # 0.7 x 25 Ah / 6 A


def test_the_selling_sheet_tells_load_age_directives_and_money(begun):
    """The demo's ledger: 2,350 - 1,417 lb; 48 US gal of usable fuel at 6 lb take 288 lb of it."""
    entries.add([entries.typed_item("hoses", None, entries.Limits(every="1 year"), "300 USD")], REG)
    told = begun.get(f"{HERE}/sale.json?hours=60").json()
    assert told["useful_load"]["value"] == pytest.approx(933, abs=0.1) and told["load_with_full_tanks"]["value"] == pytest.approx(645, abs=0.1)
    page = begun.get(f"{HERE}/sale?aeroplane={REG}&hours=60").text
    for words in ("933 lb", "645 lb", "2019-04-12", "At 60 h a year", "together 300.00 USD", "without a price", "not known"):
        assert words in page, words
    assert told == json.loads(json.dumps(costing.sheet("60", REG).data))
    assert "423 kg" in begun.get(f"{HERE}/sale", headers={"cookie": "ownship-units=aeroplane-kg"}).text


def test_hours_that_are_none_keep_the_sheet_and_what_was_typed(begun):
    page = begun.get(f"{HERE}/sale?hours=many")
    assert "Hours a year: 'many'" in refusal(page) and 'value="many"' in page.text and "933 lb" in page.text


def test_a_life_that_wears_stands_in_the_sheet_with_its_money(begun):
    """Half of 12 years gone: half of 36,000 USD is worn (a straight line, docs/methods/costs.md)."""
    since = date.today() - timedelta(days=round(6 * 365.25))
    costing.add("engine", "reserve", "36000 USD", years="12", since_day=since.isoformat(), aeroplane=REG)
    owed = begun.get(f"{HERE}/sale.json").json()["accrued"][0]["owed"]
    assert float(owed["value"] if "value" in owed else owed["amount"]) == pytest.approx(18000, rel=0.01)
    page = begun.get(f"{HERE}/sale").text
    assert "Worn of lives that end" in page and "6.0 years" in page and "36,000.00 USD" in page


def test_the_buyers_file_names_no_pilot(begun):
    records = open_record()
    start = datetime(2026, 3, 1, 12, tzinfo=UTC)
    records.append(Flight(start, start + timedelta(hours=1), "KBOI", "KMYL", pilot="Ada Quill", remarks="with Ada"), REG, start)
    records.close()
    answer = begun.get(f"{HERE}/sale.zip?aeroplane={REG}")
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        texts = {n: archive.read(n).decode() for n in archive.namelist()}
    assert {"flight.csv", "maintenance-done.csv", "record.toml"} <= set(texts)
    assert "KMYL" in texts["flight.csv"] and not any("Ada" in t or "Quill" in t for t in texts.values())
    assert "holds nothing of C-FXYZ" in begun.get(f"{HERE}/sale.zip?aeroplane=C-FXYZ").text


# ---- words


@given(text=st.text(alphabet=st.characters(codec="utf-8", exclude_characters="\0"), max_size=40))
@settings(max_examples=60, deadline=None)
def test_sentences_by_labels_never_fail(text):
    assert isinstance(in_words(text), str) and in_words("--hours: x").startswith("Hours:")


@given(first=st.integers(1, 10**6), more=st.integers(0, 400))
@settings(max_examples=60, deadline=None)
def test_numbers_of_a_mark_are_all_of_it_or_none(first, more):
    found = numbers_of(f"{first}-{first + more}")
    assert found == (tuple(range(first, first + more + 1)) if more < 200 else ())


@given(every=st.sampled_from(["", "12 calendar months", "90 days"]), hours=st.one_of(st.none(), st.floats(0.1, 5000)),
       landings=st.one_of(st.none(), st.integers(1, 10**5)), carry=st.booleans(), tolerance=st.sampled_from([0.0, 5.0]),
       uses=st.sets(st.sampled_from(["VFR", "night", "IFR", "passengers"])), section=st.sampled_from(["", "14 CFR 91.409(a)"]))
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_an_item_as_typed_reads_back_to_itself(every, hours, landings, carry, tolerance, uses, section):
    limits = entries.Limits(every or None, None if hours is None else f"{hours:.10g}", landings, None, f"{tolerance:g}" if tolerance else None,
                            not carry, "2027-01-01", "100", uses=",".join(uses) or "none", section=section)
    made = entries.typed_item("x", "y", limits, "5 USD")
    texts = texts_of(made)
    assert set(texts) <= {c.name for f in (ITEM, DIRECTIVE) for c in f.cells} | set(USES)
    again = entries.typed_item(texts["name"], texts["title"], entries.Limits(
        texts.get("every"), texts.get("hours"), int(texts["landings"]) if "landings" in texts else None, texts.get("tolerance"),
        texts.get("tolerance_hours"), "from_due" in texts, texts["first_due"], texts["first_due_hours"],
        uses=",".join(u.removeprefix("use_") for u in texts if u.startswith("use_")) or "none", section=texts.get("section", ""),
        severity=texts["severity"]), texts["cost"])
    assert again == made


def test_a_defects_command_and_page_ask_the_same(begun):
    log_events.defect("radio", "found", "dead", aeroplane=REG)
    assert json.loads(json.dumps(log_events.defects(REG)["defects"])) == begun.get(f"{HERE}/defects.json?aeroplane={REG}").json()["defects"]
