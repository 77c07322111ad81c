"""`ownship maintenance`: kept, listed, done, forecast, written as a calendar; bad input is one sentence and writes nothing."""

import json
from datetime import UTC, date, datetime, timedelta

import pytest
from commands import run
from icalendar import Calendar

from ownship.ownership.entries import AeroplaneRevision, Flight
from ownship.papers.calendar_file import Event, calendar_file
from ownship.questions.maintaining import ZONE, open_before
from ownship.questions.reading import demo_text
from ownship.questions.record import open_record

A = "N0160T"
MADE = datetime(2026, 7, 11, 15, tzinfo=UTC)
COMMANDS = ("list", "open", "forecast", "expiry", "swing", "electrical")


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "kept"))
    return tmp_path


def ask(capsys, *words):
    code, out, err = run(capsys, "maintenance", *words)
    assert (code, err) == (0, ""), err
    return out


def as_json(capsys, *words):
    return json.loads(ask(capsys, *words, "--json"))


def refused(capsys, *words):
    records = open_record()
    before = records.counts()
    code, out, err = run(capsys, "maintenance", *words)
    assert code == 2 and out == "" and err.count("\n") == 1 and "Traceback" not in err
    assert records.counts() == before
    records.close()
    return err


def begun(capsys):
    """The set of the USA, an annual and a reading."""
    ask(capsys, "starter", "USA", "--aeroplane", A)
    ask(capsys, "done", "annual inspection", "--day", "2026-07-12", "--hours", "3210.4", "--landings", "5000", "--by", "mechanic")


@pytest.mark.parametrize("command", COMMANDS)
def test_an_empty_record_answers_and_says_what_to_do_next(capsys, own_folder, command):
    found = as_json(capsys, command)
    assert found["schema"] == 1
    assert ("--magnetic" if command == "swing" else "ownship maintenance") in found["words"][0]
    assert ask(capsys, command).strip() == found["words"][0]
    assert not (own_folder / "kept" / "record.sqlite").exists()


def test_an_empty_record_writes_no_calendar_and_is_not_checked(capsys, own_folder):
    target = own_folder / "due.ics"
    assert as_json(capsys, "calendar", str(target))["events"] == 0 and not target.exists()
    assert as_json(capsys, "open")["checked"] is False


def test_starter_done_and_list(capsys):
    begun(capsys)
    found = as_json(capsys, "--on", "2026-08-01")
    annual = next(i for i in found["items"] if i["name"] == "annual inspection")
    assert (annual["due"], annual["state"], annual["section"]) == ("2027-07-31", "good", "14 CFR 91.409(a)")   # MD-01
    assert {i["state"] for i in found["items"] if i["name"] != "annual inspection"} == {"not known"}
    assert found["totals"]["air_time_h"] == 3210.4
    assert "100-hour inspection" not in {i["name"] for i in found["items"]}
    assert "licensed person" in ask(capsys, "list")


def test_a_starter_set_is_added_once_and_shown_without_writing(capsys):
    assert "from memory" in ask(capsys, "starter", "life", "--show")
    assert open_record().counts() == {}
    begun(capsys)
    assert "already" in ask(capsys, "starter", "usa")
    assert "1 items" in ask(capsys, "starter", "USA", "--also", "100-hour inspection")
    found = next(i for i in as_json(capsys)["items"] if i["name"] == "100-hour inspection")
    assert found["due_h_with_tolerance"] is None and found["state"] == "not known"


def test_open_items_by_use(capsys):
    begun(capsys)
    found = as_json(capsys, "open", "--uses", "vfr", "--on", "2026-08-01")
    assert found["checked"] and "VOR check" not in {o["name"] for o in found["open"]}
    assert "annual inspection" not in {o["name"] for o in found["open"]}
    late = as_json(capsys, "open", "--uses", "VFR", "--on", "2027-08-01")["open"]
    assert (late[0]["name"], late[0]["state"], late[0]["severity"]) == ("annual inspection", "overdue", "block")
    assert "VOR check" in ask(capsys, "open", "--uses", "IFR")
    assert any("from memory" in c for c in found["cautions"])


