"""`make bench`: one run, one core. A vectorised call must beat a scalar loop of the same code by its ratio."""

import subprocess
import sys
import time

import numpy as np

from bench.people import people_bench
from bench.record import record_bench
from ownship.calibration.estimate import draws_of, fit
from ownship.calibration.measurements import predict
from ownship.flight.assessment import assess, flights_of
from ownship.flight.changes import changes_of
from ownship.flight.combining import combinations_of
from ownship.flight.landable import _start
from ownship.flight.reach import reach
from ownship.flight.remedies import candidates, screen_of
from ownship.flight.when import leaving_times
from ownship.performance import climb, cruise, landing, takeoff
from ownship.performance.model import Model, airframe_of
from ownship.performance.rows import read_rows
from ownship.physics.atmosphere import Air
from ownship.questions.calibrating import record_of, rows_text, surrogate_of
from ownship.questions.check import demo_aeroplane, demo_flight, situation
from ownship.questions.remedying import search

CASES, SCALAR_CASES, FEWEST = 16, 40, 8
MOST_ASSESSMENTS = 12  # that the whole search for remedies may take as long as


def best_of(function, runs=5):
    """Least wall time of a few runs, s."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        function()
        times.append(time.perf_counter() - start)
    return min(times)


def card(model, air, weight):
    """One complete card: take-off, best climb, cruise, landing."""
    takeoff.take_off(model, air, weight)
    climb.best_speeds(model, air, weight)
    cruise.at_rpm(model, air, weight, 41.0)
    landing.landing(model, air, weight)


def models():
    """The demo's calibrated model with 256 draws, and its single middle draw."""
    record, _, folder = record_of("demo")
    airframe = airframe_of(record)
    rows = read_rows(*rows_text(record, folder))
    surrogate = surrogate_of(airframe)
    started = time.perf_counter()
    calibration = fit(airframe, surrogate, rows, "book")
    print(f"calibration on {len(rows)} rows: {time.perf_counter() - started:.2f} s (aim 1 s for 350 rows)")
    many = Model(airframe, surrogate, draws_of(calibration, 256))
    return many, many.middle


def compare(name, function, many, one, least):
    """Rate of (case, draw) answers in one vector call against the same function called one at a time."""
    altitudes = np.linspace(0.0, 2000.0, CASES)
    vector = best_of(lambda: function(many, Air(altitudes, np.full(CASES, 290.0)), 1000.0))
    scalar = best_of(lambda: [function(one, Air(h, 290.0), 1000.0) for h in np.linspace(0, 2000, SCALAR_CASES)], 3)
    fast, slow = CASES * 256 / vector, SCALAR_CASES / scalar
    print(f"{name}: {fast:,.0f}/s vectorised, {slow:,.0f}/s one at a time, ratio {fast / slow:.0f} (at least {least})")
    return fast / slow >= least


def predictions(many, one):
    """Row predictions a second with 256 draws against one draw and one row at a time; 350 rows a fit goal 1 s."""
    record, _, folder = record_of("demo")
    rows = read_rows(*rows_text(record, folder))
    some = rows.where(np.arange(len(rows)) % 12 == 0)
    singles = [rows.where(np.arange(len(rows)) == i) for i in range(0, len(rows), 24)]
    vector = best_of(lambda: predict(many, some))
    scalar = best_of(lambda: [predict(one, r) for r in singles], 3)
    fast, slow = len(some) * 256 / vector, len(singles) / scalar
    print(f"predictions: {fast:,.0f}/s vectorised, {slow:,.0f}/s one at a time, ratio {fast / slow:.0f} (at least 20)")
    return fast / slow >= 20


def screening(s):
    """Candidates a second in the screening, and the whole search (detours too), against the ordinary assessment one at a time."""
    changes = changes_of(s)
    sets = combinations_of(changes, 3)
    count = len(sets)
    start = time.perf_counter()
    screen = screen_of(s, changes)
    every = candidates(screen, changes, sets)
    screen.rate(every)
    whole = time.perf_counter() - start
    again = best_of(lambda: screen.rate(every), 2)
    one = best_of(lambda: assess(situation(demo_aeroplane(), demo_flight())), 3)  # a new flight each time: none is kept
    before = assess(s)
    searched = best_of(lambda: search(s, before), 3)
    print(f"remedies of the demo: {count:,} candidates in {whole:.2f} s with set-up, {count / again:,.0f}/s once set up "
          f"(floor 2,000, goal 5,000); ratio to the assessment {count / again * one:.0f} (at least 300)")
    print(f"remedies of the demo found and confirmed, after its assessment: {searched:.2f} s (aim 1 s), as long as "
          f"{searched / one:.1f} assessments (at most {MOST_ASSESSMENTS})")
    return count / again * one >= 300 and searched / one <= MOST_ASSESSMENTS


def ahead(s):
    """Leaving times and reach against one at a time: a day's half hours against a new assessment each; 72 bearings at once
    against as few at a time as are taken."""
    one = best_of(lambda: assess(situation(demo_aeroplane(), demo_flight())), 3)
    rows = len(leaving_times(s).times)
    day = best_of(lambda: leaving_times(situation(demo_aeroplane(), demo_flight())), 1)
    every = rows * one / day
    print(f"leaving times: {rows} half hours in {day:.2f} s, ratio to an assessment each {every:.1f} (at least 1)")
    flight = flights_of(s)[0][0]
    start = _start(s, flight, 0.0)  # to the last usable fuel
    times = {n: best_of(lambda n=n: reach(flight.model, s.air, s.settings, start, bearings=n), 2) for n in (72, FEWEST)}
    at_once = 72 / FEWEST * times[FEWEST] / times[72]
    print(f"reach: 72 bearings with every draw in {times[72]:.2f} s, ratio to {FEWEST} bearings at a time {at_once:.1f} "
          "(at least 1.2)")
    return every >= 1 and at_once >= 1.2


def starts(words, runs=3):
    """Wall time of a whole command, s."""
    return best_of(lambda: subprocess.run([sys.executable, "-m", "ownship", *words], check=True,
                                          stdout=subprocess.DEVNULL), runs)


def main():
    """Run everything; exit 1 when a ratio is missed."""
    many, one = models()
    good = [compare("rpm equilibria", lambda m, a, w: takeoff.static_rev_s(m, a), many, one, 50),
            compare("take-offs", takeoff.take_off, many, one, 20), compare("cards", card, many, one, 20)]
    s = situation(demo_aeroplane(), demo_flight())
    assess(s)
    warm = best_of(lambda: assess(situation(demo_aeroplane(), demo_flight())))
    new = [situation(demo_aeroplane(), demo_flight()) for _ in range(5)]
    only = best_of(lambda: assess(new.pop()))
    print(f"assessment with 256 draws, warm: {only * 1000:.0f} ms; with reading and look-ups {warm * 1000:.0f} ms (aim 60 ms)")
    calc, check = starts(["calc", "compass", "--true", "020", "--variation", "3W"]), starts(["check", "demo"])
    print(f"start-up: calc {calc:.2f} s, check {check:.2f} s, ratio {check / calc:.1f} (at least 2: calc starts at once)")
    good.append(check / calc >= 2)
    good.append(predictions(many, one))
    good.append(screening(s))
    good.append(ahead(s))
    good.append(record_bench())
    good.append(people_bench())
    sys.exit(0 if all(good) else 1)


if __name__ == "__main__":
    main()
