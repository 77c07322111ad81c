"""What an owner measured on his aeroplane, kept with its record: entered, taken out, and what it changed.

Measurements stand in the record's own file ([book] own; docs/formats/measurements.md). Each one entered or taken out is a new
entry of the record: the revision in force once more from its day, with its measurements changed. So every `check` of that
aeroplane takes them, and undo brings back the entry before.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import Array

from ownship.errors import BadInput, MissingKey, OutOfRange, OwnshipError, UnreadableFile

if TYPE_CHECKING:
    from ownship.aeroplane.description import AirframeRecord
    from ownship.calibration.diagnostics import KeyFigure
    from ownship.calibration.measured import Measurements
    from ownship.questions.airframe_record import Airframe
    from ownship.questions.calibration_file import Fitted

FILE = "measurements.toml"
NAME = "your measurements"
KINDS = {"level_run": "level run", "timed_climb": "timed climb", "glide": "glide", "static": "static run",
         "tachometer": "check of the tachometer", "take_off": "take-off", "landing": "landing", "fuel_flow": "fuel flow",
         "fill": "fill", "engine": "engine"}
IN_ORDER = {"fill": "date", "engine": "hours"}  # logs: by what they run forward


@dataclass(frozen=True)
class Item:
    """One measurement as it was written: its kind and place among its kind, day, figures in words, note."""

    kind: str
    index: int
    day: str
    said: str
    note: str

    @property
    def words(self) -> str:
        """Its kind in words."""
        return KINDS[self.kind]


@dataclass(frozen=True)
class Kept:
    """The measurements of an aeroplane; `why` says why none can be listed or entered here, "" where they can."""

    source: str = ""
    items: tuple[Item, ...] = ()
    why: str = ""


@dataclass(frozen=True)
class Before:
    """A key figure of this aeroplane before and after its measurements, with the book's value; all in the figure's unit."""

    name: str
    unit: str
    book: float
    before: KeyFigure
    after: KeyFigure

    @property
    def narrower_1(self) -> float:
        """By which share the band became narrower (0 to 1; negative: wider)."""
        return 1 - (self.after.high - self.after.low) / (self.before.high - self.before.low)


@dataclass(frozen=True)
class Changed:
    """What the measurements changed: figures before and after, lines by heading, what the model was matched to.

    why: the sentence where the record gives no model; figures are empty without own rows.
    """

    figures: tuple[Before, ...] = ()
    words: tuple[tuple[str, tuple[str, ...]], ...] = ()
    matched: tuple[str, ...] = ()
    why: str = ""


# ---- what is kept


def kept(a: Airframe) -> Kept:
    """The measurements kept with the record in force."""
    from ownship.calibration.measured import read_measurements
    from ownship.schema import read_toml

    name = _own_name(a)
    if name is None:
        return Kept()
    if not name.endswith(".toml"):
        return Kept(why=f"The measurements of this record are the rows of {name}; they are used, and changed in that file.")
    try:
        read_measurements(read_toml(a.own_text, name))
        data = tomllib.loads(a.own_text)
    except OwnshipError as error:
        return Kept(why=f"The measurements kept with this record are refused: {error} Bring the record and its file again.")
    source = data["record"]["source"]
    items = [_item(kind, i, table) for kind in KINDS for i, table in enumerate(data.get(kind, ()))]
    return Kept(str(source), tuple(items))


def _own_name(a: Airframe) -> str | None:
    book = a.record.book
    return None if book is None else book.own


def _item(kind: str, index: int, table: Mapping[str, Any]) -> Item:
    said = {k: v for k, v in table.items() if k not in ("date", "note")}
    return Item(kind, index, str(table.get("date", "")), said_of(said), str(table.get("note", "")))


def said_of(value: Any) -> str:
    """A measurement's keys and values as they were written: "oat 9 C, rpm 2400 rpm"."""
    if isinstance(value, Mapping):
        return ", ".join(f"{k.replace('_', ' ')} {said_of(v)}" for k, v in value.items())
    if isinstance(value, list):
        return "; ".join(said_of(v) for v in value)
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)


# ---- keeping


def add(registration: str, kind: str, table: Mapping[str, Any], source: str = "") -> int:
    """Keep one measurement, its keys as in docs/formats/measurements.md; the number of the entry.

    Logs (fill, engine) are put in order of time. Raises a sentence, and keeps nothing, where the measurement or the whole file
    with it does not read, or the aeroplane cannot have flown so.
    """
    a = _changeable(registration)
    document = _document(a)
    if kind not in KINDS:
        raise BadInput(f"{kind[:40]!r} is no kind of measurement; there are {', '.join(KINDS)}.")
    if not document.get("record", {}).get("source"):
        if not source.strip():
            raise BadInput(f"{NAME}, [record] source: nothing is given; say who measured, and with what.")
        document["record"] = {"source": source.strip()}
    if kind not in document:
        document[kind] = tomlkit.aot()
    rows: Any = document[kind]
    fresh: Any = tomlkit.inline_table() if isinstance(rows, Array) else tomlkit.table()
    for key, value in table.items():
        fresh[key] = _item_of(value)
    rows.insert(_place(kind, rows, table), fresh)
    return _keep(a, tomlkit.dumps(document))


