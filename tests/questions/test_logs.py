"""Fills and engine entries in the owner's file: flows by phase, a leak named, what to plan on, trends, the row they are worth."""

import json

import numpy as np
import pytest
from commands import run

from ownship.calibration.estimate import draws_of, individual
from ownship.calibration.fuel_found import fuel_found, planned_flows
from ownship.calibration.fuel_log import PHASES
from ownship.calibration.measured import read_measurements
from ownship.performance.model import Model, airframe_of
from ownship.questions.calibrating import fit_both, record_of, rows_text, surrogate_of
from ownship.questions.logs import taxi_flow
from ownship.schema import read_toml
from ownship.units import from_si, to_si

HEAD = '[record]\nsource = "owner, pump"\n'
FULL = '{{tank = "{}", level = "full", added = "{:.2f} usgal"}}'
CRUISE = 'cruise = {rpm = "2450 rpm", pressure_altitude = "6000 ft", oat = "5 C", weight = "2200 lb"}\n'
GAL, USUAL_MIN = to_si(1.0, "usgal"), {"taxi": 10, "climb": 12, "cruise": 85, "descent": 10, "approach": 6}


@pytest.fixture(scope="module")
def demo():
    from ownship.performance.rows import read_rows

    record, _, folder = record_of("demo")
    airframe = airframe_of(record)
    fitted = fit_both(airframe, read_rows(*rows_text(record, folder)))
    return record, Model(airframe, surrogate_of(airframe), draws_of(individual(fitted.book)))


def planned_of(model):
    said = read_measurements(read_toml(HEAD + log([0.0], dict.fromkeys(PHASES, 1.0), np.random.default_rng(0)), "own.toml")).fills
    return planned_flows(model, said[1].cruise, taxi_flow())


def log(extra, flow_usgal_h, rng, cruise=CRUISE, settled=None):
    """A log from full to full, both tanks: flows in US gal/h, `extra` US gal lost by fill, each level good to 0.3 US gal."""
    said = '[[fill]]\ndate = 2026-04-01\ntanks = [{tank = "left", level = "full"}, {tank = "right", level = "full"}]\n'
    before = 0.3 * rng.standard_normal(2)
    for i, lost in enumerate(extra):
        times = {p: t * rng.uniform(0.6, 1.4) for p, t in USUAL_MIN.items()}
        burn = sum(flow_usgal_h[p] * t / 60 for p, t in times.items()) * (1 + 0.02 * rng.standard_normal()) + lost
        after = 0.3 * rng.standard_normal(2)
        left, right = burn / 2 + after - before
        before = after
        phases = ", ".join(f'{p} = "{t:.2f} min"' for p, t in times.items())
        said += (f'[[fill]]\ndate = 2026-05-{i + 1:02d}\nname = "flight {i + 1}"\nflights = [{{{phases}}}]\n'
                 f'tanks = [{FULL.format("left", left)}, {FULL.format("right", right)}]\n{cruise}'
                 + (f'settled = "{settled[i]}"\n' if settled and i in settled else ""))
    return said


FLOWS = {"taxi": 6.5, "climb": 11.5, "cruise": 8.0, "descent": 4.8, "approach": 5.2}


def own(tmp_path, body):
    (tmp_path / "own.toml").write_text(HEAD + body)
    return str(tmp_path / "own.toml")


def words_of(capsys, tmp_path, body):
    code, out, err = run(capsys, "calibrate", "demo", "--own", own(tmp_path, body), "--json")
    assert code == 0, err
    return json.loads(out)


def test_a_leak_is_named_and_the_next_flight_is_planned_on_the_worse(capsys, tmp_path):
    leak = [0.0] * 7 + [3.5] + [0.0] * 3
    data = words_of(capsys, tmp_path, log(leak, FLOWS, np.random.default_rng(1)))
    words = data["words"]
    assert len(words["what your fills say"]) == 6 and words["what your fills say"][2].startswith("Cruise: ")
    (named,) = words["fills that do not agree"]
    assert "flight 8" in named and "leak" in named and "Not averaged in" in named
    plan, warning = words["what to plan the next flight on"]
    assert "Until flight 8 is settled" in plan and "% more than learned" in plan and "check" in warning
    assert data["own"]["rows"] == data["book"]["rows"] + 1


def test_a_settled_fill_no_longer_raises_the_plan(capsys, tmp_path):
    leak = [0.0] * 7 + [3.5] + [0.0] * 3
    words = words_of(capsys, tmp_path, log(leak, FLOWS, np.random.default_rng(1), settled={7: "lost"}))["words"]
    (plan,) = words["what to plan the next flight on"]
    assert "settled" in plan and "more than learned" not in plan
    assert "settled as lost" in words["fills that do not agree"][0]


def test_fills_without_their_cruise_are_words_only(capsys, tmp_path):
    data = words_of(capsys, tmp_path, log([0.0] * 4, FLOWS, np.random.default_rng(2), cruise=""))
    assert data["own"] is None
    assert "no row of the calibration: not every fill says" in data["words"]["what your fills say"][-1]


def test_the_start_of_a_log_alone_says_what_is_missing(capsys, tmp_path):
    words = words_of(capsys, tmp_path, log([], FLOWS, np.random.default_rng(2)))["words"]
    assert "start alone" in words["what your fills say"][0]


