"""The open handbook (from memory): fit on the CAL rows, predict the HELD ones; fit the specification page, predict all.

Thresholds are those found reachable by independent prototypes of the same equations.
"""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from ownship.aeroplane.reading import read_airframe
from ownship.calibration.estimate import draws_of, fit, middle
from ownship.calibration.measurements import predict
from ownship.performance.model import Model, airframe_of, priors
from ownship.performance.rows import read_rows
from ownship.questions.calibrating import surrogate_of

HERE = Path(__file__).parent / "handbook_b"


@cache
def handbook():
    record = read_airframe((HERE / "aeroplane.toml").read_text(), "handbook_b/aeroplane.toml")
    airframe = airframe_of(record)
    return airframe, surrogate_of(airframe), read_rows((HERE / "rows.csv").read_text(), "handbook_b/rows.csv")


@cache
def fitted(what):
    airframe, surrogate, rows = handbook()
    chosen = rows.texts["split"] == "CAL" if what == "CAL" else rows.texts["spec"] == "SPEC"
    held = rows.texts["split"] == "HELD" if what == "CAL" else rows.texts["spec"] != "SPEC"
    calibration = fit(airframe, surrogate, rows.where(chosen), "book")
    rest = rows.where(held)
    best = predict(Model(airframe, surrogate, middle(calibration)), rest)[:, 0]
    draws = predict(Model(airframe, surrogate, draws_of(calibration, 512)), rest, noise=True)
    return rest, best, draws


def errors(what, kind, relative):
    rows, best, _ = fitted(what)
    chosen = rows.kind == kind
    difference = best[chosen] - rows.value[chosen]
    return difference / rows.value[chosen] if relative else difference


def rms(x):
    return float(np.sqrt(np.mean(np.square(x))))


CAL = [("takeoff_roll_ft", True, .04, .10), ("takeoff_50ft_ft", True, .05, .12), ("rate_of_climb_fpm", False, 20, 45),
       ("cruise_tas_kt", False, 1.5, 4), ("power_pct", False, 2.5, 6), ("fuel_flow_usgph", True, .025, .06),
       ("landing_roll_ft", True, .04, .08), ("landing_50ft_ft", True, .04, .08), ("max_level_tas_kt", False, 5, 5),
       ("service_ceiling_ft", False, 1000, 1000)]
SPEC = [("takeoff_roll_ft", True, .08), ("takeoff_50ft_ft", True, .08), ("rate_of_climb_fpm", False, 30),
        ("cruise_tas_kt", False, 4.5), ("fuel_flow_usgph", True, .05), ("landing_roll_ft", True, .05),
        ("landing_50ft_ft", True, .05)]


@pytest.mark.parametrize(("kind", "relative", "most", "worst"), CAL)
def test_fit_on_cal_predicts_held(kind, relative, most, worst):
    found = errors("CAL", kind, relative)
    assert rms(found) <= most
    assert np.abs(found).max() <= worst


@pytest.mark.parametrize(("kind", "relative", "most"), SPEC)
def test_fit_on_the_specification_page_predicts_the_rest(kind, relative, most):
    assert rms(errors("SPEC", kind, relative)) <= most


def test_intervals_of_the_cal_fit_cover_and_are_not_too_wide():
    rows, _, draws = fitted("CAL")
    low, high = np.nanpercentile(draws, [5, 95], axis=1)
    covered = (rows.value >= low) & (rows.value <= high)
    assert 0.85 <= covered.mean() <= 0.99
    for kind in set(rows.kind.tolist()):
        assert covered[rows.kind == kind].mean() >= 0.75, kind
    half = (high - low) / 2
    for kinds, most, relative in ((("takeoff_roll_ft", "takeoff_50ft_ft", "landing_roll_ft", "landing_50ft_ft"), .10, True),
                                  (("rate_of_climb_fpm",), 45, False), (("cruise_tas_kt",), 3, False),
                                  (("fuel_flow_usgph",), .06, True), (("service_ceiling_ft",), 1500, False)):
        for kind in kinds:
            chosen = rows.kind == kind
            width = half[chosen] / rows.value[chosen] if relative else half[chosen]
            assert np.median(width) <= most, kind


def test_a_row_that_cannot_be_flown_does_not_kill_the_fit():
    airframe, surrogate, rows = handbook()
    cal = rows.where(rows.texts["split"] == "CAL")
    absurd = np.where(np.arange(len(cal)) == 3, 25000 * 0.3048, cal.pressure_altitude_m)
    calibration = fit(airframe, surrogate, replace(cal, pressure_altitude_m=absurd), "book")
    assert np.isfinite(calibration.mean).all() and np.isfinite(calibration.covariance).all()


def test_no_rows_at_all_is_the_prior_and_says_so():
    airframe, surrogate, _ = handbook()
    calibration = fit(airframe, surrogate, None, "book")
    assert calibration.label == "prior"
    held = np.array([p.own_only for p in priors().parameters])
    assert np.array_equal(np.diag(calibration.covariance) > 0.5, ~held)


def test_the_same_rows_and_seed_give_the_same_draws_to_the_last_digit():
    airframe, surrogate, rows = handbook()
    spec = rows.where(rows.texts["spec"] == "SPEC")
    first, second = (draws_of(fit(airframe, surrogate, spec, "book", 3), 64, 1) for _ in range(2))
    assert np.array_equal(first.values, second.values)
    assert all(np.array_equal(first.noise[k], second.noise[k]) for k in first.noise)
