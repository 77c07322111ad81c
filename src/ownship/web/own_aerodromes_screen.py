"""The owner's own aerodromes: the strip that no data hold, or a runway walked and measured; it overrides the open data."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import tomlkit
from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from ownship.errors import BadInput, OwnshipError
from ownship.questions import own_aerodromes as asking
from ownship.questions.airframe_record import now_day
from ownship.questions.places import airports_json
from ownship.web import airframe_forms as forms
from ownship.web import undo
from ownship.web.access import Sent, form
from ownship.web.airframe import shown
from ownship.web.airframe_kinds import SHOW, VALUE
from ownship.web.airframe_topics import Cell, Part

router = APIRouter()
WHERE = "/airframe/aerodromes"
YES = (("", "no"), ("yes", "yes"))
SURFACES = (("", "not known"), ("paved", "paved"), ("grass", "grass"), ("gravel", "gravel"))
FIELD = Part("field", "The aerodrome", (
    Cell("ident", "Ident", "KU79, or letters of your own: MINE"), Cell("name", "Name", "Chamberlain meadow"),
    Cell("position", "Position (north, east positive)", "45.1,-115.2; empty: as the open data have it"),
    Cell("elevation", "Elevation", "5765 ft"), Cell("date", "Seen or measured on", "2026-05-17", "date"),
    Cell("source", "Source: how you know", "walked and measured with a wheel", wide=True)))
ENDS = Part("runways", "Runway directions", (
    Cell("end", "Direction", "07, 25L or NE"), Cell("true_heading", "True heading", "068", "heading"),
    Cell("length", "Usable length", "2450 ft"), Cell("take_off_length", "for take-off, if another", "2300 ft"),
    Cell("landing_length", "for landing, if another", "2200 ft"),
    Cell("threshold_height", "Height where it begins", "5765 ft"), Cell("far_height", "Height where it ends", "5810 ft"),
    Cell("slope", "or slope, up positive", "1.8 %"), Cell("width", "Width", "60 ft"),
    Cell("surface", "Surface", kind="choice", choices=SURFACES),
    Cell("one_way", "Only for", kind="choice", choices=(("", "both"), ("take-off", "take-off"), ("landing", "landing"))),
    Cell("lighted", "Lighted", kind="flag", choices=YES), Cell("closed", "Closed", kind="flag", choices=YES),
    Cell("obstacles", "Obstacles beyond: distance from the start, height", "3000 ft 60 ft; 1 nm 250 ft", "obstacles", wide=True)),
    "Each direction by itself: a runway with two ends is two directions. What is left empty is not known, and its margin too.",
    rows=True, one="Direction", spare=2)
PARTS = (FIELD, ENDS)
LIST = re.compile(r"line \d+, ")


@router.get("/airframe/aerodromes.json")
def listed_json() -> JSONResponse:
    """The owner's own aerodromes as data, in the shape of `airports --json`."""
    return JSONResponse({"schema": 1} | airports_json(list(asking.kept().values())))


@router.get("/airframe/aerodromes")
def listed(request: Request, ident: str = "") -> Response:
    """The owner's own aerodromes and the form of one; ident: the one to be changed."""
    texts = _of(ident.strip().upper()) if ident else {"field.date": now_day()}
    return _page(request, texts)


def _page(request: Request, texts: Mapping[str, str], refusal: str = "", wrong: str = "") -> Response:
    return shown(request, "airframe_aerodromes.html", 422 if refusal else 200, aerodromes=list(asking.kept().values()),
                 blocks=forms.blocks(PARTS, texts, wrong), refusal=refusal, wrong=wrong, ident=texts.get("field.ident", ""),
                 feet=_feet)


def _feet(value_m: float | None) -> str:
    from ownship.units import from_si
    from ownship.words.figures import number_text

    return "not known" if value_m is None else f"{number_text(float(from_si(value_m, 'ft')), 0)} ft"


def _of(ident: str) -> dict[str, str]:
    """The fields of a kept aerodrome; only the ident of one that is not kept."""
    text = asking.text_of(ident)
    if text is None:
        return {"field.ident": ident, "field.date": now_day()}
    document: Any = forms.parsed(text)
    found = {f"field.{c.key}": str(document[c.key]) for c in FIELD.cells if c.key in document}
    for i, end in enumerate(document.get("runways", ())):
        for c in ENDS.cells:
            if c.key == "obstacles":
                value = "; ".join(f"{o['distance']} {o['height']}" for o in end.get("obstacles", ()))
            else:
                value = SHOW.get(c.kind, str)(end[c.key]) if c.key in end else ""
            found |= {f"runways.{i}.{c.key}": value} if value else {}
    return found


@router.post("/airframe/aerodromes", openapi_extra=form("field.ident", "field.position", "runways.0.end"))
def keep(request: Request, sent: Sent) -> Response:
    """Keep an aerodrome; the record of the same ident before it stays readable and counts no longer."""
    try:
        text = _toml(sent.fields)
        _, number = asking.keep_text(text, "the aerodrome")
    except OwnshipError as error:
        words, wrong = forms.explained(str(error), PARTS, _rows(sent.fields))
        return _page(request, sent.fields, _plain(words), wrong or _about(words))
    return undo.back_to(WHERE, number)


def _plain(words: str) -> str:
    return LIST.sub("", words.removeprefix("the aerodrome ")) if words.startswith("the aerodrome line") else words


def _about(words: str) -> str:
    """The field of the aerodrome itself that a refusal begins with: "the aerodrome line 2, position: ..."."""
    m = re.match(r"the aerodrome(?: line \d+)?,? ?([a-z_]+):", words)
    return f"field.{m[1]}" if m and any(c.key == m[1] for c in FIELD.cells) else ""


def _rows(fields: Mapping[str, str]) -> dict[tuple[str, int], int]:
    filled = [i for i in range(forms.MOST_ROWS) if any(fields.get(f"runways.{i}.{c.key}", "").strip() for c in ENDS.cells)]
    return {("runways", n): i for n, i in enumerate(filled)}


def _toml(fields: Mapping[str, str]) -> str:
    """The aerodrome's record as TOML, from what was typed."""
    document, rows = tomlkit.document(), _rows(fields)
    for c in FIELD.cells:
        text = " ".join(fields.get(f"field.{c.key}", "").split())
        if text:
            document[c.key] = tomlkit.item(_value(c, text, c.label))
    runways = tomlkit.aot()
    for i in rows.values():
        table = tomlkit.table()
        for c in ENDS.cells:
            text = " ".join(fields.get(f"runways.{i}.{c.key}", "").split())
            if text:
                table[c.key] = forms.item(_value(c, text, forms.label_of(ENDS, i, c)))
        runways.append(table)
    if rows:
        document["runways"] = runways
    return tomlkit.dumps(document)


def _value(cell: Cell, text: str, label: str) -> Any:
    try:
        if cell.kind == "obstacles":
            return [{"distance": d, "height": h} for d, h in VALUE["pairs"](text)]
        return VALUE.get(cell.kind, str)(text)
    except BadInput as error:
        raise BadInput(f"{label}: {error}") from None