def test_the_flight_asked_about_can_bring_an_item_due(capsys):
    assert open_before(A, date(2026, 8, 1), ("VFR",)) is None
    begun(capsys)
    ask(capsys, "add", "oil", "--hours", "50")
    ask(capsys, "done", "oil", "--day", "2026-07-12", "--hours", "3210.4")
    for flown, state in ((50.0, None), (50.1, "overdue")):
        found = {o.name: o.state for o in open_before(A, date(2026, 8, 1), ("VFR",), ahead_h=flown)}
        assert found.get("oil") == state


def test_items_by_flags_from_a_file_and_a_directive(capsys, own_folder):
    begun(capsys)
    ask(capsys, "add", "oil", "--every", "4 months", "--hours", "50", "--cost", "120.50 usd", "--title", "Oil")
    path = own_folder / "items.toml"
    path.write_text('[[item]]\nname = "tyres"\nlandings = 300\nfirst_due_landings = 5200\n[[item]]\nname = "rails"\nevery = "1 year"\n'
                    "first_due = 2026-12-01\nuses = []\n")
    ask(capsys, "add", str(path))
    ask(capsys, "add", "wash", "--every", "30 days", "--uses", "none")
    ask(capsys, "directive", "2026-01-02", "--title", "Selector", "--first-due-hours", "3300 h", "--hours", "100")
    found = {i["name"]: i for i in as_json(capsys, "--on", "2026-08-01")["items"]}
    assert found["oil"]["expected_cost"] == {"amount": "120.50", "currency": "USD"}
    assert (found["wash"]["uses"], found["rails"]["uses"]) == ([], [])
    assert not {"wash", "rails"} & {o["name"] for o in as_json(capsys, "open", "--on", "2030-08-01")["open"]}
    assert (found["tyres"]["left_landings"], found["rails"]["due"]) == (200, "2026-12-01")
    assert (found["2026-01-02"]["directive"], found["2026-01-02"]["due_h"]) == ("2026-01-02", 3300.0)
    ask(capsys, "done", "2026-01-02", "--day", "2026-07-20", "--hours", "3215", "--terminating")
    found = {i["name"]: i for i in as_json(capsys, "--on", "2030-08-01")["items"]}
    assert found["2026-01-02"]["state"] == "finished"


def test_replacing_and_withdrawing_keep_what_was(capsys):
    begun(capsys)
    ask(capsys, "add", "rails", "--every", "1 year")
    assert "--replace" in refused(capsys, "add", "Rails", "--every", "2 years")
    ask(capsys, "add", "rails", "--every", "2 years", "--replace")
    assert next(i for i in as_json(capsys)["items"] if i["name"] == "rails")["every"] == "2 years"
    ask(capsys, "withdraw", "rails", "--why", "not fitted")
    assert "rails" not in {i["name"] for i in as_json(capsys)["items"]}
    assert open_record().counts()["maintenance item"] == 9


def test_what_was_noted_wrongly_is_withdrawn_and_noted_again(capsys):
    begun(capsys)
    ask(capsys, "withdraw", "annual inspection", "--day", "2026-07-12", "--why", "another aeroplane's")
    assert next(i for i in as_json(capsys)["items"] if i["name"] == "annual inspection")["state"] == "not known"
    ask(capsys, "done", "annual inspection", "--day", "2026-06-30", "--hours", "3100")
    found = next(i for i in as_json(capsys, "--on", "2026-08-01")["items"] if i["name"] == "annual inspection")
    assert (found["due"], found["last_done_h"]) == ("2027-06-30", 3100.0)


def test_endings(capsys):
    ask(capsys, "expiry", "insurance", "--last-day", "2026-12-01", "--aeroplane", "n0160t")
    ask(capsys, "expiry", "insurance", "--last-day", "2027-12-01")
    found = as_json(capsys, "expiry")["endings"]
    assert [(e["what"], e["last_day"]) for e in found] == [("insurance", "2027-12-01")]
    assert "maintenance starter" in as_json(capsys)["words"][0]
    ask(capsys, "withdraw", "Insurance", "--why", "sold")
    assert [e["last_day"] for e in as_json(capsys, "expiry")["endings"]] == ["2026-12-01"]


