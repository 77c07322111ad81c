"""Equilibria: every root is one, the upper one in cruise, NaN where there is none, and twelve steps are enough."""

import numpy as np
import pytest

from ownship.physics import equilibrium
from ownship.physics.atmosphere import SEA_LEVEL_DENSITY_KG_M3, Air
from ownship.physics.drag import DragLaw, drag_n, minimum_drag_speed_m_s
from ownship.physics.engine import EngineLaw, air_factor_1, full_throttle_power_w
from ownship.physics.equilibrium import (
    absorbed_power_w,
    full_throttle_rev_s,
    level_speed_m_s,
    rev_for_thrust_s,
    root,
    thrust_n,
    top_speed_m_s,
)
from ownship.physics.propeller import build_surrogate, calibrated, pitch_angle_rad

RNG = np.random.default_rng(11)
DRAWS = 16
ENGINE = EngineLaw(119312.0, 45.0, RNG.normal(1.0, 0.03, DRAWS), RNG.normal(0.3, 0.1, DRAWS))
PROPELLER = calibrated(build_surrogate(pitch_angle_rad(1.448, 1.905), 2), 1.905, RNG.normal(0, 1, DRAWS),
                       RNG.normal(0.94, 0.03, DRAWS), RNG.normal(1.04, 0.08, DRAWS), RNG.normal(0.05, 0.1, DRAWS))
DRAG = DragLaw(16.2, 7.4, RNG.normal(0.034, 0.003, DRAWS), RNG.normal(0.71, 0.05, DRAWS), 0.92)
AIR = Air(np.linspace(-300, 4500, 12)[:, None], np.linspace(310, 250, 12)[:, None])
DENSITY, SOUND, FACTOR = AIR.density_kg_m3, AIR.speed_of_sound_m_s, air_factor_1(ENGINE, AIR)
WEIGHT = 10000.0


def test_root_of_known_functions():
    found = root(lambda x: np.array([2.0, 3.0]) - x**3, np.zeros(2), np.full(2, 5.0), 30)
    assert found == pytest.approx(np.cbrt([2.0, 3.0]), rel=1e-9)


def test_no_sign_change_is_no_root():
    found = root(lambda x: np.array([1.0, -1.0, np.nan]) * (x + 1), np.zeros(3), np.ones(3))
    assert np.isnan(found).all()


@pytest.mark.parametrize("speed", [0.0, 25.0, 50.0])
def test_full_throttle_gives_what_the_propeller_takes(speed):
    n = full_throttle_rev_s(ENGINE, PROPELLER, FACTOR, DENSITY, SOUND, speed)
    assert n.shape == (12, DRAWS) and np.isfinite(n).all()
    given, taken = full_throttle_power_w(ENGINE, n, FACTOR), absorbed_power_w(PROPELLER, speed, n, DENSITY, SOUND)
    assert taken == pytest.approx(given, rel=1e-6)


def test_twelve_steps_are_enough_to_1e_5_rpm(monkeypatch):
    few = full_throttle_rev_s(ENGINE, PROPELLER, FACTOR, DENSITY, SOUND, 30.0)
    monkeypatch.setattr(equilibrium.root, "__defaults__", (60,))
    many = full_throttle_rev_s(ENGINE, PROPELLER, FACTOR, DENSITY, SOUND, 30.0)
    assert np.abs(few - many).max() * 60 < 1e-5


def test_propeller_speed_is_higher_in_flight_than_standing():
    static, flying = (full_throttle_rev_s(ENGINE, PROPELLER, FACTOR, DENSITY, SOUND, v) for v in (0.0, 55.0))
    assert np.all(static < flying)


def test_beyond_the_advance_ratio_of_the_surrogate_there_is_no_answer():
    """A very coarse propeller on a weak engine, dragged fast: only J above 1.25, where the polynomial knows nothing."""
    one, nil = np.ones(1), np.zeros(1)
    coarse = calibrated(build_surrogate(pitch_angle_rad(3.2, 1.905), 2), 1.905, nil, one, one, nil)
    weak = EngineLaw(119312.0, 45.0)
    n = full_throttle_rev_s(weak, coarse, 0.7, 1.0, 340.0, np.array([[20.0], [90.0]]))
    assert np.isfinite(n[0]).all() and np.isnan(n[1]).all()


def test_level_speed_balances_and_is_the_upper_one():
    v = level_speed_m_s(PROPELLER, DRAG, DENSITY, SOUND, WEIGHT, 40.0)
    there = np.isfinite(v)
    assert there.mean() > 0.8
    gap = thrust_n(PROPELLER, v, 40.0, DENSITY, SOUND) - drag_n(DRAG, DENSITY, v, WEIGHT)
    assert np.abs(gap[there]).max() < 1e-3
    faster = thrust_n(PROPELLER, v + 1, 40.0, DENSITY, SOUND) - drag_n(DRAG, DENSITY, v + 1, WEIGHT)
    assert np.all(faster[there] < 0)
    slowest = 0.95 * minimum_drag_speed_m_s(DRAG, DENSITY, WEIGHT)
    assert np.all(v[there] >= np.broadcast_to(slowest, v.shape)[there])


def test_too_slow_a_propeller_does_not_fly_level():
    assert np.isnan(level_speed_m_s(PROPELLER, DRAG, DENSITY, SOUND, WEIGHT, 24.0)).all()


def test_propeller_speed_for_a_thrust_gives_that_thrust():
    n = rev_for_thrust_s(PROPELLER, DENSITY, SOUND, 45.0, 700.0)
    assert thrust_n(PROPELLER, 45.0, n, DENSITY, SOUND) == pytest.approx(np.full(n.shape, 700.0), abs=0.05)
    assert np.isnan(rev_for_thrust_s(PROPELLER, DENSITY, SOUND, 45.0, 1e5)).all()
    assert np.isnan(rev_for_thrust_s(PROPELLER, DENSITY, SOUND, 45.0, -1e5)).all()


def test_top_speed_balances_thrust_drag_and_power():
    v = top_speed_m_s(ENGINE, PROPELLER, DRAG, FACTOR, DENSITY, SOUND, WEIGHT)
    n = full_throttle_rev_s(ENGINE, PROPELLER, FACTOR, DENSITY, SOUND, v)
    there = np.isfinite(v)
    assert there.mean() > 0.9
    gap = thrust_n(PROPELLER, v, n, DENSITY, SOUND) - drag_n(DRAG, DENSITY, v, WEIGHT)
    assert np.abs(gap[there]).max() < 0.01
    assert np.isnan(top_speed_m_s(ENGINE, PROPELLER, DRAG, FACTOR, DENSITY, SOUND, 6 * WEIGHT)).all()


def test_lowest_drag_is_at_the_speed_that_says_so():
    v = np.linspace(20, 70, 2001)[:, None]
    drags = drag_n(DRAG, SEA_LEVEL_DENSITY_KG_M3, v, WEIGHT)
    best = v[np.argmin(drags, axis=0), 0]
    assert minimum_drag_speed_m_s(DRAG, SEA_LEVEL_DENSITY_KG_M3, WEIGHT) == pytest.approx(best, abs=0.02)
