"""Charts to a folder: how well a calibration agrees, what measurements narrowed, what a modification changes."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from ownship.questions.calibrating import Fitted, _rows_of, calibrations_of, record_of, surrogate_of
from ownship.questions.explaining import by_origin
from ownship.questions.places import write_whole

if TYPE_CHECKING:
    from ownship.studies.comparison import Study


def calibration_charts(aeroplane: str, fitted: Fitted, rows_path: str | None = None, own_path: str | None = None,
                       where: tuple[str, str] | None = None) -> dict[str, str]:
    """SVG by name: agreement of every row of the book and of the owner's; with own rows also the bands before and after them."""
    from ownship.calibration import diagnostics
    from ownship.calibration.estimate import draws_of, individual
    from ownship.papers.charts import agreement_chart, before_after_chart
    from ownship.performance.model import Model, airframe_of

    record, _, folder = record_of(aeroplane)
    airframe = airframe_of(record)
    surrogate, rows = surrogate_of(airframe), _rows_of(record, folder, rows_path, own_path, where)
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
    return found


def study_charts(studies: list[Study]) -> dict[str, str]:
    """SVG by the name of the modification."""
    from ownship.papers.charts import difference_chart, study_differences

    return {re.sub(r"[^a-z0-9]+", "-", s.name.lower()).strip("-"): difference_chart(s.name, study_differences(s.figures))
            for s in studies}


def write_charts(folder: Path, charts: Mapping[str, str]) -> None:
    """Each chart as NAME.svg in the folder."""
    folder.mkdir(exist_ok=True)
    for name, svg in charts.items():
        write_whole(folder / f"{name}.svg", svg.encode())
