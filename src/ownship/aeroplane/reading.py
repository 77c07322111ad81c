"""Reading an airframe record from TOML: strictly, with a source for every table."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from typing import Any, TypeVar

from ownship.aeroplane import description as d
from ownship.aeroplane.envelope import crosses_itself, several_ranges_at
from ownship.errors import BadInput, MissingSource
from ownship.provenance import digest
from ownship.schema import Table, read_toml, show
from ownship.units import parse

T = TypeVar("T")
SPEED = {"low": "15 kt", "high": "400 kt"}
WEIGHT = {"low": "100 lb", "high": "20000 lb"}
ARM = {"low": "-1000 in", "high": "1000 in"}
DIP = {"low": "0 in", "high": "100 in"}
HEIGHT = {"low": "-1000 ft", "high": "30000 ft"}
ROTATION = {"low": "500 rpm", "high": "4000 rpm"}


def read_airframe(text: str, name: str) -> d.AirframeRecord:
    """An AirframeRecord from a TOML text called `name`.

    Refuses, in one sentence with file and line: unknown keys, missing sources, quantities without unit, absurd
    weights, a polygon that crosses itself, groups of unknown stations, ids that stand twice. `record.text_digest`
    names the text, for caches.
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
        categories=_categories(reader), tanks=reader.many("tanks", _tank),
        selector=reader.one("selector", _selector), fuel=reader.one("fuel", _fuel), oil=reader.one("oil", _oil),
        geometry=reader.one("geometry", _geometry), engine=reader.one("engine", _engine),
        propeller=reader.one("propeller", _propeller), speeds=reader.one("speeds", _speeds) or d.Speeds(),
        position_error=reader.one("position_error", _position_error), deviation=reader.one("deviation", _deviation),
        procedures=reader.one("procedures", _procedures), book=reader.one("book", _book),
        electrical=reader.one("electrical", _electrical), equipment_codes=reader.one("equipment_codes", _codes))
    root.done()
    _check_ids(record, reader)
    _check_stations(record, reader)
    _check_selector(record, reader)
    return record


class _Reader:
    def __init__(self, root: Table, source: str) -> None:
        self.root, self.default = root, source
        self.tables: dict[str, list[Table]] = {}

    def bad(self, key: str, number: int, field: str, sentence: str) -> BadInput:
        """A refusal at a field of the numbered table `key`, after it was read."""
        return self.tables[key][number].bad(field, sentence)

    def source(self, table: Table) -> str:
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
        self.tables[key] = [table]
        value = read(table, self.source(table))
        table.done()
        return value

    def many(self, key: str, read: Callable[[Table, str], T]) -> tuple[T, ...]:
        values = []
        self.tables[key] = self.root.tables(key)
        for table in self.tables[key]:
            values.append(read(table, self.source(table)))
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


def _check_ids(record: d.AirframeRecord, reader: _Reader) -> None:
    for key, field, ids in (("stations", "id", [s.id for s in record.stations]), ("tanks", "id", [t.id for t in record.tanks]),
                            ("envelope", "category", [e.category for e in record.envelopes])):
        for number, one in enumerate(ids):
            if one in ids[:number]:
                raise reader.bad(key, number, field, f"{one!r} stands twice; give each its own, or remove one.")


def _check_stations(record: d.AirframeRecord, reader: _Reader) -> None:
    known = {s.id for s in record.stations}
    named = [("station_groups", i, "stations", x) for i, g in enumerate(record.station_groups) for x in g.stations]
    named += [("category", i, "stations_empty", x) for i, c in enumerate(record.categories) for x in c.stations_empty]
    for key, number, field, station in named:
        if station not in known:
            raise reader.bad(key, number, field, f"the station {station!r} is not among [[stations]]: "
                                                 f"{', '.join(sorted(known)) or 'none'}.")


def _check_selector(record: d.AirframeRecord, reader: _Reader) -> None:
    if record.selector is None:
        return
    tanks = {t.id for t in record.tanks}
    named = [("positions", p) for p in record.selector.positions]
    for field, position in (*named, ("take_off", record.selector.take_off), ("landing", record.selector.landing)):
        if position not in {*tanks, "both", "fuller"}:
            raise reader.bad("selector", 0, field, f"{position!r} is not among [[tanks]]: {', '.join(sorted(tanks)) or 'none'}.")


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
    if d.is_figure(ramp) and d.is_figure(take_off) and ramp < take_off:
        raise t.bad("ramp_max", f"{show(ramp, 'lb')} is less than take_off_max; correct one of the two.")
    return d.Weights(ramp, take_off, landing, zero_fuel, source)