@pytest.mark.parametrize(("words", "sentence"), [
    (("done", "nothing"), "no item"), (("done", "annual inspection", "--day", "2999-01-01"), "believable"),
    (("done", "annual inspection", "--day", "2199-01-01"), "still to come"), (("done", "annual inspection", "--day", "12 July"), "no date"),
    (("done", "annual inspection", "--day", "2026-08-01", "--hours", "3000"), "run back"),
    (("done", "annual inspection", "--day", "2026-07-01", "--hours", "3300"), "run back"),
    (("done", "annual inspection", "--hours", "3 kt"), "--hours"), (("done", "annual inspection", "--hours", "nan"), "--hours"),
    (("done", "annual inspection", "--landings", "many"), "landings"), (("done", "total time"), "--hours"),
    (("done", "annual inspection", "--cost", "5"), "currency"),
    (("add", "x"), "no limit"), (("add", "x", "--every", "12"), "no interval"), (("add", "x", "--hours", "0"), "never ends"),
    (("add", "x", "--every", "1 year", "--uses", "taxi"), "no use"), (("add", "", "--every", "1 year"), "characters"),
    (("add", "missing.toml"), "does not exist"), (("add", "total time", "--every", "1 year"), "another name"),
    (("add", "x", "--every", "1 year", "--severity", "bad"), "severity"), (("directive", "1"), "title"),
    (("starter", "Atlantis"), "allowed are"), (("starter", "USA", "--also", "wings"), "--also"), (("open", "--uses", "sea"), "no use"), (("open", "--uses", ","), "no use"),
    (("open", "--uses", "none"), "no use"),
    (("expiry", "insurance"), "--last-day"), (("withdraw", "annual inspection", "--why", " "), "reason"),
    (("withdraw", "annual inspection", "--why", "x", "--day", "2026-07-13"), "not noted"), (("forecast", "wings"), "no item"),
    (("calendar", "/nowhere/due.ics"), "folder"), (("swing", "--magnetic", "0 90"), "--compass"), (("--on", "soon"), "no date"),
    (("swing", "--magnetic", "0 90 180 270", "--compass", "0 90 180 x"), "degrees"),
    (("swing", "--magnetic", "0 90 180 270", "--compass", "0 90 180 200"), "misread"), (("electrical", "none.toml"), "does not exist"),
    (("electrical", "demo", "--keep", "coffee"), "no load"), (("--aeroplane", "?"), "registration"), (("frobnicate",), "frobnicate"),
])
def test_bad_input_is_one_sentence_and_writes_nothing(capsys, words, sentence):
    begun(capsys)
    assert sentence in refused(capsys, *words)


def test_a_file_with_one_bad_item_writes_none_of_them(capsys, own_folder):
    begun(capsys)
    path = own_folder / "items.toml"
    path.write_text('[[item]]\nname = "good"\nevery = "1 year"\n[[item]]\nname = "bad"\nevery = "1 yr"\n')
    assert "line 6" in refused(capsys, "add", str(path))


def test_which_aeroplane_is_asked_where_there_are_two(capsys):
    begun(capsys)
    ask(capsys, "starter", "Canada", "--aeroplane", "C-FXYZ")
    assert "--aeroplane" in refused(capsys, "list")
    assert as_json(capsys, "--aeroplane", "c-fxyz")["aeroplane"] == "C-FXYZ"


def test_no_aeroplane_is_known_yet(capsys):
    assert "--aeroplane" in refused(capsys, "starter", "USA")


def test_hours_not_given_are_told(capsys):
    begun(capsys)
    ask(capsys, "add", "oil", "--every", "4 months", "--hours", "50")
    assert "not known" in ask(capsys, "done", "oil", "--day", "2026-07-20")
    assert next(i for i in as_json(capsys, "--on", "2026-07-21")["items"] if i["name"] == "oil")["state"] == "not known"


