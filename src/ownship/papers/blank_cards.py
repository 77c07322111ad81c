"""Cards to fill in while measuring: what to do, what to write down, and what becomes of it (docs/formats/measurements.md)."""

from __future__ import annotations

from datetime import date

from ownship.papers.sheets import Section, Sheet

CAUTIONS = (
    "A card is no flight-test programme: fly it in day VFR, within the approved flight manual's limits, in smooth air, with room "
    "below; the pilot in command decides, and looks out before writing.",
    "Static runs and tachometer checks: brakes, chocks, a clear area, somebody else reads what stands outside of the cockpit.",
)
CARDS: tuple[tuple[str, str, tuple[str, ...], int], ...] = (
    ("Level run", "Altimeter on 1013 hPa, hold height and rpm, wait until the speed stands. Three tracks at least 60 degrees "
     "apart, a minute each. Nothing is changed between them.",
     ("pressure altitude", "OAT", "weight", "rpm", "IAS", "mixture", "track 1 / GS", "track 2 / GS", "track 3 / GS"), 4),
    ("Timed climb", "Full throttle, one IAS held from below the first height to above the second; the time between them. "
     "Altimeter on 1013 hPa (or GPS heights, said so).",
     ("from", "to", "time", "IAS", "OAT half-way", "weight", "heights by"), 4),
    ("Glide", "Throttle closed, engine warmed between runs; one IAS held; the time between two heights. Propeller windmilling or, "
     "where the manual allows it over an aerodrome, stopped.",
     ("from", "to", "time", "IAS", "OAT half-way", "weight", "propeller"), 4),
    ("Static run", "Full throttle against the brakes, no wind or across it; read the tachometer, and the optical one from outside.",
     ("panel rpm", "optical rpm", "OAT", "pressure altitude"), 3),
    ("Take-off", "Count runway lights or paces to lift-off and to 50 ft; say which surface it was that day.",
     ("roll", "to 50 ft", "pressure altitude", "OAT", "weight", "headwind", "slope", "surface", "flap", "IAS lift-off / 50 ft"), 3),
    ("Landing", "From 50 ft over the threshold to the stop, brakes as you would use them.",
     ("roll", "from 50 ft", "pressure altitude", "OAT", "weight", "headwind", "slope", "surface", "flap", "IAS approach"), 3),
    ("Fill", "Fill to the same mark, the aeroplane level, as last time. Times of each part since then.",
     ("date", "taxi", "climb", "cruise", "descent", "approach", "cruise rpm / height"), 4),
    ("Engine", "At every oil change or fifty hours.",
     ("hours", "static rpm / OAT / height", "oil added", "compressions 1 / 2 / 3 / 4", "filter", "mag drop L / R"), 3),
)


def blank_cards(aeroplane: str, tanks: tuple[str, ...], day: date, wanted: tuple[str, ...] = ()) -> Sheet:
    """The cards of an aeroplane with these tanks, blank; wanted: what is to be measured next, first on the paper."""
    parts = [Section("What to measure next", lines=wanted)] if wanted else []
    for name, what, columns, blank in CARDS:
        heads = (*columns, *(f"{t}: level / added" for t in tanks)) if name == "Fill" else columns
        parts.append(Section(name, (what,), heads, tuple(("",) * len(heads) for _ in range(blank)), tuple(range(len(heads)))))
    return Sheet("Test cards", aeroplane, day, tuple(parts), "Write units beside every figure. Panel figures as the panel shows "
                 "them; what was not read stays blank and is not known.", cautions=CAUTIONS)
