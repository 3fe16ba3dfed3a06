"""A scenario file to a Scenario, or to all of its faults at once."""

from collections.abc import Sequence
from os import PathLike
from pathlib import Path

from pydantic import ValidationError

from cyclesim.errors import Fault, InputError
from cyclesim.scenario.faults import explain
from cyclesim.scenario.model import Scenario
from cyclesim.scenario.yaml_file import Tree, parse_text, read_file


def load(path: str | PathLike[str], *, sets: Sequence[str] = ()) -> Scenario:
    """The scenario of a file, with each `PATH=VALUE` of `sets` put in first; InputError lists every fault."""
    tree = read_file(Path(path), str(path))
    return _scenario(tree, sets, Path(path).parent)


def load_text(text: str, name: str = "scenario.yaml", *, sets: Sequence[str] = ()) -> Scenario:
    """The scenario of a text that is in no file, so that it cannot refer to other files."""
    return _scenario(parse_text(text, name), sets, None)


def _scenario(tree: Tree, sets: Sequence[str], folder: Path | None) -> Scenario:
    faults: list[Fault] = list(tree.faults)
    if faults:
        raise InputError(*faults)
    try:
        return Scenario.model_validate(tree.value)
    except ValidationError as error:
        raise InputError(*sorted(set(explain(error, tree, Scenario)))) from None
