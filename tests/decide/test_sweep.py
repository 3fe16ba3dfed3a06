"""Sweeps: the same answer whoever runs them, in processes or on a cluster, and an end when workers die."""

import os
import pickle
import signal
import socket
import sys
import threading
import time
from array import array
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

import dask
import pytest
from distributed import Client, LocalCluster

from cyclesim.decide.sweeps import pool
from cyclesim.decide.sweeps import sweep as module
from cyclesim.decide.sweeps.outcome import Outcome
from cyclesim.decide.sweeps.pool import SweepError, each
from cyclesim.decide.sweeps.sweep import (
    How,
    Job,
    Ran,
    as_it_runs,
    job,
    key,
    run,
    sweep,
    traced,
)
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.blocks.schedule import QuietHours
from cyclesim.scenario.reading.load import load
from cyclesim.scenario.text.csv_file import Series
from cyclesim.simulation.variant import with_each
from tests.evidence.small import filtered

ROOT = Path(__file__).parents[2]
DIES = "__import__('os')._exit(1)"
"""What `eval` does not come back from."""


@pytest.fixture
def cluster() -> Iterator[LocalCluster]:
    """A scheduler and two workers, each a process; one that is gone is not waited for as long as usual."""
    with (
        dask.config.set({"distributed.comm.timeouts.connect": "5s"}),
        LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, host="127.0.0.1", dashboard_address=None
        ) as found,
    ):
        yield found


def workers() -> list[int]:
    """The worker processes of this one."""
    found = []
    for path in Path("/proc").glob("[0-9]*"):
        with suppress(OSError):
            parent = int((path / "stat").read_text("utf-8").rpartition(")")[2].split()[1])
            if parent == os.getpid() and b"popen_loky" in (path / "cmdline").read_bytes():
                found.append(int(path.name))
    return found


def killing(pids: Callable[[], list[int]]) -> tuple[list[int], Callable[[int, int], None]]:
    """What to call after each run, which kills a worker after the second, and whom it killed."""
    killed: list[int] = []

    def on_run(done: int, _: int) -> None:
        if done >= 2 and not killed:
            killed.append(pids()[0])
            os.kill(killed[0], signal.SIGKILL)

    return killed, on_run


def kept_trace(scenario: Scenario) -> bytes:
    """Everything that four winter days of it leave behind, as bytes."""
    return bytes_of(traced(job(scenario, 4, date(2027, 1, 30))))


def bytes_of(ran: Ran) -> bytes:
    """Everything that a run leaves behind."""
    trace = ran[2]
    rows = (*trace.ages.values(), *trace.stays.values(), *trace.exchanges.values(), trace.tub, trace.at_jets)
    streams = [(s.starts, s.codes, s.labels, s.end_s) for _, s in trace.streams()]
    return pickle.dumps((streams, [row._values for row in rows], trace.ready, trace.heat_content_j))


def test_what_a_run_is_only_judged_by_changes_nothing_in_it() -> None:
    """Every limit but that of age, what can be keyed in, quiet hours, altitude: no byte moves by them.

    The plant with most in it; what `as_it_runs` leaves alone is told apart.
    """
    told = load("schedules/high-valley.yaml")
    limits = {n: 0.5 * value for n, value in told.limits if isinstance(value, float) and n != "water_age_s"}
    takes = {
        "filter_windows": 1,
        "time_step_s": 3600.0,
        "flushes_a_day": 1,
        "plan_steps": 1,
        "seasons": False,
    }
    takes |= {"flush_lengths_s": (30.0,), "tells_weekdays": False}
    quiet = QuietHours.model_validate({"from": "20:00", "to": "07:00", "applies_to": ["main high"]})
    otherwise = told.model_copy(
        update={
            "title": "another",
            "place": told.place.model_copy(update={"altitude_m": 1500.0}),
            "tuning": told.tuning.model_copy(update={"margin": 0.5}),
            "limits": told.limits.model_copy(update=limits),
            "controller": told.controller.model_copy(update=takes),
            "schedule": told.schedule.model_copy(update={"quiet_hours": quiet}),
        }
    )
    assert len(limits) > 10
    assert repr(as_it_runs(job(told, 4))) == repr(as_it_runs(job(otherwise, 4)))
    assert kept_trace(told) == kept_trace(otherwise)
    for other in (
        told.model_copy(update={"limits": told.limits.model_copy(update={"water_age_s": 3600.0})}),
        told.model_copy(update={"controller": told.controller.model_copy(update={"clock_gains_s": 9.0})}),
    ):
        assert repr(as_it_runs(job(told, 4))) != repr(as_it_runs(job(other, 4)))


