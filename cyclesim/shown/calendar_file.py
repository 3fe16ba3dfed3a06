"""A calendar as iCalendar text (RFC 5545), with the clock changes of its time zone written out."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from hashlib import sha256
from zoneinfo import ZoneInfo

from cyclesim.said.calendar import CalendarEntry, OwnersCalendar
from cyclesim.said.words import plain

_OCTETS = 75
"""A line of RFC 5545 3.1 has no more, its break left out."""


def as_icalendar(calendar: OwnersCalendar, made_on: date) -> str:
    """The text of an .ics file; *made_on* stands in it as the day on which it was made."""
    stamp = f"{made_on:%Y%m%d}T000000Z"
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//cyclesim//calendar//EN",
        "CALSCALE:GREGORIAN",
        f"X-WR-CALNAME:{_text(calendar.title)}",
        *_time_zone(calendar),
    ]
    for entry in calendar.entries:
        lines += _event(entry, calendar, stamp)
    lines.append("END:VCALENDAR")
    return "".join(f"{part}\r\n" for line in lines for part in _folded(line))


def _event(entry: CalendarEntry, calendar: OwnersCalendar, stamp: str) -> Iterator[str]:
    first, zone = entry.starts[0], f";TZID={calendar.time_zone}"
    yield "BEGIN:VEVENT"
    own = repr((calendar.title, entry.name, entry.starts, entry.rule))
    yield f"UID:{sha256(own.encode()).hexdigest()[:32]}"
    yield f"DTSTAMP:{stamp}"
    if isinstance(first, datetime):
        yield f"DTSTART{zone}:{first:%Y%m%dT%H%M%S}"
        yield f"DURATION:PT{entry.lasts_s}S"
        if entry.rule:
            yield f"RRULE:{entry.rule};UNTIL={entry.until - timedelta(seconds=1):%Y%m%dT%H%M%SZ}"
        for other in entry.starts[1:]:
            yield f"RDATE{zone}:{other:%Y%m%dT%H%M%S}"
    else:
        yield f"DTSTART;VALUE=DATE:{first:%Y%m%d}"
        yield f"DTEND;VALUE=DATE:{first + timedelta(days=entry.days):%Y%m%d}"
        if entry.rule:
            yield f"RRULE:{entry.rule};UNTIL={first.year}1231"
        for other in entry.starts[1:]:
            yield f"RDATE;VALUE=DATE:{other:%Y%m%d}"
        yield "TRANSP:TRANSPARENT"
    yield f"SUMMARY:{_text(entry.name)}"
    yield f"DESCRIPTION:{_text(f'{calendar.title}: {entry.says}')}"
    yield "END:VEVENT"


def _time_zone(calendar: OwnersCalendar) -> Iterator[str]:
    """Every change of the clock in the year, each with the local time at which it comes."""
    zone = ZoneInfo(calendar.time_zone)
    yield "BEGIN:VTIMEZONE"
    yield f"TZID:{calendar.time_zone}"
    for at in (calendar.begin_utc - timedelta(days=1), *_changes(zone, calendar.begin_utc, calendar.end_utc)):
        before, after = ((at + timedelta(seconds=k)).astimezone(zone) for k in (-1, 0))
        was, now = (moment.utcoffset() or timedelta() for moment in (before, after))
        kind = "DAYLIGHT" if after.dst() else "STANDARD"
        yield f"BEGIN:{kind}"
        yield f"DTSTART:{(at + was).replace(tzinfo=None):%Y%m%dT%H%M%S}"  # on the clock before the change
        yield f"TZOFFSETFROM:{_offset(was)}"
        yield f"TZOFFSETTO:{_offset(now)}"
        yield f"TZNAME:{_text(after.tzname() or '')}"
        yield f"END:{kind}"
    yield "END:VTIMEZONE"


def _changes(zone: ZoneInfo, begin: datetime, end: datetime) -> Iterator[datetime]:
    """The seconds at which the offset changes, found by halving the days in which it does."""
    day = begin.astimezone(UTC)
    while day < end:
        low, high = day, day + timedelta(days=1)
        if low.astimezone(zone).utcoffset() != high.astimezone(zone).utcoffset():
            while high - low > timedelta(seconds=1):
                middle = low + timedelta(seconds=(high - low) // timedelta(seconds=2))
                same = middle.astimezone(zone).utcoffset() == low.astimezone(zone).utcoffset()
                low, high = (middle, high) if same else (low, middle)
            yield high
        day += timedelta(days=1)


def _offset(offset: timedelta) -> str:
    seconds = round(offset.total_seconds())
    sign, seconds = "-" if seconds < 0 else "+", abs(seconds)
    odd = f"{seconds % 60:02d}" if seconds % 60 else ""
    return f"{sign}{seconds // 3600:02d}{seconds // 60 % 60:02d}{odd}"


def _text(value: str) -> str:
    """A text as RFC 5545 3.3.11 writes it."""
    escaped = plain(value).replace("\\", "\\\\")
    return escaped.replace(";", "\\;").replace(",", "\\,")


def _folded(line: str) -> Iterator[str]:
    """A content line in pieces of at most 75 octets, no letter of several octets torn apart."""
    piece, size = "", 0
    for letter in line:
        octets = len(letter.encode())
        if size + octets > _OCTETS:
            yield piece
            piece, size = " ", 1
        piece, size = piece + letter, size + octets
    yield piece
