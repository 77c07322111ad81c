"""The record with 10,000 flights: how long questions and the import take; `record_bench` is called by the whole bench."""

import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from ownship.ownership.entries import Flight, TankContents
from ownship.questions.record import open_record
from ownship.store.records import New

FLIGHTS = 10_000
QUERY_S, IMPORT_S = 0.05, 10.0
START = datetime(2000, 1, 1, 15, tzinfo=UTC)


def flights():
    """Thirty years of flying: one flight in 26 hours."""
    for i in range(FLIGHTS):
        off = START + timedelta(hours=26 * i)
        fuel = (TankContents("left", 0.06, "dipstick"), TankContents("right", 0.05, "clock"))
        yield Flight(off, off + timedelta(minutes=70), "KBOI", "KU79", off + timedelta(minutes=8), off + timedelta(minutes=65),
                     tachometer_from_h=1000 + i, tachometer_to_h=1001 + i, landings_day=1, pilot="pilot", fuel_before=fuel,
                     fuel_after=fuel, phases_s=(("taxi", 480.0), ("cruise", 3000.0)), remarks="a line of remarks about the flight")


def best_of(function, runs=5):
    """Least wall time of a few runs, s."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        function()
        times.append(time.perf_counter() - start)
    return min(times)


def record_bench():
    """Print import and questions; True where the import takes under 10 s and each question under 50 ms."""
    with tempfile.TemporaryDirectory() as folder:
        records = open_record(Path(folder))
        news = [New(f, "N0160T") for f in flights()]
        started = time.perf_counter()
        records.append_many(news)
        taken = time.perf_counter() - started
        last = START + timedelta(hours=26 * FLIGHTS)
        asked = {"last 50 flights": lambda: records.flights("N0160T", last=50),
                 "flights of 90 days": lambda: records.flights(since=last - timedelta(days=90)),
                 "totals of hours and landings": lambda: records.flight_totals("N0160T"),
                 "totals of the last year": lambda: records.flight_totals(since=last - timedelta(days=365))}
        times = {name: best_of(ask) for name, ask in asked.items()}
        year, whole = best_of(lambda: records.flights(since=last - timedelta(days=365))), best_of(lambda: records.all("flight"), 1)
        records.close()
    print(f"record of {FLIGHTS:,} flights: import {taken:.1f} s (at most {IMPORT_S:.0f}); " + ", ".join(
        f"{name} {t * 1000:.0f} ms" for name, t in times.items()) + f" (at most {QUERY_S * 1000:.0f} each); every flight of a year "
        f"{year * 1000:.0f} ms, all of them {whole:.1f} s")
    return taken < IMPORT_S and max(times.values()) < QUERY_S
