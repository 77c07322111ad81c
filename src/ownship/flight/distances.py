"""The rule of distances: the book figure through its chain, covered and doubly covered.

covered = max(book figure x surface x slope x wind x gust x safety factor, c-value of the own calibration through the
same chain x the owner's factor); doubly = max(covered, safety factor x c-value of the worse calibration through the
chain), the book's c-value being table figure x (c-value / median of the book calibration).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ownship.aeroplane.description import BookNote
from ownship.errors import OutOfRange
from ownship.flight.margins import ChainStep, quantity_text
from ownship.flight.request import Factors
from ownship.performance import landing as landings
from ownship.performance import takeoff as takeoffs
from ownship.performance.book import BookTable
from ownship.performance.model import HARD_WIND_M_S, Model, check_range
from ownship.performance.surfaces import surface_of
from ownship.physics.atmosphere import Air
from ownship.physics.conditions import Surface
from ownship.units import from_si

FloatArray = NDArray[np.float64]
Operation = Literal["take-off", "landing"]
HEADWIND_CREDIT, TAILWIND_CHARGE = 0.5, 1.5


@dataclass(frozen=True)
class Calibrations:
    """What the aeroplane is judged by: the book's calibration, the owner's (or None), the book's table (or None)."""

    book: Model
    own: Model | None
    table: BookTable | None
    notes: tuple[BookNote, ...] = ()

    def models(self) -> tuple[Model, ...]:
        """Every calibration there is."""
        return (self.book,) if self.own is None else (self.book, self.own)


@dataclass(frozen=True)
class Ground:
    """What the wheels and the wing meet: air, its temperature error, slope, surface state, wind along the runway.

    headwind_m_s: steady headwind (positive) that may be credited; tailwind_m_s: the gust's tailwind (positive).
    """

    air: Air
    temperature_noise_k: FloatArray
    slope_1: float
    surface_kind: str | None
    surface_state: str | None
    headwind_m_s: float
    tailwind_m_s: float
    approach_add_m_s: float = 0.0


@dataclass(frozen=True)
class Distance:
    """One distance over 50 ft judged: unfactored median and draws, covered, doubly, its chain; or why not known."""

    operation: Operation
    median_m: float
    draws_m: FloatArray
    roll_m: float
    covered_m: float
    doubly_m: float
    chain: tuple[ChainStep, ...]
    words: tuple[str, ...] = ()
    missing: str = ""
    breaks_at_edge_m: float | None = None
    short_words: str = ""


@dataclass(frozen=True)
class _Factors:
    """The chain's factors of the book calibration on the dry, level, calm distance.

    together_1: how much worse the model is with everything at once than the product of the others; at least 1.
    """

    surface_1: float
    slope_1: float
    wind_1: float
    gust_1: float
    together_1: float
    friction_alone_1: float

    @property
    def all_1(self) -> float:
        return self.surface_1 * self.slope_1 * self.wind_1 * self.gust_1 * self.together_1


def judge(operation: Operation, ground: Ground, weight_kg: FloatArray, by: Calibrations, factors: Factors) -> Distance:
    """The distance over 50 ft for one runway end. weight_kg (draw,). Never optimistic: what is missing is said."""
    try:
        check_range(ground.air, ground.slope_1, max(abs(ground.headwind_m_s), abs(ground.tailwind_m_s)))
    except OutOfRange as error:
        return _unknown(operation, str(error))
    surface = surface_of(ground.surface_kind, ground.surface_state)
    if isinstance(surface, str):
        return _unknown(operation, surface)
    weight = float(np.median(weight_kg))
    figure, steps, missing, edge = _book_figure(operation, ground, weight, by)
    chain = _chain(operation, ground, surface, by, weight)
    book_draws = _calm(by.book, operation, ground, weight_kg)
    median_model = _median(book_draws)
    safety = factors.take_off if operation == "take-off" else factors.landing
    if figure is None:
        return _beyond(operation, ground, weight_kg, by, factors, (missing, edge, steps, chain, median_model, safety))
    if math.isnan(median_model) or math.isnan(chain.all_1):
        return Distance(operation, math.nan, book_draws * np.nan, math.nan, math.inf, math.inf, tuple(steps),
                        ("The model does not get it off or stopped at all here.",))
    return _covered(operation, ground, weight_kg, by, factors, (figure, steps, chain, surface, book_draws, safety))


