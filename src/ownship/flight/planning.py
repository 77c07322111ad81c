"""Usual planning figures of data/planning.toml, each with its source, in SI."""

from __future__ import annotations

from functools import cache

from ownship.errors import MissingSource
from ownship.provenance import Datum, datum, package_toml

_DIMENSIONS = {
    "taxi_time": "time", "taxi_fuel": "volume", "taxi_fuel_sd": "ratio", "approach_time_vfr": "time",
    "approach_time_ifr": "time", "missed_approach_climb": "length", "missed_approach_time": "time",
    "circuit_height": "length", "descent_rate": "speed", "contingency": "ratio", "holding_height": "length",
    "alternate_height": "length", "wind_sd": "speed", "temperature_sd": "temperature difference",
    "surface_temperature_sd": "temperature difference", "borrowed_temperature_sd": "temperature difference",
    "feed_search_radius": "length", "allowance_weight": "ratio", "allowance_time": "time",
    "allowance_clearance": "length", "allowance_gradient": "gradient",
}


@cache
def figures() -> dict[str, Datum]:
    """Every planning figure by name."""
    root = package_toml("planning.toml")
    found = {}
    for name, dimension in _DIMENSIONS.items():
        table = root.table(name, needed=True)
        assert table is not None
        found[name] = datum(table, dimension)
    root.done()
    return found


def usual(name: str) -> float:
    """The SI value of one planning figure."""
    return figures()[name].value


@cache
def usual_costs() -> dict[str, float]:
    """Costs by name, from data/remedy_costs.toml; refused without a source."""
    root = package_toml("remedy_costs.toml")
    if not root.text("source", ""):
        raise MissingSource("remedy_costs.toml has no source; add it.")
    return {name: float(row["value"]) for name, row in root.take("costs").items()}
