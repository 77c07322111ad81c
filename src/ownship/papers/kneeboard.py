"""The kneeboard paper: what `check` says, on two small pages for the knee, in black and white (docs/formats/papers.md).

`kneeboard_data` words every figure once, `kneeboard_pdf` has Typst lay it out. The data reach the template as an input, never
as source. Same input, same bytes: the paper is dated by the departure and no font of the machine is used.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from functools import cache
from importlib import resources
from json import dumps
from typing import Any

from ownship.aeroplane.weighing import empty_weight
from ownship.errors import BadInput, MissingKey
from ownship.flight.answer import Assessment, LoadingRow, PointRow
from ownship.flight.margins import Margin
from ownship.flight.situation import Situation
from ownship.papers.text import SHAPES
from ownship.units import from_si, parse
from ownship.words.cautions import cautions_for
from ownship.words.figures import Figure, figure, number_text, sentence_case
from ownship.words.verdicts import WITHIN

SHEETS: dict[str, tuple[str, str]] = {"a5": ("148 mm", "210 mm"), "half-letter": ("5.5 in", "8.5 in")}
VOICE_MHZ = (118.0, 137.0)
LEAST_MARGINS = 10
LARGEST_1 = 0.11  # side of the heaviest block over the width of the beam
UNKNOWN = "not known"


def sheet_of(name: str) -> str:
    """The name of a sheet known here; BadInput for another."""
    if name.lower() not in SHEETS:
        raise BadInput(f"--paper: {name!r} is no sheet known here; write {' or '.join(SHEETS)}.")
    return name.lower()


def kneeboard_pdf(s: Situation, a: Assessment, sheet: str = "a5") -> bytes:
    """The paper as a PDF. sheet: a5 or half-letter. Two pages for usual flights; a long one flows on, nothing is cut."""
    import typst

    return typst.compile(_template(), sys_inputs=_inputs(s, a, sheet), ignore_system_fonts=True)


def kneeboard_pages(s: Situation, a: Assessment, sheet: str = "a5") -> list[bytes]:
    """The same pages as pictures (PNG), to be looked at."""
    import typst

    made: Any = typst.compile(_template(), sys_inputs=_inputs(s, a, sheet), ignore_system_fonts=True, format="png", ppi=160.0)
    return made if isinstance(made, list) else [made]


def _inputs(s: Situation, a: Assessment, sheet: str) -> dict[str, str]:
    return {"data": dumps(kneeboard_data(s, a, sheet), ensure_ascii=False, allow_nan=False)}


@cache
def _template() -> bytes:
    return resources.files("ownship").joinpath("papers", "typst", "kneeboard.typ").read_bytes()


def kneeboard_data(s: Situation, a: Assessment, sheet: str = "a5") -> dict[str, Any]:
    """Everything on the paper as words, and the beam as shares of its width. Usable fuel; what is not known says so."""
    width, height = (_length_mm(x) for x in SHEETS[sheet_of(sheet)])
    shown, rest = _margins(a)
    return {
        "width_mm": width, "height_mm": height, "date": [s.departure.year, s.departure.month, s.departure.day],
        "title": f"{s.record.identity.registration} {s.record.identity.type_name}".strip(),
        "registration": s.record.identity.registration, "route": " - ".join(p.name for p in s.points),
        "leaving": _leaving(s.departure), "zone": _zone(s.departure),
        "mark": SHAPES[a.verdict][0], "verdict": a.verdict, "sentence": a.sentence,
        "log": [_log_row(s, i, a) for i in range(len(a.timeline))], "legs": _legs(a),
        "calm": "" if s.air.known else "No wind along the route is given: times and fuel are for calm air.",
        "why": "" if a.timeline else f"The flight cannot be flown on paper: {s.no_model or 'see not known'}",
        "tanks": [[_clock(t.start), _clock(t.end), t.tank, _text(t.burn), t.where] for t in a.tanks],
        "tank_words": list(a.tank_words), "fuel": _fuel(a), "places": _places(s), "ages": _ages(s), "runways": _runways(a),
        "points": [_point(p) for p in a.extras.last_points] if a.extras else [],
        "points_words": list(a.extras.words) if a.extras else [],
        "blocks": _blocks(s, a), "beam": _beam(s, a), "path": _path(a.loading),
        "card": _card(a.cards.get("take_off", {})),
        "today": _card(a.cards.get("this_aeroplane_today", {})),
        "margins": [_margin(m) for m in shown], "rest": rest, "not_known": list(a.not_known), "not_checked": list(a.not_checked),
        "warnings": [f"{w.get('place', '')}: {w['text']}".removeprefix(": ") for w in a.warnings],
        "cautions": list(dict.fromkeys((*a.cautions, *cautions_for(["card", "cockpit"])))), "sources": _sources(a, shown),
    }


def _length_mm(text: str) -> float:
    return float(from_si(parse(text, "length"), "mm"))


def _leaving(moment: datetime) -> str:
    return f"{moment:%Y-%m-%d %H:%M} ({moment.astimezone(UTC):%H:%M} UTC)"


def _zone(moment: datetime) -> str:
    return f"UTC{moment:%z}"[:6] + ":" + f"{moment:%z}"[3:5]


def _clock(moment: datetime | None) -> str:
    return UNKNOWN if moment is None else f"{moment:%H:%M}"


def _text(f: Figure | None, digits: int | None = None) -> str:
    """A figure with its band, or not known."""
    return UNKNOWN if f is None or f.to_json()["value"] is None else f.text(digits)


def _short(f: Figure | None, digits: int | None = None) -> str:
    """A figure without band and unit; the column has the unit."""
    return UNKNOWN if f is None else number_text(f.value, digits)


def _course(f: Figure | None) -> str:
    return "-" if f is None else f"{round(f.value) % 360:03d}"


def _log_row(s: Situation, i: int, a: Assessment) -> list[str]:
    """moment, clock, latest, altitude, usable fuel left, least of it, per tank; times of day have minutes."""
    r = a.timeline[i]
    unknown_ground = r.place == s.points[-1].name and s.points[-1].elevation_m is None
    tanks = " / ".join(f"{k} {number_text(v.value, 1)}" for k, v in r.fuel_by_tank.items())
    moment = f"{r.moment}, {r.place}" if r.place and r.place not in r.moment else r.moment
    return [moment, _clock(r.time), _clock(r.latest), UNKNOWN if unknown_ground else _short(r.altitude, 0),
            _short(r.fuel_left, 1), _short(r.minimum_fuel, 1), tanks or UNKNOWN]


def _legs(a: Assessment) -> list[list[str]]:
    return [[f"{g.start} - {g.end}", _short(g.distance, 1), _course(g.course_true), _course(g.course_magnetic),
             _course(g.heading_magnetic), _course(g.heading_compass),
             f"{_course(g.wind_from)}/{_short(g.wind_speed, 0)}, {_text(g.temperature, 0)}", _short(g.tas, 0),
             _short(g.groundspeed, 0), _short(g.time, 0), _short(g.fuel, 1)] for g in a.legs]


def _fuel(a: Assessment) -> list[list[str]]:
    f = a.fuel
    if f is None:
        return []
    found = [["on board", _text(f.on_board)], ["to order at least", _text(f.to_order)],
             ["left at landing", _text(f.left_at_landing)],
             ["endurance at the planned flow", _text(f.endurance, 0)],
             ["wheels on the ground with the reserve by", _clock(f.on_the_ground_by)], ["reserve", f.reserve]]
    found += [[f"{tank} tank, how known", words] for tank, words in f.how_known.items()]
    return [*found, *(["", words] for words in f.words)]


def _places(s: Situation) -> list[list[str]]:
    """Departure, on the way, destination, alternates: name, elevation, voice frequencies."""
    names = (s.request.origin, *s.request.via, s.request.destination, *s.request.alternates)
    found = []
    for p in (s.places[n] for n in dict.fromkeys(names) if n in s.places):
        voice = [f"{x.description or x.kind} {x.mhz:.3f}" for x in p.frequencies if VOICE_MHZ[0] <= x.mhz <= VOICE_MHZ[1]]
        height = UNKNOWN if p.elevation_m is None else figure(p.elevation_m, "ft").text(0)
        found.append([p.ident, p.name, height, "; ".join(voice) or "no frequency in the data"])
    return found


def _ages(s: Situation) -> str:
    """The sources of the aerodromes with their dates."""
    return "; ".join(dict.fromkeys(f"{p.source}, {p.data_date or 'no date'}" for p in s.places.values()))


def _runways(a: Assessment) -> list[list[str]]:
    return [[r["title"], *(_text(r[key], 0) for key in ("available", "unfactored", "covered", "doubly")), r["wind"],
             f"{r['surface_text'] or r['surface'] or 'surface not known'}, slope {_text(r['slope'], 1)}"] for r in a.runways]


def _point(p: PointRow) -> list[str]:
    """Name, clock of the middle, of the low end, where, usable fuel then; or why there is none."""
    if p.moment is None or p.distance is None:
        return [p.name, "-", "-", p.words or UNKNOWN, "-"]
    along = UNKNOWN if p.distance["value"] is None else f"{number_text(p.distance['value'], 0)} {p.distance['unit']} along"
    return [p.name, _clock(p.moment), _clock(p.earliest), f"{along}, {p.leg}. {p.words}".strip(), _text(p.fuel)]


def _weights(s: Situation, a: Assessment) -> list[tuple[str, float, tuple[float, float]]]:
    """What sits on the lever at the ramp: words, kg, both ends of its arm in m; the empty aeroplane first. Empty: not known."""
    try:
        empty = empty_weight(s.record, s.day, s.errors)
    except MissingKey:
        return []
    if not a.loading or s.record.fuel is None:
        return []
    stations = {x.id: x for x in s.record.stations}
    found = [("empty aeroplane", empty.weight_kg, (empty.arm_m, empty.arm_m))]
    found += [(f"{x.what}, {stations[x.station].name or x.station}", x.weight_kg, stations[x.station].arm_m)
              for x in s.request.loads]
    for tank in s.record.tanks:
        usable = a.loading[0].fuel.get(tank.id)
        if usable is not None:
            mass = parse(f"{usable.value!r} {usable.unit}", "volume") * s.record.fuel.density_kg_m3
            found.append((f"{tank.name or tank.id}, {usable.text(1)} usable", mass, (tank.arm_m, tank.arm_m)))
    return [x for x in found if x[1] > 0]


def _blocks(s: Situation, a: Assessment) -> list[list[str]]:
    """The loading form's lines: number, what, weight, arm, and a moment where the arm is one."""
    lines = []
    for i, (what, kg, (low, high)) in enumerate(_weights(s, a), 1):
        fixed = abs(high - low) < 1e-4
        arm = figure(low, "in").text(1) if fixed else f"{number_text(from_si(low, 'in'), 1)} to {figure(high, 'in').text(1)}"
        moment = (number_text(from_si(kg * low, "lb in"), 0), number_text(from_si(kg * high, "lb in"), 0))
        lines.append([str(i), what, figure(kg, "lb").text(1), arm, moment[0] if fixed else " to ".join(moment)])
    return lines


