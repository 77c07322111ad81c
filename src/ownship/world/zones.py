"""The time zone of a place, through tzfpy and the system's zone data."""

from __future__ import annotations

from zoneinfo import ZoneInfo


def zone_at(lat_deg: float, lon_deg: float) -> ZoneInfo:
    """The zone of a position (at sea the nautical zone)."""
    import tzfpy

    return ZoneInfo(tzfpy.get_tz(lon_deg, lat_deg) or "UTC")
