"""Last points: point of no return, the same with one tank not feeding, equal time between aerodromes.

Pure: from a timeline, the air and the tank plan that an assessment already holds, everything (draw,). Distances run
along the route from the departure (m), times from take-off (s). The way out is the timeline's own (climb, legs);
the way home is level over the same legs, at each leg's true airspeed and flow, its wind from the other side.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ownship.flight.airmass import AirMass, over_ground_m_s
from ownship.flight.chance import middle
from ownship.flight.flown import Flown
from ownship.flight.route import Leg, Point
from ownship.flight.situation import Situation
from ownship.flight.tank_rules import TAXI
from ownship.flight.tanks import TankPlan
from ownship.flight.timeline import Part, Timeline
from ownship.units import to_si
from ownship.world.geodesy import direct, inverse_all

FloatArray = NDArray[np.float64]
NODE_M = 4000.0  # of the route, for equal times: the times are straight lines between nodes
BOTH_NODES = 32  # a phase fed by several tanks at once, in which one may run empty
NEAR_M = float(to_si(10, "nm"))  # off the way, for equal times; own choice, no source
MOST_UNFLOWN_1 = 0.5
HOME_WORDS = ("Home level over the same legs at the cruise's true airspeed and flow, each leg's wind from the other side, "
              "without credit for the descent; approach and landing as planned for the destination; final reserve and extra as "
              "for the planned landing, no alternate and no missed approach.")
CALM_WORDS = "No winds and temperatures aloft are given, so this point is not known; add [aloft]."
UNFLOWN_WORDS = "In half of the cases or more the flight cannot be flown, so this point is not known."


@dataclass(frozen=True)
class Spread:
    """The 5, 50 and 95 % values over the draws, SI; None: beyond the stretch that was looked at.

    Order statistics, the low end and the middle rounded down and the high end up.
    """

    low: float | None
    median: float | None
    high: float | None


@dataclass(frozen=True)
class LastPoint:
    """One last point; distance and time are None where there is none, and `words` say why.

    distance_m along the route, time_s since take-off, position (lat, lon, deg) and leg of the middle value;
    tank: the one that does not feed; beyond: there is none because none is needed before the end of what was looked at.
    """

    name: str
    distance_m: Spread | None
    time_s: Spread | None
    position_deg: tuple[float, float] | None
    leg: int | None
    words: str
    tank: str = ""
    beyond: bool = False


@dataclass(frozen=True)
class LastPoints:
    """The last points of one flight; `worse` is the tank whose loss leaves the earliest point (None: nothing to lose)."""

    no_return: LastPoint
    one_tank: tuple[LastPoint, ...]
    worse: LastPoint | None
    equal_time: tuple[LastPoint, ...]
    words: tuple[str, ...] = (HOME_WORDS,)


@dataclass(frozen=True)
class _Path:
    """A way out at its nodes, each (node, draw); clock_s (node,) is the tank plan's, from the blocks."""

    distance_m: FloatArray
    time_s: FloatArray
    burnt_m3: FloatArray
    home_m3: FloatArray
    clock_s: FloatArray


def last_points_of(s: Situation, flown: Flown, plan: TankPlan | None, aerodromes: tuple[Point, ...] = ()) -> LastPoints:
    """The last points of one calibration's flight; the reserve is the final reserve and the extra of its needs.

    aerodromes: those to land at on or near the way, departure and destination among them where they are.
    """
    needs = flown.needs
    reserve = None if needs is None else needs.reserve_m3 + needs.extra_m3
    return last_points(flown.timeline, s.air, s.request.cruise_altitude_m, flown.on_board_m3, reserve, plan, aerodromes)