def _beam(s: Situation, a: Assessment) -> dict[str, Any] | None:
    """The lever as shares of its width: blocks (number, left, bottom, side), zone of support, balance, ticks. None: not known.

    A block's area is to its weight; those that would overlap stand on each other, the largest lowest.
    """
    things = _weights(s, a)
    if not things:
        return None
    row = a.loading[0]
    arms = [x for _, _, arm in things for x in arm]
    low, high = min(arms), max(arms)
    pad = max(0.16 * (high - low), 0.05)
    low, width = low - pad, high - low + 2 * pad

    def share(arm_m: float) -> float:
        return (arm_m - low) / width

    def of(f: Figure) -> float:
        return share(parse(f"{f.value!r} {f.unit}", "length"))

    heaviest, placed = max(kg for _, kg, _ in things), list[tuple[float, float, float]]()
    blocks = []
    for i, (_, kg, arm) in sorted(enumerate(things, 1), key=lambda x: (-x[1][1], x[0])):
        side, middle = max(LARGEST_1 * (kg / heaviest) ** 0.5, 0.012), share(sum(arm) / 2)
        left, right = middle - side / 2, middle + side / 2
        bottom = max((top for z, y, top in placed if z < right and left < y), default=0.0)
        placed.append((left, right, bottom + side + 0.002))
        blocks.append({"number": str(i), "left": left, "bottom": bottom, "side": side, "slide": [share(x) for x in arm]})
    zone = [of(f) for f in row.limits if f is not None]
    ticks = [{"at": share(parse(f"{x} in", "length")), "words": f"{x} in"}
             for x in range(0, 1000, 20) if 0.02 < share(parse(f"{x} in", "length")) < 0.96]
    return {"blocks": blocks, "height": max(top for _, _, top in placed), "zone": zone if len(zone) == 2 else [],
            "balance": [of(row.arm_forward), of(row.arm_aft)], "ticks": ticks, "words": _balance_words(row)}


