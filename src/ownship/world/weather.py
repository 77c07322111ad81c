"""Weather texts: METAR through an adapter, typed winds, winds-aloft (FB) groups. SI inside; winds true unless said.

The adapter around the parser re-reads what that rounds or misreads: altimeter, visibility with P and M, tenths of
degrees. The raw text stays beside every value.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta

from ownship.errors import WeatherText
from ownship.units import from_si, to_si

HIGHEST_SURFACE_WIND_KT, HIGHEST_ALOFT_WIND_KT = 120, 300
UNSIGNED_NEGATIVE_ABOVE_M = float(to_si(24000, "ft"))
_WIND = re.compile(r"^(?:(\d{3})|(VRB))/?(\d{1,3})(?:G(\d{1,3}))?\s*(?:KT)?$")
_SPACED = re.compile(r"^(\d{1,3}|VRB)\s*/\s*(\d{1,3})\s*(?:G\s*(\d{1,3}))?\s*(?:KT)?$")


@dataclass(frozen=True)
class WindReport:
    """A wind: from (deg true; None when variable or calm), speed and gust in m/s."""

    from_deg: float | None
    speed_m_s: float
    gust_m_s: float | None = None
    variable: bool = False


@dataclass(frozen=True)
class SurfaceWeather:
    """Weather at a place; None where it was not reported."""

    wind: WindReport | None
    temperature_k: float | None
    dew_point_k: float | None
    altimeter_pa: float | None
    visibility_m: float | None
    ceiling_m: float | None
    source: str
    station: str = ""
    observed: tuple[int, int, int] | None = None  # day, hour, minute UTC
    falling: str = ""  # "" nothing reported, "wet" rain or drizzle, "snow" anything frozen


def parse_wind(text: str, where: str = "wind", highest_kt: int = HIGHEST_SURFACE_WIND_KT) -> WindReport:
    """A typed wind in knots: "110/08G14", "VRB05", "calm", "24015G25KT". One sentence for anything else."""
    upper = text.strip().upper()
    if upper in ("CALM", "00000KT", "0/0", "000/00"):
        return WindReport(None, 0.0)
    match = _WIND.match(upper) or None
    groups = (match[1] or match[2], match[3], match[4]) if match else None
    if groups is None and (spaced := _SPACED.match(upper)):
        groups = (spaced[1], spaced[2], spaced[3])
    if groups is None:
        raise WeatherText(f"{where}: {text!r} is not a wind; write it as 110/08G14 (from deg, kt, gust), VRB05 or calm.")
    direction, speed, gust = groups
    if int(speed) > highest_kt or (gust and int(gust) > highest_kt):
        raise WeatherText(f"{where}: a wind of {gust or speed} kt is not believable here; allowed is 0 to {highest_kt} kt.")
    if gust and int(gust) < int(speed):
        raise WeatherText(f"{where}: the gust of {gust} kt is below the wind of {speed} kt; correct one of the two.")
    variable = direction == "VRB"
    if not variable and int(direction) > 360:
        raise WeatherText(f"{where}: {direction} degrees is no direction; write 000 to 360.")
    return WindReport(None if variable else float(int(direction)) % 360.0, float(to_si(int(speed), "kt")),
                      float(to_si(int(gust), "kt")) if gust else None, variable)


def parse_metar(text: str, where: str = "metar") -> SurfaceWeather:
    """A METAR or SPECI as SurfaceWeather. Checks: WX-01 to WX-05. WeatherText when it does not parse."""
    raw = " ".join(text.upper().replace("=", " ").split())
    body = re.sub(r"^(METAR|SPECI)\s+", "", re.sub(r"\b(COR|CC[A-Z])\s+", "", raw))
    body = re.sub(r"^(METAR|SPECI|COR)\s+", "", body)
    if not re.match(r"^[A-Z][A-Z0-9]{3}\s+\d{6}Z\b", body) or re.search(r"\bNIL\b", body):
        raise WeatherText(f"{where}: {text[:60]!r} does not read as a METAR; it begins with the station and the time, "
                          "such as KBOI 112353Z.")
    _parsed(body, text, where)
    main = re.split(r"\s(?:RMK|BECMG|TEMPO|NOSIG|FM\d{4})\b", body)[0]
    temperature, dew_point = _temperatures(body, main)
    stamp = re.match(r"^([A-Z0-9]{4})\s+(\d{2})(\d{2})(\d{2})Z", body)
    assert stamp is not None
    observed = (int(stamp[2]), int(stamp[3]), int(stamp[4]))
    altimeter = _altimeter(main)
    _believable(where, observed, altimeter, (temperature, dew_point))
    return SurfaceWeather(_wind_of(main, where), temperature, dew_point, altimeter, _visibility(main), _ceiling(main),
                          f"METAR {body}", stamp[1], observed, _falling(main))


def observed_moment(observed: tuple[int, int, int], near: datetime) -> datetime:
    """The moment (UTC) of a report's day, hour and minute that lies nearest to an aware moment, within about half a month."""
    day, hour, minute = observed
    days = (near.astimezone(UTC).date() + timedelta(days=n) for n in range(-31, 32))
    return min((datetime.combine(d, time(hour, minute), UTC) for d in days if d.day == day), key=lambda m: abs(m - near))


