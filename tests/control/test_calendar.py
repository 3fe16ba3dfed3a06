"""Recurrence and clock changes, against RFC 5545's printed lists, dateutil's tests of a time, and civil law.

RFC 5545 was read as quoted word for word in the comments of public source files, not on the editor's site.
Dates of clock changes: EU directive 2000/84/EC (last Sundays of March and October, 01:00 UTC), US Energy
Policy Act of 2005 (second Sunday of March, first of November, 02:00), Lord Howe Island (first Sundays of
April and October, half an hour): from memory, not opened.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from dateutil import tz as dateutil_tz
from hypothesis import given, settings
from hypothesis import strategies as st

from cyclesim.control.calendar import WEEKDAYS, Occurrence, has_day, localize, runs, windows

LISBON, NEW_YORK, LORD_HOWE = "Europe/Lisbon", "America/New_York", "Australia/Lord_Howe"
DAY_S = 86400


def utc(year: int, month: int, day: int, hour: int = 0, minute: int = 0) -> datetime:
    """An instant in UTC."""
    return datetime(year, month, day, hour, minute, tzinfo=UTC)


def year_of(starts: Sequence[time], lasts_s: int, zone: str, **rule: Any) -> list[Occurrence]:
    """The runs of 2027, from its first midnight in the zone."""
    origin = datetime(2027, 1, 1, tzinfo=ZoneInfo(zone)).astimezone(UTC)
    return runs(starts, lasts_s, zone=zone, origin=origin, span_s=365 * DAY_S, **rule)


# --- RFC 5545 -----------------------------------------------------------------------------------------


def days_of(year: int, month: int, *days: int) -> list[tuple[int, int, int]]:
    """Dates, as the RFC lists them."""
    return [(year, month, day) for day in days]


@pytest.mark.parametrize(
    ("rule", "begun", "listed", "year"),
    [
        (  # every other day - forever
            "FREQ=DAILY;INTERVAL=2",
            (1997, 9, 2),
            days_of(1997, 9, *range(2, 31, 2))
            + days_of(1997, 10, *range(2, 31, 2))
            + days_of(1997, 11, *range(1, 30, 2))
            + days_of(1997, 12, 1, 3),
            1997,
        ),
        (  # monthly on the first Friday
            "FREQ=MONTHLY;BYDAY=1FR",
            (1997, 9, 5),
            [
                (1997, 9, 5),
                (1997, 10, 3),
                (1997, 11, 7),
                (1997, 12, 5),
                (1998, 1, 2),
                (1998, 2, 6),
                (1998, 3, 6),
                (1998, 4, 3),
                (1998, 5, 1),
                (1998, 6, 5),
            ],
            1997,
        ),
        (  # every Friday the 13th
            "FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13",
            (1997, 9, 2),
            [(1998, 2, 13), (1998, 3, 13), (1998, 11, 13), (1999, 8, 13), (2000, 10, 13)],
            1997,
        ),
        (  # the first Saturday that follows the first Sunday of the month
            "FREQ=MONTHLY;BYDAY=SA;BYMONTHDAY=7,8,9,10,11,12,13",
            (1997, 9, 13),
            [
                (1997, 9, 13),
                (1997, 10, 11),
                (1997, 11, 8),
                (1997, 12, 13),
                (1998, 1, 10),
                (1998, 2, 7),
                (1998, 3, 7),
                (1998, 4, 11),
                (1998, 5, 9),
                (1998, 6, 13),
            ],
            1997,
        ),
        (  # every Thursday, but only during June, July, and August
            "FREQ=YEARLY;BYDAY=TH;BYMONTH=6,7,8",
            (1997, 6, 5),
            days_of(1997, 6, 5, 12, 19, 26)
            + days_of(1997, 7, 3, 10, 17, 24, 31)
            + days_of(1997, 8, 7, 14, 21, 28)
            + days_of(1998, 6, 4, 11, 18, 25),
            1997,
        ),
        (  # every 4 years, the first Tuesday after a Monday in November
            "FREQ=YEARLY;INTERVAL=4;BYMONTH=11;BYDAY=TU;BYMONTHDAY=2,3,4,5,6,7,8",
            (1996, 11, 5),
            [(1996, 11, 5), (2000, 11, 7), (2004, 11, 2)],
            1996,
        ),
    ],
)
def test_rfc_lists(
    rule: str, begun: tuple[int, int, int], listed: list[tuple[int, int, int]], year: int
) -> None:
    """The rules of RFC 5545 3.8.5.3 give its printed dates, at 9:00 in New York, summer and winter."""
    origin = datetime(*begun, tzinfo=ZoneInfo(NEW_YORK)).astimezone(UTC)
    span_s = int((datetime(*listed[-1], 12, tzinfo=UTC) + timedelta(days=1) - origin).total_seconds())
    found = runs([time(9)], 60, rrule=rule, zone=NEW_YORK, origin=origin, span_s=span_s, year=year)
    assert [datetime(*day, 9) for day in listed] == [
        run.local for run in found if run.local.date() <= datetime(*listed[-1]).date()
    ]
    for run in found:
        instant = origin + timedelta(seconds=run.start_s)
        assert instant.astimezone(ZoneInfo(NEW_YORK)).hour == 9


def test_rfc_3_3_5() -> None:
    """RFC 5545 3.3.5: the first of two 01:30; 02:30 in the gap is 3:30 EDT, an hour after 1:30 EST."""
    zone = ZoneInfo(NEW_YORK)
    assert localize(datetime(2007, 11, 4, 1, 30), zone)[0] == utc(2007, 11, 4, 5, 30)
    assert localize(datetime(2007, 3, 11, 2, 30), zone)[0] == utc(2007, 3, 11, 7, 30)


# --- clock changes ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("zone", "start", "instant", "note"),
    [
        (
            LISBON,
            time(1, 30),
            utc(2027, 3, 28, 1, 30),
            "01:30 does not exist on 28 March 2027; taken as 02:30",
        ),
        (LISBON, time(1, 30), utc(2027, 10, 31, 0, 30), "first of two 01:30 on 31 October 2027"),
        (
            NEW_YORK,
            time(2, 30),
            utc(2027, 3, 14, 7, 30),
            "02:30 does not exist on 14 March 2027; taken as 03:30",
        ),
        (NEW_YORK, time(1, 30), utc(2027, 11, 7, 5, 30), "first of two 01:30 on 7 November 2027"),
        (
            LORD_HOWE,
            time(2, 10),
            utc(2027, 10, 2, 15, 40),
            "02:10 does not exist on 3 October 2027; taken as 02:40",
        ),
        (LORD_HOWE, time(1, 45), utc(2027, 4, 3, 14, 45), "first of two 01:45 on 4 April 2027"),
    ],
)
def test_both_changes(zone: str, start: time, instant: datetime, note: str) -> None:
    """A start in the spring gap is shifted forward, one in the overlap is the first; each says so."""
    found = year_of([start], 600, zone)
    told = [run for run in found if run.note == note]
    origin = datetime(2027, 1, 1, tzinfo=ZoneInfo(zone)).astimezone(UTC)
    assert [int((instant - origin).total_seconds())] == [run.start_s for run in told]
    assert len(found) == 365


def test_local_is_the_clock_as_taken() -> None:
    """A shifted start tells the clock time at which it really happens."""
    told = [run for run in year_of([time(1, 30)], 600, LISBON) if "does not exist" in run.note]
    assert [datetime(2027, 3, 28, 2, 30)] == [run.local for run in told]


@given(
    st.sampled_from([LISBON, NEW_YORK, LORD_HOWE, "Asia/Kolkata", "Africa/Casablanca", "Pacific/Apia"]),
    st.datetimes(datetime(1990, 1, 1), datetime(2036, 1, 1)).map(
        lambda d: d.replace(second=0, microsecond=0)
    ),
)
@settings(max_examples=500)
def test_against_dateutil(name: str, local: datetime) -> None:
    """What does not exist and what comes twice is what dateutil, with its own reader of zones, says."""
    check_against_dateutil(name, local)


@given(
    st.sampled_from([LISBON, NEW_YORK, LORD_HOWE]),
    st.integers(1996, 2030),
    st.sampled_from([3, 4, 10, 11]),
    st.integers(1, 28),
    st.integers(0, 16),
)
@settings(max_examples=500)
def test_against_dateutil_near_changes(name: str, year: int, month: int, day: int, quarter: int) -> None:
    """The same in the small hours of the months in which clocks change."""
    check_against_dateutil(name, datetime(year, month, day) + timedelta(minutes=15 * quarter))


def check_against_dateutil(name: str, local: datetime) -> None:
    """Compare one local time with dateutil."""
    other = dateutil_tz.gettz(name)
    assert other is not None
    instant, note = localize(local, ZoneInfo(name))
    assert dateutil_tz.datetime_exists(local, other) == ("does not exist" not in note)
    assert dateutil_tz.datetime_ambiguous(local, other) == ("first of two" in note)
    assert dateutil_tz.resolve_imaginary(local.replace(tzinfo=other)).astimezone(UTC) == instant


@pytest.mark.parametrize("zone", ["Asia/Kolkata", "UTC", "America/Phoenix"])
def test_no_change(zone: str) -> None:
    """Where the clock never changes every day has 86400 s and there is nothing to note."""
    found = year_of([time(2, 30)], 600, zone)
    assert [9000 + DAY_S * day for day in range(365)] == [run.start_s for run in found]
    assert not [run for run in found if run.note]


def test_a_day_that_the_calendar_skips_has_no_runs() -> None:
    """Samoa went from 29 to 31 December 2011: a daily run happens once on each day that there was."""
    origin = datetime(2011, 12, 28, tzinfo=ZoneInfo("Pacific/Apia")).astimezone(UTC)
    found = runs([time(9)], 600, zone="Pacific/Apia", origin=origin, span_s=4 * DAY_S)
    assert [28, 29, 31, 1] == [run.local.day for run in found]
    assert not any(run.note for run in found)
    assert [False, True] == [has_day(ZoneInfo("Pacific/Apia"), date(2011, 12, day)) for day in (30, 31)]


# --- elapsed time and wall clock ----------------------------------------------------------------------


def test_lasts_is_elapsed() -> None:
    """A run of three hours lasts three hours on every night of the year, also across a change."""
    assert {3 * 3600} == {run.end_s - run.start_s for run in year_of([time(0, 30)], 3 * 3600, LISBON)}


@pytest.mark.parametrize(
    ("zone", "spring_s", "autumn_s"),
    [(LISBON, -3600, 3600), (NEW_YORK, -3600, 3600), (LORD_HOWE, -1800, 1800)],
)
def test_windows_are_wall_clock(zone: str, spring_s: int, autumn_s: int) -> None:
    """A window from 22:00 to 08:00 is an hour (on Lord Howe half) shorter and longer on two nights a year."""
    origin = datetime(2027, 1, 1, 12, tzinfo=ZoneInfo(zone)).astimezone(UTC)
    found = windows(time(22), time(8), zone=zone, origin=origin, span_s=364 * DAY_S)
    lengths = [window.end_s - window.start_s for window in found]
    assert len(lengths) == 364
    assert sorted([36000 + spring_s, 36000 + autumn_s]) == sorted(s for s in lengths if s != 36000)


@pytest.mark.parametrize("zone", [LISBON, NEW_YORK, LORD_HOWE])
@given(st.lists(st.integers(0, 95), min_size=1, max_size=6, unique=True).map(sorted))
@settings(max_examples=20)
def test_windows_tile(zone: str, quarters: list[int]) -> None:
    """Windows that share their ends cover a year without gap or overlap, clock changes or not."""
    origin = utc(2027, 1, 1)
    ends = [time(quarter // 4, quarter % 4 * 15) for quarter in quarters]
    pairs = list(zip(ends, [*ends[1:], ends[0]], strict=True))
    found = [w for a, b in pairs for w in windows(a, b, zone=zone, origin=origin, span_s=365 * DAY_S)]
    found.sort(key=lambda window: window.start_s)
    assert [window.end_s for window in found[:-1]] == [window.start_s for window in found[1:]]
    assert found[0].start_s <= 0
    assert found[-1].end_s >= 365 * DAY_S


def test_whole_day_window() -> None:
    """Equal times mean the whole day by the wall clock: 23, 24 or 25 hours."""
    origin = datetime(2027, 1, 1, tzinfo=ZoneInfo(LISBON)).astimezone(UTC)
    found = windows(time(0), time(0), zone=LISBON, origin=origin, span_s=365 * DAY_S)
    assert {23, 24, 25} == {(window.end_s - window.start_s) // 3600 for window in found}
    assert len(found) == 365


def test_window_edge_in_the_gap() -> None:
    """An edge in the gap is the moment of the jump; a window wholly in the gap does not occur that day."""
    origin = utc(2027, 3, 27)
    found = windows(time(1, 45), time(2, 15), zone=LISBON, origin=origin, span_s=3 * DAY_S)
    assert [window.end_s - window.start_s for window in found] == [1800, 900, 1800]
    assert datetime(2027, 3, 28, 2) == found[1].local
    assert found[1].note == "01:45 does not exist on 28 March 2027; taken as 02:00"
    inside = windows(time(1, 15), time(1, 45), zone=LISBON, origin=origin, span_s=3 * DAY_S)
    assert [window.local.day for window in inside] == [27, 29]


# --- span, days, rules --------------------------------------------------------------------------------


def test_reaches_into_the_span() -> None:
    """What began before the span and reaches into it is there; what only touches an end of it is not."""
    origin = utc(2027, 1, 2, 1)
    found = runs([time(23)], 3 * 3600, zone="UTC", origin=origin, span_s=DAY_S)
    assert [(run.start_s, run.end_s) for run in found] == [(-7200, 3600), (DAY_S - 7200, DAY_S + 3600)]
    assert not runs([time(1)], 3600, zone="UTC", origin=utc(2027, 1, 2, 2), span_s=23 * 3600)
    long = runs([time(0)], 5 * DAY_S, rrule="FREQ=MONTHLY", zone="UTC", origin=utc(2027, 1, 4), span_s=3600)
    assert [run.start_s for run in long] == [-3 * DAY_S]
    assert [w.start_s for w in windows(time(15), time(8), zone="UTC", origin=utc(2027, 1, 1), span_s=60)] == [
        -9 * 3600
    ]


def test_days() -> None:
    """Named weekdays are the only days; with a rule besides, a day must suit both."""
    found = year_of([time(20)], 3000, LISBON, days=["friday", "saturday"])
    assert {"friday", "saturday"} == {WEEKDAYS[run.local.weekday()] for run in found}
    assert len(found) == 53 + 52  # 2027 begins and ends on a Friday
    both = year_of([time(20)], 3000, LISBON, days=["friday"], rrule="FREQ=MONTHLY;BYMONTHDAY=13")
    assert [datetime(2027, 8, 13, 20)] == [run.local for run in both]


def test_first_saturday() -> None:
    """A monthly rule for the first Saturday gives twelve Saturdays, each within the first seven days."""
    found = year_of([time(10)], 600, LISBON, rrule="FREQ=MONTHLY;BYDAY=1SA")
    assert [(month, "saturday") for month in range(1, 13)] == [
        (run.local.month, WEEKDAYS[run.local.weekday()]) for run in found
    ]
    assert max(run.local.day for run in found) <= 7


@pytest.mark.parametrize(
    "rule",
    ["FREQ=DAILY;INTERVAL=3", "FREQ=WEEKLY;INTERVAL=2;BYDAY=MO,FR", "FREQ=MONTHLY;INTERVAL=5", "FREQ=YEARLY"],
)
@given(early=st.integers(0, 800), late=st.integers(0, 400))
@settings(max_examples=25)
def test_intervals_do_not_shift(rule: str, early: int, late: int) -> None:
    """Wherever a span begins, an interval falls on the same days."""
    middle = utc(2027, 1, 1)

    def instants(origin: datetime, days: int) -> set[datetime]:
        found = runs([time(9)], 60, rrule=rule, zone=LISBON, origin=origin, span_s=days * DAY_S, year=2027)
        return {origin + timedelta(seconds=run.start_s) for run in found}

    whole = instants(middle - timedelta(days=early), early + 800)
    part = instants(middle + timedelta(days=late), 400)
    first = middle + timedelta(days=late)
    assert {i for i in whole if first <= i < first + timedelta(days=400)} == part


def test_interval_counts_from_new_year() -> None:
    """Every second day of a year begins on 1 January, every second Monday in its first week."""
    assert year_of([time(9)], 60, LISBON, rrule="FREQ=DAILY;INTERVAL=2")[0].local == datetime(2027, 1, 1, 9)


@given(
    st.lists(
        st.times().map(lambda t: t.replace(second=0, microsecond=0)), min_size=1, max_size=4, unique=True
    ),
    st.integers(60, 20 * 3600),
    st.sampled_from([LISBON, NEW_YORK, LORD_HOWE]),
    st.integers(0, 364),
    st.integers(1, 40),
)
@settings(max_examples=100)
def test_a_part_is_a_part(starts: list[time], lasts_s: int, zone: str, first: int, days: int) -> None:
    """The runs of a part of the year are the year's runs that reach into it, and are in order."""
    origin = utc(2027, 1, 1)
    year = runs(starts, lasts_s, zone=zone, origin=origin, span_s=410 * DAY_S)
    shift_s, span_s = first * DAY_S, days * DAY_S
    part = runs(starts, lasts_s, zone=zone, origin=origin + timedelta(days=first), span_s=span_s)
    expected = [r.start_s - shift_s for r in year if r.end_s > shift_s and r.start_s < shift_s + span_s]
    assert expected == [run.start_s for run in part]
    assert sorted(expected) == expected


def test_coinciding_starts() -> None:
    """Two starts that the gap lays on one another are both there; the note tells which was moved."""
    found = [
        r for r in year_of([time(1, 30), time(2, 30)], 60, LISBON) if r.local == datetime(2027, 3, 28, 2, 30)
    ]
    assert [bool(run.note) for run in found] == [True, False]
    assert found[0].start_s == found[1].start_s
