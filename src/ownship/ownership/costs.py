"""What owning costs: fixed, by the hour, reserves and calendar items as rates; a year and an hour against hours flown.

One table for each currency, never added. Hours are air time, flight time where a flight has no air time noted. What is
kept nowhere is named in `missing` and is in no figure. docs/methods/costs.md has formulas and sources.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal

from ownship.errors import BadInput
from ownship.ownership.entries import COST_KINDS, Cost, Entry, Flight, FuelAdded, Money, OilAdded, of_kind, standing
from ownship.units import from_si, to_si

ZERO = Decimal(0)
DAYS_A_YEAR = 365.25
LAST_DAYS = 365
FUEL, OIL, FEES, OTHER = "fuel", "oil", "fees", "other"
ESTIMATE = "estimate"
LARGEST = Decimal(10) ** 9
LONGEST_NAME = 80
# a comma stands before three figures only: "12,50 EUR" is no 1,250, and "1,250 EUR" is
_NUMBER = r"([0-9]{1,3}(?:,[0-9]{3})+(?:\.[0-9]+)?|[0-9]+(?:\.[0-9]+)?|\.[0-9]+)"
_AMOUNT = re.compile(rf"\s*(?:([A-Za-z]{{3}})\s*{_NUMBER}|{_NUMBER}\s*([A-Za-z]{{3}}))\s*")


def read_money(text: str, field: str = "price") -> Money:
    """An amount with its currency, "1,250.50 USD" or "EUR 80"; BadInput without a currency, below 0 or beyond belief."""
    match = _AMOUNT.fullmatch(text) if text.isascii() and len(text) < 60 else None
    if match is None:
        raise BadInput(f"{field}: {text[:40]!r} is no amount of money; write a number and the three letters of its currency, such "
                       "as \"1250 USD\".")
    amount = Decimal((match[2] or match[3]).replace(",", ""))
    if amount > LARGEST:
        raise BadInput(f"{field}: {text[:40]!r} is not believable; allowed is up to {LARGEST:,}.")
    return Money(amount, (match[1] or match[4]).upper())


def read_price(text: str, field: str = "price") -> Money:
    """A price of fuel or oil, "6.20 USD/usgal" or "2.1 EUR/l", as the money for a cubic metre."""
    amount, slash, unit = text.rpartition("/")
    if not slash or unit.strip() not in ("usgal", "l", "m3", "qt"):
        raise BadInput(f"{field}: {text[:40]!r} is no price; write one with its unit, such as \"6.20 USD/usgal\".")
    money = read_money(amount, field)
    return Money(money.amount / decimal(float(to_si(1.0, unit.strip(), "volume"))), money.currency)


def decimal(number: float) -> Decimal:
    """A float as the decimal that it is written as."""
    return Decimal(repr(float(number)))


def sums(amounts: Iterable[Money]) -> tuple[Money, ...]:
    """The sum of each currency by itself, by the currency's name."""
    found: dict[str, Decimal] = {}
    for m in amounts:
        found[m.currency] = found.get(m.currency, ZERO) + m.amount
    return tuple(Money(found[c], c) for c in sorted(found))


def checked(cost: Cost) -> Cost:
    """The same cost, or BadInput where its kind lacks what it needs or its numbers cannot be."""
    c = cost
    if not c.what.strip() or len(c.what) > LONGEST_NAME or not c.what.isprintable():
        raise BadInput(f"what: {c.what[:40]!r} is no name of a cost; write one line of 1 to {LONGEST_NAME} characters.")
    if c.kind not in COST_KINDS:
        raise BadInput(f"kind: {c.kind!r} is no kind of cost; allowed are {', '.join(COST_KINDS)}.")
    if c.kind == "reserve" and c.per_hours_h is None and c.per_years is None:
        raise BadInput(f"{c.what}: a reserve needs the hours or the years it is for; give --hours, --years or both.")
    if c.kind == "calendar" and c.per_years is None:
        raise BadInput(f"{c.what}: a calendar item needs the years between two of them; give --years.")
    if c.shareable and c.kind not in ("hourly", "variable"):
        raise BadInput(f"{c.what}: a {c.kind} cost is not charged for a flight, so it cannot be shared; leave --shareable out.")
    for name, value, most in (("hours", c.per_hours_h, 1e5), ("years", c.per_years, 200.0)):
        if value is not None and not 0.01 <= value <= most:
            raise BadInput(f"{c.what}: {name} of {value:g} are not believable; allowed is 0.01 to {most:,.0f}.")
    if c.since_h is not None and not 0 <= c.since_h <= 1e5:
        raise BadInput(f"{c.what}: {c.since_h:g} hours since are not believable; allowed is 0 to 100,000.")
    if c.fund is not None and c.fund.currency != c.price.currency:
        raise BadInput(f"{c.what}: the fund is in {c.fund.currency}, the price in {c.price.currency}; give both in one.")
    return cost


