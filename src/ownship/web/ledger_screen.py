"""The weight ledger as a page: what the empty aeroplane weighs and where, what was put in and out, forms to add and correct."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, PlainTextResponse, Response

from ownship.errors import BadInput, OwnshipError
from ownship.papers.weight import INCH_POUND, METRIC, Units
from ownship.questions import weighing_ledger as asking
from ownship.questions.airframe_record import Airframe, airframe, now_day
from ownship.questions.weighing_typed import Typed
from ownship.web import undo
from ownship.web.access import Sent
from ownship.web.access import form as sends
from ownship.web.airframe import at, changeable, places, shown, units_for

router = APIRouter()
OPTIONS = {"--weight": "Weight", "--arm": "Arm", "--day": "Day", "--oil": "Oil in it", "--fuel": "Fuel in it",
           "--density": "Fuel density", "--reading": "Scales", "--what": "What", "--removed": "\"taken out\"", "--on": "Day",
           "--before-weighing": "\"before the weighing\"", "--after-weighing": "\"after the weighing\"",
           "--withdraw": "\"withdraw it\""}
COMMAND = re.compile(r"`ownship weight correct (\d+) (--[a-z-]+)`")
FIELDS = ("what", "weight", "arm", "removed", "day", "by", "order", "weighed", "scales", "oil", "fuel", "density", "note",
          "withdraw")


def in_words(words: str) -> str:
    """A sentence of the command line by the labels of this page."""
    words = COMMAND.sub(lambda m: f"correct entry {m[1]} to {OPTIONS.get(m[2], m[2])}", words)
    return re.sub(r"--[a-z-]+", lambda m: OPTIONS.get(m[0], m[0]), words)


# ---- asking


@router.get("/airframe/{registration}/weights.json")
def ledger_json(registration: str, on: str = "") -> JSONResponse:
    """The ledger (docs/formats/weight.md) and the most adverse loadings as data."""
    told, adverse = _told(airframe(registration, on), INCH_POUND)
    return JSONResponse(told | {"adverse": adverse})


@router.get("/airframe/{registration}/amendment.txt")
def amendment_text(request: Request, registration: str, on: str = "") -> Response:
    """The amendment draft of a day as text, for a licensed person to check and sign."""
    from ownship.papers.amendment import amendment_lines

    a = airframe(registration, on)
    return _paper("\n".join(amendment_lines(_amendment(a), units_for(request))) + "\n", f"amendment-{a.registration}.txt")


@router.get("/airframe/{registration}/amendment.csv")
def amendment_csv(request: Request, registration: str, on: str = "") -> Response:
    """The same as CSV."""
    from ownship.papers import amendment as paper

    a = airframe(registration, on)
    return _paper(paper.amendment_csv(_amendment(a), units_for(request)), f"amendment-{a.registration}.csv")


def _amendment(a: Airframe) -> Any:
    from ownship.ownership.amendment import amendment

    found = amendment(a.entries, a.registration, a.on)
    if found is None:
        raise BadInput(f"Nothing was put in or taken out of {a.registration} since its last weighing or paper, so there is nothing "
                       "to amend.")
    return found


def _paper(text: str, name: str) -> Response:
    return PlainTextResponse(text, headers={"Content-Disposition": f'attachment; filename="{name}"'})


@router.get("/airframe/{registration}/weights")
def ledger_page(request: Request, registration: str, on: str = "", correct: str = "") -> Response:
    """The ledger of a day, with the forms to add to it; correct: the entry that is to be corrected."""
    a = airframe(registration, on)
    typed = _of_entry(a, correct) if correct else {}
    return _page(request, a, typed, form="correct" if correct else "", number=correct)


def _page(request: Request, a: Airframe, typed: Mapping[str, str], refusal: str = "", form: str = "", number: str = "") -> Response:
    units = units_for(request)
    told, adverse = _told(a, units)
    empty = dict.fromkeys(FIELDS, "") | {"day": now_day()}
    changed = [x["entry"] for x in told["lines"] if x["kind"] == "equipment"]
    return shown(request, "airframe_weights.html", 422 if refusal else 200, a=a, here=at(a), places=places(a), told=told,
                 adverse=adverse, refusal=refusal, form=form, typed=empty | dict(typed), empty=empty, number=number,
                 is_change=number in map(str, changed), notes=_notes(request, a), arm_digits=units.arm_digits, age=_age(told))


def _told(a: Airframe, units: Units) -> tuple[dict[str, Any], dict[str, Any]]:
    """(ledger, adverse loadings) as plain values."""
    from ownship.aeroplane.adverse import PILOT_KG
    from ownship.ownership.ledger import ledger
    from ownship.papers.weight import ledger_json

    told = ledger_json(ledger(a.entries, a.registration, a.on), units)
    return told, asking.adverse_of(a.entries, a.registration, a.on, PILOT_KG, units).data


def _age(told: Mapping[str, Any]) -> str:
    last = told["last_real_weighing"]
    if last is None:
        return "none on the record"
    days = last["age_days"]
    return f"{last['day']}, {days:,} days ago" if days < 730 else f"{last['day']}, {days / 365.25:.1f} years ago"


def _notes(request: Request, a: Airframe) -> tuple[str, ...]:
    """What the entry that was just kept moved."""
    kept = undo.just_kept(request)
    if kept is None or a.demo:
        return ()
    return tuple(in_words(x) for x in asking.told_of(int(str(kept["number"])), units_for(request) is METRIC))


def _of_entry(a: Airframe, number: str) -> dict[str, str]:
    """The fields of an entry that is to be corrected: what may be typed anew."""
    from ownship.ownership.entries import EquipmentChange, Weighing
    from ownship.papers.weight import arm_text
    from ownship.units import from_si

    body = next((e.body for e in a.entries if str(e.number) == number), None)
    if not isinstance(body, EquipmentChange | Weighing):
        raise BadInput(f"{number[:20]!r} is no entry of this ledger that can be corrected; take its number from the ledger.")
    found = {"weight": f"{from_si(abs(body.weight_kg), 'lb'):.6g} lb", "day": body.day.isoformat(), "by": body.by,
             "arm": arm_text(body.arm_m, INCH_POUND)}
    if isinstance(body, EquipmentChange):
        return found | {"what": body.what, "removed": "out" if body.weight_kg < 0 else "in"}
    return found | {"oil": body.oil, "fuel": body.fuel}


# ---- writing


@router.post("/airframe/{registration}/weights/change", openapi_extra=sends("what", "removed", "weight", "arm", "day", "order"))
def change(request: Request, registration: str, sent: Sent) -> Response:
    """Keep something put in or taken out."""
    def write(a: Airframe) -> Any:
        after = {"after": True, "before": False}.get(sent.text("order"))
        typed = Typed(weight=_or_none(sent.text("weight")), arm=_or_none(sent.text("arm")), day=_or_none(sent.text("day")),
                      by=_or_none(sent.text("by")), what=sent.text("what"), removed=sent.text("removed") == "out", after=after)
        return asking.add(typed, a.registration)
    return _written(request, registration, sent.fields, "change", write)


@router.post("/airframe/{registration}/weights/weighing", openapi_extra=sends("day", "weighed", "weight", "arm", "scales", "oil"))
def weighing(request: Request, registration: str, sent: Sent) -> Response:
    """Keep a weighing, or a computed paper that a licensed person signed."""
    def write(a: Airframe) -> Any:
        scales = tuple(s.replace(" at ", "@").strip() for s in sent.text("scales").split(";") if s.strip())
        typed = Typed(weight=_or_none(sent.text("weight")), arm=_or_none(sent.text("arm")), day=_or_none(sent.text("day")),
                      by=_or_none(sent.text("by")), oil=_or_none(sent.text("oil")), fuel=_or_none(sent.text("fuel")),
                      density=_or_none(sent.text("density")), scales=scales)
        return asking.weigh(typed, sent.text("weighed") == "no", a.registration)
    return _written(request, registration, sent.fields, "weighing", write)


@router.post("/airframe/{registration}/weights/correct", openapi_extra=sends("entry", *FIELDS))
def correct(request: Request, registration: str, sent: Sent) -> Response:
    """Correct an entry, or withdraw it and say why; it stays readable."""
    def write(a: Airframe) -> Any:
        number, old = sent.text("entry"), _of_entry(a, sent.text("entry"))
        if sent.text("withdraw"):
            return asking.correct(int(number), Typed(), withdraw=sent.text("withdraw"))
        new = {k: sent.text(k) for k in old if sent.text(k) != old[k]}
        return asking.correct(int(number), _corrected(new, sent.text("order")), sent.text("note"))
    return _written(request, registration, sent.fields, "correct", write, sent.text("entry"))


def _corrected(new: Mapping[str, str], order: str) -> Typed:
    """What was typed in place of what stood; a weight keeps its sign unless in or out was changed."""
    if new.get("removed") == "in" and "weight" not in new:
        raise BadInput("Weight: write it anew with \"put in\", since the entry took it out.")
    plain = {k: _or_none(v) for k, v in new.items() if k != "removed"}
    return Typed(**plain, removed=new.get("removed") == "out",  # type: ignore[arg-type]
                 after={"after": True, "before": False}.get(order))


def _written(request: Request, registration: str, fields: Mapping[str, str], form: str, write: Any, number: str = "") -> Response:
    a = changeable(registration)
    try:
        told = write(a).data
    except OwnshipError as error:
        return _page(request, a, {k: v for k, v in fields.items() if k in FIELDS}, in_words(str(error)), form, number)
    return undo.back_to(f"{at(a)}/weights", told["entry"])


def _or_none(text: str) -> str | None:
    return text or None
