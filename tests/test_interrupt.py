"""Ctrl-C: every long command ends with 130, in one line, and leaves no file nor a part of one."""

import os
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
INTERRUPTED = "Interrupted; no file was left half written."
KEPT = ["Runs that were done are kept: the same command goes on from there."]
"""Before it, where runs are shared or kept."""
ENV = {**os.environ, "COLUMNS": "80", "PYTHONIOENCODING": "utf-8"}


def _wait_until_it_works(process: subprocess.Popen[str], *, group: bool = False) -> None:
    """Until it, or with *group* two more of its group, has used 2.5 s of processor time, however busy all is.

    Everything is under way then; `test_interrupt_while_workers_start` comes sooner.
    """
    while process.poll() is None:
        worked = [one for one in _of_group(process.pid) if _cpu_s(one) >= 2.5]
        if (len([one for one in worked if one != process.pid]) >= 2) if group else process.pid in worked:
            return
        time.sleep(0.05)


def _of_group(pid: int) -> list[int]:
    """The process and what runs in its group."""
    found = [pid]
    for path in Path("/proc").glob("[0-9]*"):
        with suppress(OSError):
            fields = (path / "stat").read_text("utf-8").rpartition(")")[2].split()
            if int(fields[2]) == pid and int(path.name) != pid:
                found.append(int(path.name))
    return found


def _cpu_s(pid: int) -> float:
    """Processor time that a process has used [s]; 0 where it is gone."""
    with suppress(OSError):
        fields = Path(f"/proc/{pid}/stat").read_text("utf-8").rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    return 0.0


def _started(folder: Path, *words: str) -> subprocess.Popen[str]:
    """A command with a group of its own, as at a terminal, that is to write o.json."""
    return subprocess.Popen(
        [sys.executable, "-m", "cyclesim", *words, "--json", "o.json"],
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**ENV, "XDG_CACHE_HOME": f"{folder}-cache"},
        cwd=folder,
        start_new_session=True,
    )


@pytest.mark.parametrize(
    ("command", "group"),
    [
        (("run", "walled-garden", "--days", "3660", "--trace", "t.csv"), False),
        (("run", "walled-garden", "--days", "3000", "--confidence", "--workers", "1"), False),
        (("run", "walled-garden", "--days", "3000", "--confidence", "--workers", "2"), True),
        (("verify", "high-valley", "--faults", "2", "--workers", "1"), False),
    ],
    ids=["run", "confidence in one process", "confidence in two", "verify"],
)
def test_interrupt_is_130_and_leaves_no_file(tmp_path: Path, command: tuple[str, ...], group: bool) -> None:
    """As a terminal does it, every process of the call hears it."""
    name, file, *more = command
    schedule = ROOT / "schedules" / f"{file}.yaml"
    process = _started(tmp_path, name, str(schedule), *more)
    _wait_until_it_works(process, group=group)
    assert process.poll() is None, process.communicate()
    os.killpg(process.pid, signal.SIGINT)
    out, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert out == ""
    *before, last = filter(None, err.splitlines())
    assert last == INTERRUPTED
    assert before == KEPT if group else before in ([], KEPT)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("after_s", [0.05, 0.4])
def test_interrupt_while_workers_start(tmp_path: Path, after_s: float) -> None:
    """Some time after the first worker is there, which says nothing of its own: no traceback.

    For some hundredths of a second, as processes are started, Ctrl-C is not heard: it is pressed again.
    """
    schedule = ROOT / "schedules" / "walled-garden.yaml"
    process = _started(tmp_path, "run", str(schedule), "--days", "40", "--confidence", "--workers", "2")
    while process.poll() is None and not any(map(_is_worker, _of_group(process.pid))):
        time.sleep(0.005)
    time.sleep(after_s)
    out = err = ""
    for _ in range(2):
        os.killpg(process.pid, signal.SIGINT)
        with suppress(subprocess.TimeoutExpired):
            out, err = process.communicate(timeout=2)
            break
    else:
        out, err = process.communicate(timeout=30)
    assert process.returncode == 130
    assert out == ""
    assert list(filter(None, err.splitlines())) == [*KEPT, INTERRUPTED]
    assert list(tmp_path.iterdir()) == []


def _is_worker(pid: int) -> bool:
    with suppress(OSError):
        return b"popen_loky" in Path(f"/proc/{pid}/cmdline").read_bytes()
    return False


@pytest.mark.parametrize("group", [False, True], ids=["the command", "its group"])
def test_told_to_end_is_143_and_leaves_no_file(tmp_path: Path, group: bool) -> None:
    """SIGTERM ends like Ctrl-C, whoever of the call hears it: 128 + 15, one line, no worker is left."""
    process = _sharing(tmp_path)
    workers = list(filter(_is_worker, _of_group(process.pid)))
    os.killpg(process.pid, signal.SIGTERM) if group else os.kill(process.pid, signal.SIGTERM)
    out, err = process.communicate(timeout=60)
    assert (143, "") == (process.returncode, out)
    assert [*KEPT, INTERRUPTED] == [line for line in err.splitlines() if line]
    assert [] == list(tmp_path.iterdir())
    _wait_until_gone(workers)


def test_workers_do_not_outlive_who_started_them(tmp_path: Path) -> None:
    """SIGKILL tells nobody anything; what was started looks for itself."""
    process = _sharing(tmp_path)
    workers = list(filter(_is_worker, _of_group(process.pid)))
    assert 2 == len(workers)
    process.kill()
    process.communicate(timeout=60)  # the pipes close only when nobody holds them any more
    _wait_until_gone(workers)


def _sharing(folder: Path) -> subprocess.Popen[str]:
    """A long command whose two workers are at work."""
    schedule = ROOT / "schedules" / "walled-garden.yaml"
    process = _started(folder, "run", str(schedule), "--days", "3000", "--confidence", "--workers", "2")
    _wait_until_it_works(process, group=True)
    return process


def _wait_until_gone(pids: list[int], within_s: float = 20.0) -> None:
    end = time.monotonic() + within_s  # on a machine that others use; alone it takes a second or two
    while left := [pid for pid in pids if _is_worker(pid)]:
        assert time.monotonic() < end, left
        time.sleep(0.05)
