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
