"""Altitudes: every legal cruising level of a flight, each judged by the ordinary `assess`. Method: docs/methods/levels-when.md."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ownship.errors import NotPossible, OutOfRange
from ownship.flight.alter import altered
from ownship.flight.answer import Assessment
from ownship.flight.assessment import assess
from ownship.flight.judge_route import highest_ground_m, level_margins
from ownship.flight.margins import Margin
from ownship.flight.planning import usual
from ownship.flight.route import Leg, build_route
from ownship.flight.situation import Situation
from ownship.performance.model import HARD_RANGE_M
from ownship.units import from_si, to_si
from ownship.words.cautions import cautions_for
from ownship.words.figures import Figure, figure
from ownship.words.verdicts import NOT_KNOWN, ORDER, OUTSIDE, WITHIN, Verdict

STEP_FT = 500
STEP_M = float(to_si(STEP_FT, "ft"))
Progress = Callable[[int, int], None]
Judge = Callable[[Situation], Assessment]


@dataclass(frozen=True)
class LegGround:
    """One leg under one level: highest ground and the clearance over it, cold error taken off; None: not known."""

    leg: str
    highest_ground: Figure | None
    clearance: Figure | None
    verdict: Verdict


@dataclass(frozen=True)
class LevelRow:
    """One level judged. time, fuel, fuel_left: block to block, usable, with bands; None where it cannot be flown or is not known.

    sentence: that of the ordinary assessment, or why the level cannot be flown; broken: how many limits are outside,
    None where nothing could be assessed; obeys: False where the level is only free for being near the ground;
    above_freezing None: the freezing level is not known.
    """

    altitude: Figure
    obeys: bool
    verdict: Verdict
    sentence: str
    time: Figure | None
    fuel: Figure | None
    fuel_left: Figure | None
    tightest: Margin | None
    broken: int | None
    ground: tuple[LegGround, ...]
    above_freezing: bool | None
    oxygen: tuple[str, ...] = ()


@dataclass(frozen=True)
class Levels:
    """Every legal level from the lowest up; best: the row named best, None where none can be flown or times are not known."""

    rules: str
    sentence: str
    levels: tuple[LevelRow, ...]
    best: LevelRow | None
    freezing_level: Figure | None
    words: tuple[str, ...]
    cautions: tuple[str, ...]


def levels(s: Situation, progress: Progress = lambda done, total: None, judge: Judge = assess) -> Levels:
    """Every level that is legal for the rules and the course of every leg, flown and judged.

    Candidates: each 500 ft from circuit height above the highest aerodrome of the route to a pressure altitude of
    16,000 ft; legal: no leg's `level` margin is outside or not known. The first level at which the climb has ceased is
    shown and ends the list. judge: `assess`, or what judges more (the record's open items).
    BadInput where the request cannot be read as a flight.
    """
    legs = build_route(s.points, s.day)
    if without := _no_rule(s, legs):
        return _answer(s, (), without, [])
    found = [(one, margins) for one in _candidates(s) if _legal(margins := level_margins(one))]
    rows: list[LevelRow] = []
    words: list[str] = []
    for i, (one, margins) in enumerate(found):
        row, ceased = _judged(one, legs, margins, judge)
        rows.append(row)
        progress(i + 1, len(found))
        if ceased:
            words = [f"The climb has ceased at {row.altitude.text(0)}: higher levels are left out."]
            break
    progress(len(found), len(found))
    return _answer(s, tuple(rows), _sentence(s, legs, rows), words)


def _no_rule(s: Situation, legs: Sequence[Leg]) -> str:
    """Why no level can be called legal: no cruising-level rule is kept for a leg; empty where all have one."""
    for leg in legs:
        rules = s.ruleset(leg.start)
        if rules is None or rules.in_force(f"level.{s.request.rules.lower()}", s.day) is None:
            return (f"No cruising-level rules are kept for {leg.start.name} on {s.day.isoformat()}, so no level can be called "
                    "legal; write place = \"USA\", \"Canada\" or \"EASA\" in the request.")
    return ""


def _candidates(s: Situation) -> list[Situation]:
    """The request at every 500 ft between circuit height over the highest aerodrome and the end of the model."""
    first, last = _range_ft(s)
    return [altered(s, {**s.request_data, "cruise_altitude": f"{feet} ft"}) for feet in range(first, last + 1, STEP_FT)]


def _range_ft(s: Situation) -> tuple[int, int]:
    """Lowest and highest candidate, ft: multiples of 500."""
    highest = max((p.elevation_m for p in s.points if p.elevation_m is not None), default=0.0)
    low = float(from_si(highest + usual("circuit_height"), "ft"))
    high = float(from_si(HARD_RANGE_M[1], "ft"))
    last = STEP_FT * math.floor(high / STEP_FT + 4)
    while s.air.pressure_altitude_m(float(to_si(last, "ft"))) > HARD_RANGE_M[1] + 0.5:
        last -= STEP_FT
    return STEP_FT * math.ceil(low / STEP_FT - 1e-9), last


def _legal(margins: Sequence[Margin]) -> bool:
    """Whether the cruising-level rule is known to be obeyed on every leg."""
    return all(m.verdict == WITHIN for m in margins if m.id.startswith("level."))


def _obeys(s: Situation) -> bool:
    """Whether the level obeys the rule on every leg whatever the height above ground."""
    answers = [rules.cruising_level(s.day, s.request.rules, leg.magnetic_course_deg, s.request.cruise_altitude_m, None)
               for leg in s.legs if (rules := s.ruleset(leg.start)) is not None]
    return all(a is not None and a.ok is True for a in answers)


def _judged(s: Situation, legs: Sequence[Leg], margins: Sequence[Margin], judge: Judge) -> tuple[LevelRow, bool]:
    """The row of one level, and whether the climb has ceased there."""
    altitude = s.request.cruise_altitude_m
    where = Figure(float(round(from_si(altitude, "ft"))), "ft")
    freezing = _freezing_m(s)
    above = None if freezing is None else altitude > freezing
    try:
        a = judge(s)
    except (NotPossible, OutOfRange) as error:
        verdict = OUTSIDE if isinstance(error, NotPossible) else NOT_KNOWN
        return LevelRow(where, _obeys(s), verdict, str(error), None, None, None, None, None, _ground(s, legs, margins), above,
                        _oxygen(s)), False
    last = a.timeline[-1] if a.timeline else None
    row = LevelRow(where, _obeys(s), a.verdict, a.sentence, last.elapsed if last else None,
                   last.fuel_used if last else None, last.fuel_left if last else None, a.margins[0] if a.margins else None,
                   sum(m.verdict == OUTSIDE for m in a.margins), _ground(s, legs, a.margins), above, _oxygen(s))
    return row, _ceased(a)


def _ceased(a: Assessment) -> bool:
    """Whether the median climb at the level is nil."""
    climb = next((m for m in a.margins if m.id == "climb.cruise"), None)
    return climb is not None and climb.verdict == OUTSIDE and (climb.available is None or climb.available.value <= 0)


def _ground(s: Situation, legs: Sequence[Leg], margins: Sequence[Margin]) -> tuple[LegGround, ...]:
    """Ground and clearance leg by leg, from the margins terrain.<leg>."""
    by_id = {m.id: m for m in margins}
    found = []
    for leg in legs:
        m, ground = by_id.get(f"terrain.{leg.number + 1}"), highest_ground_m(s, leg.number)
        found.append(LegGround(f"{leg.start.name} to {leg.end.name}", None if ground is None else figure(ground, "ft"),
                               m.available if m else None, m.verdict if m else NOT_KNOWN))
    return tuple(found)


def _freezing_m(s: Situation) -> float | None:
    """The freezing level: the typed one, else that of the air; None: not known."""
    return s.request.freezing_level_m if s.request.freezing_level_m is not None else s.air.freezing_level_m()


def _oxygen(s: Situation) -> tuple[str, ...]:
    """The oxygen rules of the place whose height the level exceeds, by pressure altitude, as they stand in the data."""
    rules = s.ruleset(s.points[0])
    height = s.air.pressure_altitude_m(s.request.cruise_altitude_m)
    return tuple(f"Above {from_si(o.above_m, 'ft'):,.0f} ft pressure altitude oxygen for {o.who}"
                 f"{f' after {o.after_s / 60:.0f} min' if o.after_s else ''}: {o.rule.cite()}."
                 for o in (rules.oxygen(s.day) if rules else ()) if height > o.above_m)


def _rank(row: LevelRow) -> tuple[int, int, float, float]:
    """Best first: verdict; where limits are broken the fewest of them; time; the lower level."""
    return (ORDER.index(row.verdict), row.broken or 0, row.time.value if row.time else math.inf, row.altitude.value)


def _best(s: Situation, rows: Sequence[LevelRow]) -> LevelRow | None:
    """The best row; one below the level asked for, where the ground under a leg is not known, only if no other can be flown."""
    asked = from_si(s.request.cruise_altitude_m, "ft") - 1.0
    seen = [r for r in rows if r.altitude.value >= asked or all(g.highest_ground is not None for g in r.ground)]
    flown = [r for r in seen if r.time is not None] or [r for r in rows if r.time is not None]
    return min(flown, key=_rank, default=None)


def _sentence(s: Situation, legs: Sequence[Leg], rows: Sequence[LevelRow]) -> str:
    if not rows:
        return _none_legal(s, legs)
    best, many = _best(s, rows), f"{len(rows)} legal level{'s' if len(rows) != 1 else ''}"
    if best is None or best.time is None or best.fuel is None:
        return f"None of {many} can be compared by time: {rows[0].sentence}"
    figures = f"{best.altitude.text(0)}, {best.time.text(0)}, {best.fuel.text(1)}"
    if best.verdict == OUTSIDE:
        also = ", the fewest limits are broken" if best.broken else ""
        return f"Outside limits at every one of {many}; least bad{also}: {figures}."
    if best.verdict == NOT_KNOWN:
        return f"Not known at best, of {many}; first by time: {figures}."
    return f"Best of {many}: {figures}: {best.verdict}."


def _none_legal(s: Situation, legs: Sequence[Leg]) -> str:
    """Why no level between the ends is legal on every leg."""
    first, last = _range_ft(s)
    wanted = "; ".join(f"{leg.start.name} to {leg.end.name} {_wanted(s, leg)}" for leg in legs)
    return (f"No level between {first:,} ft and {last:,} ft is known to be legal on every leg: {wanted}. One flight holds one "
            "level: plan the legs as separate flights, or give [ground] highest where the rule leaves low levels free.")


def _wanted(s: Situation, leg: Leg) -> str:
    """The rule of a leg in words."""
    rules = s.ruleset(leg.start)
    answer = rules.cruising_level(s.day, s.request.rules, leg.magnetic_course_deg, STEP_M, None) if rules else None
    return answer.words.partition(";")[0] if answer else ""


def _answer(s: Situation, rows: tuple[LevelRow, ...], sentence: str, words: list[str]) -> Levels:
    freezing = _freezing_m(s)
    if any(r.time for r in rows) and not s.air.known:
        words.append("No winds and temperatures aloft are given: times and fuel are those of calm air, and no fuel is judged.")
    if not all(r.obeys for r in rows):
        typed = " [ground] gives only the highest ground of a leg: over lower ground they may not be free."
        words.append("Levels marked free do not obey the rule and are allowed only within 3,000 ft above the ground."
                     + (typed if s.terrain is None else ""))
    if rows and s.request.rules == "VFR" and any(g.highest_ground is None for r in rows for g in r.ground):
        words.append("The ground is not known on every leg: low levels that the rule leaves free are not listed, and no "
                     "level below the one asked for is called best where another can be flown.")
    if not all(p.elevation_m is not None for p in (s.points[0], s.points[-1])):
        words.append("The elevation of an end of the route is not known: see that the lowest levels lie above it.")
    topics = ["verdict", "fuel", "model", *(["ifr"] if s.request.rules == "IFR" else [])]
    return Levels(s.request.rules, sentence, rows, _best(s, rows), None if freezing is None else figure(freezing, "ft"),
                  tuple(words), cautions_for(topics))
