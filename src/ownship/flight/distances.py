"""The rule of distances: the book figure through its chain, covered and doubly covered.

covered = max(book figure x surface x slope x wind x gust x safety factor, c-value of the own calibration through the
same chain x the owner's factor); doubly = max(covered, safety factor x c-value of the worse calibration through the
chain), the book's c-value being table figure x (c-value / median of the book calibration).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
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
from ownship.performance.model import HARD_WIND_M_S, Model, Number, check_range
from ownship.performance.surfaces import surface_of
from ownship.physics.atmosphere import Air
from ownship.physics.conditions import Surface
from ownship.units import from_si

FloatArray = NDArray[np.float64]
Operation = Literal["take-off", "landing"]
HEADWIND_CREDIT, TAILWIND_CHARGE = 0.5, 1.5
CASES = 7  # of one end in the chain


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
    roll_1: share of the roll in the distance over 50 ft, in dry air.
    """

    surface_1: float
    slope_1: float
    wind_1: float
    gust_1: float
    together_1: float
    friction_alone_1: float
    roll_1: float

    @property
    def all_1(self) -> float:
        return self.surface_1 * self.slope_1 * self.wind_1 * self.gust_1 * self.together_1


def judge(operation: Operation, ground: Ground, weight_kg: FloatArray, by: Calibrations, factors: Factors) -> Distance:
    """The distance over 50 ft for one runway end. weight_kg (draw,). Never optimistic: what is missing is said."""
    return judge_all(operation, [ground], weight_kg, by, factors)[0]


def judge_all(operation: Operation, grounds: Sequence[Ground], weight_kg: FloatArray, by: Calibrations,
              factors: Factors) -> list[Distance]:
    """`judge` of several ends, at one weight (draw,) or each at its own (end, draw): a few calls of the models for all."""
    possible: dict[int, Surface] = {}
    found: list[Distance] = []
    for i, ground in enumerate(grounds):
        surface = _surface(ground)
        if isinstance(surface, Surface):
            possible[i] = surface
        found.append(_unknown(operation, "" if isinstance(surface, Surface) else surface))
    if possible:
        weights = weight_kg if weight_kg.ndim == 1 else weight_kg[list(possible)]
        asked = _Asked(operation, [grounds[i] for i in possible], list(possible.values()), weights, by, factors)
        for i, distance in zip(possible, asked.judged(), strict=True):
            found[i] = distance
    return found


def _surface(ground: Ground) -> Surface | str:
    """The surface of an end that can be judged; else why not."""
    try:
        check_range(ground.air, ground.slope_1, max(abs(ground.headwind_m_s), abs(ground.tailwind_m_s)))
    except OutOfRange as error:
        return str(error)
    return surface_of(ground.surface_kind, ground.surface_state)


@dataclass(frozen=True)
class _Asked:
    """Ends that can be judged for one operation, at one weight (draw,) or each at its own (end, draw)."""

    operation: Operation
    grounds: list[Ground]
    surfaces: list[Surface]
    weight_kg: FloatArray
    by: Calibrations
    factors: Factors

    def judged(self) -> list[Distance]:
        """The distance of each end."""
        weights = np.broadcast_to(np.median(self.weight_kg, axis=-1), len(self.grounds))
        credited = [_as_the_table_credits(self.operation, g, self.by) for g in self.grounds]
        chains = _chains(self.operation, credited, self.surfaces, self.by, weights)
        draws = [_calm(m, self.operation, self.grounds, self.weight_kg) for m in self.by.models()]
        return [self._one(g, s, float(w), c, d)
                for g, s, w, c, *d in zip(self.grounds, self.surfaces, weights, chains, *draws, strict=True)]

    def _one(self, ground: Ground, surface: Surface, weight_kg: float, chain: _Factors, draws: Sequence[FloatArray]) -> Distance:
        """One end, at its middle weight: the chain, and calm distances of the book's calibration and of the own if there is one."""
        operation, by, factors, book_draws = self.operation, self.by, self.factors, draws[0]
        own_draws = None if len(draws) == 1 else draws[1]
        figure, steps, missing, edge = _book_figure(operation, ground, weight_kg, by)
        median_model = _median(book_draws)
        safety = factors.take_off if operation == "take-off" else factors.landing
        if figure is None:
            return _beyond(operation, own_draws, factors, (missing, edge, steps, chain, median_model, safety))
        if math.isnan(median_model) or math.isnan(chain.all_1):
            return Distance(operation, math.nan, book_draws * np.nan, math.nan, math.inf, math.inf, tuple(steps),
                            ("The model does not get it off or stopped at all here.",))
        return _covered(operation, ground, by, factors, (figure, steps, chain, surface, book_draws, own_draws, safety))


