"""The assessment as one frozen value: what command, page, paper and JSON all show."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from ownship.flight.margins import Margin
from ownship.words.figures import Figure
from ownship.words.verdicts import Verdict


@dataclass(frozen=True)
class LoadingRow:
    """The load at one moment: weight, arm (both ends of sliding seats), % MAC and room to the envelope."""

    id: str
    moment: str
    weight: Figure
    arm_forward: Figure
    arm_aft: Figure
    moment_kg_m: Figure
    percent_mac: Figure | None
    limits: tuple[Figure | None, Figure | None]
    room_weight: Figure | None
    room_arm: Figure | None
    verdict: Verdict
    fuel: dict[str, Figure]


@dataclass(frozen=True)
class TimelineRow:
    """One moment of the flight: when, where, how high, fuel used and left, by tank, weight and CG."""

    moment: str
    place: str
    time: datetime
    elapsed: Figure
    distance: Figure
    altitude: Figure | None
    fuel_used: Figure
    fuel_left: Figure
    fuel_by_tank: dict[str, Figure]
    weight: Figure
    arm: Figure | None
    minimum_fuel: Figure | None = None
    latest: datetime | None = None


@dataclass(frozen=True)
class LegRow:
    """One leg: distance, courses and headings (true, magnetic, compass), wind, speeds, time and fuel."""

    start: str
    end: str
    distance: Figure
    course_true: Figure
    course_magnetic: Figure
    variation: Figure
    heading_true: Figure
    heading_magnetic: Figure
    heading_compass: Figure | None
    altitude: Figure
    wind_from: Figure
    wind_speed: Figure
    temperature: Figure
    tas: Figure
    groundspeed: Figure
    time: Figure
    fuel: Figure
    phases: dict[str, dict[str, Figure]]


@dataclass(frozen=True)
class TankRow:
    """One stretch of the tank plan."""

    tank: str
    start: datetime
    end: datetime
    burn: Figure
    where: str


@dataclass(frozen=True)
class FuelSummary:
    """Fuel by part of the flight, what to order, on board, left on landing, endurance and latest times."""

    parts: dict[str, Figure]
    to_order: Figure
    on_board: Figure
    how_known: dict[str, str]
    left_at_landing: Figure
    endurance: Figure
    on_the_ground_by: datetime | None
    reserve: str
    words: tuple[str, ...] = ()


@dataclass(frozen=True)
class PointRow:
    """A last point: where and when, of the calibration whose point comes first; docs/methods/last-points.md.

    distance: {"value", "unit", "low", "high"} along the route from the departure, a null lies beyond the stretch looked at;
    None: there is no such point or it is not known, `words` say which. moment, earliest: clock of the middle and of the low
    end; position (lat, lon, deg), fuel (usable that still feeds) and leg are those of the middle, of the low end where
    the middle lies beyond. tank: the one that does not feed; worst: the earliest of those with one tank lost, where one is reached.
    """

    name: str
    moment: datetime | None
    earliest: datetime | None
    distance: dict[str, Any] | None
    position: tuple[float, float] | None
    leg: str
    fuel: Figure | None
    words: str
    calibration: str
    tank: str = ""
    worst: bool = False


@dataclass(frozen=True)
class GlideRow:
    """Share of the route's length within glide of an aerodrome at one level; None: not known, `words` why."""

    level: Figure
    propeller: str
    share: Figure | None
    words: str
    calibration: str


@dataclass(frozen=True)
class OnTheWayRow:
    """An aerodrome near the route where this aeroplane can land: where and when it is passed, how far, time and fuel to it.

    time and fuel from the point of the route nearest to it; None: not known, because no winds aloft are given.
    """

    ident: str
    name: str
    distance: Figure
    off: Figure
    moment: datetime
    time: Figure | None
    fuel: Figure | None


@dataclass(frozen=True)
class Extras:
    """What is worked out only when asked: last points, glide, aerodromes on the way; words: what they rest on."""

    last_points: tuple[PointRow, ...] = ()
    glide: tuple[GlideRow, ...] = ()
    on_the_way: tuple[OnTheWayRow, ...] = ()
    words: tuple[str, ...] = ()


@dataclass(frozen=True)
class Assessment:
    """One flight judged."""

    verdict: Verdict
    sentence: str
    request: dict[str, Any]
    aeroplane: dict[str, Any]
    margins: tuple[Margin, ...]
    loading: tuple[LoadingRow, ...] = ()
    timeline: tuple[TimelineRow, ...] = ()
    legs: tuple[LegRow, ...] = ()
    fuel: FuelSummary | None = None
    tanks: tuple[TankRow, ...] = ()
    tank_words: tuple[str, ...] = ()
    runways: tuple[dict[str, Any], ...] = ()
    cards: dict[str, Any] = field(default_factory=dict)
    more: dict[str, Figure] = field(default_factory=dict)
    warnings: tuple[dict[str, str], ...] = ()
    not_known: tuple[str, ...] = ()
    not_checked: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    extras: Extras | None = None
