"""The command line: words in, one question, words out. Bad input: one sentence on stderr, exit 2, stdout empty."""

from __future__ import annotations

import os
import sys
from json import dumps
from pathlib import Path
from typing import Any

from ownship import __version__
from ownship.errors import BadInput, OwnshipError

BAD_INPUT = 2


def main(argv: list[str] | None = None) -> None:
    """Run one command; the process's exit code is 0, or 2 for bad input."""
    words = list(sys.argv[1:] if argv is None else argv)
    try:
        if words[:1] == ["calc"]:
            _calc(words[1:])
        else:
            _app()(_dash_joined(words))
    except OwnshipError as error:
        print(" ".join(str(error).split()), file=sys.stderr)
        sys.exit(BAD_INPUT)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except KeyboardInterrupt:
        print("Stopped.", file=sys.stderr)
        sys.exit(130)


def _dash_joined(words: list[str]) -> list[str]:
    """`--icao -` (standard output) as one word: option parsers take a lone minus for an option."""
    found: list[str] = []
    for word in words:
        if word == "-" and found[-1:] == ["--icao"]:
            found[-1] = "--icao=-"
        else:
            found.append(word)
    return found


def _calc(words: list[str]) -> None:
    """`calc` reads its own words: values may begin with a minus, which option parsers refuse."""
    from ownship.questions import calc

    as_json = "--json" in words
    words = [w for w in words if w != "--json"]
    if not words or words[0] in ("--help", "-h"):
        for name, calculation in calc.CALCULATIONS.items():
            print(f"ownship calc {name} {calculation.example}")
        return
    name, rest = words[0], words[1:]
    if "--help" in rest or "-h" in rest:
        print(f"ownship calc {name} {calc.CALCULATIONS[name].example}" if name in calc.CALCULATIONS else calc.run(name, []))
        return
    if name == "winds-aloft":
        alone = [i for i, w in enumerate(rest) if not w.startswith("--") and (i == 0 or rest[i - 1] not in ("--level", "--group"))]
        rest = [x for i, w in enumerate(rest) for x in (["--group", w] if i in alone else [w])]
    answer = calc.run(name, rest)
    if as_json:
        print(dumps(answer))
        return
    for key, result in answer["results"].items():
        value = result["value"]
        shown = f"{value:,.4f}".rstrip("0").rstrip(".") if isinstance(value, float) else value
        print(f"{key.replace('_', ' ')}: {shown} {result['unit'] if result['unit'] not in ('1', 'flag', 'date') else ''}".rstrip())
    print(f"source: {answer['source']}")


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
        _check_with_remedies(file, flight, aeroplane, _folder("--write", write), json)
        return
    answer, told = papers(file, flight, aeroplane, kneeboard=kneeboard, sheet=paper, icao=icao, route=route)
    if told:
        print(told, end="")
        return
    if json:
        print(dumps(to_json(answer), ensure_ascii=False))
    else:
        show(answer, _console())


def _check_with_remedies(file: str | None, flight: str | None, aeroplane: str | None, folder: Path | None, json: bool) -> None:
    from ownship.papers.exchange import plain, to_json
    from ownship.papers.remedies import remedy_lines
    from ownship.papers.text import show
    from ownship.questions.from_record import remedied
    from ownship.questions.remedying import with_remedies, write_requests

    by_files = file is not None and (flight is not None or file == "demo")
    answer, found = with_remedies(str(file), flight, _progress) if by_files else remedied(file, aeroplane, _progress)
    written = [] if folder is None else write_requests(folder, found)
    if json:
        told = {"remedies": [plain(r.to_json()) for r in found.remedies], "remedies_words": found.words}
        print(dumps(to_json(answer) | told, ensure_ascii=False))
        return
    show(answer, _console())
    print("\n".join(remedy_lines(found)))
    for path in written:
        print(f"  written: {path}")


def _progress(words: str) -> None:
    """A line of progress on a terminal's standard error; silent elsewhere."""
    if sys.stderr.isatty():
        print(f"\r{words:60}", end="", file=sys.stderr, flush=True)


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
        _console().print(airports_table(found))
    else:
        print(f"No aerodrome is found for {text!r}; try fewer letters, or another code.")

