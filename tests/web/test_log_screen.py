"""The Log screen: flights typed, corrected, withdrawn and put back; a log brought in two steps; nothing typed is ever lost."""

from datetime import UTC, datetime, timedelta
from urllib.parse import parse_qsl, urlsplit

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from log_cases import FLIGHT, MEANING, REG, THEIRS, as_own, entries, flights, make_client, refusal, send, value

from ownship.errors import BadInput, UnreadableFile
from ownship.ownership.entries import Flight
from ownship.ownership.flight_cells import COLUMNS, FIELDS
from ownship.papers.log_charts import months_chart, months_of
from ownship.questions import log_history, uploads
from ownship.web import log_flight
from ownship.web.cells import Cell
from ownship.web.log_forms import LABELS, in_words, refusal_of

client = pytest.fixture(make_client)


# ---- looking


@pytest.mark.parametrize("path", ["/log", "/log/flight/new", "/log/import", "/log/track"])
def test_looking_at_an_empty_log_says_what_to_do_and_writes_nothing(client, tmp_path, path):
    assert client.get(path).status_code == 200
    assert not (tmp_path / "data").exists()
    assert "bring the log you have from a file" in client.get("/log").text


def test_every_field_of_the_log_has_a_label_of_its_own_on_the_form():
    assert set(LABELS) == set(FIELDS)
    plain = {log_flight.READ_AS.get(c, c) for c in COLUMNS} - {"phases_s", "aeroplane_class"}
    assert plain <= set(log_flight.NAMES)  # what a log holds can be corrected, but for what no pilot types


@pytest.mark.parametrize("theme", ["light", "night"])
def test_the_log_is_in_the_navigation(client, theme):
    assert '<a href="/log" aria-current="page">Log</a>' in client.get(f"/log?theme={theme}").text


# ---- one flight


def test_a_flight_typed_with_clock_times_is_kept_at_the_time_of_its_places_and_can_be_undone(client):
    page = send(client, "/log/flight/new", FLIGHT)
    assert page.status_code == 303 and page.headers["location"] == "/log?kept=1"
    kept = entries()[0]
    assert kept.body.off_blocks == datetime(2026, 7, 11, 21, 0, tzinfo=UTC)  # Boise and the Frank Church in summer: UTC-6
    assert kept.body.landings_day == 1 and kept.aeroplane == REG
    shown = client.get("/log?kept=1").text
    assert "Undo" in shown and "first &lt;flight&gt; &amp; more" in shown and "<flight>" not in shown
    send(client, "/undo", {"entry": "1", "back": "/log"})
    assert flights() == []


@pytest.mark.parametrize(("change", "words", "wrong"), [
    ({"origin": ""}, "From is missing; add it.", "origin"),
    ({"off_blocks": "lunch"}, "Off blocks 'lunch'", "off_blocks"),
    ({"on_blocks": "14:00", "landing": ""}, "on blocks", "on_blocks"),
    ({"landings": "1", "landings_day": "1"}, "Landings, all is given beside Landings by day or Landings by night", "landings"),
    ({"passengers": "30"}, "passengers of 30 is not believable", "passengers"),
    ({"fuel_before": "left=many"}, "Usable fuel before 'left=many' is not readable", "fuel_before"),
    ({"date": "11/07/2026"}, "can be two days", "date")])
def test_a_refusal_is_a_sentence_by_the_labels_at_its_field_and_everything_typed_stays(client, change, words, wrong):
    typed = FLIGHT | change
    page = send(client, "/log/flight/new", typed)
    assert words.casefold() in refusal(page).casefold()
    assert "--" not in refusal(page) and "_" not in refusal(page)
    for name in log_flight.NAMES:
        if name not in ("zone", "role", "rules", "tracked"):
            assert value(page, name) == typed.get(name, ""), name
    assert '<option value="place" selected>' in page.text
    assert 'aria-invalid="true"' in page.text or wrong in ("on_blocks", "passengers", "date")
    assert entries() == ()


def test_another_registration_near_to_one_of_the_record_must_be_meant(client):
    send(client, "/log/flight/new", FLIGHT)
    page = send(client, "/log/flight/new", FLIGHT | {"aeroplane": "N0161T"})
    assert 'tick "Another aeroplane is meant"' in refusal(page)
    assert send(client, "/log/flight/new", FLIGHT | {"aeroplane": "N0161T", "other": "1", "pilot": "Bert"}).status_code == 303


