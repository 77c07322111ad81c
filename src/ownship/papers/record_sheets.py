"""What the record answers, laid out as papers: maintenance list, year's costs, amendment draft, performance card."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from itertools import groupby
from typing import Any

from ownship.ownership.amendment import Amendment
from ownship.papers.amendment import COMPUTED, DRAFT, HEAD, SIGNED, amendment_sentence
from ownship.papers.cards import CAUTION
from ownship.papers.costs import money_text
from ownship.papers.sheets import Section, Sheet, rows_of
from ownship.papers.weight import Units, arm_text, cautions, in_unit, weight_text
from ownship.words.figures import number_text

SIGN_FIELDS = ("Name", "Licence or certificate number", "Approved data used", "Signature", "Date")


def maintenance_sheet(told: Mapping[str, Any]) -> Sheet:
    """What is due, the most pressing first, and what ends; of the values that `maintenance --json` gives."""
    items = rows_of((i["state"], i["title"], "; ".join(i["words"]), i["due"] or "-", _hours(i["due_h"]), i["due_landings"] or "-",
                     i["section"] or "-", i["status"]) for i in told["items"])
    ends = rows_of((e["state"], e["what"], e["last_day"], e["left_days"]) for e in told["endings"])
    totals = told.get("totals") or {}
    now = [f"Air time {_hours(totals.get('air_time_h'))}, landings {totals.get('landings') or 'not known'}.",
           *totals.get("words", ())]
    parts = [Section("Totals", tuple(now)),
             Section("Due", () if items else ("Nothing is kept that falls due.",),
                     ("state", "item", "by", "day", "air time", "landings", "section", "known"), items, (1, 2)),
             Section("Ends", () if ends else ("Nothing is kept that ends.",), ("state", "what", "last good day", "days left"), ends,
                     (1,))]
    return Sheet("Maintenance list", told["aeroplane"], date.fromisoformat(told["on"]), tuple(parts),
                 "Worked out from what is kept; the aeroplane's own records and licensed people govern.",
                 cautions=tuple(told["cautions"]))


def _hours(value: float | None) -> str:
    return "not known" if value is None else f"{number_text(value, 1)} h"


def costs_sheet(told: Mapping[str, Any], charts: Sequence[str] = ()) -> Sheet:
    """The year in money: each currency by itself; of the values that `costs --json` gives, with the year drawn."""
    parts = []
    for year in told["years"]:
        groups = [k for k in year["months"][0] if k not in ("month", "running")] if year["months"] else []
        rows = rows_of((m["month"], *(m[g] for g in groups), m["running"]) for m in year["months"])
        parts.append(Section(f"{year['year']} in {year['currency']}: {money_text(year['total'])}", tuple(year["words"]),
                             ("month", *groups, "running"), rows, tuple(range(len(groups) + 2))))
    for table in told["currencies"]:
        keys = ("fixed_a_year", "one_more_hour", "a_year", "an_hour")
        rows = rows_of((number_text(r["hours"]), *(money_text(r[k]) for k in keys)) for r in table["rows"])
        heads = ("hours a year", "fixed", "one more hour", "a year", "an hour")
        parts.append(Section(f"An hour and a year in {table['currency']}", (), heads, rows, (0, 1, 2, 3, 4)))
    parts += [Section("The year drawn", chart=svg) for svg in charts]
    words = (*told["words"], *(f"Missing: {m}" for m in told["missing"]))
    return Sheet("Costs", told["aeroplane"] or "all aeroplanes", date.fromisoformat(told["on"]),
                 (Section("In words", words), *parts) if words else tuple(parts), cautions=tuple(told["cautions"]))


def amendment_sheet(a: Amendment, units: Units) -> Sheet:
    """The draft for the licensed person, unsigned: before, out and in, after."""
    def row(what: str, kg: float, arm_m: float | None, moment: float) -> tuple[str, ...]:
        return (what, number_text(in_unit(kg, units.mass), 2), "" if arm_m is None else arm_text(arm_m, units),
                number_text(in_unit(moment, units.moment), 1))

    before, after, who = a.before, a.after, a.ledger.record.identity
    change = after.weight_kg * after.arm_m - before.weight_kg * before.arm_m
    rows = [row(f"Before, {before.source}", before.weight_kg, before.arm_m, before.weight_kg * before.arm_m),
            *(row(f"{'Taken out' if x.weight_kg < 0 else 'Put in'} {x.day}: {x.what}", x.weight_kg, x.arm_m, x.moment_kg_m)
              for x in a.items),
            row("All items", a.weight_change_kg, None, change), row("After, computed", after.weight_kg, after.arm_m,
                                                                    after.weight_kg * after.arm_m)]
    useful = [a.useful_load_kg(x) for x in (before, after)]
    told = "Useful load: not known: the record has no maximum take-off weight." if None in useful else \
        f"Useful load: {weight_text(useful[0] or 0.0, units)} before, {weight_text(useful[1] or 0.0, units)} after."
    rules = rows_of((j.rule.place, j.rule.section, j.verdict, f"{j.why}. There: {j.rule.words}", j.rule.source.status)
                    for j in a.judged)
    real = f"Last real weighing: {a.ledger.last_real or 'none on the record'}."
    parts = (Section("Empty weight and arm", (COMPUTED,), ("what", units.mass, f"arm, {units.length}", units.moment), tuple(rows)),
             Section("What follows", (told, real, *a.ledger.warnings)),
             Section("What places want", (), ("place", "section", "verdict", "why", "known"), rules, (1, 3)),
             Section("When signed", (SIGNED,)))
    kind = f"Type {who.type_name or 'not known'}, serial {who.serial or 'not known'}. Supersedes the figures of {a.since}. "
    return Sheet("Weight and balance amendment", a.ledger.aeroplane, a.ledger.on, parts, kind + amendment_sentence(a, units), HEAD,
                 SIGN_FIELDS, tuple(cautions()), foot=f"{DRAFT}: {a.ledger.aeroplane}")


def performance_sheet(rows: Iterable[Any], title: str, aeroplane: str, day: date) -> Sheet:
    """The performance card, a table a topic, every figure with its band; `rows` as performance/card gives them."""
    parts = [_table(str(table), tuple(group)) for table, group in groupby(rows, key=lambda r: r.table)]
    return Sheet("Performance card", aeroplane, day, tuple(parts), title, cautions=(CAUTION,))


def _table(name: str, rows: Sequence[Any]) -> Section:
    """One topic: a line for each set of conditions, a column for each figure, in the order they come."""
    conditions, quantities = (tuple(dict.fromkeys(x)) for x in ([r.conditions for r in rows], [r.quantity for r in rows]))
    cells = {(r.conditions, r.quantity): _figure(r) for r in rows}
    body = tuple((c, *(cells.get((c, q), "") for q in quantities)) for c in conditions)
    return Section(name.capitalize(), (), ("conditions", *quantities), body, tuple(range(1 + len(quantities))))


def _figure(r: Any) -> str:
    digits = 1 if r.unit == "usgal/h" else 0
    told = "cannot" if math.isnan(r.value) else f"{r.value:,.{digits}f} {r.unit} ({r.low:,.{digits}f} to {r.high:,.{digits}f})"
    return f"{told}; {r.note}" if r.note else told
