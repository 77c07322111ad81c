"""`altitudes` and `when` from the command line: text, JSON, chart, and what is refused."""

import io
import json
import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from commands import run
from defusedxml.ElementTree import fromstring
from rich.console import Console

from ownship.errors import BadInput
from ownship.papers.ahead import levels_json, show_levels, show_times, times_json
from ownship.papers.ahead_charts import leaving_chart, levels_chart
from ownship.questions import ahead
from ownship.words.figures import Figure
from ownship.words.verdicts import NOT_KNOWN, ORDER, OUTSIDE, TIGHT, WITHIN

ROOT = Path(__file__).resolve().parents[2]
SVG = "{http://www.w3.org/2000/svg}"
COMMANDS = pytest.mark.parametrize("command", ["altitudes", "when"])


@cache
def demo_levels():
    return ahead.altitudes("demo")


@cache
def demo_times():
    return ahead.when("demo")


def shown(show, answer):
    """What a console of 200 columns without a terminal is given."""
    out = io.StringIO()
    show(answer, Console(width=200, highlight=False, file=out))
    return out.getvalue()


def quantities(value):
    """Every {"value","unit"} inside a JSON value."""
    if isinstance(value, dict):
        yield from [value] if "value" in value else (q for v in value.values() for q in quantities(v))
    elif isinstance(value, list):
        yield from (q for v in value for q in quantities(v))


def texts(svg):
    return ["".join(t.itertext()) for t in fromstring(svg).iter(f"{SVG}text")]


def paths(svg, name):
    """What the layer of a name draws."""
    groups = (g for g in fromstring(svg).iter(f"{SVG}g") if re.search(rf"role-mark {name}(_\d+)?_marks", g.get("class", "")))
    return [p.get("d") for g in groups for p in g.iter(f"{SVG}path")]


def marks(svg, name):
    return len(paths(svg, name.replace(" ", "_")))


def mixed_day():
    """The demo's day with every verdict, a stretch without figures and room beyond the scale."""
    verdicts = [WITHIN] * 12 + [TIGHT] * 12 + [NOT_KNOWN] * 12 + [OUTSIDE] * 12
    room = [2.0] * 11 + [9.0] + [0.5] * 12 + [None] * 12 + [-0.5] * 11 + [float("-inf")]
    rows = tuple(replace(r, verdict=v, allowance_1=a) for r, v, a in zip(demo_times().times, verdicts, room, strict=True))
    return replace(demo_times(), times=rows)


# ---- the commands

@COMMANDS
def test_json_has_the_documented_keys_and_whole_quantities_and_the_chart_is_written_beside_it(capsys, tmp_path, command):
    target = tmp_path / "ahead.svg"
    code, out, err = run(capsys, command, "demo", "--json", "--chart", str(target))
    assert (code, err) == (0, "") and fromstring(target.read_text(encoding="utf-8")).tag == f"{SVG}svg"
    data = json.loads(out)
    rows = data["levels" if command == "altitudes" else "times"]
    documented = (ROOT / "docs/formats/ahead.md").read_text(encoding="utf-8")
    for key in {*data, *rows[0]}:
        assert re.search(rf"\b{key}\b", documented), key
    assert rows and all(r["verdict"] in ORDER and r["sentence"] for r in rows)
    found = list(quantities(data))
    assert found
    for q in found:
        assert set(q) <= {"value", "unit", "low", "high"} and ("low" in q) == ("high" in q)
        assert q.get("low", q["value"]) <= q["value"] <= q.get("high", q["value"])


def test_json_is_the_answer_itself():
    data = json.loads(json.dumps(levels_json(demo_levels()), allow_nan=False))
    assert [r["altitude"]["value"] for r in data["levels"]] == [r.altitude.value for r in demo_levels().levels]
    assert [r["time"]["high"] for r in data["levels"]] == [r.time.high for r in demo_levels().levels]
    assert data["best"]["value"] == demo_levels().best.altitude.value
    day = json.loads(json.dumps(times_json(mixed_day()), allow_nan=False))
    assert [r["allowance_1"] for r in day["times"][22:26]] == [0.5, 0.5, None, None]
    assert day["times"][47]["allowance_1"] is None  # minus infinity has no place in JSON
    assert day["times"][0]["departure"] == "2026-07-11T00:00:00-06:00" and day["planned"]["departure"] == "2026-07-11T15:00:00-06:00"


def test_text_of_levels_names_every_level_its_verdict_time_fuel_ground_and_the_freezing_level():
    text = shown(show_levels, demo_levels())
    assert text.splitlines()[0].endswith(demo_levels().sentence)
    for row in demo_levels().levels:
        line = next(x for x in text.splitlines() if re.search(rf" {row.altitude.text(0)} ", x) and "min" in x)
        assert row.time.text(0) in line and row.fuel.text(1) in line and "outside" in line
    assert "Freezing level" in text and "9,000 ft free best" in text and "planning aid" in text and "91.211" in text


