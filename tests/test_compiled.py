"""The compiled copy of the package: the same bytes as the text itself."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
YEAR = ROOT / "schedules" / "high-valley.yaml"
PLANT = ROOT / "schedules" / "walled-garden-circulator.yaml"


def told(path: Path, *words: str) -> str:
    """What a Python of the package at *path* prints; it looks in the folder that it is started in first."""
    env = {**os.environ, "PYTHONPATH": str(path)}
    return subprocess.run(
        [sys.executable, *words], cwd=path, env=env, capture_output=True, text=True, check=True
    ).stdout


@pytest.mark.slow
@pytest.mark.timeout(1800)
@pytest.mark.skipif(not (shutil.which("cc") or shutil.which("gcc")), reason="there is no C compiler")
def test_a_compiled_copy_gives_the_same_bytes(tmp_path: Path) -> None:
    """Fifty days of a winter with bathing, a heat pump and a power cut, by C and by Python; heat is in C.

    And a tuning by two processes, which send each other what is compiled.
    """
    folder = tmp_path / "quick"
    subprocess.run([sys.executable, ROOT / "scripts" / "compile.py", folder], check=True)
    where = "import cyclesim.physics.heat as heat; print(heat.__file__)"
    assert told(folder, "-c", where).strip().endswith((".so", ".pyd"))
    run = ("-m", "cyclesim", "run", str(YEAR), "--days", "50", "--json", "-")
    assert told(ROOT, *run) == told(folder, *run)
    tune = ("-m", "cyclesim", "tune", str(PLANT), "--workers", "2", "--afresh")
    assert told(ROOT, *tune) == told(folder, *tune)


def test_a_folder_with_something_in_it_is_left_alone(tmp_path: Path) -> None:
    """Nothing is written into a folder that holds something already."""
    (tmp_path / "mine.txt").write_text("mine")
    words = [sys.executable, ROOT / "scripts" / "compile.py", tmp_path]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert "is not empty" in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]
