"""The owner's measurements: read strictly, reduced to what was really flown, said in words."""

from __future__ import annotations

import re

import numpy as np
import pytest

from ownship.calibration.measured import Measurements, read_measurements
from ownship.calibration.measurements import row_sd
from ownship.calibration.reductions import Reduced, reduce
from ownship.errors import BadInput, MissingSource, OwnshipError, UnknownKey
from ownship.performance.rows import joined, read_rows
from ownship.physics.airspeed import tas_from_cas_m_s
from ownship.physics.atmosphere import Air, isa_temperature_k
from ownship.physics.wind import wind_triangle
from ownship.schema import read_toml
from ownship.units import from_si, to_si

HEAD = '[record]\nsource = "owner, GPS and stopwatch"\n'
AIR = 'pressure_altitude = "4000 ft"\noat = "10 C"\nweight = "2100 lb"\n'
STATIC = '[[static]]\nrpm = "2300 rpm"\noat = "15 C"\npressure_altitude = "500 ft"\noptical = {}\n'
CHECK = '[[tachometer]]\npanel = "2400 rpm"\noptical = "2340 rpm"\n'
CLIMB = ('[[timed_climb]]\nfrom = "2000 ft"\nto = "4000 ft"\ntime = "4 min"\nias = "76 kt"\noat = "{}"\n'
         'weight = "2200 lb"\n')
GLIDE = ('[[glide]]\nfrom = "5000 ft"\nto = "4000 ft"\ntime = "90 s"\nias = "70 kt"\noat = "7 C"\nweight = "2100 lb"\n'
         'propeller = "windmilling"\n')
TAKE_OFF = ('[[take_off]]\nroll = "900 ft"\nover_50ft = "1700 ft"\n' + AIR + 'headwind = "5 kt"\nslope = "{}"\n'
            'surface = "{}"\nflap = "take_off"\nlift_off = "55 kt"\nat_50ft = "62 kt"\n')


def read(body: str) -> Measurements:
    return read_measurements(read_toml(HEAD + body, "own.toml"))


def reduced(body: str) -> Reduced:
    return reduce(read(body), None)


def level(legs: list[tuple[float, float]], extra: str = "") -> str:
    inner = ", ".join(f'{{ groundspeed = "{g:.6f} kt", track = "{t:.6f} deg" }}' for g, t in legs)
    return f'[[level_run]]\ndate = 2024-05-17\n{AIR}rpm = "2400 rpm"\n{extra}legs = [{inner}]\n'


def legs_of(tas_kt: float, wind_from: float, wind_kt: float, tracks: list[float]) -> list[tuple[float, float]]:
    _, ground, _ = wind_triangle(np.array(tracks), tas_kt, wind_from, wind_kt)
    return list(zip(ground.tolist(), tracks, strict=True))


@pytest.mark.parametrize("tracks", [[10.0, 130.0, 250.0], [0.0, 90.0, 180.0, 270.0], [20.0, 100.0, 200.0]])
def test_level_run_gives_back_airspeed_and_wind(tracks: list[float]) -> None:
    out = reduced(level(legs_of(108.0, 240.0, 18.0, tracks)))
    assert out.rows.kind.tolist() == ["cruise_tas_kt"]
    assert out.rows.value[0] == pytest.approx(108.0, abs=1e-3)
    assert out.rows.rev_s[0] == pytest.approx(40.0)
    assert out.rows.texts["origin"].tolist() == ["own"]
    assert any("wind from 240 degrees at 18.0 kt" in f for f in out.findings)


def test_legs_that_disagree_widen_or_are_left_out() -> None:
    legs = legs_of(108.0, 240.0, 18.0, [0.0, 90.0, 180.0, 270.0])
    rough = [(g + d, t) for (g, t), d in zip(legs, (12.0, -12.0, 12.0, -12.0), strict=True)]
    out = reduced(level(rough))
    assert len(out.rows) == 0
    assert any("not used" in f for f in out.findings)


def test_position_error_from_indicated() -> None:
    cas = to_si(100.0, "kt")
    tas = from_si(float(tas_from_cas_m_s(cas, Air(to_si(4000, "ft"), to_si(10, "C", "temperature")))), "kt")
    body = level(legs_of(tas, 300.0, 12.0, [0.0, 120.0, 240.0]), 'ias = "103 kt"\n')
    ((ias, found, sd),) = reduced(body).position_error
    assert from_si(ias, "kt") == pytest.approx(103.0)
    assert found == pytest.approx(cas, abs=1e-3)
    assert 1.0 < from_si(sd, "kt") < 2.5
    table = (tuple(to_si(np.array([50.0, 120.0]), "kt").tolist()), tuple(to_si(np.array([52.0, 128.0]), "kt").tolist()))
    assert any("differs from" in f for f in reduce(read(body), table).findings)
    assert reduced(level(legs_of(tas, 300.0, 12.0, [0.0, 120.0, 240.0]))).position_error == ()