def _weighing(t: Table, source: str) -> d.Weighing:
    day, weighed = t.convert("date", _date), t.flag("weighed")
    readings = t.tables("readings") if t.has("readings") else []
    if readings:
        scales = [d.Reading(r.quantity("gross", "mass", low="0 lb", high="20000 lb"),
                            r.quantity("tare", "mass", 0.0, low="0 lb", high="2000 lb"), r.quantity("arm", "length", **ARM))
                  for r in readings]
        for r, scale in zip(readings, scales, strict=True):
            r.done()
            if scale.tare_kg > scale.gross_kg:
                raise t.bad("readings", "a tare is more than its gross weight; correct the two.")
        weight = sum(s.gross_kg - s.tare_kg for s in scales)
        if not parse(WEIGHT["low"], "mass") <= weight <= parse(WEIGHT["high"], "mass"):
            raise t.bad("readings", f"the scales add up to {show(weight, 'lb')}, which is not believable; allowed is "
                                    f"{WEIGHT['low']} to {WEIGHT['high']}.")
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
                       source, t.flag("after_weighing", False))


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
    points = _bounded_pairs(t, "points", ("mass", WEIGHT), ("length", ARM))
    if len(points) > 1 and points[0] == points[-1]:
        points = points[:-1]
    if len(points) < 3:
        raise t.bad("points", f"{len(points)} points make no envelope; give at least three.")
    if len({w for w, _ in points}) < 2 or len({a for _, a in points}) < 2:
        raise t.bad("points", "the envelope has no area; give its corners in order round the edge.")
    if crosses_itself(points):
        raise t.bad("points", "the envelope crosses itself; give its corners in order round the edge.")
    if (weight := several_ranges_at(points)) is not None:
        raise t.bad("points", f"at {show(weight, 'lb')} the envelope allows more than one range of arms; correct its corners.")
    return d.Envelope(t.text("category", "normal"), t.choice("straight_in", ("arm", "moment")), points, source)


def _bounded_pairs(t: Table, key: str, first: tuple[str, dict[str, str]], second: tuple[str, dict[str, str]]) -> Any:
    """A list of pairs with every number believable: (dimension, {"low", "high"}) for each of the two."""
    pairs = t.pairs(key, first[0], second[0], ())
    for pair in pairs:
        for value, (dimension, bounds) in zip(pair, (first, second), strict=True):
            if not parse(bounds["low"], dimension) <= value <= parse(bounds["high"], dimension):
                unit = bounds["low"].split()[-1]
                raise t.bad(key, f"{show(value, unit)} is not believable; allowed is {bounds['low']} to {bounds['high']}.")
    return pairs


def _rising(t: Table, key: str, numbers: list[float], what: str) -> None:
    if numbers != sorted(set(numbers)):
        raise t.bad(key, f"{what} should rise from entry to entry; put them in order.")


def _categories(reader: _Reader) -> tuple[d.Category, ...]:
    table = reader.root.table("category")
    if table is None:
        return ()
    found = []
    reader.tables["category"] = []
    for name in table.keys():  # noqa: SIM118 - a Table, not a dict
        part = table.table(name)
        assert part is not None
        reader.tables["category"].append(part)
        source = reader.source(part)
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
    dipstick = _bounded_pairs(t, "dipstick", ("length", DIP), ("volume", {"low": "0 usgal", "high": "500 usgal"}))
    _rising(t, "dipstick", [r for r, _ in dipstick], "the readings")
    _rising(t, "dipstick", [v for _, v in dipstick], "the amounts")
    if dipstick and dipstick[-1][1] > capacity + 1e-9:
        raise t.bad("dipstick", "the dipstick shows more than the tank holds; correct one of the two.")
    return d.Tank(t.text("id"), t.text("name", ""), capacity, unusable, t.quantity("arm", "length", **ARM), marks,
                  dipstick, source)


def _selector(t: Table, source: str) -> d.Selector:
    by_weight = str(t.data.get("imbalance_max", "")).rstrip().lower().endswith(("lb", "kg"))
    imbalance = t.limit("imbalance_max", *(("mass", "0 lb", "3000 lb") if by_weight else ("volume", "0 usgal", "500 usgal")))
    return d.Selector(t.texts("positions"), t.text("take_off", "fuller"), t.text("landing", "fuller"),
                      None if by_weight else imbalance, imbalance if by_weight else None,
                      t.quantity("floor_time", "time", 0.0, low="0 min", high="300 min"),
                      t.quantity("no_change_below", "length", 0.0, low="0 ft", high="10000 ft"), source)


