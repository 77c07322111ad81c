"""What does it cost? The record and the clock meet the pure tables; costs written down; the sheet for a sale."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ownship.errors import BadInput, UnreadableFile
from ownship.ownership import costs as rates
from ownship.ownership import spending
from ownship.ownership.entries import Cost, Entry, Money, of_kind, standing
from ownship.papers import costs as paper
from ownship.questions.maintaining import Told, day_of, opened, registration
from ownship.questions.places import today_utc
from ownship.units import from_si, parse, to_si

if TYPE_CHECKING:
    from ownship.flight.answer import Assessment
    from ownship.store.records import Records

TABLE_H = (25.0, 50.0, 100.0, 150.0, 200.0)
MOST_H = 3000.0
EMPTY = ("No cost is kept yet. Begin with `ownship costs add hangar --kind fixed --price \"2400 USD\"`, and note fuel with its "
         "price by `ownship fuel add`.")
NO_HOURS = "No flight is kept, so what an hour costs is shown for some numbers of hours; say yours by --flight-hours."
NO_FLIGHTS = "No flight of the last 12 months is kept; say how many hours a year you mean by --flight-hours."
_BARE = re.compile(r"\s*\d+(?:\.\d+)?\s*")


# ---- reading what is typed


def hours_of(text: str, option: str = "--flight-hours", most: float = MOST_H) -> float:
    """Hours as typed: "60", "60 h"; BadInput below a tenth or beyond belief."""
    found = float(text) if _BARE.fullmatch(text) and text.isascii() else float(from_si(parse(text, "time", option), "h"))
    if not math.isfinite(found) or not 0.1 <= found <= most:
        raise BadInput(f"{option}: {text[:40]!r} are not believable; write hours from 0.1 to {most:,.0f}.")
    return found


def asked_hours(texts: Iterable[str] | None) -> tuple[float, ...]:
    """Hours a year as typed, several by commas or by saying the option again."""
    parts = [p for text in texts or () for p in text.split(",")]
    if len(parts) > 50:
        raise BadInput(f"--flight-hours: {len(parts)} are asked for; allowed are 50.")
    return tuple(hours_of(p) for p in parts)


def _plain_number(text: str | None, option: str) -> float | None:
    """A bare number as typed, such as years."""
    if text is None:
        return None
    if not _BARE.fullmatch(text) or not text.isascii() or len(text) > 20:
        raise BadInput(f"{option}: {text[:40]!r} is no number; write one such as 12 or 2.5.")
    return float(text)


def _which(kept: Sequence[Entry], named: str | None) -> str:
    """The aeroplane meant: the one named, else the only one of the record, else none by name."""
    if named is not None:
        return registration(named)
    known = sorted({e.aeroplane for e in kept if e.aeroplane})
    if len(known) > 1:
        raise BadInput(f"The record holds {', '.join(known)}; say which by --aeroplane.")
    return known[0] if known else ""


def _year(year: int | None, on: date) -> int:
    if year is not None and not 1903 <= year <= on.year:
        raise BadInput(f"--year: {year} is no year to show; write one from 1903 to {on.year}.")
    return on.year if year is None else year


# ---- what it costs


def costs(year: int | None = None, flight_hours: Iterable[str] | None = None, against: str | None = None,
          flow: str | None = None, aeroplane: str | None = None, chart: str | None = None, folder: Path | None = None,
          on: date | None = None) -> Told:
    """An hour and a year against hours flown, reserves, what was bought and spent; the chart is written before it is told."""
    day = on or today_utc()
    shown, asked = _year(year, day), asked_hours(flight_hours)
    rental = None if against is None else rates.read_money(against.strip().removesuffix("/h"), "--against")
    burn = None if flow is None else _flow(flow)
    target = None if chart is None else _file(chart)
    with opened(folder) as records:
        kept = records.standing()
    which = _which(kept, aeroplane)
    found = rates.costs(kept, which, day, spending.routine_maintenance_1(), burn)
    rows = asked or tuple(h for h in (found.flown_h, *TABLE_H) if h)
    money = spending.years(kept, which, shown, day)
    data = {"schema": 1, "aeroplane": which or None, "on": day.isoformat(), **paper.costs_json(found, rows, rental),
            "reserves": [paper.accrued_json(a) for a in rates.accrued(kept, which, day, asked[0] if asked else found.flown_h)],
            "bought": [paper.bought_json(b) for b in spending.bought(kept, which, _year_before(day), day)],
            "years": [paper.year_json(y) for y in money], "words": _words(found, asked, rental, shown, bool(money)),
            "cautions": list(paper.CAUTIONS)}
    if target is not None:
        data["chart"] = _drawn(target, money)
    return Told(data, paper.cost_lines(data))


def drawn_year(year: int | None, aeroplane: str | None = None, folder: Path | None = None) -> tuple[str, ...]:
    """The year's chart (SVG); none where nothing was spent in it."""
    from ownship.papers.cost_charts import year_chart

    with opened(folder) as records:
        kept = records.standing()
    money = spending.years(kept, _which(kept, aeroplane), _year(year, today_utc()), today_utc())
    return (year_chart(money),) if money else ()


