"""What an owner logs between measurements, as facts: fills with the flights before them, and the engine's entries."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from ownship.calibration import keys
from ownship.calibration.fuel_log import PHASES, SETTLED, FlightPhases
from ownship.errors import BadInput, UnitError
from ownship.schema import Table
from ownship.units import parse

KNOWN_BY = ("full", "mark", "dipstick", "meter", "gauge")
LEVEL = {"low": "0 usgal", "high": "200 usgal"}
DIPPED = {"low": "0 in", "high": "60 in"}
FILTERS = ("clean", "carbon", "metal")
_COMPRESSION = re.compile(r"^\s*(\d{1,3})\s*/\s*(\d{1,3})\s*$")


@dataclass(frozen=True)
class TankSaid:
    """A tank at a fill, before the record is asked: a name ("full", a mark), an amount or a dipstick's reading.

    where: its place in the file, for refusals. total: the amount counts the unusable fuel too.
    """

    where: str
    tank: str
    name: str
    amount_m3: float | None
    dipped_m: float | None
    total: bool
    known_by: str
    added_m3: float


@dataclass(frozen=True)
class CruiseSaid:
    """How the flights before a fill were cruised: panel rpm (rev/s), pressure altitude, air, weight, mixture."""

    rev_s: float
    pressure_altitude_m: float
    temperature_k: float
    weight_kg: float
    mixture: str


@dataclass(frozen=True)
class FillSaid:
    """A fill as it stands in the file; the first of a log has no flights: it only says which levels the log starts at."""

    line: int
    where: str
    dated: date
    name: str
    flights: tuple[FlightPhases, ...]
    tanks: tuple[TankSaid, ...]
    settled: str
    cruise: CruiseSaid | None


@dataclass(frozen=True)
class EngineSaid:
    """An entry on the engine at a time in service: static rpm with its air, oil added since the last, compressions, filter,
    drop of each magneto; None or empty where not noted."""

    line: int
    where: str
    dated: date | None
    engine_time_s: float
    static: tuple[float, float, float] | None  # panel rev/s, pressure altitude m, K
    oil_added_m3: float | None
    compressions_1: tuple[float, ...]
    filter: str
    mag_drop_rev_s: tuple[tuple[str, float], ...]


def read_fill(t: Table) -> FillSaid:
    """One [[fill]] of a measurements file, strictly."""
    line, day = keys.place(t)
    if day is None:
        raise t.bad("date", "a fill needs its date, without quotes, as in 2024-05-17; add it.")
    name, settled = t.text("name", day.isoformat()), t.choice("settled", SETTLED[1:], "")
    flights = tuple(_flight(f, f"{name}, flight {i}") for i, f in enumerate(t.tables("flights"), 1))
    tanks = tuple(_tank(x) for x in t.tables("tanks"))
    if not tanks:
        raise t.bad("tanks", "a fill needs the tanks used or filled, each with its level; add them.")
    if len({x.tank for x in tanks}) < len(tanks):
        raise t.bad("tanks", "a tank stands here twice; give each once.")
    cruise = t.table("cruise")
    return FillSaid(line, t.where(), day, name, flights, tanks, settled, None if cruise is None else _cruise(cruise))


def _flight(t: Table, name: str) -> FlightPhases:
    times = {f"{p}_s": float(t.quantity(p, "time", 0.0, low="0 min", high="12 h")) for p in PHASES}
    if not sum(times.values()):
        raise t.bad("", f"this flight has no times; give one or more of {', '.join(PHASES)}.")
    t.done()
    return FlightPhases(name, **times)


def _tank(t: Table) -> TankSaid:
    where, tank, written = t.where(), t.text("tank"), t.text("level")
    added = float(t.quantity("added", "volume", 0.0, **LEVEL))
    name, amount, dipped = "", None, None
    if not written[:1].isdigit():
        name = written
    elif _is_length(written):
        dipped = _bounded(t, written, "length", DIPPED)
    else:
        amount = _bounded(t, written, "volume", LEVEL)
    usual = "full" if name == "full" else "mark" if name else "dipstick" if dipped is not None else None
    known_by = t.choice("known_by", KNOWN_BY, *([usual] if usual else []))
    if known_by != usual and (usual is not None or known_by in ("full", "mark")):
        raise t.bad("known_by", f"{known_by!r} does not go with a level of {written!r}; say how that is known, one of "
                                f"{usual or 'dipstick, meter, gauge'}.")
    total = t.choice("counts", ("usable", "total"), "total" if known_by == "dipstick" else "usable") == "total"
    t.done()
    return TankSaid(where, tank, name, amount, dipped, total, known_by, added)


def _is_length(written: str) -> bool:
    try:
        parse(written, "length")
    except UnitError:
        return False
    return True


def _bounded(t: Table, written: str, dimension: str, bounds: dict[str, str]) -> float:
    value = t.convert_value("level", written, dimension)
    if not parse(bounds["low"], dimension) <= value <= parse(bounds["high"], dimension):
        raise t.bad("level", f"{written!r} is not believable; allowed is {bounds['low']} to {bounds['high']}.")
    return value


def _cruise(t: Table) -> CruiseSaid:
    said = CruiseSaid(keys.rpm(t), keys.altitude(t), keys.oat(t), keys.weight(t), t.choice("mixture", ("lean", "rich"), "lean"))
    t.done()
    return said


def read_engine(t: Table) -> EngineSaid:
    """One [[engine]] of a measurements file, strictly: what is not noted is not known, never nought."""
    line, day = keys.place(t)
    time = float(t.quantity("hours", "time", low="0 h", high="30000 h"))
    static = t.table("static")
    run = None if static is None else (keys.rpm(static), keys.altitude(static), keys.oat(static))
    if static is not None:
        static.done()
    oil = t.quantity("oil_added", "volume", None, low="0 qt", high="40 qt")
    compressions = tuple(_compression(t, x) for x in t.texts("compressions", ()))
    drops = t.table("mag_drop")
    found = EngineSaid(line, t.where(), day, time, run, oil, compressions, t.choice("filter", FILTERS, ""), _drops(drops))
    if static is None and oil is None and not (compressions or found.filter or found.mag_drop_rev_s):
        raise t.bad("hours", "nothing is noted beside the hours; note static, oil_added, compressions, filter or mag_drop.")
    return found


def _compression(t: Table, written: str) -> float:
    read = _COMPRESSION.match(written)
    if not read or int(read[2]) == 0 or int(read[1]) > int(read[2]):
        raise t.bad("compressions", f"{written!r} is no compression; write what is held over what is fed, as in \"72/80\".")
    return int(read[1]) / int(read[2])


def _drops(t: Table | None) -> tuple[tuple[str, float], ...]:
    if t is None:
        return ()
    found = tuple((side, float(value)) for side in ("left", "right")
                  if (value := t.quantity(side, "rotation", None, low="0 rpm", high="1000 rpm")) is not None)
    t.done()
    return found


def in_order(name: str, fills: Sequence[FillSaid], engine: Sequence[EngineSaid]) -> None:
    """Refuse a log that does not run forward, that starts with flights, or whose later fills have none."""
    for before, after in pairwise(fills):
        if after.dated < before.dated:
            raise BadInput(f"{after.where}: this fill is dated before the one above it; put them in order of time.")
        if not after.flights:
            raise BadInput(f"{after.where}: a fill after the first needs the flights since the one before; add flights.")
    if fills and fills[0].flights:
        raise BadInput(f"{fills[0].where}: the first fill has flights, but what was in the tanks before them is not known; begin "
                       "with a fill without flights, which says where the log starts.")
    for earlier, later in pairwise(engine):
        if later.engine_time_s < earlier.engine_time_s:
            raise BadInput(f"{later.where}: hours run back from the entry above; put the entries of {name} in order of hours.")
