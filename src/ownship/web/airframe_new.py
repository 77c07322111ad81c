"""A new aeroplane typed in from its papers, page by page, to a first assessment; what is typed is kept in a draft in between."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import tomlkit
from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from ownship.errors import BadInput, MissingKey, OwnshipError
from ownship.questions import airframe_record as asking
from ownship.web import airframe_forms as forms
from ownship.web import airframe_topics as t
from ownship.web.access import Sent, form
from ownship.web.airframe import shown
from ownship.web.airframe_topics import Part, without
from ownship.web.book_rows_form import ROWS, csv_of

FOR_A_MODEL = {"wing_area": "wing area", "span_m": "span", "wing": "high or low wing", "power_w": "rated power",
               "rev_s": "rated rpm", "blades": "number of blades", "diameter_m": "propeller diameter", "pitch_m": "propeller pitch",
               "take_off_max_kg": "maximum take-off weight", "vs1": "stall speed, flaps up", "vs0": "stall speed, flaps down",
               "density_kg_m3": "fuel density"}
router = APIRouter()
ROWS_NAME = "rows.csv"
NEW, LOOK = "/airframe/new", "look"
Papers = tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Page:
    """One page of the guide: its parts of the record, and which paper holds which number."""

    name: str
    title: str
    parts: tuple[Part, ...]
    papers: Papers
    words: str = ""


MANUAL = "flight manual or owner's handbook"
SHEET = "type certificate data sheet (open to everybody at the authority)"
PAGES = (
    Page("aeroplane", "The aeroplane", (without(t.IDENTITY, "source"), t.RECORD), (
        ("registration, serial number, type", "certificate of registration, data plate"),
        ("year built", "certificate of airworthiness"), ("category", f"{MANUAL}, limitations"))),
    Page("weighing", "Its last weighing", (replace(t.WEIGHINGS, spare=1),), (
        ("empty weight and arm, or the scales", "weighing report; else the newest weight and balance amendment (computed)"),
        ("oil and fuel in it", "weighing report: \"full oil\", \"unusable fuel\", \"drained\""),
        ("changes since", "work orders: the weight ledger takes them afterwards")),
        "The report of the scales is the paper that counts. A computed sheet is no weighing: say so, and its band is wider."),
    Page("limits", "Maximum weights and envelope", (t.WEIGHTS, t.ENVELOPE), (
        ("maximum weights", f"{MANUAL}, limitations; {SHEET}; placards"),
        ("corners of the envelope", f"{MANUAL}, limitations or weight and balance: the chart's corners, or the CG range of the "
                                    f"{SHEET}"))),
    Page("stations", "Seats and baggage", (without(t.STATIONS, "id"),), (
        ("arms", f"{MANUAL}, weight and balance: loading table or loading chart"),
        ("most in baggage", "placard at the baggage door; flight manual, limitations"))),
    Page("fuel", "Tanks, fuel and oil", (without(t.TANKS, "id"), t.SELECTOR, t.FUEL, t.OIL), (
        ("total and usable", f"{MANUAL}, fuel system; placards at the fillers and the selector; {SHEET}"),
        ("arms", f"{MANUAL}, weight and balance"), ("imbalance", f"{MANUAL}, limitations; many publish none"),
        ("density", "6.0 lb/usgal is the custom for avgas; say that as the source")),
        "Tanks have no usable figure of their own: usable is total less unusable."),
    Page("engine", "Engine, propeller and wing", (t.ENGINE, t.PROPELLER, without(t.GEOMETRY, "mac", "lemac")), (
        ("power at rpm, static rpm", SHEET), ("propeller: diameter and pitch", "propeller log; stamps on the hub or blade"),
        ("wing area and span", f"{MANUAL}, general: three-view drawing"))),
    Page("speeds", "Speeds", (t.SPEEDS, t.POSITION, t.PROCEDURES), (
        ("stall speeds, Va, Vno, Vne, Vfe", f"{MANUAL}, limitations; airspeed indicator; {SHEET}"),
        ("IAS and CAS", f"{MANUAL}, performance: airspeed calibration"),
        ("speeds at take-off, climb and approach", f"{MANUAL}, normal procedures"))),
    Page("book", "The book's performance", (replace(ROWS, spare=16), t.BOOK), (
        ("take-off and landing", f"{MANUAL}, performance: take-off and landing tables"),
        ("climb and cruise", f"{MANUAL}, performance: climb and cruise tables"))))
BY_NAME = {p.name: p for p in PAGES}


# ---- the pages


@router.get("/airframe/new.json")
def draft_json() -> JSONResponse:
    """The draft as data: every field as typed, and what is not known yet."""
    fields = asking.draft()
    made, refusals = _made(fields)
    return JSONResponse({"schema": 1, "fields": fields, "refused": refusals,
                         "not_known": _missing(made, csv_of(fields)) if made else []})


@router.get("/airframe/new")
def begin(request: Request) -> Response:
    """What to lay out on the table, and the way on: from the first page, or from where it was left."""
    fields, refusal = _draft()
    return shown(request, "airframe_begin.html", 422 if refusal else 200, pages=PAGES, begun=bool(fields),
                 left=fields.get("page", PAGES[0].name), refusal=refusal, registration=fields.get("identity.registration", ""))


@router.post("/airframe/new/forget")
def forget(sent: Sent) -> Response:
    """Throw the draft away and begin again."""
    asking.forget_draft()
    return RedirectResponse(NEW, status_code=303)


@router.get("/airframe/new/look")
def look(request: Request) -> Response:
    """Everything typed, what is not known, and what that leaves not known."""
    fields, refusal = _draft()
    return _look(request, fields, refusal)


@router.post("/airframe/new/keep", openapi_extra=form("effective"))
def keep(request: Request, sent: Sent) -> Response:
    """Keep the record, throw the draft away, and open the Flight screen with the aeroplane."""
    fields, refusal = _draft()
    try:
        if refusal:
            raise BadInput(refusal)
        toml, rows, _ = record_of(fields)
        registration = _registration(fields)
        asking.keep(toml, sent.text("effective"), registration, rows)
    except OwnshipError as error:
        return _look(request, fields, _named(str(error)), sent.text("effective"))
    asking.forget_draft()
    return RedirectResponse(f"/?aeroplane={registration}", status_code=303)


@router.get("/airframe/new/{name}")
def page(request: Request, name: str) -> Response:
    """One page of the guide with what was typed before."""
    fields, refusal = _draft()
    return _page(request, _page_of(name), fields, refusal)


@router.post("/airframe/new/{name}", openapi_extra=form("identity.registration", "rows.0.kind", "way"))
def go_on(request: Request, name: str, sent: Sent) -> Response:
    """Keep what was typed in the draft, read it, and go on to the next page; a refusal shows the page again."""
    page, (fields, refusal) = _page_of(name), _draft()
    typed = {k: v for k, v in sent.fields.items() if k.startswith(_heads(page)) and v.strip()}
    fields = {k: v for k, v in fields.items() if not k.startswith(_heads(page))} | typed | {"page": name}
    rows = dict[tuple[str, int], int]()
    try:
        if refusal:
            raise BadInput(refusal)
        asking.keep_draft(fields)
        rows = _read(page, fields)
    except OwnshipError as error:
        words, wrong = forms.explained(str(error), page.parts, rows)
        return _page(request, page, fields, _named(words), wrong)
    after = PAGES.index(page) + 1
    goal = PAGES[after].name if after < len(PAGES) else LOOK
    asking.keep_draft(fields | {"page": goal})
    return RedirectResponse("/airframe" if sent.text("way") == "later" else f"{NEW}/{goal}", status_code=303)


def _page(request: Request, page: Page, fields: Mapping[str, str], refusal: str = "", wrong: str = "") -> Response:
    shown_fields = dict(fields)
    if page is PAGES[0]:
        shown_fields.setdefault("record.source", _source())
    return shown(request, "airframe_new.html", 422 if refusal else 200, page=page, pages=PAGES, number=PAGES.index(page) + 1,
                 blocks=forms.blocks(page.parts, shown_fields, wrong), refusal=refusal, wrong=wrong)


def _look(request: Request, fields: Mapping[str, str], refusal: str = "", effective: str = "") -> Response:
    made, refusals = _made(fields)
    typed = [(p, forms.blocks(p.parts, fields, spare=False)) for p in PAGES]
    day = effective or fields.get("weighings.0.date", "") or asking.now_day()
    missing = _missing(made, csv_of(fields)) if made else []
    return shown(request, "airframe_look.html", 422 if refusal else 200, pages=PAGES, typed=typed, refusals=refusals,
                 refusal=refusal, missing=missing, effective=day, ready=made is not None and bool(fields))


# ---- the draft as a record


def _draft() -> tuple[dict[str, str], str]:
    """The draft, and the sentence where it cannot be read."""
    try:
        return asking.draft(), ""
    except OwnshipError as error:
        return {}, str(error)


def _source() -> str:
    return f"the aeroplane's papers, typed in by its owner on {asking.now_day()}"


def _page_of(name: str) -> Page:
    if name not in BY_NAME:
        raise BadInput(f"{name[:40]!r} is no page of this guide; there are {', '.join(BY_NAME)}.")
    return BY_NAME[name]


def _heads(page: Page) -> tuple[str, ...]:
    return tuple(f"{p.table}." for p in page.parts)


def _named(words: str) -> str:
    """A refusal without the name of a text that the pilot never sees."""
    return words.replace("the record line", "line") if words.startswith("the record line") else words


def record_of(fields: Mapping[str, str], pages: tuple[Page, ...] = PAGES) -> tuple[str, str, dict[tuple[str, int], int]]:
    """(record as TOML, book rows as CSV, form row of every row) of what was typed on some pages; BadInput by the field's label."""
    texts = {"record.source": _source()} | {k: v for k, v in fields.items() if v.strip()}
    texts["identity.registration"] = texts.get("identity.registration", "").strip().upper()
    parts = tuple(p for page in (PAGES[0], *(x for x in pages if x is not PAGES[0])) for p in page.parts if p.table != "rows")
    made = forms.applied("schema = 1\n", parts, texts)
    rows = csv_of(fields) if BY_NAME["book"] in pages else ""
    document = tomlkit.parse(made.toml)
    if rows:
        if "book" not in document:
            document["book"] = tomlkit.table()
        book: Any = document["book"]
        book["rows"] = ROWS_NAME
    return tomlkit.dumps(document), rows, made.rows


