"""When things recur: RFC 5545 rules on naive local time, then made whole seconds from an origin in UTC."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from dateutil.relativedelta import relativedelta
from dateutil.rrule import rrulestr

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")

# What one step of each frequency is called in relativedelta, and the fewest days it spans.
_STEPS = {"DAILY": ("days", 1), "WEEKLY": ("weeks", 7), "MONTHLY": ("months", 28), "YEARLY": ("years", 365)}
_DAY_S = 86400


@dataclass(frozen=True, slots=True)
class Occurrence:
    """From `start_s` to `end_s`, whole seconds from the origin.

    `local` is the local clock at the start; `note` says in words how a clock change moved an end, else "".
    """

    start_s: int
    end_s: int
    local: datetime
    note: str


def localize(local: datetime, zone: ZoneInfo) -> tuple[datetime, str]:
    """The UTC instant of a naive local time, and a note when the clock change touches it.

    A time that does not exist (spring) is shifted forward by the gap; of two that do (autumn) the first is
    taken. RFC 5545 3.3.5 reads a single DATE-TIME the same way: the offset from before the gap, and the first
    of two.
    """
    aware = local.replace(tzinfo=zone, fold=0)
    instant = aware.astimezone(UTC)
    taken = _wall(instant, zone)
    if taken != local:
        return instant, _shifted(local, taken)
    if aware.utcoffset() != aware.replace(fold=1).utcoffset():
        return instant, f"first of two {local:%H:%M} on {_day(local)}"
    return instant, ""


def has_day(zone: ZoneInfo, day: date) -> bool:
    """Whether a date occurs: a place that crosses the date line skips one (Samoa: 30 December 2011)."""
    noon = datetime.combine(day, time(12), tzinfo=zone)
    return _wall(noon.astimezone(UTC), zone).date() == day


def _edge(local: datetime, zone: ZoneInfo) -> tuple[datetime, str]:
    """As `localize`, but an edge of a window that does not exist is the moment at which the clock jumps."""
    instant, note = localize(local, zone)
    if _wall(instant, zone) == local:
        return instant, note
    before, after = instant - timedelta(days=1), instant  # no gap is longer than a day
    while after - before > timedelta(seconds=1):
        middle = before + timedelta(seconds=(after - before) // timedelta(seconds=2))
        jumped = middle.astimezone(zone).utcoffset() == instant.astimezone(zone).utcoffset()
        before, after = (before, middle) if jumped else (middle, after)
    return after, _shifted(local, _wall(after, zone))


def _shifted(local: datetime, taken: datetime) -> str:
    clock = f"{taken:%H:%M}" if taken.date() == local.date() else f"{taken:%H:%M} on {_day(taken)}"
    return f"{local:%H:%M} does not exist on {_day(local)}; taken as {clock}"


def _wall(instant: datetime, zone: ZoneInfo) -> datetime:
    return instant.astimezone(zone).replace(tzinfo=None, fold=0)


def _day(local: datetime) -> str:
    return f"{local.day} {local:%B %Y}"


def runs(
    starts: Sequence[time],
    lasts_s: int,
    *,
    days: Sequence[str] | None = None,
    rrule: str | None = None,
    zone: str,
    origin: datetime,
    span_s: int,
    year: int | None = None,
) -> list[Occurrence]:
    """Every run that reaches into the span from `origin` (UTC): begun by the wall clock, it lasts `lasts_s`.

    `starts` are times of the wall clock in `zone`, an IANA name; `lasts_s` and `span_s` are whole seconds.
    `days` are weekday names; `rrule` is an RFC 5545 rule of whole days (FREQ DAILY, WEEKLY, MONTHLY or
    YEARLY, INTERVAL of at least 1, BYDAY, BYMONTH, BYMONTHDAY; neither COUNT nor UNTIL). With both, a day
    must suit both. Intervals are counted, both ways, from 1 January of `year` (the origin's unless told).
    """
    which = None if days is None else tuple(days)
    return list(_runs(tuple(starts), lasts_s, which, rrule, zone, origin, span_s, year))


@lru_cache(maxsize=64)
def _runs(
    starts: tuple[time, ...],
    lasts_s: int,
    days: tuple[str, ...] | None,
    rrule: str | None,
    zone: str,
    origin: datetime,
    span_s: int,
    year: int | None,
) -> tuple[Occurrence, ...]:
    """Likewise; a run and what judges it ask for the same ones, and so do many runs of a sweep."""
    tz = ZoneInfo(zone)
    occurrences = []
    for day in _days(days, rrule, tz, origin, span_s, lasts_s // _DAY_S + 2, year):
        for start in starts:
            local = datetime.combine(day, start)
            instant, note = localize(local, tz)
            start_s = _since(origin, instant)
            if _reaches(start_s, start_s + lasts_s, span_s):
                occurrences.append(
                    Occurrence(start_s, start_s + lasts_s, _wall(instant, tz) if note else local, note)
                )
    return tuple(sorted(occurrences, key=lambda occurrence: (occurrence.start_s, occurrence.end_s)))


def windows(
    start: time,
    end: time,
    *,
    days: Sequence[str] | None = None,
    rrule: str | None = None,
    zone: str,
    origin: datetime,
    span_s: int,
    year: int | None = None,
) -> list[Occurrence]:
    """Every window from wall clock to wall clock that reaches into the span.

    `rrule`, `zone`, `origin`, `span_s` and `year` are as for `runs`; `start` and `end` are times of the wall
    clock.
    An end at or before the start is on the next day, so that equal times mean the whole day. `days` are the
    days on which windows start. An edge that does not exist is the moment at which the clock jumps, so that
    windows that share an edge tile; one that lies wholly in the gap does not occur.
    """
    return list(
        _windows(start, end, None if days is None else tuple(days), rrule, zone, origin, span_s, year)
    )


@lru_cache(maxsize=64)
def _windows(
    start: time,
    end: time,
    days: tuple[str, ...] | None,
    rrule: str | None,
    zone: str,
    origin: datetime,
    span_s: int,
    year: int | None,
) -> tuple[Occurrence, ...]:
    """Likewise; metering and judging ask for the same windows, and so do all runs of a sweep."""
    tz = ZoneInfo(zone)
    over_midnight = timedelta(days=end <= start)
    occurrences = []
    for day in _days(days, rrule, tz, origin, span_s, 3, year):
        local = datetime.combine(day, start)
        first, first_note = _edge(local, tz)
        last, last_note = _edge(datetime.combine(day + over_midnight, end), tz)
        start_s, end_s = _since(origin, first), _since(origin, last)
        if start_s < end_s and _reaches(start_s, end_s, span_s):
            note = "; ".join(filter(None, (first_note, last_note)))
            occurrences.append(Occurrence(start_s, end_s, _wall(first, tz), note))
    return tuple(sorted(occurrences, key=lambda occurrence: (occurrence.start_s, occurrence.end_s)))


def _since(origin: datetime, instant: datetime) -> int:
    delta = instant - origin  # both UTC: two times of one zone would be subtracted as wall clocks
    return delta.days * _DAY_S + delta.seconds


def _reaches(start_s: int, end_s: int, span_s: int) -> bool:
    return start_s < span_s and (end_s > 0 or start_s >= 0)


def _days(
    days: Sequence[str] | None,
    rrule: str | None,
    zone: ZoneInfo,
    origin: datetime,
    span_s: int,
    early: int,
    year: int | None,
) -> Iterator[date]:
    """The local dates that suit, from `early` days before the span to its end."""
    now = origin.astimezone(zone).replace(tzinfo=None)
    first = datetime.combine(now.date(), time()) - timedelta(days=early)
    last = now + timedelta(seconds=span_s, days=2)
    rule = rrule or "FREQ=DAILY"
    wanted = None if days is None else {WEEKDAYS.index(day) for day in days}
    anchor = _anchor(rule, datetime(year or now.year, 1, 1), first)
    for local in rrulestr(rule, dtstart=anchor).between(first, last, inc=True):
        if (wanted is None or local.weekday() in wanted) and has_day(zone, local.date()):
            yield local.date()


def _anchor(rule: str, new_year: datetime, first: datetime) -> datetime:
    """A start for a rule at or before `first`, whole intervals from 1 January, so that none shifts."""
    parts = dict(part.split("=", 1) for part in rule.upper().removeprefix("RRULE:").split(";"))
    unit, least_days = _STEPS[parts["FREQ"]]
    interval = int(parts.get("INTERVAL", 1))
    steps = max(0, (new_year - first).days // (least_days * interval) + 1)
    step: relativedelta = relativedelta(**{unit: interval * steps})  # type: ignore[arg-type]
    return new_year - step