def test_a_plant_that_has_run_another_programme_runs_as_a_new_one() -> None:
    """What it has worked out moves no byte of the next run; with other pipes it is a new plant."""
    told = load("schedules/high-valley.yaml")
    less = told.schedule.model_copy(update={"filter_runs": told.schedule.filter_runs[:1]})
    other = told.model_copy(update={"schedule": less})
    longer = with_each(told, "legs", lambda leg: leg.model_copy(update={"length_m": 2.0 * leg.length_m}))
    alone = []
    for scenario in (told, other, longer):
        module._last.clear()
        alone.append(kept_trace(scenario))
    module._last.clear()
    ran = [traced(job(s, 4, date(2027, 1, 30))) for s in (told, other, told, longer)]
    assert [alone[0], alone[1], alone[0], alone[2]] == [bytes_of(one) for one in ran]
    assert ran[0][0].ways is ran[1][0].ways is ran[2][0].ways
    assert ran[3][0].ways is not ran[2][0].ways
    assert ran[1][0].scenario is other


def test_what_runs_alike_is_run_once_and_read_once_for_each(
    counted: list[int], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Three limits of turnovers on one run, beside the same plant for another seed; each as if run alone."""
    plant = filtered()
    limits = [plant.limits.model_copy(update={"turnovers_per_day": n}) for n in (0.5, 2.0, 400.0)]
    jobs = [job(plant.model_copy(update={"limits": each}), 2) for each in limits]
    jobs.insert(1, job(plant, 2, seed=1))
    alone = [run(one) for one in jobs]
    runs: list[Job] = []
    ran = module.traced
    monkeypatch.setattr(module, "traced", lambda task: runs.append(task) or ran(task))
    how = How(keep=tmp_path / "runs.jsonl")
    assert alone == sweep(jobs, how)
    assert [jobs[0], jobs[1]] == runs
    assert 4 == len(counted)
    assert alone == sweep(jobs, how)
    assert 4 == len(counted)
    assert alone[0].findings != alone[3].findings


def test_one_process_or_two(jobs: list[Job], told: list[Outcome]) -> None:
    """The same outcomes in the same order; progress counts up to all."""
    steps: list[tuple[int, int]] = []
    assert [12, 8, 5, 3, 2, 1] == [one.days for one in told]
    assert told == sweep(jobs, How(workers=2, on_run=lambda *step: steps.append(step)))
    assert [(done, 6) for done in range(7)] == steps
    assert [] == sweep([], How(workers=2))


def test_a_cluster_and_one_of_its_workers_killed(
    cluster: LocalCluster, told: list[Outcome], jobs: list[Job]
) -> None:
    """A dask cluster on this machine gives the same, too, with a worker killed in mid-sweep."""
    there = How(cluster=cluster.scheduler_address)
    assert told == sweep(jobs, there)
    killed, on_run = killing(lambda: [cluster.workers[0].pid])
    many = jobs * 6
    assert told * 6 == sweep(many, replace(there, on_run=on_run))
    assert killed


def test_a_cluster_that_cannot_be_used(cluster: LocalCluster) -> None:
    """A run that kills its worker ends; a worker with another program is refused by its address."""
    address = cluster.scheduler_address
    come: list[tuple[int, int]] = []
    with pytest.raises(SweepError, match=r"^1 of 3 runs killed every worker"):
        come.extend(each(eval, ["1 + 1", DIES, "1 + 2"], cluster=address))
    assert [(0, 2), (2, 3)] == sorted(come)
    with Client(address, set_as_default=False) as client:
        client.wait_for_workers(2)
        client.run(exec, "import cyclesim.decide.sweeps.pool as pool; pool.program = lambda: 'another'")
    with pytest.raises(SweepError, match=r"Another cyclesim .* 2 of 2 workers,\ne\.g\. on tcp://127"):
        list(each(eval, ["1 + 1"], cluster=address))


@pytest.mark.parametrize(
    "address", ["tcp://127.0.0.1:9", "", "nowhere", "tcp://:99999", "tcp://a b:1", "x" * 2000]
)
def test_no_cluster_there(address: str, jobs: list[Job], monkeypatch: pytest.MonkeyPatch) -> None:
    """One message, in the two lines that say what is due."""
    monkeypatch.setattr(pool, "REACHED_WITHIN_S", 0.5)
    with pytest.raises(SweepError, match=r"^No cluster answers at .*\n.*tcp://10\.0\.0\.5:8786$"):
        sweep(jobs, How(cluster=address))


@pytest.mark.parametrize(
    "answer", [b"", b"HTTP/1.1 400 Bad Request\r\n\r\n", b"\0" * 64], ids=["", "web", "zeros"]
)
def test_what_answers_is_no_scheduler(
    answer: bytes, jobs: list[Job], monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """No client is made of what listens there, and the library says nothing of its own."""
    monkeypatch.setattr(pool, "REACHED_WITHIN_S", 0.5)
    monkeypatch.setattr("distributed.Client", lambda *_, **__: pytest.fail("a client is made"))
    with socket.create_server(("127.0.0.1", 0)) as server:

        def greet() -> None:
            stream, _ = server.accept()
            with stream:
                stream.sendall(answer)
                time.sleep(0.6 if not answer else 0.0)

        greeter = threading.Thread(target=greet)
        greeter.start()
        with pytest.raises(SweepError, match=r"^No cluster answers at tcp://127\.0\.0\.1:\d+ \("):
            sweep(jobs, How(cluster=f"tcp://127.0.0.1:{server.getsockname()[1]}"))
        greeter.join()
    assert ("", "") == capfd.readouterr()


def test_dask_is_not_installed(jobs: list[Job], monkeypatch: pytest.MonkeyPatch) -> None:
    """The message names what to install."""
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(SweepError, match=r"pip install 'cyclesim\[cluster\]'"):
        sweep(jobs, How(cluster="tcp://127.0.0.1:9"))


def test_a_worker_killed_costs_a_retry(jobs: list[Job], told: list[Outcome]) -> None:
    """What was under way is run again, and nothing else: the answer is the same."""
    killed, on_run = killing(workers)
    assert told * 6 == sweep(jobs * 6, How(workers=2, on_run=on_run))
    assert killed


def test_a_run_that_always_kills_ends() -> None:
    """Whatever else is in the list comes in first, and there is no endless loop."""
    come: list[int] = []
    with pytest.raises(SweepError, match=r"died 3 times in a row with [12] of 16 runs\n.*--workers 1"):
        come.extend(place for place, _ in each(eval, [DIES, *15 * ["1"]], workers=2))
    assert len(set(come)) == len(come) >= 14
    assert 0 not in come


def test_every_part_of_a_run_tells_it_apart() -> None:
    """Also the values of a price file, which a scenario does not print."""

    def priced(first: float) -> Any:
        series = Series("prices.csv", datetime(2027, 1, 1), 3600, {"price": array("d", [first, 0.2])}, "EUR")
        scenario = filtered()
        supply = scenario.supply.model_copy(update={"tariff": series})
        return scenario.model_copy(update={"supply": supply})

    first = job(filtered(), 3, date(2027, 3, 1))
    other = filtered("plant.pumps.pump.power=301 W")
    runs = [first, job(filtered(), 4, date(2027, 3, 1)), job(filtered(), 3, date(2027, 3, 2))]
    runs += [job(filtered(), 3, date(2027, 3, 1), 1), job(other, 3, date(2027, 3, 1))]
    off = replace(first.variant.tolerance, fittings=1.25)
    runs.append(first._replace(variant=first.variant._replace(tolerance=off)))
    runs += [job(priced(0.1), 3), job(priced(0.3), 3)]
    assert len(runs) == len({key(one) for one in runs})
    assert key(runs[-1]) == key(job(priced(0.3), 3))
    again = load(ROOT / "schedules" / "long-table.yaml")
    assert key(job(again, 1)) == key(job(load(ROOT / "schedules" / "long-table.yaml"), 1))
