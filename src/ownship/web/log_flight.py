"""A flight typed, taken from a plan or a track, or corrected; whatever is refused comes back as it was typed."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from ownship.errors import BadInput, OwnshipError
from ownship.ownership.bodies import ROLES
from ownship.questions import log_history, log_sources, logging_flights
from ownship.web.access import Sent, form
from ownship.web.cells import Cell
from ownship.web.flying import DEMO, ask
from ownship.web.log_forms import (
    LABELS,
    Refusal,
    file_of,
    filled,
    gone_to,
    kept,
    one_aeroplane,
    or_none,
    refusal_of,
    remember,
    shown,
    whole_of,
)

router = APIRouter()
ZONES = (("", "written with their zone"), ("place", "local, at the aerodrome"), ("UTC", "UTC"))
CHOOSE_ROLE = tuple((r, r) for r in ROLES)
RULES = (("VFR", "VFR"), ("IFR", "IFR"))
TRACKED = (("", "no"), ("true", "yes"))
FULL = "2026-07-11T15:00-06:00"


def _cell(name: str, hint: str = "", choices: tuple[tuple[str, str], ...] = (), *, wide: bool = False) -> Cell:
    return Cell(name, LABELS[name], hint, wide, choices)


GROUPS: tuple[tuple[str, str, tuple[Cell, ...]], ...] = (
    ("The flight", "", (
        _cell("aeroplane", "N0160T"), _cell("origin", "ident, or lat,lon"), _cell("destination", "ident, or lat,lon"),
        _cell("via", "places landed at, with blanks between"))),
    ("Times", "Clock times go with the day; a landing past midnight is understood. Or write each as " + FULL + ".", (
        _cell("date", "2026-07-11"), Cell("zone", "Times are", choices=ZONES), _cell("off_blocks", "15:00"),
        _cell("take_off", "15:08"), _cell("landing", "15:58"), _cell("on_blocks", "16:05"))),
    ("Meters", "", (
        _cell("tachometer_from_h", "1234.5"), _cell("tachometer_to_h", "1235.4"), _cell("hour_meter_from_h"),
        _cell("hour_meter_to_h"))),
    ("Take-offs and landings", "Give all landings in one count (the sun at the place tells day from night), or both apart.", (
        _cell("landings", "1"), _cell("landings_day"), _cell("landings_night"), _cell("full_stop_night"), _cell("take_offs_day"),
        _cell("take_offs_night"))),
    ("People", "", (
        _cell("pilot", "empty: the only one of the record"), _cell("role", choices=CHOOSE_ROLE), _cell("passengers"),
        _cell("crew", "names with ; between"))),
    ("Night and instruments", "Empty night is worked out from the places and the sun.", (
        _cell("rules", choices=RULES), _cell("night", "0:35, 35 min or 0.6"), _cell("instrument", "0:20"),
        _cell("simulated", "0:40"), _cell("approaches", "ILS@KBOI actual; VOR@KMYL simulated"), _cell("holds"),
        _cell("tracked", choices=TRACKED), _cell("cross_country", "82 nm"))),
    ("Fuel", "By tank, usable, and how it is known: full, mark, dipstick, clock, gauge or flow meter.", (
        _cell("fuel_before", "left=20 usgal dipstick; right=17 usgal mark", wide=True),
        _cell("fuel_after", "left=12 usgal dipstick; right=17 usgal mark", wide=True))),
    ("Remarks", "", (_cell("remarks", wide=True),)),
)
CELLS = tuple(c for _, _, cells in GROUPS for c in cells)
NAMES = tuple(c.name for c in CELLS)
BESIDE = ("zone", "other")  # of the form, no fields of the log
TRACK_CELLS = (_cell("origin", "empty: the aerodrome the track begins at"), _cell("destination", "empty: the one it ends at"),
               _cell("landings", "full stops are counted; touch and goes are not"), _cell("pilot"), _cell("passengers"),
               _cell("remarks", wide=True))
READ_AS = {"night_s": "night", "instrument_s": "instrument", "simulated_s": "simulated", "cross_country_m": "cross_country"}


def _typed(sent: Mapping[str, str]) -> dict[str, str]:
    """What a form of a flight sent, the registration in it."""
    return {k: v for k, v in filled(sent, CELLS).items() if k not in BESIDE}


# ---- a new one


@router.get("/log/flight/new")
def new(request: Request) -> Response:
    """The form of a flight: empty, or as the flight of a Flight screen's address was planned."""
    texts, planned = _usual(request), None
    if "departure" in request.query_params or "from" in request.query_params or request.query_params.get("aeroplane") == DEMO:
        planned, from_plan = _planned(request)
        texts |= from_plan
    return _form(request, texts, Refusal(), planned=planned)


