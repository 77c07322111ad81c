"""Engine entries as series, each with its trend: static rpm in standard air, oil an hour, compressions, magneto drops."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ownship.calibration.logged import EngineSaid
from ownship.calibration.trend import Entry, Trend, trend
from ownship.units import from_si

StandardAir = Callable[[float, float], float]  # (pressure altitude m, K) -> static rpm in standard air over that there


@dataclass(frozen=True)
class Series:
    """One series: its trend and the entries it was made of."""

    found: Trend
    entries: tuple[Entry, ...]


def series(said: Sequence[EngineSaid], standard_air: StandardAir) -> tuple[Series, ...]:
    """Every series of a log, static rpm first; a series nobody noted is left out.

    Oil an hour: what was added since the last entry that notes oil, over the time since; the first has no time before it.
    """
    parts: dict[tuple[str, str], list[Entry]] = {}
    oiled: float | None = None
    used = 0.0
    for e in said:
        if e.static is not None:
            rev_s, altitude, temperature = e.static
            parts.setdefault(("static_rev_s", ""), []).append(Entry(e.engine_time_s, rev_s, standard_air(altitude, temperature)))
        if e.oil_added_m3 is not None:
            used = 0.0 if oiled is None else used + e.oil_added_m3
            if oiled is not None and e.engine_time_s > oiled:
                parts.setdefault(("oil_m3_s", ""), []).append(Entry(e.engine_time_s, used / (e.engine_time_s - oiled)))
                used = 0.0
            oiled = e.engine_time_s
        for i, held in enumerate(e.compressions_1, 1):
            parts.setdefault(("compression_1", f"cylinder {i}"), []).append(Entry(e.engine_time_s, held))
        for side, drop in e.mag_drop_rev_s:
            parts.setdefault(("mag_drop_rev_s", side), []).append(Entry(e.engine_time_s, drop))
    order = ("static_rev_s", "oil_m3_s", "compression_1", "mag_drop_rev_s")
    return tuple(Series(trend(kind, entries, label), tuple(entries))
                 for (kind, label), entries in sorted(parts.items(), key=lambda p: (order.index(p[0][0]), p[0][1])))


def filter_words(said: Sequence[EngineSaid]) -> list[str]:
    """What the oil filter held: metal is named at every entry, carbon at the last only."""
    noted = [e for e in said if e.filter]
    lines = [f"Oil filter at {from_si(e.engine_time_s, 'h'):,.0f} h held metal: ALERT, have a mechanic look at it before the next "
             "flight." for e in noted if e.filter == "metal"]
    if noted and noted[-1].filter != "metal":
        lines.append(f"Oil filter at {from_si(noted[-1].engine_time_s, 'h'):,.0f} h: {noted[-1].filter}.")
    return lines
