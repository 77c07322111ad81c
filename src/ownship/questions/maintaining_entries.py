"""Maintenance written down: items, what was done, what ends, a compass swing; and the electrical loads of the airframe record."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, fields, replace
from datetime import date
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from ownship.errors import BadInput
from ownship.ownership.airframe_totals import TOTALS, totals
from ownship.ownership.entries import (
    AeroplaneRevision,
    CompassSwing,
    Entry,
    Expiry,
    Interval,
    MaintenanceDone,
    MaintenanceItem,
    Money,
    of_kind,
)
from ownship.ownership.maintenance import endings, refuse_tolerance
from ownship.papers import maintenance as paper
from ownship.questions.maintaining import (
    ZONE,
    Told,
    day_of,
    empty,
    kept_of,
    no_item,
    opened,
    uses_of,
    which_one,
    which_to_write,
    written,
)
from ownship.rules.starter import ItemSet, ItemText, load_starter, read_items

_MONEY = re.compile(r"\s*([0-9]+(?:\.[0-9]+)?)\s*([A-Za-z]{3})\s*")


def _hours(text: str | None, option: str, most_h: float = 100_000.0) -> float | None:
    """Hours as typed: "3210.4", "3210.4 h" or "4h20m"."""
    from ownship.units import from_si, parse

    if text is None:
        return None
    bare = re.fullmatch(r"\s*[0-9]+(?:\.[0-9]*)?\s*", text)
    found = round(float(from_si(parse(f"{text} h" if bare else text, "time", option), "h")), 6)
    if not 0 <= found <= most_h:
        raise BadInput(f"{option}: {text!r} is not believable; write 0 to {most_h:,.0f} hours.")
    return found


def money(text: str | None, option: str = "--cost") -> Money | None:
    """An amount as typed: "450 USD"."""
    if text is None:
        return None
    match = _MONEY.fullmatch(text)
    try:
        amount = Decimal(match[1]) if match else None
    except InvalidOperation:
        amount = None
    if match is None or amount is None or len(match[1]) > 15:
        raise BadInput(f"{option}: {text[:40]!r} is no amount; write it with its currency, as \"450 USD\".")
    return Money(amount, match[2].upper())


def _landings(number: int | None, option: str = "--landings") -> int | None:
    if number is not None and not 0 <= number <= 1_000_000:
        raise BadInput(f"{option}: {number} is not believable; write 0 to 1,000,000.")
    return number


def item_of(text: ItemText, cost: Money | None = None) -> MaintenanceItem:
    """The entry of an item as a file or a command says it."""
    limit = Interval(text.every, text.hours_h, text.landings, 0, text.tolerance_h, text.carry, text.tolerance)
    applies = f"Applies to: {text.applies_if}." if text.applies_if else ""
    return MaintenanceItem(text.name, text.title, limit, text.uses, text.section, text.status, text.severity, text.directive,
                           text.revision, text.method, text.effective, text.first_due, cost, "", text.first_due_h,
                           text.first_due_landings, " ".join(w for w in (text.note, applies) if w))


@dataclass(frozen=True)
class Limits:
    """An item's limits as typed on the command line; every one may be left out."""

    every: str | None = None
    hours: str | None = None
    landings: int | None = None
    tolerance: str | None = None
    tolerance_hours: str | None = None
    from_due: bool = False
    first_due: str | None = None
    first_due_hours: str | None = None
    first_due_landings: int | None = None
    uses: str | None = None
    section: str = ""
    severity: str = "warn"
    note: str = ""