def test_text_of_the_day_has_every_half_hour_with_light_and_the_plan():
    text = shown(show_times, demo_times())
    clocks = [m[1] for line in text.splitlines() if (m := re.match(r"\W+(?:outside|not known) +(\d\d:\d\d) ", line))]
    assert clocks == [f"{i // 2:02d}:{30 * (i % 2):02d}" for i in range(48)]
    assert "night" in text and "position lights are needed" in text and "As planned, 15:00: Outside limits" in text
    assert "air is not known at" in text and "in calm air" in text
    assert "[aloft]" in text  # square brackets are words here, no mark-up


@COMMANDS
@pytest.mark.parametrize("words", [(), ("/nowhere.toml", "demo"), ("demo", "/nowhere.toml"), ("demo", "--chart", "/nowhere/x.svg"),
                                   ("demo", "demo", "demo"), ("/nowhere.toml",), ("demo", "--jsno")])
def test_bad_input_is_one_sentence_and_nothing_is_printed(capsys, command, words):
    code, out, err = run(capsys, command, *words)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1 and "Traceback" not in err


def test_levels_that_cannot_be_drawn_leave_nothing_behind(capsys, tmp_path):
    flight = tmp_path / "flight.toml"
    flight.write_text('from = "43,10"\nto = "44,11"\ndeparture = "2026-07-11T12:00+02:00"\ncruise_altitude = "5500 ft"\npower = "2450 rpm"\n')
    code, out, err = run(capsys, "altitudes", "demo", str(flight), "--chart", str(tmp_path / "x.svg"))
    assert (code, out) == (2, "") and "No cruising-level rules" in err and not (tmp_path / "x.svg").exists()
    code, out, err = run(capsys, "altitudes", "demo", str(flight))
    assert (code, err) == (0, "") and "No cruising-level rules" in " ".join(out.split())


def test_progress_is_silent_away_from_a_terminal_and_wiped_on_one(monkeypatch, capsys):
    ahead.progress("levels")(1, 2)
    assert capsys.readouterr().err == ""

    class Terminal(io.StringIO):
        def isatty(self):
            return True

    stderr = Terminal()
    monkeypatch.setattr("sys.stderr", stderr)
    tell = ahead.progress("levels")
    tell(1, 2)
    tell(2, 2)
    first, last = stderr.getvalue().split("\r")[1:3]
    assert first == "1 of 2 levels" and last == " " * len(first)


# ---- the charts

def test_the_chart_of_levels_draws_a_bar_each_for_time_and_fuel_with_the_verdict_in_words():
    svg, count = levels_chart(demo_levels()), len(demo_levels().levels)
    assert marks(svg, "time_bars") == marks(svg, "fuel_bars") == count
    said = texts(svg)
    assert sum("min, outside limits" in t for t in said) == sum("US gal, outside limits" in t for t in said) == count
    assert svg == levels_chart(demo_levels())


def test_a_level_without_figures_is_said_and_gets_no_bar():
    lost = replace(demo_levels().levels[0], time=None, fuel=None, sentence="Too high.")
    svg = levels_chart(replace(demo_levels(), levels=(lost, *demo_levels().levels[1:])))
    assert marks(svg, "time_bars") == len(demo_levels().levels) - 1
    assert sum(t == "not known, outside limits" for t in texts(svg)) == 2


def test_bars_begin_at_nought_and_keep_their_ratios():
    one, two = demo_levels().levels[:2]
    made = replace(demo_levels(), levels=(replace(one, time=Figure(40.0, "min", 38.0, 42.0)), replace(two, time=Figure(80.0, "min"))))
    widths = sorted(float(re.search(r"h([\d.]+)", d)[1]) for d in paths(levels_chart(made), "time_bars"))
    assert widths[1] == pytest.approx(2 * widths[0], rel=1e-3)


def test_the_chart_of_the_day_has_a_point_for_every_figure_and_a_lane_for_every_verdict():
    svg, said = leaving_chart(mixed_day()), " ".join(texts(leaving_chart(mixed_day())))
    points = {v: marks(svg, f"points {v}") for v in ORDER}
    lanes = {v: marks(svg, f"lane {v}") for v in ORDER}
    assert points == {WITHIN: 12, TIGHT: 12, NOT_KNOWN: 0, OUTSIDE: 12}
    assert lanes == dict.fromkeys(ORDER, 12)
    assert all(v in said for v in ORDER) and "2 half hours beyond 4 allowances: drawn at the edge." in said


def test_the_curve_has_a_gap_where_the_margin_has_no_figure():
    assert sum(d.count("M") for d in paths(leaving_chart(mixed_day()), "curve")) == 2


def test_the_night_is_shaded_by_half_hours_and_the_figures_are_in_the_text_alternative():
    svg = leaving_chart(demo_times())
    dark = sum(r.light_at_departure.word == "night" for r in demo_times().times)
    assert 0 < dark < 48 and marks(svg, "night") == dark
    label = fromstring(svg).get("aria-label")
    assert "15:00: outside limits, leaving again" in label and "04:00: " in label and "night at departure" in label


def test_an_empty_answer_is_refused_with_its_own_reason():
    with pytest.raises(BadInput, match=r"no level to draw\. Because so"):
        levels_chart(replace(demo_levels(), levels=(), best=None, sentence="Because so."))
    with pytest.raises(BadInput, match="no half hour"):
        leaving_chart(replace(demo_times(), times=()))
