"""The commands `log` and `fuel`: words to questions, answers to lines. `show` (values, lines, as JSON) prints."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated, Any

from cyclopts import App, Parameter

from ownship.errors import BadInput

if TYPE_CHECKING:
    from ownship.questions.logging_flights import Written

Amount = Annotated[str, Parameter(allow_leading_hyphen=True)]  # "-1 usgal" is a value to be refused in a sentence
Show = Callable[[dict[str, Any], tuple[str, ...], bool], None]


def _cells(words: list[str] | None, **given: Any) -> dict[str, str]:
    """Texts by field names: options, and FIELD=VALUE of --field."""
    from ownship.ownership.flight_cells import FIELDS

    found = {name: "; ".join(v) if isinstance(v, list) else str(v) for name, v in given.items() if v is not None}
    for word in words or ():
        name, equals, value = word.partition("=")
        if not equals or name.strip() not in FIELDS:
            raise BadInput(f"{word!r} is no FIELD=VALUE of the log; fields are: {', '.join(FIELDS)}.")
        if name.strip() in found:
            raise BadInput(f"{name.strip()} is given twice; give it once.")
        found[name.strip()] = value
    return found


def _pair(option: str, text: str | None) -> tuple[str | None, str | None]:
    """First and last reading of a meter, "1234.5 1236.1"."""
    if text is None:
        return None, None
    parts = text.split()
    if len(parts) != 2:
        raise BadInput(f"{option}: {text!r} is not two readings; write \"1234.5 1236.1\".")
    return parts[0], parts[1]


def _list_flights(show: Show) -> Callable[..., None]:
    def list_flights(*, aeroplane: str | None = None, since: str | None = None, until: str | None = None, last: int | None = None,
                     json: bool = False) -> None:
        """Flights that count, with totals, the meters' ratio to air time and open defects. Dates in UTC."""
        from ownship.papers.log import log_lines
        from ownship.questions.logging_flights import listed

        answer = listed(aeroplane, since, until, last)
        show(answer, log_lines(answer), json)

    return list_flights


def _written(show: Show, written: Written, json: bool) -> None:
    from ownship.papers.log import written_lines

    answer = written.to_json()
    show(answer, written_lines(answer), json)


def _add(show: Show) -> Callable[..., None]:
    def add(file: str | None = None, /, *, aeroplane: str | None = None, from_: str | None = None, to: str | None = None,
            via: str | None = None, off_blocks: str | None = None, on_blocks: str | None = None, take_off: str | None = None,
            landing: str | None = None, tachometer: Amount | None = None, hour_meter: Amount | None = None,
            landings: int | None = None, pilot: str | None = None,
            role: str | None = None, passengers: int | None = None, rules: str | None = None,
            fuel_before: list[str] | None = None, fuel_after: list[str] | None = None, remarks: str | None = None,
            field: list[str] | None = None, zone: str = "", other_aeroplane: bool = False, json: bool = False) -> None:
        """Add a flight, by options or by FLIGHT.toml. Any field more: --field "landings_night=2".

        --tachometer "1234.5 1236.1"; --fuel-after "left=12 usgal dipstick" (again for each tank); --zone UTC, place or a name.
        --other-aeroplane: another is meant, though its registration is like one of the record.
        """
        from ownship.questions.logging_flights import add as write
        from ownship.questions.logging_flights import toml_cells

        tach, hour = _pair("--tachometer", tachometer), _pair("--hour-meter", hour_meter)
        typed = _cells(field, origin=from_, destination=to, via=via, off_blocks=off_blocks, on_blocks=on_blocks, take_off=take_off,
                       landing=landing, tachometer_from_h=tach[0], tachometer_to_h=tach[1], hour_meter_from_h=hour[0],
                       hour_meter_to_h=hour[1], landings=landings, pilot=pilot, role=role, passengers=passengers, rules=rules,
                       fuel_before=fuel_before, fuel_after=fuel_after, remarks=remarks)
        cells = ({} if file is None else toml_cells(file)) | typed
        _written(show, write(cells, aeroplane, zone, other_aeroplane=other_aeroplane), json)

    return add


