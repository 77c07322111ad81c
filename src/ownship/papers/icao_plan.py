"""A draft of the ICAO flight-plan message, items 7 to 19 (docs/formats/papers.md); never sent, what is not known left out visibly.

Coding: ICAO Doc 4444 appendices 2 and 3, from memory; E/ and P/ derived from the assessment.
"""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass
from datetime import UTC, datetime

from ownship.aeroplane.description import AirframeRecord
from ownship.errors import BadInput
from ownship.flight.answer import Assessment
from ownship.flight.route import Point, point_of
from ownship.flight.situation import Situation
from ownship.units import from_si, to_si
from ownship.words.cautions import cautions_for

LIGHT_KG, MOST_ALTERNATES, LINE = 7000.0, 2, 69
CARRIED = re.compile(r"N|(?:[SABCDFGHIKLOTUVWXY]|E[1-3]|J[1-7]|M[1-3]|P[1-9])+")
CARRIED_PART = re.compile(r"[EJMP]\d|[A-Z]")
WATCHED = re.compile(r"N|[ACEHILPSX]?(?:B[12])?(?:U[12])?(?:V[12])?")
SOURCE = "ICAO Doc 4444, appendices 2 and 3, from memory"
DRAFT = "DRAFT to be checked against the aeronautical information of the day and filed by the pilot; nothing has been sent."


@dataclass(frozen=True)
class IcaoPlan:
    """The message, its supplementary item 19 (kept for search and rescue, not sent with it), and what was left out and why."""

    message: str
    supplementary: str
    left_out: tuple[str, ...]
    verdict: str

    @property
    def text(self) -> str:
        """The whole paper as plain text."""
        out = "\n".join(f"- {line}" for line in self.left_out)
        cautions = "\n".join(f"- {line}" for line in cautions_for(["verdict", "rules"]))
        return (f"{DRAFT}\nThe assessment says: {self.verdict}\n\n{self.message}\n\n"
                f"Item 19, kept for search and rescue and not part of the message:\n{self.supplementary}\n\n"
                f"Left out or to be looked at:\n{out}\n\nCautions:\n{cautions}\n\nSource of the coding: {SOURCE}.\n")


def icao_plan(s: Situation, a: Assessment) -> IcaoPlan:
    """The draft for one assessed flight.

    Times UTC (EOBT: leaving the blocks); EET from take-off to overhead the destination, rounded up to the minute; speed the
    first leg's true airspeed, to the knot; E/ usable fuel on board at the planned flow, rounded down. BadInput where an item
    that the message cannot do without is not known or cannot be coded. Source: see SOURCE.
    """
    if not a.timeline or not a.legs or a.fuel is None:
        raise BadInput("An ICAO flight plan needs speed and times, and this flight's are not known: "
                       f"{s.no_model or 'see not known in the assessment'}")
    start, end = s.points[0], s.points[-1]
    alternates = [point_of(n, s.places.get(n)) for n in s.request.alternates[:MOST_ALTERNATES]]
    first = f"(FPL-{_registration(s.record)}-{'I' if s.request.rules == 'IFR' else 'V'}G"
    lines = [first, f"-ZZZZ/{_wake(s.record)}-{_equipment(s.record)}", f"-{indicator(start)}{s.departure.astimezone(UTC):%H%M}",
             f"-{_speed(a)}{_level(s)} {route_words(s.points)}",
             " ".join([f"-{indicator(end)}{_hhmm(math.ceil(from_si(elapsed_s(a), 'min') - 1e-6))}",
                       *(indicator(p) for p in alternates)]),
             f"-{_other(s, start, end, alternates)})"]
    supplementary, unknown = _supplementary(s, a)
    return IcaoPlan("\n".join(x for line in lines for x in _folded(line)), supplementary, (*_looked_at(s), *unknown), a.sentence)


def indicator(point: Point) -> str:
    """A four-letter location indicator from the open data, else ZZZZ (named in item 18); an own record's ident is none."""
    place = point.aerodrome
    known = place is not None and place.kind != "own record" and re.fullmatch(r"[A-Z]{4}", place.ident)
    return point.name if known else "ZZZZ"


