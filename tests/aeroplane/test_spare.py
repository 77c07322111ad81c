"""What more could be carried ends at the first limit met, whichever it is; the error of room at a sloping limit."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.aeroplane.loading import LoadItem, LoadPoint, at_fuel, load_of, room, station_sds_kg, taxi_allowance_kg
from ownship.aeroplane.reading import read_airframe
from ownship.aeroplane.spare import more_fuel_m3, more_payload_kg
from ownship.aeroplane.weighing import empty_weight, usual_errors
from ownship.questions.check import demo_aeroplane
from ownship.units import from_si, to_si

RECORD = read_airframe(demo_aeroplane(), "demo")
DAY = date(2026, 7, 11)
DENSITY = RECORD.fuel.density_kg_m3


def lb(x):
    return float(to_si(x, "lb"))


def gal(x):
    return float(to_si(x, "usgal"))


def aboard(*items, record=RECORD):
    listed = tuple(LoadItem(s, s, lb(w), True) for s, w in items)
    return load_of(record, empty_weight(record, DAY), listed, usual_errors()), listed


def payload(station, items, fuel, record=RECORD, category="normal"):
    load, listed = aboard(*items, record=record)
    usable = dict(zip((t.id for t in record.tanks), map(gal, fuel), strict=True))
    found = more_payload_kg(record, category, load, listed, usable, DENSITY, station)
    return None if found is None else float(from_si(found, "lb"))


TWO = (("front", 340),)


def test_a_station_takes_no_more_than_its_limit_and_its_groups():
    assert payload("shelf", TWO, (10, 10)) == pytest.approx(25)
    assert payload("baggage", TWO, (10, 10)) == pytest.approx(140)
    assert payload("baggage", (*TWO, ("shelf", 25)), (10, 10)) == pytest.approx(125)


def test_full_tanks_leave_what_is_left_of_the_take_off_weight():
    load, _ = aboard(*TWO)
    left = from_si(RECORD.weights.take_off_max_kg - load.weight_kg - 2 * gal(24) * DENSITY, "lb")
    assert 0 < left < 400
    assert payload("rear", TWO, (24, 24)) == pytest.approx(left)


def test_the_forward_end_of_the_seats_ends_what_the_front_can_take():
    extra = payload("front", TWO, (10, 10))
    load, _ = aboard(("front", 340 + extra))
    point = at_fuel(RECORD, load, {"left": gal(10), "right": gal(10)}, {}, DENSITY)
    assert room(RECORD, "normal", point).arm_m == pytest.approx(0.0, abs=1e-6)
    assert room(RECORD, "normal", point).words == "forward limit"


def test_a_zero_fuel_limit_counts_and_an_unknown_one_makes_it_not_known():
    limited = replace(RECORD, weights=replace(RECORD.weights, zero_fuel_max_kg=aboard(*TWO)[0].weight_kg + lb(30)))
    assert payload("rear", TWO, (10, 10), limited) == pytest.approx(30)
    for lacking in (replace(RECORD, weights=replace(RECORD.weights, zero_fuel_max_kg=None)),
                    replace(RECORD, weights=replace(RECORD.weights, take_off_max_kg=None)),
                    replace(RECORD, envelopes=()),
                    replace(RECORD, stations=tuple(replace(s, max_kg=None) for s in RECORD.stations))):
        assert payload("rear", TWO, (10, 10), lacking) is None


def test_an_aeroplane_that_is_outside_as_it_stands_takes_nothing():
    assert payload("rear", (("front", 340), ("rear", 380), ("baggage", 140)), (24, 24)) == 0.0
    assert payload("rear", TWO, (10, 10), category="utility") == 0.0


def test_fuel_ends_at_a_full_tank_or_at_the_take_off_weight():
    usable = {"left": gal(10), "right": gal(10)}
    light, _ = aboard(*TWO)
    assert from_si(more_fuel_m3(RECORD, "normal", light, usable, DENSITY, "left"), "usgal") == pytest.approx(14)
    heavy, _ = aboard(("front", 340), ("rear", 340))
    over = RECORD.weights.take_off_max_kg - lb(24) - at_fuel(RECORD, heavy, usable, {}, DENSITY).weight_kg
    loaded, _ = aboard(("front", 340), ("rear", 340), ("baggage", float(from_si(over, "lb"))))
    assert from_si(more_fuel_m3(RECORD, "normal", loaded, usable, DENSITY, "left"), "usgal") == pytest.approx(4)
    assert more_fuel_m3(replace(RECORD, envelopes=()), "normal", light, usable, DENSITY, "left") is None


def test_payload_aft_ends_where_the_burn_would_leave_the_envelope_not_where_the_take_off_would():
    forward_tanks = replace(RECORD, tanks=tuple(replace(t, arm_m=float(to_si(70, "in"))) for t in RECORD.tanks))
    free = tuple(replace(s, max_kg="none published") for s in RECORD.stations)
    record = replace(forward_tanks, stations=free, station_groups=())
    extra = payload("shelf", (("front", 150),), (20, 20), record)
    load, _ = aboard(("front", 150), ("shelf", extra), record=record)
    dry, wet = (at_fuel(record, load, {"left": gal(x), "right": gal(x)}, {}, DENSITY) for x in (0, 20))
    assert room(record, "normal", dry).arm_m == pytest.approx(0.0, abs=1e-6)
    assert room(record, "normal", wet).arm_m > 0.01


@settings(max_examples=40, derandomize=True)
@given(st.floats(100, 400), st.floats(0, 300), st.floats(0, 24), st.sampled_from(["front", "rear", "baggage", "shelf"]))
def test_what_more_is_said_to_fit_fits_and_a_pound_more_does_not(front, rear, fuel, station):
    items = (("front", front), ("rear", rear))
    extra = payload(station, items, (fuel, fuel))

    def fits(add):
        load, listed = aboard(*items, (station, add))
        weights = {s: sum(i.weight_kg for i in listed if i.station == s) for s in ("rear", "baggage", "shelf")}
        limits = {"rear": 400, "baggage": 140, "shelf": 25}
        if any(weights[s] > lb(limits[s]) + 1e-6 for s in weights) or weights["baggage"] + weights["shelf"] > lb(150) + 1e-6:
            return False
        points = [at_fuel(RECORD, load, {"left": gal(f), "right": gal(f)}, {}, DENSITY) for f in np.linspace(0, fuel, 12)]
        rooms = [room(RECORD, "normal", p) for p in points]
        return all(r.arm_m > -1e-6 and r.weight_kg > -1e-6 for r in rooms)

    assert fits(extra) == (extra > 0 or fits(0.0))
    assert not fits(extra + 1.0)


def test_above_the_heaviest_weight_of_a_category_is_outside_whatever_the_arm():
    load, _ = aboard(("front", 460))
    space = room(RECORD, "utility", at_fuel(RECORD, load, {"left": gal(24), "right": gal(24)}, {}, DENSITY))
    assert space.arm_m > 0 and space.weight_kg < 0 and not space.inside
    assert from_si(space.top_kg, "lb") == pytest.approx(1950)


def test_the_ramp_may_be_heavier_than_the_envelope_by_what_the_record_allows():
    assert from_si(taxi_allowance_kg(RECORD), "lb") == pytest.approx(8)
    assert taxi_allowance_kg(replace(RECORD, weights=replace(RECORD.weights, ramp_max_kg=None))) == 0.0
    point = LoadPoint(lb(2355), float(to_si(90, "in")), float(to_si(90, "in")), 0.0, 0.0)
    assert not room(RECORD, "normal", point).inside
    assert room(RECORD, "normal", point, taxi_allowance_kg(RECORD)).inside


def test_the_error_of_room_at_a_sloping_limit_is_that_of_drawn_weights():
    items = (LoadItem("pilot", "front", lb(180), False), LoadItem("guest", "front", lb(170), False),
             LoadItem("bag", "baggage", lb(60), False))
    errors, empty = usual_errors(), empty_weight(RECORD, DAY)
    usable = {"left": gal(18), "right": gal(18)}
    load = load_of(RECORD, empty, items, errors)
    space = room(RECORD, "normal", at_fuel(RECORD, load, usable, {}, DENSITY))
    rng = np.random.default_rng(3)
    rooms = []
    for _ in range(4000):
        drawn = tuple(replace(i, weight_kg=i.weight_kg + sd * rng.standard_normal()) for i, sd in
                      zip(items, (lb(10), lb(10), 0.15 * lb(60)), strict=True))
        shifted = replace(empty, weight_kg=empty.weight_kg + empty.weight_sd_kg * rng.standard_normal(),
                          arm_m=empty.arm_m + empty.arm_sd_m * rng.standard_normal())
        rooms.append(room(RECORD, "normal", at_fuel(RECORD, load_of(RECORD, shifted, drawn, errors), usable, {}, DENSITY)).arm_m)
    assert space.words == "forward limit"
    assert space.sd_m == pytest.approx(np.std(rooms), rel=0.06)


def test_errors_of_a_station_add_in_squares():
    items = (LoadItem("a", "rear", lb(150), False), LoadItem("b", "rear", lb(150), False), LoadItem("c", "shelf", lb(20), False))
    sds = station_sds_kg(RECORD, items, usual_errors())
    assert sds["rear"] == pytest.approx(lb(10) * 2**0.5)
    assert sds["shelf"] == pytest.approx(0.15 * lb(20))
    assert sds["front"] == 0.0


def test_a_computed_paper_does_not_take_the_years_since_the_last_scales_away():
    text = """[record]
source = "papers"
[[weighings]]
date = 2006-01-01
weighed = true
weight = "1400 lb"
arm = "85 in"
[[weighings]]
date = 2026-01-01
weighed = false
weight = "1400 lb"
arm = "85 in"
"""
    empty = empty_weight(read_airframe(text, "A.toml"), date(2026, 1, 1))
    assert from_si(empty.weight_sd_kg, "lb") == pytest.approx(10 + 20, abs=0.01)
    assert empty.weighed_on == date(2006, 1, 1) and len(empty.warnings) == 2
