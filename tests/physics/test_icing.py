"""Carburettor ice, frost and the cold altimeter: directions that must hold everywhere, not the edges of a drawing."""

from hypothesis import given, settings
from hypothesis import strategies as st

from ownship.physics.icing import ORDER, carburettor_icing, cold_altimeter_error_m, frost_likely

TEMPERATURES, SPREADS = st.floats(-30, 45), st.floats(0, 30)


@settings(max_examples=150, derandomize=True, deadline=None)
@given(TEMPERATURES, SPREADS, st.floats(0, 20), st.booleans())
def test_drier_air_is_never_riskier(t, spread, more, low_power):
    wet, dry = (ORDER.index(carburettor_icing(t, t - s, low_power=low_power)) for s in (spread, spread + more))
    assert dry <= wet


@settings(max_examples=150, derandomize=True, deadline=None)
@given(TEMPERATURES, SPREADS)
def test_closing_the_throttle_is_never_safer(t, spread):
    cruise, low = (ORDER.index(carburettor_icing(t, t - spread, low_power=p)) for p in (False, True))
    assert low >= cruise


def test_every_word_of_the_scale_occurs():
    found = {carburettor_icing(t, t - s, low_power=p) for t in range(-30, 46) for s in range(30) for p in (False, True)}
    assert found == set(ORDER)


def test_frost_needs_cold_and_damp_and_an_unknown_dew_point_counts_as_damp():
    assert frost_likely(273.15, 272.15)
    assert frost_likely(273.15, None)
    assert not frost_likely(273.15, 263.15)
    assert not frost_likely(283.15, 283.0)


@settings(max_examples=100, derandomize=True, deadline=None)
@given(st.floats(10, 5000), st.floats(0, 2500), st.floats(230, 320), st.floats(0.1, 30))
def test_colder_air_puts_the_aeroplane_lower(height, elevation, temperature, less):
    assert cold_altimeter_error_m(height, elevation, temperature - less) > cold_altimeter_error_m(height, elevation, temperature)


@settings(max_examples=100, derandomize=True, deadline=None)
@given(st.floats(10, 4000), st.floats(1, 1000), st.floats(230, 285))
def test_the_error_grows_with_height_above_the_station(height, more, temperature):
    assert cold_altimeter_error_m(height + more, 0.0, temperature) > cold_altimeter_error_m(height, 0.0, temperature)


def test_about_four_per_cent_for_ten_degrees():
    """Rule of thumb, common practice: 4 % of the height for each 10 C below standard."""
    assert 0.03 < cold_altimeter_error_m(1000.0, 0.0, 278.15) / 1000.0 < 0.045
