"""The first two moves of the Flight screen: read the address, ask once. What is shown is worked out from the answer alone."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from ownship.errors import OwnshipError
from ownship.questions import check as asking
from ownship.web import remembered
from ownship.web.forms import Form, blank, form_of, to_request, write_toml

if TYPE_CHECKING:
    from ownship.aeroplane.description import AirframeRecord
    from ownship.flight.answer import Assessment
    from ownship.flight.levels import Levels
    from ownship.flight.remedies import Found
    from ownship.flight.situation import Situation
    from ownship.flight.when import LeavingTimes

DEMO = "demo"
WHERE = re.compile(r'(?:\[(?P<table>[a-z]+)(?:\."?(?P<inside>[^]"]+)"?)?\] )?(?P<key>[a-z_]+): ')
LACKS = re.compile(r"flight lacks '([a-z_]+)'")
UNFINISHED = re.compile(r"(.+): no (weight is given|station is chosen);")  # a row of the load that is being filled in
LINE = re.compile(r"^flight line \d+, ")  # the line of a text that the pilot never sees


@dataclass(frozen=True)
class Asked:
    """One address read and answered; refusal: the one sentence where it cannot be, wrong: the field it is about, lacking: it is
    not filled in yet; empty: nothing is asked yet; rows: the form's row of each load of the request."""

    query: dict[str, str]
    aeroplane: str = DEMO
    aeroplanes: tuple[str, ...] = ()
    form: Form | None = None
    situation: Situation | None = None
    answer: Assessment | None = None
    refusal: str = ""
    wrong: str = ""
    lacking: bool = False
    empty: bool = False
    rows: tuple[int, ...] = ()
    request: dict[str, Any] | None = None
    found: Found | None = None
    levels: Levels | None = None
    when: LeavingTimes | None = None


def ask(query: Mapping[str, str]) -> Asked:
    """The flight of an address, assessed once; what more was asked for (remedies, levels, when) beside it."""
    plain = dict(query)
    asked = Asked(plain)
    try:
        asked = replace(asked, aeroplanes=remembered.kept(), aeroplane=plain.get("aeroplane", "").strip().upper() or DEMO)
        if asked.aeroplane == DEMO.upper():
            asked = replace(asked, aeroplane=DEMO)
        asked = replace(asked, form=_form(plain, asked.aeroplane))
        assert asked.form is not None
        if asked.aeroplane != DEMO and not asked.form.query:
            return replace(asked, empty=True)
        request, rows = to_request(asked.form)
        asked = replace(asked, request=request, rows=rows)
        s = _situation(asked)
        return _more(replace(asked, situation=s, answer=_assessed(s)))
    except OwnshipError as error:
        words = LINE.sub("", str(error))
        wrong = _wrong(asked, words)
        lacking = bool(LACKS.match(words) or UNFINISHED.match(words))
        return replace(asked, answer=None, refusal=_said(asked, wrong, words), wrong=wrong, lacking=lacking)


def _wrong(asked: Asked, words: str) -> str:
    """The name of the field a refusal is about, as its first words say; "" where it is about none, or about several."""
    if asked.form is None:
        return ""
    if row := UNFINISHED.match(words):
        return _row_field(asked.form, row[1], row[2])
    by_label = next((f.name for f in asked.form.by_name.values() if words.startswith(f"{f.label}: ")), "")
    where, lacks = WHERE.match(words), LACKS.match(words)
    if by_label or where is None:
        return by_label or (lacks[1] if lacks and lacks[1] in asked.form.by_name else "")
    table, inside, key = where["table"], where["inside"], where["key"]
    path: tuple[str | int, ...] = (key,)
    if table == "loads" and inside and inside.isdigit() and 0 < int(inside) <= len(asked.rows):
        path = (table, asked.rows[int(inside) - 1], key)
    elif table:
        path = (table, inside, key) if inside else (table, key)
    return next((f.name for f in asked.form.by_name.values() if f.path == path), "")


def _row_field(form: Form, what: str, lacks: str) -> str:
    """The field that an unfinished row of the load lacks."""
    ending = "" if lacks.startswith("weight") else "_station"
    rows = (f"load{i}" for i in range(form.rows) if (form.text(f"load{i}_what") or ("load" if ending else f"load{i}")) == what)
    return next((f"{row}{ending}" for row in rows if not form.text(f"{row}{ending}")), "")


def _said(asked: Asked, wrong: str, words: str) -> str:
    """A refusal by the label that stands on the page in place of the name that stands in a file."""
    if asked.form is None or not wrong or UNFINISHED.match(words):
        return words
    label, lacks, where = asked.form.by_name[wrong].label, LACKS.match(words), WHERE.match(words)
    if lacks is not None:
        return f"{label}: nothing is given{words[lacks.end():]}"
    return words if where is None or words.startswith(f"{label}: ") else f"{label}: {words[where.end():]}"


def _more(asked: Asked) -> Asked:
    s, answer = asked.situation, asked.answer
    assert s is not None and answer is not None
    if asked.query.get("remedies"):
        from ownship.questions.remedying import search

        asked = replace(asked, found=search(s, answer))
    if asked.query.get("levels"):
        from ownship.flight.levels import levels
        from ownship.questions.from_record import judge_of

        asked = replace(asked, levels=levels(s, judge=judge_of(s)))
    if asked.query.get("when"):
        from ownship.flight.when import leaving_times
        from ownship.questions.from_record import judge_of

        asked = replace(asked, when=leaving_times(s, judge=judge_of(s)))
    return asked


def _assessed(s: Situation) -> Assessment:
    from ownship.questions.from_record import with_record

    return with_record(s, remembered.assessed(s))


# -- which aeroplane ------------------------------------------------------------------------------------------------------
@lru_cache(maxsize=1)
def _demo() -> tuple[dict[str, Any], AirframeRecord]:
    return tomllib.loads(asking.demo_flight()), remembered.airframe(asking.demo_aeroplane(), "demo")


def _form(query: dict[str, str], aeroplane: str) -> Form:
    if aeroplane == DEMO:
        base, record = _demo()
        return form_of(query, base, record)
    record = remembered.airframe(remembered.texts(aeroplane, _day(query))[0], f"{aeroplane} of the record")
    return form_of(query, blank(record), record)


def _day(query: Mapping[str, str]) -> date:
    """The day of departure as typed; today where it is not (yet) one."""
    try:
        return date.fromisoformat(query.get("departure", "").strip()[:10])
    except ValueError:
        return datetime.now(UTC).date()


def _situation(asked: Asked) -> Situation:
    assert asked.request is not None
    text = write_toml(asked.request)
    if asked.aeroplane == DEMO:
        return asking.situation(asking.demo_aeroplane(), text, name="flight", aeroplane_name=DEMO)
    from ownship.questions.fills_of_record import on_fills
    from ownship.questions.from_record import standing_entries
    from ownship.questions.record_margins import by_record

    airframe, folder = remembered.texts(asked.aeroplane, _day({"departure": str(asked.request.get("departure", ""))}))
    found = asking.situation(airframe, text, folder, "flight", f"{asked.aeroplane} of the record")
    return on_fills(by_record(found, asked.aeroplane, ""), standing_entries())
