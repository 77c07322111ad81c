"""GPX tracks: a simulated flight reduced to TAS, wind and climb rate; hostile and broken files refused in a sentence."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest

from ownship.errors import BadInput, NotPossible, OwnshipError, UnreadableFile
from ownship.units import from_si, to_si
from ownship.world.track_runs import climb_rates, level_runs, proposal, tas_from_runs
from ownship.world.tracks import Segment, TrackPoints, motion, parse_gpx, segments

HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'
GPX = '<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{}</trkseg></trk></gpx>'
# (seconds, TAS kt, heading, ft/min): start up, taxi, take-off, climb, level off, three legs of a triangle, two settings, descent
PLAN = [(60, 0, 50, 0), (180, 12, 50, 0), (25, 55, 50, 0), (240, 75, 50, 720), (30, 75, 120, 720), (120, 75, 120, 640),
        (60, 104, 120, 0), (150, 104, 120, 0), (40, 104, 240, 0), (120, 104, 240, 0), (40, 104, 0, 0), (120, 104, 0, 0),
        (60, 90, 0, 0), (120, 90, 0, 0), (30, 90, 90, 0), (120, 90, 90, 0), (30, 90, 180, 0), (120, 90, 180, 0),
        (30, 90, 270, 0), (120, 90, 270, 0), (200, 100, 270, -500), (60, 60, 270, -300), (60, 10, 270, 0)]


def ornstein(rng: np.random.Generator, n: int, sd: float, seconds: float) -> np.ndarray:
    keep = math.exp(-1 / seconds)
    out = np.zeros(n)
    for i in range(1, n):
        out[i] = keep * out[i - 1] + sd * math.sqrt(1 - keep**2) * rng.standard_normal()
    return out


def lagged(target: np.ndarray, seconds: float, start: float) -> np.ndarray:
    out, value = np.empty_like(target), start
    for i, goal in enumerate(target):
        value += (goal - value) / seconds
        out[i] = value
    return out


def flight(seed: int, *, wind=(230.0, 18.0), drop=0.1, gust_kt=2.0, clock=datetime(1999, 8, 22, tzinfo=UTC), lat=46.0) -> str:
    """A flight seen by a receiver: wind, standard-rate turns, gusts, noise, dropped points, a silence, a wrong clock."""
    rng = np.random.default_rng(seed)
    tas_goal = np.concatenate([np.full(s, float(v)) for s, v, _, _ in PLAN])
    rate = np.concatenate([np.full(s, float(r)) for s, _, _, r in PLAN])
    aim = np.concatenate([np.full(s, float(h)) for s, _, h, _ in PLAN])
    n = tas_goal.size
    airborne = np.arange(n) > 260
    tas = lagged(tas_goal, 12.0, 0.0)
    heading = np.empty(n)
    now = 50.0
    for i in range(n):
        now += np.clip((aim[i] - now + 180) % 360 - 180, -3.0, 3.0)
        heading[i] = now
    heading = heading + airborne * ornstein(rng, n, 1.5, 15.0)
    along = to_si(tas + airborne * ornstein(rng, n, gust_kt * 0.6, 10.0), "kt")
    blow = np.where(airborne, to_si(wind[1], "kt"), 0.0)
    east = along * np.sin(np.radians(heading)) - blow * math.sin(math.radians(wind[0])) + airborne * ornstein(rng, n, to_si(gust_kt * 0.6, "kt"), 8.0)
    north = along * np.cos(np.radians(heading)) - blow * math.cos(math.radians(wind[0])) + airborne * ornstein(rng, n, to_si(gust_kt * 0.6, "kt"), 8.0)
    height = 120 + np.cumsum(lagged(to_si(rate, "ft/min"), 4.0, 0.0)) + airborne * ornstein(rng, n, 5.0, 20.0) + rng.normal(0, 1.0, n)
    x, y = np.cumsum(east) + ornstein(rng, n, 1.5, 60.0), np.cumsum(north) + ornstein(rng, n, 1.5, 60.0)
    lat_deg, lon_deg = np.empty(n), np.empty(n)
    a, e2 = 6378137.0, 0.0066943799901413165
    at, lon = math.radians(lat), math.radians(-75.7)
    for i, (dx, dy) in enumerate(zip(np.diff(x, prepend=0.0), np.diff(y, prepend=0.0), strict=True)):
        w = math.sqrt(1 - e2 * math.sin(at) ** 2)
        at += dy / (a * (1 - e2) / w**3)
        lon += dx / (a / w * math.cos(at))
        lat_deg[i], lon_deg[i] = math.degrees(at), math.degrees(lon)
    kept = rng.random(n) >= drop
    kept[820:842] = False
    return gpx([(lat_deg[i], lon_deg[i], height[i], clock + timedelta(seconds=int(i))) for i in np.flatnonzero(kept)])


def gpx(rows) -> str:
    body = "".join(f'<trkpt lat="{a:.7f}" lon="{o:.7f}">' + ("" if h is None else f"<ele>{h:.1f}</ele>")
                   + ("" if t is None else f"<time>{t.isoformat().replace('+00:00', 'Z')}</time>") + "</trkpt>" for a, o, h, t in rows)
    return HEAD + GPX.format(body)


def reduced(seed: int, **options):
    found = segments(parse_gpx(flight(seed, **options)))
    return found, level_runs(found), climb_rates(found)


@pytest.mark.parametrize(("seed", "wind"), [(1, (230.0, 18.0)), (2, (10.0, 30.0)), (3, (135.0, 6.0)), (4, (300.0, 25.0))])
def test_simulated_flight_gives_tas_wind_and_climb(seed, wind):
    found, runs, climbs = reduced(seed, wind=wind)
    assert [round(from_si(run.tas_m_s, "kt") / 14) for run in runs] == [7, 6]
    for run, tas in zip(runs, (104.0, 90.0), strict=True):
        assert from_si(run.tas_m_s, "kt") == pytest.approx(tas, abs=1.5)
        off = run.wind_speed_m_s * np.exp(1j * np.radians(run.wind_from_deg)) - to_si(wind[1], "kt") * np.exp(1j * math.radians(wind[0]))
        assert from_si(abs(off), "kt") < 2.5
        assert 0.1 < from_si(run.tas_sd_m_s, "kt") < 1.5
    assert runs[0].residual_m_s is None or len(runs[0].segments) > 3
    assert len(runs[1].segments) >= 4 and runs[1].residual_m_s is not None
    truth = [720.0 if climb.segment.start_s < 520 else 640.0 for climb in climbs]
    assert {720.0} <= set(truth)
    for climb, rate in zip(climbs, truth, strict=True):
        assert from_si(climb.rate_m_s, "ft/min") == pytest.approx(rate, abs=40)
        assert climb.gain_m == pytest.approx(climb.rate_m_s * climb.segment.duration_s)
    kinds = [segment.kind for segment in found]
    assert kinds[0] == "taxi" and set(kinds) == {"taxi", "steady climb", "steady level", "steady descent"}
    for before, after in pairwise(found):
        assert before.start_s + before.duration_s <= after.start_s


def test_no_segment_lies_in_a_turn_and_legs_have_the_flown_tracks():
    found, _, _ = reduced(7, wind=(90.0, 0.0), gust_kt=0.0)
    level = [segment for segment in found if segment.kind == "steady level"]
    for segment in level:
        assert min(abs((segment.track_deg - aim + 180) % 360 - 180) for aim in (120, 240, 0, 90, 180, 270)) < 2.5
    starts = np.cumsum([0] + [leg[0] for leg in PLAN])
    turns = [(starts[i], starts[i] + abs((PLAN[i][2] - PLAN[i - 1][2] + 180) % 360 - 180) / 3) for i in range(4, len(PLAN))
             if PLAN[i][2] != PLAN[i - 1][2]]
    for segment in found:
        for begin, end in turns:
            assert segment.start_s > end - 8 or segment.start_s + segment.duration_s < begin + 8


def test_a_wrong_clock_and_the_place_change_nothing():
    early, late, north = (reduced(5, clock=datetime(year, 2, 3, tzinfo=UTC), lat=lat)[1] for year, lat in ((1980, 46.0), (2093, 46.0), (1999, -70.0)))
    assert [run.tas_m_s for run in early] == [run.tas_m_s for run in late]
    assert [run.tas_m_s for run in early] == pytest.approx([run.tas_m_s for run in north], abs=0.1)


def test_two_powers_at_one_altitude_are_two_sets_and_a_pause_or_a_step_of_altitude_ends_one():
    def leg(start, track, tas, height=1000.0):
        wind = to_si(15.0, "kt") * np.exp(1j * math.radians(80.0))
        ground = to_si(tas, "kt") * np.exp(1j * math.radians(track)) + wind
        return Segment("steady level", 0, 9, start, 90.0, height, abs(ground), 0.5, float(np.degrees(np.angle(ground)) % 360), 1.0, 0.0, 0.1)

    legs = [leg(120.0 * i, track, tas) for i, (track, tas) in enumerate([(0, 100), (120, 100), (240, 100), (240, 112), (0, 112), (120, 112)])]
    runs = level_runs(tuple(legs))
    assert [from_si(run.tas_m_s, "kt") for run in runs] == pytest.approx([100.0, 112.0])
    assert runs[0].wind_from_deg == pytest.approx(260.0)
    far = [*legs[:2], leg(2000.0, 240, 100)]
    assert level_runs(tuple(far)) == ()
    assert level_runs((*legs[:2], leg(240.0, 240, 100, 1100.0))) == ()
    assert level_runs((legs[0], legs[1], leg(240.0, 5, 100))) == ()
    with pytest.raises(NotPossible):
        tas_from_runs(tuple(legs[:2]))


def test_legs_that_no_speed_explains_are_not_proposed():
    speeds = [(0, 40.0), (90, 60.0), (180, 40.0), (270, 60.0)]
    legs = tuple(Segment("steady level", 0, 9, 100.0 * i, 80.0, 900.0, v, 0.3, float(t), 1.0, 0.0, 0.1) for i, (t, v) in enumerate(speeds))
    assert level_runs(legs) == ()
    assert tas_from_runs(legs).residual_m_s > 10


def test_motion_of_a_straight_track_by_known_arithmetic():
    step = math.degrees(50.0 / 6378137.0)  # 50 m/s eastward on the equator
    time = np.delete(np.arange(200.0), [20, 21, 22, 90, 150, 151])
    seen = motion(TrackPoints(time, np.zeros_like(time), time * step, 300 + 2 * time))
    assert seen.groundspeed_m_s == pytest.approx(50.0, abs=1e-6)
    assert seen.track_deg == pytest.approx(90.0, abs=1e-6)
    assert seen.vertical_rate_m_s == pytest.approx(2.0, abs=1e-6)


def test_nothing_is_said_across_a_long_silence():
    step = math.degrees(50.0 / 6378137.0)
    time = np.concatenate([np.arange(100.0), 400 + np.arange(100.0)])
    found = segments(TrackPoints(time, np.zeros_like(time), time * step, np.full_like(time, 300.0)))
    assert [segment.kind for segment in found] == ["steady level"] * 2
    assert all(segment.duration_s < 100 for segment in found)


T0 = datetime(2026, 3, 1, 10, tzinfo=UTC)


def straight(n: int = 60):
    return [(45.0 + 0.0004 * i, -75.0, 300.0, T0 + timedelta(seconds=i)) for i in range(n)]


def test_spikes_repeats_and_missing_altitudes_are_mended():
    rows = straight()
    rows[30] = (47.0, -75.0, 300.0, rows[30][3])
    rows[10] = (*rows[10][:2], None, rows[10][3])
    rows[41] = (*rows[41][:3], rows[40][3])
    rows[50] = (*rows[50][:3], None)
    points = parse_gpx(gpx(rows))
    assert points.time_s.size == 57 and points.lat_deg.max() < 45.03
    assert points.altitude_m == pytest.approx(300.0)
    bare = parse_gpx(gpx([(a, o, None, t) for a, o, _, t in straight()]))
    assert bare.altitude_m is None and np.isnan(motion(bare).vertical_rate_m_s).all()
    with pytest.raises(BadInput, match="no altitudes"):
        segments(bare)


def test_spikes_at_both_ends_go_too():
    rows = straight()
    rows[0], rows[-1] = (10.0, -75.0, 300.0, rows[0][3]), (-10.0, -75.0, 300.0, rows[-1][3])
    points = parse_gpx(gpx(rows))
    assert points.time_s.size == 58 and points.time_s[0] == 0.0 and points.lat_deg.min() > 44.9


BOMB = ('<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a "aaaaaaaaaa">' + "".join(
    f'<!ENTITY {chr(98 + i)} "{f"&{chr(97 + i)};" * 10}">' for i in range(9)) + ']><gpx version="1.1"><trk><name>&j;</name></trk></gpx>')
BACK = gpx([*straight(5), (45.1, -75.0, 300.0, T0)])
REFUSED = [
    (BOMB, BadInput, "document type or entities"),
    ('<!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/hostname">]><gpx version="1.1"><trk><name>&x;</name></trk></gpx>', BadInput, "document type"),
    ('<!DOCTYPE gpx SYSTEM "http://example.invalid/gpx.dtd"><gpx version="1.1"/>', BadInput, "document type"),
    (gpx(straight(1)), BadInput, "one point"),
    (HEAD + GPX.format(""), BadInput, "no track points"),
    (BACK, BadInput, "Time runs back by 4 s at timed track point 6"),
    (gpx([(a, o, h, None) for a, o, h, _ in straight()]), BadInput, "none has a time"),
    (gpx([(a, o, h, T0) for a, o, h, _ in straight()]), BadInput, "same time"),
    (gpx([*straight(3), (95.0, 0.0, 0.0, T0 + timedelta(seconds=9))]), BadInput, "point 4 lies at latitude 95"),
    (gpx([*straight(3), (math.nan, 0.0, 0.0, T0 + timedelta(seconds=9))]), BadInput, "point 4 lies at latitude nan"),
    ("<gpx><trk><extensions>" + "<a>" * 200_000 + "</a>" * 200_000 + "</extensions></trk></gpx>", UnreadableFile, "more than 50 deep"),
    ("<gpx><metadata>" + " xmlns" * 100_000 + "</metadata></gpx>", UnreadableFile, "more than 50 namespaces"),
    ("", UnreadableFile, "not a readable GPX"),
    ("time,lat,lon\n1,2,3\n", UnreadableFile, "not a readable GPX"),
    (gpx(straight())[:-30], UnreadableFile, "not a readable GPX"),
    ("<html><body/></html>", UnreadableFile, "not a readable GPX"),
    (gpx(straight()).replace('lat="45.0000000"', 'lat="north"'), UnreadableFile, "not a readable GPX"),
    (gpx(straight()).replace("\n", "\n\ud800", 1), UnreadableFile, "not a readable GPX"),
    (" " * 20_000_001, BadInput, "at most 20 MB"),
]


@pytest.mark.parametrize(("text", "error", "words"), REFUSED, ids=[words[:30] + str(i) for i, (_, _, words) in enumerate(REFUSED)])
def test_refused_in_one_sentence(text, error, words):
    with pytest.raises(OwnshipError) as caught:
        parse_gpx(text)
    said = str(caught.value)
    assert type(caught.value) is error and words in said
    assert said.endswith(".") and "\n" not in said and len(said) < 260


def test_twenty_thousand_points_keep_every_leg():
    """The time of this is measured by the bench; here: the size works and each repeat of the flight is found again."""
    once = parse_gpx(flight(1, drop=0.0))
    whole = once.time_s[-1] + 60
    rows = [(once.lat_deg[i], once.lon_deg[i], once.altitude_m[i], T0 + timedelta(seconds=float(once.time_s[i] + whole * turn)))
            for turn in range(11) for i in range(once.time_s.size)][:20_000]
    points = parse_gpx(gpx(rows))
    runs = level_runs(segments(points))
    assert points.time_s.size == 20_000 and len(runs) >= 18
    assert all(min(abs(from_si(run.tas_m_s, "kt") - 104), abs(from_si(run.tas_m_s, "kt") - 90)) < 1.5 for run in runs)


def test_a_proposal_names_when_what_and_how_fast():
    segment = Segment("steady climb", 0, 9, 303.0, 192.0, 500.0, to_si(72.0, "kt"), 0.5, 53.2, 1.0, to_si(727.0, "ft/min"), 0.2)
    assert proposal(segment) == "5:03 steady climb, 3.2 min, 72 kt over the ground, track 053, +727 ft/min"