def test_a_correction_stands_with_its_history_and_undo_brings_the_old_one_back(client):
    send(client, "/log/flight/new", FLIGHT)
    form = client.get("/log/flight/1/correct")
    typed = {n: value(form, n) for n in log_flight.NAMES if n not in ("zone", "role", "rules", "tracked")}
    page = send(client, "/log/flight/1/correct", typed | {"role": "PIC", "rules": "VFR", "landings_day": "2", "why": "a touch and go"})
    assert page.headers["location"] == "/log?corrected=2"
    assert [e.number for e in flights()] == [2] and flights()[0].body.landings_day == 2
    old, new = entries()[:2]
    assert new.body == Flight(**(vars(old.body) | {"landings_day": 2}))  # nothing else moved
    history = client.get("/log/entry/1")
    assert "a touch and go" in history.text and "(was 1)" in history.text
    assert client.get("/log/entry/1.json").json()["counts"] == 2
    assert "Undo the correction" in client.get("/log?corrected=2").text
    send(client, "/log/entry/2/back")
    assert flights()[0].body == old.body and [e.number for e in flights()] == [3]


def test_a_correction_that_changes_nothing_or_of_what_counts_no_longer_is_refused(client):
    send(client, "/log/flight/new", FLIGHT)
    form = client.get("/log/flight/1/correct")
    typed = {n: value(form, n) for n in log_flight.NAMES if n not in ("zone", "role", "rules", "tracked")}
    assert "Nothing is changed" in refusal(send(client, "/log/flight/1/correct", typed | {"role": "PIC", "rules": "VFR"}))
    send(client, "/log/entry/1/withdraw", {"why": "twice"})
    assert "withdrawn already" in client.get("/log/flight/1/correct").text
    assert client.get("/log/flight/1/correct").status_code == 422


def test_a_withdrawal_needs_its_reason_stays_readable_and_can_be_put_back_once(client):
    send(client, "/log/flight/new", FLIGHT)
    assert "without a reason" in refusal(send(client, "/log/entry/1/withdraw"))
    page = send(client, "/log/entry/1/withdraw", {"why": "twice in the log"})
    assert page.headers["location"] == "/log/entry/2" and flights() == []
    assert "twice in the log" in client.get("/log/entry/1").text and "Put it back" in client.get("/log/entry/1").text
    send(client, "/log/entry/2/back")
    assert [e.body for e in flights()] == [entries()[0].body]
    assert "kept again already" in refusal(send(client, "/log/entry/2/back"))


@pytest.mark.parametrize("number", ["99", "0", "x", "1e3", "99999999999999999999", "../2"])
def test_an_entry_that_is_not_there_is_a_sentence(client, number):
    for path in (f"/log/entry/{number}", f"/log/flight/{number}/correct"):
        assert client.get(path).status_code in (404, 422)


# ---- from a plan


def test_the_demo_s_flight_comes_over_without_an_aeroplane_and_without_what_no_plan_knows(client):
    page = client.get("/log/flight/new?aeroplane=demo")
    assert value(page, "origin") == "KBOI" and value(page, "via") == "U88" and value(page, "aeroplane") == ""
    assert value(page, "off_blocks") == "2026-07-11T15:00-06:00"
    assert value(page, "on_blocks") == value(page, "take_off") == value(page, "landings") == ""
    assert "no aeroplane of yours" in page.text and "Planned: off blocks 2026-07-11 15:00" in page.text


def test_a_plan_of_one_s_own_aeroplane_brings_its_fuel_and_one_that_is_not_whole_its_places(client):
    as_own(client)
    query = ("aeroplane=N0160T&from=KBOI&to=KMYL&departure=2026-07-11T15:00-06:00&power=2450+rpm&cruise_altitude=9500+ft&rules=VFR"
             "&load0=170+lb&load0_station=front&fuel_left_on_board=full&fuel_right_on_board=full")
    page = client.get(f"/log/flight/new?{query}")
    assert value(page, "aeroplane") == REG and "left=" in value(page, "fuel_before") and "right=" in value(page, "fuel_before")
    half = client.get("/log/flight/new?aeroplane=N0160T&from=KBOI&to=KMYL&departure=2026-07-11T15:00-06:00")
    assert "not whole" in half.text and value(half, "origin") == "KBOI" and value(half, "off_blocks") == "2026-07-11T15:00-06:00"


