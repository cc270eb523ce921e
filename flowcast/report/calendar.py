"""The dated advice as an iCalendar file (RFC 5545) that a phone takes in, and updates when it comes again.

An entry keeps its identifier from one issue to the next as long as it is about the same task at the
same hive in the same season; its sequence number grows with the issue date, so that the newer date
replaces the older one. An entry that is no longer advised is not in the file: a calendar that is
subscribed to drops it, one that was imported keeps it until it is deleted.
"""

from __future__ import annotations

import hashlib
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pandas as pd

from flowcast.errors import InputError
from flowcast.report import advice, timing
from flowcast.report.files import write_whole
from flowcast.report.timing import Entry
from flowcast.results import YardTiming
from flowcast.weather import season_start_year

PRODUCT = "-//flowcast//dates for the work at a yard//EN"
EPOCH = pd.Timestamp("2000-01-01")
SUFFIX = ".ics"


def calendar_file(found: YardTiming) -> bytes:
    """The next 90 days as an iCalendar file: equal bytes for equal advice."""
    from icalendar import Calendar

    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    for entry in timing.entries(found):
        calendar.add_component(_event(entry, found))
    return calendar.to_ical()


def _event(entry: Entry, found: YardTiming):
    """A whole day that does not count as busy."""
    from icalendar import Event

    issued = found.issue_date
    event = Event()
    event.add("uid", identifier(entry, found))
    event.add("dtstamp", datetime(issued.year, issued.month, issued.day, tzinfo=UTC))
    event.add("sequence", (issued - EPOCH).days)
    event.add("dtstart", entry.date.date())
    event.add("dtend", entry.date.date() + timedelta(days=1))
    event.add("summary", _plain(_summary(entry, found)))
    event.add("location", _plain(found.record.yard.name))
    event.add("description", "\n".join(_plain(line) for line in _description(entry, found)))
    event.add("transp", "TRANSPARENT")
    return event


def _summary(entry: Entry, found: YardTiming) -> str:
    if not entry.hive:
        return entry.task
    return found.record.yard.say("calendar.summary", hive=entry.hive, task=entry.task)


def identifier(entry: Entry, found: YardTiming) -> str:
    """The same for the same task at the same hive of the same yard in the same season."""
    yard = found.record.yard
    season = season_start_year([found.issue_date], yard.place.season_start)[0]
    place = f"{yard.place.latitude:.4f} {yard.place.longitude:.4f}"
    parts = (yard.name, place, entry.hive or "", entry.room, str(season))
    return hashlib.sha256("\0".join(parts).encode()).hexdigest()[:32] + "@flowcast"


def _plain(text: str) -> str:
    """Without control characters, which the standard forbids and a name may hold."""
    return re.sub(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]+", " ", text)


def _description(entry: Entry, found: YardTiming) -> list[str]:
    """What, why, what would change it, what to mind, and of when this is."""
    yard, one = found.record.yard, entry.advice
    say = yard.say
    lines = [advice.what(one, say), advice.why(one, say, yard.numbers), advice.changes(one, say)]
    lines += advice.minds(one.cautions, say)
    lines += [say("calendar.as_of", date=say.full_day(found.issue_date))]
    return [line for line in lines if line]


def write_calendar(found: YardTiming, path: Path) -> Path:
    """Write the calendar; only over an earlier one of ours.

    Raises
    ------
    InputError
        When the name does not end in .ics, the place cannot be written, or what stands there is another's.
    """
    if path.suffix.lower() != SUFFIX:
        raise InputError(f"{path}: a calendar is written as {SUFFIX}. Choose such a name.")
    return write_whole(calendar_file(found), path, ours=_is_ours, what="calendar")


def _is_ours(there: bytes) -> bool:
    return there.startswith(b"BEGIN:VCALENDAR") and PRODUCT.encode() in there