def calibrate(aeroplane: str, /, *, rows: str | None = None, own: str | None = None, where: str | None = None,
              save: str | None = None, track: str | None = None, charts: str | None = None, json: bool = False) -> None:
    """Match the model to the book's rows, and to your own where they are given; or propose measurements of a GPX track.

    --charts FOLDER: how well the rows agree and what your measurements narrowed, drawn (SVG).
    """
    from ownship.questions import calibrating
    from ownship.questions.calibration_file import to_json
    from ownship.questions.drawing import calibration_charts, write_charts
    from ownship.questions.explaining import explain, matched_lines
    from ownship.questions.places import write_whole

    if track is not None:
        from ownship.questions.tracking import PASTE, proposals

        found = proposals(track)
        print(dumps(found) if json else "\n".join(f"{title}:\n" + "\n".join(x if title == PASTE else f"  - {x}" for x in lines)
                                                  for title, lines in found.items()))
        return
    chosen = None
    if where is not None:
        column, equals, value = where.partition("=")
        if not equals:
            raise BadInput(f"--where: {where!r} is no choice of rows; write COLUMN=VALUE, such as split=CAL.")
        chosen = (column, value)
    target, folder = _target("--save", save), _folder("--charts", charts)
    fitted = calibrating.calibrate(aeroplane, rows, own, chosen)
    data = to_json(fitted)
    if target is not None:
        write_whole(target, dumps(data, indent=1).encode())
    if folder is not None:
        write_charts(folder, calibration_charts(aeroplane, fitted, rows, own, chosen))
    words = explain(aeroplane, fitted, rows, own, chosen)
    if json:
        print(dumps(data | {"words": words}))
        return
    for line in matched_lines(data, save):
        print(line)
    for title, lines in words.items():
        print(f"{title}:")
        for line in lines:
            print(f"  - {line}")


def _target(option: str, path: str | None) -> Path | None:
    """Where a file is to be written; refused before any work where that is a folder or its folder does not exist."""
    found = _placed(option, path)
    if found is not None and found.is_dir():
        raise BadInput(f"{option}: {path} is a folder; name a file in it.")
    return found


def _placed(option: str, path: str | None) -> Path | None:
    """A path whose parent exists."""
    if path is not None and not Path(path).absolute().parent.is_dir():
        raise BadInput(f"{option}: the folder of {path} does not exist; make it or choose another.")
    return None if path is None else Path(path).absolute()


def _folder(option: str, path: str | None) -> Path | None:
    """A folder to write into, made with the first file; refused before any work where its parent does not exist."""
    found = _placed(option, path)
    if found is not None and found.exists() and not found.is_dir():
        raise BadInput(f"{option}: {path} is a file; name a folder.")
    return found


def weather(place: str, /, *, at: str | None = None, request: str | None = None, network: bool = False, json: bool = False) -> None:
    """METAR, TAF and hourly forecast of a place, with age, source and licence; asks the network only where you switch it on.

    --network (or OWNSHIP_NETWORK=on): ask; --at MOMENT; --request FLIGHT.toml: beside the weather you typed there.
    """
    from ownship.papers.weather import weather_json, weather_lines
    from ownship.questions.weather import weather as ask

    answer = ask(place, at, network or None, request)
    print(dumps(weather_json(answer), ensure_ascii=False) if json else "\n".join(weather_lines(answer)))


def predict(aeroplane: str, /, *, rows: str | None = None, calibration: str | None = None, out: str | None = None,
            card: bool = False) -> None:
    """Append predicted, low_90 and high_90 to every row of a CSV; or the performance card (--card; a .csv by --out)."""
    from ownship.questions import calibrating
    from ownship.questions.places import write_whole

    if card == (rows is not None):
        raise BadInput("predict takes either --rows ROWS.csv or --card.")
    target = _target("--out", out)
    if rows is not None:
        text = calibrating.predict(aeroplane, rows, calibration)
    else:
        text = calibrating.performance_card(aeroplane, calibration, as_csv=bool(out and out.lower().endswith(".csv")))
    if target is None:
        print(text, end="")
    else:
        write_whole(target, text.encode())


def serve(*, port: int = 8160) -> None:
    """The first page on 127.0.0.1: the demo's request in plain forms, the same assessment back."""
    from ownship.web.serving import serve as run

    if not 1 <= port <= 65535:
        raise BadInput(f"--port: {port} is no port; write 1024 to 65535.")
    run(port)