# ---- the list


def test_the_list_pages_filters_and_totals_what_the_filters_leave(client):
    rows = "aeroplane,origin,destination,off_blocks,on_blocks,landings_day,pilot,remarks\n" + "".join(
        f"{REG},KBOI,{'KMYL' if i % 2 else 'KU79'},{(t := datetime(2026, 1, 1, 15, tzinfo=UTC) + timedelta(days=i)).isoformat()},"
        f"{(t + timedelta(hours=1)).isoformat()},1,Anne,number {i}\n" for i in range(120))
    bring(client, rows, {})
    whole = client.get("/log.json").json()
    assert whole["totals"]["flights"] == 120 and len(whole["flights"]) == 50 and whole["flights"][-1]["remarks"] == "number 119"
    last = client.get("/log.json?page=3").json()["flights"]
    assert [f["remarks"] for f in last] == [f"number {i}" for i in range(20)]
    seen = [f["number"] for p in (1, 2, 3) for f in client.get(f"/log.json?page={p}").json()["flights"]]
    assert len(set(seen)) == 120
    assert client.get("/log.json?page=4").json()["flights"] == []
    assert client.get("/log.json?about=kmyl").json()["totals"]["flights"] == 60
    assert client.get("/log.json?about=number 11&since=2026-04-01").json()["totals"]["flights"] == 10
    assert "Page 1 of 3" in client.get("/log").text and "No flight is like that" in client.get("/log?about=nowhere").text
    assert "is no date" in refusal(client.get("/log?since=yesterday"))


def test_the_csv_reads_back_to_the_same_flights(client, monkeypatch, tmp_path):
    send(client, "/log/flight/new", FLIGHT)
    text, before = client.get("/log.csv").text, [e.body for e in flights()]
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "other"))
    bring(client, text, {})
    assert [e.body for e in flights()] == before


# ---- a log from a file


def bring(client, text, more, name="log.csv", keep=True):
    """Both steps: send, look at it with what is chosen, keep."""
    page = send(client, "/log/import", log=(name, text.encode()))
    assert page.status_code == 303, refusal(page)
    where = page.headers["location"]
    look = client.get(where, params=dict(parse_qsl(urlsplit(where).query)) | {"look": "1"} | more)
    if not keep:
        return look
    assert look.status_code == 200, refusal(look)
    return send(client, "/log/import/keep", dict(parse_qsl(urlsplit(where).query)) | more)


CHOSEN = {f"column{i}": m for i, m in enumerate(MEANING)} | {"zone": "place"}


def test_a_log_of_others_is_looked_at_kept_remembered_and_undone_whole(client):
    look = bring(client, THEIRS, CHOSEN, keep=False)
    assert look.status_code == 200 and "2 new flights" in look.text and "KMYL" in look.text
    assert entries() == ()  # looking wrote nothing
    kept = bring(client, THEIRS, CHOSEN)
    assert kept.headers["location"] == "/log?first=1&last=2"
    assert "Undo the import" in client.get(kept.headers["location"]).text
    again = bring(client, THEIRS, {}, keep=False)  # what the columns mean is remembered
    assert "0 new flights" in again.text and "2 are in the record already" in again.text
    send(client, "/log/import/undo", {"first": "1", "last": "2"})
    assert flights() == []


def test_the_undo_of_an_import_withdraws_nothing_else(client):
    send(client, "/log/flight/new", FLIGHT)
    page = send(client, "/log/import/undo", {"first": "1", "last": "1"})
    assert page.status_code == 422 and "no flight of an import" in page.text and len(flights()) == 1


def test_a_column_may_be_left_out_even_where_it_bears_a_name_of_ours(client):
    text = f"aeroplane,origin,destination,off_blocks,on_blocks,remarks\n{REG},KBOI,KMYL,2026-05-31T15:00Z,2026-05-31T16:00Z,private\n"
    bring(client, text, {"column5": ""})
    assert flights()[0].body.remarks == ""


