"""Due dates as a calendar file (iCalendar, RFC 5545): whole days, so that no zone and no change of clocks moves them."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from icalendar import Event as Component

REMIND_DAYS = 30
LONGEST_TEXT = 2000


@dataclass(frozen=True)
class Event:
    """One whole day: uid, the same in every export so that a calendar replaces it; sure: False for a forecast."""

    uid: str
    day: date
    title: str
    words: str
    sure: bool = True


def calendar_file(events: Iterable[Event], made: datetime, name: str) -> bytes:
    """The file's bytes, by day; each event reminds 30 days before. made: an aware moment; at least one event (RFC 5545)."""
    from icalendar import Calendar

    calendar = Calendar()
    calendar.add("prodid", "-//Ownship//Maintenance//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", name)
    for event in sorted(events, key=lambda e: (e.day, e.uid)):
        calendar.add_component(_component(event, made))
    return bytes(calendar.to_ical())


def _component(event: Event, made: datetime) -> Component:
    from icalendar import Alarm
    from icalendar import Event as Component

    found = Component()
    found.add("uid", event.uid)
    found.add("dtstamp", made)
    found.add("dtstart", event.day)
    found.add("dtend", event.day + timedelta(days=1))
    found.add("summary", _text(event.title))
    if event.words:
        found.add("description", _text(event.words))
    found.add("transp", "TRANSPARENT")
    found.add("status", "CONFIRMED" if event.sure else "TENTATIVE")
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", _text(event.title))
    alarm.add("trigger", timedelta(days=-REMIND_DAYS))
    found.add_component(alarm)
    return found


def _text(words: str) -> str:
    """Words as RFC 5545 allows them: no control characters but the end of a line."""
    return "".join(" " if unicodedata.category(c) == "Cc" and c != "\n" else c for c in words[:LONGEST_TEXT])
