"""The commands about data and the record: data, backup, restore, doctor, recency."""

from __future__ import annotations

from json import dumps
from typing import Any

from ownship.cli.shown import console, told


def import_data(folder: str, /, *, date: str | None = None, json: bool = False) -> None:
    """Bring the terrain tiles (.hgt) and newer aerodrome files (CSV) of a folder into your data.

    --date: the day the data are of, else each file's own date.
    """
    from ownship.questions.places import bring

    told = bring(folder, date)
    if json:
        print(dumps(told, ensure_ascii=False))
        return
    for title, lines in zip(("taken", "there already", "refused", "left alone"), told.values(), strict=True):
        for line in lines:
            print(f"{title}: {line}")


def keep_aerodrome(file: str, /, *, json: bool = False) -> None:
    """Keep an aerodrome record of your own (TOML: ident, runways, source, date); it goes before the open data from then on."""
    from ownship.papers.text import airports_table
    from ownship.questions.own_aerodromes import keep
    from ownship.questions.places import airports_json

    found = keep(file)
    if json:
        print(dumps(airports_json([found]), ensure_ascii=False))
    else:
        console().print(airports_table([found]))


def backup(file: str, /, *, replace: bool = False, json: bool = False) -> None:
    """The whole record into one file, also while it is in use. Keep it on another disk. --replace: over any other file."""
    from ownship.questions.keeping import backup as ask

    _kept(ask(file, replace=replace), json)


def restore(file: str, /, *, json: bool = False) -> None:
    """A backup in place of the record: checked first; what is there now is kept beside it."""
    from ownship.questions.keeping import restore as ask

    _kept(ask(file), json)


def doctor(*, json: bool = False) -> None:
    """How the record stands: paths, schema, entries, last backup, whether it is sound, and how old all data are."""
    from ownship.papers.keeping import doctor_lines
    from ownship.questions.keeping import doctor as ask

    found = ask().to_json()
    told(found, tuple(doctor_lines(found)), json)


def export_data(folder: str, /, *, json: bool = False) -> None:
    """Every entry of the record into a new folder, as CSV files and a manifest."""
    from ownship.questions.keeping import export as ask

    _kept(ask(folder), json)


def read_data(folder: str, /, *, json: bool = False) -> None:
    """An export back into an empty record, entry by entry the same."""
    from ownship.questions.keeping import read_export as ask

    _kept(ask(folder), json)


def _kept(kept: Any, json: bool) -> None:
    told(kept.to_json(), (kept.sentence,), json)


def recency(*, pilot: str | None = None, on: str | None = None, place: str | None = None, aeroplane_class: str | None = None,
            json: bool = False) -> None:
    """Are you recent? By place and privilege: until when, what is missing, by which rule; and what the next rating lacks.

    --on DAY: judged by the rules of that day; --place USA, Canada or EASA: else that of the licence, or all.
    """
    from ownship.papers.recency import recency_lines
    from ownship.questions.recent import recency as ask

    answer = ask(pilot, on, place, aeroplane_class)
    told(answer, tuple(recency_lines(answer)), json)


def recency_event(event: str, /, *, day: str, pilot: str | None = None, detail: str = "", expires: str | None = None,
                  json: bool = False) -> None:
    """Something a pilot did, into the record: "flight review", medical --detail 3 ... --expires: the printed last day."""
    from ownship.questions.recent import note_event

    answer = note_event(event, day, pilot, detail, expires)
    told(answer, (answer["sentence"],), json)


def recency_pilot(name: str, /, *, born: str | None = None, place: str = "USA", rating: list[str] | None = None,
                  json: bool = False) -> None:
    """A pilot, into the record: birth date, place of the licence, ratings (PPL, night, IR ...; a wrong one names them all)."""
    from ownship.questions.recent import note_pilot

    answer = note_pilot(name, born, place, rating or ())
    told(answer, (answer["sentence"],), json)
