"""The weight ledger asked and written down: the record, the clock and files meet the pure ledger."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ownship.errors import BadInput
from ownship.ownership.entries import AeroplaneRevision, Body, Entry, EquipmentChange, Weighing, standing
from ownship.ownership.ledger import EQUIPMENT, LIGHTEST_KG, ledger, moved, refuse_entry, refuse_unordered
from ownship.ownership.revisions import aeroplanes, read_revision, record_toml, revision_on, revisions
from ownship.papers import weight as paper
from ownship.questions.places import today
from ownship.questions.record import open_record
from ownship.questions.weighing_typed import Typed, change_of, corrected, day_of, noon, target_of, weighing_of
from ownship.units import parse

if TYPE_CHECKING:
    from ownship.ownership.amendment import Amendment
    from ownship.store.records import Records

KINDS: tuple[type[Body], ...] = (AeroplaneRevision, Weighing, EquipmentChange)


@dataclass(frozen=True)
class Told:
    """An answer as plain values and as lines."""

    data: dict[str, Any]
    lines: tuple[str, ...]


# ---- what is asked


def show(aeroplane: str | None = None, on: str | None = None, metric: bool = False, folder: Path | None = None) -> Told:
    """The ledger on a day, today where none is said."""
    day, units = day_of(on, "--on"), paper.units_of(metric)
    with _opened(folder) as records:
        which, entries = _kept(records, aeroplane)
    if not entries:
        return Told(paper.nothing_json(which, day.isoformat()), (paper.NOTHING_KEPT,))
    book = ledger(entries, which, day)
    return Told(paper.ledger_json(book, units), paper.ledger_lines(book, units))


def adverse(aeroplane: str | None = None, on: str | None = None, pilot: str | None = None, metric: bool = False,
            folder: Path | None = None) -> Told:
    """The most adverse loadings of every category; pilot: the lightest who flies it alone (120 lb where none is said)."""
    from ownship.aeroplane.adverse import PILOT_KG

    day, units = day_of(on, "--on"), paper.units_of(metric)
    light = PILOT_KG if pilot is None else parse(pilot, "mass", "--pilot")
    if not parse("50 lb", "mass") <= light <= parse("400 lb", "mass"):
        raise BadInput(f"--pilot: {pilot!r} is not believable; allowed is 50 to 400 lb.")
    with _opened(folder) as records:
        which, entries = _kept(records, aeroplane)
    if not entries:
        return _nothing(which, day, {"categories": []})
    return adverse_of(entries, which, day, light, units)


def adverse_of(entries: tuple[Entry, ...], which: str, day: date, light: float, units: paper.Units) -> Told:
    """The same of entries; light: the pilot's weight, kg."""
    from ownship.aeroplane.adverse import adverse_loading

    book = ledger(entries, which, day)
    named = [] if book.empty is None else [
        (e.category, adverse_loading(book.record, book.empty, e.category, light)) for e in book.record.envelopes]
    known = [(c, x) for c, x in named if x is not None]
    said = _adverse_sentence(known, book.not_known if book.empty is None else (
        "Not known: the record needs an envelope, a seat among its stations and [fuel], and the pilot alone must not be over the "
        "heaviest weight.",))
    words = ("Every total weight, every station from empty to its limit, every split of the fuel from none to full; the pilot of "
             f"{paper.weight_text(light, units)} sits in front. A loading outside is no fault of the aeroplane: it is one to keep "
             "away from, and a placard for it is a licensed person's work.")
    lines = (said, *(line for c, x in known for line in paper.adverse_lines(c, x, units)), *((words,) if known else ()))
    return Told({"schema": 1, "aeroplane": which, "on": day.isoformat(), "sentence": said,
                 "categories": [paper.adverse_json(c, x, units) for c, x in known], "words": [words],
                 "cautions": list(paper.cautions())}, (*lines, *paper.cautions()))


