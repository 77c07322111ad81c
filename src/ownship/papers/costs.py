"""Costs as plain values and as lines of text; every amount with its currency, none added over two of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from ownship.ownership.costs import Accrued, Costs, CostTable, Rate, break_even_h, decimal, elsewhere
from ownship.ownership.entries import Money
from ownship.ownership.spending import GROUPS, Bought, FlightCost, FlightLine, Payback, Share, Year
from ownship.units import from_si, to_si
from ownship.words.figures import number_text

CENT = Decimal("0.01")
UNKNOWN = "not known"
CAUTIONS = ("The figures are as whole as the entries: what is kept nowhere is in no figure.",
            "Who may share what is the law's and the insurer's word; ask before you are paid.")
UNITS = {("fuel", "USD"): "usgal", ("oil", "USD"): "qt"}  # all else in litres
SPELT = {"usgal": "US gal", "qt": "qt", "l": "l"}


def cents(amount: Decimal) -> str:
    """An amount to the cent, as plain text."""
    return str(amount.quantize(CENT, ROUND_HALF_UP))


def money_json(amount: Decimal | None, currency: str) -> dict[str, str] | None:
    """{"amount", "currency"}; null: not known."""
    return None if amount is None else {"amount": cents(amount), "currency": currency}


def money_text(told: Mapping[str, str] | None) -> str:
    """"1,234.50 USD", or not known."""
    return UNKNOWN if told is None else f"{Decimal(told['amount']):,} {told['currency']}"


# ---- an hour and a year


def costs_json(found: Costs, asked_h: Sequence[float], rental: Money | None) -> dict[str, Any]:
    """Every currency's table: rates, a year and an hour at each number of hours, break-even against the rental rate."""
    return {"flown_12_months_h": _rounded(found.flown_h), "hours": [_rounded(h) for h in asked_h],
            "currencies": [_table(t, asked_h, rental, elsewhere(found.tables, t.currency), whole=not found.missing)
                           for t in found.tables],
            "missing": list(found.missing)}


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)


def _table(t: CostTable, asked_h: Sequence[float], rental: Money | None, others: Sequence[Rate], *,
           whole: bool) -> dict[str, Any]:
    main = asked_h[0] if asked_h else None
    told = {"currency": t.currency, "rates": [_rate(r, main) for r in t.rates],
            "rows": [{"hours": _rounded(h), "fixed_a_year": money_json(t.fixed(h), t.currency),
                      "one_more_hour": money_json(t.hourly(h), t.currency), "a_year": money_json(t.year(h), t.currency),
                      "an_hour": money_json(t.hour(h), t.currency)} for h in asked_h]}
    return told if rental is None or rental.currency != t.currency else told | {
        "break_even": _break_even(t, rental, others, whole=whole)}


def left_out_text(others: Iterable[Rate], rental: Money) -> str:
    """Which costs a comparison with a rental rate leaves out, and why."""
    names = ", ".join(f"{r.what} ({r.currency}, {r.kind})" for r in others)
    return f"Left out of it, for they are not in {rental.currency} and no currency is converted: {names}."


def _break_even(t: CostTable, rental: Money, others: Sequence[Rate], *, whole: bool) -> dict[str, Any]:
    """whole: nothing is missing; without that, or with costs in another currency, the hours are the fewest, for more cost is
    later; and where nothing fixed is left to compare, not known."""
    hours, whole = break_even_h(t, rental), whole and not others
    if hours == 0 and not whole:
        hours, words = None, f"Not known: no fixed cost is kept in {t.currency} for an hour of renting to be set against."
    else:
        words = _break_even_text(hours, whole=whole)
    return {"rental_an_hour": money_json(rental.amount, rental.currency), "hours_a_year": _rounded(hours),
            "at_least": not whole, "left_out": [{"what": r.what, "kind": r.kind, "currency": r.currency} for r in others],
            "words": f"{words} {left_out_text(others, rental)}" if others else words}


def _break_even_text(hours: float | None, *, whole: bool) -> str:
    return ("Owning is never the cheaper at this rate: an hour costs as much before anything fixed is paid." if hours is None else
             f"Owning is the cheaper from {number_text(hours)} h a year on." if whole else
             f"Owning is the cheaper not before {number_text(hours)} h a year; what is missing here makes it later, or never.")


