"""`ownship maintenance ...`: the words of the command line and the question each asks; what is printed is the caller's."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from ownship.cli.shown import pdf_of

if TYPE_CHECKING:
    from cyclopts import App

    from ownship.questions.maintaining import Told


def due(*, aeroplane: str | None = None, on: str | None = None, paper: str | None = None) -> Told:
    """What is due, the most pressing first, with what ends. --on DATE: on that day. --paper FILE.pdf: the list to print."""
    from ownship.questions.maintaining import due as ask

    if paper is not None:
        from ownship.questions.places import write_whole
        from ownship.questions.sheets import maintenance_list

        write_whole(pdf_of("--paper", paper), maintenance_list(aeroplane, on))
    return ask(aeroplane, on)


def open_for(*, uses: str | None = None, aeroplane: str | None = None, on: str | None = None) -> Told:
    """Open items for a flight. --uses VFR,night,IFR,passengers: only for these."""
    from ownship.questions.maintaining import open_for as ask

    return ask(uses, aeroplane, on)


def forecast(name: str | None = None, /, *, aeroplane: str | None = None, on: str | None = None) -> Told:
    """When each item, or one, will be due by calendar and by the hours you fly, with a band."""
    from ownship.questions.maintaining import forecast as ask

    return ask(name, aeroplane, on)


def calendar(file: str, /, *, aeroplane: str | None = None, on: str | None = None) -> Told:
    """Due dates and endings as a calendar file. FILE.ics"""
    from ownship.questions.maintaining import calendar as ask

    return ask(file, aeroplane, on)


def add(item: str, /, *, title: str | None = None, every: str | None = None, hours: str | None = None, landings: int | None = None,
        tolerance: str | None = None, tolerance_hours: str | None = None, from_due: bool = False, first_due: str | None = None,
        first_due_hours: str | None = None, first_due_landings: int | None = None, uses: str | None = None, section: str = "",
        severity: str | None = None, note: str = "", cost: str | None = None, replace: bool = False,
        aeroplane: str | None = None) -> Told:
    """Keep an item that falls due: its name and limits, or a file of items. ITEM or ITEMS.toml

    --every "12 calendar months" | "24 months" | "90 days"; --hours 50; --landings 300: the first of them counts.
    --tolerance "1 month" --tolerance-hours 10; --from-due: an overrun is taken off the next. --replace: correct one that is kept.
    --severity block, warn or info: block where a --section of the law is named, else warn.
    """
    from ownship.errors import BadInput
    from ownship.questions import maintaining_entries as entries
    from ownship.questions.maintaining_typed import own_item

    limits = entries.Limits(every, hours, landings, tolerance, tolerance_hours, from_due, first_due, first_due_hours,
                            first_due_landings, uses, section, note=note)
    if item.lower().endswith(".toml"):
        if limits != entries.Limits() or title or cost or severity:
            raise BadInput(f"add {item}: the file says all of it; leave out the options, or name an item instead of a file.")
        return entries.add_file(item, aeroplane, replace)
    return entries.add([own_item(item, title, limits, cost, severity)], aeroplane, replace)


def directive(number: str, /, *, title: str, revision: str = "", method: str = "", effective: str | None = None,
              every: str | None = None, hours: str | None = None, landings: int | None = None, first_due: str | None = None,
              first_due_hours: str | None = None, first_due_landings: int | None = None, uses: str | None = None, section: str = "",
              note: str = "", cost: str | None = None, replace: bool = False,
        aeroplane: str | None = None) -> Told:
    """Keep an airworthiness directive: by when the first time, how often again, or both; no tolerance.

    Note it done by `maintenance done NUMBER`, and the terminating action by --terminating: then it falls due no more.
    """
    from ownship.questions import maintaining_entries as entries
    from ownship.questions.maintaining_typed import directive_item

    limits = entries.Limits(every, hours, landings, first_due=first_due, first_due_hours=first_due_hours,
                            first_due_landings=first_due_landings, uses=uses, section=section, note=note)
    return entries.add([directive_item(number, title, limits, cost, revision, method, effective)], aeroplane, replace)


def done(name: str, /, *, day: str | None = None, hours: str | None = None, landings: int | None = None, by: str = "",
         words: str = "", cost: str | None = None, terminating: bool = False, anew: bool = False,
         aeroplane: str | None = None) -> Told:
    """Note that an item was done: day, air time and landings of the airframe, by whom. "total time": only a reading.

    --terminating: it falls due no more. --anew: counted from here whatever was overrun, a licensed person's word.
    """
    from ownship.questions import maintaining_entries as entries

    body = entries.done_typed(name, day, hours, landings, cost, by=by, words=words, terminating=terminating, anew=anew)
    return entries.done(body, aeroplane)


def starter(place: str, /, *, also: list[str] | None = None, show: bool = False, aeroplane: str | None = None) -> Told:
    """The items of a place, USA, Canada or EASA, or the life items (life), kept where they are not yet. --show: only shown."""
    from ownship.questions import maintaining_entries as entries

    return entries.starter(place, also or (), show, aeroplane)


def withdraw(name: str, /, *, why: str, day: str | None = None, aeroplane: str | None = None) -> Told:
    """Take an item or an ending off the list, and say why. --day DATE: instead what was noted as done on that day."""
    from ownship.questions import maintaining_entries as entries

    return entries.withdraw(name, why, day, aeroplane)


def expiry(what: str | None = None, /, *, last_day: str | None = None, uses: str | None = None, document: str = "",
           aeroplane: str | None = None) -> Told:
    """What ends: insurance, registrations, beacon, data cycles; or keep one. WHAT --last-day DATE"""
    from ownship.questions import maintaining_entries as entries

    return entries.expiry(what, last_day, uses, document, aeroplane)


def swing(*, magnetic: str | None = None, compass: str | None = None, day: str | None = None, by: str = "",
          aeroplane: str | None = None) -> Told:
    """The deviation card with coefficients A to E, of a swing given or of the last one kept.

    --magnetic "0 45 90 ..." --compass "1 47 91 ...": headings in the same order.
    """
    from ownship.questions import maintaining_entries as entries

    return entries.swing(magnetic, compass, day, by, aeroplane)


def electrical(file: str | None = None, /, *, momentary: list[str] | None = None, keep: list[str] | None = None,
               aeroplane: str | None = None, on: str | None = None) -> Told:
    """Electrical loads against the alternator, and the time on the battery. AEROPLANE.toml, demo, or the one kept.

    --momentary ITEM: on for moments only; --keep ITEM: stays on without the alternator.
    """
    from ownship.questions import maintaining_entries as entries

    return entries.electrical(file, momentary or (), keep, aeroplane, on)


COMMANDS: dict[str, Callable[..., Told]] = {
    "list": due, "open": open_for, "add": add, "done": done, "directive": directive, "starter": starter, "withdraw": withdraw,
    "forecast": forecast, "calendar": calendar, "expiry": expiry, "swing": swing, "electrical": electrical}


def maintenance_app(show: Callable[[dict[str, Any], tuple[str, ...], bool], None]) -> App:
    """The command with its parts; show(values, lines, as JSON) prints an answer. Without a part: `list`."""
    from cyclopts import App

    app = App(name="maintenance", help="What is due by calendar, air time and landings; what was done; what ends.")
    for name, ask in COMMANDS.items():
        app.command(_shown(ask, show), name=name)
    app.default(_shown(due, show))
    return app


def _shown(ask: Callable[..., Told], show: Callable[[dict[str, Any], tuple[str, ...], bool], None]) -> Callable[..., None]:
    """The same words and --json; asks, then shows."""
    import inspect
    from functools import wraps

    signature = inspect.signature(ask, eval_str=True, globals={**ask.__globals__, "Told": object})

    @wraps(ask)
    def command(*words: Any, json: bool = False, **options: Any) -> None:
        told = ask(*words, **options)
        show(told.data, told.lines, json)

    flag = inspect.Parameter("json", inspect.Parameter.KEYWORD_ONLY, default=False, annotation=bool)
    command.__signature__ = signature.replace(  # type: ignore[attr-defined]
        parameters=[*signature.parameters.values(), flag], return_annotation=None)
    command.__annotations__ = {p.name: p.annotation for p in [*signature.parameters.values(), flag]}
    del command.__wrapped__
    return command
