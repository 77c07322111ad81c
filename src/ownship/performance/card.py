"""The performance card of one aeroplane: take-off, climb, cruise, landing, and rpm for speed, each with its band.

rpm for speed is an instrument pilot's page: level at 80, 90 and 100 kt, 500 ft/min and 3-degree descents, holding.
A draw that cannot fly counts as the worst; where more than 5 % cannot, the card says "cannot". Rpm are the panel's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ownship.performance import climb, cruise, landing, takeoff
from ownship.performance.bands import LEAST_ABLE_1, banded
from ownship.performance.cruise import Cruise
from ownship.performance.model import Model
from ownship.physics.airspeed import cas_from_ias_m_s, ias_from_cas_m_s, tas_from_cas_m_s
from ownship.physics.atmosphere import Air, isa_temperature_k
from ownship.units import from_si, to_si

FloatArray = NDArray[np.float64]
FIELD_FT, DEVIATIONS_K = (0, 2000, 4000, 6000, 8000), (-15.0, 0.0, 15.0, 30.0)
CRUISE_FT, CRUISE_RPM = (2000, 4000, 6000, 8000, 10000), (2200, 2300, 2400, 2500, 2600)
TACHOMETER_SD_1 = 1e-4  # a calibration that knows of a tachometer error spreads by more than this
Ranges = tuple[tuple[float, float], ...]
SPEEDS_KT, RATE_M_S, SLOPE = (80, 90, 100), float(to_si(500, "ft/min")), float(np.tan(np.radians(3.0)))


@dataclass(frozen=True)
class CardRow:
    """One line: table, conditions in words, quantity, unit, value with 5-95 % band; NaN: it cannot.

    note: what speaks against the figure (a range of rpm to avoid, the limit, full throttle), or "".
    """

    table: str
    conditions: str
    quantity: str
    unit: str
    value: float
    low: float
    high: float
    note: str = ""


def card(model: Model, weight_kg: float, avoid_rev_s: Ranges = ()) -> tuple[CardRow, ...]:
    """The whole card at one weight, calm, dry level paved runway, lean cruise, full-rich climb.

    avoid_rev_s: ranges of rpm that the record says to avoid, rev/s; rows inside one carry a note.
    """
    return (*_fields(model, weight_kg), *_climbs(model, weight_kg), *_cruises(model, weight_kg, avoid_rev_s),
            *_rpm_for_speed(model, weight_kg, avoid_rev_s))


def _row(table: str, conditions: str, quantity: str, unit: str, draws: FloatArray, dimension: str | None = None,
         worst: float = np.inf, note: str = "") -> CardRow:
    low, value, high = (float(from_si(x, unit, dimension)) for x in banded(draws, worst))
    return CardRow(table, conditions, quantity, unit, value, low, high, note)


def by_the_panel(model: Model) -> str:
    """" by the panel" where the calibration knows that the tachometer may be wrong, else ""."""
    return " by the panel" if float(np.std(model.p["tach"])) > TACHOMETER_SD_1 else ""


def _note(model: Model, state: Cruise, i: int, avoid_rev_s: Ranges) -> str:
    """What speaks against case i of a state: more than 5 % of the draws count, half of them make it certain."""
    limit = f"{from_si(model.airframe.rev_max_rev_s, 'rpm'):,.0f} rpm"
    known = np.isfinite(state.rev_s[i])
    found = []
    for share, sure, doubtful in (
            (float(np.mean(known & ~state.attainable[i])), "full throttle does not give it", "full throttle may not give it"),
            (float(np.mean(state.over_limit[i])), f"above the limit of {limit}", f"may be above the limit of {limit}")):
        if share > 1 - LEAST_ABLE_1:
            found.append(sure if share >= 0.5 else doubtful)
    low, _, high = banded(state.rev_s[i], np.inf)
    found += [f"avoid {from_si(a, 'rpm'):,.0f} to {from_si(b, 'rpm'):,.0f} rpm" for a, b in avoid_rev_s if low <= b and high >= a]
    return "; ".join(found)


def _grid(feet: tuple[int, ...], deviations: tuple[float, ...]) -> tuple[Air, list[str]]:
    altitude = np.repeat(to_si(np.array(feet, dtype=float), "ft"), len(deviations))
    temperature = isa_temperature_k(altitude) + np.tile(deviations, len(feet))
    words = [f"{from_si(h, 'ft'):.0f} ft, {from_si(t, 'C', 'temperature'):.0f} C"
             for h, t in zip(altitude, temperature, strict=True)]
    return Air(altitude, temperature), words


def _fields(model: Model, weight_kg: float) -> list[CardRow]:
    air, words = _grid(FIELD_FT, DEVIATIONS_K)
    off, down = takeoff.take_off(model, air, weight_kg), landing.landing(model, air, weight_kg)
    return [_row(table, w, quantity, "ft", draws[i]) for table, quantity, draws in (
        ("take-off", "roll", off.roll_m), ("take-off", "over 50 ft", off.over_50ft_m), ("landing", "roll", down.roll_m),
        ("landing", "over 50 ft", down.over_50ft_m)) for i, w in enumerate(words)]


def _climbs(model: Model, weight_kg: float) -> list[CardRow]:
    air, words = _grid((0, 2000, 4000, 6000, 8000, 10000), (0.0, 20.0))
    cas = climb.climb_cas_m_s(model, air.pressure_altitude_m, weight_kg)
    rate = climb.rate_of_climb(model, air, weight_kg, cas)
    ias = ias_from_cas_m_s(cas, model.airframe.position_error)
    return [_row("climb", f"{w}, {from_si(ias[i, 0], 'kt'):.0f} KIAS", "rate of climb", "ft/min", rate[i], worst=-np.inf)
            for i, w in enumerate(words)]


def _cruises(model: Model, weight_kg: float, avoid_rev_s: Ranges) -> list[CardRow]:
    rows = []
    for rpm in CRUISE_RPM:
        air, words = _grid(CRUISE_FT, (0.0,))
        state = cruise.at_rpm(model, air, weight_kg, float(to_si(rpm, "rpm")))
        possible = state.attainable & ~state.over_limit
        for i, w in enumerate(words):
            usable, note = np.where(possible[i], 1.0, np.nan), _note(model, state, i, avoid_rev_s)
            for quantity, unit, draws, dimension, worst in (
                    ("TAS", "kt", state.tas_m_s[i], None, -np.inf), ("power", "%", state.power_1[i], "ratio", np.inf),
                    ("fuel", "usgal/h", state.fuel_kg_s[i] / model.airframe.fuel_density_kg_m3, None, np.inf)):
                rows.append(_row("cruise", f"{w}, {rpm} rpm{by_the_panel(model)}", quantity, unit, draws * usable, dimension,
                                 worst, note))
    return rows


def _rpm_for_speed(model: Model, weight_kg: float, avoid_rev_s: Ranges) -> list[CardRow]:
    """Propeller speed for level flight and descents at indicated speeds, at 4,000 ft on a standard day."""
    air, _ = _grid((4000,), (0.0,))
    rows, rpm = [], f"rpm{by_the_panel(model)}"
    for knots in SPEEDS_KT:
        cas = cas_from_ias_m_s(float(to_si(knots, "kt")), model.airframe.position_error)
        three = float(tas_from_cas_m_s(cas, air).ravel()[0]) * SLOPE
        for words, rate in (("level", 0.0), ("500 ft/min down", RATE_M_S), ("3 degrees down", three)):
            state = cruise.descent(model, air, weight_kg, cas, rate)
            rows.append(_row("rpm for speed", f"{knots} KIAS {words}, 4,000 ft", rpm, "rpm", state.rev_s[0],
                             note=_note(model, state, 0, avoid_rev_s)))
    held = cruise.holding(model, air, weight_kg)
    note = _note(model, held, 0, avoid_rev_s)
    rows.append(_row("rpm for speed", "holding, 4,000 ft", rpm, "rpm", held.rev_s[0], note=note))
    rows.append(_row("rpm for speed", "holding, 4,000 ft, lean", "fuel", "usgal/h",
                     held.fuel_kg_s[0] / model.airframe.fuel_density_kg_m3, note=note))
    return rows
