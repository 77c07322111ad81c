"""`check` by the record: the aeroplane, the fuel aboard, defects, open items and recency; alone it repeats the last request."""

import json
from datetime import UTC, date, datetime, timedelta

import pytest
from commands import run

from ownship.ownership.entries import (
    AeroplaneRevision,
    Defect,
    Flight,
    FuelSeen,
    Interval,
    MaintenanceItem,
    Pilot,
    PilotEvent,
    Setting,
)
from ownship.questions.check import demo_aeroplane, demo_flight
from ownship.questions.reading import demo_text
from ownship.questions.record import open_record
from ownship.units import to_si

LONG_AGO = datetime(2020, 1, 1, tzinfo=UTC)
ROWS = demo_text("camas160_rows.csv")


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "data"))
    return tmp_path / "data"


def keep(*bodies, aeroplane="N0160T", moment=LONG_AGO):
    records = open_record()
    try:
        for body in bodies:
            records.append(body, aeroplane, moment)
    finally:
        records.close()


def revision(text=None, **rest):
    return AeroplaneRevision(date(2020, 1, 1), text or demo_aeroplane(), ROWS, **rest)


@pytest.fixture
def kept(folder):
    keep(revision())
    return folder


def request(tmp_path, *, fuel=True, top=""):
    text = demo_flight()
    if not fuel:
        begin, end = text.index("[fuel.left]"), text.index("[weather.KBOI]")
        text = text[:begin] + text[end:]
    path = tmp_path / "flight.toml"
    path.write_text(top + text, encoding="utf-8")
    return str(path)


def checked(capsys, *words):
    code, out, err = run(capsys, "check", *words, "--json")
    assert (code, err) == (0, "")
    return json.loads(out)


def margin(answer, id_):
    return next((m for m in answer["margins"] if m["id"] == id_), None)


def test_the_same_flight_by_files_and_by_the_record_is_the_same_but_for_what_the_record_says(capsys, kept, tmp_path):
    flight = request(tmp_path)
    aeroplane = tmp_path / "camas160.toml"
    aeroplane.write_text(demo_aeroplane(), encoding="utf-8")
    (tmp_path / "camas160_rows.csv").write_text(ROWS, encoding="utf-8")
    by_files, by_record = checked(capsys, str(aeroplane), flight), checked(capsys, flight)
    assert [(m["id"], m["margin"]) for m in by_record["margins"]] == [(m["id"], m["margin"]) for m in by_files["margins"]]
    assert by_record["request"]["aeroplane"] == "N0160T"
    unchecked = " ".join(by_record["not_checked"])
    assert "none was ever entered for N0160T" in unchecked
    assert "no pilot is kept" in unchecked
    assert "no item of N0160T is kept" in unchecked
    assert "no records are kept yet" not in unchecked


def test_alone_it_repeats_the_last_request_and_keeps_it_once(capsys, kept, tmp_path):
    code, out, err = run(capsys, "check")
    assert (code, out) == (2, "")
    assert "No flight was checked by the record yet" in err
    flight = request(tmp_path)
    first = checked(capsys, flight)
    (tmp_path / "flight.toml").unlink()
    assert checked(capsys) == first
    records = open_record()
    assert len(records.all(Setting)) == 1
    records.close()


def test_fuel_aboard_comes_from_the_record_where_the_request_has_none(capsys, kept, tmp_path):
    keep(FuelSeen("left", float(to_si(17, "usgal")), "mark"), FuelSeen("right", float(to_si(17, "usgal")), "mark"))
    answer = checked(capsys, request(tmp_path, fuel=False))
    assert answer["request"]["fuel"]["left"]["known_by"] == "mark"
    assert answer["request"]["fuel"]["right"]["on_board"].startswith("17.0")
    assert any("fuel on board: the record, left tank known by mark since 2020-01-01" in s for s in answer["sources"])
    assert margin(answer, "fuel.landing")["verdict"] != "not known"


