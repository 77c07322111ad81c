"""`ownship weight ...`: the words of the command line and the question each asks; what is printed is the caller's."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any

from cyclopts import App, Parameter

Show = Callable[[dict[str, Any], tuple[str, ...], bool], None]
Signed = Annotated[str | None, Parameter(allow_leading_hyphen=True)]
Since = Annotated[str | None, Parameter(name="--from")]


def weight_app(show: Show) -> App:
    """The command with its parts; show(values, lines, as JSON) prints an answer. Without a part: the ledger."""
    app = App(name="weight", help="The weight ledger: empty weight and arm by every weighing and change, useful load, amendments.")
    for ask in (_asking(show), _writing(show), _keeping(show)):
        for name, command in ask.items():
            app.command(command, name=name)
    app.default(_asking(show)["show"])
    return app


def _asking(show: Show) -> dict[str, Callable[..., None]]:
    def ledger(*, aeroplane: str | None = None, on: str | None = None, metric: bool = False, json: bool = False) -> None:
        """Running empty weight and arm, useful load, the last real weighing and its age. --on DAY; --metric: kg and mm."""
        from ownship.questions import weighing_ledger as ask

        told = ask.show(aeroplane, on, metric)
        show(told.data, told.lines, json)

    def adverse(*, aeroplane: str | None = None, on: str | None = None, pilot: str | None = None, metric: bool = False,
                json: bool = False) -> None:
        """The most forward and most aft CG of all allowed loadings. --pilot "120 lb": the lightest who flies it alone."""
        from ownship.questions import weighing_ledger as ask

        told = ask.adverse(aeroplane, on, pilot, metric)
        show(told.data, told.lines, json)

    def amendment(*, aeroplane: str | None = None, on: str | None = None, since: str | None = None, out: str | None = None,
                  metric: bool = False, json: bool = False) -> None:
        """The amendment as a draft for the licensed person: before, out and in, after. --out FILE (.csv, .pdf)."""
        from ownship.questions import weighing_ledger as ask

        told = ask.amendment(aeroplane, on, since, out, metric)
        show(told.data, told.lines, json)

    return {"show": ledger, "adverse": adverse, "amendment": amendment}


def _writing(show: Show) -> dict[str, Callable[..., None]]:
    def add(what: str, /, *, weight: Signed = None, arm: Signed = None, removed: bool = False, day: str | None = None,
            by: str | None = None, after_weighing: bool = False, before_weighing: bool = False, aeroplane: str | None = None,
            metric: bool = False, json: bool = False) -> None:
        """Something put in (--removed: taken out): --weight "5.6 lb" --arm "56.5 in" [--day DAY] [--by WHO]. A move is two.

        On the day of a weighing say which came first: --before-weighing (it is in the scales' figure) or --after-weighing.
        """
        from ownship.questions import weighing_ledger as ask
        from ownship.questions.weighing_typed import Typed, said_order

        after = said_order(after_weighing, before_weighing)
        told = ask.add(Typed(weight, arm, day, by, what, removed, after=after), aeroplane, metric)
        show(told.data, told.lines, json)

    def weigh(*, weight: str | None = None, arm: Signed = None, reading: list[str] | None = None, computed: bool = False,
              oil: str | None = None, fuel: str | None = None, density: str | None = None, day: str | None = None,
              by: str | None = None, aeroplane: str | None = None, metric: bool = False, json: bool = False) -> None:
        """A weighing: --weight and --arm, or each scale as --reading 508lb-4lb@105.2in. --computed: a signed paper, not weighed.

        --oil full | undrainable | none; --fuel unusable | drained | "usable full" (with --density).
        """
        from ownship.questions import weighing_ledger as ask
        from ownship.questions.weighing_typed import Typed

        told = ask.weigh(Typed(weight, arm, day, by, None, False, oil, fuel, density, tuple(reading or ())), computed, aeroplane,
                         metric)
        show(told.data, told.lines, json)

    def correct(number: int, /, *, weight: Signed = None, arm: Signed = None, removed: bool = False, what: str | None = None,
                reading: list[str] | None = None, oil: str | None = None, fuel: str | None = None, density: str | None = None,
                day: str | None = None, by: str | None = None, after_weighing: bool = False, before_weighing: bool = False,
                note: str = "", withdraw: str | None = None, metric: bool = False, json: bool = False) -> None:
        """Correct an entry of the ledger, by its NUMBER; the answer says what moved. --withdraw REASON: it no longer counts.

        --after-weighing, --before-weighing: which came first on the day of a weighing.
        """
        from ownship.questions import weighing_ledger as ask
        from ownship.questions.weighing_typed import Typed, said_order

        typed = Typed(weight, arm, day, by, what, removed, oil, fuel, density, tuple(reading or ()),
                      said_order(after_weighing, before_weighing))
        told = ask.correct(number, typed, note, withdraw, metric)
        show(told.data, told.lines, json)

    return {"add": add, "weigh": weigh, "correct": correct}


def _keeping(show: Show) -> dict[str, Callable[..., None]]:
    def keep(file: str, /, *, since: Since = None, aeroplane: str | None = None,
             json: bool = False) -> None:
        """Keep an airframe record as a revision, with the rows it names: AEROPLANE.toml (or demo) [--from DAY]."""
        from ownship.questions import weighing_ledger as ask

        told = ask.keep(file, since, aeroplane)
        show(told.data, told.lines, json)

    def record(*, aeroplane: str | None = None, on: str | None = None, out: str | None = None, json: bool = False) -> None:
        """What the aeroplane was on a day, as TOML with the ledger in it. --on DAY; --out FILE."""
        from ownship.questions import weighing_ledger as ask

        told = ask.record(aeroplane, on, out)
        show(told.data, told.lines, json)

    return {"keep": keep, "record": record}
