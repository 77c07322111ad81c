"""Drag of the aeroplane: parabolic polar with configuration drag and ground effect."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Number = Any
GROUND_EFFECT_HIGH_WING, GROUND_EFFECT_LOW_WING = 0.92, 0.76
FREE_AIR = 1.0


@dataclass(frozen=True)
class DragLaw:
    """Wing area (m2), aspect ratio, zero-lift drag CD0 and span efficiency e; phi on the ground."""

    wing_area_m2: float
    aspect_1: float
    cd0_1: Number
    efficiency_1: Number
    ground_effect_1: float

    @property
    def induced_1(self) -> Number:
        """k of CD = CD0 + k CL^2: 1/(pi e A)."""
        return 1 / (np.pi * self.efficiency_1 * self.aspect_1)


def ground_effect_1(height_m: float, span_m: float) -> float:
    """phi = (16 h/b)^2/(1 + (16 h/b)^2), the share of induced drag left at a height. Source: McCormick; from memory."""
    ratio = (16 * height_m / span_m) ** 2
    return ratio / (1 + ratio)


def drag_n(law: DragLaw, density_kg_m3: Number, tas_m_s: Number, lift_n: Number, *, configuration_1: Number = 0.0,
           ground_effect_1: float = FREE_AIR) -> FloatArray:
    """D = q S [CD0 + dCD + phi CL^2/(pi e A)], CL = L/(q S); N, any shape. tas > 0."""
    q_area = 0.5 * density_kg_m3 * np.square(tas_m_s) * law.wing_area_m2
    return np.asarray(q_area * (law.cd0_1 + configuration_1)
                      + ground_effect_1 * law.induced_1 * np.square(lift_n) / q_area)


def minimum_drag_speed_m_s(law: DragLaw, density_kg_m3: Number, lift_n: Number,
                           configuration_1: Number = 0.0) -> FloatArray:
    """V_md = sqrt(2 L/(rho S)) (k/(CD0 + dCD))^(1/4), m/s, at a lift L (N)."""
    return np.asarray(np.sqrt(2 * lift_n / (density_kg_m3 * law.wing_area_m2))
                      * (law.induced_1 / (law.cd0_1 + configuration_1)) ** 0.25)


def glide_speed_m_s(law: DragLaw, density_kg_m3: Number, weight_n: Number, configuration_1: Number = 0.0) -> FloatArray:
    """TAS of the best glide: V_md at the lift of the glide, L = W cos(gamma), cot(gamma) = L/D. Check: MO-01."""
    ratio = best_glide_ratio_1(law, configuration_1)
    return minimum_drag_speed_m_s(law, density_kg_m3, weight_n * ratio / np.sqrt(1 + ratio**2), configuration_1)


def best_glide_ratio_1(law: DragLaw, configuration_1: Number = 0.0) -> FloatArray:
    """L/D at best glide: 1/(2 sqrt(k (CD0 + dCD))). Check: MO-01."""
    return np.asarray(1 / (2 * np.sqrt(law.induced_1 * (law.cd0_1 + configuration_1))))
