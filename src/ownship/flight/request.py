"""The flight request: who, what, where, when, as frozen values (docs/formats/flight.md).

Values are SI; fuel is still as the pilot knows it (a mark, "full", a quantity), because only the airframe
record can say how much that is.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from ownship.flight.places import AloftLevel, WeatherEntry, moment, read_aloft, read_aloft_hours, read_weather
from ownship.flight.planning import usual_costs
from ownship.schema import Table
from ownship.units import parse


@dataclass(frozen=True)
class Load:
    """A person or a thing at a station, weighed or guessed; whether it may stay behind or move.

    person: None: a load on a seat station is one.
    """

    what: str
    station: str
    weight_kg: float
    weighed: bool = False
    can_stay: bool = False
    can_move: bool = False
    person: bool | None = None


@dataclass(frozen=True)
class TankFuel:
    """Fuel in one tank as the pilot knows it: a volume, "full" or the name of a mark; and what is added."""

    on_board: float | str
    add_m3: float
    known_by: str
    counts: str | None
    where: str = ""


@dataclass(frozen=True)
class RunwayWish:
    """Which end of an aerodrome's runways ("best" or an ident) and the state of its surface."""

    end: str = "best"
    surface_state: str | None = None


@dataclass(frozen=True)
class Factors:
    """Safety factors on distances, the owner's factor on own figures, and the confidence asked for."""

    take_off: float = 1.33
    landing: float = 1.43
    owner: float = 1.0
    confidence: float = 0.95


@dataclass(frozen=True)
class Gradient:
    """A climb gradient that must be held up to an altitude."""

    gradient_1: float
    to_altitude_m: float


@dataclass(frozen=True)
class Obstacle:
    """A thing near the route: its top above sea level."""

    name: str
    lat_deg: float
    lon_deg: float
    top_m: float


@dataclass(frozen=True)
class OwnMinima:
    """The pilot's or insurer's own minima; None where there is none."""

    landing_fuel_s: float | None = None
    crosswind_m_s: float | None = None
    obstacle_clearance_m: float | None = None
    ceiling_m: float | None = None
    visibility_m: float | None = None
    runway_m: float | None = None
    latest_arrival: datetime | None = None


@dataclass(frozen=True)
class Planning:
    """The pilot's planning figures where they differ from the usual ones; None = the usual one."""

    taxi_s: float | None = None
    contingency_1: float | None = None
    extra_s: float | None = None
    approach_s: float | None = None
    descent_rate_m_s: float | None = None


@dataclass(frozen=True)
class FlightRequest:
    """One flight as asked for."""

    origin: str
    destination: str
    departure: datetime
    departure_is_local: bool
    cruise_altitude_m: float
    via: tuple[str, ...] = ()
    alternates: tuple[str, ...] = ()
    rules: str = "VFR"
    place: str | None = None
    category: str = "normal"
    manoeuvres: tuple[str, ...] = ()
    power_rev_s: float | None = None
    power_1: float | None = None
    mixture: str = "lean"
    carburettor_heat: tuple[str, ...] = ()
    leave_again: datetime | None = None
    leave_again_is_local: bool = False
    remedy_costs: dict[str, float] = field(default_factory=dict)
    planned_departure: datetime | None = None
    planned_departure_is_local: bool = False
    planned_leave_again: datetime | None = None
    planned_leave_again_is_local: bool = False
    loads: tuple[Load, ...] = ()
    fuel: dict[str, TankFuel] = field(default_factory=dict)
    weather: dict[str, WeatherEntry] = field(default_factory=dict)
    aloft: tuple[AloftLevel, ...] = ()
    aloft_fb: tuple[str, str] | None = None
    aloft_hours: tuple[AloftLevel, ...] = ()
    ground_m: tuple[float, ...] | None = None
    runways: dict[str, RunwayWish] = field(default_factory=dict)
    aerodromes: dict[str, Table] = field(default_factory=dict)
    factors: Factors = Factors()
    departure_gradient: Gradient | None = None
    missed_gradient: Gradient | None = None
    minimum_altitude_m: float | None = None
    freezing_level_m: float | None = None
    obstacles: tuple[Obstacle, ...] = ()
    parked_outside_s: float = 0.0
    own: OwnMinima = OwnMinima()
    planning: Planning = Planning()
    source: str = "flight request"


SURFACE_STATES = ("dry", "wet", "grass dry", "grass short dry", "grass wet", "grass short wet", "soft", "snow")
KNOWN_BY = ("full", "mark", "dipstick", "clock", "gauge")
PHASES = ("taxi", "take-off", "climb", "cruise", "descent", "approach", "go-around")


def ident(text: str) -> str:
    """An aerodrome ident as it is looked up: trimmed, upper case."""
    return text.strip().upper()


