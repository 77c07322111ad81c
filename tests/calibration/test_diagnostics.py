"""A calibration in words: the typo that is named, the distance from the book, the measurement that would help most."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from ownship.calibration import diagnostics
from ownship.calibration.estimate import draws_of, fit
from ownship.calibration.measurements import predict
from ownship.performance.model import Model, airframe_of, parameter_names
from ownship.performance.rows import joined, read_rows
from ownship.questions.calibrating import record_of, surrogate_of

HERE = Path(__file__).parents[1] / "published" / "handbook_b"


@cache
def parts():
    record, _, _ = record_of(str(HERE / "aeroplane.toml"))
    airframe = airframe_of(record)
    rows = read_rows((HERE / "rows.csv").read_text(), "rows.csv")
    return airframe, surrogate_of(airframe), rows, rows.where(rows.texts["split"] == "CAL")


@cache
def fitted():
    airframe, surrogate, _, cal = parts()
    return fit(airframe, surrogate, cal, "book")


def own(climb_fpm=430.0):
    text = ("kind,pressure_altitude_ft,oat_c,weight_lb,rpm,climb_kias,value\n"
            f"rate_of_climb_fpm,2000,11,2400,,75,{climb_fpm + 70}\nrate_of_climb_fpm,3000,9,2400,,74,{climb_fpm}\n"
            f"rate_of_climb_fpm,5000,5,2400,,73,{climb_fpm - 95}\nstatic_rpm,0,15,2400,,,2300\n"
            "cruise_tas_kt,4000,7,2400,2400,,103\ncruise_tas_kt,6000,3,2400,2500,,107\ncruise_tas_kt,4000,7,2400,2300,,98\n")
    rows = read_rows(text, "own.csv")
    return replace(rows, texts=rows.texts | {"origin": np.full(len(rows), "own")})


def test_a_typo_in_one_row_moves_no_prediction_beyond_its_band_and_is_named():
    """80 for 800: the robust second pass leaves it alone, and it stands first among the rows that disagree."""
    airframe, surrogate, rows, cal = parts()
    value = cal.value.copy()
    wrong = int(np.nonzero((cal.kind == "takeoff_roll_ft") & (cal.value > 700) & (cal.value < 900))[0][0])
    value[wrong] /= 10
    spoiled = replace(cal, value=value)
    calibration = fit(airframe, surrogate, spoiled, "book")
    held = rows.where(rows.texts["split"] == "HELD")
    good, bad = (Model(airframe, surrogate, draws_of(c, 256)) for c in (fitted(), calibration))
    low, high = np.nanpercentile(predict(good, held, noise=True), [5, 95], axis=1)
    moved = np.nanmedian(predict(bad, held, noise=True), axis=1)
    assert np.all((moved >= low) & (moved <= high))
    first = diagnostics.worst(airframe, surrogate, spoiled, calibration)[0]
    assert first.line == spoiled.line[wrong] and "typing error" in first.words and abs(first.sigma) > 10


def test_a_weaker_aeroplane_is_told_so_figure_by_figure():
    airframe, surrogate, _, _ = parts()
    mine = fit(airframe, surrogate, own(), "own", book=fitted())
    book, own_model = (Model(airframe, surrogate, draws_of(c, 256)) for c in (fitted(), mine))
    lines = diagnostics.distance_from_book(book, own_model)
    climb = next(x for x in lines if x.startswith("rate of climb"))
    assert climb.split(":")[1].strip().startswith("-") and "no difference" not in climb
    assert len(lines) == 6


def test_a_tachometer_that_is_off_makes_no_aeroplane_slower_than_its_book():
    """The panel shows 3 % too much: true figures stay the book's; only what the panel shows moves."""
    airframe, surrogate, _, _ = parts()
    values = draws_of(fitted(), 64)
    off = values.values.copy()
    off[:, parameter_names().index("tach")] *= 0.97
    book, wrong = Model(airframe, surrogate, values), Model(airframe, surrogate, replace(values, values=off))
    lines = diagnostics.distance_from_book(book, wrong)
    assert any(x.startswith("static rpm (true)") for x in lines) and any(x.startswith("speed at 2,450 rpm (true)") for x in lines)
    assert all("no difference" in x and "+0.0 " in x for x in lines)
    static = next(i for i, f in enumerate(diagnostics.key_figures(book)) if f.name.startswith("static rpm (true)"))
    assert diagnostics.key_figures(wrong)[static].value == pytest.approx(diagnostics.key_figures(book)[static].value)


def test_own_measurements_narrow_the_bands_they_measure():
    airframe, surrogate, _, cal = parts()
    spec = cal.where(cal.texts["spec"] == "SPEC")
    before = fit(airframe, surrogate, spec, "book")
    rows = own(470.0)
    after, few = (fit(airframe, surrogate, r, "own", book=before) for r in (rows, rows.where(rows.kind == "static_rpm")))
    wide, narrow = (diagnostics.key_figures(Model(airframe, surrogate, draws_of(c, 256))) for c in (few, after))
    assert narrow[1].high - narrow[1].low < wide[1].high - wide[1].low


def test_what_to_measure_next_is_ordered_and_never_widens():
    airframe, surrogate, _, cal = parts()
    spec = fit(airframe, surrogate, cal.where(cal.texts["spec"] == "SPEC"), "book")
    found = diagnostics.measure_next(airframe, surrogate, spec)
    shares = [n.narrowing_1 for n in found]
    assert shares == sorted(shares, reverse=True) and all(s >= -1e-9 for s in shares) and shares[0] > 0.01
    prior = diagnostics.measure_next(airframe, surrogate, fit(airframe, surrogate, None, "book"))
    assert prior[0].narrowing_1 > found[0].narrowing_1


def test_leaving_a_kind_out_widens_what_it_taught():
    airframe, surrogate, _, cal = parts()
    without = diagnostics.without_kind(airframe, surrogate, cal, "rate_of_climb_fpm")
    full, less = (diagnostics.key_figures(Model(airframe, surrogate, draws_of(c, 256)))[0] for c in (fitted(), without))
    assert less.high - less.low > full.high - full.low


def test_effective_sample_size_is_reported_or_laplace_kept():
    assert fitted().effective is None or 200 <= fitted().effective <= 2048
    airframe, surrogate, _, cal = parts()
    many = joined([cal, cal])
    assert fit(airframe, surrogate, many, "book").effective is None


@pytest.mark.parametrize("kind", ["static_rpm", "landing_roll_ft"])
def test_every_kind_has_words(kind):
    assert diagnostics.KIND_WORDS[kind]
