"""What a pilot's flights give: the amount of each to a need, what is done of the next rating, and when at the present pace.

The pace is that of the last twelve months; its band (5 to 95 %) comes from how much those months differ. docs/methods/recency.md.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, timedelta
from itertools import pairwise

from ownship.errors import BadInput
from ownship.ownership.entries import Entry, Flight, Pilot, PilotEvent, of_kind, standing
from ownship.rules.due import month_later
from ownship.rules.recency import Goal, Need, Window, last_day, load_recency

DayOf = Callable[[Flight], date]
NightOf = Callable[[Flight], tuple[bool, bool] | None]
DEFAULT_CLASS = "single-engine land"
MONTHS = 12  # of the pace
T_95_OF_11 = 1.796  # Student's t, 95 % one-sided, 11 degrees of freedom; printed tables, from memory
MONTH_DAYS = 365.25 / 12
FARTHEST_MONTHS = 600.0
KNOWN_RATINGS = ("student", "sport", "recreational", "LAPL", "PPL", "CPL", "ATPL", "commercial", "night", "IR", "instrument",
                 "instructor", "multi-engine", "seaplane", "mountain", "aerobatic", "towing", "tailwheel")
HELD = {"instrument": ("IR",), "commercial": ("CPL", "ATPL")}


def utc_day(flight: Flight) -> date:
    """The day of a flight: the UTC day of its landing, or of its blocks on where no landing is noted."""
    return (flight.landing or flight.on_blocks).astimezone(UTC).date()


def night_as_noted(flight: Flight) -> tuple[bool, bool] | None:
    """Not known: the counts noted with the flight stand."""
    return None


@dataclass(frozen=True)
class Flown:
    """One flight of the pilot: its day, and whether take-off and landing fell in the place's night (None: as noted)."""

    day: date
    flight: Flight
    night: tuple[bool, bool] | None


@dataclass(frozen=True)
class Facts:
    """What is known of a pilot up to and with a day: flights and events by day, the pilot's own entry, flights without a name."""

    on: date
    flights: tuple[Flown, ...]
    events: tuple[PilotEvent, ...]
    pilot: Pilot | None
    unnamed: int
    aeroplane_class: str = DEFAULT_CLASS

    @property
    def ratings(self) -> tuple[str, ...]:
        """The ratings entered for the pilot."""
        return () if self.pilot is None else self.pilot.ratings

    def holds(self, *ratings: str) -> bool:
        """Whether one of these ratings is entered; letter case does not matter."""
        return bool({r.casefold() for r in ratings} & {r.strip().casefold() for r in self.ratings})


def rating_of(text: str) -> str:
    """A rating, licence or privilege as it is written here; BadInput for what is none."""
    found = next((r for r in KNOWN_RATINGS if r.casefold() == text.strip().casefold()), None)
    if found is None:
        raise BadInput(f"--rating: {text[:40]!r} is no rating; allowed are {', '.join(KNOWN_RATINGS)}.")
    return found


def same_name(one: str, other: str) -> bool:
    """Whether two names are one pilot: letter case and spaces do not matter."""
    return " ".join(one.split()).casefold() == " ".join(other.split()).casefold()


def pilots(entries: Iterable[Entry]) -> tuple[str, ...]:
    """Names of pilots in the entries that count, as first written; "" where flights name none is left out."""
    names: dict[str, str] = {}
    for entry in standing(entries):
        body = entry.body
        name = body.name if isinstance(body, Pilot) else body.pilot if isinstance(body, Flight | PilotEvent) else ""
        if name.strip():
            names.setdefault(" ".join(name.split()).casefold(), " ".join(name.split()))
    return tuple(names.values())


def facts(entries: Iterable[Entry], pilot: str, on: date, aeroplane_class: str = DEFAULT_CLASS, day_of: DayOf = utc_day,
          night_of: NightOf = night_as_noted) -> Facts:
    """The facts of one pilot up to and with a day; later entries say nothing of that day."""
    kept = standing(entries)
    of_pilot = [f for _, f in of_kind(kept, Flight) if same_name(f.pilot, pilot)]
    flights = [Flown(day, f, night_of(f)) for f in of_pilot if (day := day_of(f)) <= on]
    events = [e for _, e in of_kind(kept, PilotEvent) if same_name(e.pilot, pilot) and e.day <= on]
    owns = [p for _, p in of_kind(kept, Pilot) if same_name(p.name, pilot)]
    unnamed = sum(not f.pilot.strip() for _, f in of_kind(kept, Flight)) if pilot.strip() else 0
    return Facts(on, tuple(sorted(flights, key=lambda f: (f.day, f.flight.off_blocks))), tuple(sorted(events, key=lambda e: e.day)),
                 owns[-1] if owns else None, unnamed, aeroplane_class)


