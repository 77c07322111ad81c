"""`check --remedies`: the flight judged, and what would make it fit; requests written ready to use.

By the record a defect, an open item or a recency is no limit that a change of the flight buys: it is said to come first.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from ownship.questions.check import situation_of
from ownship.questions.places import write_whole
from ownship.words.verdicts import NOT_KNOWN, ORDER, OUTSIDE, TIGHT, WITHIN, Verdict, worst

if TYPE_CHECKING:
    from ownship.flight.answer import Assessment
    from ownship.flight.changes import Change
    from ownship.flight.margins import Margin
    from ownship.flight.remedies import Found, Judge, Remedy
    from ownship.flight.situation import Situation
    from ownship.ownership.entries import Entry
    from ownship.questions.record_margins import RecordSituation

DETOURS_FROM = 60.0  # only where what was found costs more than this (minutes) is another way of flying looked for
MOST_WAYS = 60  # departures looked at to get round a recency that the hour asks for
Say = Callable[[str], None]
RECENCY = "record.recency."


def with_remedies(aeroplane: str | None, flight: str | None, progress: Say | None = None,
                  registration: str | None = None) -> tuple[Assessment, Found]:
    """The assessment of a flight and its remedies, cheapest first: two files, the demo, or by the record."""
    from ownship.questions.from_record import judge_of

    s = situation_of(aeroplane, flight, registration)
    before = judge_of(s)(s)
    return before, search(s, before, progress)


def search(s: Situation, before: Assessment, progress: Say | None = None) -> Found:
    """Remedies of an assessed situation: changes first, other ways of flying where those are dear or there are none.

    By the record: what maintenance or recency must settle first is said instead of changes that leave it outside.
    """
    from ownship.questions.record_margins import RecordSituation

    say = progress or (lambda words: None)
    return _by_record(s, before, say) if isinstance(s, RecordSituation) else _searched(s, before, say)


def _searched(s: Situation, before: Assessment, say: Say, judge: Judge | None = None, reachable: Verdict = WITHIN,
              held: Callable[[Remedy], Remedy | None] = lambda r: r) -> Found:
    """Changes, then detours; judge confirms the changes, held takes or leaves a detour."""
    from ownship.errors import BadInput
    from ownship.flight.assessment import assess
    from ownship.flight.detours import detours
    from ownship.flight.remedies import MOST, Found, remedies

    try:
        found = remedies(s, before, progress=say, judge=judge or assess, reachable=reachable)
    except BadInput as error:
        return Found((), f"No remedy can be searched: {error}", 0, 0)
    best_cost = min((r.cost for r in found.remedies if r.verdict == reachable), default=float("inf"))
    if before.verdict == WITHIN or not s.request.loads or best_cost <= DETOURS_FROM:
        return found
    more = [r for d in detours(s, before, found.options, found.changes, best_cost, say) if (r := held(d)) is not None]
    every = sorted((*found.remedies, *more), key=lambda r: (ORDER.index(r.verdict), r.cost))
    best = [r for r in every if r.verdict == every[0].verdict][:MOST]
    return replace(found, remedies=tuple(best), words="" if best else found.words)


# ---- by the record


def _by_record(s: RecordSituation, before: Assessment, say: Say) -> Found:
    """Remedies of what can be changed; a defect, an open item or a recency is settled by a person, not by a change."""
    from ownship.flight.remedies import Found
    from ownship.questions.from_record import judge_of, standing_entries

    judge, entries = judge_of(s), standing_entries()
    mine = [m for m in before.margins if m.id.startswith("record.")]
    rest = worst(m.verdict for m in before.margins if not m.id.startswith("record."))
    stops = [m for m in mine if m.verdict in (OUTSIDE, NOT_KNOWN)]
    if any(not m.id.startswith(RECENCY) for m in stops):
        return Found((), _first(stops, rest), 0, 0)
    if stops:
        return _without(s, before, stops, rest, judge, entries, say)
    tight = [m for m in mine if m.verdict == TIGHT]
    if tight and rest == WITHIN:
        words = f"The flight itself is within limits; only the record makes it tight, which no change buys: {_told(tight)}"
        return Found((), words, 0, 0)
    return _searched(s, before, say, judge, TIGHT if tight else WITHIN, lambda r: _held(s, r, entries))


def _told(margins: Iterable[Margin]) -> str:
    named = [m.words if m.id.startswith(RECENCY) else f"{m.name}: {m.words}" for m in margins]
    return " ".join(f"{words[:1].upper()}{words[1:]}" for words in named)


def _first(stops: list[Margin], rest: Verdict) -> str:
    """What must be settled first, in words, and how the flight stands apart from it."""
    work = [m for m in stops if not m.id.startswith(RECENCY)]
    lapsed = [m for m in stops if m.id.startswith(RECENCY)]
    needs = [f"It needs {what} first. {_told(some)}" for what, some in (("maintenance", work), ("recency", lapsed)) if some]
    return (f"No change to the flight makes it fit. {' '.join(needs)} Apart from that the flight is {rest}; ask again once it is "
            "settled.")


def _held(s: RecordSituation, remedy: Remedy, entries: tuple[Entry, ...]) -> Remedy | None:
    """A way of flying with what the record says of each of its flights; None where that leaves it outside or not known."""
    from ownship.flight.alter import altered

    near = {a.ident: a for a in s.near}
    limits = [m for data in (remedy.request, *remedy.further) for m in _record_margins(altered(s, data, near), entries)]
    verdict = worst([remedy.verdict, *(m.verdict for m in limits)])
    if verdict in (OUTSIDE, NOT_KNOWN):
        return None
    if verdict == remedy.verdict:
        return remedy
    return replace(remedy, verdict=verdict, sentence=f"{remedy.sentence} Tight by the record: {limits[0].name}.")


def _record_margins(s: Situation, entries: tuple[Entry, ...]) -> list[Margin]:
    from ownship.questions.record_margins import margins_of

    return margins_of(cast("RecordSituation", s), entries)[0]


def _stopped(s: Situation, entries: tuple[Entry, ...]) -> bool:
    return any(m.verdict in (OUTSIDE, NOT_KNOWN) for m in _record_margins(s, entries))


def _without(s: RecordSituation, before: Assessment, stops: list[Margin], rest: Verdict, judge: Judge, entries: tuple[Entry, ...],
             say: Say) -> Found:
    """A recency that passengers or the night ask for: left behind, or by day, it is not needed; else it comes first."""
    from ownship.flight.alter import altered
    from ownship.flight.changes import edited
    from ownship.flight.remedies import MOST, Found, confirmed, sentence_of

    ways: list[tuple[Change, ...]] = []
    for way in _ways(s):
        more = any(set(w) <= set(way) for w in ways)
        if not more and not _stopped(altered(s, edited(s.request_data, way)), entries):
            ways.append(way)
    say(f"{len(ways)} ways in which the recency is not needed")
    found = [r for w in ways[:MOST] if (r := confirmed(s, before, w, sum(c.cost for c in w), TIGHT, judge)) is not None]
    found.sort(key=lambda r: (ORDER.index(r.verdict), r.cost))
    tried, screened, still = len(ways[:MOST]), len(ways), ""
    for way in ways[:1] if not found else ():
        one = altered(s, edited(s.request_data, way))
        rest_of_it = _searched(one, judge(one), say, judge, WITHIN, lambda r: _held(s, r, entries))
        found = [_joined(way, r, stops) for r in rest_of_it.remedies]
        tried, screened = tried + rest_of_it.assessed, screened + rest_of_it.screened
        still = f" {sentence_of(way, NOT_KNOWN).rpartition(':')[0]}: then it is not needed, but: {rest_of_it.words}"
    if not found:
        return Found((), _first(stops, rest) + (still or _unmarked(s, entries)), screened, tried)
    missing = _told(stops)
    return Found(tuple(found), f"It needs recency first, or one of these, with which it is not needed. {missing}", screened, tried)


def _ways(s: Situation) -> list[tuple[Change, ...]]:
    """Every passenger left behind where all are marked so; another hour; both."""
    from ownship.flight.changes import changes_of

    changes, people = changes_of(s), _passengers(s)
    leave = tuple(c for c in changes if c.kind == "leave" and c.loads[0][0] in people)
    alone = [leave] if people and len(leave) == len(people) else []
    hours = sorted((c for c in changes if c.kind == "time"), key=lambda c: c.cost)[:MOST_WAYS]
    return [*alone, *((h,) for h in hours), *((*leave, h) for h in hours if alone)]


def _passengers(s: Situation) -> list[int]:
    """Indices of the people aboard but the pilot."""
    from ownship.flight.changes import is_person, pilot_of

    stations, pilot = {x.id: x for x in s.record.stations}, pilot_of(s)
    return [i for i, x in enumerate(s.request.loads) if i != pilot and x.weight_kg > 0 and is_person(x, stations[x.station])]


def _unmarked(s: RecordSituation, entries: tuple[Entry, ...]) -> str:
    """Which people would have to stay behind for the recency not to be needed; empty where that does not help."""
    from ownship.flight.alter import altered

    people = _passengers(s)
    names = [s.request.loads[i].what for i in people if not s.request.loads[i].can_stay]
    loads = [x for i, x in enumerate(s.request_data["loads"]) if i not in people]
    if not names or _stopped(altered(s, {**s.request_data, "loads": loads}), entries):
        return ""
    return f" Without passengers it is not needed: mark with can_stay = true whoever may stay behind ({', '.join(names)})."


def _joined(way: tuple[Change, ...], remedy: Remedy, stops: list[Margin]) -> Remedy:
    """A remedy of the flight as a way round the recency leaves it, with that way's changes before its own."""
    from ownship.flight.remedies import sentence_of

    changes = (*way, *remedy.changes)
    words = f"{sentence_of(way, remedy.verdict).rpartition(':')[0]}, then: {remedy.sentence}"
    return replace(remedy, changes=changes, cost=remedy.cost + sum(c.cost for c in way),
                   sentence=words if remedy.further else sentence_of(changes, remedy.verdict),
                   bought_for=tuple(dict.fromkeys((*(m.id for m in stops), *remedy.bought_for))))


