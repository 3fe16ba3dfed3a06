"""The calendar: read by two other libraries, expanded to the instants at which the engine ran."""

from datetime import UTC, date, datetime, timedelta
from io import StringIO
from pathlib import Path

import icalendar
import pytest
from click.testing import CliRunner
from dateutil import tz
from dateutil.rrule import rrulestr

from cyclesim.cli import cli
from cyclesim.said.calendar import owners_calendar
from cyclesim.said.papers.chores import chores, first_frost
from cyclesim.scenario.reading.load import load_text
from cyclesim.shown.calendar_file import as_icalendar
from cyclesim.simulation.assembly import Assembly
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.programme import Programme

SCHEDULES = Path(__file__).parents[2] / "schedules"
GARDEN = (SCHEDULES / "walled-garden.yaml").read_text(encoding="utf-8")
NIGHTLY = GARDEN.replace('start: ["03:00", "15:00"], lasts: 3 h', 'start: ["01:30", "15:00"], lasts: 3 h')
LINES = '    - {pump: main high, start: ["07:30", "19:30"], lasts: 45 s}\n'


def written(scenario):
    """The calendar's text, unfolded, and its events by icalendar."""
    text = as_icalendar(owners_calendar(scenario), date(2027, 1, 1))
    return text.replace("\r\n ", ""), icalendar.Calendar.from_ical(text).walk("VEVENT")


def expanded(text, events):
    """(name, start, end) in UTC of each run: rules by dateutil, clock changes by the file's own VTIMEZONE."""
    zone_text = text[text.index("BEGIN:VTIMEZONE") : text.index("END:VTIMEZONE") + len("END:VTIMEZONE\r\n")]
    zones = tz.tzical(StringIO(zone_text.replace("\r\n", "\n")))
    zone = zones.get(zones.keys()[0])
    found = set()
    for event in events:
        start = event["DTSTART"].dt
        if not isinstance(start, datetime):
            continue
        naive = start.replace(tzinfo=None)
        times = {naive}
        if "RRULE" in event:
            parts = {key: value for key, value in event["RRULE"].items() if key != "UNTIL"}
            rule = icalendar.vRecur(parts).to_ical().decode()
            times |= set(
                rrulestr(rule, dtstart=naive).between(naive, datetime(2027, 12, 31, 23, 59), inc=True)
            )
        dates = event.get("RDATE", [])
        for more in dates if isinstance(dates, list) else [dates]:
            times |= {one.dt.replace(tzinfo=None) for one in more.dts}
        for local in times:  # a time that is skipped: by the offset before the gap, RFC 5545 3.3.5
            at = tz.resolve_imaginary(local.replace(tzinfo=zone)).astimezone(UTC)
            found.add((str(event["SUMMARY"]), at, at + event["DURATION"].dt))
    return found


def ran(scenario, first, days):
    """The same as the engine ran it."""
    trace = simulate_trace(Assembly(scenario), Programme(scenario), days=days, start=first)
    return {
        (name, trace.begin_utc + timedelta(seconds=start), trace.begin_utc + timedelta(seconds=end))
        for name, stream in trace.demands.items()
        for start, end in stream.spans("raised")
        if name in ("filter run", "line flush")
    }, (trace.begin_utc, trace.begin_utc + timedelta(seconds=trace.span_s))


@pytest.mark.parametrize("first", [date(2027, 3, 25), date(2027, 10, 28)], ids=["spring", "autumn"])
def test_it_expands_to_what_the_engine_ran_over_a_clock_change(first):
    """A week with runs at 01:30, which does not exist on 28 March and is there twice on 31 October."""
    scenario = load_text(NIGHTLY)
    engine, (begin, end) = ran(scenario, first, 7)
    events = {one for one in expanded(*written(scenario)) if begin <= one[1] < end}
    assert len(engine) == 7 * 4
    assert engine == events


