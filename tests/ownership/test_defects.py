"""Defects from found to rectified, and the hand-over with hours by a named meter."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from ownship.errors import BadInput
from ownship.ownership.defects import flown_since, open_defects, refuse_meter, refuse_step, settlement
from ownship.ownership.entries import Defect, Entry, Flight, HandOver, InstrumentReplaced, Money, standing

START = datetime(2026, 7, 1, 12, tzinfo=UTC)


def entries(*bodies):
    return standing(Entry(i, str(i), "N0160T", START + timedelta(days=i), START, b) for i, b in enumerate(bodies, 1))


def test_a_found_defect_is_open_until_it_is_rectified():
    found, done = Defect("beacon", "found", "does not flash"), Defect("beacon", "rectified", "lamp replaced")
    assert [d.name for d in open_defects(entries(found), "N0160T")] == ["beacon"]
    assert open_defects(entries(found, done), "N0160T") == ()
    again = open_defects(entries(found, done, found), "N0160T")
    assert [(d.name, d.found) for d in again] == [("beacon", date(2026, 7, 4))]
    assert open_defects(entries(found), "N0161T") == ()


def test_a_deferral_runs_to_the_end_of_its_day_and_is_then_over():
    of = entries(Defect("radio 2", "found", "no side tone"), Defect("radio 2", "deferred", "placarded", until=date(2026, 8, 1)))
    day_before, day_after = (open_defects(of, "N0160T", day=date(2026, 8, n))[0] for n in (1, 2))
    assert (day_before.decided, day_before.over) == (True, False)
    assert (day_after.decided, day_after.over) == (False, True)


def test_defects_of_other_uses_are_left_out_and_those_without_uses_never():
    of = entries(Defect("landing light", "found", "dark", uses=("night",)), Defect("door", "found", "sticks", uses=()))
    assert [d.name for d in open_defects(of, "N0160T", ("VFR",))] == ["door"]
    assert [d.name for d in open_defects(of, "N0160T", ("VFR", "night"))] == ["landing light", "door"]


def test_steps_that_no_defect_can_take_are_refused():
    of = entries(Defect("beacon", "found", "dark"))
    with pytest.raises(BadInput, match="open already"):
        refuse_step(of, "N0160T", Defect("beacon", "found", "dark"))
    with pytest.raises(BadInput, match=r"no open defect 'becon' \(open are: beacon\)"):
        refuse_step(of, "N0160T", Defect("becon", "rectified", "lamp"))
    refuse_step(of, "N0160T", Defect("beacon", "rectified", "lamp"))


def hand(meter_h, meter="tachometer"):
    return HandOver("partner B", "partner A", meter=meter, meter_h=meter_h)


def test_hours_by_the_named_meter_times_the_rate():
    of = entries(hand(1500.0))
    s = settlement(of, "N0160T", hand(1504.35), START + timedelta(days=9), Money(Decimal("95.00"), "USD"))
    assert s.hours_h == pytest.approx(4.35)
    assert s.owed == Money(Decimal("413.25"), "USD")


def test_a_replaced_meter_is_bridged():
    of = entries(hand(1500.0), InstrumentReplaced("tachometer", 1502.0, 10.0))
    assert settlement(of, "N0160T", hand(11.5), START + timedelta(days=9)).hours_h == pytest.approx(3.5)
    with pytest.raises(BadInput, match="less than at the hand-over before"):
        settlement(entries(hand(1500.0)), "N0160T", hand(11.5), START + timedelta(days=9))


def test_what_cannot_be_settled_says_why():
    assert "first hand-over" in settlement((), "N0160T", hand(1500.0), START).words
    of = entries(hand(1500.0, "hour meter"))
    other = settlement(of, "N0160T", hand(1504.0), START + timedelta(days=9))
    assert (other.hours_h, other.owed) == (None, None)
    assert "did not read the tachometer" in other.words
    assert settlement(of, "N0160T", hand(None), START + timedelta(days=9)).hours_h is None
    with pytest.raises(BadInput, match="is no meter"):
        refuse_meter("clock")


def test_flights_since_the_hand_over_before():
    f = Flight(START + timedelta(days=2), START + timedelta(days=2, hours=1), "A", "B")
    of = standing([*entries(hand(1.0)), Entry(7, "7", "N0160T", f.off_blocks, START, f)])
    assert flown_since(of, "N0160T", START + timedelta(days=9)) == 1
    assert flown_since(of, "N0160T", START + timedelta(days=1, hours=12)) == 0
