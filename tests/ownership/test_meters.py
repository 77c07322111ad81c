"""A replaced meter against the flights and hand-overs before and after it; what rests on it; readings that settle money."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from ownship.errors import BadInput
from ownship.ownership.defects import settlement
from ownship.ownership.entries import Entry, Flight, HandOver, InstrumentReplaced, Money
from ownship.ownership.flights import Placed, flaws
from ownship.ownership.meters import refuse_reading, refuse_replacement, refuse_withdrawal, settled_words

A = "N0160T"
START = datetime(2026, 7, 1, 15, tzinfo=UTC)
TACHOMETER = "tachometer"


def at(day, hour=0):
    return START + timedelta(days=day, hours=hour)


def flown(number, day, first=None, last=None, hours=2):
    return Entry(number, f"u{number}", A, at(day), at(day),
                 Flight(at(day), at(day, hours), "KBOI", "KBOI", tachometer_from_h=first, tachometer_to_h=last))


def swap(number, day, old, new=0.0):
    return Entry(number, f"u{number}", A, at(day), at(day), InstrumentReplaced(TACHOMETER, old, new))


def handed(number, day, shown):
    return Entry(number, f"u{number}", A, at(day), at(day), HandOver("b", "a", meter_h=shown))


def refused(entries, old, new=0.0, day=5):
    with pytest.raises(BadInput) as told:
        refuse_replacement(entries, A, InstrumentReplaced(TACHOMETER, old, new), at(day))
    return str(told.value)


def placed(*flights):
    return [Placed(f"line {i}", A, f.body) for i, f in enumerate(flights, 1)]


def test_a_replacement_far_from_the_last_reading_is_refused_and_a_small_one_told():
    kept = [flown(1, 0, 1000.0, 1002.0)]
    assert "is 98,997.0 h beyond the tachometer's last reading in the log, 1002 h (entry 1)" in refused(kept, 99999.0)
    assert "is less than the tachometer's last reading" in refused(kept, 1001.0)
    assert refuse_replacement(kept, A, InstrumentReplaced(TACHOMETER, 1002.1, 0.0), at(5)) == ""
    told = refuse_replacement(kept, A, InstrumentReplaced(TACHOMETER, 1012.0, 0.0), at(5))
    assert told == "the tachometer ran 10.0 h that no flight of the log explains"
    with_flights = [*kept, *(flown(n, n, hours=5) for n in (2, 3))]
    assert refuse_replacement(with_flights, A, InstrumentReplaced(TACHOMETER, 1012.0, 0.0), at(5)) == ""


def test_a_hundred_hours_that_nobody_flew_are_a_slip_however_long_ago():
    kept = [flown(1, 0, 1000.0, 1002.0)]
    assert refuse_replacement(kept, A, InstrumentReplaced(TACHOMETER, 1101.0, 0.0), at(900))
    assert "neither the flights since nor the clock explain" in refused(kept, 1103.0, day=900)


def test_a_replacement_holds_for_the_readings_entered_before_it():
    kept = [flown(1, 0, 1000.0, 1002.0), flown(2, 10, 1003.0, 1005.0)]
    assert "does not go with 1003 h that entry 2 shows later" in refused(kept, 1002.5)
    assert refuse_replacement(kept, A, InstrumentReplaced(TACHOMETER, 1005.0, 3.0), at(11)) == ""
    assert "lies within the flight of entry 2" in refused(kept, 1005.0, day=10 + 1 / 24)
    again = [flown(1, 0, 1000.0, 1002.0), swap(2, 8, 50.0)]
    assert "by which this tachometer was replaced at 50 h" in refused(again, 1002.0, 60.0)
    assert refuse_replacement(again, A, InstrumentReplaced(TACHOMETER, 1002.0, 10.0), at(5)) == ""


def test_flights_entered_later_are_held_against_a_replacement():
    kept = [swap(9, 5, 1002.0, 0.5)]
    fine = placed(flown(1, 0, 1000.0, 1002.0), flown(2, 6, 0.5, 2.4), flown(3, 7, 2.4, 4.0))
    assert flaws(fine, kept) == []
    for wrong, why in ((flown(1, 0, 1001.0, 1003.0), "line 1: the tachometer shows 1003.00 h, and by entry 9 it was replaced"),
                       (flown(2, 6, 1002.0, 1004.0), "line 1: the tachometer shows 1002.00 h, and by entry 9 a new one began"),
                       (flown(2, 6, 0.0, 1.0), "line 1: the tachometer shows 0.00 h, and by entry 9 a new one began at 0.50 h"),
                       (flown(2, 30, 2000.0, 2002.0), "and by entry 9 a new one began at 0.50 h")):
        (found,) = flaws(placed(wrong), kept)
        assert why in found


def test_the_old_meter_after_a_good_reading_of_the_new_one_is_refused():
    later = placed(flown(1, 6, 0.5, 2.4), flown(2, 7, 1002.4, 1004.0))
    assert "by entry 9 a new one began" in flaws(later, [swap(9, 5, 1002.0, 0.5)])[0]


def test_one_replacement_lets_a_meter_run_back_once_only():
    later = placed(flown(1, 0, 1000.0, 1002.0), flown(2, 6, 0.5, 2.4), flown(3, 7, 0.1, 1.0))
    assert [x.split(",")[0] for x in flaws(later, [swap(9, 5, 1002.0, 0.0)])] == ["line 3: the tachometer runs back"]


def test_what_flights_rest_on_is_not_withdrawn():
    before, gone = flown(1, 0, 1000.0, 1002.0), swap(2, 5, 1002.0)
    refuse_withdrawal([before, gone], gone)
    with pytest.raises(BadInput, match=r"Entry 2 cannot be withdrawn: the flight of entry 3 rests on the new tachometer \(0 h\)"):
        refuse_withdrawal([before, gone, flown(3, 6, 0.0, 2.0)], gone)
    with pytest.raises(BadInput, match="the settlement of entry 3 rests on"):
        refuse_withdrawal([before, gone, handed(3, 6, 1.0)], gone)
    never = swap(2, 5, 1002.0, 1002.0)
    refuse_withdrawal([before, never, flown(3, 6, 1002.0, 1004.0)], never)


def test_a_settlement_is_never_short_by_a_replaced_meter():
    of = [handed(1, 0, 1000.0), flown(2, 1, 1000.0, 1010.0, 10), swap(3, 5, 1010.0), flown(4, 6, 0.0, 2.0)]
    owed = settlement(of, A, HandOver("a", "b", meter_h=2.0), at(9), Money(Decimal("100"), "USD"))
    assert owed.hours_h == pytest.approx(12.0)
    assert "is less than the tachometer's last reading" in refused(of[:2], 1005.0)
    for shown, why in ((1.0, "less than at the flight before"), (500.0, "further than it can run")):
        with pytest.raises(BadInput, match=why):
            settlement(of, A, HandOver("a", "b", meter_h=shown), at(9))
    with pytest.raises(BadInput, match="more than 0 h in entry 4 after it"):
        refuse_reading(of[3:], A, TACHOMETER, 3.0, at(2))


def test_a_replacement_in_the_moment_of_a_hand_over_counts_by_the_order_of_entry():
    new_then = [swap(1, 0, 1000.0), handed(2, 0, 0.0)]
    assert settlement(new_then, A, HandOver("a", "b", meter_h=4.0), at(3)).hours_h == pytest.approx(4.0)


def test_a_replacement_entered_after_a_settlement_says_by_how_much_it_was_off():
    kept = [handed(1, 0, 100.0), handed(2, 9, 120.0)]
    told = settled_words(kept, A, InstrumentReplaced(TACHOMETER, 105.0, 110.0), at(5), None)
    assert told == "the settlement of entry 2 was worked out without it: by it 5.0 h fewer were run; settle the difference"
    again = settled_words(kept, A, InstrumentReplaced(TACHOMETER, 107.0, 110.0), at(5), swap(3, 5, 105.0, 110.0))
    assert "before this correction: by it 2.0 h more were run" in again
    assert settled_words(kept[:1], A, InstrumentReplaced(TACHOMETER, 105.0, 0.0), at(5), None) == ""
    assert settled_words(kept[1:], A, InstrumentReplaced(TACHOMETER, 105.0, 110.0), at(5), None) == ""