def read_request(root: Table) -> FlightRequest:
    """A FlightRequest from a TOML table; every refusal names the field and, where it has one, the line."""
    zone_of_place = root.flag("local", False)
    departure, local = _planned(root, "departure", zone_of_place)
    power = root.take("power")
    leave_again, leave_local = root.convert("leave_again", moment, (None, False))
    planned, planned_local = _planned(root, "planned_departure", zone_of_place, (None, False))
    again, again_local = _planned(root, "planned_leave_again", zone_of_place, (None, False))
    fb_table = root.table("aloft")
    aloft, aloft_fb = read_aloft(fb_table) if fb_table else ((), None)
    ifr = root.table("ifr")
    request = FlightRequest(
        origin=ident(root.text("from")), destination=ident(root.text("to")),
        departure=departure, departure_is_local=local,
        cruise_altitude_m=root.quantity("cruise_altitude", "length", low="0 ft", high="20000 ft"),
        via=tuple(ident(x) for x in root.texts("via", ())),
        alternates=tuple(ident(x) for x in root.texts("alternates", ())),
        rules=root.choice("rules", ("VFR", "IFR"), "VFR"),
        place=root.choice("place", ("USA", "Canada", "EASA"), None),
        category=root.text("category", "normal"), manoeuvres=root.texts("manoeuvres", ()),
        power_rev_s=_power(root, power, "rotation"), power_1=_power(root, power, "ratio"),
        mixture=root.choice("mixture", ("lean", "rich"), "lean"),
        carburettor_heat=root.convert("carburettor_heat", _phases, ()),
        leave_again=leave_again, leave_again_is_local=leave_local,
        planned_departure=planned, planned_departure_is_local=planned_local,
        planned_leave_again=again, planned_leave_again_is_local=again_local,
        loads=tuple(_load(t) for t in root.tables("loads")),
        fuel=_named(root, "fuel", _tank_fuel),
        weather={ident(k) if k != "default" else k: v for k, v in _named(root, "weather", read_weather).items()},
        aloft=aloft, aloft_fb=aloft_fb, aloft_hours=read_aloft_hours(root.tables("aloft_hours")), ground_m=_ground(root),
        runways={ident(k): v for k, v in _named(root, "runway", _runway).items()},
        aerodromes={ident(k): v for k, v in _named(root, "aerodromes", lambda t: t).items()},
        factors=_factors(root.table("factors")),
        departure_gradient=_gradient(ifr, "departure_gradient"),
        missed_gradient=_gradient(ifr, "missed_approach_gradient"),
        minimum_altitude_m=ifr.quantity("minimum_altitude", "length", None) if ifr else None,
        freezing_level_m=ifr.quantity("freezing_level", "length", None) if ifr else None,
        obstacles=tuple(_obstacle(t) for t in root.tables("obstacles")),
        parked_outside_s=root.quantity("parked_outside", "time", 0.0, low="0 h", high="9000 h"),
        own=_own(root.table("own")), remedy_costs=_costs(root.table("remedies")), planning=_planning(root.table("planning")),
        source=root.text("source", "flight request"))
    root.integer("schema", 1, 1, 1)
    if ifr:
        _finish(ifr)
    root.done()
    return request


def _finish(table: Table) -> None:
    table.take("source", None)
    table.done()


def _planned(root: Table, key: str, local: bool, default: Any = ...) -> tuple[Any, bool]:
    """A moment with its zone, or, where the request says local = true, without."""
    found, naive = root.convert(key, moment, default)
    if naive and not local:
        raise root.bad(key, f"{found.isoformat()!r} has no zone; write -06:00 behind it or local = true.")
    return found, naive


def _power(root: Table, value: object, dimension: str) -> float | None:
    """rpm or a percentage: the one that the text is; refuses what is neither or not believable."""
    is_percent = isinstance(value, str) and value.strip().endswith("%")
    if is_percent != (dimension == "ratio"):
        return None
    number = root.convert_value("power", value, dimension)
    low, high = (0.2, 1.0) if is_percent else (parse("1000 rpm", "rotation"), parse("4000 rpm", "rotation"))
    if not low <= number <= high:
        raise root.bad("power", f"{value!r} is not believable; allowed is 1000 rpm to 4000 rpm, or 20 % to 100 %.")
    return number


def _phases(value: Any) -> tuple[str, ...]:
    if not isinstance(value, list) or any(v not in PHASES for v in value):
        raise ValueError(f"{value!r} should be a list of phases out of: {', '.join(PHASES)}.")
    return tuple(value)


def _load(t: Table) -> Load:
    load = Load(t.text("what", "load"), t.text("station"), t.quantity("weight", "mass", low="0 lb", high="1000 lb"),
                t.flag("weighed", False), t.flag("can_stay", False), t.flag("can_move", False), t.flag("person", None))
    _finish(t)
    return load


def _named(root: Table, key: str, reader: Any) -> dict[str, Any]:
    table = root.table(key)
    if table is None:
        return {}
    table.take("source", None)
    return {name: reader(table.table(name)) for name in table.keys()}  # noqa: SIM118 - Table, not a dict


