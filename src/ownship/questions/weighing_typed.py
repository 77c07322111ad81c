"""Words of the command line for the weight ledger: quantities, days and scales, into entries."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any

from ownship.errors import BadInput
from ownship.ownership.entries import EquipmentChange, Weighing
from ownship.questions.places import today
from ownship.units import parse

EARLIEST = date(1903, 12, 17)

LEAST_SCALES = 3


@dataclass(frozen=True)
class Typed:
    """What was typed of an entry, as text; None: not said."""

    weight: str | None = None
    arm: str | None = None
    day: str | None = None
    by: str | None = None
    what: str | None = None
    removed: bool = False
    oil: str | None = None
    fuel: str | None = None
    density: str | None = None
    scales: tuple[str, ...] = ()
    after: bool | None = None


def said_order(after: bool, before: bool) -> bool | None:
    """Whether --after-weighing or --before-weighing was said; None: neither; both are refused."""
    if after and before:
        raise BadInput("--after-weighing and --before-weighing are both said; leave out one of the two.")
    return True if after else False if before else None


def change_of(t: Typed) -> EquipmentChange:
    """What was put in or taken out, from words of the command line; no day: today."""
    if t.weight is None or t.arm is None:
        lacking = "its arm" if t.weight is not None else "its weight"
        raise BadInput(f"The entry {t.what!r} is without {lacking}; give --weight and --arm, such as --weight \"5.6 lb\" --arm "
                       "\"56.5 in\".")
    weight = _mass(t.weight, "--weight")
    if weight < 0 and t.removed:
        raise BadInput(f"--weight: {t.weight!r} is below 0 and --removed says so too; leave out one of the two.")
    what = " ".join((t.what or "").split())
    return EquipmentChange(day_of(t.day, "--day"), what, -weight if t.removed else weight, _arm(t.arm), t.by or "", bool(t.after))


def weighing_of(t: Typed, weighed: bool) -> Weighing:
    """A weighing or a computed paper, from words of the command line; no day: today."""
    scales = tuple(_scale(x) for x in t.scales)
    density = None if t.density is None else parse(t.density, "density", "--density")
    weight, arm = _weight_and_arm(t, scales)
    return Weighing(day_of(t.day, "--day"), weighed, weight, arm, t.oil or "full", t.fuel or "unusable", t.by or "", density,
                    scales)


def _weight_and_arm(t: Typed, scales: tuple[tuple[float, float, float], ...]) -> tuple[float, float]:
    from ownship.aeroplane.description import Reading
    from ownship.aeroplane.weighing import weigh as summed

    if scales:
        if t.weight is not None or t.arm is not None:
            raise BadInput("A weighing is given by --reading or by --weight and --arm; leave out one of the two.")
        mass = summed(Reading(*s) for s in scales)
        if len(scales) < LEAST_SCALES:
            raise BadInput(f"An aeroplane stands on three scales or more and {len(scales)} given: give each as --reading.")
        return mass.weight_kg, mass.arm_m
    if t.weight is None or t.arm is None:
        lacking = "its arm" if t.weight is not None else "its weight"
        raise BadInput(f"The weighing is without {lacking}; give --weight and --arm, or each scale as --reading GROSS-TARE@ARM, "
                       "such as --reading 508lb-4lb@105.2in.")
    return _mass(t.weight, "--weight"), _arm(t.arm)


def _scale(text: str) -> tuple[float, float, float]:
    """(gross, tare, arm) of "508lb-4lb@105.2in"."""
    weights, at, arm = text.partition("@")
    gross, minus, tare = weights.partition("-")
    if not at:
        raise BadInput(f"--reading: {text!r} is without its arm; write GROSS-TARE@ARM, such as 508lb-4lb@105.2in.")
    return _mass(gross, "--reading"), _mass(tare, "--reading") if minus else 0.0, _arm(arm, "--reading")


def corrected(body: Weighing | EquipmentChange, t: Typed) -> Weighing | EquipmentChange:
    """The body with what was typed in its place."""
    new: dict[str, Any] = {} if t.day is None else {"day": day_of(t.day, "--day")}
    new |= {} if t.by is None else {"by": t.by}
    new |= {} if t.arm is None else {"arm_m": _arm(t.arm)}
    if isinstance(body, EquipmentChange):
        if t.oil or t.fuel or t.density or t.scales:
            raise BadInput("--oil, --fuel, --density and --reading are of a weighing; this entry is a change of equipment.")
        weight = abs(body.weight_kg) if t.weight is None else _mass(t.weight, "--weight")
        gone = t.removed or (t.weight is None and body.weight_kg < 0)
        what = body.what if t.what is None else " ".join(t.what.split())
        found = replace(body, **new, weight_kg=-weight if gone and weight > 0 else weight, what=what)
        after = body.after_weighing and found.day == body.day if t.after is None else t.after
        return replace(found, after_weighing=after)
    if t.removed or t.what is not None or t.after is not None:
        raise BadInput("--removed, --what, --after-weighing and --before-weighing are of a change of equipment; this entry is a "
                       "weighing.")
    if t.scales:
        scales = tuple(_scale(x) for x in t.scales)
        new["weight_kg"], new["arm_m"] = _weight_and_arm(t, scales)
        new["scales"] = scales
    elif t.weight is not None or t.arm is not None:
        new["scales"] = ()
    new |= {} if t.weight is None else {"weight_kg": _mass(t.weight, "--weight")}
    new |= {} if t.density is None else {"density_kg_m3": parse(t.density, "density", "--density")}
    return replace(body, **new, oil=t.oil or body.oil, fuel=t.fuel or body.fuel)


def _mass(text: str, option: str) -> float:
    return parse(text, "mass", option)


def _arm(text: str, option: str = "--arm") -> float:
    return parse(text, "length", option)


def day_of(text: str | None, option: str) -> date:
    """A day that was typed, today where none was."""
    if text is None:
        return today()
    try:
        found = date.fromisoformat(text.strip())
    except ValueError:
        raise BadInput(f"{option}: {text!r} is no date; write it as 2026-07-11.") from None
    if not EARLIEST <= found <= date(2150, 1, 1):
        raise BadInput(f"{option}: {text!r} is not believable; allowed is 1903-12-17 to 2150-01-01.")
    return found


def noon(day: date) -> datetime:
    """The moment under which what belongs to a day is kept: noon UTC."""
    return datetime.combine(day, time(12), UTC)


def target_of(path: str | None) -> Path | None:
    """Where a paper is to be written; refused before any work where it cannot be."""
    if path is None:
        return None
    found = Path(path).absolute()
    if found.is_dir() or not found.parent.is_dir():
        raise BadInput(f"--out: {path} is a folder or lies in none; name a file in a folder that is there.")
    return found
