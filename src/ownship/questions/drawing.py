"""Charts to a folder: how well a calibration agrees, what measurements narrowed, what a modification changes."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ownship.questions.calibrating import calibrations_of, own_file_of, record_of, rows_to_match, surrogate_of
from ownship.questions.calibration_file import Fitted
from ownship.questions.explaining import by_origin
from ownship.questions.places import write_whole

if TYPE_CHECKING:
    from ownship.calibration.engine_found import Series
    from ownship.studies.comparison import Study


def calibration_charts(aeroplane: str, fitted: Fitted, rows_path: str | None = None, own_path: str | None = None,
                       where: tuple[str, str] | None = None) -> dict[str, str]:
    """SVG by name: agreement of every row of the book and of the owner's; with own rows also the bands before and after them;
    with an engine log a trend of each series."""
    from ownship.calibration import diagnostics
    from ownship.calibration.estimate import draws_of, individual
    from ownship.papers.charts import agreement_chart, before_after_chart
    from ownship.performance.model import Model, airframe_of

    record, _, folder = record_of(aeroplane)
    airframe = airframe_of(record)
    surrogate, rows = surrogate_of(airframe), rows_to_match(record, folder, rows_path, own_path, where)
    found: dict[str, str] = {}
    for whose, part, matched in by_origin(rows, fitted):
        every = diagnostics.worst(airframe, surrogate, part, matched, most=len(part))
        said = "the book" if matched is fitted.book else "the book and your flights"
        found[f"agreement-of-{whose.split()[-1]}"] = agreement_chart(every, said)
    models = calibrations_of(record, folder, fitted)
    if models.own is not None:
        before = diagnostics.key_figures(Model(airframe, surrogate, draws_of(individual(fitted.book))))
        book = {f.name: f.value for f in diagnostics.key_figures(models.book)}
        found["before-and-after"] = before_after_chart(before, diagnostics.key_figures(models.own), book)
    own_file = own_file_of(record, folder, rows_path, own_path, where)
    return found | (trend_charts(own_file.series) if own_file else {})


def trend_charts(series: Sequence[Series]) -> dict[str, str]:
    """SVG by name of every engine series of a log."""
    from ownship.calibration.trend import KINDS
    from ownship.papers.charts import trend_chart

    return {f"trend-{_file_name(f'{KINDS[s.found.kind].name} {s.found.label}')}": trend_chart(s.found, s.entries) for s in series}


def _file_name(words: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", words.lower()).strip("-")


def study_charts(studies: list[Study]) -> dict[str, str]:
    """SVG by the name of the modification."""
    from ownship.papers.charts import difference_chart, study_differences

    return {_file_name(s.name): difference_chart(s.name, study_differences(s.figures)) for s in studies}


def write_charts(folder: Path, charts: Mapping[str, str]) -> None:
    """Each chart as NAME.svg in the folder."""
    folder.mkdir(exist_ok=True)
    for name, svg in charts.items():
        write_whole(folder / f"{name}.svg", svg.encode())
