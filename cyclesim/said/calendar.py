"""The calendar of an owner: filter runs, flushes and chores, as plain data."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from cyclesim.analysis.amounts import exactly
from cyclesim.control.calendar import WEEKDAYS
from cyclesim.said.cautions import ADVICE
from cyclesim.said.not_coming import gives_way
from cyclesim.said.papers.chores import chores
from cyclesim.scenario.blocks.bathing import Bathing
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.schedule import Run
from cyclesim.simulation.programme import Programme


@dataclass(frozen=True, slots=True)
class CalendarEntry:
    """One thing in a calendar: at a local time for so many seconds, or of whole days.

    *rule*: an RFC 5545 rule by which it recurs, "" where *starts* has every time that it is on.
    """

    name: str
    says: str
    starts: tuple[datetime | date, ...]
    lasts_s: int | None
    rule: str
    until: datetime
    """The end of the file's year, in UTC."""
    days: int = 1
    """How many whole days it lasts, where *lasts_s* is None."""


@dataclass(frozen=True, slots=True)
class OwnersCalendar:
    """A year of a plant."""

    title: str
    time_zone: str
    begin_utc: datetime
    end_utc: datetime
    entries: tuple[CalendarEntry, ...]


def owners_calendar(scenario: Scenario) -> OwnersCalendar:
    """Every run of the programme, every chore and all days on which nobody comes, in the file's year.

    Runs after bathing are left out: nobody knows when that is.
    """
    programme, year = Programme(scenario), scenario.place.year
    begin, end = (datetime(y, 1, 1, tzinfo=programme.zone).astimezone(UTC) for y in (year, year + 1))
    entries = (*_runs(programme, begin, end), *_absences(scenario, end), *_chores(scenario, end))
    return OwnersCalendar(scenario.title, scenario.place.time_zone, begin, end, entries)


def _runs(programme: Programme, begin: datetime, end: datetime) -> Iterator[CalendarEntry]:
    span_s, held = round((end - begin).total_seconds()), gives_way(programme)
    for timed in programme.entries:
        run = timed.run
        if isinstance(run, Bathing) or run.start is None:
            continue
        several = len(run.pumping.pumps) > 1
        runs = f"run for {exactly(run.lasts_s)} each" if several else f"runs for {exactly(run.lasts_s)}"
        but = f", but {held[timed.entry]}" if timed.entry in held else ""
        says = f"{run.pumping} {runs}. The controller does it by itself{but}. {ADVICE}"
        for clock in run.start:
            alone = run.model_copy(update={"start": (clock,)})
            found = [o for o in programme.occurrences(alone, begin, span_s) if o.start_s >= 0]
            if not found:
                continue
            rule = _rule(run)
            # a time that the clock change skips is written as it is keyed in, and read as RFC 5545 has it
            days = [(begin + timedelta(seconds=o.start_s)).astimezone(programme.zone).date() for o in found]
            starts = tuple(datetime.combine(day, clock) for day in (days[:1] if rule else days))
            yield CalendarEntry(timed.entry, says, starts, run.whole_s, rule, end)


def _rule(run: Run) -> str:
    """The rule by which a run recurs; "" where it is known by its days and by a rule at once."""
    if run.repeats is not None:
        return run.repeats if run.days is None else ""
    if run.days is None:
        return "FREQ=DAILY"
    return f"FREQ=WEEKLY;BYDAY={','.join(WEEKDAYS[day][:2].upper() for day in sorted(set(run.days)))}"


def _chores(scenario: Scenario, end: datetime) -> Iterator[CalendarEntry]:
    for chore in chores(scenario):
        if chore.first.year == scenario.place.year:
            starts = tuple(d for d in chore.days if d.year == chore.first.year) or (chore.first,)
            rule = f"FREQ=DAILY;INTERVAL={chore.every_days}" if chore.every_days and not chore.days else ""
            but = " Moved out of the days on which nobody comes." if chore.moved else ""
            says = f"{chore.how} How often: {chore.known_from}.{but} {ADVICE}"
            yield CalendarEntry(chore.name, says, starts, None, rule, end)


def _absences(scenario: Scenario, end: datetime) -> Iterator[CalendarEntry]:
    heating = scenario.schedule.heating
    for away in heating.absences if heating else ():
        if scenario.place.year in (away.from_date.year, away.to_date.year):
            says = (
                f"Heating keeps {away.keep_at_c:g} °C. The controller does it where it knows dates. {ADVICE}"
            )
            lasts = (away.to_date - away.from_date).days + 1
            yield CalendarEntry("Nobody comes", says, (away.from_date,), None, "", end, lasts)
