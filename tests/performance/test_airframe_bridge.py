"""From the airframe record to the numbers of physics: what passes over, and what is named when it is missing."""

from dataclasses import replace
from pathlib import Path

import pytest

from ownship.aeroplane.reading import read_airframe
from ownship.errors import MissingKey
from ownship.performance.model import airframe_of
from ownship.units import to_si

TEXT = (Path(__file__).parents[1] / "published" / "handbook_b" / "aeroplane.toml").read_text()
RECORD = read_airframe(TEXT, "aeroplane.toml")


def test_every_number_passes_over_in_si():
    a = airframe_of(RECORD)
    for found, value, unit in ((a.wing_area_m2, 174, "ft2"), (a.span_m, 35.83, "ft"), (a.rated_power_w, 160, "hp"),
                               (a.diameter_m, 75, "in"), (a.pitch_m, 57, "in"), (a.take_off_max_kg, 2400, "lb"),
                               (a.vs1_m_s, 51, "kt"), (a.vs0_m_s, 46, "kt"), (a.lift_off_ias_m_s, 51, "kt"),
                               (a.at_50ft_ias_m_s, 56, "kt"), (a.approach_ias_m_s, 61, "kt"), (a.touchdown_cas_m_s, 49, "kt")):
        assert found == pytest.approx(float(to_si(value, unit)))
    assert a.rated_rev_s == a.rev_max_rev_s == pytest.approx(45.0)
    assert (a.high_wing, a.blades) == (True, 2)
    assert [h for h, _ in a.climb_ias] == pytest.approx([0.0, float(to_si(12000, "ft"))])
    assert a.position_error is not None and len(a.position_error[0]) == 9


@pytest.mark.parametrize("table", ["geometry", "engine", "propeller"])
def test_a_missing_table_is_named(table):
    with pytest.raises(MissingKey, match=rf"\[{table}\]"):
        airframe_of(replace(RECORD, **{table: None}))


@pytest.mark.parametrize(("table", "key", "named"), [("weights", "take_off_max_kg", "take_off_max"),
                                                     ("speeds", "vs1_m_s", "vs1"), ("speeds", "vs0_m_s", "vs0")])
@pytest.mark.parametrize("value", [None, "none published"])
def test_a_missing_or_unpublished_figure_is_named(table, key, named, value):
    record = replace(RECORD, **{table: replace(getattr(RECORD, table), **{key: value})})
    with pytest.raises(MissingKey, match=rf"\[{table}\] {named}"):
        airframe_of(record)


def test_what_a_model_can_do_without_may_be_missing():
    a = airframe_of(replace(RECORD, position_error=None, procedures=None,
                            propeller=replace(RECORD.propeller, rev_max_rev_s=None)))
    assert a.position_error is None and a.lift_off_ias_m_s is None and a.climb_ias == ()
    assert a.rev_max_rev_s == a.rated_rev_s
