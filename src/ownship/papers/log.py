"""The log as lines of text: flights, totals with air time and flight time apart, open defects, the hand-over sheet."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from ownship.units import from_si
from ownship.words.figures import number_text

NOT_NOTED = "-"


def log_lines(answer: Mapping[str, Any]) -> tuple[str, ...]:
    """What `log list` answers, as lines: the latest flight last."""
    lines = [answer["sentence"]]
    if answer["flights"]:
        lines += [_row(("no", "aeroplane", "off blocks UTC", "from", "to", "flight h", "air h", "day", "night", "role"))]
        lines += [_row(_flight(f)) for f in answer["flights"]] + _totals(answer["totals"])
    lines += [_ratio(r) for r in answer["meter_ratios"]]
    return (*lines, *_defects(answer["open_defects"]))


def _row(cells: Iterable[str]) -> str:
    widths = (6, 10, 17, 6, 6, 9, 7, 4, 6, 12)
    return " ".join(c.ljust(w) for c, w in zip(cells, widths, strict=True)).rstrip()


def _flight(f: Mapping[str, Any]) -> tuple[str, ...]:
    return (str(f["number"]), f["aeroplane"], f["off_blocks"][:16].replace("T", " "), f["origin"], f["destination"],
            _hours(f["flight_s"]), _hours(f["air_s"]), str(f["landings_day"]), str(f["landings_night"]), f["role"])


def _hours(seconds: float | None) -> str:
    return NOT_NOTED if seconds is None else f"{from_si(seconds, 'h'):,.2f}"


def _totals(t: Mapping[str, Any]) -> list[str]:
    without = f" ({t['without_air']:,} without take-off or landing noted)" if t["without_air"] else ""
    return [f"flight time, block to block: {_hours(t['flight_s'])} h; air time, surface to surface: {_hours(t['air_s'])} h"
            f"{without}",
            f"night: {_hours(t['night_s'])} h; instrument: {_hours(t['instrument_s'])} h; landings: {t['landings_day']:,} by day, "
            f"{t['landings_night']:,} by night"]


def _ratio(r: Mapping[str, Any]) -> str:
    band = "no band below three flights" if r["low_1"] is None else f"{r['low_1']:.3f} to {r['high_1']:.3f}"
    return (f"{r['aeroplane']}: one hour of the {r['meter']} is {r['ratio_1']:.3f} h of air time ({band}), by {r['flights']:,} "
            f"{'flight' if r['flights'] == 1 else 'flights'}")


def _defects(found: Iterable[Mapping[str, Any]]) -> list[str]:
    return [f"open defect of {d['aeroplane']}: {defect_line(d)}" for d in found]


def defect_line(d: Mapping[str, Any]) -> str:
    """One open defect in a line."""
    state = "deferral over" if d["over"] else d["state"]
    until = f" until {d['until']}" if d["until"] else ""
    uses = f" ({', '.join(d['uses'])})" if d["uses"] else ""
    return f"{d['name']}, {state}{until}, found {d['found']}: {d['words']}{uses}"


def defect_lines(answer: Mapping[str, Any]) -> tuple[str, ...]:
    """What `log defects` answers, as lines."""
    return (answer["sentence"], *(defect_line(d) for d in answer["defects"]))


def written_lines(answer: Mapping[str, Any]) -> tuple[str, ...]:
    """What a command wrote, and what is to be told besides."""
    return (answer["sentence"], *answer["told"])


def hand_over_lines(sheet: Mapping[str, Any]) -> tuple[str, ...]:
    """The hand-over sheet."""
    s = sheet["settlement"]
    owed = "not known" if s["owed"] is None else f"{s['owed']['amount']} {s['owed']['currency']}"
    return (sheet["sentence"], *sheet["told"], f"moment: {sheet['moment']}",
            f"from: {sheet['by'] or 'not noted'}; to: {sheet['to']}", *(f"fuel, {x}" for x in sheet["fuel"]),
            f"oil: {sheet['oil']}", f"tied down: {sheet['tied_down']}",
            f"keys: {sheet['keys']}", *(f"open defect: {d}" for d in sheet["defects"]),
            *(() if sheet["defects"] else ("open defects: none in the record, which says nothing of the aeroplane",)),
            f"flights since the hand-over before: {number_text(sheet['flights'], 0)}", f"settlement: {s['words']}", f"owed: {owed}",
            "Look at the aeroplane together; conditions are those of your contract.")
