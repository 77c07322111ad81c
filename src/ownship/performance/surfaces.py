"""Surfaces and their states as data: friction and published factors, or not known."""

from __future__ import annotations

from functools import cache

from ownship.physics.conditions import Surface
from ownship.provenance import package_toml, source_of

UNKNOWN_STATES = ("soft", "snow")


@cache
def surfaces() -> dict[tuple[str, str], Surface]:
    """Every surface by (kind of ground, state)."""
    root = package_toml("surfaces.toml")
    found = {}
    for kind in root.keys():  # noqa: SIM118 - a Table, not a dict
        table = root.table(kind)
        assert table is not None
        for state in table.keys():  # noqa: SIM118
            t = table.table(state)
            assert t is not None
            friction, take_off = t.number("friction", None, 0.0, 1.0), t.number("take_off", 1.0, 1.0, 5.0)
            landing = t.number("landing", 1.0, 1.0, 5.0)
            found[kind, state] = Surface(state if kind in state else f"{kind} {state}", friction, take_off, landing,
                                         source_of(t).words())
            t.done()
    return found


PAVED_DRY = ("", "paved", "dry", "paved dry")  # what a row may call the handbooks' own surface


def surface_names() -> tuple[str, ...]:
    """What the surface column of a row may hold."""
    return (*PAVED_DRY, *(name for s in surfaces().values() if (name := s.name) not in PAVED_DRY))


def surface_named(name: str) -> Surface:
    """The surface that a row or a measurement names; KeyError for a name that surface_names() does not hold."""
    return {s.name: s for s in surfaces().values()}["paved dry" if name in PAVED_DRY else name]


def surface_of(kind: str | None, state: str | None) -> Surface | str:
    """The surface of a runway's ground in a state; a sentence where it is not known.

    "dry" and "wet" on grass mean dry and wet grass; no state: dry. A state of grass on a paved runway is refused
    as not known rather than guessed.
    """
    if kind is None:
        return "The surface of the runway is not known; enter it in your aerodrome record."
    if state in UNKNOWN_STATES:
        return f"No published factor is a number for a {state} surface: the distance on it is not known."
    wanted = state or "dry"
    if kind == "grass" and wanted in ("dry", "wet"):
        wanted = f"grass {wanted}"
    found = surfaces().get((kind, wanted))
    return found or f"There is no factor for a surface of {kind} in the state {wanted!r}."
