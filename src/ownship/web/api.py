"""The same answer as data: what stands at .json beside every page, and how OpenAPI tells it."""

from __future__ import annotations

from typing import Any

from ownship.papers.ahead import levels_json, times_json
from ownship.papers.exchange import plain, to_json
from ownship.web.addresses import links
from ownship.web.flying import Asked

VIEWS = {"aeroplane": "demo, or a registration that the record keeps", "theme": "light or night; empty: as the device",
         "remedies": "1: what would make it fit", "levels": "1: every legal level", "when": "1: every half hour of the day"}
NOTHING_ASKED = "No flight is asked for yet; say where from, where to, when, with whom and with how much fuel."
FIELDS = ("from", "to", "via", "alternates", "departure", "leave_again", "rules", "cruise_altitude", "power", "mixture", "ground",
          "load0", "load0_what", "load0_station", "load0_may", "load0_out", "aloft", "own_landing_fuel", "own_crosswind")


def parameters(left_out: tuple[str, ...] = ()) -> dict[str, Any]:
    """The query for OpenAPI without some names; loads count on from 0; tanks, weather and runways have fields by their names."""
    words = VIEWS | dict.fromkeys(FIELDS, "a field of the request (docs/methods/screens.md); absent: as in the demo")
    return {"parameters": [{"name": k, "in": "query", "required": False, "description": v, "schema": {"type": "string"}}
                           for k, v in words.items() if k not in left_out]}


def data(asked: Asked) -> tuple[int, dict[str, Any]]:
    """(status, data): the assessment of schema 1 with what more was asked for, or the sentence of refusal."""
    if asked.answer is None:
        return 422, {"refused": asked.refusal or NOTHING_ASKED}
    found: dict[str, Any] = to_json(asked.answer)
    if asked.found is not None:
        found["remedies"] = [plain(x.remedy.to_json()) | {"address": x.address or None} for x in links(asked)]
        found["remedy_words"] = asked.found.words
    if asked.levels is not None:
        found["levels"] = levels_json(asked.levels)
    if asked.when is not None:
        found["when"] = times_json(asked.when)
    return 200, found
