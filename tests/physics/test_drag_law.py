"""The drag polar: its parts, ground effect, best glide."""

import numpy as np
import pytest

from ownship.physics.drag import (
    GROUND_EFFECT_HIGH_WING,
    GROUND_EFFECT_LOW_WING,
    DragLaw,
    best_glide_ratio_1,
    drag_n,
    glide_speed_m_s,
    ground_effect_1,
    minimum_drag_speed_m_s,
)

LAW = DragLaw(16.0, 7.5, 0.034, 0.71, 0.92)
RHO, W = 1.225, 10000.0


def test_drag_is_the_sum_of_its_coefficients():
    q_area = 0.5 * RHO * 45.0**2 * 16.0
    lift_coefficient = W / q_area
    expected = q_area * (0.034 + 0.02 + 0.8 * lift_coefficient**2 / (np.pi * 0.71 * 7.5))
    assert float(drag_n(LAW, RHO, 45.0, W, configuration_1=0.02, ground_effect_1=0.8)) == pytest.approx(expected)


def test_induced_drag_is_half_at_the_least_drag():
    v = minimum_drag_speed_m_s(LAW, RHO, W)
    zero_lift = 0.5 * RHO * v**2 * 16.0 * 0.034
    assert float(drag_n(LAW, RHO, v, W)) == pytest.approx(2 * float(zero_lift))


def test_ground_effect_of_high_and_low_wings():
    """McCormick's formula, from memory: a wing at 2.3 m of a 10.9 m span about 0.92, at 1.2 m of 10.7 about 0.76."""
    assert ground_effect_1(2.3, 10.9) == pytest.approx(GROUND_EFFECT_HIGH_WING, abs=0.01)
    assert ground_effect_1(1.2, 10.7) == pytest.approx(GROUND_EFFECT_LOW_WING, abs=0.01)
    assert ground_effect_1(1000.0, 10.0) == pytest.approx(1.0, abs=1e-6)


def test_glide_ratio_is_weight_over_drag_in_the_glide():
    ratio = float(best_glide_ratio_1(LAW, 0.01))
    lift = W * np.cos(np.arctan(1 / ratio))
    v = glide_speed_m_s(LAW, RHO, W, 0.01)
    assert lift / float(drag_n(LAW, RHO, v, lift, configuration_1=0.01)) == pytest.approx(ratio)


def test_propeller_drag_shortens_and_slows_the_glide():
    assert best_glide_ratio_1(LAW, 0.01) < best_glide_ratio_1(LAW)
    assert glide_speed_m_s(LAW, RHO, W, 0.01) < glide_speed_m_s(LAW, RHO, W)