def _beyond(operation: Operation, ground: Ground, weight_kg: FloatArray, by: Calibrations, factors: Factors,
            found: tuple[str, float | None, list[ChainStep], _Factors, float, float]) -> Distance:
    """Beyond the book: not known, with the longest of what the edge row, the model and the own figures already need."""
    missing, edge, steps, chain, median_model, safety = found
    through = median_model * chain.all_1
    needs = [through * safety, (edge or 0.0) * chain.all_1 * safety]
    if by.own is not None:
        needs.append(_quantile(_calm(by.own, operation, ground, weight_kg), factors.confidence) * chain.all_1 * factors.owner)
    beside = quantity_text(through, "ft") if math.isfinite(through) else "none: it does not get off or stop at all"
    shown = [*steps, ChainStep("model's figure beside it, unfactored", beside, "the model, outside the book")]
    return replace(_unknown(operation, missing), chain=tuple(shown), median_m=through,
                   breaks_at_edge_m=max(math.inf if math.isnan(x) else x for x in needs))


def _covered(operation: Operation, ground: Ground, weight_kg: FloatArray, by: Calibrations, factors: Factors,
             found: tuple[float, list[ChainStep], _Factors, Surface, FloatArray, float]) -> Distance:
    figure, steps, chain, surface, book_draws, safety = found
    c = factors.confidence
    through = figure * chain.all_1
    book_c = through * _quantile(book_draws, c) / _median(book_draws)
    covered, doubly = through * safety, safety * book_c
    worst_draws = book_draws / _median(book_draws) * through
    steps = [*steps, *_factor_steps(chain, surface, ground, by),
             ChainStep("unfactored", quantity_text(through, "ft")),
             ChainStep("safety factor", f"x {safety:.2f}", "on unfactored book figures: UK CAA Safety Sense Leaflet 7c "
                       "1.33 and 1.43, from memory, unless you set your own")]
    table = by.table is not None and by.table.has(_kind(operation))
    short = f"Shorter than the {'book' if table else 'calibrated'} figure x {safety:.2f}, long enough without the factor."
    words = []
    if by.own is not None:
        own_draws = _calm(by.own, operation, ground, weight_kg) * chain.all_1
        own_c = _quantile(own_draws, c)
        steps.append(ChainStep(f"own calibration at {c:.0%}, same chain", quantity_text(own_c, "ft"), "your measurements"))
        if own_c * factors.owner > covered:
            words.append("Your own calibration is worse than the book with its factor, and governs.")
            short = ""
        covered = max(covered, own_c * factors.owner)
        doubly = max(doubly, safety * own_c)
        if _median(own_draws) > _median(worst_draws):
            worst_draws = own_draws
    doubly = max(doubly, covered)
    steps += [ChainStep("covered (the least runway)", quantity_text(covered, "ft")),
              ChainStep("doubly covered (comfortable)", quantity_text(doubly, "ft"))]
    if not table:
        words.append("No handbook table: the calibrated model's median stands in its place.")
    if ground.surface_state is None:
        words.append("The state of the surface is not given: dry is assumed.")
    roll = _roll(by.book.middle, operation, ground, weight_kg) * through
    return Distance(operation, through, worst_draws, float(roll), covered, doubly, tuple(steps), tuple(words),
                    short_words=short)


def _unknown(operation: Operation, why: str) -> Distance:
    return Distance(operation, math.nan, np.full(1, np.nan), math.nan, math.nan, math.nan, (), (), why)


def _kind(operation: Operation) -> str:
    return "takeoff_50ft_ft" if operation == "take-off" else "landing_50ft_ft"


