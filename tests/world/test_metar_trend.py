"""The trend behind a METAR as a small TAF of two hours. Meaning of TEMPO, BECMG, FM, TL, AT: ICAO Annex 3, from memory."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ownship.units import from_si, to_si
from ownship.world.trend import possible_around, trend_of
from ownship.world.weather import observed_moment, parse_metar

MADE = datetime(2026, 7, 31, 23, 53, tzinfo=UTC)
BODY = "KBOI 312353Z 31008KT 10SM CLR 30/07 A3002"  # made by hand


def trend(text):
    return trend_of(f"{BODY} {text}", parse_metar(BODY), MADE + timedelta(hours=1))


@pytest.mark.parametrize(("near", "expected"), [
    (datetime(2026, 8, 1, 0, 0, tzinfo=UTC), MADE), (datetime(2026, 8, 14, tzinfo=UTC), MADE),
    (datetime(2026, 8, 20, tzinfo=UTC), datetime(2026, 8, 31, 23, 53, tzinfo=UTC)),
    (datetime(2026, 7, 2, tzinfo=UTC), datetime(2026, 7, 31, 23, 53, tzinfo=UTC)),
    (datetime(2026, 9, 10, tzinfo=UTC), datetime(2026, 8, 31, 23, 53, tzinfo=UTC)),
])
def test_a_reports_day_is_that_of_the_nearest_month_that_has_it(near, expected):
    assert observed_moment((31, 23, 53), near) == expected


def test_a_tempo_lies_over_the_body_for_two_hours_across_midnight():
    taf = trend("TEMPO 19020G35KT 1 1/2SM BKN008").taf
    assert (taf.valid_from, taf.valid_to) == (MADE, MADE + timedelta(hours=2))
    plain, tempo = possible_around(taf, MADE + timedelta(hours=1), 0.0)
    assert plain.visibility_m == pytest.approx(to_si(10, "sm")) and tempo.visibility_m == pytest.approx(to_si(1.5, "sm"))
    assert from_si(tempo.ceiling_m, "ft") == pytest.approx(800) and from_si(tempo.wind.gust_m_s, "kt") == pytest.approx(35)
    assert possible_around(taf, MADE + timedelta(hours=2, minutes=1), 0.0) == ()


def test_a_becmg_that_is_over_leaves_the_new_and_one_that_runs_both():
    taf = trend("BECMG FM0030 TL0100 OVC008").taf
    after = [len(possible_around(taf, MADE + timedelta(minutes=m), 0.0)) for m in (10, 50, 70)]
    assert after == [1, 2, 1]
    over = possible_around(taf, MADE + timedelta(minutes=70), 0.0)[0]
    assert from_si(over.ceiling_m, "ft") == pytest.approx(800)


def test_nosig_and_no_trend_are_no_change():
    assert trend("NOSIG") == trend("") and trend("").taf is None and trend("").unread == ()


@given(st.lists(st.sampled_from(["TEMPO", "BECMG", "FM0030", "TL0100", "AT9999", "TL2400", "NOSIG", "RMK", "OVC008", "1 1/2SM", "0800", "XX",
                                 "PROB30", "19020G10KT", "99020KT", "CAVOK", "1/2SM", "FM010030", "=", "///"]), max_size=12))
def test_every_word_of_a_trend_is_either_read_or_named(words):
    found = trend(" ".join(words))
    read = " ".join(p.text for p in found.taf.periods[1:]) if found.taf else ""
    changes = [w for w in words if w in ("TEMPO", "BECMG")]
    assert sum((read + " " + " ".join(found.unread)).split().count(w) for w in set(changes)) >= len(changes)
