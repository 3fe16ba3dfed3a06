"""Sweeps: the same answer whoever runs them, nothing finished run twice, and an end when workers die."""

import json
import os
import pickle
import signal
import socket
import subprocess
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

from cyclesim.decide.sweeps import kept, pool
from cyclesim.decide.sweeps import sweep as module
from cyclesim.decide.sweeps.kept import KeptRuns, kept_file
from cyclesim.decide.sweeps.outcome import Outcome, outcome
from cyclesim.decide.sweeps.pool import SweepError, each
from cyclesim.decide.sweeps.sweep import (
    HERE,
    OUTCOMES,
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


@pytest.fixture(scope="module")
def jobs() -> list[Job]:
    """Six short runs of different lengths, so that the later of them are over sooner."""
    return [job(filtered(), days, date(2027, 3, 1)) for days in (12, 8, 5, 3, 2, 1)]


@pytest.fixture(scope="module")
def told(jobs: list[Job]) -> list[Outcome]:
    """What they come to, run one after another."""
    return sweep(jobs)


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


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The days of each run that is made in this process."""
    made: list[int] = []
    counting = replace(OUTCOMES, of=lambda *ran: made.append(ran[-1]) or outcome(*ran))
    monkeypatch.setattr(module, "OUTCOMES", counting)
    return made


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


def test_only_what_is_left_is_run(
    jobs: list[Job], told: list[Outcome], counted: list[int], tmp_path: Path
) -> None:
    """Results are kept as they come: after an end at the third, three are run; then none."""

    def stop(done: int, _: int) -> None:
        if done == 3:
            raise KeyboardInterrupt

    keep = tmp_path / "deep" / "runs.jsonl"
    with pytest.raises(KeyboardInterrupt):
        sweep(jobs, How(keep=keep, on_run=stop))
    assert [12, 8, 5] == counted
    assert told == sweep(jobs, How(keep=keep))
    assert [12, 8, 5, 3, 2, 1] == counted
    assert told[::-1] == sweep(jobs[::-1], How(keep=keep))
    assert 6 == len(counted)


@pytest.mark.parametrize(
    "torn",
    [
        lambda text: text[:-40],
        lambda text: text + b"\n\xff\xfe{",
        lambda text: b"[3]\nnull\n" + text[40:],
        lambda text: text.replace(b"1", b"2", 1),
        lambda text: text[:200] + bytes([text[200] ^ 1]) + text[201:],
        lambda text: text[:300] + text[301:],
        lambda text: text[:300] + b"\n" + text[300:],
        lambda text: b"\0" * 3_000_000 + b"\n" + text + b"[" * 100_000,
    ],
)
def test_a_damaged_line_is_skipped(
    torn: Callable[[bytes], bytes], jobs: list[Job], told: list[Outcome], counted: list[int], tmp_path: Path
) -> None:
    """What was cut off is run again, at most one; the file can be used on."""
    keep = tmp_path / "runs.jsonl"
    sweep(jobs[3:], How(keep=keep))
    keep.write_bytes(torn(keep.read_bytes()))
    del counted[:]
    assert told[3:] == sweep(jobs[3:], How(keep=keep))
    assert len(counted) <= 1
    del counted[:]
    assert told[3:] == sweep(jobs[3:], How(keep=keep))
    assert [] == counted


def test_another_version_does_not_use_them(
    jobs: list[Job], counted: list[int], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A run of another program is another run, in a file of another name."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    keep, mine = tmp_path / "runs.jsonl", kept_file()
    sweep(jobs[4:], How(keep=keep))
    monkeypatch.setattr(module, "program", lambda: "another" * 3)
    monkeypatch.setattr(kept, "program", lambda: "another" * 3)
    sweep(jobs[4:], How(keep=keep))
    assert [2, 1, 2, 1] == counted
    assert mine != kept_file()


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


WRITES = """
import json, sys
from pathlib import Path
from cyclesim.decide.sweeps.kept import KeptRuns
found = json.loads(sys.stdin.read())
kept = KeptRuns(Path(sys.argv[1]), ())
for k in range(400):
    kept.put(f"{sys.argv[2]} {k}", found)
"""


def test_two_sweeps_may_share_a_file(told: list[Outcome], tmp_path: Path) -> None:
    """Of what two processes write at once no line is torn. Each line is longer than a page of memory."""
    keep, values = tmp_path / "runs.jsonl", told[0].as_values()
    values["cost_by_month"] = {f"2027-{k:04}": k / 7 for k in range(400)}
    text = json.dumps(values)
    assert len(text) > 8192
    both = [
        subprocess.Popen([sys.executable, "-c", WRITES, keep, name], stdin=subprocess.PIPE, cwd=ROOT)
        for name in "ab"
    ]
    for process in both:
        assert process.stdin is not None
        process.stdin.write(text.encode())
        process.stdin.close()
    assert [0, 0] == [process.wait(60) for process in both]
    names = {f"{name} {k}" for name in "ab" for k in range(400)}
    assert names == set(KeptRuns(keep, names).readings)
    assert 2 * 2 * 400 == len(keep.read_bytes().splitlines())


def test_kept_files_do_not_pile_up(
    jobs: list[Job], counted: list[int], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nobody's for a month, or more than one may hold: removed. Afresh: all of it."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    sweep(jobs[2:], How(keep=kept_file()))
    names = {"old": 31, "recent": 29, "new": 1}
    old, recent, new = (kept_file().with_name(f"runs-{name}.jsonl") for name in names)
    for path, days in zip((old, recent, new), names.values(), strict=True):
        path.write_text("12345")
        os.utime(path, (time.time() - days * 86_400,) * 2)
    kept_file()
    assert (False, True, True) == (old.exists(), recent.exists(), new.exists())
    monkeypatch.setattr(kept, "MOST_KEPT_BYTES", 9)
    kept_file()
    assert (False, True) == (recent.exists(), new.exists())
    assert kept_file().exists()
    del counted[:]
    sweep(jobs[2:], How(keep=kept_file(afresh=True)))
    assert [5, 3, 2, 1] == counted


def test_a_kept_file_loses_its_older_half(
    jobs: list[Job], counted: list[int], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While it is written to, however long the sweep: what stays is whole, and nothing else stays."""
    keep = tmp_path / "runs.jsonl"
    sweep(jobs[5:], How(keep=keep))
    line = keep.stat().st_size
    monkeypatch.setattr(kept, "MOST_KEPT_BYTES", 3 * line)
    sweep(jobs, How(keep=keep))
    assert keep.stat().st_size <= 4.5 * line
    assert [keep] == list(tmp_path.iterdir())
    del counted[:]
    sweep(jobs, How(keep=keep))
    assert 0 < len(counted) < 6


def _a_file(at: Path) -> None:
    at.parent.write_text("")


def _a_folder(at: Path) -> None:
    at.mkdir(parents=True)


def _a_pipe(at: Path) -> None:
    at.parent.mkdir()
    os.mkfifo(at)


def _full(at: Path) -> None:
    at.parent.mkdir()
    at.symlink_to("/dev/full")


@pytest.mark.parametrize("there", [_a_file, _a_folder, _a_pipe, _full])
def test_nothing_can_be_kept(
    there: Callable[[Path], None], jobs: list[Job], told: list[Outcome], tmp_path: Path
) -> None:
    """Said in one line before anything is run; then everything is run."""
    there(tmp_path / "deep" / "runs.jsonl")
    notes: list[str] = []
    how = How(keep=tmp_path / "deep" / "runs.jsonl", on_note=notes.append)
    assert told[4:] == sweep(jobs[4:], how)
    assert 1 == len(notes)
    assert notes[0].startswith(f"Runs cannot be kept in {tmp_path / 'deep' / 'runs.jsonl'}: ")


def test_the_disk_fills_up(
    jobs: list[Job], told: list[Outcome], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In mid-sweep: half a line is written, that is said, and no more is tried."""
    real, sizes, notes = os.write, list[int](), list[str]()

    def write(stream: int, data: bytes) -> int:
        sizes.append(len(data))
        return real(stream, data[: len(data) // 2] if len(sizes) > 1 else data)

    monkeypatch.setattr(os, "write", write)
    keep = tmp_path / "runs.jsonl"
    assert told[2:] == sweep(jobs[2:], How(keep=keep, on_note=notes.append))
    assert (2, 1) == (len(sizes), len(notes))
    assert notes[0].endswith("the disk is full. All goes on without.")
    monkeypatch.undo()
    assert told[2:] == sweep(jobs[2:], How(keep=keep, on_note=notes.append))
    assert 1 == len(notes)


MANY = """
import json, sys
import click
from cyclesim.cli.shared import cli, show, sweep_options, sweeping
from cyclesim.decide.sweeps.sweep import job, sweep
from cyclesim.scenario.reading.load import load

@cli.command()
@sweep_options
def many(workers, cluster, afresh):
    scenario = load("schedules/walled-garden.yaml")
    with sweeping(workers, cluster, afresh) as how:
        found = sweep([job(scenario, 20 + k) for k in range(12)], how)
    show(json.dumps([one.as_values() for one in found]))

if __name__ == "__main__":
    cli.main(["many", *sys.argv[1:]])
"""


@pytest.mark.parametrize("count", ["1", "2"])
def test_interrupted_nothing_finished_is_lost(count: str, tmp_path: Path) -> None:
    """As a terminal does it: what is done is in the file, and the same command does the rest."""
    command = [sys.executable, "-c", MANY, "--workers", count]
    env = {**os.environ, "XDG_CACHE_HOME": str(tmp_path)}
    pipes: dict[str, Any] = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    process = subprocess.Popen(command, cwd=ROOT, env=env, start_new_session=True, **pipes)

    def lines() -> list[str]:
        files = [*(tmp_path / "cyclesim").glob("runs-*.jsonl")]
        return [line for path in files for line in path.read_text("utf-8").splitlines() if line]

    while len(lines()) < 3 and process.poll() is None:
        time.sleep(0.01)
    os.killpg(process.pid, signal.SIGINT)
    out, err = process.communicate(timeout=60)
    kept = lines()
    assert (130, "") == (process.returncode, out)
    assert 3 <= len(kept) < 12
    said = ["Runs that were done are kept: the same command goes on from there."]
    assert [*said, "Interrupted; no file was left half written."] == [
        line for line in err.splitlines() if line
    ]
    again = subprocess.run(command, cwd=ROOT, env=env, check=True, **pipes)
    scenario = load(ROOT / "schedules" / "walled-garden.yaml")
    assert "" == again.stderr
    assert kept == lines()[: len(kept)]
    assert 12 == len(lines())
    for k in (0, 11):
        assert json.loads(again.stdout)[k] == json.loads(
            json.dumps(sweep([job(scenario, 20 + k)], HERE)[0].as_values())
        )
