"""The standing cautions: which one stands where. Plain sentences, our own."""

from __future__ import annotations

from collections.abc import Iterable

CAUTIONS: dict[str, tuple[str, ...]] = {
    "verdict": ("A planning aid: the approved flight manual, placards and local rules govern, and the pilot in command decides.",
                "Three facts would change this today: the surface seen, the wind at the strip, the fuel dipped."),
    "runway": ("Open runway data are of 2022: check notices for closures and displaced thresholds; walk the strip or ask.",
               "There is no certificated accelerate-stop for this class; the stop point is an estimate.",
               "Grass length and wetness are guesses until seen."),
    "card": ("Static rpm under the least acceptable: do not go, find out why.",),
    "fuel": ("Fuel here is usable fuel by clock and dip; gauges are not used. Look into the tanks.",
             "Say minimum fuel, and then mayday fuel, early."),
    "tanks": ("At a change: select, wait, confirm that it feeds; pump as the manual says; keep the other tank in hand.",
              "An imbalance limit never outranks a tank that feeds."),
    "load": ("Use real weights, tie everything down, mind seat positions; a change of weight and balance counts only when a "
             "licensed person has signed it.",),
    "ifr": ("Not for obstacle clearance: procedure figures are the pilot's to type in; cold corrections and your own minima "
            "apply.",),
    "heading": ("Magnetic compass headings come from the deviation card; check it against the runway.",),
    "model": ("Figures marked model are calculated from this aeroplane's measurements and are no approved data.",),
}


def cautions_for(topics: Iterable[str]) -> tuple[str, ...]:
    """The sentences of some topics, each once, in the order asked for."""
    return tuple(dict.fromkeys(s for t in topics for s in CAUTIONS[t]))
