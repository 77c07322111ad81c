"""The buying and selling sheet as plain values and as lines."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ownship.ownership.maintenance import Due
from ownship.ownership.sale import AHEAD_MONTHS, Age, Gap, Liability, Sheet
from ownship.papers.costs import UNKNOWN, accrued_json, money_json, money_text
from ownship.units import from_si
from ownship.words.cautions import cautions_for
from ownship.words.figures import number_text

CAUTIONS = (*cautions_for(["maintenance", "load"]),
            "A sheet from a record tells what was written down; the aeroplane and its papers tell the rest.")


def sheet_json(s: Sheet) -> dict[str, Any]:
    """The whole sheet; null: not known."""
    return {"aeroplane": s.aeroplane or None, "on": s.on.isoformat(), "useful_load": _pounds(s.useful_load_kg),
            "load_with_full_tanks": _pounds(s.full_tanks_kg),
            "last_real_weighing": {"day": None if s.weighed_on is None else s.weighed_on.isoformat(), "days": s.weighed_days},
            "log": {"known": s.spans.known, "flights_with_readings": s.spans.read, "flights_without": s.spans.unread,
                    "gaps": [_gap(g) for g in s.spans.gaps]},
            "directives": [_directive(d) for d in s.directives], "ages": [_age(a) for a in s.ages],
            "accrued": [accrued_json(a) for a in s.owed],
            "coming": {"months": AHEAD_MONTHS, "hours_a_year": None if s.yearly_h is None else round(s.yearly_h, 2),
                       "items": [_coming(x) for x in s.coming], "sums": [money_json(m.amount, m.currency) for m in s.sums],
                       "without_price": s.unpriced},
            "warnings": list(s.warnings), "not_known": list(s.not_known), "cautions": list(CAUTIONS)}


def _pounds(kg: float | None) -> dict[str, Any] | None:
    return None if kg is None else {"value": round(float(from_si(kg, "lb")), 1), "unit": "lb"}


def _gap(g: Gap) -> dict[str, Any]:
    return {"after": g.after.isoformat(), "before": g.before.isoformat(), "from_h": g.from_h, "to_h": g.to_h,
            "missing_h": round(g.missing_h, 2)}


def _directive(d: Due) -> dict[str, Any]:
    return {"directive": d.item.directive, "title": d.title, "state": d.state, "due": None if d.day is None else d.day.isoformat(),
            "due_h": d.hours_h, "words": list(d.words)}


def _age(a: Age) -> dict[str, Any]:
    return {"what": a.what, "since": None if a.since is None else a.since.isoformat(),
            "years": None if a.years is None else round(a.years, 2), "run_h": None if a.run_h is None else round(a.run_h, 2),
            "words": a.words}


def _coming(x: Liability) -> dict[str, Any]:
    return {"what": x.what, "directive": x.directive, "first": None if x.first is None else x.first.isoformat(), "times": x.times,
            "each": None if x.each is None else money_json(x.each.amount, x.each.currency),
            "total": None if x.total is None else money_json(x.total.amount, x.total.currency), "words": x.words}


def sheet_lines(data: Mapping[str, Any]) -> tuple[str, ...]:
    """The sheet as lines."""
    log, coming, real = data["log"], data["coming"], data["last_real_weighing"]
    lines = [f"{data['aeroplane'] or 'no aeroplane named'}, {data['on']}: buying and selling sheet",
             f"useful load: {_load(data['useful_load'])}; last real weighing "
             + (f"{real['day']}, {real['days']:,} days ago" if real["day"] else UNKNOWN),
             f"load with full tanks: {_load(data['load_with_full_tanks'])}",
             f"missing spans of the log: {_spans(log)}"]
    lines += [f"  between {g['after']} and {g['before']}: tachometer {g['from_h']:,.1f} to {g['to_h']:,.1f} h, "
              + (f"{g['missing_h']:,.1f} h not in the log" if g["missing_h"] > 0 else f"ran back {-g['missing_h']:,.1f} h")
              for g in log["gaps"]]
    lines += [f"directive {d['directive']}, {d['title']}: {d['state']} ({'; '.join(d['words'])})" for d in data["directives"]]
    lines += [f"age of {a['what']}: " + (UNKNOWN if a["years"] is None else f"{a['years']:.1f} years, since {a['since']}")
              + ("" if a["run_h"] is None else f", {a['run_h']:,.1f} h run") + (f" ({a['words']})" if a["words"] else "")
              for a in data["ages"]]
    lines += [f"accrued for {a['what']}: {money_text(a['owed'])} of {money_text(a['cost'])}" for a in data["accrued"]]
    lines.append(f"in the next {coming['months']} months, at " + (f"{number_text(coming['hours_a_year'])} h a year:"
                                                              if coming["hours_a_year"] else "an unknown number of hours:"))
    lines += [f"  {_coming_line(x)}" for x in coming["items"]] or ["  nothing known"]
    lines += [f"  together {money_text(m)}" for m in coming["sums"]]
    lines += [f"  and {coming['without_price']} without a price, in no sum"] if coming["without_price"] else []
    return (*lines, *data["warnings"], *(f"not known: {w}" for w in data["not_known"]), *data.get("words", ()), *data["cautions"])


def _load(told: Mapping[str, Any] | None) -> str:
    return UNKNOWN if told is None else f"{number_text(told['value'], 0)} lb"


def _spans(log: Mapping[str, Any]) -> str:
    if not log["known"]:
        return UNKNOWN
    beside = f", {log['flights_without']} flights have no readings" if log["flights_without"] else ""
    return f"{len(log['gaps']) or 'none'} between {log['flights_with_readings']} flights with tachometer readings{beside}"


def _coming_line(x: Mapping[str, Any]) -> str:
    price = "no price noted" if x["total"] is None else money_text(x["total"])
    times = f", {x['times']} times" if x["times"] > 1 else ""
    return f"{x['what']}: {x['first'] or 'when is not known'}{times}, {price}" + (f" ({x['words']})" if x["words"] else "")
