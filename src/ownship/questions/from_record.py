"""What the record knows of a flight: which aeroplane, as it was on the day, fuel aboard, defects, open items, recency.

docs/methods/log.md. A check by the record takes what the record keeps; what it does not keep stands under "not checked".
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import UTC, date, datetime
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from ownship.errors import BadInput, OwnshipError
from ownship.questions.reading import read_text

if TYPE_CHECKING:
    from ownship.aeroplane.description import AirframeRecord, Tank
    from ownship.flight.answer import Assessment
    from ownship.flight.situation import Situation
    from ownship.ownership.entries import Entry
    from ownship.ownership.fuel_aboard import FuelAboard
    from ownship.questions.record_margins import RecordSituation
    from ownship.store.records import Records

LAST_REQUEST = "check.request"
OWN_KEYS = ("aeroplane", "pilot")  # keys of a request that only the record can answer
REGISTRATION = re.compile(r"[A-Z0-9][A-Z0-9-]{1,9}")
NO_AEROPLANE = ("The record keeps no aeroplane yet; name its file beside the flight (`ownship check AEROPLANE.toml FLIGHT.toml`), "
                "or keep it by `ownship weight keep AEROPLANE.toml`.")
REPLACED = "Recency, open defects and maintenance"


# ---- the aeroplane


def registration_of(text: str) -> str:
    """A registration as it is kept: upper case; BadInput for what is none."""
    found = text.strip().upper()
    if not REGISTRATION.fullmatch(found):
        raise BadInput(f"aeroplane: {text!r} is no registration; write letters, figures and dashes, as N0160T.")
    return found


def kept_aeroplanes(entries: Iterable[Entry]) -> tuple[str, ...]:
    """Registrations whose airframe record is kept, in order of their first entry."""
    from ownship.ownership.entries import AeroplaneRevision, of_kind

    return tuple(dict.fromkeys(e.aeroplane for e, _ in of_kind(entries, AeroplaneRevision)))


def chosen(entries: Iterable[Entry], asked: str | None) -> str:
    """The aeroplane that is meant: the one asked for, else the only one the record knows (kept, else flown)."""
    from ownship.ownership.entries import Flight, of_kind

    every = tuple(entries)
    if asked:
        found = registration_of(asked)  # with or without dashes it is one aeroplane
        return next((k for k in kept_aeroplanes(every) if k.replace("-", "") == found.replace("-", "")), found)
    known = kept_aeroplanes(every) or tuple(dict.fromkeys(e.aeroplane for e, _ in of_kind(every, Flight) if e.aeroplane))
    if len(known) == 1:
        return known[0]
    if not known:
        raise BadInput("The record knows no aeroplane yet; say --aeroplane REGISTRATION.")
    raise BadInput(f"The record knows {len(known)} aeroplanes ({', '.join(known[:12])}); say which by --aeroplane REGISTRATION.")


@lru_cache(maxsize=16)
def _read(toml: str, registration: str) -> AirframeRecord:
    from ownship.aeroplane.reading import read_airframe

    return read_airframe(toml, f"{registration} of the record")


def tanks_by_day(entries: Iterable[Entry], registration: str) -> Callable[[date], tuple[Tank, ...]]:
    """The tanks of an aeroplane on any day: those of the revision in force; none where none is."""
    from ownship.ownership.revisions import revisions

    every = [(r.effective, r.toml) for _, r in revisions(entries, registration)]

    def on(day: date) -> tuple[Tank, ...]:
        past = [toml for effective, toml in every if effective <= day]
        return _read(past[-1], registration).tanks if past else ()

    return on


def tanks_on(entries: Iterable[Entry], registration: str, day: date) -> tuple[Tank, ...]:
    """The tanks on a day; none where the record does not say."""
    return tanks_by_day(entries, registration)(day)


def needed_tanks(entries: Iterable[Entry], registration: str, day: date) -> tuple[Tank, ...]:
    """The tanks on a day; BadInput where no airframe record with tanks is kept."""
    found = tanks_on(entries, registration, day)
    if not found:
        raise BadInput(f"The record keeps no tanks of {registration} on {day}: fuel needs the airframe record with its [[tanks]]; "
                       "keep it by `ownship weight keep AEROPLANE.toml`.")
    return found


# ---- fuel


def aboard(entries: Iterable[Entry], registration: str, at: datetime) -> FuelAboard:
    """Fuel on board of an aeroplane at a moment, by its tanks on that day."""
    from ownship.aeroplane.weighing import usual_errors
    from ownship.ownership.fuel_aboard import fuel_aboard

    every = tuple(entries)
    return fuel_aboard(every, registration, needed_tanks(every, registration, at.date()), at, usual_errors())


def fuel_tables(found: FuelAboard, tanks: Iterable[Tank]) -> str:
    """The [fuel] tables of a request for the tanks whose level is known, as TOML; each error at least as wide as it is."""
    from ownship.units import from_si

    lines: list[str] = []
    by = {t.id: t for t in tanks}
    for t in found.tanks:
        known_by = "" if t.level is None else _known_by(by[t.tank], t.level.usable_m3, t.level.sd_m3, t.level.known_by)
        if t.level is not None and known_by:
            amount = float(from_si(min(max(t.level.usable_m3, 0.0), t.full_m3), "usgal"))
            lines += ["", f"[fuel.{json.dumps(t.tank)}]", f'on_board = "{amount!r} usgal"', 'counts = "usable"',
                      f'known_by = "{known_by}"', f'source = "the record: {t.words}"']
    return "\n".join(lines) + ("\n" if lines else "")


def _known_by(tank: Tank, usable_m3: float, sd_m3: float, known_by: str) -> str:
    """The word of a request whose error is that of the level, or the next wider one; "" where none is as wide."""
    from ownship.aeroplane.weighing import usual_errors
    from ownship.flight.request import KNOWN_BY
    from ownship.ownership.fuel_aboard import level_sd_m3

    errors = usual_errors()
    wide = {k: level_sd_m3(tank, usable_m3, k, errors) for k in KNOWN_BY}
    if known_by in wide and wide[known_by] >= sd_m3 * (1 - 1e-9):
        return known_by
    return min((k for k in wide if wide[k] >= sd_m3 * (1 - 1e-9)), key=lambda k: wide[k], default="")


# ---- the flight


def situation_from_record(flight: str | None, aeroplane: str | None = None, folder: Path | None = None) -> RecordSituation:
    """The situation of a request by the record; flight None: the last one asked so.

    The request may hold `aeroplane` and `pilot` at its top; without [fuel] the fuel aboard now is taken from the record,
    where it is known. The request is kept as the last one.
    """
    from ownship.ownership.entries import standing
    from ownship.ownership.revisions import record_toml
    from ownship.questions.check import situation
    from ownship.questions.fills_of_record import on_fills
    from ownship.questions.record import open_record
    from ownship.questions.record_margins import by_record

    records = open_record(folder)
    try:
        entries = standing(records.all())
        text, name, was = _request(entries, flight)
        typed = _parsed(text, name)
        registration = _meant(entries, aeroplane or typed.get("aeroplane") or was)
        airframe = record_toml(entries, registration, _day(typed))
        asked = without_own_keys(text) + _fuel_text(entries, registration, typed)
        rows = rows_folder(entries, registration, _day(typed))
        found = situation(airframe, asked, rows, name, f"{registration} of the record")
        _keep(records, entries, text, name, registration)
        return on_fills(by_record(found, registration, str(typed.get("pilot", ""))), entries)
    finally:
        records.close()


def is_request(path: str) -> bool:
    """Whether a file is a flight request rather than an airframe record: it says where from and where to."""
    return {"from", "to"} <= _parsed(read_text(path), path).keys()


def own_keys(text: str, name: str) -> dict[str, str]:
    """The keys of a request that only the record answers, as typed."""
    return {k: str(v) for k, v in _parsed(text, name).items() if k in OWN_KEYS}


def _parsed(text: str, name: str) -> dict[str, Any]:
    from ownship.schema import read_toml

    return read_toml(text, name).data


def _request(entries: tuple[Entry, ...], flight: str | None) -> tuple[str, str, str]:
    """(text, name, aeroplane) of the request: a file, or the last one asked."""
    if flight is not None:
        return read_text(flight), flight, ""
    kept = setting(entries, LAST_REQUEST)
    if kept is None:
        raise BadInput("No flight was checked by the record yet; write `ownship check FLIGHT.toml`, and `ownship check` alone "
                       "repeats it.")
    return str(kept["text"]), str(kept["name"]), str(kept["aeroplane"])


def setting(entries: Iterable[Entry], name: str) -> dict[str, Any] | None:
    """The latest value of a setting that holds a JSON table; None: never set."""
    from ownship.ownership.entries import Setting, of_kind

    found = [(e.number, s.value) for e, s in of_kind(entries, Setting) if s.name == name]
    try:
        value = json.loads(max(found)[1]) if found else None
    except ValueError:
        return None
    return value if isinstance(value, dict) else None


def _meant(entries: tuple[Entry, ...], asked: object) -> str:
    known = kept_aeroplanes(entries)
    if not known:
        raise BadInput(NO_AEROPLANE)
    if not asked:
        return chosen(entries, None)
    found = chosen(entries, str(asked))  # with or without dashes
    if found not in known:
        raise BadInput(f"The record keeps no aeroplane {found}; it keeps {', '.join(known)}.")
    return found


def _day(typed: dict[str, Any]) -> date:
    """The day of departure as it is typed; today where the request does not say (it is refused later)."""
    match = re.match(r"\d{4}-\d{2}-\d{2}", str(typed.get("departure", "")))
    try:
        return date.fromisoformat(match[0]) if match else datetime.now(UTC).date()
    except ValueError:
        return datetime.now(UTC).date()


def without_own_keys(text: str) -> str:
    """The request without the keys that only the record answers; the lines keep their numbers."""
    lines, top = text.splitlines(), True
    for i, line in enumerate(lines):
        top = top and not re.match(r"\s*\[", line)
        if top and re.match(rf"\s*({'|'.join(OWN_KEYS)})\s*=", line):
            lines[i] = ""
    return "\n".join(lines) + "\n"


def _fuel_text(entries: tuple[Entry, ...], registration: str, typed: dict[str, Any]) -> str:
    """[fuel] tables from the record where the request has none and the record knows a tank."""
    now = datetime.now(UTC)
    if "fuel" in typed or not (tanks := tanks_on(entries, registration, now.date())):
        return ""
    return fuel_tables(aboard(entries, registration, now), tanks)


def rows_folder(entries: tuple[Entry, ...], registration: str, day: date) -> Path:
    """The folder of the revision's rows and own measurements, written into the cache under the names its record gives."""
    from ownship.ownership.revisions import revision_on
    from ownship.provenance import digest
    from ownship.questions.places import cache_folder, write_whole

    revision = revision_on(entries, registration, day)
    assert revision is not None  # record_toml refuses a day before the first
    book = _read(revision.toml, registration).book
    folder = cache_folder() / f"record-{digest(revision.toml, revision.rows_csv, revision.own_text)}"
    folder.mkdir(exist_ok=True)
    for name, text in ((book.rows, revision.rows_csv), (book.own, revision.own_text)) if book else ():
        if name is None:
            continue
        if Path(name).name != name:
            raise BadInput(f"The record of {registration} names its rows {name!r}; a kept record names a file without a folder.")
        if not text:
            raise BadInput(f"The record of {registration} names {name}, which was not kept with it; keep the aeroplane again with "
                           "that file.")
        if not (folder / name).exists():
            write_whole(folder / name, text.encode("utf-8"))
    return folder


