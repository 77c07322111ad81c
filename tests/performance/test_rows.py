"""Rows of a CSV: read in SI, refused by line and column."""

import numpy as np
import pytest

from ownship.errors import BadInput, OwnshipError, UnknownKey, UnreadableFile
from ownship.performance.rows import joined, read_rows

HEAD = "kind,pressure_altitude_ft,oat_c,weight_lb,rpm,origin,mixture,value\n"


def rows(*lines, **kw):
    return read_rows(HEAD + "\n".join(lines), "rows.csv", **kw)


def test_values_come_out_in_si_and_cells_as_they_were():
    found = rows("takeoff_roll_ft,1000,15,2400,,,,1000", "cruise_tas_kt,0,15,2400,2400,,,100", "power_pct,0,15,2400,2400,,,75")
    assert found.value_si() == pytest.approx([304.8, 100 * 1852 / 3600, 0.75])
    assert found.temperature_k == pytest.approx(288.15)
    assert found.rev_s[1] == pytest.approx(40.0)
    assert found.cells[0][-1] == "1000"
    assert found.line == (2, 3, 4)


@pytest.mark.parametrize(("text", "error", "says"), [
    ("kind,pressure_altitude_ft,oat_c,weight_lb,value,colour\n", UnknownKey, "colour"),
    ("kind,pressure_altitude_ft,oat_c,value\n", BadInput, "weight_lb"),
    (HEAD + "takeoff_roll_ft,0,15,2400,,,,nan\n", BadInput, "line 2, value"),
    (HEAD + "takeoff_roll_ft,0,15,2400,,,,inf\n", BadInput, "line 2, value"),
    (HEAD + "# a remark\ntakeoff_roll_ft,high,15,2400,,,,900\n", BadInput, "line 3, pressure_altitude_ft"),
    (HEAD + "ground_roll,0,15,2400,,,,900\n", BadInput, "ground_roll"),
    (HEAD + "takeoff_roll_ft,0,15,2400,900\n", BadInput, "line 2"),
    (HEAD + "takeoff_roll_ft,0,15,2400,,Own,,900\n", BadInput, "'Own'"),
    (HEAD + "fuel_flow_usgph,0,15,2400,2400,,Rich,8\n", BadInput, "'Rich'"),
    (HEAD + "cruise_tas_kt,0,15,2400,,,,100\n", BadInput, "rpm"),
    (HEAD + "takeoff_roll_ft,0,15,2400,,,,0\n", BadInput, "above zero"),
    (HEAD + "landing_roll_ft,0,15,2400,,,,-600\n", BadInput, "above zero"),
    ("", UnreadableFile, "empty")])
def test_refused_by_name_line_and_column(text, error, says):
    with pytest.raises(OwnshipError) as raised:
        read_rows(text, "rows.csv")
    assert isinstance(raised.value, error)
    assert says in str(raised.value)


def test_a_falling_aeroplane_and_a_climb_of_no_height_are_believable():
    assert len(rows("rate_of_climb_fpm,16000,15,2400,,,,-50", "climb_time_min,0,15,2400,,,,0")) == 2


def test_rows_to_be_predicted_need_no_value():
    found = rows("takeoff_roll_ft,0,15,2400,,,,", need_value=False)
    assert np.isnan(found.value[0])
    assert len(rows("takeoff_roll_ft,0,15,2400,,asked,,", need_value=False)) == 1
    with pytest.raises(BadInput):
        rows("takeoff_roll_ft,0,15,2400,,,,")


def test_joined_keeps_order_and_where_keeps_cells():
    both = joined([rows("takeoff_roll_ft,0,15,2400,,,,900"), rows("landing_roll_ft,0,15,2400,,own,,600")])
    assert both.kind.tolist() == ["takeoff_roll_ft", "landing_roll_ft"]
    own = both.where(both.texts["origin"] == "own")
    assert own.cells == (("landing_roll_ft", "0", "15", "2400", "", "own", "", "600"),)