def _adverse_sentence(known: list[tuple[str, Any]], why: tuple[str, ...]) -> str:
    if not known:
        return " ".join(why)
    verdicts = {c: [paper.adverse_verdict(room, sd) for room, sd, _, _ in paper.ends_of(x).values()] for c, x in known}
    outside = [c for c, v in verdicts.items() if "outside limits" in v]
    if outside:
        return f"Some allowed loadings are outside limits (category {', '.join(outside)}): look at every load."
    return "No allowed loading is outside the CG limits" + (
        ", some only just." if any("tight" in v for v in verdicts.values()) else ".")


def amended(aeroplane: str | None = None, on: str | None = None, since: str | None = None,
            folder: Path | None = None) -> tuple[str, Amendment | None]:
    """(registration, the amendment of a day); None where nothing changed, or nothing is kept."""
    which, _, found = _drawn(aeroplane, day_of(on, "--on"), since, folder)
    return which, found


def _drawn(aeroplane: str | None, day: date, since: str | None, folder: Path | None) -> tuple[str, bool, Amendment | None]:
    """(registration, whether anything of it is kept, its amendment of a day or None)."""
    from ownship.ownership.amendment import amendment as drawn

    start = None if since is None else day_of(since, "--since")
    with _opened(folder) as records:
        which, entries = _kept(records, aeroplane)
    return which, bool(entries), drawn(entries, which, day, start) if entries else None


def amendment(aeroplane: str | None = None, on: str | None = None, since: str | None = None, out: str | None = None,
              metric: bool = False, folder: Path | None = None) -> Told:
    """The amendment draft of a day, into a file where one is named (.csv, .pdf, else text); nothing is
    written where nothing changed."""
    from ownship.papers.amendment import amendment_json, amendment_lines, amendment_sentence
    from ownship.questions.places import write_whole

    day, units, target = day_of(on, "--on"), paper.units_of(metric), target_of(out)
    which, any_kept, found = _drawn(aeroplane, day, since, folder)
    if not any_kept:
        return _nothing(which, day, {"items": [], "before": None, "after": None})
    if found is None:
        said = f"Nothing was put in or taken out of {which} since its last weighing or paper, so there is nothing to amend."
        return Told({"schema": 1, "aeroplane": which, "on": day.isoformat(), "sentence": said, "items": [], "before": None,
                     "after": None, "written": None}, (said,))
    lines = amendment_lines(found, units)
    if target is not None:
        write_whole(target, _written(found, units, target.suffix.lower(), lines))
        lines = (amendment_sentence(found, units), f"written: {target}")
    return Told(amendment_json(found, units) | {"written": None if target is None else str(target)}, lines)


def _written(found: Amendment, units: paper.Units, ending: str, lines: tuple[str, ...]) -> bytes:
    """The draft as its file's ending wants it: .pdf, .csv, else text."""
    from ownship.papers.amendment import amendment_csv

    if ending == ".pdf":
        from ownship.papers.record_sheets import amendment_sheet
        from ownship.papers.sheets import sheet_pdf

        return sheet_pdf(amendment_sheet(found, units))
    return (amendment_csv(found, units) if ending == ".csv" else "\n".join(lines) + "\n").encode()


def _nothing(which: str, day: date, more: dict[str, Any]) -> Told:
    return Told({"schema": 1, "aeroplane": which or None, "on": day.isoformat(), "sentence": paper.NOTHING_KEPT, **more,
                 "cautions": list(paper.cautions())}, (paper.NOTHING_KEPT,))


# ---- what is written


def add(typed: Typed, aeroplane: str | None = None, metric: bool = False, folder: Path | None = None) -> Told:
    """Keep something put in or taken out; on the day of a weighing it must be said which came first."""
    return _write(change_of(typed), aeroplane, metric, folder, typed.after is not None)


def weigh(typed: Typed, computed: bool = False, aeroplane: str | None = None, metric: bool = False,
          folder: Path | None = None) -> Told:
    """Keep a weighing, or a computed paper that a licensed person signed."""
    return _write(weighing_of(typed, not computed), aeroplane, metric, folder)


