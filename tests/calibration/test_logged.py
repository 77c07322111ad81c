"""Fills and engine entries of a measurements file: read strictly, levels by the record's tanks, series in standard air."""

import pytest

from ownship.aeroplane.description import Mark, Tank
from ownship.calibration.engine_found import filter_words, series
from ownship.calibration.fuel_found import _level, mean_cruise
from ownship.calibration.measured import Measurements, read_measurements
from ownship.errors import BadInput, OwnshipError
from ownship.schema import read_toml
from ownship.units import from_si, to_si

HEAD = '[record]\nsource = "owner, pump and stick"\n'
START = '[[fill]]\ndate = 2026-04-01\ntanks = [{tank = "left", level = "full"}]\n'
FILL = ('[[fill]]\ndate = 2026-05-01\nname = "Sunday"\nflights = [{taxi = "10 min", climb = "12 min", cruise = "1h20m"}]\n'
        'tanks = [{tank = "left", level = "full", added = "12 usgal"}]\n')
CRUISE = 'cruise = {rpm = "2450 rpm", pressure_altitude = "6000 ft", oat = "5 C", weight = "2200 lb"}\n'
ENGINE = '[[engine]]\nhours = "1200 h"\nstatic = {rpm = "2350 rpm", oat = "30 C", pressure_altitude = "5000 ft"}\n'
GAL = to_si(1.0, "usgal")
TANK = Tank("left", "left tank", 25 * GAL, 1 * GAL, 2.0, (Mark("tab", 17 * GAL),), ((0.05, 2 * GAL), (0.15, 12 * GAL)))


def read(body: str) -> Measurements:
    return read_measurements(read_toml(HEAD + body, "own.toml"))


def test_a_fill_is_read_with_its_flights_and_cruise():
    start, fill = read(START + FILL + CRUISE).fills
    assert start.flights == () and (fill.name, fill.settled) == ("Sunday", "")
    assert fill.flights[0].cruise_s == 80 * 60 and fill.flights[0].descent_s == 0
    assert from_si(fill.cruise.rev_s, "rpm") == pytest.approx(2450) and fill.cruise.mixture == "lean"
    assert fill.tanks[0].added_m3 == pytest.approx(12 * GAL)


@pytest.mark.parametrize(("written", "gallons", "sd_gallons"), [
    ('level = "full"', 25, 0.3), ('level = "tab"', 18, 1.0), ('level = "10 usgal", known_by = "gauge"', 11, 6.25),
    ('level = "10 usgal", known_by = "dipstick"', 10, 1.0), ('level = "10 cm"', 7, 1.0),
    ('level = "10 usgal", known_by = "dipstick", counts = "usable"', 11, 1.0), ('level = "9 usgal", known_by = "meter"', 10, 0.45),
    ('level = "9 usgal", known_by = "meter", counts = "total"', 9, 0.48)])
def test_levels_are_total_fuel_with_their_own_error(written, gallons, sd_gallons):
    """One sd: full 0.3, mark and dipstick 1 US gal, gauge a quarter of the tank, meter 3 % of what was used (common practice)."""
    (tank,) = read(START.replace('level = "full"', written)).fills[0].tanks
    level = _level(tank, (TANK,))
    assert level.level_m3 / GAL == pytest.approx(gallons) and level.sd_m3 / GAL == pytest.approx(sd_gallons)


@pytest.mark.parametrize(("written", "words"), [
    ('tank = "middle", level = "full"', "no tank 'middle'"), ('tank = "left", level = "brim"', "no mark 'brim'"),
    ('tank = "left", level = "30 usgal", known_by = "meter"', "more than the 25.0 usgal"),
    ('tank = "left", level = "20 cm"', "does not hold that reading"),
    ('tank = "left", level = "5 usgal", known_by = "dipstick", added = "12 usgal"', "added are more than")])
def test_levels_that_the_record_does_not_have(written, words):
    (tank,) = read(START.replace('tank = "left", level = "full"', written)).fills[0].tanks
    with pytest.raises(BadInput, match=words) as error:
        _level(tank, (TANK,))
    assert str(error.value).startswith("own.toml line ")


