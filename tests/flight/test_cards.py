"""The take-off card: what it shows agrees with the runway sheet and with itself."""

from dataclasses import replace

import numpy as np
import pytest
from test_distances import BOOK, KT, lb
from test_runways import aerodrome, chosen, end

from ownship.aeroplane.description import Propeller
from ownship.flight.cards import ceiling, take_off_card
from ownship.units import from_si, to_si
from ownship.world.weather import WindReport


def card(wind=None, propeller=None, **change):
    made = end(**change)
    judged = chosen("take-off", aerodrome(made), WindReport(None, 0.0) if wind is None else wind)
    return judged, take_off_card(BOOK, judged, lb(2300), propeller, made.take_off_length_m)


def propeller(low_rpm):
    fields = dict.fromkeys(Propeller.__dataclass_fields__)
    return Propeller(**{**fields, "static_rev_s": tuple(float(to_si(x, "rpm")) for x in (low_rpm, low_rpm + 120))})


def test_the_least_acceptable_rpm_is_the_low_end_of_the_band_or_the_certificated_one():
    _, plain = card()
    assert plain["least_static_rpm"].value == pytest.approx(plain["static_rpm"].low, rel=1e-3)
    for low in (2000, 2500):
        _, found = card(propeller=propeller(low))
        assert found["least_static_rpm"].value == pytest.approx(max(low, plain["least_static_rpm"].value), rel=1e-3)  # the panel's rpm


def test_a_ceiling_beyond_the_model_is_said_and_not_shown_as_a_figure():
    """The model's hard range ends at 16,000 ft pressure altitude (design, invariant 1)."""
    def feet(low, high):
        return to_si(np.append((low + high) / 2, np.linspace(low, high, 41)), "ft")  # the middle flight comes first

    assert ceiling(feet(12000, 14000)).value == pytest.approx(13000)
    assert ceiling(feet(17000, 19000)) == "above 16,000 ft: beyond the model"
    between = ceiling(feet(15000, 16800))
    assert between.startswith("15,9") and between.endswith("ft to above 16,000 ft: beyond the model)")


def test_the_marked_point_is_half_the_roll_and_slower_than_lift_off():
    judged, found = card()
    roll = from_si(judged.distance.roll_m, "ft")
    assert found["marked_point"].value % 100 == pytest.approx(0, abs=1e-6)
    assert 0.5 * roll <= found["marked_point"].value < 0.5 * roll + 100
    assert 0.6 < found["ias_at_marked_point"].value / found["lift_off_ias"].value < 0.85
    assert found["lift_off_distance"].value == pytest.approx(roll)


def test_the_first_minute_is_the_rate_and_agrees_with_the_gradient():
    _, found = card()
    minute_nm = found["first_minute_climb"].value / found["climb_gradient"].value
    assert minute_nm * 60 == pytest.approx(found["climb_ias"].value, rel=0.12)


def test_stopping_is_not_promised_beyond_lift_off_nor_off_the_run():
    _, long = card(take_off_length_m=4000.0)
    assert long["stop_point"].value == pytest.approx(long["lift_off_distance"].value, rel=0.02)
    _, short = card(take_off_length_m=450.0)
    assert short["stop_point"].value < from_si(450.0, "ft")
    assert short["stop_point"].value < long["stop_point"].value


def test_a_slower_aeroplane_than_the_model_stretches_the_roll_of_the_card():
    """A handbook table a third longer than before: lift-off and stop point move with the chain's roll."""
    judged, plain = card(take_off_length_m=4000.0)
    stretched = replace(judged, distance=replace(judged.distance, roll_m=judged.distance.roll_m * 1.33))
    found = take_off_card(BOOK, stretched, lb(2300), None, 4000.0)
    for key in ("lift_off_distance", "stop_point"):
        assert found[key].value == pytest.approx(1.33 * plain[key].value, rel=0.02)


def test_hot_air_costs_climb_and_the_error_of_the_air_widens_the_band():
    judged, _ = card()
    def width(figure):
        return figure.high - figure.low

    still = replace(judged, ground=replace(judged.ground, temperature_noise_k=np.zeros(1)))
    noisy = replace(judged, ground=replace(judged.ground, temperature_noise_k=8.0 * np.tile([-1.0, 1.0], 32)))
    a, b = (take_off_card(BOOK, j, lb(2300), None, 1000.0) for j in (still, noisy))
    assert width(b["first_minute_climb"]) > width(a["first_minute_climb"])


def test_tailwind_lengthens_the_roll_and_flattens_the_climb():
    _, calm = card()
    _, tail = card(wind=WindReport(0.0, 6 * KT))
    assert tail["lift_off_distance"].value > calm["lift_off_distance"].value
    assert tail["climb_gradient"].value < calm["climb_gradient"].value


def test_the_card_says_stop_under_the_least_rpm_and_no_certificated_accelerate_stop():
    words = " ".join(card()[1]["cautions"])
    assert "Static rpm under the least acceptable" in words and "no certificated accelerate-stop" in words
