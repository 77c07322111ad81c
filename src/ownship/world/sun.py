"""The sun: zenith distance at an instant, and the times at which it passes one. NOAA's series, iterated.

The definition of night is the caller's: a zenith (90.833 sunset, 96 civil twilight) and minutes after or before.
Elevation 0, as the published tables do. Good to a few seconds below 65 degrees, within a century of 2000.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

SUNSET_ZENITH_DEG, CIVIL_ZENITH_DEG = 90.833, 96.0
EPOCH = datetime(2000, 1, 1, 12, tzinfo=UTC)


def _sun(moment: datetime) -> tuple[float, float]:
    """Declination (deg) and equation of time (minutes): Meeus, Astronomical Algorithms, chapter 25, low accuracy."""
    t = (moment - EPOCH).total_seconds() / 86400.0 / 36525.0
    mean = (280.46646 + t * (36000.76983 + t * 0.0003032)) % 360.0
    anomaly = math.radians(357.52911 + t * (35999.05029 - 0.0001537 * t))
    eccentricity = 0.016708634 - t * (0.000042037 + 0.0000001267 * t)
    centre = (math.sin(anomaly) * (1.914602 - t * (0.004817 + 0.000014 * t))
              + math.sin(2 * anomaly) * (0.019993 - 0.000101 * t) + math.sin(3 * anomaly) * 0.000289)
    node = math.radians(125.04 - 1934.136 * t)
    apparent = math.radians(mean + centre - 0.00569 - 0.00478 * math.sin(node))
    tilt = math.radians(23.0 + (26.0 + (21.448 - t * (46.815 + t * (0.00059 - t * 0.001813))) / 60.0) / 60.0
                        + 0.00256 * math.cos(node))
    declination = math.degrees(math.asin(math.sin(tilt) * math.sin(apparent)))
    y, l0 = math.tan(tilt / 2) ** 2, math.radians(mean)
    equation = 4 * math.degrees(y * math.sin(2 * l0) - 2 * eccentricity * math.sin(anomaly)
                                + 4 * eccentricity * y * math.sin(anomaly) * math.cos(2 * l0)
                                - 0.5 * y * y * math.sin(4 * l0) - 1.25 * eccentricity**2 * math.sin(2 * anomaly))
    return declination, equation


def zenith_deg(lat_deg: float, lon_deg: float, moment: datetime) -> float:
    """Zenith distance of the sun's centre (no refraction) at an aware moment.

    Check: SU-06 with its 0.016 deg of refraction added.
    """
    at = moment.astimezone(UTC)
    declination, equation = _sun(at)
    minutes = at.hour * 60 + at.minute + at.second / 60 + at.microsecond / 6e7
    hour_angle = math.radians((minutes + equation + 4 * lon_deg) / 4 - 180.0)
    lat, dec = math.radians(lat_deg), math.radians(declination)
    cosine = math.sin(lat) * math.sin(dec) + math.cos(lat) * math.cos(dec) * math.cos(hour_angle)
    return math.degrees(math.acos(max(-1.0, min(1.0, cosine))))


def transit(lon_deg: float, day: date) -> datetime:
    """The sun's transit nearest to local noon of a local solar day, UTC. Check: SU-03."""
    noon = datetime(day.year, day.month, day.day, 12, tzinfo=UTC) - timedelta(minutes=4 * lon_deg)
    for _ in range(3):
        noon = (datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
                - timedelta(minutes=4 * lon_deg + _sun(noon)[1]))
    return noon


def passing(lat_deg: float, lon_deg: float, day: date, zenith: float, *, rising: bool) -> datetime | None:
    """The moment (UTC) on a local solar day at which the sun passes a zenith, rising or setting; None where it never does.

    Iterated: hour angle from the declination at the moment found. Checks: SU-03 to a minute, SU-05 to a few seconds.
    """
    middle = transit(lon_deg, day)
    moment = middle
    for _ in range(6):
        declination, equation = _sun(moment)
        lat, dec = math.radians(lat_deg), math.radians(declination)
        cosine = (math.cos(math.radians(zenith)) - math.sin(lat) * math.sin(dec)) / (math.cos(lat) * math.cos(dec))
        if not -1 <= cosine <= 1:
            return None
        angle = math.degrees(math.acos(cosine)) * (-1 if rising else 1)
        base = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
        moment = base + timedelta(minutes=4 * (angle - lon_deg) - equation)
    return moment


@dataclass(frozen=True)
class SunDay:
    """The sun's day at a place, UTC; None where the sun does not pass that zenith."""

    civil_dawn: datetime | None
    sunrise: datetime | None
    noon: datetime
    sunset: datetime | None
    civil_dusk: datetime | None


def sun_day(lat_deg: float, lon_deg: float, day: date) -> SunDay:
    """Civil dawn, sunrise, transit, sunset and civil dusk of a local day."""
    def at(zenith: float, rising: bool) -> datetime | None:
        return passing(lat_deg, lon_deg, day, zenith, rising=rising)

    return SunDay(at(CIVIL_ZENITH_DEG, True), at(SUNSET_ZENITH_DEG, True), transit(lon_deg, day),
                  at(SUNSET_ZENITH_DEG, False), at(CIVIL_ZENITH_DEG, False))


def is_night(lat_deg: float, lon_deg: float, moment: datetime, zenith: float, after_s: float = 0.0,
             before_s: float = 0.0) -> bool:
    """Night at a moment: later than `after_s` past the evening passage and earlier than `before_s` ahead of the morning's.

    Positive after_s and before_s shorten the night. Works in polar day and night by the zenith itself.
    """
    if zenith_deg(lat_deg, lon_deg, moment) < zenith:
        return False
    if after_s == 0 and before_s == 0:
        return True
    return (zenith_deg(lat_deg, lon_deg, moment - timedelta(seconds=after_s)) >= zenith
            and zenith_deg(lat_deg, lon_deg, moment + timedelta(seconds=before_s)) >= zenith)


def next_night(lat_deg: float, lon_deg: float, moment: datetime, zenith: float, after_s: float = 0.0,
               before_s: float = 0.0) -> datetime | None:
    """When night next begins after a moment (the moment itself in the night), within 36 hours; None: no night."""
    if is_night(lat_deg, lon_deg, moment, zenith, after_s, before_s):
        return moment
    local = moment + timedelta(hours=lon_deg / 15)
    for offset in range(-1, 3):
        dusk = passing(lat_deg, lon_deg, local.date() + timedelta(days=offset), zenith, rising=False)
        if dusk is not None and (begins := dusk + timedelta(seconds=after_s)) > moment:
            return begins
    return None
