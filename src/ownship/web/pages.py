"""The third move: show. An answered address as HTML; nothing is worked out here but where things stand on a page."""

from __future__ import annotations

import hashlib
import re
from functools import lru_cache
from importlib.resources import files
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse, JSONResponse, Response
from jinja2 import Environment, PackageLoader, StrictUndefined, pass_context, select_autoescape
from jinja2.runtime import Context
from markupsafe import Markup

from ownship.flight.answer import Assessment
from ownship.papers.ahead_charts import leaving_chart, levels_chart
from ownship.papers.text import SHAPES
from ownship.web import access, addresses, beam, hours, in_units, sketch
from ownship.web.bars import strip
from ownship.web.flying import Asked
from ownship.words.cautions import cautions_for
from ownship.words.figures import Figure, number_text

THEMES = (("", "as the device"), ("light", "light"), ("night", "night"))
THEME, YEAR_S = "ownship-theme", 31_536_000
PART_OF_IMAGE = re.compile(r' role="graphics-[a-z]+"| aria-roledescription="[^"]*"')
SCREENS = (("Flight", "/"), ("Cockpit", "/cockpit"), ("Airframe", "/airframe"), ("Measurements", "/measurements"),
           ("Modifications", "/modifications"), ("Maintenance", "/maintenance"), ("Log", "/log"))
FLYING = ("verdict", "fuel", "load")
CAUTIONS = {"Maintenance": ("maintenance",), "Airframe": ("load", "model"), "Log": ("fuel", "insurer", "rules")}
MISSING = {"Not Found": "There is no such page.", "Method Not Allowed": "This page does not take that."}


@lru_cache(maxsize=1)
def environment() -> Environment:
    """Templates with everything escaped; an undefined name is an error, never an empty place."""
    pages = Environment(loader=PackageLoader("ownship.web"), autoescape=select_autoescape(default=True), undefined=StrictUndefined,
                        trim_blocks=True, lstrip_blocks=True)
    pages.filters.update(chance=_chance, quantity=_quantity, spoken=_spoken, example=_example,
                         clock=lambda moment: moment.strftime("%H:%M") if moment else "")
    pages.globals.update(shapes=SHAPES, strip=strip, built=built)
    return pages


def page(request: Request, template: str, status: int = 200, /, **context: Any) -> Response:
    """A page of the house: its template within base.html, the theme and the browser's token with it."""
    theme = theme_of(request)
    words = environment().get_template(template).render(
        request=request, theme=theme, screens=SCREENS, token=access.token_of(request),
        **({"units": in_units.units_of(request), "themes": _themes(request), "cautions": _cautions(context.get("screen", ""))}
           | context))
    response = HTMLResponse(words, status_code=status)
    if "kept" in request.query_params:  # gone back to after an undo, the page must not tell of what no longer stands
        response.headers["Cache-Control"] = "no-store"
    access.keep_token(request, response)
    if theme != request.cookies.get(THEME, "") and "theme" in request.query_params:
        response.set_cookie(THEME, theme, samesite="strict", max_age=YEAR_S)
    return response


def _cautions(screen: str) -> tuple[str, ...]:
    """What stands at the foot of a screen that names nothing of its own."""
    return cautions_for(("verdict",))[:1] + cautions_for(CAUTIONS[screen]) if screen in CAUTIONS else cautions_for(FLYING)


def theme_of(request: Request) -> str:
    """The theme of the address, else the one this browser chose last, else "": as the device."""
    asked = request.query_params.get("theme", request.cookies.get(THEME, ""))
    return asked if asked in dict(THEMES) else ""


def _themes(request: Request) -> list[tuple[str, str, str]]:
    here = request.url
    return [(name, words, f"{here.path}?{here.include_query_params(theme=name).query}") for name, words in THEMES]


def built(name: str) -> str:
    """The address of a built file, with the mark of its content; "" where the front end is not built (pages work without)."""
    mark = _mark(name)
    return f"/static/dist/{name}?{mark}" if mark else ""


@lru_cache(maxsize=64)
def _mark(name: str) -> str:
    path = files("ownship.web") / "static" / "dist" / name
    return hashlib.sha256(path.read_bytes()).hexdigest()[:12] if path.is_file() else ""


