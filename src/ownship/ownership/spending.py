"""The owner's money as it was spent, what fuel and oil really cost, and what one planned flight costs and who may share it.

Each currency by itself. A year is the months of the calendar in UTC.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cache

from ownship.errors import BadInput
from ownship.ownership.airframe_totals import TOTALS
from ownship.ownership.costs import (
    FEES,
    FUEL,
    LAST_DAYS,
    OIL,
    ZERO,
    CostTable,
    decimal,
    mine,
    stated_costs,
    sums,
)
from ownship.ownership.entries import Cost, Entry, FuelAdded, MaintenanceDone, Money, OilAdded, of_kind
from ownship.provenance import Source, datum, package_toml, source_of
from ownship.schema import Table

GROUPS = ("fuel", "oil", "maintenance", "fixed", "variable")  # of what a year holds, in the order drawn
SHARES = (FUEL, OIL, FEES, "rental")


# ---- a year as it was spent


@dataclass(frozen=True)
class Month:
    """One month: money by group, in the order of GROUPS, and the running total of the year at its end."""

    month: str
    spent: tuple[Decimal, ...]
    running: Decimal


@dataclass(frozen=True)
class Year:
    """A year in one currency, January to the month of `until`; words say what is in it and what is not."""

    year: int
    currency: str
    until: date
    months: tuple[Month, ...]
    words: tuple[str, ...]

    @property
    def total(self) -> Decimal:
        """Spent up to the end of the last month shown."""
        return self.months[-1].running


def years(entries: Iterable[Entry], aeroplane: str, year: int, on: date) -> tuple[Year, ...]:
    """A year's money by month and kind, a value for each currency; months after `on` are not there yet.

    fuel, oil: their prices; maintenance: what was paid for what was done; variable: as it happened; fixed: a twelfth of the
    year's amount in each month from the one it was written down in. Reserves and hourly costs are set aside, not spent, and not
    in it. Empty where nothing was spent.
    """
    until = min(on, date(year, 12, 31))
    if until.year < year:
        return ()
    kept = mine(entries, aeroplane, until)
    paid: list[tuple[int, str, Money]] = [*_paid(kept, year), *_fixed(entries, aeroplane, year, until.month)]
    missing = _unpriced(kept, year)
    currencies = sorted({m.currency for _, _, m in paid if m.amount > 0})
    return tuple(Year(year, c, until, _months(year, until.month, [p for p in paid if p[2].currency == c]), missing)
                 for c in currencies)


def _paid(kept: Sequence[Entry], year: int) -> list[tuple[int, str, Money]]:
    found = []
    for e in kept:
        b = e.body
        if isinstance(b, FuelAdded | OilAdded) and b.price is not None:
            found.append((e.moment.date(), FUEL if isinstance(b, FuelAdded) else OIL, b.price))
        elif isinstance(b, MaintenanceDone) and b.cost is not None:
            found.append((b.day, "maintenance", b.cost))
        elif isinstance(b, Cost) and b.kind == "variable":
            found.append((e.moment.date(), "variable", b.price))
    return [(day.month, group, money) for day, group, money in found if day.year == year]


def _fixed(entries: Iterable[Entry], aeroplane: str, year: int, last: int) -> list[tuple[int, str, Money]]:
    """A twelfth a month of the fixed costs that act on the last day of each month."""
    every = tuple(e for e in entries if isinstance(e.body, Cost))
    found = []
    for month in range(1, last + 1):
        next_month = date(year + month // 12, month % 12 + 1, 1)
        for _, c in stated_costs(mine(every, aeroplane, date.fromordinal(next_month.toordinal() - 1))):
            if c.kind == "fixed":
                found.append((month, "fixed", Money(c.price.amount / decimal(c.per_years or 1.0) / 12, c.price.currency)))
    return found


def _months(year: int, last: int, paid: Sequence[tuple[int, str, Money]]) -> tuple[Month, ...]:
    found, running = [], ZERO
    for month in range(1, last + 1):
        spent = tuple(sum((m.amount for n, g, m in paid if n == month and g == group), ZERO) for group in GROUPS)
        running += sum(spent, ZERO)
        found.append(Month(f"{year:04d}-{month:02d}", spent, running))
    return tuple(found)


def _unpriced(kept: Sequence[Entry], year: int) -> tuple[str, ...]:
    fills = sum(1 for e in kept if isinstance(e.body, FuelAdded | OilAdded) and e.body.price is None and e.body.amount_m3 > 0
                and e.moment.year == year)
    done = sum(1 for e in kept if isinstance(e.body, MaintenanceDone) and e.body.cost is None and e.body.day.year == year
               and e.body.name != TOTALS)
    def words(count: int, what: str) -> str:
        head, have, are = ("entry", "has", "is") if count == 1 else ("entries", "have", "are")
        return f"{count} {head} of {what} of the year {have} no price noted and {are} in no figure."
    return tuple(words(count, what) for count, what in ((fills, "fuel and oil"), (done, "maintenance")) if count)


# ---- what was really bought


@dataclass(frozen=True)
class Bought:
    """Fuel or oil bought in one currency: volume (m3) with a price, money, and both by month ("2026-07", m3, money)."""

    what: str
    currency: str
    amount_m3: float
    paid: Decimal
    months: tuple[tuple[str, float, Decimal], ...]

    @property
    def price_m3(self) -> Decimal:
        """Mean price of a cubic metre, by volume: all the money over all the volume."""
        return self.paid / decimal(self.amount_m3)


def bought(entries: Iterable[Entry], aeroplane: str, since: date, until: date) -> tuple[Bought, ...]:
    """What was bought after `since` and up to `until`, fuel and oil apart, by currency; entries without a price not in it."""
    kept = [e for e in mine(entries, aeroplane, until) if e.moment.date() > since]
    found = []
    kinds: tuple[tuple[str, type[FuelAdded] | type[OilAdded]], ...] = ((FUEL, FuelAdded), (OIL, OilAdded))
    for what, kind in kinds:
        priced = [(f"{e.moment:%Y-%m}", b.amount_m3, b.price) for e, b in of_kind(kept, kind)
                  if b.price is not None and b.amount_m3 > 0]
        for currency in sorted({p.currency for _, _, p in priced}):
            lines = [(month, m3, p.amount) for month, m3, p in priced if p.currency == currency]
            found.append(Bought(what, currency, sum(m3 for _, m3, _ in lines), sum((a for _, _, a in lines), ZERO),
                                _by_month(lines)))
    return tuple(found)


def _by_month(lines: Sequence[tuple[str, float, Decimal]]) -> tuple[tuple[str, float, Decimal], ...]:
    return tuple((month, sum(m3 for m, m3, _ in lines if m == month), sum((a for m, _, a in lines if m == month), ZERO))
                 for month in sorted({m for m, _, _ in lines}))


def last_year_price(entries: Iterable[Entry], aeroplane: str, on: date) -> tuple[Bought, ...]:
    """Fuel bought in the last 12 months."""
    return tuple(b for b in bought(entries, aeroplane, date.fromordinal(on.toordinal() - LAST_DAYS), on) if b.what == FUEL)


# ---- a planned flight


@dataclass(frozen=True)
class FlightLine:
    """One part of a flight's cost; low, high: its 5 and 95 % where the plan's burn has a band."""

    what: str
    group: str
    amount: Decimal
    low: Decimal | None = None
    high: Decimal | None = None


@dataclass(frozen=True)
class FlightCost:
    """What a flight costs in one currency, part by part."""

    currency: str
    lines: tuple[FlightLine, ...]

    @property
    def total(self) -> Decimal:
        """The sum of the parts."""
        return sum((line.amount for line in self.lines), ZERO)

    def of(self, groups: Iterable[str]) -> Decimal:
        """The sum of some groups."""
        wanted = set(groups)
        return sum((line.amount for line in self.lines if line.group in wanted), ZERO)


@dataclass(frozen=True)
class Burn:
    """The fuel a plan burns (m3) with its 5 and 95 %, and how long it takes block to block (h)."""

    fuel_m3: float
    low_m3: float | None
    high_m3: float | None
    time_h: float


def flight_costs(tables: Iterable[CostTable], burn: Burn, yearly_h: float, price_m3: Money,
                 fees: Iterable[Money] = ()) -> tuple[FlightCost, ...]:
    """Fuel by the plan's burn x price; oil, hourly costs and reserves by its time; fees as given. A value for each currency.

    yearly_h: the hours a year by which the low-use rule sets the reserves. Fixed costs are not in it: they are the year's.
    """
    amounts = [None if v is None else decimal(v) * price_m3.amount for v in (burn.low_m3, burn.high_m3)]
    fuel = FlightLine(FUEL, FUEL, decimal(burn.fuel_m3) * price_m3.amount, *amounts)
    found: dict[str, list[FlightLine]] = {price_m3.currency: [fuel]}
    for t in tables:
        for r in t.rates:
            an_hour = r.reserve_an_hour(yearly_h) if r.life else r.an_hour
            if an_hour and r.group != FUEL and r.kind != "variable":
                found.setdefault(t.currency, []).append(FlightLine(r.what, r.group, an_hour * decimal(burn.time_h)))
    for m in sums(fees):
        found.setdefault(m.currency, []).append(FlightLine("fees", FEES, m.amount))
    return tuple(FlightCost(c, tuple(found[c])) for c in sorted(found))


# ---- who may share it


@dataclass(frozen=True)
class SharingRule:
    """What a private pilot may share at a place: groups, most persons (None: not said), and whether an equal share is the
    least that the pilot pays; first and last day in force (effective_to None: still)."""

    place: str
    section: str
    effective_from: date
    effective_to: date | None
    shares: tuple[str, ...]
    equal_at_least: bool
    most_persons: int | None
    words: str
    source: Source


@dataclass(frozen=True)
class Share:
    """The shareable part of a flight in one currency, an equal share of it, and the rule in words."""

    currency: str
    shareable: Decimal
    each: Decimal
    persons: int
    words: str


@cache
def sharing_rules() -> tuple[SharingRule, ...]:
    """The rules of the package."""
    return read_sharing(package_toml("rules", "costs", "sharing.toml"))


def read_sharing(root: Table) -> tuple[SharingRule, ...]:
    """A file of sharing rules as docs/formats/costs.md describes it; two texts of one place on one day are refused."""
    root.table("routine_maintenance")
    rules = tuple(_rule(t) for t in root.tables("place"))
    root.done()
    for rule in rules:
        if len([r for r in rules if r.place == rule.place and _in_force(r, rule.effective_from)]) > 1:
            raise BadInput(f"{rule.place}: two texts on sharing are in force on {rule.effective_from}; end the older one.")
    return rules


def sharing_places() -> tuple[str, ...]:
    """The places that have rules of sharing."""
    return tuple(dict.fromkeys(r.place for r in sharing_rules()))


def sharing_rule(place: str, on: date) -> SharingRule:
    """The rule of a place in force on the day of a flight; BadInput where none is kept of it."""
    of_place = [r for r in sharing_rules() if r.place == place]
    if not of_place:
        raise BadInput(f"place: {place!r} has no rule of sharing here; allowed are {', '.join(sharing_places())}.")
    found = next((r for r in of_place if _in_force(r, on)), None)
    if found is None:
        raise BadInput(f"{place}: no text on sharing is kept for a flight of {on} (the first is kept from "
                       f"{min(r.effective_from for r in of_place)} on), so what could be shared is not known.")
    return found


def _in_force(rule: SharingRule, on: date) -> bool:
    return rule.effective_from <= on and (rule.effective_to is None or on <= rule.effective_to)


@cache
def routine_maintenance_1() -> float:
    """The starting rule: routine maintenance as a share of the hourly fuel and oil."""
    table = package_toml("rules", "costs", "sharing.toml").table("routine_maintenance", needed=True)
    assert table is not None
    return datum(table, "ratio").value


def _rule(t: Table) -> SharingRule:
    dated = str(t.take("source_date", ""))
    source = source_of(t)
    begin, end = t.take("effective_from"), t.take("effective_to", None)
    for key, day in (("effective_from", begin), ("effective_to", end)):
        if day is not None and type(day) is not date:
            raise t.bad(key, f"{day!r} should be a date, as 2014-07-01.")
    if end is not None and end < begin:
        raise t.bad("effective_to", f"{end} is before effective_from, {begin}.")
    rule = SharingRule(t.text("place"), t.text("section"), begin, end, t.texts("shares"), t.flag("equal_at_least", False),
                       t.integer("most_persons", None, 1, 20), t.text("words"), Source(source.text, source.status, dated))
    if unknown := set(rule.shares) - set(SHARES):
        raise t.bad("shares", f"{sorted(unknown)[0]!r} cannot be shared; allowed are {', '.join(SHARES)}.")
    t.done()
    return rule


def share(cost: FlightCost, place: str, persons: int, on: date) -> Share:
    """The shareable part of a flight by the rule of a place on the flight's day and an equal share of it; persons: all aboard,
    the pilot too.

    BadInput for a place without a rule on that day, and where the rule allows fewer persons: then nothing may be shared by it.
    """
    rule = sharing_rule(place, on)
    if not 1 <= persons <= 20:
        raise BadInput(f"persons: {persons} aboard are not believable; allowed is 1 to 20, the pilot among them.")
    if rule.most_persons is not None and persons > rule.most_persons:
        raise BadInput(f"persons: {rule.section} allows {rule.most_persons} aboard at most and {persons} are given; nothing may be "
                       "shared by it.")
    part = cost.of(rule.shares)
    status = "" if rule.source.status == "read" else f" ({rule.source.status}: check it)"
    least = " The pilot pays at least the equal share." if rule.equal_at_least else ""
    return Share(cost.currency, part, part / persons, persons, f"{rule.section}{status}: {rule.words}{least}")


# ---- a modification


@dataclass(frozen=True)
class Payback:
    """Years until a modification has paid for itself (None: never), what it saves a year, and the useful load it changes."""

    years: float | None
    saved_a_year: Decimal
    currency: str
    useful_load_change_kg: float


def payback(cost: Money, saved_an_hour: Iterable[Money], hours_h: float, useful_load_change_kg: float) -> Payback:
    """Years = cost / ((fuel + maintenance + reserve saved in an hour) x hours a year); a dearer hour is a saving below 0.

    The change of useful load (kg) stands beside it, for it is often what a modification is really paid with. BadInput where a
    saving is in another currency.
    """
    savings = list(saved_an_hour)
    if other := [m.currency for m in savings if m.currency != cost.currency]:
        raise BadInput(f"The cost is in {cost.currency} and a saving in {other[0]}; give both in one currency.")
    year = sum((m.amount for m in savings), ZERO) * decimal(hours_h)
    return Payback(float(cost.amount / year) if year > 0 else None, year, cost.currency, useful_load_change_kg)
