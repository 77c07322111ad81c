"""Published weight-and-balance examples through the record, the loading and the mechanics behind `calc`."""

from datetime import date

import pytest

from ownship.aeroplane.description import Reading
from ownship.aeroplane.loading import LoadItem, at_fuel, load_of, percent_mac
from ownship.aeroplane.reading import read_airframe
from ownship.aeroplane.weighing import Mass, add, empty_weight, shift, usual_errors, weigh
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
    ("WB-16, misprint C-2: a text copy of fig. 10-14 divides by 20366", [(17, -49), (340, 16), (170, 48), (240, 22), (100, 75.5)], 2036, 37988, 18.7)])
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


@pytest.mark.parametrize(("over", "printed"), [(110, 18.4), (90, 15.0)])
def test_wb_24_fuel_to_drain_when_over_gross_misprint_c_6(over, printed):
    """FAA bank: 110 lb over is printed as 18.4 US gal where 110/6 is 18.33 (C-6); 90 lb over is 15 US gal."""
    assert from_si(to_si(over, "lb") / to_si(6.0, "lb/usgal"), "usgal") == pytest.approx(printed, abs=0.1)


def test_wb_01_to_04_agree_whatever_the_datum():
    """W&B ch. 3, from memory: moving the datum moves the CG by just as much (WB-02, WB-03 from WB-01)."""
    at_mains, ahead, behind = (weigh([Reading(lb(340), 0.0, inch(d - 78)), Reading(lb(1666), 0.0, inch(d))])
                               for d in (0, 128, -75))
    for mass, printed in ((at_mains, -13.2), (ahead, 114.8), (behind, -88.2)):
        assert from_si(mass.arm_m, "in") == pytest.approx(printed, abs=0.05)
    assert ahead.arm_m - behind.arm_m == pytest.approx(inch(203))


def test_wb_18_cargo_to_move_for_an_aft_limit():
    """PHAK sample: 7,800 lb at 81.5 in, aft limit 80.5 in, cargo from station 150 to 30: 65 lb, exact."""
    start = Mass(lb(7800), lb(7800) * inch(81.5))
    assert from_si(shift(start, lb(65), inch(150), inch(30)).arm_m, "in") == pytest.approx(80.5, abs=1e-9)
