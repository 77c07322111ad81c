"""Options of the small calculations: words to texts, texts to believable SI values; each refusal one sentence."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

from ownship.errors import BadInput
from ownship.units import from_si, parse, to_si

Results = dict[str, tuple[Any, str]]
Options = dict[str, list[str]]


def parse_options(name: str, words: list[str], options: dict[str, bool], example: str) -> Options:
    """Options with their values, as the next word or after =; a value may begin with a minus."""
    found: Options = {}
    queue = list(words)
    while queue:
        word = queue.pop(0)
        if not word.startswith("--"):
            raise BadInput(f"calc {name}: {word!r} stands alone; write --option value, such as: {example}.")
        option, equals, value = word[2:].partition("=")
        if option not in options:
            raise BadInput(f"calc {name}: unknown option --{option}; it takes "
                           f"{', '.join('--' + o for o in options)}.")
        if not equals:
            if not queue:
                raise BadInput(f"calc {name}: --{option} has no value; such as: {example}.")
            value = queue.pop(0)
        if option in found and not options[option]:
            raise BadInput(f"calc {name}: --{option} stands twice; give it once.")
        found.setdefault(option, []).append(value)
    return found


def one(options: Options, name: str, default: str | None = None) -> str:
    """The only value of an option, or its default."""
    if name in options:
        return options[name][0]
    if default is None:
        raise BadInput(f"--{name} is missing; add it.")
    return default


def quantity(options: Options, name: str, dimension: str, low: str | None = None, high: str | None = None) -> float:
    """A quantity option in SI within believable bounds."""
    text = one(options, name)
    value = parse(text, dimension, f"--{name}")
    for bound, sign in ((low, 1), (high, -1)):
        if bound is not None and sign * (value - parse(bound, dimension)) < 0:
            raise BadInput(f"--{name}: {text!r} is not believable; allowed is {low} to {high}.")
    return value


def a_speed(options: Options, name: str) -> float:
    """A speed, 0 to 1,000 kt."""
    return quantity(options, name, "speed", "0 kt", "1000 kt")


def an_altitude(options: Options, name: str) -> float:
    """An altitude within the standard atmosphere."""
    return quantity(options, name, "length", "-3000 ft", "65617 ft")


def plain(text: str, what: str, low: float, high: float) -> float:
    """A bare number within bounds."""
    if not re.fullmatch(r"[+-]?(\d+(\.\d*)?|\.\d+)", text.strip()):
        raise BadInput(f"{what}: {text!r} is not a number.")
    value = float(text)
    if not low <= value <= high:
        raise BadInput(f"{what}: {text!r} is outside {low:g} to {high:g}.")
    return value


def a_direction(options: Options, name: str) -> float:
    """A direction, 0 to 360 degrees."""
    return plain(one(options, name).lower().removesuffix("deg"), f"--{name}", 0, 360) % 360.0


def a_wind(options: Options) -> tuple[float, float]:
    """A wind ddd/ff: from (deg) and speed (m/s)."""
    text = one(options, "wind")
    match = re.fullmatch(r"\s*(\d{1,3})\s*/\s*(\d{1,3}(?:\.\d+)?)\s*(?:kt)?\s*", text, re.IGNORECASE)
    if not match or int(match[1]) > 360 or float(match[2]) > 300:
        raise BadInput(f"--wind: {text!r} is not a wind; write ddd/ff, degrees 0 to 360 and knots 0 to 300, such as 045/40.")
    return float(match[1]) % 360.0, float(to_si(float(match[2]), "kt"))


def a_position(options: Options, name: str) -> tuple[float, float]:
    """A position lat,lon in degrees."""
    text = one(options, name)
    parts = text.split(",")
    if len(parts) != 2:
        raise BadInput(f"--{name}: {text!r} is not a position; write lat,lon in degrees, such as -41.32,174.81.")
    return (plain(parts[0], f"--{name} latitude", -90, 90), plain(parts[1], f"--{name} longitude", -360, 360))


def east(text: str, what: str) -> float:
    """A variation or deviation as 3W, 12E or 0; east positive."""
    match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*([EWew])\s*", text)
    if match:
        return plain(match[1], what, 0, 180) * (1 if match[2].upper() == "E" else -1)
    if text.strip() in ("0", "0.0"):
        return 0.0
    raise BadInput(f"{what}: {text!r} is not known; write degrees and E or W, such as 3W.")


def a_day(text: str, what: str) -> date:
    """An ISO date."""
    try:
        if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
            raise ValueError
        return date.fromisoformat(text)
    except ValueError:
        raise BadInput(f"{what}: {text!r} is not a date; write 2026-03-05.") from None


def kt(value: Any) -> tuple[float, str]:
    """A result in knots."""
    return float(from_si(value, "kt")), "kt"
