"""Kinds of fields of the airframe record: a text into the plain value of TOML, and a value as its text."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from typing import Any

from ownship.errors import BadInput

QUANTITY = r"[-+]?[0-9.]+\s*[A-Za-z/0-9]*[A-Za-z%][A-Za-z/0-9]*"
PAIR = re.compile(rf"\s*({QUANTITY})\s*(?:,|=|:|@|\bat\b|\bto\b|\s)\s*({QUANTITY})\s*")
SCALE = re.compile(rf"\s*({QUANTITY})\s*(?:-\s*({QUANTITY})\s*)?(?:@|\bat\b)\s*({QUANTITY})\s*")
NAMED = re.compile(rf"\s*(.+?)\s*[:=]\s*({QUANTITY})\s*")
NOTE = re.compile(rf"\s*(take-?off|landing)\s+(headwind|tailwind)\s+({QUANTITY})\s*[:,]?\s*([-+]?[0-9.]+\s*%)\s*")
COMMON = re.compile(r"\b(tanks?|seats?|compartment|the)\b")


def short_name(name: str) -> str:
    """The id made of a name: "left tank" is left, "baggage compartment" baggage."""
    plain = re.sub(r"[^a-z0-9]+", "-", COMMON.sub("", name.lower())).strip("-")
    return plain or re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")


def _integer(text: str) -> int:
    if not re.fullmatch(r"[-+]?\d{1,9}", text):
        raise BadInput(f"{text[:40]!r} is no whole number; write one.")
    return int(text)


def _number(text: str) -> float:
    if not re.fullmatch(r"[-+]?(\d{1,9}(\.\d*)?|\.\d+)", text):
        raise BadInput(f"{text[:40]!r} is no number; write one, without a unit.")
    return float(text)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise BadInput(f"{text[:40]!r} is no date; write it as 2026-07-11.") from None


def _flag(text: str) -> bool:
    if text not in ("yes", "no"):
        raise BadInput(f"{text[:40]!r} is neither yes nor no.")
    return text == "yes"


def _words(text: str) -> list[str]:
    return [w.strip() for w in text.split(",") if w.strip()]


def _ids(text: str) -> list[str]:
    return [w if w == "both" else short_name(w) for w in _words(text)]


def _pair(text: str) -> list[str]:
    m = PAIR.fullmatch(text)
    if m is None:
        raise BadInput(f"{text[:60]!r} should be two quantities, each with its unit.")
    return [m[1], m[2]]


def _pairs(text: str) -> list[list[str]]:
    return [_pair(p) for p in re.split(r"[;\n]", text) if p.strip()]


def _arms(text: str) -> str | list[str]:
    return [p.strip() for p in text.split(" to ")] if " to " in text else text


def _named(value: str, name: str = "name") -> Callable[[str], list[dict[str, str]]]:
    def read(text: str) -> list[dict[str, str]]:
        found = []
        for part in (p for p in text.split(";") if p.strip()):
            m = NAMED.fullmatch(part)
            if m is None:
                raise BadInput(f"{part.strip()[:60]!r} should be a name, a colon and a quantity.")
            found.append({name: m[1], value: m[2]})
        return found
    return read


def _scales(text: str) -> list[dict[str, str]]:
    found = []
    for part in (p for p in text.split(";") if p.strip()):
        m = SCALE.fullmatch(part)
        if m is None:
            raise BadInput(f"{part.strip()[:60]!r} should be gross - tare at arm, as 508 lb - 4 lb at 105.2 in.")
        found.append({"gross": m[1], "tare": m[2] or "0 lb", "arm": m[3]})
    return found


def _notes(text: str) -> list[dict[str, str]]:
    found = []
    for part in (p for p in text.split(";") if p.strip()):
        m = NOTE.fullmatch(part)
        if m is None:
            raise BadInput(f"{part.strip()[:60]!r} should say of what, which wind, per how much, and the change, as takeoff "
                           "headwind 9 kt -10 %.")
        found.append({"kind": m[1].replace("-", ""), "rule": m[2], "per": m[3], "change": m[4]})
    return found


def _headings(text: str) -> list[float]:
    return [_number(w) for w in re.split(r"[,;\s]+", text.strip())]


VALUE: dict[str, Callable[[str], Any]] = {
    "integer": _integer, "number": _number, "date": _day, "flag": _flag, "words": _words, "ids": _ids, "pair": _pair,
    "pairs": _pairs, "points": _pairs, "arms": _arms, "marks": _named("usable"), "loads": _named("amps", "what"),
    "scales": _scales, "notes": _notes, "headings": _headings}
SHOW: dict[str, Callable[[Any], str]] = {
    "flag": lambda v: "yes" if v else "no", "words": ", ".join, "ids": ", ".join, "pair": " to ".join,
    "pairs": lambda v: "; ".join(f"{a} {b}" for a, b in v), "points": lambda v: "\n".join(f"{a} at {b}" for a, b in v),
    "marks": lambda v: "; ".join(f"{m['name']}: {m['usable']}" for m in v),
    "loads": lambda v: "; ".join(f"{m['what']}: {m['amps']}" for m in v),
    "scales": lambda v: "; ".join(f"{r['gross']} - {r.get('tare', '0 lb')} at {r['arm']}" for r in v),
    "notes": lambda v: "; ".join(f"{n['kind']} {n['rule']} {n['per']} {n['change']}" for n in v),
    "headings": lambda v: ", ".join(f"{x:g}" if isinstance(x, int | float) else str(x) for x in v)}
