"""Costs: an hour and a year against the hours flown, reserves, the year drawn; a planned flight, and who may share it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qsl, urlencode, urlsplit

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from ownship.errors import BadInput, OwnshipError
from ownship.ownership.bodies import COST_KINDS
from ownship.ownership.spending import GROUPS, sharing_places
from ownship.papers.costs import SPELT, money_text
from ownship.questions import costing, log_history
from ownship.web import pages
from ownship.web.access import Sent, form
from ownship.web.cells import Cell
from ownship.web.flying import DEMO, ask
from ownship.web.forms import VIEW
from ownship.web.log_forms import (
    Refusal,
    filled,
    kept,
    one_aeroplane,
    or_none,
    refusal_of,
    sent_aeroplane,
    shown,
    whole_of,
)

if TYPE_CHECKING:
    from ownship.flight.answer import Assessment

router = APIRouter()
WHERE = "/log/costs"
PAGE = 30
KINDS = {"fixed": "fixed, a year", "hourly": "hourly", "reserve": "reserve, over hours or years",
         "calendar": "calendar, every so many years", "variable": "variable, as it happened"}
COST = (Cell("what", "What", "hangar"), Cell("kind", "Kind", choices=tuple((k, KINDS[k]) for k in COST_KINDS)),
        Cell("price", "Price", "2400 USD"), Cell("day", "Day", "empty: today"),
        Cell("years", "Years", "of a reserve, a calendar item or a fixed cost"),
        Cell("hours", "Hours", "2000: the life of a reserve"), Cell("since_hours", "Hours run when it began", "of a reserve"),
        Cell("since_day", "Its first day", "of a reserve or calendar item"),
        Cell("fund", "Put by for it", "3000 USD, of a reserve"),
        Cell("shareable", "Charged for the flight, so that it may be shared (hourly or variable)", kind="tick"),
        Cell("any", "For any aeroplane, not for this one alone", kind="tick"))
ASK = (Cell("hours", "Hours a year", "60, or 50,100,150; empty: as flown"), Cell("against", "Rental rate an hour", "185 USD"),
       Cell("flow", "Fuel flow", "8.5 usgal/h; empty: as bought"))
PLANNED = (Cell("price", "Price of fuel", "6.20 USD/usgal; empty: as bought"), Cell("fees", "Fees", "15 USD; 8 USD"),
           Cell("persons", "People aboard, you among them", "3"), Cell("hours", "Hours a year", "empty: as flown"))
FLIGHT = "cost_"  # begins the names of this page's own fields beside a flight's query


@router.get("/log/costs.json")
def costs_json(request: Request, aeroplane: str = "", year: str = "", hours: str = "", against: str = "",
               flow: str = "") -> JSONResponse:
    """Costs as data (docs/formats/costs.md)."""
    return JSONResponse(_ask(one_aeroplane(request), request.query_params))


def _ask(which: str | None, q: Mapping[str, str]) -> dict[str, Any]:
    hours = or_none(q.get("hours", ""))
    return costing.costs(whole_of(q.get("year", ""), 0) or None, None if hours is None else [hours], or_none(q.get("against", "")),
                         or_none(q.get("flow", "")), which).data


@router.get("/log/costs")
def costs(request: Request, aeroplane: str = "", year: str = "", hours: str = "", against: str = "", flow: str = "") -> Response:
    """The same as a page with its forms."""
    return _page(request, Refusal())


def _page(request: Request, refusal: Refusal, which: str | None = None) -> Response:
    from ownship.ownership.entries import Cost

    asked, bad = dict(request.query_params), refusal
    which = which or one_aeroplane(request)
    try:
        told = _ask(which, asked)
    except OwnshipError as error:
        told, bad = _ask(which, {}), refusal_of(error, "asked", ASK, asked)
        asked = {}
    year = whole_of(asked.get("year", ""), 0) or None
    charts = [pages.chart(svg) for svg in costing.drawn_year(year, which)]
    count, entries = log_history.latest((Cost,), most=PAGE)
    return shown(request, "costs.html", 422 if bad.words else 200, aeroplane=which or "", choose=True, answer=told, refusal=bad,
                 asked=bad.texts("asked", asked), cells=ASK, cost=COST, charts=charts, entries=entries, count=count,
                 year=year or int(told["on"][:4]), this_year=int(told["on"][:4]), groups=GROUPS, money=money_text, spelt=SPELT)


@router.post("/log/costs", openapi_extra=form("aeroplane", *(c.name for c in COST)))
def add(request: Request, sent: Sent) -> Response:
    """Keep a cost; a later one of the same name and kind takes the place of an earlier, one of 0 ends it."""
    f = filled(sent.fields, COST)
    which = "any" if f.get("any") else or_none(sent.text("aeroplane"))
    try:
        told = costing.add(f.get("what", ""), f.get("kind", ""), f.get("price", ""), f.get("years"), f.get("hours"),
                           f.get("since_hours"), f.get("since_day"), f.get("fund"), bool(f.get("shareable")), f.get("day"),
                           which).data
    except OwnshipError as error:
        return _page(request, refusal_of(error, "cost", COST, sent.fields), sent_aeroplane(sent.text("aeroplane")))
    return kept(WHERE, told["entry"], (told["sentence"],), aeroplane="" if which in (None, "any") else str(which))


# ---- a planned flight


@router.get("/log/costs/flight.json")
def flight_json(request: Request) -> JSONResponse:
    """What a planned flight costs, by the address of the Flight screen, as data; this page's own fields begin with cost_."""
    return JSONResponse(_planned(request, _own(request)))


