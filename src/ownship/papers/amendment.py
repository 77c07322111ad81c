"""The amendment paper: a draft for the licensed person, unsigned; before, items out and in, after. Plain text and CSV."""

from __future__ import annotations

import csv
import io
from typing import Any

from ownship.aeroplane.weighing import EmptyWeight
from ownship.ownership.amendment import Amendment, Judged
from ownship.ownership.ledger import Line
from ownship.papers.weight import Units, cautions, empty_json, in_unit, line_json, useful_json, weight_text
from ownship.words.figures import figure, number_text, signed_text

WIDTH = 100
DRAFT = "DRAFT, UNSIGNED"
HEAD = (f"{DRAFT}: an aid to the licensed person, who checks every figure against the aeroplane and approved data and signs, or "
        "does not. It counts for nothing before that.")
COMPUTED = ("Computed from the last weighing or paper and the items below, not weighed. Basic empty weight: full oil and unusable "
            "fuel. Arms from the datum of the aeroplane's record, aft positive.")
SIGNED = ("When it is signed, enter it by `ownship weight weigh --computed` with the weight and arm signed for; it stays a "
          "computed paper, and the last real weighing stays what it was.")
BLANK = "." * 46


def amendment_json(a: Amendment, units: Units) -> dict[str, Any]:
    """The paper as values (docs/formats/weight.md); status says that it is an unsigned draft."""
    return {"schema": 1, "aeroplane": a.ledger.aeroplane, "on": a.ledger.on.isoformat(), "status": DRAFT,
            "sentence": amendment_sentence(a, units), "since": a.since.isoformat(), "before": empty_json(a.before, units),
            "items": [line_json(x, units) for x in a.items], "after": empty_json(a.after, units),
            "useful_load_after": useful_json(a.ledger, units),
            "change": {"weight": figure(a.weight_change_kg, units.mass).to_json(),
                       "arm": figure(a.arm_change_m, units.length).to_json()},
            "rules": [{"place": j.rule.place, "section": j.rule.section, "status": j.rule.source.status, "words": j.rule.words,
                       "verdict": j.verdict, "why": j.why} for j in a.judged],
            "warnings": list(a.ledger.warnings), "cautions": [HEAD, *cautions()]}


def amendment_sentence(a: Amendment, units: Units) -> str:
    """What changed, in one sentence."""
    count = "1 item" if len(a.items) == 1 else f"{len(a.items)} items"
    return (f"{DRAFT}: {count} since {a.since} change the empty weight of {a.ledger.aeroplane} by "
            f"{_signed(a.weight_change_kg, units.mass)} and its arm by {_signed(a.arm_change_m, units.length)}.")


def _signed(value_si: float, unit: str) -> str:
    return f"{signed_text(in_unit(value_si, unit), 2)} {unit}"


def amendment_lines(a: Amendment, units: Units) -> tuple[str, ...]:
    """The paper as lines of text, with room for signature and certificate."""
    who = a.ledger.record.identity
    lines = ["WEIGHT AND BALANCE AMENDMENT", *_wrapped(HEAD), "",
             f"Registration {a.ledger.aeroplane}   Type {who.type_name or '.' * 20}   Serial {who.serial or '.' * 20}",
             f"As of {a.ledger.on}   Supersedes the figures of {a.since}", *_wrapped(COMPUTED), ""]
    lines += _table(a, units)
    lines += ["", *_limits(a, units), "", "What places want", *(line for j in a.judged for line in _rule(j))]
    lines += ["", *(line for w in a.ledger.warnings for line in _wrapped(f"Note: {w}")), *_wrapped(SIGNED), ""]
    for field in ("Name", "Licence or certificate number", "Approved data used", "Signature", "Date"):
        lines.append(f"{field:32}{BLANK}")
    return (*lines, "", DRAFT)


def _table(a: Amendment, units: Units) -> list[str]:
    head = f"{'':44}{units.mass:>12}{'arm ' + units.length:>14}{units.moment:>18}"
    out, in_ = ([x for x in a.items if (x.weight_kg < 0) == gone] for gone in (True, False))
    lines = [head, _row(f"Before, {a.before.source}", *_figures(a.before), units)]
    for title, items in (("Taken out", out), ("Put in", in_)):
        lines += [title, *(_row(f"  {x.day} {x.what}", x.weight_kg, x.arm_m, x.moment_kg_m, units) for x in items)] if items else []
    change = a.after.weight_kg * a.after.arm_m - a.before.weight_kg * a.before.arm_m
    return [*lines, _row("All items", a.weight_change_kg, None, change, units),
            _row("After, computed", *_figures(a.after), units)]


def _figures(e: EmptyWeight) -> tuple[float, float, float]:
    return e.weight_kg, e.arm_m, e.weight_kg * e.arm_m


def _row(what: str, weight_kg: float, arm_m: float | None, moment: float, units: Units) -> str:
    arm = "" if arm_m is None else number_text(in_unit(arm_m, units.length), units.arm_digits)
    figures = (f"{number_text(in_unit(weight_kg, units.mass), 2):>12}{arm:>14}"
               f"{number_text(in_unit(moment, units.moment), 1):>18}")
    head, *rest = _wrapped(what, 43)
    return "\n".join([f"{head:44}{figures}", *(f"    {r}" for r in rest)])


def _limits(a: Amendment, units: Units) -> list[str]:
    """Useful load before and after, and how exact the new figures are."""
    before, after = a.useful_load_kg(a.before), a.useful_load_kg(a.after)
    real = a.ledger.last_real
    told = "not known: the record has no maximum take-off weight" if before is None or after is None else (
        f"{weight_text(before, units)} before, {weight_text(after, units)} after")
    return [f"Useful load: {told}", f"Last real weighing: {real or 'none on the record'}"]


def _rule(j: Judged) -> list[str]:
    status = "" if j.rule.source.status == "read" else f", known {j.rule.source.status}"
    return _wrapped(f"  {j.rule.place}, {j.rule.section}{status}: {j.verdict} ({j.why}). There: {j.rule.words}.")


def _wrapped(text: str, width: int = WIDTH) -> list[str]:
    from textwrap import wrap

    indent = " " * (len(text) - len(text.lstrip()))
    return wrap(text, width, subsequent_indent=indent) or [""]


def amendment_csv(a: Amendment, units: Units) -> str:
    """The same as CSV: a line for before, each item and after; every line says that it is a draft. Texts begin no formula."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    mark = units.moment.replace(" ", "_")
    writer.writerow(["status", "aeroplane", "part", "day", "what", f"weight_{units.mass}", f"arm_{units.length}", f"moment_{mark}"])

    def row(part: str, day: Any, what: str, *figures: float) -> None:
        shown = [round(in_unit(f, u), 6) for f, u in zip(figures, (units.mass, units.length, units.moment), strict=True)]
        writer.writerow([DRAFT, a.ledger.aeroplane, part, day, _plain(what), *shown])

    row("before", a.since, a.before.source, *_figures(a.before))
    for x in a.items:
        row(_part(x), x.day, x.what, x.weight_kg, x.arm_m, x.moment_kg_m)
    row("after", a.ledger.on, "computed, not weighed", *_figures(a.after))
    return out.getvalue()


def _part(x: Line) -> str:
    return "out" if x.weight_kg < 0 else "in"


def _plain(text: str) -> str:
    """Text that no table program takes for a formula."""
    return f"'{text}" if text[:1] in "=+-@\t\r" else text