def write_requests(folder: Path, found: Found, asked: Mapping[str, Any] | None = None) -> list[Path]:
    """Every remedy's request as TOML in a folder, the flights of one numbered; returns the files.

    asked: the request as answered; by the record it names aeroplane and pilot, and so do the files.
    """
    import tomlkit

    from ownship.errors import BadInput
    from ownship.questions.from_record import OWN_KEYS

    own = {k: v for k, v in (asked or {}).items() if k in OWN_KEYS}
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise BadInput(f"--write: {folder} cannot be made: {error.strerror or error}; name another folder.") from None
    if any(folder.glob("remedy-*.toml")):
        raise BadInput(f"--write: {folder} already holds remedies; name another folder, or take them out of it first.")
    written = []
    for number, remedy in enumerate(found.remedies, 1):
        for part, data in enumerate((remedy.request, *remedy.further), 1):
            name = f"remedy-{number}.toml" if not remedy.further else f"remedy-{number}-flight-{part}.toml"
            text = f"# {remedy.sentence}\n{tomlkit.dumps(_without_none({**own, **data}))}"
            write_whole(folder / name, text.encode())
            written.append(folder / name)
    return written


def _without_none(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _without_none(v) for k, v in value.items() if v is not None}
    return [_without_none(v) for v in value] if isinstance(value, list) else value