def test_fuel_that_the_record_does_not_know_is_not_known(capsys, kept, tmp_path):
    keep(FuelSeen("left", float(to_si(17, "usgal")), "mark"))
    answer = checked(capsys, request(tmp_path, fuel=False))
    assert margin(answer, "fuel.landing")["verdict"] == "not known"
    assert any(x.startswith("Fuel in the right tank by the record: not seen") for x in answer["not_known"])


def test_an_error_wider_than_a_dipstick_is_taken_as_the_next_wider(capsys, kept, tmp_path):
    """Left by difference: its error is wider than a dipstick's, so the request says what is at least as wide."""
    keep(FuelSeen("left", float(to_si(20, "usgal")), "dipstick"), FuelSeen("right", float(to_si(20, "usgal")), "dipstick"))
    for day in (1, 2, 3):
        run(capsys, "log", "add", "--from", "KBOI", "--to", "KBOI", "--off-blocks", f"2026-06-0{day}T15:00Z", "--on-blocks",
            f"2026-06-0{day}T16:00Z", *(x for t in ("left", "right") for x in ("--fuel-before", f"{t}=20 usgal dipstick")),
            *(x for t in ("left", "right") for x in ("--fuel-after", f"{t}={20 - 4 - day * 0.2} usgal dipstick")))
    run(capsys, "log", "add", "--from", "KBOI", "--to", "KBOI", "--off-blocks", "2026-06-04T15:00Z", "--on-blocks",
        "2026-06-04T15:30Z")
    run(capsys, "fuel", "seen", "--tank", "right", "--amount", "12 usgal", "--known-by", "dipstick")
    answer = checked(capsys, request(tmp_path, fuel=False))
    assert answer["request"]["fuel"]["left"]["known_by"] == "gauge"
    assert answer["request"]["fuel"]["right"]["known_by"] == "dipstick"


def test_an_open_defect_stands_among_the_limits(capsys, kept, tmp_path):
    flight = request(tmp_path)
    keep(Defect("radio 2", "found", "no side tone"))
    found = margin(checked(capsys, flight), "record.defect.radio-2")
    assert (found["verdict"], found["kind"]) == ("not known", "limitation")
    keep(Defect("radio 2", "deferred", "placarded"), moment=LONG_AGO + timedelta(days=1))
    found = margin(checked(capsys, flight), "record.defect.radio-2")
    assert (found["verdict"], found["kind"]) == ("tight", "advice")
    keep(Defect("radio 2", "deferred", "placarded", until=date(2026, 7, 10)), moment=LONG_AGO + timedelta(days=2))
    answer = checked(capsys, flight)
    assert margin(answer, "record.defect.radio-2")["verdict"] == "outside limits"
    assert answer["verdict"] == "outside limits"
    keep(Defect("radio 2", "rectified", "new jack"), moment=LONG_AGO + timedelta(days=3))
    assert margin(checked(capsys, flight), "record.defect.radio-2") is None


def test_two_names_that_look_alike_do_not_hide_each_other(capsys, kept, tmp_path):
    keep(Defect("radio 2", "found", "a"), Defect("Radio-2", "found", "b"))
    ids = {m["id"] for m in checked(capsys, request(tmp_path))["margins"]}
    assert {"record.defect.radio-2", "record.defect.radio-2-2"} <= ids


@pytest.mark.parametrize(("severity", "verdict", "kind"), [
    ("block", "not known", "limitation"), ("warn", "tight", "advice"), ("info", "tight", "advice")])
def test_an_item_that_was_never_done_is_no_pass(capsys, kept, tmp_path, severity, verdict, kind):
    keep(MaintenanceItem("annual", "annual inspection", Interval("12 calendar months"), severity=severity, section="91.409"))
    found = margin(checked(capsys, request(tmp_path)), "record.maintenance.annual")
    assert (found["verdict"], found["kind"]) == (verdict, kind)
    assert "91.409" in found["source"]


