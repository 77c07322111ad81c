"""One calibrated aeroplane as numbers: airframe, propeller surrogate and the frozen draws of its parameters.

Shapes: inputs of the performance functions are numbers, (case,), (case, 1) or (case, draw); answers are
(case, draw). NaN means that the aeroplane cannot do it.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cache, cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ownship.errors import MissingKey, MissingSource, OutOfRange
from ownship.physics.atmosphere import Air
from ownship.physics.drag import GROUND_EFFECT_HIGH_WING, GROUND_EFFECT_LOW_WING, DragLaw
from ownship.physics.engine import EngineLaw
from ownship.physics.propeller import PropellerLaw, Surrogate, calibrated
from ownship.provenance import package_toml
from ownship.units import GRAVITY_M_S2, from_si, to_si

FloatArray = NDArray[np.float64]
Number = Any
KINDS = ("takeoff_roll_ft", "takeoff_50ft_ft", "rate_of_climb_fpm", "power_pct", "cruise_tas_kt", "fuel_flow_usgph",
         "climb_time_min", "climb_fuel_usgal", "climb_distance_nm", "landing_roll_ft", "landing_50ft_ft",
         "max_level_tas_kt", "service_ceiling_ft", "static_rpm", "glide_sink_fpm", "tachometer_pct")
HARD_RANGE_M = (float(to_si(-1000, "ft")), float(to_si(16000, "ft")))
HARD_RANGE_K = (float(to_si(-45, "C", "temperature")), float(to_si(50, "C", "temperature")))
HARD_SLOPE_1, HARD_WIND_M_S = 0.08, float(to_si(60, "kt"))
FLAP_UP = ("up", "0", "0 deg", "none")
LIFT_OFF_OVER_STALL, TOUCHDOWN_OVER_STALL, APPROACH_OVER_STALL = 1.10, 1.08, 1.3


@dataclass(frozen=True)
class Parameter:
    """Prior of one parameter: mean and sd in its unit (sd a fraction when log-normal), truncated at `low`.

    individual: how far one aeroplane lies from its handbook, in units of sd. own_only: exact in a book calibration.
    """

    name: str
    mean: float
    sd: float
    log: bool
    unit: str
    low: float | None
    why: str
    individual: float = 0.0
    own_only: bool = False


@dataclass(frozen=True)
class KindError:
    """Error of one kind of figure: sd = relative x value + absolute (in the unit of the kind's name)."""

    relative_1: float
    absolute: float

    def sd(self, value: Number) -> FloatArray:
        """One standard deviation at a value in the kind's unit."""
        return np.asarray(self.relative_1 * np.abs(value) + self.absolute)


@dataclass(frozen=True)
class Priors:
    """data/priors.toml: parameters, errors of handbook rows and of own points, share of discrepancy, source."""

    parameters: tuple[Parameter, ...]
    row_sd: dict[str, KindError]
    own_sd: dict[str, KindError]
    discrepancy_share_1: float
    source: str


@cache
def priors() -> Priors:
    """The priors of the package; refused without a source."""
    root = package_toml("priors.toml")
    source = root.text("source", "")
    if not source:
        raise MissingSource("priors.toml has no source; add it.")
    data = root.take("parameters")
    parameters = tuple(Parameter(name, p["mean"], p["sd"], p["shape"] == "log", p["unit"], p.get("low"), p["why"], p["individual"],
                                 p.get("own_only", False))
                       for name, p in data.items())
    def errors(key: str) -> dict[str, KindError]:
        return {kind: KindError(e["relative"], e["absolute"]) for kind, e in root.take(key).items()}

    return Priors(parameters, errors("row_sd"), errors("own_sd"), root.take("discrepancy")["share"],
                  f"{source}, {root.text('status')}")


@cache
def parameter_names() -> tuple[str, ...]:
    """Names of the parameters in the order of every parameter vector."""
    return tuple(p.name for p in priors().parameters)


def natural(standard: FloatArray) -> FloatArray:
    """Parameters in natural units from units of prior sd, (..., parameter); truncated ones held at their bound."""
    columns = []
    for i, p in enumerate(priors().parameters):
        z = standard[..., i]
        value = p.mean * np.exp(p.sd * z) if p.log else p.mean + p.sd * z
        columns.append(value if p.low is None else np.maximum(value, p.low))
    return np.stack(columns, axis=-1)


@dataclass(frozen=True)
class Airframe:
    """The plain SI numbers of one aeroplane that the physics needs (speeds CAS unless ias).

    take_off_flap, landing_flap: the setting of the procedure, "up" where it is flown without.
    """

    wing_area_m2: float
    span_m: float
    high_wing: bool
    rated_power_w: float
    rated_rev_s: float
    rev_max_rev_s: float
    blades: int
    diameter_m: float
    pitch_m: float
    take_off_max_kg: float
    vs1_m_s: float
    vs0_m_s: float
    fuel_density_kg_m3: float
    position_error: tuple[tuple[float, ...], tuple[float, ...]] | None = None
    lift_off_ias_m_s: float | None = None
    at_50ft_ias_m_s: float | None = None
    climb_ias: tuple[tuple[float, float], ...] = ()
    approach_ias_m_s: float | None = None
    touchdown_cas_m_s: float | None = None
    take_off_flap: str = "take_off"
    landing_flap: str = "landing"


@dataclass(frozen=True)
class Draws:
    """Frozen draws: parameters (draw, parameter) in natural units; per kind a normal (draw,) and its discrepancy sd."""

    values: FloatArray
    noise: dict[str, FloatArray] = field(default_factory=dict)
    discrepancy: dict[str, KindError] = field(default_factory=dict)
    label: str = "prior"
    seed: int = 0

    @property
    def size(self) -> int:
        """Number of draws."""
        return int(self.values.shape[0])


@dataclass(frozen=True)
class Model:
    """Airframe + surrogate + draws: what every performance function takes first."""

    airframe: Airframe
    surrogate: Surrogate
    draws: Draws

    @cached_property
    def p(self) -> dict[str, FloatArray]:
        """Parameters by name, each (draw,)."""
        return {name: self.draws.values[:, i] for i, name in enumerate(parameter_names())}

    @cached_property
    def engine(self) -> EngineLaw:
        """The engine with its parameters (draw,)."""
        p, a = self.p, self.airframe
        return EngineLaw(a.rated_power_w, a.rated_rev_s, p["kP"], p["a"], p["C"], p["tx"], p["b65"], p["s"], p["c2"],
                         p["k_rich"])

    @cached_property
    def propeller(self) -> PropellerLaw:
        """The propeller with its parameters; OutOfRange beyond 4 degrees from the nominal pitch."""
        p = self.p
        return calibrated(self.surrogate, self.airframe.diameter_m, p["dbeta"], p["kCT"], p["kCP"], p["kJ"])

    @cached_property
    def drag(self) -> DragLaw:
        """The drag polar with its parameters."""
        a = self.airframe
        return DragLaw(a.wing_area_m2, a.span_m**2 / a.wing_area_m2, self.p["CD0"], self.p["e"],
                       GROUND_EFFECT_HIGH_WING if a.high_wing else GROUND_EFFECT_LOW_WING)

    @cached_property
    def middle(self) -> Model:
        """The same aeroplane with one draw, the median of every parameter, and no noise: for ratios in a chain."""
        return Model(self.airframe, self.surrogate, Draws(np.median(self.draws.values, axis=0, keepdims=True),
                                                          label=self.draws.label))

    @cached_property
    def first(self) -> Model:
        """The same aeroplane with draw 0 alone, its own discrepancy kept: the middle flight of an assessment."""
        noise = {kind: z[:1] for kind, z in self.draws.noise.items()}
        return Model(self.airframe, self.surrogate, replace(self.draws, values=self.draws.values[:1], noise=noise))

    def with_noise(self, kind: str, value: FloatArray, unit: str, dimension: str | None = None) -> FloatArray:
        """The value (SI, (case, draw)) plus the model's own discrepancy for this kind of figure.

        Relative kinds are multiplied by exp(share x sd x z), absolute ones shifted; no noise: unchanged.
        """
        error, z = self.draws.discrepancy.get(kind), self.draws.noise.get(kind)
        if error is None or z is None:
            return value
        moved = value * np.exp(error.relative_1 * z)
        if error.absolute:
            step = float(to_si(error.absolute, unit, dimension)) - float(to_si(0.0, unit, dimension))
            moved = moved + step * z
        return np.asarray(moved)


def cases(value: Number) -> FloatArray:
    """Any input as an array that broadcasts to (case, draw): numbers and (case,) become (case, 1)."""
    array = np.asarray(value, dtype=float)
    if array.ndim == 0:
        return array.reshape(1, 1)
    return array[:, None] if array.ndim == 1 else array


@dataclass(frozen=True)
class Flow:
    """Air as the laws need it, each (case, 1) or (case, draw)."""

    air: Air
    density_kg_m3: FloatArray
    sound_m_s: FloatArray


def true_rev_s(model: Model, panel_rev_s: Number) -> FloatArray:
    """Propeller speed from what the panel shows, (case, draw): x tach, which is 1 in a book calibration."""
    return np.asarray(cases(panel_rev_s) * model.p["tach"])


def panel_rev_s(model: Model, rev_s: FloatArray) -> FloatArray:
    """What the panel shows at a propeller speed, (case, draw)."""
    return np.asarray(rev_s / model.p["tach"])


def flow_of(air: Air) -> Flow:
    """The air's numbers, shaped for (case, draw)."""
    shaped = Air(cases(air.pressure_altitude_m), cases(air.temperature_k), cases(air.relative_humidity_1))
    return Flow(shaped, shaped.density_kg_m3, shaped.speed_of_sound_m_s)


def speed_factor(model: Model, weight_kg: Number) -> FloatArray:
    """sqrt(W/W_take_off_max): how stall, approach and lift-off speeds (CAS) scale with weight."""
    return np.sqrt(cases(weight_kg) / model.airframe.take_off_max_kg)


def weight_n(weight_kg: Number) -> FloatArray:
    """Weight as a force, (case, draw)."""
    return cases(weight_kg) * GRAVITY_M_S2


def check_range(air: Air, slope_1: Number = 0.0, headwind_m_s: Number = 0.0) -> None:
    """OutOfRange where air, slope or wind on the runway lie outside the hard range of the model (invariant 1).

    Every case counts; of a temperature (case, draw) the median of its draws, since the tails of a forecast's error
    may pass the edge. Not known (NaN) is refused.
    """
    altitude, temperature = np.asarray(air.pressure_altitude_m), np.asarray(air.temperature_k)
    if temperature.ndim > 1:
        temperature = np.median(temperature, axis=-1)
    for what, values, (low, high), unit, dimension in (
            ("Pressure altitude", altitude, HARD_RANGE_M, "ft", "length"),
            ("Temperature", temperature, HARD_RANGE_K, "C", "temperature"),
            ("Slope", np.abs(slope_1), (0.0, HARD_SLOPE_1), "%", "ratio"),
            ("Wind on the runway", np.abs(headwind_m_s), (0.0, HARD_WIND_M_S), "kt", "speed")):
        worst = float(np.max(values)) if np.any(np.asarray(values) > high + 1e-9) else float(np.min(values))
        if not low - 1e-9 <= worst <= high + 1e-9:
            shown = [f"{from_si(x, unit, dimension):,.0f} {unit}" for x in (worst, low, high)]
            raise OutOfRange(what, *shown)


def beyond_range(pressure_altitude_m: Number, temperature_k: Number) -> NDArray[np.bool_]:
    """Which cases `check_range` would refuse for their air: elementwise, not known (NaN) is left to whoever needs it."""
    (low, high), (cold, hot) = HARD_RANGE_M, HARD_RANGE_K
    height, air = np.asarray(pressure_altitude_m), np.asarray(temperature_k)
    return (height < low - 1e-6) | (height > high + 1e-6) | (air < cold - 1e-6) | (air > hot + 1e-6)


def airframe_of(record: Any) -> Airframe:
    """The Airframe of an airframe record; MissingKey names what a full model still lacks."""
    def need(table: str, key: str) -> Any:
        part = getattr(record, table, None)
        value = None if part is None else getattr(part, key, None)
        if value is None or (isinstance(value, str) and value == "none published"):
            raise MissingKey(f"The airframe record has no [{table}] {key.removesuffix('_m2').removesuffix('_m_s')}, "
                             "so that there is no performance model; add it.")
        return value

    procedures = record.procedures
    take_off = procedures.take_off if procedures else None
    table = record.position_error
    return Airframe(
        need("geometry", "wing_area_m2"), need("geometry", "span_m"), need("geometry", "wing") == "high",
        need("engine", "power_w"), need("engine", "rev_s"),
        (record.propeller.rev_max_rev_s if record.propeller else None) or need("engine", "rev_s"),
        need("propeller", "blades"), need("propeller", "diameter_m"), need("propeller", "pitch_m"),
        need("weights", "take_off_max_kg"), need("speeds", "vs1_m_s"), need("speeds", "vs0_m_s"),
        need("fuel", "density_kg_m3"), (table.ias_m_s, table.cas_m_s) if table else None,
        take_off.lift_off_m_s if take_off else None, take_off.at_50ft_m_s if take_off else None,
        procedures.climb if procedures else (),
        procedures.approach.speed_m_s if procedures and procedures.approach else None,
        procedures.approach.touchdown_m_s if procedures and procedures.approach else None,
        _setting(take_off.flap if take_off else "", "take_off"),
        _setting(procedures.approach.flap if procedures and procedures.approach else "", "landing"))


def _setting(flap: str, usual: str) -> str:
    """A flap as a row names it: "up" where the record's procedure says so, else the usual one (not said: usual)."""
    return "up" if flap.strip().lower() in FLAP_UP else usual