def last_points(timeline: Timeline, air: AirMass, level_m: float, aboard_m3: FloatArray, reserve_m3: FloatArray | None,
                plan: TankPlan | None, aerodromes: tuple[Point, ...] = (), near_m: float = NEAR_M) -> LastPoints:
    """Point of no return, the same with each tank lost, equal time between each two aerodromes that follow each other.

    level_m: cruising altitude; aboard_m3 (draw,): usable fuel on leaving the blocks; reserve_m3 (draw,): usable fuel to
    be left after landing back at the departure, None: not known; plan None: no tank plan; aerodromes: suitable ones, in
    any order; near_m: how far off the way they may lie.
    Constant wind and flow give E H/(O + H) and D H/(O + H). Checks: ET-01, ET-03.
    """
    return LastPoints(no_return(timeline, air, level_m, aboard_m3, reserve_m3),
                      *_one_tank(timeline, air, level_m, reserve_m3, plan),
                      equal_times(timeline, air, level_m, aerodromes, near_m))


def no_return(timeline: Timeline, air: AirMass, level_m: float, aboard_m3: FloatArray,
              reserve_m3: FloatArray | None) -> LastPoint:
    """The farthest point before the descent from which the fuel takes the aeroplane back and leaves the reserve.

    Fuel at a point = aboard - burn so far; home = sum over the legs back of distance/groundspeed x flow; the point is
    where fuel = home + approach + reserve. Arguments as `last_points`. Check: ET-03.
    """
    name = "point of no return"
    why = _missing(air, reserve_m3)
    if why or reserve_m3 is None:
        return _none(name, why)
    path = _path(timeline, air, level_m, None, ("climb", "cruise"))
    return _fuel_point(name, "", timeline, path, (aboard_m3 - path.burnt_m3,), reserve_m3)


def _one_tank(timeline: Timeline, air: AirMass, level_m: float, reserve_m3: FloatArray | None,
              plan: TankPlan | None) -> tuple[tuple[LastPoint, ...], LastPoint | None]:
    """The point of no return with each tank lost at that moment, and the worse of them."""
    name = "point of no return, one tank not feeding"
    why = _missing(air, reserve_m3) or ("" if plan else "There is no tank plan, so that what each tank holds is not known.")
    if why or plan is None or reserve_m3 is None:
        lost = _none(name, why)
        return (lost,), lost
    if len(plan.start_m3) < 2:
        return (), None
    path = _path(timeline, air, level_m, plan, ("climb", "cruise"))
    contents = [plan.contents_at(float(t)) for t in path.clock_s]
    every = _others(contents, "")  # a tank that the plan runs dry is a lack; its loss adds no fuel
    found = tuple(_fuel_point(f"point of no return, {tank} tank not feeding", tank, timeline, path,
                              (_others(contents, tank), every), reserve_m3) for tank in plan.start_m3)
    return found, min(found, key=earliness)


def _others(contents: list[dict[str, FloatArray]], lost: str) -> FloatArray:
    """Usable fuel (node, draw) in all tanks but one."""
    return np.array([np.sum([v for k, v in left.items() if k != lost], axis=0) for left in contents])


def earliness(point: LastPoint) -> tuple[int, float, float]:
    """A key that puts the worse first: none from the start or not known, then by low end and middle, never reached last."""
    if point.distance_m is None:
        return (2 if point.beyond else 0), 0.0, 0.0
    low, median = point.distance_m.low, point.distance_m.median
    return 1, np.inf if median is None else median, np.inf if low is None else low


def _missing(air: AirMass, reserve_m3: FloatArray | None) -> str:
    if not air.known:
        return CALM_WORDS
    return "" if reserve_m3 is not None else "The final reserve is not known, so this point is not known."


_NEVER_FUEL = "Not even at take-off is there fuel for the approach, the landing and the reserve{}."


def _fuel_point(name: str, tank: str, timeline: Timeline, path: _Path, fuels_m3: tuple[FloatArray, ...],
                reserve_m3: FloatArray) -> LastPoint:
    """The first point at which one of several fuels (node, draw) is no more than home, approach and reserve take."""
    needed = path.home_m3 + timeline.total("burn_m3", ("approach and landing",)) + reserve_m3
    distance, time = (np.min([crossing(fuel - needed, values) for fuel in fuels_m3], axis=0)
                      for values in (path.distance_m, path.time_s))
    without = f" without the {tank} tank" if tank else ""
    return _point(name, tank, timeline, distance, time, never=_NEVER_FUEL.format(without),
                  beyond=f"Not before the descent: from its beginning the fuel{without} still takes the aeroplane back with "
                         "the reserve.")