def _rate(r: Rate, hours_h: float | None) -> dict[str, Any]:
    at = None if hours_h is None else r.reserve_an_hour(hours_h)
    life = [f"{r.life_h:,.0f} h"] if r.life_h is not None else []
    life += [f"{r.life_years:g} years"] if r.life_years is not None else []
    return {"what": r.what, "kind": r.kind, "group": r.group, "a_year": money_json(r.a_year or None, r.currency),
            "an_hour": money_json(r.an_hour or None, r.currency), "life": money_json(r.life or None, r.currency),
            "life_of": " or ".join(life), "reserve_an_hour": money_json(at, r.currency),
            "by_calendar": None if hours_h is None or not r.life else r.by_calendar(hours_h), "words": r.words}


def accrued_json(a: Accrued) -> dict[str, Any]:
    """What a life has used up, and the catch-up."""
    return {"what": a.what, "cost": money_json(a.cost, a.currency), "run_h": _rounded(a.run_h), "age_years": _rounded(a.age_years),
            "share": _rounded(a.share_1), "owed": money_json(a.owed, a.currency), "rest": money_json(a.rest, a.currency),
            "left_h": _rounded(a.left_h), "catch_up_an_hour": money_json(a.catch_up, a.currency), "words": a.words}


def bought_json(b: Bought) -> dict[str, Any]:
    """What was bought, its mean price by volume, and the same by month."""
    unit = UNITS.get((b.what, b.currency), "l")

    def priced(paid: Decimal, m3: float) -> dict[str, str]:
        return {"amount": str((paid / decimal(float(from_si(m3, unit, "volume")))).quantize(CENT / 10)), "currency": b.currency}

    return {"what": b.what, "amount": {"value": round(float(from_si(b.amount_m3, unit, "volume")), 3), "unit": unit},
            "paid": money_json(b.paid, b.currency), "mean_price": priced(b.paid, b.amount_m3), "per": unit,
            "months": [{"month": m, "amount": round(float(from_si(v, unit, "volume")), 3), "mean_price": priced(p, v)}
                       for m, v, p in b.months]}


def year_json(y: Year) -> dict[str, Any]:
    """A year's months by kind, with the running total."""
    months = [{"month": m.month, **{g: cents(a) for g, a in zip(GROUPS, m.spent, strict=True)}, "running": cents(m.running)}
              for m in y.months]
    return {"year": y.year, "currency": y.currency, "until": y.until.isoformat(), "total": money_json(y.total, y.currency),
            "months": months, "words": list(y.words)}


def cost_lines(data: Mapping[str, Any]) -> tuple[str, ...]:
    """The answer of `costs` as lines."""
    lines = [f"{data['aeroplane'] or 'no aeroplane named'}, {data['on']}: {_flown(data['flown_12_months_h'])}"]
    for t in data["currencies"]:
        lines += [f"{t['currency']}:", *(f"  {_rate_line(r)}" for r in t["rates"])]
        lines += [f"  at {number_text(row['hours'])} h a year: an hour {money_text(row['an_hour'])}, a year "
                  f"{money_text(row['a_year'])} (fixed {money_text(row['fixed_a_year'])}, one more hour "
                  f"{money_text(row['one_more_hour'])})" for row in t["rows"]]
        if "break_even" in t:
            lines.append(f"  against {money_text(t['break_even']['rental_an_hour'])} an hour: {t['break_even']['words']}")
    lines += [_accrued_line(a) for a in data["reserves"]]
    lines += [_bought_line(b) for b in data["bought"]]
    for y in data["years"]:
        lines += [f"{y['year']} in {y['currency']}, up to {y['until']}: spent {money_text(y['total'])}"]
        lines += [f"  {m['month']}: {parts}; running total {Decimal(m['running']):,}" for m in y["months"]
                  if (parts := ", ".join(f"{g} {Decimal(m[g]):,}" for g in GROUPS if Decimal(m[g])))]
        lines += [f"  {w}" for w in y["words"]]
    return (*lines, *(f"missing: {w}" for w in data["missing"]), *data["words"], *data["cautions"])


def _flown(hours: float | None) -> str:
    return "no flight is kept" if hours is None else f"{number_text(hours)} h flown in the last 12 months"


def _rate_line(r: Mapping[str, Any]) -> str:
    parts = [f"{money_text(r['a_year'])} a year"] if r["a_year"] else []
    parts += [f"{money_text(r['an_hour'])} an hour"] if r["an_hour"] else []
    if r["life"]:
        limit = "" if r["by_calendar"] is None else ", its years come first" if r["by_calendar"] else ", its hours come first"
        parts += [f"{money_text(r['life'])} in {r['life_of']}: {money_text(r['reserve_an_hour'])} an hour{limit}"]
    return f"{r['what']} ({r['kind']}): {'; '.join(parts)}" + (f" ({r['words']})" if r["words"] else "")


