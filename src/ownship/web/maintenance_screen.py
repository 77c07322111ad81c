"""The Maintenance screen: what is due and when, open items for a flight, endings, directives; its forms; loads; calendar file."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from ownship.errors import BadInput, OwnshipError
from ownship.ownership.airframe_totals import TOTALS
from ownship.ownership.bodies import USES
from ownship.questions import maintaining, maintaining_typed
from ownship.questions import maintaining_entries as entries
from ownship.web import pages
from ownship.web.access import Posted, Sent, form
from ownship.web.maintenance_forms import (
    DEMO,
    DIRECTIVE,
    DONE,
    ENDING,
    FORMS,
    ITEM,
    NOTHING,
    WITHDRAW,
    Form,
    Refusal,
    begun,
    in_words,
    kept,
    landings_of,
    none_of,
    numbers_of,
    own,
    refusal_of,
    safe,
    shown,
    ticked,
    which,
)

router = APIRouter()
HERE = "/maintenance"
MARKS = {"overdue": ("■", "outside-limits"), "not known": ("◆", "not-known"), "in tolerance": ("▲", "tight"),
         "due soon": ("▲", "tight"), "good": ("●", "within-limits"), "finished": ("○", "finished")}
IMPORTANCE = {"block": "required", "warn": "caution", "info": "advice"}
SETS = ("USA", "Canada", "EASA", "life")
REFUSED: dict[int | str, dict[str, Any]] = {422: {"description": "One sentence: what was given, what is allowed, what to do."}}


# ---- what is due


def _asked(request: Request, aeroplane: str, on: str | None) -> dict[str, Any]:
    """What is due, the forecasts and the open items of an aeroplane on a day."""
    uses = ", ".join(ticked(request.query_params)) or None
    told = maintaining.due(none_of(aeroplane), on).data
    told["forecast"] = maintaining.forecast(None, none_of(aeroplane), on).data
    told["done"] = maintaining_typed.done_list(told["aeroplane"] or "")
    return told | {"open": maintaining.open_for(uses, none_of(aeroplane), on).data}


@router.get("/maintenance.json", responses=REFUSED)
def due_json(request: Request, aeroplane: str = "", on: str = "") -> JSONResponse:
    """`list`, `forecast` and `open` of docs/formats/maintenance.md; use_VFR, use_night, use_IFR, use_passengers: the flight."""
    return JSONResponse(_asked(request, own(request), none_of(on.strip())))


@router.get("/maintenance", responses=REFUSED)
def due(request: Request, aeroplane: str = "", on: str = "") -> Response:
    """The same as a page, the coming 24 months drawn."""
    plane, refusal, day = own(request), Refusal(), none_of(on.strip())
    try:
        told = _asked(request, plane, day)
    except OwnshipError as error:
        refusal, day = Refusal(in_words(str(error)), "on", "ask"), None
        told = _asked(request, plane, day)
    drawn = maintaining.drawn_ahead(none_of(plane), day)
    return shown(request, "maintenance.html", 422 if refusal.words else 200, aeroplane=plane, told=told, typed_on=on.strip(),
                 chosen=ticked(request.query_params) or USES, refusal=refusal, marks=MARKS, importance=IMPORTANCE,
                 forecasts={x["name"]: _when(x) for x in told["forecast"]["items"]}, chart=pages.chart(drawn) if drawn else None,
                 directives=_directives(plane, told["items"]), interval=_interval, sets=SETS)


def _when(x: Mapping[str, Any]) -> str:
    """A forecast in words."""
    far = "beyond 20 years"
    if not x["known"]:
        return f"not known: {x['words']}"
    if x["by"] == "hours" and x["early"] != x["late"]:
        return f"about {x['middle'] or far} ({x['early'] or far} to {x['late'] or far}), by hours"
    early = f", by hours perhaps from {x['early']}" if x["early"] not in (None, x["middle"]) else ""
    return f"{x['middle'] or far}{early}, {x['words']}"


def _interval(x: Mapping[str, Any]) -> str:
    """How often, in words."""
    parts = [x["every"], "" if x["hours_h"] is None else f"{x['hours_h']:,.10g} h",
             "" if x["landings"] is None else f"{x['landings']:,} landings"]
    told = [p for p in parts if p]
    return ("every " + " or ".join(told) + (", whichever first" if len(told) > 1 else "")) if told else "once"


def _directives(plane: str, items: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The directives among the items, with what only the item itself says."""
    kept_of = maintaining_typed.kept_items(plane) if any(i["directive"] for i in items) else {}
    return [i | {"method": k.method, "effective": k.effective.isoformat() if k.effective else ""}
            for i in items if i["directive"] and (k := kept_of.get(i["name"].casefold()))]


