"""What the log asks of the world: the zone of a place, its night for landings and for the log. Own aerodromes come first."""

from __future__ import annotations

from datetime import datetime, timedelta, tzinfo
from functools import cache
from typing import TYPE_CHECKING

from ownship.ownership.cell_times import Places
from ownship.questions.places import aerodromes
from ownship.rules.ruleset import NightDefinition, load_ruleset, place_of_country
from ownship.world.aerodromes import Aerodrome
from ownship.world.geodesy import along, inverse
from ownship.world.sun import CIVIL_ZENITH_DEG, is_night, zenith_deg
from ownship.world.zones import zone_at

if TYPE_CHECKING:
    from ownship.ownership.entries import Entry

STEP_S = 60.0
BROAD_DAY_DEG = 75.0  # the sun this high at both ends of a flight of some hours: no night between
SHORT_S = 4 * 3600.0
LANDINGS = ("passengers", "fuel")  # night of recency, else that of the log
LOG = ("fuel",)


def places_of_log(entries: tuple[Entry, ...] = ()) -> Places:
    """Zone, night landing and night time by the aerodromes of the record and the open data.

    A landing is at night by the place's definition for carrying passengers (USA: sunset + 1 h to sunrise - 1 h), night time by
    that of the log (civil twilight); a place without rules: civil twilight for both, which is stated in docs/methods/log.md.
    """
    own = _own_aerodromes(entries)

    @cache
    def find(ident: str) -> Aerodrome | None:
        return own.get(ident) or _find(ident)

    def zone(ident: str) -> tzinfo | None:
        place = find(ident)
        return None if place is None else zone_at(place.lat_deg, place.lon_deg)

    def night_landing(ident: str, moment: datetime) -> bool | None:
        place = find(ident)
        return None if place is None else _is_night(place, place.lat_deg, place.lon_deg, moment, LANDINGS)

    def night_s(origin: str, destination: str, off: datetime, on: datetime) -> float | None:
        first, last = find(origin), find(destination)
        return None if first is None or last is None else _night_s(first, last, off, on)

    return Places(zone, night_landing, night_s)


def _find(ident: str) -> Aerodrome | None:
    from ownship.questions.places import today
    from ownship.world.aerodrome_database import find

    return find(aerodromes(), ident, today())


def _own_aerodromes(entries: tuple[Entry, ...]) -> dict[str, Aerodrome]:
    """The owner's aerodrome records; one that cannot be read is left to the open data."""
    from ownship.errors import OwnshipError
    from ownship.ownership.entries import AerodromeRecord, of_kind
    from ownship.schema import read_toml
    from ownship.world.aerodromes import aerodrome_from_table

    found = {}
    for _, record in of_kind(entries, AerodromeRecord):
        try:
            ident = record.ident.upper()
            found[ident] = aerodrome_from_table(read_toml(record.toml, ident), ident, _find(ident))
        except OwnshipError:
            continue
    return found


def _definition(place: Aerodrome, moment: datetime, uses: tuple[str, ...]) -> NightDefinition | None:
    name = place_of_country(place.country)
    rules = None if name is None else load_ruleset(name)
    return None if rules is None else next((d for use in uses if (d := rules.night(moment.date(), use)) is not None), None)


def _is_night(place: Aerodrome, lat_deg: float, lon_deg: float, moment: datetime, uses: tuple[str, ...]) -> bool:
    d = _definition(place, moment, uses)
    if d is None:
        return is_night(lat_deg, lon_deg, moment, CIVIL_ZENITH_DEG)
    return is_night(lat_deg, lon_deg, moment, d.zenith_deg, d.after_s, d.before_s)


def _night_s(first: Aerodrome, last: Aerodrome, off: datetime, on: datetime) -> float:
    """Seconds of night on the great circle flown evenly from blocks to blocks, by the minute."""
    whole_s = (on - off).total_seconds()
    ends = ((first, off), (last, on))
    if whole_s <= SHORT_S and all(zenith_deg(p.lat_deg, p.lon_deg, m) < BROAD_DAY_DEG for p, m in ends):
        return 0.0
    distance, *_ = inverse(first.lat_deg, first.lon_deg, last.lat_deg, last.lon_deg)
    steps = max(round(whole_s / STEP_S), 1)
    nights = 0
    for i in range(steps):
        share = (i + 0.5) / steps
        lat, lon = along(first.lat_deg, first.lon_deg, last.lat_deg, last.lon_deg, distance * share)
        nights += _is_night(first if share < 0.5 else last, lat, lon, off + timedelta(seconds=whole_s * share), LOG)
    return whole_s * nights / steps
