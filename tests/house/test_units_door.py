"""Units come in by one door: the digits of the usual factors stand nowhere outside units.py."""

import re
from pathlib import Path

from ownship.units import TABLE, from_si, to_si

SOURCE = Path(__file__).resolve().parents[2] / "src" / "ownship"
DIGITS = re.compile(r"0\.3048|(?<!\d)1852(?!\d)|0\.4535|0\.5144|745\.7|3\.785|33\.86|3386|6\.8755|0\.0254|101325\s*/\s*29")


def offences(name: str, text: str) -> list[str]:
    return [f"{name}:{i}: {line.strip()}" for i, line in enumerate(text.splitlines(), 1) if DIGITS.search(line)]


def test_no_conversion_factor_outside_units():
    found = [x for p in sorted(SOURCE.rglob("*.py")) if p.name != "units.py"
             for x in offences(p.name, p.read_text(encoding="utf-8"))]
    assert found == []


def test_the_grep_sees_an_offence():
    assert offences("x.py", "h = 0.3048 * feet") == ["x.py:1: h = 0.3048 * feet"]


def test_every_token_goes_there_and_back():
    for dimension, tokens in TABLE.items():
        for token in tokens:
            assert abs(from_si(to_si(12.5, token, dimension), token, dimension) - 12.5) < 1e-9, (dimension, token)
