"""What the workbench carries and was not written here is what its table names; the rest is checked."""

import hashlib
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
VENDOR = ROOT / "cyclesim" / "workbench" / "assets" / "vendor"


def test_the_vendored_modules_are_those_of_the_table() -> None:
    """Nobody has changed one by hand: its checksum is the table's; each part's licence is beside it."""
    table = (VENDOR / "VENDORED.md").read_text(encoding="utf-8")
    modules = dict(re.findall(r"^\| (\S+\.js) \| +\| module \| (\w{64}) \|$", table, re.MULTILINE))
    assert {file.name for file in VENDOR.glob("*.js")} == modules.keys()
    for name, checksum in modules.items():
        assert checksum == hashlib.sha256((VENDOR / name).read_bytes()).hexdigest()
    licences = (VENDOR / "LICENSE").read_text(encoding="utf-8")
    carried = re.findall(r"^\| (\S+) \| [\d.]+ \| archive", table, re.MULTILINE)
    assert {"preact", "htm", "@codemirror/view"} <= set(carried)
    headed = set(re.findall(r"[@\w/-]+", " ".join(re.findall(r"^(\S.*)\n\n", licences, re.MULTILINE))))
    assert set(carried[:-1]) <= headed


def typed(*files: Path, path: str = os.environ["PATH"]) -> subprocess.CompletedProcess[str]:
    """What the check of our own scripts says of some files, where programs are found on that path."""
    words = [sys.executable, str(ROOT / "scripts" / "typed.py"), *map(str, files)]
    return subprocess.run(
        words, env={**os.environ, "PATH": path}, text=True, capture_output=True, check=False
    )


def test_scripts_are_left_out_with_a_word_where_npm_is_not(tmp_path: Path) -> None:
    """That is no fault: nobody needs npm to change a line of Python."""
    said = typed(tmp_path / "a.js", path="/nowhere")
    assert (0, 2) == (said.returncode, said.stdout.count("left out"))


@pytest.mark.slow
def test_slips_are_found_in_a_script(tmp_path: Path) -> None:
    """A key twice in one object is found by the linter, a number that is a text by the types."""
    file = tmp_path / "a.js"
    file.write_text('export const twice = { a: 1, a: 2 };\n/** @type {number} */\nexport const n = "x";\n')
    said = typed(file)
    if "left out" in said.stdout:
        pytest.skip("npm, the checker or the linter cannot be had")
    assert said.returncode != 0
    assert "a.js:1:30: Duplicate key 'a'" in said.stdout
    assert "Type 'string' is not assignable to type 'number'" in said.stdout