def place_words(lat_deg: float, lon_deg: float) -> str:
    """A position to the minute, as 4404N11556W (Doc 4444, item 15)."""
    lat, lon = round(abs(lat_deg) * 60), round(abs(lon_deg) * 60)
    return f"{lat // 60:02d}{lat % 60:02d}{'S' if lat_deg < 0 else 'N'}{lon // 60:03d}{lon % 60:02d}{'W' if lon_deg < 0 else 'E'}"


def route_words(points: tuple[Point, ...]) -> str:
    """Direct between positions: every point on the way by latitude and longitude, since no airway is known here."""
    return " ".join(["DCT", *(x for p in points[1:-1] for x in (place_words(p.lat_deg, p.lon_deg), "DCT"))])


def elapsed_s(a: Assessment) -> float:
    """From take-off to overhead the destination."""
    off = next(r.time for r in a.timeline if r.moment == "take-off")
    over: datetime = [r.time for r in a.timeline if r.moment.startswith("over ")][-1]
    return (over - off).total_seconds()


def _registration(record: AirframeRecord) -> str:
    found = record.identity.registration.replace("-", "").upper()
    if not re.fullmatch(r"[A-Z0-9]{1,7}", found):
        raise BadInput(f"registration: {record.identity.registration!r} cannot stand in item 7 of a flight plan; it takes at most "
                       "7 letters and digits. Correct the record.")
    return found


def _wake(record: AirframeRecord) -> str:
    weight = record.weights.take_off_max_kg
    if not isinstance(weight, int | float):
        raise BadInput("Item 9 of a flight plan needs the greatest take-off weight for the wake category, and the record has none; "
                       "add take_off_max to [weights].")
    if weight > LIGHT_KG:
        raise BadInput(f"take_off_max: {from_si(weight, 'kg'):,.0f} kg is not in wake category L, the only one written here "
                       f"(to {LIGHT_KG:,.0f} kg); write this plan by hand.")
    return "L"


def _equipment(record: AirframeRecord) -> str:
    codes = record.equipment_codes
    if codes is None or not codes.icao_10a or not codes.icao_10b:
        raise BadInput("Item 10 of a flight plan is not known: write icao_10a and icao_10b in [equipment_codes] of the record "
                       "(N where nothing is carried).")
    a, b = codes.icao_10a.upper(), codes.icao_10b.upper()
    parts = CARRIED_PART.findall(a)
    if {"R", "Z"} & set(parts):
        raise BadInput(f"icao_10a: {a!r} holds R or Z, which need PBN/ or an explanation in item 18, and the record holds "
                       "neither; take the letter out or write this plan by hand.")
    if not CARRIED.fullmatch(a) or len(set(parts)) != len(parts):
        raise BadInput(f"icao_10a: {a!r} is not item 10a; write N, or each letter once of those of the flight-plan form, as SG.")
    if not b or not WATCHED.fullmatch(b):
        raise BadInput(f"icao_10b: {b!r} is not item 10b; write N, or one of A C E H I L P S X and then B1 B2 U1 U2 V1 V2 "
                       "where they are fitted, as EB2.")
    return f"{a}/{b}"


def _speed(a: Assessment) -> str:
    tas = a.legs[0].tas
    knots = tas.value if tas.unit == "kt" else math.nan
    if not math.isfinite(knots):
        raise BadInput("Item 15 of a flight plan needs the true airspeed, and it is not known for the first leg.")
    return f"N{round(knots):04d}"


def _level(s: Situation) -> str:
    """Altitude in hundreds of feet, down to the lower hundred."""
    return f"A{math.floor(from_si(s.request.cruise_altitude_m, 'ft') / 100 + 1e-6):03d}"


def _other(s: Situation, start: Point, end: Point, alternates: list[Point]) -> str:
    """Item 18 in the order of Doc 4444: DEP/ DEST/ DOF/ TYP/ ALTN/ RMK/."""
    found = [f"{key}/{_named(p)}" for key, p in (("DEP", start), ("DEST", end)) if indicator(p) == "ZZZZ"]
    found += [f"DOF/{s.departure.astimezone(UTC):%y%m%d}", f"TYP/{_type(s.record)}"]
    other = [_named(p) for p in alternates if indicator(p) == "ZZZZ"]
    return " ".join([*found, *([f"ALTN/{' '.join(other)}"] if other else [])])


