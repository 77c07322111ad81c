"""How far today, and where to? A flight in (two files, the demo, or by the record), a reach with its aerodromes out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from ownship.errors import BadInput, NotPossible

if TYPE_CHECKING:
    from ownship.flight.flown import Flown
    from ownship.flight.landable import Landable, ReachAnswer
    from ownship.flight.reach import Reach
    from ownship.flight.reach_map import Candidate
    from ownship.flight.situation import Situation
    from ownship.world.aerodromes import Aerodrome

MOST_JUDGED = 60  # the nearest; runways of the rest are said not to be judged
STAND_IN = "150 nm"
KINDS = ("small_airport", "medium_airport", "large_airport", "seaplane_base", "closed")
Progress = Callable[[str], None]


def silent(words: str) -> None:
    """No progress is shown."""


def reach(aeroplane: str | None, flight: str | None = None, registration: str | None = None, *, there_and_back: bool = False,
          progress: Progress = silent) -> ReachAnswer:
    """The reach of a flight request: from two files, the demo's, or by the record."""
    from ownship.questions.check import situation_of

    s = situation_of(aeroplane, flight, registration, "reach")
    return reach_of_situation(s, there_and_back=there_and_back, progress=progress)


def reach_text(aeroplane_text: str, flight_text: str, folder: Path | None = None, name: str = "flight",
               aeroplane_name: str = "aeroplane", *, there_and_back: bool = False, progress: Progress = silent) -> ReachAnswer:
    """The same from two texts; `folder` is where the record's rows are (None: the demo's own)."""
    from ownship.questions.check import situation

    return reach_of_situation(situation(aeroplane_text, flight_text, folder, name, aeroplane_name),
                              there_and_back=there_and_back, progress=progress)


def reach_of_situation(s: Situation, *, there_and_back: bool = False, progress: Progress = silent) -> ReachAnswer:
    """The worse of the calibrations by bearing, and the aerodromes inside it, the nearest 60 judged."""
    from ownship.flight.landable import ReachAnswer, reach_of
    from ownship.flight.reach import LANDED, ONE_WAY
    from ownship.flight.reach_map import worse_of
    from ownship.questions.from_record import record_words

    told = record_words(s, judged=False)
    s, lost = _planned(s)
    flights, notes = _flights(s)
    trip = LANDED if there_and_back else ONE_WAY
    progress("How far in every direction ...")
    founds = [reach_of(s, f, trip) for f in flights]
    whole = worse_of(founds)
    usable, left_out = _sorted(s, whole)
    progress(f"Flying to {len(usable)} aerodromes ...")
    rows, refused = _rows(s, list(zip(founds, flights, strict=True)), usable, progress)
    progress("")
    i = s.record.identity
    about = {"registration": i.registration, "type_name": i.type_name, "category": s.request.category}
    return ReachAnswer(whole, tuple(rows), left_out, refused, (*whole.notes, *lost, *notes, *_said(s, flights, trip), *told), about,
                       s.request_data, s.departure)


def _planned(s: Situation) -> tuple[Situation, list[str]]:
    """The situation, with a stand-in for a destination to which there is no leg at all (the start itself, or above the level)."""
    try:
        s.legs  # noqa: B018 - asked for its refusal
    except BadInput:
        east = _standing_in(s, 90.0)
        return _standing_in(s, _down_the_wind_deg(east)), [_note(s)]
    return s, []


def _note(s: Situation) -> str:
    return (f"No flight to {s.points[-1].name} is possible at this level: the reserve is that of one of {STAND_IN} down the "
            "wind, without an alternate.")


def _flights(s: Situation) -> tuple[list[Flown], list[str]]:
    """The planned flight by every calibration, for load, fuel and reserve; BadInput where any of it is not known.

    Where climb and descent need the whole way to the planned destination, or it has no way at all, a flight of 150 nm down
    the wind stands in: its load, fuel and flow are the same; an alternate is not counted then, and that is said.
    """
    from ownship.flight.assessment import aboard_of, fly

    if s.calibrations is None:
        raise BadInput(f"Without a performance model there is no reach: {s.no_model}")
    if not s.air.known:
        raise BadInput(" ".join(["[aloft]: no winds and temperatures aloft are given, so the reach is not known; enter both.",
                                 *s.aloft.words]))
    aboard = aboard_of(s)
    if aboard.load is None or aboard.missing:
        raise BadInput(f"Without the load there is no reach: {aboard.missing}")
    try:
        return _known(fly(s, aboard)), []
    except NotPossible:
        return _known(fly(_standing_in(s, _down_the_wind_deg(s)), aboard)), [_note(s)]


def _known(flights: list[Flown]) -> list[Flown]:
    for f in flights:
        if f.needs is None:
            raise BadInput(f"The fuel that must be left is not known, so neither is the reach: {f.no_reserve}")
    return flights