def typed_item(name: str, title: str | None, limits: Limits, cost: str | None = None, **more: Any) -> MaintenanceItem:
    """An item from words of the command line; BadInput where it has no limit."""
    from ownship.rules.starter import SEVERITIES, interval, limited

    def every(text: str | None, option: str) -> str:
        try:
            return "" if text is None else interval(text)
        except ValueError as error:
            raise BadInput(f"{option}: {error}") from None

    if limits.severity not in SEVERITIES:
        raise BadInput(f"--severity: {limits.severity!r} is none; allowed are {', '.join(SEVERITIES)}.")
    found = ItemText(
        _name(name), (title or name).strip(), every(limits.every, "--every"), _hours(limits.hours, "--hours", 20_000.0),
        _landings(limits.landings), every(limits.tolerance, "--tolerance"),
        _hours(limits.tolerance_hours, "--tolerance-hours", 200.0) or 0.0, not limits.from_due, uses_of(limits.uses, none_too=True),
        limits.section, severity=limits.severity, note=limits.note,
        first_due=None if limits.first_due is None else day_of(limits.first_due, "--first-due"),
        first_due_h=_hours(limits.first_due_hours, "--first-due-hours"),
        first_due_landings=_landings(limits.first_due_landings, "--first-due-landings"), **more)
    if not limited(found):
        raise BadInput(f"{found.name}: there is no limit; give --every, --hours, --landings or --first-due.")
    if found.hours_h == 0 or found.landings == 0:
        raise BadInput(f"{found.name}: an interval of 0 never ends; give hours or landings above 0.")
    return item_of(found, money(cost))


def _name(text: str) -> str:
    found = " ".join(text.split())
    if not 1 <= len(found) <= 80:
        raise BadInput(f"The name {text[:40]!r} is not allowed; write 1 to 80 characters.")
    if found.casefold() == TOTALS:
        raise BadInput(f"{TOTALS!r} is the name of a reading of air time and landings; give the item another name.")
    return found


def add(new: Iterable[MaintenanceItem], aeroplane: str | None = None, replace_kept: bool = False,
        folder: Path | None = None) -> Told:
    """Write items, all or none; one that is kept already is refused, or corrected where that is asked for."""
    with opened(folder) as records:
        which, items, written_now = which_to_write(records, aeroplane), list(new), tuple[Entry, ...]()
        for i in items:
            refuse_tolerance(i)
        kept = {e.body.name.casefold(): e for e in records.standing(MaintenanceItem, aeroplane=which)
                if isinstance(e.body, MaintenanceItem)}
        there = [i for i in items if i.name.casefold() in kept]
        if there and not replace_kept:
            raise BadInput(f"{there[0].name!r} is kept for {which} already; say --replace to correct it.")
        if there and len(items) > 1:
            raise BadInput(f"{there[0].name!r} is kept already, and a file is written whole or not at all; take it out of the "
                           "file, or correct it alone.")
        words = []
        if there:
            old = kept[there[0].name.casefold()]
            words = _replaced_words(old.body, there[0])
            written_now = (records.correct(old.number, there[0], note="replaced"),)
        else:
            written_now = records.append_many(list[Any](items), aeroplane=which)
    return written(which, f"{_list(i.name for i in items)} {'is' if len(items) == 1 else 'are'} kept for {which}.", words,
                   (e.number for e in written_now), names=[i.name for i in items])


def _replaced_words(old: Any, new: MaintenanceItem) -> list[str]:
    """What an item loses or changes where it is corrected: all that is not said again is gone."""
    def told(value: Any) -> str:
        if isinstance(value, Money):
            return f"{value.amount} {value.currency}"
        return ", ".join(value) if isinstance(value, tuple) else "" if value in (None, False) else str(value)

    pairs = [(f.name, told(getattr(old, f.name)), told(getattr(new, f.name))) for f in fields(new) if f.name != "interval"]
    pairs += [(f.name, told(getattr(old.interval, f.name)), told(getattr(new.interval, f.name))) for f in fields(new.interval)]
    return [f"It changes {name.removesuffix('_h').replace('_', ' ')}: {before or 'none'} to {after or 'none'}."
            for name, before, after in pairs if before != after]