@pytest.mark.parametrize(("change", "words"), [
    ({"column4": ""}, "no column is mapped to Off blocks"), ({"column3": "origin"}, "both mapped to origin"),
    ({"zone": ""}, "zone"), ({"zone": "Mars/Olympus"}, "Mars/Olympus"), ({"dates": "ymd"}, "no order of dates")])
def test_what_cannot_be_read_is_said_beside_the_columns_and_the_choices_stay(client, change, words):
    page = bring(client, THEIRS, CHOSEN | change, keep=False)
    assert words in refusal(page)
    assert '<option value="destination" selected>' in page.text or "column3" in change
    assert entries() == ()


@pytest.mark.parametrize("data", [b"", b"\x00\x01\x02", b"\xff\xfe", b"a,a\n1,2\n", b'"', b"only,a,header\n"])
def test_a_file_that_is_no_log_is_refused_in_a_sentence(client, data):
    assert refusal(send(client, "/log/import", log=("x.csv", data)))
    assert entries() == ()


@pytest.mark.parametrize("mark", ["", "../../etc/passwd", "0" * 64, "a" * 63, "Z" * 64, "%00" * 20])
def test_a_file_that_is_not_put_aside_is_refused_and_no_path_is_followed(client, mark):
    page = send(client, "/log/import/keep", {"file": mark, "name": "x.csv"})
    assert "no longer put aside" in refusal(page)