def amount(need: Need, flown: Flown, aeroplane_class: str) -> float:
    """What one flight gives to a need: a count, or seconds; 0 where role, class, distance or company do not fit.

    What is not noted counts as the least it can have been.
    """
    f = flown.flight
    if f.role not in need.roles or (need.same_class and f.aeroplane_class != aeroplane_class):
        return 0.0
    if need.solo and (f.role != "PIC" or f.passengers != 0 or f.crew):
        return 0.0
    if need.cross_country_m is not None and (f.cross_country_m is None or f.cross_country_m < need.cross_country_m):
        return 0.0
    return max(0.0, _BASES[need.what](need, flown))


def take_offs(f: Flight) -> int:
    """Take-offs as noted; where not both are, as many as landings (a flight begins and ends on the ground)."""
    if f.take_offs_day is None or f.take_offs_night is None:
        return f.landings_day + f.landings_night
    return f.take_offs_day + f.take_offs_night


def night_landings(flown: Flown) -> int:
    """Night landings: as noted, and no more than the sun allows where the place's night is known.

    Take-off and landing both in that night: all noted; the landing alone: one; otherwise none.
    """
    noted = flown.flight.landings_night
    if flown.night is None or all(flown.night):
        return noted
    return min(noted, 1) if flown.night[1] else 0


def night_take_offs(flown: Flown) -> int:
    """Night take-offs: as noted; where not noted, one fewer than night landings; no more than the sun allows."""
    f = flown.flight
    if f.take_offs_night is not None:
        noted = f.take_offs_night
    elif f.take_offs_day is not None:
        noted = take_offs(f) - f.take_offs_day
    else:
        noted = f.landings_night - (0 if flown.night == (True, True) and not f.landings_day else 1)
    if flown.night is None or all(flown.night):
        return max(0, noted)
    return max(0, min(noted, 1)) if flown.night[0] else 0


def night_full_stops(flown: Flown) -> int:
    """Night landings to a full stop: as noted; where not noted the last one, if it was surely at night."""
    f, most = flown.flight, night_landings(flown)
    if f.full_stop_night is not None:
        return min(f.full_stop_night, most)
    last_at_night = flown.night[1] if flown.night is not None else f.landings_day == 0
    return min(most, 1) if last_at_night else 0


_BASES: dict[str, Callable[[Need, Flown], float]] = {
    "flights": lambda n, x: 1.0,
    "take-offs": lambda n, x: take_offs(x.flight),
    "landings": lambda n, x: x.flight.landings_day + x.flight.landings_night,
    "night take-offs": lambda n, x: night_take_offs(x),
    "night landings": lambda n, x: night_landings(x),
    "night full stops": lambda n, x: night_full_stops(x),
    "approaches": lambda n, x: sum(a.how in n.how for a in x.flight.approaches),
    "holds": lambda n, x: x.flight.holds,
    "tracking": lambda n, x: float(x.flight.tracked),
    "time": lambda n, x: x.flight.flight_s,
    "night time": lambda n, x: min(x.flight.night_s, x.flight.flight_s),
    "instrument time": lambda n, x: min(x.flight.instrument_s + x.flight.simulated_s, x.flight.flight_s),
}


# ---- the next rating


@dataclass(frozen=True)
class Pace:
    """When something will be reached: likely, and the band's early and late day; None: never at this pace, or not known."""

    early: date | None
    likely: date | None
    late: date | None


@dataclass(frozen=True)
class Step:
    """One need of a rating: done of needed (timed: seconds), and when at the present pace."""

    words: str
    done: float
    needed: float
    timed: bool
    pace: Pace

    @property
    def left(self) -> float:
        """What is missing."""
        return max(0.0, self.needed - self.done)


@dataclass(frozen=True)
class GoalStanding:
    """How far a pilot is on the way to a rating: steps, when the last of them is reached, what the record cannot count."""

    place: str
    goal: Goal
    held: bool
    steps: tuple[Step, ...]
    pace: Pace
    notes: tuple[str, ...]


def progress(entries: Iterable[Entry], pilot: str, place: str, on: date, aeroplane_class: str = DEFAULT_CLASS,
             day_of: DayOf = utc_day) -> tuple[GoalStanding, ...]:
    """Every rating the rules of a place keep, with counts and dates; night by the flight's own counts.

    BadInput for a place without rules.
    """
    known = facts(entries, pilot, on, aeroplane_class, day_of)
    return tuple(_goal(known, place, goal) for goal in load_recency(place).goals)