USED = {"fixed": ("years",), "hourly": ("hours",), "calendar": ("years", "since-day", "fund"), "variable": (),
        "reserve": ("years", "hours", "since-hours", "since-day", "fund")}  # which options a kind's figures use


def refuse_unused(cost: Cost) -> None:
    """Refuse what a cost of its kind would drop in silence, such as the years of an hourly cost."""
    given = {"years": cost.per_years, "hours": cost.per_hours_h, "since-hours": cost.since_h, "since-day": cost.since_day,
             "fund": cost.fund}
    unused = next((n for n, v in given.items() if v is not None and n not in USED[cost.kind]), None)
    if unused is not None:
        used = ", ".join(f"--{n}" for n in USED[cost.kind]) or "nothing besides the price"
        raise BadInput(f"--{unused}: the figures of a {cost.kind} cost do not use it, only {used}; leave it out, or choose another "
                       f"kind than {cost.kind}, such as reserve.")


# ---- what acts


@dataclass(frozen=True)
class Rate:
    """One cost as it acts, in one currency: so much a year whatever is flown, so much an hour, or a life of hours and years.

    kind: that of the entry, "bought" or "estimate"; group: fuel, oil, fees (charged for a flight) or other.
    """

    what: str
    kind: str
    currency: str
    a_year: Decimal = ZERO
    an_hour: Decimal = ZERO
    life: Decimal = ZERO
    life_h: float | None = None
    life_years: float | None = None
    group: str = OTHER
    words: str = ""

    def by_calendar(self, hours_h: float) -> bool:
        """Whether a reserve's years end before its hours at so many hours a year."""
        return self.life_years is not None and (self.life_h is None or hours_h * self.life_years < self.life_h)

    def fixed(self, hours_h: float) -> Decimal:
        """Money a year that flying an hour less would not save."""
        if self.life and self.life_years is not None and self.by_calendar(hours_h):
            return self.life / decimal(self.life_years)
        return self.a_year

    def hourly(self, hours_h: float) -> Decimal:
        """Money for one more hour, at so many hours a year."""
        if self.life and self.life_h is not None and not self.by_calendar(hours_h):
            return self.life / decimal(self.life_h)
        return self.an_hour

    def reserve_an_hour(self, hours_h: float) -> Decimal | None:
        """Reserve for an hour: cost over effective hours; None for what is no reserve, or where nothing is flown."""
        if not self.life:
            return None
        hours = effective_hours_h(self.life_h, hours_h, self.life_years)
        return self.life / decimal(hours) if hours > 0 else None


def effective_hours_h(life_h: float | None, yearly_h: float, life_years: float | None) -> float:
    """Low-use rule: effective hours = min(life in hours, hours a year x life in years); a limit that is None does not count.

    Check: 60 h a year with 12 years is 720 h, not 2,000 (rules.md section 8).
    """
    return min(float("inf") if life_h is None else life_h, float("inf") if life_years is None else yearly_h * life_years)


