"""A flight that spans days: what stands against it on any of them, once, by the worst day."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date
from typing import TypeVar

T = TypeVar("T")


def on_days(days: Iterable[date], found: Callable[[date], Iterable[T]], name: Callable[[T], str],
            badness: Callable[[T], float]) -> tuple[tuple[date, T], ...]:
    """(day, finding): what is found on any of the days, each name once, on the day it is worst; of equals on the earliest.

    found: what stands against a flight on a day; badness: the greater, the worse. In the order of first being found.
    """
    worst: dict[str, tuple[date, T]] = {}
    for day in sorted(set(days)):
        for x in found(day):
            before = worst.get(name(x))
            if before is None or badness(x) > badness(before[1]):
                worst[name(x)] = (day, x)
    return tuple(worst.values())
