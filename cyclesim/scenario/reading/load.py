"""A scenario file to a Scenario, or to all of its faults at once."""

from collections.abc import Callable, Iterator, Sequence
from itertools import islice
from os import PathLike, fspath
from pathlib import Path

from pydantic import ValidationError

from cyclesim.errors import Fault, InputError
from cyclesim.scenario.blocks.model import FORMATS, Scenario
from cyclesim.scenario.checks.names import check
from cyclesim.scenario.reading.references import OnRead, name_files, resolve, resolve_logo, resolve_series
from cyclesim.scenario.reading.sets import apply
from cyclesim.scenario.text.refusals import explain, quoted
from cyclesim.scenario.text.tree import Tree
from cyclesim.scenario.text.yaml_file import parse_text, read_file
from cyclesim.units import us_hints, writes_us

OnSet = Callable[[str, list[str]], None]
TOLD = 100
"""So many faults of a scenario are told; a slip in one line leads to no more than a few."""


def load(
    path: str | PathLike[str],
    *,
    sets: Sequence[str] = (),
    on_read: OnRead = lambda _: None,
    on_set: OnSet = lambda _text, _paths: None,
) -> Scenario:
    """The scenario of a file, with each `PATH=VALUE` of `sets` put in first; InputError lists every fault.

    *on_read* is called with the file and with each that it refers to, also where a set takes its place;
    *on_set* with each set and the paths that it changed.
    """
    on_read(Path(path))
    tree = read_file(Path(path), fspath(path))
    return _scenario(tree, fspath(path), sets, Path(path).parent, on_read, on_set)


def load_text(
    text: str, name: str = "scenario.yaml", *, sets: Sequence[str] = (), folder: Path | None = None
) -> Scenario:
    """The scenario of a text that is in no file; without a *folder* it cannot refer to other files."""
    return _scenario(parse_text(text, name), name, sets, folder)


def _scenario(
    tree: Tree,
    name: str,
    sets: Sequence[str],
    folder: Path | None,
    on_read: OnRead = lambda _: None,
    on_set: OnSet = lambda _text, _paths: None,
) -> Scenario:
    if not isinstance(tree.value, dict):
        if not tree.faults:
            found = "an empty file" if tree.value is None else quoted((), tree)
            tree.faults.append(tree.fault((), found, "a scenario begins with format: 1"))
        raise InputError(*_first_faults(tree.faults))
    _put_together(tree, name, sets, folder, on_read, on_set)
    head = tree.value.get("format", FORMATS[0])
    if isinstance(head, bool) or head not in FORMATS:
        known = ", ".join(map(str, FORMATS))
        fault = tree.fault(
            ("format",), quoted(("format",), tree, "an unknown format"), f"format {known} is known"
        )
        raise InputError(fault)  # under another format every other word may mean something else
    scenario, faults, us = None, list(tree.faults), writes_us(_texts(tree.value))
    try:
        with us_hints(us):
            scenario = Scenario.model_validate(tree.value)
    except ValidationError as error:
        faults += islice(
            (f for f in explain(error, tree, Scenario) if not tree.is_faulty_already(f)), TOLD + 1
        )
    faults += islice(check(tree), TOLD + 1)
    if faults or scenario is None:
        raise InputError(*_first_faults(faults))
    scenario.told_in_us_units(us)
    return scenario


def _put_together(
    tree: Tree, name: str, sets: Sequence[str], folder: Path | None, on_read: OnRead, on_set: OnSet
) -> None:
    """Put in the files that it refers to, and the sets."""
    resolve(tree, name, folder, on_read)
    name_files(tree, folder, on_read)
    for number, text in enumerate(sets, start=1):
        on_set(text, apply(tree, text, number))
    resolve(tree, name, folder, on_read)  # a set may have put in the path of a file
    resolve_series(tree, name, folder, on_read)
    resolve_logo(tree, name, folder, on_read)


def written(path: str | PathLike[str], sets: Sequence[str] = ()) -> Tree:
    """What a file that `load` accepts says, with the place and the words of every value."""
    tree = read_file(Path(path), fspath(path))
    _put_together(tree, fspath(path), sets, Path(path).parent, lambda _: None, lambda _text, _paths: None)
    return tree


def _texts(value: object) -> Iterator[str]:
    """Every text of a tree."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for inner in value.values():
            yield from _texts(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _texts(inner)


def _first_faults(faults: list[Fault]) -> list[Fault]:
    """The faults in the order of file and line, as many as somebody can mend at once."""
    ordered = sorted(set(faults))
    if len(ordered) <= TOLD:
        return ordered
    last = ordered[TOLD]
    return [*ordered[:TOLD], Fault(last.file, last.line, 1, "", "more faults", f"the first {TOLD} are told")]