def _book_figure(operation: Operation, ground: Ground, weight_kg: float,
                 by: Calibrations) -> tuple[float | None, list[ChainStep], str, float | None]:
    """The book's figure (m), its first chain steps, why it is missing, and the edge row's figure."""
    kind, weight = _kind(operation), np.array([weight_kg])
    if by.table is None or not by.table.has(kind):
        median = _median(_calm(by.book.middle, operation, ground, weight, noise=False))
        return median, [ChainStep("calibrated model, no handbook table", quantity_text(median, "ft"), "model")], "", None
    temperature = float(np.median(ground.air.temperature_k))
    altitude = float(np.median(ground.air.pressure_altitude_m))
    found = by.table.lookup(kind, altitude, temperature, weight_kg)
    at = (f"{from_si(altitude, 'ft'):,.0f} ft, {from_si(temperature, 'C', 'temperature'):.0f} C, "
          f"{from_si(weight_kg, 'lb'):,.0f} lb")
    if found.value is None:
        edge = [] if found.edge_value is None else [ChainStep("edge row of the table", quantity_text(found.edge_value, "ft"),
                                                              "handbook")]
        return None, edge, f"{found.words[:1].upper()}{found.words[1:]}.", found.edge_value
    steps = [ChainStep(f"book figure at {at}", quantity_text(found.value, "ft"), f"handbook: {found.words}")]
    if found.status != "lighter":
        return found.value, steps, "", found.value
    lighter, reference = (_median(_calm(by.book.middle, operation, ground, np.array([w]), noise=False))
                          for w in (weight_kg, found.reference_weight_kg))
    ratio = min(lighter / reference, 1.0)
    steps.append(ChainStep("lighter than the table, by the model", f"x {ratio:.2f}", "model"))
    return found.value * ratio, steps, "", found.value


def _calm(model: Model, operation: Operation, ground: Ground, weight_kg: FloatArray, *, noise: bool = True) -> FloatArray:
    """Distance over 50 ft by a model, dry, level and calm, (draw,)."""
    size = model.draws.size
    temperature = np.broadcast_to(np.asarray(ground.air.temperature_k), (1,))[:, None]
    if noise and ground.temperature_noise_k.size == size:
        temperature = temperature + ground.temperature_noise_k[None, :]
    air = Air(ground.air.pressure_altitude_m, temperature, ground.air.relative_humidity_1)
    weight = weight_kg[None, :] if weight_kg.size == size else np.array([[float(np.median(weight_kg))]])
    if operation == "take-off":
        return takeoffs.take_off(model, air, weight, noise=noise).over_50ft_m[0]
    return landings.landing(model, air, weight, noise=noise).over_50ft_m[0]


def _roll(model: Model, operation: Operation, ground: Ground, weight_kg: FloatArray) -> float:
    """Share of the roll in the distance over 50 ft by the median model."""
    weight = float(np.median(weight_kg))
    air = Air(ground.air.pressure_altitude_m, np.median(ground.air.temperature_k))
    done = (takeoffs.take_off(model, air, weight, noise=False) if operation == "take-off"
            else landings.landing(model, air, weight, noise=False))
    return _median(done.roll_m[0]) / _median(done.over_50ft_m[0])


