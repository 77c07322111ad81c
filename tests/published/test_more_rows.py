"""More printed numbers: geodesics, GPS legs, sphere formulas' neighbours, the sun's zenith, what the AIM defines."""

from datetime import datetime, timedelta, timezone

import numpy as np
import pytest

from ownship.physics.airspeed import SEA_LEVEL_SOUND_M_S
from ownship.physics.wind import tas_from_gps, wind_triangle
from ownship.questions.calc import run
from ownship.units import from_si, to_si
from ownship.world.geodesy import direct
from ownship.world.sun import zenith_deg
from ownship.world.weather import fb_levels, parse_metar


def test_ge_02_direct_20000_km():
    """GeographicLib docs: (-32.06, 115.74), azimuth 225, 20,000 km."""
    lat, lon, _ = direct(-32.06, 115.74, 225.0, 20_000_000.0)
    assert (lat, lon) == pytest.approx((32.11195529, -63.95925278), abs=1e-8)


def test_gp_02_wind_045_30_tas_100():
    """Public teaching text: groundspeeds 76.5, 87.9, 128.7; headings 12.2, 103.2, 244.5."""
    heading, ground, _ = wind_triangle(np.array([0.0, 120.0, 240.0]), 100.0, 45.0, 30.0)
    assert ground == pytest.approx([76.5, 87.9, 128.7], abs=0.1)
    assert heading == pytest.approx([12.2, 103.2, 244.5], abs=0.1)
    tas, direction, wind = tas_from_gps(ground, np.array([0.0, 120.0, 240.0]))
    assert (tas, direction, wind) == pytest.approx((100.0, 45.0, 30.0), abs=1e-6)


def test_nv_03_most_wind_for_a_crosswind_limit():
    """FAA bank: 35 kt at 45 degrees for 25 kt, 24 kt at 30 degrees for 12 kt."""
    for angle, limit, wind in ((45, 25, 35), (30, 12, 24)):
        cross = run("runway-wind", ["--runway", "360", "--wind", f"{angle:03d}/{wind}"])["results"]["crosswind"]["value"]
        assert cross == pytest.approx(limit, abs=0.5)


def test_as_02_cas_from_tas_in_given_air():
    """MathWorks reference page: TAS 25.7222 m/s, a 336.4 m/s, p 89,874.6 Pa give CAS 24.5077 m/s (formula, given air)."""
    impact = ((1 + 0.2 * (25.7222 / 336.4) ** 2) ** 3.5 - 1) * 89874.6 / 101325.0
    assert np.sqrt(5 * ((impact + 1) ** (1 / 3.5) - 1)) * SEA_LEVEL_SOUND_M_S == pytest.approx(24.5077, abs=1e-4 * 5)


def test_as_03_20_kt_is_23_mph():
    """PHAK navigation chapter."""
    assert from_si(to_si(20, "kt"), "mph") == pytest.approx(23, abs=0.1)


def test_su_06_zenith_with_refraction():
    """NREL/TP-560-34302 table A5.1: 50.11162 degrees at 820 hPa and 11 C; its refraction is 0.0163 degrees."""
    moment = datetime(2003, 10, 17, 12, 30, 30, tzinfo=timezone(timedelta(hours=-7)))
    assert zenith_deg(39.742476, -105.1786, moment) - 0.0163 == pytest.approx(50.11162, abs=0.01)


def test_at_07_altimeter_reset():
    """FAA bank, 1 in = 1,000 ft rule: 29.15 to 29.85 reads 700 ft more; the exact lapse agrees to 10 per cent."""
    low, high = (run("pressure-altitude", ["--elevation", "0ft", "--altimeter", f"{a}inHg"])["results"]["pressure_altitude"]["value"]
                 for a in (29.15, 29.85))
    assert low - high == pytest.approx(700, abs=70)


@pytest.mark.parametrize("sky", ["VV///", "BKN///", "OVC///", "//////", ""])
def test_a_ceiling_that_is_not_reported_is_not_known(sky):
    assert parse_metar(f"KXYZ 111555Z 31012KT 3SM {sky} 12/12 A2992".replace("  ", " ")).ceiling_m is None


def test_a_trend_does_not_overwrite_the_report():
    w = parse_metar("EDDF 111550Z 31012KT 0800 FG OVC003 12/12 Q1013 BECMG CAVOK")
    assert w.visibility_m == 800
    assert from_si(w.ceiling_m, "ft") == pytest.approx(300)
    assert parse_metar("EDDF 111550Z /////KT 9999 FEW030 12/08 Q1013 BECMG 24025G40KT").wind is None


def test_fb_text_with_collapsed_blanks_counts_from_the_right():
    text = ("FT 3000 6000 9000 12000 18000 24000 30000 34000 39000\n"
            "BOI 2410+15 2415+10 2520+02 2630-12 2740-25 275040 276050 277055")
    levels = [round(float(from_si(h, "ft"))) for h, _ in fb_levels(text, "KBOI")]
    assert levels == [6000, 9000, 12000, 18000, 24000, 30000, 34000, 39000]


def test_sun_of_the_day_asked_where_zone_and_longitude_disagree():
    """Chatham: UTC+13:45 at 176.5 W; the sunrise of the date asked, not of the next."""
    r = run("sun", ["--at", "-44,-176.5", "--date", "2026-03-20", "--utc-offset", "13.75"])["results"]
    assert r["sunrise"]["value"].startswith("07:32") and r["sunset"]["value"].startswith("19:43")


def test_calm_has_no_direction_and_north_is_0():
    still = run("wind-found", ["--course", "090", "--heading", "090", "--tas", "100kt", "--groundspeed", "100kt"])["results"]
    assert "wind_direction" not in still and still["wind_speed"]["value"] == 0
    north = run("wind-found", ["--course", "180", "--heading", "180", "--tas", "100kt", "--groundspeed", "120kt"])["results"]
    assert north["wind_direction"]["value"] == pytest.approx(0, abs=1e-9)
