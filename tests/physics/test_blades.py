"""Blade elements and their polynomials: static thrust, shapes, calibration numbers, refusals."""

import numpy as np
import pytest

from ownship.errors import OutOfRange
from ownship.physics.propeller import (
    MAX_J,
    blade,
    blade_element,
    build_surrogate,
    calibrated,
    coefficients,
    constant_pitch_angle_rad,
    pitch_angle_rad,
    turned_blade_angle_rad,
)

BETA, DIAMETER, SOUND = pitch_angle_rad(1.448, 1.905), 1.905, 340.3
SURROGATE = build_surrogate(BETA, 2)
ONE, NIL = np.ones(1), np.zeros(1)
PLAIN = calibrated(SURROGATE, DIAMETER, NIL, ONE, ONE, NIL)
N_AT_MACH_065 = 0.65 * SOUND / (np.pi * DIAMETER)


def exact(j, twist_deg=0.0, mach=0.65, blades=2):
    angle = constant_pitch_angle_rad(np.full(np.shape(j), BETA + np.radians(twist_deg)))
    return blade_element(j, angle, np.full(np.shape(j), mach), blades)


def test_quadrature_covers_the_blade():
    assert blade().weight_1.sum() == pytest.approx(0.795)
    assert blade().radius_1[0] > 0.20 and blade().radius_1[-1] < 0.995


def test_pitch_angle_and_constant_pitch_are_one_helix():
    angles = constant_pitch_angle_rad(BETA)
    assert 2 * np.pi * blade().radius_1 * DIAMETER / 2 * np.tan(angles) == pytest.approx(1.448)


def test_a_turned_blade_is_the_built_one_plus_the_turn():
    built = np.radians(15.0)
    turned = turned_blade_angle_rad(np.array([built, built + 0.1]), built)
    assert turned[0] == pytest.approx(constant_pitch_angle_rad(built))
    assert turned[1] - turned[0] == pytest.approx(0.1)


def test_static_propeller_pulls_and_a_fast_one_brakes():
    ct, cp = exact(np.array([0.0, 0.4, 0.8, 1.2]))
    assert 0.07 < ct[0] < 0.13 and 0.03 < cp[0] < 0.08
    assert np.all(np.diff(ct) < 0) and ct[-1] < 0
    efficiency = 0.4 * ct[1] / cp[1], 0.8 * ct[2] / cp[2]
    assert all(0.5 < e < 0.9 for e in efficiency)


def test_momentum_alone_would_need_less_power():
    """Ideal static power of a disc: CP = CT^1.5 sqrt(2/pi); a real propeller needs more (momentum theory)."""
    ct, cp = exact(np.array([0.0]))
    ideal = ct[0] ** 1.5 * np.sqrt(2 / np.pi)
    assert 0.45 < ideal / cp[0] < 0.95


def test_coarser_pitch_absorbs_more_and_a_third_blade_too():
    j = np.array([0.3, 0.5, 0.7])
    fine, coarse, three = exact(j), exact(j, 2.0), exact(j, blades=3)
    assert np.all(coarse[1] > fine[1]) and np.all(three[1] > fine[1]) and np.all(three[0] > fine[0])


@pytest.mark.parametrize("twist", [-4.0, -1.3, 0.0, 2.7, 4.0])
def test_polynomial_is_the_blade_element_theory_over_its_whole_range(twist):
    law = calibrated(SURROGATE, DIAMETER, np.array([twist]), ONE, ONE, NIL)
    for mach in (0.5, 0.65, 0.8):
        j = np.linspace(0.0, MAX_J, 26)
        n = mach * SOUND / (np.pi * DIAMETER)
        ct, cp = coefficients(law, (j * n * DIAMETER)[:, None], n, SOUND)
        true_ct, true_cp = exact(j, twist, mach)
        assert np.abs(ct[:, 0] - true_ct).max() < 2e-3
        assert np.abs(cp[:, 0] - true_cp).max() < 2e-3
    assert max(SURROGATE.rms) < 3e-4


def test_calibration_numbers_do_what_they_say():
    v, n = np.array([[0.55 * 40 * DIAMETER], [0.75 * 40 * DIAMETER]]), 40.0
    base = coefficients(PLAIN, v, n, SOUND)
    moved = coefficients(calibrated(SURROGATE, DIAMETER, NIL, 0.94 * ONE, 1.04 * ONE, 0.10 * ONE), v, n, SOUND)
    tilt = 1 + 0.10 * np.array([0.0, 0.20])
    assert (moved[1] / base[1])[:, 0] == pytest.approx(1.04 * tilt)
    assert (moved[0] / base[0])[:, 0] == pytest.approx(0.94 * 1.04 * tilt)


def test_tailwind_at_brake_release_counts_as_standing():
    still, back = (coefficients(PLAIN, v, 40.0, SOUND) for v in (0.0, -3.0))
    assert np.array_equal(still[0], back[0]) and np.array_equal(still[1], back[1])


@pytest.mark.parametrize("twist", [-4.01, 4.01])
def test_beyond_four_degrees_it_refuses(twist):
    with pytest.raises(OutOfRange, match="degrees"):
        calibrated(SURROGATE, DIAMETER, np.array([0.0, twist]), np.ones(2), np.ones(2), np.zeros(2))


def test_the_same_pitch_gives_the_same_polynomial_to_the_last_digit():
    again = build_surrogate(BETA, 2)
    assert np.array_equal(again.ct, SURROGATE.ct) and np.array_equal(again.cp, SURROGATE.cp)