@router.get("/maintenance.ics", response_class=Response, responses=REFUSED)
def calendar(request: Request, aeroplane: str = "", on: str = "") -> Response:
    """Due dates, forecast dates and endings as a calendar file (RFC 5545)."""
    plane, count, data = maintaining.calendar_of(none_of(own(request)), none_of(on.strip()))
    if not count:
        raise BadInput("Nothing has a date yet, so there is no calendar; note what was done first.")
    return Response(data, media_type="text/calendar; charset=utf-8",
                    headers={"Content-Disposition": f'attachment; filename="maintenance-{plane}.ics"'})


# ---- forms


@router.get("/maintenance/keep/{name}")
def asked_form(request: Request, name: str, aeroplane: str = "", item: str = "", day: str = "") -> Response:
    """A form: done, item, directive, ending or withdraw; item (and day): the one it is about, whose fields stand in it."""
    f, plane = _form(name), own(request)
    texts = begun(f, name=item, day=day) if f in (DONE, WITHDRAW) else begun(f)
    if item and plane and f in (ITEM, DIRECTIVE):
        texts = maintaining_typed.texts_of(maintaining_typed.kept_item(item, plane)) | {"replace": item}
    if item and f is ENDING:
        texts["what"] = item
    return _page(request, f, plane, texts)


def _form(name: str) -> Form:
    if name not in FORMS:
        raise HTTPException(404, f"There is no such form; there are {', '.join(FORMS)}.")
    return FORMS[name]


def _page(request: Request, f: Form, plane: str, texts: Mapping[str, str], refusal: Refusal | None = None) -> Response:
    bad = refusal or Refusal()
    return shown(request, "maintenance_keep.html", 422 if bad.words else 200, aeroplane=plane, form=f, texts=texts, refusal=bad,
                 choices={"name": _names(f, plane)}, action=f"{HERE}/keep/{f.name}")


def _names(f: Form, plane: str) -> tuple[tuple[str, str], ...]:
    """What can be chosen as done or taken off the list."""
    if f not in (DONE, WITHDRAW) or not plane:
        return ()
    told = maintaining.due(plane).data
    items = tuple((i["name"], i["title"] + (f", directive {i['directive']}" if i["directive"] else "")) for i in told["items"])
    items = (NOTHING, *items)
    if f is DONE:
        return (*items, (TOTALS, "only a reading of air time and landings"))
    ends = tuple((e["what"], f"{e['what']}, which ends") for e in told["endings"])
    return (*items, *ends, (TOTALS, "a reading of air time and landings"))


@router.post("/maintenance/keep/{name}", responses=REFUSED,
             openapi_extra=form("aeroplane", "replace", *dict.fromkeys(c for f in FORMS.values() for c in (
                 *(x.name for x in f.cells), *f.ticks))))
def keep(request: Request, name: str, sent: Sent) -> Response:
    """Keep what a form says."""
    f, plane = _form(name), sent.text("aeroplane")
    try:
        told = WRITE[f.name](sent, maintaining.registration(plane))
    except OwnshipError as error:
        return _page(request, f, safe(plane), sent.fields, refusal_of(error, f))
    return kept(HERE, told.data["aeroplane"], told.entries, (told.data["sentence"], *told.data["words"]))