def place_of(registration: str, kind: str, table: Mapping[str, Any]) -> int:
    """The place, from 1, that a new measurement takes among its kind: by it a refusal names it."""
    rows: Any = _document(_changeable(registration)).get(kind, [])
    return _place(kind, rows, table) + 1


def take_out(registration: str, kind: str, index: int, base: int) -> int:
    """Take a measurement out again: a new entry without it; the old one keeps it. base: the entry the page showed."""
    a = _changeable(registration)
    document = _document(a)
    rows: Any = document.get(kind, []) if kind in KINDS else []
    if base != a.entry or not 0 <= index < len(rows):
        raise BadInput("The measurements have changed since this page was made; load it again and take it out there.")
    del rows[index]
    if not len(rows):
        del document[kind]
    return _keep(a, tomlkit.dumps(document) if any(k in document for k in KINDS) else "")


def _changeable(registration: str) -> Airframe:
    from ownship.questions.airframe_record import airframe

    a = airframe(registration)
    if a.demo:
        raise BadInput("The demo is invented and stays as it is; keep an aeroplane of your own to enter measurements.")
    if why := kept(a).why:
        raise BadInput(why)
    return a


def _document(a: Airframe) -> tomlkit.TOMLDocument:
    if not _own_name(a):
        return tomlkit.document()
    try:
        return tomlkit.parse(a.own_text)
    except (TOMLKitError, RecursionError, ValueError) as error:
        raise UnreadableFile(f"The measurements cannot be written anew with their remarks kept ({str(error)[:120]}); change them "
                             "in their file.") from None


def _item_of(value: Any) -> Any:
    """A plain value as TOML on one line."""
    if isinstance(value, Mapping):
        inner: Any = tomlkit.inline_table()
        for key, x in value.items():
            inner[key] = _item_of(x)
        return inner
    if isinstance(value, list):
        many: Any = tomlkit.array()
        for x in value:
            many.append(_item_of(x))
        return many
    return tomlkit.item(value)


def _place(kind: str, rows: Any, table: Mapping[str, Any]) -> int:
    """Where a new one stands among its kind: a log's by its time, else last; what has no time that reads stands last."""
    if kind not in IN_ORDER:
        return len(rows)
    try:
        mine = _time(kind, table)
        return sum(1 for row in rows if _time(kind, row) <= mine)
    except (OwnshipError, KeyError, TypeError):
        return len(rows)


def _time(kind: str, table: Mapping[str, Any]) -> float:
    from ownship.units import parse

    value = table[IN_ORDER[kind]]
    return float(value.toordinal() if kind == "fill" else parse(str(value), "time"))


def _keep(a: Airframe, own_text: str) -> int:
    """The revision in force with its measurements changed, checked as `check` will read them, kept from the same day."""
    from ownship.questions.airframe_record import keep

    toml = _naming(a.toml, FILE if own_text and not _own_name(a) else "", not own_text)
    if own_text:
        _refuse(toml, a.rows_csv, own_text, _own_name(a) or FILE)
    told = keep(toml, a.effective.isoformat(), a.registration, a.rows_csv, own_text, a.entry)
    return int(told.data["entry"])


def _naming(toml: str, name: str, gone: bool) -> str:
    """The record's text with its book naming the measurements (name), or naming none any more (gone)."""
    document = tomlkit.parse(toml)
    book: Any = document.get("book")
    if name:
        if book is None:
            document["book"] = book = tomlkit.table()
        book["own"] = name
    elif gone and book is not None:
        book.pop("own", None)
        if not book:
            del document["book"]
    return tomlkit.dumps(document) if name or gone else toml


def _refuse(toml: str, rows_csv: str, own_text: str, name: str) -> None:
    """Refuse measurements that do not read, or that the matching would refuse; what the record lacks for a model is no fault."""
    from ownship.aeroplane.reading import read_airframe
    from ownship.calibration.measured import read_measurements
    from ownship.questions.calibrating import rows_to_match
    from ownship.schema import read_toml

    measured = read_measurements(read_toml(own_text, NAME))
    record = read_airframe(toml, "the record")
    _refuse_marks(record, measured)
    folder = _folder(record, rows_csv, own_text)
    try:
        rows_to_match(record, folder, None, None, None)
    except (MissingKey, OutOfRange):
        return
    except OwnshipError as error:
        raise BadInput(str(error).replace(str(folder / name), NAME)) from None


