"""Addresses: the whole request in the query, what a remedy changes in it, and the way back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import parse_qsl, urlencode

from ownship.errors import OwnshipError
from ownship.flight.changes import REMOVED, Change
from ownship.flight.remedies import Remedy
from ownship.web.flying import DEMO, Asked
from ownship.web.forms import VIEW, Form, changed, form_of, to_request, write_toml

PLAIN = ("cruise_altitude", "power", "mixture", "departure", "planned_departure", "planned_leave_again", "from", "to")
LONGEST_BEFORE = 4000


@dataclass(frozen=True)
class Link:
    """A remedy to show: its address, "" where the form cannot hold it, and its requests written out."""

    remedy: Remedy
    address: str
    texts: tuple[str, ...]


def address(asked: Asked, path: str = "/", **view: str) -> str:
    """The address of the flight as asked, its theme and its way back kept, with other views."""
    before = asked.query.get("before") if path == "/" else None
    return _written(path, changed(asked.form) if asked.form else {}, asked, view if before is None else {"before": before, **view})


def here(asked: Asked) -> str:
    """The address of the page as it was asked, with what is shown beside the answer: what the browser's bar is to hold."""
    return address(asked, **{k: "1" for k in ("remedies", "levels", "when") if asked.query.get(k)})


def change(asked: Asked, **edits: str) -> str:
    """The address of the flight with fields changed, and with the way back."""
    return _written("/", changed(asked.form, edits), asked, _way_back(asked)) if asked.form else "/"


def _way_back(asked: Asked) -> dict[str, str]:
    """The query as it is, ways further back within it, as long as an address may hold it."""
    for query in (address(asked), _written("/", changed(asked.form) if asked.form else {}, asked, {})):
        before = query.partition("?")[2]
        if len(before) <= LONGEST_BEFORE:
            return {"before": before}
    return {}


def _written(path: str, fields: Mapping[str, str], asked: Asked, view: Mapping[str, str]) -> str:
    kept = {} if asked.aeroplane == DEMO else {"aeroplane": asked.aeroplane}
    theme = asked.query.get("theme", "")
    every = {**kept, **({"theme": theme} if theme else {}), **fields, **view}
    chosen = ("before", *(("theme",) if "theme" in view else ()))  # an empty theme is one: as the device
    text = urlencode({k: v for k, v in every.items() if v or k in chosen or k not in VIEW})
    return f"{path}?{text}" if text else path


def undo(asked: Asked) -> str:
    """The address before the last remedy or level was taken; "" where there is none. It never leads away from this page."""
    before = asked.query.get("before")
    if before is None:
        return ""
    text = urlencode(parse_qsl(before, keep_blank_values=True))
    return f"/?{text}" if text else "/"


def links(asked: Asked) -> tuple[Link, ...]:
    """Every remedy with the address that applies it."""
    if asked.found is None:
        return ()
    return tuple(Link(r, _apply(asked, r), tuple(write_toml(x) for x in (r.request, *r.further))) for r in asked.found.remedies)


def _apply(asked: Asked, remedy: Remedy) -> str:
    """The address of a remedy's request; "" where the form's request would be another than the one that was judged."""
    form, edits = asked.form, edits_of(remedy.changes, asked.rows)
    if form is None or edits is None or remedy.further:
        return ""
    fields = changed(form, edits)
    try:
        same = _bare(to_request(form_of(fields, form.base, form.record))[0]) == _bare(remedy.request)
    except OwnshipError:
        return ""
    return _written("/", fields, asked, _way_back(asked)) if same else ""


def edits_of(changes: tuple[Change, ...], rows: tuple[int, ...]) -> dict[str, str] | None:
    """A remedy's edits as fields of the form (rows: the form's row of each load); None where one has no field."""
    found: dict[str, str] = {}
    for path, value in (edit for change in changes for edit in change.edits):
        match path:
            case ("loads", int(i)) if value is REMOVED:
                found[f"load{rows[i]}_out"] = "1"
            case ("loads", int(i), "station"):
                found[f"load{rows[i]}_station"] = str(value)
            case ("fuel", str(tank), "add"):
                found[f"fuel_{tank}_add"] = str(value)
            case ("runway", str(place), "end"):
                found[f"runway_{place}_end"] = str(value)
            case ("local",) if value is False:
                pass
            case (str(key),) if key in PLAIN:
                found[key] = str(value)
            case _:
                return None
    return found


def _bare(value: Any) -> Any:
    """A request without what says nothing: empty tables, null, false."""
    if isinstance(value, dict):
        return {k: b for k, v in value.items() if (b := _bare(v)) not in (None, False, "", [], {})}
    return [_bare(v) for v in value] if isinstance(value, list) else value


def hidden(form: Form) -> tuple[tuple[str, str], ...]:
    """Fields the form carries without showing them."""
    return tuple((f.name, form.text(f.name)) for f in form.by_name.values() if f.kind == "hidden" and form.text(f.name))