def _read(page: Page, fields: Mapping[str, str]) -> dict[tuple[str, int], int]:
    """Read one page by itself, as the record will be read; BadInput where it does not read."""
    from ownship.aeroplane.reading import read_airframe

    toml, rows, places = record_of(fields, (page,))
    record = read_airframe(toml, "the record")
    if page is PAGES[0] and fields.get("identity.registration", "").strip():
        _registration(fields)
    if rows:
        asking.rows_of(record, rows, "Rows of the book")
    return places


def _registration(fields: Mapping[str, str]) -> str:
    from ownship.questions.from_record import registration_of

    typed = fields.get("identity.registration", "")
    if not typed.strip():
        raise BadInput("Registration: nothing is given; it names the aeroplane everywhere.")
    found = registration_of(typed)
    if found in asking.registrations():
        raise BadInput(f"Registration: {found} is kept already; change its record on its own page, or correct it here.")
    return found


def _made(fields: Mapping[str, str]) -> tuple[Any, list[tuple[str, str, str]]]:
    """(record as read, refusals as (page, title, sentence)) of a draft; None where a page does not read."""
    from ownship.aeroplane.reading import read_airframe

    refusals = []
    for p in PAGES:
        try:
            _read(p, fields)
        except OwnshipError as error:
            refusals.append((p.name, p.title, _named(forms.explained(str(error), p.parts)[0])))
    if refusals:
        return None, refusals
    try:
        return read_airframe(record_of(fields)[0], "the record"), []
    except OwnshipError as error:
        return None, [(PAGES[0].name, "The record as a whole", _named(str(error)))]


