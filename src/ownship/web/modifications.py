"""The Modifications screen: pick some or write one; what each would buy, before and after on the same draws. Nothing is kept."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, PlainTextResponse, Response

from ownship.errors import BadInput, MissingKey, MissingSource, OutOfRange, OwnshipError
from ownship.papers.charts import SPELT
from ownship.performance.model import HARD_RANGE_M
from ownship.questions import studying
from ownship.questions.airframe_record import Airframe, registrations
from ownship.questions.measuring import rows_of_record
from ownship.units import from_si
from ownship.web import in_units, pages
from ownship.web import measurements_forms as forms
from ownship.web import modifications_forms as written
from ownship.web.measurements import DEMO, name_of, which
from ownship.words.cautions import cautions_for
from ownship.words.figures import Figure, signed_text

if TYPE_CHECKING:
    from ownship.studies.comparison import Study
    from ownship.studies.modification import Modification
    from ownship.studies.pairing import Paired

router = APIRouter()
SCREEN = "Modifications"
CAUTIONS = (*cautions_for(("verdict",))[:1], *cautions_for(("modifications", "model")))
NO_SOURCE = "Source: nothing is given; say who says what the modification alters."
MOST, LONGEST_CLAIM = 10, 40
THREE = ("equal_rpm", "equal_power", "full_throttle")
SHOWN = (("Useful load and CG", ("useful_load", "cg")), ("Speed: three ways to compare", THREE),
         ("Take-off, climb, range", ("static_rpm", "take_off", "climb", "ceiling", "range")))
CHECKED_FT = float(from_si(HARD_RANGE_M[1], "ft"))
KIND_OF_UNIT = {"take_off": "runway"}


@dataclass(frozen=True)
class Line:
    """One paired figure as words: what it is of, both sides, the difference with its band."""

    label: str
    before: str
    after: str
    difference: str
    band: str


@dataclass(frozen=True)
class Answered:
    """A query answered: what was picked and typed, the studies, what does not fit, or the sentence why there is none."""

    a: Airframe
    picks: tuple[str, ...] = ()
    texts: dict[str, str] = field(default_factory=dict)
    together: bool = False
    claim: str = ""
    studies: tuple[Study, ...] = ()
    left_out: tuple[studying.LeftOut, ...] = ()
    claims: tuple[tuple[str, ...], ...] = ()
    why: str = ""
    refusal: str = ""
    wrong: str = ""


# ---- read, ask


def ask(request: Request) -> Answered:
    """What the address asks for, answered; a refusal stands in it, everything typed kept."""
    q = request.query_params
    texts = {k: v for k, v in q.items() if k.startswith(f"{written.NAME}.")}
    asked = Answered(which(q.get("aeroplane", "")), tuple(dict.fromkeys(x for x in q.getlist("pick") if x)), texts,
                     q.get("together", "") == "1", q.get("claim", "").strip())
    try:
        return _answered(asked, chosen_of(asked))
    except OwnshipError as error:
        words, wrong = str(error).replace(f"{rows_of_record(asked.a)}/", ""), ""
        if words.startswith("--claim"):
            words, wrong = words.replace("--claim", "A seller's figure"), "claim"
        elif isinstance(error, MissingSource) and words.startswith("the modification"):
            words, wrong = NO_SOURCE, f"{written.NAME}.source"
        elif written.any_typed(texts):
            words, wrong = forms.explained(words, written.WRITTEN, {})
        return replace(asked, refusal=words, wrong=wrong)


def chosen_of(asked: Answered) -> list[Modification]:
    """What was picked of the library, and what was written."""
    found = [_of_library(name) for name in asked.picks]
    if written.any_typed(asked.texts):
        found.append(studying.modification_of(written.toml_of(written.read(asked.texts))))
    if len(found) > MOST:
        raise BadInput(f"{len(found)} modifications are picked; at most {MOST} are worked out at once.")
    return found


def _answered(asked: Answered, chosen: list[Modification]) -> Answered:
    if not chosen:
        return asked
    together = asked.together and len(chosen) > 1
    try:
        found, left_out = studying.studies_of(asked.a.record, rows_of_record(asked.a), chosen, together, named=False)
    except (MissingKey, OutOfRange) as error:
        return replace(asked, why=str(error))
    claims = tuple(tuple(_claim(s, asked.claim)) for s in found)
    return replace(asked, studies=tuple(found), left_out=tuple(left_out), claims=claims)


def _of_library(name: str) -> Modification:
    if name not in studying.library():  # an address names no file
        raise BadInput(f"{name[:40]!r} is no modification of the library; there are {', '.join(studying.library())}.")
    return studying.modification(name)


def _claim(s: Study, text: str) -> list[str]:
    from ownship.studies.comparison import claim

    if len(text) > LONGEST_CLAIM:
        raise BadInput("--claim: that is too long for a speed; write it as 6 mph.")
    return claim(s, text) if text else []


# ---- show


@router.get("/modifications")
def page(request: Request, aeroplane: str = "", drawn: str = "") -> Response:
    """Pick or write modifications; what each would buy."""
    found = ask(request)
    units = in_units.units_of(request)
    shown = [(s, claims, [(title, lines_of(s, groups, units)) for title, groups in SHOWN])
             for s, claims in zip(found.studies, found.claims, strict=True)]
    return pages.page(
        request, "modifications.html", 422 if found.refusal else 200, screen=SCREEN, a=found.a, name=name_of(found.a),
        aeroplanes=(*registrations(), DEMO), asked=found, shown=shown,
        library=[(n, studying.modification(n)) for n in studying.library()],
        blocks=forms.blocks(written.WRITTEN, found.texts, found.wrong), typed=written.any_typed(found.texts), cautions=CAUTIONS,
        query=_query(request), charts=_charts(found) if drawn and found.studies else None,
        picked=found.picks or written.any_typed(found.texts))


def _query(request: Request) -> str:
    return urlencode([(k, v) for k, v in request.query_params.multi_items() if v and k not in ("theme", "drawn")])


def lines_of(s: Study, groups: Iterable[str], units: in_units.Units) -> list[Line]:
    """The figures of some groups in words, in the units a person chose."""
    return [_line(group, key, p, units) for group in groups for key, p in s.figures[group].items()]


def _line(group: str, key: str, p: Paired, units: in_units.Units) -> Line:
    from ownship.papers.studies import DETAILS, LABELS

    label = LABELS[group] + (f", {DETAILS[key]}" if key in DETAILS else "") + (f" ({p.conditions})" if p.conditions else "")
    before, after, d = (in_units.shown(f, units, KIND_OF_UNIT.get(group, "")) for f in (p.before, p.after, p.difference))
    label += _beyond(group, p)
    sides = [_text(f) if math.isfinite(f.value) else p.missing for f in (before, after)]
    if not math.isfinite(d.value) or d.low is None or d.high is None:
        return Line(label, sides[0], sides[1], "none to give", "")
    digits = 0 if abs(before.value) >= 100 and p.difference.unit != "kt" else 1
    return Line(label, sides[0], sides[1], f"{signed_text(d.value, digits)} {SPELT.get(d.unit, d.unit)}",
                f"{signed_text(d.low, digits)} to {signed_text(d.high, digits)}" if d.low < d.high else "")


def _text(f: Figure) -> str:
    """A side with its band, where it has one, and its unit as it is spoken."""
    plain = f if f.low is not None and f.high is not None and f.low < f.high else Figure(f.value, f.unit)
    return replace(plain, unit=SPELT.get(f.unit, f.unit)).text()


def _beyond(group: str, p: Paired) -> str:
    """What must stand beside a ceiling above the range that the model is checked in."""
    if group != "ceiling" or max((f.value for f in (p.before, p.after) if math.isfinite(f.value)), default=0.0) <= CHECKED_FT:
        return ""
    return f"; above {CHECKED_FT:,.0f} ft the model is not checked"


def _charts(found: Answered) -> list[tuple[str, Any]]:
    from ownship.questions.drawing import study_charts

    return [(name.replace("-", " "), pages.chart(svg)) for name, svg in study_charts(list(found.studies)).items()]


@router.get("/modifications/drawn")
def drawn_part(request: Request, aeroplane: str = "") -> Response:
    """The drawings of the studies, as a part of the page."""
    found = ask(request)
    return pages.page(request, "_modifications_drawn.html", query=_query(request), charts=_charts(found))


@router.get("/modifications.json")
def data(request: Request, aeroplane: str = "") -> JSONResponse:
    """The same as data: of each modification what docs/formats/modification.md says, and the seller's figure where one is given."""
    found = ask(request)
    if found.refusal:
        return JSONResponse({"refused": found.refusal}, status_code=422)
    told = studying.to_json(list(found.studies), found.left_out)
    claims = [*found.claims, *(() for _ in found.left_out)]
    return JSONResponse({"schema": 1, "aeroplane": found.a.registration, "demo": found.a.demo, "not_known": found.why or None,
                         "library": studying.library(), "cautions": list(CAUTIONS),
                         "studies": [s | {"claim": list(c)} for s, c in zip(told, claims, strict=True)]})


@router.get("/modifications/written.toml")
def file_of(request: Request) -> Response:
    """The modification that is typed, as the file that `ownship study modify` takes."""
    texts = {k: v for k, v in request.query_params.items() if k.startswith(f"{written.NAME}.")}
    text = written.toml_of(written.read(texts))
    studying.modification_of(text)  # a file that would be refused is not handed out
    return PlainTextResponse(text, headers={"Content-Disposition": 'attachment; filename="modification.toml"'})
