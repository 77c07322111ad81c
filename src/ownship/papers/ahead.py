"""Altitudes and leaving times as text and as JSON (docs/formats/ahead.md)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from rich.console import Console, RenderableType
from rich.table import Table
from rich.text import Text

from ownship.flight.levels import LegGround, LevelRow, Levels
from ownship.flight.margins import Margin
from ownship.flight.when import LIGHT, LeavingTime, LeavingTimes, Light, labels
from ownship.papers.exchange import plain
from ownship.papers.text import SHAPES
from ownship.words.figures import Figure, number_text
from ownship.words.verdicts import NOT_KNOWN, Verdict


def levels_json(answer: Levels) -> dict[str, Any]:
    """The answer of `altitudes --json`, schema 1; "best" is the altitude of the best level, or null."""
    rows = [{**plain(r), "tightest": _margin_json(r.tightest)} for r in answer.levels]
    return {"schema": 1, **plain(answer), "levels": rows, "best": plain(answer.best.altitude) if answer.best else None}


def times_json(answer: LeavingTimes) -> dict[str, Any]:
    """The answer of `when --json`, schema 1; "best" is the departure with the most room, or null."""
    return {"schema": 1, **plain(answer), "day": answer.day.isoformat(), "planned": _time_json(answer.planned),
            "times": [_time_json(r) for r in answer.times], "best": plain(answer.best.departure) if answer.best else None}


def _time_json(row: LeavingTime) -> dict[str, Any]:
    return {**plain(row), "tightest": _margin_json(row.tightest)}


def _margin_json(m: Margin | None) -> dict[str, Any] | None:
    """The margin of `check --json` without its chain, with its room over the customary allowance."""
    if m is None:
        return None
    keys = ("id", "name", "kind", "place", "moment", "available", "required", "doubly", "needed", "margin", "chance", "verdict",
            "source", "words", "checks", "allowance_1")
    return {k: plain(getattr(m, k)) for k in keys}


def show_levels(answer: Levels, console: Console) -> None:
    """Print the levels of a flight."""
    _show(console, answer.sentence, answer.best.verdict if answer.best else NOT_KNOWN, _levels_table(answer),
          [_freezing(answer), *answer.words, *_level_words(answer.levels)], answer.cautions)


def show_times(answer: LeavingTimes, console: Console) -> None:
    """Print the leaving times of a day."""
    verdict = answer.best.verdict if answer.best else answer.planned.verdict
    planned = f"As planned, {answer.planned.departure:%H:%M}: {answer.planned.sentence}"
    _show(console, answer.sentence, verdict, _times_table(answer), [planned, *answer.words], answer.cautions)


def _show(console: Console, sentence: str, verdict: Verdict, table: RenderableType, words: Iterable[str],
          cautions: Sequence[str]) -> None:
    shape, colour = SHAPES[verdict]
    console.print(Text(f"{shape} {sentence}", style=colour))
    console.print(Text(cautions[0] if cautions else "", style="italic"))
    console.print(table)
    for line in [*words, *cautions[1:]]:
        console.print(Text(f"- {line}"))


def _levels_table(answer: Levels) -> Table:
    table = _table("", "level", "time", "fuel (usable)", "left at landing", "ground", "clearance", "tightest", "room")
    for row in reversed(answer.levels):
        where = row.altitude.text(0) + ("" if row.obeys else " free") + (" best" if row is answer.best else "")
        _row(table, row.verdict, where, _text(row.time, 0), _text(row.fuel, 1), _text(row.fuel_left, 1),
             _grounds(row.ground, "highest_ground"), _grounds(row.ground, "clearance"), _tightest(row.tightest, row.sentence),
             _room(row.tightest))
    return table


def _times_table(answer: LeavingTimes) -> Table:
    table = _table("", "leaving", "light", "landing", "light", "tightest", "room")
    for label, row in zip(labels(answer.times), answer.times, strict=True):
        landing = "not known" if row.landing is None else f"{row.landing:%H:%M}{' in calm air' if row.landing_in_calm_air else ''}"
        best = " best" if row is answer.best else ""
        _row(table, row.verdict, label + best, _light(row.light_at_departure), landing, _light(row.light_at_landing),
             _tightest(row.tightest, row.sentence), _room(row.tightest))
    return table


def _table(*names: str) -> Table:
    table = Table(box=None, padding=(0, 1), show_edge=False, header_style="dim")
    for name in names:
        table.add_column(name, overflow="fold")
    return table


def _row(table: Table, verdict: Verdict, *cells: str) -> None:
    """A row that begins with the verdict; cells as they stand, square brackets too."""
    shape, colour = SHAPES[verdict]
    table.add_row(Text(f"{shape} {verdict.removesuffix(' limits')}", style=colour), *(Text(c) for c in cells))


def _text(figure: Figure | None, digits: int) -> str:
    return "not known" if figure is None else figure.text(digits)


def _grounds(grounds: Sequence[LegGround], key: str) -> str:
    return "\n".join(_text(getattr(g, key), 0).split(" (")[0] for g in grounds)


def _tightest(m: Margin | None, sentence: str) -> str:
    if m is None:
        return sentence
    place = f", {m.place}" if m.place and m.place not in m.name else ""
    return m.name + place + (f": {m.words}" if m.margin is None and m.words else "")


def _room(m: Margin | None) -> str:
    return "" if m is None or m.margin is None else f"{number_text(m.margin.value)} {m.margin.unit}"


def _light(light: Light) -> str:
    return light.word + ("".join(f", {words}" for words in light.words) if light.word == LIGHT else "")


def _freezing(answer: Levels) -> str:
    if answer.freezing_level is None:
        return "The freezing level is not known."
    above = ", ".join(r.altitude.text(0) for r in answer.levels if r.above_freezing)
    return f"Freezing level {answer.freezing_level.text(0)}; {f'above it: {above}' if above else 'no level is above it'}."


def _level_words(rows: Sequence[LevelRow]) -> list[str]:
    """What stands beside single levels: oxygen, once for each sentence, with the levels it is for."""
    found: dict[str, list[str]] = {}
    for row in rows:
        for words in row.oxygen:
            found.setdefault(words, []).append(row.altitude.text(0))
    return [f"{', '.join(where)}: {words}" for words, where in found.items()]
