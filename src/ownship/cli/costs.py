"""`ownship costs ...`: the words of the command line and the question each asks; what is printed is the caller's."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from ownship.cli.maintenance import _shown
from ownship.cli.shown import pdf_of

if TYPE_CHECKING:
    from cyclopts import App

    from ownship.questions.maintaining import Told


def costs(*, year: int | None = None, flight_hours: list[str] | None = None, against: str | None = None, flow: str | None = None,
          aeroplane: str | None = None, chart: str | None = None, paper: str | None = None) -> Told:
    """An hour and a year against the hours you fly; reserves, what was bought and spent. --chart FILE.svg: the year drawn.

    --paper FILE.pdf: the year to print.

    --flight-hours 60 or 50,100,150 a year; --against "185 USD": a rental rate; --flow "8.5 usgal/h": in place of fuel bought.
    """
    from ownship.questions.costing import costs as ask

    if paper is not None:
        from ownship.questions.places import write_whole
        from ownship.questions.sheets import years_costs

        write_whole(pdf_of("--paper", paper), years_costs(aeroplane, year))
    return ask(year, flight_hours, against, flow, aeroplane, chart)


def add(what: str, /, *, kind: str, price: str, years: str | None = None, hours: str | None = None,
        since_hours: str | None = None, since_day: str | None = None, fund: str | None = None, shareable: bool = False,
        day: str | None = None, aeroplane: str | None = None) -> Told:
    """Note a cost: fixed (a year), hourly, reserve (--hours, --years), calendar (--years) or variable (as it happened).

    --price "2400 USD"; --since-hours, --since-day, --fund: of a reserve; --shareable: fees charged for a flight; --aeroplane any.
    """
    from ownship.questions.costing import add as ask

    return ask(what, kind, price, years, hours, since_hours, since_day, fund, shareable, day, aeroplane)


def flight(aeroplane_file: str, flight_file: str | None = None, /, *, price: str | None = None, fees: list[str] | None = None,
           persons: int | None = None, place: str | None = None, flight_hours: str | None = None,
           aeroplane: str | None = None) -> Told:
    """What a planned flight costs and what of it may be shared. AEROPLANE.toml FLIGHT.toml, or demo.

    --price "6.20 USD/usgal": else as bought; --fees "15 USD"; --persons 3 aboard; --place USA, Canada or EASA.
    """
    from ownship.questions.costing import flight as ask

    return ask(aeroplane_file, flight_file, price, fees, persons, place, flight_hours, aeroplane)


def payback(*, price: str, flight_hours: str, fuel: str | None = None, saves: list[str] | None = None,
            dearer: list[str] | None = None, useful_load: str = "0 lb", fuel_price: str | None = None,
            aeroplane: str | None = None) -> Told:
    """When a modification has paid for itself, beside the useful load it changes. --fuel "0.6 usgal/h": saved in an hour.

    --saves "3 USD", --dearer "1 USD": maintenance and reserves an hour; --useful-load=-12lb (with its =).
    """
    from ownship.questions.costing import payback as ask

    return ask(price, flight_hours, fuel, saves, dearer, useful_load, fuel_price, aeroplane)


def sheet(*, flight_hours: str | None = None, aeroplane: str | None = None, export: str | None = None) -> Told:
    """The buying and selling sheet. --export FOLDER: the aeroplane's record without other people's data."""
    from ownship.questions.costing import sheet as ask

    return ask(flight_hours, aeroplane, export)


COMMANDS: dict[str, Callable[..., Told]] = {"add": add, "flight": flight, "payback": payback, "sheet": sheet}


def costs_app(show: Callable[[dict[str, Any], tuple[str, ...], bool], None]) -> App:
    """The command with its parts; show(values, lines, as JSON) prints an answer. Without a part: what it costs."""
    from cyclopts import App

    app = App(name="costs", help="What owning and flying costs; what may be shared; a sheet for buying and selling.")
    for name, ask in COMMANDS.items():
        app.command(_shown(ask, show), name=name)
    app.default(_shown(costs, show))
    return app
