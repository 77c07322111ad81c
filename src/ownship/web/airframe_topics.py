"""What the airframe record holds, topic by topic, as form fields: labels, examples, and the paper each stands in."""

from __future__ import annotations

from dataclasses import dataclass, replace

LIMIT = "2350 lb, or none published; empty: not known"
NONE = "none published"


@dataclass(frozen=True)
class Cell:
    """One field of a table. kind: how its text is read (airframe_forms); usual: the choice of an empty row; hidden: not shown, made
    of another field."""

    key: str
    label: str
    hint: str = ""
    kind: str = "text"
    choices: tuple[tuple[str, str], ...] = ()
    usual: str = ""
    wide: bool = False
    hidden: bool = False


@dataclass(frozen=True)
class Part:
    """A table of the record, or an array of them (rows); one: what a row is called; spare: rows of an empty form."""

    table: str
    title: str
    cells: tuple[Cell, ...]
    note: str = ""
    rows: bool = False
    one: str = ""
    spare: int = 1


@dataclass(frozen=True)
class Topic:
    """What belongs on one page; paper: which paper holds it."""

    name: str
    title: str
    parts: tuple[Part, ...]
    paper: str = ""


def _source(hint: str = "flight manual section 2, revision 5") -> Cell:
    return Cell("source", "Source: which paper, page and date", hint, wide=True)


ARM = "in from the datum, as 82.0 in"
RECORD = Part("record", "Where the record comes from", (_source("the aeroplane's papers, typed in on 2026-05-17"),),
              "Stands for every figure below that names no paper of its own.")
IDENTITY = Part("identity", "The aeroplane", (
    Cell("registration", "Registration", "N0160T"), Cell("type_name", "Type", "as the data plate says"),
    Cell("serial", "Serial number"), Cell("year", "Year built", "1971", "integer"),
    Cell("category", "Category", kind="choice", choices=(("normal", "normal"), ("utility", "utility")), usual="normal")))
WEIGHTS = Part("weights", "Maximum weights", (
    Cell("ramp_max", "Ramp", LIMIT), Cell("take_off_max", "Take-off", LIMIT), Cell("landing_max", "Landing", LIMIT),
    Cell("zero_fuel_max", "Zero fuel", LIMIT), _source()),
    "A limit that the maker does not publish is \"none published\", and that is a fact; a limit nobody looked up is not known.")
ENVELOPE = Part("envelope", "Weight and CG envelope", (
    Cell("category", "Category", kind="choice", choices=(("normal", "normal"), ("utility", "utility")), usual="normal"),
    Cell("straight_in", "Its edges are straight in", kind="choice", choices=(("arm", "arm"), ("moment", "moment")), usual="arm"),
    Cell("points", "Corners in order round the edge, one a line", "1350 lb at 81.0 in", "points", wide=True), _source()),
    "Start at any corner and go round. A chart of weight over arm is straight in arm, one of weight over moment in moment.",
    rows=True, one="Envelope")
UTILITY = Part("category.utility", "Utility category", (
    Cell("stations_empty", "Stations that must be empty", "rear, baggage", "ids", wide=True),
    Cell("manoeuvres", "Manoeuvres", "steep turns, chandelles", "words", wide=True)))
STATIONS = Part("stations", "Seats and baggage", (
    Cell("name", "Name", "front seats"), Cell("id", "Short name", "made of the name where empty", "id"),
    Cell("kind", "Kind", kind="choice", choices=(("seat", "seat"), ("baggage", "baggage")), usual="seat"),
    Cell("seats", "Seats", "2", "integer"), Cell("arm", "Arm, or from - to", "118 in, or 82 in to 88 in", "arms"),
    Cell("max", "Most allowed there", LIMIT),
    Cell("removable", "Can be taken out", kind="flag", choices=(("", "not said"), ("no", "no"), ("yes", "yes")))),
    "A seat that slides has two arms: both ends are judged.", rows=True, one="Station", spare=5)
GROUPS = Part("station_groups", "Limits that stations share", (
    Cell("stations", "Stations", "baggage, shelf", "ids"), Cell("max", "Most together", LIMIT)), rows=True, one="Group")
TANKS = Part("tanks", "Tanks", (
    Cell("name", "Name", "left tank"), Cell("id", "Short name", "made of the name where empty", "id"),
    Cell("capacity", "Total capacity", "25.0 usgal"), Cell("unusable", "Unusable of it", "1.0 usgal"),
    Cell("arm", "Arm", ARM), Cell("marks", "Marks in the filler, usable", "tab: 17 usgal", "marks"),
    Cell("dipstick", "Dipstick: reading and total", "2.0 in 5 usgal; 4.1 in 10 usgal", "pairs", wide=True)),
    "Total is what the tank holds; usable is total less unusable.", rows=True, one="Tank", spare=2)
