"""What a calibration says of its rows and of itself: data only, words for an owner; charts are made in papers."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ownship.calibration.estimate import STEP, Calibration, fit, middle, model_of
from ownship.calibration.measurements import predict, row_sd
from ownship.performance.model import Airframe, Model, priors
from ownship.performance.rows import Rows, read_rows
from ownship.physics.propeller import Surrogate
from ownship.units import from_si
from ownship.words.figures import number_text

FloatArray = NDArray[np.float64]
_Asked = tuple[str, str, int, float, int | None]
KIND_WORDS = {
    "takeoff_roll_ft": ("take-off roll", "ft"), "takeoff_50ft_ft": ("take-off over 50 ft", "ft"),
    "rate_of_climb_fpm": ("rate of climb", "ft/min"), "power_pct": ("power", "%"), "cruise_tas_kt": ("true airspeed", "kt"),
    "fuel_flow_usgph": ("fuel flow", "US gal/h"), "climb_time_min": ("time to climb", "min"),
    "climb_fuel_usgal": ("fuel to climb", "US gal"), "climb_distance_nm": ("distance to climb", "NM"),
    "landing_roll_ft": ("landing roll", "ft"), "landing_50ft_ft": ("landing over 50 ft", "ft"),
    "max_level_tas_kt": ("top speed", "kt"), "service_ceiling_ft": ("service ceiling", "ft"), "static_rpm": ("static rpm", "rpm"),
    "glide_sink_fpm": ("sink in the glide", "ft/min"), "tachometer_pct": ("engine speed over the panel's", "%")}
WORST, NAMED_SIGMA = 3, 3.0


@dataclass(frozen=True)
class Disagreement:
    """A row and what the model says of it: value and prediction in the kind's unit, distance in sigma, words."""

    line: int
    kind: str
    value: float
    predicted: float
    sigma: float
    words: str


def worst(airframe: Airframe, surrogate: Surrogate, rows: Rows, calibration: Calibration,
          most: int = WORST) -> tuple[Disagreement, ...]:
    """The rows that disagree most with a calibration, in words; a row that cannot be flown at all comes first."""
    predicted = predict(Model(airframe, surrogate, middle(calibration)), rows)[:, 0]
    sigma = (rows.value - predicted) / row_sd(rows)
    size = np.where(np.isfinite(sigma), np.abs(sigma), np.inf)
    return tuple(_words(rows, i, float(predicted[i]), float(sigma[i])) for i in np.argsort(-size, kind="stable")[:most])


def _words(rows: Rows, i: int, predicted: float, sigma: float) -> Disagreement:
    kind, value = str(rows.kind[i]), float(rows.value[i])
    name, unit = KIND_WORDS[kind]
    at = (f"{from_si(rows.pressure_altitude_m[i], 'ft'):,.0f} ft, {from_si(rows.temperature_k[i], 'C', 'temperature'):.0f} C, "
          f"{from_si(rows.weight_kg[i], 'lb'):,.0f} lb")
    line = rows.line[i] if rows.line else i + 1
    said = f"line {line}: {name} at {at} reads {number_text(value)} {unit}"
    if not np.isfinite(predicted):
        return Disagreement(line, kind, value, predicted, float("inf"), f"{said}, which this aeroplane cannot fly: check it.")
    look = "; look for a typing error" if abs(sigma) > NAMED_SIGMA else ""
    return Disagreement(line, kind, value, predicted, sigma,
                        f"{said}, the rest says {number_text(predicted)}: {abs(sigma):.1f} sigma{look}.")


@dataclass(frozen=True)
class KeyFigure:
    """One figure an owner reads: its name, unit, and value with 5-95 % band in that unit."""

    name: str
    unit: str
    value: float
    low: float
    high: float


