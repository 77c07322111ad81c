"""A log as CSV: bytes in any usual encoding to flights with their lines, and flights to the CSV that reads back the same."""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from ownship.errors import BadInput, UnreadableFile
from ownship.ownership.cell_times import DATE_ORDERS, NOWHERE, Meaning, Places, date_order
from ownship.ownership.entries import Flight
from ownship.ownership.flight_cells import COLUMNS, FIELDS, cells_of, flight_of
from ownship.ownership.flights import Placed
from ownship.words.readable import refuse_hidden

MOST_ROWS = 100_000  # more flights than anybody makes in a lifetime
MOST_BYTES = 60_000_000
IGNORED = ("number",)
SHOWN = 3
UNSAID = Meaning()
DATED = ("date", "off_blocks", "take_off", "landing", "on_blocks")
_BOMS = ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"))


@dataclass(frozen=True)
class Mapped:
    """How a file is read: its columns to our fields, what its ambiguous cells mean, aeroplane and pilot where no column says."""

    fields: Mapping[str, str]
    meaning: Meaning = UNSAID
    aeroplane: str = ""
    pilot: str = ""


@dataclass(frozen=True)
class LogRead:
    """A log that was read: flights with their lines, columns nobody reads, what is to be told with how often, the order of its
    dates, and the pilot taken where no column says one."""

    flights: tuple[Placed, ...]
    left_out: tuple[str, ...]
    told: tuple[tuple[str, int], ...]
    dates: str
    pilot: str = ""


# ---- bytes to rows


def decoded(data: bytes, name: str) -> str:
    """The text of UTF-8 (with or without BOM), UTF-16 or Windows-1252; UnreadableFile where it is none of these."""
    if len(data) > MOST_BYTES:
        raise UnreadableFile(f"{name} is {len(data) / 1e6:.0f} MB long, and at most {MOST_BYTES / 1e6:.0f} MB are read; split it.")
    for bom, encoding in _BOMS:
        if data.startswith(bom):
            return _text(data[len(bom):], encoding, name)
    if not data.strip():
        raise UnreadableFile(f"{name} is empty; it should hold a line of column names and a line a flight.")
    if b"\0" in data:
        head = data[:2000]
        return _text(data, "utf-16-le" if head[1::2].count(0) >= head[::2].count(0) else "utf-16-be", name)
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return _text(data, "cp1252", name)


def _text(data: bytes, encoding: str, name: str) -> str:
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        text = "\0"
    if "\0" in text:
        raise UnreadableFile(f"{name} is no text in UTF-8, UTF-16 or Windows-1252; save it as CSV in UTF-8.")
    return text