def _falling(main: str) -> str:
    """What falls at the station: snow, ice or freezing rain before rain or drizzle; showers in the vicinity do not count."""
    groups = re.findall(r"(?<=\s)[+-]?((?:MI|PR|BC|DR|BL|SH|TS|FZ)?(?:DZ|RA|SN|SG|IC|PL|GR|GS|UP)+)(?=\s|$)", main)
    if any(re.search(r"FZ|SN|SG|PL|GR|GS", g) for g in groups):
        return "snow"
    return "wet" if any(re.search(r"RA|DZ|UP", g) for g in groups) else ""


def _believable(where: str, observed: tuple[int, int, int], altimeter: float | None, degrees: tuple[float | None, ...]) -> None:
    """Refuse a METAR whose time, altimeter or temperatures no place on Earth reports."""
    if not (1 <= observed[0] <= 31 and observed[1] <= 23 and observed[2] <= 59):
        raise WeatherText(f"{where}: {observed[0]:02d}{observed[1]:02d}{observed[2]:02d}Z is no day and time; check the report.")
    if altimeter is not None and not to_si(850, "hPa") <= altimeter <= to_si(1100, "hPa"):
        raise WeatherText(f"{where}: an altimeter setting of {from_si(altimeter, 'hPa'):.0f} hPa is not believable; check the "
                          "report.")
    for kelvin in degrees:
        if kelvin is not None and not -80 <= from_si(kelvin, "C", "temperature") <= 60:
            raise WeatherText(f"{where}: {from_si(kelvin, 'C', 'temperature'):.0f} C is not believable; check the report.")


def _parsed(body: str, text: str, where: str) -> None:
    """Let the parser read the whole report: what it cannot read is refused."""
    from metar_taf_parser.parser.parser import MetarParser

    try:
        MetarParser().parse(body)  # type: ignore[no-untyped-call]
    except Exception:
        raise WeatherText(f"{where}: {text[:60]!r} does not read as a METAR; check it group by group.") from None


def _wind_of(main: str, where: str) -> WindReport | None:
    match = re.search(r"\b(\d{3}|VRB)(\d{2,3})(?:G(\d{2,3}))?(KT|MPS)\b", main)
    if match is None:
        odd = next((w for w in main.split() if w.endswith(("KT", "MPS")) and not w.startswith("/")), None)
        if odd is not None:
            raise WeatherText(f"{where}: the wind group {odd!r} does not read; check it.")
        return None
    if match[3] and int(match[3]) < int(match[2]):
        raise WeatherText(f"{where}: the gust of {match[3]} is below the wind of {match[2]}; check the wind group.")
    unit = "kt" if match[4] == "KT" else "m/s"
    speed, gust = float(to_si(int(match[2]), unit)), float(to_si(int(match[3]), unit)) if match[3] else None
    fastest = from_si(gust or speed, "kt")
    if fastest > HIGHEST_SURFACE_WIND_KT:
        raise WeatherText(f"{where}: a wind of {fastest:.0f} kt is not believable; allowed is 0 to "
                          f"{HIGHEST_SURFACE_WIND_KT} kt.")
    if speed == 0:
        return WindReport(None, 0.0)
    variable = match[1] == "VRB"
    if not variable and int(match[1]) > 360:
        raise WeatherText(f"{where}: {match[1]} degrees is no direction; check the wind group.")
    return WindReport(None if variable else float(int(match[1])) % 360.0, speed, gust, variable)


def _temperatures(body: str, main: str) -> tuple[float | None, float | None]:
    def kelvin(sign: bool, value: float) -> float:
        return float(to_si(-value if sign else value, "C", "temperature"))

    if exact := re.search(r"\bT([01])(\d{3})(?:([01])(\d{3}))?\b", body.rsplit(" RMK ", maxsplit=1)[-1] if " RMK " in body else ""):
        dew = kelvin(exact[3] == "1", int(exact[4]) / 10) if exact[4] else None
        return kelvin(exact[1] == "1", int(exact[2]) / 10), dew
    match = re.search(r"(?<=\s)(M?)(\d{2})/(?:(M?)(\d{2}))?(?=\s|$)", main)
    if match is None:
        return None, None
    return kelvin(bool(match[1]), int(match[2])), kelvin(bool(match[3]), int(match[4])) if match[4] else None


def _altimeter(main: str) -> float | None:
    if match := re.search(r"\bA(\d{4})\b", main):
        return float(to_si(int(match[1]) / 100, "inHg"))
    if match := re.search(r"\bQ(\d{4})\b", main):
        return float(to_si(int(match[1]), "hPa"))
    return None


