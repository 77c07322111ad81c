"""A mistyped registration makes no other aeroplane in silence."""

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ownship.errors import BadInput
from ownship.ownership.entries import AeroplaneRevision, Entry, Flight, FuelSeen
from ownship.ownership.registrations import as_known, known_aeroplanes, letters_apart, nearest, of_a_file, other_aeroplane

NOON = datetime(2026, 7, 11, 12, tzinfo=UTC)
WORD = st.text("N0123T-", max_size=6)


def record(*pairs):
    return tuple(Entry(i, f"u{i}", name, NOON, NOON, body) for i, (name, body) in enumerate(pairs, 1))


KEPT = record(("N0160T", AeroplaneRevision(date(2020, 1, 1), "")), ("N0777X", Flight(NOON, NOON + timedelta(hours=1), "KBOI", "KBOI")),
              ("N0888X", FuelSeen("left", 0.01, "gauge")))


# Worked by hand: replaced, left out, put in, neighbours that changed places.
@pytest.mark.parametrize(("one", "other", "apart"), [
    ("N0160T", "N0160T", 0), ("N0160T", "N0161T", 1), ("N0160T", "N160T", 1), ("N0160T", "N01600T", 1), ("N0160T", "N0610T", 1),
    ("N0160T", "N0160", 1), ("N0160T", "0N610T", 2), ("N0160T", "N0170S", 2), ("N0160T", "N1234", 4), ("", "N1", 2)])
def test_letters_apart(one, other, apart):
    assert letters_apart(one, other) == letters_apart(other, one) == apart


@given(WORD, WORD)
def test_letters_apart_is_none_for_the_same_and_never_more_than_the_longer(one, other):
    found = letters_apart(one, other)
    assert (found == 0) == (one == other)
    assert abs(len(one) - len(other)) <= found <= max(len(one), len(other))


def test_what_the_record_knows_is_what_is_kept_or_was_flown():
    assert known_aeroplanes(KEPT) == ("N0160T", "N0777X")
    assert other_aeroplane(KEPT, "N0777X") == other_aeroplane((), "N9") == ()


@pytest.mark.parametrize("near", ["N0161T", "N160T", "N01-60T", "N0610T", "N0777Y"])
def test_one_or_two_letters_from_a_known_one_are_asked_about_first(near):
    with pytest.raises(BadInput, match=f"{near} is not an aeroplane of the record, and N0.* is; correct it, or say --other-aeroplane"):
        other_aeroplane(KEPT, near)
    assert other_aeroplane(KEPT, near, meant=True) == (
        f"{near} is not an aeroplane of the record; kept as a flight in another aeroplane",)


def test_a_registration_unlike_any_is_kept_and_told():
    assert nearest("N1234", known_aeroplanes(KEPT)) is None
    assert other_aeroplane(KEPT, "N1234", kept_as="an entry of") == (
        "N1234 is not an aeroplane of the record; kept as an entry of another aeroplane",)


def test_with_or_without_dashes_it_is_the_aeroplane_the_record_knows():
    assert as_known(KEPT, "N0-160T") == "N0160T" and as_known(KEPT, "N07-77X") == "N0777X" and as_known(KEPT, "N-1") == "N-1"


def test_a_file_s_registrations_are_held_against_the_record_and_one_another():
    assert of_a_file((), ["N0160T", "N0160T", "N1234"]) == ({"N0160T": "N0160T", "N1234": "N1234"}, ())
    assert of_a_file((), ["N0-160T", "N0160T", "N0160T"])[0] == {"N0160T": "N0160T", "N0-160T": "N0160T"}
    assert of_a_file(KEPT, ["N0-160T", "N1234"]) == (
        {"N0-160T": "N0160T", "N1234": "N1234"}, ("N1234 is not an aeroplane of the record; kept as a flight in another aeroplane",))
    for entries, said in (((), "N0161T and N0160T differ by no more than two letters"), (KEPT, "and N0160T is; correct it")):
        with pytest.raises(BadInput, match=said):
            of_a_file(entries, ["N0161T", "N0160T", "N0160T"])
        assert of_a_file(entries, ["N0161T", "N0160T", "N0160T"], meant=True)[0] == {"N0160T": "N0160T", "N0161T": "N0161T"}
