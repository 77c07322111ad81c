"""Warnings where the air says so: carburettor ice, freezing level, cold altimeters, frost, pre-heat, heater, oxygen."""

from __future__ import annotations

from dataclasses import dataclass

from ownship.physics.icing import carburettor_icing, cold_altimeter_error_m, frost_likely
from ownship.units import from_si, to_si
from ownship.words.figures import number_text

PREHEAT_K = float(to_si(-12.0, "C", "temperature"))
PREHEAT_SOME_K = float(to_si(-6.0, "C", "temperature"))
HEATER_K = float(to_si(5.0, "C", "temperature"))
ICE_POSSIBLE_K = (float(to_si(-15.0, "C", "temperature")), float(to_si(38.0, "C", "temperature")))
NOTABLE_ALTIMETER_M = float(to_si(100.0, "ft"))
MIXTURE_M, OXYGEN_M = float(to_si(3000.0, "ft")), float(to_si(10000.0, "ft"))
ICE_SOURCE = "FAA, UK and Canadian leaflets, own regions, from memory"


@dataclass(frozen=True)
class Warning:
    """One warning: id, sentence, place, source."""

    id: str
    text: str
    place: str = ""
    source: str = ""


@dataclass(frozen=True)
class PlaceAir:
    """The air on the ground somewhere, for warnings; dew point None: not reported."""

    place: str
    temperature_k: float
    dew_point_k: float | None
    elevation_m: float
    pressure_altitude_m: float


def carburettor_ice(phase: str, temperature_k: float, dew_point_k: float | None, *, low_power: bool, heat_on: bool,
                    place: str = "") -> list[Warning]:
    """Ice in the carburettor in one phase: a warning at moderate or serious risk; said where it cannot be judged."""
    celsius = float(from_si(temperature_k, "C", "temperature"))
    if dew_point_k is None:
        if not ICE_POSSIBLE_K[0] <= temperature_k <= ICE_POSSIBLE_K[1]:
            return []
        return [Warning("carburettor_ice", f"No dew point is reported, so ice in the carburettor {phase} is not judged; "
                        f"{celsius:.0f} C does not rule it out.", place, ICE_SOURCE)]
    dew = float(from_si(dew_point_k, "C", "temperature"))
    risk = carburettor_icing(celsius, dew, low_power=low_power)
    if risk not in ("moderate", "serious"):
        return []
    planned = "Heat is planned here." if heat_on else "No heat is planned here: use it as the manual says."
    return [Warning("carburettor_ice", f"{risk.capitalize()} risk of carburettor ice {phase} ({celsius:.0f} C, dew point "
                    f"{dew:.0f} C); the first sign is a loss of rpm. {planned}", place, ICE_SOURCE)]


def at_place(air: PlaceAir, *, departing: bool, heat_on_descent: bool, parked_outside_s: float,
             heat_on_taxi: bool = False) -> list[Warning]:
    """Warnings of one aerodrome: ice in the carburettor, frost, pre-heat, mixture."""
    phase = "at low power while taxiing" if departing else "at low power in the descent"
    found = carburettor_ice(phase, air.temperature_k, air.dew_point_k, low_power=True, place=air.place,
                            heat_on=heat_on_taxi if departing else heat_on_descent)
    if departing and parked_outside_s > 0 and frost_likely(air.temperature_k, air.dew_point_k):
        found.append(Warning("frost", "Parked outside in air near freezing: frost is likely. No take-off with frost, ice or "
                             "snow on wing, tail or propeller.", air.place, "CAR 602.11; common practice"))
    if departing and air.temperature_k < PREHEAT_SOME_K:
        celsius = float(from_si(air.temperature_k, "C", "temperature"))
        how = "Pre-heat" if air.temperature_k < PREHEAT_K else "Some engine makers ask for pre-heat"
        found.append(Warning("preheat", f"{how} at {celsius:.0f} C; use the oil grade for the cold.", air.place,
                             "engine makers: below -12 C, some -6 C"))
    if departing and air.temperature_k < HEATER_K:
        found.append(heater(air.place))
    if departing and air.pressure_altitude_m > MIXTURE_M:
        found.append(Warning("mixture", f"Pressure altitude {from_si(air.pressure_altitude_m, 'ft'):,.0f} ft: lean for best power "
                             "before take-off as the manual says; full rich costs power here.", air.place,
                             "common practice, no source"))
    return found


def heater(place: str = "") -> Warning:
    """Carbon monoxide, where it is cold enough to use the heater."""
    return Warning("carbon_monoxide", "Cold enough for the heater: a leaking exhaust brings carbon monoxide with the warm air. "
                   "Take a detector; at a headache or a smell of exhaust heater off, fresh air, land.", place,
                   "common practice, no source: below 5 C")


def aloft(cruise_altitude_m: float, temperature_k: float | None, freezing_level_m: float | None, flight_rules: str,
          heat_in_cruise: bool, cruise_pressure_altitude_m: float, dew_point_k: float | None = None) -> list[Warning]:
    """Warnings of the cruise: freezing level, ice in the carburettor, heater, oxygen.

    Without a dew point aloft carburettor ice in the cruise is judged under IFR only, as in cloud, where the dew
    point is the temperature.
    """
    found = []
    if freezing_level_m is not None and freezing_level_m < cruise_altitude_m:
        extra = " In cloud this is icing; this class has no approval for it." if flight_rules == "IFR" else ""
        found.append(Warning("freezing_level", f"The freezing level, {from_si(freezing_level_m, 'ft'):,.0f} ft, is below the "
                             f"cruise altitude.{extra}", "", "levels aloft of the request"))
    in_cloud = dew_point_k is None and flight_rules == "IFR"
    if temperature_k is not None and (in_cloud or dew_point_k is not None):
        found += carburettor_ice("in cloud in the cruise" if in_cloud else "in the cruise", temperature_k,
                                 temperature_k if in_cloud else dew_point_k, low_power=False, heat_on=heat_in_cruise)
    if temperature_k is not None and temperature_k < HEATER_K:
        found.append(heater())
    if cruise_pressure_altitude_m > OXYGEN_M:
        found.append(Warning("oxygen", "Above 10,000 ft: mind the oxygen rule of the place and your own night vision.", "",
                             "rules of the place; from memory"))
    return found


def cold_altimeter(height_m: float, station_elevation_m: float, station_temperature_k: float, place: str) -> list[Warning]:
    """A warning where cold air puts the aeroplane more than 100 ft below what the altimeter shows."""
    if height_m <= 0:
        return []
    error = cold_altimeter_error_m(height_m, station_elevation_m, station_temperature_k)
    if error <= NOTABLE_ALTIMETER_M:
        return []
    return [Warning("cold_altimeter", f"In this cold the aeroplane is {number_text(float(from_si(error, 'ft')))} ft lower than "
                    f"the altimeter shows at {from_si(height_m + station_elevation_m, 'ft'):,.0f} ft.", place,
                    "ICAO Doc 8168 form")]
