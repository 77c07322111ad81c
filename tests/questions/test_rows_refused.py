"""Rows that cannot be are refused wherever they come in: book, own file, rows to be predicted (the invented demo)."""

import pytest
from commands import run

HEAD = "kind,pressure_altitude_ft,oat_c,weight_lb,approach_kias,value\n"


@pytest.mark.parametrize(("words", "line"), [
    (("predict", "demo", "--rows"), "landing_50ft_ft,0,15,2350,30,\n"), (("calibrate", "demo", "--rows"), "landing_50ft_ft,0,15,2350,30,445\n"),
    (("calibrate", "demo", "--own"), "landing_50ft_ft,0,15,2350,30,445\n"), (("calibrate", "demo", "--own"), "takeoff_50ft_ft,500,68,2300,,1450\n"),
    (("calibrate", "demo", "--own"), "")])
def test_refused_in_one_sentence(capsys, tmp_path, words, line):
    path = tmp_path / "rows.csv"
    path.write_text(HEAD + line)
    code, out, err = run(capsys, *words, str(path))
    assert code == 2 and out == "" and err.count("\n") == 1 and "rows.csv" in err


def test_a_row_of_another_flap_is_left_out_and_named(capsys, tmp_path):
    path = tmp_path / "own.csv"
    path.write_text("kind,pressure_altitude_ft,oat_c,weight_lb,flap,value\ntakeoff_50ft_ft,0,15,2350,up,2900\nstatic_rpm,0,15,2350,,2340\n")
    code, out, _ = run(capsys, "calibrate", "demo", "--own", str(path))
    assert code == 0 and "1 of them yours" in out
    assert "own.csv line 2: takeoff_50ft_ft with flap up, where the procedure's is take_off: left out" in out
