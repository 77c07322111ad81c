"""The envelope: what polygons are refused, and room against the geometry of the polygon itself."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.aeroplane.envelope import arm_limits, arm_room, crosses_itself, limit_slopes, several_ranges_at
from ownship.aeroplane.reading import read_airframe
from ownship.errors import OwnshipError
from ownship.units import to_si

STEPPED = ((600.0, 2.00), (800.0, 2.00), (800.0, 2.05), (1000.0, 2.15), (1000.0, 2.40), (600.0, 2.40))


def points_inside(points, weight, arm):
    """Point in polygon by counting the edges to its left."""
    crossings = 0
    for (w1, a1), (w2, a2) in zip(points, (*points[1:], points[0]), strict=True):
        if (w1 > weight) != (w2 > weight) and a1 + (weight - w1) / (w2 - w1) * (a2 - a1) < arm:
            crossings += 1
    return crossings % 2 == 1


@settings(max_examples=150, derandomize=True)
@given(st.floats(590, 1010), st.floats(1.9, 2.5))
def test_the_sign_of_the_room_agrees_with_point_in_polygon(weight, arm):
    room = arm_room(STEPPED, "arm", weight, arm)
    if abs(room) > 1e-9 and min(abs(weight - corner) for corner in (600, 800, 1000)) > 1e-6:
        assert (room > 0) == points_inside(STEPPED, weight, arm)


@settings(max_examples=60, derandomize=True)
@given(st.floats(800.5, 999.5), st.floats(0.05, 0.95))
def test_an_edge_straight_in_moment_has_a_moment_linear_in_weight(weight, share):
    def moment(w):
        return w * arm_limits(STEPPED, "moment", w)[0]

    between = 800.5 + share * (weight - 800.5)
    assert moment(between) == pytest.approx((1 - share) * moment(800.5) + share * moment(weight), rel=1e-12)


def test_slopes_are_those_of_the_edge_and_zero_on_a_vertical_limit():
    assert limit_slopes(STEPPED, "arm", 900.0) == pytest.approx((0.10 / 200, 0.0))
    assert limit_slopes(STEPPED, "arm", 700.0) == (0.0, 0.0)


def record(points):
    return read_airframe(f'[record]\nsource = "papers"\n[[envelope]]\nstraight_in = "arm"\npoints = {points}\n', "A.toml")


def test_many_points_on_one_line_and_the_first_point_repeated_are_a_good_envelope():
    points = ('[["1400 lb","82 in"],["1700 lb","84 in"],["2000 lb","86 in"],["2300 lb","88 in"],["2300 lb","93 in"],'
              '["2000 lb","93 in"],["1800 lb","93 in"],["1600 lb","93 in"],["1400 lb","93 in"],["1400 lb","82 in"]]')
    envelope = record(points).envelopes[0]
    assert len(envelope.points) == 9
    assert arm_limits(envelope.points, "arm", float(to_si(1850, "lb")))[0] == pytest.approx(float(to_si(85, "in")))


@pytest.mark.parametrize("points", [
    [(0, 0), (2, 0), (1, 0), (1, 1)],  # an edge that runs back along itself
    [(0, 0), (4, 0), (4, 1), (2, -1), (0, 1)],  # crosses
    [(0, 0), (4, 0), (4, 4), (2, 0), (0, 4)]])  # touches an edge
def test_polygons_that_touch_themselves_cross(points):
    assert crosses_itself(points)


def test_a_notch_with_two_ranges_of_arm_at_one_weight_is_refused_because_the_limits_would_bridge_it():
    notch = ((1000, 80), (2000, 80), (2000, 84), (1500, 84), (1500, 88), (2100, 88), (2100, 92), (1000, 92))
    assert several_ranges_at(notch) == pytest.approx(1750)
    assert several_ranges_at(STEPPED) is None
    with pytest.raises(OwnshipError, match=r"line 5.*more than one range of arms"):
        record(str([[f"{w} lb", f"{a} in"] for w, a in notch]).replace("'", '"'))


@pytest.mark.parametrize(("points", "words"), [
    ('[["-1400 lb","82 in"],["2300 lb","82 in"],["2300 lb","93 in"]]', "-1,400 lb is not believable"),
    ('[["1400 lb","82 in"],["2300000 lb","82 in"],["2300 lb","93 in"]]', "believable"),
    ('[["1400 lb","82 in"],["2300 lb","82 in"],["2300 lb","9300 in"]]', "9,300 in is not believable"),
    ('[["1400 lb","82 in"],["1800 lb","82 in"],["2300 lb","82 in"]]', "no area"),
    ('[["1400 lb","82 in"],["2300 lb","82 in"],["2300 lb","93 in"]]\n[[envelope]]\nstraight_in = "arm"\n'
     'points = [["1400 lb","82 in"],["2300 lb","82 in"],["2300 lb","93 in"]]', "line 6, [envelope.2] category")])
def test_envelopes_that_cannot_be_are_refused_at_their_line(points, words):
    with pytest.raises(OwnshipError) as error:
        record(points)
    assert words in str(error.value) and "A.toml line" in str(error.value)
