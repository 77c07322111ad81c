"""The words of a verdict and of the kinds of limit; their order from best to worst."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

Verdict = Literal["within limits", "tight", "not known", "outside limits"]
Kind = Literal["limitation", "performance", "own minimum", "advice"]

WITHIN: Verdict = "within limits"
TIGHT: Verdict = "tight"
NOT_KNOWN: Verdict = "not known"
OUTSIDE: Verdict = "outside limits"
ORDER: tuple[Verdict, ...] = (WITHIN, TIGHT, NOT_KNOWN, OUTSIDE)

LIMITATION: Kind = "limitation"
PERFORMANCE: Kind = "performance"
OWN_MINIMUM: Kind = "own minimum"
ADVICE: Kind = "advice"
KINDS: tuple[Kind, ...] = (LIMITATION, PERFORMANCE, OWN_MINIMUM, ADVICE)


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """The worst of several: outside > not known > tight > within; of none: within."""
    return max(verdicts, key=ORDER.index, default=WITHIN)
