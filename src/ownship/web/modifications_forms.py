"""A modification typed in: its fields, and the text of its file (docs/formats/modification.md)."""

from __future__ import annotations

from collections.abc import Mapping

import tomlkit

from ownship.provenance import STATUSES
from ownship.web.airframe_topics import Cell, Part
from ownship.web.measurements_forms import Kind, Typed, typed

NAME = "mod"
WHAT = Part(NAME, "What it is", (
    Cell("name", "Name of the modification", "propeller of another maker, 56 in pitch"),
    Cell("parts", "Parts it touches", "propeller, spinner", "words"), Cell("price", "Price", "3500 USD"),
    Cell("hours", "Time to fit", "4 h"), Cell("source", "Source: who says what it alters", "the maker's sheet of 2026", wide=True),
    Cell("status", "How the source is known", kind="choice", choices=tuple((s, s) for s in STATUSES), usual="from memory")),
    "Two modifications that touch one part are said to be in conflict.")
ALTERS = Part(NAME, "What it alters", (
    Cell("alters.propeller_pitch", "Propeller pitch, change", "-2 in"),
    Cell("alters.propeller_diameter", "Propeller diameter, change", "1 in"),
    Cell("alters.power", "Power, change", "5 hp"), Cell("alters.power_to", "Rated power, new", "180 hp"),
    Cell("alters.rpm_max", "Rpm limit, new", "2600 rpm"), Cell("alters.fuel_at_65", "Fuel at 65 % power, change", "-3 %"),
    Cell("alters.drag", "Zero-lift drag coefficient, change", "-0.001", "number"),
    Cell("alters.weight", "Empty weight, change", "12 lb"), Cell("alters.arm", "at the arm", "40 in"),
    Cell("alters.stations_removed", "Stations taken out", "rear", "words")),
    "An empty field stays as it is.")
TANK = Part(NAME, "An extra tank", (
    Cell("alters.tank.id", "Its short name", "tip"), Cell("alters.tank.name", "Its name", "tip tanks"),
    Cell("alters.tank.capacity", "Its total capacity", "16 usgal"), Cell("alters.tank.unusable", "Unusable of it", "0.5 usgal"),
    Cell("alters.tank.arm", "Its arm", "92 in")),
    "Its unusable fuel counts as empty weight.")
DOUBT = Part(NAME, "How sure that is, one standard deviation", (
    Cell("uncertainty.blade_angle", "Blade angle", "0.3 deg"), Cell("uncertainty.blade_width", "Blade width", "4.5 %"),
    Cell("uncertainty.thrust", "Thrust", "1 %"), Cell("uncertainty.power", "Power, error", "3 hp"),
    Cell("uncertainty.drag", "Drag coefficient, error", "0.0005", "number"),
    Cell("uncertainty.fuel_at_65", "Fuel at 65 %, error", "2 %")),
    "What has not been flown yet is not known to the digit; an empty field says it is exact.")
APPROVAL = Part(NAME, "Its approval", (
    Cell("approval.words", "What is needed, or what the paper says", "a supplemental type certificate for this engine", wide=True),
    Cell("approval.static_rpm", "Its own static rpm band", "2300 rpm to 2420 rpm", "pair"),
    Cell("approval.take_off_max", "A new maximum take-off weight", "2450 lb")),
    "Only an approval can raise a certificated weight; more power alone never does.")
WRITTEN = Kind(NAME, "A modification of your own", (WHAT, ALTERS, TANK, DOUBT, APPROVAL))


def any_typed(texts: Mapping[str, str]) -> bool:
    """Whether anything of a modification is typed; a choice alone is nothing."""
    return any(text.strip() for name, text in texts.items() if name.startswith(f"{NAME}.") and name != f"{NAME}.status")


def read(texts: Mapping[str, str]) -> Typed:
    """What the form says, its parts always named."""
    found = typed(WRITTEN, texts)
    return Typed({"parts": []} | found.table, found.rows)


def toml_of(found: Typed) -> str:
    """The text of the modification's file."""
    return tomlkit.dumps(found.table)