def _files(show: Show) -> dict[str, Callable[..., None]]:
    def bring(file: str, /, *, map: list[str] | None = None, zone: str = "", dates: str = "", aeroplane: str | None = None,
              other_aeroplane: bool = False, json: bool = False) -> None:
        """Every flight of a CSV, or none. --map "their column=our field" once for each column; it is remembered.

        --zone UTC, place (the aerodrome's) or a name as America/Boise; --dates dmy or mdy where a date can be two days.
        --other-aeroplane: aeroplanes whose registrations are like one of the record are others.
        """
        from ownship.questions.logging_flights import import_csv

        _written(show, import_csv(file, map or (), zone, dates, aeroplane, other_aeroplane=other_aeroplane), json)

    def export(file: str, /, *, aeroplane: str | None = None, replace: bool = False, json: bool = False) -> None:
        """Every flight that counts as CSV, which imports to the same flights. --replace: over a file that is no such log."""
        from ownship.questions.logging_flights import export_csv

        _written(show, export_csv(file, aeroplane, replace=replace), json)

    def from_track(gpx: str, /, *, aeroplane: str | None = None, from_: str | None = None, to: str | None = None,
                   landings: int | None = None, field: list[str] | None = None, other_aeroplane: bool = False,
                   json: bool = False) -> None:
        """A flight from a GPX track: blocks, take-off, landing and the aerodromes at its ends."""
        from ownship.questions.log_sources import from_track as write

        cells = _cells(field, origin=from_, destination=to, landings=landings)
        _written(show, write(gpx, cells, aeroplane, other_aeroplane=other_aeroplane), json)

    def from_plan(flight: str, /, *, on_blocks: str | None = None, off_blocks: str | None = None, aeroplane: str | None = None,
                  landings: int | None = None, fuel_after: list[str] | None = None, field: list[str] | None = None,
                  other_aeroplane: bool = False, json: bool = False) -> None:
        """The flight of FLIGHT.toml as it was flown: --on-blocks is needed, --off-blocks where it was another than planned."""
        from ownship.questions.log_sources import from_plan as write

        cells = _cells(field, on_blocks=on_blocks, off_blocks=off_blocks, landings=landings, fuel_after=fuel_after)
        _written(show, write(flight, cells, aeroplane, other_aeroplane=other_aeroplane), json)

    return {"import": bring, "export": export, "from-track": from_track, "from-plan": from_plan}


def _corrections(show: Show) -> dict[str, Callable[..., None]]:
    def correct(number: int, /, *words: str, why: str = "", zone: str = "", other_aeroplane: bool = False,
                json: bool = False) -> None:
        """Replace fields of a flight: NUMBER FIELD=VALUE ...; FIELD= clears it. The old entry stays readable."""
        from ownship.questions.logging_flights import correct as write

        if not words:
            raise BadInput("Nothing to correct; write FIELD=VALUE, as landings_day=2.")
        _written(show, write(number, _cells(list(words)), why, zone, other_aeroplane=other_aeroplane), json)

    def withdraw(number: int, /, *, why: str = "", json: bool = False) -> None:
        """An entry no longer counts, and --why; it stays readable."""
        from ownship.questions.logging_flights import withdraw as write

        _written(show, write(number, why), json)

    return {"correct": correct, "withdraw": withdraw}


def _events(show: Show) -> dict[str, Callable[..., None]]:
    def instrument(which: str, /, *, old: float, new: float = 0.0, at: str | None = None, aeroplane: str | None = None,
                   other_aeroplane: bool = False, json: bool = False) -> None:
        """A replaced tachometer or "hour meter": --old its last reading, --new the new one's first, hours."""
        from ownship.questions.log_events import replaced

        _written(show, replaced(which, old, new, at, aeroplane, other_aeroplane=other_aeroplane), json)

    def defect(name: str, /, *, state: str, words: str = "", uses: list[str] | None = None, until: str | None = None, by: str = "",
               at: str | None = None, aeroplane: str | None = None, other_aeroplane: bool = False, json: bool = False) -> None:
        """A defect found, deferred (--until) or rectified; --uses VFR, night, IFR, passengers: the flights it speaks to."""
        from ownship.questions.log_events import defect as write

        _written(show, write(name, state, words, uses or (), until, by, at, aeroplane,
                             other_aeroplane=other_aeroplane), json)

    def defects(*, aeroplane: str | None = None, uses: list[str] | None = None, json: bool = False) -> None:
        """Open defects. A licensed person decides what may be flown with."""
        from ownship.papers.log import defect_lines
        from ownship.questions.log_events import defects as ask

        answer = ask(aeroplane, uses or ())
        show(answer, defect_lines(answer), json)

    def hand_over(*, to: str, by: str = "", meter: str = "tachometer", reading: float | None = None,
                  rate: Amount | None = None, oil: Amount | None = None, tied_down: str = "", keys: str = "",
                  at: str | None = None, aeroplane: str | None = None, other_aeroplane: bool = False, json: bool = False) -> None:
        """Hand the aeroplane to a partner: the sheet, settled by a named meter. --reading hours; --rate "95.00 USD" an hour."""
        from ownship.papers.log import hand_over_lines
        from ownship.questions.log_events import hand_over as write

        sheet = write(to, by, meter, reading, rate, oil, tied_down, keys, at, aeroplane, other_aeroplane=other_aeroplane)
        show(sheet, hand_over_lines(sheet), json)

    return {"instrument": instrument, "defect": defect, "defects": defects, "hand-over": hand_over}


