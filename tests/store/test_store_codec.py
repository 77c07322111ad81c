"""Bodies to plain JSON and back: every kind, exact; what is not allowed is refused in a sentence."""

import json
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from made_up import ANY_BODY, flight, money

from ownship.errors import BadInput
from ownship.ownership.entries import BODIES, Cost, FuelAdded, OilAdded, Setting, Weighing
from ownship.store.codec import KINDS, body_text, moment_text, plain_body, read_body, read_moment

DAY = date(2026, 7, 11)


def weighing(**changes):
    return Weighing(**({"day": DAY, "weighed": True, "weight_kg": 640.5, "arm_m": 2.21} | changes))


@given(ANY_BODY)
def test_every_body_comes_back_the_same_and_its_text_too(body):
    text = body_text(body)
    again = read_body(body.KIND, text)
    assert again == body and type(again) is type(body)
    assert body_text(again) == text


@given(st.floats(allow_nan=False, allow_infinity=False))
@example(-0.0)
@example(0.1 + 0.2)
@example(5e-324)
def test_numbers_come_back_to_the_last_digit(value):
    assert repr(read_body("weighing", body_text(weighing(weight_kg=value))).weight_kg) == repr(value)


def test_the_kinds_have_names_of_their_own():
    assert len(KINDS) == len(BODIES) and all(KINDS)


def test_decimals_keep_their_digits_as_text():
    text = body_text(FuelAdded("left", 0.05, "tab", money("120.50")))
    assert json.loads(text)["price"] == {"amount": "120.50", "currency": "USD"}
    assert str(read_body("fuel", text).price.amount) == "120.50"


@given(st.datetimes(datetime(2, 1, 1), datetime(9998, 1, 1)), st.datetimes(datetime(2, 1, 1), datetime(9998, 1, 1)),
       st.integers(-840, 840))
def test_moments_sort_as_text_as_they_do_in_time(one, other, minutes):
    a, b = one.replace(tzinfo=timezone(timedelta(minutes=minutes))), other.replace(tzinfo=UTC)
    assert (moment_text(a) < moment_text(b)) == (a < b)
    assert read_moment(moment_text(a)) == a


def test_a_field_that_is_missing_takes_its_default_so_that_fields_can_be_added():
    told = json.loads(body_text(flight()))
    del told["remarks"], told["approaches"]
    assert plain_body("flight", told) == flight()


@pytest.mark.parametrize("body", [
    weighing(weight_kg=float("nan")), weighing(weight_kg=float("inf")), weighing(weight_kg="640"), weighing(weight_kg=True),
    weighing(weight_kg=Decimal("640")), weighing(weighed=1), weighing(day=datetime(2026, 7, 11, tzinfo=UTC)), weighing(day="2026-07-11"),
    weighing(by=None), weighing(by="\ud800"), flight(landings_day=1.0), flight(landings_day=2**70), flight(via="KBOI"),
    flight(take_off=datetime(2026, 7, 11)), flight(crew=("a", 1)), flight(phases_s=(("taxi", 1.0, 2.0),)),
    flight(fuel_before=(("left", 1.0, "full"),)), OilAdded(0.001, 10.0, money("NaN")), Cost("hangar", "fixed", 12.0)])
def test_values_of_another_type_are_refused_by_name_in_one_sentence(body):
    with pytest.raises(BadInput) as refused:
        body_text(body)
    assert str(refused.value).startswith(f"{body.KIND}.") or "Money." in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(("change", "words"), [
    ({"wheels": 3}, "nobody reads 'wheels'"), ({"day": "20260711"}, "weighing.day"), ({"day": "2026-W28-6"}, "weighing.day"),
    ({"weight_kg": "640"}, "weighing.weight_kg"), ({"weighed": None}, "weighing.weighed"), ({"weight_kg": 10**400}, "weighing.weight_kg")])
def test_plain_values_are_read_as_strictly(change, words):
    with pytest.raises(BadInput, match=words):
        plain_body("weighing", json.loads(body_text(weighing())) | change)


@pytest.mark.parametrize("text", ["", "{", "[]", "3", '{"day": "2026-07-11"}', '{"weight_kg": NaN}'])
def test_text_that_is_no_whole_body_is_refused(text):
    with pytest.raises(BadInput):
        read_body("weighing", text)


@pytest.mark.parametrize("text", ["2026-07-11T15:00:00Z", "2026-07-11 15:00:00.000000Z", "2026-13-11T15:00:00.000000Z", None, 3,
                                  "2026-07-11T15:00:00.000000+00:00"])
def test_a_moment_is_read_in_one_form_only(text):
    with pytest.raises(BadInput):
        read_moment(text)


def test_a_moment_without_zone_or_beyond_the_calendar_is_refused():
    for moment in (datetime(2026, 7, 11), datetime(1, 1, 1, tzinfo=timezone(timedelta(hours=14)))):
        with pytest.raises(BadInput):
            moment_text(moment)


def test_an_unknown_kind_and_a_body_without_end_are_refused():
    with pytest.raises(BadInput, match="no kind of entry"):
        plain_body("wings", {})
    with pytest.raises(BadInput, match="no kind of entry"):
        body_text(money("1"))
    with pytest.raises(BadInput, match="shorten"):
        body_text(Setting("x", "y" * 5_000_001))
