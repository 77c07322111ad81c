"""Everything an assessment needs, gathered before it begins: request, aeroplane, calibrations, places, seed."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from functools import cached_property
from typing import Any

from ownship.aeroplane.description import AirframeRecord
from ownship.aeroplane.weighing import InputErrors, usual_errors
from ownship.errors import BadInput
from ownship.flight.airmass import AirMass, Level, build
from ownship.flight.chance import Chance
from ownship.flight.distances import Calibrations
from ownship.flight.places import PlaceWeather, aloft_levels, weather_of
from ownship.flight.planning import usual
from ownship.flight.request import FlightRequest
from ownship.flight.route import Leg, Point, build_route, leg_between, point_of
from ownship.flight.timeline import Settings
from ownship.physics.atmosphere import SEA_LEVEL_PA
from ownship.rules.ruleset import RuleSet, load_ruleset, place_of_country
from ownship.units import from_si
from ownship.world.aerodromes import Aerodrome
from ownship.world.forecast import Forecast
from ownship.world.terrain import Terrain
from ownship.world.zones import zone_at


@dataclass(frozen=True)
class Situation:
    """The whole input of `assess`: nothing below this reads clock, disk or network.

    places: aerodromes of the request by the name used there; near: aerodromes around the route for feed proof;
    calibrations None with `no_model` saying why; request_data: the request as it was typed, for the answer; terrain:
    the owner's tiles; forecasts: hourly series by the name of a place, where the owner switched the network on.
    """

    request: FlightRequest
    record: AirframeRecord
    calibrations: Calibrations | None
    no_model: str
    places: dict[str, Aerodrome]
    near: tuple[Aerodrome, ...] = ()
    request_data: dict[str, Any] = field(default_factory=dict)
    seed: int = 0
    draws: int = 256
    errors: InputErrors = field(default_factory=usual_errors)
    terrain: Terrain | None = None
    forecasts: dict[str, Forecast] = field(default_factory=dict)

    @cached_property
    def chance(self) -> Chance:
        """The seed's normals."""
        return Chance(self.seed, self.draws)

    @cached_property
    def points(self) -> tuple[Point, ...]:
        """Departure, via, destination."""
        names = (self.request.origin, *self.request.via, self.request.destination)
        return tuple(point_of(n, self.places.get(n)) for n in names)

    @cached_property
    def departure(self) -> datetime:
        """Leaving the blocks, aware; a local time takes the zone of the departure."""
        return self._aware(self.request.departure, self.request.departure_is_local, self.points[0])

    @cached_property
    def leave_again(self) -> datetime | None:
        """When the aeroplane leaves the destination again, where the request says."""
        if self.request.leave_again is None:
            return None
        moment = self._aware(self.request.leave_again, self.request.leave_again_is_local, self.points[-1])
        if moment <= self.departure:
            raise BadInput(f"leave_again: {moment:%Y-%m-%d %H:%M%z} is not after the departure at "
                           f"{self.departure:%Y-%m-%d %H:%M%z}; give a later moment.")
        return moment

    @staticmethod
    def _aware(moment: datetime, is_local: bool, point: Point) -> datetime:
        if not is_local:
            return moment
        found = moment.replace(tzinfo=zone_at(point.lat_deg, point.lon_deg))
        if found.astimezone(UTC).astimezone(found.tzinfo).replace(tzinfo=None) != moment:
            raise BadInput(f"{moment:%Y-%m-%d %H:%M} does not exist at {point.name}: the clocks go forward then; "
                           "give the time with its zone, as 03:30-06:00.")
        return found

    @property
    def day(self) -> date:
        """The day of the flight where it begins."""
        return self.departure.date()

    @cached_property
    def legs(self) -> tuple[Leg, ...]:
        """The legs with courses and variation on the day; BadInput where the cruise is not above both aerodromes."""
        for point in (self.points[0], self.points[-1]):
            if point.elevation_m is not None and self.request.cruise_altitude_m <= point.elevation_m:
                raise BadInput(f"cruise_altitude: {from_si(self.request.cruise_altitude_m, 'ft'):,.0f} ft is not above "
                               f"{point.name}, which lies at {from_si(point.elevation_m, 'ft'):,.0f} ft; give a higher one.")
        return build_route(self.points, self.day, self.request.cruise_altitude_m)

    @cached_property
    def alternate(self) -> tuple[Point, Leg] | None:
        """The first alternate and the leg to it from the destination."""
        if not self.request.alternates:
            return None
        point = point_of(self.request.alternates[0], self.places.get(self.request.alternates[0]))
        return point, leg_between(0, self.points[-1], point, self.day, self.request.cruise_altitude_m)

    @cached_property
    def weather(self) -> dict[str, PlaceWeather | None]:
        """Weather by the name of each aerodrome of the request."""
        names = dict.fromkeys((self.request.origin, self.request.destination, *self.request.alternates))
        return {n: weather_of(self.request, n, self.places, self.day) for n in names}

    @cached_property
    def air(self) -> AirMass:
        """The air between the aerodromes."""
        levels = tuple(Level(r.altitude_m, 0.0 if r.wind and r.wind.from_deg is None else (r.wind.from_deg if r.wind else None),
                             r.wind.speed_m_s if r.wind else None, r.temperature_k) for r in aloft_levels(self.request))
        surface, altimeters = [], []
        for point in (self.points[0], self.points[-1]):
            weather = self.weather.get(point.name) or self.weather.get(self._typed(point))
            if weather is None:
                continue
            if weather.weather.altimeter_pa is not None:
                altimeters.append(weather.weather.altimeter_pa)
            if weather.weather.temperature_k is not None and point.elevation_m is not None:
                surface.append((point.elevation_m, weather.weather.temperature_k))
        altimeter = sum(altimeters) / len(altimeters) if altimeters else SEA_LEVEL_PA
        return build(levels, tuple(surface), altimeter, self.request.cruise_altitude_m, self.chance, self._humidity())

    def _humidity(self) -> float:
        """Relative humidity of the climb: that of the departure's report; dry where no dew point is given."""
        weather = self.weather.get(self.request.origin)
        air = weather.air(0.0) if weather else None
        return 0.0 if air is None else float(air.relative_humidity_1)

    def _typed(self, point: Point) -> str:
        """The name the request uses for a point (a place may be named by another of its codes)."""
        return self.request.origin if point is self.points[0] else self.request.destination

    @cached_property
    def settings(self) -> Settings:
        """How the flight is flown, the usual planning figures where the request is silent."""
        r, p = self.request, self.request.planning
        taxi = p.taxi_s if p.taxi_s is not None else usual("taxi_time")
        approach = usual("approach_time_ifr" if r.rules == "IFR" else "approach_time_vfr")
        return Settings(r.cruise_altitude_m, r.power_rev_s, r.power_1, r.mixture, r.carburettor_heat, taxi,
                        usual("taxi_fuel") * taxi / usual("taxi_time"), p.approach_s if p.approach_s is not None else approach,
                        p.descent_rate_m_s or usual("descent_rate"), usual("circuit_height"))

    def ruleset(self, point: Point) -> RuleSet | None:
        """The rules that hold at a point: the request's place, else its country's; None: none are kept for it."""
        place = self.request.place or (place_of_country(point.aerodrome.country) if point.aerodrome else None)
        if place is None and point.aerodrome is None:
            place = place_of_country(self.points[0].aerodrome.country) if self.points[0].aerodrome else None
        return None if place is None else load_ruleset(place)

    def at(self, seconds: float) -> datetime:
        """The moment so many seconds after leaving the blocks."""
        return self.departure + timedelta(seconds=round(seconds))
