"""NACA TR-640, full-scale propeller 5868-9: blade elements against points read off a public digitisation."""

import csv
from pathlib import Path

import numpy as np
import pytest

from ownship.physics.atmosphere import speed_of_sound_m_s
from ownship.physics.propeller import (
    HUB,
    blade_element,
    build_surrogate,
    calibrated,
    coefficients,
    pitch_angle_rad,
    turned_blade_angle_rad,
)

DIAMETER_M, BUILT = 3.048, np.radians(15.0)
SOUND = float(speed_of_sound_m_s(288.15))


def rows(blades, angle):
    lines = (Path(__file__).parent / "naca_tr640.csv").read_text().splitlines()
    table = [r for r in csv.reader(lines) if r and r[0].isdigit()]
    chosen = [r for r in table if int(r[0]) == blades and int(r[1]) == angle]
    rpm = float(chosen[0][2] or 800)
    j, ct, cp = (np.array([float(r[k]) for r in chosen]) for k in (3, 4, 5))
    return j, ct, cp, np.pi * rpm / 60 * DIAMETER_M / SOUND


def model(blades, angle, twist_deg=0.0):
    j, ct, cp, mach = rows(blades, angle)
    theta = turned_blade_angle_rad(np.full_like(j, np.radians(angle + twist_deg)), BUILT)
    return (j, ct, cp, *blade_element(j, theta, np.full_like(j, mach), blades))


def rms(x):
    return float(np.sqrt(np.mean(np.square(x))))


@pytest.mark.parametrize("angle", [15, 20, 25])
def test_three_blades_within_three_per_cent_and_two_points(angle):
    j, ct, cp, ct_model, cp_model = model(3, angle)
    assert rms(ct_model - ct) <= 0.03 * ct.max()
    assert rms(cp_model - cp) <= 0.03 * cp.max()
    pulling = ct > 0.03
    assert rms((j * ct_model / cp_model - j * ct / cp)[pulling]) <= 0.02


def calibrate(blades, angle):
    """kCT, kCP, kJ and a turn of the blades by least squares of CT, CP and efficiency on one angle (J > 0.15)."""
    j, ct, cp, _ = rows(blades, angle)
    used = j > 0.15
    best = None
    for twist in np.linspace(-1.5, 1.5, 31):
        _, _, _, ct_model, cp_model = model(blades, angle, twist)
        for k in np.linspace(0.85, 1.15, 31):
            parts = np.vstack([np.column_stack([x * scale, x * (j - 0.55) * scale])[used]
                               for x, scale in ((cp_model, 1 / cp.max()), (k * ct_model, 1 / ct.max()))])
            wanted = np.concatenate([(cp / cp.max())[used], (ct / ct.max())[used]])
            solution = np.linalg.lstsq(parts, wanted, rcond=None)[0]
            pulling = used & (ct > 0.03)
            efficiency = (j * k * ct_model / cp_model - j * ct / cp)[pulling]
            cost = rms(np.concatenate([parts @ solution - wanted, efficiency]))
            if best is None or cost < best[0]:
                best = (cost, twist, *solution, k)
    return best[1:]


def calibrated_rows(blades, angle, parameters):
    twist, a, b, k = parameters
    j, ct, cp, ct_model, cp_model = model(blades, angle, twist)
    tilt = a + b * (j - 0.55)
    return j, ct, cp, k * tilt * ct_model, tilt * cp_model


@pytest.mark.parametrize("angle", [15, 25])
def test_calibrated_at_20_degrees_predicts_15_and_25(angle):
    _, ct, cp, ct_model, cp_model = calibrated_rows(3, angle, calibrate(3, 20))
    assert rms(ct_model - ct) <= 0.04 * ct.max()
    assert rms(cp_model - cp) <= 0.04 * cp.max()


def test_two_blades_after_calibration_on_themselves():
    j, ct, cp, ct_model, cp_model = calibrated_rows(2, 25, calibrate(2, 25))
    used = j > 0.15
    assert rms((ct_model - ct)[used]) <= 0.03 * ct.max()
    assert rms((cp_model - cp)[used]) <= 0.03 * cp.max()
    pulling = used & (ct > 0.03)
    assert rms((j * ct_model / cp_model - j * ct / cp)[pulling]) <= 0.03


def test_surrogate_is_the_blade_element_theory_to_3e_4():
    beta = pitch_angle_rad(57, 75)
    surrogate = build_surrogate(beta, 2)
    assert max(surrogate.rms) <= 3e-4
    one = np.ones(1)
    law = calibrated(surrogate, 1.905, np.array([1.5]), one, one, 0 * one)
    from ownship.physics.propeller import constant_pitch_angle_rad

    j = np.array([0.1, 0.5, 0.9])[:, None]
    n = 40.0
    ct, cp = coefficients(law, j * n * 1.905, n, SOUND)
    exact = blade_element(j[:, 0], constant_pitch_angle_rad(np.full(3, beta + np.radians(1.5))),
                          np.full(3, np.pi * n * 1.905 / SOUND), 2)
    assert np.abs(ct[:, 0] - exact[0]).max() < 6e-4
    assert np.abs(cp[:, 0] - exact[1]).max() < 6e-4


def test_hub_is_a_fifth_of_the_radius():
    assert HUB == 0.20
