"""What the Maintenance pages share: the fields of their forms, sentences by their labels, the aeroplane asked for, undo."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from ownship.errors import BadInput, OwnshipError
from ownship.ownership.bodies import USES
from ownship.web import in_units, pages
from ownship.web.cells import Cell
from ownship.words.figures import Figure, number_text, sentence_case

SCREEN = "Maintenance"
DEMO = "demo"
MOST_UNDONE, MOST_TOLD = 200, 50
NOTHING = ("", "choose")  # first of a list: what is noted by mistake would pass for a fact
_TOLD: dict[str, tuple[str, ...]] = {}  # what is to be told of the entries kept last, until their page is shown
VIEWS = (("/maintenance", "What is due"), ("/maintenance/defects", "Defects"), ("/maintenance/electrical", "Electrical loads"),
         ("/maintenance/sale", "Selling sheet"))
COMMANDS = {"maintenance starter": "a starter set", "maintenance add": "\"Add an item\"",
            "maintenance done": "\"Note something done\"", "maintenance expiry": "\"Something that ends\"",
            "maintenance electrical": "the topic \"Electrical and flight plan\" of its Airframe record",
            "log defect": "\"A defect found\"", "costs add": "the page Costs of the Log",
            "fuel add": "the page Fuel and oil of the Log"}
OPTIONS = {"hours": "Hours", "tolerance-hours": "Tolerance in hours", "first-due-hours": "First due at hours",
           "first-due": "First due on", "first-due-landings": "First due at landings", "every": "By calendar",
           "last-day": "Last good day", "why": "Why", "flight-hours": "Hours a year", "at": "Moment", "until": "Deferred until",
           "words": "In words", "replace": "\"Correct\"", "on": "On day", "uses": "Flights", "cost": "Cost"}
_COMMAND = re.compile(r"`ownship ([a-z]+(?: [a-z-]+)?)([^`]*)`")
_OPTION = re.compile(r"--([a-z][a-z-]+)(?: REGISTRATION)?")


@dataclass(frozen=True)
class Form:
    """A form: its name in the address, title, what it is for, fields, ticks of the flights it speaks to, the button's words."""

    name: str
    title: str
    note: str
    cells: tuple[Cell, ...]
    button: str
    uses: str = ""

    @property
    def ticks(self) -> tuple[str, ...]:
        """Names of its ticks."""
        return (*(c.name for c in self.cells if c.kind == "tick"), *(f"use_{u}" for u in USES if self.uses))


@dataclass(frozen=True)
class Refusal:
    """A refusal to show beside its form: the sentence and the field it is about ("": none)."""

    words: str = ""
    wrong: str = ""
    form: str = ""


FIRST = (Cell("first_due", "First due on", "2027-03-31"), Cell("first_due_hours", "First due at hours", "3300"),
         Cell("first_due_landings", "First due at landings", "5200"))
INTERVAL = (Cell("every", "By calendar", "12 calendar months; 24 months; 90 days"), Cell("hours", "Hours", "50"),
            Cell("landings", "Landings", "300"))
COST = Cell("cost", "Cost each time", "450 USD")
SECTION = Cell("section", "Section of the law or manual", "14 CFR 91.409(a)")
NOTE = Cell("note", "Note", wide=True)
STOPS = "Flights it stops while overdue"
DONE = Form("done", "Note something done", "Air time and landings are those of the airframe, as written in its log on that day.", (
    Cell("name", "What was done", wide=True), Cell("day", "Day", "2026-07-11; empty: today"),
    Cell("hours", "Hours", "3210.4 air time"),
    Cell("landings", "Landings", "5000"), Cell("by", "By whom", "mechanic, licence number"), Cell("cost", "Cost", "450 USD"),
    Cell("words", "In words", wide=True), Cell("terminating", "Terminating action: it falls due no more", kind="tick"),
    Cell("anew", "Counted anew from here, whatever was overrun (a licensed person's word)", kind="tick")), "Keep it as done")