def _limits(sent: Posted) -> entries.Limits:
    """The limits of an item as sent; what its form does not have is empty."""
    return entries.Limits(
        none_of(sent.text("every")), none_of(sent.text("hours")), landings_of(sent.text("landings")),
        none_of(sent.text("tolerance")), none_of(sent.text("tolerance_hours")), bool(sent.text("from_due")),
        none_of(sent.text("first_due")), none_of(sent.text("first_due_hours")),
        landings_of(sent.text("first_due_landings"), "First due at landings"), ", ".join(ticked(sent.fields)) or "none",
        sent.text("section"), note=sent.text("note"))


def _item(sent: Posted, plane: str) -> maintaining.Told:
    old = maintaining_typed.kept_item(sent.text("replace"), plane) if sent.text("replace") else None
    made = maintaining_typed.own_item(sent.text("name"), none_of(sent.text("title")), _limits(sent), none_of(sent.text("cost")),
                                      none_of(sent.text("severity")), old)
    return entries.add([_same(made, old)], plane, old is not None)


def _directive(sent: Posted, plane: str) -> maintaining.Told:
    old = maintaining_typed.kept_item(sent.text("replace"), plane) if sent.text("replace") else None
    made = maintaining_typed.directive_item(
        sent.text("name"), sent.text("title"), _limits(sent), none_of(sent.text("cost")), sent.text("revision"),
        sent.text("method"), none_of(sent.text("effective")))
    return entries.add([_same(made, old)], plane, old is not None)


def _same(made: Any, old: Any) -> Any:
    """A correction, refused where it has another name: what was done is kept under the old one."""
    if old is not None and made.name.casefold() != old.name.casefold():
        raise BadInput(f"Name: {made.name[:80]!r} is another item than {old.name!r}, which is corrected here; leave the name, or "
                       "add a new item and withdraw this one.")
    return made


def _chosen(sent: Posted, label: str) -> str:
    """The item that was chosen; none stands chosen by itself."""
    if not sent.text("name"):
        raise BadInput(f"{label}: nothing is chosen; choose it from the list.")
    return sent.text("name")


def _done(sent: Posted, plane: str) -> maintaining.Told:
    return entries.done(entries.done_typed(
        _chosen(sent, "What was done"), none_of(sent.text("day")), none_of(sent.text("hours")), landings_of(sent.text("landings")),
        none_of(sent.text("cost")), by=sent.text("by"), words=sent.text("words"), terminating=bool(sent.text("terminating")),
        anew=bool(sent.text("anew"))), plane)


def _ending(sent: Posted, plane: str) -> maintaining.Told:
    if not sent.text("what") or not sent.text("last_day"):
        empty = "Last good day" if sent.text("what") else "What"
        raise BadInput(f"{empty}: it is empty; write what ends and the last day it is good.")
    return entries.expiry(sent.text("what"), sent.text("last_day"), ", ".join(ticked(sent.fields)) or "none", sent.text("document"),
                          plane)


def _withdraw(sent: Posted, plane: str) -> maintaining.Told:
    name = _chosen(sent, "What")
    if not sent.text("why"):
        raise BadInput("Why: it is empty; say why it no longer counts.")
    return entries.withdraw(name, sent.text("why"), none_of(sent.text("day")), plane)


WRITE: dict[str, Callable[[Posted, str], maintaining.Told]] = {
    "done": _done, "item": _item, "directive": _directive, "ending": _ending, "withdraw": _withdraw}


@router.post("/maintenance/undo", openapi_extra=form("entries", "back"), responses=REFUSED)
def undo(request: Request, sent: Sent) -> Response:
    """Take back what was just kept: a new entry is withdrawn, what was corrected or withdrawn stands again."""
    numbers = numbers_of(sent.text("entries"))
    if not numbers:
        raise BadInput("The entries to undo are not known; withdraw each, and say why.")
    maintaining_typed.take_back(numbers)
    path = sent.text("back")
    return RedirectResponse(path if path.startswith(HERE) else HERE, status_code=303)


