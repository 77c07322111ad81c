"""Other people's distance factors and wind notes, through the whole chain of the rule of distances.

The aeroplane is invented; what is checked is which number of which source ends up in the chain. Rows TF-01..03 and
TF-07 (weight, height, temperature, tailwind of the leaflet) are never applied by us: the table and physics hold them.
The model's own effect rules PF-14..17 stand in test_effect_rules.py.
"""

import numpy as np
import pytest

from ownship.aeroplane.description import BookNote
from ownship.flight.distances import Calibrations, Ground, judge
from ownship.flight.request import Factors
from ownship.performance import book
from ownship.performance.model import Airframe, Draws, Model, natural, parameter_names
from ownship.performance.rows import read_rows
from ownship.physics.atmosphere import Air
from ownship.physics.wind import components
from ownship.questions.calibrating import surrogate_of
from ownship.units import from_si, to_si

KT = float(to_si(1, "kt"))
AIRFRAME = Airframe(15.0, 9.8, False, 119312.0, 45.0, 45.0, 2, 1.88, 1.473, 1066.0, 52 * KT, 47 * KT, 719.0)
MODEL = Model(AIRFRAME, surrogate_of(AIRFRAME), Draws(natural(np.zeros((1, len(parameter_names()))))))


def rows(*lines):
    return book.from_rows(read_rows("\n".join(["kind,pressure_altitude_ft,oat_c,weight_lb,value", *lines]), "printed"))


def distance(operation, table, height_ft, celsius, weight_lb, *, notes=(), safety=1.0, **ground):
    air = Air(float(to_si(height_ft, "ft")), celsius + 273.15)
    given = {"slope_1": 0.0, "surface_kind": "paved", "surface_state": "dry", "headwind_m_s": 0.0, "tailwind_m_s": 0.0}
    where = Ground(air, np.zeros(1), **{**given, **ground})
    return judge(operation, where, np.array([float(to_si(weight_lb, "lb"))]), Calibrations(MODEL, None, table, notes),
                 Factors(take_off=safety, landing=safety))


# PF-02, FAA airman knowledge-test bank (public answers): total over 50 ft 1,195 ft at 5,000 ft, 41 F; -10 % per 4 kt.
LANDING = rows("landing_50ft_ft,5000,5,2300,1195", "landing_50ft_ft,7500,0,2300,1265", "landing_50ft_ft,5000,0,2300,1180",
               "landing_50ft_ft,7500,5,2300,1280")
LANDING_NOTE = (BookNote("landing", "headwind", 4 * KT, -0.10, "note"),)


def test_pf_02_eight_knots_of_headwind_by_the_note_alone_leave_956_ft():
    """The note by itself, in a gale of a chain where the model credits more: rows 1,195 x 0.80 = 956."""
    note = LANDING_NOTE[0]
    assert 1195 * (1 + note.change_1 * 8 * KT / note.per_m_s) == pytest.approx(956, abs=1)


def test_pf_02_the_chain_never_credits_more_than_the_printed_answer():
    found = distance("landing", LANDING, 5000, 5, 2300, notes=LANDING_NOTE, headwind_m_s=8 * KT)
    assert 956 - 1 <= from_si(found.median_m, "ft") < 1195


# PF-10, two-seat trainer handbook, widely reproduced: 1,000 ft, 10 C, 50 ft 1,465; -10 % per 9 kt head, +10 % per 2 kt tail.
TAKE_OFF = rows("takeoff_50ft_ft,1000,10,1600,1465", "takeoff_50ft_ft,2000,10,1600,1600", "takeoff_50ft_ft,1000,20,1600,1575",
                "takeoff_50ft_ft,2000,20,1600,1720")
TRAINER_NOTES = (BookNote("takeoff", "headwind", 9 * KT, -0.10, "note"), BookNote("takeoff", "tailwind", 2 * KT, 0.10, "note"))


def test_pf_10_a_printed_cell_comes_back_exactly():
    assert from_si(distance("take-off", TAKE_OFF, 1000, 10, 1600).median_m, "ft") == pytest.approx(1465, abs=0.01)


@pytest.mark.parametrize(("tail_kt", "least"), [(2, 1.10), (4, 1.20), (10, 1.50)])
def test_pf_10_tailwind_is_charged_at_least_by_the_note(tail_kt, least):
    found = distance("take-off", TAKE_OFF, 1000, 10, 1600, notes=TRAINER_NOTES, tailwind_m_s=tail_kt * KT)
    assert from_si(found.median_m, "ft") >= least * 1465 - 0.01


def test_pf_10_headwind_is_credited_at_most_by_the_note():
    found = distance("take-off", TAKE_OFF, 1000, 10, 1600, notes=TRAINER_NOTES, headwind_m_s=9 * KT)
    assert 0.90 * 1465 - 0.01 <= from_si(found.median_m, "ft") < 1465


