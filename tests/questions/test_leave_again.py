"""A flight by the record that leaves again on a later day is judged on that day too, the worse of both."""

from datetime import UTC, date, datetime

import pytest

from ownship.ownership.entries import (
    AeroplaneRevision,
    Defect,
    Expiry,
    Interval,
    MaintenanceDone,
    MaintenanceItem,
    Pilot,
    PilotEvent,
    standing,
)
from ownship.questions.check import demo_aeroplane, demo_flight
from ownship.questions.from_record import situation_from_record
from ownship.questions.reading import demo_text
from ownship.questions.record import open_record
from ownship.questions.record_margins import margins_of, uses_by_day
from ownship.words.verdicts import NOT_KNOWN, OUTSIDE, TIGHT

LONG_AGO = datetime(2020, 1, 1, tzinfo=UTC)
LEAVES = 'leave_again = "2026-07-13T08:00-06:00"'  # the demo leaves on 11 July at 15:00
OUT, BACK = date(2026, 7, 11), date(2026, 7, 13)


@pytest.fixture
def asked(tmp_path, monkeypatch):
    """(situation, margins by id) of the demo's request by a record of these bodies, leaving again when it is said."""
    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path / "data"))

    def ask(*bodies, leaves=LEAVES):
        records = open_record()
        records.append(AeroplaneRevision(date(2020, 1, 1), demo_aeroplane(), demo_text("camas160_rows.csv")), "N0160T", LONG_AGO)
        for body in bodies:
            records.append(body, "N0160T", LONG_AGO)
        entries = standing(records.all())
        records.close()
        assert LEAVES in demo_flight()
        (tmp_path / "flight.toml").write_text(demo_flight().replace(LEAVES, leaves), encoding="utf-8")
        s = situation_from_record(str(tmp_path / "flight.toml"))
        return s, {m.id: m for m in margins_of(s, entries)[0]}

    return ask


def radio(until):
    return Defect("radio", "found", "dead"), Defect("radio", "deferred", "placarded", until=until)


def test_a_deferral_that_ends_before_leaving_again_is_over_then(asked):
    _, found = asked(*radio(date(2026, 7, 12)))
    assert found["record.defect.radio"].verdict == OUTSIDE
    assert found["record.defect.radio"].words.endswith("So on 2026-07-13, when you leave again.")


@pytest.mark.parametrize("leaves", ["", LEAVES])
def test_a_deferral_that_holds_on_both_days_or_where_nothing_is_said_of_leaving_is_tight(asked, leaves):
    _, found = asked(*radio(date(2026, 7, 13) if leaves else date(2026, 7, 12)), leaves=leaves)
    assert found["record.defect.radio"].verdict == TIGHT and "leave again" not in found["record.defect.radio"].words


def test_a_document_that_ends_before_leaving_again_blocks_then(asked):
    _, found = asked(Expiry("insurance", date(2026, 7, 12)))
    (margin,) = found.values()
    assert margin.verdict == OUTSIDE and "So on 2026-07-13, when you leave again." in margin.words


def test_a_review_that_ends_before_leaving_again_is_missing_then(asked):
    """14 CFR 61.56: the review of July 2024 is good to 31 July 2026; without a medical entered that stays not known."""
    kept = (Pilot("owner"), PilotEvent("owner", "flight review", date(2024, 7, 2)))
    _, found = asked(*kept)
    assert "record.recency.review" not in found
    _, later = asked(*kept, leaves='leave_again = "2026-08-01T08:00-06:00"')
    assert later["record.recency.review"].verdict == OUTSIDE
    assert later["record.recency.review"].words.endswith("So on 2026-08-01, when you leave again.")
    assert later["record.recency.medical"].verdict == NOT_KNOWN and "leave again" not in later["record.recency.medical"].words


def test_leaving_again_by_night_asks_for_what_the_night_needs(asked):
    lights = Defect("position light", "found", "dark", uses=("night",))
    s, found = asked(lights)
    assert "night" not in {u for uses in uses_by_day(s).values() for u in uses} and found == {}
    s, found = asked(leaves='leave_again = "2026-07-13T23:00-06:00"')
    assert "night" in uses_by_day(s)[BACK] and "night" not in uses_by_day(s)[OUT]
    assert found["record.defect.position-light"].words.endswith("So on 2026-07-13, when you leave again.")
    s, found = asked(leaves='leave_again = "2026-07-11T23:00-06:00"')
    assert "night" in uses_by_day(s)[OUT] and "leave again" not in found["record.defect.position-light"].words


def test_the_way_back_is_counted_after_the_way_out(asked):
    """Due after one landing more: the way out is that one, the way back is beyond it."""
    kept = (MaintenanceItem("tyre", "tyre", Interval(landings=1), severity="block"),
            MaintenanceDone("tyre", date(2026, 7, 1), 100.0, 10))
    _, alone = asked(*kept, leaves="")
    _, again = asked(*kept)
    assert alone == {}
    assert again["record.maintenance.tyre"].verdict == OUTSIDE
