"""The whole record as plain files: one CSV per kind of entry, and a manifest; and back, entry by entry the same.

A text field stands as it is; dates, moments and decimals as text; what is not noted as an empty cell; lists and tables as
JSON. All in SI, the unit at the end of the column's name.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import tomllib
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

import tomlkit

from ownship.errors import BadInput, UnreadableFile
from ownship.ownership.entries import Entry
from ownship.store.codec import KINDS, LARGEST_BODY, Codec, codec_of, field_codecs, moment_text, plain_body, read_moment
from ownship.store.tables import SCHEMA

FORMAT = 1
MANIFEST = "record.toml"
LEAD = ("entry_number", "entry_uid", "entry_aeroplane", "entry_moment", "entry_recorded", "entry_corrects", "entry_withdrawn",
        "entry_source", "entry_note")  # the prefix keeps them apart from the fields of a body, which has notes of its own


def entries_hash(entries: Iterable[Entry]) -> str:
    """SHA-256 over every entry, note included, in the order of numbers: equal where two records say the same."""
    h = hashlib.sha256()
    for e in sorted(entries, key=lambda e: e.number):
        plain = [*_lead(e), e.body.KIND, codec_of(type(e.body)).write(e.body)]
        h.update(json.dumps(plain, ensure_ascii=False).encode() + b"\n")
    return h.hexdigest()


def exported(entries: Iterable[Entry], made: datetime) -> dict[str, bytes]:
    """Files by name: a CSV for each kind that has entries, and record.toml with their hashes and counts."""
    every = sorted(entries, key=lambda e: e.number)
    files = {file_of(kind): _csv(kind, of) for kind in KINDS if (of := [e for e in every if kind == e.body.KIND])}
    manifest = {"program": "Ownship", "format": FORMAT, "schema": SCHEMA, "made": made.isoformat(timespec="seconds"),
                "entries": len(every), "contents": entries_hash(every),
                "files": {name: {"sha256": hashlib.sha256(data).hexdigest()} for name, data in files.items()}}
    return {**files, MANIFEST: tomlkit.dumps(manifest).encode()}


def file_of(kind: str) -> str:
    """The file name of a kind: "fuel seen" is in fuel-seen.csv."""
    return f"{kind.replace(' ', '-')}.csv"


def _lead(e: Entry) -> list[str]:
    return [str(e.number), e.uid, e.aeroplane, moment_text(e.moment), moment_text(e.recorded),
            "" if e.corrects is None else str(e.corrects), "true" if e.withdrawn else "false", e.source, e.note]


def _csv(kind: str, entries: list[Entry]) -> bytes:
    codecs = field_codecs(KINDS[kind])
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")  # RFC 4180; texts with line ends of either sort are quoted
    writer.writerow([*LEAD, *codecs])
    for e in entries:
        plain = codec_of(type(e.body)).write(e.body)
        writer.writerow([*_lead(e), *(_cell(plain[name], codec.as_text) for name, codec in codecs.items())])
    return out.getvalue().encode("utf-8")


def _cell(plain: Any, as_text: bool) -> str:
    if plain is None:
        return ""
    return plain if as_text else json.dumps(plain, ensure_ascii=False)


# ---- reading


def imported(files: Mapping[str, bytes]) -> tuple[Entry, ...]:
    """The entries of an export, by number; refused where a file is missing, changed, or a cell is not what it must be."""
    if MANIFEST not in files:
        raise UnreadableFile(f"The folder holds no {MANIFEST}, so it is no export of Ownship; name the folder of an export.")
    named, count = _manifest(files[MANIFEST])
    found: list[Entry] = []
    for kind in KINDS:
        if file_of(kind) in named:
            found += _entries(kind, _unchanged(file_of(kind), files, named[file_of(kind)]))
    found.sort(key=lambda e: e.number)
    _refuse_parts(found, count)
    return tuple(found)


def _manifest(data: bytes) -> tuple[dict[str, str], int]:
    try:
        m = tomllib.loads(data.decode("utf-8"))
        format_, schema = int(m["format"]), int(m["schema"])
        if format_ > FORMAT or schema > SCHEMA:
            raise UnreadableFile(f"The export was written by a newer Ownship (format {format_}, schema {schema}; this one reads up "
                                 f"to {FORMAT} and {SCHEMA}); use the newer program.")
        named = {str(name): str(told["sha256"]) for name, told in m["files"].items()}
        if unknown := sorted(named.keys() - {file_of(k) for k in KINDS}):
            raise UnreadableFile(f"{MANIFEST} names {unknown[0]}, which is no kind of entry; a newer program may have written it.")
        return named, int(m["entries"])
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, KeyError, TypeError, ValueError, AttributeError):
        raise UnreadableFile(f"{MANIFEST} is not whole; export again.") from None


def _unchanged(name: str, files: Mapping[str, bytes], sha256: str) -> bytes:
    if name not in files:
        raise UnreadableFile(f"{name} is missing from the folder, and {MANIFEST} names it; export again.")
    if hashlib.sha256(files[name]).hexdigest() != sha256:
        raise UnreadableFile(f"{name} was changed since the export ({MANIFEST} has another hash); export again, and correct "
                             "entries in the program.")
    return files[name]


def _entries(kind: str, data: bytes) -> list[Entry]:
    csv.field_size_limit(2 * LARGEST_BODY)
    codecs = field_codecs(KINDS[kind])
    try:
        rows = list(csv.reader(io.StringIO(data.decode("utf-8"), newline=""), strict=True))
    except (csv.Error, UnicodeDecodeError) as error:
        raise UnreadableFile(f"{file_of(kind)} is no CSV in UTF-8 ({error}); export again.") from None
    if not rows or tuple(rows[0][:len(LEAD)]) != LEAD or not set(rows[0][len(LEAD):]) <= codecs.keys():
        raise UnreadableFile(f"{file_of(kind)} does not have the columns {', '.join((*LEAD, *codecs))}; export again.")
    return [_entry(kind, codecs, rows[0], row, i) for i, row in enumerate(rows[1:], 1)]


def _entry(kind: str, codecs: dict[str, Codec], header: list[str], row: list[str], count: int) -> Entry:
    try:
        cell = dict(zip(header, row, strict=True))
        plain = {name: _plain(cell[name], codecs[name].as_text, codecs[name].read) for name in header[len(LEAD):]}
        number, uid, aeroplane, moment, recorded, corrects, withdrawn, source, note = row[:len(LEAD)]
        return Entry(int(number), uid, aeroplane, read_moment(moment), read_moment(recorded), plain_body(kind, plain), source,
                     int(corrects) if corrects else None, {"true": True, "false": False}[withdrawn], note)
    except (BadInput, ValueError, KeyError) as error:
        raise UnreadableFile(f"{file_of(kind)}, entry {count}: {error} Export again.") from None


def _plain(cell: str, as_text: bool, read: Any) -> Any:
    """The plain value of a cell; an empty one is None, or empty text where the field is text."""
    if as_text:
        return cell if cell or _takes_text(read) else None
    return json.loads(cell) if cell else None


def _takes_text(read: Any) -> bool:
    try:
        return read("") == ""
    except BadInput:
        return False


def _refuse_parts(entries: list[Entry], count: int) -> None:
    """Numbers and uids once, every correction after what it corrects, as many as the manifest says."""
    numbers = {e.number for e in entries}
    if not len(entries) == len(numbers) == len({e.uid for e in entries}) == count:
        raise UnreadableFile(f"The export holds {len(entries)} entries with {len(numbers)} numbers, and {MANIFEST} says {count}; "
                             "export again.")
    targets = [e.corrects for e in entries if e.corrects is not None]
    if any(e.number < 1 or (e.corrects is not None and not (e.corrects in numbers and e.corrects < e.number)) for e in entries) or (
            len(targets) != len(set(targets))):
        raise UnreadableFile("An entry of the export corrects one that is not there or later, or is corrected twice; export again.")