def test_a_tank_without_a_start_and_one_that_is_not_there_are_one_sentence(capsys, tmp_path):
    body = log([0.0], FLOWS, np.random.default_rng(2))
    for text, said in ((body.replace(', {tank = "right", level = "full"}', "", 1), "no level of the right tank"),
                       (body.replace('"right"', '"tip"'), "no tank 'tip'"), (body.replace('"2450 rpm"', '"1100 rpm"'), "cannot fly"),
                       (body.replace('"2450 rpm"', '"3200 rpm"'), "cannot fly")):
        code, out, err = run(capsys, "calibrate", "demo", "--own", own(tmp_path, text))
        assert code == 2 and out == "" and err.count("\n") == 1 and said in err


def test_planned_flows_are_in_order_and_doubt_what_is_not_said(demo):
    _, model = demo
    said, unsaid = planned_of(model), planned_flows(model, "nothing is said", taxi_flow())
    for flows in (said, unsaid):
        assert flows["climb"].mean_m3_s > flows["cruise"].mean_m3_s > flows["descent"].mean_m3_s > 0
        assert all(0 < f.sd_m3_s < 0.5 * f.mean_m3_s for f in flows.values())
    assert unsaid["cruise"].sd_m3_s / unsaid["cruise"].mean_m3_s > 0.1 > said["cruise"].sd_m3_s / said["cruise"].mean_m3_s
    assert from_si(taxi_flow().mean_m3_s, "usgal/h") == pytest.approx(6.6)  # 1.1 US gal in 10 min


def test_the_row_is_what_the_fills_add_and_no_more(demo):
    """Row and planned flow together give the learned flow and its variance back: nothing is counted twice."""
    record, model = demo
    said = read_measurements(read_toml(HEAD + log([0.0] * 6, FLOWS, np.random.default_rng(4)), "own.toml")).fills
    found, planned = fuel_found(said, record.tanks, model, taxi_flow()), planned_of(model)["cruise"]
    precision = found.row.sd_m3_s**-2 + planned.sd_m3_s**-2
    assert found.log.covariance_m6_s2[2, 2] == pytest.approx(1 / precision)
    mean = (found.row.flow_m3_s * found.row.sd_m3_s**-2 + planned.mean_m3_s * planned.sd_m3_s**-2) / precision
    assert found.log.flows[2].mean_m3_s == pytest.approx(mean)


def test_the_row_holds_the_true_flow_as_often_as_it_says(demo):
    """Owners drawn from the planned flows (errors correlated 0.5): the row's 90 % band holds the truth 82 to 97 times in 100."""
    record, model = demo
    planned, inside = planned_of(model), []
    for seed in range(100):
        rng = np.random.default_rng(seed)
        away = np.sqrt(0.5) * rng.standard_normal() + np.sqrt(0.5) * rng.standard_normal(5)
        flows = {p: from_si(max(planned[p].mean_m3_s + a * planned[p].sd_m3_s, 1e-7), "usgal/h")
                 for p, a in zip(PHASES, away, strict=True)}
        said = read_measurements(read_toml(HEAD + log([0.0] * 8, flows, rng), "own.toml")).fills
        row = fuel_found(said, record.tanks, model, taxi_flow()).row
        inside.append(abs(row.flow_m3_s - to_si(flows["cruise"], "usgal/h")) < 1.6449 * row.sd_m3_s)
    assert 0.82 <= np.mean(inside) <= 0.97


def test_engine_entries_are_told_with_alerts_and_drawn(capsys, tmp_path):
    entry = ('[[engine]]\nhours = "{} h"\nstatic = {{rpm = "{} rpm", oat = "{} C", pressure_altitude = "{} ft"}}\n'
             'compressions = ["72/80"]\nfilter = "clean"\n')
    body = "".join(entry.format(1200 + 25 * i, 2380 - 12 * i, 5 + 3 * i, 2700 + 10 * i) for i in range(8))
    code, out, err = run(capsys, "calibrate", "demo", "--own", own(tmp_path, body), "--charts", str(tmp_path / "charts"))
    assert code == 0, err
    assert "ALERT: Static rpm in standard air is falling" in out and "Have a mechanic look at" in out
    assert "Compression (cylinder 1)" in out and "no trend to the bad" in out and "Oil filter at 1,375 h: clean." in out
    drawn = {p.name for p in (tmp_path / "charts").iterdir()}
    assert {"trend-static-rpm-in-standard-air.svg", "trend-compression-cylinder-1.svg"} <= drawn
    assert "ALERT" in (tmp_path / "charts" / "trend-static-rpm-in-standard-air.svg").read_text()


def test_hot_and_high_air_alone_is_no_trend(capsys, tmp_path):
    """Entries as the model has them in ever hotter and higher air: reduced to standard air they do not fall."""
    from ownship.calibration.estimate import middle
    from ownship.performance.takeoff import static_rev_s
    from ownship.physics.atmosphere import Air
    from ownship.questions.calibrating import calibrate

    record, _, _ = record_of("demo")
    airframe = airframe_of(record)
    model = Model(airframe, surrogate_of(airframe), middle(calibrate("demo").book))
    entry = '[[engine]]\nhours = "{} h"\nstatic = {{rpm = "{:.1f} rpm", oat = "{} C", pressure_altitude = "{} ft"}}\n'
    air = [(5 + 4 * i, 1000 + 600 * i) for i in range(8)]
    rpm = [from_si(float(static_rev_s(model, Air(to_si(h, "ft"), to_si(c, "C", "temperature")), noise=False)[0, 0]), "rpm") for c, h in air]
    assert rpm[0] - rpm[-1] > 5
    body = "".join(entry.format(1200 + 25 * i, rpm[i], *air[i]) for i in range(8))
    (line,) = words_of(capsys, tmp_path, body)["words"]["engine trends"]
    assert "ALERT" not in line and "0 rpm per 100 h" in line