def _usual(request: Request) -> dict[str, str]:
    asked = request.query_params.get("aeroplane", "")
    aeroplane = "" if asked.casefold() == DEMO else one_aeroplane(request) or ""
    return {"aeroplane": aeroplane, "date": datetime.now(UTC).date().isoformat(), "zone": "place", "role": "PIC", "rules": "VFR"}


def _planned(request: Request) -> tuple[dict[str, Any], dict[str, str]]:
    """(what is said of the plan, the fields it proposes): what a plan cannot know stays empty."""
    asked = ask(request.query_params)
    s = asked.situation
    if s is None:
        why = asked.refusal or "This address holds no flight."
        return {"words": f"The plan is not whole ({why.rstrip('.')}), so only what the address says is taken over.",
                "times": ()}, _of_address(request)
    registration = s.record.identity.registration
    with logging_flights.opened(None) as (_, entries):
        cells = log_sources.plan_cells(entries, "" if asked.aeroplane == DEMO else registration, s.request)
    cells |= {"off_blocks": s.departure.isoformat(timespec="minutes"), "date": "", "zone": "place"}
    ends = [] if asked.answer is None or not asked.answer.timeline else [asked.answer.timeline[0], asked.answer.timeline[-1]]
    times = tuple(f"{words} {m.time:%Y-%m-%d %H:%M}" for words, m in zip(("off blocks", "on blocks"), ends, strict=False))
    where = "the demo, which is no aeroplane of yours: say which you flew" if asked.aeroplane == DEMO else registration
    return {"words": f"Taken over from the plan of {where}. What a plan cannot know is empty: type what really happened.",
            "times": times}, cells


def _of_address(request: Request) -> dict[str, str]:
    """The fields of a plan that cannot be read whole, as its address has them."""
    named = {"from": "origin", "to": "destination", "via": "via", "departure": "off_blocks", "rules": "rules"}
    found = {ours: text for theirs, ours in named.items() if (text := request.query_params.get(theirs, "").strip())}
    return found | ({"date": ""} if "off_blocks" in found else {})


@router.post("/log/flight/new", openapi_extra=form(*NAMES, "other"))
def add(request: Request, sent: Sent) -> Response:
    """Keep a flight."""
    typed = _typed(sent.fields)
    try:
        written = logging_flights.add(typed, None, sent.text("zone"), other_aeroplane=bool(sent.text("other")))
    except OwnshipError as error:
        return _form(request, {}, refusal_of(error, "flight", CELLS, sent.fields))
    return kept("/log", written.numbers[0], (written.sentence, *written.told))


def _form(request: Request, texts: Mapping[str, str], refusal: Refusal, *, planned: Any = None, number: str = "",
          **more: Any) -> Response:
    return shown(request, "log_flight.html", 422 if refusal.words else 200, groups=GROUPS, texts=refusal.texts("flight", texts),
                 refusal=refusal, planned=planned, number=number, **more)


# ---- a correction


@router.get("/log/flight/{number}/correct")
def corrected(request: Request, number: str) -> Response:
    """A flight of the record in its form."""
    return _form(request, _as_kept(number), Refusal(), number=str(whole_of(number, 0)))


