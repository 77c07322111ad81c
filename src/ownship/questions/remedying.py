"""`check --remedies`: the flight judged, and what would make it fit; requests written ready to use."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ownship.questions.check import situation_of
from ownship.questions.places import write_whole

if TYPE_CHECKING:
    from ownship.flight.answer import Assessment
    from ownship.flight.remedies import Found
    from ownship.flight.situation import Situation

DETOURS_FROM = 60.0  # only where what was found costs more than this (minutes) is another way of flying looked for


def with_remedies(aeroplane: str, flight: str | None, progress: Callable[[str], None] | None = None) -> tuple[Assessment, Found]:
    """The assessment of a flight and its remedies, cheapest first."""
    from ownship.flight.assessment import assess

    s = situation_of(aeroplane, flight)
    before = assess(s)
    return before, search(s, before, progress)


def search(s: Situation, before: Assessment, progress: Callable[[str], None] | None = None) -> Found:
    """Remedies of an assessed situation: changes first, other ways of flying where those are dear or there are none."""
    from ownship.errors import BadInput
    from ownship.flight.detours import detours
    from ownship.flight.remedies import MOST, Found, remedies
    from ownship.words.verdicts import ORDER, WITHIN

    say = progress or (lambda words: None)
    try:
        found = remedies(s, before, progress=say)
    except BadInput as error:
        return Found((), f"No remedy can be searched: {error}", 0, 0)
    within = [r.cost for r in found.remedies if r.verdict == WITHIN]
    if before.verdict == WITHIN or (within and min(within) <= DETOURS_FROM):
        return found
    more = detours(s, before, found.options, found.changes, min(within, default=float("inf")), say)
    every = sorted((*found.remedies, *more), key=lambda r: (ORDER.index(r.verdict), r.cost))
    best = [r for r in every if r.verdict == every[0].verdict][:MOST]
    return replace(found, remedies=tuple(best), words="" if best else found.words)


def write_requests(folder: Path, found: Found) -> list[Path]:
    """Every remedy's request as TOML in a folder, the flights of one numbered; returns the files."""
    import tomlkit

    from ownship.errors import BadInput

    folder.mkdir(exist_ok=True)
    if any(folder.glob("remedy-*.toml")):
        raise BadInput(f"--write: {folder} already holds remedies; name another folder, or take them out of it first.")
    written = []
    for number, remedy in enumerate(found.remedies, 1):
        for part, data in enumerate((remedy.request, *remedy.further), 1):
            name = f"remedy-{number}.toml" if not remedy.further else f"remedy-{number}-flight-{part}.toml"
            text = f"# {remedy.sentence}\n{tomlkit.dumps(_without_none(data))}"
            write_whole(folder / name, text.encode())
            written.append(folder / name)
    return written


def _without_none(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _without_none(v) for k, v in value.items() if v is not None}
    return [_without_none(v) for v in value] if isinstance(value, list) else value
