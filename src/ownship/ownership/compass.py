"""Compass swing: deviation as a Fourier series of the heading (coefficients A to E), and the deviation card.

deviation = magnetic - compass (east positive) = A + B sin C' + C cos C' + D sin 2C' + E cos 2C', C' the compass heading.
From memory; it is the series of the textbooks on compasses. A swing is a licensed person's work where the law says so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ownship.errors import BadInput
from ownship.units import to_si

LEAST_READINGS, WIDEST_GAP_DEG, MOST_DEG, ALLOWED_DEG = 4, 100.0, 45.0, 10.0
MISREAD_DEG = 3.0  # a card compass is read to a degree or two
SOUND = 4.0  # condition number above which two coefficients are not told apart
CARD_DEG = tuple(range(0, 360, 30))
FULL = float(to_si(360.0, "deg"))


@dataclass(frozen=True)
class Coefficients:
    """A to E, degrees; D and E None: these headings do not tell them apart. sd_deg: scatter of the readings about the
    series, None where as many coefficients as readings; worst_deg: the largest misfit."""

    a_deg: float
    b_deg: float
    c_deg: float
    d_deg: float | None
    e_deg: float | None
    sd_deg: float | None
    worst_deg: float

    def deviation_deg(self, compass_deg: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Deviation on compass headings, any shape, degrees, east positive."""
        angle = np.radians(np.asarray(compass_deg, float))
        found = self.a_deg + self.b_deg * np.sin(angle) + self.c_deg * np.cos(angle)
        if self.d_deg is not None and self.e_deg is not None:
            found = found + self.d_deg * np.sin(2 * angle) + self.e_deg * np.cos(2 * angle)
        return np.asarray(found)


@dataclass(frozen=True)
class DeviationCard:
    """For a magnetic heading steer this compass heading, degrees; words: what to mind."""

    magnetic_deg: tuple[float, ...]
    compass_deg: tuple[float, ...]
    coefficients: Coefficients
    words: tuple[str, ...]


def turned(difference_deg: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """A difference of headings in -180 to 180 degrees."""
    return np.asarray((np.asarray(difference_deg, float) + FULL / 2) % FULL - FULL / 2)


def coefficients(magnetic_deg: tuple[float, ...], compass_deg: tuple[float, ...]) -> Coefficients:
    """Least squares of the series on a swing.

    On eight headings 45 degrees apart by compass this is the textbook's A = mean, D = ((NE + SW) - (SE + NW))/4,
    E = ((N + S) - (E + W))/4; its B = (E - W)/2 and C = (N - S)/2 use the cardinals alone. BadInput: fewer than 4 readings,
    a gap above 100 degrees, a heading outside 0 to 360, a deviation above 45 degrees (a misread heading). From memory.
    """
    compass, deviation = _checked(magnetic_deg, compass_deg)
    design = _design(compass)
    full = len(compass) > 4 and np.linalg.cond(design) < SOUND
    used = design if full else design[:, :3]
    found, *_ = np.linalg.lstsq(used, deviation, rcond=None)
    misfit = deviation - used @ found
    spare = len(compass) - used.shape[1]
    sd = float(np.sqrt(np.sum(misfit**2) / spare)) if spare > 0 else None
    d, e = (float(found[3]), float(found[4])) if full else (None, None)
    return Coefficients(float(found[0]), float(found[1]), float(found[2]), d, e, sd, float(np.max(np.abs(misfit))))


def _design(compass_deg: NDArray[np.float64]) -> NDArray[np.float64]:
    """Columns 1, sin, cos, sin of twice, cos of twice the heading (n, 5)."""
    angle = np.radians(compass_deg)
    return np.column_stack([np.ones_like(angle), np.sin(angle), np.cos(angle), np.sin(2 * angle), np.cos(2 * angle)])


def _checked(magnetic_deg: tuple[float, ...], compass_deg: tuple[float, ...]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(compass headings, deviations) of a swing that can be used."""
    if len(magnetic_deg) != len(compass_deg):
        raise BadInput(f"swing: {len(magnetic_deg)} magnetic and {len(compass_deg)} compass headings are given; write as "
                       "many of each.")
    if len(magnetic_deg) < LEAST_READINGS:
        raise BadInput(f"swing: {len(magnetic_deg)} headings are given; read at least {LEAST_READINGS}, better 8 or 12.")
    for value in (*magnetic_deg, *compass_deg):
        if not 0 <= value <= FULL:
            raise BadInput(f"swing: {value:g} is no heading; write 0 to 360 degrees.")
    compass = np.asarray(compass_deg, float)
    deviation = turned(np.asarray(magnetic_deg, float) - compass)
    worst = int(np.argmax(np.abs(deviation)))
    if abs(deviation[worst]) > MOST_DEG:
        raise BadInput(f"swing: magnetic {magnetic_deg[worst]:g} and compass {compass_deg[worst]:g} are "
                       f"{abs(deviation[worst]):.0f} degrees apart, more than {MOST_DEG:.0f}; look for a misread heading.")
    order = np.sort(compass % FULL)
    gap = float(np.max(np.diff(np.append(order, order[0] + FULL))))
    if gap > WIDEST_GAP_DEG:
        raise BadInput(f"swing: no heading was read over {gap:.0f} degrees of the compass; leave no gap above "
                       f"{WIDEST_GAP_DEG:.0f} degrees.")
    return compass, deviation


def deviation_card(magnetic_deg: tuple[float, ...], compass_deg: tuple[float, ...]) -> DeviationCard:
    """The card of a swing: compass headings to steer for every 30 degrees magnetic, to whole degrees."""
    found = coefficients(magnetic_deg, compass_deg)
    steer = tuple(float(round(float(x)) % FULL) for x in to_steer(np.array(CARD_DEG, float), found))
    return DeviationCard(tuple(float(x) for x in CARD_DEG), steer, found, _words(found))


def to_steer(magnetic_deg: NDArray[np.float64], found: Coefficients) -> NDArray[np.float64]:
    """The compass heading whose magnetic heading is the one wanted: compass + deviation(compass) = magnetic, by iteration."""
    compass = np.asarray(magnetic_deg, float)
    for _ in range(200):
        compass = magnetic_deg - found.deviation_deg(compass)
    if np.max(np.abs(turned(compass + found.deviation_deg(compass) - magnetic_deg))) > 0.01:
        raise BadInput("swing: these readings give no single heading to steer; have the compass adjusted and swing it again.")
    return compass % FULL


def _words(found: Coefficients) -> tuple[str, ...]:
    words = []
    largest = float(np.max(np.abs(found.deviation_deg(np.arange(0.0, FULL)))))
    if largest > ALLOWED_DEG:
        words.append(f"deviation reaches {largest:.0f} degrees; {ALLOWED_DEG:.0f} is the most the type rules allow (from memory): "
                     "have the compass adjusted")
    if found.d_deg is None:
        words.append("D and E are not known from these headings; swing on 8 or more")
    if found.sd_deg is None:
        words.append("as many coefficients as readings: nothing tells whether a reading is wrong")
    elif found.worst_deg > MISREAD_DEG:
        words.append(f"a reading lies {found.worst_deg:.0f} degrees off the curve: read it again")
    return tuple(words)