# The figures an owner reads, as rows to be predicted at the aeroplane's own weight.
_KEY_ROWS: tuple[_Asked, ...] = (
    ("rate of climb at 4,000 ft", "rate_of_climb_fpm", 4000, 7.1, None),
    ("speed at 2,450 rpm, 6,000 ft", "cruise_tas_kt", 6000, 3.1, 2450),
    ("fuel at 2,450 rpm, 6,000 ft", "fuel_flow_usgph", 6000, 3.1, 2450),
    ("static rpm (true) at sea level", "static_rpm", 0, 15.0, None),
    ("take-off over 50 ft at sea level", "takeoff_50ft_ft", 0, 15.0, None),
    ("landing over 50 ft at sea level", "landing_50ft_ft", 0, 15.0, None))


def key_rows(airframe: Airframe) -> Rows:
    """The key figures as rows without values."""
    return _asked(airframe, _KEY_ROWS, "key figures")


def _asked(airframe: Airframe, table: tuple[_Asked, ...], name: str) -> Rows:
    """Rows without values at the aeroplane's own maximum weight, of (words, kind, ft, C, rpm or None).

    A static rpm is the true one (optical), since that is what a book prints; in the cruise the rpm is the panel's.
    """
    weight = float(from_si(airframe.take_off_max_kg, "lb"))
    lines = [f"{kind},{altitude},{celsius},{weight:.1f},{rpm or ''},{'optical' if kind == 'static_rpm' else ''}"
             for _, kind, altitude, celsius, rpm in table]
    return read_rows("kind,pressure_altitude_ft,oat_c,weight_lb,rpm,tachometer\n" + "\n".join(lines), name, need_value=False)


def key_figures(model: Model) -> tuple[KeyFigure, ...]:
    """The key figures of a calibrated model with their bands."""
    draws = predict(model, key_rows(model.airframe), noise=True)
    found = []
    for (name, kind, *_), line in zip(_KEY_ROWS, draws, strict=True):
        good = line[np.isfinite(line)]
        low, value, high = np.percentile(good, [5, 50, 95]) if good.size else (np.nan,) * 3
        found.append(KeyFigure(name, KIND_WORDS[kind][1], float(value), float(low), float(high)))
    return tuple(found)


def distance_from_book(book: Model, own: Model) -> tuple[str, ...]:
    """How far this aeroplane is from its book, figure by figure, with the band of the difference, in words.

    Every rpm is the true one: a tachometer that is off makes no aeroplane slower than its book.
    """
    rows = key_rows(book.airframe)
    rows = replace(rows, texts=rows.texts | {"tachometer": np.full(len(rows), "optical")})
    a, b = (predict(m, rows, noise=False) for m in (book, own))
    lines = []
    for (name, kind, *_), x, y in zip(_KEY_ROWS, a, b, strict=True):
        spread = float(np.hypot(np.nanstd(x), np.nanstd(y))) * 1.645
        d = float(np.nanmedian(y) - np.nanmedian(x))
        sure = "" if abs(d) > spread else "; within what is known, no difference"
        unit, said = KIND_WORDS[kind][1], name.replace(" rpm,", " rpm (true),")
        lines.append(f"{said}: {d:+,.1f} {unit} from the book ({d - spread:+,.1f} to {d + spread:+,.1f}){sure}.")
    return tuple(lines)


# Measurements an owner could make next: words, and the row it would be.
_CANDIDATES: tuple[_Asked, ...] = (
    ("a static rpm with an optical tachometer", "static_rpm", 0, 15.0, None),
    ("a timed climb through 3,000 ft", "rate_of_climb_fpm", 3000, 9.1, None),
    ("a timed climb through 8,000 ft", "rate_of_climb_fpm", 8000, -0.8, None),
    ("a level run at 2,300 rpm, 4,000 ft", "cruise_tas_kt", 4000, 7.1, 2300),
    ("a level run at 2,550 rpm, 8,000 ft", "cruise_tas_kt", 8000, -0.8, 2550),
    ("fuel to the brim after an hour at 2,450 rpm, 6,000 ft", "fuel_flow_usgph", 6000, 3.1, 2450),
    ("a measured take-off over 50 ft", "takeoff_50ft_ft", 0, 15.0, None),
    ("a measured landing over 50 ft", "landing_50ft_ft", 0, 15.0, None),
    ("a check of the tachometer with an optical one", "tachometer_pct", 0, 15.0, None))