@pytest.mark.slow
@pytest.mark.parametrize("name", ["long-table", "high-valley", "cedar-yard"])
def test_a_year_of_a_shipped_plant_is_what_the_engine_ran(name):
    """Every filter run and flush that has a clock time, from 1 January to 31 December."""
    scenario = load_text((SCHEDULES / f"{name}.yaml").read_text(encoding="utf-8"))
    programme, events = Programme(scenario), expanded(*written(scenario))
    timed = {t.demand.name for t in programme.timed if getattr(t.run, "after", None) is None and t.run.start}
    runs = {event for event in events if event[0] in timed}
    trace = simulate_trace(Assembly(scenario), programme, days=365)
    assert runs == {
        (demand, trace.begin_utc + timedelta(seconds=start), trace.begin_utc + timedelta(seconds=end))
        for demand in {event[0] for event in runs}
        for start, end in trace.demands[demand].spans("raised")
    }
    assert len(runs) >= 365


def test_the_instants_of_the_clock_changes_are_those_worked_out_by_hand():
    """Lisbon: WET is UTC, WEST an hour ahead, changed at 01:00 UTC.

    28 March 01:30 does not exist: by the offset before, 01:30 UTC. 31 October 01:30: the first, 00:30 UTC.
    """
    begins = {start for name, start, _ in expanded(*written(load_text(NIGHTLY))) if name == "filter run"}
    assert datetime(2027, 3, 28, 1, 30, tzinfo=UTC) in begins
    assert datetime(2027, 10, 31, 0, 30, tzinfo=UTC) in begins
    assert len(begins) == 2 * 365


def test_the_clock_changes_stand_on_the_clock_before_them():
    """RFC 5545 3.6.5: the onset is a local time by TZOFFSETFROM. Lisbon changes at 01:00 and at 02:00."""
    text, _ = written(load_text(GARDEN))
    assert "DTSTART:20270328T010000\r\nTZOFFSETFROM:+0000\r\nTZOFFSETTO:+0100\r\nTZNAME:WEST" in text
    assert "DTSTART:20271031T020000\r\nTZOFFSETFROM:+0100\r\nTZOFFSETTO:+0000\r\nTZNAME:WET" in text


@pytest.mark.parametrize(
    ("when", "days"),
    [("days: [tuesday, saturday]", 104), ("repeats: FREQ=WEEKLY;INTERVAL=2;BYDAY=FR", 26),
     ("repeats: FREQ=MONTHLY;BYMONTHDAY=-1", 12)],
)  # fmt: skip
def test_days_and_rules_are_those_of_the_file(when, days):
    """2027 begins on a Friday: 52 Tuesdays, 52 Saturdays, 53 Fridays, of which every other from the first."""
    scenario = load_text(GARDEN.replace(LINES, LINES.replace("lasts: 45 s", f"lasts: 45 s, {when}")))
    starts = [start for name, start, _ in expanded(*written(scenario)) if name == "line flush"]
    programme = Programme(scenario)
    begin = datetime(2027, 1, 1, tzinfo=UTC)
    run = next(t.run for t in programme.timed if t.demand.name == "line flush")
    known = {begin + timedelta(seconds=o.start_s) for o in programme.occurrences(run, begin, 365 * 86_400)}
    assert known == set(starts)
    assert 2 * days - 2 <= len(starts) <= 2 * days + 2


def test_chores_recur_as_the_file_has_them():
    """Filter every 14 days: from 15 January, 26 in 2027. Refills every 90 days after 1 January: 4."""
    _, events = written(load_text(GARDEN))
    chores = {
        str(event["SUMMARY"]): event for event in events if not isinstance(event["DTSTART"].dt, datetime)
    }
    first = {name: event["DTSTART"].dt for name, event in chores.items()}
    assert date(2027, 1, 15) == first["Clean the filter"]
    assert date(2027, 4, 1) == first["Refill the tub"]
    for name, times in (("Clean the filter", 26), ("Refill the tub", 4)):
        rule = chores[name]["RRULE"].to_ical().decode()
        assert times == len(list(rrulestr(rule, dtstart=datetime.combine(first[name], datetime.min.time()))))