def flight(request: Request, asked: Asked) -> Response:
    """The Flight screen of an address; to its own script only the parts that hang on the request, and the address to show."""
    units, live = in_units.units_of(request), _live(request)
    answer = in_units.in_units(asked.answer, units)
    response = page(
        request, "_parts.html" if live else "flight.html", 422 if asked.refusal else 200,
        asked=asked, form=asked.form, answer=answer, refusal=asked.refusal, screen="Flight", live=live, units=units,
        levels=in_units.in_units(asked.levels, units), when=in_units.in_units(asked.when, units),
        themes=[(name, words, addresses.address(asked, theme=name)) for name, words in THEMES],
        address=lambda path="/", **view: addresses.address(asked, path, **view), undo=addresses.undo(asked),
        change=lambda **edits: addresses.change(asked, **edits),
        hidden=addresses.hidden(asked.form) if asked.form else (), links=addresses.links(asked),
        drawn=_drawn(asked, answer, units), names={m.id: _name(m) for m in asked.answer.margins} if asked.answer else {})
    response.headers["Vary"] = "HX-Request, Cookie"
    if live:
        response.headers["Cache-Control"] = "no-store"
        if asked.form is not None:
            response.headers["HX-Push-Url"] = addresses.here(asked)
    return response


def _live(request: Request) -> bool:
    """Whether the page's own script asks, and not the browser for a whole page."""
    return request.headers.get("hx-request") == "true" and "hx-history-restore-request" not in request.headers


def missing(request: Request, status: int, detail: str = "") -> Response:
    """A page that is not there, or what it does not take; as data where data were asked for."""
    words = MISSING.get(detail, detail)
    if request.url.path.endswith(".json"):
        return JSONResponse({"refused": words}, status_code=status)
    return page(request, "missing.html", status, status=status, words=words)


def refused(request: Request, words: str) -> Response:
    """The one sentence of a refusal, where no screen said it beside its form."""
    if request.url.path.endswith(".json"):
        return JSONResponse({"refused": words}, status_code=422)
    return page(request, "missing.html", 422, status=422, words=words)


def _drawn(asked: Asked, answer: Assessment | None, units: in_units.Units) -> dict[str, Any]:
    """The drawings of an answer, as it is to be shown; one that has nothing to show is None."""
    s, a = asked.situation, answer
    if s is None or a is None or asked.answer is None:
        return {}
    on, fuel = beam.blocks(s, asked.answer), hours.hours_of(a)
    loading = {r.id: r for r in a.loading}
    return {"blocks": [beam.in_units(b, units) for b in on],
            "beam": beam.beam(on, loading["ramp"]) if on and "ramp" in loading else None,
            "path": beam.path(a.loading) if len(a.loading) > 1 else None, "hours": fuel,
            "fuel": hours.hours(fuel) if fuel else None, "route": sketch.sketch(s, asked.answer),
            "ground": [m for m in a.margins if m.id.startswith("terrain")],
            "levels": chart(levels_chart(asked.levels)) if asked.levels and asked.levels.levels else None,
            "when": chart(leaving_chart(asked.when)) if asked.when and asked.when.times else None}


def chart(svg: str) -> Markup:
    """A chart for a page: one image with its words, without the roles of its lines and bars."""
    return Markup(PART_OF_IMAGE.sub("", svg))


def _name(margin: Any) -> str:
    return margin.name + (f", {margin.place}" if margin.place and margin.place not in margin.name else "")


def _chance(chance_1: float) -> str:
    """A chance in per cent; one that is not nothing, or not certain, is never rounded to be so."""
    if 0 < chance_1 < 0.01:
        return "under 1 %"
    return "over 99 %" if 0.99 < chance_1 < 1 else f"{100 * chance_1:.0f} %"


def _spoken(key: str) -> str:
    """A card's key as words: "climb_ias" is "climb IAS"."""
    return " ".join({"ias": "IAS", "vx": "Vx", "vy": "Vy"}.get(x, x) for x in key.replace("take_off", "take-off").split("_"))


@pass_context
def _quantity(context: Context, figure: Figure | None, digits: int | None = None, kind: str = "") -> str:
    """A figure without its band, in the unit this person wants for its kind ("": as its unit tells)."""
    if figure is None:
        return ""
    counted = isinstance(figure.value, int) and digits is None  # people and seats
    found = in_units.shown(figure, context.get("units") or {}, kind)
    return f"{number_text(found.value, 0 if counted else digits)} {found.unit}"


@pass_context
def _example(context: Context, text: str, name: str = "") -> str:
    """A field's example in the units this person wants."""
    return in_units.hint(text, context.get("units") or {}, name)