def log_app(show: Show) -> App:
    """The command `log` with its parts; alone: `list`."""
    app = App(name="log", help="Flights, defects and the hand-over. What is wrong is corrected by a new entry, never changed.")
    parts = {"list": _list_flights(show), "add": _add(show), **_files(show), **_corrections(show), **_events(show)}
    for name, part in parts.items():
        app.command(part, name=name)
    app.default(_list_flights(show))
    return app


def fuel_app(show: Show) -> App:
    """The command `fuel` with its parts; alone: `aboard`."""
    app = App(name="fuel", help="Fuel aboard by tank now, with its band and since when; fuel added, seen, oil put in.")
    for name, part in {"aboard": _aboard(show), **_fuelling(show)}.items():
        app.command(part, name=name)
    app.default(_aboard(show))
    return app


def _aboard(show: Show) -> Callable[..., None]:
    def aboard(*, aeroplane: str | None = None, at: str | None = None, json: bool = False) -> None:
        """Usable fuel by tank at a moment (now), with band, how known and since when; oil an hour."""
        from ownship.papers.fuel import fuel_lines
        from ownship.questions.fuelling import now_aboard

        answer = now_aboard(aeroplane, at)
        show(answer, fuel_lines(answer), json)

    return aboard


def _fuelling(show: Show) -> dict[str, Callable[..., None]]:
    def add(*, tank: str, amount: Amount, level: str = "", price: Amount | None = None, place: str = "", at: str | None = None,
            aeroplane: str | None = None, json: bool = False) -> None:
        """Fuel put into a tank: --amount "12 usgal", --level full or a mark where it was filled to one, --price of all of it."""
        from ownship.questions.fuelling import add_fuel

        _written(show, add_fuel(tank, amount, level, price, place, at, aeroplane), json)

    def seen(*, tank: str, amount: Amount, known_by: str = "", counts: str = "", at: str | None = None,
             aeroplane: str | None = None, json: bool = False) -> None:
        """What is in a tank: --amount "10 usgal", full, a mark or a dipstick's reading ("4.1 in"); a dipstick counts total."""
        from ownship.questions.fuelling import see_fuel

        _written(show, see_fuel(tank, amount, known_by, counts, at, aeroplane), json)

    def oil(*, amount: Amount, hours: float | None = None, price: Amount | None = None, at: str | None = None,
            aeroplane: str | None = None, other_aeroplane: bool = False, json: bool = False) -> None:
        """Oil put in: --amount "1 qt" ("0 qt" at a change), --hours of the engine."""
        from ownship.questions.fuelling import add_oil

        _written(show, add_oil(amount, hours, price, at, aeroplane, other_aeroplane=other_aeroplane), json)

    def fills(*, aeroplane: str | None = None, json: bool = False) -> None:
        """What your fills say: flights between moments at which every tank was known, flows by phase, fills that disagree."""
        from ownship.papers.fuel import fill_lines
        from ownship.questions.fills_of_record import fills as ask

        answer = ask(aeroplane)
        show(answer, fill_lines(answer), json)

    def settle(day: str, /, *, found: str, why: str = "", aeroplane: str | None = None, json: bool = False) -> None:
        """What was found of a fill that does not agree, by the DAY (UTC) it ended: --found lost, short or right, and --why.

        lost: fuel was lost or misread; short: the tank was not at the level said; right: nothing was wrong; open: take it back.
        """
        from ownship.questions.fills_of_record import settle as write

        _written(show, write(day, found, why, aeroplane), json)

    return {"add": add, "seen": seen, "oil": oil, "fills": fills, "settle": settle}