@dataclass(frozen=True)
class CostTable:
    """Everything that costs money in one currency; total a year = fixed + hours x by the hour."""

    currency: str
    rates: tuple[Rate, ...]

    def fixed(self, hours_h: float) -> Decimal:
        """F: money a year that does not depend on one hour more or less, reserves limited by their years among it."""
        return sum((r.fixed(hours_h) for r in self.rates), ZERO)

    def hourly(self, hours_h: float) -> Decimal:
        """v: money for one more hour at so many hours a year."""
        return sum((r.hourly(hours_h) for r in self.rates), ZERO)

    def year(self, hours_h: float) -> Decimal:
        """Total of a year: F + v h."""
        return self.fixed(hours_h) + self.hourly(hours_h) * decimal(hours_h)

    def hour(self, hours_h: float) -> Decimal | None:
        """Total of an hour: F / h + v; None where nothing is flown."""
        return self.year(hours_h) / decimal(hours_h) if hours_h > 0 else None


@dataclass(frozen=True)
class Costs:
    """The tables of every currency, hours flown in the last 12 months (None: no flight is kept), what is missing in words."""

    tables: tuple[CostTable, ...]
    flown_h: float | None
    missing: tuple[str, ...]


def mine(entries: Iterable[Entry], aeroplane: str, on: date) -> tuple[Entry, ...]:
    """What stands of one aeroplane, and of none by name, up to a day (UTC)."""
    return tuple(e for e in standing(entries) if e.aeroplane in (aeroplane, "") and e.moment.date() <= on)


def flown_h(entries: Iterable[Entry], aeroplane: str, since: date, until: date) -> float | None:
    """Hours of the flights that end after `since` and up to `until`; air time, or flight time; None: no flight is kept."""
    flights = [f for e, f in of_kind(mine(entries, aeroplane, until), Flight)]
    if not flights:
        return None
    within = [f for f in flights if since < f.on_blocks.date() <= until]
    return sum(float(from_si(f.flight_s if f.air_s is None else f.air_s, "h")) for f in within)


def costs(entries: Iterable[Entry], aeroplane: str, on: date, maintenance_1: float, flow_m3_s: float | None = None) -> Costs:
    """The rates that act on a day: stated ones as they stand, fuel, oil and what happened from the last 12 months.

    maintenance_1: routine maintenance as a share of the hourly fuel and oil, taken where no hourly cost is stated, and marked
    as an estimate; flow: mean fuel flow (m3/s) where it is not to be bought over flown. A later entry of the same name and
    kind replaces the earlier one, and one of amount 0 ends it.
    """
    kept = mine(entries, aeroplane, on)
    hours = flown_h(kept, aeroplane, on - timedelta(days=LAST_DAYS), on)
    recent = tuple(e for e in kept if e.moment.date() > on - timedelta(days=LAST_DAYS))
    stated, missing = _stated(kept)
    found = [*stated, *_happened(recent, hours)]
    kinds: tuple[tuple[str, type[FuelAdded] | type[OilAdded]], ...] = ((FUEL, FuelAdded), (OIL, OilAdded))
    for group, kind in kinds:
        rates, words = _bought_an_hour(recent, kind, group, hours, flow_m3_s if group == FUEL else None)
        found, missing = [*found, *rates], [*missing, *words]
    if not any(r.kind == "hourly" for r in found):
        found += _estimates(found, maintenance_1)
        missing.append("No cost by the hour is stated: routine maintenance is a starting rule, or, without fuel, in no figure.")
    if not any(r.kind == "fixed" for r in found):
        missing.append("No fixed cost is kept (hangar, insurance, inspection, taxes, interest): a year costs more than shown.")
    if not any(r.life for r in found):
        missing.append("No reserve is kept (engine, propeller): an hour costs more than shown.")
    return Costs(tuple(CostTable(c, tuple(r for r in found if r.currency == c)) for c in sorted({r.currency for r in found})),
                 hours, tuple(missing))


def stated_costs(kept: Iterable[Entry]) -> tuple[tuple[Entry, Cost], ...]:
    """The stated costs that act: the latest of each name and kind, without those ended; nothing that happened once.

    One of an aeroplane goes before one for any aeroplane, whichever was written first; where it is ended the general one counts.
    """
    latest = {(e.aeroplane, c.what.casefold(), c.kind): (e, c) for e, c in of_kind(kept, Cost) if c.kind != "variable"}
    acting = {key: pair for key, pair in latest.items() if pair[1].price.amount > 0}
    own = {key[1:] for key in acting if key[0]}
    return tuple(pair for key, pair in acting.items() if key[0] or key[1:] not in own)


