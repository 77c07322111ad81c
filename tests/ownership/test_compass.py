"""Compass swing: the textbook relations on eight headings (from memory), and that the card leads where it says."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.errors import BadInput
from ownship.ownership.compass import coefficients, deviation_card, to_steer, turned

EIGHT = tuple(float(x) for x in range(0, 360, 45))
SMALL = st.floats(-4, 4)


def swing(compass, deviation):
    """Magnetic headings of a swing with these deviations."""
    return tuple(float((c + d) % 360) for c, d in zip(compass, deviation, strict=True))


def series(headings, a, b, c, d, e):
    t = np.radians(np.asarray(headings, float))
    return a + b * np.sin(t) + c * np.cos(t) + d * np.sin(2 * t) + e * np.cos(2 * t)


def test_the_textbook_relations_on_eight_headings():
    # Relations from memory: A the mean of eight, B (E - W)/2, C (N - S)/2, D ((NE + SW) - (SE + NW))/4, E ((N + S) - (E + W))/4.
    n, ne, e, se, s, sw, w, nw = series(EIGHT, 0.5, 2.0, -1.5, 0.75, -0.25)
    found = coefficients(swing(EIGHT, (n, ne, e, se, s, sw, w, nw)), EIGHT)
    assert found.a_deg == pytest.approx(np.mean([n, ne, e, se, s, sw, w, nw]), abs=1e-9)
    assert found.b_deg == pytest.approx((e - w) / 2, abs=1e-9)
    assert found.c_deg == pytest.approx((n - s) / 2, abs=1e-9)
    assert found.d_deg == pytest.approx(((ne + sw) - (se + nw)) / 4, abs=1e-9)
    assert found.e_deg == pytest.approx(((n + s) - (e + w)) / 4, abs=1e-9)


def test_mean_and_quadrantals_are_the_textbooks_for_any_eight_readings():
    n, ne, e, se, s, sw, w, nw = values = (3.0, 1.0, -2.0, 0.0, -1.0, 2.0, 4.0, 1.0)
    found = coefficients(swing(EIGHT, values), EIGHT)
    assert found.a_deg == pytest.approx(1.0, abs=1e-9)
    assert found.d_deg == pytest.approx(((ne + sw) - (se + nw)) / 4, abs=1e-9)
    assert found.e_deg == pytest.approx(((n + s) - (e + w)) / 4, abs=1e-9)
    assert found.sd_deg > 0


def test_east_deviation_is_taken_off_the_magnetic_heading_to_find_what_to_steer():
    card = deviation_card(swing(EIGHT, [5.0] * 8), EIGHT)  # "deviation east, compass least"
    assert card.magnetic_deg[1] == 30.0 and card.compass_deg[1] == 25.0
    assert card.compass_deg[0] == 355.0


def test_four_headings_give_no_quadrantal_coefficients():
    card = deviation_card(swing((0, 90, 180, 270), (2.0, 1.0, -2.0, -1.0)), (0.0, 90.0, 180.0, 270.0))
    assert card.coefficients.d_deg is None and card.coefficients.e_deg is None
    assert any("not known" in w for w in card.words)
    assert card.coefficients.b_deg == pytest.approx(1.0) and card.coefficients.c_deg == pytest.approx(2.0)


def test_a_compass_that_is_far_off_and_a_reading_that_is_wrong_are_told():
    assert any("adjusted" in w for w in deviation_card(swing(EIGHT, series(EIGHT, 0, 14, 0, 0, 0)), EIGHT).words)
    twelve = tuple(float(x) for x in range(0, 360, 30))
    wrong = [0.0] * 12
    wrong[4] = 12.0
    assert any("read it again" in w for w in deviation_card(swing(twelve, wrong), twelve).words)
    assert deviation_card(swing(twelve, [1.0] * 12), twelve).words == ()


@pytest.mark.parametrize(("magnetic", "compass", "word"), [
    ((0.0, 90.0), (0.0, 90.0), "at least 4"),
    ((0.0, 90.0, 180.0), (0.0, 90.0), "as many"),
    ((0.0, 90.0, 180.0, 270.0), (0.0, 90.0, 180.0, 361.0), "no heading"),
    ((0.0, 90.0, float("nan"), 270.0), (0.0, 90.0, 180.0, 270.0), "no heading"),
    ((0.0, 90.0, 180.0, 270.0), (0.0, 90.0, 180.0, 200.0), "misread"),
    ((0.0, 30.0, 60.0, 90.0), (0.0, 30.0, 60.0, 90.0), "gap"),
])
def test_a_swing_that_cannot_be_used_is_one_sentence(magnetic, compass, word):
    with pytest.raises(BadInput, match=word):
        coefficients(magnetic, compass)


@settings(max_examples=100, derandomize=True)
@given(SMALL, SMALL, SMALL, SMALL, SMALL)
def test_the_series_is_found_again_and_the_card_leads_where_it_says(a, b, c, d, e):
    compass = tuple(float(x) for x in range(10, 370, 30))
    found = coefficients(swing(compass, series(compass, a, b, c, d, e)), compass)
    assert (found.a_deg, found.b_deg, found.c_deg, found.d_deg, found.e_deg) == pytest.approx((a, b, c, d, e), abs=1e-9)
    wanted = np.arange(0.0, 360.0, 15.0)
    steered = to_steer(wanted, found)
    assert np.max(np.abs(turned(steered + found.deviation_deg(steered) - wanted))) < 0.01
