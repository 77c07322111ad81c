"""What the pages of the Log share: fields of forms, sentences by their labels, the aeroplane asked for, how a page is shown."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from ownship.errors import BadInput, OwnshipError
from ownship.web import in_units, pages, undo
from ownship.web.cells import Cell
from ownship.words.figures import Figure, number_text, sentence_case

SCREEN = "Log"
MOST_TOLD = 50
_TOLD: dict[int, tuple[str, ...]] = {}  # what is to be told of the entries kept last, until their page is shown
VIEWS = (("/log", "Flights"), ("/log/fuel", "Fuel and oil"), ("/log/recency", "Recency"), ("/log/costs", "Costs"),
         ("/log/hand-over", "Hand-over"), ("/data", "Your data"))
COMMANDS = {"log add": "add it with the form \"Add a flight\"", "log import": "bring a log from a file",
            "log correct": "correct the entry", "log withdraw": "withdraw the entry", "log": "the Log",
            "fuel seen": "the form \"What is in a tank\"", "fuel add": "the form \"Fuel put in\"",
            "fuel settle": "the form \"What was found of a fill\"",
            "weight keep": "the Airframe screen", "recency pilot": "the form \"A pilot\"",
            "recency event": "the form \"Something a pilot did\"", "costs add": "the form \"A cost\"",
            "backup": "a backup from the page \"Your data\"", "restore": "the page \"Your data\"", "check": "the Flight screen",
            "maintenance done": "the Maintenance screen"}
OPTIONS = {"aeroplane": "Aeroplane", "from": "From", "to": "To", "on-blocks": "On blocks", "off-blocks": "Off blocks",
           "map": "What the column is", "zone": "Times without a zone", "dates": "Order of dates", "landings": "Landings, all",
           "other-aeroplane": "tick \"Another aeroplane is meant\"", "tank": "Tank", "amount": "Amount", "level": "Filled to",
           "known-by": "Known by", "counts": "Counts", "price": "Price", "hours": "Hours", "at": "Moment", "reading": "Reading",
           "rate": "Rate an hour", "oil": "Oil", "words": "What is wrong or was done", "day": "Day", "expires": "Printed last day",
           "pilot": "Pilot", "born": "Born", "rating": "Ratings", "place": "Place", "on": "Judged on", "years": "Years",
           "since-hours": "Hours run when it began", "since-day": "Its first day", "fund": "Put by for it",
           "shareable": "Charged for the flight", "flight-hours": "Hours a year", "against": "Rental rate an hour",
           "flow": "Fuel flow", "fees": "Fees", "persons": "People aboard", "since": "From day", "until": "To day", "year": "Year",
           "why": "Why", "aeroplane-class": "Class of aeroplane", "kind": "Kind", "chart": "Chart",
           "export": "Export", "old": "Its last reading", "new": "First reading of the new one",
           "found": "What was found"}
LABELS = {"origin": "From", "destination": "To", "off_blocks": "Off blocks", "on_blocks": "On blocks", "take_off": "Take-off",
          "landing": "Landing", "via": "Via", "date": "Day", "flight_time": "Flight time", "landings": "Landings, all",
          "landings_day": "Landings by day", "landings_night": "Landings by night", "take_offs_day": "Take-offs by day",
          "take_offs_night": "Take-offs by night", "full_stop_night": "Of them to a full stop, by night",
          "tachometer_from_h": "Tachometer before", "tachometer_to_h": "Tachometer after", "hour_meter_from_h": "Hour meter before",
          "hour_meter_to_h": "Hour meter after", "pilot": "Pilot", "role": "Role", "crew": "Crew beside the pilot",
          "passengers": "Passengers", "rules": "Rules", "night": "Night", "night_s": "Night",
          "instrument": "In cloud, by instruments", "instrument_s": "In cloud, by instruments",
          "simulated": "Under the hood", "simulated_s": "Under the hood",
          "approaches": "Approaches", "holds": "Holds", "tracked": "Course tracked by radio aids",
          "cross_country": "Farthest from the start", "cross_country_m": "Farthest from the start",
          "fuel_before": "Usable fuel before", "fuel_after": "Usable fuel after", "phases_s": "Phases",
          "aeroplane_class": "Class of aeroplane", "aeroplane": "Aeroplane", "remarks": "Remarks"}
READ = {"night_s": "min", "instrument_s": "min", "simulated_s": "min", "cross_country_m": "nm"}
OTHERS = {"what": "What", "kind": "Kind", "price": "Price", "per_years": "Years", "per_hours_h": "Hours of its life",
          "since_h": "Hours run when it began", "since_day": "Its first day", "fund": "Put by for it",
          "shareable": "Charged for the flight", "tank": "Tank", "amount_m3": "Amount", "usable_m3": "Usable", "level": "Filled to",
          "known_by": "Known by", "place": "Place", "hours_h": "Hours of the engine", "name": "Name", "event": "What was done",
          "detail": "Class or kind", "expires": "Printed last day", "born": "Born", "ratings": "Ratings", "to": "To", "by": "From",
          "fuel": "Fuel", "oil_m3": "Oil", "tied_down": "Tied down", "keys": "Keys", "meter": "Settled by the",
          "meter_h": "Reading", "which": "Meter", "old_h": "Its last reading",
          "new_h": "First reading of the new one", "owed": "Owed", "day": "Day"}  # of entries that are no flights
_M3 = re.compile(r"=(-?[0-9.]+(?:e-?[0-9]+)?) m3\b")
ALIASES = {"flight-hours": "hours", "from": "origin"}  # fields that bear another name than the option
_COMMAND = re.compile(r"`(?:ownship )?([a-z]+(?: [a-z-]+)?)([^`]*)`")
_OPTION = re.compile(r"--([a-z][a-z-]+)(?: (?:REGISTRATION|IDENT|MOMENT))?")
_OTHER = re.compile(r"say --other-aeroplane where (?:both are|another(?: aeroplane)? is) meant")
_AFTER = re.compile(r"Nothing was written\. (?=[a-z])")
_FILE = re.compile(r"\S+\.[A-Za-z0-9]{2,5}\b")  # a file's name begins the sentence: it stays as it is written
_FIELD = re.compile(r"\b(" + "|".join(sorted((k for k in LABELS if "_" in k), key=len, reverse=True)) + r")\b")
_FIRST = re.compile(r"^((?:Nothing was written\. )?(?:the (?:corrected )?flight: )?)(origin|destination|via|landings|pilot|"
                    r"role|rules|night|instrument|simulated|approaches|approach|holds|passengers|crew|tracked|date|aeroplane)\b")


@dataclass(frozen=True)
class Refusal:
    """A refusal to show beside a form: its sentence, the form it is about, the field, and everything that was typed."""

    words: str = ""
    form: str = ""
    wrong: str = ""
    typed: Mapping[str, str] = field(default_factory=dict)

    def texts(self, form: str, usual: Mapping[str, str] | None = None) -> Mapping[str, str]:
        """What the fields of a form hold: what was typed, else the usual."""
        return self.typed if self.form == form and self.words else (usual or {})


def in_words(words: str) -> str:
    """A sentence of the command line by the labels and places of these pages."""
    words = words.replace("say `ownship backup FILE` with a file on another disk",
                          "take one away from the page \"Your data\" and put it on another disk")
    words = _OTHER.sub("tick \"Another aeroplane is meant\"", words)
    words = _COMMAND.sub(lambda m: COMMANDS.get(m[1], COMMANDS.get(m[1].split()[0], m[0])), words)
    words = _OPTION.sub(lambda m: OPTIONS.get(m[1], m[1].replace("-", " ")), words)
    words = _FIRST.sub(lambda m: m[1] + LABELS.get(m[2], sentence_case(m[2])), words)
    words = _FIELD.sub(lambda m: LABELS[m[1]], words).replace("Nothing was written. the flight: ", "Nothing was written: ")
    words = _AFTER.sub("Nothing was written: ", words)
    return words if _FILE.match(words) else sentence_case(words)


def refusal_of(error: Exception, form: str, cells: Sequence[Cell], typed: Mapping[str, str]) -> Refusal:
    """A refusal for a form; the field that the sentence begins with, by option or by label, is the wrong one."""
    plain, option = str(error), _OPTION.match(str(error))
    named = "" if option is None else ALIASES.get(option[1], option[1]).replace("-", "_")
    cell = next((c for c in cells if c.name == named), None)
    if cell is not None and option is not None:
        return Refusal(cell.label + in_words(f"x{plain[option.end():]}")[1:], form, cell.name, dict(typed))
    words = in_words(plain)
    bare = words.removeprefix("Nothing was written: ").removeprefix("Nothing was written. ").removeprefix("the corrected flight: ")
    wrong = next((c.name for c in sorted(cells, key=lambda c: -len(c.label)) if bare.casefold().startswith(c.label.casefold())), "")
    return Refusal(words, form, wrong, dict(typed))


def filled(sent: Mapping[str, str], cells: Sequence[Cell]) -> dict[str, str]:
    """The fields of a form that hold something."""
    return {c.name: text for c in cells if (text := sent.get(c.name, "").strip())}


def field_text(name: str, text: str) -> str:
    """A field of an entry with its unit, as it is shown: what the record keeps in SI in the units of the log."""
    from ownship.units import from_si

    if name in READ:
        unit = READ[name]
        return f"{number_text(float(from_si(float(text), unit)))} {unit}"
    if name.endswith("_h") or name in ("tracked", "per_years"):
        return {"true": "yes", "false": "no"}.get(text, f"{text} years" if name == "per_years" else f"{text} h")
    return _M3.sub(lambda m: f" {number_text(float(from_si(float(m[1]), 'usgal')))} usgal", text)


def or_none(text: str) -> str | None:
    """A text, or None where nothing is typed."""
    return text.strip() or None


def number_of(text: str, label: str) -> float | None:
    """A number as typed; None where nothing is."""
    from ownship.ownership.cell_times import number

    return number(text, label) if text.strip() else None


def whole_of(text: str, usual: int, most: int = 10**9) -> int:
    """A whole number of an address; the usual one where it is none."""
    return min(int(text), most) if text.isascii() and text.isdigit() and len(text) < 10 else usual


# ---- the aeroplane and the page


def asked_aeroplane(request: Request) -> str | None:
    """The registration of the address, as it is kept; None where none is asked for."""
    from ownship.questions.from_record import registration_of

    text = request.query_params.get("aeroplane", "").strip()
    return registration_of(text) if text else None


def one_aeroplane(request: Request) -> str | None:
    """The aeroplane a page is about: the one asked for, else the first the record knows, else none."""
    from ownship.questions.log_history import aeroplanes

    return asked_aeroplane(request) or next(iter(aeroplanes()), None)


def sent_aeroplane(text: str) -> str | None:
    """The registration that a refused form was about, so that its page stays with it; None where it is none."""
    from ownship.questions.from_record import registration_of

    try:
        return registration_of(text) if text.strip() else None
    except OwnshipError:
        return None


def shown(request: Request, template: str, status: int = 200, /, **context: Any) -> Response:
    """A page of this screen, with what was just kept, the aeroplanes to choose from and figures in a person's units."""
    from ownship.questions.log_history import aeroplanes

    units = in_units.units_of(request)
    return pages.page(request, template, status, screen=SCREEN, views=VIEWS, here=request.url.path, kept=undo.just_kept(request),
                      known=aeroplanes(), number_of=number_text, labels=LABELS, in_words=in_words,
                      said=lambda q, digits=1: said(q, units, digits), beside=_told(request), **context)


