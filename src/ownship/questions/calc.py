"""Small calculations, each from a published formula: `ownship calc NAME --option value ...`.

A calculation is a name, its options and a function from texts to results {name: (value, unit)}. Imports stand
inside the functions, so that a small one starts at once.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from ownship.errors import BadInput
from ownship.questions.calc_options import (
    Options,
    Results,
    a_day,
    a_direction,
    a_position,
    a_speed,
    a_wind,
    an_altitude,
    east,
    kt,
    one,
    parse_options,
    plain,
    quantity,
)
from ownship.units import from_si, parse

CALM_KT = 1e-6


@dataclass(frozen=True)
class Calculation:
    """One calculation: which options it takes (True: may be repeated), an example, its source, its function."""

    options: dict[str, bool]
    example: str
    source: str
    function: Callable[[Options], Results]


def run(name: str, words: list[str]) -> dict[str, Any]:
    """The answer of one calculation as {"results": ..., "source": ...}; BadInput in one sentence."""
    if name not in CALCULATIONS:
        raise BadInput(f"calc: {name!r} is not known; choose one of {', '.join(sorted(CALCULATIONS))}.")
    calculation = CALCULATIONS[name]
    results = calculation.function(parse_options(name, words, calculation.options, calculation.example))
    return {"results": {k: {"value": v, "unit": u} for k, (v, u) in results.items()}, "source": calculation.source}


def _atmosphere(o: Options) -> Results:
    from ownship.physics.atmosphere import SEA_LEVEL_PA, standard_air

    air = standard_air(an_altitude(o, "pressure-altitude"))
    return {"temperature": (float(from_si(float(air.temperature_k), "C", "temperature")), "C"),
            "pressure": (float(from_si(float(air.pressure_pa), "hPa")), "hPa"),
            "pressure_ratio": (float(air.pressure_pa / SEA_LEVEL_PA), "1"),
            "density_ratio": (float(air.density_ratio_1), "1"), "speed_of_sound": kt(float(air.speed_of_sound_m_s))}


def _altimeter(o: Options) -> float:
    return quantity(o, "altimeter", "pressure", "800 hPa", "1100 hPa")


def _pressure_altitude(o: Options) -> Results:
    from ownship.physics.atmosphere import pressure_altitude_m

    value = pressure_altitude_m(an_altitude(o, "elevation"), _altimeter(o))
    return {"pressure_altitude": (float(from_si(float(value), "ft")), "ft")}


def _density_altitude(o: Options) -> Results:
    from ownship.physics.atmosphere import Air, density_altitude_m, pressure_altitude_m

    if ("pressure-altitude" in o) == ("elevation" in o):
        raise BadInput("calc density-altitude takes either --pressure-altitude, or --elevation and --altimeter.")
    if "pressure-altitude" in o and "altimeter" in o:
        raise BadInput("--altimeter goes with --elevation, not with --pressure-altitude; leave one of them out.")
    altitude = (an_altitude(o, "pressure-altitude") if "pressure-altitude" in o
                else float(pressure_altitude_m(an_altitude(o, "elevation"), _altimeter(o))))
    oat = quantity(o, "oat", "temperature", "-90 C", "60 C")
    return {"density_altitude": (float(from_si(float(density_altitude_m(Air(altitude, oat))), "ft")), "ft")}


def _airspeed(o: Options) -> Results:
    from ownship.physics.airspeed import tas_from_cas_m_s
    from ownship.physics.atmosphere import Air

    air = Air(an_altitude(o, "pressure-altitude"), quantity(o, "oat", "temperature", "-90 C", "60 C"))
    cas = quantity(o, "cas", "speed", "0 kt", "600 kt")
    return {"tas": kt(float(tas_from_cas_m_s(cas, air)))}


def _wind_triangle(o: Options) -> Results:
    from ownship.physics.wind import wind_triangle

    direction, wind = a_wind(o)
    tas = a_speed(o, "tas")
    heading, ground, correction = (float(x) for x in wind_triangle(a_direction(o, "course"), tas, direction, wind))
    if math.isnan(heading):
        raise BadInput(f"--wind: a wind of {from_si(wind, 'kt'):.0f} kt leaves no groundspeed along this course at "
                       f"{from_si(tas, 'kt'):.0f} kt true airspeed; use another course or speed.")
    return {"heading": (heading, "deg"), "groundspeed": kt(ground), "correction": (correction, "deg")}


def _wind_found(o: Options) -> Results:
    from ownship.physics.wind import wind_found

    direction, speed = wind_found(a_direction(o, "course"), a_direction(o, "heading"), a_speed(o, "tas"), a_speed(o, "groundspeed"))
    return _wind_results(direction, float(from_si(speed, "kt")))


def _wind_results(direction: float, wind_kt: float) -> Results:
    """Wind found; in calm air there is no direction."""
    calm = wind_kt < CALM_KT
    return ({} if calm else {"wind_direction": (direction, "deg")}) | {"wind_speed": (0.0 if calm else wind_kt, "kt")}


def _runway_heading(text: str) -> float:
    match = re.fullmatch(r"\s*(\d{1,3})\s*([LRClrc]?)\s*", text)
    number = int(match[1]) if match else -1
    if match and (len(match[1]) <= 2 and 1 <= number <= 36):
        return number * 10 % 360.0
    if match and not match[2] and len(match[1]) == 3 and 0 <= number <= 360:
        return number % 360.0
    raise BadInput(f"--runway: {text!r} is no runway; write 1 to 36 with L, C or R, or a heading of three digits.")


def _runway_wind(o: Options) -> Results:
    from ownship.physics.wind import components

    direction, wind = a_wind(o)
    head, cross = components(_runway_heading(one(o, "runway")), direction, wind)
    results: Results = {"headwind": kt(float(head)), "crosswind": kt(abs(float(cross)))}
    if abs(cross) > 1e-9:
        results["crosswind_from"] = ("right" if cross > 0 else "left", "1")
    return results


def _compass(o: Options) -> Results:
    from ownship.physics.wind import compass_from_magnetic, magnetic_deg

    variation, deviation = east(one(o, "variation"), "--variation"), east(one(o, "deviation", "0"), "--deviation")
    if ("true" in o) == ("compass" in o):
        raise BadInput("calc compass takes either --true or --compass, with --variation and --deviation.")
    if "true" in o:
        true = a_direction(o, "true")
        magnetic = float(magnetic_deg(true, variation))
        compass = float(compass_from_magnetic(magnetic, deviation))
    else:
        compass = a_direction(o, "compass")
        magnetic = (compass + deviation) % 360.0
        true = (magnetic + variation) % 360.0
    return {"magnetic": (magnetic, "deg"), "compass": (compass, "deg"), "true": (true, "deg")}


def _leg(o: Options) -> Results:
    from ownship.world.geodesy import inverse

    distance, initial, final = inverse(*a_position(o, "from"), *a_position(o, "to"))
    if distance < 1e-6:
        return {"distance": (0.0, "m")}
    return {"distance": (distance, "m"), "initial_course": (initial, "deg"), "final_course": (final, "deg")}


def _variation(o: Options) -> Results:
    from ownship.world.magnetism import decimal_year, field_at

    lat, lon = a_position(o, "at")
    text = one(o, "date")
    year = float(text) if re.fullmatch(r"\d{4}(\.\d+)?", text) else decimal_year(a_day(text, "--date"))
    height = parse(one(o, "height", "0 km"), "length", "--height")
    if not -1000 <= height <= 850_000:
        raise BadInput(f"--height: {o['height'][0]!r} is outside the magnetic model; allowed is -1 km to 850 km.")
    f = field_at(lat, lon, height, year)
    return {"declination": (f.declination_deg, "deg"), "inclination": (f.inclination_deg, "deg"),
            "horizontal": (f.horizontal_nt, "nT"), "total": (f.total_nt, "nT")}


def _sun(o: Options) -> Results:
    from ownship.world.sun import sun_day

    lat, lon = a_position(o, "at")
    offset = plain(one(o, "utc-offset"), "--utc-offset", -14, 14)
    day = a_day(one(o, "date"), "--date")
    if not 1901 <= day.year <= 2099:
        raise BadInput(f"--date: {day.isoformat()} is outside 1901 to 2099, for which the sun's series is good.")
    lon = (lon + 180.0) % 360.0 - 180.0
    days = [sun_day(lat, lon, day + timedelta(days=d)) for d in (0, -1, 1)]
    found = next((x for x in days if (x.noon + timedelta(hours=offset)).date() == day), days[0])

    def local(moment: datetime | None) -> tuple[str, str] | None:
        if moment is None:
            return None
        shown = (moment.astimezone(UTC) + timedelta(hours=offset) + timedelta(milliseconds=500)).replace(microsecond=0)
        return shown.strftime("%H:%M:%S"), "local"

    moments = {"civil_dawn": found.civil_dawn, "sunrise": found.sunrise, "noon": found.noon, "sunset": found.sunset,
               "civil_dusk": found.civil_dusk}
    return {k: text for k, m in moments.items() if (text := local(m)) is not None}


def _tas_from_gps(o: Options) -> Results:
    import numpy as np

    from ownship.physics.wind import tas_from_gps

    speeds, tracks = [], []
    for text in o.get("leg", []):
        match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*@\s*(\d+(?:\.\d+)?)\s*", text)
        if not match or float(match[2]) > 360 or not 0 < float(match[1]) <= 600:
            raise BadInput(f"--leg: {text!r} is not a leg; write groundspeed@track, knots and degrees, such as 140@192.")
        speeds.append(float(match[1]))
        tracks.append(float(match[2]))
    tas, direction, wind = tas_from_gps(np.array(speeds), np.array(tracks))
    return {"tas": (tas, "kt")} | _wind_results(direction, wind)


def _no_return(o: Options) -> Results:
    from ownship.physics.wind import no_return

    endurance = quantity(o, "endurance", "time", "1 min", "48 h")
    time, distance = no_return(endurance, _positive(o, "out"), _positive(o, "home"))
    return {"time": (float(from_si(time, "min")), "min"), "distance": (float(from_si(distance, "nm")), "nm")}


def _equal_time(o: Options) -> Results:
    from ownship.physics.wind import equal_time

    time, distance = equal_time(quantity(o, "distance", "length", "0.1 nm", "11000 nm"), _positive(o, "out"),
                                _positive(o, "home"))
    return {"time": (float(from_si(time, "min")), "min"), "distance": (float(from_si(distance, "nm")), "nm")}


def _positive(o: Options, name: str) -> float:
    return quantity(o, name, "speed", "1 kt", "1000 kt")


def _mass(text: str, what: str, *, negative: bool = False) -> float:
    value = parse(text, "mass", what)
    if not (-1e6 if negative else 0) <= value <= 1e6:
        raise BadInput(f"{what}: {text!r} is not believable; a weight here is 0 lb or more.")
    return value


def _mass_results(mass: Any) -> Results:
    return {"weight": (float(from_si(mass.weight_kg, "lb")), "lb"),
            "moment": (float(from_si(mass.moment_kg_m, "lb in")), "lb in"), "cg": (float(from_si(mass.arm_m, "in")), "in")}


def _weigh(o: Options) -> Results:
    from ownship.aeroplane.description import Reading
    from ownship.aeroplane.weighing import weigh

    readings = []
    for text in o.get("reading", []):
        weights, at, arm = text.partition("@")
        match = re.fullmatch(r"\s*([^-]+?)\s*(?:-\s*([^-]+?))?\s*", weights)
        if not at or not match:
            raise BadInput(f"--reading: {text!r} is no reading; write gross[-tare]@arm, such as 1046lb-2lb@121in.")
        readings.append(Reading(_mass(match[1], "--reading gross"), _mass(match[2], "--reading tare") if match[2] else 0.0,
                                parse(arm, "length", "--reading arm")))
    if not readings:
        raise BadInput("--reading is missing; add one for each scale, such as --reading 340lb@55in.")
    return _mass_results(weigh(readings))


def _start(o: Options) -> Any:
    from ownship.aeroplane.weighing import Mass

    weight, cg = _mass(one(o, "weight"), "--weight"), parse(one(o, "cg"), "length", "--cg")
    if weight <= 0:
        raise BadInput(f"--weight: {o['weight'][0]!r} is not believable; a weight is more than 0 lb.")
    return Mass(weight, weight * cg)


def _shift(o: Options) -> Results:
    from ownship.aeroplane.weighing import shift

    start, moved = _start(o), _mass(one(o, "move"), "--move")
    if moved > start.weight_kg:
        raise BadInput(f"--move: {o['move'][0]!r} is more than the aeroplane weighs; move less.")
    return _mass_results(shift(start, moved, parse(one(o, "from"), "length", "--from"),
                               parse(one(o, "to"), "length", "--to")))


def _add(o: Options) -> Results:
    from ownship.aeroplane.weighing import add

    items = []
    for text in o.get("item", []):
        weight, at, arm = text.partition("@")
        if not at:
            raise BadInput(f"--item: {text!r} is no item; write weight@arm, such as 140lb@150in.")
        items.append((_mass(weight, "--item weight", negative=True), parse(arm, "length", "--item arm")))
    if not items:
        raise BadInput("--item is missing; add one or more, such as --item 140lb@150in.")
    return _mass_results(add(_start(o), items))


def _ballast(o: Options) -> Results:
    from ownship.aeroplane.weighing import ballast_kg

    start = _start(o)
    needed = ballast_kg(start.weight_kg, start.arm_m, parse(one(o, "target"), "length", "--target"),
                        parse(one(o, "at"), "length", "--at"))
    return {"weight": (float(from_si(needed, "lb")), "lb")}


def _winds_aloft(o: Options) -> Results:
    from ownship.world.weather import winds_aloft_group

    level = quantity(o, "level", "length", "0 ft", "60000 ft") if "level" in o else None
    group = winds_aloft_group(one(o, "group"), level)
    results: Results = {}
    if group.light_and_variable:
        results["light_and_variable"] = (True, "flag")
    else:
        assert group.from_deg is not None
        results |= {"direction": (group.from_deg, "deg"), "speed": kt(group.speed_m_s)}
    if group.temperature_k is not None:
        results["temperature"] = (float(from_si(group.temperature_k, "C", "temperature")), "C")
    if group.or_more:
        results["or_more"] = (True, "flag")
    return results


def _due(o: Options) -> Results:
    from ownship.rules.due import next_due

    return {"date": (next_due(a_day(one(o, "done"), "--done"), one(o, "every")).isoformat(), "date")}


def _options(*names: str, repeated: tuple[str, ...] = ()) -> dict[str, bool]:
    return {**dict.fromkeys(names, False), **dict.fromkeys(repeated, True)}


ISA = "US Standard Atmosphere 1976"
TRIANGLE = "plane trigonometry of the wind triangle"
BALANCE = "FAA-H-8083-1B, weight and balance"
CALCULATIONS: dict[str, Calculation] = {
    "atmosphere": Calculation(_options("pressure-altitude"), "--pressure-altitude 4000ft", ISA, _atmosphere),
    "pressure-altitude": Calculation(_options("elevation", "altimeter"), "--elevation 5883ft --altimeter 30.10inHg",
                                     f"{ISA}, definition of the altimeter setting", _pressure_altitude),
    "density-altitude": Calculation(_options("pressure-altitude", "oat", "elevation", "altimeter"),
                                    "--pressure-altitude 5718ft --oat 70F", f"{ISA}, dry air", _density_altitude),
    "airspeed": Calculation(_options("cas", "pressure-altitude", "oat"), "--cas 110kt --pressure-altitude 7000ft --oat 16C",
                            "definition of calibrated airspeed, compressible", _airspeed),
    "wind-triangle": Calculation(_options("course", "tas", "wind"), "--course 090 --tas 120kt --wind 045/40", TRIANGLE,
                                 _wind_triangle),
    "wind-found": Calculation(_options("course", "heading", "tas", "groundspeed"),
                              "--course 105 --heading 085 --tas 95kt --groundspeed 87kt", TRIANGLE, _wind_found),
    "runway-wind": Calculation(_options("runway", "wind"), "--runway 17 --wind 140/25", TRIANGLE, _runway_wind),
    "compass": Calculation(_options("true", "compass", "variation", "deviation"),
                           "--true 020 --variation 3W --deviation 5E", "true - variation = magnetic, - deviation = compass",
                           _compass),
    "leg": Calculation(_options("from", "to"), "--from -41.32,174.81 --to 40.96,-5.50", "WGS84 geodesic, PROJ", _leg),
    "variation": Calculation(_options("at", "height", "date"), "--at 80,0 --height 0km --date 2027.5",
                             "World Magnetic Model 2025", _variation),
    "sun": Calculation(_options("at", "date", "utc-offset"), "--at 38.9,-74.9 --date 2002-03-20 --utc-offset -5",
                       "NOAA series after Meeus, iterated; zeniths 90.833 and 96 degrees, elevation 0", _sun),
    "tas-from-gps": Calculation(_options(repeated=("leg",)), "--leg 140@192 --leg 112@283 --leg 120@20",
                                "least squares of |Vg - w| - TAS", _tas_from_gps),
    "no-return": Calculation(_options("endurance", "out", "home"), "--endurance 5h --out 110kt --home 95kt",
                             "E H/(O + H)", _no_return),
    "equal-time": Calculation(_options("distance", "out", "home"), "--distance 920nm --out 240kt --home 210kt",
                              "D H/(O + H)", _equal_time),
    "weigh": Calculation(_options(repeated=("reading",)), "--reading 340lb@55in --reading 1046lb-2lb@121in", BALANCE, _weigh),
    "shift": Calculation(_options("weight", "cg", "move", "from", "to"),
                         "--weight 8000lb --cg 77in --move 100lb --from 30in --to 150in", BALANCE, _shift),
    "add": Calculation(_options("weight", "cg", repeated=("item",)), "--weight 6680lb --cg 80in --item 140lb@150in", BALANCE,
                       _add),
    "ballast": Calculation(_options("weight", "cg", "target", "at"),
                           "--weight 1876lb --cg 32.2in --target 33.0in --at 228in", BALANCE, _ballast),
    "winds-aloft": Calculation(_options("group", "level"), "731960 --level 39000ft", "FAA winds-aloft coding rules",
                               _winds_aloft),
    "due": Calculation(_options("done", "every"), "--done 2026-03-05 --every \"12 calendar months\"",
                       "date arithmetic of the rules", _due),
}
