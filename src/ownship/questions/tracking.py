"""A GPX track of a flight as proposals of measurements: what it shows by itself, and what it cannot know."""

from __future__ import annotations

from ownship.questions.reading import read_text

ASK = "Add what a track cannot know: rpm of every leg, outside air temperature, weight; then write them as measurements."


def proposals(path: str) -> dict[str, list[str]]:
    """Level runs with TAS and wind, climbs with their rate, and every steady segment, in lines by heading."""
    from ownship.units import from_si
    from ownship.world.track_runs import climb_rates, level_runs, proposal
    from ownship.world.tracks import LONGEST_TEXT, parse_gpx, segments

    found = segments(parse_gpx(read_text(path, LONGEST_TEXT)))
    runs = [f"{len(r.segments)} legs at {from_si(r.altitude_m, 'ft'):,.0f} ft: TAS {from_si(r.tas_m_s, 'kt'):.1f} kt (one sd "
            f"{from_si(r.tas_sd_m_s, 'kt'):.1f}), wind {r.wind_from_deg:03.0f} true / {from_si(r.wind_speed_m_s, 'kt'):.0f} kt"
            for r in level_runs(found)]
    climbs = [f"{from_si(c.rate_m_s, 'ft/min'):,.0f} ft/min (one sd {from_si(c.rate_sd_m_s, 'ft/min'):.0f}) through "
              f"{from_si(c.altitude_m, 'ft'):,.0f} ft by GPS height" for c in climb_rates(found)]
    return {"level runs": runs or ["none found: fly three or more headings, one minute each, at one rpm and height"],
            "climbs": climbs or ["none found"], "steady segments": [proposal(s) for s in found] or ["none found"],
            "to do": [ASK]}