def _stated(kept: Sequence[Entry]) -> tuple[list[Rate], list[str]]:
    rates, missing = [], []
    for _, c in stated_costs(kept):
        try:
            rates.append(_rate(checked(c)))
        except BadInput as error:
            missing.append(f"Left out of every figure: {error}")
    return rates, missing


def _rate(c: Cost) -> Rate:
    blank = Rate(c.what, c.kind, c.price.currency, group=FEES if c.shareable else OTHER)
    if c.kind == "hourly":
        return replace(blank, an_hour=c.price.amount / decimal(c.per_hours_h or 1.0))
    if c.kind == "reserve":
        return replace(blank, life=c.price.amount, life_h=c.per_hours_h, life_years=c.per_years)
    return replace(blank, a_year=c.price.amount / decimal(c.per_years or 1.0))


def _happened(recent: Sequence[Entry], hours: float | None) -> list[Rate]:
    """What happened in the last 12 months: fees charged for flights by the hour flown, all else by the year."""
    found = []
    paid: dict[tuple[bool, str], list[Money]] = {}
    for _, c in of_kind(recent, Cost):
        if c.kind == "variable":
            paid.setdefault((c.shareable, c.price.currency), []).append(c.price)
    for (fees, currency), amounts in paid.items():
        total = sums(amounts)[0].amount
        what = "fees charged for flights, as in the last 12 months" if fees else "as it happened in the last 12 months"
        hourly = fees and bool(hours)
        found.append(Rate(what, "variable", currency, ZERO if hourly else total,
                          total / decimal(hours) if hourly and hours else ZERO, group=FEES if fees else OTHER))
    return found


def _bought_an_hour(recent: Sequence[Entry], kind: type[FuelAdded] | type[OilAdded], group: str, hours: float | None,
                    flow_m3_s: float | None) -> tuple[list[Rate], list[str]]:
    """Price by volume x volume an hour, by currency: bought over flown, or at a flow that is given."""
    bodies = [b for _, b in of_kind(recent, kind) if b.amount_m3 > 0]
    priced = [b for b in bodies if b.price is not None]
    if not priced:
        return [], [f"No {group} with its price is kept for the last 12 months: an hour is shown without {group}."]
    if not hours and flow_m3_s is None:
        return [], [f"No hours are kept for the last 12 months, so {group} bought cannot be told by the hour: shown without it."]
    volume = sum(b.amount_m3 for b in priced)
    unpriced = sum(b.amount_m3 for b in bodies) - volume
    an_hour_m3 = float(to_si(1.0, "h")) * flow_m3_s if flow_m3_s is not None else (volume + unpriced) / (hours or 1.0)
    rates = []
    for paid in sums(b.price for b in priced if b.price is not None):
        how = "at the flow given" if flow_m3_s is not None else "bought over flown, last 12 months"
        more = "; what has no price noted counted at it" if unpriced > 0 else ""
        rates.append(Rate(group, "bought", paid.currency, an_hour=paid.amount * decimal(an_hour_m3 / volume), group=group,
                          words=f"mean price by volume, {how}{more}"))
    return rates, []


def _estimates(found: Sequence[Rate], share_1: float) -> list[Rate]:
    burnt = sums(Money(r.an_hour, r.currency) for r in found if r.group in (FUEL, OIL))
    return [Rate("routine maintenance", ESTIMATE, m.currency, an_hour=m.amount * decimal(share_1),
                 words=f"a starting rule: {share_1:.0%} of the hourly fuel and oil; state your own".replace("%", " %"))
            for m in burnt if m.amount > 0]


# ---- against a rental rate


def elsewhere(tables: Iterable[CostTable], currency: str) -> tuple[Rate, ...]:
    """The rates kept in other currencies than one: nothing is converted, so no comparison in it holds them."""
    return tuple(r for t in tables if t.currency != currency for r in t.rates)