def _named(p: Point) -> str:
    """Name and position of a place without an indicator."""
    name = _plain(p.aerodrome.ident) if p.aerodrome else ""
    return f"{name} {place_words(p.lat_deg, p.lon_deg)}".strip()


def _type(record: AirframeRecord) -> str:
    found = _plain(record.identity.type_name)
    if not found:
        raise BadInput("TYP/ of a flight plan needs the aeroplane's type, and the record has none; add type_name to [identity].")
    return found


def _plain(text: str) -> str:
    """Capital letters, digits and single blanks only, as free text of a message allows."""
    flat = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().upper()
    return " ".join(re.sub(r"[^A-Z0-9 ]", " ", flat).split())


def persons(s: Situation) -> int:
    """People of the request: loads on a seat unless said to be things, and those said to be people."""
    seats = {x.id for x in s.record.stations if x.kind == "seat"}
    return sum((x.station in seats) if x.person is None else x.person for x in s.request.loads)


def _supplementary(s: Situation, a: Assessment) -> tuple[str, list[str]]:
    """Item 19 as far as it is known, and what is not."""
    assert a.fuel is not None
    endurance_s = float(to_si(a.fuel.endurance.value, a.fuel.endurance.unit)) if a.fuel.endurance else math.nan
    if not math.isfinite(endurance_s):
        raise BadInput("E/ of a flight plan needs the endurance, and the fuel on board is not known.")
    people, out = persons(s), []
    found = [f"-E/{_hhmm(math.floor(from_si(endurance_s, 'min') + 1e-6))}", f"P/{people or 'TBN'}"]
    colour = _plain(s.record.equipment_codes.colour) if s.record.equipment_codes else ""
    if colour:
        found.append(f"A/{colour}")
    else:
        out.append("A/ colour and markings: not on the record; add colour to [equipment_codes].")
    if a.fuel.endurance.low is not None:
        low_s = float(to_si(a.fuel.endurance.low, a.fuel.endurance.unit))
        out.append("E/ is the middle figure; with the doubt in fuel and flow it may be "
                   f"{_hhmm(max(math.floor(from_si(low_s, 'min')), 0))}.")
    if not people:
        out.append("P/ persons: no load of the request sits on a seat, so TBN (to be notified).")
    out.append("R/ S/ J/ D/ radios and survival equipment, N/ remarks, C/ pilot in command: not known here; write them by hand.")
    return " ".join(found), out


def _looked_at(s: Situation) -> list[str]:
    """What a pilot must look at in the message itself."""
    found = ["Item 9: the record keeps no ICAO type designator, so ZZZZ with TYP/; write the designator where the type has one.",
             "Item 15: an altitude in hundreds of feet; above the transition altitude write a flight level. Points by "
             "latitude and longitude to the minute; no airways and no procedures are known here.",
             "Item 18: EET/ at boundaries, PBN/, NAV/, SUR/ and PER/ are not known here; add what your State asks for."]
    watched = s.record.equipment_codes.icao_10b.upper() if s.record.equipment_codes else ""
    if watched != "N" and watched[:1] in "BUV":
        found.append(f"Item 10b: {watched} names no transponder, as the record has it; put its letter first where one is fitted.")
    if not s.air.known:
        found.append("Item 16: no wind along the route is given, so the elapsed time is for calm air.")
    exact = from_si(s.request.cruise_altitude_m, "ft")
    if abs(exact - 100 * round(exact / 100)) > 0.5:
        found.append(f"Item 15: the planned {exact:,.0f} ft is not a whole hundred; the lower one is written.")
    if len(s.request.alternates) > MOST_ALTERNATES:
        found.append(f"Item 16 takes two alternates; left out: {', '.join(s.request.alternates[MOST_ALTERNATES:])}.")
    return found


def _hhmm(minutes: int) -> str:
    if not 0 <= minutes < 100 * 60:
        raise BadInput(f"{minutes:,} minutes cannot be written as four figures of a flight plan; split the flight.")
    return f"{minutes // 60:02d}{minutes % 60:02d}"


def _folded(line: str) -> list[str]:
    """A line cut at blanks to the width of a teleprinter page, 69 characters."""
    lines = [""]
    for word in line.split(" "):
        if lines[-1] and len(lines[-1]) + 1 + len(word) > LINE:
            lines.append(word)
        else:
            lines[-1] = f"{lines[-1]} {word}".strip()
    return lines
