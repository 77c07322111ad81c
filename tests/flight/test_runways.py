"""Which end, its wind on the worse side, what is never used, obstacles and the stop point."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_distances import BOOK, BY, KT, ground, lb, model

from ownship.flight.margins import Margin
from ownship.flight.places import PlaceWeather
from ownship.flight.request import Factors, RunwayWish
from ownship.flight.runways import (
    EndWind,
    choose,
    climb_gradient_1,
    climb_height_m,
    crosswind_margins,
    gust_addition_m_s,
    obstacle_margins,
    stop_point_m,
    wind_on,
)
from ownship.world.aerodromes import Aerodrome, RunwayEnd, RunwayObstacle
from ownship.world.weather import SurfaceWeather, WindReport

NOISE = np.linspace(-2, 2, 64)
DRY = RunwayWish("best", "dry")
CALM = WindReport(None, 0.0)


def end(ident="17", heading=180.0, **change):
    made = RunwayEnd(ident, heading, "published true heading", 0.0, 1000.0, 1000.0, 1000.0, 0.0, 600.0, 0.0, "record",
                     "paved", "", 20.0, False, False, True, True, (), "record", "2026-01-01")
    return replace(made, **change)


def aerodrome(*ends, **change):
    made = Aerodrome("TEST", ("TEST",), "test", "small_airport", False, "US", "US-ID", 44.0, -115.0, 600.0, ends, (),
                     "record", "2022")
    return replace(made, **change)


def weather(wind=CALM, celsius=20.0, borrowed=False):
    return PlaceWeather(SurfaceWeather(wind, celsius + 273.15, None, 101325.0, None, None, "test"), 1.0, borrowed, "test")


def chosen(operation, place, wind=CALM, wish=DRY, by=BY, weight=2300, celsius=20.0, given=True):
    air = weather(wind, celsius) if given else None
    return choose("runway.x", "distance", place, operation, wish, air, lb(weight), by, Factors(), NOISE)


def margin(*args, **kwargs):
    found = chosen(*args, **kwargs)
    return found if isinstance(found, Margin) else found.margin


# ------------------------------------------------------------------ wind


@pytest.mark.parametrize(("report", "head", "tail", "cross"), [
    (None, 0, 0, None), (CALM, 0, 0, 0), (WindReport(180.0, 10 * KT), 10, 0, 0),
    (WindReport(180.0, 10 * KT, 20 * KT), 10, 0, 0), (WindReport(0.0, 10 * KT, 15 * KT), 0, 15, 0),
    (WindReport(90.0, 10 * KT, 18 * KT), 0, 0, 18), (WindReport(None, 6 * KT, 9 * KT, True), 0, 9, 9)])
def test_headwind_from_the_steady_wind_the_rest_from_the_gust(report, head, tail, cross):
    found = wind_on(end(), report)
    assert found.headwind_m_s == pytest.approx(head * KT, abs=1e-9)
    assert found.tailwind_m_s == pytest.approx(tail * KT, abs=1e-9)
    assert found.crosswind_m_s == (None if cross is None else pytest.approx(cross * KT, abs=1e-9))


def test_an_uncertain_heading_takes_the_worse_side_of_both():
    sure, unsure = (wind_on(end(heading_uncertainty_deg=d), WindReport(180.0, 10 * KT)) for d in (0.0, 20.0))
    assert unsure.headwind_m_s == pytest.approx(10 * KT * np.cos(np.radians(20)))
    assert unsure.crosswind_m_s == pytest.approx(10 * KT * np.sin(np.radians(20)))
    assert sure.crosswind_m_s == pytest.approx(0.0, abs=1e-9)
    across = wind_on(end(heading_uncertainty_deg=20.0), WindReport(90.0, 10 * KT))
    assert across.headwind_m_s == 0.0 and across.tailwind_m_s > 0


def test_an_unknown_heading_meets_all_of_the_wind_as_tail_and_as_crosswind():
    found = wind_on(end(heading=None), WindReport(180.0, 10 * KT))
    assert (found.headwind_m_s, found.tailwind_m_s, found.crosswind_m_s) == (0.0, 10 * KT, 10 * KT)


def test_another_places_wind_earns_no_credit_but_is_charged():
    assert wind_on(end(), WindReport(180.0, 10 * KT), borrowed=True).headwind_m_s == 0.0
    assert wind_on(end(), WindReport(0.0, 10 * KT), borrowed=True).tailwind_m_s == pytest.approx(10 * KT)


def test_half_the_gust_factor_goes_on_the_approach():
    assert gust_addition_m_s(WindReport(180.0, 10 * KT, 20 * KT)) == pytest.approx(5 * KT)
    assert gust_addition_m_s(None) == gust_addition_m_s(CALM) == 0.0


@settings(max_examples=60, derandomize=True, deadline=None)
@given(st.floats(0, 359), st.floats(0, 40), st.floats(0, 20), st.floats(0, 20))
def test_more_doubt_of_the_heading_is_never_better(direction, speed, gust, doubt):
    report = WindReport(direction, speed * KT, (speed + gust) * KT)
    sure, unsure = wind_on(end(), report), wind_on(end(heading_uncertainty_deg=doubt), report)
    assert unsure.headwind_m_s <= sure.headwind_m_s + 1e-9
    assert unsure.tailwind_m_s >= sure.tailwind_m_s - 1e-9
    assert unsure.crosswind_m_s >= sure.crosswind_m_s - 1e-9


# ------------------------------------------------------------------ choice


def test_the_end_into_wind_is_best():
    place = aerodrome(end(), end("35", 0.0))
    assert chosen("take-off", place, WindReport(180.0, 8 * KT)).end.ident == "17"
    assert chosen("take-off", place, WindReport(0.0, 8 * KT)).end.ident == "35"


def test_a_wished_end_is_taken_even_downwind():
    place = aerodrome(end(), end("35", 0.0))
    assert chosen("take-off", place, WindReport(0.0, 8 * KT), RunwayWish("17", "dry")).end.ident == "17"


def test_a_strip_may_be_one_way_each_way():
    place = aerodrome(end(take_off_allowed=False), end("35", 0.0, landing_allowed=False))
    assert chosen("landing", place, WindReport(0.0, 8 * KT)).end.ident == "17"
    assert chosen("take-off", place, WindReport(180.0, 8 * KT)).end.ident == "35"
    against = margin("take-off", place, wish=RunwayWish("17", "dry"))
    assert against.verdict == "outside limits" and "one-way" in against.words


@pytest.mark.parametrize("place", [aerodrome(end(closed=True)), aerodrome(end(), closed=True), aerodrome(),
                                   aerodrome(end(surface="water"))])
def test_a_closed_runway_or_aerodrome_is_never_used(place):
    assert margin("landing", place).verdict in ("outside limits", "not known")


@pytest.mark.parametrize(("change", "word"), [({"slope_1": None}, "slope"), ({"landing_length_m": None}, "length"),
                                              ({"surface": None}, "surface")])
def test_what_is_missing_is_named_and_not_known(change, word):
    found = margin("landing", aerodrome(end(**change)))
    assert found.verdict == "not known" and word in found.words


def test_without_weather_it_is_not_known():
    assert margin("landing", aerodrome(end()), given=False).verdict == "not known"


@pytest.mark.parametrize("direction", [90.0, 180.0])
def test_a_wind_beyond_the_hard_range_is_not_known_from_wherever_it_blows(direction):
    found = margin("landing", aerodrome(end()), WindReport(direction, 50 * KT, 65 * KT))
    assert found.verdict == "not known" and "range" in found.words


def test_air_beyond_the_hard_range_leaves_nothing_to_judge_with():
    found = chosen("landing", aerodrome(end()), celsius=51.0)
    assert found.margin.verdict == "not known" and found.ground is None


def test_short_by_the_factor_only_says_so_with_the_factor():
    enough = chosen("take-off", aerodrome(end())).distance
    between = (enough.median_m + enough.covered_m) / 2
    found = margin("take-off", aerodrome(end(take_off_length_m=between)))
    assert found.verdict == "outside limits" and "horter than the book figure x 1.33" in found.words
    shorter = margin("take-off", aerodrome(end(take_off_length_m=0.9 * enough.median_m)))
    assert shorter.verdict == "outside limits" and "x 1.33" not in shorter.words


def test_tight_lies_between_covered_and_doubly():
    found = chosen("take-off", aerodrome(end())).distance
    for length, verdict in ((found.covered_m * 0.999, "outside limits"), (found.covered_m * 1.001, "tight"),
                            (found.doubly_m * 0.999, "tight"), (found.doubly_m * 1.001, "within limits")):
        assert margin("take-off", aerodrome(end(take_off_length_m=length))).verdict == verdict


def test_beyond_the_table_a_short_runway_is_outside_a_long_one_not_known():
    assert margin("take-off", aerodrome(end(take_off_length_m=200.0)), celsius=45.0).verdict == "outside limits"
    assert margin("take-off", aerodrome(end(take_off_length_m=5000.0)), celsius=45.0).verdict == "not known"


# ------------------------------------------------------------------ beside the distance


def test_crosswind_beyond_the_demonstrated_is_tight_beyond_the_own_minimum_outside():
    wind = EndWind(0.0, 0.0, 14 * KT, "")
    demonstrated, own = crosswind_margins("TEST", wind, 12 * KT, 10 * KT, "record")
    assert (demonstrated.kind, demonstrated.verdict) == ("advice", "tight")
    assert (own.kind, own.verdict) == ("own minimum", "outside limits")


def test_without_a_wind_report_crosswind_is_never_within():
    demonstrated, own = crosswind_margins("TEST", EndWind(0.0, 0.0, None, ""), 12 * KT, 10 * KT, "record")
    assert own.verdict == "not known"
    assert demonstrated.verdict != "within limits" and "No wind report" in demonstrated.words


def judged(tailwind=0.0, obstacles=()):
    return chosen("take-off", aerodrome(end(obstacles=obstacles)), WindReport(0.0, tailwind))


def heights(obstacle, tailwind=0.0, clearance=0.0, by=BY):
    found = judged(tailwind, (obstacle,))
    return obstacle_margins(found, aerodrome(end()), by, lb(2300), clearance, 0.95)[0]


def test_the_climb_path_starts_at_50_ft_at_the_end_of_covered():
    covered = judged().distance.covered_m
    assert heights(RunwayObstacle(covered + 0.01, 0.0)).available.value == pytest.approx(50.0, abs=0.1)
    assert heights(RunwayObstacle(covered - 1.0, 5.0)).verdict == "outside limits"


def test_an_obstacle_is_judged_against_the_own_clearance_and_tailwind_lowers_the_path():
    covered = judged().distance.covered_m
    obstacle = RunwayObstacle(covered + 1000.0, 20.0)
    plain, wanted = heights(obstacle), heights(obstacle, clearance=60.0)
    assert plain.verdict == "within limits"
    assert wanted.margin.value < plain.margin.value
    windy = judged(5.0)
    far = RunwayObstacle(windy.distance.covered_m + 1000.0, 20.0)
    assert heights(far, tailwind=5.0).available.value < plain.available.value


def test_of_two_calibrations_the_worse_path_counts():
    weak = replace(BY, own=model(shift=4.0, label="own"))
    far = RunwayObstacle(judged().distance.covered_m + 2000.0, 20.0)
    assert heights(far, by=weak).available.value < heights(far).available.value


def test_the_gradient_falls_on_the_way_up():
    """Integrated, a path of 20 km is lower than the gradient at the runway says and higher than that at its top."""
    here = ground(2000, 20)
    gained = climb_height_m(BOOK, here, lb(2300), 20000.0, 1000.0)
    low, high = (climb_gradient_1(BOOK, ground(2000 + h / 0.3048, 20 - 0.0065 * h).air, lb(2300), 0.0) * 20000.0
                 for h in (0.0, 1000.0))
    assert np.all(gained < low) and np.all(gained > high)


def test_a_stop_point_needs_run_left_and_is_nearer_on_wet_short_and_windy_runways():
    here = ground(2000, 20)
    dry = stop_point_m(BOOK, here, lb(2300), 500.0, 1.0)
    assert 0 < dry < 500.0
    for worse in (stop_point_m(BOOK, here, lb(2300), 450.0, 1.0), stop_point_m(BOOK, here, lb(2300), 500.0, 1.6),
                  stop_point_m(BOOK, replace(here, tailwind_m_s=5.0), lb(2300), 500.0, 1.0)):
        assert worse < dry


def test_a_stop_point_is_never_beyond_lift_off():
    found = stop_point_m(BOOK, ground(2000, 20), lb(2300), 5000.0, 1.0)
    assert found == pytest.approx(stop_point_m(BOOK, ground(2000, 20), lb(2300), 9000.0, 1.0))


@pytest.mark.parametrize("run", [400.0, 500.0, 600.0])
def test_from_the_stop_point_it_does_stop_on_the_run(run):
    """By hand: the roll so far, three seconds at that speed, braking at mub: the median aeroplane uses less than the run."""
    from ownship.performance import takeoff
    from ownship.physics.airspeed import tas_from_cas_m_s
    from ownship.units import GRAVITY_M_S2

    here, middle = ground(2000, 20), BOOK.middle
    stop = stop_point_m(BOOK, here, lb(2300), run, 1.0)
    distance, cas, _ = takeoff.roll_profile(middle, here.air, lb(2300), steps=64)
    speed = float(np.interp(stop, distance[:, 0], tas_from_cas_m_s(cas, here.air)[:, 0]))
    used = stop + 3 * speed + speed**2 / (2 * GRAVITY_M_S2 * float(middle.p["mub"][0]))
    assert 0.75 * run < used < run