def _beyond(operation: Operation, own_draws: FloatArray | None, factors: Factors,
            found: tuple[str, float | None, list[ChainStep], _Factors, float, float]) -> Distance:
    """Beyond the book: not known, with the longest of what the edge row, the model and the own figures already need."""
    missing, edge, steps, chain, median_model, safety = found
    through = median_model * chain.all_1
    needs = [through * safety, (edge or 0.0) * chain.all_1 * safety]
    if own_draws is not None:
        needs.append(_quantile(own_draws, factors.confidence) * chain.all_1 * factors.owner)
    beside = quantity_text(through, "ft") if math.isfinite(through) else "none: it does not get off or stop at all"
    shown = [*steps, ChainStep("model's figure beside it, unfactored", beside, "the model, outside the book")]
    return replace(_unknown(operation, missing), chain=tuple(shown), median_m=through,
                   breaks_at_edge_m=max(math.inf if math.isnan(x) else x for x in needs))


def _covered(operation: Operation, ground: Ground, by: Calibrations, factors: Factors,
             found: tuple[float, list[ChainStep], _Factors, Surface, FloatArray, FloatArray | None, float]) -> Distance:
    figure, steps, chain, surface, book_draws, own_draws, safety = found
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
    if own_draws is not None:
        own_draws = own_draws * chain.all_1
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
    return Distance(operation, through, worst_draws, chain.roll_1 * through, covered, doubly, tuple(steps), tuple(words),
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
        median = _median(_calm(by.book.middle, operation, [ground], weight, noise=False)[0])
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
    there = _as_the_table_credits(operation, ground, by)
    lighter, reference = (_median(_calm(by.book.middle, operation, [there], np.array([w]), noise=False)[0])
                          for w in (weight_kg, found.reference_weight_kg))
    ratio = min(lighter / reference, 1.0)
    steps.append(ChainStep("lighter than the table, by the model", f"x {ratio:.2f}", "model"))
    return found.value * ratio, steps, "", found.value


def _as_the_table_credits(operation: Operation, ground: Ground, by: Calibrations) -> Ground:
    """The ground with air no colder and no lower than the table begins, for factors on its edge row: colder is then no worse."""
    kind = _kind(operation)
    return replace(ground, air=by.table.at_least(kind, ground.air)) if by.table is not None and by.table.has(kind) else ground


def _calm(model: Model, operation: Operation, grounds: Sequence[Ground], weight_kg: FloatArray, *,
          noise: bool = True) -> list[FloatArray]:
    """Distance over 50 ft by a model, dry, level and calm, (draw,) for each end; ends in the same air at one weight share it."""
    size = model.draws.size
    weights = weight_kg if weight_kg.shape[-1] == size else np.median(weight_kg, axis=-1, keepdims=True)
    weights = np.broadcast_to(weights, (len(grounds), weights.shape[-1]))
    rows = [np.concatenate([_numbers(g.air), g.temperature_noise_k if noise and g.temperature_noise_k.size == size
                            else np.zeros(size), w]) for g, w in zip(grounds, weights, strict=True)]
    places = {key: k for k, key in enumerate(dict.fromkeys(row.tobytes() for row in rows))}
    table = np.stack(list({row.tobytes(): row for row in rows}.values()))
    air, weight = Air(table[:, 0:1], table[:, 1:2] + table[:, 3 : 3 + size], table[:, 2:3]), table[:, 3 + size :]
    done = (takeoffs.take_off(model, air, weight, noise=noise) if operation == "take-off"
            else landings.landing(model, air, weight, noise=noise))
    return [done.over_50ft_m[places[row.tobytes()]] for row in rows]


def _numbers(air: Air) -> tuple[float, float, float]:
    """Pressure altitude, temperature (its median) and relative humidity of an air at one place."""
    def one(value: Number) -> float:
        return float(value) if np.ndim(value) == 0 else float(np.median(value))

    return one(air.pressure_altitude_m), one(air.temperature_k), one(air.relative_humidity_1)


def _chains(operation: Operation, grounds: Sequence[Ground], surfaces: Sequence[Surface], by: Calibrations,
            weights_kg: FloatArray) -> list[_Factors]:
    """Surface, slope, wind and gust factors by the median book model: one call, for each end a case for each condition alone.

    Case 5 has all of them at once: two conditions that each eat acceleration or braking cost more together than
    their product, so the larger of the two counts. Case 6 is case 0 in dry air, for the share of the roll.
    """
    model = by.book.middle
    dry = float(model.p["mu"][0])
    slope, wind, friction, braking, add, altitude, temperature, humidity = (np.concatenate(x) for x in zip(
        *(_conditions(operation, g, s, dry) for g, s in zip(grounds, surfaces, strict=True)), strict=True))
    air, weight_kg = Air(altitude, temperature, humidity), np.repeat(weights_kg, CASES)
    done: takeoffs.TakeOff | landings.Landing
    if operation == "take-off":
        done = takeoffs.take_off(model, air, weight_kg, slope_1=slope, headwind_m_s=wind, friction_1=friction, noise=False)
    else:
        done = landings.landing(model, air, weight_kg, slope_1=slope, headwind_m_s=wind, noise=False, braking_factor_1=braking,
                                approach_add_m_s=add)
    rolls, over = (x[:, 0].reshape(-1, CASES) for x in (done.roll_m, done.over_50ft_m))
    return [_factors(operation, g, s, by, x, float(roll[6]))
            for g, s, x, roll in zip(grounds, surfaces, over, rolls, strict=True)]


def _conditions(operation: Operation, ground: Ground, surface: Surface, dry: float) -> tuple[FloatArray, ...]:
    """Slope, wind, friction, braking factor, addition to the approach, and the air, of the cases of one end; dry: friction."""
    case = np.arange(CASES)
    soft, sloping, windy, gusty = ((case == k) | (case == 5) for k in (1, 2, 3, 4))
    friction = np.where(soft, dry if surface.friction_1 is None else max(surface.friction_1, dry), dry)
    altitude, temperature, humidity = _numbers(ground.air)
    return (np.where(sloping, ground.slope_1, 0.0), np.where(windy, _charged_wind(ground)[0], 0.0), friction,
            np.where(soft, _published_1(operation, surface), 1.0), np.where(gusty, ground.approach_add_m_s, 0.0),
            np.full(CASES, altitude), np.full(CASES, temperature), np.where(case == 6, 0.0, humidity))


def _published_1(operation: Operation, surface: Surface) -> float:
    return (surface.take_off_factor_1 if operation == "take-off" else surface.landing_factor_1) or 1.0


def _factors(operation: Operation, ground: Ground, surface: Surface, by: Calibrations, done: FloatArray, roll_m: float) -> _Factors:
    """The factors of one end from the distances of its cases."""
    _, reported_m_s, rule = _charged_wind(ground)
    ratios = done / done[0]
    notes = [1 + n.change_1 * reported_m_s / n.per_m_s for n in by.notes if n.rule == rule and _is_for(n, operation)]
    wind_1 = 1.0 if reported_m_s == 0 else max([float(ratios[3]), *notes])
    surface_1 = max(_published_1(operation, surface), float(ratios[1]))
    product = surface_1 * float(ratios[2]) * wind_1 * float(ratios[4])
    together_1 = math.nan if math.isnan(ratios[5]) else max(1.0, float(ratios[5]) / product)
    return _Factors(surface_1, float(ratios[2]), wind_1, float(ratios[4]), together_1, float(ratios[1]), roll_m / float(done[6]))


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
    good, size = _ordered(values), values.size
    middle = float((good[(size - 1) // 2] + good[size // 2]) / 2)
    return middle if math.isfinite(middle) else math.nan


def _quantile(values: FloatArray, c: float) -> float:
    """The least value that a share c of the draws do not exceed (numpy's "inverted_cdf"); NaN counts as too long."""
    return float(_ordered(values)[max(math.ceil(values.size * c - 1), 0)])


def _ordered(values: FloatArray) -> FloatArray:
    return np.sort(np.where(np.isnan(values), np.inf, values), axis=None)
