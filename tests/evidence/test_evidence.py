"""Every check of the catalogue holds; and a check that is wrong fails."""

import json
import math
import subprocess
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

from tests.evidence.catalogue import checks, light
from tests.evidence.record import GROUPS, Check, judge, near

SCRIPT = Path(__file__).parents[2] / "scripts" / "evidence.py"
README = (SCRIPT.parents[1] / "README.md").read_text(encoding="utf-8")
ALL = list(light())
STATUSES = (
    "read",
    "seen second-hand",
    "computed with",
    "from memory",
    "arithmetic",
    "common practice",
    "yardstick",
)


@pytest.mark.parametrize(
    "check",
    [pytest.param(c, id=f"{c.group}/{c.id}", marks=[pytest.mark.slow] if c.slow else []) for c in ALL],
)
def test_what_cyclesim_says_agrees_with_the_source(check: Check) -> None:
    """The difference is within the tolerance, and a conclusion that is drawn can be told."""
    judged = judge(check)
    assert judged.holds, f"{check.quantity} ({check.inputs}): {judged.says} [{check.source}] {judged.ours}"
    told = next(line for line in README.splitlines() if line.startswith(f"| {check.group} |"))
    assert judged.yardstick or 100.0 * judged.used <= float(told.split("|")[-2].strip(" %")), (
        "the README's table"
    )
    assert bool(check.conclusion) == bool(judged.conclusion)


def test_each_check_is_told_apart_and_says_where_it_is_from() -> None:
    """No id twice, a known group, a source, one of the statuses; no tolerance that lets everything pass."""
    assert [] == [name for name, n in Counter(c.id for c in ALL).items() if n > 1]
    assert set(GROUPS) - {"wholes", "engine"} == {c.group for c in ALL}
    for check in ALL:
        assert check.source
        assert check.status.startswith(STATUSES), check.status
        assert check.how != "within" or not check.relative or 0.0 <= check.tolerance <= 0.35, check.id


THREE = near("three", "parts", "three", "", "m", "3.00", 3.03, 0.011, "counting", "arithmetic")


@pytest.mark.parametrize(
    ("check", "holds"),
    [
        (THREE, True),
        (replace(THREE, ours=3.04), False),
        (replace(THREE, ours=math.nan), False),
        (replace(THREE, relative=False), False),
        (replace(THREE, relative=False, tolerance=0.031), True),
        (replace(THREE, how="at least", tolerance=0.0), True),
        (replace(THREE, how="at most", tolerance=0.0), False),
        (replace(THREE, how="at most", tolerance=0.02), True),
        (replace(THREE, how="at most", tolerance=0.0, ours=math.nan), False),
        (replace(THREE, ours=30.0, status="yardstick, read"), True),
        (replace(THREE, says="0", ours=0.0), True),
        (replace(THREE, says="0", ours=1e-9), False),
    ],
)
def test_a_check_fails_where_it_should(check: Check, holds: bool) -> None:
    """By share and by amount, bounds, no number at all, a source that says nought."""
    assert holds == judge(check).holds == check.holds


def test_a_wrong_constant_is_seen() -> None:
    """With water a hundredth too heavy the checks of density fail, all five."""
    heavy = [
        replace(c, ours=lambda c=c: 1.01 * c.ours())
        for c in checks("parts")
        if c.id.startswith("water-density")
    ]
    assert [False] * 5 == [judge(c).holds for c in heavy]


def test_the_script_prints_writes_and_ends_as_it_says(tmp_path: Path) -> None:
    """A group as tables of 80 columns, as JSON and as Markdown; a group that is none ends with 2."""
    out, table = tmp_path / "out.json", tmp_path / "out.md"
    done = subprocess.run(
        [sys.executable, SCRIPT, "--only", "parts", "--json", out, "--markdown", table],
        capture_output=True, text=True, check=False, env={"COLUMNS": "80", "PYTHONIOENCODING": "utf-8"},
    )  # fmt: skip
    assert (0, "") == (done.returncode, done.stderr)
    assert max(map(len, done.stdout.splitlines())) <= 80
    told = json.loads(out.read_text("utf-8"))
    assert len([c for c in ALL if c.group == "parts"]) == len(told["checks"])
    assert all(row["holds"] for row in told["checks"])
    assert "| " in table.read_text("utf-8")
    wrong = subprocess.run([sys.executable, SCRIPT, "--only", "none"], capture_output=True, check=False)
    assert 2 == wrong.returncode
