"""Reach by the command: its aerodromes judged as `check` judges them, GeoJSON, reserve by hour, refusals, order in fuel."""

import json
import tomllib
from dataclasses import replace

import numpy as np
import pytest
from commands import run
from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st

from ownship.errors import BadInput
from ownship.flight.landable import Reserve, landable, lenders, reach_of
from ownship.flight.reach import ONE_WAY
from ownship.flight.reach_map import covers
from ownship.flight.route import point_of
from ownship.papers.reach import collection, sentence, to_json
from ownship.performance.model import parameter_names
from ownship.questions import reaching
from ownship.questions.check import check_text, demo_aeroplane, demo_flight, situation
from ownship.questions.reaching import reach_of_situation, reach_text
from ownship.units import from_si, to_si
from ownship.web.forms import write_toml
from ownship.words.verdicts import NOT_KNOWN, OUTSIDE, TIGHT, WITHIN
from ownship.world.geodesy import inverse

KNOWN = (WITHIN, TIGHT, OUTSIDE)
STRIP = {"name": "Invented Strip", "position": "43.9,-115.6", "elevation": "4800 ft", "date": "2026-06-01",
         "runways": [{"end": "12", "true_heading": "130 deg", "length": "2600 ft", "slope": "0.5 %", "surface": "grass"}]}


def request(gallons=6, **change):
    """The demo's flight with two people, as far as some 100 nm; None takes a key away."""
    data = tomllib.loads(demo_flight())
    data |= {"departure": "2026-07-11T15:00-06:00", "loads": data["loads"][:2], "via": [], "alternates": [], "place": "USA",
             "ground": {"highest": ["8900 ft"]}, "own": {},
             "fuel": {t: {"on_board": f"{gallons} usgal", "known_by": "dipstick", "counts": "usable"} for t in ("left", "right")},
             "aerodromes": {"MINE": STRIP},
             "weather": data["weather"] | {"KS87": {"wind": "300/06", "temperature": "35 C", "altimeter": "30.01 inHg"}}} | change
    return {k: v for k, v in data.items() if v is not None and v != []}


def asked(data, **how):
    return reach_text(demo_aeroplane(), write_toml(data), **how)


@pytest.fixture(scope="module")
def answer():
    return asked(request())


@pytest.fixture(scope="module")
def rows(answer):
    return {r.aerodrome.ident: r for r in answer.rows}


def margin(margins, id_):
    return next(m for m in margins if m.id == id_)


def checked_there(row):
    """The ordinary assessment of the same flight to an aerodrome, with the weather that the reach took."""
    data = request(to=row.aerodrome.ident)
    if row.lender:
        data["weather"][row.aerodrome.ident] = {"use": row.lender.split(",")[0]}
    return check_text(demo_aeroplane(), write_toml(data)).margins


def test_three_aerodromes_judged_landable_and_two_that_are_not_are_judged_the_same_by_check(answer):
    judged = [r for r in answer.rows if r.landing is not None and not r.candidate.short]
    good = [r for r in judged if r.landing in (WITHIN, TIGHT) and r.leave_again in (WITHIN, TIGHT)][:3]
    bad = [next(r for r in judged if r.leave_again == OUTSIDE), next(r for r in judged if r.landing == NOT_KNOWN)]
    assert len(good) == 3
    for row in (*good, *bad):
        ident, there = row.aerodrome.ident, checked_there(row)
        for id_ in (f"runway.landing.{ident}", f"runway.leave_again.{ident}"):
            mine, usual = margin(row.margins, id_), margin(there, id_)
            assert (mine.verdict, mine.name) == (usual.verdict, usual.name), id_
            if mine.required is not None and usual.required is not None:
                assert mine.required.value == pytest.approx(usual.required.value, rel=0.005)
        assert row.landing == OUTSIDE or row.landing == margin(row.margins, f"runway.landing.{ident}").verdict


def test_the_weight_at_landing_and_the_hour_are_those_of_check_within_half_a_per_cent_of_the_trip(answer):
    """Draw 0 is the middle flight, which the timeline of `check` shows."""
    row = next(r for r in reversed(answer.rows) if r.landing in KNOWN and not r.candidate.short)
    there = check_text(demo_aeroplane(), write_toml(request(to=row.aerodrome.ident)))
    landing = there.timeline[-1]
    burnt = (there.timeline[0].weight.value - landing.weight.value)
    assert from_si(row.candidate.landing_kg[0], "lb") == pytest.approx(landing.weight.value, abs=0.005 * burnt)
    assert row.candidate.time_s == pytest.approx((landing.time - answer.departure).total_seconds(), rel=0.01)
    assert row.candidate.left_m3[1] >= float(np.median(answer.reach.start.required_m3)) - 1e-9


