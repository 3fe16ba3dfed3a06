"""A sweep: a list of independent runs, whoever runs them. The answer is the same, in the order of the list.

What is done is kept as it comes in, so that nothing finished is run again after Ctrl-C.

A sweep is a list of runs and what is read off each, and nothing else: tuning, comparing, sizing and ranges
make the list. Order, workers and cluster change no number; a task is one run.

A run is known by what it prints and by the program's text (`key`): whatever a scenario holds must show in its
repr; a CSV file shows by a digest of its values. Outcomes lie in the user's cache (`kept`).

What runs alike (`as_it_runs`) is run once and read once for each: a limit that is tried costs no year.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from functools import partial
from hashlib import sha256
from pathlib import Path
from typing import Any, Generic, NamedTuple, TypeVar

from cyclesim.decide.sweeps.kept import KeptRuns
from cyclesim.decide.sweeps.outcome import Outcome, outcome, read
from cyclesim.decide.sweeps.pool import each, program
from cyclesim.decide.sweeps.varied import VariedPlant
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.tolerance import AS_TOLD
from cyclesim.simulation.trace import Trace
from cyclesim.simulation.variant import Variant


class Job(NamedTuple):
    """One run: plant and programme, from when, for how long, and the seed of what is left to chance."""

    variant: Variant
    days: int
    start: date | None = None
    seed: int = 0


def job(scenario: Scenario, days: int, start: date | None = None, seed: int = 0) -> Job:
    """The run of a scenario as it is told."""
    return Job(Variant(scenario, AS_TOLD), days, start, seed)


Ran = tuple[VariedPlant, Programme, Trace]


def traced(task: Job) -> Ran:
    """Run one job, and give what was run and its trace."""
    plant, programme = built(task)
    return (
        plant,
        programme,
        simulate_trace(plant, programme, days=task.days, start=task.start, seed=task.seed),
    )


_last: list[VariedPlant] = []
"""The plant that this process ran last: the next job's is mostly the same, under another programme."""


def built(task: Job) -> tuple[VariedPlant, Programme]:
    """The plant of a job and its programme."""
    plant = next((same for last in _last if (same := last.under(*task.variant))), None)
    _last[:] = [plant or VariedPlant(*task.variant)]
    return _last[0], Programme(task.variant.scenario)


def run(task: Job) -> Outcome:
    """Run one job and read its outcome."""
    return outcome(*traced(task), task.days)


_JUDGED = dict.fromkeys(("title", "about", "money", "candidates", "tuning"))
_KEYED_IN = dict.fromkeys(
    (
        "filter_windows",
        "time_step_s",
        "flush_lengths_s",
        "flushes_a_day",
        "plan_steps",
        "tells_weekdays",
        "seasons",
    )
)


def as_it_runs(task: Job) -> Job:
    """The job without what its run is only judged by; the trace marks water above the limit of its age."""
    scenario = task.variant.scenario
    changes = {
        "limits": scenario.limits.water_age_s,
        "place": scenario.place.model_copy(update={"altitude_m": None}),  # NPSH is all that goes by it
        "controller": scenario.controller.model_copy(update=_KEYED_IN),
        "schedule": scenario.schedule.model_copy(update={"quiet_hours": None}),
    }
    alike = scenario.model_copy(update=_JUDGED | changes)
    return task._replace(variant=task.variant._replace(scenario=alike))


Read = TypeVar("Read")


@dataclass(frozen=True, slots=True)
class RunReading(Generic[Read]):
    """What is read off each run of a sweep, and how it is kept: as plain values, and back from them."""

    name: str
    """Runs are kept apart by it; the same job may be run for one reading and for another."""
    of: Callable[[VariedPlant, Programme, Trace, int], Read]
    """Plant, programme and trace of a run of so many days."""
    as_values: Callable[[Read], Any]
    read: Callable[[Any], Read]


OUTCOMES = RunReading("outcome", outcome, Outcome.as_values, read)


@dataclass(frozen=True, slots=True)
class How:
    """How a sweep is run: by so many processes (None: one a core) or a dask scheduler, and where it is kept.

    *on_run* is called with the number of runs done and of all, *on_note* with a sentence on what could not be
    kept, for each sweep anew.
    """

    workers: int | None = 1
    cluster: str | None = None
    keep: Path | None = None
    on_run: Callable[[int, int], None] | None = None
    on_note: Callable[[str], object] = lambda _: None


HERE = How()


def sweep(jobs: Sequence[Job], how: How = HERE) -> list[Outcome]:
    """The outcome of every job, in order. SweepError where workers keep dying or no cluster answers."""
    return swept(jobs, OUTCOMES, how)


def swept(jobs: Sequence[Job], reading: RunReading[Read], how: How = HERE) -> list[Read]:
    """What is read off every job, in order; raises likewise."""
    keys = [key(task, reading.name) for task in jobs] if how.keep else []
    kept = KeptRuns(how.keep, set(keys), how.on_note) if how.keep else None
    done: dict[int, Read] = {}
    for place, run_key in enumerate(keys):
        if kept and run_key in kept.readings:
            with suppress(ValueError, KeyError, TypeError):  # whole, but of another form
                done[place] = reading.read(kept.readings[run_key])
    if how.on_run is not None:
        how.on_run(len(done), len(jobs))
    alike: dict[str, list[int]] = {}
    for i in range(len(jobs)):
        if i not in done:
            alike.setdefault(repr(as_it_runs(jobs[i])), []).append(i)
    left = list(alike.values())
    together = [[jobs[i] for i in places] for places in left]
    for number, answers in each(partial(_read_off, reading.of), together, how.workers, how.cluster):
        for i, answer in zip(left[number], answers, strict=True):
            done[i] = answer
            if kept:
                kept.put(keys[i], reading.as_values(answer))
            if how.on_run is not None:
                how.on_run(len(done), len(jobs))
    return [done[i] for i in range(len(jobs))]


def _read_off(of: Callable[[VariedPlant, Programme, Trace, int], Read], alike: Sequence[Job]) -> list[Read]:
    """What is read for each of some jobs that run alike, off the run of the first."""
    first, *others = alike
    plant, programme, trace = traced(first)
    read_ = [of(plant, programme, trace, first.days)]
    for task in others:
        read_.append(of(*built(task), trace, task.days))
    return read_


def key(task: Job, reading: str = OUTCOMES.name) -> str:
    """What tells a run from any other, by this or another version of the program or for another reading.

    Models print every field and floats exactly; pickles would differ from process to process.
    """
    return sha256(f"{program()} {reading} {task!r}".encode()).hexdigest()