SELECTOR = Part("selector", "Fuel selector", (
    Cell("positions", "Positions", "left, right; with both: left, right, both", "ids"),
    Cell("take_off", "Tank for take-off", "fuller, or a tank's name"),
    Cell("landing", "Tank for landing", "fuller, or a tank's name"),
    Cell("imbalance_max", "Most imbalance", "10 usgal or 60 lb, or none published"),
    Cell("floor_time", "Least time left in a tank when leaving it", "30 min"),
    Cell("no_change_below", "No change below", "1000 ft"), _source()))
FUEL = Part("fuel", "Fuel", (Cell("grade", "Fuel grade", "avgas 100LL"), Cell("density", "Fuel density", "6.0 lb/usgal"),
                             _source()))
OIL = Part("oil", "Oil", (Cell("capacity", "Oil capacity", "8 qt"), Cell("arm", "Oil arm", ARM),
                          Cell("density", "Oil density", "7.5 lb/usgal"),
                          _source()))
ENGINE = Part("engine", "Engine", (
    Cell("power", "Rated power", "160 hp"), Cell("rpm", "at", "2700 rpm"),
    Cell("compression", "Compression ratio", "8.5", "number"), Cell("aspiration", "Aspiration", "carburettor"),
    Cell("avoid_rpm", "Ranges of rpm to avoid", "2100 rpm to 2250 rpm", "pairs", wide=True), _source()))
PROPELLER = Part("propeller", "Propeller", (
    Cell("blades", "Blades", "2", "integer"), Cell("diameter", "Diameter", "74 in"), Cell("pitch", "Pitch", "58 in"),
    Cell("rpm_max", "Most rpm", "2700 rpm"), Cell("static_rpm", "Static rpm allowed, from - to", "2280 rpm to 2450 rpm", "pair"),
    _source()))
GEOMETRY = Part("geometry", "Wing", (
    Cell("wing_area", "Wing area", "160 ft2"), Cell("span", "Span", "32 ft"),
    Cell("wing", "High or low", kind="choice", choices=(("", "not said"), ("low", "low"), ("high", "high"))),
    Cell("mac", "Mean aerodynamic chord", "60.0 in"), Cell("lemac", "its leading edge at", "74.5 in"), _source()))
SPEEDS = Part("speeds", "Speeds", (
    Cell("vs1", "Stall, flaps up (Vs1, CAS)", "52 kt"), Cell("vs0", "Stall, flaps down (Vs0, CAS)", "47 kt"),
    Cell("va", "Manoeuvring (Va)", "104 kt"), Cell("vno", "Most in rough air (Vno)", "121 kt"),
    Cell("vne", "Never exceed (Vne)", "148 kt"),
    Cell("vfe", "Most with flaps (Vfe)", "100 kt"), Cell("vx", "Best angle (Vx)", "66 kt"), Cell("vy", "Best rate (Vy)", "78 kt"),
    Cell("best_glide", "Best glide", "73 kt"), Cell("demonstrated_crosswind", "Demonstrated crosswind", "15 kt, or none published"),
    _source()), "Stall speeds as CAS at the maximum take-off weight.")
POSITION = Part("position_error", "Airspeed calibration", (
    Cell("ias", "IAS", "45 kt, 65 kt, 100 kt", "words", wide=True),
    Cell("cas", "is CAS", "50 kt, 66 kt, 99 kt", "words", wide=True), _source()))
PROCEDURES = Part("procedures", "How it is flown", (
    Cell("take_off.flap", "Take-off: flap", "10 deg"), Cell("take_off.lift_off", "Take-off: lift-off (IAS)", "57 kt"),
    Cell("take_off.at_50ft", "Take-off: at 50 ft (IAS)", "65 kt"),
    Cell("take_off.mixture_rich_below", "Take-off: full rich below", "3000 ft"),
    Cell("climb", "Climb: altitude and IAS", "0 ft 78 kt; 12000 ft 72 kt", "pairs", wide=True),
    Cell("approach.flap", "Approach: flap", "30 deg"), Cell("approach.speed", "Approach: speed (IAS)", "62 kt"),
    Cell("go_around.flap", "Go-around: flap", "10 deg"), _source()))
BOOK = Part("book", "The book's performance", (
    Cell("technique", "How its rows were flown", "short field, full throttle before brake release", wide=True),
    Cell("notes", "Its wind notes", "takeoff headwind 9 kt -10 %; landing tailwind 2 kt 10 %", "notes", wide=True),
    Cell("wind_in_rows", "Its rows hold 50 % of headwind and 150 % of tailwind already", kind="flag",
         choices=(("", "not said"), ("no", "no"), ("yes", "yes"))), _source()))