def test_the_owners_record_and_own_weather_count_and_borrowed_weather_earns_no_headwind(rows):
    mine = rows["MINE"]
    assert (mine.landing_end, mine.landing in KNOWN, mine.leave_again in KNOWN) == ("12", True, True)
    assert mine.lender.startswith("KBOI, ") and "taken over from KBOI by the standard lapse" in mine.air
    assert rows["KS87"].lender == "" and "typed in by the pilot" in rows["KS87"].air
    credited = [m.words for r in rows.values() if r.lender for m in r.margins if "eadwind" in m.words]
    assert credited and all("not credited" in words or "headwind 0 kt" in words.lower() for words in credited)


def test_without_a_runway_or_its_slope_an_aerodrome_is_not_known_and_never_landable(rows):
    bare = [r for r in rows.values() if not r.aerodrome.ends]
    steep = [r for r in rows.values() if r.aerodrome.ends and all(e.slope_1 is None for e in r.aerodrome.ends) and r.landing]
    assert bare and steep
    assert all((r.landing, r.leave_again) == (NOT_KNOWN, NOT_KNOWN) and "No open runway is known" in r.why for r in bare if r.landing)
    assert all(r.landing in (NOT_KNOWN, OUTSIDE) and r.leave_again in (NOT_KNOWN, OUTSIDE) for r in steep)


def test_closed_and_water_are_left_out_with_a_count_and_only_the_nearest_are_judged(answer, monkeypatch):
    assert answer.left_out["closed"] > 0
    assert not any(r.aerodrome.closed or all(e.surface == "water" for e in r.aerodrome.ends) for r in answer.rows if r.aerodrome.ends)
    assert [r.candidate.distance_m for r in answer.rows] == sorted(r.candidate.distance_m for r in answer.rows)
    monkeypatch.setattr(reaching, "MOST_JUDGED", 5)
    short = asked(request())
    assert [r.landing is not None for r in short.rows] == [i < 5 for i in range(len(answer.rows))]
    assert [r.landing for r in short.rows[:5]] == [r.landing for r in answer.rows[:5]]
    points = [f["properties"] for f in collection(short)["features"][3:]]
    assert [p["landable"] for p in points[5:]] == ["not judged"] * (len(points) - 5)


def test_the_geojson_is_valid_and_reads_back(answer):
    """RFC 7946: 3.3 a FeatureCollection; 3.1.6 rings closed, four positions or more, outside anticlockwise; 3.1.1 longitude first."""
    again = json.loads(json.dumps(collection(answer), allow_nan=False))
    assert again["type"] == "FeatureCollection" and set(again) == {"type", "features"}
    assert all(f["type"] == "Feature" and set(f) == {"type", "geometry", "properties"} for f in again["features"])
    low, median, high, *points = again["features"]
    areas = []
    for shape, band in ((low, "low"), (median, "median"), (high, "high")):
        assert shape["geometry"]["type"] == "Polygon" and shape["properties"]["band"] == band
        (ring,) = shape["geometry"]["coordinates"]
        x, y = np.array(ring).T
        areas.append(0.5 * np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))
        assert ring[0] == ring[-1] and len(ring) == 73
    assert 0 < areas[0] < areas[1] < areas[2]
    start = answer.reach.start
    for f, row in zip(points, answer.rows, strict=True):
        lon, lat = f["geometry"]["coordinates"]
        assert f["geometry"]["type"] == "Point" and f["properties"]["ident"] == row.aerodrome.ident
        away, course, _ = inverse(start.lat_deg, start.lon_deg, lat, lon)
        assert away == pytest.approx(to_si(f["properties"]["distance"]["value"], "nm"), abs=1.0)
        assert course == pytest.approx(f["properties"]["course"]["value"], abs=0.01)
        assert f["properties"]["fuel_left"]["low"] <= f["properties"]["fuel_left"]["value"] <= f["properties"]["fuel_left"]["high"]
        assert f["properties"]["landable"] in (*KNOWN, NOT_KNOWN, "not judged")


def test_the_json_holds_bearings_aerodromes_reserve_and_what_is_not_judged(answer):
    data = json.loads(json.dumps(to_json(answer), allow_nan=False))
    assert data["schema"] == 1 and data["origin"] == "KBOI" and data["trip"] == ONE_WAY
    assert len(data["bearings"]) == 72 and data["bearings"][6]["course"]["value"] == 30
    assert data["reserve"]["unit"] == "usgal" and data["request"]["from"] == "KBOI"
    assert len(data["aerodromes"]) == min(len(answer.rows), 60)
    assert any("Not judged here" in w for w in data["words"]) and data["cautions"]
    assert data["sentence"] == sentence(answer) and "aerodromes inside" in data["sentence"]