def crossing(balance: FloatArray, values: FloatArray) -> FloatArray:
    """`values` (draw,) where `balance` (node, draw) first falls below 0, both straight lines between nodes.

    -inf: below 0 from the first node on; inf: nowhere; NaN where the balance of any node is not known.
    """
    after = np.argmax(balance < 0, axis=0)
    before = np.maximum(after - 1, 0)
    draw = np.arange(balance.shape[1])
    high, low = balance[before, draw], balance[after, draw]
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(np.isposinf(high), 1.0, high / (high - low))
        found = values[before, draw] + share * (values[after, draw] - values[before, draw])
    found = np.where(np.any(balance < 0, axis=0), np.where(after == 0, -np.inf, found), np.inf)
    return np.where(np.any(np.isnan(balance), axis=0), np.nan, found)


def spread(draws: FloatArray, start: float = 0.0) -> Spread:
    """The Spread of (draw,) values that may be inf (None) or -inf (the start of what was looked at); NaN is left out."""
    good = np.sort(draws[~np.isnan(draws)])
    last = good.size - 1
    ends = (np.floor(0.05 * last), np.floor(0.5 * last), np.ceil(0.95 * last))
    low, median, high = (None if good[int(i)] == np.inf else max(float(good[int(i)]), start) for i in ends)
    return Spread(low, median, high)


def _none(name: str, words: str, tank: str = "", *, beyond: bool = False) -> LastPoint:
    return LastPoint(name, None, None, None, None, words, tank, beyond)


