"""A small share of scripts/fuzz.py: mangled inputs are taken or refused, and the fuzzer sees what is not."""

from pathlib import Path
from typing import Any

import pytest

from scripts import fuzz


@pytest.mark.parametrize(("command", "count"), [("check", 60), ("run", 15)])
def test_mangled_inputs_are_taken_or_refused(command: str, count: int) -> None:
    """No traceback, no status 3, nothing that goes on; `python scripts/fuzz.py` does thousands."""
    counts, broken = fuzz.fuzz(command, range(count), seed=4)
    assert [] == broken
    assert count == counts.total()
    assert {2} < {status for _, status in counts}  # some of them are plants that can be run


def test_commands_of_their_own() -> None:
    """As a shell starts them."""
    assert [] == fuzz.fuzz("check", range(2), seed=2, how=fuzz.apart)[1]


@pytest.mark.parametrize(
    ("does", "why"),
    [
        (lambda *_: (3, "Sorry"), "status 3: Sorry"),
        (
            lambda *_: (2, "Traceback (most recent call last)"),
            "a traceback: Traceback (most recent call last)",
        ),
        (lambda *_: (1, "a\x1b[2J"), "a sign that a terminal acts on: 'a\\x1b[2J'"),
        (lambda _, folder: (0, str((folder / ".cyclesim-1.part").write_text(""))), "left behind"),
    ],
    ids=["status", "traceback", "sign", "file"],
)
def test_the_fuzzer_sees_it(tmp_path: Path, does: Any, why: str) -> None:
    """Each way of being neither taken nor refused."""
    assert fuzz.judged(("check",), tmp_path, does)[1].startswith(why)


def test_the_fuzzer_stops_what_goes_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A loop without end, which no command may catch."""
    monkeypatch.setattr(fuzz, "MOST_CPU_S", 0.2)

    def loop(*_: object) -> None:
        while True:
            pass

    monkeypatch.setattr("cyclesim.scenario.reading.load.read_file", loop)
    assert (-1, "more than 0.2 s") == fuzz.judged(("check", "tub.yaml"), tmp_path, fuzz.here)


def test_an_input_is_known_by_seed_and_number(tmp_path: Path) -> None:
    """The same one again, whatever was made before it."""
    made = []
    for folder in (tmp_path / "a", tmp_path / "b"):
        folder.mkdir()
        made.append((fuzz.made("run", 3, 7, fuzz.bases(), folder), (folder / "tub.yaml").read_bytes()))
    assert made[0] == made[1]