def _keep(records: Records, entries: tuple[Entry, ...], text: str, name: str, registration: str) -> None:
    """Keep the request as the last one, where it is another than before; a full disk spoils no answer."""
    from ownship.ownership.entries import MAXIMUM_TEXT, Setting

    value = json.dumps({"name": name, "text": text, "aeroplane": registration}, ensure_ascii=False)
    if len(value) <= MAXIMUM_TEXT and setting(entries, LAST_REQUEST) != json.loads(value):
        try:
            records.append(Setting(LAST_REQUEST, value))
        except OwnshipError:
            return


# ---- what the record adds to an assessment


def standing_entries(folder: Path | None = None) -> tuple[Entry, ...]:
    """The entries of the record that stand, read once."""
    from ownship.ownership.entries import standing
    from ownship.questions.record import open_record

    records = open_record(folder)
    try:
        return standing(records.all())
    finally:
        records.close()


def with_record(s: Situation, answer: Assessment, folder: Path | None = None) -> Assessment:
    """An assessment of `situation_from_record` with defects, open items and recency among its limits, judged anew; any other
    assessment as it is."""
    from ownship.questions.record_margins import RecordSituation

    return _with_entries(s, answer, standing_entries(folder)) if isinstance(s, RecordSituation) else answer


def judge_of(s: Situation, folder: Path | None = None) -> Callable[[Situation], Assessment]:
    """What judges a situation and others made from it: `assess`, with what the record knows where it is by the record."""
    from ownship.flight.assessment import assess
    from ownship.questions.record_margins import RecordSituation

    if not isinstance(s, RecordSituation):
        return assess
    entries = standing_entries(folder)
    return lambda x: _with_entries(cast("RecordSituation", x), assess(x), entries)


