"""Standard streams that are closed, full, or read by nobody: the status is the command's own, never 3."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from cyclesim.cli import cli
from cyclesim.scenario.reading.starter import starter_text

ROOT = Path(__file__).parents[1]
ENV = {**os.environ, "COLUMNS": "80", "PYTHONIOENCODING": "utf-8", "PYTHONPATH": str(ROOT)}
WORDS = {
    "a report": (("check", "tub.yaml"), 0),
    "help": (("--help",), 0),
    "the version": (("--version",), 0),
    "JSON": (("schema",), 0),
    "a refusal": (("check", "tube.yaml"), 2),
    "a wrong call": (("check",), 2),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the starter in it."""
    made = tmp_path_factory.mktemp("streams")
    (made / "tub.yaml").write_text(starter_text(), encoding="utf-8")
    return made


def shell(folder: Path, words: tuple[str, ...], redirected: str) -> "subprocess.CompletedProcess[str]":
    """A command as a shell starts it."""
    command = f'"{sys.executable}" -m cyclesim {" ".join(words)} {redirected}'
    return subprocess.run(command, shell=True, cwd=folder, env=ENV, capture_output=True, text=True)


@pytest.mark.parametrize("words", WORDS.values(), ids=WORDS)
@pytest.mark.parametrize("redirected", [">&-", "2>&-", "<&- >&- 2>&-"])
def test_a_closed_stream_changes_no_status(
    folder: Path, words: tuple[tuple[str, ...], int], redirected: str
) -> None:
    """What would be said there is lost; the other stream has what it always has."""
    told = shell(folder, words[0], redirected)
    assert words[1] == told.returncode, told.stderr
    assert "Traceback" not in told.stderr
    if redirected == ">&-":
        assert bool(words[1]) == bool(told.stderr)


@pytest.mark.parametrize("words", WORDS.values(), ids=WORDS)
def test_a_pipe_that_nobody_reads_changes_no_status(folder: Path, words: tuple[tuple[str, ...], int]) -> None:
    """Its reading end is closed before the command has begun to print."""
    command = [sys.executable, "-m", "cyclesim", *words[0]]
    reads, writes = os.pipe()
    os.close(reads)
    told = subprocess.run(command, cwd=folder, env=ENV, stdout=writes, stderr=subprocess.PIPE, text=True)
    os.close(writes)
    assert words[1] == told.returncode, told.stderr
    assert bool(words[1]) == bool(told.stderr)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no full device")
@pytest.mark.parametrize("words", WORDS.values(), ids=WORDS)
@pytest.mark.parametrize("redirected", [">/dev/full", "2>/dev/full", ">/dev/full 2>&1"])
def test_a_full_device_is_no_fault_of_ours(
    folder: Path, words: tuple[tuple[str, ...], int], redirected: str
) -> None:
    """Nothing can be printed there: 2 where that was asked for, in one line."""
    told = shell(folder, words[0], redirected)
    lost = words[1] == 0 and redirected != "2>/dev/full"
    assert (2 if lost else words[1]) == told.returncode, told.stderr
    assert "Traceback" not in told.stderr
    if lost and redirected == ">/dev/full":
        assert "No space left on device" in told.stderr
        assert 1 == told.stderr.count("\n")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no full device")
@pytest.mark.parametrize("option", ["--json", "--trace"])
def test_an_output_that_is_full_is_2(folder: Path, option: str) -> None:
    """A device is written to as it is; that it is full is said in one line."""
    told = CliRunner().invoke(cli, ["run", str(folder / "tub.yaml"), "--days", "1", option, "/dev/full"])
    assert 2 == told.exit_code
    assert told.stderr.startswith("/dev/full: found a place that cannot be written (No space left on device)")


SIGNS = "a\x1b[31mred\u202e\n\r\u2028" + "x" * 2000
"""What turns colours and direction, breaks lines, and is longer than any message."""


