"""Recency as plain values and as lines of text: state, last day, what is missing, section and status of every rule."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from ownship.ownership.progress import GoalStanding, Pace
from ownship.ownership.recency import Standing, Way
from ownship.rules.recency import RecencyRule, hours

CAUTION = ("A planning aid: it counts what the record holds. The rule itself, your papers and the authority govern; ask an "
           "instructor or an examiner where it matters. A rule from memory or read second-hand must be looked up.")


def standing_json(found: Standing) -> dict[str, Any]:
    """One privilege as plain values; until: the last good day (null: not known or never)."""
    return {"privilege": found.privilege, "state": found.state, "until": _day(found.until), "missing": list(found.missing),
            "rules": list(found.cites), "notes": list(found.notes),
            "ways": [_way_json(w, part.name) for part in found.parts for w in part.ways]}


def _way_json(way: Way, part: str) -> dict[str, Any]:
    counts = [{"words": c.words, "done": _amount(c.done, c.timed), "needed": _amount(c.needed, c.timed),
               "unit": "h" if c.timed else "1", "within": c.within, "until": _day(c.until)} for c in way.counts]
    return {"part": part, "state": way.state, "until": _day(way.until), "counts": counts, **_rule_json(way.rule)}


def _rule_json(rule: RecencyRule) -> dict[str, Any]:
    return {"id": rule.id, "section": rule.section, "source": rule.source.text, "status": rule.source.status,
            "source_date": rule.source.date, "effective_from": rule.effective_from.isoformat(),
            "effective_to": _day(rule.effective_to), "applies_if": rule.applies_if}


def goal_json(found: GoalStanding) -> dict[str, Any]:
    """One rating as plain values."""
    steps = [{"words": s.words, "done": _amount(s.done, s.timed), "needed": _amount(s.needed, s.timed),
              "missing": _amount(s.left, s.timed), "unit": "h" if s.timed else "1", **_pace_json(s.pace)} for s in found.steps]
    return {"rating": found.goal.rating, "held": found.held, "steps": steps, **_pace_json(found.pace),
            "also": list(found.goal.also), "notes": list(found.notes), "section": found.goal.section,
            "source": found.goal.source.text, "status": found.goal.source.status}


def _pace_json(pace: Pace) -> dict[str, Any]:
    return {"early": _day(pace.early), "likely": _day(pace.likely), "late": _day(pace.late)}


def place_json(place: str, standings: Sequence[Standing], goals: Sequence[GoalStanding], notes: Sequence[str]) -> dict[str, Any]:
    """A place's answer for one pilot."""
    return {"place": place, "privileges": [standing_json(s) for s in standings], "ratings": [goal_json(g) for g in goals],
            "notes": list(notes)}


def recency_lines(answer: Mapping[str, Any]) -> list[str]:
    """The answer of `recency` (its JSON) as lines."""
    lines = [answer["sentence"]]
    for pilot in answer["pilots"]:
        lines += ["", f"{pilot['pilot'] or 'flights without a name'} on {answer['on']}, {answer['aeroplane_class']}"]
        lines += [f"  note: {n}" for n in pilot["notes"]]
        for place in pilot["places"]:
            lines += _place_lines(place)
    return [*lines, "", answer["caution"]]


def _place_lines(place: Mapping[str, Any]) -> list[str]:
    lines = [f"  {place['place']}"]
    for p in place["privileges"]:
        lines.append(f"    {p['privilege']}: {_state(p)}")
        lines += [f"      missing: {m}" for m in p["missing"]]
        lines += [f"      rule: {r}" for r in p["rules"]]
        lines += [f"      note: {n}" for n in p["notes"]]
    lines += [f"    note: {n}" for n in place["notes"]]
    for rating in place["ratings"]:
        lines += _rating_lines(rating)
    return lines


def _state(p: Mapping[str, Any]) -> str:
    if p["until"] is None:
        return str(p["state"])
    if p["state"] == "current":
        return f"current until {p['until']}, that day included"
    return f"{p['state']}; the last good day was {p['until']}"


def _rating_lines(rating: Mapping[str, Any]) -> list[str]:
    if rating["held"]:
        return [f"    next rating, {rating['rating']}: held"]
    lines = [f"    next rating, {rating['rating']}: {_when(rating)}"]
    for s in rating["steps"]:
        unit = " h" if s["unit"] == "h" else ""
        left = f"{s['missing']:g}{unit} missing, {_when(s)}" if s["missing"] > 0 else "done"
        lines.append(f"      {s['words']}: {s['done']:g} of {s['needed']:g}{unit}; {left}")
    lines += [f"      also, not counted: {x}" for x in rating["also"]]
    lines += [f"      note: {n}" for n in rating["notes"]]
    status = "" if rating["status"] == "read" else f", {rating['status']}"
    return [*lines, f"      rule: {rating['section']} ({rating['source']}{status})"]


def _when(pace: Mapping[str, Any]) -> str:
    if pace["likely"] is None:
        return "not at the present pace, or not known"
    if pace["early"] == pace["likely"] == pace["late"]:
        return f"at the present pace by {pace['likely']}"
    return f"at the present pace about {pace['likely']} ({pace['early']} to {pace['late'] or 'open'}, 5 to 95 %)"


def _amount(value: float, timed: bool) -> float:
    return round(hours(value), 2) if timed else value


def _day(day: date | None) -> str | None:
    return None if day is None else day.isoformat()