def _tank_fuel(t: Table) -> TankFuel:
    on_board = t.take("on_board")
    if not isinstance(on_board, str):
        raise t.bad("on_board", f"{on_board!r} should be a quantity with its unit, \"full\" or the name of a mark.")
    amount: float | str = on_board.strip()
    if on_board.strip()[:1] in "+-.0123456789":
        amount = t.convert_value("on_board", on_board, "volume")
        if amount < 0:
            raise t.bad("on_board", f"{on_board!r} is negative; fuel on board is 0 or more.")
    by_default = "full" if amount == "full" else "mark" if isinstance(amount, str) else "gauge"
    known = t.choice("known_by", KNOWN_BY, by_default)
    fuel = TankFuel(amount, t.quantity("add", "volume", 0.0, low="0 l", high="2000 l"), known,
                    t.choice("counts", ("usable", "total"), None), t.where())
    _finish(t)
    return fuel


def _ground(root: Table) -> tuple[float, ...] | None:
    t = root.table("ground")
    if t is None:
        return None
    heights: tuple[float, ...] = t.quantities("highest", "length", low="-1500 ft", high="29100 ft")
    _finish(t)
    return heights


def _runway(t: Table) -> RunwayWish:
    wish = RunwayWish(t.text("end", "best"), t.choice("surface_state", SURFACE_STATES, None))
    _finish(t)
    return wish


def _factors(t: Table | None) -> Factors:
    if t is None:
        return Factors()
    usual = Factors()
    factors = Factors(t.number("take_off", usual.take_off, 1.0, 5.0), t.number("landing", usual.landing, 1.0, 5.0),
                      t.number("owner", usual.owner, 1.0, 5.0), t.number("confidence", usual.confidence, 0.5, 0.999))
    _finish(t)
    return factors


def _gradient(t: Table | None, key: str) -> Gradient | None:
    if t is None or not t.has(key):
        return None
    value = t.take(key)
    if not isinstance(value, list) or len(value) != 2:
        raise t.bad(key, f"{value!r} should be a gradient and an altitude, [\"290 ft/nm\", \"7000 ft\"].")
    gradient = Gradient(t.convert_value(key, value[0], "gradient"), t.convert_value(key, value[1], "length"))
    if gradient.gradient_1 <= 0:
        raise t.bad(key, f"{value[0]!r} is not a climb; a published gradient is more than 0 ft/nm.")
    return gradient


def _obstacle(t: Table) -> Obstacle:
    lat, lon = t.convert("position", _lat_lon)
    obstacle = Obstacle(t.text("name", "obstacle"), lat, lon, t.quantity("top", "length", low="-1500 ft", high="29100 ft"))
    _finish(t)
    return obstacle


def _lat_lon(value: Any) -> tuple[float, float]:
    parts = str(value).split(",")
    lat, lon = (float(parts[0]), float(parts[1])) if len(parts) == 2 else (999.0, 999.0)
    if not (-90 <= lat <= 90 and -180 <= lon <= 180):
        raise ValueError(f"{value!r} is not a position; write \"45.1,-115.2\" (north, east positive).")
    return lat, lon


def _own(t: Table | None) -> OwnMinima:
    if t is None:
        return OwnMinima()
    own = OwnMinima(t.quantity("landing_fuel", "time", None, low="0 min", high="600 min"),
                    t.quantity("crosswind", "speed", None, low="0 kt", high="60 kt"),
                    t.quantity("obstacle_clearance", "length", None, low="0 ft", high="2000 ft"),
                    t.quantity("ceiling", "length", None, low="0 ft", high="30000 ft"),
                    t.quantity("visibility", "length", None, low="0 m", high="100 km"),
                    t.quantity("runway", "length", None, low="0 ft", high="20000 ft"), _latest(t))
    _finish(t)
    return own


def _latest(t: Table) -> datetime | None:
    """latest_arrival: a moment with its zone."""
    found, local = t.convert("latest_arrival", moment, (None, False))
    if found is not None and local:
        raise t.bad("latest_arrival", f"{found.isoformat()!r} has no zone; write it as 2026-07-11T20:00-06:00.")
    return found


def _costs(t: Table | None) -> dict[str, float]:
    """[remedies]: what a change costs this pilot, in minutes, by the names of data/remedy_costs.toml."""
    if t is None:
        return {}
    found = {name: t.number(name, None, 0.0, 1e6) for name in usual_costs()}
    _finish(t)
    return {k: v for k, v in found.items() if v is not None}


def _planning(t: Table | None) -> Planning:
    if t is None:
        return Planning()
    planning = Planning(t.quantity("taxi", "time", None, low="0 min", high="180 min"),
                        t.quantity("contingency", "ratio", None, low="0 %", high="100 %"),
                        t.quantity("extra", "time", None, low="0 min", high="600 min"),
                        t.quantity("approach", "time", None, low="0 min", high="120 min"),
                        t.quantity("descent_rate", "speed", None, low="100 ft/min", high="2000 ft/min"))
    _finish(t)
    return planning