def break_even_h(table: CostTable, rental: Money) -> float | None:
    """Hours a year from which owning is the cheaper: h* = F / (R - v), F and v those that hold at h*; None: never.

    Reserves change from years to hours at life / years, so each stretch between is tried; the total of an hour only falls with
    hours, so there is at most one. Another currency than the table's is BadInput.
    """
    if rental.currency != table.currency:
        raise BadInput(f"The rental rate is in {rental.currency} and the costs in {table.currency}; give it in {table.currency}.")
    turns = sorted({r.life_h / r.life_years for r in table.rates if r.life and r.life_h is not None and r.life_years is not None})
    low = 0.0
    for high in (*turns, float("inf")):
        inside = (low + high) / 2 if high < float("inf") else low + 1.0
        over = rental.amount - table.hourly(inside)
        if over > 0:
            hours = float(table.fixed(inside) / over)
            if hours <= high * (1 + 1e-12):
                return hours
        low = high
    return None


# ---- what a reserve owes


@dataclass(frozen=True)
class Accrued:
    """What a life has used up: owed = cost x share, share = hours run / life or age / years, the greater; None: not known.

    catch_up: money an hour from here on so that the cost is there when it falls due, at the hours a year asked; left_h: hours
    left at them; rest: cost less fund.
    """

    what: str
    currency: str
    cost: Decimal
    run_h: float | None
    age_years: float | None
    share_1: float | None
    owed: Decimal | None
    rest: Decimal | None
    left_h: float | None
    catch_up: Decimal | None
    words: str
    life_h: float | None = None
    life_years: float | None = None


def accrued(entries: Iterable[Entry], aeroplane: str, on: date, yearly_h: float | None) -> tuple[Accrued, ...]:
    """Every reserve and calendar item with its hours run and age on a day; one beyond its life has a share above 1, and says so."""
    kept = mine(entries, aeroplane, on)
    return tuple(_accrued(e, c, kept, aeroplane, on, yearly_h) for e, c in stated_costs(kept) if c.kind in ("reserve", "calendar"))


def _accrued(e: Entry, c: Cost, kept: Sequence[Entry], aeroplane: str, on: date, yearly_h: float | None) -> Accrued:
    flown = sum(float(from_si(f.flight_s if f.air_s is None else f.air_s, "h")) for _, f in of_kind(kept, Flight)
                if f.off_blocks >= e.moment)
    run = None if c.since_h is None else c.since_h + flown
    age = None if c.since_day is None else (on - c.since_day).days / DAYS_A_YEAR
    by_hours = run / c.per_hours_h if run is not None and c.per_hours_h else None
    by_years = age / c.per_years if age is not None and c.per_years else None
    share = max((s for s in (by_hours, by_years) if s is not None), default=None)
    rest = None if c.fund is None else max(c.price.amount - c.fund.amount, ZERO)
    left = _left_h(c, run, age, yearly_h)
    words = [f"its {w} run are not known: {'at least' if share is not None else 'say since when'}"
             for w, limit, s in (("hours", c.per_hours_h, by_hours), ("years", c.per_years, by_years)) if limit and s is None]
    if share is not None and share > 1:
        words.append("beyond its life: all of it is wanted now")
    return Accrued(c.what, c.price.currency, c.price.amount, run, age, share,
                   None if share is None else c.price.amount * decimal(share), rest, left,
                   rest / decimal(left) if rest is not None and left is not None and left > 0 else None, "; ".join(words),
                   c.per_hours_h, c.per_years)


def _left_h(c: Cost, run: float | None, age: float | None, yearly_h: float | None) -> float | None:
    """Hours left: min(life - run, years left x hours a year); None where one of the limits that act is not known."""
    left = []
    if c.per_hours_h is not None:
        left.append(None if run is None else c.per_hours_h - run)
    if c.per_years is not None:
        left.append(None if age is None or yearly_h is None else (c.per_years - age) * yearly_h)
    return None if None in left or not left else min(x for x in left if x is not None)