def test_a_file_changed_after_it_was_put_aside_is_not_taken(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_CACHE", str(tmp_path))
    mark = uploads.put_aside(b"one")
    assert uploads.put_back(mark) == b"one"
    (tmp_path / uploads.FOLDER / mark).write_bytes(b"another")
    with pytest.raises(BadInput, match="no longer"):
        uploads.put_back(mark)


def test_only_so_many_files_are_put_aside(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_CACHE", str(tmp_path))
    marks = [uploads.put_aside(str(i).encode()) for i in range(uploads.MOST + 5)]
    assert len(list((tmp_path / uploads.FOLDER).iterdir())) == uploads.MOST
    assert uploads.put_back(marks[-1])
    (tmp_path / "no-folder").write_text("")
    monkeypatch.setenv("OWNSHIP_CACHE", str(tmp_path / "no-folder" / "x"))
    with pytest.raises((BadInput, UnreadableFile)):
        uploads.put_aside(b"x")


@given(st.text(max_size=200))
def test_a_file_s_name_is_one_line_without_folders(text):
    name = uploads.file_name(text, "the file")
    assert name and "/" not in name and "\\" not in name and name.isprintable() and len(name) <= uploads.LONGEST_NAME


# ---- a track


def gpx(minutes=30, lat=43.5644, lon=-116.2228):
    """KBOI: five minutes still, then out and back at about 100 kt, five minutes still."""
    points, start = [], datetime(2026, 7, 11, 21, 0, tzinfo=UTC)
    for i in range((minutes + 10) * 6):
        t = i / 6 - 5
        out = max(0.0, min(t, minutes - t, minutes / 2)) * 100 / 60 / 60  # degrees of latitude at 100 kt
        points.append(f'<trkpt lat="{lat + out:.6f}" lon="{lon}"><ele>900</ele><time>{(start + timedelta(seconds=10 * i)).isoformat()}</time></trkpt>')
    return f'<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{"".join(points)}</trkseg></trk></gpx>'


def test_a_track_becomes_a_flight_from_and_to_the_aerodrome_it_lay_at(client):
    page = send(client, "/log/track", {"aeroplane": REG, "pilot": "Anne"}, track=("t.gpx", gpx().encode()))
    assert page.status_code == 303, refusal(page)
    f = flights()[0].body
    assert (f.origin, f.destination, f.pilot) == ("KBOI", "KBOI", "Anne") and 25 * 60 < f.air_s < 32 * 60


@pytest.mark.parametrize(("data", "words"), [(b"\xff\xfe", "no text in UTF-8"), (b"<gpx", "GPX"), (b"", "GPX"), (b'<!DOCTYPE x [<!ENTITY a "b">]><gpx/>', "")])
def test_a_track_that_cannot_be_read_loses_nothing_typed(client, data, words):
    page = send(client, "/log/track", {"aeroplane": REG, "remarks": "windy"}, track=("t.gpx", data))
    assert words in refusal(page) and value(page, "remarks") == "windy"
    assert "No file is chosen" in refusal(send(client, "/log/track", {"aeroplane": REG}))


# ---- words and plots


@pytest.mark.parametrize(("words", "said"), [
    ("--amount: '' is not a number.", "Amount: '' is not a number."),
    ("origin is missing; add it.", "From is missing; add it."),
    ("keep it by `ownship weight keep AEROPLANE.toml`.", "Keep it by the Airframe screen."),
    ("my_log.csv holds no flight.", "my_log.csv holds no flight.")])
def test_sentences_of_the_commands_are_said_by_the_labels_of_the_page(words, said):
    assert in_words(words) == said


@given(st.text(max_size=300))
def test_any_sentence_is_said(text):
    assert isinstance(in_words(text), str)
    assert refusal_of(BadInput(text), "f", (Cell("a", "Amount"),), {"a": text}).typed == {"a": text}


def test_months_add_up_to_the_flights_of_their_year_and_are_drawn_the_same_each_time():
    def one(day, hours, night):
        t = datetime(2026, day, 3, 15, tzinfo=UTC)
        return Flight(t, t + timedelta(hours=hours), "A", "B", landings_day=2, landings_night=night, night_s=600.0)

    every = [one(1, 1, 0), one(3, 2, 1), one(3, 1, 3)]
    months = months_of(every)
    assert [m.hours_h for m in months] == [1, 0, 3] + [0] * 9
    assert sum(m.landings_night for m in months) == 4 and months_of(every, 2025) == () and months_of([]) == ()
    svg = months_chart(months)
    assert svg == months_chart(months) and "4.0 h flown, 6 landings by day, 4 by night" in svg and 'role="img"' in svg
    with pytest.raises(BadInput):
        months_chart(())


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(fields=st.dictionaries(st.sampled_from(log_flight.NAMES), st.text(max_size=30), max_size=6))
def test_whatever_is_typed_is_kept_or_refused_in_a_sentence_with_everything_in_place(client, fields):
    clean = {k: v for k, v in fields.items() if "\x00" not in v and not any(0xD800 <= ord(c) <= 0xDFFF for c in v)}
    page = send(client, "/log/flight/new", FLIGHT | clean)
    assert page.status_code in (303, 422)
    if page.status_code == 422:
        assert refusal(page)
    else:
        log_history.withdraw_several([], "")
        for e in flights():
            send(client, f"/log/entry/{e.number}/withdraw", {"why": "a test"})


def test_an_entry_shows_every_figure_with_its_unit(client):
    as_own(client)
    send(client, "/log/flight/new", FLIGHT | {"instrument": "0:20", "cross_country": "82 nm", "tachometer_from_h": "1200", "fuel_after": "left=12 usgal dipstick",
                                              "tracked": "true"})
    send(client, "/log/fuel/oil", {"aeroplane": REG, "amount": "1 qt", "hours": "1200"})
    page = client.get("/log/entry/2").text
    for words in ("20.0 min", "82.0 nm", "1200.0 h", "left 12.0 usgal dipstick", "<td>yes</td>"):
        assert words in page, words
    assert "1.0 qt" in client.get("/log/entry/3").text and "1.0 qt" in client.get("/log/fuel").text


def test_a_replaced_meter_is_kept_refused_beside_its_form_and_corrected_on_the_same_day(client):
    assert "No aeroplane is kept yet" in client.get("/log/meter").text
    send(client, "/log/flight/new", FLIGHT | {"tachometer_from_h": "1200", "tachometer_to_h": "1201"})
    fields = {"aeroplane": REG, "which": "tachometer", "old": "1201.2", "new": "3"}
    assert "nothing is given" in refusal(send(client, "/log/meter", fields | {"old": ""}))
    page = send(client, "/log/meter", fields | {"old": "1100"})
    assert refusal(page) and value(page, "old") == "1100" and value(page, "new") == "3"
    assert send(client, "/log/meter", fields).headers["location"] == "/log?kept=2"
    assert send(client, "/log/meter", fields | {"new": "4"}).headers["location"] == "/log/entry/3"
