"""The airframe record: every table of docs/formats/airframe.md as a frozen value, SI inside.

A limit is a number, the text "none published" (a value with a source), or None: not known.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from ownship.schema import NONE_PUBLISHED

Limit = float | str | None


def is_figure(limit: Limit) -> bool:
    """Whether a limit is a number (neither "none published" nor unknown)."""
    return isinstance(limit, float | int)


def not_published(limit: Limit) -> bool:
    """Whether the maker publishes no such limit."""
    return limit == NONE_PUBLISHED


@dataclass(frozen=True)
class Identity:
    """Who this aeroplane is."""

    registration: str
    type_name: str = ""
    serial: str = ""
    year: int | None = None
    category: str = "normal"
    source: str = ""


@dataclass(frozen=True)
class Weights:
    """The certificated weights, kg."""

    ramp_max_kg: Limit = None
    take_off_max_kg: Limit = None
    landing_max_kg: Limit = None
    zero_fuel_max_kg: Limit = None
    source: str = ""


@dataclass(frozen=True)
class Reading:
    """One scale of a weighing."""

    gross_kg: float
    tare_kg: float
    arm_m: float


@dataclass(frozen=True)
class Weighing:
    """A weighing or a computed weight and balance, with the state of oil and fuel in it."""

    date: date
    weighed: bool
    weight_kg: float
    arm_m: float
    oil: str
    fuel: str
    density_kg_m3: float | None
    source: str


@dataclass(frozen=True)
class Equipment:
    """Something put in or taken out (negative weight). after_weighing: later than a weighing of the same day, which else holds
    it."""

    date: date
    what: str
    weight_kg: float
    arm_m: float
    source: str
    after_weighing: bool = False


@dataclass(frozen=True)
class Station:
    """A place for people or things; `arm_m` (low, high): sliding seats have a range."""

    id: str
    name: str
    kind: str
    seats: int
    arm_m: tuple[float, float]
    max_kg: Limit
    removable: bool
    source: str


@dataclass(frozen=True)
class StationGroup:
    """Stations with a common limit."""

    stations: tuple[str, ...]
    max_kg: Limit
    source: str


@dataclass(frozen=True)
class Envelope:
    """Allowed weight and CG of one category, points in order; straight lines in arm or in moment."""

    category: str
    straight_in: str
    points: tuple[tuple[float, float], ...]
    source: str


@dataclass(frozen=True)
class Category:
    """What a category asks beyond its envelope."""

    name: str
    stations_empty: tuple[str, ...]
    manoeuvres: tuple[str, ...]
    source: str


@dataclass(frozen=True)
class Mark:
    """A mark in a filler neck, with the usable fuel at it."""

    name: str
    usable_m3: float


@dataclass(frozen=True)
class Tank:
    """One tank; capacity is total, unusable counted once in the empty weight."""

    id: str
    name: str
    capacity_m3: float
    unusable_m3: float
    arm_m: float
    marks: tuple[Mark, ...] = ()
    dipstick: tuple[tuple[float, float], ...] = ()
    source: str = ""

    @property
    def usable_m3(self) -> float:
        """Usable capacity."""
        return self.capacity_m3 - self.unusable_m3


@dataclass(frozen=True)
class Selector:
    """The fuel selector and what the manual wants of it."""

    positions: tuple[str, ...]
    take_off: str = "fuller"
    landing: str = "fuller"
    imbalance_max_m3: Limit = None
    imbalance_max_kg: float | None = None
    floor_time_s: float = 0.0
    no_change_below_m: float = 0.0
    source: str = ""

    def imbalance_limit(self, density_kg_m3: float) -> Limit:
        """The imbalance limit as a volume (m3): that of the weight where the record gives one, else as it stands."""
        return self.imbalance_max_m3 if self.imbalance_max_kg is None else self.imbalance_max_kg / density_kg_m3


@dataclass(frozen=True)
class Fuel:
    """The fuel: grade, density, and whether quantities are corrected for temperature."""

    grade: str
    density_kg_m3: float
    temperature_corrected: bool = False
    source: str = ""


@dataclass(frozen=True)
class Oil:
    """Oil capacity, arm and density."""

    capacity_m3: float
    arm_m: float
    density_kg_m3: float
    source: str = ""


@dataclass(frozen=True)
class Geometry:
    """Wing area, span, high or low wing, mean aerodynamic chord and its leading edge."""

    wing_area_m2: float
    span_m: float
    wing: str
    mac_m: float | None = None
    lemac_m: float | None = None
    source: str = ""


@dataclass(frozen=True)
class Engine:
    """Rated power and speed."""

    power_w: float
    rev_s: float
    compression_1: float | None = None
    aspiration: str = "carburettor"
    avoid_rev_s: tuple[tuple[float, float], ...] = ()
    source: str = ""


@dataclass(frozen=True)
class Propeller:
    """A fixed-pitch propeller and its certificated static band."""

    blades: int
    diameter_m: float
    pitch_m: float
    rev_max_rev_s: float | None = None
    static_rev_s: tuple[float, float] | None = None
    source: str = ""


@dataclass(frozen=True)
class Speeds:
    """Speeds of the record, m/s (vs1, vs0 CAS at the maximum take-off weight; the others as the manual has them)."""

    vs1_m_s: Limit = None
    vs0_m_s: Limit = None
    va_m_s: Limit = None
    vno_m_s: Limit = None
    vne_m_s: Limit = None
    vfe_m_s: Limit = None
    vx_m_s: Limit = None
    vy_m_s: Limit = None
    best_glide_m_s: Limit = None
    demonstrated_crosswind_m_s: Limit = None
    source: str = ""


@dataclass(frozen=True)
class PositionError:
    """Indicated against calibrated airspeed, m/s."""

    ias_m_s: tuple[float, ...]
    cas_m_s: tuple[float, ...]
    source: str = ""


@dataclass(frozen=True)
class Deviation:
    """The deviation card: for a magnetic heading steer this compass heading, deg."""

    magnetic_deg: tuple[float, ...]
    compass_deg: tuple[float, ...]
    source: str = ""


@dataclass(frozen=True)
class TakeOffProcedure:
    """Flap, speeds (IAS) and the altitude below which the mixture is full rich."""

    flap: str = ""
    lift_off_m_s: float | None = None
    at_50ft_m_s: float | None = None
    mixture_rich_below_m: float | None = None


@dataclass(frozen=True)
class ApproachProcedure:
    """Flap, approach speed (IAS) and, where it is known, the touchdown speed (CAS)."""

    flap: str = ""
    speed_m_s: float | None = None
    touchdown_m_s: float | None = None


@dataclass(frozen=True)
class Procedures:
    """How this aeroplane is flown."""

    take_off: TakeOffProcedure | None = None
    climb: tuple[tuple[float, float], ...] = ()
    approach: ApproachProcedure | None = None
    go_around_flap: str = ""
    source: str = ""


@dataclass(frozen=True)
class BookNote:
    """A note of the book: per so much headwind or tailwind, a change (ratio, negative shorter)."""

    kind: str
    rule: str
    per_m_s: float
    change_1: float
    source: str


@dataclass(frozen=True)
class Book:
    """Where the book's rows are (and the owner's own measurements), how they were flown, and its notes."""

    rows: str | None = None
    own: str | None = None
    technique: str = ""
    notes: tuple[BookNote, ...] = ()
    wind_in_rows: bool = False
    source: str = ""


@dataclass(frozen=True)
class Electrical:
    """Alternator and battery, and the loads left on."""

    alternator_a: float
    battery_c: float
    loads: tuple[tuple[str, float], ...] = ()
    source: str = ""


@dataclass(frozen=True)
class EquipmentCodes:
    """What goes into items 10 and 19 of a flight plan."""

    icao_10a: str = ""
    icao_10b: str = ""
    colour: str = ""
    source: str = ""


@dataclass(frozen=True)
class AirframeRecord:
    """One aeroplane on paper. Tables that the file lacks are None or empty: what rests on them is not known."""

    identity: Identity
    source: str
    text_digest: str
    weights: Weights = Weights()
    weighings: tuple[Weighing, ...] = ()
    equipment: tuple[Equipment, ...] = ()
    stations: tuple[Station, ...] = ()
    station_groups: tuple[StationGroup, ...] = ()
    envelopes: tuple[Envelope, ...] = ()
    categories: tuple[Category, ...] = ()
    tanks: tuple[Tank, ...] = ()
    selector: Selector | None = None
    fuel: Fuel | None = None
    oil: Oil | None = None
    geometry: Geometry | None = None
    engine: Engine | None = None
    propeller: Propeller | None = None
    speeds: Speeds = Speeds()
    position_error: PositionError | None = None
    deviation: Deviation | None = None
    procedures: Procedures | None = None
    book: Book | None = None
    electrical: Electrical | None = None
    equipment_codes: EquipmentCodes | None = None
    notes: tuple[str, ...] = field(default=())

    def station(self, id_: str) -> Station | None:
        """The station with this id."""
        return next((s for s in self.stations if s.id == id_), None)

    def envelope(self, category: str) -> Envelope | None:
        """The envelope of a category."""
        return next((e for e in self.envelopes if e.category == category), None)
