"""The owner's measurements file whole: its rows and findings, and what its fuel and engine logs teach, in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ownship.questions.reading import read_text

if TYPE_CHECKING:
    from ownship.aeroplane.description import AirframeRecord
    from ownship.calibration.engine_found import Series
    from ownship.calibration.fuel_found import FuelFound
    from ownship.calibration.fuel_log import PlannedFlow
    from ownship.calibration.measured import Measurements
    from ownship.calibration.reductions import Reduced
    from ownship.performance.rows import Rows

NOT_BY_ITSELF = "`check` plans by the calibration and does not do so by itself: set contingency under [planning] of the request."
STARTED = "The fuel log holds its start alone: add a fill with the flights before it."


@dataclass(frozen=True)
class OwnFile:
    """What one measurements file says: rows and findings, the fuel log, every engine series, words on oil filters.

    fuel: None without fills, or with the start of a log alone (`started`).
    """

    reduced: Reduced
    fuel: FuelFound | None = None
    series: tuple[Series, ...] = ()
    filters: tuple[str, ...] = ()
    started: bool = False

    def empty(self) -> bool:
        """Whether it holds nothing to learn from and nothing to tell."""
        return not (len(self.reduced.rows) or self.fuel or self.series or self.filters or self.started)

    def headings(self) -> dict[str, list[str]]:
        """Lines by heading; those of what is not there are empty."""
        fuel, trends = self.fuel, [("ALERT: " if s.found.alert else "") + s.found.words for s in self.series]
        if fuel is None:
            return {"what your fills say": [STARTED] if self.started else [], "engine trends": [*trends, *self.filters]}
        open_ones = any(f.open for f in fuel.log.fills)
        return {"what your fills say": [*fuel.log.flow_words(), fuel.row_words],
                "fills that do not agree": [f.words for f in fuel.log.named()],
                "what to plan the next flight on": [*fuel.log.plan_words(), *([NOT_BY_ITSELF] if open_ones else [])],
                "engine trends": [*trends, *self.filters]}


def own_file(record: AirframeRecord, path: str, book: Rows | None) -> OwnFile:
    """A measurements file read and reduced; book: the rows of the handbook, of which logs need a calibration."""
    from ownship.calibration.measured import read_measurements
    from ownship.calibration.reductions import reduce
    from ownship.performance.model import airframe_of
    from ownship.schema import read_toml

    measured = read_measurements(read_toml(read_text(path), path))
    airframe = airframe_of(record)
    if not (measured.fills or measured.engine):
        return OwnFile(reduce(measured, airframe.position_error))
    fuel, series = _logs(record, measured, book)
    from ownship.calibration.engine_found import filter_words

    return OwnFile(reduce(measured, airframe.position_error, fuel.row if fuel else None), fuel, series,
                   tuple(filter_words(measured.engine)), len(measured.fills) == 1)


def _logs(record: AirframeRecord, measured: Measurements, book: Rows | None) -> tuple[FuelFound | None, tuple[Series, ...]]:
    """The fuel log by this aeroplane as it is before its own measurements; static rpm reduced by the book's middle."""
    from ownship.calibration.engine_found import series
    from ownship.calibration.estimate import draws_of, individual, middle
    from ownship.calibration.fuel_found import fuel_found
    from ownship.performance.model import Model, airframe_of
    from ownship.performance.takeoff import static_rev_s
    from ownship.physics.atmosphere import Air, isa_temperature_k
    from ownship.questions.calibrating import fit_both, surrogate_of

    airframe = airframe_of(record)
    surrogate, fitted = surrogate_of(airframe), fit_both(airframe, book)
    before, centre = (Model(airframe, surrogate, d) for d in (draws_of(individual(fitted.book)), middle(fitted.book)))

    def static(altitude_m: float, temperature_k: float) -> float:
        return float(static_rev_s(centre, Air(altitude_m, temperature_k), noise=False)[0, 0])

    standard = static(0.0, float(isa_temperature_k(0.0)))
    return (fuel_found(measured.fills, record.tanks, before, taxi_flow()),
            series(measured.engine, lambda altitude, temperature: standard / static(altitude, temperature)))


def taxi_flow() -> PlannedFlow:
    """The usual taxi fuel over the usual taxi time, with its spread (data/planning.toml)."""
    from ownship.calibration.fuel_log import PlannedFlow
    from ownship.flight.planning import usual

    flow = usual("taxi_fuel") / usual("taxi_time")
    return PlannedFlow(flow, usual("taxi_fuel_sd") * flow)
