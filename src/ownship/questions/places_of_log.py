"""What the log asks of the world: the zone of a place, its night for landings and for the log. Own aerodromes come first."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import datetime, timedelta, tzinfo
from functools import cache
from itertools import pairwise
from typing import TYPE_CHECKING

from ownship.ownership.cell_times import Places
from ownship.questions.own_aerodromes import kept
from ownship.questions.places import aerodromes
from ownship.rules.ruleset import load_ruleset, place_of_country
from ownship.world.aerodromes import Aerodrome
from ownship.world.geodesy import direct, inverse
from ownship.world.sun import CIVIL_ZENITH_DEG, is_night, zenith_deg
from ownship.world.zones import zone_at

if TYPE_CHECKING:
    from ownship.ownership.entries import Entry

LOOK_S = 600.0
BROAD_DAY_DEG = 75.0  # the sun this high at both ends of a flight of some hours: no night between
SHORT_S = 4 * 3600.0
LANDINGS = ("passengers", "fuel")  # night of recency, else that of the log
LOG = ("fuel",)


def places_of_log(entries: tuple[Entry, ...] = ()) -> Places:
    """Zone, night landing and night time by the aerodromes of the record and the open data.

    A landing is at night by the place's definition for carrying passengers (USA: sunset + 1 h to sunrise - 1 h), night time by
    that of the log (civil twilight); a place without rules: civil twilight for both, which is stated in docs/methods/log.md.
    """
    own = kept(entries)

    @cache
    def find(ident: str) -> Aerodrome | None:
        return own.get(ident) or _find(ident)

    def zone(ident: str) -> tzinfo | None:
        place = find(ident)
        return None if place is None else zone_at(place.lat_deg, place.lon_deg)

    def night_landing(ident: str, moment: datetime) -> bool | None:
        place = find(ident)
        if place is None:
            return None
        return is_night(place.lat_deg, place.lon_deg, moment, *_definition(place, moment, LANDINGS))

    def night_s(origin: str, destination: str, off: datetime, on: datetime) -> float | None:
        first, last = find(origin), find(destination)
        return None if first is None or last is None else _night_s(first, last, off, on)

    return Places(zone, night_landing, night_s)


def _find(ident: str) -> Aerodrome | None:
    from ownship.questions.places import today
    from ownship.world.aerodrome_database import find

    return find(aerodromes(), ident, today())


def _definition(place: Aerodrome, moment: datetime, uses: tuple[str, ...]) -> tuple[float, float, float]:
    """Zenith, seconds after and before its passages that night begins and ends, at a place on a day."""
    name = place_of_country(place.country)
    rules = None if name is None else load_ruleset(name)
    found = None if rules is None else next((d for use in uses if (d := rules.night(moment.date(), use)) is not None), None)
    return (CIVIL_ZENITH_DEG, 0.0, 0.0) if found is None else (found.zenith_deg, found.after_s, found.before_s)


def _night_s(first: Aerodrome, last: Aerodrome, off: datetime, on: datetime) -> float:
    """Seconds of night on the geodesic flown evenly from blocks to blocks.

    Looked at every ten minutes; where night begins or ends between two looks, halved to a second. The night of the nearer end.
    """
    whole_s = (on - off).total_seconds()
    ends = ((first, off), (last, on))
    if whole_s <= SHORT_S and all(zenith_deg(p.lat_deg, p.lon_deg, m) < BROAD_DAY_DEG for p, m in ends):
        return 0.0
    distance, course, _ = inverse(first.lat_deg, first.lon_deg, last.lat_deg, last.lon_deg)
    by = (_definition(first, off, LOG), _definition(last, on, LOG))

    def dark(at_s: float) -> bool:
        lat, lon, _ = direct(first.lat_deg, first.lon_deg, course, distance * at_s / whole_s)
        return is_night(lat, lon, off + timedelta(seconds=at_s), *by[at_s > whole_s / 2])

    count = math.ceil(whole_s / LOOK_S)
    looks = [(i * whole_s / count, dark(i * whole_s / count)) for i in range(count + 1)]
    return sum(_dark_s(dark, a, b, x, y) for (a, x), (b, y) in pairwise(looks))


def _dark_s(dark: Callable[[float], bool], begin_s: float, end_s: float, at_begin: bool, at_end: bool) -> float:
    """Seconds of night between two looks."""
    if at_begin == at_end:
        return (end_s - begin_s) * at_begin
    low, high = begin_s, end_s
    while high - low > 1.0:
        middle = (low + high) / 2
        low, high = (middle, high) if dark(middle) == at_begin else (low, middle)
    return low - begin_s if at_begin else end_s - high
