"""A log from a CSV in two steps: say what each column means and look at what would be kept; then keep it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from ownship.errors import OwnshipError
from ownship.questions import log_csv, uploads
from ownship.units import from_si
from ownship.web.access import Sent, form
from ownship.web.log_forms import LABELS, Refusal, file_of, gone_to, in_words, kept, or_none, shown
from ownship.words.figures import number_text

router = APIRouter()
MOST_COLUMNS = 200
SHOWN = 20
ZONES = (("", "nothing: each is written with its zone"), ("place", "local, at the aerodrome"), ("UTC", "UTC"))
ORDERS = (("", "as the file itself shows"), ("dmy", "day first, 11/07/2026"), ("mdy", "month first, 07/11/2026"))
COLUMN = "column"


@router.get("/log/import")
def step(request: Request, file: str = "", name: str = "", look: str = "") -> Response:
    """Without a file: choose one. With one: what its columns mean and, where looked at, what would be kept."""
    if not file:
        return _choose(request, Refusal())
    query = dict(request.query_params)
    return _columns(request, query, looked=bool(look))


def _choose(request: Request, refusal: Refusal) -> Response:
    return shown(request, "log_import.html", 422 if refusal.words else 200, refusal=refusal, columns=None)


@router.post("/log/import", openapi_extra=form(file="log"))
def send(request: Request, sent: Sent) -> Response:
    """Put the file aside and show its columns."""
    try:
        name, data = file_of(sent, "log", "the CSV of your log")
        log_csv.columns(data, name)  # a file that is no log is refused here
    except OwnshipError as error:
        return _choose(request, Refusal(in_words(str(error)), "choose"))
    return gone_to("/log/import", file=uploads.put_aside(data), name=name)


def _columns(request: Request, typed: Mapping[str, str], *, looked: bool, refusal: Refusal | None = None) -> Response:
    """The second page: columns with their meaning, and what is found where it is to be looked at."""
    name = uploads.file_name(typed.get("name", ""), "the file")
    try:
        data = uploads.put_back(typed.get("file", ""))
        found = log_csv.columns(data, name)
    except OwnshipError as error:
        return _choose(request, Refusal(in_words(str(error)), "choose"))
    meant = _meant(found, typed) if looked else dict(found.fields)
    seen: log_csv.Look | None = None
    if looked and refusal is None:
        try:
            seen = log_csv.look(data, name, meant, **_options(typed))
        except OwnshipError as error:
            refusal = Refusal(in_words(str(error)), "columns")
    texts = {"zone": found.zone, **typed}
    return shown(request, "log_import.html", 422 if refusal else 200, refusal=refusal or Refusal(), columns=found, meant=meant,
                 texts=texts, file=typed.get("file", ""), name=name, seen=seen, rows=_rows(seen), looked=looked,
                 fields=tuple(LABELS.items()), names=tuple(LABELS), zones=ZONES, orders=ORDERS, column=COLUMN)


def _meant(found: log_csv.Columns, typed: Mapping[str, str]) -> dict[str, str]:
    """What each column means as chosen; a column without a choice keeps what it means so far."""
    from ownship.ownership.flight_cells import FIELDS

    chosen = {c: typed.get(f"{COLUMN}{i}", found.fields.get(c, "")) for i, c in enumerate(found.names[:MOST_COLUMNS])}
    return {c: m if m in FIELDS else "" for c, m in chosen.items()}


def _options(typed: Mapping[str, str]) -> dict[str, Any]:
    return {"zone": typed.get("zone", "").strip(), "dates": typed.get("dates", ""),
            "aeroplane": or_none(typed.get("aeroplane", "")), "other_aeroplane": bool(typed.get("other", ""))}


def _rows(seen: log_csv.Look | None) -> list[tuple[str, ...]]:
    """The first flights that would be kept, as cells."""
    if seen is None:
        return []
    return [(p.where, p.aeroplane, f"{p.flight.off_blocks:%Y-%m-%d %H:%M}", f"{p.flight.on_blocks:%H:%M}", p.flight.origin,
             p.flight.destination, number_text(float(from_si(p.flight.flight_s, "h")), 2), str(p.flight.landings_day),
             str(p.flight.landings_night), p.flight.pilot or "not noted") for p in seen.new[:SHOWN]]


@router.post("/log/import/keep", openapi_extra=form("file", "name", "zone", "dates", "aeroplane", "other", f"{COLUMN}0"))
def keep(request: Request, sent: Sent) -> Response:
    """Keep every new flight of the file, or none; its columns are remembered."""
    name = uploads.file_name(sent.text("name"), "the file")
    try:
        data = uploads.put_back(sent.text("file"))
        found = log_csv.columns(data, name)
        written = log_csv.keep_csv(data, name, _meant(found, sent.fields), **_options(sent.fields))
    except OwnshipError as error:
        return _columns(request, sent.fields, looked=True, refusal=Refusal(in_words(str(error)), "columns"))
    if not written.numbers:
        return gone_to("/log")
    if len(written.numbers) == 1:
        return kept("/log", written.numbers[0], (written.sentence, *written.told))
    return gone_to("/log", first=str(written.numbers[0]), last=str(written.numbers[-1]))