def _refuse_marks(record: AirframeRecord, measured: Measurements) -> None:
    """Refuse a level named by no mark of its tank at once: a log's first fill is not read against the tanks before its second."""
    marks = {t.id: ("full", *(m.name for m in t.marks)) for t in record.tanks}
    for said in (t for f in measured.fills for t in f.tanks):
        if said.name and said.name not in marks.get(said.tank, ("full",)):
            raise BadInput(f"{said.where} level: {said.name!r} is no mark of the {said.tank} tank; write an amount with its "
                           f"unit, or one of: {', '.join(marks.get(said.tank, ('full',)))}.")


def _folder(record: AirframeRecord, rows_csv: str, own_text: str) -> Path:
    from ownship.provenance import digest
    from ownship.questions.places import cache_folder, write_whole

    folder = cache_folder() / f"record-{digest('measuring', repr(record.book), rows_csv, own_text)}"
    folder.mkdir(exist_ok=True)
    book = record.book
    for name, text in ((book.rows, rows_csv), (book.own, own_text)) if book else ():
        if name is not None:
            write_whole(folder / Path(name).name, text.encode("utf-8"))
    return folder


def rows_of_record(a: Airframe) -> Path | None:
    """The folder of the rows and measurements of a record as it is kept; None: the demo's."""
    from ownship.questions.from_record import rows_folder

    return None if a.demo else rows_folder(a.entries, a.registration, a.on)


# ---- what they changed


def changed(a: Airframe) -> Changed:
    """How the model was matched with the measurements, and what they changed; once per content."""
    return _changed(*_content(a))


def charts(a: Airframe) -> dict[str, str]:
    """The drawings of a calibration (SVG by name); none where the record gives no model. Once per content."""
    return dict(_charts(*_content(a)))


def matched_already(a: Airframe) -> bool:
    """Whether the matching of these rows was done before, so that it need not be waited for."""
    return _content(a) in _SEEN


_SEEN: set[tuple[str, str]] = set()


def _content(a: Airframe) -> tuple[str, str]:
    """(file of the record, hash of its day's text, rows and measurements); the file lies beside its rows in the cache."""
    from ownship.provenance import digest
    from ownship.questions.airframe_record import as_toml
    from ownship.questions.places import write_whole
    from ownship.questions.reading import DEMO

    folder = rows_of_record(a)
    if folder is None:
        return DEMO, DEMO
    text = as_toml(a)
    mark = digest(text, a.rows_csv, a.own_text)
    path = folder / f"record-{mark}.toml"
    if not path.exists():
        write_whole(path, text.encode("utf-8"))
    return str(path), mark


@lru_cache(maxsize=8)
def _changed(path: str, mark: str) -> Changed:
    from ownship.questions.calibrating import calibrate
    from ownship.questions.calibration_file import to_json
    from ownship.questions.explaining import explain, matched_lines

    try:
        fitted = calibrate(path)
    except OwnshipError as error:
        return Changed(why=str(error).replace(f"{path}: ", "").replace(path, "the record").replace(f"{Path(path).parent}/", ""))
    words = tuple((heading, tuple(lines)) for heading, lines in explain(path, fitted).items())
    _SEEN.add((path, mark))
    return Changed(_figures(path, fitted), words, tuple(matched_lines(to_json(fitted), None)))


def _figures(path: str, fitted: Fitted) -> tuple[Before, ...]:
    """The key figures before and after; none without measurements that the model learnt from."""
    from ownship.calibration.diagnostics import key_figures
    from ownship.calibration.estimate import draws_of, individual
    from ownship.performance.model import Model, airframe_of
    from ownship.questions.calibrating import calibrations_of, record_of, surrogate_of

    record, _, folder = record_of(path)
    models, plane = calibrations_of(record, folder, fitted), airframe_of(record)
    if models.own is None:
        return ()
    before = key_figures(Model(plane, surrogate_of(plane), draws_of(individual(fitted.book))))
    return tuple(Before(b.name, b.unit, k.value, b, o)
                 for k, b, o in zip(key_figures(models.book), before, key_figures(models.own), strict=True))


@lru_cache(maxsize=4)
def _charts(path: str, mark: str) -> tuple[tuple[str, str], ...]:
    from ownship.questions.calibrating import calibrate
    from ownship.questions.drawing import calibration_charts

    try:
        return tuple(calibration_charts(path, calibrate(path)).items())
    except OwnshipError:
        return ()
