"""What is the least that must change? A search among what the pilot can do, each answer assessed again in full.

Singles, pairs, triples and quadruples of changes that do not exclude each other are screened at once (screening), ordered by a cost
an owner would share, and confirmed by the ordinary `assess`: only what that confirms is shown.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ownship.errors import BadInput, NotPossible
from ownship.flight.alter import altered
from ownship.flight.answer import Assessment
from ownship.flight.assessment import assess
from ownship.flight.changes import Change, changes_of, costs_of, edited
from ownship.flight.combining import AT_ONCE, Sets, members, not_more_than, sized
from ownship.flight.combining import combinations_of as combinations_of  # noqa: PLC0414 (its name here, for whoever searches)
from ownship.flight.margins import Margin
from ownship.flight.screen_load import IS_TIGHT, IS_WITHIN
from ownship.flight.screening import Candidates, Screen, Screened
from ownship.flight.situation import Situation
from ownship.flight.when import clock_runs, first_met, half_hours
from ownship.words.verdicts import ADVICE, NOT_KNOWN, ORDER, OUTSIDE, TIGHT, WITHIN, Verdict
from ownship.world.zones import zone_at

IntArray = NDArray[np.int_]
Judge = Callable[[Situation], Assessment]
MOST, MOST_ASSESSED = 5, 14
MOST_NAMED = 2  # limits told one by one where all could be met, but not at once
HOURLESS = ("weight.", "cg.", "station.", "group.", "level.", "people", "record.defect.", "record.maintenance.")
OF_TANKS = ("imbalance", "tanks.plan", "fuel.tank.", "fuel.feed.")
BLOCK = 8192
BURN_ONLY = ("altitude", "power", "mixture")  # what reaches the runways only by the fuel burnt


@dataclass(frozen=True)
class Remedy:
    """One answer: its sentence, the changes, their cost in minutes, what they were bought for, what is now tightest.

    request: ready to use. further: the second flight of a stop or of two trips, with its own request.
    """

    sentence: str
    changes: tuple[Change, ...]
    cost: float
    bought_for: tuple[str, ...]
    tightest: str
    verdict: Verdict
    request: dict[str, Any]
    further: tuple[dict[str, Any], ...] = ()

    def to_json(self) -> dict[str, Any]:
        """formats.md, with "then" for the flights that follow the first."""
        made = [{"kind": c.kind, "words": c.words, "from": c.before, "to": c.after} for c in self.changes]
        found: dict[str, Any] = {
            "sentence": self.sentence, "changes": made,
            "cost": self.cost, "bought_for": list(self.bought_for), "tightest": self.tightest, "verdict": self.verdict,
            "request": self.request}
        return found | ({"then": list(self.further)} if self.further else {})


@dataclass(frozen=True)
class Option:
    """A set of changes with its cost, time included, and the verdict of the screening; near: where a hair is let pass."""

    changes: tuple[int, ...]
    cost: float
    verdict: int
    near: int


@dataclass(frozen=True)
class Found:
    """The remedies, or the sentence that says why there is none; how many candidates were screened and assessed.

    changes and options: what can be changed and every combination as screened, for whoever looks further.
    """

    remedies: tuple[Remedy, ...]
    words: str
    screened: int
    assessed: int
    changes: tuple[Change, ...] = ()
    options: tuple[Option, ...] = ()


def remedies(s: Situation, before: Assessment | None = None, most: int = MOST,
             progress: Callable[[str], None] | None = None, judge: Judge = assess, reachable: Verdict = WITHIN) -> Found:
    """The cheapest remedies of a flight that is outside or tight; of one within: none, said so.

    A remedy aims at within; where none reaches it the best tight ones are shown as tight. judge confirms them: `assess`, or
    what judges more; reachable: the best verdict that limits no change can touch leave. BadInput where the aeroplane's
    weight or model is not known.
    """
    say = progress or (lambda words: None)
    before = before or judge(s)
    if before.verdict == WITHIN:
        return Found((), "The flight is within limits as asked; nothing must change.", 0, 0)
    if not s.request.loads:
        return Found((), "No remedy can be searched: no load is given; add the people aboard to [[loads]].", 0, 0)
    changes = changes_of(s)
    screen = screen_of(s, changes)
    say(f"{len(changes)} changes that can be made")
    found: list[Remedy] = []
    tried = 0
    for aim in (IS_WITHIN, IS_TIGHT) if before.verdict != TIGHT else (IS_WITHIN,):
        options = screened(screen, changes, costs_of(s), aim=aim)
        say(f"{len(options)} combinations screened")
        least, given = max(aim, ORDER.index(reachable)), list[frozenset[int]]()
        for option in islice(_worth_trying(options, aim, changes, given), MOST_ASSESSED):
            remedy = confirmed(s, before, [changes[i] for i in option.changes], option.cost, ORDER[least], judge)
            tried += 1
            say(f"{tried} assessed in full, {len(found)} confirmed")
            if remedy is not None:
                given.append(frozenset(option.changes))
                found.append(remedy)
            if len(found) >= most:
                break
        if found:
            break
    words = "" if found else nothing_works(before, screen, options, changes, judge)
    return Found(tuple(found), words, len(options), tried, changes, tuple(options))


def screen_of(s: Situation, changes: Sequence[Change]) -> Screen:
    """The screening of a situation for some changes: one profile for every change that is flown otherwise."""
    profiles = [s]
    for change in changes:
        if change.profile:
            profiles.append(altered(s, edited(s.request_data, [change])))
    return Screen(s, profiles)


def screened(screen: Screen, changes: Sequence[Change], costs: dict[str, float], at_once: int = AT_ONCE,
             aim: int = IS_TIGHT) -> list[Option]:
    """Combinations judged by the screening, cheapest first, fewer changes first where the cost is the same.

    Left out are those that only add to one already within limits, and those flown otherwise whose load and fuel leave a
    runway outside by more than another burn could mend. aim: the worst verdict that is of use; where the load at the ramp
    or without fuel, or the runways by what is burnt, already stand in its way, nothing more is looked at, the verdict is
    the best there can be, and no time is counted.
    """
    found: list[Option] = []
    passing: list[tuple[int, ...]] = []
    usual = float(screen.rate(as_asked(screen)).time_s[0])
    for sets in sized(changes, at_once):
        some = _hopeful(screen, changes, not_more_than(passing, sets))
        for start in range(0, len(some), BLOCK):
            options = _rated(screen, changes, costs, some[start : start + BLOCK], (usual, aim))
            found += options
            passing += [o.changes for o in options if o.verdict == IS_WITHIN]
    return sorted(found, key=lambda o: (round(o.cost, 6), len(o.changes), o.changes))


def _rated(screen: Screen, changes: Sequence[Change], costs: dict[str, float], sets: IntArray,
           wanted: tuple[float, int]) -> list[Option]:
    """Options of some sets of one size; wanted: the time of the flight as asked (s), and the aim."""
    usual_s, aim = wanted
    every = candidates(screen, changes, sets)
    verdict, later = screen.at_best(every), np.zeros(len(sets))
    can_be = np.nonzero(verdict <= aim)[0]
    verdict[can_be] = np.maximum(verdict[can_be], screen.runways_at_best(every.where(can_be)))
    can_be = np.nonzero(verdict <= aim)[0]
    rated, near = screen.rate(every.where(can_be)), verdict.copy()
    near[can_be] = rated.near
    verdict[can_be], later[can_be] = rated.verdict, np.maximum(rated.time_s - usual_s, 0.0) / 60.0 * costs["minute"]
    price = np.array([c.cost for c in changes])
    cost = sum((price[column] for column in sets.T), np.zeros(len(sets))) + later
    return [Option(tuple(c), x, v, n)
            for c, x, v, n in zip(sets.tolist(), cost.tolist(), verdict.tolist(), near.tolist(), strict=True)]


def _hopeful(screen: Screen, changes: Sequence[Change], sets: IntArray) -> IntArray:
    """Sets without those that change level, power or leaning where the runways stay outside whatever the burn."""
    burn = np.array([c.kind in BURN_ONLY for c in changes], dtype=bool)
    another = np.array([bool(c.profile) and c.kind not in BURN_ONLY for c in changes], dtype=bool)
    asked = np.nonzero(burn[sets].any(axis=1) & ~another[sets].any(axis=1))[0]
    if not asked.size:
        return sets
    return np.delete(sets, asked[screen.runways_lost(candidates(screen, changes, sets[asked]))], axis=0)


def as_asked(screen: Screen) -> Candidates:
    """The flight as asked as the only candidate."""
    return candidates(screen, (), [()])


def candidates(screen: Screen, changes: Sequence[Change], sets: Sets) -> Candidates:
    """Arrays for combinations of changes; a change that is flown otherwise has its profile in the order of the changes."""
    n, tanks = len(sets), {t.tank: k for k, t in enumerate(screen.tanks)}
    stations, usable = np.tile(screen.as_asked, (n, 1)), np.tile(screen.usable_m3, (n, 1))
    flown = [i for i, c in enumerate(changes) if c.profile]
    rows, numbers = members(sets)
    code, base = np.zeros(n, dtype=np.int64), len(flown) + 1  # the profiles of a set are the digits of its code
    for i in np.unique(numbers):
        at, change = rows[numbers == i], changes[i]
        for item, station in change.loads:
            stations[at, item] = station
        for tank, more in change.fuel_m3:
            usable[at, tanks[tank]] += more
        if change.profile:
            code[at] = code[at] * base + flown.index(i) + 1
    codes, profile = np.unique(np.append(code, 0), return_inverse=True)
    return Candidates(stations, usable, profile[:-1], tuple(_digits(int(c), base) for c in codes))


def _digits(code: int, base: int) -> tuple[int, ...]:
    return (*_digits(code // base, base), code % base) if code else ()


def _worth_trying(options: Sequence[Option], aim: int, changes: Sequence[Change], given: list[frozenset[int]]) -> Iterator[Option]:
    """Options that reach the aim, cheapest first, without those that only add to one already given, and not more than
    two of the same make (same kinds on the same parts). Those that miss it by a hair are tried too, a few, and count as
    given only where whoever asks adds them."""
    makes: dict[tuple[Any, ...], int] = {}
    for option in options:
        if option.near > aim:
            continue
        chosen = frozenset(option.changes)
        if any(g <= chosen for g in given):
            continue
        sure = option.verdict <= aim
        make = (sure, *sorted((changes[i].kind, *sorted(changes[i].touches)) for i in option.changes))
        if sure:
            given.append(chosen)
        if makes.get(make, 0) >= 2:
            continue
        makes[make] = makes.get(make, 0) + 1
        yield option


def confirmed(s: Situation, before: Assessment, changes: Sequence[Change], cost: float, aim: Verdict,
              judge: Judge = assess) -> Remedy | None:
    """The remedy as the ordinary assessment judges it; None where that does not reach the aim."""
    data = edited(s.request_data, changes)
    try:
        after = judge(altered(s, data))
    except (BadInput, NotPossible):
        return None
    if ORDER.index(after.verdict) > ORDER.index(aim):
        return None
    return Remedy(sentence_of(changes, after.verdict), tuple(changes), round(cost, 1), bought_for(before, after),
                  tightest_words(after), after.verdict, data)


def bought_for(before: Assessment, after: Assessment) -> tuple[str, ...]:
    """Ids of the limits that are judged better than before."""
    now = {m.id: ORDER.index(m.verdict) for m in after.margins}
    return tuple(m.id for m in before.margins if m.verdict != WITHIN and now.get(m.id, 0) < ORDER.index(m.verdict))


def tightest_words(a: Assessment) -> str:
    """The first margin of an assessment in words: name, place, verdict, room."""
    m = next((m for m in a.margins if m.margin is not None), a.margins[0])
    room = "" if m.margin is None else f", {m.margin.text()} left"
    return f"{m.name}{f' at {m.place}' if m.place and m.place not in m.name else ''}: {m.verdict}{room}"


def sentence_of(changes: Sequence[Change], verdict: Verdict) -> str:
    """Changes and the verdict they lead to, as a sentence."""
    words = [c.words for c in changes]
    text = " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
    return f"{text[:1].upper()}{text[1:]}: {verdict}."


def _known_at(s: Situation, m: Margin, judge: Judge) -> str:
    """From which half hour of the day a limit that is not known would be known and met; "" where there is none."""
    return hour_words(s, m, judge) if not m.id.startswith(HOURLESS) and first_met(s, m.id, judge)[0] is not None else ""


def _moves_leaving(s: Situation, m: Margin) -> bool:
    return s.leave_again is not None and "leave_again" in m.id


def nothing_works(before: Assessment, screen: Screen, options: Sequence[Option], changes: Sequence[Change],
                  judge: Judge = assess) -> str:
    """Which limit cannot be met, by how much, and the weight and the hour at which it would; what is not known is said so."""
    start = "Nothing that can be changed makes it fit."
    unmet = [m for m in before.margins if m.verdict != WITHIN]
    never = _never(screen.rate(candidates(screen, changes, [(), *(o.changes for o in options)])), unmet)
    broken = [m for m in never if m.verdict == OUTSIDE]
    if not broken:
        unknown = sorted((m for m in never if m.verdict == NOT_KNOWN), key=lambda m: m.kind == ADVICE)  # what binds is named first
        if unknown:
            m, more = unknown[0], len(unknown) - 1
            also = f" {more} more {'is' if more == 1 else 'are'} not known." if more else ""
            return f"{start} Not known whatever is changed: {m.name}{_where(m)}: {m.words}{also}{_known_at(screen.s, m, judge)}"
        alone = [_met_words(m, screen, judge) for m in unmet if m.verdict == OUTSIDE][:MOST_NAMED]
        return " ".join([f"{start} Each limit could be met, but not all of them at once.", *(x[:1].upper() + x[1:] for x in alone)])
    return f"{start} What cannot be met: {_met_words(broken[0], screen, judge)}"


def _met_words(m: Margin, screen: Screen, judge: Judge) -> str:
    """A limit that is not met: by how much, and at which weight and from which half hour of the day it would be."""
    by = "" if m.margin is None else f", short by {replace(m.margin, value=abs(m.margin.value)).text()} as asked"
    return f"{m.name}{_where(m)}{by}.{screen.weight_words(m)}{hour_words(screen.s, m, judge)}"


def hour_words(s: Situation, m: Margin, judge: Judge = assess) -> str:
    """From which half hour of the day a limit would be met as loaded, or between which it is known and not met; "" for a limit
    of the load, which no hour moves."""
    if m.id.startswith(HOURLESS):
        return ""
    met, known = first_met(s, m.id, judge)
    if met is not None:
        air, again = "; ".join(x.text() for x in met.air), ", and again later alike" if _moves_leaving(s, m) else ""
        return f" By the hour it would first be met leaving at {met.departure:%H:%M}{again} ({air}). Then: {met.sentence}"
    if not known:
        return " At no half hour of the day is the air for it known."
    day = half_hours(known[0].date(), zone_at(s.points[0].lat_deg, s.points[0].lon_deg))
    if len(known) >= len(day):
        return " By the hour: at no half hour of the day."
    until = f"; after {known[-1]:%H:%M} it is not known" if known[-1] < day[-1] else ""
    return (f" By the hour: at none whose air is known (leaving {clock_runs(known)}{until}). Enter the hours of the weather and of "
            "the air aloft, or take a forecast, for the rest of the day.")


def _where(m: Margin) -> str:
    return f" at {m.place}" if m.place and m.place not in m.name else ""


def _never(rated: Screened, blocked: Sequence[Margin]) -> list[Margin]:
    """The limits that no combination brings inside; those of the tank plan are screened as one."""
    def screened_as(m: Margin) -> str:
        return "tanks" if m.id.startswith(OF_TANKS) else m.id

    return [m for m in blocked if screened_as(m) in rated.by_limit and int(rated.by_limit[screened_as(m)].min()) > IS_TIGHT]