def _year_before(day: date) -> date:
    return date.fromordinal(day.toordinal() - rates.LAST_DAYS)


def _flow(text: str) -> float:
    found = parse(text, "volume flow", "--flow")
    if not float(to_si(0.1, "usgal/h")) <= found <= float(to_si(100, "usgal/h")):
        raise BadInput(f"--flow: {text[:40]!r} is not believable; write 0.1 to 100 usgal/h.")
    return found


def _words(found: rates.Costs, asked: Sequence[float], rental: Money | None, year: int, spent: bool) -> list[str]:
    words = [] if found.tables else [EMPTY]
    words += [NO_HOURS] if found.tables and found.flown_h is None and not asked else []
    words += [NO_FLIGHTS] if found.tables and found.flown_h == 0 and not asked else []
    currencies = [t.currency for t in found.tables]
    if rental is not None and rental.currency not in currencies:
        words.append(f"No cost is kept in {rental.currency}, so the rental rate has nothing to stand against.")
        others = rates.elsewhere(found.tables, rental.currency)
        words += [paper.left_out_text(others, rental)] if others else []
    words += ["Several currencies are kept: each stands by itself, and no sum over them is made."] if len(currencies) > 1 else []
    return words if spent else [*words, f"No money spent in {year} is kept."]


def _file(path: str) -> Path:
    """Where the chart goes; refused before any work."""
    found = Path(path).absolute()
    if found.is_dir() or not found.parent.is_dir():
        raise BadInput(f"--chart: {path} is a folder, or lies in none; name a file in a folder that is there.")
    return found


def _drawn(target: Path, money: Sequence[spending.Year]) -> str:
    from ownship.papers.cost_charts import year_chart
    from ownship.questions.places import write_whole

    svg = year_chart(money).encode()
    try:
        write_whole(target, svg)
    except OSError as error:
        raise UnreadableFile(f"{target} cannot be written ({error.strerror or error}); choose another place.") from None
    return str(target)


# ---- writing one down


def add(what: str, kind: str, price: str, years: str | None = None, hours: str | None = None, since_hours: str | None = None,
        since_day: str | None = None, fund: str | None = None, shareable: bool = False, day: str | None = None,
        aeroplane: str | None = None, folder: Path | None = None) -> Told:
    """A cost into the record; a later one of the same name and kind takes the place of an earlier, one of 0 ends it."""
    since = None if since_day is None else day_of(since_day, "--since-day")
    cost = rates.checked(Cost(
        what.strip(), kind, rates.read_money(price, "--price"), _plain_number(years, "--years"),
        None if hours is None else hours_of(hours, "--hours", 1e5), _plain_number(since_hours, "--since-hours"), shareable, since,
        None if fund is None else rates.read_money(fund, "--fund")))
    rates.refuse_unused(cost)
    when = None if day is None else day_of(day, "--day")
    for option, told in (("--day", when), ("--since-day", since)):
        if told is not None and told > datetime.now().astimezone().date():
            raise BadInput(f"{option}: {told} is not over yet; write today or an earlier day.")
    with opened(folder) as records:
        which = _which_to_write(records, aeroplane)
        moment = None if when is None else datetime.combine(when, time(12), UTC)
        before = records.standing(Cost, aeroplane=which)
        entry = records.append(cost, which, None if moment is None else min(moment, datetime.now(UTC)))
    sentence = (f"Noted as entry {entry.number}: {cost.what}, {cost.kind}, {cost.price.amount:,} {cost.price.currency}, "
                f"{entry.moment.date()}{f', {which}' if which else ', for any aeroplane'}.")
    words = _beside_words(before, entry, cost)
    return Told({"schema": 1, "entry": entry.number, "aeroplane": which or None, "sentence": sentence, "words": words},
                (sentence, *words))


def _beside_words(before: Iterable[Entry], entry: Entry, cost: Cost) -> list[str]:
    """What a cost does to those of its name and kind that are kept: never in silence."""
    same = [(e, c) for e, c in of_kind(before, Cost) if (c.what.casefold(), c.kind) == (cost.what.casefold(), cost.kind)]
    if cost.kind == "variable":
        alike = [e.number for e, c in same if c == cost and e.moment.date() == entry.moment.date()]
        return [f"Entry {alike[0]} says the same of that day; both count. Where it is the same thing, withdraw one by `ownship log "
                "withdraw`."] if alike else []
    later = [e for e, _ in same if e.moment > entry.moment]
    if later:
        return [f"From {later[0].moment.date()} on entry {later[0].number} stands in its place."]
    acting = [(e, c) for e, c in same if c.price.amount > 0][-1:]
    if cost.price.amount == 0:
        return [f"It ends entry {e.number}." for e, _ in acting] or ["There was none of this name and kind to end."]
    return [f"It takes the place of entry {e.number}, {c.price.amount:,} {c.price.currency}." for e, c in acting]


