"""Reading an airframe record from TOML: strictly, with a source for every table."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from typing import Any, TypeVar

from ownship.aeroplane import description as d
from ownship.aeroplane.envelope import crosses_itself
from ownship.errors import MissingSource
from ownship.provenance import digest
from ownship.schema import Table, read_toml

T = TypeVar("T")
SPEED = {"low": "15 kt", "high": "400 kt"}
WEIGHT = {"low": "100 lb", "high": "20000 lb"}
ARM = {"low": "-1000 in", "high": "1000 in"}


def read_airframe(text: str, name: str) -> d.AirframeRecord:
    """An AirframeRecord from a TOML text called `name`.

    Refuses, in one sentence with file and line: unknown keys, missing sources, quantities without unit, absurd
    weights, a polygon that crosses itself, groups of unknown stations, ids that stand twice.
    """
    root = read_toml(text, name)
    root.integer("schema", 1, 1, 1)
    source = _record_source(root)
    reader = _Reader(root, source)
    record = d.AirframeRecord(
        identity=reader.one("identity", _identity) or d.Identity("unregistered", source=source),
        source=source, text_digest=digest(text), weights=reader.one("weights", _weights) or d.Weights(),
        weighings=tuple(sorted(reader.many("weighings", _weighing), key=lambda w: w.date)),
        equipment=reader.many("equipment", _equipment), stations=reader.many("stations", _station),
        station_groups=reader.many("station_groups", _group), envelopes=reader.many("envelope", _envelope),
        categories=_categories(root, source), tanks=reader.many("tanks", _tank),
        selector=reader.one("selector", _selector), fuel=reader.one("fuel", _fuel), oil=reader.one("oil", _oil),
        geometry=reader.one("geometry", _geometry), engine=reader.one("engine", _engine),
        propeller=reader.one("propeller", _propeller), speeds=reader.one("speeds", _speeds) or d.Speeds(),
        position_error=reader.one("position_error", _position_error), deviation=reader.one("deviation", _deviation),
        procedures=reader.one("procedures", _procedures), book=reader.one("book", _book),
        electrical=reader.one("electrical", _electrical), equipment_codes=reader.one("equipment_codes", _codes))
    root.done()
    _check(record, root)
    return record


class _Reader:
    def __init__(self, root: Table, source: str) -> None:
        self.root, self.default = root, source

    def _source(self, table: Table) -> str:
        own = table.text("source", None) or self.default
        if not own:
            raise MissingSource(f"{table.where()}: no source here and no [record] source; add one of the two.")
        status = table.text("status", None)
        dated = table.take("source_date", None)
        return ", ".join(str(p) for p in (own, status, dated) if p)

    def one(self, key: str, read: Callable[[Table, str], T]) -> T | None:
        table = self.root.table(key)
        if table is None:
            return None
        value = read(table, self._source(table))
        table.done()
        return value

    def many(self, key: str, read: Callable[[Table, str], T]) -> tuple[T, ...]:
        values = []
        for table in self.root.tables(key):
            values.append(read(table, self._source(table)))
            table.done()
        return tuple(values)


def _record_source(root: Table) -> str:
    record = root.table("record")
    if record is None:
        return ""
    source = record.text("source", "")
    status = record.text("status", None)
    record.take("date", None)
    record.done()
    return ", ".join(p for p in (source, status) if p)


def _check(record: d.AirframeRecord, root: Table) -> None:
    for what, ids in (("station", [s.id for s in record.stations]), ("tank", [t.id for t in record.tanks])):
        twice = {i for i in ids if ids.count(i) > 1}
        if twice:
            raise root.bad("", f"the {what} id {sorted(twice)[0]!r} stands twice; give each {what} its own id.")
    known = {s.id for s in record.stations}
    for group in (*record.station_groups, *record.categories):
        for station in getattr(group, "stations", ()) or getattr(group, "stations_empty", ()):
            if station not in known:
                raise root.bad("", f"the station {station!r} is named in a group or category but not among [[stations]].")
    if record.selector:
        tanks = {t.id for t in record.tanks}
        for position in (*record.selector.positions, record.selector.take_off, record.selector.landing):
            if position not in {*tanks, "both", "fuller"}:
                raise root.bad("", f"[selector] names the tank {position!r}, which is not among [[tanks]].")


def _date(value: Any) -> date:
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    try:
        return date.fromisoformat(str(value))
    except ValueError:
        raise ValueError(f"{value!r} is not a date; write 2024-05-31.") from None


def _identity(t: Table, source: str) -> d.Identity:
    return d.Identity(t.text("registration", "unregistered"), t.text("type_name", ""), str(t.take("serial", "")),
                      t.integer("year", None, 1900, 2100), t.text("category", "normal"), source)


def _weights(t: Table, source: str) -> d.Weights:
    ramp, take_off, landing, zero_fuel = (t.limit(k, "mass", **WEIGHT) for k in (
        "ramp_max", "take_off_max", "landing_max", "zero_fuel_max"))
    return d.Weights(ramp, take_off, landing, zero_fuel, source)


def _weighing(t: Table, source: str) -> d.Weighing:
    day, weighed = t.convert("date", _date), t.flag("weighed")
    readings = t.tables("readings") if t.has("readings") else []
    if readings:
        scales = [d.Reading(r.quantity("gross", "mass", low="0 lb", high="20000 lb"),
                            r.quantity("tare", "mass", 0.0, low="0 lb", high="2000 lb"), r.quantity("arm", "length", **ARM))
                  for r in readings]
        for r in readings:
            r.done()
        weight = sum(s.gross_kg - s.tare_kg for s in scales)
        if weight <= 0:
            raise t.bad("readings", "the scales add up to nothing; correct gross and tare.")
        arm = sum((s.gross_kg - s.tare_kg) * s.arm_m for s in scales) / weight
    else:
        weight, arm = t.quantity("weight", "mass", **WEIGHT), t.quantity("arm", "length", **ARM)
    fuel = t.choice("fuel", ("unusable", "drained", "usable full"), "unusable")
    density = t.quantity("density", "density", None if fuel != "usable full" else ..., low="0.6 kg/l", high="0.9 kg/l")
    return d.Weighing(day, weighed, weight, arm, t.choice("oil", ("full", "undrainable", "none"), "full"), fuel,
                      density, source)


def _equipment(t: Table, source: str) -> d.Equipment:
    return d.Equipment(t.convert("date", _date), t.text("what"),
                       t.quantity("weight", "mass", low="-2000 lb", high="2000 lb"), t.quantity("arm", "length", **ARM),
                       source)


def _station(t: Table, source: str) -> d.Station:
    if t.has("arm_range"):
        low, high = t.quantities("arm_range", "length", length=2, low=ARM["low"], high=ARM["high"])
        arm = (min(low, high), max(low, high))
    else:
        arm = (t.quantity("arm", "length", **ARM),) * 2
    kind = t.choice("kind", ("seat", "baggage"))
    return d.Station(t.text("id"), t.text("name", ""), kind, t.integer("seats", 1 if kind == "seat" else 0, 0, 20), arm,
                     t.limit("max", "mass", low="0 lb", high="5000 lb"), t.flag("removable", False), source)


def _group(t: Table, source: str) -> d.StationGroup:
    return d.StationGroup(t.texts("stations"), t.limit("max", "mass", low="0 lb", high="5000 lb"), source)


def _envelope(t: Table, source: str) -> d.Envelope:
    points = t.pairs("points", "mass", "length")
    if len(points) < 3:
        raise t.bad("points", f"{len(points)} points make no envelope; give at least three.")
    if crosses_itself(points):
        raise t.bad("points", "the envelope crosses itself; give its corners in order round the edge.")
    return d.Envelope(t.text("category", "normal"), t.choice("straight_in", ("arm", "moment")), points, source)


def _categories(root: Table, default: str) -> tuple[d.Category, ...]:
    table = root.table("category")
    if table is None:
        return ()
    found = []
    for name in table.keys():  # noqa: SIM118 - a Table, not a dict
        part = table.table(name)
        assert part is not None
        source = part.text("source", default)
        found.append(d.Category(name, part.texts("stations_empty", ()), part.texts("manoeuvres", ()), source))
        part.done()
    return tuple(found)


def _tank(t: Table, source: str) -> d.Tank:
    capacity = t.quantity("capacity", "volume", low="0.1 usgal", high="500 usgal")
    unusable = t.quantity("unusable", "volume", low="0 usgal", high="500 usgal")
    if unusable > capacity:
        raise t.bad("unusable", "more is unusable than the tank holds; correct one of the two.")
    marks = tuple(d.Mark(m.text("name"), m.quantity("usable", "volume", low="0 usgal", high="500 usgal"))
                  for m in t.tables("marks"))
    for mark in marks:
        if mark.usable_m3 > capacity - unusable + 1e-9:
            raise t.bad("marks", f"the mark {mark.name!r} is above the tank's usable capacity.")
    return d.Tank(t.text("id"), t.text("name", ""), capacity, unusable, t.quantity("arm", "length", **ARM), marks,
                  t.pairs("dipstick", "length", "volume", ()), source)


def _selector(t: Table, source: str) -> d.Selector:
    by_weight = str(t.data.get("imbalance_max", "")).rstrip().lower().endswith(("lb", "kg"))
    imbalance = t.limit("imbalance_max", *(("mass", "0 lb", "3000 lb") if by_weight else ("volume", "0 usgal", "500 usgal")))
    return d.Selector(t.texts("positions"), t.text("take_off", "fuller"), t.text("landing", "fuller"),
                      None if by_weight else imbalance, imbalance if by_weight else None,
                      t.quantity("floor_time", "time", 0.0, low="0 min", high="300 min"),
                      t.quantity("no_change_below", "length", 0.0, low="0 ft", high="10000 ft"), source)


def _fuel(t: Table, source: str) -> d.Fuel:
    return d.Fuel(t.text("grade", "avgas"), t.quantity("density", "density", low="0.6 kg/l", high="0.9 kg/l"),
                  t.flag("temperature_corrected", False), source)


def _oil(t: Table, source: str) -> d.Oil:
    return d.Oil(t.quantity("capacity", "volume", low="1 qt", high="40 qt"), t.quantity("arm", "length", **ARM),
                 t.quantity("density", "density", low="0.7 kg/l", high="1.1 kg/l"), source)


def _geometry(t: Table, source: str) -> d.Geometry:
    return d.Geometry(t.quantity("wing_area", "area", low="50 ft2", high="500 ft2"),
                      t.quantity("span", "length", low="15 ft", high="70 ft"), t.choice("wing", ("high", "low")),
                      t.quantity("mac", "length", None, low="1 ft", high="15 ft"),
                      t.quantity("lemac", "length", None, **ARM), source)


def _engine(t: Table, source: str) -> d.Engine:
    avoid = t.take("avoid_rpm", [])
    bands = tuple((t.convert_value("avoid_rpm", a, "rotation"), t.convert_value("avoid_rpm", b, "rotation"))
                  for a, b in avoid)
    return d.Engine(t.quantity("power", "power", low="30 hp", high="600 hp"),
                    t.quantity("rpm", "rotation", low="1500 rpm", high="4000 rpm"),
                    t.number("compression", None, 4.0, 15.0), t.text("aspiration", "carburettor"), bands, source)


def _propeller(t: Table, source: str) -> d.Propeller:
    return d.Propeller(t.integer("blades", 2, 2, 6), t.quantity("diameter", "length", low="40 in", high="120 in"),
                       t.quantity("pitch", "length", low="20 in", high="120 in"),
                       t.quantity("rpm_max", "rotation", None, low="1500 rpm", high="4000 rpm"),
                       t.quantities("static_rpm", "rotation", None, length=2, low="1000 rpm", high="4000 rpm"), source)


def _speeds(t: Table, source: str) -> d.Speeds:
    names = ("vs1", "vs0", "va", "vno", "vne", "vfe", "vx", "vy", "best_glide")
    values = {f"{n}_m_s": t.limit(n, "speed", **SPEED) for n in names}
    crosswind = t.limit("demonstrated_crosswind", "speed", low="1 kt", high="60 kt")
    return d.Speeds(**values, demonstrated_crosswind_m_s=crosswind, source=source)


def _position_error(t: Table, source: str) -> d.PositionError:
    ias, cas = (t.quantities(k, "speed", low=SPEED["low"], high=SPEED["high"]) for k in ("ias", "cas"))
    if len(ias) != len(cas) or len(ias) < 2 or list(ias) != sorted(set(ias)) or list(cas) != sorted(set(cas)):
        raise t.bad("ias", "ias and cas should be two rising lists of equal length, two entries or more.")
    return d.PositionError(ias, cas, source)


def _deviation(t: Table, source: str) -> d.Deviation:
    magnetic, compass = t.take("magnetic"), t.take("compass")
    if not isinstance(magnetic, list) or not isinstance(compass, list) or len(magnetic) != len(compass) or not magnetic:
        raise t.bad("magnetic", "magnetic and compass should be two lists of equal length.")
    def degrees(key: str, values: list[Any]) -> tuple[float, ...]:
        return tuple(float(v) if isinstance(v, int | float) and not isinstance(v, bool)
                     else t.convert_value(key, v, "angle") for v in values)

    return d.Deviation(degrees("magnetic", magnetic), degrees("compass", compass), source)


def _procedures(t: Table, source: str) -> d.Procedures:
    take_off, approach, go_around = t.table("take_off"), t.table("approach"), t.table("go_around")
    first = second = None
    flap = ""
    if take_off:
        first = d.TakeOffProcedure(str(take_off.take("flap", "")), take_off.quantity("lift_off", "speed", None, **SPEED),
                                   take_off.quantity("at_50ft", "speed", None, **SPEED),
                                   take_off.quantity("mixture_rich_below", "length", None))
        take_off.done()
    if approach:
        second = d.ApproachProcedure(str(approach.take("flap", "")), approach.quantity("speed", "speed", None, **SPEED),
                                     approach.quantity("touchdown", "speed", None, **SPEED))
        approach.done()
    if go_around:
        flap = str(go_around.take("flap", ""))
        go_around.done()
    return d.Procedures(first, t.pairs("climb", "length", "speed", ()), second, flap, source)


def _book(t: Table, source: str) -> d.Book:
    notes = []
    for note in t.tables("notes"):
        notes.append(d.BookNote(note.text("kind"), note.choice("rule", ("headwind", "tailwind")),
                                note.quantity("per", "speed", low="0.5 kt", high="50 kt"),
                                note.quantity("change", "ratio", low="-90 %", high="300 %"), note.text("source", source)))
        note.done()
    return d.Book(t.text("rows", None), str(t.take("technique", "")), tuple(notes), t.flag("wind_in_rows", False), source)


def _electrical(t: Table, source: str) -> d.Electrical:
    loads = []
    for load in t.tables("loads"):
        loads.append((load.text("what"), load.quantity("amps", "current", low="0 A", high="200 A")))
        load.done()
    return d.Electrical(t.quantity("alternator", "current", low="1 A", high="300 A"),
                        t.quantity("battery", "charge", low="1 Ah", high="200 Ah"), tuple(loads), source)


def _codes(t: Table, source: str) -> d.EquipmentCodes:
    return d.EquipmentCodes(t.text("icao_10a", ""), t.text("icao_10b", ""), t.text("colour", ""), source)
