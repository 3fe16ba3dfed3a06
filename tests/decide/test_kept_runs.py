"""Runs that are kept: nothing finished is run twice, whatever happens to file, disk or command."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from cyclesim.decide.sweeps import kept
from cyclesim.decide.sweeps import sweep as module
from cyclesim.decide.sweeps.kept import KeptRuns, kept_file
from cyclesim.decide.sweeps.outcome import Outcome
from cyclesim.decide.sweeps.sweep import (
    HERE,
    How,
    Job,
    job,
    sweep,
)
from cyclesim.scenario.reading.load import load

ROOT = Path(__file__).parents[2]


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
