"""Published weight-and-balance examples through the record, the loading and the mechanics behind `calc`."""

from datetime import date

import pytest

from ownship.aeroplane.loading import LoadItem, at_fuel, load_of, percent_mac
from ownship.aeroplane.reading import read_airframe
from ownship.aeroplane.weighing import Mass, add, empty_weight, usual_errors
from ownship.units import from_si, to_si


def lb(x):
    return float(to_si(x, "lb"))


def inch(x):
    return float(to_si(x, "in"))


def loaded(weight, arm, items):
    mass = add(Mass(lb(weight), lb(weight) * inch(arm)), [(lb(w), inch(a)) for w, a in items])
    return from_si(mass.weight_kg, "lb"), from_si(mass.moment_kg_m, "lb in"), from_si(mass.arm_m, "in")


# AC 43.13-1B aeroplane: empty 1,169 lb, moment 12,391.
AC = (1169, 12391 / 1169)


@pytest.mark.parametrize(("id_", "items", "weight", "moment", "cg"), [
    ("WB-14", [(17, -49), (170, 16), (83, 22)], 1439, 16104, 11.2),
    ("WB-15, misprint C-1: the AC prints 18.6", [(17, -49), (340, 16), (340, 48), (234, 22)], 2100, 38466, 18.3),
    ("WB-16", [(17, -49), (340, 16), (170, 48), (240, 22), (100, 75.5)], 2036, 37988, 18.7)])
def test_ac_43_13_1b_extreme_loadings(id_, items, weight, moment, cg):
    got = loaded(*AC, items)
    assert got[0] == pytest.approx(weight, abs=0.5), id_
    assert got[1] == pytest.approx(moment, abs=1.0), id_
    assert got[2] == pytest.approx(cg, abs=0.05), id_


def test_wb_05_per_cent_mac():
    """W&B ch. 3: MAC from station 144 to 206, CG at 161: 27.4 %."""
    record = read_airframe('[record]\nsource = "W&B ch. 3"\n[geometry]\nwing_area = "174 ft2"\nspan = "36 ft"\nwing = "low"\n'
                           'mac = "62 in"\nlemac = "144 in"\n', "wb05")
    assert percent_mac(record, inch(161)) == pytest.approx(27.4, abs=0.05)


def test_wb_26_figure_33_twenty_pounds_over_cg_within():
    """FAA bank; aeroplane data from memory: 2,970 lb, 20 over, CG 83.4."""
    weight, _, cg = loaded(2015, 77.12, [(340, 85), (295, 121), (264, 75), (56, 140)])
    assert weight == pytest.approx(2970, abs=0.5)
    assert cg == pytest.approx(83.4, abs=0.1)


def test_wb_28_figure_35_moment():
    """FAA bank; data from memory: moment/1,000 = 74.9 by chart (74.8 calculated)."""
    _, moment, _ = loaded(1350, 51500 / 1350, [(340, 37), (228, 48), (15, -200 / 15)])
    assert moment / 1000 == pytest.approx(74.9, abs=0.2)


def test_wb_30_figure_35_most_baggage():
    """FAA bank: 105 lb to 2,300 lb."""
    weight, _, _ = loaded(1350, 51500 / 1350, [(250, 37), (400, 73), (180, 48), (15, -200 / 15)])
    assert 2300 - weight == pytest.approx(105, abs=0.5)


def test_wb_22_through_an_airframe_record():
    """PHAK fig. 10-5, arms from memory: 3,320 lb, 84.8 in, loaded as a record with stations and a tank."""
    record = read_airframe("""
[record]
source = "PHAK fig. 10-5, arms from memory"
[weights]
take_off_max = "3400 lb"
[[weighings]]
date = 2020-01-01
weighed = true
weight = "2100 lb"
arm = "78.3 in"
[[stations]]
id = "front"
kind = "seat"
arm = "85 in"
max = "none published"
[[stations]]
id = "rear"
kind = "seat"
arm = "121 in"
max = "none published"
[[stations]]
id = "bag"
kind = "baggage"
arm = "150 in"
max = "100 lb"
[[tanks]]
id = "main"
name = "main tank"
capacity = "75 usgal"
unusable = "0 usgal"
arm = "75 in"
[fuel]
density = "6 lb/usgal"
""", "phak")
    items = tuple(LoadItem(s, s, lb(w), True) for s, w in (("front", 340), ("rear", 350), ("bag", 80)))
    load = load_of(record, empty_weight(record, date(2020, 1, 2)), items, usual_errors())
    point = at_fuel(record, load, {"main": float(to_si(75, "usgal"))}, {}, record.fuel.density_kg_m3)
    assert from_si(point.weight_kg, "lb") == pytest.approx(3320, abs=0.01)
    assert from_si(point.arm_aft_m, "in") == pytest.approx(84.8, abs=0.05)


def test_wb_08_avgas_at_6_lb_and_wb_12_oil_at_7_5_lb_a_gallon():
    """FAA AMT Handbook; AC 43.13-1B fig. 10-10: 9 qt of oil 17 lb (16.9)."""
    assert from_si(to_si(9, "qt") * to_si(7.5, "lb/usgal"), "lb") == pytest.approx(16.9, abs=0.05)
    assert from_si(to_si(40, "usgal") * to_si(6.0, "lb/usgal"), "lb") == pytest.approx(240)
