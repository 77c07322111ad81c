"""Fuel on board by tank with its band and since when; what nobody noted is not known; oil per hour."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ownship.aeroplane.description import Mark, Tank
from ownship.aeroplane.weighing import usual_errors
from ownship.errors import BadInput
from ownship.ownership.entries import Entry, Flight, FuelAdded, FuelSeen, OilAdded, TankContents, standing
from ownship.ownership.fuel_aboard import (
    fuel_aboard,
    fuel_flaw,
    oil_per_hour,
    refuse_more_than_holds,
    refuse_too_much_added,
)
from ownship.ownership.fuel_flow import Flow, burn_of, flow_shown
from ownship.units import from_si, to_si

START = datetime(2026, 7, 1, 12, tzinfo=UTC)
ERRORS = usual_errors()


def gal(x):
    return float(to_si(x, "usgal"))


TANKS = tuple(Tank(n, n, gal(25), gal(1), 2.3, (Mark("tab", gal(17)),)) for n in ("left", "right"))
ONE = (Tank("main", "main", gal(37), gal(1), 2.3),)
FLOW = Flow((float(to_si(8, "usgal/h")), float(to_si(0.4, "usgal/h"))))


def entries(*bodies):
    made = [Entry(i, str(i), "N0160T", b.off_blocks if isinstance(b, Flight) else START + timedelta(hours=3 * i), START, b)
            for i, b in enumerate(bodies, 1)]
    return standing(made)


def flight(n, hours=1.0, **rest):
    begin = START + timedelta(hours=3 * n)
    return Flight(begin, begin + timedelta(hours=hours), "A", "B", **rest)


def fuel(left, right, by="dipstick"):
    return TankContents("left", gal(left), by), TankContents("right", gal(right), by)


def aboard(of, tanks=TANKS, flow=FLOW, at=START + timedelta(days=30)):
    return fuel_aboard(of, "N0160T", tanks, at, ERRORS, flow)


def in_gal(level):
    return float(from_si(level.usable_m3, "usgal"))


def sd_gal(level):
    return float(from_si(level.sd_m3, "usgal"))


# ---- the usual errors, one sd (practice.md 1.8): full 0.5, mark 1, dipstick 1 US gal, clock 8 % of the burn, gauge a quarter


@pytest.mark.parametrize(("seen", "by", "sd"), [(24, "full", 0.5), (17, "mark", 1.0), (10, "dipstick", 1.0),
                                                (14, "clock", 0.8), (10, "gauge", 6.25), (14, "flow meter", 0.8)])
def test_a_level_has_the_error_of_how_it_is_known(seen, by, sd):
    left = aboard(entries(FuelSeen("left", gal(seen), by))).tanks[0].level
    assert in_gal(left) == pytest.approx(seen)
    assert sd_gal(left) == pytest.approx(sd, rel=1e-6)


def test_nothing_kept_is_not_known_and_says_what_to_do():
    found = aboard(())
    assert found.total is None
    assert [t.level for t in found.tanks] == [None, None]
    assert "fuel seen" in found.tanks[0].words


def test_filled_to_full_counts_usable_and_to_the_tab_its_mark():
    found = aboard(entries(FuelAdded("left", gal(12), "full"), FuelAdded("right", gal(3), "tab")))
    assert [in_gal(t.level) for t in found.tanks] == pytest.approx([24, 17])
    assert in_gal(found.total) == pytest.approx(41)
    assert sd_gal(found.total) == pytest.approx((0.25 + 1) ** 0.5)
    assert found.total.since == START + timedelta(hours=3)


def test_a_flight_burns_the_total_and_leaves_the_split_not_known():
    found = aboard(entries(FuelSeen("left", gal(20), "dipstick"), FuelSeen("right", gal(20), "dipstick"), flight(3, 2.0)))
    assert in_gal(found.total) == pytest.approx(24)
    assert sd_gal(found.total) == pytest.approx((1 + 1 + 0.8**2) ** 0.5)
    assert [t.level for t in found.tanks] == [None, None]
    assert "split" in found.words
    assert found.flights_since == 1
    assert found.total.known_by == "clock"


def test_one_tank_seen_gives_the_other_by_difference():
    found = aboard(entries(FuelSeen("left", gal(20), "dipstick"), FuelSeen("right", gal(20), "dipstick"), flight(3, 2.0),
                           FuelSeen("left", gal(8), "dipstick")))
    left, right = (t.level for t in found.tanks)
    assert (in_gal(left), in_gal(right)) == pytest.approx((8, 16))
    assert right.known_by == "difference"
    assert sd_gal(right) == pytest.approx((1 + 1 + 0.8**2 + 1) ** 0.5)
    assert in_gal(found.total) == pytest.approx(24)


def test_a_difference_that_cannot_be_is_not_known():
    found = aboard(entries(FuelSeen("left", gal(4), "dipstick"), FuelSeen("right", gal(4), "dipstick"), flight(3, 0.5),
                           FuelSeen("left", gal(20), "dipstick")))
    assert found.total is None
    assert found.tanks[1].level is None
    assert "does not agree" in found.words


def test_one_tank_is_known_through_a_flight():
    found = aboard(entries(FuelAdded("main", gal(30), "full"), flight(2, 2.0)), ONE)
    assert in_gal(found.tanks[0].level) == pytest.approx(20)


def test_without_a_flow_a_flight_leaves_nothing_known():
    found = fuel_aboard(entries(FuelAdded("main", gal(30), "full"), flight(2)), "N0160T", ONE, START + timedelta(days=9), ERRORS)
    assert found.total is None
    assert "entry 2" in found.words
    assert "three flights with fuel before and after" in found.words


def test_a_flight_that_notes_its_fuel_settles_it():
    found = aboard(entries(FuelAdded("left", gal(12), "full"), flight(2, 1.0, fuel_after=fuel(15, 10))), flow=Flow())
    assert [in_gal(t.level) for t in found.tanks] == pytest.approx([15, 10])
    assert found.flights_since == 0


def test_fuel_added_after_a_flight_stands_on_top():
    found = aboard(entries(flight(1, 1.0, fuel_after=fuel(10, 10)), FuelAdded("left", gal(5))))
    assert [in_gal(t.level) for t in found.tanks] == pytest.approx([15, 10])
    assert in_gal(found.total) == pytest.approx(25)


def test_more_added_than_fits_is_full_with_a_wider_error():
    left = aboard(entries(FuelSeen("left", gal(20), "dipstick"), FuelAdded("left", gal(8)))).tanks[0].level
    assert in_gal(left) == pytest.approx(24)
    assert sd_gal(left) == pytest.approx(4)


def test_more_burnt_than_aboard_is_a_missing_entry():
    found = aboard(entries(FuelSeen("main", gal(5), "dipstick"), flight(2, 2.0)), ONE)
    assert found.total is None
    assert found.tanks[0].level is None
    assert "an entry of fuel is missing" in found.words


def test_later_entries_do_not_count_yet():
    of = entries(FuelSeen("main", gal(20), "dipstick"), flight(2, 2.0))
    assert in_gal(aboard(of, ONE, at=START + timedelta(hours=4)).total) == pytest.approx(20)


def test_phases_give_the_burn_where_each_has_a_flow():
    flow = Flow(None, {"climb": (gal(10) / 3600, gal(0.5) / 3600), "cruise": (gal(8) / 3600, gal(0.4) / 3600)})
    burn, sd = burn_of(flight(1, 1.0, phases_s=(("climb", 900.0), ("cruise", 2700.0))), TANKS, flow)
    assert (from_si(burn, "usgal"), from_si(sd, "usgal")) == pytest.approx((8.5, 0.425))
    assert burn_of(flight(1, 1.0, phases_s=(("climb", 900.0), ("taxi", 300.0))), TANKS, flow) is None


def test_the_flow_of_three_flights_by_hand():
    """Burns 7, 8, 9 gal in an hour each: mean 8, sd of one flight 1."""
    of = entries(*(flight(n, 1.0, fuel_before=fuel(20, 20), fuel_after=fuel(20 - burn, 20))
                   for n, burn in ((1, 7), (2, 8), (3, 9))))
    flow = flow_shown(of, "N0160T", TANKS, ERRORS)
    assert [float(from_si(x, "usgal/h")) for x in flow.overall_m3_s] == pytest.approx([8, 1])
    assert flow_shown(of[:2], "N0160T", TANKS, ERRORS).overall_m3_s is None


def test_the_band_lies_within_what_a_tank_holds():
    level = aboard(entries(FuelSeen("left", gal(2), "gauge"))).tanks[0].level
    low, high = level.band_m3(TANKS[0].usable_m3)
    assert low == 0.0
    assert from_si(high, "usgal") == pytest.approx(2 + 1.645 * 6.25, abs=0.01)


@given(st.lists(st.floats(0.1, 1.5), max_size=6), st.floats(0, 24), st.floats(0, 24))
def test_the_total_is_what_was_there_less_what_was_burnt(hours, left, right):
    of = entries(FuelSeen("left", gal(left), "dipstick"), FuelSeen("right", gal(right), "dipstick"),
                 *(flight(n, h) for n, h in enumerate(hours, 3)))
    found, rest = aboard(of), left + right - 8 * sum(hours)
    if found.total is None:
        assert rest < 1e-6
    else:
        assert in_gal(found.total) == pytest.approx(rest, abs=1e-6)
        assert sd_gal(found.total) >= 2**0.5 - 1e-9


# ---- refusals


def test_more_than_a_tank_holds_is_refused():
    with pytest.raises(BadInput, match=r"more than the left tank holds, 24\.0 US gal usable"):
        refuse_more_than_holds(TANKS[0], gal(24.5), "seen")
    found = aboard(entries(FuelSeen("left", gal(20), "dipstick")))
    with pytest.raises(BadInput, match="correct the amount"):
        refuse_too_much_added(found, TANKS[0], gal(8))
    refuse_too_much_added(found, TANKS[0], gal(4.5))
    refuse_too_much_added(found, TANKS[1], gal(20))


def test_fuel_of_a_flight_that_cannot_be_is_said():
    assert "no tank 'centre'" in fuel_flaw(flight(1, fuel_after=(TankContents("centre", 0.01, "gauge"),)), TANKS)
    assert "more than the left tank holds" in fuel_flaw(flight(1, fuel_before=fuel(30, 3)), TANKS)
    assert "more than fuel before" in fuel_flaw(flight(1, fuel_before=fuel(10, 10), fuel_after=fuel(10, 12)), TANKS)
    assert fuel_flaw(flight(1, fuel_before=fuel(10, 10), fuel_after=fuel(5, 10)), TANKS) is None


def test_an_aeroplane_without_tanks_is_refused():
    with pytest.raises(BadInput, match="no \\[\\[tanks\\]\\]"):
        aboard((), ())


# ---- oil


def quart(x):
    return float(to_si(x, "qt"))


def test_oil_by_hand():
    """1 qt in 5 h, 1 qt in 10 h, 1 qt in 5 h: 3 qt in 20 h; residuals 0.25 -0.5 0.25 qt, t = 2.920."""
    of = entries(*(OilAdded(quart(q), h) for q, h in ((0, 100.0), (1, 105.0), (1, 115.0), (1, 120.0))))
    rate = oil_per_hour(of, "N0160T")
    assert (rate.spans, rate.hours_s) == (3, 20 * 3600)
    per_h = float(from_si(rate.rate_m3_s * 3600, "qt"))
    half = float(from_si((rate.high_m3_s - rate.rate_m3_s) * 3600, "qt"))
    assert per_h == pytest.approx(0.15)
    assert half == pytest.approx(2.920 * (0.375 / 2 / 3) ** 0.5 / (20 / 3), rel=1e-6)


def test_a_change_begins_a_new_span_and_two_spans_have_no_band():
    of = entries(*(OilAdded(quart(q), h) for q, h in ((0, 100.0), (1, 110.0), (0, 125.0), (1, 135.0))))
    rate = oil_per_hour(of, "N0160T")
    assert (rate.spans, rate.hours_s, rate.low_m3_s) == (2, 20 * 3600, None)


def test_oil_hours_from_the_flights_where_no_meter_was_read():
    of = entries(OilAdded(quart(1)), flight(2, 2.0), OilAdded(quart(1)))
    assert oil_per_hour(of, "N0160T").hours_s == 7200
    assert oil_per_hour(entries(OilAdded(quart(1))), "N0160T") is None


def noted(*burns, by="dipstick"):
    """Flights of an hour each that note their fuel before and after."""
    return entries(*(flight(n, 1.0, fuel_before=fuel(20, 20, by), fuel_after=fuel(20 - burn, 20, by)) for n, burn in enumerate(burns, 1)))


def test_flights_that_agree_by_chance_do_not_make_the_flow_exact():
    """Four levels known to 1 US gal each: 2 of a burn, and of the mean of three flights of an hour 2 sqrt(3) / 3 = 1.155 US gal/h."""
    flow = flow_shown(noted(8, 8, 8), "N0160T", TANKS, ERRORS)
    assert float(from_si(flow.overall_m3_s[1], "usgal/h")) == pytest.approx(0.0, abs=1e-9)
    assert float(from_si(flow.mean_sd_m3_s, "usgal/h")) == pytest.approx(2 / 3**0.5)
    rough = flow_shown(noted(8, 8, 8, by="gauge"), "N0160T", TANKS, ERRORS)
    assert float(from_si(rough.mean_sd_m3_s, "usgal/h")) == pytest.approx(4 * 25 / 4 / 2 / 3**0.5)


def test_a_wide_scatter_widens_the_mean_too():
    flow = flow_shown(noted(2, 8, 14), "N0160T", TANKS, ERRORS)
    assert float(from_si(flow.mean_sd_m3_s, "usgal/h")) == pytest.approx(6 / 3**0.5)


def test_the_error_of_the_flow_is_the_same_in_every_flight_and_adds_up():
    """Full within 0.5 US gal, then three flights of an hour: scatter 0.3 each by squares, the flow's 0.2 over 3 h as a whole."""
    flow = Flow((float(to_si(8, "usgal/h")), float(to_si(0.3, "usgal/h"))), {}, 9, float(to_si(0.2, "usgal/h")))
    of = entries(FuelSeen("main", gal(30), "dipstick"), *(flight(n, 1.0) for n in (2, 3, 4)))
    level = aboard(of, ONE, flow).total
    dip = float(from_si(ERRORS.fuel_dipstick_m3, "usgal"))
    assert float(from_si(level.sd_m3, "usgal")) == pytest.approx((dip**2 + 3 * 0.3**2 + (3 * 0.2) ** 2) ** 0.5)
    assert in_gal(level) == pytest.approx(6)


@given(st.lists(st.floats(3, 12), min_size=3, max_size=8), st.sampled_from(["full", "mark", "dipstick", "gauge"]))
def test_fuel_by_the_clock_is_never_known_better_than_the_dips_behind_its_flow(burns, by):
    flow = flow_shown(noted(*burns, by=by), "N0160T", TANKS, ERRORS)
    of = entries(FuelSeen("main", gal(20), "mark"), flight(2, 1.0))
    level = aboard(of, ONE, flow).total
    assert level.sd_m3 >= (ERRORS.fuel_mark_m3**2 + (flow.mean_sd_m3_s * 3600) ** 2) ** 0.5 - 1e-12
    assert flow.mean_sd_m3_s > 0