ITEM = Form("item", "Add an item", "The first of calendar, hours and landings counts.", (
    Cell("name", "Name", "oil change"), Cell("title", "As it is shown", "empty: its name"), *INTERVAL,
    Cell("tolerance", "Tolerance by calendar", "1 month"), Cell("tolerance_hours", "Tolerance in hours", "10"), *FIRST, SECTION,
    Cell("severity", "Importance", choices=(
        ("", "by its section"), ("block", "required"), ("warn", "caution"), ("info", "advice"))),
    COST, NOTE, Cell("from_due", "What was overrun is taken off the next interval", kind="tick")), "Keep the item", STOPS)
DIRECTIVE = Form(
    "directive", "Add a directive",
    "An airworthiness directive: by when the first time, how often again, or both. It has no tolerance.", (
        Cell("name", "Number", "as its paper says"), Cell("title", "Subject"), Cell("revision", "Revision"),
        Cell("method", "Method of compliance"), Cell("effective", "Effective from", "2026-05-17"), *INTERVAL, *FIRST, SECTION, COST,
        NOTE), "Keep the directive", STOPS)
ENDING = Form(
    "ending", "Something that ends",
    "Insurance, registrations, the beacon's registration, data cycles. A new last day for the same name takes the place of the old "
    "one.", (
        Cell("what", "What", "insurance; beacon registration; navigation data"),
        Cell("last_day", "Last good day", "2027-03-01"), Cell("document", "Document", "policy number")),
    "Keep the last day", "Flights it stops once ended")
WITHDRAW = Form("withdraw", "Withdraw", "It is taken off the list. All of it stays readable in the record.", (
    Cell("name", "What", wide=True), Cell("why", "Why", "sold; entered twice; does not apply", wide=True),
    Cell("day", "Only what was noted as done on day", "2026-07-11; empty: the item or ending itself")), "Withdraw it")
FORMS = {f.name: f for f in (DONE, ITEM, DIRECTIVE, ENDING, WITHDRAW)}
FOUND = Form("found", "A defect found", "A short name holds its steps together.", (
    Cell("name", "Name", "left brake"), Cell("words", "In words", "what is wrong", wide=True), Cell("by", "By whom", "pilot"),
    Cell("at", "Moment", "empty: now; else 2026-07-11T15:00-06:00"),
    Cell("other", "Another aeroplane is meant, though its registration is like one of the record", kind="tick")), "Keep the defect",
    "Flights it speaks to")
STEP = Form("step", "Defer or rectify", "Whether it may be flown with is a licensed person's word.", (
    Cell("name", "Name"), Cell("state", "Step", choices=(("deferred", "deferred"), ("rectified", "rectified"))),
    Cell("until", "Deferred until", "2026-08-31; empty: no end is set"),
    Cell("words", "In words", "what was decided or done", wide=True), Cell("by", "By whom", "mechanic, licence number"),
    Cell("at", "Moment", "empty: now; else 2026-07-11T15:00-06:00")), "Keep the step")


# ---- words


def in_words(words: str) -> str:
    """A sentence of the command line by the labels of these pages."""
    words = _COMMAND.sub(lambda m: COMMANDS.get(m[1], COMMANDS.get(m[1].split()[0], m[0])), words)
    return sentence_case(_OPTION.sub(lambda m: OPTIONS.get(m[1], m[1].replace("-", " ").capitalize()), words))


def refusal_of(error: Exception, form: Form) -> Refusal:
    """A refusal for a form; the field whose label the sentence begins with is the wrong one."""
    words = in_words(str(error))
    start = words.split(":")[0].casefold()
    return Refusal(words, next((c.name for c in form.cells if c.label.casefold() == start), ""), form.name)


def landings_of(text: str, label: str = "Landings") -> int | None:
    """Landings as typed; None where nothing is."""
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise BadInput(f"{label}: {text[:20]!r} is no count; write a whole number such as 5000.")
    return int(text)


def none_of(text: str) -> str | None:
    """A text, or None where nothing is typed."""
    return text or None


