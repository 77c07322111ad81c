"""Many candidate flights at once: what the load, the fuel and the way of flying do to every limit.

A candidate differs from the flight as asked in the place of its items, its fuel and its profile (level, power, leaning,
runway, hour). The load is judged exactly (screen_load). Everything else depends on the weight alone: each profile is
flown by the ordinary functions at three weights, and each margin is carried to the candidate's weight by the parabola
through them; margins of fuel move with the fuel aboard. So the bands are the ordinary ones, carried over, and a
candidate costs a few array operations. Tank plans are judged once for each amount of fuel. Derivation and measured
error: docs/methods/remedies.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ownship.aeroplane.loading import limit_kg
from ownship.errors import BadInput, NotPossible
from ownship.flight import assessment as whole
from ownship.flight import margins as rule
from ownship.flight.chance import middle
from ownship.flight.changes import air_by_the_hour, is_person
from ownship.flight.flown import Flown
from ownship.flight.fuel import on_board
from ownship.flight.runways import JudgedEnd
from ownship.flight.screen_curves import EASE_1, NODES, Curve, Profile, curve_of, judged_at, moved, parabola, share_of, together
from ownship.flight.screen_load import IS_NOT_KNOWN, IS_OUTSIDE, IS_WITHIN, LEFT, LoadScreen
from ownship.flight.situation import Situation
from ownship.units import from_si, to_si
from ownship.words.verdicts import ORDER

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int_]
NEAR_BURN_M3 = float(to_si(0.05, "usgal"))  # more than the middle draw alone is off by
OTHER_BURN_M3 = float(to_si(4, "usgal"))  # more than another level, power or leaning changes the burn of a flight by
LANDING_IDS = ("runway.landing", "runway.leave_again", "go_around.", "obstacle.leave_again")
FUEL_IDS = ("fuel.landing", "fuel.fix.", "own.landing_fuel")


@dataclass(frozen=True)
class Candidates:
    """Arrays of candidates: station of every item (candidate, item), usable fuel m3 (candidate, tank), index into `ways`.

    ways: the ways of flying that occur, each a set of the screen's profiles made together; () is as asked.
    """

    stations: IntArray
    usable_m3: FloatArray
    profile: IntArray
    ways: tuple[tuple[int, ...], ...] = ((),)

    def __len__(self) -> int:
        return len(self.profile)

    def where(self, chosen: NDArray[np.bool_] | IntArray) -> Candidates:
        """Some of them."""
        return Candidates(self.stations[chosen], self.usable_m3[chosen], self.profile[chosen], self.ways)


@dataclass(frozen=True)
class Screened:
    """Per candidate: verdict index into ORDER, the same where a hair is let pass (near: the full assessment may decide
    otherwise), the ids of limits with their verdict index, block time (s)."""

    verdict: IntArray
    near: IntArray
    by_limit: dict[str, IntArray]
    time_s: FloatArray


@dataclass(frozen=True)
class _AsAsked:
    """The flight as asked at the nodes: ramp and landing weights, burn, time, its curves, and the middle node's flight."""

    ramp_kg: FloatArray
    landing_kg: FloatArray
    burn_m3: FloatArray
    time_s: FloatArray
    curves: dict[str, Curve]
    node: _Node


@dataclass(frozen=True)
class _Node:
    """One flight at one weight: margins by id, the calibration's flight that leaves least, runways as judged."""

    margins: dict[str, rule.Margin]
    flown: Flown | None
    ends: dict[str, JudgedEnd]

    def total(self, name: str) -> float:
        """Burn (m3) or time (s) to landing; 0 where it cannot be flown."""
        return 0.0 if self.flown is None else float(np.nan_to_num(middle(self.flown.timeline.total(name))))