def correct(number: int, typed: Typed, note: str = "", withdraw: str | None = None, metric: bool = False,
            folder: Path | None = None) -> Told:
    """Correct an entry of the ledger by what was typed, or withdraw it and say why; the answer says what moved."""
    with _opened(folder) as records:
        old = records.entry(number)
        if not isinstance(old.body, Weighing | EquipmentChange):
            raise BadInput(f"Entry {number} is of kind {old.body.KIND!r} and no line of the weight ledger; `ownship weight` lists "
                           "those.")
        if withdraw is not None and typed != Typed():
            raise BadInput("An entry is corrected or withdrawn; leave out one of the two.")
        if withdraw is None and typed == Typed():
            raise BadInput("The correction says nothing; give what changes, such as --weight or --arm, or --withdraw and why.")
        body = old.body if withdraw is not None else corrected(old.body, typed)
        entries = _of_kinds(records, old.aeroplane)
        ordered = withdraw is not None or typed.after is not None or body.day == old.body.day
        said = _tried(entries, _next(records, entries, body, old.aeroplane, number, withdraw is not None), metric, ordered)
        entry = records.withdraw(number, withdraw) if withdraw is not None else records.correct(
            number, body, noon(body.day), note=note)
    return said(entry)


def _write(body: Weighing | EquipmentChange, aeroplane: str | None, metric: bool, folder: Path | None,
           ordered: bool = False) -> Told:
    with _opened(folder) as records:
        which, entries = _kept(records, aeroplane)
        if not which:
            raise BadInput("The record knows no aeroplane yet; say which by --aeroplane REGISTRATION, or keep its record first.")
        said = _tried(entries, _next(records, entries, body, which), metric, ordered)
        return said(records.append(body, which, noon(body.day)))


def _next(records: Records, entries: tuple[Entry, ...], body: Body, aeroplane: str, corrects: int | None = None,
          withdrawn: bool = False) -> Entry:
    """The entry as it would be written, numbered past every other."""
    now, highest = datetime.now(UTC), max((e.number for e in entries), default=0)
    return Entry(highest + 1_000_000, "", aeroplane, now, now, body, "owner", corrects, withdrawn)


def _tried(entries: tuple[Entry, ...], new: Entry, metric: bool, ordered: bool) -> Callable[[Entry], Told]:
    """Work the ledger out with the new entry before it is written; refuses what cannot be. Gives the answer's maker.

    ordered: whether it was said, or stands already, which came first on the day of a weighing.
    """
    day, body = today(), new.body
    assert isinstance(body, Weighing | EquipmentChange)
    if not new.withdrawn:
        refuse_entry(body, day)
    new = replace(new, moment=noon(body.day))
    after = (*entries, new)
    book, units = ledger(after, new.aeroplane, day), paper.units_of(metric)
    if not ordered:
        refuse_unordered(book, body)
    if isinstance(body, Weighing) and (body.oil != "full" or body.fuel != "unusable"):
        for line in book.lines:
            if line.number == new.number and line.empty is None:
                raise BadInput(f"{line.words} Nothing was written.")
    if book.empty is not None and book.empty.weight_kg < LIGHTEST_KG:
        left = paper.weight_text(book.empty.weight_kg, units)
        raise BadInput(f"The empty aeroplane would weigh {left}, which is not believable; correct what is taken out.")
    changed, notes = moved(entries, after, new.aeroplane, day), _notes(entries, new, book)

    def told(entry: Entry) -> Told:
        did = "withdraws" if new.withdrawn else "corrects"
        head = f"Entry {entry.number} is kept" if new.corrects is None else f"Entry {entry.number} {did} entry {new.corrects}"
        renumbered = tuple(replace(m, number=entry.number) if m.number == new.number else m for m in changed)
        said = f"{head}. {paper.ledger_sentence(book, units)}"
        return Told({"schema": 1, "aeroplane": new.aeroplane, "entry": entry.number, "corrects": new.corrects, "sentence": said,
                     "moved": [paper.moved_json(m, units) for m in renumbered], "empty": paper.empty_json(book.empty, units),
                     "useful_load": paper.useful_json(book, units), "notes": list(notes), "cautions": list(paper.cautions())},
                    (said, *paper.moved_lines(renumbered, units), *notes, *paper.cautions()))
    return told