@pytest.mark.parametrize(
    "words",
    [
        ("check", "tub.yaml", "--set", f"plant.tub.{SIGNS}=1"),
        ("check", "tub.yaml", "--set", f"title={SIGNS}"),
        ("check", "tub.yaml", "--set", f"plant.legs.left_bench.length={SIGNS}"),
        ("check", "tub.yaml", "--set", SIGNS),
        ("check", SIGNS),
        ("check", "tub.yaml", f"--{SIGNS}"),
        (SIGNS,),
        ("verify", "tub.yaml", "--rule", SIGNS),
        ("states", "tub.yaml", "--as", SIGNS),
        ("run", "tub.yaml", "--from", SIGNS),
        ("run", "tub.yaml", "--days", SIGNS),
        ("run", "tub.yaml", "--what-if", SIGNS),
        ("run", "tub.yaml", "--what-if", f"outage={SIGNS}/8 h"),
        ("run", "tub.yaml", "--what-if", f"cold={SIGNS}/{SIGNS}/{SIGNS}"),
        ("run", "tub.yaml", "--what-if", f"outage=2027-01-12 03:00/{SIGNS}"),
        ("run", "tub.yaml", "--figure", f"{SIGNS[-50:]}.gif"),
        ("size", "pump", "tub.yaml", "--pump", SIGNS),
        ("size", "blower", "tub.yaml", "--blower", SIGNS),
        ("size", "blower", "tub.yaml", "--flow", SIGNS),
        ("size", "heater", "tub.yaml", "--source", SIGNS),
        ("size", "heater", "tub.yaml", "--sizes", SIGNS),
        ("size", "heater", "tub.yaml", "--within", SIGNS),
        ("tune", "tub.yaml", "--cluster", SIGNS),
    ],
    ids=lambda words: " ".join(words[:-1])[:40],
)
def test_no_sign_of_an_option_reaches_the_terminal(
    folder: Path, words: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Refused, each message on lines of its own making, none longer than a screen or two."""
    monkeypatch.chdir(folder)
    told = CliRunner().invoke(cli, words)
    assert 2 == told.exit_code, told.output
    assert all(line.isprintable() for line in told.output.split("\n")), repr(told.output)
    assert len(told.output) < 1500
    assert not any(line.startswith(("x", "?")) for line in told.output.split("\n"))


def test_no_sign_of_a_file_reaches_the_terminal(tmp_path: Path) -> None:
    """In keys, names and texts, of which some would only stand in a report."""
    hidden = r'"\e[31mred\u202e\u2028"'
    for old, new in (
        ("title: Mill pond tub, one two-speed pump", f"title: {hidden}"),
        ("because: the breaker carries one or the other", f"because: {hidden}"),
        ("  zones:", f"  zones:\n    {hidden}: {{depth: 1 m}}"),
        ("pump: main low, keep_at", f"pump: {hidden}, keep_at"),
        ("interlocks:", f"interlocks:\n  - {hidden}"),
    ):
        text = starter_text()
        assert old in text
        (tmp_path / "tub.yaml").write_text(text.replace(old, new, 1), encoding="utf-8")
        told = CliRunner().invoke(cli, ["check", str(tmp_path / "tub.yaml")])
        assert 2 == told.exit_code, told.output
        assert "signs that cannot be seen are not accepted" in told.output
        assert all(line.isprintable() for line in told.output.split("\n")), repr(told.output)


def test_no_sign_of_a_name_reaches_the_terminal(tmp_path: Path) -> None:
    """A file may be called anything; the reports that name it say it plainly."""
    file = tmp_path / "tub\x1b[31m\u202e.yaml"
    file.write_text(starter_text(), encoding="utf-8")
    told = CliRunner().invoke(cli, ["check", str(file)])
    assert 0 == told.exit_code
    assert "tub?[31m?.yaml" in told.output.replace("\n", "")
    assert all(line.isprintable() for line in told.output.split("\n"))


def test_a_weather_file_of_a_name_that_none_can_have(tmp_path: Path) -> None:
    """Refused where it is written, not by the system."""
    weather = starter_text().index("  weather:")
    rest = starter_text().index("  zones:")
    for name in ("x" * 3000 + ".csv", '"a\\0.csv"'):
        text = f"{starter_text()[:weather]}  weather: {{file: {name}}}\n{starter_text()[rest:]}"
        (tmp_path / "tub.yaml").write_text(text, encoding="utf-8")
        told = CliRunner().invoke(cli, ["check", str(tmp_path / "tub.yaml")])
        assert 2 == told.exit_code
        assert f"tub.yaml:{text[:weather].count(chr(10)) + 1}:19: place.weather.file: found" in told.stderr
