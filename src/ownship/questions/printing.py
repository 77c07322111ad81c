"""The papers and files of one flight: everything is made before anything is written."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from ownship.errors import BadInput

if TYPE_CHECKING:
    from ownship.flight.answer import Assessment
    from ownship.flight.situation import Situation

Maker = Callable[["Situation", "Assessment"], bytes]
STANDARD_OUTPUT = "-"


def papers(file: str | None, flight: str | None, registration: str | None, *, kneeboard: str | None = None,
           sheet: str = "a5", icao: str | None = None, route: str | None = None) -> tuple[Assessment, str]:
    """`check` with its papers: the answer, and the text for standard output (the flight plan's where `icao` is -).

    kneeboard: a .pdf; sheet: a5 or half-letter; icao: a .txt, or -; route: .gpx, .geojson or .csv. BadInput for another ending,
    a folder that does not exist, two papers in one file, or a paper this flight cannot have; then no file is written.
    """
    from ownship.flight.assessment import assess
    from ownship.flight.extras import with_extras
    from ownship.questions.check import recorded, situation_of
    from ownship.questions.places import write_whole

    wanted = _wanted(kneeboard, sheet, icao, route)
    s = situation_of(file, flight, registration)
    answer = recorded(s, with_extras(s, assess(s)), file, flight)
    made = {place: make(s, answer) for place, make in wanted.items()}
    told = made.pop(STANDARD_OUTPUT, b"").decode()
    for place, data in made.items():
        write_whole(Path(place), data)
    return answer, told


def _wanted(kneeboard: str | None, sheet: str, icao: str | None, route: str | None) -> dict[str, Maker]:
    """Where each paper goes and what makes it; refused before any work."""
    from ownship.papers.kneeboard import kneeboard_pdf, sheet_of
    from ownship.papers.route_files import writer_of

    size, found = sheet_of(sheet), list[tuple[str, Maker]]()
    if kneeboard is not None:
        found.append((_file("--kneeboard", kneeboard, (".pdf",)), lambda s, a: kneeboard_pdf(s, a, size)))
    if icao is not None:
        found.append((icao if icao == STANDARD_OUTPUT else _file("--icao", icao, (".txt",)), _icao))
    if route is not None:
        make = writer_of(route)
        found.append((_file("--route", route), make))
    places = dict(found)
    if len(places) < len(found):
        raise BadInput("Two papers would go into one file; name a file for each.")
    return places


def _icao(s: Situation, a: Assessment) -> bytes:
    from ownship.papers.icao_plan import icao_plan

    return icao_plan(s, a).text.encode()


def _file(option: str, path: str, endings: tuple[str, ...] = ()) -> str:
    """The absolute path of a file to be written."""
    if endings and Path(path).suffix.lower() not in endings:
        raise BadInput(f"{option}: {path} does not end in {' or '.join(endings)}; name a file that does.")
    if Path(path).is_dir():
        raise BadInput(f"{option}: {path} is a folder; name a file in it.")
    if not Path(path).absolute().parent.is_dir():
        raise BadInput(f"{option}: the folder of {path} does not exist; make it or choose another.")
    return str(Path(path).absolute())