def test_tachometer_is_a_row_and_panel_readings_stay() -> None:
    body = CHECK + STATIC.format("false") + STATIC.format("true") + level(legs_of(108.0, 240.0, 18.0, [0.0, 120.0, 240.0]))
    out = reduced(body)
    assert out.rows.kind.tolist() == ["tachometer_pct", "cruise_tas_kt", "static_rpm", "static_rpm"]
    assert out.rows.value[0] == pytest.approx(97.5)
    assert 0 < out.rows.sd[0] < 1
    assert out.rows.rev_s[1] * 60 == pytest.approx(2400.0)
    assert out.rows.value[2:].tolist() == pytest.approx([2300.0, 2300.0])
    assert out.rows.texts["tachometer"].tolist() == ["", "", "panel", "optical"]
    assert any("60 rpm more than the engine turns" in f for f in out.findings)
    assert any("not checked" in f for f in reduced(STATIC.format("false")).findings)
    assert not any("not checked" in f for f in reduced(STATIC.format("true")).findings)


def test_more_checks_make_the_ratio_surer() -> None:
    assert reduced(CHECK * 4).rows.sd[0] == pytest.approx(reduced(CHECK).rows.sd[0] / 2)


def test_climb_is_geometric() -> None:
    isa = float(isa_temperature_k(to_si(3000, "ft")))
    assert reduced(CLIMB.format(f"{isa:.4f} K")).rows.value[0] == pytest.approx(500.0, abs=0.01)
    out = reduced(CLIMB.format(f"{isa * 1.1:.4f} K"))
    assert out.rows.value[0] == pytest.approx(550.0, abs=0.01)
    assert from_si(out.rows.pressure_altitude_m[0], "ft") == pytest.approx(3000.0)
    assert from_si(out.rows.climb_ias_m_s[0], "kt") == pytest.approx(76.0)


def test_glide_is_a_row_of_its_sink() -> None:
    out = reduced(GLIDE)
    assert out.rows.kind.tolist() == ["glide_sink_fpm"]
    assert out.rows.value[0] == pytest.approx(669, abs=4)
    assert out.rows.texts["propeller"].tolist() == ["windmilling"]
    (words,) = out.findings
    # 1,000 ft in 90 s: 667 ft/min; 70 kt calibrated at 4,500 ft is 74.9 kt true = 7,590 ft/min
    sink, ratio = re.search(r"sinks (\d+) ft/min, ([\d.]+) to 1", words).groups()  # type: ignore[union-attr]
    assert float(sink) == pytest.approx(669, abs=4)
    assert float(ratio) == pytest.approx(11.3, abs=0.15)


def test_runway_rows_carry_technique_and_surface() -> None:
    out = reduced(TAKE_OFF.format("0 %", "grass dry"))
    assert out.rows.kind.tolist() == ["takeoff_roll_ft", "takeoff_50ft_ft"]
    assert out.rows.value.tolist() == pytest.approx([900.0, 1700.0])
    assert out.rows.texts["surface"].tolist() == ["grass dry"] * 2
    assert out.rows.texts["flap"].tolist() == ["take_off"] * 2
    assert from_si(out.rows.headwind_m_s, "kt") == pytest.approx(5.0)
    assert from_si(out.rows.lift_off_ias_m_s, "kt") == pytest.approx(55.0)
    assert out.findings == ()


@pytest.mark.parametrize("slope", ["-1 %", "1 %"])
def test_a_slope_belongs_to_its_row(slope: str) -> None:
    assert reduced(TAKE_OFF.format(slope, "paved")).rows.slope_1.tolist() == [float(slope[:-2]) / 100] * 2


def test_rows_join_a_book_and_have_an_own_scatter() -> None:
    flow = '[[fuel_flow]]\nflow = "8.1 usgal/h"\nrpm = "2400 rpm"\nmixture = "lean"\n' + AIR
    own = reduced(flow + CHECK + CLIMB.format("10 C")).rows
    book = read_rows("kind,pressure_altitude_ft,oat_c,weight_lb,value\nrate_of_climb_fpm,0,15,2200,700\n", "book.csv")
    both = joined([book, own])
    assert both.texts["origin"].tolist() == ["", "own", "own", "own"]
    sd = row_sd(both)
    assert sd[2] > sd[0]
    assert len(own.cells) == len(own.line) == len(own) == 3
    assert own.cells != reduced(flow.replace("8.1", "8.2") + CHECK + CLIMB.format("10 C")).rows.cells
    # the cells are what a rows file would hold: read back, they are the same rows
    text = ",".join(own.columns) + "\n" + "\n".join(",".join(c) for c in own.cells)
    again = read_rows(text, "own.csv")
    assert again.value == pytest.approx(own.value)
    assert again.weight_kg == pytest.approx(own.weight_kg, nan_ok=True)
    assert again.sd == pytest.approx(own.sd, nan_ok=True)
    assert again.rev_s == pytest.approx(own.rev_s, nan_ok=True)
    assert again.texts["mixture"].tolist() == own.texts["mixture"].tolist()


