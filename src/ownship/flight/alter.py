"""The same flight asked in another way: a request's own words changed, and read again as strictly as the first time."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from ownship.flight.request import read_request
from ownship.flight.situation import Situation
from ownship.schema import Table
from ownship.world.aerodromes import Aerodrome


def altered(s: Situation, data: Mapping[str, Any], places: Mapping[str, Aerodrome] | None = None) -> Situation:
    """The situation with another request (JSON types, as in `request_data`); places: aerodromes it names in addition.

    BadInput where the request does not read. Nothing that was worked out for the first request is kept; weather that is word
    for word the same has been read.
    """
    plain = copy.deepcopy(dict(data))
    same = {key for key in ("weather", "aloft_hours") if key in plain and plain[key] == s.request_data.get(key)}
    request = read_request(Table(copy.deepcopy({k: v for k, v in plain.items() if k not in same}), "request"))
    request = replace(request, **{key: getattr(s.request, key) for key in same})
    return replace(s, request=request, request_data=plain, places={**s.places, **(places or {})})