def rows_of(text: str, name: str) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """(column names, rows with their line); comma, semicolon or tab, whichever the first line holds most of.

    Refused in a sentence: no rows, a column named twice, more than 100,000 rows, a row longer than its header, quotes that
    never close.
    """
    first = text.lstrip("\r\n").split("\n", 1)[0]
    delimiter = max(",;\t", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows: list[tuple[int, list[str]]] = []
    header: list[str] = []
    try:
        for row in reader:
            if not any(c.strip() for c in row):
                continue
            if not header:
                header = [c.strip() for c in row]
                continue
            rows.append((reader.line_num, row))
            if len(rows) > MOST_ROWS:
                raise UnreadableFile(f"{name} holds more than {MOST_ROWS:,} rows, and nothing was read; split it.")
    except csv.Error as error:
        raise UnreadableFile(f"{name} line {reader.line_num}: no readable CSV ({error}); correct its quotes.") from None
    for column in header:
        refuse_hidden(column, f"{name}: the name of a column")
    _refuse_shape(header, rows, name)
    return header, rows


def _refuse_shape(header: list[str], rows: list[tuple[int, list[str]]], name: str) -> None:
    twice = next((c for c in header if c and header.count(c) > 1), None)
    if twice is not None:
        raise BadInput(f"{name}: the column {twice!r} stands twice; name each column once.")
    if not rows:
        raise UnreadableFile(f"{name} holds no flight; it should hold a line of column names and a line a flight.")
    for line, row in rows:
        if len(row) > len(header) and any(c.strip() for c in row[len(header):]):
            raise BadInput(f"{name} line {line}: {len(row)} cells and {len(header)} columns; quote the cell that holds a comma.")


# ---- mapping


def mapping_of(words: Iterable[str]) -> dict[str, str]:
    """{their column: our field} of "their column=our field"; BadInput for a field that does not exist."""
    found = {}
    for word in words:
        theirs, equals, ours = word.rpartition("=")
        if not equals or not theirs.strip():
            raise BadInput(f"--map: {word!r} is no mapping; write \"their column=our field\".")
        if ours.strip() not in FIELDS:
            raise BadInput(f"--map: {ours.strip()!r} is no field of the log; fields are: {', '.join(FIELDS)}.")
        found[theirs.strip()] = ours.strip()
    return found


def fields_of(header: list[str], chosen: Mapping[str, str], name: str, aeroplane: str = "") -> tuple[dict[str, str], list[str]]:
    """(their column -> our field, columns left out): what was chosen, else columns that bear our names."""
    found = {c: chosen.get(c, c) for c in header if chosen.get(c, c) in FIELDS}
    ours = list(found.values())
    twice = next((f for f in ours if ours.count(f) > 1), None)
    if twice is not None:
        named = ", ".join(repr(c) for c, f in found.items() if f == twice)
        raise BadInput(f"{name}: the columns {named} are both mapped to {twice}; map one of them elsewhere.")
    lacking = [f for f in ("off_blocks", "origin", "destination") if f not in ours]
    lacking += [] if {"on_blocks", "flight_time"} & set(ours) else ["on_blocks (or flight_time)"]
    lacking += [] if "aeroplane" in ours or aeroplane else ["aeroplane (or --aeroplane)"]
    if lacking:
        raise BadInput(f"{name}: no column is mapped to {', '.join(lacking)}; its columns are {', '.join(header)[:600]}: say --map "
                       "\"their column=our field\" for each, once; it is remembered.")
    return found, [c for c in header if c and c not in found and c not in IGNORED]


# ---- flights


def read_log(text: str, name: str, mapped: Mapped, places: Places = NOWHERE) -> LogRead:
    """Every flight of a CSV, or one BadInput that names the first three lines that cannot be read.

    The order of dates is taken from the column where some row leaves only one; lines are those of the file.
    """
    header, rows = rows_of(text, name)
    fields, left_out = fields_of(header, mapped.fields, name, mapped.aeroplane)
    pilot = mapped.pilot if "pilot" not in fields.values() else ""
    default = {"pilot": pilot} if pilot else {}
    cells = [(line, default | {fields[c]: v for c, v in zip(header, row, strict=False) if c in fields}) for line, row in rows]
    meaning = Meaning(mapped.meaning.zone, mapped.meaning.dates or _order(cells, name))
    found, wrong, told = [], [], dict[str, int]()
    for line, row_cells in cells:
        try:
            aeroplane, flight, words = flight_of(row_cells, meaning, places)
            found.append(Placed(f"line {line}", _named(aeroplane or mapped.aeroplane), flight))
        except (BadInput, ValueError, OverflowError) as error:
            wrong.append(f"line {line}: {error}")
        else:
            told |= {w: told.get(w, 0) + 1 for w in words}
    if wrong:
        more = f" And {len(wrong) - SHOWN:,} more lines." if len(wrong) > SHOWN else ""
        raise BadInput(f"{name}: nothing was written. {' '.join(wrong[:SHOWN])}{more}")
    return LogRead(tuple(found), tuple(left_out), tuple(sorted(told.items())), meaning.dates, pilot)


def _named(aeroplane: str) -> str:
    if not aeroplane.strip():
        raise BadInput("the aeroplane is missing; add its registration.")
    return aeroplane.strip().upper()


def _order(cells: list[tuple[int, dict[str, str]]], name: str) -> str:
    try:
        return date_order([row[f] for _, row in cells for f in DATED if f in row])
    except BadInput as error:
        raise BadInput(f"{name}: {error}") from None


def refuse_order(order: str) -> None:
    """Refuse an order of dates that does not exist."""
    if order and order not in DATE_ORDERS:
        raise BadInput(f"--dates: {order!r} is no order of dates; say dmy (day first) or mdy (month first).")


def header_line() -> str:
    """The first line of every log that `written` gives."""
    return ",".join((*IGNORED, *COLUMNS)) + "\r\n"


def written(flights: Iterable[tuple[int, str, Flight]]) -> str:
    """A CSV (RFC 4180, UTF-8) of (number, aeroplane, flight) that `read_log` reads to the same flights; the number is told only."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    out.write(header_line())
    for number, aeroplane, f in flights:
        writer.writerow([str(number), *cells_of(aeroplane, f)])
    return out.getvalue()
