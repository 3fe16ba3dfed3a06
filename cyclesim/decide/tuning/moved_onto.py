"""Today's schedule moved as little as it takes until another controller can have it keyed in.

Starts go to the nearest step and filter runs are made whole steps long, never shorter; a flush takes the
shortest length on offer that is as long, else the longest. Where there are too many runs in a day, some that
lie evenly among them stay, and filter runs become as much longer as keeps their hours.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from datetime import date, datetime, time, timedelta
from typing import Any, TypeVar

from cyclesim.analysis.keyed_in import nearest_step, not_told_apart, too_many_a_day
from cyclesim.scenario.blocks.heating import PlanStep
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.schedule import AirLineFlush, Controller, Run, Schedule

_Entry = TypeVar("_Entry", Run, AirLineFlush, PlanStep)


def moved_onto(scenario: Scenario, takes: Controller) -> tuple[Scenario, tuple[str, ...]]:
    """The scenario with that controller and its schedule moved onto it; what was moved beside runs, in words.

    Bathing, frost protection and quiet hours stay as they are.
    """
    schedule, notes = scenario.schedule, list[str]()
    daily = schedule.model_copy(
        update={key: _every_day(takes, getattr(schedule, key)) for key in ("filter_runs", "line_flushes")}
    )
    most_filters = takes.filter_windows if _too_many(takes, daily, "filter_runs") else None
    most_flushes = takes.flushes_a_day if _too_many(takes, daily, "line_flushes") else None
    changes: dict[str, Any] = {
        "filter_runs": _filters(takes, _fewer(daily.filter_runs, most_filters)),
        "line_flushes": _flushes(takes, _fewer(daily.line_flushes, most_flushes)),
    }
    runs = (*changes["filter_runs"], *changes["line_flushes"])
    if any(run.days or run.repeats for run in runs):
        notes.append("Runs that are on some days only stay on those.")
    if any(run.after for run in runs):
        notes.append("Runs after bathing are kept beside these.")
    daily_air = _every_day(takes, schedule.air_line_flushes)
    if daily_air != schedule.air_line_flushes:
        notes.append("Air line flushes are on every day.")
    air = tuple(flush.model_copy(update={"start": _on_step(takes, flush.start) or ()}) for flush in daily_air)
    if air != daily_air:
        notes.append("Air line flushes start on the nearest step of its times.")
    changes["air_line_flushes"] = air
    heating = schedule.heating
    if heating is not None:
        plan = _every_day(takes, heating.plan)
        if plan != heating.plan:
            notes.append("The steps of the heating plan are on every day.")
        planned = schedule.model_copy(update={"heating": heating.model_copy(update={"plan": plan})})
        if _too_many(takes, planned, "heating"):
            count = takes.plan_steps or 0
            kept = {0: "none", 1: "the first"}.get(count, f"the first {count}")
            notes.append(
                f"Of the heating plan's {len(plan)} steps {kept} in the file can be keyed in; at other times "
                "the water is kept at keep_at."
            )
            plan = plan[:count]
        on_steps = tuple(_step_on_steps(takes, step) for step in plan)
        if on_steps != plan:
            notes.append("The steps of the heating plan begin and end on the nearest step of its times.")
            plan = on_steps
        absences = heating.absences if takes.seasons is not False else ()
        if absences != heating.absences:
            notes.append("Absences are left out: change the set point by hand on leaving and coming back.")
        changes["heating"] = heating.model_copy(update={"plan": plan, "absences": absences})
    moved = schedule.model_copy(update=changes)
    return scenario.model_copy(update={"controller": takes, "schedule": moved}), tuple(notes)


def _too_many(takes: Controller, schedule: Schedule, key: str) -> bool:
    """Whether what stands under this key alone is more than the controller takes in a day."""
    others: dict[str, object] = {"filter_runs": (), "line_flushes": (), "heating": None}
    del others[key]
    return any(too_many_a_day(takes, schedule.model_copy(update=others)))


def _every_day(takes: Controller, entries: Sequence[_Entry]) -> tuple[_Entry, ...]:
    return tuple(
        entry.model_copy(update={"days": None, "repeats": None}) if not_told_apart(takes, entry) else entry
        for entry in entries
    )


def _fewer(runs: Sequence[Run], most: int | None) -> tuple[Run, ...]:
    """So many starts at most, on every day; each as much longer as there are fewer."""
    if most is None:
        return tuple(runs)
    timed = sorted(((start, run) for run in runs for start in run.start or ()), key=lambda item: item[0])
    stay = [timed[k * len(timed) // most] for k in range(most)]
    longer = sum(run.lasts_s for _, run in timed) / (sum(run.lasts_s for _, run in stay) or 1.0)
    fewer = [
        run.model_copy(
            update={"start": (start,), "lasts_s": run.lasts_s * longer, "days": None, "repeats": None}
        )
        for start, run in stay
    ]
    return (*_alike_in_one(fewer), *(run for run in runs if run.start is None))


def _alike_in_one(runs: Sequence[Run]) -> Iterator[Run]:
    """Runs that differ in their start alone as one entry with several."""
    starts: dict[str, list[time]] = {}
    first: dict[str, Run] = {}
    for run in runs:
        alike = repr(run.model_copy(update={"start": None}))
        first.setdefault(alike, run)
        starts.setdefault(alike, []).extend(run.start or ())
    for alike, run in first.items():
        yield run.model_copy(update={"start": tuple(starts[alike])})


def _filters(takes: Controller, runs: Sequence[Run]) -> tuple[Run, ...]:
    step_s = takes.time_step_s or 1.0
    return tuple(
        run.model_copy(
            update={
                "start": _on_step(takes, run.start),
                "lasts_s": float(math.ceil(round(run.lasts_s) / step_s) * step_s),
            }
        )
        for run in runs
    )


def _flushes(takes: Controller, runs: Sequence[Run]) -> tuple[Run, ...]:
    offered = sorted(takes.flush_lengths_s or ())
    moved = []
    for run in runs:
        longer = next((length_s for length_s in offered if length_s >= run.lasts_s), None)
        lasts_s = float(round(run.lasts_s)) if not offered else longer or offered[-1]
        moved.append(run.model_copy(update={"start": _on_step(takes, run.start), "lasts_s": lasts_s}))
    return tuple(moved)


def _step_on_steps(takes: Controller, step: PlanStep) -> PlanStep:
    """A step of the heating plan on the controller's; one that would be empty ends a step later."""
    if takes.time_step_s is None:
        return step
    begins = "from_time" if step.ready_by is None else "ready_by"
    moved = {key: nearest_step(getattr(step, key), takes.time_step_s) for key in (begins, "until")}
    if moved[begins] == moved["until"]:
        later = datetime.combine(date.min, moved["until"]) + timedelta(seconds=takes.time_step_s)
        moved["until"] = nearest_step(later.time(), takes.time_step_s)
    return step.model_copy(update=moved)


def _on_step(takes: Controller, starts: Sequence[time] | None) -> tuple[time, ...] | None:
    if starts is None or takes.time_step_s is None:
        return None if starts is None else tuple(starts)
    return tuple(dict.fromkeys(nearest_step(start, takes.time_step_s) for start in starts))