def _which_to_write(records: Records, named: str | None) -> str:
    """The aeroplane of a cost: the one named ("any": none by name), else the only one known."""
    if named is not None and named.strip().casefold() == "any":
        return ""
    return registration(named) if named is not None else _which(records.standing(), None)


# ---- a planned flight


def flight(aeroplane_file: str, flight_file: str | None = None, price: str | None = None, fees: Iterable[str] | None = None,
           persons: int | None = None, place: str | None = None, flight_hours: str | None = None, aeroplane: str | None = None,
           folder: Path | None = None) -> Told:
    """What a planned flight costs: the plan's burn and time, the record's rates; and what of it may be shared, by place."""
    from ownship.questions.check import check

    return planned(lambda: check(aeroplane_file, flight_file), flight_file or aeroplane_file, price, fees, persons, place,
                   flight_hours, aeroplane, folder)


def planned(ask: Callable[[], Assessment], name: str, price: str | None = None, fees: Iterable[str] | None = None,
            persons: int | None = None, place: str | None = None, flight_hours: str | None = None, aeroplane: str | None = None,
            folder: Path | None = None) -> Told:
    """The same of a plan that is asked for once what is typed is in order; name: of the flight in the answer."""
    given = None if price is None else rates.read_price(price, "--price")
    charged = [rates.read_money(f, "--fees") for f in fees or ()]
    yearly = None if flight_hours is None else hours_of(flight_hours)
    places = _places(place)
    if persons is not None and not 1 <= persons <= 20:
        raise BadInput(f"--persons: {persons} aboard are not believable; write 1 to 20, the pilot among them.")
    with opened(folder) as records:
        kept = records.standing()
    which, day = _which(kept, aeroplane), today_utc()
    fuel = given or _fuel_price(kept, which, day)
    plan = ask()
    burn, flown = _burn(plan), date.fromisoformat(str(plan.request["departure"])[:10])
    found = rates.costs(kept, which, day, spending.routine_maintenance_1())
    per_year = found.flown_h if yearly is None else yearly
    priced = spending.flight_costs(found.tables, burn, per_year or 0.0, fuel, charged)
    data = {"schema": 1, "flight": name, "aeroplane": which or None,
            "fuel": {"value": round(float(from_si(burn.fuel_m3, "usgal")), 3), "unit": "usgal"},
            "time": {"value": round(burn.time_h, 3), "unit": "h"}, "fuel_price": paper.litre_or_gallon(fuel),
            "currencies": [paper.flight_json(c, [(p, _shared(c, p, persons, flown)) for p in places], persons) for c in priced],
            "missing": [w for w in found.missing if not w.startswith(("No fixed", "No fuel"))] + _left_out(found.tables, per_year),
            "words": [f"Fuel at {paper.litre_or_gallon(fuel)}. Fixed costs are the year's and not in it."],
            "cautions": list(paper.CAUTIONS)}
    return Told(data, paper.flight_lines(data))


def _places(place: str | None) -> tuple[str, ...]:
    known = spending.sharing_places()
    if place is None:
        return known
    found = next((p for p in known if p.casefold() == place.strip().casefold()), None)
    if found is None:
        raise BadInput(f"--place: {place[:40]!r} has no rule of sharing here; allowed are {', '.join(known)}.")
    return (found,)


def _shared(cost: spending.FlightCost, place: str, persons: int | None, on: date) -> spending.Share | str:
    try:
        return spending.share(cost, place, persons or 1, on)
    except BadInput as error:
        return str(error)


def _left_out(tables: Iterable[rates.CostTable], yearly_h: float | None) -> list[str]:
    """Reserves that have no rate an hour without hours a year."""
    names = [r.what for t in tables for r in t.rates if r.life and r.reserve_an_hour(yearly_h or 0.0) is None]
    return [f"No hours a year are known, so the reserve of {', '.join(names)} is in no figure; say them by "
            "--flight-hours."] if names else []


def _fuel_price(kept: Sequence[Entry], which: str, day: date) -> Money:
    """Mean price of the last 12 months; BadInput where there is none, or several currencies."""
    found = spending.last_year_price(kept, which, day)
    if len(found) != 1:
        why = "in several currencies" if found else "with its price nowhere"
        raise BadInput(f"Fuel of the last 12 months is kept {why}; give a price, such as --price \"6.20 USD/usgal\".")
    return Money(found[0].price_m3, found[0].currency)


