"""TAF text: months and hour 24, other countries' habits, what may be at a moment, refusals; a library as second reader."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st
from metar_taf_parser.parser.parser import TAFParser

from ownship.errors import WeatherText
from ownship.units import from_si, to_si
from ownship.world.taf import parse_taf, possible, possible_periods, prevailing, prevailing_period, worst_for

REFERENCE = datetime(2026, 7, 9, 18, tzinfo=UTC)
PLAIN = "TAF KXYZ 091720Z 0918/1018 24010KT P6SM FEW040 BKN080"


def at(d, hour, minute=0, month=7, year=2026):
    return datetime(year, month, d, hour, minute, tzinfo=UTC)


def read(groups, reference=REFERENCE):
    return parse_taf(f"{PLAIN} {groups}", reference)


@pytest.mark.parametrize(("reference", "head", "issued", "start", "end"), [
    (at(31, 23, month=1), "312340Z 0100/0124", at(31, 23, 40, 1), at(1, 0, month=2), at(2, 0, month=2)),
    (at(1, 0, 10, month=3), "282330Z 0100/0206", at(28, 23, 30, 2), at(1, 0, month=3), at(2, 6, month=3)),
    (at(1, 0, 10, month=3, year=2028), "292330Z 2924/0124", at(29, 23, 30, 2, 2028), at(1, 0, month=3, year=2028), at(2, 0, month=3, year=2028)),
    (at(1, 1, month=1), "312330Z 0100/0206", at(31, 23, 30, 12, 2025), at(1, 0, month=1), at(2, 6, month=1)),
    (at(31, 22, month=12), "312030Z 3121/0103", at(31, 20, 30, 12), at(31, 21, month=12), at(1, 3, month=1, year=2027)),
    (at(15, 0, month=2), "312330Z 0100/0206", at(31, 23, 30, 1), at(1, 0, month=2), at(2, 6, month=2))])
def test_days_fall_into_the_month_nearest_to_the_reference(reference, head, issued, start, end):
    taf = parse_taf(f"TAF KXYZ {head} 24010KT P6SM SKC", reference)
    assert (taf.issued, taf.valid_from, taf.valid_to) == (issued, start, end)


@given(st.datetimes(datetime(2000, 1, 1), datetime(2099, 12, 1), timezones=st.just(UTC)), st.integers(1, 30), st.integers(-10, 10))
def test_a_written_moment_is_read_back(moment, hours, days_off):
    """Any start to the minute, up to 30 hours, read up to ten days before or after."""
    issued = moment.replace(second=0, microsecond=0)
    start = (issued + timedelta(hours=1)).replace(minute=0)
    end = start + timedelta(hours=hours)
    last = f"{end:%d%H}" if end.hour else f"{end - timedelta(hours=1):%d}24"
    taf = parse_taf(f"TAF KXYZ {issued:%d%H%M}Z {start:%d%H}/{last} 24010KT P6SM SKC", issued + timedelta(days=days_off))
    assert (taf.issued, taf.valid_from, taf.valid_to) == (issued, start, end)


def test_the_reference_may_stand_in_another_zone():
    assert read("", datetime(2026, 7, 9, 12, tzinfo=timezone(timedelta(hours=-6)))) == read("")


def test_lower_case_lines_and_the_end_mark_read_alike():
    ragged = "\n  " + PLAIN.lower().replace(" bkn080", "\n     bkn080") + "\n  tempo 0920/0922 1 1/2sm -shra bkn015=\n"
    assert parse_taf(ragged, REFERENCE) == read("TEMPO 0920/0922 1 1/2SM -SHRA BKN015")


@pytest.mark.parametrize(("group", "metres", "bound"), [
    ("1 1/2SM", to_si(1.5, "sm"), ""), ("3/4SM", to_si(0.75, "sm"), ""), ("M1/4SM", to_si(0.25, "sm"), "M"), ("P6SM", to_si(6, "sm"), "P"),
    ("0800", 800, ""), ("0000", 0, ""), ("9999", 10000, "P"), ("CAVOK", 10000, "P"), ("////", None, "")])
def test_visibility(group, metres, bound):
    period = read(f"FM092000 24010KT {group}").periods[1]
    assert (period.visibility_m, period.visibility_bound) == (metres if metres is None else pytest.approx(metres), bound)


@pytest.mark.parametrize(("clouds", "ceiling_ft"), [
    ("FEW010 SCT020", math.inf), ("SKC", math.inf), ("NSC", math.inf), ("CAVOK", math.inf), ("SCT008 BKN012CB OVC030", 1200),
    ("OVC000", 0), ("VV///", None), ("BKN///", None), ("//////", None), ("", None)])
def test_ceiling_is_known_only_where_something_is_said(clouds, ceiling_ft):
    period = read(f"FM092000 24010KT {clouds}").periods[1]
    assert period.ceiling_m == (None if ceiling_ft is None else pytest.approx(float(to_si(ceiling_ft, "ft"))) if ceiling_ft < 1e9 else math.inf)


@pytest.mark.parametrize(("group", "falling", "storm"), [
    ("-RA BR", "wet", False), ("+TSRA", "wet", True), ("TSGR", "snow", True), ("FZDZ", "snow", False), ("RASN", "snow", False),
    ("VCTS", "", True), ("VCSH", "", False), ("TS", "", True), ("NSW", "", False), ("BR", "", False), ("BLSN", "snow", False)])
def test_what_falls_and_thunder(group, falling, storm):
    period = read(f"TEMPO 0920/0922 {group}").periods[1]
    assert (period.falling, period.thunderstorm, period.no_significant_weather) == (falling, storm, group == "NSW")
    assert period.named == ("weather",)


def test_temperature_and_altimeter_stay_unknown_and_the_source_says_the_groups():
    taf = read("QNH2985INS BECMG 0920/0922 QNH2979INS TX31/0922Z TNM02/1012Z")
    weather = prevailing(taf, at(9, 23))
    assert weather.temperature_k is None and weather.dew_point_k is None and weather.altimeter_pa is None and weather.observed is None
    assert from_si(prevailing_period(taf, at(9, 23)).lowest_altimeter_pa, "inHg") == pytest.approx(29.79)
    assert [(e.kind, round(from_si(e.temperature_k, "C", "temperature")), e.at) for e in taf.extremes] == [
        ("highest", 31, at(9, 22)), ("lowest", -2, at(10, 12))]
    assert weather.source.startswith("TAF KXYZ 091720Z, 0918/1018 24010KT") and "BECMG 0920/0922" in weather.source


def test_military_text():
    taf = parse_taf("TAF AMD KXYZ 091720Z 0917/1023 VRB06KT 9999 SCT040 530004 620304 QNH2992INS BECMG 0920/0921 24015G30KT 4800 "
                    "-TSRA BKN030CB WS020/24040KT QNH2988INS TX33/0921Z TN19/1010Z LAST NO AMDS AFT 0922 NEXT 1012", REFERENCE)
    assert taf.amended and taf.remarks.startswith("LAST NO AMDS")
    assert taf.periods[0].wind.variable and taf.periods[1].shear is not None


def test_australian_inter_prob_and_groups_behind_the_last_fm():
    taf = parse_taf("TAF YXYZ 251105Z 2512/2618 14006KT CAVOK FM252200 03015KT 9999 SHRA SCT030 INTER 2514/2518 3000 +SHRA BKN010 "
                    "PROB30 INTER 2600/2604 VRB20G45KT 2000 TSRA BKN008 RMK FM260200 MOD TURB BLW 5000FT TILL260900 T 13 12 15 Q 1015 1014",
                    at(25, 12))
    assert [(p.kind, p.probability_1) for p in taf.periods] == [("main", None), ("FM", None), ("INTER", None), ("INTER", pytest.approx(0.3))]
    assert [p.kind for p in possible_periods(taf, at(25, 15))] == ["main", "INTER"]
    assert possible_periods(taf, at(25, 15))[1].wind == taf.periods[0].wind
    assert from_si(worst_for(possible(taf, at(26, 2)), 30).crosswind_m_s, "kt") == pytest.approx(45)
    assert taf.remarks.startswith("RMK FM260200 MOD TURB") and taf.remarks.endswith("Q 1015 1014")


@pytest.mark.parametrize(("head", "amended", "corrected"), [
    ("TAF AMD KXYZ 091720Z", True, False), ("TAF COR KXYZ 091720Z", False, True), ("TAF TAF KXYZ 091720Z COR", False, True),
    ("KXYZ 091720Z", False, False), ("TAF KXYZ 091720Z CCA", False, True)])
def test_amended_and_corrected(head, amended, corrected):
    taf = parse_taf(PLAIN.replace("TAF KXYZ 091720Z", head), REFERENCE)
    assert (taf.amended, taf.corrected, taf.station, taf.periods) == (amended, corrected, "KXYZ", read("").periods)


def test_prob30_tempo_has_its_chance_and_the_words_behind_amd_are_kept():
    taf = read("PROB30 TEMPO 0920/0922 VRB20G35KT 1SM TSRA AMD NOT SKED AFT 1003")
    assert (taf.periods[1].kind, taf.periods[1].probability_1) == ("TEMPO", pytest.approx(0.3))
    assert taf.remarks == "AMD NOT SKED AFT 1003"


def test_nothing_is_known_outside_the_validity():
    taf = read("")
    for moment in (at(9, 17, 59), at(10, 18, 1)):
        assert prevailing(taf, moment) is None and possible(taf, moment) == () and prevailing_period(taf, moment) is None
    assert prevailing(taf, at(9, 18)) is not None and prevailing(taf, at(10, 18)) is not None


def test_an_fm_replaces_a_running_becmg_and_a_running_tempo():
    taf = read("BECMG 0919/0923 27020G30KT TEMPO 0920/0924 1SM SHRA FM092200 30008KT P6SM SCT050")
    assert len(possible(taf, at(9, 21))) == 4
    assert possible(taf, at(9, 22)) == (prevailing(taf, at(9, 22)),)
    assert prevailing(taf, at(10, 1)).wind.from_deg == 300


def test_an_overlay_holds_to_its_end_and_across_an_fm_that_stands_before_it():
    taf = read("FM092200 30008KT P6SM SCT050 TEMPO 0921/0923 1SM SHRA")
    for moment, direction in ((at(9, 21), 240), (at(9, 22, 30), 300), (at(9, 23), 300)):
        assert [(p.kind, p.wind.from_deg) for p in possible_periods(taf, moment)][1:] == [("TEMPO", direction)]
    assert len(possible(taf, at(9, 23, 1))) == 1


def test_an_fm_forgets_what_it_does_not_say():
    weather = prevailing(read("FM092000 30008KT"), at(9, 20))
    assert weather.visibility_m is None and weather.ceiling_m is None and weather.wind.from_deg == 300


def test_two_changes_at_once_may_hold_each_or_both():
    taf = read("BECMG 0920/0924 27020G30KT BECMG 0921/0923 3SM RA OVC012")
    seen = {(w.wind.from_deg, w.falling) for w in possible(taf, at(9, 22))}
    assert seen == {(240, ""), (270, ""), (240, "wet"), (270, "wet")}
    assert (prevailing(taf, at(9, 23)).wind.from_deg, prevailing(taf, at(9, 23)).falling) == (240, "wet")
    assert (prevailing(taf, at(9, 23, 59)).wind.from_deg, prevailing(taf, at(10, 0)).wind.from_deg) == (240, 270)


def test_nsw_ends_the_weather_and_a_wind_without_gust_ends_the_gust():
    taf = parse_taf("TAF KXYZ 091720Z 0918/1018 24010G25KT 3SM SHRA BKN020 BECMG 0920/0921 26008KT NSW", REFERENCE)
    later = prevailing(taf, at(9, 21))
    assert (later.falling, later.wind.gust_m_s) == ("", None)
    assert from_si(later.visibility_m, "sm") == pytest.approx(3)


def test_worst_is_not_known_where_one_weather_does_not_know():
    clear, blind = prevailing(read(""), at(9, 19)), prevailing(read("FM092000 /////KT //// //////"), at(9, 21))
    worst = worst_for([clear, blind], 240)
    assert (worst.gust_m_s, worst.crosswind_m_s, worst.ceiling_m, worst.visibility_m) == (None, None, None, None)
    assert worst_for([], 240).gust_m_s is None
    assert worst_for([clear]).crosswind_m_s is None and worst_for([clear]).gust_m_s == clear.wind.speed_m_s


HOURS = st.integers(0, 23)
WINDS = st.builds(lambda d, v, g: f"{d * 10:03d}{v:02d}{f'G{v + g:02d}' if g else ''}KT", st.integers(0, 36), st.integers(1, 40), st.integers(0, 30))
SIGHTS = st.sampled_from(["P6SM", "3SM", "1 1/2SM", "M1/4SM", "9999", "0800", "CAVOK"])
SKIES = st.sampled_from(["SKC", "FEW010", "BKN004", "OVC012CB", "SCT008 BKN030", "VV002"])
FALLS = st.sampled_from(["", "NSW", "-RA", "+TSRA", "SN", "BR"])


@st.composite
def forecasts(draw):
    """A TAF with steps in order of time and overlays anywhere."""
    steps = sorted(draw(st.lists(st.tuples(HOURS, st.integers(1, 4), st.booleans()), max_size=4, unique_by=lambda x: x[0])))
    texts = [f"TAF KXYZ 012330Z 0200/0300 {draw(WINDS)} {draw(SIGHTS)} {draw(SKIES)}"]
    texts += [f"FM02{h:02d}00 {draw(WINDS)} {draw(SIGHTS)} {draw(FALLS)} {draw(SKIES)}" if fm
              else f"BECMG 02{h:02d}/02{min(h + n, 24):02d} {draw(WINDS)} {draw(FALLS)}" for h, n, fm in steps]
    for kind in draw(st.lists(st.sampled_from(["TEMPO", "PROB30", "PROB40 TEMPO", "INTER"]), max_size=3)):
        h = draw(HOURS)
        texts.append(f"{kind} 02{h:02d}/02{min(h + 3, 24):02d} {draw(SIGHTS)} {draw(FALLS)} {draw(SKIES)}")
    return " ".join(texts)


@given(forecasts(), st.integers(0, 24 * 60))
def test_the_prevailing_is_possible_and_the_worst_is_never_better(text, minute):
    taf = parse_taf(text, at(1, 23))
    moment = taf.valid_from + timedelta(minutes=minute)
    plan, all_of_it = prevailing(taf, moment), possible(taf, moment)
    assert all_of_it[0] == plan
    worst = worst_for(all_of_it, 100)
    assert worst.visibility_m <= plan.visibility_m
    assert worst.ceiling_m <= plan.ceiling_m
    assert worst.gust_m_s >= (plan.wind.gust_m_s or plan.wind.speed_m_s) and worst.crosswind_m_s <= worst.gust_m_s + 1e-9
    running = [p for p in taf.periods if p.kind in ("TEMPO", "PROB", "INTER") and p.start <= moment <= p.end]
    assert all(worst.visibility_m <= p.visibility_m and worst.ceiling_m <= p.ceiling_m for p in running)


@given(forecasts())
def test_the_library_reads_the_same_times_and_winds(text):
    """A second reader: metar-taf-parser-mivek (right on times, kinds and chances; it drops what it cannot read)."""
    taf, other = parse_taf(text, at(1, 23)), TAFParser().parse(text)
    assert [p.kind for p in taf.periods[1:]] == [t.type.value for t in other.trends]
    for period, trend in zip(taf.periods[1:], other.trends, strict=True):
        assert (period.start.hour, period.start.day) == (trend.validity.start_hour, trend.validity.start_day)
        assert round((period.probability_1 or 0) * 100) == (trend.probability or 0)
        if trend.wind:
            assert (round(from_si(period.wind.speed_m_s, "kt")), period.wind.from_deg) == (trend.wind.speed, trend.wind.degrees % 360)


@pytest.mark.parametrize(("text", "says"), [
    ("", "does not read as a TAF"), ("hello", "does not read as a TAF"), ("KXYZ 091753Z 24010KT 10SM CLR 20/10 A2992", "does not read as a TAF"),
    ("TAF KXYZ 091720Z NIL=", "NIL"), ("TAF KXYZ 091720Z 1018/0918 24010KT P6SM SKC", "1018/0918 ends before it begins"),
    ("TAF KXYZ 091720Z 0918/0918 24010KT P6SM SKC", "0918/0918 ends"), ("TAF KXYZ 091720Z 0918/1918 24010KT P6SM SKC", "30 h"),
    ("TAF KXYZ 091720Z 2018/2118 24010KT P6SM SKC", "not believable"), ("TAF KXYZ 091720Z 0925/1018 24010KT P6SM SKC", "0925"),
    ("TAF KXYZ 321720Z 0918/1018 24010KT P6SM SKC", "321720"), ("TAF KXYZ 091720Z 0018/1018 24010KT P6SM SKC", "0018"),
    ("TAF KXYZ 091720Z 0918/1018", "says no weather"), (f"{PLAIN} {PLAIN}", "TAF"), (f"{PLAIN} GARBAGE", "'GARBAGE'"),
    (f"{PLAIN} CNL", "'CNL'"), (f"{PLAIN} FM0920 24010KT P6SM SKC", "'FM0920'"), (f"{PLAIN} FM091700 24010KT P6SM SKC", "outside the validity"),
    (f"{PLAIN} FM092560 24010KT", "092560"), (f"{PLAIN} FM092430 24010KT", "092430"), (f"{PLAIN} TEMPO 0914/0916 2SM", "outside the validity"), (f"{PLAIN} TEMPO 2SM", "'TEMPO 2SM'"), (f"{PLAIN} TEMPO", "TEMPO"),
    (f"{PLAIN} TEMPO 0920/0922", "says no weather"), (f"{PLAIN} TEMPO 0922/0920 2SM", "0922/0920 ends before"),
    (f"{PLAIN} TEMPO 1120/1122 2SM", "outside the validity"), (f"{PLAIN} PROB00 0920/0922 2SM", "no chance"),
    (f"{PLAIN} PROB30 PROB40 0920/0922 2SM", "PROB30"), (f"{PLAIN} TEMPO 0920/0922 11/2SM", "1 1/2SM"), (f"{PLAIN} TEMPO 0920/0922 1/0SM", "1/0SM"),
    (f"{PLAIN} FM092000 240121KT P6SM SKC", "121 kt"), (f"{PLAIN} FM092000 24063MPS 9999 SKC", "not believable"),
    (f"{PLAIN} FM092000 24020G10KT P6SM SKC", "gust"), (f"{PLAIN} FM092000 00000G25KT P6SM SKC", "calm"), (f"{PLAIN} FM092000 37010KT P6SM", "370"),
    (f"{PLAIN} FM092000 24010KMH P6SM SKC", "'24010KMH'"), (f"{PLAIN} FM092000 24010KT 26020KT", "24010KT and 26020KT"),
    (f"{PLAIN} 2SM", "P6SM and 2SM"), (f"{PLAIN} CAVOK", "P6SM and CAVOK"), (f"{PLAIN} TX99/0920Z", "TX99"),
    (f"{PLAIN} FM092200 24010KT P6SM SKC FM092000 26010KT P6SM SKC", "'FM092000"), (f"{PLAIN} BECMG 0922/0924 2SM FM092200 26010KT P6SM", "'FM092200"),
    (f"{PLAIN} RMK TEMPO 0920/0922 1/4SM", "behind the remarks"), (f"{PLAIN} AMD NOT SKED FM092000 24040KT 1SM", "behind the remarks"),
    (f"{PLAIN} " + " ".join(["BECMG 0920/0922 2SM"] * 7), "more than 6 BECMG")])
def test_refusals_are_one_sentence_that_names_the_group(text, says):
    with pytest.raises(WeatherText) as error:
        parse_taf(text, REFERENCE, "[weather.KXYZ] taf")
    sentence = str(error.value)
    assert sentence.startswith("[weather.KXYZ] taf:") and says in sentence and "\n" not in sentence


@pytest.mark.parametrize("moment", [datetime(2026, 7, 9, 18), datetime(1, 1, 1, tzinfo=UTC)])
def test_a_moment_without_zone_or_far_from_now_is_refused(moment):
    with pytest.raises(WeatherText):
        read("", moment)
    with pytest.raises(WeatherText):
        prevailing(read(""), moment)


@given(st.text(alphabet="ABCDEFGKMNOPRSTXZ0123456789/ +-\n", max_size=60))
def test_any_text_is_a_forecast_or_a_sentence(text):
    for whole in (text, f"{PLAIN} {text}"):
        try:
            assert parse_taf(whole, REFERENCE).periods
        except WeatherText as refusal:
            assert str(refusal).endswith(".")
