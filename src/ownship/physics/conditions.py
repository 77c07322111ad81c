"""What a runway offers a wheel: a record shared by performance and flight."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Surface:
    """One state of a surface: rolling friction, published factors on the distance over 50 ft, source.

    friction_1 None: the calibrated dry-pavement value. A factor of None is not known (deep or soft surfaces).
    """

    name: str
    friction_1: float | None
    take_off_factor_1: float | None
    landing_factor_1: float | None
    source: str