class Screen:
    """The flight as asked, and everything needed to judge its candidates; profiles are worked out when first asked for."""

    def __init__(self, s: Situation, profiles: Sequence[Situation]) -> None:
        """profiles: the situation of each way of flying, with the load and fuel as asked; the first is the flight as asked."""
        self.s, self.profiles = s, tuple(profiles)
        self.aboard = whole.aboard_of(s)
        if self.aboard.load is None or self.aboard.empty is None or self.aboard.missing or s.calibrations is None:
            raise BadInput(self.aboard.missing or s.no_model or "Without weights and a performance model nothing can be searched.")
        self.tanks = on_board(s.request, s.record, s.errors, s.chance)
        self.usable_m3 = np.array([t.usable_m3 for t in self.tanks])
        self._quick: dict[int, tuple[float, float]] = {}
        self._kept: dict[tuple[int, ...], Profile] = {}
        self._tank_verdicts: dict[tuple[float, ...], int] = {}

    # -- the candidates ------------------------------------------------------------------------------------------------
    @cached_property
    def as_asked(self) -> IntArray:
        """Station of every item as asked, (item,)."""
        index = {x.id: k for k, x in enumerate(self.s.record.stations)}
        return np.array([index[i.station] for i in self.aboard.items], dtype=int)

    @cached_property
    def _load(self) -> LoadScreen:
        flights = whole.fly(self.s, self.aboard)
        governing = whole.governing_of(flights)
        plan = whole.tank_plan_of(self.s, self.aboard, governing)
        return replace(self._load_at_ends, moments=whole.moments_of(self.s, self.aboard, governing, plan))

    @cached_property
    def _load_at_ends(self) -> LoadScreen:
        """The load before the flight and without fuel: nothing is flown."""
        assert self.aboard.empty is not None
        return LoadScreen(self.s.record, self.s.request.category, self.aboard.empty, self.aboard.items, self.s.errors,
                          whole.moments_of(self.s, self.aboard, None, None), self.aboard.density_kg_m3,
                          self.s.request.factors.confidence)

    def rate(self, candidates: Candidates) -> Screened:
        """Judge candidates."""
        n, base = len(candidates), self.flown_as_asked
        usable = candidates.usable_m3.sum(axis=1)
        ramp = self._load.dry_kg(candidates.stations) + usable * self.aboard.density_kg_m3
        share = share_of(base.ramp_kg, ramp)
        burn, time = parabola(base.burn_m3, share), parabola(base.time_s, share)
        more = np.asarray(from_si(usable - self.usable_m3.sum(), "usgal"))
        found: dict[str, IntArray] = {"seats": self._seats(candidates.stations)}
        used, which = np.unique(candidates.profile, return_inverse=True)
        ways = [self._way(candidates.ways[int(index)]) for index in used]
        flown = np.array([not way.why for way in ways])[which]
        if not flown.all():
            found["flight"] = np.where(flown, IS_WITHIN, IS_OUTSIDE)
        burn, time = (x + np.array([getattr(way, name) for way in ways])[which]
                      for x, name in ((burn, "burn_m3"), (time, "time_s")))
        landing = share_of(base.landing_kg, ramp - burn * self.aboard.density_kg_m3)
        by_curve, near = dict.fromkeys(i for way in ways for i in way.curves), np.zeros(n, dtype=int)
        for id_ in by_curve:
            has = np.array([id_ in way.curves for way in ways])
            at = np.nonzero(has[which])[0]
            place = (landing if id_.startswith(LANDING_IDS) else share)[at]
            shift = more[at] if id_.startswith(FUEL_IDS) else np.zeros(at.size)
            curves = [way.curves[id_] for way in ways if id_ in way.curves]
            found[id_], eased = np.zeros(n, dtype=int), np.zeros(n, dtype=int)
            of = (np.cumsum(has) - 1)[which[at]]
            found[id_][at] = judged_at(curves, of, place, shift)
            if found[id_].any():
                eased[at] = judged_at(curves, of, place, shift, EASE_1)
                near = np.maximum(near, eased)
        found |= self._load.verdicts(candidates.stations, candidates.usable_m3, burn)
        found["tanks"] = self._tanks(candidates)
        exact = np.max([v for k, v in found.items() if k not in by_curve], axis=0)
        return Screened(np.max(list(found.values()), axis=0), np.maximum(exact, near), found, time)

    def at_best(self, candidates: Candidates) -> IntArray:
        """A verdict that no way of flying betters, (candidate,): stations, weight and balance at the ramp and without fuel.

        Needs no flight to be flown.
        """
        return self._load_at_ends.at_best(candidates.stations, candidates.usable_m3)

    def runways_at_best(self, candidates: Candidates) -> IntArray:
        """A verdict that their runways do not better, (candidate,), for ways of flying that leave runways and air as asked.

        Only what such a way burns more or less counts there: a flight of the middle draw alone says how much, 0.05 US gal
        either side of it are tried.
        """
        base = self.flown_as_asked
        ramp = self._load_at_ends.dry_kg(candidates.stations) + candidates.usable_m3.sum(axis=1) * self.aboard.density_kg_m3
        share = share_of(base.ramp_kg, ramp)
        used, which = np.unique(candidates.profile, return_inverse=True)
        more = np.array([self._way_burns_more(candidates.ways[int(index)]) for index in used]).reshape(-1, 2)[which]
        burns = (parabola(base.burn_m3, share)[:, None] + more) * self.aboard.density_kg_m3
        found = np.minimum(*(self._runways(share, ramp - burns[:, k]) for k in (0, 1)))
        return np.where(np.isnan(more).any(axis=1), IS_WITHIN, found)

    def _way_burns_more(self, way: tuple[int, ...]) -> tuple[float, float]:
        """How much more a way of flying burns to landing than the flight as asked, least and most (m3); NaN: not known."""
        more = [self._burnt_more(i) for i in way]
        low, high = (sum(m[k] for m in more) for k in (0, 1))
        return low - NEAR_BURN_M3, high + NEAR_BURN_M3

    def _runways(self, share: FloatArray, landing_kg: FloatArray) -> IntArray:
        """The worst verdict of the runways flown from and to, at a share of the ramp weights and a landing weight."""
        base, names = self.flown_as_asked, (self.s.points[0].name, self.s.points[-1].name)
        landing, first = share_of(base.landing_kg, landing_kg), np.zeros(share.size, dtype=int)
        found = first
        for id_ in (f"runway.take_off.{names[0]}", f"runway.landing.{names[1]}", f"runway.leave_again.{names[1]}"):
            if id_ in base.curves:
                place = np.nan_to_num(landing if id_.startswith(LANDING_IDS) else share)
                found = np.maximum(found, judged_at([base.curves[id_]], first, place, np.zeros(share.size), EASE_1))
        return found

    def runways_lost(self, candidates: Candidates) -> NDArray[np.bool_]:
        """Candidates, flown as asked, whose runways stay outside even with OTHER_BURN_M3 burnt more or less."""
        base = self.flown_as_asked
        usable = candidates.usable_m3.sum(axis=1)
        ramp = self._load.dry_kg(candidates.stations) + usable * self.aboard.density_kg_m3
        share = share_of(base.ramp_kg, ramp)
        spare = OTHER_BURN_M3 * self.aboard.density_kg_m3
        landing = share_of(base.landing_kg, ramp - parabola(base.burn_m3, share) * self.aboard.density_kg_m3 - spare)
        lost = np.zeros(len(candidates), dtype=bool)
        for id_ in self._runway_ids:
            curve = base.curves[id_]
            if np.isfinite(curve.outside).all() and not curve.advice:
                lost |= parabola(curve.outside, landing if id_.startswith(LANDING_IDS) else share) < 0
        return lost

    def _seats(self, stations: IntArray) -> IntArray:
        """More people, and things put there, on a station than it has seats: outside; nobody on any seat: not known."""
        record = self.s.record
        person = np.array([is_person(x, record.stations[k]) for x, k in zip(self.s.request.loads, self.as_asked, strict=True)])
        found = np.zeros(len(stations), dtype=int)
        for k, station in enumerate(record.stations):
            if station.kind == "seat" and station.seats:
                takes_a_seat = (stations == k) & (person | (self.as_asked != k))
                found = np.where(takes_a_seat.sum(axis=1) > station.seats, IS_OUTSIDE, found)
        on_seats = (stations != LEFT) & person
        return np.where(on_seats.any(axis=1), found, IS_NOT_KNOWN) if person.any() else found

    # -- profiles --------------------------------------------------------------------------------------------------------
    @cached_property
    def flown_as_asked(self) -> _AsAsked:
        """The flight as asked at the nodes' weights, the fuel as asked; every limit but load and tanks judged there."""
        fuel = float(self.usable_m3.sum()) * self.aboard.density_kg_m3
        assert self.aboard.empty is not None
        alone = self.aboard.empty.weight_kg + min((i.weight_kg for i in self.aboard.items), default=0.0)
        dry = np.linspace(min(alone, self.heaviest_kg - 1.0), self.heaviest_kg, NODES)
        nodes = [self._node(self.s, float(d)) for d in dry]
        ids = dict.fromkeys(id_ for n in nodes for id_ in n.margins)
        burn, time = (np.array([n.total(name) for n in nodes]) for name in ("burn_m3", "time_s"))
        return _AsAsked(dry + fuel, dry + fuel - burn * self.aboard.density_kg_m3, burn, time,
                        {i: curve_of([n.margins.get(i) for n in nodes]) for i in ids}, nodes[-1])

    @property
    def heaviest_kg(self) -> float:
        """The heaviest weight without fuel that is looked at: as loaded, with this fuel within the certificated weights."""
        assert self.aboard.load is not None
        fuel = float(self.usable_m3.sum()) * self.aboard.density_kg_m3
        limits = [x for x in (limit_kg(self.s.record.weights.ramp_max_kg), limit_kg(self.s.record.weights.take_off_max_kg)) if x]
        return min([self.aboard.load.weight_kg, *([max(limits) - fuel] if limits else [])])

    def _way(self, way: tuple[int, ...]) -> Profile:
        """A way of flying: as asked, otherwise in one thing, or in several, whose differences are added."""
        if way not in self._kept:
            if not way:
                self._kept[way] = Profile(self.flown_as_asked.curves)
            elif len(way) == 1:
                self._kept[way] = self._other(self.profiles[way[0]])
            else:
                self._kept[way] = together(self.flown_as_asked.curves, [self._way((i,)) for i in way])
        return self._kept[way]

    def _other(self, s: Situation) -> Profile:
        """Another way of flying, judged at the heaviest weight: the curves of the flight as asked, moved by the difference.

        Where air and runways stay the same, so do the curves of the runways (over the weight they are used at).
        """
        base = self.flown_as_asked
        same = self._same_runways(s)
        try:
            node = self._node(s, self.heaviest_kg, base.node.ends if same else None)
        except (NotPossible, BadInput) as error:
            return Profile({}, why=str(error))
        kept = {i: c for i, c in base.curves.items() if same and i not in node.margins and i in self._runway_ids}
        changed = {i: moved(base.curves.get(i), base.node.margins.get(i), m) for i, m in node.margins.items()}
        burn, time = (node.total(name) - base.node.total(name) for name in ("burn_m3", "time_s"))
        return Profile(kept | changed, burn, time)

    def _burnt_more(self, index: int) -> tuple[float, float]:
        """How much more a profile burns to landing than the flight as asked, least and most of the calibrations (m3).

        By the middle draw alone; NaN where it is not flown, or where runways or air at them are others.
        """
        if index not in self._quick:
            s = self.profiles[index]
            found = self._quick_burns(s) if self._same_runways(s) else []
            apart = [a - b for a in found for b in self._burns_as_asked]
            self._quick[index] = (min(apart), max(apart)) if apart and np.all(np.isfinite(apart)) else (np.nan, np.nan)
        return self._quick[index]

    @cached_property
    def _burns_as_asked(self) -> list[float]:
        return self._quick_burns(self.s)

    def _quick_burns(self, s: Situation) -> list[float]:
        """Burn to landing (m3) of the middle draw by each calibration, at the heaviest weight; none where it refuses."""
        by, load = s.calibrations, self.aboard.load
        assert by is not None and load is not None
        first = replace(by, book=by.book.first, own=None if by.own is None else by.own.first)
        tanks = tuple(replace(t, draws_m3=t.draws_m3[:1]) for t in self.aboard.tanks)
        aboard = replace(self.aboard, load=replace(load, weight_kg=self.heaviest_kg), tanks=tanks)
        try:
            return [float(f.timeline.total("burn_m3")[0]) for f in whole.fly(replace(s, calibrations=first, draws=1), aboard)]
        except (NotPossible, BadInput):
            return []

    def _same_runways(self, s: Situation) -> bool:
        """Whether runways and the air at them are those of the flight as asked."""
        return s.request.runways == self.s.request.runways and (s.departure == self.s.departure or not air_by_the_hour(self.s))

    @cached_property
    def _runway_ids(self) -> set[str]:
        """Limits that belong to the runways, not to the flight between them."""
        heads = ("runway.", "crosswind.", "own.crosswind.", "own.runway.", "obstacle.")
        return {i for i in self.flown_as_asked.curves if i.startswith(heads) and not i.startswith("obstacle.route.")}

    def _node(self, s: Situation, dry_kg: float, ends: dict[str, JudgedEnd] | None = None) -> _Node:
        assert self.aboard.load is not None
        aboard = replace(self.aboard, load=replace(self.aboard.load, weight_kg=dry_kg))
        flights = whole.fly(s, aboard)
        governing = whole.governing_of(flights)
        margins, judged, _ = whole.flight_margins_of(s, aboard, flights, governing, ends)
        return _Node({m.id: m for m in margins}, governing, judged)

    def weight_words(self, m: rule.Margin) -> str:
        """At which take-off weight a limit would be met, by its curve; empty where no number says so."""
        curve = self.flown_as_asked.curves.get(m.id)
        if curve is None or not np.isfinite(curve.outside).all():
            return ""
        shares = np.linspace(-2.0, NODES - 1, 401)
        good = shares[parabola(curve.outside, shares) >= 0]
        if not good.size:
            return " No weight this aeroplane can have meets it."
        nodes = self.flown_as_asked.ramp_kg
        weight = float(nodes[0] + good.max() * (nodes[-1] - nodes[0]) / (NODES - 1))
        assert self.aboard.load is not None
        now = self.aboard.load.weight_kg + float(self.usable_m3.sum()) * self.aboard.density_kg_m3
        words = f" It would be met at a ramp weight of {from_si(weight, 'lb'):,.0f} lb"
        return f"{words}, {from_si(now - weight, 'lb'):,.0f} lb less than as asked."

    # -- tanks -----------------------------------------------------------------------------------------------------------
    def _tanks(self, candidates: Candidates) -> IntArray:
        """Worst verdict of the tank plan for each amount of fuel, flown at the load as asked."""
        amounts, inverse = np.unique(np.round(candidates.usable_m3, 9), axis=0, return_inverse=True)
        found = np.array([self._plan(tuple(float(x) for x in row)) for row in amounts])
        return np.asarray(found[inverse.ravel()])

    def _plan(self, usable_m3: tuple[float, ...]) -> int:
        """The tank plan with other fuel; the burn is that of the flight as asked."""
        if usable_m3 not in self._tank_verdicts:
            tanks = tuple(replace(t, usable_m3=u, draws_m3=np.maximum(t.draws_m3 + u - t.usable_m3, 0.0))
                          for t, u in zip(self.tanks, usable_m3, strict=True))
            flown = self.flown_as_asked.node.flown
            if flown is not None:
                flown = replace(flown, on_board_m3=np.sum([t.draws_m3 for t in tanks], axis=0))
            margins = whole.tank_margins_of(self.s, whole.tank_plan_of(self.s, replace(self.aboard, tanks=tanks), flown), flown)
            self._tank_verdicts[usable_m3] = max((ORDER.index(m.verdict) for m in margins), default=0)
        return self._tank_verdicts[usable_m3]