def told_of(number: int, metric: bool = False, folder: Path | None = None) -> tuple[str, ...]:
    """What an entry of the ledger moved when it was written, and what must be said of it, in lines; none for another kind."""
    with _opened(folder) as records:
        new = records.entry(number)
        if not isinstance(new.body, Weighing | EquipmentChange):
            return ()
        after = _of_kinds(records, new.aeroplane)
    before = tuple(e for e in after if e.number < number)
    after = (*before, new)
    changed = moved(before, after, new.aeroplane, today())
    return (*paper.moved_lines(changed, paper.units_of(metric)), *_notes(before, new, ledger(after, new.aeroplane, today())))


def _notes(entries: tuple[Entry, ...], new: Entry, book: Any) -> tuple[str, ...]:
    """What must be said of an entry: that a weighing holds it already, that its like stands already."""
    notes = [f"The weighing of a later day, or of the same, holds {x.what!r} already." for x in book.lines
             if x.number == new.number and x.held]
    if isinstance(new.body, Weighing) and not new.withdrawn:
        notes += [f"This weighing is taken to hold {x.what!r} of the same day (entry {x.number}), entered before it; where it came "
                  f"after the scales, say `ownship weight correct {x.number} --after-weighing`." for x in book.lines
                  if x.kind == EQUIPMENT and x.day == new.body.day and x.number is not None and not x.after]
    alike = [e.number for e in standing(entries) if e.body == new.body and e.number != new.corrects]
    if alike and not new.withdrawn:
        notes.append(f"Entry {alike[0]} says the same; both count. Where it is the same thing, withdraw one of the two.")
    return tuple(notes)


# ---- aeroplanes


def keep(file: str, since: str | None = None, aeroplane: str | None = None, folder: Path | None = None) -> Told:
    """Keep an airframe record as a revision effective from a day, today where none is said, with the rows it names."""
    from ownship.questions.calibrating import record_of

    day, which = day_of(since, "--from"), None if aeroplane is None else _registration(aeroplane)
    record, text, beside = record_of(file)
    text, rows, own = _with_rows(record, text, beside)
    return keep_text(text, day, which or "", rows, own, file, folder=folder)


def keep_text(text: str, day: date, which: str = "", rows: str = "", own: str = "", name: str = "the record",
              base: int | None = None, folder: Path | None = None) -> Told:
    """Keep a record's text as a revision effective from a day, with its rows and own measurements.

    which "": the aeroplane it names; name: what a refusal calls it; base: the entry of the revision it was changed from, refused
    where another is in force on that day by now.
    """
    revision, read = read_revision(text, day, which, rows, own)
    named = _registration(read.identity.registration)
    if named != read.identity.registration:
        raise BadInput(f"{name}: registration {read.identity.registration!r} is kept in capitals; write {named!r} there.")
    with _opened(folder) as records:
        _, entries = _kept(records, named)
        after = (*entries, replace(_next(records, entries, revision, named), moment=noon(day)))
        book, changed = ledger(after, named, today()), moved(entries, after, named, today()) if entries else ()
        entry = records.append(revision, named, noon(day), check=lambda now: _refuse_other_base(now, named, day, base))
    said = f"Entry {entry.number} keeps the record of {named} from {day}. {paper.ledger_sentence(book, paper.INCH_POUND)}"
    return Told({"schema": 1, "aeroplane": named, "entry": entry.number, "effective": day.isoformat(), "sentence": said,
                 "moved": [paper.moved_json(m, paper.INCH_POUND) for m in changed], "warnings": list(book.warnings)},
                (said, *(paper.moved_lines(changed, paper.INCH_POUND) if changed else ()), *book.warnings))


def _refuse_other_base(entries: tuple[Entry, ...], which: str, day: date, base: int | None) -> None:
    """Refuse a change made from a revision that is not the one in force on its day: what another says would be lost."""
    found = [e.number for e, r in revisions(entries, which) if r.effective <= day]
    if base is not None and found and found[-1] != base:
        raise BadInput(f"On {day} the record of entry {found[-1]} is in force, and this form shows that of entry {base}; load the "
                       "form of that day and change it there.")