def test_an_overdue_item_that_blocks_is_outside(capsys, kept, tmp_path):
    keep(MaintenanceItem("annual", "annual inspection", Interval(), severity="block", fixed_date=date(2026, 6, 30)))
    answer = checked(capsys, request(tmp_path))
    assert margin(answer, "record.maintenance.annual")["verdict"] == "outside limits"


def test_a_pilot_without_flights_is_no_pass(capsys, kept, tmp_path):
    keep(Pilot("owner"), aeroplane="")
    found = [m for m in checked(capsys, request(tmp_path))["margins"] if m["id"].startswith("record.recency.")]
    assert found
    assert {m["verdict"] for m in found} <= {"not known", "outside limits"}


def test_a_licence_of_a_place_without_rules_is_not_checked(capsys, kept, tmp_path):
    keep(Pilot("owner", place="Atlantis"), aeroplane="")
    answer = checked(capsys, request(tmp_path))
    assert any(x.startswith("Recency of owner: ") for x in answer["not_checked"])


def test_of_two_pilots_the_request_says_which(capsys, kept, tmp_path):
    keep(Pilot("owner"), Pilot("partner"), aeroplane="")
    answer = checked(capsys, request(tmp_path))
    assert any("keeps the pilots owner, partner" in x for x in answer["not_checked"])
    named = checked(capsys, request(tmp_path, top='pilot = "partner"\n'))
    assert any(m["id"].startswith("record.recency.") for m in named["margins"])


def test_of_two_aeroplanes_the_request_or_the_option_says_which(capsys, kept, tmp_path):
    keep(revision(demo_aeroplane().replace("N0160T", "N0161T")), aeroplane="N0161T")
    code, _, err = run(capsys, "check", request(tmp_path))
    assert code == 2
    assert "knows 2 aeroplanes (N0160T, N0161T)" in err
    assert checked(capsys, request(tmp_path), "--aeroplane", "n0161t")["aeroplane"]["registration"] == "N0161T"
    assert checked(capsys, request(tmp_path, top='aeroplane = "N0160T"\n'))["aeroplane"]["registration"] == "N0160T"
    code, _, err = run(capsys, "check", request(tmp_path), "--aeroplane", "N0162T")
    assert code == 2
    assert "keeps no aeroplane N0162T" in err


def test_bad_input_is_a_sentence(capsys, folder, tmp_path):
    flight = request(tmp_path)
    code, out, err = run(capsys, "check", flight)
    assert (code, out) == (2, "")
    assert "keeps no aeroplane yet" in err
    keep(AeroplaneRevision(date(2027, 1, 1), demo_aeroplane(), ROWS))
    code, _, err = run(capsys, "check", flight)
    assert code == 2
    assert "no airframe record in force on 2026-07-11" in err
    aeroplane = tmp_path / "a.toml"
    aeroplane.write_text(demo_aeroplane(), encoding="utf-8")
    code, _, err = run(capsys, "check", str(aeroplane))
    assert code == 2
    assert "alone is not a flight" in err


def test_rows_that_were_not_kept_are_said(capsys, folder, tmp_path):
    keep(AeroplaneRevision(date(2020, 1, 1), demo_aeroplane()))
    code, _, err = run(capsys, "check", request(tmp_path))
    assert code == 2
    assert "was not kept with it" in err


def test_a_mistake_is_told_with_the_line_of_the_file(capsys, kept, tmp_path):
    path = request(tmp_path, top='aeroplane = "N0160T"\nnonsense = 1\n')
    code, _, err = run(capsys, "check", path)
    assert code == 2
    assert "flight.toml line 2" in err


def remedied(capsys, path):
    return checked(capsys, path, "--remedies", "--aeroplane", "N0160T")


