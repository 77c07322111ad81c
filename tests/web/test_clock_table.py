"""Fuel of all moments at once against the plan's own, and the table that is written in one go."""

import numpy as np
import pytest

from ownship.flight.chance import band, middle
from ownship.flight.tanks import burn_between
from ownship.units import from_si
from ownship.web import flying
from ownship.web.clock_flight import bands, burnt_by, shown, tanks_by
from ownship.web.clock_words import Row, Table


@pytest.fixture(scope="module")
def flight(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("OWNSHIP_DATA", str(tmp_path_factory.mktemp("data")))
        asked = flying.ask({"load1_out": "1"})
        yield shown(asked.situation, asked.answer)


def test_burn_and_tanks_of_all_moments_are_those_of_each(flight):
    times = np.linspace(0.0, flight.stretches[-1].end_s, 41)
    burnt, tanks = burnt_by(flight, times), tanks_by(flight, times)
    assert len(flight.plan.segments) > 2
    for i, t in enumerate(times):
        assert burnt[i] == pytest.approx(burn_between(flight.phases, 0.0, float(t)), rel=1e-12, abs=1e-15)
        for tank, draws in flight.plan.contents_at(float(t)).items():
            assert tanks[tank][i] == pytest.approx(draws, rel=1e-12, abs=1e-12)


def test_bands_are_those_of_one_row(flight):
    draws = flight.flown.on_board_m3 - burnt_by(flight, np.array([0.0, 900.0, 2400.0]))
    for row, found in zip(draws, bands(flight, draws, "usgal"), strict=True):
        low, high = band(row[flight.good])
        assert found.value == from_si(middle(row), "usgal")
        assert (found.low, found.high) == pytest.approx((from_si(low, "usgal"), from_si(high, "usgal")), rel=1e-12)


def test_the_climb_of_the_middle_flight_alone_is_its_climb(flight):
    from ownship.flight.judge_terrain import climb_path

    heights, ways = climb_path(flight.s, flight.flown)
    assert flight.climb[0] == pytest.approx(heights, rel=1e-12)
    assert flight.climb[1] == pytest.approx([middle(w) for w in ways], rel=1e-9)


def test_what_stands_in_a_cell_cannot_become_a_tag_or_another_cell():
    rows = (Row(("15:00", "<b>&'\"\x1f\x1e"), {"at": [1.0, 2.0]}), Row(("15:01", "x"), {"at": []}))
    body = str(Table(("Time", "Where"), rows, (), ()).body)
    assert body.count("<tr") == 2 and body.count("<td>") == 2 and "<b>" not in body and "&lt;b&gt;&amp;" in body