def _with_rows(record: Any, text: str, beside: Path | None) -> tuple[str, str, str]:
    """The text with its rows named without a folder, and the rows and own measurements themselves."""
    import tomlkit

    from ownship.questions.reading import demo_text, read_text

    found = {"rows": "", "own": ""}
    document = tomlkit.parse(text)
    for key in found:
        name = None if record.book is None else getattr(record.book, key)
        if name is not None:
            found[key] = demo_text(name) if beside is None else read_text(beside / name)
            book: Any = document["book"]
            book[key] = Path(name).name
    return tomlkit.dumps(document), found["rows"], found["own"]


def record(aeroplane: str | None = None, on: str | None = None, out: str | None = None, folder: Path | None = None) -> Told:
    """What the aeroplane was on a day, as TOML with the ledger in it, into a file where one is named, with the rows it names
    beside it; and its revisions."""
    from ownship.questions.places import write_whole

    day, target = day_of(on, "--on"), target_of(out)
    with _opened(folder) as records:
        which, entries = _kept(records, aeroplane)
        every = aeroplanes(tuple(e for kind in KINDS for e in records.all(kind)))
    if not revisions(entries, which):
        said = "No airframe record is kept yet; keep one by `ownship weight keep AEROPLANE.toml --from DAY`."
        return Told({"schema": 1, "aeroplane": which or None, "on": day.isoformat(), "sentence": said, "aeroplanes": list(every),
                     "revisions": [], "toml": None, "written": None}, (said,))
    text, found = record_toml(entries, which, day), revision_on(entries, which, day)
    assert found is not None
    said = f"{which} on {day}: the record effective from {found.effective}, with the ledger up to the day."
    beside = {} if target is None else _beside(found, target)
    for file, data in beside.items():
        write_whole(file, data)
    if target is not None:
        write_whole(target, text.encode())
    told = {"schema": 1, "aeroplane": which, "on": day.isoformat(), "sentence": said, "aeroplanes": list(every),
            "revisions": [{"entry": e.number, "effective": r.effective.isoformat()} for e, r in revisions(entries, which)],
            "toml": text, "written": None if target is None else str(target), "written_beside": [str(f) for f in beside]}
    return Told(told, (text.rstrip(),) if target is None else (said, f"written: {', '.join(map(str, (target, *beside)))}"))


def _beside(found: AeroplaneRevision, target: Path) -> dict[Path, bytes]:
    """The rows and own measurements that a revision names, by the file beside the target; another file there is refused."""
    import tomllib

    book = tomllib.loads(found.toml).get("book", {})
    kept = {"rows": found.rows_csv, "own": found.own_text}
    files = {target.parent / Path(book[key]).name: text.encode() for key, text in kept.items() if text and key in book}
    for file, data in files.items():
        if file == target or (file.exists() and (not file.is_file() or file.read_bytes() != data)):
            raise BadInput(f"--out: {file} is there already and holds something else than the rows that belong to the record; "
                           "name a file in another folder.")
    return files


# ---- the record and the words


@contextmanager
def _opened(folder: Path | None) -> Iterator[Records]:
    records = open_record(folder)
    try:
        yield records
    finally:
        records.close()


def _kept(records: Records, asked: str | None) -> tuple[str, tuple[Entry, ...]]:
    """(aeroplane, its entries of the ledger and revisions): the one asked for, else the only one; "" where there is none."""
    if asked is not None:
        which = _registration(asked)
        return which, _of_kinds(records, which)
    known = aeroplanes(tuple(e for kind in KINDS for e in records.standing(kind)))
    if len(known) > 1:
        raise BadInput(f"The record holds {', '.join(known)}; say which by --aeroplane.")
    return (known[0], _of_kinds(records, known[0])) if known else ("", ())


def _of_kinds(records: Records, which: str) -> tuple[Entry, ...]:
    return tuple(e for kind in KINDS for e in records.all(kind, aeroplane=which))


def _registration(text: str) -> str:
    from ownship.questions.maintaining import registration

    return registration(text)