WEIGHINGS = Part("weighings", "Weighings in the record", (
    Cell("date", "Day", "2019-04-12", "date"),
    Cell("weighed", "Really on scales", kind="flag", choices=(("yes", "weighed"), ("no", "computed")), usual="yes"),
    Cell("weight", "Empty weight", "1418 lb"), Cell("arm", "Arm", "83.8 in"),
    Cell("readings", "or the scales: gross - tare at arm", "412 lb at 31.5 in; 508 lb - 4 lb at 105.2 in", "scales", wide=True),
    Cell("oil", "Oil in it", kind="choice", choices=(("full", "full"), ("undrainable", "undrainable only"), ("none", "none")),
         usual="full"),
    Cell("fuel", "Fuel in it", kind="choice", choices=(("unusable", "unusable only"), ("drained", "drained"),
                                                       ("usable full", "tanks full")), usual="unusable"),
    Cell("density", "Fuel density, tanks full", "6.0 lb/usgal"), _source("weighing report of 2019-04-12")),
    "Weight and arm, or the scales; not both.", rows=True, one="Weighing")
EQUIPMENT = Part("equipment", "Equipment changes in the record", (
    Cell("date", "Day", "2024-05-20", "date"), Cell("what", "What", "406 MHz beacon in the tail cone"),
    Cell("weight", "Weight (below 0: taken out)", "3.2 lb"), Cell("arm", "Arm", ARM),
    Cell("after_weighing", "On the day of a weighing: after it", kind="flag", choices=(("", "no"), ("yes", "yes"))),
    _source("work order")),
    "New changes are better entered in the weight ledger, where each can be corrected by itself.", rows=True, one="Change")
ELECTRICAL = Part("electrical", "Electrical", (
    Cell("alternator", "Alternator", "60 A"), Cell("battery", "Battery", "25 Ah"),
    Cell("loads", "Loads", "radios: 6 A; landing light: 8 A", "loads", wide=True), _source()))
CODES = Part("equipment_codes", "Flight plan", (
    Cell("icao_10a", "Item 10a", "SG"), Cell("icao_10b", "Item 10b", "B1"), Cell("colour", "Colour", "white with a teal stripe")))
DEVIATION = Part("deviation", "Deviation card", (
    Cell("magnetic", "For magnetic headings", "0, 30, 60, 90", "headings", wide=True),
    Cell("compass", "steer by compass", "1, 32, 62, 91", "headings", wide=True), _source("card beside the compass, 2025-09-01")))

MANUAL, SHEET = "flight manual or handbook", "type certificate data sheet"
TOPICS = (
    Topic("identity", "The aeroplane", (RECORD, IDENTITY), "certificate of registration; data plate"),
    Topic("weights", "Limits", (WEIGHTS,), f"{MANUAL}, limitations; {SHEET}; placards"),
    Topic("envelope", "Envelope", (ENVELOPE, UTILITY), f"{MANUAL}, limitations or weight and balance; {SHEET}"),
    Topic("stations", "Stations", (STATIONS, GROUPS), f"{MANUAL}, weight and balance; placards at the baggage doors"),
    Topic("tanks", "Tanks and fuel", (TANKS, SELECTOR, FUEL, OIL),
          f"{MANUAL}, fuel system; placards at fillers and selector; {SHEET}"),
    Topic("engine", "Engine, propeller, wing", (ENGINE, PROPELLER, GEOMETRY), f"{SHEET}; propeller log and blade stamps"),
    Topic("speeds", "Speeds", (SPEEDS, POSITION), f"{MANUAL}, limitations and airspeed calibration; airspeed indicator"),
    Topic("procedures", "How it is flown", (PROCEDURES, BOOK), f"{MANUAL}, normal procedures and performance"),
    Topic("equipment", "Weighings and equipment", (WEIGHINGS, EQUIPMENT),
          "weighing report, weight and balance amendments, work orders"),
    Topic("electrical", "Electrical and flight plan", (ELECTRICAL, CODES), f"{MANUAL}, electrical system; flight plan form"),
    Topic("deviation", "Deviation card", (DEVIATION,), "card beside the compass"))
BY_NAME = {t.name: t for t in TOPICS}


def without(part: Part, *keys: str) -> Part:
    """A part without some of its cells, for a shorter form; an id is only hidden, since it is made of the name."""
    return replace(part, cells=tuple(replace(c, hidden=True) if c.key in keys and c.kind == "id" else c for c in part.cells
                                     if c.key not in keys or c.kind == "id"))
