"""The commands about a flight: check, airports, weather, altitudes, when, reach."""

from __future__ import annotations

from json import dumps
from pathlib import Path
from typing import Any

from ownship.cli.shown import console, folder_of, progress, target_of
from ownship.errors import BadInput


def check(file: str | None = None, flight: str | None = None, /, *, aeroplane: str | None = None, remedies: bool = False,
          write: str | None = None, kneeboard: str | None = None, paper: str = "a5", icao: str | None = None,
          route: str | None = None, json: bool = False) -> None:
    """Can this aeroplane make this flight? AEROPLANE.toml FLIGHT.toml, or demo; FLIGHT.toml alone: by the record.

    Alone it repeats the last request by the record. --aeroplane: which one of the record; --remedies: what is the least that
    must change; --write FOLDER: each remedy as a request ready to use.

    --kneeboard FILE.pdf: two pages for the knee (--paper a5 or half-letter); --icao FILE.txt, or - alone: a draft of the ICAO
    flight plan, never sent; --route FILE.gpx, .geojson or .csv: the route, or the log, as a file.
    """
    from ownship.papers.exchange import to_json
    from ownship.papers.text import show
    from ownship.questions.printing import papers

    if remedies or write is not None:
        if kneeboard or icao or route:
            raise BadInput("--remedies and papers are two questions: ask first, then print the papers of the request chosen.")
        _check_with_remedies(file, flight, aeroplane, folder_of("--write", write), json)
        return
    answer, told = papers(file, flight, aeroplane, kneeboard=kneeboard, sheet=paper, icao=icao, route=route)
    if told:
        print(told, end="")
        return
    if json:
        print(dumps(to_json(answer), ensure_ascii=False))
    else:
        show(answer, console())


def _check_with_remedies(file: str | None, flight: str | None, aeroplane: str | None, folder: Path | None, json: bool) -> None:
    from ownship.papers.exchange import plain, to_json
    from ownship.papers.remedies import remedy_lines
    from ownship.papers.text import show
    from ownship.questions.remedying import with_remedies, write_requests

    answer, found = with_remedies(file, flight, progress, aeroplane)
    written = [] if folder is None else write_requests(folder, found, answer.request)
    if json:
        told = {"remedies": [plain(r.to_json()) for r in found.remedies], "remedies_words": found.words}
        print(dumps(to_json(answer) | told, ensure_ascii=False))
        return
    show(answer, console())
    print("\n".join(remedy_lines(found)))
    for path in written:
        print(f"  written: {path}")


def airports(*search: str, json: bool = False) -> None:
    """Aerodromes by any code or by words of their name (open data, as old as the date shown: check notices)."""
    from ownship.papers.text import airports_table
    from ownship.questions.places import airports as ask
    from ownship.questions.places import airports_json

    text = " ".join(search)
    if not text.strip():
        raise BadInput("airports: nothing to search for; give a code or words of a name.")
    found = ask(text)
    if json:
        print(dumps(airports_json(found), ensure_ascii=False))
    elif found:
        console().print(airports_table(found))
    else:
        print(f"No aerodrome is found for {text!r}; try fewer letters, or another code.")


def weather(place: str, /, *, at: str | None = None, request: str | None = None, network: bool = False, json: bool = False) -> None:
    """METAR, TAF and hourly forecast of a place, with age, source and licence; asks the network only where you switch it on.

    --network (or OWNSHIP_NETWORK=on): ask; --at MOMENT; --request FLIGHT.toml: beside the weather you typed there.
    """
    from ownship.papers.weather import weather_json, weather_lines
    from ownship.questions.weather import weather as ask

    answer = ask(place, at, network or None, request)
    print(dumps(weather_json(answer), ensure_ascii=False) if json else "\n".join(weather_lines(answer)))


def altitudes(file: str | None = None, flight: str | None = None, /, *, aeroplane: str | None = None, json: bool = False,
              chart: str | None = None) -> None:
    """Every legal level with time, fuel, tightest margin, ground and freezing level. --chart FILE.svg: as small bars.

    AEROPLANE.toml FLIGHT.toml, or demo; FLIGHT.toml alone: by the record; nothing: the last request by the record.
    --aeroplane: which one of the record.
    """
    from ownship.papers.ahead import levels_json, show_levels
    from ownship.papers.ahead_charts import levels_chart
    from ownship.questions.ahead import altitudes as ask

    _ahead(chart, json, lambda: ask(file, flight, aeroplane), levels_json, show_levels, levels_chart)


def when(file: str | None = None, flight: str | None = None, /, *, aeroplane: str | None = None, json: bool = False,
         chart: str | None = None) -> None:
    """The tightest margin at each half hour of the day, with night and light. --chart FILE.svg: as a curve over the clock.

    AEROPLANE.toml FLIGHT.toml, or demo; FLIGHT.toml alone: by the record; nothing: the last request by the record.
    --aeroplane: which one of the record.
    """
    from ownship.papers.ahead import show_times, times_json
    from ownship.papers.ahead_charts import leaving_chart
    from ownship.questions.ahead import when as ask

    _ahead(chart, json, lambda: ask(file, flight, aeroplane), times_json, show_times, leaving_chart)


def reach(file: str | None = None, flight: str | None = None, /, *, aeroplane: str | None = None, there_and_back: bool = False,
          geojson: str | None = None, json: bool = False) -> None:
    """How far in every direction, and which aerodromes inside can be landed at and left again. --geojson FILE: as a map.

    AEROPLANE.toml FLIGHT.toml, or demo; FLIGHT.toml alone: by the record; nothing: the last request by the record.
    --aeroplane: which one of the record.
    """
    from ownship.papers.reach import collection, show_reach, to_json
    from ownship.questions.places import write_whole
    from ownship.questions.reaching import reach as ask

    target = target_of("--geojson", geojson)
    answer = ask(file, flight, aeroplane, there_and_back=there_and_back, progress=progress)
    if target is not None:
        write_whole(target, dumps(collection(answer), ensure_ascii=False, allow_nan=False).encode())
    if json:
        print(dumps(to_json(answer), ensure_ascii=False, allow_nan=False))
    else:
        show_reach(answer, console())


def _ahead(chart: str | None, json: bool, ask: Any, to_json: Any, show: Any, draw: Any) -> None:
    """Ask, write the chart where one is wanted, then print; nothing is printed where the chart cannot be drawn."""
    from ownship.questions.places import write_whole

    target = target_of("--chart", chart)
    answer = ask()
    if target is not None:
        write_whole(target, draw(answer).encode())
    if json:
        print(dumps(to_json(answer), ensure_ascii=False, allow_nan=False))
    else:
        show(answer, console())
