"""A flap belongs to its row: another than the procedure's is no measurement of the procedure (invented aeroplanes)."""

import csv
import io
from dataclasses import replace

import numpy as np
import pytest
from owners import owner, surrogate

from ownship.calibration.estimate import model_of
from ownship.calibration.measurements import predict
from ownship.errors import BadInput
from ownship.performance.model import airframe_of, parameter_names
from ownship.performance.row_checks import checked, own_rows
from ownship.performance.rows import read_rows
from ownship.performance.technique import of_the_procedure, procedure_flap
from ownship.questions import calibrating

HEAD = "kind,pressure_altitude_ft,oat_c,weight_lb,flap,climb_kias,value\n"


def airframe():
    return airframe_of(calibrating.record_of("demo")[0])


def book(*lines):
    return of_the_procedure(read_rows(HEAD + "\n".join(lines), "book.csv"), "book.csv", airframe())


def own(*lines):
    return own_rows(HEAD + "\n".join(lines), "own.csv", airframe())


def test_own_rows_of_another_flap_are_left_out_and_named():
    found = own("takeoff_50ft_ft,0,15,2350,up,,1900", "takeoff_50ft_ft,0,15,2350,take_off,,1500", "landing_roll_ft,0,15,2350,,,600",
                "takeoff_50ft_ft,500,15,2350,up,,1950", "climb_time_min,5000,5,2350,landing,,9")
    assert found.line == (3, 4)
    assert [w.split(":")[0] for w in found.left_out] == ["own.csv line 2, 5", "own.csv line 6"]
    assert "takeoff_50ft_ft with flap up, where the procedure's is take_off: left out" in found.left_out[0]


def test_an_own_file_of_another_flap_alone_teaches_nothing_and_is_refused():
    with pytest.raises(BadInput, match="holds no row that the model can learn from"):
        own("takeoff_50ft_ft,0,15,2350,up,,1900")


def test_a_book_that_flies_one_flap_throughout_keeps_it_and_a_mixed_one_keeps_the_procedures():
    assert len(book("takeoff_roll_ft,0,15,2350,up,,900", "takeoff_roll_ft,2000,15,2350,up,,1000")) == 2
    mixed = book("takeoff_roll_ft,0,15,2350,up,,900", "takeoff_roll_ft,2000,15,2350,,,1000", "landing_roll_ft,0,15,2350,,,600")
    assert mixed.line == (3, 4) and "book.csv line 2" in mixed.left_out[0]


def test_the_records_flap_is_the_procedures():
    clean = replace(airframe(), take_off_flap="up")
    assert procedure_flap("takeoff_50ft_ft", airframe()) == "take_off" and procedure_flap("takeoff_50ft_ft", clean) == "up"
    assert procedure_flap("landing_roll_ft", airframe()) == "landing" and procedure_flap("cruise_tas_kt", airframe()) == "up"
    assert len(checked(read_rows(HEAD + "takeoff_roll_ft,0,15,2350,up,,900\ntakeoff_roll_ft,0,15,2350,take_off,,900\n", "b.csv"),
                       "b.csv", clean)) == 1


def test_a_flap_no_one_knows_is_refused():
    with pytest.raises(BadInput, match="line 2, flap: '10 deg' is not one of"):
        book("takeoff_roll_ft,0,15,2350,10 deg,,900")


def test_a_climb_with_flap_is_flown_with_its_drag():
    one = owner(0)
    rows = read_rows(HEAD + "\n".join(f"rate_of_climb_fpm,1000,15,2200,{flap},75," for flap in ("", "up", "take_off", "landing")),
                     "asked", need_value=False)
    clean, up, some, full = predict(model_of(one.airframe, surrogate(one.airframe), np.zeros(len(parameter_names()))), rows)[:, 0]
    assert clean == up > some + 30 and some > full + 100


def test_predictions_of_another_flap_stay_blank(tmp_path):
    path = tmp_path / "rows.csv"
    path.write_text("kind,pressure_altitude_ft,oat_c,weight_lb,flap\ntakeoff_50ft_ft,0,15,2350,up\ntakeoff_50ft_ft,0,15,2350,take_off\n"
                    "takeoff_50ft_ft,0,15,2350,\nlanding_50ft_ft,0,15,2350,up\nlanding_50ft_ft,0,15,2350,landing\n")
    found = [r["predicted"] for r in csv.DictReader(io.StringIO(calibrating.predict("demo", str(path))))]
    assert found[0] == found[3] == "" and found[1] == found[2] != "" and found[4] != ""