def _own(request: Request) -> dict[str, str]:
    return {k.removeprefix(FLIGHT): v for k, v in request.query_params.items() if k.startswith(FLIGHT)}


@router.get("/log/costs/flight")
def flight(request: Request) -> Response:
    """The same as a page."""
    own, refusal, told = _own(request), Refusal(), None
    carried = [(k, v) for k, v in request.query_params.items() if not k.startswith(FLIGHT) and k != "theme"]
    if not carried and own.get("address", "").strip():
        query = _of_address(own["address"])
        if query:
            return RedirectResponse(f"{WHERE}/flight?{query}", status_code=303)
        refusal = Refusal("The address holds no flight; copy it from the browser's bar while the Flight screen shows the flight.",
                          "planned", "address")
    if not carried:
        return shown(request, "costs_flight.html", 422 if refusal.words else 200, told=None, refusal=refusal, own=own,
                     cells=_named(), carried=carried, money=money_text, places=sharing_places())
    try:
        told = _planned(request, own)
    except OwnshipError as error:
        refusal = refusal_of(error, "planned", PLANNED, own)
        refusal = Refusal(refusal.words, "planned", f"{FLIGHT}{refusal.wrong}" if refusal.wrong else "", own)
    return shown(request, "costs_flight.html", 422 if refusal.words else 200, told=told, refusal=refusal, carried=carried,
                 own={f"{FLIGHT}{k}": v for k, v in own.items()}, cells=_named(), money=money_text, places=sharing_places())


def _of_address(text: str) -> str:
    """The query of a Flight screen's address; "" where it holds none, or one of another page."""
    try:
        parts = urlsplit(text.strip()[:20_000].replace("\\", "/"))
    except ValueError:
        return ""
    pairs = [(k, v) for k, v in parse_qsl(parts.query, keep_blank_values=True) if k not in VIEW and not k.startswith(FLIGHT)]
    kept_ones = [(k, v) for k, v in parse_qsl(parts.query, keep_blank_values=True) if k == "aeroplane"]
    return urlencode(pairs + [p for p in kept_ones if p not in pairs]) if parts.path in ("", "/") else ""


def _named() -> tuple[Cell, ...]:
    """The fields, their names kept apart from those of the flight."""
    return tuple(Cell(f"{FLIGHT}{c.name}", c.label, c.hint, c.wide) for c in PLANNED)


def _planned(request: Request, own: Mapping[str, str]) -> dict[str, Any]:
    query = {k: v for k, v in request.query_params.items() if not k.startswith(FLIGHT)}
    asked = ask(query)
    if asked.answer is None:
        raise BadInput(asked.refusal or "This address holds no flight that is planned; open it from the Flight screen.")
    plan: Assessment = asked.answer
    which = next(iter(log_history.aeroplanes()), None) if asked.aeroplane == DEMO else asked.aeroplane
    persons = own.get("persons", "").strip()
    if persons and not (persons.isascii() and persons.isdigit() and len(persons) < 4):
        raise BadInput(f"People aboard: {persons[:20]!r} is no number of people; write 1 to 20.")
    name = " to ".join(str(asked.request[k]) for k in ("from", "to") if k in asked.request) if asked.request else "the flight"
    fees = [x for x in own.get("fees", "").split(";") if x.strip()]
    return costing.planned(lambda: plan, name, or_none(own.get("price", "")), fees, int(persons) if persons else None,
                           or_none(own.get("place", "")), or_none(own.get("hours", "")), which).data

