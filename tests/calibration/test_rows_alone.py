"""What the model says of a row depends on that row alone; what is kept can be read back or is made again."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from ownship.calibration import estimate
from ownship.calibration.estimate import middle
from ownship.calibration.measurements import predict
from ownship.errors import UnreadableFile
from ownship.performance.model import Model, airframe_of, parameter_names
from ownship.performance.rows import read_rows
from ownship.questions import calibrating

PUBLISHED = Path(__file__).parents[1] / "published" / "handbook_b"
HEAD = "kind,pressure_altitude_ft,oat_c,weight_lb,lift_off_kias,at_50ft_kias,approach_kias,value\n"
BLANK = {"takeoff_roll_ft": ",,", "takeoff_50ft_ft": ",,", "landing_50ft_ft": ",,"}
GIVEN = {"takeoff_roll_ft": "51,56,", "takeoff_50ft_ft": "51,56,", "landing_50ft_ft": ",,61"}


@pytest.fixture
def home(tmp_path, monkeypatch):
    """A folder with the record and its specification page, and a cache of its own."""
    monkeypatch.setenv("OWNSHIP_CACHE", str(tmp_path / "cache"))
    shutil.copy(PUBLISHED / "aeroplane.toml", tmp_path)
    lines = (PUBLISHED / "rows.csv").read_text().splitlines()
    (tmp_path / "rows.csv").write_text("\n".join(x for x in lines if x.startswith("split,") or ",SPEC," in x) + "\n")
    return tmp_path


@pytest.fixture
def quick(monkeypatch):
    """Every fit answers at once with the priors: for what is kept and read back, not what is fitted."""
    real = estimate.fit
    monkeypatch.setattr(estimate, "fit", lambda airframe, surrogate, rows, label, *more: real(airframe, surrogate, None, label))


def fitted(home, **kw):
    return calibrating.calibrate(str(home / "aeroplane.toml"), **kw)


@pytest.mark.parametrize("kind", list(BLANK))
def test_a_light_row_without_speeds_reads_the_same_beside_a_row_with_them(home, kind):
    airframe = airframe_of(calibrating.record_of(str(home / "aeroplane.toml"))[0])
    model = Model(airframe, calibrating.surrogate_of(airframe), middle(fitted(home).book))
    light, heavy = f"{kind},0,15,1900,{BLANK[kind]},900\n", f"{kind},0,15,2400,{GIVEN[kind]},1300\n"
    alone = predict(model, read_rows(HEAD + light, "alone"))[0, 0]
    assert predict(model, read_rows(HEAD + light + heavy, "beside"))[0, 0] == pytest.approx(alone, rel=1e-9)


def test_rows_of_another_meaning_are_fitted_anew(home, quick):
    rows = home / "rows.csv"
    rows.write_text(rows.read_text() + "CAL,SPEC,takeoff_roll_ft,0,20.0,2400,,9,51.0,56.0,,,830\n")
    calm = fitted(home)
    record = home / "aeroplane.toml"
    record.write_text(record.read_text() + "wind_in_rows = true\n")
    assert fitted(home).digest != calm.digest
    for name, column in (("a.csv", "lift_off_kias"), ("b.csv", "at_50ft_kias")):
        (home / name).write_text(f"kind,pressure_altitude_ft,oat_c,weight_lb,{column},value\ntakeoff_50ft_ft,0,15,2400,60,1700\n")
    first, second = (fitted(home, own_path=str(home / name)) for name in ("a.csv", "b.csv"))
    assert first.digest != second.digest


@pytest.mark.parametrize("cut", [0, 10, 2500])
def test_a_broken_propeller_cache_is_made_again_to_the_last_digit(home, cut):
    airframe = airframe_of(calibrating.record_of(str(home / "aeroplane.toml"))[0])
    before = calibrating.surrogate_of(airframe)
    (path,) = (home / "cache").glob("propeller-*.npz")
    path.write_bytes(path.read_bytes()[:cut])
    assert np.array_equal(calibrating.surrogate_of(airframe).ct, before.ct)


def test_the_first_answer_and_the_second_agree_to_the_last_digit(home):
    """By the propeller just made and the one read from the cache."""
    airframe = airframe_of(calibrating.record_of(str(home / "aeroplane.toml"))[0])
    rows = read_rows((home / "rows.csv").read_text(), "rows.csv")
    first, second = (predict(estimate.model_of(airframe, calibrating.surrogate_of(airframe), 0.1 * np.ones((3, len(parameter_names())))), rows)
                     for _ in range(2))
    assert np.array_equal(first, second)


def spoilt(data, how):
    book = data["book"]
    if how == "mean":
        book["mean"][0] = float("nan")
    elif how == "covariance":
        book["covariance"] = (-np.eye(len(book["mean"]))).tolist()
    elif how == "discrepancy":
        data["discrepancy"] = []
    else:
        data["parameters"] = data["parameters"][1:]
    return data


@pytest.mark.parametrize("how", ["mean", "covariance", "discrepancy", "parameters"])
def test_a_calibration_that_is_none_is_refused_and_in_the_cache_made_again(home, quick, how):
    first = fitted(home)
    (path,) = (home / "cache").glob("calibration-*.json")
    text = json.dumps(spoilt(json.loads(path.read_text()), how))
    (home / "saved.json").write_text(text)
    with pytest.raises(UnreadableFile):
        calibrating.predict(str(home / "aeroplane.toml"), str(home / "rows.csv"), str(home / "saved.json"))
    path.write_text(text)
    assert np.array_equal(fitted(home).book.mean, first.book.mean)
