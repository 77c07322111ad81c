"""What a prediction leaves blank, and how much memory it takes (the invented demo)."""

import csv
import io
import tracemalloc

from commands import run
from test_matched_to import record

HEAD = "kind,pressure_altitude_ft,oat_c,weight_lb,rpm,tachometer\n"


def predicted(capsys, tmp_path, aeroplane, *lines):
    """(predicted, low_90, high_90) of every line; None where blank."""
    path = tmp_path / "asked.csv"
    path.write_text(HEAD + "\n".join(lines) + "\n")
    code, out, _ = run(capsys, "predict", str(aeroplane), "--rows", str(path))
    assert code == 0
    found = [[float(r[c]) if r[c] else None for c in ("predicted", "low_90", "high_90")] for r in csv.DictReader(io.StringIO(out))]
    assert all(len({x is None for x in line}) == 1 for line in found)
    return [line[0] for line in found]


def test_an_rpm_that_full_throttle_does_not_give_or_above_the_placard_is_blank(capsys, tmp_path):
    """4,900 rpm at 14,000 ft had 237 kt, 2,900 rpm above the placard of 2,700 a fuel flow."""
    found = predicted(capsys, tmp_path, "demo", "cruise_tas_kt,14000,-13,2350,4900,", "fuel_flow_usgph,14000,-13,2350,2900,",
                      "power_pct,14000,-13,2350,2700,", "cruise_tas_kt,2000,11,2350,2400,", "power_pct,2000,11,2350,2400,")
    assert found[:3] == [None] * 3
    assert 100 < found[3] < 125 and 40 < found[4] < 90


def test_a_weak_engine_is_asked_what_its_card_says_it_cannot(capsys, tmp_path):
    """85 hp: the card says "cannot" at 2,600 rpm, 4,000 ft; predict said 114.7 kt. Distances: 37 % of draws never fly."""
    weak = record(tmp_path, **{'power = "160 hp"': 'power = "85 hp"'})
    assert predicted(capsys, tmp_path, weak, "cruise_tas_kt,4000,7,2350,2600,", "takeoff_50ft_ft,8000,29,2350,,") == [None, None]
    assert predicted(capsys, tmp_path, weak, "takeoff_50ft_ft,0,0,1600,,")[0] > 500


def test_many_rows_take_little_memory_and_come_out_in_their_order(capsys, tmp_path):
    lines = [f"cruise_tas_kt,{2000 + i % 500},11,2350,2400," for i in range(1500)]
    few = predicted(capsys, tmp_path, "demo", *lines[:3])
    tracemalloc.start()
    many = predicted(capsys, tmp_path, "demo", *lines)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert many[:3] == few and many[500:503] == few and len(many) == 1500
    assert peak < 40e6  # 1,500 rows x 512 draws at once were 130 MB