def _balance_words(row: LoadingRow) -> str:
    forward, aft = row.limits
    allowed = "no allowed range at this weight" if forward is None or aft is None else \
        f"allowed {number_text(forward.value, 1)} to {aft.text(1)}"
    return (f"{row.moment}: {_short(row.weight, 0)} {row.weight.unit}, balances at {number_text(row.arm_forward.value, 1)} to "
            f"{row.arm_aft.text(1)}; {allowed}")


def _path(rows: tuple[LoadingRow, ...]) -> list[dict[str, Any]]:
    """The path of the burn, a row a moment: its band and the zone of support, shares of a common width."""
    arms = [f.value for r in rows for f in (r.arm_forward, r.arm_aft, *r.limits) if f is not None]
    if not arms:
        return []
    low, width = min(arms), max(max(arms) - min(arms), 0.1)
    return [{"words": _path_words(r), "mark": SHAPES[r.verdict][0],
             "band": [(r.arm_forward.value - low) / width, (r.arm_aft.value - low) / width],
             "zone": [(f.value - low) / width for f in r.limits if f is not None]} for r in rows]


def _path_words(r: LoadingRow) -> str:
    limits = " to ".join(number_text(f.value, 1) for f in r.limits if f is not None)
    return (f"{r.moment}, {_text(r.weight, 0)}: {number_text(r.arm_forward.value, 1)} to {r.arm_aft.text(1)}, "
            f"{f'allowed {limits}' if limits else 'no allowed range'}, {r.verdict}")


