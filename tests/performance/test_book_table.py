"""The book's table: linear inside, edge rows without credit on the better side, nothing beyond the worse."""

import math

import pytest

from ownship.performance.book import from_rows
from ownship.performance.rows import read_rows
from ownship.units import from_si, to_si

KIND = "takeoff_50ft_ft"
HEAD = "kind,pressure_altitude_ft,oat_c,weight_lb,headwind_kt,surface,origin,value\n"


def distance(h, t, w):
    return 1000 + 0.1 * h + 8 * t + 0.8 * (w - 2000)


def table(extra=(), blank=None):
    lines = [f"{KIND},{h},{t},{w},0,,,{distance(h, t, w)}" for h in (1000, 3000, 5000) for t in (0, 20, 40)
             for w in (2000, 2400) if (h, t, w) != blank]
    return from_rows(read_rows(HEAD + "\n".join([*lines, *extra]), "book.csv"))


def ask(t, h, c, w):
    found = t.lookup(KIND, float(to_si(h, "ft")), float(to_si(c, "C", "temperature")), float(to_si(w, "lb")))
    feet = [None if x is None else float(from_si(x, "ft")) for x in (found.value, found.edge_value)]
    return (*feet, found)


@pytest.mark.parametrize("at", [(1000, 0, 2000), (5000, 40, 2400), (2200, 13, 2130), (3000, 20, 2400)])
def test_inside_is_linear_between_rows(at):
    value, _, found = ask(table(), *at)
    assert value == pytest.approx(distance(*at), rel=1e-9)
    assert found.status == "inside"


@pytest.mark.parametrize(("at", "edge"), [((0, 10, 2400), (1000, 10, 2400)), ((2000, -20, 2400), (2000, 0, 2400)),
                                          ((-500, -30, 2200), (1000, 0, 2200))])
def test_colder_and_lower_earn_no_credit(at, edge):
    value, _, found = ask(table(), *at)
    assert value == pytest.approx(distance(*edge))
    assert found.status == "better side"


def test_lighter_gives_the_lightest_row_and_its_weight():
    value, _, found = ask(table(), 2000, 10, 1700)
    assert (value, found.status) == (pytest.approx(distance(2000, 10, 2000)), "lighter")
    assert from_si(found.reference_weight_kg, "lb") == pytest.approx(2000)


@pytest.mark.parametrize(("at", "edge"), [((6000, 20, 2400), (5000, 20, 2400)), ((3000, 45, 2400), (3000, 40, 2400)),
                                          ((3000, 20, 2500), (3000, 20, 2400)), ((6000, 45, 1700), (5000, 40, 2000))])
def test_beyond_the_worse_side_there_is_no_figure_but_its_edge(at, edge):
    value, edge_ft, found = ask(table(), *at)
    assert value is None
    assert found.status == "beyond"
    assert edge_ft == pytest.approx(distance(*edge))


def test_a_blank_corner_is_beyond_and_the_cells_beside_it_are_not():
    t = table(blank=(5000, 40, 2400))
    assert ask(t, 4000, 30, 2400)[2].status == "beyond"
    assert ask(t, 4000, 20, 2400)[2].status == "inside"
    assert ask(t, 5000, 40, 2000)[2].status == "inside"


@pytest.mark.parametrize("broken", range(3))
def test_what_is_not_known_has_no_figure(broken):
    at = [500.0, 288.15, 1000.0]
    at[broken] = math.nan
    found = table().lookup(KIND, *at)
    assert (found.value, found.edge_value, found.status) == (None, None, "beyond")


@pytest.mark.parametrize("extra", [f"{KIND},3000,20,2400,9,,,100", f"{KIND},3000,20,2400,0,grass dry,,9000",
                                   f"{KIND},3000,20,2400,0,,own,9000", f"{KIND},3000,20,2400,0,,,1200"])
def test_wind_grass_own_and_shorter_techniques_do_not_enter(extra):
    assert ask(table([extra]), 3000, 20, 2400)[0] == pytest.approx(distance(3000, 20, 2400))


def test_one_row_is_a_specification_page():
    t = from_rows(read_rows(HEAD + f"{KIND},0,15,2400,0,,,1500\nlanding_50ft_ft,0,15,2400,0,,,1300\n", "book.csv"))
    assert not t.has(KIND)
