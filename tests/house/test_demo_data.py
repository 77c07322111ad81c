"""The demo's data: invented by the script that says so, without blanks, every limit a figure or "none published"."""

import csv
import subprocess
import sys
import tomllib
from itertools import product
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "src" / "ownship" / "data" / "demo"
ROWS = (DEMO / "camas160_rows.csv").read_text(encoding="utf-8")
RECORD = tomllib.loads((DEMO / "camas160.toml").read_text(encoding="utf-8"))
FLIGHT = tomllib.loads((DEMO / "flight.toml").read_text(encoding="utf-8"))
GRID = ("takeoff_roll_ft", "takeoff_50ft_ft", "landing_roll_ft", "landing_50ft_ft")


def rows(kind):
    lines = (line for line in ROWS.splitlines() if not line.startswith("#"))
    return {(int(r["weight_lb"]), int(r["pressure_altitude_ft"]), float(r["oat_c"])): float(r["value"])
            for r in csv.DictReader(lines) if r["kind"] == kind}


def test_the_script_of_the_decision_record_gives_the_rows_back():
    done = subprocess.run([sys.executable, str(ROOT / "docs" / "decisions" / "invent_camas_rows.py")],
                          capture_output=True, text=True, check=True)
    assert done.stdout == ROWS


@pytest.mark.parametrize("kind", [*GRID, "rate_of_climb_fpm"])
def test_the_tables_have_no_blanks_at_three_weights(kind):
    found = rows(kind)
    weights, altitudes, temperatures = (sorted({key[i] for key in found}) for i in range(3))
    assert set(found) == set(product(weights, altitudes, temperatures))
    assert len(weights) == 3 and weights[-1] == 2350
    if kind in GRID:
        assert (altitudes[0], altitudes[-1], temperatures[-1]) == (0, 9000, 45.0)


@pytest.mark.parametrize(("kind", "sign"), [*((k, 1) for k in GRID), ("rate_of_climb_fpm", -1)])
def test_hotter_higher_heavier_is_worse_in_the_book_in_spite_of_its_noise(kind, sign):
    found = rows(kind)
    axes = [sorted({key[i] for key in found}) for i in range(3)]
    for key, value in found.items():
        for i, axis in enumerate(axes):
            if key[i] != axis[-1]:
                worse = (*key[:i], axis[axis.index(key[i]) + 1], *key[i + 1:])
                assert sign * (found[worse] - value) >= 0, (kind, key, worse)


def test_every_limit_is_a_figure_or_none_published_and_the_record_says_it_is_invented():
    assert RECORD["record"] == {"source": "invented for the demo", "status": "invented"}
    assert RECORD["identity"]["registration"] == "N0160T"
    assert {"ramp_max", "take_off_max", "landing_max", "zero_fuel_max"} == set(RECORD["weights"])
    assert all("max" in s for s in (*RECORD["stations"], *RECORD["station_groups"]))
    assert {"imbalance_max", "floor_time", "no_change_below"} <= set(RECORD["selector"])
    assert set(RECORD["selector"]["positions"]) == {"left", "right"}
    assert {"vs1", "vs0", "va", "vno", "vne", "vfe", "vx", "vy", "best_glide", "demonstrated_crosswind"} == set(RECORD["speeds"])
    assert {e["category"] for e in RECORD["envelope"]} == {"normal", "utility"}
    assert len(RECORD["deviation"]["magnetic"]) == len(RECORD["deviation"]["compass"]) == 12
    notes = {(n["kind"], n["rule"]) for n in RECORD["book"]["notes"]}
    assert notes == set(product(("takeoff", "landing"), ("headwind", "tailwind")))


def test_the_flight_is_four_people_as_roles_and_gear_from_kboi_to_ku79():
    people = [x["what"] for x in FLIGHT["loads"] if x["station"] in ("front", "rear")]
    assert people == ["pilot", "front passenger", "rear left passenger", "rear right passenger"]
    assert any(x["station"] == "baggage" for x in FLIGHT["loads"])
    assert (FLIGHT["from"], FLIGHT["to"]) == ("KBOI", "KU79")
    assert {"ground", "aloft", "weather"} <= set(FLIGHT)
    assert all("known_by" in t and "add" in t for t in FLIGHT["fuel"].values())
