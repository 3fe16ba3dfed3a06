"""The smallest file that still shows what a drawn plant has shown, for people to read."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from copy import deepcopy
from typing import Any

import yaml

from cyclesim.errors import CycleSimError
from cyclesim.scenario.blocks.model import Scenario
from cyclesim.scenario.reading.load import load_text

Steps = tuple[Any, ...]


def places(tree: Any, path: Steps = ()) -> Iterator[Steps]:
    """Every key and item, the last of a list first, so that those before it keep their places."""
    of = list(tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ())
    for key, below in reversed(of):
        yield (*path, key)
        yield from places(below, (*path, key))


def without(tree: Any, path: Steps) -> Any:
    """A copy without a key or an item; None where it is gone already."""
    less = deepcopy(tree)
    holder = less
    try:
        for key in path[:-1]:
            holder = holder[key]
        del holder[path[-1]]
    except (KeyError, IndexError, TypeError):
        return None
    return less


def unnamed(tree: Any, name: str) -> Any:
    """A copy without all that has this name, as a key or as an item."""
    if isinstance(tree, dict):
        return {key: unnamed(below, name) for key, below in tree.items() if key != name}
    if isinstance(tree, list):
        return [unnamed(below, name) for below in tree if below != name]
    return tree


def shrunk(text: str, shows: Callable[[Scenario], bool]) -> str:
    """The text with everything left out without which it can still be read and still *shows* it."""
    tree, before = yaml.safe_load(text), None
    named = [kind for kind in tree["plant"].values() if isinstance(kind, dict)]
    for name in [name for kind in named for name, sheet in kind.items() if isinstance(sheet, dict)]:
        less = unnamed(tree, name)
        tree = less if _shows(less, shows) else tree
    while tree != before:
        before = tree
        for path in sorted(places(tree), key=len):  # what holds much before what it holds
            less = without(tree, path)
            if less is not None and _shows(less, shows):
                tree = less
    return _written(tree)


def _written(tree: Any) -> str:
    return yaml.safe_dump(tree, sort_keys=False, width=110, default_flow_style=None)


def _shows(tree: Any, shows: Callable[[Scenario], bool]) -> bool:
    try:
        return shows(load_text(_written(tree), "shrunk.yaml"))
    except CycleSimError:
        return False
