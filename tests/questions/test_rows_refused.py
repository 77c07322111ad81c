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