def test_there_and_back_is_nearer_and_comes_home_with_the_reserve(answer):
    back = asked(request(), there_and_back=True)
    assert np.all(back.reach.median_m < answer.reach.median_m)
    assert {r.aerodrome.ident for r in back.rows} < {r.aerodrome.ident for r in answer.rows}
    least = float(np.median(back.reach.start.required_m3))
    by = {r.aerodrome.ident: r for r in answer.rows}
    for row in back.rows:
        assert least - 1e-9 <= row.candidate.left_m3[1] < by[row.aerodrome.ident].candidate.left_m3[1]
        assert row.candidate.landing_kg == pytest.approx(by[row.aerodrome.ident].candidate.landing_kg)
        assert row.landing == by[row.aerodrome.ident].landing


def few(data, draws=16):
    return situation(demo_aeroplane(), write_toml(data), draws=draws)


@pytest.fixture(scope="module")
def small():
    return few(request(), draws=8)


@examples(max_examples=4, derandomize=True, deadline=None)
@given(st.floats(4, 7), st.floats(0.1, 2), st.booleans())
def test_more_fuel_is_never_fewer_aerodromes_inside(small, gallons, extra, back):
    def inside(amount):
        fuel = {k: replace(v, on_board=float(to_si(amount, "usgal"))) for k, v in small.request.fuel.items()}
        s = replace(small, request=replace(small.request, fuel=fuel))
        return {r.aerodrome.ident for r in reach_of_situation(s, there_and_back=back).rows}

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(reaching, "MOST_JUDGED", 0)
        assert inside(gallons) <= inside(gallons + extra)


def test_in_the_evening_the_reserve_is_the_nights_and_an_unlighted_runway_is_outside():
    """14 CFR 91.151: 30 min by day, 45 by night. Boise, 11 July: sunset 21:27, civil dusk about 22:00 (mountain time)."""
    day, dusk, dark = (few(request(departure=f"2026-07-11T{t}-06:00", leave_again=None)) for t in ("12:00", "20:45", "23:30"))
    founds = []
    for s in (day, dusk, dark):
        (flown,), _ = reaching._flights(s)
        founds.append(reach_of(s, flown, ONE_WAY))
        reserve, point = Reserve(s, flown), point_of("KMYL", s.places["KMYL"])
        by_day, by_night = (reserve.amount_m3(point, night=n) for n in (False, True))
        assert by_night == pytest.approx(by_day * 45 / 30)
        assert np.array_equal(reserve.required_m3(point, 3600.0), by_day if s is day else by_night)
    assert np.array_equal(founds[1].median_m, founds[2].median_m) and np.all(founds[2].median_m < founds[0].median_m)
    assert founds[2].start.required_m3 == pytest.approx(founds[0].start.required_m3 * 1.5)
    late = {r.aerodrome.ident: r for r in reach_of_situation(dark).rows}
    assert late["MINE"].landing == OUTSIDE and "not lighted" in late["MINE"].why
    lighted = next(r for r in late.values() if r.landing_end and r.landing == TIGHT)
    assert "in the night" in lighted.why


def test_of_two_calibrations_the_worse_counts(answer):
    s = few(request())
    book = s.calibrations.book
    draggy = np.where(np.array(parameter_names()) == "CD0", 1.15, 1.0)
    own = replace(book, draws=replace(book.draws, values=book.draws.values * draggy, label="own"))
    alone, both = (reach_of_situation(replace(s, calibrations=replace(s.calibrations, own=o))) for o in (None, own))
    assert np.all(both.reach.median_m < alone.reach.median_m)
    assert {r.aerodrome.ident for r in both.rows} < {r.aerodrome.ident for r in alone.rows}
    by = {r.aerodrome.ident: r for r in alone.rows}
    for r in both.rows:
        assert np.median(r.candidate.landing_kg) >= np.median(by[r.aerodrome.ident].candidate.landing_kg)
        assert r.candidate.left_m3[1] <= by[r.aerodrome.ident].candidate.left_m3[1]