def ticked(fields: Mapping[str, str]) -> tuple[str, ...]:
    """The uses that are ticked."""
    return tuple(u for u in USES if fields.get(f"use_{u}"))


# ---- the aeroplane and the page


def which(request: Request) -> str:
    """The aeroplane of the address, else the first the record knows; "": it knows none."""
    from ownship.questions.maintaining import aeroplanes, registration

    asked = request.query_params.get("aeroplane", "").strip()
    if asked == DEMO:
        return DEMO
    if not asked:
        return next(iter(aeroplanes()), "")
    try:
        return registration(asked)
    except OwnshipError as error:
        raise BadInput(in_words(str(error))) from None


def own(request: Request) -> str:
    """The aeroplane of the address; BadInput for the demo, of which no maintenance is kept."""
    found = which(request)
    if found == DEMO:
        raise BadInput("The demo is invented and no maintenance of it is kept; choose an aeroplane of your own.")
    return found


def safe(plane: str) -> str:
    """A registration that was sent, where it is one."""
    from ownship.questions.maintaining import registration

    try:
        return registration(plane) if plane else ""
    except OwnshipError:
        return ""


def shown(request: Request, template: str, status: int = 200, /, **context: Any) -> Response:
    """A page of this screen, with what was just kept and the aeroplanes to choose from."""
    from ownship.questions.maintaining import aeroplanes

    units = in_units.units_of(request)
    return pages.page(request, template, status, screen=SCREEN, views=VIEWS, here=request.url.path, just=just_kept(request),
                      known=aeroplanes(), uses=USES, number_of=number_text, in_words=in_words,
                      said=lambda q, digits=1: said(q, units, digits), **context)


def said(q: Mapping[str, Any] | None, units: in_units.Units, digits: int | None = 1) -> str:
    """A quantity of an answer in the unit a person chose."""
    return "not known" if q is None else in_units.shown(Figure(q["value"], q["unit"]), units).text(digits)


def at(path: str, **query: str) -> str:
    """An address of these pages."""
    text = urlencode({k: v for k, v in query.items() if v})
    return f"{path}?{text}" if text else path


# ---- what was just kept


def kept(path: str, aeroplane: str, numbers: Sequence[int], told: Sequence[str]) -> Response:
    """The answer to a form that kept something: the page again, with what is to be told and the way to undo it."""
    mark = "" if not numbers else f"{min(numbers)}-{max(numbers)}" if len(numbers) > 1 else str(numbers[0])
    if mark:
        _TOLD[mark] = tuple(told)
    while len(_TOLD) > MOST_TOLD:
        _TOLD.pop(next(iter(_TOLD)), None)
    return RedirectResponse(at(path, aeroplane=aeroplane, kept=mark), status_code=303)


def just_kept(request: Request) -> dict[str, Any] | None:
    """What the address tells was just kept, for maintenance_kept.html; None where the record has no such entries."""
    from ownship.questions.maintaining_typed import is_kept

    mark = request.query_params.get("kept", "")
    numbers = numbers_of(mark)
    if not numbers or not is_kept(numbers[-1]):
        return None
    back = at(request.url.path, aeroplane=request.query_params.get("aeroplane", ""))
    return {"mark": mark, "count": len(numbers), "back": back, "told": [in_words(w) for w in _TOLD.get(mark, ())]}


def numbers_of(mark: str) -> tuple[int, ...]:
    """Entry numbers of "12" or "8-11"; none where it is neither."""
    parts = mark.split("-")
    if len(parts) > 2 or not all(p.isascii() and p.isdigit() and len(p) < 10 for p in parts):
        return ()
    first, last = int(parts[0]), int(parts[-1])
    return tuple(range(first, last + 1)) if 0 < first <= last < first + MOST_UNDONE else ()


def begun(form: Form, **texts: str) -> dict[str, str]:
    """The fields of a form as it begins: every flight ticked."""
    return {f"use_{u}": "1" for u in USES if form.uses} | texts