def _chain(operation: Operation, ground: Ground, surface: Surface, by: Calibrations, weight_kg: float) -> _Factors:
    """Surface, slope, wind and gust factors by the median book model: one call, a case for each condition alone.

    The last case has all of them at once: two conditions that each eat acceleration or braking cost more together than
    their product, so the larger of the two counts.
    """
    wind_m_s, reported_m_s, rule = _charged_wind(ground)
    published = (surface.take_off_factor_1 if operation == "take-off" else surface.landing_factor_1) or 1.0
    one = np.arange(6)
    slope, wind = np.where((one == 2) | (one == 5), ground.slope_1, 0.0), np.where((one == 3) | (one == 5), wind_m_s, 0.0)
    model, soft, gusty = by.book.middle, (one == 1) | (one == 5), (one == 4) | (one == 5)
    air = Air(ground.air.pressure_altitude_m, np.median(ground.air.temperature_k), ground.air.relative_humidity_1)
    if operation == "take-off":
        dry = float(np.median(model.p["mu"]))
        friction = np.where(soft, dry if surface.friction_1 is None else max(surface.friction_1, dry), dry)
        done = takeoffs.take_off(model, air, weight_kg, slope_1=slope, headwind_m_s=wind, friction_1=friction,
                                 noise=False).over_50ft_m[:, 0]
    else:
        done = landings.landing(model, air, weight_kg, slope_1=slope, headwind_m_s=wind, noise=False,
                                braking_factor_1=np.where(soft, published, 1.0),
                                approach_add_m_s=np.where(gusty, ground.approach_add_m_s, 0.0)).over_50ft_m[:, 0]
    ratios = done / done[0]
    notes = [1 + n.change_1 * reported_m_s / n.per_m_s for n in by.notes if n.rule == rule and _is_for(n, operation)]
    wind_1 = 1.0 if reported_m_s == 0 else max([float(ratios[3]), *notes])
    surface_1 = max(published, float(ratios[1]))
    product = surface_1 * float(ratios[2]) * wind_1 * float(ratios[4])
    together_1 = math.nan if math.isnan(ratios[5]) else max(1.0, float(ratios[5]) / product)
    return _Factors(surface_1, float(ratios[2]), wind_1, float(ratios[4]), together_1, float(ratios[1]))


def _charged_wind(ground: Ground) -> tuple[float, float, str]:
    """(wind for the model, reported wind, which note): 50 % of a headwind, 150 % of a tailwind (negative).

    The table's calm rows are what is looked up, so this holds also where the book's rows with wind hold 50/150.
    """
    if ground.tailwind_m_s > 0:
        return -min(TAILWIND_CHARGE * ground.tailwind_m_s, HARD_WIND_M_S), ground.tailwind_m_s, "tailwind"
    return ground.headwind_m_s * HEADWIND_CREDIT, ground.headwind_m_s, "headwind"


def _is_for(note: BookNote, operation: Operation) -> bool:
    """A note of another kind ("both", "distances") counts for both: a note can only make a distance longer."""
    kind = "".join(c for c in note.kind.lower() if c.isalpha())
    return not kind.startswith("landing" if operation == "take-off" else "takeoff")


def _factor_steps(chain: _Factors, surface: Surface, ground: Ground, by: Calibrations) -> list[ChainStep]:
    steps = [ChainStep(f"surface, {surface.name}", f"x {chain.surface_1:.2f}",
                       f"worse of physics, x {chain.friction_alone_1:.2f}, and the published factor: {surface.source}"),
             ChainStep(f"slope {ground.slope_1 * 100:+.1f} %", f"x {chain.slope_1:.2f}", "physics")]
    knots = [float(from_si(x, "kt")) for x in (ground.headwind_m_s, ground.tailwind_m_s)]
    wind = f"tailwind {knots[1]:.0f} kt" if knots[1] > 0 else f"headwind {knots[0]:.0f} kt"
    steps.append(ChainStep(f"wind, {wind}", f"x {chain.wind_1:.2f}",
                           "worse of the model in 50 % head or 150 % tail and the book's note"))
    if ground.approach_add_m_s:
        steps.append(ChainStep(f"half the gust, +{from_si(ground.approach_add_m_s, 'kt'):.0f} kt on the approach",
                               f"x {chain.gust_1:.2f}", "physics"))
    if chain.together_1 > 1.0:
        steps.append(ChainStep("all of it at once", f"x {chain.together_1:.2f}", "physics, beyond the product"))
    return steps


def _median(values: FloatArray) -> float:
    """Median with NaN counted as too long: NaN when half the draws cannot do it."""
    good = np.sort(np.where(np.isnan(values), np.inf, values))
    middle = float(np.median(good))
    return middle if math.isfinite(middle) else math.nan


def _quantile(values: FloatArray, c: float) -> float:
    return float(np.quantile(np.where(np.isnan(values), np.inf, values), c, method="inverted_cdf"))

