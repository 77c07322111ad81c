"""The command line: words in, one question, words out. Bad input: one sentence on stderr, exit 2, stdout empty."""

from __future__ import annotations

import os
import re
import sys
from json import dumps
from typing import Any

from ownship import __version__
from ownship.errors import BadInput, OwnshipError

BAD_INPUT = 2
WHOLE = re.compile(r"\d{1,12}")
SOUTHERN = re.compile(r"-\d+(\.\d*)?,-?\d+(\.\d*)?")  # a position that an option parser would take for an option
WHOLE_OPTIONS = ("--landings", "--passengers", "--last", "--year", "--persons", "--first-due-landings", "--port")
NUMBERED = (("log", "correct"), ("log", "withdraw"), ("weight", "correct"))


def main(argv: list[str] | None = None) -> None:
    """Run one command; the process's exit code is 0, or 2 for bad input."""
    words = list(sys.argv[1:] if argv is None else argv)
    try:
        if words[:1] == ["calc"]:
            _calc(words[1:])
        else:
            _refuse_half_numbers(words)
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


def _refuse_half_numbers(words: list[str]) -> None:
    """Whole numbers are whole: an option parser would round 2.6 landings to 3, and entry 1.5 to entry 2."""
    asked = [("the entry's number", words[2])] if tuple(words[:2]) in NUMBERED and len(words) > 2 else []
    for i, word in enumerate(words):
        name, equals, value = word.partition("=")
        if name in WHOLE_OPTIONS and (equals or i + 1 < len(words)):
            asked.append((name, value if equals else words[i + 1]))
    for name, value in asked:
        if not WHOLE.fullmatch(value) and not value.startswith("--"):
            raise BadInput(f"{name}: {value[:40]!r} is no whole number; write figures alone, up to twelve of them.")


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


def serve(*, port: int = 8160, lan: bool = False, address: str = "") -> None:
    """The screens on 127.0.0.1; --lan: to paired devices of your own network too, over TLS.

    --address: this machine's address there, where it has several.
    """
    from ownship.web.serving import serve as run

    if not 1 <= port <= 65535:
        raise BadInput(f"--port: {port} is no port; write 1024 to 65535.")
    if address and not lan:
        raise BadInput("--address goes with --lan: without it only this machine is answered.")
    run(port, lan, address)


def _app() -> Any:
    """The commands; a wrong word is one sentence."""
    from cyclopts import App, CycloptsError, Parameter

    from ownship.cli import flight, model, record
    from ownship.cli.costs import costs_app
    from ownship.cli.log import fuel_app, log_app
    from ownship.cli.maintenance import maintenance_app
    from ownship.cli.shown import told
    from ownship.cli.weight import weight_app

    app = App(name="ownship", version=__version__, default_parameter=Parameter(negative=()), exit_on_error=False,
              print_error=False, help_on_error=False,
              help="What this one aeroplane can do today. A planning aid: the approved flight manual, placards and local "
                   "rules govern, and the pilot in command decides.")
    for command in (flight.check, flight.airports, model.calibrate, model.predict, serve, flight.weather, flight.altitudes,
                    flight.when, flight.reach):
        app.command(command)
    for keeping in (record.backup, record.restore, record.doctor):
        app.command(keeping)
    study = App(name="study", help="What a change would buy you.")
    study.command(model.modify)
    app.command(study)
    data = App(name="data", help="Data that you bring.")
    data.command(record.import_data, name="import")
    data.command(record.keep_aerodrome, name="aerodrome")
    data.command(record.export_data, name="export")
    data.command(record.read_data, name="read")
    app.command(data)

    recent = App(name="recency", help="Are you recent, and what is missing.")
    recent.default(record.recency)
    recent.command(record.recency_event, name="event")
    recent.command(record.recency_pilot, name="pilot")
    app.command(recent)
    app.command(maintenance_app(told))
    app.command(log_app(told))
    app.command(fuel_app(told))
    app.command(costs_app(told))
    app.command(weight_app(told))

    def guarded(words: list[str]) -> Any:
        try:
            return app([f" {w}" if SOUTHERN.fullmatch(w) else w for w in words])
        except CycloptsError as error:
            raise BadInput(f"{' '.join(str(error).split())} Say `ownship --help` for the commands.") from None

    return guarded
