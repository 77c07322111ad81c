"""The METAR of FAA AIM figure 7-1-19, and texts that trap parsers. Values decoded in the AIM key."""

import math

import pytest

from ownship.errors import WeatherText
from ownship.units import from_si, to_si
from ownship.world.weather import fb_levels, parse_metar, parse_wind

AIM = ("METAR KPIT 091955Z COR 22015G25KT 3/4SM R28L/2600FT TSRA OVC010CB 18/16 A2992 RMK SLP045 T01820159")


def test_wx_01_to_05_aim_metar():
    w = parse_metar(AIM)
    assert (w.wind.from_deg, from_si(w.wind.speed_m_s, "kt"), from_si(w.wind.gust_m_s, "kt")) == pytest.approx((220, 15, 25))
    assert from_si(w.visibility_m, "sm") == pytest.approx(0.75)
    assert from_si(w.ceiling_m, "ft") == pytest.approx(1000)
    assert from_si(w.altimeter_pa, "inHg") == pytest.approx(29.92)
    assert from_si(w.temperature_k, "C", "temperature") == pytest.approx(18.2)
    assert from_si(w.dew_point_k, "C", "temperature") == pytest.approx(15.9)


@pytest.mark.parametrize(("metar", "visibility_m", "ceiling_ft", "altimeter_hpa", "celsius"), [
    ("CYOW 251500Z CCA 09005KT 15SM FEW030 M05/M11 A3012", 24140.16, math.inf, 1019.98, -5),
    ("EDDF 251520Z VRB03KT CAVOK 20/10 Q1021", 10000, math.inf, 1021, 20),
    ("KXYZ 251555Z 00000KT M1/4SM FG VV004 02/02 A2988", 402.336, 400, 1011.85, 2),
    ("KXYZ 251555Z AUTO 31012KT P6SM SCT015 BKN040 OVC060 12/03 A3001", 9656.06, 4000, 1016.25, 12),
    ("kxyz 251555z auto 31012kt 10sm clr 12/03 a3001", 16093.44, math.inf, 1016.25, 12)])
def test_metar_traps(metar, visibility_m, ceiling_ft, altimeter_hpa, celsius):
    """Own corpus: WX-10, WX-11 definitions of ceiling and vertical visibility."""
    w = parse_metar(metar)
    assert w.visibility_m == pytest.approx(visibility_m, rel=1e-4)
    assert w.ceiling_m == pytest.approx(float(to_si(ceiling_ft, "ft")) if math.isfinite(ceiling_ft) else math.inf)
    assert from_si(w.altimeter_pa, "hPa") == pytest.approx(altimeter_hpa, abs=0.05)
    assert from_si(w.temperature_k, "C", "temperature") == pytest.approx(celsius)


def test_missing_groups_are_not_known_rather_than_good():
    w = parse_metar("KXYZ 251555Z AUTO /////KT //// ///// Q////")
    assert w.wind is None and w.visibility_m is None and w.temperature_k is None and w.altimeter_pa is None


@pytest.mark.parametrize("text", ["hello", "METAR", "", "KBOI", "KBOI 251555Z NIL", "KBOI 251555Z 99940KT 10SM CLR 20/10 A2992",
                                  "KBOI 251555Z 270400KT 10SM CLR 20/10 A2992"])
def test_what_is_no_metar_is_one_sentence(text):
    with pytest.raises(WeatherText) as error:
        parse_metar(text, "[weather.KBOI] metar")
    assert str(error.value).startswith("[weather.KBOI] metar:") and "\n" not in str(error.value)


@pytest.mark.parametrize(("text", "wind"), [("110/08G14", (110, 8, 14, False)), ("VRB05", (None, 5, None, True)),
                                            ("calm", (None, 0, None, False)), ("360/12", (0, 12, None, False)),
                                            ("24015G25KT", (240, 15, 25, False))])
def test_typed_winds(text, wind):
    w = parse_wind(text)
    gust = None if w.gust_m_s is None else round(float(from_si(w.gust_m_s, "kt")), 6)
    assert (w.from_deg, round(float(from_si(w.speed_m_s, "kt")), 6), gust, w.variable) == wind


@pytest.mark.parametrize("text", ["", "strong", "400/10", "110/400", "110/20G10", "-10/5", "110"])
def test_absurd_winds_are_refused(text):
    with pytest.raises(WeatherText):
        parse_wind(text)


def test_wx_18_fb_text_by_columns():
    """FAA winds-aloft coding rules: no wind within 1,500 ft of the station, no temperature at its lowest level."""
    text = ("DATA BASED ON 101200Z\nVALID 101800Z   FOR USE 1400-2100Z. TEMPS NEG ABV 24000\n"
            "FT  3000    6000    9000   12000   18000   24000  30000  34000  39000\n"
            "BOI      9900    2410+15 2420+08 2435-08 2445-20 244535 245044 731960\n")
    levels = dict(fb_levels(text, "KBOI"))
    feet = {round(float(from_si(k, "ft"))): v for k, v in levels.items()}
    assert 3000 not in feet
    assert feet[6000].light_and_variable and feet[6000].temperature_k is None
    assert feet[9000].from_deg == 240
    assert from_si(feet[39000].speed_m_s, "kt") == pytest.approx(119)
    assert from_si(feet[30000].temperature_k, "C", "temperature") == pytest.approx(-35)
