"""Engine trend from what the owner logs: slope per 100 h with its band, and an alert where it goes the wrong way.

Slope: the median of the slopes between all pairs of entries (Theil-Sen), so that a single wrong entry does not turn it;
band: the pair slopes at the ranks that Kendall's test of no trend leaves, 5 to 95 %, with ties corrected. Derivation:
docs/methods/fuel-log.md, last paragraph.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ownship.errors import BadInput
from ownship.units import from_si, to_si
from ownship.words.figures import number_text

FloatArray = NDArray[np.float64]
PER_S = float(to_si(100, "h"))  # slopes are told per 100 h
LEAST = 5  # entries; with fewer a band says nothing
BAND_Z = 1.6449  # 5 and 95 %


@dataclass(frozen=True)
class Kind:
    """What is logged: words, which way is bad (-1 falling, +1 rising), unit for people, digits, what to have looked at."""

    name: str
    bad: int
    unit: str
    dimension: str
    digits: int
    look: str


KINDS = {
    "static_rev_s": Kind("static rpm in standard air", -1, "rpm", "rotation", 0,
                         "tachometer, propeller, carburettor heat shut, air filter, ignition, valves and compressions"),
    "oil_m3_s": Kind("oil used", 1, "qt/h", "volume", 2, "leaks, breather, rings and valve guides; oil analysis and filter"),
    "compression_1": Kind("compression", -1, "%", "ratio", 1, "the leak heard at exhaust, intake or breather; bore-scope"),
    "mag_drop_rev_s": Kind("magneto drop", 1, "rpm", "rotation", 0, "plugs, leads, magneto timing and points"),
}


@dataclass(frozen=True)
class Entry:
    """One logged value: engine time in s, value in SI (rev/s, m3/s, ratio), and the ratio that reduces it to standard air.

    reduction_1: value in standard air / value as read, from the caller's model (static rpm); 1 where none is needed.
    """

    engine_time_s: float
    value: float
    reduction_1: float = 1.0


@dataclass(frozen=True)
class Trend:
    """Slope in SI per 100 h with its 5-95 % band, level now (median line at the last entry), alert, words.

    With too few entries slope, low, high are NaN and there is no alert.
    """

    kind: str
    label: str
    entries: int
    slope: float
    low: float
    high: float
    now: float
    alert: bool
    words: str


def trend(kind: str, entries: Sequence[Entry], label: str = "") -> Trend:
    """The trend of one series (label: which cylinder or magneto); alert where the band excludes zero in the bad direction.

    Of engines that do not change at all, one series in twenty still alerts: an alert asks for a look, it is no finding.
    Raises BadInput on an unknown kind or numbers that are not finite, a reduction not above zero.
    """
    if kind not in KINDS:
        raise BadInput(f"{kind!r} is not an engine trend kept here; it is one of: {', '.join(KINDS)}.")
    time = np.array([e.engine_time_s for e in entries], dtype=np.float64)
    ratio = np.array([e.reduction_1 for e in entries], dtype=np.float64)
    value = np.array([e.value for e in entries], dtype=np.float64) * ratio
    name = f"{KINDS[kind].name}{f' ({label})' if label else ''}"
    if not (np.isfinite(time).all() and np.isfinite(value).all() and (ratio > 0).all()):
        raise BadInput(f"{name}: an entry has no finite time or value, or a reduction that is not above zero; correct it.")
    if len(set(time.tolist())) < LEAST:
        some = "1 entry is" if len(entries) == 1 else f"{len(entries)} entries are"
        words = f"{name}: {some} too few to show a trend; {LEAST} at different engine times are needed."
        return Trend(kind, label, len(entries), np.nan, np.nan, np.nan, np.nan, False, _sentence(words))
    slope, low, high = (x * PER_S for x in slope_band(time, value))
    now = float(np.median(value - slope / PER_S * (time - time.max())))
    alert = high < 0 if KINDS[kind].bad < 0 else low > 0
    return Trend(kind, label, len(entries), slope, low, high, now, bool(alert),
                 _words(KINDS[kind], name, len(entries), (slope, low, high, now), bool(alert)))


def slope_band(time: FloatArray, value: FloatArray) -> tuple[float, float, float]:
    """Median of the slopes of all pairs and its 5-95 % band, in value per unit of time.

    Kendall's S has variance (n(n-1)(2n+5) - sum t(t-1)(2t+5) over groups of t equal values and of t equal times) / 18;
    with N pairs the band runs from the slope of rank (N - z sd)/2 to that of rank (N + z sd)/2 + 1, rounded outwards.
    """
    first, second = np.triu_indices(len(time), 1)
    apart = time[second] != time[first]
    first, second = first[apart], second[apart]
    slopes = np.sort((value[second] - value[first]) / (time[second] - time[first]))
    n = len(time)
    ties = sum(float(t * (t - 1) * (2 * t + 5)) for x in (time, value) for t in np.unique(x, return_counts=True)[1])
    spread = BAND_Z * np.sqrt(max(n * (n - 1) * (2 * n + 5) - ties, 0.0) / 18)
    low = max(int(np.floor((len(slopes) - spread) / 2)) - 1, 0)
    high = min(int(np.ceil((len(slopes) + spread) / 2)), len(slopes) - 1)
    return float(np.median(slopes)), float(slopes[low]), float(slopes[high])


def _shown(kind: Kind, value: float) -> float:
    """SI in the unit for people: oil is a flow, told as the volume of an hour."""
    if kind.unit == "qt/h":
        return float(from_si(value * to_si(1, "h"), "qt"))
    return float(from_si(value, kind.unit, kind.dimension))


def _words(kind: Kind, name: str, entries: int, figures: tuple[float, float, float, float], alert: bool) -> str:
    slope, low, high, now = (number_text(_shown(kind, x), kind.digits) for x in figures)
    change = f"{slope} {kind.unit} per 100 h ({low} to {high}), now {now} {kind.unit}, from {entries} entries"
    if not alert:
        return _sentence(f"{name}: {change}; no trend to the bad that stands out of the scatter.")
    way = "falling" if kind.bad < 0 else "rising"
    return _sentence(f"{name} is {way}: {change}. Have a mechanic look at: {kind.look}.")


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:]
