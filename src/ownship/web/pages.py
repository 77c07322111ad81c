"""The third move: show. An answered address as HTML; nothing is worked out here but where things stand on a page."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from markupsafe import Markup

from ownship.papers.ahead_charts import leaving_chart, levels_chart
from ownship.papers.text import SHAPES
from ownship.web import addresses, beam, hours, sketch
from ownship.web.bars import strip
from ownship.web.flying import Asked
from ownship.words.cautions import cautions_for
from ownship.words.figures import Figure, number_text

THEMES = (("", "as the device"), ("light", "light"), ("night", "night"))


@lru_cache(maxsize=1)
def environment() -> Environment:
    """Templates with everything escaped; an undefined name is an error, never an empty place."""
    pages = Environment(loader=PackageLoader("ownship.web"), autoescape=select_autoescape(default=True), undefined=StrictUndefined,
                        trim_blocks=True, lstrip_blocks=True)
    pages.filters.update(quantity=_quantity, spoken=_spoken, clock=lambda moment: moment.strftime("%H:%M") if moment else "")
    pages.globals.update(shapes=SHAPES, strip=strip, cautions=cautions_for(("verdict", "fuel", "load")))
    return pages


def flight(asked: Asked) -> str:
    """The Flight screen of an address."""
    theme = asked.query.get("theme", "")
    return environment().get_template("flight.html").render(
        asked=asked, form=asked.form, answer=asked.answer, refusal=asked.refusal, theme=theme if theme in dict(THEMES) else "",
        themes=[(name, words, addresses.address(asked, theme=name)) for name, words in THEMES],
        address=lambda path="/", **view: addresses.address(asked, path, **view), undo=addresses.undo(asked),
        change=lambda **edits: addresses.change(asked, **edits),
        hidden=addresses.hidden(asked.form) if asked.form else (), links=addresses.links(asked),
        drawn=_drawn(asked), names={m.id: _name(m) for m in asked.answer.margins} if asked.answer else {})


def missing(status: int) -> str:
    """A page that is not there."""
    return environment().get_template("missing.html").render(status=status)


def style() -> str:
    """The style sheet."""
    return environment().loader.get_source(environment(), "style.css")[0]  # type: ignore[union-attr]


def _drawn(asked: Asked) -> dict[str, Any]:
    """The drawings of an answer; one that has nothing to show is None."""
    s, a = asked.situation, asked.answer
    if s is None or a is None:
        return {}
    on, fuel = beam.blocks(s, a), hours.hours_of(a)
    loading = {r.id: r for r in a.loading}
    return {"blocks": on, "beam": beam.beam(on, loading["ramp"]) if on and "ramp" in loading else None,
            "path": beam.path(a.loading) if len(a.loading) > 1 else None, "hours": fuel,
            "fuel": hours.hours(fuel) if fuel else None, "route": sketch.sketch(s, a),
            "ground": [m for m in a.margins if m.id.startswith("terrain")],
            "levels": Markup(levels_chart(asked.levels)) if asked.levels and asked.levels.levels else None,
            "when": Markup(leaving_chart(asked.when)) if asked.when and asked.when.times else None}


def _name(margin: Any) -> str:
    return margin.name + (f", {margin.place}" if margin.place and margin.place not in margin.name else "")


def _spoken(key: str) -> str:
    """A card's key as words: "climb_ias" is "climb IAS"."""
    return " ".join({"ias": "IAS", "vx": "Vx", "vy": "Vy"}.get(x, x) for x in key.replace("take_off", "take-off").split("_"))


def _quantity(figure: Figure | None, digits: int | None = None) -> str:
    if figure is None:
        return ""
    counted = isinstance(figure.value, int) and digits is None  # people and seats
    return f"{number_text(figure.value, 0 if counted else digits)} {figure.unit}"