def _accrued_line(a: Mapping[str, Any]) -> str:
    used = UNKNOWN if a["share"] is None else f"{a['share']:.0%}".replace("%", " %")
    catch = "" if a["catch_up_an_hour"] is None else f"; to have it in time {money_text(a['catch_up_an_hour'])} an hour"
    return f"{a['what']}: life used {used}, accrued {money_text(a['owed'])} of {money_text(a['cost'])}{catch}" + (
        f" ({a['words']})" if a["words"] else "")


def _bought_line(b: Mapping[str, Any]) -> str:
    unit = SPELT[b["per"]]
    months = [f"{m['month']} {m['mean_price']['amount']}" for m in b["months"]]
    return (f"{b['what']} bought in the last 12 months: {number_text(b['amount']['value'])} {unit} for {money_text(b['paid'])}, "
            f"mean {money_text(b['mean_price'])}/{unit}" + (f"; by month: {', '.join(months)}" if len(months) > 1 else ""))


# ---- a planned flight


def flight_json(cost: FlightCost, shares: Iterable[tuple[str, Share | str]], persons: int | None) -> dict[str, Any]:
    """A flight's parts and total in one currency, and the shareable part by place; a place whose rule forbids says so."""
    return {"currency": cost.currency, "parts": [_part(line, cost.currency) for line in cost.lines],
            "total": money_json(cost.total, cost.currency), "sharing": [_share(place, s, persons) for place, s in shares]}


def _part(line: FlightLine, currency: str) -> dict[str, Any]:
    told = {"what": line.what, "group": line.group, "amount": money_json(line.amount, currency)}
    return told if line.low is None or line.high is None else told | {
        "low": money_json(line.low, currency), "high": money_json(line.high, currency)}


def _share(place: str, s: Share | str, persons: int | None) -> dict[str, Any]:
    if isinstance(s, str):
        return {"place": place, "shareable": None, "each": None, "words": s}
    return {"place": place, "shareable": money_json(s.shareable, s.currency),
            "each": None if persons is None else money_json(s.each, s.currency), "words": s.words}


def flight_lines(data: Mapping[str, Any]) -> tuple[str, ...]:
    """The answer of `costs flight` as lines."""
    fuel, time = data["fuel"], data["time"]
    lines = [f"{data['flight']}: {number_text(fuel['value'])} US gal in {number_text(time['value'])} h, block to block"]
    for cost in data["currencies"]:
        lines.append(f"{cost['currency']}: {money_text(cost['total'])}")
        for part in cost["parts"]:
            band = f" ({money_text(part['low'])} to {money_text(part['high'])})" if "low" in part else ""
            lines.append(f"  {part['what']}: {money_text(part['amount'])}{band}")
        for s in cost["sharing"]:
            each = "" if s["each"] is None else f", an equal share {money_text(s['each'])}"
            lines.append(f"  may be shared, {s['place']}: {money_text(s['shareable'])}{each}. {s['words']}")
    return (*lines, *(f"missing: {w}" for w in data["missing"]), *data["words"], *data["cautions"])


# ---- a modification


def payback_json(found: Payback, cost: Money, hours_h: float) -> dict[str, Any]:
    """When a modification has paid for itself, with the useful load it changes."""
    change = float(from_si(found.useful_load_change_kg, "lb"))
    told = (f"{number_text(found.years)} years at {number_text(hours_h)} h a year" if found.years is not None else
            "never: an hour is not the cheaper for it")
    load = f"{change:+,.0f} lb" if abs(change) >= 0.5 else "no change"
    return {"cost": money_json(cost.amount, cost.currency), "hours_a_year": _rounded(hours_h),
            "saved_a_year": money_json(found.saved_a_year, found.currency), "years": _rounded(found.years),
            "useful_load_change": {"value": round(change, 2), "unit": "lb"},
            "sentence": f"It has paid for itself in {told}; useful load: {load}."
            if found.years is not None else f"It pays for itself {told}; useful load: {load}."}


def litre_or_gallon(price_m3: Money) -> str:
    """A price in the unit of its currency's countries."""
    unit = UNITS.get(("fuel", price_m3.currency), "l")
    amount = (price_m3.amount * decimal(float(to_si(1.0, unit, "volume")))).quantize(CENT)
    return f"{amount:,} {price_m3.currency}/{SPELT[unit]}"
