"""A sweep: a list of independent runs, whoever runs them. The answer is the same, in the order of the list.

What is done is kept as it comes in, so that nothing finished is run again after Ctrl-C.

A sweep is a list of runs and nothing else: tuning, comparing and sizing make the list and read the outcomes.
Order, workers and cluster change no number; a task is one run.

A run is known by what it prints and by the program's text (`key`): whatever a scenario holds must show in its
repr; a CSV file shows by a digest of its values. Outcomes lie in the user's cache, one line each, written at
once.
"""

from __future__ import annotations

import json
import os
import shutil
import time
from collections.abc import Callable, Collection, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from pathlib import Path
from typing import NamedTuple

from platformdirs import user_cache_path

from cyclesim.decide.sweeps.outcome import Outcome, outcome, read
from cyclesim.decide.sweeps.pool import each, program
from cyclesim.decide.sweeps.variant import Variant
from cyclesim.decide.sweeps.varied import VariedPlant
from cyclesim.errors import CycleSimError
from cyclesim.scenario.blocks.model import Scenario
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
MOST_KEPT_BYTES = 128_000_000
"""Some twenty thousand runs; of a file that has grown beyond it the newer half is kept."""


def sweep(jobs: Sequence[Job], how: How = HERE) -> list[Outcome]:
    """The outcome of every job, in order. SweepError where workers keep dying or no cluster answers."""
    keys = [key(one) for one in jobs] if how.keep else []
    kept = Kept(how.keep, set(keys)) if how.keep else None
    done: dict[int, Outcome] = {}
    if kept:
        done = {i: kept.found[k] for i, k in enumerate(keys) if k in kept.found}
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

    Files that nobody has written to for a month are removed, and this one with *afresh*; one that has grown
    too large loses its older half.
    """
    folder = user_cache_path("cyclesim", appauthor=False)
    path = folder / f"runs-{program()[:16]}.jsonl"
    if folder.is_dir():
        for other in folder.glob("runs-*.jsonl"):
            with suppress(FileNotFoundError):  # another sweep was sooner
                if (afresh and other == path) or time.time() - other.stat().st_mtime > _KEPT_FOR_S:
                    other.unlink()
        if path.exists() and path.stat().st_size > MOST_KEPT_BYTES:
            _keep_newer_half(path)
    return path


def _keep_newer_half(path: Path) -> None:
    newer = path.with_suffix(f".{os.getpid()}")
    with path.open("rb") as old, newer.open("wb") as stream:
        old.seek(-MOST_KEPT_BYTES // 2, os.SEEK_END)
        old.readline()
        shutil.copyfileobj(old, stream)
    newer.replace(path)


class Kept:
    """Outcomes in a file, one a line, each under the key of its run; of those, *found* are the wanted ones.

    What is half written is skipped. Raises CycleSimError where nothing can be kept.
    """

    def __init__(self, path: Path, wanted: Collection[str]) -> None:
        self.path = path
        self.found: dict[str, Outcome] = {}
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            with path.open("a+b") as stream:
                stream.seek(0)
                for line in stream:
                    with suppress(ValueError, KeyError, TypeError):
                        entry = json.loads(line)
                        if entry["run"] in wanted:
                            self.found[entry["run"]] = read(entry["outcome"])
        except OSError as error:
            raise self._cannot(error) from error

    def put(self, run_key: str, found: Outcome) -> None:
        """Append one outcome, at once, so that sweeps which share the file do not tear each other's lines."""
        text = json.dumps({"run": run_key, "outcome": found.as_values()})
        try:
            stream = os.open(self.path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o666)
            try:
                # begins a line of its own, whatever was left half written before it
                os.write(stream, f"\n{text}\n".encode())
            finally:
                os.close(stream)
        except OSError as error:
            raise self._cannot(error) from error

    def _cannot(self, error: OSError) -> CycleSimError:
        return CycleSimError(f"Runs cannot be kept in {self.path}: {error.strerror}.")