def test_own_minima_and_heat_count_and_an_overweight_start_is_said():
    found = asked(request(own={"runway": "9000 ft"}, carburettor_heat=["take-off"]))
    row = next(r for r in found.rows if r.aerodrome.ident == "KS87")
    assert row.landing == OUTSIDE and "own minimum" in row.why
    assert row.leave_again == NOT_KNOWN and "carburettor heat" in row.why
    heavy = request(loads=[{"what": "some of them", "station": x, "weight": "550 lb"} for x in ("front", "rear")])
    assert any("is over the limit of" in w for w in asked(heavy).words)


@pytest.mark.parametrize(("to", "level"), [("KS67", "9500 ft"), ("KBOI", "9500 ft"), ("KU79", "5500 ft")])
def test_a_destination_too_near_the_start_itself_or_above_the_level_leaves_the_reach_and_that_is_said(to, level, answer):
    found = reach_of_situation(few(request(to=to, cruise_altitude=level)))
    assert found.reach.median_m.min() > 0
    assert any(f"No flight to {to} is possible at this level" in w for w in found.words)
    assert np.median(found.reach.start.required_m3) == pytest.approx(np.median(answer.reach.start.required_m3), rel=0.15)


def test_what_is_not_known_is_refused_in_one_sentence(tmp_path, capsys):
    (tmp_path / "calm.toml").write_text(write_toml(request(aloft=None)))
    code, out, err = run(capsys, "reach", "demo", str(tmp_path / "calm.toml"), "--json")
    assert (code, out) == (2, "") and err.startswith("[aloft]: no winds and temperatures aloft") and err.count("\n") == 1
    bare = demo_aeroplane().split("[engine]", maxsplit=1)[0]
    with pytest.raises(BadInput, match="Without a performance model there is no reach"):
        reach_text(bare, write_toml(request()))
    fuel = {"left": {"on_board": "9 usgal", "known_by": "dipstick"}}
    with pytest.raises(BadInput, match="Without the load there is no reach"):
        asked(request(fuel=fuel))
    (tmp_path / "aeroplane.toml").write_text(bare)
    code, out, err = run(capsys, "reach", str(tmp_path / "aeroplane.toml"))
    assert (code, out) == (2, "") and "alone is not a flight" in err
    with pytest.raises(BadInput, match=r"2,500 ft is not above KBOI"):
        asked(request(cruise_altitude="2500 ft"))
    target = tmp_path / "nowhere" / "map.geojson"
    code, out, err = run(capsys, "reach", "demo", "--geojson", str(target))
    assert (code, out) == (2, "") and "does not exist" in err and not target.parent.exists()


def test_the_command_prints_a_table_and_writes_the_map(tmp_path, capsys):
    (tmp_path / "f.toml").write_text(write_toml(request()))
    code, out, err = run(capsys, "reach", "demo", str(tmp_path / "f.toml"), "--geojson", str(tmp_path / "map.geojson"))
    assert (code, err) == (0, "")
    assert "leaving again" in out and "MINE Invented Strip" in out and "Left at the last landing at least" in out
    shape = json.loads((tmp_path / "map.geojson").read_text())
    assert [f["properties"].get("band") for f in shape["features"][:3]] == ["low", "median", "high"]
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith(".")] == []


def test_every_aerodrome_inside_lies_inside_the_polygon_or_within_a_hundredth_of_its_edge(answer):
    """Flown to one by one at its own elevation, joined polygon edges: the two agree but for a little at the edge."""
    for row in answer.rows:
        assert covers(answer.reach, row.candidate.course_deg, row.candidate.distance_m * 0.98)


def test_an_alternate_among_the_aerodromes_inside_is_judged_like_the_others(rows):
    first = next(r.aerodrome.ident for r in rows.values() if r.landing in KNOWN)
    hours = [{"at": f"2026-07-11T{h}:00-06:00", "wind": "310/09", "temperature": "34 C", "altimeter": "30.02 inHg"} for h in (14, 20)]
    data = request(gallons=14, alternates=[first])
    data["weather"]["KBOI"] = {**data["weather"]["KBOI"], "hours": hours}
    found = {r.aerodrome.ident: r for r in asked(data).rows}
    assert found[first].landing in KNOWN
    assert sum(r.landing in KNOWN for r in found.values()) > 1


def test_what_cannot_be_worked_out_for_one_place_is_said_in_its_row(rows):
    s = situation(demo_aeroplane(), write_toml(request()), draws=64)
    row = next(iter(rows.values()))
    timed = replace(s, request=replace(s.request, planned_departure=s.departure))  # so that the arrival is estimated
    refused = landable(timed, row.candidate, s.places["KBOI"], lenders(s))  # a flight to where it begins has no leg
    assert (refused.landing, refused.leave_again) == (NOT_KNOWN, NOT_KNOWN) and "no length" in refused.why
