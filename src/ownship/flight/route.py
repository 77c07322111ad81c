"""The route: points, WGS84 legs, courses and variation."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from ownship.errors import NotPossible, UnknownPlace
from ownship.world.aerodromes import Aerodrome
from ownship.world.geodesy import direct, inverse
from ownship.world.magnetism import variation_deg


@dataclass(frozen=True)
class Point:
    """A named place on the route; `aerodrome` where it is one."""

    name: str
    lat_deg: float
    lon_deg: float
    aerodrome: Aerodrome | None = None

    @property
    def elevation_m(self) -> float | None:
        """Elevation of the aerodrome, None where it is not known."""
        return self.aerodrome.elevation_m if self.aerodrome else None


@dataclass(frozen=True)
class Leg:
    """One leg: distance, true courses, the course and variation (east positive) at its middle."""

    number: int
    start: Point
    end: Point
    distance_m: float
    initial_course_deg: float
    final_course_deg: float
    course_deg: float
    middle_lat_deg: float
    middle_lon_deg: float
    variation_deg: float

    @property
    def magnetic_course_deg(self) -> float:
        """Magnetic course at the middle of the leg."""
        return (self.course_deg - self.variation_deg) % 360.0


def point_of(name: str, aerodrome: Aerodrome | None) -> Point:
    """A Point from an aerodrome, or from "lat,lon" where the name is a position."""
    if aerodrome is not None:
        return Point(aerodrome.ident, aerodrome.lat_deg, aerodrome.lon_deg, aerodrome)
    try:
        lat, lon = (float(x) for x in name.split(","))
    except ValueError:
        raise UnknownPlace(f"{name!r} is not an aerodrome in the open data; write its ident, a position as "
                           f"\"43.56,-116.22\", or add [aerodromes.{name}] to the request.") from None
    if not (-90 <= lat <= 90 and -180 <= lon <= 180):
        raise UnknownPlace(f"{name!r} is not a position on the Earth; latitude is -90 to 90, longitude -180 to 180.")
    return Point(name, lat, lon)


def leg_between(number: int, start: Point, end: Point, day: date, altitude_m: float = 0.0) -> Leg:
    """The geodesic from `start` to `end` with its variation on `day` at its middle."""
    distance, initial, final = inverse(start.lat_deg, start.lon_deg, end.lat_deg, end.lon_deg)
    if distance < 1.0:
        raise NotPossible(f"The leg from {start.name} to {end.name} has no length; take one of the two points out.")
    lat, lon, course = direct(start.lat_deg, start.lon_deg, initial, distance / 2)
    return Leg(number, start, end, distance, initial, final, course, lat, lon,
               variation_deg(lat, lon, altitude_m, day))


def build_route(points: tuple[Point, ...], day: date, altitude_m: float = 0.0) -> tuple[Leg, ...]:
    """Legs between the points in order."""
    return tuple(leg_between(i, a, b, day, altitude_m) for i, (a, b) in enumerate(pairwise(points)))