def _goal(known: Facts, place: str, goal: Goal) -> GoalStanding:
    held = known.holds(goal.rating, *HELD.get(goal.rating, ()))
    first, last = _counting(goal.window, known)
    steps = tuple(_step(n, known, first, last) for n in goal.needs)
    return GoalStanding(place, goal, held, steps, _last(steps, known.on), _goal_notes(goal, known, first, last))


def _counting(window: Window | None, known: Facts) -> tuple[date, date]:
    """The first and last day on which what is done counts; without a known end the months up to now."""
    if window is None:
        return date.min, known.on
    ends = [e.expires or last_day(e.day, window.lasts) for e in known.events if e.event in window.events]
    end = max(ends, default=known.on)
    return month_later(end, -window.months) + timedelta(days=1), end


def _step(need: Need, known: Facts, first: date, last: date) -> Step:
    if need.events:
        done = float(any(e.event in need.events and first <= e.day <= last for e in known.events))
        return Step(need.words, done, 1.0, False, Pace(known.on, known.on, known.on) if done else Pace(None, None, None))
    done = sum(amount(need, f, known.aeroplane_class) for f in known.flights if first <= f.day <= last)
    left = max(0.0, need.amount - done)
    if left <= 1e-6:
        return Step(need.words, done, need.amount, need.timed, Pace(known.on, known.on, known.on))
    months = monthly(need, known)
    begin = max(known.on, first)
    return Step(need.words, done, need.amount, need.timed,
                Pace(None, None, None) if months is None else pace(left, months, begin))


def monthly(need: Need, known: Facts) -> tuple[float, ...] | None:
    """What each of the last twelve months gave to a need, the latest first; None where the record is younger than that."""
    edges = [month_later(known.on, -k) for k in range(MONTHS + 1)]
    if not known.flights or known.flights[0].day > edges[-1]:
        return None
    return tuple(sum(amount(need, f, known.aeroplane_class) for f in known.flights if low < f.day <= high)
                 for high, low in pairwise(edges))


def pace(left: float, months: Sequence[float], on: date) -> Pace:
    """When an amount left will be reached, from the amounts of past months (as many as there are, at least 2).

    With mean m and standard deviation s of n months, N more months give N m with the deviation s (N + N^2 / n)^0.5; likely
    is N = left / m, and the band are the N at which the left amount is t deviations away: the roots of
    (N m - left)^2 = t^2 s^2 (N + N^2 / n), t = 1.796 (95 %, 11 degrees of freedom). Where the spread is so large that the
    upper root does not exist, late is None.
    """
    n = len(months)
    mean = sum(months) / n
    if mean <= 0:
        return Pace(None, None, None)
    spread = T_95_OF_11**2 * sum((x - mean) ** 2 for x in months) / (n - 1)
    a, half = mean**2 - spread / n, mean * left + spread / 2
    root = math.sqrt(max(0.0, half**2 - a * left**2))
    late = _day(on, (half + root) / a) if a > 0 else None
    return Pace(_day(on, left**2 / (half + root)), _day(on, left / mean), late)


def _day(on: date, months: float) -> date | None:
    return on + timedelta(days=math.ceil(months * MONTH_DAYS)) if months <= FARTHEST_MONTHS else None


def _last(steps: Sequence[Step], on: date) -> Pace:
    """The latest of all steps, each of early, likely and late; None where one is."""
    def latest(days: list[date | None]) -> date | None:
        known = [d for d in days if d is not None]
        return max(known, default=on) if len(known) == len(days) else None

    return Pace(latest([s.pace.early for s in steps]), latest([s.pace.likely for s in steps]), latest([s.pace.late for s in steps]))


def _goal_notes(goal: Goal, known: Facts, first: date, last: date) -> tuple[str, ...]:
    notes = [goal.note] if goal.note else []
    if goal.window is not None:
        ended = any(e.event in goal.window.events for e in known.events)
        notes.append(f"Counted from {first.isoformat()} to {last.isoformat()}, " + (
            "the end of the rating." if ended else "because the end of the rating is not recorded."))
    unknown = sum(f.flight.cross_country_m is None for f in known.flights)
    if unknown and any(n.cross_country_m is not None for n in goal.needs):
        notes.append(f"Flights without a cross-country distance: {unknown}; they count nothing towards cross-country.")
    unsaid = sum(f.flight.passengers is None and f.flight.role == "PIC" and not f.flight.crew for f in known.flights)
    if unsaid and any(n.solo for n in goal.needs):
        notes.append(f"Flights that do not say how many passengers there were: {unsaid}; they do not count as solo (passengers 0 "
                     "says that there was none).")
    if not known.flights or known.flights[0].day > month_later(known.on, -MONTHS):
        notes.append("No date at the present pace: it needs flights of twelve months in the record.")
    return tuple(notes)
