"""Warnings where the air says so: carburettor ice, freezing level, cold altimeters, frost, pre-heat, oxygen."""

from __future__ import annotations

from dataclasses import dataclass

from ownship.physics.icing import carburettor_icing, cold_altimeter_error_m
from ownship.units import from_si, to_si
from ownship.words.figures import number_text

PREHEAT_K = float(to_si(-12.0, "C", "temperature"))
PREHEAT_SOME_K = float(to_si(-6.0, "C", "temperature"))
FREEZING_K = float(to_si(0.0, "C", "temperature"))
FROST_SPREAD_K, FROST_TEMPERATURE_K = 3.0, float(to_si(3.0, "C", "temperature"))
NOTABLE_ALTIMETER_M = float(to_si(100.0, "ft"))
MIXTURE_M, OXYGEN_M = float(to_si(3000.0, "ft")), float(to_si(10000.0, "ft"))


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


def at_place(air: PlaceAir, *, departing: bool, heat_on_descent: bool, parked_outside_s: float) -> list[Warning]:
    """Warnings of one aerodrome: ice in the carburettor, frost, pre-heat, mixture."""
    found = []
    celsius = float(from_si(air.temperature_k, "C", "temperature"))
    if air.dew_point_k is not None:
        dew = float(from_si(air.dew_point_k, "C", "temperature"))
        risk = carburettor_icing(celsius, dew, low_power=True)
        if risk in ("moderate", "serious"):
            used = "" if departing else (" Heat is planned for the descent." if heat_on_descent else
                                         " Plan carburettor heat before reducing power.")
            found.append(Warning("carburettor_ice", f"{risk.capitalize()} risk of carburettor ice at low power "
                                 f"({celsius:.0f} C, dew point {dew:.0f} C): check with heat before take-off and in the "
                                 f"descent; the first sign is a loss of rpm.{used}", air.place, "FAA, UK and Canadian "
                                 "leaflets, own regions, from memory"))
    if departing and parked_outside_s > 0 and air.temperature_k <= FROST_TEMPERATURE_K and (
            air.dew_point_k is None or air.temperature_k - air.dew_point_k <= FROST_SPREAD_K):
        found.append(Warning("frost", "Parked outside in air near freezing: frost is likely. No take-off with frost, ice or "
                             "snow on wing, tail or propeller.", air.place, "CAR 602.11; common practice"))
    if departing and air.temperature_k < PREHEAT_SOME_K:
        how = "Pre-heat" if air.temperature_k < PREHEAT_K else "Some engine makers ask for pre-heat"
        found.append(Warning("preheat", f"{how} at {celsius:.0f} C; use the oil grade for the cold and watch for carbon "
                             "monoxide from the heater.", air.place, "engine makers: below -12 C, some -6 C"))
    if departing and air.pressure_altitude_m > MIXTURE_M:
        found.append(Warning("mixture", f"Pressure altitude {from_si(air.pressure_altitude_m, 'ft'):,.0f} ft: lean for best power "
                             "before take-off as the manual says; full rich costs power here.", air.place,
                             "common practice, no source"))
    return found


def aloft(cruise_altitude_m: float, temperature_k: float | None, freezing_level_m: float | None, flight_rules: str,
          heat_in_cruise: bool, cruise_pressure_altitude_m: float) -> list[Warning]:
    """Warnings of the cruise: freezing level, oxygen."""
    found = []
    if freezing_level_m is not None and freezing_level_m < cruise_altitude_m:
        extra = " In cloud this is icing; this class has no approval for it." if flight_rules == "IFR" else ""
        found.append(Warning("freezing_level", f"The freezing level, {from_si(freezing_level_m, 'ft'):,.0f} ft, is below the "
                             f"cruise altitude.{extra}", "", "levels aloft of the request"))
    if cruise_pressure_altitude_m > OXYGEN_M:
        found.append(Warning("oxygen", "Above 10,000 ft: mind the oxygen rule of the place and your own night vision.", "",
                             "rules of the place; from memory"))
    return found


def cold_altimeter(height_m: float, station_elevation_m: float, station_temperature_k: float, place: str) -> list[Warning]:
    """A warning where cold air puts the aeroplane more than 100 ft below what the altimeter shows."""
    error = cold_altimeter_error_m(height_m, station_elevation_m, station_temperature_k)
    if height_m <= 0 or error < NOTABLE_ALTIMETER_M:
        return []
    return [Warning("cold_altimeter", f"In this cold the aeroplane is {number_text(float(from_si(error, 'ft')))} ft lower than "
                    f"the altimeter shows at {from_si(height_m + station_elevation_m, 'ft'):,.0f} ft.", place,
                    "ICAO Doc 8168 form")]