def record_words(s: Situation, *, judged: bool) -> tuple[str, ...]:
    """What the record says beside an answer: what it does not check or know and, where the answer has not judged it, its limits."""
    from ownship.questions.record_margins import RecordSituation, margins_of
    from ownship.words.verdicts import WITHIN

    if not isinstance(s, RecordSituation):
        return ()
    entries = standing_entries()
    margins, unchecked = margins_of(s, entries)
    limits = [f"By the record, {m.verdict}: {m.name}: {m.words}" for m in margins if m.verdict != WITHIN and not judged]
    fills = (s.fills_words,) if s.fills_words else ()
    return (*limits, *fills, *(f"Not checked: {x}" for x in unchecked), *_fuel_words(s, entries)[0])


def _with_entries(s: RecordSituation, answer: Assessment, entries: tuple[Entry, ...]) -> Assessment:
    from ownship.flight import margins as rule
    from ownship.flight.sentence import sentence
    from ownship.questions.record_margins import margins_of
    from ownship.words.cautions import cautions_for
    from ownship.words.verdicts import NOT_KNOWN, worst

    new, unchecked = margins_of(s, entries)
    asked = {"aeroplane": s.registration} | ({"pilot": s.pilot} if s.pilot else {})
    found = rule.merge(answer.margins, new)
    verdict = worst(m.verdict for m in found)
    silent = tuple(f"{m.name}: {m.words}" for m in new if m.verdict == NOT_KNOWN)
    fuel, sources = _fuel_words(s, entries)
    fills = ({"id": "fills", "text": s.fills_words, "place": "", "source": "the owner's record"},) if s.fills_words else ()
    return replace(answer, verdict=verdict, warnings=(*answer.warnings, *fills), sentence=sentence(verdict, found), margins=found,
                   request={**answer.request, **asked}, not_known=(*answer.not_known, *silent, *fuel),
                   sources=(*answer.sources, *sources),
                   not_checked=(*unchecked, *(x for x in answer.not_checked if not x.startswith(REPLACED))),
                   cautions=tuple(dict.fromkeys((*answer.cautions, *cautions_for(("maintenance", "rules"))))))


