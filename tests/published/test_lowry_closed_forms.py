"""Closed forms as an independent check of the model: Lowry's bootstrap approach (from memory) and his glide example.

Lowry writes the engine as M0 (full-throttle torque constant in rpm) and the propeller as a linear polar
CT/J2 = m CP/J2 + b, so that full-throttle thrust is E - F V^2 with two constants. Fed with the same aeroplane, our
blade-element model must come near his numbers without being fitted to them.
"""

import numpy as np
import pytest

from ownship.performance import climb, landing
from ownship.performance.model import Airframe, Draws, Model, natural, parameter_names
from ownship.physics.airspeed import cas_from_tas_m_s
from ownship.physics.atmosphere import standard_air
from ownship.physics.drag import DragLaw, best_glide_ratio_1, drag_n, glide_speed_m_s
from ownship.physics.engine import altitude_power_ratio_1
from ownship.units import GRAVITY_M_S2, from_si, to_si

W_LB, S_FT2, ASPECT, CD0, E = 2400.0, 174.0, 7.38, 0.037, 0.72


def test_mo_01_glide_example():
    """Inputs and formulas read (Lowry); outputs computed: TAS 76.2 kt, CAS 71.8, angle -5.38, drag 225 lb, L/D 10.6."""
    law = DragLaw(float(to_si(S_FT2, "ft2")), ASPECT, CD0, E, 1.0)
    air = standard_air(to_si(4000, "ft"))
    weight = to_si(W_LB, "lb") * GRAVITY_M_S2
    v = glide_speed_m_s(law, air.density_kg_m3, weight)
    assert from_si(v, "kt") == pytest.approx(76.2, abs=0.1)
    assert from_si(cas_from_tas_m_s(v, air), "kt") == pytest.approx(71.8, abs=0.1)
    ratio = best_glide_ratio_1(law)
    assert ratio == pytest.approx(10.6, abs=0.05)
    assert np.degrees(np.arctan(1 / ratio)) == pytest.approx(5.38, abs=0.01)
    lift = weight * np.cos(np.arctan(1 / ratio))
    drag_lb = from_si(drag_n(law, air.density_kg_m3, v, lift) / GRAVITY_M_S2, "lb")
    assert drag_lb == pytest.approx(225, abs=0.5)


@pytest.mark.parametrize(("altitude", "ratio"), [(5000, 0.843), (10000, 0.704)])
def test_mo_02_gagg_and_ferrar(altitude, ratio):
    """Textbook formula, from memory."""
    sigma = standard_air(to_si(altitude, "ft")).density_ratio_1
    assert altitude_power_ratio_1(sigma) == pytest.approx(ratio, abs=0.001)


def closed_form_rate_fpm(altitude_ft, cas_kt):
    """Lowry: E 531.8 lbf, F -5.237e-3, G 7.651e-3 (slug/ft units), H 1.669e6 at sea level; thrust (E phi) + F sigma V^2."""
    sigma = float(standard_air(to_si(altitude_ft, "ft")).density_ratio_1)
    phi = (sigma - 0.12) / 0.88
    v = cas_kt * 1.68781 / np.sqrt(sigma)
    thrust = 531.8 * phi + sigma * -5.237e-3 * v**2
    drag = sigma * 7.651e-3 * v**2 + 1.669e6 / (sigma * v**2)
    return (thrust - drag) * v / W_LB * 60


@pytest.mark.parametrize(("altitude", "vy", "rate"), [(0, 75.8, 700), (5000, 71.5, 474), (10000, 67.5, 258)])
def test_the_closed_form_gives_lowrys_own_numbers(altitude, vy, rate):
    """Computed from the recalled data plate (from memory)."""
    assert closed_form_rate_fpm(altitude, vy) == pytest.approx(rate, abs=8)


def lowry_aeroplane():
    """The data plate's aeroplane in our parameters: CD0, e and C are his; the propeller is ours at its prior."""
    stall = float(to_si(51, "kt"))
    airframe = Airframe(float(to_si(S_FT2, "ft2")), float(to_si(np.sqrt(ASPECT * S_FT2), "ft")), True, float(to_si(160, "hp")),
                        45.0, 45.0, 2, float(to_si(75, "in")), float(to_si(57, "in")), float(to_si(W_LB, "lb")), stall,
                        0.9 * stall, 719.0)
    from ownship.questions.calibrating import surrogate_of

    values = natural(np.zeros((1, len(parameter_names()))))
    for name, value in (("CD0", CD0), ("e", E), ("C", 0.136), ("tx", 0.7)):
        values[:, parameter_names().index(name)] = value
    return Model(airframe, surrogate_of(airframe), Draws(values))


@pytest.mark.parametrize("altitude", [0, 5000, 10000])
def test_our_climb_comes_near_the_closed_form_unfitted(altitude):
    model = lowry_aeroplane()
    air = standard_air(np.array([float(to_si(altitude, "ft"))]))
    best = climb.best_speeds(model, air, to_si(W_LB, "lb"))
    grid = np.linspace(55, 95, 401)
    closed = closed_form_rate_fpm(altitude, grid)
    assert from_si(best.rate_m_s[0, 0], "ft/min") == pytest.approx(closed.max(), abs=120)
    assert from_si(best.vy_m_s[0, 0], "kt") == pytest.approx(grid[closed.argmax()], abs=4)


def test_our_ceilings_come_near_the_closed_form_unfitted():
    """Service 13,770 and absolute 16,180 ft computed from the plate (from memory)."""
    service, absolute = (float(from_si(x[0], "ft")) for x in climb.ceilings_m(lowry_aeroplane(), float(to_si(W_LB, "lb"))))
    assert service == pytest.approx(13770, abs=2500)
    assert absolute - service == pytest.approx(16180 - 13770, abs=700)


def test_best_glide_of_the_plate_is_72_kcas():
    """Vbg 72.0 KCAS (from memory); ours without propeller drag, by the shared formula, with it slower."""
    model = lowry_aeroplane()
    windmilling = landing.glide(model, standard_air(np.zeros(1)), to_si(W_LB, "lb"))
    assert from_si(windmilling.cas_m_s[0, 0], "kt") == pytest.approx(72.0 * (0.037 / 0.047) ** 0.25, abs=0.6)
