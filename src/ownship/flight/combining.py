"""Sets of changes that can be made together, as arrays (set, change): which there are, and which add nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from ownship.flight.changes import Change

IntArray = NDArray[np.int_]
Sets = Sequence[tuple[int, ...]] | IntArray
AT_ONCE, MOST_COMBINATIONS = 4, 60_000
MOST_BITS = 62  # in an integer of numpy's


def sized(changes: Sequence[Change], at_once: int = AT_ONCE) -> Iterator[IntArray]:
    """Every set of changes that touch different parts, (set, change), size by size in lexical order; the largest size that
    would pass 60,000 in all is left out, with what is larger."""
    parts = {part: k for k, part in enumerate(sorted({t for c in changes for t in c.touches}))}
    touched: IntArray = np.array([_mask(parts[t] for t in c.touches) for c in changes], dtype=_whole(len(parts)))
    number, so_far = np.arange(len(changes)), 0
    sets, used = number[:, None], touched
    for size in range(1, at_once + 1):
        if size > 1:
            rows, more = np.nonzero((number > sets[:, -1:]) & ((used[:, None] & touched) == 0))
            sets, used = np.column_stack([sets[rows], more]), used[rows] | touched[more]
        so_far += len(sets)
        if size > 2 and so_far > MOST_COMBINATIONS:
            return
        yield sets


def combinations_of(changes: Sequence[Change], at_once: int = AT_ONCE) -> list[tuple[int, ...]]:
    """Every set of up to four changes that do not touch the same part, fewest first (`sized`)."""
    return [tuple(c) for sets in sized(changes, at_once) for c in sets.tolist()]


def not_more_than(passing: Sequence[Sequence[int]], sets: IntArray) -> IntArray:
    """The sets that hold none of those that are within limits already."""
    if not passing or not sets.size:
        return sets
    most = int(sets.max()) + 1
    one: IntArray = np.array([1 << i for i in range(most)], dtype=_whole(most))
    masks, keep = one[sets].sum(axis=1), np.ones(len(sets), dtype=bool)
    for chosen in passing:
        mask = _mask(chosen)
        keep &= (masks & mask) != mask if max(chosen) < most else True
    return sets[keep]


def members(sets: Sets) -> tuple[IntArray, IntArray]:
    """(set, change) of every change of every set."""
    if isinstance(sets, np.ndarray):
        return np.repeat(np.arange(len(sets)), sets.shape[1]), sets.ravel()
    lengths = [len(c) for c in sets]
    return np.repeat(np.arange(len(sets)), lengths), np.fromiter(chain.from_iterable(sets), dtype=int, count=sum(lengths))


def _mask(numbers: Iterator[int] | Sequence[int]) -> int:
    return sum(1 << i for i in numbers)


def _whole(bits: int) -> type:
    """The kind of number of an array with so many bits."""
    return object if bits > MOST_BITS else np.int64
