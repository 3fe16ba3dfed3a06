"""What the workbench tells to press, where a command's reader is told what to type."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from cyclesim.errors import CycleSimError
from cyclesim.workbench.asked import Question, answer
from cyclesim.workbench.decided import _sizes_w
from cyclesim.workbench.pressed import PRESSED, pressed

ROOT = Path(__file__).parents[2]
TYPED = re.compile(
    r"--[a-z]|\bcyclesim (run|check|duty|new|tune|compare|size|savings|verify|rules|explain|fits|measured)\b"
)
NOT_SHOWN = {
    "check.py": "the workbench has faults of its own view",
    "rules.py": "no question asks for it",
    "fits.py": "no question asks for it",
    "stretch.py": "a fault of the option itself",
    "fault_table.py": "a chapter of the page as one file",
    "verdict.py": "the workbench asks for everything",
}
"""Rooms of `said` whose sentences no answer of the workbench has, or not those that name options."""


def told(file: Path) -> Iterator[str]:
    """What a module says to somebody: no docstrings, no lines that are marked as commands."""
    tree = ast.parse(file.read_text(encoding="utf-8"))
    aside: set[int] = set()
    for node in ast.walk(tree):
        is_command = isinstance(node, ast.Call) and any(
            k.arg == "command" and isinstance(k.value, ast.Constant) and k.value.value for k in node.keywords
        )
        if is_command or (isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)):
            aside |= {id(inner) for inner in ast.walk(node)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in aside:
            yield node.value


def test_no_sentence_of_an_answer_tells_what_to_type() -> None:
    """Of everything that is said, found or advised; each phrase of the table is said somewhere."""
    files = [f for f in (ROOT / "cyclesim" / "said").glob("*.py") if f.name not in NOT_SHOWN]
    files += [*(ROOT / "cyclesim" / "analysis").glob("*.py")]
    files += [*(ROOT / "cyclesim" / "decide" / "sizing").glob("*.py")]
    texts = [text for file in files for text in told(file)]
    left = [text for text in texts if TYPED.search(pressed(text)) and not text.startswith("--")]
    assert [] == left
    everything = "\n".join(text for f in (ROOT / "cyclesim").rglob("*.py") for text in told(f))
    faults = {"--sizes:", "--from:"}  # the option's name is where such a fault is
    assert [] == [typed for typed in PRESSED if typed not in faults and everything.count(typed) < 2]


@pytest.mark.parametrize(
    ("what", "options"), [("fortnight", {}), ("duty", {}), ("size", {"machine": "blower"})]
)
def test_an_answer_names_no_option(what: str, options: dict[str, str]) -> None:
    """A fortnight, the duties and a blower of the long table, but for values that are those of `--json`."""
    found = answer(Question(what, ROOT / "schedules" / "long-table.yaml", options), lambda *_: None)
    shown = str([found["page"], found.get("answer")])
    assert not TYPED.search(shown)
    assert {"fortnight": "“What would save”", "size": "“air that is wanted”"}.get(what, "") in shown


def test_sizes_are_those_that_were_asked_for() -> None:
    """Parted by commas; what is none is told by its name, and nothing written leaves the usual ones."""
    file = ROOT / "schedules" / "walled-garden.yaml"
    asked = {"2 kW, 4.5 kW": [2000.0, 4500.0], " ": None}
    assert asked == {text: _sizes_w(Question("size", file, {"sizes": text})) for text in asked}
    with pytest.raises(CycleSimError, match=r"sizes: found '4 apples'"):
        _sizes_w(Question("size", file, {"sizes": "2 kW, 4 apples"}))
