"""Maintenance as lines of text and as plain values: what is due, open items, endings, forecast, compass card, loads."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict
from datetime import date
from typing import Any

from ownship.ownership.airframe_totals import Totals
from ownship.ownership.compass import DeviationCard
from ownship.ownership.electrical import LoadTable
from ownship.ownership.forecast import Forecast
from ownship.ownership.maintenance import Due, Ending, OpenItem
from ownship.rules.starter import ItemSet, ItemText
from ownship.units import from_si
from ownship.words.cautions import cautions_for
from ownship.words.figures import number_text, signed_text

FROM_MEMORY = "from memory"


def _day(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def _number(value: float | None, digits: int = 4) -> float | None:
    return None if value is None else round(value, digits)


def cautions(statuses: Iterable[str] = ()) -> list[str]:
    """What stands under every list: it may be incomplete; and, where a rule is from memory, to check it."""
    return list(cautions_for(["maintenance", *(["rules"] if FROM_MEMORY in statuses else [])]))


# ---- plain values


def totals_json(now: Totals) -> dict[str, Any]:
    """Air time and landings; null: not known."""
    return {"air_time_h": _number(now.hours_h), "landings": now.landings, "words": list(now.words)}


def due_json(due: Due) -> dict[str, Any]:
    """One item with its state and by when."""
    i, last = due.item, due.last
    return {"name": due.name, "title": due.title, "state": due.state, "words": list(due.words), "due": _day(due.day),
            "due_with_tolerance": _day(due.until_day), "due_h": _number(due.hours_h), "due_h_with_tolerance": _number(due.until_h),
            "due_landings": due.landings, "left_days": due.left_days, "left_h": _number(due.left_h),
            "left_landings": due.left_landings, "last_done": None if last is None else _day(last.day),
            "last_done_h": None if last is None else _number(last.hours_h),
            "last_done_landings": None if last is None else last.landings, "every": i.interval.every, "hours_h": i.interval.hours_h,
            "landings": i.interval.landings, "uses": list(i.uses), "section": i.section, "status": i.status,
            "severity": i.severity, "directive": i.directive, "revision": i.revision, "note": i.note,
            "expected_cost": None if i.expected_cost is None else
            {"amount": str(i.expected_cost.amount), "currency": i.expected_cost.currency}}


def open_json(found: OpenItem) -> dict[str, Any]:
    """One open item."""
    return asdict(found) | {"uses": list(found.uses), "words": list(found.words), "day": _day(found.day)}


def ending_json(found: Ending) -> dict[str, Any]:
    """One ending."""
    return asdict(found) | {"last_day": _day(found.last_day), "uses": list(found.uses)}


def forecast_json(due: Due, found: Forecast) -> dict[str, Any]:
    """The forecast of one item; null days: beyond 20 years, or not known (see words)."""
    return {"name": due.name, "title": due.title, "state": due.state, "known": found.known, "early": _day(found.early),
            "middle": _day(found.middle), "late": _day(found.late), "by": found.by, "words": found.words}


def card_json(card: DeviationCard, day: date, by: str) -> dict[str, Any]:
    """The deviation card, its coefficients and the table for the airframe record."""
    c = card.coefficients
    return {"day": _day(day), "by": by, "magnetic_deg": list(card.magnetic_deg), "compass_deg": list(card.compass_deg),
            "coefficients_deg": {k: _number(v) for k, v in _named(card).items()},
            "scatter_deg": _number(c.sd_deg), "worst_deg": _number(c.worst_deg), "words": list(card.words),
            "record": record_lines(card, day)}


def loads_json(table: LoadTable) -> dict[str, Any]:
    """The load table, amps and hours."""
    return {"loads": [{"what": x.what, "amps": x.current_a, "steady": x.steady, "kept_on": x.kept} for x in table.lines],
            "alternator_a": table.alternator_a, "steady_a": _number(table.steady_a), "steady_allowed_a": _number(table.allowed_a),
            "steady": table.steady, "all_on_a": _number(table.all_a), "all_on": table.all_on, "kept_on_a": _number(table.kept_a),
            "battery_h": None if table.battery_s is None else _number(float(from_si(table.battery_s, "h"))),
            "words": list(table.words), "source": table.source}


def set_json(found: ItemSet) -> dict[str, Any]:
    """A set of items as its file says it."""
    return {"title": found.title, "note": found.note,
            "items": [asdict(i) | {"uses": list(i.uses), "effective": _day(i.effective), "first_due": _day(i.first_due)}
                      for i in found.items]}


# ---- lines


def due_lines(dues: Iterable[Due], now: Totals, endings: Iterable[Ending], aeroplane: str, on: date) -> list[str]:
    """The list of what is due, the most pressing first, and what ends."""
    dues = list(dues)
    lines = [f"{aeroplane} on {on}", *(f"  {w}" for w in now.words)]
    lines += [_line(d.state, d.title, d.words, d.item.section, d.item.status, d.item.directive) for d in dues]
    lines += [f"{e.state}: {e.what}: last good day {e.last_day}, "
              f"{f'{e.left_days} days left' if e.left_days >= 0 else f'ended {-e.left_days} days ago'}" for e in endings]
    return [*lines, *cautions(d.item.status for d in dues)]


def _line(state: str, title: str, words: Iterable[str], section: str, status: str, directive: str = "") -> str:
    known = ", ".join(w for w in (f"directive {directive}" if directive else "", section,
                                  "" if status in ("read", "owner") else status) if w)
    return f"{state}: {title}: {'; '.join(words)}{f' ({known})' if known else ''}"


def open_lines(found: Iterable[OpenItem], aeroplane: str, on: date, uses: Iterable[str]) -> list[str]:
    """Open items for a flight."""
    found = list(found)
    head = f"{aeroplane} on {on}, open items for this flight ({', '.join(uses)}):"
    lines = [_line(o.state, o.title, o.words, o.section, o.status) for o in found]
    return [head, *(lines or ["none among the items kept"]), *cautions(o.status for o in found)]


def forecast_lines(pairs: Iterable[tuple[Due, Forecast]], words: str) -> list[str]:
    """When each item will be due."""
    return [f"pace: {words}", *(_forecast_line(d, f) for d, f in pairs), *cautions()]


def _forecast_line(due: Due, found: Forecast) -> str:
    if not found.known:
        return f"{due.title}: date not known: {found.words}"
    beside = "; landings are not forecast" if due.landings is not None else ""
    if found.by == "calendar":
        early = "" if found.early in (None, found.middle) else f", by hours perhaps from {found.early}"
        return f"{due.title}: {found.middle}{early} ({found.words if found.early is None else f'by calendar{beside}'})"
    far = "beyond 20 years"
    return f"{due.title}: about {found.middle or far} ({found.early or far} to {found.late or far}){beside}"


def endings_lines(found: Iterable[Ending], aeroplane: str) -> list[str]:
    """What ends, the first first."""
    return [f"{aeroplane}: what ends", *(
        f"{e.state}: {e.what}: last good day {e.last_day}{f', {e.document}' if e.document else ''}" for e in found)]


def record_lines(card: DeviationCard, day: date) -> str:
    """The table that goes into the airframe record."""
    def row(values: tuple[float, ...]) -> str:
        return ", ".join(f"{v:.0f}" for v in values)

    return (f"[deviation]\nmagnetic = [{row(card.magnetic_deg)}]\ncompass = [{row(card.compass_deg)}]\n"
            f'source = "compass swing of {day}"\n')


def _named(card: DeviationCard) -> dict[str, float | None]:
    """The coefficients by letter."""
    c = card.coefficients
    return {"A": c.a_deg, "B": c.b_deg, "C": c.c_deg, "D": c.d_deg, "E": c.e_deg}


def card_lines(card: DeviationCard, day: date, by: str) -> list[str]:
    """The deviation card and how it was found."""
    c = card.coefficients
    told = ", ".join(f"{n} {'not known' if v is None else signed_text(v, 1)}" for n, v in _named(card).items())
    rows = [f"  for {m:03.0f} magnetic steer {s:03.0f} by compass"
            for m, s in zip(card.magnetic_deg, card.compass_deg, strict=True)]
    scatter = "not known" if c.sd_deg is None else f"{c.sd_deg:.1f} degrees"
    return [f"compass swing of {day}{f' by {by}' if by else ''}",
            f"coefficients, degrees: {told}; scatter of the readings {scatter}",
            *rows, *card.words, "for the airframe record:", record_lines(card, day).rstrip(),
            "The dated card beside the compass is the one that counts; where the law asks for it a licensed person makes it."]


def loads_lines(table: LoadTable) -> list[str]:
    """The load table."""
    rows = [f"  {x.what}: {number_text(x.current_a)} A{'' if x.steady else ', for moments'}{', stays on' if x.kept else ''}"
            for x in table.lines]
    time = "not known" if table.battery_s is None else f"{float(from_si(table.battery_s, 'min')):,.0f} min"
    return ["electrical loads", *rows,
            f"steady: {number_text(table.steady_a)} A of {number_text(table.allowed_a)} A allowed: {table.steady}",
            f"everything on: {number_text(table.all_a)} A of {number_text(table.alternator_a)} A: {table.all_on}",
            f"battery without alternator, {number_text(table.kept_a)} A left on: {time}",
            *table.words, *([f"source: {table.source}"] if table.source else []),
            "A load analysis for the records is a licensed person's paper."]


def set_lines(found: ItemSet) -> list[str]:
    """A set of items, each with interval, section and status."""
    lines = [f"{i.name}: {interval_words(i)} ({i.section}; {i.source}; {i.status})" + (f" {i.note}" if i.note else "") +
             (" Only on wish." if i.optional else "") for i in found.items]
    return [found.title, *lines, *([found.note] if found.note else []), *cautions(i.status for i in found.items)]


def interval_words(item: ItemText) -> str:
    """An interval in words: "4 months or 50 h, whichever first"."""
    parts = [item.every, "" if item.hours_h is None else f"{item.hours_h:g} h",
             "" if item.landings is None else f"{item.landings:,} landings"]
    told = [p for p in parts if p]
    over = [w for w in (item.tolerance, f"{item.tolerance_h:g} h" if item.tolerance_h else "") if w]
    return (" or ".join(told) + (", whichever first" if len(told) > 1 else "") or "once") + (
        f", {' or '.join(over)} over, {'' if item.carry else 'taken off the next'}".rstrip(", ") if over else "")


def written_lines(told: Mapping[str, Any]) -> list[str]:
    """What was written, in a sentence and what to mind."""
    return [told["sentence"], *told["words"]]
