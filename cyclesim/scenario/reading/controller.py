"""A file that says what another controller takes, to that controller or to all of its faults at once."""

from os import PathLike, fspath
from pathlib import Path
from typing import Literal

from pydantic import Field, ValidationError

from cyclesim.errors import InputError
from cyclesim.scenario.blocks.schedule import Controller
from cyclesim.scenario.forms.forms import Model
from cyclesim.scenario.text.refusals import explain, quoted
from cyclesim.scenario.text.yaml_file import read_file

_DUE = "expected a block controller: with what can be keyed in, as in a scenario"


class _ControllerFile(Model):
    """A file with the block of one controller."""

    format: Literal[1] = Field(1, description="The number of this file format: 1.")
    controller: Controller = Field(description="What can be keyed into it, e.g. {filter_windows: 2}.")


def load_controller(path: str | PathLike[str]) -> Controller:
    """The controller of a file; InputError lists every fault."""
    tree = read_file(Path(path), fspath(path))
    if not isinstance(tree.value, dict):
        if not tree.faults:
            found = "an empty file" if tree.value is None else quoted((), tree)
            tree.faults.append(tree.fault((), found, _DUE))
        raise InputError(*tree.faults)
    faults, read = list(tree.faults), None
    try:
        read = _ControllerFile.model_validate(tree.value)
    except ValidationError as error:
        faults += [f for f in explain(error, tree, _ControllerFile) if not tree.is_faulty_already(f)]
    if faults or read is None:
        raise InputError(*sorted(set(faults)))
    return read.controller