def _fuel(t: Table, source: str) -> d.Fuel:
    if t.data.get("temperature_corrected") is True:
        raise t.bad("temperature_corrected", "quantities corrected for temperature are not computed yet; write false.")
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
    bands = _bounded_pairs(t, "avoid_rpm", ("rotation", ROTATION), ("rotation", ROTATION))
    for band in bands:
        _rising(t, "avoid_rpm", list(band), "the two ends of a range")
    return d.Engine(t.quantity("power", "power", low="30 hp", high="600 hp"),
                    t.quantity("rpm", "rotation", low="1500 rpm", high="4000 rpm"),
                    t.number("compression", None, 4.0, 15.0), t.text("aspiration", "carburettor"), bands, source)


def _propeller(t: Table, source: str) -> d.Propeller:
    static = t.quantities("static_rpm", "rotation", None, length=2, low="1000 rpm", high="4000 rpm")
    _rising(t, "static_rpm", list(static or ()), "the two ends of the band")
    return d.Propeller(t.integer("blades", 2, 2, 6), t.quantity("diameter", "length", low="40 in", high="120 in"),
                       t.quantity("pitch", "length", low="20 in", high="120 in"),
                       t.quantity("rpm_max", "rotation", None, low="1500 rpm", high="4000 rpm"), static, source)


def _speeds(t: Table, source: str) -> d.Speeds:
    names = ("vs1", "vs0", "va", "vno", "vne", "vfe", "vx", "vy", "best_glide")
    values = {f"{n}_m_s": t.limit(n, "speed", **SPEED) for n in names}
    for lower, upper in (("vs0", "vs1"), ("vno", "vne")):
        low, high = values[f"{lower}_m_s"], values[f"{upper}_m_s"]
        if d.is_figure(low) and d.is_figure(high) and low > high:
            raise t.bad(lower, f"{lower} is more than {upper}; correct one of the two.")
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
        found = tuple(float(v) if isinstance(v, int | float) and not isinstance(v, bool)
                      else t.convert_value(key, v, "angle") for v in values)
        for value in found:
            if not 0 <= value <= 360:
                raise t.bad(key, f"{value:g} is no heading; write 0 to 360 degrees.")
        return found

    return d.Deviation(degrees("magnetic", magnetic), degrees("compass", compass), source)


def _procedures(t: Table, source: str) -> d.Procedures:
    take_off, approach, go_around = t.table("take_off"), t.table("approach"), t.table("go_around")
    first = second = None
    flap = ""
    if take_off:
        first = d.TakeOffProcedure(str(take_off.take("flap", "")), take_off.quantity("lift_off", "speed", None, **SPEED),
                                   take_off.quantity("at_50ft", "speed", None, **SPEED),
                                   take_off.quantity("mixture_rich_below", "length", None, **HEIGHT))
        take_off.done()
    if approach:
        second = d.ApproachProcedure(str(approach.take("flap", "")), approach.quantity("speed", "speed", None, **SPEED),
                                     approach.quantity("touchdown", "speed", None, **SPEED))
        approach.done()
    if go_around:
        flap = str(go_around.take("flap", ""))
        go_around.done()
    climb = _bounded_pairs(t, "climb", ("length", HEIGHT), ("speed", SPEED))
    _rising(t, "climb", [h for h, _ in climb], "the altitudes")
    return d.Procedures(first, climb, second, flap, source)


def _book(t: Table, source: str) -> d.Book:
    notes = []
    for note in t.tables("notes"):
        notes.append(d.BookNote(note.text("kind"), note.choice("rule", ("headwind", "tailwind")),
                                note.quantity("per", "speed", low="0.5 kt", high="50 kt"),
                                note.quantity("change", "ratio", low="-90 %", high="300 %"), note.text("source", source)))
        note.done()
    return d.Book(t.text("rows", None), t.text("own", None), str(t.take("technique", "")), tuple(notes),
                  t.flag("wind_in_rows", False), source)


def _electrical(t: Table, source: str) -> d.Electrical:
    loads = []
    for load in t.tables("loads"):
        loads.append((load.text("what"), load.quantity("amps", "current", low="0 A", high="200 A")))
        load.done()
    return d.Electrical(t.quantity("alternator", "current", low="1 A", high="300 A"),
                        t.quantity("battery", "charge", low="1 Ah", high="200 Ah"), tuple(loads), source)


def _codes(t: Table, source: str) -> d.EquipmentCodes:
    return d.EquipmentCodes(t.text("icao_10a", ""), t.text("icao_10b", ""), t.text("colour", ""), source)