def modify(aeroplane: str = "demo", /, *, modification: list[str] | None = None, together: bool = False,
           claim: str | None = None, charts: str | None = None, json: bool = False) -> None:
    """A modification before and after: useful load first, three answers for a propeller. No name: the whole library.

    --charts FOLDER: the differences with their bands, a drawing (SVG) each.
    """
    from ownship.papers.studies import left_out_lines, study_lines
    from ownship.questions import studying
    from ownship.questions.drawing import study_charts, write_charts
    from ownship.studies.comparison import claim as at_which

    folder = _folder("--charts", charts)
    studies, left_out = studying.modify_or_why(aeroplane, modification or [], together)
    if folder is not None:
        write_charts(folder, study_charts(studies))
    claims = [at_which(s, claim) if claim else [] for s in studies]
    if json:
        told = studying.to_json(studies, left_out)
        print(dumps([d | {"claim": c} for d, c in zip(told, [*claims, *([] for _ in left_out)], strict=True)], ensure_ascii=False))
        return
    for s, lines in zip(studies, claims, strict=True):
        for line in study_lines(s, lines):
            print(line)
    for line in left_out_lines(left_out):
        print(line)


def altitudes(aeroplane: str, flight: str | None = None, /, *, json: bool = False, chart: str | None = None) -> None:
    """Every legal level with time, fuel, tightest margin, ground and freezing level. --chart FILE.svg: as small bars."""
    from ownship.papers.ahead import levels_json, show_levels
    from ownship.papers.ahead_charts import levels_chart
    from ownship.questions.ahead import altitudes as ask

    _ahead(chart, json, lambda: ask(aeroplane, flight), levels_json, show_levels, levels_chart)


def when(aeroplane: str, flight: str | None = None, /, *, json: bool = False, chart: str | None = None) -> None:
    """The tightest margin at each half hour of the day, with night and light. --chart FILE.svg: as a curve over the clock."""
    from ownship.papers.ahead import show_times, times_json
    from ownship.papers.ahead_charts import leaving_chart
    from ownship.questions.ahead import when as ask

    _ahead(chart, json, lambda: ask(aeroplane, flight), times_json, show_times, leaving_chart)


def reach(aeroplane: str, flight: str | None = None, /, *, there_and_back: bool = False, geojson: str | None = None,
          json: bool = False) -> None:
    """How far in every direction, and which aerodromes inside can be landed at and left again. --geojson FILE: as a map."""
    from ownship.papers.reach import collection, show_reach, to_json
    from ownship.questions.places import write_whole
    from ownship.questions.reaching import reach as ask

    target = _target("--geojson", geojson)
    answer = ask(aeroplane, flight, there_and_back=there_and_back, progress=_progress)
    if target is not None:
        write_whole(target, dumps(collection(answer), ensure_ascii=False, allow_nan=False).encode())
    if json:
        print(dumps(to_json(answer), ensure_ascii=False, allow_nan=False))
    else:
        show_reach(answer, _console())


def _ahead(chart: str | None, json: bool, ask: Any, to_json: Any, show: Any, draw: Any) -> None:
    """Ask, write the chart where one is wanted, then print; nothing is printed where the chart cannot be drawn."""
    from ownship.questions.places import write_whole

    target = _target("--chart", chart)
    answer = ask()
    if target is not None:
        write_whole(target, draw(answer).encode())
    if json:
        print(dumps(to_json(answer), ensure_ascii=False, allow_nan=False))
    else:
        show(answer, _console())


def import_data(folder: str, /, *, date: str | None = None, json: bool = False) -> None:
    """Bring the terrain tiles (.hgt) and newer aerodrome files (CSV) of a folder into your data.

    --date: the day the data are of, else each file's own date.
    """
    from ownship.questions.places import bring

    told = bring(folder, date)
    if json:
        print(dumps(told, ensure_ascii=False))
        return
    for title, lines in zip(("taken", "there already", "refused", "left alone"), told.values(), strict=True):
        for line in lines:
            print(f"{title}: {line}")


def keep_aerodrome(file: str, /, *, json: bool = False) -> None:
    """Keep an aerodrome record of your own (TOML: ident, runways, source, date); it goes before the open data from then on."""
    from ownship.papers.text import airports_table
    from ownship.questions.own_aerodromes import keep
    from ownship.questions.places import airports_json

    found = keep(file)
    if json:
        print(dumps(airports_json([found]), ensure_ascii=False))
    else:
        _console().print(airports_table([found]))


def backup(file: str, /, *, json: bool = False) -> None:
    """The whole record into one file, also while it is in use. Keep it on another disk."""
    from ownship.questions.keeping import backup as ask

    _kept(ask(file), json)


def restore(file: str, /, *, json: bool = False) -> None:
    """A backup in place of the record: checked first; what is there now is kept beside it."""
    from ownship.questions.keeping import restore as ask

    _kept(ask(file), json)


