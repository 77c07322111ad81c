"""Registrations near to one another: a mistyped letter makes no other aeroplane in silence."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from ownship.errors import BadInput
from ownship.ownership.entries import AeroplaneRevision, Entry, Flight

NEAR = 2  # letters: as many as a slip of the keys or two that changed places


def letters_apart(one: str, other: str) -> int:
    """How many letters must be put in, left out, replaced or changed with their neighbour to make one of the other.

    Optimal string alignment distance, by the recurrence of Damerau (1964) and Levenshtein (1966), from memory.
    """
    rows = [list(range(len(other) + 1))]
    for i, a in enumerate(one, 1):
        row = [i]
        for j, b in enumerate(other, 1):
            row.append(min(rows[-1][j] + 1, row[-1] + 1, rows[-1][j - 1] + (a != b)))
            if i > 1 and j > 1 and a == other[j - 2] and b == one[i - 2]:
                row[-1] = min(row[-1], rows[-2][j - 2] + 1)
        rows.append(row)
    return rows[-1][-1]


def known_aeroplanes(entries: Iterable[Entry]) -> tuple[str, ...]:
    """Registrations of the record: of airframe records kept and of flights, in the order of their moments."""
    return tuple(dict.fromkeys(e.aeroplane for e in entries if e.aeroplane and isinstance(e.body, AeroplaneRevision | Flight)))


def as_known(entries: Iterable[Entry], registration: str) -> str:
    """The registration as the record knows it, with or without dashes; itself where it knows none such."""
    bare = registration.replace("-", "")
    return next((k for k in known_aeroplanes(entries) if k.replace("-", "") == bare), registration)


def of_a_file(entries: Iterable[Entry], names: Iterable[str], *, meant: bool = False) -> tuple[dict[str, str], tuple[str, ...]]:
    """(each registration of a file as it is to be kept, what is to be told), one of every flight, in the order of the file.

    BadInput where one is within two letters of one of the record, or of one with more flights in the file, and other
    aeroplanes are not meant.
    """
    kept = tuple(entries)
    known = known_aeroplanes(kept)
    counts = Counter(names)
    written: dict[str, str] = {}
    told: tuple[str, ...] = ()
    for name, _ in counts.most_common():
        other = next((w for w in written.values() if w.replace("-", "") == name.replace("-", "")), None)
        written[name] = other or as_known(kept, name)
        if other is not None or written[name] in known:
            continue
        told += other_aeroplane(kept, name, meant=meant)
        near = nearest(name, [w for n, w in written.items() if n != name])
        if near is not None and not meant:
            raise BadInput(f"aeroplane: {name} and {near} differ by no more than two letters; correct the mistyped one, or say "
                           "--other-aeroplane where both are meant.")
    return written, told


def nearest(registration: str, known: Iterable[str]) -> str | None:
    """The known registration within two letters, dashes aside, the nearest first; None: none is."""
    bare = registration.replace("-", "")
    found = sorted((letters_apart(bare, k.replace("-", "")), k) for k in known)
    return found[0][1] if found and found[0][0] <= NEAR else None


def other_aeroplane(entries: Iterable[Entry], registration: str, *, meant: bool = False,
                    kept_as: str = "a flight in") -> tuple[str, ...]:
    """What is to be told of an aeroplane that the record does not know; nothing where it does, or knows none yet.

    meant: the owner said that another aeroplane is meant (--other-aeroplane); without it BadInput where one of the record is
    within two letters.
    """
    known = known_aeroplanes(entries)
    if not known or registration in known:
        return ()
    near = nearest(registration, known)
    if near is not None and not meant:
        raise BadInput(f"aeroplane: {registration} is not an aeroplane of the record, and {near} is; correct it, or say "
                       "--other-aeroplane where another aeroplane is meant.")
    return (f"{registration} is not an aeroplane of the record; kept as {kept_as} another aeroplane",)