def _visibility(main: str) -> float | None:
    """Prevailing visibility in m; M (less than) and P (more than) keep the figure itself."""
    if " CAVOK" in main:
        return 10000.0
    if match := re.search(r"(?<=\s)[PM]?(?:(\d+)\s)?(\d+)/(\d+)SM\b", main):
        return float(to_si(int(match[1] or 0) + int(match[2]) / int(match[3]), "sm"))
    if match := re.search(r"(?<=\s)[PM]?(\d+)SM\b", main):
        return float(to_si(int(match[1]), "sm"))
    if match := re.search(r"(?<=(?:KT|PS)\s)(?:\d{3}V\d{3}\s)?(\d{4})(?=\s)", main):
        return 10000.0 if match[1] == "9999" else float(match[1])
    return None


def _ceiling(main: str) -> float | None:
    """Lowest broken or overcast layer or vertical visibility above the ground, m. Check: WX-10.

    Infinity only where the report says that there is no ceiling; None where a layer has no height or nothing is said.
    """
    layers = re.findall(r"(?<=\s)(FEW|SCT|BKN|OVC|VV)(\d{3}|///)", main)
    ceilings = [height for cover, height in layers if cover in ("BKN", "OVC", "VV")]
    if "///" in ceilings or re.search(r"(?<=\s)//////", main):
        return None
    if ceilings:
        return float(to_si(min(int(h) for h in ceilings) * 100, "ft"))
    clear = re.search(r"(?<=\s)(CLR|SKC|NSC|NCD|CAVOK)\b", main)
    return float("inf") if clear or layers else None


@dataclass(frozen=True)
class AloftGroup:
    """One decoded winds-aloft group."""

    from_deg: float | None
    speed_m_s: float | None
    temperature_k: float | None
    light_and_variable: bool = False
    or_more: bool = False


def winds_aloft_group(group: str, level_m: float | None = None, where: str = "winds aloft") -> AloftGroup:
    """Decode ddffTT: dd above 50 means -50 and +100 kt; 9900 light and variable; 7799 type: 199 kt or more.

    An unsigned temperature is negative, and only good above 24,000 ft. Checks: WX-12 to WX-16, WX-18.
    """
    match = re.match(r"^(\d{2})(\d{2})(?:([+-]?)(\d{2}))?$", group.strip())
    if match is None:
        raise WeatherText(f"{where}: {group!r} is not a winds-aloft group; write ddff or ddffTT, such as 2435+07.")
    direction, speed = int(match[1]), int(match[2])
    temperature = None
    if match[4]:
        if not match[3] and (level_m is None or level_m <= UNSIGNED_NEGATIVE_ABOVE_M):
            raise WeatherText(f"{where}: {group!r} has a temperature without a sign, which is only so above 24,000 ft; "
                              "write + or -, or give the level.")
        sign = 1 if match[3] == "+" else -1
        temperature = float(to_si(sign * int(match[4]), "C", "temperature"))
    if direction == 99 and speed == 0:
        return AloftGroup(None, None, temperature, light_and_variable=True)
    fast = direction > 50
    direction -= 50 if fast else 0
    if not 0 <= direction <= 36:
        raise WeatherText(f"{where}: {group!r} holds no direction; dd is 00 to 36, or 51 to 86 from 100 kt on.")
    knots = speed + (100 if fast else 0)
    return AloftGroup(direction * 10.0 % 360.0, float(to_si(knots, "kt")), temperature, or_more=fast and speed == 99)


def fb_levels(text: str, station: str, where: str = "winds aloft") -> tuple[tuple[float, AloftGroup], ...]:
    """The groups of one station of an FB text: ((altitude m, group), ...). The header line names the levels after FT."""
    levels: list[int] | None = None
    for line in text.upper().splitlines():
        words = line.split()
        if words[:1] == ["FT"]:
            levels = [int(w) for w in words[1:] if w.isdigit()]
        elif words and levels and words[0] in (station, station[1:]):
            header = next(x for x in text.upper().splitlines() if x.split()[:1] == ["FT"])
            return tuple(_placed(header, line, where))
    raise WeatherText(f"{where}: the winds-aloft text has no line FT with levels and none for {station}; check both.")


def _placed(header: str, line: str, where: str) -> list[tuple[float, AloftGroup]]:
    """Groups by the column they stand under, each under its own level; else by count from the right (low levels are left out)."""
    columns = [(m.end(), int(m[0])) for m in re.finditer(r"\d+", header)]
    groups = list(re.finditer(r"\S+", line))[1:]
    if len(groups) > len(columns):
        raise WeatherText(f"{where}: the station's line has {len(groups)} groups for {len(columns)} levels; check the text.")
    placed = [(level, g) for g in groups for end, level in columns if abs(end - g.end()) <= 1]
    if len(placed) != len(groups) or len({level for level, _ in placed}) != len(groups):
        placed = list(zip([c[1] for c in columns[len(columns) - len(groups):]], groups, strict=True))
    return [(float(to_si(level, "ft")), winds_aloft_group(g[0], float(to_si(level, "ft")), where)) for level, g in placed]