def doctor(*, json: bool = False) -> None:
    """How the record stands: paths, schema, entries, last backup, whether it is sound, and how old all data are."""
    from ownship.papers.keeping import doctor_lines
    from ownship.questions.keeping import doctor as ask

    found = ask().to_json()
    print(dumps(found, ensure_ascii=False) if json else "\n".join(doctor_lines(found)))


def export_data(folder: str, /, *, json: bool = False) -> None:
    """Every entry of the record into a new folder, as CSV files and a manifest."""
    from ownship.questions.keeping import export as ask

    _kept(ask(folder), json)


def read_data(folder: str, /, *, json: bool = False) -> None:
    """An export back into an empty record, entry by entry the same."""
    from ownship.questions.keeping import read_export as ask

    _kept(ask(folder), json)


def _told(data: dict[str, Any], lines: tuple[str, ...], json: bool) -> None:
    """Print an answer, as values or as lines."""
    print(dumps(data, ensure_ascii=False) if json else "\n".join(lines))


def _kept(kept: Any, json: bool) -> None:
    print(dumps(kept.to_json(), ensure_ascii=False) if json else kept.sentence)


def recency(*, pilot: str | None = None, on: str | None = None, place: str | None = None, aeroplane_class: str | None = None,
            json: bool = False) -> None:
    """Are you recent? By place and privilege: until when, what is missing, by which rule; and what the next rating lacks.

    --on DAY: judged by the rules of that day; --place USA, Canada or EASA: else that of the licence, or all.
    """
    from ownship.papers.recency import recency_lines
    from ownship.questions.recent import recency as ask

    answer = ask(pilot, on, place, aeroplane_class)
    print(dumps(answer, ensure_ascii=False) if json else "\n".join(recency_lines(answer)))


def recency_event(event: str, /, *, day: str, pilot: str | None = None, detail: str = "", expires: str | None = None,
                  json: bool = False) -> None:
    """Something a pilot did, into the record: "flight review", medical --detail 3 ... --expires: the printed last day."""
    from ownship.questions.recent import note_event

    answer = note_event(event, day, pilot, detail, expires)
    print(dumps(answer, ensure_ascii=False) if json else answer["sentence"])


def recency_pilot(name: str, /, *, born: str | None = None, place: str = "USA", rating: list[str] | None = None,
                  json: bool = False) -> None:
    """A pilot, into the record: birth date, place of the licence, ratings (PPL, night, IR, CPL, LAPL)."""
    from ownship.questions.recent import note_pilot

    answer = note_pilot(name, born, place, rating or ())
    print(dumps(answer, ensure_ascii=False) if json else answer["sentence"])


def _console() -> Any:
    """A console as wide as the terminal, 160 columns where there is none."""
    from rich.console import Console

    return Console(width=None if sys.stdout.isatty() else 160, highlight=False)


def _app() -> Any:
    """The commands; a wrong word is one sentence."""
    from cyclopts import App, CycloptsError, Parameter

    from ownship.questions.costing_words import costs_app
    from ownship.questions.log_commands import fuel_app, log_app
    from ownship.questions.maintaining_words import maintenance_app
    from ownship.questions.weighing_words import weight_app

    app = App(name="ownship", version=__version__, default_parameter=Parameter(negative=()), exit_on_error=False,
              print_error=False, help_on_error=False,
              help="What this one aeroplane can do today. A planning aid: the approved flight manual, placards and local "
                   "rules govern, and the pilot in command decides.")
    for command in (check, airports, calibrate, predict, serve, weather, altitudes, when, reach):
        app.command(command)
    for keeping in (backup, restore, doctor):
        app.command(keeping)
    study = App(name="study", help="What a change would buy you.")
    study.command(modify)
    app.command(study)
    data = App(name="data", help="Data that you bring.")
    data.command(import_data, name="import")
    data.command(keep_aerodrome, name="aerodrome")
    data.command(export_data, name="export")
    data.command(read_data, name="read")
    app.command(data)

    recent = App(name="recency", help="Are you recent, and what is missing.")
    recent.default(recency)
    recent.command(recency_event, name="event")
    recent.command(recency_pilot, name="pilot")
    app.command(recent)
    app.command(maintenance_app(_told))
    app.command(log_app(_told))
    app.command(fuel_app(_told))
    app.command(costs_app(_told))
    app.command(weight_app(_told))

    def guarded(words: list[str]) -> Any:
        try:
            return app(words)
        except CycloptsError as error:
            raise BadInput(f"{' '.join(str(error).split())} Say `ownship --help` for the commands.") from None

    return guarded
