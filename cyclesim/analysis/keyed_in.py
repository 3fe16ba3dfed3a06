"""What of a schedule a controller on the wall cannot take: too much in a day, or days that differ."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import time
from typing import Literal

from cyclesim.analysis.amounts import listed
from cyclesim.control.calendar import WEEKDAYS
from cyclesim.scenario.blocks.heating import PlanStep
from cyclesim.scenario.blocks.schedule import Controller, Run, Schedule
from cyclesim.scenario.forms.times import Occasion

Misfit = tuple[str, str]
"""What does not fit, and what mends it."""
AIR, PLAN = "air line flushes", "heating plan"
"""What does not fit here no other filter runs and line flushes mend."""
_DAY_S = 86_400


def too_many_a_day(takes: Controller, schedule: Schedule) -> Iterator[Misfit]:
    """More filter runs, line flushes or steps of the heating plan on some day of the week than it takes."""
    plan = schedule.heating.plan if schedule.heating else ()
    for kind, entries, most, mend in (
        ("filter runs", schedule.filter_runs, takes.filter_windows, "join filter runs"),
        ("line flushes", schedule.line_flushes, takes.flushes_a_day, "fewer and longer flushes"),
        ("steps of the heating plan", plan, takes.plan_steps, "join steps, or keep one set point for longer"),
    ):
        most_a_day = max(
            sum(
                1 if isinstance(entry, PlanStep) else len(entry.start or ())
                for entry in entries
                if entry.days is None or day in entry.days
            )
            for day in range(len(WEEKDAYS))
        )
        if most is not None and most_a_day > most:
            yield f"{most_a_day} {kind} a day, and it takes {most}", mend


def keyed(schedule: Schedule) -> Iterator[tuple[str, tuple[Run, ...]]]:
    """What is keyed in with a start and a length, by the name of its kind; sessions of people are not."""
    for kind, entries in reversed(schedule.timed.items()):
        if runs := tuple(run for run in entries if isinstance(run, Run)):
            yield kind, runs


def clock_times(schedule: Schedule) -> Iterator[tuple[str, str, time]]:
    """Every clock time that is keyed in, with what a misfit is of and what it is for.

    Those of people and quiet hours are not keyed in.
    """
    for kind, runs in keyed(schedule):
        yield from (("controller", f"a {kind}", start) for run in runs for start in run.start or ())
    for air in schedule.air_line_flushes:
        yield from ((AIR, "an air line flush", start) for start in air.start)
    for step in schedule.heating.plan if schedule.heating else ():
        clocks = filter(None, (step.ready_by, step.from_time, step.until))
        yield from ((PLAN, "a step of the heating plan", clock) for clock in clocks)


def nearest_step(start: time, step_s: float) -> time:
    """The clock time nearest to this that is a whole number of steps [s] after midnight.

    >>> nearest_step(time(23, 55), 900.0)
    datetime.time(0, 0)
    """
    at = round(math.floor((3600 * start.hour + 60 * start.minute + start.second) / step_s + 0.5) * step_s)
    at = at if at < _DAY_S else 0
    return time(at // 3600, at % 3600 // 60, at % 60)


def days_apart(takes: Controller, schedule: Schedule) -> Iterator[Misfit]:
    """What is not on every day, where the controller cannot tell days or dates apart."""
    entries_by_kind: list[tuple[str, tuple[Run | Occasion | PlanStep, ...]]] = [
        *((f"a {kind}", runs) for kind, runs in keyed(schedule)),
        ("an air line flush", schedule.air_line_flushes),
        ("a step of the heating plan", schedule.heating.plan if schedule.heating else ()),
    ]
    for name, entries in entries_by_kind:
        for entry in entries:
            unable = not_told_apart(takes, entry)
            if unable == "dates":
                cause = f"{name} with {entry.repeats}, and it knows no dates"
                yield cause, "let it be on all year, or key it in by hand when its time comes"
            elif unable == "weekdays":
                on = entry.repeats or listed([WEEKDAYS[day] for day in sorted(set(entry.days or ()))])
                cause = f"{name} on {on} only, and it runs every day alike"
                yield cause, "let it be on every day, or switch it by hand"
    if takes.seasons is False and schedule.heating and schedule.heating.absences:
        n = len(schedule.heating.absences)
        cause = f"{n} absence{'s' if n > 1 else ''} in the heating, and it knows no dates"
        yield cause, "change the set point by hand on leaving and on coming back"


def not_told_apart(takes: Controller, entry: Run | Occasion | PlanStep) -> Literal["dates", "weekdays", ""]:
    """What this entry needs told apart and the controller cannot; nothing where it can be keyed in."""
    if takes.seasons is False and _by_date(entry.repeats):
        return "dates"
    return "weekdays" if takes.tells_weekdays is False and not _daily(entry.days, entry.repeats) else ""


def _parts(rule: str) -> dict[str, str]:
    return dict(part.split("=") for part in rule.split(";"))


def _by_date(rule: str | None) -> bool:
    """Whether a recurrence rule needs a calendar that knows dates, not only the days of the week."""
    parts = _parts(rule) if rule else {}
    by = parts.keys() & {"BYMONTH", "BYMONTHDAY"} or parts.get("INTERVAL", "1") != "1"
    return bool(by) or parts.get("FREQ") in ("MONTHLY", "YEARLY")


def _daily(days: tuple[int, ...] | None, rule: str | None) -> bool:
    """Whether an entry is on every day of the year."""
    if rule is None:
        return days is None or len(set(days)) == len(WEEKDAYS)
    parts = _parts(rule)
    every_weekday = len(set(parts.get("BYDAY", "").split(","))) == len(WEEKDAYS)
    return not _by_date(rule) and (every_weekday or (parts["FREQ"] == "DAILY" and "BYDAY" not in parts))
