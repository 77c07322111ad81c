"""Defects from found to rectified, and the hand-over of the aeroplane to a partner with hours by a named meter.

Whether a defect may be flown with is a licensed person's word: nothing here calls an aeroplane fit to fly.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import ROUND_HALF_UP, Decimal

from ownship.errors import BadInput
from ownship.ownership.entries import USES, Defect, Entry, Flight, HandOver, InstrumentReplaced, Money, of_kind
from ownship.ownership.flights import METERS
from ownship.ownership.meters import refuse_reading

CENT = Decimal("0.01")


@dataclass(frozen=True)
class OpenDefect:
    """A defect that is not rectified: its last step, when it was first found, whether its deferral is over on the day asked."""

    name: str
    state: str
    words: str
    found: date
    until: date | None
    uses: tuple[str, ...]
    by: str
    over: bool

    @property
    def decided(self) -> bool:
        """Whether somebody deferred it and the deferral still runs."""
        return self.state == "deferred" and not self.over


@dataclass(frozen=True)
class Settlement:
    """Hours between two hand-overs by one meter and what they cost; None with the reason in words: not known."""

    meter: str
    hours_h: float | None
    owed: Money | None
    words: str


def open_defects(entries: Iterable[Entry], aeroplane: str, uses: Collection[str] = USES, day: date | None = None,
                 ) -> tuple[OpenDefect, ...]:
    """Defects of an aeroplane not rectified that speak to a flight of these uses, oldest first; entries that stand.

    uses: out of USES ("VFR", "night", "IFR", "passengers"); a defect without uses speaks to every flight. day: for
    deferrals that are over (None: none is called over). The last step by moment counts.
    """
    steps: dict[str, list[tuple[Entry, Defect]]] = {}
    for e, d in of_kind(entries, Defect, aeroplane):
        steps.setdefault(d.name, []).append((e, d))
    found = [_open(of, day) for of in steps.values() if of[-1][1].state != "rectified"]
    return tuple(sorted((d for d in found if not d.uses or set(d.uses) & set(uses)), key=lambda d: (d.found, d.name)))


def _open(steps: list[tuple[Entry, Defect]], day: date | None) -> OpenDefect:
    """A defect by its last step; found since it was last rectified."""
    start = next((i + 1 for i in range(len(steps) - 1, -1, -1) if steps[i][1].state == "rectified"), 0)
    last = steps[-1][1]
    over = last.until is not None and day is not None and day > last.until
    return OpenDefect(last.name, last.state, last.words, steps[start][0].moment.date(), last.until, last.uses, last.by, over)


def refuse_step(entries: Iterable[Entry], aeroplane: str, step: Defect) -> None:
    """Refuse a step that no defect can take: deferring or rectifying what is not open, finding again what is open."""
    names = {d.name for d in open_defects(entries, aeroplane)}
    if step.state == "found" and step.name in names:
        raise BadInput(f"The defect {step.name!r} of {aeroplane} is open already; defer or rectify it, or choose another name.")
    if step.state != "found" and step.name not in names:
        known = f"open are: {', '.join(sorted(names))}" if names else "none is open"
        raise BadInput(f"{aeroplane} has no open defect {step.name!r} ({known}); enter it as found first.")


def settlement(entries: Iterable[Entry], aeroplane: str, hand_over: HandOver, moment: datetime,
               rate: Money | None = None) -> Settlement:
    """Hours since the hand-over before this one by the meter that this one names, times a rate an hour.

    hours = reading now - reading then + (old - new) of every meter of that name replaced between. Money is rounded to
    hundredths, half up. What the partner paid (fuel, oil) is not known here and not taken off. BadInput for a reading that
    does not go with those of the flights (`meters.refuse_reading`), and for hours that a later hand-over has settled already.
    """
    kept = tuple(entries)
    before = [(e, h) for e, h in of_kind(kept, HandOver, aeroplane) if e.moment < moment]
    if hand_over.meter_h is None:
        return Settlement(hand_over.meter, None, None, f"not known: the {hand_over.meter} was not read; read it.")
    refuse_reading(kept, aeroplane, hand_over.meter, hand_over.meter_h, moment)
    _refuse_settled_twice(kept, aeroplane, moment)
    if not before:
        return Settlement(hand_over.meter, None, None, "not known: this is the first hand-over, so there are no hours to settle.")
    earlier, last = before[-1]
    if last.meter != hand_over.meter or last.meter_h is None:
        return Settlement(hand_over.meter, None, None, f"not known: the hand-over before, of {earlier.moment:%Y-%m-%d}, did not "
                          f"read the {hand_over.meter}.")
    hours = hand_over.meter_h - last.meter_h + sum(
        b.old_h - b.new_h for e, b in of_kind(kept, InstrumentReplaced, aeroplane)
        if b.which == hand_over.meter and (earlier.moment, earlier.number) < (e.moment, e.number) and e.moment <= moment)
    if hours < 0:
        raise BadInput(f"The {hand_over.meter} shows {hand_over.meter_h:g} h, less than at the hand-over before ({last.meter_h:g} "
                       "h); correct the reading or enter the replaced instrument.")
    return _settled(hand_over.meter, hours, rate, earlier)


def _refuse_settled_twice(kept: Iterable[Entry], aeroplane: str, moment: datetime) -> None:
    """Hours that a hand-over at this moment or later has in its money are not counted in a second one."""
    later = next(((e, h.owed) for e, h in of_kind(kept, HandOver, aeroplane) if e.moment >= moment), None)
    if later is not None and later[1] is not None:
        number, owed = later[0].number, later[1]
        raise BadInput(f"Entry {number}, the hand-over of {later[0].moment:%Y-%m-%d %H:%M}Z, has settled these hours already "
                       f"({owed.amount:,} {owed.currency}); withdraw it, enter this one, then hand over again.")


def _settled(meter: str, hours: float, rate: Money | None, earlier: Entry) -> Settlement:
    words = f"{hours:.2f} h by the {meter} since {earlier.moment:%Y-%m-%d}"
    if rate is None:
        return Settlement(meter, hours, None, f"{words}; no rate was given, so the amount is not known.")
    amount = (Decimal(f"{hours:.4f}") * rate.amount).quantize(CENT, ROUND_HALF_UP)
    return Settlement(meter, hours, Money(amount, rate.currency), f"{words} at {rate.amount} {rate.currency} an hour; fuel and oil "
                      "that the partner paid are not taken off.")


def flown_since(entries: Iterable[Entry], aeroplane: str, moment: datetime) -> int:
    """How many flights an aeroplane made before a moment and since the hand-over before it."""
    kept = tuple(entries)
    since = [e.moment for e, _ in of_kind(kept, HandOver, aeroplane) if e.moment < moment]
    return sum(1 for e, _ in of_kind(kept, Flight, aeroplane) if (not since or e.moment >= since[-1]) and e.moment < moment)


def refuse_meter(meter: str) -> None:
    """Refuse a meter that no aeroplane's record names."""
    if meter not in METERS:
        raise BadInput(f"{meter!r} is no meter; allowed are {' and '.join(METERS)}.")
