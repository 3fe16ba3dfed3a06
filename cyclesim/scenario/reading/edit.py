"""Small edits of a scenario's text: a value set, an entry added or taken out; every other byte as it was."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import yaml

from cyclesim.scenario.reading.rewrite import RewriteError, end_of, line_start, no_aliases


class Edit(NamedTuple):
    """What is to stand at a path of keys and places in lists: *text*, or nothing where that is None.

    *adds*: the text becomes one more entry of the list there.
    """

    path: tuple[str | int, ...]
    text: str | None
    adds: bool = False


def edited(text: str, edits: Iterable[Edit]) -> str:
    """The text with these edits, one after another.

    Raises RewriteError where the file itself has no place for one, or repeats it by an alias.
    """
    no_aliases(text)
    for edit in edits:
        text = _edited(text, edit)
    return text


def _edited(text: str, edit: Edit) -> str:
    root = yaml.compose(text, Loader=yaml.SafeLoader)
    *above, last = edit.path
    parent = _at(root, above)
    if parent is None:
        raise RewriteError(f"{_said(above)} is not in the file itself: change {_said(edit.path)} by hand.")
    node = _at(parent, [last])
    if edit.adds:
        if node is None:
            return _with_key(text, parent, str(last), f"[{edit.text}]")
        return _with_entry(text, node, str(edit.text))
    if edit.text is None:
        return text if node is None else _without(text, parent, last)
    if node is None:
        return _with_key(text, parent, str(last), edit.text)
    return text[: node.start_mark.index] + edit.text + text[end_of(node) :]


def _said(path: Iterable[str | int]) -> str:
    return ".".join(map(str, path))


def _at(node: yaml.Node | None, path: Iterable[str | int]) -> yaml.Node | None:
    for step in path:
        if isinstance(node, yaml.MappingNode):
            node = next((value for key, value in node.value if key.value == step), None)
        elif isinstance(node, yaml.SequenceNode) and isinstance(step, int) and step < len(node.value):
            node = node.value[step]
        else:
            return None
    return node


def _with_key(text: str, parent: yaml.Node, key: str, value: str) -> str:
    """One more key of a mapping, as its last."""
    if not isinstance(parent, yaml.MappingNode) or not parent.value:
        raise RewriteError(f"the file has nothing beside which {key} could stand: write it by hand.")
    end = end_of(parent.value[-1][1])
    if parent.flow_style:
        return f"{text[:end]}, {key}: {value}{text[end:]}"
    return _new_line(text, end, " " * parent.start_mark.column + f"{key}: {value}")


def _with_entry(text: str, node: yaml.Node, value: str) -> str:
    """One more entry of a list, as its last."""
    if not isinstance(node, yaml.SequenceNode):
        raise RewriteError("there is no list to add to: write it by hand.")
    if node.flow_style:
        at = end_of(node.value[-1]) if node.value else node.start_mark.index + 1
        return f"{text[:at]}{', ' if node.value else ''}{value}{text[at:]}"
    return _new_line(text, end_of(node.value[-1]), " " * node.start_mark.column + f"- {value}")


def _new_line(text: str, after: int, line: str) -> str:
    """A line more, behind the one in which something ends."""
    newline = "\r\n" if "\r\n" in text else "\n"
    at = text.find("\n", after)
    if at < 0:
        return f"{text}{newline}{line}{newline}"
    return f"{text[: at + 1]}{line}{newline}{text[at + 1 :]}"


def _without(text: str, parent: yaml.Node, step: str | int) -> str:
    """A key with its value, or an entry of a list, taken out."""
    if isinstance(parent, yaml.MappingNode):
        entries = [(key.start_mark.index, end_of(value), key.value) for key, value in parent.value]
    else:
        entries = [(one.start_mark.index, end_of(one), k) for k, one in enumerate(parent.value)]
    k = next(k for k, entry in enumerate(entries) if entry[2] == step)
    if len(entries) == 1:
        raise RewriteError(f"{step} is all that stands there: take it out by hand.")
    start, end, _ = entries[k]
    if isinstance(parent, yaml.CollectionNode) and parent.flow_style:
        start, end = (start, entries[k + 1][0]) if k + 1 < len(entries) else (entries[k - 1][1], end)
        return text[:start] + text[end:]
    begins = line_start(text, start)
    if text[begins:start].strip() not in ("", "-") or (isinstance(step, str) and text[begins:start].strip()):
        raise RewriteError(f"{step} shares its line: take it out by hand.")
    stop = text.find("\n", end)
    return text[:begins] + ("" if stop < 0 else text[stop + 1 :])