def test_flights_move_the_hours_and_the_forecast(capsys):
    begun(capsys)
    ask(capsys, "add", "oil", "--hours", "50")
    ask(capsys, "done", "oil", "--day", "2026-07-12", "--hours", "3210.4")
    records = open_record()
    starts = [datetime(2025 + i // 12, i % 12 + 1, 10, 18, tzinfo=UTC) for i in range(20)]
    flights = [Flight(s, s + timedelta(hours=5), "KBOI", "KBOI", s, s + timedelta(hours=5), landings_day=2) for s in starts]
    records.append_many(flights, aeroplane=A)
    records.close()
    found = as_json(capsys, "--on", "2026-08-31")
    assert found["totals"]["air_time_h"] == pytest.approx(3215.4)   # one flight since the annual, on 10 August
    oil = next(i for i in as_json(capsys, "forecast", "--on", "2026-08-31")["items"] if i["name"] == "oil")
    assert oil["early"] <= oil["middle"] <= oil["late"] and oil["by"] == "hours"
    assert abs((date.fromisoformat(oil["middle"]) - date(2027, 5, 31)).days) < 20   # 45 h at 5 h a month
    assert as_json(capsys, "forecast", "oil", "--on", "2026-08-31")["items"] == [oil]


def test_the_calendar_file(capsys, own_folder):
    begun(capsys)
    ask(capsys, "expiry", "insurance", "--last-day", "2026-12-01")
    target = own_folder / "due.ics"
    assert as_json(capsys, "calendar", str(target), "--on", "2026-08-01")["events"] == 2
    first = target.read_bytes()
    events = {str(e["summary"]): e for e in Calendar.from_ical(first).walk("VEVENT")}
    assert {s: e["dtstart"].dt for s, e in events.items()} == {
        f"{A}: Annual inspection": date(2027, 7, 31), f"{A}: insurance ends": date(2026, 12, 1)}
    ask(capsys, "calendar", str(target), "--on", "2026-08-02")
    assert {str(e["uid"]) for e in Calendar.from_ical(target.read_bytes()).walk("VEVENT")} == {str(e["uid"]) for e in events.values()}


def test_a_calendar_file_keeps_to_rfc_5545():
    data = calendar_file([Event("a@x", date(2028, 2, 29), "Öl, wechseln; " * 12, "line\n\aline"), Event("b@x", date(2027, 1, 1), "t", "", False)],
                         MADE, "N0160T")
    lines = data.split(b"\r\n")
    assert b"\n" not in b"".join(lines) and max(map(len, lines)) <= 75           # 3.1: CRLF, 75 octets
    assert lines[0] == b"BEGIN:VCALENDAR" and b"VERSION:2.0" in lines              # 3.7.4
    assert b"DTSTART;VALUE=DATE:20280229" in lines and b"DTEND;VALUE=DATE:20280301" in lines   # 3.6.1: the end is not in it
    assert b"DTSTAMP:20260711T150000Z" in lines and data.count(b"BEGIN:VALARM") == 2
    late, sure = Calendar.from_ical(data).walk("VEVENT")
    assert (str(sure["summary"]), str(sure["description"]), str(sure["status"])) == ("Öl, wechseln; " * 12, "line\n line", "CONFIRMED")
    assert str(late["status"]) == "TENTATIVE" and "description" not in late


def test_swing_and_loads_of_the_record(capsys):
    begun(capsys)
    given = ask(capsys, "swing", "--magnetic", "0 45 90 135 180 225 270 315", "--compass", "1,47,91,134,178,224,271,317", "--day", "2026-07-01")
    assert ask(capsys, "swing") == given and "[deviation]" in given and "licensed" in given
    card = as_json(capsys, "swing")["card"]
    assert card["compass_deg"][0] == 1.0 and set(card["coefficients_deg"]) == set("ABCDE")
    assert as_json(capsys, "electrical")["table"] is None
    records = open_record()
    records.append(AeroplaneRevision(date(2026, 1, 1), demo_text("camas160.toml")), A)
    records.close()
    table = as_json(capsys, "electrical", "--momentary", "landing light")["table"]
    assert (table["steady_a"], table["all_on_a"], table["steady"]) == (15.0, 23.0, "within limits")
    assert as_json(capsys, "electrical", "demo", "--momentary", "landing light")["table"] == table


@pytest.mark.parametrize(("zone", "before", "after"), [("America/Boise", 3, 4), ("UTC", 4, 4)])
def test_days_are_those_of_this_machines_zone_through_a_change_of_clocks(monkeypatch, zone, before, after):
    import time
    monkeypatch.setenv("TZ", zone)
    time.tzset()
    try:
        hours = [(datetime(2026, 11, 4, h, 30, tzinfo=UTC).astimezone(ZONE).day) for h in (6, 7)]
        assert hours == [before, after]
        assert datetime(2026, 11, 1, 7, 30, tzinfo=UTC).astimezone(ZONE).hour == (1 if zone != "UTC" else 7)
        assert datetime(2026, 11, 1, 8, 30, tzinfo=UTC).astimezone(ZONE).hour == (1 if zone != "UTC" else 8)   # the hour that comes twice
    finally:
        monkeypatch.undo()
        time.tzset()


def test_a_reading_below_the_log_says_that_the_higher_counts(capsys):
    begun(capsys)
    records = open_record()
    start = datetime(2026, 7, 20, 15, tzinfo=UTC)
    records.append_many([Flight(start + timedelta(days=n), start + timedelta(days=n, hours=5), "KBOI", "KBOI", start + timedelta(days=n),
                                start + timedelta(days=n, hours=5), landings_day=1) for n in range(10)], aeroplane=A)
    records.close()
    found = as_json(capsys, "done", "total time", "--hours", "3211", "--day", "2026-08-10")
    assert "3,260.4 h counts, the higher" in found["words"][0]
    assert as_json(capsys, "--on", "2026-08-11")["totals"]["air_time_h"] == 3260.4


def test_a_tolerance_longer_than_its_interval_writes_nothing(capsys, own_folder):
    assert "longer than the interval" in refused(capsys, "add", "belts", "--every", "12 months", "--tolerance", "24 months",
                                                 "--aeroplane", A)
    file = own_folder / "items.toml"
    file.write_text('[[item]]\nname = "belts"\nhours = "50 h"\ntolerance_hours = "60 h"\n')
    assert "longer than the interval" in refused(capsys, "add", str(file), "--aeroplane", A)


# ---- what an hour of invented history found


def test_what_a_correction_does_not_say_again_is_told_as_gone(capsys):
    begun(capsys)
    words = as_json(capsys, "add", "annual inspection", "--every", "12 calendar months", "--hours", "100", "--replace")["words"]
    assert "It changes section: 14 CFR 91.409(a) to none." in words
    assert "It changes severity: block to warn." in words
    assert "It changes hours: none to 100.0." in words
    assert not any(w.startswith("It changes every") for w in words)


def test_a_withdrawn_ending_says_what_stands_again(capsys):
    ask(capsys, "expiry", "insurance", "--last-day", "2026-12-01", "--aeroplane", A)
    ask(capsys, "expiry", "insurance", "--last-day", "2027-12-01")
    words = as_json(capsys, "withdraw", "insurance", "--why", "a slip")["words"]
    assert words == ["insurance with the last good day 2026-12-01, kept before it, stands again; withdraw it too where it is over."]
    assert as_json(capsys, "withdraw", "insurance", "--why", "sold")["words"] == []


def test_the_calendar_file_has_what_is_used_up_by_hours_today(capsys, own_folder):
    ask(capsys, "add", "oil", "--hours", "50", "--every", "4 months", "--aeroplane", A)
    ask(capsys, "add", "plugs", "--hours", "400", "--every", "12 months")
    for name in ("oil", "plugs"):
        ask(capsys, "done", name, "--day", "2026-09-01", "--hours", "1000")
    ask(capsys, "done", "total time", "--day", "2026-10-01", "--hours", "1050")
    ask(capsys, "calendar", str(own_folder / "due.ics"), "--on", "2026-10-02")
    events = {str(e["SUMMARY"]): e for e in Calendar.from_ical((own_folder / "due.ics").read_bytes()).walk("VEVENT")}
    assert events[f"{A}: oil"]["DTSTART"].dt == date(2026, 10, 2)
    assert "no hours left" in events[f"{A}: oil"]["DESCRIPTION"]
    late = events[f"{A}: plugs, at the latest"]
    assert (late["DTSTART"].dt, str(late["STATUS"])) == (date(2027, 9, 1), "TENTATIVE")
    assert "by hours not known" in late["DESCRIPTION"]


def test_a_swing_of_a_day_to_come_is_refused(capsys):
    later = (date.today() + timedelta(days=9)).isoformat()
    assert "still to come" in refused(capsys, "swing", "--magnetic", "0 90 180 270", "--compass", "2 89 178 272", "--day", later,
                                      "--aeroplane", A)
