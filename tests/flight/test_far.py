"""Flights far beyond what the aeroplane can do: answered at once, with a sentence, and nothing worked out below nothing.

No published figures exist; the requests are the demo's, sent further (invented).
"""

import re
import warnings
from datetime import date

import numpy as np
import pytest

from ownship.errors import BadInput, NotPossible
from ownship.flight import tank_search
from ownship.flight.alter import altered
from ownship.flight.assessment import assess, flights_of
from ownship.flight.remedies import Found, screen_of
from ownship.flight.rows import _low_end
from ownship.flight.tank_rules import Moment
from ownship.questions.check import demo_aeroplane, demo_flight, situation
from ownship.questions.remedying import search, write_requests
from ownship.units import from_si
from ownship.words.verdicts import OUTSIDE
from ownship.world.magnetism import decimal_year


def sent_to(place):
    return situation(demo_aeroplane(), demo_flight().replace('to = "KU79"', f'to = "{place}"'))


@pytest.mark.parametrize("place", ["-90,180", "43,-20", "0,0"])
def test_a_way_that_would_burn_the_aeroplane_away_is_refused_with_a_sentence(place):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with pytest.raises(NotPossible, match="burn more than half of the aeroplane's weight in fuel; choose a nearer place"):
            assess(sent_to(place))


def test_a_far_flight_within_that_is_judged_and_its_fuel_is_outside():
    s = sent_to("43,-85")
    landing = next(m for m in assess(s).margins if m.id == "fuel.landing")
    assert landing.verdict == OUTSIDE
    for flown in flights_of(s)[0]:
        assert np.nanmin(flown.landing_kg) > 0.5 * np.nanmin(flown.ramp_kg)


def test_the_search_for_the_least_bad_tank_plan_is_bounded_however_long_the_flight_is():
    many = [Moment(300.0 * i, f"at {i}", 3 if i % 3 else 1) for i in range(3000)]
    few = tank_search._coarser(many)
    assert len(few) <= tank_search.MOST_WHEN and few[0].rank == 1
    assert few[0].time_s == 0.0 and few[-1].time_s >= many[-3].time_s  # from the first to the last
    for count in (1, 2, 3):
        assert tank_search.comb(len(tank_search._thinned(few, count)), count) <= tank_search.MOST_PLANS


def test_a_flight_of_twelve_hours_keeps_every_moment():
    usual = [Moment(300.0 * i, f"at {i}", 3) for i in range(144)]
    assert tank_search._coarser(usual) == usual
    assert tank_search._thinned(usual[:48], 3) == usual[:48]


def test_a_little_further_is_a_little_worse():
    """Between the last flight judged and the refusal nothing turns better."""
    rooms = [next(m for m in assess(sent_to(f"43,{lon}")).margins if m.id == "fuel.landing").margin.value
             for lon in (-105, -95)]
    assert rooms[1] < rooms[0] < 0


def test_a_day_at_the_end_of_the_calendar_is_refused_with_a_sentence():
    assert decimal_year(date(2024, 12, 31)) == 2024 + 365 / 366  # as calc's table in formats.md has it: (day - 1)/days
    with pytest.raises(BadInput, match="outside the magnetic model"):
        assess(situation(demo_aeroplane(), demo_flight().replace("2026-07-11T15:00-06:00", "9999-12-31T23:59-12:00")))


def test_where_some_draws_burn_the_weight_away_the_latest_time_is_not_known_and_nothing_breaks():
    s = sent_to("90,0")
    rows = assess(altered(s, {**s.request_data, "cruise_altitude": "4500 ft"})).timeline
    flown = flights_of(altered(s, {**s.request_data, "cruise_altitude": "4500 ft"}))[0][0]
    assert rows[-1].moment == "landing"
    assert all(r.latest is None or r.latest <= r.time for r in rows), "no time is left where the fuel is short"
    assert flown.possible


def test_a_draw_that_is_not_flown_is_worse_than_any_that_is():
    assert _low_end(np.array([1.0, np.nan, 2.0]), 0.05) == -np.inf
    assert _low_end(np.array([1.0, np.nan, *[2.0] * 98]), 0.05) == 2.0
    assert _low_end(np.array([1.0, 3.0]), 0.05) == np.quantile([1.0, 3.0], 0.05)


def test_a_flight_with_nobody_aboard_has_no_detours_either():
    start, end = demo_flight().index("[[loads]]"), demo_flight().index("[fuel.left]")
    s = situation(demo_aeroplane(), demo_flight()[:start] + demo_flight()[end:])
    found = search(s, assess(s))
    assert not found.remedies and "add the people aboard to [[loads]]" in found.words


def test_a_folder_that_cannot_be_made_is_one_sentence(tmp_path):
    with pytest.raises(BadInput, match=r"--write: .* cannot be made: .*; name another folder"):
        write_requests(tmp_path / "missing" / "below", Found((), "", 0, 0))


def test_a_tank_plan_that_nothing_makes_known_is_what_the_answer_names():
    """An aeroplane without [selector]: which tank feeds when is not known, whatever is changed."""
    start = demo_aeroplane().index("[selector]")
    end = demo_aeroplane().index("\n[", start)
    s = situation(demo_aeroplane()[:start] + demo_aeroplane()[end:], demo_flight())
    found = search(s, assess(s))
    assert not found.remedies
    assert "Not known whatever is changed: imbalance of the tanks: The record has no selector" in found.words


def test_the_weight_at_which_a_limit_is_met_is_told_against_the_weight_as_asked():
    """Far over the certificated weight the curves end at that weight; what is asked is heavier."""
    s = situation(demo_aeroplane(), demo_flight().replace('weight = "176 lb"', 'weight = "1000 lb"'))
    found = search(s, assess(s))
    told = re.search(r"a ramp weight of ([\d,]+) lb, ([\d,]+) lb less than as asked", found.words)
    asked = next(float(from_si(a.aboard.load.weight_kg, "lb")) + float(from_si(a.usable_m3.sum() * a.aboard.density_kg_m3, "lb"))
                 for a in [screen_of(s, ())])
    assert abs(sum(float(x.replace(",", "")) for x in told.groups()) - asked) <= 1.0