def _burn(plan: Assessment) -> spending.Burn:
    """Fuel and time of the plan, from its first moment to the last landing."""
    if not plan.timeline:
        raise BadInput("The flight as planned cannot be flown to its end, so it has no burn; look at it by `ownship check`.")
    last = plan.timeline[-1]
    used, elapsed = last.fuel_used, last.elapsed
    low, high = (None if v is None else float(to_si(v, used.unit, "volume")) for v in (used.low, used.high))
    return spending.Burn(float(to_si(used.value, used.unit, "volume")), low, high,
                         float(from_si(to_si(elapsed.value, elapsed.unit, "time"), "h")))


# ---- a modification


def payback(price: str, flight_hours: str, fuel: str | None = None, saves: Iterable[str] | None = None,
            dearer: Iterable[str] | None = None, useful_load: str = "0 lb", fuel_price: str | None = None,
            aeroplane: str | None = None, folder: Path | None = None) -> Told:
    """When a modification has paid for itself: its price over what an hour saves in fuel, maintenance and reserves."""
    cost, hours = rates.read_money(price, "--price"), hours_of(flight_hours)
    change = parse(useful_load, "mass", "--useful-load")
    savings = [*(rates.read_money(x, "--saves") for x in saves or ()),
               *(Money(-m.amount, m.currency) for m in (rates.read_money(x, "--dearer") for x in dearer or ()))]
    if fuel is not None:
        flow = parse(fuel, "volume flow", "--fuel")
        savings.append(_fuel_saved(flow, fuel_price, aeroplane, folder))
    if not savings:
        raise BadInput("Nothing that an hour saves is given; write --fuel \"0.6 usgal/h\", --saves \"3 USD\" or both.")
    told = paper.payback_json(spending.payback(cost, savings, hours, change), cost, hours)
    return Told({"schema": 1, **told, "cautions": list(paper.CAUTIONS[:1])}, (told["sentence"],))


def _fuel_saved(flow_m3_s: float, price: str | None, aeroplane: str | None, folder: Path | None) -> Money:
    if price is not None:
        money = rates.read_price(price, "--fuel-price")
    else:
        with opened(folder) as records:
            kept = records.standing()
        money = _fuel_price(kept, _which(kept, aeroplane), today_utc())
    return Money(rates.decimal(flow_m3_s * float(to_si(1.0, "h"))) * money.amount, money.currency)


# ---- a sale


def sheet(flight_hours: str | None = None, aeroplane: str | None = None, export: str | None = None, folder: Path | None = None,
          on: date | None = None) -> Told:
    """The buying and selling sheet; export: the aeroplane's record into a new folder, without other people's data."""
    from ownship.ownership.sale import sheet as made
    from ownship.papers.sale import sheet_json, sheet_lines

    yearly, day = None if flight_hours is None else hours_of(flight_hours), on or today_utc()
    with opened(folder) as records:
        kept = records.standing()
        which = _which(kept, aeroplane)
        every = records.all(aeroplane=which) if export is not None else ()
        others = records.all() if export is not None else ()
    per_year = rates.flown_h(kept, which, _year_before(day), day) if yearly is None else yearly
    data: dict[str, Any] = {"schema": 1, **sheet_json(made(kept, which, day, per_year)), "words": [] if standing(kept) else [EMPTY]}
    if export is not None:
        data["export"], words = _exported(every, others, which, export)
        data["words"] += words
    return Told(data, sheet_lines(data))


def _exported(every: Sequence[Entry], others: Sequence[Entry], which: str, folder: str) -> tuple[str, list[str]]:
    from ownship.ownership.sale import SIGNED, without_others
    from ownship.questions.places import write_whole
    from ownship.store.exchange import MANIFEST, exported

    target = Path(folder).absolute()
    if not target.parent.is_dir() or (target.exists() and (not target.is_dir() or any(target.iterdir()))):
        raise BadInput(f"--export: {folder} lies in no folder, is a file or holds something; name a new or an empty folder.")
    if not which or not every:
        raise BadInput("--export: the record holds nothing of an aeroplane by name; say which by --aeroplane.")
    given = without_others(every, others)
    files = exported(given, datetime.now(UTC))
    try:
        target.mkdir(exist_ok=True)
        for name in sorted(files, key=lambda n: (n == MANIFEST, n)):
            write_whole(target / name, files[name])
    except OSError as error:
        raise UnreadableFile(f"{folder} cannot be written ({error.strerror or error}); remove it, make room, try again.") from None
    return str(target), [f"{len(given):,} entries of {which} are in {target}: pilots, partners and settings left out. {SIGNED}",
                         "Read the remarks before you hand it over: a nickname is not found."]