def _card(card: dict[str, Any]) -> list[list[str]]:
    """A card's lines; its cautions stand with the others."""
    found = []
    for key, value in card.items():
        if key != "cautions":
            words = _text(value).replace(" 1 (", " (") if isinstance(value, Figure) or value is None else str(value)
            found.append([sentence_case(key.replace("_", " ").replace("ias", "IAS")), words])
    return found


def _margins(a: Assessment) -> tuple[list[Margin], str]:
    """The tightest, and every one that is not within; how many more there are."""
    shown = [m for i, m in enumerate(a.margins) if i < LEAST_MARGINS or m.verdict != WITHIN]
    more = len(a.margins) - len(shown)
    return shown, f"{more} more, all within limits." if more else ""


def _margin(m: Margin) -> list[str]:
    name = f"{m.name}, {m.place}" if m.place else m.name
    room = UNKNOWN if m.margin is None else f"{_short(m.margin)} {m.margin.unit}"
    return [SHAPES[m.verdict][0], m.verdict, sentence_case(name), _text(m.available), _text(m.required), room, m.kind]


def _sources(a: Assessment, shown: Iterable[Margin]) -> list[str]:
    """Where the figures of this paper come from; the chains of the runways stand in the assessment."""
    found = [*(m.source for m in shown), *(str(r["source"]) for r in a.runways), str(a.aeroplane.get("weighing", "")),
             *a.sources[:1]]
    return [x for x in dict.fromkeys(found) if x]
