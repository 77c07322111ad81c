"""Short cuts of the extras against what they stand for."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ownship.flight.airmass import over_ground_m_s
from ownship.flight.extras import extras, landable, planned
from ownship.flight.glide_share import PROPELLERS, farthest_1, glide_slices
from ownship.physics.wind import groundspeed
from ownship.questions import check
from ownship.units import to_si


@given(st.floats(0, 360), st.floats(20, 90), st.floats(0, 360), st.floats(0, 120))
def test_groundspeed_by_components_is_that_of_the_wind_triangle(course, tas, wind_from, wind):
    towards = np.radians(wind_from + 180.0)
    found = over_ground_m_s(np.array(course), np.array(tas), np.array(wind * np.sin(towards)), np.array(wind * np.cos(towards)))
    angle = np.radians(wind_from - course)
    if abs(wind * abs(np.sin(angle)) - tas) < 1e-6 or abs(np.sqrt(max(tas**2 - (wind * np.sin(angle)) ** 2, 0)) - wind * np.cos(angle)) < 1e-6:
        return  # on the edge of what can be flown either may round it away
    assert float(found) == pytest.approx(float(groundspeed(course, tas, wind_from, wind)), rel=1e-9, nan_ok=True)


@pytest.fixture(scope="module")
def demo():
    return check.situation(check.demo_aeroplane(), check.demo_flight(), name="flight", aeroplane_name="demo")


def test_every_glide_lies_between_its_two_bounds(demo):
    flown = planned(demo)[0][0]
    noise, arrival = demo.chance.normals("propeller drag in the glide"), np.array([900.0, 1500.0, 2000.0])
    level = demo.request.cruise_altitude_m
    most = farthest_1(flown.model, demo.air, flown.landing_kg, noise, 600.0) * (level - arrival)
    for propeller in PROPELLERS:
        slices = glide_slices(flown.model, demo.air, flown.take_off_kg, noise, level, arrival, propeller)
        for course in range(0, 360, 15):
            reach = slices.reach_m(np.arange(3), np.full(3, float(course)))
            assert np.all(reach.min(axis=1) >= slices.nearest_m() * (1 - 1e-12))
            assert np.all(reach.max(axis=1) <= slices.farthest_m() * (1 + 1e-12))
            assert np.all(reach.max(axis=1) <= most)


def test_a_wind_stronger_than_the_glide_leaves_nothing_for_certain(demo):
    flown = planned(demo)[0][0]
    storm = replace(demo.air, winds=((0.0, 80.0, 0.0),))
    slices = glide_slices(flown.model, storm, flown.take_off_kg, demo.chance.normals("x"), 3000.0, np.array([900.0]), "stopped")
    assert slices.nearest_m()[0] == -np.inf


def test_the_bound_of_the_glide_leaves_the_share_as_it_is(demo, monkeypatch):
    flown = planned(demo)[0][0]
    level = demo.request.cruise_altitude_m
    near, found = landable(demo, flown, level), extras(demo)
    monkeypatch.setattr("ownship.flight.extras._farthest_1", lambda *_: 20.0)
    assert {n.aerodrome.ident for n in near} <= {n.aerodrome.ident for n in landable(demo, flown, level)}
    assert extras(demo) == found
    assert all(n.off_m > to_si(10, "nm") for n in set(landable(demo, flown, level)) - set(near))
