"""Fills of the record: flights between moments at which every tank was known, never with fuel that nobody noted."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ownship.aeroplane.description import Tank
from ownship.ownership.entries import Entry, Flight, FuelAdded, FuelSeen, TankContents
from ownship.ownership.fills import spans
from ownship.units import to_si

DAY = datetime(2026, 7, 1, 12, tzinfo=UTC)
SD = {"full": 0.3, "mark": 1.0, "dipstick": 1.0, "gauge": 6.0}


def gal(x):
    return float(to_si(x, "usgal"))


def tank(name):
    return Tank(name, name, gal(25), gal(1), 2.0, (), (), "test")


TANKS = (tank("left"), tank("right"))


def sd_of(_tank, _usable, known_by):
    return gal(SD[known_by])


def fly(hours_on, minutes=60, before=(), after=()):
    off = DAY + timedelta(hours=hours_on)

    def contents(of):
        return tuple(TankContents(name, gal(x), by) for name, x, by in of)

    return Flight(off, off + timedelta(minutes=minutes), "KBOI", "KBOI", fuel_before=contents(before), fuel_after=contents(after))


def record(*timed):
    """Entries of (hours from the first noon, body); a flight has its own moment."""
    made = [(b.off_blocks if isinstance(b, Flight) else DAY + timedelta(hours=h), b) for h, b in timed]
    return tuple(Entry(i, str(i), "N0160T", m, m, b) for i, (m, b) in enumerate(made, 1))


def full(hour, *added):
    return [(hour, FuelAdded(name, gal(x), "full")) for name, x in zip(("left", "right"), added, strict=True)]


FULL = [(0, FuelSeen("left", gal(24), "full")), (0, FuelSeen("right", gal(24), "full"))]


def found(*timed, tanks=TANKS):
    made, left = spans(record(*timed), "N0160T", tanks, sd_of)
    return [(len(s.flights), {k: round(v / gal(1), 6) for k, v in s.added_m3}) for s in made], left, made


def test_two_flights_from_full_to_full_are_one_fill_of_what_was_added():
    told, left, made = found(*FULL, (0, fly(1)), (0, fly(3)), *full(5, 8, 9))
    assert (told, left) == ([(2, {"left": 8, "right": 9})], 0)
    assert [x[1] for x in made[0].end.levels] == pytest.approx([gal(24), gal(24)])


def test_fuel_added_on_the_way_counts_to_the_fill_and_the_next_begins_where_it_ended():
    told, left, made = found(*FULL, (0, fly(1)), (2, FuelAdded("left", gal(5))), (0, fly(3)), *full(5, 8, 9), (0, fly(6)), *full(8, 4, 4))
    assert (told, left) == ([(2, {"left": 13, "right": 9}), (1, {"left": 4, "right": 4})], 0)
    assert made[1].start is made[0].end


def test_a_flight_that_notes_fuel_before_and_after_is_a_fill_by_itself():
    told, left, made = found((0, fly(1, before=[("left", 20, "dipstick"), ("right", 20, "dipstick")],
                                     after=[("left", 15, "dipstick"), ("right", 16, "dipstick")])))
    assert (told, left) == ([(1, {"left": 0, "right": 0})], 0)
    burnt = sum(a[1] for a in made[0].start.levels) - sum(b[1] for b in made[0].end.levels)
    assert burnt == pytest.approx(gal(9))


def test_a_dip_after_landing_gives_way_to_the_surer_full_where_the_fuel_was_noted():
    after = [("left", 20, "dipstick"), ("right", 20, "dipstick")]
    told, _, made = found(*FULL, (0, fly(1, after=after)), *full(3, 4, 4.5))
    assert told == [(1, {"left": 4, "right": 4.5})] and made[0].end.sd_m3 < gal(0.5)


@pytest.mark.parametrize("unnoted", [
    [(3, FuelSeen("left", gal(24), "full")), (3, FuelSeen("right", gal(24), "full"))],
    [(3, FuelSeen("left", gal(24), "full")), *full(3, 4, 4)[1:]]])
def test_full_again_without_fuel_noted_ends_no_fill_and_begins_anew(unnoted):
    told, left, made = found(*FULL, (0, fly(1)), *unnoted, (0, fly(4)), *full(6, 5, 5))
    assert (told, left) == ([(1, {"left": 5, "right": 5})], 1)
    assert made[0].flights[0].off_blocks == DAY + timedelta(hours=4)


def test_a_level_above_what_was_there_and_added_ends_the_fill_at_the_sighting_before():
    after, later = [("left", 12, "dipstick"), ("right", 12, "dipstick")], [("left", 22, "dipstick"), ("right", 22, "dipstick")]
    told, left, made = found(*FULL, (0, fly(1, after=after)), (0, fly(30, before=later, after=after)))
    assert (told, left) == ([(1, {"left": 0, "right": 0}), (1, {"left": 0, "right": 0})], 0)
    assert made[1].start is not made[0].end


def test_the_clock_s_levels_and_a_tank_that_is_never_known_make_no_fill():
    clock = [("left", 15, "clock"), ("right", 15, "clock")]
    assert found(*FULL, (0, fly(1, after=clock)))[:2] == ([], 1)
    assert found(FULL[0], (0, fly(1)), full(3, 5, 5)[0])[:2] == ([], 1)
    assert found((0, fly(1)), *full(3, 5, 5), (0, fly(4)))[:2] == ([], 2)


def test_fuel_into_a_tank_the_record_does_not_have_ends_no_fill():
    assert found(*FULL, (0, fly(1)), (2, FuelAdded("centre", gal(5))), *full(3, 5, 5))[:2] == ([], 1)


@given(st.lists(st.tuples(st.integers(1, 3), st.floats(1, 10), st.floats(1, 10), st.floats(0, 3)), min_size=1, max_size=6))
def test_all_that_was_added_between_full_and_full_is_in_the_fills_and_every_flight_once(legs):
    timed, hour, want = list(FULL), 1, []
    for flights, left, right, extra in legs:
        for _ in range(flights):
            timed.append((0, fly(hour)))
            hour += 2
        timed += [(hour, FuelAdded("left", gal(extra))), *full(hour, left, right)]
        want.append((flights, extra + left, right))
        hour += 1
    told, left_out, made = found(*timed)
    assert [(n, pytest.approx(a["left"], abs=1e-5), pytest.approx(a["right"], abs=1e-5)) for n, a in told] == want and left_out == 0
    assert all(b.start is a.end for a, b in pairwise(made))


def test_tanks_topped_up_without_a_word_before_the_next_flight_are_never_a_flight_that_burnt_nothing():
    """8 gal in each flight, 4 of each tank, refilled unnoted: within three sd of two dips, so that the rise alone cannot tell."""
    before, after = [("left", 20, "dipstick"), ("right", 20, "dipstick")], [("left", 16, "dipstick"), ("right", 16, "dipstick")]
    _, left, made = found(*[(0, fly(24 * i, before=before, after=after)) for i in range(6)])
    used = [round((sum(x[1] for x in s.start.levels) - sum(x[1] for x in s.end.levels) + sum(a for _, a in s.added_m3)) / gal(1), 6)
            for s in made]
    assert used == [8.0] * 6 and left == 0
