"""Every refusal, a class each.

A refusal is one sentence to a pilot: what was given, what is allowed, what to do.
`BadInput` and its children end a command with exit code 2; `OutOfRange` makes the
margins of one place "not known" and never ends an assessment.
"""

from __future__ import annotations


class OwnshipError(Exception):
    """Base of every refusal; `str(error)` is the whole sentence."""


class BadInput(OwnshipError):
    """Something typed or read is not usable; the sentence names the field and what to do."""


class UnitError(BadInput):
    """A quantity without a unit, with an unknown unit, or with a unit of another kind."""


class UnknownKey(BadInput):
    """A file holds a key that nobody reads."""


class MissingKey(BadInput):
    """A file lacks a key that is needed."""


class UnknownPlace(BadInput):
    """An aerodrome ident or a position that cannot be found."""


class UnreadableFile(BadInput):
    """A file that cannot be opened, decoded or parsed."""


class WeatherText(BadInput):
    """A METAR, TAF or winds-aloft text that does not parse."""


class NotPossible(BadInput):
    """Numbers that are each allowed but together have no answer (wind stronger than TAS, identical legs)."""


class MissingSource(OwnshipError):
    """A number in a data file has no unit or no source."""


class OutOfRange(OwnshipError):
    """A function was asked outside the range it is valid in; carries what was asked and the range."""

    def __init__(self, what: str, asked: str, low: str, high: str) -> None:
        """Say which quantity, what was asked and which range is allowed (texts with units)."""
        super().__init__(f"{what} of {asked} is outside {low} to {high}, the range this is good for.")
        self.what, self.asked, self.low, self.high = what, asked, low, high
