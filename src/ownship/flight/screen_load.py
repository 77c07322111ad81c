"""The load of many candidate flights at once: weights, CG along the burn, stations, groups, category.

The rules are those of judge_load and aeroplane.loading, arithmetic for arithmetic, with an array of candidates in
place of one flight (tests hold the two together). Verdicts are indices into words.verdicts.ORDER.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ownship.aeroplane.description import AirframeRecord, is_figure, not_published
from ownship.aeroplane.envelope import SLOPE_STEP_KG, arm_limits_at, weight_range
from ownship.aeroplane.loading import LoadItem, item_sd_kg, taxi_allowance_kg
from ownship.aeroplane.weighing import EmptyWeight, InputErrors
from ownship.flight.judge_load import FuelMoment
from ownship.flight.margins import normal_quantile
from ownship.words.verdicts import NOT_KNOWN, ORDER, OUTSIDE, TIGHT, WITHIN

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int_]
IS_WITHIN, IS_TIGHT, IS_NOT_KNOWN, IS_OUTSIDE = (ORDER.index(v) for v in (WITHIN, TIGHT, NOT_KNOWN, OUTSIDE))
PATH_SHARES = (0.25, 0.5, 0.75)  # between two moments of the burn; the ordinary assessment samples 20 steps
LEFT = -1  # station index of an item that stays behind


@dataclass(frozen=True)
class _Sums:
    """Per candidate: weight, moments with seats forward and aft, and sum of variances times arm^0, ^1, ^2."""

    weight_kg: FloatArray
    forward_kg_m: FloatArray
    aft_kg_m: FloatArray
    v0: FloatArray
    v1: FloatArray
    v2: FloatArray


@dataclass(frozen=True)
class LoadScreen:
    """What of the aeroplane and the planned burn the candidates share.

    moments: fuel by tank at ramp, take-off, fixes, landing, alternate, none, of the flight as planned; of a candidate with other
    fuel each tank has burnt the same. Where tanks' arms differ, each tank emptied first is looked at too.
    """

    record: AirframeRecord
    category: str
    empty: EmptyWeight
    items: tuple[LoadItem, ...]
    errors: InputErrors
    moments: tuple[FuelMoment, ...]
    density_kg_m3: float
    confidence_1: float

    def dry_kg(self, stations: IntArray) -> FloatArray:
        """Weight without usable fuel, (candidate,), for stations (candidate, item): index of the record's station or LEFT."""
        weights = np.array([i.weight_kg for i in self.items])
        return np.asarray(self.empty.weight_kg + np.where(stations == LEFT, 0.0, weights).sum(axis=1))

    def verdicts(self, stations: IntArray, usable_m3: FloatArray, burn_m3: FloatArray) -> dict[str, IntArray]:
        """Verdict index (candidate,) of each group of limits; usable (candidate, tank), burn to landing (candidate,)."""
        z = normal_quantile(self.confidence_1)
        sums = self._sums(stations)
        return {"weights": self._weights(sums, usable_m3, burn_m3, z), "cg": self._cg(sums, usable_m3, burn_m3, z),
                "stations": self._stations(stations, z)}

    def at_best(self, stations: IntArray, usable_m3: FloatArray) -> IntArray:
        """Verdict index (candidate,) of what no way of flying betters: ramp and zero fuel, weight and CG, and the stations."""
        z, w = normal_quantile(self.confidence_1), self.record.weights
        sums, envelope = self._sums(stations), self.record.envelope(self.category)
        found = self._stations(stations, z)
        for moment, limit, fuel, taxi in ((self.moments[0], w.ramp_max_kg, usable_m3, taxi_allowance_kg(self.record)),
                                          (self.moments[-1], w.zero_fuel_max_kg, np.zeros_like(usable_m3), 0.0)):
            point = self._fuelled(sums, fuel, moment.sd_m3)
            if is_figure(limit):
                found = np.maximum(found, judged(float(limit) - point.weight_kg, z * np.sqrt(point.v0)))  # type: ignore[arg-type]
            if envelope is not None:
                found = np.maximum(found, self._room(point, envelope.points, envelope.straight_in, taxi, z))
        return found

    # -- sums ------------------------------------------------------------------------
    def _sums(self, stations: IntArray) -> _Sums:
        e, record = self.empty, self.record
        arms = np.array([s.arm_m for s in record.stations] + [(0.0, 0.0)])  # the last row is LEFT
        mass = np.array([i.weight_kg for i in self.items])
        sd = np.array([[item_sd_kg(i, s, self.errors) for s in record.stations] + [0.0] for i in self.items])
        aboard = np.where(stations == LEFT, 0.0, mass)
        variance = sd[np.arange(len(self.items)), stations] ** 2
        forward, aft = arms[stations, 0], arms[stations, 1]
        mean = (forward + aft) / 2
        def over(x: FloatArray) -> FloatArray:
            return np.asarray(x.sum(axis=1))

        v = e.weight_sd_kg**2
        return _Sums(e.weight_kg + over(aboard), e.weight_kg * e.arm_m + over(aboard * forward),
                     e.weight_kg * e.arm_m + over(aboard * aft), v + over(variance), v * e.arm_m + over(variance * mean),
                     v * e.arm_m**2 + over(variance * mean**2))

    def _fuelled(self, sums: _Sums, usable_m3: FloatArray, sd_m3: dict[str, float]) -> _Sums:
        arms = np.array([t.arm_m for t in self.record.tanks])
        mass = usable_m3 * self.density_kg_m3
        v = np.array([(sd_m3.get(t.id, 0.0) * self.density_kg_m3) ** 2 for t in self.record.tanks])
        moment = mass @ arms
        return _Sums(sums.weight_kg + mass.sum(axis=1), sums.forward_kg_m + moment, sums.aft_kg_m + moment,
                     sums.v0 + v.sum(), sums.v1 + float(v @ arms), sums.v2 + float(v @ arms**2))

    # -- fuel through the flight -------------------------------------------------------
    def _at(self, moment: FuelMoment, usable_m3: FloatArray, burn_m3: FloatArray) -> FloatArray:
        """Fuel by tank (candidate, tank) at a moment; at landing the candidate's own burn counts, by the tanks as planned."""
        start, now = self.moments[0].usable_m3, moment.usable_m3
        used = np.array([start[t.id] - now[t.id] for t in self.record.tanks])
        if moment.id == "zero_fuel":
            return np.zeros_like(usable_m3)
        planned = float(used.sum())
        scale = burn_m3 / planned if moment.id == "landing" and planned > 0 else np.ones(len(usable_m3))
        return np.maximum(usable_m3 - scale[:, None] * used, 0.0)

    def _states(self, usable_m3: FloatArray, burn_m3: FloatArray) -> Iterator[tuple[FloatArray, dict[str, float], float]]:
        """(fuel by tank, its errors, allowance above the envelope) at every moment, between them, and by each order of tanks."""
        taxi = taxi_allowance_kg(self.record)
        at = [self._at(m, usable_m3, burn_m3) for m in self.moments]
        for fuel, moment in zip(at, self.moments, strict=True):
            yield fuel, moment.sd_m3, taxi if moment.id == "ramp" else 0.0
        for (a, b), moment in zip(pairwise(at), self.moments[:-1], strict=True):
            for share in PATH_SHARES:
                yield (1 - share) * a + share * b, moment.sd_m3, taxi if moment.id == "ramp" else 0.0
        if len({t.arm_m for t in self.record.tanks}) > 1:
            sd = self.moments[0].sd_m3
            for tank in range(usable_m3.shape[1]):
                for share in (0.5, 1.0):
                    emptied = usable_m3.copy()
                    emptied[:, tank] *= 1 - share
                    yield emptied, sd, 0.0
                    alone = np.zeros_like(usable_m3)
                    alone[:, tank] = usable_m3[:, tank] * share
                    yield alone, sd, 0.0

    # -- limits ------------------------------------------------------------------------
    def _weights(self, sums: _Sums, usable_m3: FloatArray, burn_m3: FloatArray, z: float) -> IntArray:
        w = self.record.weights
        by_id = {m.id: m for m in self.moments}
        found = np.zeros(len(burn_m3), dtype=int)
        for key, limit in (("ramp", w.ramp_max_kg), ("take_off", w.take_off_max_kg), ("landing", w.landing_max_kg),
                           ("zero_fuel", w.zero_fuel_max_kg)):
            if not_published(limit):
                continue
            if not is_figure(limit) or key not in by_id:
                found = np.maximum(found, IS_NOT_KNOWN)
                continue
            point = self._fuelled(sums, self._at(by_id[key], usable_m3, burn_m3), by_id[key].sd_m3)
            found = np.maximum(found, judged(float(limit) - point.weight_kg, z * np.sqrt(point.v0)))  # type: ignore[arg-type]
        return found

    def _cg(self, sums: _Sums, usable_m3: FloatArray, burn_m3: FloatArray, z: float) -> IntArray:
        envelope = self.record.envelope(self.category)
        if envelope is None:
            return np.full(len(burn_m3), IS_NOT_KNOWN)
        found = np.zeros(len(burn_m3), dtype=int)
        for fuel, sd, taxi in self._states(usable_m3, burn_m3):
            found = np.maximum(found, self._room(self._fuelled(sums, fuel, sd), envelope.points, envelope.straight_in, taxi, z))
        return found

    def _room(self, p: _Sums, points: tuple[tuple[float, float], ...], straight_in: str, taxi_kg: float, z: float) -> IntArray:
        """aeroplane.loading.room and judge_load's judgement of it, for every candidate."""
        low, high = weight_range(points)
        at = np.clip(p.weight_kg, low, high)
        first, last = arm_limits_at(points, straight_in, at)
        forward, aft = p.forward_kg_m / p.weight_kg - first, last - p.aft_kg_m / p.weight_kg
        mean = (p.forward_kg_m + p.aft_kg_m) / 2 / p.weight_kg
        arm = (p.v2 - 2 * mean * p.v1 + mean**2 * p.v0) / p.weight_kg**2
        arm = arm + (self.empty.weight_kg / p.weight_kg * self.empty.arm_sd_m) ** 2
        covariance = (p.v1 - mean * p.v0) / p.weight_kg
        slope = np.where(at == p.weight_kg, _slope(points, straight_in, at, first, last, forward < aft), 0.0)
        variance = np.maximum(arm + slope**2 * p.v0 - 2 * slope * covariance, 0.0)
        in_arm = judged(np.minimum(forward, aft), z * np.sqrt(variance))
        return np.where(high + taxi_kg - p.weight_kg < 0, IS_OUTSIDE, in_arm)

    def _stations(self, stations: IntArray, z: float) -> IntArray:
        record = self.record
        mass = np.array([i.weight_kg for i in self.items])
        weight = np.stack([np.where(stations == k, mass, 0.0).sum(axis=1) for k in range(len(record.stations))], axis=1)
        sd = np.array([[item_sd_kg(i, s, self.errors) for i in self.items] for s in record.stations])
        variance = np.stack([np.where(stations == k, sd[k] ** 2, 0.0).sum(axis=1) for k in range(len(record.stations))], axis=1)
        found = np.zeros(len(stations), dtype=int)
        index = {s.id: k for k, s in enumerate(record.stations)}
        limits = [([k], s.max_kg) for k, s in enumerate(record.stations)]
        limits += [([index[x] for x in g.stations], g.max_kg) for g in record.station_groups]
        for members, limit in limits:
            at, error = weight[:, members].sum(axis=1), np.sqrt(variance[:, members].sum(axis=1))
            if is_figure(limit):
                found = np.maximum(found, judged(float(limit) - at, z * error))  # type: ignore[arg-type]
            elif not not_published(limit):
                found = np.where(at > 0, np.maximum(found, IS_NOT_KNOWN), found)
        rules = next((c for c in record.categories if c.name == self.category), None)
        for name in rules.stations_empty if rules else ():
            found = np.where(weight[:, index[name]] > 0, IS_OUTSIDE, found)
        return found


def judged(room: FloatArray, error: FloatArray) -> IntArray:
    """margins.exact for arrays: outside below zero, tight within the error, else within."""
    return np.where(room < 0, IS_OUTSIDE, np.where(room >= error, IS_WITHIN, IS_TIGHT))


def _slope(points: tuple[tuple[float, float], ...], straight_in: str, at: FloatArray, first: FloatArray, last: FloatArray,
           forward: NDArray[np.bool_]) -> FloatArray:
    """How the nearer limit moves with weight, m/kg: the steeper of the slopes below and above (envelope.limit_slopes)."""
    best = np.zeros(at.shape)
    for step in (-SLOPE_STEP_KG, SLOPE_STEP_KG):
        near_first, near_last = arm_limits_at(points, straight_in, at + step)
        slope = np.nan_to_num(np.where(forward, near_first - first, near_last - last) / step)
        best = np.where(np.abs(slope) > np.abs(best), slope, best)
    return best
