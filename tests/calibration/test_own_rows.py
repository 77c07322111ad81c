"""The owner's rows carry their surface, slope, tachometer and glide into the calibration (mechanics; invented aeroplanes)."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from owners import Owner, owner, surrogate

from ownship.calibration.estimate import Calibration, draws_of, fit, middle, model_of
from ownship.calibration.measurements import predict, row_sd
from ownship.errors import BadInput
from ownship.performance.model import Model, parameter_names
from ownship.performance.rows import Rows, read_rows
from ownship.physics.propeller import Surrogate

HEADER = "origin,kind,pressure_altitude_ft,oat_c,weight_lb,rpm,climb_kias,surface,slope_pct,tachometer,propeller,value\n"


def rows_of(*lines: str) -> Rows:
    return read_rows(HEADER + "\n".join(lines), "own.csv", need_value=False)


@cache
def world() -> tuple[Owner, Surrogate, Calibration]:
    one = owner(0)
    made = surrogate(one.airframe)
    return one, made, fit(one.airframe, made, one.book, "book")


def said(calibration: Calibration, rows: Rows) -> np.ndarray:
    one, made, _ = world()
    return predict(Model(one.airframe, made, middle(calibration)), rows)[:, 0]


def run(kind: str, surface: str = "", slope: str = "") -> str:
    return f"own,{kind},1000,15,2200,,,{surface},{slope},,,"


@pytest.mark.parametrize("kind", ["takeoff_roll_ft", "takeoff_50ft_ft", "landing_roll_ft", "landing_50ft_ft"])
def test_soft_or_wet_ground_and_slopes_count(kind: str) -> None:
    takes_off = kind.startswith("takeoff")
    level, paved, soft, helped, hindered = said(world()[2], rows_of(
        run(kind), run(kind, "paved"), run(kind, "grass wet"), run(kind, "", "-2" if takes_off else "2"),
        run(kind, "", "2" if takes_off else "-2")))
    assert level == paved
    assert soft > 1.04 * level
    assert helped < level < hindered


def test_a_take_off_measured_on_grass_uphill_says_the_same_as_on_level_pavement() -> None:
    one, made, book = world()
    index = parameter_names().index("kG")
    longer = book.mean + np.eye(book.mean.size)[index]  # one prior sd worse in the roll
    asked = rows_of(run("takeoff_roll_ft"), run("takeoff_50ft_ft"))
    found = []
    for surface, slope in (("", ""), ("grass dry", "2")):
        own = rows_of(run("takeoff_roll_ft", surface, slope), run("takeoff_50ft_ft", surface, slope))
        own = replace(own, value=predict(model_of(one.airframe, made, longer), own)[:, 0])
        found.append(said(fit(one.airframe, made, own, "own", book=book), asked))
    assert found[1] == pytest.approx(found[0], rel=0.015)
    assert (found[0] > said(book, asked)).all()


def test_a_surface_no_one_knows_is_refused_by_line() -> None:
    with pytest.raises(BadInput, match="line 2, surface: 'lawn' is not one of"):
        rows_of(run("takeoff_roll_ft", "lawn"))


def test_a_panel_that_shows_too_little_is_learned_from_its_check() -> None:
    """The panel shows 3 % less than the engine turns: the same level run at a panel rpm, with and without the check."""
    one, made, book = world()
    at = parameter_names().index("tach")
    off = book.mean.copy()
    off[at] = np.log(1.03) / 0.02
    own = rows_of(*(f"own,cruise_tas_kt,5000,5,2200,{rpm},,,,,," for rpm in (2250, 2450)), "own,static_rpm,0,15,2200,,,,,panel,,",
                  "own,tachometer_pct,0,15,2200,,,,,,,")
    own = replace(own, value=predict(model_of(one.airframe, made, off), own)[:, 0])
    assert own.value[-1] == pytest.approx(103.0)
    learned = fit(one.airframe, made, own, "own", book=book)
    assert learned.natural_mean()["tach"] == pytest.approx(1.03, abs=0.006)
    assert np.sqrt(learned.covariance[at, at]) * 0.02 < 0.006
    without = fit(one.airframe, made, own.where(own.kind != "tachometer_pct"), "own", book=book)
    assert np.sqrt(without.covariance[at, at]) > 1.5 * np.sqrt(learned.covariance[at, at])
    panel, optical = said(learned, rows_of("own,static_rpm,0,15,2200,,,,,panel,,", "own,static_rpm,0,15,2200,,,,,optical,,"))
    assert optical / panel == pytest.approx(learned.natural_mean()["tach"])


def test_a_book_calibration_knows_no_tachometer() -> None:
    book = world()[2]
    assert book.natural_mean()["tach"] == pytest.approx(1.0, abs=1e-6)


def test_a_steeper_glide_means_more_drag() -> None:
    one, made, book = world()
    def row(propeller: str) -> Rows:
        return rows_of(f"own,glide_sink_fpm,4000,7,2200,,75,,,,{propeller},")
    wind, stopped = (said(book, row(p))[0] for p in ("windmilling", "stopped"))
    assert stopped < wind
    worse = fit(one.airframe, made, replace(row("windmilling"), value=np.array([1.15 * wind])), "own", book=book)
    assert worse.natural_mean()["CD0"] > book.natural_mean()["CD0"]
    with pytest.raises(BadInput, match="needs its indicated airspeed"):
        rows_of("own,glide_sink_fpm,4000,7,2200,,,,,,,")


def test_sixty_equal_climbs_claim_no_more_than_ten() -> None:
    """The same climb timed sixty times shares its air, instruments and pilot: the band is that of ten."""
    one, made, book = world()
    def told(count: int) -> tuple[float, float]:
        own = rows_of(*["own,rate_of_climb_fpm,3000,9,2200,,,,,,,"] * count)
        own = replace(own, value=np.full(count, said(book, own)[0] + 60))
        found = fit(one.airframe, made, own, "own", book=book, resample=False)
        draws = predict(Model(one.airframe, made, draws_of(found, 128)), own.where(np.arange(count) == 0))[0]
        return float(np.mean(draws)), float(np.std(draws))
    ten, sixty = told(10), told(60)
    assert sixty == pytest.approx(ten, rel=0.02)
    assert np.array_equal(row_sd(rows_of(*["own,rate_of_climb_fpm,3000,9,2200,,,,,,,700"] * 9)),
                          9 * [float(np.hypot(15, 40))])


def test_a_blank_speed_gives_way_to_the_one_that_was_flown() -> None:
    """No one slows down between lift-off and 50 ft: lifting off above the record's 50-ft speed, 50 ft is passed no slower."""
    one, made, book = world()
    model = Model(one.airframe, made, middle(book))
    def over(first: object, second: object) -> float:
        head = "kind,pressure_altitude_ft,oat_c,weight_lb,lift_off_kias,at_50ft_kias,value\n"
        return float(predict(model, read_rows(f"{head}takeoff_50ft_ft,0,15,2200,{first},{second},", "r.csv", need_value=False))[0, 0])
    assert over(80, "") == pytest.approx(over(80, 80))
    assert over("", 48) == pytest.approx(over(48, 48))