def add_file(path: str, aeroplane: str | None = None, replace_kept: bool = False, folder: Path | None = None) -> Told:
    """Write the items of a TOML file."""
    from ownship.questions.reading import read_text
    from ownship.schema import read_toml

    found = read_items(read_toml(read_text(path), path))
    for i in found.items:
        _name(i.name)
    return add([item_of(i) for i in found.items], aeroplane, replace_kept, folder)


def _list(names: Iterable[str]) -> str:
    found = list(names)
    return found[0] if len(found) == 1 else f"{len(found)} items ({', '.join(found)})"


def starter(place: str, also: Iterable[str] = (), only_show: bool = False, aeroplane: str | None = None,
            folder: Path | None = None, only: Iterable[str] | None = None) -> Told:
    """The starter set of a place: shown, or written down where it is not kept yet; only: these of its items."""
    found = load_starter(place)
    wished = {a.strip().casefold() for a in also}
    if unknown := wished - {i.name.casefold() for i in found.items}:
        raise BadInput(f"--also: {min(unknown)!r} is not in the set of {place}; see `ownship maintenance starter {place} --show`.")
    if only_show:
        return Told({"schema": 1, **paper.set_json(found), "words": [], "cautions": paper.cautions(i.status for i in found.items)},
                    tuple(paper.set_lines(found)))
    with opened(folder) as records:
        which = which_to_write(records, aeroplane)
        kept = {e.body.name.casefold() for e in records.standing(MaintenanceItem, aeroplane=which)
                if isinstance(e.body, MaintenanceItem)}
        chosen = _chosen(found, wished, only)
        new = [i for i in chosen if i.name.casefold() not in kept]
        numbers = [e.number for e in records.append_many([item_of(i) for i in new], aeroplane=which,
                                                         source=f"starter set {found.title}"[:200])]
    left = [i.name for i in found.items if i.optional and i not in chosen and only is None]
    words = [f"{len(chosen) - len(new)} were kept already."] if len(chosen) > len(new) else []
    words += [f"Left out, add it by --also: {', '.join(left)}."] if left else []
    words += [found.note] if found.note else []
    sentence = (f"{len(new)} items of the set {found.title} are kept for {which}; note what was done by `ownship maintenance done`."
                if new else f"Every item of the set {found.title} is kept for {which} already.")
    return written(which, sentence, words, numbers, names=[i.name for i in new])


def _chosen(found: ItemSet, wished: set[str], only: Iterable[str] | None) -> list[ItemText]:
    """The items of a set that are meant: those named alone, else all that are not on wish, and what is wished for."""
    if only is None:
        return [i for i in found.items if not i.optional or i.name.casefold() in wished]
    named = {n.strip().casefold() for n in only}
    return [i for i in found.items if i.name.casefold() in named]


def done(body: MaintenanceDone, aeroplane: str | None = None, folder: Path | None = None) -> Told:
    """Write that an item was done (or that air time and landings were read: the name "total time")."""
    _past(body.day)
    with opened(folder) as records:
        which = which_to_write(records, aeroplane)
        items = [i for _, i in of_kind(records.standing(MaintenanceItem, aeroplane=which), MaintenanceItem, which)]
        item = next((i for i in items if i.name.casefold() == body.name.strip().casefold()), None)
        if item is None and body.name.strip().casefold() != TOTALS:
            no_item(body.name, records.standing(MaintenanceItem, aeroplane=which), which)
        body = replace(body, name=TOTALS if item is None else item.name)
        if item is None and body.hours_h is None and body.landings is None:
            raise BadInput(f"{TOTALS}: give --hours, --landings or both.")
        _refuse_running_back(body, [d for _, d in of_kind(records.standing(MaintenanceDone, aeroplane=which), MaintenanceDone)])
        entry = records.append(body, which)
        kept = kept_of(records, which, body.day)
    words = [] if item is None else _lacking(body, item)
    words += [w for w in totals(kept, which, body.day, ZONE).words if "the higher" in w]
    return written(which, f"{body.name} of {body.day} is kept for {which}.", words, (entry.number,), name=body.name,
                   day=body.day.isoformat(), entry=entry.number)


