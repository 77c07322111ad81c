"""Rows that cannot be flown by the aeroplane that is known are refused by line (an invented aeroplane)."""

import pytest

from ownship.errors import BadInput
from ownship.performance.model import airframe_of
from ownship.performance.row_checks import check_speeds, checked, own_rows
from ownship.performance.rows import read_rows
from ownship.questions.calibrating import record_of

HEAD = "kind,pressure_altitude_ft,oat_c,weight_lb,flap,lift_off_kias,at_50ft_kias,climb_kias,approach_kias,value\n"


def airframe():
    return airframe_of(record_of("demo")[0])


def rows(*lines):
    return read_rows(HEAD + "\n".join(lines), "rows.csv")


def own(*lines):
    return own_rows("kind,pressure_altitude_ft,oat_c,weight_lb,value\n" + "\n".join(lines), "own.csv", airframe())


@pytest.mark.parametrize(("line", "says"), [
    ("landing_50ft_ft,0,15,2350,,,,,30,445", "line 2, approach_kias: 30 kt indicated is 35 kt calibrated, below the stall"),
    ("landing_roll_ft,0,15,2350,up,,,,46,900", "approach_kias"),
    ("takeoff_roll_ft,0,15,2350,,38,,,,500", "lift_off_kias"), ("takeoff_50ft_ft,0,15,2350,up,45,65,,,900", "lift_off_kias"),
    ("takeoff_50ft_ft,0,15,2350,,,41,,,900", "at_50ft_kias"), ("rate_of_climb_fpm,0,15,2350,,,,44,,500", "climb_kias"),
    ("glide_sink_fpm,0,15,2350,,,,44,,500", "climb_kias")])
def test_a_speed_below_the_stall_is_refused_by_line(line, says):
    with pytest.raises(BadInput, match=says):
        check_speeds(rows(line), "rows.csv", airframe())


def test_the_stall_goes_with_the_square_root_of_the_weight():
    """40 KIAS is 45 KCAS: below Vs0 of 47 kt at 2,350 lb, above its 41 kt at 1,800 lb."""
    with pytest.raises(BadInput):
        check_speeds(rows("landing_roll_ft,0,15,2350,,,,,40,400"), "rows.csv", airframe())
    check_speeds(rows("landing_roll_ft,0,15,1800,,,,,40,400"), "rows.csv", airframe())


def test_a_speed_at_50_ft_below_lift_off_is_refused_when_read():
    with pytest.raises(BadInput, match="line 2, at_50ft_kias: 55 is below lift_off_kias, 60"):
        rows("takeoff_50ft_ft,0,15,2350,,60,55,,,900")


@pytest.mark.parametrize(("line", "says"), [
    ("rate_of_climb_fpm,2000,66,2300,740", "line 2, oat_c: 66 C is not believable .* allowed is -45 to 50 C"),
    ("rate_of_climb_fpm,16500,0,2300,10", "line 2, pressure_altitude_ft: 16,500 ft"),
    ("rate_of_climb_fpm,2000,11,5181,700", "line 2, weight_lb: 5,181 lb is more than 10 % above")])
def test_an_own_row_no_one_can_have_flown_is_refused_by_line(line, says):
    with pytest.raises(BadInput, match=says):
        own(line)


def test_a_book_may_go_further_and_an_own_point_may_be_a_little_heavy():
    checked(rows("rate_of_climb_fpm,17000,66,2300,,,,,,10"), "rows.csv", airframe())
    assert own("rate_of_climb_fpm,2000,11,2500,700", "service_ceiling_ft,16200,-17,2300,16200").texts["origin"].tolist() == ["own"] * 2


def test_a_file_of_rows_with_a_header_only_is_refused_like_one_without_measurements():
    with pytest.raises(BadInput, match="holds no measurement that the model can learn from"):
        own()