def test_what_maintenance_must_settle_is_no_remedy(capsys, kept, tmp_path):
    """An open defect is not bought by leaving a passenger behind: nothing is offered, and that it comes first is said."""
    keep(Defect("radio 2", "found", "no side tone"))
    answer = remedied(capsys, request(tmp_path))
    assert margin(answer, "record.defect.radio-2")["verdict"] == "not known"
    assert answer["remedies"] == []
    assert "It needs maintenance first. Defect, radio 2" in answer["remedies_words"]
    assert "Apart from that the flight is outside limits" in answer["remedies_words"]


def test_a_deferred_defect_leaves_every_remedy_tight_at_best(capsys, kept, tmp_path):
    keep(Defect("radio 2", "deferred", "no side tone", until=date(2026, 12, 1), by="A. Mechanic"))
    answer = remedied(capsys, request(tmp_path))
    assert answer["remedies"]
    assert {r["verdict"] for r in answer["remedies"]} == {"tight"}


def light(tmp_path, *, marked=True, departure="2026-07-11T15:00-06:00"):
    """The demo with one passenger and no camping gear: within limits but for what the record says."""
    head, *loads = demo_flight().split("[[loads]]")
    rest = "[fuel.left]" + loads[-1].split("[fuel.left]", 1)[1]
    two = loads[0], loads[1].rstrip() + ("\ncan_stay = true\n\n" if marked else "\n\n")
    path = tmp_path / "light.toml"
    path.write_text(head.replace("2026-07-11T15:00-06:00", departure) + "".join(f"[[loads]]{x}" for x in two) + rest)
    return str(path)


def two_landings_long_ago(born=date(1981, 1, 5)):
    """A pilot with review and medical, not recent for passengers: two landings, four months before the flight."""
    off = datetime(2026, 3, 1, 18, tzinfo=UTC)
    keep(Pilot("pilot", born, "USA"), PilotEvent("pilot", "flight review", date(2025, 3, 10)),
         PilotEvent("pilot", "medical", date(2026, 3, 10), detail="class 3"),
         Flight(off, off + timedelta(hours=1), "KBOI", "KBOI", pilot="pilot", landings_day=2))


def test_passengers_may_stay_behind_where_only_their_recency_is_missing(capsys, kept, tmp_path):
    """14 CFR 61.57(a): three take-offs and landings within 90 days, only to carry passengers."""
    two_landings_long_ago()
    answer = remedied(capsys, light(tmp_path))
    assert margin(answer, "record.recency.passengers-by-day")["verdict"] == "outside limits"
    first = answer["remedies"][0]
    assert first["sentence"] == "Leave the front passenger behind: within limits."
    assert first["bought_for"] == ["record.recency.passengers-by-day"]
    assert len(first["request"]["loads"]) == 1
    assert "landings: 3 more (0 of 3 within 90 days)" in answer["remedies_words"]


def test_a_remedy_by_the_record_is_written_with_its_aeroplane_and_pilot_and_read_again(capsys, kept, tmp_path):
    two_landings_long_ago()
    path = light(tmp_path)
    (tmp_path / "light.toml").write_text('pilot = "pilot"\n' + (tmp_path / "light.toml").read_text())
    code, _, err = run(capsys, "check", path, "--write", str(tmp_path / "out"))
    assert (code, err) == (0, "")
    again = checked(capsys, str(tmp_path / "out" / "remedy-1.toml"))
    assert (again["verdict"], again["request"]["aeroplane"], again["request"]["pilot"]) == ("within limits", "N0160T", "pilot")


def test_passengers_who_are_not_marked_are_not_left_behind_and_what_is_missing_is_said(capsys, kept, tmp_path):
    two_landings_long_ago()
    answer = remedied(capsys, light(tmp_path, marked=False))
    assert answer["remedies"] == []
    for words in ("It needs recency first", "landings: 3 more", "Apart from that the flight is within limits", "(front passenger)"):
        assert words in answer["remedies_words"]


