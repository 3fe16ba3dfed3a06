"""A sweep: a list of independent runs, whoever runs them. The answer is the same, in the order of the list.

What is done is kept as it comes in, so that nothing finished is run again after Ctrl-C.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from pathlib import Path
from typing import Any, NamedTuple

from platformdirs import user_cache_path

from cyclesim.decide.outcome import Outcome, outcome, read
from cyclesim.decide.pool import each, program
from cyclesim.decide.variant import Variant
from cyclesim.decide.varied import VariedPlant
from cyclesim.scenario.model import Scenario
from cyclesim.simulation.engine import simulate_trace
from cyclesim.simulation.programme import Programme
from cyclesim.simulation.tolerance import AS_TOLD


class Job(NamedTuple):
    """One run: plant and programme, from when, for how long, and the seed of what is left to chance."""

    variant: Variant
    days: int
    start: date | None = None
    seed: int = 0


def job(scenario: Scenario, days: int, start: date | None = None, seed: int = 0) -> Job:
    """The run of a scenario as it is told."""
    return Job(Variant(scenario, AS_TOLD), days, start, seed)


def run(one: Job) -> Outcome:
    """Run one job."""
    plant, programme = VariedPlant(*one.variant), Programme(one.variant.scenario)
    trace = simulate_trace(plant, programme, days=one.days, start=one.start, seed=one.seed)
    return outcome(plant, programme, trace, one.days)


@dataclass(frozen=True, slots=True)
class How:
    """How a sweep is run: by so many processes (None: one a core) or a dask scheduler, and where it is kept.

    *on_run* is called with the number of runs done and of all.
    """

    workers: int | None = 1
    cluster: str | None = None
    keep: Path | None = None
    on_run: Callable[[int, int], None] | None = None


HERE = How()
_KEPT_FOR_S = 30 * 86_400


def sweep(jobs: Sequence[Job], how: How = HERE) -> list[Outcome]:
    """The outcome of every job, in order. SweepError where workers keep dying or no cluster answers."""
    keys = [key(one) for one in jobs] if how.keep else []
    kept = Kept(how.keep) if how.keep else None
    done: dict[int, Outcome] = {}
    if kept:
        done = {i: read(kept.found[k]) for i, k in enumerate(keys) if k in kept.found}
    if how.on_run is not None:
        how.on_run(len(done), len(jobs))
    left = [i for i in range(len(jobs)) if i not in done]
    for place, found in each(run, [jobs[i] for i in left], how.workers, how.cluster):
        done[left[place]] = found
        if kept:
            kept.put(keys[left[place]], found)
        if how.on_run is not None:
            how.on_run(len(done), len(jobs))
    return [done[i] for i in range(len(jobs))]


def key(one: Job) -> str:
    """What tells a run from any other, by this or another version of the program.

    Models print every field and floats exactly; pickles would differ from process to process.
    """
    return sha256(f"{program()} {one!r}".encode()).hexdigest()


def kept_file(afresh: bool = False) -> Path:
    """Where runs are kept unless told otherwise: the user's cache, one file for each version of the program.

    Files that nobody has written to for a month are removed, and this one with *afresh*.
    """
    folder = user_cache_path("cyclesim", appauthor=False)
    path = folder / f"runs-{program()[:16]}.jsonl"
    if folder.is_dir():
        for other in folder.glob("runs-*.jsonl"):
            if (afresh and other == path) or time.time() - other.stat().st_mtime > _KEPT_FOR_S:
                other.unlink(missing_ok=True)
    return path


class Kept:
    """Outcomes in a file, one a line, each under the key of its run; what is half written is skipped."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.found: dict[str, dict[str, Any]] = {}
        if path.exists():
            for line in path.read_text("utf-8").splitlines():
                try:
                    entry = json.loads(line)
                    self.found[entry["run"]] = entry["outcome"]
                except (ValueError, KeyError, TypeError):
                    continue

    def put(self, run_key: str, found: Outcome) -> None:
        """Append one outcome."""
        self.path.parent.mkdir(parents=True, exist_ok=True)
        text = json.dumps({"run": run_key, "outcome": found.as_values()})
        with self.path.open("a", encoding="utf-8") as stream:
            stream.write(f"\n{text}\n")  # begins a line of its own, whatever was left half written before it