def test_tf_12_without_a_note_half_of_a_headwind_and_150_per_cent_of_a_tailwind():
    """CAT.POL.A (read): at most 50 % of headwind, at least 150 % of tailwind: the model's own effect of those winds."""
    from ownship.performance.takeoff import take_off

    air = Air(float(to_si(1000, "ft")), 283.15)
    for reported, flown in ((10 * KT, 5 * KT), (-6 * KT, -9 * KT)):
        wind = {"headwind_m_s": max(reported, 0.0), "tailwind_m_s": max(-reported, 0.0)}
        found = distance("take-off", TAKE_OFF, 1000, 10, 1600, **wind)
        weight = float(to_si(1600, "lb"))
        a, b = (float(take_off(MODEL, air, weight, headwind_m_s=w).over_50ft_m[0, 0]) for w in (0.0, flown))
        assert from_si(found.median_m, "ft") / 1465 == pytest.approx(b / a, rel=1e-9)


# TF-04, TF-05, TF-10 and wet pavement (GM1 CAT.POL.A.335, read; UK CAA Safety Sense Leaflet 7c, from memory).
@pytest.mark.parametrize(("row", "operation", "kind", "state", "least"), [
    ("TF-04", "take-off", "grass", "dry", 1.20), ("TF-04", "landing", "grass", "dry", 1.15),
    ("TF-04, circular 1.20 second-hand", "landing", "grass", "dry", 1.20),
    ("TF-05", "take-off", "grass", "wet", 1.30), ("TF-05", "landing", "grass", "wet", 1.35),
    ("TF-10", "landing", "grass", "wet", 1.60), ("TF-10", "landing", "grass", "grass short wet", 1.60),
    ("wet paved", "landing", "paved", "wet", 1.15)])
def test_surface_factors_of_the_chain_are_never_under_the_published(row, operation, kind, state, least):
    table, height, celsius, weight, printed = ((TAKE_OFF, 1000, 10, 1600, 1465) if operation == "take-off"
                                               else (LANDING, 5000, 5, 2300, 1195))
    found = distance(operation, table, height, celsius, weight, surface_kind=kind, surface_state=state)
    assert from_si(found.median_m, "ft") / printed >= least - 1e-9, row


@pytest.mark.parametrize("state", ["soft", "snow"])
@pytest.mark.parametrize("kind", ["paved", "grass", "gravel"])
def test_tf_08_one_and_a_quarter_or_more_is_no_number(kind, state):
    assert distance("take-off", TAKE_OFF, 1000, 10, 1600, surface_kind=kind, surface_state=state).missing


def test_tf_09_the_safety_factors_unless_set():
    """SSL 7 from memory: 1.33 and 1.43."""
    assert (Factors().take_off, Factors().landing) == (1.33, 1.43)
    plain, safe = (distance("take-off", TAKE_OFF, 1000, 10, 1600, safety=f) for f in (1.0, 1.33))
    assert safe.covered_m / plain.covered_m == pytest.approx(1.33)


def test_tf_06_and_11_slope_by_physics_is_about_five_per_cent_per_per_cent():
    """Leaflet 7c: 2 % x 1.10, from memory; AMC2 CAT.POL.A.305: +5 % per 1 % up, read. Not applied: ours is the
    model's, at its full weight (a light aeroplane with this engine feels less: thrust over weight is larger)."""
    gross = rows("takeoff_50ft_ft,1000,10,2350,1465", "takeoff_50ft_ft,2000,10,2350,1600")
    up = distance("take-off", gross, 1000, 10, 2350, slope_1=0.02)
    down = distance("landing", LANDING, 5000, 5, 2300, slope_1=-0.02)
    assert from_si(up.median_m, "ft") / 1465 == pytest.approx(1.10, abs=0.05)
    assert from_si(down.median_m, "ft") / 1195 == pytest.approx(1.10, abs=0.07)


def test_pf_09_a_climb_table_is_subtracted_not_read_at_the_difference():
    """Training text: 2,000 ft -> 3 min; 5,500 ft -> 9 min: 6 min. Our climb integrates, so that pieces add up."""
    from ownship.performance.climb import climb

    h = [float(to_si(x, "ft")) for x in (0, 2000, 5500)]
    t = [288.15 - 0.0065 * x for x in h]
    def piece(i, j):
        return climb(MODEL, h[i], h[j], (t[i], t[j]), 1000.0)

    low, high, whole = piece(0, 1), piece(1, 2), piece(0, 2)
    for name in ("time_s", "fuel_kg", "distance_m"):
        a, b, both = (float(getattr(x, name)[0, 0]) for x in (low, high, whole))
        assert a + b == pytest.approx(both, rel=1e-5), name


def test_nv_03_greatest_wind_for_a_crosswind_limit():
    """FAA airman knowledge-test bank: 25 at 45 degrees is 35 kt; 12 at 30 degrees is 24 kt."""
    for limit, angle, wind in ((25, 45, 35), (12, 30, 24)):
        assert limit / float(components(0.0, float(angle), 1.0)[1]) == pytest.approx(wind, abs=0.5)
