"""Fuel and oil of the Log: what is aboard by tank with its band, what was put in and seen, what the fills say."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from ownship.errors import OwnshipError
from ownship.ownership.bodies import KNOWN_BY
from ownship.questions import fuelling, log_history
from ownship.web.access import Sent, form
from ownship.web.cells import Cell
from ownship.web.log_forms import (
    Refusal,
    in_words,
    kept,
    number_of,
    one_aeroplane,
    or_none,
    refusal_of,
    sent_aeroplane,
    shown,
    whole_of,
)

router = APIRouter()
WHERE = "/log/fuel"
PAGE = 20
MOMENT = Cell("at", "Moment", "empty: now; else 2026-07-11T15:00-06:00")
HOW = (("", "as typed"), *((k, k) for k in KNOWN_BY))
COUNTS = (("", "as usual"), ("usable", "usable"), ("total", "total"))
TANK = Cell("tank", "Tank", "left")
ADDED = (TANK, Cell("amount", "Amount", "12 usgal or 45 l"), Cell("level", "Filled to", "full, a mark as tab, or empty: neither"),
         Cell("price", "Price of all of it", "74.40 USD"), Cell("place", "Place", "KBOI"), MOMENT)
SEEN = (TANK, Cell("amount", "Amount", "10 usgal; full; a mark; or the dipstick, 4.1 in"),
        Cell("known_by", "Known by", choices=HOW),
        Cell("counts", "Counts", "as usual: a dipstick total, all else usable", choices=COUNTS), MOMENT)
OIL = (Cell("amount", "Amount", "1 qt; 0 qt at a change of oil"), Cell("hours", "Hours of the engine", "1234.5"),
       Cell("price", "Price of all of it", "9.50 USD"), MOMENT)
FOUND = (("lost", "fuel was lost or misread"), ("short", "the tank was not at the level said"), ("right", "nothing was wrong"),
         ("open", "not known again: take it back"))
SETTLED = (Cell("day", "Day the fill ended (UTC)", "2026-07-11; where two did, 2026-07-11T15:00Z"),
           Cell("found", "What was found", choices=FOUND), Cell("why", "Why", "how it was found out", wide=True))
FORMS = {"added": ADDED, "seen": SEEN, "oil": OIL, "settled": SETTLED}


@router.get("/log/fuel.json")
def fuel_json(request: Request, aeroplane: str = "", at: str = "") -> JSONResponse:
    """Fuel aboard by tank (docs/formats/log.md) and what the fills say, as data."""
    which = one_aeroplane(request)
    told = fuelling.now_aboard(which, or_none(at))
    return JSONResponse(told | {"fills": _fills(which)})


@router.get("/log/fuel")
def fuel(request: Request, aeroplane: str = "", at: str = "") -> Response:
    """The same as a page with its forms."""
    return _page(request, Refusal())


def _page(request: Request, refusal: Refusal, which: str | None = None) -> Response:
    from ownship.ownership.entries import FuelAdded, FuelSeen, OilAdded

    which = which or one_aeroplane(request)
    at, bad = request.query_params.get("at", ""), refusal
    try:
        told = fuelling.now_aboard(which, or_none(at))
    except OwnshipError as error:
        told, bad = fuelling.now_aboard(which, None), Refusal(in_words(str(error)), "moment", "at", {"at": at})
    number = whole_of(request.query_params.get("page", ""), 1, 10**6)
    count, entries = log_history.latest((FuelAdded, FuelSeen, OilAdded), which, PAGE, skip=PAGE * (max(number, 1) - 1))
    tanks = tuple((t["tank"], t["tank"]) for t in told["tanks"])
    return shown(request, "fuel.html", 422 if bad.words else 200, aeroplane=which or "", choose=True, answer=told, tanks=tanks,
                 forms={k: _with_tanks(cells, tanks) for k, cells in FORMS.items()}, refusal=bad, moment=at, entries=entries,
                 fills=_fills(which), page=number, last=-(-count // PAGE) or 1)


def _with_tanks(cells: tuple[Cell, ...], tanks: tuple[tuple[str, str], ...]) -> tuple[Cell, ...]:
    """The fields of a form, its tank to be chosen where the tanks are known."""
    return tuple(Cell("tank", "Tank", choices=tanks) if c is TANK and tanks else c for c in cells)


def _fills(which: str | None) -> dict[str, Any] | None:
    """What the fills of an aeroplane say; None where it has no tanks on record, or no fills can be asked for."""
    from ownship.questions.fills_of_record import fills

    try:
        return fills(which) if which else None
    except OwnshipError as error:
        return {"sentence": in_words(str(error)), "fills": [], "flows": [], "plan": [], "told": []}


def _kept(request: Request, sent: Any, name: str, write: Any) -> Response:
    which = or_none(sent.text("aeroplane"))
    try:
        written = write(which)
    except OwnshipError as error:
        return _page(request, refusal_of(error, name, FORMS[name], sent.fields), sent_aeroplane(which or ""))
    return kept(WHERE, written.numbers[0], (written.sentence, *written.told), aeroplane=which or "")


@router.post("/log/fuel/added", openapi_extra=form("aeroplane", *(c.name for c in ADDED)))
def added(request: Request, sent: Sent) -> Response:
    """Keep fuel put into a tank."""
    return _kept(request, sent, "added", lambda which: fuelling.add_fuel(
        sent.text("tank"), sent.text("amount"), sent.text("level"), or_none(sent.text("price")), sent.text("place"),
        or_none(sent.text("at")), which))


@router.post("/log/fuel/seen", openapi_extra=form("aeroplane", *(c.name for c in SEEN)))
def seen(request: Request, sent: Sent) -> Response:
    """Keep what was seen in a tank."""
    return _kept(request, sent, "seen", lambda which: fuelling.see_fuel(
        sent.text("tank"), sent.text("amount"), sent.text("known_by"), sent.text("counts"), or_none(sent.text("at")), which))


@router.post("/log/fuel/settled", openapi_extra=form("aeroplane", *(c.name for c in SETTLED)))
def settled(request: Request, sent: Sent) -> Response:
    """Keep what was found of a fill that does not agree."""
    from ownship.questions.fills_of_record import settle

    return _kept(request, sent, "settled", lambda which: settle(sent.text("day"), sent.text("found"), sent.text("why"), which))


@router.post("/log/fuel/oil", openapi_extra=form("aeroplane", *(c.name for c in OIL), "other"))
def oil(request: Request, sent: Sent) -> Response:
    """Keep oil put in."""
    return _kept(request, sent, "oil", lambda which: fuelling.add_oil(
        sent.text("amount"), number_of(sent.text("hours"), "Hours of the engine"), or_none(sent.text("price")),
        or_none(sent.text("at")), which, other_aeroplane=bool(sent.text("other"))))