def test_where_leaving_the_passengers_is_not_enough_the_rest_is_said(capsys, kept, tmp_path):
    """At night the passengers' recency is not needed without them, but the strip is not lighted."""
    two_landings_long_ago()
    path = light(tmp_path, departure="2026-07-11T22:30-06:00")
    (tmp_path / "light.toml").write_text((tmp_path / "light.toml").read_text().replace('leave_again = "2026-07-13T08:00-06:00"\n', ""))
    answer = remedied(capsys, path)
    assert answer["remedies"] == []
    assert "Leave the front passenger behind: then it is not needed, but: Nothing that can be changed" in answer["remedies_words"]
    assert "light left at landing" in answer["remedies_words"]


def test_a_registration_in_the_request_may_have_dashes_or_none(capsys, kept, tmp_path):
    assert checked(capsys, request(tmp_path, top='aeroplane = "n-0160-t"\n'))["request"]["aeroplane"] == "N0160T"


def test_the_two_files_the_other_way_round_and_an_aeroplane_named_twice_are_refused(capsys, kept, tmp_path):
    flight, aeroplane = request(tmp_path), tmp_path / "camas160.toml"
    aeroplane.write_text(demo_aeroplane(), encoding="utf-8")
    for command in ("check", "altitudes", "when", "reach"):
        code, out, err = run(capsys, command, flight, str(aeroplane))
        assert (code, out) == (2, "") and "is a flight, not an aeroplane" in err
        code, out, err = run(capsys, command, "demo", "--aeroplane", "N0160T")
        assert (code, out) == (2, "") and "give one of them" in err


def test_a_review_that_is_missing_is_no_passenger_s_matter(capsys, kept, tmp_path):
    keep(Pilot("pilot", date(1981, 1, 5), "USA"), PilotEvent("pilot", "medical", date(2026, 3, 10), detail="class 3"))
    answer = remedied(capsys, light(tmp_path))
    assert answer["remedies"] == []
    assert "It needs recency first" in answer["remedies_words"]
    assert "can_stay" not in answer["remedies_words"]


def test_a_flight_that_only_a_deferral_makes_tight_has_nothing_to_buy(capsys, kept, tmp_path):
    keep(Defect("radio 2", "deferred", "no side tone", until=date(2026, 12, 1), by="A. Mechanic"))
    answer = remedied(capsys, light(tmp_path))
    assert (answer["verdict"], answer["remedies"]) == ("tight", [])
    assert "which no change buys: Defect, radio 2" in answer["remedies_words"]


def test_luggage_on_a_seat_is_no_passenger(capsys, kept, tmp_path):
    two_landings_long_ago()
    path = light(tmp_path)
    text = (tmp_path / "light.toml").read_text().replace('what = "front passenger"', 'what = "a trunk"\nperson = false')
    (tmp_path / "light.toml").write_text(text)
    assert margin(checked(capsys, path), "record.recency.passengers-by-day") is None


@pytest.mark.parametrize("command", ["altitudes", "when", "reach"])
def test_the_other_questions_take_the_record_too_and_repeat_the_last_flight(capsys, kept, tmp_path, command):
    keep(FuelSeen("left", float(to_si(17, "usgal")), "mark"), FuelSeen("right", float(to_si(17, "usgal")), "mark"),
         Defect("radio 2", "found", "no side tone"))
    flight = light(tmp_path)
    code, out, err = run(capsys, command, flight, "--json")
    assert (code, err) == (0, "")
    answer = json.loads(out)
    rows = answer.get("levels") or answer.get("times")
    if rows:
        assert {r["verdict"] for r in rows} <= {"not known", "outside limits"}  # the defect counts at every one of them
    else:
        assert any("By the record, not known: defect, radio 2" in w for w in answer["words"])
    assert any("Recency: no pilot is kept" in w for w in answer["words"])
    (tmp_path / "light.toml").unlink()
    again, out, err = run(capsys, command, "--aeroplane", "n0160t", "--json")
    assert (again, err, json.loads(out)) == (0, "", answer)
    code, out, err = run(capsys, command, "--aeroplane", "N9", "--json")
    assert (code, out) == (2, "") and "keeps no aeroplane N9" in err