def _fuel_words(s: RecordSituation, entries: tuple[Entry, ...]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """(what is not known of the fuel, its source) where the request left it to the record."""
    taken = {name: t for name, t in s.request.fuel.items() if name in {x.id for x in s.record.tanks}}
    missing = [t.id for t in s.record.tanks if t.id not in taken]
    try:
        found = aboard(entries, s.registration, datetime.now(UTC))
    except BadInput:
        return (), ()
    words = {t.tank: t.words for t in found.tanks}
    wide = {t.tank for t in found.tanks if t.level is not None}
    lacking = tuple(f"Fuel in the {name} tank by the record: {words.get(name, 'not known')}"
                    f"{', with too wide an error to plan on' if name in wide else ''}." for name in missing)
    if missing and found.total is not None:
        lacking += (f"Fuel aboard by the record in all: {total_words(found)}; {found.words}.",)
    told = tuple(f"fuel on board: the record, {name} tank {words[name]}" for name in taken
                 if _from_record(s, name) and name in words)
    return lacking, told


def _from_record(s: Situation, tank: str) -> bool:
    """Whether the fuel of a tank was put into the request from the record: its source says so."""
    table = s.request_data.get("fuel", {}).get(tank, {})
    return isinstance(table, dict) and str(table.get("source", "")).startswith("the record: ")


def total_words(found: FuelAboard) -> str:
    """The total with its band: "24.0 US gal (21.5 to 26.5) usable"."""
    from ownship.units import from_si

    if found.total is None:
        return f"not known: {found.words}"
    low, high = found.total.band_m3(sum(t.full_m3 for t in found.tanks))
    value, low, high = (float(from_si(x, "usgal")) for x in (found.total.usable_m3, low, high))
    return f"{value:.1f} US gal ({low:.1f} to {high:.1f}) usable"
