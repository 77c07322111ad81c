"""Aerodrome forecasts: TAF text as periods, what prevails at a moment, all that may be then, and the worst of it.

Our own grammar reads every group and refuses the one that it cannot read. (The parser library of the METAR passes
over such groups in silence; in the tests it is the second reader.) Winds are true. A TAF holds no temperature at a
moment, no dew point and no altimeter setting: those stay None.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import reduce
from itertools import combinations, pairwise
from typing import Any

from ownship.errors import WeatherText
from ownship.physics.wind import components
from ownship.units import to_si
from ownship.world.weather import SurfaceWeather, WindReport, _ceiling, _falling, _wind_of

LONGEST = timedelta(hours=36)  # a TAF holds at most 30 h
MOST_BECMG_AT_ONCE = 6
COLDEST_K, HOTTEST_K = (float(to_si(c, "C", "temperature")) for c in (-80, 60))
OVERLAYS = ("TEMPO", "PROB", "INTER")

_HEAD = re.compile(r"^(?P<before>(?:(?:TAF|AMD|COR|CC[A-Z])\s)*)(?P<station>[A-Z][A-Z0-9]{3})\s(?P<issued>\d{6})Z"
                   r"(?P<after>(?:\s(?:AMD|COR|CC[A-Z]))*)\s(?P<valid>NIL\b|\d{4}/\d{4})\s*(?P<body>.*)$", re.ASCII)
_TAIL = re.compile(r"(?:^|\s)(RMK|AMD\s(?:NOT|LTD)|LAST\sNO|LIMITED\sMETWATCH|NXT\sFCST)\b.*$")
_CHANGE = re.compile(r"FM\d{6}|BECMG|TEMPO|INTER|PROB\d{2}", re.ASCII)
_SPAN = re.compile(r"\d{4}/\d{4}", re.ASCII)
_SM = re.compile(r"([PM]?)(?:(?:(\d{1,2})_)?(\d{1,2})/([1-9]\d?)|(\d{1,2}))SM", re.ASCII)
_SHEAR = re.compile(r"WS(\d{3})/(\d{3}P?\d{2,3}(?:GP?\d{2,3})?(?:KT|MPS))", re.ASCII)
_EXTREME = re.compile(r"T([XN])(M?)(\d{2})/(\d{4})Z", re.ASCII)
_FALLS = "DZ|RA|SN|SG|IC|PL|GR|GS|UP|BR|FG|FU|VA|DU|SA|HZ|PO|SQ|FC|SS|DS|PY"

# A token may belong to several elements (CAVOK names three); one that belongs to none is refused.
_GROUPS = {
    "wind": re.compile(r"(?:\d{3}|VRB)P?\d{2,3}(?:GP?\d{2,3})?(?:KT|MPS)|/{5}(?:KT|MPS)", re.ASCII),
    "visibility": re.compile(rf"CAVOK|\d{{4}}|////|{_SM.pattern}", re.ASCII),
    "weather": re.compile(rf"CAVOK|NSW|TS|VC(?:SH|TS)|(?:[+-]|VC)?(?:MI|PR|BC|DR|BL|SH|TS|FZ)?(?:{_FALLS})+"),
    "cloud": re.compile(r"CAVOK|SKC|CLR|NSC|NCD|//////|(?:FEW|SCT|BKN|OVC|VV)(?:\d{3}|///)(?:CB|TCU|///)?", re.ASCII),
    "shear": _SHEAR,
    "altimeter": re.compile(r"QNH\d{4}INS", re.ASCII),
    "extreme": _EXTREME,
    "layer": re.compile(r"[56]\d{5}", re.ASCII),  # military turbulence and icing layers: read past, kept in the text
}
_FIELDS = {"wind": ("wind",), "visibility": ("visibility_m", "visibility_bound"), "cloud": ("ceiling_m",), "shear": ("shear",),
           "weather": ("falling", "thunderstorm", "no_significant_weather"), "altimeter": ("lowest_altimeter_pa",)}


@dataclass(frozen=True)
class Shear:
    """Low-level wind shear: the wind (true) at the top of the layer, and that height above the aerodrome."""

    height_m: float
    wind: WindReport


@dataclass(frozen=True)
class Extreme:
    """A highest (TX) or lowest (TN) temperature of the forecast and when it is expected, UTC."""

    kind: str
    temperature_k: float
    at: datetime


@dataclass(frozen=True)
class Period:
    """One group of a TAF: what it names and from when to when (UTC).

    kind is main, FM, BECMG, TEMPO, PROB or INTER; start and end of a BECMG are those of the change. named: the elements
    the group speaks of; the fields of the others mean nothing. visibility_bound: P more than, M less than visibility_m.
    ceiling_m is inf where the group says that there is none, None where nothing is said. text: the group as written.
    """

    kind: str
    start: datetime
    end: datetime
    probability_1: float | None
    wind: WindReport | None
    visibility_m: float | None
    visibility_bound: str
    ceiling_m: float | None
    falling: str  # as in SurfaceWeather
    thunderstorm: bool
    no_significant_weather: bool
    shear: Shear | None
    lowest_altimeter_pa: float | None
    named: tuple[str, ...]
    text: str


@dataclass(frozen=True)
class Taf:
    """An aerodrome forecast. Moments are aware, UTC. A cancelled one has no periods: nothing is known from it."""

    station: str
    issued: datetime
    valid_from: datetime
    valid_to: datetime
    periods: tuple[Period, ...]
    extremes: tuple[Extreme, ...]
    amended: bool
    corrected: bool
    cancelled: bool
    remarks: str
    raw: str


@dataclass(frozen=True)
class Worst:
    """The worst of several weathers, element by element; None where one of them does not know it."""

    gust_m_s: float | None
    crosswind_m_s: float | None
    ceiling_m: float | None
    visibility_m: float | None


def parse_taf(text: str, reference: datetime, where: str = "taf") -> Taf:
    """Read a TAF. Checks: WX-06 to WX-11.

    reference: an aware moment; days are resolved to the month in which the issue lies nearest to it. Groups: FM with minutes,
    BECMG, TEMPO, INTER, PROBdd alone or before TEMPO or INTER; hour 24 is the midnight that ends the day; metres, statute
    miles, kt, m/s. P and M keep the figure itself (visibility_bound says which). Australian Q and T and all else after RMK
    are kept in remarks as text. WeatherText names the group that does not read, times that end before they begin, a wind
    over 120 kt, NIL, and what is no TAF. Source of the code: the FAA AIM figure 7-1-19 key; ICAO Annex 3 from memory.
    """
    raw = " ".join(text.upper().replace("=", " ").split())
    head = _HEAD.match(raw)
    if head is None:
        raise WeatherText(f"{where}: {text[:60]!r} does not read as a TAF; it begins with station, issue and validity, as in "
                          "TAF KBOI 112320Z 1200/1224.")
    if head["valid"] == "NIL":
        raise WeatherText(f"{where}: the TAF of {head['station']} is NIL, it holds no forecast; take that of another place.")
    flags = f"{head['before']} {head['after']}".split()
    issued = _nearest(head["issued"], _utc(reference, where), where)
    start, end = _validity(head["valid"], issued, where)
    body, remarks = _without_tail(head["body"], where)
    groups = _split(body)
    cancelled = groups == [["CNL"]]
    periods = () if cancelled else _periods(groups, head["valid"], (start, end), where)
    extremes = () if cancelled else tuple(_extreme(t, start, where) for g in groups for t in g if _EXTREME.fullmatch(t))
    return Taf(head["station"], issued, start, end, periods, extremes, "AMD" in flags,
               any(f.startswith(("COR", "CC")) for f in flags), cancelled, remarks, raw)


def _utc(moment: datetime, where: str) -> datetime:
    if moment.tzinfo is None or not 1900 <= moment.year <= 2999:
        raise WeatherText(f"{where}: the moment {moment.isoformat()} has no time zone or no believable year; give it as UTC.")
    return moment.astimezone(UTC)


def _without_tail(body: str, where: str) -> tuple[str, str]:
    """The groups, and the remarks behind them. A change group behind RMK would be lost in silence: refused."""
    tail = _TAIL.search(body)
    if tail is None:
        return body, ""
    lost = re.search(r"\b(?:(?:BECMG|TEMPO|INTER|PROB\d{2})\s\d{4}/\d{4}|FM\d{6}\s\w+(?:KT|MPS))\b", tail[0])
    if lost:
        raise WeatherText(f"{where}: {lost[0]} stands behind the remarks, where it is not read; move it before {tail[1]}.")
    return body[:tail.start()], tail[0].strip()


def _split(body: str) -> list[list[str]]:
    """Tokens by group: the main one first; PROBdd takes a TEMPO or INTER that follows at once with it."""
    body = re.sub(r"\b(FM|PROB)\s(?=\d)", r"\1", body)
    body = re.sub(r"(?<!\S)(\d{1,2})\s(?=\d{1,2}/\d{1,2}SM\b)", r"\1_", body)
    groups: list[list[str]] = [[]]
    for token in body.split():
        joined = token in ("TEMPO", "INTER") and len(groups[-1]) == 1 and groups[-1][0].startswith("PROB")
        if _CHANGE.fullmatch(token) and not joined:
            groups.append([])
        groups[-1].append(token)
    return groups


def _nearest(stamp: str, near: datetime, where: str) -> datetime:
    """The moment of ddhh or ddhhmm, in the month before, the same or the next, that lies nearest to another one."""
    day, hour, minute = int(stamp[:2]), int(stamp[2:4]), int(stamp[4:] or 0)
    this = datetime(near.year, near.month, 1, tzinfo=UTC)
    firsts = [(this + timedelta(days=d)).replace(day=1) for d in (-1, 0, 31)]
    days = [d for first in firsts if (d := first + timedelta(days=day - 1)).month == first.month]
    if not days or hour > 24 or minute > 59 or (hour == 24 and minute):
        raise WeatherText(f"{where}: {stamp} is no day and hour; days are 01 to 31, hours 00 to 24. Check the TAF.")
    return min((d + timedelta(hours=hour, minutes=minute) for d in days), key=lambda m: abs(m - near))


def _span(group: str, near: datetime, where: str) -> tuple[datetime, datetime]:
    start = _nearest(group[:4], near, where)
    end = _nearest(group[5:], start, where)
    if end <= start:
        raise WeatherText(f"{where}: {group} ends before it begins, or as it begins; check the two times.")
    return start, end


def _validity(group: str, issued: datetime, where: str) -> tuple[datetime, datetime]:
    start, end = _span(group, issued, where)
    if end - start > LONGEST or abs(start - issued) > LONGEST:
        raise WeatherText(f"{where}: a validity of {group} in a TAF issued {issued:%d%H%M}Z is not believable; a TAF lasts at "
                          "most 30 h, check the times.")
    return start, end


def _periods(groups: list[list[str]], valid: str, span: tuple[datetime, datetime], where: str) -> tuple[Period, ...]:
    """The main group and the change groups; the main one and each FM end where the next FM begins."""
    periods = [_period("main", span, None, groups[0], " ".join([valid, *groups[0]]), where)]
    periods += [_changed(g, span, where) for g in groups[1:]]
    _in_order(periods, where)
    ends = [next((f.start for f in periods[i:] if f.kind == "FM"), span[1]) for i in range(1, len(periods) + 1)]
    return tuple(replace(p, end=end) if p.kind in ("main", "FM") else p for p, end in zip(periods, ends, strict=True))


def _changed(group: list[str], span: tuple[datetime, datetime], where: str) -> Period:
    """A change group: its head says the kind, the chance and the times."""
    first, text = group[0], " ".join(group)
    if first.startswith("FM"):
        kind, chance, rest = "FM", None, group[1:]
        times = (_nearest(first[2:], span[0], where), span[1])
    else:
        chance = int(first[4:]) if first.startswith("PROB") else None
        words = 2 if chance is not None and group[1:2] in (["TEMPO"], ["INTER"]) else 1
        kind, rest = "PROB" if words == 1 and chance is not None else group[words - 1], group[words + 1:]
        if not _SPAN.fullmatch(" ".join(group[words:words + 1])):
            raise WeatherText(f"{where}: no times such as 0920/0922 follow {' '.join(group[:words])} in {text[:40]!r}; add them.")
        times = _span(group[words], span[0], where)
    if chance == 0 or times[0] > span[1] or times[1] < span[0] or (kind == "FM" and times[0] < span[0]):
        raise WeatherText(f"{where}: {text[:40]!r} has no chance or lies outside the validity of the TAF; check the group.")
    return _period(kind, times, None if chance is None else chance / 100, rest, text, where)


def _in_order(periods: Sequence[Period], where: str) -> None:
    """FM and BECMG stand in the order of their times: otherwise nobody can say which one replaces which."""
    steps = [p for p in periods if p.kind in ("FM", "BECMG")]
    for before, after in pairwise(steps):
        if after.start < before.start or (after.kind == "FM" and after.start == before.start):
            raise WeatherText(f"{where}: {after.text[:20]!r} stands behind {before.text[:20]!r}, which is not earlier; check both.")
    for p in steps:
        if sum(q.kind == "BECMG" and q.start <= p.start < q.end for q in steps) > MOST_BECMG_AT_ONCE:
            raise WeatherText(f"{where}: more than {MOST_BECMG_AT_ONCE} BECMG run at {p.start:%d%H}Z; check the text.")


def _period(kind: str, times: tuple[datetime, datetime], chance: float | None, tokens: list[str], text: str, where: str) -> Period:
    found = _elements(tokens, where)
    if not any(found.values()):
        raise WeatherText(f"{where}: {text[:40]!r} says no weather; complete the group or leave it out.")
    weather = found["weather"]
    shear = [Shear(float(to_si(int(height) * 100, "ft")), wind) for height, group in _SHEAR.findall(" ".join(found["shear"]))
             if (wind := _wind([group], where))]
    bound, visibility = _visibility_m(found["visibility"], where)
    altimeter = [float(to_si(int(t[3:7]) / 100, "inHg")) for t in found["altimeter"]]
    return Period(kind, *times, chance, _wind(found["wind"], where), visibility, bound, _ceiling(" " + " ".join(found["cloud"])),
                  _falling(" " + " ".join(weather)), any("TS" in w for w in weather), "NSW" in weather,
                  shear[0] if shear else None, min(altimeter, default=None),
                  tuple(name for name in _FIELDS if found[name]), text.replace("_", " "))


def _elements(tokens: list[str], where: str) -> dict[str, list[str]]:
    """The tokens by element. WeatherText names a token that belongs to none, and a second wind, visibility or shear."""
    found: dict[str, list[str]] = {name: [] for name in _GROUPS}
    for token in tokens:
        homes = [name for name, pattern in _GROUPS.items() if pattern.fullmatch(token)]
        if not homes:
            raise WeatherText(f"{where}: the group {token.replace('_', ' ')[:40]!r} of the TAF does not read; correct it.")
        for name in homes:
            found[name].append(token)
    for name in ("wind", "visibility", "shear"):
        if len(found[name]) > 1:
            both = " and ".join(found[name][:2]).replace("_", " ")
            raise WeatherText(f"{where}: {both} stand in one group of the TAF, which has one {name}; leave one out.")
    return found


def _wind(tokens: list[str], where: str) -> WindReport | None:
    """The wind of a period; P (more than) keeps the figure itself; None where it is not said or given as slashes."""
    if not tokens:
        return None
    report = _wind_of(tokens[0].replace("P", "").replace("MS", "MPS"), where)
    if report is not None and report.speed_m_s == 0 and "G" in tokens[0]:
        raise WeatherText(f"{where}: the wind group {tokens[0]!r} is calm and has a gust; correct one of the two.")
    return report


def _visibility_m(tokens: list[str], where: str) -> tuple[str, float | None]:
    """Bound (P more than, M less than, else blank) and figure of a visibility group. Check: WX-09."""
    if not tokens or tokens[0] == "////":
        return "", None
    if tokens[0] in ("CAVOK", "9999"):
        return "P", 10000.0
    miles = _SM.fullmatch(tokens[0])
    if miles is None:
        return "", float(tokens[0])
    bound, whole, over, under, plain = miles.groups()
    if over and int(over) >= int(under):
        raise WeatherText(f"{where}: the visibility {tokens[0].replace('_', ' ')!r} reads in two ways; write such as 1 1/2SM.")
    return bound, float(to_si(int(plain or whole or 0) + (int(over) / int(under) if over else 0.0), "sm"))


def _extreme(token: str, near: datetime, where: str) -> Extreme:
    match = _EXTREME.fullmatch(token)
    assert match is not None
    kelvin = float(to_si(-int(match[3]) if match[2] else int(match[3]), "C", "temperature"))
    if not COLDEST_K <= kelvin <= HOTTEST_K:
        raise WeatherText(f"{where}: the temperature of {token} is not believable; allowed is -80 to 60 C.")
    return Extreme("highest" if match[1] == "X" else "lowest", kelvin, _nearest(match[4], near, where))


def prevailing_period(taf: Taf, at: datetime) -> Period | None:
    """What prevails at an aware moment, with thunderstorm and shear; None outside the validity (its ends belong to it).

    The last FM begun by then (else the main group) replaces everything from its minute; over it lie the BECMG that have
    ended by then: only what they name changes. Kind and times are those of the group underneath; the text names them all.
    """
    at = _utc(at, "taf")
    if not taf.periods or not taf.valid_from <= at <= taf.valid_to:
        return None
    base = [p for p in taf.periods if p.kind in ("main", "FM") and p.start <= at][-1]
    return reduce(laid_over, (p for p in _alive(taf, at) if p.kind == "BECMG" and p.end <= at), base)


def possible_periods(taf: Taf, at: datetime) -> tuple[Period, ...]:
    """All that may be at an aware moment, the prevailing first; empty outside the validity.

    Within a running BECMG either side may hold, of several each by itself. Each TEMPO, PROB and INTER of that moment, its
    ends included, lies over each of these; it has then its own kind and probability.
    """
    prevails, at = prevailing_period(taf, at), _utc(at, "taf")
    if prevails is None:
        return ()
    alive = _alive(taf, at)
    running = [p for p in alive if p.kind == "BECMG" and p.start <= at < p.end]
    bases = [reduce(laid_over, some, prevails) for n in range(len(running) + 1) for some in combinations(running, n)]
    overlays = [p for p in alive if p.kind in OVERLAYS and p.start <= at <= p.end]
    return (*bases, *(replace(laid_over(b, o), kind=o.kind, probability_1=o.probability_1, start=o.start, end=o.end)
                      for o in overlays for b in bases))


def _alive(taf: Taf, at: datetime) -> list[Period]:
    """Change groups not yet replaced: an FM replaces what stands before it in the text and began before it."""
    begun = [(i, p.start) for i, p in enumerate(taf.periods) if p.kind == "FM" and p.start <= at]
    return [p for i, p in enumerate(taf.periods) if p.kind not in ("main", "FM")
            and not any(i < j and p.start < start for j, start in begun)]


def laid_over(base: Period, change: Period) -> Period:
    """The base with the elements that the change names; all others stay."""
    fields: dict[str, Any] = {f: getattr(change, f) for name in change.named for f in _FIELDS[name]}
    named = tuple(name for name in _FIELDS if name in base.named or name in change.named)
    return replace(base, named=named, text=f"{base.text}; {change.text}", **fields)


def prevailing(taf: Taf, at: datetime) -> SurfaceWeather | None:
    """The weather of the plan at an aware moment: see prevailing_period. None outside the validity or when cancelled."""
    period = prevailing_period(taf, at)
    return None if period is None else _as_weather(taf, period)


def possible(taf: Taf, at: datetime) -> tuple[SurfaceWeather, ...]:
    """The weathers that may be at an aware moment: see possible_periods. The prevailing one is the first."""
    return tuple(_as_weather(taf, p) for p in possible_periods(taf, at))


def _as_weather(taf: Taf, period: Period) -> SurfaceWeather:
    source = f"TAF {taf.station} {taf.issued:%d%H%M}Z, {period.text}"
    return SurfaceWeather(period.wind, None, None, None, period.visibility_m, period.ceiling_m, source, taf.station,
                          falling=period.falling)


def worst_for(weathers: Sequence[SurfaceWeather], runway_true_deg: float | None = None) -> Worst:
    """The highest gust (else wind), strongest crosswind on a runway, lowest ceiling and least visibility, each by itself.

    Crosswind from the gust, |V sin(from - runway)|, m/s; a variable wind blows all across. An element that one of the
    weathers does not know is None, and so is all of none; the crosswind is None without a runway (degrees true).
    """
    winds = [w.wind for w in weathers]
    across = [None if runway_true_deg is None else _crosswind_m_s(v, runway_true_deg) for v in winds]
    return Worst(_worst(max, [_fastest_m_s(v) for v in winds]), _worst(max, across),
                 _worst(min, [w.ceiling_m for w in weathers]), _worst(min, [w.visibility_m for w in weathers]))


def _fastest_m_s(wind: WindReport | None) -> float | None:
    return None if wind is None else wind.speed_m_s if wind.gust_m_s is None else wind.gust_m_s


def _crosswind_m_s(wind: WindReport | None, runway_true_deg: float) -> float | None:
    fastest = _fastest_m_s(wind)
    if wind is None or wind.from_deg is None:
        return fastest
    return abs(float(components(runway_true_deg, wind.from_deg, fastest)[1]))


def _worst(choose: Callable[[list[float]], float], values: Sequence[float | None]) -> float | None:
    known = [v for v in values if v is not None]
    return choose(known) if known and len(known) == len(values) else None