def test_no_chore_is_due_while_nobody_comes_and_the_absence_stands_in_the_calendar():
    """Filter every 14 days from 15 January, away 10 January to 12 February: 13 and 27 February, 13 March ...

    The year has 365 days; 13 February is its 44th: 1 + (365 - 44) // 14 = 23 times.
    """
    away = "schedule.heating.absences=[{from: 2027-01-10, to: 2027-02-12, keep_at: 12 degC}]"
    _, events = written(load_text(GARDEN, "test.yaml", sets=[away]))
    known = {str(event["SUMMARY"]): event for event in events}
    absence = known["Nobody comes"]
    assert (date(2027, 1, 10), date(2027, 2, 13)) == (absence["DTSTART"].dt, absence["DTEND"].dt)
    cleaned = known["Clean the filter"]
    days = [cleaned["DTSTART"].dt, *(one.dt for more in cleaned["RDATE"] for one in more.dts)]
    assert days[:3] == [date(2027, 2, 13), date(2027, 2, 27), date(2027, 3, 13)]
    assert 23 == len(days)
    assert "RRULE" not in cleaned
    assert "RRULE" in known["Refill the tub"]  # 1 April: nothing of it falls into the absence


def test_who_gets_ready_for_frost_does_it_before_leaving():
    """Ready 14 days before the first frost of 20 November, on the 6th: away from the 2nd, on the 1st."""
    weather = "place.weather={mean: 5 degC, seasonal_swing: 10 K, daily_swing: 0 K, coldest_day: 20 January}"
    away = "schedule.heating.absences=[{from: 2027-11-02, to: 2027-12-20, keep_at: 12 degC}]"
    [ready] = [c for c in chores(load_text(GARDEN, "test.yaml", sets=[weather, away])) if "frost" in c.name]
    assert (date(2027, 11, 1), (date(2027, 11, 1),)) == (ready.first, ready.moved)


def test_the_first_frost_is_read_off_the_weather():
    """A mean of 5 degC that swings by 10 K over the year, coldest on 20 January, and by 0 K over the day.

    5 - 10 cos(2 pi d / 365) < 0 needs cos > 1/2, so within 365 / 6 = 60.8 days of it: from 20 November on.
    """
    weather = "{mean: 5 degC, seasonal_swing: 10 K, daily_swing: 0 K, coldest_day: 20 January}"
    old = "{mean: 15 degC, seasonal_swing: 7 K, daily_swing: 5 K, coldest_day: 20 January}"
    assert abs(first_frost(load_text(GARDEN.replace(old, weather))) - date(2027, 11, 20)) <= timedelta(days=1)
    assert first_frost(load_text(GARDEN)) is None  # 15 - 7 - 5 = 3 degC at the coldest


@pytest.mark.parametrize("title", ["a; b, c \\ d </script> #x", "ä" * 200, "גן מוקף"])
def test_any_title_comes_back_as_it_was_and_no_line_is_too_long(title, tmp_path):
    """RFC 5545: 75 octets a line, and signs that part things are escaped."""
    text = GARDEN.replace("title: Walled garden, one two-speed pump", f"title: '{title}'")
    (tmp_path / "tub.yaml").write_text(text, encoding="utf-8")
    out = tmp_path / "tub.ics"
    result = CliRunner().invoke(cli, ["calendar", str(tmp_path / "tub.yaml"), "--out", str(out)])
    assert 0 == result.exit_code, result.output
    read = out.read_bytes()
    [event, *_] = icalendar.Calendar.from_ical(read).walk("VEVENT")
    assert str(event["DESCRIPTION"]).startswith(f"{title}: main high runs for 45 s.")
    assert all(len(line) <= 75 for line in read.split(b"\r\n"))
    assert read.count(b"\n") == read.count(b"\r\n")


def test_a_calendar_is_named_and_ends_in_ics():
    """Without a name, or with another ending, nothing is written."""
    for args in ([], ["--out", "tub.txt"]):
        assert 2 == CliRunner().invoke(cli, ["calendar", "tub.yaml", *args]).exit_code