def _as_kept(number: str) -> dict[str, str]:
    """The fields of a flight as they are kept; BadInput where it counts no longer, or is none."""
    told = log_history.history(whole_of(number, 0))
    if told["kind"] != "flight":
        raise BadInput(f"Entry {number[:20]} is no flight; withdraw it and enter it anew.")
    if told["counts"] != told["number"]:
        last = told["entries"][-1]["number"]
        raise BadInput(f"Entry {told['number']} was corrected or withdrawn already, by entry {last}; look at that one.")
    fields = next(e for e in told["entries"] if e["number"] == told["number"])["fields"]
    plain = {READ_AS.get(k, k): _readable(k, v) for k, v in fields.items()}
    return {k: v for k, v in plain.items() if k in NAMES and v}


def _readable(name: str, text: str) -> str:
    """A cell of the log as a form shows it: durations and distances with their unit, none where it is nothing."""
    from ownship.units import from_si

    if name in ("night_s", "instrument_s", "simulated_s"):
        return "" if float(text) == 0 else f"{from_si(float(text), 'min'):.10g} min"
    if name == "cross_country_m":
        return f"{from_si(float(text), 'nm'):.10g} nm"
    return "" if (name, text) in (("tracked", "false"), ("holds", "0")) else text


@router.post("/log/flight/{number}/correct", openapi_extra=form(*NAMES, "other", "why"))
def correct(request: Request, number: str, sent: Sent) -> Response:
    """Keep what was changed as a new entry that corrects the old one."""
    plain = str(whole_of(number, 0))
    try:
        old = _as_kept(plain)
        new_ones = {c.name: sent.text(c.name) for c in CELLS if c.name not in BESIDE and sent.text(c.name) != old.get(c.name, "")}
        if not new_ones:
            raise BadInput("Nothing is changed in this form, so there is nothing to keep.")
        written = logging_flights.correct(int(plain), new_ones, sent.text("why"), sent.text("zone"),
                                          other_aeroplane=bool(sent.text("other")))
    except OwnshipError as error:
        return _form(request, {}, refusal_of(error, "flight", CELLS, sent.fields), number=plain)
    remember(written.numbers[0], (written.sentence, *written.told))
    return gone_to("/log", corrected=str(written.numbers[0]))


# ---- a track


@router.get("/log/track")
def track(request: Request) -> Response:
    """The form for a GPX track."""
    return _track(request, Refusal())


def _track(request: Request, refusal: Refusal) -> Response:
    usual = {"aeroplane": one_aeroplane(request) or ""}
    return shown(request, "log_track.html", 422 if refusal.words else 200, cells=(GROUPS[0][2][0], *TRACK_CELLS),
                 texts=refusal.texts("track", usual), refusal=refusal)


@router.post("/log/track", openapi_extra=form("aeroplane", *(c.name for c in TRACK_CELLS), "other", file="track"))
def take_track(request: Request, sent: Sent) -> Response:
    """Keep the flight of a GPX track; what is typed goes before what the track says."""
    try:
        name, data = file_of(sent, "track", "a GPX track of the flight")
        written = log_sources.from_track_text(_gpx(data), name, filled(sent.fields, TRACK_CELLS), or_none(sent.text("aeroplane")),
                                              other_aeroplane=bool(sent.text("other")))
    except OwnshipError as error:
        return _track(request, refusal_of(error, "track", (GROUPS[0][2][0], *TRACK_CELLS), sent.fields))
    return kept("/log", written.numbers[0], (written.sentence, *written.told))


def _gpx(data: bytes) -> str:
    from ownship.world.tracks import LONGEST_TEXT

    if len(data) > LONGEST_TEXT:
        raise BadInput(f"The track is larger than {LONGEST_TEXT / 1e6:.0f} MB; export a shorter one.")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadInput("The track is no text in UTF-8; export it again as GPX 1.1.") from None
