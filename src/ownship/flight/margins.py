"""The one rule of margins: what is available against what is required, and the verdict of it.

Four forms (docs/methods/margins.md): distances (covered and doubly covered), amounts with a band and no
factor, exact limits, and facts that are missing. Quantities are SI until they become a `Figure`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ownship.units import from_si, to_si
from ownship.words.figures import Figure, figure
from ownship.words.verdicts import ADVICE, NOT_KNOWN, ORDER, OUTSIDE, TIGHT, WITHIN, Kind, Verdict

FloatArray = NDArray[np.float64]
Z_90 = 1.6448536269514722  # 5 and 95 % points of a normal: what a band shows


@dataclass(frozen=True)
class ChainStep:
    """One number of a chain: what it is, its value as a text ("x 1.20", "1,240 ft") and its source."""

    name: str
    value: str
    source: str = ""


@dataclass(frozen=True)
class Margin:
    """One limit judged. `margin` positive = room left; `allowance_1` = margin over its customary allowance.

    For distances `required` is covered, `doubly` beside it, `needed` the unfactored distance with its band. `inside`:
    what is left, in the unit of `margin`, until the verdict is no longer within; None where no number decides.
    """

    id: str
    name: str
    kind: Kind
    verdict: Verdict
    source: str
    place: str = ""
    moment: datetime | None = None
    available: Figure | None = None
    required: Figure | None = None
    doubly: Figure | None = None
    needed: Figure | None = None
    margin: Figure | None = None
    chance: float | None = None
    allowance_1: float | None = None
    words: str = ""
    checks: tuple[str, ...] = ()
    chain: tuple[ChainStep, ...] = field(default_factory=tuple)
    inside: float | None = None


@dataclass(frozen=True)
class About:
    """What every margin says of itself before it is judged."""

    id: str
    name: str
    kind: Kind
    source: str
    place: str = ""
    moment: datetime | None = None
    checks: tuple[str, ...] = ()
    chain: tuple[ChainStep, ...] = ()
    words: str = ""


# The published rows (tests/published) that the calculation behind each margin is checked against, by the head of its id.
_LOAD = ("WB-01", "WB-21", "WB-23")
_DISTANCES = ("PF-14", "TF-04", "TF-05", "handbook-b")
CHECKS = {
    "weight": _LOAD, "cg": _LOAD, "station": _LOAD, "group": _LOAD, "imbalance": ("WB-23",),
    "runway": _DISTANCES, "obstacle": ("handbook-b",), "go_around": ("handbook-b",),
    "gradient": ("handbook-b",), "climb": ("naca-tr640", "handbook-b"), "crosswind": ("NV-01", "NV-02"),
    "level": ("NV-16",), "fuel": ("FU-01", "FU-05", "handbook-b"), "night": ("SU-07",), "terrain": ("AT-01",),
}


def checks_of(id_: str) -> tuple[str, ...]:
    """Ids of the check values behind a margin; empty where it rests on typed figures alone."""
    return CHECKS.get(id_.split(".", maxsplit=1)[0], ())


def _margin(about: About, verdict: Verdict, **rest: object) -> Margin:
    if about.kind == ADVICE and verdict == OUTSIDE:
        verdict = TIGHT
    words = " ".join(w for w in (about.words, str(rest.pop("words", ""))) if w)
    return Margin(about.id, about.name, about.kind, verdict, about.source, about.place, about.moment,
                  checks=about.checks or checks_of(about.id), chain=about.chain, words=words, **rest)  # type: ignore[arg-type]


def distance(about: About, available_m: float, median_m: float, covered_m: float, doubly_m: float,
             draws_m: FloatArray, unit: str = "ft") -> Margin:
    """A distance: outside if available < covered, within if available >= doubly, else tight.

    median_m: unfactored distance needed; draws_m: (draw,) unfactored distances of the worse calibration,
    from which the chance of breaking and the band come. `available` shows the runway, `required` covered.
    """
    if available_m < covered_m:
        verdict: Verdict = OUTSIDE
    else:
        verdict = WITHIN if available_m >= doubly_m else TIGHT
    needed = draws_m[np.isfinite(draws_m)]
    impossible = 1.0 - needed.size / max(draws_m.size, 1)
    chance = impossible + (1 - impossible) * float(np.mean(needed > available_m)) if needed.size else 1.0
    band = np.percentile(needed, [5, 95]).tolist() if needed.size else [None, None]
    room = available_m - covered_m
    words = ""
    if verdict == OUTSIDE and available_m >= median_m:
        words = "Long enough for the unfactored figure; shorter than the book figure with its safety factor."
    return _margin(about, verdict, available=figure(available_m, unit),
                   required=figure(covered_m, unit), doubly=figure(doubly_m, unit),
                   needed=figure(median_m, unit, *band), margin=figure(room, unit), chance=chance,
                   allowance_1=room / max(covered_m, 1.0), words=words, inside=_difference(available_m - doubly_m, unit).value)


def amount(about: About, draws: FloatArray, required: float, unit: str, allowance: float, *,
           confidence_1: float = 0.95, dimension: str | None = None,
           least_cover: float = 0.0) -> Margin:
    """An amount with a band and no factor: judged by its (1 - c) low end.

    draws: (draw,) available amounts, SI, more is better; `allowance` SI: the customary allowance of its kind;
    least_cover: the low end lies at least this far below the median (the owner's per cent of contingency).
    """
    good = np.where(np.isfinite(draws), draws, -np.inf)
    median = float(np.median(good))
    if not math.isfinite(median):
        return _margin(about, OUTSIDE, required=figure(required, unit, dimension=dimension), chance=1.0,
                       allowance_1=-math.inf, words="Cannot be reached at all.")
    low_c = min(float(np.quantile(good, 1 - confidence_1)), median - least_cover)
    verdict = WITHIN if low_c >= required else (TIGHT if median >= required else OUTSIDE)
    low, high = (float(x) for x in np.quantile(good, [0.05, 0.95], method="nearest"))
    if not math.isfinite(low):
        low = median
    def shown(value: float) -> float:
        return value - required
    return _margin(about, verdict, available=figure(median, unit, low, high, dimension),
                   required=figure(required, unit, dimension=dimension),
                   margin=_difference(shown(median), unit, dimension, shown(low), shown(high)),
                   chance=float(np.mean(good < required)), allowance_1=(median - required) / allowance,
                   inside=_difference(low_c - required, unit, dimension).value)


def _difference(value: float, unit: str, dimension: str | None = None, low: float | None = None,
                high: float | None = None) -> Figure:
    """A difference of two SI quantities in `unit` (factor only, no offset)."""
    factor = float(to_si(1.0, unit, dimension)) - float(to_si(0.0, unit, dimension))
    def convert(x: float | None) -> float | None:
        return None if x is None else x / factor

    return Figure(value / factor, unit, convert(low), convert(high))


def exact(about: About, value: float, limit: float, sd: float, unit: str, allowance: float, *,
          upper: bool = True, confidence_1: float = 0.95, dimension: str | None = None) -> Margin:
    """An exact limit (weight, CG, level): outside beyond it; tight where the error of the input crosses it.

    value, limit, sd SI; upper: the limit is a maximum: then it is what is available and the value what is
    required, so that margin = available - required everywhere. The value's band is +- 1.645 sd.
    """
    z = normal_quantile(confidence_1)
    room = limit - value if upper else value - limit
    verdict: Verdict = OUTSIDE if room < 0 else (WITHIN if room >= z * sd else TIGHT)
    chance = 1.0 if room < 0 else (0.5 * math.erfc(room / sd / math.sqrt(2)) if sd > 0 else 0.0)
    low, high = (value - Z_90 * sd, value + Z_90 * sd) if sd > 0 else (None, None)
    bound, own = figure(limit, unit, dimension=dimension), figure(value, unit, low, high, dimension)
    available, required = (bound, own) if upper else (own, bound)
    return _margin(about, verdict, available=available, required=required, margin=_difference(room, unit, dimension),
                   chance=chance, allowance_1=room / allowance if allowance else room,
                   inside=_difference(room - z * sd, unit, dimension).value)


def missing(about: About, what: str, available: Figure | None = None, required: Figure | None = None) -> Margin:
    """A fact is missing: not known, with the fact in words."""
    return _margin(about, NOT_KNOWN, available=available, required=required, words=what)


def none_published(about: About, actual: Figure | None = None) -> Margin:
    """The maker publishes no such maximum: a value with a source, within; the limit would stand in `available`."""
    return _margin(about, WITHIN, required=actual, chance=0.0, words="None published.")


def stated(about: About, verdict: Verdict, words: str = "", available: Figure | None = None,
           required: Figure | None = None, chance: float | None = None) -> Margin:
    """A margin whose verdict another rule has given (levels, envelope membership, conflicts)."""
    return _margin(about, verdict, words=words, available=available, required=required,
                   chance=chance if chance is not None else {WITHIN: 0.0, OUTSIDE: 1.0}.get(verdict))


def order(margins: Iterable[Margin]) -> tuple[Margin, ...]:
    """Tightest first: verdict, then chance of breaking, then margin over its customary allowance (last digits do not count)."""
    def key(m: Margin) -> tuple[float, float, float, str]:
        room = math.inf if m.allowance_1 is None else round(m.allowance_1, 9)
        return (-ORDER.index(m.verdict), -(m.chance if m.chance is not None else 0.0), room, m.id)

    return tuple(sorted(margins, key=key))


def worse(a: Margin, b: Margin) -> Margin:
    """The worse of two judgements of one limit (book and own calibration): by limit, never by parameter."""
    return order((a, b))[0]


def merge(*sets: Iterable[Margin]) -> tuple[Margin, ...]:
    """For each id the worse judgement of several calibrations, tightest first."""
    found: dict[str, Margin] = {}
    for margins in sets:
        for m in margins:
            found[m.id] = worse(found[m.id], m) if m.id in found else m
    return order(found.values())


@lru_cache(maxsize=64)
def normal_quantile(p: float) -> float:
    """Standard normal quantile by bisection of erf (exact to 1e-12, for p in (0.5, 1))."""
    low, high = 0.0, 10.0
    for _ in range(60):
        middle = (low + high) / 2
        if 0.5 * (1 + math.erf(middle / math.sqrt(2))) < p:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def quantity_text(value_si: float, unit: str) -> str:
    """A chain's number: "1,240 ft"."""
    return f"{from_si(value_si, unit):,.0f} {unit}"
