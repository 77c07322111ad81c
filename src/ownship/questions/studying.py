"""Would it be worth it? A modification from the library or a file, before and after, on the same draws."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ownship.errors import BadInput, MissingKey, NotPossible
from ownship.questions.reading import read_text

if TYPE_CHECKING:
    from ownship.aeroplane.description import AirframeRecord
    from ownship.studies.comparison import Study
    from ownship.studies.modification import Modification


@dataclass(frozen=True)
class LeftOut:
    """A modification of the library that does not fit this aeroplane, and why."""

    name: str
    why: str


def library() -> list[str]:
    """Names of the modifications that ship."""
    folder = resources.files("ownship").joinpath("data", "modifications")
    return sorted(p.name.removesuffix(".toml") for p in folder.iterdir() if p.name.endswith(".toml"))


def modification(name: str) -> Modification:
    """One modification by its name in the library or by its file."""
    from ownship.provenance import package_toml
    from ownship.schema import read_toml
    from ownship.studies.modification import read_modification

    if name in library():
        return read_modification(package_toml("modifications", f"{name}.toml"))
    if not Path(name).suffix and not Path(name).exists():
        raise BadInput(f"--modification: {name!r} is neither a file nor in the library: {', '.join(library())}.")
    return read_modification(read_toml(read_text(name), name))


def modification_of(text: str, name: str = "the modification") -> Modification:
    """One modification from its TOML text; `name` is what a refusal calls it."""
    from ownship.schema import read_toml
    from ownship.studies.modification import read_modification

    return read_modification(read_toml(text, name))


def modify(aeroplane: str, names: list[str], together: bool = False) -> list[Study]:
    """A study of each named modification (of the whole library where none is), or of all of them together."""
    return modify_or_why(aeroplane, names, together)[0]


def modify_or_why(aeroplane: str, names: list[str], together: bool = False) -> tuple[list[Study], list[LeftOut]]:
    """`modify`, and what of the whole library does not fit this aeroplane; a named one that does not fit is refused."""
    from ownship.questions.calibrating import record_of

    record, _, folder = record_of(aeroplane)
    return studies_of(record, folder, [modification(n) for n in (names or library())], together, named=bool(names))


def studies_of(record: AirframeRecord, folder: Path | None, chosen: list[Modification], together: bool = False, *,
               named: bool = True) -> tuple[list[Study], list[LeftOut]]:
    """A study of each modification on a record, or of all of them together; one that does not fit is refused where it was named,
    else left out with why. folder: that of the record's rows."""
    from ownship.questions.calibrating import calibrations_of
    from ownship.questions.places import today
    from ownship.studies.comparison import study

    calibrations = calibrations_of(record, folder)
    model = calibrations.own or calibrations.book
    groups = [tuple(chosen)] if together else [(m,) for m in chosen]
    found, left_out = [], []
    for group in groups:
        try:
            found.append(study(record, model, group, today()))
        except (BadInput, MissingKey, NotPossible) as error:
            if named:
                raise
            left_out.append(LeftOut(" + ".join(m.name for m in group), str(error)))
    return found, left_out


def to_json(studies: list[Study], left_out: Iterable[LeftOut] = ()) -> list[dict[str, Any]]:
    """formats.md: per modification each figure's before, after and difference; fuel and the like beside the speed.

    Those left out come last: "left_out" says why and every figure is null.
    """
    from ownship.studies.comparison import GROUPS

    return [_study(s) for s in studies] + [{"name": x.name, "left_out": x.why} | dict.fromkeys(GROUPS) for x in left_out]


def _study(s: Study) -> dict[str, Any]:
    return ({"name": s.name, "left_out": None, "first_lines": list(s.first_lines), "conflicts": list(s.conflicts), "price": s.price,
             "hours": s.hours, "approval": s.approval, "source": s.source}
            | {group: _group(values) for group, values in s.figures.items()})


def _group(values: dict[str, Any]) -> dict[str, Any] | None:
    if not values:
        return None
    first, *rest = values
    return values[first].to_json() | {k.replace(".", "_"): values[k].to_json() for k in rest}