@pytest.mark.parametrize(("body", "words"), [
    (FILL, "the first fill has flights"), (START + START, "needs the flights"), (START.replace("date = 2026-04-01\n", ""), "date"),
    (START + FILL.replace("2026-05-01", "2026-03-01"), "order of time"), (START.replace("2026-04-01", "2026-04-01T10:00:00"), "date"),
    (START + FILL.replace("climb", "climbing"), "climbing"), (START + FILL + 'settled = "maybe"\n', "lost, short, right"),
    (START + FILL.replace('taxi = "10 min", climb = "12 min", cruise = "1h20m"', ""), "no times"),
    (START + FILL.replace('"10 min"', '"-10 min"'), "believable"), (START + FILL + CRUISE.replace("2450", "9450"), "believable"),
    (START.replace('tanks = [{tank = "left", level = "full"}]\n', ""), "needs the tanks"),
    (START.replace('level = "full"', 'level = "full", known_by = "gauge"'), "does not go with"),
    (START.replace('level = "full"', 'level = "10 usgal"'), "known_by"),
    (START.replace('level = "full"', 'level = "10 usgal", known_by = "full"'), "does not go with"),
    (START.replace('level = "full"', 'level = "10 kt", known_by = "gauge"'), "not a volume"),
    (START.replace('level = "full"', 'level = "900 usgal", known_by = "gauge"'), "believable"),
    (START.replace('}]', '}, {tank = "left", level = "tab"}]'), "twice"),
    (ENGINE.split("static", maxsplit=1)[0], "nothing is noted"), (ENGINE + 'compressions = ["80/72"]\n', "no compression"),
    (ENGINE + 'compressions = ["72"]\n', "no compression"), (ENGINE + 'compressions = ["0/0"]\n', "no compression"),
    (ENGINE + 'filter = "so-so"\n', "clean, carbon, metal"), (ENGINE + 'oil_added = "-1 qt"\n', "believable"),
    (ENGINE + 'mag_drop = {left = "60 rpm", both = "3 rpm"}\n', "both"), (ENGINE + ENGINE.replace("1200", "1100"), "run back"),
    (ENGINE.replace(', pressure_altitude = "5000 ft"', ""), "pressure_altitude")])
def test_refusals_are_one_sentence_with_the_line(body, words):
    with pytest.raises(OwnshipError, match=words) as error:
        read(body)
    assert str(error.value).startswith("own.toml line ") and "\n" not in str(error.value)


def test_a_mean_cruise_needs_every_cruise_at_much_the_same():
    both = read(START + FILL + CRUISE + FILL + CRUISE.replace("2450", "2550")).fills[1:]
    assert from_si(mean_cruise(both).rev_s, "rpm") == pytest.approx(2500)
    assert "not every fill" in mean_cruise(read(START + FILL + CRUISE + FILL).fills[1:])
    assert "300 rpm" in mean_cruise(read(START + FILL + CRUISE + FILL + CRUISE.replace("2450", "2100")).fills[1:])
    rich = FILL + CRUISE.replace("}", ', mixture = "rich"}')
    assert "rich" in mean_cruise(read(START + FILL + CRUISE + rich).fills[1:])


def test_engine_entries_become_series():
    entry = '[[engine]]\nhours = "{} h"\noil_added = "{} qt"\ncompressions = ["{}/80", "70/80"]\nmag_drop = {{right = "70 rpm"}}\n'
    body = ENGINE + "".join(entry.format(1200 + 20 * i, 1 + i, 78 - i) for i in range(6))
    found = {f"{s.found.kind} {s.found.label}".strip(): s for s in series(read(body).engine, lambda altitude, kelvin: 1.02)}
    assert list(found) == ["static_rev_s", "oil_m3_s", "compression_1 cylinder 1", "compression_1 cylinder 2", "mag_drop_rev_s right"]
    assert found["static_rev_s"].entries[0].reduction_1 == 1.02
    rates = [from_si(e.value * 3600, "qt") for e in found["oil_m3_s"].entries]
    assert rates == pytest.approx([(1 + i) / 20 for i in range(1, 6)])  # of the first nobody knows since when
    assert found["compression_1 cylinder 1"].found.alert and not found["compression_1 cylinder 2"].found.alert
    assert found["static_rev_s"].found.words.endswith("are needed.")


def test_oil_noted_between_two_fillings_of_the_same_hour_is_not_lost():
    body = "".join(f'[[engine]]\nhours = "{h} h"\noil_added = "{q} qt"\n' for h, q in ((100, 3), (100, 1), (120, 1)))
    (oil,) = series(read(body).engine, lambda altitude, kelvin: 1.0)
    assert [from_si(e.value * 3600, "qt") for e in oil.entries] == pytest.approx([2 / 20])


def test_metal_in_the_filter_is_an_alert_of_its_own():
    body = "".join(f'[[engine]]\nhours = "{h} h"\nfilter = "{f}"\n' for h, f in ((100, "clean"), (150, "metal"), (200, "carbon")))
    alert, last = filter_words(read(body).engine)
    assert "150 h" in alert and "ALERT" in alert and "mechanic" in alert and last == "Oil filter at 200 h: carbon."


def test_the_example_of_the_documentation_is_read():
    from pathlib import Path

    text = (Path(__file__).resolve().parents[2] / "docs" / "formats" / "measurements.md").read_text(encoding="utf-8")
    measured = read_measurements(read_toml(text.split("```toml")[1].split("```", maxsplit=1)[0], "measurements.md"))
    assert len(measured.fills) == 2 and measured.fills[1].cruise is not None and len(measured.engine) == 1