def test_nothing_measured_is_no_rows() -> None:
    out = reduced("")
    assert len(out.rows) == 0
    assert out.findings == ()


NORTH3 = [(100.0, 90.0)] * 3


@pytest.mark.parametrize(("body", "words"), [
    (level([(100, 0), (110, 120)]), "2 legs"),
    (level(NORTH3), "clearly different"),
    (level([(20, 0), (20, 120), (20, 240)]), "not believable"),
    (level([(100, 0), (100, 120), (900, 240)]), "not believable"),
    (CLIMB.format("150 C"), "not believable"),
    (CLIMB.format("10 C").replace("4000 ft", "2100 ft"), "no climb of 300 ft"),
    (CLIMB.format("10 C").replace("4 min", "12 s"), "not believable"),
    (CLIMB.format("10 C").replace("4 min", "4"), "has no unit"),
    (GLIDE.replace("4000 ft", "6000 ft"), "no glide of 300 ft"),
    (GLIDE.replace("90 s", "900 s"), "no believable glide"),
    (GLIDE.replace("windmilling", "feathered"), "is not one of"),
    (STATIC.format('"yes"'), "true or false"),
    (CHECK.replace("2340", "3600"), "number of blades"),
    (TAKE_OFF.format("0 %", "paved").replace("1700 ft", "800 ft"), "includes the roll"),
    (TAKE_OFF.format("12 %", "paved"), "not believable"),
    (TAKE_OFF.format("0 %", "soft"), "is not one of"),
    ('[[landing]]\n' + AIR + 'headwind = "0 kt"\nsurface = "paved"\n', "neither roll nor over_50ft"),
    (CHECK + "date = 17\n", "should be a date"),
])
def test_refusals_are_one_sentence_with_the_place(body: str, words: str) -> None:
    with pytest.raises(BadInput) as caught:
        read(body)
    said = str(caught.value)
    assert words in said
    assert said.startswith("own.toml line ")
    assert "\n" not in said


@pytest.mark.parametrize("key", ["gps", "wind", "legs"])
def test_unknown_keys_are_refused(key: str) -> None:
    with pytest.raises(UnknownKey, match=key):
        read(CLIMB.format("10 C") + f'{key} = "1 kt"\n')


def test_a_source_is_needed() -> None:
    with pytest.raises(MissingSource, match="source"):
        read_measurements(read_toml(CHECK, "own.toml"))
    assert issubclass(MissingSource, OwnshipError)


GPS = 'heights = "gps"\npressure_altitude = "2700 ft"\n'


def test_gps_heights_are_geometric_already_and_need_no_correction_for_temperature() -> None:
    """2,000 ft in 4 min by GPS are 500 ft/min; on the altimeter, at 35 C (30 above standard there), 500 x T/T_isa."""
    by_gps = reduced(CLIMB.format("35 C") + GPS)
    assert by_gps.rows.value[0] == pytest.approx(500.0)
    assert from_si(by_gps.rows.pressure_altitude_m[0], "ft") == pytest.approx(2700.0)
    assert "no correction" in by_gps.findings[0]
    by_altimeter = reduced(CLIMB.format("35 C")).rows.value[0]
    isa = float(isa_temperature_k(to_si(3000, "ft")))
    assert by_altimeter == pytest.approx(500.0 * to_si(35, "C", "temperature") / isa)
    glide = reduced(GLIDE + GPS)
    assert glide.rows.value[0] == pytest.approx(1000 / 1.5)
    assert from_si(glide.rows.pressure_altitude_m[0], "ft") == pytest.approx(2700.0)


def test_gps_heights_need_the_pressure_altitude_and_pressure_heights_refuse_it() -> None:
    with pytest.raises(OwnshipError, match="pressure_altitude"):
        read(CLIMB.format("35 C") + 'heights = "gps"\n')
    with pytest.raises(UnknownKey, match="pressure_altitude"):
        read(CLIMB.format("35 C") + 'pressure_altitude = "2700 ft"\n')
    with pytest.raises(BadInput, match="heights"):
        read(CLIMB.format("35 C") + 'heights = "radar"\n')


@pytest.mark.parametrize("low", range(1000, 9000, 100))
def test_three_hundred_feet_are_enough_at_any_height(low: int) -> None:
    body = CLIMB.format("10 C").replace('"4000 ft"', f'"{low + 300} ft"').replace('from = "2000 ft"', f'from = "{low} ft"')
    assert len(read(body).timed_climbs) == 1
    with pytest.raises(BadInput, match="300 ft or more"):
        read(body.replace(f'"{low + 300} ft"', f'"{low + 299} ft"'))
