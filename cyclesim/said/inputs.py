"""Every input of a scenario: what the file says, in its own words and where, and what was filled in."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import PurePath
from typing import Any

from cyclesim.said.page import Page, words
from cyclesim.scenario.forms.forms import Steps
from cyclesim.scenario.reading.defaults import Default
from cyclesim.scenario.text.tree import Tree, dotted


@dataclass(frozen=True, slots=True)
class WrittenInput:
    """One value as it was written."""

    path: str
    text: str
    where: str


def inputs(tree: Tree) -> Iterator[WrittenInput]:
    """Every value of a file in its order; what is listed without names stands in one line."""
    yield from _inputs(tree, tree.value, ())


def _inputs(tree: Tree, value: Any, path: Steps) -> Iterator[WrittenInput]:
    if isinstance(value, dict) and value:
        for key, inner in value.items():
            yield from _inputs(tree, inner, (*path, key))
    elif isinstance(value, list) and any(isinstance(item, dict) for item in value):
        for k, inner in enumerate(value):
            yield from _inputs(tree, inner, (*path, k))
    else:
        mark = tree.mark(path)
        yield WrittenInput(
            dotted(path), _text(tree, value, path), f"{PurePath(mark.file).name}, line {mark.line}"
        )


def _text(tree: Tree, value: Any, path: Steps) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{k}: {_text(tree, v, (*path, k))}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return ", ".join(
            f"[{_text(tree, item, (*path, k))}]" if isinstance(item, list) else _text(tree, item, (*path, k))
            for k, item in enumerate(value)
        )
    written = tree.marks[path].text if path in tree.marks else None
    return str(value) if written is None else written  # of a series or a picture its path


def say_given(page: Page, given: Sequence[WrittenInput]) -> None:
    """What the file says."""
    columns = [words("key"), words("value"), words("written in")]
    page.table(columns, [(one.path, one.text, one.where) for one in given], "What the file says")


def say_filled(page: Page, filled: Sequence[Default]) -> None:
    """What the file leaves out."""
    columns = [words("key"), words("taken instead"), words("how far it may be off"), words("source")]
    rows = [(one.path, one.value_text, str(one.spread), one.source) for one in filled]
    if rows:
        page.table(columns, rows, "What the file leaves out")


def say_granted(page: Page, granted: Sequence[Default]) -> None:
    """The numbers that the model takes for granted."""
    columns = [words("number of the model"), words("value"), words("how far it may be off"), words("source")]
    page.table(columns, [(one.path, one.value_text, str(one.spread), one.source) for one in granted])
