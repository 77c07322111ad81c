"""Weighings: scales to weight and CG, shifting, adding, ballast, and the empty aeroplane of a date."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import cache

from ownship.aeroplane.description import AirframeRecord, Equipment, Reading, Weighing
from ownship.errors import MissingKey, NotPossible
from ownship.provenance import datum, package_toml

DAYS_A_YEAR = 365.25


@dataclass(frozen=True)
class Mass:
    """A weight (kg), its moment (kg m) and its arm (m); arms positive aft of the datum."""

    weight_kg: float
    moment_kg_m: float

    @property
    def arm_m(self) -> float:
        """CG: moment over weight."""
        return self.moment_kg_m / self.weight_kg


def weigh(readings: Iterable[Reading]) -> Mass:
    """Sum of scales: W = sum(gross - tare), moment = sum((gross - tare) arm). Checks: WB-01..07."""
    scales = list(readings)
    if any(r.tare_kg > r.gross_kg for r in scales):
        raise NotPossible("A tare is more than its gross weight; correct the reading.")
    weight = sum(r.gross_kg - r.tare_kg for r in scales)
    if weight <= 0:
        raise NotPossible("The scales add up to nothing; correct gross and tare weights.")
    return Mass(weight, sum((r.gross_kg - r.tare_kg) * r.arm_m for r in scales))


def shift(start: Mass, moved_kg: float, from_m: float, to_m: float) -> Mass:
    """Move a weight: moment + w (to - from). Checks: WB-17, WB-20."""
    return Mass(start.weight_kg, start.moment_kg_m + moved_kg * (to_m - from_m))


def add(start: Mass, items: Iterable[tuple[float, float]]) -> Mass:
    """Add (or with a negative weight remove) items (weight, arm). Checks: WB-19, WB-21, WB-23."""
    listed = list(items)
    weight = start.weight_kg + sum(w for w, _ in listed)
    if weight <= 0:
        raise NotPossible("More is taken away than the aeroplane weighs; correct the items.")
    return Mass(weight, start.moment_kg_m + sum(w * a for w, a in listed))


def ballast_kg(weight_kg: float, arm_m: float, target_m: float, at_m: float) -> float:
    """Ballast that brings the CG to a target: W (target - CG)/(at - target). Check: WB-25."""
    if abs(at_m - target_m) < 1e-9:
        raise NotPossible("Ballast at the wanted CG itself moves nothing; choose another station.")
    needed = weight_kg * (target_m - arm_m) / (at_m - target_m)
    if needed < 0:
        raise NotPossible("Ballast there would move the CG the wrong way; choose a station on the other side.")
    return needed


@dataclass(frozen=True)
class InputErrors:
    """Usual errors of what goes in, one sd each (data/errors.toml)."""

    weighed_item_kg: float
    guessed_person_kg: float
    guessed_baggage_1: float
    fuel_full_m3: float
    fuel_mark_m3: float
    fuel_dipstick_m3: float
    fuel_clock_1: float
    fuel_gauge_1: float
    weighing_kg: float
    weighing_arm_m: float
    computed_kg: float
    computed_arm_m: float
    year_kg: float
    old_s: float


@cache
def usual_errors() -> InputErrors:
    """The start values of the package."""
    root = package_toml("errors.toml")
    def value(name: str, dimension: str) -> float:
        table = root.table(name, needed=True)
        assert table is not None
        return datum(table, dimension).value

    errors = InputErrors(
        value("weighed_item", "mass"), value("guessed_person", "mass"), value("guessed_baggage", "ratio"),
        value("fuel_full", "volume"), value("fuel_mark", "volume"), value("fuel_dipstick", "volume"),
        value("fuel_clock", "ratio"), value("fuel_gauge", "ratio"), value("weighing_weight", "mass"),
        value("weighing_arm", "length"), value("computed_weight", "mass"), value("computed_arm", "length"),
        value("weight_per_year", "mass"), value("old_weighing", "time"))
    root.done()
    return errors


@dataclass(frozen=True)
class EmptyWeight:
    """The basic empty aeroplane of a date: full oil, unusable fuel; errors one sd; what is to be said of it."""

    weight_kg: float
    arm_m: float
    weight_sd_kg: float
    arm_sd_m: float
    source: str
    weighed_on: date | None
    warnings: tuple[str, ...]


def empty_weight(record: AirframeRecord, on: date, errors: InputErrors | None = None) -> EmptyWeight:
    """Basic empty weight and arm on a date: the latest weighing, oil and fuel brought to full oil and unusable
    fuel, and every equipment entry since.

    Equipment counts from the day after the weighing: what changed on the day itself is taken to be in it, unless it says
    that it came after the weighing.
    MissingKey where no weighing is on or before the date, or where a correction lacks tank or oil data. The error
    is that of a weighing (3 lb, 0.05 in) or of a computed paper (10 lb, 0.3 in) plus 1 lb for every year since the
    aeroplane was last on scales: a computed paper does not take the years away. Drained oil is replaced by the whole
    capacity, the undrainable part twice where a weighing held it: heavier, never lighter.
    """
    errors = errors or usual_errors()
    past = [w for w in record.weighings if w.date <= on]
    if not past:
        raise MissingKey(f"The airframe record has no weighing on or before {on.isoformat()}; add one to [[weighings]].")
    latest = past[-1]
    later = [e for e in record.equipment if e.date <= on and not held(e, latest.date)]
    mass = add(Mass(latest.weight_kg, latest.weight_kg * latest.arm_m), _corrections(record, latest))
    mass = add(mass, [(e.weight_kg, e.arm_m) for e in later])
    base = (errors.weighing_kg, errors.weighing_arm_m) if latest.weighed else (errors.computed_kg, errors.computed_arm_m)
    real = [w for w in past if w.weighed]
    years = (on - (real[-1] if real else past[0]).date).days / DAYS_A_YEAR
    return EmptyWeight(mass.weight_kg, mass.arm_m, base[0] + errors.year_kg * years, base[1],
                       f"weighing of {latest.date.isoformat()}" + (f" and {len(later)} changes since" if later else ""),
                       real[-1].date if real else None, _warnings(latest, real, on, errors))


def held(e: Equipment, weighed_on: date) -> bool:
    """Whether a weighing of a day holds a change: one of an earlier day, or of the same day and not after it."""
    return e.date < weighed_on or (e.date == weighed_on and not e.after_weighing)


def _corrections(record: AirframeRecord, w: Weighing) -> list[tuple[float, float]]:
    """Oil and fuel that bring a weighing to full oil and unusable fuel, as (weight, arm)."""
    items: list[tuple[float, float]] = []
    if w.oil != "full":
        if record.oil is None:
            raise MissingKey(f"The weighing of {w.date.isoformat()} is without oil, and the record has no [oil]; add it.")
        items.append((record.oil.capacity_m3 * record.oil.density_kg_m3, record.oil.arm_m))
    if w.fuel != "unusable" and (not record.tanks or record.fuel is None):
        raise MissingKey(f"The weighing of {w.date.isoformat()} needs [[tanks]] and [fuel] to be corrected; add them.")
    for tank in record.tanks:
        if w.fuel == "drained":
            assert record.fuel is not None
            items.append((tank.unusable_m3 * record.fuel.density_kg_m3, tank.arm_m))
        elif w.fuel == "usable full":
            assert w.density_kg_m3 is not None
            items.append((-tank.usable_m3 * w.density_kg_m3, tank.arm_m))
    return items


def _warnings(latest: Weighing, real: list[Weighing], on: date, errors: InputErrors) -> tuple[str, ...]:
    found = []
    if not latest.weighed:
        found.append(f"The weight and balance of {latest.date.isoformat()} was computed, not weighed.")
    if not real:
        found.append("No real weighing is on the record.")
    elif (on - real[-1].date).days * 86400.0 > errors.old_s:
        found.append(f"The last real weighing is of {real[-1].date.isoformat()}, more than ten years old.")
    return tuple(found)
