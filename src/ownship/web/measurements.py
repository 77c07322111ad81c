"""The Measurements screen: what is measured, a form for each kind, a track dropped, what it changed, what to measure next."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, PlainTextResponse, Response

from ownship.errors import BadInput, OwnshipError, UnreadableFile
from ownship.questions import measuring, tracking
from ownship.questions.airframe_record import Airframe, airframe, now_day, registrations
from ownship.web import in_units, pages, undo
from ownship.web import measurements_forms as forms
from ownship.web.access import Sent, form
from ownship.web.measurements_kinds import KINDS, kind_of
from ownship.words.cautions import cautions_for
from ownship.words.figures import Figure

router = APIRouter()
SCREEN = "Measurements"
DEMO = "demo"
CAUTIONS = (*cautions_for(("verdict",))[:1], *cautions_for(("measuring", "model")))
NEXT, BANDS, TAUGHT = "what to measure next", "bands before and after your measurements", "with one kind of your rows left out"
FIRST = (NEXT, BANDS, TAUGHT)  # shown by themselves, not among the other headings
CHARTS = {"before-and-after": "bands before and after", "agreement-of-yours": "agreement of your measurements",
          "agreement-of-book": "agreement of the book's rows"}


def which(aeroplane: str) -> Airframe:
    """The aeroplane asked for; where none is, the first one kept, and where none is kept, the demo."""
    kept = registrations()
    return airframe(aeroplane.strip() or (kept[0] if kept else DEMO))


def name_of(a: Airframe) -> str:
    """How an address names an aeroplane."""
    return DEMO if a.demo else a.registration


def at(a: Airframe, path: str = "", **more: str) -> str:
    """An address of this screen, of an aeroplane."""
    return f"/measurements{path}?{urlencode({'aeroplane': name_of(a)} | more)}"


def _shown(request: Request, template: str, a: Airframe, status: int = 200, /, **context: Any) -> Response:
    return pages.page(request, template, status, screen=SCREEN, kept=undo.just_kept(request), a=a, name=name_of(a), at=at,
                      aeroplanes=(*registrations(), DEMO), cautions=CAUTIONS, **context)


# ---- what is measured


@router.get("/measurements")
def listed(request: Request, aeroplane: str = "", matched: str = "", drawn: str = "") -> Response:
    """What is measured, and, where asked for or known already, what it changed."""
    return _list(request, which(aeroplane), matched, drawn)


def _list(request: Request, a: Airframe, matched: str = "", drawn: str = "", refusal: str = "", about: str = "") -> Response:
    found = measuring.changed(a) if matched or measuring.matched_already(a) else None
    return _shown(request, "measurements.html", a, 422 if refusal else 200, own=measuring.kept(a), kinds=KINDS, refusal=refusal,
                  about=about, **_changed(request, a, found, bool(drawn)))


@dataclass(frozen=True)
class Line:
    """A key figure as the page shows it, in the units a person chose: the book's, before and after with their bands, and what
    became of the band."""

    name: str
    book: str
    before: str
    after: str
    band: str


def _line(f: measuring.Before, units: in_units.Units) -> Line:
    kind = "runway" if "over 50 ft" in f.name else ""

    def text(value: float, low: float | None = None, high: float | None = None) -> str:
        return in_units.shown(Figure(value, f.unit, low, high), units, kind).text()

    share = f"{abs(100 * f.narrower_1):.0f}"
    band = "as wide" if share == "0" else f"{share} % {'narrower' if f.narrower_1 > 0 else 'wider'}"
    sides = [text(x.value, x.low, x.high) for x in (f.before, f.after)]
    return Line(f.name, text(f.book), sides[0], sides[1], band)


def _changed(request: Request, a: Airframe, found: measuring.Changed | None, drawn: bool) -> dict[str, Any]:
    """What the part about the matching shows; found None: not worked out yet."""
    words, units = dict(found.words) if found else {}, in_units.units_of(request)
    return {"found": found, "figures": [_line(f, units) for f in found.figures] if found else [],
            "next_ones": words.get(NEXT, ()), "others": [(k, v) for k, v in words.items() if k not in FIRST],
            "taught": words.get(TAUGHT, ()), "charts": _drawings(a) if drawn else None}


def _drawings(a: Airframe) -> list[tuple[str, Any]]:
    found = measuring.charts(a)
    order = [*(k for k in CHARTS if k in found), *(k for k in found if k not in CHARTS)]
    return [(CHARTS.get(k, k.replace("-", " ")), pages.chart(found[k])) for k in order]


@router.get("/measurements/matched")
def matched(request: Request, aeroplane: str = "") -> Response:
    """The part of the page about the matching, worked out."""
    a = which(aeroplane)
    return _shown(request, "_measurements_matched.html", a, **_changed(request, a, measuring.changed(a), drawn=False))


@router.get("/measurements/drawn")
def drawn(request: Request, aeroplane: str = "") -> Response:
    """The drawings of the matching, as a part of the page."""
    a = which(aeroplane)
    return _shown(request, "_measurements_drawn.html", a, charts=_drawings(a))


@router.get("/measurements.json")
def listed_json(aeroplane: str = "") -> JSONResponse:
    """The measurements, what they changed and what to measure next, as data."""
    a = which(aeroplane)
    own, found = measuring.kept(a), measuring.changed(a)
    return JSONResponse({
        "schema": 1, "aeroplane": a.registration, "demo": a.demo, "source": own.source or None,
        "not_known": own.why or found.why or None,
        "measurements": [{"kind": x.kind, "index": x.index, "date": x.day or None, "as_written": x.said, "note": x.note or None}
                         for x in own.items],
        "figures": [_figure_json(f) for f in found.figures], "matched": list(found.matched),
        "words": {k: list(v) for k, v in found.words}})


def _figure_json(f: measuring.Before) -> dict[str, Any]:
    sides = {k: {"value": x.value, "unit": f.unit, "low": x.low, "high": x.high}
             for k, x in (("before", f.before), ("after", f.after))}
    return {"name": f.name, "book": {"value": f.book, "unit": f.unit}, **sides, "narrower": f.narrower_1}


@router.get("/measurements/own.toml")
def own_file(aeroplane: str = "") -> Response:
    """The measurements as the file of docs/formats/measurements.md."""
    a = which(aeroplane)
    if not a.own_text or a.record.book is None or a.record.book.own is None:
        raise BadInput(f"No measurements are kept with the record of {a.registration}.")
    return PlainTextResponse(a.own_text, headers={"Content-Disposition": 'attachment; filename="measurements.txt"'})


# ---- one entered


@router.get("/measurements/new/{kind}")
def new(request: Request, kind: str, aeroplane: str = "") -> Response:
    """The form of a measurement; fields in the address (those of a track) stand in it."""
    a = which(aeroplane)
    texts = {k: v for k, v in request.query_params.items() if k.startswith(f"{kind}.")}
    return _form(request, a, _kind(a, kind), {f"{kind}.date": now_day()} | texts)


def _kind(a: Airframe, name: str) -> forms.Kind:
    return kind_of(name, [(t.id, t.name or t.id) for t in a.record.tanks])


def _form(request: Request, a: Airframe, kind: forms.Kind, texts: Mapping[str, str], refusal: str = "", wrong: str = "",
          source: str = "") -> Response:
    own = measuring.kept(a)
    return _shown(request, "measurements_form.html", a, 422 if refusal else 200, kind=kind, own=own, refusal=refusal, wrong=wrong,
                  blocks=forms.blocks(kind, texts, wrong), source=source)


@router.post("/measurements/new/{kind}", openapi_extra=form("source"))
def enter(request: Request, kind: str, sent: Sent, aeroplane: str = "") -> Response:
    """Keep a measurement with the record; the next check of the aeroplane takes it."""
    a = which(aeroplane)
    what = _kind(a, kind)
    typed, mine = forms.Typed({}, {}), 0
    try:
        typed = forms.typed(what, sent.fields)
        if not typed.table.keys() - {"date", "note"}:
            raise BadInput("Nothing is filled in, so there is nothing to keep.")
        mine = measuring.place_of(name_of(a), kind, typed.table)
        number = measuring.add(name_of(a), kind, typed.table, sent.text("source"))
    except OwnshipError as error:
        words, wrong = forms.explained(str(error), what, typed.rows, mine)
        if words.startswith(f"{measuring.NAME}, [record] source: "):
            words, wrong = "Who measured, with what: " + words.partition(" source: ")[2], "source"
        return _form(request, a, what, sent.fields, words, wrong, sent.text("source"))
    return undo.back_to(at(a), number)


@router.post("/measurements/out", openapi_extra=form("kind", "index", "base"))
def out(request: Request, sent: Sent, aeroplane: str = "") -> Response:
    """Take a measurement out again; the entry that held it is kept."""
    a = which(aeroplane)
    try:
        number = measuring.take_out(name_of(a), sent.text("kind"), _whole(sent.text("index")), _whole(sent.text("base")))
    except OwnshipError as error:
        return _list(request, a, refusal=str(error), about="kept")
    return undo.back_to(at(a), number)


def _whole(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else -1


# ---- a track


@router.post("/measurements/track", openapi_extra=form(file="track"))
def track(request: Request, sent: Sent, aeroplane: str = "") -> Response:
    """What a GPX track shows by itself, each proposal with its form; nothing is kept."""
    a = which(aeroplane)
    try:
        proposed = tracking.proposals_of(_text(sent))
    except OwnshipError as error:
        return _list(request, a, refusal=str(error), about="track")
    return _shown(request, "measurements_track.html", a, proposals=_proposals(a, proposed),
                  words=[(k, v) for k, v in proposed.items() if k not in (tracking.PASTE, "to do")], ask=tracking.ASK)


def _text(sent: Any) -> str:
    from ownship.world.tracks import LONGEST_TEXT

    if "track" not in sent.files:
        raise BadInput("No track is chosen; choose a GPX file.")
    data = sent.files["track"].file.read(LONGEST_TEXT + 1)
    try:
        return str(data.decode("utf-8-sig"))
    except UnicodeDecodeError:
        raise UnreadableFile("The track is no text in UTF-8; save it as GPX 1.1 in UTF-8.") from None


def _proposals(a: Airframe, proposed: dict[str, list[str]]) -> list[tuple[str, str, str]]:
    """(kind in words, what the track says, address of its form filled in so far) of every proposal."""
    return [(measuring.KINDS[kind], measuring.said_of(table), at(a, f"/new/{kind}", **forms.texts_of(kind_of(kind), table)))
            for kind, table in tracking.tables_of(proposed)]