def _down_the_wind_deg(s: Situation) -> float:
    return s.air.middle_wind(s.request.cruise_altitude_m)[0] + 180.0


def _standing_in(s: Situation, course_deg: float) -> Situation:
    """The same flight to a position 150 nm off on a course, without via and alternates."""
    from ownship.units import parse
    from ownship.world.geodesy import direct

    start = s.points[0]
    lat, lon, _ = direct(start.lat_deg, start.lon_deg, course_deg, parse(STAND_IN, "length"))
    return replace(s, request=replace(s.request, destination=f"{lat:.4f},{lon:.4f}", via=(), alternates=()))


def _sorted(s: Situation, whole: Reach) -> tuple[list[Aerodrome], dict[str, int]]:
    """The aerodromes near enough that may be used, the owner's records over the data, and how many inside were left out."""
    from ownship.flight.reach_map import covers
    from ownship.questions.check import aerodrome_of, open_database
    from ownship.world import aerodrome_database as database
    from ownship.world.geodesy import inverse

    start, limit = whole.start, float(whole.median_m.max())
    own = [p for n in s.request.aerodromes if (p := s.places.get(n) or aerodrome_of(n, s.request, open_database(), needed=False))]
    mine = {code for p in own for code in (p.ident, *p.codes)}
    every = [*own, *(a for a in database.near(open_database(), start.lat_deg, start.lon_deg, limit, s.day, KINDS)
                     if a.ident not in mine)] if limit > 0 else []
    usable: list[Aerodrome] = []
    left_out = {"closed": 0, "water": 0}
    for place in every:
        why = _left_out(place)
        distance, course, _ = inverse(start.lat_deg, start.lon_deg, place.lat_deg, place.lon_deg)
        if why and covers(whole, course, distance):
            left_out[why] += 1
        elif not why and place.ident != s.points[0].name:
            usable.append(place)
    return usable, left_out


def _left_out(place: Aerodrome) -> str:
    """Why an aerodrome is left out (closed, water), or empty. One without runways in the data stays: not known."""
    if place.closed or place.kind == "closed" or (place.ends and all(e.closed for e in place.ends)):
        return "closed"
    open_ends = [e for e in place.ends if not e.closed]
    return "water" if place.kind == "seaplane_base" or (open_ends and all(e.surface == "water" for e in open_ends)) else ""


def _rows(s: Situation, by: Sequence[tuple[Reach, Flown]], usable: list[Aerodrome],
          progress: Progress) -> tuple[list[Landable], tuple[str, ...]]:
    """Each aerodrome inside, nearest first, the nearest 60 judged; and a sentence for each that was not looked at."""
    from ownship.flight.landable import Landable, Reserve, landable, lenders
    from ownship.flight.reach_map import inside_all

    places = {a.ident: a for a in usable}
    inside, refused = inside_all([(r, Reserve(s, f).by_place(usable, r.trip)) for r, f in by], usable)
    near = lenders(s)

    def row(i: int, c: Candidate) -> Landable:
        if i >= MOST_JUDGED:
            return Landable(c, places[c.ident])
        progress(f"Runways: {i + 1} of {min(len(inside), MOST_JUDGED)}")
        return landable(s, c, places[c.ident], near)

    return [row(i, c) for i, c in enumerate(inside)], refused


def _said(s: Situation, flights: list[Flown], trip: str) -> list[str]:
    """What the reach rests on and what it leaves to the assessment."""
    from ownship.flight.assessment import governing_of
    from ownship.flight.chance import middle
    from ownship.flight.reach import ONE_WAY
    from ownship.units import from_si

    governing = governing_of(flights)
    assert governing is not None and governing.needs is not None
    said = [f"{governing.needs.reserve_words} By night wherever the landing or the reserve after it reaches night.",
            "The wind is the same everywhere at its level; the far end lies as high as the start; via is not flown."]
    if s.alternate is not None:
        said.append(f"The fuel from {s.points[-1].name} to {s.alternate[0].name} is left everywhere.")
    if trip != ONE_WAY:
        said.append("There and back with a landing, without fuel added; the fuel left is that on landing back.")
    limit, weight = s.record.weights.take_off_max_kg, middle(governing.take_off_kg)
    if isinstance(limit, float) and weight > limit:
        said.append(f"Take-off weight {from_si(weight, 'lb'):,.0f} lb is over the limit of {from_si(limit, 'lb'):,.0f} lb: "
                    "this reach is of a flight that is outside limits.")
    return [*said, "Not judged here: the take-off from the start, weight and CG, tank plan, terrain, levels, weather "
                   "minima, what a TAF says may be, go-around; check judges them."]