def _refuse_running_back(new: MaintenanceDone, kept: Iterable[MaintenanceDone]) -> None:
    """Totals of the airframe never run back."""
    for old in kept:
        for name, mine, other in (("hours", new.hours_h, old.hours_h), ("landings", new.landings, old.landings)):
            if mine is None or other is None or old.day == new.day:
                continue
            if (mine - other) * (1 if new.day > old.day else -1) < 0:
                raise BadInput(f"--{name}: {mine:,.10g} on {new.day} does not go with {other:,.10g} noted on {old.day} "
                               f"({old.name}); totals of the airframe never run back: correct the one that is wrong.")


def _lacking(body: MaintenanceDone, item: MaintenanceItem) -> list[str]:
    """What the item needs and was not given: the next due point is then not known."""
    i = item.interval
    return [f"It has a limit in {what} and none was given, so by {what} it is not known when it is due next; give --{what}."
            for what, limit, given in (("hours", i.hours_h, body.hours_h), ("landings", i.landings, body.landings))
            if limit is not None and given is None and not body.terminating]


def done_typed(name: str, day: str | None, hours: str | None, landings: int | None, cost: str | None,
               **more: Any) -> MaintenanceDone:
    """What was done, from words of the command line; no day: today."""
    return MaintenanceDone(" ".join(name.split()), day_of(day, "--day"), _hours(hours, "--hours"), _landings(landings),
                           cost=money(cost), **more)


def withdraw(name: str, why: str, day: str | None = None, aeroplane: str | None = None, folder: Path | None = None) -> Told:
    """Take an item or an ending off the list; with a day, what was noted as done on it. All of it stays readable."""
    wanted, on = name.strip().casefold(), None if day is None else day_of(day, "--day")
    with opened(folder) as records:
        which = which_to_write(records, aeroplane)
        kept = records.standing(MaintenanceItem, aeroplane=which)
        if on is None:
            found = [e for e, i in of_kind(kept, MaintenanceItem) if i.name.casefold() == wanted]
            found += [e for e, x in of_kind(records.standing(Expiry, aeroplane=which), Expiry) if x.what.casefold() == wanted]
        else:
            found = [e for e, d in of_kind(records.standing(MaintenanceDone, aeroplane=which), MaintenanceDone)
                     if d.name.casefold() == wanted and d.day == on]
            if not found:
                raise BadInput(f"{name!r} is not noted as done on {on} for {which}; give the day it was noted for.")
        if not found:
            no_item(name, kept, which)
        gone = records.withdraw(found[-1].number, why)
    words = [f"{_was(e)} stands again; withdraw it too where it is over." for e in found[-2:-1]]
    return written(which, f"{name}{'' if on is None else f' of {on}'} is off the list of {which}: {why}.", words,
                   (gone.number,), name=name)


def _was(e: Entry) -> str:
    """What stands again once the entry after it is withdrawn."""
    if isinstance(e.body, Expiry):
        return f"{e.body.what} with the last good day {e.body.last_day}, kept before it,"
    return f"What entry {e.number} keeps under the same name"


def expiry(what: str | None = None, last_day: str | None = None, uses: str | None = None, document: str = "",
           aeroplane: str | None = None, folder: Path | None = None) -> Told:
    """What ends, listed; or written, where what and its last day are given."""
    on = day_of(None, "--on")
    if (what is None) != (last_day is None):
        raise BadInput("expiry: give both WHAT and --last-day to keep one, or neither to list them.")
    with opened(folder) as records:
        if what is not None:
            which = which_to_write(records, aeroplane)
            body = Expiry(_name(what), day_of(last_day, "--last-day"), uses_of(uses, none_too=True), document)
            entry = records.append(body, which)
            return written(which, f"{body.what}, last good day {body.last_day}, is kept for {which}.", (), (entry.number,),
                           name=body.what)
        which = which_one(records, aeroplane)
        found = endings(records.standing(Expiry, aeroplane=which), which, on)
    if not found:
        return empty(which, on, endings=[])
    return Told({"schema": 1, "aeroplane": which, "on": on.isoformat(), "endings": [paper.ending_json(e) for e in found],
                 "words": [], "cautions": paper.cautions()}, tuple(paper.endings_lines(found, which)))


