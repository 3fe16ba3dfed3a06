"""A sweep: a list of independent runs, whoever runs them. The answer is the same, in the order of the list.

What is done is kept as it comes in, so that nothing finished is run again after Ctrl-C.

A sweep is a list of runs and what is read off each, and nothing else: tuning, comparing, sizing and ranges
make the list. Order, workers and cluster change no number; a task is one run.

A run is known by what it prints and by the program's text (`key`): whatever a scenario holds must show in its
repr; a CSV file shows by a digest of its values. Outcomes lie in the user's cache (`kept`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
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


def traced(task: Job) -> tuple[VariedPlant, Programme, Trace]:
    """Run one job, and give what was run and its trace."""
    plant, programme = VariedPlant(*task.variant), Programme(task.variant.scenario)
    return (
        plant,
        programme,
        simulate_trace(plant, programme, days=task.days, start=task.start, seed=task.seed),
    )


def run(task: Job) -> Outcome:
    """Run one job and read its outcome."""
    return outcome(*traced(task), task.days)


Read = TypeVar("Read")


@dataclass(frozen=True, slots=True)
class RunReading(Generic[Read]):
    """What is read off each run of a sweep, and how it is kept: as plain values, and back from them."""

    name: str
    """Runs are kept apart by it; the same job may be run for one reading and for another."""
    run: Callable[[Job], Read]
    as_values: Callable[[Read], Any]
    read: Callable[[Any], Read]


OUTCOMES = RunReading("outcome", run, Outcome.as_values, read)


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
    left = [i for i in range(len(jobs)) if i not in done]
    for place, answer in each(reading.run, [jobs[i] for i in left], how.workers, how.cluster):
        done[left[place]] = answer
        if kept:
            kept.put(keys[left[place]], reading.as_values(answer))
        if how.on_run is not None:
            how.on_run(len(done), len(jobs))
    return [done[i] for i in range(len(jobs))]


def key(task: Job, reading: str = OUTCOMES.name) -> str:
    """What tells a run from any other, by this or another version of the program or for another reading.

    Models print every field and floats exactly; pickles would differ from process to process.
    """
    return sha256(f"{program()} {reading} {task!r}".encode()).hexdigest()
