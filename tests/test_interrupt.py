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
ENV = {**os.environ, "COLUMNS": "80", "PYTHONIOENCODING": "utf-8"}


def _wait_until_it_works(process: subprocess.Popen[str], *, group: bool = False) -> None:
    """Until it, or with *group* two more of its group, has used 2.5 s of processor time, however busy all is.

    Workers that are only starting would print what Ctrl-C does to an interpreter that starts.
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


@pytest.mark.parametrize(
    ("command", "group"),
    [
        (("run", "walled-garden", "--days", "3660", "--trace", "t.csv"), False),
        (("run", "walled-garden", "--days", "3000", "--confidence", "--workers", "1"), False),
        (("run", "walled-garden", "--days", "3000", "--confidence", "--workers", "2"), True),
        (("verify", "high-valley", "--faults", "2"), False),
    ],
    ids=["run", "confidence in one process", "confidence in two", "verify"],
)
def test_interrupt_is_130_and_leaves_no_file(tmp_path: Path, command: tuple[str, ...], group: bool) -> None:
    """As a terminal does it, every process of the call hears it."""
    name, file, *more = command
    schedule = ROOT / "schedules" / f"{file}.yaml"
    process = subprocess.Popen(
        [sys.executable, "-m", "cyclesim", name, schedule, *more, "--json", "o.json"],
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=ENV,
        cwd=tmp_path,
        start_new_session=True,
    )
    _wait_until_it_works(process, group=group)
    assert process.poll() is None, process.communicate()
    os.killpg(process.pid, signal.SIGINT)
    out, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert out == ""
    assert err.strip() == "Interrupted; no file was left half written."
    assert list(tmp_path.iterdir()) == []
