"""The weight ledger as values and as lines: running empty weight, useful load, what moved, the most adverse loadings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ownship.aeroplane.adverse import PERSON_KG, Adverse
from ownship.aeroplane.weighing import EmptyWeight
from ownship.ownership.ledger import EQUIPMENT, Ledger, Line, Moved
from ownship.words.cautions import cautions_for
from ownship.words.figures import Figure, figure, number_text, signed_text

NOT_KNOWN = "not known"
BAND_SD = 1.645  # 5 and 95 % of a normal error
NOTHING_KEPT = ("No weighing and no aeroplane is kept yet. Keep the aeroplane's record (`ownship weight keep AEROPLANE.toml`), or "
                "enter its last weighing (`ownship weight weigh --weight ... --arm ... --aeroplane REGISTRATION`).")


@dataclass(frozen=True)
class Units:
    """The units of a paper: of weight, arm and moment."""

    mass: str
    length: str
    moment: str

    @property
    def arm_digits(self) -> int:
        """Digits after the point of an arm."""
        return 0 if self.length == "mm" else 2


INCH_POUND = Units("lb", "in", "lb in")
METRIC = Units("kg", "mm", "kg m")


def units_of(metric: bool) -> Units:
    """Kilograms and millimetres, or pounds and inches."""
    return METRIC if metric else INCH_POUND


# ---- values


def ledger_json(book: Ledger, units: Units) -> dict[str, Any]:
    """The answer of `weight` (docs/formats/weight.md)."""
    return {"schema": 1, "aeroplane": book.aeroplane, "on": book.on.isoformat(), "sentence": ledger_sentence(book, units),
            "empty": empty_json(book.empty, units), "useful_load": useful_json(book, units),
            "last_real_weighing": None if book.last_real is None else {
                "day": book.last_real.isoformat(), "age_days": book.age_days},
            "lines": [line_json(x, units) for x in book.lines], "warnings": list(book.warnings), "not_known": list(book.not_known),
            "cautions": list(cautions())}


def nothing_json(aeroplane: str, on: str) -> dict[str, Any]:
    """The answer of an empty record, in the shape of the full one."""
    return {"schema": 1, "aeroplane": aeroplane or None, "on": on, "sentence": NOTHING_KEPT, "empty": None, "useful_load": None,
            "last_real_weighing": None, "lines": [], "warnings": [], "not_known": [NOTHING_KEPT], "cautions": list(cautions())}


def cautions() -> tuple[str, ...]:
    """What stands under every weight."""
    return cautions_for(["load"])


def empty_json(empty: EmptyWeight | None, units: Units) -> dict[str, Any] | None:
    """Empty weight, arm and moment, the two first with their bands; None: not known."""
    if empty is None:
        return None
    weight, arm = _banded(empty.weight_kg, empty.weight_sd_kg, units.mass), _banded(empty.arm_m, empty.arm_sd_m, units.length)
    return {"weight": weight.to_json(), "arm": arm.to_json(),
            "moment": figure(empty.weight_kg * empty.arm_m, units.moment).to_json(), "source": empty.source}


def useful_json(book: Ledger, units: Units) -> dict[str, Any] | None:
    """Useful load with its band; None: not known."""
    if book.useful_load_kg is None or book.empty is None:
        return None
    return _banded(book.useful_load_kg, book.empty.weight_sd_kg, units.mass).to_json()


def _banded(value: float, sd: float, unit: str) -> Figure:
    return figure(value, unit, value - BAND_SD * sd, value + BAND_SD * sd)


def line_json(x: Line, units: Units) -> dict[str, Any]:
    """One line of the ledger."""
    return {"entry": x.number, "day": x.day.isoformat(), "kind": x.kind, "what": x.what,
            "weight": figure(x.weight_kg, units.mass).to_json(), "arm": figure(x.arm_m, units.length).to_json(),
            "moment": figure(x.moment_kg_m, units.moment).to_json(), "source": x.source, "held_by_a_weighing": x.held,
            "after_the_weighing": x.after,
            "found": None if x.found_kg is None or x.found_m is None else {
                "weight": figure(x.found_kg, units.mass).to_json(), "arm": figure(x.found_m, units.length).to_json()},
            "empty_after": empty_json(x.empty, units), "words": x.words}


def moved_json(m: Moved, units: Units) -> dict[str, Any]:
    """One line that an entry moved."""
    def state(s: tuple[float, float] | None) -> dict[str, Any] | None:
        return None if s is None else {"weight": figure(s[0], units.mass).to_json(), "arm": figure(s[1], units.length).to_json()}

    return {"entry": m.number, "what": m.what, "day": m.day.isoformat(), "before": state(m.before), "after": state(m.after)}


# ---- lines


def ledger_sentence(book: Ledger, units: Units) -> str:
    """The answer in one sentence."""
    if book.empty is None:
        return f"{book.aeroplane} on {book.on}: empty weight not known."
    useful = "useful load not known" if book.useful_load_kg is None else f"useful load {weight_text(book.useful_load_kg, units)}"
    state = state_text((book.empty.weight_kg, book.empty.arm_m), units)
    return f"{book.aeroplane} on {book.on}: basic empty weight {state}, {useful}."


def ledger_lines(book: Ledger, units: Units) -> tuple[str, ...]:
    """The ledger as text: the sentence, how it is known, the lines."""
    lines = [ledger_sentence(book, units)]
    if book.empty is not None:
        weight = _banded(book.empty.weight_kg, book.empty.weight_sd_kg, units.mass)
        arm = _banded(book.empty.arm_m, book.empty.arm_sd_m, units.length)
        lines.append(f"  full oil and unusable fuel; {weight.text(1)}, {arm.text(units.arm_digits)}; from the {book.empty.source}")
    age = "none on the record" if book.last_real is None else f"{book.last_real}, {_age(book.age_days or 0)}"
    lines += [f"  last real weighing: {age}", *(f"  {w}" for w in (*book.warnings, *book.not_known))]
    return (*lines, *(line for x in book.lines for line in _line(x, units)), *cautions())


def _age(days: int) -> str:
    return f"{days:,} days ago" if days < 730 else f"{days / 365.25:.1f} years ago"


def _line(x: Line, units: Units) -> list[str]:
    entry = "record" if x.number is None else f"entry {x.number}"
    what = f"{x.what}, held by a later weighing" if x.held else f"{x.what}, after the weighing" if x.after else x.what
    entered = signed_text(in_unit(x.weight_kg, units.mass), 1) if x.kind == EQUIPMENT else number_text(
        in_unit(x.weight_kg, units.mass), 1)
    after = NOT_KNOWN if x.empty is None else state_text((x.empty.weight_kg, x.empty.arm_m), units)
    found = "" if x.found_kg is None or x.found_m is None else (
        f" (the ledger before: {signed_text(in_unit(x.found_kg, units.mass), 1)} {units.mass}, "
        f"{signed_text(in_unit(x.found_m, units.length), units.arm_digits)} {units.length} found)")
    return [f"{x.day}  {entry:10} {what}: {entered} {units.mass} at {arm_text(x.arm_m, units)} -> {after}{found}",
            *([f"            {x.words}"] if x.words else [])]


def moved_lines(moved: tuple[Moved, ...], units: Units) -> tuple[str, ...]:
    """What an entry moved, a line each; one line where it moved nothing."""
    if not moved:
        return ("It moves nothing of what stood before.",)
    return ("It moves:", *(f"  {_moved_name(m)}: {state_text(m.before, units)} -> {state_text(m.after, units)}" for m in moved))


def _moved_name(m: Moved) -> str:
    if m.number is None and m.what == "empty weight":
        return f"the empty aeroplane on {m.day}"
    return f"after {m.what} of {m.day}"


def in_unit(value_si: float, unit: str) -> float:
    """An SI number in a unit."""
    return figure(value_si, unit).value


def weight_text(kg: float, units: Units) -> str:
    """"1,404.6 lb"."""
    return f"{number_text(in_unit(kg, units.mass), 1)} {units.mass}"


def arm_text(m: float, units: Units) -> str:
    """"84.52 in", or in mm without digits."""
    return f"{number_text(in_unit(m, units.length), units.arm_digits)} {units.length}"


def state_text(state: tuple[float, float] | None, units: Units) -> str:
    """"1,404.6 lb at 84.52 in"; None: not known."""
    return NOT_KNOWN if state is None else f"{weight_text(state[0], units)} at {arm_text(state[1], units)}"


# ---- the most adverse loadings


def ends_of(found: Adverse) -> Mapping[str, tuple[float, float, float, tuple[tuple[str, float], ...]]]:
    """(room, sd, weight, load) by end."""
    return {"forward": (found.forward_room_m, found.forward_sd_m, found.forward_weight_kg, found.forward_load),
            "aft": (found.aft_room_m, found.aft_sd_m, found.aft_weight_kg, found.aft_load)}


def adverse_verdict(room_m: float, sd_m: float) -> str:
    """Outside beyond the limit, tight where the empty weight's own error crosses it, else within."""
    if room_m < 0:
        return "outside limits"
    return "tight" if room_m < BAND_SD * sd_m else "within limits"


def adverse_json(category: str, found: Adverse, units: Units) -> dict[str, Any]:
    """The most adverse loadings of a category."""
    return {"category": category, "assumed": list(found.assumed), **{end: {
        "verdict": adverse_verdict(room, sd), "room": _banded(room, sd, units.length).to_json(),
        "weight": figure(weight, units.mass).to_json(),
        "load": [{"place": place, "weight": figure(kg, units.mass).to_json()} for place, kg in load]}
        for end, (room, sd, weight, load) in ends_of(found).items()}}


def adverse_lines(category: str, found: Adverse, units: Units) -> list[str]:
    """The most adverse loadings of a category as text."""
    lines = []
    for end, (room, sd, weight, load) in ends_of(found).items():
        what = ", ".join(f"{place} {weight_text(kg, units)}" for place, kg in load)
        side = "inside" if room >= 0 else "outside"
        lines.append(f"{category}, most {end}: {adverse_verdict(room, sd)}, {arm_text(abs(room), units)} {side} at "
                     f"{weight_text(weight, units)} ({what})")
    if found.assumed:
        most = weight_text(PERSON_KG, units)
        lines.append(f"  no figure for the limit of {', '.join(found.assumed)}: searched to {most} a seat or place")
    return lines
