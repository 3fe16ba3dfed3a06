"""A tuned programme goes into the file that it was tuned for, and into no other."""

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from click.testing import CliRunner, Result

from cyclesim.cli import cli
from cyclesim.decide.tuning import tuning
from cyclesim.decide.tuning.programmes import own
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load
from cyclesim.scenario.reading.starter import starter_text

TEXT = starter_text()
OTHER = TEXT.replace("length: 6 m", "length: 7 m")
Edit = Callable[[Path], object]


def tuned(
    folder: Path, monkeypatch: pytest.MonkeyPatch, edit: Edit, text: str = TEXT
) -> tuple[Result, Scenario]:
    """What is said where somebody edits the file while its own programme is found best; what was read."""
    file = folder / "tub.yaml"
    file.write_text(text, encoding="utf-8", newline="")
    before = load(file)

    def found(scenario: Scenario, **_: Any) -> Any:
        edit(file)
        return SimpleNamespace(recommended=SimpleNamespace(programme=own(scenario)), standing=())

    monkeypatch.setattr(tuning, "tune", found)
    monkeypatch.setattr("cyclesim.cli.tune.tell", lambda *_, after="", **__: print(after))
    words = ["tune", str(file), "--write", str(folder / "new.yaml")]
    return CliRunner().invoke(cli, words), before


@pytest.mark.parametrize(
    "edit",
    [lambda _: None, lambda file: file.write_text(f"# a note of mine\n{file.read_text('utf-8')}", "utf-8")],
    ids=["nobody", "a comment"],
)
def test_the_plant_is_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, edit: Edit) -> None:
    """A comment that was written meanwhile is in the new file, too."""
    told, before = tuned(tmp_path, monkeypatch, edit)
    assert 0 == told.exit_code, told.output
    assert before == load(tmp_path / "new.yaml")
    assert ("a note of mine" in (tmp_path / "tub.yaml").read_text("utf-8")) == (
        "a note of mine" in (tmp_path / "new.yaml").read_text("utf-8")
    )


@pytest.mark.parametrize(
    "edit",
    [
        lambda file: file.write_text(OTHER, "utf-8"),
        lambda file: file.write_text("format: [", "utf-8"),
        lambda file: file.write_bytes(b"\xff\xfe"),
        lambda file: file.unlink(),
    ],
    ids=["a longer leg", "half a file", "no text", "gone"],
)
def test_the_plant_was_changed_meanwhile(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, edit: Edit) -> None:
    """Not written; beside it lies the plant as it was, with its programme; how to go on is said."""
    told, before = tuned(tmp_path, monkeypatch, edit)
    assert 2 == told.exit_code, told.output
    assert not (tmp_path / "new.yaml").exists()
    assert before == load(tmp_path / "new-as-read.yaml")
    assert [
        f"{tmp_path}/tub.yaml has changed since it was read. The programme is for the plant as it was, and "
        f"{tmp_path}/new.yaml is not written.",
        f"That plant and its programme are in {tmp_path}/new-as-read.yaml.",
        "The same command tunes the plant as it is now; runs that were done are kept.",
    ] == told.stderr.splitlines()


def test_a_section_was_changed_meanwhile(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What the file refers to is another plant now: nothing of the old one can be written."""
    head, rest = TEXT.split("\nplant:\n")
    plant, tail = rest.split("\ncontroller:")
    part = tmp_path / "plant.yaml"
    part.write_text("\n".join(line[2:] for line in plant.split("\n")), encoding="utf-8")

    def edit(_: Path) -> None:
        part.write_text(part.read_text("utf-8").replace("length: 6 m", "length: 7 m"), encoding="utf-8")

    text = f"{head}\nplant: plant.yaml\ncontroller:{tail}"
    told, _ = tuned(tmp_path, monkeypatch, edit, text)
    assert 2 == told.exit_code, told.output
    assert {"tub.yaml", "plant.yaml"} == {path.name for path in tmp_path.iterdir()}
    assert "has changed since it was read" in told.stderr


def test_what_lies_beside_is_not_overwritten(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody's own file of that name stays."""
    (tmp_path / "new-as-read.yaml").write_text("mine")
    told, _ = tuned(tmp_path, monkeypatch, lambda file: file.write_text(OTHER, "utf-8"))
    assert 2 == told.exit_code
    assert "mine" == (tmp_path / "new-as-read.yaml").read_text("utf-8")
