"""A flight of the log from a GPX track or from the plan it was flown by: proposed cells, which what is typed overrides."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from ownship.errors import BadInput
from ownship.questions.from_record import chosen
from ownship.questions.logging_flights import Written, add, opened
from ownship.questions.reading import read_text
from ownship.units import parse

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from ownship.flight.request import FlightRequest
    from ownship.ownership.entries import Entry
    from ownship.world.tracks import TrackPoints

AIRBORNE_M_S = parse("40 kt", "speed")  # over the ground: faster than any taxi, slower than any approach in usual wind
MOVING_M_S = parse("3 kt", "speed")
SHORTEST_S = parse("60 s", "time")
STOP_S = parse("30 s", "time")  # a full stop keeps an aeroplane below flying speed at least this long
NEAR_M = parse("2 nm", "length")
_FIRST_TIME = re.compile(r"<(?:\w+:)?trkpt\b.*?<(?:\w+:)?time>\s*([^<\s]+)\s*<", re.DOTALL)
BY_SPEED = ("take-off and landing are where the speed over the ground passes 40 kt, good to about half a minute; touch and goes do "
            "not show in it: give --landings where there were any")


def from_track(path: str, cells: Mapping[str, str], aeroplane: str | None = None, folder: Path | None = None,
               other_aeroplane: bool = False) -> Written:
    """Add a flight from a GPX track: moments, places within 2 nm of its ends, full-stop landings; cells override."""
    from ownship.world.tracks import LONGEST_TEXT

    return from_track_text(read_text(path, LONGEST_TEXT), path, cells, aeroplane, folder, other_aeroplane)


def from_track_text(text: str, name: str, cells: Mapping[str, str], aeroplane: str | None = None, folder: Path | None = None,
                    other_aeroplane: bool = False) -> Written:
    """The same from the text of a track; name: of its file."""
    proposed = track_cells(text, name, cells)
    written = add(proposed | dict(cells), aeroplane, folder=folder, source=f"track {Path(name).name}",
                  other_aeroplane=other_aeroplane)
    return Written(written.numbers, written.sentence, (*written.told, BY_SPEED))


def track_cells(text: str, name: str, cells: Mapping[str, str]) -> dict[str, str]:
    """What a GPX track proposes for the log: moments, landings, and the places at its ends where none is typed."""
    from ownship.world.tracks import parse_gpx

    points = parse_gpx(text)
    proposed = _moments(points, _start(text, name), name) | _ends(points, cells)
    if {"landings_day", "landings_night"} & cells.keys():
        proposed.pop("landings", None)
    return proposed


def _start(text: str, path: str) -> datetime:
    """The moment of the first timed point; GPX times without a zone are UTC."""
    match = _FIRST_TIME.search(text)
    try:
        found = datetime.fromisoformat(match[1]) if match else None
    except ValueError:
        found = None
    if found is None:
        raise BadInput(f"{path}: the first time of the track is not readable; export it again as GPX 1.1.")
    return found if found.tzinfo else found.replace(tzinfo=UTC)


def _moments(points: TrackPoints, start: datetime, path: str) -> dict[str, str]:
    """Blocks, take-off, landing and full stops by the speed over the ground."""
    import numpy as np

    from ownship.world.tracks import motion

    speed = np.nan_to_num(motion(points).groundspeed_m_s, nan=0.0)
    runs = [(a, b) for a, b in _joined(_runs(speed > AIRBORNE_M_S), points.time_s)
            if points.time_s[b] - points.time_s[a] >= SHORTEST_S]
    if not runs:
        raise BadInput(f"{path}: nowhere does the track move faster than 40 kt for a minute, so it holds no "
                       "flight; choose another.")
    off, down = runs[0][0], runs[-1][1]
    if off == 0 or down == points.time_s.size - 1:
        which = "begins" if off == 0 else "ends"
        raise BadInput(f"{path}: the track {which} in flight, so the blocks are not in it; add the flight with `ownship log add`.")
    moving = np.flatnonzero(speed > MOVING_M_S)
    first, last = min(int(moving[0]), off), max(int(moving[-1]), down)

    def at(i: int) -> str:
        return (start + timedelta(seconds=round(float(points.time_s[i])))).isoformat()

    return {"off_blocks": at(first), "take_off": at(off), "landing": at(down), "on_blocks": at(min(last + 1, speed.size - 1)),
            "landings": str(len(runs))}


def _runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """(first, last) of every stretch of true."""
    import numpy as np

    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(int)))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _joined(runs: list[tuple[int, int]], time_s: NDArray[np.float64]) -> list[tuple[int, int]]:
    """Stretches with the short silences between them (a steep turn in wind, no full stop) joined."""
    found: list[tuple[int, int]] = []
    for a, b in runs:
        if found and time_s[a] - time_s[found[-1][1]] < STOP_S:
            found[-1] = (found[-1][0], b)
        else:
            found.append((a, b))
    return found


def _ends(points: TrackPoints, cells: Mapping[str, str]) -> dict[str, str]:
    """The aerodromes at both ends, where none was typed; refused where none is near."""
    from ownship.questions.places import aerodromes, today
    from ownship.world.aerodrome_database import near
    from ownship.world.geodesy import inverse

    found = {}
    for name, i in (("origin", 0), ("destination", -1)):
        if name in cells:
            continue
        lat, lon = float(points.lat_deg[i]), float(points.lon_deg[i])
        open_ones = [a for a in near(aerodromes(), lat, lon, NEAR_M, today()) if not a.closed]
        if not open_ones:
            raise BadInput(f"No aerodrome lies within 2 nm of {lat:.4f},{lon:.4f}, an end of the track; say --"
                           f"{'from' if name == 'origin' else 'to'} IDENT.")
        found[name] = min(open_ones, key=lambda a: inverse(lat, lon, a.lat_deg, a.lon_deg)[0]).ident
    return found


# ---- a plan


def from_plan(path: str, cells: Mapping[str, str], aeroplane: str | None = None, folder: Path | None = None,
              other_aeroplane: bool = False) -> Written:
    """Add the flight of a request that was flown: places, rules, fuel before; its departure where --off-blocks is silent.

    What really happened is typed: --on-blocks is needed, since a plan cannot know it.
    """
    from ownship.flight.request import read_request
    from ownship.questions.from_record import own_keys, without_own_keys
    from ownship.schema import read_toml

    text = read_text(path)
    if not {"on_blocks", "flight_time"} & cells.keys():
        raise BadInput("A plan does not know when the flight ended; say --on-blocks MOMENT.")
    request = read_request(read_toml(without_own_keys(text), path))
    zone = "place" if request.departure_is_local else ""
    registration = aeroplane or own_keys(text, path).get("aeroplane")
    with opened(folder) as (_, entries):
        proposed = plan_cells(entries, chosen(entries, registration), request)
    return add(proposed | dict(cells), registration, zone, folder=folder, source=f"plan {Path(path).name}",
               other_aeroplane=other_aeroplane)


def plan_cells(entries: tuple[Entry, ...], registration: str, request: FlightRequest) -> dict[str, str]:
    """What a plan proposes for the log: places, rules, its departure, fuel before; never what a plan cannot know."""
    proposed = {"origin": request.origin, "destination": request.destination, "via": " ".join(request.via), "rules": request.rules,
                "off_blocks": request.departure.isoformat(), "fuel_before": _fuel_before(entries, registration, request)}
    return {k: v for k, v in proposed.items() if v}


def _fuel_before(entries: tuple[Entry, ...], registration: str, request: FlightRequest) -> str:
    """Usable fuel by tank as the plan has it, what is added included; "" where the record knows no tanks or the plan no fuel."""
    from ownship.aeroplane.weighing import usual_errors
    from ownship.flight.chance import Chance
    from ownship.flight.fuel import on_board
    from ownship.ownership.revisions import own_record

    record = own_record(entries, registration, request.departure.date())
    if not request.fuel or record is None or not record.tanks:
        return ""
    states = on_board(request, record, usual_errors(), Chance(0, 2))
    return "; ".join(f"{t.tank}={t.usable_m3!r} m3 {request.fuel[t.tank].known_by}" for t in states if t.tank in request.fuel)
