"""Everything an assessment needs, gathered before it begins: request, aeroplane, calibrations, places, seed."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from functools import cached_property
from typing import Any

import numpy as np

from ownship.aeroplane.description import AirframeRecord
from ownship.aeroplane.weighing import InputErrors, usual_errors
from ownship.errors import BadInput, OutOfRange
from ownship.flight.airmass import AirMass, Aloft, Column, Level, aloft_of_forecasts, aloft_of_hours, build
from ownship.flight.chance import Chance
from ownship.flight.distances import Calibrations
from ownship.flight.places import PlaceWeather, aloft_levels
from ownship.flight.planning import usual
from ownship.flight.request import FlightRequest
from ownship.flight.route import Leg, Point, build_route, leg_between, point_of
from ownship.flight.timeline import Settings, power_setting
from ownship.flight.weather_at import weather_at
from ownship.flight.weather_sources import HOLDS_S, Wanted, aloft_from
from ownship.physics.atmosphere import SEA_LEVEL_PA, Air, isa_temperature_k, pressure_altitude_m
from ownship.physics.wind import wind_triangle
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
    the owner's tiles; forecasts: hourly series by the name of a place, where the owner switched the network on;
    forecast_notes: what of them is missing or stale.
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
    forecast_notes: tuple[str, ...] = ()

    @cached_property
    def chance(self) -> Chance:
        """The seed's normals."""
        return Chance(self.seed, self.draws)

    @cached_property
    def worked_out(self) -> dict[str, Any]:
        """What follows from this situation alone, by name, kept for whoever asks for it again."""
        return {}

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

    @property
    def _by_the_hour(self) -> bool:
        """Whether any weather here depends on the moment: hours, METAR, TAF, forecast, or the moment it was typed for."""
        r = self.request
        return bool(self.forecasts or r.aloft_hours or r.planned_departure or r.planned_leave_again
                    or any(e.hours or e.taf or e.metar for e in r.weather.values()))

    @cached_property
    def wanted(self) -> dict[str, Wanted]:
        """When air is wanted for take_off, landing, leave_again and alternate, and how far that is from what was planned."""
        shift = self._shift_s(self.departure, self.request.planned_departure, self.request.planned_departure_is_local, 0)
        if not self._by_the_hour:
            return {"take_off": Wanted(self.departure), **dict.fromkeys(("landing", "alternate", "leave_again"), Wanted(None))}
        return {"take_off": Wanted(self.departure, shift), "landing": Wanted(self.arrival, shift),
                "alternate": Wanted(self._arrival_at_alternate, shift), "leave_again": self._leaving(shift)}

    def _leaving(self, shift_s: float | None) -> Wanted:
        """Leaving again: an hour after landing unless said; without `planned_leave_again` it shifts as the departure does."""
        landing, r = self.arrival, self.request
        later = None if landing is None else landing + timedelta(seconds=HOLDS_S)
        moment = later if r.leave_again is None else self.leave_again
        if r.planned_leave_again is not None:
            known = self._shift_s(moment, r.planned_leave_again, r.planned_leave_again_is_local, -1)
            shift_s = float("inf") if known is None else known
        near = landing is not None and moment is not None and abs((moment - landing).total_seconds()) <= HOLDS_S
        return Wanted(moment, shift_s, near)

    def _shift_s(self, moment: datetime | None, planned: datetime | None, is_local: bool, index: int) -> float | None:
        """Seconds from the moment that the weather was typed for; None where the request names none."""
        if moment is None or planned is None:
            return None
        return (moment - self._aware(planned, is_local, self.points[index])).total_seconds()

    @cached_property
    def weather(self) -> dict[str, PlaceWeather | None]:
        """Weather by the name of each aerodrome: the departure's when it is left, the others' when they are reached."""
        r = self.request
        uses = {**dict.fromkeys(r.alternates, "alternate"), r.destination: "landing", r.origin: "take_off"}
        return {name: self._at_runways.get(use) if use != "alternate" else self._weather(name, use)
                for name, use in uses.items()}

    def weather_for(self, use: str) -> PlaceWeather | None:
        """The weather of a runway's use: take_off, landing or leave_again, each at its own moment."""
        return self._at_runways[use]

    @cached_property
    def _at_runways(self) -> dict[str, PlaceWeather | None]:
        """`weather_for` of each use."""
        names = {"take_off": self.request.origin, "landing": self.request.destination, "leave_again": self.request.destination}
        return {use: self._weather(name, use) for use, name in names.items()}

    def _weather(self, name: str, use: str) -> PlaceWeather | None:
        return weather_at(self.request, name, self.places, self.day, self.wanted[use], self.forecasts.get(name))

    @cached_property
    def _tas_m_s(self) -> float | None:
        """True airspeed of the cruise in standard air at the greatest weight, for times; None where there is no model."""
        if self.calibrations is None:
            return None
        model = self.calibrations.models()[0].middle
        level = float(pressure_altitude_m(self.request.cruise_altitude_m, SEA_LEVEL_PA))
        weight = np.array([[model.airframe.take_off_max_kg]])
        try:
            tas = float(power_setting(model, Air(level, isa_temperature_k(level)), weight, self.settings).tas_m_s[0, 0])
        except OutOfRange:
            return None
        return tas if np.isfinite(tas) and tas > 0 else None

    def _enroute_s(self, wind: tuple[float, float] | None) -> tuple[float, ...] | None:
        """Seconds from leaving the blocks to each point of the route, all of it at cruising speed; None: not known."""
        tas = self._tas_m_s
        if tas is None:
            return None
        seconds = [self.settings.taxi_s]
        for leg in self.legs:
            ground = tas if wind is None else float(wind_triangle(leg.course_deg, tas, *wind)[1])
            seconds.append(seconds[-1] + leg.distance_m / ground)
        return tuple(seconds) if np.all(np.isfinite(seconds)) else None

    @cached_property
    def arrival(self) -> datetime | None:
        """Estimated landing, for the choice of weather only: the legs at cruising speed in the wind aloft; None: not known."""
        level = self.request.cruise_altitude_m
        flown = self._enroute_s(build(self.aloft.levels, (), SEA_LEVEL_PA, level, Chance(self.seed, 1)).middle_wind(level))
        return None if flown is None else self.at(flown[-1] + self.settings.approach_s)

    @property
    def _arrival_at_alternate(self) -> datetime | None:
        """Estimated arrival at the first alternate after a go-around at the destination."""
        if self.arrival is None or self.alternate is None or self._tas_m_s is None:
            return None
        return self.arrival + timedelta(seconds=round(self.alternate[1].distance_m / self._tas_m_s))

    @cached_property
    def aloft(self) -> Aloft:
        """Levels aloft half way along: the owner's hours, else [aloft] where it holds, else the forecasts over both ends."""
        seconds, r = self._enroute_s(None), self.request
        hours = aloft_of_hours(r.aloft_hours, self.departure if seconds is None else self.at(seconds[-1] / 2))
        forecast = aloft_of_forecasts(self._columns(seconds), r.cruise_altitude_m) if seconds else None
        typed = self._typed_aloft if self._aloft_holds and (r.aloft or r.aloft_fb) else None
        named = (("the owner's [[aloft_hours]]", hours), ("[aloft] of the request", typed), ("the forecast", forecast))
        found = aloft_from([(name, levels) for name, levels in named if levels is not None])
        if found.levels or self._aloft_holds or not (r.aloft or r.aloft_fb):
            return found
        return Aloft((), words=("The winds and temperatures of [aloft] were typed for another hour and no longer hold.",))

    @property
    def _typed_aloft(self) -> Aloft:
        return Aloft(tuple(Level(r.altitude_m, 0.0 if r.wind and r.wind.from_deg is None else (r.wind.from_deg if r.wind else None),
                                 r.wind.speed_m_s if r.wind else None, r.temperature_k) for r in aloft_levels(self.request)))

    @property
    def _aloft_holds(self) -> bool:
        """Whether what was typed still holds for this departure."""
        r = self.request
        return Wanted(None, self._shift_s(self.departure, r.planned_departure, r.planned_departure_is_local, 0)).typed_holds

    def _columns(self, seconds: tuple[float, ...]) -> tuple[Column, ...]:
        """The forecasts over the points of the route when they are passed; none unless both ends have one."""
        names = (self.request.origin, *self.request.via, self.request.destination)
        if names[0] not in self.forecasts or names[-1] not in self.forecasts:
            return ()
        return tuple(Column(self.forecasts[n], self.at(t)) for n, t in zip(names, seconds, strict=True) if n in self.forecasts)

    @cached_property
    def air(self) -> AirMass:
        """The air between the aerodromes."""
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
        aloft = self.aloft
        return build(aloft.levels, tuple(surface), altimeter, self.request.cruise_altitude_m, self.chance, self._humidity(),
                     wind_sd_m_s=aloft.wind_sd_m_s, temperature_sd_k=aloft.temperature_sd_k, said=aloft.words)

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