def said(q: Any, units: in_units.Units, digits: int | None = 1) -> str:
    """A quantity of an answer with its band, in the unit a person chose."""
    if q is None:
        return "not known"
    return in_units.shown(Figure(q["value"], q["unit"], q.get("low"), q.get("high")), units).text(digits)


def _told(request: Request) -> tuple[str, ...]:
    """What is to be told beside the entry that was just kept."""
    return told_of(whole_of(request.query_params.get("kept", ""), 0))


def told_of(number: int) -> tuple[str, ...]:
    """What is to be told of an entry that this program just kept."""
    return tuple(in_words(x) for x in _TOLD.get(number, ()))


def remember(number: int, told: Sequence[str]) -> None:
    """Keep what is to be told of an entry until its page is shown."""
    _TOLD[number] = tuple(told)
    while len(_TOLD) > MOST_TOLD:
        _TOLD.pop(next(iter(_TOLD)), None)


def kept(path: str, number: int, told: Sequence[str] = (), **query: str) -> Response:
    """The answer to a form that kept an entry: the page again with the way to undo it, and what is to be told besides."""
    remember(number, told)
    text = urlencode({k: v for k, v in query.items() if v})
    return undo.back_to(f"{path}?{text}" if text else path, number)


def gone_to(path: str, **query: str) -> Response:
    """The page again, where nothing single was kept."""
    text = urlencode({k: v for k, v in query.items() if v})
    return RedirectResponse(f"{path}?{text}" if text else path, status_code=303)


def file_of(sent: Any, name: str, words: str) -> tuple[str, bytes]:
    """(name, bytes) of a file that was sent; BadInput where none was chosen."""
    from ownship.questions.uploads import file_name

    if name not in sent.files:
        raise BadInput(f"No file is chosen; choose {words}.")
    return file_name(sent.files[name].filename or "", "the file"), sent.files[name].file.read()
