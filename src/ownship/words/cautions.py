"""The standing cautions: which one stands where. Plain sentences, our own; read-only."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType

CAUTIONS: Mapping[str, tuple[str, ...]] = MappingProxyType({
    "verdict": ("A planning aid: the approved flight manual, placards and local rules govern, and the pilot in command decides.",
                "Three facts would change this today: the surface seen, the wind at the strip, the fuel dipped."),
    "runway": ("Runway data are as old as the date beside them: check notices for closures and displaced thresholds; walk the "
               "strip or ask.",
               "There is no certificated accelerate-stop for this class; the stop point is an estimate.",
               "Grass length and wetness are guesses until seen.",
               "A strip long enough to land on may be too short to leave: both are judged, look at both."),
    "card": ("Static rpm under the least acceptable: do not go, find out why.",),
    "fuel": ("Fuel here is usable fuel by clock and dip; gauges are not used. Look into the tanks.",
             "Say minimum fuel, and then mayday fuel, early."),
    "tanks": ("At a change: select, wait, confirm that it feeds; pump as the manual says; keep the other tank in hand.",
              "An imbalance limit never outranks a tank that feeds."),
    "cockpit": ("Eyes out: this is an aid to a pencil and no navigation. The device may fail; the paper is the master.",),
    "load": ("Use real weights, tie everything down, mind seat positions; a change of weight and balance counts only when a "
             "licensed person has signed it.",),
    "ifr": ("Not for obstacle clearance: procedure figures are the pilot's to type in; cold corrections and your own minima "
            "apply.", "No flight into known icing without an approval for it."),
    "heading": ("Magnetic compass headings come from the deviation card; check it against the runway.",),
    "model": ("Figures marked model are calculated from this aeroplane's measurements and are no approved data.",),
    "measuring": ("Measuring flights: a second pilot looks out, with height in hand, one aim a flight; never near the ground, "
                  "never at full weight on a short strip.",),
    "modifications": ("Approval comes first. More power raises no weight limit, and a seller's figure counts only with what it "
                      "was compared with.",),
    "maintenance": ("This list may be incomplete; a licensed person decides what is due and signs for it.",),
    "rules": ("A rule marked from memory was not read from its text: check it before you lean on it.",),
    "insurer": ("Conditions of partners and insurers are those of the policy itself, not of this program.",),
    "range": ("Outside the handbook's table or the model's range a figure is no basis for a flight.",),
})


def cautions_for(topics: Iterable[str]) -> tuple[str, ...]:
    """The sentences of some topics, each once, in the order asked for; KeyError for a topic that does not exist."""
    return tuple(dict.fromkeys(s for t in topics for s in CAUTIONS[t]))