# ---- a starter set


@router.get("/maintenance/starter.json", responses=REFUSED)
def starter_json(place: str = "USA") -> JSONResponse:
    """The items of a set, as its file says them."""
    return JSONResponse(entries.starter(place, only_show=True).data)


@router.get("/maintenance/starter", responses=REFUSED)
def starter(request: Request, place: str = "USA", aeroplane: str = "") -> Response:
    """The items of a set, to look at and to choose from."""
    return _starter(request, place, own(request), None)


def _starter(request: Request, place: str, plane: str, fields: Mapping[str, str] | None,
             refusal: Refusal | None = None) -> Response:
    from ownship.papers.maintenance import interval_words
    from ownship.rules.starter import load_starter

    found, bad = load_starter(place), refusal or Refusal()
    there = maintaining_typed.kept_items(plane) if plane else {}
    rows = [{"item": i, "how_often": interval_words(i), "there": i.name.casefold() in there,
             "ticked": bool(fields.get(f"item{n}")) if fields is not None else not i.optional} for n, i in enumerate(found.items)]
    return shown(request, "maintenance_starter.html", 422 if bad.words else 200, aeroplane=plane, place=place, found=found,
                 rows=rows, sets=SETS, refusal=bad, texts=fields or {})


@router.post("/maintenance/starter", openapi_extra=form("aeroplane", "place", *(f"item{n}" for n in range(4))), responses=REFUSED)
def keep_starter(request: Request, sent: Sent) -> Response:
    """Keep the items that are ticked."""
    from ownship.rules.starter import load_starter

    place, plane = sent.text("place"), sent.text("aeroplane")
    named = [i.name for n, i in enumerate(load_starter(place).items) if sent.text(f"item{n}")]
    try:
        which_one = maintaining.registration(plane)
        if not named:
            raise BadInput("No item is ticked; tick those that your aeroplane has.")
        told = entries.starter(place, aeroplane=which_one, only=named)
    except OwnshipError as error:
        return _starter(request, place, safe(plane), sent.fields, Refusal(in_words(str(error)), "", "starter"))
    return kept(HERE, told.data["aeroplane"], told.entries, (told.data["sentence"], *told.data["words"]))


# ---- electrical loads


def _loads(request: Request, plane: str, on: str) -> dict[str, Any]:
    """The load table; what is on for moments and what stays on stand in the address by the load's number."""
    def asked(momentary: list[str], stays: list[str] | None) -> dict[str, Any]:
        return entries.electrical(DEMO if plane == DEMO else None, momentary, stays, none_of(plane), none_of(on.strip())).data

    told = asked([], None)
    names = [x["what"] for x in (told["table"] or {}).get("loads", ())]
    short, stays = ([n for i, n in enumerate(names) if request.query_params.get(f"{key}{i}")] for key in ("moments", "stays"))
    return asked(short, [n for n in stays if n not in short] or None) if short or stays else told


@router.get("/maintenance/electrical.json", responses=REFUSED)
def loads_json(request: Request, aeroplane: str = "", on: str = "") -> JSONResponse:
    """`electrical` of docs/formats/maintenance.md; moments0, stays0 ...: the loads by number."""
    return JSONResponse(_loads(request, which(request), on))


@router.get("/maintenance/electrical", responses=REFUSED)
def loads(request: Request, aeroplane: str = "", on: str = "") -> Response:
    """The loads against the alternator, and the time on the battery without it."""
    plane = which(request)
    try:
        told, refusal = _loads(request, plane, on), Refusal()
    except OwnshipError as error:
        told, refusal = {"table": None, "words": []}, Refusal(in_words(str(error)), "", "loads")
    return shown(request, "maintenance_electrical.html", 422 if refusal.words else 200, aeroplane=plane, told=told, refusal=refusal,
                 record_at=f"/airframe/{plane}" if plane else "/airframe")


