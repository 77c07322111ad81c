"""The Airframe screen: the owner's aeroplanes, each record by topic with its sources, its forms, its file in and out."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, PlainTextResponse, Response
from markupsafe import Markup
from starlette.datastructures import UploadFile

from ownship.aeroplane.description import AirframeRecord
from ownship.errors import BadInput, OwnshipError, UnreadableFile
from ownship.papers.weight import INCH_POUND, Units, ledger_sentence, units_of
from ownship.questions.airframe_record import Airframe, airframe, as_toml, keep, now_day, registrations
from ownship.web import airframe_forms as forms
from ownship.web import in_units, pages, undo
from ownship.web.access import Sent, form
from ownship.web.airframe_topics import BY_NAME, TOPICS, Topic
from ownship.words.figures import number_text, signed_text

router = APIRouter()
SCREEN = "Airframe"
LARGEST_FILE_BYTES = 1_000_000
FILES = {"record": "The record", "rows": "The book's rows", "own": "Your own measurements"}
PARTS_ROLE = re.compile(r' role="graphics-[a-z]+"| aria-roledescription="[^"]*"')  # of lines and points within the one image
VIEWS = (("", "Record"), ("/weights", "Weights"), ("/performance", "Performance"), ("/compass", "Compass"))


def shown(request: Request, template: str, status: int = 200, /, **context: Any) -> Response:
    """A page of this screen, with what was just kept."""
    return pages.page(request, template, status, screen=SCREEN, kept=undo.just_kept(request), number_of=number_text,
                      signed=signed_text, **context)


def places(a: Airframe) -> list[tuple[str, str]]:
    """(address, words) of the pages of one aeroplane."""
    return [(f"{at(a)}{end}", words) for end, words in VIEWS]


def at(a: Airframe) -> str:
    """The address of an aeroplane's record."""
    return "/airframe/demo" if a.demo else f"/airframe/{a.registration}"


def units_for(request: Request) -> Units:
    """Kilograms and millimetres where this person shows the aeroplane's weight in kilograms, else pounds and inches."""
    return units_of(in_units.units_of(request).get("aeroplane") == "kg")


def chart(svg: str) -> Markup:
    """A drawing of papers as part of a page, one image with its text alternative; its texts were escaped where it was made."""
    return Markup(PARTS_ROLE.sub("", svg))


# ---- the list


@router.get("/airframe")
def listed(request: Request) -> Response:
    """The owner's aeroplanes and the demo."""
    return _list(request)


@router.get("/airframe.json")
def listed_json() -> JSONResponse:
    """The same as data: registrations with their last revision and weights in a sentence."""
    return JSONResponse({"schema": 1, "aeroplanes": [_line(r) for r in registrations()], "demo": _line("demo")})