def _lacking(words: str) -> str:
    """What a record lacks for a model, without the name of a key that the pilot never sees."""
    found = re.search(r"\[[a-z]+\] (\w+)", words)
    return f"no {FOR_A_MODEL[found[1]]}" if found and found[1] in FOR_A_MODEL else words


def _missing(record: Any, rows: str) -> list[dict[str, str]]:
    """What is not known of a new record with its rows, what that leaves not known, and the page for it."""
    from ownship.performance.model import airframe_of

    found = []

    def lacks(page: str, what: str, so: str) -> None:
        found.append({"page": page, "what": what, "so": so})

    if not record.weighings:
        lacks("weighing", "no weighing", "empty weight, every weight and the CG of a flight are not known")
    for key, words in (("take_off_max_kg", "take-off"), ("landing_max_kg", "landing"), ("ramp_max_kg", "ramp"),
                       ("zero_fuel_max_kg", "zero fuel")):
        if getattr(record.weights, key) is None:
            lacks("limits", f"no maximum {words} weight", "that margin is not known (write \"none published\" where there is none)")
    if not record.envelopes:
        lacks("limits", "no envelope", "the CG margins are not known")
    if not record.stations:
        lacks("stations", "no seat or baggage place", "no person and no bag can be loaded")
    if not record.tanks:
        lacks("fuel", "no tank", "fuel cannot be entered")
    if record.fuel is None:
        lacks("fuel", "no fuel density", "the weight of the fuel is not known")
    if record.selector is None:
        lacks("fuel", "no selector", "the tank plan is not known")
    try:
        airframe_of(record)
    except MissingKey as error:
        lacks("engine" if "[speeds]" not in str(error) else "speeds", _lacking(str(error)),
              "runways, climb, times and fuel of a flight are not known")
    if record.book is None or record.book.rows is None:
        lacks("book", "no rows of the book", "the model alone stands for take-off, landing and cruise, with wide bands")
    for name, (blank, crossings) in asking.blanks(record, rows).items():
        lacks("book", f"{name}: {blank} of {crossings} crossings of its table are blank", "between them that margin is not known")
    return found