@dataclass(frozen=True)
class Next:
    """A measurement and by how much it would narrow the bands of the key figures, on average (share, 0 to 1)."""

    words: str
    narrowing_1: float


def measure_next(airframe: Airframe, surrogate: Surrogate, calibration: Calibration) -> tuple[Next, ...]:
    """Which measurement would narrow the bands most, computed: C' = C - C g g'C/(sigma^2 + g'C g), best first."""
    rows = _asked(airframe, _CANDIDATES, "candidates")
    gradients, values = _gradients(airframe, surrogate, rows, calibration)
    keys, _ = _gradients(airframe, surrogate, key_rows(airframe), calibration)
    before = _spreads(keys, calibration.covariance)
    known, found = priors(), []
    for (words, kind, *_), g, value in zip(_CANDIDATES, gradients, values, strict=True):
        sigma = float(np.hypot(known.row_sd[kind].sd(value), known.own_sd[kind].sd(value)))
        cg = calibration.covariance @ g
        after = _spreads(keys, calibration.covariance - np.outer(cg, cg) / (sigma**2 + g @ cg))
        found.append(Next(words, float(np.mean(1 - after / before))))
    return tuple(sorted(found, key=lambda n: -n.narrowing_1))


def _gradients(airframe: Airframe, surrogate: Surrogate, rows: Rows, c: Calibration) -> tuple[FloatArray, FloatArray]:
    """(row, parameter) slopes of predictions per prior sd at the mean, and the predictions (row,)."""
    steps = STEP * np.eye(c.mean.size)
    batch = predict(model_of(airframe, surrogate, np.vstack([c.mean, c.mean + steps, c.mean - steps])), rows)
    size = c.mean.size
    return (batch[:, 1 : size + 1] - batch[:, size + 1 :]) / (2 * STEP), batch[:, 0]


def _spreads(gradients: FloatArray, covariance: FloatArray) -> FloatArray:
    return np.sqrt(np.maximum(np.einsum("ip,pq,iq->i", gradients, covariance, gradients), 1e-30))


def without_kind(airframe: Airframe, surrogate: Surrogate, rows: Rows, kind: str, seed: int = 0,
                 book: Calibration | None = None) -> Calibration:
    """The calibration with one kind of row left out: what that kind alone has taught."""
    return fit(airframe, surrogate, rows.where(rows.kind != kind), "without", seed, book, resample=False)


def kinds_left_out(airframe: Airframe, surrogate: Surrogate, rows: Rows, book: Calibration) -> tuple[str, ...]:
    """For each kind among the owner's rows: which figure it moves most, in words."""
    mine = rows.where(rows.texts["origin"] == "own")
    kinds = list(dict.fromkeys(mine.kind.tolist()))
    if len(kinds) < 2:
        return ()
    keys = key_rows(airframe)
    all_of_them = fit(airframe, surrogate, mine, "own", book=book, resample=False)
    whole = predict(model_of(airframe, surrogate, all_of_them.mean), keys)[:, 0]
    lines = []
    for kind in kinds:
        less = without_kind(airframe, surrogate, mine, kind, book=book)
        moved = predict(model_of(airframe, surrogate, less.mean), keys)[:, 0] - whole
        i = int(np.nanargmax(np.abs(moved / whole)))
        unit = KIND_WORDS[_KEY_ROWS[i][1]][1]
        lines.append(f"without {KIND_WORDS[kind][0]}: {_KEY_ROWS[i][0]} would be {moved[i]:+,.1f} {unit}.")
    return tuple(lines)