def _list(request: Request, refusal: str = "", effective: str = "") -> Response:
    units = units_for(request)
    lines = [_line(r, units) for r in registrations()]
    return shown(request, "airframe.html", 422 if refusal else 200, aeroplanes=lines, demo=_line("demo", units), refusal=refusal,
                 effective=effective or now_day(), largest=LARGEST_FILE_BYTES // 1000, files=FILES)


def _line(registration: str, units: Units = INCH_POUND) -> dict[str, Any]:
    """An aeroplane of the list; where it is not in force yet, the sentence that says so."""
    from ownship.ownership.ledger import ledger

    try:
        a = airframe(registration)
        said = ledger_sentence(ledger(a.entries, a.registration, a.on), units)
        return {"registration": registration, "type": a.record.identity.type_name, "effective": a.effective.isoformat(),
                "sentence": said}
    except OwnshipError as error:
        return {"registration": registration, "type": "", "effective": None, "sentence": str(error)}


@router.post("/airframe/import", openapi_extra=form("effective", file="record"))
def bring(request: Request, sent: Sent) -> Response:
    """Keep a record from its TOML file as a revision, with the files it names."""
    try:
        told = _kept_file(sent.files, sent.text("effective"))
    except OwnshipError as error:
        return _list(request, str(error), sent.text("effective"))
    return undo.back_to("/airframe", told["entry"])


def _kept_file(files: Mapping[str, UploadFile], effective: str) -> dict[str, Any]:
    from ownship.aeroplane.reading import read_airframe

    if "record" not in files:
        raise BadInput("No file of a record is chosen; choose a TOML file of docs/formats/airframe.md.")
    texts = {key: text_of(files[key], words) for key, words in FILES.items() if key in files}
    book = read_airframe(texts["record"], FILES["record"]).book
    rows, own = texts.get("rows", ""), texts.get("own", "")
    if (rows and (book is None or book.rows is None)) or (own and (book is None or book.own is None)):
        raise BadInput("A file was sent that the record does not name; write its name as [book] rows or own in the record.")
    return keep(texts["record"], effective, "", rows, own).data


def text_of(file: UploadFile, what: str) -> str:
    """The text of an uploaded file; UnreadableFile, in a sentence, where it is too large or no text."""
    data = file.file.read(LARGEST_FILE_BYTES + 1)
    if len(data) > LARGEST_FILE_BYTES:
        raise UnreadableFile(f"{what} has more than {LARGEST_FILE_BYTES // 1000:,} kB, which no such file has; choose another.")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise UnreadableFile(f"{what} is no text in UTF-8; save it as UTF-8.") from None


# ---- one record


@router.get("/airframe/{registration}.json")
def record_json(registration: str, on: str = "") -> JSONResponse:
    """A record as data: its revisions, every field by topic as it is written, and the whole as TOML."""
    a = airframe(registration, on)
    fields = {t.name: forms.texts_of(a.toml, t.parts) for t in TOPICS}
    return JSONResponse({"schema": 1, "aeroplane": a.registration, "on": a.on.isoformat(), "effective": a.effective.isoformat(),
                         "revisions": _revisions(a), "topics": fields, "toml": as_toml(a)})


@router.get("/airframe/{registration}.toml")
def record_file(registration: str, on: str = "") -> Response:
    """The record of a day as a TOML file, the ledger's entries in it."""
    a = airframe(registration, on)
    return _file(as_toml(a), f"{a.registration}.toml")


@router.get("/airframe/{registration}/rows.csv")
def rows_file(registration: str, on: str = "") -> Response:
    """The book's rows kept with the record, as they were given."""
    a = airframe(registration, on)
    if not a.rows_csv or a.record.book is None or a.record.book.rows is None:
        raise BadInput(f"No rows of a book are kept with the record of {a.registration}.")
    return _file(a.rows_csv, a.record.book.rows)


def _file(text: str, name: str) -> Response:
    plain = "".join(c if c.isascii() and (c.isalnum() or c in "-_.") else "_" for c in name)
    return PlainTextResponse(text, headers={"Content-Disposition": f'attachment; filename="{plain}"'})


@router.get("/airframe/{registration}")
def record(request: Request, registration: str, on: str = "") -> Response:
    """A record by topic: every figure as it is written, its source, what is not known."""
    from ownship.ownership.ledger import ledger

    a, units = airframe(registration, on), units_for(request)
    said = ledger_sentence(ledger(a.entries, a.registration, a.on), units)
    return shown(request, "airframe_record.html", a=a, here=at(a), places=places(a), said=said, revisions=_revisions(a),
                 topics=[(t, _blocks(a, t)) for t in TOPICS], envelope=_envelope(a, units))


def _blocks(a: Airframe, topic: Topic) -> tuple[forms.Block, ...]:
    return forms.blocks(topic.parts, forms.texts_of(a.toml, topic.parts), spare=False)


def _envelope(a: Airframe, units: Units) -> Markup | None:
    return _drawn(a.record, units) if a.record.envelopes else None


@lru_cache(maxsize=16)
def _drawn(record: AirframeRecord, units: Units) -> Markup:
    from ownship.papers.airframe_charts import envelope_chart

    return chart(envelope_chart(record, units))


def _revisions(a: Airframe) -> list[dict[str, Any]]:
    return [{"entry": n, "effective": day.isoformat(), "written": written.isoformat(), "in_force": n == a.entry}
            for n, day, written in a.revisions]


# ---- its forms


@router.get("/airframe/{registration}/edit/{topic}")
def edit(request: Request, registration: str, topic: str, on: str = "") -> Response:
    """A topic of the record as a form."""
    a, t = changeable(registration, on), _topic(topic)
    texts = forms.texts_of(a.toml, t.parts)
    return _form(request, a, t, texts, effective=now_day() if not on else a.on.isoformat(), base=a.entry)


@router.post("/airframe/{registration}/edit/{topic}", openapi_extra=form("base", "effective", "weights.take_off_max"))
def save(request: Request, registration: str, topic: str, sent: Sent) -> Response:
    """Keep a topic's fields as a new revision from a day on; nothing is overwritten."""
    a, t = changeable(registration), _topic(topic)
    texts, rows = forms.only(sent.fields, t), dict[tuple[str, int], int]()
    try:
        base = _base(a, sent.text("base"))
        old = _revision(a, base)
        made = forms.applied(old.toml, t.parts, texts)
        rows = made.rows
        if made.toml == old.toml:
            raise BadInput("Nothing is changed in this form, so there is nothing to keep.")
        told = keep(made.toml, sent.text("effective"), a.registration, old.rows_csv, old.own_text, base).data
    except OwnshipError as error:
        words, wrong = forms.explained(str(error), t.parts, rows)
        return _form(request, a, t, texts, words, wrong, effective=sent.text("effective"), base=sent.text("base"))
    return undo.back_to(at(a), told["entry"])


def _form(request: Request, a: Airframe, topic: Topic, texts: Mapping[str, str], refusal: str = "", wrong: str = "",
          **context: Any) -> Response:
    later = [r["effective"] for r in _revisions(a) if r["effective"] > a.on.isoformat()]
    return shown(request, "airframe_topic.html", 422 if refusal else 200, a=a, here=at(a), places=places(a), topic=topic,
                 blocks=forms.blocks(topic.parts, texts, wrong), refusal=refusal, wrong=wrong, later=later, **context)


def changeable(registration: str, on: str = "") -> Airframe:
    """An aeroplane of the owner's on a day; BadInput for the demo."""
    a = airframe(registration, on)
    if a.demo:
        raise BadInput("The demo is invented and stays as it is; begin a record of your own.")
    return a


def _topic(name: str) -> Topic:
    if name not in BY_NAME:
        raise BadInput(f"{name[:40]!r} is no topic of the record; there are {', '.join(BY_NAME)}.")
    return BY_NAME[name]


def _base(a: Airframe, text: str) -> int:
    """The entry of the revision a form was filled from."""
    if not (text.isascii() and text.isdigit() and int(text[:9]) in [n for n, _, _ in a.revisions]):
        raise BadInput("The record this form was filled from no longer stands; load the form again.")
    return int(text)


def _revision(a: Airframe, number: int) -> Any:
    return next(e.body for e in a.entries if e.number == number)