def _point(name: str, tank: str, timeline: Timeline, distance: FloatArray, time: FloatArray, never: str, beyond: str,
           start: tuple[float, float] = (0.0, 0.0)) -> LastPoint:
    """A LastPoint from draws of distance and time: none where the middle is before the start or 95 % are beyond the end."""
    flown = distance[~np.isnan(distance)]
    if flown.size <= MOST_UNFLOWN_1 * distance.size:
        return _none(name, UNFLOWN_WORDS, tank)
    found = spread(distance, start[0])
    if np.sort(flown)[(flown.size - 1) // 2] == -np.inf:
        return _none(name, never, tank)
    if found.low is None:
        return _none(name, beyond, tank, beyond=True)
    leg, lat, lon = place_at(tuple(f.leg for f in timeline.legs), found.low if found.median is None else found.median)
    return LastPoint(name, found, spread(time, start[1]), (lat, lon), leg, _shares(distance, never, beyond), tank)


def _shares(distance: FloatArray, never: str, beyond: str) -> str:
    """What does not hold in every draw, in words."""
    shares = [(float(np.mean(np.isneginf(distance))), never), (float(np.mean(np.isposinf(distance))), beyond),
              (float(np.mean(np.isnan(distance))), "The flight cannot be flown; these are left out.")]
    return " ".join(f"In {_per_cent(share)} of the cases: {words}" for share, words in shares if share > 0)


def _per_cent(share_1: float) -> str:
    return f"{share_1:.0%}" if share_1 >= 0.005 else "under 1%"


def place_at(legs: tuple[Leg, ...], distance_m: float) -> tuple[int, float, float]:
    """(leg number, lat, lon) of a distance along the route; the end of the route beyond it."""
    gone = distance_m
    for leg in legs:
        if gone <= leg.distance_m or leg is legs[-1]:
            way = min(gone, leg.distance_m)
            return leg.number, *direct(leg.start.lat_deg, leg.start.lon_deg, leg.initial_course_deg, way)[:2]
        gone -= leg.distance_m
    raise AssertionError("a route has a leg")


def _path(timeline: Timeline, air: AirMass, level_m: float, plan: TankPlan | None, phases: tuple[str, ...]) -> _Path:
    """The way out over the timeline's parts of some phases, with nodes where a tank is changed."""
    slow, flow = _home(timeline, air, level_m), _flows(timeline)
    zero = np.zeros_like(timeline.parts[0].time_s)
    nodes = [[zero, zero, timeline.total("burn_m3", (TAXI,)), zero]]
    clock = middle(timeline.total("time_s", (TAXI,)))
    clocks = [clock]
    for part in timeline.parts:
        if part.leg is None:
            continue
        length = middle(part.time_s)
        if part.phase in phases:
            with np.errstate(invalid="ignore"):
                home = np.where(part.distance_m > 0, part.distance_m * slow[part.leg] * flow[part.leg], 0.0 * part.distance_m)
            steps = (part.distance_m, part.time_s, part.burn_m3, home)
            base = nodes[-1]
            for share in _cuts(plan, clock, length):
                nodes.append([b + _part_of(step, share) for b, step in zip(base, steps, strict=True)])
                clocks.append(clock + share * length)
        clock += length
    distance, time, burnt, back = (np.array([n[i] for n in nodes]) for i in range(4))
    return _Path(distance, time, burnt, back, np.array(clocks))


def _part_of(step: FloatArray, share: float) -> FloatArray:
    return step if share == 1.0 else step * share


def _cuts(plan: TankPlan | None, start_s: float, length_s: float) -> list[float]:
    """Shares of a phase at which nodes stand: its end, changes of tank in it, more where several tanks feed at once."""
    if plan is None or not length_s > 0:
        return [1.0]
    cuts = {(x.start_s - start_s) / length_s for x in plan.segments}
    if any("+" in x.tank and x.start_s < start_s + length_s and x.end_s > start_s for x in plan.segments):
        cuts |= set((np.arange(1, BOTH_NODES) / BOTH_NODES).tolist())
    return [*sorted(x for x in cuts if 0.0 < x < 1.0), 1.0]


def _home(timeline: Timeline, air: AirMass, level_m: float) -> list[FloatArray]:
    """Seconds a metre (draw,) back over each leg at its TAS; inf where the wind is too strong for it."""
    east, north = (x[0] for x in air.blowing(np.array([level_m])))
    found = []
    for f in timeline.legs:
        ground = over_ground_m_s(np.array(f.leg.course_deg + 180.0), f.tas_m_s, east, north)
        found.append(_slowness(ground, f.tas_m_s))
    return found


def _slowness(ground_m_s: FloatArray, tas_m_s: FloatArray) -> FloatArray:
    """1/groundspeed; inf where there is an airspeed but no groundspeed, NaN where there is no airspeed."""
    return np.where(np.isnan(ground_m_s) & np.isfinite(tas_m_s), np.inf, 1.0 / ground_m_s)


def _flows(timeline: Timeline) -> list[FloatArray]:
    """Flow (draw,) of level flight on each leg: that of its cruise, the first leg's where it has none."""
    cruise: dict[int | None, Part] = {p.leg: p for p in timeline.parts if p.phase == "cruise"}
    found = []
    for i in range(len(timeline.legs)):
        part, usual = cruise.get(i), timeline.cruise_flow_m3_s
        if part is None:
            found.append(usual)
            continue
        with np.errstate(invalid="ignore", divide="ignore"):
            found.append(np.where(part.time_s > 0, part.burn_m3 / part.time_s, usual))
    return found


def equal_times(timeline: Timeline, air: AirMass, level_m: float, aerodromes: tuple[Point, ...],
                near_m: float = NEAR_M) -> tuple[LastPoint, ...]:
    """For each two aerodromes that follow each other along the way, the point from which both are as far in time.

    Times are direct, level, at the TAS of the leg and the wind of the cruising level, from the point on the route; the
    aerodromes stand in the order in which they are passed, of several passed at one place the nearest only. Arguments as
    `last_points`. Check: ET-01.
    """
    nodes = _route_nodes(timeline)
    lat, lon = np.array([node[2:] for node in nodes]).T
    placed = [(a, list(zip(*(x.tolist() for x in inverse_all(lat, lon, a.lat_deg, a.lon_deg)), strict=True)))
              for a in _once(aerodromes)]
    passed = _in_order([(a, ways) for a, ways in placed if min(w[0] for w in ways) <= near_m])
    path = _path(timeline, air, level_m, None, ("climb", "cruise", "descent"))
    return tuple(_equal_time(timeline, air, level_m, nodes, path, one, other) for one, other in pairwise(passed))


_Passed = tuple[int, Point, list[tuple[float, float, float]]]


def _once(aerodromes: tuple[Point, ...]) -> list[Point]:
    return list({a.name: a for a in aerodromes}.values())


def _in_order(placed: list[tuple[Point, list[tuple[float, float, float]]]]) -> list[_Passed]:
    """Aerodromes by the node they are nearest to; of several at one node the nearest to the way."""
    found: dict[int, _Passed] = {}
    for a, ways in sorted(placed, key=lambda x: (min(w[0] for w in x[1]), x[0].name)):
        node = int(np.argmin([w[0] for w in ways]))
        found.setdefault(node, (node, a, ways))
    return [found[node] for node in sorted(found)]


def _route_nodes(timeline: Timeline) -> list[tuple[int, float, float, float]]:
    """(index of the leg, distance along the route, lat, lon) every NODE_M at most, both ends of every leg."""
    found, gone = [], 0.0
    for i, leg in enumerate(f.leg for f in timeline.legs):
        steps = int(np.ceil(leg.distance_m / NODE_M))
        for k in range(0 if i == 0 else 1, steps + 1):
            way = leg.distance_m * k / steps
            lat, lon, _ = direct(leg.start.lat_deg, leg.start.lon_deg, leg.initial_course_deg, way)
            found.append((i, gone + way, lat, lon))
        gone += leg.distance_m
    return found


def _equal_time(timeline: Timeline, air: AirMass, level_m: float, nodes: list[tuple[int, float, float, float]], path: _Path,
                one: _Passed, other: _Passed) -> LastPoint:
    (first, a, to_a), (last, b, to_b) = one, other
    name = f"equal time {a.name} and {b.name}"
    if not air.known:
        return _none(name, CALM_WORDS)
    between = slice(first, last + 1)
    tas = np.array([timeline.legs[i].tas_m_s for i, _, _, _ in nodes[between]])
    with np.errstate(invalid="ignore"):
        balance = _direct_s(to_b[between], tas, air, level_m) - _direct_s(to_a[between], tas, air, level_m)
    along = np.broadcast_to(np.array([s for _, s, _, _ in nodes[between]])[:, None], balance.shape)
    distance = crossing(balance, along)
    start = float(along[0, 0]), middle(_time_at(path, along[0]))
    return _point(name, "", timeline, distance, _time_at(path, distance), start=start,
                  never=f"Where the way passes {a.name}, {b.name} is already nearer in time.",
                  beyond=f"Where the way passes {b.name}, {a.name} is still nearer in time.")


def _direct_s(ways: list[tuple[float, float, float]], tas_m_s: FloatArray, air: AirMass, level_m: float) -> FloatArray:
    """Time (node, draw) from each node straight to an aerodrome: distance over groundspeed on the middle course."""
    distance = np.array([w[0] for w in ways])[:, None]
    course = np.array([w[1] + ((w[2] - w[1] + 180.0) % 360.0 - 180.0) / 2 for w in ways])[:, None]
    ground = over_ground_m_s(course, tas_m_s, *air.blowing(np.array([level_m])))
    with np.errstate(invalid="ignore"):
        return np.where((distance < 1.0) & np.isfinite(tas_m_s), 0.0, distance * _slowness(ground, tas_m_s))


def _time_at(path: _Path, distance_m: FloatArray) -> FloatArray:
    """Time since take-off (draw,) at a distance along the route; what is not finite stays as it is."""
    draw, last = np.arange(distance_m.size), path.distance_m.shape[0] - 1
    before = np.clip(np.sum(path.distance_m <= distance_m, axis=0) - 1, 0, max(last - 1, 0))
    after = np.minimum(before + 1, last)
    start, end = path.distance_m[before, draw], path.distance_m[after, draw]
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(end > start, np.clip((distance_m - start) / (end - start), 0.0, 1.0), 1.0)
        time = path.time_s[before, draw] + share * (path.time_s[after, draw] - path.time_s[before, draw])
    return np.where(np.isfinite(distance_m), time, distance_m)
