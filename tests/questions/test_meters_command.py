"""`ownship log instrument`, withdrawn and corrected, beside flights and a settlement: never short, never two ways at once."""

import json

import pytest
from commands import run

A = "N0160T"


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "kept"))


def told(capsys, *words):
    code, out, err = run(capsys, "log", *words, "--json")
    assert (code, err) == (0, ""), err
    return json.loads(out)


def refused(capsys, *words):
    code, out, err = run(capsys, "log", *words)
    assert (code, out, err.count("\n")) == (2, "", 1)
    return err


def fly(day, *readings):
    return ("add", "--from", "KBOI", "--to", "KBOI", "--off-blocks", f"2026-07-{day:02d}T15:00Z", "--on-blocks",
            f"2026-07-{day:02d}T17:00Z", "--aeroplane", A, "--tachometer", " ".join(readings))


def test_a_replaced_tachometer_beside_flights_and_a_settlement(capsys):
    told(capsys, *fly(1, "1000", "1001.8"))
    assert "further" not in told(capsys, "hand-over", "--to", "b", "--reading", "1001.8", "--at", "2026-07-02T12:00Z")["sentence"]
    assert "beyond the tachometer's last reading" in refused(capsys, "instrument", "tachometer", "--old", "99999", "--at",
                                                             "2026-07-03T12:00Z")
    first = told(capsys, "instrument", "tachometer", "--old", "1003.0", "--at", "2026-07-03T12:00Z")
    again = told(capsys, "instrument", "tachometer", "--old", "1001.8", "--at", "2026-07-03T09:00Z")
    assert again["sentence"].endswith(f"It corrects entry {first['numbers'][0]} of the same day.")
    assert "by entry 4 a new one began" in refused(capsys, *fly(4, "1001.8", "1003.7"))
    told(capsys, *fly(4, "0.0", "1.9"))
    assert "rests on the new tachometer" in refused(capsys, "withdraw", "4", "--why", "never happened")
    assert "less than at the flight before (1.9 h, entry 5)" in refused(capsys, "hand-over", "--to", "a", "--reading", "1.0", "--at",
                                                                        "2026-07-06T12:00Z")
    sheet = told(capsys, "hand-over", "--to", "a", "--reading", "1.9", "--rate", "100 USD", "--at", "2026-07-06T12:00Z")
    assert sheet["settlement"]["owed"] == {"amount": "190.00", "currency": "USD"}


def test_a_hand_over_of_a_past_day_tells_the_defects_open_then(capsys):
    told(capsys, *fly(1, "1000", "1001.8"))
    told(capsys, "defect", "beacon", "--state", "found", "--words", "does not flash", "--at", "2026-07-03T12:00Z")
    told(capsys, "defect", "beacon", "--state", "rectified", "--words", "lamp", "--at", "2026-07-09T12:00Z")
    assert told(capsys, "hand-over", "--to", "b", "--at", "2026-07-05T12:00Z")["defects"] == ["beacon, found: does not flash"]
    assert told(capsys, "hand-over", "--to", "b", "--at", "2026-07-02T12:00Z")["defects"] == []
    assert told(capsys, "hand-over", "--to", "b", "--at", "2026-07-10T12:00Z")["defects"] == []


def test_no_hour_is_settled_twice_and_none_is_lost_with_a_withdrawn_hand_over(capsys):
    told(capsys, "hand-over", "--to", "b", "--reading", "100", "--at", "2026-07-01T12:00Z", "--aeroplane", A)
    first = told(capsys, "hand-over", "--to", "a", "--reading", "102", "--rate", "90 USD", "--at", "2026-07-05T12:00Z", "--aeroplane", A)
    assert first["settlement"]["owed"] == {"amount": "180.00", "currency": "USD"}
    assert "entry 2 (180.00 USD) counts its hours from this" in refused(capsys, "withdraw", "1", "--why", "wrong")
    for at in ("2026-07-03T12:00Z", "2026-07-05T12:00Z"):  # in between, and in the same moment: its hours are paid for
        assert "has settled these hours already (180.00 USD)" in refused(
            capsys, "hand-over", "--to", "c", "--reading", "101.5" if "03" in at else "102", "--rate", "90 USD", "--at", at, "--aeroplane", A)
    told(capsys, "withdraw", "2", "--why", "one between was missing")
    told(capsys, "hand-over", "--to", "c", "--reading", "101.5", "--rate", "90 USD", "--at", "2026-07-03T12:00Z", "--aeroplane", A)
    told(capsys, "hand-over", "--to", "a", "--reading", "102", "--rate", "90 USD", "--at", "2026-07-05T12:00Z", "--aeroplane", A)
    told(capsys, "withdraw", "5", "--why", "the last one may go")
