"""The kinds of measurements an owner enters: their fields, with labels, examples and what each is for."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from ownship.errors import BadInput
from ownship.web.airframe_topics import Cell, Part
from ownship.web.measurements_forms import Kind, Rows


def _choice(key: str, label: str, *words: str, usual: str = "", empty: str = "") -> Cell:
    pairs = tuple((w, w.replace("_", "-")) for w in words)
    return Cell(key, label, kind="choice", choices=((("", empty),) if empty else ()) + pairs, usual=usual)


DATE, NOTE = Cell("date", "Day", "2026-05-17", "date"), Cell("note", "Note, for yourself", wide=True)
ALTITUDE = Cell("pressure_altitude", "Pressure altitude", "4000 ft, altimeter on 1013 hPa")
OAT = Cell("oat", "Outside air temperature", "9 C")
WEIGHT, RPM = Cell("weight", "Weight", "2150 lb"), Cell("rpm", "Rpm on the panel", "2400 rpm")
SURFACES = ("paved dry", "paved wet", "grass dry", "grass short dry", "grass wet", "grass short wet", "gravel dry", "gravel wet")
CHANGE = (DATE, Cell("from", "From", "3000 ft"), Cell("to", "To", "5000 ft"),
          Cell("time", "Time between them", "200 s, or 3min20s"),
          Cell("ias", "Airspeed held (IAS)", "76 kt"), Cell("oat", "Outside air temperature half-way", "9 C"), WEIGHT,
          _choice("heights", "Heights are", "pressure", "gps", usual="pressure"),
          Cell("pressure_altitude", "With GPS heights: pressure altitude half-way", "4000 ft"), NOTE)
RUNWAY = (DATE, Cell("roll", "Roll", "900 ft"),
          Cell("over_50ft", "Over 50 ft, the roll in it", "1600 ft; one of the two will do"), ALTITUDE,
          OAT, WEIGHT, Cell("headwind", "Headwind along the runway", "5 kt; tailwind -3 kt"),
          Cell("slope", "Slope, up positive", "1 %; empty: level"),
          Cell("surface", "Surface that day", kind="choice", choices=tuple((s, s) for s in SURFACES), usual="paved dry"),
          _choice("flap", "Flap", "up", "take_off", "landing", empty="as the procedure says"))
LEGS = Rows("legs", "Legs", "Leg", (
            Cell("groundspeed", "Groundspeed", "118 kt"), Cell("track", "Track over the ground", "010 deg")), 3,
            "All tracks true or all magnetic; at least 60 degrees apart.")
FLIGHTS = Rows("flights", "Flights since the fill before", "Flight", tuple(
    Cell(p, p[:1].upper() + p[1:], "9 min") for p in ("taxi", "climb", "cruise", "descent", "approach")), 1,
    "Times by the clock. The first fill of a log has none: it only says how full the tanks are at its start.")
TANK_CELLS = (Cell("level", "Level after filling", "full, a mark, 12 usgal, or 4.2 in dipped"), Cell("added", "Added", "7.9 usgal"),
              _choice("known_by", "An amount is known by", "dipstick", "meter", "gauge", empty="full, mark or dipstick"),
              _choice("counts", "An amount counts", "usable", "total", empty="as usual for it"))
TANKS = Rows("tanks", "Tanks", "Tank", TANK_CELLS, 2, "Every tank used or filled; leave the others empty.", named="tank")


def _kind(name: str, title: str, aim: str, *cells: Cell, rows: tuple[Rows, ...] = (), more: tuple[Part, ...] = ()) -> Kind:
    return Kind(name, title, (Part(name, title, cells), *more), rows, aim)


CRUISE = Part("fill", "How the flights were cruised", (
    Cell("cruise.rpm", "Rpm on the panel, mean", "2400 rpm"),
    Cell("cruise.pressure_altitude", "Pressure altitude in the cruise", "6000 ft"),
    Cell("cruise.oat", "Air temperature in the cruise", "5 C"), Cell("cruise.weight", "Weight in the cruise", "2150 lb"),
    _choice("cruise.mixture", "Mixture in the cruise", "lean", "rich", empty="not said")),
    "With it in every fill the log teaches the model; without, it is told in words only.")
STATIC = Part("engine", "Static rpm, where it was read", (
    Cell("static.rpm", "Static rpm on the panel", "2330 rpm"),
    Cell("static.oat", "Outside air temperature at the static run", "21 C"),
    Cell("static.pressure_altitude", "Pressure altitude at the static run", "2900 ft")))
KINDS = (
    _kind("level_run", "Level run",
          "Hold height and rpm until the speed stands; three tracks or more, a minute each. It teaches speed and drag.",
          DATE, ALTITUDE, OAT, WEIGHT, RPM, Cell("ias", "Airspeed (IAS)", "102 kt; checks the airspeed indicator"),
          _choice("mixture", "Mixture", "lean", "rich", usual="lean"), NOTE, rows=(LEGS,)),
    _kind("timed_climb", "Timed climb",
          "Full throttle, one airspeed held from below the first height to above the second; 300 ft or more.", *CHANGE),
    _kind("glide", "Glide",
          "Throttle closed, one airspeed held between two heights; over a field, engine warmed between runs.", *CHANGE[:-1],
          _choice("propeller", "Propeller", "windmilling", "stopped", usual="windmilling"), NOTE),
    _kind("static", "Static run", "Full throttle against the brakes, no wind or across it. The cheapest check of an engine.",
          DATE, replace(RPM, label="Rpm"), OAT, ALTITUDE, Cell("optical", "Read by", kind="flag", choices=(
              ("no", "the panel's tachometer"), ("yes", "an optical tachometer from outside")), usual="no"), NOTE),
    _kind("tachometer", "Check of the tachometer", "The panel's and an optical tachometer at one moment.",
          DATE, Cell("panel", "The panel shows", "2400 rpm"), Cell("optical", "The optical one shows", "2370 rpm"), NOTE),
    _kind("take_off", "Take-off",
          "Count lights or paces to lift-off and to 50 ft. It stands beside the book's figure and never in its place.",
          *RUNWAY, Cell("lift_off", "Lift-off (IAS)", "57 kt"), Cell("at_50ft", "At 50 ft (IAS)", "65 kt"), NOTE),
    _kind("landing", "Landing", "From 50 ft over the threshold to the stop, brakes as you would use them.",
          *RUNWAY, Cell("approach", "Approach (IAS)", "62 kt"), NOTE),
    _kind("fuel_flow", "Fuel flow", "A steady flow in level flight, by a flow meter you trust.", DATE,
          Cell("flow", "Fuel flow", "8.3 usgal/h"),
          RPM, ALTITUDE, OAT, WEIGHT, _choice("mixture", "Mixture", "lean", "rich", usual="lean"), NOTE),
    _kind("fill", "Fill", "Fill to the same mark, the aeroplane level, as last time; the times of the flights since then.",
          DATE, Cell("name", "Name", "Friday, there and back"),
          _choice("settled", "What was found, where a fill did not agree", "lost", "short", "right", empty="nothing to say"), NOTE,
          rows=(TANKS, FLIGHTS), more=(CRUISE,)),
    _kind("engine", "Engine", "At every oil change or fifty hours; five entries of a kind make a trend.",
          DATE, Cell("hours", "Time in service", "1240 h"),
          Cell("oil_added", "Oil added since the last entry that notes it", "2 qt"),
          Cell("compressions", "Compressions, cylinder 1 first", "72/80, 74/80, 75/80, 70/80", "words"),
          _choice("filter", "Oil filter", "clean", "carbon", "metal", empty="not looked at"),
          Cell("mag_drop.left", "Magneto drop, left", "60 rpm"), Cell("mag_drop.right", "Magneto drop, right", "75 rpm"),
          NOTE, more=(STATIC,)))
BY_NAME = {k.name: k for k in KINDS}


def kind_of(name: str, tanks: Iterable[tuple[str, str]] = ()) -> Kind:
    """A kind of measurement by its name, its tanks those of the aeroplane: (id, words)."""
    if name not in BY_NAME:
        raise BadInput(f"{name[:40]!r} is no kind of measurement; there are {', '.join(BY_NAME)}.")
    kind, known = BY_NAME[name], tuple(tanks)
    return replace(kind, rows=tuple(replace(r, names=known, least=len(known)) if r.named else r for r in kind.rows))