# ---- compass and loads


def swing(magnetic: str | None = None, compass: str | None = None, day: str | None = None, by: str = "",
          aeroplane: str | None = None, folder: Path | None = None) -> Told:
    """The deviation card of the last swing kept, or of one that is given and then kept."""
    from ownship.ownership.compass import deviation_card

    if (magnetic is None) != (compass is None):
        raise BadInput("swing: give --magnetic and --compass, or neither to see the last one.")
    with opened(folder) as records:
        if magnetic is not None and compass is not None:
            body = CompassSwing(_past(day_of(day, "--day")), _degrees(magnetic, "--magnetic"), _degrees(compass, "--compass"), by)
            card, which = deviation_card(body.magnetic_deg, body.compass_deg), which_to_write(records, aeroplane)
            records.append(body, which)
        else:
            which = which_one(records, aeroplane)
            kept = [s for _, s in of_kind(records.standing(CompassSwing, aeroplane=which), CompassSwing)]
            if not kept:
                words = "No compass swing is kept; give one by --magnetic \"0 45 90 ...\" --compass \"1 47 91 ...\"."
                return Told({"schema": 1, "aeroplane": which or None, "card": None, "words": [words]}, (words,))
            body = max(kept, key=lambda s: s.day)
            card = deviation_card(body.magnetic_deg, body.compass_deg)
    return Told({"schema": 1, "aeroplane": which, "card": paper.card_json(card, body.day, body.by), "words": list(card.words)},
                tuple(paper.card_lines(card, body.day, body.by)))


def _past(day: date) -> date:
    """The day, refused where it is still to come."""
    if day > day_of(None, "--day"):
        raise BadInput(f"--day: {day} is still to come; note it once it is done.")
    return day


def _degrees(text: str, option: str) -> tuple[float, ...]:
    try:
        return tuple(float(w) for w in re.split(r"[,\s]+", text.strip()))
    except ValueError:
        raise BadInput(f"{option}: {text[:60]!r} should be headings in degrees, such as \"0 45 90 135\".") from None


def electrical(file: str | None = None, momentary: Iterable[str] = (), kept: Iterable[str] | None = None,
               aeroplane: str | None = None, on: str | None = None, folder: Path | None = None) -> Told:
    """The load table of an airframe record: of a file, of the demo, or of the record's revision of a day."""
    from ownship.aeroplane.reading import read_airframe
    from ownship.ownership.electrical import load_table
    from ownship.questions.reading import DEMO, demo_text, read_text

    if file is not None:
        record = read_airframe(demo_text("camas160.toml") if file == DEMO else read_text(file), file)
    else:
        day = day_of(on, "--on")
        with opened(folder) as records:
            which = which_one(records, aeroplane)
            revisions = [r for _, r in of_kind(records.standing(AeroplaneRevision, aeroplane=which), AeroplaneRevision)
                         if r.effective <= day]
        if not revisions:
            words = "No airframe record is kept for that day; name a file: `ownship maintenance electrical AEROPLANE.toml`."
            return Told({"schema": 1, "aeroplane": which or None, "table": None, "words": [words]}, (words,))
        record = read_airframe(max(revisions, key=lambda r: r.effective).toml, which)
    table = load_table(record.electrical, momentary, kept)
    return Told({"schema": 1, "aeroplane": record.identity.registration, "table": paper.loads_json(table),
                 "words": list(table.words)}, tuple(paper.loads_lines(table)))
